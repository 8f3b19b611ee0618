"""Readings that may be blunders: each piece as a mixture, folded into a Gaussian by moments.

A piece shows z = J·(p − centre) + noise, the noise drawn from one of several normal
distributions: an honest one, and wider ones in which one or more of its readings went
wrong. What a piece says is replaced by the Gaussian that leaves the posterior with the
right mean and covariance, given what all *other* pieces say (expectation propagation).
Because a piece is always judged by the others, a blunder far out on the dial cannot
hide behind the law that it bent towards itself.

Source: T. P. Minka, Expectation propagation for approximate Bayesian inference, UAI 2001
(memory of the text; the updates are derived here from the log of the normaliser).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

__all__ = ["Sites", "outer_information", "settle"]


@dataclass(frozen=True, eq=False)
class Sites:
    """What N pieces say at each of S settings, once they agree with one another.

    Attributes
    ----------
    precision, shift : (S, N, q, q), (S, N, q) of each piece, about its own q readings
    chance : (S, N, C) posterior probability of each kind of noise
    outside_mean, outside_covariance : (S, N, q), (S, N, q, q) what the other pieces and the
        prior say the readings should be, without noise
    gradient : (S, N, q) of the log probability of the piece, by its predicted readings
    log_evidence : (S,)
    honest : (S, N, q, q) covariance of the first kind of noise
    rounds : sweeps taken
    moved : the largest change of the last sweep, in prior-free units
    """

    precision: np.ndarray
    shift: np.ndarray
    chance: np.ndarray
    outside_mean: np.ndarray
    outside_covariance: np.ndarray
    gradient: np.ndarray
    log_evidence: np.ndarray
    honest: np.ndarray
    rounds: int
    moved: float

    def at(self, settings: np.ndarray) -> Sites:
        """The same at some of the settings only."""
        arrays = {f.name: getattr(self, f.name)[settings] for f in fields(self) if f.name not in ("rounds", "moved")}
        return Sites(**arrays, rounds=self.rounds, moved=self.moved)


def outer_information(design: np.ndarray, precision: np.ndarray, shift: np.ndarray, group: np.ndarray, groups: int):
    """Sum over each group's pieces of JᵀΛJ (S, K, P, P) and Jᵀη (S, K, P).

    Parameters
    ----------
    design : (N, q, P)
    precision, shift : (S, N, q, q), (S, N, q)
    group : (N,) rising integers below `groups`
    groups : K; a group may have no piece
    """
    transposed = np.swapaxes(design, 1, 2)
    information = transposed @ precision @ design
    push = (transposed @ shift[..., None])[..., 0]
    starts, ends = np.searchsorted(group, [np.arange(groups), np.arange(1, groups + 1)])
    there = np.flatnonzero(ends > starts)  # reduceat gives no zero for a group without pieces
    if len(there) == groups:
        return np.add.reduceat(information, starts, axis=1), np.add.reduceat(push, starts, axis=1)
    total = np.zeros((len(precision), groups, *information.shape[2:]))
    pull = np.zeros(total.shape[:-1])
    if len(there):
        total[:, there] = np.add.reduceat(information, starts[there], axis=1)
        pull[:, there] = np.add.reduceat(push, starts[there], axis=1)
    return total, pull


def settle(
    solve, *, design: np.ndarray, z: np.ndarray, noise: np.ndarray, log_prior: np.ndarray, group: np.ndarray, groups: int,
    start: tuple[np.ndarray, np.ndarray] | None = None, tolerance: float = 1e-3, max_rounds: int = 12,
):
    """Sweep over all pieces until none changes what it says.

    Parameters
    ----------
    solve : (precision (S, K, P, P), shift (S, K, P)) → an object with mean, covariance
        and log_mass, such as :class:`bendcal.inference.pooling.Pooled`
    design : (N, q, P)
    z : (N, q) readings about the centre
    noise : (S, N, C, q, q) covariances
    log_prior : (C,) log probability of each kind of noise
    group, groups : which group each piece belongs to, rising; how many there are
    start : precision and shift to begin with, or None for pieces that say nothing yet
    tolerance : sweeps end when no piece's pull on its readings moves by more than this
        many standard deviations

    Returns
    -------
    (Sites, the last answer of `solve`)
    """
    s, n, _, q, _ = noise.shape
    precision = np.zeros((s, n, q, q)) if start is None else _never_negative(np.array(np.broadcast_to(start[0], (s, n, q, q))))
    shift = np.zeros((s, n, q)) if start is None else np.array(np.broadcast_to(start[1], (s, n, q)))
    eye = np.eye(q)
    transposed = np.swapaxes(design, 1, 2)
    moved, keep = np.full(s, np.inf), np.ones(s)
    for rounds in range(1, max_rounds + 1):
        answer = solve(*outer_information(design, precision, shift, group, groups))
        mean = (design @ answer.mean[:, group][..., None])[..., 0]
        spread = design @ answer.covariance[:, group] @ transposed
        away = _inverse(eye - spread @ precision)
        outside = away @ spread
        outside = (outside + np.swapaxes(outside, -1, -2)) / 2
        outside_mean = (away @ (mean - (spread @ shift[..., None])[..., 0])[..., None])[..., 0]
        total = outside[:, :, None] + noise
        inverse, log_det = _inverse_and_log_det(total)
        off = z - outside_mean
        weighted = (inverse @ off[:, :, None, :, None])[..., 0]
        log_each = log_prior - 0.5 * ((weighted * off[:, :, None]).sum(-1) + log_det)
        top = log_each.max(axis=-1, keepdims=True)
        chance = np.exp(log_each - top)
        mass = chance.sum(axis=-1, keepdims=True)
        chance /= mass
        log_piece = (top + np.log(mass))[..., 0]
        gradient = (chance[..., None] * weighted).sum(axis=2)
        bend = (chance[..., None, None] * (inverse - weighted[..., :, None] * weighted[..., None, :])).sum(axis=2)
        bend += gradient[..., :, None] * gradient[..., None, :]
        release = _inverse(eye - bend @ outside)
        new_precision = release @ bend
        new_precision = _never_negative((new_precision + np.swapaxes(new_precision, -1, -2)) / 2)
        # About the mean that the piece asks for: it stays right where the precision had to be cut.
        asked = outside_mean + (outside @ gradient[..., None])[..., 0]
        new_shift = gradient + (new_precision @ asked[..., None])[..., 0]
        scale = np.sqrt(np.maximum(np.einsum("snii->sni", spread), 1e-18))
        step = np.abs(new_shift - shift - ((new_precision - precision) @ mean[..., None])[..., 0]) * scale
        previous, moved = moved, step.max(axis=(1, 2), initial=0.0)
        # Pieces that say nothing yet may agree with the prior by chance: never the last round.
        if (moved.max() <= tolerance and (rounds > 1 or start is not None)) or rounds == max_rounds:
            break
        # Pieces that contradict one another swing to and fro: shorter steps at the settings where they do.
        swings = (moved > 0.7 * previous) & (rounds > 2)
        keep = np.where(swings, np.maximum(0.6 * keep, 0.1), np.minimum(1.2 * keep, 1.0))
        precision = precision + keep[:, None, None, None] * (new_precision - precision)
        shift = shift + keep[:, None, None] * (new_shift - shift)
    log_evidence = answer.log_mass + (log_piece - _log_own(precision, shift, outside_mean, outside)).sum(axis=1)
    sites = Sites(
        precision, shift, chance, outside_mean, outside, gradient,
        log_evidence - 0.5 * z.size * np.log(2 * np.pi), noise[:, :, 0], rounds, float(moved.max()),
    )
    return sites, answer


def _never_negative(precision: np.ndarray) -> np.ndarray:
    """The nearest precision that takes nothing away from what is known.

    A reading that is half believed can widen the posterior, which asks for a negative
    precision; left so, two such pieces can make the whole sum improper.
    """
    q = precision.shape[-1]
    bad = np.zeros(precision.shape[:-2], bool)
    for i in range(q):
        bad |= precision[..., i, i] < 0
        for j in range(i):
            bad |= precision[..., i, i] * precision[..., j, j] < precision[..., i, j] ** 2
    if q == 3:
        bad |= np.linalg.det(precision) < 0
    if np.any(bad):
        values, vectors = np.linalg.eigh(precision[bad])
        precision[bad] = (vectors * np.maximum(values, 0.0)[..., None, :]) @ np.swapaxes(vectors, -1, -2)
    return precision


def _log_own(precision, shift, mean, covariance) -> np.ndarray:
    """log ∫ N(f; mean, covariance) exp(−½ fᵀΛf + ηᵀf), (S, N)."""
    loosened = np.eye(mean.shape[-1]) + covariance @ precision
    freed = _inverse(loosened)
    inner = (freed @ covariance @ shift[..., None])[..., 0]
    pulled = (np.swapaxes(freed, -1, -2) @ shift[..., None])[..., 0]
    quiet = (precision @ freed @ mean[..., None])[..., 0]
    log_det = np.log(np.maximum(np.linalg.det(loosened), 1e-300))
    return 0.5 * ((shift * inner).sum(-1) + 2 * (pulled * mean).sum(-1) - (mean * quiet).sum(-1) - log_det)


def _inverse(matrices: np.ndarray) -> np.ndarray:
    """Inverse of many small matrices; in closed form for 3 × 3, by its rows' cross products."""
    if matrices.shape[-1] != 3:
        return np.linalg.inv(matrices)
    (a, b, c), (d, e, f), (g, h, i) = np.moveaxis(matrices, (-2, -1), (0, 1))
    columns = [e * i - f * h, c * h - b * i, b * f - c * e, f * g - d * i, a * i - c * g, c * d - a * f]
    columns += [d * h - e * g, b * g - a * h, a * e - b * d]
    det = a * columns[0] + b * columns[3] + c * columns[6]
    return (np.stack(columns, axis=-1) / det[..., None]).reshape(matrices.shape)


def _inverse_and_log_det(matrices: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Inverse and log determinant of many small symmetric matrices; in closed form up to 3 × 3."""
    q = matrices.shape[-1]
    if q == 1:
        return 1.0 / matrices, np.log(matrices[..., 0, 0])
    if q != 3:
        return np.linalg.inv(matrices), np.linalg.slogdet(matrices)[1]
    a, b, c = matrices[..., 0, 0], matrices[..., 0, 1], matrices[..., 0, 2]
    d, e, f = matrices[..., 1, 1], matrices[..., 1, 2], matrices[..., 2, 2]
    i00, i01, i02 = d * f - e * e, c * e - b * f, b * e - c * d
    i11, i12, i22 = a * f - c * c, b * c - a * e, a * d - b * b
    det = a * i00 + b * i01 + c * i02
    inverse = np.stack([i00, i01, i02, i01, i11, i12, i02, i12, i22], axis=-1).reshape(matrices.shape)
    return inverse / det[..., None, None], np.log(det)
