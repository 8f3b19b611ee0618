"""Bends tried out in thought: whether one bend can be made, with these others already made.

A trial is one bend, the end that leads, and the bends that are made before it. What is near the
held half does not depend on the swinging half, nor the other way round, so each half is looked at
once for all trials that share it; only what passes both is held against itself, and last come the nuts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from bendcal.bodies import BenderBody
from bendcal.feasible.nut_places import GRIP, NutPlaces
from bendcal.feasible.stroke import Half, Workpiece
from bendcal.feasible.sweep import ITSELF, NOTHING_NEAR, Clear, body_distances, clears_of, self_distances

__all__ = ["ITSELF", "Clear", "Trial", "Trials", "halves_of"]

_AT_ONCE = 256  # halves or pairs in one search: enough to share its overhead, few enough to hold in memory


class Trial(NamedTuple):
    """One bend to be tried: its number from 0, which end leads, and the bends made before it, as bits."""

    bend: int
    feed: str
    made: int


def halves_of(trial: Trial, bends: int) -> tuple[Half, Half]:
    """The held and the swinging half of a trial, each with the bends made in it."""
    before = trial.made & ((1 << trial.bend) - 1)
    after = trial.made & ~((2 << trial.bend) - 1) & ((1 << bends) - 1)
    held, swung = (before, after) if trial.feed == "A" else (after, before)
    return Half(trial.bend, trial.feed, True, held), Half(trial.bend, trial.feed, False, swung)


@dataclass(eq=False)
class Trials:
    """Trials of one tube in one bender, each answered once and remembered.

    Parameters
    ----------
    piece : the tube
    bodies : the bender's bodies, none if nothing was measured
    grip_mm : how much tube beside a bend is not held against a body that says nothing of its own [mm]
    keep_mm : clearance that is wanted [mm]
    plenty_mm : clearance beyond which more does not count [mm]
    tolerance_mm, share : how closely the least clearance is found

    `asked` counts the trials that were answered.
    """

    piece: Workpiece
    bodies: Sequence[BenderBody]
    grip_mm: float
    keep_mm: float
    plenty_mm: float
    tolerance_mm: float = 0.05
    share: float = 0.02
    asked: int = 0
    _halves: dict[Half, Clear] = field(default_factory=dict)
    _pairs: dict[tuple[Half, Half], Clear] = field(default_factory=dict)
    _answers: dict[Trial, Clear] = field(default_factory=dict)
    _places: dict[Trial, dict[str, float]] = field(default_factory=dict)
    _nuts: NutPlaces = field(init=False)

    def __post_init__(self) -> None:
        self._nuts = NutPlaces(self.piece, self.bodies, self._grips, self.keep_mm, self._how())

    def ask(self, trials: Iterable[Trial]) -> list[Clear]:
        """How clear each trial stays; one that hits a body is not looked at further."""
        trials = list(trials)
        new = [trial for trial in dict.fromkeys(trials) if trial not in self._answers]
        split = {trial: halves_of(trial, self.piece.bends) for trial in new}
        self._look_at(half for halves in split.values() for half in halves)
        passed = [t for t in new if all(self.passes(self._halves[half]) for half in split[t])]
        self._look_at_pairs(split[trial] for trial in passed)
        nuts = self._look_at_nuts([trial for trial in passed if self.passes(self._pairs[split[trial]])], split) if self.piece.nuts else {}
        for trial in new:
            told = [self._halves[half] for half in split[trial]]
            if split[trial] in self._pairs:
                told.append(self._pairs[split[trial]])
            if trial in nuts:
                told.append(nuts[trial])
            self._answers[trial] = min(told, key=lambda clear: clear.value_mm)._replace(low_mm=min(clear.low_mm for clear in told))
        self.asked += len(new)
        return [self._answers[trial] for trial in trials]

    def nuts_back_mm(self, trial: Trial) -> dict[str, float]:
        """Where the nuts on the tube are pushed for a trial that was asked for: letter → how far behind its seat [mm]."""
        return dict(self._places.get(trial, {}))

    def _look_at_nuts(self, trials: list[Trial], split: dict[Trial, tuple[Half, Half]]) -> dict[Trial, Clear]:
        told = self._nuts.told([split[trial] for trial in trials])
        self._places.update({trial: places for trial, (places, _) in zip(trials, told, strict=True)})
        return {trial: clear for trial, (_, clear) in zip(trials, told, strict=True)}

    def first_contact(self, trial: Trial, *, within_deg: float = 0.05) -> Clear:
        """How far the lever goes before a trial that does not pass comes nearer than is wanted, and to what.

        Parameters
        ----------
        trial : one that does not pass
        within_deg : how closely the angle is found [deg]
        """
        if (told := self._answers.get(trial)) is not None and told.near == GRIP:
            return told  # no place at all for a nut: before anything moves
        low, high = 0.0, float(self.piece.stroke_deg[trial.bend])
        met = self._within(trial, 0.0)
        if met.value_mm < self.keep_mm:
            return met._replace(stroke_deg=0.0)
        while high - low > within_deg:
            middle = (low + high) / 2
            found = self._within(trial, middle)
            if found.value_mm < self.keep_mm:
                high, met = middle, found
            else:
                low = middle
        return self._within(trial, high)._replace(stroke_deg=high) if met.value_mm >= self.keep_mm else met._replace(stroke_deg=high)

    def _within(self, trial: Trial, until_deg: float) -> Clear:
        """How clear it stays until the lever has gone so far."""
        halves = halves_of(trial, self.piece.bends)
        how = {"tolerance_mm": 0.01, "enough_mm": self.keep_mm, "floor_mm": self.keep_mm, "until_deg": until_deg}
        told = clears_of(self_distances(self.piece, [halves], **how))
        if self.bodies:
            found = body_distances(self.piece, halves, self.bodies, self._grips, beside_mm=self.keep_mm, **how)
            told += clears_of(found, [body.body for body in self.bodies])
        if places := self._places.get(trial):
            told.append(self._nuts.at(halves, places, how.pop("until_deg"), how))
        return min(told, key=lambda clear: clear.value_mm)

    def passes(self, clear: Clear) -> bool:
        """Whether that is clear enough, for certain."""
        return clear.low_mm >= min(self.keep_mm, self.plenty_mm)

    @property
    def _grips(self) -> list[float]:
        return [self.grip_mm if body.grip_mm is None else body.grip_mm for body in self.bodies]

    def _how(self) -> dict[str, float]:
        return {
            "tolerance_mm": self.tolerance_mm, "share": self.share, "enough_mm": self.plenty_mm,
            "floor_mm": self.keep_mm - self.tolerance_mm if self.share else -np.inf,
        }  # fmt: skip

    def _look_at(self, halves: Iterable[Half]) -> None:
        missing = [half for half in dict.fromkeys(halves) if half not in self._halves]
        if not self.bodies:
            self._halves.update(dict.fromkeys(missing, NOTHING_NEAR))
            return
        for first in range(0, len(missing), _AT_ONCE):
            some = missing[first : first + _AT_ONCE]
            found = body_distances(self.piece, some, self.bodies, self._grips, beside_mm=self.keep_mm, **self._how())
            self._halves.update(zip(some, clears_of(found, [body.body for body in self.bodies]), strict=True))

    def _look_at_pairs(self, pairs: Iterable[tuple[Half, Half]]) -> None:
        missing = [pair for pair in dict.fromkeys(pairs) if pair not in self._pairs]
        for first in range(0, len(missing), _AT_ONCE):
            some = missing[first : first + _AT_ONCE]
            found = self_distances(self.piece, some, **self._how())
            self._pairs.update(zip(some, clears_of(found), strict=True))
