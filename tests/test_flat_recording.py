"""A flat line's reading on its way into the shop: by hand, by the command, by the form."""

import io
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from bendcal import forms
from bendcal.cli import main
from bendcal.entries import add_measurements
from bendcal.faults import ShopFaults
from bendcal.files import read_pattern
from bendcal.files.folder import read_shop
from bendcal.forms.echo import Echo
from bendcal.forms.flat_form import FlatForm
from bendcal.pattern import Angle, Distance, Leg, Twist, adjust_pattern
from bendcal.scan import PatternReading, read_flat_scan
from bendcal.scan.flat_recording import record_pattern
from tests.invented import make_flat_scan

SCAN = make_flat_scan.FILE
TRUE = make_flat_scan.LINE


@pytest.fixture
def folder(sample_folder: Path) -> Path:
    """A copy of the sample under another name, so that it may be written to."""
    return sample_folder.rename(sample_folder.with_name("shop"))


@pytest.fixture(scope="module")
def read() -> PatternReading:
    """The sample's invented scan as it is read."""
    return read_flat_scan(SCAN, od_mm=4.76, end_a="left")


def files_of(folder: Path) -> dict[str, bytes]:
    """What stands in lines.csv and in the patterns."""
    return {path.name: path.read_bytes() for path in [folder / "lines.csv", *(folder / "patterns").glob("*.csv")]}


def test_the_sample_picture_is_what_its_script_makes() -> None:
    """Made again it is the same to JPEG's rounding, it says that it is invented, and it is small."""
    kept = Image.open(SCAN)
    made = make_flat_scan.pixels().astype(int)
    assert kept.info["dpi"] == (200, 200) and b"invented" in kept.info["comment"] and SCAN.stat().st_size < 60_000
    assert np.abs(np.asarray(kept.convert("RGB")).astype(int) - made).mean() < 2.0
    assert SCAN.name in (SCAN.parent.parent / "README.md").read_text(encoding="utf-8")


def test_the_sample_picture_is_read_as_it_was_made(read: PatternReading) -> None:
    """Legs within 0.15 mm, angles within 0.15°."""
    assert read.leg.value == pytest.approx(TRUE.legs_mm, abs=0.15) and read.angle.value == pytest.approx(np.abs(TRUE.turns_deg), abs=0.15)
    assert read.twist_deg.tolist() == [0, 180, 180]


def test_a_reading_becomes_a_new_line_and_its_pattern(folder: Path, read: PatternReading) -> None:
    """One row more in lines.csv, nine rows of a pattern, and a shop whose line has the shape that was read."""
    lines = (folder / "lines.csv").read_bytes()
    path, wrong = record_pattern(folder, read, "return", tube="cuni-3/16", bender="small")
    assert (folder / "lines.csv").read_bytes().startswith(lines) and path == folder / "patterns" / "return.csv" and wrong == []
    line = read_shop(folder).line("return")
    assert line.legs.leg_mm == pytest.approx(read.leg.value, abs=0.006) and line.legs.twist_deg.tolist() == [0, 180, 180]
    assert line.shape_covariance is not None and line.tube == "cuni-3/16"
    assert [r.note for r in read_pattern(read_shop(folder), "return").observations] == ["read from invented-flat-line.jpg"] * 9


def test_what_stands_in_a_pattern_stays_and_joins_in(folder: Path, read: PatternReading) -> None:
    """A distance that was taped before stays as it was written, byte for byte, and checks the picture; a wrong one is said to look wrong."""
    span = float(read.span.value)
    add_measurements(folder, "return", [*read.observations(), Distance("A", "B", round(span + 0.4, 1), 0.5, note="tape")], facts={"tube": "cuni-3/16", "bender": "small"})
    before = (folder / "patterns" / "return.csv").read_bytes()
    _, wrong = add_measurements(folder, "return", [Distance("A", "3", 700.0, 0.5)])
    assert (folder / "patterns" / "return.csv").read_bytes().startswith(before)
    assert any("from end A to apex 3" in caution.sentence for caution in wrong)
    adjusted = adjust_pattern(read_pattern(read_shop(folder, whole=False), "return"))
    assert adjusted.adjustment.dof == 2


def test_a_taped_pattern_is_completed_by_a_picture(folder: Path, read: PatternReading) -> None:
    """A file with a distance alone, in another form (semicolons, decimal commas): its bytes stay, the picture's rows follow in that form."""
    (folder / "patterns" / "return.csv").write_text("what;from;to;length_mm;sd;note\ndistance;A;B;190,6;0,5;tape\n", encoding="utf-8")
    record_pattern(folder, read, "return", tube="cuni-3/16", bender="small")
    text = (folder / "patterns" / "return.csv").read_text(encoding="utf-8")
    assert text.splitlines()[1].startswith("distance;A;B;190,6;0,5;tape") and "leg;A;1;" in text
    assert read_shop(folder).line("return").legs.bends == 3


