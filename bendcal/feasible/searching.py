"""The search for the easiest order of the bends that can be made.

The plain orders are tried first. Where none of them works, any way is looked for, taking bends off the
finished line one by one, because it is the last bends that have the most bent tube about them; sets of
bends from which nothing can be taken off are remembered. Then ways are grown, again from the
finished line, in order of their trouble, a whole layer of trials at a time, so that the first complete
one has the least, and among those the one that stays clearest (Dijkstra's search).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from bendcal.feasible.orders import TURN_TROUBLE, Found, Way, plain_orders, trials_of
from bendcal.feasible.trials import Clear, Trial
from bendcal.waiting import tick

__all__ = ["easiest"]

Ask = Callable[[list[Trial]], list[Clear]]
_BEFORE_CHECK = 250  # trials for each bend before it is checked from both sides whether the line can be made at all


def easiest(
    bends: int, allowed: Sequence[str], ask: Ask, passes: Callable[[Clear], bool], *, most: int = 12_000, plenty_mm: float = 25.0
) -> Found:
    """The easiest ways that can be made.

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

    Examples
    --------
    >>> clear = Clear(9.0, 9.0, "bench", 30.0)
    >>> found = easiest(3, ["AB"] * 3, lambda trials: [clear] * len(trials), lambda one: one.low_mm > 1)
    >>> found.ways[0].order, found.ways[0].feed
    ((0, 1, 2), ('A', 'A', 'A'))
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
    return _Search(bends, allowed, ask, passes, most, plenty_mm).run()


class _State(NamedTuple):
    """Bends that are left on the tube, the one taken off last (made next), and the end that leads there."""

    made: int
    last: int
    feed: str


class _BrokenOff(Exception):
    """More trials were asked for than are allowed."""


