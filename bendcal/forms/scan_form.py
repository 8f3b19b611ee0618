"""The form for offcuts from a scan or a photo: read, looked at, recorded piece by piece."""

from __future__ import annotations

import base64
import os
from html import escape
from pathlib import Path

import ipywidgets as widgets

from bendcal.atomic import make_folder, write_atomically
from bendcal.files import is_sample
from bendcal.forms.boxes import Boxes, button
from bendcal.forms.pressing import Pressing
from bendcal.forms.saying import Notices, small
from bendcal.forms.scan_values import HINTS, KINDS, NAMES, READ, RECORD, ScanValues
from bendcal.forms.shop_now import ShopNow
from bendcal.forms.telling import clock
from bendcal.scan import ScanReadings
from bendcal.scan.piece import SIDES
from bendcal.scan.recording import save_overlay

__all__ = ["ScanForm"]

_HOW = (
    "Flatbed: lay the pieces on the glass a finger's width apart and from its border, each with the line that halves its bend at 45°, under a plain "
    "sheet of another shade; scan in colour or grey at 300 dpi. Photo: print the reference page (bendcal page), lay the pieces inside its frame. "
    "For a line longer than a page: several numbered pages side by side (bendcal page --pages 3), in one photo or in several that overlap."
)
_FILE = "Put the picture into the shop folder and write its name, or choose it here; one of more than 8 MB may not arrive that way."
_LOOK = "Look before you record: the drawn lines must lie on the tube's edges, the bars at its cut ends. Legs and mark are taken as drawn."
_SAMPLE_STAYS = "This is the shipped sample, and it stays as it is. Begin a shop of your own on the start page, and record there."
_WIDEST = 760  # pixels of the page


