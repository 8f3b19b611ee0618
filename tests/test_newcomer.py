"""What a person meets who comes to the command with a shop of their own: a sentence for each mishap, and nothing half done."""

import hashlib
from pathlib import Path

import pytest
from a_shop import changed, ordinary_user, write_shop

from bendcal.atomic import NotSaved
from bendcal.cli import main
from bendcal.files.folder import read_shop
from bendcal.lab import notebooks_folder, own_notebooks

HEADER = "offcut,bender,tube,length_mm,mark_mm,dial_deg,angle_deg,leg_a_mm,leg_b_mm\n"
ROW = "1,small,brake 3/16,200,90,92,90,104.5,102.5\n"

#: What is in offcuts.csv → what the command says of it.
MISHAPS = {
    "inches without their unit": (HEADER + "1,small,brake 3/16,7.87,3.54,92,90,4.11,4.04\n", "If inches are meant, write the unit into every such cell"),
    "decimal commas between commas": (HEADER + "1,small,brake 3/16,200,90,92,89,5,104,5,102,5\n", "Likely a decimal comma split a figure in two"),
    "no dial": ((HEADER + ROW).replace(",dial_deg", "").replace(",92", ""), "The column dial_deg is required. Add a column dial_deg."),
    "a header only": (HEADER, "Bend a marked offcut, measure it, and enter it in offcuts.csv."),
    "no such tube": (HEADER + ROW.replace("brake 3/16", "brake 3/8"), "it has brake 3/16. Write brake 3/16, if that is meant."),
    "one name for two pieces": (HEADER + ROW + ROW.replace("90,92,90", "90,62,60"), "Row 2 has the same offcut"),
    "no numbers": (HEADER + ROW.replace("92,90", "inf,NaN"), "a value that is not known is left blank"),
    "Windows-1252": ((HEADER.replace("\n", ",note\n") + ROW.replace("\n", ",Größe\n")).encode("cp1252"), "save it as the file type “CSV UTF-8”"),
    "noise": (bytes(range(256)) * 40_000, "found bytes that are no text"),
    "a book": ("lorem ipsum, dolor\n" * 550_000, "row 50001: found more than 50000 rows. A table has at most 50000 rows"),
    "one long row": (HEADER + "," * 600 + "x\n", "found 601 cells in this row"),
    "a file that was cut off": (HEADER + ROW + "2,small,brake 3/16,200,9", "A row that breaks off has perhaps lost its end."),
}


def left(folder: Path) -> dict[str, str]:
    """Every file below a folder, with its content."""
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("mishap", MISHAPS)
def test_a_mishap_gets_a_sentence_and_changes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str], mishap: str) -> None:
    """The command ends with 2 and says what to do; every file is as it was, and none is new."""
    content, told = MISHAPS[mishap]
    folder = write_shop(tmp_path / "my shop", offcuts=content)
    before = left(folder)
    assert main(["calibrate", str(folder)]) == 2
    error = capsys.readouterr().err
    assert told in error and "Traceback" not in error
    assert left(folder) == before


def test_a_spreadsheet_of_another_country_needs_no_change(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Semicolons, decimal commas, a byte order mark and CRLF, as many spreadsheets save; one offcut is enough to begin."""
    text = (HEADER + ROW).replace(",", ";").replace(".", ",").replace("\n", "\r\n")
    assert main(["calibrate", str(write_shop(tmp_path, offcuts=b"\xef\xbb\xbf" + text.encode()))]) == 0
    assert "One offcut, finished at 90.0°, taught it; three or more, at different angles, make it trustworthy." in " ".join(capsys.readouterr().out.split())


def test_a_workbook_in_the_place_of_a_table_is_named_with_what_to_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Renaming it would not help: it has to be saved as another type of file."""
    folder = write_shop(tmp_path, offcuts=None)
    (folder / "offcuts.xlsx").write_bytes(b"PK\x03\x04")
    assert main(["calibrate", str(folder)]) == 2
    assert "open it in the spreadsheet and save it as offcuts.csv, of the file type “CSV UTF-8”" in " ".join(capsys.readouterr().out.split())


def test_an_empty_folder_is_told_what_it_needs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both files that a shop cannot do without, and which folder was looked into."""
    assert main(["calibrate", str(tmp_path)]) == 2
    error = capsys.readouterr().err
    assert all(f"{name}.csv: found no such file. A shop folder needs it." in error for name in ("benders", "tubes"))
    assert str(tmp_path) in error


def test_one_tube_is_not_compared_with_itself(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A row of noughts would say that all is well."""
    assert main(["compare", str(write_shop(tmp_path)), "brake 3/16", "brake 3/16"]) == 2
    assert "named twice, and does not differ from itself" in capsys.readouterr().err


@pytest.mark.parametrize("words", [["calibrate"], ["marks", "rear"], ["print", "rear"], ["worksheet"], ["mirror", "rear", "right"]])
def test_a_folder_that_may_not_be_written_to_is_told_with_the_remedy(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    """Every command that writes says that it could not, where, and what helps; where it may write it does."""
    # Done first: whatever is loaded along the way may lie where an ordinary user cannot read it.
    assert main([words[0], str(write_shop(tmp_path)), *words[1:]]) == 0
    capsys.readouterr()
    with ordinary_user() as made:
        folder = write_shop(made / "my shop")
        before = left(folder)
        folder.chmod(0o555)
        try:
            assert main([words[0], str(folder), *words[1:]]) == 2
        finally:
            folder.chmod(0o755)
        error = " ".join(capsys.readouterr().err.split())
        assert "Allow writing" in error and "copy" in error and "my shop" in error
        assert left(folder) == before


def test_pages_are_not_copied_where_nothing_may_be_written() -> None:
    """The same for the notebooks of one's own."""
    with ordinary_user() as made:
        folder = write_shop(made / "my shop")
        shop = read_shop(folder)
        folder.chmod(0o555)
        with pytest.raises(NotSaved, match="notebooks cannot be made .* Allow writing in"):
            own_notebooks(shop, notebooks_folder())
        folder.chmod(0o755)


def test_a_fault_in_one_row_is_put_right_and_the_next_run_goes_on(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The sentence leads to the cell; nothing of the failed run is in the way."""
    folder = write_shop(tmp_path, offcuts=changed("offcuts.csv", ("92,90,", "92,9O,")))
    assert main(["calibrate", str(folder)]) == 2
    assert 'offcuts.csv, row 2, column angle_deg: found "9O"' in capsys.readouterr().err
    write_shop(folder)
    assert main(["calibrate", str(folder)]) == 0
