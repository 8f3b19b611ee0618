"""What a shop holds to be so: tubes, benders, tools, ends, offcuts, and finding them by name."""

from dataclasses import FrozenInstanceError, replace
from math import nan, pi, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from bendcal.benders import Bender
from bendcal.ends import FORMS, PLAIN, End
from bendcal.lines import line_from_legs
from bendcal.materials import ALLOYS
from bendcal.offcuts import CROSSINGS, Offcut
from bendcal.shop import Shop, UnknownName, named
from bendcal.tools import DEFAULT_ANGLE_TOOL, DEFAULT_LENGTH_TOOL, Tool
from bendcal.tubes import Tube

STEEL = ALLOYS["low-carbon steel"]
TUBE = Tube("brake 3/16", STEEL, 4.76, 0.71)
OFFCUT = Offcut("1", "small", "brake 3/16", 200.0, 90.0, 92.0, 90.0, leg_a_mm=101.2, leg_b_mm=105.0)

# --- tubes --------------------------------------------------------------------------------------


def test_a_tubes_radii_follow_from_its_diameter_and_wall() -> None:
    """4.76 × 0.71 mm by hand: bore 3.34, radii 2.38 and 1.67, middle of the wall 2.025 mm."""
    radii = (TUBE.bore_mm, TUBE.outer_radius_mm, TUBE.inner_radius_mm, TUBE.mean_radius_mm)
    assert radii == pytest.approx((3.34, 2.38, 1.67, 2.025), abs=1e-12)


def test_the_second_moment_is_the_section_tables() -> None:
    """π(D⁴ − d⁴)/64 (section tables), and once more as an integral over the section."""
    assert TUBE.second_moment_mm4 == pytest.approx(pi * (4.76**4 - 3.34**4) / 64, rel=1e-12)

    def chord(y: float) -> float:
        return 2 * (sqrt(max(2.38**2 - y * y, 0)) - sqrt(max(1.67**2 - y * y, 0)))

    inertia = 2 * quad(lambda y: y * y * chord(y), 0, 2.38, points=[1.67])[0]
    assert TUBE.second_moment_mm4 == pytest.approx(inertia, rel=1e-6)


@given(st.floats(1.0, 50.0), st.floats(0.01, 0.49))
def test_a_thinner_bore_never_makes_a_tube_weaker(od: float, share: float) -> None:
    """Any wall between nothing and half the diameter makes a tube, stiffer than one of half that wall."""
    thick, thin = Tube("t", STEEL, od, share * od), Tube("t", STEEL, od, share * od / 2)
    assert 0 < thin.second_moment_mm4 < thick.second_moment_mm4
    assert thick.inner_radius_mm < thick.mean_radius_mm < thick.outer_radius_mm


@pytest.mark.parametrize("od", [0.0, -4.76, nan])
def test_a_tube_without_a_diameter_is_refused(od: float) -> None:
    """Nothing, less than nothing and a missing number are no diameters."""
    with pytest.raises(ValueError, match="the outside diameter is .* must be more than 0"):
        Tube("t", STEEL, od, 0.7)


@pytest.mark.parametrize("wall", [0.0, -0.7, 2.38, 3.0, nan])
def test_a_wall_that_leaves_no_bore_is_refused(wall: float) -> None:
    """A wall of half the diameter makes a rod."""
    with pytest.raises(ValueError, match="'t': a wall of .* less than half the diameter"):
        Tube("t", STEEL, 4.76, wall)


# --- benders ------------------------------------------------------------------------------------


def test_a_bender_may_be_known_by_name_alone() -> None:
    """Every fact about a bender can be left blank."""
    bender = Bender("found in a box")
    assert [bender.die_radius_mm, bender.dial_step_deg, bender.dial_max_deg, bender.min_leg_mm] == [None] * 4


@pytest.mark.parametrize("name", ["die_radius_mm", "dial_step_deg", "dial_max_deg"])
@pytest.mark.parametrize("value", [0.0, -15.0, nan])
def test_a_benders_sizes_are_more_than_nothing(name: str, value: float) -> None:
    """A die of 0 mm is a blank written wrongly; the sentence says to leave it blank."""
    with pytest.raises(ValueError, match=f"'small': {name} is .*left blank"):
        Bender("small", **{name: value})


