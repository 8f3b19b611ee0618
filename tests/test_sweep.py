"""The tube's motion during a bend, and least distances along the whole stroke: by hand, and against dense sampling."""

from dataclasses import replace
from math import asin, cos, degrees, hypot, radians, sin

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bendcal.bodies import BenderBody
from bendcal.chain import half_chains, points_along
from bendcal.feasible.stroke import Half, Workpiece, chains_of, in_bender, swing_mm
from bendcal.feasible.sweep import body_distances, self_distances
from bendcal.feasible.trials import Trial, Trials, halves_of
from bendcal.path import Legs, nodes_from_legs, straights_mm
from bendcal.solids import Solid
from tests.dense import body_clearance_mm, random_bodies, random_piece, self_clearance_mm, tube_points

RADIUS, TUBE = 16.0, 2.38
SEEDS = st.integers(0, 10**6)


def one_bend(angle: float, before: float = 120.0, after: float = 160.0) -> Workpiece:
    """A tube with one bend that neither springs back nor stretches."""
    arc = RADIUS * radians(angle)
    return Workpiece(np.array([before, after]), np.array([arc]), np.array([angle]), np.zeros(1), np.array([angle]), RADIUS, RADIUS, TUBE)


def nearest(piece: Workpiece, body: BenderBody, *, held: bool = False, feed: str = "A", grip: float = 0.0, **more) -> float:
    """Least clearance of one half of a one-bend tube to one body."""
    return float(body_distances(piece, [Half(0, feed, held, 0)], [body], [grip], **more).value[0])


def body(shape: str, *points, moves: str = "die", **sizes) -> BenderBody:
    """A body of the bender."""
    return BenderBody("small", "body", Solid(shape, *points, **sizes), moves=moves)


def half_of(piece: Workpiece, bend: int, feed: str, held: bool, made: int) -> Half:
    """A half with those of the bends that are in it."""
    return halves_of(Trial(bend, feed, made), piece.bends)[0 if held else 1]


# --- the shape of a half ------------------------------------------------------------------------


@given(SEEDS)
@settings(max_examples=25)
def test_a_finished_half_lies_on_the_lines_nodes(seed: int) -> None:
    """With every bend made, a half's straights run from tangent point to tangent point of the line's own nodes."""
    rng = np.random.default_rng(seed)
    n = 4
    legs = Legs(rng.uniform(150, 200, n + 1), rng.uniform(20, 110, n), np.append(0, rng.uniform(-180, 180, n - 1)))
    straight = straights_mm(legs, RADIUS)
    arcs = RADIUS * np.radians(legs.angle_deg)
    half = half_chains([[True] * n], straight, legs.angle_deg, arcs, legs.twist_deg, RADIUS)
    nodes = nodes_from_legs(legs)
    setback = RADIUS * np.tan(np.radians(legs.angle_deg) / 2)
    along = np.diff(nodes, axis=0) / legs.leg_mm[:, None]
    expected = np.empty((2 * n + 1, 3))
    expected[0], expected[1::2], expected[2::2] = nodes[0], nodes[1:-1] - setback[:, None] * along[:-1], nodes[1:-1] + setback[:, None] * along[1:]
    assert half.start_mm == pytest.approx(expected, abs=1e-9)
    end = points_along(half, np.array([2 * n]), straight[-1:])
    assert end[0] == pytest.approx(nodes[-1], abs=1e-9)


@pytest.mark.parametrize("feed", ["A", "B"])
def test_both_halves_together_are_the_finished_line(feed: str) -> None:
    """At the end of the last stroke the two halves lie to each other as the ends of the line do, twists and all."""
    rng = np.random.default_rng(3)
    legs = Legs(rng.uniform(150, 200, 5), rng.uniform(20, 110, 4), np.append(0, rng.uniform(-180, 180, 3)))
    arcs = RADIUS * np.radians(legs.angle_deg)
    piece = Workpiece(straights_mm(legs, RADIUS), arcs, legs.angle_deg, legs.twist_deg, legs.angle_deg, RADIUS, RADIUS, TUBE)
    nodes = nodes_from_legs(legs)
    for bend in range(4):
        corners = []
        for half in halves_of(Trial(bend, feed, 0b1111 & ~(1 << bend)), 4):
            chain = chains_of(piece, [half])
            rows = np.arange(len(chain.owner))
            points = in_bender(points_along(chain, rows, chain.length_mm), RADIUS, half.held)
            if not half.held:
                points = swing_mm(points, np.full(len(points), radians(legs.angle_deg[bend])))
            corners.append(points[-1])
        assert np.linalg.norm(corners[0] - corners[1]) == pytest.approx(np.linalg.norm(nodes[0] - nodes[-1]))


