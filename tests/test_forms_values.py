"""What is typed into the forms: what it means, what stands in the way, what is only asked; no browser needed."""

import datetime
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from a_shop import changed, write_shop
from hypothesis import given
from hypothesis import strategies as st

import bendcal
from bendcal.atomic import NotSaved
from bendcal.chord import angle_from_chord
from bendcal.entries.adding import FACT_COLUMNS
from bendcal.files.cells import Column
from bendcal.files.columns import OFFCUTS
from bendcal.forms import chord_values
from bendcal.forms.offcut_values import FIELDS, OffcutValues
from bendcal.forms.row_values import FIELDS as ROW_FIELDS
from bendcal.forms.row_values import RowValues
from bendcal.forms.understood import understood, understood_name
from bendcal.shop import Shop

GOOD = OffcutValues(
    "small", "brake 3/16", "200", "90 mm", "92°", "90,0", '4 1/8"', "102,5 mm", "centre", "protractor", "rule",
)  # fmt: skip


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """A small shop on the disk."""
    return bendcal.read_shop(write_shop(tmp_path))


@pytest.mark.parametrize(
    ("text", "kind", "value", "words"),
    [
        ("12,5", "length", 12.5, '12.5 mm (about 31/64")'),
        ("12.5 mm", "length", 12.5, '12.5 mm (about 31/64")'),
        ("3/16 in", "length", 4.7625, '4.7625 mm (3/16")'),
        ('1 7/8"', "length", 47.625, '47.625 mm (1 7/8")'),
        ("2,54 cm", "length", 25.4, '25.4 mm (1")'),
        ("92,5", "angle", 92.5, "92.5°"),
        ("92°30'", "angle", 92.5, "92.5°"),
        ("  ", "length", None, ""),
    ],
)
def test_what_is_typed_is_said_as_it_will_be_kept(text: str, kind: str, value: float | None, words: str) -> None:
    """Comma or point, unit or none, fractions of an inch; an optional box may be empty."""
    told = understood(text, Column("x_mm", kind))
    assert (told.value, told.words, told.fine) == (value, words, True)


@pytest.mark.parametrize("text", ["1.234,5", "1,234", "9o", "12 kg", "3/16", "nan", "--", "12..5"])
def test_what_could_mean_two_things_is_not_guessed(text: str) -> None:
    """It is said that it was not understood, and what to write."""
    told = understood(text, Column("x_mm", "length", filled=True))
    assert told.value is None and told.wrong and not told.fine and not told.missing


@given(st.text(max_size=12))
def test_nothing_that_is_typed_raises(text: str) -> None:
    """Any text is either understood or refused with a sentence, in every box."""
    for column in (*OFFCUTS, *(column for columns in FACT_COLUMNS.values() for column in columns)):
        told = understood(text, column)
        assert told.fine or told.wrong or told.missing
    assert OffcutValues(*[text] * len(FIELDS)).blocked()


def test_a_name_may_be_shortened_as_long_as_it_is_the_only_one() -> None:
    """Capitals do not matter; a beginning that two share is asked for more; the whole name wins over a longer one."""
    tubes = ["cuni-3/16", "cuni-3/16 hard", "steel-3/16"]
    assert understood_name("S", tubes, "tube").value == "steel-3/16"
    assert understood_name("CUNI-3/16", tubes, "tube").value == "cuni-3/16"
    assert "begin like that" in understood_name("cu", tubes, "tube").wrong
    assert "There is no tube of that name. There is: cuni" in understood_name("brass", tubes, "tube").wrong
    assert "none yet; enter one first" in understood_name("brass", [], "tube").wrong


def test_every_column_of_every_table_has_a_box() -> None:
    """No column is forgotten, but for the date of an offcut, which is today's."""
    assert set(FIELDS) == {column.name for column in OFFCUTS} - {"date"}
    for noun, columns in FACT_COLUMNS.items():
        assert set(ROW_FIELDS[noun]) == {column.name for column in columns}


def test_sound_readings_have_nothing_in_the_way(shop: Shop) -> None:
    """And nothing to be asked."""
    assert GOOD.blockers(shop) == () and GOOD.questions(shop) == ()


