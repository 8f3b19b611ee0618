"""lines.csv as it stands: the rows of all lines, those that are set aside included, and changes of a line's cells."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from bendcal.atomic import NotSaved
from bendcal.entries.one_cell import check_one_cell, with_cell
from bendcal.faults import Fault, ShopFaults, quoted
from bendcal.files import LINES, Table, cell_value, find_file, name_fault, name_key, shop_folder, table_of, tidy
from bendcal.measures import NotAMeasure

__all__ = ["BEING_ENTERED", "LINES_FILE", "LineIndex", "line_index", "line_values", "lines_table"]

LINES_FILE = "lines.csv"
#: What stands under set_aside while a line is being entered.
BEING_ENTERED = "being entered"


@dataclass(frozen=True)
class LineIndex:
    """The file, its bytes and its table.

    Attributes
    ----------
    file : where it is, or would be
    data : its bytes; a header alone where there is none yet
    table : the same, taken apart
    """

    file: Path
    data: bytes
    table: Table

    def row(self, line: str) -> tuple[int, tuple[str, ...]]:
        """The row of a line and its cells. Raises ShopFaults with a sentence where there is none."""
        for row, cells in self.table.rows:
            if name_key(self.table.cell(cells, "line")) == name_key(line):
                return row, cells
        raise ShopFaults([Fault(LINES_FILE, None, "line", quoted(line), f"{LINES_FILE} has no line of that name.", "Look at the spelling of its name.")])

    def names(self) -> list[str]:
        """The names of all lines."""
        return [self.table.cell(cells, "line") for _, cells in self.table.rows]

    def reason(self, line: str) -> str:
        """Why a line is set aside, or blank."""
        return self.table.cell(self.row(line)[1], "set_aside")

    def with_cells(self, line: str, texts: Mapping[str, str]) -> bytes:
        """Its bytes with some cells of a line's row changed."""
        data, table = self.data, self.table
        row, cells = self.row(line)
        for column, text in texts.items():
            if table.cell(cells, column) != text:
                data = with_cell(data, table, row, column, text)
                table = check_one_cell(data, table, row, column, text)
                cells = next(cells for number, cells in table.rows if number == row)
        return data

    def changed(self, line: str, texts: Mapping[str, str]) -> LineIndex:
        """As it would be with some cells of a line's row changed."""
        data = self.with_cells(line, texts)
        return LineIndex(self.file, data, table_of(data, LINES_FILE, LINES, []))


def lines_table(folder: Path) -> list[dict[str, str]]:
    """The rows of lines.csv as texts, those set aside included; none where there is no such file.

    Parameters
    ----------
    folder : the shop folder

    Raises
    ------
    ShopFaults : where lines.csv cannot be taken apart

    Examples
    --------
    >>> import tempfile
    >>> lines_table(Path(tempfile.mkdtemp()))
    []
    """
    table = line_index(shop_folder(folder)).table
    return [{column.name: table.cell(cells, column.name) for column in LINES} for _, cells in table.rows]


def line_index(folder: Path) -> LineIndex:
    """lines.csv of a shop folder.

    Raises
    ------
    ShopFaults : where it cannot be taken apart
    NotSaved : an OSError, where it cannot be read
    """
    faults: list[Fault] = []
    file = find_file(folder, LINES_FILE, faults) or folder / LINES_FILE
    header = io.StringIO()
    csv.writer(header, lineterminator="\n").writerow(column.name for column in LINES)
    try:
        data = file.read_bytes() if file.exists() else header.getvalue().encode()
    except OSError as error:
        raise NotSaved(file, f"{LINES_FILE} cannot be read ({error.strerror or error}). Nothing was changed.") from error
    table = table_of(data, LINES_FILE, LINES, faults)
    if faults or table is None:
        raise ShopFaults(faults)
    return LineIndex(file, data, table)


def line_values(texts: Mapping[str, str]) -> dict[str, object]:
    """The cells of a line's row, checked one by one.

    Parameters
    ----------
    texts : column → what was typed

    Raises
    ------
    ShopFaults : with every cell that cannot be so

    Examples
    --------
    >>> line_values({"line": "rear", "tube": "thin", "bender": "small", "trim_at": "b"})["trim_at"]
    'B'
    """
    faults: list[Fault] = []
    values: dict[str, object] = {}
    for column in LINES:
        try:
            values[column.name] = cell_value(tidy(texts.get(column.name, "")), column)
        except NotAMeasure as error:
            faults.append(Fault(LINES_FILE, None, column.name, quoted(error.text) if error.text else "nothing", f"It {error.why}", error.remedy))
    if values.get("line") and (unfit := name_fault(str(values["line"]))):
        faults.append(unfit)
    if faults:
        raise ShopFaults(faults)
    return values
