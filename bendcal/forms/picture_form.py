"""A form that reads a picture, shows what was seen in it, and records it: what the one for offcuts and the one for a flat line share."""

from __future__ import annotations

import base64
import os
from collections.abc import Mapping
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from bendcal.atomic import make_folder, write_atomically
from bendcal.files import is_sample
from bendcal.forms.boxes import Boxes, button
from bendcal.forms.pressing import Pressing
from bendcal.forms.saying import Notices, small
from bendcal.forms.shop_now import ShopNow
from bendcal.forms.telling import clock

__all__ = ["PictureForm"]

_FILE = (
    "Put the picture into the shop folder and write its name, or choose it here. Where JupyterLab was not started by bendcal, one of more than 8 MB "
    "does not arrive that way, and nothing says so: write its path into the box instead."
)
SAMPLE_STAYS = "This is the shipped sample, and it stays as it is. Begin a shop of your own on the start page, and record there."
_WIDEST = 760  # pixels of the page


class PictureForm:
    """Boxes for a picture, what was seen in it, and boxes for what no picture shows. What it reads and records says each form itself.

    Parameters
    ----------
    folder : the shop folder
    begin : box → what stands in it at first

    Attributes
    ----------
    widget : what a notebook shows
    found : what was read from the picture, or None
    """

    names: Mapping[str, str] = {}
    hints: Mapping[str, str] = {}
    lists: Mapping[str, tuple[str, ...]] = {}
    read_boxes: tuple[str, ...] = ()
    record_boxes: tuple[str, ...] = ()
    how, record_words, css = "", "", ""

    def __init__(self, folder: str | os.PathLike[str], **begin: str) -> None:
        self.now, self.found = ShopNow(folder), None
        self.boxes = Boxes(self.names, lists=self.lists, hints=self.hints)
        self.notices = Notices()
        self.pressing = Pressing(self.notices, lambda: self.now.folder, self._lock, self._focus, self._refresh)
        press = self.pressing.on_press
        self.look, self.keep = button("Read the picture", press(self._read), main=True), button(self.record_words, press(self._record), main=True)
        self.upload = widgets.FileUpload(accept="image/*", multiple=True, description="Choose a file")
        self.upload.observe(lambda _: self.pressing.safe(self._arrived)(), "value")
        for box in self.read_boxes:
            self.boxes[box].observe(lambda _: self.pressing.safe(self._forget)(), "value")
        self.boxes.on_typed(self.pressing.safe(self._typed))
        self.seen = widgets.HTML()
        self.seen.add_class("bendcal-scan-seen")
        self.widget = widgets.VBox([
            widgets.HTML(small(self.how) + small(_FILE)), self.boxes.column(*self.read_boxes), widgets.HBox([self.look, self.upload]), self.seen,
            self.boxes.column(*self.record_boxes), self.keep, self.notices.widget, self.pressing.echo.widget,
        ])  # fmt: skip
        self.widget.add_class(self.css)
        self.boxes.fill(begin)
        self.pressing.safe(self._refresh)()

    # --- what each form says of itself ---

    @property
    def values(self) -> Any:
        """What is typed at the moment."""
        raise NotImplementedError

    def _told(self) -> tuple:
        """What :meth:`values` needs besides the shop to judge what is typed."""
        return ()

    def _shown(self) -> None:
        """Show and hide what hangs on what was read."""

    def _read_now(self) -> tuple[str, str]:
        """Read the picture into `found`; what is said of it, and the box that comes next."""
        raise NotImplementedError

    def _record_now(self) -> tuple[str, str | None]:
        """Record it; what is said of that, and the box that comes next."""
        raise NotImplementedError

    def _alt(self) -> str:
        """What the picture shows, in words."""
        raise NotImplementedError

    # --- what they share ---

    def _refresh(self) -> None:
        self.now.look()
        for noun in ("tube", "bender"):
            self.boxes.choose_from(noun, self.now.names(noun))
        self._shown()
        if self.now.shop is not None:
            self.boxes.show(self.values.understood(self.now.shop, *self._told()))

    def _typed(self) -> None:
        self.notices.clear("blocked", "asked")
        self._refresh()

    def _forget(self) -> None:
        """Another picture, tube or end A: what was read before is not of it."""
        self.found, self.seen.value = None, ""

    def _arrived(self) -> None:
        """Keep the chosen file in the shop's scans/ and write its name into its box."""
        if not self.upload.value:
            return
        if is_sample(self.now.folder):
            self.notices.say("blocked", SAMPLE_STAYS)
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
        self.boxes[key if isinstance(key, str) else self.read_boxes[0] if self.found is None else self.record_boxes[-1]].focus()

    def _first_wrong(self, keys: tuple[str, ...]) -> str:
        told = self.values.understood(self.now.shop, *self._told())
        return next(key for key in keys if not told[key].fine)

    def _may(self, keys: tuple[str, ...], first: str) -> bool:
        self.notices.clear()
        self.now.look()
        if self.now.shop is None:
            self.notices.say("blocked", self.now.trouble)
            return False
        blocked = self.values.blockers(self.now.shop, keys, *self._told())
        self.notices.say("blocked", *blocked, first=first)
        return not blocked

    def _read(self) -> str | None:
        """Read the picture and show what was seen; returns the box that needs attention."""
        self._forget()
        if not self._may(self.read_boxes, "Not read. "):
            return self._first_wrong(self.read_boxes) if self.now.shop else None
        said, box = self._read_now()
        self.seen.value = self._seen_html()
        self.notices.say("done", f"{clock()}. {said}")
        return box

    def _record(self) -> str | None:
        """Record what was read; returns the box that needs attention."""
        if is_sample(self.now.folder):
            self.notices.clear()
            self.notices.say("blocked", SAMPLE_STAYS, first="Not recorded. ")
            return None
        if self.found is None or not self._may(self.record_boxes, "Not recorded. "):
            return self._first_wrong(self.record_boxes) if self.found is not None and self.now.shop else None
        said, box = self._record_now()
        self.notices.say("done", f"{clock()}. {said}")
        return box

    def _seen_html(self) -> str:
        """What was seen: the picture with the drawn lines, and all of it in words."""
        height, width = self.found.scan.rgb.shape[:2]
        share = min(1.0, _WIDEST / width)
        words = "".join(f"<li>{escape(line)}</li>" for line in str(self.found).splitlines())
        data = base64.b64encode(self.found.overlay()).decode()
        return (
            f'<img src="data:image/png;base64,{data}" alt="{escape(self._alt(), quote=True)}" width="{round(width * share)}" height="{round(height * share)}">'
            f'<ul style="margin: 2px 0; line-height: 1.45; max-width: 56em">{words}</ul>'
        )
