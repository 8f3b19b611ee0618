"""Laws that share causes: the elimination against the whole matrix at once, its limits, its size."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bendcal.inference.pooling import Pool, Pooled


def random_pool(rng, k: int, owners: int, kinds: int, p: int, q: int, *, thin: bool = False) -> Pool:
    """A pool with everything drawn at random; `thin` leaves some causes and deviations out of some groups."""
    own = rng.normal(size=(k, p, p)) * rng.uniform(0.2, 2.0, size=(k, 1, 1))
    if thin:
        own[:, :, 0] = 0.0  # a covariance that is singular: one combination deviates not at all
    return Pool(
        centre=rng.normal(size=(k, p)),
        owner=np.arange(k) % owners if k >= owners else rng.integers(owners, size=k),
        kind=rng.integers(kinds, size=k),
        by_owner=rng.normal(size=(k, p, q)) * (rng.uniform(size=(k, p, q)) > 0.4 * thin),
        by_kind=rng.normal(size=(k, p)) * (rng.uniform(size=(k, 1)) > 0.4 * thin),
        owner_variance=rng.uniform(0.1, 4.0, size=(owners, q)),
        kind_variance=rng.uniform(0.1, 4.0, size=kinds),
        own=own @ np.swapaxes(own, 1, 2),
    )


def random_readings(rng, s: int, k: int, p: int) -> tuple[np.ndarray, np.ndarray]:
    """Precisions and shifts at `s` settings; some groups are hardly read, the last not at all."""
    root = rng.normal(size=(s, k, p, p)) * rng.choice([0.01, 1.0, 30.0], size=(s, k, 1, 1))
    precision = root @ np.swapaxes(root, -1, -2)
    shift = (precision @ rng.normal(size=(s, k, p, 1)))[..., 0]
    precision[:, -1], shift[:, -1] = 0.0, 0.0
    return precision, shift


def prior_covariance(pool: Pool, own_scale: float) -> np.ndarray:
    """The prior of all groups' parameters as one matrix, (K·P, K·P), from the definition."""
    k, p, q = pool.by_owner.shape
    owners, kinds = len(pool.owner_variance), len(pool.kind_variance)
    causes = np.zeros((k, p, owners * q + kinds))
    for i in range(k):
        first = pool.owner[i] * q
        causes[i, :, first : first + q] = pool.by_owner[i]
        causes[i, :, owners * q + pool.kind[i]] = pool.by_kind[i]
    flat = causes.reshape(k * p, -1)
    whole = flat @ np.diag(np.concatenate([pool.owner_variance.ravel(), pool.kind_variance])) @ flat.T
    for i in range(k):
        part = slice(i * p, (i + 1) * p)
        whole[part, part] += own_scale**2 * pool.own[i]
    return whole


def whole_answer(pool: Pool, precision: np.ndarray, shift: np.ndarray, own_scale: float):
    """Mean (K·P,), covariance (K·P, K·P) and log mass at one setting, by the textbook's product of normals."""
    k, p = pool.centre.shape
    prior = prior_covariance(pool, own_scale)
    read = np.zeros((k * p, k * p))
    for i in range(k):
        part = slice(i * p, (i + 1) * p)
        read[part, part] = precision[i]
    loosened = np.eye(k * p) + prior @ read
    covariance = np.linalg.solve(loosened, prior)
    mean = covariance @ shift.ravel()
    return mean, covariance, 0.5 * (shift.ravel() @ mean - np.linalg.slogdet(loosened)[1])


shapes = st.tuples(
    st.integers(1, 6), st.integers(1, 3), st.integers(1, 3), st.integers(1, 5), st.integers(1, 4), st.booleans(), st.integers(0, 2**32 - 1)
)  # fmt: skip


@given(shapes)
def test_the_elimination_equals_the_whole_matrix(shape) -> None:
    """Mean, covariance and log mass of every group at four scales are those of all parameters solved at once."""
    k, owners, kinds, p, q, thin, seed = shape
    rng = np.random.default_rng(seed)
    pool = random_pool(rng, k, owners, kinds, p, q, thin=thin)
    scales = np.array([0.0, 0.3, 1.0, 5.0])
    precision, shift = random_readings(rng, len(scales), k, p)
    found = pool.solve(precision, shift, scales)
    for s, scale in enumerate(scales):
        mean, covariance, log_mass = whole_answer(pool, precision[s], shift[s], scale)
        blocks = np.array([covariance[i * p : (i + 1) * p, i * p : (i + 1) * p] for i in range(k)])
        size = np.sqrt(np.abs(np.diag(prior_covariance(pool, scale))).max()) + 1e-12
        np.testing.assert_allclose(found.mean[s].ravel(), mean, rtol=1e-7, atol=1e-8 * size)
        np.testing.assert_allclose(found.covariance[s], blocks, rtol=1e-7, atol=1e-8 * size**2)
        assert found.log_mass[s] == pytest.approx(log_mass, rel=1e-8, abs=1e-7)


