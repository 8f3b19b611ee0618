"""What the pages say when something is amiss: a new shop, no shop, cells out of their order. Sentences, and no traceback."""

import json
import os
import re
from collections.abc import Iterable
from pathlib import Path

import nbformat
import pytest
from a_shop import write_shop
from nbclient import NotebookClient

import bendcal
from bendcal.design import plan_offcuts
from bendcal.feasible.searching import easiest
from bendcal.feasible.trials import Clear
from bendcal.files.folder import read_shop
from bendcal.job import plan_job
from bendcal.lab import PAGE_START, notebooks_folder, own_notebooks
from bendcal.waiting import heard_by, long_work, tick
from bendcal.waiting_bar import WaitingBar

ROOT = Path(__file__).resolve().parent.parent
PAGES = sorted((ROOT / "notebooks").glob("*.ipynb"))


def codes(page: Path) -> list[str]:
    """The code cells of a page."""
    return ["".join(cell["source"]) for cell in json.loads(page.read_text(encoding="utf-8"))["cells"] if cell["cell_type"] == "code"]


def run(cells: Iterable[str], folder: Path, monkeypatch: pytest.MonkeyPatch, *, start: str = str(PAGE_START)) -> list[list[dict]]:
    """Run cells one after the other in one kernel, whatever goes wrong; the outputs of each.

    A kernel that was started by the kit's JupyterLab knows its startup file.
    """
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH")])))
    monkeypatch.setenv("PYTHONSTARTUP", start)
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(code) for code in cells])
    NotebookClient(book, timeout=120, kernel_name="python3", allow_errors=True, resources={"metadata": {"path": str(folder)}}).execute()
    return [cell.outputs for cell in book.cells]


def errors(outputs: list[list[dict]]) -> list[str]:
    """What went wrong, as the page shows it."""
    return ["\n".join(output.traceback) for cell in outputs for output in cell if output.output_type == "error"]


def test_in_a_new_shop_every_page_says_what_is_missing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One bender, one tube and nothing else: forms are there, and what needs readings or lines says so in a sentence."""
    folder = write_shop(tmp_path, offcuts=None, tools=None, ends=None, lines=None, lines__rear=None, lines__front=None)
    own_notebooks(read_shop(folder), notebooks_folder())
    pages = [codes(page) for page in sorted((folder / "notebooks").glob("*.ipynb"))]
    cells = [code for page in pages for code in page]
    outputs = run(cells, folder / "notebooks", monkeypatch)
    at = 0
    for page in pages:  # where the first one stops Run All Cells
        first = errors(outputs[at : at + len(page)])[:1]
        assert all(each.startswith("In the way: ") for each in first), first
        at += len(page)
    assert errors(outputs)
    assert not any(output.get("name") == "stderr" for cell in outputs for output in cell)
    shown = [any("application/vnd.jupyter.widget-view+json" in output.get("data", {}) for output in cell) for cell in outputs]
    assert [cell for cell, there in zip(cells, shown, strict=True) if cell.startswith("forms.") and not there] == []


def test_a_folder_that_is_not_there_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In one sentence that names it; the start page goes on, and the forms say it too."""
    pages = [[re.sub(r'folder = "[^"]+"', 'folder = "nowhere"', code) for code in codes(PAGES[k])] for k in (0, 1, 6)]
    outputs = run([code for page in pages for code in page], tmp_path, monkeypatch)
    told = errors(outputs)
    assert all(each.startswith("In the way: ") for each in told), told
    assert errors(outputs[: len(pages[0])]) == [] and sum("nowhere: found no folder of this name" in each for each in told) >= 2


def test_cells_out_of_their_order_are_told_to_be_run_in_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a fresh kernel the last cell of every page is run first: what it lacks is named, and what to press."""
    told = errors(run([codes(page)[-1] for page in PAGES], tmp_path, monkeypatch))
    assert len(told) == len(PAGES)
    for each in told:
        assert re.fullmatch(r"In the way: This cell uses “\w+”, which a cell above it makes\. Menu Run, then Run All Cells: .*", each), each


def test_a_name_that_the_kit_itself_lacks_is_no_matter_of_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Then the traceback is what helps, before a page is set up and after; no other name is left behind in the page."""
    broken = "import bendcal.layout\ndel bendcal.layout.textwrap\nbendcal.layout.paragraph('x')"
    cells = [broken, "from bendcal.plainly import plain_errors\nplain_errors()", "bendcal.layout.paragraph('x')", "nothing_there", "out_of_order"]
    before, after, *names = errors(run(cells, tmp_path, monkeypatch))
    assert "Traceback" in before and "Traceback" in after
    assert [each.partition(", which")[0] for each in names] == ["In the way: This cell uses “nothing_there”", "In the way: This cell uses “out_of_order”"]


