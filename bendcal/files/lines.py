"""lines.csv and the file of each line: its nodes, or its legs, angles and twists; or else its pattern."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from bendcal.faults import Caution, Fault, quoted
from bendcal.file_names import unfit_name
from bendcal.files.cells import name_key, tidy
from bendcal.files.columns import LEGS, LINES, NODES
from bendcal.files.facts import Facts, by_name
from bendcal.files.finding import find_file, listed, near_name, shut_folder, table_there
from bendcal.files.patterns import line_of_pattern
from bendcal.files.tables import Record, Table, read_table
from bendcal.lines import Line, line_from_legs, line_from_nodes
from bendcal.measures import angle_text

__all__ = ["name_fault", "read_lines"]

_FILE = "lines.csv"


def read_lines(
    folder: Path, facts: Facts, faults: list[Fault], cautions: list[Caution], aside: dict[str, str] | None = None
) -> tuple[dict[str, Line], dict[str, tuple[Fault, ...]]]:
    """Every line of a shop folder that is sound and not set aside, by its name; and what is wrong with the others.

    Parameters
    ----------
    folder : the shop folder
    facts : its benders, tubes and ends
    faults, cautions : what is found is added to these lists
    aside : the lines that are set aside are added to it, name → reason; the file of such a line is not looked at

    Returns
    -------
    name → Line, and which of the faults are whose: ``lines/NAME.csv`` → those of one line, whichever file they
    stand in; ``lines.csv, row N`` → those of a row without a name; ``lines.csv`` → those of the table, in the way of all

    Examples
    --------
    >>> from bendcal.files.facts import Named
    >>> none = Named("bender", "benders.csv")
    >>> read_lines(Path("no such folder"), Facts(none, none, none, none), [], [])
    ({}, {})
    """
    before = len(faults)  # of the next step, each time
    table = table_there(folder, _FILE, LINES, faults, cautions)
    names = {} if table is None else by_name(table, "line", faults)
    records = [] if table is None else table.records(faults)
    part = {}  # row → its line's, or, without a name, its own
    for row, cells in table.rows if table else ():
        name = names.get(name_key(table.cell(cells, "line")))
        part[row] = f"lines/{name}.csv" if name else f"{_FILE}, row {row}"
    unread: dict[str, list[Fault]] = {}
    of_the_table = faults[before:]
    for fault in of_the_table:
        unread.setdefault(part.get(fault.row, _FILE), []).append(fault)
    lines: dict[str, Line] = {}
    unseen = dict(names)
    for record in records:
        unseen.pop(name_key(record["line"]), None)
        if record["set_aside"]:
            if aside is not None:
                aside[names[name_key(record["line"])]] = record["set_aside"]
            continue
        before = len(faults)
        line = _line(folder, record, facts, faults, cautions)
        if line is not None:
            lines.setdefault(line.line, line)
        unread.setdefault(part[record.row], []).extend(faults[before:])
    for name in unseen.values():  # the row is faulty; what is wrong with the line's own file is told as well
        before = len(faults)
        _shape(folder, name, {"tube": "", "bender": ""}, facts, faults, cautions)
        mine = unread.setdefault(f"lines/{name}.csv", [])
        mine += faults[before:]
        mine += () if mine else of_the_table  # too many faults stand above its row
    if table is not None or _FILE not in unread:  # else every line is one that lines.csv may well name
        _unlisted(folder, set(names), cautions)
    left_out = {name: tuple(mine) for name, mine in unread.items() if mine}
    return {name: line for name, line in lines.items() if f"lines/{names[name_key(name)]}.csv" not in left_out}, left_out


def name_fault(name: str, row: int | None = None) -> Fault | None:
    """Why a line cannot be called so, or None.

    Parameters
    ----------
    name : not blank
    row : of lines.csv, for the fault

    Examples
    --------
    >>> name_fault("rear left"), name_fault("../rear").found
    (None, '"../rear"')
    """
    rule = unfit_name(name)
    return Fault(_FILE, row, "line", quoted(name), rule, "Choose another name.") if rule else None


def _line(folder: Path, record: Record, facts: Facts, faults: list[Fault], cautions: list[Caution]) -> Line | None:
    """One row of lines.csv together with the line's own file."""
    before = len(faults)
    told: dict[str, str] = {}
    for column, named in (("tube", facts.tubes), ("bender", facts.benders), ("end_a", facts.ends), ("end_b", facts.ends)):
        name = record[column]
        if name:  # a blank end is a plain one
            name = named.resolve(name, file=_FILE, row=record.row, column=column, faults=faults)
        told[column] = name or ""
    told |= {"service": record["service"] or "other", "trim_at": record["trim_at"] or "B", "note": record["note"]}
    name = record["line"]
    if unfit := name_fault(name, record.row):
        faults.append(unfit)
        return None
    line = _shape(folder, name, told, facts, faults, cautions)
    return line if len(faults) == before else None


