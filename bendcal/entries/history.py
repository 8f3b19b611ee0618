"""What was changed when: a line for each change of a table, in a file beside it that only grows."""

from __future__ import annotations

import csv
import datetime
import io
from pathlib import Path

from bendcal.atomic import write_atomically

__all__ = ["history_file", "note_change"]


def history_file(file: str) -> str:
    """The name of the history of a table.

    >>> history_file("offcuts.csv")
    'offcuts.history.csv'

    The patterns of all lines share one, for what stands in `patterns` is a pattern.

    >>> history_file("patterns/rear.csv")
    'patterns.history.csv'
    """
    if file.startswith("patterns/"):
        return "patterns.history.csv"
    return f"{file.removesuffix('.csv')}.history.csv"


def note_change(folder: Path, file: str, noun: str, name: str, what: str, before: str, after: str) -> None:
    """Append a line to a table's history; it is on the disk before this returns, and before the table itself changes.

    Parameters
    ----------
    folder : the shop folder
    file : the table's file, such as ``lines.csv``
    noun : what one row of it is, such as ``line``
    name : which one was changed
    what : what was done
    before, after : what stood there, and what stands there now

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as shop:
    ...     note_change(Path(shop), "lines.csv", "line", "rear", "leg 2", "80", "82.5")
    ...     print((Path(shop) / "lines.history.csv").read_text().splitlines()[0])
    when,line,what,before,after
    """
    path = folder / history_file(file)
    old = path.read_bytes() if path.exists() else b""
    line = io.StringIO()
    rows = csv.writer(line, lineterminator="\n")
    if not old:
        rows.writerow(["when", noun, "what", "before", "after"])
    elif not old.endswith(b"\n"):
        old += b"\n"
    rows.writerow([datetime.datetime.now().isoformat(timespec="seconds"), name, what, before, after])
    write_atomically(path, old + line.getvalue().encode())
