"""What stands in a tube's way, as it was typed in: the bodies of a bender, or obstacles with the line, from above and from the front."""

from __future__ import annotations

from collections.abc import Sequence
from math import floor, log10

import numpy as np
from matplotlib.axes import Axes
from scipy.spatial import ConvexHull, QhullError

from bendcal.bodies import BenderBody, Obstacle
from bendcal.figures.paper import BLUE, GREY, INK, Picture, canvas, line, printable, text_width_mm, write
from bendcal.figures.shapes import around, arrow, badge, outline
from bendcal.figures.style import clear_places
from bendcal.lines import Line
from bendcal.path import bent_centreline
from bendcal.solids import Solid

__all__ = ["bender_bodies", "line_and_obstacles"]

Array = np.ndarray
_VIEWS = (("from above: x →, y ↑", (0, 1)), ("from the front: x →, z ↑", (0, 2)))
_WIDE_MM, _MOST_TALL_MM, _PAD_MM, _TITLE_MM = 98.0, 92.0, 7.0, 6.0
_LABEL_OVER_MM = 9.0  # what is higher on paper has its name on it
_FILL, _MOVING, _TEXT_PT = "#ececec", "#dfe7f2", 8.5


def bender_bodies(bodies: Sequence[BenderBody], *, die_radius_mm: float, od_mm: float, tube_mm: float = 150.0) -> Picture:
    """The bodies of one bender in its own frame, with the die and straight tube in its groove.

    Parameters
    ----------
    bodies : of the bender, none if nothing was measured yet
    die_radius_mm : [mm]
    od_mm : outside diameter of the tube that is drawn [mm]
    tube_mm : how far that reaches on either side of the bend [mm]
    """
    things = [(body.body, body.solid, body.moves == "lever") for body in bodies]
    tube = np.array([(-tube_mm, -die_radius_mm, 0.0), (tube_mm, -die_radius_mm, 0.0)])
    picture, cells = _laid_out(things, tube, die_radius_mm)
    for ax, at, scale, plane in cells:
        if plane == (0, 1):
            outline(ax, around(at((0.0, 0.0, 0.0)), die_radius_mm * scale, 0.0, 360.0), fill="white", width=1.0, zorder=3.0)
            turn = around(at((0.0, 0.0, 0.0)), 0.62 * die_radius_mm * scale, -70.0, 25.0)
            line(ax, turn[:-3], width=0.9, zorder=3.2)
            arrow(ax, turn[-6], turn[-1], head=5.0, zorder=3.2)
            for x, words in ((-0.88, "held"), (0.88, "swings")):
                write(ax, *(at((x * tube_mm, -die_radius_mm, 0.0)) + [0.0, od_mm * scale / 2 + 1.6]), words, size=8.0, color=GREY, ha="center", halo=True, zorder=6.0)
        _tube(ax, at(tube), od_mm * scale)
    names = ", ".join(f"{name} ({solid.shape}{', with the lever' if moves else ''})" for name, solid, moves in things)
    picture.alt = f"The bender's bodies from above and from the front, the dial at 0: {names or 'none yet'}."
    return picture


def line_and_obstacles(a_line: Line, obstacles: Sequence[Obstacle], *, radius_mm: float, od_mm: float) -> Picture:
    """A finished line with what it has to keep away from, in the line's own coordinates.

    Parameters
    ----------
    a_line : the line
    obstacles : those of this line and of every line are drawn
    radius_mm, od_mm : centreline radius of its bends, and its tube's outside diameter [mm]

    Raises
    ------
    LegTooShort : where the bends overlap
    """
    way = bent_centreline(a_line.legs, radius_mm, nodes_mm=a_line.nodes_mm, points_per_bend=13).points_mm
    things = [(one.obstacle, one.solid, False) for one in obstacles if one.line in ("", a_line.line)]
    picture, cells = _laid_out(things, way, 0.0)
    for ax, at, scale, _ in cells:
        _tube(ax, at(way), od_mm * scale)
        for end, near, letter in ((0, 1, "A"), (-1, -2, "B")):
            off = at(way[end]) - at(way[near])
            away = off / max(float(np.hypot(*off)), 1e-9) if np.hypot(*off) > 0.1 else np.array([0.0, 1.0])
            badge(ax, *(at(way[end]) + (od_mm * scale / 2 + 3.2) * away), letter, dark=True)
    picture.alt = f"{a_line.line} from above and from the front with {', '.join(name for name, *_ in things) or 'no obstacle yet'}."
    return picture


