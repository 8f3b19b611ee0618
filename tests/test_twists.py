"""Turns between bends: signs, words, and a bender that stands still."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from bendcal.legs import Legs
from bendcal.nodes import legs_from_nodes, nodes_from_legs, pose_like
from bendcal.twists import (
    clock_deg,
    describe_tube_turn,
    describe_twist,
    tube_turn_deg,
    wrap_deg,
)

SHAPE = Legs([100, 80, 120, 60, 90], [90, 45, 120, 60], [0, 90, -30, 135])


def bend_on_a_bench(legs: Legs, turns: list[float], *, lead: str, first: str) -> np.ndarray:
    """Make a line in a bender that stands still at the origin and always bends towards +y.

    A straight tube lies along x with B towards +x (lead B) or −x (lead A).
    For each bend the apex is brought to the origin, the tube is turned about
    its own axis, clockwise seen from A to B, and the part beyond the apex is
    swung towards +y. Nothing here knows of frames carried along a line.
    """
    sign = 1.0 if lead == "B" else -1.0
    along = np.concatenate([[0.0], np.cumsum(legs.leg_mm)])
    points = np.outer(sign * along, [1.0, 0.0, 0.0])
    order = range(legs.bends) if first == "A" else range(legs.bends - 1, -1, -1)
    for turn, k in zip(turns, order, strict=True):
        points = points - points[k + 1]
        points = Rotation.from_rotvec([sign * turn, 0, 0], degrees=True).apply(points)
        swing = Rotation.from_rotvec([0, 0, sign * legs.angle_deg[k]], degrees=True)
        points[k + 2 :] = swing.apply(points[k + 2 :])
        if first == "A":  # the next bend is made on the leg that has just been swung
            points = swing.inv().apply(points)
    return points


@pytest.mark.parametrize("lead", ["A", "B"])
def test_a_bender_that_stands_still_needs_the_tube_turned_the_other_way(lead: str) -> None:
    """Turning the tube by tube_turn_deg makes the line; turning it by the twist does not."""
    right = [float(t) for t in tube_turn_deg(SHAPE.twist_deg)]
    wrong = SHAPE.twist_deg.tolist()
    want = nodes_from_legs(SHAPE)
    made = bend_on_a_bench(SHAPE, right, lead=lead, first="A")
    assert np.abs(pose_like(made, want) - want).max() < 1e-9
    spoilt = bend_on_a_bench(SHAPE, wrong, lead=lead, first="A")
    assert np.abs(pose_like(spoilt, want) - want).max() > 10


@pytest.mark.parametrize("lead", ["A", "B"])
def test_made_from_b_towards_a_the_tube_turns_by_the_twist_itself(lead: str) -> None:
    """The bends made in the other order need the turns back, the twists themselves."""
    turns = [0.0, *SHAPE.twist_deg[:0:-1]]
    made = bend_on_a_bench(SHAPE, turns, lead=lead, first="B")
    want = nodes_from_legs(SHAPE)
    assert np.abs(pose_like(made, want) - want).max() < 1e-9


def test_a_scribed_line_tells_where_every_bend_faces() -> None:
    """Folding a straight tube about axes set out by clock_deg alone makes the line."""
    along = np.concatenate([[0.0], np.cumsum(SHAPE.leg_mm)])
    points = np.outer(along, [1.0, 0.0, 0.0])
    facing = np.radians(clock_deg(SHAPE.twist_deg))
    # From the far end backwards, so that what is left towards A is still straight.
    for k in range(SHAPE.bends - 1, -1, -1):
        inside = np.array([0.0, np.cos(facing[k]), np.sin(facing[k])])
        axis = np.cross([1.0, 0.0, 0.0], inside)
        fold = Rotation.from_rotvec(axis * SHAPE.angle_deg[k], degrees=True)
        apex = points[k + 1]
        points[k + 2 :] = apex + fold.apply(points[k + 2 :] - apex)
    assert np.abs(points - nodes_from_legs(SHAPE)).max() < 1e-9


def test_clockwise_is_what_a_person_sees() -> None:
    """Standing at A and facing B along +x, head up along z: from up to the right is clockwise."""
    # Facing +x with +z up, the right hand is towards −y. The first bend has its
    # other leg up; the next one goes off to the right, a quarter turn clockwise.
    legs = legs_from_nodes([[0, 0, 50], [0, 0, 0], [80, 0, 0], [80, -50, 0]])
    assert legs.twist_deg[1] == pytest.approx(90, abs=1e-12)
    assert describe_twist(legs.twist_deg[1]) == (
        "the next bend points 90° clockwise of the last one, seen from end A looking towards B"
    )
    # The bender bends upwards. What lies at the right has to come up: anticlockwise.
    assert describe_tube_turn(legs.twist_deg[1]) == (
        "turn the tube 90° anticlockwise, seen from end A looking towards B"
    )


@pytest.mark.parametrize("seen_from", ["A", "B"])
def test_the_words_follow_the_sign(seen_from: str) -> None:
    """The words turn over with the sign, with the viewer, and between bend and tube."""
    clockwise = seen_from == "A"
    for twist in (37.0, -37.0):
        line_clockwise = (twist > 0) == clockwise
        words = describe_twist(twist, seen_from=seen_from)
        assert ("anticlockwise" not in words) == line_clockwise
        assert f"seen from end {seen_from}" in words
        tube = describe_tube_turn(twist, seen_from=seen_from)
        assert ("anticlockwise" in tube) == line_clockwise
        assert "37°" in tube
        assert f"seen from end {seen_from}" in tube


@pytest.mark.parametrize(
    ("twist", "line", "tube"),
    [
        (0.0, "same way as the last bend (a U)", "do not turn the tube"),
        (-0.0, "same way as the last bend (a U)", "do not turn the tube"),
        (0.04, "same way as the last bend (a U)", "do not turn the tube"),
        (180.0, "the other way (an offset)", "turn the tube half a turn (180°)"),
        (-179.97, "the other way (an offset)", "turn the tube half a turn (180°)"),
    ],
)
def test_a_u_and_an_offset_need_no_sense_of_turning(twist: float, line: str, tube: str) -> None:
    """No turn and half a turn are the same either way round, also after rounding."""
    assert describe_twist(twist) == line
    assert describe_tube_turn(twist) == tube


@given(st.floats(-1000, 1000))
def test_a_wrapped_turn_is_the_same_turn(turn: float) -> None:
    """Wrapping keeps the turn, and a turn already in the range keeps every digit."""
    wrapped = float(wrap_deg(turn))
    assert -180.0 < wrapped <= 180.0
    assert abs(np.exp(1j * np.radians(wrapped)) - np.exp(1j * np.radians(turn))) < 1e-12
    if -180.0 < turn <= 180.0:
        assert wrapped == turn


def test_arrays_of_turns() -> None:
    """Columns of twists go in and come out as columns; no bends give no turns."""
    assert tube_turn_deg([0, 90, -30, 180]).tolist() == [0.0, -90.0, 30.0, 180.0]
    assert clock_deg([]).shape == (0,)


def test_words_refuse_what_they_cannot_say() -> None:
    """An unknown viewer or a missing turn is refused."""
    with pytest.raises(ValueError, match="seen_from is 'C'"):
        describe_twist(10, seen_from="C")
    with pytest.raises(ValueError, match="not a number"):
        describe_tube_turn(float("nan"))
