"""Offcuts written into the log: nothing lost, nothing altered, whoever else writes and whatever fails."""

import csv
import datetime
import os
import signal
import subprocess
import sys
import textwrap
import time
import warnings
from pathlib import Path

import numpy as np
import pytest
from a_shop import FILES, changed, ordinary_user, write_shop
from hypothesis import given
from hypothesis import strategies as st

from bendcal import atomic
from bendcal.atomic import NotSaved
from bendcal.entries.appending import append_offcut
from bendcal.faults import ShopFaults
from bendcal.files.cells import cell_value
from bendcal.files.columns import OFFCUTS
from bendcal.files.folder import read_shop
from bendcal.files.log import KeptAside, locked, with_row
from bendcal.files.tables import table_of
from bendcal.offcuts import Offcut

ROOT = Path(__file__).resolve().parent.parent
READINGS = {
    "bender": "small", "tube": "brake 3/16", "length_mm": 200.0, "mark_mm": 90.0, "dial_deg": 62.0, "angle_deg": 60.1,
    "leg_a_mm": 98.9, "leg_b_mm": 103.05,
}  # fmt: skip


def append(folder: Path, **changes: object) -> Offcut:
    """Append a sound offcut, with changes."""
    return append_offcut(folder, **(READINGS | changes))


def log(folder: Path) -> bytes:
    """The bytes of the log."""
    return (folder / "offcuts.csv").read_bytes()


def leftovers(folder: Path) -> list[str]:
    """What is in the folder beyond tables and the lock."""
    return sorted(p.name for p in folder.iterdir() if p.suffix != ".csv" and p.name not in (".offcuts.lock", "lines"))


def test_an_offcut_is_on_the_disk_when_it_returns(tmp_path: Path) -> None:
    """The old rows keep their bytes, the new one holds every figure, and reading gives the same offcut."""
    folder = write_shop(tmp_path)
    piece = append(folder, date=datetime.date(2025, 4, 1), angle_tool="protractor", note='cut "rough", twice')
    assert log(folder) == FILES["offcuts.csv"].encode() + (
        b'3,small,brake 3/16,200,90,62,60.1,98.9,103.05,centre,2025-04-01,protractor,,,"cut ""rough"", twice"\n'
    )
    assert read_shop(folder).offcuts[-1] == piece
    assert (piece.offcut, piece.row, piece.note) == ("3", 4, 'cut "rough", twice')
    assert leftovers(folder) == []


def test_the_first_offcut_makes_the_log(tmp_path: Path) -> None:
    """The new file has every column that the kit knows."""
    folder = write_shop(tmp_path, offcuts=None)
    assert append(folder).offcut == "1"
    assert log(folder).decode().splitlines()[0] == ",".join(column.name for column in OFFCUTS)
    assert len(read_shop(folder).offcuts) == 1


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (
            "\ufeffnote;bender;offcut;tube;who;length_mm;mark_mm;dial_deg;angle_deg;leg_a_mm;leg_b_mm;legs_to\r\n"
            "a;small;K-007;brake 3/16;me;200,5;90;92;90;;;\r\n",
            ";small;K-008;brake 3/16;;200;90;62;60,1;98,9;103,05;centre\r\n",
        ),
        (
            "offcut\tbender\ttube\tlength_mm\tmark_mm\tdial_deg\tangle_deg\tleg_a_mm\tleg_b_mm\tlegs_to\t\t\n"
            "7\tsmall\tbrake 3/16\t200\t90\t92\t90\t\t\t\t\t",
            "\n8\tsmall\tbrake 3/16\t200\t90\t62\t60.1\t98.9\t103.05\tcentre\t\t\n",
        ),
        (
            "sep=;\nOffcut;Bender;Tube;Length (mm);Mark mm;Dial deg;Angle deg;Leg A mm;Leg B mm;Legs to\n",
            "1;small;brake 3/16;200;90;62;60,1;98,9;103,05;centre\n",
        ),
        (
            "offcut,bender,tube,length_mm,mark_mm,dial_deg,angle_deg,leg_a_mm,leg_b_mm,legs_to\r"
            'x,small,brake 3/16,"200,5",90,92,90,,,',
            '\rr2,small,brake 3/16,200,90,62,"60,1","98,9","103,05",centre\r',
        ),
    ],
    ids=["semicolons, commas, mark, CRLF, own order", "tabs, blank columns, no last line ending", "sep line, odd headers", "CR, quotes"],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16-le"])
