"""Solve a chain: levels at every node, for many draws, settings and tones in one call.

The dose of a day (`solve.hearing_dose`) is imported by module.
"""

from gainwright.solve.alteration import ABSENT_HIGH_PASS_HZ, ABSENT_LOW_PASS_HZ, NEUTRAL, UNALTERED, Alteration, Wire
from gainwright.solve.amplifier_draw import CONVERTER_EFFICIENCY, SWITCHING_EFFICIENCY, Voltage, amplifier_draw_w, sine
from gainwright.solve.blocks import CaseBlock, CaseBlocks
from gainwright.solve.cable_resistance import area_m2, cable_ohm
from gainwright.solve.chain import Chain, Conditions, amplifier_ceiling_v
from gainwright.solve.ear_level import EarLevel, ear_level, sensitivity_level_db, speaker_volts
from gainwright.solve.electrics import MUTED_TRAVEL, response
from gainwright.solve.impedance_curves import MIDDLE, UNITS, ImpedanceCurve, impedance_curves
from gainwright.solve.instruments import (
    InstrumentReading,
    accuracy_of,
    grounded_nodes,
    input_ohm,
    lit_marks,
    meter_reading,
    meter_value,
    monitored_value,
    reading_error_v,
    recorder_full_scale_v,
    recorder_reading,
    resolution_v,
)
from gainwright.solve.leads import MEASURING_LEAD_OHM, METER_OHM, good_lead_ohm, load_loss_ohm, sound_lead_ohm
from gainwright.solve.levels import Levels, NodeLevel, PathLevels, levels, limits_first
from gainwright.solve.loads import Loading
from gainwright.solve.noise import noise_v
from gainwright.solve.solution import Solution
from gainwright.solve.sources import ANY_LOAD_OHM
from gainwright.solve.speaker_units import SpeakerUnit, speaker_unit
from gainwright.solve.supply_source import source_of
from gainwright.solve.supply_tree import Branch, Source, SupplyState, SupplyTree, Taken, supply_tree
from gainwright.solve.tone_loads import HEAT_SHARE, ToneLoad, tone_load
from gainwright.solve.tones import PREFERRED_HZ, set_up_tone_hz, tone_limits_hz

__all__ = [
    "ABSENT_HIGH_PASS_HZ",
    "ABSENT_LOW_PASS_HZ",
    "ANY_LOAD_OHM",
    "CONVERTER_EFFICIENCY",
    "HEAT_SHARE",
    "MEASURING_LEAD_OHM",
    "METER_OHM",
    "MIDDLE",
    "MUTED_TRAVEL",
    "NEUTRAL",
    "PREFERRED_HZ",
    "SWITCHING_EFFICIENCY",
    "UNALTERED",
    "UNITS",
    "Alteration",
    "Branch",
    "CaseBlock",
    "CaseBlocks",
    "Chain",
    "Conditions",
    "EarLevel",
    "ImpedanceCurve",
    "InstrumentReading",
    "Levels",
    "Loading",
    "NodeLevel",
    "PathLevels",
    "Solution",
    "Source",
    "SpeakerUnit",
    "SupplyState",
    "SupplyTree",
    "Taken",
    "ToneLoad",
    "Voltage",
    "Wire",
    "accuracy_of",
    "amplifier_ceiling_v",
    "amplifier_draw_w",
    "area_m2",
    "cable_ohm",
    "ear_level",
    "good_lead_ohm",
    "grounded_nodes",
    "impedance_curves",
    "input_ohm",
    "levels",
    "limits_first",
    "lit_marks",
    "load_loss_ohm",
    "meter_reading",
    "meter_value",
    "monitored_value",
    "noise_v",
    "reading_error_v",
    "recorder_full_scale_v",
    "recorder_reading",
    "resolution_v",
    "response",
    "sensitivity_level_db",
    "set_up_tone_hz",
    "sine",
    "sound_lead_ohm",
    "source_of",
    "speaker_unit",
    "speaker_volts",
    "supply_tree",
    "tone_limits_hz",
    "tone_load",
]
