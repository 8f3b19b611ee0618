"""Two laws side by side: what changes when one tube, or one bender, stands in for the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from bendcal.calibration import Calibration
from bendcal.estimate import Estimate
from bendcal.law import Law

__all__ = ["Comparison", "compare"]

#: Angles at which two laws are held side by side unless others are asked for [deg].
_ANGLES_DEG = (30.0, 45.0, 60.0, 90.0, 120.0)

_QUANTITIES = ("dial_deg", "take_up_mm", "gain_mm")


@dataclass(frozen=True, eq=False)
class Comparison:
    """Second law − first law at a set of finished angles.

    Attributes
    ----------
    first, second : the two laws
    angle_deg : (n,) finished angles [deg]
    dial, take_up, gain : Estimates (n,) of the differences [deg, mm, mm]
    """

    first: Law
    second: Law
    angle_deg: np.ndarray
    dial: Estimate
    take_up: Estimate
    gain: Estimate

    @property
    def table(self) -> pd.DataFrame:
        """One row an angle: both laws' values, their difference and its 95 % interval.

        Columns ``angle_deg``, then for each of ``dial_deg``, ``take_up_mm``, ``gain_mm``:
        the plain name with ``_1``, ``_2``, ``_diff``, ``_low``, ``_high``.
        """
        columns = {"angle_deg": self.angle_deg}
        ones, twos = _values(self.first, self.angle_deg), _values(self.second, self.angle_deg)
        for name, one, two, diff in zip(_QUANTITIES, ones, twos, (self.dial, self.take_up, self.gain), strict=True):
            low, high = diff.interval(0.95)
            columns |= {
                f"{name}_1": one.value, f"{name}_2": two.value, f"{name}_diff": diff.value,
                f"{name}_low": low, f"{name}_high": high,
            }
        return pd.DataFrame(columns)

    @property
    def sentence(self) -> str:
        """Whether the one may stand in for the other, in plain words, at the angle where it matters most."""
        low, high = self.dial.interval(0.95)
        clear = bool(np.any((low > 0) | (high < 0)))
        # Where it shows most plainly if it shows at all, else where it is largest.
        k = int(np.argmax(np.abs(self.dial.value) / np.where(clear, self.dial.u, 1.0)))
        angle, diff = self.angle_deg[k], float(self.dial.value[k])
        one, two = self._names()
        scatter = np.hypot(self.first.scatter_deg, self.second.scatter_deg) / np.sqrt(2)
        wide = float(np.max(np.abs(np.stack([low, high]))))
        span = f"{diff:+.1f}° (95 %: {low[k]:+.1f} to {high[k]:+.1f})"
        if clear:
            return (
                f"{two} needs another dial setting than {one}: {span} at {angle:.0f}°. "
                f"The settings of one must not be used for the other."
            )
        if wide <= max(2 * scatter, 1.0):
            return (
                f"No difference shows between {one} and {two}: {span} at {angle:.0f}°, which is within the "
                f"{scatter:.1f}° by which single bends scatter anyway. One may stand in for the other."
            )
        return (
            f"The offcuts cannot tell {one} and {two} apart yet: {span} at {angle:.0f}°. "
            f"Bend more offcuts of both before one stands in for the other."
        )

    def _names(self) -> tuple[str, str]:
        if self.first.bender == self.second.bender:
            return self.first.tube, self.second.tube
        if self.first.tube == self.second.tube:
            return self.first.bender, self.second.bender
        return tuple(f"{law.tube} on {law.bender}" for law in (self.first, self.second))

    def __str__(self) -> str:
        return self.sentence

    __repr__ = __str__


def compare(
    cal: Calibration, first: tuple[str, str], second: tuple[str, str], *, angle_deg: ArrayLike = _ANGLES_DEG
) -> Comparison:
    """Hold two laws side by side.

    Parameters
    ----------
    cal : the calibration that has both laws
    first, second : (bender, tube) names
    angle_deg : finished angles [deg]

    Returns
    -------
    Comparison

    Raises
    ------
    UnknownName : where the calibration lacks one of the laws
    ValueError : where an angle cannot be bent
    """
    angle = np.atleast_1d(np.asarray(angle_deg, float))
    one, two = cal.law(*first), cal.law(*second)
    between = cal.covariance_between(first, second)
    by_one, by_two = one.sensitivities(angle), two.sensitivities(angle)
    c_one, c_two = one.covariance.to_numpy(), two.covariance.to_numpy()
    dof = min(one.dof, two.dof)
    differences = []
    for i, (a, b) in enumerate(zip(_values(one, angle), _values(two, angle), strict=True)):
        # What the two laws share (a bender, a tube) moves both alike and drops out of the difference.
        variance = np.einsum("np,pq,nq->n", by_one[i], c_one, by_one[i]) + np.einsum("np,pq,nq->n", by_two[i], c_two, by_two[i])
        variance -= 2 * np.einsum("np,pq,nq->n", by_one[i], between, by_two[i])
        differences.append(Estimate(b.value - a.value, np.sqrt(np.maximum(variance, 0.0)), a.unit, dof))
    return Comparison(one, two, angle, *differences)


def _values(law: Law, angle: np.ndarray) -> tuple[Estimate, Estimate, Estimate]:
    return law.dial_for(angle), law.take_up(angle), law.gain(angle)
