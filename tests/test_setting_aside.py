"""Setting aside and correcting: one cell changes, every other byte stays, and the history tells it."""

import csv
import warnings
from pathlib import Path

import pytest
from a_shop import FILES, changed, ordinary_user, write_shop
from hypothesis import given
from hypothesis import strategies as st

from bendcal import atomic
from bendcal.atomic import NotSaved
from bendcal.entries.one_cell import records_of
from bendcal.entries.setting_aside import HISTORY, correct_offcut, set_aside
from bendcal.faults import ShopFaults
from bendcal.files.folder import read_shop
from bendcal.files.log import KeptAside

READINGS = {
    "bender": "small", "tube": "brake 3/16", "length_mm": 200, "mark_mm": 90, "dial_deg": 47, "angle_deg": 44.5,
    "leg_a_mm": 96.5, "leg_b_mm": 104.5, "angle_tool": "protractor", "length_tool": "rule",
}  # fmt: skip


def history(folder: Path) -> list[list[str]]:
    """The lines of the history, without the time."""
    rows = list(csv.reader((folder / HISTORY).read_text(encoding="utf-8").splitlines()))
    return [row[1:] for row in rows[1:]]


def test_only_the_one_cell_changes(tmp_path: Path) -> None:
    """The reason stands in its cell; all else in the file is what it was, to the byte."""
    folder = write_shop(tmp_path)
    set_aside(folder, "2", "kinked")
    before, after = FILES["offcuts.csv"].encode(), (folder / "offcuts.csv").read_bytes()
    assert after == before[: -len(",\n")] + b"kinked,\n"
    assert [o.set_aside for o in read_shop(folder).offcuts] == ["", "kinked"]
    assert history(folder) == [["2", "set aside", "", "kinked"]]


def test_a_piece_counts_again_when_its_reason_is_taken_back(tmp_path: Path) -> None:
    """There and back the log is the same to the byte, and the history knows of both."""
    folder = write_shop(tmp_path)
    set_aside(folder, "1", "kinked, I think")
    set_aside(folder, "1", "")
    assert (folder / "offcuts.csv").read_text() == FILES["offcuts.csv"]
    assert history(folder) == [["1", "set aside", "", "kinked, I think"], ["1", "counts again", "kinked, I think", ""]]


def test_saying_the_same_again_writes_nothing(tmp_path: Path) -> None:
    """No line of history, and no new file."""
    folder = write_shop(tmp_path)
    set_aside(folder, "1", " ")
    assert not (folder / HISTORY).exists()


@pytest.mark.parametrize(
    ("old", "new"),
    [
        # semicolons, decimal commas, Windows line ends, and no line end after the last row
        (
            "offcut;bender;tube;length_mm;mark_mm;dial_deg;angle_deg;set_aside;who\r\n1;small;brake 3/16;200,5;90;92;90;;\"me; him\"\r\n2;small;brake 3/16;200;90;47;45",
            "offcut;bender;tube;length_mm;mark_mm;dial_deg;angle_deg;set_aside;who\r\n1;small;brake 3/16;200,5;90;92;90;\"so; so\";\"me; him\"\r\n2;small;brake 3/16;200;90;47;45",
        ),
        # a row that is shorter than the header
        (
            "offcut,bender,tube,length_mm,mark_mm,dial_deg,angle_deg,note,set_aside\n1,small,brake 3/16,200,90,92,90\n",
            "offcut,bender,tube,length_mm,mark_mm,dial_deg,angle_deg,note,set_aside\n1,small,brake 3/16,200,90,92,90,,so; so\n",
        ),
        # no column for it yet
        (
            "offcut,bender,tube,length_mm,mark_mm,dial_deg,angle_deg\n1,small,brake 3/16,200,90,92,90\n",
            "offcut,bender,tube,length_mm,mark_mm,dial_deg,angle_deg,set_aside\n1,small,brake 3/16,200,90,92,90,so; so\n",
        ),
        # a note over two lines, a quotation mark in it, a blank line, a separator line
        (
            'sep=,\noffcut,bender,tube,length_mm,mark_mm,dial_deg,angle_deg,note,set_aside\n\n2,small,brake 3/16,200,90,47,45,"he said ""a,\nb""",\n1,small,brake 3/16,200,90,92,90,,\n',
            'sep=,\noffcut,bender,tube,length_mm,mark_mm,dial_deg,angle_deg,note,set_aside\n\n2,small,brake 3/16,200,90,47,45,"he said ""a,\nb""",\n1,small,brake 3/16,200,90,92,90,,so; so\n',
        ),
    ],
)  # fmt: skip
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_the_log_keeps_its_own_form(tmp_path: Path, old: str, new: str, encoding: str) -> None:
    """Whatever wrote it, the rest of the file stays as it is."""
    folder = write_shop(tmp_path, offcuts=old.encode(encoding))
    set_aside(folder, "1", "so; so")
    assert (folder / "offcuts.csv").read_bytes() == new.encode(encoding)