def test_a_second_picture_of_a_line_is_refused_until_the_first_is_set_aside(folder: Path, read: PatternReading) -> None:
    """Two readings share their errors: a sentence, and every file as it was."""
    record_pattern(folder, read, "return", tube="cuni-3/16", bender="small")
    before = files_of(folder)
    with pytest.raises(ValueError, match="holds a reading from a picture already"):
        record_pattern(folder, read, "return", tube="cuni-3/16", bender="small")
    assert files_of(folder) == before
    path = folder / "patterns" / "return.csv"
    path.write_text(path.read_text().replace(",,read from", ",measured anew,read from"))
    record_pattern(folder, read, "return", tube="cuni-3/16", bender="small")
    assert len(read_pattern(read_shop(folder), "return").counted) == 9


def test_a_tape_checks_the_picture(folder: Path, read: PatternReading) -> None:
    """A millimetre off is a row of the pattern; ten are refused, and nothing is written; with a flare cut off the tape only checks."""
    span, before = float(read.span.value), files_of(folder)
    with pytest.raises(ValueError, match="they do not agree"):
        record_pattern(folder, read, "return", taped_mm=span + 10, tube="cuni-3/16", bender="small")
    assert files_of(folder) == before
    record_pattern(folder, read, "return", taped_mm=round(span + 1), tube="cuni-3/16", bender="small")
    last = read_pattern(read_shop(folder), "return").observations[-1]
    assert isinstance(last, Distance) and (last.start, last.stop, last.mm) == ("A", "B", round(span + 1))
    record_pattern(folder, read, "other", taped_mm=span, cut_mm=(12.0, 0.0), tube="cuni-3/16", bender="small")
    assert len(read_pattern(read_shop(folder), "other").observations) == 9


@pytest.mark.parametrize(
    ("line", "facts", "why"),
    [
        ("clutch", {}, "takes its shape from that file"),
        ("return", {"tube": "nothing", "bender": "small"}, "nothing"),
        ("return", {"tube": "cuni-3/16"}, "bender"),
        ("../return", {"tube": "cuni-3/16", "bender": "small"}, "name"),
    ],
)
def test_what_cannot_be_recorded_leaves_every_file_as_it_was(folder: Path, read: PatternReading, line: str, facts: dict, why: str) -> None:
    """A line with a file of its own, a tube that there is not, no bender, a name that is no file name."""
    before = files_of(folder)
    with pytest.raises(ShopFaults, match=why):
        record_pattern(folder, read, line, **facts)
    assert files_of(folder) == before


def test_neither_the_sample_nor_an_unsure_reading_is_recorded(sample_folder: Path, folder: Path, read: PatternReading) -> None:
    """The shipped sample stays as it is; without end A, and where it was refused, nothing is written."""
    sample = folder.rename(folder.with_name("sample_measurements"))
    with pytest.raises(ValueError, match="it stays as it is"):
        record_pattern(sample, read, "return", tube="cuni-3/16", bender="small")
    shop = sample.rename(sample.with_name("shop"))
    with pytest.raises(ValueError, match="nothing tells which end is A"):
        record_pattern(shop, replace(read, end_a=""), "return", tube="cuni-3/16", bender="small")
    with pytest.raises(ValueError, match="was not read. It is kinked"):
        record_pattern(shop, PatternReading("x.png", None, ("It is kinked.",)), "return", tube="cuni-3/16", bender="small")
    assert not (shop / "patterns" / "return.csv").exists()


def test_only_what_a_picture_gives_is_added_like_this(folder: Path) -> None:
    """Rows of every kind that it gives come back as they went in."""
    rows = [Leg("A", 1, 60, 0.1), Leg(1, 2, 70.25, 0.2), Leg(2, "B", 50, 0.1), Angle(1, 90, 0.2), Angle(2, 45.5, 0.2), Twist(1, 2, 180, 2.0), Distance("A", 2, 92, 1)]
    add_measurements(folder, "return", rows, facts={"tube": "cuni-3/16", "bender": "small"})
    again = read_pattern(read_shop(folder), "return").observations
    assert [replace(row, row=None) for row in again] == rows


# --- the command ---------------------------------------------------------------------------------


def asked(folder: Path, *more: str) -> int:
    """The command's exit code."""
    return main(["flat", str(folder), "return", str(SCAN), "--tube", "cuni-3/16", *more])


def test_the_command_shows_what_was_read_and_records_nothing_unasked(folder: Path, capsys: pytest.CaptureFixture) -> None:
    """Legs and angles, the word on seats, a picture in sheets/scans/; the shop as it was."""
    before = files_of(folder)
    assert asked(folder) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "3 bends" in said and "Check by tape" in said and "legs reach from seat to seat" in said and "Brake work can kill" in said
    assert Image.open(io.BytesIO((folder / "sheets" / "scans" / "invented-flat-line-seen.png").read_bytes())).size[0] > 600
    assert files_of(folder) == before


