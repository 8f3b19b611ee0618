"""Errors in variables against published lines, a dense formula of its own, and other people's solvers."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from bendcal.inference.latent import LatentFit, Linearised, solve

Array = np.ndarray


def fit(
    readings: Array, covariance: Array, model: Callable[[Array, Array], Linearised], start: Array, hidden_start: Array, *,
    hidden_variance: Array | float = np.inf, group: Array | None = None, **more,
) -> LatentFit:
    """`solve` from the covariance of each piece's readings (N, q, q), NaN readings left out."""
    readings = np.asarray(readings, float)
    taken = np.isfinite(readings)
    both = taken[:, :, None] & taken[:, None, :]
    filled = np.where(both, covariance, np.eye(readings.shape[1]))
    return solve(
        model, readings=readings, precision=np.where(both, np.linalg.inv(filled), 0.0), log_det=np.linalg.slogdet(filled)[1],
        hidden_variance=hidden_variance, group=np.zeros(len(readings), int) if group is None else group,
        start=np.atleast_2d(start), hidden_start=hidden_start, **more,
    )  # fmt: skip


def york(x, y, ux, uy, **more) -> LatentFit:
    """A straight line with errors in both variables: x = ξ + e, y = a + b·ξ + e, ξ anything."""
    x, y = np.asarray(x, float), np.asarray(y, float)

    def model(p: Array, xi: Array) -> Linearised:
        one, none = np.ones_like(xi), np.zeros_like(xi)
        by_p = np.stack([np.stack([none, none], 1), np.stack([one, xi], 1)], 1)
        return Linearised(
            np.stack([xi, p[:, 0] + p[:, 1] * xi], 1), by_p, np.stack([one, p[:, 1]], 1), none, np.stack([none, none], 1)
        )

    covariance = np.zeros((len(x), 2, 2))
    covariance[:, 0, 0], covariance[:, 1, 1] = np.asarray(ux, float) ** 2, np.asarray(uy, float) ** 2
    more = {"start": [np.nanmean(y), 0.1]} | more
    return fit(np.stack([x, y], 1), covariance, model, hidden_start=np.where(np.isfinite(x), x, 0.0), **more)


def line(x, y, u, **more) -> LatentFit:
    """A straight line with exact x: one reading a piece, on which nothing hidden bears."""
    x, y = np.asarray(x, float), np.asarray(y, float)

    def model(p: Array, xi: Array) -> Linearised:
        none = np.zeros_like(xi)
        by_p = np.stack([np.ones_like(x), x], 1)[:, None, :]
        return Linearised((p[:, 0] + p[:, 1] * x)[:, None], by_p, none[:, None], none, np.zeros((len(x), 2)))

    covariance = np.broadcast_to(np.asarray(u, float) ** 2, x.shape)[:, None, None] * np.ones((1, 1, 1))
    return fit(y[:, None], covariance, model, np.zeros(2), np.zeros(len(x)), hidden_variance=1.0, **more)


def inverse(of: LatentFit, y0: float, u0: float) -> tuple[float, float]:
    """x₀ = (y₀ − a)/b and its uncertainty, with that of y₀ (ISO/TS 28037:2010, 6.4)."""
    (a, b), c = of.p[0], of.covariance[0]
    x0 = (y0 - a) / b
    return x0, np.sqrt(u0**2 + c[0, 0] + x0**2 * c[1, 1] + 2 * x0 * c[0, 1]) / b


# --- Pearson's data with York's weights ---------------------------------------------------------

