"""One flat line on a picture: its course fitted to its edges, judged bend by bend, and told; or why it cannot be read.

Each bend with its legs, up to the middle of the straight to the next, is looked at as an offcut is, by the same code.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from bendcal.scan.backdrop import Unlike
from bendcal.scan.course import Course, EdgePoints, FittedCourse, fit_course
from bendcal.scan.course_numbers import corrected_course, course_covariance, course_results
from bendcal.scan.decode import Scan
from bendcal.scan.edges import Edges, find_edges, profiles, without_soft
from bendcal.scan.ends import CutEnd, burnt_beyond, find_end
from bendcal.scan.flat_reading import PatternReading
from bendcal.scan.heights import View
from bendcal.scan.judging import LIFTED, against_edges, against_fit, in_line, is_dark, lifted
from bendcal.scan.one_piece import ROUGHEST_END_MM, rough_ends
from bendcal.scan.separate import Found
from bendcal.scan.telling import end_of_leg_a, flat
from bendcal.scan.tracing import first_course, traced, traced_along
from bendcal.scan.tube_model import LEG_1, LEG_2, distances
from bendcal.scan.uncertainty import solver

__all__ = ["read_line"]

_MOST_BENDS = 24
_LEAST_STRAIGHT = 1.5  # of the diameter
_NO_BEND = "It makes no bend that could be read: straight, too short, or no tube."
_ENDS = "One of its ends cannot be told clearly from what lies beside it (glare, dirt, a flare or a nut), or is cut very slantwise. Clean it, lay it free and scan again."
_GOES_ON = (
    "Beyond one of its ends, in line with it, lies something more: perhaps the tube goes on, after a stretch as light as the paper. "
    "Lay paper of another shade over it, or move it away from what lies there, and scan again."
)


@dataclass(frozen=True, eq=False)
class _Look:
    """A course with the edges of each bend, the pixels that belong to each, and how far from the outer apexes the ends are."""

    fitted: FittedCourse
    edges: tuple[Edges, ...]
    parts: tuple[Found, ...]
    ends: tuple[float, float]


def read_line(
    found: Found, scan: Scan, unlike: Unlike, *, od_mm: float, end_a: str | None, scale_u: tuple[float, float], view: View | None = None,
    flat_u_mm: float, notes: tuple[str, ...] = (),
) -> PatternReading:  # fmt: skip
    """Read the one thing that lies on a picture as a flat line.

    Parameters
    ----------
    found, scan, unlike : the thing, the picture, and how unlike its backdrop it is
    od_mm : the tube's or the wire's outside diameter [mm]
    end_a : the side on which end A lies, or None
    scale_u : (across, down) standard uncertainty of the scale, as a share
    view : the camera; None for a scanner
    flat_u_mm : how far its places may stand off their plane [mm]
    notes : what was found about the picture
    """

    def refuse(*why: str, course: Course | None = None, ends: np.ndarray | None = None) -> PatternReading:
        return PatternReading(scan.name, scan, tuple(dict.fromkeys(why)), notes=notes, course=course, ends_mm=ends)

    pixel, dark = float(np.mean(scan.pixel_mm)), is_dark(unlike.light)
    if found.refused:
        return refuse(found.refused)
    if len(found.centreline_mm) < 8:
        return refuse(found.wide or _NO_BEND)
    points = traced(unlike, found.centreline_mm, pixel_mm=scan.pixel_mm, od_mm=od_mm)
    first, known, more = end_of_leg_a(points[[0, -1]], (), end_a, od_mm)
    begun = first_course(points[::-1] if first else points, od_mm)
    if begun is None:
        return refuse(found.wide or _NO_BEND)
    course = begun[0]
    if (course.straight_mm > 0).all():
        tips = tuple(float(np.linalg.norm(points[k] - bend.apex)) for k, bend in zip((-1, 0) if first else (0, -1), (course.bends[0], course.bends[-1]), strict=True))
        again = first_course(traced_along(unlike, course, tips, pixel_mm=scan.pixel_mm, od_mm=od_mm), od_mm)
        course = again[0] if again is not None else course
    if course.count > _MOST_BENDS:
        return refuse(f"It seems to have {course.count} bends; at most {_MOST_BENDS} are read. Measure it in parts.")
    wide = (0.3 * od_mm + 3 * pixel, 0.25 * od_mm + 2 * pixel)
    narrow = (0.12 * od_mm + 3 * pixel, 0.06 * od_mm + 2 * pixel, 0.05 * od_mm + 1.5 * pixel)
    why, look = _looked(found, course, scan, unlike, od_mm, wide if dark else narrow)
    if why and not dark:
        # Edges that are nowhere near where they should be: looked for further away, they may tell the reason.
        reason, further = _looked(found, course, scan, unlike, od_mm, wide[:1])
        why = reason or (_against(further, _upright(further, od_mm, view), od_mm, pixel, unlike.light) if further else []) or why
    if why:
        return refuse(*why, course=look.fitted.course if look else course)
    course, upright = look.fitted.course, _upright(look, od_mm, view)
    if why := _against(look, upright, od_mm, pixel, unlike.light):
        return refuse(*why, course=course)
    cut = _cuts(look, scan, unlike, od_mm, view)
    if cut is None:
        return refuse(_ENDS, course=course)
    if _go_on(look, cut, unlike, scan):
        return refuse(_GOES_ON, course=course)
    return _told(look, upright, cut, scan, od_mm=od_mm, known=known, scale_u=scale_u, view=view, dark=dark, flat_u_mm=flat_u_mm, notes=(*notes, *more))


def _looked(found: Found, course: Course, scan: Scan, unlike: Unlike, od_mm: float, windows: tuple[float, ...]) -> tuple[list[str], _Look | None]:
    """What speaks against it, and the fit through edges sought ever closer to the course."""
    spread = max(0.05, 0.6 * float(np.mean(scan.pixel_mm)))
    look = None
    for window in windows:
        parts = _parts(found, course, od_mm)
        ends = rough_ends(parts[0], course.bends[0])[0], rough_ends(parts[-1], course.bends[-1])[1]
        straight = [ends[0] - course.bends[0].setback_mm, *course.straight_mm, ends[1] - course.bends[-1].setback_mm]
        if min(straight) < _LEAST_STRAIGHT * od_mm:
            return [found.wide or _too_short(int(np.argmin(straight)), course.count)], look
        reach = course.halfway_mm(ends)
        edges = tuple(
            without_soft(find_edges(unlike.map, unlike.noise, bend, _with_half(far, k, course), pixel_mm=scan.pixel_mm, window_mm=window), od_mm, scan.pixel_mm)
            for k, (bend, far) in enumerate(zip(course.bends, reach, strict=True))
        )
        for k, (bend, one) in enumerate(zip(course.bends, edges, strict=True)):
            whole = tuple(bend.setback_mm + straight[k + leg] for leg in (0, 1))
            if why := against_edges(one, bend, whole, od_mm):
                return _at(k, why), look
        points, _ = _points(edges)
        fitted = fit_course(course, points, spread_mm=spread, od_mm=od_mm)
        course = fitted.course
        if not (np.isfinite(course.array()).all() and 0.2 < course.half_mm / od_mm < 0.8 and (course.radius_mm > 0.5 * od_mm).all() and (course.straight_mm > 0).all()):
            return [found.wide or "It is not made of straight legs and round bends that could be told apart. Measure it by hand."], look
        look = _Look(fitted, edges, parts, ends)
    return [], look


def _against(look: _Look, upright: FittedCourse, od_mm: float, pixel_mm: float, light: float) -> list[str]:
    """What the fit shows, bend by bend."""
    said: list[str] = []
    course = look.fitted.course
    far = np.linalg.norm(np.diff(course.apex_mm, axis=0), axis=1)
    for k, (edges, part) in enumerate(zip(look.edges, look.parts, strict=True)):
        ends = (look.ends[0] if k == 0 else far[k - 1], look.ends[1] if k == course.count - 1 else far[k])
        said += _at(k, against_fit(upright.of_bend(k), edges, part, ends, seen=course.bends[k], od_mm=od_mm, pixel_mm=pixel_mm, light=light))
    if not said and lifted(*look.edges):
        said.append(LIFTED)
    return said


def _cuts(look: _Look, scan: Scan, unlike: Unlike, od_mm: float, view: View | None) -> tuple[CutEnd, CutEnd] | None:
    """Both cut ends; None where one is not clear."""
    cuts = []
    for bend, leg, end in _outer(look):
        out = bend.directions[leg]
        slant = 0.0 if view is None else view.slant(bend.apex + end * out, out)
        cut = find_end(unlike.map, unlike.noise, bend, leg, end, pixel_mm=scan.pixel_mm, bulge_mm=abs(slant) * od_mm / 2)
        if cut is None or cut.oblique_mm > 0.8 * od_mm or cut.u_mm > ROUGHEST_END_MM * (1 if view is None else 2):
            return None
        if burnt_beyond(scan.rgb, bend, leg, cut.from_apex_mm, unlike.light, pixel_mm=scan.pixel_mm):
            return None
        cuts.append(cut)
    return tuple(cuts)


def _go_on(look: _Look, cuts: tuple[CutEnd, CutEnd], unlike: Unlike, scan: Scan) -> bool:
    """Whether something lies in line with an end that is no other part of the line itself."""
    for (bend, leg, _), cut in zip(_outer(look), cuts, strict=True):
        own = look.parts[0 if leg == LEG_1 else -1]
        from_apex = own.inside_mm - bend.apex
        last = np.abs(from_apex @ bend.outward[leg]) < 1.5 * bend.half_mm
        rest = [part for part in look.parts if part is not own]
        elsewhere = (*rest, replace(own, inside_mm=own.inside_mm[~last], sharp=own.sharp[~last]))
        if in_line(unlike.map, unlike.noise, bend, leg, cut.from_apex_mm, pixel_mm=scan.pixel_mm, others=tuple(p for p in elsewhere if len(p.inside_mm))):
            return True
    return False


def _told(
    look: _Look, upright: FittedCourse, cuts: tuple[CutEnd, CutEnd], scan: Scan, *, od_mm: float, known: str, scale_u: tuple[float, float],
    view: View | None, dark: bool, flat_u_mm: float, notes: tuple[str, ...],
) -> PatternReading:  # fmt: skip
    raw = look.fitted.course
    seen = np.array([bend.apex + cut.from_apex_mm * bend.directions[leg] for (bend, leg, _), cut in zip(_outer(look), cuts, strict=True)])
    at, ends_u = seen.copy(), [float(np.hypot(c.u_mm, 0.04 * c.oblique_mm)) for c in cuts]
    if view is not None:
        for k, (bend, leg, _) in enumerate(_outer(look)):
            at[k], more = view.place_seen_at(seen[k], bend.directions[leg], "end", od_mm / 2)
            ends_u[k] = float(np.hypot(ends_u[k], more))
    points, along = _points(look.edges)
    course = corrected_course(upright)
    values = course_results(course, at)
    off = np.zeros(course.count + 1) if view is not None else _off(look, od_mm)
    covariance = course_covariance(
        upright, course, at, tuple(ends_u), along, off_mm=off, pixel_mm=float(np.mean(scan.pixel_mm)), od_mm=od_mm, scale_u=scale_u, dark=dark
    )
    if view is not None:
        covariance = covariance + _of_camera(look, upright, course, at, seen, values, od_mm, view)
    sense = course.sense
    twists = np.append(0.0, np.where(sense[1:] == sense[:-1], 0.0, 180.0))
    return PatternReading(
        scan.name, scan, (), values, covariance, twists, flat_u_mm, known, notes, course=raw, ends_mm=seen, edges_mm=points.at_mm
    )


def _upright(look: _Look, od_mm: float, view: View | None) -> FittedCourse:
    """The course fitted as if seen from straight above."""
    if view is None:
        return look.fitted
    points = look.fitted.points
    lowered = EdgePoints(_lowered(points, look.fitted.course, od_mm, view, None), points.side, points.bend)
    return fit_course(look.fitted.course, lowered, spread_mm=look.fitted.spread_mm, od_mm=od_mm)


def _lowered(points: EdgePoints, raw: Course, od_mm: float, view: View, other: tuple | None) -> np.ndarray:
    out = np.empty_like(points.at_mm)
    for k, bend in enumerate(raw.bends):
        here = points.bend == k
        out[here] = view.under_outline(points.at_mm[here], points.side[here], bend, od_mm / 2, other=other)
    return out


def _of_camera(look: _Look, upright: FittedCourse, course: Course, at: np.ndarray, seen: np.ndarray, values: np.ndarray, od_mm: float, view: View) -> np.ndarray:
    """The covariance because the camera's place and lens are known only so well."""
    solve, total, raw = solver(upright), np.zeros((len(values), len(values))), look.fitted.course
    points = upright.points
    for other in view.others:
        there = _lowered(look.fitted.points, raw, od_mm, view, other)
        off = np.zeros(len(points.side))
        for k, bend in enumerate(upright.course.bends):
            here = points.bend == k
            off[here] = distances(bend, there[here])[0] - distances(bend, points.at_mm[here])[0]
        ends = [view.place_seen_at(seen[k], bend.directions[leg], "end", od_mm / 2, other=other)[0] for k, (bend, leg, _) in enumerate(_outer(look))]
        change = course_results(course.moved(-solve @ np.append(off, np.zeros(upright.beliefs))), np.array(ends)) - values
        total += np.outer(change, change)
    return total