@given(shapes)
def test_what_two_groups_have_in_common_equals_the_whole_matrix(shape) -> None:
    """The covariance between one group and each other one is the block of the whole covariance."""
    k, owners, kinds, p, q, thin, seed = shape
    rng = np.random.default_rng(seed)
    k = max(k, 2)
    pool = random_pool(rng, k, owners, kinds, p, q, thin=thin)
    scales = np.array([0.3, 2.0])
    precision, shift = random_readings(rng, len(scales), k, p)
    found = pool.solve(precision, shift, scales)
    for i in range(k):
        others = np.array([j for j in range(k) if j != i])
        cross = found.cross_covariance(pool, i, others)
        for s, scale in enumerate(scales):
            covariance = whole_answer(pool, precision[s], shift[s], scale)[1]
            blocks = np.array([covariance[i * p : (i + 1) * p, j * p : (j + 1) * p] for j in others])
            size = np.abs(np.diag(prior_covariance(pool, scale))).max()
            np.testing.assert_allclose(cross[s], blocks, rtol=1e-6, atol=1e-8 * size)


@given(shapes)
def test_each_groups_own_prior_is_the_block_of_the_joint_one(shape) -> None:
    """The marginal covariance of a group holds its owner's causes, its kind's cause and its own deviation."""
    k, owners, kinds, p, q, thin, seed = shape
    pool = random_pool(np.random.default_rng(seed), k, owners, kinds, p, q, thin=thin)
    whole = prior_covariance(pool, 0.7)
    blocks = np.array([whole[i * p : (i + 1) * p, i * p : (i + 1) * p] for i in range(k)])
    np.testing.assert_allclose(pool.marginal_covariance(0.7), blocks, rtol=1e-12, atol=1e-12)


def test_without_readings_the_prior_comes_back() -> None:
    """Nothing read: mean 0, the prior's covariance, and a log mass of 0, at every scale."""
    pool = random_pool(np.random.default_rng(1), 5, 2, 3, 5, 6)
    scales = np.array([0.1, 1.0, 10.0])
    found = pool.solve(np.zeros((3, 5, 5, 5)), np.zeros((3, 5, 5)), scales)
    assert np.all(found.mean == 0) and np.abs(found.log_mass).max() < 1e-12
    for s, scale in enumerate(scales):
        np.testing.assert_allclose(found.covariance[s], pool.marginal_covariance(scale), rtol=1e-10)


def test_readings_without_end_outvote_the_prior() -> None:
    """As the readings' precision grows, the mean goes to what they say and the covariance to theirs."""
    rng = np.random.default_rng(2)
    pool = random_pool(rng, 4, 2, 2, 3, 2)
    truth = rng.normal(size=(4, 3))
    root = rng.normal(size=(4, 3, 3))
    once = root @ np.swapaxes(root, 1, 2) + np.eye(3)
    for strength in (1e6, 1e10):
        precision = strength * once[None]
        found = pool.solve(precision, (precision @ truth[..., None])[..., 0], np.array([1.0]))
        np.testing.assert_allclose(found.mean[0], truth, atol=1e3 / strength)
        np.testing.assert_allclose(found.covariance[0] @ precision[0], np.tile(np.eye(3), (4, 1, 1)), atol=1e5 / strength)


def test_groups_that_share_nothing_are_fitted_each_by_itself() -> None:
    """With no shared cause at all, a group's answer does not move when another's readings change."""
    rng = np.random.default_rng(3)
    pool = random_pool(rng, 2, 1, 1, 3, 2)
    pool = Pool(**{**pool.__dict__, "by_owner": np.zeros((2, 3, 2)), "by_kind": np.zeros((2, 3))})
    precision, shift = np.tile(np.eye(3), (1, 2, 1, 1)), rng.normal(size=(1, 2, 3))
    before = pool.solve(precision, shift, np.array([1.0]))
    shift[0, 1] += 100.0
    after = pool.solve(precision, shift, np.array([1.0]))
    np.testing.assert_array_equal(before.mean[0, 0], after.mean[0, 0])
    assert np.all(before.cross_covariance(pool, 0, np.array([1])) == 0)


