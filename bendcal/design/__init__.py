"""Which offcut next: what each further piece would teach, what that is worth, and when to stop."""

from bendcal.design.ranking import next_offcuts, plan_offcuts

__all__ = ["next_offcuts", "plan_offcuts"]
