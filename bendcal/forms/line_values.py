"""What is typed of a line, its facts and one of its legs or nodes: what it means, what stands in the way, what is asked.

No box and no browser is needed for any of it; the form only shows what stands here.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from bendcal.entries import ROW_KINDS, LineRows, begin_line, change_facts, faults_of_shape, put_shape
from bendcal.faults import ShopFaults
from bendcal.files import LINES, Column
from bendcal.forms.line_shape import STEP_COLUMNS, STEPS, said_of_line, short_legs, step_name
from bendcal.forms.understood import Understood, understood, understood_name
from bendcal.shop import Shop
from bendcal.twists import describe_twist

__all__ = ["FACTS", "FACT_HINTS", "HINTS", "LineFacts", "LineStep", "kind_of"]

#: Column → what its box is called, in the order in which the boxes are filled.
FACTS = {
    "line": "Line", "tube": "Tube", "bender": "Bender", "service": "It carries", "end_a": "End A", "end_b": "End B",
    "trim_at": "Trim at end", "given_by": "Entered by", "note": "Note",
}  # fmt: skip
FACT_HINTS = {
    "line": "a name; choose one to go on with it", "service": "brake, clutch, fuel or other", "end_a": "may stay empty", "end_b": "may stay empty",
    "trim_at": "B if empty", "given_by": "legs, or nodes", "note": "may stay empty",
}  # fmt: skip
HINTS = {
    "leg_mm": 'such as 92.5 or 3 5/8"', "angle_deg": "0 is straight, 90 is square", "twist_deg": "0 goes on, 180 turns back",
    "x_mm": "mm", "y_mm": "mm", "z_mm": "mm", "label": "may stay empty",
}  # fmt: skip
_FACT_COLUMNS = {column.name: column for column in LINES}
_FACT_COLUMNS["service"] = replace(_FACT_COLUMNS["service"], filled=True)  # its cautions hang on it, so it is asked for
_GIVEN_BY = Column("given_by", "choice", choices=tuple(ROW_KINDS))


def kind_of(text: str) -> str:
    """Legs, where nothing else was said.

    >>> kind_of(""), kind_of("Nodes")
    ('legs', 'nodes')
    """
    told = understood(text, _GIVEN_BY).value
    return str(told or "legs")


@dataclass(frozen=True)
class LineFacts:
    """The texts of a line's facts as they were typed.

    Attributes
    ----------
    texts : column → text, and ``given_by``

    Examples
    --------
    >>> LineFacts({"line": "rear", "tube": "thin", "bender": "small"}).blockers()
    ('Still to fill in: It carries.',)
    """

    texts: Mapping[str, str] = field(default_factory=dict)

    def understood(self, shop: Shop | None = None) -> dict[str, Understood]:
        """Column → what was understood of its text.

        Parameters
        ----------
        shop : whose tubes, benders and ends are meant; None where it cannot be read, and then any name is taken
        """
        told = {name: understood(self.texts.get(name, ""), _FACT_COLUMNS.get(name, _GIVEN_BY)) for name in FACTS}
        if shop is not None:
            for name, names in (("tube", shop.tubes), ("bender", shop.benders), ("end_a", shop.ends), ("end_b", shop.ends)):
                told[name] = understood_name(self.texts.get(name, ""), names, name.partition("_")[0], needed=name in ("tube", "bender"))
        return told

    def blockers(self, shop: Shop | None = None) -> tuple[str, ...]:
        """What stands in the way of beginning the line, or of changing it, one sentence each."""
        return _blockers(self.understood(shop), FACTS)

    def begin(self, folder: str | os.PathLike[str], shop: Shop | None = None) -> None:
        """Begin the line; it is on the disk before this returns.

        Raises
        ------
        ValueError : where something stands in the way; nothing is written
        OSError : where it cannot be written; the sentence says why
        """
        self._free(shop)
        begin_line(Path(folder), self._values(shop), kind_of(self.texts.get("given_by", "")))

    def change(self, folder: str | os.PathLike[str], line: str, shop: Shop | None = None) -> None:
        """Change the facts of a line that is there. Raises as :meth:`begin`."""
        self._free(shop)
        values = self._values(shop)
        change_facts(Path(folder), line, {name: text for name, text in values.items() if name != "line"})

    def _free(self, shop: Shop | None) -> None:
        if blockers := self.blockers(shop):
            raise ValueError(" ".join(blockers))

    def _values(self, shop: Shop | None) -> dict[str, str]:
        return {name: str(each.value or "") for name, each in self.understood(shop).items() if name != "given_by"}


@dataclass(frozen=True)
class LineStep:
    """The texts of one leg, or of one node, as they were typed.

    Attributes
    ----------
    kind : ``legs`` or ``nodes``
    texts : column → text
    number : which one it is, 1 at end A

    Examples
    --------
    >>> LineStep("legs", {"leg_mm": '3 5/8"', "angle_deg": "92,5", "twist_deg": "-90"}, 2).understood()["leg_mm"].words
    '92.075 mm (3 5/8")'
    >>> LineStep("legs", {"leg_mm": "80"}, 1).asked()
    ('No bend stands at its end: leg 1 is the last one then, and ends at end B.',)
    """

    kind: str
    texts: Mapping[str, str] = field(default_factory=dict)
    number: int = 1

    def understood(self) -> dict[str, Understood]:
        """Column → what was understood of its text."""
        told = {name: understood(self.texts.get(name, ""), STEP_COLUMNS[name]) for name in STEPS[self.kind]}
        if self.kind == "legs":
            if told["twist_deg"].value is not None:
                twist = told["twist_deg"]
                told["twist_deg"] = replace(twist, words=f"{twist.words}: {_twist_words(twist.value)}")
            elif self.number > 1 and told["angle_deg"].value is not None and not told["twist_deg"].wrong:
                told["twist_deg"] = Understood(missing=True)
        return told

    def blockers(self, folder: str | os.PathLike[str] | None = None, line: str = "", rows: LineRows | None = None, *, place: int = 0, over: bool = False) -> tuple[str, ...]:
        """What stands in the way of recording it, one sentence each: what, and what to do.

        Parameters
        ----------
        folder, line, rows : the shop folder, the line's name, and its rows as they stand; None judges the texts alone
        place, over : as for :meth:`within`
        """
        wrong = _blockers(self.understood(), STEPS[self.kind])
        if wrong or folder is None or rows is None:
            return wrong
        if not over and place == len(rows.rows) and self.kind == "legs" and place and not rows.texts[-1]["angle_deg"]:
            last = step_name(self.kind, place)
            return (f"No bend stands at the end of {last}, so the line ends there. Correct {last} first: write the bend at its end.",)
        try:
            return tuple(said_of_line(fault, self.kind) for fault in faults_of_shape(Path(folder), line, self.within(rows, place, over=over)))
        except ShopFaults as error:
            return tuple(said_of_line(fault, self.kind) for fault in error.faults)

    def asked(self, rows: LineRows | None = None, *, place: int = 0, over: bool = False, radius_mm: float | None = None) -> tuple[str, ...]:
        """What looks odd, though it may be so: asked, and never refused.

        Parameters
        ----------
        rows, place, over : as for :meth:`within`; None asks about the texts alone
        radius_mm : centreline radius of the line's bends [mm], where it is known
        """
        asked = []
        told = self.understood()
        last = rows is None or place >= len(rows.rows) - over
        if self.kind == "legs" and last and told["leg_mm"].fine and told["angle_deg"].value is None and not told["angle_deg"].wrong:
            asked.append(f"No bend stands at its end: {step_name(self.kind, self.number)} is the last one then, and ends at end B.")
        if rows is not None and radius_mm and not _blockers(told, STEPS[self.kind]):
            before = short_legs(rows, radius_mm)
            asked += [sentence for leg, sentence in short_legs(self.within(rows, place, over=over), radius_mm).items() if leg not in before]
        return tuple(asked)

    def within(self, rows: LineRows, place: int, *, over: bool = False) -> LineRows:
        """A line's rows with this one among them.

        Parameters
        ----------
        rows : as they stand
        place : from 0, where it is to stand
        over : whether it takes the place of the row that is there
        """
        values = {name: each.value for name, each in self.understood().items()}
        return rows.change(place, values) if over else rows.put_in(place, values)

    def record(self, folder: str | os.PathLike[str], line: str, rows: LineRows, place: int, *, over: bool = False) -> LineRows:
        """Write it into the line's own file; it is on the disk before this returns.

        Raises
        ------
        ValueError : where something stands in the way; nothing is written
        OSError : where it cannot be written; the sentence says why
        """
        if blockers := self.blockers(folder, line, rows, place=place, over=over):
            raise ValueError(" ".join(blockers))
        more = self.within(rows, place, over=over)
        before = LineStep.shown(rows, place) if over else "nothing there" if place < len(rows.rows) else ""
        put_shape(Path(folder), line, more, what=step_name(self.kind, self.number), before=before, after=LineStep.shown(more, place))
        return more

    @staticmethod
    def of(rows: LineRows, place: int) -> LineStep:
        """The texts that stand in a row."""
        return LineStep(rows.kind, {name: rows.texts[place][name] for name in STEPS[rows.kind]}, place + 1)

    @staticmethod
    def shown(rows: LineRows, place: int) -> str:
        """A row in one short text, for the history."""
        units = {"leg_mm": " mm", "angle_deg": "°", "twist_deg": "° twist"}
        return ", ".join(f"{text}{units.get(name, '')}" for name, text in rows.texts[place].items() if text)


def _twist_words(twist_deg: float) -> str:
    """A twist as short as it fits beside its box."""
    words = describe_twist(twist_deg)
    turned = "the next bend points"
    return words if not words.startswith(turned) else f"{words.removeprefix(turned).partition(',')[0].strip()}, seen from A"


def _blockers(told: Mapping[str, Understood], names: Mapping[str, str]) -> tuple[str, ...]:
    wrong = [f"{names[name]}: {each.wrong}" for name, each in told.items() if each.wrong]
    if missing := [names[name] for name, each in told.items() if each.missing]:
        wrong.append(f"Still to fill in: {', '.join(missing)}.")
    return tuple(wrong)
