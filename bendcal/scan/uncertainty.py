"""From a fitted shape to angle, radius and legs, each with its uncertainty.

Four kinds of error are added up: the scatter of the edge points about the shape, longer waves counted as such;
what shading may shift a whole edge by, leg by leg and in the arc; the cut ends; the scanner's scale.
"""

from __future__ import annotations

from dataclasses import replace
from math import cos, hypot

import numpy as np

from bendcal.scan.tube_model import ARC, BELIEFS, LEG_1, LEG_2, Fitted, Shape

__all__ = ["FLATTENED", "TILT_PX", "arc_shift", "corrected", "covariance", "leg_shift", "moved", "results", "scattered", "solver"]

#: What one side's light may shift the middle between both edges by, of a pixel; and of what the half width is off:
#: on dark paper a tube's own dark side is lost, and it may all be on one side.
_SHIFT_PX, _SHIFT_OF_WIDTH = 0.02, 0.6
#: On dark paper, of the tube's diameter: the last of its dark side is lost before the edge is seen to be soft.
_FADED = 0.015
#: How that may change from one end of a leg to the other, of a pixel.
TILT_PX = 0.01
#: A bend is flattened more on its outside: of the width lost there, half to all is lost on the outside.
FLATTENED, _FLATTENED_U = 0.25, 0.144
#: How far from true a bend's own arc may be, of the tube's diameter.
_ARC_OF_OD = 0.004
_LAGS = 12  # edge points, about 7 mm, over which they may err alike


def results(shape: Shape, ends: np.ndarray, scale: tuple[float, float] = (1.0, 1.0)) -> np.ndarray:
    """(4,) finished angle [deg], radius and both legs [mm] of a shape whose picture is stretched by `scale`.

    Parameters
    ----------
    shape : the shape
    ends : (2, 2) the middles of the cut ends [mm]
    scale : (across, down) factors

    Examples
    --------
    >>> square = Shape(0, 0, 0.0, np.pi / 2, 15.0, 2.4, 2.4)
    >>> results(square, np.array([[60.0, 0], [0, 50.0]])).round(6).tolist()
    [90.0, 15.0, 60.0, 50.0]
    """
    stretch = np.array(scale)
    apex, along = shape.apex * stretch, shape.directions * stretch
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    turn = np.pi - np.arccos(np.clip(along[0] @ along[1], -1, 1))
    # The arc keeps its depth below the apex, which is what a short arc's edges fix.
    depth = shape.radius_mm * (1 / cos(shape.turn / 2) - 1) * float(np.linalg.norm(shape.bisector * stretch))
    radius = depth / (1 / cos(turn / 2) - 1)
    legs = ((ends * stretch - apex) * along).sum(axis=1)
    return np.array([np.degrees(turn), radius, *legs])


def solver(fitted: Fitted) -> np.ndarray:
    """(7, n) what the shape's numbers change by when the edge points move.

    Parameters
    ----------
    fitted : the fit
    """
    weighted = fitted.jacobian * fitted.weight[:, None]
    inverse = np.linalg.pinv(fitted.jacobian.T @ weighted, hermitian=True)
    return inverse @ weighted.T


def moved(shape: Shape, values: np.ndarray) -> Shape:
    """The shape with its seven numbers changed by these.

    Parameters
    ----------
    shape : the shape
    values : (7,)
    """
    return Shape(*(float(v) for v in shape.array() + values))


def corrected(fitted: Fitted) -> Shape:
    """The shape, its arc moved outward by what a flattened bend's outside has lost more than its inside.

    Parameters
    ----------
    fitted : the fit
    """
    solve = solver(fitted)
    lost = max(0.0, 2 * (fitted.shape.half_mm - fitted.shape.half_arc_mm))
    arc = (fitted.zone == ARC).astype(float)
    arc[-BELIEFS:] = 0.0
    outward = moved(fitted.shape, -solve @ (arc * FLATTENED * lost))
    return replace(outward, half_mm=fitted.shape.half_mm, half_arc_mm=fitted.shape.half_arc_mm)


