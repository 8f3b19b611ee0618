"""Can it be bent? Lines whose answer is known by hand, and the search against all orders densely sampled."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from bendcal.benders import Bender
from bendcal.bodies import BenderBody
from bendcal.calibration import Calibration, calibrate
from bendcal.clearance import obstacle_clearances
from bendcal.feasible.mending import longer_leg
from bendcal.feasible.orders import Way, trials_of
from bendcal.feasible.planning import KEEP_MM, plan_bending
from bendcal.feasible.scenes import scene_of
from bendcal.feasible.stroke import workpiece_of
from bendcal.files.folder import read_shop
from bendcal.law import Law
from bendcal.lines import line_from_legs
from bendcal.marks import mark_out
from bendcal.materials import ALLOYS
from bendcal.path import clock_deg, wrap_deg
from bendcal.shop import Shop
from bendcal.solids import Solid
from bendcal.tubes import Tube
from tests.dense import all_orders, body_clearance_mm, random_bodies, self_clearance_mm

SAMPLE = Path(__file__).resolve().parent.parent / "sample_measurements"
RADIUS = 16.0
SHOP = Shop(
    benders={"small": Bender("small", RADIUS, min_leg_mm=25, min_between_mm=10, min_last_mm=20), "big": Bender("big", 30.0)},
    tubes={"brake": Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)},
)
LAW = Law.of("small", "brake", [0.0, 1.0, RADIUS, RADIUS, 2.0], n_offcuts=6, angle_range_deg=(1, 179))


def cal_of(*laws: Law) -> Calibration:
    """A calibration that holds these laws."""
    return Calibration({(law.bender, law.tube): law for law in laws}, pd.DataFrame(), (), (), "", "")


CAL = cal_of(LAW)


def a_line(legs, angles, twists=None):
    """A line of brake tube."""
    return line_from_legs("rear", legs, angles, [0.0] * len(angles) if twists is None else twists, tube="brake", bender="small")


def body(name: str, shape: str, *points, **more) -> BenderBody:
    """A body of the bender."""
    facts = {key: more.pop(key) for key in ("moves", "grip_mm") if key in more}
    return BenderBody("small", name, Solid(shape, *points, **more), **facts)


def plan(line, *bodies, shop=SHOP, cal=CAL, **more):
    """The plans of a line; only what is given here stands in the way."""
    return plan_bending(shop, cal, line, bodies=bodies, **more)


# --- by hand ------------------------------------------------------------------------------------


def test_with_nothing_in_the_way_the_bends_are_made_from_a_to_b() -> None:
    """The first of four plain orders, none of which needs a turn end for end."""
    plans = plan(a_line([80, 90, 100, 80], [90, 45, 60], [0, 90, -60]))
    assert plans.best.order == (1, 2, 3) and plans.best.feed == ("A", "A", "A")
    assert len(plans.ranked) == 4
    assert plans.best.sentence == "Make bends 1 to 3 in this order with end A leading."
    assert plans.why_not == () and plans.mends == ()
    assert any("only the tube is held against itself" in note for note in plans.notes)


def test_a_wall_behind_the_bender_lets_a_long_leg_swing_only() -> None:
    """Legs of 300 and 60, a wall 200 behind the die: the long leg cannot be held, so end B leads."""
    wall = body("wall", "wall", (-200, 0, 0), (0, 0, 0))
    plans = plan(a_line([300, 60], [90]), wall)
    assert [one.feed for one in plans.ranked] == [("B",)]
    assert "With bend 1 first and end A leading, bend 1 cannot be begun: the tube already meets the wall" in plans.sentence
    assert plan(a_line([190, 60], [90]), wall).best.feed == ("A",)


def test_a_short_end_leads_from_one_end_only() -> None:
    """A first straight of 22 mm is too short to be held (25), not to swing (20): end B leads at every bend, without a turn."""
    plans = plan(a_line([38, 80, 80, 80], [90, 45, 60]))
    assert {one.feed for one in plans.ranked} == {("B", "B", "B")}
    assert plans.best.turns_end_for_end == 0
    assert plans.best.sentence == "Make bends 3 to 1 in this order with end B leading."


def test_two_short_ends_need_the_tube_turned_end_for_end() -> None:
    """22 mm at both ends: bend 1 only with end B leading, bend 2 only with end A."""
    plans = plan(a_line([38, 80, 38], [90, 90]))
    assert plans.best.feed == ("B", "A") and plans.best.turns_end_for_end == 1
    assert "turn the tube end for end, then" in plans.best.sentence
    assert "The tube is turned end for end once." in plans.best.reasons
    assert plans.best.steps[1].turn_deg is None


def test_a_ceiling_lets_the_long_side_be_held_only() -> None:
    """Two square bends in a row of 300, 92 and 60: the side with the 300 swings up into a ceiling 250 over the die."""
    ceiling = body("ceiling", "wall", (0, 250, 0), (0, 0, 0))
    plans = plan(a_line([300, 92, 60], [90, 90]), ceiling)
    assert plans.best.feed == ("A", "A")
    assert all("B" not in one.feed for one in plans.ranked)


BENCH = (
    body("die plate", "box", (-12, 4, -9), (30, 4, -9), width_mm=30, height_mm=6),
    body("handle", "capsule", (-20, 25, -20), (-220, 60, -20), diameter_mm=20),
    body("bench", "wall", (0, 0, -70), (0, 0, 0)),
    body("lever", "capsule", (20, -32, -12), (220, -45, -12), diameter_mm=16, moves="lever"),
)


def test_bends_out_of_their_row_where_no_plain_order_works() -> None:
    """On a bench each plain order brings the bent part down onto it; the middle bend first does not."""
    rng = np.random.default_rng(1)
    line = a_line(*(rng.uniform(*a) for a in ((60, 160, 5), (30, 110, 4))), np.append(0, rng.uniform(-180, 180, 3)))
    plans = plan(line, *BENCH)
    best = plans.best
    assert best.jumps >= 1 and best.turns_end_for_end == 0
    assert any("out of the row" in reason for reason in best.reasons)
    assert any(reason.startswith("One after another from bend 1 on with end A leading, bend") for reason in best.hindered)
    assert sorted(best.order) == [1, 2, 3, 4]


def test_a_line_that_crosses_itself_cannot_be_bent_and_says_so() -> None:
    """Three square bends that bring the last leg through the first: whatever comes last meets the tube itself."""
    plans = plan(a_line([200, 92, 120, 150], [90, 90, 90]))
    assert plans.best is None and plans.complete
    assert plans.sentence.startswith("Line rear cannot be bent on small as it is.")
    assert all("itself" in why for why in plans.why_not) and len(plans.why_not) == 4


def test_the_least_clearance_is_that_of_the_nearest_body() -> None:
    """A U of two square bends over a bench 50 below the plane: the bent part stays 50 − 2.38 above it; a shelf nearer by."""
    line = a_line([100, 100, 100], [90, 90])
    bench = body("bench", "wall", (0, 0, -20), (0, 0, 0))
    best = plan(line, bench).best
    assert best.least_clearance_mm == pytest.approx(20 - 2.38, abs=0.011)
    assert {step.near for step in best.steps if step.clearance_mm < 25} == {"bench"}
    assert "What is bent comes no nearer than 18 mm to the bench" in best.clears
    assert plan(line, body("floor", "wall", (0, 0, -60), (0, 0, 0))).best.least_clearance_mm == np.inf


def test_the_clearance_to_keep_is_the_callers() -> None:
    """The same bench, 17.62 mm clear: kept at 17, not at 18."""
    line, bench = a_line([100, 100, 100], [90, 90]), body("bench", "wall", (0, 0, -20), (0, 0, 0))
    assert plan(line, bench, keep_mm=17.0).best is not None
    assert plan(line, bench, keep_mm=18.0, mend=False).best is None
    with pytest.raises(ValueError, match="keep_mm is -1"):
        plan(line, bench, keep_mm=-1)


def test_the_shops_own_bodies_are_those_of_the_lines_bender() -> None:
    """A body of another bender stands in nobody's way."""
    wall = body("wall", "wall", (-200, 0, 0), (0, 0, 0))
    line = a_line([300, 60], [90])
    with_wall = replace(SHOP, bodies=(wall,))
    assert plan_bending(with_wall, CAL, line).best.feed == ("B",)
    assert plan_bending(replace(SHOP, bodies=(replace(wall, bender="big"),)), CAL, line).best.feed == ("A",)


