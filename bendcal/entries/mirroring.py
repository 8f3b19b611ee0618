"""The mirrored copy of a line, saved: its nodes, or, where its shape was measured, the mirror image of every measurement."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from bendcal.entries.line_saving import save_line
from bendcal.entries.one_cell import with_cell
from bendcal.faults import Fault, ShopFaults
from bendcal.files import PATTERN, cell_text, find_file, read_pattern, table_of
from bendcal.lines import Line
from bendcal.mirror import mirrored
from bendcal.pattern import adjust_pattern
from bendcal.shop import Shop

__all__ = ["mirrored_pattern", "save_mirrored"]

_DECIMALS = 6  # of a mm or a degree: what an inch in mm has, and no rounding error behind it


def save_mirrored(shop: Shop, line: str, name: str, plane: str = "y", *, at_mm: float = 0.0) -> tuple[Line, Path]:
    """Write the mirror image of a line into the shop's folder, as a line of its own.

    A shape that was measured stays one: its pattern is mirrored measurement by measurement, so that the copy is
    known just as well as the line, what was set aside stays so, and its suspects are told again.

    Parameters
    ----------
    shop : what :func:`bendcal.read_shop` returned
    line : the line's name
    name, plane, at_mm : as for :func:`bendcal.mirror.mirrored`

    Returns
    -------
    the copy, and the file of its shape

    Raises
    ------
    UnknownName, ShopFaults, ValueError, NotSaved : as :func:`bendcal.mirror.mirrored` and :func:`save_line`
    """
    one = shop.line(line)
    if one.shape_covariance is None:  # nodes or legs stand in lines/, which are as they are given
        copy = mirrored(one, name, plane, at_mm=at_mm)
        return copy, save_line(shop.folder, copy)
    # Its suspects are in the note already, and would be told once more of the copy's own pattern.
    told = " ".join(adjust_pattern(read_pattern(shop, one.line)).suspects)
    copy = mirrored(replace(one, note=one.note.removesuffix(told).strip()), name, plane, at_mm=at_mm)
    faults: list[Fault] = []
    path = find_file(shop.folder / "patterns", f"{one.line}.csv", faults)
    if path is None:
        raise ShopFaults(faults)
    return copy, save_line(shop.folder, copy, pattern=mirrored_pattern(path.read_bytes(), f"patterns/{one.line}.csv", plane, at_mm=at_mm))


def mirrored_pattern(data: bytes, file: str, plane: str, *, at_mm: float = 0.0) -> bytes:
    """A pattern's file with every measurement as it would have been read in a mirror; no other cell is touched.

    Lengths, angles and uncertainties stay, a twist changes its sign (a half turn stays one), and of points, datum
    points and the ways in which nuts go in the coordinate square to the mirror goes to its other side.

    Parameters
    ----------
    data, file : the pattern's bytes, and its name for faults
    plane, at_mm : as for :func:`bendcal.mirror.mirrored`

    Raises
    ------
    ShopFaults : where the file is no sound pattern

    Examples
    --------
    >>> mirrored_pattern(b"what,from,to,angle_deg,y_mm\\ntwist,1,2,-90,\\npoint,B,,,12.5\\n", "p", "y", at_mm=2.0)
    b'what,from,to,angle_deg,y_mm\\ntwist,1,2,90,\\npoint,B,,,-8.5\\n'
    """
    faults: list[Fault] = []
    table = table_of(data, file, PATTERN, faults)
    records = [] if table is None else table.records(faults)
    if table is None or faults:
        raise ShopFaults(faults)
    for record in records:
        what = record["what"]
        if what == "twist":
            place, value = "angle_deg", record["angle_deg"]
            turned = value if value is None or abs(value) == 180 else -value
        elif what in ("point", "datum", "direction"):
            place, value = f"{plane}_mm", record[f"{plane}_mm"]
            turned = None if value is None else (0.0 if what == "direction" else 2.0 * at_mm) - value
        else:
            continue
        if turned is not None and turned != value:
            data = with_cell(data, table, record.row, place, cell_text(round(turned, _DECIMALS) + 0.0, table.decimal))
    return data