def covariance(
    fitted: Fitted, shape: Shape, ends: np.ndarray, ends_u: tuple[float, float], along_mm: np.ndarray, *,
    series: list[np.ndarray], off_mm: tuple[float, float], pixel_mm: float, od_mm: float, scale_u: tuple[float, float], dark: bool,
) -> np.ndarray:  # fmt: skip
    """(4, 4) covariance of :func:`results`.

    Parameters
    ----------
    fitted : the fit
    shape : the shape, corrected
    ends, ends_u : (2, 2) the cut ends [mm], and how surely along the leg
    along_mm : (n,) places of the edge points along their zones [mm]
    series : indices of the points of each edge of each zone, in order: neighbours there share errors
    off_mm : by how much half the width of either leg, where both edges were found, is not half the diameter [mm]
    pixel_mm, od_mm : size of a pixel, and the tube's diameter [mm]
    scale_u : (across, down) standard uncertainties of the scale
    dark : whether the backdrop is dark
    """
    solve = solver(fitted)
    p_cov = scattered(solve, fitted.residual_mm, series, fitted.spread_mm, BELIEFS)

    steps = np.array([1e-4, 1e-4, 1e-6, 1e-6, 1e-4, 1e-4, 1e-4])
    by_p = np.stack(
        [(results(moved(shape, h), ends) - results(moved(shape, -h), ends)) / (2 * h.max()) for h in np.diag(steps)], axis=1
    )
    total = by_p @ p_cov @ by_p.T

    shift = [leg_shift(off, pixel_mm, od_mm, dark) for off in off_mm]
    lost = 2 * abs(fitted.shape.half_mm - fitted.shape.half_arc_mm)
    patterns = []
    zone = fitted.zone[:-BELIEFS]
    for leg in (LEG_1, LEG_2):
        here = (zone == leg).astype(float)
        t = along_mm[zone == leg]
        tilt = np.zeros(len(zone))
        tilt[zone == leg] = 2 * (along_mm[zone == leg] - t.mean()) / max(np.ptp(t), 1e-6)
        patterns += [here * shift[leg], tilt * TILT_PX * pixel_mm]
    patterns.append((zone == ARC) * arc_shift(max(shift), lost, od_mm, dark))
    for pattern in patterns:
        change = by_p @ (solve @ np.append(pattern, np.zeros(BELIEFS)))
        total += np.outer(change, change)

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


def scattered(solve: np.ndarray, residual_mm: np.ndarray, series: list[np.ndarray], spread_mm: float, beliefs: int) -> np.ndarray:
    """(p, p) covariance of a fit's numbers because its edge points scatter.

    Parameters
    ----------
    solve : (p, n) what the numbers change by when the points move
    residual_mm : (n,) how far the points lie off, beliefs last
    series : indices of the points of each edge of each zone, in order
    spread_mm : one standard deviation of a belief
    beliefs : how many of the last rows are beliefs
    """
    residual = residual_mm[:-beliefs]
    sd = max(1.4826 * float(np.median(np.abs(residual))), float(np.sqrt(np.mean(np.clip(residual, -0.3, 0.3) ** 2))))
    each = np.append(np.full(len(residual), sd**2 * _waves(residual, series)), np.full(beliefs, spread_mm**2))
    return (solve * each) @ solve.T


def leg_shift(off_mm: float, pixel_mm: float, od_mm: float, dark: bool) -> float:
    """By how much light may shift a leg's middle [mm].

    Parameters
    ----------
    off_mm : by how much half of its width is not half the diameter
    pixel_mm, od_mm : size of a pixel, and the tube's diameter [mm]
    dark : whether the backdrop is dark
    """
    return hypot(_SHIFT_PX * pixel_mm, _SHIFT_OF_WIDTH * off_mm, _FADED * od_mm * dark)


def arc_shift(shift_mm: float, lost_mm: float, od_mm: float, dark: bool) -> float:
    """By how much an arc may lie beside where it seems to [mm].

    Parameters
    ----------
    shift_mm : by how much light may shift the legs beside it
    lost_mm : by how much less wide than they it is
    od_mm : the tube's diameter [mm]
    dark : whether the backdrop is dark
    """
    return hypot(shift_mm, 1.5 * _FADED * od_mm * dark, _ARC_OF_OD * od_mm, _FLATTENED_U * lost_mm)


def _waves(residual: np.ndarray, series: list[np.ndarray]) -> float:
    """How many times larger the variance of a mean is because neighbouring points err alike (Newey and West's weights)."""
    shared = np.zeros(_LAGS + 1)
    for index in series:
        r = np.clip(residual[index], -0.3, 0.3)
        shared[: len(r)] += [float(r[k:] @ r[: len(r) - k]) for k in range(min(len(r), _LAGS + 1))]
    if shared[0] <= 0:
        return 1.0
    weight = 1 - np.arange(_LAGS + 1) / (_LAGS + 1)
    return max(1.0, float(1 + 2 * (weight * shared)[1:].sum() / shared[0]))
