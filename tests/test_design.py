"""Which offcut next: published optimal designs, brute force, the mark sheets, and invented benders."""

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bendcal.benders import Bender
from bendcal.calibration import calibrate
from bendcal.design import next_offcuts, plan_offcuts
from bendcal.design.optimal import exchanged, gains, greedy_design, updated
from bendcal.design.outlook import after, chain, standing
from bendcal.design.prospects import prospects_of
from bendcal.files.folder import read_shop
from bendcal.fit import fit_laws
from bendcal.inference.sites import outer_information
from bendcal.lines import line_from_legs
from bendcal.marks import mark_out
from bendcal.materials import ALLOYS
from bendcal.offcuts import Offcut
from bendcal.pieces import pieces_of
from bendcal.prior import Widths, pool_of
from bendcal.shop import Shop, UnknownName
from bendcal.tools import Tool
from bendcal.tubes import Tube

SAMPLE = Path(__file__).resolve().parent.parent / "sample_measurements"


def powers(x: np.ndarray, degree: int) -> np.ndarray:
    """Rows 1, x, x², … as candidates with one reading each, (N, 1, degree + 1)."""
    return np.stack([x**i for i in range(degree + 1)], axis=-1)[:, None, :]


def moments(degree: int) -> np.ndarray:
    """A aim with AᵀA = mean of f·fᵀ over [−1, 1]: its tr(A·C·Aᵀ) is the mean variance of a prediction."""
    exponent = np.add.outer(np.arange(degree + 1), np.arange(degree + 1))
    return np.linalg.cholesky(np.where(exponent % 2, 0.0, 1.0 / (exponent + 1))).T


def shares(x: np.ndarray, picks: np.ndarray, at: list[float]) -> list[float]:
    """Which share of the picks lies nearest to each of these places."""
    nearest = np.abs(x[picks][:, None] - np.array(at)).argmin(axis=1)
    return [float(np.mean(nearest == i)) for i in range(len(at))]


# ---- published designs ------------------------------------------------------------------
# Designs on [-1, 1] after Smith (1918) and Kiefer & Wolfowitz (1959, 1960): supports, weights and
# the equivalence of D- and G-optimality, read as quoted in St. John & Draper (Technometrics 17,
# 1975): secondary. The greedy picks were computed beforehand by another program: derived.

GRID = np.linspace(-1.0, 1.0, 2001)
ONES = np.ones((len(GRID), 1, 1))


def test_a_straight_line_is_best_known_from_its_two_ends() -> None:
    """D- and I-optimal for a line: half of the points at each end, mean variance 4/3 and largest 2 (n points, times n)."""
    start = np.linalg.inv(np.diag([1e-4, 0.25e-4]))  # as good as nothing: a ten-thousandth of readings at ±0.5
    for aim in (None, moments(1)):
        found = greedy_design(powers(GRID, 1), ONES, start, steps=43, aim=aim)
        assert sorted(set(GRID[found.picks[3:]])) == [-1.0, 1.0]  # the first make good for having no start
        assert shares(GRID, found.picks[3:], [-1, 1]) == pytest.approx([0.5, 0.5], abs=0.03)
        found = greedy_design(powers(GRID[::2000], 1), ONES[::2000], start, steps=40, aim=aim)
        variance = np.einsum("nqp,pr,nqr->n", powers(GRID, 1), found.covariance, powers(GRID, 1))
        assert 40 * variance.max() == pytest.approx(2, rel=1e-4)
        assert 40 * np.trace(moments(1) @ found.covariance @ moments(1).T) == pytest.approx(4 / 3, rel=1e-4)


def start_of_three() -> np.ndarray:
    """Covariance of a quadratic's coefficients after readings at −1, 0.3 and 1."""
    rows = powers(np.array([-1.0, 0.3, 1.0]), 2)[:, 0]
    return np.linalg.inv(rows.T @ rows)


def test_greedy_picks_for_a_quadratic_by_its_determinant() -> None:
    """From −1, 0.3, 1 the picks are −0.077, −1, 1, −0.030, −1, 1; 60 steps on, the counts are 21, 20, 21 and the design is G-optimal."""
    found = greedy_design(powers(GRID, 2), ONES, start_of_three(), steps=60)
    assert GRID[found.picks[:6]] == pytest.approx([-0.077, -1, 1, -0.030, -1, 1], abs=6e-4)
    counts = np.round(60 * np.array(shares(GRID, found.picks, [-1, 0, 1]))) + [1, 0, 1]
    assert counts.tolist() == [21, 20, 21]
    variance = np.einsum("nqp,pr,nqr->n", powers(GRID, 2), found.covariance, powers(GRID, 2))
    assert 63 * variance.max() / 3 == pytest.approx(1, abs=0.01)
    n = len(found.picks) + 3
    assert np.linalg.det(np.linalg.inv(found.covariance) / n) ** (1 / 3) == pytest.approx((4 / 27) ** (1 / 3), rel=0.005)


