"""The words of the form for offcuts: what it asks for, how it is used, what it says was kept."""

from __future__ import annotations

import datetime
import warnings
from collections.abc import Callable

from bendcal.offcuts import CROSSINGS, Offcut
from bendcal.shop import Shop

__all__ = ["CALIPER_HOW", "CHORD_HOW", "HINTS", "HOW", "SAMPLE_STAYS", "clock", "count_of", "in_words", "listening"]

#: What stands in an empty box.
HINTS = {
    "length_mm": 'such as 180.5 or 7 1/8"', "mark_mm": "such as 70", "dial_deg": "such as 92", "angle_deg": "0 is straight, 90 is square",
    "leg_a_mm": "may stay empty", "leg_b_mm": "may stay empty", "legs_to": CROSSINGS[0], "smallest_mm": "in the bend's plane", "largest_mm": "across it", "angle_tool": "may stay empty",
    "length_tool": "may stay empty", "offcut": "empty: the next number", "note": "may stay empty", "set_aside": "empty: it counts",
    "reach_mm": "such as 100", "chord_mm": "such as 141.4", "chord_tool": "may stay empty",
}  # fmt: skip
HOW = (
    "Type what you read: 92.5 or 92,5, with a unit or a fraction if you like (7 1/8\", 3/16 in). Tab goes to the next box, Enter records "
    "the piece. It is recorded when its boxes are empty again and a line tells the time and the count. Boxes that stay filled: not "
    "recorded. Buttons that do nothing, or red broken links: menu Run, then Run All Cells."
)
CHORD_HOW = (
    "Leave “Finished angle” empty. Scribe both legs equally far from the apex, on the centre lines, and measure straight from scribe to scribe; "
    "what the angle is, and how well it is known, stands beside its box. The two lengths are kept in the note, and “Angle read with” becomes a chord that is as good as yours was."
)
CALIPER_HOW = (
    "In the middle of the bend: the smallest diameter in the bend's own plane, from its inside to its outside; the largest square to that. On bends of "
    "30° and more. From a few of them you are told how flat a bend of a line will be, against what is allowed."
)
SAMPLE_STAYS = "This is the shipped sample, and it stays as it is. Press “Practise on a copy”, or begin a shop of your own on the start page."


def clock() -> str:
    """The time of day; that it moves on shows that the kernel is there.

    >>> len(clock())
    8
    """
    return datetime.datetime.now().strftime("%H:%M:%S")


def count_of(shop: Shop | None) -> str:
    """How many pieces the log holds.

    >>> count_of(Shop())
    'No pieces stand in offcuts.csv.'
    """
    if shop is None:
        return ""
    count, aside = len(shop.offcuts), sum(not o.counts for o in shop.offcuts)
    told = "One piece stands" if count == 1 else f"{count or 'No'} pieces stand"
    return f"{told} in offcuts.csv{f', {aside} set aside' if aside else ''}."


def in_words(piece: Offcut) -> str:
    """All that was kept, to be held against the pencil's note.

    >>> in_words(Offcut("7", "small", "thin", 200.0, 90.0, 92.0, 89.5, leg_a_mm=104.0))
    'thin on small, 200 mm long, mark at 90 mm, dial 92°, finished 89.5°, leg A 104 mm to the centre'
    """
    legs = [f"leg {end} {leg:.7g} mm" for end, leg in (("A", piece.leg_a_mm), ("B", piece.leg_b_mm)) if leg is not None]
    told = [
        f"{piece.tube} on {piece.bender}", f"{piece.length_mm:.7g} mm long", f"mark at {piece.mark_mm:.7g} mm", f"dial {piece.dial_deg:.6g}°",
        f"finished {piece.angle_deg:.6g}°",
    ]  # fmt: skip
    if legs:
        told.append(f"{' and '.join(legs)} to the {piece.legs_to}")
    told += [f"{name} diameter {value:.6g} mm" for name, value in (("smallest", piece.smallest_mm), ("largest", piece.largest_mm)) if value is not None]
    return ", ".join(told)


def listening(does: Callable[[], Offcut]) -> tuple[Offcut, tuple[str, ...]]:
    """The piece, and what was warned of while it was kept."""
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        piece = does()
    return piece, tuple(str(each.message) for each in told)
