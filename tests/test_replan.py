"""The rest of a line marked anew after some bends were measured; the geometry with readings taken as exact, then what weighing them gains."""

from dataclasses import replace

import numpy as np
import pytest
from a_line import CAL, LEGS, SHOP, line
from invented.line import form

from bendcal.bending import bend_up
from bendcal.bodies import BenderBody
from bendcal.feasible.hindrance import what_is_met
from bendcal.marks import mark_out
from bendcal.path import Legs, nodes_from_legs, pose_of
from bendcal.replan import Made, replan
from bendcal.solids import Solid


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
    again = replan(SHOP, CAL, sheet, _made(sheet, [0.0, 0.0, 0.0]), exact=True)
    assert again.sheet.mark_mm == pytest.approx(sheet.mark_mm, abs=1e-6)
    assert again.sheet.dial_deg == pytest.approx(sheet.dial_deg, abs=1e-6)
    assert again.sheet.legs.twist_deg == pytest.approx(LEGS.twist_deg, abs=1e-6)
    assert again.miss_before_mm == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("done", [1, 2, 3])
def test_bent_by_the_new_marks_the_end_lands(sheet, done):
    """Walked along the tube: the bends made as measured and the rest by the new marks put end B in its seat."""
    made = _made(sheet, [1.2, -0.8, 0.9][:done], [0.0, 1.0, -0.7][:done])
    again = replan(SHOP, CAL, sheet, made, exact=True)
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
    again = replan(SHOP, CAL, sheet, _made(sheet, [2.0, -1.0]), exact=True)
    assert again.sheet.mark_mm[:2] == pytest.approx(sheet.mark_mm[:2], abs=0)
    assert again.sheet.dial_deg[:2] == pytest.approx(sheet.dial_deg[:2], abs=0)


def test_the_tube_is_as_long_as_it_was_cut(sheet):
    """The cut is made: what the new marks need more or less comes out of the trim."""
    again = replan(SHOP, CAL, sheet, _made(sheet, [1.5, 1.0]), exact=True)
    whole = again.sheet.seat_b_mm + again.sheet.end_b.uses_mm + again.sheet.trim_mm
    assert whole == pytest.approx(sheet.cut_length_mm, abs=1e-9)


def test_with_no_bend_left_it_says_so(sheet):
    """After the last bend only the miss can be told."""
    again = replan(SHOP, CAL, sheet, _made(sheet, [1.0] * 6), exact=True)
    assert "no bend is left to make it good" in again.sentence
    assert again.miss_after_mm == pytest.approx(again.miss_before_mm)


def test_what_cannot_be_made_good_is_a_warning(sheet):
    """A large twist error before a long leg, with one bend left, is not papered over."""
    again = replan(SHOP, CAL, sheet, _made(sheet, [0.0] * 5, [0.0, 0.0, 12.0, 12.0, 0.0]), exact=True)
    assert any("askew" in said or "misses its seat" in said for said in again.warnings)


def test_too_many_bends_made(sheet):
    """More bends than the line has are refused."""
    with pytest.raises(ValueError, match="7 bends are said to be made, but line 'long' has 6"):
        replan(SHOP, CAL, sheet, [Made()] * 7, exact=True)


ORDERS = {
    "from end B": ("B", (6, 5, 4)),
    "from end B, one": ("B", (6,)),
    "from the middle": ("A", (3, 4)),
    "here and there": (list("ABABBA"), (2, 5)),
    "all but one": ("B", (6, 5, 4, 2, 1)),
    "not beside an end": (list("BBBAAA"), (4, 3, 2)),
}


def _walked(sheet, made):
    """The nodes of the tube when these bends came out as measured and the rest as told, followed from cut end to cut end."""
    angle, twist = sheet.legs.angle_deg.copy(), sheet.legs.twist_deg.copy()
    for bend, one in made.items():
        angle[bend - 1] = one.angle_deg
        twist[bend - 1] = twist[bend - 1] if one.twist_deg is None else one.twist_deg
    _, _, radius, developed, offset = sheet.law.parameters
    return form(
        cut_length_mm=sheet.cut_length_mm, mark_mm=sheet.mark_mm, angle_deg=angle, twist_deg=twist, radius_mm=radius,
        developed_radius_mm=developed, start_mm=offset, feed=["A" if side > 0 else "B" for side in sheet.feed],
        seat_a_mm=sheet.seat_a_mm, seat_b_mm=sheet.cut_length_mm - sheet.seat_b_mm,
    ).nodes_mm  # fmt: skip


