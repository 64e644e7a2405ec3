"""An entry of the evidence as a test, to be looked at once more."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from gainwright.diagnose.candidates import MINUTES, Candidate, question
from gainwright.diagnose.cautions import LOUD, OFF_FIRST
from gainwright.jobfile import read_entry
from gainwright.model import (
    AIRBAG_DASH,
    DC_VOLTS,
    HOT_OUTPUT,
    OHMS_DEAD,
    RESULTS,
    VOLTS_ONLY,
    Check,
    HeardSpeaker,
    Reading,
    as_mapping,
)

if TYPE_CHECKING:
    from gainwright.diagnose.candidates import Catalogue
    from gainwright.model import Entry, Job


_MEASURES = {"multimeter": "measure", "indicator": "indicate", "recorder": "record"}


def once_more(entry: Entry, catalogue: Catalogue) -> Candidate | None:
    """Return the test that asks for an entry again; None for one that isn't asked twice, was declined or is out of reach."""
    job = catalogue.job
    asked = question(entry, job)
    found = _again(entry, job)
    if found is None or asked in {question(e, job) for e in catalogue.declined} or catalogue.out_of_reach(found):
        return None
    known = next((c for c in catalogue.possible if c.entry == found.entry), found)
    return replace(known, again=True)


def times_asked(entry: Entry, catalogue: Catalogue) -> int:
    """Return how often what an entry asks was answered, whatever the answers."""
    asked = question(entry, catalogue.job)
    return sum(question(e, catalogue.job) == asked for e in catalogue.entries)


def _again(entry: Entry, job: Job) -> Candidate | None:
    """Return an entry without its result as a test; None for a feed, sides exchanged, a photo, or what became of a repair."""
    kind = next(key for key in ("at", "check", "heard", "swap") if hasattr(entry, key))
    left = {k: v for k, v in as_mapping(entry).items() if k not in RESULTS[kind] and k != "note"}
    bare = read_entry(left, job, answered=False)
    if isinstance(bare, HeardSpeaker):
        return Candidate("listen", bare.heard, MINUTES["listen"], bare, () if bare.silence else (LOUD,))
    if isinstance(bare, Reading) and bare.feed is None and bare.with_ in job.instruments and bare.tone_hz is not None:
        test = _MEASURES[job.instruments[bare.with_].kind]
        return Candidate(test, bare.at, MINUTES[test], bare, (VOLTS_ONLY, HOT_OUTPUT, LOUD))
    if isinstance(bare, Check) and bare.check.rpartition(".")[2] not in ("mended", "provoked"):
        return _check_again(bare, job)
    return None


def _check_again(bare: Check, job: Job) -> Candidate:
    place, what = bare.check, bare.check.rpartition(".")[2]
    if place.startswith("lead:"):
        return Candidate("check_lead", place, MINUTES["check_lead"], bare, (OHMS_DEAD, AIRBAG_DASH))
    if place in job.instruments:
        return Candidate("check_measuring_lead", place, MINUTES["check_measuring_lead"], bare)
    tests = {
        "power_lamp": "look_at_lamp",
        "protection_lamp": "look_at_lamp",
        "supply_voltage": "measure_supply",
        "turn_on_voltage": "measure_supply",
        "resistance": "measure_speaker",
        "cone": "move_cone",
        "inputs": "look_at_inputs",
        "link": "look_at_link",
        "settings": "look_at_settings",
        "function": "look_at_meter",
    }
    test = tests.get(what, "look_at_control")
    cautions = {"measure_supply": (DC_VOLTS,), "measure_speaker": (OHMS_DEAD,), "move_cone": (OFF_FIRST,)}
    return Candidate(test, place, MINUTES[test], bare, cautions.get(test, ()))
