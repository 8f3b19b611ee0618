"""The form for lines: which line and what it is made of, then leg by leg or node by node, drawn as it grows."""

from __future__ import annotations

import os

import ipywidgets as widgets

from bendcal.beginning import practice_copy
from bendcal.entries import ROW_KINDS
from bendcal.files import is_sample
from bendcal.forms.boxes import Boxes, button
from bendcal.forms.leg_form import LegForm
from bendcal.forms.line_values import FACT_HINTS, FACTS, LineFacts, kind_of
from bendcal.forms.line_view import LineView
from bendcal.forms.line_whole import LineWhole
from bendcal.forms.open_line import OpenLine
from bendcal.forms.pressing import Pressing
from bendcal.forms.saying import Notices, heading, small, table_html
from bendcal.forms.telling import SAMPLE_STAYS, clock
from bendcal.forms.watching import watch
from bendcal.lines import SERVICES

__all__ = ["LineForm"]

_KEPT = ("line", "note")  # of a new line; what else the last one said is likely the next one's too
_HOW = (
    "Type a new name, fill in what it is made of, and press “Begin this line”; or choose a line that is there. Lengths as 92.5 or 92,5 mm, or "
    "with inches (3 5/8\"). Each leg is on the disk when its boxes are empty again and a line tells the time. Until you press “The line is "
    "complete” no sheet is made of it. Buttons that do nothing, or red broken links: menu Run, then Run All Cells."
)


