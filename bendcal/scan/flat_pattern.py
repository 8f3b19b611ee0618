"""A line's pattern from a picture: an old line, or a wire, that lies flat on a scanner or on the reference page.

Its legs are straight, its bends are arcs of any radius to either side, all in one plane, and nothing but the line lies there. Nuts and
flares are cut off first: what is read are the cut ends of the tube. What is not clearly such a line is refused.
"""

from __future__ import annotations

import os
from collections.abc import Sequence

from bendcal.scan.decode import Scan
from bendcal.scan.flat_reading import FLAT_U_MM, PatternReading
from bendcal.scan.heights import View
from bendcal.scan.one_line import read_line
from bendcal.scan.photo import PRINT_U
from bendcal.scan.photos import laid_photos
from bendcal.scan.reading import check_told, laid_scan, things_on
from bendcal.scan.separate import OFF_PAPER
from bendcal.scan.scanner import SCALE_U

__all__ = ["pattern_on", "read_flat_photos", "read_flat_scan"]

_SPECK = 1.5  # diameters: what is longer and no part of the line stops the reading


def read_flat_scan(
    path: str | os.PathLike[str], *, od_mm: float, dpi: float | tuple[float, float] | None = None, end_a: str | None = None, sensor: str = "cis",
    scale_u: float = SCALE_U, line_mm: float | None = None, flat_u_mm: float = FLAT_U_MM,
) -> PatternReading:  # fmt: skip
    """Read a flat line from a flatbed scan.

    Parameters
    ----------
    path, dpi, sensor, scale_u, line_mm : as for :func:`bendcal.scan.read_scan`
    od_mm : outside diameter of what lies there, tube or wire [mm]
    end_a : the side of the picture on which end A lies, or None
    flat_u_mm : how far its ends and apexes may stand off their plane [mm]

    Raises
    ------
    NotAScan : where the file cannot be measured on at all
    ValueError : for a diameter, side, sensor or uncertainty that cannot be
    """
    check_told(od_mm, end_a)
    scan, u = laid_scan(path, od_mm=od_mm, dpi=dpi, sensor=sensor, scale_u=scale_u, line_mm=line_mm)
    return pattern_on(scan, od_mm=od_mm, end_a=end_a, scale_u=u, notes=scan.notes, flat_u_mm=flat_u_mm)


def read_flat_photos(
    paths: Sequence[str | os.PathLike[str]], *, od_mm: float, end_a: str | None = None, line_mm: float | Sequence[float] = 100.0, print_u: float = PRINT_U,
    flat_u_mm: float = FLAT_U_MM, unmoved: bool = False,
) -> PatternReading:  # fmt: skip
    """Read a flat line from a photo of it inside the frame of a reference page, or from photos of several pages side by side under it.

    Parameters
    ----------
    paths, line_mm, print_u, unmoved : as for :func:`bendcal.scan.read_photos`; a single photo, or photos of one table
    od_mm, end_a, flat_u_mm : as for :func:`read_flat_scan`; the sides are those of the first page as it is printed

    Raises
    ------
    NotAScan : where a file is no picture, or the pages are not found, do not hang together, or are drawn too coarsely; or OpenCV is missing
    ValueError : for a diameter, side, line or number of photos that cannot be
    """
    check_told(od_mm, end_a)
    laid = laid_photos(paths, od_mm=od_mm, line_mm=line_mm, print_u=print_u, unmoved=unmoved)
    if len(laid) > 1:
        raise ValueError(f"{len(laid)} photos of one page are given, and each is a picture of its own. Give one; or photos of several numbered pages on one table (bendcal page --pages).")
    page = laid[0]
    return pattern_on(page.scan, od_mm=od_mm, end_a=end_a, scale_u=page.scale_u, view=page.view, notes=page.notes, flat_u_mm=flat_u_mm)


def pattern_on(
    scan: Scan, *, od_mm: float, end_a: str | None = None, scale_u: tuple[float, float], view: View | None = None, notes: tuple[str, ...] = (),
    flat_u_mm: float = FLAT_U_MM,
) -> PatternReading:  # fmt: skip
    """Read the flat line on a picture that lies in the plane of the table.

    Parameters
    ----------
    scan : the picture
    od_mm, end_a, flat_u_mm : as for :func:`read_flat_scan`
    scale_u : (across, down) standard uncertainty of the scale, as a share
    view : the camera; None for a scanner
    notes : what was found about the picture

    Raises
    ------
    ValueError : for a `flat_u_mm` that cannot be
    """
    if not 0 < flat_u_mm <= 10:
        raise ValueError(f"flat_u_mm is {flat_u_mm}: how far a flat line's places may stand off their plane is more than 0 and at most 10 mm.")
    unlike, found, said = things_on(scan, od_mm=od_mm, shortest=_SPECK)
    if len(found) > 1 and OFF_PAPER in {each.refused for each in found}:
        said = OFF_PAPER  # what lies over a mark is seen in two parts
    elif len(found) > 1:
        said = f"{len(found)} things lie on it, and a line is one: take away all else; if it is one line, a part of it cannot be told from the paper. Lay paper of another shade over it."
    if said:
        return PatternReading(scan.name, scan, (said,), notes=notes)
    return read_line(found[0], scan, unlike, od_mm=od_mm, end_a=end_a, scale_u=scale_u, view=view, flat_u_mm=flat_u_mm, notes=notes)
