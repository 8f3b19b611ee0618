"""More measurements than are needed, adjusted together; and the search for the one that is wrong.

Every measurement is held to its own standard uncertainty, all are moved as little as that allows
until they agree, and what each had to move by is tested: as surveyors adjust a traverse. Which
unknowns nothing was measured of comes out as well, as directions in which the answer may slide.

Sources: W. Baarda, A testing procedure for use in geodetic networks (1968), and A. J. Pope, The
statistics of residuals and the detection of outliers (1976): both memory; C. D. Ghilani, Adjustment
Computations, chapter 21, whose example the tests hold this module against (secondary, by way of
F. Krumm, Geodetic Network Adjustment Examples, 2020).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

__all__ = ["BAARDA_ALPHA", "Adjustment", "Removal", "adjust", "baarda_critical", "tau_critical", "vpv_critical"]

Array = NDArray[np.float64]
Model = Callable[[Array], tuple[Array, Array]]

#: Chance that a sound measurement is suspected, for each single test (Baarda's usual choice).
BAARDA_ALPHA = 0.001
#: A direction held this much less firmly than the firmest is not held at all: rounding.
_RANK = 1e-9
#: Where steps go on for ever in a flat valley, this part of an sd is near enough.
_NEAR_ENOUGH = 1e-3
#: A measurement whose redundancy number is below this is checked by nothing.
_UNCHECKED = 1e-6


@dataclass(frozen=True, eq=False)
class Removal:
    """What would become of an adjustment without some of its measurements, to first order.

    error (k,) is what is wrong with them by all the others, measured − true [their units], and
    covariance (k, k) that of it; both hold for the `rank` combinations of them that the others
    check. vpv_drop is how much smaller v'Pv gets.
    """

    error: Array
    covariance: Array
    vpv_drop: float
    rank: int


@dataclass(frozen=True, eq=False)
class Adjustment:
    """Adjusted unknowns, and what each of the m measurements had to move by.

    Attributes
    ----------
    x : (p,) adjusted unknowns
    v : (m,) residuals, adjusted − measured [unit of each]
    sd : (m,) standard uncertainties as given
    covariance : (p, p) of the unknowns for the sds as given; where nothing holds them, of the
        smallest change that the measurements do see
    slack : (p, d) directions in the unknowns that no measurement sees, of unit length
    settled : whether the steps came to rest, to a thousandth of an sd at least
    steps : how many it took
    span : (m, rank) orthonormal: which measurements, each divided by its sd, the unknowns can follow
    """

    x: Array
    v: Array
    sd: Array
    covariance: Array
    slack: Array
    settled: bool
    steps: int
    span: Array

    @property
    def dof(self) -> int:
        """Measurements beyond those needed."""
        return len(self.v) - self.span.shape[1]

    @property
    def vpv(self) -> float:
        """Sum of the squared residuals, each in units of its sd."""
        return float(np.sum((self.v / self.sd) ** 2))

    @property
    def s0(self) -> float:
        """How many times larger the residuals are than the sds lead to expect; nan without checks."""
        return float(np.sqrt(self.vpv / self.dof)) if self.dof > 0 else float("nan")

    @cached_property
    def redundancy(self) -> Array:
        """(m,) how much of an error in each measurement shows in its own residual, 0 to 1; they sum to dof."""
        return np.clip(1.0 - np.einsum("ij,ij->i", self.span, self.span), 0.0, 1.0)

    @property
    def checked(self) -> NDArray[np.bool_]:
        """(m,) whether the other measurements say anything about this one."""
        return self.redundancy > _UNCHECKED

    @cached_property
    def w(self) -> Array:
        """(m,) Baarda's test: −v/(sd·√r), normal with sd 1 if all is well; nan where nothing checks it."""
        return self._where_checked(-self.v / self.sd, np.sqrt(self.redundancy))

    @property
    def tau(self) -> Array:
        """(m,) Pope's test, w/s0: for sds that are right only in proportion to one another."""
        return self.w / self.s0

    @property
    def gross_error(self) -> Array:
        """(m,) measured − true of each, by all the others [unit of each]: −v/r."""
        return self._where_checked(-self.v, self.redundancy)

    def detectable(self, *, alpha: float = BAARDA_ALPHA, power: float = 0.8) -> Array:
        """(m,) the error in one measurement that Baarda's test finds with this power; inf where unchecked.

        Parameters
        ----------
        alpha : chance that a sound measurement is suspected
        power : chance that an error of this size is found
        """
        shift = baarda_critical(alpha) + special.ndtri(power)
        return np.nan_to_num(self._where_checked(self.sd * shift, np.sqrt(self.redundancy)), nan=np.inf)

    def removal(self, rows: Sequence[int]) -> Removal:
        """What the other measurements say of some of them together.

        Parameters
        ----------
        rows : their places, from 0
        """
        rows = np.asarray(rows, dtype=int)
        part = np.eye(len(rows)) - self.span[rows] @ self.span[rows].T
        if len(rows) == 1:  # by far the most frequent, and done without a matrix
            values, vectors = part[0], np.eye(1)
        else:
            values, vectors = np.linalg.eigh(part)
        seen = values > _UNCHECKED
        inverse = (vectors[:, seen] / values[seen]) @ vectors[:, seen].T
        off, sd = self.v[rows] / self.sd[rows], self.sd[rows]
        return Removal(-sd * (inverse @ off), inverse * np.outer(sd, sd), float(off @ inverse @ off), int(seen.sum()))

    def _where_checked(self, over: Array, under: Array) -> Array:
        return np.divide(over, under, out=np.full(len(over), np.nan), where=self.checked)


