"""One CSV file at a time: what spreadsheets make of it, and what is refused by name."""

import random
import re
import time
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from bendcal.faults import Fault, ShopFaults
from bendcal.files.cells import Column, header_key, name_key
from bendcal.files.columns import OFFCUTS
from bendcal.files.tables import Table, read_table, table_of

COLUMNS = (
    Column("tube", required=True, filled=True),
    Column("od_mm", "length", required=True, filled=True, above=0),
    Column("form", "choice", choices=("single flare", "centre")),
    Column("note"),
)
GOOD = "tube,od_mm,form,note\nthin,4.76,single flare,invented\nthick,8,,\n"
WANTED = [
    (2, {"tube": "thin", "od_mm": 4.76, "form": "single flare", "note": "invented"}),
    (3, {"tube": "thick", "od_mm": 8.0, "form": "", "note": ""}),
]


def read(data: bytes | str, columns: tuple[Column, ...] = COLUMNS) -> tuple[Table | None, list, list[Fault]]:
    """The table, its sound rows as (row, values), and the faults."""
    faults: list[Fault] = []
    table = table_of(data.encode() if isinstance(data, str) else data, "tubes.csv", columns, faults)
    rows = [] if table is None else [(r.row, r.values) for r in table.records(faults)]
    return table, rows, faults


def sentences(data: bytes | str, columns: tuple[Column, ...] = COLUMNS) -> str:
    """Every fault of a file, one sentence a line."""
    return "\n".join(fault.sentence for fault in read(data, columns)[2])


@pytest.mark.parametrize(
    "data",
    [
        GOOD,
        GOOD.rstrip("\n"),
        GOOD.replace("\n", "\r\n"),
        GOOD.replace("\n", "\r"),
        b"\xef\xbb\xbf" + GOOD.encode(),
        ("\ufeff" + GOOD).encode("utf-16-le"),
        ("\ufeff" + GOOD.replace(",", "\t")).encode("utf-16-be"),
        GOOD.replace(",", "\t"),
        GOOD.replace(",", ";").replace("4.76", "4,76"),
        "sep=;\n" + GOOD.replace(",", ";").replace("4.76", "4,76"),
        GOOD.replace("4.76", '"4,76"'),
        GOOD.replace("4.76", " 4.76 mm\u00a0"),
        GOOD.replace("tube,od_mm,form,note", " Tube , OD (mm),FORM,Note "),
        GOOD.replace("single flare", "Single  Flare"),
        GOOD + ",,,\n\n   \n",
        GOOD.replace("\n", ",,\n"),
        GOOD.replace("\nth", ",,\nth").replace("form,note,,", "form,note") + ",,,,,,\n",
        GOOD.replace("thick,8,,", "thick,8"),
    ],
    ids=[
        "plain", "no last line ending", "CRLF", "CR", "byte order mark", "UTF-16 LE", "UTF-16 BE and tabs", "tabs",
        "semicolons and decimal commas", "sep line", "quoted decimal comma", "unit and blanks in a cell",
        "headers in another case", "choice in another case", "blank rows at the end", "blank columns at the end", "blank cells too many",
        "a short row",
    ],
)  # fmt: skip
def test_a_table_reads_the_same_however_a_spreadsheet_saved_it(data: bytes | str) -> None:
    """Each of these habits gives the very same rows, at the same row numbers."""
    _, rows, faults = read(data)
    assert faults == []
    assert rows == WANTED


def test_rows_are_numbered_as_a_spreadsheet_shows_them() -> None:
    """Blank rows count, and a cell over two lines is one row."""
    _, rows, faults = read('tube,od_mm,note\n\na,1,"two\nlines"\n,,\nb,2,\n')
    assert [row for row, _ in rows] == [3, 5]
    assert faults == []
    assert "tubes.csv, row 5, column od_mm" in sentences('tube,od_mm,note\n\na,1,"two\nlines"\n,,\nb,x,\n')


def test_extra_columns_are_left_alone() -> None:
    """A column that the kit does not know is no fault, whatever is in it and wherever it stands."""
    _, rows, faults = read("who,tube,od_mm,#\nme,thin,4.76,#REF!\n")
    assert faults == []
    assert rows[0][1]["tube"] == "thin"


