"""Measurements added to the pattern of a line, and the line begun where the shop has none of that name; what stands there already stays as it is."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from os import PathLike
from pathlib import Path

from bendcal.atomic import NotSaved, make_folder, sweep_leftovers, write_together
from bendcal.entries.line_index import LINES_FILE, line_index, line_values
from bendcal.entries.scratch import as_it_would_be
from bendcal.faults import Caution, Fault, ShopFaults, quoted
from bendcal.files import PATTERN, find_file, locked, name_key, shop_folder, table_of, with_row
from bendcal.pattern import Angle, Distance, Leg, Twist

__all__ = ["add_measurements"]


def add_measurements(
    folder: str | PathLike[str], line: str, rows: Sequence[Distance | Angle | Twist], *, facts: Mapping[str, str] | None = None
) -> tuple[Path, list[Caution]]:
    """Add rows to ``patterns/<line>.csv``; all of them are on the disk before this returns, or none is.

    Parameters
    ----------
    folder : the shop folder
    line : the line's name; one that lines.csv does not have is added to it
    rows : legs, distances, angles and twists, each with its standard uncertainty
    facts : of a new line, column of lines.csv → what was typed: tube and bender at least

    Returns
    -------
    the pattern's file, and what looks wrong with the line then

    Raises
    ------
    ShopFaults : where the rows or the facts cannot be right; nothing is written
    NotSaved : an OSError whose sentence says why nothing could be written

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as shop:
    ...     _ = (Path(shop) / "benders.csv").write_text("bender,die_radius_mm\\nsmall,15\\n")
    ...     _ = (Path(shop) / "tubes.csv").write_text("tube,alloy,od_mm,wall_mm\\nthin,copper,6,1\\n")
    ...     legs = [Leg("A", 1, 60, 0.1), Leg(1, "B", 50, 0.1), Angle(1, 90, 0.2)]
    ...     path, _ = add_measurements(shop, "rear", legs, facts={"tube": "thin", "bender": "small"})
    ...     print(path.read_text().splitlines()[1])
    leg,A,1,60,,,,,0.1,,,
    """
    path = shop_folder(folder)
    with locked(path):
        index = line_index(path)
        known = [name for name in index.names() if name_key(name) == name_key(line)]
        name = known[0] if known else line.strip()
        changes: dict[str, bytes | None] = {}
        if not known:
            values = line_values({**(facts or {}), "line": name})
            changes[LINES_FILE] = with_row(index.table, index.data, values, {})
        elif index.reason(name):  # set aside, it would not be looked at: judged as if it counted
            changes[LINES_FILE] = index.with_cells(name, {"set_aside": ""})
        if find_file(path / "lines", f"{name}.csv", []):
            rule = f"The line {name} takes its shape from that file, so a pattern would not count."
            raise ShopFaults([Fault(f"lines/{name}.csv", None, None, "a file of its own", rule, "Choose another name for the pattern's line, or move that file away.")])
        file = f"patterns/{name}.csv"
        own, data = _with_rows(path, name, rows)
        faults, cautions = as_it_would_be(path, changes | {file: data})
        if faults:
            raise ShopFaults(faults)
        make_folder(own.parent)
        write_together([(own, data), *([] if known else [(index.file, changes[LINES_FILE])])])
        sweep_leftovers(path)
    return own, [caution for caution in cautions if caution.file == file]


def _with_rows(folder: Path, line: str, rows: Sequence[Distance | Angle | Twist]) -> tuple[Path, bytes]:
    """The pattern's file and its bytes with the rows, in its own form."""
    file, faults = f"patterns/{line}.csv", []
    own = find_file(folder / "patterns", f"{line}.csv", faults, shown=file) or folder / "patterns" / f"{line}.csv"
    try:
        data = own.read_bytes() if own.exists() else _header()
    except OSError as error:
        raise NotSaved(own, f"{file} cannot be read ({error.strerror or error}). Nothing was changed.") from error
    for row in rows:
        table = table_of(data, file, PATTERN, faults)
        if faults or table is None:
            raise ShopFaults(faults)
        data = with_row(table, data, _cells(row), {})
    return own, data


def _cells(row: Distance | Angle | Twist) -> dict[str, object]:
    """Column → what stands there."""
    told: dict[str, object] = {"tool": row.tool, "note": row.note, "set_aside": row.set_aside}
    if isinstance(row, Distance):
        return told | {"what": "leg" if isinstance(row, Leg) else "distance", "from": row.start, "to": row.stop, "length_mm": float(row.mm), "sd": float(row.sd_mm)}
    if isinstance(row, Angle):
        return told | {"what": "angle", "from": row.bend, "angle_deg": float(row.deg), "sd": float(row.sd_deg)}
    if isinstance(row, Twist):
        return told | {"what": "twist", "from": row.start, "to": row.stop, "angle_deg": float(row.deg), "sd": float(row.sd_deg)}
    raise ShopFaults([Fault("new measurement", None, None, quoted(type(row).__name__), "Only legs, distances, angles and twists are added like this.", "Write it into the file.")])


def _header() -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(column.name for column in PATTERN)
    return out.getvalue().encode()
