"""From offcuts to laws: exact recoveries, invariances, honest width where little is known, and coverage."""

from dataclasses import replace

import numpy as np
import pytest
from invented_kit import draw_from_prior

from bendcal.benders import Bender
from bendcal.calibration import Calibration, calibrate
from bendcal.law import Law
from bendcal.materials import ALLOYS
from bendcal.offcuts import Offcut
from bendcal.pieces import linearise, pieces_of
from bendcal.prior import WIDTHS, pool_of
from bendcal.shop import Shop
from bendcal.tools import DEFAULT_ANGLE_TOOL, DEFAULT_LENGTH_TOOL, Tool
from bendcal.tubes import Tube

TRUTH = np.array([-1.5, 0.965, 15.6, 15.2, 2.2])
PAIR = ("small", "brake")
TUBES = {"brake": Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)}
BENDERS = {"small": Bender("small", 15.0)}
DIALS = np.linspace(20.0, 120.0, 8)
OD = {"centre": 0.0, "outside": 4.76 / 2, "inside": -4.76 / 2}

#: Almost nothing believed beforehand, almost nothing scatters, dials are straight and do not drift, and readings are never doubted.
WIDE = replace(
    WIDTHS, dial_zero_deg=20.0, dial_gain=0.5, die_known=0.5, stretch_sd=0.5, offset_sd_mm=100.0, theory=1.0, own_a_deg=5.0,
    own_b=0.2, own_radius=0.2, own_stretch=0.2, own_offset_mm=10.0, blunder_chance=1e-9,
)  # fmt: skip
STRAIGHT_TO_THE_APEX = replace(WIDTHS, crossing_sd_mm=0.0)
QUIET = replace(WIDE, scatter_deg=1e-3, scatter_log_sd=0.05, marking_sd_mm=1e-3, crossing_sd_mm=1e-3, reading_log_sd=0.05, dial_bow_deg=1e-6, drift_deg_per_bend=1e-6)
TIGHT = {"fine": Tool("fine", "angle", 0.0, 1e-3), "micrometer": Tool("micrometer", "length", 0.0, 1e-3)}


def offcuts(
    dials=DIALS, law=TRUTH, *, rng=None, scatter: float = 0.4, angle_sd: float = 0.52, length_sd: float = 0.52,
    marking: float = 0.3, legs_to: str = "centre", bender: str = "small", tube: str = "brake", **columns,
) -> tuple[Offcut, ...]:
    """Pieces of 220 mm marked at 90 mm; without `rng` nothing scatters and every reading is true."""
    a, b, radius, developed, offset = law
    found = []
    for i, dial in enumerate(dials):
        noise = np.zeros(6) if rng is None else rng.normal(size=6) * [scatter, np.hypot(marking, length_sd), length_sd, angle_sd, length_sd, length_sd]
        theta = a + b * dial + noise[0]
        reach, mark, length = (radius + OD[legs_to]) * np.tan(np.radians(theta) / 2), 90.0 + noise[1], 220.0 + noise[2]
        found.append(Offcut(
            f"{tube} {i + 1}", bender, tube, 220.0, 90.0, float(dial), float(theta + noise[3]),
            float(mark + offset + reach + noise[4]), float(length - mark - offset - developed * np.radians(theta) + reach + noise[5]), legs_to,
            **columns,
        ))  # fmt: skip
    return tuple(found)


def shop(*pieces: Offcut, **more) -> Shop:
    """One bender, one tube."""
    return Shop(**({"benders": BENDERS, "tubes": TUBES, "tools": TIGHT, "offcuts": pieces} | more))


def law_of(*pieces: Offcut, widths=WIDTHS, **more) -> Law:
    """Their law."""
    return calibrate(shop(*pieces, **more), widths=widths).law(*PAIR)


def sd(law: Law) -> np.ndarray:
    """Standard uncertainties of the five numbers."""
    return np.sqrt(np.diag(law.covariance))


def prior_sd(the_shop: Shop) -> np.ndarray:
    """Standard deviations of the five numbers before any offcut is bent."""
    return np.sqrt(np.diag(pool_of(the_shop, [PAIR]).marginal_covariance()[0]))[:5]


