"""Everything that people and spreadsheets do to a shop folder, and the sentence that each gets."""

import os
import tempfile
from pathlib import Path

import pytest
from a_shop import FILES, changed, ordinary_user, write_shop
from hypothesis import given
from hypothesis import strategies as st

from bendcal.faults import Fault, ShopFaults
from bendcal.files.folder import read_shop


def report(folder: Path) -> str:
    """The report of a folder that is refused."""
    with pytest.raises(ShopFaults, match="must be put right first") as refusal:
        read_shop(folder)
    assert all(isinstance(fault, Fault) and fault.file and fault.rule + fault.remedy for fault in refusal.value.faults)
    return str(refusal.value)


FIRST = "1,small,brake 3/16,200,90,92,90,104.5,102.5,centre,2025-03-01,protractor,rule,,"

CELLS = [
    # benders.csv
    ("benders", [("small,15,", "small,fifteen,")], 'benders.csv, row 2, column die_radius_mm: found "fifteen". It is not a length'),
    ("benders", [("small,15,", "small,-15,")], 'column die_radius_mm: found "-15". It is not more than 0'),
    ("benders", [("small,15,", ",15,")], "benders.csv, row 2, column bender: found an empty cell"),
    ("benders", [("invented\n", "invented\nSmall,15,1,180,\n")], 'row 3, column bender: found "Small". Row 2 has the same bender'),
    # tubes.csv
    ("tubes", [("low-carbon steel", "unobtainium")], "tubes.csv, row 2, column alloy: found \"unobtainium\". Alloy 'unobtainium' is not"),
    ("tubes", [("low-carbon steel", "low carbon stel")], "Did you mean 'low-carbon steel'?"),
    ("tubes", [("0.71", "2.38")], "row 2, column wall_mm: found a wall of 2.38 mm in a tube of 4.76 mm. A wall is less than half"),
    ("tubes", [("4.76", "3/16")], 'column od_mm: found "3/16". It is a fraction without a unit'),
    ("tubes", [("4.76", "16-Mar")], 'found "16-Mar". It is not a length; it looks like a date'),
    ("tubes", [("wall_mm\n", "wall_mm,e_gpa\n"), ("0.71\n", "0.71,209000\n")], "row 2, column e_gpa"),
    ("tubes", [("wall_mm\n", "wall_mm,n\n"), ("0.71\n", "0.71,1.5\n")], "row 2, column n"),
    ("benders", [("small,15,", "small,0.59,")], "row 2, column die_radius_mm: found 0.59 mm. No tube can be bent round a die of less"),
    ("benders", [("small,15,", "small,0.59,")], "Write 0.59 in, if inches are meant"),
    ("tubes", [("4.76,0.71", "0.1875,0.028")], "row 2, column od_mm: found 0.1875 mm. No line is made of tube under 1 mm."),
    # tools.csv
    ("tools", [("protractor,angle", "protractor,angles")], 'tools.csv, row 2, column measures: found "angles". It is none of: angle'),
    ("tools", [("angle,0.5,0.4", "angle,0.5 mm,0.4")], 'column step: found "0.5 mm". It is not an angle in degrees: it'),
    ("tools", [("angle,0.5,0.4", "angle,0.5,-1")], 'column sd: found "-1". It is less than 0'),
    ("tools", [("angle,0.5,0.4", "angle,0,0")], "tools.csv, row 2, column step"),
    # ends.csv
    ("ends", [("double flare", "tripple flare")], 'ends.csv, row 2, column form: found "tripple flare". It is none of: single flare'),
    ("ends", [("flare,5,", "flare,-5,")], 'column uses_mm: found "-5". It is less than 0'),
    # offcuts.csv
    ("offcuts", [("1,small", "1,smal")], 'row 2, column bender: found "smal". There is no bender of that name'),
    ("offcuts", [("1,small,brake 3/16", "1,small,fuel")], 'row 2, column tube: found "fuel". There is no tube of that name'),
    ("offcuts", [("102.5,centre,2025-03-01,protractor", "102.5,centre,2025-03-01,eye")], 'column angle_tool: found "eye"'),
    ("offcuts", [("102.5,centre,2025-03-01,protractor", "102.5,centre,,rule")], "This tool measures length (tools.csv)"),
    ("offcuts", [("2,small", "1,small")], 'row 3, column offcut: found "1". Row 2 has the same offcut'),
    ("offcuts", [("92,90,", "92,ninety,")], 'row 2, column angle_deg: found "ninety". It is not an angle in degrees'),
    ("offcuts", [("92,90,", "92,,")], "row 2, column angle_deg: found an empty cell. It may not be left blank"),
    ("offcuts", [("92,90,", "92,nan,")], "(a value that is not known is left blank)"),
    ("offcuts", [("92,90,", "92,#REF!,")], 'found "#REF!". It is an error message of a spreadsheet'),
    ("offcuts", [("92,90,", '92,"1.234,5",')], 'found "1.234,5". It has a thousands separator'),
    ("offcuts", [(FIRST, FIRST.replace(",90,104.5", ",89,5,104,5").replace("102.5", "102,5"))], "row 2: found 18 cells in this row."),
    ("offcuts", [(FIRST, FIRST.replace(",90,104.5", ",89,5,104,5").replace("102.5", "102,5"))], "Likely a decimal comma split a figure"),
    ("offcuts", [("92,90,", "92,190,")], "row 2, column angle_deg: found 190.0°. A finished angle is how far the tube turns"),
    ("offcuts", [("92,90,", "182,90,")], "row 2, column dial_deg: found 182.0°. The dial of small ends at 180.0°"),
    ("offcuts", [("1,small,brake 3/16,200,90,", "1,small,brake 3/16,200,290,")], "row 2, column mark_mm: found 290.0 mm"),
    ("offcuts", [("1,small,brake 3/16,200,", "1,small,brake 3/16,-200,")], "row 2, column length_mm: found -200.0 mm"),
    ("offcuts", [("104.5,102.5", "104.5,5")], "row 2, column leg_b_mm: found 5.0 mm. A leg runs to the crossing of the legs"),
    ("offcuts", [("104.5,102.5", "154.5,102.5")], "row 2, column leg_a_mm: found legs of 154.5 mm and 102.5 mm"),
    ("offcuts", [("102.5,centre", "102.5,middle")], 'column legs_to: found "middle". It is none of: centre, outside, inside'),
    ("offcuts", [("protractor,rule,,\n2", "protractor,rule,no,\n2")], 'row 2, column set_aside: found "no". What stands here sets'),
    # lines.csv
    ("lines", [("rear,brake 3/16", "rear,brake 3/8")], 'lines.csv, row 2, column tube: found "brake 3/8". There is no tube of that name'),
    ("lines", [("rear,brake 3/16", "rear,brake 3/8")], "Write brake 3/16, if that is meant."),
    ("lines", [("front,brake 3/16,small", "front,brake 3/16,large")], 'row 3, column bender: found "large"'),
    ("lines", [("M10,M10,B", "M10,M12,B")], 'no end of that name in ends.csv; it has M10, plain.'),
    ("lines", [("small,brake,M10,M10", "small,brakes,M10,M10")], 'column service: found "brakes". It is none of: brake, clutch'),
    ("lines", [("M10,M10,B", "M10,M10,C")], 'column trim_at: found "C". It is none of: A, B'),
    ("lines", [("rear,", "back,")], "lines/back.csv: found no such file. The nodes or legs of the line back, which lines.csv names"),
    ("lines", [("rear,", "../rear,")], 'lines.csv, row 2, column line: found "../rear". A file carries the name'),
    ("lines", [("front,", "REAR,")], 'row 3, column line: found "REAR". Row 2 has the same line'),
    # lines/rear.csv, nodes
    ("lines/rear", [("100,0,0,\n", "0,0,0,\n")], "lines/rear.csv, row 3: found the same point as in the row above"),
    ("lines/rear", [("100,0,0,\n", "100,0,up,\n")], 'lines/rear.csv, row 3, column z_mm: found "up". It is not a length'),
    ("lines/rear", [("100,0,0,\n", "100,0\n")], "lines/rear.csv, row 3, column z_mm: found an empty cell"),
    ("lines/rear", [("100,80,0,clip\n100,80,60,seat\n", "50,0,0,clip\n")], "lines/rear.csv, row 3"),
    ("lines/rear", [("100,0,0,\n100,80,0,clip\n100,80,60,seat\n", "")], "found 1 node. A line has at least two nodes"),
    ("lines/rear", [("x_mm,y_mm,z_mm,label", "x,y,z,label")], 'found the columns "x", "y", "z", "label". A line is given by nodes'),
    ("lines/rear", [("x_mm,y_mm,z_mm,label", "x_mm,y_mm,z,label")], 'The column z_mm is required. Rename "z" to z_mm.'),
    ("lines/rear", [("x_mm,y_mm,z_mm,label", "x_mm,y_mm,z_mm,leg_mm")], "row 1: found columns of both kinds"),
    # lines/front.csv, legs
    ("lines/front", [("100,90,0", "100,90,15")], "lines/front.csv, row 2, column twist_deg: found 15.0°. The first bend has none"),
    ("lines/front", [("80,45,90", "80,45,270")], "found 270.0°. A twist lies between -180° and 180°. The same turn is -90.0°."),
    ("lines/front", [("80,45,90", "80,45,")], "row 3, column twist_deg: found an empty cell. Every bend but the first has a twist."),
    ("lines/front", [("80,45,90", "80,,90")], "row 3, column angle_deg: found an empty cell. Every leg but the last ends in a bend."),
    ("lines/front", [("80,45,90", "80,180,90")], "row 3, column angle_deg: found 180.0°. A bend turns by more than 0°"),
    ("lines/front", [("80,45,90", "0,45,90")], 'row 3, column leg_mm: found "0". It is not more than 0'),
    ("lines/front", [("\n120\n", "\n120,30,0\n")], "row 4, column angle_deg: found 30.0°. The last row has a leg only"),
    ("lines/front", [("100,90,0\n80,45,90\n120\n", "")], "lines/front.csv: found a header and no row. A line has at least one leg."),
    ("lines/front", [("angle_deg", "angel_deg")], 'The column angle_deg is required. Rename "angel_deg" to angle_deg.'),
]  # fmt: skip


