"""The rows of offcuts.csv as offcuts: each checked against the shop's benders, tubes and tools."""

from __future__ import annotations

from bendcal.benders import Bender
from bendcal.faults import Caution, Fault, quoted
from bendcal.files.facts import Facts
from bendcal.files.tables import Record, Table
from bendcal.offcuts import Offcut
from bendcal.plausible import check_offcut
from bendcal.tools import DEFAULT_ANGLE_TOOL, DEFAULT_LENGTH_TOOL

__all__ = ["check_set_aside", "offcut_of", "offcuts_of"]

_NO_REASON = {"no", "n", "false", "0", "-", "none", "nein", "non"}
_BARE_YES = {"yes", "y", "true", "1", "x", "ja", "oui"}


def offcuts_of(table: Table, facts: Facts, faults: list[Fault], cautions: list[Caution]) -> list[Offcut]:
    """The sound offcuts of a table, in its order.

    Parameters
    ----------
    table : offcuts.csv, or the side file beside it
    facts : the benders, tubes and tools that its rows name
    faults, cautions : what is found is added to these lists

    Examples
    --------
    >>> from bendcal.files.columns import OFFCUTS
    >>> from bendcal.files.facts import Named
    >>> from bendcal.files.tables import table_of
    >>> none = Named("bender", "benders.csv")
    >>> data = b"offcut,bender,tube,length_mm,mark_mm,dial_deg,angle_deg\\n1,small,thin,200,90,92,90\\n"
    >>> table = table_of(data, "offcuts.csv", OFFCUTS, [])
    >>> [piece.angle_deg for piece in offcuts_of(table, Facts(none, none, none, none), [], [])]
    [90.0]
    """
    unknown_tools: dict[str, int] = {}
    sound = []
    raw = dict(table.rows)
    _cut_off(table, faults)
    for record in table.records(faults):
        doubts: list[Caution] = []
        offcut = offcut_of(record, table.text.file, facts, faults, doubts, unknown_tools)
        cautions.extend(doubts)
        if offcut is not None and doubts and _better_joined(record.row, raw[record.row], table, facts):
            found = f"{len(raw[record.row])} cells in a row of {len(table.header)} columns"
            rule = "As they stand the readings are odd, and joined at a decimal comma they are not."
            remedy = "Write 92.5 or “92,5” in quotation marks; if no figure was split, end the row with a comma for each blank cell."
            faults.append(Fault(table.text.file, record.row, None, found, rule, remedy))
        elif offcut is not None:
            sound.append(offcut)
    for tool, row in unknown_tools.items():
        rule = "There is no tools.csv, so the usual uncertainty is taken for it."
        cautions.append(Caution(table.text.file, row, None, f"the tool {quoted(tool)}", rule, "Describe it in tools.csv."))
    return sound


def offcut_of(
    record: Record, file: str, facts: Facts, faults: list[Fault], cautions: list[Caution],
    unknown_tools: dict[str, int] | None = None,
) -> Offcut | None:  # fmt: skip
    """One offcut from its row, or None where something is wrong with it.

    Parameters
    ----------
    record : the row's checked cells
    file : the file's name for remarks
    facts : the benders, tubes and tools that the row names
    faults, cautions : what is found is added to these lists
    unknown_tools : tools that are named although no file describes any -> first row that does
    """
    before = len(faults)
    values = dict(record.values)
    place = {"file": file, "row": record.row}
    for column, named in (("bender", facts.benders), ("tube", facts.tubes)):
        values[column] = named.resolve(values[column], **place, column=column, faults=faults)
    u = {"angle_tool": DEFAULT_ANGLE_TOOL.u, "length_tool": DEFAULT_LENGTH_TOOL.u}
    for column, measures in (("angle_tool", "angle"), ("length_tool", "length")):
        name = values[column]
        if not name or facts.tools.names is None:
            continue
        if not facts.tools.names:
            if unknown_tools is not None:
                unknown_tools.setdefault(name, record.row)
            continue
        values[column] = facts.tools.resolve(name, **place, column=column, faults=faults) or ""
        tool = facts.tools.records.get(values[column])
        if tool is not None and tool.measures != measures:
            rule = f"This tool measures {tool.measures} (tools.csv); here one for {measures} is needed."
            faults.append(Fault(file, record.row, column, quoted(name), rule, "Name another tool, or leave the cell blank."))
        elif tool is not None:
            u[column] = tool.u
    check_set_aside(values["set_aside"], place, faults, cautions)
    if len(faults) > before:
        return None
    values["legs_to"] = values["legs_to"] or "centre"
    offcut = Offcut(**values, row=record.row)
    wrong, doubtful = check_offcut(
        offcut,
        # One whose own row is faulty, and told there, still leaves something to judge by.
        bender=facts.benders.records.get(offcut.bender, Bender(offcut.bender)),
        tube=facts.tubes.records.get(offcut.tube),
        angle_u_deg=u["angle_tool"],
        length_u_mm=u["length_tool"],
        file=file,
    )
    faults.extend(wrong)
    cautions.extend(doubtful)
    return offcut if len(faults) == before else None


def _better_joined(row: int, cells: tuple[str, ...], table: Table, facts: Facts) -> bool:
    """Whether a short row makes a sound offcut, beyond all doubt, once split figures are joined."""
    for record in table.readings_if_split(row, cells):
        wrong: list[Fault] = []
        doubts: list[Caution] = []
        if offcut_of(record, table.text.file, facts, wrong, doubts) is not None and not doubts:
            return True
    return False


def _cut_off(table: Table, faults: list[Fault]) -> None:
    """A last row that breaks off: what is left of a figure would read as another figure."""
    if table.text.ends_whole or not table.rows:
        return
    row, cells = table.rows[-1]
    if len(cells) < len(table.rows[-2][1] if len(table.rows) > 1 else table.header):
        found = f"a last row of {len(cells)} cells without a line ending"
        rule = "A row that breaks off has perhaps lost its end."
        faults.append(Fault(table.text.file, row, None, found, rule, "Complete the row and end it with the Enter key."))


def check_set_aside(reason: str, place: dict, faults: list[Fault], cautions: list[Caution]) -> None:
    """A reason is a reason: a bare no would set the piece aside, which is not what it says."""
    if reason.casefold() in _NO_REASON:
        rule = "What stands here sets the piece aside; a piece that counts has a blank here."
        faults.append(Fault(**place, column="set_aside", found=quoted(reason), rule=rule, remedy="Empty the cell, or write the reason."))
    elif reason.casefold() in _BARE_YES:
        rule = "The piece is set aside, but nothing says why."
        cautions.append(Caution(**place, column="set_aside", found=quoted(reason), rule=rule, remedy="Write the reason."))