def test_what_is_missing_is_told_in_one_sentence_and_points_to_its_boxes() -> None:
    """All of it at once, in the order of the boxes."""
    (sentence, boxes), = OffcutValues("small", "thin", "200").blocked()
    assert sentence == "Still to fill in: End A to mark, Dial, lever held, Finished angle."
    assert boxes == ("mark_mm", "dial_deg", "angle_deg")


@pytest.mark.parametrize(
    ("changes", "told", "box"),
    [
        ({"angle_deg": "9o"}, 'Finished angle: "9o" is not an angle in degrees. Write an angle in degrees, such as 92.5.', "angle_deg"),
        ({"angle_deg": "110"}, "Finished angle: 110.0° at a dial of 92.0°. A bend does not finish further than its dial went.", "angle_deg"),
        ({"mark_mm": "210"}, "End A to mark: 210.0 mm on an offcut of 200.0 mm. The mark lies on the offcut, measured from end A.", "mark_mm"),
        ({"dial_deg": "200", "angle_deg": "170"}, "Dial, lever held: 200.0°. The dial of small ends at 180.0°", "dial_deg"),
        ({"leg_a_mm": "8"}, "Leg A: 8.0 mm. A leg runs to the crossing of the legs", "leg_a_mm"),
        ({"tube": "brass"}, "Tube: There is no tube of that name.", "tube"),
        ({"length_tool": "protractor"}, "Lengths read with: There is no tool for lengths of that name. There is: rule.", "length_tool"),
    ],
)
def test_what_cannot_be_stands_in_the_way(shop: Shop, changes: dict, told: str, box: str) -> None:
    """What was found, the rule, what to do; and which box it is about."""
    blocked = replace(GOOD, **changes).blocked(shop)
    assert any(sentence.startswith(told) and box in boxes for sentence, boxes in blocked), blocked


def test_a_piece_that_is_set_aside_at_once_may_be_impossible(shop: Shop) -> None:
    """That is why it is set aside; the sentence that refuses it says where to write the reason."""
    bad = replace(GOOD, angle_deg="110")
    assert "write the reason under “Set aside, because”" in bad.blockers(shop)[0]
    assert replace(bad, set_aside="misread, lost").blockers(shop) == ()


def test_what_is_odd_is_asked_and_not_refused(shop: Shop) -> None:
    """A springback of a third is recorded all the same, if it is so."""
    odd = replace(GOOD, angle_deg="65", leg_a_mm="", leg_b_mm="")
    assert odd.blockers(shop) == ()
    assert odd.questions(shop)[0].startswith("Finished angle: 65.0° at a dial of 92.0°. Springback is 29 % of the dial")


def test_a_reading_far_from_the_law_is_asked_about(sample_folder: Path) -> None:
    """What the other pieces expect is said with its range; one near it is not asked about."""
    shop = bendcal.read_shop(sample_folder)
    law = bendcal.calibrate(shop).law("small", "steel-3/16")
    near = OffcutValues("small", "steel-3/16", "180", "70", "92", "86", angle_tool="protractor")
    assert near.questions(shop, law) == ()
    (sentence, boxes), = replace(near, angle_deg="83").asked(shop, law)
    assert sentence.startswith("Finished angle: you read 83° at a dial of 92°; by the other pieces the next bend would finish at 86.")
    assert boxes == ("dial_deg", "angle_deg")


def test_what_is_recorded_is_what_was_understood(shop: Shop) -> None:
    """Through the log's own door; the date is today's; a blank name is the next number."""
    piece = GOOD.record(shop.folder, shop)
    assert bendcal.read_shop(shop.folder).offcuts[-1] == piece
    assert (piece.offcut, piece.leg_a_mm, piece.angle_deg, piece.date) == ("3", 104.775, 90.0, datetime.date.today().isoformat())


def test_what_stands_in_the_way_is_not_written(shop: Shop) -> None:
    """Not even by calling it."""
    with pytest.raises(ValueError, match="A bend does not finish further"):
        replace(GOOD, angle_deg="110").record(shop.folder, shop)
    assert len(bendcal.read_shop(shop.folder).offcuts) == 2


