"""Tables of a shop folder as CSV text, written plainly: the same bytes on every machine."""

from __future__ import annotations

import csv
import io
from pathlib import Path


def cell(value) -> str:
    """A cell's text: blank for None, the shortest number that reads back the same.

    >>> cell(90.0), cell(0.1), cell(None), cell("x")
    ('90', '0.1', '', 'x')
    """
    if value is None:
        return ""
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else repr(value)
    return str(value)


def csv_text(table: list[dict]) -> str:
    """Rows as CSV (RFC 4180 quoting, lines ended by a line feed); the first row names the columns."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(table[0]), restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: cell(value) for name, value in row.items()} for row in table)
    return out.getvalue()


def write_tables(folder: Path, tables: dict[str, list[dict]]) -> None:
    """Write every table as ``folder/<name>``, making folders as needed."""
    for name, table in tables.items():
        path = Path(folder) / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(csv_text(table), encoding="utf-8", newline="\n")
