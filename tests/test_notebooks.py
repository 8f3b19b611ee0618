"""The pages: short, plain, in one form, true to what they say, and the same when they are run again."""

import ast
import base64
import io
import json
import re
from pathlib import Path

import matplotlib.image
import nbformat
import numpy as np
import pytest

import bendcal
from tests import remake_notebooks, remake_pictures
from tests.invented import sample_shop, true_law
from tests.remake_screens import SCREENS

ROOT = Path(__file__).resolve().parent.parent
SAMPLE = ROOT / "sample_measurements"
PAGES = remake_notebooks.PAGES
NAMES = [page.name for page in PAGES]
PIXELS_MAY_DIFFER = 0.02  # of the pixels, by font rounding on another system
#: The pictures are made with the pinned matplotlib; 3.10 draws letters otherwise than 3.11, so that up to a tenth of the pixels differ.
PINNED = re.search(r"^matplotlib==(\d+\.\d+)", (ROOT / "constraints.txt").read_text(encoding="utf-8"), re.MULTILINE)[1]
SAME_LETTERS = matplotlib.__version__.startswith(f"{PINNED}.")


def cells_of(page: Path, kind: str = "") -> list[dict]:
    """The cells of a page, or those of one kind."""
    cells = json.loads(page.read_text(encoding="utf-8"))["cells"]
    return [cell for cell in cells if not kind or cell["cell_type"] == kind]


def source(cell: dict) -> str:
    """What stands in a cell."""
    return "".join(cell["source"])


def words_of(page: Path) -> str:
    """All explanations of a page."""
    return "\n".join(source(cell) for cell in cells_of(page, "markdown"))


def pixels(png: bytes) -> np.ndarray:
    """A picture's pixels, from 0 to 1."""
    return matplotlib.image.imread(io.BytesIO(png), format="png")


def assert_alike(kept: bytes, made: bytes, what: str) -> None:
    """Two pictures of one size, nearly all of whose pixels are the same; with another matplotlib they are of a like size."""
    one, two = pixels(kept), pixels(made)
    if not SAME_LETTERS:
        np.testing.assert_allclose(one.shape, two.shape, rtol=0.02, err_msg=what)
        return
    assert one.shape == two.shape, what
    differ = float(np.mean(np.abs(one - two).max(axis=2) > 0.1))
    assert differ < PIXELS_MAY_DIFFER, what


# --- their form ----------------------------------------------------------------------------------


def test_the_three_jobs_have_a_page_each() -> None:
    """Calibrate, compare, mark out, in this order and before all others."""
    assert NAMES[:4] == ["0_start.ipynb", "1_calibrate_a_bender.ipynb", "2_compare_two_tubes.ipynb", "3_corrected_mark_offsets.ipynb"]


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_a_page_is_valid_and_kept_in_the_one_form(page: Path) -> None:
    """By the notebook format's own schema, and as the remake script would write it, to the byte."""
    book = nbformat.read(page, as_version=4)
    nbformat.validate(book)
    assert remake_notebooks.text_of(remake_notebooks.in_form(book, page)) == page.read_text(encoding="utf-8")


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_a_page_is_made_of_short_plain_cells(page: Path) -> None:
    """No def, no class, no lambda, no try; at most 20 lines a cell, 80 characters a line."""
    for cell in cells_of(page, "code"):
        code = source(cell)
        found = [type(node).__name__ for node in ast.walk(ast.parse(code))]
        assert not {"FunctionDef", "AsyncFunctionDef", "ClassDef", "Lambda", "Try"} & set(found), code
        assert len(code.splitlines()) <= 20, code
        assert max(map(len, code.splitlines())) <= 80, code


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_an_own_shop_is_a_change_of_one_line(page: Path) -> None:
    """The first code cell holds settings and nothing else; the shop folder is named nowhere besides."""
    first, *rest = [source(cell) for cell in cells_of(page, "code")]
    assert first.startswith('folder = "../sample_measurements"')
    assert all(isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant) for node in ast.parse(first).body)
    assert not any("sample_measurements" in code for code in rest)


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_a_page_explains_itself(page: Path) -> None:
    """A heading first, words between the cells, how to run it, and that the sample is invented."""
    cells = cells_of(page)
    assert cells[0]["cell_type"] == "markdown" and source(cells[0]).startswith("# ")
    words = words_of(page)
    assert "*Run All Cells*" in words and "invented" in words
    runs = "".join("c" if cell["cell_type"] == "code" else "w" for cell in cells)
    assert "cccc" not in runs, "more than three code cells without a word between them"


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_what_a_page_shows_is_the_same_anywhere(page: Path) -> None:
    """No clock, no path of a machine, no address in memory, nothing on the error output, only PNG pictures."""
    for cell in cells_of(page, "code"):
        for output in cell["outputs"]:
            assert output["output_type"] != "error" and output.get("name") != "stderr", source(cell)
            data = output.get("data", {})
            assert set(data) <= {"text/plain", "text/html", "image/png"}, source(cell)
            told = "".join(output.get("text", [])) + "".join(data.get("text/plain", [])) + "".join(data.get("text/html", []))
            assert not re.search(r"\b\d\d:\d\d\b|0x[0-9a-f]{6}|[A-Z]:\\|/(home|tmp|root|Users|work)/|\d\.\d{5}", told), told


