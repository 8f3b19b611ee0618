"""The reference page: bent pieces are laid on it and photographed, and its marks tell plane, scale and perspective."""

from __future__ import annotations

from matplotlib.axes import Axes

from bendcal.fiducials import SIDE_MM, ReferencePage, cells, reference_page
from bendcal.figures.paper import GREY, block, line, wrap, write
from bendcal.printing.pages import Pages, plain_settings

__all__ = ["reference_page_pdf"]

_CHECK = "100 mm. Measure this line with a rule, and say what it measures when you read a photo."
_TITLE = "Reference page"
_LAY = (
    "Print at 100 % (actual size), in black, on white paper. Tape the page down flat on a table. Lay the pieces inside the frame, flat, a finger's "
    "width apart, no end over the frame.",
    "Daylight from a window or under cloud, no flash, no lamp that shines back. Hold the camera level above the middle, an arm's length away, "
    "and step back and zoom in rather than come close. All eight marks must be in the picture, sharp.",
)


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
        pages = Pages(paper, f"{_TITLE}, {paper.upper() if paper == 'a4' else paper.title()}", check=_CHECK)
        for number in page.marks_mm:
            _mark(pages.ax, page, number)
        left, top, right, bottom = page.frame_mm
        height = page.size_mm[1]
        line(pages.ax, [(left, height - top), (right, height - top), (right, height - bottom), (left, height - bottom), (left, height - top)], color=GREY, width=0.5)
        _advice(pages.ax, page)
        return pages.pdf(title=f"{_TITLE} {paper}")


def _mark(ax: Axes, page: ReferencePage, number: int) -> None:
    x, y = page.marks_mm[number]
    height, cell = page.size_mm[1], SIDE_MM / 6
    block(ax, x, height - y - SIDE_MM, SIDE_MM, SIDE_MM, fill="black", edge="none", line_width=0.0)
    for row, column in zip(*cells(number).nonzero(), strict=True):
        block(ax, x + column * cell, height - y - (row + 1) * cell, cell, cell, fill="white", edge="none", line_width=0.0)


def _advice(ax: Axes, page: ReferencePage) -> None:
    """What to do, in the two gaps between the marks along the top."""
    x = sorted(mm for mm, y in page.marks_mm.values() if y < page.frame_mm[1])
    for at, words in zip(x, _LAY, strict=False):
        left, width = at + SIDE_MM + 3.0, x[1] - x[0] - SIDE_MM - 6.0
        for k, part in enumerate(wrap(words, width, 7.5)):
            write(ax, left, page.size_mm[1] - 14.0 - 3.3 * k, part, size=7.5)
