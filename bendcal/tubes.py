"""A tube: what it is made of and how thick it is."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

from bendcal.materials import Alloy

__all__ = ["Tube"]


@dataclass(frozen=True)
class Tube:
    """One kind of tube on the shelf: an alloy, an outside diameter and a wall.

    Parameters
    ----------
    tube : the name by which the shop calls it
    alloy : its alloy, with the elastic and flow numbers
    od_mm : outside diameter [mm]
    wall_mm : wall thickness [mm]
    temper, note : free text

    Raises
    ------
    ValueError : where the diameter or the wall is not positive, or the wall leaves no bore

    Examples
    --------
    >>> from bendcal.materials import ALLOYS
    >>> Tube("brake 3/16", ALLOYS["low-carbon steel"], 4.76, 0.71).bore_mm
    3.34
    """

    tube: str
    alloy: Alloy
    od_mm: float
    wall_mm: float
    temper: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if not self.od_mm > 0:
            raise ValueError(f"Tube {self.tube!r}: the outside diameter is {self.od_mm} mm; it must be more than 0.")
        if not 0 < self.wall_mm < self.od_mm / 2:
            raise ValueError(
                f"Tube {self.tube!r}: a wall of {self.wall_mm} mm does not fit an outside diameter of "
                f"{self.od_mm} mm; it must be more than 0 and less than half the diameter."
            )

    @property
    def bore_mm(self) -> float:
        """Inside diameter [mm]."""
        return round(self.od_mm - 2 * self.wall_mm, 9)

    @property
    def outer_radius_mm(self) -> float:
        """Outside radius of the section [mm]."""
        return self.od_mm / 2

    @property
    def inner_radius_mm(self) -> float:
        """Inside radius of the section [mm]."""
        return self.od_mm / 2 - self.wall_mm

    @property
    def mean_radius_mm(self) -> float:
        """Radius of the middle of the wall [mm]."""
        return (self.od_mm - self.wall_mm) / 2

    @property
    def second_moment_mm4(self) -> float:
        """Second moment of area, π(D⁴ − d⁴)/64 [mm⁴]."""
        return pi * (self.outer_radius_mm**4 - self.inner_radius_mm**4) / 4
