"""What can be done with a line as a whole: its sheet, another name, a mirrored copy, setting it aside."""

from __future__ import annotations

import base64
from collections.abc import Callable
from html import escape
from pathlib import Path

import ipywidgets as widgets

from bendcal.entries import BEING_ENTERED, put_line_aside, rename_line, save_mirrored
from bendcal.feasible import plan_bending
from bendcal.forms.boxes import Boxes, button
from bendcal.forms.line_part import LinePart
from bendcal.forms.open_line import OpenLine
from bendcal.forms.pressing import Pressing
from bendcal.forms.saying import heading, small, table_html
from bendcal.forms.telling import clock
from bendcal.marks import MarkSheet
from bendcal.mirror import PLANES
from bendcal.order import cautions
from bendcal.planned import mark_out_planned
from bendcal.reports import cut_sentence, marks_table
from bendcal.sheets import SheetFiles, save_sheet
from bendcal.working import order_words

__all__ = ["LineWhole", "download_html"]

_KINDS = {".pdf": "application/pdf", ".csv": "text/csv"}


class LineWhole(LinePart):
    """Buttons for the open line, and its sheet."""

    def __init__(self, opened: Callable[[], OpenLine], pressing: Pressing, may_write: Callable[[], None]) -> None:
        super().__init__(opened, pressing, may_write)
        press = pressing.on_press
        self.boxes = Boxes(
            {"name": "Another name", "plane": "Mirror square to", "reason": "Because"}, lists={"plane": PLANES},
            hints={"name": "for it, or for its copy", "plane": "x, y or z; y if empty", "reason": "such as drawn anew"},
        )  # fmt: skip
        self.make = button("Make its sheet", press(self._make), main=True)
        self.rename = button("Rename it", press(self._rename))
        self.mirror = button("Write its mirrored copy", press(self._mirror))
        self.aside = button("Set it aside", press(self._aside))
        self.again = button("Let it count again", press(self._again))
        self.sheet = widgets.HTML()
        self.sheet.add_class("bendcal-line-sheet")
        self.boxes.on_typed(pressing.safe(lambda: pressing.notices.clear("blocked", "asked")))
        words = "Nothing is rubbed out: a line that is set aside stays in its files with the reason, and no sheet is made of it."
        self.sheet_part = widgets.VBox([self.make, self.sheet])
        self.part = widgets.VBox([
            widgets.HTML(heading("The line as a whole") + small(words)), self.boxes.widget,
            widgets.HBox([self.rename, self.mirror, self.aside, self.again], layout=widgets.Layout(flex_flow="row wrap")),
        ])  # fmt: skip

    def refresh(self) -> None:
        """Show the buttons that the open line wants."""
        opened = self.opened()
        self.part.layout.display = None if opened.name else "none"
        self.make.layout.display = None if opened.name and not opened.reason else "none"
        self.mirror.layout.display = None if opened.name and not opened.reason else "none"
        self.aside.layout.display = None if not opened.reason else "none"
        self.again.layout.display = None if opened.reason and opened.complete else "none"

    def lock(self, locked: bool) -> None:
        """No typing and no pressing meanwhile."""
        self.boxes.lock(locked)
        for each in (self.make, self.rename, self.mirror, self.aside, self.again):
            each.disabled = locked

    def clear(self) -> None:
        """Empty the boxes, and take back the sheet that was shown: the line may be another one now."""
        self.boxes.fill(dict.fromkeys(self.boxes, ""))
        self.sheet.value = ""

    def _make(self) -> None:
        opened, notices = self.opened(), self.pressing.notices
        notices.clear()
        self.sheet.value = ""
        self.may_write()
        opened.look()
        cal, shop = opened.now.learn(), opened.now.shop
        if cal is None:
            raise ValueError(opened.now.why_not)
        plans = plan_bending(shop, cal, opened.name)
        if plans.best is None:
            notices.say("blocked", plans.sentence, *plans.notes, first="No sheet was made. ")
            return
        sheet = mark_out_planned(shop, cal, opened.name, plans=plans)
        files = save_sheet(sheet, shop.folder)
        self.sheet.value = _sheet_html(sheet, files)
        notices.say("done", f"{clock()}. The sheet of {opened.name} is made: {files.pdf}.")
        if sheet.warnings:
            notices.say("asked", *sheet.warnings, first="Before you cut: ")

    def _rename(self) -> widgets.Text | None:
        opened, notices, new = self.opened(), self.pressing.notices, self.boxes["name"].value.strip()
        notices.clear()
        self.may_write()
        if not new:
            notices.say("blocked", "Write the new name under “Another name” first.")
            return self.boxes["name"]
        old = opened.name
        rename_line(opened.now.folder, old, new)
        self.clear()
        opened.look()
        opened.open(new)
        notices.say("done", f"{clock()}. {old} is called {new} now. Sheets that were made keep the old name.")
        return None

    def _mirror(self) -> widgets.Text | None:
        opened, notices, new = self.opened(), self.pressing.notices, self.boxes["name"].value.strip()
        notices.clear()
        self.may_write()
        if not new:
            notices.say("blocked", "Write the copy's name under “Another name” first.")
            return self.boxes["name"]
        opened.look()
        plane = self.boxes["plane"].value.strip().lower() or "y"
        save_mirrored(opened.now.shop, opened.name, new, plane)
        old = opened.name
        self.clear()
        opened.look()
        opened.open(new)
        notices.say("done", f"{clock()}. {new} is {old} seen in a mirror square to {plane}. Hold its ends and clips against the other side before you cut: two sides are seldom alike.")
        return None

    def _aside(self) -> widgets.Text | None:
        reason = self.boxes["reason"].value.strip()
        if not reason or reason == BEING_ENTERED:
            self.pressing.notices.clear()
            self.pressing.notices.say("blocked", f"Write under “Because” why {self.opened().name} is not to be made. It still counts.")
            return self.boxes["reason"]
        return self._put(reason, f"is set aside: {reason}.")

    def _again(self) -> None:
        self._put("", "counts again.")

    def _put(self, reason: str, done: str) -> None:
        opened, notices = self.opened(), self.pressing.notices
        notices.clear()
        self.may_write()
        put_line_aside(opened.now.folder, opened.name, reason)
        self.clear()
        opened.look()
        notices.say("done", f"{clock()}. {opened.name} {done}")


def _sheet_html(sheet: MarkSheet, files: SheetFiles) -> str:
    """The sheet in short, with links to keep it."""
    told = "".join(f"<li>{escape(str(caution))}</li>" for caution in cautions(sheet))
    order = small(f"Make {order_words(sheet.steps)}.") if sheet.steps else ""
    links = " · ".join(download_html(path) for path in (files.pdf, files.csv))
    return (
        f"{heading(f'The sheet of {sheet.line.line}')}<ul style='margin: 2px 0; line-height: 1.45; max-width: 56em'>{told}</ul>"
        f"{small(cut_sentence(sheet))}{order}{table_html(marks_table(sheet))}<p>{links}</p>"
    )


def download_html(path: Path) -> str:
    """A link that keeps a file, which the link itself holds, so that no server is asked.

    Examples
    --------
    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / "rear.csv"
    >>> _ = path.write_text("bend")
    >>> download_html(path)
    '<a download="rear.csv" href="data:text/csv;base64,YmVuZA==" style="color: inherit; text-decoration: underline">Save rear.csv</a>'
    """
    data = base64.b64encode(path.read_bytes()).decode()
    return f'<a download="{escape(path.name, quote=True)}" href="data:{_KINDS[path.suffix]};base64,{data}" style="color: inherit; text-decoration: underline">Save {escape(path.name)}</a>'
