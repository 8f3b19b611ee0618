"""Simple solid bodies and how near a piece of straight tube comes to them, exactly.

A body that a person can measure with a tape is a box, a cylinder, a capsule (a rod with round
ends), a sphere or a wall (everything behind a flat face). Long ones are given by the centres of
their two ends. All are convex, so that the distance along a straight piece falls and then
rises: its least value follows from where the slope changes sign.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["SHAPES", "Solid", "segment_distance_mm"]

Array = NDArray[np.float64]

#: For each shape: which sizes it needs.
SHAPES: dict[str, tuple[str, ...]] = {
    "box": ("width_mm", "height_mm"),
    "cylinder": ("diameter_mm",),
    "capsule": ("diameter_mm",),
    "sphere": ("diameter_mm",),
    "wall": (),
}
_HALVINGS = 44  # of a segment, for the one shape without a closed form: less than a picometre of a metre


@dataclass(frozen=True, eq=False)
class Solid:
    """One convex body at its place.

    Parameters
    ----------
    shape : one of :data:`SHAPES`
    from_mm : (3,) [mm] box, cylinder, capsule: centre of one end (of a capsule, of its round end);
        sphere: its centre; wall: any point of its face
    to_mm : (3,) [mm] box, cylinder, capsule: centre of the other end; wall: a point straight off
        the face, on the open side; sphere: None
    width_mm, height_mm : of a box, across and upwards [mm]
    diameter_mm : of a cylinder, capsule or sphere [mm]
    turn_deg : a box turned about its length, clockwise seen along it [deg]

    With no turn the width of a box lies level (square to z) and its height stands as upright as
    its length lets it; for a box whose length is upright the width runs along x.

    Raises ValueError for an unknown shape, a size that is missing, not needed or not above 0, or
    ends that do not lie apart.

    >>> Solid("sphere", (0, 0, 0), diameter_mm=10).distance_mm([(0, 20, 0)])
    array([15.])
    """

    shape: str
    from_mm: Array
    to_mm: Array | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    diameter_mm: float | None = None
    turn_deg: float = 0.0

    def __post_init__(self) -> None:
        if self.shape not in SHAPES:
            raise ValueError(f"shape {self.shape!r} is none of {', '.join(SHAPES)}")
        for size in ("width_mm", "height_mm", "diameter_mm"):
            value, needed = getattr(self, size), size in SHAPES[self.shape]
            if needed and not (value is not None and 0 < value < np.inf):
                raise ValueError(f"{size} of a {self.shape} is {'missing' if value is None else value}; it must be more than 0")
            if not needed and value is not None:
                raise ValueError(f"a {self.shape} has no {size}; leave it blank")
        if self.turn_deg and self.shape != "box":
            raise ValueError(f"a {self.shape} has no turn_deg; leave it blank")
        start = _point(self.from_mm, "from_mm")
        if self.shape == "sphere":
            if self.to_mm is not None:
                raise ValueError("a sphere has one point only, its centre; leave the other blank")
            stop = start + (1.0, 0.0, 0.0)
        else:
            if self.to_mm is None:
                raise ValueError(f"a {self.shape} needs two points")
            stop = _point(self.to_mm, "to_mm")
        length = float(np.linalg.norm(stop - start))
        if not length > 1e-6:
            raise ValueError(f"the two points of the {self.shape} lie at the same place; they show which way it runs")
        axes = _axes((stop - start) / length, self.turn_deg)
        centre = start if self.shape in ("sphere", "wall") else (start + stop) / 2
        radius = (self.diameter_mm or 0.0) / 2
        half = {
            "box": (length / 2, (self.width_mm or 0) / 2, (self.height_mm or 0) / 2),
            "capsule": (length / 2, 0.0, 0.0),
            "cylinder": (length / 2, radius, radius),
        }.get(self.shape, (0.0, 0.0, 0.0))
        stops = None if self.shape == "sphere" else stop
        names = ("from_mm", "to_mm", "axes", "centre_mm", "half_mm")
        for name, value in zip(names, (start, stops, axes, centre, np.array(half)), strict=True):
            if value is not None:
                value.setflags(write=False)
            object.__setattr__(self, name, value)
        object.__setattr__(self, "round_mm", radius if self.shape in ("capsule", "sphere") else 0.0)

    def distance_mm(self, points_mm: ArrayLike) -> Array:
        """Distance of points to the body, (n,) [mm] for (n, 3) [mm]; 0 inside it.

        >>> Solid("wall", (0, 0, -5), (0, 0, 0)).distance_mm([(9, 9, 1), (0, 0, -7)])
        array([6., 0.])
        """
        own = self._own(np.atleast_2d(np.asarray(points_mm, dtype=float)))
        if self.shape == "wall":
            return np.maximum(own[:, 0], 0.0)
        return np.maximum(np.sqrt(self._squared(own)) - self.round_mm, 0.0)

    def segment_mm(self, from_mm: ArrayLike, to_mm: ArrayLike) -> tuple[Array, Array]:
        """Least distance of straight pieces to the body, and where along each it is.

        Parameters
        ----------
        from_mm, to_mm : (n, 3) [mm]

        Returns (n,) [mm], 0 where a piece enters the body, and (n,) from 0 to 1.
        Source: the squared distance to a box is a convex piecewise quadratic along a line, so its
        slope is piecewise linear and is solved for; a cylinder's slope is halved down.

        >>> box = Solid("box", (-5, 0, 0), (5, 0, 0), width_mm=4, height_mm=2)
        >>> box.segment_mm([(0, 10, 0)], [(10, 0, 5)])[0].round(4)
        array([3.])
        """
        a, b = self._own(np.asarray(from_mm, dtype=float)), self._own(np.asarray(to_mm, dtype=float))
        if self.shape == "wall":
            return np.maximum(np.minimum(a[:, 0], b[:, 0]), 0.0), np.where(b[:, 0] < a[:, 0], 1.0, 0.0)
        along = b - a
        share = _round_slope(a, along, self.half_mm) if self.shape == "cylinder" else _flat_slope(a, along, self.half_mm)
        squared = self._squared(a + share[:, None] * along)
        return np.maximum(np.sqrt(squared) - self.round_mm, 0.0), share

    def outward(self, points_mm: ArrayLike) -> Array:
        """The direction from the body straight to each point, (n, 3); nothing for points inside.

        >>> Solid("wall", (0, 0, -5), (0, 0, 0)).outward([(9, 9, 1)])
        array([[0., 0., 1.]])
        """
        own = self._own(np.atleast_2d(np.asarray(points_mm, dtype=float)))
        if self.shape == "wall":
            away = np.zeros_like(own)
            away[:, 0] = own[:, 0] > 0
        elif self.shape == "cylinder":
            out = np.hypot(own[:, 1], own[:, 2])
            away = own * np.maximum(1.0 - self.half_mm[1] / np.maximum(out, self.half_mm[1]), 0.0)[:, None]
            away[:, 0] = own[:, 0] - np.clip(own[:, 0], -self.half_mm[0], self.half_mm[0])
        else:
            away = own - np.clip(own, -self.half_mm, self.half_mm)
        size = np.sqrt(_dot(away, away))
        away[size <= self.round_mm] = 0.0
        return (away / np.where(size > 0, size, 1.0)[:, None]) @ self.axes

    @property
    def z_range_mm(self) -> tuple[float, float]:
        """From which z to which the body reaches [mm]; a wall may reach without end.

        >>> Solid("cylinder", (0, 0, 5), (9, 0, 5), diameter_mm=4).z_range_mm
        (3.0, 7.0)
        """
        middle, up = float(self.centre_mm[2]), np.abs(self.axes[:, 2])
        if self.shape == "wall":
            flat = up[0] > 1.0 - 1e-12  # only then does it end upwards or downwards
            if not flat:
                return -np.inf, np.inf
            return (-np.inf, middle) if self.axes[0, 2] > 0 else (middle, np.inf)
        across = self.half_mm[1] * float(np.hypot(up[1], up[2])) if self.shape == "cylinder" else float(up[1:] @ self.half_mm[1:])
        reach = float(up[0] * self.half_mm[0]) + across + self.round_mm
        return float(middle - reach), float(middle + reach)

    def _own(self, points: Array) -> Array:
        return (points - self.centre_mm) @ self.axes.T

    def _squared(self, own: Array) -> Array:
        """Squared distance of points in the body's own frame to its core."""
        if self.shape == "cylinder":
            out = np.hypot(own[:, 1], own[:, 2]) - self.half_mm[1]
            beyond = np.abs(own[:, 0]) - self.half_mm[0]
            return np.maximum(out, 0.0) ** 2 + np.maximum(beyond, 0.0) ** 2
        return (np.maximum(np.abs(own) - self.half_mm, 0.0) ** 2).sum(axis=1)