def assert_honest(law: Law) -> None:
    """Finite numbers and a covariance that is one."""
    assert np.isfinite(law.parameters).all() and np.isfinite(law.covariance.to_numpy()).all()
    scaled = law.covariance.to_numpy() / np.outer(sd(law), sd(law))
    assert np.allclose(scaled, scaled.T, atol=1e-12)
    assert np.linalg.eigvalsh(scaled).min() > 0
    assert law.scatter_deg > 0 and law.dof > 2


# --- the three readings -------------------------------------------------------------------------


def test_slopes_of_the_readings_are_those_of_small_changes() -> None:
    """Every derivative of the model against central differences, for all three crossings."""
    pieces = pieces_of(shop(*(o for to in OD for o in offcuts(DIALS, legs_to=to))), [PAIR])
    p = np.tile([*TRUTH, 0.7, -0.05], (len(pieces.offcuts), 1))
    theta = np.array([o.angle_deg for o in pieces.offcuts]) + 0.3
    near = linearise(pieces, p, theta)

    def at(p, theta):
        there = linearise(pieces, p, theta)
        return there.h, there.mu

    step = 1e-5
    for k in range(7):
        up, down = p.copy(), p.copy()
        up[:, k] += step
        down[:, k] -= step
        (h_up, mu_up), (h_down, mu_down) = at(up, theta), at(down, theta)
        assert (h_up - h_down) / (2 * step) == pytest.approx(near.by_p[:, :, k], abs=1e-7)
        assert (mu_up - mu_down) / (2 * step) == pytest.approx(near.mu_by_p[:, k], abs=1e-6)
    by_theta = (at(p, theta + step)[0] - at(p, theta - step)[0]) / (2 * step)
    assert by_theta == pytest.approx(near.by_xi, abs=1e-7)


def test_true_readings_are_what_the_law_predicts() -> None:
    """Pieces made by the definitions, without noise, agree with the model to rounding, whatever the crossing."""
    for to in OD:
        pieces = pieces_of(shop(*offcuts(legs_to=to)), [PAIR])
        predicted = linearise(pieces, np.tile([*TRUTH, 0.0, 0.0], (8, 1)), pieces.readings[:, 0])
        assert predicted.h == pytest.approx(pieces.readings, abs=1e-10)
        assert predicted.mu == pytest.approx(pieces.readings[:, 0], abs=1e-10)


def test_errors_of_mark_and_length_reach_the_readings_as_they_should() -> None:
    """By hand: the mark's error moves both legs in opposite ways, the length's moves leg B alone."""
    one = pieces_of(shop(*offcuts([60.0])), [PAIR], STRAIGHT_TO_THE_APEX)
    u, angle_u = DEFAULT_LENGTH_TOOL.u, DEFAULT_ANGLE_TOOL.u
    mark = u**2 + WIDTHS.marking_sd_mm**2
    by_hand = np.array([[angle_u**2, 0, 0], [0, u**2 + mark, -mark], [0, -mark, 2 * u**2 + mark]])
    assert np.linalg.inv(one.precision[0]) == pytest.approx(by_hand)
    assert one.log_det[0] == pytest.approx(np.log(np.linalg.det(by_hand)))
    # The same by drawing: 200 000 pieces with a mark, a length and two legs read with errors.
    rng = np.random.default_rng(1)
    e = rng.normal(size=(4, 200_000)) * np.array([[np.sqrt(mark)], [u], [u], [u]])
    legs = np.stack([e[0] + e[2], -e[0] + e[1] + e[3]])
    assert np.cov(legs) == pytest.approx(by_hand[1:, 1:], abs=0.01)


