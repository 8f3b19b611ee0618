"""The line as it grows: its rows and a picture of fixed size, and where it cannot be drawn yet, why."""

from __future__ import annotations

import ipywidgets as widgets

from bendcal.faults import Fault
from bendcal.figures.bent_line import one_view
from bendcal.forms.open_line import OpenLine
from bendcal.forms.saying import heading, picture_html, small, table_html
from bendcal.legs import LegTooShort

__all__ = ["LineView"]

_HEIGHT, _SCALE = "320px", 0.72  # of the picture's place, so that nothing below it moves; beside the table on a narrow screen


class LineView:
    """A table of the legs or nodes that are entered, and the line seen from one side.

    Examples
    --------
    >>> view = LineView()
    >>> view.show(OpenLine("no such folder"))
    >>> view.table.value
    ''
    """

    def __init__(self) -> None:
        self.table, self.picture = widgets.HTML(), widgets.HTML()
        self.table.add_class("bendcal-line-rows")
        self.picture.add_class("bendcal-line-picture")
        self.widget = widgets.HBox([self.table, self.picture], layout=widgets.Layout(flex_flow="row wrap", align_items="flex-start"))
        self._shown: tuple = ()

    def show(self, opened: OpenLine) -> None:
        """Show the open line as it stands on the disk; words first, for the picture takes longest."""
        shown = (opened.name, opened.now.folder, opened.rows, tuple(opened.facts.items()), opened.radius_mm, opened.reason, self._faults(opened))
        if shown == self._shown:
            return
        self.table.value = self._words(opened)
        picture = self._picture(opened)
        if picture != self.picture.value:
            self.picture.value = picture
        self.picture.layout.min_height = _HEIGHT if "<img" in picture else None
        self._shown = shown

    @staticmethod
    def _faults(opened: OpenLine) -> tuple[Fault, ...]:
        return opened.now.shop.unread_lines.get(opened.name, ()) if opened.now.shop else ()

    @staticmethod
    def _words(opened: OpenLine) -> str:
        if not opened.name:
            return ""
        title = heading(f"{opened.name}: {'set aside, ' * (opened.complete and bool(opened.reason))}{opened.reason or 'complete'}")
        if opened.trouble:
            return title + small(opened.trouble)
        title += "".join(small(f"In the way of its sheet: {fault.sentence}") for fault in LineView._faults(opened))
        if opened.rows is None:
            return title + small("Its shape was measured as a pattern: see the page for that.")
        return title + (table_html(opened.table) if opened.rows.rows else small("Nothing of its shape is entered yet."))

    @staticmethod
    def _picture(opened: OpenLine) -> str:
        line, shop = opened.line, opened.now.shop
        tube = shop.tubes.get(line.tube) if line is not None and shop is not None else None
        if tube is None or not opened.radius_mm:
            return ""
        try:
            return picture_html(one_view(line, tube, radius_mm=opened.radius_mm), scale=_SCALE)
        except LegTooShort as error:
            return small(f"It cannot be drawn: {error}")