# D. York, Can. J. Phys. 44 (1966) 1079, tables I and II; read in the tests of GTC and of an R package.
X = np.array([0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
UX = np.array([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1]) ** -0.5
UY = np.array([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500]) ** -0.5


def test_pearsons_data_give_the_published_line() -> None:
    """Intercept 5.47991022, slope −0.480533407 (Neri et al., J. Phys. E 22 (1989) 215: read in GTC's tests)."""
    found = york(X, Y, UX, UY)
    assert found.p[0] == pytest.approx([5.47991022, -0.480533407], abs=6e-9)
    assert found.chi2 == pytest.approx(11.866353194, abs=1e-8)
    # S/(n − 2) = 1.4833 (Murray, 1994: read)
    assert round(found.chi2 / 8, 4) == 1.4833
    assert found.steps < 40


def test_pearsons_uncertainties_follow_the_convention_that_is_named() -> None:
    """0.295 and 0.058 (York et al., 2004: memory); the digits beyond recomputed by York's formula and by ODRPACK."""
    c = york(X, Y, UX, UY).covariance[0]
    assert np.sqrt(np.diag(c)) == pytest.approx([0.294970735, 0.057985009], abs=1e-8)
    assert c[0, 1] == pytest.approx(-0.016472545, abs=1e-8)
    # Two other conventions are in use: full propagation (0.29193, read in GTC's tests) and the
    # Hessian of the profile (0.29237, recomputed). They are 1 % away, and this is neither.
    assert np.abs(np.sqrt(c[0, 0]) / np.array([0.29193, 0.29237]) - 1).min() > 0.008


def test_swapping_the_axes_gives_the_same_line() -> None:
    """x against y has the slope 1/b and the intercept −a/b, and the same χ² (errors in both know no favourite)."""
    one, other = york(X, Y, UX, UY), york(Y, X, UY, UX, start=[11.0, -2.0])
    a, b = one.p[0]
    assert other.p[0] == pytest.approx([-a / b, 1 / b], rel=1e-9)
    assert other.p[0] == pytest.approx([11.4038070, -2.0810208], abs=1e-6)
    assert other.chi2 == pytest.approx(one.chi2, rel=1e-10)


def test_pearsons_line_is_odrpacks() -> None:
    """ODRPACK, another algorithm, finds the same line, hidden values and covariance."""
    odrpack = pytest.importorskip("odrpack")
    other = odrpack.odr_fit(
        lambda x, beta: beta[0] + beta[1] * x, X, Y, np.array([5.0, -0.4]), weight_x=UX**-2.0, weight_y=UY**-2.0,
        sstol=1e-14, partol=1e-14, maxit=1000,
    )  # fmt: skip
    found = york(X, Y, UX, UY)
    assert found.p[0] == pytest.approx(other.beta, rel=1e-6)
    assert found.covariance[0] == pytest.approx(np.asarray(other.cov_beta), rel=1e-4)
    assert found.xi == pytest.approx(X + other.delta, abs=1e-6)


def test_a_bent_curve_with_errors_in_both_is_odrpacks_too() -> None:
    """y = a·exp(b·ξ): nothing here is linear, and the two solvers agree on parameters and χ²."""
    odrpack = pytest.importorskip("odrpack")
    rng = np.random.default_rng(4)
    truth = np.linspace(0.2, 3.0, 12)
    x, y = truth + 0.05 * rng.normal(size=12), 2.0 * np.exp(0.5 * truth) + 0.1 * rng.normal(size=12)

    def model(p: Array, xi: Array) -> Linearised:
        grow = np.exp(p[:, 1] * xi)
        by_p = np.stack([np.zeros((12, 2)), np.stack([grow, p[:, 0] * xi * grow], 1)], 1)
        by_xi = np.stack([np.ones(12), p[:, 0] * p[:, 1] * grow], 1)
        return Linearised(np.stack([xi, p[:, 0] * grow], 1), by_p, by_xi, np.zeros(12), np.zeros((12, 2)))

    covariance = np.broadcast_to(np.diag([0.05**2, 0.1**2]), (12, 2, 2))
    found = fit(np.stack([x, y], 1), covariance, model, np.array([1.5, 0.6]), x)
    other = odrpack.odr_fit(
        lambda x, beta: beta[0] * np.exp(beta[1] * x), x, y, np.array([1.5, 0.6]), weight_x=0.05**-2.0, weight_y=0.1**-2.0,
        sstol=1e-14, partol=1e-14,
    )  # fmt: skip
    assert found.p[0] == pytest.approx(other.beta, rel=1e-6)
    assert found.chi2 == pytest.approx(other.sum_square, rel=1e-8)
    assert found.covariance[0] == pytest.approx(np.asarray(other.cov_beta), rel=1e-3)


# --- the GUM's thermometer and ISO/TS 28037 -----------------------------------------------------


def test_the_gums_thermometer() -> None:
    """JCGM 100:2008, H.3: data read in GTC's documentation; printed results from memory, r read in a forum post."""
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
    found = line(t - 20, b, 1.0)
    s = np.sqrt(found.chi2 / 9)
    u = s * np.sqrt(np.diag(found.covariance[0]))
    r = found.covariance[0, 0, 1] / np.sqrt(found.covariance[0, 0, 0] * found.covariance[0, 1, 1])
    assert [f"{v:.4f}" for v in (found.p[0, 0], u[0], s)] == ["-0.1712", "0.0029", "0.0035"]
    assert [f"{v:.5f}" for v in (found.p[0, 1], u[1])] == ["0.00218", "0.00067"]
    assert f"{r:.3f}" == "-0.930"
    at = np.array([1.0, 10.0])
    assert f"{at @ found.p[0]:.4f}, {s * np.sqrt(at @ found.covariance[0] @ at):.4f}" == "-0.1494, 0.0041"


# ISO/TS 28037:2010, 6.3 examples 1 and 2, 7.4; printed values read in GTC's documentation and tests, which cite the pages.
ISO_1 = ([1, 2, 3, 4, 5, 6], [3.3, 5.6, 7.1, 9.3, 10.7, 12.1], 0.5)
ISO_2 = ([1, 2, 3, 4, 5, 6], [3.2, 4.3, 7.6, 8.6, 11.7, 12.8], [0.5, 0.5, 0.5, 1, 1, 1])
ISO_7_4 = ([1.2, 1.9, 2.9, 4.0, 4.7, 5.9], [3.4, 4.4, 7.2, 8.5, 10.8, 13.5], 0.2, [0.2, 0.2, 0.2, 0.4, 0.4, 0.4])


def printed(found: LatentFit, digits: str) -> list[str]:
    """a, u(a), b, u(b), covariance, χ² to the digits of the standard."""
    c = found.covariance[0]
    values = (found.p[0, 0], np.sqrt(c[0, 0]), found.p[0, 1], np.sqrt(c[1, 1]), c[0, 1], found.chi2)
    return [f"{v:.{d}f}" for v, d in zip(values, digits, strict=True)]


def test_iso_28037_equal_weights() -> None:
    """6.3, example 1, page 13: 1.867, 0.465, 1.757, 0.120, −0.050, 1.665 (read)."""
    assert printed(line(*ISO_1), "333333") == ["1.867", "0.465", "1.757", "0.120", "-0.050", "1.665"]


def test_iso_28037_unequal_weights() -> None:
    """6.3, example 2, pages 14 and 15: 0.885, 0.530, 2.057, 0.178, −0.082, 4.131 (read)."""
    assert printed(line(*ISO_2), "333333") == ["0.885", "0.530", "2.057", "0.178", "-0.082", "4.131"]


def test_iso_28037_errors_in_both() -> None:
    """7.4, page 21: 0.5788, 0.4764, 2.160, 0.1355, −0.0577, 2.743 (read; the slope is printed as 2.159, cut not rounded)."""
    x, y, ux, uy = ISO_7_4
    found = york(x, y, ux, uy)
    assert printed(found, "443443") == ["0.5788", "0.4764", "2.160", "0.1355", "-0.0577", "2.743"]
    assert np.floor(found.p[0, 1] * 1000) / 1000 == 2.159
    assert found.p[0] == pytest.approx([0.578822122, 2.159656567], abs=1e-9)


@pytest.mark.parametrize(
    ("data", "y0", "u0", "x0", "u"),
    [(ISO_1, 10.5, 0.5, 4.913279132791, 0.322035560129), (ISO_2, 10.5, 1.0, 4.674256410256, 0.533180902231)],
)
def test_iso_28037_inverse_use(data, y0: float, u0: float, x0: float, u: float) -> None:
    """6.4: x₀ = 4.913, u 0.322 and 4.674, u 0.533 (read; further digits recomputed)."""
    assert inverse(line(*data), y0, u0) == pytest.approx((x0, u), abs=1e-10)


def test_gtc_finds_the_same_lines() -> None:
    """GTC's weighted and total least squares, and its inverse, agree with the first two and the third example."""
    type_a = pytest.importorskip("GTC.type_a")
    value, u = (pytest.importorskip("GTC").value, pytest.importorskip("GTC").uncertainty)
    for x, y, uy in (ISO_1, ISO_2):
        found, other = line(x, y, uy), type_a.line_fit_wls(x, y, np.broadcast_to(uy, len(x)).tolist())
        a, b = other.a_b
        assert found.p[0] == pytest.approx([value(a), value(b)], rel=1e-9)
        assert np.sqrt(np.diag(found.covariance[0])) == pytest.approx([u(a), u(b)], rel=1e-9)
        assert found.chi2 == pytest.approx(other.ssr, rel=1e-9)
    x, y, ux, uy = ISO_7_4
    a, b = type_a.line_fit_wtls(x, y, [ux] * 6, uy).a_b
    assert york(x, y, ux, uy).p[0] == pytest.approx([value(a), value(b)], rel=1e-6)


# --- with a prior -------------------------------------------------------------------------------

PRIOR = {"prior_mean": np.array([[0.0, 2.0]]), "prior_precision": np.linalg.inv(np.diag([4.0, 0.25]))[None]}


def test_a_normal_prior_on_a_line_in_closed_form() -> None:
    """ISO's first example with the prior N((0, 2), diag(4, 0.25)): closed form, computed by two routes (derived)."""
    found = line(*ISO_1, **PRIOR)
    c = found.covariance[0]
    assert found.p[0] == pytest.approx([1.73104925, 1.79073876], abs=1e-8)
    assert np.sqrt(np.diag(c)) == pytest.approx([0.44384923, 0.11393770], abs=1e-8)
    assert c[0, 1] == pytest.approx(-0.044967880086, abs=1e-11)
    assert found.log_evidence == pytest.approx(-6.458993544106, abs=1e-10)


def test_half_of_the_readings_after_the_other_half_teach_the_same() -> None:
    """Yesterday's answer as today's prior: the same mean and covariance, and the log evidences add up."""
    x, y, u = ISO_1
    first = line(x[:2], y[:2], u, **PRIOR)
    then = line(x[2:], y[2:], u, prior_mean=first.p, prior_precision=np.linalg.inv(first.covariance))
    at_once = line(*ISO_1, **PRIOR)
    assert then.p == pytest.approx(at_once.p, abs=1e-11)
    assert then.covariance == pytest.approx(at_once.covariance, abs=1e-12)
    assert first.log_evidence + then.log_evidence == pytest.approx(at_once.log_evidence, abs=1e-10)


# --- against a dense formula --------------------------------------------------------------------


def random_linear(seed: int, n: int = 9, q: int = 3, params: int = 4) -> dict:
    """A linear problem with correlated readings, some not taken, and finite hidden variances."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(n, q, q)) + 2 * np.eye(q)
    prior_root = rng.normal(size=(params, params)) + 3 * np.eye(params)
    readings = rng.normal(size=(n, q)) * 3
    readings[rng.random((n, q)) < 0.2] = np.nan
    readings[:, 0] = rng.normal(size=n)
    return {
        "by_p": rng.normal(size=(n, q, params)), "by_xi": rng.normal(size=(n, q)), "mu": rng.normal(size=n),
        "mu_by_p": rng.normal(size=(n, params)), "offset": rng.normal(size=(n, q)),
        "covariance": root @ np.swapaxes(root, 1, 2), "v": rng.uniform(0.1, 4.0, n), "readings": readings,
        "mean": rng.normal(size=params), "prior": prior_root @ prior_root.T,
    }  # fmt: skip


def solve_linear(d: dict, **more) -> LatentFit:
    """The problem above by `solve`, started away from the answer."""

    def model(p: Array, xi: Array) -> Linearised:
        h = d["offset"] + np.einsum("nqp,np->nq", d["by_p"], p) + d["by_xi"] * xi[:, None]
        return Linearised(h, d["by_p"], d["by_xi"], d["mu"] + np.einsum("np,np->n", d["mu_by_p"], p), d["mu_by_p"])

    start = np.full(d["by_p"].shape[2], 5.0)
    return fit(d["readings"], d["covariance"], model, start, np.ones(len(d["v"])), hidden_variance=d["v"], **more)


def dense(d: dict) -> tuple[Array, Array, Array]:
    """All readings as one vector z = z₀ + J·p + e with everything hidden summed out: z − z₀, J, cov."""
    taken = np.isfinite(d["readings"])
    design = d["by_p"] + d["by_xi"][..., None] * d["mu_by_p"][:, None, :]
    z = d["readings"] - d["offset"] - d["by_xi"] * d["mu"][:, None]
    place = np.flatnonzero(taken.ravel())
    n, q = taken.shape
    noise = np.zeros((n * q, n * q))
    for i in range(n):
        at = slice(i * q, i * q + q)
        noise[at, at] = d["covariance"][i] + d["v"][i] * np.outer(d["by_xi"][i], d["by_xi"][i])
    return z.ravel()[place], design.reshape(n * q, -1)[place], noise[np.ix_(place, place)]


@pytest.mark.parametrize("seed", range(4))
def test_hidden_values_that_scatter_are_those_of_the_dense_formula(seed: int) -> None:
    """Posterior mean, covariance and probability of the readings, with the hidden values summed out by hand."""
    d = random_linear(seed)
    z, design, noise = dense(d)
    found = solve_linear(d, prior_mean=d["mean"][None], prior_precision=np.linalg.inv(d["prior"])[None])
    covariance = np.linalg.inv(design.T @ np.linalg.solve(noise, design) + np.linalg.inv(d["prior"]))
    mean = covariance @ (design.T @ np.linalg.solve(noise, z) + np.linalg.solve(d["prior"], d["mean"]))
    assert found.p[0] == pytest.approx(mean, abs=1e-9)
    assert found.covariance[0] == pytest.approx(covariance, abs=1e-10)
    # Summed out over both: z is normal about J·mean with the noise and the prior's share.
    says = multivariate_normal(design @ d["mean"], noise + design @ d["prior"] @ design.T)
    assert found.log_evidence == pytest.approx(says.logpdf(z), abs=1e-9)


def test_hidden_values_are_the_most_probable_ones() -> None:
    """No shift of ξ and p raises the joint probability: 500 random points nearby are all less probable."""
    d = random_linear(9)
    found = solve_linear(d, prior_mean=d["mean"][None], prior_precision=np.linalg.inv(d["prior"])[None])
    precision = np.linalg.inv(d["prior"])

    def cost(p: Array, xi: Array) -> float:
        off = d["readings"] - d["offset"] - d["by_p"] @ p - d["by_xi"] * xi[:, None]
        total = (p - d["mean"]) @ precision @ (p - d["mean"]) + np.sum((xi - d["mu"] - d["mu_by_p"] @ p) ** 2 / d["v"])
        for off_one, c in zip(off, d["covariance"], strict=True):
            at = np.flatnonzero(np.isfinite(off_one))
            total += off_one[at] @ np.linalg.solve(c[np.ix_(at, at)], off_one[at])
        return total

    best = cost(found.p[0], found.xi)
    assert best == pytest.approx(found.chi2, rel=1e-9)
    rng = np.random.default_rng(0)
    others = [cost(found.p[0] + 1e-3 * rng.normal(size=4), found.xi + 1e-3 * rng.normal(size=9)) for _ in range(500)]
    assert min(others) > best


# --- groups, gaps and limits --------------------------------------------------------------------


def test_groups_do_not_hear_of_one_another() -> None:
    """Two lines fitted at once are the two lines fitted apart, whatever the order of the pieces."""
    x, y, ux, uy = ISO_7_4
    order = np.random.default_rng(3).permutation(16)
    group = np.repeat([0, 1], [10, 6])[order]
    both = york(
        np.append(X, x)[order], np.append(Y, y)[order], np.append(UX, np.full(6, ux))[order], np.append(UY, uy)[order],
        group=group, start=[[5.0, -0.4], [1.0, 2.0]],
    )  # fmt: skip
    for k, alone in enumerate([york(X, Y, UX, UY), york(x, y, ux, uy)]):
        assert both.p[k] == pytest.approx(alone.p[0], abs=1e-9)
        assert both.covariance[k] == pytest.approx(alone.covariance[0], rel=1e-8)
    assert both.chi2 == pytest.approx(11.866353194 + 2.742676790, abs=1e-7)


def test_a_piece_without_its_second_reading_says_nothing_of_the_line() -> None:
    """With ξ free, an x alone changes neither the line nor its χ²."""
    some = york(np.append(X, 3.0), np.append(Y, np.nan), np.append(UX, 0.1), np.append(UY, 0.1))
    whole = york(X, Y, UX, UY)
    assert some.p == pytest.approx(whole.p, abs=1e-9)
    assert some.chi2 == pytest.approx(whole.chi2, rel=1e-10)
    assert some.xi[-1] == pytest.approx(3.0)


def test_tight_x_makes_it_the_ordinary_line() -> None:
    """As u(x) goes to nothing, errors in both become weighted least squares."""
    x, y, u = ISO_2
    assert york(x, y, 1e-6, u).p == pytest.approx(line(x, y, u).p, abs=1e-8)
    assert york(x, y, 1e-6, u).covariance == pytest.approx(line(x, y, u).covariance, abs=1e-8)


def test_neglecting_the_error_of_x_flattens_the_slope() -> None:
    """Ordinary least squares gives Pearson's data −0.5396 (York, 1966: memory; recomputed), which is not the answer."""
    found = line(X, Y, 1.0)
    assert found.p[0] == pytest.approx([5.761185190439, -0.539577274984], abs=1e-10)


def test_a_parameter_that_nothing_bears_on_is_refused() -> None:
    """Zero weight on the slope (all x at 0), and two numbers that cannot be told apart (all x alike)."""
    with pytest.raises(ValueError, match="say nothing of one of the parameters"):
        line([0, 0, 0], [1, 2, 3], 0.5)
    with pytest.raises(ValueError, match="cannot tell two of the parameters apart"):
        line([2, 2, 2], [1, 2, 3], 0.5)
    with pytest.raises(ValueError, match="cannot tell two of the parameters apart"):
        line([2], [1], 0.5)


def test_a_prior_determines_what_the_readings_do_not() -> None:
    """One reading and a prior make a finite answer, no narrower than the prior in the direction that was not read."""
    found = line([0.0], [1.0], 0.5, **PRIOR)
    assert found.p[0, 1] == pytest.approx(2.0)
    assert found.covariance[0] == pytest.approx(np.diag([1 / (1 / 4 + 1 / 0.25), 0.25]))


def test_a_fit_that_is_cut_short_says_so() -> None:
    """One step from a poor start is no answer."""
    with pytest.raises(RuntimeError, match="did not settle in 2 steps"):
        york(X, Y, UX, UY, max_steps=2)
