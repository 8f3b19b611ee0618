"""The order of work and the cautions: nothing trapped, nothing forgotten, every source named."""

from itertools import product

import pytest

from bendcal.marks import MarkSheet
from bendcal.order import Notice, cautions, line_cautions, order_of_work
from tests.drawing import SHOP, line, sheet

ENDS = ("double", "ring", "")
SHEETS = [
    sheet(shape, end_a=end_a, end_b=end_b, trim_at=trim_at, service="fuel")
    for shape, end_a, end_b, trim_at in product(("none", "one", "six"), ENDS, ENDS, "AB")
]


def tasks(one: MarkSheet) -> list[str]:
    """The names of the tasks, in order."""
    return [step.task for step in order_of_work(one)]


@pytest.mark.parametrize("one", SHEETS, ids=lambda one: f"{one.line.line}-{one.end_a.end}-{one.end_b.end}-{one.line.trim_at}")
def test_no_order_traps_a_nut_or_loses_a_mark(one: MarkSheet) -> None:
    """Nut before flare at both ends, marks before anything is formed or bent, the trimmed end formed after the trim."""
    todo = tasks(one)
    assert len(todo) == len(set(todo))
    at = {task: k for k, task in enumerate(todo)}
    for letter, end in (("A", one.end_a), ("B", one.end_b)):
        assert (f"nut {letter}" in at) == (end.form != "plain")
        assert (f"form {letter}" in at) == end.is_flare
        if end.is_flare:
            assert at[f"nut {letter}"] == at[f"form {letter}"] - 1
    assert ("mark" in at) == ("bend" in at) == ("draw line" in at) == (one.legs.bends > 0)
    if one.legs.bends:
        shaping = [at[task] for task in ("bend", "form A", "form B") if task in at]
        assert at["cut"] < at["deburr"] < at["draw line"] < at["mark"] < min(shaping)
        assert at["bend"] < at["check"] < at["fit up"]
    assert at["fit up"] < at["trim"]
    last, first = (one.line.trim_at, "B" if one.line.trim_at == "A" else "A")
    for task in (f"nut {last}", f"form {last}"):
        assert at.get(task, at["trim"]) >= at["trim"]
    for task in (f"nut {first}", f"form {first}"):
        assert at.get(task, 0) < at.get("bend", at["fit up"])
    assert todo[0] == "tube"
    assert todo[-3:] == ["clean", "fit", "pressure-test"]


def test_the_sentences_carry_the_sheet_s_own_numbers() -> None:
    """Cut length, number of marks, what an end uses and the spare tube stand in the sentences."""
    one = sheet("six")
    said = {step.task: step.sentence for step in order_of_work(one)}
    assert f"Cut {one.cut_length_mm:.1f} mm" in said["cut"]
    assert "all 6 marks" in said["mark"]
    assert "each measured from the cut end A" in said["mark"]
    assert "double flare at end A; it uses 5 mm" in said["form A"]
    assert "Cut end B 4 mm beyond that mark" in said["trim"]
    assert f"about {one.trim_mm:g} mm of spare tube" in said["trim"]
    assert "both nuts are on" in said["nut B"]
    assert "end B leading" not in said["bend"]
    assert all(sentence[0].isupper() and sentence.endswith(".") for sentence in said.values())


def test_a_tube_turned_end_for_end_is_said_before_bending() -> None:
    """Where a bend is made with end B leading, the bending step says so."""
    said = {step.task: step.sentence for step in order_of_work(sheet("six", "AAABBB"))}
    assert "end B leading" in said["bend"]


def test_one_and_two_bends_read_as_one_and_two() -> None:
    """Few bends are not counted as a range."""
    for shape, mark, bend in (("one", "Put the mark on", "Make the bend with end A leading."), ("two", "Put both marks on", "Make bends 1 and 2 in this order")):
        said = {step.task: step.sentence for step in order_of_work(sheet(shape))}
        assert said["mark"].startswith(mark)
        assert said["bend"].startswith(bend)


def test_an_olive_is_slid_on_behind_its_nut() -> None:
    """An olive end has one step: nut, then olive."""
    said = {step.task: step.sentence for step in order_of_work(sheet("one", end_a="ring", service="fuel"))}
    assert "its thread towards end A, then the olive" in said["nut A"]


def test_brake_and_fuel_lines_have_their_own_last_word() -> None:
    """A brake line is checked by someone licensed; a fuel line is kept from flames."""
    assert "licensed" in order_of_work(sheet("one"))[-1].sentence
    assert "flame" in order_of_work(sheet("one", service="fuel"))[-1].sentence


def test_a_brake_line_begins_with_the_gravest_caution() -> None:
    """Brake work can kill is the first sentence, and olives are ruled out with their source."""
    said = cautions(sheet("two"))
    assert said[0].sentence.startswith("Brake work can kill")
    assert Notice("Olives (separate ferrules) are not suitable on hydraulic brake lines.", "UK MOT manual 2012, 3.6") in said
    assert any("approved" in notice.sentence and notice.source == "Pa. Code 175.64" for notice in said)
    assert [notice for notice in said if "Pressure-test" in notice.sentence]
    assert [notice for notice in said if "kinked" in notice.sentence]


def test_an_olive_on_a_brake_line_is_named() -> None:
    """An olive that is in the way of a brake line is named by its end; on a fuel line nothing is said."""
    on_brakes = [str(notice) for notice in cautions(sheet("one", end_b="ring"))]
    assert any(text.startswith("End B of this brake line is an olive.") and "UK MOT manual 2012, 3.6" in text for text in on_brakes)
    assert not any("livet" in text or "Olives" in text for text in map(str, cautions(sheet("one", end_b="ring", service="fuel"))))


def test_plain_copper_is_warned_of_with_its_source() -> None:
    """Copper cracks under vibration whatever it carries; only on hydraulics it is refused."""
    for service, refused in (("brake", True), ("clutch", True), ("fuel", False)):
        said = [str(notice) for notice in line_cautions(line("one", tube="copper", service=service), SHOP.tubes["copper"])]
        assert "Plain copper hardens and cracks under vibration. (FAA AC 65-9A)" in said
        assert any("refused for brake lines" in text for text in said) == refused
    assert not any("copper" in str(notice) for notice in cautions(sheet("one")))


def test_a_tight_radius_is_warned_of_only_where_something_is_bent() -> None:
    """The radius of 15.4 mm is too small for metric brake tube; a line without bends has no radius."""
    tight = [str(notice) for notice in cautions(sheet("one"))]
    assert any("15.4 mm is less than the 25 mm" in text for text in tight)
    assert not any("25 mm" in str(notice) for notice in cautions(sheet("none")))


def test_the_flattest_bend_allowed_is_given_in_mm() -> None:
    """75 % of the diameter (FAA, read) is 3.6 mm for a 4.76 mm tube."""
    assert any("3.6 mm here" in notice.sentence and notice.source == "FAA" for notice in cautions(sheet("one")))
