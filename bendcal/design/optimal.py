"""Which reading to take next: optimal design of experiments for a linear Gaussian model.

Parameters have a covariance C. A candidate reading z = J·p + e with Cov(e) = V would turn it
into C − CJᵀ(V + JCJᵀ)⁻¹JC whatever it reads, so candidates can be ranked before any is taken.
Wanted is either a small mean square of what the parameters are for, tr(A·C·Aᵀ) with A the
*aim* (A- and c-optimal, and I-optimal where A holds a grid of predictions), or, without an
aim, a small det C (D-optimal).

Source: V. V. Fedorov, Theory of Optimal Experiments, 1972 (memory of the text); the updates
are the Sherman–Morrison–Woodbury identity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["Greedy", "exchanged", "gains", "greedy_design", "updated"]


@dataclass(frozen=True, eq=False)
class Greedy:
    """Readings picked one after another, each the best at its turn.

    Attributes
    ----------
    picks : (steps,) which candidates
    gain : (steps,) what each lowered: tr(A·C·Aᵀ), or log det C without an aim
    covariance : (P, P) of the parameters after all of them
    """

    picks: np.ndarray
    gain: np.ndarray
    covariance: np.ndarray


def gains(covariance: np.ndarray, design: np.ndarray, noise: np.ndarray, *, aim: np.ndarray | None = None) -> np.ndarray:
    """What each candidate alone would lower.

    Parameters
    ----------
    covariance : (P, P) C of the parameters now
    design : (N, q, P) J of each candidate; a candidate with fewer readings than q has rows of
        zeros (and any variance) for those that it lacks
    noise : (N, q, q) V
    aim : (M, P) A, or None for log det C

    Returns
    -------
    (N,) never negative

    Examples
    --------
    A constant known to ±2 and one reading with ±1: the variance falls from 4 to 1/(1/4 + 1).

    >>> one = np.ones((1, 1, 1))
    >>> gains(4 * one[0], one, one, aim=one[0]).round(9).tolist()
    [3.2]
    """
    n, q, p = design.shape
    rows = design.reshape(n * q, p)  # one product of two matrices, not one a candidate
    reach = (rows @ covariance).reshape(n, q, p)  # J·C
    total = noise + reach @ np.swapaxes(design, 1, 2)
    if aim is None:
        return np.linalg.slogdet(total)[1] - np.linalg.slogdet(noise)[1]
    aimed = (rows @ (covariance @ aim.T)).reshape(n, q, -1)
    return np.einsum("nim,nim->n", aimed, np.linalg.solve(total, aimed))


def updated(covariance: np.ndarray, design: np.ndarray, noise: np.ndarray) -> np.ndarray:
    """The parameters' covariance after one candidate.

    Parameters
    ----------
    covariance : (P, P)
    design, noise : (q, P), (q, q) of that candidate

    Examples
    --------
    >>> updated(np.array([[4.0]]), np.array([[1.0]]), np.array([[1.0]])).round(9).tolist()
    [[0.8]]
    """
    reach = design @ covariance
    # By the root of V + JCJᵀ, so that it stays symmetric to the last digit.
    half = np.linalg.solve(np.linalg.cholesky(noise + reach @ design.T), reach)
    return covariance - half.T @ half


def greedy_design(
    design: np.ndarray, noise: np.ndarray, covariance: np.ndarray, *,
    steps: int, aim: np.ndarray | None = None, effort: np.ndarray | None = None,
) -> Greedy:
    """Pick readings one after another, each the one that lowers most for its effort.

    Parameters
    ----------
    design, noise, aim : as in :func:`gains`; a candidate may be picked again and again
    covariance : (P, P) before the first; the inverse of the information so far
    steps : how many to pick
    effort : (N,) what each candidate costs; None for all alike

    Examples
    --------
    A straight line is best known from its two ends.

    >>> x = np.linspace(-1, 1, 5)
    >>> rows = np.stack([np.ones(5), x], axis=1)[:, None, :]
    >>> found = greedy_design(rows, np.ones((5, 1, 1)), np.eye(2) * 100, steps=6)
    >>> sorted(x[found.picks].tolist())
    [-1.0, -1.0, -1.0, 1.0, 1.0, 1.0]
    """
    cost = np.ones(len(design)) if effort is None else np.asarray(effort, float)
    picks, lowered = np.zeros(steps, int), np.zeros(steps)
    for step in range(steps):
        each = gains(covariance, design, noise, aim=aim)
        picks[step] = best = int(np.argmax(each / cost))
        lowered[step] = each[best]
        covariance = updated(covariance, design[best], noise[best])
    return Greedy(picks, lowered, covariance)


def exchanged(
    design: np.ndarray, noise: np.ndarray, covariance: np.ndarray, picks: np.ndarray, *,
    aim: np.ndarray | None = None, effort: np.ndarray | None = None, allowed: np.ndarray | None = None, rounds: int = 3,
) -> Greedy:
    """Better a set of picks: take each out in turn and put the best candidate in its place.

    Parameters
    ----------
    design, noise, covariance, aim, effort : as in :func:`greedy_design`
    picks : (n,) to begin with
    allowed : (n, N) which candidates may stand in for each pick; None for all
    rounds : times through all picks at most; it ends when none is exchanged

    Returns
    -------
    Greedy with as many picks, sorted so that the best comes first; together they lower no less

    Source: Fedorov's exchange, one point at a time (R. D. Cook & C. J. Nachtsheim,
    Technometrics 22, 1980, 315: memory).
    """
    cost = np.ones(len(design)) if effort is None else np.asarray(effort, float)
    chosen = [int(i) for i in picks]
    for _ in range(rounds):
        moved = False
        for at in range(len(chosen)):
            rest = covariance
            for i in chosen[:at] + chosen[at + 1 :]:
                rest = updated(rest, design[i], noise[i])
            each = gains(rest, design, noise, aim=aim) / cost
            best = int(np.argmax(each if allowed is None else np.where(allowed[at], each, -1.0)))
            if each[best] > each[chosen[at]] * (1 + 1e-9):
                chosen[at], moved = best, True
        if not moved:
            break
    left, order, lowered = list(chosen), [], []
    for _ in chosen:
        each = gains(covariance, design[left], noise[left], aim=aim)
        best = int(np.argmax(each / cost[left]))
        order.append(left.pop(best))
        lowered.append(float(each[best]))
        covariance = updated(covariance, design[order[-1]], noise[order[-1]])
    return Greedy(np.array(order, int), np.array(lowered), covariance)
