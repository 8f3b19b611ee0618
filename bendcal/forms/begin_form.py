"""The form that begins a shop of one's own: its first bender and its first tube, and where to go on."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import ipywidgets as widgets

from bendcal.beginning import MY_SHOP, begin_shop
from bendcal.faults import ShopFaults
from bendcal.files import is_sample
from bendcal.forms.boxes import Boxes, button
from bendcal.forms.echo import Echo
from bendcal.forms.guard import guarded
from bendcal.forms.row_values import HINTS, RowValues
from bendcal.forms.saying import Notices, small
from bendcal.forms.telling import clock
from bendcal.lab import notebooks_folder
from bendcal.materials import ALLOYS

__all__ = ["BeginForm"]

_FIELDS = {
    "shop": "Name of the folder", "bender": "Your bender", "die_radius_mm": "Radius of its die", "tube": "Your tube", "alloy": "Its metal",
    "od_mm": "Its outside diameter", "wall_mm": "Its wall",
}  # fmt: skip
_OF_BENDER, _OF_TUBE = ("bender", "die_radius_mm"), ("tube", "alloy", "od_mm", "wall_mm")
_WHAT = "One bender and one tube to begin with; more of them can be added later. The folder is made beside that of the sample."


class BeginForm:
    """Boxes for a name, a bender and a tube; what it makes is a folder with pages of its own.

    Parameters
    ----------
    folder : the folder that the page is set to; a new shop is made beside it

    Attributes
    ----------
    widget : what a notebook shows
    """

    def __init__(self, folder: str | os.PathLike[str]) -> None:
        self.beside = Path(folder).expanduser().resolve().parent
        hints = {"shop": MY_SHOP} | {name: HINTS["bender"][name] for name in _OF_BENDER} | {name: HINTS["tube"][name] for name in _OF_TUBE}
        self.boxes = Boxes(_FIELDS, lists={"alloy": tuple(ALLOYS)}, hints=hints | {"bender": "such as small"})
        self.boxes.fill({"shop": MY_SHOP})
        self.notices, self.echo, self.link = Notices(), Echo(), widgets.Output()
        self.begin = button("Begin my own shop", self._safe(self._press), main=True)
        self.boxes.on_typed(self._safe(self._typed))
        self.boxes.on_enter(self._safe(self._press))
        if is_sample(folder):
            parts = [widgets.HTML(small(_WHAT)), self.boxes.widget, self.begin, self.notices.widget, self.link, self.echo.widget]
        else:
            parts = [widgets.HTML(small(f"This page is set to your own shop already: {Path(folder).expanduser().resolve()}"))]
        self.widget = widgets.VBox(parts)
        self.widget.add_class("bendcal-begin-form")

    def _safe(self, does):
        return guarded(does, self.notices, self.beside)

    @property
    def rows(self) -> tuple[RowValues, RowValues]:
        """The bender and the tube as they are typed."""
        texts = self.boxes.texts
        return RowValues("bender", {name: texts[name] for name in _OF_BENDER}), RowValues("tube", {name: texts[name] for name in _OF_TUBE})

    def _typed(self) -> None:
        self.notices.clear()
        bender, tube = (row.understood() for row in self.rows)
        self.boxes.show({name: bender[name] for name in _OF_BENDER} | {name: tube[name] for name in _OF_TUBE})

    def _press(self) -> None:
        if not self.echo.waiting:
            self.begin.disabled = True
            self.echo.ask(self._safe(self._make), self._safe(self._silent))

    def _silent(self) -> None:
        self.begin.disabled = False
        self.notices.say("blocked", "The page did not answer, so nothing was made. Press again.")

    def _make(self) -> None:
        self.notices.clear()
        try:
            told = [sentence for row in self.rows for sentence in self._blockers(row)]
            target = self.beside / (self.boxes["shop"].value.strip() or MY_SHOP)
            if told:
                self.notices.say("blocked", *told, first="Nothing was made. ")
                return
            bender, tube = self.rows
            try:
                begin_shop(target, bender=bender.texts, tube=tube.texts, notebooks=notebooks_folder())
            except ShopFaults as error:
                self.notices.say("blocked", *(f"{fault.found}: {fault.rule} {fault.remedy}" for fault in error.faults), first="Nothing was made. ")
                return
            self.notices.say("done", f"{clock()}. Your shop is made: {target}. Its pages are in its folder notebooks; go on there.")
            self._lead_to(target / "notebooks")
        finally:
            self.begin.disabled = False

    def _blockers(self, row: RowValues) -> list[str]:
        """What is wrong with a row; the names of the boxes are this form's own."""
        told = row.understood()
        wrong = [f"{_FIELDS[name]}: {told[name].wrong}" for name in row.texts if told[name].wrong]
        missing = [_FIELDS[name] for name in row.texts if told[name].missing]
        if missing:
            wrong.append(f"Still to fill in: {', '.join(missing)}.")
        with tempfile.TemporaryDirectory() as nothing_yet:
            return wrong or list(row.blockers(nothing_yet))

    def _lead_to(self, notebooks: Path) -> None:
        """A link that JupyterLab opens beside this page."""
        from IPython.display import Markdown

        start = next(iter(sorted(notebooks.glob("*.ipynb"))), notebooks)
        address = os.path.relpath(start, Path.cwd()).replace(os.sep, "/").replace(" ", "%20")
        self.link.outputs = ()
        self.link.append_display_data(Markdown(f"**[Open the start page of your own shop]({address})**"))