class ScanForm:
    """Boxes for a picture, what was seen in it, and boxes for what no picture shows.

    Parameters
    ----------
    folder : the shop folder
    bender, tube : what to begin with

    Attributes
    ----------
    widget : what a notebook shows
    """

    def __init__(self, folder: str | os.PathLike[str], bender: str = "", tube: str = "") -> None:
        self.now = ShopNow(folder)
        self.boxes = Boxes(NAMES, lists={"kind": KINDS, "tube": (), "end_a": SIDES, "piece": (), "bender": ()}, hints=HINTS)
        self.notices = Notices()
        self.pressing = Pressing(self.notices, lambda: self.now.folder, self._lock, self._focus, self._refresh)
        press = self.pressing.on_press
        self.look, self.keep = button("Read the picture", press(self._read), main=True), button("Record this piece", press(self._record), main=True)
        self.upload = widgets.FileUpload(accept="image/*", multiple=True, description="Choose a file")
        self.upload.observe(lambda _: self.pressing.safe(self._arrived)(), "value")
        for box in READ:
            self.boxes[box].observe(lambda _: self.pressing.safe(self._forget)(), "value")
        self.boxes.on_typed(self.pressing.safe(self._typed))
        self.seen = widgets.HTML()
        self.seen.add_class("bendcal-scan-seen")
        self.widget = widgets.VBox([
            widgets.HTML(small(_HOW) + small(_FILE)), self.boxes.column(*READ), widgets.HBox([self.look, self.upload]), self.seen,
            self.boxes.column(*RECORD), self.keep, self.notices.widget, self.pressing.echo.widget,
        ])  # fmt: skip
        self.widget.add_class("bendcal-scan-form")
        self.readings: ScanReadings | None = None
        self.boxes.fill({"bender": bender, "tube": tube})
        self.pressing.safe(self._refresh)()

    @property
    def values(self) -> ScanValues:
        """What is typed at the moment."""
        return ScanValues(**self.boxes.texts)

    def _refresh(self) -> None:
        self.now.look()
        for noun in ("tube", "bender"):
            self.boxes.choose_from(noun, self.now.names(noun))
        pieces = [str(p.number) for p in self.readings or () if not p.refused]
        self.boxes.choose_from("piece", pieces)
        if self.now.shop is not None:
            self.boxes.show(self.values.understood(self.now.shop, self.readings or ()))
        for each in (self.keep, self.boxes.rows["piece"]):
            each.layout.display = None if pieces else "none"

    def _typed(self) -> None:
        self.notices.clear("blocked", "asked")
        self._refresh()

    def _forget(self) -> None:
        """Another picture, tube or end A: what was read before is not of it."""
        self.readings, self.seen.value = None, ""
        self.boxes.fill({"piece": ""})

    def _arrived(self) -> None:
        """Keep the chosen file in the shop's scans/ and write its name into its box."""
        if not self.upload.value:
            return
        if is_sample(self.now.folder):
            self.notices.say("blocked", _SAMPLE_STAYS)
            return
        names = []
        for chosen in self.upload.value:
            path = self.now.folder / "scans" / Path(chosen["name"]).name
            if path.exists() and path.read_bytes() != bytes(chosen["content"]):
                self.notices.say("blocked", f"There is another picture called {path.name} in {path.parent}, and it stays. Give this one another name.")
                return
            make_folder(path.parent)
            write_atomically(path, bytes(chosen["content"]))
            names.append(path.name)
        self.boxes["picture"].value = "; ".join(names)
        self.notices.say("done", f"{clock()}. {', '.join(names)}: in {path.parent}.")

    def _lock(self, locked: bool) -> None:
        self.boxes.lock(locked)
        for each in (self.look, self.keep, self.upload):
            each.disabled = locked

    def _focus(self, key: object) -> None:
        self.boxes[key if isinstance(key, str) else "picture" if self.readings is None else "dial_deg"].focus()

    def _first_wrong(self, keys: tuple[str, ...]) -> str:
        told = self.values.understood(self.now.shop, self.readings or ())
        return next(key for key in keys if not told[key].fine)

    def _may(self, keys: tuple[str, ...], first: str) -> bool:
        self.notices.clear()
        self.now.look()
        if self.now.shop is None:
            self.notices.say("blocked", self.now.trouble)
            return False
        blocked = self.values.blockers(self.now.shop, keys, self.readings or ())
        self.notices.say("blocked", *blocked, first=first)
        return not blocked

    def _read(self) -> str | None:
        """Read the picture and show what was seen; returns the box that needs attention."""
        self._forget()
        if not self._may(READ, "Not read. "):
            return self._first_wrong(READ) if self.now.shop else None
        readings = self.values.read(self.now.shop)
        self.readings = readings
        self.seen.value = _seen_html(readings)
        if readings.read:
            self.boxes.fill({"piece": str(readings.read[0].number)})
        self.notices.say("done", f"{clock()}. {len(readings.read)} of {len(readings)} pieces are read. {_LOOK if readings.read else ''}")
        return "dial_deg" if readings.read else "picture"

    def _record(self) -> str | None:
        """Record the piece that is named, and go to the next one; returns the box that needs attention."""
        if is_sample(self.now.folder):
            self.notices.clear()
            self.notices.say("blocked", _SAMPLE_STAYS, first="Not recorded. ")
            return None
        if self.readings is None or not self._may(RECORD, "Not recorded. "):
            return self._first_wrong(RECORD) if self.readings is not None and self.now.shop else None
        number = int(self.values.piece)
        written = self.values.record(self.now.shop, self.readings)
        path = save_overlay(self.now.folder, self.readings)
        later = [p.number for p in self.readings.read if p.number > number]
        self.boxes.fill({"piece": str(later[0]) if later else "", "dial_deg": "", "mark_mm": ""})
        more = f" Next: piece {later[0]}." if later else " That was the last piece of this picture."
        self.notices.say("done", f"{clock()}. Piece {number} is recorded as offcut {written.offcut}: {written.angle_deg:g}° at dial {written.dial_deg:g}. What was seen is kept in {path}.{more}")
        return "dial_deg"


def _seen_html(readings: ScanReadings) -> str:
    """What was seen: the picture with the drawn lines, and every piece in words."""
    height, width = readings.scan.rgb.shape[:2]
    share = min(1.0, _WIDEST / width)
    words = "".join(f"<li>{escape(line)}</li>" for line in str(readings).splitlines())
    data = base64.b64encode(readings.overlay()).decode()
    alt = f"{readings.name} with what was read drawn over it: {len(readings.read)} of {len(readings)} pieces"
    return (
        f'<img src="data:image/png;base64,{data}" alt="{escape(alt, quote=True)}" width="{round(width * share)}" height="{round(height * share)}">'
        f'<ul style="margin: 2px 0; line-height: 1.45; max-width: 56em">{words}</ul>'
    )
