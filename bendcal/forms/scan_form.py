"""The form for offcuts from a scan or a photo: read, looked at, recorded piece by piece."""

from __future__ import annotations

import os

from bendcal.forms.picture_form import PictureForm
from bendcal.forms.scan_values import HINTS, KINDS, NAMES, READ, RECORD, ScanValues
from bendcal.scan.piece import SIDES
from bendcal.scan.recording import save_overlay

__all__ = ["ScanForm"]

_HOW = (
    "Flatbed: lay the pieces on the glass a finger's width apart and from its border, each with the line that halves its bend at 45°, under a plain "
    "sheet of another shade; scan in colour or grey at 300 dpi. Photo: print the reference page (bendcal page), lay the pieces inside its frame. "
    "For a line longer than a page: several numbered pages side by side (bendcal page --pages 3), in one photo or in several that overlap."
)
_LOOK = "Look before you record: the drawn lines must lie on the tube's edges, the bars at its cut ends. Legs and mark are taken as drawn."


class ScanForm(PictureForm):
    """Boxes for a picture, what was seen in it, and boxes for what no picture shows of its offcuts.

    Parameters
    ----------
    folder : the shop folder
    bender, tube : what to begin with
    """

    names, hints, read_boxes, record_boxes = NAMES, HINTS, READ, RECORD
    lists = {"kind": KINDS, "tube": (), "end_a": SIDES, "piece": (), "bender": ()}
    how, record_words, css = _HOW, "Record this piece", "bendcal-scan-form"

    def __init__(self, folder: str | os.PathLike[str], bender: str = "", tube: str = "") -> None:
        super().__init__(folder, bender=bender, tube=tube)

    @property
    def values(self) -> ScanValues:
        """What is typed at the moment."""
        return ScanValues(**self.boxes.texts)

    def _told(self) -> tuple:
        return (self.found or (),)

    def _shown(self) -> None:
        pieces = [str(p.number) for p in self.found or () if not p.refused]
        self.boxes.choose_from("piece", pieces)
        for each in (self.keep, self.boxes.rows["piece"]):
            each.layout.display = None if pieces else "none"

    def _forget(self) -> None:
        super()._forget()
        self.boxes.fill({"piece": ""})

    def _focus(self, key: object) -> None:
        super()._focus(key if isinstance(key, str) or self.found is None else "dial_deg")

    def _read_now(self) -> tuple[str, str]:
        self.found = readings = self.values.read(self.now.shop)
        if readings.read:
            self.boxes.fill({"piece": str(readings.read[0].number)})
        said = f"{len(readings.read)} of {len(readings)} pieces are read. {_LOOK if readings.read else ''}"
        return said, "dial_deg" if readings.read else "picture"

    def _record_now(self) -> tuple[str, str | None]:
        """Record the piece that is named, and go to the next one."""
        number, readings = int(self.values.piece), self.found
        written = self.values.record(self.now.shop, readings)
        path = save_overlay(self.now.folder, readings)
        later = [p.number for p in readings.read if p.number > number]
        self.boxes.fill({"piece": str(later[0]) if later else "", "dial_deg": "", "mark_mm": ""})
        more = f" Next: piece {later[0]}." if later else " That was the last piece of this picture."
        return f"Piece {number} is recorded as offcut {written.offcut}: {written.angle_deg:g}° at dial {written.dial_deg:g}. What was seen is kept in {path}.{more}", "dial_deg"

    def _alt(self) -> str:
        return f"{self.found.name} with what was read drawn over it: {len(self.found.read)} of {len(self.found)} pieces"
