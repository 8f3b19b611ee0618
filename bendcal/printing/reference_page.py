"""The reference page: bent pieces are laid on it and photographed, and its marks tell plane, scale and perspective.

One page by itself has a frame that the pieces lie in. Pages for a table are numbered, have no frame, and are laid side by side, so
that a long line may lie across them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from bendcal.fiducials import SIDE_MM, ReferencePage, cells, reference_page
from bendcal.figures.paper import BLUE, GREY, INK, block, line, wrap, write
from bendcal.figures.shapes import outline
from bendcal.printing.pages import Pages, plain_settings

__all__ = ["reference_page_pdf", "table_pages_pdf"]

_CHECK = "100 mm. Measure this line with a rule, and say what it measures when you read a photo."
_TITLE = "Reference page"
_LAY = (
    "Print at 100 % (actual size), in black, on white paper. Tape the page down flat on a table. Lay the pieces inside the frame, flat, a finger's "
    "width apart, no end over the frame.",
    "Daylight from a window or under cloud, no flash, no lamp that shines back. Hold the camera level above the middle, an arm's length away, "
    "and step back and zoom in rather than come close. All eight marks must be in the picture, sharp.",
)
_TABLE = (
    "For a long line: print at 100 %, lay the pages side by side on a flat table, each 5 to 10 mm over the edge of the one before, and tape them "
    "flat. They need not be in line. The tube lies on white paper and passes between the marks and words."
)
_SIZE, _STEP_MM, _TOP_MM = 7.5, 3.3, 14.0


def reference_page_pdf(paper: str = "a4") -> bytes:
    """A page to lay bent pieces on for a photo, as a PDF.

    Parameters
    ----------
    paper : ``"a4"`` or ``"letter"``

    Returns
    -------
    The file's content; the same paper gives the same bytes

    Raises
    ------
    ValueError : for another paper

    Examples
    --------
    >>> reference_page_pdf("a4")[:5]
    b'%PDF-'
    """
    page = reference_page(paper)
    with plain_settings():
        pages = Pages(paper, f"{_TITLE}, {_paper(page)}", check=_CHECK)
        for number in page.marks_mm:
            _mark(pages.ax, page, number)
        left, top, right, bottom = page.frame_mm
        height = page.size_mm[1]
        line(pages.ax, [(left, height - top), (right, height - top), (right, height - bottom), (left, height - bottom), (left, height - top)], color=GREY, width=0.5)
        for place, words in zip(page.words_mm, _LAY, strict=False):
            _words(pages.ax, page, place, words)
        return pages.pdf(title=f"{_TITLE} {paper}")


def table_pages_pdf(paper: str = "a4", numbers: Sequence[int] = (1, 2, 3)) -> bytes:
    """Numbered pages to lay side by side on a table under a long line, as one PDF.

    Parameters
    ----------
    paper : ``"a4"`` or ``"letter"``
    numbers : of the pages, each from 1 to 6

    Returns
    -------
    The file's content; the same pages give the same bytes

    Raises
    ------
    ValueError : for another paper or number

    Examples
    --------
    >>> table_pages_pdf("letter", [2])[:5]
    b'%PDF-'
    """
    laid = [reference_page(paper, number) for number in numbers]
    if not laid:
        raise ValueError("No page is asked for; name at least one.")
    with plain_settings():
        pages = Pages(paper, f"{_TITLE}, {_paper(laid[0])}", check=_CHECK, counted=False)
        for k, page in enumerate(laid):
            if k:
                pages.new_page()
            for number in page.marks_mm:
                _mark(pages.ax, page, number)
            _words(pages.ax, page, page.words_mm[0], _TABLE)
            _drawing(pages.ax, page)
        return pages.pdf(title=f"{_TITLE}s {paper}")


def _paper(page: ReferencePage) -> str:
    return page.paper.upper() if page.paper == "a4" else page.paper.title()


def _mark(ax: Axes, page: ReferencePage, number: int) -> None:
    x, y = page.marks_mm[number]
    height, cell = page.size_mm[1], SIDE_MM / 6
    block(ax, x, height - y - SIDE_MM, SIDE_MM, SIDE_MM, fill="black", edge="none", line_width=0.0)
    for row, column in zip(*cells(number).nonzero(), strict=True):
        block(ax, x + column * cell, height - y - (row + 1) * cell, cell, cell, fill="white", edge="none", line_width=0.0)


def _words(ax: Axes, page: ReferencePage, place: tuple[float, float, float, float], words: str) -> None:
    """What to do, in a gap between the marks along the top."""
    for k, part in enumerate(wrap(words, place[2] - place[0] - 1.0, _SIZE)):
        write(ax, place[0] + 0.5, page.size_mm[1] - _TOP_MM - _STEP_MM * k, part, size=_SIZE)


def _drawing(ax: Axes, page: ReferencePage) -> None:
    """Three pages on a table, a line across them between their marks, and this page's number."""
    left, top, right, _ = page.words_mm[1]
    high, wide, foot = 19.0, 13.4, page.size_mm[1] - top - 22.0
    for k, (aslant, lift) in enumerate(((0.0, 0.0), (1.5, 0.3), (-1.0, -0.2))):
        turn = np.radians(aslant)
        along, up = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        corner = np.array([left + 1.0 + k * (wide - 0.6), foot + lift])
        outline(ax, np.array([corner, corner + wide * along, corner + wide * along + high * up, corner + high * up]), fill="white", width=0.7, zorder=4 + 3 * k)
        side = SIDE_MM * wide / page.size_mm[0]
        for x, y in page.marks_mm.values():
            at = corner + (x * along + (page.size_mm[1] - y - SIDE_MM) * up) * wide / page.size_mm[0]
            outline(ax, np.array([at, at + side * along, at + side * (along + up), at + side * up]), fill=INK, width=0.0, zorder=5 + 3 * k)
    bends = [(left + x, foot + y) for x, y in ((3.2, 12.6), (16.2, 12.6), (22.8, 6.2), (31.5, 6.2), (36.8, 10.5))]
    line(ax, bends, color=BLUE, width=2.6, zorder=20)
    write(ax, right - 1.0, foot + 6.0, page.number, size=34, bold=True, ha="right")
    write(ax, right - 1.0, foot + 1.0, "this page", size=_SIZE, ha="right")