class LineForm:
    """Boxes for a line's facts and its legs or nodes, a picture of it, and all lines of the shop.

    Parameters
    ----------
    folder : the shop folder
    line : what to begin with; the line that is being entered, or else the last one, where blank

    Attributes
    ----------
    widget : what a notebook shows
    """

    def __init__(self, folder: str | os.PathLike[str], line: str = "") -> None:
        self.opened, self.notices, self.view = OpenLine(folder), Notices(), LineView()
        lists = {name: () for name in ("line", "tube", "bender", "end_a", "end_b")}
        lists |= {"service": SERVICES, "trim_at": ("A", "B"), "given_by": tuple(ROW_KINDS)}
        self.boxes = Boxes(FACTS, lists=lists, hints=FACT_HINTS)
        self.pressing = Pressing(self.notices, lambda: self.opened.now.folder, self._lock, self._focus, self._refresh)
        press, safe = self.pressing.on_press, self.pressing.safe
        self.begin = button("Begin this line", press(self._begin), main=True)
        self.read = button("Read the folder again", press(lambda: self._say(f"{len(self.opened.names)} lines stand in lines.csv.")))
        self.practise = button("Practise on a copy", press(self._practise))
        self.legs = LegForm(lambda: self.opened, self.pressing, self._may_write)
        self.whole = LineWhole(lambda: self.opened, self.pressing, self._may_write)
        self.boxes.on_typed(safe(self._typed))
        self.boxes.on_enter(press(self._begin))
        self.place, self.all_lines = widgets.HTML(), widgets.HTML()
        self.all_lines.add_class("bendcal-lines")
        self.widget = widgets.VBox([
            self.place, self.boxes.widget, widgets.HBox([self.begin, self.read, self.practise], layout=widgets.Layout(flex_flow="row wrap")),
            self.legs.widget, self.notices.widget, self.view.widget, self.whole.sheet_part, self.legs.wrong, self.whole.part, self.all_lines, self.pressing.echo.widget,
        ])  # fmt: skip
        self.widget.add_class("bendcal-line-form")
        safe(lambda: self._open(line or self.opened.last))()
        self.look = watch("lines", lambda: self.opened.now, lambda: self.pressing.echo.waiting, safe(self._refresh))

    # --- what stands in the boxes ---

    @property
    def values(self) -> LineFacts:
        """The facts as they are typed."""
        return LineFacts(self.boxes.texts)

    def _open(self, name: str) -> None:
        self.opened.open(name)
        self.boxes.fill(self.opened.facts)
        self._opened()

    def _opened(self) -> None:
        """Another line is open than before, or none."""
        self.legs.clear()
        self.whole.clear()
        self.opened.now.learn()
        self._refresh()

    def _refresh(self) -> None:
        """Show the shop as it is on the disk; somebody else may have written into it."""
        opened = self.opened
        opened.look()
        if opened.name and self.boxes["line"].value.strip() != opened.name:  # it was renamed
            self.boxes.fill(opened.facts)
        sample, shop = is_sample(opened.now.folder), opened.now.shop
        self.place.value = small(SAMPLE_STAYS if sample else f"Lines go to {opened.now.folder / 'lines.csv'} and the folder lines beside it.") + small(_HOW)
        self.practise.layout.display = None if sample else "none"
        self.begin.description = f"Record what {opened.name} is made of" if opened.name else "Begin this line"
        self.boxes.choose_from("line", opened.names)
        for name, noun in (("tube", "tube"), ("bender", "bender"), ("end_a", "end"), ("end_b", "end")):
            self.boxes.choose_from(name, opened.now.names(noun))
        told = self.values.understood(shop)
        self.boxes.show(told)
        if opened.now.trouble:
            self.notices.say("blocked", f"The shop folder cannot be read as a whole: {opened.now.trouble}")
        elif shop is not None and shop.unread:
            told = [fault.sentence for part, faults in shop.unread.items() if not part.startswith("lines/") for fault in faults]
            self.notices.say("blocked", *told, first="Lines that need it get no sheet until this is put right. ")
        self.all_lines.value = (heading("All lines") + table_html(opened.all_lines)) if opened.names else ""
        self.legs.refresh()
        self.whole.refresh()
        self.view.show(opened)

    def _typed(self) -> None:
        self.notices.clear("blocked", "asked")
        self.opened.look()
        named = self.boxes["line"].value.strip()
        there = named if named in self.opened.names else ""
        if there != self.opened.name:
            self.opened.open(there)
            if there:
                self.boxes.fill(self.opened.facts)
            else:
                self.boxes.fill(dict.fromkeys(set(_KEPT) - {"line"}, ""))
            self._opened()
        else:
            self.boxes.show(self.values.understood(self.opened.now.shop))

    # --- what is pressed ---

    def _lock(self, locked: bool) -> None:
        self.boxes.lock(locked)
        self.legs.lock(locked)
        self.whole.lock(locked)
        for each in (self.begin, self.read, self.practise):
            each.disabled = locked

    def _focus(self, attention: object) -> None:
        if isinstance(attention, widgets.DOMWidget):
            attention.focus()
        elif self.opened.name and not self.opened.complete:
            self.legs.first.focus()
        else:
            self.boxes["line"].focus()

    def _may_write(self) -> None:
        if is_sample(self.opened.now.folder):
            raise ValueError(SAMPLE_STAYS)

    def _say(self, words: str) -> None:
        self.notices.clear()
        self.notices.say("done", f"{clock()}. {words}")

    def _begin(self) -> widgets.Text | None:
        self.notices.clear()
        self._may_write()
        self.opened.look()
        values, shop, name = self.values, self.opened.now.shop, self.boxes["line"].value.strip()
        if blocked := values.blockers(shop):
            self.notices.say("blocked", *blocked, first="Not recorded. ")
            return next(self.boxes[key] for key, each in values.understood(shop).items() if not each.fine)
        if self.opened.name:
            values.change(self.opened.now.folder, self.opened.name, shop)
            self.opened.look()
            self.boxes.fill(self.opened.facts)
            self._say(f"What {name} is made of is recorded.")
            return None
        values.begin(self.opened.now.folder, shop)
        self.opened.look()
        self.opened.open(name)
        self.boxes.fill(self.opened.facts)
        self._say(f"{name} is begun. Now its {kind_of(values.texts['given_by'])}, from end A on.")
        self._opened()
        return self.legs.first

    def _practise(self) -> None:
        self.opened = OpenLine(practice_copy(self.opened.now.folder))
        self._open(self.opened.last)
        self._say(f"You practise on a copy of the sample, {self.opened.now.folder}. Delete it whenever you like.")
