"""Nodes of a line, turned into legs and back.

Nodes are points in space: the seat at end A, every apex, the seat at end B.
Legs (see `legs`) are the same line as lengths, angles and twists. A twist is
the dihedral angle of four neighbouring nodes with the sign of the IUPAC Gold
Book (torsion angle, T06406; Klyne & Prelog 1960): looking along the middle
leg from A towards B, positive where the next bend points clockwise of the
last; 0 is a U, 180 an offset.

Standard frame: end A at the origin, leg 1 along +x, bend 1 in the xy plane
towards +y.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bendcal.legs import Legs

Array = NDArray[np.float64]

#: Nodes closer than this are one node typed twice.
_SAME_PLACE_MM = 1e-6
#: A turn this close to −180 is an exact half turn that lost its last digits.
_HALF_TURN_DEG = 1e-11


def measure_nodes(nodes_mm: ArrayLike) -> tuple[Array, Array, Array]:
    """Lengths, angles and twists of nodes, unchecked: fast, and for many lines at once.

    Parameters
    ----------
    nodes_mm : (..., n + 2, 3) [mm], n bends

    Returns leg (..., n + 1) [mm], angle (..., n) [deg], twist (..., n) [deg].
    A twist beside a straight node does not exist and comes out as 0: see
    `legs_from_nodes`, which takes such nodes out first.
    Source: atan2 of cross and dot product, exact near 0 and 180 where the
    arc cosine loses half its digits.

    >>> measure_nodes([[0, 0, 0], [3, 0, 0], [3, 4, 0]])[0].tolist()
    [3.0, 4.0]
    """
    nodes = np.asarray(nodes_mm, dtype=float)
    step = nodes[..., 1:, :] - nodes[..., :-1, :]
    leg = np.sqrt(np.einsum("...i,...i->...", step, step))
    before, after = step[..., :-1, :], step[..., 1:, :]
    normal = cross(before, after)
    area = np.sqrt(np.einsum("...i,...i->...", normal, normal))
    angle = np.degrees(np.arctan2(area, np.einsum("...i,...i->...", before, after)))
    twist = np.zeros_like(angle)
    if angle.shape[-1] > 1:
        last, following = normal[..., :-1, :], normal[..., 1:, :]
        sine = leg[..., 1:-1] * np.einsum("...i,...i->...", step[..., :-2, :], following)
        turn = np.degrees(np.arctan2(sine, np.einsum("...i,...i->...", last, following)))
        twist[..., 1:] = np.where(turn <= _HALF_TURN_DEG - 180.0, 180.0, turn)
    return leg, angle, twist


def place_nodes(leg_mm: ArrayLike, angle_deg: ArrayLike, twist_deg: ArrayLike) -> Array:
    """Nodes in the standard frame, unchecked: fast, and for many lines at once.

    Parameters
    ----------
    leg_mm : (..., n + 1) [mm]
    angle_deg, twist_deg : (..., n) [deg]; the first twist turns the whole line about x

    Returns (..., n + 2, 3) [mm].
    Source: a frame carried along the line, turned by the twist about the leg
    and then by the angle about its own z, bend after bend.

    >>> place_nodes([3, 4], [90], [0]).round(9).tolist()
    [[0.0, 0.0, 0.0], [3.0, 0.0, 0.0], [3.0, 4.0, 0.0]]
    """
    leg = np.asarray(leg_mm, dtype=float)
    angle, twist = np.radians(angle_deg), np.radians(twist_deg)
    ca, sa, ct, st = np.cos(angle), np.sin(angle), np.cos(twist), np.sin(twist)
    turn = np.empty((*angle.shape, 3, 3))  # Rx(twist) · Rz(angle)
    turn[..., 0, 0], turn[..., 0, 1], turn[..., 0, 2] = ca, -sa, 0.0
    turn[..., 1, 0], turn[..., 1, 1], turn[..., 1, 2] = ct * sa, ct * ca, -st
    turn[..., 2, 0], turn[..., 2, 1], turn[..., 2, 2] = st * sa, st * ca, ct
    nodes = np.zeros((*leg.shape[:-1], leg.shape[-1] + 1, 3))
    nodes[..., 1, 0] = leg[..., 0]
    frame = np.eye(3)
    for k in range(angle.shape[-1]):
        frame = frame @ turn[..., k, :, :]
        nodes[..., k + 2, :] = frame[..., :, 0] * leg[..., k + 1, None]
    return np.cumsum(nodes, axis=-2)


def corners(
    nodes_mm: ArrayLike, *, collinear_deg: float = 1e-6, labels: Sequence[str] = ()
) -> NDArray[np.intp]:
    """Which nodes are end A, a real corner or end B; straight-through nodes are left out.

    Parameters
    ----------
    nodes_mm : (k, 3) [mm], from end A to end B, k at least 2
    collinear_deg : number [deg], a node that turns the line by no more is no bend
    labels : k texts, or none; named in errors

    Returns row numbers from 0. Raises ValueError for a wrong shape, a number
    that is missing, two neighbouring nodes at one place, or a line that
    doubles straight back; the message counts nodes from 1.

    >>> corners([[0, 0, 0], [1, 0, 0], [2, 0, 0], [2, 3, 0]]).tolist()
    [0, 2, 3]
    """
    nodes = np.asarray(nodes_mm, dtype=float)
    if nodes.ndim != 2 or nodes.shape[1] != 3 or len(nodes) < 2:
        raise ValueError(
            f"nodes of shape {nodes.shape}: a line needs two or more nodes, each with x, y and z"
        )
    if labels and len(labels) != len(nodes):
        raise ValueError(f"{len(labels)} labels for {len(nodes)} nodes: give one each, or none")
    if not np.isfinite(nodes).all():
        bad = int(np.flatnonzero(~np.isfinite(nodes).all(axis=1))[0])
        raise ValueError(f"node {_name(bad, labels)} has a coordinate that is not a number")
    keep = np.arange(len(nodes))
    leg, angle, _ = measure_nodes(nodes)
    if leg.min() < _SAME_PLACE_MM:
        i = int(leg.argmin())
        raise ValueError(
            f"nodes {_name(i, labels)} and {_name(i + 1, labels)} lie at the same place: "
            "give each corner once and delete one of the two"
        )
    while len(angle):
        if angle.max() >= 180.0 - collinear_deg:
            i = int(keep[angle.argmax() + 1])
            raise ValueError(
                f"the line doubles straight back at node {_name(i, labels)}: no bender makes a "
                "bend of 180 degrees about one corner; check the order of the nodes, or give the "
                "turn two corners"
            )
        straightest = int(angle.argmin())
        if angle[straightest] > collinear_deg:
            break
        # One at a time: many small turns one after the other do make a bend.
        keep = np.delete(keep, straightest + 1)
        angle = measure_nodes(nodes[keep])[1]
    return keep


def legs_from_nodes(
    nodes_mm: ArrayLike, *, collinear_deg: float = 1e-6, labels: Sequence[str] = ()
) -> Legs:
    """Legs, angles and twists of a line given by its nodes.

    Parameters, errors as in `corners`: nodes that the line passes straight
    through are no bends, and their legs become one.

    >>> legs = legs_from_nodes([[0, 0, 0], [100, 0, 0], [100, 80, 0], [100, 80, 60]])
    >>> legs.leg_mm.tolist(), legs.angle_deg.tolist(), legs.twist_deg.tolist()
    ([100.0, 80.0, 60.0], [90.0, 90.0], [0.0, 90.0])
    """
    nodes = np.asarray(nodes_mm, dtype=float)
    return Legs(*measure_nodes(nodes[corners(nodes, collinear_deg=collinear_deg, labels=labels)]))


def nodes_from_legs(
    legs: Legs,
    *,
    start: ArrayLike = (0.0, 0.0, 0.0),
    direction: ArrayLike = (1.0, 0.0, 0.0),
    normal: ArrayLike | None = None,
) -> Array:
    """Nodes of a line: end A, every apex, end B; by default in the standard frame.

    Parameters
    ----------
    legs : Legs of n bends
    start : (3,) [mm], end A
    direction : (3,), along leg 1, any length
    normal : (3,), bend 1 turns right-handed about it; the part square to
        `direction` counts. None: +z, or another axis if leg 1 runs along z.

    Returns (n + 2, 3) [mm]. Raises ValueError where `direction` is nothing or
    `normal` runs along it.

    >>> nodes_from_legs(Legs([3, 4], [90], [0]), start=(1, 1, 0)).round(9).tolist()
    [[1.0, 1.0, 0.0], [4.0, 1.0, 0.0], [4.0, 5.0, 0.0]]
    """
    nodes = place_nodes(legs.leg_mm, legs.angle_deg, legs.twist_deg)
    along = _unit(direction, "the direction of leg 1 has no length")
    if normal is None:
        normal = (0.0, 0.0, 1.0) if abs(along[2]) < 0.999 else (0.0, 1.0, 0.0)
    axis = _unit(normal, "the normal of bend 1 has no length")
    square = axis - (axis @ along) * along
    axis = _unit(square, "the normal of bend 1 runs along leg 1: it has to be square to it", 1e-9)
    frame = np.stack([along, cross(axis, along), axis])
    return np.asarray(start, dtype=float) + nodes @ frame


def pose_of(nodes_mm: ArrayLike) -> dict[str, Array]:
    """Where a line lies: keywords that let `nodes_from_legs` put it back there.

    Parameters
    ----------
    nodes_mm : (k, 3) [mm], k at least 2

    Returns start, direction and normal. A line without a bend gets some
    normal square to it. Errors as in `corners`.

    >>> nodes = [[5, 0, 0], [5, 9, 0], [5, 9, 7]]
    >>> nodes_from_legs(legs_from_nodes(nodes), **pose_of(nodes)).round(9).tolist()
    [[5.0, 0.0, 0.0], [5.0, 9.0, 0.0], [5.0, 9.0, 7.0]]
    """
    nodes = np.asarray(nodes_mm, dtype=float)
    nodes = nodes[corners(nodes)]
    along = nodes[1] - nodes[0]
    if len(nodes) > 2:
        normal = cross(along, nodes[2] - nodes[1])
    else:
        normal = cross(along, np.eye(3)[np.abs(along).argmin()])
    return {"start": nodes[0], "direction": along, "normal": normal}


def corner_rows(legs: Legs, nodes_mm: ArrayLike) -> NDArray[np.intp]:
    """Which of a line's nodes are its corners, with proof that these legs are theirs.

    Two accounts of one shape that differ would mark out one line and draw another.

    Parameters
    ----------
    legs : Legs of n bends
    nodes_mm : (k, 3) [mm], k at least n + 2

    Returns (n + 2,) row numbers from 0. Raises ValueError where a corner lies
    more than 0.001 mm from where the legs put it; else as `corners`.

    >>> corner_rows(Legs([2, 3], [90], [0]), [[0, 0, 0], [1, 0, 0], [2, 0, 0], [2, 3, 0]]).tolist()
    [0, 2, 3]
    """
    nodes = np.asarray(nodes_mm, dtype=float)
    rows = corners(nodes)
    if len(rows) != legs.bends + 2:
        raise ValueError(
            f"the nodes have {len(rows) - 2} bends and the legs have {legs.bends}: "
            "they are not the same line; make one from the other"
        )
    apart = np.abs(nodes_from_legs(legs, **pose_of(nodes)) - nodes[rows]).max(axis=1)
    if apart.max() > 1e-3:
        worst = int(apart.argmax())
        raise ValueError(
            f"node {rows[worst] + 1} lies {apart[worst]:.3f} mm from where the legs put it: "
            "they are not the same line; make one from the other"
        )
    return rows


def pose_like(nodes_mm: ArrayLike, template_mm: ArrayLike) -> Array:
    """Nodes moved and turned, never mirrored or stretched, to lie nearest to a template.

    Parameters
    ----------
    nodes_mm, template_mm : (k, 3) [mm], node i belongs to template row i

    Returns (k, 3) [mm]. Raises ValueError where the shapes differ.
    Source: least squares over rotations by singular values, W. Kabsch, Acta
    Cryst. A32 (1976) 922 (memory), held in the tests against another solver.

    >>> pose_like([[0, 0, 0], [2, 0, 0]], [[1, 1, 1], [1, 3, 1]]).round(9).tolist()
    [[1.0, 1.0, 1.0], [1.0, 3.0, 1.0]]
    """
    nodes, template = np.asarray(nodes_mm, dtype=float), np.asarray(template_mm, dtype=float)
    if nodes.ndim != 2 or nodes.shape[1] != 3 or nodes.shape != template.shape:
        raise ValueError(
            f"nodes of shape {nodes.shape} cannot be laid on a template of shape "
            f"{template.shape}: both need the same number of rows of x, y and z"
        )
    centre, target = nodes.mean(axis=0), template.mean(axis=0)
    left, _, right = np.linalg.svd((nodes - centre).T @ (template - target))
    hand = np.sign(np.linalg.det(left) * np.linalg.det(right))
    left[:, 2] *= hand  # a mirrored fit may be nearer, but no tube can be mirrored
    return target + (nodes - centre) @ (left @ right)


def cross(a: Array, b: Array) -> Array:
    """Cross product over the last axis; much quicker than numpy's for a few rows."""
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    out[..., 0] = a[..., 1] * b[..., 2] - a[..., 2] * b[..., 1]
    out[..., 1] = a[..., 2] * b[..., 0] - a[..., 0] * b[..., 2]
    out[..., 2] = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return out


def _unit(vector: ArrayLike, fault: str, smallest: float = 0.0) -> Array:
    values = np.asarray(vector, dtype=float)
    length = float(np.sqrt(values @ values))
    if not length > smallest or not np.isfinite(length):
        raise ValueError(fault)
    return values / length


def _name(row: int, labels: Sequence[str]) -> str:
    label = labels[row].strip() if labels else ""
    return f"{row + 1} ({label})" if label else f"{row + 1}"
