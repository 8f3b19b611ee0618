"""What is typed of one offcut: what it means, what stands in the way, what is asked, and its recording.

No box and no browser is needed for any of it; the form only shows what stands here.
"""

from __future__ import annotations

import datetime
import os
from collections.abc import Mapping
from dataclasses import dataclass, fields
from math import hypot

from bendcal.entries import append_offcut, correct_offcut, next_name
from bendcal.faults import Caution, Fault, ShopFaults
from bendcal.files import OFFCUTS, Column, name_key
from bendcal.forms.chord_values import CHORD, angle_by_chord, chord_column, chord_note, keep_chord_tool, with_chord
from bendcal.forms.understood import Understood, understood, understood_name
from bendcal.law import Law
from bendcal.offcuts import Offcut
from bendcal.plausible import check_offcut
from bendcal.shop import Shop
from bendcal.tools import DEFAULT_LENGTH_TOOL

__all__ = ["FIELDS", "NAMES", "OffcutValues"]

#: Column → what its box is called, in the order of the work at the bench.
FIELDS = {
    "bender": "Bender", "tube": "Tube", "length_mm": "Straight length", "mark_mm": "End A to mark",
    "dial_deg": "Dial, lever held", "angle_deg": "Finished angle", "leg_a_mm": "Leg A", "leg_b_mm": "Leg B",
    "legs_to": "Legs measured to", "smallest_mm": "Smallest diameter", "largest_mm": "Largest diameter", "angle_tool": "Angle read with", "length_tool": "Lengths read with",
    "offcut": "Name of the piece", "note": "Note", "set_aside": "Set aside, because",
}  # fmt: skip
#: The same, and the boxes for an angle by a chord.
NAMES = FIELDS | CHORD
_COLUMNS = {column.name: column for column in OFFCUTS}
_STRANGE = 4.0  # standard uncertainties from what the law expects: beyond it a reading is asked about


