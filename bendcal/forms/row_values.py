"""What is typed of one row of a table (bender, tube, tool, end, practice flare, tube on hand, body, obstacle, reading of a pattern): what it means, what stands in the way, its adding."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from bendcal.entries import FACT_COLUMNS, add_row, columns_for, correct_row, kind_of, row_texts, would_be
from bendcal.faults import Caution, Fault, ShopFaults
from bendcal.forms.understood import Understood, understood

__all__ = ["FIELDS", "HINTS", "RowValues"]

_PLACE = {
    "shape": "Shape", "x_mm": "x of one end", "y_mm": "y of one end", "z_mm": "z of one end", "to_x_mm": "x of the other end", "to_y_mm": "y of the other end",
    "to_z_mm": "z of the other end", "width_mm": "Width", "height_mm": "Height", "diameter_mm": "Diameter", "turn_deg": "Turn of a box",
}  # fmt: skip
_NAMES = {
    "tool": {"tool": "Name", "measures": "Measures", "step": "Finest division", "sd": "Scatter of a reading"},
    "bender": {
        "bender": "Name", "die_radius_mm": "Radius of the die", "dial_step_deg": "Division of the dial", "dial_max_deg": "End of the dial",
        "min_leg_mm": "Straight before bends", "min_between_mm": "Straight between bends", "min_last_mm": "Straight after bends", "note": "Note",
    },
    "tube": {
        "tube": "Name", "alloy": "Metal", "od_mm": "Outside diameter", "wall_mm": "Wall", "temper": "Temper", "e_gpa": "Stiffness E",
        "yield_mpa": "Yield strength", "k_mpa": "Hardening K", "n": "Hardening n", "note": "Note",
    },
    "end": {
        "end": "Name", "form": "Form", "uses_mm": "Uses of the tube", "uses_sd_mm": "Known to within", "straight_mm": "Straight behind it",
        "nut_mm": "Straight for the nut", "nut_flats_mm": "Spanner of the nut", "nut_length_mm": "Length of the nut", "note": "Note",
    },
    "flare": {
        "end": "End", "before_mm": "Length before", "after_mm": "Length after", "length_tool": "Measured with", "date": "Date",
        "note": "Note", "set_aside": "Set aside, because",
    },
    "stock": {"piece": "Name", "tube": "Tube", "length_mm": "Length of one", "form": "Coil or straight", "count": "How many", "note": "Note"},
    "body": {"body": "What it is", "bender": "Bender", **_PLACE, "moves": "Goes with", "grip_mm": "Tube it holds", "note": "Note"},
    "obstacle": {"obstacle": "What it is", "line": "Line", **_PLACE, "keep_mm": "Distance to keep", "why": "Why", "note": "Note"},
    "reading": {
        "what": "What was measured", "from": "From", "to": "To", "length_mm": "Length", "angle_deg": "Angle", "x_mm": "x", "y_mm": "y", "z_mm": "z, upwards",
        "sd": "Scatter of it", "tool": "Measured with", "set_aside": "Set aside, because", "note": "Note",
    },
}  # fmt: skip

_FEW = 5  # faults that are told at once

#: Table → column → what its box is called, in the order of the boxes; a column without a name of its own comes last.
FIELDS = {
    noun: {name: called for name, called in _NAMES[noun].items() if name in {c.name for c in columns}}
    | {c.name: c.name.replace("_", " ").capitalize() for c in columns if c.name not in _NAMES[noun]}
    for noun, columns in FACT_COLUMNS.items()
}

_PLACED = {
    "shape": "choose", "x_mm": "of a sphere its middle", "y_mm": "of a wall a point of its face", "z_mm": "level with the tube: 0", "to_x_mm": "of a wall: off it, free side",
    "to_y_mm": "of a sphere: empty", "to_z_mm": "of a sphere: empty", "width_mm": "of a box", "height_mm": "of a box", "diameter_mm": "of what is round",
    "turn_deg": "about its length, 0 if empty",
}  # fmt: skip
#: What stands in an empty box.
HINTS = {
    "tool": {"tool": "such as protractor", "measures": "angle or length", "step": "such as 0.5", "sd": "if in doubt, as the division"},
    "bender": {
        "bender": "one name for each die", "die_radius_mm": "to the middle of the groove", "dial_step_deg": "such as 1",
        "dial_max_deg": "such as 180", "min_leg_mm": "may stay empty", "min_between_mm": "may stay empty", "min_last_mm": "may stay empty",
    },
    "tube": {
        "tube": "such as cuni-3/16", "alloy": "choose, or type a name", "od_mm": "such as 4.76 or 3/16 in", "wall_mm": "such as 0.71",
        "e_gpa": "only for other metals", "yield_mpa": "only for other metals", "k_mpa": "only for other metals", "n": "only for other metals",
    },
    "end": {
        "end": "such as m10-double", "form": "choose", "uses_mm": "beyond the seat, such as 5", "uses_sd_mm": "such as 0.5",
        "straight_mm": "for nut and flaring tool", "nut_mm": "may stay empty", "nut_flats_mm": "across its flats, such as 11",
        "nut_length_mm": "the nut alone, such as 15",
    },
    "flare": {"end": "an end of this shop", "before_mm": "straight piece", "after_mm": "cut end to seat", "date": "today's if empty"},
    "stock": {
        "piece": "as it is written on it", "tube": "a tube of this shop", "length_mm": "what is left of it", "form": "straight if empty",
        "count": "1 if empty; 0: used up", "note": "may stay empty",
    },
    "body": {"body": "such as vice", "bender": "a bender of this shop", **_PLACED, "moves": "die if empty", "grip_mm": "may stay empty"},
    "obstacle": {"obstacle": "such as exhaust", "line": "every line if empty", **_PLACED, "keep_mm": "such as 50", "why": "hot, moving, sharp"},
    "reading": {
        "what": "choose", "from": "A, B, a bend's number", "to": "the next place", "length_mm": "of a leg, a distance", "angle_deg": "of an angle, a twist",
        "x_mm": "of a point", "y_mm": "of a point", "z_mm": "of a point", "sd": "if not the tool's", "tool": "may stay empty", "set_aside": "empty: it counts",
    },
}  # fmt: skip


@dataclass(frozen=True)
class RowValues:
    """The texts of one row as they were typed.

    Attributes
    ----------
    noun : ``bender``, ``tube``, ``tool``, ``end``, ``flare``, ``stock``, ``body``, ``obstacle``, or ``reading/LINE``
    texts : column → text

    Examples
    --------
    >>> RowValues("tube", {"tube": "brake", "od_mm": "3/16 in"}).blockers("no such folder")
    ('Still to fill in: Metal, Wall.',)
    """

    noun: str
    texts: Mapping[str, str] = field(default_factory=dict)

    def understood(self) -> dict[str, Understood]:
        """Column → what was understood of its text."""
        columns = {column.name: column for column in columns_for(self.noun, self.texts)}
        return {name: understood(self.texts.get(name, ""), columns[name]) for name in FIELDS[kind_of(self.noun)]}

    def blockers(self, folder: str | os.PathLike[str]) -> tuple[str, ...]:
        """What stands in the way of adding the row, one sentence each.

        Parameters
        ----------
        folder : the shop folder whose other rows and tables count
        """
        return self._typed_wrong() or tuple(self._sentence(fault) for fault in would_be(folder, self.noun, self.texts)[0])

    def _typed_wrong(self) -> tuple[str, ...]:
        told = self.understood()
        wrong = [f"{FIELDS[kind_of(self.noun)][name]}: {each.wrong}" for name, each in told.items() if each.wrong]
        if missing := [FIELDS[kind_of(self.noun)][name] for name, each in told.items() if each.missing]:
            wrong.append(f"Still to fill in: {', '.join(missing)}.")
        return tuple(wrong)

    def add(self, folder: str | os.PathLike[str]) -> Path:
        """Add the row to its table; it is on the disk before this returns.

        Raises
        ------
        ValueError : where something stands in the way; nothing is written
        OSError : where it cannot be written; the sentence says why
        """
        if blockers := self.blockers(folder):
            raise ValueError(" ".join(blockers))
        return add_row(folder, self.noun, self.texts)

    def correct(self, folder: str | os.PathLike[str], place: int, before: Mapping[str, str]) -> dict[str, tuple[str, str]]:
        """Write it over a row that is there; what stood there is kept in the history.

        Parameters
        ----------
        folder, place, before : as for :func:`bendcal.entries.correcting.correct_row`

        Returns
        -------
        what the box is called → (what stood there, what stands there now), of what was changed

        Raises
        ------
        ValueError : where something stands in the way; nothing is written
        OSError : where it cannot be written; the sentence says why
        """
        if wrong := self._typed_wrong():
            raise ValueError(" ".join(wrong))
        try:
            changed = correct_row(folder, self.noun, place, self.texts, before=before)
        except ShopFaults as error:
            raise ValueError(" ".join(self._sentence(fault) for fault in error.faults[:_FEW])) from None
        return {FIELDS[kind_of(self.noun)][name]: told for name, told in changed.items()}

    @staticmethod
    def of(folder: str | os.PathLike[str], noun: str, place: int) -> RowValues:
        """The texts that stand in a row."""
        return RowValues(noun, row_texts(folder, noun, place))

    def _sentence(self, remark: Fault | Caution) -> str:
        name = FIELDS[kind_of(self.noun)].get(remark.column, f"The {kind_of(self.noun)}")
        found = f"found {remark.found}. " if remark.found else ""
        return f"{name}: {found}{remark.rule} {remark.remedy}".strip()
