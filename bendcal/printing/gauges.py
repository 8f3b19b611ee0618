"""Angle gauges: each bend of a line as it should finish, at true scale, to lay the real one on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from bendcal.figures.paper import GREY, INK, PALE, line, text_width_mm, write
from bendcal.figures.shapes import around, badge, outline, towards
from bendcal.marks import MarkSheet
from bendcal.printing.pages import Pages

__all__ = ["Gauge", "draw_gauges", "gauges_of"]

_LONG_MM, _SHORT_MM = 45.0, 18.0  # the straight drawn beyond either end of the bend
_MOST_COLUMNS, _LEAST_CELL_MM = 3, 80.0
_HEAD_MM, _PAD_MM = 17.0, 6.0
_TALLEST_MM = 112.0
_DASHED = (0, (4, 2))
_MOST_BADGES = 5


@dataclass(frozen=True)
class Gauge:
    """One bend as it should finish, in its own plane: a roof with its apex up, leg A on the left.

    The centre of the bend is the origin.

    Attributes
    ----------
    bends : the numbers of the bends that finish so
    angle_deg : finished angle [deg]
    low_deg, high_deg : 19 of 20 single bends finish between these [deg]
    dial_deg : what is set [deg]
    radius_mm, od_mm : centreline radius and outside diameter [mm]
    """

    bends: tuple[int, ...]
    angle_deg: float
    low_deg: float
    high_deg: float
    dial_deg: float
    radius_mm: float
    od_mm: float

    def edge(self, side: float, leg_mm: float, *, angle_deg: float | None = None) -> np.ndarray:
        """One edge of the tube from leg A to leg B, (k, 2) [mm].

        Parameters
        ----------
        side : +1 the outside edge, −1 the inside edge, 0 the centreline
        leg_mm : the straight before and after the bend [mm]
        angle_deg : another finished angle [deg], leg A lying where it does; None for its own
        """
        bent = self.angle_deg if angle_deg is None else angle_deg
        begin = 90.0 + self.angle_deg / 2
        arc = around((0.0, 0.0), self.radius_mm + side * self.od_mm / 2, begin, begin - bent, points=max(9, int(bent) + 1))
        return np.vstack([arc[0] - leg_mm * towards(begin - 90.0), arc, arc[-1] + leg_mm * towards(begin - bent - 90.0)])

    def shape(self, leg_mm: float) -> np.ndarray:
        """The tube as one closed shape."""
        return np.vstack([self.edge(1.0, leg_mm), self.edge(-1.0, leg_mm)[::-1]])

    def box(self, leg_mm: float) -> np.ndarray:
        """Lower left and upper right corner of all that is drawn, (2, 2) [mm]."""
        ends = [self.edge(side, leg_mm + 7.0, angle_deg=angle) for side in (-1.0, 1.0) for angle in (self.low_deg, self.angle_deg, self.high_deg)]
        points = np.vstack(ends)
        return np.array([points.min(axis=0), points.max(axis=0)])

    def leg_for(self, width_mm: float) -> float | None:
        """The longest straight with which it fits [mm], or None where it does not fit at all."""
        for leg in np.arange(_LONG_MM, _SHORT_MM - 1, -1.0):
            wide, tall = np.diff(self.box(leg), axis=0)[0]
            if wide <= width_mm and tall <= _TALLEST_MM:
                return float(leg)
        return None


def gauges_of(sheet: MarkSheet) -> tuple[Gauge, ...]:
    """The gauges that a line needs: one for all bends that finish at the same tenth of a degree.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    """
    alike: dict[float, list[int]] = {}
    for k, angle in enumerate(sheet.legs.angle_deg):
        alike.setdefault(round(float(angle), 1), []).append(k)
    gauges = []
    for bends in alike.values():
        k = bends[0]
        low, high = sheet.law.finished_angle(float(sheet.dial_deg[k])).interval(0.95)
        gauges.append(Gauge(
            tuple(i + 1 for i in bends), float(sheet.legs.angle_deg[k]), max(float(low), 0.0), min(float(high), 179.0),
            float(sheet.dial_deg[k]), float(sheet.law.parameters["radius_mm"]), sheet.tube.od_mm,
        ))  # fmt: skip
    return tuple(gauges)


def draw_gauges(pages: Pages, gauges: Sequence[Gauge]) -> list[Gauge]:
    """Draw gauges in rows of cards, as many side by side as there is room for.

    Parameters
    ----------
    pages : where to
    gauges : what :func:`gauges_of` returned

    Returns
    -------
    Those that are larger than a page, and were not drawn
    """
    columns = _MOST_COLUMNS
    fits = lambda n: sum(g.leg_for(pages.width / n - 2 * _PAD_MM) is not None for g in gauges)  # noqa: E731
    while columns > 1 and (fits(columns) < fits(1) or pages.width / columns < _LEAST_CELL_MM):
        columns -= 1
    cell = pages.width / columns
    legs = [gauge.leg_for(cell - 2 * _PAD_MM) for gauge in gauges]
    drawn = [(gauge, leg) for gauge, leg in zip(gauges, legs, strict=True) if leg is not None]
    for i in range(0, len(drawn), columns):
        row = drawn[i : i + columns]
        tall = max(float(np.diff(gauge.box(leg), axis=0)[0, 1]) for gauge, leg in row)
        height = _HEAD_MM + tall + _PAD_MM
        top = pages.need(height)
        for k, (gauge, leg) in enumerate(row):
            _card(pages.ax, gauge, leg, pages.x + k * cell, top, cell, height)
    return [gauge for gauge, leg in zip(gauges, legs, strict=True) if leg is None]


def _card(ax: Axes, gauge: Gauge, leg: float, x: float, top: float, width: float, height: float) -> None:
    outline(ax, [(x, top), (x + width, top), (x + width, top - height), (x, top - height)], fill="none", edge=GREY, width=0.5)
    at = x + 6.0
    shown = gauge.bends if len(gauge.bends) <= _MOST_BADGES else gauge.bends[: _MOST_BADGES - 1]
    for bend in shown:
        badge(ax, at, top - 5.6, bend)
        at += 6.4
    if len(gauge.bends) > len(shown):
        more = f"+ {len(gauge.bends) - len(shown)}"
        write(ax, at - 2.0, top - 6.8, more, size=9.0)
        at += text_width_mm(more, 9.0) + 1.5
    write(ax, at - 1.5, top - 6.8, f"finish {gauge.angle_deg:.1f}°", size=10.0, bold=True)
    write(ax, x + width - 3.0, top - 6.8, f"dial {gauge.dial_deg:.1f}°", size=9.0, ha="right")
    write(ax, x + 3.4, top - 12.4, f"95 % finish between {gauge.low_deg:.1f}° and {gauge.high_deg:.1f}°", size=8.5)
    box = gauge.box(leg)
    middle = np.array([x + width / 2, top - _HEAD_MM]) - [box.mean(axis=0)[0], box[1, 1]]
    outline(ax, middle + gauge.shape(leg), fill=PALE, edge="none")
    for side in (1.0, -1.0):
        line(ax, middle + gauge.edge(side, leg), width=0.9)
        # A bend that is opened as far as it may be shows at its outside edge, one that is closed too far at its inside.
        furthest = gauge.low_deg if side > 0 else gauge.high_deg
        line(ax, middle + gauge.edge(side, leg + 1.5, angle_deg=furthest)[-2:], color=INK, width=0.7, style=_DASHED)
    line(ax, middle + gauge.edge(0.0, leg), color=GREY, width=0.4, style=(0, (8, 3, 2, 3)))
    for part in (slice(1, 2), slice(-2, -1)):
        feet = [middle + gauge.edge(side * 1.0, leg)[part][0] for side in (1, -1)]
        line(ax, feet, color=GREY, width=0.6)
    centre = gauge.edge(0.0, leg + 4.0)
    badge(ax, *(middle + centre[0]), "A", dark=True, radius=2.2, size=8.0)
    badge(ax, *(middle + centre[-1]), "B", dark=True, radius=2.2, size=8.0)
    said = f"R {gauge.radius_mm:.1f} mm"
    if text_width_mm(said, 8.0) < 2 * (gauge.radius_mm - gauge.od_mm) and gauge.angle_deg > 60:
        write(ax, *(middle - [0.0, 1.0]), said, size=8.0, color=GREY, ha="center")
