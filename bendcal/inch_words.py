"""Sentences for people who measure in inches: each length in mm with its inches behind it."""

from __future__ import annotations

import re

from bendcal.measures import inch_text

__all__ = ["ROUNDED", "with_inches"]

#: To stand once where inches are printed: added up, or read back into mm, they do not give the mm beside them.
ROUNDED = "The mm decide: inches are rounded to the nearest thirty-second."

#: A length, unless its inches stand behind it.
_LENGTH = re.compile(r'(?<![\d.])(\d+(?:\.\d+)?) mm\b(?! \([^)]*")')

#: Behind a × this length or more is that of several alike pieces; a smaller one is a wall: "4.76 × 0.71 mm" is a tube's
#: name rather than a length to be set off [mm].
_NO_WALL_MM = 10.0


def with_inches(sentence: str, inches: bool = True) -> str:
    """A sentence whose lengths are given in inches too, to the nearest thirty-second.

    Parameters
    ----------
    sentence : text with lengths such as ``929.8 mm``; one that stands in inches already, or is less than half a
        thirty-second, is left as it is
    inches : False gives the sentence as it is

    Examples
    --------
    >>> with_inches("Cut 929.8 mm, square; the tube is 4.76 × 0.71 mm and came out 0.2 mm thick.")
    'Cut 929.8 mm (36 19/32"), square; the tube is 4.76 × 0.71 mm and came out 0.2 mm thick.'
    >>> with_inches("3 × 100 mm for practice")
    '3 × 100 mm (3 15/16") for practice'
    """
    if not inches:
        return sentence

    def both(found: re.Match[str]) -> str:
        mm = float(found[1])
        text = inch_text(mm)
        wall = mm < _NO_WALL_MM and sentence[: found.start()].endswith("× ")
        return found[0] if wall or text == '0"' else f"{found[0]} ({text})"

    return _LENGTH.sub(both, sentence)
