"""Plans: in which order, and with which end leading, a line's bends can be made, and why or why not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from bendcal.feasible.nuts import places_told
from bendcal.feasible.orders import Way, trials_of
from bendcal.feasible.rules import Finding
from bendcal.feasible.trials import Clear, Trials
from bendcal.working import WorkStep, order_words, work_steps

__all__ = ["Plan", "PlanStep", "Plans", "plan_of"]


@dataclass(frozen=True)
class PlanStep:
    """One bend of a plan.

    Attributes
    ----------
    work : the bend, the end that leads, and how the tube is turned before it
    clearance_mm : the least clearance while it is made; inf where nothing is near
    near : what is nearest there
    stroke_deg : where the lever stands there [deg]; nan where nothing is near
    part : the nut that comes near; blank where it is the tube
    nuts_back_mm : where the nuts on the tube are pushed for it: letter of the end → how far behind its seat [mm]
    """

    work: WorkStep
    clearance_mm: float
    near: str
    stroke_deg: float
    part: str = ""
    nuts_back_mm: Mapping[str, float] = field(default_factory=dict)

    @property
    def bend(self) -> int:
        """Its number, from end A."""
        return self.work.bend

    @property
    def feed(self) -> str:
        """The end that leads into the bender, ``A`` or ``B``."""
        return self.work.feed

    @property
    def clock_deg(self) -> float:
        """Where round the tube its inside faces, against bend 1: this line goes towards the die's axis."""
        return self.work.clock_deg

    @property
    def turn_deg(self) -> float | None:
        """How far to turn the tube after the bend before; None for the first one, and after a turn end for end."""
        return self.work.turn_deg


@dataclass(frozen=True)
class Plan:
    """One way in which a line can be bent.

    Attributes
    ----------
    order : numbers of the bends in the order in which they are made
    feed : for each bend from end A to end B the end that leads: what `mark_out(..., feed=plan.feed)` takes
    least_clearance_mm : the least clearance of what is already bent, over all strokes; inf where nothing comes near
    steps : one for each bend, in the order in which they are made
    reasons : sentences that say how much trouble it is
    hindered : sentences that say why no easier order serves; none where it is the easiest
    clears : a sentence on how near what is bent comes to anything; blank where nothing was measured
    late : the letters of ends that are finished after the bends only, because their nut would be in the way; else blank
    """

    order: tuple[int, ...]
    feed: tuple[str, ...]
    least_clearance_mm: float
    steps: tuple[PlanStep, ...]
    reasons: tuple[str, ...] = ()
    hindered: tuple[str, ...] = ()
    clears: str = ""
    late: str = ""

    @property
    def nuts_told(self) -> tuple[str, ...]:
        """Where the hands push the nuts that are on the tube, as sentences."""
        return places_told([(step.bend, step.nuts_back_mm) for step in self.steps])

    @property
    def turns_end_for_end(self) -> int:
        """How often the tube is turned end for end between two bends."""
        return sum(a.feed != b.feed for a, b in zip(self.steps, self.steps[1:], strict=False))

    @property
    def jumps(self) -> int:
        """How many bends are not neighbours of the one made before."""
        return sum(abs(a.bend - b.bend) != 1 for a, b in zip(self.steps, self.steps[1:], strict=False))

    @property
    def sentence(self) -> str:
        """The plan in words: `make bends 1 to 4 in this order, end A leading`."""
        return f"Make {order_words([step.work for step in self.steps])}." if self.steps else ""


@dataclass(frozen=True)
class Plans:
    """Whether a line can be bent, how best, and what would mend it where it cannot.

    Attributes
    ----------
    line, bender : names
    ranked : the plans, the best first; none where no order was found
    why_not : sentences that say what stands in the way; empty where there is a plan
    mends : what would mend it, each tried out
    rules : what the rules say, the gravest first (see `rules`)
    notes : what else is to be known: what was not measured, what was not tried
    complete : False where not every order was tried before the search was broken off
    asked : how many trials of one bend were looked at
    """

    line: str
    bender: str
    ranked: tuple[Plan, ...] = ()
    why_not: tuple[str, ...] = ()
    mends: tuple[str, ...] = ()
    rules: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()
    complete: bool = True
    asked: int = field(default=0, compare=False)

    @property
    def best(self) -> Plan | None:
        """The best plan, or None."""
        return self.ranked[0] if self.ranked else None

    @property
    def sentence(self) -> str:
        """The answer in a sentence or two."""
        if self.best is not None:
            why = " ".join(filter(None, (*self.best.reasons, *self.best.hindered, self.best.clears)))
            return f"Line {self.line} can be bent on {self.bender}. {self.best.sentence} {why}".strip()
        return " ".join([self.refusal, *self.why_not, *self.mends])

    @property
    def refusal(self) -> str:
        """That it cannot be bent, without why; blank where it can."""
        if self.best is not None:
            return ""
        if not self.complete and not any(one.stops for one in self.rules):
            return f"No way was found to bend line {self.line} on {self.bender}, but not every order was tried."
        return f"Line {self.line} cannot be bent on {self.bender} as it is."

    def __str__(self) -> str:
        return self.sentence


def plan_of(
    sequence: Way, trials: Trials, *, reasons: tuple[str, ...] = (), hindered: tuple[str, ...] = (), clears: str = "", late: str = "",
) -> Plan:
    """The plan of a sequence that can be made, its clearances found closely.

    Parameters
    ----------
    sequence : bends counted from 0, in the order in which they are made
    trials : for their clearances
    reasons, hindered, clears, late : as in :class:`Plan`
    """
    row = trials_of(sequence.order, sequence.feed)
    told = trials.ask(row)
    feed = tuple(letter for _, letter in sorted(zip(sequence.order, sequence.feed, strict=True)))
    order = tuple(bend + 1 for bend in sequence.order)
    work = work_steps(trials.piece.twist_deg, order, feed)
    steps = tuple(_step(one, clear, trials.plenty_mm, trials.nuts_back_mm(trial)) for one, clear, trial in zip(work, told, row, strict=True))
    return Plan(order, feed, min((step.clearance_mm for step in steps), default=np.inf), steps, reasons, hindered, clears, late)


def _step(work: WorkStep, clear: Clear, plenty_mm: float, nuts: Mapping[str, float]) -> PlanStep:
    if clear.low_mm >= plenty_mm:  # found only to lie beyond what counts, not where
        return PlanStep(work, float("inf"), "", float("nan"), "", nuts)
    return PlanStep(work, clear.value_mm, clear.near, clear.stroke_deg, clear.part, nuts)
