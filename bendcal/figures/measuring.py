"""What to measure on an old line: legs, angles, twists, straight distances and points, on one small drawing."""

from __future__ import annotations

from math import atan2, degrees

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle

from bendcal.figures.paper import BLUE, GREY, INK, ORANGE, PALE, PAPER, Picture, canvas, write
from bendcal.figures.paper import line as stroke
from bendcal.figures.shapes import around, arrow, badge, dimension, outline, towards, tube_outline

__all__ = ["what_to_measure"]

#: The example: places on paper [mm]. It is a drawing of no line of anybody's.
_AT = {name: np.array(place) for name, place in {"A": (22.0, 30.0), "1": (66.0, 30.0), "2": (104.0, 62.0), "B": (104.0, 100.0)}.items()}
_BOLT = np.array([30.0, 88.0])
_TWIST_DEG = 60.0
_TUBE_MM = 1.6  # half of its width on paper

_KEY = (
    ("1", "leg: by rule, from the tube's end, or the last apex, to the next apex"),
    ("2", "angle of a bend: how far it turns; 0 is straight, 90 square"),
    ("3", "twist: look along a leg from A towards B, and read it on a clock"),
    ("4", "straight distance: by tape, from place to place or to a bolt"),
    ("5", "point: x, y and z of an end's seat, as far as you can get at it"),
)


def what_to_measure() -> Picture:
    """A made-up line with everything on it that a pattern may hold, and a clock for the twist.

    Returns
    -------
    Picture
    """
    picture, ax = canvas(216.0, 146.0)
    _line(ax)
    _leg(ax)
    _angle(ax)
    _tape(ax)
    _point(ax)
    _clock(ax, np.array([170.0, 88.0]), 20.0)
    for k, (number, words) in enumerate(_KEY):
        _number(ax, np.array([10.0, 5.0 * (len(_KEY) - k) - 0.5 - 2.0]), number)
        write(ax, 16.0, 5.0 * (len(_KEY) - k) - 3.7, words, size=8.5)
    picture.alt = f"What to measure on an old line. {'; '.join(f'{number} {words}' for number, words in _KEY)}."
    return picture


def _shifted() -> dict[str, np.ndarray]:
    return {name: place + [0.0, 22.0] for name, place in _AT.items()}


def _number(ax: Axes, at: np.ndarray, number: str) -> None:
    ax.add_patch(Circle(at, 2.4, facecolor=ORANGE, edgecolor=INK, linewidth=0.8, zorder=7, clip_on=False))
    write(ax, *at, number, size=8.5, bold=True, ha="center", va="center_baseline", zorder=7.2)


def _line(ax: Axes) -> None:
    at = _shifted()
    pieces = [at["A"]]
    for before, here, after in (("A", "1", "2"), ("1", "2", "B")):
        pieces.append(_round(at[before], at[here], at[after]))
    outline(ax, tube_outline(np.vstack([*pieces, at["B"]]), _TUBE_MM), zorder=3)
    for here, after in (("1", "2"), ("2", "B")):
        before = {"1": "A", "2": "1"}[here]
        for start, stop in ((before, here), (here, after)):
            stroke(ax, [at[start], at[stop]], color=GREY, width=0.7, style="--", zorder=3.5)
        ax.plot(*at[here], "o", color=INK, markersize=4, zorder=6)
    badge(ax, *(at["A"] - [6.0, 0.0]), "A", dark=True)
    badge(ax, *(at["B"] + [0.0, 6.0]), "B", dark=True)
    badge(ax, *(at["1"] + [3.5, -6.0]), "1")
    badge(ax, *(at["2"] + [7.0, -2.0]), "2")


def _round(before: np.ndarray, apex: np.ndarray, after: np.ndarray, radius: float = 11.0) -> np.ndarray:
    """The arc of a bend in the plane of the paper."""
    into, out = (apex - before) / np.hypot(*(apex - before)), (after - apex) / np.hypot(*(after - apex))
    turn = atan2(into[0] * out[1] - into[1] * out[0], into @ out)
    start = apex - into * radius * np.tan(abs(turn) / 2)
    centre = start + np.sign(turn) * radius * np.array([-into[1], into[0]])
    first = degrees(atan2(*(start - centre)[::-1]))
    return around(centre, radius, first, first + degrees(turn))


def _leg(ax: Axes) -> None:
    at = _shifted()
    down = np.array([0.0, -_TUBE_MM])
    dimension(ax, at["A"] + down, at["1"] + down, "leg", away=-7.0, bold=True)
    _number(ax, (at["A"] + at["1"]) / 2 + [0.0, -14.0], "1")


