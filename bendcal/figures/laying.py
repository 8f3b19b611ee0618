"""How to lay bent pieces for a scan or a photo, and how to light them."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from bendcal.figures.paper import BLUE, GREY, INK, ORANGE, PALE, PAPER, Picture, block, canvas, line, wrap, write
from bendcal.figures.shapes import around, outline, towards, tube_outline

__all__ = ["how_to_lay"]

_WIDTH_MM, _TALL_MM, _TUBE_MM = 216.0, 112.0, 1.9
_SCAN = (
    "Flat on the glass, a finger's width apart and from its edge; the line that halves each bend at 45° to the glass. A plain sheet of another "
    "shade over them, the lid down as far as it goes. Grey or colour, 300 dpi. Not read: a piece over the edge, pieces that touch."
)
_PHOTO = (
    "The reference page taped flat, the pieces inside its frame. Daylight from a window, no flash, no lamp that shines back or throws hard "
    "shadows. The camera level above the middle, an arm's length away, all eight marks in the picture."
)


def how_to_lay() -> Picture:
    """A scanner's glass with two pieces laid well and two that are not read, and a camera above a reference page."""
    picture, ax = canvas(_WIDTH_MM, _TALL_MM)
    write(ax, 7.0, _TALL_MM - 6.0, "On a flatbed scanner, from above", size=10, bold=True)
    write(ax, 113.0, _TALL_MM - 6.0, "With a camera, from the side", size=10, bold=True)
    _glass(ax)
    _camera(ax)
    for x, words in ((7.0, _SCAN), (113.0, _PHOTO)):
        for k, row in enumerate(wrap(words, 96.0, 9.0)):
            write(ax, x, 25.0 - 4.6 * k, row)
    picture.alt = f"{_SCAN} {_PHOTO}"
    return picture


def _piece(ax: Axes, apex: tuple[float, float], heading_deg: float, angle_deg: float, *, fill: str, leg: float = 21.0) -> None:
    """A bend whose first leg comes from `heading_deg`, drawn with its halving line where it is laid well."""
    radius, at = 6.0, np.array(apex)
    back = radius * np.tan(np.radians(angle_deg / 2))
    into = towards(heading_deg)
    left = np.array([-into[1], into[0]])
    begin = at - back * into
    arc = around(begin + radius * left, radius, heading_deg - 90.0, heading_deg - 90.0 + angle_deg)
    out = towards(heading_deg + angle_deg)
    outline(ax, tube_outline(np.vstack([at - leg * into, arc, at + leg * out]), _TUBE_MM), fill=fill, zorder=3)


def _glass(ax: Axes) -> None:
    block(ax, 9.0, 34.0, 92.0, 66.0, fill=PAPER, line_width=1.4)
    for x, angle in ((40.0, 90.0), (76.0, 60.0)):
        # Half of the bend on either side of the direction that is square to the halving line.
        _piece(ax, (x, 70.0), 45.0 - angle / 2, angle, fill=BLUE)
        line(ax, [(x + 4.0, 66.0), (x - 17.0, 87.0)], color=GREY, style="--", width=0.9, zorder=2)
        write(ax, x - 21.0, 89.0, "45°", size=8.0)
        write(ax, x + 7.0, 68.0, "✓", size=13, bold=True, color=INK)
    _piece(ax, (97.0, 41.0), 0.0, 70.0, fill=PALE, leg=17.0)
    _piece(ax, (34.0, 39.0), 0.0, 80.0, fill=PALE, leg=18.0)
    _piece(ax, (39.5, 39.0), 0.0, 80.0, fill=PALE, leg=18.0)
    for x, y in ((84.0, 46.0), (47.0, 44.0)):
        write(ax, x, y, "✗", size=13, bold=True, color=ORANGE)


def _camera(ax: Axes) -> None:
    line(ax, [(116.0, 40.0), (208.0, 40.0)], width=1.6)
    block(ax, 136.0, 40.2, 52.0, 0.9, fill=PAPER)
    for x in (152.0, 171.0):
        outline(ax, around(np.array([x, 43.0]), _TUBE_MM, 0.0, 360.0), fill=BLUE, zorder=4)
    block(ax, 155.0, 92.0, 14.0, 6.0, fill=GREY)
    block(ax, 159.5, 89.5, 5.0, 2.5, fill=INK)
    for x in (137.0, 187.0):
        line(ax, [(162.0, 89.5), (x, 41.5)], color=GREY, style="--", width=0.9)
    line(ax, [(118.0, 62.0), (118.0, 92.0)], width=2.2, color=BLUE)
    for y in (66.0, 77.0, 88.0):
        line(ax, [(120.0, y), (131.0, y - 7.0)], color=ORANGE, width=1.2)
    write(ax, 121.0, 94.0, "window", size=9)
    write(ax, 172.0, 94.0, "level, all eight marks seen", size=8)