def test_what_holds_the_tube_is_not_in_its_way() -> None:
    """A roller about the first 6 mm of the tube: within the shortest straight that the bender takes (10), or within its own grip."""
    roller = body("roller", "box", (2, -RADIUS, 0), (6, -RADIUS, 0), width_mm=12, height_mm=12, moves="lever")
    line, vague = a_line([100, 100], [90]), replace(SHOP, benders={"small": Bender("small", RADIUS)})
    assert plan(line, roller).best is not None
    assert plan(line, roller, shop=vague, mend=False).best is None
    assert plan(line, replace(roller, grip_mm=10.0), shop=vague).best is not None


def test_a_die_of_unknown_radius_is_taken_from_the_law() -> None:
    """The finished radius less the springback: R·b, as long as the arc keeps its length."""
    law = Law.of("small", "brake", [-1.0, 0.96, RADIUS, RADIUS, 2.0], n_offcuts=6, angle_range_deg=(1, 179))
    vague = replace(SHOP, benders={"small": Bender("small")})
    piece = workpiece_of(mark_out(vague, cal_of(law), a_line([100, 100], [90])))
    assert piece.die_radius_mm == pytest.approx(RADIUS * 0.96)
    assert piece.stroke_deg == pytest.approx([91 / 0.96])
    assert workpiece_of(mark_out(SHOP, cal_of(law), a_line([100, 100], [90]))).die_radius_mm == RADIUS


