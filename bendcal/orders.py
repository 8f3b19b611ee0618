"""The order of the bends: which sequence can be made, and which of them is the easiest.

A sequence is a row of trials from the straight tube to the finished line. Its trouble is two for
each time that the tube is turned end for end, and one for each bend that is not a neighbour of the
one before. The four plain orders (end to end, either way, either end leading) have none; they are tried
first. Then sequences are grown in order of their trouble, so that the first complete one has
the least; what can be told apart no further is told apart by its least clearance.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from bendcal.trials import Clear, Trial

__all__ = ["TURN_TROUBLE", "Found", "Way", "easiest", "plain_orders", "trials_of"]

TURN_TROUBLE = 2  # turning the tube end for end, beside one bend that is out of the row

Ask = Callable[[list[Trial]], list[Clear]]
Allowed = Sequence[str]


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
    complete : False where the search was broken off before all orders had been ruled out
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


def easiest(bends: int, allowed: Allowed, ask: Ask, passes: Callable[[Clear], bool], *, most: int = 20_000, plenty_mm: float = 25.0) -> Found:
    """The easiest sequences that can be made.

    Parameters
    ----------
    bends : how many there are
    allowed : for each bend the letters of the ends that may lead
    ask : trials → how clear each stays
    passes : whether that is clear enough
    most : break off after about so many trials
    plenty_mm : clearance beyond which more does not count

    Returns
    -------
    Found
    """
    plain = [(order, feed) for order, feed in plain_orders(bends) if all(feed[0] in allowed[bend] for bend in order)]
    rows = [trials_of(order, feed) for order, feed in plain]
    told = iter(ask([trial for row in rows for trial in row]))
    good = []
    for order, feed in plain:
        clears = [next(told) for _ in order]
        if all(map(passes, clears)):
            good.append(Way(order, feed, min(clear.value_mm for clear in clears)))
    if good:
        return Found(tuple(sorted(good, key=lambda one: -min(one.least_mm, plenty_mm))), True)
    if not all(allowed):
        return Found((), True)
    return _Growth(bends, allowed, ask, passes, most, plenty_mm).run()


class _State(NamedTuple):
    made: int
    last: int
    feed: str


class _Growth:
    """Sequences grown in order of their trouble: Dijkstra's search, a whole layer of trials at a time."""

    def __init__(self, bends, allowed, ask, passes, most, plenty_mm) -> None:
        self.bends, self.allowed, self.ask, self.passes, self.most = bends, allowed, ask, passes, most
        self.plenty_mm = plenty_mm
        self.best: dict[_State, tuple[int, float, _State | None]] = {}  # trouble, least clearance, from where
        self.waiting: dict[int, dict[int, list[tuple[_State | None, _State]]]] = defaultdict(lambda: defaultdict(list))
        self.alive: list[set[int]] | None = None
        self.asked = 0

    def run(self) -> Found:
        """Grow until the finished line is reached with the least trouble, or nothing can be grown any more."""
        full = (1 << self.bends) - 1
        for bend in range(self.bends):
            for letter in self.allowed[bend]:
                self.waiting[0][0].append((None, _State(1 << bend, bend, letter)))
        checked = False
        while self.waiting:
            trouble = min(self.waiting)
            for made in range(self.bends):
                self._layer(trouble, made)
                if self.asked > self.most:
                    return Found((), False)
                if not checked and self.asked > _BEFORE_CHECK * self.bends:
                    # It is not easy: see first whether it can be done at all.
                    checked = True
                    if not self._can_be_done():
                        return Found((), self.asked <= self.most)
            del self.waiting[trouble]
            ends = [state for state in self.best if state.made == full]
            if ends:
                found = [self._sequence(state) for state in ends]
                return Found(tuple(sorted(found, key=lambda one: (one.trouble, -min(one.least_mm, self.plenty_mm)))), True)
        return Found((), True)

    def _layer(self, trouble: int, made: int) -> None:
        edges = [(a, b) for a, b in self.waiting[trouble].pop(made, ()) if b not in self.best and self._worth(b.made)]
        trials = [Trial(b.last, b.feed, a.made if a else 0) for a, b in edges]
        self.asked += len(set(trials))
        reached: dict[_State, tuple[int, float, _State | None]] = {}
        for (a, b), clear in zip(edges, self.ask(trials), strict=True):
            if self.passes(clear):
                least = min(clear.value_mm, self.best[a][1] if a else np.inf, self.plenty_mm)
                if b not in reached or least > reached[b][1]:
                    reached[b] = (trouble, least, a)
        self.best |= reached
        for state in reached:
            for bend in range(self.bends):
                if state.made >> bend & 1:
                    continue
                for letter in self.allowed[bend]:
                    more = TURN_TROUBLE * (letter != state.feed) + (abs(bend - state.last) != 1)
                    self.waiting[trouble + more][made + 1].append((state, _State(state.made | 1 << bend, bend, letter)))

    def _worth(self, made: int) -> bool:
        return self.alive is None or made in self.alive[made.bit_count()]

    def _sequence(self, state: _State) -> Way:
        least, order, feed = self.best[state][1], [], []
        at: _State | None = state
        while at is not None:
            order.append(at.last)
            feed.append(at.feed)
            at = self.best[at][2]
        return Way(tuple(order[::-1]), tuple(feed[::-1]), least)

    def _can_be_done(self) -> bool:
        """Whether any order leads from the straight tube to the line: sets of bends grown from both sides until they meet.

        What is found narrows the search that goes on afterwards.
        """
        n = self.bends
        ahead, behind = [{0}], [{(1 << n) - 1}]
        while len(ahead) + len(behind) < n + 2:
            forward = len(ahead[-1]) <= len(behind[-1])
            side = ahead if forward else behind
            trials = [
                Trial(bend, letter, made if forward else made & ~(1 << bend))
                for made in side[-1] for bend in range(n) if bool(made >> bend & 1) != forward for letter in self.allowed[bend]
            ]  # fmt: skip
            self.asked += len(set(trials))
            told = self.ask(trials)
            next_ = {t.made | (1 << t.bend) if forward else t.made for t, clear in zip(trials, told, strict=True) if self.passes(clear)}
            side.append(next_)
            if not next_ or self.asked > self.most:
                return False
        # Both have reached the same layer: what neither side has reached leads nowhere.
        if not ahead[-1] & behind[-1]:
            return False
        meeting = ahead[-1] & behind[-1]
        self.alive = [*ahead[:-1], meeting, *behind[-2::-1]]
        return True


_BEFORE_CHECK = 60  # trials for each bend before it is checked whether the line can be made at all
