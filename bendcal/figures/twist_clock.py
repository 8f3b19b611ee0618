"""Twist clocks: how to turn the tube before each bend, seen from end A looking towards B."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle

from bendcal.figures.paper import BLUE, GREY, INK, PALE, PAPER, Picture, canvas, line, write
from bendcal.figures.shapes import around, arrow, badge, outline, towards
from bendcal.marks import MarkSheet
from bendcal.path import clock_deg, tube_turn_deg, wrap_deg

__all__ = ["KEY", "clocks", "draw_clock", "draw_twist_clocks", "line_at_deg", "side_words", "turn_words", "twist_clocks_height_mm"]

_LEAST_CELL_MM, _MOST_CELL_MM, _ROW_MM, _RADIUS_MM = 30.0, 34.0, 33.5, 7.5

#: What the clocks show.
KEY = (
    "Seen from end A towards B; the tube bends towards the top. Solid: the line drawn along the tube; dashed: where it was before."
)


def line_at_deg(sheet: MarkSheet) -> np.ndarray:
    """Where the line drawn along the tube has to be for each bend, from the side that the tube bends to.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned

    Returns
    -------
    (n,) degrees in (−180, 180], positive clockwise seen from end A; the first is 0, for the line is
    drawn on the inside of bend 1
    """
    return np.atleast_1d(wrap_deg(-np.round(clock_deg(sheet.legs.twist_deg), 1)))


def turn_words(sheet: MarkSheet, bend: int) -> str:
    """How to turn the tube before a bend, in few words, seen from end A.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    bend : 1 is the first
    """
    if bend == 1:
        return "line on the inside"
    if sheet.feed[bend - 1] != sheet.feed[bend - 2]:
        at = float(line_at_deg(sheet)[bend - 1])
        return f"end for end; line {f'at {side_words(at)}' if at else 'on the inside'}"
    turn = float(wrap_deg(round(float(tube_turn_deg(sheet.legs.twist_deg[bend - 1])), 1)))
    if turn == 0:
        return "no turn"
    return "half a turn" if abs(turn) == 180 else side_words(turn)


def side_words(turn_deg: float) -> str:
    """How far and which way round, such as ``25.9° clockwise``."""
    return f"{abs(turn_deg):.1f}° {'clockwise' if turn_deg > 0 else 'anticlockwise'}"


def clocks(sheet: MarkSheet) -> Picture:
    """One clock a bend: where the tube's line is, where it was, and which way to turn.

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
    turns = "; ".join(f"bend {k + 1}: {turn_words(sheet, k + 1)}" for k in range(sheet.legs.bends))
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
    at = line_at_deg(sheet)
    for k in range(sheet.legs.bends):
        row, column = divmod(k, columns)
        centre = np.array([x + (column + 0.5) * cell, top - row * _ROW_MM - 5.0 - _RADIUS_MM])
        swapped = k > 0 and sheet.feed[k] != sheet.feed[k - 1]
        draw_clock(ax, centre, float(at[k]), None if k == 0 or swapped else float(at[k - 1]))
        badge(ax, centre[0] - _RADIUS_MM - 3.4, centre[1] + _RADIUS_MM - 1.0, k + 1)
        for i, text in enumerate(_two_lines(turn_words(sheet, k + 1))):
            write(ax, centre[0], centre[1] - _RADIUS_MM - 5.5 - 4.2 * i, text, size=8.5, bold=i == 0, ha="center")


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
