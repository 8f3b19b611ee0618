"""Plans: in which order, and with which end leading, a line's bends can be made, and why or why not."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from bendcal.orders import Way, trials_of
from bendcal.path import clock_deg, wrap_deg
from bendcal.rules import Finding
from bendcal.trials import Clear, Trials

__all__ = ["Plan", "PlanStep", "Plans", "plan_of"]


@dataclass(frozen=True)
class PlanStep:
    """One bend of a plan.

    Attributes
    ----------
    bend : its number, from end A
    feed : the end that leads into the bender, ``A`` or ``B``
    clock_deg : where round the tube its inside faces, against bend 1: this line goes towards the die's axis
    turn_deg : how far to turn the tube after the last bend, positive clockwise seen from end A looking
        towards B; None for the first bend, and where the tube is turned end for end first
    clearance_mm : the least clearance while it is made; inf where nothing is near
    near : what is nearest there
    stroke_deg : where the lever stands there [deg]; nan where nothing is near
    """

    bend: int
    feed: str
    clock_deg: float
    turn_deg: float | None
    clearance_mm: float
    near: str
    stroke_deg: float


@dataclass(frozen=True)
class Plan:
    """One way in which a line can be bent.

    Attributes
    ----------
    order : numbers of the bends in the order in which they are made
    feed : for each bend from end A to end B the end that leads: what `mark_out(..., feed=plan.feed)` takes
    least_clearance_mm : the least clearance of what is already bent, over all strokes; inf where nothing comes near
    steps : one for each bend, in the order in which they are made
    reasons : sentences that speak for it
    """

    order: tuple[int, ...]
    feed: tuple[str, ...]
    least_clearance_mm: float
    steps: tuple[PlanStep, ...]
    reasons: tuple[str, ...] = ()

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
        parts, steps = [], list(self.steps)
        while steps:
            run = [steps.pop(0)]
            while steps and steps[0].feed == run[-1].feed:
                run.append(steps.pop(0))
            text = f"{_listed([step.bend for step in run])} with end {run[0].feed} leading"
            parts.append(f"{'turn the tube end for end, then ' if parts else ''}{text}")
        return f"Make {', then '.join(parts).replace(', then turn', '; turn')}."


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
            why = " ".join(self.best.reasons)
            return f"Line {self.line} can be bent on {self.bender}. {self.best.sentence} {why}".strip()
        head = f"Line {self.line} cannot be bent on {self.bender} as it is."
        if not self.complete and not any(one.stops for one in self.rules):
            head = f"No way was found to bend line {self.line} on {self.bender}, but not every order was tried."
        return " ".join([head, *self.why_not, *self.mends])

    def __str__(self) -> str:
        return self.sentence


def plan_of(sequence: Way, trials: Trials, reasons: tuple[str, ...] = ()) -> Plan:
    """The plan of a sequence that can be made, its clearances found closely.

    Parameters
    ----------
    sequence : bends counted from 0, in the order in which they are made
    trials : for their clearances
    reasons : sentences that speak for it
    """
    told = trials.ask(trials_of(sequence.order, sequence.feed))
    clock = clock_deg(trials.piece.twist_deg)
    steps = []
    for i, (bend, letter, clear) in enumerate(zip(sequence.order, sequence.feed, told, strict=True)):
        turn = None
        if i and sequence.feed[i - 1] == letter:
            turn = float(wrap_deg(clock[sequence.order[i - 1]] - clock[bend]))
        steps.append(_step(bend, letter, float(clock[bend]), turn, clear, trials.plenty_mm))
    feed = tuple(letter for _, letter in sorted(zip(sequence.order, sequence.feed, strict=True)))
    least = min((step.clearance_mm for step in steps), default=np.inf)
    return Plan(tuple(bend + 1 for bend in sequence.order), feed, least, tuple(steps), reasons)


def _step(bend: int, letter: str, clock: float, turn: float | None, clear: Clear, plenty_mm: float) -> PlanStep:
    if clear.low_mm >= plenty_mm:  # found only to lie beyond what counts, not where
        return PlanStep(bend + 1, letter, clock, turn, float("inf"), "", float("nan"))
    return PlanStep(bend + 1, letter, clock, turn, clear.value_mm, clear.near, clear.stroke_deg)


def _listed(bends: list[int]) -> str:
    if len(bends) == 1:
        return f"bend {bends[0]}"
    step = {b - a for a, b in zip(bends, bends[1:], strict=False)}
    if len(bends) > 2 and step in ({1}, {-1}):
        return f"bends {bends[0]} to {bends[-1]} in this order"
    return f"bends {', '.join(map(str, bends[:-1]))} and {bends[-1]} in this order"
