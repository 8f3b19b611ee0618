"""Forms for what a shop has: tools, benders and their bodies, tubes, ends, practice flares, tube on hand, obstacles; and for the readings of a pattern; one row at a time."""

from __future__ import annotations

import datetime
import os

import ipywidgets as widgets

from bendcal.ends import FORMS
from bendcal.bodies import MOVES
from bendcal.entries import called, file_of, history_file, kind_of, rows_of, take_out_row
from bendcal.faults import ShopFaults
from bendcal.files import WHATS, is_sample
from bendcal.forms.boxes import Boxes, button
from bendcal.forms.pressing import Pressing
from bendcal.forms.row_sketch import DRAWN, RowSketch
from bendcal.forms.row_values import FIELDS, HINTS, RowValues
from bendcal.forms.saying import Notices, heading, small, table_html
from bendcal.forms.shop_now import ShopNow
from bendcal.forms.telling import clock
from bendcal.forms.understood import Understood, understood_name
from bendcal.forms.watching import watch
from bendcal.layout import TextTable
from bendcal.materials import ALLOYS
from bendcal.solids import SHAPES
from bendcal.stock import SHAPES_ON_HAND

__all__ = ["FactsForm", "RowForm"]

_SAMPLE_STAYS = "This is the shipped sample, and it stays as it is. Begin a shop of your own on the start page; its pages have these forms too."
_TITLES = {
    "tool": "Tools", "bender": "Benders", "tube": "Tubes", "end": "Ends", "flare": "Practice flares", "stock": "Tube on hand",
    "body": "What is in the way at the bender", "obstacle": "Obstacles near the lines",
}  # fmt: skip
_ONE = {"flare": "practice flare", "stock": "coil or length", "reading": "measurement"}
_WHAT = {
    "tool": "What you measure with. Scatter: how far readings of the same thing differ from one another, roughly.",
    "bender": "One row for each bender, or each die of it. The radius may stay empty if you do not know it.",
    "tube": "One row for each kind of tube on your shelf: metal, outside diameter, wall.",
    "end": "How you finish a tube end, and how much tube that uses beyond the seat. Practice flares make it better known.",
    "flare": "One practice flare: the straight piece before, and after it from the cut end to the seat. Slide on the nut first, as always.",
    "stock": "One row for each coil or straight length, or for several that are alike. Lines are cut from these; what is missing is told.",
    "body": "One row for each handle, vice, bench or wall that tube could meet at a bender; its own plates too. Measured with the dial at 0 and straight tube in the groove, "
    "from the middle of the die, level with the middle of the tube: x along the tube from the part that is held towards the part that swings, y from the tube towards the die's "
    "middle, z out of the bend towards you. What goes round with the lever goes with “lever”.",
    "obstacle": "One row for each thing that lines must keep away from, in the coordinates in which the line's corners are given. A wall is all behind a flat face.",
    "reading": "One row for each measurement: a leg or a straight distance from place to place, the angle of a bend, a twist from bend to bend, a point in space, the direction in which "
    "a nut goes in, or a datum point beside the line. Places are A, B and the numbers of the apexes. Measure more than is needed.",
}
_LISTS = {
    "tool": {"measures": ("angle", "length")}, "tube": {"alloy": tuple(ALLOYS)}, "end": {"form": FORMS},
    "flare": {"end": (), "length_tool": ()}, "bender": {}, "stock": {"tube": (), "form": SHAPES_ON_HAND},
    "body": {"bender": (), "shape": tuple(SHAPES), "moves": MOVES}, "obstacle": {"line": (), "shape": tuple(SHAPES)},
    "reading": {"what": WHATS, "tool": ()},
}  # fmt: skip


class RowForm:
    """Boxes for one row of a table, and the rows that are there, to be corrected or taken out.

    Parameters
    ----------
    folder : the shop folder
    noun : a key of :data:`bendcal.entries.FACT_COLUMNS`, that of a pattern's readings with its line: ``reading/LINE``

    Attributes
    ----------
    widget : what a notebook shows
    """

    def __init__(self, folder: str | os.PathLike[str], noun: str) -> None:
        self.now, self.noun, self.kind = ShopNow(folder), noun, kind_of(noun)
        self.boxes = Boxes(FIELDS[self.kind], lists=_LISTS[self.kind], hints=HINTS[self.kind])
        self.pick = Boxes({"row": "Which row"}, lists={"row": ()}, hints={"row": "its number in the table"})
        self.first = next(iter(FIELDS[self.kind]))
        self.sketch = RowSketch(noun, self._drawing) if self.kind in DRAWN else None
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
        self.table.add_class(f"bendcal-rows-{self.kind}")
        title = _TITLES.get(self.kind, f"What was measured of {noun.partition('/')[2]}")
        words = widgets.HTML(heading(title) + small(_WHAT[self.kind]))
        kept = widgets.HTML(heading("A row that is wrong") + small(f"What stood there is kept in {history_file(file_of(noun))}."))
        self.wrong = widgets.VBox([kept, self.pick.widget, widgets.HBox([self.correct, self.out])])
        self.widget = widgets.VBox([
            words, self.boxes.widget, widgets.HBox([self.add, self.leave]), self.notices.widget, *([self.sketch.widget] if self.sketch else []), self.table, self.wrong,
            self.pressing.echo.widget,
        ])  # fmt: skip
        self.widget.add_class(f"bendcal-{self.kind}-form")
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
        for name, noun in (("end", "end"), ("length_tool", "tool"), ("tool", "tool"), ("tube", "tube"), ("bender", "bender"), ("line", "line")):
            if name in _LISTS[self.kind] and not _LISTS[self.kind][name]:
                self.boxes.choose_from(name, [each for each in self.now.names(noun) if each != "plain"])
        self.boxes.show(self.values.understood())
        one = _ONE.get(self.kind, self.kind)
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
        self.boxes.fill(dict.fromkeys(FIELDS[self.kind], ""))
        if self.sketch:
            self.sketch.clear()
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
        name, attention = called(self.noun, values.texts), next((self.boxes[key] for key, each in told.items() if not each.fine), None)
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

    def _drawing(self) -> None:
        """Draw, or say why not."""
        self.pressing.safe(self._draw)()

    def _draw(self) -> None:
        self.now.look()
        self.notices.clear()
        try:
            self.sketch.show(self.now, self.values, correcting=self.place is not None)
        except (ShopFaults, ValueError) as error:
            self.sketch.clear()
            self.notices.say("blocked", str(error), first="Nothing to draw. ")

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