def test_greedy_picks_for_a_quadratic_by_its_mean_variance() -> None:
    """From −1, 0.3, 1 the picks are −0.105, −0.126, −1, 1, −0.013, with mean variances 0.551176 … 0.270419."""
    found = greedy_design(powers(GRID, 2), ONES, start_of_three(), steps=5, aim=moments(2))
    assert GRID[found.picks] == pytest.approx([-0.105, -0.126, -1, 1, -0.013], abs=6e-4)
    before = np.trace(moments(2) @ start_of_three() @ moments(2).T)
    assert before - np.cumsum(found.gain) == pytest.approx([0.551176, 0.444843, 0.381565, 0.320788, 0.270419], abs=2e-6)


def test_a_quadratic_is_best_predicted_with_half_of_the_points_in_the_middle() -> None:
    """I-optimal for a quadratic: 1/4, 1/2, 1/4 at −1, 0, 1, with mean variance 32/15."""
    found = greedy_design(powers(GRID, 2), ONES, 1e6 * np.eye(3), steps=200, aim=moments(2))
    assert shares(GRID, found.picks, [-1, 0, 1]) == pytest.approx([0.25, 0.5, 0.25], abs=0.015)
    assert 200 * np.trace(moments(2) @ found.covariance @ moments(2).T) == pytest.approx(32 / 15, rel=0.005)


def test_a_cubic_has_four_points_of_equal_weight() -> None:
    """D-optimal for a cubic: a quarter each at ±1 and ±1/√5."""
    found = greedy_design(powers(GRID, 3), ONES, 1e4 * np.eye(4), steps=200)
    late = found.picks[40:]
    assert shares(GRID, late, [-1, -(5**-0.5), 5**-0.5, 1]) == pytest.approx([0.25] * 4, abs=0.02)
    inner = np.abs(GRID[late][np.abs(GRID[late]) < 0.9])
    assert inner == pytest.approx(np.full(len(inner), 5**-0.5), abs=0.03)


@pytest.mark.parametrize(("far", "weights", "variance"), [(1.5, [1 / 6, 5 / 6], 2.25), (2.0, [1 / 4, 3 / 4], 4.0)])
def test_beyond_the_range_most_points_lie_at_the_nearer_end(far, weights, variance) -> None:
    """c-optimal extrapolation of a line (Hoel & Levine, Ann. Math. Stat. 35, 1964, 1553: secondary): weights and variance x₀²."""
    found = greedy_design(powers(GRID, 1), ONES, 1e6 * np.eye(2), steps=600, aim=np.array([[1.0, far]]))
    assert shares(GRID, found.picks, [-1, 1]) == pytest.approx(weights, abs=0.005)
    assert 600 * np.array([1, far]) @ found.covariance @ [1, far] == pytest.approx(variance, rel=0.002)


# ---- closed forms against brute force ---------------------------------------------------


def draw_problem(seed: int, n: int = 5, q: int = 3, p: int = 6):
    """Random covariance, candidates, noise and aim."""
    rng = np.random.default_rng(seed)
    root, noises, rows = rng.normal(size=(p, p)), rng.normal(size=(n, q, q)), rng.normal(size=(n, q, p))
    return root @ root.T + 0.1 * np.eye(p), rows, noises @ np.swapaxes(noises, 1, 2) + 0.1 * np.eye(q), rng.normal(size=(4, p))


@given(st.integers(0, 10_000))
def test_the_gain_of_the_next_reading_is_what_a_whole_new_fit_gives(seed: int) -> None:
    """tr(A·C·Aᵀ) and log det C fall by the closed form, the inverse of the summed information being the refit."""
    covariance, rows, noise, aim = draw_problem(seed)
    by_aim, by_det = gains(covariance, rows, noise, aim=aim), gains(covariance, rows, noise)
    for i in range(len(rows)):
        refit = np.linalg.inv(np.linalg.inv(covariance) + rows[i].T @ np.linalg.inv(noise[i]) @ rows[i])
        assert updated(covariance, rows[i], noise[i]) == pytest.approx(refit, rel=1e-6, abs=1e-8)
        assert by_aim[i] == pytest.approx(np.trace(aim @ (covariance - refit) @ aim.T), rel=1e-6, abs=1e-8)
        assert by_det[i] == pytest.approx(np.linalg.slogdet(covariance)[1] - np.linalg.slogdet(refit)[1], rel=1e-6, abs=1e-8)