@pytest.mark.parametrize(("file", "swaps", "told"), CELLS, ids=[f"{f}: {t[:60]}" for f, _, t in CELLS])
def test_a_spoiled_cell_gets_its_sentence(tmp_path: Path, file: str, swaps: list[tuple[str, str]], told: str) -> None:
    """One thing is wrong in an otherwise sound folder; the report says which, where, and what to do."""
    folder = write_shop(tmp_path, **{file.replace("/", "__"): changed(f"{file}.csv", *swaps)})
    assert told in report(folder)


def test_the_faults_of_all_files_come_in_one_report(tmp_path: Path) -> None:
    """Five spoiled files are five faults, in the order of the files, and not the first of them."""
    folder = write_shop(
        tmp_path,
        benders=changed("benders.csv", ("small,15", "small,wide")),
        tubes=changed("tubes.csv", ("0.71", "3")),
        offcuts=changed("offcuts.csv", ("92,90,", "92,x,"), ("2,small", "2,large")),
        lines=changed("lines.csv", ("M10,M10,B", "M10,M10,X")),
        lines__rear=changed("lines/rear.csv", ("100,0,0,", "100,0,?,")),
    )
    with pytest.raises(ShopFaults, match="6 faults must be put right first") as refusal:
        read_shop(folder)
    places = [(fault.file, fault.row, fault.column) for fault in refusal.value.faults]
    assert places == [
        ("benders.csv", 2, "die_radius_mm"),
        ("tubes.csv", 2, "wall_mm"),
        ("offcuts.csv", 2, "angle_deg"),
        ("offcuts.csv", 3, "bender"),
        ("lines.csv", 2, "trim_at"),
        ("lines/rear.csv", 3, "z_mm"),
    ]


