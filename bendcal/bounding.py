"""Least values by branch and bound: boxes of parameters are halved until no box can hold less.

For distances that have no closed form (an arc to a body, a tube to a body while the bend is
made) there is always a bound on how fast they change. A box of parameters whose value in the
middle, less what it can change by, is above what has been found elsewhere is put aside; the
others are halved. What comes out is a value that is attained and a bound that nothing is below.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["Boxes", "Least", "Measured", "least"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

MOST_ROUNDS = 80  # of halving: far more than rounding leaves room for
MOST_BOXES = 1_000_000  # at one time: some hundred megabytes


class Boxes(NamedTuple):
    """Boxes of parameters to look through.

    `owner` (n,): whose least value a box may hold. `key` (n, q): what is measured there, for the
    measuring function. `span` (n, p, 2): from and to of each of its p parameters.
    """

    owner: Ints
    key: Ints
    span: Array

    def take(self, rows: Ints | NDArray[np.bool_]) -> Boxes:
        """Some of the boxes."""
        return Boxes(self.owner[rows], self.key[rows], self.span[rows])


class Measured(NamedTuple):
    """What is known of each box.

    `low` (n,): nothing in the box is below. `found` (n,): a value in it that is attained (inf: none
    known yet). `at` (n, p): where. `split` (n, p): how much each parameter leaves open; the
    largest is halved next.
    """

    low: Array
    found: Array
    at: Array
    split: Array


@dataclass(frozen=True, eq=False)
class Least:
    """The least value of each owner.

    Attributes
    ----------
    value : (m,) the least that was found; inf where nothing was looked at
    low : (m,) a bound that nothing is below; `value` − `low` is within the tolerance asked for, unless the
        search of that owner was ended by `enough` or `floor`, or by too many boxes
    key : (m, q) what was measured where it was found
    at : (m, p) the parameters there
    """

    value: Array
    low: Array
    key: Ints
    at: Array


def least(
    boxes: Boxes, measure: Callable[[Ints, Array], Measured], owners: int, *,
    tolerance: float = 0.01, share: float = 0.0, enough: float = np.inf, floor: float = -np.inf,
) -> Least:  # fmt: skip
    """The least value of each owner over its boxes.

    Parameters
    ----------
    boxes : what to look through
    measure : (key, span) of some boxes → Measured
    owners : how many there are, m
    tolerance : how far `value` may lie above the true least
    share : and how much further, as a share of the value
    enough : an owner whose value is certainly above this is not looked at further
    floor : nor is one with a value that is certainly below this

    Source: branch and bound with Lipschitz bounds (Piyavskii 1972, Shubert 1972).

    >>> def parabola(key, span):  # (x − 0.3)², whose slope is at most 1.4 between 0 and 1
    ...     x, half = span.mean(axis=2), (span[:, :, 1] - span[:, :, 0]) / 2
    ...     y = (x[:, 0] - 0.3) ** 2
    ...     return Measured(y - 1.4 * half[:, 0], y, x, half)
    >>> whole = Boxes(np.array([0]), np.array([[0]]), np.array([[[0.0, 1.0]]]))
    >>> found = least(whole, parabola, 1, tolerance=1e-6)
    >>> bool(found.value[0] < 1e-6), bool(found.low[0] <= 0)
    (True, True)
    """
    value, low = np.full(owners, np.inf), np.full(owners, np.inf)
    key = np.full((owners, boxes.key.shape[1]), -1, dtype=np.intp)
    at = np.full((owners, boxes.span.shape[1]), np.nan)
    for _ in range(MOST_ROUNDS):
        if not len(boxes.owner):
            break
        seen = measure(boxes.key, boxes.span)
        _note(boxes, seen, value, key, at)
        best = value[boxes.owner]
        wanted = np.minimum(best * (1.0 - share) - tolerance, enough)
        open_ = (seen.low < wanted) & (best > floor)
        if 2 * open_.sum() > MOST_BOXES:
            open_[:] = False  # not settled: what is told is what is known
        np.minimum.at(low, boxes.owner[~open_], seen.low[~open_])
        rest = boxes.owner[open_], seen.low[open_]
        boxes = _halved(boxes.take(open_), seen.split[open_])
    else:
        np.minimum.at(low, *rest)
    return Least(value, np.minimum(low, value), key, at)


def _note(boxes: Boxes, seen: Measured, value: Array, key: Ints, at: Array) -> None:
    """Keep, for each owner, the smallest value found so far and where it was."""
    better = np.flatnonzero(seen.found < value[boxes.owner])
    if not len(better):
        return
    # The last of each owner's in falling order is its smallest.
    better = better[np.argsort(-seen.found[better], kind="stable")]
    owner = boxes.owner[better]
    value[owner], key[owner], at[owner] = seen.found[better], boxes.key[better], seen.at[better]


def _halved(boxes: Boxes, split: Array) -> Boxes:
    rows = np.arange(len(boxes.owner))
    which = split.argmax(axis=1)
    middle = boxes.span[rows, which].mean(axis=1)
    left, right = boxes.span.copy(), boxes.span.copy()
    left[rows, which, 1] = middle
    right[rows, which, 0] = middle
    return Boxes(
        np.concatenate([boxes.owner, boxes.owner]), np.concatenate([boxes.key, boxes.key]), np.concatenate([left, right])
    )
