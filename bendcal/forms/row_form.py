"""Forms for what a shop has: tools, benders, tubes, ends and practice flares, one row at a time."""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable

import ipywidgets as widgets

from bendcal.adding import rows_of
from bendcal.beginning import is_sample
from bendcal.ends import FORMS
from bendcal.forms.boxes import Boxes, button
from bendcal.forms.echo import Echo
from bendcal.forms.guard import guarded
from bendcal.forms.row_values import FIELDS, HINTS, RowValues
from bendcal.forms.saying import Notices, heading, small, table_html
from bendcal.forms.shop_now import ShopNow
from bendcal.forms.telling import clock
from bendcal.layout import TextTable
from bendcal.materials import ALLOYS

__all__ = ["FactsForm", "RowForm"]

_SAMPLE_STAYS = "This is the shipped sample, and it stays as it is. Begin a shop of your own above; its pages have these forms too."
_TITLES = {"tool": "Tools", "bender": "Benders", "tube": "Tubes", "end": "Ends", "flare": "Practice flares"}
_WHAT = {
    "tool": "What you measure with. Scatter: how far readings of the same thing differ from one another, roughly.",
    "bender": "One row for each bender, or each die of it. The radius may stay empty if you do not know it.",
    "tube": "One row for each kind of tube on your shelf: metal, outside diameter, wall.",
    "end": "How you finish a tube end, and how much tube that uses beyond the seat. Practice flares make it better known.",
    "flare": "One practice flare: the straight piece before, and after it from the cut end to the seat. Slide on the nut first, as always.",
}


class RowForm:
    """Boxes for one row of a table, and the rows that are there.

    Parameters
    ----------
    folder : the shop folder
    noun : ``tool``, ``bender``, ``tube``, ``end`` or ``flare``

    Attributes
    ----------
    widget : what a notebook shows
    """

    def __init__(self, folder: str | os.PathLike[str], noun: str) -> None:
        self.now, self.noun = ShopNow(folder), noun
        lists = {
            "tool": {"measures": ("angle", "length")}, "tube": {"alloy": tuple(ALLOYS)}, "end": {"form": FORMS},
            "flare": {"end": (), "length_tool": ()}, "bender": {},
        }[noun]  # fmt: skip
        self.boxes = Boxes(FIELDS[noun], lists=lists, hints=HINTS[noun])
        self.first = next(iter(FIELDS[noun]))
        self.notices, self.echo = Notices(), Echo()
        self.add = button(f"Add this {noun if noun != 'flare' else 'practice flare'}", self._safe(self._press), main=True)
        self.boxes.on_typed(self._safe(self._typed))
        self.boxes.on_enter(self._safe(self._press))
        self.table = widgets.HTML()
        self.table.add_class(f"bendcal-rows-{noun}")
        words = widgets.HTML(heading(_TITLES[noun]) + small(_WHAT[noun]))
        self.widget = widgets.VBox([words, self.boxes.widget, self.add, self.notices.widget, self.table, self.echo.widget])
        self.widget.add_class(f"bendcal-{noun}-form")
        self._safe(self._refresh)()

    @property
    def values(self) -> RowValues:
        """What is typed at the moment."""
        return RowValues(self.noun, self.boxes.texts)

    def _safe(self, does: Callable) -> Callable:
        return guarded(does, self.notices, self.now.folder)

    def _refresh(self) -> None:
        self.now.look()
        if self.noun == "flare":
            self.boxes.choose_from("end", [end for end in self.now.names("end") if end != "plain"])
            self.boxes.choose_from("length_tool", self.now.names("tool"))
        self.boxes.show(self.values.understood())
        header, rows = rows_of(self.now.folder, self.noun)
        columns = {name: [row[place] if place < len(row) else "" for row in rows] for place, name in enumerate(header)}
        file = f"{self.noun}s.csv"
        words = f"{len(rows)} stand in {file}. To change one of them, open the file in a spreadsheet." if rows else f"None stand in {file} yet."
        self.table.value = small(words) + (table_html(TextTable(columns)) if rows else "")

    def _typed(self) -> None:
        self.notices.clear()
        self.boxes.show(self.values.understood())

    def _press(self) -> None:
        if self.echo.waiting:
            return
        self._lock(True)

        def then() -> None:
            focus = None
            try:
                focus = self._safe(self._add)()
            finally:
                self._lock(False)
                self.boxes[focus or self.first].focus()

        def never() -> None:
            self._lock(False)
            self.notices.say("blocked", "The page did not answer, so nothing was added. Press again.")

        self.echo.ask(then, never)

    def _lock(self, locked: bool) -> None:
        self.boxes.lock(locked)
        self.add.disabled = locked

    def _add(self) -> str:
        """Add the row; returns the box that needs attention."""
        self.notices.clear()
        values = self.values
        if self.noun == "flare" and not values.texts["date"].strip():
            values = RowValues("flare", {**values.texts, "date": datetime.date.today().isoformat()})
        if blockers := ((_SAMPLE_STAYS,) if is_sample(self.now.folder) else values.blockers(self.now.folder)):
            self.notices.say("blocked", *blockers, first="Not added. ")
            return next((name for name, each in values.understood().items() if not each.fine), self.first)
        path = values.add(self.now.folder)
        name = values.texts[self.first]
        self.boxes.fill(dict.fromkeys(FIELDS[self.noun], ""))
        self._refresh()
        self.notices.say("done", f"{clock()}. {name} is added to {path.name}.")
        return self.first


class FactsForm:
    """One of the five forms at a time, chosen by a button.

    Parameters
    ----------
    folder : the shop folder
    """

    def __init__(self, folder: str | os.PathLike[str]) -> None:
        self.folder, self.form = folder, None
        self.place = widgets.VBox([])
        self.buttons = {noun: button(title, lambda noun=noun: self.show(noun)) for noun, title in _TITLES.items()}
        self.widget = widgets.VBox([widgets.HBox(list(self.buttons.values())), self.place])

    def show(self, noun: str) -> None:
        """Show the form for one kind of row."""
        self.form = RowForm(self.folder, noun)
        self.place.children = (self.form.widget,)
        self.form.boxes[self.form.first].focus()