def _outer(look: _Look) -> tuple[tuple, tuple]:
    """The bend, the leg of it and the rough end of both end legs."""
    bends = look.fitted.course.bends
    return (bends[0], LEG_1, look.ends[0]), (bends[-1], LEG_2, look.ends[1])


def _points(edges: tuple[Edges, ...]) -> tuple[EdgePoints, np.ndarray]:
    """All edge points of all bends, and where along its zone each is [mm]."""
    at, side, bend, along = [], [], [], []
    for k, one in enumerate(edges):
        points, sides, _ = flat(one)
        kept = ~np.isnan(one.at_mm[:, :, 0])
        at.append(points)
        side.append(sides)
        bend.append(np.full(len(sides), k))
        along += [one.along_mm[kept[0]], one.along_mm[kept[1]]]
    return EdgePoints(np.concatenate(at), np.concatenate(side), np.concatenate(bend)), np.concatenate(along)


def _parts(found: Found, course: Course, od_mm: float) -> tuple[Found, ...]:
    """The thing's pixels, each with the bend that it is nearest to."""
    size = np.ptp(found.inside_mm, axis=0)
    long = float(np.hypot(*size)) + 2 * od_mm  # past any end; what lies there is told by the pixels
    reach = course.halfway_mm((min(long, _far_end(found, course, 0) + 3 * od_mm), min(long, _far_end(found, course, -1) + 3 * od_mm)))
    places, owner = [], []
    for k, (bend, far) in enumerate(zip(course.bends, reach, strict=True)):
        base = profiles(bend, far)[0]
        places.append(base)
        owner.append(np.full(len(base), k))
    _, nearest = cKDTree(np.concatenate(places)).query(found.inside_mm)
    whose = np.concatenate(owner)[nearest]
    return tuple(replace(found, inside_mm=found.inside_mm[whose == k], sharp=found.sharp[whose == k]) for k in range(course.count))


