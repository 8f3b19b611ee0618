"""How near a finished line comes to obstacles: by hand, against dense sampling, and in words."""

from dataclasses import replace
from math import pi

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bendcal.benders import Bender
from bendcal.bodies import BenderBody, Obstacle
from bendcal.calibration import Calibration
from bendcal.clearance import line_chain, obstacle_clearances
from bendcal.law import Law
from bendcal.lines import line_from_legs, line_from_nodes
from bendcal.materials import ALLOYS
from bendcal.path import LegTooShort, bent_centreline
from bendcal.shop import Shop
from bendcal.solids import SHAPES, Solid
from bendcal.tubes import Tube

RADIUS, DEVELOPED = 15.0, 14.4
SHOP = Shop(benders={"small": Bender("small", RADIUS)}, tubes={"brake": Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)})
LAW = Law.of("small", "brake", [0.0, 1.0, RADIUS, DEVELOPED, 2.0], n_offcuts=6, angle_range_deg=(1, 179))
CAL = Calibration({("small", "brake"): LAW}, pd.DataFrame(), (), (), "", "")
NODES = [[0, 0, 0], [100, 0, 0], [100, 100, 0], [220, 100, 0]]
LINE = line_from_nodes("rear", NODES, tube="brake", bender="small")


def near(*obstacles: Obstacle, line=LINE, **more):
    """The clearances of a line to these obstacles."""
    return obstacle_clearances(SHOP, CAL, line, obstacles=obstacles, **more)


def obstacle(name: str, shape: str, *points, keep_mm: float = 0.0, why: str = "", **sizes) -> Obstacle:
    """An obstacle."""
    return Obstacle(name, Solid(shape, *points, **sizes), keep_mm, why)


# --- by hand ------------------------------------------------------------------------------------


def test_an_exhaust_beside_the_middle_leg() -> None:
    """A pipe of 45 along z at (140, 50): 40 from the leg at x = 100, less 22.5 and 2.38; the leg's middle is nearest."""
    found = near(obstacle("exhaust", "cylinder", (140, 50, -300), (140, 50, 300), diameter_mm=45, keep_mm=50, why="hot"))
    (one,) = found.all
    assert one.clearance_mm == pytest.approx(40 - 22.5 - 2.38)
    assert one.where == "between bend 1 and bend 2"
    assert one.point_mm == pytest.approx([100, 50, 0], abs=1e-6)
    # From A: 85 straight, a quarter circle of R 15, then 35 of the straight between.
    assert one.at_mm == pytest.approx(85 + 15 * pi / 2 + 35)
    assert one.developed_mm == pytest.approx(85 + 14.4 * pi / 2 + 35)
    assert not one.keeps and found.too_near == (one,)
    assert one.sentence == "15.1 mm from the exhaust (hot, wants 50 mm) between bend 1 and bend 2."


def test_a_ball_inside_a_bend_is_nearest_to_its_arc() -> None:
    """The arc about (85, 15) has R 15: a ball of 4 in its middle is 15 − 2 − 2.38 from it; out on the diagonal at 30, 15 − 4.38."""
    (one,) = near(obstacle("bolt", "sphere", (85, 15, 0), diameter_mm=4)).all
    assert one.clearance_mm == pytest.approx(15 - 2 - 2.38, abs=0.011)
    out = 30 / 2**0.5
    (one,) = near(obstacle("edge", "sphere", (85 + out, 15 - out, 0), diameter_mm=4)).all
    assert one.clearance_mm == pytest.approx(30 - 15 - 2 - 2.38, abs=0.011)
    assert one.where == "at bend 1" and one.at_mm == pytest.approx(85 + 15 * pi / 4, abs=0.3)
    assert one.developed_mm == pytest.approx(85 + 14.4 * pi / 4, abs=0.3)


def test_a_floor_is_as_far_as_the_lowest_of_the_line() -> None:
    """A wall whose face is y = −10: the first leg runs along y = 0, all of it equally near."""
    (one,) = near(obstacle("floor", "wall", (0, -10, 0), (0, 5, 0), keep_mm=7.0)).all
    assert one.clearance_mm == pytest.approx(10 - 2.38) and one.keeps
    assert one.where == "between end A and bend 1"


def test_a_line_that_runs_into_something_says_so() -> None:
    """A box across the last leg: no depth is told, only that it is hit, and where."""
    found = near(obstacle("bracket", "box", (180, 50, 0), (180, 150, 0), width_mm=10, height_mm=10))
    (one,) = found.all
    assert one.clearance_mm < 0 and not one.keeps
    assert found.sentence == "Line rear comes too near: Runs into the bracket between bend 2 and end B."


def test_the_worst_is_told_first_and_what_is_wanted_counts() -> None:
    """30 mm of 10 is better than 60 of 100."""
    found = near(
        obstacle("edge", "wall", (0, -32.38, 0), (0, 0, 0), keep_mm=10), obstacle("exhaust", "wall", (0, -62.38, 0), (0, 0, 0), keep_mm=100, why="hot")
    )
    assert [one.obstacle.obstacle for one in found.all] == ["exhaust", "edge"]
    assert list(found.table["keeps"]) == [False, True]
    assert list(found.table["clearance_mm"]) == pytest.approx([60, 30])
    assert found.sentence == "Line rear comes too near: 60 mm from the exhaust (hot, wants 100 mm) between end A and bend 1."


