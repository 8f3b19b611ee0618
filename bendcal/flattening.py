"""Flattening: when a bend is so tight that the tube may flatten, wrinkle or kink."""

from __future__ import annotations

import numpy as np

from bendcal.tubes import Tube

__all__ = ["outer_wall_mm", "tight_bend_cautions"]

DIAMETERS_WITHOUT_MANDREL = 3.0  # Groover, 19.7: read
BRAKE_TUBE_OD_MM, BRAKE_TUBE_WALL_MM = 4.75, 0.70
BRAKE_TUBE_RADIUS_MM = 25.0  # DIN 74234 as quoted by a vehicle maker: read
SAME_TUBE_MM = 0.1  # 3/16 in × 0.028 in is sold as the same tube


def outer_wall_mm(tube: Tube, radius_mm):
    """Wall left on the outside of a bend, t·2k/(2k + 1) with k = R/D.

    Parameters
    ----------
    tube : its diameter D and wall t
    radius_mm : centreline radius R, any shape [mm]

    Returns
    -------
    wall, shape of `radius_mm` [mm]: a fibre stretched by its strain thins by as much, so
    that its volume stays, the width of the wall kept

    Raises
    ------
    ValueError : where a radius is not positive

    Examples
    --------
    >>> from bendcal.materials import ALLOYS
    >>> tube = Tube("brake", ALLOYS["low-carbon steel"], 4.75, 0.70)
    >>> round(outer_wall_mm(tube, 3 * 4.75), 3)
    0.6
    """
    radius = np.asarray(radius_mm, float)
    if not np.all(radius > 0):
        raise ValueError(f"The centreline radius is {np.min(radius):g} mm; it must be more than 0.")
    twice = 2 * radius / tube.od_mm
    wall = tube.wall_mm * twice / (twice + 1)
    return wall if np.ndim(wall) else float(wall)


def tight_bend_cautions(tube: Tube, radius_mm: float, *, service: str = "brake") -> tuple[str, ...]:
    """What speaks against bending this tube so tightly, in sentences; empty if nothing does.

    Parameters
    ----------
    tube : its diameter and wall
    radius_mm : centreline radius [mm]
    service : what the line carries; the rule for brake tube is left out unless it is ``"brake"``

    Returns
    -------
    tuple of sentences, each with its source

    Raises
    ------
    ValueError : where the radius is not positive

    Examples
    --------
    >>> from bendcal.materials import ALLOYS
    >>> tube = Tube("brake", ALLOYS["low-carbon steel"], 6.35, 0.71)
    >>> tight_bend_cautions(tube, 16.0)[0].split(":")[0]
    "A radius of 16.0 mm is 2.52 times the tube's diameter"
    """
    wall = outer_wall_mm(tube, radius_mm)
    cautions = []
    least = DIAMETERS_WITHOUT_MANDREL * tube.od_mm
    if radius_mm < least:
        cautions.append(
            f"A radius of {radius_mm:.1f} mm is {radius_mm / tube.od_mm:.2f} times the tube's diameter: without "
            f"a mandrel inside, less than {DIAMETERS_WITHOUT_MANDREL:g} times ({least:.1f} mm) risks flattening "
            f"and kinks (Groover, 19.7). The outer wall thins from {tube.wall_mm:.2f} to about {wall:.2f} mm. "
            "A flattened, wrinkled or kinked bend is scrap."
        )
    if service == "brake" and _is_metric_brake_tube(tube) and radius_mm < BRAKE_TUBE_RADIUS_MM:
        cautions.append(
            f"A radius of {radius_mm:.1f} mm is less than the {BRAKE_TUBE_RADIUS_MM:g} mm that DIN 74234 (as "
            f"quoted by a vehicle maker) allows for brake tube of {BRAKE_TUBE_OD_MM} × {BRAKE_TUBE_WALL_MM:.1f} mm. "
            "Ask what the maker of the vehicle and the local rules allow."
        )
    return tuple(cautions)


def _is_metric_brake_tube(tube: Tube) -> bool:
    return abs(tube.od_mm - BRAKE_TUBE_OD_MM) <= SAME_TUBE_MM and abs(tube.wall_mm - BRAKE_TUBE_WALL_MM) <= SAME_TUBE_MM
