"""Saving a mark sheet: three files that belong together, whole or not at all."""

import csv
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import bendcal
from bendcal.atomic import NotSaved
from bendcal.marks import MARK_COLUMNS
from bendcal.printing import mark_sheet_pdf
from bendcal.sheets import save_sheet, sheet_csv, sheet_json
from tests.drawing import LONG_NAME, sheet


@pytest.fixture
def quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    """A print that is made in no time, for tests that look at the other files."""
    monkeypatch.setattr("bendcal.sheets.mark_sheet_pdf", lambda sheet, *, paper, inches: f"%PDF- {paper} {inches}".encode())


def test_the_three_files_carry_the_line_s_name(tmp_path: Path) -> None:
    """They go into the shop's folder sheets/, which is made, and nothing else is left there."""
    files = save_sheet(sheet("one", name="v1.2 brake, far side"), tmp_path)
    names = [path.relative_to(tmp_path).as_posix() for path in files]
    assert names == [f"sheets/v1.2 brake, far side.{kind}" for kind in ("csv", "json", "pdf")]
    assert sorted(path.name for path in (tmp_path / "sheets").iterdir()) == sorted(path.name for path in files)
    assert files.pdf.read_bytes()[:5] == b"%PDF-"


def test_the_csv_has_exactly_the_agreed_columns_and_the_sheet_s_numbers(tmp_path: Path, quick_print: None) -> None:
    """Read back, every number is the sheet's to four decimals."""
    one = sheet("six", "AAABBB")
    path = save_sheet(one, tmp_path).csv
    assert path.read_bytes().split(b"\r\n")[0].decode() == (
        "bend,mark_mm,dial_deg,twist_deg,angle_deg,mark_u_mm,angle_u_deg,start_mm,end_mm,feed,note,step,turn_deg"
    )
    table = pd.read_csv(path, keep_default_na=False)
    assert tuple(table.columns) == MARK_COLUMNS
    for name in MARK_COLUMNS[1:9]:
        assert table[name].to_numpy() == pytest.approx(one.marks[name].to_numpy(), abs=5.1e-5), name
    assert table["bend"].tolist() == [1, 2, 3, 4, 5, 6]
    assert table["feed"].tolist() == list("AAABBB")
    assert table["note"].tolist() == list(one.notes)


def test_what_there_is_no_number_of_is_left_blank() -> None:
    """The bend made first is turned from nothing, and so is the first one after a turn end for end."""
    rows = list(csv.DictReader(sheet_csv(sheet("six", "AAABBB")).splitlines()))
    assert [row["step"] for row in rows] == list("123456")
    assert [row["turn_deg"] == "" for row in rows] == [True, False, False, True, False, False]


def test_a_line_without_bends_has_a_header_alone() -> None:
    """No bend, no row."""
    assert list(csv.reader(sheet_csv(sheet("none")).splitlines())) == [list(MARK_COLUMNS)]


def test_no_number_is_written_as_minus_zero() -> None:
    """A twist of −0 is 0."""
    assert "-0.0," not in sheet_csv(sheet("ten"))


def test_a_note_with_a_comma_stays_one_cell() -> None:
    """Cells are quoted where RFC 4180 (2.6) asks for it."""
    one = sheet("one")
    object.__setattr__(one, "notes", ('beyond the offcuts, "far"',))
    one.__dict__.pop("marks", None)
    try:
        rows = list(csv.reader(sheet_csv(one).splitlines()))
    finally:
        sheet.cache_clear()
    assert rows[1][MARK_COLUMNS.index("note")] == 'beyond the offcuts, "far"'
    assert len(rows[1]) == len(MARK_COLUMNS)


def test_the_json_holds_lengths_warnings_and_the_law(tmp_path: Path, quick_print: None) -> None:
    """Cut length, trim, its uncertainty, seats, warnings, law and version are there under their fixed names."""
    one = sheet("ten", trim_at="A")
    record = json.loads(save_sheet(one, tmp_path).json.read_text(encoding="utf-8"))
    for name in ("cut_length_mm", "trim_mm", "length_u_mm", "seat_a_mm", "seat_b_mm"):
        assert record[name] == pytest.approx(getattr(one, name), abs=5.1e-5)
    assert record["warnings"] == list(one.warnings) != []
    assert (record["line"], record["tube"], record["bender"], record["service"], record["trim_at"]) == ("ten", "steel", "small", "brake", "A")
    assert record["version"] == bendcal.__version__
    assert record["law"]["angle_range_deg"] == list(one.law.angle_range_deg)
    assert [record["law"][name] for name in one.law.parameters.index] == one.law.parameters.tolist()
    assert record["law"]["n_offcuts"] == one.law.n_offcuts
    assert any("Brake work can kill" in sentence for sentence in record["cautions"])


