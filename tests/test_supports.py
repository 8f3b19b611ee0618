"""Supports: published spacings, clips on straight tube only, as few as hold the line, where they lie in space."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bendcal.calibration import Calibration
from bendcal.ends import End
from bendcal.law import Law
from bendcal.lines import line_from_legs, line_from_nodes
from bendcal.marks import MarkSheet, mark_out
from bendcal.materials import ALLOYS
from bendcal.path import bent_centreline
from bendcal.supports import Supports, published_spacing, supports_for
from bendcal.tubes import Tube
from tests.drawing import CAL, SHAPES, SHOP, sheet

IN = 25.4
STEEL = ALLOYS["low-carbon steel"]


def tube(od_mm: float, alloy=STEEL) -> Tube:
    """A tube of that outside diameter."""
    return Tube("t", alloy, od_mm, 0.1 * od_mm)


def marked(leg_mm: list, angle_deg: list, **facts: str) -> MarkSheet:
    """A sheet with plain ends that need no straight tube."""
    one = line_from_legs("l", leg_mm, angle_deg, [0.0] * len(angle_deg), tube="steel", bender="small", **facts)
    return mark_out(SHOP, CAL, one, trim_mm=0)


def zones(one: MarkSheet, clear_mm: float) -> list[tuple[float, float]]:
    """Where clips may sit, along the straight tube; both ends plain."""
    first, last = [one.seat_a_mm, *one.end_mm], [*one.start_mm, one.seat_b_mm]
    return [(a + clear_mm, b - clear_mm) for a, b in zip(first, last, strict=True) if b - a >= 2 * clear_mm]


# --- spacings -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("od_in", "apart_in"), [(1 / 4, 16), (5 / 16, 18), (3 / 8, 20), (1 / 2, 23), (5 / 8, 25.5), (3 / 4, 27.5), (1, 30)])
def test_spacings_are_those_of_the_table(od_in: float, apart_in: float) -> None:
    """MIL-H-8891A, table II (read)."""
    spacing = published_spacing(tube(od_in * IN))
    assert spacing.spacing_mm == pytest.approx(apart_in * IN)
    assert spacing.source == "MIL-H-8891A, table II"


def test_three_sixteenths_has_14_inches_by_memory_and_by_trend() -> None:
    """FAA, 14 in (memory); a thin tube's span goes with the root of its diameter, and the table's four sizes give 13.9 to 14.2."""
    spacing = published_spacing(tube(3 / 16 * IN))
    assert spacing.spacing_mm == pytest.approx(14 * IN)
    assert "memory" in spacing.source
    trend = [apart * np.sqrt(3 / 16 / od) for od, apart in ((1 / 4, 16), (5 / 16, 18), (3 / 8, 20), (1 / 2, 23))]
    assert min(trend) == pytest.approx(13.86, abs=0.01)
    assert max(trend) == pytest.approx(14.14, abs=0.01)


def test_sizes_between_take_the_smaller_one_s() -> None:
    """6 mm takes that of 3/16, 8 mm that of 5/16, 4.75 mm is a 3/16 tube, 1/8 goes by the trend, all in inches."""
    for od_mm, apart_in in ((4.75, 14), (6.0, 14), (6.35, 16), (8.0, 18), (10.0, 20), (3.175, 32 * np.sqrt(0.125))):
        assert published_spacing(tube(od_mm)).spacing_mm == pytest.approx(apart_in * IN)


def test_tube_that_carries_fittings_takes_a_fifth_less() -> None:
    """About 20 % less (MIL-H-8891A, read): 12.8 in for 1/4 tube."""
    assert published_spacing(tube(6.35), carries_fittings=True).spacing_mm == pytest.approx(12.8 * IN)


def test_softer_tube_takes_less_by_the_fourth_root() -> None:
    """Copper-nickel at 124 GPa: 0.878 of steel's, so that w·L⁴/(E·I) is the same (derived); stainless is as good as steel."""
    steel, soft = (published_spacing(tube(6.35, ALLOYS[name])) for name in ("low-carbon steel", "copper-nickel 90/10"))
    assert soft.spacing_mm / steel.spacing_mm == pytest.approx((124 / 209) ** 0.25)
    assert soft.spacing_mm**4 / 124 == pytest.approx(steel.spacing_mm**4 / 209)
    assert "derived" in soft.source
    assert "12 % less, because copper-nickel 90/10 is less stiff" in soft.reason
    stiff = replace(STEEL, alloy="stiff", e_gpa=207.0)
    assert published_spacing(tube(6.35, stiff)).spacing_mm == steel.spacing_mm


