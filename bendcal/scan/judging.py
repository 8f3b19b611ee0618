"""What speaks against a reading: a piece that is not clearly one bend in one plane is refused, with the reason."""

from __future__ import annotations

from math import hypot

import numpy as np
from scipy.spatial import cKDTree

from bendcal.scan.edges import Edges, sample
from bendcal.scan.rising import rise
from bendcal.scan.scanner import ITS_SCALE
from bendcal.scan.separate import Found
from bendcal.scan.tube_model import ARC, BELIEFS, LEG_1, LEG_2, THICKNESS, Fitted, Shape, distances

__all__ = ["LIFTED", "LIT_RMS_MM", "LIT_RMS_OF_LINE_MM", "SCAN_RMS_MM", "SHORTEST_LEG", "against_edges", "against_fit", "against_lit", "in_line", "is_dark", "lifted", "raised"]

SHORTEST_LEG = 1.5  # diameters
_LEAST_TURN, _MOST_TURN = np.radians(8.0), np.radians(150.0)
_LOST = 0.5  # share of a part's edges that may be lost
_WIDTH, _WIDTH_PX = 0.04, 1.5  # how far the width may be off: of the diameter, and in pixels
#: A photo's scale is a line that a person measures, or does not: only the tube's own width tells where that is wrong, and a page printed to fit
#: the paper is some 4 to 6 % small. So far, in standard deviations, may the width be off: of the diameter to a hundredth, and of both edges in pixels.
_BESIDE_LINE, _EDGES_PX = 2.5, 0.35
#: A leg that rises towards a camera is seen ever wider. So high may its one end stand above the other [mm], or in standard deviations if these are more.
_HIGH_MM, _HIGH = 2.0, 2.5
_SURELY_MM = 3.0  # so high a leg's end must surely not stand
_MOST_TOLD_MM = 20.0
#: A leg is believed to be bowed by 0.05 mm (one standard deviation, `weighing`): where it is by more than 2½ of these, the numbers would be too sure.
_BOWED_MM, _BOWED = 0.125, 2.5
_DARK, _LOST_IN_DARK = 0.3, 0.16
#: A side that is turned from the lamp is seen to end inside of where it does (0.83 to 0.99 of the diameter on 321 careful legs and arcs).
_FADES_TO, _SOME = 0.995, 5
_UNLIT = 0.25  # of a third of a leg: so much of its lit side may be lost (never more than a tenth on 247 careful scans)
_UNLIKE = 1.3  # times: of 240 careful scans on dark paper one was above, and its angle 3.3 u off; legs lifted by 4° and more, that passed for flat, 1.33 at least
_RMS_MM, _MOSTLY_MM, _FAR_MM = (0.10, 0.10), 0.09, 0.30  # of legs, and of the arc
#: Of an offcut on a scan, whose legs are short and sharp (0.051 at most on 75 careful scans), and of one whose lit edges were found (0.032).
SCAN_RMS_MM, LIT_RMS_MM, LIT_RMS_OF_LINE_MM = (0.07, 0.10), (0.045, 0.045), (0.10, 0.045)
_STRAY = 0.004  # share of the piece that may be edges outside of the fitted shape
_FURTHER_MM = 30.0
_BLUR, _BLUR_PX = 1.8, 4.5
_FLATTEST, _FATTEST, _NARROWEST_ARC = 0.85, 1.03, 0.82
_AGAIN = "take the picture again"
_OR_BY_HAND = f"Lay each piece by itself, flat, in soft light, and {_AGAIN}; if it is bent like that, measure it by hand."
LIFTED = f"Its edges are much less sharp at one place than at another: a part of it does not lie flat. Press it flat and {_AGAIN}."

_LOST_EDGES = (
    "Long parts of its edges cannot be told from the backdrop (glare, a hard shadow, a tube as light or as dark as the paper, or of another diameter than it is said to have). "
    f"Lay paper of another shade over it, white for a dull or dark tube, grey or coloured for a bright one, and {_AGAIN}; on black paper a tube's own dark side is lost."
)


