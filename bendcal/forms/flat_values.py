"""A flat line from a picture, as typed: which picture, what was understood, what stands in the way, the recording."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from bendcal.files import Column, name_fault, tidy
from bendcal.forms.scan_values import KINDS, LINE, UNMOVED, line_on_glass, picture_files
from bendcal.forms.understood import Understood, blockers_of, understood, understood_name, understood_row
from bendcal.scan import PatternReading, read_flat_photos, read_flat_scan
from bendcal.scan.flat_recording import record_pattern
from bendcal.scan.piece import SIDES
from bendcal.shop import Shop

__all__ = ["HINTS", "NAMES", "READ", "RECORD", "FlatValues"]

NAMES = {
    "picture": "Picture", "kind": "Scan or photo", "tube": "Tube", "wire_mm": "Wire's diameter", "line_mm": "100 mm line", "end_a": "End A lies",
    "line": "Line", "bender": "Bender", "taped_mm": "End to end by tape", "cut_a_mm": "Cut off at A",
    "cut_b_mm": "Cut off at B",
}  # fmt: skip
HINTS = {
    "picture": "its file: old-line.png", "kind": "scan", "tube": "to make the line of", "wire_mm": "blank: it is the tube", "line_mm": "by a rule; several pages: 99.8; 100.1",
    "end_a": "on which side", "line": "a new name", "bender": "its name", "taped_mm": "straight; blank: not yet", "cut_a_mm": "from cut to seat", "cut_b_mm": "from cut to seat",
}  # fmt: skip
READ, RECORD = ("picture", "kind", "tube", "wire_mm", "line_mm", "end_a"), ("line", "bender", "taped_mm", "cut_a_mm", "cut_b_mm")
_WIRE, _TAPED, _CUT = Column("wire_mm", "length", above=0), Column("taped_mm", "length", above=0), Column("cut_mm", "length", least=0)


@dataclass(frozen=True)
class FlatValues:
    """What is typed in the form's boxes, as text."""

    picture: str = ""
    kind: str = ""
    tube: str = ""
    wire_mm: str = ""
    line_mm: str = ""
    end_a: str = ""
    line: str = ""
    bender: str = ""
    taped_mm: str = ""
    cut_a_mm: str = ""
    cut_b_mm: str = ""

    def understood(self, shop: Shop) -> dict[str, Understood]:
        """What each box means.

        Parameters
        ----------
        shop : the shop

        Examples
        --------
        >>> told = FlatValues(picture="a.png", tube="th", wire_mm="3/32 in", end_a="up").understood(Shop("here", {}, {"thin": None}, {}))
        >>> told["tube"].value, told["wire_mm"].words, told["end_a"].fine, told["cut_a_mm"].value
        ('thin', '2.38125 mm (3/32")', False, 0.0)
        """
        told = {"picture": Understood(tidy(self.picture)) if tidy(self.picture) else Understood(missing=True)}
        told["kind"] = understood_name(self.kind or "scan", KINDS, "kind")
        told["tube"] = understood_name(self.tube, shop.tubes, "tube")
        told["wire_mm"] = understood(self.wire_mm, _WIRE)
        told["taped_mm"] = understood(self.taped_mm, _TAPED)
        told["line_mm"] = understood_row(self.line_mm or "100", LINE)
        told["end_a"] = understood_name(self.end_a, SIDES, "side")
        unfit = name_fault(tidy(self.line)) if tidy(self.line) else None
        told["line"] = Understood(wrong=f"{unfit.rule} {unfit.remedy}") if unfit else Understood(tidy(self.line)) if tidy(self.line) else Understood(missing=True)
        told["bender"] = understood_name(self.bender, shop.benders, "bender")
        return told | {name: understood(getattr(self, name) or "0", _CUT) for name in ("cut_a_mm", "cut_b_mm")}

    def blockers(self, shop: Shop, keys: Iterable[str]) -> list[str]:
        """Sentences that say what stands in the way, for some of the boxes.

        Parameters
        ----------
        shop : the shop
        keys : of the boxes
        """
        return blockers_of(self.understood(shop), NAMES, keys)

    def read(self, shop: Shop) -> PatternReading:
        """Read the picture.

        Parameters
        ----------
        shop : the shop

        Raises
        ------
        ValueError : where it cannot be read; the sentence says why
        """
        told, files = self.understood(shop), picture_files(self.picture, Path(shop.folder))
        how = {"od_mm": told["wire_mm"].value or shop.tubes[told["tube"].value].od_mm, "end_a": told["end_a"].value}
        if told["kind"].value != "scan":
            return read_flat_photos(files, **how, line_mm=told["line_mm"].value, unmoved=told["kind"].value == UNMOVED)
        if len(files) > 1:
            raise ValueError(f"{len(files)} scans are named, and a line lies on one. Only photos of numbered pages on one table are joined.")
        return read_flat_scan(files[0], **how, line_mm=line_on_glass(self.line_mm, told["line_mm"].value))

    def record(self, shop: Shop, reading: PatternReading) -> tuple[Path, list[str]]:
        """Record the line; the pattern's file, and what looks wrong with it.

        Parameters
        ----------
        shop : the shop
        reading : what was read from the picture

        Raises
        ------
        ValueError : where it cannot be; nothing is written then
        """
        told = self.understood(shop)
        cut = told["cut_a_mm"].value, told["cut_b_mm"].value
        facts = {"tube": told["tube"].value, "bender": told["bender"].value}
        return record_pattern(shop.folder, reading, told["line"].value, cut_mm=cut, taped_mm=told["taped_mm"].value, **facts)
