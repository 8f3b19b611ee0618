"""Read offcuts from a flatbed scan: finished angle, centreline radius, legs and mark, each with its uncertainty.

The tube lies on the glass, its ends clear of the picture's border, any number of pieces side by side; the lid's
paper may be light or dark. Lay the bend so that the line that halves it runs slantwise, at 45°: the angle is then
free of any difference between the scanner's two directions. What is not clearly one bend is refused.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from math import isfinite

from bendcal.scan.backdrop import Unlike, unlike_backdrop
from bendcal.scan.decode import NotAScan, Scan, open_scan
from bendcal.scan.heights import View
from bendcal.scan.one_piece import is_bent, read_piece, rough_shape
from bendcal.scan.overlay import overlay_png
from bendcal.scan.piece import SIDES, ScanReading
from bendcal.scan.printed_scale import checked_scale
from bendcal.scan.scanner import ITS_SCALE, SCALE_U, scale_of
from bendcal.scan.separate import SHORTEST, Found, find_pieces

__all__ = ["ScanReadings", "check_line", "check_told", "laid_scan", "read_scan", "readings_on", "things_on"]

_PLAIN = 0.35  # at least so much of a picture is backdrop
_LEAST_LINE, _MOST_LINE = 85.0, 115.0
_NOISIEST = 0.06


@dataclass(frozen=True, eq=False)
class ScanReadings:
    """All pieces on a scan, from left to right: a sequence of :class:`ScanReading`.

    Attributes
    ----------
    pieces : the readings, refused ones among them
    refused : sentences about the scan as a whole and about pieces that were not read
    notes : what was found about a photo as a whole: its camera and lens
    """

    name: str
    pieces: tuple[ScanReading, ...]
    said: tuple[str, ...]
    scan: Scan = field(repr=False)
    notes: tuple[str, ...] = ()

    @property
    def refused(self) -> tuple[str, ...]:
        return self.said + tuple(str(p) for p in self.pieces if p.refused)

    @property
    def read(self) -> tuple[ScanReading, ...]:
        """The pieces that were read."""
        return tuple(p for p in self.pieces if not p.refused)

    @property
    def only(self) -> ScanReading:
        """The piece, where there is just one.

        Raises
        ------
        NotAScan : where there is none or more than one
        """
        if len(self.pieces) != 1:
            raise NotAScan(f"{self.name}: {len(self.pieces)} pieces were found, not one. {' '.join(self.said)}".rstrip())
        return self.pieces[0]

    def overlay(self) -> bytes:
        """The scan with edges, fitted legs, arcs, apexes and ends drawn over it, as a PNG: look at it before you believe a number."""
        return overlay_png(self.scan, self.pieces)

    def _repr_png_(self) -> bytes:
        return self.overlay()

    def __len__(self) -> int:
        return len(self.pieces)

    def __getitem__(self, index: int) -> ScanReading:
        return self.pieces[index]

    def __iter__(self) -> Iterator[ScanReading]:
        return iter(self.pieces)

    def __str__(self) -> str:
        return "\n".join([*self.notes, *self.said, *map(str, self.pieces)])


def read_scan(
    path: str | os.PathLike[str],
    *,
    od_mm: float,
    dpi: float | tuple[float, float] | None = None,
    end_a: str | None = None,
    sensor: str = "cis",
    scale_u: float = SCALE_U,
    line_mm: float | None = None,
) -> ScanReadings:
    """Read every offcut on a flatbed scan.

    End A is the end on the side that `end_a` names, for every piece on the scan; without it, the end of the leg
    that carries the one pen mark (marks are set before the bend). Where nothing tells, the leg on the left (or the
    top, where both ends are as far left) is given as leg A, and :meth:`ScanReading.as_offcut` asks.

    A reference page that lies on the glass beside the pieces, or a strip of it with at least two marks, checks the scale (`printed_scale`).

    Parameters
    ----------
    path : PNG, JPEG, TIFF, BMP or WebP
    od_mm : the tube's outside diameter [mm]
    dpi : pixels an inch (one number, or across and down); None takes what the file says
    end_a : ``"left"``, ``"right"``, ``"top"``, ``"bottom"`` or None
    sensor : ``"cis"`` (flat scanner, powered through its cable), ``"ccd"`` (lens across the picture) or ``"unknown"``
    scale_u : standard uncertainty of the dpi, as a share, in each direction
    line_mm : what the 100 mm line of a reference page on the glass measures by a rule [mm], or None

    Returns
    -------
    ScanReadings

    Raises
    ------
    NotAScan : where the file cannot be measured on at all, or a reference page on the glass speaks against its dpi
    ValueError : for a diameter, side or sensor that cannot be
    """
    check_told(od_mm, end_a)
    scan, u = laid_scan(path, od_mm=od_mm, dpi=dpi, sensor=sensor, scale_u=scale_u, line_mm=line_mm)
    return readings_on(scan, od_mm=od_mm, end_a=end_a, scale_u=u, notes=scan.notes)


def laid_scan(
    path: str | os.PathLike[str], *, od_mm: float, dpi: float | tuple[float, float] | None = None, sensor: str = "cis", scale_u: float = SCALE_U,
    line_mm: float | None = None,
) -> tuple[Scan, tuple[float, float]]:  # fmt: skip
    """A scan in the plane of its tube's middle, and the standard uncertainty of its scale (across, down), as a share.

    Parameters
    ----------
    path, od_mm, dpi, sensor, scale_u, line_mm : as for :func:`read_scan`

    Raises
    ------
    NotAScan : where the file cannot be measured on at all
    ValueError : for a sensor or uncertainty that cannot be
    """
    scale_of(sensor, od_mm, scale_u=scale_u)
    if line_mm is not None:
        check_line(line_mm)
    scan, on_glass = checked_scale(open_scan(path, dpi=dpi), scale_u=scale_u, line_mm=line_mm)
    both = [scale_of(sensor, od_mm, scale_u=each) for each in on_glass]
    factor, u = both[0][0], (both[0][1][0], both[1][1][1])
    pixel = (scan.pixel_mm[0] * factor[0], scan.pixel_mm[1] * factor[1])
    if od_mm / max(pixel) < 12:
        raise NotAScan(
            f'"{scan.name}": a tube of {od_mm:g} mm is only {od_mm / max(pixel):.0f} pixels wide; at least 12 are needed. Scan at {300 if min(scan.dpi) < 290 else 600} dpi.'
        )
    return replace(scan, pixel_mm=pixel), u


def readings_on(scan: Scan, *, od_mm: float, end_a: str | None, scale_u: tuple[float, float], view: View | None = None, notes: tuple[str, ...] = ()) -> ScanReadings:
    """Read all pieces on a picture that lies in the plane of the page.

    Parameters
    ----------
    scan : the picture
    od_mm, end_a, scale_u, view : as for one piece
    notes : what was found about the picture as a whole
    """
    unlike, found, said = things_on(scan, od_mm=od_mm)
    if said:
        return ScanReadings(scan.name, (), (said,), scan, notes)
    shapes = [rough_shape(f, od_mm) for f in found]
    bent = [f for f, shape in zip(found, shapes, strict=True) if is_bent(f, shape, od_mm)]
    pieces = tuple(
        read_piece(
            k, f, shape, scan, unlike, od_mm=od_mm, end_a=end_a, scale_u=scale_u, view=view, others=tuple(each for each in bent if each is not f)
        )
        for k, (f, shape) in enumerate(zip(found, shapes, strict=True), start=1)
    )
    return ScanReadings(scan.name, pieces, (), scan, notes)


def things_on(scan: Scan, *, od_mm: float, shortest: float = SHORTEST) -> tuple[Unlike, list[Found], str]:
    """How unlike its backdrop a picture is, everything that lies on it, and why nothing can be told of it, or a blank.

    Parameters
    ----------
    scan : the picture
    od_mm : the tube's outside diameter [mm]
    shortest : how many diameters long a thing is at least
    """
    unlike = unlike_backdrop(scan.rgb)
    if unlike.plain < _PLAIN or unlike.noise > _NOISIEST:
        return unlike, [], "The backdrop is not plain enough to tell tube from paper. Lay a plain sheet, light or dark, behind the pieces and take the picture again."
    found = find_pieces(unlike, pixel_mm=scan.pixel_mm, od_mm=od_mm, shortest=shortest, blank=scan.blank)
    if not found:
        return unlike, [], f"Nothing on it is as long and wide as a bent tube of {od_mm:g} mm. Look at the diameter and at {ITS_SCALE}, and at whether tube and paper differ."
    return unlike, found, ""


def check_told(od_mm: float, end_a: str | None) -> None:
    """Whether a diameter and a side can be.

    Parameters
    ----------
    od_mm : the tube's outside diameter [mm]
    end_a : a side, or None

    Raises
    ------
    ValueError : where one of them cannot
    """
    if not (isinstance(od_mm, (int, float)) and isfinite(od_mm) and 1.0 <= od_mm <= 60.0):
        raise ValueError(f"The tube's outside diameter is {od_mm!r} mm; from 1 to 60 mm are read from a scan.")
    if end_a is not None and end_a not in SIDES:
        raise ValueError(f"end_a is {end_a!r}; it must be one of {', '.join(SIDES)}, or None.")


def check_line(line_mm: float) -> None:
    """Whether a 100 mm line can measure that.

    Parameters
    ----------
    line_mm : what it measures [mm]

    Raises
    ------
    ValueError : where it cannot
    """
    if not _LEAST_LINE <= line_mm <= _MOST_LINE:
        raise ValueError(f"The page's 100 mm line is said to measure {line_mm:g} mm; from {_LEAST_LINE:g} to {_MOST_LINE:g} can be. Measure it once more.")