def test_a_single_reading_gains_by_the_textbooks_formula() -> None:
    """For one reading with weight 1 the mean variance falls by (Cf)ᵀW(Cf) / (1 + fᵀCf)."""
    covariance, weight = start_of_three(), moments(2).T @ moments(2)
    each = gains(covariance, powers(GRID[::100], 2), ONES[::100], aim=moments(2))
    for f, gain in zip(powers(GRID[::100], 2)[:, 0], each, strict=True):
        reach = covariance @ f
        assert gain == pytest.approx(reach @ weight @ reach / (1 + f @ reach), rel=1e-10)


def test_the_order_of_readings_does_not_matter() -> None:
    """The covariance after several readings is the same either way round."""
    covariance, rows, noise, _ = draw_problem(1)
    one = two = covariance
    for i in range(5):
        one, two = updated(one, rows[i], noise[i]), updated(two, rows[4 - i], noise[4 - i])
    assert one == pytest.approx(two, rel=1e-9)


def test_a_reading_not_taken_tells_nothing() -> None:
    """A candidate whose rows are zero gains nothing, whatever variance stands there."""
    covariance, rows, noise, aim = draw_problem(2)
    rows, noise = rows * 0.0, np.broadcast_to(np.eye(3), noise.shape)
    assert gains(covariance, rows, noise, aim=aim) == pytest.approx(np.zeros(5))


@given(st.integers(0, 1000))
def test_an_exchange_never_makes_a_set_worse_and_keeps_to_what_is_allowed(seed: int) -> None:
    """Exchanged picks lower the aim's variance by no less, and by what they say; each stays among its own."""
    covariance, rows, noise, aim = draw_problem(seed, n=8, q=1)
    first = greedy_design(rows, noise, covariance, steps=3, aim=aim)
    better = exchanged(rows, noise, covariance, first.picks, aim=aim)
    assert better.gain.sum() >= first.gain.sum() * (1 - 1e-9)
    by_hand = np.trace(aim @ (covariance - better.covariance) @ aim.T)
    assert better.gain.sum() == pytest.approx(by_hand, rel=1e-7)
    allowed = np.zeros((3, 8), bool)
    allowed[np.arange(3), first.picks] = True
    allowed[0] = True
    kept = exchanged(rows, noise, covariance, first.picks, aim=aim, allowed=allowed)
    assert not set(first.picks[1:]) - set(kept.picks)


def test_a_piece_that_costs_more_must_bring_more() -> None:
    """With an effort, the pick is the largest gain for its effort."""
    rows, noise = np.ones((2, 1, 1)), np.array([[[1.0]], [[0.9]]])
    plain = greedy_design(rows, noise, np.eye(1), steps=1, aim=np.eye(1))
    dear = greedy_design(rows, noise, np.eye(1), steps=1, aim=np.eye(1), effort=np.array([1.0, 1.5]))
    assert (plain.picks[0], dear.picks[0]) == (1, 0)


# ---- pairs without offcuts --------------------------------------------------------------


def test_a_group_without_pieces_brings_no_information() -> None:
    """The sum over a group's pieces is zero where it has none, first, in the middle or last."""
    rng = np.random.default_rng(4)
    design, precision, shift = rng.normal(size=(4, 2, 3)), rng.normal(size=(2, 4, 2, 2)), rng.normal(size=(2, 4, 2))
    group = np.array([1, 1, 3, 3])
    information, push = outer_information(design, precision, shift, group, 6)
    for k in range(6):
        mine = [i for i in range(4) if group[i] == k]
        by_hand = sum((np.einsum("qp,sqr,rt->spt", design[i], precision[:, i], design[i]) for i in mine), np.zeros((2, 3, 3)))
        assert information[:, k] == pytest.approx(by_hand)
        assert push[:, k] == pytest.approx(sum((shift[:, i] @ design[i] for i in mine), np.zeros((2, 3))))
    nothing, _ = outer_information(design[:0], precision[:, :0], shift[:, :0], group[:0], 2)
    assert nothing.shape == (2, 2, 3, 3) and not nothing.any()


@pytest.fixture(scope="module")
def sample() -> Shop:
    """The shipped sample."""
    return read_shop(SAMPLE)