def test_a_column_that_is_nearly_known_is_pointed_out() -> None:
    """A misspelled optional column would be left alone in silence; so a caution names it."""
    columns = (Column("tube", required=True), Column("set_aside"))
    table, _, faults = read("tube,set asside\nthin,bent twice\n", columns)
    assert faults == []
    assert [c.sentence for c in table.cautions] == [
        'tubes.csv, row 1, column set asside: found a column named "set asside". A column that is not known is left '
        "alone. If it is meant to be set_aside, rename it."
    ]


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ("", "tubes.csv: found an empty file. The first row names the columns. Write the header row: tube"),
        ("\ufeff \n", "found an empty file"),
        (",,\n,,\n", "found no header"),
        (GOOD.replace("od_mm", "diameter"), "row 1, column od_mm: found no such column; there are"),
        (GOOD.replace("od_mm", "od"), 'The column od_mm is required. Rename "od" to od_mm.'),
        ("thin,4.76\n", 'found a first row with "thin", "4.76". The first row names the columns. Put a header row on top that'),
        (GOOD.replace("od_mm", "odmm"), 'Rename "odmm" to od_mm.'),
        (GOOD.replace("note", "OD mm"), "found two columns named od_mm. A column is named once."),
        (GOOD.replace("4.76", "4,76"), "row 2: found 5 cells in this row. The header names 4 columns. Likely a decimal comma"),
        (GOOD.replace(",", ";").replace("invented", "a;b"), "Remove what does not belong to a column."),
        (GOOD.replace("4.76", "-4.76"), 'row 2, column od_mm: found "-4.76". It is not more than 0'),
        (GOOD.replace("4.76", "0"), "It is not more than 0"),
        (GOOD.replace("4.76", "1e300"), 'column od_mm: found "1e300". It is beyond 100000, where nothing of a shop'),
        (GOOD.replace("4.76", ""), "row 2, column od_mm: found an empty cell. It may not be left blank. Fill in od_mm."),
        (GOOD.replace("thin", ""), "row 2, column tube: found an empty cell"),
        (GOOD.replace("thin", "th\x01in"), 'column tube: found "th\\x01in". It holds a character that does not show'),
        (GOOD.replace("thin", "#NAME?"), "It is an error message of a spreadsheet"),
        (GOOD.replace("single", "singel"), 'found "singel flare". It is none of: single flare, centre'),
        (GOOD.replace("single", "singel"), "Perhaps single flare is meant."),
        (GOOD.replace("4.76", "#REF!").replace("thick,8", "thick,wide"), 'row 3, column od_mm: found "wide"'),
        (GOOD.replace("4.76", '"4.76'), "row 2: found a quotation mark out of place"),
        (GOOD.replace("4.76", '"4.76"x'), "row 2: found a quotation mark out of place"),
        (GOOD.replace("invented", "K\u00fcche").encode("cp1252"), 'row 2: found a letter (perhaps "ü") that is written in another way than UTF-8'),
        (GOOD.encode("utf-16-le"), "found bytes that are no text. A table is a CSV file"),
        (b"\xff\xfe" + b"abc", "found bytes that are no text"),
        (b"PK\x03\x04" + bytes(100), "found a spreadsheet's workbook (or another packed file)"),
        (b"\xd0\xcf\x11\xe0" + bytes(100), "found an old spreadsheet's workbook"),
        (b"%PDF-1.7\n", "found a PDF"),
        (b"<html>", "found a web page"),
        ("tube,od_mm\n" + "x" * 140_000 + ",1\n", "found a cell of more than 100 000 characters"),
        (",".join(["tube", "od_mm", *map(str, range(600))]) + "\n", "A table has at most 50000 rows and 500 columns."),
    ],
)  # fmt: skip
def test_a_faulty_table_is_refused_with_what_was_found(data: bytes | str, told: str) -> None:
    """Each fault names the file, the row and the column, what is there, the rule and the remedy."""
    assert told in sentences(data)


def test_every_fault_of_a_table_is_told_at_once() -> None:
    """Three wrong cells in two rows are three faults, not the first one of them."""
    assert len(read(GOOD.replace("thin,4.76,single flare", ",wide,none").replace("8", "0"))[2]) == 4


def test_a_table_of_the_wrong_kind_is_not_told_to_its_end() -> None:
    """After 200 faults of one file there is one that says so; the report of a shop shows 40."""
    faults = read("tube,od_mm\n" + "x,y\n" * 5000)[2]
    assert len(faults) == 201
    assert faults[-1].rule == "Only the first 200 faults of a file are listed."
    report = str(ShopFaults(faults))
    assert report.startswith("201 faults must be put right first:\n  1. tubes.csv, row 2, column od_mm:")
    assert report.endswith("… and 161 more; they are all in .faults")


@pytest.mark.parametrize(
    ("cell", "others", "value"),
    [('"4,763"', "0.71", None), ('"4,763"', '"0,71"', 4.763), ("4.763", "0.71", 4.763), ("4.763", '"0,71"', None)],
)
def test_what_reads_in_two_ways_is_settled_by_the_rest_of_the_file(cell: str, others: str, value: float | None) -> None:
    """4,763 is a decimal comma where the file shows others of its kind; else it is refused, not guessed."""
    columns = (Column("od_mm", "length", required=True), Column("wall_mm", "length"))
    _, rows, faults = read(f"od_mm,wall_mm\n{cell},{others}\n", columns)
    if value is None:
        assert "It can be read in two ways" in faults[0].sentence
    else:
        assert rows[0][1]["od_mm"] == value


