"""The pieces that are in the log already: their readings, and what can be done about a wrong one."""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets

from bendcal.forms.boxes import Boxes, button
from bendcal.forms.saying import heading, small, table_html
from bendcal.forms.shop_now import ShopNow
from bendcal.forms.understood import Understood, understood_name
from bendcal.reports import readings_table

__all__ = ["EarlierPieces"]


class EarlierPieces:
    """A table of one bender's pieces of one tube, with a box for the name of one of them.

    Parameters
    ----------
    correct : called with the name of a piece whose readings are to be corrected
    aside : called with a name and a reason
    again : called with the name of a piece that is to count again
    """

    def __init__(self, correct: Callable[[], None], aside: Callable[[], None], again: Callable[[], None]) -> None:
        self.table = widgets.HTML()
        self.table.add_class("bendcal-readings")
        self.boxes = Boxes(
            {"piece": "Piece", "reason": "Because"}, lists={"piece": ()},
            hints={"piece": "its name in the table above", "reason": "such as kinked, or mark slipped"},
        )  # fmt: skip
        self.correct, self.aside, self.again = (
            button("Correct its readings", correct), button("Set it aside", aside), button("Let it count again", again),
        )  # fmt: skip
        self.boxes.on_typed(self._typed)
        words = (
            "Nothing is rubbed out. A corrected piece gets a new row, and the old one stays in the log, set aside; one that is set "
            "aside stays with its reason. What was changed when stands in offcuts.history.csv."
        )
        row = widgets.HBox([self.correct, self.aside, self.again])
        self.widget = widgets.VBox([self.table, widgets.HTML(heading("A piece that is wrong") + small(words)), self.boxes.widget, row])
        self._names: list[str] = []

    def show(self, now: ShopNow, bender: str, tube: str) -> None:
        """Show the pieces as they stand in the log."""
        if now.shop is None:
            self.table.value, self._names = "", []
        else:
            title = heading(f"The pieces of {tube} on {bender}" if tube else "The pieces")
            mine = [o.offcut for o in now.shop.offcuts if (o.bender, o.tube) == (bender, tube)]
            table = table_html(readings_table(now.shop, bender, tube)) if mine else small("None yet.")
            self.table.value = title + table
            self._names = mine
        self.boxes.choose_from("piece", self._names)

    @property
    def piece(self) -> Understood:
        """Which piece is meant."""
        return understood_name(self.boxes["piece"].value, self._names, "piece")

    @property
    def reason(self) -> str:
        """Why."""
        return self.boxes["reason"].value.strip()

    def clear(self) -> None:
        """Empty both boxes."""
        self.boxes.fill({"piece": "", "reason": ""})
        self.boxes.show({"piece": Understood()})

    def lock(self, locked: bool) -> None:
        """No typing and no pressing while something is being kept."""
        self.boxes.lock(locked)
        for each in (self.correct, self.aside, self.again):
            each.disabled = locked

    def _typed(self) -> None:
        self.boxes.show({"piece": Understood() if self.piece.missing else self.piece})
