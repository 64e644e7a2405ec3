"""The handover: what was installed, set and measured, and what was not measured."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from gainwright.diagnose import describe_entry, entry_row
from gainwright.jobfile import controls
from gainwright.model import Amplifier, place_words, stages_of, the_place, unit_of
from gainwright.plan import MAKER_FIRST, full_scale_text
from gainwright.report.allowance import allowance_chart, allowance_rows, allowances
from gainwright.report.chain_drawing import chain_drawing
from gainwright.report.clean_steps import volume_blocks
from gainwright.report.closing import closure_words
from gainwright.report.corridor import corridor_chart
from gainwright.report.figures import rounded, volts
from gainwright.report.handover_data import HandoverData, ReachedTarget, RecordingVerdict
from gainwright.report.hearing import hearing_blocks, loudest_db, tones_hz
from gainwright.report.installed import control_settings, installed
from gainwright.report.music import music_blocks
from gainwright.report.paper import BlankLines, Block, BulletList, Figure, Heading, Paper, Paragraph, Table, subtitle
from gainwright.report.processing import processing_words
from gainwright.report.reached import ReachedOutput, reached_outputs
from gainwright.report.recording_charts import spectrum_chart, waveform_chart
from gainwright.report.text import SET_BY
from gainwright.solve import Chain, levels, noise_v
from gainwright.texts import say, sentence

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.metering import Channel, Knee, Pictures
    from gainwright.model import Entry, Job
    from gainwright.model.case import Closure
    from gainwright.plan import Plan, Target
    from gainwright.programme.music_result import MusicResult
    from gainwright.report.charts import Chart
    from gainwright.report.clean_steps import FoundVolume


NO_SIGNAL = 1e-3
"""Below this share of its target an output has noise, no tone: 60 dB (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A recording of the handover: its name, the result of one channel, its pictures, and what was done to it, so that levels aren't reliable."""

    name: str
    channel: Channel
    pictures: Pictures
    processing: tuple[str, ...] = ()


def handover(
    job: Job,
    plan: Plan,
    *,
    entries: Sequence[Entry] = (),
    measured: Sequence[Measured] = (),
    knee: Knee | None = None,
    curves: Sequence[Chart] = (),
    date: str = "",
    music: MusicResult | None = None,
    volumes: Sequence[FoundVolume] = (),
    closed: Closure | None = None,
) -> Paper:
    """Return the handover of a job.

    Parameters
    ----------
    entries : the final readings.
    measured, knee : recordings, and the clean limit as measured step by step, if any.
    curves : charts of measurements, such as knee and responses.
    music : the allowance for the customer's music.
    volumes : the highest clean volumes that were found in the set-up.
    closed : the fault that was found, if there was one.
    """
    reached, chain = reached_outputs(job, plan, entries), Chain(job)
    loud = loudest_db(chain, plan.targets)
    drawing = chain_drawing(job, title=say("The chain"))
    blocks: list[Block] = [Heading(say("Volume")), *volume_blocks(job, plan, knee, volumes), *_at_full_scale(plan)]
    blocks += [Heading(say("Where each control stands")), control_settings(job)]
    blocks += [Heading(say("Targets and voltages reached")), _targets(job, plan, reached)] if plan.targets else []
    blocks += [Heading(say("What was found")), *_closed(job, closed), *_read(job, entries)]
    volume_known = knee is not None or bool(volumes)
    missing = _missing(job, plan, reached, measured, entries, volume_known=volume_known)
    blocks += [Heading(say("Not measured")), BulletList(missing)]
    blocks += [Heading(say("What is installed")), Figure(drawing, drawing.description), installed(job)]
    blocks += [Heading(say("Allowance")), *_allowance(job), *(music_blocks(music) if music else ())]
    blocks += _corridors(chain, plan)
    blocks += _measured(measured)
    blocks += [Heading(say("Measured curves")), *(Figure(c, c.description) for c in curves)] if curves else []
    blocks += _noise(chain)
    blocks += [Heading(say("Hearing")), *hearing_blocks(job, loud, tones_hz(chain, plan))]
    blocks += [Paragraph(MAKER_FIRST), BlankLines((say("Handed over by"), say("To"), say("Date")))]
    data = _data(job, plan, reached, entries, measured, knee, loudest_db=loud, music=music, volumes=volumes)
    data = replace(data, not_measured=missing)
    return Paper(
        "handover",
        job.title or say("Handover"),
        subtitle(say("Handover") if job.title else "", job.customer, job.vehicle.description, date),
        tuple(blocks),
        data,
        date,
    )


def _targets(job: Job, plan: Plan, reached: dict[str, tuple[ReachedOutput, ...]]) -> Table:
    rows = []
    for t in plan.targets:
        outputs = reached.get(t.stage, ())
        if not outputs:
            rows.append((sentence(t.where_text or t.stage), volts(t.v_rms), say(SET_BY[t.set_by]), say("not read"), ""))
        for one in outputs:
            where = sentence(the_place(job, one.at) if len(outputs) > 1 else t.where_text or t.stage)
            set_by = say(SET_BY[t.set_by])
            if one.expected_v != t.v_rms:
                set_by = say("expected at {hz} Hz with the filters back", hz=f"{one.tone_hz:g}")
            got = f"{rounded(one.reached_v, one.reached_half_v)} V"
            rows.append((where, volts(one.expected_v), set_by, got, _deviation(one.reached_v / one.expected_v)))
    columns = (say("Amplifier"), say("Target"), say("Set by"), say("Reached"), say("Deviation"))
    return Table(columns, tuple(rows), right=(1, 3, 4))


def _deviation(ratio: float) -> str:
    if ratio < NO_SIGNAL:
        return say("no signal")
    return f"{round(20 * math.log10(ratio), 1) + 0.0:+.1f} dB"  # + 0.0: no minus before 0.0


def _allowance(job: Job) -> list[Block]:
    rows = allowance_rows(job)
    chart = allowance_chart(job, title=say("Allowance"))
    text = say(
        "The set-up tone is this far below full scale. Recordings quieter than full scale still reach full output; "
        "the loudest passages of loud recordings clip at the highest clean volume, as far as is said here."
    )
    table = Table((say("Output"), say("Below full scale")), rows, right=(1,))
    return [Paragraph(text), table, Figure(chart, chart.description)]


def _at_full_scale(plan: Plan) -> list[Block]:
    return [Paragraph(found) for found in map(full_scale_text, plan.full_scale) if found]


def _corridors(chain: Chain, plan: Plan) -> list[Block]:
    """Return the corridor of each set-up tone, with the paths that are set up with it."""
    ends: dict[tuple[float, float], set[str]] = {}
    for s in plan.steps:
        if s.phase == "amplifier" and s.tone_hz and s.level_dbfs is not None:
            ends.setdefault((s.tone_hz, s.level_dbfs), set()).add(s.stage)
    blocks: list[Block] = []
    for (tone_hz, level_dbfs), stages in ends.items():
        found = levels(chain, tone_hz=tone_hz, level_dbfs=level_dbfs)
        paths = tuple(p for p in found.paths if stages.intersection(n.node.split(".")[0] for n in p.nodes))
        chart = corridor_chart(replace(found, paths=paths), chain.job, title=say("Corridor"))
        blocks.append(Figure(chart, chart.description))
    return [Heading(say("Between floor and ceiling")), *blocks] if blocks else []


def _measured(measured: Sequence[Measured]) -> list[Block]:
    blocks: list[Block] = []
    for m in measured:
        wave, spectrum = waveform_chart(m.pictures, title=m.name), spectrum_chart(m.pictures, title=m.name)
        rows = [(say("verdict"), say(m.channel.verdict.replace("_", " ")))]
        why = m.channel.why_not.get("verdict") or m.channel.why_not.get("frequency_hz")
        rows += [(say("why"), why)] if why else []
        if m.processing:
            rows.append((say("levels"), say("unreliable: {processing} on", processing=processing_words(m.processing))))
        for name, value, unit in (
            (say("frequency"), m.channel.frequency_hz, "Hz"),
            (say("level"), m.channel.rms_dbfs, "dBFS"),
            (say("THD"), m.channel.thd_percent, "%"),
            (say("noise"), m.channel.noise_dbfs, "dBFS"),
        ):
            rows += [(name, f"{value:.4g} {unit}")] if value is not None else []
        blocks += [Table((m.name, ""), tuple(rows), right=(1,))]
        blocks += [Figure(wave, wave.description), Figure(spectrum, spectrum.description)]
    return [Heading(say("Recordings")), *blocks] if blocks else []


def _noise(chain: Chain) -> list[Block]:
    floor = noise_v(chain)
    rows = tuple(
        (sentence(place_words(chain.job, str(node))), volts(float(v)))
        for node, v in zip(chain.nodes, floor, strict=True)
        if isinstance(chain.job.stages[node.stage], Amplifier)
    )
    if not rows:
        return []
    columns = (say("Read at"), say("Modelled noise, 20 Hz to 20 kHz"))
    return [Heading(say("Noise")), Table(columns, rows, right=(1,))]


def _closed(job: Job, closed: Closure | None) -> list[Block]:
    """Return the fault that was found, what was wrong and what mends it."""
    if closed is None:
        return []
    ended = closure_words(closed, job)
    found = say("A fault was found: {fault}", fault=ended.name)
    head = found if closed.outcome in ("found", "two_faults") else sentence(ended.name)
    return [Paragraph(head, strong=True), *(Paragraph(text) for text in (ended.says, closed.note) if text)]


def _read(job: Job, entries: Sequence[Entry]) -> list[Block]:
    if not entries:
        return [Paragraph(say("No readings are included."))]
    rows = tuple((str(i), *entry_row(e, job)) for i, e in enumerate(entries, start=1))
    return [Table((say("No."), say("Where"), say("Found"), say("Played")), rows)]


def _missing(
    job: Job,
    plan: Plan,
    reached: dict[str, tuple[ReachedOutput, ...]],
    measured: Sequence[Measured],
    entries: Sequence[Entry],
    *,
    volume_known: bool,
) -> tuple[str, ...]:
    missing: list[str] = [
        say("The voltage of {stage} at its target.", stage=the_place(job, t.stage))
        for t in plan.targets
        if not any(one.at_target for one in reached.get(t.stage, ()))
    ]
    if not volume_known:
        missing.append(say("The source's clean limit, step by step."))
    if not measured:
        missing.append(say("Distortion: no recording is included."))
    checked = {e.check for e in entries if hasattr(e, "check")}
    missing += [say("The supply of {stage}.", stage=the_place(job, unit)) for unit in _unchecked_supplies(job, checked)]
    missing.append(say("Sound pressure in the cabin, and the audible noise there."))
    return tuple(missing)


def _unchecked_supplies(job: Job, checked: set[str]) -> list[str]:
    """Return the amplifiers, or the chassis they share, whose supply wasn't read under either name."""
    units = dict.fromkeys(unit_of(job, n) for n, s in job.stages.items() if isinstance(s, Amplifier))
    return [u for u in units if not any(f"{name}.supply_voltage" in checked for name in (u, *stages_of(job, u)))]


def _data(
    job: Job,
    plan: Plan,
    reached: dict[str, tuple[ReachedOutput, ...]],
    entries: Sequence[Entry],
    measured: Sequence[Measured],
    knee: Knee | None,
    *,
    loudest_db: dict[str, float],
    music: MusicResult | None,
    volumes: Sequence[FoundVolume],
) -> HandoverData:
    measured_step = None if knee is None else knee.last_clean_step
    return HandoverData(
        job.customer,
        job.vehicle.description,
        {name: stage.kind for name, stage in job.stages.items()},
        controls(job),
        tuple(_reached(t, reached.get(t.stage, ())) for t in plan.targets),
        allowances(job),
        tuple(describe_entry(e, job) for e in entries),
        tuple(RecordingVerdict(m.name, m.channel.verdict, m.channel.thd_percent, m.processing) for m in measured),
        min((v.step for v in volumes), default=measured_step),
        loudest_db,
        music.recommended_db if music else {},
    )


def _reached(target: Target, outputs: tuple[ReachedOutput, ...]) -> ReachedTarget:
    at_target = next((one for one in outputs if one.at_target), None)
    volts_read, half = (None, None) if at_target is None else (at_target.reached_v, at_target.reached_half_v)
    return ReachedTarget(target.stage, target.v_rms, target.set_by, volts_read, half, outputs)
