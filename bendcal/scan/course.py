"""A flat line seen from above: straight legs joined by arcs, bending to either side, all of one width.

It is a chain of one-bend shapes (`tube_model`), each of which shares a leg with its neighbour: bend k's legs point from its apex
towards the places before and after it. For n bends 4n + 3 numbers tell it, which for one bend are the seven of a shape.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import optimize

from bendcal.scan.tube_model import ARC, BELIEFS, LEG_1, THICKNESS, Fitted, Shape, distances

__all__ = ["Course", "EdgePoints", "FittedCourse", "course_through", "fit_course"]

_SHAPE_STEPS = np.array([1e-4, 1e-4, 1e-6, 1e-6, 1e-4, 1e-5, 1e-5])
_FLATTENING = 0.05  # standard deviation of an arc's width relative to the legs', believed beforehand


@dataclass(frozen=True, eq=False)
class Course:
    """Where a flat line runs, on the glass (x across, y down) in mm and radians.

    Parameters
    ----------
    apex_mm : (n, 2) from one end to the other
    along_first, along_last : direction from the first apex to the first end, and from the last apex to the last end
    radius_mm : (n,) of each arc's centreline
    half_mm : half the width of the legs
    half_arc_mm : (n,) half the width of each arc

    Examples
    --------
    >>> step = Course(np.array([[0.0, 0], [0, 80]]), np.pi, 0.0, np.array([15.0, 15.0]), 2.4, np.array([2.4, 2.4]))
    >>> [round(float(np.degrees(bend.turn)), 6) for bend in step.bends], step.sense.tolist()
    ([90.0, 90.0], [1, -1])
    """

    apex_mm: np.ndarray
    along_first: float
    along_last: float
    radius_mm: np.ndarray
    half_mm: float
    half_arc_mm: np.ndarray

    @property
    def count(self) -> int:
        """How many bends it has."""
        return len(self.apex_mm)

    @cached_property
    def bends(self) -> tuple[Shape, ...]:
        """Each bend with the legs on either side of it."""
        ahead = np.diff(self.apex_mm, axis=0)
        on = np.append(np.arctan2(ahead[:, 1], ahead[:, 0]), self.along_last)
        back = np.append(self.along_first, np.arctan2(-ahead[:, 1], -ahead[:, 0]))
        return tuple(
            Shape(*map(float, (*self.apex_mm[k], back[k], on[k], self.radius_mm[k], self.half_mm, self.half_arc_mm[k]))) for k in range(self.count)
        )

    @property
    def sense(self) -> np.ndarray:
        """(n,) which way each bend turns, walked from the first end: 1 clockwise as the picture is looked at, −1 the other way."""
        ways = [np.cross(np.append(-b.directions[0], 0), np.append(b.directions[1], 0))[2] for b in self.bends]
        return np.where(np.array(ways) > 0, 1, -1)

    @property
    def straight_mm(self) -> np.ndarray:
        """(n − 1,) straight tube between one arc and the next."""
        setback = np.array([b.setback_mm for b in self.bends])
        return np.linalg.norm(np.diff(self.apex_mm, axis=0), axis=1) - setback[:-1] - setback[1:]

    def array(self) -> np.ndarray:
        """(4n + 3,) apexes, both directions, radii, half widths."""
        return np.concatenate([self.apex_mm.ravel(), [self.along_first, self.along_last], self.radius_mm, [self.half_mm], self.half_arc_mm])

    @classmethod
    def of(cls, numbers: np.ndarray) -> Course:
        """The course of these numbers, in the order of :meth:`array`."""
        n = (len(numbers) - 3) // 4
        return cls(numbers[: 2 * n].reshape(n, 2), float(numbers[2 * n]), float(numbers[2 * n + 1]), numbers[2 * n + 2 : 3 * n + 2], float(numbers[3 * n + 2]), numbers[3 * n + 3 :])

    def moved(self, values: np.ndarray) -> Course:
        """The course with its numbers changed by these, (4n + 3,)."""
        return Course.of(self.array() + values)

    def halfway_mm(self, ends_mm: tuple[float, float]) -> list[tuple[float, float]]:
        """How far from its apex each bend's part of the course reaches, back and on: to an end, or to the middle of the straight between two arcs.

        Parameters
        ----------
        ends_mm : from the first and from the last apex to the end beyond it [mm]
        """
        setback = [b.setback_mm for b in self.bends]
        half = self.straight_mm / 2
        back = [ends_mm[0], *(float(setback[k + 1] + half[k]) for k in range(self.count - 1))]
        on = [*(float(setback[k] + half[k]) for k in range(self.count - 1)), ends_mm[1]]
        return list(zip(back, on, strict=True))

    def by_bends(self) -> np.ndarray:
        """(n, 7, 4n + 3) how the numbers of each bend's shape change with those of the course."""
        n = self.count
        by = np.zeros((n, 7, 4 * n + 3))
        for k in range(n):
            by[k, 0, 2 * k] = by[k, 1, 2 * k + 1] = by[k, 4, 2 * n + 2 + k] = by[k, 5, 3 * n + 2] = by[k, 6, 3 * n + 3 + k] = 1.0
            for row, other, end in ((2, k - 1, 2 * n), (3, k + 1, 2 * n + 1)):
                if not 0 <= other < n:
                    by[k, row, end] = 1.0
                    continue
                way = self.apex_mm[other] - self.apex_mm[k]
                turn = np.array([-way[1], way[0]]) / (way @ way)
                by[k, row, 2 * other : 2 * other + 2] = turn
                by[k, row, 2 * k : 2 * k + 2] = -turn
        return by