def is_dark(light: float) -> bool:
    """Whether a backdrop of this level is dark, so that a tube's own dark side is lost on it."""
    return light <= _DARK


def against_edges(edges: Edges, shape: Shape, ends: tuple[float, float], od_mm: float) -> list[str]:
    """What can be said before the fit is trusted: edges that are lost, legs too short.

    Parameters
    ----------
    edges : the edge points
    shape : the shape that they were looked for with
    ends : from the apex to each end [mm]
    od_mm : the tube's diameter [mm]
    """
    said = []
    lost = np.isnan(edges.at_mm[:, :, 0])
    if any(lost[:, edges.zone == z].mean(axis=1).max() > _LOST for z in (LEG_1, LEG_2, ARC) if (edges.zone == z).any()):
        said.append(_LOST_EDGES)
    if min(ends) - shape.setback_mm < SHORTEST_LEG * od_mm:
        said.append("A straight leg is shorter than one and a half diameters, too short to tell its direction. Measure this piece by hand.")
    return said


def against_lit(edges: Edges, od_mm: float) -> list[str]:
    """The same of edges on dark paper, where one side of each part is enough; and a tube that is wider than it can be where its other side fades.

    Parameters
    ----------
    edges : as :func:`bendcal.scan.shaded.lit_edges` has them
    od_mm : the tube's diameter [mm]
    """
    lost = np.isnan(edges.at_mm[:, :, 0])
    thirds = [third for z in (LEG_1, LEG_2) for third in np.array_split(np.flatnonzero(edges.zone == z), 3)]
    parts = [(np.flatnonzero(edges.zone == ARC), _LOST), *((third, _UNLIT) for third in thirds)]
    if any(len(here) and lost[:, here].all(axis=0).mean() > most for here, most in parts):
        return [LIFTED if lifted(edges) else _LOST_EDGES]
    fading = [edges.width_mm[(edges.zone == z) & (lost.sum(axis=0) == 1) & np.isfinite(edges.width_mm)] for z in (LEG_1, LEG_2)]
    width = max((float(np.median(w)) for w in fading if len(w) >= _SOME), default=0.0)
    if width > _FADES_TO * od_mm:
        return [
            f"In the picture it is {width:.2f} mm wide and more, for one of its sides fades into the dark paper, and the tube is said to have {od_mm:g} mm: look at the diameter and at "
            f"{ITS_SCALE}, lay a light sheet over it, and {_AGAIN}."
        ]
    return []


