"""What stops a plan: each connection or figure that would destroy something, and each that can hardly be intended."""

from __future__ import annotations

from typing import Any

import pytest

from gainwright.jobfile import example_text, examples, read_job_text
from gainwright.model import Job
from gainwright.plan import make_plan
from gainwright.plan.blockers import blockers
from gainwright.plan.context import PlanContext
from gainwright.plan.result import Finding
from gainwright.plan.sizes import sizes
from gainwright.report.text import plan_text

HEAD = "head: {kind: head_unit, rated_output: 4 V, volume: {steps: 40}, outputs: {OUTPUTS}}"
POWERED = "head: {kind: head_unit, rated_output: 9 V, speaker_level: yes, outputs: {OUTPUTS}}"
AMP = "{kind: amplifier, from: head.front, power: 75 W @ 4 ohm, sensitivity: 0.2 .. 5 V}"
BASS = "{kind: amplifier, from: head.sub, power: 300 W @ 4 ohm, sensitivity: 0.2 .. 5 V, bridged: yes}"


def found(*stages: str, head: str = HEAD, **vehicle: str) -> dict[str, Finding]:
    """Return code -> finding of a chain of one head unit and these stages."""
    text = "format: 1\n" + (f"vehicle: {{{', '.join(f'{k}: {v}' for k, v in vehicle.items())}}}\n" if vehicle else "")
    outputs = {"front": "front: {}", "sub": "sub: {sides: [mono]}"}
    used = ", ".join(o for name, o in outputs.items() if any(f"head.{name}" in stage for stage in stages))
    lines = "\n".join(f"  {stage}" for stage in (head.replace("OUTPUTS", used), *stages))
    return of(read_job_text(f"{text}stages:\n{lines}\n").job)


def of(job: Job) -> dict[str, Finding]:
    """Return code -> finding of a job."""
    context = PlanContext(job)
    return {f.code: f for f in (*blockers(context), *sizes(context))}


@pytest.mark.parametrize("name", list(examples()))
def test_no_example_is_stopped(name: str) -> None:
    """The shipped jobs have no blocker."""
    assert of(read_job_text(example_text(name)).job) == {}


@pytest.mark.parametrize(
    ("stages", "code", "where"),
    [
        ((f"a: {BASS}", f"b: {BASS}", "sub: {kind: speaker, from: [a, b], impedance: 4 ohm}"), "outputs_tied", "sub"),
        ((f"a: {AMP}", "sub: {kind: speaker, from: [a.left, a.right], impedance: 4 ohm}"), "outputs_tied", "sub"),
        (("front: {kind: speaker, from: head.front, impedance: 4 ohm}",), "line_output_on_speaker", "front"),
        ((f"a: {AMP}", "tweeter: {kind: speaker, from: a, impedance: 4 ohm}"), "unprotected_speaker", "tweeter"),
        ((f"a: {AMP}", "tw_left: {kind: speaker, from: a, impedance: 4 ohm}"), "unprotected_speaker", "tw_left"),
        ((f"a: {AMP}", "x: {kind: speaker, from: a, resonance: 900 Hz}"), "unprotected_speaker", "x"),
        ((f"a: {AMP.replace('0.2 .. 5 V', '5 .. 0.2 V')}", "x: {kind: speaker, from: a}"), "sensitivity_reversed", "a"),
        (
            (
                f"a: {AMP[:-1]}, high_pass: butterworth 12 at 40 Hz, high_pass_range: 50 .. 250 Hz}}",
                "x: {kind: speaker, from: a}",
            ),
            "corner_out_of_range",
            "a.high_pass",
        ),
    ],
)
def test_destructive_connections_are_blockers(stages: tuple[str, ...], code: str, where: str) -> None:
    """Each is found where it is, stops the plan and says what to change."""
    finding = found(*stages)[code]
    assert (finding.severity, finding.where) == ("blocker", where)
    assert len(finding.remedy) > 20


def test_a_processor_on_a_speaker_and_its_band_of_tweeters() -> None:
    """A processor's output is at line level, and one that is called tweeter feeds tweeters whatever they are called."""
    desk = "desk: {kind: processor, inputs: {in: head.front}, outputs: {tweeter: {from: in}}}"
    codes = found(desk, "x: {kind: speaker, from: desk.tweeter}")
    assert codes["line_output_on_speaker"].where == codes["unprotected_speaker"].where == "x"
    safe = desk.replace("{from: in}", "{from: in, high_pass: linkwitz-riley 24 at 3 kHz}")
    assert set(found(safe, f"a: {AMP.replace('head.front', 'desk.tweeter')}", "x: {kind: speaker, from: a}")) == set()