@pytest.mark.parametrize("angle", [20.0, 60.0, 90.0, 150.0])
def test_middle_lines_beside_their_legs_move_the_apex_as_drawn(angle: float) -> None:
    """By drawing: two lines shifted sideways by 0.2 mm (sd), where they cross, and how long that makes the legs.

    At 20° the legs of a piece are known to 0.8 mm only and err in opposite ways, at 90° to 0.2 mm each.
    """
    rng = np.random.default_rng(3)
    along = np.array([[1.0, 0.0], [np.cos(np.radians(angle)), np.sin(np.radians(angle))]])  # from end A to the apex, and on to end B
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    beside = WIDTHS.crossing_sd_mm * rng.normal(size=(100_000, 2))
    # The apex is the point with these distances from the two true lines.
    apex = np.linalg.solve(across, beside.T).T
    legs = np.stack([apex @ along[0], -apex @ along[1]])
    piece = shop(*offcuts([angle], np.array([0.0, 1.0, 15.6, 15.2, 2.2])))
    with_it, without = (np.linalg.inv(pieces_of(piece, [PAIR], widths).precision[0]) for widths in (WIDTHS, STRAIGHT_TO_THE_APEX))
    more = (with_it - without)[1:, 1:]
    assert np.cov(legs) == pytest.approx(more, rel=0.03, abs=1e-3)


def test_a_reading_that_was_not_taken_has_no_weight() -> None:
    """Without leg B, its row and column say nothing and leg A keeps its own variance."""
    bare = pieces_of(shop(replace(offcuts([60.0])[0], leg_b_mm=None)), [PAIR], STRAIGHT_TO_THE_APEX)
    u = DEFAULT_LENGTH_TOOL.u
    assert not bare.precision[0, 2].any() and not bare.precision[0, :, 2].any()
    assert 1 / bare.precision[0, 1, 1] == pytest.approx(2 * u**2 + WIDTHS.marking_sd_mm**2)
    assert np.isnan(bare.readings[0, 2])


# --- recoveries ---------------------------------------------------------------------------------


@pytest.mark.parametrize("legs_to", list(OD))
def test_true_readings_give_back_the_five_numbers(legs_to: str) -> None:
    """Nothing scatters and nothing is believed beforehand: all five numbers to 1e-6, measured to any crossing."""
    law = law_of(*offcuts(legs_to=legs_to, angle_tool="fine", length_tool="micrometer"), widths=QUIET)
    assert np.asarray(law.parameters) == pytest.approx(TRUTH, abs=1e-6)
    assert_honest(law)


def test_two_angles_are_enough_for_true_readings() -> None:
    """Five numbers from two pieces with three readings each."""
    law = law_of(*offcuts([30.0, 100.0], angle_tool="fine", length_tool="micrometer"), widths=QUIET)
    assert np.asarray(law.parameters) == pytest.approx(TRUTH, abs=1e-6)


def test_true_readings_by_usual_tools_come_out_within_their_uncertainty() -> None:
    """With the usual prior and tools, eight true pieces give the law within half of its own uncertainty."""
    law = law_of(*offcuts())
    assert np.all(np.abs(law.parameters - TRUTH) < 0.5 * sd(law))
    assert law.dial_for(90.0).value == pytest.approx((90 + 1.5) / 0.965, abs=0.1)
    assert_honest(law)


def test_the_gain_is_what_both_legs_less_the_length_are() -> None:
    """One angle, one reading of the gain, by hand: at 60° on the dial the law's gain is leg A + leg B − length."""
    piece = offcuts([60.0])[0]
    law = law_of(*offcuts([60.0] * 8, angle_tool="fine", length_tool="micrometer"), widths=QUIET)
    assert law.gain(piece.angle_deg).value == pytest.approx(piece.leg_a_mm + piece.leg_b_mm - 220.0, abs=1e-5)
    assert law.take_up(piece.angle_deg).value == pytest.approx(piece.leg_a_mm - 90.0, abs=1e-5)


# --- invariances --------------------------------------------------------------------------------


def measured(seed: int = 2, **more) -> tuple[Offcut, ...]:
    """Eight pieces that scatter."""
    return offcuts(rng=np.random.default_rng(seed), **more)


def assert_alike(one: Law, other: Law, share: float) -> None:
    """Two laws closer than `share` of their uncertainty, which is the same to `share`."""
    assert np.all(np.abs(one.parameters - other.parameters) < share * sd(one))
    assert sd(one) == pytest.approx(sd(other), rel=share)