def _off(nodes, trim_at):
    """How far the end that is trimmed lies from its seat once the other end and its first bend lie where they belong."""
    wanted = nodes_from_legs(LEGS)
    if trim_at == "A":
        nodes, wanted = nodes[::-1], wanted[::-1]
    there = [pose_of(each) for each in (nodes, wanted)]
    frames = []
    for pose in there:
        along = pose["direction"] / np.linalg.norm(pose["direction"])
        normal = pose["normal"] / np.linalg.norm(pose["normal"])
        frames.append(np.stack([along, np.cross(normal, along), normal]))
    return float(np.linalg.norm(frames[0] @ (nodes[-1] - nodes[0]) - frames[1] @ (wanted[-1] - wanted[0])))


@pytest.mark.parametrize("trim_at", ["A", "B"])
@pytest.mark.parametrize("feed, order", ORDERS.values(), ids=ORDERS)
def test_whatever_was_made_first_and_whichever_end_led_the_end_lands(feed, order, trim_at):
    """Followed along the tube by another routine, bends made in any order and the rest by their new marks put the trimmed end in its seat."""
    begun = mark_out(SHOP, CAL, line(trim_at=trim_at), feed=feed)
    made, wrong = {}, iter([1.5, -1.0, 0.8, 0.4, -0.4])
    for bend in order:
        turn = float(LEGS.twist_deg[bend - 1]) + 0.7 if bend - 1 in order else None
        made[bend] = Made(angle_deg=float(LEGS.angle_deg[bend - 1]) + next(wrong), twist_deg=turn)
    again = replan(SHOP, CAL, begun, made, exact=True)
    assert again.end == trim_at
    assert again.made == tuple(sorted(order))
    assert _off(_walked(begun, made), trim_at) == pytest.approx(again.miss_before_mm, abs=1e-9)
    assert _off(_walked(again.sheet, made), trim_at) == pytest.approx(again.miss_after_mm, abs=1e-9)
    assert again.miss_after_mm < max(0.2, 0.1 * again.miss_before_mm)
    assert again.sheet.mark_mm[np.array(order) - 1] == pytest.approx(begun.mark_mm[np.array(order) - 1], abs=0)
    assert again.sheet.cut_length_mm == begun.cut_length_mm
    assert again.sheet.seat_a_mm >= again.sheet.end_a.uses_mm
    assert again.sheet.seat_b_mm <= begun.cut_length_mm - again.sheet.end_b.uses_mm + 1e-9


@pytest.mark.parametrize("feed, order", ORDERS.values(), ids=ORDERS)
def test_in_any_order_bends_that_came_out_well_change_nothing(feed, order):
    """Bends made in any order, just as meant, leave every mark, dial setting and twist where it was."""
    begun = mark_out(SHOP, CAL, line(), feed=feed)
    again = replan(SHOP, CAL, begun, {bend: Made(angle_deg=float(LEGS.angle_deg[bend - 1])) for bend in order}, exact=True)
    assert again.miss_before_mm == pytest.approx(0.0, abs=1e-9)
    assert again.sheet.mark_mm == pytest.approx(begun.mark_mm, abs=1e-6)
    assert again.sheet.dial_deg == pytest.approx(begun.dial_deg, abs=1e-6)
    assert again.sheet.legs.twist_deg == pytest.approx(LEGS.twist_deg, abs=1e-6)
    assert again.sheet.trim_mm == pytest.approx(begun.trim_mm, abs=1e-6)


def test_measured_legs_count(sheet):
    """A first leg that is 3 mm long means a bend 3 mm further along the tube: the next leg is short by as much, and the rest make it good."""
    sheet = mark_out(SHOP, CAL, line(Legs([80, 90, 120, 100], [90, 45, 60], [0, 90, -60])))
    again = replan(SHOP, CAL, sheet, [Made(leg_mm=83.0)], exact=True)
    assert again.miss_before_mm == pytest.approx(3.0 * np.sqrt(2), abs=1e-6)  # 3 mm along leg 1, and 3 mm along leg 2, square to it
    assert again.miss_after_mm < 0.3
    assert again.sheet.start_mm[0] == pytest.approx(sheet.start_mm[0] + 3.0)


