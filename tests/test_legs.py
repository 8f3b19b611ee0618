"""The legs of a line: what they may hold, what stays straight, other hand and other end."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bendcal.legs import (
    Legs,
    LegTooShort,
    check_straights,
    loose_twists,
    mirror_legs,
    reverse_legs,
    straights_mm,
)
from bendcal.nodes import legs_from_nodes, nodes_from_legs

SHAPE = Legs([100, 80, 120, 60, 90], [90, 45, 120, 60], [0, 90, -30, 135])


def test_what_stays_straight_by_hand() -> None:
    """Square bends of radius 15 take 15 mm of every leg they touch."""
    legs = Legs([100, 80, 60], [90, 90], [0, 180])
    assert straights_mm(legs, 15).tolist() == pytest.approx([85, 50, 45], abs=1e-12)
    assert check_straights(legs, [15, 20]).tolist() == pytest.approx([85, 45, 40], abs=1e-12)


def test_a_line_without_a_bend_is_all_straight() -> None:
    """One leg, no bend."""
    legs = Legs([250], [], [])
    assert legs.bends == 0
    assert straights_mm(legs, 15).tolist() == [250.0]
    assert reverse_legs(legs).leg_mm.tolist() == [250.0]


def test_bends_that_just_meet_are_allowed() -> None:
    """A leg exactly as long as its two setbacks has a straight of nothing, and is no fault."""
    assert check_straights(Legs([50, 30, 50], [90, 90], [0, 0]), 15)[1] == pytest.approx(0)


def test_every_short_leg_is_named_with_what_it_lacks() -> None:
    """Leg 1 lacks 5 mm and leg 2 lacks 10 mm: both are said, counted from end A."""
    legs = Legs([10, 20, 60], [90, 90], [0, 0])
    with pytest.raises(
        LegTooShort, match=r"leg 1 \(end A to bend 1\).* 5\.00 mm is missing"
    ) as hit:
        check_straights(legs, 15)
    assert "leg 2 (bend 1 to bend 2)" in str(hit.value)
    assert "its bends take 30.00 mm of it: 10.00 mm is missing" in str(hit.value)
    assert hit.value.leg == (1, 2)
    assert hit.value.missing_mm == pytest.approx((5, 10))
    with pytest.raises(ValueError, match=r"leg 3 \(bend 2 to end B\) .* less than 0\.01 mm is"):
        check_straights(Legs([60, 60, 14.999], [90, 90], [0, 0]), 15)


@pytest.mark.parametrize(
    ("leg", "angle", "twist", "words"),
    [
        ([100], [90], [0], "n bends need n \\+ 1 legs"),
        ([100, 80], [90], [], "1 angles and 0 twists"),
        ([100, 0], [90], [0], "leg 2 is 0 mm: a leg is a length of more than 0"),
        ([100, float("nan")], [90], [0], "leg 2 is nan mm"),
        ([100, float("inf")], [90], [0], "leg 2 is inf mm"),
        ([100, 80], [180], [0], "bend 1 is 180 degrees: a bend turns"),
        ([100, 80], [0], [0], "bend 1 is 0 degrees: .*leave out a bend that does not turn"),
        ([100, 80], [-90], [0], "bend 1 is -90 degrees"),
        ([100, 80, 60], [90, 90], [0, 190], "the twist of bend 2 is 190 degrees"),
        ([100, 80], [90], [30], "the twist of bend 1 is 30 degrees: there is no bend before it"),
        ([[100, 80]], [90], [0], "leg_mm has 2 dimensions"),
    ],
)
def test_what_is_no_line_is_refused(leg: list, angle: list, twist: list, words: str) -> None:
    """Each refusal names the leg or bend as a person counts, and the rule."""
    with pytest.raises(ValueError, match=words):
        Legs(leg, angle, twist)


def test_half_a_turn_has_one_spelling() -> None:
    """−180 is the same half turn as 180 and is kept as 180."""
    assert Legs([1, 2, 3], [90, 90], [0, -180]).twist_deg.tolist() == [0.0, 180.0]


def test_legs_cannot_be_changed_afterwards() -> None:
    """The arrays are copies and read-only: not a reading changes behind a sheet's back."""
    mine = np.array([100.0, 80.0])
    legs = Legs(mine, [90], [0])
    mine[0] = 1.0
    assert legs.leg_mm[0] == 100.0
    with pytest.raises(ValueError, match="read-only"):
        legs.leg_mm[0] = 1.0


def test_the_other_hand_is_a_mirror_image() -> None:
    """Mirrored nodes have the same legs with every twist turned over, and nothing else."""
    other = legs_from_nodes(nodes_from_legs(SHAPE) * [1, 1, -1])
    for have, want in zip(vars(other).values(), vars(mirror_legs(SHAPE)).values(), strict=True):
        np.testing.assert_allclose(have, want, atol=1e-9)
    assert mirror_legs(SHAPE).twist_deg.tolist() == [0.0, -90.0, 30.0, -135.0]
    assert mirror_legs(Legs([1, 2, 3], [90, 90], [0, 180])).twist_deg.tolist() == [0.0, 180.0]


def test_from_the_other_end_the_signs_stay() -> None:
    """Nodes in the other order have the legs in the other order with the same twist signs."""
    back = legs_from_nodes(nodes_from_legs(SHAPE)[::-1])
    for have, want in zip(vars(back).values(), vars(reverse_legs(SHAPE)).values(), strict=True):
        np.testing.assert_allclose(have, want, atol=1e-9)
    assert reverse_legs(SHAPE).twist_deg.tolist() == [0.0, 135.0, -30.0, 90.0]


@given(st.integers(0, 8), st.integers(0, 2**32 - 1))
def test_twice_turned_round_is_as_before(bends: int, seed: int) -> None:
    """Reversing twice and mirroring twice change nothing."""
    rng = np.random.default_rng(seed)
    twist = rng.uniform(-180, 180, bends)
    twist[:1] = 0.0
    legs = Legs(rng.uniform(1, 99, bends + 1), rng.uniform(1, 179, bends), twist)
    for turned in (reverse_legs(reverse_legs(legs)), mirror_legs(mirror_legs(legs))):
        for have, want in zip(vars(turned).values(), vars(legs).values(), strict=True):
            np.testing.assert_array_equal(have, want)


def test_a_twist_beside_a_nearly_straight_bend_is_loose() -> None:
    """A bend of half a degree makes its own twist and the next one vague, no others."""
    legs = Legs([50, 50, 50, 50, 50], [90, 0.5, 45, 179], [0, 10, 20, 30])
    assert loose_twists(legs).tolist() == [False, True, True, True]
    assert loose_twists(legs, small_deg=0.1).tolist() == [False] * 4
    assert loose_twists(Legs([9], [], [])).tolist() == []
