"""One bend's geometry: setback, developed length, gain, take-up.

The two legs of a bend are straight lines along the tube's centreline; they
cross at the apex. The bend itself is an arc of radius R that touches both
legs, so it leaves the first leg one setback before the apex and joins the
second leg one setback after it.

Every function takes numbers or arrays and broadcasts them like numpy.
Degrees and millimetres outside, radians only inside a formula.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Which crossing of the two legs a leg was measured to, and on which side of
#: the centrelines' crossing it lies: outside is further from the tube's end.
CROSSINGS: dict[str, float] = {"centre": 0.0, "outside": 1.0, "inside": -1.0}

Number = float | NDArray[np.float64]


def setback_mm(angle_deg: ArrayLike, radius_mm: ArrayLike) -> Number:
    """Distance from the apex to the start (or end) of the bend, R·tan(θ/2).

    Parameters
    ----------
    angle_deg : number or array [deg], finished angle, 0 (straight) to below 180
    radius_mm : number or array [mm], centreline radius, more than 0

    Raises ValueError for an angle or a radius outside those bounds.
    Source: tangent length of an arc, plane trigonometry.

    >>> float(round(setback_mm(90, 15), 3))
    15.0
    >>> setback_mm([45, 60], 10).round(4).tolist()
    [4.1421, 5.7735]
    """
    return _radius(radius_mm, "centreline radius") * _tan_half(angle_deg)


def developed_length_mm(angle_deg: ArrayLike, developed_radius_mm: ArrayLike) -> Number:
    """Length of straight tube that the arc uses, λ·θ with θ in radians.

    Parameters
    ----------
    angle_deg : number or array [deg], finished angle, 0 to below 180
    developed_radius_mm : number or array [mm], developed radius λ, more than 0

    Raises ValueError for an angle or a radius outside those bounds.
    Source: arc length; λ is less than R by the stretch of the centreline.

    >>> float(round(developed_length_mm(150, 8), 3))
    20.944
    """
    return _radius(developed_radius_mm, "developed radius") * np.radians(_angle(angle_deg))


def gain_mm(angle_deg: ArrayLike, radius_mm: ArrayLike, developed_radius_mm: ArrayLike) -> Number:
    """What a bend saves: leg + leg − straight length = 2R·tan(θ/2) − λθ.

    Parameters
    ----------
    angle_deg : number or array [deg], finished angle, 0 to below 180
    radius_mm : number or array [mm], centreline radius R, more than 0
    developed_radius_mm : number or array [mm], developed radius λ, more than 0

    Raises ValueError for an angle or a radius outside those bounds.
    Source: the corner's two setbacks less the arc that replaces them.

    >>> float(round(gain_mm(90, 1, 1), 4))
    0.4292
    """
    corner = 2.0 * setback_mm(angle_deg, radius_mm)
    return corner - developed_length_mm(angle_deg, developed_radius_mm)


def take_up_mm(angle_deg: ArrayLike, radius_mm: ArrayLike, mark_offset_mm: ArrayLike) -> Number:
    """Distance from the mark to the apex, m + R·tan(θ/2); mark = leg − take-up.

    Parameters
    ----------
    angle_deg : number or array [deg], finished angle, 0 to below 180
    radius_mm : number or array [mm], centreline radius R, more than 0
    mark_offset_mm : number or array [mm], mark to start of bend, positive towards end B

    Raises ValueError for an angle or a radius outside those bounds.
    Source: the definitions of mark offset and setback, added.

    >>> float(take_up_mm(90, 15, -2).round(3))
    13.0
    """
    return np.asarray(mark_offset_mm, dtype=float) + setback_mm(angle_deg, radius_mm)


def radius_from_setback_mm(setback: ArrayLike, angle_deg: ArrayLike) -> Number:
    """Centreline radius of an arc whose setback was measured, s / tan(θ/2).

    Parameters
    ----------
    setback : number or array [mm], apex to start of bend, more than 0
    angle_deg : number or array [deg], finished angle, above 0 and below 180

    Raises ValueError for a straight piece (it has no radius) and for an angle
    or a setback outside those bounds.
    Source: the setback's formula, turned round.

    >>> float(round(radius_from_setback_mm(15, 90), 3))
    15.0
    """
    tangent = _tan_half(angle_deg)
    if np.any(tangent == 0.0):
        raise ValueError(
            "a bend of 0 degrees has no radius: the radius can be found only from a bend that turns"
        )
    return _radius(setback, "setback") / tangent


def setback_slope_mm_per_deg(angle_deg: ArrayLike, radius_mm: ArrayLike) -> Number:
    """How fast the setback grows with the finished angle, R/2 · (1 + tan²(θ/2)).

    It is also the slope of the take-up: the mark offset does not change with
    the angle. Used to carry an angle's uncertainty over to a leg.

    Parameters
    ----------
    angle_deg : number or array [deg], finished angle, 0 to below 180
    radius_mm : number or array [mm], centreline radius R, more than 0

    Returns mm per degree. Raises ValueError outside those bounds.
    Source: derivative of R·tan(θ/2).

    >>> float(round(setback_slope_mm_per_deg(90, 15), 4))
    0.2618
    """
    half = 0.5 * (1.0 + _tan_half(angle_deg) ** 2)
    return np.radians(_radius(radius_mm, "centreline radius") * half)


def gain_slope_mm_per_deg(
    angle_deg: ArrayLike, radius_mm: ArrayLike, developed_radius_mm: ArrayLike
) -> Number:
    """How fast the gain grows with the finished angle, R·(1 + tan²(θ/2)) − λ.

    Parameters
    ----------
    angle_deg : number or array [deg], finished angle, 0 to below 180
    radius_mm : number or array [mm], centreline radius R, more than 0
    developed_radius_mm : number or array [mm], developed radius λ, more than 0

    Returns mm per degree. Raises ValueError outside those bounds.
    Source: derivative of 2R·tan(θ/2) − λθ.

    >>> float(round(gain_slope_mm_per_deg(90, 15, 15), 4))
    0.2618
    """
    developed = np.radians(_radius(developed_radius_mm, "developed radius"))
    return 2.0 * setback_slope_mm_per_deg(angle_deg, radius_mm) - developed


def crossing_sign(legs_to: str | ArrayLike) -> Number:
    """+1, 0 or −1: on which side of the centrelines' crossing a leg ends.

    Parameters
    ----------
    legs_to : text or array of texts, `centre`, `outside` or `inside`

    Returns +1 for outside (the measured leg is longer than the centre leg),
    −1 for inside, 0 for centre. Raises ValueError for any other word.

    >>> crossing_sign("outside"), crossing_sign("inside")
    (1.0, -1.0)
    """
    if isinstance(legs_to, str):
        return _one_sign(legs_to)
    words = np.asarray(legs_to)
    signs = [_one_sign(str(word)) for word in words.ravel()]
    return np.array(signs, dtype=float).reshape(words.shape)


def leg_to_centre_mm(
    leg_mm: ArrayLike, angle_deg: ArrayLike, od_mm: ArrayLike, legs_to: str | ArrayLike
) -> Number:
    """Leg to the crossing of the centrelines, from a leg to any crossing.

    The tube's outer edges run OD/2 outside the centrelines, so they cross
    (OD/2)·tan(θ/2) further on; the inner edges cross as much sooner.

    Parameters
    ----------
    leg_mm : number or array [mm], leg as measured
    angle_deg : number or array [deg], finished angle, 0 to below 180
    od_mm : number or array [mm], outside diameter, more than 0
    legs_to : text or array of texts, `centre`, `outside` or `inside`

    Raises ValueError for an unknown crossing, an angle or a diameter outside
    those bounds. Source: setback of the half diameter, plane trigonometry.

    >>> float(leg_to_centre_mm(100, 90, 5, "outside").round(3))
    97.5
    """
    return np.asarray(leg_mm, dtype=float) - _beyond(angle_deg, od_mm, legs_to)


def leg_to_crossing_mm(
    leg_mm: ArrayLike, angle_deg: ArrayLike, od_mm: ArrayLike, legs_to: str | ArrayLike
) -> Number:
    """Leg to any crossing, from the leg to the crossing of the centrelines.

    What a rule or square laid on the finished piece should show. Parameters,
    errors and source as in `leg_to_centre_mm`, whose inverse this is.

    >>> float(leg_to_crossing_mm(97.5, 90, 5, "outside").round(3))
    100.0
    """
    return np.asarray(leg_mm, dtype=float) + _beyond(angle_deg, od_mm, legs_to)


def _beyond(angle_deg: ArrayLike, od_mm: ArrayLike, legs_to: str | ArrayLike) -> Number:
    """How far beyond the centrelines' crossing the named crossing lies, mm."""
    half_od = _radius(od_mm, "outside diameter") / 2.0
    return crossing_sign(legs_to) * half_od * _tan_half(angle_deg)


