"""Files saved whole or not at all, and faults that read as sentences."""

import os
import pickle
import time
from pathlib import Path

import pytest
from a_shop import ordinary_user

from bendcal import atomic
from bendcal.atomic import NotSaved, make_folder, sweep_leftovers, write_atomically, write_together
from bendcal.faults import Caution, Fault, ShopFaults, quoted


def test_a_file_is_replaced_whole(tmp_path: Path) -> None:
    """The new content is there, alone, with the old file's rights; a new file gets the usual ones."""
    path = tmp_path / "note.txt"
    write_atomically(path, b"old")
    path.chmod(0o640)
    write_atomically(str(path), b"new")
    assert path.read_bytes() == b"new"
    assert [entry.name for entry in tmp_path.iterdir()] == ["note.txt"]
    if os.name == "posix":
        assert path.stat().st_mode & 0o777 == 0o640


def test_a_link_is_followed_and_not_replaced(tmp_path: Path) -> None:
    """A shop folder may link to a file that is kept elsewhere."""
    (tmp_path / "elsewhere").mkdir()
    real, link = tmp_path / "elsewhere" / "real.txt", tmp_path / "link.txt"
    real.write_bytes(b"old")
    link.symlink_to(real)
    write_atomically(link, b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"


def test_an_old_file_survives_every_failure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever step fails, the old content stands, nothing is left over, and the sentence says what to do."""
    path = tmp_path / "note.txt"
    path.write_bytes(b"old")

    def refuse(*_args: object, **_options: object) -> None:
        raise OSError(28, "No space left on device")

    for step in ("fsync", "replace"):
        with monkeypatch.context() as patch:
            patch.setattr(atomic.os, step, refuse)
            with pytest.raises(NotSaved, match="note.txt could not be .*No space left on device.*The file is as it was"):
                write_atomically(path, b"new")
        assert path.read_bytes() == b"old"
        assert [entry.name for entry in tmp_path.iterdir()] == ["note.txt"]
    with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt, match="stop"):

        def interrupt(*_args: object) -> None:
            raise KeyboardInterrupt("stop")

        patch.setattr(atomic.os, "fsync", interrupt)
        write_atomically(path, b"new")
    assert [entry.name for entry in tmp_path.iterdir()] == ["note.txt"]


def test_a_file_that_is_held_for_a_moment_is_replaced_all_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A virus scanner or a reader holds it on Windows for a fraction of a second: three refusals are borne."""
    real, refusals = os.replace, iter([True, True, True])

    def replace(source: Path, target: Path) -> None:
        if next(refusals, False):
            raise PermissionError(13, "in use")
        real(source, target)

    monkeypatch.setattr(atomic.os, "replace", replace)
    monkeypatch.setattr(atomic, "FIRST_PAUSE_S", 0.001)
    write_atomically(tmp_path / "note.txt", b"new")
    assert (tmp_path / "note.txt").read_bytes() == b"new"


def test_a_place_that_cannot_be_written_to_is_told(tmp_path: Path) -> None:
    """A missing folder, a folder of that name, a protected folder and a protected file."""
    with pytest.raises(NotSaved, match="The folder .*none does not exist. Make it, then save again."):
        write_atomically(tmp_path / "none" / "note.txt", b"")
    with pytest.raises(NotSaved, match="is a folder, so no file of that name can be saved"):
        write_atomically(tmp_path, b"")
    with ordinary_user() as made:
        (made / "note.txt").write_bytes(b"old")
        (made / "note.txt").chmod(0o444)
        with pytest.raises(NotSaved, match="note.txt is write-protected"):
            write_atomically(made / "note.txt", b"new")
        folder = made / "closed"
        folder.mkdir(0o555)
        with pytest.raises(NotSaved, match="nothing may be written in the folder"):
            write_atomically(folder / "note.txt", b"new")
        assert (made / "note.txt").read_bytes() == b"old"


def test_files_that_belong_together_are_all_new_or_all_old(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whichever of three cannot be put in place, or is interrupted, the others are as they were: an old one old, a new one not there."""
    paths = [tmp_path / name for name in ("a.csv", "b.json", "c.pdf")]
    real = os.replace
    for failing in paths:
        for old in (False, True):
            for error in (OSError(13, "in use"), KeyboardInterrupt("stop")):
                for path in paths:
                    path.unlink(missing_ok=True)
                if old:
                    paths[0].write_bytes(b"old")
                seen = {path: path.read_bytes() for path in tmp_path.iterdir()}

                def replace(source: Path, target: Path, failing: Path = failing, error: BaseException = error) -> None:
                    if Path(target) == failing and Path(source).read_bytes() == b"new":
                        raise error
                    real(source, target)

                with monkeypatch.context() as patch, pytest.raises((NotSaved, KeyboardInterrupt), match=f"{failing.name} could not be replaced.*Nothing was changed|stop"):
                    patch.setattr(atomic.os, "replace", replace)
                    patch.setattr(atomic, "FIRST_PAUSE_S", 0.0001)
                    write_together([(path, b"new") for path in paths])
                assert {path: path.read_bytes() for path in tmp_path.iterdir()} == seen
    write_together([(path, b"new") for path in paths])
    assert [path.read_bytes() for path in paths] == [b"new"] * 3


def test_a_folder_that_cannot_be_made_is_told_with_its_remedy(tmp_path: Path) -> None:
    """A file in its place, no folder to make it in, or no right to."""
    (tmp_path / "sheets").write_text("x")
    with pytest.raises(NotSaved, match="sheets cannot be made .*A file of that name is in its place: rename or remove sheets, then save again. Nothing was changed."):
        make_folder(tmp_path / "sheets")
    with pytest.raises(NotSaved, match="There is no folder .*none: make it, then save again"):
        make_folder(tmp_path / "none" / "sheets")
    with ordinary_user() as made:
        (made / "closed").mkdir(0o555)
        with pytest.raises(NotSaved, match="Allow writing in .*closed, or copy that folder to a place of your own, then save again"):
            make_folder(made / "closed" / "sheets")


def test_only_old_leftovers_of_this_kit_are_swept(tmp_path: Path) -> None:
    """A save that is under way, and files of other programs, are left alone."""
    names = [".bendcal-0123456789ab.tmp", ".bendcal-ba9876543210.tmp", ".bendcal-short.tmp", "mine.tmp", ".other-0123456789ab.tmp"]
    for name in names:
        (tmp_path / name).touch()
        if name != names[1]:
            os.utime(tmp_path / name, (time.time() - 61, time.time() - 61))
    assert sweep_leftovers(tmp_path) == 1
    assert sorted(entry.name for entry in tmp_path.iterdir()) == sorted(names[1:])
    assert sweep_leftovers(tmp_path / "none") == 0


def test_a_remark_reads_as_sentences() -> None:
    """Place, find, rule and remedy, each ended; names of files and columns keep their letters."""
    assert Fault("a.csv", 3, "od_mm", '"x"', "od_mm is a length", "write it").sentence == (
        'a.csv, row 3, column od_mm: found "x". od_mm is a length. Write it.'
    )
    assert Fault("a.csv", None, None, "", "It is bad!", "").sentence == "a.csv: It is bad!"
    assert Caution("", None, None, "this", "", "").sentence == "found this."
    assert quoted("tab\tand \u202e end") == '"tab\\tand \\u202e end"'
    assert quoted("x" * 100) == f'"{"x" * 60}…"'


def test_a_report_survives_the_way_between_two_programs() -> None:
    """Errors pass from one program to another by pickling."""
    report = ShopFaults([Fault("a.csv", 3, None, "this", "", "")])
    again = pickle.loads(pickle.dumps(report))
    assert (str(again), again.faults) == (str(report), report.faults)
    refused = pickle.loads(pickle.dumps(NotSaved(Path("a"), "No.")))
    assert (str(refused), refused.path) == ("No.", Path("a"))
