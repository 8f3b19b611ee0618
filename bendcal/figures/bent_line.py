"""The finished line in space: four fixed views at one scale, or one view from any side."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import cos, floor, log10, radians, sin

import numpy as np
from matplotlib.axes import Axes

from bendcal.figures.paper import GREY, INK, PALE, Picture, badge, canvas, line as stroke, printable, write
from bendcal.figures.style import clear_places
from bendcal.lines import Line
from bendcal.path import bent_centreline
from bendcal.tubes import Tube

__all__ = ["ViewLayout", "draw_views", "lay_out_views", "one_view", "views"]

_PAD_MM, _TITLE_MM, _BADGE_MM = 8.0, 5.0, 2.5
_BEND, _STRAIGHT = "#9fb4cf", PALE
_THINNEST_PT = 2.2

#: right, up and towards the viewer, in the line's own coordinates
_FRAMES = {
    "from the front: x →, z ↑": ((1, 0, 0), (0, 0, 1), (0, -1, 0)),
    "from above: x →, y ↑": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "from the side: y →, z ↑": ((0, 1, 0), (0, 0, 1), (1, 0, 0)),
}
_FRONT, _ABOVE, _SIDE, _QUARTER = (*_FRAMES, "three-quarter view")

#: Rows of views; whichever lets the line be drawn largest is taken. The view from above and the
#: front are first in their rows, so that their x runs together.
_ARRANGEMENTS = (
    ((_ABOVE, _QUARTER), (_FRONT, _SIDE)), ((_QUARTER,), (_ABOVE,), (_FRONT, _SIDE)), ((_QUARTER, _SIDE), (_ABOVE,), (_FRONT,)),
    ((_ABOVE, _FRONT, _SIDE, _QUARTER),), ((_ABOVE,), (_FRONT,), (_SIDE, _QUARTER)), ((_QUARTER,), (_ABOVE,), (_FRONT,), (_SIDE,)),
)  # fmt: skip


def _turned(azim_deg: float, elev_deg: float) -> tuple:
    """right, up, out for a viewer `azim_deg` round from x towards y and `elev_deg` above the floor."""
    az, el = radians(azim_deg), radians(elev_deg)
    out = np.array([cos(el) * cos(az), cos(el) * sin(az), sin(el)])
    right = np.array([-sin(az), cos(az), 0.0])
    return right, np.cross(out, right), out


@dataclass(frozen=True, eq=False)
class _Shape:
    """Points along the bent line, and what to name on it."""

    points: np.ndarray  # (k, 3)
    is_bend: np.ndarray  # (k − 1,) for each step
    bend_at: np.ndarray  # (n, 3) the middle of each arc
    apex: np.ndarray  # (n, 3)
    od_mm: float

    @classmethod
    def of(cls, a_line: Line, tube: Tube, radius_mm: float) -> _Shape:
        centre = bent_centreline(a_line.legs, radius_mm, nodes_mm=a_line.nodes_mm)
        points, bend = [centre.points_mm[:1]], []
        reach = float(np.ptp(centre.points_mm, axis=0).max())
        for piece in range(2 * a_line.bends + 1):
            own = centre.piece_points(piece)
            if piece % 2 == 0:  # cut up, so that what lies behind can be drawn first
                parts = max(2, int(24 * np.linalg.norm(own[-1] - own[0]) / max(reach, 1e-9)))
                own = own[0] + np.linspace(0, 1, parts + 1)[:, None] * (own[-1] - own[0])
            points.append(own[1:])
            bend += [piece % 2 == 1] * (len(own) - 1)
        middles = [centre.piece_points(2 * k + 1) for k in range(a_line.bends)]
        bend_at = np.array([arc[len(arc) // 2] for arc in middles]).reshape(-1, 3)
        return cls(np.concatenate(points), np.array(bend), bend_at, a_line.corner_nodes_mm[1:-1], tube.od_mm)

    def seen(self, frame: tuple) -> np.ndarray:
        """(k, 3): to the right, up, and towards the viewer [mm]."""
        return self.points @ np.array(frame, float).T


@dataclass(frozen=True, eq=False)
class ViewLayout:
    """Where each view stands on paper.

    Attributes
    ----------
    shape : the line to draw
    scale : paper mm for one mm of tube
    rows : names of the views, row by row
    width_mm, height_mm : the paper that it takes [mm]
    """

    shape: _Shape
    scale: float
    rows: tuple[tuple[str, ...], ...]
    width_mm: float

    @cached_property
    def frames(self) -> dict[str, tuple]:
        return {**_FRAMES, _QUARTER: _turned(-60.0, 25.0)}

    def extent(self, name: str) -> np.ndarray:
        """Width and height of a view [mm of tube]."""
        return np.ptp(self.shape.seen(self.frames[name])[:, :2], axis=0) + self.shape.od_mm

    def row_height_mm(self, row: tuple[str, ...]) -> float:
        return max(self.extent(name)[1] for name in row) * self.scale + 2 * _PAD_MM + _TITLE_MM

    @property
    def height_mm(self) -> float:
        return sum(self.row_height_mm(row) for row in self.rows) + 7.0

    def cell_width_mm(self, name: str) -> float:
        title = 2.0 * len(name)  # a line of small type is about 2 mm a letter
        return max(self.extent(name)[0] * self.scale + 2 * _PAD_MM, title)


def lay_out_views(a_line: Line, tube: Tube, *, radius_mm: float, width_mm: float, height_mm: float) -> ViewLayout:
    """Choose the arrangement in which four equally scaled views come out largest.

    Parameters
    ----------
    a_line : the line
    tube : its tube
    radius_mm : centreline radius of its bends [mm]
    width_mm, height_mm : the room on paper [mm]

    Raises
    ------
    LegTooShort : where the bends overlap
    """
    shape = _Shape.of(a_line, tube, radius_mm)
    best = None
    for rows in _ARRANGEMENTS:
        trial = ViewLayout(shape, 1.0, rows, width_mm)
        by_width = min((width_mm - 2 * _PAD_MM * len(row)) / sum(trial.extent(name)[0] for name in row) for row in rows)
        tall = sum(max(trial.extent(name)[1] for name in row) for row in rows)
        by_height = (height_mm - 7.0 - len(rows) * (2 * _PAD_MM + _TITLE_MM)) / tall
        scale = min(by_width, by_height, 1.0)  # never larger than life
        if best is None or scale > best.scale * 1.02:
            best = ViewLayout(shape, scale, rows, width_mm)
    return best


def views(a_line: Line, tube: Tube, *, radius_mm: float) -> Picture:
    """The bent line from the front, from above, from the side and three-quarter, all at one scale.

    Parameters
    ----------
    a_line : the line
    tube : its tube
    radius_mm : centreline radius of its bends [mm]

    Returns
    -------
    Picture

    Raises
    ------
    LegTooShort : where the bends overlap
    """
    layout = lay_out_views(a_line, tube, radius_mm=radius_mm, width_mm=208.0, height_mm=190.0)
    picture, ax = canvas(216.0, layout.height_mm + 4.0)
    draw_views(ax, layout, x=4.0, top=layout.height_mm + 2.0)
    picture.alt = f"{a_line.line}: the bent line with its {a_line.bends} bends from the front, above, the side and three-quarter."
    return picture


def one_view(a_line: Line, tube: Tube, *, radius_mm: float, azim_deg: float = -60.0, elev_deg: float = 25.0) -> Picture:
    """The bent line from one side; its scale and the picture's size stay while it is turned.

    Parameters
    ----------
    a_line : the line
    tube : its tube
    radius_mm : centreline radius of its bends [mm]
    azim_deg : where the viewer stands: 0 at +x, 90 at +y, −90 in front [deg]
    elev_deg : how high above the floor: 90 looks straight down [deg]
    """
    shape = _Shape.of(a_line, tube, radius_mm)
    middle = (shape.points.min(axis=0) + shape.points.max(axis=0)) / 2
    reach = 2 * float(np.max(np.linalg.norm(shape.points - middle, axis=1))) + shape.od_mm
    width, height = 180.0, 140.0
    # A long line may fill the width while it is seen from its side; end on it needs less anyway.
    scale = min((width - 2 * _PAD_MM) / reach, 1.0)
    picture, ax = canvas(width, height)
    frame = _turned(azim_deg, elev_deg)
    centre = np.array(frame, float) @ middle
    seen = shape.seen(frame)
    tall = np.ptp(seen[:, 1]) * scale + 2 * _PAD_MM
    scale = scale if tall <= height - 8.0 else scale * (height - 8.0 - 2 * _PAD_MM) / (tall - 2 * _PAD_MM)
    _draw_shape(ax, shape, frame, scale, origin=np.array([width / 2, height / 2 + 3.0]) - centre[:2] * scale)
    _scale_bar(ax, scale, width - 4.0, 3.0, shape.od_mm)
    _triad(ax, frame, np.array([11.0, 11.0]))
    picture.alt = f"{a_line.line} seen from {azim_deg:g}° round and {elev_deg:g}° up."
    return picture


def draw_views(ax: Axes, layout: ViewLayout, *, x: float, top: float) -> None:
    """Draw the views on paper, the upper left corner at (x, top) [mm]."""
    y = top
    for row in layout.rows:
        height = layout.row_height_mm(row)
        left = x
        for name in row:
            frame = layout.frames[name]
            seen = layout.shape.seen(frame)
            low = seen[:, :2].min(axis=0) - layout.shape.od_mm / 2
            write(ax, left, y - 4.0, name, size=8.5, color=GREY)
            origin = np.array([left + _PAD_MM, y - height + _PAD_MM]) - low * layout.scale
            _draw_shape(ax, layout.shape, frame, layout.scale, origin=origin)
            left += layout.cell_width_mm(name)
        y -= height
    _scale_bar(ax, layout.scale, x + layout.width_mm, y - 4.0, layout.shape.od_mm)


def _draw_shape(ax: Axes, shape: _Shape, frame: tuple, scale: float, *, origin: np.ndarray) -> None:
    """One view: the far parts first, each with a dark edge, so that near parts pass in front."""
    seen = shape.seen(frame)
    flat = origin + seen[:, :2] * scale
    width = max(shape.od_mm * scale * 72 / 25.4, _THINNEST_PT)
    depth = (seen[:-1, 2] + seen[1:, 2]) / 2
    # An edge lies one diameter behind its tube and its tube's neighbours: so it is hidden where the
    # tube goes on, and seen where the tube passes in front of another part.
    padded = np.concatenate([depth[:1], depth, depth[-1:]])
    behind = np.minimum(np.minimum(padded[:-2], padded[1:-1]), padded[2:]) - shape.od_mm
    layers = [(behind[k], 0, k) for k in range(len(depth))] + [(depth[k], 1, k) for k in range(len(depth))]
    for rank, (_, is_top, k) in enumerate(sorted(layers)):
        step = flat[k : k + 2].copy()
        free = k in (0, len(depth) - 1)
        if free and not is_top:
            step = _longer(step, 0.65 * 25.4 / 72, at_start=k == 0, at_stop=k == len(depth) - 1)
        color = (_BEND if shape.is_bend[k] else _STRAIGHT) if is_top else INK
        drawn = stroke(ax, step, color=color, width=width if is_top else width + 1.3, zorder=2.0 + rank / len(layers))
        # A straight seen almost end on is a row of short steps: round edges would blacken it.
        drawn.set_solid_capstyle("round" if not free and (is_top or shape.is_bend[k]) else "butt")
    _names(ax, shape, frame, scale, origin, flat, width)


def _longer(step: np.ndarray, by: float, *, at_start: bool, at_stop: bool) -> np.ndarray:
    """A step made longer at the tube's cut end, for the edge that closes it."""
    length = np.hypot(*(step[1] - step[0]))
    along = (step[1] - step[0]) / length if length > 1e-9 else np.zeros(2)
    return step + np.array([-along * by * at_start, along * by * at_stop])


