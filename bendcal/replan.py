"""Re-planning: some bends are made and measured; mark the rest so that the end still lands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from bendcal.calibration import Calibration
from bendcal.feasible import what_is_met
from bendcal.half_made import HalfMade, Made, half_made, made_bends
from bendcal.likely import Reading, likely, reading_of
from bendcal.marks import MarkSheet, mark_out
from bendcal.path import Legs, nodes_from_legs, place_nodes, reverse_legs, wrap_deg
from bendcal.shop import Shop

__all__ = ["Made", "Reading", "Replanned", "replan"]

#: What counts as equally bad: the free end this far from its seat, its nut this much askew, an apex
#: this far from where its clips want it (common practice: a seat forgives nothing, a clip a little).
_END_MM, _ASKEW_DEG, _APEX_MM = 0.5, 0.5, 3.0

#: Tube that is not there: all but forbidden [mm].
_TUBE_MM = 0.01

#: Beyond these the line is no longer what was asked for, and the sheet says so.
_FAR_MM, _FAR_ASKEW_DEG, _FAR_APEX_MM = 2.0, 3.0, 10.0


@dataclass(frozen=True, eq=False)
class Replanned:
    """A sheet for the bends that are still to be made, and what is left of the miss.

    Attributes
    ----------
    sheet : marks of the whole line; those of the bends already made are where they were
    made : numbers of the bends that are made, from end A
    measured_deg : the finished angle that was measured on each of these, or None [deg]
    end : the end that lands last, ``A`` or ``B``: the one that is trimmed
    miss_before_mm, miss_after_mm : how far that end would land from its seat with the old marks
        and with the new ones
    turn_after_deg : how far its leg then points past its fitting [deg]
    apex_after_mm : the worst miss of an apex whose place is not settled by the bends made [mm]
    warnings : sentences to read before going on
    """

    sheet: MarkSheet
    made: tuple[int, ...]
    measured_deg: tuple[float | None, ...]
    end: str
    miss_before_mm: float
    miss_after_mm: float
    turn_after_deg: float
    apex_after_mm: float
    warnings: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """What the new marks gain."""
        n, done = self.sheet.legs.bends, len(self.made)
        which = f"After {done} of {n} bends"
        if self.made != tuple(range(1, done + 1)):
            which += f" (bend{'s' if done > 1 else ''} {_listed(self.made)})"
        said = f"{which} end {self.end} would miss its seat by {self.miss_before_mm:.1f} mm"
        left = [k for k in range(1, n + 1) if k not in self.made]
        if not left:
            return said + ": no bend is left to make it good. Bend the line into its clips by hand only if it is little, else start anew."
        said += f"; with new marks for bend{'s' if len(left) > 1 else ''} {_listed(left)} by {self.miss_after_mm:.1f} mm"
        return said + f", its nut {self.turn_after_deg:.1f}° askew and no apex more than {self.apex_after_mm:.1f} mm from its place."

    def __str__(self) -> str:
        return self.sentence

    __repr__ = __str__


def replan(
    shop: Shop, cal: Calibration, sheet: MarkSheet, made: Sequence[Made] | Mapping[int, Made], *, reading: Reading | None = None, exact: bool = False,
) -> Replanned:
    """Correct the marks, settings and twists of the bends that are left.

    The bends that are left are placed anew so that the end that lands last sits in its seat, its nut enters as
    the fitting points, and the apexes stay near where they were meant, in that order of
    weight; with few bends left not all of it can be had, and the least miss is taken.

    The bends that are left keep their order, and are tried again against the bender's bodies and the tube itself.

    Parameters
    ----------
    shop, cal : as for :func:`bendcal.mark_out`
    sheet : the marks by which the line was begun, whatever the order of its bends and the end that led
    made : the bends that are made and what was measured on each, by number from end A: ``{4: Made(angle_deg=61)}``;
        a plain sequence is that of bends 1, 2 and so on
    reading : how well that was measured; None for as well as this bender's latest offcut was. What was measured is weighed by it
        against how well bends and marks come out (:mod:`bendcal.likely`)
    exact : take what was measured as it stands

    Returns
    -------
    Replanned

    Raises
    ------
    ValueError : where a bend is not one of the line's, or what is said of it cannot have been measured yet
    LegTooShort : where the bends that are left do not fit
    """
    bends = made_bends(sheet, made)
    half = half_made(sheet, bends, None if exact else likely(sheet, bends, reading or reading_of(shop, sheet.bender.bender)))
    target = nodes_from_legs(sheet.legs if half.held == "A" else reverse_legs(sheet.legs))
    before = place_nodes(half.leg_mm, half.angle_deg, half.twist_deg)
    leg, angle, twist = _bring_home(half, target)
    twist = np.asarray(wrap_deg(twist))
    nodes = place_nodes(leg, angle, twist)
    new = _marks_for(shop, cal, sheet, half, Legs(leg, angle, twist))
    new, met = _tried_again(shop, new, tuple(bends))
    askew = _angle_between(nodes[-1] - nodes[-2], target[-1] - target[-2])
    miss = float(np.linalg.norm(nodes[-1] - target[-1]))
    apexes = np.linalg.norm((nodes - target)[half.settled + 1 : -1], axis=1)
    end = sheet.line.trim_at
    return Replanned(
        new, tuple(bends), tuple(one.angle_deg for one in bends.values()), end, float(np.linalg.norm(before[-1] - target[-1])), miss, askew, float(np.max(apexes, initial=0.0)),
        (*met, *_beyond(end, miss, askew, apexes), *new.warnings),
    )  # fmt: skip


def _bring_home(half: HalfMade, target: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Move what is left so that the free end lands, its nut enters straight and the apexes stay near their clips.

    Between two bends that are made there is only so much tube: the last straight of such a stretch is what the
    rest leaves, so that the new marks add up to the last digit.
    """
    n, made = len(half.angle_deg), half.made
    if made.all():
        return half.leg_mm, half.angle_deg, half.twist_deg
    before, after = np.concatenate([[True], made]), np.concatenate([made, [False]])  # the free end can still be trimmed
    bend_free = np.flatnonzero(~made)
    twist_free = 1 + np.flatnonzero(~(made[1:] & made[:-1]))
    straight_free = np.flatnonzero(~after)
    ends_at = np.concatenate([[half.seat_mm], half.end_mm])
    stretches = []  # first straight, last straight, the tube between the two bends made
    for i in np.flatnonzero(after & ~before):
        first = int(np.flatnonzero(before[: i + 1])[-1])
        stretches.append((first, int(i), half.start_mm[i] - ends_at[first]))
    last_made = int(np.flatnonzero(before)[-1])
    wanted = _unit(target[-1] - target[-2])

    def straights_of(leg, angle):
        setback = np.concatenate([[0.0], half.radius_mm * np.tan(np.radians(angle) / 2), [0.0]])
        return leg - setback[:-1] - setback[1:], setback[:-1] + setback[1:]

    old = straights_of(half.leg_mm, half.angle_deg)[0]

    def shape(x):
        parts = np.split(x, np.cumsum([len(straight_free), len(bend_free)]))
        straight, angle, twist = old.copy(), half.angle_deg.copy(), half.twist_deg.copy()
        for values, free, part in zip((straight, angle, twist), (straight_free, bend_free, twist_free), parts, strict=True):
            values[free] += part
        arc = half.developed_mm * np.radians(angle)
        for first, i, tube in stretches:
            straight[i] = tube - straight[first:i].sum() - arc[first:i].sum()
        around = straights_of(np.zeros(n + 1), angle)[1]
        return straight, arc, (straight + around, angle, twist)

    def miss(x):
        straight, arc, new = shape(x)
        spare = half.last_mm - ends_at[last_made] - straight[last_made:].sum() - arc[last_made:].sum()
        nodes = place_nodes(*new)
        askew = np.degrees(_unit(nodes[-1] - nodes[-2]) - wanted)
        lacking = np.minimum(np.concatenate([straight, [spare]]), 0.0)  # spare tube may be used up, and no more
        return np.concatenate([
            lacking / _TUBE_MM, (nodes[-1] - target[-1]) / _END_MM, askew / _ASKEW_DEG,
            ((nodes - target)[half.settled + 1 : -1] / _APEX_MM).ravel(),
        ])  # fmt: skip

    low = np.concatenate([np.full(len(straight_free), -np.inf), 1e-3 - half.angle_deg[bend_free], np.full(len(twist_free), -180.0)])
    high = np.concatenate([np.full(len(straight_free), np.inf), 175.0 - half.angle_deg[bend_free], np.full(len(twist_free), 180.0)])
    found = least_squares(miss, np.zeros(len(low)), bounds=(low, high), x_scale="jac", xtol=1e-12, ftol=1e-12, gtol=1e-12)
    return shape(found.x)[2]


