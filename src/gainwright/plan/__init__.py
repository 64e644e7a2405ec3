"""The order of work for one chain: steps, targets, expected readings, and what would hide them."""

from gainwright.plan.attenuator import Attenuator, design_attenuators
from gainwright.plan.cautions import RECORDER_VOLTS
from gainwright.plan.planning import check_job, make_plan
from gainwright.plan.result import Adjust, Expect, Finding, Plan, Step, Target
from gainwright.plan.splitting import Split, splits

__all__ = [
    "RECORDER_VOLTS",
    "Adjust",
    "Attenuator",
    "Expect",
    "Finding",
    "Plan",
    "Split",
    "Step",
    "Target",
    "check_job",
    "design_attenuators",
    "make_plan",
    "splits",
]
