"""The little drawing at the head of the worksheet: what each box of a row wants, before and after the bend."""

from __future__ import annotations

from math import cos, radians

import numpy as np
from matplotlib.axes import Axes

from bendcal.figures.bench import BentOffcut
from bendcal.figures.paper import BLUE, GREY, INK, PALE, line, wrap, write
from bendcal.figures.shapes import around, arrow, badge, dimension, outline, towards, tube_outline

__all__ = ["HEIGHT_MM", "draw_what_to_measure"]

#: How tall the drawing is [mm].
HEIGHT_MM = 52.0

_PIECE = BentOffcut(leg_a_mm=52.0, leg_b_mm=34.0, angle_deg=72.0, radius_mm=13.0, od_mm=5.0)
_CORNER = BentOffcut(leg_a_mm=24.0, leg_b_mm=24.0, angle_deg=72.0, radius_mm=17.0, od_mm=8.0)
_DIAL = "dial: the bender's scale at the end of the stroke, tube still loaded."
_ANGLE = "angle: after release, how far leg B has turned out of the line of leg A. A protractor laid into the corner shows 180° less that."
_ROUND = "Ø: diameters in the middle of the bend, if you have a caliper; the smallest in its plane, the largest across."
_CROSSINGS = (
    ("s", "outside", "where the outside edges cross"),
    ("o", "centre", "where the centre lines cross"),
    ("^", "inside", "where the inside edges cross"),
)


def draw_what_to_measure(ax: Axes, *, x: float, top: float, width: float) -> None:
    """Draw it on paper.

    Parameters
    ----------
    ax : the paper, from :func:`bendcal.figures.paper.canvas`
    x, top : the upper left corner [mm]
    width : at least 240 mm
    """
    third = width / 3
    _before(ax, x, top, third - 8.0)
    _after(ax, x + third, top)
    _crossings(ax, x + 2 * third + 6.0, top)


def _before(ax: Axes, x: float, top: float, width: float) -> None:
    write(ax, x, top - 4.0, "Before bending", size=9.5, bold=True)
    left, y = x + 6.5, top - 17.0
    right, mark = x + width - 6.5, left + 0.42 * (width - 13.0)
    outline(ax, tube_outline(np.array([[left, y], [right, y]]), 2.5))
    badge(ax, left - 4.0, y, "A", dark=True)
    badge(ax, right + 4.0, y, "B", dark=True)
    line(ax, [(mark, y - 4.2), (mark, y + 4.2)], color=BLUE, width=2.2, zorder=4)
    dimension(ax, (left, y + 2.5), (right, y + 2.5), "length", away=5.0, bold=True)
    dimension(ax, (left, y - 2.5), (mark, y - 2.5), "mark", away=-6.0, bold=True)
    row = top - 34.0
    for words in (_DIAL, _ANGLE):
        for part in wrap(words, width, 8.5):
            write(ax, x, row, part, size=8.5)
            row -= 3.9
        row -= 1.0


def _after(ax: Axes, x: float, top: float) -> None:
    write(ax, x, top - 4.0, "After bending", size=9.5, bold=True)
    for i, part in enumerate(wrap(_ROUND, 46.0, 8.5)):
        write(ax, x, top - 10.0 - 3.9 * i, part, size=8.5)
    piece, half = _PIECE, _PIECE.od_mm / 2
    origin = np.array([x + 8.0, top - HEIGHT_MM + 11.0])
    at = lambda point: origin + np.asarray(point)  # noqa: E731
    outline(ax, tube_outline(at(piece.centreline), half))
    line(ax, [at(piece.start), at(piece.apex + [14.0, 0.0])], color=GREY, width=0.7, style="--")
    line(ax, [at(piece.apex), at(piece.stop)], color=GREY, width=0.7, style="--")
    badge(ax, *(at((0.0, 0.0)) - [4.5, 0.0]), "A", dark=True)
    badge(ax, *(at(piece.end_b) + 4.5 * piece.along_b), "B", dark=True)
    mark = np.array([0.42 * (piece.leg_a_mm + piece.leg_b_mm), 0.0])
    line(ax, [at(mark - [0.0, 4.2]), at(mark + [0.0, 4.2])], color=BLUE, width=2.2, zorder=4)
    arc = around(at(piece.apex), 10.0, 0.0, piece.angle_deg)
    line(ax, arc[:-1], width=1.3)
    arrow(ax, arc[-3], arc[-1], width=1.3, head=7.0)
    write(ax, *(at(piece.apex) + 13.0 * towards(piece.angle_deg / 2) - [0.0, 1.0]), "angle", size=9.0, bold=True)
    down = np.array([0.0, -half])
    dimension(ax, at(0 * piece.apex) + down, at(piece.apex) + down, "leg A", away=-5.0, bold=True)
    side = half * towards(piece.angle_deg + 90.0)
    dimension(ax, at(piece.apex) + side, at(piece.end_b) + side, "leg B", away=6.0, bold=True)


def _crossings(ax: Axes, x: float, top: float) -> None:
    write(ax, x, top - 4.0, "legs to: ring the crossing you used", size=9.5, bold=True)
    piece, half = _CORNER, _CORNER.od_mm / 2
    origin = np.array([x + 1.0, top - HEIGHT_MM + 8.0])
    at = lambda point: origin + np.asarray(point)  # noqa: E731
    outline(ax, tube_outline(at(piece.centreline), half), fill=PALE, edge="none")
    edges = tube_outline(at(piece.centreline), half)
    count = len(piece.centreline)
    for edge in (edges[:count], edges[count:]):
        line(ax, edge)
    beyond = half / cos(radians(piece.angle_deg / 2))
    for side, style in ((1.0, ":"), (0.0, "--"), (-1.0, ":")):
        crossing = piece.apex + side * beyond * towards(piece.angle_deg / 2 - 90.0)
        feet = piece.start + [0.0, -side * half], piece.stop + side * half * towards(piece.angle_deg - 90.0)
        for foot in feet:
            line(ax, [at(foot), at(crossing)], color=INK if side else GREY, width=0.9, style=style, zorder=4)
    for k, (marker, name, words) in enumerate(_CROSSINGS):
        fill = INK if name == "centre" else "white"
        ax.plot(*at(piece.crossing(name)), marker, color=INK, markerfacecolor=fill, markersize=5.5, zorder=6)
        y = top - 15.0 - 13.0 * k
        ax.plot(x + 46.0, y + 1.0, marker, color=INK, markerfacecolor=fill, markersize=5.5, zorder=6)
        write(ax, x + 49.5, y, name, size=9.0, bold=True)
        for i, part in enumerate(wrap(words, 29.0, 8.5)):
            write(ax, x + 49.5, y - 4.0 - 3.7 * i, part, size=8.5)
