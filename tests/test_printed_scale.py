"""A reference page on the scanner's glass: compared with the file's dpi, believed where its line was measured, and never taken for a piece."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bendcal.fiducials import SIDE_MM, cells, reference_page
from bendcal.scan import NotAScan, read_flat_scan, read_scan
from bendcal.scan.decode import open_scan
from bendcal.scan.printed_scale import checked_scale
from tests.conftest import ROOT
from tests.invented.scan import ScannedPiece, Scanner, save_scan, scan_of

pytest.importorskip("cv2")

PIECE = ScannedPiece(leg_a_mm=45.0, leg_b_mm=40.0, at_mm=(70.0, 75.0), turned_deg=45.0, mark_mm=25.0)
PER_MM = 10


def strip(stretch: tuple[float, float] = (1.0, 1.0), *, marks: int = 3) -> np.ndarray:
    """The top of page 1 with its first marks and, where there are several, some words, cut off below them, drawn from its cells without the kit's printing."""
    page = reference_page("a4")
    drawn = np.ones((36 * PER_MM, 215 * PER_MM))
    for number in sorted(page.marks_mm)[:marks]:
        x, y = page.marks_mm[number]
        cell = round(SIDE_MM / 6 * PER_MM)
        rows, cols = round(y * PER_MM), round(x * PER_MM)
        drawn[rows : rows + 6 * cell, cols : cols + 6 * cell] = np.kron(cells(number), np.ones((cell, cell)))
    left, top, right, _ = page.words_mm[0]
    for line in range(4 if marks > 1 else 0):
        drawn[round((top + 4 + 4 * line) * PER_MM) : round((top + 6 + 4 * line) * PER_MM), round((left + 2) * PER_MM) : round((right - 2) * PER_MM)] = 0.3
    across = np.clip(np.round((np.arange(drawn.shape[1]) + 0.5) / stretch[0] - 0.5).astype(int), 0, drawn.shape[1] - 1)
    down = np.clip(np.round((np.arange(drawn.shape[0]) + 0.5) / stretch[1] - 0.5).astype(int), 0, drawn.shape[0] - 1)
    return drawn[down][:, across]


def scanned(folder: Path, *, scanner: Scanner | None = None, page: np.ndarray | None = None, turned: float = 0.7, piece: ScannedPiece = PIECE, **saved) -> Path:
    """A scan of a strip along the top and a piece below it."""
    printed = (strip() if page is None else page, PER_MM, (3.0, 1.0), turned)
    pixels = scan_of([piece], scanner or Scanner(), (150.0, 115.0), np.random.default_rng(2), fine=1, printed=printed)
    return save_scan(folder / "scan.png", pixels, **saved)


def test_a_page_that_agrees_is_told_and_the_piece_is_read(tmp_path: Path) -> None:
    """A strip with two marks in the picture: agreement is said with its uncertainty, marks and words are no pieces, the bend is read as ever."""
    found = read_scan(scanned(tmp_path), od_mm=4.76, line_mm=100.0)
    assert len(found) == 1 and found.only.angle.value == pytest.approx(90, abs=0.1)
    assert "agrees with the file's dpi: across" in found.notes[0] and "was not measured" not in found.notes[0]
    unmeasured = read_scan(tmp_path / "scan.png", od_mm=4.76)
    assert "Its line was not measured" in unmeasured.notes[0]
    assert unmeasured.only.leg_a.value == found.only.leg_a.value


def test_the_marks_tell_both_scales(tmp_path: Path) -> None:
    """A scanner that stretches by 1.5 % across and −1 % down: two marks tell it to 0.05 % along their row, to 0.2 % across it, and the piece is put right."""
    path = scanned(tmp_path, scanner=Scanner(scale=(1.015, 0.99)))
    scan, u = checked_scale(open_scan(path), scale_u=0.001, line_mm=100.0)
    across, down = np.array(scan.pixel_mm) * (1.015, 0.99) * 300 / 25.4
    assert across == pytest.approx(1, abs=5e-4) and down == pytest.approx(1, abs=2e-3)
    assert 0.002 <= min(u) <= max(u) < 0.004 and "the page was believed" in scan.notes[0]
    read = read_scan(path, od_mm=4.76, line_mm=100.0).only
    assert read.angle.value == pytest.approx(90, abs=0.15) and read.leg_a.value == pytest.approx(45, abs=0.15)


