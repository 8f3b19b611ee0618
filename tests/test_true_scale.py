"""The true-scale pages: as large as the real thing where it is measured, nothing hidden, and the printed numbers with it."""

import hashlib
import io
import os
import re
import subprocess
import sys
from functools import lru_cache
from itertools import pairwise
from math import cos, radians, sin, sqrt, tan
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.patches import Circle
from pypdf import PdfReader
from scipy.stats import t as student

from bendcal.atomic import NotSaved
from bendcal.cli import main
from bendcal.figures.paper import BLUE, INK
from bendcal.inch_words import with_inches
from bendcal.law import Law
from bendcal.lines import line_from_legs
from bendcal.marks import MarkSheet, mark_out
from bendcal.measures import inch_text
from bendcal.order import cautions
from bendcal.printing.discs import RADIUS_MM, Disc, disc_of, draw_discs
from bendcal.printing.gauges import Gauge, draw_gauges, gauges_of
from bendcal.printing.mark_gauge import draw_mark_gauge, mark_gauge_for
from bendcal.printing.pages import plain_settings
from bendcal.printing.strip import strip_of
from bendcal.printing.tiling import OVERLAP_MM, pieces_of
from bendcal.printing.true_pages import TruePages
from bendcal.printing.true_scale import lay_out_true_scale, true_scale_pdf
from bendcal.sheets import save_true_scale
from tests.conftest import ROOT
from tests.drawing import CAL, LAW, LONG_NAME, SHOP, collisions, line, off_page, sheet, smallest_type, strokes, texts
from tests.test_printing import greys

MM_PER_INCH = 25.4
LANDSCAPE_MM = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}
WIDE_MM = {"a4": 271.0, "letter": 253.4}  # the column of the page: the paper less twice 13 mm


@lru_cache(maxsize=16)
def laid_out(one: MarkSheet, **how) -> TruePages:
    """The finished pages of a sheet, made once for all tests that only look."""
    with plain_settings():
        pages = lay_out_true_scale(one, **how)
        pages.finish()
    return pages


def rastered(pdftoppm: str, folder: Path, content: bytes, *, dpi: int, page: int, from_bottom_mm: float, height_mm: float, paper: str) -> np.ndarray:
    """A band across one page of a PDF as greys, its top row first."""
    file = folder / "pages.pdf"
    file.write_bytes(content)
    whole = round(LANDSCAPE_MM[paper][1] / MM_PER_INCH * dpi)
    top, rows = whole - round((from_bottom_mm + height_mm) / MM_PER_INCH * dpi), max(round(height_mm / MM_PER_INCH * dpi), 1)
    where = ["-f", str(page), "-l", str(page), "-y", str(top), "-H", str(rows)]
    subprocess.run([pdftoppm, "-r", str(dpi), "-gray", *where, "-singlefile", str(file), str(folder / "band")], check=True)
    return greys(folder / "band.pgm")


