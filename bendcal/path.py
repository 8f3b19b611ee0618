"""The path of a line: its bent centreline, and one door to nodes, legs and twists.

`nodes` turns points into legs and back, `legs` holds and checks them, `twists`
puts their turns into words; all their names can be had from here. What this
room adds is the tube as it is bent: straights joined by arcs.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bendcal.legs import (
    Legs,
    LegTooShort,
    check_straights,
    loose_twists,
    mirror_legs,
    reverse_legs,
    straights_mm,
)
from bendcal.nodes import (
    corner_rows,
    corners,
    cross,
    legs_from_nodes,
    measure_nodes,
    nodes_from_legs,
    place_nodes,
    pose_like,
    pose_of,
)
from bendcal.twists import clock_deg, describe_tube_turn, describe_twist, tube_turn_deg, wrap_deg

__all__ = [
    "Centreline", "LegTooShort", "Legs", "bent_centreline", "check_straights", "clock_deg",
    "corner_rows", "corners", "describe_tube_turn", "describe_twist", "end_shifts", "legs_from_nodes",
    "loose_twists", "measure_nodes", "mirror_legs", "nodes_from_legs", "place_nodes",
    "pose_like", "pose_of", "reverse_legs", "straights_mm", "tube_turn_deg", "wrap_deg",
]  # fmt: skip

Array = NDArray[np.float64]


class Centreline(NamedTuple):
    """Points along the bent centreline and the piece that each belongs to.

    `points_mm` (k, 3) [mm]; `piece` (k,): 0 is the first straight, 1 bend 1,
    2 the second straight, and so on: odd pieces are bends. A tangent point
    belongs to its bend, and the two ends of the line to their straights.
    """

    points_mm: Array
    piece: NDArray[np.intp]

    def piece_points(self, piece: int) -> Array:
        """The whole of one piece with the points where it meets its neighbours."""
        first = int(np.searchsorted(self.piece, piece))
        last = int(np.searchsorted(self.piece, piece, side="right"))
        if piece % 2 == 0:  # a straight borrows its tangent points from the bends
            first, last = max(first - 1, 0), last + 1
        return self.points_mm[first:last]


def bent_centreline(
    legs: Legs,
    radius_mm: ArrayLike,
    *,
    nodes_mm: ArrayLike | None = None,
    points_per_bend: int = 17,
    leg_from: Sequence[str] = (),
) -> Centreline:
    """Points along the finished tube's centreline: straights joined by arcs.

    Parameters
    ----------
    legs : Legs of n bends
    radius_mm : number or (n,) [mm], centreline radius, more than 0
    nodes_mm : (k, 3) [mm] of this same line, to draw it where it lies; None:
        the standard frame. Nodes that the line passes straight through may be in it.
    points_per_bend : 2 or more, with both tangent points
    leg_from : as for `check_straights`

    Returns Centreline (points, piece). Raises LegTooShort where the bends
    overlap; ValueError for nodes that are not these legs, or too few points.

    >>> points, piece = bent_centreline(Legs([20, 20], [90], [0]), 10, points_per_bend=3)
    >>> points.round(2).tolist()[1:-1], piece.tolist()
    ([[10.0, 0.0, 0.0], [17.07, 2.93, 0.0], [20.0, 10.0, 0.0]], [0, 1, 1, 1, 2])
    """
    if points_per_bend < 2:
        raise ValueError(f"{points_per_bend} points per bend: an arc needs at least its two ends")
    check_straights(legs, radius_mm, leg_from=leg_from)
    if nodes_mm is None:
        nodes = nodes_from_legs(legs)
    else:
        nodes = np.asarray(nodes_mm, dtype=float)
        nodes = nodes[corner_rows(legs, nodes)]
    along = np.diff(nodes, axis=0) / legs.leg_mm[:, None]
    before, after = along[:-1], along[1:]
    angle = np.radians(legs.angle_deg)[:, None]
    inward = (after - np.cos(angle) * before) / np.sin(angle)
    radius = np.broadcast_to(np.asarray(radius_mm, dtype=float), legs.angle_deg.shape)
    start = nodes[1:-1] - (radius * np.tan(angle[:, 0] / 2.0))[:, None] * before
    phi = angle[:, :, None] * np.linspace(0.0, 1.0, points_per_bend)[None, :, None]
    arc = np.sin(phi) * before[:, None] + (1.0 - np.cos(phi)) * inward[:, None]
    arcs = start[:, None] + radius[:, None, None] * arc
    points = np.concatenate([nodes[:1], arcs.reshape(-1, 3), nodes[-1:]])
    bend_piece = np.repeat(2 * np.arange(legs.bends) + 1, points_per_bend)
    piece = np.concatenate([[0], bend_piece, [2 * legs.bends]]).astype(np.intp)
    return Centreline(points, piece)


def end_shifts(legs: Legs) -> tuple[Array, Array, Array]:
    """How end B moves for each mm of a leg and each degree of an angle or a twist.

    End A and leg 1 stay where they are, in the standard frame. It shows which
    bend the fit at end B hangs on, and carries uncertainties over to end B.

    Parameters
    ----------
    legs : Legs of n bends

    Returns leg (n + 1, 3) [mm/mm], angle (n, 3) [mm/deg], twist (n, 3)
    [mm/deg]; the first twist's row is 0, for there is nothing to turn.
    Source: everything after a bend turns about its apex as one stiff piece.

    >>> end_shifts(Legs([50, 100], [90], [0]))[1].round(4).tolist()
    [[-1.7453, 0.0, 0.0]]
    """
    nodes = nodes_from_legs(legs)
    along = np.diff(nodes, axis=0) / legs.leg_mm[:, None]
    arm = nodes[-1] - nodes[1:-1]
    normal = cross(along[:-1], along[1:]) / np.sin(np.radians(legs.angle_deg))[:, None]
    angle = np.radians(cross(normal, arm))
    twist = np.radians(cross(along[:-1], arm))
    twist[:1] = 0.0
    return along, angle, twist