def test_an_untried_pair_changes_no_other_law(sample: Shop) -> None:
    """A pair without offcuts gets a law from what it shares, and the laws of the rest stay as they are."""
    pairs = list(sample.pairs())
    wider = [("small", "cuni-1/4"), *pairs]
    alone = fit_laws(pieces_of(sample, pairs), pool_of(sample, pairs))
    found = fit_laws(pieces_of(sample, wider), pool_of(sample, wider))
    assert found.p[1:] == pytest.approx(alone.p, rel=1e-6)
    assert found.covariance[1:] == pytest.approx(alone.covariance, rel=1e-4)
    tried, untried = (found.covariance[k].diagonal()[:5] for k in (1, 0))
    assert np.all(untried > tried)
    nothing = replace(sample, offcuts=())
    believed = fit_laws(pieces_of(nothing, wider), pool_of(nothing, wider))
    assert np.all(untried < believed.covariance[0].diagonal()[:5])


def test_without_any_offcut_the_laws_are_what_was_believed(sample: Shop) -> None:
    """The fit of nothing gives the prior's centre, and its covariance with the own deviations' scale averaged over."""
    nothing, pairs = replace(sample, offcuts=()), sample.pairs()
    pool = pool_of(nothing, pairs)
    fit = fit_laws(pieces_of(nothing, pairs), pool)
    assert fit.p == pytest.approx(pool.centre)
    # The scale is log-normal with median 1 and log-sd 0.5: its mean square is exp(2 · 0.5²).
    assert fit.covariance == pytest.approx(pool.marginal_covariance(np.exp(0.5**2)), rel=0.01)


# ---- where the ends stand ---------------------------------------------------------------


def test_the_advice_starts_from_what_the_mark_sheets_say(sample: Shop) -> None:
    """The trim of every line is the sheet's own, before it is rounded up."""
    cal, advice = calibrate(sample), next_offcuts(sample)
    for row in advice.lines.itertuples():
        sheet = mark_out(sample, cal, row.line)
        assert row.trim_mm == pytest.approx(1.6448536 * sheet.length_u_mm, rel=1e-6)
        assert np.ceil(row.trim_mm) == sheet.trim_mm


def with_pieces(shop: Shop, prospects, picks) -> Shop:
    """The shop with these candidates bent, each having come out just as expected."""
    pieces = []
    for i in picks:
        row = prospects.table.loc[i]
        law = prospects.laws[row.bender, row.tube]
        take_up, gain = law.take_up(row.angle_deg).value, law.gain(row.angle_deg).value
        legs = (100 + take_up, 100 - take_up + gain) if row.readings == "angle and legs" else ()
        like = next(o for o in shop.offcuts if o.bender == row.bender)
        tools = {"angle_tool": like.angle_tool, "length_tool": like.length_tool}
        pieces.append(Offcut(f"new {i}", row.bender, row.tube, 200.0, 100.0, row.dial_deg, row.angle_deg, *legs, **tools))
    return replace(shop, offcuts=(*shop.offcuts, *pieces))


#: With the scales known and no blunders, what a piece teaches does not hang on what it reads: then
#: the promise can be held against a new fit.
KNOWN = Widths(scatter_log_sd=1e-4, reading_log_sd=1e-4, own_log_sd=1e-4, blunder_chance=1e-12)


def few_pieces(sample: Shop) -> Shop:
    """The sample with eight of its offcuts."""
    return replace(sample, offcuts=tuple(o for o in sample.offcuts if o.offcut in ("C1", "C4", "S3", "S4", "D1", "D3", "F1", "F3")))


def left_mm2(prospects) -> np.ndarray:
    """Law-caused variance of each line's end."""
    return np.array([np.trace(aim.by_law @ prospects.covariance @ aim.by_law.T) for aim in prospects.aims])


def test_what_is_promised_is_what_a_new_fit_finds(sample: Shop) -> None:
    """Bent and read, six pieces lower the ends' law-caused variance by what was foretold, within 3 %."""
    few = few_pieces(sample)
    prospects = prospects_of(few, widths=KNOWN)
    picks = np.random.default_rng(3).choice(len(prospects.table), 6, replace=False)
    foretold = standing(prospects, after(prospects, picks), 1.0)[0] ** 2 - [aim.rest_mm2 for aim in prospects.aims]
    found = left_mm2(prospects_of(with_pieces(few, prospects, picks), widths=KNOWN))
    assert np.all(foretold <= left_mm2(prospects) * (1 + 1e-9)) and np.any(foretold < 0.9 * left_mm2(prospects))
    assert found == pytest.approx(foretold, rel=0.03)


