"""Saving a new line in a shop folder: its nodes, or its pattern, in a file of its own, and its row in lines.csv."""

from __future__ import annotations

import csv
import io
from os import PathLike
from pathlib import Path

from bendcal.atomic import make_folder, write_atomically
from bendcal.faults import ShopFaults
from bendcal.files import LINES, find_file, listed, locked, name_key, save_log, shop_folder, table_of, with_row
from bendcal.lines import Line

__all__ = ["save_line"]

_FILE = "lines.csv"
_DECIMALS = 4  # of a mm


def save_line(folder: str | PathLike[str], line: Line, *, pattern: bytes | None = None) -> Path:
    """Write a line that the shop does not have yet; both files whole or not at all.

    Parameters
    ----------
    folder : the shop folder
    line : the line; its nodes are written where they lie
    pattern : a pattern's file to be written instead of nodes, for a line whose shape was measured

    Returns
    -------
    the line's own file, ``lines/<line>.csv``, or ``patterns/<line>.csv``

    Raises
    ------
    ValueError : where the shop has a line, or a file, of that name already
    ShopFaults : where lines.csv cannot be read as it is
    NotSaved : an OSError whose sentence says why nothing could be written
    """
    path = shop_folder(folder)
    with locked(path):
        faults: list = []
        index = find_file(path, _FILE, faults) or path / _FILE
        header = io.StringIO()
        csv.writer(header, lineterminator="\n").writerow(column.name for column in LINES)
        data = index.read_bytes() if index.exists() else header.getvalue().encode()
        table = table_of(data, _FILE, LINES, faults)
        if faults or table is None:
            raise ShopFaults(faults)
        own = path / ("lines" if pattern is None else "patterns") / f"{line.line}.csv"
        if any(name_key(table.cell(cells, "line")) == name_key(line.line) for _, cells in table.rows):
            raise ValueError(f"There is a line called {line.line!r} in {_FILE} already. Choose another name.")
        # A file in lines/ would be read before a pattern of that name.
        taken = [each for each in ("lines", *(["patterns"] if pattern is not None else [])) if any(name_key(name) == name_key(own.name) for name in listed(path / each))]
        if taken:
            raise ValueError(f"There is a file {taken[0]}/{own.name} already, though {_FILE} has no such line. Rename or remove it, or choose another name.")
        values = {column.name: getattr(line, column.name, "") for column in LINES}
        more = with_row(table, data, values, {})
        make_folder(own.parent)
        write_atomically(own, _nodes(line).encode() if pattern is None else pattern)
        try:
            save_log(path, index, more)
        except BaseException:
            own.unlink(missing_ok=True)  # a file without its row would be in the way of the next attempt
            raise
    return own


def _nodes(line: Line) -> str:
    """The line's nodes as CSV (RFC 4180), with the labels where it has some."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["x_mm", "y_mm", "z_mm"] + ["label"] * bool(line.labels))
    for k, node in enumerate(line.nodes_mm):
        writer.writerow([*(_number(v) for v in node), *([line.labels[k]] if line.labels else [])])
    return out.getvalue()


def _number(value: float) -> str:
    text = f"{value:.{_DECIMALS}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
