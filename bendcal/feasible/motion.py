"""How fast the tube moves during a stroke, and so how near it can come within a part of it.

In the frame of what it is held against, a point of the tube turns about the die's axis, is drawn in along the
straight that is left to wind, does both, or stands still. Two bounds follow on how near a part of the
tube comes within a part of the stroke. One is plain: no point moves further than its greatest speed lets
it. The other looks along the line that joins the nearest points in the middle: a convex body lies
behind the plane square to it, so only the speed along that line counts, and how much it can change.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bendcal.feasible.stroke import swing_mm

__all__ = ["Motion"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Motion:
    """The motion of n parts of the tube, each over its own part of the stroke.

    Parameters
    ----------
    sense : (n,) +1 where it turns with the stroke, −1 against it (seen from the lever), 0 where it does not turn
    pace_mm : (n,) by how much it is drawn in [mm per radian of the stroke]; 0 of the held half
    turn : (n,) [rad] the middle of its part of the stroke
    half : (n,) [rad] how far that part reaches on either side
    left_mm : (n,) what is left to wind in the middle [mm]; 0 of the held half
    """

    sense: Array
    pace_mm: Array
    turn: Array
    half: Array
    left_mm: Array

    def place(self, points: Array) -> Array:
        """Points of `stroke.in_bender` where they lie in the middle of their part of the stroke, (n, 3) [mm]."""
        return swing_mm(points, self.sense * self.turn, self.left_mm)

    def velocity(self, placed: Array) -> Array:
        """How placed points move there, (n, 3) [mm/rad]; all motion is level."""
        angle = self.sense * self.turn
        out = np.zeros_like(placed)
        out[:, 0] = -self.sense * placed[:, 1] - self.pace_mm * np.cos(angle)
        out[:, 1] = self.sense * placed[:, 0] - self.pace_mm * np.sin(angle)
        return out

    def bounds(self, first: Array, last: Array, sag: Array) -> tuple[Array, Array]:
        """The greatest speed of any point of a part [mm/rad], and how much its velocity can change [mm/rad²].

        A point at (x, y) of the turning frame moves with (−y − pace, x) and changes that by (−x, −y − 2·pace)
        per radian: both are greatest at an end of the part and of the stroke.

        Parameters
        ----------
        first, last : (n, 3) [mm] both ends of each part, not placed
        sag : (n,) how far an arc lies from the straight between them [mm]
        """
        speed, change = np.zeros(len(first)), np.zeros(len(first))
        reach = self.pace_mm * self.half
        for point in (first, last):
            x = np.maximum(np.abs(point[:, 0] + self.left_mm - reach), np.abs(point[:, 0] + self.left_mm + reach))
            speed = np.maximum(speed, np.hypot(point[:, 1] + self.pace_mm, x))
            change = np.maximum(change, np.hypot(point[:, 1] + 2 * self.pace_mm, x))
        turns = self.sense != 0
        return np.where(turns, speed + sag, self.pace_mm), np.where(turns, change + sag, 0.0)

    def nearest(
        self, first: Array, last: Array, placed: tuple[Array, Array], sag: Array, gap: Array, near: Array, outward: Array
    ) -> tuple[Array, Array, Array]:
        """How near each part may come, the arc's sag not yet taken off.

        Parameters
        ----------
        first, last, sag : as for :meth:`bounds`
        placed : both ends, placed
        gap : (n,) [mm] distance in the middle of the stroke
        near : (n, 3) [mm] the place on the part that is nearest there
        outward : (n, 3) the direction from the other body to it; nothing where they touch

        Returns
        -------
        (n,) [mm] a bound that the distance does not go below; (n,), (n,) [mm] how much of what it is below `gap` is
        due to the length of the part, and how much to the length of the stroke
        """
        speed, change = self.bounds(first, last, sag)
        plain = speed * self.half
        bulge = 0.5 * change * self.half**2
        ahead = []
        for end in placed:
            towards = np.abs(_dot(outward, self.velocity(end))) * self.half
            ahead.append(gap + _dot(outward, end - near) - towards - bulge)
        along = np.minimum(*ahead)
        stroke = np.abs(_dot(outward, self.velocity(near))) * self.half + bulge
        length = np.abs(_dot(outward, self.velocity(placed[1]) - self.velocity(placed[0]))) * self.half
        better = along > gap - plain
        return np.maximum(along, gap - plain), np.where(better, length, 0.0), np.where(better, stroke, plain)


def _dot(a: Array, b: Array) -> Array:
    return np.einsum("ni,ni->n", a, b)
