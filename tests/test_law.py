"""The law of a bender with a tube: its geometry, its inverse, its uncertainties, and what it says in words."""

from math import inf, nan, pi, sqrt, tan

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bendcal.law import PARAMETERS, Law

NUMBERS = [-1.5, 0.965, 15.4, 15.05, 2.2]
ROOT = np.diag([0.6, 0.006, 0.25, 0.3, 0.35]) @ np.array([
    [1, 0, 0, 0, 0], [-0.8, 0.6, 0, 0, 0], [0.1, -0.2, 0.9, 0, 0], [0, 0.1, 0.7, 0.7, 0], [0.2, 0, -0.5, 0.1, 0.8],
])  # fmt: skip
COVARIANCE = ROOT @ ROOT.T
ANGLES = np.array([0.0, 15.0, 45.0, 90.0, 135.0])


def known(**facts) -> Law:
    """A law with the covariance above."""
    return Law.of("small", "brake 3/16", NUMBERS, COVARIANCE, **facts)


# --- values -------------------------------------------------------------------------------------


def test_a_square_bend_by_hand() -> None:
    """θ = 90°: setback R, take-up m + R, gain 2R − λπ/2, dial (90 − a)/b."""
    law = Law.of("s", "t", [-1.5, 0.965, 15.0, 14.5, 2.0])
    assert law.setback(90.0).value == pytest.approx(15.0)
    assert law.take_up(90.0).value == pytest.approx(17.0)
    assert law.gain(90.0).value == pytest.approx(30 - 14.5 * pi / 2)
    assert law.dial_for(90.0).value == pytest.approx(91.5 / 0.965)
    assert law.finished_angle(100.0).value == pytest.approx(95.0)
    assert law.springback(100.0).value == pytest.approx(5.0)


def test_gain_over_radius_of_the_shop_tables() -> None:
    """With λ = R = 1: 45° 0.04303, 60° 0.10750, 90° 0.42920 (derived from 2 tan(θ/2) − θ)."""
    law = Law.of("s", "t", [0, 1, 1, 1, 0])
    assert law.gain([45.0, 60.0, 90.0]).value == pytest.approx([0.04303, 0.10750, 0.42920], abs=6e-6)


def test_a_stub_up_of_the_wiring_books() -> None:
    """Height 10 in, bender radius 5 in: the mark is 5 in from the end.

    Modern Residential Wiring (Goodheart-Willcox, 2021), page 144, read: it measures the height to
    the tube's centre at the apex and has the bend start at the mark (m = 0).
    """
    law = Law.of("bender", "conduit", [0, 1, 5 * 25.4, 5 * 25.4, 0])
    assert (10 * 25.4 - law.take_up(90.0).value) / 25.4 == pytest.approx(5.0)


def test_a_straight_tube_has_no_setback_and_saves_nothing() -> None:
    """At θ = 0 the take-up is the mark offset alone."""
    law = known()
    assert law.setback(0.0).value == law.gain(0.0).value == 0.0
    assert law.take_up(0.0).value == pytest.approx(2.2)
    assert law.take_up(0.0).u == pytest.approx(sqrt(COVARIANCE[4, 4]))


@given(st.floats(0, 175), st.floats(5, 100), st.floats(0.9, 1.0), st.floats(-20, 20))
def test_take_up_setback_and_gain_hang_together(angle: float, radius: float, kept: float, offset: float) -> None:
    """Take-up − m is the setback, and gain + developed length is two setbacks (definitions)."""
    law = Law.of("s", "t", [0, 1, radius, kept * radius, offset])
    setback = law.setback(angle).value
    assert setback == pytest.approx(radius * tan(angle * pi / 360), abs=1e-9)
    assert law.take_up(angle).value - offset == pytest.approx(setback, abs=1e-9)
    assert law.gain(angle).value + kept * radius * angle * pi / 180 == pytest.approx(2 * setback, abs=1e-9)


@given(st.floats(0, 179), st.floats(-10, 10), st.floats(0.5, 1.5))
def test_setting_the_dial_for_an_angle_gives_that_angle(angle: float, a: float, b: float) -> None:
    """finished_angle undoes dial_for, to rounding."""
    law = Law.of("s", "t", [a, b, 15, 15, 0])
    assert law.finished_angle(law.dial_for(angle).value).value == pytest.approx(angle, abs=1e-9)


# --- uncertainties ------------------------------------------------------------------------------


