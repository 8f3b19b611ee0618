"""The rows of bender_bodies.csv and obstacles.csv: what stands in a tube's way, at the bender and where it is fitted."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from bendcal.bodies import BenderBody, Obstacle
from bendcal.faults import Caution, Fault, quoted
from bendcal.files.cells import name_key
from bendcal.files.columns import BENDER_BODIES, OBSTACLES
from bendcal.files.facts import Facts, Named
from bendcal.files.finding import table_there
from bendcal.files.tables import Record
from bendcal.solids import Solid

__all__ = ["read_bodies", "read_obstacles"]

_BODIES, _OBSTACLES = "bender_bodies.csv", "obstacles.csv"
_SIZES = ("width_mm", "height_mm", "diameter_mm", "turn_deg")
_LINE_FILES = ("lines.csv", "lines/", "patterns/")


def read_bodies(folder: Path, facts: Facts, faults: list[Fault], cautions: list[Caution]) -> tuple[BenderBody, ...]:
    """The measured bodies of the shop's benders; none where there is no bender_bodies.csv.

    A body may take several rows of the same name: a bent handle is two capsules.

    Parameters
    ----------
    folder : the shop folder
    facts : the benders that its rows name
    faults, cautions : what is found is added to these lists

    Examples
    --------
    >>> none = Named("bender", "benders.csv")
    >>> read_bodies(Path("no such folder"), Facts(none, none, none, none), [], [])
    ()
    """
    found = []
    table = table_there(folder, _BODIES, BENDER_BODIES, faults, cautions)
    for record in table.records(faults) if table else ():
        bender = facts.benders.resolve(record["bender"], file=_BODIES, row=record.row, column="bender", faults=faults)
        solid = _solid(record, _BODIES, faults)
        if bender is not None and solid is not None:
            found.append(BenderBody(bender, record["body"], solid, record["moves"] or "die", record["grip_mm"], record["note"]))
    return tuple(found)


def read_obstacles(folder: Path, lines: Collection[str], faults: list[Fault], cautions: list[Caution]) -> tuple[Obstacle, ...]:
    """What the shop's lines must keep away from; none where there is no obstacles.csv.

    Parameters
    ----------
    folder : the shop folder
    lines : the names of the lines, those set aside included; a name is not looked for where there are none, or where their own files have faults
    faults, cautions : what is found is added to these lists

    Examples
    --------
    >>> read_obstacles(Path("no such folder"), [], [], [])
    ()
    """
    # A shop whose lines are still to be written may know its obstacles already.
    judged = bool(lines) and not any(fault.file.startswith(_LINE_FILES) for fault in faults)
    names = None if not judged else {name_key(name): name for name in lines}
    known = Named("line", "lines.csv", names=names)
    found = []
    table = table_there(folder, _OBSTACLES, OBSTACLES, faults, cautions)
    for record in table.records(faults) if table else ():
        line = record["line"]
        if line:
            line = known.resolve(line, file=_OBSTACLES, row=record.row, column="line", faults=faults)
        solid = _solid(record, _OBSTACLES, faults)
        if line is not None and solid is not None:
            found.append(Obstacle(record["obstacle"], solid, record["keep_mm"] or 0.0, record["why"], line, record["note"]))
    return tuple(found)


def _solid(record: Record, file: str, faults: list[Fault]) -> Solid | None:
    """The row's body; what it lacks or has too much of is a fault."""
    to = [record[f"to_{axis}_mm"] for axis in "xyz"]
    blank = [f"to_{axis}_mm" for axis, value in zip("xyz", to, strict=True) if value is None]
    if 0 < len(blank) < 3:
        rule = "A point needs all three of to_x_mm, to_y_mm and to_z_mm."
        faults.append(Fault(file, record.row, blank[0], "an empty cell", rule, f"Fill in {' and '.join(blank)}, or empty all three."))
        return None
    sizes = {name: record[name] for name in _SIZES if record[name] is not None}
    try:
        return Solid(record["shape"], [record[f"{axis}_mm"] for axis in "xyz"], None if blank else to, **sizes)
    except ValueError as error:
        text = str(error)
        column = next((name for name in _SIZES if name in text), "to_x_mm" if "point" in text else "shape")
        value = record[column]
        shown = "an empty cell" if value is None else quoted(f"{value:g}" if isinstance(value, float) else value)
        faults.append(Fault(file, record.row, column, shown, text[0].upper() + text[1:], "Correct the row."))
        return None