def test_the_next_number_goes_on_in_the_way_of_that_pair(sample_folder: Path) -> None:
    """Steel pieces are S…, copper-nickel ones C…, whichever stands last in the log; a name that was taken meanwhile is stepped over."""
    shop = bendcal.read_shop(sample_folder)
    steel = OffcutValues("small", "steel-3/16", "180", "70", "92", "86")
    assert steel.understood(shop)["offcut"].words == "S10, the next number"
    assert replace(steel, tube="cuni-3/16").understood(shop)["offcut"].value == "C9"
    assert steel.record(sample_folder, shop).offcut == "S10"
    assert steel.record(sample_folder, shop).offcut == "S11"  # with the shop as it was read before the last one
    with pytest.raises(bendcal.ShopFaults, match="has an offcut of that name already"):
        replace(steel, offcut="S10").record(sample_folder, shop)


def test_readings_put_back_into_the_boxes_mean_the_same(sample_folder: Path) -> None:
    """Every piece of the sample, to the last figure."""
    shop = bendcal.read_shop(sample_folder)
    for piece in shop.offcuts:
        told = OffcutValues.of(piece).understood(shop)
        for name in FIELDS:
            if name not in ("offcut", "set_aside"):
                assert told[name].value == getattr(piece, name), (piece.offcut, name)


def test_a_shop_that_cannot_be_read_does_not_cost_a_reading(tmp_path: Path) -> None:
    """The log judges by itself, and the form's texts go through."""
    folder = write_shop(tmp_path, ends="end,form\n")
    assert GOOD.blockers(None) == ()
    assert GOOD.record(folder).angle_deg == 90.0


def test_a_row_says_what_is_in_its_way(tmp_path: Path) -> None:
    """In the words of its boxes."""
    folder = write_shop(tmp_path)
    row = {"tube": "brake 3/16", "alloy": "copper", "od_mm": "3/16 in", "wall_mm": "0,7 kg"}
    assert "it carries" not in RowValues("tube", row).blockers(folder)[0]
    assert RowValues("tube", row).blockers(folder)[0].startswith('Wall: "0,7 kg" is not a length')
    row["wall_mm"] = "0,7"
    assert RowValues("tube", row).blockers(folder)[0].startswith('Name: found "brake 3/16". Row 2 has the same tube')
    row["tube"] = "other"
    assert RowValues("tube", row).blockers(folder) == ()
    assert RowValues("tube", row).add(folder) == folder / "tubes.csv"
    assert bendcal.read_shop(folder).tubes["other"].wall_mm == 0.7


def test_a_faulty_table_is_told_where_a_row_is_to_go(tmp_path: Path) -> None:
    """Nothing is added to a table whose header cannot be read."""
    folder = write_shop(tmp_path, tubes=changed("tubes.csv", ("alloy", "metal")))
    assert "The column alloy is required" in RowValues("tube", {"tube": "x", "alloy": "copper", "od_mm": "6", "wall_mm": "1"}).blockers(folder)[0]


# --- the angle by a chord ------------------------------------------------------------------------


def test_an_angle_is_told_by_a_chord(shop: Shop) -> None:
    """With the angle's box empty it is worked out, kept to a hundredth, and both lengths stay in the note."""
    by_chord = replace(GOOD, angle_deg="", reach_mm="100", chord_mm="141,4", angle_tool="", note="first try")
    told = by_chord.understood(shop)["angle_deg"]
    assert told.value == 90.02 and told.words.startswith("90.02° by the chord (95 %: ")
    assert by_chord.blockers(shop) == () and by_chord.questions(shop) == ()
    assert by_chord.understood(shop)["angle_tool"].value == "chord-0.4"
    kept = by_chord.record(shop.folder, shop)
    assert (kept.angle_deg, kept.note) == (90.02, "first try; angle by a chord: 141.4 mm across, scribes 100 mm from the apex")
    # The fit knows how good that was, to the next 0.05°; a second such piece finds the tool there.
    again = bendcal.read_shop(shop.folder)
    assert kept.angle_tool == "chord-0.4" and 0.35 < float(by_chord_u(again)) <= again.angle_tool(kept).u == 0.4
    by_chord.record(shop.folder, again)
    assert list(bendcal.read_shop(shop.folder).tools) == [*shop.tools, "chord-0.4"]


