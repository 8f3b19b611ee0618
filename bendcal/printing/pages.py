"""Printed pages at true scale: a column that fills page after page, and a line to measure on each."""

from __future__ import annotations

import io
from collections.abc import Sequence
from contextlib import AbstractContextManager

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from pypdf import PageObject, PdfWriter
from pypdf.generic import NameObject

from bendcal.figures.paper import GREY, INK, Picture, block, canvas, line, text_width_mm, wrap, write
from bendcal.version import __version__

__all__ = ["CHECK_LINE_MM", "PAPERS_MM", "Pages", "plain_settings"]

#: Paper sizes, width and height [mm]: ISO 216, ANSI/ASME Y14.1.
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
CHECK_LINE_MM = 100.0

#: Settings that choose a window system: not ours to touch.
_NOT_FOR_DRAWING = ("backend", "backend_fallback", "interactive", "toolbar", "timezone", "webagg.port", "webagg.address")

_SIDE_MM, _TOP_MM, _BOTTOM_MM = 13.0, 12.0, 21.0
_BARE_BOTTOM_MM = 12.0  # without the line to measure
_CHECK = "100 mm. If it measures otherwise, the print is scaled: trust the numbers, not the drawing."


def plain_settings() -> AbstractContextManager:
    """Drawing by matplotlib's own settings, whatever the notebook's are, with lengths kept true."""
    settings = {name: value for name, value in matplotlib.rcParamsDefault.items() if name not in _NOT_FOR_DRAWING}
    return matplotlib.rc_context({**settings, "pdf.fonttype": 42, "path.snap": False, "path.simplify": False})


