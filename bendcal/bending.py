"""What a marked tube turns into when it is bent: the way back from marks to a shape."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from bendcal.law import Law
from bendcal.path import Legs

__all__ = ["bend_up", "feeds"]


def feeds(feed: str | ArrayLike, bends: int) -> np.ndarray:
    """Which end leads into the bender, for each bend: +1 for ``"A"``, −1 for ``"B"``.

    Parameters
    ----------
    feed : one letter for all bends, or one for each
    bends : how many there are

    Raises
    ------
    ValueError : where a letter is neither, or there are too many or too few

    Examples
    --------
    >>> feeds("A", 2).tolist(), feeds(["A", "B"], 2).tolist()
    ([1, 1], [1, -1])
    """
    letters = [feed] * bends if isinstance(feed, str) else list(feed)
    if len(letters) != bends or any(letter not in ("A", "B") for letter in letters):
        raise ValueError(f"feed is {feed!r}; it must be 'A' or 'B', or one such letter for each of the {bends} bends.")
    return np.array([1 if letter == "A" else -1 for letter in letters], int)


def bend_up(
    law: Law, *, mark_mm: ArrayLike, dial_deg: ArrayLike, twist_deg: ArrayLike,
    seat_a_mm: float, seat_b_mm: float, feed: str | ArrayLike = "A",
) -> Legs:
    """The legs, angles and twists of a tube bent at the given marks by `law`.

    Parameters
    ----------
    law : what the bender does to this tube
    mark_mm : (n,) marks from the cut end A [mm]
    dial_deg : (n,) dial settings [deg]
    twist_deg : (n,) turn of each bend plane against the last [deg]
    seat_a_mm, seat_b_mm : where the two seats lie on the straight tube, from the cut end A [mm]
    feed : ``"A"``: the mark lies m before the start of the bend; ``"B"``, the tube turned end
        for end: the mark lies m beyond the bend's end

    Returns
    -------
    Legs

    Raises
    ------
    ValueError : where a bend overlaps its neighbour or an end, or an angle cannot be bent

    Examples
    --------
    >>> law = Law.of("small", "brake 3/16", [0.0, 1.0, 15.0, 15.0, 0.0])
    >>> legs = bend_up(law, mark_mm=[85.0], dial_deg=[90.0], twist_deg=[0.0], seat_a_mm=0.0, seat_b_mm=170.0)
    >>> legs.leg_mm.round(2).tolist()
    [100.0, 76.44]
    """
    a, b, radius, developed, offset = (float(v) for v in law.parameters)
    mark = np.atleast_1d(np.asarray(mark_mm, float))
    angle = a + b * np.atleast_1d(np.asarray(dial_deg, float))
    side = feeds(feed, len(mark))
    arc = developed * np.radians(angle)
    start = mark + side * offset - np.where(side < 0, arc, 0.0)
    setback = radius * np.tan(np.radians(angle) / 2)
    from_mm = np.concatenate([[seat_a_mm], start + arc])
    to_mm = np.concatenate([start, [seat_b_mm]])
    straight = to_mm - from_mm
    _refuse_overlap(straight)
    around = np.concatenate([[0.0], setback]) + np.concatenate([setback, [0.0]])
    return Legs(straight + around, angle, np.atleast_1d(np.asarray(twist_deg, float)))


def _refuse_overlap(straight: np.ndarray) -> None:
    # A leg with overlapping bends can still come out longer than nothing, so Legs would take it.
    for i in np.flatnonzero(straight < -1e-9):
        here = "end A" if i == 0 else f"bend {i}"
        there = "end B" if i == len(straight) - 1 else f"bend {i + 1}"
        raise ValueError(
            f"These marks cannot be bent: {here} and {there} overlap by {-straight[i]:.2f} mm of tube. "
            "Move the marks apart or bend by a smaller angle."
        )
