"""Where each leg's cut end is, and the pen mark round the tube."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from bendcal.scan.edges import Edges, sample, steepest
from bendcal.scan.tube_model import Shape

__all__ = ["CutEnd", "PenMark", "burnt_beyond", "find_end", "find_marks", "usual_blur"]

_LANES = np.linspace(-0.6, 0.6, 9)  # across the tube, in halves of its width
_SHADOW = 2.5  # halves of the width, by which a shadow may have moved the rough end outwards
_BURNT, _WHITER = 0.985, 0.015  # of full white, and by how much more than the paper
_STEEP_SHARE, _APART_MM = 0.4, 0.5
_SOFT, _SOFTEST_PX = 3.0, 10.0  # times as soft as the tube's sides: a chamfer may be so, a shadow fades over half a diameter
_END_FLOOR_MM, _END_FLOOR_PX = 0.008, 0.12  # burr and dust; and what pixels and JPEG make of the steepest place
_MARK_FLOOR_MM, _MARK_OF_WIDTH = 0.005, 0.01  # how a pen's line is ragged where lanes do not tell
_WIDEST_MARK_MM = 2.0


@dataclass(frozen=True)
class CutEnd:
    """A leg's end: its distance from the apex [mm], standard uncertainty, and how far it is out of square [mm]."""

    from_apex_mm: float
    u_mm: float
    oblique_mm: float


@dataclass(frozen=True)
class PenMark:
    """A narrow line across the tube: its distance from the apex [mm], standard uncertainty, width."""

    from_apex_mm: float
    u_mm: float
    width_mm: float


def usual_blur(edges: Edges) -> float:
    """How soft the tube's own sides are, the sharper one of them [pixels].

    Parameters
    ----------
    edges : those of which the shape was fitted
    """
    kept = [edges.blur_px[k, np.isfinite(edges.at_mm[k, :, 0])] for k in (0, 1)]
    return min(float(np.median(blur)) for blur in kept if blur.size)


def find_end(
    field: np.ndarray, noise: float, shape: Shape, leg: int, about_mm: float, *, pixel_mm: tuple[float, float], blur_px: float, bulge_mm: float = 0.0, sides_mm: float = 0.0
) -> CutEnd | None:  # fmt: skip
    """A leg's end on lanes along the tube; None where it cannot be told.

    Parameters
    ----------
    field, noise : how unlike the backdrop each pixel is, and the noise of that
    shape : the fitted shape
    leg : 0 or 1
    about_mm : about how far from the apex the end is [mm]
    pixel_mm : (across, down) [mm]
    blur_px : how soft the tube's sides are [pixels]: what is much softer is the border of a shadow
    bulge_mm : by how much a camera that sees it aslant sees its middle further out than its sides [mm]
    sides_mm : how far from the apex the tube's own sides can be followed [mm]: a mark across it is no end
    """
    pixel = float(np.mean(pixel_mm))
    steep = _outermost(field, shape, leg, about_mm, sides_mm, pixel_mm)
    if steep is None:
        return None
    about_mm = steep
    window = 0.3 * shape.half_mm + 4 * pixel
    offset = np.arange(-window - 4 * pixel, window + 4 * pixel, 0.25 * pixel)
    along = shape.directions[leg]
    lanes = _LANES * shape.half_mm
    total = 0.0
    for shift in (-0.04, 0.0, 0.04):
        start = shape.apex + (lanes[:, None, None] + shift * shape.half_mm) * shape.outward[leg] + (about_mm + offset)[None, :, None] * along
        total = total + sample(field, start, pixel_mm)
    place, soft, rise = steepest(-total / 3, offset, window, pixel)
    place = place + bulge_mm * (1 - np.sqrt(1 - _LANES**2))
    clear = np.isfinite(place) & (rise * pixel > max(4 * 0.2 * noise, 0.008))
    if clear.sum() < 5 or np.median(soft[clear]) > max(_SOFT * blur_px, _SOFTEST_PX) * pixel:
        return None
    # A straight line through the lanes, leaning towards most of them: its value on the centreline is the end.
    x, y = lanes[clear], place[clear]
    weight = np.ones(len(x))
    for _ in range(10):
        design = np.stack([np.ones_like(x), x], axis=1) * np.sqrt(weight)[:, None]
        line = np.linalg.lstsq(design, y * np.sqrt(weight), rcond=None)[0]
        off = y - line[0] - line[1] * x
        spread = max(1.4826 * float(np.median(np.abs(off))), 0.15 * pixel)
        weight = 1 / np.maximum(1, np.abs(off) / (1.5 * spread))
    u = np.sqrt((spread * 1.5) ** 2 / weight.sum() + _END_FLOOR_MM**2 + (_END_FLOOR_PX * pixel) ** 2)
    return CutEnd(float(about_mm + line[0]), float(u), float(abs(line[1]) * 2 * shape.half_mm))


def burnt_beyond(rgb: np.ndarray, shape: Shape, leg: int, end_mm: float, *, pixel_mm: tuple[float, float]) -> bool:
    """Whether what lies beyond an end is burnt out to white and whiter than the paper round about: then the tube may go on under the glare.

    Parameters
    ----------
    rgb : (height, width, 3)
    shape : the fitted shape
    leg : 0 or 1
    end_mm : from the apex to the leg's end [mm]
    pixel_mm : (across, down) [mm]
    """
    level = _level(rgb, shape, leg, end_mm + np.linspace(0.6, 2.0, 8), _LANES * shape.half_mm, pixel_mm)
    # Paper is judged where it lies, for light is seldom even: on either side, beyond the tube's shadow.
    aside = np.linspace(3.0, 10.0, 15) * shape.half_mm
    paper = _level(rgb, shape, leg, end_mm + aside[::2] - shape.half_mm, np.concatenate([-aside, aside]), pixel_mm)
    return level > _BURNT and paper < level - _WHITER


