"""The form for lines without a browser: what is typed, what stands in the way, what pressing does, what is on the disk after it."""

import base64
import re
from pathlib import Path

import pytest
from a_shop import write_shop
from hypothesis import given
from hypothesis import strategies as st

import bendcal
from bendcal import forms
from bendcal.entries.line_changing import put_line_aside
from bendcal.entries.line_rows import new_rows, rows_of_line
from bendcal.files.columns import LEGS, LINES, NODES
from bendcal.forms.line_form import LineForm
from bendcal.forms.line_shape import STEP_COLUMNS, STEPS, legs_of, short_legs
from bendcal.forms.line_values import FACTS, LineFacts, LineStep

FACTS_OF_REAR = {"tube": "steel-3", "bender": "small", "service": "brake", "end_a": "m10-double", "end_b": "m10-double"}
LEGS_OF_REAR = (('3 5/8"', "92,5", ""), ("80", "45°", "-90"), ("100 mm", "60", "180"), ("70", "", ""))


@pytest.fixture
def folder(sample_folder: Path) -> Path:
    """A copy of the sample under another name, so that it may be written to."""
    return sample_folder.rename(sample_folder.with_name("shop"))


def fill(boxes, **texts: str) -> None:
    """Type into boxes."""
    for key, text in texts.items():
        boxes[key].value = text


def said(form) -> dict[str, str]:
    """What the form says, without its marks."""
    lines = {kind: " ".join(re.sub("<[^>]+>", " ", line.value).split()) for kind, line in form.notices.lines.items()}
    return {kind: text.replace("&quot;", '"').replace("&#x27;", "'") for kind, text in lines.items() if text}


def begun(folder: Path, name: str = "rear", **facts: str) -> LineForm:
    """The form with a line begun in it."""
    form = LineForm(folder)
    fill(form.boxes, line=name, **FACTS_OF_REAR | facts)
    form.begin.click()
    assert f"{name} is begun." in said(form)["done"], said(form)
    return form


def enter(form: LineForm, *texts: str, box: int = 0) -> None:
    """Type one leg or node, and press Enter."""
    boxes = form.legs.boxes
    fill(boxes, **dict(zip(boxes, texts, strict=False)))
    boxes[list(boxes)[box]]._handle_custom_msg({"event": "submit"}, [])


def entered(folder: Path) -> LineForm:
    """The form with all legs of a line entered."""
    form = begun(folder)
    for leg in LEGS_OF_REAR:
        enter(form, *leg)
    enter(form)  # the last leg is asked about
    return form


# --- what is typed -------------------------------------------------------------------------------


def test_every_column_has_a_box() -> None:
    """Of lines.csv and of both kinds of shape; set_aside has a button of its own."""
    assert set(FACTS) == {column.name for column in LINES} - {"set_aside"} | {"given_by"}
    assert set(STEPS["legs"]) == {column.name for column in LEGS} and set(STEPS["nodes"]) == {column.name for column in NODES}


@pytest.mark.parametrize(
    ("box", "text", "words"),
    [
        ("leg_mm", "92,5", '92.5 mm (about 3 41/64")'),
        ("leg_mm", '1 7/8 in', '47.625 mm (1 7/8")'),
        ("leg_mm", "12 mm", '12 mm (about 15/32")'),
        ("angle_deg", "92.5°", "92.5°"),
        ("twist_deg", "-90", "-90°: 90° anticlockwise of the last one, seen from A"),
        ("twist_deg", "180", "180°: the other way (an offset)"),
        ("twist_deg", "0", "0°: same way as the last bend (a U)"),
    ],
)
def test_what_is_typed_is_said_as_it_will_be_kept(box: str, text: str, words: str) -> None:
    """A twist in words too, for its sign is easily taken for the other."""
    assert LineStep("legs", {box: text}, 2).understood()[box].words == words


@given(st.text(max_size=12), st.sampled_from(["legs", "nodes"]))
def test_nothing_that_is_typed_raises(text: str, kind: str) -> None:
    """Any text in any box is understood, or refused with a sentence."""
    step = LineStep(kind, dict.fromkeys(STEPS[kind], text), 2)
    assert all(each.fine or each.wrong or each.missing for each in step.understood().values())
    assert step.blockers() or all(each.value is not None for name, each in step.understood().items() if STEP_COLUMNS[name].filled)
    assert all(each.fine or each.wrong or each.missing for each in LineFacts(dict.fromkeys(FACTS, text)).understood().values())


