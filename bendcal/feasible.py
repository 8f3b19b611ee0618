"""Can it be bent? The rules first, then a search for an order of the bends that clears the bender.

Any bend may be made first and either end may lead at each. The search looks for the order with the
least trouble (turning the tube end for end, bends out of their row) whose bent part clears the
bender's measured bodies and itself along every stroke; among equals the one that stays clearest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bendcal.bodies import BenderBody
from bendcal.calibration import Calibration
from bendcal.lines import Line
from bendcal.marks import MarkSheet, mark_out
from bendcal.mending import mends_of
from bendcal.orders import Found, Way, plain_orders, trials_of
from bendcal.path import LegTooShort
from bendcal.plans import Plan, Plans, plan_of
from bendcal.rules import Finding, feeds_allowed, findings
from bendcal.searching import easiest
from bendcal.shop import Shop
from bendcal.stroke import workpiece_of
from bendcal.trials import ITSELF, Trial, Trials
from bendcal.waiting import long_work

__all__ = ["COMFORT_MM", "KEEP_MM", "PLENTY_MM", "grip_of", "plan_bending", "search_for", "what_is_met", "what_stops"]

KEEP_MM = 1.0  # clearance that a plan has to keep: bodies are measured with a rule
COMFORT_MM = 15.0  # clearance beyond which one order is no better than another: then the usual one is taken
PLENTY_MM = 25.0  # clearance beyond which it is not told how much there is: a hand fits in
MOST_TRIALS = 12_000


@long_work
def plan_bending(
    shop: Shop, cal: Calibration, line: str | Line, *, bodies: Sequence[BenderBody] | None = None,
    keep_mm: float = KEEP_MM, mend: bool = True, most_trials: int = MOST_TRIALS,
) -> Plans:  # fmt: skip
    """Whether and how a line can be bent on its bender, the best way first.

    Parameters
    ----------
    shop : what :func:`bendcal.read_shop` returned
    cal : what :func:`bendcal.calibrate` returned
    line : the line's name in the shop, or a Line
    bodies : the bender's bodies; None for those that the shop has of this bender
    keep_mm : clearance that the tube has to keep from bodies and from itself [mm]
    mend : where it cannot be bent, try out what would mend it
    most_trials : break the search off after about so many trials of one bend

    Returns
    -------
    Plans; ``mark_out(shop, cal, line, feed=plans.best.feed)`` marks the line for the best plan

    Raises
    ------
    UnknownName : where the shop lacks the line, its tube, bender or ends, or the calibration lacks their law
    ShopFaults : where the line, its ends or the bodies were left out of the shop because of their faults
    ValueError : where `keep_mm` is negative

    Examples
    --------
    >>> from bendcal.law import Law
    >>> from bendcal.lines import line_from_legs
    >>> from bendcal.benders import Bender
    >>> from bendcal.materials import ALLOYS
    >>> from bendcal.tubes import Tube
    >>> shop = Shop(benders={"small": Bender("small", 15.0)}, tubes={"t": Tube("t", ALLOYS["copper"], 4.76, 0.9)})
    >>> law = Law.of("small", "t", [0.0, 0.97, 15.4, 15.2, 2.0], n_offcuts=6, angle_range_deg=(10, 120))
    >>> cal = Calibration({("small", "t"): law}, None, (), (), "", "0")
    >>> line = line_from_legs("x", [90, 80, 90], [90, 45], [0, 180], tube="t", bender="small")
    >>> plan_bending(shop, cal, line).best.order
    (1, 2)
    """
    if not keep_mm >= 0:
        raise ValueError(f"keep_mm is {keep_mm}; the clearance to keep is 0 mm or more.")
    line = shop.line(line) if isinstance(line, str) else line
    try:
        sheet = mark_out(shop, cal, line)
    except LegTooShort as error:
        legs = zip(error.leg, error.missing_mm, strict=True)
        rules = tuple(Finding("overlap", str(error), "geometry", True, leg, missing) for leg, missing in legs)
        return _mended(Plans(line.line, line.bender, why_not=(str(error),), rules=rules), shop, cal, line, bodies, keep_mm, mend, ())
    if bodies is None:
        shop.need("bender_bodies.csv")
        bodies = tuple(body for body in shop.bodies if body.bender == line.bender)
    allowed, told = feeds_allowed(sheet)
    rules = tuple(sorted((*findings(sheet), *told), key=lambda one: not one.stops))
    notes = () if bodies else (f"No body of bender {line.bender} is measured (bender_bodies.csv): only the tube is held against itself.",)
    if any(rule.stops for rule in rules):
        why = tuple(rule.sentence for rule in rules if rule.stops)
        plans = Plans(line.line, line.bender, why_not=why, rules=rules, notes=notes)
        return _mended(plans, shop, cal, line, bodies, keep_mm, mend, ())
    if not line.bends:
        plan = Plan((), (), float("inf"), (), ("There is nothing to bend.",))
        return Plans(line.line, line.bender, (plan,), rules=rules, notes=notes)
    found, trials = search_for(sheet, allowed, bodies, keep_mm, most_trials)
    if found.ways:
        exact = Trials(trials.piece, bodies, trials.grip_mm, keep_mm, PLENTY_MM, tolerance_mm=0.01, share=0.0)
        hindered = what_stops(allowed, trials, first_only=True)
        if not found.complete:
            notes += (f"The search was broken off after {trials.asked} trials: an easier order may have been missed.",)
        plain = plain_orders(line.bends)[0]
        ranked = tuple(
            plan_of(one, exact, reasons=_reasons(one), hindered=() if (one.order, one.feed) == plain else hindered, clears=_clears(one, exact))
            for one in found.ways
        )
        return Plans(line.line, line.bender, ranked, rules=rules, notes=notes, complete=found.complete, asked=trials.asked)
    why = what_stops(allowed, trials)
    if not found.complete:
        notes += (f"The search was broken off after {trials.asked} trials: a way may have been missed.",)
    plans = Plans(line.line, line.bender, why_not=why, rules=rules, notes=notes, complete=found.complete, asked=trials.asked)
    return _mended(plans, shop, cal, line, bodies, keep_mm, mend, _blocked(allowed, trials))


def search_for(
    sheet: MarkSheet, allowed: Sequence[str], bodies: Sequence[BenderBody], keep_mm: float = KEEP_MM, most_trials: int = MOST_TRIALS
) -> tuple[Found, Trials]:
    """The easiest orders for a marked tube, and the trials that the search made.

    Parameters
    ----------
    sheet : the marked tube
    allowed : for each bend the letters of the ends that may lead, from :func:`bendcal.rules.feeds_allowed`
    bodies, keep_mm, most_trials : as in :func:`plan_bending`
    """
    trials = Trials(workpiece_of(sheet), bodies, grip_of(sheet), keep_mm, PLENTY_MM)
    return easiest(sheet.legs.bends, allowed, trials.ask, trials.passes, most=most_trials, plenty_mm=COMFORT_MM), trials


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
    bodies, keep_mm : as in :func:`plan_bending`
    made : numbers of the bends that are made already, and are not asked for
    """
    trials = Trials(workpiece_of(sheet), bodies, grip_of(sheet), keep_mm, PLENTY_MM)
    steps = sorted(sheet.steps, key=lambda step: step.bend not in made)  # what is made was made first
    row = trials_of([step.bend - 1 for step in steps], [step.feed for step in steps])[len(set(made)) :]
    for trial, clear in zip(row, trials.ask(row), strict=True):
        if not trials.passes(clear):
            return f"Bend {trial.bend + 1} {_meets(trials.first_contact(trial), keep_mm)}."
    return ""