def test_the_log_keeps_its_own_form(tmp_path: Path, old: str, new: str, encoding: str) -> None:
    """Delimiter, decimal sign, mark, line ending, order and further columns stay, and old rows their bytes."""
    if encoding == "utf-16-le":
        old = "\ufeff" + old.lstrip("\ufeff")
    folder = write_shop(tmp_path, offcuts=old.encode(encoding))
    append(folder, **({"offcut": "r2"} if "\rr2" in new else {}))
    assert log(folder) == (old + new).encode(encoding)
    assert read_shop(folder).offcuts[-1].leg_b_mm == 103.05


def test_a_column_that_the_log_lacks_is_added_at_its_end(tmp_path: Path) -> None:
    """Only the header's line grows; every row keeps its bytes and reads as before."""
    old = b"\xef\xbb\xbfoffcut;bender;tube;length_mm;mark_mm;dial_deg;angle_deg;who\r\n1;small;brake 3/16;200;90;92;90,5;me\r\n"
    folder = write_shop(tmp_path, offcuts=old)
    append(folder, note="hot", extra={"who": "you", "weather; outside": "wet"}, legs_to="")
    assert log(folder) == old.replace(b"who\r\n", b'who;leg_a_mm;leg_b_mm;note;"weather; outside"\r\n') + (
        b"2;small;brake 3/16;200;90;62;60,1;you;98,9;103,05;hot;wet\r\n"
    )
    first, second = read_shop(folder).offcuts
    assert (first.leg_a_mm, first.angle_deg, second.leg_a_mm, second.note) == (None, 90.5, 98.9, "hot")


def test_readings_may_be_given_as_text(tmp_path: Path) -> None:
    """Fractions of an inch, decimal commas and units are taken as a cell would be; numpy's numbers too."""
    folder = write_shop(tmp_path)
    piece = append(folder, length_mm='7 7/8"', mark_mm="9 cm", dial_deg="62°", angle_deg="60,1", leg_a_mm="", leg_b_mm=None)
    assert (piece.length_mm, piece.mark_mm, piece.dial_deg, piece.angle_deg, piece.leg_a_mm) == (200.025, 90.0, 62.0, 60.1, None)
    piece = append(folder, length_mm=np.float64(200.1), mark_mm=np.int64(90), angle_deg=np.float32(60.5), offcut=17)
    assert read_shop(folder).offcuts[-1] == piece
    assert (piece.offcut, piece.length_mm, piece.angle_deg) == ("17", 200.1, 60.5)


