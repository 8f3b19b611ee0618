"""Reference pages: marks of the library's own kind, where the page says they are, and nothing printed where a line is to lie."""

import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from bendcal.fiducials import MOST_PAGES, SIDE_MM, cells, reference_page, reference_pages
from bendcal.printing import reference_page_pdf, table_pages_pdf
from bendcal.scan.sighting import find_page

cv2 = pytest.importorskip("cv2")


def test_the_marks_are_the_library_s_own() -> None:
    """Every mark of every page is drawn by OpenCV with the same cells, those of the first pages by its smaller dictionary too; no number is used twice."""
    book, small, large = (cv2.aruco.getPredefinedDictionary(n) for n in (cv2.aruco.DICT_4X4_100, cv2.aruco.DICT_4X4_50, cv2.aruco.DICT_4X4_250))
    numbers = [number for page in reference_pages() for number in page.marks_mm]
    assert sorted(numbers) == list(range(96)) and len(reference_pages()) == 2 * MOST_PAGES
    assert [sorted(reference_page(paper).marks_mm) for paper in ("a4", "letter")] == [list(range(8)), list(range(8, 16))]
    for number in numbers:
        for each in (book, large) if number >= 50 else (book, small, large):
            assert (cv2.aruco.generateImageMarker(each, number, 6) > 0).tolist() == cells(number).tolist()


def test_there_is_no_page_beyond_the_last() -> None:
    """Page 0 and page 7: a sentence."""
    for number in (0, 7):
        with pytest.raises(ValueError, match=f"no reference page {number}; they are numbered 1 to 6"):
            reference_page("a4", number)


def drawn(pdf: bytes, folder: Path, pdftoppm: str) -> np.ndarray:
    """A PDF's first page, ten pixels a millimetre, drawn by another program."""
    (folder / "page.pdf").write_bytes(pdf)
    subprocess.run([pdftoppm, "-r", "254", "-gray", "-png", "-singlefile", str(folder / "page.pdf"), str(folder / "page")], check=True)
    return np.asarray(Image.open(folder / "page.png").convert("L"))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_printed_page_is_where_it_says(paper: str, tmp_path: Path, pdftoppm: str) -> None:
    """The PDF, drawn by another program: every mark's corners within 0.1 mm, found by OpenCV."""
    page, at, seen = find_page(drawn(reference_page_pdf(paper), tmp_path, pdftoppm))
    assert page.paper == paper and page.number == 1 and len(at) == 32
    assert (seen + 0.5) / 10.0 == pytest.approx(at, abs=0.1)


@pytest.mark.parametrize(("paper", "number"), [("a4", 1), ("a4", 5), ("letter", 2)])
def test_a_page_for_a_table_is_where_it_says(paper: str, number: int, tmp_path: Path, pdftoppm: str) -> None:
    """Every mark's corners within 0.1 mm; nothing is printed outside of the marks and of the places for words."""
    picture = drawn(table_pages_pdf(paper, [number]), tmp_path, pdftoppm)
    page, at, seen = find_page(picture)
    assert (page.paper, page.number, len(at)) == (paper, number, 32)
    assert (seen + 0.5) / 10.0 == pytest.approx(at, abs=0.1)
    ink = picture < 250
    for left, top, right, bottom in [*page.words_mm, *((x, y, x + SIDE_MM, y + SIDE_MM) for x, y in page.marks_mm.values())]:
        ink[int(10 * top) - 1 : int(10 * bottom) + 2, int(10 * left) - 1 : int(10 * right) + 2] = False
    assert not ink.any(), np.argwhere(ink)[:5] / 10


def test_no_words_stand_in_the_way_of_a_line() -> None:
    """Places for words keep 2 mm from every mark and lie beside, never between, the marks of the long edges."""
    for page in reference_pages():
        for left, top, right, bottom in page.words_mm:
            assert bottom <= 33 or top >= page.size_mm[1] - 22
            for x, y in page.marks_mm.values():
                assert x >= right + 2 or left >= x + SIDE_MM + 2 or y >= bottom + 2 or top >= y + SIDE_MM + 2
