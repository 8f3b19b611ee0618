"""The order of the bends, which end leads at each of them, and how much trouble that is.

A way is a row of trials from the straight tube to the finished line. Its trouble is two for each time
that the tube is turned end for end, and one for each bend that is not a neighbour of the one
before. The four plain orders (end to end, either way, either end leading) have none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from bendcal.feasible.trials import Trial

__all__ = ["TURN_TROUBLE", "Found", "Way", "plain_orders", "trials_of"]

TURN_TROUBLE = 2  # turning the tube end for end, beside one bend that is out of the row


class Way(NamedTuple):
    """Bends in the order in which they are made: `order` numbers from 0, `feed` the end that leads for each of them."""

    order: tuple[int, ...]
    feed: tuple[str, ...]
    least_mm: float

    @property
    def turns(self) -> int:
        """How often the tube is turned end for end."""
        return sum(a != b for a, b in zip(self.feed, self.feed[1:], strict=False))

    @property
    def jumps(self) -> int:
        """How many bends are not neighbours of the one before."""
        return sum(abs(a - b) != 1 for a, b in zip(self.order, self.order[1:], strict=False))

    @property
    def trouble(self) -> int:
        """Two for each turn end for end, one for each jump."""
        return TURN_TROUBLE * self.turns + self.jumps


@dataclass(frozen=True)
class Found:
    """What a search found.

    Attributes
    ----------
    ways : those that can be made, the easiest first
    complete : False where the search was broken off: an easier way, or any at all, may have been missed
    """

    ways: tuple[Way, ...]
    complete: bool


def plain_orders(bends: int) -> list[tuple[tuple[int, ...], tuple[str, ...]]]:
    """From end to end, either way, with either end leading all the time: four (two for one bend).

    >>> plain_orders(2)[1]
    ((1, 0), ('B', 'B'))
    """
    up = tuple(range(bends))
    # The part that is bent already is held, and the straight rest swings: the handier two first.
    ways = [(up, "A"), (up[::-1], "B"), (up[::-1], "A"), (up, "B")][: 4 if bends > 1 else 2]
    return [(order, (letter,) * bends) for order, letter in ways]


def trials_of(order: Sequence[int], feed: Sequence[str]) -> list[Trial]:
    """The trials of a sequence, one after the other.

    >>> trials_of((1, 0), "BB")
    [Trial(bend=1, feed='B', made=0), Trial(bend=0, feed='B', made=2)]
    """
    made, trials = 0, []
    for bend, letter in zip(order, feed, strict=True):
        trials.append(Trial(bend, letter, made))
        made |= 1 << bend
    return trials
