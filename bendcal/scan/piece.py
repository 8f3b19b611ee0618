"""One piece on a scan: what was read from it, or why nothing was."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from bendcal.estimate import Estimate
from bendcal.scan.tube_model import Shape

__all__ = ["SIDES", "ScanReading"]

SIDES = ("left", "right", "top", "bottom")


@dataclass(frozen=True, eq=False)
class ScanReading:
    """What one piece on a scan shows.

    Attributes
    ----------
    number : its number on the scan, from the left
    refused : sentences that say why nothing is read from it; empty where it was read
    angle, radius : the finished angle [deg] and the arc's centreline radius [mm], or None
    leg_a, leg_b : each end to the apex of the centrelines [mm], or None
    mark : end A to the pen mark [mm], or None where none (or more than one) shows
    covariance : (4, 4) of angle, radius, leg A, leg B, or None
    end_a : which end was taken as A (``left``, ``right``, ``top``, ``bottom``), or "" if nothing tells
    notes : what else a person should know
    box_mm : (left, top, right, bottom) on the scan [mm]
    """

    number: int
    box_mm: tuple[float, float, float, float]
    refused: tuple[str, ...] = ()
    angle: Estimate | None = None
    radius: Estimate | None = None
    leg_a: Estimate | None = None
    leg_b: Estimate | None = None
    mark: Estimate | None = None
    covariance: np.ndarray | None = None
    end_a: str = ""
    notes: tuple[str, ...] = ()
    shape: Shape | None = field(default=None, repr=False)
    ends_mm: np.ndarray | None = field(default=None, repr=False)
    edges_mm: np.ndarray | None = field(default=None, repr=False)

    def as_offcut(self, *, length_tool: str = "", angle_tool: str = "", **columns) -> dict:
        """What :func:`bendcal.append_offcut` is told: angle and legs from the scan, the rest from you.

        The scan's own numbers are rounded to 0.01. Name an `angle_tool` whose row in tools.csv has step 0 and
        the sd that :attr:`angle` tells; the length tool's row also speaks for the straight length and the mark,
        which the scan did not measure, so leave it the rule's unless it is as good.

        Parameters
        ----------
        length_tool, angle_tool : names in tools.csv
        columns : bender, tube, length_mm, dial_deg, and mark_mm unless the mark shows; others as there

        Raises
        ------
        ValueError : where the piece was refused, or nothing tells which end is A

        Examples
        --------
        >>> read = ScanReading(1, (0, 0, 9, 9), angle=Estimate(90.004, 0.1), radius=Estimate(15, 0.1),
        ...                    leg_a=Estimate(60.1, 0.1), leg_b=Estimate(50, 0.1), end_a="left")
        >>> read.as_offcut(bender="small", tube="thin", length_mm=102, mark_mm=44, dial_deg=92)["angle_deg"]
        90.0
        """
        if self.refused:
            raise ValueError(f"Piece {self.number} was not read: {' '.join(self.refused)}")
        if not self.end_a:
            raise ValueError(
                f"Piece {self.number}: nothing tells which end is A. Read the scan again with end_a='left', 'right', 'top' or 'bottom'."
            )
        told = {
            "angle_deg": round(float(self.angle.value), 2), "leg_a_mm": round(float(self.leg_a.value), 2),
            "leg_b_mm": round(float(self.leg_b.value), 2), "legs_to": "centre", "angle_tool": angle_tool, "length_tool": length_tool,
        }  # fmt: skip
        if self.mark is not None:
            told["mark_mm"] = round(float(self.mark.value), 2)
        return told | columns

    def __str__(self) -> str:
        if self.refused:
            return f"Piece {self.number}: not read. {' '.join(self.refused)}"
        which = f"end A {self.end_a}" if self.end_a else "which end is A is not known; leg A is the first of left and top"
        parts = [f"angle {self.angle}", f"radius {self.radius}", f"leg A {self.leg_a}", f"leg B {self.leg_b}"]
        if self.mark is not None:
            parts.append(f"mark {self.mark} from end A")
        return f"Piece {self.number} ({which}): {'; '.join(parts)}.{''.join(' ' + n for n in self.notes)}"
