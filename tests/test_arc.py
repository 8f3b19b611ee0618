"""One bend's geometry: limits by hand, printed figures, and a drawing with lines."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bendcal.arc import (
    crossing_sign,
    developed_length_mm,
    gain_mm,
    gain_slope_mm_per_deg,
    leg_to_centre_mm,
    leg_to_crossing_mm,
    radius_from_setback_mm,
    setback_mm,
    setback_slope_mm_per_deg,
    take_up_mm,
)

INCH = 25.4

angles = st.floats(0.01, 179.0)
radii = st.floats(1.0, 500.0)


def test_a_straight_piece_needs_nothing() -> None:
    """At 0 degrees every length is nothing and the take-up is the mark offset."""
    assert setback_mm(0, 15) == 0.0
    assert developed_length_mm(0, 15) == 0.0
    assert gain_mm(0, 15, 14) == 0.0
    assert take_up_mm(0, 15, -3.5) == -3.5


def test_a_square_bend_by_hand() -> None:
    """At 90 degrees the setback is the radius and the arc a quarter of a circle."""
    assert setback_mm(90, 15) == pytest.approx(15, abs=1e-12)
    assert developed_length_mm(90, 15) == pytest.approx(15 * math.pi / 2, abs=1e-12)
    assert gain_mm(90, 15, 15) == pytest.approx(30 - 15 * math.pi / 2, abs=1e-12)


@pytest.mark.parametrize(
    ("angle", "inside", "thick", "share", "printed"),
    [
        # Groover, Fundamentals of Modern Manufacturing, 4th ed., prob. 20.12(b). Status: read.
        (150, 6.0, 4.0, 0.5, 20.944),
        # Groover, ex. 19.2 (5th ed. numbering), arc of 60 degrees. Status: read.
        (60, 4.75, 3.2, 0.33, 6.08),
    ],
)
def test_arcs_printed_in_a_textbook(
    angle: float, inside: float, thick: float, share: float, printed: float
) -> None:
    """The arc on the neutral line agrees with Groover to the digits printed."""
    decimals = len(str(printed).split(".")[1])
    arc = developed_length_mm(angle, inside + share * thick)
    assert arc == pytest.approx(printed, abs=0.5 * 10**-decimals)


def test_the_textbook_part_as_a_whole() -> None:
    """Groover ex. 19.2 (read): 38 + 25 mm of straight and the arc make 69.08 mm."""
    neutral = 4.75 + 0.33 * 3.2
    assert 38 + 25 + developed_length_mm(60, neutral) == pytest.approx(69.08, abs=0.005)
    # The same from the corner: legs to the apex, less the gain. It does not hang on
    # which radius rounds the corner as long as both terms use the same one.
    legs = 38 + 25 + 2 * setback_mm(60, neutral)
    assert legs - gain_mm(60, neutral, neutral) == pytest.approx(69.08, abs=0.005)


def test_a_misprint_in_the_textbook_is_not_followed() -> None:
    """Groover 4th ed. prob. 20.10 (read) prints 34.21; its own inputs give 33.842."""
    arc = developed_length_mm(140, 11.35 + 0.5 * 5)
    assert arc == pytest.approx(33.842, abs=0.0005)
    assert abs(arc - 34.21) > 0.3


def test_the_navy_bend_allowance() -> None:
    """(0.0173 R + 0.0078 T)·N in inches for R 0.16, T 0.040, 90 degrees is 0.2772.

    NAVEDTRA structural-repair text: formula read, figure derived. Its 0.0173 is
    pi/180 = 0.01745 cut short, so it runs 0.9 % low; put right, both agree.
    """
    by_formula = (0.0173 * 0.16 + 0.0078 * 0.040) * 90
    assert by_formula == pytest.approx(0.2772, abs=5e-5)
    neutral = 0.16 + 0.0078 / 0.0173 * 0.040
    ours = developed_length_mm(90, neutral * INCH) / INCH
    assert ours == pytest.approx(0.2772, rel=0.01)
    assert ours * 0.0173 / math.radians(1) == pytest.approx(0.2772, abs=5e-5)


@pytest.mark.parametrize(
    ("angle", "factor"), [(45, 0.41421), (60, 0.57735), (90, 1.0), (120, 1.7320)]
)
def test_the_setback_chart_of_aircraft_sheet_metal(angle: float, factor: float) -> None:
    """K of the FAA's K-chart (memory), reached a second way through the half-angle formula."""
    # The chart cuts 1.73205 to 1.7320.
    assert setback_mm(angle, 1) == pytest.approx(factor, abs=6e-5)
    # tan(θ/2) = (1 − cos θ) / sin θ.
    theta = math.radians(angle)
    assert setback_mm(angle, 1) == pytest.approx((1 - math.cos(theta)) / math.sin(theta), abs=1e-14)


@pytest.mark.parametrize(("angle", "factor"), [(45, 0.04303), (60, 0.10750), (90, 0.42920)])
def test_gain_over_radius(angle: float, factor: float) -> None:
    """Gain / R where nothing stretches. Status: derived, here again from the arc's own chord."""
    assert gain_mm(angle, 1, 1) == pytest.approx(factor, abs=5e-6)
    turn = np.linspace(0, math.radians(angle), 20001)
    chords = np.hypot(np.diff(np.sin(turn)), np.diff(np.cos(turn))).sum()
    assert 2 * math.tan(math.radians(angle) / 2) - chords == pytest.approx(factor, abs=5e-6)


def test_an_electricians_stub() -> None:
    """A 10 in stub with a 5 in bender is marked 5 in from the end.

    Modern Residential Wiring, Goodheart-Willcox 2021, p. 144. Status: read. It
    ignores half the outside diameter, so its height is the centre leg here.
    """
    mark = 10 * INCH - take_up_mm(90, 5 * INCH, 0)
    assert mark / INCH == pytest.approx(5, abs=1e-12)