def test_the_best_piece_is_the_best_of_all_new_fits(sample: Shop) -> None:
    """Every piece that could be bent is bent and fitted anew: the one that leaves least is the one advised for one piece."""
    few, ask = few_pieces(sample), {"lines": ["brake-near-side"], "dials_deg": [20, 50, 80, 110], "widths": KNOWN}
    prospects = prospects_of(few, **ask)
    left = [float(left_mm2(prospects_of(with_pieces(few, prospects, [i]), **ask))[0]) for i in range(len(prospects.table))]
    legs = np.where(prospects.table.readings == "angle and legs", 1.05, 1.0)
    best = int(np.argmax((float(left_mm2(prospects)[0]) - np.array(left)) / legs))
    advice = next_offcuts(few, ahead=1, count=1, pays_mm=0.0, **ask)
    for table in (advice.ranked, advice.alone):
        assert table.loc[0, ["bender", "tube", "dial_deg", "readings"]].tolist() == prospects.table.iloc[best, :4].tolist()


def test_a_finer_tool_makes_a_piece_worth_more(sample: Shop) -> None:
    """A candidate is read with what the pair's last piece was read with, and a better tool gains more."""
    fine = dict(sample.tools) | {"protractor": Tool("protractor", "angle", 0.1, 0.05)}
    pair = [("small", "cuni-3/16")]
    coarse, sharp = (prospects_of(replace(sample, tools=tools), pairs=pair) for tools in (sample.tools, fine))
    assert np.all(sharp.noise[:, 0, 0] < coarse.noise[:, 0, 0])
    assert np.all(sharp.noise[:, 0, 0] >= 0.05**2)


# ---- the advice -------------------------------------------------------------------------

STEEL, NICKEL = (Tube(name, ALLOYS[alloy], 4.76, 0.71) for name, alloy in (("steel", "low-carbon steel"), ("nickel", "copper-nickel 90/10")))


def small_shop(*offcuts: Offcut, **lines) -> Shop:
    """One bender, two tubes, and lines given by name as (tube, legs, angles, twists)."""
    made = {name: line_from_legs(name, *shape, tube=tube, bender="small", trim_at="B") for name, (tube, *shape) in lines.items()}
    return Shop(
        benders={"small": Bender("small", 15.0, dial_max_deg=135.0)}, tubes={t.tube: t for t in (STEEL, NICKEL)}, offcuts=offcuts, lines=made,
    )


def offcut(tube: str, dial: float, *, legs: bool = True) -> Offcut:
    """A piece of a bender with a = −1°, b = 0.97, R = 15.5 mm, λ = 15.1 mm, m = 2 mm, without any error."""
    angle = -1 + 0.97 * dial
    tan = np.tan(np.radians(angle) / 2)
    both = (100 + 2 + 15.5 * tan, 100 - 2 + 15.5 * tan - 15.1 * np.radians(angle)) if legs else ()
    return Offcut(f"{tube} {dial:g}", "small", tube, 200.0, 100.0, dial, angle, *both)


LONG = ("steel", [200, 300, 200], [90.0, 45.0], [0.0, 90.0])


def test_two_numbers_of_a_dial_are_learned_at_its_ends() -> None:
    """Where only the finished angle matters, between 20° and 120°, four pieces go to the two ends, as for any line."""
    shop = small_shop(*(offcut("steel", 70.0) for _ in range(40)))
    plan = plan_offcuts(shop, lines=[], pairs=[("small", "steel")], dials_deg=np.arange(20, 121, 5), count=4)
    assert set(plan.offcuts.dial_deg) == {20.0, 120.0}


def test_the_ranking_is_in_order_and_adds_up() -> None:
    """Each row of the ranking begins where the row before ended, and falls no faster than it."""
    shop = small_shop(offcut("steel", 60.0), long=LONG)
    advice = next_offcuts(shop, count=6)
    ranked = advice.ranked
    assert np.all(np.diff(ranked.gain) <= 1e-12) and 0 < ranked.gain.sum() < 1
    assert ranked.end_u_before_mm.to_numpy()[1:] == pytest.approx(ranked.end_u_after_mm.to_numpy()[:-1])
    assert ranked.end_u_before_mm[0] == advice.lines.end_u_mm[0]
    assert np.all(advice.alone.gain <= advice.alone.gain[0]) and np.all(np.diff(advice.alone.gain / 1.05) <= advice.alone.gain[0] * 0.05)