def test_a_bar_leaves_a_blank_behind_and_takes_nothing_away(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Long work shows it, quick work does not; what a cell printed before and prints afterwards stands."""
    work = "import time\nfrom bendcal.waiting import long_work, tick\n"
    slow = work + "print('Look again')\nlong_work(lambda: [(tick('Bending', k, 9), time.sleep(0.1)) for k in range(9)])()\nprint('done')"
    failing = work + "long_work(lambda: [(tick('Bending', k, 9), time.sleep(0.1)) for k in range(9)] + [1 / 0])()"
    outputs = run(["from bendcal.plainly import plain_errors\nplain_errors()", slow, failing], tmp_path, monkeypatch)
    seen = [output.get("text") or output.data for output in outputs[1]]
    assert seen == ["Look again\n", {"text/plain": ""}, "done\n"]
    assert [output.output_type for output in outputs[2]] == ["display_data", "error"]


def test_a_page_that_a_program_runs_shows_no_bar(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else what it holds would hang on how busy the machine is."""
    slow = "import time\nfrom bendcal.waiting import long_work, tick\nlong_work(lambda: [(tick('Bending', k, 9), time.sleep(0.1)) for k in range(9)] and None)()"
    assert run(["from bendcal.plainly import plain_errors\nplain_errors()", slow], tmp_path, monkeypatch, start="") == [[], []]


def test_a_listener_that_fails_does_not_stop_the_work() -> None:
    """It is not told again; the end is told once, by the outermost work, whether it went well or not."""
    told = []

    def closed(what: str, share: float | None) -> None:
        told.append(what)
        raise RuntimeError("the page is closed")

    with heard_by(closed):
        assert long_work(lambda: [tick("Bending", k, 2) for k in range(3)] and "done")() == "done"
    assert told == ["Bending"]
    with heard_by(lambda what, share: told.append(share)), pytest.raises(ZeroDivisionError, match="division"):
        long_work(lambda: (long_work(lambda: tick("Inner", 5, 4))(), 1 / 0))()
    assert told[1:] == [1.0, None]


def test_a_bar_in_a_form_is_there_while_one_waits_and_gone_after() -> None:
    """Nothing of it is seen while work is quick."""
    now = [0.0]
    bar = WaitingBar(seconds=lambda: now[0])
    seen = []
    for now[0], share in ((0.0, 0.0), (0.3, 0.1), (0.6, 0.3), (0.65, 0.4), (0.8, 0.5), (0.9, None)):
        bar("Choosing offcuts", share)
        seen.append((bar.widget.layout.display, bar.widget.description))
    shown = (None, "Choosing offcuts, 30 %")
    assert seen == [("none", ""), ("none", ""), shown, shown, (None, "Choosing offcuts, 50 %"), ("none", "Choosing offcuts, 50 %")]
    bar("Choosing offcuts", 0.1)
    assert bar.widget.layout.display == "none"


def test_the_long_work_of_the_kit_tells_how_far_it_is(sample_folder: Path) -> None:
    """The fit, the advice, the cut list, and the search for an order of a line that is hard to bend."""
    told = set()
    shop = read_shop(sample_folder)
    with heard_by(lambda what, share: told.add(what)):
        cal = bendcal.calibrate(shop)
        plan_offcuts(shop, count=2)
        plan_job(shop, cal, lines=["clutch"])
        clear = Clear(9.0, 9.0, "bench", 30.0)
        easiest(3, ["AB"] * 3, lambda trials: [clear._replace(low_mm=9.0 if t.bend != 1 or t.made in (0, 5) else 0.0) for t in trials], lambda one: one.low_mm > 1)
    assert {"Learning from the offcuts", "Choosing offcuts", "Looking for the best cuts", "Trying orders of the bends", ""} <= told
