"""Bodies as small flat faces: turned parts, boxes, walls, and the points that a keep-away outline goes round."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bendcal.solids import Solid

__all__ = ["faces_of", "outline_of", "revolved"]

Array = NDArray[np.float64]
_SIDES = 20  # round the axis of a turned part
_ACROSS = 12  # cells along the longest side of a box or wall, so that a tube in front of a part of it is drawn in front


def revolved(start_mm: ArrayLike, along: ArrayLike, profile_mm: Sequence[tuple[float, float]], *, sides: int = _SIDES) -> Array:
    """The outside of a turned part, or of a hexagon where `sides` is 6, as four-cornered faces.

    Parameters
    ----------
    start_mm : (3,) a point on its axis [mm]
    along : (3,) which way the axis runs, any length
    profile_mm : distance along the axis and radius there, again and again [mm]
    sides : how many faces go round

    Returns
    -------
    (k, 4, 3) corners [mm], anticlockwise seen from outside

    Examples
    --------
    >>> revolved((0, 0, 0), (1, 0, 0), [(0, 2), (5, 2)], sides=6).shape
    (6, 4, 3)
    """
    axis = np.asarray(along, float) / np.linalg.norm(along)
    across = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    across /= np.linalg.norm(across)
    third = np.cross(axis, across)
    turn = np.linspace(0.0, 2 * np.pi, sides + 1)
    ring = np.cos(turn)[:, None] * across + np.sin(turn)[:, None] * third
    rings = [np.asarray(start_mm, float) + place * axis + radius * ring for place, radius in profile_mm]
    return np.concatenate([np.stack([one[:-1], one[1:], two[1:], two[:-1]], axis=1) for one, two in pairwise(rings)])


def faces_of(solid: Solid, *, near_mm: ArrayLike, reach_mm: float) -> Array:
    """The outside of a body as four-cornered faces, each small enough to be drawn in its turn.

    Parameters
    ----------
    solid : the body
    near_mm, reach_mm : (3,), number; of a wall only the part this near to that point is drawn [mm]

    Returns
    -------
    (k, 4, 3) corners [mm], anticlockwise seen from outside

    Examples
    --------
    >>> faces_of(Solid("sphere", (0, 0, 0), diameter_mm=10), near_mm=(0, 0, 0), reach_mm=9).shape[1:]
    (4, 3)
    """
    if solid.shape == "wall":
        corners = _wall_corners(solid, near_mm, reach_mm)
        return _cells(corners, _ACROSS, _ACROSS)
    if solid.shape == "box":
        return np.concatenate([_box_side(solid, axis, sign) for axis in range(3) for sign in (-1.0, 1.0)])
    radius = solid.diameter_mm / 2
    if solid.shape == "sphere":
        return revolved(solid.from_mm, (0, 0, 1), _dome(radius, -90.0, 90.0))
    length = 2 * float(solid.half_mm[0])
    places = np.linspace(0.0, length, 2 + int(length // max(radius, length / 40)))
    middle = [(float(place), radius) for place in places]
    if solid.shape == "cylinder":
        profile = [(0.0, 0.0), *middle, (length, 0.0)]
    else:
        profile = [*_dome(radius, -90.0, 0.0)[:-1], *middle, *[(length + at, r) for at, r in _dome(radius, 0.0, 90.0)[1:]]]
    return revolved(solid.from_mm, solid.axes[0], profile)


def outline_of(solid: Solid, *, keep_mm: float, near_mm: ArrayLike, reach_mm: float) -> tuple[Array, float]:
    """Points and a radius: the body and all that is nearer to it than `keep_mm` is what spheres of that radius about their hull fill.

    Parameters
    ----------
    solid : the body
    keep_mm : the distance to keep from it [mm]
    near_mm, reach_mm : as in :func:`faces_of`

    Returns
    -------
    (k, 3) points [mm], radius [mm]. Seen from any side the outline is the hull of circles about the points as seen.

    Examples
    --------
    >>> points, radius = outline_of(Solid("capsule", (0, 0, 0), (50, 0, 0), diameter_mm=10), keep_mm=15, near_mm=(0, 0, 0), reach_mm=99)
    >>> points.tolist(), radius
    ([[0.0, 0.0, 0.0], [50.0, 0.0, 0.0]], 20.0)
    """
    if solid.shape == "wall":
        # What is behind the face is not near: only the face itself moves out.
        return _wall_corners(solid, near_mm, reach_mm) + keep_mm * solid.axes[0], 0.0
    if solid.shape == "sphere":
        return solid.centre_mm[None, :], solid.diameter_mm / 2 + keep_mm
    if solid.shape == "capsule":
        return np.stack([solid.from_mm, solid.to_mm]), solid.diameter_mm / 2 + keep_mm
    if solid.shape == "cylinder":
        length, radius = 2 * float(solid.half_mm[0]), solid.diameter_mm / 2
        rim = revolved(solid.from_mm, solid.axes[0], [(0.0, radius), (length, radius)])
        return np.concatenate([rim[:, 0], rim[:, 3]]), keep_mm
    signs = np.array([(i, j, k) for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)], float)
    return solid.centre_mm + (signs * solid.half_mm) @ solid.axes, keep_mm


def _dome(radius: float, from_deg: float, to_deg: float) -> list[tuple[float, float]]:
    turn = np.radians(np.linspace(from_deg, to_deg, 1 + round((to_deg - from_deg) / 22.5)))
    return [(radius * float(np.sin(t)), radius * float(np.cos(t))) for t in turn]


def _box_side(solid: Solid, axis: int, sign: float) -> Array:
    one, two = (axis + 1) % 3, (axis + 2) % 3
    if sign < 0:
        one, two = two, one
    out = solid.centre_mm + sign * solid.half_mm[axis] * solid.axes[axis]
    a, b = solid.half_mm[one] * solid.axes[one], solid.half_mm[two] * solid.axes[two]
    cells = [max(1, round(_ACROSS * float(solid.half_mm[side] / solid.half_mm.max()))) for side in (one, two)]
    return _cells(np.stack([out - a - b, out + a - b, out + a + b, out - a + b]), *cells)


def _wall_corners(solid: Solid, near_mm: ArrayLike, reach_mm: float) -> Array:
    normal, one, two = solid.axes
    near = np.asarray(near_mm, float)
    foot = near - ((near - solid.from_mm) @ normal) * normal
    return np.stack([foot + reach_mm * (i * one + j * two) for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1))])


def _cells(corners: Array, across: int, up: int) -> Array:
    """A flat four-cornered face cut into smaller ones."""
    u, v = np.linspace(0, 1, across + 1), np.linspace(0, 1, up + 1)
    p, a, b = corners[0], corners[1] - corners[0], corners[3] - corners[0]
    at = p + u[:, None, None] * a + v[None, :, None] * b
    return np.stack([at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]], axis=2).reshape(-1, 4, 3)
