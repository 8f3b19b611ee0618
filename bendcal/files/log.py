"""offcuts.csv as an append-only log: one writer at a time, and no byte of an old row changed.

A new row goes in under a lock, in the file's own form. Where the log itself cannot be replaced (a
spreadsheet holds it open, or it is write-protected) the row is kept in a side file beside it, and
is folded in as soon as that is possible.
"""

from __future__ import annotations

import contextlib
import csv
import io
from collections.abc import Iterator, Mapping
from pathlib import Path

from filelock import FileLock, Timeout

from bendcal.atomic import NotSaved, sweep_leftovers, write_atomically
from bendcal.faults import Fault, ShopFaults, quoted
from bendcal.files.cells import header_key, name_key, tidy
from bendcal.files.columns import OFFCUTS
from bendcal.files.finding import find_file
from bendcal.files.tables import Record, Table, read_table, table_of

__all__ = ["LOG", "SIDE", "KeptAside", "cell_text", "fold_in", "locked", "log_path", "read_log", "row_text", "save_log", "with_row"]

LOG = "offcuts.csv"
SIDE = "offcuts.pending.csv"
_LOCK = ".offcuts.lock"
WAIT_S = 30.0
HEADER = tuple(column.name for column in OFFCUTS)


class KeptAside(UserWarning):
    """The log could not be replaced; the new row is safe in the side file."""


@contextlib.contextmanager
def locked(folder: Path, *, wait_s: float = WAIT_S) -> Iterator[None]:
    """Hold the log for oneself; the system lets go of it even if this program is killed.

    Parameters
    ----------
    folder : the shop folder
    wait_s : how long [s] to wait for another notebook

    Raises
    ------
    NotSaved : where nothing may be written in the folder, or the other one does not let go
    """
    target = folder / LOG
    lock = FileLock(folder / _LOCK, timeout=wait_s)
    try:
        lock.acquire()
    except Timeout:
        sentence = f"Another notebook has held {LOG} for {wait_s:.0f} s. Let it finish, then save again."
        raise NotSaved(target, sentence) from None
    except (OSError, NotImplementedError) as error:
        why = getattr(error, "strerror", None) or str(error)
        sentence = f"Nothing could be saved: nothing may be written in the folder {folder} ({why}). Allow writing there, or copy the folder to a place of your own. Nothing was changed."
        raise NotSaved(target, sentence) from error
    try:
        yield
    finally:
        lock.release()


def log_path(folder: Path, faults: list[Fault]) -> Path:
    """Where the log is, or would be."""
    return find_file(folder, LOG, faults) or folder / LOG


def read_log(path: Path, file: str, faults: list[Fault]) -> Table | None:
    """The log's table; one that is not there yet is an empty table."""
    if path.exists() or path.is_symlink():
        return read_table(path, file, OFFCUTS, faults)
    return table_of(_new_log(HEADER), file, OFFCUTS, faults)


def with_row(table: Table | None, data: bytes, values: Mapping[str, object], extra: Mapping[str, str]) -> bytes:
    """The log's bytes with one row more, in the file's own form; every old row stands as it was.

    A column that the row fills and the header lacks is added at the header's end.

    Parameters
    ----------
    table, data : the log as it is; no bytes start a new one
    values : known column -> number, text, or None for a blank
    extra : further column -> text

    Raises
    ------
    ShopFaults : where a text cannot be written in this file

    Examples
    --------
    >>> data = b"offcut;bender;tube;length_mm;mark_mm;dial_deg;angle_deg;who\\r\\n1;s;t;200,5;90;92;90;me"
    >>> more = with_row(table_of(data, LOG, OFFCUTS, []), data, {"offcut": "2", "dial_deg": 45.5}, {})
    >>> more[len(data):]
    b'\\r\\n2;;;;;45,5;;\\r\\n'
    """
    filled = {name: value for name, value in values.items() if value not in (None, "")}
    filled |= {name: text for name, text in extra.items() if text}
    if not data:
        data = _new_log([*HEADER, *(name for name in filled if header_key(name) not in HEADER)])
        table = table_of(data, LOG, OFFCUTS, [])
    form = table.text
    cells = [""] * len(table.header)
    places = {header_key(cell): place for place, cell in reversed(list(enumerate(table.header))) if tidy(cell)}
    added = []
    for name, value in filled.items():
        if header_key(name) not in places:
            added.append(name)
            cells.append(cell_text(value, table.decimal))
        else:
            cells[places[header_key(name)]] = cell_text(value, table.decimal)
    try:
        if added:
            data = _widen(data, table, added)
        gap = "" if form.ends_whole else form.newline
        return data + (gap + row_text(cells, form.delimiter, form.newline)).encode(form.encoding)
    except UnicodeEncodeError as error:
        raise _unwritable(error.object[error.start : error.end]) from None


