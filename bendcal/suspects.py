"""The measurement that does not fit: found by taking each away in turn, and named with what it should be."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bendcal.adjust import BAARDA_ALPHA, Adjustment, baarda_critical, vpv_critical
from bendcal.measures import angle_text, mm_text
from bendcal.network import Network
from bendcal.observations import Angle, Direction, Distance, Observation, Point, Twist
from bendcal.slips import length_slip, turn_slip
from bendcal.starting import starts
from bendcal.survey import Pattern

__all__ = ["Suspect", "find_suspects", "fits"]

#: Odds of less than about 20 to 1 leave it open which of two measurements is wrong.
_RIVAL = 6.0
#: What freeing one number more must gain to be believed: about 30 to 1.
_PER_ROW = 6.9
#: So many are tried in earnest.
_TRIED = 8


@dataclass(frozen=True, eq=False)
class Suspect:
    """One measurement that the others do not believe.

    Attributes
    ----------
    observation : the measurement
    words : which number of it
    error : measured less what the others expect [mm or deg]; for a point or a direction as a
        whole how far off it is
    u : standard uncertainty of that
    expected : what the others expect, None for a point or a direction as a whole
    rivals : other measurements of which one may be wrong in its place
    guess : what may have happened, as a question, or blank
    """

    observation: Observation
    words: str
    error: float
    u: float
    expected: float | None
    rivals: tuple[str, ...]
    guess: str = ""

    @property
    def times(self) -> float:
        """How many standard uncertainties it is off."""
        return abs(self.error) / self.u

    @property
    def sentence(self) -> str:
        """Which one, what was written, what it should be, and what to do."""
        where = f" (row {self.observation.row})" if self.observation.row else ""
        turn = isinstance(self.observation, (Angle, Twist, Direction))
        say = angle_text if turn else mm_text
        if self.expected is None:
            text = f"{self.words}{where} is {say(self.error)} away from where the others say"
        else:
            longer = "more" if turn or isinstance(self.observation, Point) else "longer"
            less = "less" if longer == "more" else "shorter"
            text = (
                f"{self.words}{where} was written {say(self.expected + self.error)}; the others say {say(self.expected)}: it is "
                f"{say(abs(self.error))} {longer if self.error > 0 else less} than they expect"
            )
        text = f"{text[0].upper()}{text[1:]}, {self.times:.0f} times the uncertainty."
        if self.rivals:
            shown = ", ".join(self.rivals[:5]) + (" and others" if len(self.rivals) > 5 else "")
            text += f" But it may as well be {shown}: nothing tells which of them is wrong."
        return f"{text} {self.guess or 'Measure it again, or set it aside with the reason.'}"

    def __str__(self) -> str:
        return self.sentence


@dataclass(frozen=True, eq=False)
class _Doubt:
    """One measurement, or one number of it, taken away: the rows it has and the network without it."""

    observation: Observation
    rows: tuple[int, ...]
    words: str

    def without(self, network: Network) -> Network:
        """The network without these rows."""
        own = network.rows[next(i for i, seen in enumerate(network.seen) if seen is self.observation)]
        if len(self.rows) == len(own):
            return network.without(self.observation)
        axes = [axis for axis, value in zip(("x_mm", "y_mm", "z_mm"), self.observation.xyz_mm, strict=True) if value is not None]
        gone = {axes[own.index(row)]: None for row in self.rows}
        kept = [replace(seen, **gone) if seen is self.observation else seen for seen in network.pattern.observations]
        return Network.of(Pattern(tuple(kept), network.pattern.bends))


def fits(adjusted: Adjustment) -> bool:
    """Whether all measurements together are off by no more than their uncertainties explain (1 in 1000)."""
    return adjusted.vpv <= vpv_critical(adjusted.dof, alpha=BAARDA_ALPHA)


def find_suspects(network: Network, adjusted: Adjustment) -> tuple[tuple[Suspect, ...], bool]:
    """The measurements that do not fit, at most three, and whether without them all is well.

    Parameters
    ----------
    network, adjusted : the rows of a pattern, and their adjustment

    Source: Baarda's test, each measurement in turn, the one whose removal helps most taken away
    and the rest adjusted anew.
    """
    found: list[Suspect] = []
    most = max(1, min(3, adjusted.dof // 3))
    while (doubts := _doubts(network, adjusted)):
        if len(found) == most:
            return tuple(found), False
        tried = []
        for doubt in doubts[:_TRIED]:
            reduced, rest = _adjust_without(doubt, network, adjusted)
            if rest is not None:
                tried.append((adjusted.vpv - rest.vpv - _PER_ROW * (len(doubt.rows) - 1), doubt, reduced, rest))
        if not tried:
            return tuple(found), False
        gain, doubt, reduced, rest = max(tried, key=lambda one: one[0])
        rivals = [one[1] for one in tried if one[0] > gain - _RIVAL and one[1].observation is not doubt.observation]
        found.append(_suspect(doubt, network, rest, tuple(dict.fromkeys(rival.words for rival in rivals))))
        network, adjusted = reduced, rest
    return tuple(found), fits(adjusted)


def _doubts(network: Network, adjusted: Adjustment) -> list[_Doubt]:
    """Every measurement whose removal would help, the most helpful first; none if no test is exceeded."""
    if adjusted.dof == 0 or not _exceeded(network, adjusted):
        return []
    scored = []
    words = network.row_words
    for seen, rows in zip(network.seen, network.rows, strict=True):
        for some in [rows] if isinstance(seen, Direction) or len(rows) == 1 else [*((row,) for row in rows), rows]:
            removal = adjusted.removal(some)
            if removal.rank > 0:
                name = words[some[0]] if len(some) == 1 else seen.words
                scored.append((removal.vpv_drop - _PER_ROW * (len(some) - 1), _Doubt(seen, some, name)))
    scored.sort(key=lambda one: -one[0])
    # Every one that could rival the best counts: far from straight the first guess may mislead.
    return [doubt for score, doubt in scored if score > min(4.0, 0.1 * scored[0][0])]


def _exceeded(network: Network, adjusted: Adjustment) -> bool:
    """Whether a single reading, or the readings of one measurement together, are further off than chance allows."""
    if np.nanmax(np.abs(adjusted.w), initial=0.0) > baarda_critical():
        return True
    for rows in network.rows:
        if len(rows) > 1:
            removal = adjusted.removal(rows)
            if removal.rank > 1 and removal.vpv_drop > vpv_critical(removal.rank, alpha=BAARDA_ALPHA):
                return True
    return False


def _adjust_without(doubt: _Doubt, network: Network, adjusted: Adjustment) -> tuple[Network, Adjustment | None]:
    reduced = doubt.without(network)
    rest = reduced.adjust(adjusted.x.reshape(-1, 3), max_steps=25)
    if not (rest.settled and fits(rest)):
        start = next(starts(reduced))
        again = reduced.adjust(start, max_steps=25)
        if again.settled and (not rest.settled or again.vpv < rest.vpv):
            rest = again
    return reduced, rest if rest.settled else None


def _suspect(doubt: _Doubt, network: Network, rest: Adjustment, rivals: tuple[str, ...]) -> Suspect:
    off, slope = network.model(rest.x)
    rows = list(doubt.rows)
    spread = slope[rows] @ rest.covariance @ slope[rows].T + np.diag(network.sd[rows] ** 2)
    error = -off[rows]
    if len(rows) > 1:
        size = float(np.linalg.norm(error))
        way = error / max(size, 1e-300)
        return Suspect(doubt.observation, doubt.words, size, float(np.sqrt(way @ spread @ way)), None, rivals)
    u, wrong = float(np.sqrt(spread[0, 0])), float(error[0])
    written = float(network.observed[rows[0]])
    expected = written - wrong
    guess = ""
    if isinstance(doubt.observation, (Angle, Twist)):
        guess = turn_slip(written, expected, u, signed=isinstance(doubt.observation, Twist))
    elif isinstance(doubt.observation, Distance):
        guess = length_slip(written, expected, u)
    return Suspect(doubt.observation, doubt.words, wrong, u, expected, rivals, guess)
