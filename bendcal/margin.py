"""Where the end of a line will fall, and how much tube to leave on for it.

Everything that is not known exactly (the law's five numbers, each bend's own scatter, each
mark, each twist, what an end uses up) moves the legs, angles and twists of the finished
line a little; those move its far end. So does a shape that was itself measured: the end may
fall where it was meant to, and its seat be elsewhere. All of it is linear at these sizes.
"""

from __future__ import annotations

from math import ceil, hypot, sqrt

import numpy as np
from scipy.special import ndtri

from bendcal.law import Law
from bendcal.path import Legs, end_shifts, place_nodes, reverse_legs

__all__ = ["TWIST_SD_DEG", "along_last_leg_mm", "end_covariance_mm2", "end_sensitivities", "shape_sensitivities", "shape_shifts", "trim_for_mm"]

#: Standard deviation of turning the tube to a twist by eye and a line drawn along it (common practice).
TWIST_SD_DEG = 1.0

#: What belongs to the law: its five numbers and its bow, in the order of ``Law.spread``.
_LAW = 6


def shape_sensitivities(legs: Legs, law: Law, dial_deg: np.ndarray, side: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """∂(legs)/∂(sources), (n + 1, 6 + 2n), and ∂(angles)/∂(sources), (n, 6 + 2n).

    The sources are the law's five numbers, its bow, n bends' scatter [deg], n marks [mm].
    """
    n = legs.bends
    _, _, radius, developed, _ = (float(v) for v in law.parameters)
    theta = np.radians(legs.angle_deg)
    tan = np.tan(theta / 2)
    angle = np.zeros((n, _LAW + 2 * n))
    angle[:, 0], angle[:, 1], angle[:, 5] = 1.0, dial_deg, law.bow.at(dial_deg)
    angle[np.arange(n), _LAW + np.arange(n)] = 1.0
    by_angle = angle * (np.pi / 180)
    # start and end of each bend along the straight tube, and its setback
    arc = developed * by_angle
    arc[:, 3] += theta
    start = np.where(side[:, None] < 0, -arc, 0.0)
    start[:, 4] += side
    start[np.arange(n), _LAW + n + np.arange(n)] += 1.0
    setback = radius * 0.5 / np.cos(theta / 2)[:, None] ** 2 * by_angle
    setback[:, 2] += tan
    none = np.zeros((1, _LAW + 2 * n))
    leg = np.concatenate([start, none]) - np.concatenate([none, start + arc])
    return leg + np.concatenate([none, setback]) + np.concatenate([setback, none]), angle


def end_sensitivities(
    legs: Legs, law: Law, dial_deg: np.ndarray, side: np.ndarray, *, free_end: str = "B"
) -> tuple[np.ndarray, np.ndarray]:
    """How the free end of the bent line moves with all that is not known exactly.

    Parameters
    ----------
    legs, law, dial_deg, side, free_end : as in :func:`end_covariance_mm2`

    Returns
    -------
    (3, 6 + 2n) [mm per unit] for the law's five numbers and its bow, n bends' own scatter [deg] and
    n marks [mm]; (3, n) [mm/deg] for the twists of bends 1 to n
    """
    by_leg, by_angle = shape_sensitivities(legs, law, dial_deg, side)
    seen = legs
    if free_end == "A":
        seen, by_leg, by_angle = reverse_legs(legs), by_leg[::-1], by_angle[::-1]
    per_leg, per_angle, per_twist = end_shifts(seen)
    return per_leg.T @ by_leg + per_angle.T @ by_angle, (_turned_round(per_twist) if free_end == "A" else per_twist).T


def shape_shifts(legs: Legs, *, free_end: str = "B") -> np.ndarray:
    """How the free end moves with the shape that is wanted: (3, 3n + 1) [mm per mm, mm per deg] for legs, angles and twists.

    Parameters
    ----------
    legs, free_end : as in :func:`end_covariance_mm2`
    """
    if free_end == "B":
        return np.concatenate(end_shifts(legs)).T
    leg, angle, twist = end_shifts(reverse_legs(legs))
    return np.concatenate([leg[::-1], angle[::-1], _turned_round(twist)]).T


def _turned_round(twist: np.ndarray) -> np.ndarray:
    """Rows for the twists counted from end B, in the order counted from end A: each belongs to the leg before its bend."""
    return np.concatenate([twist[:1], twist[1:][::-1]])


def end_covariance_mm2(
    legs: Legs, law: Law, dial_deg: np.ndarray, side: np.ndarray, *, free_end: str = "B", twist_sd_deg: float = TWIST_SD_DEG,
    shape: np.ndarray | None = None,
) -> np.ndarray:  # fmt: skip
    """Covariance of where the free end of the bent line falls when the other end is held in place.

    Parameters
    ----------
    legs : the line, n bends
    law : its law, with covariance and scatter
    dial_deg : (n,) [deg]
    side : (n,) +1 or −1, from :func:`bendcal.bending.feeds`
    free_end : ``"A"`` or ``"B"``
    twist_sd_deg : standard deviation of each twist but the first [deg]
    shape : (3n + 1, 3n + 1) [mm, deg], ``Line.shape_covariance``: how well it is known where the end has to be; None for a shape that is
        as it is given

    Returns
    -------
    (3, 3) [mm²] in the standard frame of the line seen from the held end: that end at the
    origin, its leg along x

    Source: JCGM 100:2008, 5.2, propagation with correlated inputs.
    """
    n = legs.bends
    end, per_twist = end_sensitivities(legs, law, dial_deg, side, free_end=free_end)
    covariance = np.zeros((_LAW + 2 * n, _LAW + 2 * n))
    covariance[:_LAW, :_LAW] = law.spread
    rest = np.arange(_LAW, _LAW + 2 * n)
    covariance[rest, rest] = np.repeat([law.scatter_deg**2, law.marking_mm**2], n)
    found = end @ covariance @ end.T + twist_sd_deg**2 * per_twist @ per_twist.T
    if shape is None:
        return found
    by = shape_shifts(legs, free_end=free_end)
    return found + by @ shape @ by.T


def _last_leg(legs: Legs, free_end: str) -> np.ndarray:
    """The direction of the free end's own leg, seen from the held end."""
    seen = reverse_legs(legs) if free_end == "A" else legs
    nodes = place_nodes(seen.leg_mm, seen.angle_deg, seen.twist_deg)
    return (nodes[-1] - nodes[-2]) / seen.leg_mm[-1]


def along_last_leg_mm(covariance_mm2: np.ndarray, legs: Legs, *, free_end: str = "B") -> float:
    """Standard uncertainty of the free end along its own leg [mm]: what trimming can make good.

    Parameters
    ----------
    covariance_mm2 : (3, 3) from :func:`end_covariance_mm2` for the same legs and end
    """
    along = _last_leg(legs, free_end)
    # Rounding can leave what is nothing a hair below it: the end then falls square to its leg.
    return sqrt(max(float(along @ covariance_mm2 @ along), 0.0))


def trim_for_mm(u_mm: float, *ends_u_mm: float, chance: float = 0.95) -> float:
    """Spare tube that makes the line long enough with probability `chance`, in whole mm.

    Parameters
    ----------
    u_mm : standard uncertainty of the end along its leg [mm]
    ends_u_mm : standard uncertainties of what the two ends use up [mm]
    chance : probability that nothing is missing, at least 0.5

    Examples
    --------
    >>> trim_for_mm(2.0)
    4.0
    """
    return float(ceil(ndtri(chance) * hypot(u_mm, *ends_u_mm)))
