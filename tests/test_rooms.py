"""The rooms of the package: who may import whom, and how large a room may be."""

import ast
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "bendcal"


def room_rows() -> list[list[str]]:
    """The rows of the table "Rooms" in DEVELOPERS.md, each with its modules from left to right."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = re.search(r"^## Rooms$(.*?)(?=^## |\Z)", text, re.MULTILINE | re.DOTALL)
    assert section, 'DEVELOPERS.md has no section "## Rooms"'
    cells = re.findall(r"^\|\s*\d+\s*\|([^|]*)\|", section.group(1), re.MULTILINE)
    # "`forms/`" is a folder and "notebooks/" no module at all: only names in backticks count.
    return [[name.rstrip("/") for name in re.findall(r"`([^`]+)`", cell)] for cell in cells]


def places() -> dict[str, tuple[int, int]]:
    """Where each module stands: (row, place in the row); a module may import smaller ones."""
    rows = room_rows()
    found = {name: (r, c) for r, row in enumerate(rows) for c, name in enumerate(row)}
    # What `import bendcal` offers comes from all rows but the last, where the programs are.
    found["__init__"] = (len(rows) - 1, -1)
    found["__main__"] = (len(rows), 0)
    return found


def module_of(file: Path) -> str:
    """The room that a file belongs to: its own name, or the folder's below bendcal/."""
    return file.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported(tree: ast.AST, package: str) -> Iterator[str]:
    """Full dotted names of all that a file imports, inside functions too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*above, base]).rstrip(".")
            yield from (f"{base}.{alias.name}" for alias in node.names)


def rooms_imported(source: str, package: str, known: set[str]) -> set[str]:
    """The rooms of bendcal that a source text imports; `__version__` belongs to no room."""
    rooms = set()
    for name in imported(ast.parse(source), package):
        top, _, rest = name.partition(".")
        room = rest.partition(".")[0]
        if top == "bendcal" and room != "__version__":
            rooms.add(room if room in known else "__init__")
    return rooms


def wrong_imports(module: str, rooms: set[str], where: dict[str, tuple[int, int]]) -> set[str]:
    """Those of the imported rooms that do not stand above, or to the left in the same row."""
    above = {room for room, place in where.items() if place < where[module]}
    return rooms - above - {module}


FILES = sorted(PACKAGE.rglob("*.py"))
NAMES = [file.relative_to(PACKAGE).as_posix() for file in FILES]
ROOMS = {module_of(file) for file in FILES}


def test_every_module_stands_in_exactly_one_row() -> None:
    """The table names each module of bendcal/ once, and names no module that is not there."""
    listed = Counter(name for row in room_rows() for name in row)
    assert [name for name, times in listed.items() if times > 1] == []
    assert set(listed) == {module_of(file) for file in FILES} - {"__init__", "__main__"}


@pytest.mark.parametrize("file", FILES, ids=NAMES)
def test_a_module_imports_only_from_above_or_from_its_left(file: Path) -> None:
    """Imports run one way: down the rows of the table, and along a row to the right."""
    where = places()
    module = module_of(file)
    assert module in where, f"{module} stands in no row of the table in DEVELOPERS.md"
    package = ".".join(["bendcal", *file.relative_to(PACKAGE).parts[:-1]])
    rooms = rooms_imported(file.read_text(encoding="utf-8"), package, ROOMS)
    assert wrong_imports(module, rooms, where) == set()


def test_an_import_against_the_rows_is_seen() -> None:
    """The check above finds each way of writing an import that runs the wrong way."""
    where = {"low": (0, 0), "left": (1, 0), "mid": (1, 1), "__init__": (2, -1), "cli": (2, 0)}
    for line, wrong in {
        "from bendcal.low import x": set(),
        "from bendcal.left import x": set(),
        "from bendcal import __version__": set(),
        "def f():\n    from bendcal.cli import main": {"cli"},
        "import bendcal.cli": {"cli"},
        "from .cli import main": {"cli"},
        "from . import cli": {"cli"},
        "from bendcal import read_shop": {"__init__"},
        "import bendcal": {"__init__"},
    }.items():
        rooms = rooms_imported(line, "bendcal", set(where))
        assert wrong_imports("mid", rooms, where) == wrong, line
    assert wrong_imports("left", {"mid"}, where) == {"mid"}


def past_the_door(source: str, room: str) -> set[str]:
    """The modules inside a room that a source text imports from, past the room's door."""
    inside = {p.stem for p in (PACKAGE / room).glob("*.py")} - {"__init__"}
    names = (name.split(".") for name in imported(ast.parse(source), "bendcal"))
    return {n[2] for n in names if n[:2] == ["bendcal", room] and n[2:3] and n[2] in inside}


@pytest.mark.parametrize("file", FILES, ids=NAMES)
@pytest.mark.parametrize("room", ["feasible", "files", "entries"])
def test_others_take_only_what_the_door_offers(room: str, file: Path) -> None:
    """A module outside one of these rooms imports from the room as a whole, never from one of its modules."""
    if module_of(file) != room:
        assert past_the_door(file.read_text(encoding="utf-8"), room) == set()


def test_an_import_past_the_door_is_seen() -> None:
    """The check above tells a door from what is behind it."""
    assert past_the_door("from bendcal.files import read_shop\nimport bendcal.files", "files") == set()
    for line in ("from bendcal.files.log import locked", "from bendcal.files import log", "import bendcal.files.log"):
        assert past_the_door(line, "files") == {"log"}, line


def within(room: str) -> dict[str, set[str]]:
    """Which modules of a room each module of it imports."""
    folder = PACKAGE / room
    modules = {p.stem: p.read_text(encoding="utf-8") for p in folder.glob("*.py")}
    found = {}
    for module, text in modules.items():
        names = (name.split(".") for name in imported(ast.parse(text), f"bendcal.{room}"))
        found[module] = {n[2] if n[2:3] and n[2] in modules else "__init__" for n in names if n[:2] == ["bendcal", room]}
    return found


@pytest.mark.parametrize("room", sorted(p.parent.name for p in PACKAGE.glob("*/__init__.py")))
def test_inside_a_room_no_import_runs_in_a_circle(room: str) -> None:
    """The modules of a room can be put into an order in which each imports only earlier ones."""
    try:
        list(TopologicalSorter(within(room)).static_order())
    except CycleError as circle:
        pytest.fail(" imports ".join(reversed(circle.args[1])))


@pytest.mark.parametrize("file", FILES, ids=NAMES)
def test_no_module_is_longer_than_300_lines(file: Path) -> None:
    """A module past 300 lines holds two nouns and is to be split."""
    lines = len(file.read_text(encoding="utf-8").splitlines())
    assert lines <= 300


def test_import_bendcal_loads_nothing_that_draws() -> None:
    """`import bendcal` loads no matplotlib, no ipywidgets and no IPython, and warns of nothing."""
    code = "import sys, bendcal; print(' '.join(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    loaded = {name.partition(".")[0] for name in done.stdout.split()}
    assert "bendcal" in loaded
    assert loaded & {"matplotlib", "ipywidgets", "IPython", "jupyterlab"} == set()
