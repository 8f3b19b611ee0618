"""Re-planning: some bends are made and measured; mark the rest so that the end still lands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from bendcal.calibration import Calibration
from bendcal.lines import Line
from bendcal.marks import MarkSheet, mark_out
from bendcal.path import Legs, nodes_from_legs, place_nodes, wrap_deg
from bendcal.shop import Shop

__all__ = ["Made", "Replanned", "replan"]

#: What counts as equally bad: end B this far from its seat, its nut this much askew, an apex
#: this far from where its clips want it (common practice: a seat forgives nothing, a clip a little).
_END_MM, _ASKEW_DEG, _APEX_MM = 0.5, 0.5, 3.0

#: Tube that is not there: all but forbidden [mm].
_TUBE_MM = 0.01

#: Beyond these the line is no longer what was asked for, and the sheet says so.
_FAR_MM, _FAR_ASKEW_DEG, _FAR_APEX_MM = 2.0, 3.0, 10.0


@dataclass(frozen=True)
class Made:
    """One bend that is made, as it was measured. What was not measured is None.

    Parameters
    ----------
    angle_deg : finished angle [deg]
    leg_mm : the leg before it, apex to apex (or seat of A to apex) [mm]
    twist_deg : its turn against the bend before [deg]
    """

    angle_deg: float | None = None
    leg_mm: float | None = None
    twist_deg: float | None = None


@dataclass(frozen=True, eq=False)
class Replanned:
    """A sheet for the bends that are still to be made, and what is left of the miss.

    Attributes
    ----------
    sheet : marks of the whole line; those of the bends already made are where they were
    made : how many bends are made
    miss_before_mm, miss_after_mm : how far end B would land from its seat with the old marks
        and with the new ones
    turn_after_deg : how far the last leg then points past its fitting [deg]
    apex_after_mm : the worst miss of an apex that is still to be bent [mm]
    warnings : sentences to read before going on
    """

    sheet: MarkSheet
    made: int
    miss_before_mm: float
    miss_after_mm: float
    turn_after_deg: float
    apex_after_mm: float
    warnings: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """What the new marks gain."""
        left = self.sheet.legs.bends - self.made
        said = f"After {self.made} of {self.sheet.legs.bends} bends end B would miss its seat by {self.miss_before_mm:.1f} mm"
        if left == 0:
            return said + ": no bend is left to make it good. Bend the line into its clips by hand only if it is little, else start anew."
        said += f"; with the new marks of the last {left if left > 1 else 'bend'}{' bends' if left > 1 else ''} by {self.miss_after_mm:.1f} mm"
        return said + f", its nut {self.turn_after_deg:.1f}° askew and no apex more than {self.apex_after_mm:.1f} mm from its place."

    def __str__(self) -> str:
        return self.sentence

    __repr__ = __str__


def replan(shop: Shop, cal: Calibration, sheet: MarkSheet, made: Sequence[Made]) -> Replanned:
    """Correct the marks, settings and twists of the bends that are left.

    The bends that are left are placed anew so that end B sits in its seat, its nut enters as
    the fitting points, and the apexes stay near where they were meant, in that order of
    weight; with few bends left not all of it can be had, and the least miss is taken.

    Parameters
    ----------
    shop, cal : as for :func:`bendcal.mark_out`
    sheet : the marks by which the line was begun, all bends fed from end A
    made : the bends that are made, the first of the line first

    Returns
    -------
    Replanned

    Raises
    ------
    ValueError : where more bends were made than the line has, or some were fed from end B
    LegTooShort : where the bends that are left do not fit
    """
    legs, n, done = sheet.legs, sheet.legs.bends, len(made)
    if done > n:
        raise ValueError(f"{done} bends are said to be made, but line {sheet.line.line!r} has {n}.")
    if np.any(sheet.feed < 0):
        raise ValueError("Re-planning is for lines bent from end A on; this sheet turns the tube end for end.")
    target = nodes_from_legs(legs)
    leg, angle, twist = _as_made(sheet, made)
    before_end = nodes_from_legs(Legs(leg, angle, twist))
    miss_before = float(np.linalg.norm(before_end[-1] - target[-1]))
    leg, angle, twist = _bring_home(sheet, leg, angle, twist, target, done)
    twist = np.asarray(wrap_deg(twist))
    changed = Legs(leg, angle, twist)
    nodes = nodes_from_legs(changed)
    line = replace(sheet.line, legs=changed, nodes_mm=None, labels=())
    new = _marks_for(shop, cal, sheet, line, made)
    askew = _angle_between(nodes[-1] - nodes[-2], target[-1] - target[-2])
    miss_after = float(np.linalg.norm(nodes[-1] - target[-1]))
    apexes = np.linalg.norm((nodes - target)[done + 1 : -1], axis=1)
    return Replanned(new, done, miss_before, miss_after, askew, float(np.max(apexes, initial=0.0)), (*_beyond(miss_after, askew, apexes), *new.warnings))


def _as_made(sheet: MarkSheet, made: Sequence[Made]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The whole line as it would come out: the bends made as measured, the others as marked."""
    legs = sheet.legs
    _, _, radius, developed, _ = (float(v) for v in sheet.law.parameters)
    angle, twist = legs.angle_deg.copy(), legs.twist_deg.copy()
    for k, bend in enumerate(made):
        angle[k] = angle[k] if bend.angle_deg is None else bend.angle_deg
        twist[k] = twist[k] if bend.twist_deg is None or k == 0 else bend.twist_deg
    # The starts of the bends lie where they were marked; another angle uses another length of tube.
    arc, setback = developed * np.radians(angle), radius * np.tan(np.radians(angle) / 2)
    start = sheet.start_mm
    leg = np.concatenate([start, [sheet.seat_b_mm]]) - np.concatenate([[sheet.seat_a_mm], start + arc])
    leg = leg + np.concatenate([[0.0], setback]) + np.concatenate([setback, [0.0]])
    for k, bend in enumerate(made):
        leg[k] = leg[k] if bend.leg_mm is None else bend.leg_mm
    return leg, angle, twist


