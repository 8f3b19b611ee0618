"""Run the notebooks afresh and put them into the one form in which they are kept.

    python tests/remake_notebooks.py            remake all
    python tests/remake_notebooks.py 0 6        remake those whose names begin so
    python tests/remake_notebooks.py --check    change nothing; exit 1 where one would change

Kept are the cells, their ids (from page and place), their numbers as in a first run from top to
bottom, what they print and their pictures. Not kept is what changes from run to run and says
nothing: times, versions, the state of widgets.
"""

from __future__ import annotations

import itertools
import json
import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import nbformat
from nbclient import NotebookClient

ROOT = Path(__file__).resolve().parent.parent
NOTEBOOKS = ROOT / "notebooks"
PAGES = sorted(NOTEBOOKS.glob("*.ipynb"))

KERNEL = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}
#: Cell metadata that is set on purpose; all else comes from running.
KEPT_METADATA = ("deletable", "editable", "tags")


def run(page: Path) -> nbformat.NotebookNode:
    """A notebook with the results of running it in its own folder; an error in a cell is raised."""
    book = nbformat.read(page, as_version=4)
    # What an earlier run kept says nothing on a fresh clone.
    (ROOT / "sample_measurements" / "calibration.json").unlink(missing_ok=True)
    # The kernel finds the kit whether it is installed or not.
    os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH")]))
    client = NotebookClient(book, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(page.parent)}})
    client.execute()
    return book


def in_form(book: nbformat.NotebookNode, page: Path) -> dict:
    """The notebook in the form in which it is kept."""
    number = re.match(r"\d+", page.name)[0]
    runs = itertools.count(1)
    cells = [_cell(cell, f"page-{number}-cell-{place:02d}", runs) for place, cell in enumerate(book.cells, start=1)]
    return {"cells": cells, "metadata": KERNEL, "nbformat": 4, "nbformat_minor": 5}


def _cell(cell: nbformat.NotebookNode, name: str, runs: Iterator[int]) -> dict:
    kept = {key: cell.metadata[key] for key in KEPT_METADATA if key in cell.metadata}
    made = {"cell_type": cell.cell_type, "id": name, "metadata": kept, "source": _lines(cell.source)}
    if cell.cell_type == "code":
        bare, run = "bare" in kept.get("tags", ()), next(runs)
        outputs = [] if bare else [_output(output, run) for output in _joined(cell.outputs)]
        made |= {"execution_count": None if bare else run, "outputs": outputs}
    return made


def _joined(outputs: list) -> list:
    """Outputs with what was printed in several pieces made one."""
    made: list = []
    for output in outputs:
        if made and output.output_type == "stream" == made[-1].output_type and output.name == made[-1].name:
            made[-1].text += output.text
        else:
            made.append(output.copy())
    return made


def _output(output: nbformat.NotebookNode, run: int) -> dict:
    if output.output_type == "stream":
        return {"output_type": "stream", "name": output.name, "text": _lines(output.text)}
    data = {kind: _data(kind, value) for kind, value in sorted(output.data.items())}
    made = {"output_type": output.output_type, "data": data, "metadata": {}}
    return made | ({"execution_count": run} if output.output_type == "execute_result" else {})


def _data(kind: str, value):
    if kind.startswith("image/"):
        return value.replace("\n", "")
    return _lines(value) if isinstance(value, str) else value


def _lines(text: str) -> list[str]:
    return text.splitlines(keepends=True)


def text_of(notebook: dict) -> str:
    """The file's text."""
    return json.dumps(notebook, indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def main(words: list[str]) -> int:
    """Remake, or check; the exit code."""
    changed = []
    named = [word for word in words if not word.startswith("--")]
    for page in [page for page in PAGES if not named or page.name[0] in named]:
        text = text_of(in_form(run(page), page))
        if text != page.read_text(encoding="utf-8"):
            changed.append(page.name)
            if "--check" not in words:
                page.write_text(text, encoding="utf-8", newline="\n")
    print(f"Changed: {', '.join(changed)}" if changed else "All notebooks are as they were.")
    return 1 if changed and "--check" in words else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