@pytest.mark.parametrize("legs_to", ["outside", "inside"])
def test_the_same_piece_measured_to_another_crossing_gives_the_same_law(legs_to: str) -> None:
    """Legs (OD/2)·tan(θ/2) longer or shorter, said so: the law moves by less than a twentieth of its uncertainty."""
    centre = measured()
    other = []
    for o in centre:
        beyond = OD[legs_to] * np.tan(np.radians(o.angle_deg) / 2)
        other.append(replace(o, leg_a_mm=o.leg_a_mm + beyond, leg_b_mm=o.leg_b_mm + beyond, legs_to=legs_to))
    assert_alike(law_of(*centre), law_of(*other), 0.05)
    # and it does matter: said wrongly, the radius is off by about half the diameter
    wrong = [replace(o, legs_to="centre") for o in other]
    off = law_of(*wrong, widths=WIDE).parameters["radius_mm"] - law_of(*centre, widths=WIDE).parameters["radius_mm"]
    assert off == pytest.approx(OD[legs_to], abs=0.3)


def test_the_order_of_the_log_matters_by_drift_alone() -> None:
    """Any order of the pieces, of two tubes mixed: laws within half an uncertainty; where no drift is allowed the same to rounding."""
    no_drift = replace(WIDTHS, drift_deg_per_bend=1e-9)
    tubes = TUBES | {"fuel": Tube("fuel", ALLOYS["copper"], 4.76, 0.71)}
    pieces = measured() + measured(3, law=TRUTH + [-0.4, -0.01, 0.2, 0.2, 0.3], tube="fuel")
    for widths, share in ((WIDTHS, 0.5), (no_drift, 1e-6)):
        straight = calibrate(shop(*pieces, tubes=tubes), widths=widths)
        for seed in range(3):
            mixed = calibrate(shop(*(pieces[i] for i in np.random.default_rng(seed).permutation(16)), tubes=tubes), widths=widths)
            for pair, law in straight.laws.items():
                assert_alike(law, mixed.law(*pair), share)


def test_names_do_not_matter() -> None:
    """Bender, tube and pieces called otherwise bend alike."""
    pieces = measured()
    renamed = tuple(replace(o, offcut=f"Ä{i}", bender="B2", tube="a tube") for i, o in enumerate(pieces))
    other = Shop(benders={"B2": replace(BENDERS["small"], bender="B2")}, tubes={"a tube": replace(TUBES["brake"], tube="a tube")}, offcuts=renamed)
    assert_alike(law_of(*pieces), calibrate(other).law("B2", "a tube"), 1e-9)


def test_pieces_longer_at_either_end_bend_alike() -> None:
    """Another mark and another length with the legs to match change nothing."""
    pieces = measured()
    longer = tuple(replace(o, mark_mm=o.mark_mm + 35, length_mm=o.length_mm + 95, leg_a_mm=o.leg_a_mm + 35, leg_b_mm=o.leg_b_mm + 60) for o in pieces)
    assert_alike(law_of(*pieces), law_of(*longer), 1e-6)


def test_warm_or_cold_the_answer_is_the_same() -> None:
    """Starting from the last calibration's scales saves time and changes no law by more than a hundredth of its uncertainty."""
    pieces = measured()
    before = calibrate(shop(*pieces[:-1]))
    cold, warm = calibrate(shop(*pieces)), calibrate(shop(*pieces), warm=before.warm)
    assert_alike(cold.law(*PAIR), warm.law(*PAIR), 0.01)


def test_twice_the_same_is_the_same() -> None:
    """No chance in it."""
    one, two = law_of(*measured()), law_of(*measured())
    assert np.array_equal(one.parameters, two.parameters) and np.array_equal(one.covariance, two.covariance)


# --- where little is known ----------------------------------------------------------------------


