"""Flattening: when a bend is so tight that the tube may flatten, wrinkle or kink."""

from __future__ import annotations

import numpy as np

from bendcal.tubes import Tube

__all__ = ["check_section", "ovality", "outer_wall_mm", "section_limits_sentence", "thinning_sentence", "tight_bend_cautions"]

DIAMETERS_WITHOUT_MANDREL = 3.0  # Groover, 19.7: read
BRAKE_TUBE_OD_MM, BRAKE_TUBE_WALL_MM = 4.75, 0.70
BRAKE_TUBE_RADIUS_MM = 25.0  # DIN 74234 as quoted by a vehicle maker: read
LEAST_DIAMETER = 0.75  # of the outside diameter, where a bend is flattened: FAA, read
MOST_OVALITY = {"internal": 0.08, "external": 0.03}  # ASME B31.3, by which side the pressure is on: memory
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


def ovality(largest_mm, smallest_mm, od_mm):
    """How far a bent section is from round, (D max − D min)/D₀, as measured with a caliper.

    Parameters
    ----------
    largest_mm, smallest_mm : diameters of the bend across and in its plane, any shape [mm]
    od_mm : outside diameter of the straight tube [mm]

    Returns
    -------
    share of the outside diameter, 0 where it is round

    Raises
    ------
    ValueError : where a diameter is not positive or the smallest is larger than the largest

    Examples
    --------
    >>> round(float(ovality(5.0, 4.5, 4.76)), 3)
    0.105
    """
    largest, smallest, od = (np.asarray(v, float) for v in (largest_mm, smallest_mm, od_mm))
    if not (np.all(smallest > 0) and np.all(od > 0)):
        raise ValueError("A diameter must be more than 0 mm.")
    if not np.all(largest >= smallest):
        raise ValueError(f"The largest diameter ({np.min(largest):g} mm) is less than the smallest ({np.max(smallest):g} mm): are they swapped?")
    share = (largest - smallest) / od
    return share if np.ndim(share) else float(share)


def check_section(tube: Tube, largest_mm: float, smallest_mm: float, *, pressure: str = "internal") -> tuple[str, ...]:
    """What speaks against a bend whose diameters were measured; empty if nothing does.

    Parameters
    ----------
    tube : its outside diameter
    largest_mm, smallest_mm : measured at the middle of the bend [mm]
    pressure : ``internal`` (brake, clutch, fuel under pressure) or ``external`` (suction)

    Returns
    -------
    tuple of sentences, each with its source

    Raises
    ------
    ValueError : for diameters that cannot be, or another word for the pressure

    Examples
    --------
    >>> from bendcal.materials import ALLOYS
    >>> tube = Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)
    >>> check_section(tube, 4.85, 4.6)
    ()
    """
    if pressure not in MOST_OVALITY:
        raise ValueError(f"pressure is {pressure!r}; it must be internal or external.")
    found = ovality(largest_mm, smallest_mm, tube.od_mm)
    said = []
    if smallest_mm < LEAST_DIAMETER * tube.od_mm:
        said.append(
            f"The smallest diameter of the bend, {smallest_mm:.2f} mm, is less than 75 % of the tube's "
            f"({LEAST_DIAMETER * tube.od_mm:.2f} mm): it is scrap (FAA)."
        )
    if found > MOST_OVALITY[pressure] + 1e-9:
        said.append(
            f"The bend is {100 * found:.1f} % out of round; at most {100 * MOST_OVALITY[pressure]:g} % is allowed in piping under "
            f"{pressure} pressure (ASME B31.3)."
        )
    return tuple(said)


def thinning_sentence(tube: Tube, radius_mm: float) -> str:
    """What the outer wall of a bend is expected to thin to, in a sentence."""
    wall = outer_wall_mm(tube, radius_mm)
    return (
        f"On the outside of a bend of {radius_mm:.1f} mm radius the wall is expected to thin from {tube.wall_mm:.2f} to about {wall:.2f} mm "
        f"({100 * (1 - wall / tube.wall_mm):.0f} % less)."
    )


def section_limits_sentence(tube: Tube) -> str:
    """What a caliper may find on a bend of this tube, where no piece has told it (see `oval`)."""
    return (
        f"How far a bend flattens cannot be calculated for a hand bender: measure some with a caliper (smallest_mm in offcuts.csv). The smallest diameter must be at least "
        f"{LEAST_DIAMETER * tube.od_mm:.2f} mm (75 % of the tube's, FAA), and largest less smallest should be at most "
        f"{MOST_OVALITY['internal'] * tube.od_mm:.2f} mm (8 %, ASME B31.3)."
    )
