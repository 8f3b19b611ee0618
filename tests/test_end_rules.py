"""Rules for ends: what is refused, what is warned of, with which source; the nut's way; the order that follows from it."""

from dataclasses import replace

import pytest

from bendcal.ends import PLAIN, End
from bendcal.feasible.end_rules import check_ends, form_findings, nut_findings
from bendcal.feasible.rules import findings
from bendcal.lines import line_from_legs
from bendcal.marks import MarkSheet, mark_out
from bendcal.materials import ALLOYS
from bendcal.order import cautions, line_cautions, order_of_work
from bendcal.tubes import Tube
from tests.drawing import CAL, SHOP

STEEL = Tube("steel", ALLOYS["low-carbon steel"], 4.76, 0.71)
DOUBLE, SINGLE, OLIVE = End("d", "double flare", 5.0), End("s", "single flare", 4.0), End("o", "olive", 6.0)


def line(service: str = "brake", **facts: object):
    """A line of one bend."""
    return line_from_legs("l", [90, 60], [90], [0], **({"tube": "steel", "bender": "small", "service": service} | facts))


def told(service: str, *ends: End, tube: Tube = STEEL) -> list[tuple[str, bool, str]]:
    """Rule, whether it stops, and source of each finding."""
    return [(one.rule, one.stops, one.source) for one in form_findings(line(service), tube, ends)]


def sheet(leg_mm: tuple = (90, 60), *, trim_at: str = "B", angle_deg: tuple = (90,), **ends: End) -> MarkSheet:
    """A marked line with these ends; the bend's setback is 15.4 mm."""
    shop = replace(SHOP, ends={"a": ends.get("a", DOUBLE), "b": ends.get("b", DOUBLE)})
    one = line_from_legs("l", leg_mm, angle_deg, [0] * len(angle_deg), tube="steel", bender="small", service="brake", end_a="a", end_b="b", trim_at=trim_at)
    return mark_out(shop, CAL, one)


# --- forms ----------------------------------------------------------------------------------------


def test_flares_that_are_in_order_are_not_spoken_of() -> None:
    """A double and a bubble flare of steel are in order whatever flows."""
    for service in ("brake", "clutch", "fuel", "other"):
        assert told(service, DOUBLE, End("b", "bubble flare", 4.0)) == []


def test_an_olive_stops_a_brake_line_and_warns_on_a_clutch_line() -> None:
    """Refused on brakes (UK MOT manual 2012, 3.6: read); on a clutch line a warning by the same token; on fuel in order."""
    assert told("brake", DOUBLE, OLIVE) == [("olive", True, "UK MOT manual 2012, 3.6")]
    assert told("clutch", OLIVE, DOUBLE) == [("olive", False, "common practice; for brakes UK MOT manual 2012, 3.6")]
    assert told("fuel", OLIVE, OLIVE) == []
    (both,) = form_findings(line(), STEEL, (OLIVE, OLIVE))
    assert both.sentence.startswith("End A and end B of this brake line is an olive.")


def test_copper_cracks_everywhere_and_is_refused_on_hydraulics() -> None:
    """FAA AC 65-9A (read) for every service; common practice for brakes and clutch; never copper-nickel."""
    copper = Tube("c", ALLOYS["copper"], 4.76, 0.9)
    cracks, refused = ("copper", False, "FAA AC 65-9A"), ("copper", False, "common practice")
    assert told("fuel", DOUBLE, DOUBLE, tube=copper) == [cracks]
    assert told("brake", DOUBLE, DOUBLE, tube=copper) == told("clutch", DOUBLE, DOUBLE, tube=copper) == [cracks, refused]
    assert told("brake", DOUBLE, DOUBLE, tube=Tube("n", ALLOYS["copper-nickel 90/10"], 4.76, 0.71)) == []


@pytest.mark.parametrize("words", ["brazed double wall, plated", "Double-Wall"])
def test_a_single_flare_is_warned_of_and_the_double_wall_named(words: str) -> None:
    """Common practice, so no more than a warning; the tube's own note or temper says that its wall is double."""
    for tube in (replace(STEEL, note=words), replace(STEEL, temper=words)):
        (one,) = form_findings(line(), tube, (SINGLE, DOUBLE))
        assert one.sentence.startswith("End A of this brake line is a single flare of double-wall tube:")
        assert (one.stops, one.source) == (False, "common practice")
    (one,) = form_findings(line(), STEEL, (SINGLE, DOUBLE))
    assert "double-wall" not in one.sentence
    assert told("fuel", SINGLE, SINGLE) == []


def test_a_plain_end_of_a_brake_line_is_asked_about() -> None:
    """An end that nobody named holds no pressure; on a fuel line a hose may go over it."""
    assert told("brake", PLAIN, DOUBLE) == [("plain end", False, "common practice")]
    assert told("fuel", PLAIN, PLAIN) == []


# --- the nut ----------------------------------------------------------------------------------------


def test_a_bend_in_the_way_of_the_nut_stops_the_line() -> None:
    """Legs of 90 and 60 mm with a setback of 15.4 leave 74.6 and 44.6 mm: a nut that needs 50 has its way at A, not at B."""
    for needs, rules in ((44.5, []), (44.7, ["B"]), (50.0, ["B"]), (74.7, ["A", "B"])):
        nut = replace(DOUBLE, nut_mm=needs)
        assert [one.sentence[15] for one in nut_findings(sheet(a=nut, b=nut))] == rules
    (one,) = nut_findings(sheet(b=replace(DOUBLE, nut_mm=50.0)))
    assert (one.stops, one.source, one.leg, round(one.missing_mm, 3)) == (True, "ends.csv, nut_mm", 2, 5.4)
    assert "bend 1 begins after 44.6 mm. Make leg 2 5.4 mm longer." in one.sentence


