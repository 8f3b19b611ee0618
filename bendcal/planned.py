"""A line marked for the order in which its bender can make it."""

from __future__ import annotations

from dataclasses import replace

from bendcal.calibration import Calibration
from bendcal.feasible import plan_bending
from bendcal.lines import Line
from bendcal.marks import MarkSheet, mark_out
from bendcal.plans import Plans
from bendcal.shop import Shop

__all__ = ["mark_out_planned"]


def mark_out_planned(
    shop: Shop, cal: Calibration, line: str | Line, *, plans: Plans | None = None, trim_mm: float | None = None, chance: float = 0.95,
) -> MarkSheet:
    """Mark a line for the best order of its bends that was found, and say what it was tried against.

    Where none was found, the sheet is made for the bends one after another from end A on, and its first warning
    says that they cannot be made so, what stands in the way, and what would mend it.

    Parameters
    ----------
    shop : what :func:`bendcal.read_shop` returned
    cal : what :func:`bendcal.calibrate` returned
    line : the line's name in the shop, or a Line
    plans : what :func:`bendcal.feasible.plan_bending` said of the line; None to ask it
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
        sheet = mark_out(shop, cal, line, trim_mm=trim_mm, chance=chance)
        # What the rules find is among the sheet's other warnings already.
        told = tuple(said for said in (*plans.why_not, *plans.mends) if said not in sheet.warnings)
        return replace(sheet, order_told=told, order_fails=True)
    best = plans.best
    sheet = mark_out(shop, cal, line, feed=best.feed, order=best.order, trim_mm=trim_mm, chance=chance)
    return replace(sheet, order_told=tuple(filter(None, (*best.hindered, best.clears, *plans.notes))))
