"""The mark strip: the whole cut length at true scale, to lay the tube on and carry the marks over."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, pi

import numpy as np
from matplotlib.axes import Axes

from bendcal.figures.paper import BLUE, GREY, INK, PALE, PAPER, block, line, printable, text_width_mm, wrap, write
from bendcal.figures.shapes import badge, outline
from bendcal.figures.style import spread
from bendcal.marks import MarkSheet
from bendcal.measures import MM_PER_INCH, inch_text
from bendcal.printing.pages import Pages
from bendcal.printing.tiling import OVERLAP_MM, Piece, pieces_of

__all__ = ["Strip", "draw_strip", "strip_of"]

_BEYOND_MM = 9.0  # paper beyond each cut end, for its letter
_HEAD_MM, _TAG_MM, _ROW_MM, _LEADER_MM, _FOOT_MM = 5.4, 5.8, 4.0, 4.2, 2.4
_TURN_MM = 23.0  # the words for a turn are broken at this width
_SIZE, _GAP_MM = 8.5, 2.4
_ZONE = "#9fb4cf"


@dataclass(frozen=True)
class _Tag:
    """What is written at one place of the strip: above the tube, and below it (the first line bold)."""

    at_mm: float
    above: tuple[str, ...]
    below: tuple[str, ...] = ()
    bend: int = 0

    @property
    def above_mm(self) -> float:
        badge_mm = 7.0 if self.bend else 0.0
        return max(badge_mm + text_width_mm(printable(self.above[0]), _SIZE, bold=bool(self.bend)), *(text_width_mm(printable(t), _SIZE) for t in self.above))

    @property
    def below_mm(self) -> float:
        return max((text_width_mm(printable(t), _SIZE, bold=i == 0) for i, t in enumerate(self.below)), default=0.0)


@dataclass(frozen=True, eq=False)
class Strip:
    """A line's strip in pieces.

    Attributes
    ----------
    sheet : the marks
    pieces : from end A to end B
    half_mm : half the strip's width [mm]: folded round, it goes right round the tube
    inches : whether inches and fractions are given too
    height_mm : of one piece on the paper, its words included
    tags : what is written along it
    short : whether the bends lie so near to one another that their settings stand on the mark sheet alone
    """

    sheet: MarkSheet
    pieces: tuple[Piece, ...]
    half_mm: float
    inches: bool
    height_mm: float
    tags: tuple[_Tag, ...]
    short: bool


def strip_of(sheet: MarkSheet, *, width_mm: float, inches: bool = False) -> Strip:
    """Cut the strip of a line into pieces for the paper.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    width_mm : how wide one piece may be on the paper [mm]
    inches : whether inches and fractions are given too
    """
    for short in range(3):
        tags = _tags(sheet, inches, short)
        bends = [tag for tag in tags if tag.bend]
        places = [tag.at_mm for tag in tags]
        needs = [max(tag.above_mm, tag.below_mm) + _GAP_MM for tag in bends]
        pieces = pieces_of(
            min(0.0, *places) - _BEYOND_MM, max(sheet.cut_length_mm, *places) + _BEYOND_MM, width_mm=width_mm,
            marks_mm=[tag.at_mm for tag in bends], widths_mm=needs,
        )  # fmt: skip
        held = [[need for tag, need in zip(bends, needs, strict=True) if piece.from_mm <= tag.at_mm < piece.to_mm] for piece in pieces]
        if all(sum(needs) <= piece.to_mm - piece.from_mm for needs, piece in zip(held, pieces, strict=True)):
            break
    half = max(pi * sheet.tube.od_mm / 2, sheet.tube.od_mm / 2 + 6.0)
    above, below = max(len(tag.above) for tag in tags), max(4, *(len(tag.below) for tag in tags))
    height = _HEAD_MM + _TAG_MM + _ROW_MM * (above - 1) + 2 * half + 2 * _LEADER_MM + _ROW_MM * below + _FOOT_MM
    return Strip(sheet, pieces, half, inches, height, tags, short > 0)


def _tags(sheet: MarkSheet, inches: bool, short: int) -> tuple[_Tag, ...]:
    """The tags of the strip; `short` 1 leaves out what is set at each mark, 2 the mark's place too."""
    also = lambda mm: (inch_text(mm),) if inches else ()  # noqa: E731
    tags = []
    for letter, cut, seat in (("A", 0.0, sheet.seat_a_mm), ("B", sheet.cut_length_mm, sheet.seat_b_mm)):
        one = abs(cut - seat) < 0.05
        place = f" {cut:.1f}" if cut else ""
        spare = sheet.line.trim_at == letter and sheet.trim_mm > 0
        below = (f"spare {sheet.trim_mm:g} mm", "cut off after", "the fit-up") if spare else ()
        tags.append(_Tag(cut, (f"cut end {letter}{', seat' if one else ''}{place}", *(also(cut) if cut else ())), below))
        if not one:
            tags.append(_Tag(seat, (f"seat {letter} {seat:.1f}", *also(seat))))
    made = {step.bend: (i + 1, step.words) for i, step in enumerate(sheet.steps)}
    turned = bool((sheet.feed < 0).any())
    for k, mark in enumerate(float(mm) for mm in sheet.mark_mm):
        number, turn = made[k + 1]
        words = wrap(f"turn {turn}" if turn[0].isdigit() else turn, _TURN_MM, _SIZE)
        when = () if sheet.in_row else (f"made as no. {number}",)
        when += (f"end {'A' if sheet.feed[k] > 0 else 'B'} leads",) if turned else ()
        below = (*when, f"dial {sheet.dial_deg[k]:.1f}°", f"finish {sheet.legs.angle_deg[k]:.1f}°", *words)
        above = (f"{mark:.1f}", *also(mark)) if short < 2 else ("",)
        tags.append(_Tag(mark, above, () if short else below, k + 1))
    return tuple(sorted(tags, key=lambda tag: tag.at_mm))


