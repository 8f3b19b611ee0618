"""The worksheet: the log's columns in their order, room to write, what is planned, nothing hidden, and readable in grey."""

import io
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb
from matplotlib.patches import Rectangle
from pypdf import PdfReader

import bendcal
from bendcal.atomic import NotSaved
from bendcal.cli import main
from bendcal.design import plan_offcuts
from bendcal.files.columns import OFFCUTS
from bendcal.printing.pages import Pages, plain_settings
from bendcal.printing.worksheet import BOXES, lay_out_worksheet, worksheet_pdf
from bendcal.sheets import save_worksheet
from bendcal.shop import Shop
from tests.conftest import SAMPLE
from tests.drawing import LONG_NAME, collisions, off_page, smallest_type, texts

MM_PER_INCH = 25.4
PLAN = pd.DataFrame({
    "bender": ["small", "small", LONG_NAME], "tube": ["steel", "copper", "steel"], "dial_deg": [30.0, 92.5, 120.0],
    "readings": ["angle", "angle and legs", "angle and legs"],
})  # fmt: skip


@lru_cache(maxsize=1)
def sample() -> Shop:
    """The shipped sample."""
    return bendcal.read_shop(SAMPLE)


def laid_out(*shop: Shop, **how) -> Pages:
    """The finished pages."""
    with plain_settings():
        pages = lay_out_worksheet(*shop, **how)
        pages.finish()
    return pages


def said(pages: Pages) -> str:
    """All that is written on them."""
    return " ".join(text.get_text() for _, ax in pages.pages for text in texts(ax))


def frames(pages: Pages) -> list[list[Rectangle]]:
    """The frames of the rows, page by page."""
    return [[patch for patch in ax.patches if isinstance(patch, Rectangle) and patch.get_width() > 200.0] for _, ax in pages.pages]


def test_the_boxes_are_the_log_s_columns_in_their_order() -> None:
    """Every column of offcuts.csv has its box, from left to right and from the upper line to the lower, and there is no other."""
    assert [box.column for boxes in BOXES for box in boxes] == [column.name for column in OFFCUTS]


@pytest.mark.parametrize(("paper", "wide"), [("a4", 271.0), ("letter", 253.4)])
def test_there_is_room_to_write(paper: str, wide: float) -> None:
    """At least six rows a page, as wide as the column; no box is lower than 7.5 mm or narrower than 15 mm."""
    pages = laid_out(sample(), paper=paper)
    (rows,) = frames(pages)
    assert len(rows) >= 6
    for row in rows:
        assert row.get_width() == pytest.approx(wide)
        assert row.get_height() / 2 >= 7.5
    for boxes in BOXES:
        shares = np.array([box.share for box in boxes])
        assert (shares / shares.sum() * wide).min() > 15.0
    for upper, lower in pairwise(rows):
        assert upper.get_y() > lower.get_y() + lower.get_height()


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("inches", [False, True])
@pytest.mark.parametrize("planned", [False, True])
def test_nothing_on_it_is_hidden_or_cut_off(paper: str, inches: bool, planned: bool) -> None:
    """No level text touches another, none comes nearer than 5 mm to the edge, none is smaller than 8 points."""
    how = {"planned": pd.concat([PLAN] * 4)} if planned else {}
    pages = laid_out(sample(), paper=paper, inches=inches, **how)
    assert len(pages.pages) == (2 if planned else 1)
    for picture, ax in pages.pages:
        picture.set_dpi(300)
        found = [text for text in texts(ax) if text.get_text() != "."]
        assert collisions(picture, found) == []
        assert off_page(picture, found, margin_mm=5.0) == []
        assert smallest_type(picture) >= 8


def test_lengths_have_a_decimal_point_or_a_stroke_for_the_fraction() -> None:
    """In mm each row has a point in six lengths and two angles; in inches the lengths have a stroke instead."""
    for inches, points in ((False, 8), (True, 2)):
        pages = laid_out(inches=inches, rows=3)
        assert sum(text.get_text() == "." for _, ax in pages.pages for text in texts(ax)) == 3 * points
        assert (f"length, {'inch' if inches else 'mm'}" in said(pages)) and ("leg B, mm" in said(pages)) != inches
        steps = [np.diff(drawn.get_xydata(), axis=0) for _, ax in pages.pages for drawn in ax.lines if len(drawn.get_xdata()) == 2]
        fractions = [step for step in steps if 1.5 < step[0, 0] < 4.0 and 5.0 < step[0, 1] < 7.0]
        assert len(fractions) == (18 if inches else 0)


