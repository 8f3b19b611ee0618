"""Twist clocks: how to turn the tube before each bend, seen from end A looking towards B."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle

from bendcal.figures.paper import BLUE, GREY, INK, PALE, PAPER, Picture, canvas, line, write
from bendcal.figures.shapes import around, arrow, badge, outline, towards
from bendcal.marks import MarkSheet
from bendcal.path import wrap_deg

__all__ = ["KEY", "clocks", "draw_clock", "draw_twist_clocks", "twist_clocks_height_mm"]

_LEAST_CELL_MM, _MOST_CELL_MM, _ROW_MM, _RADIUS_MM = 30.0, 34.0, 31.5, 7.5

#: What the clocks show.
KEY = (
    "Seen from end A towards B; the tube bends towards the top. Solid: the line drawn along the tube; dashed: where it was before."
)


def clocks(sheet: MarkSheet) -> Picture:
    """One clock a bend, in the order in which they are made: where the tube's line is, where it was, and which way to turn.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned

    Returns
    -------
    Picture
    """
    width = 216.0
    height = max(twist_clocks_height_mm(sheet, width - 10.0), 10.0) + 12.0
    picture, ax = canvas(width, height)
    draw_twist_clocks(ax, sheet, x=5.0, top=height - 2.0, width=width - 10.0)
    write(ax, 6.0, 3.5, KEY, size=8.5, color=GREY)
    turns = "; ".join(f"bend {step.bend}: {step.words}" for step in sheet.steps)
    picture.alt = f"{sheet.line.line}, turns of the tube seen from end A: {turns or 'none'}."
    return picture


def _columns(width_mm: float) -> int:
    return max(1, int(width_mm // _LEAST_CELL_MM))


def twist_clocks_height_mm(sheet: MarkSheet, width_mm: float) -> float:
    """How tall :func:`draw_twist_clocks` is in that width [mm of paper]."""
    return -(-sheet.legs.bends // _columns(width_mm)) * _ROW_MM


def draw_twist_clocks(ax: Axes, sheet: MarkSheet, *, x: float, top: float, width: float) -> None:
    """Draw the clocks in rows on paper, the upper left corner at (x, top) [mm]."""
    columns = _columns(width)
    cell = min(width / columns, _MOST_CELL_MM)
    for k, step in enumerate(sheet.steps):
        row, column = divmod(k, columns)
        centre = np.array([x + (column + 0.5) * cell, top - row * _ROW_MM - 5.0 - _RADIUS_MM])
        now = _tenth(step.line_deg)
        draw_clock(ax, centre, now, None if step.turn_deg is None else _tenth(now - step.turn_deg))
        badge(ax, centre[0] - _RADIUS_MM - 3.4, centre[1] + _RADIUS_MM - 1.0, step.bend)
        for i, text in enumerate(_two_lines(step.words)):
            write(ax, centre[0], centre[1] - _RADIUS_MM - 5.5 - 4.2 * i, text, size=8.5, bold=i == 0, ha="center")


def _tenth(turn_deg: float) -> float:
    return float(wrap_deg(round(turn_deg, 1)))


def _two_lines(words: str) -> list[str]:
    if "; " in words:
        first, second = words.split("; ")
        return [first, second.replace("anticlockwise", "acw.").replace("clockwise", "cw.")]
    head, _, tail = words.rpartition(" ")
    return [head, tail] if tail.endswith("clockwise") else [words]


def draw_clock(ax: Axes, centre: np.ndarray, now_deg: float, before_deg: float | None) -> None:
    """The tube end on, the side to which it bends at the top, its line now and before; `centre` [mm], clockwise from the top [deg]."""
    r = _RADIUS_MM
    ax.add_patch(Circle(centre, r, facecolor=PALE, edgecolor=INK, linewidth=1.0, zorder=2))
    ax.add_patch(Circle(centre, 0.62 * r, facecolor=PAPER, edgecolor=GREY, linewidth=0.8, zorder=2.1))
    tip = centre + [0.0, r + 4.2]
    outline(ax, [tip, tip + [-2.0, -3.0], tip + [2.0, -3.0]], fill=INK, zorder=3)
    if before_deg is not None and before_deg != now_deg:
        line(ax, [centre + 0.62 * r * _hand(before_deg), centre + 1.16 * r * _hand(before_deg)], color=GREY, width=2.4, style=(0, (1.2, 0.8)))
        turn = float(wrap_deg(now_deg - before_deg))
        arc = around(centre, 0.42 * r, 90.0 - before_deg, 90.0 - before_deg - turn)
        if abs(turn) > 20:
            line(ax, arc[:-3], color=INK, width=1.2)
            arrow(ax, arc[-6], arc[-1], width=1.2, head=7.0)
    line(ax, [centre + 0.5 * r * _hand(now_deg), centre + 1.28 * r * _hand(now_deg)], color=BLUE, width=3.6, zorder=4)


def _hand(clockwise_deg: float) -> np.ndarray:
    """The direction of a clock's hand, 0 at the top."""
    return towards(90.0 - clockwise_deg)