def _shape(
    folder: Path, name: str, told: dict[str, str], facts: Facts, faults: list[Fault], cautions: list[Caution]
) -> Line | None:
    """The line's own file, in whichever of the two formats it is; without one, the pattern that was measured of it."""
    if name_fault(name):
        return None
    if shut := shut_folder(folder / "lines", "lines/"):
        faults.append(shut)
        return None
    file = f"lines/{name}.csv"
    path = find_file(folder / "lines", f"{name}.csv", faults, shown=file)
    patterns = folder / "patterns"
    if path is None and (shut_folder(patterns, "") or find_file(patterns, f"{name}.csv", faults, shown=f"patterns/{name}.csv")):
        return line_of_pattern(folder, name, told, facts.tools, faults, cautions)
    if path is None:
        rule = f"The nodes or legs of the line {name}, which lines.csv names, stand in a file of its own."
        remedy = "Make the file, measure a pattern of it (patterns/), or take the line out of lines.csv."
        if near := near_name(folder / "lines", f"{name}.csv"):
            remedy = f"Perhaps lines/{near} is meant: save it as {name}.csv."
        faults.append(Fault(file, None, None, "no such file", rule, remedy))
        return None
    either: list[Fault] = []
    optional = [type(column)(column.name, column.kind) for column in (*NODES, *LEGS)]
    table = read_table(path, file, optional, either)
    if table is None:
        faults.extend(either)
        return None
    nodes = [column for column in ("x_mm", "y_mm", "z_mm") if column in table.places]
    legs = [column for column in ("leg_mm", "angle_deg", "twist_deg") if column in table.places]
    if bool(nodes) == bool(legs):
        there = ", ".join(quoted(tidy(cell)) for cell in table.header[:20] if tidy(cell))
        found = "columns of both kinds" if nodes else f"the columns {there}"
        rule = "A line is given by nodes (x_mm, y_mm, z_mm) or by legs (leg_mm, angle_deg, twist_deg)."
        remedy = "Keep one kind and remove the other." if nodes else "Name the columns so."
        faults.append(Fault(file, table.text.rows[0][0], None, found, rule, remedy))
        return None
    table = read_table(path, file, NODES if nodes else LEGS, faults)
    if table is None:
        return None
    cautions.extend(table.cautions)
    return _from_nodes(table, name, told, faults) if nodes else _from_legs(table, name, told, faults)


def _from_nodes(table: Table, name: str, told: dict[str, str], faults: list[Fault]) -> Line | None:
    before = len(faults)
    records = table.records(faults)
    if len(faults) > before:
        return None
    file = table.text.file
    if len(records) < 2:
        rule = "A line has at least two nodes: the seat of end A and the seat of end B, with every apex between."
        faults.append(Fault(file, None, None, f"{len(records)} node{'' if len(records) == 1 else 's'}", rule, "Add the nodes."))
        return None
    if odd := _figure_as_label(table, records):
        rule = "A figure for a label, which not every node has of its own, is likely the end of a figure that a decimal comma split."
        remedy = "Write 92.5 or “92,5” in quotation marks; or give the node another label."
        faults.append(Fault(file, odd.row, "label", quoted(odd["label"]), rule, remedy))
        return None
    nodes = [[record["x_mm"], record["y_mm"], record["z_mm"]] for record in records]
    for node, last, record in zip(nodes[1:], nodes, records[1:], strict=False):
        if node == last:
            rule = "Two neighbouring nodes lie apart."
            faults.append(Fault(file, record.row, None, "the same point as in the row above", rule, "Remove one of the two."))
    if len(faults) > before:
        return None
    try:
        labels = [record["label"] for record in records]
        line = line_from_nodes(name, nodes, labels=labels if any(labels) else (), **told)
        corners = [records[k].row for k in line.corner_rows]
        return replace(line, leg_from=tuple(f"{file}, rows {one} to {other}" for one, other in pairwise(corners)))
    except ValueError as error:
        text = str(error).removeprefix(f"line {name}: ")
        # Of two nodes at one place the second is told, as for two rows that say the very same.
        node = re.search(r"\bnode (\d+)|\bnodes \d+(?: \([^)]*\))? and (\d+)", text)
        number = int(node[1] or node[2]) if node else 0
        row = records[number - 1].row if 0 < number <= len(records) else None
        faults.append(Fault(file, row, None, "", text, ""))
        return None


