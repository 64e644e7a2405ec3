"""The whole job on a shipped example, end to end: planned, drawn, tones written and read back, recordings measured."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any

from gainwright.app.set_up.bench_run import run_on_bench
from gainwright.app.tones import plan_tones
from gainwright.metering.measurement import Channel, Verdict
from gainwright.plan.result import Plan, Step
from gainwright.results import to_json

if TYPE_CHECKING:
    from gainwright.app.ports import Bench, Benches, Charts

EXAMPLE = "two_way_and_sub"
SEED = 7
TONE_SECONDS = 5.0
RECORD_SECONDS = 3.0
OVERDRIVE = 1.35
"""How much further the gain is turned for the overdriven recording, as a ratio of its setting."""


@dataclass(frozen=True, slots=True)
class DemoTone:
    """A tone that was written and read back: the error of its level, and the verdict."""

    file: str
    what: str
    level_error_db: float
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class DemoStep:
    """An amplifier as it was set: volts read, the expected interval, the setting of its gain."""

    stage: str
    reads_v: float
    low: float
    high: float
    gain: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoRecording(Channel):
    """The measurement of a recording, its file and what was recorded."""

    file: str
    what: str


@dataclass(slots=True)
class Demo:
    """The results of the demo."""

    folder: str
    plan: Plan
    corridor: list[str] = field(default_factory=list)
    tones: list[DemoTone] = field(default_factory=list)
    recordings: list[DemoRecording] = field(default_factory=list)
    set_up: list[DemoStep] = field(default_factory=list)
    recorded_with: str = ""

    def text(self) -> str:
        """Return one screen of text."""
        from gainwright.report.figures import volts

        plan = self.plan
        lines = [plan.title, "", f"Planned: {len(plan.steps)} steps, {len(plan.findings)} findings. Targets:"]
        lines += [f"  {t.stage:<10} {volts(t.v_rms):>8}  set by {t.set_by}" for t in plan.targets]
        lines += ["", "The corridor before setting:", *(f"  {line}" for line in self.corridor)]
        worst = max((abs(t.level_error_db) for t in self.tones), default=0.0)
        lines += ["", f"Signals: {len(self.tones)} tones written and read back, levels within {worst:.4f} dB."]
        lines += ["", "The plan carried out on a simulated rig (hidden true values drawn from the job's spreads):"]
        for step in self.set_up:
            fits = "as expected" if step.low <= step.reads_v <= step.high else "not as expected"
            expected = f"{volts(step.low)} to {volts(step.high)}"
            lines.append(f"  {step.stage:<10} reads {volts(step.reads_v):>8}, expected {expected}: {fits}")
        lines += ["", "Its amplifier recorded:", f"  ({self.recorded_with})"]
        for r in self.recordings:
            depth = "" if r.clip_depth_db is None else f", {r.clip_depth_db:.1f} dB over its ceiling"
            lines.append(f"  {r.what:<44} {r.verdict}: {volts(r.v_rms or 0)}, THD {r.thd_percent or 0:.2f} %{depth}")
        lines += [
            "",
            f"All results are in {self.folder}: job.yaml, plan.txt, plan.json, corridor.svg and .png, tones, recordings.",
        ]
        return "\n".join(lines)


def demo(folder: str, *, charts: Charts, benches: Benches) -> tuple[Demo, dict[str, bytes]]:
    """Run the demo; return its results and its files by path within `folder`, which the text names."""
    from gainwright.jobfile import example_text, read_job_text
    from gainwright.plan import make_plan
    from gainwright.report.corridor import corridor_chart
    from gainwright.report.text import plan_text
    from gainwright.solve import Chain, levels

    text = example_text(EXAMPLE)
    job = read_job_text(text, EXAMPLE).job
    plan = make_plan(job)
    result = Demo(folder, plan)
    files = {
        "job.yaml": text.encode(),
        "plan.txt": (plan_text(plan) + "\n").encode(),
        "plan.json": json.dumps(to_json(plan), ensure_ascii=False, indent=1).encode(),
    }
    _, tone_hz, level_dbfs = _amplifier_step(plan)
    corridor = levels(Chain(job), tone_hz=tone_hz, level_dbfs=level_dbfs)
    chart = corridor_chart(corridor, job, title=job.title)
    files |= {f"corridor{suffix}": charts.render(chart, suffix) for suffix in (".svg", ".png")}
    result.corridor = chart.description.split("; ")
    result.tones = _tones(plan, files, title=job.title)
    bench = benches.simulated(job, seed=SEED)
    _set_up(result, bench, job)
    result.recordings = _recordings(result, bench, files)
    files["recordings/verdicts.json"] = json.dumps(to_json(result.recordings), indent=1).encode()
    return result, files


def _amplifier_step(plan: Plan) -> tuple[Step, float, float]:
    """Return the first step that sets an amplifier with a tone, the tone, Hz, and its level, dBFS."""
    for step in plan.steps:
        if step.phase == "amplifier" and step.tone_hz is not None and step.level_dbfs is not None:
            return step, step.tone_hz, step.level_dbfs
    raise ValueError("the plan sets no amplifier with a tone")


def _tones(plan: Plan, files: dict[str, bytes], *, title: str) -> list[DemoTone]:
    """Write the tones, and measure each steady one."""
    from gainwright.metering import measure, read_recording_bytes
    from gainwright.signals import number_tones, set_files

    entries = number_tones(plan_tones(plan, seconds=TONE_SECONDS, rate_hz=44_100, bits=24))
    contents = dict(set_files(entries, title=title))
    files |= {f"tones/{name}": content for name, content in contents.items()}
    written = []
    for entry in entries:
        if len(entry.tone.levels_dbfs) > 1:
            continue
        channel = measure(read_recording_bytes(contents[entry.file], name=entry.file)).channels[0]
        error_db = (channel.fundamental_dbfs or 0.0) - entry.tone.levels_dbfs[0]
        written.append(DemoTone(entry.file, entry.what, error_db, channel.verdict))
    return written


def _set_up(found: Demo, bench: Bench, job: Any) -> None:
    from gainwright.jobfile import instruments

    outcome = run_on_bench(found.plan, job, bench, instruments(job))
    for step in found.plan.steps:
        if step.phase == "amplifier" and step.expect is not None:
            reads = outcome.readings[step.id]
            gain = outcome.places[f"{step.stage}.gain"]
            found.set_up.append(DemoStep(step.stage, reads, step.expect.low, step.expect.high, gain))


def _recordings(found: Demo, bench: Bench, files: dict[str, bytes]) -> list[DemoRecording]:
    """Record the first amplifier as it was set, and with its gain turned too far."""
    from gainwright.jobfile import example_text, instruments, read_job_text
    from gainwright.metering import measure, read_recording_bytes
    from gainwright.model import Recorder
    from gainwright.solve import recorder_full_scale_v

    job = read_job_text(example_text(EXAMPLE)).job
    name, recorder = next((n, i) for n, i in instruments(job).items() if isinstance(i, Recorder))
    step, tone_hz, level_dbfs = _amplifier_step(found.plan)
    place = next(s.gain for s in found.set_up if s.stage == step.stage)
    bench.disconnect(step.speakers_off)
    bench.play(tone_hz, level_dbfs)
    found.recorded_with = (
        f"{name} through its divider of {abs(recorder.attenuator.nominal):g} dB, which gainwright attenuator designs; no ground"
        if recorder.attenuator is not None
        else name
    )
    results = []
    for what, gain in (("as set, crossovers back", place), ("gain turned too far", min(1.0, place * OVERDRIVE + 0.05))):
        bench.turn(f"{step.stage}.gain", gain)
        file = f"{step.stage}_{what.replace(', ', '_').replace(' ', '_')}.wav"
        content = files[f"recordings/{file}"] = bench.record(step.measure_at, name, RECORD_SECONDS)
        recording = read_recording_bytes(content, name=file)
        channel = measure(recording, calibrate_v=recorder_full_scale_v(recorder)).channels[0]
        held = {f.name: getattr(channel, f.name) for f in fields(channel)}
        results.append(DemoRecording(**held, file=file, what=f"{step.measure_at}, {what}"))
    bench.turn(f"{step.stage}.gain", place)
    return results