def test_nothing_is_offered_beyond_the_dial_or_far_from_the_lines() -> None:
    """Settings lie within 20° of what the lines need, at 15° or more, and never past the dial's end."""
    shop = small_shop(long=("steel", [200, 300, 200], [20.0, 130.0], [0.0, 90.0]))
    table = prospects_of(shop).table
    assert table.dial_deg.min() == 15.0 and table.dial_deg.max() == 135.0
    near = prospects_of(small_shop(long=LONG), pairs=[("small", "steel"), ("small", "nickel")]).table
    assert near.dial_deg.min() == 25.0 and near.dial_deg.max() <= 115.0
    assert set(near.tube) == {"steel", "nickel"}


def test_from_nothing_every_line_gets_a_piece_of_its_own_tube() -> None:
    """The plan holds the tube of every line, the least weighty too, and says where to begin."""
    shop = small_shop(long=LONG, short=("nickel", [60, 60], [30.0], [0.0]))
    plan = plan_offcuts(shop, count=3)
    assert set(plan.offcuts.tube) == {"steel", "nickel"} and plan.offcuts.step.tolist() == [1, 2, 3]
    assert plan.sentence.startswith("To begin, bend 3 offcuts: ")
    advice = next_offcuts(shop)
    assert not advice.stop and "has been bent yet" in advice.sentence
    assert {"steel", "nickel"} <= set(advice.ranked.tube)


def test_a_line_is_not_given_up_before_its_tube_was_bent() -> None:
    """However many pieces taught the bender, a line whose own tube was never bent keeps the advice going."""
    shop = small_shop(*(offcut("steel", d) for d in np.linspace(20, 120, 30)), short=("nickel", [60, 60], [30.0], [0.0]))
    advice = next_offcuts(shop, pays_mm=50.0)
    assert not advice.stop and advice.ranked.tube[0] == "nickel"
    done = next_offcuts(replace(shop, offcuts=(*shop.offcuts, offcut("nickel", 60.0))), pays_mm=50.0)
    assert done.stop and "Only one offcut of nickel was bent on small" in done.sentence


def test_it_says_stop_when_no_more_offcut_pays(sample: Shop) -> None:
    """On the sample, with many offcuts bent, three more would not shrink any trim by 1 mm; asked for less they still pay."""
    advice = next_offcuts(sample)
    assert advice.stop and advice.sentence.startswith("Stop: ") and "by under 1 mm" in advice.sentence
    three = advice.ranked.iloc[:3]
    assert np.all(three.trim_before_mm - three.trim_after_mm < 1)
    assert not next_offcuts(sample, pays_mm=0.01).stop
    assert len(plan_offcuts(sample).offcuts) == 0
    assert plan_offcuts(sample).sentence.startswith("Bend no further offcut: ")


def test_the_sentence_names_what_to_do_and_what_it_is_for() -> None:
    """Tube, dial, bender, readings, line and both uncertainties stand in the sentence."""
    shop = small_shop(offcut("steel", 60.0), long=LONG)
    advice = next_offcuts(shop)
    row = advice.ranked.iloc[0]
    assert f"Bend next: steel to {row.dial_deg:g}° on the dial of small" in advice.sentence
    assert f"of long's end from {row.end_u_before_mm:.1f} to {row.end_u_after_mm:.1f} mm, because " in advice.sentence
    assert str(advice) == advice.sentence


@pytest.mark.parametrize(("bent", "pairs", "dials", "reason"), [
    ([], None, None, "no offcut of steel on small has been bent yet"),
    ([("steel", 60.0)], [("small", "nickel")], None, "what small itself does is the same for steel"),
    ([("steel", 30.0), ("steel", 40.0)], None, [110.0], "its bend of 90° lies beyond what the offcuts covered"),
    ([("steel", 30.0), ("steel", 115.0)], None, [70.0], "it hangs most on the finished angle, which at this setting"),
])  # fmt: skip
def test_the_reason_is_the_one_that_holds(bent, pairs, dials, reason) -> None:
    """A tube never bent, a bender shared, a bend beyond the offcuts, or the angle: the sentence says which."""
    shop = small_shop(*(offcut(*each) for each in bent), long=LONG)
    assert reason in next_offcuts(shop, pairs=pairs, dials_deg=dials, pays_mm=0.0).sentence


