"""Forms for what a shop has: tools, benders, tubes, ends, practice flares and tube on hand, one row at a time."""

from __future__ import annotations

import datetime
import os

import ipywidgets as widgets

from bendcal.ends import FORMS
from bendcal.entries import file_of, history_file, rows_of, take_out_row
from bendcal.files import is_sample
from bendcal.forms.boxes import Boxes, button
from bendcal.forms.pressing import Pressing
from bendcal.forms.row_values import FIELDS, HINTS, RowValues
from bendcal.forms.saying import Notices, heading, small, table_html
from bendcal.forms.shop_now import ShopNow
from bendcal.forms.telling import clock
from bendcal.forms.understood import Understood, understood_name
from bendcal.forms.watching import watch
from bendcal.layout import TextTable
from bendcal.materials import ALLOYS
from bendcal.stock import SHAPES_ON_HAND

__all__ = ["FactsForm", "RowForm"]

_SAMPLE_STAYS = "This is the shipped sample, and it stays as it is. Begin a shop of your own above; its pages have these forms too."
_TITLES = {"tool": "Tools", "bender": "Benders", "tube": "Tubes", "end": "Ends", "flare": "Practice flares", "stock": "Tube on hand"}
_ONE = {"flare": "practice flare", "stock": "coil or length"}
_WHAT = {
    "tool": "What you measure with. Scatter: how far readings of the same thing differ from one another, roughly.",
    "bender": "One row for each bender, or each die of it. The radius may stay empty if you do not know it.",
    "tube": "One row for each kind of tube on your shelf: metal, outside diameter, wall.",
    "end": "How you finish a tube end, and how much tube that uses beyond the seat. Practice flares make it better known.",
    "flare": "One practice flare: the straight piece before, and after it from the cut end to the seat. Slide on the nut first, as always.",
    "stock": "One row for each coil or straight length, or for several that are alike. Lines are cut from these; what is missing is told.",
}
_LISTS = {
    "tool": {"measures": ("angle", "length")}, "tube": {"alloy": tuple(ALLOYS)}, "end": {"form": FORMS},
    "flare": {"end": (), "length_tool": ()}, "bender": {}, "stock": {"tube": (), "form": SHAPES_ON_HAND},
}  # fmt: skip


