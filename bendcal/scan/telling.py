"""What was seen of a piece, told as a person measures it: angle, radius, both legs, the mark, and which end is A."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bendcal.estimate import Estimate
from bendcal.scan.edges import Edges
from bendcal.scan.ends import CutEnd, PenMark
from bendcal.scan.heights import View, standing
from bendcal.scan.piece import ScanReading
from bendcal.scan.rising import rise
from bendcal.scan.tube_model import ARC, BELIEFS, LEG_1, LEG_2, Fitted, Shape, distances, fit_edges
from bendcal.scan.uncertainty import moved, results
from bendcal.scan.weighing import Weighed, corrected, covariance, weighed

__all__ = ["LIT_PX", "Seen", "end_of_leg_a", "flat", "from_above", "told"]

#: On a photo the light comes from one side and the shadow lies on the other: by so much, in pixels, is half of a tube's width taken to be off. Widths
#: of careful photos scattered by 0.14 pixels, half of that because prints are stretched; with more than this, ranges of short arcs' radii are too long.
LIT_PX = 0.07
_LIES_U_MM = 0.08  # how far an end or the bend may stand off the page though the piece lies flat: a burr, a ripple of the paper (an assumption)
_CLOSE_MM, _SHORT_DEG = 0.3, 60  # a radius that a scan tells less closely (at 95 %) is said to be
_SIDES = {"left": (0, 1), "right": (0, -1), "top": (1, 1), "bottom": (1, -1)}


@dataclass(frozen=True, eq=False)
class Seen:
    """A piece as it is seen in the picture: its fitted outline, its two cut ends, and (leg, pen mark) pairs."""

    number: int
    box_mm: tuple[float, float, float, float]
    fitted: Fitted
    edges: Edges
    cut: tuple[CutEnd, ...]
    marks: tuple[tuple[int, PenMark], ...]


@dataclass(frozen=True, eq=False)
class _Upright:
    """The same from straight above: the fit, the ends' places and uncertainties, the marks' distances from their end."""

    fitted: Fitted
    points: np.ndarray
    ends_mm: np.ndarray
    ends_u: tuple[float, float]
    marks: tuple[tuple[int, float, float], ...]


def told(
    seen: Seen, *, end_a: str | None, scale_u: tuple[float, float], pixel_mm: float, od_mm: float, dark: bool, view: View | None = None
) -> ScanReading:
    """What a person would measure, each with its uncertainty.

    Parameters
    ----------
    seen : the piece
    end_a : the side on which end A lies, or None
    scale_u : (across, down) standard uncertainty of the scale, as a share
    pixel_mm, od_mm : size of a pixel, and the tube's diameter [mm]
    dark : whether the backdrop is dark
    view : the camera; None for a scanner
    """
    raw, edges = seen.fitted.shape, seen.edges
    points, side, runs = flat(edges)
    upright = _upright(seen, points, od_mm, view)
    kept = ~np.isnan(edges.at_mm[:, :, 0])
    along = np.concatenate([edges.along_mm[kept[0]], edges.along_mm[kept[1]]])
    weights = weighed(
        upright.fitted, upright.ends_mm, along, side, series=runs, off_mm=_off(edges, od_mm) if view is None else (LIT_PX * pixel_mm,) * 2, pixel_mm=pixel_mm, od_mm=od_mm, dark=dark
    )
    shape, at = corrected(upright.fitted, weights), upright.ends_mm
    value = results(shape, at)
    cov = covariance(weights, shape, at, upright.ends_u, scale_u=scale_u)
    if view is not None:
        cov = cov + _of_camera(seen, upright, weights, shape, points, side, od_mm, view) + _of_heights(upright, weights, shape, side, od_mm, view)
    first, known, notes = end_of_leg_a(at, seen.marks, end_a, od_mm)
    order = [0, 1, 2 + first, 3 - first]
    value, cov = value[order], cov[np.ix_(order, order)]
    mark = None
    if len(seen.marks) > 1:
        notes.append(f"{len(seen.marks)} lines run across its legs; which is the mark cannot be told.")
    elif seen.marks and known and seen.marks[0][0] == first:
        leg, distance, u = upright.marks[0]
        instead = () if view is None else [_mark_from_end(seen, leg, seen.marks[0][1], od_mm, view, other)[0] - distance for other in view.others]
        mark = Estimate(distance, float(np.sqrt(u**2 + upright.ends_u[leg] ** 2 + (max(scale_u) * distance) ** 2 + np.sum(np.square(instead)))), "mm")
    elif seen.marks and known:
        notes.append("The one line across it is on leg B, not on leg A.")
    estimates = [Estimate(float(v), float(s), unit) for v, s, unit in zip(value, np.sqrt(np.diag(cov)), ("°", "mm", "mm", "mm"), strict=True)]
    if view is None and 1.96 * estimates[1].u > _CLOSE_MM:
        notes.append(
            f"Its radius is told to ± {1.96 * estimates[1].u:.1f} mm only{f', for a bend of {value[0]:.0f}° has little of it' if value[0] < _SHORT_DEG else ''}: "
            f"for the radius, lay a piece {f'that is bent by {_SHORT_DEG}° or more ' if value[0] < _SHORT_DEG else ''}on light paper, at 300 dpi or more."
        )
    return ScanReading(
        seen.number, seen.box_mm, (), *estimates, mark=mark, covariance=cov, end_a=known, notes=tuple(notes),
        shape=shape if view is None else raw, ends_mm=_ends_of(seen)[[first, 1 - first]], edges_mm=points,
    )  # fmt: skip


def _ends_of(seen: Seen) -> np.ndarray:
    """(2, 2) the middles of the cut ends where they are seen [mm]."""
    shape = seen.fitted.shape
    return np.array([shape.apex + c.from_apex_mm * shape.directions[k] for k, c in enumerate(seen.cut)])


def _upright(seen: Seen, points: np.ndarray, od_mm: float, view: View | None) -> _Upright:
    shape = seen.fitted.shape
    at, ends_u = _ends_of(seen), [float(np.hypot(c.u_mm, 0.04 * c.oblique_mm)) for c in seen.cut]
    if view is None:
        marks = tuple((leg, seen.cut[leg].from_apex_mm - m.from_apex_mm, m.u_mm) for leg, m in seen.marks)
        return _Upright(seen.fitted, points, at, tuple(ends_u), marks)
    fitted, lowered = from_above(seen.fitted, seen.edges, od_mm, view)
    for leg, out in enumerate(shape.directions):
        at[leg], more = view.place_seen_at(at[leg], out, "end", od_mm / 2)
        ends_u[leg] = float(np.hypot(ends_u[leg], more))
    marks = []
    for leg, m in seen.marks:
        distance, more = _mark_from_end(seen, leg, m, od_mm, view)
        marks.append((leg, distance, float(np.hypot(m.u_mm, more))))
    return _Upright(fitted, lowered, at, tuple(ends_u), tuple(marks))


def _mark_from_end(seen: Seen, leg: int, mark: PenMark, od_mm: float, view: View, other: tuple | None = None) -> tuple[float, float]:
    """How far a mark is from its leg's end, by the view or by one of its others, and what the mark's height may shift it by [mm]."""
    out = seen.fitted.shape.directions[leg]
    end, _ = view.place_seen_at(_ends_of(seen)[leg], out, "end", od_mm / 2, other=other)
    place, u = view.place_seen_at(seen.fitted.shape.apex + mark.from_apex_mm * out, out, "mark", od_mm / 2, other=other)
    return float((end - place) @ out), u


def from_above(fitted: Fitted, edges: Edges, od_mm: float, view: View) -> tuple[Fitted, np.ndarray]:
    """The same tube fitted as if seen from straight above, and (n, 2) its edges there [mm].

    Parameters
    ----------
    fitted, edges : as they lie in the picture
    od_mm : the tube's diameter [mm]
    view : the camera
    """
    points, side, _ = flat(edges)
    lowered = view.under_outline(points, side, fitted.shape, od_mm / 2)
    return fit_edges(fitted.shape, lowered, side, spread_mm=fitted.spread_mm, od_mm=od_mm), lowered


def _of_camera(seen: Seen, upright: _Upright, weights: Weighed, shape: Shape, points: np.ndarray, side: np.ndarray, od_mm: float, view: View) -> np.ndarray:
    """(4, 4) covariance because the camera's place and lens are known only so well."""
    solve, total = weights.solve, np.zeros((4, 4))
    value, raw = results(shape, upright.ends_mm), seen.fitted.shape
    here, _ = distances(upright.fitted.shape, upright.points)
    for other in view.others:
        off = distances(upright.fitted.shape, view.under_outline(points, side, raw, od_mm / 2, other=other))[0] - here
        ends = [view.place_seen_at(p, out, "end", od_mm / 2, other=other)[0] for p, out in zip(_ends_of(seen), raw.directions, strict=True)]
        change = results(moved(shape, -solve @ np.append(off, np.zeros(solve.shape[1] - len(off)))), np.array(ends)) - value
        total += np.outer(change, change)
    return total


