"""Drift: do new offcuts still fit the law that was learned before them?

New readings are held against the stored law before they join it. A tool that was dropped,
a worn die or another coil of tube shows as a shift that the law, the scatter of single
bends and the instruments cannot explain.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from bendcal.calibration import Calibration
from bendcal.estimate import Estimate
from bendcal.law import Law
from bendcal.pieces import as_next, linearise, pieces_of
from bendcal.shop import Shop

__all__ = ["ALARM_AT", "Drift", "check_drift"]

#: A shift is called real when chance alone would make one as large less often than this. The largest
#: of four is judged, so the alarm is false a little more often: of 1,000 honest sets of two new
#: offcuts on invented benders 8 raised one; a shift of 2.5° was noticed in 83 of 100.
ALARM_AT = 0.005

#: What may have shifted: the law's parameter, its words, its unit, where it is told [deg of dial or angle].
_SHIFTS = (
    (0, "the finished angle", "°"),
    (2, "the centreline radius", "mm"),
    (3, "the tube that a bend uses, as a radius", "mm"),
    (4, "the mark offset", "mm"),
)


@dataclass(frozen=True, eq=False)
class Drift:
    """How the new offcuts of one bender with one tube stand to its stored law.

    Attributes
    ----------
    bender, tube : names
    offcuts : names of the new pieces
    p_value : how often chance alone would make that quantity shift as far as it did
    shift : Estimate of that shift [deg or mm]
    what : what it is a shift of, in words
    odd_one : the piece without which no shift would show, or blank
    """

    bender: str
    tube: str
    offcuts: tuple[str, ...]
    p_value: float
    shift: Estimate
    what: str
    odd_one: str = ""

    @property
    def alarm(self) -> bool:
        """Whether the new pieces do not fit the stored law."""
        return self.p_value < ALARM_AT

    @property
    def sentence(self) -> str:
        """What the new pieces say, and what to do."""
        count = "offcut" if len(self.offcuts) == 1 else f"{len(self.offcuts)} offcuts"
        pair = f"{self.bender} with {self.tube}"
        if not self.alarm:
            return f"{pair}: the new {count} fit the stored law." if len(self.offcuts) > 1 else f"{pair}: the new offcut fits the stored law."
        moved = f"{self.what} is off by {self.shift.value:+.1f}{'' if self.shift.unit == '°' else ' '}{self.shift.unit}"
        if self.odd_one:
            return (
                f"{pair}: {moved}, but only offcut {self.odd_one} says so. Read it again, or bend one more, "
                "before you believe it."
            )
        return (
            f"{pair}: the new {count} do not fit the stored law: {moved}. Has the bender been knocked or adjusted, "
            "or is this another coil of tube? Give it a name of its own and calibrate it anew."
        )

    def __str__(self) -> str:
        return self.sentence

    __repr__ = __str__


def check_drift(cal: Calibration, shop: Shop) -> tuple[Drift, ...]:
    """Hold the offcuts that `cal` has not seen against its laws.

    Parameters
    ----------
    cal : the stored calibration
    shop : the shop as it is now; its new pieces are those whose names `cal` does not know

    Returns
    -------
    One Drift for each bender × tube that has a law and new pieces; none where nothing is new

    Source: predictive checks by JCGM 100:2008 propagation; what the alarm's rate came to
    stands at :data:`ALARM_AT`.
    """
    seen = set(cal.residuals["offcut"]) if len(cal.residuals) else set()
    seen |= {offcut for offcut, _ in cal.set_aside}
    found = []
    for pair, law in cal.laws.items():
        new = tuple(o for o in shop.offcuts_for(*pair) if o.offcut not in seen)
        if new:
            found.append(_judge(replace(shop, offcuts=new), law, cal.reading_scale))
    return tuple(found)


def _judge(shop: Shop, law: Law, reading_scale: float) -> Drift:
    off, spread, by, names = _against(shop, law, reading_scale)
    p_value, shift, what = _largest_shift(off, spread, by, law.dof)
    odd_one = ""
    if p_value < ALARM_AT and len(names) > 1:
        without = []
        for i in range(len(names)):
            keep = np.repeat(np.arange(len(names)) != i, 3)
            without.append(_largest_shift(off[keep], spread[np.ix_(keep, keep)], by[keep], law.dof)[0])
        if max(without) > 10 * ALARM_AT:
            odd_one = names[int(np.argmax(without))]
    return Drift(law.bender, law.tube, names, p_value, shift, what, odd_one)


def _against(shop: Shop, law: Law, reading_scale: float):
    """Readings − law (3n,), their covariance, their slopes by the law's parameters and bow (3n, 6), the names."""
    pieces = as_next(pieces_of(shop, [(law.bender, law.tube)]), {law.bender: law.bow.shape})
    n = len(pieces.dial)
    p = np.tile([*law.parameters, 0.0, 0.0], (n, 1))
    near = linearise(pieces, p, law.mean_angle(pieces.dial).value)
    taken = np.isfinite(pieces.readings)
    slope = near.by_xi * taken
    design = near.by_p * taken[..., None] + slope[..., None] * near.mu_by_p[:, None, :]
    off = np.where(taken, pieces.readings - near.h, 0.0).ravel()
    own = law.scatter_deg**2 * slope[:, :, None] * slope[:, None, :]
    # A reading that was not taken stands alone with variance 1 and no slope: it says nothing.
    missing = np.einsum("ni,ij->nij", ~taken, np.eye(3))
    readings = np.linalg.inv(pieces.precision + missing)
    own = own + np.where(taken[:, :, None] & taken[:, None, :], reading_scale**2 * readings, missing)
    by = design.reshape(3 * n, 7)[:, :6]
    spread = by @ law.spread @ by.T
    for i in range(n):
        spread[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] += own[i]
    return off, spread, by, tuple(o.offcut for o in pieces.offcuts)


def _largest_shift(off, spread, by, dof: float) -> tuple[float, Estimate, str]:
    weight = np.linalg.inv(spread)
    best = (1.0, Estimate(0.0, 0.0), "nothing")
    for column, what, unit in _SHIFTS:
        information = float(by[:, column] @ weight @ by[:, column])
        if information < 1e-9:
            continue
        shift, u = float(by[:, column] @ weight @ off) / information, information**-0.5
        # u is the standard deviation of a t distribution: turn it into the scale that t is tabled for.
        scale = u * np.sqrt((dof - 2) / dof) if np.isfinite(dof) else u
        p_value = 2 * float(special.stdtr(dof, -abs(shift) / scale))
        if p_value < best[0] or best[2] == "nothing":
            best = (p_value, Estimate(shift, u, unit, dof), what)
    return best