def middles(dark: np.ndarray, dpi: int) -> np.ndarray:
    """The middles of the runs of True in a row [mm]."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], dark.astype(int), [0]])))
    return (edges[::2] + edges[1::2]) / 2 / dpi * MM_PER_INCH


# --- pieces ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("paper", "count"), [("a4", 6), ("letter", 7)])
def test_a_strip_of_1500_mm_is_six_or_seven_pieces(paper: str, count: int) -> None:
    """Pieces of 271 or 253.4 mm that overlap by 15 mm: (1500 + 18 − 15)/256 = 5.9 and /238.4 = 6.3, rounded up."""
    width = TruePages(paper, "test").width
    assert width == pytest.approx(WIDE_MM[paper])
    assert len(pieces_of(-9.0, 1509.0, width_mm=width)) == count


@settings(max_examples=40)
@given(
    high=st.floats(100, 3000), width=st.floats(150, 275),
    marks=st.lists(st.floats(0, 3000), max_size=12).map(sorted), label=st.floats(5, 30),
)  # fmt: skip
def test_pieces_cover_the_strip_and_overlap_by_15_mm(high: float, width: float, marks: list[float], label: float) -> None:
    """No piece is wider than the paper, neighbours share 15 mm about a whole millimetre, and nothing is left out."""
    pieces = pieces_of(-9.0, high, width_mm=width, marks_mm=marks, widths_mm=[label] * len(marks))
    assert (pieces[0].low_mm, pieces[-1].high_mm) == (-9.0, high)
    assert pieces[0].first and pieces[-1].last and [piece.number for piece in pieces] == list(range(1, len(pieces) + 1))
    for piece in pieces:
        assert piece.high_mm - piece.low_mm <= width + 1e-9
    for left, right in pairwise(pieces):
        assert left.to_mm == right.from_mm == round(left.to_mm)
        assert left.high_mm - right.low_mm == pytest.approx(OVERLAP_MM)
    if not marks:
        assert len(pieces) == max(1, int(np.ceil(round((high + 9.0 - OVERLAP_MM) / (width - OVERLAP_MM), 9)))) or high % 1


def test_joints_keep_clear_of_marks_where_that_costs_no_piece() -> None:
    """A mark where the first joint would fall pushes it 12 mm away; with no room to spare it stays as far as it can."""
    free, pushed = (pieces_of(-9.0, 400.0, width_mm=271.0, marks_mm=marks)[0].to_mm for marks in ([], [250.0]))
    assert free == 254.0
    assert pushed == 238.0
    crowded = [float(mark) for mark in range(10, 390, 5)]
    assert min(abs(pieces_of(-9.0, 400.0, width_mm=271.0, marks_mm=crowded)[0].to_mm - mark) for mark in crowded) == 2.0


def test_a_piece_gets_no_more_labels_than_it_has_room_for() -> None:
    """Ten labels of 27 mm do not go into a piece of 263 mm, though their marks do: it ends before the last of them."""
    marks = [20.0 + 20 * k for k in range(10)]
    bare, labelled = (pieces_of(-9.0, 400.0, width_mm=271.0, marks_mm=marks, widths_mm=widths) for widths in ([], [27.0] * 10))
    assert bare[0].to_mm > 200.0 > labelled[0].to_mm
    for piece in labelled:
        assert 27.0 * sum(piece.from_mm <= mark < piece.to_mm for mark in marks) <= piece.to_mm - piece.from_mm


@pytest.mark.parametrize(("pitch", "shortened"), [(30.0, False), (12.0, True), (9.0, True)])
def test_where_bends_lie_too_near_the_strip_leaves_words_out_and_says_so(pitch: float, shortened: bool) -> None:
    """Their numbers and lines stay; what no longer fits stands on the mark sheet, and nothing leaves the page."""
    bends = 24
    one = mark_out(SHOP, CAL, line_from_legs(
        "comb", [40.0, *[pitch] * (bends - 1), 40.0], [8.0] * bends, [0.0, *[90.0] * (bends - 1)], tube="steel", bender="small",
    ))  # fmt: skip
    _, ax = laid_out(one).pages[0]
    said = " ".join(text.get_text() for text in texts(ax))
    assert ("those that are left out stand on the mark sheet" in said) == shortened
    assert ("dial 9.8°" in said) != shortened
    for picture, page in laid_out(one).pages:
        picture.set_dpi(300)
        assert collisions(picture, texts(page)) == []
        assert off_page(picture, texts(page), margin_mm=5.0) == []
    assert "+ 20" in " ".join(text.get_text() for _, page in laid_out(one).pages for text in texts(page))  # one gauge for all
    drawn = {round(float(points[0, 0]), 3) for _, page in laid_out(one).pages for points in strokes(page, BLUE, 1.1)}
    assert len(drawn) >= bends


def test_too_narrow_a_page_is_refused() -> None:
    """A strip of pieces that would be all overlap is not printed."""
    with pytest.raises(ValueError, match="cannot be printed in pieces of 50 mm"):
        pieces_of(0.0, 100.0, width_mm=50.0)


# --- measured on the rendered page ----------------------------------------------------------------


@pytest.mark.parametrize(("paper", "measured"), [("a4", 100.0), ("letter", 100.0), ("a4", 97.0), ("letter", 103.5)])
def test_200_mm_of_strip_measure_200_mm(paper: str, measured: float, tmp_path: Path, pdftoppm: str) -> None:
    """From the line of end A to the mark and to that of end B, rastered at 600 dots an inch, within 0.1 mm as printed on such a printer."""
    one, dpi = sheet("one"), 600
    assert one.cut_length_mm > 200.0
    pages = laid_out(one, paper=paper, measured_mm=measured)
    (x_a, low), _ = sorted(tuple(points[points[:, 1].argmin()]) for points in strokes(pages.pages[0][1], INK, 1.0))
    band = rastered(
        pdftoppm, tmp_path, true_scale_pdf(one, paper=paper, measured_mm=measured), dpi=dpi, page=1, paper=paper,
        from_bottom_mm=(low + 0.3) * 100 / measured, height_mm=0.6,
    )  # fmt: skip
    # Below the strip's edge there are the two cut lines, and between them the mark's line in its wedge.
    found = middles(band.max(axis=0) < 140, dpi) * measured / 100
    found = found[found > 12.0]  # the upright check line lies left of the column
    assert len(found) == 3
    assert found[0] == pytest.approx(x_a, abs=0.1)
    assert found[1] - found[0] == pytest.approx(float(one.mark_mm[0]), abs=0.1)
    assert found[2] - found[0] == pytest.approx(one.cut_length_mm, abs=0.1)


@pytest.mark.parametrize("measured", [100.0, 97.0])
def test_both_check_lines_measure_100_mm_on_every_page(measured: float, tmp_path: Path, pdftoppm: str) -> None:
    """Along the foot and up the side, rastered at 300 dots an inch: 100 mm within 0.1 mm as printed on such a printer."""
    one, dpi = sheet("two"), 300
    content = true_scale_pdf(one, measured_mm=measured)
    real = measured / 100
    for page in range(1, len(PdfReader(io.BytesIO(content)).pages) + 1):
        low = rastered(pdftoppm, tmp_path, content, dpi=dpi, page=page, paper="a4", from_bottom_mm=13.6 / real, height_mm=1.0 / real)
        left, right = middles(low.max(axis=0) < 128, dpi) * real
        assert right - left == pytest.approx(100.0, abs=0.1)
        side = rastered(pdftoppm, tmp_path, content, dpi=dpi, page=page, paper="a4", from_bottom_mm=20.0, height_mm=150.0)
        ticks = side[:, round(9.3 / real / MM_PER_INCH * dpi) : round(10.1 / real / MM_PER_INCH * dpi)]
        upper, lower = middles(ticks.max(axis=1) < 128, dpi) * real
        assert lower - upper == pytest.approx(100.0, abs=0.1)


def test_a_drawn_gauge_has_the_angle_and_the_width_of_the_tube(tmp_path: Path, pdftoppm: str) -> None:
    """Rastered: the outside edges of a square bend fall at 45° each, and the edges of a leg lie an outside diameter apart."""
    dpi = 600
    gauge = Gauge((1,), 90.0, 88.0, 92.0, 94.0, 20.0, 6.0)
    with plain_settings():
        pages = TruePages("a4", "test")
        draw_gauges(pages, [gauge])
        content = pages.pdf(title="test")
    end = max(points[0, 1] for points in strokes(pages.pages[0][1], INK, 0.9) if len(points) > 2)
    rows = []
    for up in (4.0, 14.0):
        band = rastered(pdftoppm, tmp_path, content, dpi=dpi, page=1, paper="a4", from_bottom_mm=end + up, height_mm=0.05)[0]
        rows.append(middles(band < 90, dpi)[-100:])
    # The upright check line, which ends lower than this; then the outside and inside edge of leg A, and those of leg B.
    (low_out, low_in, *_), (high_out, high_in, *_) = rows
    assert np.degrees(np.arctan2(10.0, high_out - low_out)) == pytest.approx(45.0, abs=0.3)
    for out, inside in ((low_out, low_in), (high_out, high_in)):
        assert (inside - out) * sin(radians(45.0)) == pytest.approx(6.0, abs=0.1)


def test_the_disc_is_as_large_as_it_says_and_its_hole_as_the_tube(tmp_path: Path, pdftoppm: str) -> None:
    """Rastered through the middle of a face: 90 mm from rim to rim, and the tube's 4.76 mm across the hole."""
    one, dpi = sheet("six"), 600
    with plain_settings():
        pages = TruePages("a4", "test")
        draw_discs(pages, one)
        content = pages.pdf(title="test")
    centre = next(patch.center for patch in pages.pages[0][1].patches if isinstance(patch, Circle) and patch.radius == RADIUS_MM)
    half = one.tube.od_mm / 2
    band = rastered(pdftoppm, tmp_path, content, dpi=dpi, page=1, paper="a4", from_bottom_mm=centre[1] + 0.3, height_mm=0.05)[0]
    # A little above the middle, clear of the crosshair: chords of the rim and of the hole.
    here = middles(band < 128, dpi)
    rim = here[(here < centre[0] - RADIUS_MM + 0.5) & (here > centre[0] - RADIUS_MM - 0.5)]
    far = here[(here < centre[0] + RADIUS_MM + 0.5) & (here > centre[0] + RADIUS_MM - 0.5)]
    assert far[0] - rim[0] == pytest.approx(2 * RADIUS_MM, abs=0.1)
    hole = here[(here > centre[0] - half - 0.5) & (here < centre[0] + half + 0.5)]
    upright = hole[np.abs(hole - centre[0]) < 0.5]
    sides = hole[np.abs(hole - centre[0]) > 1.0]
    assert len(upright) == 1 and len(sides) == 2
    assert sides[1] - sides[0] == pytest.approx(2 * sqrt(half**2 - 0.325**2), abs=0.1)


