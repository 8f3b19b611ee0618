"""Results as small tables in plain words, for a notebook's page and for a terminal.

Nothing is calculated here that a law or a sheet does not say already; numbers become text, each
rounded once, and what is uncertain is printed with its 95 % interval.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan

import numpy as np
from numpy.typing import ArrayLike

from bendcal.calibration import Calibration
from bendcal.compare import Comparison
from bendcal.estimate import Estimate
from bendcal.law import Law
from bendcal.layout import TextTable
from bendcal.marks import MarkSheet
from bendcal.measures import inch_text
from bendcal.replan import Replanned
from bendcal.shop import Shop

__all__ = [
    "ANGLES_DEG", "cut_sentence", "difference_table", "law_table", "laws_table", "marks_table", "readings_table", "replanned_table",
    "springback_table",
]  # fmt: skip

#: The finished angles for which a law is printed [deg].
ANGLES_DEG = tuple(range(15, 121, 15))
#: Those at which tubes are held side by side [deg].
COMPARED_DEG = (30.0, 45.0, 60.0, 90.0, 120.0)


def _number(value: float, decimals: int = 1, *, sign: bool = False) -> str:
    """A rounded number, never "-0.0"; blank where there is none."""
    if value is None or isnan(value):
        return ""
    text = f"{value:+.{decimals}f}" if sign else f"{value:.{decimals}f}"
    return text.lstrip("+-") if float(text) == 0 else text.replace("-", "−")


def _with_interval(estimate: Estimate, *, sign: bool = False) -> list[str]:
    low, high = estimate.interval(0.95)
    triples = zip(np.atleast_1d(estimate.value), np.atleast_1d(low), np.atleast_1d(high), strict=True)
    return [f"{_number(v, sign=sign)} ({_number(a, sign=sign)} to {_number(b, sign=sign)})" for v, a, b in triples]


def law_table(law: Law, angle_deg: ArrayLike = ANGLES_DEG) -> TextTable:
    """What to take to the vice: for each finished angle the dial, the take-up and the gain.

    Parameters
    ----------
    law : the law of one bender with one tube
    angle_deg : (n,) finished angles [deg]

    Returns
    -------
    One row an angle, each number with its 95 % interval; a star marks what no offcut covered

    Examples
    --------
    >>> law_table(Law.of("small", "brake", [0.0, 1.0, 15.0, 15.0, 2.0]), [90.0]).columns["set the dial to °"]
    ['90.0 (90.0 to 90.0)']
    """
    angle = np.atleast_1d(np.asarray(angle_deg, float))
    return TextTable({
        "finished °": [f"{a:g}{'' if inside else ' *'}" for a, inside in zip(angle, np.atleast_1d(law.covers(angle)), strict=True)],
        "set the dial to °": _with_interval(law.dial_for(angle)),
        "take-up mm": _with_interval(law.take_up(angle)),
        "gain mm": _with_interval(law.gain(angle)),
    })  # fmt: skip


def laws_table(cal: Calibration) -> TextTable:
    """All laws of a calibration, one row each, at a square bend.

    Parameters
    ----------
    cal : the calibration
    """
    laws = list(cal.laws.values())
    return TextTable({
        "bender": [law.bender for law in laws], "tube": [law.tube for law in laws],
        "offcuts": [str(law.n_offcuts) for law in laws],
        "dial for 90°": [_with_interval(law.dial_for(90.0))[0] for law in laws],
        "take-up mm": [_number(law.take_up(90.0).value) for law in laws],
        "gain mm": [_number(law.gain(90.0).value) for law in laws],
    })  # fmt: skip


def readings_table(shop: Shop, bender: str, tube: str) -> TextTable:
    """The offcuts of one bender with one tube as they were written down, set aside or not.

    Parameters
    ----------
    shop : the shop
    bender, tube : names
    """
    offcuts = [o for o in shop.offcuts if (o.bender, o.tube) == (bender, tube)]
    across = [["" if mm is None else f"{mm:g}" for mm in (o.smallest_mm, o.largest_mm)] for o in offcuts]
    return TextTable({
        "offcut": [o.offcut for o in offcuts],
        "length mm": [f"{o.length_mm:g}" for o in offcuts],
        "mark mm": [f"{o.mark_mm:g}" for o in offcuts],
        "dial °": [f"{o.dial_deg:g}" for o in offcuts],
        "finished °": [f"{o.angle_deg:g}" for o in offcuts],
        "leg A mm": ["" if o.leg_a_mm is None else f"{o.leg_a_mm:g}" for o in offcuts],
        "leg B mm": ["" if o.leg_b_mm is None else f"{o.leg_b_mm:g}" for o in offcuts],
        "legs to": [o.legs_to if o.has_legs else "" for o in offcuts],
        **({"Ø mm": [" to ".join(filter(None, one)) for one in across]} if any(map(any, across)) else {}),
        "set aside, because": [o.set_aside for o in offcuts],
    })  # fmt: skip


def springback_table(cal: Calibration, bender: str, tubes: Sequence[str], angle_deg: ArrayLike = COMPARED_DEG) -> TextTable:
    """How far several tubes spring back on one bender, for the same finished angles.

    Parameters
    ----------
    cal : the calibration
    bender : its name
    tubes : their names
    angle_deg : (n,) finished angles [deg]

    Returns
    -------
    One row an angle, for each tube the mean springback in degrees with its 95 % interval

    Raises
    ------
    UnknownName : where there is no law of the bender with one of the tubes
    """
    angle = np.atleast_1d(np.asarray(angle_deg, float))
    columns = {"finished °": [f"{a:g}" for a in angle]}
    for tube in tubes:
        dial = cal.law(bender, tube).dial_for(angle)
        columns[f"{tube} springs back °"] = _with_interval(Estimate(dial.value - angle, dial.u, "°", dial.dof))
    return TextTable(columns)


def difference_table(comparison: Comparison) -> TextTable:
    """The second law less the first: dial, take-up and gain, each with its 95 % interval.

    Parameters
    ----------
    comparison : what :func:`bendcal.compare` returned
    """
    return TextTable({
        "finished °": [f"{a:g}" for a in comparison.angle_deg],
        "dial °": _with_interval(comparison.dial, sign=True),
        "take-up mm": _with_interval(comparison.take_up, sign=True),
        "gain mm": _with_interval(comparison.gain, sign=True),
    })  # fmt: skip


def marks_table(sheet: MarkSheet, *, inches: bool = False) -> TextTable:
    """The marks of one line, in the order in which its bends are made.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    inches : marks in inches and thirty-seconds instead of mm

    Returns
    -------
    One row a bend: "finished" is the angle wanted and how far 95 of 100 bends will stray from
    it; "turn the tube" comes before the bend and is seen from end A looking towards end B
    """
    unit = "in" if inches else "mm"
    made = np.array(sheet.order, int) - 1
    marks = sheet.marks.iloc[made]
    reach = np.atleast_1d(Estimate(0.0 * sheet.angle_u_deg, sheet.angle_u_deg, "°", sheet.law.dof).interval(0.95)[1])[made]
    leads = {"leads": list(marks["feed"])} if np.any(sheet.feed < 0) else {}
    return TextTable({
        "bend": [str(k) for k in marks["bend"]],
        f"mark {unit}": [inch_text(mm) if inches else _number(mm) for mm in marks["mark_mm"]],
        "dial °": [_number(v) for v in marks["dial_deg"]],
        "finished °": [f"{_number(v)} ± {_number(half)}" for v, half in zip(marks["angle_deg"], reach, strict=True)],
        **leads,
        "turn the tube": [step.words for step in sheet.steps],
        "note": list(marks["note"]),
    })  # fmt: skip


def replanned_table(replanned: Replanned, *, inches: bool = False) -> TextTable:
    """The new marks of a half-made line; of a bend that is made nothing but its mark and what came out.

    Parameters
    ----------
    replanned : what :func:`bendcal.replan.replan` returned
    inches : as for :func:`marks_table`
    """
    columns = {name: list(cells) for name, cells in marks_table(replanned.sheet, inches=inches).columns.items()}
    measured = dict(zip(replanned.made, replanned.measured_deg, strict=True))
    for row, bend in enumerate(replanned.sheet.order):
        if bend in measured:
            columns["dial °"][row] = columns["turn the tube"][row] = ""
            columns["finished °"][row] = "made" if measured[bend] is None else f"made, measured {_number(measured[bend])}"
    return TextTable(columns)


def cut_sentence(sheet: MarkSheet, *, inches: bool = False) -> str:
    """How long to cut the tube, and what of it is spare.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    inches : in inches and thirty-seconds instead of mm
    """
    cut, trim = (inch_text(mm) if inches else f"{_number(mm)} mm" for mm in (sheet.cut_length_mm, sheet.trim_mm))
    if not sheet.trim_mm:
        return f"Cut the tube {cut} long. Nothing of it is spare."
    return f"Cut the tube {cut} long. {trim} of it is spare at end {sheet.line.trim_at}: trim it there after the fit-up."
