"""Read offcuts from a flatbed scan: finished angle, centreline radius, legs and mark, each with its uncertainty.

The tube lies on the glass, its ends clear of the picture's border, any number of pieces side by side; the lid's
paper may be light or dark. Lay the bend so that the line that halves it runs slantwise, at 45°: the angle is then
free of any difference between the scanner's two directions. What is not clearly one bend is refused.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from math import isfinite

import numpy as np

from bendcal.estimate import Estimate
from bendcal.scan.backdrop import Unlike, unlike_backdrop
from bendcal.scan.decode import NotAScan, Scan, open_scan
from bendcal.scan.edges import Edges, find_edges, lined_up, without_soft
from bendcal.scan.ends import CutEnd, find_end, find_marks
from bendcal.scan.judging import against_edges, against_fit, in_line, is_dark
from bendcal.scan.overlay import overlay_png
from bendcal.scan.piece import SIDES, ScanReading
from bendcal.scan.scanner import SCALE_U, scale_of
from bendcal.scan.separate import Found, find_pieces
from bendcal.scan.tube_model import ARC, LEG_1, LEG_2, Shape, fit_centreline, fit_edges
from bendcal.scan.uncertainty import corrected, covariance, results

__all__ = ["ScanReadings", "read_scan"]

_PLAIN = 0.35  # at least so much of a picture is backdrop
_NOISIEST = 0.06
_ROUGHEST_END_MM = 0.1  # a cut is straight; what glare leaves of one is not
_NO_BEND = "It makes no bend that could be read: straight, too short, or no tube."
_NO_LEGS = "A straight leg is shorter than half a diameter, or it is not one bend between straight legs. Measure this piece by hand."


@dataclass(frozen=True, eq=False)
class ScanReadings:
    """All pieces on a scan, from left to right: a sequence of :class:`ScanReading`.

    Attributes
    ----------
    pieces : the readings, refused ones among them
    refused : sentences about the scan as a whole and about pieces that were not read
    """

    name: str
    pieces: tuple[ScanReading, ...]
    said: tuple[str, ...]
    scan: Scan = field(repr=False)

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
        return "\n".join([*self.said, *map(str, self.pieces)])


def read_scan(
    path: str | os.PathLike[str],
    *,
    od_mm: float,
    dpi: float | tuple[float, float] | None = None,
    end_a: str | None = None,
    sensor: str = "cis",
    scale_u: float = SCALE_U,
) -> ScanReadings:
    """Read every offcut on a flatbed scan.

    End A is the end on the side that `end_a` names, for every piece on the scan; without it, the end of the leg
    that carries the one pen mark (marks are set before the bend). Where nothing tells, the leg on the left (or the
    top, where both ends are as far left) is given as leg A, and :meth:`ScanReading.as_offcut` asks.

    Parameters
    ----------
    path : PNG, JPEG, TIFF, BMP or WebP
    od_mm : the tube's outside diameter [mm]
    dpi : pixels an inch (one number, or across and down); None takes what the file says
    end_a : ``"left"``, ``"right"``, ``"top"``, ``"bottom"`` or None
    sensor : ``"cis"`` (flat scanner, powered through its cable), ``"ccd"`` (lens across the picture) or ``"unknown"``
    scale_u : standard uncertainty of the dpi, as a share, in each direction

    Returns
    -------
    ScanReadings

    Raises
    ------
    NotAScan : where the file cannot be measured on at all
    ValueError : for a diameter, side or sensor that cannot be
    """
    if not (isinstance(od_mm, (int, float)) and isfinite(od_mm) and 1.0 <= od_mm <= 60.0):
        raise ValueError(f"The tube's outside diameter is {od_mm!r} mm; from 1 to 60 mm are read from a scan.")
    if end_a is not None and end_a not in SIDES:
        raise ValueError(f"end_a is {end_a!r}; it must be one of {', '.join(SIDES)}, or None.")
    factor, u = scale_of(sensor, od_mm, scale_u=scale_u)
    scan = open_scan(path, dpi=dpi)
    pixel = (scan.pixel_mm[0] * factor[0], scan.pixel_mm[1] * factor[1])
    scan = Scan(scan.name, scan.rgb, pixel, scan.dpi)
    if od_mm / max(pixel) < 12:
        raise NotAScan(
            f'"{scan.name}": a tube of {od_mm:g} mm is only {od_mm / max(pixel):.0f} pixels wide; at least 12 are needed. Scan at {300 if min(scan.dpi) < 290 else 600} dpi.'
        )
    unlike = unlike_backdrop(scan.rgb)
    if unlike.plain < _PLAIN or unlike.noise > _NOISIEST:
        said = "The backdrop is not plain enough to tell tube from paper. Lay a plain sheet, light or dark, over the pieces and scan again."
        return ScanReadings(scan.name, (), (said,), scan)
    found = find_pieces(unlike, pixel_mm=pixel, od_mm=od_mm)
    if not found:
        said = f"Nothing on it is as long and wide as a bent tube of {od_mm:g} mm. Look at the diameter and the dpi, and at whether tube and paper differ."
        return ScanReadings(scan.name, (), (said,), scan)
    pieces = tuple(_read(k, f, scan, unlike, od_mm, end_a, u) for k, f in enumerate(found, start=1))
    return ScanReadings(scan.name, pieces, (), scan)


def _read(number: int, found: Found, scan: Scan, unlike: Unlike, od_mm: float, end_a: str | None, scale_u: tuple[float, float]) -> ScanReading:
    def refuse(*why: str, shape: Shape | None = None) -> ScanReading:
        return ScanReading(number, found.box_mm, tuple(why), shape=shape)

    if found.refused:
        return refuse(found.refused)
    if len(found.centreline_mm) < 8:
        return refuse(_NO_BEND)
    shape = fit_centreline(found.centreline_mm, od_mm / 2)
    if shape is None:
        return refuse(_NO_BEND)
    pixel = float(np.mean(scan.pixel_mm))
    ends = _rough_ends(found, shape)
    if min(ends) < shape.setback_mm + od_mm / 2:
        return refuse(_NO_LEGS)
    shape = fit_centreline(lined_up(unlike.map, unlike.noise, shape, ends, pixel_mm=scan.pixel_mm, od_mm=od_mm), od_mm / 2)
    if shape is None:
        return refuse(_NO_BEND)
    wide = (0.3 * od_mm + 3 * pixel, 0.25 * od_mm + 2 * pixel)
    narrow = (0.12 * od_mm + 3 * pixel, 0.06 * od_mm + 2 * pixel, 0.05 * od_mm + 1.5 * pixel)
    # On dark paper what is left of a tube may be much narrower than the tube.
    why, fit = _fitted(found, shape, scan, unlike, od_mm, wide if is_dark(unlike.light) else narrow)
    if why and fit is not None and not is_dark(unlike.light):
        # Edges that are nowhere near where they should be: looked for further away, they may tell the reason.
        told, further = _fitted(found, shape, scan, unlike, od_mm, wide[:1])
        why = told or (against_fit(*further, od_mm=od_mm, pixel_mm=pixel, light=unlike.light) if further else ()) or why
    if why:
        return refuse(*why, shape=shape)
    fitted, edges, _, ends = fit
    shape = fitted.shape
    if why := against_fit(*fit, od_mm=od_mm, pixel_mm=pixel, light=unlike.light):
        return refuse(*why, shape=shape)
    cut = [find_end(unlike.map, unlike.noise, shape, leg, ends[leg], pixel_mm=scan.pixel_mm) for leg in (0, 1)]
    if None in cut or max(c.oblique_mm for c in cut) > 0.8 * od_mm or max(c.u_mm for c in cut) > _ROUGHEST_END_MM:
        return refuse("One of its ends cannot be told clearly from what lies beside it (glare, dirt), or is cut very slantwise. Clean it, lay it free and scan again.", shape=shape)
    if any(in_line(unlike.map, unlike.noise, shape, k, c.from_apex_mm, pixel_mm=scan.pixel_mm) for k, c in enumerate(cut)):
        return refuse("Beyond one of its ends, in line with it, lies something more: perhaps the tube goes on, after a stretch as light as the paper. Lay paper of another shade over it, or move it away from what lies there, and scan again.", shape=shape)
    marks = [(leg, m) for leg in (0, 1) for m in find_marks(scan.rgb, shape, leg, cut[leg].from_apex_mm, pixel_mm=scan.pixel_mm)]
    return _told(number, found, fitted, edges, cut, marks, end_a, scale_u, pixel, od_mm, is_dark(unlike.light))


def _fitted(found: Found, shape: Shape, scan: Scan, unlike: Unlike, od_mm: float, windows: tuple[float, ...]) -> tuple:
    """What speaks against it, and (fit, edges, found, ends) through edges sought ever closer to the shape; the latter None without legs."""
    spread = max(0.05, 0.6 * float(np.mean(scan.pixel_mm)))
    fit = None
    for window in windows:
        ends = _rough_ends(found, shape)
        if min(ends) < shape.setback_mm + od_mm / 2:
            return (_NO_LEGS,), None
        edges = find_edges(unlike.map, unlike.noise, shape, ends, pixel_mm=scan.pixel_mm, window_mm=window)
        if why := against_edges(edges, shape, ends, od_mm, unlike.light):
            return why, fit or ()
        edges = without_soft(edges, od_mm, scan.pixel_mm)
        points, side, _ = _flat(edges)
        fitted = fit_edges(shape, points, side, spread_mm=spread, od_mm=od_mm)
        shape = fitted.shape
        if not 0.2 < shape.half_mm / od_mm < 0.8 or not np.isfinite(shape.array()).all():
            return (_NO_BEND,), None
        fit = fitted, edges, found, ends
    return (), fit


def _told(number, found, fitted, edges, cut: list[CutEnd], marks: list, end_a, scale_u, pixel: float, od_mm: float, dark: bool) -> ScanReading:
    raw = fitted.shape
    at = np.array([raw.apex + c.from_apex_mm * raw.directions[k] for k, c in enumerate(cut)])
    shape = corrected(fitted)
    points, _, series = _flat(edges)
    kept = ~np.isnan(edges.at_mm[:, :, 0])
    along = np.concatenate([edges.along_mm[kept[0]], edges.along_mm[kept[1]]])
    ends_u = tuple(float(np.hypot(c.u_mm, 0.04 * c.oblique_mm)) for c in cut)
    value = results(shape, at)
    cov = covariance(fitted, shape, at, ends_u, along, series=series, off_mm=_off(edges, od_mm), pixel_mm=pixel, od_mm=od_mm, scale_u=scale_u, dark=dark)
    notes, first = [], int(at[1, 0] < at[0, 0] - od_mm or (abs(at[1, 0] - at[0, 0]) <= od_mm and at[1, 1] < at[0, 1]))
    known = ""
    if end_a is not None:
        axis, sign = {"left": (0, 1), "right": (0, -1), "top": (1, 1), "bottom": (1, -1)}[end_a]
        if abs(at[0, axis] - at[1, axis]) < od_mm:
            notes.append(f"Both ends lie as far to the {end_a}, so that does not tell which is A.")
        else:
            first, known = int(sign * at[1, axis] < sign * at[0, axis]), end_a
    elif len(marks) == 1:
        first = marks[0][0]
        apart = at[first] - at[1 - first]
        axis = int(abs(apart[1]) > abs(apart[0]))
        known = (("left", "right"), ("top", "bottom"))[axis][int(apart[axis] > 0)]
    order = [0, 1, 2 + first, 3 - first]
    value, cov = value[order], cov[np.ix_(order, order)]
    u = np.sqrt(np.diag(cov))
    mark = None
    if len(marks) > 1:
        notes.append(f"{len(marks)} lines run across its legs; which is the mark cannot be told.")
    elif marks and known and marks[0][0] == first:
        leg, seen = marks[0]
        distance = cut[leg].from_apex_mm - seen.from_apex_mm
        mark = Estimate(distance, float(np.sqrt(seen.u_mm**2 + ends_u[leg] ** 2 + (max(scale_u) * distance) ** 2)), "mm")
    elif marks and known:
        notes.append("The one line across it is on leg B, not on leg A.")
    estimates = [Estimate(float(v), float(s), unit) for v, s, unit in zip(value, u, ("°", "mm", "mm", "mm"), strict=True)]
    return ScanReading(
        number, found.box_mm, (), *estimates, mark=mark, covariance=cov, end_a=known, notes=tuple(notes), shape=shape,
        ends_mm=at[[first, 1 - first]], edges_mm=points,
    )  # fmt: skip


def _off(edges: Edges, od_mm: float) -> tuple[float, float]:
    """By how much half of each leg's width, where both of its edges were kept, is not half the diameter [mm]."""
    both = np.isfinite(edges.at_mm[:, :, 0]).all(axis=0)
    seen = [edges.width_mm[both & (edges.zone == leg)] for leg in (LEG_1, LEG_2)]
    return tuple(abs(od_mm - float(np.median(w))) / 2 if w.size else 0.0 for w in seen)


