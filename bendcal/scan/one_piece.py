"""One thing on a picture: its shape fitted to its edges, judged, and told; or why it cannot be read."""

from __future__ import annotations

import numpy as np

from bendcal.scan.backdrop import Unlike
from bendcal.scan.decode import Scan
from bendcal.scan.edges import Edges, find_edges, followed, lined_up
from bendcal.scan.ends import burnt_beyond, find_end, find_marks, usual_blur
from bendcal.scan.heights import View
from bendcal.scan.judging import LIT_RMS_MM, SCAN_RMS_MM, SHORTEST_LEG, against_edges, against_fit, against_lit, in_line, is_dark, raised
from bendcal.scan.piece import ScanReading
from bendcal.scan.separate import Found
from bendcal.scan.shaded import lit_edges, without_soft
from bendcal.scan.telling import Seen, flat, from_above, told
from bendcal.scan.tube_model import LEG_1, LEG_2, Fitted, Shape, fit_centreline, fit_edges

__all__ = ["ROUGHEST_END_MM", "is_bent", "read_piece", "rough_ends", "rough_shape"]

ROUGHEST_END_MM = 0.1  # a cut is straight; what glare leaves of one is not
_LEAST_ANGLE, _LEAST_ANGLE_DARK = 15.0, 30.0  # of an offcut: below, invented bends gave radii that were confidently wrong (9° on light paper, 22° on dark)
_NO_BEND = "It makes no bend that could be read: straight, too short, or no tube."
_NO_LEGS = "A straight leg is shorter than half a diameter, or it is not one bend between straight legs. Measure this piece by hand."


def read_piece(
    number: int, found: Found, shape: Shape | None, scan: Scan, unlike: Unlike, *, od_mm: float, end_a: str | None, scale_u: tuple[float, float], view: View | None = None,
    others: tuple[Found, ...] = (),
) -> ScanReading:  # fmt: skip
    """Read one thing that was found.

    Parameters
    ----------
    number : what it is called
    found, shape : the thing, and its rough shape
    scan, unlike : the picture, and how unlike its backdrop it is
    od_mm : the tube's outside diameter [mm]
    end_a : the side on which end A lies, or None
    scale_u : (across, down) standard uncertainty of the scale, as a share
    view : the camera; None for a scanner, which sees everything from straight above
    others : bent pieces beside it
    """

    def refuse(*why: str, shape: Shape | None = None) -> ScanReading:
        return ScanReading(number, found.box_mm, tuple(why), shape=shape)

    def judged(fitted: Fitted, edges: Edges, found: Found, ends: tuple[float, float]) -> list[str]:
        said: list[str] = []
        upright = fitted
        if view is not None:
            upright, points = from_above(fitted, edges, od_mm, view)
            said = [why for why in [raised(upright, points, flat(edges)[1], view.photo_at(points), view.high_above(points), od_mm, strict=view.one_photo)] if why]
        how = {} if view is not None else {"rms_mm": LIT_RMS_MM if dark else SCAN_RMS_MM}
        return said + against_fit(upright, edges, found, ends, seen=fitted.shape, od_mm=od_mm, pixel_mm=pixel, light=unlike.light, by_line=view is not None, **how)

    pixel, dark = float(np.mean(scan.pixel_mm)), is_dark(unlike.light)
    if found.refused:
        return refuse(found.refused)
    if shape is None:
        return refuse(found.wide or _NO_BEND)
    ends = rough_ends(found, shape)
    if min(ends) < shape.setback_mm + od_mm / 2:
        return refuse(found.wide or _NO_LEGS)
    halfway = shape.apex + np.array(ends)[:, None] / 2 * shape.directions
    seen_mm = od_mm if view is None else float(view.seen_wide(halfway, shape.outward, od_mm).mean())
    wide = (0.3 * od_mm + 3 * pixel, 0.25 * od_mm + 2 * pixel)
    narrow = (0.12 * od_mm + 3 * pixel, 0.06 * od_mm + 2 * pixel, 0.05 * od_mm + 1.5 * pixel)

    def looked(rough: Shape, sharp: bool) -> tuple:
        """What speaks against it, (fit, edges, found, ends) and the shape, begun along sharp edges only or along all."""
        begun = fit_centreline(lined_up(unlike.map, unlike.noise, rough, ends, pixel_mm=scan.pixel_mm, od_mm=od_mm, view=view, sharp=sharp), seen_mm / 2)
        if begun is None:
            return (found.wide or _NO_BEND,), None, None
        # On dark paper what is left of a tube may be much narrower than the tube.
        why, fit = _fitted(found, begun, scan, unlike, seen_mm, wide if dark else narrow)
        if why and fit is not None and not dark:
            # Edges that are nowhere near where they should be: looked for further away, they may tell the reason.
            reason, further = _fitted(found, begun, scan, unlike, seen_mm, wide[:1])
            why = reason or (judged(*further) if further else ()) or why
        if why:
            return why, None, begun
        return judged(*fit), fit, fit[0].shape

    why, fit, seen_as = looked(shape, False)
    if why and view is not None and not dark:
        # On light paper under a camera the border of a tube's shadow may be the clearer edge, and lead the shape aside.
        none, instead, further = looked(shape, True)
        why, fit, seen_as = (none, instead, further) if not none else (why, fit, seen_as)
    if why:
        return refuse(*why, shape=seen_as)
    fitted, edges, _, ends = fit
    shape = fitted.shape
    least = _LEAST_ANGLE_DARK if dark else _LEAST_ANGLE
    if np.degrees(shape.turn) < least:
        more = " on dark paper, where but one of its edges may be seen" if dark else ""
        return refuse(
            f"It turns by {np.degrees(shape.turn):.1f}°: below {least:g}°{more}, the round part is so short that how a bend sets in and flattens passes for its "
            f"radius. {'Lay light paper over it' if more else 'Bend a piece further for this'}, or measure this one by hand.", shape=shape,
        )  # fmt: skip
    slant = [0.0 if view is None else view.slant(shape.apex + ends[leg] * out, out) for leg, out in enumerate(shape.directions)]
    blur = usual_blur(edges)
    cut = [
        find_end(
            unlike.map, unlike.noise, shape, leg, ends[leg], pixel_mm=scan.pixel_mm, blur_px=blur, bulge_mm=abs(slant[leg]) * od_mm / 2, sides_mm=followed(edges, leg)
        )
        for leg in (0, 1)
    ]
    if None in cut or any(
        burnt_beyond(scan.rgb, shape, k, c.from_apex_mm, pixel_mm=scan.pixel_mm) for k, c in enumerate(cut)
    ) or max(c.oblique_mm for c in cut) > 0.8 * od_mm or max(c.u_mm for c in cut) > ROUGHEST_END_MM * (1 if view is None else 2):
        return refuse("One of its ends cannot be told clearly from what lies beside it (glare, dirt), or is cut very slantwise. Clean it, lay it free and take the picture again.", shape=shape)
    if any(in_line(unlike.map, unlike.noise, shape, k, c.from_apex_mm, pixel_mm=scan.pixel_mm, others=others) for k, c in enumerate(cut)):
        return refuse("Beyond one of its ends, in line with it, lies something more: perhaps the tube goes on, after a stretch as light as the paper. Lay paper of another shade over it, or move it away from what lies there, and take the picture again.", shape=shape)
    marks = [(leg, m) for leg in (0, 1) for m in find_marks(scan.rgb, shape, leg, cut[leg].from_apex_mm, pixel_mm=scan.pixel_mm)]
    seen = Seen(number, found.box_mm, fitted, edges, tuple(cut), tuple(marks))
    return told(seen, end_a=end_a, scale_u=scale_u, pixel_mm=pixel, od_mm=od_mm, dark=dark, view=view)


