"""Many small laws that share causes: a linear Gaussian model solved piece by piece.

The parameters of group k (a bender with a tube) are::

    p_k = centre_k + G_k·β[owner_k] + H_k·f[kind_k] + δ_k

β are the causes that belong to an owner (a bender), f one cause that belongs to a kind (a
tube), δ_k the group's own. Readings come in as a precision and a shift for each group. The
δ are eliminated first, then the f, then the β: the work grows with the number of groups,
never with its cube. Several settings of the scales are solved side by side, on a leading
axis of length S.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["Pool", "Pooled"]


@dataclass(frozen=True, eq=False)
class Pool:
    """The prior: what is shared with what.

    Attributes
    ----------
    centre : (K, P) mean of each group's parameters
    owner, kind : (K,) integers
    by_owner : (K, P, Q) G
    by_kind : (K, P) H
    owner_variance : (O, Q) variances of β, each of mean 0
    kind_variance : (T,) variances of f, each of mean 0
    own : (K, P, P) covariance of δ at scale 1
    """

    centre: np.ndarray
    owner: np.ndarray
    kind: np.ndarray
    by_owner: np.ndarray
    by_kind: np.ndarray
    owner_variance: np.ndarray
    kind_variance: np.ndarray
    own: np.ndarray

    def marginal_covariance(self, own_scale: float = 1.0) -> np.ndarray:
        """(K, P, P) prior covariance of each group by itself."""
        shared = np.einsum("kpq,kq,krq->kpr", self.by_owner, self.owner_variance[self.owner], self.by_owner)
        kinds = np.einsum("kp,k,kr->kpr", self.by_kind, self.kind_variance[self.kind], self.by_kind)
        return shared + kinds + own_scale**2 * self.own

    def solve(self, precision: np.ndarray, shift: np.ndarray, own_scale: np.ndarray) -> Pooled:
        """The posterior, given what the readings of each group say of p_k − centre_k.

        Parameters
        ----------
        precision : (S, K, P, P)
        shift : (S, K, P)
        own_scale : (S,) scale of the groups' own deviations

        Returns
        -------
        Pooled
        """
        s, k, p, _ = precision.shape
        owners, q = self.owner_variance.shape
        kinds = len(self.kind_variance)
        own = own_scale[:, None, None, None] ** 2 * self.own
        eye = np.eye(p)
        loosened = eye + precision @ own
        freed = np.linalg.inv(loosened)  # (I + ΛD)⁻¹
        stiff = freed @ precision  # (Λ⁻¹ + D)⁻¹
        push = (freed @ shift[..., None])[..., 0]

        stiff_kind = np.einsum("skpr,kr->skp", stiff, self.by_kind)
        c = np.zeros((s, kinds)) + 1.0 / self.kind_variance
        _add(c, self.kind, np.einsum("kp,skp->sk", self.by_kind, stiff_kind))
        e = np.zeros((s, kinds))
        _add(e, self.kind, np.einsum("kp,skp->sk", self.by_kind, push))
        cross = np.zeros((s, kinds, owners, q))
        _add(cross, (self.kind, self.owner), np.einsum("skp,kpq->skq", stiff_kind, self.by_owner))
        cross = cross.reshape(s, kinds, owners * q)

        total = np.zeros((s, owners, q, q))
        _add(total, self.owner, np.swapaxes(self.by_owner, 1, 2) @ (stiff @ self.by_owner))
        pull = np.zeros((s, owners, q))
        _add(pull, self.owner, np.einsum("kpq,skp->skq", self.by_owner, push))
        dense = np.zeros((s, owners, q, owners, q))
        index = np.arange(owners)
        dense[:, index, :, index, :] = np.swapaxes(total, 0, 1)
        dense = dense.reshape(s, owners * q, owners * q)
        weight = self.owner_variance.ravel()
        scaled_cross = cross / c[..., None]
        dense = dense - np.swapaxes(cross, 1, 2) @ scaled_cross
        # In units of the prior's standard deviations, so that all owners' causes weigh alike.
        root = np.sqrt(weight)
        unit = np.eye(owners * q) + root[:, None] * dense * root
        pull = pull.reshape(s, -1) - np.einsum("stq,st->sq", scaled_cross, e)
        beta_covariance = root[:, None] * np.linalg.inv(unit) * root
        beta = np.einsum("sqr,sr->sq", beta_covariance, pull)
        flow = (e - np.einsum("stq,sq->st", cross, beta)) / c
        flow_beta = -scaled_cross @ beta_covariance  # (S, T, OQ)
        flow_variance = 1.0 / c - np.einsum("stq,stq->st", flow_beta, scaled_cross)

        by_own = beta.reshape(s, owners, q)[:, self.owner]
        causes = np.einsum("kpq,skq->skp", self.by_owner, by_own) + self.by_kind * flow[:, self.kind, None]
        held = np.swapaxes(freed, -1, -2)  # (I + DΛ)⁻¹
        mean = (held @ (causes + np.einsum("skpr,skr->skp", own, shift))[..., None])[..., 0]
        # Covariance of the causes that each group feels: its owner's β and its kind's f.
        feel = np.zeros((s, k, q + 1, q + 1))
        blocks = beta_covariance.reshape(s, owners, q, owners, q)[:, index, :, index, :]
        feel[..., :q, :q] = np.swapaxes(blocks, 0, 1)[:, self.owner]
        feel[..., q, q] = flow_variance[:, self.kind]
        link = flow_beta.reshape(s, kinds, owners, q)[:, self.kind, self.owner]
        feel[..., q, :q] = feel[..., :q, q] = link
        loading = np.concatenate([self.by_owner, self.by_kind[..., None]], axis=2)
        carried = held @ loading
        covariance = held @ own + carried @ feel @ np.swapaxes(carried, -1, -2)
        covariance = (covariance + np.swapaxes(covariance, -1, -2)) / 2
        log_det = np.linalg.slogdet(loosened)[1].sum(axis=1) + np.log(c * self.kind_variance).sum(axis=1)
        log_det += np.linalg.slogdet(unit)[1]
        return Pooled(
            mean=mean, covariance=covariance,
            log_mass=0.5 * (np.einsum("skp,skp->s", shift, mean) - log_det),
            beta=beta.reshape(s, owners, q), flow=flow, carried=carried,
            beta_covariance=beta_covariance, flow_beta=flow_beta, flow_by_beta=scaled_cross, flow_inverse=1.0 / c,
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Pooled:
    """The posterior of p_k − centre_k at each of S scales.

    Attributes
    ----------
    mean, covariance : (S, K, P), (S, K, P, P)
    log_mass : (S,) log ∫ prior · exp(−½ pᵀΛp + ηᵀp)
    beta, flow : (S, O, Q), (S, T) means of the shared causes
    carried : (S, K, P, Q + 1) how a group follows its owner's and its kind's causes
    beta_covariance, flow_beta, flow_by_beta, flow_inverse : the causes' covariance: of β, of flow with β,
        how flow follows −β, and what is left of flow's variance given β
    """

    mean: np.ndarray
    covariance: np.ndarray
    log_mass: np.ndarray
    beta: np.ndarray
    flow: np.ndarray
    carried: np.ndarray
    beta_covariance: np.ndarray
    flow_beta: np.ndarray
    flow_by_beta: np.ndarray
    flow_inverse: np.ndarray

    def cross_covariance(self, pool: Pool, k: int, others: np.ndarray) -> np.ndarray:
        """Covariance between group `k` and the groups `others` ≠ k, (S, len(others), P, P)."""
        s, owners, q = self.beta.shape
        beta = self.beta_covariance.reshape(s, owners, q, owners, q)
        flow_beta = self.flow_beta.reshape(s, -1, owners, q)
        i, j = pool.owner[k], pool.owner[others]
        t, u = pool.kind[k], pool.kind[others]
        feel = np.zeros((s, len(others), q + 1, q + 1))
        feel[:, :, :q, :q] = np.swapaxes(beta[:, i][:, :, j], 1, 2)
        feel[:, :, q, :q] = flow_beta[:, t][:, j]
        feel[:, :, :q, q] = flow_beta[:, u, i]
        # flow_t with flow_u: through β, and their own where it is the same tube
        through = -np.einsum("sq,suq->su", self.flow_beta[:, t], self.flow_by_beta[:, u])
        feel[:, :, q, q] = through + self.flow_inverse[:, t, None] * (t == u)
        return self.carried[:, k, None] @ feel @ np.swapaxes(self.carried[:, others], -1, -2)


def _add(target: np.ndarray, index, values: np.ndarray) -> None:
    """target[:, index] += values, where an index may come more than once."""
    where = index if isinstance(index, tuple) else (index,)
    np.add.at(target, (slice(None), *where), values)