def against_fit(
    fitted: Fitted, edges: Edges, found: Found, ends: tuple[float, float], *, seen: Shape, od_mm: float, pixel_mm: float, light: float, by_line: bool = False, rms_mm: tuple[float, float] = _RMS_MM
) -> list[str]:  # fmt: skip
    """What the fit itself shows.

    Parameters
    ----------
    fitted, edges, found : the piece
    ends : from the apex to each end [mm]
    seen : the shape as it lies in the picture, where a camera sees it aslant; else the fitted one
    od_mm, pixel_mm : the tube's diameter, and the size of a pixel [mm]
    light : the backdrop's level: on a dark one a tube's own dark side is lost
    by_line : whether the scale is that of a page's line, as on a photo
    rms_mm : how far from the shape the edges of a leg and of the arc may lie (rms) [mm]
    """
    said = []
    shape = fitted.shape
    if not _LEAST_TURN <= shape.turn <= _MOST_TURN:
        said.append(
            f"It turns by {np.degrees(shape.turn):.0f}°; only bends between 8° and 150° are read from a picture. Measure this piece by hand."
        )
    width, dark = 2 * shape.half_mm, is_dark(light)
    loose = _BESIDE_LINE * hypot(THICKNESS * od_mm, _EDGES_PX * pixel_mm) if by_line and not dark else _WIDTH * od_mm + _WIDTH_PX * pixel_mm
    seen_wide = [float(np.nanmedian(edges.width_mm[edges.zone == z])) for z in (LEG_1, LEG_2, ARC)]
    narrowest = min(width, *seen_wide[:2]) if dark else width
    if not (width - od_mm <= loose and narrowest - od_mm >= -(max(loose, _LOST_IN_DARK * od_mm) if dark else loose)):
        said.append(
            f"In the picture it is {width if width > od_mm + loose else narrowest:.2f} mm wide, and the tube is said to have {od_mm:g} mm: look at the diameter and at "
            f"{ITS_SCALE}, lay it flat without hard shadows or glare along it, and {_AGAIN}."
        )
    flat = min(shape.half_arc_mm / shape.half_mm, seen_wide[2] / min(seen_wide[:2]))
    if not _FLATTEST <= flat <= _FATTEST or (seen_wide[2] < _NARROWEST_ARC * od_mm and not said):
        said.append(f"In the bend it is {100 * flat:.0f} % as wide as in its legs: it is kinked, or something lies beside it, be it a hard shadow or glare. {_OR_BY_HAND}")
    if shape.radius_mm < od_mm or (fitted.zone[:-BELIEFS] == ARC).sum() < _SOME or _wavy(fitted, rms_mm) or _stray(found, seen, ends, dark) > _STRAY:
        said.append(
            "It is not one round bend between two straight legs: more than one bend, a kink, a bowed leg, something that touches it, or a hard shadow or glare "
            f"along it. {_OR_BY_HAND}"
        )
    if said and dark:
        said.append(f"On dark paper a tube's own dark side is lost, and a wrong diameter or scale is hardly seen: lay a light sheet over it, and look at the diameter and at {ITS_SCALE}.")
    if lifted(edges):
        said.append(LIFTED)
    return said


def in_line(field: np.ndarray, noise: float, shape: Shape, leg: int, end_mm: float, *, pixel_mm: tuple[float, float], others: tuple[Found, ...] = ()) -> bool:
    """Whether the tube seems to go on beyond a leg's end, after a stretch that cannot be told from the backdrop.

    Parameters
    ----------
    field, noise : how unlike the backdrop each pixel is, and the noise of that
    shape, leg, end_mm : the fitted shape, which leg, and where it seems to end, from the apex [mm]
    pixel_mm : (across, down) [mm]
    others : bent pieces of their own, which are no part of this one
    """
    t = end_mm + np.arange(1.0, _FURTHER_MM, 0.25)
    lanes = np.linspace(-0.6, 0.6, 7) * shape.half_mm
    points = shape.apex + t[:, None, None] * shape.directions[leg] + lanes[None, :, None] * shape.outward[leg]
    high, wide = field.shape[0] * pixel_mm[1], field.shape[1] * pixel_mm[0]
    on_page = ((points > 0) & (points < (wide, high))).all(axis=(1, 2))
    level = np.median(sample(field, points, pixel_mm), axis=1)
    for other in others:
        near, _ = cKDTree(other.inside_mm).query(points.reshape(-1, 2), distance_upper_bound=2 * shape.half_mm)
        level[np.isfinite(near).reshape(len(t), -1).any(axis=1)] = 0.0
    level = level[on_page]
    # A shadow only fades on the way out from the end; what begins there anew rises above the least before it.
    risen = level - np.minimum.accumulate(level) if level.size else level
    return bool((risen > max(6 * noise, 0.08)).sum() * 0.25 > 1.0)


