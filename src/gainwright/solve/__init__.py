"""Model and physics brought together: levels at every node, for many draws, settings and tones in one call."""

from gainwright.solve.alteration import ABSENT_HIGH_PASS_HZ, ABSENT_LOW_PASS_HZ, UNALTERED, Alteration, Wire
from gainwright.solve.chain import Chain, Conditions, rails_v
from gainwright.solve.electrics import MUTED_TRAVEL, response
from gainwright.solve.instruments import (
    Shown,
    accuracy_of,
    input_ohm,
    recorder_full_scale_v,
    resolution_v,
    shown_by_indicator,
    shown_by_meter,
    shown_by_recorder,
    watched,
    within_v,
)
from gainwright.solve.leads import MEASURING_LEAD_OHM, METER_OHM, good_lead_ohm, load_loss_ohm
from gainwright.solve.levels import Levels, NodeLevel, PathLevels, levels, limits_first
from gainwright.solve.noise import noise_v
from gainwright.solve.solution import Solution

__all__ = [
    "ABSENT_HIGH_PASS_HZ",
    "ABSENT_LOW_PASS_HZ",
    "MEASURING_LEAD_OHM",
    "METER_OHM",
    "MUTED_TRAVEL",
    "UNALTERED",
    "Alteration",
    "Chain",
    "Conditions",
    "Levels",
    "NodeLevel",
    "PathLevels",
    "Shown",
    "Solution",
    "Wire",
    "accuracy_of",
    "good_lead_ohm",
    "input_ohm",
    "levels",
    "limits_first",
    "load_loss_ohm",
    "noise_v",
    "rails_v",
    "recorder_full_scale_v",
    "resolution_v",
    "response",
    "shown_by_indicator",
    "shown_by_meter",
    "shown_by_recorder",
    "watched",
    "within_v",
]