def _rough_ends(found: Found, shape: Shape) -> tuple[float, float]:
    """How far from the apex each leg's rough pixels reach along its middle [mm]."""
    from_apex = found.inside_mm - shape.apex
    reach = []
    for leg in (LEG_1, LEG_2):
        along, off = from_apex @ shape.directions[leg], from_apex @ shape.outward[leg]
        here = along[(np.abs(off) < 0.6 * shape.half_mm) & (along > 0)]
        reach.append(float(here.max()) + found.rough_mm / 2 if here.size else 0.0)
    return tuple(reach)


def _flat(edges: Edges) -> tuple[np.ndarray, np.ndarray, list[np.ndarray]]:
    """All edge points that were found, which edge each is on, and the runs that each edge of each zone makes."""
    kept = ~np.isnan(edges.at_mm[:, :, 0])
    points = np.concatenate([edges.at_mm[0, kept[0]], edges.at_mm[1, kept[1]]])
    side = np.concatenate([np.ones(kept[0].sum()), -np.ones(kept[1].sum())])
    zone = np.concatenate([edges.zone[kept[0]], edges.zone[kept[1]]])
    runs = [np.flatnonzero((side == s) & (zone == z)) for s in (1, -1) for z in (LEG_1, LEG_2, ARC)]
    return points, side, runs
