"""A quiet JupyterLab on the kit's notebooks: no news, no questions about updates, nothing outside this machine.

The settings lie in ``labconfig/`` beside this file and reach JupyterLab by its own search path, so
that a person's own Jupyter settings stay as they are.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from bendcal.atomic import make_folder, write_atomically
from bendcal.files import read_shop
from bendcal.shop import Shop

__all__ = ["first_names", "lab_words", "notebooks_folder", "open_lab", "own_notebooks", "with_names"]

LABCONFIG = Path(__file__).resolve().parent / "labconfig"
#: What the kernel of every page runs first.
PAGE_START = Path(__file__).resolve().parent / "page_start.py"
NOTEBOOKS = Path(__file__).resolve().parent.parent / "notebooks"
WORKSPACE = "bendcal"  # a layout of its own: what else a person has open in JupyterLab stays out of it

#: A line of a notebook's first code cell that names the shop, a bender, a tube or a line.
_SETTING = re.compile(r"""^(\w+) = (?P<quote>["']).*?(?P=quote)""")

#: What the kit's own pages say of the sample, and what a page set to another shop says instead. Numbers of the
#: sample's invented bender have no business on such a page.
_OF_THE_SAMPLE = "---\n**About the sample.**"  # from there to its cell's end
_AS_IT_COMES = re.compile(r"As it comes,? (?:it|everything) works on a sample shop, which is invented\.(?: Do not bend good tube by its numbers\.)?")
_OF_THIS_SHOP = "It works on the shop in whose folder it lies. Rows there that are still the sample's are invented: do not bend good tube by them."


def notebooks_folder(folder: Path = NOTEBOOKS) -> Path:
    """The folder with the kit's notebooks.

    Parameters
    ----------
    folder : where to look

    Raises
    ------
    FileNotFoundError : where there are none; the sentence says where they should be
    """
    if not any(folder.glob("*.ipynb")):
        raise FileNotFoundError(
            f"There are no notebooks in {folder}. They come with the kit's own folder; start bendcal from there, "
            "or fetch the kit again."
        )
    return folder


def first_names(shop: Shop) -> dict[str, str]:
    """What the notebooks begin with in a shop of one's own: its first bender, tubes, line and pattern.

    Parameters
    ----------
    shop : the shop

    Returns
    -------
    Setting of a notebook → name; without those that the shop has nothing for

    Examples
    --------
    >>> first_names(Shop())
    {}
    """
    pairs = shop.pairs() or tuple((bender, tube) for bender in shop.benders for tube in shop.tubes)
    names = dict(zip(("bender", "tube"), pairs[0], strict=True)) if pairs else {}
    for bender in dict.fromkeys(b for b, _ in pairs):
        tubes = [t for b, t in pairs if b == bender]
        if len(tubes) > 1:
            names |= {"bender": bender, "tube": tubes[0], "first_tube": tubes[0], "second_tube": tubes[1]}
            break
    if shop.lines:
        names["line"] = next(iter(shop.lines))
    patterns = sorted(path.stem for path in (shop.folder / "patterns").glob("*.csv")) if shop.folder else []
    # A line that is to be made first: only for that can the page go on to its marks.
    if patterns:
        names["pattern"] = next((name for name in shop.lines if name in patterns), patterns[0])
    return names


def with_names(notebook: Mapping, names: Mapping[str, str]) -> dict:
    """A notebook with other names in its first code cell, without results and without what is true of the sample alone.

    Parameters
    ----------
    notebook : as its file has it
    names : setting → what it is set to

    Examples
    --------
    >>> page = {"cells": [{"cell_type": "code", "source": ["folder = 'a'  # yours\\n", "n = 3"], "outputs": [1]}]}
    >>> with_names(page, {"folder": "my shop"})["cells"][0]["source"]
    ["folder = 'my shop'  # yours\\n", 'n = 3']
    """
    made = json.loads(json.dumps(notebook))
    code = [cell for cell in made["cells"] if cell["cell_type"] == "code"]
    for cell in code:
        cell["outputs"], cell["execution_count"] = [], None
    for cell in made["cells"]:
        if cell["cell_type"] == "markdown":
            text = "".join(cell["source"]).partition(_OF_THE_SAMPLE)[0].rstrip()
            cell["source"] = _AS_IT_COMES.sub(_OF_THIS_SHOP, text).splitlines(keepends=True)
    made["cells"] = [cell for cell in made["cells"] if cell["source"]]
    for cell in code[:1]:
        lines = "".join(cell["source"]).splitlines(keepends=True)
        for i, line in enumerate(lines):
            found = _SETTING.match(line)
            if found and found[1] in names:
                lines[i] = f"{found[1]} = {names[found[1]]!r}{line[found.end() :]}"
        cell["source"] = lines
    return made


def own_notebooks(shop: Shop, notebooks: Path) -> tuple[list[Path], list[Path]]:
    """Put copies of the notebooks, set to this shop, into its folder; one that is there already is left alone.

    Parameters
    ----------
    shop : a shop that was read from a folder
    notebooks : the kit's own notebooks

    Returns
    -------
    (new, kept) paths of the copies

    Raises
    ------
    NotSaved : where the folder cannot be written to
    """
    folder = shop.folder / "notebooks"
    make_folder(folder)
    names = {"folder": "..", **first_names(shop)}
    new, kept = [], []
    for source in sorted(notebooks.glob("*.ipynb")):
        target = folder / source.name
        if target.exists():
            kept.append(target)
            continue
        notebook = with_names(json.loads(source.read_text(encoding="utf-8")), names)
        write_atomically(target, (json.dumps(notebook, indent=1, ensure_ascii=False) + "\n").encode())
        new.append(target)
    return new, kept


def lab_words(notebooks: Path, *, port: int | None = None, browser: bool = True) -> list[str]:
    """What JupyterLab is started with: the folder above `notebooks` as its top, the first notebook open.

    Parameters
    ----------
    notebooks : the folder whose first notebook opens
    port : the port to listen at, or None for the first free one
    browser : whether to open one

    Examples
    --------
    >>> words = lab_words(Path("shop") / "notebooks", port=8899, browser=False)
    >>> words[2:]
    ['--ServerApp.port=8899', '--ServerApp.port_retries=0', '--no-browser']
    """
    pages = sorted(page.name for page in notebooks.glob("*.ipynb"))
    first = f"/tree/{notebooks.name}/{pages[0]}" if pages else ""
    words = [f"--ServerApp.root_dir={notebooks.resolve().parent}", f"--LabApp.default_url=/lab/workspaces/{WORKSPACE}{first}"]
    if port is not None:
        # A port that was asked for and is taken is told, not silently replaced by another.
        words += [f"--ServerApp.port={port}", "--ServerApp.port_retries=0"]
    return words if browser else [*words, "--no-browser"]


def open_lab(folder: str | os.PathLike[str] | None = None, *, port: int | None = None, browser: bool = True, words: Sequence[str] = ()) -> None:
    """Open JupyterLab on the notebooks; returns when it is shut down.

    Parameters
    ----------
    folder : a shop folder that gets notebooks of its own, or None for the kit's, which use the sample
    port, browser : as for :func:`lab_words`
    words : further settings for JupyterLab itself

    Raises
    ------
    ShopFaults : where the shop folder cannot be read
    OSError : where there are no notebooks, or no copies can be made
    """
    notebooks = notebooks_folder()
    if folder is not None:
        shop = read_shop(folder, whole=False)  # the pages say what is left out
        new, kept = own_notebooks(shop, notebooks)
        notebooks = shop.folder / "notebooks"
        for page in new:
            print(f"New: {page}")
        for page in kept:
            print(f"Already there, and left as it is: {page}")
    print(
        "JupyterLab opens in your browser; if it does not, copy the address below into it.\n"
        "In a notebook: menu Run, then Run All Cells. To stop: close the page, then press Ctrl+C here.",
        flush=True,
    )
    above = os.environ.get("JUPYTER_CONFIG_PATH")
    os.environ["JUPYTER_CONFIG_PATH"] = os.pathsep.join([str(LABCONFIG), *([above] if above else [])])
    # A cell may be run before the one that sets a page up: its kernel knows how errors are told all the same.
    os.environ.setdefault("PYTHONSTARTUP", str(PAGE_START))
    from jupyterlab.labapp import LabApp  # heavy, and only wanted here

    LabApp.launch_instance([*lab_words(notebooks, port=port, browser=browser), *words])
