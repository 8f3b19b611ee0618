"""All that was measured of one line, as a whole: the pattern from which its shape is found."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from difflib import get_close_matches

from bendcal.pattern.observations import Angle, Datum, Distance, Leg, Observation, PatternFault, Point, Twist, place_words

__all__ = ["Pattern", "pattern_faults"]


@dataclass(frozen=True, eq=False)
class Pattern:
    """The measurements of one line, checked against one another's places but not yet adjusted.

    Parameters
    ----------
    observations : Leg, Angle, Twist, Point, Distance, Direction and Datum, in any order
    bends : how many bends the line has; None: as many as the highest apex that is named

    Raises
    ------
    PatternFault : a ValueError for the first measurement that does not fit

    Examples
    --------
    >>> pattern = Pattern([Leg("A", 1, 100, 1), Leg(1, "B", 80, 1), Angle(1, 90, 1)])
    >>> pattern.bends, pattern.places
    (1, ('A', '1', 'B'))
    """

    observations: tuple[Observation, ...]
    bends: int | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "observations", tuple(self.observations))
        for fault in pattern_faults(self.observations, self.bends):
            raise fault
        if self.bends is None:
            object.__setattr__(self, "bends", _highest(self.observations))

    @property
    def places(self) -> tuple[str, ...]:
        """End A, every apex, end B."""
        return ("A", *(str(k) for k in range(1, self.bends + 1)), "B")

    @property
    def counted(self) -> tuple[Observation, ...]:
        """The measurements that count, datum points apart."""
        return tuple(seen for seen in self.observations if seen.counts and not isinstance(seen, Datum))

    @property
    def datums(self) -> tuple[Datum, ...]:
        """The datum points that a measurement uses, one set aside included."""
        used = {place for seen in self.observations if isinstance(seen, Distance) for place in (seen.start, seen.stop)}
        return tuple(seen for seen in self.observations if isinstance(seen, Datum) and seen.place in used)

    @property
    def all_counted(self) -> Pattern:
        """The same pattern with nothing set aside: whether a reading was rightly set aside shows when it counts again."""
        return Pattern(tuple(replace(seen, set_aside="") for seen in self.observations), self.bends)

    def set_aside(self, observation: Observation, reason: str) -> Pattern:
        """The same pattern with one measurement set aside, which stays in it with its reason.

        Raises ValueError for a blank reason or a measurement that is not in the pattern.
        """
        if not reason.strip():
            raise ValueError("a measurement is set aside for a reason: say which")
        if not any(seen is observation for seen in self.observations):
            raise ValueError(f"{observation.words} is not in this pattern")
        return Pattern(
            tuple(replace(seen, set_aside=reason) if seen is observation else seen for seen in self.observations), self.bends
        )


def pattern_faults(observations: Iterable[Observation], bends: int | None = None) -> list[PatternFault]:
    """Every measurement that does not fit into the line, and what is missing of the line's places.

    Parameters
    ----------
    observations : as in `Pattern`
    bends : as in `Pattern`

    >>> [str(fault) for fault in pattern_faults([Leg("A", 2, 100, 1), Angle(1, 90, 1)])]
    ['the leg from end A to apex 2: a leg joins two neighbours; from end A it goes to apex 1']
    """
    observations = list(observations)
    n = _highest(observations) if bends is None else bends
    faults: list[PatternFault] = []
    datums = _datums(observations, faults)
    places = ["A", *(str(k) for k in range(1, n + 1)), "B"]
    for seen in observations:
        for column, place in _named(seen):
            if place in places or (place in datums and isinstance(seen, Distance) and not isinstance(seen, Leg)):
                continue
            faults.append(PatternFault(f"{seen.words}: {_unknown(place, n, datums, seen)}", seen, column))
            break
        else:
            if wrong := _not_neighbours(seen, places, datums):
                faults.append(PatternFault(f"{seen.words}: {wrong}", seen, "to"))
    mentioned = {place for seen in observations for _, place in _named(seen)}
    if not faults and bends is None:  # told how many there are, it is the shape that is open, not the numbering
        faults += [
            PatternFault(f"nothing is measured of {place_words(place)}: number the apexes from end A without a gap")
            for place in places
            if place not in mentioned and place.isdecimal()
        ]
    return faults


def _datums(observations: list[Observation], faults: list[PatternFault]) -> set[str]:
    names: set[str] = set()
    for seen in observations:
        if isinstance(seen, Datum):
            if seen.place in names:
                faults.append(PatternFault(f"{seen.words} is there twice: give each its own name", seen, "from"))
            names.add(seen.place)
            if seen.set_aside:
                faults.append(PatternFault(f"{seen.words} is set aside: set aside the distances to it instead", seen, "set_aside"))
    return names


def _named(seen: Observation) -> list[tuple[str, str]]:
    """The places that a measurement names, with the column each stands in."""
    if isinstance(seen, Datum):
        return []
    if isinstance(seen, (Distance, Twist)):
        return [("from", seen.start), ("to", seen.stop)]
    if isinstance(seen, Angle):
        return [("from", seen.bend)]
    return [("from", seen.place if isinstance(seen, Point) else seen.end)]


def _highest(observations: Iterable[Observation]) -> int:
    return max((int(place) for seen in observations for _, place in _named(seen) if place.isdecimal()), default=0)


def _unknown(place: str, n: int, datums: set[str], seen: Observation) -> str:
    if place.isdecimal():
        return f"there is no apex {place}; the line has {n} bend{'' if n == 1 else 's'}, counted from 1"
    if not isinstance(seen, Distance) or isinstance(seen, Leg):
        return f"{place!r} is no place of the line; write A, B or the number of an apex"
    near = get_close_matches(place, datums, n=1)
    hint = f"; perhaps {near[0]} is meant" if near else ""
    return f"{place!r} is neither A, B, the number of an apex nor a datum point with a row of its own{hint}"


def _not_neighbours(seen: Observation, places: list[str], datums: set[str]) -> str:
    if isinstance(seen, Leg):
        i, j = places.index(seen.start), places.index(seen.stop)
        if abs(i - j) != 1:
            near = [place_words(places[k]) for k in (i - 1, i + 1) if 0 <= k < len(places)]
            return f"a leg joins two neighbours; from {place_words(seen.start)} it goes to {' or '.join(near)}"
    if isinstance(seen, Distance) and seen.start in datums and seen.stop in datums:
        return "both are datum points, whose distance is known already"
    if isinstance(seen, Angle) and not seen.bend.isdecimal():
        return "an end does not bend; write the number of the bend"
    if isinstance(seen, Twist):
        if not (seen.start.isdecimal() and seen.stop.isdecimal()):
            return "a twist lies between two bends; write their numbers"
        if abs(int(seen.start) - int(seen.stop)) != 1:
            return "a twist lies between two neighbouring bends, such as 2 and 3"
    return ""
