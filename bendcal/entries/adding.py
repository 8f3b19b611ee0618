"""Adding a row to one of a shop's tables of facts: benders and their bodies, tubes, tools, ends, practice flares, tube on hand, obstacles, and the readings of a pattern.

The row is judged by the very code that will read it later: the table as it would be is read in a
scratch folder first, together with those that it depends on. A pattern is a file of its own for each line: its noun
is ``reading/LINE``.
"""

from __future__ import annotations

import csv
import io
import os
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from bendcal.atomic import NotSaved
from bendcal.faults import Caution, Fault, ShopFaults, quoted
from bendcal.files import (
    BENDER_BODIES,
    BENDERS,
    ENDS,
    FLARES,
    LINES,
    OBSTACLES,
    PATTERN,
    STOCK,
    TOOLS,
    TUBES,
    TURNS,
    Column,
    cell_value,
    find_file,
    locked,
    name_key,
    pattern_file,
    read_bodies,
    read_facts,
    read_flares,
    read_obstacles,
    read_stock,
    save_log,
    shop_folder,
    table_of,
    tidy,
    with_row,
)
from bendcal.measures import NotAMeasure

__all__ = ["FACT_COLUMNS", "add_row", "called", "columns_for", "file_of", "find_table", "kind_of", "row_values", "rows_of", "would_be"]

#: What one row is → the columns of its table.
FACT_COLUMNS = {
    "bender": BENDERS, "tube": TUBES, "tool": TOOLS, "end": ENDS, "flare": FLARES, "stock": STOCK, "body": BENDER_BODIES,
    "obstacle": OBSTACLES, "reading": PATTERN,
}  # fmt: skip
_FILES = {"stock": "stock.csv", "body": "bender_bodies.csv"}
#: The columns by which a row is called, where that is not the first one.
_CALLED = {"body": ("bender", "body"), "reading": ("what", "from", "to")}


def file_of(noun: str) -> str:
    """The name of a table's file.

    >>> file_of("tube"), file_of("body"), file_of("reading/rear")
    ('tubes.csv', 'bender_bodies.csv', 'patterns/rear.csv')
    """
    kind, _, line = noun.partition("/")
    return f"patterns/{line}.csv" if line else _FILES.get(kind, f"{kind}s.csv")


def kind_of(noun: str) -> str:
    """The key of :data:`FACT_COLUMNS` that a noun belongs to.

    >>> kind_of("reading/rear")
    'reading'
    """
    return noun.partition("/")[0]


def called(noun: str, texts: Mapping[str, str]) -> str:
    """What a row is called: its name, or the columns that stand for one.

    >>> called("body", {"bender": "small", "body": "vice"}), called("reading/rear", {"what": "leg", "from": "A", "to": "1"})
    ('small vice', 'leg A 1')
    """
    return " ".join(filter(None, (texts.get(name, "") for name in _CALLED.get(kind_of(noun), (FACT_COLUMNS[kind_of(noun)][0].name,)))))


def columns_for(noun: str, texts: Mapping[str, str]) -> tuple[Column, ...]:
    """The columns of a table, those of a tool with the unit of what it measures.

    Parameters
    ----------
    noun : a key of :data:`FACT_COLUMNS`
    texts : column → what was typed

    Examples
    --------
    >>> [column.kind for column in columns_for("tool", {"measures": "angle"}) if column.name == "step"]
    ['angle']
    """
    columns, turns = FACT_COLUMNS[kind_of(noun)], {"tool": ("measures", ("angle",)), "reading": ("what", TURNS)}.get(kind_of(noun))
    if turns is None:
        return columns
    kind = "angle" if tidy(texts.get(turns[0], "")).casefold() in turns[1] else "length"
    return tuple(replace(c, kind=kind, least=0.0) if c.name in ("step", "sd") else c for c in columns)


def rows_of(folder: str | os.PathLike[str], noun: str) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """The header and the rows of a table as they stand; the kit's own header where there is no file.

    Parameters
    ----------
    folder : the shop folder
    noun : a key of :data:`FACT_COLUMNS`
    """
    path = find_table(shop_folder(folder), noun, [])
    header = tuple(column.name for column in FACT_COLUMNS[kind_of(noun)])
    if path is None:
        return header, []
    table = table_of(path.read_bytes(), path.name, FACT_COLUMNS[kind_of(noun)], [])
    return (header, []) if table is None else (table.header, [cells for _, cells in table.rows])


def would_be(folder: str | os.PathLike[str], noun: str, texts: Mapping[str, str]) -> tuple[list[Fault], list[Caution]]:
    """What would be wrong with a row, without writing it.

    Parameters
    ----------
    folder : the shop folder
    noun : a key of :data:`FACT_COLUMNS`
    texts : column → what was typed

    Returns
    -------
    (faults, cautions), each of which may be empty

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as shop:
    ...     faults, _ = would_be(shop, "tube", {"tube": "thin", "alloy": "copper", "od_mm": "6", "wall_mm": "3"})
    >>> faults[0].rule
    'A wall is less than half the outside diameter, or there is no bore.'
    """
    try:
        _, _, cautions = _made(shop_folder(folder), noun, texts)
    except ShopFaults as error:
        return list(error.faults), []
    return [], cautions


