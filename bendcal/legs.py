"""The legs of a line: straight lengths to the apexes, angles and twists between.

Legs run from end A to end B. Leg 1 goes from end A to the apex of bend 1, the
last leg from the last apex to end B; a line of n bends has n + 1 legs. They
say the shape of a line without saying where in the room it lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bendcal.arc import setback_mm

#: Straights shorter than nothing by less than this are rounding, not a fault.
_ROUNDING_MM = 1e-9


@dataclass(frozen=True, eq=False)
class Legs:
    """Lengths, bend angles and twists of a line, from end A to end B.

    Parameters
    ----------
    leg_mm : (n + 1,) [mm], end or apex to apex or end, each more than 0
    angle_deg : (n,) [deg], finished angle of each bend, above 0 and below 180
    twist_deg : (n,) [deg], turn from the last bend's plane to this one's, in
        (−180, 180], clockwise seen from A to B positive; the first is 0.
        −180 is the same half turn as 180 and is kept as 180.

    Raises ValueError that names the leg or bend. The arrays are read-only copies.

    >>> Legs([100, 80], [90], [0]).bends
    1
    """

    leg_mm: NDArray[np.float64]
    angle_deg: NDArray[np.float64]
    twist_deg: NDArray[np.float64]

    def __post_init__(self) -> None:
        leg = _row(self.leg_mm, "leg_mm")
        angle = _row(self.angle_deg, "angle_deg")
        twist = _row(self.twist_deg, "twist_deg")
        if len(angle) != len(leg) - 1 or len(twist) != len(angle):
            raise ValueError(
                f"{len(leg)} legs, {len(angle)} angles and {len(twist)} twists do not make a "
                "line: n bends need n + 1 legs, n angles and n twists (the last leg has neither "
                "angle nor twist)"
            )
        _refuse(
            leg, (leg > 0.0) & (leg < np.inf), "leg", "mm", "a leg is a length of more than 0 mm"
        )
        _refuse(
            angle,
            (angle > 0.0) & (angle < 180.0),
            "bend",
            "degrees",
            "a bend turns more than 0 and less than 180 degrees; leave out a bend that does not "
            "turn, and split one of 180 degrees or more in two",
        )
        _refuse(
            twist,
            (twist >= -180.0) & (twist <= 180.0),
            "the twist of bend",
            "degrees",
            "a twist lies between -180 and 180 degrees",
        )
        if len(twist) and twist[0] != 0.0:
            raise ValueError(
                f"the twist of bend 1 is {twist[0]:g} degrees: there is no bend before it to turn "
                "from, so it must be 0"
            )
        twist[twist == -180.0] = 180.0
        for name, values in (("leg_mm", leg), ("angle_deg", angle), ("twist_deg", twist)):
            values.setflags(write=False)
            object.__setattr__(self, name, values)

    @property
    def bends(self) -> int:
        """Number of bends, n."""
        return len(self.angle_deg)


class LegTooShort(ValueError):
    """A leg has no room for the bends at its ends.

    `leg` is a tuple of the legs' numbers (1 = from end A), `missing_mm` a
    tuple of what each lacks.
    """

    def __init__(self, message: str, leg: tuple[int, ...], missing_mm: tuple[float, ...]) -> None:
        super().__init__(message)
        self.leg = leg
        self.missing_mm = missing_mm


def straights_mm(legs: Legs, radius_mm: ArrayLike) -> NDArray[np.float64]:
    """What stays straight of each leg: leg − the setbacks at its ends.

    Parameters
    ----------
    legs : Legs of n bends
    radius_mm : number or (n,) [mm], centreline radius, more than 0

    Returns (n + 1,) [mm]; negative where the bends overlap (see `check_straights`).
    Raises ValueError for a radius of 0 or less.

    >>> straights_mm(Legs([100, 80], [90], [0]), 15).round(6).tolist()
    [85.0, 65.0]
    """
    setback = np.broadcast_to(setback_mm(legs.angle_deg, radius_mm), legs.angle_deg.shape)
    straight = legs.leg_mm.copy()
    straight[:-1] -= setback
    straight[1:] -= setback
    return straight


def check_straights(legs: Legs, radius_mm: ArrayLike, *, leg_from: Sequence[str] = ()) -> NDArray[np.float64]:
    """The straights, or an error that names every leg too short for its bends.

    Parameters
    ----------
    legs : Legs of n bends
    radius_mm : number or (n,) [mm], centreline radius, more than 0
    leg_from : for each leg the file and the rows that say it, for the error; none where it was not read

    Returns (n + 1,) [mm], none below 0 but for rounding. Raises LegTooShort
    (a ValueError) with the leg numbers and the missing length.

    >>> check_straights(Legs([10, 80], [90], [0]), 15)
    Traceback (most recent call last):
    ...
    bendcal.legs.LegTooShort: leg 1 (end A to bend 1) is 10.00 mm long but its bend takes \
