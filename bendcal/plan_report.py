"""A plan of the bends, its rules, and what a line keeps clear of, as small tables and sentences in plain words."""

from __future__ import annotations

from math import isfinite

from bendcal.clearance import Clearances
from bendcal.feasible import ITSELF, Finding, Plan, Plans, PlanStep
from bendcal.layout import TextTable

__all__ = ["clearance_table", "plan_table", "rule_sentences"]


def plan_table(plan: Plan) -> TextTable:
    """The bends in the order in which they are made, how to turn the tube before each, and what comes nearest.

    Parameters
    ----------
    plan : one of :attr:`bendcal.feasible.plans.Plans.ranked`

    Returns
    -------
    One row a bend; turns are what your hands do to the tube, seen from end A looking towards B

    Examples
    --------
    >>> from bendcal.working import work_steps
    >>> first, second = work_steps([0, 90], (1, 2), "AA")
    >>> plan_table(Plan((1, 2), ("A", "A"), 12.3, (PlanStep(first, 12.3, "bench", 40.0), PlanStep(second, float("inf"), "", float("nan")))))
    step  bend  leads  turn the tube first  comes nearest to
       1     1  A      line on the inside   12 mm from the bench, lever at 40°
       2     2  A      90.0° anticlockwise  nothing near
    """
    return TextTable({
        "step": [str(k) for k in range(1, len(plan.steps) + 1)],
        "bend": [str(step.bend) for step in plan.steps],
        "leads": [step.feed for step in plan.steps],
        "turn the tube first": [step.work.words for step in plan.steps],
        "comes nearest to": [_nearest(step) for step in plan.steps],
    })  # fmt: skip


def rule_sentences(plans: Plans, *, stops: bool) -> list[str]:
    """What the rules say of a line, each with its source, and each once: some speak of several legs.

    Parameters
    ----------
    plans : what :func:`bendcal.feasible.planning.plan_bending` returned
    stops : those that stop the line, or the others
    """
    return list(dict.fromkeys(_with_source(rule) for rule in plans.rules if rule.stops == stops))


def _with_source(rule: Finding) -> str:
    """The sentence, and where it comes from unless it says so itself."""
    plain = rule.sentence.replace("(", "").replace(")", "")
    told = rule.source == "geometry" or all(part in plain for part in rule.source.split("; "))
    return rule.sentence if told else f"{rule.sentence} ({rule.source})"


def clearance_table(clearances: Clearances) -> TextTable:
    """The least distance of a line to each obstacle, the worst first.

    Parameters
    ----------
    clearances : what :func:`bendcal.clearance.obstacle_clearances` returned
    """
    rows = clearances.all
    return TextTable({
        "obstacle": [one.obstacle.obstacle for one in rows],
        "why": [one.obstacle.why for one in rows],
        "wanted mm": [f"{one.obstacle.keep_mm:g}" for one in rows],
        "comes to mm": [f"{one.clearance_mm:.1f}" if one.clearance_mm >= 0 else "runs into it" for one in rows],
        "": ["" if one.keeps else "TOO NEAR" for one in rows],
        "where": [one.where for one in rows],
    })  # fmt: skip


def _nearest(step: PlanStep) -> str:
    if not step.near or not isfinite(step.clearance_mm):
        return "nothing near"
    what = "itself" if step.near == ITSELF else f"the {step.near}"
    part = f"{step.part.removeprefix('the ')} " if step.part else ""
    return f"{part}{step.clearance_mm:.0f} mm from {what}, lever at {abs(step.stroke_deg):.0f}°"
