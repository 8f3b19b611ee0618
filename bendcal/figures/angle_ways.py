"""Two ways to a bend's angle, drawn for its own numbers: a protractor laid on the piece, and a chord across it."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from bendcal.arc import setback_mm
from bendcal.chord import chord_mm as chord_of
from bendcal.figures.bench import USUAL_RADIUS
from bendcal.figures.paper import BLUE, GREY, INK, ORANGE, PAPER, Picture, canvas, line, wrap, write
from bendcal.figures.shapes import around, arrow, badge, dimension, outline, towards, tube_outline

__all__ = ["angle_ways"]

_WIDTH_MM, _TALL_MM, _TUBE_MM = 216.0, 100.0, 2.2  # half of the tube's width on paper
_ROUND_MM = 33.0  # radius of the protractor on paper


def angle_ways(angle_deg: float, *, reach_mm: float = 100.0, chord_mm: float | None = None, od_mm: float = 4.75, radius_mm: float | None = None) -> Picture:
    """How to hold the protractor, and where to scribe and measure for the angle by a chord.

    Parameters
    ----------
    angle_deg : the finished angle [deg]
    reach_mm : apex to the scribe on each leg [mm]
    chord_mm : scribe to scribe [mm]; None: what it would be
    od_mm : outside diameter of the tube [mm]
    radius_mm : centreline radius [mm]; None: 3.5 outside diameters, near enough to look at

    Returns
    -------
    Picture

    Raises
    ------
    ValueError : for an angle that is no bend, or a length that is not above 0
    """
    if not 0 < angle_deg < 180:
        raise ValueError(f"angle_deg is {angle_deg}; a bend is more than 0° and less than 180°.")
    if not (reach_mm > 0 and (chord_mm is None or chord_mm > 0)):
        raise ValueError(f"reach_mm is {reach_mm} and chord_mm {chord_mm}; each is more than 0 mm.")
    chord = float(chord_of(reach_mm, reach_mm, angle_deg)) if chord_mm is None else float(chord_mm)
    told = f"{chord:.1f}" if chord_mm is None else f"{chord:g}"
    radius = USUAL_RADIUS * od_mm if radius_mm is None else float(radius_mm)
    shows = 180.0 - angle_deg
    picture, ax = canvas(_WIDTH_MM, _TALL_MM)
    write(ax, 7.0, _TALL_MM - 6.0, "With a protractor", size=10, bold=True)
    write(ax, 113.0, _TALL_MM - 6.0, "With a caliper, by a chord", size=10, bold=True)
    setback = float(setback_mm(angle_deg, radius)) * min(1.0, 0.45 * reach_mm / max(float(setback_mm(angle_deg, radius)), 1e-9))
    _protractor(ax, angle_deg, setback / reach_mm)
    _chord(ax, angle_deg, reach_mm, told, setback / reach_mm)
    left = (
        f"Its centre on the apex, where the centre lines cross; its base line along leg A and on beyond. Leg B lies at {angle_deg:g}°, "
        f"counted from straight on. The scale that counts from leg A shows {shows:g}°: 180° − {shows:g}° = {angle_deg:g}°."
    )
    right = (
        f"Scribe both legs {reach_mm:g} mm from the apex, on the centre lines. (Or on the outside edges, from where those cross: not one of each.) "
        f"Measure straight across. {told} mm is an angle of {angle_deg:g}°."
    )
    for x, words in ((7.0, left), (113.0, right)):
        for k, row in enumerate(wrap(words, 96.0, 9.0)):
            write(ax, x, 17.0 - 4.6 * k, row)
    picture.alt = f"{left} {right}"
    return picture


def _bent(angle_deg: float, apex: np.ndarray, leg: float, share: float) -> np.ndarray:
    """A bend on paper, leg A from the left, its arc `share` of a leg each way from the apex."""
    along, back = towards(angle_deg), share * leg
    radius = back / np.tan(np.radians(angle_deg / 2))
    arc = around(apex + [-back, radius], radius, -90.0, angle_deg - 90.0)
    return np.vstack([apex - [leg, 0.0], arc, apex + leg * along])


def _protractor(ax: Axes, angle_deg: float, share: float) -> None:
    apex = np.array([58.0, 34.0])
    ring = np.vstack([around(apex, _ROUND_MM, 0.0, 180.0), around(apex, _ROUND_MM - 9.0, 180.0, 0.0)])
    outline(ax, tube_outline(_bent(angle_deg, apex, 44.0, share * 0.8), _TUBE_MM), zorder=2)
    patch = outline(ax, ring, fill=PAPER, zorder=3)
    patch.set_alpha(0.82)
    outline(ax, ring, fill="none", zorder=3.1)
    for mark in range(0, 181, 5):
        out = towards(mark)
        deep = 3.4 if mark % 30 == 0 else 2.2 if mark % 10 == 0 else 1.2
        line(ax, [apex + (_ROUND_MM - deep) * out, apex + _ROUND_MM * out], width=0.7, zorder=3.2)
        if mark % 30 == 0:
            lift = 1.9 if mark in (0, 180) else 0.0  # off the base line
            write(ax, *(apex + (_ROUND_MM - 6.2) * out + [0.0, lift]), f"{mark}", size=8, ha="center", va="center_baseline", zorder=3.3)
    line(ax, [apex - [44.0, 0.0], apex + [_ROUND_MM + 8.0, 0.0]], color=GREY, style="--", zorder=3.4)
    line(ax, [apex, apex + 44.0 * towards(angle_deg)], color=GREY, style="--", zorder=3.4)
    ax.plot(*apex, "o", color=INK, markersize=6, zorder=6)
    arc = around(apex, 16.0, 0.0, angle_deg)
    line(ax, arc[:-2], color=ORANGE, width=2.0, zorder=5)
    arrow(ax, arc[-4], arc[-1], color=ORANGE, width=2.0, head=9.0, zorder=5)
    write(ax, *(apex + 9.5 * towards(angle_deg / 2)), f"{angle_deg:g}°", bold=True, ha="center", va="center_baseline", halo=True, zorder=5.5)
    badge(ax, *(apex - [48.0, 0.0]), "A", dark=True)
    badge(ax, *(apex + 48.0 * towards(angle_deg)), "B", dark=True)


def _chord(ax: Axes, angle_deg: float, reach_mm: float, chord: str, share: float) -> None:
    leg = 38.0
    low = leg * towards(angle_deg)
    apex = np.array([163.0, 34.0])
    outline(ax, tube_outline(_bent(angle_deg, apex, 1.18 * leg, share / 1.18), _TUBE_MM), zorder=2)
    one, two = apex - [leg, 0.0], apex + low
    for end in (apex - [1.18 * leg, 0.0], apex + 1.18 * low):
        line(ax, [apex, end], color=GREY, style="--", zorder=3)
    for scribe, way in ((one, 90.0), (two, angle_deg + 90.0)):
        across = (_TUBE_MM + 1.6) * towards(way)
        line(ax, [scribe - across, scribe + across], color=BLUE, width=2.4, zorder=4)
    line(ax, [one, two], color=ORANGE, width=2.0, zorder=4)
    middle, way = (one + two) / 2, two - one
    up = np.array([-way[1], way[0]]) / np.hypot(*way)
    place = middle + 3.2 * up
    turn = float(np.degrees(np.arctan2(way[1], way[0])))
    write(ax, *place, f"{chord} mm", bold=True, ha="center", va="bottom", rotation=turn, halo=True, zorder=5)
    dimension(ax, one - [0.0, _TUBE_MM], apex - [0.0, _TUBE_MM], f"{reach_mm:g} mm", away=-7.0)
    right = towards(angle_deg - 90.0) * _TUBE_MM
    dimension(ax, apex + right, two + right, f"{reach_mm:g} mm", away=-7.0)
    ax.plot(*apex, "o", color=INK, markersize=6, zorder=6)
    badge(ax, *(apex - [1.18 * leg + 5.0, 0.0]), "A", dark=True)
    badge(ax, *(apex + (1.18 * leg + 5.0) * towards(angle_deg)), "B", dark=True)