def test_a_flat_line_is_put_right_by_the_page_too(tmp_path: Path) -> None:
    """The same glass, read as a line of one bend: the page is believed and the legs are right; its line not measured, that is said."""
    path = scanned(tmp_path, scanner=Scanner(scale=(1.015, 0.99)))
    assert "was not measured" in read_flat_scan(path, od_mm=4.76).notes[0]
    found = read_flat_scan(path, od_mm=4.76, end_a="top", line_mm=100.0)
    assert "the page was believed" in found.notes[0] and sorted(found.leg.value) == pytest.approx([40, 45], abs=0.15)


def test_a_page_nobody_measured_against_the_file_is_refused(tmp_path: Path) -> None:
    """A print at 97 %, and a file that says 150 dpi more than there are: nothing is read until the line is measured; told 97 mm, the print agrees."""
    path = scanned(tmp_path, page=strip((0.97, 0.97)))
    with pytest.raises(NotAScan, match="by the reference page on the glass it has 291.* Measure the page's 100 mm line"):
        read_scan(path, od_mm=4.76)
    assert "agrees" in read_scan(path, od_mm=4.76, line_mm=97.0).notes[0]
    with pytest.raises(NotAScan, match="has 300.* and its file says 450"):
        read_scan(scanned(tmp_path), od_mm=4.76, dpi=450)


def test_what_lies_over_the_print_is_not_read(tmp_path: Path) -> None:
    """A piece whose end lies on the words of the strip: refused; its good neighbour would not be."""
    over = replace(PIECE, at_mm=(62.0, 42.0))
    assert read_scan(scanned(tmp_path, piece=over), od_mm=4.76).read == ()


def test_one_mark_or_a_curled_page_tell_no_scale(tmp_path: Path) -> None:
    """One mark alone is painted over and said to tell nothing; a page whose corners lie beside a plane's does so too; none at all is said only to who told a line."""
    found = read_scan(scanned(tmp_path, page=strip(marks=1)), od_mm=4.76)
    assert "Only one of" in found.notes[0] and len(found) == 1
    bent = strip()
    y, x = np.mgrid[0 : bent.shape[0], 0 : bent.shape[1]]
    moved = np.clip(y + (8 * np.sin(x / 150)).astype(int), 0, bent.shape[0] - 1)
    assert "lay it flat" in read_scan(scanned(tmp_path, page=bent[moved, x]), od_mm=4.76).notes[0]
    bare = save_scan(tmp_path / "bare.png", scan_of([PIECE], Scanner(), (110.0, 115.0), np.random.default_rng(2), fine=1))
    assert read_scan(bare, od_mm=4.76).notes == ()
    assert "No reference page is on the glass" in read_scan(bare, od_mm=4.76, line_mm=99.0).notes[0]


def test_a_line_that_cannot_be_is_refused(tmp_path: Path) -> None:
    """70 mm for a line of 100."""
    with pytest.raises(ValueError, match="is said to measure 70 mm"):
        read_scan(tmp_path / "none.png", od_mm=4.76, line_mm=70.0)


def test_without_the_library_the_check_is_left_out_and_said(tmp_path: Path) -> None:
    """OpenCV hidden: the piece is read, and a sentence says that the scale was not compared."""
    bare = save_scan(tmp_path / "bare.png", scan_of([PIECE], Scanner(), (110.0, 115.0), np.random.default_rng(2), fine=1))
    code = f"import sys; sys.modules['cv2'] = None\nfrom bendcal.scan import read_scan\nprint(read_scan({str(bare)!r}, od_mm=4.76))"
    done = subprocess.run([sys.executable, "-W", "error", "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert "needs opencv-python-headless" in done.stdout and "angle 90" in done.stdout, done.stderr
