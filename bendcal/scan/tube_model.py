"""A bent offcut seen from above: two straight legs joined by an arc, all of one width.

Seven numbers, in mm and radians on the scanner's glass (x across, y down): the apex, the direction
from the apex along each leg, the centreline radius, half the width of the legs and of the arc (a tube is
a little flattened where it is bent).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import optimize

__all__ = ["ARC", "BELIEFS", "LEG_1", "LEG_2", "THICKNESS", "Fitted", "Shape", "distances", "fit_centreline", "fit_edges"]

LEG_1, LEG_2, ARC = 0, 1, 2
BELIEFS = 2  # rows at a fit's end that are no edge points
THICKNESS = 0.01  # by how much of it a tube's diameter may differ from what it is sold as


@dataclass(frozen=True)
class Shape:
    """The seven numbers.

    Parameters
    ----------
    x_mm, y_mm : the apex
    along_1, along_2 : direction from the apex along each leg [rad], y downwards
    radius_mm : of the arc's centreline
    half_mm, half_arc_mm : half the width of the legs, and of the arc

    Examples
    --------
    >>> square = Shape(0, 0, 0.0, np.pi / 2, 15.0, 2.4, 2.4)
    >>> round(float(np.degrees(square.turn)), 6), round(square.setback_mm, 6)
    (90.0, 15.0)
    """

    x_mm: float
    y_mm: float
    along_1: float
    along_2: float
    radius_mm: float
    half_mm: float
    half_arc_mm: float

    @property
    def apex(self) -> np.ndarray:
        return np.array([self.x_mm, self.y_mm])

    @cached_property
    def directions(self) -> np.ndarray:
        """(2, 2) unit vectors from the apex along leg 1 and leg 2."""
        angles = np.array([self.along_1, self.along_2])
        return np.stack([np.cos(angles), np.sin(angles)], axis=1)

    @property
    def turn(self) -> float:
        """The finished angle [rad]: 0 straight."""
        between = (self.along_2 - self.along_1 + np.pi) % (2 * np.pi) - np.pi
        return float(np.pi - abs(between))

    @property
    def setback_mm(self) -> float:
        return float(self.radius_mm * np.tan(self.turn / 2))

    @cached_property
    def bisector(self) -> np.ndarray:
        """Unit vector from the apex towards the arc's centre."""
        both = self.directions.sum(axis=0)
        return both / max(float(np.hypot(*both)), 1e-12)

    @cached_property
    def centre(self) -> np.ndarray:
        """The arc's centre."""
        return self.apex + self.bisector * self.radius_mm / max(np.cos(self.turn / 2), 1e-9)

    @cached_property
    def outward(self) -> np.ndarray:
        """(2, 2) unit normals of leg 1 and leg 2, away from the arc's centre."""
        along, b = self.directions, self.bisector
        away = -(b - along * (along @ b)[:, None])
        return away / np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-12)

    def array(self) -> np.ndarray:
        return np.array([getattr(self, name) for name in self.__dataclass_fields__])


@dataclass(frozen=True, eq=False)
class Fitted:
    """A shape fitted to edges.

    Attributes
    ----------
    shape : the shape
    residual_mm : (n,) how far each edge point lies outside of its fitted edge; the last two rows are beliefs
    jacobian : (n, 7) by the shape's numbers
    weight : (n,) 0 to 1: what the robust fit left of each point
    zone : (n,) LEG_1, LEG_2 or ARC
    spread_mm : one standard deviation of a belief, as its residual has it
    """

    shape: Shape
    residual_mm: np.ndarray
    jacobian: np.ndarray
    weight: np.ndarray
    zone: np.ndarray
    spread_mm: float


