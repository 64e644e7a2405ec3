"""Automatic functions of factory sources and players: levelling, volume-dependent equalisation, limiter, load detection, noise."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.jobfile import example_text, read_job_text, with_settings
from gainwright.jobfile.changes import with_changes
from gainwright.model import Node
from gainwright.plan import make_plan
from gainwright.plan.context import PlanContext
from gainwright.plan.source import clean_limit
from gainwright.simulated import Rig
from gainwright.solve import Chain, Conditions, noise_v

CHAIN = """
format: 1
stages:
  radio:
    kind: head_unit
    rated_output: 8 V
    speaker_level: yes
    output_impedance: 0.05 ohm
    distortion: 0 %
    volume: {steps: 31, at: 31, step: 1 dB, top: 0 dB}
    factory: {}
    outputs: {out: {}}
  converter: {kind: converter, from: radio, input_impedance: 1 kohm, input_limit: 40 V}
  amp: {kind: amplifier, from: converter, power: 60 W @ 4 ohm}
  front: {kind: speaker, from: amp, impedance: 4 ohm}
"""
RADIO = Node("radio", "out", "left")


def chain(factory: str = "", *changes: tuple[str, str]) -> Chain:
    """Return the chain with what the radio does by itself, and with texts changed."""
    text = CHAIN.replace("factory: {}", f"factory: {{{factory}}}")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return Chain(read_job_text(text).job)


def level_db(of: Chain, *, tone_hz: float = 1000.0, level_dbfs: float = -20.0, volume: float = 31.0) -> float:
    """Return the radio's output, dB re 1 V."""
    solved = of.solve(Conditions(tone_hz, level_dbfs, settings={"radio.volume": volume}))
    return float(20 * np.log10(solved.rms_v[0, solved.index(RADIO)]))


def rig_db(of: Chain, *, tone_hz: float = 1000.0, level_dbfs: float = -20.0, volume: float = 31.0) -> float:
    """Return the same from the rig's samples."""
    rig = Rig(of.job, seed=1, truth=of.nominal())
    rig.turn("radio.volume", volume)
    rig.play(tone_hz, level_dbfs)
    return float(20 * np.log10(np.std(rig.period(str(RADIO))[0])))


def test_levelling_reduces_to_its_target() -> None:
    """ITU-R BS.1770-4, annex 1: a full-scale sine near 1 kHz on both sides has 0 LUFS; a target of -11.5 takes 11.5 dB off."""
    levelled = chain("", ("factory: {}", "levelling: on\n    factory: {}"))
    assert levelled.nominal()["radio.levelling"] == -11.5
    for level, taken in ((0.0, 11.5), (-4.0, 7.5), (-11.5, 0.0), (-20.0, 0.0)):
        assert level_db(chain(), level_dbfs=level) - level_db(levelled, level_dbfs=level) == pytest.approx(
            taken, abs=1e-9
        )
        assert rig_db(levelled, level_dbfs=level) == pytest.approx(level_db(levelled, level_dbfs=level), abs=0.01)
    assert "radio.levelling" not in Chain(with_settings(levelled.job, {"radio.levelling": "off"})).facts


def test_loudness_of_the_levelled_tone() -> None:
    """The rule above against the meter of programme loudness, BS.1770 with its filters, on the tone itself."""
    from scipy import signal

    from gainwright.programme.weighting import k_weighting

    tone = np.sin(2 * np.pi * 997 * np.arange(2 * 48_000) / 48_000)
    heard = signal.sosfilt(k_weighting(48_000), tone)[48_000:]
    assert -0.691 + 10 * np.log10(2 * np.mean(heard**2)) == pytest.approx(0.0, abs=0.02)


MOVING = "loudness: yes, bass_at_bottom: 8 dB, bass_at_top: -4 dB, bass_corner: 120 Hz"


