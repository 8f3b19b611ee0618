"""What would mend a line that cannot be bent: each remedy is tried out before it is told."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from bendcal.bodies import BenderBody
from bendcal.calibration import Calibration
from bendcal.feasible.plans import Plans
from bendcal.lines import Line
from bendcal.path import Legs, LegTooShort
from bendcal.shop import UnknownName

__all__ = ["longer_leg", "mends_of", "other_end_first"]

STEPS_MM = (5.0, 10.0, 15.0, 20.0, 30.0, 40.0)  # by which a leg is made longer, until it helps

Plan = Callable[[Line, Sequence[BenderBody] | None], Plans]


def mends_of(
    plans: Plans, cal: Calibration, line: Line, plan: Plan, *, bodies: Sequence[BenderBody] | None, blocked: Sequence[int]
) -> tuple[str, ...]:
    """Sentences that say what would make a line bendable.

    Parameters
    ----------
    plans : what stands in the way
    cal : for the other benders that know this tube
    line : the line
    plan : tries a changed line with some bodies (None: those of its bender)
    bodies : the bodies that were reckoned with
    blocked : the bends, from 0, at which a clash stopped the plain orders
    """
    return (*_other_benders(cal, line, plan), *_longer_legs(plans, line, plan, bodies, blocked), *_out_of_the_way(line, plan, bodies, blocked))


def longer_leg(line: Line, leg: int, by_mm: float) -> Line:
    """The line with one leg longer, its angles and twists as they were.

    Parameters
    ----------
    line : the line
    leg : its number, from 1
    by_mm : how much longer [mm]

    >>> from bendcal.lines import line_from_legs
    >>> longer_leg(line_from_legs("x", [9, 9], [90], [0], tube="t", bender="b"), 2, 3).legs.leg_mm.tolist()
    [9.0, 12.0]
    """
    legs = line.legs.leg_mm.copy()
    legs[leg - 1] += by_mm
    return replace(line, legs=Legs(legs, line.legs.angle_deg, line.legs.twist_deg), nodes_mm=None, labels=())


def other_end_first(line: Line, plan: Plan, bodies: Sequence[BenderBody] | None) -> str:
    """Whether one of the two ends could still be finished on straight tube, where the nut of the one that usually is is in the way: the other one.

    Parameters
    ----------
    line, plan, bodies : as for :func:`mends_of`

    Returns
    -------
    A sentence; blank where that does not work
    """
    last, first = line.trim_at, "B" if line.trim_at == "A" else "A"
    found = plan(replace(line, trim_at=first), bodies).best
    if found is None or found.late:
        return ""
    return f"If end {first} may be the one that is trimmed (trim_at in lines.csv), end {last} can be finished while the tube is straight: {found.sentence}"


def _other_benders(cal: Calibration, line: Line, plan: Plan) -> list[str]:
    said = []
    for bender, tube in cal.laws:
        if tube == line.tube and bender != line.bender:
            try:
                other = plan(replace(line, bender=bender), None)
            except UnknownName:
                continue
            if other.best is not None:
                said.append(f"Bender {bender} can make it: {other.best.sentence}")
    return said


def _longer_legs(plans: Plans, line: Line, plan: Plan, bodies: Sequence[BenderBody] | None, blocked: Sequence[int]) -> list[str]:
    if any(rule.stops for rule in plans.rules):
        more = _what_is_missing(plans, line, plan, bodies)
        what = " and ".join(f"leg {leg} longer by {by_mm:g} mm" for leg, by_mm in sorted(more.items()))
        return [f"With {what} it can be bent."] if more else []
    said = []
    for leg in dict.fromkeys(leg for bend in blocked for leg in (bend + 1, bend + 2)):
        # The longest first: where that does not help, less will hardly do.
        if not _works(plan, longer_leg(line, leg, STEPS_MM[-1]), bodies):
            continue
        low, high = -1, len(STEPS_MM) - 1
        while high - low > 1:
            middle = (low + high) // 2
            if _works(plan, longer_leg(line, leg, STEPS_MM[middle]), bodies):
                high = middle
            else:
                low = middle
        said.append(f"With leg {leg} longer by {STEPS_MM[high]:g} mm it can be bent.")
    return said


def _what_is_missing(plans: Plans, line: Line, plan: Plan, bodies: Sequence[BenderBody] | None) -> dict[int, float]:
    """How much longer which legs have to be, in whole millimetres; empty where that alone does not help."""
    more: dict[int, float] = {}
    for _ in range(3):  # room for the bends first, then for the bender between them
        stops = [rule for rule in plans.rules if rule.stops]
        if not stops:
            return more if plans.best is not None else {}
        if not all(rule.leg for rule in stops):
            return {}
        for leg in {rule.leg for rule in stops}:
            by_mm = float(np.ceil(max(rule.missing_mm for rule in stops if rule.leg == leg) - 1e-6))
            more[leg] = more.get(leg, 0.0) + by_mm
            line = longer_leg(line, leg, by_mm)
        plans = plan(line, bodies)
    return more if plans.best is not None else {}


def _out_of_the_way(line: Line, plan: Plan, bodies: Sequence[BenderBody] | None, blocked: Sequence[int]) -> list[str]:
    said = []
    for body in bodies or () if blocked else ():
        rest = tuple(one for one in bodies if one is not body)
        found = plan(line, rest).best
        if found is not None:
            said.append(f"With the {body.body} out of the way it can be bent: {found.sentence}")
    return said


def _works(plan: Plan, line: Line, bodies: Sequence[BenderBody] | None) -> bool:
    try:
        return plan(line, bodies).best is not None
    except (LegTooShort, ValueError):
        return False
