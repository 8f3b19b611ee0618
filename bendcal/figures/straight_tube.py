"""The straight tube with its marks: what the cut piece looks like before the first bend."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from bendcal.ends import End
from bendcal.figures.paper import BLUE, GREY, INK, PALE, PAPER, Picture, block, canvas, line, printable, text_width_mm, wrap, write
from bendcal.figures.shapes import badge, outline
from bendcal.figures.style import spread
from bendcal.marks import MarkSheet
from bendcal.measures import inch_text

__all__ = ["KEY", "draw_straight_tube", "marks", "straight_tube_height_mm"]

_GUTTER_MM = 24.0  # names of the rows
_END_MM = 9.0  # room beyond each end of the tube, for its letter
_GAP_MM = 2.5  # between labels
_LINE_MM, _ROW_MM, _LEADER_MM, _TUBE_MM = 3.8, 4.6, 6.0, 5.0
_SIZE = 9.0

#: What the signs on the tube mean.
KEY = "Heavy line: the mark. Shaded: tube that the bend uses. Dotted: the seat. Hatched: spare tube, cut after the fit-up."


@dataclass(frozen=True)
class _Strip:
    """A part of the tube drawn in one row: bends first to last − 1, from low to high mm."""

    first: int
    last: int
    low_mm: float
    high_mm: float


def marks(sheet: MarkSheet, *, inches: bool = False) -> Picture:
    """The straight tube with every mark, the tube that each bend uses, and what is set there.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    inches : whether marks are also written in inches and fractions

    Returns
    -------
    Picture; positions along the tube are in proportion, the tube is drawn thicker than it is
    """
    width = 216.0
    height = straight_tube_height_mm(sheet, width=width - 12.0, inches=inches) + 13.0
    picture, ax = canvas(width, height)
    draw_straight_tube(ax, sheet, x=6.0, top=height - 4.0, width=width - 12.0, inches=inches)
    write(ax, 6.0, 3.5, KEY, size=8.5, color=GREY)
    places = ", ".join(f"{k + 1} at {mark:.1f} mm" for k, mark in enumerate(sheet.mark_mm))
    picture.alt = f"{sheet.line.line}: cut {sheet.cut_length_mm:.1f} mm; marks from end A: {places or 'none'}."
    return picture


def straight_tube_height_mm(sheet: MarkSheet, *, width: float, inches: bool = False) -> float:
    """How tall :func:`draw_straight_tube` is in that width [mm of paper]."""
    return _head_mm(sheet, width, inches) + len(_strips(sheet, width, inches)) * _strip_height(sheet, inches)


def _strip_height(sheet: MarkSheet, inches: bool) -> float:
    above, below = len(_names_above(inches)), len(_names_below(sheet))
    return 6.0 + _ROW_MM * (above + below) + 2 * _LEADER_MM + _TUBE_MM + 2.0


def _names_above(inches: bool) -> list[str]:
    return ["mark, mm", "mark, inch"] if inches else ["mark, mm"]


def _names_below(sheet: MarkSheet) -> list[str]:
    # Which end leads is worth a row only where the tube is turned end for end.
    # The same holds of the order, where it is not that of the bends along the tube.
    # No twist: it is told the other way round than the turns of the hands, which are what the vice needs.
    return ["dial", "finished angle"] + (["end leading"] if np.any(sheet.feed < 0) else []) + ([] if sheet.in_row else ["made as no."])


def _texts(sheet: MarkSheet, bend: int, inches: bool) -> tuple[list[str], list[str]]:
    """What stands above and below the tube for one bend, counted from 0."""
    mark = float(sheet.mark_mm[bend])
    above = [f"{mark:.1f}", inch_text(mark)]
    below = [f"{sheet.dial_deg[bend]:.1f}°", f"{sheet.legs.angle_deg[bend]:.1f}°"]
    if np.any(sheet.feed < 0):
        below.append("A" if sheet.feed[bend] > 0 else "B")
    if not sheet.in_row:
        below.append(str(sheet.order.index(bend + 1) + 1))
    return above[: len(_names_above(inches))], below


def _label_width_mm(sheet: MarkSheet, bend: int, inches: bool) -> float:
    above, below = _texts(sheet, bend, inches)
    # The first row on either side is bold.
    return max(text_width_mm(printable(text), _SIZE, bold=row == 0) for texts in (above, below) for row, text in enumerate(texts))


def _strips(sheet: MarkSheet, width: float, inches: bool) -> list[_Strip]:
    """The tube cut between bends into as few strips as can hold all labels side by side."""
    bends = sheet.legs.bends
    widths = [_label_width_mm(sheet, k, inches) + _GAP_MM for k in range(bends)]
    for count in range(1, max(bends, 1) + 1):
        edges = [round(bends * i / count) for i in range(count + 1)]
        if all(sum(widths[i:j]) <= width - _GUTTER_MM for i, j in zip(edges, edges[1:], strict=False)):
            break
    cuts = [float(sheet.end_mm[k - 1] + sheet.start_mm[k]) / 2 for k in edges[1:-1]]
    bounds = [0.0, *cuts, sheet.cut_length_mm]
    return [_Strip(edges[i], edges[i + 1], bounds[i], bounds[i + 1]) for i in range(count)]


def draw_straight_tube(ax: Axes, sheet: MarkSheet, *, x: float, top: float, width: float, inches: bool = False) -> None:
    """Draw the straight tube on paper in millimetres.

    Parameters
    ----------
    ax : the paper, from :func:`bendcal.figures.paper.canvas`
    sheet : what :func:`bendcal.mark_out` returned
    x, top : the upper left corner [mm of paper]
    width : how wide it may be [mm of paper]
    inches : whether marks are also written in inches and fractions
    """
    _head(ax, sheet, x, top, width, inches)
    strips = _strips(sheet, width, inches)
    room = width - _GUTTER_MM - 2 * _END_MM
    scale = room / max(strip.high_mm - strip.low_mm for strip in strips)
    for i, strip in enumerate(strips):
        _draw_strip(ax, sheet, strip, scale, x, top - _head_mm(sheet, width, inches) - i * _strip_height(sheet, inches), width, inches)


def _head_mm(sheet: MarkSheet, width: float, inches: bool) -> float:
    """How tall the ends and the cut length above the tube are: no taller than they need to be, so that the clocks find room below the table."""
    return 0.6 + _LINE_MM * max(2.4 if inches else 2.0, *(len(words) for words in _end_words(sheet, width).values()))


def _end_words(sheet: MarkSheet, width: float) -> dict[str, list[str]]:
    """What stands beside each end, in at most three lines."""
    said = {}
    for letter, end in (("A", sheet.end_a), ("B", sheet.end_b)):
        words = wrap(end.form if end.end == end.form else f"{end.end}: {end.form}", width / 3 - 14.0, 8.5)
        if sheet.line.trim_at == letter and sheet.trim_mm > 0:
            words = [*words[:2], f"spare: {sheet.trim_mm:g} mm, hatched"]
        said[letter] = words[:3]
    return said


def _head(ax: Axes, sheet: MarkSheet, x: float, top: float, width: float, inches: bool) -> None:
    words = _end_words(sheet, width)
    for letter, end, left in (("A", sheet.end_a, True), ("B", sheet.end_b, False)):
        at = x if left else x + width
        inward = 1.0 if left else -1.0
        badge(ax, at + inward * 2.6, top - 3.0, letter, dark=True)
        _end_icon(ax, at + inward * 7.0, top - 3.0, end, inward)
        for k, text in enumerate(words[letter]):
            write(ax, at + inward * 17.0, top - 2.6 - _LINE_MM * k, text, size=8.5, ha="left" if left else "right")
    cut = f"cut {sheet.cut_length_mm:.1f} mm"
    write(ax, x + width / 2, top - 3.6, cut, size=11, bold=True, ha="center")
    if inches:
        write(ax, x + width / 2, top - 8.4, inch_text(sheet.cut_length_mm), size=10, ha="center")


def _end_icon(ax: Axes, x: float, y: float, end: End, inward: float) -> None:
    """A small picture of the finished end: the tube, its flare or olive, and the nut behind it."""
    at = lambda points: [(x + inward * px, y + py) for px, py in points]  # noqa: E731
    half, tip = 0.9, 1.9
    if end.form == "bubble flare":
        shape = [(0, half), (0.6, tip), (1.6, tip), (2.4, half), (8.5, half)]
    elif end.is_flare:
        shape = [(0, tip), (1.6, half), (8.5, half)]
    else:
        shape = [(0, half), (8.5, half)]
    outline(ax, at([*shape, *[(px, -py) for px, py in reversed(shape)]]), zorder=3)
    if end.form == "olive":
        outline(ax, at([(1.6, half), (2.4, 1.6), (3.2, 1.6), (4.0, half), (4.0, -half), (3.2, -1.6), (2.4, -1.6), (1.6, -half)]), fill=GREY, zorder=4)
    if end.form != "plain":
        outline(ax, at([(4.6, 2.2), (7.8, 2.2), (7.8, -2.2), (4.6, -2.2)]), fill=PAPER, zorder=4)
        for side in (0.8, -0.8):
            line(ax, at([(4.6, side), (7.8, side)]), width=0.6, zorder=5)


def _draw_strip(ax: Axes, sheet: MarkSheet, strip: _Strip, scale: float, x: float, top: float, width: float, inches: bool) -> None:
    x0 = x + _GUTTER_MM + _END_MM
    at = lambda mm: x0 + (mm - strip.low_mm) * scale  # noqa: E731
    names_above, names_below = _names_above(inches), _names_below(sheet)
    y = top - 6.0 - _ROW_MM * len(names_above) - _LEADER_MM - _TUBE_MM / 2
    last = strip.high_mm >= sheet.cut_length_mm
    _tube(ax, sheet, strip, at, y)
    if strip.low_mm == 0:
        badge(ax, at(0) - 5.0, y, "A", dark=True)
    if last:
        badge(ax, at(strip.high_mm) + 5.0, y, "B", dark=True)
    bends = range(strip.first, strip.last)
    if not bends:
        return
    widths = np.array([_label_width_mm(sheet, k, inches) for k in bends])
    wanted = np.array([at(sheet.mark_mm[k]) for k in bends])
    places = spread(
        wanted, (widths[:-1] + widths[1:]) / 2 + _GAP_MM, x + _GUTTER_MM + widths[0] / 2 + 1.0, x + width - widths[-1] / 2
    )
    for k, name in enumerate(names_above):
        write(ax, x, top - 6.0 - _ROW_MM * (k + 0.75), name, size=8.5, color=GREY)
    foot = y - _TUBE_MM / 2 - _LEADER_MM
    for k, name in enumerate(names_below):
        write(ax, x, foot - _ROW_MM * (k + 0.75), name, size=8.5, color=GREY)
    for i, k in enumerate(bends):
        badge(ax, places[i], top - 2.8, k + 1)
        above, below = _texts(sheet, k, inches)
        for row, text in enumerate(above):
            write(ax, places[i], top - 6.0 - _ROW_MM * (row + 0.75), text, ha="center", bold=row == 0, color=BLUE if row == 0 else INK)
        for row, text in enumerate(below):
            write(ax, places[i], foot - _ROW_MM * (row + 0.75), text, ha="center", bold=row == 0)
        half = _TUBE_MM / 2
        line(ax, [(wanted[i], y - half - 1.5), (wanted[i], y + half + 1.5)], color=BLUE, width=2.2, zorder=4.5)
        line(ax, [(wanted[i], y + half + 1.5), (places[i], y + half + _LEADER_MM - 0.6)], color=BLUE, width=0.7)
        line(ax, [(wanted[i], y - half - 1.5), (places[i], y - half - _LEADER_MM + 0.6)], color=BLUE, width=0.7)


def _tube(ax: Axes, sheet: MarkSheet, strip: _Strip, at, y: float) -> None:
    """The tube itself: bend zones shaded, spare tube hatched, the seats dotted."""
    half = _TUBE_MM / 2
    low, high = at(strip.low_mm), at(strip.high_mm)
    block(ax, low, y - half, high - low, _TUBE_MM, fill=PALE, edge="none")
    for k in range(strip.first, strip.last):
        start, stop = (max(strip.low_mm, min(float(mm), strip.high_mm)) for mm in (sheet.start_mm[k], sheet.end_mm[k]))
        block(ax, at(start), y - half, (stop - start) * _paper_scale(at), _TUBE_MM, fill="#9fb4cf", edge=GREY, line_width=0.5, zorder=2.5)
    if sheet.trim_mm > 0:
        spare = (0.0, sheet.trim_mm) if sheet.line.trim_at == "A" else (sheet.cut_length_mm - sheet.trim_mm, sheet.cut_length_mm)
        start, stop = max(spare[0], strip.low_mm), min(spare[1], strip.high_mm)
        if stop > start:
            block(ax, at(start), y - half, (stop - start) * _paper_scale(at), _TUBE_MM, fill=PAPER, line_width=0.7, hatch="////////", zorder=2.6)
    for seat in (sheet.seat_a_mm, sheet.seat_b_mm):
        if strip.low_mm < seat < strip.high_mm:
            line(ax, [(at(seat), y - half - 0.8), (at(seat), y + half + 0.8)], color=INK, style=":", width=1.0, zorder=4)
    for edge in (y - half, y + half):
        line(ax, [(low, edge), (high, edge)], width=0.9)
    for mm, whole in ((strip.low_mm, strip.low_mm == 0), (strip.high_mm, strip.high_mm >= sheet.cut_length_mm)):
        if whole:
            line(ax, [(at(mm), y - half), (at(mm), y + half)], width=0.9)
        else:
            wave = np.linspace(-half - 1.0, half + 1.0, 25)
            line(ax, np.column_stack([at(mm) + 0.7 * np.sin(wave * np.pi / half), y + wave]), width=0.9)


def _paper_scale(at) -> float:
    """Paper millimetres for one millimetre of tube."""
    return at(1.0) - at(0.0)
