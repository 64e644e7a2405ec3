"""A strapped pair against circuit laws and the rig: voltages add across the load, each amplifier sees half of it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright.diagnose import Cause, Diagnoser, describe_entry
from gainwright.diagnose.ensemble import Stimulus
from gainwright.errors import JobError
from gainwright.jobfile import example_text, read_entry, read_job_text, with_settings
from gainwright.model import Job
from gainwright.physics import Driver
from gainwright.plan import make_plan
from gainwright.simulated import Fault, Rig
from gainwright.simulated.faults import possible_faults
from gainwright.solve import Chain, Conditions, ImpedanceCurve

TEXT = example_text("strapped_pair")
GAINS = {"amp_a.gain": "40 %", "amp_b.gain": "40 %"}
PAIR = ("amp_a.out.mono", "amp_b.out.mono")
TONE_HZ, LEVEL_DBFS = 50.0, -20.0
SPEAKER = 0.8 + 2j * np.pi * TONE_HZ * 4e-3


def job(text: str = TEXT, **sets: str) -> Job:
    """Return the example with its two gains set."""
    return with_settings(read_job_text(text).job, GAINS | sets)


def phasors(chain: Chain, **values: float) -> list[complex]:
    """Return the fundamental of both outputs, volts rms."""
    solved = chain.solve(Conditions(TONE_HZ, LEVEL_DBFS, values=values or None))
    return [complex(solved.fundamental_v[0, [str(n) for n in chain.nodes].index(name)]) for name in PAIR]


def test_voltages_add_across_the_load() -> None:
    """Equal halves, one inverted: the difference of the outputs is twice each one (Kirchhoff's voltage law)."""
    plus, minus = phasors(Chain(job()))
    assert plus / minus == pytest.approx(-1)
    assert abs(plus - minus) == pytest.approx(2 * abs(plus))


@pytest.mark.parametrize("output_ohm", [0.02, 0.5])
def test_each_amplifier_sees_half_of_the_load(output_ohm: float) -> None:
    """The loop EMF a, Z, conductor, load, conductor, Z, EMF b as mesh equations, solved as matrices (numpy.linalg)."""
    chain = Chain(job())
    # a coil of 0.8 of its nominal impedance and 4 mH per ohm that can't move (no force factor)
    still = Driver(
        re_ohm=0.8,
        force_factor_tm=0.0,
        mass_kg=1.0,
        compliance_m_n=1.0,
        mechanical_losses=1.0,
        area_m2=1.0,
        inductance_h=4e-3,
    )
    chain.curves["sub"] = ImpedanceCurve(still, None, units=1)
    values = {"amp_a.output_impedance": output_ohm, "amp_b.output_impedance": output_ohm}
    loaded, _ = phasors(chain, **values)
    free = chain.solve(Conditions(TONE_HZ, LEVEL_DBFS, values=values, unloaded=frozenset({"sub"})))
    emf = abs(free.fundamental_v[0, [str(n) for n in chain.nodes].index(PAIR[0])])
    ohms = chain.nominal()
    leads = [ohms[f"lead:{name}-sub.resistance"] / 2 for name in ("amp_a", "amp_b")]
    # three nodes: output a, output b, and the middle of nothing: conductances between them and to the EMFs behind Z
    across = 1 / (ohms["sub.impedance"] * SPEAKER + sum(leads))
    inside = 1 / output_ohm
    matrix = np.array([[inside + across, -across], [-across, inside + across]])
    outputs = np.abs(np.linalg.solve(matrix, np.array([inside * emf, -inside * emf])))
    assert abs(loaded) == pytest.approx(outputs[0], rel=1e-9)


def test_the_pair_delivers_the_sum_of_its_halves() -> None:
    """2 x 500 W at 2 ohm are 1000 W at 4 ohm: (2 x 31.6 V)^2 / 4 ohm (power into a resistance)."""
    plan = make_plan(read_job_text(TEXT.replace("power: 900 W", "power: 5 kW")).job)
    volts = [t.candidates_v_rms["amplifier"] for t in plan.targets if t.stage in ("amp_a", "amp_b")]
    assert sum(volts) ** 2 / 4 == pytest.approx(1000)
    assert [f.code for f in plan.findings if f.severity == "blocker"] == []
    # and the speaker's 900 W over its 4 ohm are 60 V across it, 30 V at each end
    speaker = [t.candidates_v_rms["speaker"] for t in make_plan(read_job_text(TEXT).job).targets if t.stage == "amp_a"]
    assert speaker == [pytest.approx(math.sqrt(900 * 4) / 2)]


@pytest.mark.parametrize(
    ("before", "after", "code"),
    [
        ("    polarity: reversed                 # its phase switch\n", "", "strapped_in_phase"),
        ("    strapped_to: amp_a                 # its output is the minus end of the load\n", "", "outputs_tied"),
        ("    strapped_to: amp_a", "    bridged: yes\n    strapped_to: amp_a", "strapped_bridged"),
    ],
)
def test_blockers_of_a_strapped_pair(before: str, after: str, code: str) -> None:
    """Neither inverted, two outputs that weren't declared a pair, and a bridged half: each is a blocker."""
    assert before in TEXT
    findings = make_plan(read_job_text(TEXT.replace(before, after)).job).findings
    assert code in {f.code for f in findings if f.severity == "blocker"}


def test_the_remedy_of_two_in_phase_makes_the_finding_go() -> None:
    """Carried out as the finding says, it leaves no blocker."""
    wrong = job(**{"amp_b.polarity": "normal"})
    finding = next(f for f in make_plan(wrong).findings if f.code == "strapped_in_phase")
    assert finding.remedy_sets
    mended = make_plan(with_settings(wrong, finding.remedy_sets))
    assert [f.code for f in mended.findings if f.severity == "blocker"] == []


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (TEXT.replace("strapped_to: amp_a", "strapped_to: amp_c"), "there is amp_front, amp_a"),
        (TEXT.replace("strapped_to: amp_a", "strapped_to: amp_front"), "feed no speaker together"),
        (TEXT.replace("strapped_to: amp_a", "strapped_to: front"), "not another amplifier"),
    ],
)
def test_invalid_pairs_are_refused(text: str, says: str) -> None:
    """The partner must be another amplifier, at the other end of the same load."""
    with pytest.raises(JobError, match=says):
        read_job_text(text)


