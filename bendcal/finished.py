"""Finished lines teach too: each bend of a line is a bend with its mark, its dial and its angle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from bendcal.half_made import Made, made_bends
from bendcal.marks import MarkSheet
from bendcal.offcuts import Offcut

__all__ = ["offcuts_of_line"]


def offcuts_of_line(
    sheet: MarkSheet, made: Sequence[Made] | Mapping[int, Made], *, piece: str = "", angle_tool: str = "", length_tool: str = "",
    date: str = "", last_leg_mm: float | None = None,
) -> tuple[Offcut, ...]:
    """The bends of a line that was bent by a sheet, wholly or in part, as readings for the shop's log.

    An inner bend teaches the angle. The one next to the end that led tells where it began too, because its
    leg reaches to the cut end; the one next to the other end tells how much tube it left, and the only one of
    a line both. Between two bends a leg hangs on both, and is left out.

    Where end B led, the reading is told as of an offcut fed from there: its mark and its ``leg_a_mm`` count from cut end B.

    Parameters
    ----------
    sheet : the marks by which it was bent, whatever the order of its bends and the end that led
    made : what was measured on each bend, by number from end A, as for :func:`bendcal.replan.replan`; a plain sequence is that
        of bends 1, 2 and so on. A bend without ``angle_deg`` teaches nothing and is left
        out. ``leg_mm`` of bend 1 is from the *seat* of end A to its apex
    piece : which piece it was, for the names; blank: the line's name
    angle_tool, length_tool, date : as in offcuts.csv
    last_leg_mm : from the last apex to the seat of end B, if it was measured; the same as ``leg_after_mm`` of the last bend [mm]

    Returns
    -------
    Offcuts, named ``piece/bend``, ready for :func:`bendcal.append_offcut`

    Raises
    ------
    ValueError : where a bend is not one of the line's, what is said of it cannot have been measured yet, or the last leg is given twice
    """
    bends, n, whole = made_bends(sheet, made), sheet.legs.bends, sheet.cut_length_mm
    last = bends[n].leg_after_mm if n in bends else None
    if last is not None and last_leg_mm is not None:
        raise ValueError(f"The last leg is given twice, as leg_after_mm of bend {n} ({last:g}) and as last_leg_mm ({last_leg_mm:g}): give one of them.")
    last = last_leg_mm if last is None else last
    readings = []
    for bend, one in bends.items():
        if one.angle_deg is None:
            continue
        # For the log a piece is as long as it was when it was straight, spare tube and all.
        to_a = sheet.seat_a_mm + one.leg_mm if bend == 1 and one.leg_mm is not None else None
        to_b = last + whole - sheet.seat_b_mm if bend == n and last is not None else None
        mark, leads = float(sheet.mark_mm[bend - 1]), "A" if sheet.feed[bend - 1] > 0 else "B"
        if leads == "B":
            mark, to_a, to_b = whole - mark, to_b, to_a
        readings.append(Offcut(
            f"{piece or sheet.line.line}/{bend}", sheet.bender.bender, sheet.tube.tube, whole, mark, float(sheet.dial_deg[bend - 1]),
            one.angle_deg, to_a, to_b, date=date, angle_tool=angle_tool, length_tool=length_tool,
            note=f"bend {bend} of line {sheet.line.line}" + (", fed from its end B: mark and leg A count from there" if leads == "B" else ""),
        ))  # fmt: skip
    return tuple(readings)
