"""Lines that are entered and changed row by row: each step is on the disk before it is said, and leaves its trace.

A line that is being entered stands in lines.csv as set aside, so that half a line is never marked out;
it counts when it is said to be complete. What is changed later is noted in lines.history.csv.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from bendcal.atomic import make_folder, write_atomically
from bendcal.entries.history import note_change
from bendcal.entries.line_index import BEING_ENTERED, LINES_FILE, line_index, line_values
from bendcal.entries.line_rows import LineRows, new_rows, rows_of_line
from bendcal.entries.scratch import as_it_would_be
from bendcal.faults import Fault, ShopFaults, quoted
from bendcal.files import LINES, find_file, listed, locked, name_key, save_log, shop_folder, tidy, with_row

__all__ = ["begin_line", "change_facts", "faults_of_shape", "judge_line", "put_line_aside", "put_shape", "write_into"]

_FAR_MM = 1000.0  # of the leg or node that stands in for what is still to be entered, while the rest is judged


def begin_line(folder: Path, texts: Mapping[str, str], kind: str) -> Path:
    """Begin a line: its row in lines.csv, set aside as being entered, and a file of its own without a row.

    Parameters
    ----------
    folder : the shop folder
    texts : column of lines.csv → what was typed
    kind : ``legs`` or ``nodes``

    Returns
    -------
    the line's own file

    Raises
    ------
    ShopFaults : where a fact cannot be right, or the name is taken; nothing is written
    NotSaved : an OSError whose sentence says why nothing could be written
    """
    path = shop_folder(folder)
    with locked(path):
        index = line_index(path)
        name = tidy(texts.get("line", ""))
        if name_key(name) in map(name_key, index.names()):
            raise ShopFaults([Fault(LINES_FILE, None, "line", quoted(name), "There is a line of that name already.", "Choose another name.")])
        if any(name_key(file) == name_key(f"{name}.csv") for sub in ("lines", "patterns") for file in listed(path / sub)):
            rule = f"There is a file of that name already, though {LINES_FILE} has no such line."
            raise ShopFaults([Fault(LINES_FILE, None, "line", quoted(name), rule, "Choose another name, or rename the file.")])
        values = line_values(texts)
        judge_line(path, {LINES_FILE: with_row(index.table, index.data, values, {}), f"lines/{name}.csv": _stand_in(new_rows(kind))}, name)
        more = with_row(index.table, index.data, values | {"set_aside": BEING_ENTERED}, {})
        own = path / "lines" / f"{name}.csv"
        write_into(own, new_rows(kind).data)
        try:
            save_log(path, index.file, more)
        except BaseException:
            own.unlink(missing_ok=True)  # a file without its row would be in the way of the next attempt
            raise
    return own


def faults_of_shape(folder: Path, line: str, rows: LineRows) -> list[Fault]:
    """What would be wrong with a line's rows; of one that is being entered, with those that there are.

    Parameters
    ----------
    folder : the shop folder
    line : its name
    rows : as they would be
    """
    path = shop_folder(folder)
    index = line_index(path)
    changes = {f"lines/{line}.csv": rows.data}
    if index.reason(line):
        changes = {f"lines/{line}.csv": _stand_in(rows), LINES_FILE: index.with_cells(line, {"set_aside": ""})}
    return _of_line(as_it_would_be(path, changes)[0], line)


def put_shape(folder: Path, line: str, rows: LineRows, *, what: str, before: str = "", after: str = "") -> None:
    """Write a line's rows; it is on the disk before this returns.

    Parameters
    ----------
    folder : the shop folder
    line : its name
    rows : all of its rows
    what, before, after : for the history; nothing is noted where nothing stood there before

    Raises
    ------
    ShopFaults : where the rows cannot be right; nothing is written
    NotSaved : an OSError whose sentence says why nothing could be written
    """
    path = shop_folder(folder)
    with locked(path):
        if faults := faults_of_shape(path, line, rows):
            raise ShopFaults(faults)
        if before:
            note_change(path, LINES_FILE, "line", line, what, before, after)
        write_into(find_file(path / "lines", f"{line}.csv", []) or path / "lines" / f"{line}.csv", rows.data)


def change_facts(folder: Path, line: str, texts: Mapping[str, str]) -> None:
    """Change what lines.csv says of a line, but not its name; what stood there is kept in the history.

    Parameters
    ----------
    folder : the shop folder
    line : its name
    texts : column → what was typed

    Raises
    ------
    ShopFaults, NotSaved : as :func:`begin_line`
    """
    path = shop_folder(folder)
    with locked(path):
        index = line_index(path)
        _, cells = index.row(line)
        before = {column.name: index.table.cell(cells, column.name) for column in LINES}
        values = line_values(before | dict(texts))
        changed = {name: str(values[name]) for name, text in texts.items() if str(values[name]) != before[name]}
        then = index.changed(line, changed)
        trial = {LINES_FILE: then.data}
        if index.reason(line):
            rows = rows_of_line(path, line)
            trial = {LINES_FILE: then.with_cells(line, {"set_aside": ""})} | ({f"lines/{line}.csv": _stand_in(rows)} if rows else {})
        judge_line(path, trial, line)
        for name, text in changed.items():
            note_change(path, LINES_FILE, "line", line, name, before[name], text)
        if changed:
            save_log(path, index.file, then.data)


def put_line_aside(folder: Path, line: str, reason: str) -> None:
    """Write why a line is not to be made, so that nothing is marked out of it; a blank reason: it is complete, and counts.

    Parameters
    ----------
    folder : the shop folder
    line : its name
    reason : why, or blank

    Raises
    ------
    ShopFaults : where it is to count and cannot be right as it stands; nothing is written
    NotSaved : an OSError whose sentence says why nothing could be written
    """
    path, reason = shop_folder(folder), tidy(" ".join(reason.split()))
    with locked(path):
        index = line_index(path)
        before = index.reason(line)
        if before == reason:
            return
        data = index.with_cells(line, {"set_aside": reason})
        if not reason:
            judge_line(path, {LINES_FILE: data}, line)
        what = "set aside" if reason else "complete" if before == BEING_ENTERED else "counts again"
        note_change(path, LINES_FILE, "line", line, what, before, reason)
        save_log(path, index.file, data)


def _stand_in(rows: LineRows) -> bytes:
    """The rows, with an end where it is still to be entered, so that what is there can be judged."""
    texts = rows.texts
    if rows.kind == "legs":
        if not texts or texts[-1]["angle_deg"]:
            rows = rows.put_in(len(texts), {"leg_mm": _FAR_MM})
        return rows.data
    while len(rows.rows) < 2:
        rows = rows.put_in(len(rows.rows), {"x_mm": _FAR_MM, "y_mm": 0.0, "z_mm": _FAR_MM * len(rows.rows)})
    return rows.data


def judge_line(folder: Path, changes: Mapping[str, bytes | None], line: str) -> None:
    """Refuse what would be wrong with a shop after a change of one of its lines.

    Parameters
    ----------
    folder, changes : as for :func:`bendcal.entries.scratch.as_it_would_be`
    line : its name after the change

    Raises
    ------
    ShopFaults : with the faults that the change would bring
    """
    faults, _ = as_it_would_be(folder, changes)
    if faults := _of_line(faults, line):
        raise ShopFaults(faults)


def _of_line(faults: list[Fault], line: str) -> list[Fault]:
    """Those that are about the line itself first; others that the change would bring stop it as well."""
    mine = [fault for fault in faults if fault.file in (LINES_FILE, f"lines/{line}.csv")]
    return mine or faults


def write_into(path: Path, data: bytes) -> None:
    """Write a file of a line whole or not at all, its folder made where there is none. Raises NotSaved with a sentence."""
    make_folder(path.parent)
    write_atomically(path, data)
