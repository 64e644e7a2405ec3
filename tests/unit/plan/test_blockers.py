"""What stops a plan: each connection or figure that would destroy something, and each that can hardly be intended."""

from __future__ import annotations

from typing import Any

import pytest

from gainwright.errors import JobError
from gainwright.jobfile import example_text, examples, read_job_text, with_changes
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
    return of(chain(*stages, head=head, **vehicle))


def chain(*stages: str, head: str = HEAD, **vehicle: str) -> Job:
    """Return the job of a chain of one head unit and these stages."""
    text = "format: 1\n" + (f"vehicle: {{{', '.join(f'{k}: {v}' for k, v in vehicle.items())}}}\n" if vehicle else "")
    outputs = {"front": "front: {}", "sub": "sub: {sides: [mono]}"}
    used = ", ".join(o for name, o in outputs.items() if any(f"head.{name}" in stage for stage in stages))
    lines = "\n".join(f"  {stage}" for stage in (head.replace("OUTPUTS", used), *stages))
    return read_job_text(f"{text}stages:\n{lines}\n").job


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
        ("}", ", input_limit: 4 mV}", "blocker"),
        ("}", ", headroom: 30 dB}", "caution"),
        ("}", ", lead: {length: 5 m, area: 0.001 mm2}}", "caution"),
        ("}", ", lead: {resistance: 5 kohm}}", "caution"),
        ("}", ", input_impedance: 10 ohm}", "caution"),
        ("}", ", output_impedance: 100 ohm}", "caution"),
        ("}", ", output_noise: 5 V}", "caution"),
        ("}", ", boost: peak +80 dB at 45 Hz q 1}", "caution"),
        ("sensitivity: 0.2 .. 5 V", "input_ranges: {low: 0.2 .. 2 V, high: 200 .. 900 V}", "caution"),
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


def test_figures_of_sources_and_speakers_are_questioned_as_they_are_written() -> None:
    """The question repeats the text of the job; a coil's resistance is compared with the impedance that it belongs to."""
    head = HEAD.replace("volume: {steps: 40}", "output_limit: 400 V, volume: {steps: 40, step: 30 dB}")
    speaker = "x: {kind: speaker, from: a, impedance: 4 ohm, re: 40 ohm, xmax: 12 m}"
    job = f"format: 1\nthd_limit: 20 %\nstages:\n  {head.replace('OUTPUTS', 'front: {}')}\n  a: {AMP}\n  {speaker}\n"
    asked = {f.where: f.message for f in sizes(PlanContext(read_job_text(job).job))}
    assert set(asked) == {"head.output_limit", "head.volume.step", "x.re", "x.xmax", "thd_limit"}
    assert "400 V" in asked["head.output_limit"]
    assert "1.6 ohm to 4.4 ohm" in asked["x.re"]


@pytest.mark.parametrize(
    ("stages", "head", "vehicle", "code", "severity"),
    [
        # a tweeter by the name that people see, and by the band that is left to it
        ((f"a: {AMP}", "x: {kind: speaker, name: Silk dome tweeter, from: a}"), HEAD, {}, "unprotected_speaker", "blocker"),
        ((f"a: {AMP}", "x: {kind: speaker, name: Hochtöner, from: a}"), HEAD, {}, "unprotected_speaker", "blocker"),
        (
            (
                "desk: {kind: processor, inputs: {in: head.front}, outputs: {a: {}, b: {low_pass: linkwitz-riley 24 at 3 kHz}}}",
                f"a: {AMP.replace('head.front', 'desk.a')}",
                f"b: {AMP.replace('head.front', 'desk.b')}",
                "x: {kind: speaker, from: a}",
                "y: {kind: speaker, from: b}",
            ),
            HEAD,
            {},
            "unprotected_speaker",
            "blocker",
        ),
        # the ends of a sensitivity, of a position of the input range switch, and in two units
        ((f"a: {AMP.replace('sensitivity: 0.2 .. 5 V', 'input_ranges: {low: 2 .. 0.2 V}')}", "x: {kind: speaker, from: a}"), HEAD, {}, "sensitivity_reversed", "blocker"),
        ((f"a: {AMP.replace('0.2 .. 5 V', '200 .. 5 V')}", "x: {kind: speaker, from: a}"), HEAD, {}, "sensitivity_reversed", "blocker"),
        # a filter that is off and can't be
        ((f"a: {AMP[:-1]}, low_pass: off, low_pass_range: 50 .. 250 Hz}}", "x: {kind: speaker, from: a}"), HEAD, {}, "corner_out_of_range", "caution"),
        # supplies: at rest, of a stage of its own, of what says no rating
        ((f"a: {AMP}", "x: {kind: speaker, from: a}"), HEAD, {"resting": "24 V"}, "supply_reversed", "blocker"),
        ((f"a: {AMP}", "x: {kind: speaker, from: a}"), HEAD, {"resting": "3 V"}, "supply_far_from_rating", "blocker"),
        ((f"a: {AMP[:-1]}, supply: {{running: 12 V, resting: 14 V}}}}", "x: {kind: speaker, from: a}"), HEAD, {}, "supply_reversed", "blocker"),
        (("x: {kind: speaker, from: head.front}",), POWERED, {"running": "120 V"}, "supply_far_from_rating", "blocker"),
        (
            ("desk: {kind: processor, supply: 48 V, inputs: {in: head.front}, outputs: {a: {}}}", f"a: {AMP.replace('head.front', 'desk.a')}", "x: {kind: speaker, from: a}"),
            HEAD,
            {},
            "supply_far_from_rating",
            "blocker",
        ),
        (
            ("desk: {kind: processor, inputs: {in: head.front}, outputs: {a: {}}}", f"a: {AMP.replace('head.front', 'desk.a')[:-1]}, rated_at: 28 V}}", "x: {kind: speaker, from: a}"),
            HEAD,
            {"running": "27.6 V", "resting": "25 V"},
            "supply_far_from_rating",
            "note",
        ),
    ],
)  # fmt: skip
def test_what_was_accepted_in_silence(
    stages: tuple[str, ...], head: str, vehicle: dict[str, str], code: str, severity: str
) -> None:
    """Each is found, and what the finding says to set in the job ends it."""
    job = chain(*stages, head=head, **vehicle)
    finding = of(job)[code]
    assert finding.severity == severity
    if finding.remedy_sets:
        assert code not in of(with_changes(job, finding.remedy_sets))
    else:
        assert code == "corner_out_of_range"


