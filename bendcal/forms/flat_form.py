"""The form for a flat old line, or a wire, from a scan or a photo: read, looked at, recorded as a line's pattern."""

from __future__ import annotations

import os
from pathlib import Path

from bendcal.forms.flat_values import HINTS, NAMES, READ, RECORD, FlatValues
from bendcal.forms.picture_form import PictureForm
from bendcal.forms.scan_values import KINDS
from bendcal.scan.flat_recording import SEATS
from bendcal.scan.piece import SIDES
from bendcal.scan.recording import save_overlay

__all__ = ["FlatForm"]

_HOW = (
    "For a line whose bends all lie in one plane: it must lie flat by itself, without rocking. Saw off flares and nuts. Flatbed: the line alone, a finger's "
    "width from the border, under a light sheet; scan in colour or grey at 300 dpi. Photo: inside the frame of the reference page (bendcal page), "
    f"or on several numbered pages side by side (bendcal page --pages 3), named a.jpg; b.jpg. {SEATS}"
)
_LOOK = "Look before you record: the drawn lines must lie on the tube's edges, the bars at its ends, and the numbers count its bends from end A. Then check the distance from end to end by tape."


#: The sample's invented picture stands in the boxes at first, to be tried with one press.
_TRIAL = {"picture": "invented-flat-line.jpg", "tube": "cuni-3/16", "end_a": "left"}


class FlatForm(PictureForm):
    """Boxes for a picture, what was seen in it, and boxes for what no picture shows of the line.

    Parameters
    ----------
    folder : the shop folder
    line, bender, tube : what to begin with
    """

    names, hints, read_boxes, record_boxes = NAMES, HINTS, READ, RECORD
    lists = {"kind": KINDS, "tube": (), "end_a": SIDES, "line": (), "bender": ()}
    how, record_words, css = _HOW, "Record this line", "bendcal-flat-form"

    def __init__(self, folder: str | os.PathLike[str], line: str = "", bender: str = "", tube: str = "") -> None:
        trial = _TRIAL if (Path(folder) / "scans" / _TRIAL["picture"]).is_file() else {}
        super().__init__(folder, **trial | {box: text for box, text in {"line": line, "bender": bender, "tube": tube}.items() if text})

    @property
    def values(self) -> FlatValues:
        """What is typed at the moment."""
        return FlatValues(**self.boxes.texts)

    def _shown(self) -> None:
        self.boxes.choose_from("line", list(self.now.shop.lines) if self.now.shop else [])
        self.keep.layout.display = None if self.found is not None and not self.found.refused else "none"

    def _focus(self, key: object) -> None:
        super()._focus(key if isinstance(key, str) or self.found is None else "line")

    def _read_now(self) -> tuple[str, str]:
        self.found = self.values.read(self.now.shop)
        if self.found.refused:
            return "The line was not read; the reason stands below the picture.", "picture"
        return f"{self.found.bends} bends are read. {_LOOK}", "line"

    def _record_now(self) -> tuple[str, str | None]:
        path, wrong = self.values.record(self.now.shop, self.found)
        seen = save_overlay(self.now.folder, self.found)
        self.notices.say("asked", *wrong)
        name, self.found = self.values.line, None
        return f"The line {name} is recorded in {path}. What was seen is kept in {seen}. Ends and service are entered with the line's other facts on page 6.", None

    def _alt(self) -> str:
        return f"{self.found.name} with what was read drawn over it: {'not read' if self.found.refused else f'{self.found.bends} bends'}"
