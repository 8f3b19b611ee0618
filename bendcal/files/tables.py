"""One table of a shop folder: its named columns, and rows of checked cells.

A table says which columns it knows and what each may hold. Reading it collects every fault of the
file, cell by cell, and hands on the rows that are sound. Columns it does not know stay untouched.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path

from bendcal.faults import Caution, Fault, quoted
from bendcal.files.cells import Column, cell_value, header_key, tidy
from bendcal.files.csvtext import CsvText, csv_text, read_bytes
from bendcal.measures import NotAMeasure

__all__ = ["Record", "Table", "read_table", "table_of"]

MOST_FAULTS = 200  # of one file: beyond that it is the wrong file, not a wrong cell

_WHOLE = re.compile(r"[+-]?[0-9]+")
_TENTHS = re.compile(r"[0-9]|25|75")  # what people write after a decimal sign
_DECIMAL = re.compile(r"\s*[+-]?([0-9]*)([.,])([0-9]+)")


@dataclass(frozen=True)
class Record:
    """One sound row: where it stands and the checked value of every known column."""

    row: int | None
    values: dict[str, object]

    def __getitem__(self, column: str):
        return self.values[column]


@dataclass(frozen=True)
class Table:
    """A file whose header is sound.

    Parameters
    ----------
    text : the file's cells and form
    columns : the columns that this kind of table knows
    places : known column -> its place in a row
    decimal : ``","`` or ``"."`` if the file's figures show which it uses, else None
    """

    text: CsvText
    columns: tuple[Column, ...]
    places: dict[str, int]
    decimal: str | None
    cautions: list[Caution] = field(default_factory=list)

    @property
    def header(self) -> tuple[str, ...]:
        """The header's cells as they stand."""
        return self.text.rows[0][1]

    @property
    def rows(self) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """The rows below the header: (row number, cells as they stand)."""
        return self.text.rows[1:]

    def cell(self, cells: Sequence[str], column: str) -> str:
        """What stands in a column, without blanks around it; "" where there is no such cell."""
        place = self.places.get(column)
        return tidy(cells[place]) if place is not None and place < len(cells) else ""

    def readings_if_split(self, row: int, cells: Sequence[str]) -> list[Record]:
        """What a row says if a decimal comma split one or more of its figures in two.

        A row between commas with blank cells to spare hides a split figure: every cell after it
        stands one place too far on, and none is left over.

        Parameters
        ----------
        row, cells : one of ``rows``

        Returns
        -------
        Records, none where the row has just as many cells as the header, or ends in a text, which a
        split would have moved
        """
        if self.text.delimiter != "," or len(cells) == len(self.header):
            return []
        cells = list(cells)
        while cells and not tidy(cells[-1]):
            cells.pop()
        numeric = {self.places[c.name] for c in self.columns if c.name in self.places and c.kind not in ("text", "choice")}
        if len(cells) - 1 not in numeric:
            return []
        rows = [tuple(new) for new in _joined(cells, numeric) if len(new) < len(cells)]
        return [record for new in rows if (record := self._record(row, new, [])) is not None]

    def records(self, faults: list[Fault]) -> list[Record]:
        """The sound rows; the faults of the others are added to `faults`."""
        sound, before = [], len(faults)
        for row, cells in self.rows:
            if len(faults) - before >= MOST_FAULTS:
                rule = f"Only the first {MOST_FAULTS} faults of a file are listed."
                faults.append(Fault(self.text.file, row, None, "more rows", rule, "Look whether it is the right file."))
                break
            record = self._record(row, cells, faults)
            if record is not None:
                sound.append(record)
        return sound

    def _record(self, row: int, cells: tuple[str, ...], faults: list[Fault]) -> Record | None:
        before = len(faults)
        named = max((place for place, name in enumerate(self.header) if tidy(name)), default=-1) + 1
        if any(tidy(cell) for cell in cells[named:]):
            faults.append(_too_many(self.text, row, len(cells), named))
            return None  # which cell belongs where is not known, so no other fault is
        values: dict[str, object] = {}
        for column in self.columns:
            try:
                values[column.name] = cell_value(self.cell(cells, column.name), column, decimal=self.decimal)
            except NotAMeasure as error:
                found = quoted(error.text) if error.text else "an empty cell"
                faults.append(Fault(self.text.file, row, column.name, found, f"It {error.why}", error.remedy))
        return Record(row, values) if len(faults) == before else None


def read_table(path: Path, file: str, columns: Sequence[Column], faults: list[Fault]) -> Table | None:
    """Read a CSV file up to its header; its rows are checked by ``records``.

    Parameters
    ----------
    path : where it is
    file : its name for remarks
    columns : the columns that this table knows
    faults : the faults found are added to this list

    Returns
    -------
    Table, or None where a fault stands in the way

    Examples
    --------
    >>> faults = []
    >>> read_table(Path("no such folder"), "tubes.csv", [Column("tube")], faults), len(faults)
    (None, 1)
    """
    data = read_bytes(path, file)
    if isinstance(data, Fault):
        faults.append(data)
        return None
    return table_of(data, file, columns, faults)


