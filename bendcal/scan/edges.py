"""A tube's two edges, found to a fraction of a pixel on profiles across it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from bendcal.scan.heights import View
from bendcal.scan.tube_model import ARC, LEG_1, LEG_2, Shape

__all__ = ["SOFT", "STEP_MM", "Edges", "averaged", "find_edges", "followed", "lined_up", "lined_up_along", "profiles", "sample", "steepest"]

STEP_MM = 0.6  # between profiles along the tube
_FINE = 0.25  # pixels between samples along a profile
_SMOOTH = 1.0  # pixels
_ASIDE = 0.6  # of the diameter: how far a rough centreline may lie beside the tube's middle
_MARGIN = 8  # samples beside those, so that the slope there is as anywhere
_SHADES_OFF = 0.12  # of the diameter: over so long a way shadows fade and a round tube shades off, at least
_CLIMB = 6  # samples
_NEAR_PX = 4.0
_TOGETHER = 9  # profiles that are lined up at once
SOFT = 1.5  # an edge so many times softer than the one opposite is where light ends, not tube


@dataclass(frozen=True, eq=False)
class Edges:
    """Edge points of n profiles, two each, the outside edge first.

    Attributes
    ----------
    at_mm : (2, n, 2) points [mm]; NaN where an edge was lost
    blur_px : (2, n) full width at half height of the edge's slope [pixels]
    zone : (n,) LEG_1, LEG_2 or ARC
    along_mm : (n,) from the apex along the legs; along the arc in the arc [mm]
    width_mm : (n,) between both edges as they were found [mm]; NaN where one was lost
    unlike : by how many times one leg is more blurred at one place than at another, where that was looked for (:func:`bendcal.scan.shaded.lit_edges`)
    """

    at_mm: np.ndarray
    blur_px: np.ndarray
    zone: np.ndarray
    along_mm: np.ndarray
    width_mm: np.ndarray
    unlike: float = 1.0


def profiles(shape: Shape, ends_mm: tuple[float, float], step_mm: float = STEP_MM) -> tuple[np.ndarray, ...]:
    """Points on the centreline, the outward normals there, zones, and places along each zone.

    Parameters
    ----------
    shape : the shape
    ends_mm : from the apex to the end of each leg [mm]
    step_mm : between profiles [mm]
    """
    base, normal, zone, along = [], [], [], []
    for leg, end in ((LEG_1, ends_mm[0]), (LEG_2, ends_mm[1])):
        t = np.arange(shape.setback_mm + step_mm / 2, end - shape.half_mm, step_mm)
        base.append(shape.apex + t[:, None] * shape.directions[leg])
        normal.append(np.repeat(shape.outward[leg][None], len(t), axis=0))
        zone.append(np.full(len(t), leg))
        along.append(t)
    swept = max(shape.turn * shape.radius_mm, step_mm)
    s = np.arange(step_mm / 2, swept, step_mm)
    a, b = shape.outward
    turn = np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)
    angle = np.arctan2(a[1], a[0]) + turn * s / swept
    out = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    base.append(shape.centre + shape.radius_mm * out)
    normal.append(out)
    zone.append(np.full(len(s), ARC))
    along.append(s)
    return tuple(np.concatenate(part) for part in (base, normal, zone, along))


def find_edges(field: np.ndarray, noise: float, shape: Shape, ends_mm: tuple[float, float], *, pixel_mm: tuple[float, float], window_mm: float, sharp: bool = False) -> Edges:
    """Both edges on profiles across the tube, each where the map rises most steeply into the tube.

    Parameters
    ----------
    field : (height, width) how unlike the backdrop
    noise : of one pixel of it
    shape : where the tube is, nearly
    ends_mm : from the apex to the end of each leg [mm]
    pixel_mm : (across, down) size of a pixel [mm]
    window_mm : how far from the expected edge to look [mm]
    sharp : as for :func:`lined_up_along`
    """
    base, normal, zone, along = profiles(shape, ends_mm)
    pixel = float(np.mean(pixel_mm))
    half = np.where(zone == ARC, shape.half_arc_mm, shape.half_mm)
    reach = window_mm + 3 * pixel
    offset = np.arange(-reach, reach + 1e-9, _FINE * pixel)
    at, blur = np.full((2, len(base), 2), np.nan), np.full((2, len(base)), np.nan)
    for k, sign in enumerate((1.0, -1.0)):
        out = sign * (half[:, None] + offset[None, :])  # from inside to outside on either side
        where, width, rise = steepest(-averaged(field, base, normal, out, pixel_mm), offset, window_mm, pixel, shades_off=sharp * _SHADES_OFF * 2 * shape.half_mm)
        # The slope of noise alone, averaged over three lines and smoothed, is about 0.2 noise a pixel.
        clear = rise * pixel > max(4 * 0.2 * noise, 0.008)
        place = sign * (half + where)
        at[k] = np.where(clear[:, None], base + place[:, None] * normal, np.nan)
        blur[k] = np.where(clear, width / pixel, np.nan)
    return Edges(at, blur, zone, along, np.linalg.norm(at[0] - at[1], axis=1))


def followed(edges: Edges, leg: int) -> float:
    """How far from the apex a leg's sides can be followed, at least one of them as sharp as it mostly is [mm]: a shadow's are not.

    Parameters
    ----------
    edges : those of which the shape was fitted
    leg : 0 or 1
    """
    here = edges.zone == leg
    blur, along = np.where(np.isfinite(edges.at_mm[:, here, 0]), edges.blur_px[:, here], np.inf), edges.along_mm[here]
    usual = np.median(blur, axis=1)
    sharp = (blur <= SOFT * usual[:, None]) & np.isfinite(blur)
    reach = 0.0
    for side in sharp:
        # The last of four profiles in a row: a speck of dust is none.
        run = np.flatnonzero(np.convolve(side, np.ones(4), "valid") == 4)
        if run.size:
            reach = max(reach, float(along[run[-1] + 3]))
    return reach


def lined_up(
    field: np.ndarray, noise: float, shape: Shape, ends_mm: tuple[float, float], *, pixel_mm: tuple[float, float], od_mm: float, view: View | None = None, sharp: bool = False,
) -> np.ndarray:  # fmt: skip
    """Points in the middle of the tube, where two edges lie as far apart as it is seen wide: shadows pull a rough centreline aside.

    Parameters
    ----------
    field, noise : how unlike the backdrop each pixel is, and the noise of that
    shape, ends_mm : where the tube is, roughly, and from its apex to the end of each leg [mm]
    pixel_mm : (across, down) size of a pixel [mm]
    od_mm : the tube's diameter [mm]
    view : the camera; None for a scanner
    sharp : as for :func:`lined_up_along`

    Returns
    -------
    (n, 2) points in order from the end of leg 1 to that of leg 2 [mm]
    """
    base, normal, zone, along = profiles(shape, ends_mm, 2 * STEP_MM)
    order = np.concatenate([np.flatnonzero(zone == LEG_1)[::-1], np.flatnonzero(zone == ARC), np.flatnonzero(zone == LEG_2)])
    return lined_up_along(field, noise, base[order], normal[order], pixel_mm=pixel_mm, od_mm=od_mm, view=view, sharp=sharp)


def lined_up_along(
    field: np.ndarray, noise: float, base: np.ndarray, normal: np.ndarray, *, pixel_mm: tuple[float, float], od_mm: float, view: View | None = None, sharp: bool = False,
) -> np.ndarray:  # fmt: skip
    """The same beside any rough line.

    Parameters
    ----------
    field, noise, pixel_mm, od_mm, view : as there
    base, normal : (n, 2) points in order along the tube [mm], and unit vectors across it there
    sharp : whether only what is steep over a short way counts: not the border of a shadow, nor how a round tube shades off
    """
    step = 0.5 * float(np.mean(pixel_mm))
    aside = np.arange(-_ASIDE * od_mm, _ASIDE * od_mm + step, step)
    half = step * np.round((np.full(len(base), od_mm) if view is None else view.seen_wide(base, normal, od_mm)) / 2 / step)
    margin = _MARGIN + sharp * int(3 * _SHADES_OFF * od_mm / step)
    wider = np.concatenate([aside[0] + step * np.arange(-margin, 0), aside, aside[-1] + step * np.arange(1, margin + 1)])
    clear = max(4 * 0.2 * noise, 0.008) * step / float(np.mean(pixel_mm))
    slopes = []
    for sign in (-1.0, 1.0):
        values = sample(field, base[:, None, :] + (wider + sign * half[:, None])[:, :, None] * normal[:, None, :], pixel_mm)
        slopes.append(-sign * ndimage.gaussian_filter1d(values, _SMOOTH * float(np.mean(pixel_mm)) / step, axis=1, order=1, mode="nearest"))

    def paired(steep: list[np.ndarray]) -> np.ndarray:
        up, down = (np.clip(side[:, margin:-margin] / clear, 0, 4) for side in steep)
        # That both edges are there counts for more than how steep one of them is.
        return ndimage.uniform_filter1d(np.sqrt(up) + np.sqrt(down), _TOGETHER, axis=0, mode="nearest")

    middle = base + aside[np.argmax(paired(slopes), axis=1)][:, None] * normal
    if not sharp or not len(middle):
        return middle
    both = paired([side - ndimage.gaussian_filter1d(side, _SHADES_OFF * od_mm / step, axis=1, mode="nearest") for side in slopes])
    best = both.max(axis=1)
    clear_of = best >= 0.5 * np.median(best)
    middle[clear_of] = (base + aside[np.argmax(both, axis=1)][:, None] * normal)[clear_of]
    # Beyond a tube's end there is its shadow, which has no such edges.
    first, last = np.flatnonzero(clear_of)[[0, -1]]
    return middle[first : last + 1]


def steepest(values: np.ndarray, offset: np.ndarray, window: float, pixel: float, *, shades_off: float = 0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where each profile rises most steeply, to a fraction of a sample.

    Parameters
    ----------
    values : (n, m) profiles
    offset : (m,) evenly spaced places of their samples, 0 where the edge is expected
    window : how far from 0 to look; an edge at its very border counts as lost
    pixel : size of a pixel, in the units of `offset`
    shades_off : where it rises over so long a way it does not count, though it be steeper; 0: all counts

    Returns
    -------
    (n,) place (NaN where lost), (n,) full width at half height of the slope, (n,) slope there

    Examples
    --------
    >>> x = np.arange(-10, 10.1, 0.25)
    >>> place, width, _ = steepest(np.tanh((x - 0.4) / 2)[None], x, 4.0, 1.0)
    >>> round(float(place[0]), 2)
    0.4
    """
    step = offset[1] - offset[0]
    slope = ndimage.gaussian_filter1d(values, _SMOOTH * pixel / step, axis=1, order=1, mode="nearest") / step
    seen = np.abs(offset) <= window
    first = int(np.argmax(seen))
    rows, count = np.arange(len(values)), int(seen.sum())
    if shades_off:
        top = np.argmax((slope - ndimage.gaussian_filter1d(slope, shades_off / step, axis=1, mode="nearest"))[:, seen], axis=1)
        for _ in range(_CLIMB):  # to the top of the slope itself
            here = slope[rows, top + first]
            up, down = slope[rows, np.minimum(top + 1, count - 1) + first] > here, slope[rows, np.maximum(top - 1, 0) + first] > here
            top = np.clip(top + up - (down & ~up), 0, count - 1)
    else:
        top = np.argmax(slope[:, seen], axis=1)
    inner = (top > 0) & (top < count - 1)
    j = np.clip(top, 1, count - 2) + first
    before, peak, after = slope[rows, j - 1], slope[rows, j], slope[rows, j + 1]
    bend = before - 2 * peak + after
    shift = np.where(bend < 0, 0.5 * (before - after) / np.where(bend < 0, bend, -1.0), 0.0)
    place = np.where(inner & (peak > 0), offset[j] + np.clip(shift, -1, 1) * step, np.nan)
    near = np.abs(np.arange(slope.shape[1]) - j[:, None]) * step < _NEAR_PX * pixel if shades_off else True
    width = ((slope > 0.5 * peak[:, None]) & near).sum(axis=1) * step
    return place, width, np.where(inner, peak, 0.0)


def averaged(field: np.ndarray, base: np.ndarray, normal: np.ndarray, out: np.ndarray, pixel_mm: tuple[float, float]) -> np.ndarray:
    """(n, m) profiles of the map across the tube, each the mean of three lines side by side.

    Parameters
    ----------
    field : the map
    base, normal : (n, 2) places on the centreline [mm], and unit vectors across it there
    out : (n, m) how far from it the samples lie [mm]
    pixel_mm : (across, down) size of a pixel [mm]
    """
    tangent = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
    points = base[:, None, :] + out[:, :, None] * normal[:, None, :]
    return sum(sample(field, points + shift * tangent[:, None, :], pixel_mm) for shift in (-STEP_MM / 3, 0.0, STEP_MM / 3)) / 3


def sample(field: np.ndarray, points_mm: np.ndarray, pixel_mm: tuple[float, float]) -> np.ndarray:
    """The map at points (…, 2) [mm], between pixels by straight lines."""
    rows = points_mm[..., 1] / pixel_mm[1] - 0.5
    cols = points_mm[..., 0] / pixel_mm[0] - 0.5
    return ndimage.map_coordinates(field, [rows, cols], order=1, mode="nearest")
