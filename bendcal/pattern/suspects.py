"""The measurement that does not fit: found by taking each away in turn, and named with what it should be."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from bendcal.adjust import BAARDA_ALPHA, Adjustment, baarda_critical, vpv_critical
from bendcal.measures import angle_text, mm_text
from bendcal.pattern.network import Network
from bendcal.pattern.observations import Angle, Datum, Direction, Distance, Observation, Point, Twist
from bendcal.pattern.starting import starts
from bendcal.pattern.survey import Pattern
from bendcal.slips import length_slip, turn_slip

__all__ = ["Finding", "Suspect", "find_suspects", "fits"]

#: Odds of less than about 20 to 1 leave it open which of two measurements is wrong.
_RIVAL = 6.0
#: What freeing one number more must gain to be believed: about 30 to 1.
_PER_ROW = 6.9
#: So many are tried in earnest.
_TRIED = 8
#: Of so many the pairs are looked at.
_GROWN = 24


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
    """One measurement, or one number of it, taken away: the rows it has and what it is called."""

    observation: Observation
    rows: tuple[int, ...]
    words: str


def fits(adjusted: Adjustment) -> bool:
    """Whether all measurements together are off by no more than their uncertainties explain (1 in 1000)."""
    return adjusted.vpv <= vpv_critical(adjusted.dof, alpha=BAARDA_ALPHA)


class Finding(NamedTuple):
    """The suspects, whether without them all is well, and the rows and the adjustment without them."""

    suspects: tuple[Suspect, ...]
    explained: bool
    network: Network
    rest: Adjustment


def find_suspects(network: Network, adjusted: Adjustment) -> Finding:
    """The fewest measurements, at most three, without which the rest agrees.

    Parameters
    ----------
    network, adjusted : the rows of a pattern, and their adjustment

    Where none are, the single one that disagrees most is told. Source: Baarda's test; single ones,
    then pairs, then pairs with a third, the likeliest of them adjusted without in earnest.
    """
    doubts = _doubts(network, adjusted)
    if not doubts:
        return Finding((), fits(adjusted), network, adjusted)
    first: tuple[Suspect, ...] = ()
    pool = [(doubt,) for doubt in doubts]
    for count in range(1, max(1, min(3, adjusted.dof // 3)) + 1):
        tried = _adjusted_without(pool[:_TRIED], network, adjusted)
        if not tried:
            break
        _, some, reduced, rest = tried[0]
        well = fits(rest) and not _doubts(reduced, rest)
        if well or not first:
            near = [one[1] for one in tried[1:] if one[0] > tried[0][0] - _RIVAL]
            first = tuple(_suspect(doubt, network, rest, _rivals(doubt, some, near)) for doubt in some)
        if well:
            return Finding(tuple(sorted(first, key=lambda one: -one.times)), True, reduced, rest)
        grown = pool[:_GROWN] if count == 1 else [one[1] for one in tried[:3]]
        pool = _scored(adjusted, {_key(some): some for some in _grow(grown, doubts[:_GROWN])}.values())
    return Finding(first[:1], False, network, adjusted)


def _grow(sets: list[tuple[_Doubt, ...]], doubts: list[_Doubt]) -> Iterator[tuple[_Doubt, ...]]:
    """Each set with one measurement more, of which it has no row yet."""
    for some in sets:
        rows = {row for doubt in some for row in doubt.rows}
        yield from ((*some, more) for more in doubts if rows.isdisjoint(more.rows))


def _key(some: tuple[_Doubt, ...]) -> tuple[int, ...]:
    return tuple(sorted(row for doubt in some for row in doubt.rows))


def _penalty(some: tuple[_Doubt, ...]) -> float:
    """More numbers freed explain more by chance alone."""
    return _PER_ROW * (len(_key(some)) - len(some))


def _scored(adjusted: Adjustment, sets: Iterable[tuple[_Doubt, ...]]) -> list[tuple[_Doubt, ...]]:
    """The sets without which the rest would agree best, by the first order, the best first."""
    scored = [(adjusted.removal(_key(some)).vpv_drop - _penalty(some), some) for some in sets]
    return [some for _, some in sorted(scored, key=lambda one: -one[0])]


def _rivals(doubt: _Doubt, some: tuple[_Doubt, ...], near: list[tuple[_Doubt, ...]]) -> tuple[str, ...]:
    """What may be wrong in place of one measurement: it stands for it in another set that does about as well."""
    kept = {other.words for other in some if other is not doubt}
    own = {other.observation for other in some}
    found = [
        other.words for others in near for other in others
        if other.observation not in own and kept <= {one.words for one in others}
    ]  # fmt: skip
    return tuple(dict.fromkeys(found))


def _doubts(network: Network, adjusted: Adjustment) -> list[_Doubt]:
    """Every measurement whose removal would help, the most helpful first; none if no test is exceeded."""
    if adjusted.dof == 0 or not _exceeded(network, adjusted):
        return []
    scored = []
    words = network.row_words
    for seen, rows in zip(network.seen, network.rows, strict=True):
        if isinstance(seen, Datum):
            continue  # what the rest is measured from; a wrong one shows in every distance to it
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


def _adjusted_without(
    sets: list[tuple[_Doubt, ...]], network: Network, adjusted: Adjustment
) -> list[tuple[float, tuple[_Doubt, ...], Network, Adjustment]]:
    """(gain, set, network and adjustment without it), the largest gain first."""
    tried = []
    for afresh in (False, True):  # a large blunder may have led into a wrong valley: then from a new start
        for some in sets:
            reduced = _without(network, _key(some))
            start = next(starts(reduced))[0] if afresh else adjusted.x.reshape(-1, 3)
            rest = reduced.adjust(start, max_steps=25)
            if rest.settled:
                tried.append((adjusted.vpv - rest.vpv - _penalty(some), some, reduced, rest))
        tried.sort(key=lambda one: -one[0])
        if tried and fits(tried[0][3]):
            break
    best = {}
    for one in tried:
        best.setdefault(_key(one[1]), one)
    return list(best.values())


def _without(network: Network, rows: tuple[int, ...]) -> Network:
    """The network without some rows; of a point single coordinates may go."""
    gone: dict[int, Observation] = {}
    for seen, own in zip(network.seen, network.rows, strict=True):
        away = [row for row in own if row in rows]
        if len(away) == len(own):
            gone[id(seen)] = replace(seen, set_aside="it does not fit the others")
        elif away:
            axes = [axis for axis in ("x_mm", "y_mm", "z_mm") if getattr(seen, axis) is not None]
            gone[id(seen)] = replace(seen, **{axes[own.index(row)]: None for row in away})
    return Network.of(Pattern(tuple(gone.get(id(seen), seen) for seen in network.pattern.observations), network.pattern.bends))


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