def table_of(data: bytes, file: str, columns: Sequence[Column], faults: list[Fault]) -> Table | None:
    """As :func:`read_table`, from the file's bytes.

    Examples
    --------
    >>> faults = []
    >>> table = table_of(b"Tube ; od mm\\nx;4,76\\n", "t", [Column("tube"), Column("od_mm", "length")], faults)
    >>> [record.values for record in table.records(faults)], faults
    ([{'tube': 'x', 'od_mm': 4.76}], [])
    """
    names = {column.name for column in columns}
    write_it = _write_header(columns)
    text = csv_text(data, file, lambda cells: len(names & {header_key(cell) for cell in cells}), header=write_it)
    if isinstance(text, Fault):
        faults.append(text)
        return None
    if not text.rows:
        faults.append(Fault(file, None, None, "no header", "The first row names the columns.", write_it))
        return None
    row, header = text.rows[0]
    places: dict[str, int] = {}
    before = len(faults)
    for place, cell in enumerate(header):
        name = header_key(cell)
        if name in names and name in places:
            found = f"two columns named {name}"
            faults.append(Fault(file, row, name, found, "A column is named once.", "Rename or remove one of them."))
        places.setdefault(name, place)
    known = {name: place for name, place in places.items() if name in names}
    strangers = [cell for cell in header if tidy(cell) and header_key(cell) not in names]
    missing = [column for column in columns if column.required and column.name not in known]
    if missing and not known:
        remedy = f"Put a header row on top that names {', '.join(column.name for column in missing)}."
        found = f"a first row with {_listed(header)}"
        faults.append(Fault(file, row, None, found, "The first row names the columns.", remedy))
        return None
    faults.extend(_missing(file, row, column.name, header, strangers) for column in missing)
    if len(faults) > before:
        return None
    table = Table(text, tuple(columns), known, _decimal_of(text, columns, known))
    absent = [column.name for column in columns if column.name not in known]
    for stranger in strangers:
        if near := next((name for name in absent if _nearest(name, [stranger], cutoff=0.8)), None):
            rule = "A column that is not known is left alone."
            remedy = f"If it is meant to be {near}, rename it."
            table.cautions.append(Caution(file, row, tidy(stranger), f"a column named {quoted(tidy(stranger))}", rule, remedy))
    return table


def _write_header(columns: Sequence[Column]) -> str:
    """What a header row needs, and what else it may have."""
    needed, others = ([column.name for column in columns if column.required is required] for required in (True, False))
    said = f"Write the header row: {', '.join(needed)}" if needed else "Write the header row"
    if others:
        said += f"{'; and, where you have them,' if needed else ', with such as you have of'} {', '.join(others)}"
    return said + "."


def _joined(cells: Sequence[str], numeric: set[int], place: int = 0) -> Iterator[list[str]]:
    """The cells from `place` on, with each figure that may have been split left so or joined again."""
    if place >= len(cells):
        yield []
        return
    yield from ([cells[place], *rest] for rest in _joined(cells, numeric, place + 1))
    if {place, place + 1} <= numeric and place + 1 < len(cells):
        whole, tenths = tidy(cells[place]), tidy(cells[place + 1])
        if _WHOLE.fullmatch(whole) and _TENTHS.fullmatch(tenths):
            yield from ([f"{whole}.{tenths}", *rest] for rest in _joined(cells, numeric, place + 2))


def _decimal_of(text: CsvText, columns: Sequence[Column], places: dict[str, int]) -> str | None:
    """Which decimal sign the figures of a file show; ``1,234`` alone shows nothing."""
    seen = set()
    numeric = [places[c.name] for c in columns if c.name in places and c.kind not in ("text", "choice")]
    for _, cells in text.rows[1:]:
        for place in numeric:
            shown = _DECIMAL.match(cells[place]) if place < len(cells) else None
            # Three figures after the sign and one to three before it may be thousands.
            if shown and not (len(shown[3]) == 3 and 1 <= len(shown[1]) <= 3 and shown[1][0] != "0"):
                seen.add(shown[2])
    if len(seen) == 1:
        return seen.pop()
    # Semicolons are what a spreadsheet writes where the comma is the decimal sign.
    return "," if not seen and text.delimiter == ";" else None


def _missing(file: str, row: int, name: str, header: Sequence[str], strangers: list[str]) -> Fault:
    meant = _nearest(name, strangers, cutoff=0.6)
    remedy = f"Rename {quoted(meant)} to {name}." if meant else f"Add a column {name}."
    found = f"no such column; there are {_listed(header)}"
    return Fault(file, row, name, found, f"The column {name} is required.", remedy)


def _nearest(name: str, headers: Sequence[str], *, cutoff: float) -> str | None:
    """The header that was perhaps meant to be `name`: without its unit, or misspelled."""
    keys = {header_key(cell): tidy(cell) for cell in headers}
    near = [key for key in keys if key == name.rpartition("_")[0]]
    near = near or get_close_matches(name, keys, n=1, cutoff=cutoff)
    return keys[near[0]] if near else None


def _listed(header: Sequence[str]) -> str:
    return ", ".join(quoted(tidy(cell)) for cell in header[:20] if tidy(cell))


def _too_many(text: CsvText, row: int, cells: int, named: int) -> Fault:
    rule = f"The header names {named} columns."
    remedy = "Remove what does not belong to a column."
    if text.delimiter == ",":
        remedy = "Likely a decimal comma split a figure in two: write 92.5 or “92,5” in quotation marks, or save with semicolons."
    return Fault(text.file, row, None, f"{cells} cells in this row", rule, remedy)
