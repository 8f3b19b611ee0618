"""A shop folder, read as a whole: every fault of every file in one report, or a Shop."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from bendcal.atomic import NotSaved
from bendcal.faults import Caution, Fault, ShopFaults, quoted
from bendcal.files.bodies import read_bodies, read_obstacles
from bendcal.files.cells import name_key
from bendcal.files.facts import Facts, by_name, read_facts
from bendcal.files.finding import near_caution
from bendcal.files.flares import read_flares
from bendcal.files.lines import read_lines
from bendcal.files.log import LOG, SIDE, fold_in, locked, log_path, read_log
from bendcal.files.readings import offcuts_of
from bendcal.files.sample import invented_caution, is_sample
from bendcal.files.stock import read_stock
from bendcal.offcuts import Offcut
from bendcal.shop import Shop

__all__ = ["read_shop", "shop_folder"]


def read_shop(folder: str | os.PathLike[str], *, whole: bool = True) -> Shop:
    """Read and check everything that a shop folder says.

    benders.csv and tubes.csv are needed; offcuts.csv, tools.csv, ends.csv, flares.csv, stock.csv, bender_bodies.csv,
    obstacles.csv and lines.csv with the files in lines/ are read where they exist. Nothing is altered, rounded or left out: a row that
    cannot be right stops the reading, and one that is hard to believe becomes a caution.

    Parameters
    ----------
    folder : the shop folder
    whole : whether every file must be sound. If not, what no law is learnt from (lines, ends, flares, stock, bodies,
        obstacles) may have faults: that part is left out, a caution says so, and a job that needs it raises its faults

    Returns
    -------
    Shop, with the cautions in ``.cautions``

    Raises
    ------
    ShopFaults : with every fault of every file, each with its file, row, column, rule and remedy

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = (Path(folder) / "benders.csv").write_text("bender,die_radius_mm\\nsmall,15\\n")
    ...     _ = (Path(folder) / "tubes.csv").write_text(
    ...         "tube,alloy,od_mm,wall_mm\\nbrake,low-carbon steel,3/16 in,0.71\\n")
    ...     read_shop(folder).tubes["brake"].od_mm
    4.7625
    """
    path = shop_folder(folder)
    faults: list[Fault] = []
    cautions: list[Caution] = []
    facts = read_facts(path, faults, cautions)
    unread = {"ends.csv": [fault for fault in faults if fault.file == "ends.csv"]}
    offcuts = _offcuts(path, facts, faults, cautions)

    def part(file: str, read: Callable[..., Any]) -> Any:
        before = len(faults)
        found = read(path, facts, faults, cautions)
        unread[file] = faults[before:]
        return found

    flares = part("flares.csv", read_flares)
    stock = part("stock.csv", read_stock)
    aside: dict[str, str] = {}
    lines, unread_lines = read_lines(path, facts, faults, cautions, aside)
    bodies = part("bender_bodies.csv", read_bodies)
    obstacles = part("obstacles.csv", lambda path, _, faults, cautions: read_obstacles(path, [*lines, *aside], faults, cautions))
    left_out = {name: tuple(mine) for name, mine in (unread | unread_lines).items() if mine}
    if faults and (whole or sum(map(len, left_out.values())) < len(faults)):
        files = list(dict.fromkeys(fault.file for fault in faults))
        raise ShopFaults(sorted(dict.fromkeys(faults), key=lambda fault: (files.index(fault.file), fault.row or 0)))
    cautions += [_left_out(name, mine) for name, mine in left_out.items()]
    return Shop(
        folder=path, benders=facts.benders.records, tubes=facts.tubes.records, offcuts=tuple(offcuts),
        tools=facts.tools.records, ends=facts.ends.records, lines=lines, flares=flares,
        cautions=tuple(cautions), bodies=bodies, obstacles=obstacles, stock=stock, lines_aside=aside, unread=left_out,
    )  # fmt: skip


def _left_out(part: str, faults: Sequence[Fault]) -> Caution:
    """That a part of the shop is left out, with the first of its faults and what to do about it."""
    first = faults[0]
    line = part.removeprefix("lines/").removesuffix(".csv")
    what = f"The line {line}" if "/" in part else {"lines.csv": "Every line"}.get(part, part)
    more = f" (the first of {len(faults)} faults)" if len(faults) > 1 else ""
    broken = first.rule.rstrip(".") + "." if first.rule else ""
    rule = f"{broken} {what} is left out until this is put right{more}; a job that needs it stops.".strip()
    return Caution(first.file, first.row, first.column, first.found, rule, first.remedy)


def shop_folder(folder: str | os.PathLike[str]) -> Path:
    """The folder's path, if there is a folder that can be looked into.

    Raises
    ------
    ShopFaults : where there is none

    Examples
    --------
    >>> shop_folder("no such folder")
    Traceback (most recent call last):
    ...
    bendcal.faults.ShopFaults: 1 fault must be put right first:
      1. no such folder: found no folder of this name. A shop is a folder with benders.csv and \
