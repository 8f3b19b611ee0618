"""Pieces as mixtures: one kind of noise is the textbook's conjugate answer, several are held against summing them all."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import multivariate_normal, norm

from bendcal.inference.pooling import Pool
from bendcal.inference.sites import _inverse, _inverse_and_log_det, _never_negative, outer_information, settle


def one_law(prior: np.ndarray) -> Pool:
    """A single group whose parameters have covariance `prior` about their centre, and nothing shared."""
    p = len(prior)
    return Pool(
        centre=np.zeros((1, p)), owner=np.zeros(1, int), kind=np.zeros(1, int), by_owner=np.zeros((1, p, 1)),
        by_kind=np.zeros((1, p)), owner_variance=np.ones((1, 1)), kind_variance=np.ones(1), own=np.asarray(prior, float)[None],
    )  # fmt: skip


def settled(pool: Pool, design, z, noise, log_prior=(0.0,), *, scales=(1.0,), group=None, **options):
    """`settle` on readings z (N, q) with noise (N, C, q, q) the same at every scale, to the last digit."""
    design, z, noise = np.asarray(design, float), np.asarray(z, float), np.asarray(noise, float)
    scales = np.asarray(scales, float)
    return settle(
        lambda precision, shift: pool.solve(precision, shift, scales), design=design, z=z,
        noise=np.broadcast_to(noise, (len(scales), *noise.shape)), log_prior=np.asarray(log_prior, float),
        group=np.zeros(len(z), int) if group is None else group, groups=len(pool.centre),
        **({"tolerance": 1e-11, "max_rounds": 200} | options),
    )  # fmt: skip


# --- one kind of noise: no approximation left ---------------------------------------------------

# ISO/TS 28037:2010 6.3, first example (read in GTC's documentation); the prior N((0, 2), diag(4, 0.25)), noise variance
# 0.25 and all answers: closed form, computed by two routes (derived).
X = np.arange(1.0, 7.0)
Y = np.array([3.3, 5.6, 7.1, 9.3, 10.7, 12.1])
PRIOR_MEAN, PRIOR = np.array([0.0, 2.0]), np.diag([4.0, 0.25])
LINE = np.stack([np.ones(6), X], axis=1)


@pytest.mark.parametrize("together", [1, 2, 3, 6])
def test_one_kind_of_noise_is_the_conjugate_answer(together: int) -> None:
    """Means, uncertainties, prediction and log evidence of a line, its readings taken 1, 2, 3 or 6 to a piece."""
    pieces = 6 // together
    design = LINE.reshape(pieces, together, 2)
    noise = np.broadcast_to(0.25 * np.eye(together), (pieces, 1, together, together))
    sites, answer = settled(one_law(PRIOR), design, (Y - LINE @ PRIOR_MEAN).reshape(pieces, together), noise)
    mean, covariance = PRIOR_MEAN + answer.mean[0, 0], answer.covariance[0, 0]
    assert mean == pytest.approx([1.73104925, 1.79073876], abs=6e-9)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.44384923, 0.11393770], abs=6e-9)
    assert covariance[0, 1] == pytest.approx(-0.044967880086, abs=1e-11)
    assert sites.log_evidence[0] == pytest.approx(-6.458993544106, abs=1e-11)
    at = np.array([1.0, 3.5])
    assert at @ mean == pytest.approx(7.998634903640, abs=1e-11)
    assert np.sqrt(at @ covariance @ at) == pytest.approx(0.203110844, abs=6e-10)
    assert np.sqrt(at @ covariance @ at + 0.25) == pytest.approx(0.539679548, abs=6e-10)
    assert sites.rounds <= 2 and np.all(sites.chance == 1.0)


def test_what_the_others_say_is_the_answer_without_the_piece() -> None:
    """Each piece's outside mean and covariance are those of a fit that never saw it."""
    rng = np.random.default_rng(1)
    design, z = rng.normal(size=(5, 2, 3)), rng.normal(size=(5, 2))
    noise = np.broadcast_to(np.array([[0.5, -0.2], [-0.2, 0.8]]), (5, 1, 2, 2))
    pool = one_law(np.diag([1.0, 2.0, 3.0]))
    sites, _ = settled(pool, design, z, noise)
    for i in range(5):
        rest = np.arange(5) != i
        _, without = settled(pool, design[rest], z[rest], noise[rest])
        np.testing.assert_allclose(sites.outside_mean[0, i], design[i] @ without.mean[0, 0], rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(
            sites.outside_covariance[0, i], design[i] @ without.covariance[0, 0] @ design[i].T, rtol=1e-9, atol=1e-12
        )


def test_without_pieces_the_prior_comes_back() -> None:
    """No reading at all: mean 0, the prior's covariance, log evidence 0."""
    sites, answer = settled(one_law(PRIOR), np.zeros((0, 1, 2)), np.zeros((0, 1)), np.zeros((0, 1, 1, 1)))
    assert np.all(answer.mean == 0) and sites.log_evidence[0] == pytest.approx(0.0, abs=1e-15)
    np.testing.assert_allclose(answer.covariance[0, 0], PRIOR)


def test_scales_side_by_side_are_the_same_as_one_after_the_other() -> None:
    """Three settings of the own scale at once give what each gives alone."""
    rng = np.random.default_rng(2)
    design, z = rng.normal(size=(6, 1, 2)), 3 * rng.normal(size=(6, 1))
    noise = np.stack([np.full((6, 1, 1), 0.3), np.full((6, 1, 1), 25.0)], axis=1)
    chances, scales = np.log([0.95, 0.05]), (0.5, 1.0, 3.0)
    sites, answer = settled(one_law(PRIOR), design, z, noise, chances, scales=scales)
    for s, scale in enumerate(scales):
        alone, one = settled(one_law(PRIOR), design, z, noise, chances, scales=(scale,))
        np.testing.assert_allclose(answer.mean[s], one.mean[0], rtol=1e-7)
        assert sites.log_evidence[s] == pytest.approx(alone.log_evidence[0], abs=1e-7)
        np.testing.assert_allclose(sites.at(np.array([s])).chance, alone.chance, atol=1e-7)


# --- several kinds of noise, against numbers summed on a grid -----------------------------------

HONEST, STRAY, BLUNDER = 0.25, 100.0, 0.03
KINDS = np.log([1 - BLUNDER, BLUNDER])


def mixture_noise(n: int) -> np.ndarray:
    """(N, 2, 1, 1): honest, or astray by a normal of variance STRAY more."""
    return np.broadcast_to(np.array([HONEST, HONEST + STRAY])[:, None, None], (n, 2, 1, 1))


def log_mixture(off: np.ndarray) -> np.ndarray:
    """log probability density of a reading that is `off` from the truth."""
    return np.logaddexp(
        KINDS[0] + norm.logpdf(off, scale=HONEST**0.5), KINDS[1] + norm.logpdf(off, scale=(HONEST + STRAY) ** 0.5)
    )


def on_a_line(z, prior_sd: float) -> tuple[float, float, float]:
    """Mean, sd and log evidence of one number with prior N(0, prior_sd²), read as each of z: the rule of small rectangles."""
    x = np.linspace(-30 * prior_sd - 20, 30 * prior_sd + 20, 200_001)
    log_density = norm.logpdf(x, scale=prior_sd) + sum(log_mixture(one - x) for one in z)
    top = log_density.max()
    density = np.exp(log_density - top)
    mean = (density @ x) / density.sum()
    return mean, np.sqrt(density @ (x - mean) ** 2 / density.sum()), top + np.log(density.sum() * (x[1] - x[0]))


@pytest.mark.parametrize("z", [0.0, 1.0, 2.0, 6.0, 8.0, -30.0])
def test_a_single_mixture_is_exact(z: float) -> None:
    """One reading, honest or a blunder, that does not widen what was known: mean, sd and log evidence to nine digits."""
    sites, answer = settled(one_law([[1.0]]), np.ones((1, 1, 1)), [[z]], mixture_noise(1), KINDS)
    mean, sd, log_evidence = on_a_line([z], 1.0)
    assert answer.mean[0, 0, 0] == pytest.approx(mean, rel=1e-9, abs=1e-9)
    assert np.sqrt(answer.covariance[0, 0, 0, 0]) == pytest.approx(sd, rel=1e-9)
    assert sites.log_evidence[0] == pytest.approx(log_evidence, abs=1e-9)


def test_a_reading_that_is_half_believed_keeps_its_mean_and_takes_nothing_away() -> None:
    """Where the exact answer is wider than the prior (two humps) the mean is still exact, the sd stays the prior's: too short."""
    sites, answer = settled(one_law([[1.0]]), np.ones((1, 1, 1)), [[4.0]], mixture_noise(1), KINDS)
    mean, sd, log_evidence = on_a_line([4.0], 1.0)
    assert 0.2 < sites.chance[0, 0, 0] < 0.8 and sd > 1.5
    assert answer.mean[0, 0, 0] == pytest.approx(mean, rel=1e-9)
    assert answer.covariance[0, 0, 0, 0] == pytest.approx(1.0, rel=1e-9)
    assert sites.log_evidence[0] == pytest.approx(log_evidence, abs=1e-9)


@pytest.mark.parametrize(
    ("z", "prior_sd"),
    [([0.0, 0.3, 9.0], 1.0), ([0.1, 0.5, -0.3, 5.0], 1.0), ([0.1, 0.5, -0.3, 5.0], 10.0), ([0.1, 0.5, -0.3, 0.2, 7.0, 9.0], 10.0)],
)
def test_several_mixtures_against_the_grid(z, prior_sd: float) -> None:
    """Three and more readings, one or two of them wild: mean to 1 % of the sd, sd to 1 %, log evidence to 0.001."""
    sites, answer = settled(one_law([[prior_sd**2]]), np.ones((len(z), 1, 1)), np.array(z)[:, None], mixture_noise(len(z)), KINDS)
    mean, sd, log_evidence = on_a_line(z, prior_sd)
    assert answer.mean[0, 0, 0] == pytest.approx(mean, abs=0.01 * sd)
    assert np.sqrt(answer.covariance[0, 0, 0, 0]) == pytest.approx(sd, rel=0.01)
    assert sites.log_evidence[0] == pytest.approx(log_evidence, abs=1e-3)
    wild = np.array(z) > 4
    assert np.all(sites.chance[0, wild, 0] < 0.05) and np.all(sites.chance[0, ~wild, 0] > 0.95)


def test_a_line_of_mixtures_against_a_grid_in_two_dimensions() -> None:
    """Six readings of a line, the last of them 9 off at the end where it has most leverage, summed on a 1201 × 1201 grid."""
    z = Y - LINE @ PRIOR_MEAN
    z[-1] += 9.0
    sites, answer = settled(one_law(PRIOR), LINE[:, None, :], z[:, None], mixture_noise(6), KINDS)
    a = np.linspace(-4.0, 8.0, 1201)
    b = np.linspace(-2.0, 1.5, 1201)
    log_density = norm.logpdf(a, scale=2.0)[:, None] + norm.logpdf(b, scale=0.5)
    for (one, x), value in zip(LINE, z, strict=True):
        log_density = log_density + log_mixture(value - one * a[:, None] - x * b)
    top = log_density.max()
    density = np.exp(log_density - top)
    total = density.sum()
    mean = np.array([(density.sum(1) @ a) / total, (density.sum(0) @ b) / total])
    sd = np.sqrt([density.sum(1) @ (a - mean[0]) ** 2 / total, density.sum(0) @ (b - mean[1]) ** 2 / total])
    assert answer.mean[0, 0] == pytest.approx(mean, abs=0.01 * sd.min())
    assert np.sqrt(np.diag(answer.covariance[0, 0])) == pytest.approx(sd, rel=0.005)
    assert sites.log_evidence[0] == pytest.approx(top + np.log(total * (a[1] - a[0]) * (b[1] - b[0])), abs=1e-3)
    assert sites.chance[0, -1, 0] < 1e-4


# --- pieces of three readings, against every way in which they can be honest or not -------------

#: As the kit has it: no blunder, one of three readings, or the last two together.
WILD = ((), (0,), (1,), (2,), (1, 2))


def summed_over_all_ways(pool: Pool, design, z, noise, log_prior, group):
    """Mean, covariance, log evidence and chances as the sum over all C^N kinds of noise of all pieces: exact."""
    n, kinds = noise.shape[:2]
    ways = np.array(list(product(range(kinds), repeat=n)))
    precision = np.linalg.inv(noise)[np.arange(n), ways]
    shift = (precision @ z[:, :, None])[..., 0]
    answer = pool.solve(*outer_information(design, precision, shift, group, len(pool.centre)), np.ones(len(ways)))
    constant = np.log(2 * np.pi) * z.size + np.linalg.slogdet(noise)[1][np.arange(n), ways].sum(1)
    log_weight = answer.log_mass + log_prior[ways].sum(1) - 0.5 * (constant + np.einsum("ni,wni->w", z, shift))
    top = log_weight.max()
    weight = np.exp(log_weight - top)
    total = weight.sum()
    weight /= total
    mean = np.einsum("w,wkp->kp", weight, answer.mean)
    apart = answer.mean - mean
    covariance = np.einsum("w,wkpq->kpq", weight, answer.covariance) + np.einsum("w,wkp,wkq->kpq", weight, apart, apart)
    chance = np.array([[weight[ways[:, i] == c].sum() for c in range(kinds)] for i in range(n)])
    return mean, covariance, top + np.log(total), chance


def crossed_pieces(rng, blunders: dict[int, tuple[int, ...]]):
    """Two groups that share a bender, three pieces each with three readings; `blunders` names the readings that go astray."""
    own = rng.normal(size=(2, 3, 3)) * 0.3
    pool = Pool(
        centre=np.zeros((2, 3)), owner=np.zeros(2, int), kind=np.arange(2), by_owner=rng.normal(size=(2, 3, 2)),
        by_kind=rng.normal(size=(2, 3)), owner_variance=np.full((1, 2), 4.0), kind_variance=np.ones(2),
        own=own @ np.swapaxes(own, 1, 2) + 0.01 * np.eye(3),
    )  # fmt: skip
    group = np.repeat([0, 1], 3)
    design = rng.normal(size=(6, 3, 3)) + np.eye(3)
    honest = np.array([[0.2, 0.05, 0.0], [0.05, 0.1, -0.05], [0.0, -0.05, 0.15]])
    noise = np.stack([honest + np.diag([400.0 * (i in wild) for i in range(3)]) for wild in WILD])
    truth = rng.multivariate_normal(np.zeros(3), np.eye(3), size=2)
    z = np.einsum("nqp,np->nq", design, truth[group]) + rng.multivariate_normal(np.zeros(3), honest, size=6)
    for piece, readings in blunders.items():
        z[piece, list(readings)] += 15.0
    return pool, design, z, np.broadcast_to(noise, (6, *noise.shape)), np.log([0.96] + 4 * [0.01]), group


@pytest.mark.parametrize(
    "blunders", [{}, {0: (0,)}, {2: (1,)}, {1: (1, 2)}, {0: (0,), 4: (2,)}, {1: (0,), 3: (1, 2)}], ids=str
)
def test_crossed_pieces_against_the_sum_over_all_ways(blunders) -> None:
    """Six pieces in two laws of one bender, none, one or two of them with blunders: all 15,625 ways summed.

    Means within 2 % of the sd, sds within 2 %, log evidence within 0.02, chances within 0.02.
    """
    pool, design, z, noise, log_prior, group = crossed_pieces(np.random.default_rng(7), blunders)
    sites, answer = settled(pool, design, z, noise, log_prior, group=group, tolerance=1e-6)
    mean, covariance, log_evidence, chance = summed_over_all_ways(pool, design, z, noise, log_prior, group)
    sd = np.sqrt(np.einsum("kpp->kp", covariance))
    assert np.abs((answer.mean[0] - mean) / sd).max() < 0.02
    assert np.sqrt(np.einsum("kpp->kp", answer.covariance[0])) == pytest.approx(sd, rel=0.02)
    assert sites.log_evidence[0] == pytest.approx(log_evidence, abs=0.02)
    assert np.abs(sites.chance[0] - chance).max() < 0.02
    for piece in range(6):
        named = WILD[int(np.argmax(sites.chance[0, piece]))]
        assert named == blunders.get(piece, ())


def test_the_order_of_the_pieces_does_not_matter() -> None:
    """Pieces of one group in another order: the same answer."""
    pool, design, z, noise, log_prior, group = crossed_pieces(np.random.default_rng(9), {1: (1, 2)})
    _, found = settled(pool, design, z, noise, log_prior, group=group)
    way = np.array([2, 0, 1, 5, 3, 4])
    _, again = settled(pool, design[way], z[way], noise[way], log_prior, group=group)
    np.testing.assert_allclose(again.mean, found.mean, rtol=1e-6, atol=1e-8)


def test_a_start_that_is_the_answer_needs_no_further_round() -> None:
    """What the pieces said in the end, given as the beginning, is confirmed at once."""
    pool, design, z, noise, log_prior, group = crossed_pieces(np.random.default_rng(10), {0: (0,)})
    sites, answer = settled(pool, design, z, noise, log_prior, group=group, tolerance=1e-9)
    again, same = settled(
        pool, design, z, noise, log_prior, group=group, tolerance=1e-6, start=(sites.precision, sites.shift)
    )
    assert again.rounds == 1
    np.testing.assert_allclose(same.mean, answer.mean)


@given(st.integers(0, 2**32 - 1))
def test_contradictions_end_in_numbers(seed: int) -> None:
    """However the readings contradict one another: no NaN, covariances that are covariances, chances that add up to 1."""
    rng = np.random.default_rng(seed)
    pool, design, z, noise, log_prior, group = crossed_pieces(rng, {})
    z = z + rng.normal(size=z.shape) * rng.choice([0.0, 1.0, 3.0, 30.0], size=z.shape)
    start = (rng.normal(size=(1, 6, 3, 3)), rng.normal(size=(1, 6, 3)))  # a start that is no precision at all
    start = (start[0] + np.swapaxes(start[0], 2, 3), start[1])
    for begin in (None, start):
        sites, answer = settled(pool, design, z, noise, log_prior, group=group, start=begin, max_rounds=12)
        assert np.isfinite(sites.log_evidence).all() and np.isfinite(answer.mean).all()
        assert np.linalg.eigvalsh(answer.covariance).min() > 0
        assert sites.chance.sum(-1) == pytest.approx(1.0) and sites.rounds <= 12


# --- small matrices -----------------------------------------------------------------------------


@given(st.integers(1, 3), st.integers(0, 2**32 - 1))
def test_a_negative_precision_is_cut_to_the_nearest_that_is_not(q: int, seed: int) -> None:
    """Eigenvalues below zero become zero, the rest of the matrix and every good matrix stay as they are."""
    rng = np.random.default_rng(seed)
    matrices = rng.normal(size=(3, 4, q, q))
    matrices = matrices + np.swapaxes(matrices, -1, -2)
    good = rng.normal(size=(3, 4, q, q))
    good = good @ np.swapaxes(good, -1, -2) + 0.01 * np.eye(q)
    values, vectors = np.linalg.eigh(matrices)
    wanted = np.einsum("...ij,...j,...kj->...ik", vectors, np.maximum(values, 0), vectors)
    np.testing.assert_allclose(_never_negative(matrices.copy()), wanted, atol=1e-12)
    np.testing.assert_array_equal(_never_negative(good.copy()), good)


@given(st.integers(1, 4), st.integers(0, 2**32 - 1))
def test_inverses_in_closed_form(q: int, seed: int) -> None:
    """Inverse and log determinant of many small matrices are LAPACK's."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(2, 5, q, q))
    matrices = root @ np.swapaxes(root, -1, -2) + 0.1 * np.eye(q)
    inverse, log_det = _inverse_and_log_det(matrices)
    np.testing.assert_allclose(inverse, np.linalg.inv(matrices), rtol=1e-8, atol=1e-10)
    np.testing.assert_allclose(log_det, np.linalg.slogdet(matrices)[1], rtol=1e-9, atol=1e-9)
    lopsided = root + 5 * np.eye(q)
    np.testing.assert_allclose(_inverse(lopsided) @ lopsided, np.broadcast_to(np.eye(q), lopsided.shape), atol=1e-7)


def test_a_group_without_pieces_adds_nothing() -> None:
    """Three groups, the middle one and the last without a piece: zeros there, the sum of the pieces elsewhere."""
    rng = np.random.default_rng(11)
    design, precision, shift = rng.normal(size=(3, 2, 4)), rng.normal(size=(1, 3, 2, 2)), rng.normal(size=(1, 3, 2))
    information, push = outer_information(design, precision, shift, np.array([0, 0, 2]), 4)
    assert np.all(information[:, [1, 3]] == 0) and np.all(push[:, [1, 3]] == 0)
    wanted = sum(design[i].T @ precision[0, i] @ design[i] for i in (0, 1))
    np.testing.assert_allclose(information[0, 0], wanted, rtol=1e-12)
    np.testing.assert_allclose(push[0, 2], design[2].T @ shift[0, 2], rtol=1e-12)


def test_the_prior_predictive_is_the_evidence_of_honest_readings() -> None:
    """With one kind of noise and several correlated groups, the log evidence is the multivariate normal's at the readings."""
    pool, design, z, noise, _, group = crossed_pieces(np.random.default_rng(12), {})
    sites, _ = settled(pool, design, z, noise[:, :1], group=group)
    causes = np.zeros((6, 4))
    for i in range(2):
        causes[3 * i : 3 * i + 3, :2] = pool.by_owner[i]
        causes[3 * i : 3 * i + 3, 2 + i] = pool.by_kind[i]
    prior = causes @ np.diag([4.0, 4.0, 1.0, 1.0]) @ causes.T
    for i in range(2):
        prior[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] += pool.own[i]
    wide = np.zeros((18, 6))
    for i, k in enumerate(group):
        wide[3 * i : 3 * i + 3, 3 * k : 3 * k + 3] = design[i]
    whole = wide @ prior @ wide.T + np.kron(np.eye(6), noise[0, 0])
    assert sites.log_evidence[0] == pytest.approx(multivariate_normal(cov=whole).logpdf(z.ravel()), abs=1e-8)
