"""Nuts on the tube while it is bent: by hand, against stepping through, and what a plan makes of them."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import cdist

from bendcal.bodies import BenderBody
from bendcal.ends import End
from bendcal.feasible.nut_places import GRIP, STEP_MM, NutPlaces
from bendcal.feasible.nuts import Nut, finished_before, may_wait, nuts_on, places_told, unknown_nuts
from bendcal.feasible.planning import KEEP_MM, plan_bending
from bendcal.feasible.orders import trials_of
from bendcal.feasible.rules import feeds_allowed
from bendcal.feasible.scenes import scene_of
from bendcal.feasible.stroke import Half, Workpiece, nut_reach_mm, workpiece_of
from bendcal.feasible.sweep import body_distances, self_distances
from bendcal.feasible.trials import Trial, Trials, halves_of
from bendcal.lines import line_from_legs
from bendcal.marks import mark_out
from bendcal.order import order_of_work
from bendcal.plan_report import plan_table
from bendcal.planned import mark_out_planned
from bendcal.solids import Solid
from tests.dense import all_orders, body_clearance_mm, half_points, placed, random_bodies, random_piece, self_clearance_mm
from tests.test_feasible import CAL, SHOP
from tests.test_sweep import RADIUS, TUBE, body, one_bend

WIDE = 12.7  # across the corners of an 11 mm hexagon
DOUBLE = End("double", "double flare", 5.0, straight_mm=30.0, nut_mm=24.0, nut_flats_mm=11.0, nut_length_mm=15.0)
WITH_NUTS = replace(SHOP, ends={"double": DOUBLE})
SEEDS = st.integers(0, 10**6)


def nut(letter: str = "A", *, length: float = 15.0, seat: float = 5.0, room: float = 100.0) -> Nut:
    """A nut of an 11 mm hexagon."""
    return Nut(letter, length, WIDE, seat, room)


def a_line(legs, angles, twists=None, **ends):
    """A line of brake tube with these ends."""
    twists = [0.0] * len(angles) if twists is None else twists
    return line_from_legs("rear", legs, angles, twists, tube="brake", bender="small", **ends)


def nearest_mm(piece, half: Half, one: BenderBody, back: float = 0.0, **more) -> float:
    """Least clearance of a half's nut to one body."""
    return float(body_distances(piece, [half], [one], [10.0], nuts_back_mm=[back], **more).value[0])


# --- by hand -------------------------------------------------------------------------------------


def test_what_a_swinging_nut_passes_over_is_nearer_than_to_the_tube() -> None:
    """A ball 12 below the plane, where the nut's middle passes: 12 − 3 − half of 12.7, and the tube's own 12 − 3 − 2.38."""
    piece = replace(one_bend(120), nuts=(nut("B"),))
    # The leg of 160 swings; its nut's middle lies 160 − 5 − 7.5 beyond the bend, at 60° still with half of the bend to wind.
    far = 160 - 5 - 7.5 + piece.arc_mm[0] / 2
    turn = np.radians(60)
    at = (np.cos(turn) * far + np.sin(turn) * RADIUS, np.sin(turn) * far - np.cos(turn) * RADIUS)
    ball, half = body("sphere", (*at, -12), diameter_mm=6), Half(0, "A", False, 0)
    assert nearest_mm(piece, half, ball) == pytest.approx(12 - 3 - WIDE / 2, abs=0.011)
    assert float(body_distances(piece, [half], [ball], [0.0]).value[0]) == pytest.approx(12 - 3 - TUBE, abs=0.011)


def test_a_nut_that_is_held_stands_off_the_wall_behind_by_what_it_is_pushed_back() -> None:
    """The tail ends 120 behind the bend, its nut begins 5 before that: a wall at 130 is 15 away, and 40 when it is pushed back by 25."""
    piece, half = replace(one_bend(60), nuts=(nut(),)), Half(0, "A", True, 0)
    wall = body("wall", (-130, 0, 0), (0, 0, 0))
    assert nearest_mm(piece, half, wall) == pytest.approx(15 - WIDE / 2, abs=1e-9)
    assert nearest_mm(piece, half, wall, back=25.0) == pytest.approx(40 - WIDE / 2, abs=1e-9)


