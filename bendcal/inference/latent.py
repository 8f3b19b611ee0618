"""Least squares when every reading hangs on a true value that nobody saw (errors in variables).

Piece i shows q readings z_i = h(ξ_i, p) + e_i. The true value ξ_i is hidden; it scatters
about μ_i(p) with variance v_i, or may be anything (v_i = ∞). The pieces fall into groups,
each with its own parameters p. Gauss–Newton runs on all p and ξ together; the ξ are
eliminated piece by piece, so the work grows with the number of pieces alone. The covariance
is that of the linearised problem at the adjusted ξ: the convention of York et al. (2004)
and ISO/TS 28037:2010.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

__all__ = ["Linearised", "LatentFit", "solve"]


@dataclass(frozen=True, eq=False)
class Linearised:
    """The model near one point, for N pieces with q readings and P parameters a group.

    Parameters
    ----------
    h : (N, q) the readings that the point predicts
    by_p : (N, q, P) ∂h/∂p at fixed ξ
    by_xi : (N, q) ∂h/∂ξ
    mu : (N,) the hidden value that p predicts
    mu_by_p : (N, P) ∂μ/∂p
    """

    h: np.ndarray
    by_p: np.ndarray
    by_xi: np.ndarray
    mu: np.ndarray
    mu_by_p: np.ndarray


@dataclass(frozen=True, eq=False)
class LatentFit:
    """What the readings say of the parameters and of each hidden value.

    Attributes
    ----------
    p : (G, P) parameters of each group
    covariance : (G, P, P)
    xi : (N,) adjusted hidden values
    chi2 : Σ of squared normalised residuals, the prior's included
    log_evidence : log of the probability of the readings, the parameters integrated out
    steps : Gauss–Newton steps taken
    """

    p: np.ndarray
    covariance: np.ndarray
    xi: np.ndarray
    chi2: float
    log_evidence: float
    steps: int


def solve(
    linearise: Callable[[np.ndarray, np.ndarray], Linearised],
    *,
    readings: np.ndarray,
    precision: np.ndarray,
    log_det: np.ndarray,
    hidden_variance: np.ndarray | float,
    group: np.ndarray,
    start: np.ndarray,
    hidden_start: np.ndarray,
    prior_mean: np.ndarray | None = None,
    prior_precision: np.ndarray | None = None,
    tolerance: float = 1e-12,
    max_steps: int = 60,
) -> LatentFit:
    """Fit all groups at once.

    Parameters
    ----------
    linearise : called with p of each piece (N, P) and ξ (N,); returns :class:`Linearised`
    readings : (N, q), NaN where not read
    precision : (N, q, q) inverse covariance of each piece's readings, zero where not read
    log_det : (N,) log determinant of the covariance of the readings that were taken
    hidden_variance : v, (N,) or one number; ``inf`` for a hidden value that may be anything
    group : (N,) integers from 0 to G−1
    start : (G, P) first parameters
    hidden_start : (N,) first hidden values
    prior_mean, prior_precision : (G, P) and (G, P, P), or None for no prior
    tolerance : a step is the last when it moves no parameter by more than this
        fraction of its standard uncertainty
    max_steps : Gauss–Newton steps at most

    Raises
    ------
    ValueError : where the readings leave a parameter undetermined
    RuntimeError : where it does not settle

    Source: D. York et al., Am. J. Phys. 72 (2004) 367 for the covariance's convention;
    the elimination is the Sherman–Morrison identity.
    """
    groups, n_params = np.shape(start)
    n = len(readings)
    taken = np.isfinite(readings)
    z = np.where(taken, readings, 0.0)
    inverse_v = 1.0 / np.broadcast_to(np.asarray(hidden_variance, float), (n,))
    no_prior = prior_mean is None
    prior_mean = np.zeros((groups, n_params)) if no_prior else prior_mean
    prior_precision = np.zeros((groups, n_params, n_params)) if no_prior else prior_precision
    p, xi = np.array(start, float), np.array(hidden_start, float)

    damping, step = 1.0, np.inf
    for steps in range(1, max_steps + 1):
        near = linearise(p[group], xi)
        slope = near.by_xi * taken
        design = near.by_p * taken[..., None] + slope[..., None] * near.mu_by_p[:, None, :]
        residual = (z - near.h) * taken - slope * (near.mu - xi)[:, None]
        weighted_slope = np.einsum("nij,nj->ni", precision, slope)
        stiffness = inverse_v + np.einsum("ni,ni->n", slope, weighted_slope)
        gain = weighted_slope / stiffness[:, None]
        weight = precision - weighted_slope[:, :, None] * gain[:, None, :]
        weighted_design = np.einsum("nij,njp->nip", weight, design)
        piece_information = np.einsum("nip,niq->npq", design, weighted_design)
        information = prior_precision + _sum_by_group(piece_information, group, groups)
        pull = _sum_by_group(np.einsum("nip,ni->np", weighted_design, residual), group, groups)
        pull = pull - np.einsum("gpq,gq->gp", prior_precision, p - prior_mean)
        covariance = _inverse(information)
        move = np.einsum("gpq,gq->gp", covariance, pull)
        left = residual - np.einsum("nip,np->ni", design, move[group])
        hidden_move = near.mu + np.einsum("np,np->n", near.mu_by_p, move[group])
        hidden_move += np.einsum("ni,ni->n", gain, left) - xi
        p, xi = p + damping * move, xi + damping * hidden_move
        previous, step = step, float(np.max(np.abs(move) / np.sqrt(np.einsum("gpp->gp", covariance))))
        if step <= tolerance:
            break
        # A step that does not shrink circles about the answer: shorten it.
        damping = max(damping / 2, 0.1) if step > 0.9 * previous else min(1.0, damping * 1.5)
    else:
        if step > 1e-6:
            raise RuntimeError(f"The fit did not settle in {max_steps} steps; its last step was {step:.2g} of its uncertainty.")

    prior_off = p - prior_mean
    chi2 = float(
        np.einsum("ni,nij,nj->", left, weight, left)
        + np.einsum("gp,gpq,gq->", prior_off, prior_precision, prior_off)
    )
    finite_v = np.where(inverse_v > 0, inverse_v, 1.0)
    log_det_all = float(np.sum(log_det) + np.sum(np.log(np.where(inverse_v > 0, stiffness / finite_v, stiffness))))
    log_det_all += float(np.sum(np.linalg.slogdet(information)[1]))
    if not no_prior:
        log_det_all -= float(np.sum(np.linalg.slogdet(prior_precision)[1]))
    log_evidence = -0.5 * (chi2 + log_det_all + np.log(2 * np.pi) * float(taken.sum()))
    return LatentFit(p=p, covariance=covariance, xi=xi, chi2=chi2, log_evidence=log_evidence, steps=steps)


def _sum_by_group(values: np.ndarray, group: np.ndarray, groups: int) -> np.ndarray:
    total = np.zeros((groups, *values.shape[1:]))
    np.add.at(total, group, values)
    return total


def _inverse(information: np.ndarray) -> np.ndarray:
    """Inverse by groups, scaled first so that millimetres and slopes weigh alike."""
    scale = np.sqrt(np.einsum("gpp->gp", information))
    if not np.all(scale > 0):
        raise ValueError("The readings say nothing of one of the parameters; take more readings or give a prior.")
    scaled = information / (scale[:, :, None] * scale[:, None, :])
    if np.any(np.linalg.cond(scaled) > 1e14):
        raise ValueError("The readings cannot tell two of the parameters apart; take readings that differ more.")
    return np.linalg.inv(scaled) / (scale[:, :, None] * scale[:, None, :])
