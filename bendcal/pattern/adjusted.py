"""A line's shape from what a person can measure of an old line, a wire, or the car itself.

Put every measurement into a `Pattern`, adjust it, and read what it says: the shape with its
uncertainty, by how much it does not close, which measurement does not fit, and which is missing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bendcal.adjust import Adjustment, vpv_critical
from bendcal.estimate import Estimate
from bendcal.legs import Legs
from bendcal.lines import Line, line_from_nodes
from bendcal.nodes import corners, legs_from_nodes, measure_nodes, nodes_from_legs
from bendcal.pattern.alternatives import ambiguity_sentences, other_shapes, unmeasured
from bendcal.pattern.closing import closing_sentences, end_miss, end_sentences, together_sentence
from bendcal.pattern.gradients import shape_gradient
from bendcal.pattern.network import Network
from bendcal.pattern.observations import Angle, Datum, Direction, Distance, Leg, PatternFault, Point, Twist, place_words
from bendcal.pattern.shortfall import best_check, frame_is_fixed, missing_sentences
from bendcal.pattern.starting import lay_on, starts
from bendcal.pattern.survey import Pattern
from bendcal.pattern.suspects import Finding, Suspect, find_suspects, fits

__all__ = [
    "AdjustedPattern", "Angle", "Datum", "Direction", "Distance", "Leg", "Pattern", "PatternFault", "Point", "Suspect",
    "Twist", "adjust_pattern",
]  # fmt: skip

Array = NDArray[np.float64]

_MOST_STARTS = 12
#: A measurement that takes up more than this part of its own error is as good as not checked.
_HARDLY_CHECKED = 0.01


@dataclass(frozen=True, eq=False)
class AdjustedPattern:
    """The best shape for a pattern, and what the measurements say of one another.

    Attributes
    ----------
    pattern : what was measured
    adjustment : the least squares behind it, one row a reading
    nodes_mm : (k, 3) [mm] end A, every apex that was measured, end B: in the frame of the points
        where they fix it, else in the standard frame (end A at the origin, leg 1 along x)
    frame_fixed : which of the two
    legs : Legs; an apex that the line passes straight through is no bend
    covariance : (3n + 1, 3n + 1) [mm, deg] of legs, angles and twists in that order, n bends; the
        first twist is 0 and so are its row and column
    scale : by which the uncertainties were enlarged, because the readings scatter more than told
    finding : the suspects, whether without them all is well, and what is left then
    closing, missing, notes : sentences: how it closes; what is still to be measured before the
        shape is settled; what else to know
    """

    pattern: Pattern
    adjustment: Adjustment
    network: Network
    nodes_mm: Array
    frame_fixed: bool
    legs: Legs
    covariance: Array
    scale: float
    finding: Finding
    closing: tuple[str, ...]
    missing: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def found(self) -> tuple[Suspect, ...]:
        """The measurements that do not fit."""
        return self.finding.suspects

    def without_suspects(self) -> AdjustedPattern:
        """The same adjusted anew, with every suspect set aside; itself where there is none."""
        return adjust_pattern(self.finding.network.pattern) if self.found and self.finding.explained else self

    @property
    def suspects(self) -> tuple[str, ...]:
        """Sentences that name the measurements which do not fit, and what they should be."""
        said = [suspect.sentence for suspect in self.found]
        if said and not self.finding.explained:
            said.append(
                "Even without what is named here the rest does not agree: more than that is wrong, or the tools read "
                "worse than their uncertainties say."
            )
        elif not self.finding.explained:
            said.append("No single measurement stands out, but together they scatter too much: the tools read worse than told.")
        return tuple(said)

    @property
    def settled(self) -> bool:
        """Whether the measurements settle one shape."""
        return not self.missing

    @property
    def miss(self) -> tuple[str, Array] | None:
        """The end that the rest misses and by how much, (3,) [mm], as the first closing sentence says; None if that is not known."""
        return end_miss(self.network, self.adjustment)

    @property
    def leg_mm(self) -> Estimate:
        """(n + 1,) the legs."""
        return self._estimate(self.legs.leg_mm, 0, "mm")

    @property
    def angle_deg(self) -> Estimate:
        """(n,) the bends' angles."""
        return self._estimate(self.legs.angle_deg, len(self.legs.leg_mm), "°")

    @property
    def twist_deg(self) -> Estimate:
        """(n,) the twists; the first is 0."""
        return self._estimate(self.legs.twist_deg, len(self.legs.leg_mm) + self.legs.bends, "°")

    def _estimate(self, values: Array, first: int, unit: str) -> Estimate:
        own = slice(first, first + len(values))
        return Estimate(values, np.sqrt(np.diag(self.covariance)[own]), unit)

    @cached_property
    def residuals(self) -> pd.DataFrame:
        """A row for each reading: what, observed, adjusted, residual, sd, redundancy, w, gross_error, detectable."""
        a, network = self.adjustment, self.network
        return pd.DataFrame({
            "what": network.row_words, "observed": network.observed, "adjusted": network.observed + a.v, "residual": a.v,
            "sd": a.sd, "redundancy": a.redundancy, "w": a.w, "gross_error": a.gross_error, "detectable": a.detectable(),
        })  # fmt: skip

    def line(
        self, line: str, *, tube: str, bender: str, service: str = "other", end_a: str = "", end_b: str = "",
        trim_at: str = "B", note: str = "", labels: Sequence[str] = (),
    ) -> Line:  # fmt: skip
        """The line to be made, for `mark_out`.

        Parameters
        ----------
        line, tube, bender, service, end_a, end_b, trim_at, note, labels : as in `lines.Line`

        How well its shape is known goes with it, and into the sheet's uncertainties.
        Raises ValueError where the measurements do not settle one shape. A suspect does not stop
        it, but goes into the note.
        """
        if self.missing:
            raise ValueError(f"line {line}: its shape is not settled. {' '.join(self.missing)}")
        note = " ".join([*([note] if note else []), *self.suspects])
        return line_from_nodes(
            line, self.nodes_mm, tube=tube, bender=bender, service=service, end_a=end_a, end_b=end_b, trim_at=trim_at,
            note=note, labels=labels, shape_covariance=self.covariance,
        )  # fmt: skip

    def __str__(self) -> str:
        parts = ("Closing", self.closing), ("Suspect", self.suspects), ("Missing", self.missing), ("To know", self.notes)
        return "\n".join(f"{name}: {sentence}" for name, sentences in parts for sentence in sentences)