def test_a_lone_three_figure_comma_between_semicolons_is_decimal() -> None:
    """A spreadsheet writes semicolons where the comma is the decimal sign."""
    _, rows, faults = read("od_mm;tube\n4,763;x\n")
    assert (faults, rows[0][1]["od_mm"]) == ([], 4.763)
    assert "It can be read in two ways" in sentences("od_mm;tube\n4.763;x\n")


def test_what_is_no_readable_file_is_refused(tmp_path: Path) -> None:
    """A missing file, a folder, a far too large file and a pipe each get a sentence and at once."""
    faults: list[Fault] = []
    (tmp_path / "folder.csv").mkdir()
    with open(tmp_path / "large.csv", "wb") as large:
        large.truncate(21_000_000)
    for name, told in {
        "none.csv": "none.csv: found no such file",
        "folder.csv": "folder.csv: found a folder. A file is needed here",
        "large.csv": "large.csv: found 21 MB. A table has at most 20 MB",
        "bad\0name.csv": "found a file that cannot be read",
    }.items():
        assert read_table(tmp_path / name, name, COLUMNS, faults) is None
        assert told in faults.pop().sentence


@pytest.mark.parametrize("kind", ["bytes", "bytes without 0", "letters", "digits and commas", "short lines"])
def test_ten_megabytes_of_noise_are_refused_quickly(tmp_path: Path, kind: str) -> None:
    """The wrong file gets its sentence within seconds, not a frozen notebook."""
    noise = random.Random(1)
    size = 10_000_000
    data = noise.randbytes(size)
    if kind == "bytes without 0":
        data = data.replace(b"\0", b"\1")
    elif kind == "letters":
        data = b"tube,od_mm\n" + bytes(97 + byte % 26 for byte in data[:1000]) * (size // 1000)
    elif kind == "digits and commas":
        data = b"tube,od_mm\n" + b"1,2,3\n" * (size // 6)
    elif kind == "short lines":
        data = b"tube,od_mm\n" + b"a,b\n" * (size // 4)
    (tmp_path / "tubes.csv").write_bytes(data)
    faults: list[Fault] = []
    began = time.perf_counter()
    table = read_table(tmp_path / "tubes.csv", "tubes.csv", COLUMNS, faults)
    if table is not None:
        table.records(faults)
    assert faults
    assert time.perf_counter() - began < 5.0


def test_headers_and_names_are_compared_without_case_and_spacing() -> None:
    """A header may be typed as in a sentence; a name may be typed in capitals."""
    assert header_key(" Leg A (mm)") == "leg_a_mm"
    assert name_key("Cafe\u0301  Tube") == name_key("CAFÉ tube")
    assert name_key("tube 1") != name_key("tube 2")


@given(st.binary(max_size=400))
@example(b"\xff\xfe")
@example(b"offcut\n\0")
@example(b'\xef\xbb\xbf"')
@example(b"sep=")
@example("\u200b,\u200b\n\u200b".encode())
def test_any_bytes_are_a_table_or_faults(data: bytes) -> None:
    """No bytes whatever bring anything but a table or faults in whole sentences."""
    _, _, faults = read(data, OFFCUTS)
    assert faults, "400 bytes of noise are no log of offcuts"
    assert all(re.search(r"[.!?]$", fault.sentence) for fault in faults)


CELLS = st.one_of(
    st.sampled_from(["", "1", "small", "92,5", "92.5°", "3/16 in", "#REF!", "centre", "1.234,5", "nan", '"', "=1", "\u00a0"]),
    st.text(max_size=6),
)


@given(
    st.permutations([column.name for column in OFFCUTS]),
    st.lists(st.lists(CELLS, max_size=17), max_size=4),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
)
def test_any_cells_under_a_sound_header_are_rows_or_faults(
    header: list[str], rows: list[list[str]], delimiter: str, encoding: str
) -> None:
    """Each row below a sound header is a record, or at least one fault, or blank."""
    text = "\n".join(delimiter.join(cells) for cells in [header, *rows])
    table, sound, faults = read(text.encode(encoding, errors="replace"), OFFCUTS)
    if table is None:
        assert faults
    else:
        told = {fault.row for fault in faults} | {row for row, _ in sound}
        assert told == {row for row, _ in table.rows}


def test_a_missing_header_is_told_with_its_columns() -> None:
    """Those that it needs and those that it may have."""
    columns = (Column("tube", required=True), Column("od_mm", "length", required=True), Column("note"))
    for data in ("", ",,\n"):
        assert read(data, columns)[2][0].remedy == "Write the header row: tube, od_mm; and, where you have them, note."
