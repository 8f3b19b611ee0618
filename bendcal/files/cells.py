"""What one cell may hold, and how cells, headers and names are compared."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches

from bendcal.measures import NotAMeasure, angle_deg, length_mm, number, stress

__all__ = ["Column", "cell_value", "header_key", "name_key", "tidy"]

_PARSERS: dict[str, Callable[..., float]] = {
    "length": length_mm,
    "angle": angle_deg,
    "number": number,
    "GPa": lambda text, *, decimal: stress(text, "GPa", decimal=decimal),
    "MPa": lambda text, *, decimal: stress(text, "MPa", decimal=decimal),
}
_MOST = {"length": 1e5, "angle": 1e4}  # [mm] 100 m of tube, [deg]; a slipped sign goes further
_MOST_ELSE = 1e7
_ALSO_CALLED = {"center": "centre", "centreline": "centre", "centerline": "centre"}


@dataclass(frozen=True)
class Column:
    """One column that a table knows.

    Parameters
    ----------
    name : the header
    kind : ``text``, ``length``, ``angle``, ``number``, ``GPa``, ``MPa`` or ``choice``
    required : whether the header must have it
    filled : whether no cell may be blank; a blank number is None, a blank text ""
    choices : the words that a choice may be, in any case
    least, above : smallest value allowed, or a value that it must exceed
    """

    name: str
    kind: str = "text"
    required: bool = False
    filled: bool = False
    choices: tuple[str, ...] = ()
    least: float | None = None
    above: float | None = None


def cell_value(cell: str, column: Column, *, decimal: str | None = None) -> object:
    """The value of one cell: a number, a text, or None for a number that is blank.

    Parameters
    ----------
    cell : its text, without blanks around it
    column : what it may hold
    decimal : as for :func:`bendcal.measures.number`

    Raises
    ------
    NotAMeasure : what is wrong with it

    Examples
    --------
    >>> cell_value("3/16 in", Column("od_mm", "length"))
    4.7625
    """
    if not cell:
        if column.filled:
            raise NotAMeasure("", "may not be left blank", f"Fill in {column.name}.")
        return "" if column.kind in ("text", "choice") else None
    if column.kind == "text":
        if column.filled and cell.startswith("#") and cell.endswith(("!", "?", "/A", "#")):
            raise NotAMeasure(cell, "is an error message of a spreadsheet", "Mend the formula there.")
        if column.filled and not cell.isprintable():
            raise NotAMeasure(cell, "holds a character that does not show", "Type the name again.")
        return cell
    if column.kind == "choice":
        return _choice(cell, column)
    value = _PARSERS[column.kind](cell, decimal=decimal)
    if abs(value) > (most := _MOST.get(column.kind, _MOST_ELSE)):
        raise NotAMeasure(cell, f"is beyond {most:g}, where nothing of a shop's is", "Look for a slipped decimal sign.")
    if column.least is not None and value < column.least:
        raise NotAMeasure(cell, f"is less than {column.least:g}", f"The least for {column.name} is {column.least:g}.")
    if column.above is not None and value <= column.above:
        raise NotAMeasure(cell, f"is not more than {column.above:g}", f"A value of {column.name} is more than {column.above:g}.")
    return value


def _choice(cell: str, column: Column) -> str:
    key = re.sub(r"[\s_-]+", " ", cell.casefold()).strip()
    key = _ALSO_CALLED.get(key, key)
    for choice in column.choices:
        if key == choice.casefold():
            return choice
    words = ", ".join(column.choices)
    near = get_close_matches(key, [choice.casefold() for choice in column.choices], n=1)
    hint = f" Perhaps {near[0]} is meant." if near else ""
    raise NotAMeasure(cell, f"is none of: {words}", f"Write one of these.{hint}")


def tidy(cell: str) -> str:
    """A cell without the blanks around it, those that do not show included."""
    return cell.strip().strip("\u200b\ufeff\u00a0").strip()


def header_key(cell: str) -> str:
    """A header as it is compared: ``Length (mm)`` is length_mm.

    >>> header_key(" Length (mm) ")
    'length_mm'
    """
    return re.sub(r"[^a-z0-9]+", "_", unicodedata.normalize("NFKC", cell).casefold()).strip("_")


def name_key(name: str) -> str:
    """A name as it is compared: case, spacing and the way an accent is stored do not count.

    >>> name_key("Small  Bender") == name_key("small bender")
    True
    """
    return " ".join(unicodedata.normalize("NFC", name).casefold().split())