def _angle(ax: Axes) -> None:
    at = _shifted()
    on = at["2"] - at["1"]
    first, turn = degrees(atan2(on[1], on[0])), 90.0 - degrees(atan2(on[1], on[0]))
    stroke(ax, [at["2"], at["2"] + 24.0 * towards(first)], color=GREY, width=0.7, style="--", zorder=3.5)
    arc = around(at["2"], 19.0, first, first + turn)
    stroke(ax, arc[:-2], color=ORANGE, width=1.6, zorder=4)
    arrow(ax, arc[-5], arc[-1], color=ORANGE, width=1.6, head=8.0, zorder=4.5)
    middle = at["2"] + 25.5 * towards(first + turn / 2)
    write(ax, middle[0] - 3.0, middle[1] - 1.2, "angle", bold=True)
    _number(ax, middle + [12.5, 0.0], "2")


def _tape(ax: Axes) -> None:
    at = _shifted()
    bolt = _BOLT + [0.0, 22.0]
    for start, stop in ((bolt, at["1"]), (bolt, at["B"]), (at["A"], at["2"])):
        stroke(ax, [start, stop], color=BLUE, width=1.0, style=(0, (5, 3)), zorder=2.5)
    hexagon = around(bolt, 3.2, 0.0, 360.0, points=7)
    outline(ax, hexagon, fill=PALE, zorder=4)
    ax.plot(*bolt, "x", color=INK, markersize=5, zorder=5)
    write(ax, bolt[0] - 4.5, bolt[1] + 6.0, "a bolt: datum point", size=8.5)
    write(ax, *((bolt + at["B"]) / 2 + [2.0, 2.8]), "tape", bold=True, color=BLUE, ha="center")
    _number(ax, (bolt + at["B"]) / 2 + [11.0, 4.0], "4")


def _point(ax: Axes) -> None:
    at = _shifted()
    foot = np.array([at["A"][0] - 12.0, at["A"][1] + 14.0])
    for way, name in (((9.0, 0.0), "x"), ((5.5, 4.5), "y"), ((0.0, 9.0), "z")):
        arrow(ax, foot, foot + way, color=GREY, width=0.9)
        write(ax, *(foot + np.array(way) * 1.3), name, size=8.5, color=GREY, ha="center", va="center")
    _number(ax, at["A"] + [-6.0, -7.5], "5")


def _clock(ax: Axes, centre: np.ndarray, radius: float) -> None:
    """The leg between two bends seen end on, from A towards B: the leg before points up, the leg behind stands at the twist."""
    write(ax, centre[0], centre[1] + radius + 30.0, "twist from bend 1 to bend 2", bold=True, ha="center")
    write(ax, centre[0], centre[1] + radius + 25.5, "seen along the leg between them, from A towards B", size=8.5, color=GREY, ha="center")
    ax.add_patch(Circle(centre, radius, facecolor=PAPER, edgecolor=GREY, linewidth=1.0, zorder=2, clip_on=False))
    for hour in range(12):
        out = towards(90.0 - 30.0 * hour)
        stroke(ax, [centre + 0.9 * radius * out, centre + radius * out], color=GREY, width=1.4 if hour % 3 == 0 else 0.8)
    before, after = towards(90.0), towards(90.0 - _TWIST_DEG)
    outline(ax, tube_outline(np.array([centre, centre + (radius + 8.0) * after]), _TUBE_MM), zorder=3)
    outline(ax, tube_outline(np.array([centre, centre + (radius + 8.0) * before]), _TUBE_MM), zorder=3.5)
    ax.add_patch(Circle(centre, 2.6, facecolor=PALE, edgecolor=INK, linewidth=1.0, zorder=4))
    arc = around(centre, 0.6 * radius, 86.0, 92.0 - _TWIST_DEG)
    stroke(ax, arc[:-3], color=ORANGE, width=1.6, zorder=4)
    arrow(ax, arc[-6], arc[-1], color=ORANGE, width=1.6, head=8.0, zorder=4.5)
    write(ax, *(centre + (radius + 14.0) * before), "leg to A, at 12 o'clock", size=8.5, ha="center")
    tip = centre + (radius + 9.5) * after
    write(ax, tip[0] - 4.0, tip[1] + 2.0, "leg to B", size=8.5)
    _number(ax, centre + 0.6 * radius * towards(90.0 - _TWIST_DEG / 2) + [3.6, 3.2], "3")
    words = (f"here {_TWIST_DEG:g}°: 2 o'clock", "clockwise is +, anticlockwise −", "0°: on round the same way (a U)", "180°: back the other way (a Z)")
    for k, text in enumerate(words):
        write(ax, centre[0], centre[1] - radius - 7.0 - 4.6 * k, text, size=8.5, ha="center", bold=k == 0)