# --- the file -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("paper", "measured"), [("a4", 100.0), ("letter", 96.3)])
def test_pages_are_of_the_paper_s_size_and_ask_not_to_be_scaled(paper: str, measured: float) -> None:
    """Landscape A4 or Letter, also where all is drawn larger for a printer that shrinks it."""
    pdf = PdfReader(io.BytesIO(true_scale_pdf(sheet("two"), paper=paper, measured_mm=measured)))
    for page in pdf.pages:
        for box in (page.mediabox, page.cropbox):
            size = (float(box.width) / 72 * MM_PER_INCH, float(box.height) / 72 * MM_PER_INCH)
            assert size == pytest.approx(LANDSCAPE_MM[paper], abs=0.02)
    assert pdf.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"


def test_the_same_line_gives_the_same_bytes_in_another_python_too() -> None:
    """Nothing of the clock or the process gets into the file, drawn larger or not."""
    measured = 97.0
    code = (
        "import hashlib; from tests.drawing import sheet; from bendcal.printing import true_scale_pdf;"
        f"print(hashlib.sha256(true_scale_pdf(sheet('two'), measured_mm={measured})).hexdigest())"
    )
    env = {**os.environ, "PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo"}
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=env, capture_output=True, text=True)
    assert done.stdout.strip() == hashlib.sha256(true_scale_pdf(sheet("two"), measured_mm=measured)).hexdigest(), done.stderr


