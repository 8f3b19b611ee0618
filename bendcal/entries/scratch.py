"""A shop as it would be: some of its files changed in a scratch copy, and read by the very code that will read them."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from bendcal.faults import Caution, Fault, ShopFaults
from bendcal.files import listed, read_shop

__all__ = ["as_it_would_be"]

_FOLDERS = ("", "lines", "patterns")


def as_it_would_be(folder: Path, changes: Mapping[str, bytes | None]) -> tuple[list[Fault], list[Caution]]:
    """What would be wrong with a shop after a change that is not wrong with it now; nothing is written in its folder.

    Parameters
    ----------
    folder : the shop folder
    changes : file relative to the folder, such as ``lines/rear.csv`` → its bytes, or None where it would be gone

    Returns
    -------
    (faults, cautions) that the change would bring

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as shop:
    ...     _ = (Path(shop) / "benders.csv").write_text("bender,die_radius_mm\\nsmall,15\\n")
    ...     _ = (Path(shop) / "tubes.csv").write_text("tube,alloy,od_mm,wall_mm\\nthin,copper,6,1\\n")
    ...     faults, _ = as_it_would_be(Path(shop), {"tubes.csv": b"tube,alloy,od_mm,wall_mm\\nthin,copper,6,3\\n"})
    >>> faults[0].rule
    'A wall is less than half the outside diameter, or there is no bore.'
    """
    before = {_what(each) for each in _remarks(folder)}
    with tempfile.TemporaryDirectory(prefix="bendcal-") as scratch:
        copy = Path(scratch) / folder.resolve().name  # by its own name: the sample is still the sample
        copy.mkdir()
        for sub in _FOLDERS:
            (copy / sub).mkdir(exist_ok=True)
            for name in listed(folder / sub):
                if name.lower().endswith(".csv") and not name.startswith("."):
                    shutil.copyfile(folder / sub / name, copy / sub / name)
        for name, data in changes.items():
            if data is None:
                (copy / name).unlink(missing_ok=True)
            else:
                (copy / name).write_bytes(data)
        new = [each for each in _remarks(copy) if _what(each) not in before]
    return [each for each in new if isinstance(each, Fault)], [each for each in new if isinstance(each, Caution)]


def _remarks(folder: Path) -> tuple[Fault, ...] | tuple[Caution, ...]:
    try:
        return read_shop(folder).cautions
    except ShopFaults as error:
        return error.faults


def _what(remark: Fault | Caution) -> tuple:
    """A remark without its row: rows move when one is put in or taken out."""
    return type(remark), remark.file, remark.column, remark.found, remark.rule
