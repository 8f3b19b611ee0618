"""How words and small tables are laid out, in a terminal of 80 columns and on a notebook's page."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from unicodedata import combining, east_asian_width

__all__ = ["TextTable", "paragraph"]

WIDTH = 80
_GAP = "  "
_NARROW = 12  # no column is folded to less than this
_FIGURES = ("", "−", "+", "-")
_UNIT = re.compile(r"(\d) (mm\b|%)")  # a number keeps its unit beside it


def paragraph(text: str, *, first: str = "", width: int = WIDTH) -> str:
    """A sentence or more, in lines of at most `width` characters.

    Parameters
    ----------
    text : the words
    first : what the first line begins with; the others are set in by as much
    width : of the terminal

    Examples
    --------
    >>> print(paragraph("Bend the shortest line first.", first="- ", width=20))
    - Bend the shortest
      line first.
    """
    glued = _UNIT.sub("\\1\N{NO-BREAK SPACE}\\2", text)
    filled = textwrap.fill(glued, width, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False)
    return filled.replace("\N{NO-BREAK SPACE}", " ")


@dataclass(frozen=True)
class TextTable:
    """A small table of texts that prints itself in columns and shows itself in a notebook.

    A column of figures is set to the right. A column in which nothing stands is not shown. The
    last column is folded where the table would be wider than a terminal.

    Parameters
    ----------
    columns : heading → one text a row

    Examples
    --------
    >>> TextTable({"bend": ["1", "10"], "note": ["first", ""], "empty": ["", ""]})
    bend  note
       1  first
      10
    """

    columns: Mapping[str, Sequence[str]]

    @property
    def shown(self) -> dict[str, list[str]]:
        """The columns in which something stands; all of a table without rows."""
        columns = {name: [str(cell) for cell in cells] for name, cells in self.columns.items()}
        rows = any(columns.values())
        return {name: cells for name, cells in columns.items() if any(cells) or not rows}

    def __repr__(self) -> str:
        shown = self.shown
        if not shown:
            return ""
        *others, (last, cells) = shown.items()
        laid = [_laid(name, column) for name, column in others]
        left = WIDTH - sum(_width(column[0]) + len(_GAP) for column in laid)
        folded = [textwrap.wrap(cell, max(left, _NARROW)) or [""] for cell in cells]
        end = _laid(last, [line for cell in folded for line in cell])
        lines = [_GAP.join([*(column[0] for column in laid), end[0]])]
        blank = [" " * _width(column[0]) for column in laid]
        tail = iter(end[1:])
        for row, cell in enumerate(folded, start=1):
            for k in range(len(cell)):
                lines.append(_GAP.join([*([column[row] for column in laid] if k == 0 else blank), next(tail)]))
        return "\n".join(line.rstrip() for line in lines)

    def _repr_html_(self) -> str:
        shown = self.shown
        sides = ["right" if _is_of_figures(cells) else "left" for cells in shown.values()]
        head = "".join(_cell("th", name, side) for name, side in zip(shown, sides, strict=True))
        rows = [
            "<tr>" + "".join(_cell("td", cell, side) for cell, side in zip(row, sides, strict=True)) + "</tr>"
            for row in zip(*shown.values(), strict=True)
        ]
        return "\n".join(["<table>", f"<thead><tr>{head}</tr></thead>", "<tbody>", *rows, "</tbody>", "</table>"])


def _cell(tag: str, text: str, side: str) -> str:
    return f'<{tag} style="text-align: {side}">{escape(text)}</{tag}>'


def _is_of_figures(cells: Sequence[str]) -> bool:
    return all(cell[:1].isdigit() or cell[:1] in _FIGURES for cell in cells)


def _laid(name: str, cells: Sequence[str]) -> list[str]:
    """Heading and cells, all of one width."""
    width = max(map(_width, (name, *cells)))
    right = _is_of_figures(cells)
    return [_filled(text, width, right=right) for text in (name, *cells)]


def _filled(text: str, width: int, *, right: bool) -> str:
    gap = " " * (width - _width(text))
    return gap + text if right else text + gap


def _width(text: str) -> int:
    """How many places a terminal gives to a text."""
    return sum(0 if combining(sign) else 2 if east_asian_width(sign) in "WF" else 1 for sign in text)
