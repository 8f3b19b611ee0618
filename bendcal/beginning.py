"""Beginning: a shop folder of one's own, or a copy of the sample to practise on."""

from __future__ import annotations

import contextlib
import csv
import io
import os
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path

from bendcal.atomic import write_atomically
from bendcal.entries import FACT_COLUMNS, add_row, file_of
from bendcal.faults import Fault, ShopFaults, quoted
from bendcal.file_names import unfit_name
from bendcal.files import LINES, OFFCUTS, read_shop
from bendcal.lab import own_notebooks
from bendcal.shop import Shop

__all__ = ["MY_SHOP", "PRACTICE", "begin_shop", "practice_copy"]

#: A copy of the shipped sample, which the forms leave as it is; and a shop of one's own.
PRACTICE, MY_SHOP = "practice_shop", "my_shop"

_NAME = re.compile(r"[^\W_][\w .-]{0,58}[\w]|[^\W_]")  # a folder's name on any system


def begin_shop(folder: str | os.PathLike[str], *, bender: Mapping[str, str], tube: Mapping[str, str], notebooks: Path) -> Shop:
    """Make a shop folder with one bender and one tube in it, empty tables, and pages set to it.

    Parameters
    ----------
    folder : the new folder; there may be none of that name yet
    bender, tube : column → text of the first row of benders.csv and tubes.csv
    notebooks : the kit's own pages

    Returns
    -------
    Shop

    Raises
    ------
    ShopFaults : where the name is taken or unfit, or a row cannot be right; nothing is made
    OSError : where nothing may be written there
    """
    target = Path(folder).expanduser()
    with _made_whole(target) as making:
        faults: list[Fault] = []
        for noun, texts in (("bender", bender), ("tube", tube)):
            try:
                add_row(making, noun, texts)
            except ShopFaults as error:
                faults.extend(error.faults)
        if faults:
            raise ShopFaults(faults)
        headers = {file_of(noun): columns for noun, columns in FACT_COLUMNS.items()} | {"offcuts.csv": OFFCUTS, "lines.csv": LINES}
        for name, columns in headers.items():
            if not (making / name).exists():
                out = io.StringIO()
                csv.writer(out, lineterminator="\n").writerow(column.name for column in columns)
                write_atomically(making / name, out.getvalue().encode())
        (making / "lines").mkdir()
        own_notebooks(read_shop(making), notebooks)
    return read_shop(target)


def practice_copy(sample: str | os.PathLike[str]) -> Path:
    """A copy of the sample beside it, to practise on; one that is there already is used again.

    Parameters
    ----------
    sample : the shipped sample's folder

    Returns
    -------
    the copy's folder
    """
    source = Path(sample).expanduser().resolve()
    target = source.with_name(PRACTICE)
    if not target.is_dir():
        with _made_whole(target) as making:
            left = shutil.ignore_patterns("calibration.json", "sheets", "*.tmp", "*.lock")
            shutil.copytree(source, making, ignore=left, dirs_exist_ok=True)
    return target


@contextlib.contextmanager
def _made_whole(target: Path) -> Iterator[Path]:
    """A folder under another name, which becomes `target` when everything in it is made."""
    place = {"file": "new shop", "row": None, "column": None, "found": quoted(target.name)}
    if not _NAME.fullmatch(target.name):
        raise ShopFaults([Fault(**place, rule="A folder's name is made of letters, figures, blanks, - and _.", remedy="Choose another name.")])
    if rule := unfit_name(target.name):  # a device of Windows
        raise ShopFaults([Fault(**place, rule=rule, remedy="Choose another name.")])
    if target.exists():
        raise ShopFaults([Fault(**place, rule="There is a folder of that name already, and it stays as it is.", remedy="Choose another name.")])
    making = Path(tempfile.mkdtemp(prefix=".bendcal-", dir=target.parent))
    try:
        yield making
        with contextlib.suppress(OSError):
            os.chmod(making, 0o755)  # a scratch folder is for its maker alone
        (making / ".offcuts.lock").unlink(missing_ok=True)
        making.rename(target)
    except BaseException:
        shutil.rmtree(making, ignore_errors=True)
        raise
