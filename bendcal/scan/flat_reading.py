"""A flat line on a picture: the legs and angles that were read from it, or why nothing was."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from bendcal.estimate import Estimate
from bendcal.legs import Legs
from bendcal.nodes import nodes_from_legs
from bendcal.pattern import Angle, Leg, Twist
from bendcal.pattern.gradients import shape_gradient
from bendcal.scan.course import Course
from bendcal.scan.decode import NotAScan, Scan
from bendcal.scan.overlay import LARGEST, course_png

__all__ = ["FLAT_U_MM", "PatternReading"]

#: How far an end or an apex may stand off the plane though the line lies flat: assumed; it makes the twists' uncertainty.
FLAT_U_MM = 0.5


@dataclass(frozen=True, eq=False)
class PatternReading:
    """What a flat line on a picture shows, from end A on.

    A scanner sees the line from below and a camera from above, but that is all one: a flat line that is turned over is the same line, with
    the same legs, angles and twists.

    Attributes
    ----------
    name : the picture's file
    refused : sentences that say why nothing is read; empty where it was read
    values : (3n + 1,) n + 1 legs [mm], n angles [deg] and n radii [mm], or None
    covariance : (3n + 1, 3n + 1) of these, or None
    twist_deg : (n,) 0 where a bend goes on to the same side as the one before, 180 where to the other; the first is 0
    flat_u_mm : how far its places may stand off their plane [mm]
    end_a : which end was taken as A (``left``, ``right``, ``top``, ``bottom``), or "" if nothing tells
    notes : what else a person should know
    """

    name: str
    scan: Scan = field(repr=False)
    refused: tuple[str, ...] = ()
    values: np.ndarray | None = None
    covariance: np.ndarray | None = None
    twist_deg: np.ndarray | None = None
    flat_u_mm: float = FLAT_U_MM
    end_a: str = ""
    notes: tuple[str, ...] = ()
    course: Course | None = field(default=None, repr=False)
    ends_mm: np.ndarray | None = field(default=None, repr=False)
    edges_mm: np.ndarray | None = field(default=None, repr=False)

    @property
    def bends(self) -> int:
        """How many bends were read."""
        return 0 if self.values is None else (len(self.values) - 1) // 3

    @property
    def leg(self) -> Estimate:
        """(n + 1,) end A to the first apex, apex to apex, the last apex to end B [mm]."""
        return self._told(0, self.bends + 1, "mm")

    @property
    def angle(self) -> Estimate:
        """(n,) the finished angles [deg]."""
        return self._told(self.bends + 1, 2 * self.bends + 1, "°")

    @property
    def radius(self) -> Estimate:
        """(n,) the arcs' centreline radii [mm]."""
        return self._told(2 * self.bends + 1, 3 * self.bends + 1, "mm")

    @property
    def twist(self) -> Estimate:
        """(n,) the twists [deg]: 0 or 180 by what is seen, unsure by how flat the line lies."""
        by_height = shape_gradient(nodes_from_legs(self.legs))[2 * self.bends + 1 :, 2::3]
        return Estimate(self.legs.twist_deg, np.linalg.norm(by_height, axis=1) * self.flat_u_mm, "°")

    @cached_property
    def legs(self) -> Legs:
        """The line's shape.

        Raises
        ------
        NotAScan : where it was not read
        """
        if self.refused or self.values is None:
            raise NotAScan(f"{self.name}: the line was not read. {' '.join(self.refused)}")
        return Legs(self.leg.value, self.angle.value, self.twist_deg)

    @property
    def span(self) -> Estimate:
        """The straight distance from end A to end B [mm]: the one to check by tape."""
        n, at = self.bends, self.values[: 2 * self.bends + 1]
        by = np.array([(self._span(at + h) - self._span(at - h)) / (2 * h.max()) for h in np.diag(np.full(2 * n + 1, 1e-4))])
        return Estimate(self._span(at), float(np.sqrt(by @ self.covariance[: 2 * n + 1, : 2 * n + 1] @ by)), "mm")

    @property
    def unlinked(self) -> float:
        """How many times larger the standard uncertainties of legs and angles must be told, if each row is to stand by itself.

        Legs and angles of one picture err together (its scale, a side of a leg that two bends share), and a table's rows cannot say so.
        Enlarged by the root of the correlation matrix's largest eigenvalue, rows taken as independent are nowhere surer than the
        picture is, whatever is reckoned from them: C ≼ λ·diag C.
        """
        part = self.covariance[: 2 * self.bends + 1, : 2 * self.bends + 1]
        u = np.sqrt(np.diag(part))
        return float(np.sqrt(max(1.0, np.linalg.eigvalsh(part / np.outer(u, u))[-1])))

    def observations(self, *, beyond_mm: tuple[float, float] = (0.0, 0.0), beyond_u_mm: float = 0.5, note: str = "") -> tuple[Leg | Angle | Twist, ...]:
        """The reading as measurements of a pattern, each with a standard uncertainty that lets it stand by itself.

        Parameters
        ----------
        beyond_mm : tube that was cut off before the picture was taken, from either cut end to the seat [mm]: added to the first and the last leg
        beyond_u_mm : standard uncertainty of each that is not 0
        note : for each of them

        Raises
        ------
        NotAScan : where it was not read, or nothing tells which end is A
        """
        legs, more = self.legs, self.unlinked
        if not self.end_a:
            raise NotAScan(f"{self.name}: nothing tells which end is A. Read the picture again with end_a='left', 'right', 'top' or 'bottom'.")
        n, places = self.bends, ["A", *map(str, range(1, self.bends + 1)), "B"]
        length, length_u = legs.leg_mm.copy(), self.leg.u * more
        for row, beyond in zip((0, n), beyond_mm, strict=True):
            length[row] += beyond
            length_u[row] = np.hypot(length_u[row], beyond_u_mm if beyond else 0.0)
        rows: list[Leg | Angle | Twist] = [
            Leg(a, b, _rounded(v), _up(u), note=note) for a, b, v, u in zip(places[:-1], places[1:], length, length_u, strict=True)
        ]
        rows += [Angle(p, _rounded(v), _up(u), note=note) for p, v, u in zip(places[1:-1], legs.angle_deg, self.angle.u * more, strict=True)]
        twists, twist_u = legs.twist_deg, self.twist.u
        rows += [Twist(places[k], places[k + 1], float(twists[k]), _up(twist_u[k]), note=note) for k in range(1, n)]
        return tuple(rows)

    def overlay(self, *, largest: int = LARGEST) -> bytes:
        """The picture with edges, legs, arcs, numbered apexes and both ends drawn over it, as a PNG: look at it before you believe a number.

        Parameters
        ----------
        largest : pixels along the longer side, at most
        """
        return course_png(self.scan, self.course, self.ends_mm, self.edges_mm, ends="AB" if self.end_a else "12", good=not self.refused, largest=largest)

    def _repr_png_(self) -> bytes:
        return self.overlay()

    def _told(self, start: int, stop: int, unit: str) -> Estimate:
        if self.values is None:
            raise NotAScan(f"{self.name}: the line was not read. {' '.join(self.refused)}")
        return Estimate(self.values[start:stop], np.sqrt(np.diag(self.covariance)[start:stop]), unit)

    def _span(self, values: np.ndarray) -> float:
        n = self.bends
        nodes = nodes_from_legs(Legs(values[: n + 1], values[n + 1 : 2 * n + 1], self.twist_deg))
        return float(np.linalg.norm(nodes[-1] - nodes[0]))

    def __str__(self) -> str:
        if self.refused:
            return "\n".join([*self.notes, f"The line was not read. {' '.join(self.refused)}"])
        which = f"end A {self.end_a}" if self.end_a else "which end is A is not known; told from the first of left and top"
        told = [f"{self.bends} bend{'s' if self.bends > 1 else ''}, {which}; legs and angles in order:"]
        sides = ["", *("the same way as the bend before (twist 0)" if t == 0 else "the other way (twist 180)" for t in self.twist_deg[1:])]
        for k in range(self.bends):
            told.append(f"Leg {k + 1}: {self.leg[k]}. Bend {k + 1}: {self.angle[k]}{', ' + sides[k] if k else ''}, radius {self.radius[k]}.")
        told.append(f"Leg {self.bends + 1}: {self.leg[self.bends]}.")
        told.append(f"Check by tape: straight from end to end it is {self.span}.")
        return "\n".join([*told, *self.notes])


def _rounded(value: float) -> float:
    return round(float(value), 2)


def _up(u: float) -> float:
    """Upwards to a thousandth, with the rounding of the value in it."""
    return float(np.ceil(np.hypot(u, 0.003) * 1000) / 1000)