def _level(rgb: np.ndarray, shape: Shape, leg: int, along: np.ndarray, across: np.ndarray, pixel_mm: tuple[float, float]) -> float:
    """The median level at places so far from the apex along a leg and so far aside of it [mm]."""
    points = shape.apex + across[:, None, None] * shape.outward[leg] + along[None, :, None] * shape.directions[leg]
    return float(np.median([sample(rgb[:, :, c], points, pixel_mm) for c in range(3)]))


def _outermost(field: np.ndarray, shape: Shape, leg: int, about_mm: float, sides_mm: float, pixel_mm: tuple[float, float]) -> float | None:
    """The outermost place near a rough end where all lanes together fall more steeply than round about (a shadow falls slowly); None if another does so more."""
    pixel = float(np.mean(pixel_mm))
    t = about_mm + np.arange(-_SHADOW * shape.half_mm, shape.half_mm, 0.25 * pixel)
    lanes = _LANES * shape.half_mm
    points = shape.apex + lanes[:, None, None] * shape.outward[leg] + t[None, :, None] * shape.directions[leg]
    level = np.median(sample(field, points, pixel_mm), axis=0)
    fall = ndimage.gaussian_filter1d(level, 32.0, order=1, mode="nearest") - ndimage.gaussian_filter1d(level, 6.0, order=1, mode="nearest")
    fall = np.where(t < sides_mm, 0.0, fall)
    peaks = np.flatnonzero((fall[1:-1] >= fall[:-2]) & (fall[1:-1] > fall[2:]) & (fall[1:-1] > _STEEP_SHARE * fall.max())) + 1
    if not peaks.size or (fall[peaks[-1]] < fall[peaks].max() and t[peaks[-1]] - t[peaks[np.argmax(fall[peaks])]] > _APART_MM):
        return None
    return float(t[peaks[-1]])


def _across(t: np.ndarray, lines: np.ndarray, change: np.ndarray, lanes: np.ndarray) -> tuple[float, float]:
    """Where a line across the tube meets its middle, and how surely by how its places on the lanes agree [mm]."""
    way = change.sum(axis=0) / max(float(np.linalg.norm(change.sum(axis=0))), 1e-12)
    seen = np.clip(lines @ way, 0, None)
    weight = seen.sum(axis=1)
    place = (seen * t).sum(axis=1) / np.maximum(weight, 1e-12)
    # A straight line, slanting as it may; lanes where it is hardly seen count for less.
    design = np.stack([np.ones_like(lanes), lanes], axis=1) * weight[:, None]
    line, left = np.linalg.lstsq(design, place * weight, rcond=None)[:2]
    free = len(lanes) - 2
    spread = float(left[0]) / free if left.size else float(np.ptp(place)) ** 2
    return float(line[0]), float(np.sqrt(spread * np.linalg.pinv(design.T @ design, hermitian=True)[0, 0]))


def find_marks(rgb: np.ndarray, shape: Shape, leg: int, end_mm: float, *, pixel_mm: tuple[float, float]) -> list[PenMark]:
    """Narrow lines right across a straight leg, by how they differ from the tube beside them.

    Parameters
    ----------
    rgb : (height, width, 3)
    shape : the fitted shape
    leg : 0 or 1
    end_mm : from the apex to the leg's end [mm]
    pixel_mm : (across, down) [mm]
    """
    pixel = float(np.mean(pixel_mm))
    step = 0.5 * pixel
    t = np.arange(shape.setback_mm + 0.3 * shape.half_mm, end_mm - 1.2, step)
    if len(t) < 40:
        return []
    lanes = np.linspace(-0.55, 0.55, 7) * shape.half_mm
    points = shape.apex + lanes[:, None, None] * shape.outward[leg] + t[None, :, None] * shape.directions[leg]
    colour = np.stack([sample(rgb[:, :, c], points, pixel_mm) for c in range(3)], axis=2)
    colour = ndimage.gaussian_filter1d(colour, pixel / step, axis=1)
    beside = ndimage.median_filter(colour, size=(1, max(3, int(2.5 * _WIDEST_MARK_MM / step) | 1), 1), mode="nearest")
    change = np.median(colour - beside, axis=0)  # in most lanes alike: a glint or a scratch is not
    away = np.linalg.norm(change, axis=1) / np.sqrt(3)
    least = max(8 * 1.4826 * float(np.median(away)), 0.06)
    labels, count = ndimage.label(away > 0.5 * np.clip(ndimage.maximum_filter1d(away, int(2 / step)), least, None))
    marks = []
    for where in ndimage.find_objects(labels):
        part = where[0]
        width = (part.stop - part.start) * step
        if away[part].max() < least or width > _WIDEST_MARK_MM or width < 0.08:
            continue
        if part.start == 0 or part.stop == len(t):
            continue
        place, u = _across(t[part], colour[:, part] - beside[:, part], change[part], lanes)
        marks.append(PenMark(place, float(np.hypot(u, np.hypot(_MARK_FLOOR_MM, _MARK_OF_WIDTH * width))), float(width)))
    return marks
