"""Writing one offcut's readings into the log: checked as a row would be, then safe on the disk."""

from __future__ import annotations

import datetime
import os
import re
import warnings
from collections.abc import Mapping
from dataclasses import replace
from math import isfinite
from numbers import Real
from pathlib import Path

from bendcal.atomic import NotSaved
from bendcal.faults import Fault, ShopFaults, quoted
from bendcal.files import (
    LOG,
    OFFCUTS,
    SIDE,
    Facts,
    KeptAside,
    Record,
    Table,
    cell_value,
    fold_in,
    header_key,
    locked,
    log_path,
    name_key,
    offcut_of,
    read_facts,
    read_log,
    save_log,
    shop_folder,
    table_of,
    tidy,
    with_row,
)
from bendcal.measures import NotAMeasure
from bendcal.offcuts import Offcut

__all__ = ["append_offcut", "next_name"]

Figure = float | str | None


def append_offcut(
    folder: str | os.PathLike[str],
    *,
    bender: str,
    tube: str,
    length_mm: Figure,
    mark_mm: Figure,
    dial_deg: Figure,
    angle_deg: Figure,
    leg_a_mm: Figure = None,
    leg_b_mm: Figure = None,
    legs_to: str = "centre",
    smallest_mm: Figure = None,
    largest_mm: Figure = None,
    offcut: str | int | None = None,
    date: str | datetime.date = "",
    angle_tool: str = "",
    length_tool: str = "",
    set_aside: str = "",
    note: str = "",
    extra: Mapping[str, str] | None = None,
) -> Offcut:
    """Add one bent and measured offcut to offcuts.csv; it is on the disk before this returns.

    The row is checked as it would be on reading. Two notebooks may append at once: one waits for
    the other. The file keeps its form (delimiter, decimal sign, line endings, column order, further
    columns) and every old row its bytes. If offcuts.csv cannot be replaced, because a spreadsheet
    holds it open, the row is kept in offcuts.pending.csv beside it and moved as soon as possible.

    Parameters
    ----------
    folder : the shop folder
    bender, tube : names in benders.csv and tubes.csv
    length_mm, mark_mm : straight length, and end A to the mark [mm], or a text such as ``7 7/8"``
    dial_deg, angle_deg : dial at the end of the stroke, angle after release [deg], or a text
    leg_a_mm, leg_b_mm : each end to the legs' crossing [mm], or a text; None if not measured
    legs_to : ``centre``, ``outside`` or ``inside``: which crossing the legs were measured to
    smallest_mm, largest_mm : diameters in the middle of the bend [mm], or a text; None if not measured
    offcut : its name; None takes the next number
    date, angle_tool, length_tool, set_aside, note : as the columns of offcuts.csv
    extra : further column -> text

    Returns
    -------
    Offcut, as it was written

    Raises
    ------
    ShopFaults : where the readings cannot be right, or a name is unknown or taken; nothing is written
    NotSaved : an OSError whose sentence says why nothing could be written
    Warns KeptAside where the row went into the side file

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as shop:
    ...     _ = (Path(shop) / "benders.csv").write_text("bender,die_radius_mm\\nsmall,15\\n")
    ...     _ = (Path(shop) / "tubes.csv").write_text("tube,alloy,od_mm,wall_mm\\nthin,copper,6,1\\n")
    ...     piece = append_offcut(shop, bender="small", tube="thin", length_mm='7 7/8"', mark_mm=90,
    ...                           dial_deg=92, angle_deg="90,5°")
    ...     print((Path(shop) / "offcuts.csv").read_text().splitlines()[1])
    1,small,thin,200.025,90,92,90.5,,,centre,,,,,,,
    """
    given = {
        "offcut": offcut, "bender": bender, "tube": tube, "length_mm": length_mm, "mark_mm": mark_mm,
        "dial_deg": dial_deg, "angle_deg": angle_deg, "leg_a_mm": leg_a_mm, "leg_b_mm": leg_b_mm,
        "legs_to": legs_to, "smallest_mm": smallest_mm, "largest_mm": largest_mm, "date": date, "angle_tool": angle_tool, "length_tool": length_tool,
        "set_aside": set_aside, "note": note,
    }  # fmt: skip
    path = shop_folder(folder)
    fact_faults: list[Fault] = []
    facts = read_facts(path, fact_faults, [])
    further = _extra(extra or {})
    with locked(path):
        in_the_way: NotSaved | None = None
        try:
            fold_in(path)
        except NotSaved as error:
            in_the_way = error
        faults: list[Fault] = []
        log_file, side_file = log_path(path, faults), path / SIDE
        log, side = read_log(log_file, LOG, faults), read_log(side_file, SIDE, faults)
        if log is None or side is None or faults:
            raise ShopFaults(faults)
        values = _values(given, log, side)
        piece = _checked(values, facts, fact_faults)
        if in_the_way is None:
            try:
                return replace(piece, row=_write(path, log_file, log, values, further))
            except NotSaved as error:
                in_the_way = error
        try:
            _write(path, side_file, side, values, further)
        except NotSaved:
            raise in_the_way from None
    warnings.warn(
        f"{in_the_way} Offcut {piece.offcut} is safe in {SIDE} and is moved into {LOG} at the next reading or saving.",
        KeptAside,
        stacklevel=2,
    )
    return piece