def _of_heights(upright: _Upright, weights: Weighed, shape: Shape, side: np.ndarray, od_mm: float, view: View) -> np.ndarray:
    """(4, 4) covariance because an end or the bend may stand a little off the page, an end as high as it is seen to where that is more."""
    value, total, fitted, points = results(shape, upright.ends_mm), np.zeros((4, 4)), upright.fitted.shape, upright.points
    reach = tuple(float(r) for r in ((upright.ends_mm - fitted.apex) * fitted.directions).sum(axis=1))
    here, _ = distances(fitted, points)
    shares, at_ends = standing(fitted, points, reach), standing(fitted, upright.ends_mm, reach)
    for node, leg in enumerate((LEG_1, None, LEG_2)):
        found = None if leg is None else rise(upright.fitted, leg, points, side, view.photo_at(points), view.high_above(points), od_mm)
        beyond = 0.0 if found is None else max(0.0, found[0][0] ** 2 - found[1][0] ** 2)
        high = np.sqrt(_LIES_U_MM**2 + beyond)
        off = distances(fitted, view.higher(points, high * shares[node]))[0] - here
        change = results(moved(shape, -weights.solve @ np.append(off, np.zeros(BELIEFS))), view.higher(upright.ends_mm, high * at_ends[node])) - value
        total += np.outer(change, change)
    return total


