"""The pieces on one scan, told apart, and a rough centreline of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage, sparse
from scipy.sparse import csgraph

from bendcal.scan.backdrop import Unlike
from bendcal.scan.scanner import ITS_SCALE

__all__ = ["OFF_PAPER", "SHORTEST", "Found", "find_pieces"]

_ACROSS = 12.0  # rough pixels across a tube
_STEEP = 0.03  # of full white, in one pixel: shadows change by less than half of that
_DEEP, _DEEPEST = 0.78, 0.98  # diameters from the middle of a tube to its border; the second one with its shadow
_HALF_SHARP = 0.75  # of the border there: a shadow's side is not
_NEAR_MM = 1.0  # what comes so near to a blank place may go on there
OFF_PAPER = (
    "It reaches a place that shows no plain paper: over a page's edge, over marks or words, or where no photo shows it sharply enough. "
    "Lay it on white paper between the marks, and take more photos."
)
SHORTEST = 5.0  # a thing shorter than this many diameters is no offcut


@dataclass(frozen=True, eq=False)
class Found:
    """Something on the glass.

    Attributes
    ----------
    box_mm : (left, top, right, bottom) [mm]
    centreline_mm : (n, 2) rough points along it, in order [mm]; empty where it has no clear line
    inside_mm : (m, 2) the middles of its rough pixels [mm]
    sharp : (m,) whether an edge runs through that pixel: a shadow has none
    rough_mm : the size of one of them (the larger side) [mm]
    refused : why it cannot be read, or nothing
    wide : what may be the matter if it cannot be read after all, because it is wide, or nothing
    """

    box_mm: tuple[float, float, float, float]
    centreline_mm: np.ndarray
    inside_mm: np.ndarray
    sharp: np.ndarray
    rough_mm: float
    refused: str = ""
    wide: str = ""


def find_pieces(
    unlike: Unlike, *, pixel_mm: tuple[float, float], od_mm: float, shortest: float = SHORTEST, blank: np.ndarray | None = None
) -> list[Found]:  # fmt: skip
    """Everything on the glass that is long enough to be an offcut, left to right.

    Parameters
    ----------
    unlike : the map of what is not backdrop
    pixel_mm : (across, down) size of its pixels [mm]
    od_mm : the tube's outside diameter [mm]
    shortest : how many diameters long a thing is at least
    blank : where nothing can be told, as a scan has it: what touches such a place is not read
    """
    step = tuple(max(1, int(od_mm / _ACROSS / size)) for size in pixel_mm)
    height, width = unlike.map.shape
    rows, cols = height // step[1], width // step[0]
    rough = unlike.map[: rows * step[1], : cols * step[0]].reshape(rows, step[1], cols, step[0]).mean(axis=(1, 3))
    size = (pixel_mm[0] * step[0], pixel_mm[1] * step[1])
    clear = rough[rough > max(6 * unlike.noise, 0.06)]
    if not clear.size:
        return []
    mask = rough > max(5 * unlike.noise, 0.04, 0.4 * float(np.median(clear)))
    reach = max(1, round(0.22 * od_mm / max(size)))
    closed = ndimage.binary_closing(np.pad(mask, reach + 1), _disc(reach))[reach + 1 : -reach - 1, reach + 1 : -reach - 1]
    filled, hollow = _filled(closed | mask, (0.6 * od_mm) ** 2 / (size[0] * size[1]))
    filled = ndimage.binary_opening(filled, _disc(max(1, round(0.15 * od_mm / max(size)))))
    labels, count = ndimage.label(filled, np.ones((3, 3)))
    near = None
    if blank is not None:
        near = blank[: rows * step[1], : cols * step[0]].reshape(rows, step[1], cols, step[0]).any(axis=(1, 3))
        near = ndimage.binary_dilation(near, iterations=max(1, round(_NEAR_MM / max(size))))
    found = []
    for k, where in enumerate(ndimage.find_objects(labels), start=1):
        part = labels[where] == k
        tall, wide = part.shape[0] * size[1], part.shape[1] * size[0]
        if np.hypot(tall, wide) < shortest * od_mm or part.sum() * size[0] * size[1] < 0.6 * shortest * od_mm**2:
            continue
        corner = (where[1].start, where[0].start)
        closes = bool((hollow[where] & ndimage.binary_dilation(part, iterations=2)).any())
        lost = near is not None and bool((part & near[where]).any())
        found.append(_one(part, corner, filled.shape, size, od_mm, closes, lost, _sharp(unlike, where, step)))
    return sorted(found, key=lambda f: (f.box_mm[0], f.box_mm[1]))


def _sharp(unlike: Unlike, where: tuple[slice, slice], step: tuple[int, int]) -> np.ndarray:
    """Of the rough pixels of a box, those that the map changes steeply in."""
    rows, cols = (slice(w.start * n, w.stop * n) for w, n in zip(where, step[::-1], strict=True))
    steep = ndimage.gaussian_gradient_magnitude(unlike.map[rows, cols], 1.0)
    most = steep.reshape(steep.shape[0] // step[1], step[1], steep.shape[1] // step[0], step[0]).max(axis=(1, 3))
    return most > max(_STEEP, 1.5 * unlike.noise)


def _one(part: np.ndarray, corner: tuple[int, int], whole: tuple[int, int], size: tuple[float, float], od_mm: float, hollow: bool, lost: bool, sharp: np.ndarray) -> Found:
    y, x = np.nonzero(part)
    points = np.stack([(x + corner[0] + 0.5) * size[0], (y + corner[1] + 0.5) * size[1]], axis=1)
    box = (*(points.min(axis=0) - np.array(size) / 2), *(points.max(axis=0) + np.array(size) / 2))
    margin = 1 if min(size) > 0.2 else 2
    at_edge = (
        corner[0] < margin or corner[1] < margin
        or corner[0] + part.shape[1] > whole[1] - margin or corner[1] + part.shape[0] > whole[0] - margin
    )  # fmt: skip
    refused = ""
    if at_edge:
        refused = "It reaches the border of what is read (a scan's edge, a page's frame), so that an end may be cut off. Lay it a finger's width inside of it and take the picture again."
    elif lost:
        refused = OFF_PAPER
    elif hollow:
        refused = "It closes a loop: pieces lie across one another, or the legs cross. Lay each piece by itself."
    depth = ndimage.distance_transform_edt(np.pad(part, 1), sampling=(size[1], size[0]))[1:-1, 1:-1]
    wide = ""
    if depth.max() > _DEEP * od_mm:
        wide = (
            f"Somewhere it is about {2 * depth.max():.1f} mm wide, and the tube has {od_mm:g} mm: two pieces touch or overlap, a shadow lies beside it, or it is "
            f"no tube of that diameter. Lay each piece by itself, in even light, and look at the diameter and at {ITS_SCALE}."
        )
    if depth.max() > _DEEPEST * od_mm and not _shaded(part, depth, sharp, size, od_mm):
        refused = refused or wide
    line = _centreline(part, depth, points, size, od_mm) if not refused else np.empty((0, 2))
    return Found(tuple(float(v) for v in box), line, points, sharp[y, x], max(size), refused, wide)


def _shaded(part: np.ndarray, depth: np.ndarray, sharp: np.ndarray, size: tuple[float, float], od_mm: float) -> bool:
    """Whether a thing is so wide at its widest because a shadow lies beside it: a bright tube hardly differs more from the paper than its
    shadow does. Two tubes that touch have sharp borders on both sides; whether what is left is one tube, its fit will show."""
    y, x = np.nonzero(part & ~ndimage.binary_erosion(np.pad(part, 1))[1:-1, 1:-1])
    row, column = np.unravel_index(np.argmax(depth), depth.shape)
    near = np.hypot((y - row) * size[1], (x - column) * size[0]) < 1.5 * od_mm
    return bool(near.any() and sharp[y[near], x[near]].mean() < _HALF_SHARP)


def _centreline(part: np.ndarray, depth: np.ndarray, points: np.ndarray, size: tuple[float, float], od_mm: float) -> np.ndarray:
    """Means of the inner pixels at equal walking distances from one end."""
    y, x = np.nonzero(part)
    inner = depth[y, x] > 0.5 * depth.max()
    index = np.full(part.shape, -1)
    index[y[inner], x[inner]] = np.arange(inner.sum())
    rows, cols, lengths = [], [], []
    for dy, dx in ((0, 1), (1, 0), (1, 1), (1, -1)):
        a = index[max(0, -dy) : part.shape[0] - dy, max(0, -dx) : part.shape[1] - max(0, dx)]
        b = index[dy:, max(0, dx) : part.shape[1] + min(0, dx)]
        both = (a >= 0) & (b >= 0)
        rows.append(a[both])
        cols.append(b[both])
        lengths.append(np.full(both.sum(), np.hypot(dx * size[0], dy * size[1])))
    n = int(inner.sum())
    if n < 10:
        return np.empty((0, 2))
    graph = sparse.csr_array((np.concatenate(lengths), (np.concatenate(rows), np.concatenate(cols))), shape=(n, n))
    middle = points[inner]
    far = csgraph.dijkstra(graph, directed=False, indices=0)
    start = int(np.argmax(np.where(np.isfinite(far), far, -1)))
    walked = csgraph.dijkstra(graph, directed=False, indices=start)
    reached = np.isfinite(walked)
    bins = (walked[reached] / (0.35 * od_mm)).astype(int)
    count = np.bincount(bins)
    line = np.stack([np.bincount(bins, middle[reached, k]) for k in (0, 1)], axis=1)
    return (line[count > 0] / count[count > 0, None])[1:-1]


def _filled(mask: np.ndarray, most: float) -> tuple[np.ndarray, np.ndarray]:
    """The mask with its small holes filled (highlights), and its large holes (loops)."""
    holes, count = ndimage.label(ndimage.binary_fill_holes(mask) & ~mask)
    area = np.bincount(holes.ravel(), minlength=count + 1)
    small = np.isin(holes, np.flatnonzero(area <= 4 * most)[1:] if area[0] <= 4 * most else np.flatnonzero(area <= 4 * most))
    # A highlight is a long hole but a thin one: it vanishes where a loop stays.
    thick = ndimage.binary_opening((holes > 0) & ~small, np.ones((3, 3)), iterations=max(1, int(np.sqrt(most) / 3)))
    loops = ndimage.binary_propagation(thick, mask=(holes > 0) & ~small) if thick.any() else thick
    return mask | ((holes > 0) & ~loops), loops


def _disc(radius: int) -> np.ndarray:
    y, x = np.mgrid[-radius : radius + 1, -radius : radius + 1]
    return x * x + y * y <= (radius + 0.3) ** 2