def test_the_command_records_a_line_that_is_marked_out_by_it(folder: Path, capsys: pytest.CaptureFixture) -> None:
    """--record with what was cut off at A; then bendcal pattern and bendcal marks take it."""
    assert asked(folder, "--record", "--end-a", "left", "--bender", "small", "--cut-a", "12 mm") == 0
    assert "Recorded: 3 bends" in capsys.readouterr().out
    assert read_shop(folder).line("return").legs.leg_mm[0] == pytest.approx(TRUE.legs_mm[0] + 12, abs=0.2)
    assert main(["pattern", str(folder), "return"]) == 0 and main(["marks", str(folder), "return"]) in (0, 3)
    assert "twist before" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("more", "why"),
    [
        (["--record"], "--record needs --end-a"),
        (["--record", "--end-a", "left"], "Which bender"),
        (["--record", "--end-a", "left", "--bender", "none"], "none"),
        (["--record", "--end-a", "left", "--bender", "small", "--wire", "3.5"], "was not read"),
        (["--record", "--end-a", "left", "--bender", "small", "--taped", "210"], "they do not agree"),
        ([str(SCAN)], "2 scans are given"),
        (["--page-line", "99", "98"], "--page-line takes one number for scans"),
    ],
)
def test_the_command_says_what_is_missing(folder: Path, capsys: pytest.CaptureFixture, more: list[str], why: str) -> None:
    """No side, no bender, another diameter, two scans: exit code 2, a sentence, and no file changed."""
    before = files_of(folder)
    words = ["flat", str(folder), "return", str(SCAN), *([more.pop()] if more == [str(SCAN)] else []), "--tube", "cuni-3/16", *more]
    assert main(words) == 2
    assert why in capsys.readouterr().err and files_of(folder) == before


# --- the form ------------------------------------------------------------------------------------


@pytest.fixture
def answered(monkeypatch: pytest.MonkeyPatch) -> None:
    """The page answers at once."""
    monkeypatch.setattr(Echo, "ask", lambda self, then, never: then())


def said(form: FlatForm) -> str:
    """What the form says, without its marks."""
    return " ".join(re.sub("<[^>]+>", " ", " ".join(line.value for line in form.notices.lines.values())).split())


def fill(form: FlatForm, **texts: str) -> None:
    """Type into boxes."""
    for key, text in texts.items():
        form.boxes[key].value = text


def test_the_form_reads_shows_and_records_a_line(folder: Path, answered: None) -> None:
    """The picture from the shop's scans/, the drawn lines, one press, and the line is in the shop; pressed again nothing is there to record."""
    form = FlatForm(folder, bender="small", tube="cuni-3/16")
    assert form.keep.layout.display == "none"
    fill(form, picture=SCAN.name, end_a="left")
    form.look.click()
    assert "3 bends are read" in said(form) and 'alt="invented-flat-line.jpg with what was read' in form.seen.value and "twist 180" in form.seen.value
    fill(form, line="return", cut_b_mm="1/2 in")
    form.keep.click()
    assert "The line return is recorded" in said(form) and form.keep.layout.display == "none"
    assert read_shop(folder).line("return").legs.leg_mm[-1] == pytest.approx(TRUE.legs_mm[-1] + 12.7, abs=0.2)


def test_the_form_tells_a_scan_what_the_pages_line_measures(folder: Path, answered: None) -> None:
    """The length of a page's line goes to the scan's reading too; with no page on the glass it says that it tells nothing."""
    form = FlatForm(folder, bender="small", tube="cuni-3/16")
    fill(form, picture=SCAN.name, end_a="left", line_mm="99")
    form.look.click()
    assert "3 bends are read" in said(form) and "No reference page is on the glass" in form.seen.value


def test_the_form_asks_for_what_is_missing(folder: Path, answered: None) -> None:
    """No side of end A, no name of a line, a name that cannot be; what is refused cannot be recorded; nothing is written."""
    before = files_of(folder)
    form = FlatForm(folder, bender="small", tube="cuni-3/16")
    fill(form, picture=SCAN.name, end_a="")
    form.look.click()
    assert "Not read." in said(form) and "End A lies: still to fill in" in said(form)
    fill(form, end_a="left")
    form.look.click()
    form.keep.click()
    assert "Line: still to fill in" in said(form)
    fill(form, line="a/b")
    form.keep.click()
    assert "Not recorded." in said(form) and "Line:" in said(form)
    fill(form, wire_mm="3,5", line="return")
    form.look.click()
    assert "was not read" in said(form) and form.keep.layout.display == "none"
    assert files_of(folder) == before


def test_the_sample_is_not_recorded_into(sample_folder: Path, answered: None) -> None:
    """In the shipped sample the form reads, and records nothing."""
    before = files_of(sample_folder)
    form = FlatForm(sample_folder, bender="small")  # the sample's picture stands in its boxes already
    fill(form, line="return")
    form.look.click()
    assert "3 bends are read" in said(form)
    form.keep.click()
    assert "it stays as it is" in said(form) and files_of(sample_folder) == before
    assert "bendcal-flat-form" in forms.read_flat_line(sample_folder)._dom_classes
