"""Adding a row to one of a shop's tables of facts: benders, tubes, tools, ends, practice flares, tube on hand.

The row is judged by the very code that will read it later: the table as it would be is read in a
scratch folder first, together with those that it depends on.
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
    BENDERS,
    ENDS,
    FLARES,
    STOCK,
    TOOLS,
    TUBES,
    Column,
    cell_value,
    find_file,
    locked,
    read_facts,
    read_flares,
    read_stock,
    save_log,
    shop_folder,
    table_of,
    tidy,
    with_row,
)
from bendcal.measures import NotAMeasure

__all__ = ["FACT_COLUMNS", "add_row", "columns_for", "file_of", "row_values", "rows_of", "would_be"]

#: What one row is → the columns of its table.
FACT_COLUMNS = {"bender": BENDERS, "tube": TUBES, "tool": TOOLS, "end": ENDS, "flare": FLARES, "stock": STOCK}


def file_of(noun: str) -> str:
    """The name of a table's file.

    >>> file_of("tube"), file_of("stock")
    ('tubes.csv', 'stock.csv')
    """
    return "stock.csv" if noun == "stock" else f"{noun}s.csv"


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
    columns = FACT_COLUMNS[noun]
    if noun != "tool":
        return columns
    kind = "angle" if tidy(texts.get("measures", "")).casefold() == "angle" else "length"
    return tuple(replace(c, kind=kind, least=0.0) if c.name in ("step", "sd") else c for c in columns)


def rows_of(folder: str | os.PathLike[str], noun: str) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """The header and the rows of a table as they stand; the kit's own header where there is no file.

    Parameters
    ----------
    folder : the shop folder
    noun : a key of :data:`FACT_COLUMNS`
    """
    path = find_file(shop_folder(folder), file_of(noun), [])
    header = tuple(column.name for column in FACT_COLUMNS[noun])
    if path is None:
        return header, []
    table = table_of(path.read_bytes(), path.name, FACT_COLUMNS[noun], [])
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
            faults.append(Fault(f"new {noun}", None, column.name, found, f"It {error.why}", error.remedy))
    if faults:
        raise ShopFaults(faults)
    return values


def _made(folder: Path, noun: str, texts: Mapping[str, str]) -> tuple[Path, bytes, list[Caution]]:
    """The file, its bytes with the row, and what is odd about it."""
    name = file_of(noun)
    faults: list[Fault] = []
    values = row_values(noun, texts)
    file = find_file(folder, name, faults) or folder / name
    if faults:
        raise ShopFaults(faults)
    try:
        data = file.read_bytes() if file.exists() else _header(noun)
    except OSError as error:
        raise NotSaved(file, f"{name} cannot be read ({error.strerror or error}). Nothing was changed.") from error
    table = table_of(data, name, FACT_COLUMNS[noun], faults)
    if table is None:
        raise ShopFaults(faults)
    new = with_row(table, data, values, {})
    again = table_of(new, name, FACT_COLUMNS[noun], faults)
    if again is None:
        raise ShopFaults(faults)
    row = again.rows[-1][0]
    faults, cautions = _read_as_it_would_be(folder, name, new)
    mine = [replace(fault, file=f"new {noun}", row=None) for fault in faults if fault.file == name and fault.row in (row, None)]
    if mine:
        raise ShopFaults(mine)
    return file, new, [caution for caution in cautions if caution.file == name and caution.row == row]


def _header(noun: str) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(column.name for column in FACT_COLUMNS[noun])
    return out.getvalue().encode()


def _read_as_it_would_be(folder: Path, name: str, data: bytes) -> tuple[list[Fault], list[Caution]]:
    """All faults and cautions of the tables of facts, with one of them replaced."""
    faults: list[Fault] = []
    cautions: list[Caution] = []
    with tempfile.TemporaryDirectory(prefix="bendcal-") as scratch:
        for noun in FACT_COLUMNS:
            there = find_file(folder, file_of(noun), [])
            content = data if file_of(noun) == name else there.read_bytes() if there else None
            if content is not None:
                (Path(scratch) / file_of(noun)).write_bytes(content)
        facts = read_facts(Path(scratch), faults, cautions)
        read_flares(Path(scratch), facts, faults, cautions)
        read_stock(Path(scratch), facts, faults, cautions)
    return faults, cautions
