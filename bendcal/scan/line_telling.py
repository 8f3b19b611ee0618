"""What was seen of a flat line, told as a person measures it: legs, angles, twists and radii, from straight above whatever saw it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bendcal.scan.course import Course, EdgePoints, FittedCourse, fit_course
from bendcal.scan.course_numbers import corrected_course, course_covariance, course_results
from bendcal.scan.decode import Scan
from bendcal.scan.edges import Edges
from bendcal.scan.ends import CutEnd
from bendcal.scan.flat_reading import PatternReading
from bendcal.scan.heights import View, standing
from bendcal.scan.separate import Found
from bendcal.scan.telling import LIT_PX, flat
from bendcal.scan.tube_model import LEG_1, LEG_2, Shape, distances
from bendcal.scan.uncertainty import solver

__all__ = ["Look", "points_of", "told_line", "upright"]


@dataclass(frozen=True, eq=False)
class Look:
    """A course with the edges of each bend, the pixels that belong to each, and how far from the outer apexes the ends are."""

    fitted: FittedCourse
    edges: tuple[Edges, ...]
    parts: tuple[Found, ...]
    ends: tuple[float, float]

    @property
    def outer(self) -> tuple[tuple[Shape, int, float], tuple[Shape, int, float]]:
        """The bend, its leg and the rough end of both end legs."""
        bends = self.fitted.course.bends
        return (bends[0], LEG_1, self.ends[0]), (bends[-1], LEG_2, self.ends[1])


def told_line(
    look: Look, fitted: FittedCourse, cuts: tuple[CutEnd, CutEnd], scan: Scan, *, od_mm: float, known: str, scale_u: tuple[float, float],
    view: View | None, dark: bool, flat_u_mm: float, notes: tuple[str, ...],
) -> PatternReading:  # fmt: skip
    """What a person would measure, each with its uncertainty.

    Parameters
    ----------
    look : the line as it lies in the picture
    fitted : its course as if seen from straight above
    cuts : both ends
    scan : the picture
    od_mm : the tube's diameter [mm]
    known : on which side end A is, if that is known
    scale_u : (across, down) standard uncertainty of the scale, as a share
    view : the camera; None for a scanner
    dark : whether the backdrop is dark
    flat_u_mm : how far the line's places may stand off their plane [mm]
    notes : what else is to be said
    """
    raw = look.fitted.course
    seen = np.array([bend.apex + cut.from_apex_mm * bend.directions[leg] for (bend, leg, _), cut in zip(look.outer, cuts, strict=True)])
    at, ends_u = seen.copy(), [float(np.hypot(c.u_mm, 0.04 * c.oblique_mm)) for c in cuts]
    if view is not None:
        for k, (bend, leg, _) in enumerate(look.outer):
            at[k], more = view.place_seen_at(seen[k], bend.directions[leg], "end", od_mm / 2)
            ends_u[k] = float(np.hypot(ends_u[k], more))
    points, along = points_of(look.edges)
    course = corrected_course(fitted)
    values = course_results(course, at)
    off = np.full(course.count + 1, LIT_PX * float(np.mean(scan.pixel_mm))) if view is not None else _off(look, od_mm)
    covariance = course_covariance(
        fitted, course, at, tuple(ends_u), along, off_mm=off, pixel_mm=float(np.mean(scan.pixel_mm)), od_mm=od_mm, scale_u=scale_u, dark=dark
    )
    if view is not None:
        covariance = covariance + _of_camera(look, fitted, course, at, seen, values, od_mm, view) + _of_heights(fitted, course, at, values, view, flat_u_mm)
    sense = course.sense
    twists = np.append(0.0, np.where(sense[1:] == sense[:-1], 0.0, 180.0))
    return PatternReading(
        scan.name, scan, (), values, covariance, twists, flat_u_mm, known, notes, course=raw, ends_mm=seen, edges_mm=points.at_mm
    )


def upright(look: Look, od_mm: float, view: View | None) -> FittedCourse:
    """The course fitted as if seen from straight above.

    Parameters
    ----------
    look : the line as it lies in the picture
    od_mm : the tube's diameter [mm]
    view : the camera; None for a scanner
    """
    if view is None:
        return look.fitted
    points = look.fitted.points
    lowered = EdgePoints(_lowered(points, look.fitted.course, od_mm, view, None), points.side, points.bend)
    return fit_course(look.fitted.course, lowered, spread_mm=look.fitted.spread_mm, od_mm=od_mm)


def points_of(edges: tuple[Edges, ...]) -> tuple[EdgePoints, np.ndarray]:
    """All edge points of all bends, and where along its zone each is [mm].

    Parameters
    ----------
    edges : those of each bend
    """
    at, side, bend, along = [], [], [], []
    for k, one in enumerate(edges):
        points, sides, _ = flat(one)
        kept = ~np.isnan(one.at_mm[:, :, 0])
        at.append(points)
        side.append(sides)
        bend.append(np.full(len(sides), k))
        along += [one.along_mm[kept[0]], one.along_mm[kept[1]]]
    return EdgePoints(np.concatenate(at), np.concatenate(side), np.concatenate(bend)), np.concatenate(along)


def _lowered(points: EdgePoints, raw: Course, od_mm: float, view: View, other: tuple | None) -> np.ndarray:
    out = np.empty_like(points.at_mm)
    for k, bend in enumerate(raw.bends):
        here = points.bend == k
        out[here] = view.under_outline(points.at_mm[here], points.side[here], bend, od_mm / 2, other=other)
    return out


def _of_camera(look: Look, fitted: FittedCourse, course: Course, at: np.ndarray, seen: np.ndarray, values: np.ndarray, od_mm: float, view: View) -> np.ndarray:
    """The covariance because the camera's place and lens are known only so well."""
    solve, total, raw = solver(fitted), np.zeros((len(values), len(values))), look.fitted.course
    points = fitted.points
    for other in view.others:
        there = _lowered(look.fitted.points, raw, od_mm, view, other)
        off = _aside(fitted, there)
        ends = [view.place_seen_at(seen[k], bend.directions[leg], "end", od_mm / 2, other=other)[0] for k, (bend, leg, _) in enumerate(look.outer)]
        change = course_results(course.moved(-solve @ np.append(off, np.zeros(fitted.beliefs))), np.array(ends)) - values
        total += np.outer(change, change)
    return total


