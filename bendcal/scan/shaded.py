"""A tube's edges on dark paper, where only the side that is lit can be seen to begin.

A round side shades off: what it throws back changes with the way it leans, and a round thing leans ever more towards its edge. Just
inside of an edge its light is therefore a step and, on top of it, a dome that rises as a circle does; how strong both are depends on the
lamp and on the tube's finish, how they rise does not. On a side that is turned away from the lamp there is no step, and its edge is not seen.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import ndimage

from bendcal.scan.edges import SOFT, Edges, averaged, profiles
from bendcal.scan.tube_model import ARC, LEG_1, LEG_2, Shape

__all__ = ["lit_edges", "round_edge", "without_soft"]

_FINE = 0.25  # pixels between samples along a profile
_DEEP, _OUT_PX = 0.2, 4.0  # of the diameter, and pixels: so far in and out from where the edge is expected a profile is looked at
_INWARDS, _OUTWARDS, _EITHER_PX, _TRIED_PX = 0.06, 0.03, 2.0, 0.15  # of the diameter and pixels: where it may be, and places tried there
_TOGETHER = 5  # profiles
_OF_NOISE = 3 / 2.366  # mean over median of the square of what noise alone makes of three colours (chi-squared)
_BLURS_PX = (0.6, 0.75, 0.9, 1.05, 1.2, 1.35, 1.5, 1.8, 2.2, 2.7, 3.3)
_LIT = 0.2  # of the dome: a step that is clearly there
#: Of the dome: a step that may be missing, as it is where the light comes along the tube. Sides that are turned away are best fitted with a
#: negative one, of a tenth of the dome and more: what is seen begins further in, and less steeply than a round thing.
#: Of two sides one is not turned away: the one with more of a step may have less.
_TURNED_AWAY, _BETTER_OF_TWO = -0.06, -0.11
_FAINT = 3.0  # times the noise of one pixel: the step and the dome together

_MEDIAN_OF = 9  # profiles
_FADING = 0.1  # of an arc's edge
_FEW = 0.25  # of what was found of the edge opposite
_NARROW, _NARROW_PX = 0.015, 0.5  # of the diameter and in pixels: by how much the two must be too close for that


def lit_edges(field: np.ndarray, noise: float, shape: Shape, ends_mm: tuple[float, float], edges: Edges, *, pixel_mm: tuple[float, float], od_mm: float) -> Edges:
    """The edges of lit sides, each where a step and a round dome begin, NaN on sides that are not.

    Parameters
    ----------
    field : (height, width) how unlike the backdrop
    noise : of one pixel of it
    shape, ends_mm : with which `edges` were found
    edges : as they were found where the map is steepest, which on a side that shades off is up to a twentieth of the diameter inside
    pixel_mm : (across, down) size of a pixel [mm]
    od_mm : the tube's diameter [mm]
    """
    base, normal, zone, _ = profiles(shape, ends_mm)
    pixel = float(np.mean(pixel_mm))
    half = np.where(zone == ARC, shape.half_arc_mm, shape.half_mm)
    offset = np.arange(-_DEEP * od_mm, _OUT_PX * pixel, _FINE * pixel)
    tried = np.arange(-_INWARDS * od_mm - _EITHER_PX * pixel, _OUTWARDS * od_mm + _EITHER_PX * pixel, _TRIED_PX * pixel)
    squares = np.square(field)
    sides = []
    for sign in (1.0, -1.0):
        values = averaged(squares, base, normal, sign * (half[:, None] + offset), pixel_mm)
        for here in (zone == z for z in (LEG_1, LEG_2, ARC)):
            values[here] = ndimage.uniform_filter1d(values[here], _TOGETHER, axis=0, mode="nearest")
        # Noise makes every distance from the backdrop's colour larger, most where there is none.
        sides.append(np.sqrt(np.maximum(values - _OF_NOISE * noise**2, 0.0)))
    tries = [[round_edge(values, offset, tried, od_mm / 2, blur * pixel) for values in sides] for blur in _BLURS_PX]
    fits = min(tries, key=_left)
    found = np.array([(high.sum(axis=1) > _FAINT * noise) & (high[:, 1] > 0) & (place > tried[1]) & (place < tried[-2]) for place, high, _ in fits])
    step = np.where(found, [high[:, 0] / np.where(high[:, 1] > 0, high[:, 1], 1.0) for _, high, _ in fits], -np.inf)
    lit = (step > _TURNED_AWAY) | ((step >= step[::-1]) & (step > _BETTER_OF_TWO))
    at = np.array([np.where(there[:, None], base + (sign * (half + place))[:, None] * normal, np.nan) for there, (place, _, _), sign in zip(lit, fits, (1.0, -1.0), strict=True)])
    wide = np.linalg.norm(at[0] - at[1], axis=1)
    unlike = max(_unlike(tries, lit, zone == leg) for leg in (LEG_1, LEG_2))
    return replace(edges, at_mm=at, width_mm=np.where(np.isnan(wide), edges.width_mm, wide), unlike=unlike)


def without_soft(edges: Edges, od_mm: float, pixel_mm: tuple[float, float]) -> Edges:
    """The edges but for those where a tube's dark side fades into a dark backdrop: soft, and too near to a sharp one.

    Parameters
    ----------
    edges : as found
    od_mm : the tube's diameter [mm]
    pixel_mm : (across, down) size of a pixel [mm]
    """
    at, blur = edges.at_mm.copy(), np.full_like(edges.blur_px, np.nan)
    width = edges.width_mm.copy()
    for z in (LEG_1, LEG_2, ARC):
        here = np.flatnonzero(edges.zone == z)
        for k in (0, 1):
            blur[k, here] = _running_median(edges.blur_px[k, here])
        width[here] = _running_median(width[here])
    narrow = width < od_mm - _NARROW * od_mm - _NARROW_PX * float(np.mean(pixel_mm))
    soft = [narrow & (blur[k] > SOFT * blur[1 - k]) for k in (0, 1)]
    arc = edges.zone == ARC
    for k in (0, 1):
        at[k, soft[k]] = np.nan
        # A few sharp places on a side that has faded are a glint or a speck, not its edge.
        for here in (edges.zone == z for z in (LEG_1, LEG_2, ARC)):
            if soft[k][here].any() and np.isfinite(at[k, here, 0]).sum() < _FEW * np.isfinite(at[1 - k, here, 0]).sum():
                at[k, here] = np.nan
        # Where an arc's edge fades on its way, what is left of it is fading too, and would bend the arc; the other edge is whole.
        if arc.any() and soft[k][arc].mean() > _FADING and np.isfinite(at[1 - k, arc, 0]).all() and not soft[1 - k][arc].any():
            at[k, arc] = np.nan
    return replace(edges, at_mm=at)


def _running_median(values: np.ndarray) -> np.ndarray:
    """The median of each value and its neighbours, missing ones left out; inf where all are missing."""
    if not len(values):
        return values
    reach = _MEDIAN_OF // 2
    around = np.lib.stride_tricks.sliding_window_view(np.pad(values, reach, mode="edge"), _MEDIAN_OF)
    some = ~np.isnan(around).all(axis=1)
    out = np.full(len(values), np.inf)
    out[some] = np.nanmedian(around[some], axis=1)
    return out


def round_edge(values: np.ndarray, offset: np.ndarray, tried: np.ndarray, half: float, blur: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where each profile begins, as a step with a dome behind it that rises as a circle does, both blurred.

    Parameters
    ----------
    values : (n, m) profiles
    offset : (m,) evenly spaced places of their samples, growing outwards
    tried : (t,) evenly spaced places where the edge may be
    half : radius of the circle, in the units of `offset`
    blur : standard deviation of the blur, in the same

    Returns
    -------
    (n,) place; (n, 2) how high the step and the dome are; (n,) sum of squares left

    Examples
    --------
    >>> x = np.arange(-1.0, 0.3, 0.02)
    >>> dome = np.sqrt(1 - (1 + np.clip(x - 0.03, -1, 0)) ** 2)
    >>> place, high, _ = round_edge((0.2 * (x < 0.03) + 0.4 * dome)[None], x, np.arange(-0.1, 0.1, 0.01), 1.0, 0.001)
    >>> round(float(place[0]), 2), high.round(2).tolist()
    (0.03, [[0.2, 0.4]])
    """
    step = (offset[1] - offset[0]) / 4
    deep = np.arange(tried[0] - offset[-1] - step, tried[-1] - offset[0] + 2 * step, step)
    into = np.clip(deep, 0, half) / half
    parts = [ndimage.gaussian_filter1d(part, blur / step, mode="nearest") for part in (np.clip(deep / step + 0.5, 0, 1), np.sqrt(2 * into - into**2))]

    def seen_from(place: float) -> np.ndarray:
        return np.stack([np.interp(place - offset, deep, part) for part in parts], axis=1)

    total = (values**2).sum(axis=1)
    left = np.array([total - ((values @ np.linalg.qr(seen_from(place))[0]) ** 2).sum(axis=1) for place in tried])
    rows = np.arange(len(values))
    best = np.clip(left.argmin(axis=0), 1, len(tried) - 2)
    before, least, after = left[best - 1, rows], left[best, rows], left[best + 1, rows]
    bend = before - 2 * least + after
    shift = np.where(bend > 0, 0.5 * (before - after) / np.where(bend > 0, bend, 1.0), 0.0)
    high = np.empty((len(values), 2))
    for k in np.unique(best):
        high[best == k] = np.linalg.lstsq(seen_from(tried[k]), values[best == k].T, rcond=None)[0].T
    return tried[best] + np.clip(shift, -1, 1) * (tried[1] - tried[0]), high, least


def _left(fits: list[tuple[np.ndarray, np.ndarray, np.ndarray]]) -> float:
    """What one blur leaves of the profiles that are clearly lit, on both sides; inf where none are."""
    left = np.concatenate([left[high[:, 0] > _LIT * np.abs(high[:, 1])] for _, high, left in fits])
    return float(np.median(left)) if left.size else np.inf


def _unlike(tries: list[list[tuple[np.ndarray, np.ndarray, np.ndarray]]], lit: np.ndarray, leg: np.ndarray) -> float:
    """By how many times one third of a leg is more blurred than another: what is lifted from the glass is out of focus."""
    blurs = []
    for third in np.array_split(np.flatnonzero(leg), 3):
        if lit[:, third].any():
            left = [sum(float(left[third][there[third]].sum()) for (_, _, left), there in zip(fits, lit, strict=True)) for fits in tries]
            blurs.append(_BLURS_PX[int(np.argmin(left))])
    return max(blurs) / min(blurs) if blurs else 1.0
