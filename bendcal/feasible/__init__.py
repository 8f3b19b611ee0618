"""Can it be bent: what rules and the bender's own bodies say of a line, over every stroke; the easiest order of the bends that clears; what would mend it."""

from bendcal.feasible.end_rules import check_ends, form_findings, nut_findings
from bendcal.feasible.hindrance import what_is_met
from bendcal.feasible.nuts import finished_before
from bendcal.feasible.planning import plan_bending
from bendcal.feasible.plans import Plan, PlanStep, Plans
from bendcal.feasible.rules import Finding, findings
from bendcal.feasible.scenes import scene_of
from bendcal.feasible.stroke import Workpiece, workpiece_of
from bendcal.feasible.trials import ITSELF

__all__ = [
    "ITSELF", "Finding", "Plan", "PlanStep", "Plans", "Workpiece", "check_ends", "findings", "finished_before", "form_findings",
    "nut_findings", "plan_bending", "scene_of", "what_is_met", "workpiece_of",
]  # fmt: skip
