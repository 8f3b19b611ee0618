"""The turn from one bend to the next, in figures and in words.

A twist is the turn from the last bend's plane to the next bend's plane,
positive clockwise seen from end A looking towards end B. It says how the
*finished line* looks. In a bender that stands still the bend always goes the
same way, so it is the *tube* that has to be turned, and it turns the opposite
way: to bring what lies clockwise of the last bend round to the die, the tube
goes anticlockwise. Both have their own function here, so that neither is
taken for the other.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

_FROM = {"A": "end A looking towards B", "B": "end B looking towards A"}


def wrap_deg(turn_deg: ArrayLike) -> float | NDArray[np.float64]:
    """The same turn written in (−180, 180].

    Round first and wrap afterwards: −179.98 rounded to one decimal is −180,
    which is written 180.

    Parameters
    ----------
    turn_deg : number or array [deg], any turn

    >>> wrap_deg([270, -180, 37, 540]).tolist()
    [-90.0, 180.0, 37.0, 180.0]
    """
    turn = np.asarray(turn_deg, dtype=float)
    inside = (turn > -180.0) & (turn <= 180.0)
    # A turn already in the range keeps every digit: the remainder would not.
    return np.where(inside, turn, 180.0 - np.mod(180.0 - turn, 360.0))[()]


def tube_turn_deg(twist_deg: ArrayLike) -> float | NDArray[np.float64]:
    """How far to turn the tube in a bender that stands still: minus the twist.

    Positive is clockwise seen from end A looking towards end B, as for the
    twist. It holds whichever end of the tube leads, as long as both bends are
    made with the same end leading and the bends are made from A towards B;
    made from B towards A, the turn between the same two bends is the twist
    itself.

    Parameters
    ----------
    twist_deg : number or array [deg], turn of the next bend's plane

    Returns degrees in (−180, 180]. Source: a turn of the tube by t about its
    own axis and a turn of the bender by −t leave the same finished shape.

    >>> float(tube_turn_deg(37)), float(tube_turn_deg(180))
    (-37.0, 180.0)
    """
    return wrap_deg(-np.asarray(twist_deg, dtype=float))


def clock_deg(twist_deg: ArrayLike) -> NDArray[np.float64]:
    """Where around the straight tube each bend faces, bend 1 at 0.

    A line scribed along the inside of bend 1 before bending is the zero; the
    inside of bend k then lies this far round from it, positive clockwise seen
    from end A looking towards end B. It stays true when some bends are made
    with the other end of the tube leading.

    Parameters
    ----------
    twist_deg : (n,) [deg], twist of every bend, the first 0

    Returns (n,) degrees in (−180, 180].

    >>> clock_deg([0, 90, 180]).tolist()
    [0.0, 90.0, -90.0]
    """
    return np.atleast_1d(wrap_deg(np.cumsum(np.asarray(twist_deg, dtype=float))))


def describe_twist(twist_deg: float, *, seen_from: str = "A", decimals: int = 1) -> str:
    """Words for how the next bend lies to the last one in the finished line.

    Parameters
    ----------
    twist_deg : number [deg], twist in the sense of this package
    seen_from : `A` (looking from A towards B) or `B` (looking from B towards A)
    decimals : digits kept after the point

    Raises ValueError for another `seen_from` or a twist that is not a number.

    >>> describe_twist(180)
    'the other way (an offset)'
    >>> describe_twist(37)
    'the next bend points 37° clockwise of the last one, seen from end A looking towards B'
    """
    turn, sense = _seen(twist_deg, seen_from, decimals)
    if turn == 0.0:
        return "same way as the last bend (a U)"
    if abs(turn) == 180.0:
        return "the other way (an offset)"
    return (
        f"the next bend points {abs(turn):g}° {sense} of the last one, seen from {_FROM[seen_from]}"
    )


def describe_tube_turn(twist_deg: float, *, seen_from: str = "A", decimals: int = 1) -> str:
    """Words for how to turn the tube in the bender before the next bend.

    Takes the twist, as `describe_twist` does, and turns its sign over itself.

    Parameters
    ----------
    twist_deg : number [deg], twist of the next bend (not the turn of the tube)
    seen_from : `A` (looking from A towards B) or `B` (looking from B towards A)
    decimals : digits kept after the point

    Raises ValueError for another `seen_from` or a twist that is not a number.

    >>> describe_tube_turn(37)
    'turn the tube 37° anticlockwise, seen from end A looking towards B'
    >>> describe_tube_turn(37, seen_from="B")
    'turn the tube 37° clockwise, seen from end B looking towards A'
    """
    turn, sense = _seen(float(tube_turn_deg(twist_deg)), seen_from, decimals)
    if turn == 0.0:
        return "do not turn the tube"
    if abs(turn) == 180.0:
        return "turn the tube half a turn (180°)"
    return f"turn the tube {abs(turn):g}° {sense}, seen from {_FROM[seen_from]}"


def _seen(turn_deg: float, seen_from: str, decimals: int) -> tuple[float, str]:
    """The rounded turn and its sense as the named viewer sees it."""
    if seen_from not in _FROM:
        raise ValueError(f"seen_from is {seen_from!r}: look from end 'A' or from end 'B'")
    if not np.isfinite(turn_deg):
        raise ValueError(f"a twist of {turn_deg} degrees is not a number: give the turn in degrees")
    turn = float(wrap_deg(round(float(turn_deg), decimals)))
    clockwise = (turn > 0.0) == (seen_from == "A")
    return turn, "clockwise" if clockwise else "anticlockwise"
