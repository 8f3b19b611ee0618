"""Another name for a line: in lines.csv, in obstacles.csv, and for its own file."""

from __future__ import annotations

from pathlib import Path

from bendcal.entries.history import note_change
from bendcal.entries.line_changing import judge_line, write_into
from bendcal.entries.line_index import LINES_FILE, line_index
from bendcal.entries.one_cell import with_cell
from bendcal.faults import Fault, ShopFaults, quoted
from bendcal.files import OBSTACLES, find_file, listed, locked, name_fault, name_key, save_log, shop_folder, table_of, tidy

__all__ = ["rename_line"]


def rename_line(folder: Path, line: str, new: str) -> None:
    """Give a line another name: in lines.csv, in obstacles.csv, and its own file.

    The new file is written first and the old one removed last: should the program be killed between,
    one file too many is left, and nothing is lost.

    Parameters
    ----------
    folder : the shop folder
    line, new : its name, and the new one

    Raises
    ------
    ShopFaults : where the name is taken or no file can bear it; nothing is written
    NotSaved : an OSError whose sentence says why nothing could be written
    """
    path, new = shop_folder(folder), tidy(new)
    with locked(path):
        index = line_index(path)
        data = index.with_cells(line, {"line": new})
        own = [found for sub in ("lines", "patterns") if (found := find_file(path / sub, f"{line}.csv", []))]
        if unfit := name_fault(new) if new else Fault(LINES_FILE, None, "line", "nothing", "A line has a name.", "Write one."):
            raise ShopFaults([unfit])
        if name_key(new) == name_key(line):  # capitals alone: the file is found by either
            own = []
        elif any(name_key(f"{new}.csv") == name_key(file) for sub in ("lines", "patterns") for file in listed(path / sub)):
            raise ShopFaults([Fault(LINES_FILE, None, "line", quoted(new), "There is a file of that name already.", "Choose another name.")])
        moved = {f"{old.parent.name}/{new}.csv": old.read_bytes() for old in own}
        gone = {f"{old.parent.name}/{old.name}": None for old in own}
        obstacles = _obstacles(path, line, new)
        judge_line(path, {**gone, **moved, **obstacles, LINES_FILE: data}, new)
        note_change(path, LINES_FILE, "line", line, "renamed", line, new)
        for name, content in (moved | obstacles).items():
            write_into(path / name, content)
        save_log(path, index.file, data)
        for old in own:
            old.unlink(missing_ok=True)


def _obstacles(folder: Path, line: str, new: str) -> dict[str, bytes]:
    """obstacles.csv with the line's new name, where it names the line."""
    file = find_file(folder, "obstacles.csv", [])
    table = None if file is None else table_of(data := file.read_bytes(), file.name, OBSTACLES, [])
    if table is None:
        return {}
    named = [row for row, cells in table.rows if name_key(table.cell(cells, "line")) == name_key(line)]
    for row in named:
        data = with_cell(data, table, row, "line", new)
    return {file.name: data} if named else {}