def test_a_line_that_keeps_clear_names_what_is_nearest() -> None:
    """And one for which nothing was measured says that, and not that it is clear."""
    found = near(obstacle("edge", "wall", (0, -32.38, 0), (0, 0, 0), keep_mm=10))
    assert found.sentence == "Line rear keeps clear of the one obstacle that is measured: 30 mm from the edge (wants 10 mm) between end A and bend 1."
    assert near().sentence == "Line rear: no obstacle is measured for it."


def test_a_figure_is_not_rounded_up_over_what_is_wanted() -> None:
    """49.96 of 50 mm is told as 50.0 at most where it is 50; here 49.6."""
    (one,) = near(obstacle("exhaust", "wall", (0, -51.98, 0), (0, 0, 0), keep_mm=50)).all
    assert not one.keeps and one.sentence.startswith("49.6 mm from")


def test_the_shops_obstacles_are_those_of_the_line_and_those_of_all() -> None:
    """One for this line, one for another, one for every line."""
    wall = Solid("wall", (0, -30, 0), (0, 0, 0))
    shop = replace(SHOP, obstacles=(Obstacle("a", wall, line="rear"), Obstacle("b", wall, line="front"), Obstacle("c", wall)), lines={"rear": LINE})
    assert [one.obstacle.obstacle for one in obstacle_clearances(shop, CAL, "rear").all] == ["a", "c"]


def test_a_straight_line_and_a_line_by_legs_have_their_clearances_too() -> None:
    """No bend at all; and legs laid along x from the origin."""
    straight = line_from_nodes("stub", [[0, 0, 0], [0, 80, 0]], tube="brake", bender="small")
    (one,) = near(obstacle("ball", "sphere", (20, 40, 0), diameter_mm=10), line=straight).all
    assert one.clearance_mm == pytest.approx(20 - 5 - 2.38) and one.where == "between end A and end B"
    legs = line_from_legs("legs", [100, 50], [90], [0], tube="brake", bender="small")
    (one,) = near(obstacle("ball", "sphere", (40, -20, 0), diameter_mm=10), line=legs).all
    assert one.clearance_mm == pytest.approx(20 - 5 - 2.38)


def test_another_radius_can_be_asked_for_and_overlap_is_refused() -> None:
    """With R 40 the arc cuts the corner further; R 60 does not fit between two corners 100 apart."""
    ball = obstacle("corner", "sphere", (110, -10, 0), diameter_mm=4)
    assert near(ball, radius_mm=40.0).all[0].clearance_mm > near(ball).all[0].clearance_mm + 5
    with pytest.raises(LegTooShort, match="leg 2"):
        near(ball, radius_mm=60.0)


# --- against dense sampling ---------------------------------------------------------------------


@given(st.integers(0, 10**6))
@settings(max_examples=25)
def test_clearances_are_what_dense_sampling_of_the_bent_line_comes_down_to(seed: int) -> None:
    """4000 points along the line that `path` draws never get nearer, and come as near within 0.05 mm."""
    rng = np.random.default_rng(seed)
    line = line_from_legs(
        "x", rng.uniform(60, 150, 5), rng.uniform(15, 110, 4), np.append(0, rng.uniform(-180, 180, 3)), tube="brake", bender="small"
    )
    shape = list(SHAPES)[seed % len(SHAPES)]
    middle = line.nodes_mm.mean(axis=0) + rng.normal(0, 40, 3)
    sizes = {size: rng.uniform(5, 40) for size in SHAPES[shape]}
    body = Solid(shape, middle, None if shape == "sphere" else middle + rng.normal(0, 60, 3), **sizes)
    points, piece = bent_centreline(line.legs, RADIUS, nodes_mm=line.nodes_mm, points_per_bend=400)
    ends = np.flatnonzero(np.diff(piece) != 0)
    fine = [points, *(points[i] + np.linspace(0, 1, 500)[:, None] * (points[i + 1] - points[i]) for i in ends if piece[i] % 2 == 0 or piece[i + 1] != piece[i])]
    sampled = body.distance_mm(np.concatenate(fine)).min() - 2.38
    (one,) = near(Obstacle("thing", body), line=line).all
    assert one.clearance_mm == pytest.approx(sampled, abs=0.05)
    assert one.clearance_mm <= sampled + 0.0101
    assert body.distance_mm(one.point_mm)[0] - 2.38 == pytest.approx(one.clearance_mm, abs=0.0101)


def test_the_chain_of_a_line_is_as_long_as_its_parts() -> None:
    """85 + arc + 70 + arc + 105, the arcs tangent to their straights."""
    chain = line_chain(LINE, RADIUS)
    assert chain.length_mm == pytest.approx([85, 15 * pi / 2, 70, 15 * pi / 2, 105])
    assert chain.start_mm[2] == pytest.approx([100, 15, 0])


# --- what is refused ----------------------------------------------------------------------------


def test_senseless_facts_are_refused() -> None:
    """A body that moves with neither, a grip and a distance below nothing."""
    ball = Solid("sphere", (0, 0, 0), diameter_mm=3)
    with pytest.raises(ValueError, match="moves is 'vice'; it must be die or lever"):
        BenderBody("small", "vice", ball, moves="vice")
    with pytest.raises(ValueError, match="grip_mm is -1"):
        BenderBody("small", "vice", ball, grip_mm=-1.0)
    with pytest.raises(ValueError, match="keep_mm is -1"):
        Obstacle("exhaust", ball, keep_mm=-1.0)
