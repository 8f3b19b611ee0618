"""Branch and bound, and the bounds that it is given for a stroke: never above what is true, and close where it ends."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bendcal.bounding import Boxes, Measured, least
from bendcal.feasible.motion import Motion
from bendcal.solids import SHAPES, Solid

SEEDS = st.integers(0, 10**6)


def waves(key, span):
    """sin(3x + key) + |y|, whose slopes are at most 3 and 1."""
    middle, half = span.mean(axis=2), (span[:, :, 1] - span[:, :, 0]) / 2
    value = np.sin(3 * middle[:, 0] + key[:, 0]) + np.abs(middle[:, 1])
    slack = half * (3.0, 1.0)
    return Measured(value - slack.sum(axis=1), value, middle, slack)


def whole(owners: int, x=(0.0, 4.0), y=(-1.0, 2.0)) -> Boxes:
    """One box for each owner."""
    count = np.arange(owners)
    return Boxes(count, count[:, None], np.tile([[x, y]], (owners, 1, 1)).astype(float))


def test_the_least_of_a_wave_is_minus_one_at_its_trough() -> None:
    """For each owner its own phase; y is 0 there, and the value is attained where it says."""
    found = least(whole(4), waves, 4, tolerance=1e-3)
    assert found.value == pytest.approx(-1, abs=2e-3)
    assert np.all(found.low <= -1) and np.all(found.value - found.low <= 1.01e-3)
    assert np.sin(3 * found.at[:, 0] + np.arange(4)) + np.abs(found.at[:, 1]) == pytest.approx(found.value)
    assert found.key[:, 0].tolist() == [0, 1, 2, 3]


def test_an_owner_without_boxes_has_nothing_near() -> None:
    """Infinitely far, and that is certain."""
    found = least(whole(1), waves, 2)
    assert found.value[1] == np.inf and found.low[1] == np.inf and found.key[1, 0] == -1


def test_enough_and_floor_end_a_search_early_and_truly() -> None:
    """Above −2 for certain is enough; below 5 for certain is enough as well: fewer measurings, no false bound."""
    counts = []
    for limits in ({}, {"enough": -2.0}, {"floor": 5.0}):
        asked = []

        def counting(key, span, asked=asked):
            asked.append(len(key))
            return waves(key, span)

        found = least(whole(1), counting, 1, tolerance=1e-3, **limits)
        assert found.low[0] <= -1 <= found.value[0]
        counts.append(sum(asked))
        if "enough" in limits:
            assert found.low[0] >= -2
    assert counts[0] > 10 * counts[1] > 0 and counts[0] > 10 * counts[2] > 0


def test_a_search_that_never_settles_is_not_said_to_be_settled() -> None:
    """A measuring whose first box always leaves 1 open: after the last round the bound that comes out is still 1 below."""
    rounds = []

    def hopeless(key, span):
        rounds.append(len(key))
        low = np.where(np.arange(len(key)) == 0, -1.0, np.inf)
        return Measured(low, np.zeros(len(key)), span.mean(axis=2), np.ones((len(key), 2)))

    found = least(whole(1), hopeless, 1)
    assert found.low[0] == -1.0 and found.value[0] == 0.0 and len(rounds) == 80


def test_a_search_that_would_fill_the_memory_ends_with_what_is_known() -> None:
    """A flat function whose slack is halved forever: broken off at a million boxes, its bound true and its tolerance not reached."""

    def flat(key, span):
        half = (span[:, :, 1] - span[:, :, 0]) / 2
        return Measured(-half.sum(axis=1), np.zeros(len(key)), span.mean(axis=2), half)

    found = least(whole(1), flat, 1, tolerance=1e-9)
    assert found.value[0] == 0.0 and -1e-2 < found.low[0] < -1e-9


# --- bounds of the motion -----------------------------------------------------------------------


def drawn(rng, n: int) -> tuple[Motion, np.ndarray, np.ndarray]:
    """Motions of all three senses, and straight parts of tube."""
    sense = rng.choice([-1.0, 0.0, 1.0], n)
    pace = np.where(sense < 0, 0.0, rng.uniform(10, 25, n))
    turn, half = rng.uniform(0.3, 1.5, n), rng.uniform(0.001, 0.3, n)
    left = np.where(pace > 0, rng.uniform(5, 40, n), 0.0)
    first = rng.normal(0, 60, (n, 3))
    return Motion(sense, pace, turn, half, left), first, first + rng.normal(0, 30, (n, 3))


def at(motion: Motion, turn: np.ndarray) -> Motion:
    """The same motion at another moment."""
    return Motion(motion.sense, motion.pace_mm, turn, motion.half, motion.left_mm - motion.pace_mm * (turn - motion.turn))


@given(SEEDS)
@settings(max_examples=20)
def test_the_velocity_is_how_fast_the_place_changes(seed: int) -> None:
    """Against differences of the place over a hundred-thousandth of a radian."""
    motion, first, _ = drawn(np.random.default_rng(seed), 30)
    step = 1e-5
    ahead, back = (at(motion, motion.turn + s * step).place(first) for s in (1, -1))
    assert motion.velocity(motion.place(first)) == pytest.approx((ahead - back) / (2 * step), abs=1e-4)


@given(SEEDS)
@settings(max_examples=40)
def test_no_part_comes_nearer_than_its_bound(seed: int) -> None:
    """21 moments of each part of the stroke: the bound holds at all of them, and is close where the stroke is short."""
    rng = np.random.default_rng(seed)
    n = 40
    motion, first, last = drawn(rng, n)
    shape = list(SHAPES)[seed % len(SHAPES)]
    start = rng.normal(0, 60, 3)
    body = Solid(shape, start, None if shape == "sphere" else start + rng.normal(0, 30, 3), **{size: rng.uniform(3, 30) for size in SHAPES[shape]})
    placed = motion.place(first), motion.place(last)
    gap, share = body.segment_mm(*placed)
    near = placed[0] + share[:, None] * (placed[1] - placed[0])
    bound, by_length, by_stroke = motion.nearest(first, last, placed, np.zeros(n), gap, near, body.outward(near))
    least_gap = np.full(n, np.inf)
    for moment in np.linspace(-1, 1, 21):
        then = at(motion, motion.turn + moment * motion.half)
        least_gap = np.minimum(least_gap, body.segment_mm(then.place(first), then.place(last))[0])
    assert np.all(bound <= least_gap + 1e-9)
    assert np.all(by_length + by_stroke >= gap - bound - 1e-9) and np.all(bound <= gap + 1e-9)
