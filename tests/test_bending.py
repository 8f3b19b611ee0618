"""From marks back to a shape: hand cases, walking along the tube step by step, and what is refused."""

from math import pi, radians, tan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bendcal.bending import bend_up, feeds
from bendcal.law import Law
from bendcal.path import nodes_from_legs

#: Dial and finished angle alike, R = 15, λ = 14.5, the bend starts 2 mm beyond the mark.
PLAIN = Law.of("small", "brake", [0, 1, 15, 14.5, 2.0])


def test_a_square_bend_by_hand() -> None:
    """Mark at 83, bend from 85 to 85 + 14.5·π/2; legs 85 + 15 = 100 and 200 − 107.7765 + 15 = 107.2235."""
    legs = bend_up(PLAIN, mark_mm=[83.0], dial_deg=[90.0], twist_deg=[0.0], seat_a_mm=0.0, seat_b_mm=200.0)
    assert legs.leg_mm == pytest.approx([100.0, 200 - (85 + 14.5 * pi / 2) + 15], abs=1e-12)
    assert legs.leg_mm[1] == pytest.approx(107.2235, abs=5e-5)
    assert legs.angle_deg.tolist() == [90.0] and legs.twist_deg.tolist() == [0.0]


def test_turned_end_for_end_the_mark_lies_beyond_the_bends_end() -> None:
    """The same bend from the other end: the bend ends at 85 + 14.5·π/2, so the mark is 2 mm further on."""
    end = 85 + 14.5 * pi / 2
    legs = bend_up(PLAIN, mark_mm=[end + 2.0], dial_deg=[90.0], twist_deg=[0.0], seat_a_mm=0.0, seat_b_mm=200.0, feed="B")
    assert legs.leg_mm == pytest.approx([100.0, 200 - end + 15], abs=1e-12)


def test_the_dial_is_bent_by_the_law() -> None:
    """a = −2, b = 0.95: 100 on the dial finishes at 93."""
    law = Law.of("small", "brake", [-2, 0.95, 15, 14.5, 2.0])
    legs = bend_up(law, mark_mm=[83.0], dial_deg=[100.0], twist_deg=[0.0], seat_a_mm=0.0, seat_b_mm=200.0)
    assert legs.angle_deg == pytest.approx([93.0])
    assert legs.leg_mm[0] == pytest.approx(85 + 15 * tan(radians(46.5)))


def test_legs_count_from_the_seats_and_not_from_the_cut_ends() -> None:
    """Seats moved inwards by 7 and 4 mm shorten the two outer legs by just that."""
    common = {"mark_mm": [60.0, 120.0], "dial_deg": [45.0, 60.0], "twist_deg": [0.0, -30.0]}
    whole = bend_up(PLAIN, seat_a_mm=0.0, seat_b_mm=220.0, **common)
    flared = bend_up(PLAIN, seat_a_mm=7.0, seat_b_mm=216.0, **common)
    assert whole.leg_mm - flared.leg_mm == pytest.approx([7.0, 0.0, 4.0], abs=1e-12)


def test_a_tube_without_bends_is_one_leg() -> None:
    """From seat to seat."""
    legs = bend_up(PLAIN, mark_mm=[], dial_deg=[], twist_deg=[], seat_a_mm=5.0, seat_b_mm=105.0)
    assert legs.leg_mm.tolist() == [100.0]
    assert legs.bends == 0


def walked(law: Law, mark, dial, twist, seat_a: float, seat_b: float, side) -> np.ndarray:
    """The finished seat-to-seat vector: the straight tube walked in small steps, each bend turning as it goes."""
    a, b, radius, developed, offset = (float(v) for v in law.parameters)
    angle = a + b * np.asarray(dial, float)
    arc = developed * np.radians(angle)
    start = np.where(np.asarray(side) > 0, np.asarray(mark) + offset, np.asarray(mark) - offset - arc)
    place, frame, at = np.zeros(3), np.eye(3), seat_a
    for s, length, theta, turn in zip(start, arc, np.radians(angle), np.radians(twist), strict=True):
        place = place + frame[:, 0] * (s - at)
        c, n = np.cos(turn), np.sin(turn)
        frame = frame @ np.array([[1, 0, 0], [0, c, -n], [0, n, c]])
        steps = 4000
        small = theta / steps
        # Midpoint rule for the chord of each step: the arc is R long per radian, whatever tube it uses.
        for _ in range(steps):
            c, n = np.cos(small / 2), np.sin(small / 2)
            half = np.array([[c, -n, 0], [n, c, 0], [0, 0, 1]])
            frame = frame @ half
            place = place + frame[:, 0] * radius * small
            frame = frame @ half
        at = s + length
    return place + frame[:, 0] * (seat_b - at)


