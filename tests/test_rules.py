"""The rules that a line keeps before anything is bent: each met by hand, with its source."""

from dataclasses import replace

import pandas as pd
import pytest

from bendcal.benders import Bender
from bendcal.calibration import Calibration
from bendcal.ends import End
from bendcal.feasible.rules import feeds_allowed, findings
from bendcal.flattening import check_section, ovality, section_limits_sentence, thinning_sentence
from bendcal.law import Law
from bendcal.lines import line_from_legs
from bendcal.marks import mark_out
from bendcal.materials import ALLOYS
from bendcal.shop import Shop
from bendcal.tubes import Tube

BENDER = Bender("small", 16.0, dial_max_deg=180, min_leg_mm=40, min_between_mm=12, min_last_mm=20)
SHOP = Shop(
    benders={"small": BENDER}, tubes={"brake": Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)},
    ends={"flare": End("flare", "double flare", 5.0, straight_mm=32.0)},
)  # fmt: skip
# Every straight below is a leg less 16 for each square bend at its ends.
LAW = Law.of("small", "brake", [0.0, 1.0, 16.0, 16.0, 2.0], n_offcuts=6, angle_range_deg=(1, 179))


def sheet_of(legs, angles, *, law: Law = LAW, shop: Shop = SHOP, **more):
    """The marked tube of a line in one plane."""
    cal = Calibration({("small", "brake"): law}, pd.DataFrame(), (), (), "", "")
    line = line_from_legs("rear", legs, angles, [0.0] * len(angles), **({"tube": "brake", "bender": "small", "service": "brake"} | more))
    return mark_out(shop, cal, line, trim_mm=0)


def stops(sheet) -> list:
    """The findings that stop a line, those of either end leading included."""
    return [one for one in (*findings(sheet), *feeds_allowed(sheet)[1]) if one.stops]


def test_a_line_that_keeps_all_rules_is_stopped_by_none() -> None:
    """Straights of 44, 28 and 44 mm: only cautions about the radius and the wall are left."""
    sheet = sheet_of([60, 60, 60], [90, 90])
    assert stops(sheet) == []
    assert feeds_allowed(sheet)[0] == ("AB", "AB")
    assert {one.rule for one in findings(sheet)} == {"radius", "wall", "flattening"}


def test_a_straight_between_bends_that_the_bender_cannot_hold_stops_the_line() -> None:
    """43 − 2·16 leaves 11 of 12 mm: 1 mm too little, told with the leg and the column."""
    (one,) = stops(sheet_of([60, 43, 60], [90, 90]))
    assert (one.rule, one.leg, one.source) == ("between bends", 2, "benders.csv, min_between_mm")
    assert one.missing_mm == pytest.approx(1.0)
    assert "leaves 11.0 mm of straight tube between bend 1 and bend 2" in one.sentence and "1.0 mm further apart" in one.sentence
    assert stops(sheet_of([60, 44.0, 60], [90, 90])) == []


@pytest.mark.parametrize(("legs", "allowed"), [([46, 60, 60], ("B", "AB")), ([60, 60, 46], ("AB", "A")), ([46, 60, 46], ("B", "A"))])
def test_a_short_end_leads_the_other_way_round(legs, allowed) -> None:
    """30 mm at an end is too short to be held (40), and long enough to swing (20)."""
    sheet = sheet_of(legs, [90, 90])
    letters, told = feeds_allowed(sheet)
    assert letters == allowed
    assert stops(sheet) == []
    assert {(one.rule, one.source) for one in told} == {("before the first bend", "benders.csv, min_leg_mm")}
    assert all(one.missing_mm == pytest.approx(10) for one in told)


def test_an_end_too_short_either_way_stops_the_line() -> None:
    """15 mm can neither be held (40) nor swing (20): 5 mm longer, and it could."""
    (one,) = stops(sheet_of([31, 60, 60], [90, 90]))
    assert (one.rule, one.leg) == ("after the last bend", 1)
    assert one.missing_mm == pytest.approx(5)
    assert one.sentence.startswith("Bend 1 can be made with neither end leading")
    assert one.source == "benders.csv, min_leg_mm; benders.csv, min_last_mm"


def test_an_end_without_room_for_nut_and_flaring_tool_stops_the_line() -> None:
    """A flare that needs 32 mm on a straight of 30."""
    found = stops(sheet_of([46, 60, 60], [90, 90], end_a="flare"))
    assert [(one.rule, one.leg, one.source, round(one.missing_mm, 6)) for one in found] == [("behind the end", 1, "ends.csv, straight_mm", 2.0)]
    assert "End A (flare) needs 32 mm" in found[0].sentence


def test_a_straight_line_needs_room_for_both_ends_and_should_have_a_bend() -> None:
    """No straight run between two rigid ends (MIL-H-8891A, 3.11.4.5; FAA AC 43.13-1B: read)."""
    found = findings(sheet_of([50], [], end_a="flare", end_b="flare"))
    assert [(one.rule, one.stops) for one in found] == [("behind the end", True), ("no bend", False)]
    assert found[0].missing_mm == pytest.approx(14)
    assert found[1].source == "MIL-H-8891A, 3.11.4.5; FAA AC 43.13-1B"
    assert [one.rule for one in findings(sheet_of([90], []))] == ["no bend"]


