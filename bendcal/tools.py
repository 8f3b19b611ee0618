"""A measuring tool: how finely it reads and how far its readings scatter."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

__all__ = ["DEFAULT_ANGLE_TOOL", "DEFAULT_LENGTH_TOOL", "Tool"]


@dataclass(frozen=True)
class Tool:
    """A protractor, a rule, a caliper: one instrument and one person reading it.

    Parameters
    ----------
    tool : the name by which the shop calls it
    measures : ``"angle"`` [deg] or ``"length"`` [mm]
    step : the smallest difference that is read off it [deg or mm]
    sd : standard deviation of repeated readings, apart from the step [deg or mm]

    Raises
    ------
    ValueError : where `measures` is neither of the two, or both numbers are not usable

    Examples
    --------
    >>> round(Tool("protractor", "angle", 0.5, 0.5).u, 4)
    0.5204
    """

    tool: str
    measures: str
    step: float
    sd: float

    def __post_init__(self) -> None:
        if self.measures not in ("angle", "length"):
            raise ValueError(f"Tool {self.tool!r} measures {self.measures!r}; it must be 'angle' or 'length'.")
        if not (self.step >= 0 and self.sd >= 0 and self.step + self.sd > 0):
            raise ValueError(
                f"Tool {self.tool!r}: step {self.step} and sd {self.sd}; neither may be negative, and one must be more than 0."
            )

    @property
    def u(self) -> float:
        """Standard uncertainty of one reading: √(sd² + step²/12) (JCGM 100:2008, F.2.2.1)."""
        return hypot(self.sd, self.step / sqrt(12))


DEFAULT_ANGLE_TOOL = Tool("angle tool not named", "angle", 0.5, 0.5)
DEFAULT_LENGTH_TOOL = Tool("length tool not named", "length", 0.5, 0.5)
