"""The rows of stock.csv: the tube on hand, each row of a tube that tubes.csv knows."""

from __future__ import annotations

from pathlib import Path

from bendcal.faults import Caution, Fault, quoted
from bendcal.files.cells import name_key
from bendcal.files.columns import STOCK
from bendcal.files.facts import Facts, by_name
from bendcal.files.finding import table_there
from bendcal.stock import StockLength

__all__ = ["read_stock"]

_FILE = "stock.csv"


def read_stock(folder: Path, facts: Facts, faults: list[Fault], cautions: list[Caution]) -> tuple[StockLength, ...]:
    """The tube on hand in a shop folder; none where it has no stock.csv.

    Parameters
    ----------
    folder : the shop folder
    facts : the tubes that its rows name
    faults, cautions : what is found is added to these lists

    Examples
    --------
    >>> from bendcal.files.facts import Named
    >>> none = Named("tube", "tubes.csv")
    >>> read_stock(Path("no such folder"), Facts(none, none, none, none), [], [])
    ()
    """
    table = table_there(folder, _FILE, STOCK, faults, cautions)
    if table is None:
        return ()
    names = by_name(table, "piece", faults)
    sound = []
    for record in table.records(faults):
        tube = facts.tubes.resolve(record["tube"], file=_FILE, row=record.row, column="tube", faults=faults)
        count = 1.0 if record["count"] is None else record["count"]
        if count != int(count):
            rule, remedy = "A count is a whole number.", "Write how many there are; blank is one."
            faults.append(Fault(_FILE, record.row, "count", quoted(f"{count:g}"), rule, remedy))
        elif tube is not None:
            sound.append(StockLength(names[name_key(record["piece"])], tube, record["length_mm"], record["form"] or "straight", int(count), record["note"]))
    return tuple(sound)
