"""How each reading of a pattern fits: measured less what all the others say, in few words for a table or a picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bendcal.pattern.observations import Angle, Datum, Direction, Distance, Leg, Observation, Point, Twist

if TYPE_CHECKING:
    from bendcal.pattern.adjusted import AdjustedPattern

__all__ = ["Reading", "readings_of", "short_name"]


@dataclass(frozen=True)
class Reading:
    """One number that was measured, and what the others say of it.

    Attributes
    ----------
    name : in few words: ``leg A to 1``, ``twist 1 to 2``, ``x of B``
    off : measured less what the others say [mm or deg]; nan where no other says anything
    times : how many standard uncertainties that is, with its sign
    unit : `` mm`` or ``°``
    suspect : whether it is a suspect
    """

    name: str
    off: float
    times: float
    unit: str
    suspect: bool


def readings_of(adjusted: AdjustedPattern) -> tuple[Reading, ...]:
    """Every number that counts, by what the others say of it; suspects are left out of what the others say.

    Parameters
    ----------
    adjusted : what :func:`bendcal.pattern.adjust_pattern` returned
    """
    finding = adjusted.finding
    left: dict[str, list[int]] = {}
    for row, words in enumerate(finding.network.row_words):
        left.setdefault(words, []).append(row)
    said = []
    for seen, rows in zip(adjusted.network.seen, adjusted.network.rows, strict=True):
        unit = "°" if isinstance(seen, (Angle, Twist, Direction)) else " mm"
        for k, row in enumerate(rows):
            words = adjusted.network.row_words[row]
            wrong = next((one for one in adjusted.found if one.observation is seen and one.words in (words, seen.words)), None)
            name = _name(seen, words, k)
            if wrong is not None:
                said.append(Reading(name, wrong.error, float(np.copysign(wrong.times, wrong.error)), unit, True))
            elif left.get(words):
                own = left[words].pop(0)
                said.append(Reading(name, float(finding.rest.gross_error[own]), float(finding.rest.w[own]), unit, False))
    return tuple(said)


def short_name(seen: Observation) -> str:
    """A measurement in few words, as a row of a table names it.

    Parameters
    ----------
    seen : the measurement

    Examples
    --------
    >>> short_name(Leg("A", 1, 80, 0.5)), short_name(Twist(1, 2, -90, 2)), short_name(Point("B", 1, 2, 3, 1))
    ('leg A to 1', 'twist 1 to 2', 'point B')
    """
    if isinstance(seen, Distance):
        return f"{'leg' if isinstance(seen, Leg) else 'tape'} {seen.start} to {seen.stop}"
    if isinstance(seen, Twist):
        return f"twist {seen.start} to {seen.stop}"
    if isinstance(seen, Angle):
        return f"angle {seen.bend}"
    if isinstance(seen, Direction):
        return f"nut at {seen.end}"
    return f"{'datum' if isinstance(seen, Datum) else 'point'} {seen.place}"


def _name(seen: Observation, words: str, k: int) -> str:
    """One number of it."""
    if isinstance(seen, Direction):
        return f"{short_name(seen)}, {('one way', 'across')[k]}"
    return f"{words.split()[1]} of {seen.place}" if isinstance(seen, Point) else short_name(seen)
