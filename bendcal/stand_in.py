"""Stand-ins: what a line would turn into if it were marked by one law and bent by another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bendcal.law import Law
from bendcal.marks import MarkSheet
from bendcal.path import nodes_from_legs, pose_like

__all__ = ["StandIn", "stand_in"]


@dataclass(frozen=True, eq=False)
class StandIn:
    """What comes of bending a sheet's marks with another tube or bender than it was made for.

    Attributes
    ----------
    sheet : the marks
    law : what would really bend them
    angle_off_deg : (n,) finished angle − wanted angle of each bend [deg]
    end_off_mm : how far end B lands from its seat when end A sits in its own
    node_off_mm : the worst miss of any apex or end when the whole line is laid on as well as it goes
    """

    sheet: MarkSheet
    law: Law
    angle_off_deg: np.ndarray
    end_off_mm: float
    node_off_mm: float

    @property
    def sentence(self) -> str:
        """The miss in plain words."""
        made, bent = self.sheet.law, self.law
        if (made.bender, made.tube) == (bent.bender, bent.tube):
            return f"Line {self.sheet.line.line} is marked for {bent.tube} on {bent.bender}: nothing changes."
        return (
            f"Line {self.sheet.line.line}, marked for {made.tube} on {made.bender} but bent in {bent.tube} on {bent.bender}, "
            f"would miss the fitting at end B by {self.end_off_mm:.0f} mm, and its bends would be off by up to "
            f"{float(np.max(np.abs(self.angle_off_deg), initial=0.0)):.1f}°."
        )

    def __str__(self) -> str:
        return self.sentence

    __repr__ = __str__


def stand_in(sheet: MarkSheet, law: Law) -> StandIn:
    """Bend a sheet's marks by another law and see where the line goes.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` made
    law : the law of the tube or bender that would be used instead

    Returns
    -------
    StandIn

    Raises
    ------
    ValueError : where the other law makes bends overlap
    """
    wanted, bent = sheet.legs, sheet.as_bent(law)
    nodes, seats = nodes_from_legs(bent), nodes_from_legs(wanted)
    laid = pose_like(nodes, seats)
    return StandIn(
        sheet, law, bent.angle_deg - wanted.angle_deg, float(np.linalg.norm(nodes[-1] - seats[-1])),
        float(np.linalg.norm(laid - seats, axis=1).max()),
    )  # fmt: skip