def segment_distance_mm(a_mm: Array, b_mm: Array, c_mm: Array, d_mm: Array) -> tuple[Array, Array, Array]:
    """Least distance of straight pieces a–b to straight pieces c–d, and where along each it is.

    Parameters
    ----------
    a_mm, b_mm, c_mm, d_mm : (n, 3) [mm]

    Returns (n,) [mm], (n,) and (n,) from 0 to 1.
    Source: the least of the four ends against the other piece and, where both feet lie within,
    of the two lines' common perpendicular; parallel pieces need the first four only.

    >>> (a, b), (c, d) = np.array([[[0, 0, 0]], [[9, 0, 0]]]), np.array([[[4, 5, 3]], [[4, 5, -3]]])
    >>> [float(v[0]) for v in segment_distance_mm(a, b, c, d)]
    [5.0, 0.4444444444444444, 0.5]
    """
    u, v, w = b_mm - a_mm, d_mm - c_mm, a_mm - c_mm
    uu, vv, uv = _dot(u, u), _dot(v, v), _dot(u, v)
    uw, vw = _dot(u, w), _dot(v, w)
    det = uu * vv - uv * uv
    apart = det > 1e-12 * np.maximum(uu * vv, 1e-300)
    safe = np.where(apart, det, 1.0)
    s0, t0 = (uv * vw - vv * uw) / safe, (uu * vw - uv * uw) / safe
    inside = apart & (s0 >= 0) & (s0 <= 1) & (t0 >= 0) & (t0 <= 1)
    one, none = np.ones_like(uu), np.zeros_like(uu)
    uu_, vv_ = np.where(uu > 0, uu, 1.0), np.where(vv > 0, vv, 1.0)
    s = np.stack([none, one, _clip(-uw / uu_), _clip((uv - uw) / uu_), np.where(inside, s0, 0.0)])
    t = np.stack([_clip(vw / vv_), _clip((vw + uv) / vv_), none, one, np.where(inside, t0, 0.0)])
    gap = w + s[..., None] * u - t[..., None] * v
    squared = _dot(gap, gap)
    best = squared.argmin(axis=0)[None]
    take = lambda values: np.take_along_axis(values, best, axis=0)[0]  # noqa: E731
    return np.sqrt(take(squared)), take(s), take(t)


