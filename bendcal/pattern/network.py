"""A pattern as a network of places and rows: what each measurement would be, and how it changes.

The unknowns are the x, y and z of every node of the line, and of datum points that are not exact.
Each measurement makes one row, a point one for each coordinate, a direction two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from bendcal.adjust import Adjustment, adjust
from bendcal.nodes import measure_nodes
from bendcal.pattern.gradients import angle_gradient, direction_gradient, length_gradient, shape_gradient, twist_gradient
from bendcal.pattern.observations import Angle, Direction, Distance, Observation, Point, Twist
from bendcal.pattern.survey import Pattern
from bendcal.twists import wrap_deg

__all__ = ["Network", "slopes_of"]

Array = NDArray[np.float64]
_AXES = ("x", "y", "z")


@dataclass(frozen=True, eq=False)
class Network:
    """The rows of a pattern's counted measurements.

    Attributes
    ----------
    pattern : the pattern
    nodes : how many nodes the line has, n + 2
    unknown : how many places have unknown coordinates: the nodes, then inexact datum points
    known_mm : (k, 3) [mm] of exact datum points, which come after the unknown ones
    index : place's name → its number
    seen : the measurements, those of inexact datum points' coordinates included
    rows : for each of them the numbers of its rows
    observed, sd : (m,) what each row is and its standard uncertainty [mm or deg]
    """

    pattern: Pattern
    nodes: int
    unknown: int
    known_mm: Array
    index: dict[str, int]
    seen: tuple[Observation, ...]
    rows: tuple[tuple[int, ...], ...]
    observed: Array
    sd: Array
    _kinds: dict[str, tuple[Array, ...]]

    @classmethod
    def of(cls, pattern: Pattern) -> Network:
        """The network of a pattern."""
        loose = [datum for datum in pattern.datums if datum.sd_mm > 0]
        exact = [datum for datum in pattern.datums if datum.sd_mm == 0]
        names = [*pattern.places, *(datum.place for datum in loose), *(datum.place for datum in exact)]
        index = {name: i for i, name in enumerate(names)}
        kinds: dict[str, list] = {"length": [], "angle": [], "twist": [], "point": [], "direction": []}
        seen = (*pattern.counted, *loose)
        rows, observed, sd = [], [], []
        for one in seen:
            own = []
            for kind, members, value, u in _row_parts(one, index, len(pattern.places)):
                own.append(len(observed))
                kinds[kind].append((len(observed), *members))
                observed.append(value)
                sd.append(u)
            rows.append(tuple(own))
        columns = {kind: tuple(np.array(column) for column in zip(*parts, strict=True)) for kind, parts in kinds.items() if parts}
        return cls(
            pattern, len(pattern.places), len(pattern.places) + len(loose),
            np.array([datum.xyz_mm for datum in exact], float).reshape(-1, 3), index, seen, tuple(rows),
            np.array(observed), np.array(sd), columns,
        )  # fmt: skip

    def model(self, x: Array) -> tuple[Array, Array]:
        """What each row would be at these coordinates less what it is (m,), and its derivatives (m, 3·unknown)."""
        at = np.concatenate([x.reshape(-1, 3), self.known_mm])
        off, by = np.zeros(len(self.sd)), np.zeros((len(self.sd), len(at), 3))
        if part := self._kinds.get("length"):
            row, a, b = part
            off[row], by_b = length_gradient(at[a], at[b])
            by[row, a], by[row, b] = -by_b, by_b
        if part := self._kinds.get("angle"):
            row, b = part
            off[row], slopes = angle_gradient(at[b - 1], at[b], at[b + 1])
            for i, slope in enumerate(slopes):
                by[row, b - 1 + i] = slope
        if part := self._kinds.get("twist"):
            row, b = part
            off[row], slopes = twist_gradient(at[b - 1], at[b], at[b + 1], at[b + 2])
            for i, slope in enumerate(slopes):
                by[row, b - 1 + i] = slope
        if part := self._kinds.get("point"):
            row, a, axis = part
            off[row] = at[a, axis]
            by[row, a, axis] = 1.0
        if part := self._kinds.get("direction"):
            row, a, b, aim, across = part
            off[row], by_b = direction_gradient(at[a], at[b], aim, across)
            by[row, a], by[row, b] = -by_b, by_b
        off -= self.observed
        if part := self._kinds.get("twist"):
            off[part[0]] = wrap_deg(off[part[0]])
        return off, by[:, : self.unknown].reshape(len(self.sd), -1)

    def adjust(self, start: Array, *, max_steps: int = 100) -> Adjustment:
        """The adjustment from a start (unknown, 3) [mm]."""
        return adjust(self.model, np.asarray(start, float).ravel(), self.sd, max_steps=max_steps)

    def nodes_of(self, x: Array) -> Array:
        """The line's nodes (n + 2, 3) [mm] among the unknowns."""
        return x.reshape(-1, 3)[: self.nodes]

    @cached_property
    def row_words(self) -> tuple[str, ...]:
        """What each row is called."""
        words = [""] * len(self.sd)
        for seen, rows in zip(self.seen, self.rows, strict=True):
            axes = iter(_AXES)
            if isinstance(seen, Point):
                axes = iter([axis for axis, value in zip(_AXES, seen.xyz_mm, strict=True) if value is not None])
            for row in rows:
                words[row] = seen.words.replace("the point", f"the {next(axes)}", 1) if isinstance(seen, Point) else seen.words
        return tuple(words)

    def axes_of(self, rows: Sequence[int]) -> NDArray[np.intp]:
        """Which coordinate, 0 to 2, each of some rows of points is."""
        row, _, axis = self._kinds["point"]
        order = {int(r): int(a) for r, a in zip(row, axis, strict=True)}
        return np.array([order[r] for r in rows])


