"""Boxes to type in, each with its name before it and what was understood behind it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from html import escape

import ipywidgets as widgets

from bendcal.forms.saying import beside
from bendcal.forms.understood import Understood

__all__ = ["Boxes", "button"]

_NAME_WIDTH, _BOX_WIDTH = "11.5em", "25em"


class Boxes:
    """A column of boxes, in the order in which the Tab key goes through them.

    A box is always one for text: number boxes of browsers change what is typed. One with a list
    to choose from is a text box too, for the arrow keys of a drop-down list move the page instead.

    Parameters
    ----------
    names : key → the name before the box
    lists : key → what can be chosen there; anything may be typed all the same
    hints : key → an example that stands in the empty box

    Examples
    --------
    >>> boxes = Boxes({"dial_deg": "Dial"})
    >>> boxes["dial_deg"].value = "92"
    >>> boxes.texts
    {'dial_deg': '92'}
    """

    def __init__(self, names: Mapping[str, str], *, lists: Mapping[str, Iterable[str]] | None = None, hints: Mapping[str, str] | None = None) -> None:
        self.names = dict(names)
        self._box: dict[str, widgets.Text] = {}
        self._beside: dict[str, widgets.HTML] = {}
        self.rows: dict[str, widgets.HBox] = {}
        for key, name in names.items():
            how = {
                "description": name, "placeholder": (hints or {}).get(key, ""), "style": {"description_width": _NAME_WIDTH},
                "layout": widgets.Layout(width=_BOX_WIDTH, flex="0 0 auto"),
            }  # fmt: skip
            chosen = (lists or {}).get(key)
            self._box[key] = widgets.Text(**how) if chosen is None else widgets.Combobox(options=list(chosen), ensure_option=False, **how)
            self._box[key].add_class(f"bendcal-{key.replace('_', '-')}")
            self._beside[key] = widgets.HTML(layout=widgets.Layout(margin="2px 0 2px 10px", flex="1 1 auto"))
            self.rows[key] = widgets.HBox([self._box[key], self._beside[key]], layout=widgets.Layout(align_items="flex-start", flex_flow="row wrap"))
        self.widget = self.column(*names)
        self._quiet = False

    def column(self, *keys: str) -> widgets.VBox:
        """Some of the boxes below one another."""
        return widgets.VBox([self.rows[key] for key in keys])

    def __getitem__(self, key: str) -> widgets.Text:
        return self._box[key]

    def __iter__(self):
        return iter(self._box)

    @property
    def texts(self) -> dict[str, str]:
        """Key → what stands in the box."""
        return {key: box.value for key, box in self._box.items()}

    def fill(self, texts: Mapping[str, str]) -> None:
        """Put texts into boxes, without anybody being told that they changed."""
        self._quiet = True
        try:
            for key, text in texts.items():
                self._box[key].value = text
        finally:
            self._quiet = False

    def choose_from(self, key: str, options: Iterable[str]) -> None:
        """Another list to choose from."""
        options = tuple(options)
        if self._box[key].options != options:
            self._box[key].options = options

    def on_typed(self, call: Callable[[], None]) -> None:
        """Call when something was typed."""
        for box in self._box.values():
            box.observe(lambda _: None if self._quiet else call(), "value")

    def on_enter(self, call: Callable[[], None]) -> None:
        """Call when Enter is pressed in a box without a list (there Enter takes an entry of the list)."""
        def pressed(_box: widgets.Widget, message: object, _buffers: object) -> None:
            if isinstance(message, dict) and message.get("event") == "submit":
                call()

        for box in self._box.values():
            if not isinstance(box, widgets.Combobox):
                box.on_msg(pressed)

    def show(self, told: Mapping[str, Understood]) -> None:
        """Say beside each box what was understood."""
        for key, each in told.items():
            words = beside(each.words, each.wrong)
            if self._beside[key].value != words:
                self._beside[key].value = words

    def point_at(self, words: str, keys: Iterable[str]) -> None:
        """Say beside some boxes that it is about them, until something is typed there."""
        for key in keys:
            self._beside[key].value = f"<b>{escape(words)}</b>"

    def lock(self, locked: bool) -> None:
        """No typing while something is being kept."""
        for box in self._box.values():
            box.disabled = locked


def button(name: str, call: Callable[[], None], *, main: bool = False) -> widgets.Button:
    """A button as wide as its words; the main one of a form stands out by its frame as well."""
    made = widgets.Button(description=name, layout=widgets.Layout(width="auto", align_self="flex-start", border="2px solid" if main else "1px solid"))
    made.style.font_weight = "bold" if main else "normal"
    made.on_click(lambda _: call())
    return made