def by_chord_u(shop: Shop) -> float:
    """The uncertainty of an angle from 100 mm legs and a chord of 141.4 mm by the shop's rule."""
    return float(angle_from_chord(100, 100, 141.4, shop.tools["rule"].u).u)


def test_a_table_of_tools_that_cannot_be_written_costs_no_reading(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """The piece is kept all the same, and a warning says what its angle then counts as."""
    def refuse(*_args: object) -> None:
        raise NotSaved(Path("tools.csv"), "tools.csv is open elsewhere: close it there.")

    monkeypatch.setattr(chord_values, "add_row", refuse)
    with pytest.warns(UserWarning, match=r"chord-0.4 could not be put into tools.csv, .* tools.csv is open elsewhere"):
        kept = replace(GOOD, angle_deg="", reach_mm="100", chord_mm="141,4").record(shop.folder, shop)
    assert bendcal.read_shop(shop.folder).offcuts[-1].offcut == kept.offcut


def test_a_better_tool_narrows_a_chords_angle(sample_folder: Path) -> None:
    """Its words are those of the tool that both lengths were measured with; the lengths' own tool where none is named."""
    shop = bendcal.read_shop(sample_folder)
    typed = OffcutValues("small", "steel-3/16", "180", "70", "92", reach_mm="100", chord_mm="141.4")
    widths = {}
    for name, change in {"none": {}, "caliper": {"chord_tool": "cal"}, "rule": {"length_tool": "steel-rule"}}.items():
        low, high = re.findall(r"\d+\.\d+", replace(typed, **change).understood(shop)["angle_deg"].words)[1:]
        widths[name] = float(high) - float(low)
    assert widths["caliper"] < widths["rule"] < widths["none"]
    # Equal legs L and a chord c at 90°: 2/L in c² against both legs, so u = √(1 + 1 + 2)·u_L/L.
    assert widths["caliper"] == pytest.approx(2 * 1.96 * np.degrees(2 * np.hypot(0.2, 0.1 / np.sqrt(12)) / 100), abs=0.02)
    assert replace(typed, chord_tool="cal").record(sample_folder, shop).note.startswith("angle by a chord with caliper: 141.4 mm across")


@pytest.mark.parametrize(
    ("changes", "told", "boxes"),
    [
        ({"chord_mm": "141.4"}, "Still to fill in: Finished angle, Apex to each scribe.", {"angle_deg", "reach_mm"}),
        ({"reach_mm": "100"}, "Still to fill in: Finished angle, Scribe to scribe.", {"angle_deg", "chord_mm"}),
        ({"reach_mm": "100", "chord_mm": "230"}, "Scribe to scribe: A chord of 230 mm between marks at 100 and 100 mm: that cannot be told", {"chord_mm"}),
        ({"reach_mm": "100", "chord_mm": "14l"}, 'Scribe to scribe: "14l" is not a length', {"chord_mm"}),
        ({"reach_mm": "-100", "chord_mm": "141"}, "Apex to each scribe: ", {"reach_mm"}),
    ],
)
def test_half_a_chord_or_one_that_cannot_be_stands_in_the_way(shop: Shop, changes: dict, told: str, boxes: set[str]) -> None:
    """It is said which box it is about."""
    blocked = replace(GOOD, angle_deg="", **changes).blocked(shop)
    assert any(sentence.startswith(told) for sentence, _ in blocked), blocked
    assert boxes <= {box for _, about in blocked for box in about}


def test_a_chord_against_a_typed_angle_is_asked_and_the_typed_one_counts(shop: Shop) -> None:
    """Where the two agree nothing is asked."""
    against = replace(GOOD, reach_mm="100", chord_mm="150")
    assert any("the chord tells 82.8" in sentence for sentence in against.questions(shop))
    assert against.record(shop.folder, shop).angle_deg == 90.0
    assert replace(GOOD, reach_mm="100", chord_mm="141.4").questions(shop) == ()
