"""The printed mark sheet: true to scale, the same bytes each time, nothing cut off or hidden, nothing missing."""

import hashlib
import io
import os
import subprocess
import sys
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from pypdf import PdfReader

from bendcal.figures.straight_tube import straight_tube_height_mm
from bendcal.inch_words import ROUNDED, with_inches
from bendcal.marks import MarkSheet, mark_out
from bendcal.measures import inch_text
from bendcal.order import cautions, order_of_work
from bendcal.printing import PAPERS_MM, mark_sheet_pdf
from bendcal.printing.mark_sheet import lay_out_mark_sheet
from bendcal.printing.pages import Pages, plain_settings
from tests.conftest import ROOT
from tests.drawing import CAL, LONG_NAME, SHOP, collisions, line, off_page, sheet, smallest_type, texts

MM_PER_POINT = 25.4 / 72


@lru_cache(maxsize=32)
def printed(one: MarkSheet, paper: str = "a4", inches: bool = False) -> bytes:
    """The printed sheet, made once for all tests that only look at it."""
    return mark_sheet_pdf(one, paper=paper, inches=inches)


def written(one: MarkSheet, page: int | None = None, **how) -> str:
    """All that is written on the pages, or on one of them, line after line."""
    pages = lay_out_mark_sheet(one, **how)
    pages.finish()
    chosen = pages.pages if page is None else pages.pages[page : page + 1]
    return " ".join(text.get_text() for _, ax in chosen for text in texts(ax))


def reader(one: MarkSheet, **how) -> PdfReader:
    """The printed sheet, read back."""
    return PdfReader(io.BytesIO(printed(one, **how)))


def said(pdf: PdfReader) -> str:
    """All words of a PDF, with single blanks between them."""
    return " ".join(" ".join(page.extract_text() for page in pdf.pages).split())


@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_pages_are_of_the_paper_s_size(paper: str, size: tuple[float, float]) -> None:
    """Every page is A4 (ISO 216) or US Letter, and the file asks the viewer not to scale it."""
    pdf = reader(sheet("two"), paper=paper)
    assert PAPERS_MM[paper] == size
    for page in pdf.pages:
        assert (float(page.mediabox.width) * MM_PER_POINT, float(page.mediabox.height) * MM_PER_POINT) == pytest.approx(size, abs=0.02)
    assert pdf.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"


def test_another_paper_is_refused_in_words() -> None:
    """A paper that is not known is named, with those that are."""
    with pytest.raises(ValueError, match=r"paper is 'A3'; it must be one of a4, letter\."):
        mark_sheet_pdf(sheet("two"), paper="A3")


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_check_line_measures_100_mm_on_every_page(paper: str, tmp_path: Path, pdftoppm: str) -> None:
    """Rastered at 600 dots an inch, the two ticks of each page's check line are 100 mm apart, to 0.1 mm."""
    dpi, file = 600, tmp_path / "sheet.pdf"
    file.write_bytes(printed(sheet("two"), paper=paper))
    height = round(PAPERS_MM[paper][1] / 25.4 * dpi)
    # The line lies 13 mm above the lower edge, its ticks reach from 11 to 15 mm; the upper half of them is free of text.
    top, rows = height - round(14.6 / 25.4 * dpi), round(1.0 / 25.4 * dpi)
    subprocess.run([pdftoppm, "-r", str(dpi), "-gray", "-y", str(top), "-H", str(rows), str(file), str(tmp_path / "page")], check=True)
    pages = sorted(tmp_path.glob("page*.pgm"))
    assert len(pages) == len(PdfReader(file).pages)
    for page in pages:
        dark = greys(page).min(axis=0) < 128
        full = greys(page).max(axis=0) < 128  # columns that are dark all the way: the ticks, and no letter
        edges = np.flatnonzero(np.diff(full.astype(int)))
        assert dark.any() and len(edges) == 4
        ticks = (edges[::2] + edges[1::2]) / 2
        assert (ticks[1] - ticks[0]) / dpi * 25.4 == pytest.approx(100.0, abs=0.1)