def draw_strip(pages: Pages, strip: Strip) -> None:
    """Draw the pieces one below the other, as many as a page has room for.

    Parameters
    ----------
    pages : where to; its column must be as wide as the strip was made for
    strip : what :func:`strip_of` returned
    """
    for piece in strip.pieces:
        top = pages.need(strip.height_mm)
        _Drawn(pages.ax, strip, piece, pages.x, top, pages.width).draw()


class _Drawn:
    """One piece on the paper: places along it are in mm from the cut end A, heights from the tube's axis."""

    def __init__(self, ax: Axes, strip: Strip, piece: Piece, x: float, top: float, width: float) -> None:
        self.ax, self.strip, self.piece, self.x, self.top, self.width = ax, strip, piece, x, top, width
        self.h = strip.half_mm
        self.tags_top = top - _HEAD_MM - _TAG_MM
        self.tags_foot = self.tags_top - _ROW_MM * (max(len(tag.above) for tag in strip.tags) - 1)
        self.axis = self.tags_foot - _LEADER_MM - self.h
        self.here = [tag for tag in strip.tags if piece.from_mm <= tag.at_mm < piece.to_mm or (piece.last and tag.at_mm == piece.to_mm)]

    def at(self, mm: float, up: float = 0.0) -> tuple[float, float]:
        return self.x + mm - self.piece.low_mm, self.axis + up

    def draw(self) -> None:
        piece, strip = self.piece, self.strip
        of = f" {piece.number} of {len(strip.pieces)}" if len(strip.pieces) > 1 else ""
        low, high = max(piece.from_mm, 0.0), min(piece.to_mm, strip.sheet.cut_length_mm)
        write(self.ax, self.x, self.top - 4.0, f"Strip{of}: {low:.0f} to {high:.0f} mm from the cut end A", size=9.0, bold=True)
        foot = self.top - strip.height_mm + 0.8
        line(self.ax, [(self.x, foot), (self.x + self.width, foot)], color=GREY, width=0.5, style=(0, (6, 4)))
        self._tube()
        self._rule(1.0, (10, 5, 1), 50, h=self.h, down=-1.0, text=lambda mm: f"{mm:.0f}")
        if strip.inches:
            self._rule(float(MM_PER_INCH) / 16, (16, 8, 1), 16, h=-self.h, down=1.0, text=lambda mm: inch_text(mm))
        self._tags_above()
        self._tags_below()
        for mm, first in ((piece.from_mm, True), (piece.to_mm, False)):
            if not (piece.first if first else piece.last):
                self._joint(mm, cut_off=first)

    def _tube(self) -> None:
        sheet, piece, h = self.strip.sheet, self.piece, self.h
        half = sheet.tube.od_mm / 2
        clip = lambda a, b: (max(a, piece.low_mm), min(b, piece.high_mm))  # noqa: E731
        low, high = clip(0.0, sheet.cut_length_mm)
        block(self.ax, *self.at(low, -half), high - low, 2 * half, fill=PALE, edge="none")
        for start, stop in zip(sheet.start_mm, sheet.end_mm, strict=True):
            a, b = clip(float(start), float(stop))
            if b > a:
                block(self.ax, *self.at(a, -half), b - a, 2 * half, fill=_ZONE, edge="none", zorder=2.2)
        if sheet.trim_mm > 0:
            spare = (0.0, sheet.trim_mm) if sheet.line.trim_at == "A" else (sheet.cut_length_mm - sheet.trim_mm, sheet.cut_length_mm)
            a, b = clip(*spare)
            if b > a:
                block(self.ax, *self.at(a, -half), b - a, 2 * half, fill=PAPER, line_width=0.6, hatch="//////", zorder=2.4)
        for up in (-half, half):
            line(self.ax, [self.at(low, up), self.at(high, up)], width=0.8)
        for up in (-h, h):
            line(self.ax, [self.at(piece.low_mm, up), self.at(piece.high_mm, up)], color=GREY, width=0.5)
        line(self.ax, [self.at(low), self.at(high)], color=GREY, width=0.4, style=(0, (12, 3, 2, 3)), zorder=2.6)
        for letter, mm, out in (("A", 0.0, -1.0), ("B", sheet.cut_length_mm, 1.0)):
            if piece.low_mm <= mm <= piece.high_mm:
                line(self.ax, [self.at(mm, -h - 1.5), self.at(mm, h + 1.5)], width=1.0, zorder=4)
                badge(self.ax, *self.at(mm + 5.0 * out), letter, dark=True)
        for seat in (sheet.seat_a_mm, sheet.seat_b_mm):
            if piece.low_mm <= seat <= piece.high_mm:
                line(self.ax, [self.at(seat, -h), self.at(seat, h)], width=0.9, style=(0, (1, 1.5)), zorder=3.8)
        for mark in sheet.mark_mm:
            if piece.low_mm <= mark <= piece.high_mm:
                self._mark(float(mark))

    def _mark(self, mm: float) -> None:
        """A line thin enough to carry over by, with a wedge at either end that shows where it is."""
        line(self.ax, [self.at(mm, -self.h - 1.5), self.at(mm, self.h + 1.5)], color=BLUE, width=1.1, zorder=4.2)
        for side in (-1.0, 1.0):
            tip, base = side * (self.h - 0.1), side * (self.h + 2.6)
            outline(self.ax, [self.at(mm, tip), self.at(mm - 1.2, base), self.at(mm + 1.2, base)], fill=BLUE, edge="none", zorder=4.1)

    def _rule(self, step_mm: float, kinds: tuple[int, int, int], name_every: int, *, h: float, down: float, text) -> None:
        """The strokes of a rule along one edge of the strip, and some of their numbers."""
        low, high = max(self.piece.low_mm, 0.0), min(self.piece.high_mm, self.strip.sheet.cut_length_mm)
        strokes = []
        for k in range(ceil(low / step_mm - 1e-9), floor(high / step_mm + 1e-9) + 1):
            length = 2.8 if k % kinds[0] == 0 else 2.0 if k % kinds[1] == 0 else 1.2
            strokes += [self.at(k * step_mm, h), self.at(k * step_mm, h + down * length), (np.nan, np.nan)]
            if k and k % name_every == 0:
                words = text(k * step_mm)
                wide = text_width_mm(words, 8.0) + 1.2
                lines = [*self.strip.sheet.mark_mm, self.strip.sheet.seat_a_mm, self.strip.sheet.seat_b_mm, self.strip.sheet.cut_length_mm]
                free = all(not k * step_mm + 0.3 < mm < k * step_mm + wide for mm in lines) and k * step_mm + wide < self.piece.to_mm
                if free and k * step_mm >= self.piece.from_mm:
                    write(self.ax, *self.at(k * step_mm + 0.7, h + down * 3.4 - (1.1 if down > 0 else 1.9)), words, size=8.0, color=GREY)
        if strokes:
            line(self.ax, strokes, width=0.4, zorder=3.2)

    def _tags_above(self) -> None:
        wide = np.array([tag.above_mm for tag in self.here])
        for tag, place in zip(self.here, self._places(self.here, wide), strict=True):
            row = self.tags_top
            left = place - tag.above_mm / 2
            if tag.bend:
                badge(self.ax, left + 2.8, row + 2.6, tag.bend)
            centred = place + (3.5 if tag.bend else 0.0)
            for i, words in enumerate(tag.above):
                y = row + 1.5 - _ROW_MM * i - (0.6 if i else 0.0)
                write(self.ax, centred, y, words, size=_SIZE, bold=bool(tag.bend) and i == 0, color=BLUE if tag.bend else INK, ha="center")
            x, y = self.at(tag.at_mm, self.h + (2.6 if tag.bend else 1.5))
            line(self.ax, [(x, y), (place, row - 0.2 - (_ROW_MM + 0.4) * (len(tag.above) - 1))], color=BLUE if tag.bend else GREY, width=0.6)

    def _tags_below(self) -> None:
        told = [tag for tag in self.here if tag.below]
        top = self.axis - self.h - _LEADER_MM
        for tag, place in zip(told, self._places(told, np.array([tag.below_mm for tag in told])), strict=True):
            for i, words in enumerate(tag.below):
                write(self.ax, place, top - _ROW_MM * (i + 0.78), words, size=_SIZE, bold=i == 0 and bool(tag.bend), ha="center")
            line(self.ax, [self.at(tag.at_mm, -self.h - (2.6 if tag.bend else 1.5)), (place, top - 0.2)], color=BLUE if tag.bend else GREY, width=0.6)

    def _places(self, tags: list[_Tag], wide: np.ndarray) -> np.ndarray:
        """Where the words of each tag are centred: as near to it as its neighbours and the flaps allow."""
        if not tags:
            return np.zeros(0)
        low = self.x if self.piece.first else self.at(self.piece.from_mm)[0] + 1.5
        high = self.x + self.width if self.piece.last else self.at(self.piece.to_mm)[0] - 1.5
        wanted = np.array([self.at(tag.at_mm)[0] for tag in tags])
        return spread(wanted, (wide[:-1] + wide[1:]) / 2 + _GAP_MM, low + wide[0] / 2, high - wide[-1] / 2)

    def _joint(self, mm: float, *, cut_off: bool) -> None:
        """The line at which two pieces are joined, its crosses, and what to do with the flap beyond it."""
        h = self.h
        line(self.ax, [self.at(mm, -h - 6.0), self.at(mm, h + 6.0)], width=0.6, style=(0, (5, 2)), zorder=4)
        for up in (-h - 3.0, h + 3.0):
            line(self.ax, [self.at(mm - 3.0, up), self.at(mm + 3.0, up)], width=0.9, zorder=4)
            line(self.ax, [self.at(mm, up - 3.0), self.at(mm, up + 3.0)], width=0.9, zorder=4)
        side = -1.0 if cut_off else 1.0
        words = (f"joint {mm:g}", "cut off" if cut_off else "glue here")
        for i, text in enumerate(words):
            x, y = self.at(mm + side * OVERLAP_MM / 4 + (i - 0.5) * 3.4 + 1.0, -h - 6.4)
            write(self.ax, x, y, text, size=8.0, ha="right", rotation=90.0, color=INK if i == 0 else GREY)