def test_an_exactly_known_law_is_valid_json() -> None:
    """Endless degrees of freedom are null: JSON knows no infinity."""
    assert json.loads(sheet_json(sheet("one", tube="copper")), parse_constant=pytest.fail)["law"]["dof"] is None


def test_the_numbers_make_the_tube_add_up() -> None:
    """From the JSON and the CSV alone: seat to seat on the straight tube is straights plus arcs, trim and ends beyond."""
    one = sheet("six")
    record, rows = json.loads(sheet_json(one)), list(csv.DictReader(sheet_csv(one).splitlines()))
    law = record["law"]
    theta = np.radians([float(row["angle_deg"]) for row in rows])
    setback = law["radius_mm"] * np.tan(theta / 2)
    straight = one.legs.leg_mm.sum() - 2 * setback.sum() + law["developed_radius_mm"] * theta.sum()
    assert record["seat_b_mm"] - record["seat_a_mm"] == pytest.approx(straight, abs=1e-3)
    assert record["cut_length_mm"] == pytest.approx(record["seat_b_mm"] + one.end_b.uses_mm + record["trim_mm"], abs=1e-3)
    starts = [float(row["mark_mm"]) + law["mark_offset_mm"] for row in rows]
    assert starts == pytest.approx([float(row["start_mm"]) for row in rows], abs=2e-4)


def test_paper_and_inches_reach_the_print_and_saving_again_changes_nothing(tmp_path: Path) -> None:
    """The PDF is what the printing room makes of them, and a sheet saved twice is the same sheet."""
    one = sheet("one")
    files = save_sheet(one, tmp_path, paper="letter", inches=True)
    before = [path.read_bytes() for path in files]
    assert before[2] == mark_sheet_pdf(one, paper="letter", inches=True)
    assert save_sheet(one, tmp_path, paper="letter", inches=True) == files
    assert [path.read_bytes() for path in files] == before


def test_nothing_is_written_where_the_print_cannot_be_made(tmp_path: Path) -> None:
    """An unknown paper leaves no file behind, not even the folder."""
    with pytest.raises(ValueError, match="paper is 'a5'"):
        save_sheet(sheet("one"), tmp_path, paper="a5")
    assert list(tmp_path.iterdir()) == []


def test_a_missing_shop_folder_is_said(tmp_path: Path, quick_print: None) -> None:
    """Sheets are never scattered into a folder that somebody mistyped."""
    with pytest.raises(NotSaved, match="There is no folder .*nowhere, so no sheet can be saved in it"):
        save_sheet(sheet("one"), tmp_path / "nowhere")


def test_a_file_in_the_folder_s_place_is_said(tmp_path: Path, quick_print: None) -> None:
    """Where `sheets` is a file, the sentence names it."""
    (tmp_path / "sheets").write_text("not a folder")
    with pytest.raises(NotSaved, match="sheets cannot be made .*rename or remove sheets, then save again"):
        save_sheet(sheet("one"), tmp_path)


def test_a_print_that_cannot_be_put_in_its_place_keeps_the_other_two_back(tmp_path: Path, quick_print: None) -> None:
    """Table, facts and print are of one sheet: where the print cannot be saved, the old table and facts stay."""
    before = [path.read_bytes() for path in save_sheet(sheet("one"), tmp_path)[:2]]
    pdf = tmp_path / "sheets" / "one.pdf"
    pdf.unlink()
    pdf.mkdir()
    with pytest.raises(NotSaved, match="one.pdf is a folder"):
        save_sheet(sheet("one", trim_at="A"), tmp_path)
    assert [(tmp_path / "sheets" / f"one.{kind}").read_bytes() for kind in ("csv", "json")] == before
    assert sorted(path.name for path in (tmp_path / "sheets").iterdir()) == ["one.csv", "one.json", "one.pdf"]


def test_the_sample_s_lines_are_all_saved(sample_folder: Path, quick_print: None) -> None:
    """Every line of the sample gives its three files, from the folder to the print."""
    shop = bendcal.read_shop(sample_folder)
    cal = bendcal.calibrate(shop)
    for name in shop.lines:
        one = bendcal.mark_out(shop, cal, name)
        files = save_sheet(one, sample_folder)
        assert len(pd.read_csv(files.csv)) == one.legs.bends
        assert all(path.stat().st_size > 0 for path in files)


def test_a_long_name_is_a_file_too(tmp_path: Path, quick_print: None) -> None:
    """A name of more than a hundred letters is saved under that name."""
    assert save_sheet(sheet("one", name=LONG_NAME), tmp_path).csv.stem == LONG_NAME