def test_where_take_up_and_gain_matter_the_sentence_says_so() -> None:
    """With angles known and no leg ever measured, the legs are asked for, and that is the reason."""
    shop = small_shop(*(offcut("steel", d, legs=False) for d in np.linspace(20, 120, 12)), long=LONG)
    advice = next_offcuts(shop)
    assert advice.ranked.readings[0] == "angle and legs"
    assert "measure both legs" in advice.sentence and "where the bend starts and how much tube it uses" in advice.sentence


def test_legs_are_left_out_where_they_add_little() -> None:
    """With take-up and gain known from many pieces and the angle from few settings, the angle alone is asked for."""
    shop = small_shop(*(offcut("steel", 60.0) for _ in range(30)), long=LONG)
    advice = next_offcuts(shop, ahead=1)
    assert advice.ranked.readings[0] == "angle" and "its angle is enough" in advice.sentence


def test_a_target_is_planned_for_or_said_to_be_out_of_reach() -> None:
    """A trim that can be had takes no more pieces than it needs; one below single bends' own scatter is called that."""
    shop = small_shop(long=LONG)
    plan = plan_offcuts(shop, target_trim_mm=8.0)
    assert plan.lines.trim_after_mm.max() <= 8.0
    assert plan_offcuts(shop, count=len(plan.offcuts) - 1).lines.trim_after_mm.max() > 8.0
    least = plan.lines.trim_least_mm[0]
    out = plan_offcuts(shop, target_trim_mm=round(least - 0.1, 1))
    assert f"mm is not reached: single bends, marks and twists alone ask for {least:.1f} mm on long" in out.sentence
    short = plan_offcuts(shop, target_trim_mm=least + 0.1, count=1)
    assert len(short.offcuts) == 1 and "mm is not reached with so many." in short.sentence


def test_a_weighty_line_is_served_first() -> None:
    """With the weight on one line, the pieces are of its tube."""
    other = ("nickel", [200, 300, 200], [90.0, 45.0], [0.0, 90.0])
    shop = small_shop(offcut("steel", 60.0), offcut("nickel", 60.0), long=LONG, other=other)
    for name, tube in (("long", "steel"), ("other", "nickel")):
        ranked = next_offcuts(shop, weights={"long": 1e-6, "other": 1e-6} | {name: 1.0}, ahead=2).ranked
        assert ranked.tube[0] == tube and ranked.line[0] == name


def test_without_lines_single_bends_stand_in() -> None:
    """No line: the uncertainty of where 100 mm legs end, which every pair gets pieces for."""
    shop = small_shop()
    advice = next_offcuts(shop, pairs=[("small", "steel"), ("small", "nickel")])
    assert advice.lines.line.tolist() == ["100 mm legs of steel on small", "100 mm legs of nickel on small"]
    assert set(advice.ranked.tube) == {"steel", "nickel"}
    assert "where 100 mm legs of" in advice.sentence
    straight = small_shop(offcut("steel", 60.0), straight=("steel", [200], [], []))
    assert next_offcuts(straight).lines.line.tolist() == ["100 mm legs of steel on small"]
    many = small_shop(*(offcut("steel", d) for d in np.linspace(20, 120, 40)))
    assert "how far single bends may be off by under 1 mm" in next_offcuts(many).sentence


def test_a_greedy_set_is_bettered_by_exchange(sample: Shop) -> None:
    """A plan with exchange is never worse than one without, by the lines' summed variance."""
    nothing = replace(sample, offcuts=())
    for count in (5, 8):
        plain, better = (plan_offcuts(nothing, count=count, exchange=on).lines.end_u_after_mm for on in (False, True))
        assert np.sum(better**2) <= np.sum(plain**2) + 0.5


@pytest.mark.parametrize(("wrong", "words"), [
    ({"lines": ["no such"]}, "no line called 'no such'"),
    ({"pairs": [("small", "no such")]}, "no tube called 'no such'"),
    ({"pairs": [("no such", "steel")]}, "no bender called 'no such'"),
])  # fmt: skip
def test_unknown_names_are_named(wrong, words) -> None:
    """A line, tube or bender that the shop does not have is refused with its name."""
    with pytest.raises(UnknownName, match=words):
        next_offcuts(small_shop(long=LONG), **wrong)


