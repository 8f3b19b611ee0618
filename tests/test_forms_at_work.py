"""The forms at work without a browser: what pressing and typing does, with every handler called as the page calls it."""

import re
from pathlib import Path

import pytest
from a_shop import write_shop

import bendcal
from bendcal import forms
from bendcal.entries.adding import FACT_COLUMNS, add_row
from bendcal.entries.appending import append_offcut
from bendcal.entries.line_changing import put_line_aside
from bendcal.forms import offcut_form as module
from bendcal.forms.begin_form import BeginForm
from bendcal.forms.echo import Echo
from bendcal.forms.guard import ERRORS
from bendcal.forms.line_form import LineForm
from bendcal.forms.offcut_form import OffcutForm
from bendcal.forms.row_form import FactsForm, RowForm
from bendcal.forms.saying import Notices, picture_html
from bendcal.forms.shop_now import ShopNow

ROOT = Path(__file__).resolve().parent.parent
STEEL = {"length_mm": "180", "mark_mm": "70", "dial_deg": "92", "angle_deg": "86,5", "leg_a_mm": "89", "leg_b_mm": "98"}


@pytest.fixture
def folder(sample_folder: Path) -> Path:
    """A copy of the sample under another name, so that it may be written to."""
    return sample_folder.rename(sample_folder.with_name("shop"))


def form_on(folder: Path, **seconds) -> OffcutForm:
    """The form, set to steel on the small bender."""
    return OffcutForm(folder, "small", "steel-3/16", **seconds)


def fill(form: OffcutForm | RowForm, /, **texts: str) -> None:
    """Type into boxes."""
    for key, text in texts.items():
        form.boxes[key].value = text


def enter(form: OffcutForm, box: str = "leg_b_mm") -> None:
    """Press Enter in a box, as the page reports it."""
    form.boxes[box]._handle_custom_msg({"event": "submit"}, [])


def said(form) -> dict[str, str]:
    """What the form says, without its marks."""
    return {kind: " ".join(re.sub("<[^>]+>", " ", line.value).split()) for kind, line in form.notices.lines.items()}


def names(folder: Path) -> list[str]:
    """The offcuts of the log."""
    return [o.offcut for o in bendcal.read_shop(folder).offcuts]


# --- recording -----------------------------------------------------------------------------------


def test_enter_records_and_clears_and_teaches(folder: Path) -> None:
    """On the disk, said with time and count, boxes empty, what stays stays, law and picture refreshed."""
    form = form_on(folder)
    words, picture = form.lesson.words.value, form.lesson.picture.value
    fill(form, **STEEL)
    enter(form)
    assert names(folder)[-1] == "S10"
    assert re.match(r"\d\d:\d\d:\d\d\. Recorded as S10: steel-3/16 on small, 180 mm long, mark at 70 mm, dial 92°, finished 86.5°", said(form)["done"])
    assert "Write S10 on the piece. 38 pieces stand in offcuts.csv, 1 set aside." in said(form)["done"]
    assert {key: form.boxes[key].value for key in STEEL} == dict.fromkeys(STEEL, "")
    assert (form.boxes["tube"].value, form.boxes["angle_tool"].value) == ("steel-3/16", "protractor")
    assert form.lesson.words.value != words and form.lesson.picture.value != picture
    assert "S10" in form.earlier.table.value
    assert not form.boxes["length_mm"].disabled and not form.record.disabled


def test_a_picture_has_a_size_and_says_what_it_shows(folder: Path) -> None:
    """So nothing moves when it changes, and who cannot see it is told."""
    form = form_on(folder)
    assert re.match(r'<img src="data:image/png;base64,[\w+/=]+" alt="small with steel-3/16: springback [^"]+" width="680" height="320">', form.lesson.picture.value)
    law = bendcal.calibrate(form.now.shop).law("small", "steel-3/16")
    from bendcal.figures.fit import law_fit

    picture = law_fit(law, form.now.shop, lengths=False)
    picture.alt = 'a "sharp" <corner>'
    assert 'alt="a &quot;sharp&quot; &lt;corner&gt;"' in picture_html(picture)


