"""Finding the files of a shop folder: in any case, under a name that was perhaps meant, behind a folder that is shut."""

from __future__ import annotations

import os
from collections.abc import Sequence
from difflib import get_close_matches
from pathlib import Path

from bendcal.faults import Caution, Fault
from bendcal.files.cells import Column, name_key
from bendcal.files.tables import Table, read_table

__all__ = ["find_file", "listed", "near_caution", "near_name", "save_it_as", "shut_folder", "table_there"]

_WORKBOOKS = (".xlsx", ".xls", ".xlsm", ".ods", ".numbers")  # what spreadsheets write if they are not asked for CSV


def find_file(folder: Path, name: str, faults: list[Fault], *, shown: str | None = None) -> Path | None:
    """The file of that name in any case, or None; two that differ in case only are a fault.

    Parameters
    ----------
    folder : where to look
    name : the file's name
    faults : a fault is added to this list
    shown : the name for remarks, if another

    Examples
    --------
    >>> find_file(Path("no such folder"), "tubes.csv", []) is None
    True
    """
    alike = [entry for entry in listed(folder) if name_key(entry) == name_key(name)]
    if name in alike or len(alike) == 1:
        if len(alike) > 1:
            found = f"{' and '.join(sorted(alike))}, which differ in capitals only"
            faults.append(Fault(shown or name, None, None, found, "", "Remove or rename one of them."))
        return folder / (name if name in alike else alike[0])
    return folder / sorted(alike)[0] if alike else None


def shut_folder(folder: Path, shown: str) -> Fault | None:
    """Why the files in a folder cannot be found although it is there; None where it can be read, or is not there.

    Parameters
    ----------
    folder : a folder in the shop
    shown : its name for the fault

    Examples
    --------
    >>> shut_folder(Path("no such folder"), "lines/") is None
    True
    """
    rule = "The files in it cannot be found."
    try:
        os.listdir(folder)
    except FileNotFoundError:
        return None
    except NotADirectoryError:
        return Fault(shown, None, None, "a file", "A folder is needed here.", "Rename the file, and make a folder of this name.")
    except PermissionError:
        remedy = "Allow reading it (its properties, or its owner, can), or copy the whole shop to a place of your own."
        return Fault(shown, None, None, "a folder that may not be read", rule, remedy)
    except OSError as error:
        return Fault(shown, None, None, f"a folder that cannot be read ({error.strerror or error})", rule, "Copy the shop to this disk and try again.")
    return None


def listed(folder: Path) -> list[str]:
    """The names in a folder; none if it cannot be listed."""
    try:
        return os.listdir(folder)
    except OSError:
        return []


def near_name(folder: Path, name: str) -> str | None:
    """A file that was perhaps meant to have this name: ``tube.csv``, ``tubes.csv.txt``, ``tubes.xlsx``."""
    name = name.casefold()
    stem = name.removesuffix(".csv")
    own = (name, f"{stem}.pending.csv", f"{stem}.history.csv", f"{stem}.json")  # the kit's own names are no misspellings
    others = {entry.casefold(): entry for entry in listed(folder) if not entry.startswith(".")}
    for folded, entry in others.items():
        if folded.startswith(f"{stem}.") and folded not in own:
            return entry
    tables = [folded for folded in others if folded.endswith(".csv") and folded not in own]
    near = get_close_matches(name, tables, n=1, cutoff=0.87)
    return others[near[0]] if near else None


def near_caution(folder: Path, file: str) -> list[Caution]:
    """A caution for a file that was perhaps meant to be one that is not there; none where there is no such file.

    Parameters
    ----------
    folder : where to look
    file : what is not there

    Examples
    --------
    >>> near_caution(Path("no such folder"), "stock.csv")
    []
    """
    near = near_name(folder, file)
    if near is None:
        return []
    rule = f"It is not read; {file} would be."
    return [Caution(near, None, None, f"a file named {near}", rule, f"If it is meant, {save_it_as(near, file)}.")]


def save_it_as(near: str, file: str) -> str:
    """What to do with a file that has the wrong name or is of the wrong kind.

    >>> save_it_as("tubes.xlsx", "tubes.csv")
    'open it in the spreadsheet and save it as tubes.csv, of the file type “CSV UTF-8”'
    """
    if Path(near).suffix.casefold() in _WORKBOOKS:
        return f"open it in the spreadsheet and save it as {file}, of the file type “CSV UTF-8”"
    return f"save it as {file}"


def table_there(folder: Path, file: str, columns: Sequence[Column], faults: list[Fault], cautions: list[Caution]) -> Table | None:
    """A table that a shop may have or not, where it has it; a file whose name comes near is a caution.

    Parameters
    ----------
    folder : the shop folder
    file : the table's name
    columns : those that it knows
    faults, cautions : what is found is added to these lists

    Examples
    --------
    >>> table_there(Path("no such folder"), "stock.csv", (), [], []) is None
    True
    """
    path = find_file(folder, file, faults)
    if path is None:
        cautions.extend(near_caution(folder, file))
        return None
    table = read_table(path, file, columns, faults)
    if table is not None:
        cautions.extend(table.cautions)
    return table