def distances(shape: Shape, points: np.ndarray, zone: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """How far points lie outside of the centreline (negative: on the arc's centre's side), and in which zone.

    Parameters
    ----------
    shape : the shape
    points : (n, 2) [mm]
    zone : (n,) in which zones they are, where that is to stay as it is; None to see

    Returns
    -------
    (n,) signed distance [mm], (n,) zone

    Examples
    --------
    >>> square = Shape(0, 0, 0.0, np.pi / 2, 15.0, 2.4, 2.4)
    >>> far, zone = distances(square, np.array([[40.0, -2.0], [3.0, 40.0], [10.0, 10.0]]))
    >>> far.round(2).tolist(), zone.tolist()
    ([2.0, -3.0, -7.93], [0, 1, 2])
    """
    from_apex = points - shape.apex
    along = from_apex @ shape.directions.T
    off = from_apex @ shape.outward.T
    arc = np.linalg.norm(points - shape.centre, axis=1) - shape.radius_mm
    if zone is not None:
        return np.where(zone == LEG_1, off[:, 0], np.where(zone == LEG_2, off[:, 1], arc)), zone
    straight = along >= shape.setback_mm
    first = straight[:, 0] & (~straight[:, 1] | (np.abs(off[:, 0]) <= np.abs(off[:, 1])))
    second = straight[:, 1] & ~first
    zone = np.where(first, LEG_1, np.where(second, LEG_2, ARC))
    return np.where(first, off[:, 0], np.where(second, off[:, 1], arc)), zone


def fit_centreline(points: np.ndarray, half_mm: float) -> Shape | None:
    """A first shape through points along the centreline, in order; None if they make no bend.

    Parameters
    ----------
    points : (n, 2) along the centreline [mm]
    half_mm : half the tube's width [mm]
    """
    count = max(3, len(points) // 5)
    starts = []
    for part in (points[:count], points[::-1][:count]):
        middle = part.mean(axis=0)
        direction = np.linalg.svd(part - middle)[2][0]
        if direction @ (part[0] - part[-1]) < 0:
            direction = -direction
        starts.append((middle, direction))  # the direction points from the apex to the end
    (p1, d1), (p2, d2) = starts
    cross = d1[0] * d2[1] - d1[1] * d2[0]
    if abs(cross) < np.sin(np.radians(3.0)):
        return None
    apex = p1 + d1 * ((p2 - p1)[0] * d2[1] - (p2 - p1)[1] * d2[0]) / cross
    best = None
    for radius in (3 * half_mm, 8 * half_mm, 16 * half_mm):
        start = np.array([*apex, np.arctan2(d1[1], d1[0]), np.arctan2(d2[1], d2[0]), radius])
        found = optimize.least_squares(
            lambda p: distances(Shape(*p, half_mm, half_mm), points)[0], start, loss="soft_l1", f_scale=0.2,
            x_scale=[1, 1, 0.02, 0.02, 1], bounds=([-np.inf] * 4 + [half_mm], [np.inf] * 4 + [200 * half_mm]), max_nfev=100,
        )  # fmt: skip
        if best is None or found.cost < best.cost:
            best = found
    return Shape(*best.x, half_mm, half_mm)


def fit_edges(start: Shape, points: np.ndarray, side: np.ndarray, *, spread_mm: float, od_mm: float, flattening: float = 0.05) -> Fitted:
    """Fit the shape to points of both edges, robustly.

    Parameters
    ----------
    start : a shape near by
    points : (n, 2) edge points [mm]
    side : (n,) +1 on the outside edge of the bend, −1 on the inside edge
    spread_mm : what an edge point may be off without being taken for a stray one
    od_mm : the tube's diameter [mm], believed to a hundredth: where but one edge was found, it tells the middle
    flattening : standard deviation of the arc's width relative to the legs', believed beforehand
    """

    def away(p: np.ndarray, zone: np.ndarray | None = None) -> np.ndarray:
        shape = Shape(*p)
        off, zone = distances(shape, points, zone)
        width = np.where(zone == ARC, shape.half_arc_mm, shape.half_mm)
        # Beliefs about both widths as two more equations, so that a short arc or a single edge does not invent one.
        beliefs = (shape.half_arc_mm / shape.half_mm - 1) / flattening, (2 * shape.half_mm / od_mm - 1) / THICKNESS
        return np.append(off - side * width, np.array(beliefs) * spread_mm)

    scales = [1, 1, 0.01, 0.01, 1, 0.1, 0.1]
    found = optimize.least_squares(away, start.array(), loss="soft_l1", f_scale=spread_mm, x_scale=scales, max_nfev=100)
    shape = Shape(*(float(v) for v in found.x))
    residual = away(found.x)
    steps = np.diag([1e-4, 1e-4, 1e-6, 1e-6, 1e-4, 1e-5, 1e-5])
    zone = distances(shape, points)[1]
    # Where a leg becomes the arc its width is another: a point that a step took across would seem to tell everything.
    jacobian = np.stack([(away(found.x + h, zone) - away(found.x - h, zone)) / (2 * h.max()) for h in steps], axis=1)
    weight = 1 / np.sqrt(1 + (residual / spread_mm) ** 2)
    return Fitted(shape, residual, jacobian, weight, np.append(zone, [ARC, ARC]), spread_mm)