@given(st.floats(0.001, 5000), st.sampled_from([",", ";"]))
def test_every_figure_of_a_reading_survives(value: float, delimiter: str) -> None:
    """The text that is written means the very same float, with a point or with a comma."""
    header = delimiter.join(column.name for column in OFFCUTS)
    data = f"{header}\n".encode()
    more = with_row(table_of(data, "x", OFFCUTS, []), data, {"offcut": "1", "length_mm": value, "leg_a_mm": 0.5}, {})
    faults: list = []
    table = table_of(more, "x", OFFCUTS, faults)
    _, cells = table.rows[0]
    columns = {column.name: column for column in OFFCUTS}
    assert cell_value(table.cell(cells, "length_mm"), columns["length_mm"], decimal=table.decimal) == value


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"offcut": "2"}, 'new offcut 2, column offcut: found "2". offcuts.csv has an offcut of that name already'),
        ({"offcut": "2"}, "Choose another name; 3 is free."),
        ({"bender": "smal"}, 'new offcut 3, column bender: found "smal". There is no bender of that name'),
        ({"tube": "fuel"}, 'column tube: found "fuel". There is no tube of that name'),
        ({"bender": ""}, "column bender: found nothing. It may not be left blank"),
        ({"length_mm": None}, "column length_mm: found nothing. It may not be left blank"),
        ({"length_mm": "long"}, 'column length_mm: found "long". It is not a length'),
        ({"angle_deg": float("nan")}, 'column angle_deg: found "nan". It is not a number. Give angle_deg as a number'),
        ({"angle_deg": True}, 'column angle_deg: found "True". It is not a number'),
        ({"angle_deg": 160.0}, "column angle_deg: found 160.0° at a dial of 62.0°. A bend does not finish further"),
        ({"dial_deg": 200.0}, "The dial of small ends at 180.0°"),
        ({"leg_a_mm": 3.0}, "column leg_a_mm: found 3.0 mm. A leg runs to the crossing"),
        ({"legs_to": "middle"}, 'column legs_to: found "middle". It is none of: centre, outside, inside'),
        ({"angle_tool": "eye"}, 'column angle_tool: found "eye". There is no tool of that name'),
        ({"set_aside": "no"}, 'column set_aside: found "no"'),
        ({"note": "a\0b"}, "It cannot be written into a table."),
        ({"note": "\ud800"}, "It cannot be written into a table."),
        ({"note": "x" * 10_001}, "It cannot be written into a table."),
        ({"extra": {"note": "x"}}, "new offcut, column note: found a further column of that name"),
    ],
)
def test_what_a_row_may_not_hold_is_not_written(tmp_path: Path, changes: dict, told: str) -> None:
    """The same checks as on reading; the log stays as it was, byte for byte."""
    folder = write_shop(tmp_path)
    with pytest.raises(ShopFaults, match="must be put right first") as refusal:
        append(folder, **changes)
    assert told in str(refusal.value)
    assert log(folder) == FILES["offcuts.csv"].encode()
    assert leftovers(folder) == []


def test_every_fault_of_new_readings_is_told_at_once(tmp_path: Path) -> None:
    """A form can mark all the wrong fields together."""
    with pytest.raises(ShopFaults, match="3 faults must be put right first"):
        append(write_shop(tmp_path), length_mm="x", dial_deg="", leg_a_mm="1,234")


def test_a_fault_elsewhere_in_the_folder_does_not_cost_a_reading(tmp_path: Path) -> None:
    """A broken line or a broken older row can wait; a bender of no known figures cannot."""
    folder = write_shop(tmp_path, lines="x", ends="x", offcuts=changed("offcuts.csv", ("92,90,", "92,#REF!,")))
    assert append(folder).offcut == "3"
    (folder / "benders.csv").write_text(changed("benders.csv", ("small,15", "small,wide")))
    with pytest.raises(ShopFaults, match='benders.csv, row 2, column die_radius_mm: found "wide"'):
        append(folder)
    with pytest.raises(ShopFaults, match="offcuts.csv, row 1, column length_mm: found no such column"):
        append(write_shop(tmp_path, offcuts=changed("offcuts.csv", ("length_mm", "width"))))


@pytest.mark.parametrize(
    ("taken", "following"),
    [([], "1"), (["1", "2", "10"], "11"), (["CN-07", "ST-03", "CN-08"], "CN-09"), (["a", "b"], "3"), (["x9"], "x10")],
)
def test_offcuts_are_numbered_in_the_way_of_the_last_one(tmp_path: Path, taken: list[str], following: str) -> None:
    """The next free number, behind the same letters and as wide."""
    header, row, _ = FILES["offcuts.csv"].splitlines()
    rows = [row.replace("1,", f"{name},", 1) for name in taken]
    assert append(write_shop(tmp_path, offcuts="\n".join([header, *rows]))).offcut == following


WRITER = textwrap.dedent("""
    import sys
    from bendcal.entries.appending import append_offcut
    folder, prefix, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
    for number in range(count):
        append_offcut(folder, offcut=f"{prefix}{number}", bender="small", tube="brake 3/16", length_mm=200.0, mark_mm=90.0,
                      dial_deg=62.0, angle_deg=60.1, leg_a_mm=98.9, leg_b_mm=103.05, note="x" * 200)
        print(f"{prefix}{number}", flush=True)
""")