def slopes_of(observations: Sequence[Observation], network: Network, x: Array) -> tuple[Array, Array]:
    """What measurements that need not be in the network would be (k,), and their derivatives (k, 3·unknown).

    Parameters
    ----------
    observations : legs, distances, angles and twists between places of the network
    network, x : the network and its unknowns
    """
    nodes = network.nodes_of(x)
    n = network.nodes - 2
    at = np.concatenate([x.reshape(-1, 3), network.known_mm])
    shape, shape_slope = np.concatenate(measure_nodes(nodes)), shape_gradient(nodes)
    values, slopes = np.zeros(len(observations)), np.zeros((len(observations), len(at), 3))
    for k, one in enumerate(observations):
        if isinstance(one, Distance):
            i, j = network.index[one.start], network.index[one.stop]
            way = at[j] - at[i]
            values[k] = np.sqrt(way @ way)
            if values[k] > 0.0:  # two places in one have no direction
                slopes[k, i], slopes[k, j] = -way / values[k], way / values[k]
            continue
        row = n + int(one.bend) if isinstance(one, Angle) else 2 * n + max(int(one.start), int(one.stop))
        values[k] = shape[row]
        slopes[k, : len(nodes)] = shape_slope[row].reshape(-1, 3)
    return values, slopes[:, : network.unknown].reshape(len(observations), x.size)


def _row_parts(seen: Observation, index: dict[str, int], nodes: int) -> list[tuple]:
    """(kind, places, value, sd) of each row of one measurement."""
    if isinstance(seen, Distance):
        return [("length", (index[seen.start], index[seen.stop]), seen.mm, seen.sd_mm)]
    if isinstance(seen, Angle):
        return [("angle", (int(seen.bend),), seen.deg, seen.sd_deg)]
    if isinstance(seen, Twist):
        return [("twist", (min(int(seen.start), int(seen.stop)),), seen.deg, seen.sd_deg)]
    if isinstance(seen, Point):  # a datum point too, where it is not exact
        place = index[seen.place]
        return [
            ("point", (place, axis), value, seen.sd_mm) for axis, value in enumerate(seen.xyz_mm) if value is not None
        ]
    assert isinstance(seen, Direction)
    end, inner = (0, 1) if seen.end == "A" else (nodes - 1, nodes - 2)
    aim = np.array([seen.x, seen.y, seen.z]) / np.linalg.norm([seen.x, seen.y, seen.z])
    # Two ways square to the aim: of the three axes the one furthest from it makes the first.
    across = np.cross(aim, np.eye(3)[np.abs(aim).argmin()])
    across /= np.linalg.norm(across)
    return [("direction", (inner, end, aim, side), 0.0, seen.sd_deg) for side in (across, np.cross(aim, across))]