def _one_sign(word: str) -> float:
    try:
        return CROSSINGS[word]
    except KeyError:
        known = ", ".join(CROSSINGS)
        raise ValueError(
            f"legs_to is {word!r}: say which crossing the leg was measured to, one of {known}"
        ) from None


def _tan_half(angle_deg: ArrayLike) -> Number:
    return np.tan(np.radians(_angle(angle_deg)) / 2.0)


def _angle(angle_deg: ArrayLike) -> NDArray[np.float64]:
    """The angle as an array; one that is no single bend is refused, never bent to fit."""
    angle = np.asarray(angle_deg, dtype=float)
    # Written so that a missing value (nan) fails it as well.
    good = (angle >= 0.0) & (angle < 180.0)
    if not good.all():
        worst = angle[~good].flat[0]
        raise ValueError(
            f"finished angle {worst:g} degrees: one bend turns from 0 to less than 180 degrees "
            "(at 180 the legs run side by side and never cross, so there is no apex to measure "
            "to); enter how far the tube turns from straight, or split the bend in two"
        )
    return angle


def _radius(length_mm: ArrayLike, name: str) -> NDArray[np.float64]:
    length = np.asarray(length_mm, dtype=float)
    good = (length > 0.0) & np.isfinite(length)
    if not good.all():
        worst = length[~good].flat[0]
        raise ValueError(f"{name} {worst:g} mm: it must be a length of more than 0 mm")
    return length