@pytest.mark.parametrize("name", ["min_leg_mm", "min_between_mm", "min_last_mm"])
def test_a_bender_may_need_no_straight_but_not_less_than_none(name: str) -> None:
    """0 mm of straight is a fact, −1 mm a slip."""
    assert getattr(Bender("small", **{name: 0.0}), name) == 0.0
    with pytest.raises(ValueError, match=f"{name} is -1.0; it must be 0 or more"):
        Bender("small", **{name: -1.0})


# --- tools --------------------------------------------------------------------------------------


def test_a_tools_uncertainty_adds_its_step_as_a_rectangle() -> None:
    """u² = sd² + step²/12: a rule of step 1 and no scatter has 0.288675 (JCGM 100:2008, F.2.2.1: memory; 1/√12)."""
    assert Tool("rule", "length", 1.0, 0.0).u == pytest.approx(0.288675, abs=1e-6)
    assert Tool("caliper", "length", 0.0, 0.02).u == pytest.approx(0.02)
    assert Tool("rule", "length", 0.5, 0.5).u ** 2 == pytest.approx(0.25 + 0.25 / 12)


def test_rounding_to_a_step_scatters_by_the_step_over_root_twelve() -> None:
    """100 000 lengths read to 0.5 mm are off by the rectangle's standard deviation."""
    truth = np.random.default_rng(2).uniform(0, 100, 100_000)
    error = np.round(truth / 0.5) * 0.5 - truth
    assert error.std() == pytest.approx(Tool("rule", "length", 0.5, 0.0).u, rel=0.01)


def test_the_usual_tools_read_half_a_degree_and_half_a_millimetre() -> None:
    """A tool that nobody described has step 0.5 and sd 0.5, in degrees or mm."""
    assert [(t.measures, t.step, t.sd) for t in (DEFAULT_ANGLE_TOOL, DEFAULT_LENGTH_TOOL)] == [
        ("angle", 0.5, 0.5), ("length", 0.5, 0.5),
    ]  # fmt: skip


def test_a_tool_that_measures_neither_is_refused() -> None:
    """A kind of tool has to be angle or length, and the sentence shows what was found."""
    with pytest.raises(ValueError, match="measures 'weight'; it must be 'angle' or 'length'"):
        Tool("scale", "weight", 1.0, 1.0)


@pytest.mark.parametrize(("step", "sd"), [(0.0, 0.0), (-0.5, 1.0), (0.5, -0.1), (nan, 0.5)])
def test_a_perfect_tool_is_refused(step: float, sd: float) -> None:
    """No tool reads exactly: step and sd cannot both be 0, nor either of them be negative or missing."""
    with pytest.raises(ValueError, match="neither may be negative, and one must be more than 0"):
        Tool("wonder", "length", step, sd)


# --- ends ---------------------------------------------------------------------------------------


def test_only_flares_are_flares() -> None:
    """The three flared forms need their nut on first; an olive and a plain end do not."""
    assert [End("x", form, 6.5).is_flare for form in FORMS] == [True, True, True, False, False]
    assert (PLAIN.form, PLAIN.uses_mm, PLAIN.uses_sd_mm, PLAIN.straight_mm) == ("plain", 0, 0, 0)


def test_an_end_of_no_known_form_is_refused() -> None:
    """The sentence lists the forms there are."""
    with pytest.raises(ValueError, match="form 'flared' is none of single flare, double flare"):
        End("x", "flared", 6.5)


@pytest.mark.parametrize("name", ["uses_mm", "uses_sd_mm", "straight_mm"])
@pytest.mark.parametrize("value", [-1.0, nan])
def test_an_end_uses_no_negative_tube(name: str, value: float) -> None:
    """Each of the three lengths is 0 or more."""
    with pytest.raises(ValueError, match=f"{name} is .* must be 0 or more"):
        End("x", "plain", **({"uses_mm": 0.0} | {name: value}))


# --- offcuts ------------------------------------------------------------------------------------


def test_both_legs_or_none() -> None:
    """A piece with one leg has not got its legs measured."""
    assert OFFCUT.has_legs
    assert not replace(OFFCUT, leg_b_mm=None).has_legs
    assert not replace(OFFCUT, leg_a_mm=None).has_legs


