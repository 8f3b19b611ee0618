"""The rows of flares.csv: practice flares, each of an end that ends.csv knows."""

from __future__ import annotations

from pathlib import Path

from bendcal.faults import Caution, Fault, quoted
from bendcal.files.columns import FLARES
from bendcal.files.facts import Facts
from bendcal.files.finding import table_there
from bendcal.flares import Flare

__all__ = ["read_flares"]

_FILE = "flares.csv"


def read_flares(folder: Path, facts: Facts, faults: list[Fault], cautions: list[Caution]) -> tuple[Flare, ...]:
    """The practice flares of a shop folder; none where it has no flares.csv.

    Parameters
    ----------
    folder : the shop folder
    facts : the ends and tools that its rows name
    faults, cautions : what is found is added to these lists

    Examples
    --------
    >>> from bendcal.files.facts import Named
    >>> none = Named("end", "ends.csv")
    >>> read_flares(Path("no such folder"), Facts(none, none, none, none), [], [])
    ()
    """
    table = table_there(folder, _FILE, FLARES, faults, cautions)
    if table is None:
        return ()
    sound = []
    for record in table.records(faults):
        place = {"file": _FILE, "row": record.row}
        end = facts.ends.resolve(record["end"], **place, column="end", faults=faults)
        tool = record["length_tool"]
        if tool and facts.tools.names:
            tool = facts.tools.resolve(tool, **place, column="length_tool", faults=faults) or ""
        if end is None:
            continue
        values = dict(record.values) | {"end": end, "length_tool": tool}
        try:
            sound.append(Flare(**values, row=record.row))
        except ValueError as error:
            found = quoted(f"{record['before_mm']:g} before, {record['after_mm']:g} after")
            faults.append(Fault(**place, column="after_mm", found=found, rule=str(error), remedy="Correct the row, or set it aside with the reason."))
    return tuple(sound)