def test_a_nut_in_what_holds_the_tube_is_a_hit_though_the_tube_is_not() -> None:
    """A jaw about the first 7 mm of the held tail lets the tube pass (its grip) and never the nut."""
    piece, half = replace(one_bend(60, before=40), nuts=(nut(room=35.0),)), Half(0, "A", True, 0)
    jaw = body("box", (-7, -RADIUS, 0), (-1, -RADIUS, 0), width_mm=12, height_mm=12)
    assert float(body_distances(piece, [half], [jaw], [10.0], beside_mm=KEEP_MM).value[0]) == np.inf
    assert nearest_mm(piece, half, jaw, back=18.0, beside_mm=KEEP_MM) < 0
    assert nearest_mm(piece, half, jaw, back=0.0, beside_mm=KEEP_MM) == np.inf


def test_a_nut_on_a_leg_that_comes_back_is_nearer_than_the_leg() -> None:
    """Three square bends bring the last leg back over the first, 36 between the middles; a nut on its end takes half its width off that."""
    arc, square = RADIUS * np.pi / 2, np.full(3, 90.0)
    piece = Workpiece(np.array([100.0, 60.0, 60.0, 40.0]), np.full(3, arc), square, np.zeros(3), square, RADIUS, RADIUS, TUBE, (nut("B", seat=0.0, room=40.0),))
    pair = halves_of(Trial(2, "A", 0b11), 3)
    found = self_distances(piece, [pair], nuts_back_mm=[(None, 0.0)], enough_mm=60.0).value[0]
    assert found == pytest.approx(36 - WIDE / 2 - TUBE, abs=0.011)


def test_how_far_a_nut_can_be_pushed() -> None:
    """115 mm of straight behind the seat less the nut; less what lies in the bender where the bend beside it is made; nothing less further off."""
    piece = replace(random_piece(np.random.default_rng(0), 2), nuts=(nut(room=55.0),), in_bender_mm=(25.0, 20.0))
    piece.straight_mm[0] = 60.0
    assert nut_reach_mm(piece, Half(0, "A", True, 0)) == pytest.approx(55 - 15 - 25)
    assert nut_reach_mm(piece, Half(0, "B", False, 0)) == pytest.approx(55 - 15 - 20)
    assert nut_reach_mm(piece, Half(1, "A", True, 0)) == pytest.approx(55 - 15)


# --- against stepping through ----------------------------------------------------------------------


def stepped(piece, half: Half, back: float, bodies, steps: int) -> float:
    """The least clearance of the nut on a half to bodies, a point each tenth of a millimetre of its middle line, at so many places of the stroke."""
    own, points = piece.nut_on(half), half_points(piece, half.bend, half.feed, half.made, half.held, 0.1)
    whole = points[2][-1]
    on_it = (points[2] >= whole - own.seat_mm - back - own.length_mm - 1e-9) & (points[2] <= whole - own.seat_mm - back + 1e-9)
    least = np.inf
    for stroke in np.linspace(0, piece.stroke_deg[half.bend], steps):
        at, _, _ = placed(*(each[on_it] for each in points), piece, half.bend, half.held, stroke)
        c, s = np.cos(np.radians(stroke)), np.sin(np.radians(stroke))
        from_lever = at @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        for one in bodies:
            least = min(least, one.solid.distance_mm(from_lever if one.moves == "lever" else at).min())
    return least - own.corners_mm / 2


