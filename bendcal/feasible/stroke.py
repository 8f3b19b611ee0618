"""One stroke of the bender: how the two halves of the tube lie and move while a bend is made.

Seen from the die, the tube is held beside the bend's start and the rest swings round: the straight
that will be the bend is wound onto the die, so the swinging half turns about the die's axis and is
drawn in at the same time. When the tube has been turned by φ of the whole stroke φ₁, what is left to
wind is λθ·(1 − φ/φ₁), and the swinging half lies there, turned by φ. A bender whose die turns
and whose lever stands still moves in the same way seen from the die.

The stroke ends at the dial setting, further than the finished bend. Frame: see `bodies`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bendcal.chain import Chains, half_chains
from bendcal.feasible.nuts import Nut, nuts_on
from bendcal.marks import MarkSheet

__all__ = ["Half", "Workpiece", "chains_of", "in_bender", "nut_chains", "nut_reach_mm", "swing_mm", "workpiece_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Workpiece:
    """A marked tube as the bender meets it.

    Parameters
    ----------
    straight_mm : (n + 1,) straight tube from the cut end A to the cut end B, what the ends use and the trim included
    arc_mm, angle_deg, twist_deg : (n,) developed length, finished angle and twist of each bend
    stroke_deg : (n,) how far the lever goes: the dial setting, or the finished angle where that is more
    radius_mm : of the finished bends
    die_radius_mm : of the bends while they are made
    tube_radius_mm : half the tube's diameter
    nuts : those on the tube while it is bent
    in_bender_mm : straight tube beside a bend that lies in the bender, on the held and on the swinging side: no nut can be there
    """

    straight_mm: Array
    arc_mm: Array
    angle_deg: Array
    twist_deg: Array
    stroke_deg: Array
    radius_mm: float
    die_radius_mm: float
    tube_radius_mm: float
    nuts: tuple[Nut, ...] = ()
    in_bender_mm: tuple[float, float] = (0.0, 0.0)

    @property
    def bends(self) -> int:
        """Number of bends, n."""
        return len(self.angle_deg)

    def nut_on(self, half: Half) -> Nut | None:
        """The nut on a half of the tube, or None."""
        letter = "A" if half.to_a else "B"
        return next((nut for nut in self.nuts if nut.letter == letter), None)


@dataclass(frozen=True)
class Half:
    """One half of the tube beside one bend, with what is already bent of it.

    Parameters
    ----------
    bend : the bend that is made, counted from 0
    feed : ``A`` or ``B``, the end whose side is held
    held : whether this is the half that is held, or the one that swings
    made : the bends of this half that are made, as bits: bit j for bend j counted from 0
    """

    bend: int
    feed: str
    held: bool
    made: int

    @property
    def to_a(self) -> bool:
        """Whether it is the half towards end A."""
        return self.held == (self.feed == "A")


def workpiece_of(sheet: MarkSheet) -> Workpiece:
    """The marked tube of a sheet. Where the die's radius is unknown, that of the law less its springback is taken."""
    radius, b = float(sheet.law.parameters["radius_mm"]), float(sheet.law.parameters["b"])
    ends = np.concatenate([[0.0], sheet.end_mm])
    starts = np.concatenate([sheet.start_mm, [sheet.cut_length_mm]])
    return Workpiece(
        straight_mm=starts - ends, arc_mm=sheet.end_mm - sheet.start_mm, angle_deg=sheet.legs.angle_deg,
        twist_deg=sheet.legs.twist_deg, stroke_deg=np.maximum(sheet.dial_deg, sheet.legs.angle_deg), radius_mm=radius,
        die_radius_mm=sheet.bender.die_radius_mm or radius * min(b, 1.0), tube_radius_mm=sheet.tube.od_mm / 2,
        nuts=nuts_on(sheet), in_bender_mm=(sheet.bender.min_leg_mm or 0.0, sheet.bender.min_last_mm or 0.0),
    )  # fmt: skip


