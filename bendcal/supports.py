"""Supports: how far apart a tube may be clipped, and where on the bent line the clips go."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from bendcal.arc import setback_mm
from bendcal.marks import MarkSheet
from bendcal.measures import inch_text
from bendcal.tubes import Tube

__all__ = ["CLEAR_MM", "Clip", "Spacing", "Supports", "published_spacing", "supports_for"]

_IN = 25.4  # mm
#: Most that may lie between two supports, along the tube [in], by the tube's outside diameter [in].
_MIL = "MIL-H-8891A, table II"  # read; for hydraulic tube of aircraft, so for plant that vibrates
_PUBLISHED = (
    (3 / 16, 14.0, "FAA, from memory; the trend of MIL-H-8891A, table II, gives 13.9 in"),
    (1 / 4, 16.0, _MIL), (5 / 16, 18.0, _MIL), (3 / 8, 20.0, _MIL), (1 / 2, 23.0, _MIL), (5 / 8, 25.5, _MIL), (3 / 4, 27.5, _MIL), (1.0, 30.0, _MIL),
)  # fmt: skip
#: Where the tube carries a union or a tee (MIL-H-8891A, read).
_WITH_FITTINGS = 0.8
_SAME_SIZE_MM = 0.1  # a 4.75 mm tube is a 3/16 tube
_STEEL_GPA = 209.0

#: From the middle of a clip to the nearest bend or nut [mm] (common practice: half a clip and a little more).
CLEAR_MM = 10.0
_STEP_MM = 2.0  # between two places that are weighed


@dataclass(frozen=True)
class Spacing:
    """How far apart supports may be, and who says so.

    Attributes
    ----------
    spacing_mm : along the tube [mm]
    source : where it comes from
    reason : how it was found for this tube, in words
    """

    spacing_mm: float
    source: str
    reason: str


@dataclass(frozen=True)
class Clip:
    """One clip.

    Attributes
    ----------
    clip : its number, from end A
    mark_mm : along the straight tube from its cut end A, as the bends' marks are [mm]
    from_seat_mm : along the finished tube from the seat of end A [mm]
    x_mm, y_mm, z_mm : where it is, in the line's own coordinates [mm]
    leg : the leg that it is on, 1 from end A
    beside : what is nearest on that leg, such as ``bend 2`` or ``end A``
    beside_mm : from the start or end of that bend, or from that seat [mm]
    """

    clip: int
    mark_mm: float
    from_seat_mm: float
    x_mm: float
    y_mm: float
    z_mm: float
    leg: int
    beside: str
    beside_mm: float


@dataclass(frozen=True, eq=False)
class Supports:
    """Where one line is held.

    Attributes
    ----------
    line : its name
    spacing : how far apart the supports may be
    clips : from end A to end B
    span_mm : (clips + 1,) from support to support along the tube; the two fittings count as supports [mm]
    """

    line: str
    spacing: Spacing
    clips: tuple[Clip, ...]
    span_mm: np.ndarray

    @property
    def longest_span_mm(self) -> float:
        """The longest stretch that nothing holds [mm]."""
        return float(self.span_mm.max())

    @property
    def enough(self) -> bool:
        """Whether no stretch is longer than it may be."""
        return self.longest_span_mm <= self.spacing.spacing_mm + 1e-6

    @property
    def sentence(self) -> str:
        """How many clips, the longest stretch, and what it may be."""
        count = {0: "no clip", 1: "at least 1 clip"}.get(len(self.clips), f"at least {len(self.clips)} clips")
        said = (
            f"{self.line} needs {count} between its two fittings; the longest stretch that nothing holds is {self.longest_span_mm:.0f} mm, and may be "
            f"{self.spacing.spacing_mm:.0f} mm ({self.spacing.source})."
        )
        if self.enough:
            return said
        k = int(np.argmax(self.span_mm))
        names = ["end A", *(f"clip {clip.clip}" for clip in self.clips), "end B"]
        return f"{said} Between {names[k]} and {names[k + 1]} no straight is long enough for a clip: hold the line there in another way, or move its bends."


def published_spacing(tube: Tube, *, carries_fittings: bool = False) -> Spacing:
    """How far apart supports of a tube may be.

    A size between two of the table takes the smaller one's. A tube less stiff than steel takes
    less, by the fourth root of its stiffness: so held, it sags and swings no more than steel does.

    Parameters
    ----------
    tube : its diameter and its alloy's stiffness
    carries_fittings : whether a union or a tee hangs on the line: about 20 % less

    Source: MIL-H-8891A, table II (read: 1/4 16, 5/16 18, 3/8 20, 1/2 23, 5/8 25-1/2, 3/4 27-1/2, 1 30 in, measured
    along the tube); 3/16 14 in, FAA (memory), where that table's own trend, 32 in times the root of the diameter in
    inches, gives 13.9 (derived), as below 3/16. The fourth root: deflection w·L⁴/(E·I) kept the same (derived).

    Examples
    --------
    >>> from bendcal.materials import ALLOYS
    >>> published_spacing(Tube("t", ALLOYS["low-carbon steel"], 6.35, 0.71)).spacing_mm
    406.4
    """
    inches = (tube.od_mm + _SAME_SIZE_MM) / _IN
    rows = [row for row in _PUBLISHED if row[0] <= inches]
    if rows:
        size, apart, source = rows[-1]
        spacing, said = apart * _IN, [f"{apart:g} in for {inch_text(size * _IN)} tube"]
    else:
        spacing, source = 32.0 * sqrt(tube.od_mm / _IN) * _IN, f"derived from {_MIL}"
        said = [f"{spacing:.0f} mm by the table's trend, for a size that it does not have"]
    stiffness = tube.alloy.e_gpa / _STEEL_GPA
    if stiffness < 0.98:
        spacing *= stiffness**0.25
        source += f"; less for {tube.alloy.alloy}: derived"
        said.append(f"{100 * (1 - stiffness**0.25):.0f} % less, because {tube.alloy.alloy} is less stiff than steel")
    if carries_fittings:
        spacing *= _WITH_FITTINGS
        said.append("20 % less, because the tube carries fittings")
    return Spacing(float(spacing), source, "; ".join(said))


def supports_for(sheet: MarkSheet, *, spacing_mm: float | None = None, carries_fittings: bool = False, clear_mm: float = CLEAR_MM) -> Supports:
    """Where clips go on a marked line: as few as hold it, and of those places the ones next to bends.

    Clips sit on straight tube only, `clear_mm` from every bend, and behind each end beyond the way of
    its nut. The two fittings count as supports.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    spacing_mm : how far apart supports may be [mm]; None for :func:`published_spacing`
    carries_fittings : as there
    clear_mm : from the middle of a clip to the nearest bend, or to where a nut may slide [mm]

    Returns
    -------
    Supports; where a stretch cannot be held within the spacing its sentence says so

    Raises
    ------
    ValueError : where `spacing_mm` is not positive or `clear_mm` is negative
    """
    if spacing_mm is not None and not (np.isfinite(spacing_mm) and spacing_mm > 0):
        raise ValueError(f"spacing_mm is {spacing_mm}; supports are more than 0 mm apart.")
    if not (np.isfinite(clear_mm) and clear_mm >= 0):
        raise ValueError(f"clear_mm is {clear_mm}; it is 0 mm or more.")
    spacing = published_spacing(sheet.tube, carries_fittings=carries_fittings)
    if spacing_mm is not None:
        spacing = Spacing(float(spacing_mm), "as asked", "as asked")
    first, last = _straights(sheet)
    low, high = first + clear_mm, last - clear_mm
    low[0] = first[0] + (sheet.end_a.nut_mm or sheet.end_a.straight_mm) + clear_mm
    high[-1] = last[-1] - (sheet.end_b.nut_mm or sheet.end_b.straight_mm) - clear_mm
    at, leg, off = _places(low, high)
    chosen = _fewest(first[0], last[-1], at, off, spacing.spacing_mm)
    clips = tuple(_clip(sheet, k, at[i], int(leg[i]), first, last) for k, i in enumerate(chosen, start=1))
    held = np.array([first[0], *(clip.mark_mm for clip in clips), last[-1]])
    return Supports(sheet.line.line, spacing, clips, np.diff(held))


def _straights(sheet: MarkSheet) -> tuple[np.ndarray, np.ndarray]:
    """(n + 1,) where each straight begins and ends along the straight tube [mm]."""
    return np.concatenate([[sheet.seat_a_mm], sheet.end_mm]), np.concatenate([sheet.start_mm, [sheet.seat_b_mm]])


def _places(low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places for clips along the tube [mm], the straight of each (from 0), and how far each is from that one's ends."""
    at, leg, off = [], [], []
    for k, (a, b) in enumerate(zip(low, high, strict=True)):
        if b >= a:
            here = np.linspace(a, b, 2 + int((b - a) // _STEP_MM))
            at.append(here)
            leg.append(np.full(len(here), k))
            off.append(np.minimum(here - a, b - here))
    if not at:
        return np.zeros(0), np.zeros(0, int), np.zeros(0)
    return np.concatenate(at), np.concatenate(leg), np.concatenate(off)


def _fewest(start: float, stop: float, at: np.ndarray, off: np.ndarray, spacing: float) -> list[int]:
    """The places that hold the tube: least above the spacing, then fewest, then nearest to bends.

    A shortest way from end A to end B over the places in their order.
    """
    nodes = np.concatenate([[start], at, [stop]])
    # One number holds all three aims: tens of metres of excess, thousands of clips, then the distances.
    cost = np.concatenate([[0.0], 1e4 + 1e-3 * off**2, [0.0]])
    best, before = np.full(len(nodes), np.inf), np.zeros(len(nodes), int)
    best[0] = 0.0
    for k in range(1, len(nodes)):
        over = np.maximum(nodes[k] - nodes[:k] - spacing - 1e-6, 0.0)
        total = best[:k] + 1e7 * over
        before[k] = int(np.argmin(total))
        best[k] = total[before[k]] + cost[k]
    way, k = [], len(nodes) - 1
    while k:
        k = int(before[k])
        way.append(k - 1)
    return way[-2::-1]


def _clip(sheet: MarkSheet, number: int, at: float, leg: int, first: np.ndarray, last: np.ndarray) -> Clip:
    radius = float(sheet.law.parameters["radius_mm"])
    nodes = sheet.line.corner_nodes_mm
    along = (nodes[leg + 1] - nodes[leg]) / sheet.legs.leg_mm[leg]
    before = float(setback_mm(sheet.legs.angle_deg[leg - 1], radius)) if leg else 0.0
    x, y, z = (float(v) for v in nodes[leg] + along * (before + at - first[leg]))
    back, on = at - first[leg], last[leg] - at
    if back <= on:
        beside = f"bend {leg}" if leg else "end A"
    else:
        beside = f"bend {leg + 1}" if leg < sheet.legs.bends else "end B"
    return Clip(number, float(at), float(at - first[0]), x, y, z, leg + 1, beside, float(min(back, on)))