def test_inverse_and_forward_use_of_isos_line() -> None:
    """ISO/TS 28037:2010, 6.3 example 1 used in 6.4: read. x₀ 4.913, u 0.322 with u(y₀) = 0.5 in it.

    `dial_for` holds the line's share alone, for the dial that bends by the mean; a single new
    reading's share u(y₀)/b is added to it here.
    """
    a, b = 1.866666666667, 1.757142857143
    c = np.diag([0.465474668126**2, 0.119522860933**2, 0.0, 0.0, 0.0])
    c[0, 1] = c[1, 0] = -0.05
    law = Law.of("s", "t", [a, b, 1, 1, 0], c, scatter_deg=0.5)
    dial = law.dial_for(10.5)
    assert dial.value == pytest.approx(4.913279, abs=1e-6)
    line_alone = sqrt(c[0, 0] + dial.value**2 * c[1, 1] + 2 * dial.value * c[0, 1]) / b
    assert dial.u == pytest.approx(line_alone, rel=1e-9)
    assert np.hypot(dial.u, 0.5 / b) == pytest.approx(0.322035, abs=1e-6)
    # Forward at x = 3.5 with u(x) = 0.2: 8.01666…, 0.406409… (GTC's documentation, read).
    assert law.mean_angle(3.5).value == pytest.approx(8.016667, abs=1e-6)
    assert np.hypot(law.mean_angle(3.5).u, 0.2 * b) == pytest.approx(0.406409531732, abs=1e-9)


def test_uncertainties_are_those_of_many_laws_drawn_from_the_covariance() -> None:
    """200 000 laws drawn: every quantity scatters by its stated u within 1 %."""
    rng = np.random.default_rng(5)
    draws = rng.multivariate_normal(NUMBERS, COVARIANCE, 200_000)
    a, b, radius, developed, offset = draws.T
    law = known(scatter_deg=0.4)
    for angle in (20.0, 90.0, 130.0):
        half = np.radians(angle) / 2
        seen = {
            "dial_for": (angle - a) / b, "setback": radius * np.tan(half), "take_up": offset + radius * np.tan(half),
            "gain": 2 * radius * np.tan(half) - developed * 2 * half,
        }  # fmt: skip
        for name, values in seen.items():
            said = getattr(law, name)(angle)
            assert values.std() == pytest.approx(said.u, rel=0.01), (name, angle)
            assert values.mean() == pytest.approx(said.value, abs=0.02 * said.u), (name, angle)
    for dial in (20.0, 95.0):
        mean = a + b * dial
        assert mean.std() == pytest.approx(law.mean_angle(dial).u, rel=0.01)
        assert (mean + 0.4 * rng.normal(size=mean.size)).std() == pytest.approx(law.finished_angle(dial).u, rel=0.01)
        assert law.springback(dial).u == law.mean_angle(dial).u


def test_the_scatter_of_one_bend_is_in_the_next_angle_and_not_in_the_mean() -> None:
    """u² of the next bend = u² of the mean + scatter²."""
    law = known(scatter_deg=0.7)
    assert law.finished_angle(80.0).u ** 2 - law.mean_angle(80.0).u ** 2 == pytest.approx(0.49)
    exact = Law.of("s", "t", NUMBERS, scatter_deg=0.7)
    assert exact.finished_angle(80.0).u == pytest.approx(0.7)
    assert exact.dial_for(80.0).u == exact.gain(80.0).u == exact.take_up(80.0).u == 0.0


def test_only_the_next_bend_carries_the_scatters_degrees_of_freedom() -> None:
    """Few degrees of freedom widen the interval of a single bend; what is said of the law alone has three times as many."""
    law = known(dof=6.0)
    estimates = [law.finished_angle(90), law.mean_angle(90), law.dial_for(90), law.springback(90), law.take_up(90), law.gain(90), law.setback(90)]
    assert [e.dof for e in estimates] == [6.0] + [18.0] * 6
    assert [e.unit for e in estimates] == ["°"] * 4 + ["mm"] * 3
    assert known().take_up(90).u == law.take_up(90).u


# --- shapes and errors --------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["finished_angle", "mean_angle", "dial_for", "springback", "setback", "take_up", "gain"])
def test_arrays_in_arrays_out(name: str) -> None:
    """A list or array of any shape gives that shape, a number gives plain floats, and both agree."""
    method = getattr(known(scatter_deg=0.3), name)
    grid = method(ANGLES[1:].reshape(2, 2))
    assert grid.value.shape == grid.u.shape == (2, 2)
    row = method(ANGLES.tolist())
    for i, angle in enumerate(ANGLES):
        one = method(angle)
        assert type(one.value) is float and type(one.u) is float
        assert (row.value[i], row.u[i]) == pytest.approx((one.value, one.u))
    assert method(np.array([])).value.shape == (0,)
    assert method(90).value == method(90.0).value


@pytest.mark.parametrize("name", ["dial_for", "setback", "take_up", "gain"])
@pytest.mark.parametrize("angle", [-1.0, 180.0, 720.0])
def test_an_angle_that_cannot_be_bent_is_refused(name: str, angle: float) -> None:
    """Below straight and from 180° up there is no single bend; the sentence says the bounds."""
    with pytest.raises(ValueError, match="cannot be bent; a finished angle lies from 0° .* to below 180°"):
        getattr(known(), name)([45.0, angle])