# --- places ---------------------------------------------------------------------------------------


def test_a_short_line_needs_no_clip() -> None:
    """Two fittings less than the spacing apart hold the line."""
    plan = supports_for(marked([90, 90], [90]))
    assert plan.clips == ()
    assert plan.enough
    assert plan.longest_span_mm == pytest.approx(float(plan.span_mm[0]))
    assert plan.sentence.startswith("l needs no clip between its two fittings; the longest stretch")


def test_one_clip_goes_beside_the_bend() -> None:
    """Legs of 300 mm, supports 400 mm apart: one clip, 10 mm from the bend."""
    plan = supports_for(marked([300, 300], [90]), spacing_mm=400)
    (clip,) = plan.clips
    assert (clip.beside, clip.beside_mm) == ("bend 1", pytest.approx(10.0))
    assert plan.enough


def test_a_long_straight_is_held_along_its_length() -> None:
    """A straight line of 1000 mm with supports 300 mm apart: three clips, no more and no fewer, in steps of at most 300."""
    plan = supports_for(marked([1000], []), spacing_mm=300)
    assert len(plan.clips) == 3
    assert plan.span_mm.sum() == pytest.approx(1000)
    assert plan.longest_span_mm <= 300 + 1e-6
    assert all(clip.leg == 1 for clip in plan.clips)


def test_a_stretch_without_straight_tube_is_told() -> None:
    """Five bends close together leave no room for a clip: the span that remains is named, not hidden."""
    plan = supports_for(sheet("six"), spacing_mm=60)
    assert not plan.enough
    assert "no straight is long enough for a clip" in plan.sentence
    assert f"{plan.longest_span_mm:.0f} mm" in plan.sentence


def test_clips_keep_out_of_the_way_of_nuts() -> None:
    """A nut that needs 60 mm behind its seat keeps the first clip at 70 mm; without it the straight that the tool needs counts."""
    ends = {"nut": End("nut", "double flare", 5.0, straight_mm=30.0, nut_mm=60.0), "no": End("no", "double flare", 5.0, straight_mm=30.0)}
    for name, least in (("nut", 70.0), ("no", 40.0)):
        shop = replace(SHOP, ends=ends)
        one = line_from_legs("l", [400], [], [], tube="steel", bender="small", end_a=name, end_b=name)
        clips = supports_for(mark_out(shop, CAL, one), spacing_mm=80).clips
        assert clips[0].from_seat_mm == pytest.approx(least)
        assert clips[-1].from_seat_mm <= 400 - least + 1e-6


def test_marks_count_from_the_cut_end_and_seats_from_the_seat() -> None:
    """With trim and flare at end A the two differ by just those."""
    one = sheet("six", trim_at="A")
    assert one.seat_a_mm > 0
    for clip in supports_for(one, spacing_mm=200).clips:
        assert clip.mark_mm - clip.from_seat_mm == pytest.approx(one.seat_a_mm)


