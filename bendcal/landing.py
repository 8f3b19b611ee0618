"""Landing: where the free end of a line will fall, what makes it uncertain, and when to check."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from bendcal.margin import TWIST_SD_DEG, end_sensitivities, shape_shifts
from bendcal.marks import MarkSheet
from bendcal.path import nodes_from_legs, pose_of, reverse_legs

__all__ = ["Landing", "landing_of"]

#: Semi-axes of the ellipsoid that holds 95 %: √χ²(3, 0.95) standard deviations.
_REACH_95 = 2.7955

#: A bend whose share of the end's variance is above this is worth a check of its own.
_WORTH_A_CHECK = 0.3


@dataclass(frozen=True, eq=False)
class Landing:
    """Where the trimmed end of a line falls when its other end sits in its fitting.

    Attributes
    ----------
    sheet : the marks
    end : ``"A"`` or ``"B"``, the end that is left free
    place_mm : (3,) its seat, in the frame of the line's nodes
    covariance_mm2 : (3, 3) of the end about its seat, same frame
    shares : DataFrame, one row a cause: bend (0 for what all bends share), cause (``law``,
        ``pattern``: both shared; ``angle``, ``mark``, ``twist``), share of the end's variance, from 0 to 1
    """

    sheet: MarkSheet
    end: str
    place_mm: np.ndarray
    covariance_mm2: np.ndarray
    shares: pd.DataFrame

    @cached_property
    def axes_mm(self) -> tuple[np.ndarray, np.ndarray]:
        """Semi-axes (3,) of the ellipsoid that holds the end with 95 %, longest first, and their directions (3, 3)."""
        values, vectors = np.linalg.eigh(self.covariance_mm2)
        return _REACH_95 * np.sqrt(np.maximum(values[::-1], 0.0)), vectors[:, ::-1].T

    @property
    def u_mm(self) -> float:
        """Root mean square distance of the end from its seat [mm]."""
        return float(np.sqrt(np.trace(self.covariance_mm2)))

    @property
    def worst(self) -> pd.Series | None:
        """The single cause with the largest share, the law apart; None where there is none."""
        own = self.shares[self.shares["bend"] > 0]
        return None if own.empty or own["share"].max() <= 0 else own.loc[own["share"].idxmax()]

    @property
    def sentence(self) -> str:
        """Where the end falls, what moves it most, and what to check."""
        if self.sheet.legs.bends == 0:
            return f"End {self.end} lies in line with the other end: there is no bend to go wrong."
        said = (
            f"With the other end in its fitting, end {self.end} will fall within "
            f"{self.axes_mm[0][0]:.0f} mm of its seat (95 %)."
        )
        worst = self.worst
        law, pattern = (float(self.shares.loc[self.shares["cause"] == cause, "share"].sum()) for cause in ("law", "pattern"))
        if worst is not None and worst["share"] >= max(_WORTH_A_CHECK, law, pattern):
            check = {
                "angle": "check it with the gauge before going on",
                "mark": "draw that mark with a sharp point and line it up with care",
                "twist": "turn the tube to it with care, and check it before the next bend",
            }[worst["cause"]]
            said += f" Bend {int(worst['bend'])}'s {worst['cause']} makes {100 * worst['share']:.0f} % of it: {check}."
        elif pattern > 0.5:
            said += f" {100 * pattern:.0f} % of it comes from the pattern that the shape was measured by: measure more of it, or better."
        elif law > 0.5:
            said += f" {100 * law:.0f} % of it comes from what the offcuts have not settled: more offcuts would help."
        elif worst is not None:
            said += (
                f" No single bend stands out; the largest part, {100 * worst['share']:.0f} %, "
                f"is the {worst['cause']} of bend {int(worst['bend'])}."
            )
        return said

    def __str__(self) -> str:
        return self.sentence

    __repr__ = __str__


def landing_of(sheet: MarkSheet, *, end: str | None = None, twist_sd_deg: float = TWIST_SD_DEG) -> Landing:
    """Where one end will fall, the other end held in its fitting.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` made
    end : ``"A"`` or ``"B"``, the end that is left free; None for the one that is trimmed
    twist_sd_deg : standard deviation of each twist but the first [deg]

    Returns
    -------
    Landing

    Source: JCGM 100:2008, 5.2 and E.3: linear propagation; held against Monte Carlo in the tests.
    """
    law, legs, n, end = sheet.law, sheet.legs, sheet.legs.bends, end or sheet.line.trim_at
    by, by_twist = end_sensitivities(legs, law, sheet.dial_deg, sheet.feed, free_end=end)
    seen = reverse_legs(legs) if end == "A" else legs
    given = sheet.line.corner_nodes_mm[::-1] if end == "A" else sheet.line.corner_nodes_mm
    turn = _frame_of(given)
    by, by_twist = turn @ by, turn @ by_twist
    parts = {("law", 0): by[:, :6] @ law.spread @ by[:, :6].T}
    if sheet.line.shape_covariance is not None:
        by_shape = turn @ shape_shifts(legs, free_end=end)
        parts["pattern", 0] = by_shape @ sheet.line.shape_covariance @ by_shape.T
    for k in range(n):
        parts["angle", k + 1] = law.scatter_deg**2 * np.outer(by[:, 6 + k], by[:, 6 + k])
        parts["mark", k + 1] = law.marking_mm**2 * np.outer(by[:, 6 + n + k], by[:, 6 + n + k])
        parts["twist", k + 1] = twist_sd_deg**2 * np.outer(by_twist[:, k], by_twist[:, k])
    covariance = sum(parts.values())
    total = float(np.trace(covariance)) or 1.0
    shares = pd.DataFrame(
        [(bend, cause, float(np.trace(part)) / total) for (cause, bend), part in parts.items()],
        columns=["bend", "cause", "share"],
    )
    along = turn @ _last_leg(seen)
    return Landing(sheet, end, np.asarray(given[-1]), covariance + _ends_mm2(sheet) * np.outer(along, along), shares)


def _ends_mm2(sheet: MarkSheet) -> float:
    """Variance along the free end's leg of what the two ends use up [mm²]."""
    return sheet.end_a.uses_sd_mm**2 + sheet.end_b.uses_sd_mm**2


def _frame_of(nodes_mm: np.ndarray) -> np.ndarray:
    """(3, 3) that turns the standard frame into the frame in which `nodes_mm` are given."""
    pose = pose_of(nodes_mm)
    along = pose["direction"] / np.linalg.norm(pose["direction"])
    normal = pose["normal"] - (pose["normal"] @ along) * along
    normal = normal / np.linalg.norm(normal)
    return np.stack([along, np.cross(normal, along), normal], axis=1)


def _last_leg(legs) -> np.ndarray:
    nodes = nodes_from_legs(legs)
    return (nodes[-1] - nodes[-2]) / np.linalg.norm(nodes[-1] - nodes[-2])
