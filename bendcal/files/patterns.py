"""patterns/<line>.csv: what was measured of one line, a row for each measurement.

| what | from | to | filled in besides |
|---|---|---|---|
| `leg` | end or apex | the next one | length_mm |
| `distance` | end, apex or datum point | another | length_mm |
| `angle` | bend | | angle_deg, 0 for straight |
| `twist` | bend | the next one | angle_deg, clockwise seen from A to B positive |
| `point` | end or apex | | x_mm, y_mm, z_mm, one of them at least; z is upwards |
| `direction` | end | | x_mm, y_mm, z_mm: how far the nut moves along each as it goes in |
| `datum` | any name | | x_mm, y_mm, z_mm of a place beside the line; without sd it is exact |

Places are `A`, `B` and the numbers of the apexes from A. `sd` is a standard uncertainty in mm, or in
degrees for an angle, a twist and a direction; without it that of the tool holds, and without a tool
the usual one. What stands under `set_aside` is a reason; the row then does not count.
"""

from __future__ import annotations

import re
from itertools import zip_longest
from pathlib import Path

from bendcal.faults import Caution, Fault, ShopFaults, quoted
from bendcal.files.cells import Column, name_key
from bendcal.files.facts import Named
from bendcal.files.finding import find_file, near_name, shut_folder
from bendcal.files.readings import check_set_aside
from bendcal.files.tables import Record, Table, read_table
from bendcal.lines import Line
from bendcal.measures import NotAMeasure, angle_deg, length_mm
from bendcal.pattern import adjust_pattern
from bendcal.pattern.observations import Angle, Datum, Direction, Distance, Leg, Observation, PatternFault, Point, Twist
from bendcal.pattern.survey import Pattern, pattern_faults
from bendcal.shop import Shop
from bendcal.tools import DEFAULT_ANGLE_TOOL, DEFAULT_LENGTH_TOOL

__all__ = ["PATTERN", "TURNS", "WHATS", "line_of_pattern", "pattern_file", "pattern_of", "read_pattern"]

WHATS = ("leg", "angle", "twist", "point", "distance", "direction", "datum")
PATTERN = (
    Column("what", "choice", required=True, filled=True, choices=WHATS),
    Column("from", required=True, filled=True),
    Column("to"),
    Column("length_mm", "length", above=0),
    Column("angle_deg", "angle"),
    Column("x_mm", "length"),
    Column("y_mm", "length"),
    Column("z_mm", "length"),
    Column("sd"),  # degrees or millimetres, as the row measures: read when that is known
    Column("tool"),
    Column("set_aside"),
    Column("note"),
)

_XYZ = ("x_mm", "y_mm", "z_mm")
#: what → the cells that must be filled, and those that may be.
_FILLED: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "leg": (("to", "length_mm"), ()),
    "distance": (("to", "length_mm"), ()),
    "angle": (("angle_deg",), ()),
    "twist": (("to", "angle_deg"), ()),
    "point": ((), _XYZ),
    "direction": (_XYZ, ()),
    "datum": (_XYZ, ()),
}
#: What is told in degrees.
TURNS = ("angle", "twist", "direction")
#: Standard uncertainty of a twist or of the way a nut goes in, by eye, where nothing else is said [deg].
_BY_EYE_DEG = 2.0
_PLACE = re.compile(r"(?:end |apex |bend )?(a|b|[0-9]+)", re.IGNORECASE)


def read_pattern(shop: Shop, line: str, *, cautions: list[Caution] | None = None) -> Pattern:
    """The pattern of a line, from ``patterns/<line>.csv`` in the shop's folder.

    Parameters
    ----------
    shop : the shop, for its folder and tools
    line : the line's name
    cautions : what is not refused but looks wrong is added to this list

    Raises
    ------
    ShopFaults : with every fault of the file, or that there is none

    Examples
    --------
    >>> read_pattern(Shop(folder=Path("no such folder")), "rear")
    Traceback (most recent call last):
    ...
    bendcal.faults.ShopFaults: 1 fault must be put right first:
      1. patterns/rear.csv: found no such file. What was measured of the line rear stands in a file \
of its own. Make the file.
    """
    tools = Named("tool", "tools.csv", dict(shop.tools), {name_key(name): name for name in shop.tools})
    faults: list[Fault] = []
    pattern = pattern_file(Path(shop.folder or "."), line, tools, faults, [] if cautions is None else cautions)
    if pattern is None or faults:
        raise ShopFaults(faults)
    return pattern