def _figure_as_label(table: Table, records: list[Record]) -> Record | None:
    """The first node whose label is a bare figure, unless the nodes are simply numbered."""
    labels = [record["label"] for record in records]
    figures = [record for record in records if record["label"].isdigit()]
    numbered = all(labels) and len(set(labels)) == len(labels)
    return figures[0] if figures and table.text.delimiter == "," and not numbered else None


def _from_legs(table: Table, name: str, told: dict[str, str], faults: list[Fault]) -> Line | None:
    before, file = len(faults), table.text.file
    if not table.rows:
        rule = "A line has at least one leg."
        faults.append(Fault(file, None, None, "a header and no row", rule, "Write a row for each leg."))
        return None
    first, last = table.rows[0][0], table.rows[-1][0]
    records = table.records(faults)
    for record in records:
        if record.row == last:
            _no_bend(record, file, faults)
        else:
            _bend(record, file, record.row == first, faults)
    if len(faults) > before:
        return None
    bends = records[:-1]
    try:
        line = line_from_legs(
            name, [record["leg_mm"] for record in records], [record["angle_deg"] for record in bends],
            [record["twist_deg"] or 0.0 for record in bends], **told,
        )  # fmt: skip
        return replace(line, leg_from=tuple(f"{file}, row {record.row}" for record in records))
    except ValueError as error:
        faults.append(Fault(file, None, None, "", str(error).removeprefix(f"line {name}: "), ""))
        return None


def _no_bend(record: Record, file: str, faults: list[Fault]) -> None:
    """The last row: a leg, and no bend after it."""
    for column in ("angle_deg", "twist_deg"):
        if record[column] is not None:
            rule = "The last row has a leg only: after it comes end B and no bend."
            remedy = "Leave the cell blank, or add the leg that follows the bend."
            faults.append(Fault(file, record.row, column, angle_text(record[column]), rule, remedy))


def _bend(record: Record, file: str, first: bool, faults: list[Fault]) -> None:
    """Any other row: a leg and the bend at its end."""

    def fault(column: str, found: str, rule: str, remedy: str) -> None:
        faults.append(Fault(file, record.row, column, found, rule, remedy))

    angle, twist = record["angle_deg"], record["twist_deg"]
    if angle is None:
        remedy = "Write the bend's angle, or remove the rows below."
        fault("angle_deg", "an empty cell", "Every leg but the last ends in a bend.", remedy)
    elif not 0 < angle < 180:
        rule = "A bend turns by more than 0° and less than 180°."
        remedy = "Leave out a bend that does not turn; make two of one that turns by 180° or more."
        fault("angle_deg", angle_text(angle), rule, remedy)
    if first and twist:
        rule = "The first bend has none before it to turn from: its twist is 0."
        remedy = "Write 0 there; the way in which the line leaves end A is not part of its shape."
        fault("twist_deg", angle_text(twist), rule, remedy)
    elif not first and twist is None:
        remedy = "Write 0 if it turns the same way as the one before, 180 if the other."
        fault("twist_deg", "an empty cell", "Every bend but the first has a twist.", remedy)
    elif twist is not None and not -180 <= twist <= 180:
        same = (twist + 180) % 360 - 180
        fault("twist_deg", angle_text(twist), "A twist lies between -180° and 180°.", f"The same turn is {angle_text(same)}.")


def _unlisted(folder: Path, names: set[str], cautions: list[Caution]) -> None:
    """Files of lines that no row of lines.csv names."""
    for entry in sorted(listed(folder / "lines")):
        stem, suffix = Path(entry).stem, Path(entry).suffix
        if suffix.casefold() == ".csv" and not entry.startswith(".") and name_key(stem) not in names:
            rule = "There is no such line in lines.csv, so it is not read."
            cautions.append(Caution(f"lines/{entry}", None, None, "a line's file", rule, f"Add a row for {stem} to lines.csv."))