def _wavy(fitted: Fitted, rms_mm: tuple[float, float]) -> bool:
    """Whether runs of edge points lie off the shape, on either side in the same sense or not."""
    residual, zone = fitted.residual_mm[:-BELIEFS], fitted.zone[:-BELIEFS]
    for z in (LEG_1, LEG_2, ARC):
        off = np.clip(residual[zone == z], -1, 1)
        if len(off) >= 5 and (np.sqrt(np.mean(off**2)) > rms_mm[z == ARC] or np.quantile(np.abs(off), 0.85) > _MOSTLY_MM):
            return True
    return bool(np.mean(np.abs(residual) > _FAR_MM) > 0.08)


def _stray(found: Found, shape: Shape, ends: tuple[float, float], dark: bool) -> float:
    """Share of the piece's rough pixels that lie well outside of the shape and are no shadow: on dark paper there is none, only tube that fades."""
    off, zone = distances(shape, found.inside_mm)
    from_apex = found.inside_mm - shape.apex
    past = np.zeros(len(off), bool)
    for leg in (LEG_1, LEG_2):
        here = zone == leg
        past[here] = from_apex[here] @ shape.directions[leg] > ends[leg] + shape.half_mm
    outside = (np.abs(off) > shape.half_mm + 2 * found.rough_mm) | past
    return float(np.mean(outside & (found.sharp | dark)))


def raised(fitted: Fitted, points: np.ndarray, side: np.ndarray, photo: np.ndarray, height_mm: float, od_mm: float, *, strict: bool = False) -> str:
    """Whether a leg is seen wider at its one end than at its other, as one that does not lie flat is by a camera, or may be: a sentence, or a blank.

    Parameters
    ----------
    fitted, points, side : the tube as fitted from straight above; (n, 2) its edges there [mm], and +1 for those on the bend's outside, −1 inside
    photo : (n,) number of the photo that shows each: the next one is lit otherwise, and its edges lie otherwise
    height_mm : of the camera above the page
    od_mm : the tube's diameter [mm]
    strict : whether a leg is refused, too, that is bowed, or that may rise without being seen to: not where legs reach across pages, which are longer and bow more
    """
    for leg in (LEG_1, LEG_2):
        found = rise(fitted, leg, points, side, photo, height_mm, od_mm)
        if found is None:
            continue
        (high, bowed), (u, bow_u) = found
        if abs(high) > max(_HIGH_MM, _HIGH * u):
            which, other = ("its end", "its bend") if high > 0 else ("its bend", "its end")
            return f"A leg is seen wider towards {which}, which stands some {abs(high):.0f} mm higher than {other}: it does not lie flat. Press it flat and {_AGAIN}."
        if strict and abs(high) + 2 * u > _SURELY_MM:
            most = abs(high) + 2 * u
            return (
                f"How wide a leg is seen changes so along it that it may stand {f'{most:.0f}' if most < _MOST_TOLD_MM else f'more than {_MOST_TOLD_MM:.0f}'} mm higher at one end than at the other: whether it lies flat cannot be told. "
                f"Press it flat, in soft light without glare or hard shadows, and {_AGAIN}."
            )
        if strict and abs(bowed) > max(_BOWED_MM, _BOWED * bow_u):
            return f"A leg is bowed by {abs(bowed):.2f} mm, or has a slight second bend: it is not one bend between two straight legs. Measure this piece by hand."
    return ""


def lifted(*parts: Edges) -> bool:
    """Whether the edges are clearly less sharp along one part than along another: what is lifted is out of focus.

    Parameters
    ----------
    parts : the edges of one thing; of a line, those of each of its bends
    """
    sharp = []
    for edges in parts:
        blur = np.nanmin(np.where(np.isnan(edges.blur_px), np.inf, edges.blur_px), axis=0)
        for z in (LEG_1, LEG_2):
            for third in np.array_split(blur[edges.zone == z], 3):
                if np.isfinite(third).sum() >= 3:
                    sharp.append(float(np.median(third[np.isfinite(third)])))
    return any(edges.unlike > _UNLIKE for edges in parts) or (bool(sharp) and max(sharp) > _BLUR_PX and max(sharp) > _BLUR * min(sharp))