@given(SEEDS)
@settings(max_examples=20)
def test_the_motion_is_that_of_a_tube_wound_onto_the_die(seed: int) -> None:
    """Marching along the tube, round what is wound and along what is left, ends where the kit's formula says."""
    rng = np.random.default_rng(seed)
    piece = random_piece(rng, 4)
    trial = Trial(int(rng.integers(4)), "AB"[seed % 2], int(rng.integers(16)))
    for stroke in rng.uniform(0, 1, 3) * piece.stroke_deg[trial.bend]:
        marched = tube_points(piece, trial.bend, trial.feed, trial.made, stroke, 3.0)
        for half, (points, _, _) in zip(halves_of(trial, 4), marched, strict=True):
            chain = chains_of(piece, [half])
            end = in_bender(points_along(chain, np.array([len(chain.owner) - 1]), chain.length_mm[-1:]), piece.die_radius_mm, half.held)
            if not half.held:
                left = piece.arc_mm[trial.bend] * (1 - stroke / piece.stroke_deg[trial.bend])
                end = swing_mm(end, np.array([radians(stroke)]), left)
            assert end[0] == pytest.approx(points[-1], abs=1e-6)


# --- distances along the stroke, by hand --------------------------------------------------------


def test_what_the_swinging_leg_passes_over_is_as_near_as_it_lies_below() -> None:
    """A ball 12 below the plane of the bend, within the leg's sweep: 12 − 3 − 2.38 at the moment of passing, not at the end."""
    ball = body("sphere", (90 * cos(radians(30)), 90 * sin(radians(30)), -12), diameter_mm=6)
    assert nearest(one_bend(120), ball) == pytest.approx(12 - 3 - TUBE, abs=0.011)


def test_a_ball_beyond_the_legs_end_is_as_near_as_its_end_comes() -> None:
    """The end of the leg at angle φ lies at (after + what is left, −R): nearest a ball far out along its path."""
    piece = one_bend(90, after=100)
    found = nearest(piece, body("sphere", (60, 140, 0), diameter_mm=10))
    turn = np.radians(np.linspace(0, 90, 90001))
    x, y = 100 + piece.arc_mm[0] * (1 - turn / turn[-1]), -RADIUS
    end = np.stack([np.cos(turn) * x - np.sin(turn) * y, np.sin(turn) * x + np.cos(turn) * y], axis=1)
    assert found == pytest.approx(np.linalg.norm(end - (60, 140), axis=1).min() - 5 - TUBE, abs=0.011)


def test_a_wall_behind_the_bender_is_met_by_the_held_end() -> None:
    """The held tail ends 120 mm behind the tangent point: a wall at 130 leaves 10, whichever way the tube lies round."""
    wall = body("wall", (-130, 0, 0), (0, 0, 0))
    assert nearest(one_bend(60), wall, held=True) == pytest.approx(10 - TUBE, abs=1e-9)


@pytest.mark.parametrize("at_deg", [35.0, 60.0, 80.0])
def test_a_u_bend_hits_the_handle_at_the_angle_that_trigonometry_says(at_deg: float) -> None:
    """A handle of length H and radius r from the die's axis: the leg, R off the axis, meets its end at α + asin((R − ρ − r − keep)/H).

    Seen along the leg the handle's end lies H·sin(φ − α) above the axis's own line, and the leg's middle R below: they touch when
    what is left between them is both radii.
    """
    reach, thick, keep = 110.0, 5.0, 1.0
    handle = body("capsule", (0, 0, 0), (reach * cos(radians(at_deg)), reach * sin(radians(at_deg)), 0), diameter_mm=2 * thick)
    trials = Trials(one_bend(170, after=220), [handle], 25.0, keep, 25.0)
    trial = Trial(0, "A", 0)
    assert not trials.passes(trials.ask([trial])[0])
    met = trials.first_contact(trial, within_deg=0.01)
    assert met.stroke_deg == pytest.approx(at_deg + degrees(asin((RADIUS - TUBE - thick - keep) / reach)), abs=0.03)
    assert met.near == "body"