def test_one_offcut_teaches_what_it_shows_and_no_more() -> None:
    """At its own dial the next angle is known to its scatter; the slope is believed as before; the mark offset is known."""
    law, before = law_of(*measured()[4:5]), prior_sd(shop())
    assert_honest(law)
    assert sd(law)[1] > 0.6 * before[1]
    assert sd(law)[4] < 0.1 * before[4]
    at, far = law.mean_angle(77.0).u, law.mean_angle(20.0).u
    assert at < 0.9 < far
    # An interval of finite width for all that is asked, no narrower than the scatter alone allows.
    assert law.finished_angle(77.0).u > law.scatter_deg
    assert law.covers(float(law.finished_angle(77.0).value) + 30.0) is np.False_


def test_offcuts_all_at_one_angle_leave_the_other_angles_open() -> None:
    """Six square bends: 90° is set to half a degree, 30° is as vague as slope and zero are."""
    law, before = law_of(*measured(dials=[95.0] * 6)), prior_sd(shop())
    assert_honest(law)
    assert law.dial_for(90.0).u < 0.5
    assert law.dial_for(30.0).u > 2.0 * law.dial_for(90.0).u
    assert sd(law)[1] > 0.5 * before[1]
    # R and m trade off: their sum is known at this angle, apart they are as vague as the prior leaves them.
    assert law.take_up(90.0).u < 0.5
    assert law.take_up(10.0).u > 1.2 * law.take_up(90.0).u


def test_offcuts_without_legs_teach_the_dial_and_nothing_of_lengths() -> None:
    """Angles alone: the mark offset stays as open as before (± 15 mm), radius and stretch hardly move."""
    law, before = law_of(*(replace(o, leg_a_mm=None, leg_b_mm=None) for o in measured())), prior_sd(shop())
    assert_honest(law)
    assert sd(law)[0] < 0.5 * before[0] and sd(law)[1] < 0.6 * before[1]
    assert sd(law)[2:] == pytest.approx(before[2:], rel=0.2)
    with_legs = law_of(*measured())
    assert law.take_up(90.0).u > 10 * with_legs.take_up(90.0).u


def test_leg_a_alone_teaches_marks_but_hardly_the_gain() -> None:
    """Take-up needs leg A only; the developed radius needs leg B."""
    both, alone = law_of(*measured()), law_of(*(replace(o, leg_b_mm=None) for o in measured()))
    assert_honest(alone)
    assert alone.take_up(90.0).u < 1.5 * both.take_up(90.0).u
    assert alone.gain(90.0).u > 1.3 * both.gain(90.0).u


def test_a_bender_whose_die_nobody_measured_learns_its_radius() -> None:
    """Known only as some 3.5 diameters ± 35 %, the radius comes from the legs within its own, wider uncertainty."""
    law = law_of(*measured(), benders={"small": Bender("small")})
    assert_honest(law)
    assert sd(law)[2] < 0.15 * prior_sd(shop(benders={"small": Bender("small")}))[2]
    assert abs(law.parameters["radius_mm"] - 15.6) < 2.5 * sd(law)[2]
    assert sd(law)[2] > sd(law_of(*measured()))[2]


def test_more_pieces_know_more() -> None:
    """3, 8, 24 pieces: every uncertainty shrinks, and the scatter is known ever better."""
    few, some, many = (law_of(*measured(dials=np.linspace(20, 120, n))) for n in (3, 8, 24))
    assert np.all(sd(many) < sd(some)) and np.all(sd(some) < sd(few))
    assert few.dof < some.dof < many.dof


def test_better_tools_know_more() -> None:
    """Readings to 0.1 instead of 0.5 narrow the law."""
    tools = {"good": Tool("good", "angle", 0.1, 0.1), "caliper": Tool("caliper", "length", 0.1, 0.1)}
    usual = law_of(*offcuts())
    good = law_of(*offcuts(angle_tool="good", length_tool="caliper"), tools=tools)
    assert np.all(sd(good) < sd(usual))


def test_shops_that_scatter_more_say_so() -> None:
    """Setting scatter of 0.15° and 1.2° with a fine protractor are told apart, and the next bend's u holds them."""
    tools = {"good": Tool("good", "angle", 0.1, 0.1)}
    for scatter in (0.15, 1.2):
        law = law_of(*measured(dials=np.linspace(20, 120, 24), scatter=scatter, angle_sd=0.1, angle_tool="good"), tools=tools)
        assert law.scatter_deg == pytest.approx(scatter, rel=0.35)
        assert law.finished_angle(70.0).u >= law.scatter_deg


