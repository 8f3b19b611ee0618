"""A flat line's reading, put into the shop as measurements of that line's pattern."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from bendcal.entries import add_measurements
from bendcal.files import PATTERN, find_file, is_sample, table_of
from bendcal.pattern import Distance
from bendcal.scan.flat_reading import PatternReading

__all__ = ["SEATS", "TAPED_U_MM", "record_pattern"]

SEATS = (
    "What was read reaches from one end of the tube or wire to the other. A line's legs reach from seat to seat, the face in the fitting that a flare is "
    "pressed against: so say how much was cut off between each end and its seat. What a new flare uses up lies beyond the seat, and is not measured here."
)
TAPED_U_MM = 0.7  # a tape held from saw cut to saw cut, read to a millimetre (common practice)
_DISAGREE = 3.3  # standard uncertainties: once in a thousand by chance
_NOTE = "read from "


def record_pattern(
    folder: str | os.PathLike[str], reading: PatternReading, line: str, *, cut_mm: tuple[float, float] = (0.0, 0.0), cut_u_mm: float = 0.5,
    taped_mm: float | None = None, taped_u_mm: float = TAPED_U_MM, **facts: str,
) -> tuple[Path, list[str]]:  # fmt: skip
    """Add a reading to ``patterns/<line>.csv``, and the line to lines.csv where it is not there yet.

    Parameters
    ----------
    folder : the shop folder
    reading : what was read; it says which end is A
    line : the line's name
    cut_mm : tube that was cut off between end A, end B and their seats before the picture was taken [mm]
    cut_u_mm : standard uncertainty of each that is not 0
    taped_mm, taped_u_mm : the straight distance between the ends that the picture shows, by tape, and its standard uncertainty [mm]: it must agree
        with the picture; where nothing was cut off, it becomes a row of the pattern
    facts : of a new line: tube and bender, and what else lines.csv says of one

    Returns
    -------
    the pattern's file, and sentences about what looks wrong with the line then

    Raises
    ------
    ValueError : in the shipped sample, or where the line was not read, or nothing tells which end is A, or the tape says otherwise, or a picture of it
        was recorded before
    ShopFaults : where it cannot be right; nothing is written then
    """
    if is_sample(folder):
        raise ValueError("This is the shipped sample, and it stays as it is. Begin a shop of your own, and record there.")
    rows = reading.observations(beyond_mm=cut_mm, beyond_u_mm=cut_u_mm, note=f"{_NOTE}{reading.name}")
    if taped_mm is not None:
        span = reading.span
        if abs(taped_mm - span.value) > _DISAGREE * np.hypot(span.u, taped_u_mm):
            raise ValueError(
                f"By tape it is {taped_mm:g} mm straight from end to end, and by the picture {span}: they do not agree. Look at the dpi or the page's 100 mm line, "
                "and whether the line lies flat by itself; then measure once more. Nothing is recorded."
            )
        if not any(cut_mm):
            rows = (*rows, Distance("A", "B", float(taped_mm), float(taped_u_mm), note="by tape, as a check of the picture"))
    before = _pictures(Path(folder), line)
    if before:
        raise ValueError(
            f"The pattern of {line} holds a reading from a picture already ({', '.join(before)}). Two of them would share their errors and seem surer than they are: "
            "write a reason under set_aside in the rows of the old one, or record this one under another name."
        )
    path, cautions = add_measurements(folder, line, rows, facts=facts)
    return path, [caution.sentence for caution in cautions]


def _pictures(folder: Path, line: str) -> list[str]:
    """The pictures whose readings count in a line's pattern, whatever else stands there."""
    path = find_file(folder / "patterns", f"{line}.csv", [])
    table = table_of(path.read_bytes(), path.name, PATTERN, []) if path else None
    cells = [] if table is None else [each for _, each in table.rows]
    notes = [table.cell(each, "note") for each in cells if not table.cell(each, "set_aside")]
    return list(dict.fromkeys(note.removeprefix(_NOTE) for note in notes if note.startswith(_NOTE)))
