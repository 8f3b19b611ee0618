"""A reading from a picture, put into the shop's log: with a tool that is as good as the reading."""

from __future__ import annotations

import os
from pathlib import Path

from bendcal.atomic import make_folder, write_atomically
from bendcal.entries import add_row, append_offcut, rows_of
from bendcal.files import is_sample, name_key
from bendcal.offcuts import Offcut
from bendcal.scan.flat_reading import PatternReading
from bendcal.scan.piece import ScanReading
from bendcal.scan.reading import ScanReadings

__all__ = ["record", "save_overlay", "tool_for"]

#: Standard uncertainty of an angle up to which each tool is named [deg].
_CLASSES = {"scan": 0.1, "scan-0.2": 0.2, "scan-0.4": 0.4, "scan-0.8": 0.8}


def tool_for(reading: ScanReading) -> tuple[str, float]:
    """The angle tool that a reading is recorded with, and its standard deviation [deg]: the reading's own, rounded up.

    Parameters
    ----------
    reading : what was read

    Raises
    ------
    ValueError : where the angle is not known well enough to be a reading

    Examples
    --------
    >>> from bendcal.estimate import Estimate
    >>> tool_for(ScanReading(1, (0, 0, 9, 9), angle=Estimate(90.0, 0.13, "°")))
    ('scan-0.2', 0.2)
    """
    for name, most in _CLASSES.items():
        if reading.angle is not None and reading.angle.u <= most:
            return name, most
    raise ValueError(f"Piece {reading.number}: its angle is not read well enough to be recorded ({reading.angle}). Measure it by hand.")


def record(folder: str | os.PathLike[str], reading: ScanReading, *, picture: str = "", **columns) -> Offcut:
    """Append a reading to offcuts.csv, and the tool that it was read with to tools.csv where it is not there yet.

    Parameters
    ----------
    folder : the shop folder
    reading : what was read; it says which end is A
    picture : the file's name, for the note
    columns : bender, tube, length_mm, dial_deg, and mark_mm unless the mark shows; others as :func:`bendcal.append_offcut`

    Returns
    -------
    Offcut, as it was written

    Raises
    ------
    ValueError : in the shipped sample, or where the piece was not read, or nothing tells which end is A, or the mark
    ShopFaults : where the readings cannot be right; nothing is written then
    """
    if is_sample(folder):
        raise ValueError("This is the shipped sample, and it stays as it is. Begin a shop of your own, and record there.")
    tool, sd = tool_for(reading) if not reading.refused else ("", 0.0)
    told = reading.as_offcut(angle_tool=tool, **columns)
    if "mark_mm" not in told:
        raise ValueError(f"Piece {reading.number}: no mark was seen on leg A. Say how far it is from end A (mark_mm).")
    header, rows = rows_of(folder, "tool")
    at = header.index("tool") if "tool" in header else 0
    if name_key(tool) not in {name_key(row[at]) for row in rows if at < len(row)}:
        add_row(folder, "tool", {"tool": tool, "measures": "angle", "step": "0", "sd": f"{sd:g}"})
    told.setdefault("note", f"read from {picture}, piece {reading.number}" if picture else "")
    return append_offcut(folder, **told)


def save_overlay(folder: str | os.PathLike[str], readings: ScanReadings | PatternReading) -> Path:
    """Write what was seen, drawn over the picture, into the shop folder's sheets/scans/; the path.

    Parameters
    ----------
    folder : the shop folder
    readings : what was read
    """
    path = Path(folder) / "sheets" / "scans" / f"{Path(readings.name).stem}-seen.png"
    make_folder(path.parent.parent)
    make_folder(path.parent)
    write_atomically(path, readings.overlay())
    return path