def test_the_plan_reads_between_the_outputs_before_the_speaker_is_on() -> None:
    """Twice the target, with the speakers off; on the rig it reads that, and almost nothing if both are in phase."""
    plan = make_plan(read_job_text(TEXT).job)
    step = next(s for s in plan.steps if s.id == "amplifier.sub.between")
    targets = {t.stage: t.v_rms for t in plan.targets}
    assert step.expect is not None
    assert step.expect.value == pytest.approx(targets["amp_a"] + targets["amp_b"])
    assert "sub" in step.speakers_off
    for turned, factor in (({}, 2.0), ({"amp_b.polarity": "normal"}, 0.0)):
        set_up = job(**turned)
        rig = Rig(set_up, seed=1, truth=Chain(set_up).nominal())
        rig.disconnect(("sub", "front"))
        rig.play(TONE_HZ, LEVEL_DBFS)
        one = rig.read_v(PAIR[0], "meter")
        assert rig.read_v(step.measure_at, "meter") == pytest.approx(factor * one, abs=0.05 * one)


def test_the_rig_plays_the_difference() -> None:
    """Correctly wired: normal. In phase, or with one end of the load open: silent, though both amplifiers give their voltage."""
    set_up = job()
    truth = Chain(set_up).nominal()
    heard = {}
    for name, faults in {
        "sound": (),
        "in phase": (Fault("polarity_reversed", "lead:sum-amp_b"),),
        "open": (Fault("lead_open", "lead:amp_a-sub"),),
        "one dead": (Fault("side_dead", PAIR[1]),),
    }.items():
        rig = Rig(set_up, seed=1, truth=truth, faults=faults)
        rig.play(TONE_HZ, LEVEL_DBFS)
        heard[name] = rig.listen("sub")
        assert rig.read_v(PAIR[0], "meter") > 0.5, name
    assert heard == {"sound": "normal", "in phase": "silent", "open": "silent", "one dead": "normal"}
    assert ("polarity_reversed", "lead:amp_b-sub") not in possible_faults(set_up)


def _with_fixed_gains() -> Job:
    fixed = TEXT.replace("    sensitivity: 0.2 .. 5 V\n", "    sensitivity: 0.6 V\n    gain: fixed\n")
    return read_job_text(fixed.replace("    gain: {mutes_at_minimum: no}\n", "")).job


def test_fault_finding_uses_the_difference() -> None:
    """An inverted half, or an open end, is silence; a dead half is half the voltage, which still plays.

    Two output resistances into a real speaker leave a hundredth of a voltage, so the tone is low enough for that to be silent.
    """
    model = Diagnoser(_with_fixed_gains(), draws=64).rough
    answers = model.heard("sub", Stimulus(TONE_HZ, LEVEL_DBFS - 12))
    silent = answers.chance[answers.labels.index("silent")].mean(axis=-1)
    rows = {h[0]: silent[i] for i, h in enumerate(model.ensemble.hypotheses)}
    assert rows[Cause("nothing_wrong", "")] < 0.1
    assert rows[Cause("polarity_reversed", "lead:sum-amp_b")] > 0.9
    assert rows[Cause("lead_open", "lead:amp_a-sub")] > 0.9
    assert rows[Cause("side_dead", PAIR[1])] < 0.1


def test_reading_between_the_outputs_is_evidence() -> None:
    """Between them stands the sum of both; close to nothing is an end that isn't inverted, and both are places of the job."""
    job = _with_fixed_gains()
    model = Diagnoser(job, draws=16).rough
    plus, minus = (model.observer.nodes[node] for node in PAIR)
    stimulus = Stimulus(TONE_HZ, LEVEL_DBFS, speakers=False)
    volts = [10 ** (model.observer.levels(stimulus, node, "meter").shown_db / 20) for node in (plus, minus)]
    across = 10 ** (model.observer.levels(stimulus, plus, "meter", against=minus).shown_db / 20)
    sound = model.ensemble.hypotheses.index((Cause("nothing_wrong", ""),))
    assert across[sound] == pytest.approx(volts[0][sound] + volts[1][sound], rel=0.02)
    alike = model.ensemble.hypotheses.index((Cause("polarity_reversed", "lead:sum-amp_b"),))
    assert np.median(across[alike]) < 0.1 * np.median(across[sound])
    played = {
        "with": "meter",
        "tone": f"{TONE_HZ} Hz",
        "level": f"{LEVEL_DBFS} dBFS",
        "speakers": "off",
        "reads": "20 V",
    }
    read = read_entry({"at": PAIR[0], "against": PAIR[1], **played}, job)
    assert describe_entry(read, job).startswith("20 V between the output of ")
    for wrong in ({"against": PAIR[0]}, {"against": "nowhere"}, {"against": PAIR[1], "with": "interface"}):
        with pytest.raises(JobError):
            read_entry({"at": PAIR[0], **played, **wrong}, job)
