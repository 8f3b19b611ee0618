"""From a fitted course to legs, angles and radii with their joint covariance: for every leg and arc what `uncertainty` does for one bend."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bendcal.scan.course import Course, FittedCourse
from bendcal.scan.tube_model import ARC, LEG_1, LEG_2
from bendcal.scan.uncertainty import FLATTENED, TILT_PX, arc_shift, leg_shift, results, scattered, solver

__all__ = ["corrected_course", "course_covariance", "course_results"]

_UNSEEN = 0.01  # of the diameter: by how much such an arc's middle may lie elsewhere (an assumption)


def course_results(course: Course, ends_mm: np.ndarray, scale: tuple[float, float] = (1.0, 1.0)) -> np.ndarray:
    """(3n + 1,) n + 1 legs [mm], n angles [deg] and n radii [mm] of a course whose picture is stretched by `scale`.

    Parameters
    ----------
    course : the course
    ends_mm : (2, 2) the middles of the cut ends [mm]
    scale : (across, down) factors

    Examples
    --------
    >>> step = Course(np.array([[0.0, 0], [0, 80]]), np.pi, 0.0, np.array([15.0, 15.0]), 2.4, np.array([2.4, 2.4]))
    >>> course_results(step, np.array([[-60.0, 0], [50, 80]])).round(6).tolist()
    [60.0, 80.0, 50.0, 90.0, 90.0, 15.0, 15.0]
    """
    bends, stretch = course.bends, np.array(scale)
    between = np.linalg.norm(np.diff(course.apex_mm, axis=0) * stretch, axis=1)
    # The ends of each bend's legs: the places before and after it stand in for those that are no ends.
    told = np.array([results(bend, ends_mm, scale) for bend in bends])
    return np.concatenate([[told[0, 2]], between, [told[-1, 3]], told[:, 0], told[:, 1]])


def corrected_course(fitted: FittedCourse) -> Course:
    """The course, each arc moved outward by what a flattened bend's outside has lost more than its inside.

    Parameters
    ----------
    fitted : the fit
    """
    course, solve = fitted.course, solver(fitted)
    lost = np.maximum(0.0, 2 * (course.half_mm - course.half_arc_mm))
    arc = np.where(fitted.zone == ARC, FLATTENED * lost[fitted.points.bend], 0.0)
    outward = course.moved(-solve @ np.append(arc, np.zeros(fitted.beliefs)))
    return replace(outward, half_mm=course.half_mm, half_arc_mm=course.half_arc_mm)


def course_covariance(
    fitted: FittedCourse, course: Course, ends_mm: np.ndarray, ends_u: tuple[float, float], along_mm: np.ndarray, *,
    off_mm: np.ndarray, pixel_mm: float, od_mm: float, scale_u: tuple[float, float], dark: bool,
) -> np.ndarray:  # fmt: skip
    """(3n + 1, 3n + 1) covariance of :func:`course_results`.

    Parameters
    ----------
    fitted : the fit
    course : the same, corrected
    ends_mm, ends_u : (2, 2) the cut ends [mm], and how surely along the leg
    along_mm : (m,) places of the edge points along their zones [mm]
    off_mm : (n + 1,) by how much half the width of each leg, where both edges were found, is not half the diameter [mm]
    pixel_mm, od_mm : size of a pixel, and the tube's diameter [mm]
    scale_u : (across, down) standard uncertainties of the scale
    dark : whether the backdrop is dark
    """
    n, zone, bend = course.count, fitted.zone, fitted.points.bend
    leg = np.where(zone == ARC, -1, bend + (zone == LEG_2))
    solve, pad = solver(fitted), np.zeros(fitted.beliefs)
    series = [np.flatnonzero((bend == k) & (zone == z) & (fitted.points.side == s)) for k in range(n) for z in (LEG_1, LEG_2, ARC) for s in (1, -1)]
    by_p = _slopes(course, ends_mm)
    total = by_p @ scattered(solve, fitted.residual_mm, series, fitted.spread_mm, fitted.beliefs) @ by_p.T

    shift = [leg_shift(off, pixel_mm, od_mm, dark) for off in off_mm]
    outward = course.sense[bend].astype(float)  # towards one side of the course: outside of one bend may be inside of the next
    length = np.append(np.linalg.norm(np.diff(course.apex_mm, axis=0), axis=1), 0.0)
    lost = 2 * np.abs(course.half_mm - course.half_arc_mm)
    patterns = []
    for j in range(n + 1):
        here = leg == j
        t = np.where(zone == LEG_1, (length[j - 1] if j else 0.0) - along_mm, along_mm)
        slope = 2 * (t - t[here].mean()) / max(np.ptp(t[here]), 1e-6)
        patterns += [here * outward * shift[j], here * outward * slope * TILT_PX * pixel_mm]
    for k in range(n):
        patterns.append(((zone == ARC) & (bend == k)) * arc_shift(max(shift[k], shift[k + 1]), float(lost[k]), od_mm, dark))
    for pattern in patterns:
        change = by_p @ (solve @ np.append(pattern, pad))
        total += np.outer(change, change)
    if dark:
        # An arc of which but one side is seen may be flattened without being seen narrower, and its radius hangs on how deep its middle lies below the apex.
        deep = 1 / np.cos(np.array([one.turn for one in course.bends]) / 2) - 1
        total[np.arange(2 * n + 1, 3 * n + 1), np.arange(2 * n + 1, 3 * n + 1)] += (_UNSEEN * od_mm / deep) ** 2
    for row, u in zip((0, n), ends_u, strict=True):
        total[row, row] += u**2
    for axis in (0, 1):
        h = np.zeros(2)
        h[axis] = 1e-5
        change = (course_results(course, ends_mm, tuple(1 + h)) - course_results(course, ends_mm, tuple(1 - h))) / 2e-5 * scale_u[axis]
        total += np.outer(change, change)
    return total


def _slopes(course: Course, ends_mm: np.ndarray) -> np.ndarray:
    """(3n + 1, 4n + 3) how the results change with the course's numbers."""
    n = course.count
    steps = np.concatenate([np.full(2 * n, 1e-4), [1e-6, 1e-6], np.full(2 * n + 1, 1e-4)])
    return np.stack([(course_results(course.moved(h), ends_mm) - course_results(course.moved(-h), ends_mm)) / (2 * h.max()) for h in np.diag(steps)], axis=1)