def test_tubes_on_one_bender_teach_one_another() -> None:
    """One piece of a second tube, after eight of a first on the same bender, knows its zero better than alone."""
    tubes = TUBES | {"fuel": Tube("fuel", ALLOYS["copper"], 4.76, 0.71)}
    lone = offcuts([70.0], tube="fuel", rng=np.random.default_rng(5))
    alone = calibrate(shop(*lone, tubes=tubes)).law("small", "fuel")
    helped = calibrate(shop(*measured(), *lone, tubes=tubes)).law("small", "fuel")
    assert sd(helped)[0] < 0.8 * sd(alone)[0]
    assert helped.dial_for(30.0).u < 0.8 * alone.dial_for(30.0).u


# --- errors in the angle ------------------------------------------------------------------------


def test_the_angles_error_does_not_flatten_the_radius() -> None:
    """Protractor of ± 2.5°, bends of 55° to 90° only, 40 shops of 24 pieces, nothing believed of the radius.

    The slope of leg A on tan(reading/2) comes out flat, as errors in x always make it; the fit, which
    knows of that error, is right on average.
    """
    rng = np.random.default_rng(7)
    tools = {"poor": Tool("poor", "angle", 0.0, 2.5)}
    benders = {"small": Bender("small", 15.6)}
    naive, fitted, claimed = [], [], []
    for _ in range(40):
        pieces = offcuts(np.linspace(60, 95, 24), rng=rng, angle_sd=2.5, length_sd=0.3, marking=0.2, angle_tool="poor")
        tan = np.tan(np.radians([o.angle_deg for o in pieces]) / 2)
        naive.append(np.polyfit(tan, [o.leg_a_mm - o.mark_mm for o in pieces], 1)[0])
        law = law_of(*pieces, tools=tools, benders=benders, widths=replace(WIDTHS, die_known=0.5, own_radius=0.1))
        fitted.append(law.parameters["radius_mm"])
        claimed.append(sd(law)[2])
    error = np.std(naive) / np.sqrt(40), np.std(fitted) / np.sqrt(40)
    assert np.mean(naive) < 15.6 - 4 * error[0]
    assert np.mean(fitted) == pytest.approx(15.6, abs=3 * error[1])
    assert np.std(fitted) == pytest.approx(np.mean(claimed), rel=0.4)


def test_residuals_scatter_by_their_uncertainty() -> None:
    """Of 60 invented shops: each kind of residual, judged by all other pieces, has mean 0 and sd 1."""
    z = {"z_angle": [], "z_leg_a": [], "z_leg_b": []}
    for seed in range(60):
        table = calibrate(draw_from_prior(np.random.default_rng(1000 + seed), tubes=1, per_pair=6).shop).residuals
        for name, values in z.items():
            values.extend(table[name])
    for name, values in z.items():
        assert np.mean(values) == pytest.approx(0.0, abs=0.16), name
        assert np.std(values) == pytest.approx(1.0, abs=0.1), name


@pytest.fixture(scope="module")
def three_hundred() -> list[tuple[Law, np.ndarray, float]]:
    """(law, shop) of 300 shops drawn from the prior, six pieces of one tube each."""
    found = []
    for seed in range(300):
        drawn = draw_from_prior(np.random.default_rng(seed), tubes=1, per_pair=6)
        found.append((calibrate(drawn.shop).law(*drawn.shop.pairs()[0]), drawn))
    return found