@given(SEEDS)
@settings(max_examples=12)
def test_the_least_clearance_of_a_nut_is_what_stepping_comes_down_to(seed: int) -> None:
    """Within 0.01 of a bound that no sample is below, and no further above the samples than their steps are wide."""
    rng = np.random.default_rng(seed)
    piece, bodies = random_piece(rng, 3, straight=(30, 90)), random_bodies(rng, 3)
    piece = replace(piece, nuts=tuple(nut(letter, room=float(piece.straight_mm[i]) - 5) for letter, i in (("A", 0), ("B", -1))))
    half = halves_of(Trial(int(rng.integers(3)), "AB"[seed % 2], int(rng.integers(8))), 3)[seed // 2 % 2]
    back = float(rng.uniform(0, max(nut_reach_mm(piece, half), 0)))
    found = body_distances(piece, [half], bodies, [10.0] * 3, nuts_back_mm=[back])
    sampled = stepped(piece, half, back, bodies, 600)
    assert found.low[0] <= found.value[0] <= found.low[0] + 0.0101
    assert found.low[0] - 1e-6 <= sampled
    assert found.value[0] == pytest.approx(sampled, abs=0.1)


@given(SEEDS)
@settings(max_examples=8)
def test_a_nut_against_the_other_half_is_what_stepping_comes_down_to(seed: int) -> None:
    """The same for the nut of the swinging half against the tube that is held."""
    rng = np.random.default_rng(seed)
    piece = random_piece(rng, 4, straight=(25, 60), twist=(0, 15, 180))
    piece.angle_deg[:] = rng.uniform(70, 125, 4)
    piece.arc_mm[:], piece.stroke_deg[:] = 17 * np.radians(piece.angle_deg), piece.angle_deg / 0.97 + 2
    piece = replace(piece, nuts=(nut("B", room=float(piece.straight_mm[-1]) - 5),))
    bend = int(rng.integers(3))
    pair = halves_of(Trial(bend, "A", 0b1111 & ~(1 << bend)), 4)
    found = self_distances(piece, [pair], nuts_back_mm=[(None, 0.0)], enough_mm=60.0)
    own, ends = piece.nut_on(pair[1]), []
    for half in pair:
        ends.append(half_points(piece, bend, "A", half.made, half.held, 1.0))
    whole = ends[1][2][-1]
    on_it = (ends[1][2] >= whole - own.seat_mm - own.length_mm - 1e-9) & (ends[1][2] <= whole - own.seat_mm + 1e-9)
    least = np.inf
    for stroke in np.linspace(0, piece.stroke_deg[bend], 120):
        held, _, a = placed(*ends[0], piece, bend, True, stroke)
        swung, _, b = placed(*(each[on_it] for each in ends[1]), piece, bend, False, stroke)
        counts = a[:, None] + b[None] + piece.arc_mm[bend] >= np.pi * piece.die_radius_mm
        least = min(least, cdist(held, swung)[counts].min(initial=np.inf))
    sampled = least - own.corners_mm / 2 - piece.tube_radius_mm
    assert found.low[0] <= sampled + 1e-6
    if found.value[0] < 60:
        assert sampled - found.value[0] < 0.7


@given(SEEDS)
@settings(max_examples=12)
def test_no_place_that_is_passed_over_would_have_served(seed: int) -> None:
    """Where the places that were tried all fail, so does every place a centimetre from the next; where one serves, it is told."""
    rng = np.random.default_rng(seed)
    piece, bodies = random_piece(rng, 2, straight=(60, 160)), random_bodies(rng, 4)
    piece = replace(piece, nuts=(nut("A", room=float(piece.straight_mm[0]) - 5),))
    halves = [halves_of(Trial(bend, feed, made), 2)[0 if feed == "A" else 1] for bend in (0, 1) for feed in "AB" for made in (0, 1)]
    halves = [half for half in halves if half.to_a]
    how = {"tolerance_mm": 0.05, "share": 0.02, "enough_mm": 25.0, "floor_mm": KEEP_MM - 0.05}
    told = NutPlaces(piece, bodies, [10.0] * 4, KEEP_MM, how).best(halves)
    for half, one in told.items():
        reach = nut_reach_mm(piece, half)
        every = [*np.arange(0, reach, STEP_MM), reach]
        close = body_distances(piece, [half] * len(every), bodies, [10.0] * 4, nuts_back_mm=every, beside_mm=KEEP_MM)
        serves = close.low >= KEEP_MM
        if abs(close.value - KEEP_MM).min() > 0.1:
            assert (one.clear.low_mm >= KEEP_MM) == serves.any()
        if one.clear.low_mm >= KEEP_MM:
            assert close.value[every.index(one.back_mm)] >= KEEP_MM - 0.01


@pytest.mark.parametrize("seed", [3, 5, 8])
def test_the_plan_is_that_of_all_orders_stepped_through_with_the_nut(seed: int) -> None:
    """Two bends, 8 orders, each trial stepped through with the nut at every place: a way for both or for none, and its places among those that serve."""
    rng = np.random.default_rng(seed)
    # No room for the tool behind a finished bend: the flare cannot wait, so that nut or no way it is.
    shop = replace(WITH_NUTS, ends={"double": replace(DOUBLE, straight_mm=400.0, nut_mm=16.0)})
    line = a_line(rng.uniform(70, 130, 3), rng.uniform(40, 110, 2), np.append(0, rng.uniform(-180, 180, 1)), end_a="double")
    bodies = random_bodies(rng, 4)
    piece = workpiece_of(mark_out(shop, CAL, line))
    clear: dict[tuple, dict[float, float]] = {}
    for made in range(4):
        for bend in range(2):
            for feed in "AB" if not made >> bend & 1 else "":
                halves = halves_of(Trial(bend, feed, made), 2)
                tube = min(
                    *(body_clearance_mm(piece, bend, feed, made, held, bodies, 10.0, steps=60, step_mm=2.0, beside_mm=KEEP_MM) for held in (True, False)),
                    self_clearance_mm(piece, bend, feed, made, steps=25, step_mm=4.0),
                )  # fmt: skip
                half = next(one for one in halves if one.to_a)
                reach = nut_reach_mm(piece, half)
                clear[bend, feed, made] = {back: min(tube, stepped(piece, half, back, bodies, 60)) for back in ([*np.arange(0, reach, 10.0), reach] if reach >= 0 else [])}
    ways = [
        (order, feed) for order, feed in all_orders(2)
        if all(any(value >= KEEP_MM for value in clear[tuple(trial)].values()) for trial in trials_of(order, feed))
    ]  # fmt: skip
    best = plan_bending(shop, CAL, line, bodies=bodies, mend=False).best
    assert (best is not None) == bool(ways)
    if best is not None:
        row = trials_of([bend - 1 for bend in best.order], [step.feed for step in best.steps])
        for trial, step in zip(row, best.steps, strict=True):
            places = clear[tuple(trial)]
            assert places[min(places, key=lambda back: abs(back - step.nuts_back_mm["A"]))] >= KEEP_MM - 0.4


# --- what a plan makes of them -----------------------------------------------------------------------


def test_which_ends_are_finished_before_the_bends() -> None:
    """The end that is not trimmed; the other one as well where its leg has no room for the tool later; a plain one never."""
    cases = (({"end_a": "double", "end_b": "double"}, "A"), ({"end_a": "double", "end_b": "double", "trim_at": "A"}, "B"), ({"end_b": "double"}, ""))
    for facts, letters in cases:
        assert finished_before(mark_out(WITH_NUTS, CAL, a_line([90, 90], [90], **facts))) == letters
    assert finished_before(mark_out(WITH_NUTS, CAL, a_line([90, 42], [90], end_a="double", end_b="double"))) == "AB"


def test_nuts_of_which_the_size_is_not_told_are_said_not_to_be_reckoned_with() -> None:
    """A sentence that names the columns, and no nut in the bender."""
    vague = replace(WITH_NUTS, ends={"double": replace(DOUBLE, nut_flats_mm=None)})
    sheet = mark_out(vague, CAL, a_line([90, 90], [90], end_a="double"))
    assert nuts_on(sheet) == () and "nut_flats_mm" in unknown_nuts(sheet)[0]
    floor = BenderBody("small", "floor", Solid("wall", (0, 0, -60), (0, 0, 0)))
    assert unknown_nuts(sheet)[0] in plan_bending(vague, CAL, sheet.line, bodies=(floor,)).notes
    assert unknown_nuts(mark_out(WITH_NUTS, CAL, sheet.line)) == ()
    thin = mark_out(replace(WITH_NUTS, ends={"double": replace(DOUBLE, nut_flats_mm=4.0)}), CAL, sheet.line)
    assert nuts_on(thin) == () and "it cannot be 4 mm across its flats" in unknown_nuts(thin)[0]


def test_the_bender_needs_the_nuts_length_beside_what_it_holds() -> None:
    """25 mm held and a nut of 15: 40 mm of straight before bend 1 will do, 39.9 will not; swinging, 20 and 15."""
    for straight, letters in ((40.0, "AB"), (39.9, "B"), (34.9, "")):
        # The leg: its straight and the square bend's setback.
        sheet = mark_out(WITH_NUTS, CAL, a_line([straight + RADIUS, 90], [90], end_a="double"))
        allowed, told = feeds_allowed(sheet)
        assert allowed[0] == letters
    held = next(one for one in told if one.rule == "before the first bend")
    assert "needs 40 mm of straight tube towards end A at bend 1" in held.sentence and "(25 mm in the bender, and beside it the nut of end A, 15 mm long)" in held.sentence
    assert held.source == "benders.csv, min_leg_mm; ends.csv, nut_length_mm" and held.missing_mm == pytest.approx(5.1)


SHELF = BenderBody("small", "shelf", Solid("wall", (0, 0, -5), (0, 0, 0)))


def test_a_line_that_clears_without_its_nut_is_bent_before_that_goes_on() -> None:
    """A shelf 5 below the tube's middle: the tube clears it by 2.6, the nut's corners reach 6.35; the flare is left until after the bend."""
    bare, nutted = a_line([90, 90], [90]), a_line([90, 90], [90], end_a="double")
    assert plan_bending(WITH_NUTS, CAL, bare, bodies=(SHELF,)).best.late == ""
    plans = plan_bending(WITH_NUTS, CAL, nutted, bodies=(SHELF,))
    assert plans.best.late == "A" and plans.best.nuts_told == ()
    assert plans.best.reasons[0] == "The nut of end A is put on after the bends, and its double flare made after that: on the tube it would be in their way."
    assert plans.best.hindered[0] == "With the nut of end A on the tube no order was found."
    assert plans.best.hindered[1] == "With bend 1 first and end A leading, bend 1 cannot be begun: the nut of end A already meets the shelf before the lever is moved."
    # End B is plain: with end A trimmed there is no nut on the tube at all.
    assert plans.notes == (
        "If end A may be the one that is trimmed (trim_at in lines.csv), end B can be finished while the tube is straight: Make bend 1 with end A leading.",
    )
    shop = replace(WITH_NUTS, bodies=(SHELF,))
    tasks = [step.task for step in order_of_work(mark_out_planned(shop, CAL, nutted))]
    assert tasks.index("slide on") < tasks.index("bend") < tasks.index("nut A") < tasks.index("form A") < tasks.index("fit up")
    with_both = plan_bending(WITH_NUTS, CAL, a_line([90, 90], [90], end_a="double", end_b="double"), bodies=(SHELF,))
    assert with_both.best.late == "A" and with_both.notes == ()  # the other one's nut would meet the shelf as well


def test_an_end_that_cannot_wait_makes_the_line_impossible_and_the_nut_is_named() -> None:
    """39 mm of straight hold the nut and its way, not the flaring tool's 45: the flare has to come first, and its nut meets the shelf."""
    shop = replace(WITH_NUTS, ends={"double": replace(DOUBLE, straight_mm=45.0)})
    line = a_line([60, 90], [90], end_a="double")
    assert not may_wait(mark_out(shop, CAL, line), "A")
    plans = plan_bending(shop, CAL, line, bodies=(SHELF,))
    assert plans.best is None
    assert "the nut of end A already meets the shelf" in plans.sentence
    assert any(mend.startswith("With the shelf out of the way it can be bent") for mend in plans.mends)


def test_a_nut_is_pushed_to_where_it_clears_and_the_order_of_work_says_where() -> None:
    """A post beside the tail's last 20 mm lets the tube pass and not the nut: it is pushed back by 20, and stays at the end where it is free."""
    post = BenderBody("small", "post", Solid("box", (-77, -RADIUS + 7.5, 0), (-60, -RADIUS + 7.5, 0), width_mm=8, height_mm=40))
    line = a_line([90, 100, 90], [90, 90], end_a="double")
    shop = replace(WITH_NUTS, bodies=(post,), benders={"small": replace(SHOP.benders["small"], min_leg_mm=10)})
    best = plan_bending(shop, CAL, line).best
    assert [(step.bend, step.feed, dict(step.nuts_back_mm)) for step in best.steps] == [(2, "A", {"A": 0.0}), (1, "A", {"A": 20.0})]
    assert best.nuts_told == ("Push the nut of end A up to the end and tape it there, but for bend 1: there 20 mm back from the seat.",)
    sheet = mark_out_planned(shop, CAL, line)
    assert best.nuts_told[0] in next(step.sentence for step in order_of_work(sheet) if step.task == "bend")


def test_a_nut_that_comes_nearest_is_named_in_the_plan() -> None:
    """A bench 20 below: the nut is 20 − 6.35 from it, the bent tube 20 − 2.38."""
    bench = BenderBody("small", "bench", Solid("wall", (0, 0, -20), (0, 0, 0)))
    plans = plan_bending(WITH_NUTS, CAL, a_line([100, 100, 100], [90, 90], end_a="double"), bodies=(bench,))
    way = next(one for one in plans.ranked if one.order == (1, 2) and one.feed == ("A", "A"))
    assert way.steps[1].clearance_mm == pytest.approx(20 - WIDE / 2, abs=0.011) and way.steps[1].part == "the nut of end A"
    assert way.clears.startswith("The nut of end A comes no nearer than 14 mm to the bench, at bend 2")
    assert plan_table(way).columns["comes nearest to"][1].startswith("nut of end A 14 mm from the bench")


def test_a_nut_without_any_room_fails_before_the_lever_moves() -> None:
    """30 mm behind the seat, 25 of them in the bender: a nut of 15 has none, and that is what is told."""
    piece = replace(one_bend(90, before=35), nuts=(nut(room=30.0),), in_bender_mm=(25.0, 20.0))
    trials = Trials(piece, [SHELF], 10.0, KEEP_MM, 25.0)
    clear = trials.ask([Trial(0, "A", 0)])[0]
    assert not trials.passes(clear) and clear.value_mm == pytest.approx(-10.0)
    assert trials.first_contact(Trial(0, "A", 0)).near == GRIP


def test_places_are_told_bend_by_bend() -> None:
    """Nothing where no nut is on; bends with the same place together; each end in a sentence of its own."""
    assert places_told([(1, {}), (2, {})]) == ()
    said = places_told([(1, {"A": 20.0, "B": 0.0}), (3, {"A": 20.0, "B": 0.0}), (2, {"A": 41.0, "B": 0.0})])
    assert said == (
        "Push the nut of end A up to the end and tape it there, but for bends 1 and 3: there 20 mm back from the seat; for bend 2: there 41 mm back from the seat.",
        "Push the nut of end B up to the end and tape it there.",
    )


def test_a_scene_holds_its_nuts() -> None:
    """Both faces lie on the tube's end leg, the nut's length apart, at its place behind the seat."""
    line = a_line([100, 100, 100], [90, 90], end_a="double")
    sheet, plans = mark_out(WITH_NUTS, CAL, line), plan_bending(WITH_NUTS, CAL, line, bodies=())
    piece = workpiece_of(sheet)
    for step in (1, 2):
        scene = scene_of(piece, plans.best, step, stroke_deg=10.0)
        ((own, faces),) = scene.nuts
        half = scene.held_mm if plans.best.steps[step - 1].feed == "A" else scene.swung_mm
        assert np.linalg.norm(half[-1] - faces[1]) == pytest.approx(own.seat_mm) == pytest.approx(5.0)
        assert np.linalg.norm(faces[1] - faces[0]) == pytest.approx(15.0)
        assert np.linalg.norm(half[-1] - faces[0]) == pytest.approx(20.0)
