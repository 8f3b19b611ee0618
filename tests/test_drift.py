"""New offcuts against the stored law."""

from dataclasses import replace

import numpy as np
import pytest
from invented_kit import draw_from_prior, with_reading

from bendcal.calibration import calibrate
from bendcal.drift import check_drift


def _split(shop, seen: int):
    """The shop with only the first `seen` pieces of each pair."""
    return replace(shop, offcuts=tuple(o for o in shop.offcuts if int(o.offcut.split("-")[1]) < seen))


@pytest.fixture(scope="module")
def drawn():
    shops = []
    rng = np.random.default_rng(11)
    for _ in range(120):
        shop = draw_from_prior(rng, tubes=2, per_pair=8).shop
        shops.append((shop, calibrate(_split(shop, 6))))
    return shops


def test_nothing_new_nothing_said():
    """A calibration that knows all pieces has nothing to hold against its laws."""
    shop = draw_from_prior(np.random.default_rng(1)).shop
    assert check_drift(calibrate(shop), shop) == ()


def test_a_piece_set_aside_is_not_new():
    """A piece that the calibration knew as set aside is not held against it."""
    shop = draw_from_prior(np.random.default_rng(1)).shop
    aside = with_reading(shop, "0-1", set_aside="bent twice")
    assert check_drift(calibrate(aside), aside) == ()


def test_honest_pieces_seldom_raise_the_alarm(drawn):
    """Of 240 honest sets of two new pieces hardly any raises an alarm (about 1 % in a larger run)."""
    alarms = [each.alarm for shop, cal in drawn for each in check_drift(cal, shop)]
    assert len(alarms) == 240
    assert np.mean(alarms) <= 0.03


def test_a_shift_of_three_degrees_is_noticed(drawn):
    """Two new pieces that finish 3° too far raise the alarm most of the time, and say by how much."""
    found = []
    for shop, cal in drawn:
        moved = replace(shop, offcuts=tuple(
            replace(o, angle_deg=o.angle_deg + 3.0) if int(o.offcut.split("-")[1]) >= 6 else o for o in shop.offcuts
        ))  # fmt: skip
        found += check_drift(cal, moved)
    assert np.mean([each.alarm for each in found]) > 0.8
    angles = [each.shift.value for each in found if each.alarm and each.what == "the finished angle"]
    assert abs(np.mean(angles) - 3.0) < 0.5


def test_one_bad_piece_is_named_as_the_odd_one(drawn):
    """Where only one of two new pieces is off, the sentence names it and asks for another reading."""
    shop, cal = drawn[0]
    (first, _) = check_drift(cal, with_reading(shop, "0-7", angle_deg=shop.offcuts[7].angle_deg + 12.0))
    assert first.odd_one == "0-7"
    assert "only offcut 0-7 says so" in first.sentence


def test_sentences_tell_what_to_do(drawn):
    """An alarm names the pair, the shift and the remedy; a quiet one says that all is well."""
    shop, cal = drawn[0]
    quiet = check_drift(cal, shop)[0]
    assert quiet.sentence == "bender 0 with tube 0: the new 2 offcuts fit the stored law."
    moved = replace(shop, offcuts=tuple(
        replace(o, angle_deg=o.angle_deg + 8.0) if int(o.offcut.split("-")[1]) >= 6 else o for o in shop.offcuts
    ))  # fmt: skip
    assert "Give it a name of its own and calibrate it anew" in check_drift(cal, moved)[0].sentence


def test_a_new_piece_without_legs_is_judged_by_its_angle(drawn):
    """A piece whose legs were not measured still counts, by its angle alone."""
    shop, cal = drawn[1]
    one = replace(shop, offcuts=(*(_split(shop, 6).offcuts), replace(shop.offcuts[6], leg_a_mm=None, leg_b_mm=None, angle_deg=10.0)))
    (only,) = check_drift(cal, one)
    assert only.alarm
    assert only.what == "the finished angle"
