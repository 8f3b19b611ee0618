"""A value with its standard uncertainty, and how to round and print the two together."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite

import numpy as np
from scipy import special

__all__ = ["Estimate", "decimals_for"]


@dataclass(frozen=True, eq=False)
class Estimate:
    """A value ± its standard uncertainty (JCGM 100:2008, 2.3.1).

    Parameters
    ----------
    value : float or array of any shape, [unit]
    u : standard uncertainty, same shape as ``value``, [unit]
    unit : the unit in words a person reads, such as ``"mm"`` or ``"°"``
    dof : degrees of freedom behind ``u``, same shape or a single number;
        ``inf`` where ``u`` is known

    Examples
    --------
    >>> print(Estimate(92.431, 0.412, "°"))
    92.4° (95 %: 91.6 to 93.2)
    """

    value: float | np.ndarray
    u: float | np.ndarray
    unit: str = ""
    dof: float | np.ndarray = inf

    def interval(self, level: float = 0.95) -> tuple:
        """The central interval that holds the quantity with probability `level`.

        Student's t with ``dof`` degrees of freedom, scaled so that its standard
        deviation is ``u`` when ``dof`` is above 2 (as a Bayesian summary has it).

        Parameters
        ----------
        level : probability, between 0 and 1

        Returns
        -------
        (low, high), each of the shape of ``value``

        Raises
        ------
        ValueError : where `level` is not between 0 and 1

        Examples
        --------
        >>> low, high = Estimate(0.0, 1.0).interval(0.95)
        >>> round(high, 3)
        1.96
        """
        if not 0 < level < 1:
            raise ValueError(f"The level of an interval is a probability between 0 and 1; {level} is not.")
        half = coverage_factor(level, self.dof) * np.asarray(self.u)
        low, high = self.value - half, self.value + half
        return (low, high) if np.ndim(low) else (float(low), float(high))

    def __getitem__(self, index) -> Estimate:
        """The estimate of one element of an array of estimates."""
        return Estimate(
            np.asarray(self.value)[index], np.asarray(self.u)[index], self.unit,
            self.dof if np.ndim(self.dof) == 0 else np.asarray(self.dof)[index],
        )

    def __len__(self) -> int:
        return len(np.asarray(self.value))

    def __str__(self) -> str:
        if np.ndim(self.value):
            return "\n".join(str(self[i]) for i in range(len(self)))
        low, high = self.interval(0.95)
        digits = decimals_for(self.u)
        space = "" if self.unit in ("°", "") else " "
        return (
            f"{self.value:z.{digits}f}{space}{self.unit} "
            f"(95 %: {low:z.{digits}f} to {high:z.{digits}f})"
        )

    __repr__ = __str__


def coverage_factor(level: float, dof) -> float | np.ndarray:
    """How many standard uncertainties the interval of `level` reaches each way.

    Parameters
    ----------
    level : probability
    dof : degrees of freedom, one or an array; above 2 the t distribution is
        scaled to unit standard deviation, at 2 and below it is left unscaled

    Examples
    --------
    >>> round(float(coverage_factor(0.95, inf)), 4)
    1.96
    """
    dof = np.asarray(dof, float)
    finite = np.isfinite(dof)
    safe = np.where(finite, dof, 1e6)
    scale = np.where(safe > 2, np.sqrt((np.maximum(safe, 2.0 + 1e-9) - 2) / np.maximum(safe, 2.0 + 1e-9)), 1.0)
    t = special.stdtrit(safe, 0.5 + level / 2) * scale
    return np.where(finite, t, special.ndtri(0.5 + level / 2))[()]


def decimals_for(u: float, *, figures: int = 2) -> int:
    """Decimals that show `figures` significant figures of an uncertainty (JCGM 100:2008, 7.2.6).

    Two figures while the leading one is 1 or 2, else one: 0.41 is printed to one
    decimal, 0.16 to two.

    Parameters
    ----------
    u : standard uncertainty, any unit
    figures : most significant figures wanted

    Examples
    --------
    >>> decimals_for(0.16), decimals_for(0.41), decimals_for(12.0)
    (2, 1, 0)
    """
    if not isfinite(u) or u <= 0:
        return figures
    # Read off the printed number: powers of ten run out of floats before floats do.
    leading, exponent = f"{u:.8e}".split("e")
    wanted = figures if leading[0] < "3" else figures - 1
    return max(0, wanted - 1 - int(exponent))
