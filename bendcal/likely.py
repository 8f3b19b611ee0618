"""What the bends that are made most likely are: what was measured, weighed against how well bends, marks and turns come out.

A protractor is hardly better than a hand that stops at a dial, so a bend that was read 0.5° too far most likely went too
far by less, and a leg that was read 0.5 mm too long lies mostly where its mark put it. All readings of all bends are
weighed together, by least squares with what the law and its scatter say beforehand. A bend that was read far from what
bends scatter is a slip of the hand rather than of the protractor: its reading is believed the more, the further off it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot, radians, sin

import numpy as np

from bendcal.margin import TWIST_SD_DEG, shape_sensitivities
from bendcal.marks import MarkSheet
from bendcal.offcuts import Offcut
from bendcal.path import wrap_deg
from bendcal.prior import WIDTHS
from bendcal.shop import Shop
from bendcal.tools import DEFAULT_ANGLE_TOOL, DEFAULT_LENGTH_TOOL

__all__ = ["Likely", "Reading", "likely", "reading_of"]

#: Bends, marks and turns come out as Student's t with so many degrees of freedom: a slip far out is then possible.
_FREEDOM = 4.0
_ROUNDS = 30


@dataclass(frozen=True)
class Reading:
    """How well what is made is measured: standard uncertainties of an angle [deg], of a length [mm] and of a twist [deg]."""

    angle_u_deg: float = DEFAULT_ANGLE_TOOL.u
    length_u_mm: float = DEFAULT_LENGTH_TOOL.u
    twist_u_deg: float = TWIST_SD_DEG


@dataclass(frozen=True, eq=False)
class Likely:
    """The bends that are made as they most likely are; those that are not made as they are meant.

    angle_deg, twist_deg : (n,)
    shift_mm : (n,) how far each lies further along the tube than its mark was to put it, towards end B
    """

    angle_deg: np.ndarray
    twist_deg: np.ndarray
    shift_mm: np.ndarray


def reading_of(shop: Shop, bender: str) -> Reading:
    """How well a shop measures: as well as it read the latest offcut of that bender, or of any.

    Parameters
    ----------
    shop : its offcuts and tools
    bender : the bender's name
    """
    counting: list[Offcut] = [o for o in shop.offcuts if o.counts]
    last = next((o for o in reversed(counting) if o.bender == bender), counting[-1] if counting else None)
    return Reading() if last is None else Reading(shop.angle_tool(last).u, shop.length_tool(last).u)


def likely(sheet: MarkSheet, made: Mapping[int, object], reading: Reading) -> Likely:
    """Weigh what was measured of the bends that are made.

    Parameters
    ----------
    sheet : the marks by which they were made
    made : number → :class:`bendcal.half_made.Made`
    reading : how well that was measured

    Source: least squares with a prior (a linear Gaussian model); the heavy tails by reweighting (K. L. Lange et al., J. Am.
    Stat. Assoc. 84, 1989, 881: memory).
    """
    legs, law, n = sheet.legs, sheet.law, sheet.legs.bends
    by_leg, by_angle = shape_sensitivities(legs, law, sheet.dial_deg, sheet.feed)
    rows, off, u = [], [], []
    for bend, one in made.items():
        k = bend - 1
        if one.angle_deg is not None:
            rows.append(by_angle[k]), off.append(one.angle_deg - legs.angle_deg[k]), u.append(reading.angle_u_deg)
        for leg, value in ((k, one.leg_mm), (bend, one.leg_after_mm)):
            if value is not None:
                rows.append(by_leg[leg]), off.append(value - legs.leg_mm[leg]), u.append(_leg_u_mm(legs, leg, reading.length_u_mm))
    twist = legs.twist_deg.copy()
    for bend, one in made.items():
        if one.twist_deg is not None:
            far = float(wrap_deg(one.twist_deg - twist[bend - 1]))
            moved = _moved(np.eye(1), np.array([far]), np.array([reading.twist_u_deg]), np.zeros((1, 1)), np.array([TWIST_SD_DEG]))
            twist[bend - 1] = wrap_deg(twist[bend - 1] + moved[0])
    if not rows:
        return Likely(legs.angle_deg.copy(), twist, np.zeros(n))
    size = by_leg.shape[1]
    shared = np.zeros((size, size))
    shared[: size - 2 * n, : size - 2 * n] = law.spread
    x = _moved(np.array(rows), np.array(off), np.array(u), shared, np.repeat([law.scatter_deg, law.marking_mm], n))
    done = np.isin(np.arange(1, n + 1), list(made))
    shift = sheet.feed * x[4] + x[size - n :]
    return Likely(legs.angle_deg + np.where(done, by_angle @ x, 0.0), twist, np.where(done, shift, 0.0))


def _leg_u_mm(legs, leg: int, length_u_mm: float) -> float:
    """A leg is read by a rule, to apexes whose middle lines go a little beside: the more it counts, the smaller their angles."""
    beside = [WIDTHS.crossing_sd_mm / sin(radians(legs.angle_deg[k])) for k in (leg - 1, leg) if 0 <= k < legs.bends]
    return hypot(length_u_mm, *beside)


def _moved(rows: np.ndarray, off: np.ndarray, u: np.ndarray, shared: np.ndarray, own_sd: np.ndarray) -> np.ndarray:
    """The sources that explain what was read best: the first ones normal with covariance `shared`, the last ones Student's t."""
    own = np.arange(len(shared) - len(own_sd), len(shared))
    least = np.maximum(own_sd, 1e-9) ** 2
    covariance, noise, x = shared.copy(), np.diag(np.maximum(u, 1e-9) ** 2), np.zeros(len(shared))
    wide = 25.0 * least  # begun as if every bend might have been a slip: what is one is then found to be
    for _ in range(_ROUNDS):
        covariance[own, own] = wide
        x = covariance @ rows.T @ np.linalg.solve(rows @ covariance @ rows.T + noise, off)
        wide = (_FREEDOM * least + x[own] ** 2) / (_FREEDOM + 1.0)
    return x
