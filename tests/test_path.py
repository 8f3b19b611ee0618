"""The bent centreline: straights and arcs that meet, and what end B does."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from bendcal import path
from bendcal.path import (
    Legs,
    LegTooShort,
    bent_centreline,
    end_shifts,
    legs_from_nodes,
    nodes_from_legs,
    place_nodes,
    straights_mm,
)

SHAPE = Legs([100, 80, 120, 60, 90], [90, 45, 120, 60], [0, 90, -30, 135])
RADII = [15.0, 20.0, 12.0, 18.0]


def test_a_square_bend_by_hand() -> None:
    """Radius 10 at 90 degrees: a quarter circle about (10, 10)."""
    points, piece = bent_centreline(Legs([20, 20], [90], [0]), 10, points_per_bend=5)
    assert piece.tolist() == [0, 1, 1, 1, 1, 1, 2]
    np.testing.assert_allclose(points[0], [0, 0, 0], atol=1e-12)
    np.testing.assert_allclose(points[1], [10, 0, 0], atol=1e-12)
    np.testing.assert_allclose(points[5], [20, 10, 0], atol=1e-12)
    np.testing.assert_allclose(points[6], [20, 20, 0], atol=1e-12)
    np.testing.assert_allclose(np.hypot(*(points[1:6, :2] - [10, 10]).T), 10, atol=1e-12)


def test_a_line_without_a_bend_is_its_two_ends() -> None:
    """No bend: two points, one piece."""
    line = bent_centreline(Legs([70], [], []), 10)
    assert line.points_mm.tolist() == [[0.0, 0.0, 0.0], [70.0, 0.0, 0.0]]
    assert line.piece.tolist() == [0, 0]
    assert line.piece_points(0).tolist() == line.points_mm.tolist()


def test_the_length_is_that_of_straights_and_arcs() -> None:
    """The chords add up to straights plus R·θ, from below, and closer with more points."""
    want = straights_mm(SHAPE, RADII).sum() + (RADII * np.radians(SHAPE.angle_deg)).sum()
    lengths = [
        np.linalg.norm(np.diff(bent_centreline(SHAPE, RADII, points_per_bend=n)[0], axis=0), axis=1)
        for n in (5, 2001)
    ]
    coarse, fine = (float(steps.sum()) for steps in lengths)
    assert coarse < fine < want
    assert fine == pytest.approx(want, abs=1e-5)


@given(st.integers(0, 2**32 - 1), st.integers(1, 8))
def test_straights_and_arcs_meet_without_a_corner(seed: int, bends: int) -> None:
    """An arc keeps its radius, stays in its plane, and runs off along its legs."""
    rng = np.random.default_rng(seed)
    twist = rng.uniform(-180, 180, bends)
    twist[0] = 0.0
    angle, radius = rng.uniform(1, 150, bends), rng.uniform(5, 30, bends)
    room = 120 + rng.uniform(1, 100, bends + 1)  # two setbacks of 30 at 150 are 224
    legs = Legs(room * 2, angle, twist)
    line = bent_centreline(legs, radius, points_per_bend=201)
    nodes = nodes_from_legs(legs)
    for k in range(bends):
        arc = line.piece_points(2 * k + 1)
        before, after = line.piece_points(2 * k), line.piece_points(2 * k + 2)
        np.testing.assert_array_equal(before[-1], arc[0])
        np.testing.assert_array_equal(after[0], arc[-1])
        # A circle: three points of it give the radius (R = abc / 4·area).
        a, b, c = (np.linalg.norm(arc[i] - arc[j]) for i, j in ((0, 100), (100, 200), (200, 0)))
        area = np.linalg.norm(np.cross(arc[100] - arc[0], arc[200] - arc[0])) / 2
        assert a * b * c / (4 * area) == pytest.approx(radius[k], rel=1e-6)
        # Middle of the arc to the apex: R (1/cos(θ/2) − 1), and tangent points one setback off.
        half = np.radians(angle[k] / 2)
        to_apex = np.linalg.norm(arc[100] - nodes[k + 1])
        assert to_apex == pytest.approx(radius[k] * (1 / np.cos(half) - 1), abs=1e-9)
        # The first chord leaves leg k by half of one step's turn, and no more.
        along = (nodes[k + 1] - nodes[k]) / legs.leg_mm[k]
        chord = arc[1] - arc[0]
        off = np.degrees(np.arccos(min(1.0, chord @ along / np.linalg.norm(chord))))
        assert off == pytest.approx(angle[k] / 400, rel=1e-3, abs=2e-6)
    np.testing.assert_allclose(line.points_mm[[0, -1]], nodes[[0, -1]], atol=1e-12)


def test_the_line_is_drawn_where_it_lies() -> None:
    """Given nodes, with a clip on a straight run among them, place the centreline."""
    pose = Rotation.from_euler("xyz", [20, -50, 130], degrees=True)
    nodes = pose.apply(nodes_from_legs(SHAPE)) + [5, 6, 7]
    with_clip = np.insert(nodes, 3, (nodes[2] + nodes[3]) / 2, axis=0)
    laid = bent_centreline(legs_from_nodes(with_clip), RADII, nodes_mm=with_clip)
    plain = bent_centreline(SHAPE, RADII)
    np.testing.assert_allclose(laid.points_mm, pose.apply(plain.points_mm) + [5, 6, 7], atol=1e-9)
    assert laid.piece.tolist() == plain.piece.tolist()


def test_what_cannot_be_bent_is_not_drawn() -> None:
    """A leg too short, nodes of another line and an arc of one point are refused."""
    with pytest.raises(LegTooShort, match="leg 4 .* is missing"):
        bent_centreline(SHAPE, 45)
    with pytest.raises(ValueError, match="not the same line"):
        bent_centreline(SHAPE, RADII, nodes_mm=nodes_from_legs(SHAPE)[::-1])
    with pytest.raises(ValueError, match="1 points per bend"):
        bent_centreline(SHAPE, RADII, points_per_bend=1)


def test_how_far_end_b_goes_for_a_degree() -> None:
    """The shifts of end B agree with difference quotients of the placing itself."""
    given_values = [SHAPE.leg_mm, SHAPE.angle_deg, SHAPE.twist_deg]
    for which, shifts in enumerate(end_shifts(SHAPE)):
        for k in range(len(shifts)):
            high, low = ([v.copy() for v in given_values] for _ in range(2))
            high[which][k] += 1e-4
            low[which][k] -= 1e-4
            slope = (place_nodes(*high)[-1] - place_nodes(*low)[-1]) / 2e-4
            if which == 2 and k == 0:  # the whole line would turn: not a change of shape
                slope = np.zeros(3)
            np.testing.assert_allclose(shifts[k], slope, atol=1e-6)


def test_one_door_leads_to_every_name() -> None:
    """What the door says it has, it has."""
    assert len(set(path.__all__)) == len(path.__all__)
    for name in path.__all__:
        assert getattr(path, name).__module__.startswith("bendcal.")
