"""A bend's angle from a caliper: a scribed mark on each leg, and the chord between the two.

Lay straightedges along both legs to find the apex, scribe a mark on each leg at a known distance
from it, and measure straight across from mark to mark. Equal distances of about 100 mm and a
caliper tell the angle of a square bend to better than 0.1°, where a protractor reads to 0.5°.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from bendcal.estimate import Estimate

__all__ = ["angle_from_chord", "chord_mm"]


def chord_mm(a_mm: ArrayLike, b_mm: ArrayLike, angle_deg: ArrayLike) -> float | np.ndarray:
    """The straight distance between two marks, one on each leg of a bend.

    Parameters
    ----------
    a_mm, b_mm : number or (n,) [mm], apex to mark along each leg
    angle_deg : number or (n,) [deg], the bend: 0 is straight

    Source: the law of cosines, in a form that keeps its digits near 0 and 180.

    >>> round(float(chord_mm(30, 40, 90)), 9), float(chord_mm(30, 40, 0))
    (50.0, 70.0)
    """
    a, b = np.asarray(a_mm, float), np.asarray(b_mm, float)
    half = np.radians(np.asarray(angle_deg, float)) / 2.0
    return np.hypot((a + b) * np.cos(half), (a - b) * np.sin(half))


def angle_from_chord(a_mm: ArrayLike, b_mm: ArrayLike, chord_mm: ArrayLike, sd_mm: ArrayLike) -> Estimate:
    """The bend between two legs, from a mark on each and the chord between the marks.

    Parameters
    ----------
    a_mm, b_mm : number or (n,) [mm], apex to mark along each leg
    chord_mm : number or (n,) [mm], straight from mark to mark
    sd_mm : standard uncertainty of all three [mm], or three of them: of a, of b, of the chord

    Returns
    -------
    Estimate [deg], 0 for a straight tube

    Raises
    ------
    ValueError : lengths that make no triangle, or a bend too straight to be told from none

    Sources: the half-angle formula for the angle, and JCGM 100:2008, 5.1.2 for its uncertainty;
    first order, which at 5° and less makes it too large rather than too small.

    Examples
    --------
    >>> print(angle_from_chord(100.0, 100.0, 141.4, (0.1, 0.1, 0.05)))
    90.02° (95 %: 89.84 to 90.19)
    """
    a, b, c = np.broadcast_arrays(*(np.asarray(side, dtype=float) for side in (a_mm, b_mm, chord_mm)))
    sd_a, sd_b, sd_c = np.broadcast_to(np.asarray(sd_mm, dtype=float), (3,))
    if not (np.all(np.isfinite([sd_a, sd_b, sd_c])) and min(sd_a, sd_b) >= 0 and sd_c >= 0):
        raise ValueError(f"sd_mm is {sd_mm!r}: a standard uncertainty is 0 or more")
    _check(a, b, c, np.sqrt(sd_a**2 + sd_b**2 + sd_c**2))
    angle = 2.0 * np.arctan2(np.sqrt((a + b - c) * (a + b + c)), np.sqrt((c - a + b) * (c + a - b)))
    by = a * b * np.sin(angle)
    by_a, by_b, by_c = (a + b * np.cos(angle)) / by, (b + a * np.cos(angle)) / by, -c / by
    u = np.sqrt((by_a * sd_a) ** 2 + (by_b * sd_b) ** 2 + (by_c * sd_c) ** 2)
    return Estimate(np.degrees(angle)[()], np.degrees(u)[()], "°")


def _check(a: np.ndarray, b: np.ndarray, c: np.ndarray, u_mm: float) -> None:
    for i, (one, other, chord) in enumerate(zip(a.ravel(), b.ravel(), c.ravel(), strict=True)):
        where = f"bend {i + 1}: " if a.ndim else ""
        if not (0 < one < np.inf and 0 < other < np.inf and 0 < chord < np.inf):
            raise ValueError(f"{where}the lengths {one:g}, {other:g} and {chord:g} mm: each is more than 0 mm")
        if chord <= abs(one - other):
            raise ValueError(
                f"{where}a chord of {chord:g} mm between marks at {one:g} and {other:g} mm: they are at "
                f"least {abs(one - other):g} mm apart; measure all three again"
            )
        if chord >= one + other - u_mm:
            raise ValueError(
                f"{where}a chord of {chord:g} mm between marks at {one:g} and {other:g} mm: that cannot be "
                "told from a straight tube; measure it again, or lay a protractor on it"
            )