@pytest.mark.parametrize(
    ("texts", "told"),
    [
        ({"leg_mm": "9o", "angle_deg": "45", "twist_deg": "0"}, 'Leg: "9o" is not a length.'),
        ({"leg_mm": "1.234,5", "angle_deg": "45", "twist_deg": "0"}, 'Leg: "1.234,5" has a thousands separator'),
        ({"angle_deg": "45", "twist_deg": "0"}, "Still to fill in: Leg."),
        ({"leg_mm": "90", "angle_deg": "45"}, "Still to fill in: Twist from last bend."),
        ({"leg_mm": "90", "angle_deg": "200", "twist_deg": "0"}, "Leg 2, Bend at its end: found 200.0°. A bend turns by more than 0° and less than 180°."),
        ({"leg_mm": "90", "angle_deg": "45", "twist_deg": "270"}, "Leg 2, Twist from last bend: found 270.0°. A twist lies between -180° and 180°. The same turn is -90.0°."),
    ],
)
def test_what_cannot_be_stands_in_the_way(folder: Path, texts: dict, told: str) -> None:
    """What was found, the rule, what to do; the rows stay as they were."""
    form = begun(folder)
    enter(form, *LEGS_OF_REAR[0])
    fill(form.legs.boxes, **texts)
    enter(form)
    assert said(form)["blocked"].startswith("Not recorded.") and told in said(form)["blocked"]
    assert len(rows_of_line(folder, "rear").rows) == 1 and form.legs.boxes.texts["angle_deg"] == texts["angle_deg"]


def test_a_leg_too_short_for_its_bends_is_asked_about() -> None:
    """As soon as both bends are known, whichever is entered last; another leg's trouble is not told again."""
    rows = new_rows("legs").put_in(0, {"leg_mm": 100.0, "angle_deg": 90.0})
    step = LineStep("legs", {"leg_mm": "20", "angle_deg": "90", "twist_deg": "0"}, 2)
    assert step.asked(rows, place=1, radius_mm=15.0) == ("Leg 2 is too short for the bends at its ends, whose radius is 15.0 mm: 10.0 mm is missing.",)
    more = step.within(rows, 1)
    assert LineStep("legs", {"leg_mm": "90", "angle_deg": "30", "twist_deg": "0"}, 3).asked(more, place=2, radius_mm=15.0) == ()
    assert list(short_legs(more, 15.0)) == [2] and step.asked(rows, place=1) == ()


def test_the_shape_so_far_ends_with_the_last_leg() -> None:
    """A bend that leads nowhere yet is not drawn; rows that make no shape make none."""
    rows = new_rows("legs").put_in(0, {"leg_mm": 100.0, "angle_deg": 90.0})
    assert legs_of(new_rows("legs")) is None and legs_of(rows).bends == 0
    assert legs_of(rows.put_in(1, {"leg_mm": 50.0, "angle_deg": 30.0, "twist_deg": 10.0})).bends == 1
    assert legs_of(new_rows("nodes").put_in(0, {"x_mm": 0.0, "y_mm": 0.0, "z_mm": 0.0})) is None


# --- at work -------------------------------------------------------------------------------------


def test_a_line_is_entered_leg_by_leg(folder: Path) -> None:
    """Each on the disk, said with the time, in the table; boxes empty; the picture grows; complete, it counts."""
    form = begun(folder)
    assert form.view.picture.value == "" and form.boxes["tube"].value == "steel-3/16"
    pictures = []
    for number, leg in enumerate(LEGS_OF_REAR, start=1):
        enter(form, *leg)
        if not leg[1]:
            assert "leg 4 is the last one then, and ends at end B. If it is so, press Enter once more." in said(form)["asked"]
            enter(form)
        assert re.match(rf"\d\d:\d\d:\d\d\. Recorded as leg {number} of rear: ", said(form)["done"])
        assert len(rows_of_line(folder, "rear").rows) == number
        assert set(form.legs.boxes.texts.values()) == {""}
        pictures.append(form.view.picture.value)
    assert len(set(pictures)) == 4 and 'width="408"' in pictures[-1]
    assert "92.075" in form.view.table.value and "rear: being entered" in form.view.table.value
    assert "rear" not in bendcal.read_shop(folder).lines
    form.legs.complete.click()
    assert "rear is complete: 4 legs. It counts from now on." in said(form)["done"]
    line = bendcal.read_shop(folder).lines["rear"]
    assert line.legs.leg_mm.tolist() == [92.075, 80, 100, 70] and line.legs.twist_deg.tolist() == [0, -90, 180]
    assert (line.service, line.tube, line.end_a) == ("brake", "steel-3/16", "m10-double")