def pattern_file(folder: Path, line: str, tools: Named, faults: list[Fault], cautions: list[Caution]) -> Pattern | None:
    """As `read_pattern`, with the faults and cautions added to lists; None where a fault stands in the way.

    Parameters
    ----------
    folder : the shop folder
    line : the line's name
    tools : what tools.csv names
    faults, cautions : what is found is added to these lists
    """
    if shut := shut_folder(folder / "patterns", "patterns/"):
        faults.append(shut)
        return None
    file = f"patterns/{line}.csv"
    path = find_file(folder / "patterns", f"{line}.csv", faults, shown=file)
    if path is None:
        near = near_name(folder / "patterns", f"{line}.csv")
        remedy = f"Perhaps patterns/{near} is meant: save it as {line}.csv." if near else "Make the file."
        rule = f"What was measured of the line {line} stands in a file of its own."
        faults.append(Fault(file, None, None, "no such file", rule, remedy))
        return None
    table = read_table(path, file, PATTERN, faults)
    if table is None:
        return None
    cautions.extend(table.cautions)
    return pattern_of(table, tools, faults, cautions)


def line_of_pattern(
    folder: Path, line: str, told: dict[str, str], tools: Named, faults: list[Fault], cautions: list[Caution]
) -> Line | None:
    """A line whose shape is its pattern's; a shape that is not settled is a fault, a suspect a caution.

    Parameters
    ----------
    folder : the shop folder
    line : the line's name
    told : tube, bender, service, end_a, end_b, trim_at and note of the line
    tools : what tools.csv names
    faults, cautions : what is found is added to these lists
    """
    pattern = pattern_file(folder, line, tools, faults, cautions)
    if pattern is None:
        return None
    file = f"patterns/{line}.csv"
    try:
        adjusted = adjust_pattern(pattern)
        if adjusted.settled:
            rows = [suspect.observation.row for suspect in adjusted.found]
            for sentence, row in zip_longest(adjusted.suspects, rows):
                cautions.append(Caution(file, row, None, "", sentence, ""))
            return adjusted.line(line, **told)
        faults.extend(Fault(file, None, None, "", sentence, "") for sentence in adjusted.missing)
    except ValueError as error:
        faults.append(Fault(file, None, None, "", str(error).removeprefix(f"line {line}: "), ""))
    return None


def pattern_of(table: Table, tools: Named, faults: list[Fault], cautions: list[Caution]) -> Pattern | None:
    """The pattern that a table holds; None where one of its rows is not sound.

    Parameters
    ----------
    table : the file
    tools : what tools.csv names
    faults, cautions : what is found is added to these lists

    Examples
    --------
    >>> from bendcal.files.tables import table_of
    >>> data = b"what;from;to;length_mm;angle_deg\\nleg;A;1;3/16 in;\\nangle;1;;;92,5\\nleg;1;B;80;\\n"
    >>> pattern = pattern_of(table_of(data, "p", PATTERN, []), Named("tool", "tools.csv", names={}), [], [])
    >>> pattern.observations[0].mm, pattern.observations[1].deg, pattern.bends
    (4.7625, 92.5, 1)
    """
    before, file = len(faults), table.text.file
    records = table.records(faults)
    names = {name_key(record["from"]): record["from"] for record in records if record["what"] == "datum"}
    seen = [one for record in records if (one := _row(record, table, names, tools, faults, cautions)) is not None]
    if len(faults) == before:
        faults.extend(_placed(fault, file) for fault in pattern_faults(seen))
    if len(faults) == before and not any(one.counts and not isinstance(one, Datum) for one in seen):
        faults.append(Fault(file, None, None, "no measurement that counts", "A pattern needs some.", "Add rows."))
    return Pattern(tuple(seen)) if len(faults) == before else None


def _placed(fault: PatternFault, file: str) -> Fault:
    row = fault.observation.row if fault.observation is not None else None
    return Fault(file, row, fault.column or None, "", str(fault), "")