def rough_shape(found: Found, od_mm: float) -> Shape | None:
    """A thing's shape by its rough centreline; None where that makes no bend.

    Parameters
    ----------
    found : the thing
    od_mm : the tube's outside diameter [mm]
    """
    if found.refused or len(found.centreline_mm) < 8:
        return None
    return fit_centreline(found.centreline_mm, od_mm / 2)


def is_bent(found: Found, shape: Shape | None, od_mm: float) -> bool:
    """Whether a thing is clearly a bent piece of its own, with two legs, and no straight rest of a tube whose middle cannot be seen.

    Parameters
    ----------
    found : the thing
    shape : by :func:`rough_shape`
    od_mm : the tube's outside diameter [mm]
    """
    return shape is not None and np.degrees(shape.turn) > _LEAST_ANGLE and min(rough_ends(found, shape)) > shape.setback_mm + SHORTEST_LEG * od_mm


def _fitted(found: Found, shape: Shape, scan: Scan, unlike: Unlike, od_mm: float, windows: tuple[float, ...]) -> tuple:
    """What speaks against it, and (fit, edges, found, ends) through edges sought ever closer to the shape; the latter None without legs."""
    spread = max(0.05, 0.6 * float(np.mean(scan.pixel_mm)))
    fit = None
    for last, window in enumerate(windows, 1 - len(windows)):
        ends = rough_ends(found, shape)
        if min(ends) < shape.setback_mm + od_mm / 2:
            return (found.wide or _NO_LEGS,), None
        edges = find_edges(unlike.map, unlike.noise, shape, ends, pixel_mm=scan.pixel_mm, window_mm=window)
        if why := against_edges(edges, shape, ends, od_mm):
            return why, fit or ()
        edges = without_soft(edges, od_mm, scan.pixel_mm)
        if last == 0 and is_dark(unlike.light):
            edges = lit_edges(unlike.map, unlike.noise, shape, ends, edges, pixel_mm=scan.pixel_mm, od_mm=od_mm)
            if why := against_lit(edges, od_mm):
                return why, fit or ()
        points, side, _ = flat(edges)
        fitted = fit_edges(shape, points, side, spread_mm=spread, od_mm=od_mm)
        shape = fitted.shape
        if not 0.2 < shape.half_mm / od_mm < 0.8 or not np.isfinite(shape.array()).all():
            return (found.wide or _NO_BEND,), None
        fit = fitted, edges, found, ends
    return (), fit


def rough_ends(found: Found, shape: Shape) -> tuple[float, float]:
    """How far from the apex each leg's rough pixels reach along its middle [mm].

    Parameters
    ----------
    found : the thing
    shape : where it is, roughly
    """
    from_apex = found.inside_mm - shape.apex
    reach = []
    for leg in (LEG_1, LEG_2):
        along, off = from_apex @ shape.directions[leg], from_apex @ shape.outward[leg]
        here = along[(np.abs(off) < 0.6 * shape.half_mm) & (along > 0)]
        reach.append(float(here.max()) + found.rough_mm / 2 if here.size else 0.0)
    return tuple(reach)


