"""A first course through a flat line: its middle traced between both edges, and split into straights and arcs.

The split is the one, of all that there are, whose straights and circles lie nearest to the traced points, each further bend at a
price; it is found by dynamic programming over where one stretch ends and the next begins.
"""

from __future__ import annotations

import numpy as np
from scipy import interpolate, ndimage

from bendcal.scan.backdrop import Unlike
from bendcal.scan.course import Course, course_through
from bendcal.scan.edges import STEP_MM, lined_up, lined_up_along
from bendcal.scan.heights import View

__all__ = ["first_course", "straights_and_arcs", "traced", "traced_along"]

_MOST_POINTS = 380
_NEAR_MM = 0.08  # how far a traced point lies from a straight or an arc
_BEND_COSTS = 24.0  # squares of that, which a bend more must save
_LEAST_STRAIGHT = 1.0  # of the diameter
_SHORT = (1.3, 1.9, 2.6)  # diameters, up to which a straight inside of a bend is taken for none: more of them where the line would be refused for a short one
_REFUSED = 1.5
_SLIGHTEST = np.radians(4.0)  # less than that is no bend but a bow, for what follows to judge
_FEW = 4  # points; an arc of fewer is anything


def traced(unlike: Unlike, rough_mm: np.ndarray, *, pixel_mm: tuple[float, float], od_mm: float, view: View | None = None, sharp: bool = False) -> np.ndarray:
    """(m, 2) points along the middle of the tube, evenly spaced and in order [mm].

    Parameters
    ----------
    unlike : how unlike its backdrop the picture is
    rough_mm : (k, 2) a rough centreline, in order
    pixel_mm : (across, down) [mm]
    od_mm : the tube's diameter [mm]
    view : the camera; None for a scanner
    sharp : whether only sharp edges are followed, not the borders of shadows
    """
    line = rough_mm
    for blur in (1.0, 2.0):
        base, normal = _even(line, blur)
        line = lined_up_along(unlike.map, unlike.noise, base, normal, pixel_mm=pixel_mm, od_mm=od_mm, view=view, sharp=sharp)
    return line


def traced_along(unlike: Unlike, course: Course, ends_mm: tuple[float, float], *, pixel_mm: tuple[float, float], od_mm: float, view: View | None = None, sharp: bool = False) -> np.ndarray:
    """The same along a course that is nearly the right one.

    Parameters
    ----------
    unlike, pixel_mm, od_mm, view, sharp : as for :func:`traced`
    course, ends_mm : the course, and from its outer apexes to the ends [mm]
    """
    reach = course.halfway_mm(ends_mm)
    return np.concatenate([lined_up(unlike.map, unlike.noise, b, far, pixel_mm=pixel_mm, od_mm=od_mm, view=view, sharp=sharp) for b, far in zip(course.bends, reach, strict=True)])


def first_course(points: np.ndarray, od_mm: float) -> tuple[Course, np.ndarray] | None:
    """A course near to traced points, and (m,) the bend that each of them belongs to; None where they make no bend.

    Parameters
    ----------
    points : (m, 2) along the tube's middle, in order [mm]
    od_mm : the tube's diameter [mm]

    Examples
    --------
    >>> t = np.arange(0, 60, 1.2)
    >>> corner = np.concatenate([np.column_stack([t, 0 * t]), np.column_stack([60 + 0 * t, t])])
    >>> course, _ = first_course(corner, 4.76)
    >>> course.count, np.abs(course.apex_mm).round(1).tolist()
    (1, [[60.0, 0.0]])
    """
    best = None
    for short in _SHORT:
        best = _course(points, od_mm, short) or best
        if best is None or best[0].count < 2 or best[0].straight_mm.min() > _REFUSED * od_mm:
            break
    return best


