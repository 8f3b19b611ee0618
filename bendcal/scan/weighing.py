"""A fitted bend weighed anew: errors that many of its edge points share are unknowns of the fit, so that nothing leans on them.

A leg may be bowed a little, an arc not quite round, both may be seen aside or wider by the light, and how a bend sets in nobody knows:
each is believed to be small, by how much stands here. What remains is the scatter of single points.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot

import numpy as np

from bendcal.scan.edges import STEP_MM
from bendcal.scan.tube_model import ARC, BELIEFS, LEG_1, LEG_2, Fitted, Shape
from bendcal.scan.uncertainty import FLATTENED, FLATTENED_U, SHADED, TILT_PX, leg_shift, moved, noise_of, results

__all__ = ["Weighed", "corrected", "covariance", "weighed"]

#: By how much an arc's curvature may change from one end to the other, as a share of its mean; half that in its middle and a third
#: beyond (an assumption: a lever is pulled unevenly, a former is not round).
_UNEVEN, _UNEVEN_WAVES = 0.025, 3
_SHADED_WAVES = 5  # how that changes along an arc on dark paper
#: Curvature sets in over nothing to so many diameters (an assumption), which moves the arc inwards as flattening does, by (that)²/24R
#: (derived): evenly spread, a third of the most, with 0.298 of it as the standard deviation.
_EASED, _EASED_MEAN, _EASED_U = 0.5, 1 / 3, 0.298
#: What else an arc as a whole may lie aside by, of the diameter: without it ranges of radii below 45° were somewhat short.
_ELSE = 0.001
_BOW_MM = 0.05  # of a leg that is taken for straight (an assumption)
#: How much wider one leg may be seen than the other, of a pixel and of the diameter: it has nothing to do with its direction.
_WIDER_PX, _WIDER = 0.1, 0.003
_SHORT = 1.6  # of the variance: waves of a tube's sides that are longer than an arc look like its shape, and what is left of legs shows but a part of them
_ROUNDS = 3


@dataclass(frozen=True, eq=False)
class Weighed:
    """A fit weighed anew, with errors that many edge points share among its unknowns: generalised least squares.

    Attributes
    ----------
    change : (7,) of the fit's numbers, a flattened bend's outside having lost more than its inside
    solve : (7, n) what the shape's numbers change by when the edge points move
    covariance : (7, 7) of the shape's numbers, shared errors included
    """

    change: np.ndarray
    solve: np.ndarray
    covariance: np.ndarray


def weighed(
    fitted: Fitted, ends: np.ndarray, along_mm: np.ndarray, side: np.ndarray, *, series: list[np.ndarray], off_mm: tuple[float, float], pixel_mm: float, od_mm: float, dark: bool
) -> Weighed:  # fmt: skip
    """How much each edge point tells, when whole edges may be shifted together and no bend's arc is quite true.

    With v the variance of single points and S the shared errors, one standard deviation a row, the points' covariance is
    diag(v) + SᵀS. An arc that may lie as a whole beside a true one tells little of the legs' direction, and is not asked to.

    Parameters
    ----------
    fitted : the fit
    ends : (2, 2) the cut ends [mm]
    along_mm : (n,) places of the edge points along their zones [mm]
    side : (n,) +1 on the bend's outside, −1 on its inside
    series : indices of the points of each edge of each zone, in order: neighbours there share errors
    off_mm : by how much half the width of either leg, where both edges were found, is not half the diameter [mm]
    pixel_mm, od_mm : size of a pixel, and the tube's diameter [mm]
    dark : whether the backdrop is dark
    """
    shared = np.array(_shared(fitted, ends, along_mm, side, off_mm, pixel_mm, od_mm, dark)).T
    numbers, n = fitted.jacobian.shape[1], len(shared)
    unknown = np.hstack([fitted.jacobian, np.vstack([-shared, np.zeros((BELIEFS, shared.shape[1]))])])
    believed = np.diag(np.append(np.zeros(numbers), np.ones(shared.shape[1])))
    set_in, lost = _flattened(fitted, along_mm, od_mm), fitted.shape.half_mm - fitted.shape.half_arc_mm
    full = lost / _share_set_in(fitted, along_mm, od_mm)
    known = set_in * (2 * FLATTENED * max(0.0, full) + _EASED_MEAN * _eased(fitted, od_mm)) + side * (full * set_in - lost * (fitted.zone[:n] == ARC))
    residual = fitted.residual_mm + np.append(known, np.zeros(BELIEFS))
    left = residual[:n]
    # How curvature and flattening set in is nobody's to know, and points there tell little: whether they do so over half a diameter
    # or over one and a half makes a third of what they shift the arc by.
    begins = _flattened(fitted, along_mm, 1.5 * od_mm)
    unsure = (4 / 3 * begins * (1 - begins) * hypot(FLATTENED * 2 * abs(full), _eased(fitted, od_mm))) ** 2 * od_mm / STEP_MM
    for _ in range(_ROUNDS):
        # What is left once shared errors are out is what single points scatter by, and neighbours together.
        each = np.append(noise_of(left, series) * np.where(fitted.zone[:n] == ARC, _SHORT, 1.0) + unsure, np.full(BELIEFS, fitted.spread_mm**2))
        each_weight = (fitted.weight / np.maximum(each, 1e-12))[:, None]
        inverse = np.linalg.pinv(unknown.T @ (unknown * each_weight) + believed, hermitian=True)
        gain = inverse @ (unknown * each_weight).T
        left = (residual - unknown @ (gain @ residual))[:n]
    return Weighed(-gain[:numbers] @ residual, gain[:numbers], inverse[:numbers, :numbers])


def _shared(fitted: Fitted, ends: np.ndarray, along_mm: np.ndarray, side: np.ndarray, off_mm: tuple[float, float], pixel_mm: float, od_mm: float, dark: bool) -> list[np.ndarray]:
    """What edge points may be off together, outwards, one standard deviation each [mm]: each part aside and wider, a leg turned or bowed, an arc not round."""
    shift = [leg_shift(off, pixel_mm, od_mm, dark) for off in (*off_mm, max(off_mm))]
    zone = fitted.zone[:-BELIEFS]
    patterns = []
    for leg in (LEG_1, LEG_2):
        here = zone == leg
        t = along_mm[here]
        tilt = np.zeros(len(zone))
        tilt[here] = 2 * (t - t.mean()) / max(np.ptp(t), 1e-6)
        reach = float(np.linalg.norm(ends[leg] - fitted.shape.apex)) - fitted.shape.setback_mm
        bow = here * (np.sin(np.pi * np.clip((along_mm - fitted.shape.setback_mm) / reach, 0, 1)) - 2 / np.pi)
        patterns += [here * shift[leg], tilt * TILT_PX * pixel_mm, bow * _BOW_MM, here * side * hypot(_WIDER_PX * pixel_mm, _WIDER * od_mm)]
    arc = zone == ARC
    lost = (fitted.shape.half_mm - fitted.shape.half_arc_mm) / _share_set_in(fitted, along_mm, od_mm)
    swept = np.where(arc, along_mm / max(float(along_mm[arc].max(initial=0.0)), 1e-6), 0.0)
    patterns.append(arc * shift[ARC])
    patterns.append(_flattened(fitted, along_mm, od_mm) * hypot(FLATTENED_U * 2 * abs(lost), _EASED_U * _eased(fitted, od_mm), _ELSE * od_mm))
    patterns += [arc * _uneven(fitted.shape, swept, k) for k in range(1, _UNEVEN_WAVES + 1)]
    if dark:
        # A side turns to the light or from it along the arc.
        patterns += [arc * np.cos(k * np.pi * swept) * SHADED * od_mm / max(k, 1) for k in range(_SHADED_WAVES)]
    return patterns


def _uneven(shape: Shape, swept: np.ndarray, k: int) -> np.ndarray:
    """How far an arc lies inside of an even one between the same legs when its curvature changes by a wave of k halves (derived) [mm].

    Curvature (1 + ε cos kπu)/R turns the tube by δ = εθ sin(kπu)/kπ more at the share u of an arc of Rθ, and puts it further inside by
    ∫ δ(v) cos((u − v)θ) Rθ dv. Where that is not nought at the arc's end, the even arc between the same legs lies further along the first.
    """
    turn, wave = shape.turn, k * np.pi
    size = _UNEVEN / k * shape.radius_mm * turn**2 / (wave**2 - turn**2)
    return size * (np.cos(turn * swept) - np.cos(wave * swept) - (np.cos(turn) - np.cos(wave)) / np.sin(turn) * np.sin(turn * swept))


def _flattened(fitted: Fitted, along_mm: np.ndarray, over_mm: float) -> np.ndarray:
    """(n,) how far the bend's flattening has set in at each edge point, 0 to 1, if it does so over a length that has the arc's beginning in its middle."""
    zone = fitted.zone[:-BELIEFS]
    swept = fitted.shape.turn * fitted.shape.radius_mm
    into = np.where(zone == ARC, np.minimum(along_mm, swept - along_mm), fitted.shape.setback_mm - along_mm)
    return np.clip(0.5 + into / over_mm, 0, 1)


def _eased(fitted: Fitted, od_mm: float) -> float:
    """By how much, at most, an arc whose curvature sets in slowly lies inside of one that begins at once [mm]."""
    return (_EASED * od_mm) ** 2 / (24 * fitted.shape.radius_mm)


def _share_set_in(fitted: Fitted, along_mm: np.ndarray, od_mm: float) -> float:
    """How much of its flattening a bend has on the mean over its arc: a short one reaches all of it in its middle only, if at all."""
    set_in = _flattened(fitted, along_mm, od_mm)[fitted.zone[:-BELIEFS] == ARC]
    return max(float(set_in.mean()), 0.5) if len(set_in) else 1.0


def corrected(fitted: Fitted, weights: Weighed) -> Shape:
    """The shape as the weighed points have it, its arc moved outward by what a flattened bend's outside has lost more than its inside.

    Parameters
    ----------
    fitted : the fit
    weights : how much each point tells
    """
    return replace(moved(fitted.shape, weights.change), half_mm=fitted.shape.half_mm, half_arc_mm=fitted.shape.half_arc_mm)


def covariance(weights: Weighed, shape: Shape, ends: np.ndarray, ends_u: tuple[float, float], *, scale_u: tuple[float, float]) -> np.ndarray:
    """(4, 4) covariance of :func:`results`.

    Parameters
    ----------
    weights : how much each point tells
    shape : the shape, corrected
    ends, ends_u : (2, 2) the cut ends [mm], and how surely along the leg
    scale_u : (across, down) standard uncertainties of the scale
    """
    steps = np.array([1e-4, 1e-4, 1e-6, 1e-6, 1e-4, 1e-4, 1e-4])
    by_p = np.stack(
        [(results(moved(shape, h), ends) - results(moved(shape, -h), ends)) / (2 * h.max()) for h in np.diag(steps)], axis=1
    )
    total = by_p @ weights.covariance @ by_p.T
    for leg in (0, 1):
        total[2 + leg, 2 + leg] += ends_u[leg] ** 2
    for axis in (0, 1):
        h = 1e-5
        up, down = [1.0, 1.0], [1.0, 1.0]
        up[axis] += h
        down[axis] -= h
        change = (results(shape, ends, tuple(up)) - results(shape, ends, tuple(down))) / (2 * h) * scale_u[axis]
        total += np.outer(change, change)
    return total