def writer(folder: Path, prefix: str, count: int) -> subprocess.Popen:
    """Another notebook that appends, and prints each name as soon as its append has returned."""
    command = [sys.executable, "-W", "error", "-c", WRITER, str(folder), prefix, str(count)]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_two_notebooks_that_append_at_once_lose_nothing(tmp_path: Path) -> None:
    """Two programs, 60 offcuts each into one log: 120 rows, each whole, in each one's own order."""
    folder = write_shop(tmp_path, offcuts=None)
    with writer(folder, "a", 60) as one, writer(folder, "b", 60) as other:
        for program in (one, other):
            _, errors = program.communicate(timeout=120)
            assert (program.returncode, errors) == (0, "")
    names = [piece.offcut for piece in read_shop(folder).offcuts]
    assert len(names) == 120
    for prefix in "ab":
        assert [name for name in names if name[0] == prefix] == [f"{prefix}{number}" for number in range(60)]
    assert leftovers(folder) == []


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system kills in another way")
def test_a_killed_notebook_leaves_a_whole_log(tmp_path: Path) -> None:
    """Killed in the middle of its appends, six times: what it had said is saved is there, and nothing is half there."""
    folder = write_shop(tmp_path, offcuts=None)
    said: list[str] = []
    for kill in range(6):
        with writer(folder, f"k{kill}-", 100_000) as program:
            said.append(program.stdout.readline().strip())
            time.sleep(0.003 + 0.007 * kill)
            program.send_signal(signal.SIGKILL)
            said += program.communicate(timeout=60)[0].split()
        names = [piece.offcut for piece in read_shop(folder).offcuts]
        assert set(said) <= set(names)
        assert len(names) - len(set(said)) <= kill + 1  # saved, but killed before it could say so
    for left in folder.glob(".bendcal-*.tmp"):
        os.utime(left, (0, 0))
    append(folder, offcut="last")
    assert leftovers(folder) == []
    assert all(len(row) == len(OFFCUTS) for row in csv.reader(log(folder).decode().splitlines()))


@pytest.fixture
def open_elsewhere(monkeypatch: pytest.MonkeyPatch):
    """Make offcuts.csv irreplaceable, as a spreadsheet does that holds it open on Windows; call it to close it."""
    real = os.replace
    held = {"offcuts.csv"}

    def replace(source: Path, target: Path) -> None:
        if Path(target).name in held:
            raise PermissionError(13, "The process cannot access the file because it is being used by another process")
        real(source, target)

    monkeypatch.setattr(atomic.os, "replace", replace)
    monkeypatch.setattr(atomic, "FIRST_PAUSE_S", 0.0001)
    return held.clear


def test_readings_are_kept_aside_while_the_log_is_open_elsewhere(tmp_path: Path, open_elsewhere) -> None:
    """They are safe, they count, both name what to do; and they move into the log when it is free."""
    folder = write_shop(tmp_path)
    with pytest.warns(KeptAside, match="It is probably open in a spreadsheet: close it there") as warned:
        piece = append(folder, note="first")
    assert "Offcut 3 is safe in offcuts.pending.csv" in str(warned[0].message)
    with pytest.warns(KeptAside, match="Offcut 4 is safe"):
        append(folder, extra={"who": "me"})
    assert log(folder) == FILES["offcuts.csv"].encode()
    with pytest.raises(ShopFaults, match='found "4". offcuts.csv has an offcut of that name already'):
        append(folder, offcut="4")
    shop = read_shop(folder)
    assert [o.offcut for o in shop.offcuts] == ["1", "2", "3", "4"]
    assert "offcuts.pending.csv: found 2 offcuts kept aside. They count" in shop.cautions[-1].sentence
    assert leftovers(folder) == []

    open_elsewhere()
    shop = read_shop(folder)
    assert [o.offcut for o in shop.offcuts] == ["1", "2", "3", "4"]
    assert (shop.offcuts[2].note, shop.offcuts[2].angle_deg, shop.cautions) == ("first", piece.angle_deg, ())
    assert not (folder / "offcuts.pending.csv").exists()
    header, *rows = log(folder).decode().splitlines()
    assert header == FILES["offcuts.csv"].splitlines()[0] + ",who"
    assert rows[:2] == FILES["offcuts.csv"].splitlines()[1:]
    assert rows[3].endswith(",me")