def _course(points: np.ndarray, od_mm: float, short: float) -> tuple[Course, np.ndarray] | None:
    """The course whose inner straights are longer than `short` diameters."""
    step = float(np.median(np.linalg.norm(np.diff(points, axis=0), axis=1)))
    pieces = straights_and_arcs(points, max(3, int(np.ceil(_LEAST_STRAIGHT * od_mm / step))))
    # A short straight inside of a bend is made by what lies beside the tube; of two real bends so close, the fit will show that they are not one.
    kept = [(a, b) for k, (a, b) in enumerate(pieces) if k in (0, len(pieces) - 1) or (b - a) * step > short * od_mm]
    lines = _joined([_line(points[a:b]) + (a, b) for a, b in kept], points)
    if len(lines) < 2:
        return None
    apexes, radii, splits = [], [], [0]
    for (p, d, _, stop), (q, e, start, _) in zip(lines[:-1], lines[1:], strict=True):
        turn = np.arccos(np.clip(d @ e, -1, 1))
        if turn > np.radians(172):  # there and back: the apex would be too far away to mean anything
            return None
        apexes.append(p + d * np.linalg.solve(np.stack([d, -e], axis=1), q - p)[0])
        radii.append((start - stop + 1) * step / turn)
    for _, _, start, stop in lines[1:-1]:
        splits.append((start + stop) // 2)
    bend = np.searchsorted(splits, np.arange(len(points)), side="right") - 1
    first, last = lines[0][1], lines[-1][1]
    half = od_mm / 2
    course = Course(
        np.array(apexes), float(np.arctan2(-first[1], -first[0])), float(np.arctan2(last[1], last[0])), np.array(radii), half, np.full(len(apexes), half)
    )
    return course_through(course, points, bend), bend


def straights_and_arcs(points: np.ndarray, least: int) -> list[tuple[int, int]]:
    """Where the straights begin and end, as indices of points; what lies between two of them is an arc.

    Parameters
    ----------
    points : (m, 2) in order
    least : points that a straight has at least
    """
    count = len(points)
    straight, arc = _squares(points)
    straight, arc = straight / _NEAR_MM**2, arc / _NEAR_MM**2 + _BEND_COSTS
    by_line, by_arc = np.full(count + 1, np.inf), np.full(count + 1, np.inf)
    from_line, from_arc = np.zeros(count + 1, int), np.zeros(count + 1, int)
    for stop in range(1, count + 1):
        if stop >= 2:
            whole = by_line[: stop - 1] + arc[: stop - 1, stop]
            from_arc[stop] = int(np.argmin(whole))
            by_arc[stop] = whole[from_arc[stop]]
        if stop >= least:
            whole = by_arc[: stop - least + 1] + straight[: stop - least + 1, stop]
            whole[0] = straight[0, stop]
            from_line[stop] = int(np.argmin(whole))
            by_line[stop] = whole[from_line[stop]]
    found, stop = [], count
    while np.isfinite(by_line[stop]):
        start = int(from_line[stop])
        found.append((start, stop))
        if start == 0:
            break
        stop = int(from_arc[start])
    return found[::-1]


def _even(line: np.ndarray, blur: float) -> tuple[np.ndarray, np.ndarray]:
    """The line smoothed, at even steps, and the unit vectors across it."""
    length = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1)))
    # Mirrored through its ends, so that smoothing does not draw them in.
    pad = int(4 * blur) + 1
    long = np.concatenate([2 * line[0] - line[1 : pad + 1][::-1], line, 2 * line[-1] - line[-pad - 1 : -1][::-1]])
    smooth = ndimage.gaussian_filter1d(long, blur, axis=0)[pad : pad + len(line)]
    count = int(np.clip(length[-1] / (2 * STEP_MM), 12, _MOST_POINTS))
    curve = interpolate.CubicSpline(length, smooth)
    at = np.linspace(0, length[-1], count)
    way = curve(at, 1)
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    return curve(at), np.column_stack([-way[:, 1], way[:, 0]])


def _line(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    middle = points.mean(axis=0)
    along = np.linalg.svd(points - middle, full_matrices=False)[2][0]
    return middle, along * np.sign(along @ (points[-1] - points[0]))


def _joined(lines: list, points: np.ndarray) -> list:
    """The straights, two with hardly a turn between them made one."""
    out = lines[:1]
    for line in lines[1:]:
        if np.arccos(np.clip(out[-1][1] @ line[1], -1, 1)) < _SLIGHTEST:
            start, stop = out[-1][2], line[3]
            out[-1] = (*_line(points[start:stop]), start, stop)
        else:
            out.append(line)
    return out


def _squares(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(m + 1, m + 1) sums of squares of points i … j − 1 about their best straight, and about their best circle."""
    x, y = (points - points.mean(axis=0)).T
    z = x * x + y * y
    sums = {k: np.append(0.0, np.cumsum(v)) for k, v in {"1": x * 0 + 1, "x": x, "y": y, "z": z, "xx": x * x, "xy": x * y, "yy": y * y, "xz": x * z, "yz": y * z, "zz": z * z}.items()}
    s = {k: v[None, :] - v[:, None] for k, v in sums.items()}
    n = np.maximum(s["1"], 1.0)
    c = {a + b: s[a + b if a + b in s else b + a] - s[a] * s[b] / n for a, b in (("x", "x"), ("x", "y"), ("y", "y"), ("x", "z"), ("y", "z"), ("z", "z"))}
    half, root = (c["xx"] + c["yy"]) / 2, np.hypot((c["xx"] - c["yy"]) / 2, c["xy"])
    straight = np.maximum(half - root, 0.0)
    # A circle: z = a x + b y + c, by least squares; its centre is (a, b)/2, and z's misfit is 2 R times the distance.
    room = c["xx"] * c["yy"] - c["xy"] ** 2
    safe = np.where(room > 1e-9, room, 1.0)
    a = (c["xz"] * c["yy"] - c["yz"] * c["xy"]) / safe
    b = (c["yz"] * c["xx"] - c["xz"] * c["xy"]) / safe
    misfit = np.maximum(c["zz"] - a * c["xz"] - b * c["yz"], 0.0)
    middle = s["x"] / n, s["y"] / n
    radius2 = s["z"] / n - a * middle[0] - b * middle[1] + (a * a + b * b) / 4
    arc = np.where(room > 1e-9, misfit / (4 * np.maximum(radius2, 1e-6)), straight)
    arc = np.where(s["1"] < _FEW, 0.0, np.minimum(arc, straight))
    return straight, arc
