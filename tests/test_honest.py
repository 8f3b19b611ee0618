"""Are the intervals honest: places of the truth in shops drawn from the prior, coverage, blunders, unexpected benders.

The larger runs stand in tests/benchmarks/calibration_of_intervals.py, which prints them.
"""

from dataclasses import replace

import numpy as np
import pytest
from benchmarks.calibration_of_intervals import ASKED, held, kit_shop, own_prior, unexpected
from invented_kit import draw_from_prior, with_reading
from scipy import stats

from bendcal.calibration import calibrate
from bendcal.law import PARAMETERS, Law
from bendcal.offcuts import Offcut
from bendcal.prior import Widths
from bendcal.shop import Shop
from bendcal.tools import Tool
from tests.invented import draw_offcuts, draw_shop

#: Tubes, offcuts of each, shops.
DRAWN = ((1, 2, 120), (1, 4, 120), (2, 3, 120), (4, 2, 120))
BINS = 16


@pytest.fixture(scope="module")
def drawn() -> np.ndarray:
    """480 shops drawn from the prior, blunders and all: places of the four answers and of the five parameters."""
    return np.concatenate([
        list(own_prior(np.random.default_rng([20261125, tubes, per_pair]), shops, tubes=tubes, per_pair=per_pair))
        for tubes, per_pair, shops in DRAWN
    ])  # fmt: skip


def p_of_uniform(places: np.ndarray) -> float:
    """Probability of counts at least this uneven in 16 bins, if the places are uniform."""
    return float(stats.chisquare(np.histogram(places, bins=BINS, range=(0, 1))[0]).pvalue)


@pytest.mark.parametrize("name", PARAMETERS)
def test_the_truths_place_in_the_posterior_is_uniform(drawn, name: str) -> None:
    """Simulation-based calibration (Talts et al. 2018): each parameter's place, normal by the law's mean and sd, fills 16 bins evenly.

    Thirty shops a bin; a fit that is right is this uneven once in 1,000 seeds.
    """
    assert p_of_uniform(drawn[:, len(ASKED) + PARAMETERS.index(name)]) > 1e-3


def test_uncertainties_a_quarter_too_small_would_be_found_out(drawn) -> None:
    """The check can fail: the same places, had every sd been a quarter smaller, are uneven beyond doubt, for each parameter."""
    for column in drawn[:, len(ASKED) :].T:
        assert p_of_uniform(stats.norm.cdf(stats.norm.ppf(np.clip(column, 1e-12, 1 - 1e-12)) / 0.75)) < 1e-3


def test_a_shift_of_a_third_of_an_uncertainty_would_be_found_out(drawn) -> None:
    """The check can fail: a bias of 0.3 sd is uneven beyond doubt, for each parameter."""
    for column in drawn[:, len(ASKED) :].T:
        assert p_of_uniform(stats.norm.cdf(stats.norm.ppf(np.clip(column, 1e-12, 1 - 1e-12)) + 0.3)) < 1e-3


def test_the_next_bends_place_is_uniform_too(drawn) -> None:
    """The next bend's finished angle, by the Student's t that its interval comes from."""
    assert p_of_uniform(drawn[:, ASKED.index("next bend")]) > 1e-3


@pytest.mark.parametrize("name", ASKED)
def test_intervals_of_shops_from_the_prior_hold_what_they_say(drawn, name: str) -> None:
    """95 % intervals: 95 % within three standard errors of chance (± 3 on 480 shops); 99 % intervals: more than 97.5 %.

    Longer runs (4,200 laws): 95.5, 95.3, 95.6 and 95.4 %; the degrees of freedom of what is said of the law alone
    were chosen by the 50, 95 and 99 % intervals of another 3,840 answers.
    """
    places = drawn[:, [ASKED.index(name)]]
    assert 92.0 < held(places)[0] < 98.0
    assert held(places, 0.99)[0] > 97.5
    if name in ("next bend", "dial_for"):
        assert 43 < held(places, 0.5)[0] < 57


