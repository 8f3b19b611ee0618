"""A value and its uncertainty: intervals against the t table, digits against a table of cases."""

from math import inf, nan, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bendcal.estimate import Estimate, coverage_factor, decimals_for

# --- intervals ----------------------------------------------------------------------------------


def test_a_known_uncertainty_reaches_1_96_each_way() -> None:
    """With u known, 95 % is ± 1.959964 u (normal table; JCGM 101:2008, 9.2.2 prints ± 3.92 for u = 2: memory)."""
    assert Estimate(10.0, 2.0).interval() == pytest.approx((10 - 3.919928, 10 + 3.919928), abs=1e-6)


def test_other_levels_are_asked_for_by_number() -> None:
    """68.27 % is one standard uncertainty each way and 50 % is 0.6745 (normal table)."""
    low, high = Estimate(0.0, 1.0).interval(0.6826894921)
    assert (low, high) == pytest.approx((-1.0, 1.0), abs=1e-9)
    assert Estimate(0.0, 1.0).interval(0.5)[1] == pytest.approx(0.674490, abs=1e-6)


def test_few_degrees_of_freedom_follow_students_t_of_the_same_standard_deviation() -> None:
    """t.975 for 9 dof is 2.262157 (GUM H.3: memory; recomputed) and the sd of t₉ is √(9/7)."""
    assert coverage_factor(0.95, 9) == pytest.approx(2.262157163 * sqrt(7 / 9), abs=1e-9)
    assert coverage_factor(0.95, 3) == pytest.approx(3.182446 / sqrt(3), abs=1e-6)
    assert coverage_factor(0.95, 4) == pytest.approx(2.776445 / sqrt(2), abs=1e-6)


def test_the_interval_holds_draws_of_the_same_mean_sd_and_dof_at_its_level() -> None:
    """200 000 draws of a t with 5 dof, scaled to sd 3, lie in the 90 % interval 90 % of the time."""
    draws = 7.0 + 3.0 * np.random.default_rng(1).standard_t(5, 200_000) * sqrt(3 / 5)
    low, high = Estimate(7.0, 3.0, dof=5).interval(0.90)
    assert draws.std() == pytest.approx(3.0, rel=0.02)
    assert np.mean((draws > low) & (draws < high)) == pytest.approx(0.90, abs=0.003)


def test_below_two_degrees_of_freedom_a_t_has_no_sd_and_is_left_as_it_is() -> None:
    """t.975 is 12.7062 for 1 dof and 4.30265 for 2 (t table)."""
    assert coverage_factor(0.95, 1) == pytest.approx(12.7062, abs=1e-4)
    assert coverage_factor(0.95, 2) == pytest.approx(4.30265, abs=1e-5)


def test_many_degrees_of_freedom_run_into_the_normal() -> None:
    """The factor for 10⁶ dof and for infinitely many differ by less than 10⁻⁵."""
    factors = coverage_factor(0.95, np.array([1e6, 1e12, inf]))
    assert np.ptp(factors) < 1e-5
    assert factors[-1] == pytest.approx(1.959964, abs=1e-6)


def test_arrays_give_arrays_each_with_its_own_dof() -> None:
    """Every element has the interval that it would have by itself."""
    both = Estimate(np.array([1.0, 2.0]), np.array([0.1, 0.2]), "mm", np.array([5.0, inf]))
    low, high = both.interval()
    for i in range(2):
        one = both[i]
        assert (low[i], high[i]) == pytest.approx(one.interval(), rel=1e-12)
    assert len(both) == 2
    assert both[1].dof == inf and both[1].unit == "mm"


def test_one_number_gives_plain_floats() -> None:
    """A scalar estimate's bounds are Python floats, ready for a sentence or a JSON file."""
    assert [type(v) for v in Estimate(1.0, 0.5, dof=7).interval()] == [float, float]


@pytest.mark.parametrize("level", [0.0, 1.0, 95, -0.2, nan])
def test_a_level_that_is_no_probability_is_refused(level: float) -> None:
    """95 is a slip for 0.95 and gets a sentence, not a NaN."""
    with pytest.raises(ValueError, match="between 0 and 1"):
        Estimate(1.0, 0.1).interval(level)


# --- digits -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("u", "decimals"),
    [
        (0.1, 2), (0.16, 2), (0.29, 2), (0.299, 2), (0.3, 1), (0.41, 1), (0.95, 1), (0.999, 1), (1.0, 1), (2.9, 1),
        (3.0, 0), (9.9, 0), (10.0, 0), (29.0, 0), (300.0, 0), (0.012, 3), (0.0099, 3), (1e-9, 10), (5e-324, 324),
    ],
)  # fmt: skip
def test_two_figures_of_a_small_leading_digit_one_of_a_large(u: float, decimals: int) -> None:
    """1 and 2 as the leading figure of u ask for one figure more (rule of JCGM 100:2008, 7.2.6: at most two)."""
    assert decimals_for(u) == decimals


@pytest.mark.parametrize("u", [0.0, -1.0, nan, inf])
def test_an_uncertainty_that_says_nothing_prints_two_decimals(u: float) -> None:
    """Zero, negative, missing and infinite uncertainties do not stop a page."""
    assert decimals_for(u) == 2


def test_the_printed_text_says_95_per_cent_and_the_unit() -> None:
    """Degrees stand close, millimetres apart, and a bare number has no unit."""
    assert str(Estimate(92.431, 0.412, "°")) == "92.4° (95 %: 91.6 to 93.2)"
    assert str(Estimate(17.3333, 0.16, "mm")) == "17.33 mm (95 %: 17.02 to 17.65)"
    assert str(Estimate(3.0, 0.5)) == "3.0 (95 %: 2.0 to 4.0)"
    assert repr(Estimate(3.0, 0.5)) == str(Estimate(3.0, 0.5))


def test_nothing_is_printed_as_minus_zero() -> None:
    """−0.04 to one decimal reads 0.0."""
    assert str(Estimate(-0.04, 0.5, "mm")).startswith("0.0 mm")


def test_an_array_prints_a_line_for_each() -> None:
    """Three estimates make three lines, each with its own digits."""
    lines = str(Estimate(np.array([1.0, 2.0, 3.0]), np.array([0.1, 0.5, 5.0]), "mm")).splitlines()
    assert [line.split(" ")[0] for line in lines] == ["1.00", "2.0", "3"]


any_float = st.floats(-1e300, 1e300) | st.just(nan)


@given(any_float, st.floats(0.0, 1e300) | st.sampled_from([nan, inf]), st.sampled_from(["", "°", "mm"]), st.floats(0.5, 1e9))
def test_printing_never_crashes(value: float, u: float, unit: str, dof: float) -> None:
    """Whatever the numbers are, a text comes out that says 95 %."""
    assert "(95 %: " in str(Estimate(value, u, unit, dof))


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e3))
def test_what_is_printed_is_within_a_fifth_of_u_of_what_was_meant(value: float, u: float) -> None:
    """Rounding loses at most 0.17 u: half a unit of the last figure, where u ≥ 3 units (or 10, for a leading 1 or 2)."""
    printed = float(str(Estimate(value, u)).split(" ")[0])
    assert abs(printed - value) <= (0.17 * u if u < 30 else 0.5) + 1e-9


@given(st.floats(1e-9, 1e9))
def test_digits_do_not_depend_on_the_unit_of_length(u: float) -> None:
    """A tenth of u asks for one decimal more, once there are any."""
    if decimals_for(u) > 0:
        assert decimals_for(u / 10) == decimals_for(u) + 1
