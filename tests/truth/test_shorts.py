"""A short against Kirchhoff's laws (numpy.linalg) and Ohm's law: its ohms and place, the amplifier before it, what is read."""

from __future__ import annotations

import numpy as np
import pytest
from small_chain import CHAIN, chain

from gainwright.diagnose import Cause, Diagnoser
from gainwright.diagnose.causes import NOTHING
from gainwright.diagnose.changes import change_of
from gainwright.diagnose.ensemble import Ensemble, Stimulus
from gainwright.jobfile import example_text, read_entry, read_job_text, with_settings
from gainwright.model import Port
from gainwright.simulated import Fault, Rig, answer
from gainwright.solve import Alteration, Conditions, Loading

LEAD_OHM, SPEAKER_OHM, OUTPUT_OHM = 0.4, 4.0, 0.05
TEXT = CHAIN.replace("output_impedance: 0.01 ohm", f"output_impedance: {OUTPUT_OHM} ohm").replace(
    "power: 100 W, lead: {resistance: 0 ohm}", f"power: 100 W, lead: {{resistance: {LEAD_OHM} ohm}}"
)
JOB = read_job_text(TEXT).job


def mesh(short_ohm: float, place: float) -> tuple[float, float]:
    """Return node and speaker voltage per volt of EMF: three unknown nodes, conductances, Kirchhoff's current law."""
    before, behind = place * LEAD_OHM, (1 - place) * LEAD_OHM
    source, first, rung, second, load = 1 / OUTPUT_OHM, 1 / before, 1 / short_ohm, 1 / behind, 1 / SPEAKER_OHM
    matrix = [[source + first, -first, 0], [-first, first + rung + second, -second], [0, -second, second + load]]
    volts = np.linalg.solve(np.array(matrix), np.array([source, 0, 0]))
    return float(volts[0]), float(volts[2])


@pytest.mark.parametrize(("short_ohm", "place"), [(0.01, 0.1), (0.3, 0.5), (2.0, 0.9)])
def test_a_short_has_ohms_and_a_place(short_ohm: float, place: float) -> None:
    """What is left before and behind it is what Kirchhoff's laws give, in the model and on the rig."""
    of = chain(("output_impedance: 0.01 ohm", f"output_impedance: {OUTPUT_OHM} ohm"))
    wire = (of.nodes[1], Port("sub", "in", "mono"))
    values = of.nominal() | {"lead:amp-sub.resistance": LEAD_OHM}
    alter = Alteration(shorted={wire: 1 / short_ohm}, short_place={wire: place})
    loading = Loading(of.wiring, values, probes={}, alter=alter)
    node, speaker = mesh(short_ohm, place)
    assert loading.node_factor(wire[0]) == pytest.approx(node, rel=1e-9)
    assert loading.node_factor(wire[0]) * loading.port_factor(*wire) == pytest.approx(speaker, rel=1e-9)
    rig = Rig(JOB, seed=1, truth=values, faults=(Fault("lead_shorted", "lead:amp-sub", short_ohm, along=place),))
    simulated = rig._chain()
    assert simulated.at_node(wire[0]) == pytest.approx(node, rel=1e-9)
    assert simulated.at_node(wire[0]) * simulated.at_port(*wire) == pytest.approx(speaker, rel=1e-9)


@pytest.mark.parametrize("short_ohm", [0.05, 0.5])
def test_a_current_limit_leaves_its_current_times_the_short(short_ohm: float) -> None:
    """Below the lowest rated load the peak current stays at that of the rating, whatever the output impedance: U = I R."""
    solver = chain(("output_impedance: 0.01 ohm", f"output_impedance: {OUTPUT_OHM} ohm"))
    values = {k: 0.0 for k in solver.nominal() if k.endswith(".distortion")}
    alter = Alteration(load={Port("sub", "in", "mono"): short_ohm / SPEAKER_OHM})
    found = solver.solve(Conditions(1000, 0.0, values=values, alter=alter))
    # 100 W at 4 ohm and 1 % THD; the clean sine is 0.2016 dB below (docs/model.md), its peak flows at a square's every moment
    limit_a = np.sqrt(2 * 100 / SPEAKER_OHM) * 10 ** (-0.2016 / 20)
    assert found.rms_v[0, 1] == pytest.approx(limit_a * short_ohm, rel=0.03)