@dataclass(frozen=True)
class OffcutValues:
    """The texts of one offcut as they were typed; a blank one was not filled in."""

    bender: str = ""
    tube: str = ""
    length_mm: str = ""
    mark_mm: str = ""
    dial_deg: str = ""
    angle_deg: str = ""
    leg_a_mm: str = ""
    leg_b_mm: str = ""
    legs_to: str = ""
    angle_tool: str = ""
    length_tool: str = ""
    offcut: str = ""
    note: str = ""
    set_aside: str = ""
    reach_mm: str = ""
    chord_mm: str = ""
    chord_tool: str = ""
    smallest_mm: str = ""
    largest_mm: str = ""

    def understood(self, shop: Shop | None = None) -> dict[str, Understood]:
        """Column → what was understood of its text.

        Parameters
        ----------
        shop : whose benders, tubes and tools are meant; None where it cannot be read, and then any name is taken

        Examples
        --------
        >>> OffcutValues(dial_deg="92,5").understood()["dial_deg"].words
        '92.5°'
        """
        told = {name: understood(getattr(self, name), _column(name)) for name in NAMES}
        if shop is not None:
            tools = {kind: [t.tool for t in shop.tools.values() if t.measures == kind] for kind in ("angle", "length")}
            told |= {
                "bender": understood_name(self.bender, shop.benders, "bender"),
                "tube": understood_name(self.tube, shop.tubes, "tube"),
            }
            if not self.offcut.strip():
                told["offcut"] = _next(shop, told["bender"].value, told["tube"].value)
            if shop.tools:
                tools["chord"] = tools["length"]
                told |= {
                    f"{kind}_tool": understood_name(getattr(self, f"{kind}_tool"), names, f"tool for {kind}s".replace("chord", "length"), needed=False)
                    for kind, names in tools.items()
                }
        return with_chord(told, self._chord_u(told, shop))

    def blockers(self, shop: Shop | None = None) -> tuple[str, ...]:
        """What stands in the way of recording, one sentence each: what, and what to do.

        Examples
        --------
        >>> OffcutValues("s", "t", "200", "90", "92", "9o").blockers()
        ('Finished angle: "9o" is not an angle in degrees. Write an angle in degrees, such as 92.5.',)
        """
        return tuple(sentence for sentence, _ in self.blocked(shop))

    def blocked(self, shop: Shop | None = None) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """The same with the boxes that each is about: (sentence, columns)."""
        told = self.understood(shop)
        wrong = [(f"{NAMES[name]}: {each.wrong}", (name,)) for name, each in told.items() if each.wrong]
        if missing := tuple(name for name, each in told.items() if each.missing):
            wrong.append((f"Still to fill in: {', '.join(NAMES[name] for name in missing)}.", missing))
        if not wrong:
            wrong = [_said(fault) for fault in self._checked(shop)[0]]
        return tuple(wrong)

    def questions(self, shop: Shop | None = None, law: Law | None = None) -> tuple[str, ...]:
        """What looks odd, though it may be so: asked, and never refused.

        Parameters
        ----------
        shop : the shop
        law : what other pieces have taught of this bender with this tube, or None
        """
        return tuple(sentence for sentence, _ in self.asked(shop, law))

    def asked(self, shop: Shop | None = None, law: Law | None = None) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """The same with the boxes that each is about: (sentence, columns)."""
        told = self.understood(shop)
        if not all(each.fine for each in told.values()) or self.set_aside.strip():
            return ()
        asked = [_said(caution) for caution in self._checked(shop)[1]]
        if law is not None:
            expected = law.finished_angle(told["dial_deg"].value)
            angle, tool = told["angle_deg"].value, self._offcut(shop)
            u = hypot(float(expected.u), shop.angle_tool(tool).u if shop else 0.5)
            if abs(angle - float(expected.value)) > _STRANGE * u:
                low, high = expected.interval(0.95)
                sentence = (
                    f"{FIELDS['angle_deg']}: you read {angle:g}° at a dial of {told['dial_deg'].value:g}°; by the other pieces the "
                    f"next bend would finish at {float(expected.value):.1f}° (95 %: {float(low):.1f} to {float(high):.1f}). Is it so?"
                )
                asked.append((sentence, ("dial_deg", "angle_deg")))
        return (*asked, *self._asked_of_chord(told, shop))

    def record(self, folder: str | os.PathLike[str], shop: Shop | None = None, *, instead_of: str = "", date: datetime.date | None = None) -> Offcut:
        """Append the offcut to the shop's log; it is on the disk before this returns.

        Parameters
        ----------
        folder : the shop folder
        shop : as for :meth:`understood`
        instead_of : a piece whose row this corrects; it is set aside and stays in the log
        date : of the bend; None is today

        Raises
        ------
        ValueError : where something stands in the way; nothing is written
        OSError : where it cannot be written; the sentence says why
        """
        if blockers := self.blockers(shop):
            raise ValueError(" ".join(blockers))
        told = self.understood(shop)
        values = {name: told[name].value for name in FIELDS}
        values["note"] = "; ".join(part for part in (values["note"], chord_note(told)) if part)
        if not self.angle_deg.strip():
            values["angle_tool"] = keep_chord_tool(folder, values["angle_tool"], shop)
        values["offcut"] = values["offcut"] or None
        values["legs_to"] = values["legs_to"] or "centre"
        values["date"] = date or datetime.date.today()
        try:
            return _keep(folder, instead_of, values)
        except ShopFaults as error:
            if self.offcut.strip() or any(fault.column != "offcut" for fault in error.faults):
                raise
            # Another notebook took the next number in the meantime.
            return _keep(folder, instead_of, values | {"offcut": None})

    @staticmethod
    def of(offcut: Offcut) -> OffcutValues:
        """The texts that would give this offcut's readings again, without its name.

        Examples
        --------
        >>> OffcutValues.of(Offcut("7", "small", "thin", 200.0, 90, 92.5, 90)).dial_deg
        '92.5'
        """
        texts = {}
        for each in fields(Offcut):
            if each.name not in FIELDS:
                continue
            value = getattr(offcut, each.name)
            texts[each.name] = "" if value is None else value if isinstance(value, str) else _figure(value)
        return OffcutValues(**texts | {"offcut": "", "set_aside": ""})

    def _offcut(self, shop: Shop | None) -> Offcut:
        told = self.understood(shop)
        values: Mapping = {name: told[name].value for name in FIELDS}
        return Offcut(**{**values, "offcut": values["offcut"] or "new", "legs_to": values["legs_to"] or "centre"})

    def _chord_u(self, told: Mapping[str, Understood], shop: Shop | None) -> float:
        """Standard uncertainty of the lengths of a chord [mm]."""
        named = told["chord_tool"].value or told["length_tool"].value
        return (shop.tools.get(named, DEFAULT_LENGTH_TOOL) if shop else DEFAULT_LENGTH_TOOL).u

    def _asked_of_chord(self, told: Mapping[str, Understood], shop: Shop | None) -> list[tuple[str, tuple[str, ...]]]:
        """A typed angle that the chord contradicts."""
        angle = angle_by_chord(told, self._chord_u(told, shop))
        if angle is None or shop is None:
            return []
        u, tool = float(angle.u), shop.angle_tool(self._offcut(shop))
        if self.angle_deg.strip() and abs(told["angle_deg"].value - float(angle.value)) > _STRANGE * hypot(u, tool.u):
            return [(f"{FIELDS['angle_deg']}: you read {told['angle_deg'].value:g}°; the chord tells {angle}. Which is it? What is typed as angle counts.", ("angle_deg", "chord_mm"))]
        return []

    def _checked(self, shop: Shop | None) -> tuple[list[Fault], list[Caution]]:
        if shop is None:  # then the log's own check is the only one
            return [], []
        piece = self._offcut(shop)
        return check_offcut(
            piece, bender=shop.benders[piece.bender], tube=shop.tubes[piece.tube],
            angle_u_deg=shop.angle_tool(piece).u, length_u_mm=shop.length_tool(piece).u,
        )  # fmt: skip


def _column(name: str) -> Column:
    # A piece without a name of its own gets the next number.
    if name in CHORD:
        return chord_column(name)
    return Column("offcut") if name == "offcut" else _COLUMNS[name]


def _keep(folder: str | os.PathLike[str], instead_of: str, values: dict[str, object]) -> Offcut:
    return correct_offcut(folder, instead_of, **values) if instead_of else append_offcut(folder, **values)


def _next(shop: Shop, bender: object, tube: object) -> Understood:
    """The next number in the way of this pair's pieces, where that is free; else of the whole log's."""
    taken = {name_key(o.offcut) for o in shop.offcuts}
    mine = [o.offcut for o in shop.offcuts if (o.bender, o.tube) == (bender, tube)]
    for names in (mine, [o.offcut for o in shop.offcuts]):
        name = next_name(names)
        if names and name_key(name) not in taken:
            return Understood(name, f"{name}, the next number")
    return Understood("")


def _figure(value: float) -> str:
    return f"{value:.0f}" if float(value).is_integer() else repr(float(value))


def _said(remark: Fault | Caution) -> tuple[str, tuple[str, ...]]:
    """A remark about a row, as it is said to somebody at the boxes, and the box that it is about."""
    told = f"{FIELDS.get(remark.column, 'The piece')}: {remark.found}. {remark.rule} {remark.remedy}".strip()
    told = told.replace("write the reason into set_aside", f"write the reason under “{FIELDS['set_aside']}”")
    return told, (remark.column,) if remark.column in FIELDS else ()