@given(st.lists(st.lists(st.text('ab,;"\n\r ', max_size=5), min_size=1, max_size=4), min_size=1, max_size=5))
def test_rows_are_taken_apart_as_python_does_it(rows: list[list[str]]) -> None:
    """The places of the cells are those that Python's own reader finds, whatever stands in them."""
    import io

    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerows(rows)
    text = out.getvalue()
    found = [[text[a:b] for a, b in spans] for spans in records_of(text, ",")]
    again = [next(csv.reader(io.StringIO(",".join(cells), newline="")), [""]) or [""] for cells in found]
    assert again == [row or [""] for row in csv.reader(io.StringIO(text, newline=""))]


def test_a_reason_that_is_none_is_refused(tmp_path: Path) -> None:
    """A bare no would say the opposite of what it does; nothing is written."""
    folder = write_shop(tmp_path)
    with pytest.raises(ShopFaults, match="What stands here sets the piece aside"):
        set_aside(folder, "1", "no")
    assert (folder / "offcuts.csv").read_text() == FILES["offcuts.csv"]
    assert not (folder / HISTORY).exists()


def test_a_piece_that_cannot_be_right_does_not_count_again(tmp_path: Path) -> None:
    """One that was set aside because it is impossible stays so."""
    folder = write_shop(tmp_path, offcuts=changed("offcuts.csv", (",92,90,104.5,102.5,centre,2025-03-01,protractor,rule,,", ",62,90,104.5,102.5,centre,2025-03-01,protractor,rule,misread,")))
    with pytest.raises(ShopFaults, match="A bend does not finish further than its dial went"):
        set_aside(folder, "1", "")
    assert read_shop(folder).offcuts[0].set_aside == "misread"


def test_a_name_that_is_not_there_is_told(tmp_path: Path) -> None:
    """With what to do about it."""
    with pytest.raises(ShopFaults, match='found "9". offcuts.csv has no offcut of that name. Look at the spelling'):
        set_aside(write_shop(tmp_path), "9", "kinked")


def test_a_correction_keeps_the_old_row_with_its_values(tmp_path: Path) -> None:
    """The old row stands, set aside and pointing to the new one; only the new one counts."""
    folder = write_shop(tmp_path)
    piece = correct_offcut(folder, "2", **READINGS)
    old, new = read_shop(folder).offcuts[1:]
    assert (old.offcut, old.angle_deg, old.set_aside) == ("2", 45.0, "corrected: see 3")
    assert (new.offcut, new.angle_deg, new.set_aside) == ("3", 44.5, "") and new == piece
    assert history(folder) == [["2", "set aside", "", "corrected: see 3"]]


def test_a_correction_that_cannot_be_right_changes_nothing(tmp_path: Path) -> None:
    """Neither row is touched."""
    folder = write_shop(tmp_path)
    with pytest.raises(ShopFaults, match="A bend does not finish further than its dial went"):
        correct_offcut(folder, "2", **READINGS | {"angle_deg": 95})
    with pytest.raises(ShopFaults, match="has no offcut of that name"):
        correct_offcut(folder, "9", **READINGS)
    assert (folder / "offcuts.csv").read_text() == FILES["offcuts.csv"]


def _held_open(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    real = atomic._replace

    def refuse(temporary: Path, target: Path) -> None:
        if target.name == name:
            raise PermissionError(13, "held open")
        real(temporary, target)

    monkeypatch.setattr(atomic, "_replace", refuse)


def test_a_log_that_is_held_open_stays_as_it_is_and_the_history_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The error tells to close it; the line of history is followed by one that takes it back."""
    folder = write_shop(tmp_path)
    _held_open(monkeypatch, "offcuts.csv")
    with pytest.raises(NotSaved, match="close it there, then save again"):
        set_aside(folder, "1", "kinked")
    assert (folder / "offcuts.csv").read_text() == FILES["offcuts.csv"]
    assert history(folder)[-1] == ["1", "not saved; it is as it was", "kinked", ""]


def test_a_correction_of_a_log_that_is_held_open_loses_no_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The new row waits in the side file, and the person is told that the old one still counts."""
    folder = write_shop(tmp_path)
    _held_open(monkeypatch, "offcuts.csv")
    with pytest.warns(KeptAside, match="Offcut 2 counts until you set it aside"):
        correct_offcut(folder, "2", **READINGS)
    assert [o.angle_deg for o in read_shop(folder).offcuts] == [90.0, 45.0, 44.5]


def test_where_nothing_may_be_written_nothing_is() -> None:
    """The error is a sentence."""
    with ordinary_user() as made:
        folder = made / "shop"
        folder.mkdir()
        write_shop(folder).chmod(0o555)
        try:
            with pytest.raises(NotSaved, match="nothing may be written in the folder"):
                set_aside(folder, "1", "kinked")
        finally:
            folder.chmod(0o777)


def test_no_warning_in_a_plain_correction(tmp_path: Path) -> None:
    """Nothing is said where nothing is amiss."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        correct_offcut(write_shop(tmp_path), "2", **READINGS)