def _laid_out(things: Sequence[tuple[str, Solid, bool]], way: Array, die_mm: float) -> tuple[Picture, list[tuple]]:
    """The paper with all bodies drawn, and for each view its axes, its placing of points, its scale and its plane."""
    solid = [one for _, one, _ in things if one.shape != "wall"]
    walls = [(one.from_mm + min(20.0, 0.1 * float(np.ptp(way))) * one.axes[0])[None] for _, one, _ in things if one.shape == "wall"]
    some = [way, np.array([(-die_mm, -die_mm, 0.0), (die_mm, die_mm, 0.0)]) if die_mm else way, *(_reach(one) for one in solid), *walls]
    points = np.concatenate(some)
    low, high = points.min(axis=0), points.max(axis=0)
    size = np.maximum(high - low, 1.0)
    scale = float(min((_WIDE_MM - 2 * _PAD_MM) / size[0], (_MOST_TALL_MM - 2 * _PAD_MM) / max(size[1], size[2])))
    tall = max(size[1], size[2]) * scale + 2 * _PAD_MM
    picture, ax = canvas(2 * _WIDE_MM + 8.0, tall + _TITLE_MM + 9.0)
    cells = []
    for k, (name, plane) in enumerate(_VIEWS):
        left, foot = 4.0 + k * _WIDE_MM, 8.0
        write(ax, left, foot + tall + 1.5, name, size=_TEXT_PT, color=GREY)
        middle = np.array([left + _WIDE_MM / 2, foot + tall / 2])
        centre = ((low + high) / 2)[list(plane)]
        at = lambda p, plane=plane, middle=middle, centre=centre: middle + (np.asarray(p, float)[..., list(plane)] - centre) * scale  # noqa: E731
        window = (np.array([left + 1.0, foot]), np.array([left + _WIDE_MM - 3.0, foot + tall]))
        _things(ax, things, at, scale, plane, window, at(way))
        cells.append((ax, at, scale, plane))
    if any(moves for *_, moves in things):
        write(ax, 4.0, 2.5, "Blue: goes round with the lever; drawn where it stands at 0 on the dial.", size=_TEXT_PT, color=GREY)
    _bar(ax, scale, 2 * _WIDE_MM + 2.0)
    return picture, cells


def _things(ax: Axes, things: Sequence[tuple[str, Solid, bool]], at, scale: float, plane: tuple[int, int], window: tuple, way: Array) -> None:
    """Every body's outline in one view, what is lower or further first, and its name beside it."""
    out = 3 - sum(plane)
    names, places, edges = [], [], [way]
    for name, solid, moves in sorted(things, key=lambda each: each[1].centre_mm[out] * (1 if out == 2 else -1)):
        if solid.shape == "wall":
            face = _face(solid, at, plane, window)
            if face is None:  # it is seen from straight off: all behind it is that wall
                continue
            line(ax, face, color=INK, width=1.6, zorder=2.5)
            shape = face
        else:
            shape = _hull(solid, at, scale)
            outline(ax, shape, fill=_MOVING if moves else _FILL, edge=BLUE if moves else GREY, width=0.9, zorder=2.0)
        names.append(name)
        low, high = shape.min(axis=0), shape.max(axis=0)
        small = solid.shape != "wall" and high[1] - low[1] < _LABEL_OVER_MM  # its name would hide it: beside it, then
        places.append(np.clip([(low[0] + high[0]) / 2, high[1] + 1.0] if small else shape.mean(axis=0), *window))
        edges.append(shape)
    if not names:
        return
    sizes = np.array([[text_width_mm(printable(name), _TEXT_PT), 3.4] for name in names])
    found = clear_places(np.array(places), sizes, way, wanted=np.tile([0.0, 1.0], (len(names), 1)), gaps=[0.0, 2.0, 5.0, 9.0, 14.0], margin=1.5)
    for name, size, place in zip(names, sizes, found, strict=True):
        place = np.clip(place, window[0] + size / 2, window[1] - size / 2)
        write(ax, *place, name, size=_TEXT_PT, ha="center", va="center_baseline", halo=True, zorder=7.0)