def test_equalisation_that_depends_on_the_volume() -> None:
    """Far below its corner a low shelf has its whole gain, at the corner half of it in dB (Audio EQ Cookbook)."""
    of = chain(MOVING)
    for volume, bass in ((1.0, 8.0), (16.0, 2.0), (31.0, -4.0)):
        for tone_hz, share in ((2.0, 1.0), (120.0, 0.5), (15e3, 0.0)):
            added = level_db(of, tone_hz=tone_hz, volume=volume) - level_db(chain(), tone_hz=tone_hz, volume=volume)
            assert added == pytest.approx(share * bass, abs=0.01), (volume, tone_hz)
        assert rig_db(of, tone_hz=50.0, volume=volume) == pytest.approx(
            level_db(of, tone_hz=50.0, volume=volume), abs=0.01
        )


def test_clean_volume_includes_the_bass_boost() -> None:
    """At the volume given as the onset of clipping the margin is zero, in the bass as well as above."""
    of = read_job_text(CHAIN.replace("factory: {}", f"factory: {{{MOVING}}}").replace("top: 0 dB", "top: 6 dB")).job
    context = PlanContext(of)
    for tone_hz in (30.0, 2000.0):
        end = context.ends[0]
        found = clean_limit(context, type(end)(**{f: getattr(end, f) for f in end.__slots__} | {"tone_hz": tone_hz}))
        solved = context.opened.solve(Conditions(tone_hz, found.level_dbfs, settings={"radio.volume": found.onset}))
        assert float(np.min(solved.margins_db[0, solved.index(RADIO)])) == pytest.approx(0.0, abs=0.15), tone_hz


def test_a_limiter_holds_its_threshold_without_distortion() -> None:
    """Below it the level follows, above it a steady tone stays at 8 V less 2 dB; the margin says how far it is turned down."""
    of = chain("limiter: yes, limiter_threshold: -2 dB")
    loaded = level_db(chain(), level_dbfs=0.0) - 20 * np.log10(8)
    for level, expected in ((-10.0, -10.0), (-2.5, -2.5), (-1.0, -2.0), (0.0, -2.0)):
        assert level_db(of, level_dbfs=level) == pytest.approx(20 * np.log10(8) + loaded + expected, abs=1e-6)
        assert rig_db(of, level_dbfs=level) == pytest.approx(level_db(of, level_dbfs=level), abs=1e-3)
    solved = of.solve(Conditions(1000.0, 0.0))
    assert solved.thd[0, solved.index(RADIO)] < 1e-6
    assert solved.margin_db[0, solved.index(RADIO)] == pytest.approx(-2.0, abs=1e-6)


def test_load_detection_mutes_without_a_speaker() -> None:
    """Ohm's law: 1 kohm is no speaker for a radio that needs 100 ohm, 47 ohm is one."""
    wants = "load_detection: yes, needs_load: 100 ohm"
    without, with_resistor = chain(wants), chain(wants, ("1 kohm", "47 ohm"))
    for of, plays in ((without, False), (with_resistor, True)):
        solved = of.solve(Conditions(1000.0, -20.0))
        rig = Rig(of.job, seed=1, truth=of.nominal())
        rig.play(1000.0, -20.0)
        assert (solved.rms_v[0, solved.index(RADIO)] > 0) is np.True_ if plays else solved.rms_v[0, 0] == 0
        assert (float(np.std(rig.period(str(RADIO))[0])) > 0) == plays


def test_remedy_for_no_load_makes_it_play() -> None:
    """The plan is stopped; with the resistor that it names the finding disappears."""
    job = chain("load_detection: yes, needs_load: 100 ohm").job
    blocker = next(f for f in make_plan(job).findings if f.code == "no_load_found")
    assert blocker.severity == "blocker"
    assert "a resistor of 82 ohm that takes" in blocker.remedy
    mended = chain("load_detection: yes, needs_load: 100 ohm", ("1 kohm", "82 ohm")).job
    assert "no_load_found" not in {f.code for f in make_plan(mended).findings}


