"""The rows of a line's own file, as texts: put in, changed or taken out, in the form in which the file was written."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from bendcal.faults import Fault, ShopFaults
from bendcal.files import LEGS, NODES, CsvText, Table, cell_text, find_file, header_key, row_text, table_of

__all__ = ["ROW_KINDS", "LineRows", "new_rows", "rows_of_line"]

#: What a line may be given by → the columns of its file.
ROW_KINDS = {"legs": LEGS, "nodes": NODES}


@dataclass(frozen=True)
class LineRows:
    """A line's rows from end A on; each change makes new rows and leaves these as they are.

    Attributes
    ----------
    kind : ``legs`` or ``nodes``
    form : how the file was written: encoding, delimiter, line ending
    header : its first row
    rows : the cells of every other row
    decimal : the decimal sign of its figures, if they show one

    Examples
    --------
    >>> rows = new_rows("legs").put_in(0, {"leg_mm": 100.0, "angle_deg": 92.5})
    >>> rows.change(0, {"leg_mm": 4.7625}).data
    b'leg_mm,angle_deg,twist_deg\\n4.7625,92.5,\\n'
    >>> rows.take_out(0).texts
    ()
    """

    kind: str
    form: CsvText
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...] = ()
    decimal: str | None = None

    @property
    def texts(self) -> tuple[dict[str, str], ...]:
        """Of each row: column → what stands there, known columns only."""
        names = [column.name for column in ROW_KINDS[self.kind]]
        places = {header_key(cell): place for place, cell in reversed(list(enumerate(self.header)))}
        return tuple({name: row[places[name]].strip() if name in places and places[name] < len(row) else "" for name in names} for row in self.rows)

    @property
    def data(self) -> bytes:
        """The file's bytes."""
        text = "".join(row_text(list(row), self.form.delimiter, self.form.newline) for row in (self.header, *self.rows))
        return self.form.mark + text.encode(self.form.encoding)

    def put_in(self, place: int, values: Mapping[str, object]) -> LineRows:
        """With a row more.

        Parameters
        ----------
        place : before which row, from 0; the number of rows puts it at the end
        values : column → number, text, or None for a blank
        """
        return self._with(place, place, values)

    def change(self, place: int, values: Mapping[str, object]) -> LineRows:
        """With other values in one row; cells of further columns stay."""
        return self._with(place, place + 1, values)

    def take_out(self, place: int) -> LineRows:
        """Without one row."""
        return replace(self, rows=self.rows[:place] + self.rows[place + 1 :])

    def _with(self, place: int, until: int, values: Mapping[str, object]) -> LineRows:
        keys = [header_key(cell) for cell in self.header]
        missing = tuple(name for name, value in values.items() if name not in keys and value not in (None, ""))
        header, keys = (*self.header, *missing), [*keys, *missing]
        old = list(self.rows[place]) if until > place else []
        row = [*old, *[""] * (len(header) - len(old))]
        for name, value in values.items():
            if name in keys:
                row[keys.index(name)] = cell_text(value, self.decimal)
        return replace(self, header=header, rows=(*self.rows[:place], tuple(row), *self.rows[until:]))


def new_rows(kind: str) -> LineRows:
    """No rows yet.

    Parameters
    ----------
    kind : ``legs`` or ``nodes``
    """
    return LineRows(kind, CsvText("", ()), tuple(column.name for column in ROW_KINDS[kind]))


def rows_of_line(folder: Path, line: str) -> LineRows | None:
    """The rows of a line's own file; None where it has none, because it is measured as a pattern.

    Parameters
    ----------
    folder : the shop folder
    line : its name

    Raises
    ------
    ShopFaults : where the file cannot be taken apart
    """
    file = f"lines/{line}.csv"
    faults: list[Fault] = []
    path = find_file(folder / "lines", f"{line}.csv", faults, shown=file)
    if path is None:
        return None
    try:
        data = path.read_bytes()
    except OSError as error:
        rule, remedy = f"It cannot be read ({error.strerror or error}).", "Close it wherever it is open."
        raise ShopFaults([Fault(file, None, None, "", rule, remedy)]) from error
    tables = {kind: table_of(data, file, columns, faults := []) for kind, columns in ROW_KINDS.items()}
    found = [(kind, table) for kind, table in tables.items() if table is not None]
    if len(found) != 1:
        rule = "A line is given by nodes (x_mm, y_mm, z_mm) or by legs (leg_mm, angle_deg, twist_deg)."
        raise ShopFaults(faults or [Fault(file, 1, None, "columns of both kinds", rule, "Keep one kind and remove the other.")])
    (kind, table), = found
    return _of(kind, table)


def _of(kind: str, table: Table) -> LineRows:
    return LineRows(kind, table.text, table.header, tuple(cells for _, cells in table.rows), table.decimal)
