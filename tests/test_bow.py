"""Bowed dials: the shape by hand, what is left of it beside the best straight line, and what the fit makes of benders that have one."""

from dataclasses import replace

import numpy as np
import pytest
from benchmarks.calibration_of_intervals import kit_shop
from hypothesis import given
from hypothesis import strategies as st

from bendcal.benders import Bender
from bendcal.bow import Bow, bow_at, bow_shape
from bendcal.calibration import calibrate
from bendcal.law import Law
from bendcal.materials import ALLOYS
from bendcal.offcuts import Offcut
from bendcal.prior import WIDTHS
from bendcal.shop import Shop
from bendcal.tubes import Tube
from tests.invented import draw_offcuts, draw_shop

ROUND = (1.0, 0.0, -1.0)


def test_a_bow_stands_one_high_in_the_middle_over_a_chord_from_15_to_120() -> None:
    """1 − x²: nothing at both ends, 1 in the middle, 3/4 halfway."""
    assert bow_at(ROUND, [15.0, 41.25, 67.5, 93.75, 120.0]) == pytest.approx([0.0, 0.75, 1.0, 0.75, 0.0])


def test_many_shapes_at_once_are_each_shape_alone() -> None:
    """A shape for each dial setting."""
    shapes = np.array([ROUND, (0.2, 0.1, -1.0)])
    assert bow_at(shapes, [30.0, 80.0]) == pytest.approx([float(bow_at(shapes[0], 30.0)), float(bow_at(shapes[1], 80.0))])


def test_without_pieces_the_line_is_taken_out_over_the_whole_span() -> None:
    """The mean of x² over 22 places from −1 to 1 is (22 + 1)/(3·(22 − 1)), by hand."""
    assert bow_shape([]) == pytest.approx((23 / 63, 0.0, -1.0))


@given(st.lists(st.floats(5.0, 170.0), min_size=3, max_size=30))
def test_what_is_left_has_no_line_in_it_where_pieces_were_bent(dials: list[float]) -> None:
    """The shape is 1 − x² up to a straight line, and hardly any straight line fits it at the pieces and over the span."""
    shape = bow_shape(dials)
    assert shape[2] == -1.0
    places = np.concatenate([dials, np.linspace(15.0, 120.0, 22)])
    weight = np.concatenate([np.ones(len(dials)), np.full(22, 1 / 22)])
    g = bow_at(shape, places)
    scale = max(1.0, float(np.abs(g).max()))
    assert abs(weight @ g) < 1e-8 * scale * weight.sum()
    assert abs(weight @ (g * places)) < 1e-6 * scale * weight.sum() * 170


def test_two_settings_far_apart_leave_nothing_of_the_bow_there() -> None:
    """A line goes through two pieces: a bow shows between and beyond, not where they are."""
    shape = bow_shape([30.0] * 50 + [110.0] * 50)
    assert bow_at(shape, [30.0, 110.0]) == pytest.approx([0.0, 0.0], abs=0.02)
    assert bow_at(shape, 70.0) > 0.5 and bow_at(shape, 150.0) < -0.5


def test_a_bow_of_too_few_numbers_is_refused() -> None:
    """Three of the shape, six of the covariance."""
    with pytest.raises(ValueError, match="three numbers of its shape and six of its covariance"):
        Bow((0.0, 0.0), (0.0,) * 6)


# --- in a law -----------------------------------------------------------------------------------


def test_a_bow_widens_a_law_by_its_height_there_and_moves_nothing() -> None:
    """By hand: ± 0.5° of a bow that stands 1 high at 67.5° and 0 at 15°; the law's own line is known exactly."""
    numbers = [-1.0, 0.97, 15.4, 15.0, 2.0]
    law, straight = (Law.of("s", "t", numbers, bow=bow) for bow in (Bow(ROUND, (0, 0, 0, 0, 0, 0.25)), Bow(ROUND, (0.0,) * 6)))
    assert law.mean_angle([15.0, 67.5]).u == pytest.approx([0.0, 0.5])
    assert law.mean_angle([15.0, 67.5]).value == pytest.approx(straight.mean_angle([15.0, 67.5]).value)
    angle = float(straight.mean_angle(67.5).value)
    assert law.dial_for(angle).u == pytest.approx(0.5 / 0.97)
    assert law.take_up(90.0).u == straight.take_up(90.0).u == 0.0


