"""How to lay several numbered reference pages under what is longer than one of them, and what two photos of them must share."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from bendcal.figures.paper import BLUE, GREY, INK, ORANGE, PALE, PAPER, Picture, canvas, line, wrap, write
from bendcal.figures.shapes import arrow, outline, towards, tube_outline
from bendcal.path import bent_centreline, legs_from_nodes

__all__ = ["how_to_lay_pages"]

_WIDTH_MM, _TALL_MM = 216.0, 122.0
_PAGE_MM, _SIDE_MM = (210.0, 297.0), 18.0
#: Top left corners of an A4 page's marks, as they are printed.
_MARKS_MM = [(x, y) for y in (12.0, 133.5, 255.0) for x in (12.0, 96.0, 180.0) if (x, y) != (96.0, 133.5)]
#: Where each page's top left corner lies on the table, x to the right and y down, and how far the page is turned clockwise.
_LAID = (((0.0, 0.0), 0.0), ((204.0, 6.0), 0.5), ((407.0, -7.0), 0.8))
#: The tube's end A, its corners and its end B.
_TUBE_MM = ((55.0, 70.0), (275.0, 70.0), (345.0, 212.0), (535.0, 212.0), (552.0, 70.0))
_RADIUS_MM, _HALF_MM = 22.0, 6.0
_DO = (
    "Tape the numbered pages flat, long edge along long edge, each 5 to 10 mm over the one before (a gap of up to 2 mm does too). The tube lies on white "
    "paper and passes between marks and words. Photos a and b both show page 2, whose marks join them; a third one of all pages, from further away, proves that it was not moved."
)
_NOT = "None of these is read, and the page to blame is named where it can be told. Nor are photos that only one page holds together, unless you say that nothing was moved."


def how_to_lay_pages() -> Picture:
    """Three pages with a tube across them and the fields of two photos; and what must not happen."""
    picture, ax = canvas(_WIDTH_MM, _TALL_MM)
    write(ax, 7.0, _TALL_MM - 6.0, "Several pages, from above", size=10, bold=True)
    write(ax, 147.0, _TALL_MM - 6.0, "What must not happen", size=10, bold=True)
    _table(ax, (14.0, _TALL_MM - 18.0), 0.2)
    for k, small in enumerate((_moved, _twice, _apart, _over_a_mark)):
        small(ax, (150.0, _TALL_MM - 16.0 - 20.5 * k), 0.05)
    for x, words, wide in ((7.0, _DO, 130.0), (147.0, _NOT, 64.0)):
        for k, row in enumerate(wrap(words, wide, 9.0)):
            write(ax, x, 21.0 - 4.6 * k, row)
    picture.alt = f"{_DO} {_NOT}"
    return picture


def _on_sheet(points, corner: tuple[float, float], scale: float, at: tuple[float, float] = (0.0, 0.0), turned_deg: float = 0.0) -> np.ndarray:
    """(k, 2) places of a page that lies at `at` on the table, turned clockwise, on the drawing's sheet, where the table's origin is at `corner`."""
    turn = np.radians(turned_deg)
    across, down = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    p = np.asarray(points, float)
    return np.array(corner) + scale * np.array([1.0, -1.0]) * (at + p[:, :1] * across + p[:, 1:] * down)


def _box(left: float, top: float, right: float, bottom: float) -> np.ndarray:
    return np.array([(left, top), (right, top), (right, bottom), (left, bottom)])


def _page(ax: Axes, number: int, corner: tuple[float, float], scale: float, at: tuple[float, float], turned_deg: float, *, level: float, edge: str = INK, size: float = 20.0) -> None:
    """A page with its marks and its number."""
    outline(ax, _on_sheet(_box(0.0, 0.0, *_PAGE_MM), corner, scale, at, turned_deg), fill=PAPER, edge=edge, zorder=level)
    for x, y in _MARKS_MM:
        outline(ax, _on_sheet(_box(x, y, x + _SIDE_MM, y + _SIDE_MM), corner, scale, at, turned_deg), fill=edge, edge=edge, width=0.0, zorder=level + 0.1)
    middle = _on_sheet([(66.0, 184.0)], corner, scale, at, turned_deg)[0]
    write(ax, *middle, number, size=size, bold=True, color=GREY, ha="center", va="center", zorder=level + 0.2)


def _field(ax: Axes, corner: tuple[float, float], scale: float, box: tuple[float, float, float, float], name: str, color: str, *, to_right: bool = False) -> None:
    """What a photo shows, and its name below."""
    line(ax, _closed(_on_sheet(_box(*box), corner, scale)), color=color, width=1.3, style="--", zorder=30)
    left, _, right, bottom = box
    x, y = _on_sheet([(right if to_right else left, bottom)], corner, scale)[0]
    write(ax, x, y - 4.2, name, size=9, bold=True, color=color, ha="right" if to_right else "left", zorder=31)


def _tube(ax: Axes, corner: tuple[float, float], scale: float, nodes, half_mm: float, radius_mm: float) -> None:
    flat = np.column_stack([np.array(nodes, float), np.zeros(len(nodes))])
    centre = bent_centreline(legs_from_nodes(flat), radius_mm, nodes_mm=flat).points_mm[:, :2] if len(nodes) > 2 else flat[:, :2]
    outline(ax, _on_sheet(tube_outline(centre, half_mm), corner, scale), fill=BLUE, zorder=20)


def _table(ax: Axes, corner: tuple[float, float], scale: float) -> None:
    """Three pages, the tube, the fields of two photos."""
    outline(ax, _on_sheet(_box(-25.0, -34.0, 646.0, 352.0), corner, scale), fill=PALE, edge=PALE, zorder=1)
    for k, (at, turned) in enumerate(_LAID):
        _page(ax, k + 1, corner, scale, at, turned, level=2.0 + k)
    _tube(ax, corner, scale, _TUBE_MM, _HALF_MM, _RADIUS_MM)
    _field(ax, corner, scale, (-12.0, -17.0, 430.0, 322.0), "photo a", BLUE)
    _field(ax, corner, scale, (192.0, -25.0, 634.0, 314.0), "photo b", ORANGE, to_right=True)


def _two(ax: Axes, corner: tuple[float, float], scale: float, numbers: tuple[int, int] = (1, 2)) -> None:
    """Two small pages as they should lie."""
    for k, number in enumerate(numbers):
        _page(ax, number, corner, scale, (203.0 * k, 5.0 * k), 0.0, level=2.0 + k, size=9.0)


def _moved(ax: Axes, corner: tuple[float, float], scale: float) -> None:
    """A page that lies otherwise in the second photo."""
    line(ax, _closed(_on_sheet(_box(0.0, 0.0, *_PAGE_MM), corner, scale, (203.0, 5.0), 0.0)), color=GREY, style="--", width=0.9, zorder=8)
    _page(ax, 1, corner, scale, (0.0, 0.0), 0.0, level=2.0, size=9.0)
    _page(ax, 2, corner, scale, (265.0, 40.0), 8.0, level=3.0, size=9.0)
    start = _on_sheet([(225.0, -26.0)], corner, scale)[0]
    arrow(ax, start, start + 7.0 * towards(-12.0), color=ORANGE, width=1.6, head=8.0, zorder=9)
    _no(ax, corner, "moved between photos")


def _twice(ax: Axes, corner: tuple[float, float], scale: float) -> None:
    """One number on two pages."""
    _two(ax, corner, scale, (2, 2))
    _no(ax, corner, "one number twice")


def _apart(ax: Axes, corner: tuple[float, float], scale: float) -> None:
    """Photos that show different pages."""
    _two(ax, corner, scale)
    for left, right, color in ((-14.0, 190.0, BLUE), (220.0, 428.0, ORANGE)):
        line(ax, _closed(_on_sheet(_box(left, -16.0, right, 316.0), corner, scale)), color=color, width=1.3, style="--", zorder=30)
    _no(ax, corner, "no page in both photos")


def _over_a_mark(ax: Axes, corner: tuple[float, float], scale: float) -> None:
    """A tube on a mark."""
    _two(ax, corner, scale)
    _tube(ax, corner, scale, ((45.0, 264.0), (350.0, 264.0)), 5.0, 0.0)
    _no(ax, corner, "the tube over a mark")


def _closed(points: np.ndarray) -> np.ndarray:
    return np.vstack([points, points[:1]])


def _no(ax: Axes, corner: tuple[float, float], words: str) -> None:
    """A cross and what is wrong, beside a small drawing."""
    x, y = corner[0] + 29.0, corner[1] - 6.0
    write(ax, x, y - 1.6, "✗", size=13, bold=True, color=ORANGE)
    for k, row in enumerate(wrap(words, 28.0, 8.5)):
        write(ax, x + 5.0, y - 4.2 * k, row, size=8.5)
