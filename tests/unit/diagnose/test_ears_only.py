"""A job that says it has no instruments is searched by ear and eye; one that doesn't say has a meter, as before."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
from typical_chains import typical_text

from gainwright.diagnose import Diagnoser
from gainwright.diagnose.candidates import Catalogue
from gainwright.diagnose.causes import causes
from gainwright.diagnose.observations import observe
from gainwright.jobfile import read_entry, read_job_text
from gainwright.model import resolve
from gainwright.simulated import possible_faults

if TYPE_CHECKING:
    from collections.abc import Mapping

TEXT = typical_text("radio_sub")
PROBING = (
    "measure",
    "measure_supply",
    "measure_speaker",
    "move_cone",
    "check_lead",
    "check_measuring_lead",
    "feed",
    "look_at_meter",
)


def possible(text: str, *entries: dict[str, str]) -> tuple[Diagnoser, list[dict[str, str]], set[str]]:
    """Return the diagnoser of a job, the listening tests as entries, and the kinds of all tests."""
    job = read_job_text(text).job
    diagnoser = Diagnoser(job)
    read = [read_entry(entry, job) for entry in entries]
    candidates = Catalogue(job, diagnoser.chain, diagnoser.instruments, read).all()
    listening = [c.entry.model_dump(exclude_unset=True) for c in candidates if c.test == "listen"]
    return diagnoser, listening, {c.test for c in candidates}


def chance(diagnoser: Diagnoser, cause: str, entry: Mapping[str, object]) -> float:
    """Return the probability of an answer if a cause is the only fault."""
    at = [str(c) for c in diagnoser.causes].index(cause)
    read = read_entry(entry, diagnoser.job)
    return math.prod(float(np.mean(o.chance[at])) for o in observe(0, read, diagnoser.rough) if o.chance is not None)


def test_nothing_is_measured_where_nothing_is_at_hand() -> None:
    """No test needs a meter or a tone, and no measuring lead can be the cause."""
    diagnoser, listening, kinds = possible(TEXT)
    assert kinds.isdisjoint(PROBING)
    assert {str(entry.get("tone")) for entry in listening} == {"None", "off"}
    assert not [c for c in diagnoser.causes if c.where in diagnoser.instruments]


def test_a_meter_that_was_read_is_at_hand() -> None:
    """Somebody fetched one: from its first reading on it is asked for."""
    _, listening, kinds = possible(
        TEXT, {"at": "sub_amplifier.out.mono", "with": "meter", "tone": "50 Hz", "reads": "0.1 V"}
    )
    assert {"measure", "check_lead"} <= kinds
    assert "50 Hz" in {str(entry.get("tone")) for entry in listening}


def test_a_job_that_names_no_instrument_is_asked_for_none() -> None:
    """Nobody who has only ears is sent to measure; who reads a meter all the same is asked for more, and it may be at fault."""
    text = TEXT.replace("instruments: {}\n", "")
    diagnoser, listening, kinds = possible(text)
    assert kinds.isdisjoint(PROBING)
    assert {str(entry.get("tone")) for entry in listening} == {"None", "off"}
    assert [c for c in diagnoser.causes if c.where == "meter"]
    read = {"at": "sub_amplifier.out.mono", "with": "meter", "tone": "50 Hz", "reads": "0.1 V"}
    assert {"measure", "check_lead"} <= possible(text, read)[2]


def test_a_job_that_names_a_meter_is_asked_for_readings() -> None:
    """As soon as it is ticked."""
    diagnoser, _, kinds = possible(typical_text("radio_sub", "meter"))
    assert {"measure", "check_lead", "measure_speaker"} <= kinds
    assert [c for c in diagnoser.causes if c.where == "meter"]


def test_an_amplifier_inside_the_radio_is_not_looked_at() -> None:
    """It has neither lamps nor controls to be seen, nor inputs to be got at; its speakers are listened to."""
    _, listening, _ = possible(TEXT)
    job = read_job_text(TEXT).job
    diagnoser = Diagnoser(job)
    candidates = Catalogue(job, diagnoser.chain, diagnoser.instruments, ()).all()
    assert not [c.where for c in candidates if "power_stage" in c.where]
    assert "front_speakers" in {entry["heard"] for entry in listening}


def test_a_knob_on_a_wire_is_looked_at_by_itself() -> None:
    """The amplifier's controls look right while its knob at the driver's seat is down; the knob itself looks wrong."""
    diagnoser = Diagnoser(read_job_text(typical_text("radio_sub", "knob")).job)
    down = [str(cause) for cause in diagnoser.causes].index("level_control_down at sub_amplifier")
    healthy = [str(cause) for cause in diagnoser.causes].index("nothing_wrong")
    for what in ("settings", "gain"):
        answers = diagnoser.rough.check(f"sub_amplifier.{what}")
        assert answers.chance[:, down, 0] == pytest.approx(answers.chance[:, healthy, 0]), what
    knob = diagnoser.rough.check("sub_amplifier.remote_level")
    assert knob.chance[knob.labels.index("wrong"), down, 0] > 0.9


def test_music_played_softly_tells_a_torn_cone_from_what_clips() -> None:
    """It is offered after a complaint of distortion; a damaged speaker still distorts, and a supply no longer sags."""
    complaint = {"heard": "subwoofer", "is": "distorted"}
    diagnoser, listening, _ = possible(TEXT, complaint)
    softly = [entry for entry in listening if entry["heard"] == "subwoofer" and "level" in entry]
    assert len(softly) == 1
    still = {"heard": "subwoofer", "level": "-20 dBFS", "is": "distorted"}
    damaged, sagging = "speaker_damaged at subwoofer", "supply_sagging at sub_amplifier"
    assert chance(diagnoser, damaged, still) > 5 * chance(diagnoser, sagging, still)
    assert not [e for e in possible(TEXT, complaint, still)[1] if e["heard"] == "subwoofer" and "level" in e]


def test_one_speaker_of_a_pair_can_be_damaged() -> None:
    """The other side then sounds as always."""
    diagnoser = Diagnoser(read_job_text(typical_text("radio_doors")).job)
    left = {"heard": "front_speakers", "side": "left", "is": "distorted"}
    right = {"heard": "front_speakers", "side": "right", "is": "normal"}
    for entry in (left, right):
        assert 0.25 < chance(diagnoser, "speaker_damaged at front_speakers", entry) < 0.75


def test_ground_is_loose_where_the_supply_sags_or_is_lost() -> None:
    """And hardly ever elsewhere."""
    diagnoser = Diagnoser(read_job_text(TEXT).job)
    loose = {"check": "sub_amplifier.ground", "is": "loose"}
    assert chance(diagnoser, "supply_sagging at sub_amplifier", loose) > 0.3
    assert chance(diagnoser, "amplifier_no_supply at sub_amplifier", loose) > 0.1
    assert chance(diagnoser, "nothing_wrong", loose) < 0.05


def test_music_as_always_does_not_sound_distorted_unless_something_is_wrong() -> None:
    """Whatever the unknown gains are: somebody who knows the car calls distorted what distorts more than it did."""
    diagnoser = Diagnoser(read_job_text(TEXT).job)
    distorted = {"heard": "subwoofer", "is": "distorted"}
    healthy = chance(diagnoser, "nothing_wrong", distorted)
    assert healthy < 0.02
    assert chance(diagnoser, "supply_sagging at sub_amplifier", distorted) > 4 * healthy
    assert chance(diagnoser, "nothing_wrong", distorted | {"tone": "50 Hz", "level": "0 dBFS"}) > 4 * healthy


def test_equaliser_of_a_player_makes_a_radio_that_drives_the_speakers_distort() -> None:
    """Its volume isn't known and no gain is behind it: it is turned up, so a boost reaches its ceiling; softly it is clean.

    A volume that is told is where it stands: a quarter up a boost reaches no ceiling.
    """
    diagnoser = Diagnoser(read_job_text(typical_text("radio_only")).job)
    cause, distorted = "player_equaliser_on at factory_radio", {"heard": "front_speakers", "is": "distorted"}
    assert chance(diagnoser, cause, distorted) > 5 * chance(diagnoser, "nothing_wrong", distorted)
    assert chance(diagnoser, cause, distorted | {"level": "-20 dBFS"}) < 0.02
    assert chance(diagnoser, cause, distorted | {"set": {"factory_radio.volume": "10"}}) < 0.02


def test_bass_that_is_not_heard_does_not_change_when_one_side_is_turned_round() -> None:
    """As where a shorted lead leaves millivolts of it: mostly where nothing is heard, nothing changes."""
    diagnoser = Diagnoser(read_job_text(typical_text("radio_doors")).job)
    cause = "lead_shorted at lead:head_unit.front-front_amplifier"
    silent = chance(diagnoser, cause, {"heard": "front_speakers", "is": "silent"})
    assert chance(diagnoser, cause, {"check": "front_speakers.one_side_reversed", "is": "same"}) > 0.7 * silent > 0.4


def test_glance_of_a_caller_over_all_controls_is_less_sure_than_a_look_at_one() -> None:
    """With instruments at hand somebody compares each control with the job."""
    down = "gain_low at sub_amplifier"
    settings, gain = ({"check": f"sub_amplifier.{what}", "is": "right"} for what in ("settings", "boost"))
    by_ear, with_meter = (
        Diagnoser(read_job_text(typical_text("radio_sub", *extras)).job) for extras in ((), ("meter",))
    )
    assert chance(by_ear, down, settings) > 4 * chance(with_meter, down, settings)
    assert chance(by_ear, "boost_on at sub_amplifier", gain) == pytest.approx(
        chance(with_meter, "boost_on at sub_amplifier", gain)
    )


def test_what_is_inside_one_case_is_no_lead_and_no_knob() -> None:
    """Between a radio and its own power stage nothing can be unplugged, swapped or hum, nor has that stage a knob; the rig agrees.

    What is left of it is what its own parts do: it is dead, protects, gets hot, drives too low a load.
    """
    job = read_job_text(typical_text("radio_sub")).job
    inside = "power_stage_of_the_radio"
    found = {(c.id, c.where) for c in causes(job, resolve(job), {})}
    assert not [place for _, place in found if place.startswith("lead:") and f"-{inside}" in place]
    assert {cause for cause, place in found if place == inside} == {
        *("amplifier_no_supply", "amplifier_protecting", "amplifier_hot", "load_too_low", "supply_sagging")
    }
    assert ("side_dead", f"{inside}.out.left") in found
    assert ("lead_open", f"lead:{inside}-front_speakers") in found
    assert ("lead_open", "lead:radio.sub-sub_amplifier") in found
    assert {place for place in possible_faults(job) if place[0] != "wrong_tone_for_path"} == found