class RowForm:
    """Boxes for one row of a table, and the rows that are there, to be corrected or taken out.

    Parameters
    ----------
    folder : the shop folder
    noun : ``tool``, ``bender``, ``tube``, ``end``, ``flare`` or ``stock``

    Attributes
    ----------
    widget : what a notebook shows
    """

    def __init__(self, folder: str | os.PathLike[str], noun: str) -> None:
        self.now, self.noun = ShopNow(folder), noun
        self.boxes = Boxes(FIELDS[noun], lists=_LISTS[noun], hints=HINTS[noun])
        self.pick = Boxes({"row": "Which row"}, lists={"row": ()}, hints={"row": "its number in the table"})
        self.first = next(iter(FIELDS[noun]))
        self.notices = Notices()
        self.pressing = Pressing(self.notices, lambda: self.now.folder, self._lock, self._focus, self._refresh, nothing="nothing was written")
        press = self.pressing.on_press
        self.add = button("", press(self._add), main=True)
        self.leave = button("Leave it as it is", self.pressing.safe(self._leave))
        self.correct = button("Correct it", press(self._correct))
        self.out = button("Take it out", press(self._take_out))
        for boxes in (self.boxes, self.pick):
            boxes.on_typed(self.pressing.safe(self._typed))
        self.boxes.on_enter(press(self._add))
        self.table = widgets.HTML()
        self.table.add_class(f"bendcal-rows-{noun}")
        words = widgets.HTML(heading(_TITLES[noun]) + small(_WHAT[noun]))
        kept = widgets.HTML(heading("A row that is wrong") + small(f"What stood there is kept in {history_file(file_of(noun))}."))
        self.wrong = widgets.VBox([kept, self.pick.widget, widgets.HBox([self.correct, self.out])])
        self.widget = widgets.VBox([
            words, self.boxes.widget, widgets.HBox([self.add, self.leave]), self.notices.widget, self.table, self.wrong, self.pressing.echo.widget,
        ])  # fmt: skip
        self.widget.add_class(f"bendcal-{noun}-form")
        self.place: int | None = None  # of the row that is being corrected
        self._before: dict[str, str] = {}
        self.pressing.safe(self._refresh)()
        self.look = watch("rows", lambda: self.now, lambda: self.pressing.echo.waiting, self.pressing.safe(self._refresh))

    @property
    def values(self) -> RowValues:
        """What is typed at the moment."""
        return RowValues(self.noun, self.boxes.texts)

    def _refresh(self) -> None:
        self.now.look()
        for name, noun in (("end", "end"), ("length_tool", "tool"), ("tube", "tube")):
            if name in _LISTS[self.noun] and not _LISTS[self.noun][name]:
                self.boxes.choose_from(name, [each for each in self.now.names(noun) if each != "plain"])
        self.boxes.show(self.values.understood())
        one = _ONE.get(self.noun, self.noun)
        self.add.description = f"Add this {one}" if self.place is None else f"Record instead of row {self.place + 1}"
        self.leave.layout.display = "none" if self.place is None else None
        header, rows = rows_of(self.now.folder, self.noun)
        self.pick.choose_from("row", [str(k) for k in range(1, len(rows) + 1)])
        self.wrong.layout.display = None if rows else "none"
        columns = {"row": [str(k) for k in range(1, len(rows) + 1)]}
        columns |= {name: [row[place] if place < len(row) else "" for row in rows] for place, name in enumerate(header)}
        file = file_of(self.noun)
        stand = "One stands" if len(rows) == 1 else f"{len(rows) or 'None'} stand"
        self.table.value = small(f"{stand} in {file}{'' if rows else ' yet'}.") + (table_html(TextTable(columns)) if rows else "")

    def _typed(self) -> None:
        self.notices.clear("blocked", "asked")
        self.boxes.show(self.values.understood())

    def _lock(self, locked: bool) -> None:
        self.boxes.lock(locked)
        self.pick.lock(locked)
        for each in (self.add, self.leave, self.correct, self.out):
            each.disabled = locked

    def _focus(self, attention: object) -> None:
        (attention if isinstance(attention, widgets.DOMWidget) else self.boxes[self.first]).focus()

    def _clear(self) -> None:
        self.place, self._before = None, {}
        self.boxes.fill(dict.fromkeys(FIELDS[self.noun], ""))
        self.pick.fill({"row": ""})
        self.pick.show({"row": Understood()})

    def _may_write(self) -> None:
        if is_sample(self.now.folder):
            raise ValueError(_SAMPLE_STAYS)

    def _add(self) -> widgets.Text | None:
        """Add the row, or write it over the one that is being corrected; returns the box that needs attention."""
        self.notices.clear()
        values, told = self.values, self.values.understood()
        if self.noun == "flare" and self.place is None and not values.texts["date"].strip():
            values = RowValues("flare", {**values.texts, "date": datetime.date.today().isoformat()})
        name, attention = values.texts[self.first], next((self.boxes[key] for key, each in told.items() if not each.fine), None)
        if is_sample(self.now.folder):
            self.notices.say("blocked", _SAMPLE_STAYS, first="Not added. ")
            return attention
        if self.place is not None:
            changed = values.correct(self.now.folder, self.place, self._before)
            said = "; ".join(f"{box}: {now or 'empty'} instead of {was or 'empty'}" for box, (was, now) in changed.items())
            words = f"Row {self.place + 1}, {name}, is corrected. {said}." if changed else f"{name} is as it was."
        elif blockers := values.blockers(self.now.folder):
            self.notices.say("blocked", *blockers, first="Not added. ")
            return attention
        else:
            words = f"{name} is added to {values.add(self.now.folder).name}."
        self._clear()
        self.notices.say("done", f"{clock()}. {words}")
        return None

    def _meant(self) -> int | None:
        """Which row is meant, from 0."""
        self.notices.clear()
        _, rows = rows_of(self.now.folder, self.noun)
        meant = understood_name(self.pick["row"].value, [str(k) for k in range(1, len(rows) + 1)], "row")
        if meant.value:
            return int(str(meant.value)) - 1
        self.notices.say("blocked", meant.wrong or "Write its number in the table under “Which row” first.")
        return None

    def _correct(self) -> widgets.Text | None:
        place = self._meant()
        if place is None:
            return self.pick["row"]
        self._may_write()
        before = RowValues.of(self.now.folder, self.noun, place).texts
        self._clear()
        self.place, self._before = place, dict(before)
        self.boxes.fill({name: before[name] for name in self.boxes})
        self.notices.say("asked", f"Row {place + 1} stands in the boxes. Put right what is wrong, then press Enter.", first="")
        return None

    def _leave(self) -> None:
        place, _ = self.place, self._clear()
        self.notices.clear()
        self.notices.say("done", f"{clock()}. Row {place + 1} is as it was.")
        self._refresh()
        self._focus(None)

    def _take_out(self) -> widgets.Text | None:
        place = self._meant()
        if place is None:
            return self.pick["row"]
        self._may_write()
        name = take_out_row(self.now.folder, self.noun, place)
        self._clear()
        self.notices.say("done", f"{clock()}. {name} is taken out of {file_of(self.noun)}; it stays in {history_file(file_of(self.noun))}.")
        return None


class FactsForm:
    """One of the forms at a time, chosen by a button.

    Parameters
    ----------
    folder : the shop folder
    """

    def __init__(self, folder: str | os.PathLike[str]) -> None:
        self.folder, self.form = folder, None
        self.place = widgets.VBox([])
        self.buttons = {noun: button(title, lambda noun=noun: self.show(noun)) for noun, title in _TITLES.items()}
        self.widget = widgets.VBox([widgets.HBox(list(self.buttons.values()), layout=widgets.Layout(flex_flow="row wrap")), self.place])

    def show(self, noun: str) -> None:
        """Show the form for one kind of row."""
        self.form = RowForm(self.folder, noun)
        self.place.children = (self.form.widget,)
        self.form.boxes[self.form.first].focus()