def test_what_one_tube_teaches_the_bender_reaches_its_other_tubes() -> None:
    """One group read exactly, one cause, no deviation of its own: the unread group is known exactly too."""
    pool = Pool(
        centre=np.zeros((2, 1)), owner=np.array([0, 0]), kind=np.array([0, 1]), by_owner=np.array([[[2.0]], [[3.0]]]),
        by_kind=np.zeros((2, 1)), owner_variance=np.array([[4.0]]), kind_variance=np.ones(2), own=np.zeros((2, 1, 1)),
    )  # fmt: skip
    precision = np.array([[[[1e12]], [[0.0]]]])
    found = pool.solve(precision, np.array([[[1e12 * 5.0], [0.0]]]), np.array([1.0]))
    np.testing.assert_allclose(found.mean[0, :, 0], [5.0, 7.5], rtol=1e-9)  # β = 5/2, times 3
    assert found.covariance[0, 1, 0, 0] < 1e-10


@given(st.integers(0, 2**32 - 1))
def test_the_order_of_the_groups_does_not_matter(seed) -> None:
    """Groups in another order give the same answers in that order."""
    rng = np.random.default_rng(seed)
    pool = random_pool(rng, 6, 2, 3, 3, 2)
    precision, shift = random_readings(rng, 1, 6, 3)
    found = pool.solve(precision, shift, np.array([0.8]))
    way = rng.permutation(6)
    turned = Pool(**{
        name: value[way] if name in ("centre", "owner", "kind", "by_owner", "by_kind", "own") else value
        for name, value in pool.__dict__.items()
    })  # fmt: skip
    again = turned.solve(precision[:, way], shift[:, way], np.array([0.8]))
    np.testing.assert_allclose(again.mean, found.mean[:, way], rtol=1e-8, atol=1e-10)
    np.testing.assert_allclose(again.covariance, found.covariance[:, way], rtol=1e-8, atol=1e-10)
    assert again.log_mass == pytest.approx(found.log_mass, rel=1e-9)


def test_readings_that_come_in_two_lots_say_the_same_as_all_at_once() -> None:
    """log ∫ prior·A·B splits into log ∫ prior·A and the mass of B under what A left: Bayes' rule, one reading each time."""
    rng = np.random.default_rng(4)
    pool = random_pool(rng, 1, 1, 1, 3, 2)
    (first, second), (push, more) = (v[:, :1] for v in random_readings(rng, 2, 2, 3))
    one = np.array([1.0])
    both = pool.solve((first + second)[None], (push + more)[None], one)
    half = pool.solve(first[None], push[None], one)
    left = Pool(**{
        **pool.__dict__, "by_owner": np.zeros((1, 3, 2)), "by_kind": np.zeros((1, 3)), "own": half.covariance[0],
    })  # fmt: skip
    # The second lot about the mean that the first left: η − Λ·mean, and a constant.
    about = more - (second @ half.mean[0][..., None])[..., 0]
    rest = left.solve(second[None], about[None], one)
    constant = float(np.sum(more * half.mean[0]) - 0.5 * half.mean[0, 0] @ second[0] @ half.mean[0, 0])
    np.testing.assert_allclose(half.mean + rest.mean, both.mean, rtol=1e-9)
    np.testing.assert_allclose(rest.covariance, both.covariance, rtol=1e-8)
    assert float(both.log_mass[0]) == pytest.approx(float(half.log_mass[0] + rest.log_mass[0]) + constant, rel=1e-9)


def peak_bytes(k: int) -> int:
    """The most memory that solving `k` pairs of three benders and four tubes needs."""
    rng = np.random.default_rng(5)
    pool = random_pool(rng, k, 3, 4, 5, 6)
    precision, shift = random_readings(rng, 2, k, 5)
    tracemalloc.start()
    try:
        pool.solve(precision, shift, np.array([0.5, 1.0]))
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_ten_times_the_pairs_need_ten_times_the_memory_and_no_more() -> None:
    """No array has a side of pairs by pairs: with 10 times as many the peak grows 10 times, not 100."""
    peak_bytes(10)
    assert peak_bytes(2000) < 11 * peak_bytes(200)


def test_the_answer_has_one_entry_a_group_at_every_scale() -> None:
    """Shapes: scales first, then groups, then parameters."""
    rng = np.random.default_rng(6)
    pool = random_pool(rng, 7, 2, 3, 5, 6)
    found = pool.solve(*random_readings(rng, 4, 7, 5), np.linspace(0.5, 2, 4))
    assert isinstance(found, Pooled)
    assert found.mean.shape == (4, 7, 5) and found.covariance.shape == (4, 7, 5, 5) and found.log_mass.shape == (4,)
    assert found.beta.shape == (4, 2, 6) and found.flow.shape == (4, 3)
    assert found.cross_covariance(pool, 2, np.array([0, 5])).shape == (4, 2, 5, 5)