def _bring_home(sheet: MarkSheet, leg, angle, twist, target, done: int):
    """Move what is left so that end B lands, its nut enters straight and the apexes stay near their clips."""
    n = len(angle)
    if done == n:
        return leg, angle, twist
    # The leg before the first bend that is left can still be chosen: its mark is not used yet.
    bend_free, leg_free = np.arange(done, n), np.arange(done, n + 1)
    twist_free = bend_free[bend_free > 0]
    _, _, radius, developed, _ = (float(v) for v in sheet.law.parameters)
    used = sheet.seat_a_mm if done == 0 else sheet.start_mm[done - 1] + developed * np.radians(angle[done - 1])
    last_seat = sheet.cut_length_mm - sheet.end_b.uses_mm
    last = target[-1] - target[-2]
    wanted = last / np.linalg.norm(last)

    def shape(x):
        parts = np.split(x, np.cumsum([len(leg_free), len(bend_free)]))
        new = [leg.copy(), angle.copy(), twist.copy()]
        for values, free, part in zip(new, (leg_free, bend_free, twist_free), parts, strict=True):
            values[free] += part
        return new

    def on_the_tube(new_leg, new_angle):
        """The straights that are left, and how much tube remains beyond the seat of end B."""
        theta = np.radians(new_angle)
        setback = np.concatenate([[0.0], radius * np.tan(theta / 2), [0.0]])
        straights = (new_leg - setback[:-1] - setback[1:])[done:]
        spare = last_seat - used - straights.sum() - developed * theta[done:].sum()
        return straights, spare

    def miss(x):
        new = shape(x)
        straights, spare = on_the_tube(*new[:2])
        # The tube is cut: trimmed at B its spare piece may be used up, trimmed at A there is none.
        short = spare if sheet.line.trim_at == "A" else min(spare, 0.0)
        nodes = place_nodes(*new)
        end = nodes[-1] - nodes[-2]
        askew = np.degrees(end / np.linalg.norm(end) - wanted)
        return np.concatenate([
            [short / _TUBE_MM], np.minimum(straights, 0.0) / _TUBE_MM, (nodes[-1] - target[-1]) / _END_MM, askew / _ASKEW_DEG, ((nodes[done + 1 : -1] - target[done + 1 : -1]) / _APEX_MM).ravel(),
        ])  # fmt: skip

    low = np.concatenate([-leg[leg_free] + 1e-3, -angle[bend_free] + 1e-3, np.full(len(twist_free), -180.0)])
    high = np.concatenate([np.full(len(leg_free), np.inf), 175.0 - angle[bend_free], np.full(len(twist_free), 180.0)])
    found = least_squares(miss, np.zeros(len(low)), bounds=(low, high), x_scale="jac", xtol=1e-12, ftol=1e-12, gtol=1e-12)
    return shape(found.x)


def _marks_for(shop: Shop, cal: Calibration, sheet: MarkSheet, line: Line, made: Sequence[Made]) -> MarkSheet:
    """Marks of the changed line, shifted so that the bends already made stay where they are on the tube."""
    new = mark_out(shop, cal, line, trim_mm=sheet.trim_mm)
    done = len(made)
    if done == 0:
        return new
    # The tube that the bends made have used is what it is: count on from the end of the last one.
    arc = float(sheet.law.parameters["developed_radius_mm"]) * np.radians(line.legs.angle_deg)
    shift = sheet.start_mm[done - 1] + arc[done - 1] - new.end_mm[done - 1]
    keep = np.arange(line.bends) < done
    start = np.where(keep, sheet.start_mm, new.start_mm + shift)
    spare = sheet.cut_length_mm - (new.cut_length_mm + shift)
    return replace(
        new, mark_mm=np.where(keep, sheet.mark_mm, new.mark_mm + shift), start_mm=start, end_mm=start + arc,
        dial_deg=np.where(keep, sheet.dial_deg, new.dial_deg), cut_length_mm=sheet.cut_length_mm,
        trim_mm=sheet.trim_mm + (spare if sheet.line.trim_at == "B" else 0.0),
    )  # fmt: skip


def _beyond(miss_mm: float, askew_deg: float, apexes_mm: np.ndarray) -> tuple[str, ...]:
    """What the bends that are left cannot make good."""
    said = []
    if miss_mm > _FAR_MM:
        said.append(f"End B still misses its seat by {miss_mm:.1f} mm: the bends that are left cannot make it good.")
    if askew_deg > _FAR_ASKEW_DEG:
        said.append(f"The nut at end B would enter {askew_deg:.0f}° askew: it may cross its thread. Start this line anew.")
    if np.max(apexes_mm, initial=0.0) > _FAR_APEX_MM:
        said.append(f"An apex would lie {np.max(apexes_mm):.0f} mm from its place: look whether its clips and neighbours allow it.")
    return tuple(said)


def _angle_between(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(one, other)), one @ other)))