def _names(ax: Axes, shape: _Shape, frame: tuple, scale: float, origin: np.ndarray, flat: np.ndarray, width_pt: float) -> None:
    """The ends' letters and the bends' numbers, clear of the tube and of each other."""
    onto = np.array(frame, float)[:2]
    bends = origin + (shape.bend_at @ onto.T) * scale
    outward = (shape.apex - shape.bend_at) @ onto.T
    ends = flat[[0, -1]]
    away = np.array([flat[0] - flat[1], flat[-1] - flat[-2]])
    at, wanted = np.vstack([ends, bends]), np.vstack([away, outward])
    size = np.full_like(at, 2 * _BADGE_MM)
    half = width_pt * 25.4 / 72 / 2
    places = clear_places(at, size, flat, wanted=wanted, gaps=[half + gap for gap in (0.8, 2.5, 4.5, 7.0, 10.0, 14.0)], margin=half + 0.4)
    for k, (point, place) in enumerate(zip(at, places, strict=True)):
        if np.hypot(*(place - point)) > half + _BADGE_MM + 2.0:
            stroke(ax, [point, place], color=GREY, width=0.6, zorder=5.5)
        badge(ax, *place, "AB"[k] if k < 2 else k - 1, radius=_BADGE_MM, size=8.5, dark=k < 2)