def greys(file: Path) -> np.ndarray:
    """A binary PGM picture as an array."""
    magic, width, height, most, pixels = file.read_bytes().split(maxsplit=4)
    assert magic == b"P5" and most == b"255"
    return np.frombuffer(pixels, np.uint8)[-int(width) * int(height) :].reshape(int(height), int(width))


def test_the_same_sheet_gives_the_same_bytes_in_another_python_too() -> None:
    """Nothing of the clock, the process or the notebook's settings gets into the file."""
    here = printed(sheet("two"))
    code = (
        "import hashlib; from tests.drawing import sheet; from bendcal.printing import mark_sheet_pdf;"
        "print(hashlib.sha256(mark_sheet_pdf(sheet('two'))).hexdigest())"
    )
    env = {**os.environ, "PYTHONHASHSEED": "12", "TZ": "Asia/Tokyo"}
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=env, capture_output=True, text=True)
    assert done.stdout.strip() == hashlib.sha256(here).hexdigest(), done.stderr
    with matplotlib.rc_context({"pdf.fonttype": 3, "font.size": 30.0, "path.snap": True, "hatch.linewidth": 9.0, "axes.unicode_minus": False}):
        assert mark_sheet_pdf(sheet("two")) == here


def test_letters_stay_letters() -> None:
    """The fonts are embedded as outlines that can be searched and copied (TrueType, not Type 3), whatever is written."""
    pdf = reader(sheet("one", name="línea trasera ø 5"))
    fonts = {font.get_object()["/Subtype"] for page in pdf.pages for font in page["/Resources"]["/Font"].values()}
    assert fonts and "/Type3" not in fonts
    words = said(pdf).replace(" ", "")  # some readers of PDF take kerning for a blank
    one = sheet("one", name="línea trasera ø 5")
    sentences = [step.sentence for step in order_of_work(one)] + [str(notice) for notice in cautions(one)]
    for sentence in [*sentences, "línea trasera ø 5", f"Cut {one.cut_length_mm:.1f} mm"]:
        assert sentence.replace(" ", "") in words


CASES = [
    ("none", {}, {}), ("one", {"service": "fuel", "end_a": "ring", "trim_at": "A"}, {"inches": True, "paper": "letter"}),
    ("six", {"end_b": "ring", "note": "over the cross member, behind the heat shield, in two clips and one bulkhead fitting, then along the rail"}, {}),
    ("ten", {"name": LONG_NAME}, {"inches": True}), ("ten", {"name": "x" * 120, "feed": "AAAAABBBBB"}, {"inches": True, "paper": "letter"}),
]  # fmt: skip


@pytest.mark.parametrize(("shape", "facts", "how"), CASES, ids=["none", "one", "six", "ten", "ten-turned"])
def test_nothing_on_a_page_is_hidden_or_cut_off(shape: str, facts: dict, how: dict) -> None:
    """No level text touches another, none comes nearer than 5 mm to the paper's edge, and none is smaller than 8 points."""
    with plain_settings():
        pages = lay_out_mark_sheet(sheet(shape, **facts), **how)
        pages.finish()
    for picture, ax in pages.pages:
        picture.set_dpi(300)  # as fine as print: on a screen letters are shifted to whole dots
        found = texts(ax)
        assert collisions(picture, found) == []
        assert off_page(picture, found, margin_mm=5.0) == []
        assert smallest_type(picture) >= 8


