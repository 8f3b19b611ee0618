"""Averaging over scales: exact for normal posteriors, near the integral for others, and in few evaluations."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from bendcal.inference.scales import Averaged, average_over


def moments(found: Averaged) -> tuple[np.ndarray, np.ndarray]:
    """Mean (D,) and covariance (D, D) of the settings under their weights."""
    mean = found.weight @ found.points
    return mean, (found.points - mean).T @ ((found.points - mean) * found.weight[:, None])


def normal_likelihood(at: np.ndarray, covariance: np.ndarray):
    """Readings that say: x is `at`, with this covariance."""
    density = multivariate_normal(at, covariance)
    return lambda x: np.atleast_1d(density.logpdf(x))


@given(st.integers(1, 3), st.integers(0, 2**32 - 1))
def test_normal_likelihoods_are_exact(d: int, seed: int) -> None:
    """Normal readings on the normal prior: mean, covariance and log evidence are the product's, correlations and all."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(d, d))
    covariance = root @ root.T + np.diag(rng.uniform(0.01, 1.0, size=d))
    at = 2 * rng.normal(size=d)
    found = average_over(normal_likelihood(at, covariance), d)
    mean, spread = moments(found)
    exact = np.linalg.inv(np.eye(d) + np.linalg.inv(covariance))
    np.testing.assert_allclose(spread, exact, rtol=1e-6, atol=1e-7)
    np.testing.assert_allclose(mean, exact @ np.linalg.solve(covariance, at), rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(found.mode, mean, atol=1e-6)
    assert found.log_evidence == pytest.approx(multivariate_normal(cov=np.eye(d) + covariance).logpdf(at), abs=1e-6)
    assert found.weight.sum() == pytest.approx(1.0) and len(found.points) == 3**d


def test_readings_that_say_nothing_leave_the_prior() -> None:
    """A level likelihood: mean 0, covariance 1, log evidence that of the level."""
    found = average_over(lambda x: np.full(len(x), -7.5), 3)
    mean, covariance = moments(found)
    np.testing.assert_allclose(mean, 0.0, atol=1e-12)
    np.testing.assert_allclose(covariance, np.eye(3), atol=1e-12)
    assert found.log_evidence == pytest.approx(-7.5, abs=1e-12)


@pytest.mark.parametrize("sd", [0.3, 0.1, 0.03])
def test_a_sharp_posterior_far_from_the_prior_is_found(sd: float) -> None:
    """Readings that know a scale to 0.03 prior sds, 2.5 away from the start: exact still."""
    found = average_over(normal_likelihood(np.array([2.5]), np.array([[sd**2]])), 1)
    mean, covariance = moments(found)
    exact = 1 / (1 + sd**-2)
    assert mean[0] == pytest.approx(exact * 2.5 / sd**2, abs=1e-3 * sd)
    assert covariance[0, 0] == pytest.approx(exact, rel=1e-3)


@pytest.mark.parametrize("start", [None, [0.5, -0.5], [3.0, 3.0]])
def test_where_the_search_begins_does_not_matter(start) -> None:
    """From the prior's mean or from elsewhere: the same mode."""
    likelihood = normal_likelihood(np.array([1.0, -1.0]), np.array([[0.2, 0.1], [0.1, 0.3]]))
    found = average_over(likelihood, 2, start=None if start is None else np.array(start))
    np.testing.assert_allclose(found.mode, average_over(likelihood, 2).mode, atol=1e-6)


# --- not normal: an unknown standard deviation --------------------------------------------------

SPREAD = 0.5  # the standard deviation is exp(SPREAD·x), as the kit has its scatter


def log_likelihood_of_sd(x: np.ndarray, squares: float, n: int) -> np.ndarray:
    """log probability of n readings with this sum of squares about a known mean."""
    sd = np.exp(SPREAD * x)
    return -0.5 * squares / sd**2 - n * np.log(sd) - 0.5 * n * np.log(2 * np.pi)


def integrated(squares: float, n: int, power: int) -> float:
    """∫ sd^power · prior · likelihood dx, by adaptive quadrature."""
    def density(x: float) -> float:
        return float(np.exp(power * SPREAD * x + log_likelihood_of_sd(np.array(x), squares, n)) * norm.pdf(x))

    return quad(density, -8, 8, epsabs=0, epsrel=1e-11, points=[-1, 0, 1], limit=200)[0]


@pytest.mark.parametrize(("n", "squares"), [(2, 0.3), (3, 9.0), (6, 2.0), (12, 20.0), (40, 90.0)])
@pytest.mark.parametrize(("nodes", "within"), [(3, 0.04), (9, 4e-4)])
def test_an_unknown_scatter_against_quadrature(n: int, squares: float, nodes: int, within: float) -> None:
    """Mean of the variance (relative) and log evidence, from two readings to forty: 4 % with three settings, 0.04 % with nine."""
    found = average_over(lambda x: log_likelihood_of_sd(x[:, 0], squares, n), 1, nodes=nodes)
    total = integrated(squares, n, 0)
    variance = float(found.weight @ np.exp(2 * SPREAD * found.points[:, 0]))
    assert variance == pytest.approx(integrated(squares, n, 2) / total, rel=within)
    assert found.log_evidence == pytest.approx(np.log(total), abs=within)


def test_a_plugged_in_scatter_would_be_too_sure() -> None:
    """Three readings: the averaged variance is a fifth and more above that at the most probable scatter."""
    found = average_over(lambda x: log_likelihood_of_sd(x[:, 0], 3.0, 3), 1)
    averaged = float(found.weight @ np.exp(2 * SPREAD * found.points[:, 0]))
    assert averaged > 1.2 * float(np.exp(2 * SPREAD * found.mode[0]))


@given(st.integers(1, 3), st.integers(0, 2**32 - 1))
def test_likelihoods_that_bend_the_wrong_way_end_in_numbers(d: int, seed: int) -> None:
    """Heavy-tailed likelihoods, flat or hollow at the start: weights that add up, settings and evidence that are numbers."""
    rng = np.random.default_rng(seed)
    at, width = rng.normal(size=d) * 3, rng.uniform(0.05, 2.0, size=d)
    found = average_over(lambda x: -3.0 * np.log1p((((x - at) / width) ** 2).sum(axis=1)), d)
    assert found.weight.sum() == pytest.approx(1.0) and np.all(found.weight >= 0)
    assert np.isfinite(found.points).all() and np.isfinite(found.log_evidence)


def test_ordinary_posteriors_take_few_evaluations() -> None:
    """Three scales hardly known better than before: at most three batches of settings for the search, one for the average."""
    batches = []

    def likelihood(x: np.ndarray) -> np.ndarray:
        batches.append(len(x))
        return log_likelihood_of_sd(x[:, 0], 3.0, 4) + log_likelihood_of_sd(x[:, 1], 5.0, 3) - 0.3 * x[:, 2] ** 2

    average_over(likelihood, 3)
    assert len(batches) <= 4 and batches[-1] == 27


@given(st.integers(0, 2**32 - 1))
def test_the_same_question_has_the_same_answer(seed: int) -> None:
    """No randomness: twice the same settings and weights."""
    rng = np.random.default_rng(seed)
    at, covariance = rng.normal(size=2), np.diag(rng.uniform(0.1, 2.0, size=2))
    one, two = (average_over(normal_likelihood(at, covariance), 2) for _ in range(2))
    np.testing.assert_array_equal(one.points, two.points)
    np.testing.assert_array_equal(one.weight, two.weight)