def test_speaker_level_into_a_line_input() -> None:
    """A head unit's power output, or an amplifier's, into a line input; through a converter it is allowed."""
    speaker = "x: {kind: speaker, from: a}"
    assert found(f"a: {AMP}", speaker, head=POWERED)["speaker_level_into_line_input"].where == "a"
    second = f"b: {AMP.replace('head.front', 'a')}"
    assert found(f"a: {AMP}", second, "x: {kind: speaker, from: b}")["speaker_level_into_line_input"].where == "b"
    converted = ("c: {kind: converter, from: head.front}", f"a: {AMP.replace('head.front', 'c')}", speaker)
    assert found(*converted, head=POWERED) == {}
    assert found("x: {kind: speaker, from: head.front}", head=POWERED) == {}


def test_two_coils_with_an_amplifier_each_are_allowed() -> None:
    """The outputs are not connected to each other."""
    coils = "sub: {kind: speaker, from: {coil_1: a, coil_2: b}, coils: 2 x 4 ohm separate}"
    assert found(f"a: {BASS}", f"b: {BASS}", coils) == {}


@pytest.mark.parametrize(
    ("vehicle", "code"),
    [
        ({"running": "24 V"}, "supply_far_from_rating"),
        ({"running": "120 V"}, "supply_far_from_rating"),
        ({"running": "6 V"}, "supply_far_from_rating"),
        ({"running": "12.4 V", "resting": "13 V"}, "supply_reversed"),
        ({"running": "14.4 V"}, ""),
        ({"running": "12.2 V"}, ""),
    ],
)
def test_a_supply_far_from_the_rating(vehicle: dict[str, Any], code: str) -> None:
    """12 V electronics take 9 to 16 V (ISO 16750-2, code C, from memory); a battery whose resting voltage exceeds the running one isn't charged."""
    codes = found(f"a: {AMP}", "x: {kind: speaker, from: a}", **vehicle)
    assert {c: f.severity for c, f in codes.items()} == ({code: "blocker"} if code else {})


def test_an_amplifier_for_24_volts_at_24_and_at_12() -> None:
    """One rated at 28 V runs at 27.6 V and not at 13.8 V."""
    stages = (f"a: {AMP[:-1]}, rated_at: 28 V}}", "x: {kind: speaker, from: a}")
    assert found(*stages, running="27.6 V", resting="25.2 V") == {}
    assert set(found(*stages, running="13.8 V")) == {"supply_far_from_rating"}


@pytest.mark.parametrize(
    ("old", "new", "severity"),
    [
        ("75 W @ 4 ohm", "160 kW @ 4 ohm", "blocker"),
        ("75 W @ 4 ohm", "75 mW @ 4 ohm", "blocker"),
        ("75 W @ 4 ohm", "12 kW @ 4 ohm", "caution"),
        ("75 W @ 4 ohm", "75 W @ 4 kohm", "blocker"),
        ("0.2 .. 5 V", "200 .. 5000 V", "blocker"),
        ("0.2 .. 5 V", "0.2 .. 5 mV", "blocker"),
        ("0.2 .. 5 V", "10 mV .. 5 V", "caution"),
        ("}", ", high_pass: butterworth 12 at 100 kHz}", "caution"),
    ],
)
def test_implausible_figures_are_questioned(old: str, new: str, severity: str) -> None:
    """A figure outside everything sold is a question, one ten times outside is a blocker: never accepted in silence."""
    finding = found(f"a: {AMP.replace(old, new)}", "x: {kind: speaker, from: a}")["improbable_value"]
    assert "meant?" in finding.message
    worst = {f.severity for f in _all(f"a: {AMP.replace(old, new)}")}
    assert severity in worst


def _all(stage: str) -> list[Finding]:
    head = HEAD.replace("OUTPUTS", "front: {}")
    text = f"format: 1\nstages:\n  {head}\n  {stage}\n  x: {{kind: speaker, from: a}}\n"
    return list(sizes(PlanContext(read_job_text(text).job)))


def test_a_stopped_plan_says_nothing_of_full_power() -> None:
    """Levels that nobody may try yet are neither in the plan nor in its text."""
    plain = f"format: 1\nstages:\n  {POWERED.replace('OUTPUTS', 'front: {}')}\n"
    healthy = (
        plain.replace("speaker_level: yes, ", "") + f"  a: {AMP}\n  x: {{kind: speaker, from: a, impedance: 4 ohm}}\n"
    )
    stopped = healthy.replace("from: a,", "from: [a.left, a.right],")
    for text, blocked in ((healthy, False), (stopped, True)):
        plan = make_plan(read_job_text(text).job)
        assert plan.blocked == blocked
        assert (plan.full_scale == (), plan.volumes == ()) == (blocked, blocked)
        assert ("Targets" not in plan_text(plan)) == blocked