def test_a_measured_last_leg_counts_from_end_b():
    """The last bend made first and found 2 mm too far from end B: the marks left are for the tube that is left on its other side."""
    begun = mark_out(SHOP, CAL, line(trim_at="A"), feed="B")
    again = replan(SHOP, CAL, begun, {6: Made(leg_after_mm=112.0)}, exact=True)
    assert again.sheet.end_mm[5] == pytest.approx(begun.end_mm[5] - 2.0)
    assert again.miss_before_mm > 1.0
    assert again.miss_after_mm < 0.3
    both = replan(SHOP, CAL, begun, {5: Made(leg_mm=None), 6: Made(leg_after_mm=112.0, leg_mm=96.0)}, exact=True)
    assert both.sheet.start_mm[5] - both.sheet.end_mm[4] == pytest.approx(begun.straights_mm[5] + 1.0)


def test_the_order_stays_and_what_is_left_is_tried_again():
    """The new sheet keeps the order of work; where the bends that are left would meet something, the first warning says what and where."""
    order = (6, 5, 4, 3, 2, 1)
    begun = mark_out(SHOP, CAL, line(), feed="B", order=order)
    made = {6: Made(angle_deg=71.0)}
    again = replan(SHOP, CAL, begun, made, exact=True)
    assert again.sheet.order == order
    assert [step.bend for step in again.sheet.steps] == list(order)
    assert again.sheet.order_told == ("With the new marks the bends that are left clear the tube itself; no body of bender small is measured (bender_bodies.csv).",)
    far, near = (BenderBody("small", "wall", Solid("wall", (-mm, 0, 0), (0, 0, 0))) for mm in (2000, 150))
    assert replan(replace(SHOP, bodies=(far,)), CAL, begun, made, exact=True).sheet.order_told == ("With the new marks the bends that are left clear the bender.",)
    met = replan(replace(SHOP, bodies=(near,)), CAL, begun, made, exact=True)
    assert met.warnings[0].startswith("With the new marks the bends that are left do not clear what is in the way. Bend ")
    assert "the wall" in met.warnings[0]
    assert met.sheet.order_told == met.warnings[:1]
    alone = {bend: Made() for bend in order[:-1]}
    told = what_is_met(begun, (near,), made=order[:-1])
    assert told.startswith("Bend 1 ") and told in replan(replace(SHOP, bodies=(near,)), CAL, begun, alone, exact=True).warnings[0]


def test_a_sequence_needs_a_sheet_in_the_row_of_the_tube():
    """Where bend 6 is made first, the first of a plain list could be bend 6 or bend 1: the numbers have to be given."""
    begun = mark_out(SHOP, CAL, line(), feed="B", order=(6, 5, 4, 3, 2, 1))
    with pytest.raises(ValueError, match=r"'long' is not bent in the row of the tube: say which bends .*\{6: Made\(angle_deg=60\)\}"):
        replan(SHOP, CAL, begun, [Made(angle_deg=71.0)], exact=True)


def test_it_says_which_bends_are_made_and_which_are_left():
    """Where they are not the first ones, the sentence names them, and the end that lands."""
    begun = mark_out(SHOP, CAL, line(trim_at="A"), feed="B")
    said = replan(SHOP, CAL, begun, {6: Made(angle_deg=71.0), 5: Made(angle_deg=101.0)}, exact=True).sentence
    assert said.startswith("After 2 of 6 bends (bends 5 and 6) end A would miss its seat by")
    assert "with new marks for bends 1 to 4 by" in said


@pytest.mark.parametrize(
    ("made", "says"),
    [
        ({7: Made()}, "Bend 7 is said to be made, but line 'long' has bends 1 to 6"),
        ({0: Made()}, "Bend 0 is said to be made"),
        ({3: Made(leg_mm=90.0)}, "leg_mm of bend 3 is against bend 2, which is not made yet"),
        ({3: Made(twist_deg=90.0)}, "twist_deg of bend 3 is against bend 2, which is not made yet"),
        ({1: Made(twist_deg=9.0)}, "twist_deg of bend 1 is 9: no bend lies before it"),
        ({5: Made(leg_after_mm=90.0)}, "leg_after_mm of bend 5 runs to bend 6: give it there"),
    ],
)
def test_what_cannot_have_been_measured_is_refused(sheet, made, says):
    """A bend that the line lacks, or a reading against a bend that is not made yet, is told and not left out silently."""
    with pytest.raises(ValueError, match=says):
        replan(SHOP, CAL, sheet, made, exact=True)