@dataclass(frozen=True, eq=False)
class EdgePoints:
    """Points of both edges: (n, 2) places [mm], (n,) 1 on the outside of their bend and −1 on its inside, (n,) the bend they belong to."""

    at_mm: np.ndarray
    side: np.ndarray
    bend: np.ndarray


@dataclass(frozen=True, eq=False)
class FittedCourse:
    """A course fitted to edges; as :class:`bendcal.scan.tube_model.Fitted`, with n + 1 beliefs at the end.

    Attributes
    ----------
    course : the course
    points : the edge points
    residual_mm, jacobian, weight : as there
    zone : (m,) of each point LEG_1, LEG_2 or ARC of its bend
    spread_mm : one standard deviation of a belief, as its residual has it
    """

    course: Course
    points: EdgePoints
    residual_mm: np.ndarray
    jacobian: np.ndarray
    weight: np.ndarray
    zone: np.ndarray
    spread_mm: float

    @property
    def beliefs(self) -> int:
        """How many rows at the end are no edge points."""
        return self.course.count + 1

    def of_bend(self, k: int) -> Fitted:
        """One bend's part as a fit of its own, to be judged as one."""
        here = np.flatnonzero(self.points.bend == k)
        pad = np.zeros(BELIEFS)
        own = np.append(self.residual_mm[here], pad)
        zone = np.append(self.zone[here], [ARC] * BELIEFS)
        return Fitted(self.course.bends[k], own, np.zeros((len(own), 7)), np.append(self.weight[here], pad), zone, self.spread_mm)


def _off(bend: Shape, points: np.ndarray, side: np.ndarray, zone: np.ndarray | None = None) -> np.ndarray:
    off, zone = distances(bend, points, zone)
    return off - side * np.where(zone == ARC, bend.half_arc_mm, bend.half_mm)


def fit_course(start: Course, points: EdgePoints, *, spread_mm: float, od_mm: float) -> FittedCourse:
    """Fit a course to points of both edges, robustly.

    Parameters
    ----------
    start : a course near by
    points : of both edges
    spread_mm : what an edge point may be off without being taken for a stray one
    od_mm : the tube's diameter [mm], believed to a hundredth
    """
    n, count = start.count, len(points.side)
    here = [np.flatnonzero(points.bend == k) for k in range(n)]

    def away(p: np.ndarray) -> np.ndarray:
        course = Course.of(p)
        out = np.zeros(count + n + 1)
        for k, bend in enumerate(course.bends):
            out[here[k]] = _off(bend, points.at_mm[here[k]], points.side[here[k]])
        out[count : count + n] = (course.half_arc_mm / course.half_mm - 1) / _FLATTENING * spread_mm
        out[-1] = (2 * course.half_mm / od_mm - 1) / THICKNESS * spread_mm
        return out

    def slopes(p: np.ndarray) -> np.ndarray:
        course = Course.of(p)
        by, out = course.by_bends(), np.zeros((count + n + 1, 4 * n + 3))
        for k, bend in enumerate(course.bends):
            own, at, side = bend.array(), points.at_mm[here[k]], points.side[here[k]]
            zone = distances(bend, at)[1]  # as it is: where a leg becomes the arc its width is another
            parts = [(_off(Shape(*(own + h)), at, side, zone) - _off(Shape(*(own - h)), at, side, zone)) / (2 * h.max()) for h in np.diag(_SHAPE_STEPS)]
            out[here[k]] = np.stack(parts, axis=1) @ by[k]
            out[count + k, 3 * n + 3 + k] = spread_mm / _FLATTENING / course.half_mm
            out[count + k, 3 * n + 2] = -spread_mm / _FLATTENING * course.half_arc_mm[k] / course.half_mm**2
        out[-1, 3 * n + 2] = 2 * spread_mm / od_mm / THICKNESS
        return out

    scales = np.concatenate([np.ones(2 * n), [0.01, 0.01], np.ones(n), [0.1], np.full(n, 0.1)])
    found = optimize.least_squares(away, start.array(), jac=slopes, loss="soft_l1", f_scale=spread_mm, x_scale=scales, max_nfev=60)
    course, residual = Course.of(found.x), away(found.x)
    zone = np.full(count, LEG_1)
    for k, bend in enumerate(course.bends):
        zone[here[k]] = distances(bend, points.at_mm[here[k]])[1]
    return FittedCourse(course, points, residual, slopes(found.x), 1 / np.sqrt(1 + (residual / spread_mm) ** 2), zone, spread_mm)


def course_through(start: Course, points: np.ndarray, bend: np.ndarray) -> Course:
    """The course whose centreline lies nearest to points along the tube's middle; widths stay as they are.

    Parameters
    ----------
    start : a course near by
    points : (m, 2) [mm]
    bend : (m,) the bend that each belongs to
    """
    n = start.count
    fixed = start.array()[3 * n + 2 :]
    here = [np.flatnonzero(bend == k) for k in range(n)]

    def away(p: np.ndarray) -> np.ndarray:
        out = np.zeros(len(points))
        for k, one in enumerate(Course.of(np.append(p, fixed)).bends):
            out[here[k]] = distances(one, points[here[k]])[0]
        return out

    low = np.concatenate([np.full(2 * n + 2, -np.inf), np.full(n, start.half_mm)])
    high = np.concatenate([np.full(2 * n + 2, np.inf), np.full(n, 200 * start.half_mm)])
    begin = start.array()[: 3 * n + 2]
    begin[2 * n + 2 :] = np.clip(begin[2 * n + 2 :], 1.01 * start.half_mm, 199 * start.half_mm)
    scales = np.concatenate([np.ones(2 * n), [0.02, 0.02], np.ones(n)])
    found = optimize.least_squares(away, begin, loss="soft_l1", f_scale=0.2, x_scale=scales, bounds=(low, high), max_nfev=60)
    return Course.of(np.append(found.x, fixed))