def test_an_append_folds_in_what_was_kept_aside_before(tmp_path: Path, open_elsewhere) -> None:
    """The order of bending stays the order of the log."""
    folder = write_shop(tmp_path)
    with pytest.warns(KeptAside, match="Offcut 3"):
        append(folder)
    open_elsewhere()
    append(folder)
    assert [o.offcut for o in read_shop(folder).offcuts] == ["1", "2", "3", "4"]
    assert not (folder / "offcuts.pending.csv").exists()


def test_a_folding_in_that_was_cut_off_writes_nothing_twice(tmp_path: Path, open_elsewhere) -> None:
    """Between the log's new row and the end of the side file the power may fail."""
    folder = write_shop(tmp_path)
    with pytest.warns(KeptAside, match="Offcut 3"):
        append(folder)
    aside = (folder / "offcuts.pending.csv").read_bytes()
    open_elsewhere()
    read_shop(folder)
    (folder / "offcuts.pending.csv").write_bytes(aside)
    assert [o.offcut for o in read_shop(folder).offcuts] == ["1", "2", "3"]
    assert not (folder / "offcuts.pending.csv").exists()


def test_a_name_that_was_taken_meanwhile_is_left_to_a_person(tmp_path: Path, open_elsewhere) -> None:
    """Two different pieces of one name: neither is dropped, and the report says where they are."""
    folder = write_shop(tmp_path)
    with pytest.warns(KeptAside, match="Offcut 3"):
        append(folder)
    open_elsewhere()
    with open(folder / "offcuts.csv", "a") as by_hand:
        by_hand.write("3,small,brake 3/16,150,60,92,90,,,,,,,,\n")
    with pytest.raises(ShopFaults, match='offcuts.pending.csv, row 2, column offcut: found "3". offcuts.csv has another offcut'):
        read_shop(folder)
    assert append(folder).offcut == "4"
    assert (folder / "offcuts.pending.csv").exists()


def test_where_nothing_may_be_written_the_error_says_so() -> None:
    """A folder without the right to write: a sentence, and not a byte of anything."""
    with ordinary_user() as made:
        folder = write_shop(made / "shop")
        folder.chmod(0o555)
        with pytest.raises(NotSaved, match="Nothing could be saved: nothing may be written in the folder .* Allow writing there"):
            append(folder)
        folder.chmod(0o755)
        assert log(folder) == FILES["offcuts.csv"].encode()
        assert {p.name for p in folder.iterdir()} == {name.partition("/")[0] for name in FILES}


def test_a_write_protected_log_is_not_got_round() -> None:
    """Somebody protected the file: the reading is kept aside and the file left alone."""
    with ordinary_user() as made:
        folder = write_shop(made / "shop")
        (folder / "offcuts.csv").chmod(0o444)
        with pytest.warns(KeptAside, match="offcuts.csv is write-protected. Allow writing to it"):
            append(folder)
        assert log(folder) == FILES["offcuts.csv"].encode()
        (folder / "offcuts.csv").chmod(0o644)
        assert len(read_shop(folder).offcuts) == 3


def test_a_log_that_another_notebook_holds_is_waited_for_and_then_told(tmp_path: Path) -> None:
    """Waiting ends with a sentence, not with a frozen notebook."""
    folder = write_shop(tmp_path)
    with locked(folder), pytest.raises(NotSaved, match="Another notebook has held offcuts.csv for 0 s"), locked(folder, wait_s=0.05):
        pass
    append(folder)  # and it was let go


def test_nothing_is_warned_of_in_a_plain_append(tmp_path: Path) -> None:
    """A warning would mean something."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        append(write_shop(tmp_path))


def test_no_folder_is_no_place_to_append_to(tmp_path: Path) -> None:
    """The folder is not made by mistake in a wrong place."""
    with pytest.raises(ShopFaults, match="nowhere: found no folder of this name"):
        append(tmp_path / "nowhere")
    assert list(tmp_path.iterdir()) == []
