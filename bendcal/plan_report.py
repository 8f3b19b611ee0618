"""A plan of the bends, its rules, and what a line keeps clear of, as small tables and sentences in plain words."""

from __future__ import annotations

from math import isfinite

from bendcal.clearance import Clearances
from bendcal.layout import TextTable
from bendcal.path import wrap_deg
from bendcal.plans import Plan, Plans, PlanStep
from bendcal.rules import Finding
from bendcal.trials import ITSELF

__all__ = ["clearance_table", "order_warning", "plan_table", "rule_sentences"]


def plan_table(plan: Plan) -> TextTable:
    """The bends in the order in which they are made, how to turn the tube before each, and what comes nearest.

    Parameters
    ----------
    plan : one of :attr:`bendcal.plans.Plans.ranked`

    Returns
    -------
    One row a bend; turns are what your hands do to the tube, seen from end A looking towards B

    Examples
    --------
    >>> steps = (PlanStep(1, "A", 0.0, None, 12.3, "bench", 40.0), PlanStep(2, "A", 90.0, -90.0, float("inf"), "", float("nan")))
    >>> plan_table(Plan((1, 2), ("A", "A"), 12.3, steps))
    step  bend  leads  turn the tube first  comes nearest to
       1     1  A      line on the inside   12 mm from the bench, lever at 40°
       2     2  A      90.0° anticlockwise  nothing near
    """
    return TextTable({
        "step": [str(k) for k in range(1, len(plan.steps) + 1)],
        "bend": [str(step.bend) for step in plan.steps],
        "leads": [step.feed for step in plan.steps],
        "turn the tube first": [_turn(step, first=k == 0) for k, step in enumerate(plan.steps)],
        "comes nearest to": [_nearest(step) for step in plan.steps],
    })  # fmt: skip


def order_warning(plan: Plan) -> str:
    """What to say where the bends are not made from end A on, end A leading, as a mark sheet has them; else blank.

    Parameters
    ----------
    plan : the plan
    """
    if plan.order == tuple(range(1, len(plan.order) + 1)):
        return ""
    return (
        "The sheet names the bends in their order along the tube, and tells each turn from the bend before it there. Make them in the "
        "plan's order instead, with the plan's turns; marks and dial settings stay. Write the order on the sheet before you begin."
    )


def rule_sentences(plans: Plans, *, stops: bool) -> list[str]:
    """What the rules say of a line, each with its source.

    Parameters
    ----------
    plans : what :func:`bendcal.feasible.plan_bending` returned
    stops : those that stop the line, or the others
    """
    return [_with_source(rule) for rule in plans.rules if rule.stops == stops]


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


def _turn(step: PlanStep, *, first: bool) -> str:
    if step.turn_deg is not None:
        turn = float(wrap_deg(round(step.turn_deg, 1)))
        return "no turn" if turn == 0 else "half a turn" if abs(turn) == 180 else _side(turn)
    at = float(wrap_deg(-round(step.clock_deg, 1)))
    line = "line on the inside" if at == 0 else f"line at {_side(at)}"
    return line if first else f"end for end; {line}"


def _side(turn_deg: float) -> str:
    return f"{abs(turn_deg):.1f}° {'clockwise' if turn_deg > 0 else 'anticlockwise'}"


def _nearest(step: PlanStep) -> str:
    if not step.near or not isfinite(step.clearance_mm):
        return "nothing near"
    what = "itself" if step.near == ITSELF else f"the {step.near}"
    return f"{step.clearance_mm:.0f} mm from {what}, lever at {abs(step.stroke_deg):.0f}°"
