"""The set-up plan of a chain: steps, targets, expected readings, findings."""

from gainwright.model import control_words, device_words, name_words, place_words, stage_title
from gainwright.plan.amplifier_bands import AmplifierBand, amplifier_bands
from gainwright.plan.amplifier_loads import AmplifierLoad, amplifier_loads
from gainwright.plan.attenuator import Attenuator, design_attenuators
from gainwright.plan.cautions import GENERAL, MAKER_FIRST
from gainwright.plan.full_scale import full_scale_text
from gainwright.plan.head_unit_loads import head_unit_loads
from gainwright.plan.lines import labels
from gainwright.plan.planning import check_job, make_plan
from gainwright.plan.proofs import put_back_text
from gainwright.plan.result import Adjust, CleanVolume, Expect, Finding, FullScale, Line, Plan, Step, Target
from gainwright.plan.tone_files import tone_uses

__all__ = [
    "GENERAL",
    "MAKER_FIRST",
    "Adjust",
    "AmplifierBand",
    "AmplifierLoad",
    "Attenuator",
    "CleanVolume",
    "Expect",
    "Finding",
    "FullScale",
    "Line",
    "Plan",
    "Step",
    "Target",
    "amplifier_bands",
    "amplifier_loads",
    "check_job",
    "control_words",
    "design_attenuators",
    "device_words",
    "full_scale_text",
    "head_unit_loads",
    "labels",
    "make_plan",
    "name_words",
    "place_words",
    "put_back_text",
    "stage_title",
    "tone_uses",
]
