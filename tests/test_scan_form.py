"""The form for offcuts from a picture, without a browser: read, looked at, recorded piece by piece."""

import datetime
import re
from pathlib import Path

import pytest

from bendcal import forms
from bendcal.files.folder import read_shop
from bendcal.forms import flat_values, scan_values
from bendcal.forms.echo import Echo
from bendcal.forms.flat_values import FlatValues
from bendcal.forms.scan_form import ScanForm
from bendcal.forms.scan_values import READ, ScanValues
from tests.a_scan import two_pieces


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A scan of two pieces."""
    return two_pieces(tmp_path_factory.mktemp("scan") / "two.png").read_bytes()


@pytest.fixture
def folder(sample_folder: Path) -> Path:
    """A copy of the sample under another name, so that it may be written to."""
    return sample_folder.rename(sample_folder.with_name("shop"))


@pytest.fixture(autouse=True)
def answered(monkeypatch: pytest.MonkeyPatch) -> None:
    """The page answers at once."""
    monkeypatch.setattr(Echo, "ask", lambda self, then, never: then())


def said(form: ScanForm) -> str:
    """What the form says, without its marks."""
    return " ".join(re.sub("<[^>]+>", " ", " ".join(line.value for line in form.notices.lines.values())).split())


def fill(form: ScanForm, **texts: str) -> None:
    """Type into boxes."""
    for key, text in texts.items():
        form.boxes[key].value = text


def test_a_picture_is_read_looked_at_and_recorded_piece_by_piece(folder: Path, two: bytes) -> None:
    """Two pieces on the disk with their readings, one press each; the picture with the drawn lines is kept."""
    (folder / "two.png").write_bytes(two)
    count = len(read_shop(folder).offcuts)
    form = ScanForm(folder, "small", "cuni-3/16")
    fill(form, picture="two.png")
    form.look.click()
    assert "2 of 2 pieces are read" in said(form) and form.boxes["piece"].value == "1"
    assert 'alt="two.png with what was read' in form.seen.value and "angle 90.0" in form.seen.value
    for dial in ("62", "93"):
        fill(form, length_mm="75,2", dial_deg=dial)
        form.keep.click()
    assert "That was the last piece" in said(form)
    written = read_shop(folder).offcuts[count:]
    assert [o.dial_deg for o in written] == [62, 93] and [o.length_mm for o in written] == [75.2, 75.2]
    assert [o.angle_deg for o in written] == pytest.approx([60, 90], abs=0.2)
    assert (folder / "sheets" / "scans" / "two-seen.png").exists()


def test_what_is_missing_is_said_and_nothing_is_recorded(folder: Path, two: bytes) -> None:
    """No picture, no such file, no dial, a piece that is not there."""
    before = (folder / "offcuts.csv").read_bytes()
    form = ScanForm(folder, "small", "cuni-3/16")
    form.look.click()
    assert "Not read." in said(form) and "Picture: still to fill in" in said(form)
    fill(form, picture="none.png")
    form.look.click()
    assert "there is no such file" in said(form)
    (folder / "two.png").write_bytes(two)
    fill(form, picture="two.png")
    form.look.click()
    fill(form, length_mm="75")
    form.keep.click()
    assert "Not recorded." in said(form) and "Dial: still to fill in" in said(form)
    fill(form, dial_deg="62", piece="7")
    form.keep.click()
    assert "There is no piece that was read of that name" in said(form)
    assert (folder / "offcuts.csv").read_bytes() == before


def test_another_tube_makes_what_was_read_before_void(folder: Path, two: bytes) -> None:
    """After the tube was changed nothing is left to record; read again with a wrong diameter both pieces are refused."""
    (folder / "two.png").write_bytes(two)
    form = ScanForm(folder, "small", "cuni-3/16")
    fill(form, picture="two.png")
    form.look.click()
    fill(form, tube="steel-8mm")
    assert form.found is None and form.seen.value == "" and form.keep.layout.display == "none"
    form.look.click()
    assert "0 of 2 pieces are read" in said(form) or "Nothing on it" in form.seen.value


def test_a_chosen_file_is_kept_and_never_written_over(folder: Path, two: bytes) -> None:
    """An upload lands in scans/ under its own name without folders; another picture of that name is refused."""
    form = ScanForm(folder, "small", "cuni-3/16")
    chosen = {"name": "../two.png", "type": "image/png", "size": len(two), "content": memoryview(two), "last_modified": datetime.datetime(2025, 3, 1, tzinfo=datetime.timezone.utc)}
    form.upload.set_trait("value", (chosen,))
    assert (folder / "scans" / "two.png").read_bytes() == two and form.boxes["picture"].value == "two.png"
    form.upload.set_trait("value", (chosen | {"content": memoryview(b"other"), "size": 5},))
    assert "and it stays" in said(form) and (folder / "scans" / "two.png").read_bytes() == two


def test_the_sample_is_not_written_to(sample_folder: Path, two: bytes, tmp_path: Path) -> None:
    """The shipped sample may be tried with any picture, and stays as it is."""
    (tmp_path / "two.png").write_bytes(two)
    before = (sample_folder / "offcuts.csv").read_bytes()
    form = ScanForm(sample_folder, "small", "cuni-3/16")
    fill(form, picture=str(tmp_path / "two.png"))
    form.look.click()
    fill(form, length_mm="75", dial_deg="62")
    form.keep.click()
    assert "Not recorded." in said(form) and (sample_folder / "offcuts.csv").read_bytes() == before


@pytest.mark.parametrize(("kind", "typed", "line"), [("photo", "", (100.0,)), ("photo", "99,8", (99.8,)), ("photo", "99,8; 100.1", (99.8, 100.1)), ("scan", "", None), ("scan", "99,8", 99.8)])
def test_one_line_or_one_for_each_page_is_told_to_the_reader(folder: Path, monkeypatch: pytest.MonkeyPatch, kind: str, typed: str, line: object) -> None:
    """What stands in the box reaches the reader of photos as a row, that of a scan as one number, and for a flat line just so."""
    told, shop = [], read_shop(folder)
    for module, names in ((scan_values, ("read_photos", "read_scan")), (flat_values, ("read_flat_photos", "read_flat_scan"))):
        for name in names:
            monkeypatch.setattr(module, name, lambda *_, line_mm, **__: told.append(line_mm) or ["read"])
    ScanValues(picture="a.png", kind=kind, tube="cuni-3/16", line_mm=typed).read(shop)
    FlatValues(picture="a.png", kind=kind, tube="cuni-3/16", line_mm=typed, end_a="left").read(shop)
    assert told == [line, line]


@pytest.mark.parametrize(("typed", "why"), [("99.8, 100.1", "Put a semicolon between several: 99.8; 100.1."), ("99.8;;100", "Number 2 of 3 is blank"), ("99.8; long", "long")])
def test_a_row_of_lines_that_is_not_understood_is_told(folder: Path, typed: str, why: str) -> None:
    """A comma between two numbers, a blank between two semicolons, a word: nothing is read, and what to write is said."""
    shop = read_shop(folder)
    for values in (ScanValues(picture="a.png", tube="cuni-3/16", line_mm=typed), FlatValues(picture="a.png", tube="cuni-3/16", end_a="left", line_mm=typed)):
        (blocked,) = values.blockers(shop, READ)
        assert blocked.startswith("100 mm line: ") and why in blocked


def test_a_scan_takes_one_line(folder: Path) -> None:
    """Two numbers for the page on the glass: refused, for offcuts and for a flat line."""
    shop = read_shop(folder)
    for values in (ScanValues(picture="a.png", tube="cuni-3/16", line_mm="99; 100"), FlatValues(picture="a.png", tube="cuni-3/16", end_a="left", line_mm="99; 100")):
        with pytest.raises(ValueError, match="2 lengths of 100 mm lines are written, and a scan is held against one page"):
            values.read(shop)


def test_the_function_of_a_page_makes_the_form(folder: Path) -> None:
    """forms.read_offcuts gives a widget of its own class."""
    assert "bendcal-scan-form" in forms.read_offcuts(folder)._dom_classes