@pytest.mark.parametrize(("wrong", "words"), [
    ({"dials_deg": [200.0]}, "None of the dial settings can be bent"),
    ({"dials_deg": [0.0, 90.0]}, "give dial settings above 0°"),
    ({"dials_deg": [np.nan]}, "give dial settings above 0°"),
    ({"chance": 1.0}, "chance is 1.0; it must be at least 0.5"),
    ({"pays_mm": -1.0}, "pays_mm is -1.0; it must be 0 or more"),
    ({"count": -1}, "count is -1; it must be 0 or more"),
    ({"weights": {"long": -1.0}}, "weight of line 'long' is -1.0; it must be 0 or more"),
])  # fmt: skip
def test_what_cannot_be_used_is_refused(wrong, words) -> None:
    """Settings beyond the dial, no settings, chances and counts out of range: each has its sentence."""
    for ask in (next_offcuts, plan_offcuts):
        with pytest.raises(ValueError, match=words):
            ask(small_shop(long=LONG), **wrong)


def test_with_neither_line_nor_offcut_a_pair_must_be_named() -> None:
    """Nothing says which tube goes with which bender: the sentence says what to name."""
    with pytest.raises(ValueError, match="Name at least one pair, such as pairs="):
        next_offcuts(small_shop())


# ---- invented benders -------------------------------------------------------------------


def benchmark():
    """tests/benchmarks/design.py as a module."""
    path = Path(__file__).resolve().parent / "benchmarks" / "design.py"
    spec = importlib.util.spec_from_file_location("benchmark_design", path)
    module = importlib.util.module_from_spec(spec)
    kept = list(sys.path)
    spec.loader.exec_module(module)
    sys.path[:] = kept
    return module


@pytest.mark.parametrize(
    ("kind", "share"), [("one bender, 4 tubes", 0.7), ("one bender, 7 tubes", 0.5), ("two benders, 3 tubes each", 0.5)]
)
def test_fewer_offcuts_are_expected_to_be_as_good(kind: str, share: float) -> None:
    """By its own reckoning, a plan with a share of the pieces of an even plan (3 a tube) leaves the ends no less certain."""
    bench = benchmark()
    for i in range(3):
        pairs, shop = bench.draw(np.random.default_rng(100 + i), kind, i)
        prospects = prospects_of(shop, pairs=list(pairs), dials_deg=[20.0, 70.0, 120.0])
        legs = prospects.table.index[prospects.table.readings == "angle and legs"]
        even = standing(prospects, after(prospects, legs), 1.0)[0]
        count = int(share * len(legs))
        planned = plan_offcuts(shop, pairs=list(pairs), count=count).lines.end_u_after_mm
        assert np.sum(planned**2) <= np.sum(even**2)


def test_a_plan_saves_offcuts_on_invented_benders() -> None:
    """Twelve planned pieces bring the ends of two lines nearer than an even plan of twenty-one, on independent benders."""
    bench, rng = benchmark(), np.random.default_rng(20260501)
    even, planned = [], []
    for i in range(24):  # fewer let chance decide: the errors of one shop are the sum of few draws
        pairs, shop = bench.draw(rng, "one bender, 7 tubes", i)
        even.append(bench.even_errors(rng, pairs, shop, 3, pairs))
        planned.append(bench.planned_errors(rng, pairs, shop, 12))
    assert bench.rms(planned) < bench.rms(even)


def test_advice_is_followed_piece_by_piece_on_invented_benders() -> None:
    """The benchmark's own walk: every piece is asked for anew, and after eight the ends are nearer than after two."""
    bench = benchmark()
    found = bench.compare(np.random.default_rng(20260502), "two benders, 3 tubes each", 2, most=8, evens=(1,), plans=())
    curve = found["advised"]
    assert np.isnan(curve[0]) and curve[7] < curve[1]


def test_pieces_needed_are_read_off_the_curve() -> None:
    """The benchmark's own count: between two counts in logarithms, the last crossing, NaN where never."""
    needed = benchmark().needed
    curve = np.array([4.0, 2.0, 1.0, 0.5])
    assert needed(curve, 2.0) == pytest.approx(2.0)
    assert needed(curve, 1.5) == pytest.approx(2 * 1.5 ** (np.log(2 / 1.5) / np.log(2)))
    assert needed(np.array([1.0, 3.0, 0.5]), 1.0) > 2
    assert needed(curve, 5.0) == 1.0
    assert np.isnan(needed(curve, 0.1))
    assert needed(np.array([np.nan, 1.0]), 2.0) == 2.0


def test_a_chain_of_pieces_ends_where_all_of_them_together_lead(sample: Shop) -> None:
    """The last row's largest trim is that of the covariance after all pieces."""
    prospects = prospects_of(replace(sample, offcuts=()))
    picks = [3, 60, 100]
    rows = chain(prospects, picks, 1.0)
    assert rows.largest_trim_mm.iloc[-1] == pytest.approx(standing(prospects, after(prospects, picks), 1.0)[1].max())
