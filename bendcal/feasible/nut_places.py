"""Where the nuts on the tube can be while a bend is made: places along their straights, each tried once.

Before each bend the hands may push a nut anywhere between its seat and the first bend. The seat is tried
first, then a place every centimetre: a window that is smaller could not be hit by hand. From a place that
is too near to something, others come no further away than they are apart, so those are passed over. A place that leaves
room enough ends the trying, else the clearest is taken.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import product
from typing import NamedTuple

import numpy as np

from bendcal.bodies import BenderBody
from bendcal.feasible.stroke import Half, Workpiece, nut_reach_mm
from bendcal.feasible.sweep import NOTHING_NEAR, Clear, body_distances, clears_of, self_distances

__all__ = ["GRIP", "NutPlaces", "Placed"]

GRIP = "bender's own grip"  # what a nut meets that has no straight of its own beside what lies in the bender
STEP_MM = 10.0  # from place to place
EASY_MM = 5.0  # clearance of a nut that is enough to look no further
_AT_ONCE = 256  # in one search, as for the tube
_MOST_PAIRS = 60  # places of two nuts that are tried together


class Placed(NamedTuple):
    """A nut at a place: how far behind its seat it is pushed, and how clear it stays there."""

    back_mm: float
    clear: Clear


class NutPlaces:
    """The places of the nuts of one tube in one bender.

    Parameters
    ----------
    piece : the tube and its nuts
    bodies, grips_mm : the bender's bodies, and how much tube each of them holds
    keep_mm : clearance that is wanted [mm]
    how : what :func:`bendcal.feasible.sweep.body_distances` is told of tolerances
    """

    def __init__(self, piece: Workpiece, bodies: Sequence[BenderBody], grips_mm: Sequence[float], keep_mm: float, how: Mapping[str, float]) -> None:
        self.piece, self.bodies, self.grips_mm, self.keep_mm, self.how = piece, bodies, grips_mm, keep_mm, dict(how)
        self._tried: dict[Half, list[Placed]] = {}  # in the order in which they were tried
        self._left: dict[Half, list[float]] = {}  # places that are still to be tried

    def best(self, halves: Iterable[Half]) -> dict[Half, Placed]:
        """Each half that has a nut, with the place that was settled on against the bodies."""
        own = [half for half in dict.fromkeys(halves) if self.piece.nut_on(half) is not None]
        self._try(own, EASY_MM)
        return {half: self._taken(half) for half in own}

    def told(self, pairs: Sequence[tuple[Half, Half]]) -> list[tuple[dict[str, float], Clear]]:
        """For each pair of halves where its nuts are pushed, letter → [mm] behind the seat, and how clear all of them stay there.

        The place that serves against the bodies serves nearly always against the tube too; where it does not, the others are tried.
        """
        best = self.best(half for pair in pairs for half in pair)
        first = [tuple(best[half].back_mm if half in best else None for half in pair) for pair in pairs]
        told = [self._with(pair, backs, against) for pair, backs, against in zip(pairs, first, self._against_tube(pairs, first), strict=True)]
        return [one if one[1].low_mm >= self.keep_mm else self._elsewhere(pair, one) for pair, one in zip(pairs, told, strict=True)]

    def _with(self, pair: tuple[Half, Half], backs: tuple[float | None, float | None], against: Clear) -> tuple[dict[str, float], Clear]:
        """A pair's places by letter, and the nearest that its nuts come to bodies or to the tube."""
        at = {half: back for half, back in zip(pair, backs, strict=True) if back is not None}
        clears = [next(one.clear for one in self._tried[half] if one.back_mm == back) for half, back in at.items()]
        nearest = min([against, *clears], key=lambda clear: clear.value_mm)
        low = min(clear.low_mm for clear in (against, *clears))
        return {self.piece.nut_on(half).letter: back for half, back in at.items()}, nearest._replace(low_mm=low)

    def _elsewhere(self, pair: tuple[Half, Half], told: tuple[dict[str, float], Clear]) -> tuple[dict[str, float], Clear]:
        """The first places of a pair's nuts that clear bodies and tube, or else the clearest."""
        own = [half for half in pair if self.piece.nut_on(half) is not None]
        self._try(own, np.inf)
        choices = [
            [one.back_mm for one in self._tried[half] if one.clear.low_mm >= self.keep_mm] if half in own else [None] for half in pair
        ]
        backs = list(product(*choices))[:_MOST_PAIRS]
        for some, against in zip(backs, self._against_tube([pair] * len(backs), backs), strict=True):
            one = self._with(pair, some, against)
            if one[1].value_mm > told[1].value_mm:
                told = one
            if one[1].low_mm >= self.keep_mm:
                break
        return told

    def at(self, pair: tuple[Half, Half], places: Mapping[str, float], until_deg: float, how: Mapping[str, float]) -> Clear:
        """How clear the nuts of a pair stay at given places until the lever has gone so far."""
        backs = tuple(None if (nut := self.piece.nut_on(half)) is None else places[nut.letter] for half in pair)
        clears = [self._against_tube([pair], [backs], until_deg=until_deg, **how)[0]]
        for half, back in zip(pair, backs, strict=True):
            if back is not None:
                clears += self._against_bodies([half], [back], until_deg=until_deg, **how)
        return min(clears, key=lambda clear: clear.value_mm)

    def _taken(self, half: Half) -> Placed:
        easy = next((one for one in self._tried[half] if one.clear.low_mm >= max(EASY_MM, self.keep_mm)), None)
        return easy or max(self._tried[half], key=lambda one: one.clear.value_mm)

    def _try(self, halves: Sequence[Half], enough_mm: float) -> None:
        """Try places of each half's nut until one is clear enough or none is left."""
        for half in halves:
            if half not in self._tried:
                reach = nut_reach_mm(self.piece, half)
                self._tried[half], self._left[half] = [], [] if reach < 0 else [*np.arange(0.0, reach, STEP_MM).tolist(), reach]
                if reach < 0:  # it would have to lie in the bender
                    self._tried[half].append(Placed(0.0, Clear(reach, reach, GRIP, 0.0, self.piece.nut_on(half).name)))
        while waiting := [half for half in halves if self._left[half] and not any(one.clear.low_mm >= max(enough_mm, self.keep_mm) for one in self._tried[half])]:
            backs = [self._left[half].pop(0) for half in waiting]
            for half, back, clear in zip(waiting, backs, self._against_bodies(waiting, backs, **self.how), strict=True):
                self._tried[half].append(Placed(back, clear))
                barred = back + self.keep_mm - clear.value_mm
                self._left[half] = [place for place in self._left[half] if place >= barred]

    def _against_bodies(self, halves: Sequence[Half], backs: Sequence[float], **how: float) -> list[Clear]:
        if not self.bodies:
            return [NOTHING_NEAR] * len(halves)
        told: list[Clear] = []
        for i in range(0, len(halves), _AT_ONCE):
            some = halves[i : i + _AT_ONCE]
            found = body_distances(self.piece, some, self.bodies, self.grips_mm, nuts_back_mm=backs[i : i + _AT_ONCE], beside_mm=self.keep_mm, **how)
            told += [clear._replace(part=self.piece.nut_on(half).name) for half, clear in zip(some, clears_of(found, [body.body for body in self.bodies]), strict=True)]
        return told

    def _against_tube(self, pairs: Sequence[tuple[Half, Half]], backs: Sequence[tuple[float | None, float | None]], **how: float) -> list[Clear]:
        """The nuts of each pair against the other half's tube and nut."""
        how = how or self.how
        asked, of = [], []
        for i, (held, swung) in enumerate(backs):
            ways = [(held, None)] * (held is not None) + [(None, swung)] * (swung is not None) + [(held, swung)] * (None not in (held, swung))
            asked += [(pairs[i], way) for way in ways]
            of += [i] * len(ways)
        told = [NOTHING_NEAR] * len(pairs)
        for start in range(0, len(asked), _AT_ONCE):
            some = asked[start : start + _AT_ONCE]
            found = self_distances(self.piece, [pair for pair, _ in some], nuts_back_mm=[way for _, way in some], **how)
            for i, (pair, way), clear in zip(of[start : start + _AT_ONCE], some, clears_of(found), strict=True):
                nut = self.piece.nut_on(pair[0] if way[0] is not None else pair[1])
                low = min(told[i].low_mm, clear.low_mm)
                nearer = clear._replace(part=nut.name) if clear.value_mm < told[i].value_mm else told[i]
                told[i] = nearer._replace(low_mm=low)
        return told
