"""Correcting a row of one of a shop's tables of facts, or taking it out; what stood there is kept in the table's history."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from bendcal.atomic import NotSaved
from bendcal.entries.adding import FACT_COLUMNS, called, columns_for, file_of, find_table, kind_of, row_values
from bendcal.entries.history import note_change
from bendcal.entries.one_cell import with_cell, without_row
from bendcal.entries.scratch import as_it_would_be
from bendcal.faults import Fault, ShopFaults, quoted
from bendcal.files import Table, cell_text, cell_value, locked, save_log, shop_folder, table_of
from bendcal.measures import NotAMeasure

__all__ = ["correct_row", "row_texts", "take_out_row"]


def row_texts(folder: str | os.PathLike[str], noun: str, place: int) -> dict[str, str]:
    """What stands in a row: column → text.

    Parameters
    ----------
    folder : the shop folder
    noun : a key of :data:`bendcal.entries.adding.FACT_COLUMNS`
    place : which row, 0 for the first below the header

    Raises
    ------
    ShopFaults : where there is no such row
    """
    _, _, table = _table(shop_folder(folder), noun)
    return _texts(table, noun, place)


def correct_row(folder: str | os.PathLike[str], noun: str, place: int, texts: Mapping[str, str], *, before: Mapping[str, str] | None = None) -> dict[str, tuple[str, str]]:
    """Write what should stand in a row; every other byte of the file stays, and the history says what stood there.

    Parameters
    ----------
    folder : the shop folder
    noun : a key of :data:`bendcal.entries.adding.FACT_COLUMNS`
    place : which row, 0 for the first below the header
    texts : column → what was typed
    before : what :func:`row_texts` said; a row that somebody changed since is refused

    Returns
    -------
    column → (what stood there, what stands there now), of what was changed

    Raises
    ------
    ShopFaults : where it cannot be so, or another table would no longer fit; nothing is written
    NotSaved : an OSError whose sentence says why nothing could be written

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as shop:
    ...     _ = (Path(shop) / "tubes.csv").write_text("tube,alloy,od_mm,wall_mm\\nbrake,copper,6,1\\n")
    ...     correct_row(shop, "tube", 0, {"tube": "brake", "alloy": "copper", "od_mm": "3/16 in", "wall_mm": "1"})
    {'od_mm': ('6', '4.7625')}
    """
    path = shop_folder(folder)
    with locked(path):
        file, data, table = _table(path, noun)
        old = _same(table, noun, place, before)
        row = table.rows[place][0]
        now = {column.name: _value(old[column.name], column, table.decimal) for column in columns_for(noun, old)}
        changed = {name: value for name, value in row_values(noun, texts).items() if value != now[name]}
        told = {}
        for name, value in changed.items():
            data = with_cell(data, table, row, name, cell_text(value, table.decimal))
            table = table_of(data, file_of(noun), FACT_COLUMNS[kind_of(noun)], [])
            told[name] = (old[name], table.cell(table.rows[place][1], name))
        _judge(path, noun, data, old, name_changed=next(iter(old)) in changed)
        for name, (was, is_now) in told.items():
            note_change(path, file_of(noun), kind_of(noun), _named(noun, old), name, was, is_now)
        if told:
            save_log(path, file, data)
    return told


def take_out_row(folder: str | os.PathLike[str], noun: str, place: int, *, before: Mapping[str, str] | None = None) -> str:
    """Take a row out of its table; it stays in the history. Returns its name.

    Parameters
    ----------
    folder, noun, place, before : as for :func:`correct_row`

    Raises
    ------
    ShopFaults : where another table names it; nothing is written
    NotSaved : an OSError whose sentence says why nothing could be written
    """
    path = shop_folder(folder)
    with locked(path):
        file, data, table = _table(path, noun)
        old = _same(table, noun, place, before)
        new = without_row(data, table, table.rows[place][0])
        _judge(path, noun, new, old, name_changed=True)
        name = called(noun, old)
        note_change(path, file_of(noun), kind_of(noun), _named(noun, old), "taken out", "; ".join(f"{key} {text}" for key, text in old.items() if text), "")
        save_log(path, file, new)
    return name


def _named(noun: str, texts: Mapping[str, str]) -> str:
    """What a row is called in a history, that of a pattern with its line."""
    line = noun.partition("/")[2]
    return f"{line}: {called(noun, texts)}" if line else called(noun, texts)


def _table(folder: Path, noun: str) -> tuple[Path, bytes, Table]:
    faults: list[Fault] = []
    file = find_table(folder, noun, faults)
    if file is None:
        raise ShopFaults(faults or [Fault(file_of(noun), None, None, "no such file", "", "Add a row first.")])
    try:
        data = file.read_bytes()
    except OSError as error:
        raise NotSaved(file, f"{file.name} cannot be read ({error.strerror or error}). Nothing was changed.") from error
    table = table_of(data, file_of(noun), FACT_COLUMNS[kind_of(noun)], faults)
    if table is None or faults:
        raise ShopFaults(faults)
    return file, data, table


def _texts(table: Table, noun: str, place: int) -> dict[str, str]:
    if not 0 <= place < len(table.rows):
        raise ShopFaults([Fault(file_of(noun), None, None, f"no row {place + 1}", f"There are {len(table.rows)}.", "Look at its number in the table.")])
    return {column.name: table.cell(table.rows[place][1], column.name) for column in FACT_COLUMNS[kind_of(noun)]}


def _same(table: Table, noun: str, place: int, before: Mapping[str, str] | None) -> dict[str, str]:
    """The row as it stands, if nobody changed it since it was shown."""
    old = _texts(table, noun, place)
    if before is not None and dict(before) != old:
        raise ShopFaults([Fault(file_of(noun), None, None, "another row there than before", "Somebody changed the file meanwhile.", "Choose the row once more.")])
    return old


def _value(text: str, column, decimal: str | None) -> object:
    try:
        return cell_value(text, column, decimal=decimal)
    except NotAMeasure:  # what is corrected may have been wrong
        return None


def _judge(folder: Path, noun: str, data: bytes, old: Mapping[str, str], *, name_changed: bool) -> None:
    faults, _ = as_it_would_be(folder, {file_of(noun): data})
    if kind_of(noun) == "reading":  # that a pattern then wants another measurement stands in nobody's way
        faults = [fault for fault in faults if fault.row is not None or fault.file != file_of(noun)]
    mine = [fault for fault in faults if fault.file == file_of(noun)]
    others = list(dict.fromkeys(fault.file for fault in faults if fault.file != file_of(noun)))
    if others and not mine and name_changed:
        name = next(iter(old.values()))
        rule = f"{', '.join(others)} {'name' if len(others) > 1 else 'names'} it."
        raise ShopFaults([Fault(file_of(noun), None, next(iter(old)), quoted(name), rule, "Leave it as it is, or change it there first.")])
    if faults:
        raise ShopFaults(mine or faults)