15.00 mm of it: 5.00 mm is missing. Move the corners further apart, bend by a smaller angle \
or use a bender with a smaller radius.
    """
    straight = straights_mm(legs, radius_mm)
    short = np.flatnonzero(straight < -_ROUNDING_MM)
    if len(short) == 0:
        return straight
    sentences = []
    for i in short:
        takes = legs.leg_mm[i] - straight[i]
        inner = 0 < i < legs.bends
        sentences.append(
            f"leg {i + 1} ({_between(int(i), legs.bends)}) is {legs.leg_mm[i]:.2f} mm long but "
            f"its {'bends take' if inner else 'bend takes'} {takes:.2f} mm of it: "
            f"{_missing(-straight[i])} mm is missing{f' ({leg_from[i]})' if i < len(leg_from) else ''}."
        )
    remedy = (
        "Move the corners further apart, bend by a smaller angle or use a bender with a smaller "
        "radius."
    )
    raise LegTooShort(
        " ".join([*sentences, remedy]),
        tuple(int(i) + 1 for i in short),
        tuple(float(-straight[i]) for i in short),
    )


def reverse_legs(legs: Legs) -> Legs:
    """The same line counted from end B: the order turns round, the signs stay.

    A twist looks the same from both ends, as a right-hand thread does.

    >>> reverse_legs(Legs([10, 20, 30], [90, 45], [0, 37])).twist_deg.tolist()
    [0.0, 37.0]
    """
    # Bend k's twist belongs to the leg before it; seen from B that leg comes
    # before bend k − 1, so the first (empty) twist stays first.
    twist = np.concatenate([legs.twist_deg[:1], legs.twist_deg[1:][::-1]])
    return Legs(legs.leg_mm[::-1], legs.angle_deg[::-1], twist)


def mirror_legs(legs: Legs) -> Legs:
    """The other hand of the line (left side for right side): twists change sign.

    >>> mirror_legs(Legs([10, 20, 30], [90, 45], [0, 37])).twist_deg.tolist()
    [0.0, -37.0]
    """
    return Legs(legs.leg_mm, legs.angle_deg, 0.0 - legs.twist_deg)


def loose_twists(legs: Legs, *, small_deg: float = 2.0) -> NDArray[np.bool_]:
    """Which twists hang on a bend so nearly straight that its plane is vague.

    The plane of a bend is found from its two legs; the straighter they run on,
    the more a small error of a node turns it. The line's shape hardly suffers,
    but the figure for the twist should not be trusted.

    Parameters
    ----------
    legs : Legs of n bends
    small_deg : number [deg], a bend below this (or within it of 180) is vague

    Returns (n,) bool; the first is False, for it has no twist.

    >>> loose_twists(Legs([10, 20, 30], [0.5, 45], [0, 37])).tolist()
    [False, True]
    """
    vague = (legs.angle_deg < small_deg) | (legs.angle_deg > 180.0 - small_deg)
    loose = np.zeros(legs.bends, dtype=bool)
    loose[1:] = vague[1:] | vague[:-1]
    return loose


def _row(values: ArrayLike, name: str) -> NDArray[np.float64]:
    row = np.array(values, dtype=float)  # a copy: the caller's array stays the caller's
    if row.ndim != 1:
        raise ValueError(f"{name} has {row.ndim} dimensions: give one row of numbers")
    return row


def _refuse(
    values: NDArray[np.float64], good: NDArray[np.bool_], what: str, unit: str, rule: str
) -> None:
    if not good.all():
        i = int(np.flatnonzero(~good)[0])
        raise ValueError(f"{what} {i + 1} is {values[i]:g} {unit}: {rule}")


def _between(i: int, bends: int) -> str:
    start = "end A" if i == 0 else f"bend {i}"
    stop = "end B" if i == bends else f"bend {i + 1}"
    return f"{start} to {stop}"


def _missing(missing_mm: float) -> str:
    return f"{missing_mm:.2f}" if missing_mm >= 0.005 else "less than 0.01"