def test_a_line_is_entered_node_by_node(folder: Path) -> None:
    """The seat first; the boxes are those of a node."""
    form = begun(folder, given_by="nodes")
    assert list(form.legs.boxes) == ["x_mm", "y_mm", "z_mm", "label"] and form.legs.record.description == "Record node 1"
    enter(form, "0", "0", "0", "union")
    form.legs.complete.click()
    assert "A line has at least two nodes" in said(form)["blocked"]
    for node in (("4 in", "0", "0"), ("4 in", "80,5", "0")):
        enter(form, *node)
    form.legs.complete.click()
    line = bendcal.read_shop(folder).lines["rear"]
    assert line.legs.leg_mm.tolist() == [101.6, 80.5] and line.legs.angle_deg.tolist() == [90] and line.labels[0] == "union"


def test_what_is_missing_is_told_before_a_line_is_begun(folder: Path) -> None:
    """A new name empties what belongs to the old line; what the line carries is always asked for in words."""
    form = LineForm(folder)
    assert form.opened.name == "fuel-feed" and form.begin.description == "Record what fuel-feed is made of"
    fill(form.boxes, line="rear", service="")
    form.begin.click()
    assert said(form)["blocked"] == "Not recorded. Still to fill in: It carries."
    fill(form.boxes, service="water")
    assert "is none of: brake, clutch, fuel, other" in form.boxes._beside["service"].value
    assert "rear" not in form.opened.names


def test_half_a_line_is_found_again(folder: Path) -> None:
    """After a restart the form opens the line that is being entered, with all its legs."""
    form = begun(folder)
    enter(form, *LEGS_OF_REAR[0])
    again = LineForm(folder)
    assert again.opened.name == "rear" and "92.075" in again.view.table.value and again.legs.record.description == "Record leg 2"
    assert forms.enter_lines(folder, "clutch") is not None and LineForm(folder, "clutch").opened.name == "clutch"


def test_the_last_leg_is_taken_back_into_the_boxes(folder: Path) -> None:
    """Its row is gone from the file and stays in the history."""
    form = entered(folder)
    form.legs.back.click()
    assert form.legs.boxes.texts["leg_mm"] == "70" and len(rows_of_line(folder, "rear").rows) == 3
    assert "leg 4 taken out,70 mm" in (folder / "lines.history.csv").read_text(encoding="utf-8")


def test_a_leg_is_corrected_and_the_old_one_stays_in_the_history(folder: Path) -> None:
    """Before the line is complete and after."""
    form = entered(folder)
    for complete in (False, True):
        if complete:
            form.legs.complete.click()
        form.legs.pick["step"].value = "2"
        form.legs.correct.click()
        assert "Leg 2 stands in the boxes." in said(form)["asked"] and form.legs.record.description == "Record leg 2"
        fill(form.legs.boxes, leg_mm="85" if complete else "82")
        enter(form)
        assert "Recorded as leg 2 of rear:" in said(form)["done"]
    assert bendcal.read_shop(folder).lines["rear"].legs.leg_mm[1] == 85
    told = (folder / "lines.history.csv").read_text(encoding="utf-8")
    assert '"80 mm, 45°, -90° twist","82 mm, 45°, -90° twist"' in told and '"82 mm, 45°, -90° twist","85 mm, 45°, -90° twist"' in told