def add_row(folder: str | os.PathLike[str], noun: str, texts: Mapping[str, str]) -> Path:
    """Add a row to a table; it is on the disk before this returns.

    The file keeps its form and every old row its bytes; one that is not there yet is made.

    Parameters
    ----------
    folder : the shop folder
    noun : a key of :data:`FACT_COLUMNS`
    texts : column → what was typed, units and fractions allowed

    Returns
    -------
    the table's file

    Raises
    ------
    ShopFaults : where the row cannot be right; nothing is written
    NotSaved : an OSError whose sentence says why nothing could be written

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as shop:
    ...     path = add_row(shop, "tube", {"tube": "brake", "alloy": "copper", "od_mm": "3/16 in", "wall_mm": "0,7"})
    ...     print(path.read_text().splitlines()[1])
    brake,copper,4.7625,0.7,,,,,,
    """
    path = shop_folder(folder)
    with locked(path):
        file, data, _ = _made(path, noun, texts)
        file.parent.mkdir(exist_ok=True)
        save_log(path, file, data)
    return file


def row_values(noun: str, texts: Mapping[str, str]) -> dict[str, object]:
    """The cells of a row, checked one by one.

    Parameters
    ----------
    noun : a key of :data:`FACT_COLUMNS`
    texts : column → what was typed

    Raises
    ------
    ShopFaults : with every cell that cannot be so
    """
    faults: list[Fault] = []
    values: dict[str, object] = {}
    for column in columns_for(noun, texts):
        try:
            values[column.name] = cell_value(tidy(texts.get(column.name, "")), column)
        except NotAMeasure as error:
            found = quoted(error.text) if error.text else "nothing"
            faults.append(Fault(f"new {kind_of(noun)}", None, column.name, found, f"It {error.why}", error.remedy))
    if faults:
        raise ShopFaults(faults)
    return values


def _made(folder: Path, noun: str, texts: Mapping[str, str]) -> tuple[Path, bytes, list[Caution]]:
    """The file, its bytes with the row, and what is odd about it."""
    name = file_of(noun)
    faults: list[Fault] = []
    values = row_values(noun, texts)
    line = noun.partition("/")[2]
    if line and name_key(line) not in {name_key(name) for name in _lines(folder)}:
        rule = "A pattern belongs to a line, and lines.csv has none of that name."
        raise ShopFaults([Fault("new reading", None, None, quoted(line), rule, "Begin the line first, with the form for lines, or correct its name.")])
    file = find_table(folder, noun, faults) or folder / name
    if faults:
        raise ShopFaults(faults)
    try:
        data = file.read_bytes() if file.exists() else _header(noun)
    except OSError as error:
        raise NotSaved(file, f"{name} cannot be read ({error.strerror or error}). Nothing was changed.") from error
    table = table_of(data, name, FACT_COLUMNS[kind_of(noun)], faults)
    if table is None:
        raise ShopFaults(faults)
    new = with_row(table, data, values, {})
    again = table_of(new, name, FACT_COLUMNS[kind_of(noun)], faults)
    if again is None:
        raise ShopFaults(faults)
    row = again.rows[-1][0]
    faults, cautions = _as_it_would_be(folder, noun, new)
    mine = [replace(fault, file=f"new {kind_of(noun)}", row=None) for fault in faults if fault.file == name and fault.row in (row, None)]
    if mine:
        raise ShopFaults(mine)
    return file, new, [caution for caution in cautions if caution.file == name and caution.row == row]


def _header(noun: str) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(column.name for column in FACT_COLUMNS[kind_of(noun)])
    return out.getvalue().encode()


def find_table(folder: Path, noun: str, faults: list[Fault]) -> Path | None:
    """The file of a table, whatever capitals its name is written with; None where there is none."""
    place, _, name = file_of(noun).rpartition("/")
    return find_file(folder / place, name, faults, shown=file_of(noun))


def _as_it_would_be(folder: Path, noun: str, data: bytes) -> tuple[list[Fault], list[Caution]]:
    """All faults and cautions of the tables of facts, with one of them replaced; of a pattern, row by row, for it may still want others."""
    faults: list[Fault] = []
    cautions: list[Caution] = []
    with tempfile.TemporaryDirectory(prefix="bendcal-") as scratch:
        copy = Path(scratch)
        for each in [*(kind for kind in FACT_COLUMNS if kind != "reading"), *(noun for _ in "1" if kind_of(noun) == "reading")]:
            there = find_table(folder, each, [])
            content = data if each == noun else there.read_bytes() if there else None
            if content is not None:
                (copy / file_of(each)).parent.mkdir(exist_ok=True)
                (copy / file_of(each)).write_bytes(content)
        facts = read_facts(copy, faults, cautions)
        read_flares(copy, facts, faults, cautions)
        read_stock(copy, facts, faults, cautions)
        read_bodies(copy, facts, faults, cautions)
        read_obstacles(copy, _lines(folder), faults, cautions)
        if kind_of(noun) == "reading":
            found: list[Fault] = []
            pattern_file(copy, noun.partition("/")[2], facts.tools, found, cautions)
            # What is wrong with the pattern as a whole (it still wants measurements) is not this row's fault.
            faults += [fault for fault in found if fault.row is not None]
    return faults, cautions


def _lines(folder: Path) -> list[str]:
    """The names of the shop's lines; none where they cannot be read, and then no name is looked for."""
    path = find_file(folder, "lines.csv", [])
    table = table_of(path.read_bytes(), path.name, LINES, []) if path else None
    return [] if table is None else [name for _, cells in table.rows if (name := table.cell(cells, "line"))]
