"""Pieces: offcuts as arrays, and the three readings of each as functions of the law.

With the crossing's share c (0, +OD/2 or −OD/2) and t = tan(θ/2), a piece of length L₀ with
its mark at x shows::

    angle          = θ                          + its tool's error
    leg_a − x      =  m      + (R + c)·t        + errors of leg A and of the mark
    leg_b − L₀ + x = −m − λθ + (R + c)·t        + errors of leg B, of the length and of the mark

and θ scatters about a + b·dial, or a little beside it where the bender's dial is bowed and its
bends drift. The sum of the last two is the gain. The mark's error moves both legs, in opposite
directions; the length's error moves leg B alone. Where a leg's middle line goes beside the leg,
the apex moves along the other leg: the more, the smaller the angle.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bendcal.arc import crossing_sign
from bendcal.bow import bow_at, bow_shape
from bendcal.inference.latent import Linearised
from bendcal.offcuts import Offcut
from bendcal.prior import WIDTHS, Widths
from bendcal.shop import Shop

__all__ = ["Pieces", "as_next", "linearise", "pieces_of"]

#: No tool is believed beyond this [deg or mm]: no offcut is so true, and the arithmetic stays sound.
_FINEST = 1e-3


@dataclass(frozen=True, eq=False)
class Pieces:
    """N offcuts as arrays. Lengths in mm, angles in degrees.

    Attributes
    ----------
    offcuts : the pieces themselves
    group : (N,) which bender × tube each belongs to
    dial : (N,)
    readings : (N, 3) angle, leg_a − mark, leg_b − (length − mark); NaN where not measured
    precision : (N, 3, 3) inverse covariance of those readings, zero where not measured
    log_det : (N,) log determinant of the covariance of those that were
    crossing : (N,) c above
    bow : (N,) how far a bow of height 1 lifts that dial setting over the straight line [1]
    made : (N,) minus the number of bends from this one to the bender's next
    bow_shape : bender → the shape that `bow` has
    od_mm : (N,) the tubes' outside diameters
    """

    offcuts: tuple[Offcut, ...]
    group: np.ndarray
    dial: np.ndarray
    readings: np.ndarray
    precision: np.ndarray
    log_det: np.ndarray
    crossing: np.ndarray
    bow: np.ndarray
    made: np.ndarray
    bow_shape: dict[str, tuple[float, float, float]]
    od_mm: np.ndarray


def pieces_of(shop: Shop, pairs: Sequence[tuple[str, str]], widths: Widths = WIDTHS) -> Pieces:
    """The offcuts of `pairs` that count, with their tools' uncertainties.

    Parameters
    ----------
    shop : where the offcuts, tubes and tools are
    pairs : (bender, tube) names, in the order of the groups
    widths : ``marking_sd_mm`` is added to the error of each mark, ``crossing_sd_mm`` to that of each leg

    Returns
    -------
    Pieces
    """
    offcuts = [o for pair in pairs for o in shop.offcuts_for(*pair)]
    number = {pair: k for k, pair in enumerate(pairs)}
    nan = float("nan")
    angle_u = np.maximum([shop.angle_tool(o).u for o in offcuts], _FINEST)
    length_u = np.maximum([shop.length_tool(o).u for o in offcuts], _FINEST)
    mark, length = (np.array([getattr(o, name) for o in offcuts], float) for name in ("mark_mm", "length_mm"))
    leg_a = np.array([nan if o.leg_a_mm is None else o.leg_a_mm for o in offcuts], float)
    leg_b = np.array([nan if o.leg_b_mm is None else o.leg_b_mm for o in offcuts], float)
    angle = np.array([o.angle_deg for o in offcuts], float)
    readings = np.stack([angle, leg_a - mark, leg_b - (length - mark)], axis=1)

    covariance = np.zeros((len(offcuts), 3, 3))
    marking = length_u**2 + widths.marking_sd_mm**2
    covariance[:, 0, 0] = angle_u**2
    covariance[:, 1, 1] = length_u**2 + marking
    covariance[:, 2, 2] = 2 * length_u**2 + marking
    covariance[:, 1, 2] = covariance[:, 2, 1] = -marking
    covariance[:, 1:, 1:] += widths.crossing_sd_mm**2 * _crossing(offcuts)
    taken = np.isfinite(readings)
    both = taken[:, :, None] & taken[:, None, :]
    # A reading that was not taken gets variance 1 for the inversion, then no weight at all.
    covariance = np.where(both, covariance, np.eye(3) * ~taken[:, None, :])
    precision = np.where(both, np.linalg.inv(covariance), 0.0)
    dial = np.array([o.dial_deg for o in offcuts], float)
    shapes = {name: bow_shape([o.dial_deg for o in offcuts if o.bender == name]) for name in {b for b, _ in pairs}}
    signs = np.array([crossing_sign(o.legs_to) for o in offcuts], float)
    radii = np.array([shop.tubes[o.tube].od_mm / 2 for o in offcuts])
    return Pieces(
        offcuts=tuple(offcuts),
        group=np.array([number[o.bender, o.tube] for o in offcuts], int),
        dial=dial,
        readings=readings,
        precision=precision,
        log_det=np.linalg.slogdet(covariance)[1],
        crossing=signs * radii,
        bow=bow_at(np.reshape([shapes[o.bender] for o in offcuts], (-1, 3)), dial),
        made=_made(shop, offcuts),
        bow_shape=shapes,
        od_mm=2 * radii,
    )


def as_next(pieces: Pieces, bow_shape: Mapping[str, tuple[float, float, float]]) -> Pieces:
    """The same pieces as if each were its bender's next, on dials whose bow has a shape given before."""
    shapes = np.reshape([bow_shape.get(o.bender, pieces.bow_shape[o.bender]) for o in pieces.offcuts], (-1, 3))
    return replace(pieces, bow=bow_at(shapes, pieces.dial), made=np.zeros(len(pieces.dial)), bow_shape=dict(bow_shape))


