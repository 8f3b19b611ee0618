"""A bender's dial may be bowed: how far the finished angle may leave the law's straight line, and where.

A law is a straight line in the dial. A dial that was cast or printed a little wrong makes the
true curve bulge; the fit lets it, by one number for each bender, and keeps the law the
straight line that lies best among the pieces. What is left of the bulge is not corrected
for: it widens what is said of the law, most where no piece was bent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

__all__ = ["BOW_SPAN_DEG", "Bow", "bow_at", "bow_shape"]

#: The part of a dial over which a bow is told: its height is that in the middle over a chord
#: between these settings [deg].
BOW_SPAN_DEG = (15.0, 120.0)

#: Settings that stand for what a person may ask of a dial, together worth as much as one piece.
_ASKED_DEG = np.linspace(*BOW_SPAN_DEG, 22)


@dataclass(frozen=True, eq=False)
class Bow:
    """How far bends of one law may leave its straight line.

    Attributes
    ----------
    shape : (3,) c of g(dial) = c₀ + c₁·x + c₂·x², x from −1 to 1 over :data:`BOW_SPAN_DEG`
    covariance : (6,) of the bow's height with the law's five numbers, then its mean square
        [deg²]: what is known of it and what is not, for neither is corrected for

    Examples
    --------
    >>> bow = Bow((1.0, 0.0, -1.0), (0, 0, 0, 0, 0, 0.25))
    >>> bow.at([15.0, 67.5, 120.0]).tolist()
    [0.0, 1.0, 0.0]
    """

    shape: tuple[float, float, float]
    covariance: tuple[float, float, float, float, float, float]

    def __post_init__(self) -> None:
        if len(self.shape) != 3 or len(self.covariance) != 6:
            raise ValueError("A bow has three numbers of its shape and six of its covariance.")

    def at(self, dial_deg: ArrayLike) -> np.ndarray:
        """g, the share of the bow's height by which the curve leaves the line at `dial_deg` [deg]."""
        return bow_at(self.shape, dial_deg)


def bow_shape(dial_deg: ArrayLike) -> tuple[float, float, float]:
    """The shape of a bow of height 1, less the straight line that fits it best where pieces were bent.

    Parameters
    ----------
    dial_deg : (n,) dial settings of a bender's pieces [deg]; none is enough

    Returns
    -------
    c₀, c₁, c₂ as in :class:`Bow`

    Examples
    --------
    >>> " ".join(f"{c:z.3f}" for c in bow_shape([]))  # 1 − x² less its mean over the span
    '0.365 0.000 -1.000'
    """
    x = np.concatenate([_along(dial_deg).ravel(), _along(_ASKED_DEG)])
    weight = np.sqrt(np.concatenate([np.ones(x.size - _ASKED_DEG.size), np.full(_ASKED_DEG.size, 1 / _ASKED_DEG.size)]))
    line = np.linalg.lstsq(weight[:, None] * np.stack([np.ones_like(x), x], axis=1), weight * -(x**2), rcond=None)[0]
    return -float(line[0]) + 0.0, -float(line[1]) + 0.0, -1.0


def _along(dial_deg: ArrayLike) -> np.ndarray:
    low, high = BOW_SPAN_DEG
    return (np.asarray(dial_deg, float) - (low + high) / 2) / ((high - low) / 2)


def bow_at(shape: ArrayLike, dial_deg: ArrayLike) -> np.ndarray:
    """g at `dial_deg` [deg] for one shape (3,), or each for its own (n, 3)."""
    x = _along(dial_deg)
    c = np.asarray(shape, float)
    return c[..., 0] + c[..., 1] * x + c[..., 2] * x**2
