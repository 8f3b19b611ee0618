"""One flat line on a picture: its course fitted to its edges, judged bend by bend, and told; or why it cannot be read.

Each bend with its legs, up to the middle of the straight to the next, is looked at as an offcut is, by the same code.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from bendcal.scan.backdrop import Unlike
from bendcal.scan.course import Course, FittedCourse, fit_course
from bendcal.scan.decode import Scan
from bendcal.scan.edges import find_edges, profiles
from bendcal.scan.ends import CutEnd, burnt_beyond, find_end, usual_blur
from bendcal.scan.flat_reading import PatternReading
from bendcal.scan.heights import View
from bendcal.scan.judging import LIFTED, LIT_RMS_OF_LINE_MM, against_edges, against_fit, against_lit, in_line, is_dark, lifted, raised
from bendcal.scan.line_telling import Look, points_of, told_line, upright
from bendcal.scan.one_piece import ROUGHEST_END_MM, rough_ends
from bendcal.scan.separate import Found
from bendcal.scan.shaded import lit_edges, without_soft
from bendcal.scan.telling import end_of_leg_a
from bendcal.scan.tracing import first_course, traced, traced_along
from bendcal.scan.tube_model import LEG_1, LEG_2

__all__ = ["read_line"]

_MOST_BENDS = 24
_LEAST_STRAIGHT = 1.5  # of the diameter
_HIGH_MM = 4.0  # of invented lines on photos that lay flat no leg seemed to stand 3.3 mm higher than the others
_NO_BEND = "It makes no bend that could be read: straight, too short, or no tube."
_ENDS = "One of its ends cannot be told clearly from what lies beside it (glare, dirt, a flare or a nut), or is cut very slantwise. Clean it, lay it free and take the picture again."
_GOES_ON = (
    "Beyond one of its ends, in line with it, lies something more: perhaps the tube goes on, after a stretch as light as the paper. "
    "Lay paper of another shade over it, or move it away from what lies there, and take the picture again."
)


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

    if found.refused or len(found.centreline_mm) < 8:
        return PatternReading(scan.name, scan, (found.refused or found.wide or _NO_BEND,), notes=notes)
    how = {"od_mm": od_mm, "end_a": end_a, "scale_u": scale_u, "view": view, "flat_u_mm": flat_u_mm, "notes": notes}
    read = _read_along(found, scan, unlike, sharp=False, **how)
    if not read.refused or view is None or is_dark(unlike.light):
        return read
    # On light paper under a camera the border of a tube's shadow may be the clearer edge, and lead the course aside or be taken for its side.
    again = _read_along(found, scan, unlike, sharp=True, **how)
    return read if again.refused else again


def _read_along(
    found: Found, scan: Scan, unlike: Unlike, *, sharp: bool, od_mm: float, end_a: str | None, scale_u: tuple[float, float], view: View | None, flat_u_mm: float, notes: tuple[str, ...]
) -> PatternReading:  # fmt: skip
    """The line as its middle is traced, by sharp edges only or by all: read, or refused."""

    def refuse(*why: str, course: Course | None = None) -> PatternReading:
        return PatternReading(scan.name, scan, tuple(dict.fromkeys(why)), notes=notes, course=course)

    pixel, dark = float(np.mean(scan.pixel_mm)), is_dark(unlike.light)
    points = traced(unlike, found.centreline_mm, pixel_mm=scan.pixel_mm, od_mm=od_mm, view=view, sharp=sharp)
    first, known, more = end_of_leg_a(points[[0, -1]], (), end_a, od_mm)
    begun = first_course(points[::-1] if first else points, od_mm)
    if begun is None:
        return refuse(found.wide or _NO_BEND)
    course = begun[0]
    if (course.straight_mm > 0).all():
        tips = tuple(float(np.linalg.norm(points[k] - bend.apex)) for k, bend in zip((-1, 0) if first else (0, -1), (course.bends[0], course.bends[-1]), strict=True))
        again = first_course(traced_along(unlike, course, tips, pixel_mm=scan.pixel_mm, od_mm=od_mm, view=view, sharp=sharp), od_mm)
        course = again[0] if again is not None else course
    if course.count > _MOST_BENDS:
        return refuse(f"It seems to have {course.count} bends; at most {_MOST_BENDS} are read. Measure it in parts.")
    wide = (0.3 * od_mm + 3 * pixel, 0.25 * od_mm + 2 * pixel)
    narrow = (0.12 * od_mm + 3 * pixel, 0.06 * od_mm + 2 * pixel, 0.05 * od_mm + 1.5 * pixel)
    why, look = _looked(found, course, scan, unlike, od_mm, wide if dark else narrow, sharp)
    if why and not dark:
        # Edges that are nowhere near where they should be: looked for further away, they may tell the reason.
        reason, further = _looked(found, course, scan, unlike, od_mm, wide[:1], sharp)
        why = reason or (_against(further, upright(further, od_mm, view), od_mm, pixel, unlike.light, view) if further else []) or why
    if why:
        return refuse(*why, course=look.fitted.course if look else course)
    course, seen = look.fitted.course, upright(look, od_mm, view)
    if why := _against(look, seen, od_mm, pixel, unlike.light, view):
        return refuse(*why, course=course)
    cut = _cuts(look, scan, unlike, od_mm, view)
    if cut is None:
        return refuse(_ENDS, course=course)
    if _go_on(look, cut, unlike, scan):
        return refuse(_GOES_ON, course=course)
    return told_line(look, seen, cut, scan, od_mm=od_mm, known=known, scale_u=scale_u, view=view, dark=dark, flat_u_mm=flat_u_mm, notes=(*notes, *more))


def _looked(found: Found, course: Course, scan: Scan, unlike: Unlike, od_mm: float, windows: tuple[float, ...], sharp: bool) -> tuple[list[str], Look | None]:
    """What speaks against it, and the fit through edges sought ever closer to the course."""
    spread = max(0.05, 0.6 * float(np.mean(scan.pixel_mm)))
    look = None
    for last, window in enumerate(windows, 1 - len(windows)):
        parts = _parts(found, course, od_mm)
        ends = rough_ends(parts[0], course.bends[0])[0], rough_ends(parts[-1], course.bends[-1])[1]
        straight = [ends[0] - course.bends[0].setback_mm, *course.straight_mm, ends[1] - course.bends[-1].setback_mm]
        if min(straight) < _LEAST_STRAIGHT * od_mm:
            return [found.wide or _too_short(int(np.argmin(straight)), course.count)], look
        reach = course.halfway_mm(ends)
        edges = tuple(
            find_edges(unlike.map, unlike.noise, bend, _with_half(far, k, course), pixel_mm=scan.pixel_mm, window_mm=window, sharp=sharp)
            for k, (bend, far) in enumerate(zip(course.bends, reach, strict=True))
        )
        for k, (bend, one) in enumerate(zip(course.bends, edges, strict=True)):
            whole = tuple(bend.setback_mm + straight[k + leg] for leg in (0, 1))
            if why := against_edges(one, bend, whole, od_mm):
                return _at(k, why), look
        edges = tuple(without_soft(one, od_mm, scan.pixel_mm) for one in edges)
        if last == 0 and is_dark(unlike.light):
            edges = tuple(
                lit_edges(unlike.map, unlike.noise, bend, _with_half(far, k, course), one, pixel_mm=scan.pixel_mm, od_mm=od_mm)
                for k, (bend, far, one) in enumerate(zip(course.bends, reach, edges, strict=True))
            )
            for k, one in enumerate(edges):
                if why := against_lit(one, od_mm):
                    return _at(k, why), look
        points, _ = points_of(edges)
        fitted = fit_course(course, points, spread_mm=spread, od_mm=od_mm)
        course = fitted.course
        if not (np.isfinite(course.array()).all() and 0.2 < course.half_mm / od_mm < 0.8 and (course.radius_mm > 0.5 * od_mm).all() and (course.straight_mm > 0).all()):
            return [found.wide or "It is not made of straight legs and round bends that could be told apart. Measure it by hand."], look
        look = Look(fitted, edges, parts, ends)
    return [], look


def _against(look: Look, seen: FittedCourse, od_mm: float, pixel_mm: float, light: float, view: View | None) -> list[str]:
    """What the fit shows, bend by bend."""
    said: list[str] = []
    course = look.fitted.course
    far = np.linalg.norm(np.diff(course.apex_mm, axis=0), axis=1)
    how = {"rms_mm": LIT_RMS_OF_LINE_MM} if is_dark(light) else {}
    for k, (edges, part) in enumerate(zip(look.edges, look.parts, strict=True)):
        ends = (look.ends[0] if k == 0 else far[k - 1], look.ends[1] if k == course.count - 1 else far[k])
        if view is not None:
            here = seen.points.bend == k
            points = seen.points.at_mm[here]
            said += _at(k, [why for why in [raised(seen.of_bend(k), points, seen.points.side[here], view.photo_at(points), view.high_above(points), od_mm, strict=view.one_photo)] if why])
        said += _at(k, against_fit(seen.of_bend(k), edges, part, ends, seen=course.bends[k], od_mm=od_mm, pixel_mm=pixel_mm, light=light, **how))
    if view is not None and (high := _highest_leg(seen, view, od_mm)) > _HIGH_MM:
        said.append(f"One of its legs is seen wider than the others, as if it stood some {high:.0f} mm higher: it does not lie flat. Press it flat and take the picture again.")
    if not said and lifted(*look.edges):
        said.append(LIFTED)
    return said


def _highest_leg(seen: FittedCourse, view: View, od_mm: float) -> float:
    """How much higher than the others one leg stands, by how much wider it is seen [mm]: what is 1 mm nearer to the camera is seen larger by one part in its height."""
    points, count = seen.points, len(seen.points.bend)
    wider, weight, zone = points.side * seen.residual_mm[:count], seen.weight[:count], seen.zone[:count]
    legs = [(points.bend == k) & (zone == leg) for k in range(seen.course.count) for leg in (LEG_1, LEG_2)]
    means = np.array([np.average(wider[here], weights=weight[here]) for here in legs if weight[here].sum() > 0])
    return float(means.max() - np.median(means)) * view.high_above(points.at_mm) / (od_mm / 2) if len(means) else 0.0


def _cuts(look: Look, scan: Scan, unlike: Unlike, od_mm: float, view: View | None) -> tuple[CutEnd, CutEnd] | None:
    """Both cut ends; None where one is not clear."""
    cuts = []
    for bend, leg, end in look.outer:
        out = bend.directions[leg]
        slant = 0.0 if view is None else view.slant(bend.apex + end * out, out)
        blur = usual_blur(look.edges[0 if leg == LEG_1 else -1])
        cut = find_end(unlike.map, unlike.noise, bend, leg, end, pixel_mm=scan.pixel_mm, blur_px=blur, bulge_mm=abs(slant) * od_mm / 2)
        if cut is None or cut.oblique_mm > 0.8 * od_mm or cut.u_mm > ROUGHEST_END_MM * (1 if view is None else 2):
            return None
        if burnt_beyond(scan.rgb, bend, leg, cut.from_apex_mm, pixel_mm=scan.pixel_mm):
            return None
        cuts.append(cut)
    return tuple(cuts)


def _go_on(look: Look, cuts: tuple[CutEnd, CutEnd], unlike: Unlike, scan: Scan) -> bool:
    """Whether something lies in line with an end that is no other part of the line itself."""
    for (bend, leg, _), cut in zip(look.outer, cuts, strict=True):
        own = look.parts[0 if leg == LEG_1 else -1]
        from_apex = own.inside_mm - bend.apex
        last = np.abs(from_apex @ bend.outward[leg]) < 1.5 * bend.half_mm
        rest = [part for part in look.parts if part is not own]
        elsewhere = (*rest, replace(own, inside_mm=own.inside_mm[~last], sharp=own.sharp[~last]))
        if in_line(unlike.map, unlike.noise, bend, leg, cut.from_apex_mm, pixel_mm=scan.pixel_mm, others=tuple(p for p in elsewhere if len(p.inside_mm))):
            return True
    return False


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


def _at(bend: int, said: list[str] | tuple[str, ...]) -> list[str]:
    return [f"At bend {bend + 1}: {sentence}" for sentence in said]


def _too_short(leg: int, bends: int) -> str:
    which = "The straight part before the first bend" if leg == 0 else "The straight part after the last bend" if leg == bends else f"The straight part between bends {leg} and {leg + 1}"
    return f"{which} is shorter than one and a half diameters, too short to tell its direction: or two bends are one, or one is no round bend. Measure this line by hand."