class _Search:
    def __init__(self, bends: int, allowed: Sequence[str], ask: Ask, passes, most: int, plenty_mm: float) -> None:
        self.bends, self.allowed, self.passes, self.most, self.plenty_mm = bends, allowed, passes, most, plenty_mm
        self.full = (1 << bends) - 1
        self._ask = ask
        self.tried: set[Trial] = set()
        self.dead: set[int] = set()  # sets of bends that cannot be taken off one by one
        self.alive: list[set[int]] | None = None  # for each number of bends made, the sets that may lead anywhere
        self.best: dict[_State, tuple[int, float, _State | None]] = {}  # trouble, least clearance, from where
        self.waiting: dict[int, dict[int, list[tuple[_State | None, _State]]]] = defaultdict(lambda: defaultdict(list))

    def run(self) -> Found:
        any_way: Way | None = None
        try:
            any_way = self._any_way()
            return Found(self._easiest_ways(any_way.trouble), True) if any_way else Found((), True)
        except _BrokenOff:
            return Found((any_way,) if any_way else (), False)

    def ask(self, trials: list[Trial]) -> list[Clear]:
        self.tried.update(trials)
        tick("Trying orders of the bends", len(self.tried), self.most)
        if len(self.tried) > self.most:
            raise _BrokenOff
        return self._ask(trials)

    # --- any way at all ---

    def _any_way(self) -> Way | None:
        """A way, not the easiest, or None where there is none."""
        steps: list[Trial] = []
        if not self._take_off(self.full, "", steps):
            return None
        least = min(clear.value_mm for clear in self.ask(steps))
        steps.reverse()
        return Way(tuple(t.bend for t in steps), tuple(t.feed for t in steps), min(least, self.plenty_mm))

    def _take_off(self, made: int, feed: str, steps: list[Trial]) -> bool:
        """Take one bend after another off the line; `steps` holds the trials of those that are off, the last made first."""
        if not made:
            return True
        if made in self.dead or not self._worth(made):
            return False
        if self.alive is None and len(self.tried) > _BEFORE_CHECK * self.bends and not self._can_be_done():
            self.dead.add(self.full)
        if self.full in self.dead:
            return False
        options = [Trial(bend, letter, made & ~(1 << bend)) for bend in range(self.bends) if made >> bend & 1 for letter in self.allowed[bend]]
        last = steps[-1].bend if steps else None
        told = zip(options, self.ask(options), strict=True)
        good = [(t, clear) for t, clear in told if self.passes(clear) and t.made not in self.dead]
        good.sort(key=lambda one: (
            TURN_TROUBLE * (one[0].feed != feed) + (last is not None and abs(one[0].bend - last) != 1), -min(one[1].value_mm, self.plenty_mm)
        ))  # fmt: skip
        for trial, _ in good:
            steps.append(trial)
            if self._take_off(trial.made, trial.feed, steps):
                return True
            steps.pop()
        self.dead.add(made)
        return False

    def _worth(self, made: int) -> bool:
        return made not in self.dead and (self.alive is None or made in self.alive[made.bit_count()])

    def _can_be_done(self) -> bool:
        """Whether any way leads from the straight tube to the line: sets of bends grown from both sides until they meet.

        What is found narrows the search that goes on afterwards.
        """
        n = self.bends
        ahead, behind = [{0}], [{self.full}]
        while len(ahead) + len(behind) < n + 2:
            forward = len(ahead[-1]) <= len(behind[-1])
            side = ahead if forward else behind
            trials = [
                Trial(bend, letter, made if forward else made & ~(1 << bend))
                for made in side[-1] for bend in range(n) if bool(made >> bend & 1) != forward for letter in self.allowed[bend]
            ]  # fmt: skip
            told = zip(trials, self.ask(trials), strict=True)
            side.append({t.made | (1 << t.bend) if forward else t.made for t, clear in told if self.passes(clear)})
            if not side[-1]:
                return False
        # Both have reached the same number of bends: what only one side has reached leads nowhere.
        self.alive = [*ahead[:-1], ahead[-1] & behind[-1], *behind[-2::-1]]
        return bool(ahead[-1] & behind[-1])

    # --- the easiest ---

    def _easiest_ways(self, most_trouble: int) -> tuple[Way, ...]:
        """Ways of the least trouble, the clearest first; there is one with no more than `most_trouble`."""
        self._wait_for(_State(self.full, -1, ""), 0, most_trouble)
        for trouble in range(most_trouble + 1):
            for off in range(self.bends):
                self._layer(trouble, off, most_trouble)
            ends = [state for state in self.best if not state.made]
            if ends:
                return tuple(sorted(map(self._way, ends), key=lambda one: -min(one.least_mm, self.plenty_mm)))
        raise AssertionError("a way was found that growing did not find")  # pragma: no cover

    def _wait_for(self, state: _State, trouble: int, most_trouble: int) -> None:
        """Note all that can be taken off next, each with the trouble that it makes."""
        off = self.bends - state.made.bit_count()
        for bend in range(self.bends):
            for letter in self.allowed[bend] if state.made >> bend & 1 else "":
                then = trouble
                if state.feed:
                    then += TURN_TROUBLE * (letter != state.feed) + (abs(bend - state.last) != 1)
                if then <= most_trouble:
                    self.waiting[then][off].append((state, _State(state.made & ~(1 << bend), bend, letter)))

    def _layer(self, trouble: int, off: int, most_trouble: int) -> None:
        edges = [(a, b) for a, b in self.waiting[trouble].pop(off, ()) if b not in self.best and self._worth(b.made)]
        reached: dict[_State, tuple[int, float, _State | None]] = {}
        for (a, b), clear in zip(edges, self.ask([Trial(b.last, b.feed, b.made) for _, b in edges]), strict=True):
            if self.passes(clear):
                least = min(clear.value_mm, self.best[a][1] if a.feed else np.inf, self.plenty_mm)
                if b not in reached or least > reached[b][1]:
                    reached[b] = (trouble, least, a)
        self.best |= reached
        for state in reached:
            self._wait_for(state, trouble, most_trouble)

    def _way(self, state: _State) -> Way:
        """The way that ends where every bend is off: read from there, it begins with the straight tube."""
        least, order, feed = self.best[state][1], [], []
        at: _State | None = state
        while at is not None and at.feed:
            order.append(at.last)
            feed.append(at.feed)
            at = self.best[at][2]
        return Way(tuple(order), tuple(feed), least)