@pytest.mark.parametrize("measured", [50.0, 84.9, 115.1, -97.0, float("nan")])
def test_a_measure_that_no_fitting_to_the_page_explains_is_refused(measured: float) -> None:
    """Two pages on a sheet, or a slip of the pen, is not put right by drawing larger."""
    with pytest.raises(ValueError, match="Between 85 and 115 mm can be put right; beyond that something else is wrong"):
        true_scale_pdf(sheet("two"), measured_mm=measured)


def test_another_paper_is_refused() -> None:
    """A paper that is not known is named, with those that are."""
    with pytest.raises(ValueError, match=r"paper is 'A3'; it must be one of a4, letter\."):
        true_scale_pdf(sheet("two"), paper="A3")


# --- what is written ------------------------------------------------------------------------------


CASES = [
    ("none", {}, {}), ("one", {"service": "fuel", "end_a": "ring", "trim_at": "A"}, {"inches": True, "paper": "letter"}),
    ("two", {}, {"measured_mm": 85.0}), ("two", {}, {"paper": "letter", "measured_mm": 115.0}), ("six", {"end_b": "ring"}, {"inches": True, "measured_mm": 97.0}),
    ("ten", {"name": LONG_NAME}, {}), ("ten", {"name": "x" * 120, "feed": "AAAAABBBBB"}, {"inches": True, "paper": "letter"}),
]  # fmt: skip


