"""The fit against long runs of a general-purpose sampler on the same model, written down anew (tests/reference)."""

import json
from pathlib import Path

import numpy as np
import pytest

from bendcal.calibration import calibrate
from bendcal.fit import fit_laws
from bendcal.pieces import pieces_of
from bendcal.prior import WIDTHS, pool_of
from tests.reference.shops import SHOPS

RECORD = json.loads((Path(__file__).parent / "reference" / "nuts.json").read_text(encoding="utf-8"))


def test_the_record_says_how_it_was_made() -> None:
    """Versions, seed, chains and draws stand in the record, and it holds every shop."""
    assert set(RECORD["versions"]) >= {"numpyro", "jax", "python"}
    assert isinstance(RECORD["seed"], int) and RECORD["chains"] >= 4 and RECORD["draws"] >= 5000
    assert set(RECORD["shops"]) == set(SHOPS)


@pytest.mark.parametrize("name", SHOPS)
def test_the_sampler_had_converged(name: str) -> None:
    """Effective draws above 10,000 (a mean is good to 1 % of its sd), R̂ below 1.001, divergences below one in a thousand draws."""
    run = RECORD["shops"][name]
    assert run["ess_min"] > 10_000 and run["rhat_max"] < 1.001
    assert run["divergences"] < 0.001 * RECORD["chains"] * RECORD["draws"]


@pytest.mark.parametrize("name", SHOPS)
def test_the_laws_are_the_samplers(name: str) -> None:
    """Every parameter of every law, its bender's bow and its drift: mean within 5 % of the posterior sd, sd within 5 %.

    Measured: 2.1 % and 2.0 % at worst, of which the sampler's own error is about 1 %.
    """
    run, shop = RECORD["shops"][name], SHOPS[name]()
    pairs = shop.pairs()
    assert [list(pair) for pair in pairs] == run["pairs"]
    fit, sd = fit_laws(pieces_of(shop, pairs), pool_of(shop, pairs)), np.array(run["sd"])
    assert np.abs((fit.p - run["mean"]) / sd).max() < 0.05
    assert np.sqrt(np.diagonal(fit.covariance, axis1=1, axis2=2)) == pytest.approx(sd, rel=0.05)
    for k, law in enumerate(calibrate(shop).laws.values()):
        assert law.parameters.to_numpy() == pytest.approx(fit.p[k, :5]) and law.covariance.to_numpy() == pytest.approx(fit.covariance[k, :5, :5])


@pytest.mark.parametrize("name", SHOPS)
def test_the_scales_are_the_samplers(name: str) -> None:
    """Scatter, tools' scale and own scale: the posterior means that the sampler's log scales amount to, within 5 % of their spread."""
    run = RECORD["shops"][name]
    shop = SHOPS[name]()
    pairs = shop.pairs()
    found = fit_laws(pieces_of(shop, pairs), pool_of(shop, pairs)).scales
    mean, sd = np.array(run["log_scales_mean"]), np.array(run["log_scales_sd"])
    widths = np.array([WIDTHS.scatter_log_sd, WIDTHS.reading_log_sd, WIDTHS.own_log_sd])
    # The mean of exp(w·x) for a normal x; the record has only the first two moments of x.
    wanted = np.array([WIDTHS.scatter_deg, 1.0, 1.0]) * np.exp(widths * mean + (widths * sd) ** 2 / 2)
    assert np.abs(np.log(np.array(found) / wanted) / (widths * sd)).max() < 0.05
