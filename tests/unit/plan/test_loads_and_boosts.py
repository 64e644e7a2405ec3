"""The load at each output by itself, and boosts that a filter keeps from costing anything."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.jobfile import read_job_text
from gainwright.model import Equaliser
from gainwright.plan import Finding, make_plan
from gainwright.plan.controls import equaliser_gain_db

POWERED = "head: {kind: head_unit, rated_output: 9 V, speaker_level: yes, outputs: {front: {}, rear: {}}}"
STEREO = "head: {kind: head_unit, rated_output: 4 V, outputs: {front: {}}}"
RATED = "a: {kind: amplifier, from: head.front, power: 60 W @ 4 ohm, minimum_load: 4 ohm}"


def found(*stages: str) -> dict[str, Finding]:
    """Return code -> finding of a chain."""
    job = read_job_text("format: 1\nstages:\n" + "".join(f"  {s}\n" for s in stages)).job
    return {f.code: f for f in make_plan(job).findings}


def test_speakers_at_outputs_of_their_own_are_not_in_parallel() -> None:
    """Four speakers of 4 ohm at the four outputs of a head unit are 4 ohm at each; two at one output are 2 ohm (Kirchhoff)."""
    front, rear = (f"{o}: {{kind: speaker, from: head.{o}, impedance: 4 ohm}}" for o in ("front", "rear"))
    assert "load_below_minimum" not in found(POWERED, front, rear)
    told = found(POWERED.replace(", rear: {}", ""), front, rear.replace("head.rear", "head.front"))[
        "load_below_minimum"
    ]
    assert "2 ohm" in told.message
    low = found(POWERED, front, rear.replace("4 ohm", "2 ohm"))["load_below_minimum"]
    assert low.remedy_sets == {"stages.rear.impedance": "4 ohm"}  # the front ones are right as they are


def test_a_speaker_at_each_side_of_an_amplifier_is_its_own_load() -> None:
    """Left and right by names of their own: 4 ohm each, which is the minimum."""
    sides = [f"{side}_door: {{kind: speaker, from: a.{side}, impedance: 4 ohm}}" for side in ("left", "right")]
    assert "load_below_minimum" not in found(STEREO, RATED, *sides)


BOOST = "peak +6 dB at 45 Hz q 0.7"


def boosted(filters: str) -> Finding | None:
    """Return what is said of a boost of 6 dB at 45 Hz."""
    boost = f"a: {{kind: amplifier, from: head.front, power: 60 W @ 4 ohm, boost: {BOOST}{filters}}}"
    return found(STEREO, boost, "x: {kind: speaker, from: a, impedance: 4 ohm}").get("boost_costs_headroom")


@pytest.mark.parametrize("corner_hz", [60, 80])
def test_a_boost_behind_a_high_pass_is_counted_with_it(corner_hz: float) -> None:
    """A Butterworth high-pass of second order takes 10 log10(1 + (corner/f)^4): the highest sum of both over that at the tone is said."""
    part = boosted(f", high_pass: butterworth 12 at {corner_hz} Hz")
    assert part is not None
    earlier = float(part.message.split(" dB earlier")[0].rsplit(" ", 1)[-1])
    tone_hz = float(part.message.split("set-up tone of ")[1].split(" Hz")[0])
    hz = np.append(np.geomspace(20, 2000, 2000), tone_hz)
    level_db = equaliser_gain_db(Equaliser.parse(BOOST), hz) - 10 * np.log10(1 + (corner_hz / hz) ** 4)
    assert earlier == pytest.approx(level_db.max() - level_db[-1], abs=0.06)


def test_a_boost_that_its_filter_keeps_below_the_tone_costs_nothing() -> None:
    """Without a filter 6 dB are lost, behind a steep high-pass at 200 Hz nothing: it takes 52 dB at 45 Hz."""
    assert boosted("") is not None
    assert boosted(", high_pass: linkwitz-riley 24 at 200 Hz") is None
