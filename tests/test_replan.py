"""The rest of a line marked anew after some bends were measured."""

import numpy as np
import pytest
from a_line import CAL, LEGS, SHOP, line

from bendcal.bending import bend_up
from bendcal.marks import mark_out
from bendcal.path import Legs, nodes_from_legs
from bendcal.replan import Made, replan


@pytest.fixture(scope="module")
def sheet():
    return mark_out(SHOP, CAL, line())


def _made(sheet, off_deg, twist_off_deg=()):
    """The first bends with these errors of angle and twist."""
    twists = [*twist_off_deg, *([0.0] * len(off_deg))]
    return [
        Made(angle_deg=float(sheet.legs.angle_deg[k]) + off, twist_deg=float(sheet.legs.twist_deg[k]) + twists[k])
        for k, off in enumerate(off_deg)
    ]


def test_where_all_went_well_nothing_changes(sheet):
    """Bends that came out as meant leave every mark, dial setting and twist where it was."""
    again = replan(SHOP, CAL, sheet, _made(sheet, [0.0, 0.0, 0.0]))
    assert again.sheet.mark_mm == pytest.approx(sheet.mark_mm, abs=1e-6)
    assert again.sheet.dial_deg == pytest.approx(sheet.dial_deg, abs=1e-6)
    assert again.sheet.legs.twist_deg == pytest.approx(LEGS.twist_deg, abs=1e-6)
    assert again.miss_before_mm == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("done", [1, 2, 3])
def test_bent_by_the_new_marks_the_end_lands(sheet, done):
    """Walked along the tube: the bends made as measured and the rest by the new marks put end B in its seat."""
    made = _made(sheet, [1.2, -0.8, 0.9][:done], [0.0, 1.0, -0.7][:done])
    again = replan(SHOP, CAL, sheet, made)
    assert again.miss_before_mm > 1.0
    assert again.miss_after_mm < 0.3
    assert again.turn_after_deg < 1.0
    law, new = sheet.law, again.sheet
    # A bend that was made wrong is, on the tube, a bend made by another dial setting.
    dial = new.dial_deg.copy()
    dial[:done] = [law.dial_for(bend.angle_deg).value for bend in made]
    twist = new.legs.twist_deg.copy()
    twist[:done] = [bend.twist_deg for bend in made]
    bent = bend_up(
        law, mark_mm=new.mark_mm, dial_deg=dial, twist_deg=twist, seat_a_mm=new.seat_a_mm, seat_b_mm=new.seat_b_mm,
    )  # fmt: skip
    end, seat = nodes_from_legs(bent)[-1], nodes_from_legs(LEGS)[-1]
    assert np.linalg.norm(end - seat) == pytest.approx(again.miss_after_mm, abs=1e-6)


def test_marks_of_bends_made_stay_where_they_are(sheet):
    """What is already bent cannot be marked anew."""
    again = replan(SHOP, CAL, sheet, _made(sheet, [2.0, -1.0]))
    assert again.sheet.mark_mm[:2] == pytest.approx(sheet.mark_mm[:2], abs=0)
    assert again.sheet.dial_deg[:2] == pytest.approx(sheet.dial_deg[:2], abs=0)


def test_the_tube_is_as_long_as_it_was_cut(sheet):
    """The cut is made: what the new marks need more or less comes out of the trim."""
    again = replan(SHOP, CAL, sheet, _made(sheet, [1.5, 1.0]))
    whole = again.sheet.seat_b_mm + again.sheet.end_b.uses_mm + again.sheet.trim_mm
    assert whole == pytest.approx(sheet.cut_length_mm, abs=1e-9)


def test_with_no_bend_left_it_says_so(sheet):
    """After the last bend only the miss can be told."""
    again = replan(SHOP, CAL, sheet, _made(sheet, [1.0] * 6))
    assert "no bend is left to make it good" in again.sentence
    assert again.miss_after_mm == pytest.approx(again.miss_before_mm)


def test_what_cannot_be_made_good_is_a_warning(sheet):
    """A large twist error before a long leg, with one bend left, is not papered over."""
    again = replan(SHOP, CAL, sheet, _made(sheet, [0.0] * 5, [0.0, 0.0, 12.0, 12.0, 0.0]))
    assert any("askew" in said or "misses its seat" in said for said in again.warnings)


def test_too_many_bends_made(sheet):
    """More bends than the line has are refused."""
    with pytest.raises(ValueError, match="7 bends are said to be made, but line 'long' has 6"):
        replan(SHOP, CAL, sheet, [Made()] * 7)


def test_turned_tubes_are_refused():
    """A sheet that turns the tube end for end has no one order of counting on."""
    sheet = mark_out(SHOP, CAL, line(), feed="B")
    with pytest.raises(ValueError, match="turns the tube end for end"):
        replan(SHOP, CAL, sheet, [Made()])


def test_measured_legs_count():
    """A leg that came out 3 mm long is made good by the legs after it."""
    sheet = mark_out(SHOP, CAL, line(Legs([80, 90, 120, 100], [90, 45, 60], [0, 90, -60])))
    again = replan(SHOP, CAL, sheet, [Made(leg_mm=83.0)])
    assert again.miss_before_mm == pytest.approx(3.0, abs=1e-6)
    assert again.miss_after_mm < 0.3