def _scale_bar(ax: Axes, scale: float, right: float, y: float, od_mm: float) -> None:
    """A bar of a round length, its right end at `right` [mm of paper]."""
    longest = 45.0 / scale
    power = 10 ** floor(log10(longest))
    length = power * max(step for step in (1, 2, 5) if step * power <= longest)
    left = right - length * scale
    for y1, y2, x1, x2 in ((y, y, left, right), (y - 1, y + 1, left, left), (y - 1, y + 1, right, right)):
        stroke(ax, [(x1, y1), (x2, y2)], width=1.2)
    words = f"{length:g} mm"
    if od_mm * scale * 72 / 25.4 < _THINNEST_PT:
        words = "tube drawn thicker than it is;  " + words
    write(ax, left - 2.0, y - 1.0, printable(words), size=8.5, ha="right")


def _triad(ax: Axes, frame: tuple, origin: np.ndarray) -> None:
    """Which way x, y and z run in this view."""
    onto = np.array(frame, float)[:2]
    for axis, name in enumerate("xyz"):
        step = onto[:, axis] * 7.0
        stroke(ax, [origin, origin + step], color=GREY, width=1.0)
        if np.hypot(*step) > 1.0:
            write(ax, *(origin + step * 1.35), name, size=8.5, color=GREY, ha="center", va="center")