@pytest.mark.parametrize("shape", [name for name in SHAPES if name != "none"])
@pytest.mark.parametrize("spacing", [120.0, 150.0])
def test_clips_lie_on_the_bent_line_and_on_its_straights(shape: str, spacing: float) -> None:
    """Each clip is a point of the bent centreline, on its own leg, clear of the bends, and marked where that point comes from."""
    one = sheet(shape)
    line = bent_centreline(one.legs, float(one.law.parameters["radius_mm"]), nodes_mm=one.line.nodes_mm, points_per_bend=65)
    plan = supports_for(one, spacing_mm=spacing)
    assert plan.clips
    for clip in plan.clips:
        here = np.array([clip.x_mm, clip.y_mm, clip.z_mm])
        a, b = line.piece_points(2 * (clip.leg - 1))[[0, -1]]
        along = (b - a) / np.linalg.norm(b - a)
        assert np.linalg.norm(here - a - along * ((here - a) @ along)) < 1e-6
        back, on = (here - a) @ along, (b - here) @ along
        start = one.seat_a_mm if clip.leg == 1 else one.end_mm[clip.leg - 2]
        assert clip.mark_mm - start == pytest.approx(back)
        assert min(back, on) == pytest.approx(clip.beside_mm)
        assert min(back, on) > 10 - 1e-6
    assert list(plan.span_mm) == pytest.approx(np.diff([one.seat_a_mm, *(clip.mark_mm for clip in plan.clips), one.seat_b_mm]))


def test_places_are_those_of_the_line_s_own_coordinates() -> None:
    """A line along x, then y: a clip beside its bend at (200, 0, 5) has the corner's own z."""
    nodes = [[0, 0, 5], [200, 0, 5], [200, 300, 5]]
    one = mark_out(SHOP, CAL, line_from_nodes("l", nodes, tube="steel", bender="small"), trim_mm=0)
    (clip,) = supports_for(one, spacing_mm=300).clips
    assert (clip.x_mm, clip.z_mm) == pytest.approx((200, 5)) or (clip.y_mm, clip.z_mm) == pytest.approx((0, 5))


@settings(max_examples=40)
@given(
    legs=st.lists(st.integers(80, 700), min_size=2, max_size=6),
    spacing=st.integers(150, 420),
    clear=st.sampled_from([5.0, 10.0, 15.0]),
)
def test_no_fewer_clips_would_do(legs: list[int], spacing: int, clear: float) -> None:
    """Going as far as one may from clip to clip takes the fewest; so many there are, each on straight tube, none too far apart."""
    one = marked(legs, [60.0] * (len(legs) - 1))
    plan = supports_for(one, spacing_mm=spacing, clear_mm=clear)
    at, count, places = one.seat_a_mm, 0, zones(one, clear)
    while one.seat_b_mm - at > spacing:
        reach = [min(b, at + spacing) for a, b in places if a <= at + spacing and b > at]
        assert reach, "legs of 80 mm leave room everywhere"
        at, count = max(reach), count + 1
    assert plan.enough
    assert len(plan.clips) - count in (0, 1)  # places are weighed in steps of up to 2 mm, so a tight fit may cost one
    if len(plan.clips) > count:
        assert len(supports_for(one, spacing_mm=spacing + 2.0 * (count + 1), clear_mm=clear).clips) <= count
    for clip in plan.clips:
        assert any(a - 1e-6 <= clip.mark_mm <= b + 1e-6 for a, b in places)


@pytest.mark.parametrize(("options", "said"), [({"spacing_mm": 0.0}, "supports are more than 0 mm apart"), ({"clear_mm": -1.0}, "clear_mm is -1.0")])
def test_distances_that_cannot_be_are_refused(options: dict, said: str) -> None:
    """Supports have a distance, and a clip is not inside a bend."""
    with pytest.raises(ValueError, match=said):
        supports_for(sheet("one"), **options)


def test_stretch_of_the_bends_is_taken_into_account() -> None:
    """Spans are measured along the tube: with a developed radius of 10 and a radius of 15.4 mm the bends are shorter than their arcs."""
    law = Law.of("small", "steel", [0.0, 1.0, 15.4, 10.0, 0.0])
    cal = Calibration({("small", "steel"): law}, None, (), (), "", "0")
    one = mark_out(SHOP, cal, line_from_legs("l", [90, 90], [90], [0], tube="steel", bender="small"), trim_mm=0)
    plan: Supports = supports_for(one)
    assert plan.longest_span_mm == pytest.approx(180 - 2 * 15.4 + 10 * np.pi / 2)