@pytest.mark.parametrize("inches", [False, True])
def test_the_sheet_says_everything_that_the_vice_needs(inches: bool) -> None:
    """Marks, dials, turns of the tube in words, angles, 95 % limits, lengths, steps and cautions are all in the print."""
    one = sheet("six", note="over the cross member")
    words = written(one, inches=inches)
    low, high = one.law.finished_angle(one.dial_deg).interval(0.95)
    for k in range(6):
        assert f"{one.mark_mm[k]:.1f}" in words
        assert f"{one.dial_deg[k]:.1f}°" in words
        assert f"{one.legs.angle_deg[k]:.1f}°" in words
        assert f"{low[k]:.1f} to {high[k]:.1f}°" in words
        assert (inch_text(float(one.mark_mm[k])) in words) == inches
    for piece in ("116.7° clockwise", "65.3° anticlockwise"):
        assert piece in words
    # The twists, which go the other way round than the turns, stand nowhere beside them.
    for piece in ("−116.7°", "+65.3°"):
        assert piece not in words
    assert (ROUNDED in words) == inches
    assert f"Cut {one.cut_length_mm:.1f} mm" in words
    assert f"Spare at end B: {one.trim_mm:.1f} mm" in words
    for sentence in [step.sentence for step in order_of_work(one)] + [str(notice) for notice in cautions(one)] + list(one.warnings):
        assert with_inches(sentence, inches) in words
    assert "100 mm. If it measures otherwise, the print is scaled: trust the numbers, not the drawing." in words
    assert "Over the cross member" in words


def test_warnings_and_the_gravest_caution_stand_on_the_first_page() -> None:
    """What could waste the tube or a life is read before any number."""
    one = sheet("ten", end_b="ring")
    assert one.warnings
    first = written(one, page=0)
    begin = first.index("Before you cut")
    for sentence in ("Brake work can kill", "End B of this brake line is an olive", *one.warnings):
        assert begin < first.index(sentence) < first.index("The straight tube")


def test_each_bend_has_a_box_to_tick_and_each_step_too() -> None:
    """Six bends and their steps make as many empty boxes."""
    one = sheet("six")
    pages = lay_out_mark_sheet(one)
    ticks = [
        patch for _, ax in pages.pages for patch in ax.patches
        if hasattr(patch, "get_width") and 2.5 < patch.get_width() < 3.5 and patch.get_width() == patch.get_height()
    ]  # fmt: skip
    assert len(ticks) == 6 + len(order_of_work(one))


def test_where_the_tube_is_turned_end_for_end_the_table_says_which_end_leads() -> None:
    """The column is there only where it is needed."""
    turned, plain = (written(sheet("six", feed)) for feed in ("AAABBB", "A"))
    assert "end for end; line at" in turned
    assert "end for end" not in plain


def test_the_spare_tube_may_be_at_end_a() -> None:
    """A line that is trimmed at A says so in its lengths and its steps."""
    words = written(sheet("two", trim_at="A"))
    assert "Spare at end A" in words
    assert "Cut end A 5 mm beyond that mark" in words


def test_blocks_go_to_the_next_page_whole() -> None:
    """What does not fit the rest of a page begins the next one; what fits stays."""
    pages = Pages("a4", "test")
    full = pages.room
    pages.need(full - 10.0)
    assert len(pages.pages) == 1
    top = pages.need(20.0)
    assert len(pages.pages) == 2
    assert pages.room == pytest.approx(full - 20.0)
    assert top == pytest.approx(297.0 - 12.0)
    pages.need(full + 50.0)  # taller than any page: on a page of its own, not on endless empty ones
    assert len(pages.pages) == 3


def test_the_clocks_stand_beside_the_table_where_the_page_has_room() -> None:
    """Six bends of which each has a label, with four lines of facts above: table, lengths and clocks go on the first page."""
    one = line("six", note="over the cross member")
    labels = ("up the rail", "round the gusset", "onto the cross member", "far end", "behind the far rail", "towards the hose")
    one = mark_out(SHOP, CAL, replace(one, labels=("", *labels, "")), order=[1, 3, 2, 6, 5, 4])
    first = written(one, page=0)
    assert first.index("up the rail") < first.index("How to turn the tube")
    assert "Order of work" not in first


def test_the_straight_tube_takes_the_room_that_it_says() -> None:
    """Marks in inches make it taller by one row and the cut length in inches by a little; narrower paper does by whole strips."""
    one = sheet("ten")
    plain, inches = (straight_tube_height_mm(one, width=190.0, inches=flag) for flag in (False, True))
    assert 4.6 < inches - plain < 4.6 + 3.8
    assert straight_tube_height_mm(one, width=110.0) > 1.6 * plain
