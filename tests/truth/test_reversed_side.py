"""A reversed side in the bass against sums of pressures, what ohms are through bad leads, and knobs within their range."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright.diagnose import Cause, Diagnoser
from gainwright.diagnose.changes import SAG, change_of
from gainwright.diagnose.ensemble import Ensemble, Stimulus
from gainwright.diagnose.heard_answers import NEARER_DB
from gainwright.diagnose.unit_answers import SUPPLIES, supply_class
from gainwright.jobfile import example_text, read_entry, read_job_text, with_settings
from gainwright.simulated import Fault, Rig, answer

JOB = with_settings(read_job_text(example_text("two_way_and_sub")).job, {"amp_front.gain": "30 %"})
LEFT = "lead:amp_front.left-woofer.left"


@pytest.fixture(scope="module")
def diagnoser() -> Diagnoser:
    """Return the diagnoser of the two-way chain."""
    return Diagnoser(JOB)


@pytest.mark.parametrize("tone_hz", [80.0, 500.0])
def test_in_the_bass_the_sides_add_as_pressures(diagnoser: Diagnoser, tone_hz: float) -> None:
    """One side reversed, one nearer by n dB: |1 - r| / (1 + r) of the level is left, r = 10^(-n/20); above, nothing is lost."""
    of = diagnoser.rough
    stimulus = Stimulus(tone_hz, -20.0)
    sound, turned = (
        (of.ensemble.hypotheses.index((Cause(i, where),)))
        for i, where in (("nothing_wrong", ""), ("polarity_reversed", LEFT))
    )
    nodes = [node for node, _ in of._speakers["woofer"]]
    sides = []
    for wire in of._speakers["woofer"]:
        phasor = of.observer.phasor_v(stimulus, wire[0], tuple(nodes)) * of.arriving(*wire)
        sides.append(phasor * of._turned(wire))
    level = of._together(*sides)
    lost_db = 20 * np.log10(level[sound] / level[turned])
    ends = [-20 * np.log10((1 - r) / (1 + r)) for r in (10 ** (-n / 20) for n in NEARER_DB)]
    assert np.all((lost_db > ends[1] - 0.1) & (lost_db < ends[0] + 0.1))
    words = of.heard("woofer", Stimulus(tone_hz, -20.0)).chance
    silent_or_faint = words[:2].sum(axis=0).mean(axis=1)
    if tone_hz > 200:
        assert silent_or_faint[turned] == pytest.approx(silent_or_faint[sound], abs=0.02)


def test_the_rig_cancels_in_the_bass() -> None:
    """With one speaker lead reversed the rig plays less below 200 Hz, and the same above."""
    heard = {}
    for faults in ((), (Fault("polarity_reversed", LEFT),)):
        rig = Rig(JOB, seed=3, faults=faults)
        for tone in ("80 Hz", "500 Hz"):
            rig.play(float(tone.split()[0]), -20.0)
            wires = rig._wires(rig._chain(), "woofer", "both")
            waves = [rig._at_cone(*wire)[0] for wire in wires]
            heard[bool(faults), tone] = float(np.std(np.sum(waves, axis=0)) / np.std(waves[0]))
    assert heard[False, "80 Hz"] == pytest.approx(2, rel=0.05)
    assert heard[True, "80 Hz"] < 0.1


def test_the_rig_hears_one_side_that_is_dead_in_the_bass() -> None:
    """With one side's lead open the other one plays alone, at the same tone and level."""
    for tone_hz in (80.0, 500.0):
        rig = Rig(JOB, seed=3, faults=(Fault("lead_open", LEFT),))
        rig.play(tone_hz, -20.0)
        assert rig.listen("woofer", "left") == "silent"
        assert rig.listen("woofer") in ("faint", "normal")


def test_ohms_are_read_through_the_measuring_lead(diagnoser: Diagnoser) -> None:
    """A broken measuring lead shows every lead and coil open and no DC volts, in the model and on the rig."""
    of = diagnoser.rough
    broken = of.ensemble.hypotheses.index((Cause("measuring_lead_open", "meter"),))
    rig = Rig(JOB, seed=3, faults=(Fault("measuring_lead_open", "meter"),))
    lead = "lead:desk.sub-knob"
    assert lead in of.leads
    for place, aspect, label, key, reads in (
        (lead, "resistance", "open", "resistance", "open"),
        (lead, "between_conductors", "open", "between_conductors", "open"),
        ("sub.resistance", "", "open", "reads", "open"),
        ("amp_sub.supply_voltage", "", "none", "reads", "0 V"),
    ):
        answers = of.check(place, aspect)
        assert answers.chance[answers.labels.index(label), broken].mean() > 0.9
        assert answer(rig, read_entry({"check": place}, JOB, answered=False))[key] == reads