def test_a_line_without_bends_needs_no_plan() -> None:
    """There is nothing to bend, and the rule about straight runs is told."""
    plans = plan(a_line([90], []))
    assert plans.best.order == () and [rule.rule for rule in plans.rules] == ["no bend"]
    assert mark_out(SHOP, CAL, a_line([90], []), feed=plans.best.feed).legs.bends == 0


# --- what a plan says goes to the vice ----------------------------------------------------------


def test_a_plans_feed_marks_the_line_and_the_marks_bend_up_to_it() -> None:
    """mark_out takes the plan's letters; bending at those marks makes the line that was asked for."""
    line = a_line([38, 80, 38], [90, 90])
    sheet = mark_out(SHOP, CAL, line, feed=plan(line).best.feed)
    assert list(sheet.marks["feed"]) == ["B", "A"]
    assert sheet.as_bent().leg_mm == pytest.approx(line.legs.leg_mm)


def test_the_turns_of_the_tube_bring_each_bends_line_to_the_die() -> None:
    """Made from A to B the tube turns by minus the twist, from B to A by the twist itself; in any order by the lines round it."""
    twists = [0.0, 90.0, -60.0, 170.0]
    line = a_line([150, 150, 150, 150, 150], [90, 45, 60, 30], twists)
    ranked = {(one.order, one.feed[0]): one for one in plan(line).ranked}
    up, down = ranked[(1, 2, 3, 4), "A"], ranked[(4, 3, 2, 1), "A"]
    assert [step.turn_deg for step in up.steps[1:]] == pytest.approx([-90, 60, -170])
    assert [step.turn_deg for step in down.steps[1:]] == pytest.approx([170, -60, 90])
    clock = clock_deg(twists)
    for one in ranked.values():
        turned = np.cumsum([0.0, *(step.turn_deg for step in one.steps[1:])])
        here = [clock[step.bend - 1] for step in one.steps]
        assert wrap_deg(turned + here - here[0]) == pytest.approx(np.zeros(4), abs=1e-9)
        assert [step.clock_deg for step in one.steps] == pytest.approx(here)


# --- what would mend it -------------------------------------------------------------------------