def test_the_cautions_stand_near_the_top_where_lines_are_made() -> None:
    """On the page that marks out lines the second cell is the warning; the first code cell comes after it."""
    cells = cells_of(PAGES[3])
    assert cells[1]["cell_type"] == "markdown"
    words = source(cells[1])
    for need in ("Brake work can kill", "Local rules", "licensed", "olives", "copper", "kinked", "scrap", "Pressure-test", "nuts"):
        assert need in words, need


# --- what they say is so -------------------------------------------------------------------------


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_run_again_a_page_shows_the_same(page: Path) -> None:
    """The words to the letter, the pictures but for font rounding."""
    kept = json.loads(page.read_text(encoding="utf-8"))
    made = remake_notebooks.in_form(remake_notebooks.run(page), page)
    for one, two in zip(kept["cells"], made["cells"], strict=True):
        for mine, fresh in zip(one.get("outputs", []), two.get("outputs", []), strict=True):
            png, new = (output.get("data", {}).pop("image/png", None) for output in (mine, fresh))
            assert (png is None) == (new is None)
            if png is not None:
                assert_alike(base64.b64decode(png), base64.b64decode(new), one["id"])
    assert kept == made, f"run python tests/remake_notebooks.py ({page.name} would change)"
    _all_compared()


def _all_compared() -> None:
    """Say so where pictures were not compared pixel by pixel."""
    if not SAME_LETTERS:
        pytest.skip(f"all else is the same; pictures are not compared, matplotlib {matplotlib.__version__} draws letters otherwise than {PINNED}")


def truths(page: Path) -> list[float]:
    """The numbers that a page's last words tell of the simulator's truth."""
    told = words_of(page).partition("**About the sample.**")[2]
    return [float(number) for number in re.findall(r"\d+\.\d+", told)]


def test_the_truth_told_beside_the_sample_is_the_simulators() -> None:
    """What page 1 calls true is what the independent simulator used, and the ranges of the fit hold it."""
    truth = true_law(sample_shop.SMALL, sample_shop.STEEL_3)
    dial = (90 - truth.a_deg) / truth.b
    take_up = truth.mark_offset_mm + truth.radius_mm
    gain = 2 * truth.radius_mm - truth.developed_radius_mm * np.pi / 2
    assert truths(PAGES[1]) == [round(dial, 1), round(take_up, 1), round(gain, 1)]
    law = bendcal.calibrate(bendcal.read_shop(SAMPLE)).law("small", "steel-3/16")
    for value, estimate in ((dial, law.dial_for(90.0)), (take_up, law.take_up(90.0)), (gain, law.gain(90.0))):
        low, high = estimate.interval(0.95)
        assert low <= value <= high


def test_the_true_difference_told_beside_the_comparison_is_the_simulators() -> None:
    """The same for page 2: how much more steel needs on the dial than copper-nickel."""
    steel, cuni = (true_law(sample_shop.SMALL, tube) for tube in (sample_shop.STEEL_3, sample_shop.CUNI_3))
    difference = (90 - steel.a_deg) / steel.b - (90 - cuni.a_deg) / cuni.b
    assert truths(PAGES[2]) == [round(difference, 1)]
    cal = bendcal.calibrate(bendcal.read_shop(SAMPLE))
    low, high = bendcal.compare(cal, ("small", "cuni-3/16"), ("small", "steel-3/16"), angle_deg=[90.0]).dial.interval(0.95)
    assert low[0] <= difference <= high[0]


# --- README --------------------------------------------------------------------------------------


def test_the_pictures_of_the_readme_are_of_the_sample() -> None:
    """Made again they are the same, and each is small."""
    made = remake_pictures.pictures()
    there = {path.name: path.read_bytes() for path in remake_pictures.PICTURES.iterdir()}
    assert set(there) == set(made) | set(SCREENS)
    for name, data in there.items():
        assert len(data) < 80_000, name
        if name in SCREENS:  # drawn by a browser: only that README has it
            assert f"notebooks/pictures/{name}" in (ROOT / "README.md").read_text(encoding="utf-8")
            continue
        assert_alike(data, made[name], f"{name}: run python tests/remake_pictures.py")
    _all_compared()


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_every_link_and_file_that_is_named_is_there(name: str) -> None:
    """Links lead to files of the kit; so do names of notebooks, tests and modules in backticks."""
    text = (ROOT / name).read_text(encoding="utf-8")
    links = [link for link in re.findall(r"\]\(([^)]+)\)", text) if "://" not in link]
    paths = re.findall(r"`((?:bendcal|tests|notebooks|sample_measurements)/[\w./-]*\w)`", text)
    assert links + paths
    for path in links + paths:
        assert (ROOT / path).exists(), path


def test_the_readmes_columns_are_those_that_are_read() -> None:
    """Each table's columns, and which of them are needed, are those of the code; in the same order."""
    from bendcal.files import columns

    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in ("benders", "tubes", "offcuts", "tools", "ends", "lines"):
        row = re.search(rf"^\| `{name}\.csv` \|[^|]*\|([^|]*)\|", text, re.MULTILINE)[1]
        told = [(column, bold == "**") for bold, column in re.findall(r"(\*\*|)(\w+)(?:\*\*|)(?: \([^)]*\))?(?:,|\s*$)", row.strip())]
        wanted = [(c.name, c.required) for c in getattr(columns, name.upper()) if c.name not in ("e_gpa", "yield_mpa", "k_mpa", "n")]
        assert told == wanted, name