def _aside(fitted: FittedCourse, there: np.ndarray) -> np.ndarray:
    """(n,) how far outwards from where they are edge points would lie in other places [mm]."""
    points, off = fitted.points, np.zeros(len(there))
    for k, bend in enumerate(fitted.course.bends):
        here = points.bend == k
        off[here] = distances(bend, there[here])[0] - distances(bend, points.at_mm[here])[0]
    return off


def _of_heights(fitted: FittedCourse, course: Course, at: np.ndarray, values: np.ndarray, view: View, flat_u_mm: float) -> np.ndarray:
    """The covariance because ends and apexes may stand off their plane."""
    solve, total, points, count = solver(fitted), np.zeros((len(values), len(values))), fitted.points, course.count
    between = np.linalg.norm(np.diff(course.apex_mm, axis=0), axis=1)
    far = [float(np.linalg.norm(at[k] - course.apex_mm[-k])) for k in (0, 1)]
    shares, at_ends = np.zeros((count + 2, len(points.side))), np.zeros((count + 2, 2))
    at_ends[0, 0] = at_ends[-1, 1] = 1.0
    for k, bend in enumerate(fitted.course.bends):
        here = points.bend == k
        shares[k : k + 3, here] = standing(bend, points.at_mm[here], (far[0] if k == 0 else between[k - 1], far[1] if k == count - 1 else between[k]))
    for share, ends in zip(shares, at_ends, strict=True):
        off = _aside(fitted, view.higher(points.at_mm, flat_u_mm * share))
        change = course_results(course.moved(-solve @ np.append(off, np.zeros(fitted.beliefs))), view.higher(at, flat_u_mm * ends)) - values
        total += np.outer(change, change)
    return total


def _off(look: Look, od_mm: float) -> np.ndarray:
    """(n + 1,) by how much half of each leg's width, where both of its edges were kept, is not half the diameter [mm]."""
    wide: list[list[np.ndarray]] = [[] for _ in range(look.fitted.course.count + 1)]
    for k, edges in enumerate(look.edges):
        both = np.isfinite(edges.at_mm[:, :, 0]).all(axis=0)
        for leg in (LEG_1, LEG_2):
            wide[k + leg].append(edges.width_mm[both & (edges.zone == leg)])
    joined = [np.concatenate(w) for w in wide]
    return np.array([abs(od_mm - float(np.median(w))) / 2 if w.size else 0.0 for w in joined])