def test_a_piece_with_a_reason_against_it_does_not_count() -> None:
    """Any reason sets a piece aside; it stays in the record."""
    assert OFFCUT.counts
    assert not replace(OFFCUT, set_aside="kinked").counts


def test_legs_are_measured_to_one_of_three_crossings() -> None:
    """Anything else is refused with the three words."""
    assert [replace(OFFCUT, legs_to=word).legs_to for word in CROSSINGS] == list(CROSSINGS)
    with pytest.raises(ValueError, match="'1': legs_to is 'heel'; it must be one of centre, outside, inside"):
        replace(OFFCUT, legs_to="heel")


@pytest.mark.parametrize("record", [TUBE, Bender("b"), DEFAULT_ANGLE_TOOL, PLAIN, OFFCUT, Shop()])
def test_facts_cannot_be_changed_once_made(record) -> None:
    """A frozen record refuses an assignment."""
    with pytest.raises(FrozenInstanceError, match="cannot assign"):
        record.note = "altered"


# --- the shop -----------------------------------------------------------------------------------


def shop() -> Shop:
    """Two pairs with offcuts that count, one with a set-aside piece alone."""
    return Shop(
        benders={"small": Bender("small"), "large": Bender("large")},
        tubes={"brake 3/16": TUBE, "fuel 5/16": Tube("fuel 5/16", STEEL, 7.94, 0.71)},
        tools={"square": Tool("square", "angle", 1.0, 0.2), "rule": Tool("rule", "length", 1.0, 0.2)},
        ends={"flare": End("flare", "double flare", 6.5)},
        lines={"rear": line_from_legs("rear", [99, 99], [90], [0], tube="brake 3/16", bender="small")},
        offcuts=(
            replace(OFFCUT, offcut="2", bender="large", tube="fuel 5/16", angle_tool="square", length_tool="rule"),
            OFFCUT,
            replace(OFFCUT, offcut="3", set_aside="kinked"),
            replace(OFFCUT, offcut="4", bender="large", tube="fuel 5/16"),
            replace(OFFCUT, offcut="5", bender="large", set_aside="slipped"),
        ),
    )


def test_pairs_are_those_that_something_counts_for_in_the_logs_order() -> None:
    """A pair known only from a set-aside piece is none."""
    assert shop().pairs() == (("large", "fuel 5/16"), ("small", "brake 3/16"))


def test_a_pairs_offcuts_leave_out_what_was_set_aside() -> None:
    """Pieces 1 to 5 above, by pair."""
    assert [o.offcut for o in shop().offcuts_for("large", "fuel 5/16")] == ["2", "4"]
    assert [o.offcut for o in shop().offcuts_for("small", "brake 3/16")] == ["1"]
    assert shop().offcuts_for("large", "brake 3/16") == ()


def test_a_piece_has_its_tools_or_the_usual_ones() -> None:
    """The named tool where the shop knows it, else the default."""
    at = shop()
    assert at.angle_tool(at.offcuts[0]).tool == "square"
    assert at.length_tool(at.offcuts[0]).tool == "rule"
    assert at.angle_tool(OFFCUT) is DEFAULT_ANGLE_TOOL
    assert at.length_tool(replace(OFFCUT, length_tool="unheard of")) is DEFAULT_LENGTH_TOOL


def test_lines_and_ends_are_found_by_name_and_a_blank_end_is_plain() -> None:
    """What the shop has comes back as it is."""
    at = shop()
    assert at.line("rear").line == "rear"
    assert at.end("flare").uses_mm == 6.5
    assert at.end("") is PLAIN


def test_a_name_that_is_not_there_gets_a_sentence_with_the_nearest_one() -> None:
    """The sentence says what there is; as a KeyError it is not wrapped in quotation marks."""
    at = shop()
    with pytest.raises(UnknownName, match=r"^There is no line called 'raer' in this shop\. Did you mean 'rear'\? It has: 'rear'\.$"):
        at.line("raer")
    with pytest.raises(KeyError, match="no end called 'olive'.*It has: 'flare'"):
        at.end("olive")
    with pytest.raises(UnknownName, match="no tool called 'x' in this shop. It has: none at all"):
        named({}, "x", "tool")