tubes.csv in it. Look at the spelling of its path.
    """
    path = Path(folder).expanduser()
    rule = "A shop is a folder with benders.csv and tubes.csv in it."
    try:
        if path.is_dir():
            os.listdir(path)
            (path / "benders.csv").exists()  # a folder may show its names and yet not let its files be opened
            return path
        found, remedy = "no folder of this name", "Look at the spelling of its path."
        if path.exists():
            found, remedy = "a file", "Give the folder that the file is in."
    except PermissionError:
        found, remedy = "a folder that may not be read", "Allow reading it, or copy it to a place of your own."
    except (OSError, ValueError) as error:
        found, remedy = f"a path that cannot be used ({error})", "Look at the spelling of the path."
    raise ShopFaults([Fault(str(path), None, None, found, rule, remedy)])


def _offcuts(folder: Path, facts: Facts, faults: list[Fault], cautions: list[Caution]) -> list[Offcut]:
    """The log's offcuts, and those that still wait in the side file."""
    if (folder / SIDE).exists():
        with contextlib.suppress(NotSaved, ShopFaults), locked(folder, wait_s=2.0):
            fold_in(folder)
    path = log_path(folder, faults)
    if not path.exists():
        cautions.extend(near_caution(folder, LOG))
    log = read_log(path, LOG, faults)
    if log is None:
        return []
    cautions.extend(log.cautions)
    names = by_name(log, "offcut", faults)
    offcuts = offcuts_of(log, facts, faults, cautions)
    if not is_sample(folder):  # which says itself what it is
        cautions += invented_caution(log, offcuts)
    if (folder / SIDE).exists():
        offcuts += _waiting(folder, facts, names, offcuts, faults, cautions)
    return offcuts


def _waiting(
    folder: Path, facts: Facts, names: dict[str, str], offcuts: list[Offcut], faults: list[Fault], cautions: list[Caution]
) -> list[Offcut]:  # fmt: skip
    """Offcuts of the side file: they count like any other, and a caution says where they are."""
    side = read_log(folder / SIDE, SIDE, faults)
    if side is None:
        return []
    by_name(side, "offcut", faults)
    waiting = []
    known = {name_key(offcut.offcut): offcut for offcut in offcuts}
    for offcut in offcuts_of(side, facts, faults, cautions):
        key = name_key(offcut.offcut)
        if key not in names:
            waiting.append(offcut)
        elif key in known and not _same_reading(known[key], offcut):
            rule = f"{LOG} has another offcut of that name, with other readings."
            remedy = f"Give one of them another name, or delete the row in {SIDE}."
            faults.append(Fault(SIDE, offcut.row, "offcut", quoted(offcut.offcut), rule, remedy))
    if waiting:
        rule = f"They count, but {LOG} could not be replaced."
        remedy = f"Close {LOG} wherever it is open; the next reading of this folder moves them."
        cautions.append(Caution(SIDE, None, None, f"{len(waiting)} offcuts kept aside", rule, remedy))
    return waiting


def _same_reading(one: Offcut, other: Offcut) -> bool:
    return {**vars(one), "row": None} == {**vars(other), "row": None}
