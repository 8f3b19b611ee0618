"""Finished lines teach too: each bend of a line is a bend with its mark, its dial and its angle."""

from __future__ import annotations

from collections.abc import Sequence

from bendcal.marks import MarkSheet
from bendcal.offcuts import Offcut
from bendcal.replan import Made

__all__ = ["offcuts_of_line"]


def offcuts_of_line(
    sheet: MarkSheet, made: Sequence[Made], *, piece: str = "", angle_tool: str = "", length_tool: str = "", date: str = "",
    last_leg_mm: float | None = None,
) -> tuple[Offcut, ...]:
    """The bends of a line that was bent by a sheet, as readings for the shop's log.

    An inner bend teaches the angle. The first one also tells where it began, because its leg
    reaches to the cut end A; where it is the only one, its other leg tells the gain too.
    Between two bends a leg hangs on both, and is left out.

    Parameters
    ----------
    sheet : the marks by which it was bent, all bends fed from end A
    made : one for each bend, in order; a bend without ``angle_deg`` teaches nothing and is left
        out. ``leg_mm`` of the first is from the *seat* of end A to the first apex
    piece : which piece it was, for the names; blank: the line's name
    angle_tool, length_tool, date : as in offcuts.csv
    last_leg_mm : from the only apex to the seat of end B, if it was measured [mm]

    Returns
    -------
    Offcuts, named ``piece/bend``, ready for :func:`bendcal.append_offcut`

    Raises
    ------
    ValueError : where more bends are given than the line has, or the tube was turned end for end
    """
    if len(made) > sheet.legs.bends:
        raise ValueError(f"{len(made)} bends are given, but line {sheet.line.line!r} has {sheet.legs.bends}.")
    if (sheet.feed < 0).any():
        raise ValueError("Readings can be taken from lines bent from end A on; this sheet turns the tube end for end.")
    single = sheet.legs.bends == 1
    readings = []
    for k, bend in enumerate(made):
        if bend.angle_deg is None:
            continue
        leg_a = sheet.seat_a_mm + bend.leg_mm if k == 0 and bend.leg_mm is not None else None
        # For the log a piece is as long as it was when it was straight, spare tube and all.
        leg_b = last_leg_mm + sheet.cut_length_mm - sheet.seat_b_mm if single and last_leg_mm is not None else None
        readings.append(Offcut(
            f"{piece or sheet.line.line}/{k + 1}", sheet.bender.bender, sheet.tube.tube, sheet.cut_length_mm,
            float(sheet.mark_mm[k]), float(sheet.dial_deg[k]), bend.angle_deg, leg_a, leg_b, date=date,
            angle_tool=angle_tool, length_tool=length_tool, note=f"bend {k + 1} of line {sheet.line.line}",
        ))  # fmt: skip
    return tuple(readings)