def _marks_for(shop: Shop, cal: Calibration, sheet: MarkSheet, half: HalfMade, changed: Legs) -> MarkSheet:
    """Marks of the changed line on the tube that was cut: the bends already made stay where they are."""
    n, done = changed.bends, half.made
    setback = half.radius_mm * np.tan(np.radians(changed.angle_deg) / 2)
    straight = changed.leg_mm - np.concatenate([[0.0], setback]) - np.concatenate([setback, [0.0]])
    arc = half.developed_mm * np.radians(changed.angle_deg)
    start = np.zeros(n)
    here = half.seat_mm
    for k in range(n):
        start[k] = half.start_mm[k] if done[k] else here + straight[k]
        here = start[k] + arc[k]
    spare = half.last_mm - here - straight[-1]
    end = start + arc
    if half.held == "B":
        changed, done = reverse_legs(changed), done[::-1]
        start, end = sheet.cut_length_mm - end[::-1], sheet.cut_length_mm - start[::-1]
    line = replace(sheet.line, legs=changed, nodes_mm=None, labels=())
    feed = ["A" if side > 0 else "B" for side in sheet.feed]
    new = mark_out(shop, cal, line, feed=feed, order=sheet.order, trim_mm=max(spare, 0.0))
    offset = float(sheet.law.parameters["mark_offset_mm"])
    mark = np.where(sheet.feed > 0, start - offset, end + offset)
    return replace(
        sheet, line=line, mark_mm=np.where(done, sheet.mark_mm, mark), dial_deg=np.where(done, sheet.dial_deg, new.dial_deg),
        mark_u_mm=new.mark_u_mm, angle_u_deg=new.angle_u_deg, start_mm=start, end_mm=end, straights_mm=new.straights_mm, trim_mm=spare,
        length_u_mm=new.length_u_mm, trim_wanted_mm=new.trim_wanted_mm, readings_differ=new.readings_differ,
    )  # fmt: skip


