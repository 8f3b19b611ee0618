"""What a camera sees of a tube that lies on a page: its outline is above the page, and is drawn beside where it stands.

A ray that grazes a round tube on one side meets the page beyond it; the ray, the tube's radius and the camera's place tell where the
tube's axis is. Cut ends and marks are seen at their own heights.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from bendcal.scan.tube_model import ARC, Shape, distances

__all__ = ["View", "place_seen_at", "under_outline"]

#: Heights in radii at which the tube's middle shows a cut end (one that faces away from the camera, one that faces it) and a pen mark.
_TOP, _FOOT, _PEN = 2.0, 0.0, 1.94
_END_U, _FOOT_U, _PEN_U = 0.10, 0.30, 0.15  # of a radius: burr, a rounded edge, the shadow at the foot of the near end
_SHADE_U = 0.03  # of a radius, even from straight above: a cut end lies in its own shadow, a pen mark goes round


@dataclass(frozen=True, eq=False)
class View:
    """A camera above the page.

    Attributes
    ----------
    eye_mm : (3,) x, y and height above the page [mm]
    others : cameras that might have been instead, one standard deviation away in one of their numbers each: where a point of the page
        would lie then, and the eye
    """

    eye_mm: np.ndarray
    others: tuple[tuple[Callable[[np.ndarray], np.ndarray], np.ndarray], ...] = ()

    def slant(self, point: np.ndarray, outward: np.ndarray) -> float:
        """By how much what is 1 mm higher at a point is seen further in along a direction [mm].

        Parameters
        ----------
        point : (2,) [mm]
        outward : (2,) unit vector
        """
        return float((self.eye_mm[:2] - point) @ outward) / float(self.eye_mm[2])


def under_outline(points: np.ndarray, side: np.ndarray, shape: Shape, radius_mm: float, eye_mm: np.ndarray) -> np.ndarray:
    """(n, 2) where the tube's sides are, seen from straight above, whose outlines are seen at these points of the page.

    Parameters
    ----------
    points : (n, 2) outline on the page [mm]
    side : (n,) +1 on the bend's outside, −1 on its inside
    shape : about where the tube is
    radius_mm : half its diameter
    eye_mm : (3,) the camera

    Examples
    --------
    >>> square = Shape(0, 0, 0.0, np.pi / 2, 15.0, 2.5, 2.5)
    >>> seen = np.array([[40.0, -2.516]])  # a camera 400 mm straight above that leg sees a little beside it
    >>> under_outline(seen, np.array([1.0]), square, 2.5, np.array([40.0, 0.0, 400.0])).round(3).tolist()
    [[40.0, -2.5]]
    """
    _, zone = distances(shape, points)
    radial = points - shape.centre
    radial /= np.maximum(np.linalg.norm(radial, axis=1, keepdims=True), 1e-9)
    legs = shape.outward
    normal = side[:, None] * np.where((zone == ARC)[:, None], radial, legs[np.minimum(zone, 1)])
    height = eye_mm[2]
    beyond = ((points - eye_mm[:2]) * normal).sum(axis=1)
    back = radius_mm * (np.hypot(height, beyond) + beyond) / height - radius_mm
    return points - back[:, None] * normal


def place_seen_at(point: np.ndarray, outward: np.ndarray, kind: str, radius_mm: float, eye_mm: np.ndarray) -> tuple[np.ndarray, float]:
    """Where a cut end or a mark is, seen from straight above, and what its height may shift it by along the tube.

    Parameters
    ----------
    point : (2,) where it is seen on the page [mm]
    outward : (2,) direction of the leg, away from the apex
    kind : ``"end"`` or ``"mark"``
    radius_mm : half the tube's diameter
    eye_mm : (3,) the camera
    """
    towards = View(eye_mm).slant(point, outward)
    if kind == "mark":
        high, u = _PEN, _PEN_U
    else:
        high, u = (_TOP, _END_U) if towards < 0 else (_FOOT, _FOOT_U)
    z = high * radius_mm
    return eye_mm[:2] + (point - eye_mm[:2]) * (1 - z / eye_mm[2]), float(np.hypot(towards * u, _SHADE_U)) * radius_mm