def test_every_remedy_with_settings_ends_its_finding() -> None:
    """Levelling off, loudness off, a load, a balanced input: set in the job, the finding is gone."""
    does = "loudness: yes, load_detection: yes, needs_load: 100 ohm, noise_cancelling: yes"
    balanced = ("factory: {", "levelling: on\n    balanced: yes\n    factory: {")
    line = (
        "{kind: converter, from: radio, input_impedance: 1 kohm, input_limit: 40 V}",
        "{kind: line_driver, from: radio, gain: 3 dB, balanced_input: no}",
    )
    job = chain(does, balanced, line).job
    told = [
        f for f in make_plan(job).findings if f.remedy_sets and f.where in ("radio", "radio.levelling", "converter")
    ]
    assert {f.code for f in told} >= {
        *("source_levels_tracks", "equaliser_follows_volume", "no_load_found", "noise_cancelling"),
        "balanced_into_unbalanced",
    }
    for finding in told:
        after = make_plan(with_changes(job, finding.remedy_sets)).findings
        assert (finding.code, finding.where) not in {(f.code, f.where) for f in after}


def test_noise_cancelling_adds_to_the_noise_floor() -> None:
    """50 mV of it are part of the noise at the output, added as powers; the rig plays as much, and nothing with the engine off."""
    of, quiet = chain("noise_cancelling: yes, cancelling_level: 50 mV"), chain()
    i = of.nodes.index(RADIO)
    assert noise_v(of)[i] == pytest.approx(np.hypot(noise_v(quiet)[i], 0.05), rel=0.1)
    rig = Rig(of.job, seed=1, truth=of.nominal())
    for running, volts in ((True, 0.05), (False, 0.0)):
        rig.engine_running = running
        floor = rig._chain().floor(RADIO, 48_000, 48_000.0, np.random.default_rng(1))
        assert float(np.std(floor)) == pytest.approx(volts, abs=0.002)


def test_plan_asks_about_a_factory_source() -> None:
    """Missing values are asked for, functions that change levels are reported, levelling is switched off in a step."""
    asked = make_plan(read_job_text(example_text("factory_converter")).job)
    assert "factory_source_unknown" in {f.code for f in asked.findings}
    told = make_plan(read_job_text(example_text("factory_equaliser")).job)
    assert {"equaliser_follows_volume", "noise_cancelling"} <= {f.code for f in told.findings}
    assert "factory_source_unknown" not in {f.code for f in told.findings}
    levelled = make_plan(chain("", ("factory: {}", "levelling: unknown\n    factory: {}")).job)
    assert "source_levels_tracks" in {f.code for f in levelled.findings}
    step = next(step for step in levelled.steps if step.id == "control.radio.volume")
    assert step.sets["radio.levelling"] == "off"


def test_noise_cancelling_explains_a_hum_with_the_engine_running() -> None:
    """A boom without a tone is normal for such a source and no evidence about grounds; without noise cancelling, or with the engine off, it is."""
    from gainwright.diagnose import Diagnoser, make_diagnosis
    from gainwright.jobfile import read_entry

    loud = example_text("factory_equaliser").replace("20 .. 60 mV", "0.3 .. 0.5 V")
    grounds = {}
    for does in ("yes", "no"):
        text = loud.replace("noise_cancelling: yes", f"noise_cancelling: {does}")
        diagnoser = Diagnoser(read_job_text(text).job, draws=128)
        for engine in ("on", "off"):
            heard = {"heard": "sub", "is": "hum", "tone": "off", "engine": engine}
            found = make_diagnosis(diagnoser, [read_entry(heard, diagnoser.job)])
            grounds[does, engine] = sum(c.probability for c in found.causes if c.cause == "ground_loop")
    assert grounds["no", "on"] > 3 * grounds["yes", "on"]
    assert grounds["yes", "off"] > 3 * grounds["yes", "on"]