def end_of_leg_a(at: np.ndarray, marks: tuple, end_a: str | None, od_mm: float) -> tuple[int, str, list[str]]:
    """Which end comes first, on which side it lies if that is known to be A, and what is to be said.

    Parameters
    ----------
    at : (2, 2) both ends [mm]
    marks : (leg, mark) pairs; a single one tells A
    end_a : the side on which end A lies, or None
    od_mm : the tube's diameter [mm]: ends that lie nearer to a side by less are alike
    """
    first = int(at[1, 0] < at[0, 0] - od_mm or (abs(at[1, 0] - at[0, 0]) <= od_mm and at[1, 1] < at[0, 1]))
    if end_a is not None:
        axis, sign = _SIDES[end_a]
        if abs(at[0, axis] - at[1, axis]) < od_mm:
            return first, "", [f"Both ends lie as far to the {end_a}, so that does not tell which is A."]
        return int(sign * at[1, axis] < sign * at[0, axis]), end_a, []
    if len(marks) != 1:
        return first, "", []
    first = marks[0][0]
    apart = at[first] - at[1 - first]
    axis = int(abs(apart[1]) > abs(apart[0]))
    return first, (("left", "right"), ("top", "bottom"))[axis][int(apart[axis] > 0)], []


def _off(edges: Edges, od_mm: float) -> tuple[float, float]:
    """By how much half of each leg's width, where both of its edges were kept, is not half the diameter [mm]."""
    both = np.isfinite(edges.at_mm[:, :, 0]).all(axis=0)
    seen = [edges.width_mm[both & (edges.zone == leg)] for leg in (LEG_1, LEG_2)]
    return tuple(abs(od_mm - float(np.median(w))) / 2 if w.size else 0.0 for w in seen)


def flat(edges: Edges) -> tuple[np.ndarray, np.ndarray, list[np.ndarray]]:
    """All edge points that were found, which edge each is on, and the runs that each edge of each zone makes.

    Parameters
    ----------
    edges : as found
    """
    kept = ~np.isnan(edges.at_mm[:, :, 0])
    points = np.concatenate([edges.at_mm[0, kept[0]], edges.at_mm[1, kept[1]]])
    side = np.concatenate([np.ones(kept[0].sum()), -np.ones(kept[1].sum())])
    zone = np.concatenate([edges.zone[kept[0]], edges.zone[kept[1]]])
    runs = [np.flatnonzero((side == s) & (zone == z)) for s in (1, -1) for z in (LEG_1, LEG_2, ARC)]
    return points, side, runs