def test_a_bend_beyond_either_end_of_the_dial_stops_the_line() -> None:
    """120° on a dial that ends at 110, and 3° on one that reads 5 more than it bends."""
    short = replace(SHOP, benders={"small": replace(BENDER, dial_max_deg=110)})
    (one,) = stops(sheet_of([90, 90], [120], shop=short))
    assert (one.rule, one.source) == ("dial", "benders.csv, dial_max_deg") and "120.0° on the dial" in one.sentence
    ahead = Law.of("small", "brake", [5.0, 1.0, 16.0, 16.0, 2.0], n_offcuts=6, angle_range_deg=(1, 179))
    (one,) = stops(sheet_of([90, 90], [3], law=ahead))
    assert (one.rule, one.source) == ("dial", "the law") and "below its zero" in one.sentence


def test_a_mark_that_would_fall_off_the_tube_bars_that_end() -> None:
    """A mark 50 mm before a bend that starts 44 mm from end A is not on the tube; with end B leading it is."""
    before = Law.of("small", "brake", [0.0, 1.0, 16.0, 16.0, 50.0], n_offcuts=6, angle_range_deg=(1, 179))
    sheet = sheet_of([60, 90, 90], [90, 90], law=before)
    letters, told = feeds_allowed(sheet)
    assert letters == ("B", "AB")
    assert [(one.rule, one.source) for one in told] == [("mark", "the law's mark offset")]
    assert "the mark of bend 1 falls off the tube (-6.0 mm from end A)" in told[0].sentence
    wide = Law.of("small", "brake", [0.0, 1.0, 16.0, 16.0, 300.0], n_offcuts=6, angle_range_deg=(1, 179))
    assert {one.rule for one in stops(sheet_of([60, 90, 90], [90, 90], law=wide))} == {"mark"}


def test_tight_bends_are_cautioned_with_their_source_and_stop_nothing() -> None:
    """Under 25 mm in brake tube (DIN 74234, quoted by a vehicle maker: read); under 3 D (Groover 19.7: read) at 14 mm."""
    found = findings(sheet_of([60, 60], [90]))
    assert [one.source for one in found if one.rule == "radius"] == ["DIN 74234 as quoted by a vehicle maker"]
    tight = Law.of("small", "brake", [0.0, 1.0, 14.0, 14.0, 2.0], n_offcuts=6, angle_range_deg=(1, 179))
    found = findings(sheet_of([60, 60], [90], law=tight))
    assert {one.source for one in found if one.rule == "radius"} == {"DIN 74234 as quoted by a vehicle maker", "Groover, 19.7"}
    assert not any(one.stops for one in found)


def test_the_wall_and_the_diameters_to_look_for_are_told() -> None:
    """t·2k/(2k + 1): 0.71·2·16/(2·16 + 4.76) = 0.618; 75 % of 4.76 is 3.57 (FAA: read), 8 % is 0.38 (ASME B31.3: memory)."""
    tube = SHOP.tubes["brake"]
    assert "from 0.71 to about 0.62 mm (13 % less)" in thinning_sentence(tube, 16.0)
    assert "3.57 mm (75 %" in section_limits_sentence(tube) and "0.38 mm (8 %" in section_limits_sentence(tube)


# --- measured sections --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("largest", "smallest", "published", "collapse"),
    [(22.145797, 21.453291, 0.031511, -0.523025), (22.147194, 21.507501, 0.029108, -0.468815), (22.146727, 21.587299, 0.025456, -0.389017)],
)
def test_ovality_of_measured_rotary_draw_bends(largest: float, smallest: float, published: float, collapse: float) -> None:
    """(Dmax − Dmin)/D₀ and Dmin − D₀ at D₀ = 21.976316 mm, as printed in arXiv 2509.10272 (read)."""
    assert ovality(largest, smallest, 21.976316) == pytest.approx(published, abs=1.1e-6)
    assert smallest - 21.976316 == pytest.approx(collapse, abs=1.1e-6)


def test_a_measured_section_is_held_against_both_limits() -> None:
    """8 % inside, 3 % outside pressure (ASME B31.3: memory); the smallest at least 75 % of the tube's (FAA: read)."""
    tube = Tube("ten", ALLOYS["copper"], 10.0, 1.0)
    assert check_section(tube, 10.4, 9.6) == ()
    assert [s for s in check_section(tube, 10.41, 9.6)] == [
        "The bend is 8.1 % out of round; at most 8 % is allowed in piping under internal pressure (ASME B31.3)."
    ]
    assert len(check_section(tube, 10.2, 9.8, pressure="external")) == 1
    flat = check_section(tube, 11.2, 7.4)
    assert len(flat) == 2 and "less than 75 % of the tube's (7.50 mm): it is scrap (FAA)" in flat[0]


def test_diameters_that_cannot_be_are_refused() -> None:
    """Swapped, nothing, or under a pressure that does not exist."""
    tube = SHOP.tubes["brake"]
    with pytest.raises(ValueError, match="are they swapped"):
        ovality(4.5, 4.9, 4.76)
    with pytest.raises(ValueError, match="more than 0 mm"):
        ovality(4.5, 0, 4.76)
    with pytest.raises(ValueError, match="must be internal or external"):
        check_section(tube, 4.9, 4.5, pressure="none")