def test_a_row_that_names_a_spoiled_row_is_not_faulted_as_well(tmp_path: Path) -> None:
    """The bender small is in benders.csv, whatever is wrong with its figures: the log names it rightly."""
    assert report(write_shop(tmp_path, benders=changed("benders.csv", ("small,15", "small,wide")))).startswith("1 fault ")
    assert report(write_shop(tmp_path, benders="bender\nsmall\n")).startswith("1 fault ")


HEADER = FILES["offcuts.csv"].splitlines()[0] + "\n"


@pytest.mark.parametrize("ending", ["", ",,,,,,,,"], ids=["typed short", "with commas to spare"])
@pytest.mark.parametrize(
    "figures", ["200,5,90,92,90", "200,90,5,92,90", "200,90,92,5,90", "200,90,92,89,5", "200,5,90,5,92,90", "200,5,90,92,90,104"]
)
def test_a_decimal_comma_that_hides_in_a_short_row_is_found(tmp_path: Path, figures: str, ending: str) -> None:
    """No cell is left over to show that a figure was split; the readings themselves tell it."""
    assert "offcuts.csv, row 2" in report(write_shop(tmp_path, offcuts=f"{HEADER}1,small,brake 3/16,{figures}{ending}\n"))


@pytest.mark.parametrize("figures", ["200,90,92,90", "200,90,92,90,104", "200,90,62,60,99,103", "200,5,92,90"])
def test_a_short_row_of_whole_figures_is_read(tmp_path: Path, figures: str) -> None:
    """Blank cells at a row's end may be left out; whole figures are not taken for split ones."""
    text = f"{HEADER}1,small,brake 3/16,{figures}\n"
    assert read_shop(write_shop(tmp_path, offcuts=text)).offcuts[0].length_mm == 200.0