def test_a_leg_that_is_too_short_is_mended_by_what_is_missing() -> None:
    """11 of 12 mm between the bends, as whole millimetres: 1 mm, tried out."""
    shop = replace(SHOP, benders={"small": replace(SHOP.benders["small"], min_between_mm=12)})
    plans = plan(a_line([80, 43, 80], [90, 90]), shop=shop)
    assert plans.best is None and plans.mends == ("With leg 2 longer by 1 mm it can be bent.",)
    assert plan(longer_leg(a_line([80, 43, 80], [90, 90]), 2, 1.0), shop=shop).best is not None


def test_overlapping_bends_are_mended_by_what_is_missing() -> None:
    """Two square bends of R 16 need 32 mm of leg, and the bender 10 between them: 20 is not even enough for the bends, and 22 are missing, told once."""
    plans = plan(a_line([80, 20, 80], [90, 90]))
    assert plans.best is None and [rule.rule for rule in plans.rules] == ["overlap"]
    assert "22.0 mm are missing" in plans.why_not[0] and plans.sentence.count("cannot be bent") == 1
    assert plans.mends == ("With leg 2 longer by 22 mm it can be bent.",)


def test_another_bender_that_can_make_it_is_named() -> None:
    """The small bender needs 25 mm before the first bend, and the tube has 10; the big one says nothing of that."""
    big = Law.of("big", "brake", [0.0, 1.0, 20.0, 20.0, 2.0], n_offcuts=6, angle_range_deg=(1, 179))
    plans = plan(a_line([26, 80], [90]), cal=cal_of(LAW, big))
    assert plans.best is None
    assert "Bender big can make it: Make bend 1 with end A leading." in plans.mends


def test_what_stands_in_the_way_is_named_and_a_longer_leg_is_tried() -> None:
    """A post within the reach of either leg of a U: without it, it can be bent."""
    line = a_line([200, 92, 200], [90, 90])
    walls = (body("wall", "wall", (-150, 0, 0), (0, 0, 0)), body("far bench", "wall", (0, 0, -90), (0, 0, 0)))
    plans = plan(line, *walls)
    assert plans.best is None
    assert any(mend.startswith("With the wall out of the way it can be bent") for mend in plans.mends)
    assert not any("far bench" in mend for mend in plans.mends)


def test_a_longer_leg_that_mends_a_clash_is_found_and_works() -> None:
    """Invented bodies that bar every order of a line; 5 mm more on leg 3 and it clears them, 1 mm less than that is not promised."""
    rng = np.random.default_rng(210)
    line = a_line(rng.uniform(50, 110, 4).round(), rng.uniform(30, 110, 3).round(), np.append(0, rng.uniform(-180, 180, 2)).round())
    bodies = random_bodies(rng, 6)
    plans = plan(line, *bodies)
    assert plans.best is None and plans.complete
    assert "With leg 3 longer by 5 mm it can be bent." in plans.mends
    assert plan(longer_leg(line, 3, 5.0), *bodies).best is not None
    named = [mend.split(" out of the way")[0].removeprefix("With the ") for mend in plans.mends if "out of the way" in mend]
    assert named
    for name in named:
        assert plan(line, *(one for one in bodies if one.body != name)).best is not None


# --- the sample ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sample():
    """The sample shop and its laws."""
    shop = read_shop(SAMPLE)
    return shop, calibrate(shop)


@pytest.mark.parametrize(("line", "usual"), [("brake-far-side", False), ("brake-near-side", True), ("clutch", True), ("fuel-feed", False)])
def test_every_line_of_the_sample_can_be_bent_as_its_readme_says(sample, line: str, usual: bool) -> None:
    """Two from end A to end B in a row, two in another order only; and the marks take the plan's letters."""
    shop, cal = sample
    best = plan_bending(shop, cal, line).best
    assert (best.order == tuple(range(1, shop.line(line).bends + 1)) and set(best.feed) == {"A"}) == usual
    assert best.least_clearance_mm > KEEP_MM
    assert list(mark_out(shop, cal, line, feed=best.feed).marks["feed"]) == list(best.feed)


