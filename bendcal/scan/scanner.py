"""What a flatbed does to lengths: its scale, and what the height of a round tube above the glass adds.

A tube rests on the glass, and what is seen of it is its silhouette: its two sides, half a diameter above the
glass. Along the carriage's way every line is seen straight from below. Across it a CIS scanner (flat, powered
through its cable) does so too; a CCD scanner (taller, with its own supply) sees through a lens and shrinks what
lies higher, by height over the length of the light's way. Nominal dpi are good to about 0.1 % in each direction.
All of these are assumptions: scan a good rule along both sides once, and say what you found by `dpi=(across, down)`.
"""

from __future__ import annotations

from math import hypot

__all__ = ["ITS_SCALE", "SCALE_U", "SENSORS", "scale_of"]

ITS_SCALE = "its scale (the dpi of a scan, the 100 mm line of a photo's page)"
SCALE_U = 0.001  # of nominal dpi, each direction by itself
SENSORS = ("cis", "ccd", "unknown")
_WAY_MM, _WAY_U = 350.0, 0.25  # a CCD's way of light, mirrors unfolded, and how little is known of it
_SHORTEST_WAY_MM = 250.0


def scale_of(sensor: str, od_mm: float, *, scale_u: float = SCALE_U) -> tuple[tuple[float, float], tuple[float, float]]:
    """By how much lengths in the tube's plane are larger than the nominal dpi say, and how surely.

    Parameters
    ----------
    sensor : ``"cis"``, ``"ccd"`` (its lens shrinks across the picture) or ``"unknown"`` (either, lying either way)
    od_mm : the tube's outside diameter [mm]
    scale_u : standard uncertainty of the dpi, as a share, in each direction

    Returns
    -------
    (across, down) factors, and their standard uncertainties

    Raises
    ------
    ValueError : for another sensor, or a `scale_u` that is no small share

    Examples
    --------
    >>> scale_of("cis", 4.76)
    ((1.0, 1.0), (0.001, 0.001))
    >>> (across, down), (u_across, u_down) = scale_of("ccd", 4.76)
    >>> round(across, 4), down, round(u_across, 4)
    (1.0068, 1.0, 0.002)
    """
    if sensor not in SENSORS:
        raise ValueError(f"The sensor is {sensor!r}; it must be one of {', '.join(SENSORS)}.")
    if not 0 <= scale_u <= 0.05:
        raise ValueError(f"scale_u is {scale_u}; it is a share of the length, from 0 to 0.05 (0.001 is 0.1 %).")
    height = od_mm / 2
    if sensor == "cis":
        return (1.0, 1.0), (scale_u, scale_u)
    if sensor == "ccd":
        return (1 + height / _WAY_MM, 1.0), (hypot(scale_u, _WAY_U * height / _WAY_MM), scale_u)
    # Anything between none and the shortest way's, in either direction: a uniform distribution each.
    most = height / _SHORTEST_WAY_MM
    u = hypot(scale_u, most / 12**0.5)
    return (1 + most / 2, 1 + most / 2), (u, u)
