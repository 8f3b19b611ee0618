"""How a line is seen: its points in space, four views of it, and where they stand on paper at one scale."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import cos, radians, sin

import numpy as np

from bendcal.figures.paper import text_width_mm
from bendcal.lines import Line
from bendcal.path import bent_centreline
from bendcal.tubes import Tube

__all__ = ["PAD_MM", "TITLE_PT", "Shape", "ViewLayout", "lay_out_views", "turned"]

PAD_MM, _TITLE_MM, TITLE_PT = 8.0, 5.0, 8.5

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


def turned(azim_deg: float, elev_deg: float) -> tuple:
    """right, up, out for a viewer `azim_deg` round from x towards y and `elev_deg` above the floor."""
    az, el = radians(azim_deg), radians(elev_deg)
    out = np.array([cos(el) * cos(az), cos(el) * sin(az), sin(el)])
    right = np.array([-sin(az), cos(az), 0.0])
    return right, np.cross(out, right), out


@dataclass(frozen=True, eq=False)
class Shape:
    """Points along the bent line, and what to name on it."""

    points: np.ndarray  # (k, 3)
    is_bend: np.ndarray  # (k − 1,) for each step
    bend_at: np.ndarray  # (n, 3) the middle of each arc
    apex: np.ndarray  # (n, 3)
    od_mm: float

    @classmethod
    def of(cls, a_line: Line, tube: Tube, radius_mm: float) -> Shape:
        centre = bent_centreline(a_line.legs, radius_mm, nodes_mm=a_line.nodes_mm, points_per_bend=13, leg_from=a_line.leg_from)
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


def _title_mm(name: str) -> float:
    return text_width_mm(name, TITLE_PT) + 4.0


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

    shape: Shape
    scale: float
    rows: tuple[tuple[str, ...], ...]
    width_mm: float

    @cached_property
    def frames(self) -> dict[str, tuple]:
        return {**_FRAMES, _QUARTER: turned(-60.0, 25.0)}

    def extent(self, name: str) -> np.ndarray:
        """Width and height of a view [mm of tube]."""
        return np.ptp(self.shape.seen(self.frames[name])[:, :2], axis=0) + self.shape.od_mm

    def row_height_mm(self, row: tuple[str, ...]) -> float:
        return max(self.extent(name)[1] for name in row) * self.scale + 2 * PAD_MM + _TITLE_MM

    @property
    def height_mm(self) -> float:
        return sum(self.row_height_mm(row) for row in self.rows) + 7.0

    def cell_width_mm(self, name: str) -> float:
        return max(self.extent(name)[0] * self.scale + 2 * PAD_MM, _title_mm(name))


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
    shape = Shape.of(a_line, tube, radius_mm)
    best = None
    for rows in _ARRANGEMENTS:
        trial = ViewLayout(shape, 1.0, rows, width_mm)
        by_width = min(_scale_to_width(trial, row, width_mm) for row in rows)
        tall = sum(max(trial.extent(name)[1] for name in row) for row in rows)
        by_height = (height_mm - 7.0 - len(rows) * (2 * PAD_MM + _TITLE_MM)) / tall
        scale = min(by_width, by_height, 1.0)  # never larger than life
        if best is None or scale > best.scale * 1.02:
            best = ViewLayout(shape, scale, rows, width_mm)
    return best


def _scale_to_width(trial: ViewLayout, row: tuple[str, ...], width_mm: float) -> float:
    """The scale at which a row just fills the width; a view narrower than its title is as wide as that."""
    wide = {name: float(trial.extent(name)[0]) for name in row}
    titled: set[str] = set()
    while True:
        room = width_mm - sum(_title_mm(name) if name in titled else 2 * PAD_MM for name in row)
        drawn = sum(wide[name] for name in row if name not in titled)
        scale = room / drawn if drawn else np.inf
        more = {name for name in row if name not in titled and wide[name] * scale + 2 * PAD_MM < _title_mm(name)}
        if not more:
            return scale
        titled |= more