def _tried_again(shop: Shop, sheet: MarkSheet, made: tuple[int, ...]) -> tuple[MarkSheet, tuple[str, ...]]:
    """The sheet with what its order was tried against now, and a warning where a bend that is left does not clear it."""
    if len(made) == sheet.legs.bends:
        return replace(sheet, order_told=(), order_fails=False, nuts_told=()), ()
    bodies = tuple(body for body in shop.bodies if body.bender == sheet.bender.bender)
    met = what_is_met(sheet, bodies, made=made)
    if met:
        warning = f"With the new marks the bends that are left do not clear what is in the way. {met} Look for another order (plan_bending), or start anew."
        return replace(sheet, order_told=(warning,), order_fails=False, nuts_told=()), (warning,)
    clear = "clear the bender" if bodies else f"clear the tube itself; no body of bender {sheet.bender.bender} is measured (bender_bodies.csv)"
    return replace(sheet, order_told=(f"With the new marks the bends that are left {clear}.",), order_fails=False, nuts_told=()), ()


def _beyond(end: str, miss_mm: float, askew_deg: float, apexes_mm: np.ndarray) -> tuple[str, ...]:
    """What the bends that are left cannot make good."""
    said = []
    if miss_mm > _FAR_MM:
        said.append(f"End {end} still misses its seat by {miss_mm:.1f} mm: the bends that are left cannot make it good.")
    if askew_deg > _FAR_ASKEW_DEG:
        said.append(f"The nut at end {end} would enter {askew_deg:.0f}° askew: it may cross its thread. Start this line anew.")
    if np.max(apexes_mm, initial=0.0) > _FAR_APEX_MM:
        said.append(f"An apex would lie {np.max(apexes_mm):.0f} mm from its place: look whether its clips and neighbours allow it.")
    return tuple(said)


def _listed(bends: Sequence[int]) -> str:
    """Numbers as a person says them: ``1 to 3``, ``2 and 5``, ``1, 3 and 6``."""
    if len(bends) > 2 and bends[-1] - bends[0] == len(bends) - 1:
        return f"{bends[0]} to {bends[-1]}"
    return " and ".join(filter(None, [", ".join(map(str, bends[:-1])), str(bends[-1])]))


def _unit(vector: np.ndarray) -> np.ndarray:
    return vector / np.linalg.norm(vector)


def _angle_between(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(one, other)), one @ other)))