def save_log(folder: Path, path: Path, data: bytes) -> None:
    """Replace the log (or the side file) and sweep away what a killed save left behind."""
    write_atomically(path, data)
    sweep_leftovers(folder)


def fold_in(folder: Path) -> None:
    """Move the side file's rows into the log; call it with the log locked.

    A row that is already there (the last folding in was cut off) is not written twice. Rows that
    are not sound, or whose name another piece has taken, stay in the side file for a person to see.

    Raises
    ------
    NotSaved : where the log still cannot be replaced; the side file stays
    """
    side_path = folder / SIDE
    if not side_path.exists():
        return
    faults: list[Fault] = []
    path = log_path(folder, faults)
    log, side = read_log(path, LOG, faults), read_table(side_path, SIDE, OFFCUTS, faults)
    if log is None or side is None:
        return
    data = path.read_bytes() if path.exists() else b""
    there = {name_key(record["offcut"]): record for record in log.records([])}
    taken = {name_key(log.cell(cells, "offcut")) for _, cells in log.rows}
    raw = dict(side.rows)
    stay = {row for row, _ in side.rows}
    before = data
    for record in side.records([]):
        key = name_key(record["offcut"])
        if key not in taken:
            cells = raw[record.row]
            strangers = {
                tidy(name): tidy(cells[place])
                for place, name in enumerate(side.header)
                if tidy(name) and header_key(name) not in side.places and place < len(cells)
            }
            data = with_row(table_of(data, LOG, OFFCUTS, []) if data else None, data, record.values, strangers)
            taken.add(key)
            there[key] = record
        elif key not in there or not _same(there[key], record):
            continue
        stay.discard(record.row)
    if data != before:
        save_log(folder, path, data)
    if not stay:
        side_path.unlink(missing_ok=True)
    elif len(stay) < len(side.rows):
        kept = [list(cells) for row, cells in side.text.rows if row in stay or row == side.text.rows[0][0]]
        text = "".join(row_text(cells, side.text.delimiter, side.text.newline) for cells in kept)
        save_log(folder, side_path, side.text.mark + text.encode(side.text.encoding))


def _same(one: Record, other: Record) -> bool:
    return all(one[name] == other[name] for name in HEADER)


def _new_log(header) -> bytes:
    return row_text(list(header), ",", "\n").encode()


def row_text(cells: list[str], delimiter: str, newline: str) -> str:
    """One row as it stands in a file, its line ending included."""
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator=newline).writerow(cells)
    return out.getvalue()


def cell_text(value: object, decimal: str | None) -> str:
    """A cell's text: a number with every figure it has, in the file's own decimal sign.

    >>> cell_text(4.7625, ","), cell_text(90.0, None), cell_text(None, None)
    ('4,7625', '90', '')
    """
    if not isinstance(value, float):
        text = "" if value is None else str(value)
        if "\0" in text or len(text) > 10_000:
            raise _unwritable(text)
        return text
    if value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    text = repr(float(value))
    whole, point, rest = text.partition(".")
    if decimal != "," or not point:
        return text
    # Exactly three figures after a comma could be thousands: one nought more, and they cannot.
    return f"{whole},{rest}0" if len(rest) == 3 else f"{whole},{rest}"


def _widen(data: bytes, table: Table, added: list[str]) -> bytes:
    """Further columns at the end of the header; not a byte below it changes."""
    form = table.text
    text = data[len(form.mark) :].decode(form.encoding)
    lines = list(io.StringIO(text, newline=""))
    # The header is the first row with something in it; it may not run over several lines.
    at = next(i for i, line in enumerate(lines) if line.strip() and not line.lower().startswith(("sep=", '"sep=')))
    if len(next(csv.reader([lines[at]], delimiter=form.delimiter))) != len(table.header):
        remedy = f"Add {', '.join(added)} to the header yourself."
        raise ShopFaults([Fault(LOG, 1, None, "a header over several lines", "It cannot be widened.", remedy)])
    bare = lines[at].rstrip("\r\n")
    lines[at] = bare + form.delimiter + row_text(added, form.delimiter, "") + lines[at][len(bare) :]
    return form.mark + "".join(lines).encode(form.encoding)


def _unwritable(text: str) -> ShopFaults:
    rule = "It cannot be written into a table."
    return ShopFaults([Fault("new offcut", None, None, f"the text {quoted(text)}", rule, "Write it shorter, and in plain letters.")])
