"""The facts of a shop folder: its benders, tubes, tools and ends, each by its name."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path

from bendcal.benders import Bender
from bendcal.ends import PLAIN, End
from bendcal.faults import Caution, Fault, quoted
from bendcal.files.cells import Column, name_key
from bendcal.files.columns import BENDERS, ENDS, TOOLS, TUBES
from bendcal.files.finding import find_file, near_caution, near_name, save_it_as
from bendcal.files.tables import Record, Table, read_table
from bendcal.materials import NUMBERS, alloy_for
from bendcal.measures import NotAMeasure, angle_deg, length_mm
from bendcal.tools import Tool
from bendcal.tubes import Tube

__all__ = ["Facts", "Named", "by_name", "read_facts"]

#: Sizes below which a figure cannot be millimetres and was likely meant in inches. The kit's own choice: tube for lines
#: begins near 3 mm, and no hand bender's die is as tight as that.
LEAST_TUBE_MM = 1.0
LEAST_DIE_MM = 3.0


@dataclass
class Named:
    """What one file names.

    Parameters
    ----------
    noun : what one of them is called in a sentence, such as ``bender``
    file : the file that lists them
    records : name -> record, sound rows only
    names : compared name -> name as written, rows with faults included, so that one wrong cell
        is told once and not again wherever its row is named; None where the file is not readable
    """

    noun: str
    file: str
    records: dict[str, object] = field(default_factory=dict)
    names: dict[str, str] | None = None

    def resolve(self, name: str, *, file: str, row: int, column: str, faults: list[Fault]) -> str | None:
        """The name as its own file writes it; a name that is not there is a fault, and None."""
        if self.names is None:
            return name
        if name_key(name) in self.names:
            return self.names[name_key(name)]
        near = get_close_matches(name_key(name), self.names, n=1)
        there = ", ".join(list(self.names.values())[:10]) or "none"
        remedy = f"Write {self.names[near[0]]}, if that is meant." if near else f"Correct the name, or add it to {self.file}."
        rule = f"There is no {self.noun} of that name in {self.file}; it has {there}."
        faults.append(Fault(file, row, column, quoted(name), rule, remedy))
        return None


@dataclass
class Facts:
    """The benders, tubes, tools and ends of one folder."""

    benders: Named
    tubes: Named
    tools: Named
    ends: Named


def read_facts(folder: Path, faults: list[Fault], cautions: list[Caution]) -> Facts:
    """Read benders.csv and tubes.csv, and tools.csv and ends.csv where they exist.

    Parameters
    ----------
    folder : the shop folder, which exists
    faults, cautions : what is found is added to these lists

    Examples
    --------
    >>> faults = []
    >>> _ = read_facts(Path("no such folder"), faults, [])
    >>> [fault.file for fault in faults]
    ['benders.csv', 'tubes.csv']
    """
    facts = Facts(
        _read(folder, "bender", BENDERS, _bender, faults, cautions, required=True),
        _read(folder, "tube", TUBES, _tube, faults, cautions, required=True),
        _read(folder, "tool", TOOLS, _tool, faults, cautions),
        _read(folder, "end", ENDS, _end, faults, cautions),
    )
    ends = facts.ends
    if ends.names is not None and name_key(PLAIN.end) not in ends.names:
        ends.names[name_key(PLAIN.end)] = PLAIN.end  # a plain end needs no file
        ends.records[PLAIN.end] = PLAIN
    return facts


def by_name(table: Table, column: str, faults: list[Fault]) -> dict[str, str]:
    """Compared name -> name as written, of every row; a name that comes twice is a fault."""
    names: dict[str, str] = {}
    rows: dict[str, int] = {}
    for row, cells in table.rows:
        name = table.cell(cells, column)
        key = name_key(name)
        if key in names:
            rule = f"Row {rows[key]} has the same {column}; capitals and spacing do not tell names apart."
            faults.append(Fault(table.text.file, row, column, quoted(name), rule, "Give each its own name."))
        elif key:
            names[key], rows[key] = name, row
    return names


def _read(
    folder: Path, noun: str, columns: Iterable[Column], make: Callable[[Record, Table, list[Fault]], object | None],
    faults: list[Fault], cautions: list[Caution], *, required: bool = False,
) -> Named:  # fmt: skip
    file = f"{noun}s.csv"
    path = find_file(folder, file, faults)
    if path is None:
        near = near_name(folder, file)
        hint = f"Perhaps {near} is meant: {save_it_as(near, file)}." if near else f"Make {file} with a row for each {noun}."
        if required:
            hint = hint if near else f"{hint[:-1]}, or name the folder that has it: this one is {os.path.abspath(folder)}."
            faults.append(Fault(file, None, None, "no such file", "A shop folder needs it.", hint))
            return Named(noun, file)
        cautions.extend(near_caution(folder, file))
        return Named(noun, file, names={})
    table = read_table(path, file, tuple(columns), faults)
    if table is None:
        return Named(noun, file)
    cautions.extend(table.cautions)
    if required and not table.rows:
        faults.append(Fault(file, None, None, "a header and no row", "", f"Add a row for each {noun}."))
    names = by_name(table, noun, faults)
    records: dict[str, object] = {}
    raw = dict(table.rows)
    for record in table.records(faults):
        if table.readings_if_split(record.row, raw[record.row]):
            found = f"{len(raw[record.row])} cells in a row of {len(table.header)} columns"
            rule = "Two of them may be one figure that a decimal comma split in two."
            cautions.append(Caution(file, record.row, None, found, rule, "End the row with a comma for each blank cell, if they are not."))
        if (made := make(record, table, faults)) is not None:
            records.setdefault(names[name_key(record[noun])], made)
    return Named(noun, file, records, names)


def _checked(make: Callable[[], object], record: Record, table: Table, column: str, faults: list[Fault]) -> object | None:
    """A record made from a row; what its own class refuses is a fault of the row."""
    try:
        return make()
    except ValueError as error:
        text = str(error)
        told = next((name for name in NUMBERS if f": {name} is " in text), column)
        found = quoted(record[told]) if record.values.get(told) not in (None, "") else ""
        faults.append(Fault(table.text.file, record.row, told, found, text, ""))
        return None


def _too_small(record: Record, table: Table, column: str, least_mm: float, rule: str, faults: list[Fault]) -> bool:
    """A size that no tube and no die has: nearly always inches without their unit."""
    value = record[column]
    if value is None or value >= least_mm:
        return False
    remedy = f"Write {value:g} in, if inches are meant; otherwise correct {column}."
    faults.append(Fault(table.text.file, record.row, column, f"{value:g} mm", rule, remedy))
    return True


def _bender(record: Record, table: Table, faults: list[Fault]) -> object | None:
    rule = f"No tube can be bent round a die of less than {LEAST_DIE_MM:g} mm radius."
    if _too_small(record, table, "die_radius_mm", LEAST_DIE_MM, rule, faults):
        return None
    return _checked(lambda: Bender(**record.values), record, table, "bender", faults)


def _tube(record: Record, table: Table, faults: list[Fault]) -> object | None:
    rule = f"No line is made of tube under {LEAST_TUBE_MM:g} mm."
    if _too_small(record, table, "od_mm", LEAST_TUBE_MM, rule, faults):
        return None
    values = dict(record.values)
    numbers = {name: values.pop(name) for name in NUMBERS}
    alloy = _checked(lambda: alloy_for(values["alloy"], **numbers), record, table, "alloy", faults)
    if 2 * values["wall_mm"] >= values["od_mm"]:
        found = f"a wall of {values['wall_mm']:g} mm in a tube of {values['od_mm']:g} mm"
        rule = "A wall is less than half the outside diameter, or there is no bore."
        faults.append(Fault(table.text.file, record.row, "wall_mm", found, rule, "Correct wall_mm or od_mm."))
        return None
    if alloy is None:
        return None
    return _checked(lambda: Tube(**(values | {"alloy": alloy})), record, table, "tube", faults)


def _tool(record: Record, table: Table, faults: list[Fault]) -> object | None:
    read = angle_deg if record["measures"] == "angle" else length_mm
    numbers: dict[str, float] = {}
    for column in ("step", "sd"):
        try:
            numbers[column] = read(record[column], decimal=table.decimal)
            if numbers[column] < 0:
                raise NotAMeasure(record[column], "is less than 0", f"{column} is 0 or more.")
        except NotAMeasure as error:
            found, rule = quoted(error.text), f"It {error.why}"
            faults.append(Fault(table.text.file, record.row, column, found, rule, error.remedy))
    if len(numbers) < 2:
        return None
    make = lambda: Tool(record["tool"], record["measures"], numbers["step"], numbers["sd"])  # noqa: E731
    return _checked(make, record, table, "step", faults)


def _end(record: Record, table: Table, faults: list[Fault]) -> object | None:
    # A blank number is what the record's own class takes for it.
    values = {column: value for column, value in record.values.items() if value is not None}
    return _checked(lambda: End(**values), record, table, "end", faults)