def test_a_nut_of_which_nothing_is_known_is_not_judged() -> None:
    """Without nut_mm there is no finding, however near the bend."""
    assert nut_findings(sheet((30, 30))) == ()


def test_two_nuts_share_a_line_without_bends() -> None:
    """50 mm of straight tube hold two nuts of 25 mm, not two of 26."""
    for needs, count in ((25.0, 0), (26.0, 1)):
        nut = replace(DOUBLE, nut_mm=needs)
        assert len(nut_findings(sheet((50,), angle_deg=(), a=nut, b=nut))) == count


def test_what_stops_comes_first() -> None:
    """The gravest finding leads, whatever rule it is of."""
    found = check_ends(sheet(a=SINGLE, b=replace(DOUBLE, nut_mm=50.0)))
    assert [(one.rule, one.stops) for one in found] == [("nut", True), ("single flare", False)]


def test_the_sheet_warns_of_straight_tube_that_the_nut_needs() -> None:
    """The longer of straight_mm and nut_mm is what must be left behind an end."""
    end = End("e", "double flare", 5.0, straight_mm=20.0, nut_mm=50.0)
    assert end.behind_mm == 50.0
    assert any("Leg 2" in text and "50.0 mm are needed" in text for text in sheet(b=end).warnings)
    assert not any("Leg 2" in text for text in sheet(b=replace(end, nut_mm=None)).warnings)


def test_a_nut_of_no_length_is_refused() -> None:
    """nut_mm is more than 0, or left out."""
    with pytest.raises(ValueError, match="nut_mm is 0.0; it must be more than 0, or left out"):
        End("e", "olive", 5.0, nut_mm=0.0)


# --- where a person reads it ---------------------------------------------------------------------------


def test_every_finding_stands_among_the_cautions_with_its_source() -> None:
    """Brake work can kill comes first, an olive second, then the nut; a source that can be looked up is named."""
    one = sheet(a=OLIVE, b=replace(SINGLE, nut_mm=50.0))
    said = [str(notice) for notice in cautions(one)]
    assert said[0].startswith("Brake work can kill")
    assert said[1] == "End A of this brake line is an olive. Olives are not suitable on hydraulic brake lines: use a flare. (UK MOT manual 2012, 3.6)"
    assert said[2].startswith("The nut of end B (s) needs 50 mm") and said[2].endswith("(ends.csv, nut_mm)")
    assert len(said) == len(set(said))
    for finding in check_ends(one):
        assert sum(finding.sentence in text for text in said) == 1


def test_without_its_ends_a_line_is_not_accused() -> None:
    """A line of which no ends are known gets the general caution alone."""
    assert not [notice for notice in line_cautions(line(), STEEL) if "End A" in notice.sentence]


# --- the order that follows from it -----------------------------------------------------------------------


@pytest.mark.parametrize("trim_at", ["A", "B"])
def test_an_end_too_near_its_bend_for_the_tool_is_formed_before_it_is_bent(trim_at: str) -> None:
    """44.6 mm hold the nut (40) but not the tool (60): trimmed, nut on and flared while straight; then nothing is trimmed."""
    near = End("n", "double flare", 5.0, straight_mm=60.0, nut_mm=40.0)
    legs = (90, 60) if trim_at == "B" else (60, 90)
    one = sheet(legs, trim_at=trim_at, **{trim_at.lower(): near})
    tasks = [step.task for step in order_of_work(one)]
    assert len(tasks) == len(set(tasks))
    at = {task: k for k, task in enumerate(tasks)}
    assert at["mark"] < at["trim"] < at[f"nut {trim_at}"] < at[f"form {trim_at}"] < at["bend"] < at["check"] < at["fit up"]
    said = {step.task: step.sentence for step in order_of_work(one)}
    assert "bend 1 leaves only 44.6 mm behind the seat" in said["trim"]
    assert "cannot pass bend 1 later; make sure that both nuts are on" in said[f"nut {trim_at}"]
    (finding,) = [each for each in findings(one) if each.rule == "behind the end"]
    assert not finding.stops
    assert "while the tube is straight" in finding.sentence


def test_where_neither_nut_nor_tool_has_room_nothing_is_put_off() -> None:
    """A bend in the way of the nut itself stops the line, and the order stays the usual one."""
    one = sheet(b=End("n", "double flare", 5.0, straight_mm=60.0, nut_mm=50.0))
    tasks = [step.task for step in order_of_work(one)]
    assert tasks.index("bend") < tasks.index("trim") < tasks.index("form B")
    assert [each.stops for each in findings(one) if each.rule == "behind the end"] == [True]


def test_the_first_nut_is_put_on_before_the_bend_that_would_stop_it() -> None:
    """The end that is formed first says which bend its nut cannot pass: bend 1 from A, the last from B."""
    for trim_at, nut, bend in (("B", "nut A", "bend 1"), ("A", "nut B", "bend 2")):
        one = sheet((90, 80, 70), angle_deg=(90, 45), trim_at=trim_at)
        said = {step.task: step.sentence for step in order_of_work(one)}
        assert f"it cannot pass {bend} later" in said[nut]