def _row(
    record: Record, table: Table, datums: dict[str, str], tools: Named, faults: list[Fault], cautions: list[Caution]
) -> Observation | None:
    """One measurement from its row, or None where something is wrong with it."""
    before, file, what = len(faults), table.text.file, record["what"]
    _cells(record, file, faults)
    check_set_aside(record["set_aside"], {"file": file, "row": record.row}, faults, cautions)
    sd = _sd(record, table, tools, faults, cautions)
    if len(faults) > before:
        return None
    start, stop = (_place(record[column], datums) for column in ("from", "to"))
    more = {name: record[name] for name in ("tool", "note", "set_aside")} | {"row": record.row}
    xyz = [record[axis] for axis in _XYZ]
    try:
        match what:
            case "leg" | "distance":
                return (Leg if what == "leg" else Distance)(start, stop, record["length_mm"], sd, **more)
            case "angle":
                return Angle(start, record["angle_deg"], sd, **more)
            case "twist":
                return Twist(start, stop, record["angle_deg"], sd, **more)
            case "direction":
                return Direction(start, *xyz, sd, **more)
        return (Datum if what == "datum" else Point)(start, *xyz, sd, **more)
    except ValueError as error:
        column = {"leg": "to", "distance": "to", "angle": "angle_deg", "twist": "angle_deg"}.get(what, "from")
        faults.append(Fault(file, record.row, column, "", str(error), ""))
        return None


def _cells(record: Record, file: str, faults: list[Fault]) -> None:
    """Every cell that this kind of measurement needs is filled, and no other."""
    what = record["what"]
    needed, allowed = _FILLED[what]
    article = "An" if what == "angle" else "A"
    for column in ("to", "length_mm", "angle_deg", *_XYZ):
        blank = record[column] in (None, "")
        if blank and column in needed:
            rule = f"{article} {what} has {' and '.join(needed)}."
            faults.append(Fault(file, record.row, column, "an empty cell", rule, f"Fill in {column}."))
        elif not blank and column not in needed + allowed:
            wanted = " and ".join(needed) or ", ".join(allowed)
            rule = f"{article} {what} is told by {wanted}; {column} is left blank."
            faults.append(Fault(file, record.row, column, quoted(record[column]), rule, "Move the value, or correct what."))
    if allowed and all(record[column] is None for column in allowed):
        rule = f"{article} {what} needs one of {', '.join(allowed)} at least."
        faults.append(Fault(file, record.row, None, "a row without a value", rule, "Fill in what was measured."))


def _sd(record: Record, table: Table, tools: Named, faults: list[Fault], cautions: list[Caution]) -> float:
    """The row's own sd, or its tool's, or the usual one."""
    what, file = record["what"], table.text.file
    turn = what in TURNS
    usual = 0.0 if what == "datum" else DEFAULT_ANGLE_TOOL.u if turn else DEFAULT_LENGTH_TOOL.u
    if what in ("twist", "direction"):
        usual = _BY_EYE_DEG
    u = _tool_u(record, "angle" if turn else "length", usual, file, tools, faults, cautions)
    if not record["sd"]:
        return u
    try:
        sd = (angle_deg if turn else length_mm)(record["sd"], decimal=table.decimal)
        if sd < 0 or (sd == 0 and what != "datum"):
            raise NotAMeasure(record["sd"], "is not more than 0", "Write the standard uncertainty, or leave the cell blank.")
        return sd
    except NotAMeasure as error:
        faults.append(Fault(file, record.row, "sd", quoted(error.text), f"It {error.why}", error.remedy))
        return u


def _tool_u(
    record: Record, measures: str, usual: float, file: str, tools: Named, faults: list[Fault], cautions: list[Caution]
) -> float:
    if not record["tool"] or tools.names is None:
        return usual
    if not tools.names:
        rule = "There is no tools.csv, so the usual uncertainty is taken for it."
        if not any(caution.file == file and caution.column == "tool" for caution in cautions):
            cautions.append(Caution(file, record.row, "tool", f"the tool {quoted(record['tool'])}", rule, "Describe it in tools.csv."))
        return usual
    name = tools.resolve(record["tool"], file=file, row=record.row, column="tool", faults=faults)
    tool = tools.records.get(name)
    if tool is None:
        return usual
    if tool.measures != measures:
        rule = f"This tool measures {tool.measures} (tools.csv); here one for {measures} is needed."
        faults.append(Fault(file, record.row, "tool", quoted(record["tool"]), rule, "Name another tool, or leave the cell blank."))
    return tool.u


def _place(text: str, datums: dict[str, str]) -> str:
    """A place as the pattern calls it: ``end A``, ``a`` and ``A`` are one, as are ``apex 3`` and ``3``."""
    if name_key(text) in datums:
        return datums[name_key(text)]
    told = _PLACE.fullmatch(" ".join(text.split()))
    if not told:
        return text
    return told[1].upper() if told[1].isalpha() else str(int(told[1]))
