"""Setting an offcut aside in the log, or counting it again: one cell of one row, and a line of history.

Readings are never altered. The reason under ``set_aside`` is the one cell that may change; what
stood there before is kept in offcuts.history.csv, so that nothing happens without a trace.
"""

from __future__ import annotations

import os
import warnings
from pathlib import Path

from bendcal.atomic import NotSaved
from bendcal.entries.appending import append_offcut
from bendcal.entries.history import history_file, note_change
from bendcal.entries.one_cell import check_one_cell, with_cell
from bendcal.faults import Fault, ShopFaults, quoted
from bendcal.files import (
    LOG,
    SIDE,
    Facts,
    KeptAside,
    Record,
    Table,
    fold_in,
    locked,
    log_path,
    name_key,
    offcut_of,
    read_facts,
    read_log,
    save_log,
    shop_folder,
    tidy,
)
from bendcal.offcuts import Offcut

__all__ = ["HISTORY", "correct_offcut", "set_aside"]

HISTORY = history_file(LOG)
_COLUMN = "set_aside"


def set_aside(folder: str | os.PathLike[str], offcut: str, reason: str) -> None:
    """Write the reason why a piece does not count; a blank one lets it count again.

    Only that one cell of offcuts.csv changes, every other byte stays, and a line in
    offcuts.history.csv says when and from what to what. It is on the disk before this returns.

    Parameters
    ----------
    folder : the shop folder
    offcut : the piece's name
    reason : what is wrong with it, or blank

    Raises
    ------
    ShopFaults : where there is no such piece, the reason is none, or the piece cannot count
    NotSaved : an OSError whose sentence says why nothing could be written

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as shop:
    ...     _ = (Path(shop) / "benders.csv").write_text("bender,die_radius_mm\\nsmall,15\\n")
    ...     _ = (Path(shop) / "tubes.csv").write_text("tube,alloy,od_mm,wall_mm\\nthin,copper,6,1\\n")
    ...     _ = append_offcut(shop, bender="small", tube="thin", length_mm=200, mark_mm=90, dial_deg=92, angle_deg=90)
    ...     set_aside(shop, "1", "kinked")
    ...     print((Path(shop) / "offcuts.csv").read_text().splitlines()[1])
    1,small,thin,200,90,92,90,,,centre,,,,,,kinked,
    """
    path = shop_folder(folder)
    reason = tidy(" ".join(str(reason).split()))
    facts = read_facts(path, [], [])
    with locked(path):
        fold_in(path)
        faults: list[Fault] = []
        file = log_path(path, faults)
        log = read_log(file, LOG, faults)
        if log is None or faults:
            raise ShopFaults(faults)
        row, cells = _row_of(path, log, offcut)
        before = log.cell(cells, _COLUMN)
        if before == reason:
            return
        data = file.read_bytes()
        new = with_cell(data, log, row, _COLUMN, reason)
        _check(new, log, row, reason, facts)
        _note(path, log.cell(cells, "offcut"), before, reason)
        try:
            save_log(path, file, new)
        except NotSaved:
            _note(path, log.cell(cells, "offcut"), reason, before, what="not saved; it is as it was")
            raise


def correct_offcut(folder: str | os.PathLike[str], wrong: str, /, **columns: object) -> Offcut:
    """Append a piece's readings as they should have been, and set the old row aside.

    The old values stay in the log, in their own row. Should the program be killed between the two
    steps, both rows count until one of them is set aside; no reading is lost.

    Parameters
    ----------
    folder : the shop folder
    wrong : the piece whose row is wrong
    columns : as for :func:`bendcal.append_offcut`

    Returns
    -------
    Offcut, the new one

    Raises
    ------
    ShopFaults, NotSaved : as :func:`bendcal.append_offcut` and :func:`set_aside`
    Warns KeptAside where the new row went into the side file; the old one then counts until
    offcuts.csv is closed elsewhere and the old row is set aside
    """
    path = shop_folder(folder)
    log = read_log(log_path(path, []), LOG, [])
    if log is not None:
        _row_of(path, log, wrong)
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        piece = append_offcut(path, **columns)
    aside = [str(warning.message) for warning in told if issubclass(warning.category, KeptAside)]
    if aside:
        warnings.warn(f"{aside[0]} Offcut {wrong} counts until you set it aside.", KeptAside, stacklevel=2)
        return piece
    set_aside(path, wrong, f"corrected: see {piece.offcut}")
    return piece


def _row_of(folder: Path, log: Table, offcut: str) -> tuple[int, tuple[str, ...]]:
    """The piece's row in the log, or a sentence that says where it is."""
    key = name_key(tidy(str(offcut)))
    for row, cells in log.rows:
        if name_key(log.cell(cells, "offcut")) == key:
            return row, cells
    rule, remedy = f"{LOG} has no offcut of that name.", "Look at the spelling of its name."
    if (folder / SIDE).exists():
        remedy = f"It may wait in {SIDE}: close {LOG} wherever it is open, then try again."
    raise ShopFaults([Fault(LOG, None, "offcut", quoted(offcut), rule, remedy)])


def _check(data: bytes, old: Table, row: int, reason: str, facts: Facts) -> None:
    """Read the new bytes: every other cell reads as before, and the row is one that may stand so."""
    new = check_one_cell(data, old, row, _COLUMN, reason)
    record = next((record for record in new.records([]) if record.row == row), None)
    if record is None and not reason:
        raise ShopFaults([Fault(LOG, row, None, "a row with a fault in it", "It cannot count.", "Enter the piece again.")])
    if record is not None:
        faults: list[Fault] = []
        offcut_of(Record(row, record.values), LOG, facts, faults, [])
        if reason:
            faults = [fault for fault in faults if fault.column == _COLUMN]
        if faults:
            raise ShopFaults(faults)


def _note(folder: Path, offcut: str, before: str, after: str, what: str = "") -> None:
    """One line of history, on the disk before the log itself changes."""
    what = what or ("counts again" if not after else "reason changed" if before else "set aside")
    note_change(folder, LOG, "offcut", offcut, what, before, after)
