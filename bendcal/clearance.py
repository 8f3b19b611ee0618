"""How near a finished line comes to what it must keep away from: exhausts, steering arms, edges.

The line is taken as it will lie: straights and arcs on its nodes, with the radius that the bender
makes. Distances are least distances over the whole line, from the tube's outside to the
obstacle's: of a straight exactly, of an arc to a hundredth of a millimetre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from bendcal.bodies import Obstacle
from bendcal.bounding import Boxes, Measured, least
from bendcal.calibration import Calibration
from bendcal.chain import Chains, points_along
from bendcal.lines import Line
from bendcal.path import check_straights
from bendcal.shop import Shop, named

__all__ = ["Clearance", "Clearances", "line_chain", "obstacle_clearances"]

TOLERANCE_MM = 0.01
_WIDEST_ARC = np.radians(30.0)


@dataclass(frozen=True, eq=False)
class Clearance:
    """The least distance of one line to one obstacle.

    Attributes
    ----------
    obstacle : its record
    clearance_mm : from the tube's outside to the obstacle; below 0 where the tube runs into it (then not how deep)
    at_mm : where along the finished centreline from the seat of end A [mm]
    developed_mm : and where that is on the straight tube, from the seat of end A [mm]
    where : ``between bend 3 and bend 4``, ``at bend 2``, ``between end A and bend 1``
    point_mm : (3,) the place on the centreline, in the coordinates of the nodes
    """

    obstacle: Obstacle
    clearance_mm: float
    at_mm: float
    developed_mm: float
    where: str
    point_mm: np.ndarray

    @property
    def keeps(self) -> bool:
        """Whether the distance that is wanted is kept."""
        return self.clearance_mm >= self.obstacle.keep_mm and self.clearance_mm >= 0

    @property
    def sentence(self) -> str:
        """`12 mm from the exhaust (hot, wants 50 mm) between bend 3 and bend 4.`"""
        wants = f"wants {self.obstacle.keep_mm:g} mm" if self.obstacle.keep_mm else ""
        told = ", ".join(part for part in (self.obstacle.why, wants) if part)
        what = f"the {self.obstacle.obstacle}{f' ({told})' if told else ''} {self.where}"
        return f"Runs into {what}." if self.clearance_mm < 0 else f"{_mm(self.clearance_mm)} mm from {what}."


@dataclass(frozen=True, eq=False)
class Clearances:
    """The least distances of one line to all its obstacles, the worst first."""

    line: str
    all: tuple[Clearance, ...]

    @property
    def too_near(self) -> tuple[Clearance, ...]:
        """Those that do not keep the distance that is wanted."""
        return tuple(one for one in self.all if not one.keeps)

    @property
    def table(self) -> pd.DataFrame:
        """One row for each obstacle."""
        return pd.DataFrame(
            [(c.obstacle.obstacle, c.clearance_mm, c.obstacle.keep_mm, c.obstacle.why, c.where, c.developed_mm, c.keeps) for c in self.all],
            columns=["obstacle", "clearance_mm", "keep_mm", "why", "where", "developed_mm", "keeps"],
        )

    @property
    def sentence(self) -> str:
        """What is too near, or that nothing is."""
        if not self.all:
            return f"Line {self.line}: no obstacle is measured for it."
        if not self.too_near:
            what = f"all {len(self.all)} obstacles; nearest" if len(self.all) > 1 else "the one obstacle that is measured"
            return f"Line {self.line} keeps clear of {what}: {_lower(self.all[0].sentence)}"
        return f"Line {self.line} comes too near: {' '.join(one.sentence for one in self.too_near)}"

    def __str__(self) -> str:
        return self.sentence


def obstacle_clearances(
    shop: Shop, cal: Calibration, line: str | Line, *, obstacles: Sequence[Obstacle] | None = None, radius_mm: float | None = None
) -> Clearances:
    """How near a line comes to each obstacle, and where.

    Parameters
    ----------
    shop : what :func:`bendcal.read_shop` returned
    cal : what :func:`bendcal.calibrate` returned
    line : the line's name in the shop, or a Line; one that is given by legs lies in the standard frame
    obstacles : those to look at; None for those that the shop has for this line or for every line
    radius_mm : centreline radius of its bends [mm]; None for that of its law

    Returns
    -------
    Clearances, the worst (clearance less what is wanted) first

    Raises
    ------
    UnknownName : where the shop lacks the line or its tube, or the calibration its law
    ShopFaults : where the line or the obstacles were left out of the shop because of their faults
    LegTooShort : where its bends overlap
    """
    line = shop.line(line) if isinstance(line, str) else line
    tube = named(shop.tubes, line.tube, "tube")
    law = cal.law(line.bender, line.tube) if radius_mm is None or line.bends else None
    radius = float(law.parameters["radius_mm"]) if radius_mm is None else float(radius_mm)
    stretch = float(law.parameters["developed_radius_mm"]) / float(law.parameters["radius_mm"]) if law is not None else 1.0
    if obstacles is None:
        shop.need("obstacles.csv")
        obstacles = [one for one in shop.obstacles if one.line in ("", line.line)]
    chain = line_chain(line, radius)
    found = _least(chain, obstacles, tube.od_mm / 2)
    said = []
    for one, value, (row, _), (along,) in zip(obstacles, found.value, found.key, found.at, strict=True):
        before = chain.length_mm[:row]
        bent = chain.curve[:row] > 0
        at = float(before.sum() + along)
        shrink = stretch if chain.curve[row] > 0 else 1.0
        developed = float(before[~bent].sum() + stretch * before[bent].sum() + shrink * along)
        point = points_along(chain, np.array([row]), np.array([along]))[0]
        said.append(Clearance(one, float(value), at, developed, _where(int(chain.piece[row]), line.bends), point))
    said.sort(key=lambda one: one.clearance_mm - one.obstacle.keep_mm)
    return Clearances(line.line, tuple(said))


def line_chain(line: Line, radius_mm: float) -> Chains:
    """The finished line as straights and arcs where it lies; piece 0 is the first straight, 1 bend 1, and so on.

    Raises LegTooShort where its bends overlap.

    >>> from bendcal.lines import line_from_legs
    >>> line_chain(line_from_legs("x", [40, 30], [90], [0], tube="t", bender="b"), 15).length_mm.round(2).tolist()
    [25.0, 23.56, 15.0]
    """
    nodes, legs = line.corner_nodes_mm, line.legs
    straight = np.maximum(check_straights(legs, radius_mm, leg_from=line.leg_from), 0.0)
    along = np.diff(nodes, axis=0) / legs.leg_mm[:, None]
    theta = np.radians(legs.angle_deg)
    setback = radius_mm * np.tan(theta / 2)
    inward = (along[1:] - np.cos(theta)[:, None] * along[:-1]) / np.sin(theta)[:, None]
    count = 2 * legs.bends + 1
    start, ways, inwards = np.zeros((count, 3)), np.repeat(along, 2, axis=0)[:count], np.zeros((count, 3))
    curve, length = np.zeros(count), np.zeros(count)
    start[0] = nodes[0]
    start[2::2] = nodes[1:-1] + setback[:, None] * along[1:]
    start[1::2] = nodes[1:-1] - setback[:, None] * along[:-1]
    inwards[1::2], curve[1::2], length[0::2], length[1::2] = inward, 1.0 / radius_mm, straight, radius_mm * theta
    end = np.cumsum(length)
    return Chains(np.zeros(count, np.intp), np.arange(count), start, ways, inwards, curve, length, end - length, end)


def _least(chain: Chains, obstacles: Sequence[Obstacle], tube_radius_mm: float):
    count = np.where(chain.curve > 0, np.ceil(chain.length_mm * chain.curve / _WIDEST_ARC), 1).astype(np.intp)
    rows = np.repeat(np.arange(len(count)), count)
    number = np.arange(len(rows)) - np.repeat(np.cumsum(count) - count, count)
    step = (chain.length_mm / count)[rows]
    span = np.stack([number * step, (number + 1) * step], axis=1)[:, None]
    which = np.repeat(np.arange(len(obstacles)), len(rows))
    boxes = Boxes(which, np.stack([np.tile(rows, len(obstacles)), which], axis=1), np.tile(span, (len(obstacles), 1, 1)))

    def measure(key, span):
        rows, ends = key[:, 0], [points_along(chain, key[:, 0], span[:, 0, i]) for i in (0, 1)]
        curve = chain.curve[rows]
        sag = (1.0 - np.cos(0.5 * curve * (span[:, 0, 1] - span[:, 0, 0]))) / np.where(curve > 0, curve, 1.0)
        distance, share = np.empty(len(rows)), np.empty(len(rows))
        for j, one in enumerate(obstacles):
            mine = key[:, 1] == j
            distance[mine], share[mine] = one.solid.segment_mm(ends[0][mine], ends[1][mine])
        at = span[:, :, 0] + share[:, None] * (span[:, :, 1] - span[:, :, 0])
        return Measured(np.maximum(distance - sag, 0.0) - tube_radius_mm, distance + sag - tube_radius_mm, at, sag[:, None])

    return least(boxes, measure, len(obstacles), tolerance=TOLERANCE_MM)


def _where(piece: int, bends: int) -> str:
    if piece % 2:
        return f"at bend {piece // 2 + 1}"
    here = f"bend {piece // 2}" if piece else "end A"
    there = f"bend {piece // 2 + 1}" if piece // 2 < bends else "end B"
    return f"between {here} and {there}"


def _mm(value: float) -> str:
    # Never rounded up over what is wanted: 49.6 of 50 mm is told as 49.6.
    return f"{value:.0f}" if value >= 10 and abs(value - round(value)) < 0.05 else f"{value:.1f}"


def _lower(text: str) -> str:
    return text[0].lower() + text[1:]