@pytest.mark.parametrize("name", ["finished_angle", "mean_angle", "dial_for", "springback", "setback", "take_up", "gain"])
@pytest.mark.parametrize("angle", [nan, inf])
def test_what_is_no_number_is_refused(name: str, angle: float) -> None:
    """A missing cell does not become a NaN on a mark sheet."""
    with pytest.raises(ValueError, match="is not an angle; give degrees"):
        getattr(known(), name)([45.0, angle])


def test_a_dial_that_bends_backwards_is_refused() -> None:
    """b ≤ 0 leaves no dial setting to give; swapped columns are the likely cause."""
    for b in (0.0, -0.9, nan):
        with pytest.raises(ValueError, match="small with brake: the finished angle does not rise with the dial.*swapped"):
            Law.of("small", "brake", [0.0, b, 15, 15, 0])


@pytest.mark.parametrize(("radius", "developed"), [(-6.7, 14.0), (0.0, 14.0), (15.0, -1.0), (nan, 14.0)])
def test_a_radius_that_is_no_length_is_refused(radius: float, developed: float) -> None:
    """Nothing can be marked by a bend of negative radius; wrong lengths or legs are the likely cause."""
    with pytest.raises(ValueError, match="small with brake: the offcuts make the bend's radius .* must be more than 0. Look for wrong lengths"):
        Law.of("small", "brake", [0.0, 1.0, radius, developed, 0])


def test_a_law_without_its_five_names_is_refused() -> None:
    """Order and names are fixed, so that a covariance cannot be read against the wrong numbers."""
    matrix = pd.DataFrame(np.eye(5))
    with pytest.raises(ValueError, match="A law has the parameters a_deg, b, radius_mm"):
        Law("s", "t", pd.Series(NUMBERS, index=list(reversed(PARAMETERS))), matrix)
    with pytest.raises(ValueError, match="5 by 5 covariance"):
        Law("s", "t", pd.Series(NUMBERS, index=list(PARAMETERS)), pd.DataFrame(np.eye(4)))
    with pytest.raises(ValueError, match="Length of values"):
        Law.of("s", "t", NUMBERS[:4])


def test_parameters_and_covariance_come_back_by_name() -> None:
    """The Series and the DataFrame carry the names of the five numbers in their order."""
    law = known()
    assert tuple(law.parameters.index) == PARAMETERS == tuple(law.covariance.index) == tuple(law.covariance.columns)
    assert law.parameters["radius_mm"] == 15.4
    assert law.covariance.loc["a_deg", "b"] == COVARIANCE[0, 1]


# --- what was covered, and words ----------------------------------------------------------------


def test_covered_angles_are_those_between_the_offcuts_with_half_a_degree_given() -> None:
    """20 to 110 covers 19.5 and 110.5, no less and no more; nothing covered means nothing covers."""
    law = known(angle_range_deg=(20.0, 110.0))
    assert law.covers([19.4, 19.5, 60.0, 110.5, 110.6]).tolist() == [False, True, True, True, False]
    assert law.covers(60.0) is np.True_ or law.covers(60.0) is True
    assert known().covers([60.0, 90.0]).tolist() == [False, False]
    assert not known().covers(60.0)


def test_a_law_says_what_to_set_for_a_square_bend_and_how_sure_it_is() -> None:
    """The sentence holds the dial, the radius, the take-up and the gain, with 95 % intervals and what taught it."""
    law = known(n_offcuts=6, angle_range_deg=(20.0, 110.0))
    text = str(law)
    for part in (
        "small with brake 3/16", f"set the dial to {law.dial_for(90.0)}", "0.965° more bend", "2.2 mm after the mark",
        "radius is 15.4 mm", f"{law.take_up(90.0)} at 90°", f"saves {law.gain(90.0)} of tube",
        "6 offcuts, finished at 20° to 110°, taught it.",
    ):  # fmt: skip
        assert part in text
    assert text.count("(95 %: ") == 3
    assert repr(law) == text


def test_a_law_says_so_when_one_piece_or_none_taught_it() -> None:
    """One offcut is said in words; none at all is said too; a negative offset starts before the mark."""
    assert str(known(n_offcuts=1, angle_range_deg=(90.0, 90.0))).endswith("One offcut, finished at 90.0°, taught it; three or more, at different angles, make it trustworthy.")
    assert str(known(n_offcuts=6, angle_range_deg=(86.5, 86.5))).endswith("6 offcuts, all finished at 86.5°, taught it.")
    assert str(known()).endswith("No offcut has taught it yet.")
    assert "3.0 mm before the mark" in str(Law.of("s", "t", [0, 1, 15, 15, -3.0]))


@pytest.mark.parametrize(("count", "told"), [(1, True), (2, True), (3, False)])
def test_a_law_of_one_or_two_offcuts_says_that_it_wants_more(count: int, told: bool) -> None:
    """Wherever such a law is printed the words stand beside it; from three offcuts on they do not."""
    law = Law.of("small", "brake", [-1.0, 0.97, 15.4, 15.0, 2.0], n_offcuts=count, angle_range_deg=(20.0, 100.0))
    assert str(law).endswith("taught it; three or more, at different angles, make it trustworthy.") == told
