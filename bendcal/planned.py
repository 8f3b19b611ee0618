"""A line marked for the order in which its bender can make it."""

from __future__ import annotations

from dataclasses import replace

from bendcal.calibration import Calibration
from bendcal.clearance import obstacle_clearances
from bendcal.faults import ShopFaults
from bendcal.feasible import Plan, Plans, plan_bending
from bendcal.lines import Line
from bendcal.marks import MarkSheet, mark_out
from bendcal.shop import Shop

__all__ = ["mark_out_planned", "told_too_near"]

#: What is bent may come this near without a warning [mm]: bodies are measured with a rule, and bends stray.
_CLOSE_MM = 5.0


def mark_out_planned(
    shop: Shop, cal: Calibration, line: str | Line, *, plans: Plans | None = None, sheet: MarkSheet | None = None,
    trim_mm: float | None = None, chance: float = 0.95,
) -> MarkSheet:
    """Mark a line for the best order of its bends that was found, and say what it was tried against.

    Where none was found, the sheet is made for the bends one after another from end A on, and its first warning
    says that they cannot be made so, what stands in the way, and what would mend it. What the finished line comes
    too near to, and an order that clears something by little, are among the warnings as well.

    Parameters
    ----------
    shop : what :func:`bendcal.read_shop` returned
    cal : what :func:`bendcal.calibrate` returned
    line : the line's name in the shop, or a Line
    plans : what :func:`bendcal.feasible.planning.plan_bending` said of the line; None to ask it
    sheet : the line as :func:`bendcal.marks.mark_out` marks it with the same `trim_mm` and `chance` and no other wish, if that was
        done already: then it is marked anew only for another order
    trim_mm, chance : as in :func:`bendcal.marks.mark_out`

    Returns
    -------
    MarkSheet

    Raises
    ------
    UnknownName, LegTooShort, ValueError : as :func:`bendcal.marks.mark_out`

    Examples
    --------
    >>> from bendcal.benders import Bender
    >>> from bendcal.law import Law
    >>> from bendcal.lines import line_from_legs
    >>> from bendcal.materials import ALLOYS
    >>> from bendcal.tubes import Tube
    >>> shop = Shop(benders={"small": Bender("small", 15.0)}, tubes={"t": Tube("t", ALLOYS["copper"], 4.76, 0.9)})
    >>> law = Law.of("small", "t", [0.0, 0.97, 15.4, 15.2, 2.0], n_offcuts=6, angle_range_deg=(10, 120))
    >>> cal = Calibration({("small", "t"): law}, None, (), (), "", "0")
    >>> line = line_from_legs("x", [90, 80, 90], [90, 45], [0, 180], tube="t", bender="small")
    >>> sheet = mark_out_planned(shop, cal, line)
    >>> sheet.order, sheet.order_fails
    ((1, 2), False)
    """
    plans = plan_bending(shop, cal, line) if plans is None else plans
    if plans.best is None:
        sheet = sheet or mark_out(shop, cal, line, trim_mm=trim_mm, chance=chance)
        return told_too_near(shop, cal, replace(sheet, order_told=(*plans.why_not, *plans.mends), order_fails=True))
    best = plans.best
    if sheet is None or (best.order, best.feed) != (sheet.order, ("A",) * len(best.order)):
        sheet = mark_out(shop, cal, line, feed=best.feed, order=best.order, trim_mm=trim_mm, chance=chance)
    why = [f"(Why not otherwise: {' '.join(best.hindered)})"] if best.hindered else []
    told = tuple(filter(None, (best.clears, *plans.notes, *why)))
    return told_too_near(shop, cal, replace(sheet, order_told=told, order_is_close=_close(best), late=best.late, nuts_told=best.nuts_told))


def told_too_near(shop: Shop, cal: Calibration, sheet: MarkSheet) -> MarkSheet:
    """The sheet with what its finished line comes too near to among its warnings.

    Parameters
    ----------
    shop : its obstacles
    cal : what :func:`bendcal.calibrate` returned
    sheet : what :func:`bendcal.marks.mark_out` returned
    """
    try:
        near = obstacle_clearances(shop, cal, sheet.line).too_near
    except ShopFaults as error:
        return replace(sheet, too_near=(f"What the line must keep clear of is not known: {error.faults[0].sentence}",))
    return replace(sheet, too_near=tuple(f"The line comes too near. {one.sentence[0].upper()}{one.sentence[1:]}" for one in near))


def _close(plan: Plan) -> str:
    if plan.least_clearance_mm >= _CLOSE_MM:
        return ""
    nearest = min(plan.steps, key=lambda step: step.clearance_mm)
    what = f"{nearest.part[0].upper()}{nearest.part[1:]} clears what is near it" if nearest.part else "What is bent clears the bender or itself"
    return (
        f"{what} by {max(plan.least_clearance_mm, 0.0):.0f} mm only, which a body that was measured a little wrong or a bend that "
        "strays can use up: try this order in scrap first."
    )