def test_a_row_of_full_length_is_taken_as_it_stands(tmp_path: Path) -> None:
    """With every comma in its place nothing was split, however odd the readings are."""
    shop = read_shop(write_shop(tmp_path, offcuts=f"{HEADER}1,small,brake 3/16,200,5,90,92,90,,,,,,,\n"))
    assert (shop.offcuts[0].mark_mm, shop.offcuts[0].leg_a_mm, len(shop.cautions)) == (5.0, 90.0, 2)


def test_a_decimal_comma_among_nodes_is_found_by_its_label(tmp_path: Path) -> None:
    """x = 100,5 between commas moves z into the label; nodes that are simply numbered stay."""
    nodes = "x_mm,y_mm,z_mm,label\n0,0,0\n100,5,0,0\n100,80,0\n"
    assert 'lines/rear.csv, row 3, column label: found "0". A figure for a label' in report(write_shop(tmp_path, lines__rear=nodes))
    numbered = "x_mm,y_mm,z_mm,label\n0,0,0,1\n100,0,0,2\n100,80,0,3\n"
    assert read_shop(write_shop(tmp_path, lines__rear=numbered)).lines["rear"].labels == ("1", "2", "3")


def test_a_short_row_of_facts_that_may_hide_a_decimal_comma_is_a_caution(tmp_path: Path) -> None:
    """A die of 15,5 mm would be read as 15 mm and a dial step of 5 degrees."""
    shop = read_shop(write_shop(tmp_path, benders=changed("benders.csv", ("small,15,1,180,invented", "small,15,5"))))
    assert [c.sentence.partition(". ")[0] for c in shop.cautions] == ["benders.csv, row 2: found 3 cells in a row of 5 columns"]


def test_a_log_that_breaks_off_is_told(tmp_path: Path) -> None:
    """What is left of 90.5 would read as 9."""
    text = FILES["offcuts.csv"]
    broken = text[: text.index("47,45,") + 4]
    assert "row 3: found a last row of 7 cells without a line ending. A row that breaks off" in report(write_shop(tmp_path, offcuts=broken))
    assert len(read_shop(write_shop(tmp_path, offcuts=text.removesuffix("\n"))).offcuts) == 2


@pytest.mark.parametrize("file", ["benders", "tubes", "tools", "ends", "offcuts", "lines", "lines/rear"])
def test_a_file_that_is_none_is_told_from_its_content(tmp_path: Path, file: str) -> None:
    """Empty files, folders in a file's place and noise are told by name for every file."""
    for content, told in {
        b"": "found an empty file",
        b"\x00\x01\x02": "found bytes that are no text",
        b"PK\x03\x04xlsx": "found a spreadsheet's workbook",
        b"PK\x03\x04" + os.urandom(10_000_000): "found a spreadsheet's workbook",
    }.items():
        folder = write_shop(tmp_path, **{file.replace("/", "__"): content})
        assert f"{file}.csv: {told}" in report(folder)
    (folder / f"{file}.csv").unlink()
    (folder / f"{file}.csv").mkdir()
    assert f"{file}.csv: found a folder. A file is needed here. Rename the folder" in report(folder)


