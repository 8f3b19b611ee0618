"""The shipped sample: which folder it is, and how many of its invented offcuts are in a shop of one's own."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from bendcal.faults import Caution
from bendcal.files.cells import header_key, tidy
from bendcal.files.tables import Table
from bendcal.offcuts import Offcut

__all__ = ["SAMPLE", "invented_caution", "is_sample"]

SAMPLE = "sample_measurements"

#: How the sample marks its rows, and with what: a column that is no reading, and goes along where the folder is copied.
_MADE_BY, _INVENTED = "made_by", "invented"


def is_sample(folder: str | os.PathLike[str]) -> bool:
    """Whether a folder is the shipped sample, or a copy that still bears its name.

    Examples
    --------
    >>> is_sample("../sample_measurements"), is_sample("my shop")
    (True, False)
    """
    return Path(folder).expanduser().resolve().name == SAMPLE


def invented_caution(log: Table, offcuts: Sequence[Offcut]) -> list[Caution]:
    """That offcuts which count are the sample's, where there are any.

    Parameters
    ----------
    log : the table that they stand in
    offcuts : those that were read from it

    Examples
    --------
    >>> from bendcal.files.columns import OFFCUTS
    >>> from bendcal.files.tables import table_of
    >>> head = b"offcut,bender,tube,length_mm,mark_mm,dial_deg,angle_deg,made_by\\n"
    >>> log = table_of(head + b"C1,small,thin,200,90,92,90,invented; simulated\\n2,small,thin,200,90,92,90,\\n", "offcuts.csv", OFFCUTS, [])
    >>> pieces = [Offcut(name, "small", "thin", 200, 90, 92, 90, row=row) for name, row in (("C1", 2), ("2", 3))]
    >>> [each.found for each in invented_caution(log, pieces)]
    ["1 offcut that is the sample's, and invented"]
    """
    place = next((k for k, cell in enumerate(log.header) if header_key(cell) == _MADE_BY), None)
    if place is None:
        return []
    rows = {row for row, cells in log.rows if place < len(cells) and tidy(cells[place]).casefold().startswith(_INVENTED)}
    count = sum(offcut.counts and offcut.row in rows for offcut in offcuts)
    if not count:
        return []
    found = f"{count} offcut{' that is' if count == 1 else 's that are'} the sample's, and invented"
    rule = "They count as if you had bent them, and every law leans on them."
    remedy = f"Take them out before you bend good tube; where a row is yours, empty its cell under {_MADE_BY}."
    return [Caution(log.text.file, None, _MADE_BY, found, rule, remedy)]
