"""From offcuts to laws: all pieces of all benders and tubes in one errors-in-variables fit.

What a piece shows stands in `pieces`; what the pairs share, in `prior`; how a blunder is
told from an honest reading, in `sites`; the scales that nobody knows are averaged over in
`scales`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bendcal.bow import Bow
from bendcal.inference.latent import solve
from bendcal.inference.pooling import Pool, Pooled
from bendcal.inference.scales import average_over
from bendcal.inference.sites import Sites, settle
from bendcal.law import PARAMETERS
from bendcal.pieces import Pieces, linearise
from bendcal.prior import WIDTHS, Widths

__all__ = ["NOISES", "JointFit", "fit_laws"]

#: The kinds of noise that a piece may show: which of its readings are blunders (0 the angle,
#: 1 and 2 the legs, 3 the dial, which the other readings then contradict together).
NOISES = ((), (0,), (1,), (2,), (1, 2), (3,))
_DIAL = NOISES.index((3,))

#: Up to so many pairs the laws' covariance with one another is kept (24 pairs: 168 × 168).
_MOST_TOGETHER = 24


@dataclass(frozen=True, eq=False)
class JointFit:
    """The laws of K pairs, with blunders and unknown scales averaged over.

    Attributes
    ----------
    p, covariance : (K, 7), (K, 7, 7) mean and covariance of each pair's ``prior.UNKNOWNS``: its law, the
        bow of its bender's dial, and its drift
    scatter_deg : (K,) root mean square scatter of one bend [deg]
    dof : degrees of freedom that the uncertainty of the scatter amounts to
    residual : (N, 3) reading − law, NaN where not read
    expected, expected_covariance : (N, 3), (N, 3, 3) what all *other* pieces say the readings
        should have been, and how closely, the error of honest readings included
    chance : (N, 6) probability of each of :data:`NOISES`
    leverage : (N,) share of the piece's information that the fit takes from itself
    joint : (7K, 7K) covariance of all laws together; None for very many pairs
    scales : scatter [deg], readings, own deviations: the posterior means
    warm : what the next fit may start from
    """

    p: np.ndarray
    covariance: np.ndarray
    scatter_deg: float
    dof: float
    residual: np.ndarray
    expected: np.ndarray
    expected_covariance: np.ndarray
    chance: np.ndarray
    leverage: np.ndarray
    joint: np.ndarray | None
    scales: tuple[float, float, float]
    warm: np.ndarray

    def bow(self, k: int, shape: tuple[float, float, float]) -> Bow:
        """How far bends of law `k` may leave its straight line: what is known of the bow is not corrected for, and counts."""
        apart = self.covariance[k, 5, :6] + np.r_[np.zeros(5), self.p[k, 5] ** 2]
        return Bow(shape, tuple(apart.tolist()))


def fit_laws(
    pieces: Pieces, pool: Pool, widths: Widths = WIDTHS, *, warm: np.ndarray | None = None, together: int = _MOST_TOGETHER
) -> JointFit:
    """Fit the laws of all pairs together.

    Parameters
    ----------
    pieces : N offcuts in K groups
    pool : what the K pairs share, and the prior
    widths : gives the priors of the scales and of blunders
    warm : scales to begin with, from an earlier fit of nearly the same pieces
    together : up to how many pairs the covariance of all laws together is worked out

    Returns
    -------
    JointFit
    """
    model = _Model(pieces, pool, widths)
    best = np.zeros(3) if warm is None else warm
    sites = model.linearise_at(best)
    last = {}

    def log_evidence(points: np.ndarray) -> np.ndarray:
        last["sites"], last["points"] = model.settle(points, sites, tolerance=0.02)[0], points
        return last["sites"].log_evidence

    found = average_over(log_evidence, 3, start=best)
    # Settings that hardly count cost as much as those that do.
    counts = found.weight > 1e-4
    points, weight = found.points[counts], found.weight[counts] / found.weight[counts].sum()
    settled, pooled = model.settle(points, last["sites"].at(counts), tolerance=5e-3)
    p = np.einsum("s,skp->kp", weight, pooled.mean)
    apart = pooled.mean - p
    covariance = np.einsum("s,skpq->kpq", weight, pooled.covariance) + np.einsum("s,skp,skq->kpq", weight, apart, apart)
    scatter, reading, own = model.scales(points)
    variance = float(weight @ scatter**2)
    spread = float(weight @ (scatter**2 - variance) ** 2)
    residual, expected, expected_covariance, leverage = model.residuals(settled, pooled, points, weight)
    return JointFit(
        p=pool.centre + p, covariance=covariance, scatter_deg=variance**0.5,
        dof=4.0 + 2.0 * variance**2 / max(spread, 1e-30), residual=residual, expected=expected, expected_covariance=expected_covariance,
        chance=np.einsum("s,snc->nc", weight, settled.chance), leverage=leverage,
        joint=_together(pool, pooled, weight, covariance) if len(pool.centre) <= together else None,
        scales=(float(weight @ scatter), float(weight @ reading), float(weight @ own)), warm=found.mode,
    )  # fmt: skip


class _Model:
    """The pieces, linearised about one point: a setting of the scales → what the pieces say."""

    def __init__(self, pieces: Pieces, pool: Pool, widths: Widths) -> None:
        self.pieces, self.pool, self.widths = pieces, pool, widths
        self.taken = np.isfinite(pieces.readings)
        both = self.taken[:, :, None] & self.taken[:, None, :]
        eye = np.eye(3)
        # A reading that was not taken gets variance 1 and no place in the design: it says nothing.
        self.tool_covariance = np.where(both, np.linalg.inv(pieces.precision + eye * ~self.taken[:, None, :]), 0.0)
        self.untaken = eye * ~self.taken[:, None, :]
        stray = np.array([widths.blunder_angle_deg, widths.blunder_leg_mm, widths.blunder_leg_mm]) ** 2
        self.stray = np.stack([np.diag([stray[i] * (i in kind) for i in range(3)]) for kind in NOISES])
        self.stray_dial = np.array([[[(3 in kind) * widths.blunder_dial_deg**2]] for kind in NOISES])
        chances = np.full(len(NOISES), widths.blunder_chance)
        chances[0] = 1.0 - chances[1:].sum()
        self.log_prior = np.log(chances)
        self.group, self.groups = pieces.group, len(pool.centre)

    def scales(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Scatter [deg], scale of the tools' uncertainties, scale of the own deviations, each (S,)."""
        w = self.widths
        return (
            w.scatter_deg * np.exp(w.scatter_log_sd * points[:, 0]),
            np.exp(w.reading_log_sd * points[:, 1]),
            np.exp(w.own_log_sd * points[:, 2]),
        )

    def linearise_at(self, point: np.ndarray) -> Sites:
        """Find where the laws and the true angles lie at one setting of the scales, and stay there."""
        pieces, pool = self.pieces, self.pool
        scatter, _, own = (float(v[0]) for v in self.scales(point[None]))
        read = np.clip(pieces.readings[:, 0], 0.0, 175.0)
        p, theta, sites = pool.centre, read, None
        try:
            alone = solve(
                lambda p, xi: linearise(pieces, p, xi), readings=pieces.readings, precision=pieces.precision,
                log_det=pieces.log_det, hidden_variance=scatter**2, group=pieces.group, start=p, hidden_start=theta,
                prior_mean=pool.centre, prior_precision=np.linalg.inv(pool.marginal_covariance(own)), tolerance=1e-2,
            )  # fmt: skip
            p = alone.p
        except (RuntimeError, ValueError):
            pass  # a gross blunder can send it in circles; the rounds below then begin at the prior
        for _ in range(6):
            self._about(p, theta)
            sites, pooled = self.settle(point[None], sites, tolerance=1e-2)
            p_new = pool.centre + pooled.mean[0]
            moved = np.abs(p_new - p) / np.sqrt(np.einsum("kpp->kp", pooled.covariance[0]))
            pull = np.einsum("nq,nq->n", self.slope, sites.gradient[0])
            theta_new = np.clip(np.einsum("np,np->n", self.by_dial, p_new[self.group]) + scatter**2 * pull, 0.0, 175.0)
            # Where the dial is not believed, the piece lies where its protractor says.
            theta_new = np.where(sites.chance[0, :, _DIAL] > 0.5, read, theta_new)
            near = np.abs(theta_new - theta).max(initial=0.0) < 0.5 and moved.max() < 0.3
            p, theta = p_new, theta_new
            if near:
                break
        self._about(p, theta)
        return self.settle(point[None], sites, tolerance=1e-2)[0]

    def _about(self, p: np.ndarray, theta: np.ndarray) -> None:
        near = linearise(self.pieces, p[self.group], theta)
        self.slope = near.by_xi * self.taken
        self.by_dial = near.mu_by_p
        self.design = near.by_p * self.taken[..., None] + self.slope[..., None] * near.mu_by_p[:, None, :]
        off = np.where(self.taken, self.pieces.readings, 0.0) - near.h * self.taken - self.slope * (near.mu - theta)[:, None]
        self.z = off + np.einsum("nqp,np->nq", self.design, (p - self.pool.centre)[self.group])

    def settle(self, points: np.ndarray, start: Sites | None, *, tolerance: float):
        """What the pieces say at each setting: (Sites, Pooled)."""
        scatter, reading, own = self.scales(points)
        hidden = self.slope[:, :, None] * self.slope[:, None, :]
        noise = reading[:, None, None, None] ** 2 * self.tool_covariance + self.untaken + scatter[:, None, None, None] ** 2 * hidden
        stray = self.stray * self.taken[:, None, None, :] + self.stray_dial * hidden[:, None]
        return settle(
            lambda precision, shift: self.pool.solve(precision, shift, own), design=self.design, z=self.z,
            noise=noise[:, :, None] + stray, log_prior=self.log_prior,
            group=self.group, groups=self.groups, tolerance=tolerance,
            start=None if start is None else self._start(noise, start),
        )  # fmt: skip

    def _start(self, noise: np.ndarray, known: Sites) -> tuple[np.ndarray, np.ndarray]:
        """What the pieces should say under `noise`, from what they said at one other setting."""
        if len(known.precision) == len(noise) and len(noise) > 1:
            return known.precision, known.shift
        change = np.linalg.inv(noise) - np.linalg.inv(known.honest)
        change = change * known.chance[..., 0][..., None, None]
        return known.precision + change, known.shift + (change @ self.z[:, :, None])[..., 0]

    def residuals(self, sites: Sites, pooled: Pooled, points: np.ndarray, weight: np.ndarray):
        """Reading − law; what all other pieces expect of it and how closely; leverage."""
        scatter, reading, _ = self.scales(points)
        mean = np.einsum("s,skp->kp", weight, pooled.mean)
        mean[:, len(PARAMETERS) :] = 0.0  # residuals are told against the law, which has no bow and no drift
        residual = self.z - np.einsum("nqp,np->nq", self.design, mean[self.group])
        honest = (reading**2)[:, None, None, None] * self.tool_covariance + self.untaken
        honest = honest + (scatter**2)[:, None, None, None] * self.slope[:, :, None] * self.slope[:, None, :]
        expected = np.einsum("s,sni->ni", weight, sites.outside_mean)
        apart = sites.outside_mean - expected
        variance = np.einsum("s,snij->nij", weight, sites.outside_covariance + honest + apart[..., None] * apart[..., None, :])
        spread = self.design @ np.einsum("s,skpq->kpq", weight, pooled.covariance)[self.group] @ np.swapaxes(self.design, 1, 2)
        said = np.einsum("s,snij->nij", weight, sites.precision)
        leverage = np.einsum("nij,nji->n", said, spread) / np.maximum(self.taken.sum(axis=1), 1)
        blank = np.where(self.taken, 0.0, np.nan)
        return residual + blank, self.pieces.readings - (self.z - expected), variance, leverage


def _together(pool: Pool, pooled: Pooled, weight: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    """Covariance of all laws with one another, the scales averaged over."""
    k, size, _ = covariance.shape
    apart = pooled.mean - np.einsum("s,skp->kp", weight, pooled.mean)
    whole = np.einsum("s,skp,sjq->kpjq", weight, apart, apart)
    for i in range(k):
        others = np.array([j for j in range(k) if j != i], int)
        if others.size:
            whole[i][:, others] += np.einsum("s,sjpq->pjq", weight, pooled.cross_covariance(pool, i, others))
        whole[i, :, i] = covariance[i]
    return whole.reshape(size * k, size * k)