def test_one_line_of_the_sample_is_too_near_as_its_readme_says(sample) -> None:
    """The clutch line passes the manifold at about half of what is wanted; the others keep their distance."""
    shop, cal = sample
    found = {line: obstacle_clearances(shop, cal, line) for line in shop.lines}
    assert [line for line, one in found.items() if one.too_near] == ["clutch"]
    (one,) = found["clutch"].all
    assert 0.5 <= one.clearance_mm / one.obstacle.keep_mm < 0.6
    assert all(one.all for one in found.values())


# --- moments to draw ----------------------------------------------------------------------------


def test_a_scene_is_one_tube_from_end_to_end() -> None:
    """Held half, bend and swinging half join, and are together as long as the tube, at the start of a stroke and in its midst."""
    line = a_line([80, 90, 100, 80], [90, 45, 60], [0, 90, -60])
    sheet = mark_out(SHOP, CAL, line)
    piece, best = workpiece_of(sheet), plan(line).best
    for step in (1, 2, 3):
        for share in (0.0, 0.4, 1.0):
            scene = scene_of(piece, best, step, stroke_deg=share * float(piece.stroke_deg[step - 1]), bodies=BENCH)
            assert scene.bend_mm[0] == pytest.approx(scene.held_mm[0]) and scene.bend_mm[-1] == pytest.approx(scene.swung_mm[0])
            tube = np.concatenate([scene.held_mm[::-1], scene.bend_mm, scene.swung_mm])
            length = np.linalg.norm(np.diff(tube, axis=0), axis=1).sum()
            assert length == pytest.approx(sheet.cut_length_mm, rel=2e-3)  # chords of 5° are a little shorter than arcs
    assert scene.bodies == BENCH and (scene.bend, scene.feed) == (3, "A")


def test_a_scene_shows_where_it_is_nearest_unless_asked_otherwise() -> None:
    """The stroke of the step's least clearance; the whole stroke where nothing is near; nothing beyond it."""
    line = a_line([100, 100, 100], [90, 90])
    piece = workpiece_of(mark_out(SHOP, CAL, line))
    best = plan(line, body("bench", "wall", (0, 0, -20), (0, 0, 0))).best
    assert scene_of(piece, best, 2).stroke_deg == best.steps[1].stroke_deg
    assert scene_of(piece, plan(line).best, 2).stroke_deg == 90
    with pytest.raises(ValueError, match="bend 2 is made between 0 and 90.0"):
        scene_of(piece, best, 2, stroke_deg=91)
    with pytest.raises(ValueError, match="the plan has steps 1 to 2"):
        scene_of(piece, best, 3)


# --- against all orders, densely sampled --------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_the_best_plan_is_that_of_all_orders_densely_sampled(seed: int) -> None:
    """Three bends, 48 orders, each of 24 trials stepped through: the same least trouble, or none for both."""
    rng = np.random.default_rng(seed)
    line = a_line(rng.uniform(60, 130, 4), rng.uniform(30, 110, 3), np.append(0, rng.uniform(-180, 180, 2)))
    bodies = random_bodies(rng, 4)
    piece = workpiece_of(mark_out(SHOP, CAL, line))
    clear = {}
    for made in range(8):
        for bend in range(3):
            if not made >> bend & 1:
                for feed in "AB":
                    sides = [
                        body_clearance_mm(piece, bend, feed, made, held, bodies, 10.0, steps=60, step_mm=2.0, beside_mm=KEEP_MM)
                        for held in (True, False)
                    ]
                    clear[bend, feed, made] = min(*sides, self_clearance_mm(piece, bend, feed, made, steps=25, step_mm=4.0))
    assert not any(abs(value - KEEP_MM) < 0.4 for value in clear.values()), "a trial too close to call for a sampling"
    ways = [
        Way(order, feed, 0.0).trouble for order, feed in all_orders(3)
        if all(clear[tuple(trial)] >= KEEP_MM for trial in trials_of(order, feed))
    ]  # fmt: skip
    best = plan(line, *bodies, mend=False).best
    assert (best is not None) == bool(ways)
    if best:
        assert 2 * best.turns_end_for_end + best.jumps == min(ways)
        told = {trial: clear[tuple(trial)] for trial in trials_of([b - 1 for b in best.order], [step.feed for step in best.steps])}
        assert min(told.values()) >= KEEP_MM