def test_what_is_planned_stands_in_its_row() -> None:
    """Bender and tube are written out, the dial to set is noted beside the box for what it showed, and legs that teach nothing may stay empty."""
    pages = laid_out(planned=PLAN)
    words = said(pages)
    for wanted in ("set 30", "set 92.5", "set 120", "steel", "copper"):
        assert wanted in words
    assert words.count("may stay empty") == 2
    assert words.count("set ") - words.count("set aside") == 3
    assert LONG_NAME[:8] in words and LONG_NAME not in words  # cut to its box, with dots
    assert "set 30" not in said(laid_out())


def test_more_than_a_page_is_planned() -> None:
    """Every planned piece has a row, and blank ones fill the last page."""
    many = pd.DataFrame({"bender": "small", "tube": "steel", "dial_deg": np.arange(20.0, 40.0)})
    pages = laid_out(planned=many)
    words = said(pages).split()
    assert all(f"{dial:.0f}" in words for dial in many["dial_deg"])
    assert sum(map(len, frames(pages))) > 20
    assert words.count("bender") == len(pages.pages)


def test_rows_may_be_asked_for() -> None:
    """As many as wanted, planned or not; fewer than one is refused."""
    assert sum(map(len, frames(laid_out(rows=2, planned=PLAN)))) == 2
    assert sum(map(len, frames(laid_out(rows=11)))) == 11
    with pytest.raises(ValueError, match="rows is 0; a worksheet has 1 or more"):
        worksheet_pdf(rows=0)
    with pytest.raises(ValueError, match=r"paper is 'a3'; it must be one of a4, letter\."):
        worksheet_pdf(paper="a3")


def test_the_drawing_and_the_names_are_there() -> None:
    """What each box wants is drawn or said; the shop's own names stand below, those of a stranger's do not."""
    words = said(laid_out(sample()))
    for wanted in ("length", "mark", "leg A", "leg B", "angle", "outside", "centre", "inside", "still loaded", "180° less"):
        assert wanted in words
    for names in ("benders small, large-1/4, large-8mm", "tubes cuni-3/16, steel-3/16", "tools for angles protractor, digital-gauge", "steel-rule, caliper"):
        assert names in words
    assert "Names of this shop" not in said(laid_out())


def test_it_is_readable_in_grey() -> None:
    """What is written is dark enough on white paper when printed without colour: at least 4.5 to 1 (WCAG 2.1, 1.4.3: secondary)."""
    for _, ax in laid_out(sample(), planned=PLAN).pages:
        for text in texts(ax):
            if text.get_text() in (".", "A", "B"):  # the faint points, and letters in dark rings
                continue
            rgb = np.array(to_rgb(text.get_color()))
            luminance = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722]
            assert 1.05 / (luminance + 0.05) > 4.5


def test_the_file_is_of_the_paper_s_size_and_the_same_each_time() -> None:
    """Landscape Letter, not to be scaled, the same bytes for the same sheet; no line to measure, for nothing on it is at true scale."""
    content = worksheet_pdf(sample(), paper="letter", planned=PLAN)
    assert content == worksheet_pdf(sample(), paper="letter", planned=PLAN)
    pdf = PdfReader(io.BytesIO(content))
    for page in pdf.pages:
        assert [float(mm) / 72 * MM_PER_INCH for mm in (page.mediabox.width, page.mediabox.height)] == pytest.approx([279.4, 215.9], abs=0.02)
        assert "100 mm" not in page.extract_text()
    assert pdf.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"


def test_it_is_saved_in_a_folder_of_its_own(tmp_path: Path) -> None:
    """A line called "worksheet" keeps its sheet; a missing shop folder is said."""
    path = save_worksheet(Shop(), tmp_path, inches=True)
    assert path == tmp_path / "sheets" / "worksheets" / "worksheet.pdf"
    assert path.read_bytes() == worksheet_pdf(Shop(), inches=True)
    with pytest.raises(NotSaved, match="There is no folder .*nowhere"):
        save_worksheet(Shop(), tmp_path / "nowhere")


def test_the_command_prints_one_with_what_is_planned(sample_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The planned pieces are those that the design of offcuts gives; without being asked for none are printed."""
    assert main(["worksheet", str(sample_folder), "--planned", "4", "--paper", "letter"]) == 0
    path = sample_folder / "sheets" / "worksheets" / "worksheet.pdf"
    assert f"Written: {path}" in capsys.readouterr().out
    words = PdfReader(path).pages[0].extract_text()
    plan = plan_offcuts(bendcal.read_shop(sample_folder), count=4).offcuts
    assert all(f"set {dial:g}" in words for dial in plan["dial_deg"])
    assert words.count("set ") - words.count("set aside") == 4
    assert main(["worksheet", str(sample_folder)]) == 0
    words = PdfReader(path).pages[0].extract_text()
    assert words.count("set ") == words.count("set aside")
    assert main(["worksheet", str(sample_folder), "--planned", "0"]) == 2
    assert "--planned is 0; it must be 1 or more" in capsys.readouterr().err