# --- benders that the prior does not expect -----------------------------------------------------

CURVES = ("power", "swift", "voce", "linear")


@pytest.mark.parametrize("per_pair", [3, 8])
def test_other_flow_curves_some_bow_and_some_drift_are_covered(per_pair: int) -> None:
    """Four kinds of flow curve, dial bow of sd 0.4°, drift of sd 0.01° a bend, 120 benders: at least 92 % less chance (± 5)."""
    rng = np.random.default_rng([3, per_pair])
    found = np.array(list(unexpected(rng, 120, per_pair=per_pair, kinds=CURVES, bow_sd_deg=0.4, drift_sd_deg=0.01)))
    assert held(found[:, 2:]).min() > 92 - 5


@pytest.mark.parametrize("per_pair", [3, 8])
def test_a_dial_that_bows_by_a_degree_and_a_hand_that_drifts_are_covered_too(per_pair: int) -> None:
    """Bow of sd 1° and drift of sd 0.02° a bend, each twice what the prior expects, 120 benders: at least 92 % less chance (± 5).

    Measured on 600 benders: the dial setting's interval holds 93.5 % with three offcuts a tube, 91.5 % with eight;
    before bow and drift were in the model it was 86 and 82 %.
    """
    found = np.array(list(unexpected(np.random.default_rng(4), 120, per_pair=per_pair, kinds=CURVES, bow_sd_deg=1.0, drift_sd_deg=0.02)))
    assert held(found[:, 2:]).min() > 92 - 5


def test_an_invented_shop_reaches_the_kit_reading_by_reading() -> None:
    """What the simulator wrote down is what the kit is given: number of pieces, pairs and every reading."""
    rng = np.random.default_rng(5)
    invented = draw_shop(rng, 2, 2)
    rows = draw_offcuts(rng, invented, per_pair=3)
    shop = kit_shop(invented, rows)
    assert len(shop.offcuts) == 12 and len(shop.pairs()) == 4
    assert [o.angle_deg for o in shop.offcuts] == [row["angle_deg"] for row in rows]


# --- blunders -----------------------------------------------------------------------------------

BLIND = Tool("blind", "angle", 0.0, 1e4)


def swapped(degrees: float) -> float:
    """The angle with tens and ones exchanged."""
    whole, part = divmod(degrees, 1.0)
    return whole // 100 * 100 + whole % 10 * 10 + whole // 10 % 10 + part


def spoilt(shop: Shop, kind: str) -> tuple[Offcut, dict, dict] | None:
    """A piece of the first pair, what is written down in its place, and what takes just those readings away; None where nothing would show."""
    mine = [o for o in shop.offcuts if (o.bender, o.tube) == shop.pairs()[0]]
    if kind == "digits swapped":
        fit = [o for o in mine if 10 <= o.angle_deg < 100 and abs(swapped(o.angle_deg) - o.angle_deg) > 10]
        return (fit[0], {"angle_deg": swapped(fit[0].angle_deg)}, {"angle_tool": BLIND.tool}) if fit else None
    legs = {"leg_a_mm": None, "leg_b_mm": None}
    if kind == "legs exchanged":
        fit = [o for o in mine if abs(o.leg_a_mm - o.leg_b_mm) > 5]
        return (fit[0], {"leg_a_mm": fit[0].leg_b_mm, "leg_b_mm": fit[0].leg_a_mm}, legs) if fit else None
    piece = max(mine, key=lambda o: o.angle_deg)
    beyond = shop.tubes[piece.tube].od_mm / 2 * np.tan(np.radians(piece.angle_deg) / 2)
    changed = {"leg_a_mm": piece.leg_a_mm + beyond, "leg_b_mm": piece.leg_b_mm + beyond}
    return (piece, changed, legs) if beyond > 2.5 else None


def moved(law: Law, other: Law) -> float:
    """The largest change of a parameter, in sds of `other`."""
    return float((np.abs(law.parameters - other.parameters) / np.sqrt(np.diag(other.covariance))).max())