def test_a_leg_too_short_to_reach_the_handle_passes_it() -> None:
    """The same handle's far end, out of reach of a leg of 40 mm beyond the grip."""
    handle = body("capsule", (60, 100, 0), (80, 120, 0), diameter_mm=10)
    trials = Trials(one_bend(170, after=40), [handle], 25.0, 1.0, 25.0)
    assert trials.passes(trials.ask([Trial(0, "A", 0)])[0])


def test_what_moves_with_the_lever_keeps_its_distance_from_the_leg_that_swings() -> None:
    """A rod on the lever beside the leg, 20 off: always 20 off, but the held tail swings past it as the lever goes round."""
    rod = body("capsule", (60, -36, 0), (100, -36, 0), diameter_mm=4, moves="lever")
    assert nearest(one_bend(90), rod) == pytest.approx(20 - 2 - TUBE, abs=0.011)
    # Seen from the lever the held tail turns back by 90°: from along −x to along +y … never past +x.
    end = (-120.0, -RADIUS)
    turned = [(cos(-f) * end[0] - sin(-f) * end[1], sin(-f) * end[0] + cos(-f) * end[1]) for f in np.radians(np.linspace(0, 90, 9001))]
    ball = body("sphere", (-60, 150, 0), diameter_mm=10, moves="lever")
    by_hand = min(hypot(x + 60, y - 150) for x, y in turned) - 5 - TUBE
    assert nearest(one_bend(90), ball, held=True) == pytest.approx(by_hand, abs=0.011)


def test_the_other_end_leading_makes_the_other_half_swing() -> None:
    """With feed B it is end A's side that swings: 160 mm against 120 reach a ball at 150 off."""
    ball = body("sphere", (0, 150, 0), diameter_mm=10)
    piece = one_bend(95, before=160, after=100)
    with_a, with_b = nearest(piece, ball, feed="A"), nearest(piece, ball, feed="B")
    assert with_b < 0 < with_a
    assert nearest(replace(piece, straight_mm=piece.straight_mm[::-1]), ball, feed="A") == pytest.approx(with_b, abs=0.02)


def test_tube_in_the_bender_is_not_held_against_what_holds_it() -> None:
    """A roller round the leg's first 20 mm is hit without a grip, and passed with a grip of 30."""
    roller = body("box", (5, -RADIUS, 0), (20, -RADIUS, 0), width_mm=12, height_mm=12, moves="lever")
    assert nearest(one_bend(60), roller) == pytest.approx(-TUBE)
    assert nearest(one_bend(60), roller, grip=30.0) > 5


def test_the_straight_beside_the_bend_is_no_news_until_it_hits() -> None:
    """A plate 4 mm below the leg: told when all counts, not told when only hits do, told again when it is within them."""
    plate = body("box", (30, 20, -8), (120, 20, -8), width_mm=120, height_mm=4)
    gap = 8 - 2 - TUBE
    assert nearest(one_bend(60), plate) == pytest.approx(gap, abs=0.011)
    assert nearest(one_bend(60), plate, beside_mm=1.0) == np.inf
    assert nearest(one_bend(60), plate, beside_mm=gap + 0.5) == pytest.approx(gap, abs=0.011)


def test_to_what_it_does_not_move_past_the_straight_may_come_as_near_as_it_likes() -> None:
    """A lever's arm half a millimetre off the leg that it pushes is no hit; one that lies in the leg is."""
    arm = {"moves": "lever", "width_mm": 6.0, "height_mm": 6.0}
    near = body("box", (30, -RADIUS - TUBE - 3.5, 0), (150, -RADIUS - TUBE - 3.5, 0), **arm)
    through = body("box", (30, -RADIUS - 3.5, 0), (150, -RADIUS - 3.5, 0), **arm)
    assert nearest(one_bend(60), near, beside_mm=1.0) == np.inf
    assert nearest(one_bend(60), through, beside_mm=1.0) < 0


# --- the tube against itself, by hand -----------------------------------------------------------


def closed_square(last: float, lift_deg: float) -> Workpiece:
    """Three square bends of 100 mm straights that bring the last leg back over the first; the last twist lifts it out of the plane."""
    arc = RADIUS * np.pi / 2
    twist = np.array([0.0, 0.0, lift_deg])
    square = np.full(3, 90.0)
    return Workpiece(np.array([100.0, 60.0, 60.0, last]), np.full(3, arc), square, twist, square, RADIUS, RADIUS, TUBE)