def _values(given: dict[str, object], log: Table, side: Table) -> dict[str, object]:
    """The row's checked cells, with a name that is not taken."""
    taken = [table.cell(cells, "offcut") for table in (log, side) for _, cells in table.rows]
    if given["offcut"] is None:
        given["offcut"] = next_name(taken)
    name = tidy(str(given["offcut"]))
    place = {"file": f"new offcut {name}", "row": None}
    faults: list[Fault] = []
    values: dict[str, object] = {}
    for column in OFFCUTS:
        try:
            values[column.name] = _value(given[column.name], column)
        except NotAMeasure as error:
            found = quoted(error.text) if error.text else "nothing"
            faults.append(Fault(**place, column=column.name, found=found, rule=f"It {error.why}", remedy=error.remedy))
    if name_key(name) in {name_key(other) for other in taken}:
        rule = f"{LOG} has an offcut of that name already, and its rows are never altered."
        remedy = f"Choose another name; {next_name(taken)} is free."
        faults.append(Fault(**place, column="offcut", found=quoted(name), rule=rule, remedy=remedy))
    if faults:
        raise ShopFaults(faults)
    return values


def _value(value: object, column) -> object:
    """A figure or a text as a cell would hold it."""
    if isinstance(value, str):
        return cell_value(tidy(value), column)
    if column.kind in ("text", "choice"):
        return cell_value(tidy("" if value is None else str(value)), column)
    if value is None:
        return cell_value("", column)
    if isinstance(value, bool) or not isinstance(value, Real) or not isfinite(value):
        raise NotAMeasure(str(value), "is not a number", f"Give {column.name} as a number, such as 92.5.")
    return float(value)


def _checked(values: dict[str, object], facts: Facts, fact_faults: list[Fault]) -> Offcut:
    """The offcut, or every reason why it cannot be one."""
    faults: list[Fault] = []
    piece = offcut_of(Record(None, values), f"new offcut {values['offcut']}", facts, faults, [])
    for named, name in ((facts.benders, values["bender"]), (facts.tubes, values["tube"])):
        known = named.names is not None and named.names.get(name_key(name)) in named.records
        if not known:  # its own row is faulty, or its file: then that is what has to be told
            faults.extend(fault for fault in fact_faults if fault.file == named.file)
    if faults or piece is None:
        raise ShopFaults(faults)
    values["bender"], values["tube"] = piece.bender, piece.tube
    return piece


def _write(folder: Path, file: Path, table: Table, values: dict[str, object], extra: dict[str, str]) -> int:
    """Write the row, after reading it back from the very bytes that will be written; its row number."""
    try:
        data = file.read_bytes() if file.exists() else b""
    except OSError as error:
        raise NotSaved(file, f"{file.name} cannot be read ({error.strerror or error}). Nothing was changed.") from error
    new = with_row(table, data, values, extra)
    faults: list[Fault] = []
    again = table_of(new, file.name, OFFCUTS, faults)
    if again is None:
        raise ShopFaults(faults)
    row, cells = again.rows[-1]
    for column in OFFCUTS:
        read = cell_value(again.cell(cells, column.name), column, decimal=again.decimal)
        if read != values[column.name]:
            rule = f"Read back from {file.name} it would be {quoted(read)}."
            found = quoted(values[column.name])
            raise ShopFaults([Fault("new offcut", None, column.name, found, rule, "Write it in another way.")])
    save_log(folder, file, new)
    return row


def next_name(taken: list[str]) -> str:
    """The next number, in the way in which the last piece was numbered.

    Parameters
    ----------
    taken : the names that there are, the last one last

    Examples
    --------
    >>> next_name(["CN-07"]), next_name([])
    ('CN-08', '1')
    """
    counted = [match for name in taken if (match := re.fullmatch(r"(.*?)([0-9]{1,9})", name))]
    if not counted:
        return "1" if not taken else str(len(taken) + 1)
    prefix, last = counted[-1].groups()
    highest = max(int(match[2]) for match in counted if match[1] == prefix)
    return f"{prefix}{highest + 1:0{len(last)}d}"


def _extra(extra: Mapping[str, str]) -> dict[str, str]:
    """Further columns: none of them one that the kit knows, so that nothing is written twice."""
    known = {column.name for column in OFFCUTS}
    faults = [
        Fault("new offcut", None, name, "a further column of that name", "It is a column that the kit knows.", f"Give {name} itself.")
        for name in extra
        if header_key(name) in known or not header_key(name)
    ]
    if faults:
        raise ShopFaults(faults)
    return {name: tidy(str(text)) for name, text in extra.items()}
