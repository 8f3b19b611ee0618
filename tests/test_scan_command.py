"""The command ``bendcal scan`` and the recording of what a scan shows."""

import io
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader

from bendcal.cli import main
from bendcal.estimate import Estimate
from bendcal.files.folder import read_shop
from bendcal.scan import ScanReading
from bendcal.scan.recording import record, tool_for
from tests.a_scan import PIECES, two_pieces


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A scan of two pieces."""
    return two_pieces(tmp_path_factory.mktemp("scan") / "two.png")


@pytest.fixture
def folder(sample_folder: Path) -> Path:
    """A copy of the sample under another name, so that it may be written to."""
    return sample_folder.rename(sample_folder.with_name("shop"))


def asked(shop: Path, scan: Path, *more: str) -> int:
    """The command's exit code."""
    return main(["scan", str(shop), str(scan), "--tube", "cuni-3/16", *more])


def test_a_scan_is_shown_and_drawn(folder: Path, two: Path, capsys: pytest.CaptureFixture) -> None:
    """Both pieces with their angles, and a picture in the shop's scans/; nothing goes into the log."""
    before = (folder / "offcuts.csv").read_bytes()
    assert asked(folder, two) == 0
    said = capsys.readouterr().out
    assert "Piece 1 (end A" in said and "angle 60.0" in said and "angle 90.0" in said
    assert Image.open(io.BytesIO((folder / "sheets" / "scans" / "two-seen.png").read_bytes())).size[0] > 1000
    assert (folder / "offcuts.csv").read_bytes() == before


def test_what_was_read_is_recorded_with_its_own_tool(folder: Path, two: Path, capsys: pytest.CaptureFixture) -> None:
    """Two rows, angles to 0.2°, legs and marks to 0.15 mm; the tool comes into tools.csv once."""
    count = len(read_shop(folder).offcuts)
    assert asked(folder, two, "--record", "--bender", "small", "--dial", "62", "93", "--length", "75.2") == 0
    shop = read_shop(folder)
    assert len(shop.offcuts) == count + 2 and "Recorded: piece 2" in capsys.readouterr().out
    for written, piece, dial in zip(shop.offcuts[-2:], PIECES, (62, 93), strict=True):
        assert written.angle_deg == pytest.approx(piece.angle_deg, abs=0.2) and written.dial_deg == dial
        assert written.mark_mm == pytest.approx(piece.mark_mm, abs=0.15) and written.leg_a_mm == pytest.approx(42, abs=0.15)
        assert written.note.startswith("read from two.png, piece") and shop.tools[written.angle_tool].sd >= 0.1
    assert (folder / "tools.csv").read_text().count("scan") == len({o.angle_tool for o in shop.offcuts[-2:]})


@pytest.mark.parametrize(
    ("more", "why"),
    [
        (["--record"], "--record needs what no picture shows"),
        (["--record", "--dial", "62", "--length", "75"], "Which bender"),
        (["--record", "--bender", "small", "--dial", "62", "--length", "75"], "--dial has 1 numbers, and 2 pieces"),
        (["--record", "--bender", "small", "--dial", "62", "93", "--length", "75", "--end-a", "bottom"], "no mark was seen on leg A of piece 1"),
        (["--dpi", "20"], "below 150 dpi"),
    ],
)
def test_what_is_missing_is_asked_for_and_nothing_is_recorded(folder: Path, two: Path, capsys, more: list[str], why: str) -> None:
    """No dial, no bender, one dial for two pieces, the unmarked leg as A, too coarse: exit code 2, a sentence, the log as it was."""
    before = (folder / "offcuts.csv").read_bytes()
    assert asked(folder, two, *more) == 2
    assert why in capsys.readouterr().err
    assert (folder / "offcuts.csv").read_bytes() == before