def _far_end(found: Found, course: Course, which: int) -> float:
    """About how far the rough centreline goes beyond the first or the last apex."""
    bend, leg = course.bends[which], LEG_1 if which == 0 else LEG_2
    tips = found.centreline_mm[[0, -1]] - bend.apex
    off, along = np.abs(tips @ bend.outward[leg]), tips @ bend.directions[leg]
    return float(along[np.argmin(np.where(along > 0, off, np.inf))])


def _with_half(far: tuple[float, float], k: int, course: Course) -> tuple[float, float]:
    """Profiles stop half a width before an end; in the middle of a straight they need not."""
    return far[0] + course.half_mm * (k > 0), far[1] + course.half_mm * (k < course.count - 1)


def _off(look: _Look, od_mm: float) -> np.ndarray:
    """(n + 1,) by how much half of each leg's width, where both of its edges were kept, is not half the diameter [mm]."""
    wide: list[list[np.ndarray]] = [[] for _ in range(look.fitted.course.count + 1)]
    for k, edges in enumerate(look.edges):
        both = np.isfinite(edges.at_mm[:, :, 0]).all(axis=0)
        for leg in (LEG_1, LEG_2):
            wide[k + leg].append(edges.width_mm[both & (edges.zone == leg)])
    joined = [np.concatenate(w) for w in wide]
    return np.array([abs(od_mm - float(np.median(w))) / 2 if w.size else 0.0 for w in joined])


def _at(bend: int, said: list[str] | tuple[str, ...]) -> list[str]:
    return [f"At bend {bend + 1}: {sentence}" for sentence in said]


def _too_short(leg: int, bends: int) -> str:
    which = "The straight part before the first bend" if leg == 0 else "The straight part after the last bend" if leg == bends else f"The straight part between bends {leg} and {leg + 1}"
    return f"{which} is shorter than one and a half diameters, too short to tell its direction: or two bends are one, or one is no round bend. Measure this line by hand."