def adjust_pattern(pattern: Pattern) -> AdjustedPattern:
    """The shape that fits all measurements of a line best, and how they fit.

    Parameters
    ----------
    pattern : the measurements

    Raises
    ------
    ValueError : nothing is measured, or no shape can be found

    Source: least squares with every measurement held to its own uncertainty (C. D. Ghilani,
    Adjustment Computations, chapters 14 to 21, memory; the tests hold `adjust` against it).

    Examples
    --------
    >>> measured = [Leg("A", 1, 30, 0.5), Leg(1, "B", 40, 0.5), Angle(1, 90, 0.5), Distance("A", "B", 50.6, 0.5)]
    >>> adjusted = adjust_pattern(Pattern(measured))
    >>> adjusted.legs.angle_deg.round(1).tolist()
    [89.9]
    >>> print(adjusted.closing[0])
    The straight distance from end A to end B was measured 50.6 mm; by the rest it is 50.0 mm: they \
differ by 0.6 mm (95 %: ± 1.4 mm), which the tools' uncertainties explain.
    """
    network = Network.of(pattern)
    if len(network.sd) == 0:
        raise ValueError("nothing is measured: a pattern needs legs, angles and twists, or points")
    best, told = _best(network)
    missing = missing_sentences(network, best)
    if missing:
        best = _bent(network, best)
        missing = missing_sentences(network, best)
    else:
        first = best
        best, others = other_shapes(network, best)
        told = told if best is first else None
        missing = missing_sentences(network, best) or ambiguity_sentences(network, best, others)
    finding = told or find_suspects(network, best)
    if not best.settled and not (finding.suspects and finding.explained):
        raise ValueError("no shape was found that these measurements could belong to: look for a gross error among them")
    nodes, fixed = network.nodes_of(best.x), frame_is_fixed(network, best)
    try:
        legs = legs_from_nodes(nodes, labels=[place_words(place) for place in network.pattern.places])
        kept = corners(nodes)
    except ValueError as fault:
        raise ValueError(" ".join([f"the measurements make no line: {fault}.", *missing])) from None
    columns = (3 * kept[:, None] + np.arange(3)).ravel()
    by = shape_gradient(nodes[kept])
    scale = best.s0 if best.vpv > vpv_critical(best.dof) else 1.0
    covariance = scale**2 * by @ best.covariance[np.ix_(columns, columns)] @ by.T
    closing = closing_sentences(network, best)
    if finding.suspects and finding.explained:  # a blunder makes everything else miss as well
        rest = closing_sentences(finding.network, finding.rest)
        closing = [*end_sentences(network, best), together_sentence(best), *(f"Without what is suspected: {sentence}" for sentence in rest)]
    notes = [] if missing else _notes(network, best, legs, np.sqrt(np.diag(covariance)))
    return AdjustedPattern(
        pattern, best, network, nodes if fixed else _standard(nodes, kept, legs), fixed, legs, covariance, scale, finding,
        tuple(closing), tuple(missing), tuple(notes),
    )  # fmt: skip


