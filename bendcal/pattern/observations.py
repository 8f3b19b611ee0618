"""What a person can measure of a line: legs, angles, twists, points, distances and how a nut goes in.

The places of a line are end A, the apexes 1 to n, and end B. A datum point is a named place beside
the line (a bolt, a corner of the frame) whose x, y and z are known. Every measurement carries its
own standard uncertainty; one set aside stays, with its reason, and does not count.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from bendcal.measures import angle_text, mm_text

__all__ = [
    "Angle", "Datum", "Direction", "Distance", "Leg", "Observation", "PatternFault", "Point", "Twist", "place_words",
]  # fmt: skip

_AXES = ("x", "y", "z")


def place_words(place: str) -> str:
    """A place as it is spoken of.

    >>> place_words("A"), place_words("3"), place_words("post")
    ('end A', 'apex 3', 'post')
    """
    return f"end {place}" if place in ("A", "B") else f"apex {place}" if place.isdecimal() else place


@dataclass(frozen=True, kw_only=True)
class Observation:
    """What every measurement carries besides its value: the tool, a note, a reason for setting it aside."""

    tool: str = ""
    note: str = ""
    set_aside: str = ""
    row: int | None = None

    @property
    def counts(self) -> bool:
        """Whether it is used."""
        return not self.set_aside

    def _check(self, sd: float, **values: float) -> None:
        for name, value in values.items():
            if not isfinite(value):
                raise ValueError(f"{self.words}: {name} is not a number")
        if not (isfinite(sd) and sd > 0):
            raise ValueError(f"{self.words}: its standard uncertainty is {sd:g}; it must be more than 0")

    def _places(self, *fields: str) -> None:
        for field in fields:
            object.__setattr__(self, field, str(getattr(self, field)).strip())


@dataclass(frozen=True)
class Distance(Observation):
    """A straight distance between two places, as a tape or a trammel gives it.

    start, stop: ``"A"``, ``"B"``, an apex from 1, or a datum point's name; mm, sd_mm [mm].

    >>> Distance("A", 3, 412.0, 1.0).words
    'the straight distance from end A to apex 3'
    """

    start: str
    stop: str
    mm: float
    sd_mm: float

    def __post_init__(self) -> None:
        self._places("start", "stop")
        self._check(self.sd_mm, length=self.mm)
        if self.start == self.stop:
            raise ValueError(f"{self.words}: it begins and ends at the same place")
        if self.mm <= 0:
            raise ValueError(f"{self.words} is {self.mm:g} mm: a length is more than 0 mm")

    @property
    def words(self) -> str:
        """What was measured."""
        return f"the straight distance from {place_words(self.start)} to {place_words(self.stop)}"

    @property
    def value_words(self) -> str:
        """What was found."""
        return mm_text(self.mm)


@dataclass(frozen=True)
class Leg(Distance):
    """The length of a leg, from one end or apex to the next.

    >>> Leg("A", 1, 120.0, 0.5).words
    'the leg from end A to apex 1'
    """

    @property
    def words(self) -> str:
        """What was measured."""
        return f"the leg from {place_words(self.start)} to {place_words(self.stop)}"


@dataclass(frozen=True)
class Angle(Observation):
    """The finished angle of a bend, 0 for straight: bend number, deg, sd_deg [deg].

    >>> Angle(2, 90.0, 0.5).words
    'the angle of bend 2'
    """

    bend: str
    deg: float
    sd_deg: float

    def __post_init__(self) -> None:
        self._places("bend")
        self._check(self.sd_deg, angle=self.deg)
        if not 0 < self.deg < 180:
            raise ValueError(f"{self.words} is {self.deg:g} degrees: a bend turns more than 0 and less than 180 degrees")

    @property
    def words(self) -> str:
        """What was measured."""
        return f"the angle of bend {self.bend}"

    @property
    def value_words(self) -> str:
        """What was found."""
        return angle_text(self.deg)


@dataclass(frozen=True)
class Twist(Observation):
    """The turn between the planes of two neighbouring bends: clockwise seen from A to B is positive.

    >>> Twist(1, 2, -90.0, 2.0).words
    'the twist from bend 1 to bend 2'
    """

    start: str
    stop: str
    deg: float
    sd_deg: float

    def __post_init__(self) -> None:
        self._places("start", "stop")
        self._check(self.sd_deg, twist=self.deg)
        if not -180 <= self.deg <= 180:
            raise ValueError(f"{self.words} is {self.deg:g} degrees: a twist lies between -180 and 180 degrees")

    @property
    def words(self) -> str:
        """What was measured."""
        return f"the twist from bend {self.start} to bend {self.stop}"

    @property
    def value_words(self) -> str:
        """What was found."""
        return angle_text(self.deg)


@dataclass(frozen=True)
class Point(Observation):
    """Where an apex or an end lies, as far as it was measured; z is upwards.

    place: ``"A"``, ``"B"`` or an apex from 1; x_mm, y_mm, z_mm [mm] or None; sd_mm [mm] of each.

    >>> Point(2, None, None, 85.0, 1.0).words
    'the point of apex 2'
    """

    place: str
    x_mm: float | None
    y_mm: float | None
    z_mm: float | None
    sd_mm: float

    def __post_init__(self) -> None:
        self._places("place")
        told = {name: value for name, value in zip(_AXES, self.xyz_mm, strict=True) if value is not None}
        self._check(self.sd_mm, **told)
        if not told:
            raise ValueError(f"{self.words} has none of x, y and z: a point needs one of them at least")

    @property
    def xyz_mm(self) -> tuple[float | None, float | None, float | None]:
        """The three coordinates; None where not measured."""
        return self.x_mm, self.y_mm, self.z_mm

    @property
    def words(self) -> str:
        """What was measured."""
        return f"the point of {place_words(self.place)}"

    @property
    def value_words(self) -> str:
        """What was found."""
        return ", ".join(f"{axis} {mm_text(value)}" for axis, value in zip(_AXES, self.xyz_mm, strict=True) if value is not None)


@dataclass(frozen=True)
class Datum(Point):
    """A datum point beside the line: its name, where it is, and how well that is known; sd 0 is exact.

    >>> Datum("post", 0.0, 0.0, 50.0).words
    'the datum point post'
    """

    sd_mm: float = 0.0

    def __post_init__(self) -> None:
        self._places("place")
        if None in self.xyz_mm:
            raise ValueError(f"{self.words}: a datum point needs x, y and z")
        if self.place in ("", "A", "B") or self.place.isdecimal():
            raise ValueError(f"{self.place!r} is no name for a datum point: A, B and the numbers belong to the line")
        # 0 is a rightful uncertainty here, so the check is made as if it were some.
        self._check(self.sd_mm if self.sd_mm != 0 else 1.0, **dict(zip(_AXES, self.xyz_mm, strict=True)))

    @property
    def words(self) -> str:
        """What was measured."""
        return f"the datum point {self.place}"


@dataclass(frozen=True)
class Direction(Observation):
    """Which way the nut goes into the fitting at an end: from the tube into the fitting.

    end: ``"A"`` or ``"B"``; x, y, z: how far it moves along each, in any unit; sd_deg [deg].

    >>> Direction("B", 0, 0, -1, 2.0).words
    'the way the nut goes in at end B'
    """

    end: str
    x: float
    y: float
    z: float
    sd_deg: float

    def __post_init__(self) -> None:
        self._places("end")
        if self.end not in ("A", "B"):
            raise ValueError(f"a nut goes in at end {self.end!r}: the ends are A and B")
        self._check(self.sd_deg, x=self.x, y=self.y, z=self.z)
        if self.x == self.y == self.z == 0:
            raise ValueError(f"{self.words} has no length: give how far the nut moves along x, y and z")

    @property
    def words(self) -> str:
        """What was measured."""
        return f"the way the nut goes in at end {self.end}"

    @property
    def value_words(self) -> str:
        """What was found."""
        return f"({self.x:g}, {self.y:g}, {self.z:g})"


class PatternFault(ValueError):
    """A measurement that does not fit into its pattern; `observation` is which, `column` what of it."""

    def __init__(self, sentence: str, observation: Observation | None = None, column: str = "") -> None:
        super().__init__(sentence)
        self.observation, self.column = observation, column