def test_a_filter_in_the_way_stays_within_its_knob() -> None:
    """The corner lies within the range that the job gives, or that such knobs usually have; a fixed filter isn't a cause."""
    text = example_text("two_way_and_sub")
    hidden = np.random.default_rng(1).random((64, 3))
    given = text.replace(
        "amp_front: {kind: amplifier,",
        "amp_front: {kind: amplifier, high_pass_range: 60 .. 240 Hz, low_pass_range: fixed,",
    )
    assert given != text
    of = Diagnoser(read_job_text(given).job)
    change = change_of(Cause("high_pass_in_the_way", "amp_front"), of.chain, hidden)
    corners = np.concatenate(list(change.high_pass_hz.values()))
    assert corners.min() >= 60
    assert corners.max() <= 240
    assert Cause("low_pass_in_the_way", "amp_front") not in of.causes
    usual = change_of(Cause("low_pass_in_the_way", "amp_sub"), of.chain, hidden)
    assert min(np.min(v) for v in usual.low_pass_hz.values()) >= 30


def test_a_thin_supply_shows_in_level_and_distortion_under_load_and_below_12_5_v_with_the_engine_running() -> None:
    """An unregulated ceiling follows its supply (20 lg of the share that is left): nothing softly, rough and quieter at full level.

    With the engine running an alternator gives 13.5 V and more, and half a volt or so is lost; at rest a charged battery has
    12.6 V (common practice, no published source).
    """
    assert [SUPPLIES[i] for i in supply_class(np.array([1.0, 12.3, 12.7]), running=True)] == ["none", "low", "right"]
    assert [SUPPLIES[i] for i in supply_class(np.array([11.2, 12.3]), running=False)] == ["low", "right"]
    of = Diagnoser(with_settings(read_job_text(example_text("one_amplifier")).job, {"amp.gain": "60 %"}))
    causes = [(Cause("nothing_wrong", ""),), (Cause("supply_sagging", "amp"),)]
    ensemble = Ensemble(of.chain, causes, draws=32, seed=1)
    out = next(n for n in of.chain.nodes if str(n) == "amp.out.mono")
    volts, bent = {}, {}
    for level_dbfs in (-40.0, 0.0):
        solved = ensemble.solve(Stimulus(50.0, level_dbfs), frozenset((out,)))
        column = solved.solution.index(out)
        volts[level_dbfs] = solved.of(solved.solution.rms_v[:, column])
        bent[level_dbfs] = np.nan_to_num(solved.of(solved.solution.thd[:, column]))
    assert volts[-40.0][1] == pytest.approx(volts[-40.0][0], rel=1e-6)
    assert bent[-40.0][1] == pytest.approx(bent[-40.0][0], abs=1e-6)
    lost_db = 20 * np.log10(volts[0.0][1] / volts[0.0][0])
    assert np.all(lost_db <= 1e-6)
    assert np.min(lost_db) > 20 * math.log10(SAG[0]) - 0.5
    assert np.mean(bent[0.0][1]) > 2 * np.mean(bent[0.0][0])


def test_a_supply_drops_with_what_is_drawn() -> None:
    """Ohm's law: at half of the current half of the drop; the rig reads it while music plays, above what full power leaves."""
    fault = Fault("supply_sagging", "amp_sub", 0.6)
    rig = Rig(JOB, seed=3, faults=(fault,))
    full = rig.truth["vehicle.running"]
    chain = rig._chain()
    assert chain.supply_read_v("amp_sub", 0.5) == pytest.approx(full * 0.8)
    assert chain.supply_read_v("amp_sub", 0.0) == pytest.approx(full)
    rig.play(50.0, -200.0)
    assert rig.supply_voltage("amp_sub") == pytest.approx(full, rel=1e-3)
    ensemble = Ensemble(Diagnoser(JOB).chain, [(Cause("supply_sagging", "amp_sub"),)], draws=64, seed=1)
    left = ensemble.changes[0].supply["amp_sub"]
    assert np.min(left) > 0.5
    assert np.max(left) > 0.95