def adjust(
    model: Model, start: ArrayLike, sd: ArrayLike, *, max_steps: int = 100, tolerance: float = 1e-7
) -> Adjustment:
    """Weighted least squares by Gauss and Newton, shortened steps where a full one makes it worse.

    Parameters
    ----------
    model : takes the unknowns (p,), returns what each measurement would be less what it is,
        (m,), and its derivatives (m, p). Angles that wrap are brought into range there.
    start : (p,) values to begin with
    sd : (m,) standard uncertainties, more than 0
    max_steps : after which it gives up, with ``settled`` False
    tolerance : at rest when the part of the residuals that a further step could remove is this
        small, in units of their sds

    Returns
    -------
    Adjustment

    Raises
    ------
    ValueError : an sd that is not more than 0, or a model without a value at the start

    Singular values are used throughout, never normal equations, which lose half the digits.

    Examples
    --------
    >>> rod = adjust(lambda x: (x - [100.2, 100.6], [[1.0], [1.0]]), [0.0], [0.1, 0.3])
    >>> rod.x.round(3).tolist(), rod.dof, rod.redundancy.round(2).tolist()
    ([100.24], 1, [0.1, 0.9])
    """
    x, sd = np.array(start, dtype=float), np.asarray(sd, dtype=float)
    if not np.all(sd > 0) or not np.all(np.isfinite(sd)):
        raise ValueError("every measurement needs a standard uncertainty of more than 0")
    off, slope, cost = _weighted(model, x, sd)
    if not np.isfinite(cost):
        raise ValueError("the measurements have no value at the start: begin elsewhere")
    damping, steps = 0.0, 0
    left, size, right = _svd(slope)
    while True:
        firm = size > _RANK * max(size[0], 1e-300) if len(size) else np.zeros(0, bool)
        pull = left[:, firm].T @ off
        rest = float(np.sqrt(pull @ pull)) / (1.0 + np.sqrt(cost))
        if rest <= tolerance or steps == max_steps:
            break
        steps += 1
        step = right[firm].T @ (size[firm] / (size[firm] ** 2 + damping) * pull)
        tried = _weighted(model, x - step, sd)
        if tried[2] < cost:
            x = x - step
            off, slope, cost = tried
            left, size, right = _svd(slope)
            damping = damping / 10 if damping > 1e-8 * size[0] ** 2 else 0.0
        elif np.sqrt(step @ step) <= 1e-13 * (1.0 + np.sqrt(x @ x)):
            rest = 0.0  # no float lies between here and the bottom
            break
        else:
            damping = max(10 * damping, 1e-4 * size[0] ** 2)
    held = right[: len(size)][firm]
    spread = held.T / size[firm]
    full = np.linalg.svd(held, full_matrices=True)[2] if len(held) else np.eye(len(x))
    return Adjustment(x, off * sd, sd, spread @ spread.T, full[len(held) :].T, rest <= _NEAR_ENOUGH, steps, left[:, firm])


@cache
def baarda_critical(alpha: float = BAARDA_ALPHA) -> float:
    """Size of w beyond which a measurement is suspected, with chance `alpha` for a sound one.

    >>> round(baarda_critical(0.001), 4)
    3.2905
    """
    return float(special.ndtri(1.0 - alpha / 2.0))


def tau_critical(dof: int, measurements: int, *, alpha: float = 0.05) -> float:
    """Size of tau beyond which a measurement is suspected, with chance `alpha` that any sound one is.

    Parameters
    ----------
    dof : measurements beyond those needed, at least 1; with 1 every tau is 1 and the test is mute
    measurements : how many are tested

    Source: √f·t/√(f − 1 + t²), t Student's with f − 1 degrees of freedom.

    >>> round(tau_critical(10, 14), 4)
    2.5049
    """
    if dof < 1:
        raise ValueError(f"{dof} checks: a residual can be tested where something is measured twice")
    if dof == 1:
        return 1.0
    each = 1.0 - (1.0 - alpha) ** (1.0 / measurements)
    t = special.stdtrit(dof - 1, 1.0 - each / 2.0)
    return float(np.sqrt(dof) * t / np.sqrt(dof - 1 + t**2))


@cache
def vpv_critical(dof: int, *, alpha: float = 0.05) -> float:
    """Size of v'Pv beyond which all measurements together scatter more than their sds allow.

    >>> round(vpv_critical(10), 3)
    18.307
    """
    return float(special.chdtri(dof, alpha)) if dof > 0 else float("inf")


def _weighted(model: Model, x: Array, sd: Array) -> tuple[Array, Array, float]:
    """Misses and derivatives in units of the sds, and the sum of the squared misses."""
    off, slope = model(x)
    off, slope = np.asarray(off, float) / sd, np.asarray(slope, float) / sd[:, None]
    cost = float(off @ off)
    return off, slope, cost if np.isfinite(cost) and np.isfinite(slope).all() else np.inf


def _svd(slope: Array) -> tuple[Array, Array, Array]:
    return np.linalg.svd(slope, full_matrices=False)
