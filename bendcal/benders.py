"""A bender: its die, its dial, and the straights that it needs."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Bender"]


@dataclass(frozen=True)
class Bender:
    """One hand bender with one die, as the shop knows it. Unknown facts are None.

    Parameters
    ----------
    bender : the name by which the shop calls it
    die_radius_mm : centreline radius of the die's groove, before any springback [mm]
    dial_step_deg : distance between the marks of the dial [deg]
    dial_max_deg : the largest reading of the dial [deg]
    min_leg_mm : shortest straight before the first bend [mm]
    min_between_mm : shortest straight between two bends [mm]
    min_last_mm : shortest straight after the last bend [mm]
    note : free text

    Raises
    ------
    ValueError : where a number that is given is not positive (a straight may be 0)

    Examples
    --------
    >>> Bender("small", die_radius_mm=15.0).dial_max_deg is None
    True
    """

    bender: str
    die_radius_mm: float | None = None
    dial_step_deg: float | None = None
    dial_max_deg: float | None = None
    min_leg_mm: float | None = None
    min_between_mm: float | None = None
    min_last_mm: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        for name in ("die_radius_mm", "dial_step_deg", "dial_max_deg"):
            value = getattr(self, name)
            if value is not None and not value > 0:
                raise ValueError(f"Bender {self.bender!r}: {name} is {value}; it must be more than 0, or left blank.")
        for name in ("min_leg_mm", "min_between_mm", "min_last_mm"):
            value = getattr(self, name)
            if value is not None and not value >= 0:
                raise ValueError(f"Bender {self.bender!r}: {name} is {value}; it must be 0 or more, or left blank.")
