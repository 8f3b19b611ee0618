"""Springback from the section: what a round tube's wall stores in a bend and gives back.

Plain bending theory: sections stay plane, the neutral axis stays in the middle, the strain
of a fibre is its height over the centreline radius, the section stays round, and release is
elastic. Then Δκ = M/(E I), and a bend that keeps its neutral length obeys

    finished angle / loaded angle = loaded radius / finished radius = 1 − M R/(E I).

Published comparisons find such models 14 to 39 % off in springback (Science Progress, 2020,
doi 10.1177/0036850420984303, abstract read): a start, not a calibration.
"""

from __future__ import annotations

import numpy as np
from scipy.special import beta, betainc

from bendcal.tubes import Tube

__all__ = ["moment_nmm", "released_radius_mm", "springback_deg", "springback_ratio"]


def moment_nmm(tube: Tube, radius_mm, *, flow=1.0):
    """Bending moment that holds a tube to a radius.

    Parameters
    ----------
    tube : its section and its alloy
    radius_mm : centreline radius under load, any shape [mm]
    flow : factor on the alloy's flow stress, shape that goes with `radius_mm` [1]

    Returns
    -------
    moment, broadcast shape [N mm]; exact for the three-stretch curve of ``Alloy.stress_mpa``
    (incomplete beta functions, no quadrature)

    Raises
    ------
    ValueError : where a radius does not exceed the tube's outside radius, or `flow` is not
        positive

    Examples
    --------
    >>> from bendcal.materials import ALLOYS
    >>> tube = Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)
    >>> round(moment_nmm(tube, 15.0))
    4377
    """
    radius, flow = _checked(tube, radius_mm, flow)
    moment = _solid(tube, tube.outer_radius_mm, radius, flow) - _solid(tube, tube.inner_radius_mm, radius, flow)
    return moment if np.ndim(moment) else float(moment)


def springback_ratio(tube: Tube, radius_mm, *, flow=1.0):
    """The part of a bend that stays when it is let go: 1 − M R/(E I).

    Parameters
    ----------
    tube, radius_mm, flow : as for :func:`moment_nmm`

    Returns
    -------
    finished angle over loaded angle, broadcast shape, from 0 (all elastic) to below 1 [1]

    Raises
    ------
    ValueError : as :func:`moment_nmm`

    Examples
    --------
    >>> from bendcal.materials import ALLOYS
    >>> tube = Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)
    >>> round(springback_ratio(tube, 15.0), 4)
    0.9835
    """
    radius, flow = _checked(tube, radius_mm, flow)
    stiffness = 1000 * tube.alloy.e_gpa * tube.second_moment_mm4
    ratio = 1 - moment_nmm(tube, radius, flow=flow) * radius / stiffness
    # Nothing yields: exactly 0, not the rounding error of a difference.
    elastic = tube.outer_radius_mm / radius <= tube.alloy.limits(flow)[0]
    ratio = np.where(elastic, 0.0, ratio)
    return ratio if np.ndim(ratio) else float(ratio)


def released_radius_mm(tube: Tube, die_radius_mm, *, flow=1.0):
    """Centreline radius of the bend after release.

    Parameters
    ----------
    tube, flow : as for :func:`moment_nmm`
    die_radius_mm : centreline radius on the die, any shape [mm]

    Returns
    -------
    radius, broadcast shape [mm]; infinite (straight) where nothing yields

    Raises
    ------
    ValueError : as :func:`moment_nmm`

    Examples
    --------
    >>> from bendcal.materials import ALLOYS
    >>> tube = Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)
    >>> round(released_radius_mm(tube, 15.0), 2)
    15.25
    """
    ratio = np.asarray(springback_ratio(tube, die_radius_mm, flow=flow))
    straight = np.full_like(ratio, np.inf)
    released = np.divide(die_radius_mm, ratio, out=straight, where=ratio > 0)
    return released if np.ndim(released) else float(released)


def springback_deg(tube: Tube, radius_mm, angle_deg, *, flow=1.0):
    """How far beyond the finished angle the tube itself must be bent.

    The bender's own dial error and the spring of its arms come on top.

    Parameters
    ----------
    tube, radius_mm, flow : as for :func:`moment_nmm`
    angle_deg : finished angle, shape that goes with `radius_mm` [deg]

    Returns
    -------
    loaded angle − finished angle, broadcast shape [deg]; infinite where nothing yields

    Raises
    ------
    ValueError : as :func:`moment_nmm`

    Examples
    --------
    >>> from bendcal.materials import ALLOYS
    >>> tube = Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)
    >>> round(springback_deg(tube, 15.0, 90.0), 1)
    1.5
    """
    opened = released_radius_mm(tube, radius_mm, flow=flow) / np.asarray(radius_mm, float) - 1
    loaded = np.asarray(angle_deg, float) * opened
    return loaded if np.ndim(loaded) else float(loaded)


def _checked(tube: Tube, radius_mm, flow) -> tuple[np.ndarray, np.ndarray]:
    radius, flow = np.asarray(radius_mm, float), np.asarray(flow, float)
    if not np.all(radius > tube.outer_radius_mm):
        raise ValueError(
            f"Tube {tube.tube!r}: a centreline radius of {np.min(radius):g} mm is not more than half its "
            f"outside diameter of {tube.od_mm:g} mm, so no such bend exists; check the radius and its unit."
        )
    if not np.all(flow > 0):
        raise ValueError(f"The factor on the flow stress is {np.min(flow):g}; it must be more than 0.")
    return radius, flow


def _solid(tube: Tube, solid_radius: float, radius: np.ndarray, flow: np.ndarray) -> np.ndarray:
    """Moment of a solid round [N mm]; a tube is one solid less another.

    With height y = r·sin φ: M = 4r³ ∫ σ(r·sin φ/R)·sin φ·cos²φ dφ from 0 to π/2. In each of
    the three stretches σ is a power of the strain, so each is an incomplete beta function.
    """
    alloy = tube.alloy
    surface = solid_radius / radius
    ends = [np.minimum(limit / surface, 1.0) for limit in alloy.limits(flow)]
    elastic = 1000 * alloy.e_gpa * surface * _share(1.0, ends[0])
    level = flow * alloy.yield_mpa * (_share(0.0, ends[1]) - _share(0.0, ends[0]))
    hardened = flow * alloy.k_mpa * surface**alloy.n * (_share(alloy.n, 1.0) - _share(alloy.n, ends[1]))
    if alloy.n == 0:  # then the level is the higher of the two, and it has no end
        level = level * max(1.0, alloy.k_mpa / alloy.yield_mpa)
    return 4 * solid_radius**3 * (elastic + level + hardened)


def _share(power: float, end) -> np.ndarray:
    """∫ sin^(1+power) φ · cos²φ dφ from 0 to arcsin(end)."""
    a = 1 + power / 2
    return beta(a, 1.5) * betainc(a, 1.5, np.square(end)) / 2