def test_millivolts_without_their_unit() -> None:
    """`200 .. 5 V` is 200 mV to 5 V, not 5 V to 200 V; a speaker left unprotected by the band that it plays may be any, and says so."""
    mixed = found(f"a: {AMP.replace('0.2 .. 5 V', '200 .. 5 V')}", "x: {kind: speaker, from: a}")
    assert mixed["sensitivity_reversed"].remedy_sets == {"stages.a.sensitivity": "200 mV .. 5 V"}
    desk = (
        "desk: {kind: processor, inputs: {in: head.front}, outputs: {a: {}, b: {low_pass: linkwitz-riley 24 at 3 kHz}}}"
    )
    two = (f"a: {AMP.replace('head.front', 'desk.a')}", f"b: {AMP.replace('head.front', 'desk.b')}")
    assert found(desk, *two, "x: {kind: speaker, from: a, resonance: 80 Hz}", "y: {kind: speaker, from: b}") == {}


def test_remedies_name_only_keys_that_a_stage_has() -> None:
    """A head unit isn't bridged, and a level control has no high-level input."""
    powered = POWERED.replace("OUTPUTS", "a: {}, b: {}")
    tied = found("x: {kind: speaker, from: [head.a, head.b], impedance: 4 ohm}", head=powered)["outputs_tied"]
    assert "bridged" not in tied.remedy
    knob = (
        "k: {kind: level_control, from: head.front}",
        f"a: {AMP.replace('head.front', 'k')}",
        "x: {kind: speaker, from: a}",
    )
    remedy = found(*knob, head=POWERED)["speaker_level_into_line_input"].remedy
    assert "high_level" not in remedy
    assert "attenuator" in remedy


def test_a_head_unit_drives_no_two_ohms_unasked() -> None:
    """Head units' own amplifiers are made for 4 ohm (common practice); less is questioned, and stopped where the job says their minimum."""
    stages = "x: {kind: speaker, from: head.front, impedance: 2 ohm}"
    for head, severity in ((POWERED, "caution"), (POWERED.replace("yes", "yes, minimum_load: 4 ohm"), "blocker")):
        plan = make_plan(chain(stages, head=head))
        finding = {f.code: f for f in plan.findings}["load_below_minimum"]
        assert (finding.severity, finding.where) == (severity, "head")
    allowed = make_plan(chain(stages, head=POWERED.replace("yes", "yes, minimum_load: 2 ohm")))
    assert "load_below_minimum" not in {f.code for f in allowed.findings}


def test_a_boost_that_the_instruments_do_not_reach() -> None:
    """A processor's treble boost clips earliest where the meter doesn't read: the plan plays a tone that a file holds, and says what would show it."""
    desk = "desk: {kind: processor, inputs: {in: head.front}, outputs: {a: {equaliser: [high-shelf +9 dB at 15 kHz q 0.7]}}}"
    plan = make_plan(chain(desk, f"a: {AMP.replace('head.front', 'desk.a')}", "x: {kind: speaker, from: a}"))
    unseen = [s for s in plan.steps if s.phase == "source" and not s.visible]
    assert [s.tone_hz for s in unseen] == [19_800.0]
    finding = next(f for f in plan.findings if f.code == "tone_out_of_band" and f.severity == "caution")
    assert "kind: multimeter" in finding.remedy_sets["instruments.other"]


@pytest.mark.parametrize(("key", "value"), [("thd_limit", "80 %"), ("tones", "{all: 100 kHz}"), ("tones", "0.5 Hz")])
def test_what_no_tone_can_have_is_refused_at_its_place(key: str, value: str) -> None:
    """More distortion than a square wave's, and a tone that no file holds: an error of the job, with line and column."""
    head = HEAD.replace("OUTPUTS", "front: {}")
    with pytest.raises(JobError, match=rf"^t\.yaml:2:[0-9]+: {key}"):
        read_job_text(
            f"format: 1\n{key}: {value}\nstages:\n  {head}\n  a: {AMP}\n  x: {{kind: speaker, from: a}}\n", "t.yaml"
        )


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
