"""Can it be bent? The rules first, then a search for an order of the bends that clears the bender.

Any bend may be made first and either end may lead at each. The search looks for the order with the
least trouble (turning the tube end for end, bends out of their row) whose bent part clears the
bender's measured bodies and itself along every stroke, nuts on it included; among equals the one that stays clearest.
Where a nut is what stands in the way of all of them, its end is finished after the bends, if there is room for that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bendcal.bodies import BenderBody
from bendcal.calibration import Calibration
from bendcal.feasible.hindrance import KEEP_MM, PLENTY_MM, blocked_bends, grip_of, what_is_nearest, what_stops
from bendcal.feasible.mending import mends_of, other_end_first
from bendcal.feasible.nuts import may_wait, nutted, unknown_nuts
from bendcal.feasible.orders import Found, Way, plain_orders
from bendcal.feasible.plans import Plan, Plans, plan_of
from bendcal.feasible.rules import Finding, feeds_allowed, findings
from bendcal.feasible.searching import easiest
from bendcal.feasible.stroke import workpiece_of
from bendcal.feasible.trials import Trials
from bendcal.lines import Line
from bendcal.marks import MarkSheet, mark_out
from bendcal.path import LegTooShort
from bendcal.shop import Shop
from bendcal.waiting import long_work

__all__ = ["COMFORT_MM", "KEEP_MM", "PLENTY_MM", "plan_bending", "search_for"]

COMFORT_MM = 15.0  # clearance beyond which one order is no better than another: then the usual one is taken
MOST_TRIALS = 12_000


@long_work
def plan_bending(
    shop: Shop, cal: Calibration, line: str | Line, *, bodies: Sequence[BenderBody] | None = None,
    keep_mm: float = KEEP_MM, mend: bool = True, most_trials: int = MOST_TRIALS, sheet: MarkSheet | None = None,
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
    sheet : the line as :func:`bendcal.mark_out` marks it without further wishes, if that was done already

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
        sheet = mark_out(shop, cal, line) if sheet is None else sheet
    except LegTooShort as error:
        legs = zip(error.leg, error.missing_mm, strict=True)
        said = str(error).removeprefix(f"Line {line.line!r} cannot be bent: ")
        said = said[0].upper() + said[1:]
        rules = tuple(Finding("overlap", said, "geometry", True, leg, missing) for leg, missing in legs)
        return _mended(Plans(line.line, line.bender, why_not=(said,), rules=rules), shop, cal, line, bodies, keep_mm, mend, ())
    if bodies is None:
        shop.need("bender_bodies.csv")
        bodies = tuple(body for body in shop.bodies if body.bender == line.bender)
    if not line.bends:
        plan = Plan((), (), float("inf"), (), ("There is nothing to bend.",))
        return Plans(line.line, line.bender, (plan,), rules=_rules(sheet, feeds_allowed(sheet)[1]), notes=_notes(sheet, bodies))
    plans, blocked = _tried(sheet, bodies, keep_mm, most_trials)
    waits = next((letter for letter in nutted(sheet) if may_wait(sheet, letter)), "") if plans.best is None else ""
    if waits:
        # Forming it on a bent line is second choice: one that splits has cost all the bends.
        later, blocked_then = _tried(replace(sheet, late=waits), bodies, keep_mm, most_trials)
        if later.best is not None:
            other = other_end_first(line, _planner(shop, cal, keep_mm), bodies) if mend else ""
            ranked = tuple(replace(one, hindered=(f"With the nut of end {waits} on the tube no order was found.", *plans.why_not)) for one in later.ranked)
            return replace(later, ranked=ranked, notes=(*later.notes, *filter(None, [other])))
        left_off = f"This is without the nut of end {waits}, which could be put on after the bends; on the tube it would only be more in the way."
        plans, blocked = replace(later, notes=(*later.notes, left_off)), blocked_then
    return _mended(plans, shop, cal, line, bodies, keep_mm, mend, blocked)


def _tried(sheet: MarkSheet, bodies: Sequence[BenderBody], keep_mm: float, most_trials: int) -> tuple[Plans, tuple[int, ...]]:
    """What the rules and the search say of a marked tube as it is, and the bends at which plain orders fail."""
    allowed, told = feeds_allowed(sheet)
    name = {"line": sheet.line.line, "bender": sheet.bender.bender, "rules": _rules(sheet, told)}
    notes = _notes(sheet, bodies)
    if any(rule.stops for rule in name["rules"]):
        return Plans(**name, why_not=tuple(rule.sentence for rule in name["rules"] if rule.stops), notes=notes), ()
    found, trials = search_for(sheet, allowed, bodies, keep_mm, most_trials)
    name |= {"complete": found.complete, "asked": trials.asked}
    missed = "an easier order may have been missed" if found.ways else "a way may have been missed"
    notes += () if found.complete else (f"The search was broken off after {trials.asked} trials: {missed}.",)
    if not found.ways:
        return Plans(**name, why_not=what_stops(allowed, trials), notes=notes), blocked_bends(allowed, trials)
    exact = Trials(trials.piece, bodies, trials.grip_mm, keep_mm, PLENTY_MM, tolerance_mm=0.01, share=0.0)
    hindered, plain = what_stops(allowed, trials, first_only=True), plain_orders(sheet.legs.bends)[0]
    ranked = tuple(
        plan_of(
            one, exact, reasons=_reasons(one, sheet), hindered=() if (one.order, one.feed) == plain else hindered, clears=what_is_nearest(one, exact), late=sheet.late,
        )
        for one in found.ways
    )  # fmt: skip
    return Plans(**name, ranked=ranked, notes=notes), ()


def _rules(sheet: MarkSheet, told: Sequence[Finding]) -> tuple[Finding, ...]:
    return tuple(sorted((*findings(sheet), *told), key=lambda one: not one.stops))


def _notes(sheet: MarkSheet, bodies: Sequence[BenderBody]) -> tuple[str, ...]:
    if not bodies:
        return (f"No body of bender {sheet.bender.bender} is measured (bender_bodies.csv): only the tube is held against itself.",)
    return unknown_nuts(sheet)


def search_for(
    sheet: MarkSheet, allowed: Sequence[str], bodies: Sequence[BenderBody], keep_mm: float = KEEP_MM, most_trials: int = MOST_TRIALS
) -> tuple[Found, Trials]:
    """The easiest orders for a marked tube, and the trials that the search made.

    Parameters
    ----------
    sheet : the marked tube
    allowed : for each bend the letters of the ends that may lead, from :func:`bendcal.feasible.rules.feeds_allowed`
    bodies, keep_mm, most_trials : as in :func:`plan_bending`
    """
    trials = Trials(workpiece_of(sheet), bodies, grip_of(sheet), keep_mm, PLENTY_MM)
    return easiest(sheet.legs.bends, allowed, trials.ask, trials.passes, most=most_trials, plenty_mm=COMFORT_MM), trials


def _reasons(one: Way, sheet: MarkSheet) -> tuple[str, ...]:
    said = []
    if sheet.late:
        end = sheet.end_a if sheet.late == "A" else sheet.end_b
        formed = f", and its {end.form} made after that" if end.is_flare else ""
        said.append(f"The nut of end {sheet.late} is put on after the bends{formed}: on the tube it would be in their way.")
    if len(one.order) > 1:
        times = "once" if one.turns == 1 else f"{one.turns} times"
        said.append(f"The tube is turned end for end {times}." if one.turns else "The tube need not be turned end for end.")
        if one.jumps:
            said.append(f"{one.jumps} bend{'s' if one.jumps > 1 else ''} out of the row along the tube.")
    return tuple(said)


def _mended(plans: Plans, shop, cal, line, bodies, keep_mm, mend: bool, blocked) -> Plans:
    if not mend:
        return plans
    return replace(plans, mends=mends_of(plans, cal, line, _planner(shop, cal, keep_mm), bodies=bodies, blocked=blocked))


def _planner(shop: Shop, cal: Calibration, keep_mm: float):
    """Plans of changed lines, with fewer trials and no remedies of their own."""
    def plan(changed: Line, some: Sequence[BenderBody] | None) -> Plans:
        return plan_bending(shop, cal, changed, bodies=some, keep_mm=keep_mm, mend=False, most_trials=MOST_TRIALS // 4)

    return plan
