"""Scales that are not known (how far settings scatter, how far tubes differ): averaged over.

Plugging in the best value of a scale makes every interval too short. Here the answer is
computed at a handful of settings of all scales, placed where their posterior lies, and
averaged with the posterior's weights.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np

from bendcal.waiting import tick

__all__ = ["Averaged", "average_over"]


@dataclass(frozen=True, eq=False)
class Averaged:
    """Where the scales were tried, and how much each setting counts.

    Attributes
    ----------
    points : (S, D) settings, in units of the prior's standard deviations about its mean
    weight : (S,) posterior weights, sum 1
    mode : (D,) the most probable setting
    log_evidence : log probability of the readings, the scales averaged over
    """

    points: np.ndarray
    weight: np.ndarray
    mode: np.ndarray
    log_evidence: float


def average_over(
    log_likelihood: Callable[[np.ndarray], np.ndarray], dimensions: int, *, start: np.ndarray | None = None,
    nodes: int = 3, max_rounds: int = 8,
) -> Averaged:
    """Place settings about the mode of the scales' posterior and weigh them.

    Parameters
    ----------
    log_likelihood : (S, D) settings → (S,) log probability of the readings; each scale is
        written so that its prior is normal with mean 0 and standard deviation 1
    dimensions : D
    start : (D,) where to begin the search; None for the prior's mean
    nodes : settings along each axis, by Gauss–Hermite's rule (Golub & Welsch 1969)
    max_rounds : rounds of the search at most

    Returns
    -------
    Averaged

    Examples
    --------
    >>> found = average_over(lambda x: -0.5 * ((x[:, 0] - 1.0) / 0.5) ** 2, 1)
    >>> round(float(found.weight @ found.points[:, 0]), 6)  # (1/0.25)/(1 + 1/0.25)
    0.8
    """
    def target(points: np.ndarray) -> np.ndarray:
        return log_likelihood(points) - 0.5 * (points**2).sum(axis=1)

    mode = np.zeros(dimensions) if start is None else np.array(start, float)
    span = np.full(dimensions, 0.8)
    for turn in range(max_rounds):
        tick("Learning from the offcuts", turn, max_rounds)
        slope, curve = _quadratic(target, mode, span)
        values, vectors = np.linalg.eigh(curve)
        # Never flatter than half the prior: far from the mode the readings can bend the wrong way.
        values = np.minimum(values, -0.5)
        step = -vectors @ ((vectors.T @ slope) / values)
        mode = mode + step * min(1.0, 2.0 / max(float(np.linalg.norm(step)), 1e-12))
        # A curvature taken over a far wider span than the posterior's own says little of it: look again, closer.
        wide, span = span, np.clip(1.0 / np.sqrt(-np.diag(vectors @ np.diag(values) @ vectors.T)), 0.02, 1.0)
        if float(np.linalg.norm((vectors.T @ step) * np.sqrt(-values))) < 0.4 and np.all(wide < 2.0 * span):
            break
    roots, root_weights = np.polynomial.hermite_e.hermegauss(nodes)
    unit = np.array(list(product(roots, repeat=dimensions)))
    log_rule = np.log(np.array(list(product(root_weights, repeat=dimensions)))).sum(axis=1)
    points = mode + (unit / np.sqrt(-values)) @ vectors.T
    log_weight = target(points) + log_rule + 0.5 * (unit**2).sum(axis=1)
    top = float(log_weight.max())
    weight = np.exp(log_weight - top)
    # ∫ over the scales, of a prior that is normal with density (2π)^(−D/2)
    log_evidence = top + float(np.log(weight.sum())) - 0.5 * float(np.log(-values).sum()) - 0.5 * dimensions * np.log(2 * np.pi)
    return Averaged(points, weight / weight.sum(), mode, log_evidence)


def _quadratic(target, centre: np.ndarray, span: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Slope (D,) and curvature (D, D) of `target` about `centre`, from one batch of settings."""
    d = len(centre)
    ways = np.diag(span)
    pairs = [(i, j) for i in range(d) for j in range(i)]
    corners = [ways[i] * a + ways[j] * b for i, j in pairs for a, b in ((1, 1), (1, -1), (-1, 1), (-1, -1))]
    value = target(centre + np.concatenate([np.zeros((1, d)), ways, -ways, np.reshape(corners, (-1, d))]))
    up, down = value[1 : 1 + d], value[1 + d : 1 + 2 * d]
    slope = (up - down) / (2 * span)
    curve = np.diag((up + down - 2 * value[0]) / span**2)
    for at, (i, j) in enumerate(pairs):
        a, b, c, e = value[1 + 2 * d + 4 * at :][:4]
        curve[i, j] = curve[j, i] = (a - b - c + e) / (4 * span[i] * span[j])
    return slope, curve