def chains_of(piece: Workpiece, halves: list[Half]) -> Chains:
    """The chains of several halves, each with its place in the list as its owner.

    Straight tube beside straight tube is one piece, so that a tube with few bends has few pieces.
    """
    found: list[Chains] = []
    groups: dict[tuple[int, bool], list[int]] = {}
    for i, half in enumerate(halves):
        groups.setdefault((half.bend, half.to_a), []).append(i)
    for (k, to_a), places in groups.items():
        bends = np.arange(k - 1, -1, -1) if to_a else np.arange(k + 1, piece.bends)
        straight = piece.straight_mm[k::-1] if to_a else piece.straight_mm[k + 1 :]
        roll = piece.twist_deg[k:0:-1] if to_a else piece.twist_deg[k + 1 :]
        made = np.array([[halves[i].made >> int(j) & 1 for j in bends] for i in places], dtype=bool).reshape(len(places), len(bends))
        chains = half_chains(made, straight, piece.angle_deg[bends], piece.arc_mm[bends], roll, piece.radius_mm)
        found.append(chains._replace(owner=np.array(places)[chains.owner]))
    return _joined_straights(Chains(*(np.concatenate(column) for column in zip(*found, strict=True))))


def nut_chains(piece: Workpiece, halves: list[Half], back_mm: list[float]) -> Chains:
    """The nuts on several halves as pieces of chains of their own: each a stretch of its half's last straight.

    Parameters
    ----------
    piece : the tube
    halves : those with a nut on them
    back_mm : for each of them how far behind its seat the nut is pushed [mm]
    """
    chains = chains_of(piece, halves)
    last = np.flatnonzero(np.append(chains.owner[1:] != chains.owner[:-1], True))
    rows = chains.take(last)  # one a half, in their order
    nuts = [piece.nut_on(half) for half in halves]
    length = np.array([nut.length_mm for nut in nuts])
    behind = np.array([nut.seat_mm + back for nut, back in zip(nuts, back_mm, strict=True)])
    from_ = rows.length_mm - behind - length
    return rows._replace(
        start_mm=rows.start_mm + from_[:, None] * rows.along, length_mm=length,
        offset_mm=rows.offset_end_mm - behind - length, offset_end_mm=rows.offset_end_mm - behind,
    )  # fmt: skip


def nut_reach_mm(piece: Workpiece, half: Half) -> float:
    """How far the nut on a half may be pushed back from its seat: to the first bend, or to what lies in the bender [mm].

    Below 0: there is no room for it.
    """
    nut, k = piece.nut_on(half), half.bend
    between = slice(0, k) if half.to_a else slice(k + 1, None)
    straights = piece.straight_mm[: k + 1] if half.to_a else piece.straight_mm[k + 1 :]
    beyond = float(straights.sum() + piece.arc_mm[between].sum()) - nut.seat_mm - piece.in_bender_mm[0 if half.held else 1]
    return min(nut.room_mm, beyond) - nut.length_mm


def in_bender(points: Array, die_radius_mm: float, held: NDArray[np.bool_] | bool) -> Array:
    """Points of chains in the bender's frame, as if nothing were left to wind and nothing turned yet.

    Parameters
    ----------
    points : (n, 3) [mm] in the chains' own frame
    die_radius_mm : [mm]
    held : whether each belongs to the held half (it leaves the bend backwards) or to the swinging one
    """
    out = points.copy()
    sign = np.where(held, -1.0, 1.0)
    out[:, 0] *= sign
    out[:, 1] -= die_radius_mm
    out[:, 2] *= sign
    return out


def swing_mm(points: Array, turn: Array, left_mm: Array | float = 0.0) -> Array:
    """Points moved on by what is left to wind, then turned about the die's axis.

    Parameters
    ----------
    points : (n, 3) [mm] from :func:`in_bender`
    turn : (n,) [rad]
    left_mm : (n,) [mm]

    >>> swing_mm(np.array([[5.0, -10.0, 1.0]]), np.array([np.pi / 2])).round(6).tolist()
    [[10.0, 5.0, 1.0]]
    """
    x, y = points[:, 0] + left_mm, points[:, 1]
    c, s = np.cos(turn), np.sin(turn)
    return np.stack([c * x - s * y, s * x + c * y, points[:, 2]], axis=1)


def _joined_straights(chains: Chains) -> Chains:
    order = np.lexsort((chains.piece, chains.owner))
    chains = chains.take(order)
    straight = chains.curve == 0.0
    goes_on = np.zeros(len(order), dtype=bool)
    goes_on[1:] = straight[1:] & straight[:-1] & (chains.owner[1:] == chains.owner[:-1])
    first = np.flatnonzero(~goes_on)
    last = np.append(first[1:], len(order)) - 1
    run = chains.take(first)
    length = np.add.reduceat(chains.length_mm, first)
    return run._replace(length_mm=length, offset_end_mm=chains.offset_end_mm[last])