class Pages:
    """Pages of one paper size, filled from the top; what does not fit goes to the next page.

    Parameters
    ----------
    paper : ``"a4"`` or ``"letter"``
    running_title : stands at the foot of every page
    landscape : whether the paper lies on its long side
    check : what stands beside the line to measure; blank: a page without such a line
    counted : whether the foot says which page of how many it is

    Attributes
    ----------
    ax : the page being filled, in millimetres of paper
    y : where its free part begins [mm from the bottom]
    x, width : the column's left edge and its width [mm]

    Raises
    ------
    ValueError : for another paper
    """

    def __init__(self, paper: str, running_title: str, *, landscape: bool = False, check: str = _CHECK, counted: bool = True) -> None:
        if paper not in PAPERS_MM:
            raise ValueError(f"paper is {paper!r}; it must be one of {', '.join(PAPERS_MM)}.")
        self.paper_mm = PAPERS_MM[paper][::-1] if landscape else PAPERS_MM[paper]
        self.size_mm = self._room_on(self.paper_mm)
        self.running_title, self.check, self.counted = running_title, check, counted
        self.x, self.width = _SIDE_MM, self.size_mm[0] - 2 * _SIDE_MM
        self.pages: list[tuple[Picture, Axes]] = []
        self._footed = 0
        self.new_page()

    def _room_on(self, paper_mm: tuple[float, float]) -> tuple[float, float]:
        """How many millimetres of drawing go on the paper, across and up."""
        return paper_mm

    def _on_paper(self, page: PageObject) -> None:
        """What is still to be done to a page of the PDF: here nothing."""

    @property
    def ax(self) -> Axes:
        return self.pages[-1][1]

    @property
    def room(self) -> float:
        """What is left of this page [mm]."""
        return self.y - (_BOTTOM_MM if self.check else _BARE_BOTTOM_MM)

    def new_page(self) -> None:
        """Begin a page."""
        self.pages.append(canvas(*self.size_mm))
        self.y = self.size_mm[1] - _TOP_MM

    def need(self, height: float) -> float:
        """Make sure that so much room is left, on a new page if need be, and take it.

        Parameters
        ----------
        height : [mm]

        Returns
        -------
        The top of what was taken [mm from the bottom]
        """
        full = self.size_mm[1] - _TOP_MM
        if height > self.room and self.y < full:
            self.new_page()
        top = self.y
        self.y -= height
        return top

    def heading(self, text: str, *, keep: float = 20.0) -> None:
        """A heading that is not left alone: `keep` mm must fit below it."""
        if self.room < 9.0 + keep:
            self.new_page()
        top = self.need(9.0)
        write(self.ax, self.x, top - 6.0, text, size=11, bold=True)
        line(self.ax, [(self.x, top - 7.6), (self.x + self.width, top - 7.6)], color=GREY, width=0.7)

    def text(self, words: str, *, size: float = 9.0, bold: bool = False, indent: float = 0.0, color: str = INK, after: float = 1.0) -> None:
        """A paragraph."""
        for part in wrap(words, self.width - indent, size, bold=bold):
            top = self.need(size * 0.46)
            write(self.ax, self.x + indent, top - size * 0.36, part, size=size, bold=bold, color=color)
        self.y -= after

    def tick_list(self, items: Sequence[tuple[str, str]], *, size: float = 9.0) -> None:
        """Numbered sentences with a box to tick, none of them split between pages.

        Parameters
        ----------
        items : (a word in bold, sentence)
        size : of the type [points]
        """
        step = size * 0.46
        for k, (_, sentence) in enumerate(items):
            lines = wrap(sentence, self.width - 13.0, size)
            top = self.need(step * len(lines) + 1.5)
            block(self.ax, self.x + 0.3, top - 3.3, 2.9, 2.9, fill="white", line_width=0.9)
            write(self.ax, self.x + 11.0, top - size * 0.36, f"{k + 1}", size=size, bold=True, ha="right")
            for i, part in enumerate(lines):
                write(self.ax, self.x + 13.0, top - size * 0.36 - step * i, part, size=size)

    def box(self, heading: str, sentences: Sequence[str], *, size: float = 9.0) -> None:
        """Sentences that must not be overlooked, in a heavy frame."""
        lines = [(k == 0, part) for sentence in sentences for k, part in enumerate(wrap(sentence, self.width - 12.0, size))]
        step = size * 0.46
        height = 7.5 + step * len(lines) + 1.0
        top = self.need(height + 2.0)
        block(self.ax, self.x, top - height, self.width, height, fill="white", line_width=1.8)
        write(self.ax, self.x + 4.0, top - 5.2, heading, size=size + 0.5, bold=True)
        for i, (first, part) in enumerate(lines):
            y = top - 7.5 - size * 0.36 - step * i
            if first:
                write(self.ax, self.x + 4.0, y, "•", size=size)
            write(self.ax, self.x + 8.0, y, part, size=size)

    def finish(self) -> None:
        """Write the foot of every page, once it is known how many there are."""
        while self._footed < len(self.pages):
            self._footed += 1
            self._foot(self.pages[self._footed - 1][1], self._footed)

    def pdf(self, *, title: str) -> bytes:
        """The pages as a PDF that asks not to be scaled: the same bytes for the same pages.

        Parameters
        ----------
        title : of the document
        """
        self.finish()
        drawn = io.BytesIO()
        metadata = {"Title": title, "Creator": f"bendcal {__version__}", "CreationDate": None, "ModDate": None}
        with PdfPages(drawn, metadata=metadata) as pdf:
            for picture, _ in self.pages:
                pdf.savefig(picture)
        writer = PdfWriter(clone_from=io.BytesIO(drawn.getvalue()))
        for page in writer.pages:
            self._on_paper(page)
        writer.create_viewer_preferences().print_scaling = NameObject("/None")
        done = io.BytesIO()
        writer.write(done)
        return done.getvalue()

    def _foot(self, ax: Axes, number: int) -> None:
        left, y = self.x, 13.0
        right = left + CHECK_LINE_MM
        if self.check:
            line(ax, [(left, y), (right, y)], width=0.9)
            for x in (left, right):
                line(ax, [(x, y - 2.0), (x, y + 2.0)], width=0.9)
            for k, part in enumerate(wrap(self.check, self.width - CHECK_LINE_MM - 6.0, 8.0)):
                write(ax, right + 5.0, y + 2.0 - 3.6 * k, part, size=8.0)
        pages = f"page {number} of {len(self.pages)}" if self.counted else ""
        room = self.width - text_width_mm(pages, 8.0) - 8.0
        version = f" · bendcal {__version__}"
        room -= text_width_mm(version, 8.0) + 3.0
        title = wrap(self.running_title, room, 8.0)
        write(ax, left, 6.5, title[0] + ("…" if title[1:] else "") + version, size=8.0, color=GREY)
        write(ax, left + self.width, 6.5, pages, size=8.0, color=GREY, ha="right")
