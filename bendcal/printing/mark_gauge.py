"""The mark gauge: a bent offcut at true scale with its mark, to see whether the bends still start where they should."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, degrees, radians, sin

import numpy as np
from matplotlib.axes import Axes

from bendcal.arc import setback_mm
from bendcal.estimate import Estimate
from bendcal.figures.paper import BLUE, GREY, INK, PALE, line, text_width_mm, wrap, write
from bendcal.figures.shapes import around, arrow, badge, outline, towards
from bendcal.law import Law
from bendcal.measures import mm_text
from bendcal.printing.pages import Pages
from bendcal.tubes import Tube

__all__ = ["MarkGauge", "draw_mark_gauge", "mark_gauge_for"]

_LEG_A_MM, _LEG_B_MM = 62.0, 38.0
_REACH_MM = 8  # the little rule at the mark, either way
_WORDS_MM, _TALLEST_MM = 80.0, 150.0
_BAND = "#9fb4cf"


@dataclass(frozen=True)
class MarkGauge:
    """A bent offcut as the law makes it: the bend starts at the origin, leg A to the left, leg B upwards.

    Attributes
    ----------
    angle_deg, dial_deg : where it finishes, and what is set for it [deg]
    radius_mm, developed_radius_mm : of the arc's centreline, and what it uses of the tube for a radian [mm]
    offset_mm : from the mark to the start of the bend, positive towards end B [mm]
    low_mm, high_mm : 19 of 20 single marks lie within these of the start of the bend [mm]
    take_up_mm : from the mark to the apex [mm]
    od_mm : outside diameter [mm]
    """

    angle_deg: float
    dial_deg: float
    radius_mm: float
    developed_radius_mm: float
    offset_mm: float
    low_mm: float
    high_mm: float
    take_up_mm: float
    od_mm: float

    @property
    def leg_a_mm(self) -> float:
        """The straight that is drawn before the bend: long enough for the mark and its rule [mm]."""
        return max(_LEG_A_MM, self.high_mm + 2.0 * _REACH_MM)

    @property
    def reach_mm(self) -> float:
        """From the start of the bend to the apex [mm]."""
        return float(setback_mm(self.angle_deg, self.radius_mm))

    def place(self, from_start_mm: float, side: float = 0.0) -> tuple[np.ndarray, float]:
        """Where a place of the straight tube has gone by the bend.

        Parameters
        ----------
        from_start_mm : along the tube from the start of the bend, towards end B [mm]
        side : +1 for the inside edge, −1 for the outside edge, 0 for the centreline

        Returns
        -------
        The point [mm], and the way that the tube goes there [deg]

        Examples
        --------
        >>> point, way = MarkGauge(90, 92, 15, 15, 2, 1, 3, 17, 5).place(15 * 3.14159265 / 2)
        >>> point.round(3).tolist(), round(way, 3)
        ([15.0, 15.0], 90.0)
        """
        used = self.developed_radius_mm * radians(self.angle_deg)
        turned = min(max(from_start_mm, 0.0), used) / self.developed_radius_mm
        point = self.radius_mm * np.array([sin(turned), 1.0 - cos(turned)])
        way = degrees(turned)
        beyond = min(from_start_mm, 0.0) + max(from_start_mm - used, 0.0)
        return point + beyond * towards(way) + side * self.od_mm / 2 * towards(way + 90.0), way

    def edge(self, side: float) -> np.ndarray:
        """The inside edge (+1), outside edge (−1) or centreline (0) from leg A to leg B, (k, 2) [mm]."""
        arc = around((0.0, self.radius_mm), self.radius_mm - side * self.od_mm / 2, -90.0, self.angle_deg - 90.0, points=max(9, int(self.angle_deg) + 1))
        return np.vstack([arc[0] - [self.leg_a_mm, 0.0], arc, arc[-1] + _LEG_B_MM * towards(self.angle_deg)])


def mark_gauge_for(law: Law, tube: Tube, *, angle_deg: float | None = None) -> MarkGauge:
    """The gauge of one bender with one tube.

    Parameters
    ----------
    law : what the bender does to this tube
    tube : its size
    angle_deg : finished angle of the offcut [deg]; None: square if the offcuts covered that, else the middle of what they did

    Raises
    ------
    ValueError : for an angle that cannot be bent
    """
    if angle_deg is None:
        angle_deg = 90.0 if law.angle_range_deg is None or law.covers(90.0) else float(round(sum(law.angle_range_deg) / 2))
    _, _, radius, developed, offset = (float(value) for value in law.parameters)
    u = float(np.hypot(np.sqrt(max(law.covariance.to_numpy()[4, 4], 0.0)), law.marking_mm))
    low, high = Estimate(offset, u, "mm", law.dof).interval(0.95)
    return MarkGauge(
        float(angle_deg), float(law.dial_for(angle_deg).value), radius, developed, offset, float(low), float(high),
        float(law.take_up(angle_deg).value), tube.od_mm,
    )  # fmt: skip


def draw_mark_gauge(pages: Pages, gauge: MarkGauge) -> bool:
    """Draw the gauge, and beside it what to do with it.

    Parameters
    ----------
    pages : where to
    gauge : what :func:`mark_gauge_for` returned

    Returns
    -------
    Whether it was drawn: a bend larger than the page is not
    """
    apex = np.array([gauge.reach_mm, 0.0])
    points = np.vstack([gauge.edge(1.0), gauge.edge(-1.0), apex + [14.0, -6.0], gauge.place(-_REACH_MM - gauge.offset_mm)[0] - [0.0, 15.0]])
    low, high = points.min(axis=0) - [9.0, 0.0], points.max(axis=0) + [2.0, 9.0]
    wide, tall = high - low
    if wide > pages.width - _WORDS_MM or tall > _TALLEST_MM:
        return False
    words = [part for sentence in _words(gauge) for part in [*wrap(sentence, pages.width - wide - 10.0, 9.0), ""]]
    height = max(tall, 4.2 * len(words) + 4.0) + 3.0
    top = pages.need(height)
    origin = np.array([pages.x, top - 2.0 - tall]) - low
    _bent(pages.ax, gauge, origin)
    _rule(pages.ax, gauge, origin)
    for k, part in enumerate(words):
        write(pages.ax, pages.x + wide + 8.0, top - 6.0 - 4.2 * k, part, size=9.0)
    return True


def _words(gauge: MarkGauge) -> list[str]:
    half = (gauge.high_mm - gauge.low_mm) / 2
    # A mark on the arc has no leg along which it could be measured to the apex.
    apex = f", {mm_text(gauge.take_up_mm)} before the apex" if gauge.offset_mm >= 0 else ""
    where = f"{mm_text(abs(gauge.offset_mm))} {'before' if gauge.offset_mm >= 0 else 'beyond'} the start of the bend"
    return [
        f"Mark an offcut as you always do, and bend it at dial {gauge.dial_deg:.1f}°: by what the offcuts taught it finishes at {gauge.angle_deg:.1f}°.",
        "Lay it on the drawing, its bend in the arc and leg A between its lines.",
        f"Its mark should lie on the heavy line: {where}{apex}. 19 of 20 lie within the shaded "
        f"band, ± {mm_text(half)}.",
        "Read how far it lies off on the little rule. Beyond the band: the mark was set on another place of the bender than before, or the "
        "bender has shifted. Measure the piece and add it to the offcuts; do not shift the other marks by hand.",
    ]


def _bent(ax: Axes, gauge: MarkGauge, origin: np.ndarray) -> None:
    outline(ax, origin + np.vstack([gauge.edge(1.0), gauge.edge(-1.0)[::-1]]), fill=PALE, edge="none")
    steps = np.linspace(gauge.low_mm, gauge.high_mm, 25)
    band = [[origin + gauge.place(-step, side)[0] for step in steps] for side in (1.0, -1.0)]
    outline(ax, np.vstack([band[0], band[1][::-1]]), fill=_BAND, edge="none", zorder=2.3)
    for side in (1.0, -1.0):
        line(ax, origin + gauge.edge(side), width=0.9)
    line(ax, origin + gauge.edge(0.0), color=GREY, width=0.4, style=(0, (8, 3, 2, 3)))
    apex = origin + [gauge.reach_mm, 0.0]
    line(ax, [origin, apex + [5.0, 0.0]], color=GREY, width=0.6, style="--")
    line(ax, [apex, apex + gauge.reach_mm * towards(gauge.angle_deg)], color=GREY, width=0.6, style="--")
    used = gauge.developed_radius_mm * radians(gauge.angle_deg)
    for place in (0.0, used):
        line(ax, [origin + gauge.place(place, side * 1.5)[0] for side in (-1.0, 1.0)], color=GREY, width=0.7)
    write(ax, *(origin + [0.0, gauge.od_mm * 0.75 + 1.5]), "start of bend", size=8.0, color=GREY, ha="right")
    ax.plot(*apex, "o", color=INK, markersize=4, zorder=6)
    mark, way = gauge.place(-gauge.offset_mm, -1.0)
    near = np.hypot(*(mark + 8.4 * towards(way - 90.0) - [gauge.reach_mm + 5.0, -4.0])) < 11.0
    write(ax, *(apex + ([6.0, -1.0] if near else [2.0, -5.0])), "apex", size=8.0, color=GREY)
    badge(ax, *(origin + gauge.edge(0.0)[0] - [5.0, 0.0]), "A", dark=True)
    badge(ax, *(origin + gauge.edge(0.0)[-1] + 5.0 * towards(gauge.angle_deg)), "B", dark=True)


def _rule(ax: Axes, gauge: MarkGauge, origin: np.ndarray) -> None:
    """The mark, and a little rule along the outside edge that shows how far a real one is off."""
    across = [origin + gauge.place(-gauge.offset_mm, side)[0] for side in (1.0, -1.0)]
    way = gauge.place(-gauge.offset_mm)[1]
    out = towards(way - 90.0)
    line(ax, [across[0] - 2.0 * out, across[1] + 6.0 * out], color=BLUE, width=1.1, zorder=4)
    for k in range(-_REACH_MM, _REACH_MM + 1):
        point, there = gauge.place(k - gauge.offset_mm, -1.0)
        off = towards(there - 90.0)
        length = 3.0 if k % 5 == 0 else 1.8
        if k:
            line(ax, [origin + point + 0.3 * off, origin + point + (0.3 + length) * off], width=0.5)
        if k % 5 == 0 and k and np.hypot(*(point + 5.6 * off - [gauge.reach_mm + 3.0, -3.0])) > 7.0:
            write(ax, *(origin + point + 5.6 * off), f"{abs(k)}", size=8.0, ha="center", va="center_baseline")
    write(ax, *(across[1] + 8.4 * out), "mark", size=8.5, bold=True, color=BLUE, ha="center", va="center_baseline")
    for side, text in ((-1.0, "nearer A"), (1.0, "nearer B")):
        tail = across[1] + 12.0 * out + 2.0 * side * towards(way)
        if abs(way) < 1.0:
            arrow(ax, tail, tail + 6.0 * side * towards(way), width=0.7)
            x = tail[0] + side * 7.0
            write(ax, x if side > 0 else x - text_width_mm(text, 8.0), tail[1] - 1.0, text, size=8.0)
