"""A half-made line: which bends are made, what was measured on them, and where on the tube they lie.

Any bend may have been made first and either end may have led. What fixes a bend on the tube is
its mark, and a leg that was measured on it; from there the arc takes what its angle takes, towards
the end that did not lead.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from bendcal.likely import Likely
from bendcal.marks import MarkSheet

__all__ = ["HalfMade", "Made", "half_made", "made_bends"]


@dataclass(frozen=True)
class Made:
    """One bend that is made, as it was measured. What was not measured is None.

    Parameters
    ----------
    angle_deg : finished angle [deg]
    leg_mm : the leg before it, from the apex of the bend before, or from the seat of A [mm]
    twist_deg : its turn against the bend before it on the tube [deg]
    leg_after_mm : the leg after the last bend, to the seat of B [mm]
    """

    angle_deg: float | None = None
    leg_mm: float | None = None
    twist_deg: float | None = None
    leg_after_mm: float | None = None


@dataclass(frozen=True, eq=False)
class HalfMade:
    """The tube counted from the end that sits in its fitting first; the other end is trimmed and lands last.

    The whole line as it would come out if the bends that are left were made by the old marks. Lengths along the straight
    tube count from the cut end that is held; arrays run from there.

    Attributes
    ----------
    held : ``A`` or ``B``
    made : (n,) whether a bend is made
    leg_mm, angle_deg, twist_deg : (n + 1,), (n,), (n,) of the line as it would come out
    start_mm, end_mm : (n,) where each arc begins and ends on the straight tube, counted from the held end
    seat_mm, last_mm : where the seat of the held end lies, and how far out that of the other end may
    radius_mm, developed_mm : of the law
    """

    held: str
    made: np.ndarray
    leg_mm: np.ndarray
    angle_deg: np.ndarray
    twist_deg: np.ndarray
    start_mm: np.ndarray
    end_mm: np.ndarray
    seat_mm: float
    last_mm: float
    radius_mm: float
    developed_mm: float

    @property
    def settled(self) -> int:
        """How many bends next to the held end are made: their apexes lie where they lie."""
        return int(np.argmin(self.made)) if not self.made.all() else len(self.made)


def made_bends(sheet: MarkSheet, made: Sequence[Made] | Mapping[int, Made]) -> dict[int, Made]:
    """The bends that are made, by their numbers from end A.

    Parameters
    ----------
    sheet : the marks by which they were made
    made : by number; a plain sequence is that of bends 1, 2 and so on

    Raises
    ------
    ValueError : where a plain sequence is given for a sheet whose bends are made in another order, a bend is not one of the line's, or a leg or twist cannot have been measured because the bend at its other end is
        not made
    """
    n, name = sheet.legs.bends, sheet.line.line
    if not isinstance(made, Mapping):
        if not sheet.in_row:
            raise ValueError(f"Line {name!r} is not bent in the row of the tube: say which bends are made by their numbers, such as {{{sheet.order[0]}: Made(angle_deg=60)}}.")
        if len(made) > n:
            raise ValueError(f"{len(made)} bends are said to be made, but line {name!r} has {n}.")
        made = dict(enumerate(made, start=1))
    for bend in made:
        if bend not in range(1, n + 1):
            raise ValueError(f"Bend {bend!r} is said to be made, but line {name!r} has bends 1 to {n}. Give each by its number from end A.")
    for bend, one in made.items():
        for value, what in ((one.leg_mm, "leg_mm"), (one.twist_deg, "twist_deg")):
            if value is not None and bend > 1 and bend - 1 not in made:
                raise ValueError(f"{what} of bend {bend} is against bend {bend - 1}, which is not made yet: leave it out until it is.")
        if bend == 1 and one.twist_deg:
            raise ValueError(f"twist_deg of bend 1 is {one.twist_deg:g}: no bend lies before it, so it has none. Leave it out.")
        if one.leg_after_mm is not None and bend != n:
            raise ValueError(f"leg_after_mm of bend {bend} runs to bend {bend + 1}: give it there, as leg_mm. Only the last bend has a leg after it.")
    return dict(sorted(made.items()))


def half_made(sheet: MarkSheet, made: Mapping[int, Made], weighed: Likely | None = None) -> HalfMade:
    """Where the bends lie that are made, and the line as it would come out by the old marks.

    Parameters
    ----------
    sheet : the marks by which the line was begun
    made : from :func:`made_bends`
    weighed : what these bends most likely are; None to take what was measured as it stands
    """
    legs, n = sheet.legs, sheet.legs.bends
    done = np.array([k + 1 in made for k in range(n)], bool)
    angle, twist, leg = legs.angle_deg.copy(), legs.twist_deg.copy(), np.full(n + 1, np.nan)
    for bend, one in made.items():
        k = bend - 1
        angle[k] = angle[k] if one.angle_deg is None else one.angle_deg
        twist[k] = twist[k] if one.twist_deg is None else one.twist_deg
        leg[k] = np.nan if one.leg_mm is None else one.leg_mm
        leg[k + 1] = leg[k + 1] if one.leg_after_mm is None else one.leg_after_mm
    if weighed is not None:
        angle, twist, leg = weighed.angle_deg, weighed.twist_deg, np.full(n + 1, np.nan)
    _, _, radius, developed, _ = (float(v) for v in sheet.law.parameters)
    arc, setback = developed * np.radians(angle), radius * np.tan(np.radians(angle) / 2)
    start = np.where(sheet.feed > 0, sheet.start_mm, sheet.end_mm - arc)
    start = start + (0.0 if weighed is None else weighed.shift_mm)
    seats = sheet.seat_a_mm, sheet.seat_b_mm
    _by_legs(start, arc, leg, setback, done, seats)
    end = start + arc
    straights = np.concatenate([start, [seats[1]]]) - np.concatenate([[seats[0]], end])
    come_out = straights + np.concatenate([[0.0], setback]) + np.concatenate([setback, [0.0]])
    come_out = np.where(np.isnan(leg), come_out, leg)
    if sheet.line.trim_at == "B":
        return HalfMade("A", done, come_out, angle, twist, start, end, seats[0], sheet.cut_length_mm - sheet.end_b.uses_mm, radius, developed)
    whole = sheet.cut_length_mm
    back = np.concatenate([twist[:1], twist[1:][::-1]])  # a twist belongs to the leg before its bend
    return HalfMade(
        "B", done[::-1], come_out[::-1], angle[::-1], back, whole - end[::-1], whole - start[::-1], whole - seats[1], whole - sheet.end_a.uses_mm,
        radius, developed,
    )  # fmt: skip


def _by_legs(start, arc, leg, setback, done, seats) -> None:
    """Move bends along the tube to where measured legs say that they are, each from its neighbour that is made or from its end's seat.

    A leg that came out long means that its bend sits further along the tube, not that there is more tube: what is beyond it is
    shorter by as much.
    """
    n = len(start)
    for is_made, run in groupby(range(n), key=lambda k: bool(done[k])):
        run = list(run)
        if not is_made:
            continue
        if run[0] > 0 and run[-1] == n - 1 and not np.isnan(leg[n]):  # nothing but end B to count from
            start[n - 1] = seats[1] - leg[n] + setback[n - 1] - arc[n - 1]
            for k in reversed(run[:-1]):
                if not np.isnan(leg[k + 1]):
                    start[k] = start[k + 1] + setback[k + 1] - leg[k + 1] + setback[k] - arc[k]
            continue
        for k in run:
            if not np.isnan(leg[k]):
                start[k] = (seats[0] if k == 0 else start[k - 1] + arc[k - 1] - setback[k - 1]) + leg[k] - setback[k]
