"""An offcut: one scrap piece, one bend, measured."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CROSSINGS", "Offcut"]

CROSSINGS = ("centre", "outside", "inside")


@dataclass(frozen=True)
class Offcut:
    """What was set, marked and read on one bent scrap piece. Never altered once written.

    Parameters
    ----------
    offcut, bender, tube : names
    length_mm : the straight length before bending [mm]
    mark_mm : the mark's distance from end A [mm]
    dial_deg : the dial at the end of the stroke, tube still loaded [deg]
    angle_deg : the angle read after release [deg]
    leg_a_mm, leg_b_mm : each end to the crossing of the two legs [mm], or None if not measured
    legs_to : which crossing that is: of the ``centre`` lines, the ``outside`` or the ``inside`` edges
    smallest_mm, largest_mm : diameters in the middle of the bend, in its plane and across it [mm], or None if not measured
    date, angle_tool, length_tool, note : free text and names of tools
    set_aside : the reason why this piece does not count, or blank
    row : its row in the file, as a spreadsheet shows it; None if it has none

    Raises
    ------
    ValueError : where `legs_to` is none of the three crossings

    Examples
    --------
    >>> Offcut("1", "small", "brake 3/16", 200, 90, 92, 90, leg_a_mm=101.2).has_legs
    False
    """

    offcut: str
    bender: str
    tube: str
    length_mm: float
    mark_mm: float
    dial_deg: float
    angle_deg: float
    leg_a_mm: float | None = None
    leg_b_mm: float | None = None
    legs_to: str = "centre"
    date: str = ""
    angle_tool: str = ""
    length_tool: str = ""
    set_aside: str = ""
    note: str = ""
    smallest_mm: float | None = None
    largest_mm: float | None = None
    row: int | None = None

    def __post_init__(self) -> None:
        if self.legs_to not in CROSSINGS:
            raise ValueError(
                f"Offcut {self.offcut!r}: legs_to is {self.legs_to!r}; it must be one of {', '.join(CROSSINGS)}."
            )

    @property
    def has_legs(self) -> bool:
        """Whether both legs were measured."""
        return self.leg_a_mm is not None and self.leg_b_mm is not None

    @property
    def counts(self) -> bool:
        """Whether the piece takes part in a fit: it was not set aside."""
        return not self.set_aside