def test_a_tube_walked_step_by_step_ends_where_the_legs_say() -> None:
    """Three bends out of plane, the middle one turned end for end: both routes end at the same distance and bearing."""
    law = Law.of("small", "brake", [-1.2, 0.97, 15.4, 14.9, 2.3])
    mark, dial, twist, side = [70.0, 160.0, 210.0], [95.0, 50.0, 120.0], [0.0, 65.0, -140.0], [1, -1, 1]
    legs = bend_up(law, mark_mm=mark, dial_deg=dial, twist_deg=twist, seat_a_mm=6.0, seat_b_mm=330.0, feed=["A", "B", "A"])
    end = walked(law, mark, dial, twist, 6.0, 330.0, side)
    nodes = nodes_from_legs(legs)
    assert nodes[-1] == pytest.approx(end, abs=1e-4)


@given(
    st.lists(st.tuples(st.floats(40, 120), st.floats(10, 130), st.floats(-180, 180)), min_size=1, max_size=5),
    st.floats(0, 12), st.sampled_from(["A", "B"]),
)  # fmt: skip
def test_gains_account_for_every_millimetre(bends, seat: float, feed: str) -> None:
    """Seat to seat on the straight tube = sum of the legs − sum of the gains, however it is fed."""
    step, dial, twist = (np.array(v) for v in zip(*bends, strict=True))
    mark = 60 + np.cumsum(step) + 40 * np.arange(len(step))
    twist[0] = 0.0
    total = mark[-1] + 150
    legs = bend_up(PLAIN, mark_mm=mark, dial_deg=dial, twist_deg=twist, seat_a_mm=seat, seat_b_mm=total, feed=feed)
    assert legs.leg_mm.sum() - PLAIN.gain(dial).value.sum() == pytest.approx(total - seat, abs=1e-9)


def test_bends_that_overlap_are_refused_although_their_leg_is_longer_than_nothing() -> None:
    """Two square bends 20 mm apart need 22.78 mm of tube each: their apexes are 27.2 mm apart, but 2.78 mm is used twice."""
    with pytest.raises(ValueError, match=r"bend 1 and bend 2 overlap by 2\.78 mm of tube\. Move the marks apart"):
        bend_up(PLAIN, mark_mm=[83.0, 103.0], dial_deg=[90, 90], twist_deg=[0, 0], seat_a_mm=0.0, seat_b_mm=300.0)


def test_bends_that_run_off_an_end_are_refused() -> None:
    """A bend that starts before the seat of A, or ends beyond that of B."""
    with pytest.raises(ValueError, match=r"end A and bend 1 overlap by 5\.00 mm"):
        bend_up(PLAIN, mark_mm=[3.0], dial_deg=[90], twist_deg=[0], seat_a_mm=10.0, seat_b_mm=200.0)
    with pytest.raises(ValueError, match=r"bend 1 and end B overlap by 7\.78 mm"):
        bend_up(PLAIN, mark_mm=[83.0], dial_deg=[90], twist_deg=[0], seat_a_mm=0.0, seat_b_mm=100.0)


@pytest.mark.parametrize("dial", [0.0, -10.0, 180.0])
def test_an_angle_that_is_no_bend_is_refused(dial: float) -> None:
    """0°, less, and 180° are no single bend."""
    with pytest.raises(ValueError, match="0 (and less than|to less than) 180"):
        bend_up(PLAIN, mark_mm=[83.0], dial_deg=[dial], twist_deg=[0], seat_a_mm=0.0, seat_b_mm=300.0)


def test_the_feed_is_one_letter_or_one_for_each_bend() -> None:
    """A letter for all, a list, an array or a column of letters."""
    assert feeds("B", 3).tolist() == [-1, -1, -1]
    assert feeds(np.array(["A", "B"]), 2).tolist() == [1, -1]
    assert feeds([], 0).tolist() == feeds("A", 0).tolist() == []


@pytest.mark.parametrize("feed", ["a", "AB", ["A"], ["A", "C"], ["A", "B", "A"], [1, -1], ""])
def test_any_other_feed_is_refused(feed) -> None:
    """The sentence shows what was given and how many bends there are."""
    with pytest.raises(ValueError, match="it must be 'A' or 'B', or one such letter for each of the 2 bends"):
        feeds(feed, 2)