def _flat_slope(a: Array, along: Array, half: Array) -> Array:
    """Where along each piece the squared distance to a box is least: its slope bends at the six faces only."""
    places, rates = np.ascontiguousarray(a.T), np.ascontiguousarray(along.T)

    def slope(share: Array) -> Array:
        total = 0.0
        for place, rate, side in zip(places, rates, half, strict=True):
            at = place + share * rate
            total = total + rate * (at - np.minimum(np.maximum(at, -side), side))
        return total

    low, high = np.zeros(len(a)), np.ones(len(a))
    for place, rate, side in zip(places, rates, half, strict=True):
        moving = np.where(rate != 0.0, rate, np.inf)
        for face in (-side, side) if side else (side,):
            share = _clip((face - place) / moving)
            falls = slope(share) < 0.0
            low = np.where(falls, np.maximum(low, share), low)
            high = np.where(falls, high, np.minimum(high, share))
    # No face lies between the two: the slope is straight there.
    falls, rises = slope(low), slope(high)
    rise = rises - falls
    share = low + (high - low) * np.where(rise > 0, -falls / np.where(rise > 0, rise, 1.0), 1.0)
    # Rising from its start: the near end. Falling to its end: the far end.
    return np.where(falls >= 0.0, low, np.where(rises <= 0.0, high, share))


def _round_slope(a: Array, along: Array, half: Array) -> Array:
    """Where along each piece the squared distance to a cylinder is least: its slope only rises."""
    (x, y, z), (u, v, w) = np.ascontiguousarray(a.T), np.ascontiguousarray(along.T)
    low, high = np.zeros(len(a)), np.ones(len(a))
    for _ in range(_HALVINGS):
        share = 0.5 * (low + high)
        ax, ay, az = x + share * u, y + share * v, z + share * w
        out = np.sqrt(ay * ay + az * az)
        away = np.maximum(1.0 - half[1] / np.maximum(out, half[1]), 0.0)
        falls = (ax - np.minimum(np.maximum(ax, -half[0]), half[0])) * u + away * (ay * v + az * w) < 0.0
        low, high = np.where(falls, share, low), np.where(falls, high, share)
    return 0.5 * (low + high)


def _axes(along: Array, turn_deg: float) -> Array:
    """Rows: along the length, across (the width), up (the height)."""
    level = np.array([-along[1], along[0], 0.0])
    size = np.linalg.norm(level)
    across = level / size if size > 1e-9 else np.array([1.0, 0.0, 0.0])
    up = np.cross(along, across)
    turn = np.radians(turn_deg)
    return np.stack([along, np.cos(turn) * across + np.sin(turn) * up, np.cos(turn) * up - np.sin(turn) * across])


def _point(values: ArrayLike, name: str) -> Array:
    point = np.array(values, dtype=float)
    if point.shape != (3,) or not np.isfinite(point).all():
        raise ValueError(f"{name} is not a point: give x, y and z")
    return point


def _dot(a: Array, b: Array) -> Array:
    return np.einsum("...i,...i->...", a, b)


def _clip(share: Array) -> Array:
    return np.minimum(np.maximum(share, 0.0), 1.0)
