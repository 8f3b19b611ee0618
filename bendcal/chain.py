"""Half of a bent tube, from one of its bends to its end: straights and arcs, many halves at once.

While a bend is made, the tube on either side of it keeps its shape. Each half is a chain of
straights and arcs that begins where the bend begins or ends; a bend that is not yet made is a
straight of its developed length. Chains lie in a frame of their own: the bend is at the origin,
the tube leaves it along x, and the inside of the bend faces y.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Chains", "half_chains", "points_along"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]


class Chains(NamedTuple):
    """The pieces of many chains, one row each.

    `owner` (m,) which chain it belongs to; `piece` (m,) its number from the bend outwards: 0 the
    straight beside the bend, 1 the next bend, and so on; `start_mm`, `along`, `inward` (m, 3): where
    it begins, which way it runs, and which way it curves; `curve` (m,) [1/mm], 0 of a straight;
    `length_mm` (m,) along its centreline; `offset_mm`, `offset_end_mm` (m,): where on the straight
    tube it begins and ends, from the bend outwards.
    """

    owner: Ints
    piece: Ints
    start_mm: Array
    along: Array
    inward: Array
    curve: Array
    length_mm: Array
    offset_mm: Array
    offset_end_mm: Array

    def take(self, rows: Ints | NDArray[np.bool_]) -> Chains:
        """Some of the pieces."""
        return Chains(*(values[rows] for values in self))


def half_chains(
    made: ArrayLike, straight_mm: ArrayLike, angle_deg: ArrayLike, arc_mm: ArrayLike, roll_deg: ArrayLike, radius_mm: float
) -> Chains:
    """The chains of one half for several sets of bends that are already made.

    Parameters
    ----------
    made : (c, m) bool, for each chain which of its m bends are made, the nearest first
    straight_mm : (m + 1,) [mm], straights from the bend outwards
    angle_deg, arc_mm : (m,) [deg], [mm] finished angles and developed lengths
    roll_deg : (m,) [deg] turn of each bend's plane against that of the bend before it, clockwise
        seen along the tube (a twist, which looks the same from both ends)
    radius_mm : centreline radius of the bends that are made [mm]

    Source: a frame carried along the tube, turned about the tube by the roll and then in the plane of the bend.

    >>> half_chains([[True]], [10, 5], [90], [15], [0], 10).start_mm.round(6).tolist()
    [[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [20.0, 10.0, 0.0]]
    """
    made = np.atleast_2d(np.asarray(made, dtype=bool))
    straight = np.asarray(straight_mm, dtype=float)
    theta, roll = np.radians(np.asarray(angle_deg, dtype=float)), np.radians(np.asarray(roll_deg, dtype=float))
    count, bends = made.shape
    place = np.zeros((count, 3))
    frame = np.broadcast_to(np.eye(3), (count, 3, 3))  # rows: along, inward, square to both
    pieces = []
    offset = 0.0

    def add(curve: Array, length: Array, developed: float) -> None:
        nonlocal offset
        at = np.full(count, offset)
        pieces.append((place, frame[:, 0], frame[:, 1], curve, length, at, at + developed))
        offset += developed

    none = np.zeros(count)
    for j in range(bends + 1):
        add(none, np.full(count, straight[j]), straight[j])
        place = place + straight[j] * frame[:, 0]
        if j == bends:
            break
        along, inward, beside = frame[:, 0], frame[:, 1], frame[:, 2]
        c, s = np.cos(roll[j]), np.sin(roll[j])
        inward, beside = c * inward + s * beside, c * beside - s * inward
        frame = np.stack([along, inward, beside], axis=1)
        bent = made[:, j]
        arc = float(arc_mm[j])
        add(np.where(bent, 1.0 / radius_mm, 0.0), np.where(bent, radius_mm * theta[j], arc), arc)
        angle = np.where(bent, theta[j], 0.0)[:, None]
        c, s = np.cos(angle), np.sin(angle)
        step = np.where(bent[:, None], radius_mm * (s * along + (1.0 - c) * inward), arc * along)
        place = place + step
        frame = np.stack([c * along + s * inward, c * inward - s * along, beside], axis=1)
    owner = np.tile(np.arange(count), len(pieces))
    number = np.repeat(np.arange(len(pieces)), count)
    return Chains(owner, number, *(np.concatenate(column) for column in zip(*pieces, strict=True)))


def points_along(chains: Chains, rows: Ints, along_mm: Array) -> Array:
    """Points of pieces, each this far along its piece.

    Parameters
    ----------
    chains : the pieces
    rows : (n,) which piece
    along_mm : (n,) [mm] along its centreline

    Returns (n, 3) [mm].

    >>> half = half_chains([[True]], [10, 5], [90], [15], [0], 10)
    >>> points_along(half, np.array([1]), np.array([5 * np.pi])).round(6).tolist()
    [[20.0, 10.0, 0.0]]
    """
    curve = chains.curve[rows]
    bent = curve > 0.0
    radius = 1.0 / np.where(bent, curve, 1.0)
    turn = along_mm * curve
    ahead = np.where(bent, radius * np.sin(turn), along_mm)
    aside = np.where(bent, radius * (1.0 - np.cos(turn)), 0.0)
    return chains.start_mm[rows] + ahead[:, None] * chains.along[rows] + aside[:, None] * chains.inward[rows]
