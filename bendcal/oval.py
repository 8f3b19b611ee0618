"""How far the shop's own bends flatten: learned from caliper readings, for no formula foretells it for a hand bender.

Formulas are published for machines with a mandrel, a wiper and a pressure die, or for tube that nothing holds; a groove
that fits well or badly, a roller or a shoe decide more than diameter and wall do. (Three measured rotary-draw bends,
arXiv 2509.10272, read: 3.2, 2.9 and 2.5 % out of round, all of one tube on one machine.) So what is expected of the next bend
is the mean of those that were measured, within the reach of one more of their kind (Student's t).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from bendcal.estimate import Estimate
from bendcal.flattening import LEAST_DIAMETER, MOST_OVALITY
from bendcal.measures import mm_text
from bendcal.offcuts import Offcut
from bendcal.tubes import Tube

__all__ = ["LEAST_ANGLE_DEG", "Oval", "odd_diameters", "oval_of"]

#: Bends of less than this are not asked: the straight tube beside so short an arc keeps it round (the kit's own choice).
LEAST_ANGLE_DEG = 30.0
#: What a caliper's reading of a bend is good for, at the least [mm] (common practice: one with steps of 0.05 mm, in a hand); pieces that read alike do not scatter less.
CALIPER_U_MM = 0.03
#: By which a tube may be out, caliper and all: a share of its diameter, or so much at the least.
CALIPER_SLACK, CALIPER_SLACK_MM = 0.04, 0.1
LEAST_FLAT = 0.3  # of the diameter: flatter is no bend
MOST_WIDE = 1.4  # a tube pressed wholly flat is 1.57 times as wide
_FURTHER_DEG = 5.0  # a bend that goes this much beyond those measured is pointed out


@dataclass(frozen=True)
class Oval:
    """What the pieces of one bender with one tube tell of how far a bend flattens.

    Attributes
    ----------
    od_mm : outside diameter of the straight tube
    count : pieces whose smallest diameter was measured
    angles_deg : the least and the greatest finished angle of these
    smallest_mm : the smallest diameter in the middle of the next bend; from one piece its `u` is not known (nan)
    spread_mm : standard deviation of the pieces about their mean; nan for one piece
    count_both : of these, pieces whose largest diameter was measured too
    ovality : largest less smallest as a share of the straight tube's diameter, of the next bend; None where no largest was measured
    """

    od_mm: float
    count: int
    angles_deg: tuple[float, float]
    smallest_mm: Estimate
    spread_mm: float
    count_both: int = 0
    ovality: Estimate | None = None

    @property
    def sentences(self) -> tuple[str, ...]:
        """What is expected of the next bend, against what is allowed."""
        least = LEAST_DIAMETER * self.od_mm
        pieces = f"{_pieces(self.count)} of {_angles(self.angles_deg)}"
        said = [
            f"The smallest diameter of a bend is expected at {_reach(self.smallest_mm, 2, ' mm')}, from {pieces}; the straight tube has {self.od_mm:g} mm, and at least "
            f"{least:.2f} mm must be left (75 %, FAA)."
        ]
        most = 100 * MOST_OVALITY["internal"]
        if self.ovality is not None:
            share = Estimate(100 * self.ovality.value, 100 * self.ovality.u, "%", self.ovality.dof)
            said.append(f"Out of round it is expected to be by {_reach(share, 1, ' %')}, from {_pieces(self.count_both)}; at most {most:g} % is allowed in piping (ASME B31.3).")
        else:
            said.append(
                f"How far out of round it is, at most {most:g} % being allowed in piping (ASME B31.3), cannot be said before the largest diameter is measured too; "
                f"by at least {100 * (1 - float(self.smallest_mm.value) / self.od_mm):.1f} %, for no bend gets narrower both ways."
            )
        return tuple(said)

    @property
    def scrap(self) -> bool:
        """Whether the next bend is expected to be flatter than a bend may be."""
        return float(self.smallest_mm.value) < LEAST_DIAMETER * self.od_mm

    @property
    def warning(self) -> str:
        """A sentence where a limit lies within reach of the next bend, or of all that is known; blank where none does."""
        low, share = float(self.smallest_mm.interval(0.95)[0]), self.ovality
        least, most = LEAST_DIAMETER * self.od_mm, MOST_OVALITY["internal"]
        if self.scrap:
            return f"Bends of this tube on this bender come out flattened to {float(self.smallest_mm.value):.2f} mm: less than 75 % of its diameter ({least:.2f} mm) is scrap (FAA)."
        if low < least:
            return f"A bend of this tube may be flattened to {max(low, 0.0):.2f} mm; less than 75 % of its diameter ({least:.2f} mm) is scrap (FAA). Measure every bend of the line."
        out = float(share.interval(0.95)[1]) if share is not None else 1 - float(self.smallest_mm.value) / self.od_mm
        if np.isfinite(out) and out > most:
            kind = "may be" if share is None or float(share.value) <= most else "come out"
            return f"Bends of this tube {kind} {100 * out:.1f} % out of round; at most {100 * most:g} % is allowed in piping (ASME B31.3). Measure every bend of the line."
        return ""

    def beyond(self, angle_deg: Sequence[float]) -> str:
        """A sentence on bends that go further than those measured; blank where none does.

        Parameters
        ----------
        angle_deg : (n,) of the line's bends [deg]
        """
        most = float(np.max(angle_deg, initial=0.0))
        if most <= self.angles_deg[1] + _FURTHER_DEG:
            return ""
        return f"That was measured on bends up to {self.angles_deg[1]:.0f}°; one of {most:.0f}° may be flatter."


def oval_of(offcuts: Iterable[Offcut], tube: Tube) -> Oval | None:
    """What the pieces of one bender with one tube tell, or None where no smallest diameter was measured.

    Parameters
    ----------
    offcuts : pieces of that bender with that tube; those that are set aside, or bent by less than :data:`LEAST_ANGLE_DEG`, are left out
    tube : its outside diameter

    Source: the next of n normal readings lies within mean ± t·s·√(1 + 1/n), t of n − 1 degrees of freedom.

    Examples
    --------
    >>> from bendcal.materials import ALLOYS
    >>> tube = Tube("thin", ALLOYS["copper"], 6.0, 1.0)
    >>> pieces = [Offcut(str(k), "small", "thin", 200, 90, 92, 90, smallest_mm=mm) for k, mm in enumerate((5.4, 5.6, 5.5))]
    >>> oval_of(pieces, tube).sentences[0][:88]
    'The smallest diameter of a bend is expected at 5.50 mm (95 %: 5.00 to 6.00 mm), from 3 p'
    """
    known = [piece for piece in offcuts if piece.counts and piece.smallest_mm is not None and piece.angle_deg >= LEAST_ANGLE_DEG]
    if not known:
        return None
    smallest = np.array([piece.smallest_mm for piece in known])
    both = np.array([(piece.largest_mm - piece.smallest_mm) / tube.od_mm for piece in known if piece.largest_mm is not None])
    angles = [piece.angle_deg for piece in known]
    ovality = _next(both, sqrt(2) * CALIPER_U_MM / tube.od_mm, "") if len(both) else None
    spread = float(np.std(smallest, ddof=1)) if len(known) > 1 else float("nan")
    return Oval(tube.od_mm, len(known), (min(angles), max(angles)), _next(smallest, CALIPER_U_MM, "mm"), spread, len(both), ovality)


def odd_diameters(offcut: Offcut, tube: Tube) -> Iterator[tuple[bool, str, str, str, str]]:
    """What is odd about the diameters of a bend, against the tube's and against each other: a bend flattens, and gets no wider in its own plane.

    Parameters
    ----------
    offcut : with its diameters, or without
    tube : its own

    Returns
    -------
    For each: whether it is impossible or only doubtful, ``smallest`` or ``largest``, what was found, the rule, what to do
    """
    small, large, od = offcut.smallest_mm, offcut.largest_mm, tube.od_mm
    if small is not None and large is not None and small > large:
        yield True, "smallest", f"{mm_text(small)} with a largest diameter of {mm_text(large)}", "The smallest is no more than the largest.", "Look whether the two were swapped."
        return
    slack, of = max(CALIPER_SLACK_MM, CALIPER_SLACK * od), f"of a tube of {mm_text(od)}"
    for which, value, least, most in (("smallest", small, LEAST_FLAT * od, od + slack), ("largest", large, od - slack, MOST_WIDE * od)):
        if value is not None and not least <= value <= most:
            rule = "In the middle of a bend the smallest diameter is no more than the tube's, the largest no less, and a bend is not flat."
            yield True, which, f"{mm_text(value)} {of}", rule, "Look whether the two were swapped or a digit slipped."
    if small is not None and LEAST_FLAT * od <= small < LEAST_DIAMETER * od:
        rule = f"A bend flattened to less than 75 % of the tube's diameter ({mm_text(LEAST_DIAMETER * od)}) is scrap (FAA)."
        yield False, "smallest", f"{mm_text(small)} {of}", rule, "Measure it again. If it is so, this bender is not fit for this tube, or something was wrong with that bend."


def _next(values: np.ndarray, floor: float, unit: str) -> Estimate:
    """The next one of a kind."""
    n = len(values)
    if n < 2:
        return Estimate(float(values[0]), float("nan"), unit, 1.0)
    u = max(float(np.std(values, ddof=1)), floor) * sqrt(1 + 1 / n)
    dof = n - 1.0
    # An Estimate's u is the standard deviation of what is known, which Student's t has from 3 degrees of freedom on.
    return Estimate(float(np.mean(values)), u * sqrt(dof / (dof - 2)) if dof > 2 else u, unit, dof)


def _reach(one: Estimate, digits: int, unit: str) -> str:
    if not np.isfinite(one.u):
        return f"{float(one.value):.{digits}f}{unit} (how far bends differ is not known from one piece)"
    low, high = (float(v) for v in one.interval(0.95))
    return f"{float(one.value):.{digits}f}{unit} (95 %: {max(low, 0.0):.{digits}f} to {high:.{digits}f}{unit})"


def _pieces(count: int) -> str:
    return "one piece" if count == 1 else f"{count} pieces"


def _angles(angles_deg: tuple[float, float]) -> str:
    low, high = (round(angle) for angle in angles_deg)
    return f"{high}°" if low == high else f"{low} to {high}°"