def test_bow_and_line_err_together_as_their_covariance_says() -> None:
    """The variance at a setting is vᵀ·C·v with v = (1, dial, 0, 0, 0, g): drawn 200,000 times it is the same within 1 %."""
    root = np.random.default_rng(3).normal(size=(6, 6)) * [0.3, 0.004, 0.1, 0.1, 0.2, 0.4]
    whole = root @ root.T * np.outer([1, 0.01, 1, 1, 1, 1], [1, 0.01, 1, 1, 1, 1])
    law = Law.of("s", "t", [-1.0, 0.97, 15.4, 15.0, 2.0], whole[:5, :5], bow=Bow((0.3, 0.1, -1.0), tuple(whole[5])))
    drawn = np.random.default_rng(4).multivariate_normal(np.zeros(6), law.spread, 200_000)
    for dial in (20.0, 70.0, 130.0):
        off = drawn[:, 0] + drawn[:, 1] * dial + drawn[:, 5] * float(law.bow.at(dial))
        assert off.std() == pytest.approx(float(law.mean_angle(dial).u), rel=0.01)


# --- in the fit ---------------------------------------------------------------------------------


def test_a_bender_with_a_bow_gets_wider_intervals_than_one_without() -> None:
    """The same bender, tubes and luck with a dial bowed by 2°: the law says that it is less sure, and stays within its own word."""
    def law_of(bow_deg: float):
        rng = np.random.default_rng(11)
        invented = draw_shop(rng, 1, 2)
        bender = replace(invented.benders[0], dial_bow_deg=bow_deg)
        invented = replace(invented, benders=(bender,), pairs=tuple((bender, tube) for _, tube in invented.pairs))
        cal = calibrate(kit_shop(invented, draw_offcuts(np.random.default_rng(12), invented, per_pair=8)))
        return next(iter(cal.laws.values()))

    straight, bowed = law_of(0.0), law_of(2.0)
    middle = [straight.mean_angle(70.0).u, bowed.mean_angle(70.0).u]
    assert middle[1] > 1.3 * middle[0]
    assert bowed.bow.covariance[5] > 4 * straight.bow.covariance[5]


def test_where_no_bow_and_no_drift_are_allowed_there_is_none() -> None:
    """Widths of nearly nothing: the law is that of a straight dial, and its bow widens nothing."""
    invented = draw_shop(np.random.default_rng(13), 1, 2)
    shop = kit_shop(invented, draw_offcuts(np.random.default_rng(14), invented, per_pair=4))
    law = next(iter(calibrate(shop, widths=replace(WIDTHS, dial_bow_deg=1e-6, drift_deg_per_bend=1e-6)).laws.values()))
    c = law.covariance.to_numpy()
    assert law.mean_angle(70.0).u ** 2 == pytest.approx(c[0, 0] + 2 * 70 * c[0, 1] + 70**2 * c[1, 1], rel=1e-6)


def test_an_operator_who_drifts_is_followed_to_where_he_is_now() -> None:
    """Sixty straight bends of one tube whose angles grow by 0.03° a bend: the law is that of the last ones, not of the middle."""
    rng = np.random.default_rng(15)
    dials = rng.permutation(np.linspace(20.0, 120.0, 60))
    offcuts = tuple(
        Offcut(f"{i}", "small", "brake", 220.0, 90.0, float(dial), float(-1.5 + 0.965 * dial + 0.03 * (i - 60) + 0.4 * rng.normal()))
        for i, dial in enumerate(dials)
    )
    tube = Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)
    law = calibrate(Shop(benders={"small": Bender("small", 15.0)}, tubes={"brake": tube}, offcuts=offcuts)).law("small", "brake")
    told, now = law.mean_angle(90.0), -1.5 + 0.965 * 90.0
    assert abs(told.value - now) < 2.0 * told.u
    assert abs(told.value - now) < 0.5 * abs(told.value - (now - 0.9))  # thirty bends before
