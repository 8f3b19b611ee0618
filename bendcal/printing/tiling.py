"""A long strip cut into pieces that fit the paper, the joints kept clear of the marks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

import numpy as np

__all__ = ["OVERLAP_MM", "Piece", "pieces_of"]

#: How far two pieces lie on one another, half of it on either side of the joint [mm].
OVERLAP_MM = 15.0

_CLEAR_MM = 12.0  # this far from every mark a joint disturbs nothing
_LEAST_MM = 20.0  # no piece is shorter


@dataclass(frozen=True)
class Piece:
    """One piece of a strip; positions are from the cut end A.

    Attributes
    ----------
    number : 1 is the first
    low_mm, high_mm : what is drawn on it, the overlaps included
    from_mm, to_mm : what it is for: from joint to joint
    first, last : whether it has no neighbour on that side
    """

    number: int
    low_mm: float
    high_mm: float
    from_mm: float
    to_mm: float
    first: bool
    last: bool


def pieces_of(low_mm: float, high_mm: float, *, width_mm: float, marks_mm: Sequence[float] = (), widths_mm: Sequence[float] = ()) -> tuple[Piece, ...]:
    """As few pieces as the width allows, joined at whole millimetres away from the marks.

    Parameters
    ----------
    low_mm, high_mm : where the whole strip begins and ends
    width_mm : how wide one piece may be [mm]
    marks_mm : (n,) ascending, what the joints should keep clear of
    widths_mm : (n,) how much room the label of each mark needs: no piece gets more labels than it has room for

    Returns
    -------
    Pieces from end A on

    Raises
    ------
    ValueError : where the paper is too narrow for any strip

    Examples
    --------
    >>> [(piece.low_mm, piece.high_mm) for piece in pieces_of(0, 500, width_mm=271)]
    [(0.0, 270.5), (255.5, 500.0)]
    >>> len(pieces_of(-9, 1509, width_mm=271.0)), len(pieces_of(-9, 1509, width_mm=253.4))
    (6, 7)
    """
    if width_mm < 4 * OVERLAP_MM:
        raise ValueError(f"A strip cannot be printed in pieces of {width_mm:.0f} mm.")
    marks, half = np.asarray(marks_mm, float), OVERLAP_MM / 2
    needs = np.zeros(marks.size) + np.asarray(widths_mm, float) if len(widths_mm) else np.zeros(marks.size)
    if high_mm - low_mm <= width_mm and needs.sum() <= high_mm - low_mm:
        return (Piece(1, low_mm, high_mm, low_mm, high_mm, True, True),)
    # Every whole millimetre may become a joint. From the far end on: the cheapest way from each to the end, where a piece
    # costs more than any number of joints near a mark, and labels that do not fit cost more than any number of pieces.
    at = np.concatenate([[low_mm], np.arange(ceil(low_mm) + _LEAST_MM, floor(high_mm) - _LEAST_MM + 1)])
    near = np.abs(at[:, None] - marks[None, :]).min(axis=1) if marks.size else np.full(at.size, np.inf)
    crowded = (_CLEAR_MM - np.minimum(near, _CLEAR_MM)) ** 2 / _CLEAR_MM
    labels = np.concatenate([[0.0], np.cumsum(needs)])
    before = np.searchsorted(marks, [*at, high_mm + 1.0])
    cost, after = np.full(at.size, np.inf), np.full(at.size, at.size)
    for k in range(at.size - 1, -1, -1):
        start = at[k] - (half if k else 0.0)
        if high_mm <= start + width_mm:
            cost[k] = _full(labels, before, k, at.size, high_mm - at[k])
        if cost[k] == 0.0:
            continue
        there = np.flatnonzero((at >= at[k] + _LEAST_MM) & (at <= start + width_mm - half) & np.isfinite(cost))
        ways = cost[there] + crowded[there] + 1e3 + _full(labels, before, k, there, at[there] - at[k])
        if there.size and ways.min() < cost[k]:
            cost[k], after[k] = ways.min(), there[ways <= ways.min() + 1e-9][-1]
    edges, k = [float(low_mm)], int(after[0])
    while k < at.size:
        edges.append(float(at[k]))
        k = int(after[k])
    edges.append(float(high_mm))
    count = len(edges) - 1
    return tuple(
        Piece(
            k + 1, edges[k] - (OVERLAP_MM / 2 if k else 0.0), edges[k + 1] + (OVERLAP_MM / 2 if k < count - 1 else 0.0),
            edges[k], edges[k + 1], k == 0, k == count - 1,
        )
        for k in range(count)
    )


def _full(labels: np.ndarray, before: np.ndarray, start: int, stop, room_mm):
    """What it costs that the labels between two joints need more room than there is."""
    return np.where(labels[before[stop]] - labels[before[start]] > room_mm, 1e6, 0.0)[()]
