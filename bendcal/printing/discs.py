"""The clock disc: a ring of degrees to put over the tube, with the side to which each bend goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle

from bendcal.figures.paper import BLUE, GREY, INK, line, wrap, write
from bendcal.figures.shapes import badge, outline, towards
from bendcal.marks import MarkSheet
from bendcal.path import clock_deg, wrap_deg
from bendcal.printing.pages import Pages
from bendcal.working import side_words

__all__ = ["RADIUS_MM", "Disc", "disc_of", "draw_discs"]

#: Outer radius of the disc [mm].
RADIUS_MM = 45.0

_RING_MM, _NAMES_MM = 39.5, 33.6  # where the ring of degrees ends inwards, and where its numbers stand
_BADGE_MM = 2.7
_ROW_MM = 5.4

_HEAD = "Places on the tube, not turns"
_PLACES = (
    "Where the inside of each bend lies, from the drawn line, seen from end A towards B; in the order in which the bends are made. "
    "The mark sheet and the strip say how your hands turn the tube from one bend to the next: that is the other way round."
)


@dataclass(frozen=True)
class Disc:
    """Where around the tube each bend goes.

    Attributes
    ----------
    at_deg : for each bend, its inside from the line drawn along the tube [deg], clockwise seen from end A
    slit_deg : where the disc is cut open [deg]: as far from every bend as can be
    hole_mm : the tube's outside diameter [mm]
    """

    at_deg: tuple[float, ...]
    slit_deg: float
    hole_mm: float


def disc_of(sheet: MarkSheet) -> Disc:
    """The disc of a line.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    """
    at = tuple(float(deg) for deg in np.atleast_1d(wrap_deg(np.round(clock_deg(sheet.legs.twist_deg), 1))))
    # Never at the line itself either: 0 is needed to set the disc.
    taken = np.unique(np.mod([0.0, *at], 360.0))
    gaps = np.diff([*taken, taken[0] + 360.0])
    widest = int(np.argmax(gaps))
    return Disc(at, float(wrap_deg(taken[widest] + gaps[widest] / 2)), sheet.tube.od_mm)


def draw_discs(pages: Pages, sheet: MarkSheet) -> None:
    """Draw both faces of the disc, and beside them where each bend goes, in the order of work.

    Parameters
    ----------
    pages : where to
    sheet : what :func:`bendcal.mark_out` returned
    """
    disc = disc_of(sheet)
    beside = pages.width - 4 * RADIUS_MM - 12.0
    top = pages.need(2 * RADIUS_MM + 8.0)
    for i, front in enumerate((True, False)):
        _face(pages.ax, disc, np.array([pages.x + (2 * i + 1) * RADIUS_MM + 3.0 * i, top - 5.0 - RADIUS_MM]), front)
    x = pages.x + 4 * RADIUS_MM + 12.0
    head, said = wrap(_HEAD, beside, 8.5, bold=True), wrap(_PLACES, beside, 8.5)
    for i, words in enumerate((*head, *said)):
        write(pages.ax, x, top - 6.0 - 4.0 * i, words, size=8.5, bold=i < len(head))
    taken = 4.0 * (len(head) + len(said))
    first = top - 9.0 - taken
    rows = min(sheet.legs.bends, int((2 * RADIUS_MM - 1.0 - taken) // _ROW_MM))
    for row, step in enumerate(sheet.steps[:rows]):
        y = first - _ROW_MM * row
        badge(pages.ax, x + 2.6, y + 1.0, step.bend, radius=2.3, size=8.0)
        words = _side(disc.at_deg[step.bend - 1])
        if rows < sheet.legs.bends and row == rows - 1:
            words = "and so on: see the mark sheet"
        write(pages.ax, x + 7.5, y, wrap(words, beside - 7.5, 8.5)[0], size=8.5)


def _side(deg: float) -> str:
    if deg == 0:
        return "at the line"
    return "opposite the line" if abs(deg) == 180 else side_words(deg)


def _face(ax: Axes, disc: Disc, centre: np.ndarray, front: bool) -> None:
    """One face: the one that looks at end A, or the mirrored one at its back."""
    way = -1.0 if front else 1.0
    at = lambda radius, deg: centre + radius * towards(90.0 + way * deg)  # noqa: E731
    for radius, width in ((RADIUS_MM, 0.9), (_RING_MM, 0.5), (disc.hole_mm / 2, 0.9)):
        ax.add_patch(Circle(centre, radius, facecolor="none", edgecolor=INK, linewidth=width, zorder=3, snap=False))
    strokes = []
    for deg in range(360):
        length = 4.2 if deg % 10 == 0 else 3.0 if deg % 5 == 0 else 1.8
        strokes += [at(RADIUS_MM, deg), at(RADIUS_MM - length, deg), (np.nan, np.nan)]
    line(ax, strokes, width=0.35)
    for deg in range(-170, 181, 10):
        turn = (way * deg + 180.0) % 360.0 - 180.0
        if deg and abs(wrap_deg(deg - disc.slit_deg)) > 3.0:
            # Upside down numbers below would be read wrongly: 60 and 90, 160 and 190.
            upright = turn if abs(turn) <= 90 else turn + 180.0
            write(ax, *at(_RING_MM - 2.3, deg), f"{abs(deg)}", size=8.0, ha="center", va="center_baseline", rotation=upright)
    tip = at(RADIUS_MM - 0.2, 0.0)
    outline(ax, [tip, tip + [-1.8, -5.2], tip + [1.8, -5.2]], fill=INK, zorder=4)
    write(ax, *at(_RING_MM - 3.4, 0.0), "line", size=8.0, bold=True, ha="center", va="center_baseline")
    line(ax, [at(disc.hole_mm / 2, disc.slit_deg), at(RADIUS_MM, disc.slit_deg)], width=0.9, style=(0, (5, 2)), zorder=3.5)
    _bends(ax, disc, at)
    cross = max(disc.hole_mm / 2, 1.5)
    for step in (np.array([cross, 0.0]), np.array([0.0, cross])):
        line(ax, [centre - step, centre + step], color=GREY, width=0.4)
    words = ("this face", "towards end A") if front else ("this face", "towards end B")
    for i, text in enumerate(words):
        write(ax, *(centre + [0.0, -disc.hole_mm / 2 - 5.0 - 3.6 * i]), text, size=8.0, bold=True, ha="center", halo=True, zorder=7)


def _bends(ax: Axes, disc: Disc, at) -> None:
    """A hand from the ring to the number of each bend; numbers stand where they do not touch one another."""
    taken: list[np.ndarray] = [at(_NAMES_MM + 3.0, 0.0), *(at(radius, disc.slit_deg) for radius in np.arange(disc.hole_mm / 2, _NAMES_MM + 3.0, 2.0))]
    taken += [at(0.0, 0.0) + [dx, -disc.hole_mm / 2 - 6.0] for dx in (-9.0, -4.5, 0.0, 4.5, 9.0)] + [at(0.0, 0.0)]
    for bend, deg in enumerate(disc.at_deg, start=1):
        tries = [(radius, deg + shift) for radius in (_NAMES_MM - 4.0, _NAMES_MM - 10.0, _NAMES_MM - 16.0) for shift in (0.0, 7.0, -7.0, 14.0, -14.0, 21.0, -21.0)]
        room = [min(np.hypot(*(at(*place) - other)) for other in taken) for place in tries]
        best = next((i for i, free in enumerate(room) if free > 2 * _BADGE_MM + 0.4), int(np.argmax(room)))
        place = at(*tries[best])
        taken.append(place)
        line(ax, [at(RADIUS_MM - 4.6, deg), at(RADIUS_MM, deg)], color=BLUE, width=2.0, zorder=3.6)
        line(ax, [at(_NAMES_MM + 0.5, deg), place], color=BLUE, width=0.8, zorder=3.4)
        badge(ax, *place, bend, radius=_BADGE_MM, size=8.0)
