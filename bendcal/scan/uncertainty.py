"""From a fitted shape to angle, radius and legs, and what its edges may be off by.

Four kinds of error are added up: the scatter of the edge points about the shape, longer waves counted as such;
what shading may shift a whole edge by, leg by leg and in the arc; the cut ends; the scanner's scale.
"""

from __future__ import annotations

from math import cos, hypot

import numpy as np

from bendcal.scan.tube_model import Fitted, Shape

__all__ = ["ARC_OF_OD", "FLATTENED", "FLATTENED_U", "SHADED", "TILT_PX", "arc_shift", "leg_shift", "moved", "noise_of", "results", "scattered", "solver"]

#: What one side's light may shift the middle between both edges by, of a pixel; and of what the half width is off, for it may all be on one side.
_SHIFT_PX, _SHIFT_OF_WIDTH = 0.02, 0.6
#: On dark paper, of the tube's diameter: where the step and the dome of a lit side are taken to begin (`shaded`), which changes as it turns from the light.
SHADED = 0.004
#: How that may change from one end of a leg to the other, of a pixel.
TILT_PX = 0.01
#: A bend is flattened more on its outside: of the width lost there, half to all is lost on the outside.
FLATTENED, FLATTENED_U = 0.25, 0.144
#: How far from true a bend's own arc may be, of the tube's diameter.
ARC_OF_OD = 0.004
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
    each = np.append(np.full(len(residual), noise_of(residual, series)), np.full(beliefs, spread_mm**2))
    return (solve * each) @ solve.T


def noise_of(residual: np.ndarray, series: list[np.ndarray]) -> float:
    """The variance with which one edge point counts, longer waves counted as such [mm²].

    Parameters
    ----------
    residual : (n,) how far the points lie off [mm]
    series : indices of the points of each edge of each zone, in order
    """
    sd = max(1.4826 * float(np.median(np.abs(residual))), float(np.sqrt(np.mean(np.clip(residual, -0.3, 0.3) ** 2))))
    return sd**2 * _waves(residual, series)


def leg_shift(off_mm: float, pixel_mm: float, od_mm: float, dark: bool) -> float:
    """By how much light may shift a leg's middle [mm].

    Parameters
    ----------
    off_mm : by how much half of its width is not half the diameter
    pixel_mm, od_mm : size of a pixel, and the tube's diameter [mm]
    dark : whether the backdrop is dark
    """
    return hypot(_SHIFT_PX * pixel_mm, _SHIFT_OF_WIDTH * off_mm, SHADED * od_mm * dark)


def arc_shift(shift_mm: float, lost_mm: float, od_mm: float, dark: bool) -> float:
    """By how much an arc may lie beside where it seems to [mm].

    Parameters
    ----------
    shift_mm : by how much light may shift the legs beside it
    lost_mm : by how much less wide than they it is
    od_mm : the tube's diameter [mm]
    dark : whether the backdrop is dark
    """
    return hypot(shift_mm, SHADED * od_mm * dark, ARC_OF_OD * od_mm, FLATTENED_U * lost_mm)


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
