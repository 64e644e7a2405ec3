"""The answer that an entry gives: its result as one of the labels of its observation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.answers import (
    METER_LEADS_OHM,
    SPEAKERS,
    TOUCHING_OHM,
    speaker_class,
)
from gainwright.diagnose.unit_answers import LEAD_OPEN_OHM, LOW_RESTING_V, SUPPLIES
from gainwright.jobfile import bands_of, controls, input_range, read_number, takes_bands
from gainwright.model import WORDED, Amplifier, Check, HeardSpeaker, SwapTest
from gainwright.quantities import parse
from gainwright.solve import METER_OHM, input_ohm, load_loss_ohm

if TYPE_CHECKING:
    from gainwright.diagnose.answers import AnswerModel
    from gainwright.model import Entry, Instrument

RIGHT = {"": "off", "flat": "off", "no": "off", "false": "off", "normal": "off", "0": "off"}
"""Settings of a control without effect -> `off`."""


def given_answers(entry: Check | HeardSpeaker | SwapTest, answer_model: AnswerModel) -> list[tuple[str, str]]:
    """Return the answers of an entry: pairs of aspect and label."""
    if isinstance(entry, HeardSpeaker):
        return [("", str(entry.is_))]
    if isinstance(entry, SwapTest):
        return [("", str(entry.fault))]
    what = entry.check.rpartition(".")[2]
    if entry.check in answer_model.leads or entry.check in answer_model.observer.instruments:
        return _lead_answers(entry, answer_model)
    if what in ("power_lamp", "protection_lamp", "cone", "link", *WORDED):
        return [("", str(entry.is_))]
    if what in ("supply_voltage", "turn_on_voltage", "resistance"):
        return [("", _number_answer(entry, what, answer_model))]
    return [("", "right" if _as_in_job(entry.check, str(entry.is_), answer_model) else "wrong")]


def gain_position_read(entry: Entry, answer_model: AnswerModel) -> float | None:
    """Return the position read off an unknown gain, as a share of its travel; None for any other entry."""
    if not isinstance(entry, Check) or entry.check not in answer_model.ensemble.unknown_gains:
        return None
    answer = str(entry.is_).strip().lower()
    return None if answer in ("right", "wrong") else parse(answer, "fraction").nominal


def _number_answer(entry: Check, what: str, answer_model: AnswerModel) -> str:
    found = read_number(entry)
    if what == "supply_voltage":
        unit = entry.check.rpartition(".")[0]
        return SUPPLIES[int(answer_model.supply_class(unit, found, running=entry.engine == "on"))]
    if what == "turn_on_voltage":
        return "right" if found > 0.5 * LOW_RESTING_V else "none"
    speaker = entry.check.split(".")[0]
    ratio = max(found - METER_LEADS_OHM[1], 0.0) / answer_model.usual_coil_ohm(speaker)
    return SPEAKERS[int(speaker_class(ratio))]


def _lead_answers(entry: Check, answer_model: AnswerModel) -> list[tuple[str, str]]:
    if entry.is_ == "good":
        return [("resistance", "good"), ("between_conductors", "open")]
    instrument = entry.check in answer_model.observer.instruments
    found = []
    if entry.resistance is not None:
        ohm = np.inf if isinstance(entry.resistance, str) else entry.resistance.nominal
        there = answer_model.observer.instruments.get(entry.check)
        good = answer_model.good_ohm(answer_model.leads[entry.check]) if there is None else _measuring_ohm(there)
        bad = "open" if instrument or ohm >= LEAD_OPEN_OHM else "high"
        found.append(("resistance", "good" if ohm <= good else bad))
    if entry.between_conductors is not None:
        between = entry.between_conductors
        touching = not isinstance(between, str) and between.nominal < TOUCHING_OHM
        found.append(("between_conductors", "shorted" if touching else "open"))
    return found


def _measuring_ohm(instrument: Instrument) -> float:
    """Return up to what an instrument still reads volts through its measuring lead, ohm."""
    return load_loss_ohm(source_ohm=0.0, load_ohm=input_ohm(instrument)) + METER_OHM


def _as_in_job(place: str, found: str, answer_model: AnswerModel) -> bool:
    """Return whether an inspected control is set as in the job."""
    answer = found.strip().lower()
    if answer in ("right", "wrong"):
        return answer == "right"
    written = controls(answer_model.chain.job).get(place, "")
    if place in answer_model.chain.settings or place.endswith(".at"):
        key = place.removesuffix(".at") + ".level" if place.endswith(".at") else place
        stands = answer_model.chain.settings[key]
        if place.endswith(".input_range"):
            stage = answer_model.chain.job.stages[place.split(".", maxsplit=1)[0]]
            return isinstance(stage, Amplifier) and answer == input_range(stage).lower()
        if place.endswith(".volume"):
            return abs(float(answer) - stands) < 0.5
        dimension, near = ("fraction", 0.06) if place.endswith(".gain") else ("ratio", 1.5)
        return abs(parse(answer, dimension).nominal - stands) < near
    if takes_bands(place):
        return bands_of(found) == bands_of(written)
    now = str(written).strip().lower()
    return " ".join(RIGHT.get(answer, answer).split()) == " ".join(RIGHT.get(now, now).split())