def _made(shop: Shop, offcuts: Sequence[Offcut]) -> np.ndarray:
    """(N,) minus the number of bends from each to its bender's next, in the order of the log."""
    count: dict[str, int] = {}
    place = {}
    for o in (o for o in shop.offcuts if o.counts):
        place[id(o)] = count[o.bender] = count.get(o.bender, 0) + 1
    return np.array([place[id(o)] - count[o.bender] - 1 for o in offcuts], float)


def _crossing(offcuts: Sequence[Offcut]) -> np.ndarray:
    """Covariance (N, 2, 2) of legs A and B where both middle lines go beside their legs by 1 mm (sd).

    Leg A's line beside by e moves the apex by e/sin θ along leg B, and by −e/tan θ along leg A.
    """
    angle, dial = (np.clip([getattr(o, name) for o in offcuts], 5.0, 175.0) for name in ("angle_deg", "dial_deg"))
    # One of the two may be a blunder: the one farther from square counts, for that takes weight from where along
    # the tube the bend lies, and none from the gain, which can tell which of the two it was.
    theta = np.radians(np.where(np.abs(dial - 90.0) > np.abs(angle - 90.0), dial, angle))
    sin, cos = np.sin(theta), np.cos(theta)
    one, both = (1.0 + cos**2) / sin**2, -2.0 * cos / sin**2
    return np.stack([np.stack([one, both], axis=1), np.stack([both, one], axis=1)], axis=1)


def linearise(pieces: Pieces, p: np.ndarray, theta: np.ndarray) -> Linearised:
    """The three readings near laws `p` and true angles `theta`.

    Parameters
    ----------
    pieces : N offcuts
    p : (N, 7) of each piece's pair, in the order of ``prior.UNKNOWNS``
    theta : (N,) true finished angles [deg]
    """
    n = len(theta)
    a, b, radius, developed, offset, bow, drift = p.T
    theta = np.clip(theta, 0.0, 175.0)  # a stray step of the iteration, never a reading
    half = np.radians(theta) / 2
    tan = np.tan(half)
    reach = radius + pieces.crossing
    leg_a = offset + reach * tan
    leg_b = reach * tan - developed * 2 * half - offset
    by_p = np.zeros((n, 3, 7))
    by_p[:, 1, 2] = by_p[:, 2, 2] = tan
    by_p[:, 2, 3] = -2 * half
    by_p[:, 1, 4], by_p[:, 2, 4] = 1.0, -1.0
    per_degree = np.pi / 360 / np.cos(half) ** 2
    by_theta = np.stack([np.ones(n), reach * per_degree, reach * per_degree - developed * np.pi / 180], axis=1)
    mu_by_p = np.zeros((n, 7))
    mu_by_p[:, 0], mu_by_p[:, 1], mu_by_p[:, 5], mu_by_p[:, 6] = 1.0, pieces.dial, pieces.bow, pieces.made
    return Linearised(np.stack([theta, leg_a, leg_b], axis=1), by_p, by_theta, a + b * pieces.dial + bow * pieces.bow + drift * pieces.made, mu_by_p)
