"""The set-up plan of a chain: steps, targets, expected readings, findings."""

from gainwright.plan.amplifier_bands import AmplifierBand, amplifier_bands
from gainwright.plan.attenuator import Attenuator, design_attenuators
from gainwright.plan.cautions import GENERAL, MAKER_FIRST, RECORDER_VOLTS
from gainwright.plan.full_scale import full_scale_text
from gainwright.plan.planning import check_job, make_plan
from gainwright.plan.result import Adjust, CleanVolume, Expect, Finding, FullScale, Plan, Step, Target
from gainwright.plan.tone_files import tone_uses

__all__ = [
    "GENERAL",
    "MAKER_FIRST",
    "RECORDER_VOLTS",
    "Adjust",
    "AmplifierBand",
    "Attenuator",
    "CleanVolume",
    "Expect",
    "Finding",
    "FullScale",
    "Plan",
    "Step",
    "Target",
    "amplifier_bands",
    "check_job",
    "design_attenuators",
    "full_scale_text",
    "make_plan",
    "tone_uses",
]
