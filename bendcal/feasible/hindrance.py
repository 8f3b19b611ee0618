"""What stands in the way of an order of the bends, or comes nearest to it, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bendcal.bodies import BenderBody
from bendcal.feasible.orders import Way, plain_orders, trials_of
from bendcal.feasible.stroke import workpiece_of
from bendcal.feasible.trials import ITSELF, Clear, Trial, Trials
from bendcal.marks import MarkSheet

__all__ = ["KEEP_MM", "PLENTY_MM", "blocked_bends", "grip_of", "what_is_met", "what_is_nearest", "what_stops"]

KEEP_MM = 1.0  # clearance that a plan has to keep: bodies are measured with a rule
PLENTY_MM = 25.0  # clearance beyond which it is not told how much there is: a hand fits in


def grip_of(sheet: MarkSheet) -> float:
    """How much straight tube beside a bend lies in the bender [mm]: the shortest that it takes at all."""
    bender = sheet.bender
    known = [value for value in (bender.min_leg_mm, bender.min_between_mm, bender.min_last_mm) if value is not None]
    return min(known, default=0.0)


def what_stops(allowed: Sequence[str], trials: Trials, *, first_only: bool = False) -> tuple[str, ...]:
    """For each plain order that cannot be made, which bend meets what, and when.

    Parameters
    ----------
    allowed : for each bend the letters of the ends that may lead
    trials : of the tube
    first_only : only the first of the plain orders, and nothing where it can be made
    """
    said = []
    plain = plain_orders(trials.piece.bends)
    for order, feed in plain[:1] if first_only else plain:
        way = f"With bend {order[0] + 1} first and end {feed[0]} leading"
        if first_only and len(order) > 1:  # told beside an order that may begin with the same bend
            way = f"One after another from bend {order[0] + 1} on with end {feed[0]} leading"
        barred = next((bend for bend in order if feed[bend] not in allowed[bend]), None)
        if barred is not None:
            said.append(f"{way}, bend {barred + 1} has no room in the bender.")
            continue
        trial = _first_failing(order, feed, trials)
        if trial is not None:
            met = trials.first_contact(trial)
            said.append(f"{way}, bend {trial.bend + 1} {_meets(met, trials.keep_mm)}.")
    return tuple(said)


def what_is_met(sheet: MarkSheet, bodies: Sequence[BenderBody], *, made: Sequence[int] = (), keep_mm: float = KEEP_MM) -> str:
    """What the bends of a marked tube meet when they are made in the sheet's order; blank where they clear it.

    Parameters
    ----------
    sheet : the marked tube
    bodies, keep_mm : as in :func:`bendcal.feasible.planning.plan_bending`
    made : numbers of the bends that are made already, and are not asked for
    """
    trials = Trials(workpiece_of(sheet), bodies, grip_of(sheet), keep_mm, PLENTY_MM)
    steps = sorted(sheet.steps, key=lambda step: step.bend not in made)  # what is made was made first
    row = trials_of([step.bend - 1 for step in steps], [step.feed for step in steps])[len(set(made)) :]
    for trial, clear in zip(row, trials.ask(row), strict=True):
        if not trials.passes(clear):
            return f"Bend {trial.bend + 1} {_meets(trials.first_contact(trial), keep_mm)}."
    return ""


def _meets(met: Clear, keep_mm: float) -> str:
    what, near = met.part or "the tube", "itself" if met.near == ITSELF and not met.part else f"the {met.near.removeprefix('the ')}"
    if met.stroke_deg <= 0:
        return f"cannot be begun: {what} already meets {near} before the lever is moved"
    if keep_mm > 0:
        return f"brings {what} within {keep_mm:g} mm of {near} with the lever at {met.stroke_deg:.0f}°"
    return f"fails: {what} meets {near} with the lever at {met.stroke_deg:.0f}°"


def _first_failing(order: Sequence[int], feed: Sequence[str], trials: Trials) -> Trial | None:
    row = trials_of(order, feed)
    return next((trial for trial, clear in zip(row, trials.ask(row), strict=True) if not trials.passes(clear)), None)


def what_is_nearest(one: Way, trials: Trials) -> str:
    """How near what is bent comes to anything, and when; blank where nothing was measured and it stays clear of itself."""
    told = trials.ask(trials_of(one.order, one.feed))
    least = min(range(len(told)), key=lambda i: told[i].value_mm)
    if told[least].low_mm < trials.plenty_mm:
        clear = told[least]
        what = f"the {clear.near.removeprefix('the ')}" if clear.near != ITSELF or clear.part else "itself"
        part = clear.part or "what is bent"
        return (
            f"{part[0].upper()}{part[1:]} comes no nearer than {clear.value_mm:.0f} mm to {what}, at bend {one.order[least] + 1} with the lever at "
            f"{clear.stroke_deg:.0f}°."
        )
    return f"What is bent stays at least {np.floor(trials.plenty_mm):.0f} mm clear of everything measured." if trials.bodies else ""


def blocked_bends(allowed: Sequence[str], trials: Trials) -> tuple[int, ...]:
    """The bends, from 0, at which the plain orders fail; `allowed` for each bend the letters of the ends that may lead."""
    rows = [_first_failing(order, feed, trials) for order, feed in plain_orders(trials.piece.bends)]
    return tuple(dict.fromkeys(trial.bend for trial in rows if trial is not None))