def _meets(met, keep_mm: float) -> str:
    what = "the tube meets itself" if met.near == ITSELF else f"meets the {met.near}"
    if met.stroke_deg <= 0:
        already = "already meets itself" if met.near == ITSELF else f"already meets the {met.near}"
        return f"cannot be begun: the tube {already} before the lever is moved"
    stuck = f"brings the tube within {keep_mm:g} mm of " + ("itself" if met.near == ITSELF else f"the {met.near}")
    return f"{stuck} with the lever at {met.stroke_deg:.0f}°" if keep_mm > 0 else f"fails: {what} with the lever at {met.stroke_deg:.0f}°"


def _first_failing(order: Sequence[int], feed: Sequence[str], trials: Trials) -> Trial | None:
    row = trials_of(order, feed)
    return next((trial for trial, clear in zip(row, trials.ask(row), strict=True) if not trials.passes(clear)), None)


def _blocked(allowed: Sequence[str], trials: Trials) -> tuple[int, ...]:
    """The bends, from 0, at which the plain orders fail."""
    rows = [_first_failing(order, feed, trials) for order, feed in plain_orders(trials.piece.bends)]
    return tuple(dict.fromkeys(trial.bend for trial in rows if trial is not None))


def _reasons(one: Way) -> tuple[str, ...]:
    said = []
    if len(one.order) > 1:
        times = "once" if one.turns == 1 else f"{one.turns} times"
        said.append(f"The tube is turned end for end {times}." if one.turns else "The tube need not be turned end for end.")
        if one.jumps:
            said.append(f"{one.jumps} bend{'s' if one.jumps > 1 else ''} out of the row along the tube.")
    return tuple(said)


def _clears(one: Way, trials: Trials) -> str:
    """How near what is bent comes to anything, and when; blank where nothing was measured and it stays clear of itself."""
    told = trials.ask(trials_of(one.order, one.feed))
    least = min(range(len(told)), key=lambda i: told[i].value_mm)
    if told[least].low_mm < trials.plenty_mm:
        clear, what = told[least], "itself" if told[least].near == ITSELF else f"the {told[least].near}"
        return (
            f"What is bent comes no nearer than {clear.value_mm:.0f} mm to {what}, at bend {one.order[least] + 1} with the lever at "
            f"{clear.stroke_deg:.0f}°."
        )
    return f"What is bent stays at least {np.floor(trials.plenty_mm):.0f} mm clear of everything measured." if trials.bodies else ""


def _mended(plans: Plans, shop, cal, line, bodies, keep_mm, mend: bool, blocked) -> Plans:
    if not mend:
        return plans
    def plan(changed: Line, some: Sequence[BenderBody] | None) -> Plans:
        return plan_bending(shop, cal, changed, bodies=some, keep_mm=keep_mm, mend=False, most_trials=MOST_TRIALS // 4)

    return replace(plans, mends=mends_of(plans, cal, line, plan, bodies=bodies, blocked=blocked))