@pytest.mark.parametrize(("shape", "facts", "how"), CASES, ids=["none", "one", "two-shrunk", "two-stretched", "six", "ten", "ten-turned"])
def test_nothing_on_a_page_is_hidden_or_cut_off(shape: str, facts: dict, how: dict) -> None:
    """No level text touches another, none comes nearer than 5 mm to the paper's edge, and none is smaller than 8 points."""
    for picture, ax in laid_out(sheet(shape, **facts), **how).pages:
        picture.set_dpi(300)
        found = texts(ax)
        assert collisions(picture, found) == []
        assert off_page(picture, found, margin_mm=5.0) == []
        assert smallest_type(picture) >= 8


@pytest.mark.parametrize("inches", [False, True])
def test_every_number_that_the_vice_needs_is_printed(inches: bool) -> None:
    """Marks, dials, angles, limits, turns, cut length, joints, warnings, the caution, and that the numbers decide."""
    one = sheet("ten")
    said = " ".join(text.get_text() for _, ax in laid_out(one, inches=inches).pages for text in texts(ax))
    low, high = one.law.finished_angle(one.dial_deg).interval(0.95)
    for k in range(10):
        assert f" {one.mark_mm[k]:.1f} " in said
        assert f"dial {one.dial_deg[k]:.1f}°" in said
        assert f"finish {one.legs.angle_deg[k]:.1f}°" in said
        assert f"95 % finish between {low[k]:.1f}° and {high[k]:.1f}°" in said
        assert one.steps[k].words in said
        assert not inches or inch_text(float(one.mark_mm[k])) in said
    for piece in strip_of(one, width_mm=WIDE_MM["a4"]).pieces[1:]:
        assert said.count(f"joint {piece.from_mm:g}") == 2
    assert f"seat A {one.seat_a_mm:.1f}" in said and f"seat B {one.seat_b_mm:.1f}" in said and f"cut end B {one.cut_length_mm:.1f}" in said
    assert f"spare {one.trim_mm:g} mm" in said
    assert with_inches(f"it must measure {one.cut_length_mm:.1f} mm from the line of end A to that of end B", inches) in said
    assert one.warnings
    for sentence in (str(cautions(one)[0]), *one.warnings, "The printed numbers decide; the drawings are an aid."):
        assert sentence in said
    pages = laid_out(one, inches=inches).pages
    assert said.count("Measure this line with a rule before you use the page: 100 mm.") == len(pages) == said.count("100 mm, upright")


def test_a_page_drawn_anew_says_for_which_print() -> None:
    """Pages for one printer must not be taken for pages for another."""
    said = " ".join(text.get_text() for _, ax in laid_out(sheet("two"), measured_mm=97.0).pages for text in texts(ax))
    assert "Drawn anew for a print on which this line measured 97 mm." in said


def test_short_strips_share_a_page() -> None:
    """Four pieces of a line lie on two pages, and a line without a bend is a single page."""
    said = [" ".join(text.get_text() for text in texts(ax)) for _, ax in laid_out(sheet("six"), paper="letter").pages]
    assert [words.count(" mm from the cut end A") for words in said[:3]] == [2, 2, 0]
    assert len(laid_out(sheet("none")).pages) == 1
    assert len(laid_out(sheet("two")).pages) == 3