def test_a_leg_that_was_left_out_is_put_in_and_one_too_many_taken_out(folder: Path) -> None:
    """In the middle of the line; a correction can be left."""
    form = entered(folder)
    form.legs.pick["step"].value = "2"
    form.legs.before.click()
    assert form.legs.record.description == "Put it in as leg 2"
    enter(form, "55", "30", "10")
    assert [row["leg_mm"] for row in rows_of_line(folder, "rear").texts] == ["92.075", "55", "80", "100", "70"]
    form.legs.pick["step"].value = "2"
    form.legs.out.click()
    assert [row["leg_mm"] for row in rows_of_line(folder, "rear").texts] == ["92.075", "80", "100", "70"]
    form.legs.pick["step"].value = "1"
    form.legs.correct.click()
    form.legs.leave.click()
    assert "rear is as it was." in said(form)["done"] and form.legs.boxes.texts["leg_mm"] == ""
    form.legs.out.click()
    assert "Write its number in the table under “Which one” first." in said(form)["blocked"]


def test_a_complete_line_is_not_spoilt_in_passing(folder: Path) -> None:
    """Its last leg cannot be taken out; to go on with it, that is said first, and meanwhile it does not count."""
    form = entered(folder)
    form.legs.complete.click()
    form.legs.pick["step"].value = "4"
    form.legs.out.click()
    assert "Leg 3, Bend at its end: found 60.0°. The last row has a leg only" in said(form)["blocked"]
    form.legs.more.click()
    assert "does not count until it is complete" in said(form)["done"] and "rear" not in bendcal.read_shop(folder).lines
    enter(form, "40", "20", "0")
    assert "No bend stands at the end of leg 4, so the line ends there. Correct leg 4 first" in said(form)["blocked"]


def test_a_line_that_ends_with_a_bend_is_not_complete(folder: Path) -> None:
    """What to do is said."""
    form = begun(folder)
    enter(form, *LEGS_OF_REAR[0])
    form.legs.complete.click()
    assert said(form)["blocked"].startswith("Not complete. Leg 1 has a bend at its end, and nothing after it.")


def test_what_a_line_is_made_of_can_be_changed(folder: Path) -> None:
    """The old value stays in the history; what the shop does not have is refused."""
    form = LineForm(folder, "clutch")
    fill(form.boxes, note="by the pedal box")
    form.begin.click()
    assert "What clutch is made of is recorded." in said(form)["done"] and bendcal.read_shop(folder).lines["clutch"].note == "by the pedal box"
    fill(form.boxes, tube="brass")
    form.begin.click()
    assert "There is no tube of that name." in said(form)["blocked"]


def test_a_line_is_renamed_and_set_aside_and_counts_again(folder: Path) -> None:
    """Each with its words; without a reason, or a name, it is not."""
    form = LineForm(folder, "clutch")
    form.whole.rename.click()
    assert "Write the new name under “Another name” first." in said(form)["blocked"]
    fill(form.whole.boxes, name="clutch pipe")
    form.whole.rename.click()
    assert "clutch is called clutch pipe now." in said(form)["done"] and form.boxes["line"].value == "clutch pipe"
    form.whole.aside.click()
    assert "Write under “Because” why clutch pipe is not to be made." in said(form)["blocked"]
    fill(form.whole.boxes, reason="hose instead")
    form.whole.aside.click()
    assert bendcal.read_shop(folder).lines_aside == {"clutch pipe": "hose instead"} and form.whole.make.layout.display == "none"
    form.whole.again.click()
    assert "clutch pipe counts again." in said(form)["done"] and "clutch pipe" in bendcal.read_shop(folder).lines


def test_a_mirrored_copy_is_written_as_a_line_of_its_own(folder: Path) -> None:
    """It is open then; a name that is taken is refused."""
    form = LineForm(folder, "clutch")
    form.whole.mirror.click()
    assert "Write the copy's name under “Another name” first." in said(form)["blocked"]
    fill(form.whole.boxes, name="fuel-feed")
    form.whole.mirror.click()
    assert "There is a line called 'fuel-feed'" in said(form)["blocked"]
    fill(form.whole.boxes, name="clutch right", plane="X")
    form.whole.mirror.click()
    shop = bendcal.read_shop(folder)
    assert "clutch right is clutch seen in a mirror square to x." in said(form)["done"] and form.opened.name == "clutch right"
    assert (shop.lines["clutch right"].legs.twist_deg == -shop.lines["clutch"].legs.twist_deg).all()


