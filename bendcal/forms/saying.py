"""How a form speaks: short lines beside and below the boxes, read out by a screen reader, never by colour alone."""

from __future__ import annotations

import base64
from html import escape

import ipywidgets as widgets

from bendcal.figures.paper import Picture
from bendcal.layout import TextTable
from bendcal.waiting_bar import WaitingBar

__all__ = ["Notices", "beside", "heading", "picture_html", "small", "table_html"]

#: Kind of a notice → its first words, its role, and the sign in its margin. The sign differs in shape, not only in shade.
_KINDS = {
    "done": ("", "status", "border-left: 3px solid"),
    "asked": ("Look again: ", "alert", "border-left: 6px double"),
    "blocked": ("In the way: ", "alert", "border-left: 6px solid"),
}
_BOX = "margin: 4px 0; padding: 4px 10px; line-height: 1.45; color: var(--jp-ui-font-color1, #1a1a1a); max-width: 52em;"


class Notices:
    """What a form has to say at the moment: what is done, what is asked, what stands in the way.

    Examples
    --------
    >>> notices = Notices()
    >>> notices.say("blocked", "Dial: still to fill in.")
    >>> 'role="alert"' in notices.lines["blocked"].value
    True
    """

    def __init__(self) -> None:
        self.lines = {kind: widgets.HTML(layout=widgets.Layout(margin="0")) for kind in ("blocked", "asked", "done")}
        for kind, line in self.lines.items():
            line.add_class(f"bendcal-{kind}")
        self.bar = WaitingBar()
        self.widget = widgets.VBox([self.bar.widget, *self.lines.values()])

    def say(self, kind: str, *sentences: str, first: str | None = None) -> None:
        """Show sentences of one kind instead of those before; none of them clears it.

        Parameters
        ----------
        kind : ``done``, ``asked`` or ``blocked``
        sentences : what to say
        first : what to begin with, if not the usual words
        """
        begin, role, margin = _KINDS[kind]
        begin = begin if first is None else first
        told = [escape(sentence).replace("\n", "<br>") for sentence in sentences if sentence]
        if not told:
            made = ""
        elif len(told) == 1:
            made = f'<div role="{role}" style="{_BOX} {margin}"><b>{escape(begin)}</b>{told[0]}</div>'
        else:
            items = "".join(f"<li>{each}</li>" for each in told)
            made = f'<div role="{role}" style="{_BOX} {margin}"><b>{escape(begin)}</b><ul style="margin: 2px 0">{items}</ul></div>'
        if self.lines[kind].value != made:
            self.lines[kind].value = made

    def clear(self, *kinds: str) -> None:
        """Take back what was said of these kinds; of all where none is named."""
        for kind in kinds or self.lines:
            self.say(kind)


def beside(words: str, wrong: str) -> str:
    """What stands beside a box: what was understood, or that it was not and why."""
    if wrong:
        return f'<span style="line-height: 1.3; display: inline-block; max-width: 30em"><b>✗ Not understood.</b> {escape(wrong)}</span>'
    return f"<span>= {escape(words)}</span>" if words else ""


def heading(text: str) -> str:
    """A heading within a form."""
    return f'<h3 style="margin: 10px 0 2px 0; font-size: 1em">{escape(text)}</h3>'


def small(text: str) -> str:
    """Words that explain."""
    return f'<p style="margin: 2px 0; line-height: 1.45; max-width: 56em">{escape(text)}</p>'


def picture_html(picture: Picture, *, scale: float = 1.0) -> str:
    """A picture of fixed size with its words, so that nothing moves when it changes.

    Parameters
    ----------
    picture : what is shown
    scale : how large, as a share of its own size
    """
    width, height = (round(float(side) * picture.dpi * scale) for side in picture.get_size_inches())
    data = base64.b64encode(picture.png()).decode()
    return f'<img src="data:image/png;base64,{data}" alt="{escape(picture.alt, quote=True)}" width="{width}" height="{height}">'


def table_html(table: TextTable) -> str:
    """A table that looks like the tables of the page around it."""
    inner = table._repr_html_().replace("<table>", '<table style="margin-left: 0">', 1)
    return f'<div class="jp-RenderedHTMLCommon" style="line-height: 1.35; padding: 0">{inner}</div>'