def test_marks_off_the_tube_are_drawn_all_the_same() -> None:
    """A mark before the cut end A, which the warnings tell of, still has its place on the strip."""
    law = Law.of("small", "steel", [0.0, 1.0, 15.0, 15.0, 70.0], n_offcuts=6)
    cal = type(CAL)(laws={("small", "steel"): law}, residuals=None, blunders=(), set_aside=(), digest="", version="0")
    one = mark_out(SHOP, cal, line("two"))
    assert one.mark_mm[0] < 0
    strip = strip_of(one, width_mm=271.0)
    assert strip.pieces[0].low_mm < one.mark_mm[0]
    said = " ".join(text.get_text() for _, ax in laid_out(one).pages for text in texts(ax))
    assert f"{one.mark_mm[0]:.1f}" in said


# --- gauges ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("angle", [8.0, 45.0, 90.0, 150.0])
def test_a_gauge_is_the_bend_itself(angle: float) -> None:
    """Its edges lie R ± OD/2 from the bend's centre on the arc, half a diameter from the centreline on the legs, turned by the angle."""
    gauge = Gauge((1,), angle, angle - 1, angle + 1, 95.0, 15.4, 4.76)
    for side in (1.0, 0.0, -1.0):
        edge = gauge.edge(side, 40.0)
        assert np.hypot(edge[1:-1, 0], edge[1:-1, 1]) == pytest.approx(15.4 + side * 2.38)
        first, last = edge[1] - edge[0], edge[-1] - edge[-2]
        assert np.hypot(*first) == np.hypot(*last) == pytest.approx(40.0)
        turned = np.degrees(np.arctan2(first[0] * last[1] - first[1] * last[0], first @ last))
        assert -turned == pytest.approx(angle)
        # The leg leaves the arc straight on: it is square to the spoke.
        assert first @ edge[1] == pytest.approx(0.0, abs=1e-9)
    low = gauge.edge(1.0, 40.0, angle_deg=angle - 1)
    assert low[:2] == pytest.approx(gauge.edge(1.0, 40.0)[:2])  # leg A does not move
    assert low[-1, 1] > gauge.edge(1.0, 40.0)[-1, 1]  # opened up, leg B stands higher


def test_bends_that_finish_alike_share_a_gauge() -> None:
    """The line with ten bends has six different angles, each with the limits of its dial setting."""
    one = sheet("ten")
    gauges = gauges_of(one)
    assert [gauge.bends for gauge in gauges] == [(1, 2, 10), (3, 5, 8), (4,), (6,), (7,), (9,)]
    for gauge in gauges:
        low, high = one.law.finished_angle(gauge.dial_deg).interval(0.95)
        assert (gauge.low_deg, gauge.high_deg) == (low, high)
        assert gauge.low_deg < gauge.angle_deg < gauge.high_deg
        assert gauge.angle_deg == one.legs.angle_deg[gauge.bends[0] - 1]


def test_a_bend_larger_than_the_page_has_no_gauge_and_that_is_said() -> None:
    """A radius of 300 mm cannot be cut out of paper; a large one that can goes on a card of its own width."""
    large, huge = (Gauge((1,), 90.0, 88.0, 92.0, 94.0, radius, 10.0) for radius in (60.0, 300.0))
    pages = TruePages("a4", "test")
    assert draw_gauges(pages, [large, huge]) == [huge]
    law = Law.of("small", "steel", [0.0, 1.0, 300.0, 299.0, 2.0], n_offcuts=6)
    assert not draw_mark_gauge(pages, mark_gauge_for(law, SHOP.tubes["steel"]))