def test_a_scan_on_which_one_piece_is_not_read_is_not_recorded(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    """A piece over the border: shown with its reason, and no row is written, for the dials could get to the wrong piece."""
    cut = two_pieces(tmp_path / "cut.png", width_mm=95.0)
    before = (folder / "offcuts.csv").read_bytes()
    assert asked(folder, cut, "--record", "--bender", "small", "--dial", "62", "93", "--length", "75") == 2
    told = capsys.readouterr()
    assert "reaches the border" in told.out and "not every piece was read" in told.err
    assert (folder / "offcuts.csv").read_bytes() == before


def test_an_uncertain_angle_has_a_worse_tool_and_a_hopeless_one_none() -> None:
    """0.05° → scan, 0.3° → scan-0.4, 2° → a sentence."""
    assert tool_for(ScanReading(1, (0, 0, 9, 9), angle=Estimate(90.0, 0.05))) == ("scan", 0.1)
    assert tool_for(ScanReading(1, (0, 0, 9, 9), angle=Estimate(90.0, 0.3))) == ("scan-0.4", 0.4)
    with pytest.raises(ValueError, match="not read well enough"):
        tool_for(ScanReading(1, (0, 0, 9, 9), angle=Estimate(90.0, 2.0)))


def test_nothing_is_recorded_in_the_sample(sample_folder: Path, two: Path, capsys: pytest.CaptureFixture) -> None:
    """The shipped sample is shown any scan, and stays as it is."""
    before = (sample_folder / "offcuts.csv").read_bytes()
    assert asked(sample_folder, two, "--record", "--bender", "small", "--dial", "62", "93", "--length", "75") == 2
    assert "it stays as it is" in capsys.readouterr().err and (sample_folder / "offcuts.csv").read_bytes() == before


def test_a_refused_piece_is_never_recorded(folder: Path) -> None:
    """The reason for its refusal is said instead."""
    with pytest.raises(ValueError, match="was not read: It is kinked"):
        record(folder, ScanReading(1, (0, 0, 9, 9), refused=("It is kinked.",)))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_reference_page_is_written(folder: Path, paper: str, capsys: pytest.CaptureFixture) -> None:
    """A PDF in sheets/, and the word to measure its line."""
    assert main(["page", str(folder), "--paper", paper]) == 0
    assert (folder / "sheets" / f"reference-page-{paper}.pdf").read_bytes().startswith(b"%PDF")
    assert "measure its 100 mm line" in capsys.readouterr().out


@pytest.mark.parametrize(("more", "name", "count"), [(["--pages", "3"], "1-3", 3), (["--number", "2"], "2", 1), (["--pages", "1", "--paper", "letter"], "1", 1)])
def test_pages_for_a_table_are_written(folder: Path, more: list[str], name: str, count: int, capsys: pytest.CaptureFixture) -> None:
    """Three pages in one PDF, or the second alone; how to lay them is said and drawn."""
    assert main(["page", str(folder), *more]) == 0
    file = folder / "sheets" / f"reference-pages-{'letter' if 'letter' in more else 'a4'}-{name}.pdf"
    assert len(PdfReader(file).pages) == count
    assert "passes between the marks" in " ".join(capsys.readouterr().out.split())
    assert (folder / "sheets" / "how-to-lay-pages.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(("more", "why"), [(["--pages", "9"], "--pages is 9"), (["--pages", "0"], "--pages is 0"), (["--number", "7"], "no reference page 7")])
def test_pages_that_do_not_exist_are_not_written(folder: Path, more: list[str], why: str, capsys: pytest.CaptureFixture) -> None:
    """Exit code 2 and a sentence."""
    assert main(["page", str(folder), *more]) == 2
    assert why in capsys.readouterr().err


def test_a_scan_taken_for_a_photo_says_that_there_is_no_page(folder: Path, two: Path, capsys: pytest.CaptureFixture) -> None:
    """--photo on a scan: exit code 2, and what is missing."""
    pytest.importorskip("cv2")
    assert asked(folder, two, "--photo") == 2
    assert "Of the reference page's eight marks 0 can be made out" in capsys.readouterr().err