def test_what_stands_in_the_way_is_told_and_nothing_is_written(folder: Path) -> None:
    """As an alert, beside the box that it is about, with the boxes as they were."""
    form = form_on(folder)
    fill(form, **STEEL | {"angle_deg": "110"})
    enter(form)
    assert said(form)["blocked"].startswith("Not recorded. Finished angle: 110.0° at a dial of 92.0°. A bend does not finish further")
    assert 'role="alert"' in form.notices.lines["blocked"].value
    assert "in the way" in form.boxes._beside["angle_deg"].value
    assert form.boxes["angle_deg"].value == "110" and names(folder)[-1] == "F6"
    fill(form, angle_deg="86")
    assert said(form)["blocked"] == "" and form.boxes._beside["angle_deg"].value == "<span>= 86°</span>"


def test_what_was_not_understood_is_said_beside_the_box_at_once(folder: Path) -> None:
    """In words, and not by a colour."""
    form = form_on(folder)
    fill(form, dial_deg="1.234,5")
    assert "Not understood." in form.boxes._beside["dial_deg"].value
    fill(form, dial_deg="92,5")
    assert form.boxes._beside["dial_deg"].value == "<span>= 92.5°</span>"


def test_a_question_needs_a_second_enter_on_the_same_readings(folder: Path) -> None:
    """Asked once; typed anew it is asked anew; pressed twice it is recorded, and asked about beside the law."""
    form = form_on(folder)
    fill(form, **STEEL | {"angle_deg": "68"})
    enter(form)
    assert "by the other pieces the next bend would finish at" in said(form)["asked"] or "Springback is 26 %" in said(form)["asked"]
    assert "press Enter once more. It is not recorded yet." in said(form)["asked"]
    assert names(folder)[-1] == "F6"
    fill(form, note="looks right to me")
    enter(form)
    assert names(folder)[-1] == "F6"
    enter(form)
    assert names(folder)[-1] == "S10" and said(form)["asked"] == ""
    assert "Offcut S10: the angle disagrees" in form.lesson.asked.value and "If it is right as it stands, leave it" in form.lesson.asked.value


def test_the_very_same_again_within_a_minute_is_questioned(folder: Path) -> None:
    """Later it is not."""
    now = [100.0]
    form = form_on(folder, seconds=lambda: now[0])
    fill(form, **STEEL)
    enter(form)
    now[0] += 3
    fill(form, **STEEL)
    enter(form)
    assert "The very same readings were recorded 3 s ago as S10. Is this a second piece?" in said(form)["asked"]
    assert names(folder)[-1] == "S10"
    enter(form)
    assert names(folder)[-1] == "S11"
    now[0] += 61
    fill(form, **STEEL)
    enter(form)
    assert names(folder)[-1] == "S12"