def test_a_sheet_is_made_and_can_be_kept(folder: Path) -> None:
    """The link holds the very file; the cautions, the cut and the marks are shown with it."""
    form = LineForm(folder, "brake-near-side")
    form.whole.make.click()
    assert "The sheet of brake-near-side is made:" in said(form)["done"]
    shown = form.whole.sheet.value
    assert "Brake work can kill" in shown and "Cut the tube" in shown
    links = dict(re.findall(r'download="([^"]+)" href="data:[^,]+,([^"]+)"', shown))
    assert base64.b64decode(links["brake-near-side.pdf"]) == (folder / "sheets/brake-near-side.pdf").read_bytes()
    fill(form.boxes, line="clutch")
    assert form.whole.sheet.value == ""


def test_a_line_that_cannot_be_bent_gets_no_sheet(folder: Path) -> None:
    """What stands in the way is said."""
    form = begun(folder)
    for leg in (("60", "90", ""), ("12", "90", "0"), ("60", "", "")):
        enter(form, *leg)
        enter(form)
    form.legs.complete.click()
    form.whole.make.click()
    assert said(form)["blocked"] and not (folder / "sheets/rear.pdf").exists()


def test_two_notebooks_see_one_another(folder: Path) -> None:
    """A leg from elsewhere is in the table after the next press, and is not lost by what is recorded here."""
    one, two = begun(folder), LineForm(folder)
    enter(two, *LEGS_OF_REAR[0])
    enter(one, *LEGS_OF_REAR[1])
    assert [row["leg_mm"] for row in rows_of_line(folder, "rear").texts] == ["92.075", "80"]
    two.read.click()
    assert "80" in two.view.table.value
    put_line_aside(folder, "rear", "hose instead")
    two.read.click()
    assert "rear: set aside, hose instead" in two.view.table.value


def test_the_sample_stays_as_it_is(sample_folder: Path) -> None:
    """The copy is written to instead."""
    before = {path: path.read_bytes() for path in sample_folder.rglob("*.csv")}
    form = LineForm(sample_folder)
    fill(form.boxes, line="rear", **FACTS_OF_REAR)
    form.begin.click()
    assert "This is the shipped sample, and it stays as it is." in said(form)["blocked"]
    fill(form.boxes, line="clutch")
    for press in (form.legs.more, form.whole.make, form.begin):
        press.click()
        assert "This is the shipped sample" in said(form)["blocked"]
    assert {path: path.read_bytes() for path in sample_folder.rglob("*.csv")} == before and not (sample_folder / "sheets").exists()
    form.practise.click()
    assert form.opened.now.folder.name == "practice_shop" and form.practise.layout.display == "none"


def test_a_shop_that_cannot_be_read_says_so(tmp_path: Path) -> None:
    """And the lines that it names can still be chosen."""
    form = LineForm(write_shop(tmp_path, tools="tool,measures\n"))
    assert "The shop folder cannot be read as a whole" in said(form)["blocked"] and form.opened.names == ["rear", "front"]
    empty = LineForm(tmp_path / "no such folder")
    assert "no such folder" in said(empty)["blocked"] and empty.opened.names == []


def test_what_is_left_out_of_the_shop_is_told_where_it_is_in_the_way(tmp_path: Path) -> None:
    """A faulty table of ends is in the way of every line that has ends; a line's own faults stand beside its rows."""
    form = LineForm(write_shop(tmp_path, ends="end,form\n"))
    assert "get no sheet until this is put right" in said(form)["blocked"] and "ends.csv, row 1, column uses_mm" in said(form)["blocked"]
    form = LineForm(write_shop(tmp_path, lines__front="leg_mm,angle_deg,twist_deg\n100,90,0\n80,45,\n120,,\n"))
    assert "blocked" not in said(form)
    fill(form.boxes, line="front")
    assert "In the way of its sheet: lines/front.csv, row 3, column twist_deg" in form.view.table.value
    fill(form.boxes, line="rear")
    assert "In the way" not in form.view.table.value