def test_an_amplifier_protects_or_limits() -> None:
    """In most draws the output is silent and the lamp lit, in the others volts are left; on the rig one of the two."""
    of = Diagnoser(JOB)
    ensemble = Ensemble(of.chain, [(Cause("lead_shorted", "lead:amp-sub"),)], draws=128, seed=1)
    change = ensemble.changes[0]
    protects = change.protecting["amp"]
    nodes = frozenset(of.chain.nodes)
    solved, soft = (ensemble.solve(s, nodes) for s in (Stimulus(1000.0, 0.0, octaves=1.0), Stimulus(1000.0, -70.0)))
    volts, softly = (s.of(s.solution.rms_v[:, 1])[0] for s in (solved, soft))
    assert 0.5 < np.mean(protects) < 0.9
    assert np.all(volts[protects] == 0)
    assert np.all(volts[~protects] > 1e-3)
    assert np.mean(softly[protects] > 0) > 0.5  # so little current trips hardly any
    left = {}
    for limits in (True, False):
        rig = Rig(JOB, seed=1, faults=(Fault("lead_shorted", "lead:amp-sub", 0.1),))
        rig.limiting = frozenset({"amp"} if limits else ())
        rig.turn("amp.gain", 0.8)
        reading = answer(rig, read_entry({"at": "amp.out.mono", "with": "meter", "tone": "1 kHz"}, JOB, answered=False))
        lamp = answer(rig, read_entry({"check": "amp.protection_lamp"}, JOB, answered=False))
        left[limits] = (float(str(reading["reads"]).split()[0]), lamp["is"])
    assert left[False][0] < 1e-3
    assert left[False][1] == "on"
    assert left[True][0] > 0.1
    assert left[True][1] == "off"


def test_a_tone_that_does_not_reach_a_short_leaves_its_chassis_on() -> None:
    """Bass that a high-pass keeps from a shorted front lead plays on at the sub of the same chassis; what reaches it silences all, as on the rig."""
    gains = {f"{name}.gain": "30 %" for name in ("amp_front", "amp_rear", "amp_sub")}
    job = with_settings(read_job_text(example_text("five_channel")).job, gains)
    short = "lead_shorted", "lead:amp_front-front"
    of, rig = Diagnoser(job), Rig(job, seed=3, faults=(Fault(*short, 0.04),))
    rig.limiting = frozenset()
    ensemble = Ensemble(of.chain, [(Cause(NOTHING, ""),), (Cause(*short),)], draws=64, seed=1)
    protects = ensemble.changes[1].protecting["five"]
    assert 0.5 < np.mean(protects) < 0.9
    silent = {}
    for at, tone_hz, plays in (("amp_sub.out.mono", 40.0, True), ("amp_rear.out.left", 315.0, False)):
        node = next(n for n in of.chain.nodes if str(n) == at)
        solved = ensemble.solve(Stimulus(tone_hz, -10.0), frozenset({node}))
        sound, shorted = solved.of(solved.solution.rms_v[:, solved.solution.index(node)])
        silent[at] = float(np.mean(shorted[protects] == 0))
        assert np.all((shorted == 0) | np.isclose(shorted, sound))
        asked = {"at": at, "with": "meter", "tone": f"{tone_hz:g} Hz", "level": "-10 dBFS"}
        reads = str(answer(rig, read_entry(asked, job, answered=False))["reads"])
        assert (float(reads.split(maxsplit=1)[0]) > 0.1) is plays
    assert silent["amp_rear.out.left"] > silent["amp_sub.out.mono"] + 0.2


def test_a_sound_load_doesn_t_trip() -> None:
    """The rated load trips nothing, and half of it doesn't at a level at which its current is the rated one."""
    sound = change_of(Cause("lead_resistive", "lead:amp-sub"), Diagnoser(JOB).chain, np.full((4, 3), 0.3))
    assert sound.protecting == {}
    rig = Rig(JOB, seed=1, faults=(Fault("load_too_low", "amp", 0.9),))
    rig.turn("amp.gain", 0.8)
    rig.play(1000.0, 0.0)
    assert np.std(rig.period("amp.out.mono")[0]) > 1


def test_millivolts_tell_a_short_from_silence() -> None:
    """A line output into 1.2 ohm leaves 4 mV of 2 V behind 600 ohm (Ohm's law): that speaks for a short, 0 V doesn't."""
    of = Diagnoser(JOB)

    def odds(reads: str) -> float:
        given = {"at": "head.out.mono", "with": "meter", "tone": "1 kHz", "level": "0 dBFS", "reads": reads}
        causes, probability, _ = of.weigh([read_entry(given, JOB)]).of_causes()
        by = {str(c): p for c, p in zip(causes, probability, strict=True)}
        return float(by["lead_shorted at lead:head-amp"] / by["source_muted at head"])

    assert odds("4 mV") > 3 * odds("0 V")
