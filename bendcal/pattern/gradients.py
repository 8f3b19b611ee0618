"""Lengths, angles, twists and directions of points in space, with how each changes as a point moves.

Rows are handled together: every argument is (m, 3), one row for each measurement. Angles are in
degrees and derivatives in degrees per mm.

Sources: differentiation of the definitions in `nodes`; the twist's derivative in the form of A.
Blondel and M. Karplus, J. Comput. Chem. 17 (1996) 1132 (memory). The tests hold all of it against
differences of `nodes.measure_nodes`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bendcal.nodes import cross

__all__ = ["angle_gradient", "direction_gradient", "length_gradient", "shape_gradient", "twist_gradient"]

Array = NDArray[np.float64]
_DEG = 180.0 / np.pi
#: Below this a plane is rounding only, and any direction square to the line serves for it.
_FLAT = 1e-12


def length_gradient(a: Array, b: Array) -> tuple[Array, Array]:
    """Distance (m,) from a to b, and its derivative by b (m, 3); by a it is the negative.

    >>> length_gradient(np.array([[0.0, 0, 0]]), np.array([[3.0, 4, 0]]))[1].tolist()
    [[0.6, 0.8, 0.0]]
    """
    way = b - a
    length = _norm(way)
    return length, way / length[:, None]


def angle_gradient(a: Array, b: Array, c: Array) -> tuple[Array, tuple[Array, Array, Array]]:
    """Angle (m,) [deg] by which a line a, b, c turns at b, and its derivatives by a, b and c."""
    before, after = b - a, c - b
    p, q = _norm(before), _norm(after)
    before, after = before / p[:, None], after / q[:, None]
    normal = cross(before, after)
    sine = _norm(normal)
    angle = np.arctan2(sine, _dot(before, after))
    flat = sine < _FLAT
    if flat.any():
        normal = np.where(flat[:, None], _square_to(before), normal)
        sine = np.where(flat, 1.0, sine)
    normal = normal / sine[:, None]
    by_before = -cross(normal, before) / p[:, None]
    by_after = cross(normal, after) / q[:, None]
    return angle * _DEG, (-by_before * _DEG, (by_before - by_after) * _DEG, by_after * _DEG)


def twist_gradient(a: Array, b: Array, c: Array, d: Array) -> tuple[Array, tuple[Array, Array, Array, Array]]:
    """Twist (m,) [deg] about b–c, IUPAC sign, and its derivatives by a, b, c and d.

    Where a bend beside it is straight the twist is nothing definite, and its derivative is 0.
    """
    before, along, after = b - a, c - b, d - c
    last, following = cross(before, along), cross(along, after)
    length = _norm(along)
    twist = np.arctan2(length * _dot(before, following), _dot(last, following))
    last2, following2 = _dot(last, last), _dot(following, following)
    near, far = _dot(before, before), _dot(after, after)
    firm = (last2 > _FLAT**2 * near * length**2) & (following2 > _FLAT**2 * far * length**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        by_a = np.where(firm, -length / last2, 0.0)[:, None] * last
        by_d = np.where(firm, length / following2, 0.0)[:, None] * following
    s, t = (_dot(before, along) / length**2)[:, None], (_dot(after, along) / length**2)[:, None]
    by_b = -(1.0 + s) * by_a + t * by_d
    by_c = -(1.0 + t) * by_d + s * by_a
    return twist * _DEG, (by_a * _DEG, by_b * _DEG, by_c * _DEG, by_d * _DEG)


def direction_gradient(a: Array, b: Array, aim: Array, across: Array) -> tuple[Array, Array]:
    """How far (m,) [deg] the way from a to b leans from `aim` towards `across`, and its derivative by b.

    aim, across (m, 3) are square to each other and of length 1. Two acrosses together give the
    whole leaning, as a map of the sphere drawn from the point opposite the aim: 2·tan of half the
    angle, which is the angle itself where it is small and keeps growing up to half a turn.
    """
    way = b - a
    length = _norm(way)
    way = way / length[:, None]
    ahead = np.maximum(1.0 + _dot(way, aim), 1e-9)[:, None]
    lean = 2.0 * _dot(way, across)[:, None] / ahead
    by_way = (2.0 * across - lean * aim) / ahead
    by_b = (by_way - _dot(by_way, way)[:, None] * way) / length[:, None]
    return lean[:, 0] * _DEG, by_b * _DEG


def shape_gradient(nodes_mm: Array) -> Array:
    """Derivatives of legs, angles and twists, in that order, by the nodes' coordinates.

    Parameters
    ----------
    nodes_mm : (n + 2, 3) [mm]

    Returns (3n + 1, 3(n + 2)): n + 1 legs, n angles, n twists of which the first is always 0.

    >>> shape_gradient(np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0]])).shape
    (4, 9)
    """
    nodes = np.asarray(nodes_mm, dtype=float)
    k = len(nodes)
    n = k - 2
    by = np.zeros((3 * n + 1, k, 3))
    legs = np.arange(n + 1)
    _, by_b = length_gradient(nodes[:-1], nodes[1:])
    by[legs, legs], by[legs, legs + 1] = -by_b, by_b
    if n > 0:
        bends = np.arange(n)
        _, parts = angle_gradient(nodes[:-2], nodes[1:-1], nodes[2:])
        for i, part in enumerate(parts):
            by[n + 1 + bends, bends + i] = part
    if n > 1:
        turns = np.arange(n - 1)
        _, parts = twist_gradient(nodes[:-3], nodes[1:-2], nodes[2:-1], nodes[3:])
        for i, part in enumerate(parts):
            by[2 * n + 2 + turns, turns + i] = part
    return by.reshape(3 * n + 1, 3 * k)


def _dot(a: Array, b: Array) -> Array:
    return np.einsum("ij,ij->i", a, b)


def _norm(a: Array) -> Array:
    """Lengths; two places on one another are kept a hair apart, so that nothing is divided by nothing."""
    return np.maximum(np.sqrt(_dot(a, a)), 1e-150)


def _square_to(way: Array) -> Array:
    """A unit vector square to each row."""
    other = np.eye(3)[np.abs(way).argmin(axis=1)]
    square = cross(way, other)
    return square / _norm(square)[:, None]