def test_a_leg_that_comes_back_to_the_first_leg_hits_it() -> None:
    """In one plane the last leg of 100 crosses the first; of 40 it stops short of it by hand's reckoning."""
    long, short = closed_square(100.0, 0.0), closed_square(40.0, 0.0)
    pairs = [(half_of(long, 2, "A", True, 0b11), half_of(long, 2, "A", False, 0b11))]
    assert self_distances(long, pairs, enough_mm=25.0).value[0] == pytest.approx(-2 * TUBE)
    # The first leg runs along y = 0; the last comes down to y = 60 + 2·R − (40 + R) = 36: 36 between the middles.
    assert self_distances(short, pairs, enough_mm=60.0).value[0] == pytest.approx(36 - 2 * TUBE, abs=0.011)


def test_the_two_straights_beside_a_bend_are_not_held_against_each_other() -> None:
    """The legs of a U part from its arc on: 2R apart and never nearer, however long."""
    pair = (Half(0, "A", True, 0), Half(0, "A", False, 0))
    assert self_distances(one_bend(175), [pair], enough_mm=60.0).value[0] == np.inf


# --- against dense sampling ---------------------------------------------------------------------


@given(SEEDS)
@settings(max_examples=12)
def test_the_least_clearance_to_bodies_is_what_dense_sampling_comes_down_to(seed: int) -> None:
    """500 places of the stroke and a point a millimetre never get below it, and come down to it within 0.05 mm."""
    rng = np.random.default_rng(seed)
    piece, bodies = random_piece(rng, 3, straight=(15, 80)), random_bodies(rng, 3)
    bend, feed, made, held = int(rng.integers(3)), "AB"[seed % 2], int(rng.integers(8)), bool(seed // 2 % 2)
    found = body_distances(piece, [half_of(piece, bend, feed, held, made)], bodies, [0.0] * 3)
    sampled = body_clearance_mm(piece, bend, feed, made & ~(1 << bend), held, bodies, 0.0, steps=500, step_mm=1.0)
    assert found.low[0] <= found.value[0] <= found.low[0] + 0.0101
    assert found.low[0] - 1e-6 <= sampled
    assert found.value[0] == pytest.approx(sampled, abs=0.05)


@given(SEEDS)
@settings(max_examples=10)
def test_the_least_clearance_to_itself_is_what_dense_sampling_comes_down_to(seed: int) -> None:
    """The same for a curled-up tube, where it comes near itself at all."""
    rng = np.random.default_rng(seed)
    piece = random_piece(rng, 4, straight=(10, 60), twist=(0, 15, 180))
    piece.angle_deg[:] = rng.uniform(70, 125, 4)
    piece.arc_mm[:], piece.stroke_deg[:] = 17 * np.radians(piece.angle_deg), piece.angle_deg / 0.97 + 2
    bend, feed = int(rng.integers(4)), "AB"[seed % 2]
    made = 0b1111 & ~(1 << bend)
    pair = (half_of(piece, bend, feed, True, made), half_of(piece, bend, feed, False, made))
    found = self_distances(piece, [pair], enough_mm=20.0)
    sampled = self_clearance_mm(piece, bend, feed, made, steps=150, step_mm=1.5)
    assert found.low[0] <= sampled + 1e-6
    if found.value[0] < 20.0:
        assert found.value[0] <= sampled + 0.0101
        assert sampled - found.value[0] < 0.7  # two samplings of 1.5 mm each
    else:
        assert sampled > 19.9


def test_a_quick_look_and_a_close_one_agree() -> None:
    """With a share of 2 % and an end at 25 mm the search may be 2 % and a little high, and low by nothing."""
    rng = np.random.default_rng(8)
    piece, bodies = random_piece(rng, 5), random_bodies(rng, 5)
    halves = [half_of(piece, k, feed, held, int(rng.integers(32))) for k in range(5) for feed in "AB" for held in (True, False)]
    close = body_distances(piece, halves, bodies, [20.0] * 5)
    quick = body_distances(piece, halves, bodies, [20.0] * 5, tolerance_mm=0.05, share=0.02, enough_mm=25.0)
    near = close.value < 25
    assert near.sum() > 8
    assert np.all(quick.low <= close.value + 1e-9) and np.all(quick.value >= close.low - 1e-9)
    assert np.all(quick.value[near] <= close.value[near] * np.where(close.value[near] > 0, 1.021, 1) + 0.06)
    assert np.all(quick.low[~near] >= 25)