def test_a_missing_file_is_told_with_the_one_that_was_perhaps_meant(tmp_path: Path) -> None:
    """tube.csv, or a workbook beside it, is named."""
    folder = write_shop(tmp_path)
    for other in ("tube.csv", "tubes.xlsx", "tubes.csv.txt", "Tubes.ods"):
        (folder / "tubes.csv").rename(folder / other)
        assert f"tubes.csv: found no such file. A shop folder needs it. Perhaps {other} is meant" in report(folder)
        (folder / other).rename(folder / "tubes.csv")
    (folder / "tubes.csv").unlink()
    assert f"a row for each tube, or name the folder that has it: this one is {folder}." in report(folder)
    write_shop(tmp_path)
    (folder / "lines" / "rear.csv").rename(folder / "lines" / "raer.csv")
    assert "lines/rear.csv: found no such file" in report(folder)


def test_two_files_that_differ_in_case_only_are_a_fault(tmp_path: Path) -> None:
    """Which of the two is meant is not guessed."""
    folder = write_shop(tmp_path)
    (folder / "Tubes.csv").write_text(FILES["tubes.csv"])
    if len([entry for entry in os.listdir(folder) if entry.lower() == "tubes.csv"]) == 1:
        pytest.skip("this disk does not tell capitals apart")
    assert "tubes.csv: found Tubes.csv and tubes.csv, which differ in capitals only" in report(folder)


def test_what_is_no_shop_folder_is_refused(tmp_path: Path) -> None:
    """A missing folder, an empty one, a file, and a path that cannot be."""
    assert "nowhere: found no folder of this name. A shop is a folder with benders.csv" in report(tmp_path / "nowhere")
    told = report(tmp_path)
    assert "benders.csv: found no such file" in told
    assert "tubes.csv: found no such file" in told
    (tmp_path / "tubes.csv").write_text(FILES["tubes.csv"])
    assert "tubes.csv: found a file. A shop is a folder" in report(tmp_path / "tubes.csv")
    assert "found no folder of this name" in report(tmp_path / "a\0b")


def test_a_file_or_folder_that_may_not_be_read_is_told() -> None:
    """Missing rights get a sentence, for one file and for the whole folder."""
    with ordinary_user() as made:
        folder = write_shop(made / "shop")
        (folder / "tubes.csv").chmod(0)
        assert "tubes.csv: found a file that may not be read. Allow reading it" in report(folder)
        (folder / "tubes.csv").chmod(0o600)
        folder.chmod(0)
        assert "found a folder that may not be read" in report(folder)
        folder.chmod(0o700)


def test_a_pipe_in_a_files_place_does_not_hang(tmp_path: Path) -> None:
    """Reading it would wait for ever."""
    if not hasattr(os, "mkfifo"):
        pytest.skip("this system has no named pipes")
    folder = write_shop(tmp_path, tubes=None)
    os.mkfifo(folder / "tubes.csv")
    assert "tubes.csv: found something that is no file" in report(folder)


@given(st.sampled_from(sorted(FILES)), st.binary(max_size=60), st.integers(0, 400), st.integers(0, 40))
def test_any_damage_to_a_file_is_read_or_reported(file: str, patch: bytes, at: int, cut: int) -> None:
    """Bytes overwritten anywhere in any file bring a shop or a ShopFaults, and nothing else."""
    with tempfile.TemporaryDirectory() as made:
        text = FILES[file].encode()
        damaged = text[:at] + patch + text[at + cut :]
        folder = write_shop(Path(made), **{file.removesuffix(".csv").replace("/", "__"): damaged})
        try:
            shop = read_shop(folder)
        except ShopFaults as refusal:
            assert refusal.faults
            assert all(line.isprintable() for line in str(refusal).split("\n"))
        else:
            assert shop.tubes
