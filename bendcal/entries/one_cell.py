"""One cell of one row of a table written anew, or one row taken out; every other byte of the file stays as it was."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator

from bendcal.faults import Fault, ShopFaults, quoted
from bendcal.files import Table, table_of

__all__ = ["check_one_cell", "records_of", "with_cell", "without_row"]

_SEP_LINE = re.compile(r'"?sep=.[^\r\n]*(?:\r\n|\r|\n|\Z)', re.IGNORECASE)


def with_cell(data: bytes, table: Table, row: int, column: str, text: str) -> bytes:
    """A file's bytes with one cell changed; cells that a short row lacks are added at its end.

    Parameters
    ----------
    data, table : the file as it is
    row : as a spreadsheet shows it, header = 1
    column : a column that this kind of table knows; one that the header lacks is added at its end
    text : what is to stand there

    Raises
    ------
    ShopFaults : where the text cannot be written in this file

    Examples
    --------
    >>> from bendcal.files.columns import TUBES
    >>> data = b"tube;alloy;od_mm;wall_mm\\r\\nthin;copper;6;1\\r\\n"
    >>> with_cell(data, table_of(data, "tubes.csv", TUBES, []), 2, "wall_mm", "0,8")
    b'tube;alloy;od_mm;wall_mm\\r\\nthin;copper;6;0,8\\r\\n'
    """
    form = table.text
    whole = data[len(form.mark) :].decode(form.encoding)
    at_header = _cells_of(whole, table, form.rows[0][0])
    place = table.places.get(column, len(at_header))
    at = _cells_of(whole, table, row)
    if "\0" in text:
        raise ShopFaults([Fault(form.file, row, column, quoted(text), "It cannot be written into a table.", "Write it in plain letters.")])
    written = io.StringIO()
    # Two cells, so that a blank one is written as nothing at all.
    csv.writer(written, delimiter=form.delimiter, lineterminator="").writerow([text, ""])
    cell = written.getvalue().removesuffix(form.delimiter)
    if place < len(at):
        start, stop = at[place]
    else:
        start = stop = at[-1][1]
        cell = form.delimiter * (place - len(at) + 1) + cell
    new = whole[:start] + cell + whole[stop:]
    if column not in table.places:  # the header stands above the row, so its end has not moved
        end = at_header[-1][1]
        new = new[:end] + form.delimiter + column + new[end:]
    try:
        return form.mark + new.encode(form.encoding)
    except UnicodeEncodeError:
        rule = "It cannot be written in this file."
        raise ShopFaults([Fault(form.file, row, column, quoted(text), rule, "Write it in plain letters.")]) from None


def without_row(data: bytes, table: Table, row: int) -> bytes:
    """A file's bytes without one of its rows.

    Parameters
    ----------
    data, table : the file as it is
    row : as a spreadsheet shows it, header = 1

    Examples
    --------
    >>> from bendcal.files.columns import TUBES
    >>> data = b"tube,alloy,od_mm,wall_mm\\na,copper,6,1\\nb,copper,8,1\\n"
    >>> without_row(data, table_of(data, "tubes.csv", TUBES, []), 2)
    b'tube,alloy,od_mm,wall_mm\\nb,copper,8,1\\n'
    """
    form = table.text
    whole = data[len(form.mark) :].decode(form.encoding)
    spans = _cells_of(whole, table, row)
    after = spans[-1][1]
    after += 2 if whole[after : after + 2] == "\r\n" else 1
    return form.mark + (whole[: spans[0][0]] + whole[after:]).encode(form.encoding)


def check_one_cell(data: bytes, old: Table, row: int, column: str, text: str) -> Table:
    """Read bytes that :func:`with_cell` made: every other cell reads as before, and this one as it was meant.

    Parameters
    ----------
    data : the new bytes
    old : the table as it was
    row, column, text : the cell, and what it should read

    Returns
    -------
    Table as it is now

    Raises
    ------
    ShopFaults : where it would not be so
    """
    faults: list[Fault] = []
    file = old.text.file
    new = table_of(data, file, old.columns, faults)
    if new is None:
        raise ShopFaults(faults)
    place = new.places[column]
    for (number, one), (_, two) in zip(old.text.rows, new.text.rows, strict=True):
        cells = [list(one) + [""] * (len(two) - len(one)), list(two)]
        if number in (row, old.text.rows[0][0]) and place < len(two):
            for each in cells:
                each[place] = ""
        if cells[0] != cells[1]:
            rule = "Another cell would have changed with it, so nothing was written."
            raise ShopFaults([Fault(file, number, None, "a row that cannot be taken apart safely", rule, "Change it in a spreadsheet.")])
    now = next(cells for number, cells in new.rows if number == row)
    if new.cell(now, column) != text:
        raise ShopFaults([Fault(file, row, column, quoted(text), "It would read back otherwise.", "Write it in another way.")])
    return new


def _cells_of(whole: str, table: Table, row: int) -> list[tuple[int, int]]:
    """Where the cells of a row begin and end in the text."""
    told = _SEP_LINE.match(whole)
    for number, spans in enumerate(records_of(whole, table.text.delimiter, told.end() if told else 0), start=1):
        if number == row:
            return spans
    raise ShopFaults([Fault(table.text.file, row, None, "no such row", "", "Read the shop again.")])


def records_of(text: str, delimiter: str, at: int = 0) -> Iterator[list[tuple[int, int]]]:
    """For each record of a CSV text: where its cells begin and end, quotation marks included.

    Parameters
    ----------
    text : the file's
    delimiter : what divides its cells
    at : where to begin

    Examples
    --------
    >>> list(records_of('a,"b,c"', ","))
    [[(0, 1), (2, 7)]]
    """
    spans, start, inside = [], at, False
    while at < len(text):
        sign = text[at]
        if sign == '"' and (inside or at == start):
            if inside and text[at + 1 : at + 2] == '"':
                at += 1
            else:
                inside = not inside
        elif not inside and sign == delimiter:
            spans.append((start, at))
            start = at + 1
        elif not inside and sign in "\r\n":
            yield [*spans, (start, at)]
            at += text[at : at + 2] == "\r\n"
            spans, start = [], at + 1
        at += 1
    if spans or start < len(text):
        yield [*spans, (start, len(text))]