def test_the_mark_offset_moves_the_mark_towards_end_a() -> None:
    """A mark that has to lie 2 mm before the start of bend lies 2 mm nearer to end A."""
    before, plain = take_up_mm(90, 15, 2), take_up_mm(90, 15, 0)
    assert (100 - before) - (100 - plain) == pytest.approx(-2, abs=1e-12)


@given(angle=angles, radius=radii)
def test_the_radius_comes_back_from_the_setback(angle: float, radius: float) -> None:
    """Setback and back again."""
    back = radius_from_setback_mm(setback_mm(angle, radius), angle)
    assert back == pytest.approx(radius, rel=1e-12)


@given(angle=st.floats(1.0, 170.0), radius=radii, stretch=st.floats(0.8, 1.0))
def test_slopes_are_the_slopes(angle: float, radius: float, stretch: float) -> None:
    """Both slopes agree with a difference quotient."""
    h = 1e-4
    setback = (setback_mm(angle + h, radius) - setback_mm(angle - h, radius)) / (2 * h)
    assert setback_slope_mm_per_deg(angle, radius) == pytest.approx(setback, rel=1e-6)
    high, low = (gain_mm(angle + s * h, radius, stretch * radius) for s in (1, -1))
    gain = gain_slope_mm_per_deg(angle, radius, stretch * radius)
    assert gain == pytest.approx((high - low) / (2 * h), rel=1e-6, abs=1e-6 * radius)


@given(
    angle=st.floats(1.0, 170.0),
    od=st.floats(2.0, 30.0),
    leg=st.floats(50.0, 500.0),
    legs_to=st.sampled_from(["outside", "inside"]),
)
def test_outer_and_inner_edges_cross_where_a_drawing_says(
    angle: float, od: float, leg: float, legs_to: str
) -> None:
    """Two edges drawn half a diameter off the centrelines cross where the conversion says."""
    theta = math.radians(angle)
    # Leg 1 runs along x to the apex at (leg, 0); leg 2 turns left. The outside is the right.
    side = -1 if legs_to == "outside" else 1
    edge_1 = np.array([0, side * od / 2])
    along_2 = np.array([math.cos(theta), math.sin(theta)])
    edge_2 = np.array([leg, 0]) + side * od / 2 * np.array([-along_2[1], along_2[0]])
    # Where edge_1 + p (1, 0) meets edge_2 + q along_2.
    p, _ = np.linalg.solve(np.column_stack([[1, 0], -along_2]), edge_2 - edge_1)
    assert leg_to_crossing_mm(leg, angle, od, legs_to) == pytest.approx(p, rel=1e-9)
    assert leg_to_centre_mm(p, angle, od, legs_to) == pytest.approx(leg, rel=1e-9)


def test_a_square_bend_measured_to_the_outside_by_hand() -> None:
    """At 90 degrees the outer edges cross half a diameter beyond the apex, the inner as much before."""
    assert leg_to_centre_mm(100, 90, 4.75, "outside") == pytest.approx(97.625, abs=1e-12)
    assert leg_to_centre_mm(100, 90, 4.75, "inside") == pytest.approx(102.375, abs=1e-12)
    assert leg_to_centre_mm(100, 90, 4.75, "centre") == 100.0


def test_arrays_in_arrays_out() -> None:
    """A column of angles against a row of radii makes a table, and words may be a column too."""
    table = gain_mm(np.array([[30.0], [60.0], [90.0]]), np.array([10.0, 20.0]), [9.0, 19.0])
    assert table.shape == (3, 2)
    assert table[2, 1] == pytest.approx(40 - 19 * math.pi / 2)
    words = ["centre", "outside", "inside"]
    assert crossing_sign(np.array(words)).tolist() == [0.0, 1.0, -1.0]
    legs = leg_to_centre_mm([50, 50, 50], 90, 6, words)
    assert legs.round(9).tolist() == [50.0, 47.0, 53.0]


@pytest.mark.parametrize("angle", [180, 200.0, -1, math.nan, math.inf, [90, 180]])
def test_what_no_single_bend_can_be_is_refused(angle: object) -> None:
    """An angle of 180 or more, below 0 or missing is refused in plain words."""
    with pytest.raises(ValueError, match="one bend turns from 0 to less than 180 degrees"):
        setback_mm(angle, 15)
    with pytest.raises(ValueError, match="finished angle"):
        developed_length_mm(angle, 15)


@pytest.mark.parametrize("radius", [0, -15, math.nan, math.inf])
def test_a_radius_has_to_be_a_length(radius: float) -> None:
    """A radius that is no length is refused by its name."""
    with pytest.raises(ValueError, match="centreline radius .* more than 0 mm"):
        setback_mm(90, radius)
    with pytest.raises(ValueError, match="developed radius .* more than 0 mm"):
        gain_mm(90, 15, radius)
    with pytest.raises(ValueError, match="outside diameter .* more than 0 mm"):
        leg_to_centre_mm(50, 90, radius, "outside")


def test_a_straight_piece_has_no_radius() -> None:
    """The radius cannot be found from a piece that does not turn."""
    with pytest.raises(ValueError, match="a bend of 0 degrees has no radius"):
        radius_from_setback_mm(10, 0)


def test_an_unknown_crossing_is_refused() -> None:
    """A word for the crossing that means nothing is named, with those that do."""
    with pytest.raises(ValueError, match="'edge'.*one of centre, outside, inside"):
        crossing_sign("edge")
    with pytest.raises(ValueError, match="'Outside'"):
        leg_to_centre_mm([1, 2], 90, 5, ["inside", "Outside"])
