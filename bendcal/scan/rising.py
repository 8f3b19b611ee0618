"""Whether a leg rises towards the camera, as one that does not lie flat does: it is seen ever wider."""

from __future__ import annotations

import numpy as np

from bendcal.scan.tube_model import BELIEFS, Fitted
from bendcal.scan.uncertainty import noise_of

__all__ = ["rise"]


def rise(fitted: Fitted, leg: int, points: np.ndarray, side: np.ndarray, photo: np.ndarray, height_mm: float, od_mm: float) -> tuple[np.ndarray, np.ndarray] | None:
    """How much higher a leg's end is seen to stand than its bend, by how much wider it is seen there, and how far the leg is bowed.

    Parameters
    ----------
    fitted, points, side : the tube as fitted from straight above; (n, 2) its edges there [mm], and +1 for those on the bend's outside, −1 inside
    leg : which one
    photo : (n,) number of the photo that shows each: the next one is lit otherwise, and its edges lie otherwise
    height_mm : of the camera above the page
    od_mm : the tube's diameter [mm]

    Returns
    -------
    (2,) both and (2,) their standard uncertainties [mm]; None where the leg has no edges
    """
    residual, zone, weight = (each[:-BELIEFS] for each in (fitted.residual_mm, fitted.zone, fitted.weight))
    here = zone == leg
    if not here.any():
        return None
    t, s, w = (points[here] - fitted.shape.apex) @ fitted.shape.directions[leg], side[here], weight[here]
    t = t - np.average(t, weights=w)
    # Aside and wider in each photo, turned, ever wider, and bowed: a leg that rises is turned in the picture too, and what is left of a turn
    # would pass for scatter.
    own = (photo[here][:, None] == np.unique(photo[here])).astype(float)
    bow = np.cos(np.pi * t / max(2 * float(np.abs(t).max()), 1e-6))
    design = np.column_stack([s * t, bow, t, own, s[:, None] * own])
    inverse = np.linalg.pinv(design.T @ (design * w[:, None]), hermitian=True)
    found = inverse @ (design.T @ (w * residual[here]))
    noise = noise_of(residual[here] - design @ found, [np.flatnonzero(s == each) for each in (1, -1)])
    by = height_mm / (od_mm / 2) * float(np.ptp(t))  # what is 1 mm nearer to the camera is seen larger by one part in the camera's height
    return found[:2] * (by, 1), np.sqrt(noise * np.diag(inverse)[:2]) * (by, 1)
