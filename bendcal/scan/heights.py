"""What a camera sees of a tube that lies on a page: its outline is above the page, and is drawn beside where it stands.

A ray that grazes a round tube on one side meets the picture's plane beyond it; the ray, the tube's radius and the camera's place tell
where the tube's axis is. Cut ends and marks are seen at their own heights. A picture put together from several photos shows a plane
level with the tube's axis, for there a tube goes on from one photo to the next, and knows which camera saw each place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from bendcal.scan.tube_model import ARC, LEG_1, Shape, distances

__all__ = ["View", "instead", "place_seen_at", "standing", "under_outline"]

#: Heights in radii at which the tube's middle shows a cut end (one that faces away from the camera, one that faces it) and a pen mark.
_TOP, _FOOT, _PEN = 2.0, 0.0, 1.94
_END_U, _FOOT_U, _PEN_U = 0.10, 0.30, 0.15  # of a radius: burr, a rounded edge, the shadow at the foot of the near end
_STEP = 0.01  # of a standard deviation
_ROUNDS = 3
_SHADE_U = 0.03  # of a radius, even from straight above: a cut end lies in its own shadow, a pen mark goes round


@dataclass(frozen=True, eq=False)
class View:
    """A camera above the page, or several, each of which saw some places of the picture.

    Attributes
    ----------
    eye_mm : (3,) x, y and height above the page [mm]; (k, 3) of several
    others : cameras that might have been instead, one standard deviation away in one of their numbers each: where points of the picture
        would lie then, and the eye or eyes
    plane_mm : how high above the page lies the plane that the picture shows [mm]
    seen_by : (n, 2) points → (n,) the number of the eye that saw each; None for one eye

    Examples
    --------
    >>> two = View(np.array([[0.0, 0, 400], [300, 0, 500]]), seen_by=lambda points: (points[:, 0] > 150).astype(int))
    >>> two.eyes_at(np.array([[20.0, 0], [200, 0]]))[:, 2].tolist()
    [400.0, 500.0]
    """

    eye_mm: np.ndarray
    others: tuple[tuple[Callable[[np.ndarray], np.ndarray], np.ndarray], ...] = ()
    plane_mm: float = 0.0
    seen_by: Callable[[np.ndarray], np.ndarray] | None = None

    @property
    def one_photo(self) -> bool:
        """Whether a single photo shows all."""
        return np.ndim(self.eye_mm) == 1

    def eyes_at(self, points: np.ndarray, eye_mm: np.ndarray | None = None) -> np.ndarray:
        """(n, 3) the eye that saw each point [mm].

        Parameters
        ----------
        points : (n, 2) [mm]
        eye_mm : other eyes than its own, as `others` has them
        """
        return np.atleast_2d(self.eye_mm if eye_mm is None else eye_mm)[self.photo_at(points)]

    def photo_at(self, points: np.ndarray) -> np.ndarray:
        """(n,) the number of the eye that saw each point.

        Parameters
        ----------
        points : (n, 2) [mm]
        """
        return np.zeros(len(points), int) if self.seen_by is None else self.seen_by(np.asarray(points, float))

    def high_above(self, points: np.ndarray) -> float:
        """How far the eyes that saw some points stand above the plane, on the average [mm].

        Parameters
        ----------
        points : (n, 2) [mm]
        """
        return float(np.mean(self.eyes_at(points)[:, 2]) - self.plane_mm)

    def slant(self, point: np.ndarray, outward: np.ndarray) -> float:
        """By how much what is 1 mm higher at a point is seen further in along a direction [mm].

        Parameters
        ----------
        point : (2,) [mm]
        outward : (2,) unit vector
        """
        eye = self.eyes_at(np.asarray(point, float)[None])[0]
        return float((eye[:2] - point) @ outward) / float(eye[2] - self.plane_mm)

    def seen_wide(self, points: np.ndarray, normal: np.ndarray, od_mm: float) -> np.ndarray:
        """(n,) how wide a tube is seen at places along its middle [mm]: wider than it is the more aslant one looks at its side.

        Parameters
        ----------
        points, normal : (n, 2) places [mm], and unit vectors across the tube there
        od_mm : its diameter [mm]

        Examples
        --------
        >>> aside = View(np.array([0.0, 225, 300])).seen_wide(np.zeros((2, 2)), np.eye(2), 4.0)  # across the line of sight, and along it
        >>> aside.round(2).tolist()
        [4.03, 5.03]
        """
        eyes = self.eyes_at(points)
        height = eyes[:, 2] - self.plane_mm
        beside = ((points - eyes[:, :2]) * normal).sum(axis=1)
        return od_mm * np.hypot(1, beside / height) / (1 - (od_mm / 2 - self.plane_mm) / height)

    def higher(self, points: np.ndarray, by_mm: np.ndarray) -> np.ndarray:
        """(n, 2) where places are if they stand so much higher than they were taken to: nearer to the foot of the camera.

        Parameters
        ----------
        points : (n, 2) [mm]
        by_mm : (n,) how much higher [mm]
        """
        eyes = self.eyes_at(points)
        return points + by_mm[:, None] * (eyes[:, :2] - points) / (eyes[:, 2:] - self.plane_mm)

    def under_outline(self, points: np.ndarray, side: np.ndarray, shape: Shape, radius_mm: float, *, other: tuple | None = None) -> np.ndarray:
        """(n, 2) where the tube's sides are, seen from straight above: :func:`under_outline` by the eyes that saw them.

        Parameters
        ----------
        points, side, shape, radius_mm : as there
        other : one of `others`; None for the view itself
        """
        there, eyes = (points, self.eye_mm) if other is None else (other[0](points), other[1])
        return under_outline(there, side, shape, radius_mm, self.eyes_at(points, eyes), plane_mm=self.plane_mm)

    def place_seen_at(self, point: np.ndarray, outward: np.ndarray, kind: str, radius_mm: float, *, other: tuple | None = None) -> tuple[np.ndarray, float]:
        """Where a cut end or a mark is, and what its height may shift it by: :func:`place_seen_at` by the eye that saw it.

        Parameters
        ----------
        point, outward, kind, radius_mm : as there
        other : one of `others`; None for the view itself
        """
        point = np.asarray(point, float)
        there, eyes = (point, self.eye_mm) if other is None else (other[0](point[None])[0], other[1])
        return place_seen_at(there, outward, kind, radius_mm, self.eyes_at(point[None], eyes)[0], plane_mm=self.plane_mm)


def instead(
    numbers: np.ndarray, covariance: np.ndarray, seen: Callable[[np.ndarray], tuple[Callable[[np.ndarray], np.ndarray], np.ndarray]]
) -> list[tuple[Callable[[np.ndarray], np.ndarray], np.ndarray]]:  # fmt: skip
    """Cameras that might have been, as a view's `others`: along each axis of their covariance, to first order.

    How long a lens is and how far away it was are told apart badly by a page seen from straight above, so that a whole standard
    deviation would be far enough to bend what is straight; a small step, made larger, does not.

    Parameters
    ----------
    numbers : (m,) of the cameras
    covariance : (m, m) of these
    seen : numbers → where points of the picture would lie then, and the eye or eyes
    """
    _, eyes = seen(numbers)
    values, vectors = np.linalg.eigh(covariance)

    def far(warp: Callable[[np.ndarray], np.ndarray]) -> Callable[[np.ndarray], np.ndarray]:
        return lambda points: points + (warp(points) - points) / _STEP

    steps = [seen(numbers + _STEP * np.sqrt(max(value, 0.0)) * vector) for value, vector in zip(values, vectors.T, strict=True)]
    return [(far(warp), eyes + (moved - eyes) / _STEP) for warp, moved in steps]


def standing(shape: Shape, points: np.ndarray, reach_mm: tuple[float, float]) -> np.ndarray:
    """(3, n) how much higher places of a bend stand for each mm that the far end of leg 1, the apex or the far end of leg 2 does.

    Parameters
    ----------
    shape : the bend
    points : (n, 2) beside it [mm]
    reach_mm : from the apex to the far end of each leg [mm]

    Examples
    --------
    >>> square = Shape(0, 0, 0.0, np.pi / 2, 15.0, 2.5, 2.5)
    >>> (standing(square, np.array([[60.0, 0], [30, 2], [4.4, 4.4], [0, 25]]), (60, 50)).round(2) + 0.0).tolist()
    [[1.0, 0.5, 0.0, 0.0], [0.0, 0.5, 1.0, 0.5], [0.0, 0.0, 0.0, 0.5]]
    """
    _, zone = distances(shape, points)
    along = (points - shape.apex) @ shape.directions.T
    # In the arc, from one setback at its beginning to minus one at its end.
    between = (along[:, 0] - along[:, 1]) / (1 + np.cos(shape.turn))
    place = np.where(zone == ARC, between, np.where(zone == LEG_1, along[:, 0], -along[:, 1]))
    first, last = np.clip(place / reach_mm[0], 0, 1), np.clip(-place / reach_mm[1], 0, 1)
    return np.stack([first, 1 - first - last, last])


def under_outline(points: np.ndarray, side: np.ndarray, shape: Shape, radius_mm: float, eye_mm: np.ndarray, *, plane_mm: float = 0.0) -> np.ndarray:
    """(n, 2) where the tube's sides are, seen from straight above, whose outlines are seen at these points of the page.

    Parameters
    ----------
    points : (n, 2) outline in the picture [mm]
    side : (n,) +1 on the bend's outside, −1 on its inside
    shape : about where the tube is
    radius_mm : half its diameter
    eye_mm : (3,) the camera, or (n, 3) the one that saw each point
    plane_mm : height of the picture's plane above the page

    Examples
    --------
    >>> square = Shape(0, 0, 0.0, np.pi / 2, 15.0, 2.5, 2.5)
    >>> seen = np.array([[40.0, -2.516]])  # a camera 400 mm straight above that leg sees a little beside it
    >>> under_outline(seen, np.array([1.0]), square, 2.5, np.array([40.0, 0.0, 400.0])).round(3).tolist()
    [[40.0, -2.5]]
    """
    _, zone = distances(shape, points)
    height = (eye_mm[..., 2] - plane_mm)[..., None]
    inwards = (eye_mm[..., :2] - points) / height  # by so much nearer to the camera a ray lies where it is 1 mm higher
    # Rays and arc level with the tube's axis.
    up = radius_mm - plane_mm
    level, centre = points + up * inwards, shape.centre + up * (eye_mm[..., :2] - shape.centre) / height
    arc = (zone == ARC)[:, None]
    touched = level
    for _ in range(_ROUNDS):
        # A ray that is aslant along an arc, too, touches it further on, where the arc has turned.
        radial = touched - centre
        radial /= np.maximum(np.linalg.norm(radial, axis=1, keepdims=True), 1e-9)
        normal = side[:, None] * np.where(arc, radial, shape.outward[np.minimum(zone, 1)])
        beyond = -(inwards * normal).sum(axis=1, keepdims=True)
        cosine = 1 / np.hypot(1, beyond)
        touched = level + radius_mm * beyond * cosine * inwards
    return touched + radius_mm * (1 - cosine) * normal


def place_seen_at(point: np.ndarray, outward: np.ndarray, kind: str, radius_mm: float, eye_mm: np.ndarray, *, plane_mm: float = 0.0) -> tuple[np.ndarray, float]:
    """Where a cut end or a mark is, seen from straight above, and what its height may shift it by along the tube.

    Parameters
    ----------
    point : (2,) where it is seen in the picture [mm]
    outward : (2,) direction of the leg, away from the apex
    kind : ``"end"`` or ``"mark"``
    radius_mm : half the tube's diameter
    eye_mm : (3,) the camera
    plane_mm : height of the picture's plane above the page
    """
    towards = View(eye_mm, plane_mm=plane_mm).slant(point, outward)
    if kind == "mark":
        high, u = _PEN, _PEN_U
    else:
        high, u = (_TOP, _END_U) if towards < 0 else (_FOOT, _FOOT_U)
    above = (high * radius_mm - plane_mm) / (eye_mm[2] - plane_mm)
    return eye_mm[:2] + (point - eye_mm[:2]) * (1 - above), float(np.hypot(towards * u, _SHADE_U)) * radius_mm