@pytest.mark.parametrize("kind", ["digits swapped", "measured to the outside", "legs exchanged"])
def test_a_blunder_in_one_of_six_hardly_moves_the_law(kind: str) -> None:
    """Thirty drawn shops of one tube and six offcuts, one spoilt: it is believed less than half, and the law stays.

    Against the fit from which just the spoilt readings are missing, no parameter moves by more than 0.6 of its sd
    (mostly by less than 0.1). Against the fit without the whole piece it moves more (median some 0.3): that piece's
    other readings are good, and teach.
    """
    honest, without_readings, without_piece = [], [], []
    for seed in range(30):
        drawn = draw_from_prior(np.random.default_rng(seed), tubes=1, per_pair=6).shop
        shop = replace(drawn, tools={**drawn.tools, BLIND.tool: BLIND})
        found = spoilt(shop, kind)
        if found is None:
            continue
        piece, changed, taken_away = found
        pair = shop.pairs()[0]
        cal = calibrate(with_reading(shop, piece.offcut, **changed))
        honest.append(1 - cal.residuals.set_index("offcut").loc[piece.offcut, "blunder_chance"])
        without_readings.append(moved(cal.laws[pair], calibrate(with_reading(shop, piece.offcut, **taken_away)).laws[pair]))
        rest = replace(shop, offcuts=tuple(o for o in shop.offcuts if o != piece))
        without_piece.append(moved(cal.laws[pair], calibrate(rest).laws[pair]))
    assert len(honest) >= 15
    assert max(honest) < 0.5
    assert max(without_readings) < 0.6 and np.median(without_readings) < 0.1
    assert np.median(without_piece) < 0.5


def test_least_squares_would_have_been_moved_by_them() -> None:
    """The slips are worth telling: where blunders are no wider than honest readings, the same ones move the law by sds, not by tenths."""
    trusting = Widths(blunder_angle_deg=1e-6, blunder_leg_mm=1e-6)
    far = []
    for seed in range(10):
        shop = draw_from_prior(np.random.default_rng(seed), tubes=1, per_pair=6).shop
        piece, changed, _ = spoilt(shop, "digits swapped") or (None, None, None)
        if piece is not None:
            pair = shop.pairs()[0]
            wrong, right = (calibrate(one, widths=trusting).laws[pair] for one in (with_reading(shop, piece.offcut, **changed), shop))
            far.append(moved(wrong, right))
    assert np.median(far) > 2.0


# --- beyond what was bent -----------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(5))
def test_beyond_the_calibrated_range_the_interval_grows(seed: int) -> None:
    """Offcuts between 50° and 70° on the dial only: going away from them, the intervals of angle and dial setting widen step by step."""
    drawn = draw_from_prior(np.random.default_rng(seed), tubes=1, per_pair=6)
    truth, pair = drawn.truth["bender 0", "tube 0"], ("bender 0", "tube 0")
    rng = np.random.default_rng([6, seed])
    pieces = []
    for piece, dial in zip(drawn.shop.offcuts, np.linspace(50, 70, 6), strict=True):
        angle = truth[0] + truth[1] * dial + 0.5 * rng.normal()
        pieces.append(replace(piece, dial_deg=dial, angle_deg=angle, leg_a_mm=None, leg_b_mm=None))
    law = calibrate(replace(drawn.shop, offcuts=tuple(pieces))).laws[pair]
    for away in (np.linspace(70, 130, 13), np.linspace(50, 10, 9)):
        assert np.all(np.diff(law.finished_angle(away).u) > 0)
        assert np.all(np.diff(law.dial_for(law.finished_angle(away).value).u) > 0)
    inside = law.dial_for(law.finished_angle(60.0).value).u
    assert law.dial_for(law.finished_angle(120.0).value).u > 1.5 * inside
    assert not law.covers(law.finished_angle(90.0).value)