def test_a_double_press_is_one_press(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """While the page is asked whether all has arrived, boxes are locked, and further presses do nothing."""
    waiting = []
    monkeypatch.setattr(Echo, "waiting", property(lambda self: bool(waiting)))
    monkeypatch.setattr(Echo, "ask", lambda self, then, never: waiting.append((then, never)))
    form = form_on(folder)
    fill(form, **STEEL | {"leg_b_mm": "9"})
    enter(form)
    enter(form)
    form.record.click()
    assert len(waiting) == 1 and form.boxes["length_mm"].disabled and form.record.disabled
    fill(form, leg_b_mm="98")  # what was typed before the press, and arrives after it
    then, _ = waiting.pop()
    then()
    assert bendcal.read_shop(folder).offcuts[-1].leg_b_mm == 98.0
    assert not form.boxes["length_mm"].disabled


def test_a_page_that_stays_silent_records_nothing(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And says so."""
    monkeypatch.setattr(Echo, "ask", lambda self, then, never: never())
    form = form_on(folder)
    fill(form, **STEEL)
    enter(form)
    assert "The page did not answer, so nothing was recorded." in said(form)["blocked"]
    assert names(folder)[-1] == "F6" and not form.record.disabled


def test_enter_in_a_box_with_a_list_takes_the_entry_and_records_nothing(folder: Path) -> None:
    """There Enter belongs to the list."""
    form = form_on(folder)
    fill(form, **STEEL)
    enter(form, "tube")
    assert names(folder)[-1] == "F6"


def test_a_log_that_is_open_elsewhere_keeps_the_reading_and_says_where(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The side file holds it; the person is told to close the spreadsheet."""
    from bendcal import atomic

    real = atomic._replace

    def refuse(temporary: Path, target: Path) -> None:
        if target.name == "offcuts.csv":
            raise PermissionError(13, "held open")
        real(temporary, target)

    monkeypatch.setattr(atomic, "_replace", refuse)
    form = form_on(folder)
    fill(form, **STEEL)
    enter(form)
    assert "Recorded as S10" in said(form)["done"] and "is safe in offcuts.pending.csv" in said(form)["asked"]
    assert names(folder)[-1] == "S10"


# --- pieces that are there -----------------------------------------------------------------------


def test_the_last_one_is_taken_back_into_the_boxes(folder: Path) -> None:
    """It stays in the log, set aside; its texts stand in the boxes as they were typed."""
    form = form_on(folder)
    assert form.back.disabled
    fill(form, **STEEL)
    enter(form)
    assert not form.back.disabled
    form.back.click()
    piece = bendcal.read_shop(folder).offcuts[-1]
    assert (piece.offcut, piece.set_aside) == ("S10", "taken back right after it was entered")
    assert {key: form.boxes[key].value for key in STEEL} == STEEL and form.back.disabled
    enter(form)
    assert names(folder)[-2:] == ["S10", "S11"]


def test_a_piece_is_corrected_by_a_new_row(folder: Path) -> None:
    """Its readings come into the boxes; recording sets the old row aside, with its old values."""
    form = form_on(folder)
    form.earlier.boxes["piece"].value = "s3"
    form.earlier.correct.click()
    assert form.boxes["angle_deg"].value == "19.5" and form.record.description == "Record instead of S3"
    assert form.leave.layout.display is None
    fill(form, angle_deg="20")
    enter(form)
    shop = bendcal.read_shop(folder)
    old, new = (next(o for o in shop.offcuts if o.offcut == name) for name in ("S3", "S10"))
    assert (old.angle_deg, old.set_aside, new.angle_deg, new.set_aside) == (19.5, "corrected: see S10", 20.0, "")
    assert "Recorded as S10 instead of S3" in said(form)["done"] and form.record.description == "Record"


def test_a_correction_can_be_left(folder: Path) -> None:
    """Nothing is written, and the next piece is a new one."""
    form = form_on(folder)
    form.earlier.boxes["piece"].value = "S3"
    form.earlier.correct.click()
    form.leave.click()
    assert "S3 is as it was." in said(form)["done"] and form.correcting == "" and form.boxes["angle_deg"].value == ""
    assert form.leave.layout.display == "none"


def test_a_piece_is_set_aside_with_a_reason_and_counts_again(folder: Path) -> None:
    """Without a reason it is not; the law follows at once."""
    form = form_on(folder)
    words = form.lesson.words.value
    form.earlier.boxes["piece"].value = "S1"
    form.earlier.aside.click()
    assert "Write under “Because” why S1 does not count. S1 still counts." in said(form)["blocked"]
    form.earlier.boxes["reason"].value = "kinked"
    form.earlier.aside.click()
    assert "S1 is set aside: kinked. 37 pieces stand in offcuts.csv, 2 set aside." in said(form)["done"]
    assert form.lesson.words.value != words and "8 offcuts" not in form.lesson.words.value
    form.earlier.boxes["piece"].value = "S1"
    form.earlier.again.click()
    assert "S1 counts again." in said(form)["done"]
    # The same law once more, up to the last digit: each fit begins where the one before ended.
    again, first = (re.findall(r"\d+\.?\d*", text) for text in (form.lesson.words.value, words))
    assert re.sub(r"\d+", "0", form.lesson.words.value) == re.sub(r"\d+", "0", words)
    assert [float(n) for n in again] == pytest.approx([float(n) for n in first], abs=0.011)


def test_a_piece_that_is_not_there_is_told(folder: Path) -> None:
    """So is a blank name."""
    form = form_on(folder)
    form.earlier.aside.click()
    assert "Write the name of the piece under “Piece” first." in said(form)["blocked"]
    form.earlier.boxes["piece"].value = "C1"  # of another tube than the one that is shown
    form.earlier.correct.click()
    assert "There is no piece of that name. There is: S1, S2" in said(form)["blocked"]


# --- the shop as it is ---------------------------------------------------------------------------


def test_two_notebooks_see_one_another(folder: Path) -> None:
    """A piece from elsewhere is in the table, in the law and in the next number after the next key."""
    form, words = form_on(folder), form_on(folder).lesson.words.value
    append_offcut(folder, offcut="S10", bender="small", tube="steel-3/16", length_mm=180, mark_mm=70, dial_deg=60, angle_deg=55)
    fill(form, length_mm="1")
    assert "S10" in form.earlier.table.value and form.lesson.words.value != words
    assert form.boxes._beside["offcut"].value == "<span>= S11, the next number</span>"


def test_what_another_notebook_wrote_is_shown_without_a_key(folder: Path) -> None:
    """Every form looks into the folder now and then; where nothing has changed nothing is shown anew."""
    form, lines, rows = form_on(folder), LineForm(folder, "clutch"), RowForm(folder, "tube")
    words = form.lesson.words.value
    form.look()
    assert form.lesson.words.value == words
    append_offcut(folder, offcut="S10", bender="small", tube="steel-3/16", length_mm=180, mark_mm=70, dial_deg=60, angle_deg=55)
    add_row(folder, "tube", {"tube": "brass", "alloy": "copper", "od_mm": "6", "wall_mm": "1"})
    put_line_aside(folder, "clutch", "hose instead")
    for each in (form, lines, rows):
        each.look()
    assert "S10" in form.earlier.table.value and form.lesson.words.value != words
    assert "brass" in rows.table.value and "clutch: set aside, hose instead" in lines.view.table.value


def test_nothing_is_read_again_where_nothing_has_changed(folder: Path) -> None:
    """Keys stay quick."""
    now = ShopNow(folder)
    shop = now.shop
    assert not now.look() and now.shop is shop
    assert now.learn() is now.learn()


def test_another_tube_shows_its_own_pieces(folder: Path) -> None:
    """Table, law and tools to choose from follow the boxes."""
    form = form_on(folder)
    fill(form, tube="cuni-3")
    assert "What the pieces of cuni-3/16 on small teach" in form.lesson.words.value and "C1" in form.earlier.table.value
    fill(form, bender="large-8mm")
    assert "No piece of cuni-3/16 on large-8mm counts yet." in form.lesson.words.value and form.lesson.picture.value == ""


def test_the_first_piece_of_a_new_shop(tmp_path: Path) -> None:
    """Before it nothing is fitted, after it there is a law with its wide bands."""
    form = OffcutForm(write_shop(tmp_path, offcuts=None))
    assert "No offcut counts (there are none)" in form.lesson.words.value and "Bend next: " in form.lesson.words.value
    fill(form, length_mm="200", mark_mm="90", dial_deg="92", angle_deg="90")
    enter(form)
    assert "Recorded as 1:" in said(form)["done"] and "One offcut, finished at 90" in form.lesson.words.value and "<img" in form.lesson.picture.value


def test_a_shop_that_cannot_be_read_says_so_and_still_records(tmp_path: Path) -> None:
    """A fault in another table costs no reading."""
    form = OffcutForm(write_shop(tmp_path, tools="tool,measures\n"), "small", "brake 3/16")
    assert "cannot be read as a whole" in form.lesson.words.value and "tools.csv" in form.lesson.words.value
    fill(form, length_mm="200", mark_mm="90", dial_deg="92", angle_deg="90")
    enter(form)
    assert "Recorded as 3:" in said(form)["done"]


def test_a_fault_that_no_law_hangs_on_costs_no_lesson(tmp_path: Path) -> None:
    """With a faulty ends.csv the pieces teach as before; only what to bend next for the lines waits for it."""
    form = OffcutForm(write_shop(tmp_path, ends="end,form\n"), "small", "brake 3/16")
    assert "for a square bend set the dial to" in form.lesson.words.value
    assert "ends.csv, row 1, column uses_mm" in form.lesson.words.value


def test_the_sample_stays_as_it_is(sample_folder: Path) -> None:
    """Nothing is recorded or set aside in it; the copy is practised on, and the form goes on there."""
    before = (sample_folder / "offcuts.csv").read_bytes()
    form = form_on(sample_folder)
    assert form.practise.layout.display is None
    fill(form, **STEEL)
    enter(form)
    assert "This is the shipped sample, and it stays as it is." in said(form)["blocked"]
    form.earlier.boxes["piece"].value, form.earlier.boxes["reason"].value = "S1", "to try"
    form.earlier.aside.click()
    assert "This is the shipped sample" in said(form)["blocked"]
    form.practise.click()
    enter(form)
    assert (sample_folder / "offcuts.csv").read_bytes() == before
    assert names(sample_folder.with_name("practice_shop"))[-1] == "S10" and form.practise.layout.display == "none"
    assert not (sample_folder / "offcuts.history.csv").exists()


# --- what goes wrong -----------------------------------------------------------------------------


def test_an_error_of_the_kit_itself_is_not_swallowed(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is said in plain words, the details are in a file, and the form is usable again."""
    form = form_on(folder)
    fill(form, **STEEL)
    monkeypatch.setattr(module.OffcutValues, "record", lambda *args, **names: 1 / 0)
    enter(form)
    assert "Something in the kit itself went wrong (ZeroDivisionError)" in said(form)["blocked"] and ERRORS in said(form)["blocked"]
    assert "ZeroDivisionError: division by zero" in (folder / ERRORS).read_text(encoding="utf-8")
    assert not form.record.disabled and form.boxes["length_mm"].value == "180"


def test_what_a_person_typed_cannot_become_a_part_of_the_page() -> None:
    """Marks of the page's own language are shown as they were typed."""
    notices = Notices()
    notices.say("blocked", "<img src=x onerror=alert(1)>")
    assert "<img" not in notices.lines["blocked"].value and "&lt;img" in notices.lines["blocked"].value


# --- what a shop has -----------------------------------------------------------------------------


def test_a_tube_is_added_and_then_stands_in_the_table(folder: Path) -> None:
    """Boxes empty, line with the time, its row below."""
    form = RowForm(folder, "tube")
    for key, text in {"tube": "brass", "alloy": "copper", "od_mm": "1/4 in", "wall_mm": "0,8"}.items():
        form.boxes[key].value = text
    assert form.boxes._beside["od_mm"].value == "<span>= 6.35 mm (1/4&quot;)</span>"
    form.boxes["wall_mm"]._handle_custom_msg({"event": "submit"}, [])
    assert re.match(r"\d\d:\d\d:\d\d\. brass is added to tubes.csv", said(form)["done"])
    assert "brass" in form.table.value and form.boxes["tube"].value == ""
    assert bendcal.read_shop(folder).tubes["brass"].od_mm == 6.35


@pytest.mark.parametrize("noun", [noun for noun in FACT_COLUMNS if noun != "reading"])
def test_an_empty_row_is_not_added(folder: Path, noun: str) -> None:
    """What is missing is named."""
    form = FactsForm(folder)
    form.buttons[noun].click()
    form.form.add.click()
    assert said(form.form)["blocked"].startswith("Not added. Still to fill in: ")


def row_form(folder: Path, noun: str, row: str = "") -> RowForm:
    """A form for rows, with one row taken into its boxes if it is named."""
    form = RowForm(folder, noun)
    if row:
        form.pick["row"].value = row
        form.correct.click()
        assert f"Row {row} stands in the boxes." in said(form)["asked"]
    return form


def test_a_coil_is_added_and_can_be_cut_from(folder: Path) -> None:
    """The tubes of the shop stand in the list."""
    form = row_form(folder, "stock")
    assert tuple(form.boxes["tube"].options) == tuple(bendcal.read_shop(folder).tubes)
    fill(form, piece="new coil", tube="cuni-1/4", length_mm="25 ft")
    form.add.click()
    assert "is not a length: it carries the unit ft." in said(form)["blocked"]
    fill(form, length_mm="7,62 m", form="coil")
    form.add.click()
    assert "new coil is added to stock.csv." in said(form)["done"] and bendcal.read_shop(folder).stock[-1].length_mm == 7620.0


def test_a_row_is_corrected_and_the_old_value_stays_in_the_history(folder: Path) -> None:
    """Only the cell that was changed changes; what is impossible is refused; a correction can be left."""
    before = (folder / "tubes.csv").read_text(encoding="utf-8").splitlines()
    form = row_form(folder, "tube", "2")
    assert form.boxes["od_mm"].value == "4.76" and form.add.description == "Record instead of row 2"
    fill(form, wall_mm="4")
    form.add.click()
    assert "A wall is less than half the outside diameter" in said(form)["blocked"]
    fill(form, wall_mm="0,9")
    form.add.click()
    assert "Row 2, steel-3/16, is corrected. Wall: 0.9 instead of 0.71." in said(form)["done"]
    after = (folder / "tubes.csv").read_text(encoding="utf-8").splitlines()
    assert [old == new for old, new in zip(before, after, strict=True)].count(False) == 1 and after[2] == before[2].replace(",0.71,", ",0.9,")
    assert (folder / "tubes.history.csv").read_text(encoding="utf-8").splitlines()[1].endswith(",steel-3/16,wall_mm,0.71,0.9")
    form = row_form(folder, "tube", "1")
    form.leave.click()
    assert "Row 1 is as it was." in said(form)["done"] and form.boxes["tube"].value == "" and form.add.description == "Add this tube"


def test_a_name_that_other_tables_use_is_not_changed_under_them(folder: Path) -> None:
    """They are named; nothing is written."""
    form = row_form(folder, "tube", "2")
    fill(form, tube="steel")
    form.add.click()
    assert 'Name: found "steel-3/16". offcuts.csv, stock.csv, lines.csv name it. Leave it as it is' in said(form)["blocked"].replace("&quot;", '"')
    form.pick["row"].value = "2"
    form.out.click()
    assert "name it." in said(form)["blocked"] and "steel-3/16" in bendcal.read_shop(folder).tubes
    form.out.click()
    form.pick["row"].value = "99"
    form.out.click()
    assert "There is no row of that name" in said(form)["blocked"]


def test_a_row_that_nothing_uses_is_taken_out(folder: Path) -> None:
    """It stays in the history; the other rows keep their bytes."""
    before = (folder / "stock.csv").read_text(encoding="utf-8").splitlines()
    form = row_form(folder, "stock")
    form.pick["row"].value = "3"
    form.out.click()
    assert "rack 2 is taken out of stock.csv; it stays in stock.history.csv." in said(form)["done"]
    assert (folder / "stock.csv").read_text(encoding="utf-8").splitlines() == before[:3] + before[4:]
    assert "piece rack 2; tube steel-3/16; length_mm 335" in (folder / "stock.history.csv").read_text(encoding="utf-8")


def test_a_row_that_somebody_changed_meanwhile_is_not_written_over(folder: Path) -> None:
    """It is to be chosen once more."""
    form = row_form(folder, "stock", "3")
    other = row_form(folder, "stock", "3")
    fill(other, length_mm="300")
    other.add.click()
    fill(form, length_mm="320")
    form.add.click()
    assert "Somebody changed the file meanwhile." in said(form)["blocked"] and bendcal.read_shop(folder).stock[2].length_mm == 300


VICE = {
    "body": "pillar", "bender": "small", "shape": "box", "x_mm": "-40", "y_mm": "90", "z_mm": "0", "to_x_mm": "-40", "to_y_mm": "90", "to_z_mm": "-75", "width_mm": "2 in",
    "height_mm": "30", "moves": "die",
}  # fmt: skip


def test_a_body_is_drawn_added_and_corrected(folder: Path) -> None:
    """What is typed stands in the drawing among the others; what is impossible is refused; a correction notes bender and body."""
    form = row_form(folder, "body")
    assert tuple(form.boxes["bender"].options) == tuple(bendcal.read_shop(folder).benders) and "lever" in form.boxes["moves"].options
    fill(form, **VICE | {"height_mm": ""})
    form.sketch.button.click()
    assert "main handle (capsule), lever handle (capsule, with the lever), vice (box), bench (wall)." in form.sketch.picture.value
    form.add.click()
    assert "height_mm of a box is missing" in said(form)["blocked"].lower()
    fill(form, height_mm="30")
    form.sketch.button.click()
    assert "pillar (in the boxes) (box)" in form.sketch.picture.value
    form.add.click()
    assert "small pillar is added to bender_bodies.csv." in said(form)["done"] and form.sketch.picture.value == ""
    made = bendcal.read_shop(folder).bodies[-1]
    assert (made.body, made.solid.width_mm, made.moves) == ("pillar", 50.8, "die")
    form.pick["row"].value = str(len(bendcal.read_shop(folder).bodies))
    form.correct.click()
    fill(form, moves="lever", grip_mm="12")
    form.add.click()
    assert "Goes with: lever instead of die; Tube it holds: 12 instead of empty." in said(form)["done"]
    noted = (folder / "bender_bodies.history.csv").read_text(encoding="utf-8").splitlines()
    assert noted[0] == "when,body,what,before,after" and noted[1].endswith(",small pillar,moves,die,lever")


def test_an_obstacle_is_drawn_with_its_line(folder: Path) -> None:
    """The line that is named, or the first that has any; a line that is not there is said."""
    form = row_form(folder, "obstacle")
    form.sketch.button.click()
    assert "brake-far-side from above and from the front with exhaust." in form.sketch.picture.value
    fill(form, obstacle="spring", line="clutch", shape="sphere", x_mm="100", y_mm="50", z_mm="0", diameter_mm="60", keep_mm="15")
    form.sketch.button.click()
    assert "clutch from above and from the front with exhaust manifold, spring (in the boxes)." in form.sketch.picture.value
    form.add.click()
    assert "spring is added to obstacles.csv." in said(form)["done"] and bendcal.read_shop(folder).obstacles[-1].line == "clutch"
    fill(form, obstacle="spring", line="cluch", shape="sphere", x_mm="1", y_mm="2", z_mm="3", diameter_mm="4")
    form.add.click()
    assert "There is no line of that name" in said(form)["blocked"]
    form.sketch.button.click()
    assert "Nothing to draw. Line cluch cannot be drawn" in said(form)["blocked"]


def test_a_pattern_is_typed_measurement_by_measurement(folder: Path) -> None:
    """Each is on the disk at once, in any order; what is still open is said, then the shape is drawn; a measurement is set aside with a reason and taken out."""
    (folder / "lines" / "clutch.csv").unlink()
    form = row_form(folder, "reading/clutch")
    assert "bendcal-reading-form" in form.widget._dom_classes and "leg" in form.boxes["what"].options
    form.sketch.button.click()
    assert "Nothing to draw." in said(form)["blocked"] and "patterns/clutch.csv" in said(form)["blocked"]
    rows = [("leg", "A", "1", "90", ""), ("angle", "1", "", "", "45"), ("leg", "1", "2", "95", ""), ("leg", "2", "B", "120,5", ""), ("angle", "2", "", "", "60")]
    for what, start, to, length, angle in rows:
        fill(form, **{"what": what, "from": start, "to": to, "length_mm": length, "angle_deg": angle})
        form.add.click()
        assert f"{' '.join(filter(None, (what, start, to)))} is added to clutch.csv." in said(form)["done"]
    form.sketch.button.click()
    assert form.sketch.picture.value == "" and "twist" in form.sketch.words.value
    fill(form, **{"what": "twist", "from": "1", "to": "2", "angle_deg": "9o"})
    form.add.click()
    assert "is not an angle" in said(form)["blocked"]
    fill(form, angle_deg="90")
    form.add.click()
    form.sketch.button.click()
    assert "<img" in form.sketch.picture.value
    assert bendcal.read_shop(folder).line("clutch").legs.leg_mm == pytest.approx([90, 95, 120.5])
    form.pick["row"].value = "6"
    form.correct.click()
    fill(form, set_aside="read from the wrong end")
    form.add.click()
    assert "Set aside, because: read from the wrong end instead of empty." in said(form)["done"]
    form.pick["row"].value = "6"
    form.out.click()
    assert "twist 1 2 is taken out of patterns/clutch.csv; it stays in patterns.history.csv." in said(form)["done"]
    assert ",clutch: twist 1 2," in (folder / "patterns.history.csv").read_text(encoding="utf-8")


def test_a_pattern_belongs_to_a_line(folder: Path) -> None:
    """One that is not in lines.csv has none."""
    form = row_form(folder, "reading/new line")
    fill(form, **{"what": "leg", "from": "A", "to": "1", "length_mm": "90"})
    form.add.click()
    assert "Begin the line first" in said(form)["blocked"] and not (folder / "patterns" / "new line.csv").exists()


def test_a_row_of_the_sample_is_not_added(sample_folder: Path) -> None:
    """It stays as it is here too."""
    form = RowForm(sample_folder, "tool")
    for key, text in {"tool": "gauge", "measures": "angle", "step": "0.1", "sd": "0.2"}.items():
        form.boxes[key].value = text
    form.add.click()
    assert "This is the shipped sample" in said(form)["blocked"]


def test_a_shop_of_ones_own_is_begun_from_the_start_page(sample_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is missing is told first; then the folder is there, with a link to its start page."""
    pages = sample_folder.with_name("notebooks")
    pages.mkdir()
    monkeypatch.chdir(pages)
    form = BeginForm("../sample_measurements")
    form.begin.click()
    assert "Nothing was made. Still to fill in: Your bender." in said(form)["blocked"]
    assert not sample_folder.with_name("my_shop").exists()
    for key, text in {"bender": "lever", "tube": "cuni", "alloy": "copper-nickel 90/10", "od_mm": "4,76", "wall_mm": "0,71"}.items():
        form.boxes[key].value = text
    form.begin.click()
    assert "Your shop is made" in said(form)["done"]
    assert list(bendcal.read_shop(sample_folder.with_name("my_shop")).tubes) == ["cuni"]
    assert "(../my_shop/notebooks/0_start.ipynb)" in form.link.outputs[0]["data"]["text/markdown"]
    form.begin.click()
    assert "There is a folder of that name already" in said(form)["blocked"]


def test_the_functions_of_a_page_make_forms(folder: Path) -> None:
    """One for each cell; on a shop of one's own there is nothing to begin."""
    assert "bendcal-offcut-form" in forms.enter_offcuts(folder)._dom_classes
    assert len(forms.enter_facts(folder).children) == 2
    assert len(forms.begin_own_shop(folder).children) == 1


# --- the drawing -----------------------------------------------------------------------------------


def test_what_is_typed_is_drawn_when_asked_for(folder: Path) -> None:
    """Both drawings say the very numbers; what is not typed comes from an invented piece and is named; recorded, it goes."""
    form = form_on(folder)
    fill(form, length_mm="181", mark_mm="71")
    form.sketch.button.click()
    assert "invented piece: the dial, the angle." in form.sketch.words.value
    assert 'alt="Offcut S10: 181 mm of steel-3/16, mark 71 mm from end A, finished angle 87°.' in form.sketch.picture.value
    fill(form, dial_deg="95", reach_mm="90", chord_mm="130,1")
    form.sketch.button.click()
    assert "Drawn for what is typed." in form.sketch.words.value
    assert "Scribe both legs 90 mm from the apex" in form.sketch.picture.value and "130.1 mm is an angle of 87.43°" in form.sketch.picture.value
    fill(form, chord_mm="13o")
    form.sketch.button.click()
    assert said(form)["blocked"].startswith("Nothing to draw. Scribe to scribe:")
    fill(form, **STEEL, reach_mm="", chord_mm="")
    form.sketch.button.click()
    assert "finished angle 86.5°" in form.sketch.picture.value
    enter(form)
    assert form.sketch.picture.value == ""


def test_a_drawing_of_what_makes_no_bend_is_told(folder: Path) -> None:
    """A leg shorter than its bend is said in a sentence, and nothing is drawn."""
    form = form_on(folder)
    fill(form, **STEEL | {"leg_a_mm": "3"})
    form.sketch.button.click()
    assert "leg A is 3.0 mm to the crossing" in said(form)["blocked"]
    assert form.sketch.picture.value == ""


def test_a_drawing_in_an_empty_shop_is_of_any_tube(tmp_path: Path) -> None:
    """Without benders, tubes or pieces the invented piece is drawn whole."""
    form = OffcutForm(write_shop(tmp_path, offcuts=None, benders="bender,die_radius_mm\n", tubes="tube,alloy,od_mm,wall_mm\n"))
    form.sketch.button.click()
    assert "any tube" in form.sketch.picture.value