def _tube(ax: Axes, way: Array, wide: float) -> None:
    width = max(wide * 72 / 25.4, 2.0)
    line(ax, way, color=INK, width=width + 1.2, zorder=4.0)
    line(ax, way, color="white", width=width, zorder=4.1)


def _reach(solid: Solid) -> Array:
    """Two corners of a box about a body (2, 3) [mm]."""
    core = _core(solid)
    round_mm = solid.diameter_mm / 2 if solid.shape in ("capsule", "sphere") else 0.0
    return np.stack([core.min(axis=0) - round_mm, core.max(axis=0) + round_mm])


def _core(solid: Solid) -> Array:
    """Points (k, 3) whose hull, made thicker by the radius of what is round at its ends, is the body [mm]."""
    if solid.shape == "sphere":
        return np.asarray(solid.from_mm, float)[None]
    if solid.shape == "capsule":
        return np.stack([solid.from_mm, solid.to_mm]).astype(float)
    along, across, up = solid.axes
    if solid.shape == "box":
        sides = [(a, b) for a in (-1, 1) for b in (-1, 1)]
        rim = np.array([a * solid.width_mm / 2 * across + b * solid.height_mm / 2 * up for a, b in sides])
    else:
        turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)[:, None]
        rim = solid.diameter_mm / 2 * (np.cos(turn) * across + np.sin(turn) * up)
    return np.concatenate([np.asarray(end, float) + rim for end in (solid.from_mm, solid.to_mm)])


def _hull(solid: Solid, at, scale: float) -> Array:
    """The outline of a body as it is seen (k, 2) [mm of paper]."""
    points = at(_core(solid))
    if solid.shape in ("capsule", "sphere"):
        points = np.concatenate([around(point, solid.diameter_mm / 2 * scale, 0.0, 360.0, points=33) for point in points])
    try:
        return points[ConvexHull(points).vertices]
    except QhullError:  # a thin plate seen along its face
        order = np.argsort(points @ [1.0, 1e-3])
        return points[[order[0], order[-1]]]


def _face(solid: Solid, at, plane: tuple[int, int], window: tuple) -> Array | None:
    """The line in which a wall's face is seen, across the window; None where it is looked at."""
    normal = solid.axes[0][list(plane)]
    size = float(np.hypot(*normal))
    if size < 0.05:
        return None
    foot, along = at(solid.from_mm), np.array([-normal[1], normal[0]]) / size
    reach = 2 * float(np.hypot(*(window[1] - window[0])))
    steps = foot + np.linspace(-reach, reach, 4001)[:, None] * along
    inside = steps[np.all((steps >= window[0]) & (steps <= window[1]), axis=1)]
    return inside[[0, -1]] if len(inside) > 1 else None


def _bar(ax: Axes, scale: float, right: float) -> None:
    """A bar of a round length."""
    longest = 40.0 / scale
    power = 10 ** floor(log10(longest))
    length = power * max(step for step in (1, 2, 5) if step * power <= longest)
    left = right - length * scale
    for points in ([(left, 3.0), (right, 3.0)], [(left, 2.0), (left, 4.0)], [(right, 2.0), (right, 4.0)]):
        line(ax, points, width=1.1)
    write(ax, left - 2.0, 2.0, f"{length:g} mm", size=_TEXT_PT, ha="right")
