"""The legs or nodes of a line that is being entered: what they are called, what they say, the shape they make so far."""

from __future__ import annotations

from bendcal.entries import LineRows
from bendcal.faults import Fault
from bendcal.files import LEGS, NODES
from bendcal.forms.understood import understood
from bendcal.legs import LegTooShort, check_straights
from bendcal.lines import line_from_nodes
from bendcal.path import Legs

__all__ = ["STEPS", "STEP_COLUMNS", "legs_of", "numbers_of", "said_of_line", "short_legs", "step_name"]

#: For each way to give a line: column → what its box is called, in the order in which the boxes are filled.
STEPS = {
    "legs": {"leg_mm": "Leg", "angle_deg": "Bend at its end", "twist_deg": "Twist from last bend"},
    "nodes": {"x_mm": "x", "y_mm": "y", "z_mm": "z", "label": "What is there"},
}
STEP_COLUMNS = {column.name: column for column in (*LEGS, *NODES)}
_PLENTY_MM = 10_000.0  # a leg that is long enough for any bend


def step_name(kind: str, number: int) -> str:
    """What one row of a line is called.

    >>> step_name("legs", 2), step_name("nodes", 1)
    ('leg 2', 'node 1')
    """
    return f"{kind.removesuffix('s')} {number}"


def numbers_of(rows: LineRows) -> list[dict[str, object]]:
    """Of each row: column → the number or text that stands there, None for a blank.

    Parameters
    ----------
    rows : of the line
    """
    return [{name: understood(text, STEP_COLUMNS[name]).value for name, text in row.items()} for row in rows.texts]


def legs_of(rows: LineRows) -> Legs | None:
    """The shape that the rows make so far; None where they make none yet.

    Parameters
    ----------
    rows : of the line; those of a leg whose bend leads nowhere yet end with that leg
    """
    values = numbers_of(rows)
    try:
        if rows.kind == "nodes":
            return line_from_nodes("x", [[row["x_mm"], row["y_mm"], row["z_mm"]] for row in values], tube="t", bender="b").legs
        bends = values[:-1]
        return Legs([row["leg_mm"] for row in values], [row["angle_deg"] for row in bends], [row["twist_deg"] or 0.0 for row in bends])
    except (ValueError, TypeError):
        return None


def said_of_line(fault: Fault, kind: str) -> str:
    """A fault of a line's file in the words of the boxes, with the leg or node that it is about.

    Parameters
    ----------
    fault : as it was found
    kind : ``legs`` or ``nodes``

    Examples
    --------
    >>> said_of_line(Fault("lines/rear.csv", 3, "angle_deg", "190.0°", "A bend turns by less.", ""), "legs")
    'Leg 2, Bend at its end: found 190.0°. A bend turns by less.'
    """
    mine = fault.file.startswith("lines/") and fault.row is not None
    where = step_name(kind, fault.row - 1) if mine else fault.place
    box = STEPS[kind].get(fault.column, "") if mine else ""
    words = " ".join(part for part in (f"found {fault.found}." if fault.found else "", fault.rule, fault.remedy) if part)
    return f"{', '.join(part for part in (where[:1].upper() + where[1:], box) if part)}: {words}"


def short_legs(rows: LineRows, radius_mm: float) -> dict[int, str]:
    """The legs that have no room for the bends at their ends: number → sentence.

    Parameters
    ----------
    rows : of the line; after a last bend any leg may still follow
    radius_mm : centreline radius of its bends [mm]
    """
    if rows.kind == "legs" and rows.rows and rows.texts[-1]["angle_deg"]:
        rows = rows.put_in(len(rows.rows), {"leg_mm": _PLENTY_MM})  # what follows the bend is still to be entered
    try:
        legs = legs_of(rows)
        if legs is not None:
            check_straights(legs, radius_mm)
    except LegTooShort as error:
        return {
            leg: f"Leg {leg} is too short for the bends at its ends, whose radius is {radius_mm:.1f} mm: {missing:.1f} mm is missing."
            for leg, missing in zip(error.leg, error.missing_mm, strict=True)
        }
    return {}
