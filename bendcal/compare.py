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

#: How far marks and lengths may differ, for all that the offcuts say, while one tube stands in for another [mm].
_LENGTH_LIMIT_MM = 1.5

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
        k = int(np.argmax(np.abs(self.dial.value) / (np.maximum(self.dial.u, 1e-12) if clear else 1.0)))
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
        other = self._other_lengths()
        if other:
            return (
                f"{two} needs other marks or another length than {one}: {other}. "
                f"The marks of one must not be used for the other."
            )
        limit = max(2 * scatter, 1.0)
        lengths = float(np.max(np.abs([self.take_up.interval(0.95), self.gain.interval(0.95)])))
        if wide <= limit and lengths <= _LENGTH_LIMIT_MM:
            return (
                f"No difference that matters shows between {one} and {two}: {span} at {angle:.0f}°, and at no angle "
                f"more than {limit:.1f}° of dial or {_LENGTH_LIMIT_MM:g} mm of mark or length (95 %). One may stand in for the other."
            )
        return (
            f"The offcuts cannot tell {one} and {two} apart yet: {span} at {angle:.0f}°. "
            f"Bend more offcuts of both before one stands in for the other."
        )

    def _other_lengths(self) -> str:
        """The take-up or the gain that differs clearly and by more than marking scatters, in words, or nothing."""
        for what, diff in (("mark to apex", self.take_up), ("gain", self.gain)):
            low, high = diff.interval(0.95)
            shows = np.where(((low > 0) | (high < 0)) & (np.abs(diff.value) > 0.5), np.abs(diff.value), 0.0)
            k = int(np.argmax(shows))
            if shows[k]:
                return f"{what} {diff.value[k]:+.1f} mm (95 %: {low[k]:+.1f} to {high[k]:+.1f}) at {self.angle_deg[k]:.0f}°"
        return ""

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
    ValueError : where an angle cannot be bent, or none is given
    """
    angle = np.atleast_1d(np.asarray(angle_deg, float))
    if not angle.size:
        raise ValueError("angle_deg is empty; give at least one finished angle, such as 90.")
    one, two = cal.law(*first), cal.law(*second)
    between = cal.covariance_between(first, second)
    by_one, by_two = one.sensitivities(angle), two.sensitivities(angle)
    differences = []
    for i, (a, b) in enumerate(zip(_values(one, angle), _values(two, angle), strict=True)):
        # What the two laws share (a bender, a tube) moves both alike and drops out of the difference.
        variance = np.einsum("np,pq,nq->n", by_one[i], one.spread, by_one[i]) + np.einsum("np,pq,nq->n", by_two[i], two.spread, by_two[i])
        variance -= 2 * np.einsum("np,pq,nq->n", by_one[i], between, by_two[i])
        differences.append(Estimate(b.value - a.value, np.sqrt(np.maximum(variance, 0.0)), a.unit, min(one.law_dof, two.law_dof)))
    return Comparison(one, two, angle, *differences)


def _values(law: Law, angle: np.ndarray) -> tuple[Estimate, Estimate, Estimate]:
    return law.dial_for(angle), law.take_up(angle), law.gain(angle)