def test_the_mark_gauge_shows_the_law_s_offset_and_the_limits_of_a_single_mark() -> None:
    """The mark lies m before the start of the bend; 19 of 20 within t·√(u(m)² + marking²), t scaled to a standard deviation of 1."""
    gauge = mark_gauge_for(LAW, SHOP.tubes["steel"])
    assert gauge.angle_deg == 90.0
    assert gauge.dial_deg == pytest.approx((90.0 + 1.5) / 0.965)
    half = student.ppf(0.975, 8) * sqrt(6 / 8) * sqrt(0.35**2 + 0.3**2)
    assert (gauge.low_mm, gauge.high_mm) == pytest.approx((2.2 - half, 2.2 + half))
    assert gauge.take_up_mm == pytest.approx(2.2 + 15.4 * tan(radians(45.0)))
    assert gauge.place(-gauge.offset_mm)[0] == pytest.approx([-2.2, 0.0])
    inside, way = gauge.place(15.05 * radians(30.0), 1.0)
    assert way == pytest.approx(30.0)
    assert inside == pytest.approx([(15.4 - 2.38) * sin(radians(30.0)), 15.4 - (15.4 - 2.38) * cos(radians(30.0))])
    end, way = gauge.place(15.05 * radians(90.0) + 10.0)
    assert (end, way) == (pytest.approx([15.4, 25.4]), pytest.approx(90.0))


def test_the_mark_gauge_takes_an_angle_that_the_offcuts_covered() -> None:
    """Where no square bend was taught it takes the middle of what was; an angle may be asked for."""
    law = Law.of("small", "steel", LAW.parameters, LAW.covariance, n_offcuts=3, angle_range_deg=(20.0, 61.0))
    tube = SHOP.tubes["steel"]
    assert mark_gauge_for(law, tube).angle_deg == 40.0
    assert mark_gauge_for(law, tube, angle_deg=30.0).angle_deg == 30.0
    with pytest.raises(ValueError, match="190° cannot be bent"):
        mark_gauge_for(law, tube, angle_deg=190.0)


@pytest.mark.parametrize("offset", [-9.0, 0.0, 2.2, 27.0])
def test_the_mark_gauge_is_drawn_wherever_the_mark_lies(offset: float) -> None:
    """On the arc, at its start, or far before it: the heavy line crosses the tube there, and no text is hidden."""
    law = Law.of("small", "steel", [-1.5, 0.965, 15.4, 15.05, offset], LAW.covariance, marking_mm=0.3, dof=8.0)
    gauge = mark_gauge_for(law, SHOP.tubes["steel"])
    with plain_settings():
        pages = TruePages("a4", "test")
        assert draw_mark_gauge(pages, gauge)
        pages.finish()
    picture, ax = pages.pages[0]
    picture.set_dpi(300)
    assert collisions(picture, texts(ax)) == []
    assert off_page(picture, texts(ax), margin_mm=5.0) == []
    (mark,) = strokes(ax, BLUE, 1.1)
    first = next(points for points in strokes(ax, "#666666", 0.4))  # the centreline, from end A
    on_centre = first[0] + [gauge.leg_a_mm, 0.0] + gauge.place(-offset)[0]
    ends = mark - on_centre
    assert ends[0, 0] * ends[1, 1] - ends[0, 1] * ends[1, 0] == pytest.approx(0.0, abs=1e-6)
    said = " ".join(text.get_text() for text in texts(ax))
    assert f"{abs(offset):.1f} mm {'before' if offset >= 0 else 'beyond'} the start of the bend" in said
    assert ("before the apex" in said) == (offset >= 0)


# --- the disc -------------------------------------------------------------------------------------


def test_the_disc_shows_each_bend_where_it_goes_on_both_faces() -> None:
    """Positive twists go to the right of the wedge on the face towards A, and to the left on its back."""
    with plain_settings():
        pages = TruePages("a4", "test")
        draw_discs(pages, sheet("six"))
    ax = pages.pages[0][1]
    rims = [patch for patch in ax.patches if isinstance(patch, Circle) and patch.radius == RADIUS_MM]
    hands = strokes(ax, BLUE, 2.0)
    by_hand = np.array([0.0, -116.7, -116.7 + 65.3, -81.7, -94.4, -94.4 - 150.2 + 360.0])
    for i, (rim, sense) in enumerate(zip(rims, (1.0, -1.0), strict=True)):
        tips = np.array([hand[1] for hand in hands[6 * i : 6 * i + 6]]) - rim.center
        assert np.degrees(np.arctan2(sense * tips[:, 0], tips[:, 1])) == pytest.approx(by_hand, abs=1e-6)