def _best(network: Network) -> tuple[Adjustment, Finding | None]:
    """The best adjustment from the likeliest starts: the first that fits, else the best of some.

    With what `find_suspects` says of it, where it was asked.
    """
    best = None
    for tries, (start, sound) in enumerate(starts(network)):
        tried = network.adjust(start)
        if best is None or (tried.settled, -tried.vpv) > (best.settled, -best.vpv):
            best = tried
        if tries + 1 >= _MOST_STARTS or (best.settled and fits(best)):
            break
        # From a start that was all measured, a wrong reading explains a bad fit better than another shape.
        if tries == 0 and sound and best.settled and not any(unmeasured(network)) and (told := find_suspects(network, best)).explained:
            return best, told
    if not best.settled:  # a long way down a flat valley
        best = network.adjust(best.x, max_steps=400)
    return best, None


def _bent(network: Network, best: Adjustment) -> Adjustment:
    """Where the shape is open and came out straight or folded by chance, one that fits as well and is not.

    At a straight bend every way of moving looks the same, and more would seem open than is.
    """
    leg, angle, _ = measure_nodes(network.nodes_of(best.x))
    if len(angle) == 0 or (angle.min() > 1.0 and angle.max() < 175.0 and leg.min() > 0.05 * leg.mean()):
        return best
    aside = 0.2 * leg.mean() * np.random.RandomState(0).normal(size=best.x.size)
    bent = network.adjust(best.x + aside)
    return bent if bent.settled and bent.vpv < best.vpv + 1.0 else best


def _notes(network: Network, best: Adjustment, legs: Legs, u: Array) -> list[str]:
    said = []
    n = legs.bends
    for k in range(n):
        angle, u_angle = legs.angle_deg[k], u[n + 1 + k]
        if angle < 2.0 or angle < 2.0 * u_angle:
            said.append(
                f"Bend {k + 1} turns by {angle:.1f}° ± {2 * u_angle:.1f}° only: perhaps the line runs straight on there. "
                "The twists beside it mean little; the shape hardly suffers."
            )
    if unsure := unmeasured(network).twists:
        named = ", ".join(f"from bend {k} to bend {k + 1}" for k in unsure)
        said.append(f"The twist {named} was not measured: which way it turns was found by trying what fits. Look at the line.")
    if best.dof == 0:
        text = "No measurement checks another, so a blunder would go unseen."
        if (check := best_check(network, best)) is not None:
            one, value, u_check = check
            digits = 0 if 2 * u_check >= 2.0 else 1
            text += f" Measure {one.words} as well: it should be {value:.{digits}f} ± {max(2 * u_check, 0.1):.{digits}f} mm."
        said.append(text)
    elif (best.redundancy < _HARDLY_CHECKED).any():
        words = dict.fromkeys(word for word, r in zip(network.row_words, best.redundancy, strict=True) if r < _HARDLY_CHECKED)
        said.append(f"Not checked by the other measurements: {', '.join(words)}.")
    return said


def _standard(nodes: Array, kept: NDArray[np.intp], legs: Legs) -> Array:
    """The nodes laid into the standard frame, those on a straight with them."""
    aim = np.full_like(nodes, np.nan)
    aim[kept] = nodes_from_legs(legs)
    return lay_on(nodes, aim)[0]