@pytest.mark.parametrize("angle", [30.0, 60.0, 90.0, 115.0])
def test_95_per_cent_intervals_hold_95_per_cent_of_the_truths(three_hundred, angle: float) -> None:
    """Dial, take-up, gain and the next bend's angle over 300 shops: 92 to 98 %; 50 % intervals hold about half."""
    rng = np.random.default_rng(int(angle))
    held = {"dial_for": [], "take_up": [], "gain": [], "finished_angle": []}
    half = {name: [] for name in held}
    for law, drawn in three_hundred:
        ((pair, (_, _, radius, developed, offset)),) = drawn.truth.items()
        tan, theta = np.tan(np.radians(angle) / 2), np.radians(angle)
        truths = {"dial_for": drawn.dial_for(pair, angle), "take_up": offset + radius * tan, "gain": 2 * radius * tan - developed * theta}
        dial = law.dial_for(angle).value
        truths["finished_angle"] = drawn.mean_angle(pair, dial) + drawn.scatter_deg * rng.normal()
        for name, truth in truths.items():
            said = law.finished_angle(dial) if name == "finished_angle" else getattr(law, name)(angle)
            low, high = said.interval(0.95)
            held[name].append(low <= truth <= high)
            low, high = said.interval(0.5)
            half[name].append(low <= truth <= high)
    for name, hits in held.items():
        assert 0.92 <= np.mean(hits) <= 0.98, (name, np.mean(hits))
        assert 0.40 <= np.mean(half[name]) <= 0.60, (name, np.mean(half[name]))


def test_the_five_numbers_together_are_as_far_off_as_their_covariance_says(three_hundred) -> None:
    """(p − truth)ᵀ C⁻¹ (p − truth) averages 5 over the 300 shops (a χ² with 5 degrees of freedom)."""
    far = []
    for law, drawn in three_hundred:
        off = law.parameters.to_numpy() - next(iter(drawn.truth.values()))
        far.append(float(off @ np.linalg.solve(law.covariance.to_numpy(), off)))
    assert np.mean(far) == pytest.approx(5.0, abs=0.9)


# --- nonsense -----------------------------------------------------------------------------------


def test_a_dial_that_runs_backwards_is_refused() -> None:
    """Without belief in the mechanics, finished angles that fall as the dial rises make a law that cannot be bent by."""
    pieces = tuple(replace(o, angle_deg=150.0 - 0.9 * o.dial_deg, leg_a_mm=None, leg_b_mm=None) for o in offcuts())
    with pytest.raises(ValueError, match="small with brake: the finished angle does not rise with the dial.*swapped dial and finished"):
        calibrate(shop(*pieces), widths=replace(WIDE, scatter_deg=0.1))


def test_backwards_readings_are_called_blunders_where_the_mechanics_are_believed() -> None:
    """The same pieces by the usual prior: no reading is altered, but they are named as not believed."""
    pieces = tuple(replace(o, angle_deg=150.0 - 0.9 * o.dial_deg) for o in offcuts())
    assert len(calibrate(shop(*pieces)).blunders) >= 6


@pytest.mark.parametrize("seed", range(12))
def test_wild_readings_end_in_a_law_or_a_sentence(seed: int) -> None:
    """Angles, legs and lengths at random: an honest law, or a ValueError that names the pair; never another error."""
    rng = np.random.default_rng(seed)
    pieces = [
        replace(o, angle_deg=float(rng.uniform(1, 175)), leg_a_mm=float(rng.uniform(1, 400)), length_mm=float(rng.uniform(50, 3000)))
        if rng.random() < 0.5 else o
        for o in measured(seed)
    ]  # fmt: skip
    try:
        found = calibrate(shop(*pieces))
    except ValueError as error:
        assert str(error).startswith("small with brake: the ")
    else:
        assert isinstance(found, Calibration)
        assert_honest(found.law(*PAIR))


@pytest.mark.parametrize("changed", [{"leg_a_mm": 320.0}, {"leg_b_mm": 15.0}, {"angle_deg": 3.0}, {"mark_mm": 190.0}])
def test_one_gross_blunder_leaves_the_law_where_it_was(changed: dict) -> None:
    """A reading off by far more than any scatter moves no number by more than its uncertainty, and the piece is named."""
    pieces = list(measured())
    clean = law_of(*pieces[:5], *pieces[6:])
    pieces[5] = replace(pieces[5], **changed)
    cal = calibrate(shop(*pieces))
    assert np.all(np.abs(cal.law(*PAIR).parameters - clean.parameters) < sd(clean))
    assert any(text.startswith(f"Offcut {pieces[5].offcut}:") for text in cal.blunders)