def test_the_disc_lists_places_in_the_order_of_work_and_says_that_they_are_no_turns() -> None:
    """Bend 3 is made after bend 1: its place stands second; the page says on which straight the disc tells the truth."""
    one = mark_out(SHOP, CAL, line("six"), order=[1, 3, 2, 6, 5, 4])
    found = [text for _, ax in laid_out(one).pages for text in texts(ax)]
    words = " ".join(text.get_text() for text in found)
    assert "Places on the tube, not turns" in words
    assert "over the straight that touches the bend you are about to make" in words
    assert "whenever the next bend touches another straight, move the disc there and set it anew by the drawn line" in words
    places = [text for text in found if text.get_text() == "at the line" or re.fullmatch(r"[\d.]+° (anti)?clockwise", text.get_text())]
    places.sort(key=lambda text: -text.get_position()[1])
    by_hand = ["at the line", "51.4° anticlockwise", "116.7° anticlockwise", "115.4° clockwise", "94.4° anticlockwise", "81.7° anticlockwise"]
    assert [text.get_text() for text in places] == by_hand
    badges = [text.get_text() for text in found if text.get_text().isdigit() and any(abs(text.get_position()[1] - place.get_position()[1]) < 1.5 and 0 < place.get_position()[0] - text.get_position()[0] < 8 for place in places)]
    assert badges == ["1", "3", "2", "6", "5", "4"]


def test_the_slit_keeps_clear_of_the_bends_and_of_the_line() -> None:
    """It lies in the middle of the widest gap."""
    assert disc_of(sheet("two")) == Disc((0.0, 180.0), 90.0, 4.76)
    for shape in ("six", "ten"):
        disc = disc_of(sheet(shape))
        away = [abs((at - disc.slit_deg + 180.0) % 360.0 - 180.0) for at in (0.0, *disc.at_deg)]
        assert min(away) > 25.0


# --- saving, and the command ----------------------------------------------------------------------


def test_it_is_saved_beside_the_sheets_and_overwrites_none(tmp_path: Path) -> None:
    """It has a folder of its own, whatever the line is called; saved again it is the same file."""
    one = sheet("one", name="v1.2 brake")
    path = save_true_scale(one, tmp_path, paper="letter", inches=True, measured_mm=98.0)
    assert path == tmp_path / "sheets" / "true-scale" / "v1.2 brake.pdf"
    assert path.read_bytes() == true_scale_pdf(one, paper="letter", inches=True, measured_mm=98.0)
    with pytest.raises(NotSaved, match="There is no folder .*nowhere, so no sheet can be saved in it"):
        save_true_scale(one, tmp_path / "nowhere")


def test_the_command_prints_a_line_at_true_scale(sample_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Paper and measure reach the file, the caution is said, and what to measure."""
    assert main(["print", str(sample_folder), "clutch", "--paper", "letter", "--measured", '3 7/8"']) == 0
    out, err = capsys.readouterr()
    assert err == ""
    path = sample_folder / "sheets" / "true-scale" / "clutch.pdf"
    assert f"Written: {path}" in out
    assert "Local code and licensed practice" in out and "it must be 100 mm now" in " ".join(out.split())
    page = PdfReader(path).pages[0]
    assert float(page.mediabox.width) / 72 * MM_PER_INCH == pytest.approx(279.4, abs=0.02)
    assert "this line measured 98.425 mm" in " ".join(page.extract_text().split())
    assert main(["print", str(sample_folder), "brake-near-side"]) == 0
    assert "Brake work can kill" in (out := " ".join(capsys.readouterr().out.split())) and "Print it at 100 %" in out


@pytest.mark.parametrize(("measured", "says"), [("50", "The 100 mm line is said to measure 50 mm"), ("x", '"x" is not a length')])
def test_the_command_says_what_it_cannot_put_right(sample_folder: Path, capsys: pytest.CaptureFixture[str], measured: str, says: str) -> None:
    """A measure that cannot be is refused in a sentence, and nothing is written."""
    assert main(["print", str(sample_folder), "clutch", "--measured", measured]) == 2
    assert says in capsys.readouterr().err
    assert not (sample_folder / "sheets").exists()
