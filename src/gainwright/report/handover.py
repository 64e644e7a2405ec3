"""The handover: what was installed, set and measured, and what was not measured."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from gainwright import physics
from gainwright.diagnose import describe_entry
from gainwright.jobfile import controls
from gainwright.model import Amplifier, HeadUnit, Speaker, stages_of, unit_of
from gainwright.plan import MAKER_FIRST, full_scale_text
from gainwright.report.allowance import allowance_chart, allowances
from gainwright.report.chain_drawing import chain_drawing
from gainwright.report.clean_steps import volume_blocks
from gainwright.report.corridor import corridor_chart
from gainwright.report.figures import rounded, volts
from gainwright.report.handover_data import HandoverData, ReachedTarget, RecordingVerdict
from gainwright.report.music import music_blocks
from gainwright.report.paper import BlankLines, Block, BulletList, Figure, Heading, Paper, Paragraph, Table, subtitle
from gainwright.report.reached import reached_voltages
from gainwright.report.recording_charts import spectrum_chart, waveform_chart
from gainwright.report.text import SET_BY
from gainwright.solve import Chain, levels, noise_v
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.metering import Channel, Knee, Pictures
    from gainwright.model import Entry, Job
    from gainwright.plan import Plan, Target
    from gainwright.programme.music_result import MusicResult
    from gainwright.report.charts import Chart
    from gainwright.report.clean_steps import FoundVolume

HEARING_LEVELS_DBA = (85, 90, 95, 100, 105, 110, 115)
"""Levels of the table of hearing times."""
LOUDEST_DBA = 140.0
NO_SIGNAL = 1e-3
"""Below this share of its target an output has noise, no tone: 60 dB (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A recording of the handover: its name, the result of one channel, and its pictures."""

    name: str
    channel: Channel
    pictures: Pictures


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
) -> Paper:
    """Return the handover of a job.

    Parameters
    ----------
    entries : the final readings.
    measured, knee : recordings, and the clean limit as measured step by step, if any.
    curves : charts of measurements, such as knee and responses.
    music : the allowance for the customer's music.
    volumes : the highest clean volumes that were found in the set-up.
    """
    reached, chain = reached_voltages(job, plan, entries), Chain(job)
    missing = _missing(job, plan, reached, measured, entries, volume_known=knee is not None or bool(volumes))
    loud = _loudest(chain, plan.targets)
    drawing = chain_drawing(job, title=say("The chain"))
    blocks: list[Block] = [Heading(say("What is installed")), Figure(drawing, drawing.description), _installed(job)]
    blocks += [Heading(say("Control settings")), _controls(job)]
    blocks += [Heading(say("Volume")), *volume_blocks(job, plan, knee, volumes)]
    blocks += [Heading(say("Targets and voltages reached")), _targets(plan, reached)]
    blocks += [Heading(say("Allowance")), *_allowance(job, plan), *(music_blocks(music) if music else ())]
    blocks += _corridors(chain, plan)
    blocks += _measured(measured)
    blocks += [Heading(say("Measured curves")), *(Figure(c, c.description) for c in curves)] if curves else []
    blocks += [Heading(say("Noise")), _noise(chain)]
    blocks += [Heading(say("Hearing")), *_hearing(loud)]
    blocks += [Heading(say("Readings")), *_read(entries)]
    blocks += [Heading(say("Not measured")), BulletList(missing)]
    blocks += [Paragraph(MAKER_FIRST), BlankLines((say("Handed over by"), say("To"), say("Date")))]
    data = _data(job, plan, reached, entries, measured, knee, loudest_db=loud, music=music, volumes=volumes)
    data = replace(data, not_measured=missing)
    return Paper(
        "handover",
        job.title or say("Handover"),
        subtitle(job.customer, job.vehicle.description, date),
        tuple(blocks),
        data,
        date,
    )


def _installed(job: Job) -> Table:
    rows = []
    for name, stage in job.stages.items():
        facts = []
        if isinstance(stage, HeadUnit):
            links = dict.fromkeys(o.digital for o in stage.outputs.values() if o.digital)
            facts += [say("digital, {link}", link=link) for link in links]
        if isinstance(stage, HeadUnit) and stage.rated_output is not None:
            facts.append(say("rated output {volts}", volts=stage.rated_output))
        if isinstance(stage, Amplifier):
            facts += [", ".join(r.text for r in stage.power), *_of_amplifier(stage)]
        if isinstance(stage, Speaker):
            facts += [say("{count} in {wiring}", count=stage.count, wiring=stage.wiring)] if stage.count > 1 else []
            facts += [str(stage.impedance)] if stage.impedance is not None else []
            facts += [stage.coils.text] if stage.coils is not None else []
            facts += [say("rated {power}", power=stage.power)] if stage.power is not None else []
        rows.append((name, say(stage.kind.replace("_", " ")), joined(facts)))
    return Table((say("Name"), say("Kind"), say("Data")), tuple(rows))


def _of_amplifier(stage: Amplifier) -> list[str]:
    """Return what only some amplifiers have."""
    found = [say("in chassis {chassis}", chassis=stage.chassis)] if stage.chassis is not None else []
    found += [say("gain fixed")] if stage.gain.fixed else []
    found += [say("strapped to {stage}", stage=stage.strapped_to)] if stage.strapped_to is not None else []
    return found + ([say("supply {volts}", volts=stage.supply.running)] if stage.supply.running is not None else [])


def _controls(job: Job) -> Table:
    found, seen = [], set[str]()
    for control, place in controls(job).items():
        plain = control.replace(".out.", ".").removesuffix(".at") + (".level" if control.endswith(".at") else "")
        if place and plain not in seen and place not in ("flat", "False", "normal"):
            seen.add(plain)
            found.append((plain, place.removesuffix(".0")))
    return Table((say("Control"), say("Setting")), tuple(found))


def _targets(plan: Plan, reached: dict[str, tuple[float, float]]) -> Table:
    rows = []
    for t in plan.targets:
        value = reached.get(t.stage)
        got = say("not read") if value is None else f"{rounded(*value)} V"
        off = "" if value is None else _deviation(value[0] / t.v_rms)
        rows.append((t.stage, volts(t.v_rms), say(SET_BY[t.set_by]), got, off))
    columns = (say("Amplifier"), say("Target"), say("Set by"), say("Reached"), say("Deviation"))
    return Table(columns, tuple(rows), right=(1, 3, 4))


def _deviation(ratio: float) -> str:
    if ratio < NO_SIGNAL:
        return say("no signal")
    return f"{round(20 * math.log10(ratio), 1) + 0.0:+.1f} dB"  # + 0.0: no minus before 0.0


def _allowance(job: Job, plan: Plan) -> list[Block]:
    rows = tuple((name, f"{db:g} dB") for name, db in allowances(job).items())
    chart = allowance_chart(job, title=say("Allowance"))
    text = say(
        "The set-up tone is this far below full scale. Recordings quieter than full scale still reach full output; "
        "the loudest passages of loud recordings clip at the highest clean volume, as far as is said here."
    )
    table = Table((say("Output"), say("Below full scale")), rows, right=(1,))
    then = [Paragraph(found) for found in map(full_scale_text, plan.full_scale) if found]
    return [Paragraph(text), table, *then, Figure(chart, chart.description)]


def _corridors(chain: Chain, plan: Plan) -> list[Block]:
    tones = dict.fromkeys(
        (s.tone_hz, s.level_dbfs)
        for s in plan.steps
        if s.phase == "amplifier" and s.tone_hz and s.level_dbfs is not None
    )
    blocks: list[Block] = []
    for tone_hz, level_dbfs in tones:
        assert tone_hz is not None  # noqa: S101  those without a tone were left out
        assert level_dbfs is not None  # noqa: S101  the same
        chart = corridor_chart(levels(chain, tone_hz=tone_hz, level_dbfs=level_dbfs), title=say("Corridor"))
        blocks.append(Figure(chart, chart.description))
    return [Heading(say("Between floor and ceiling")), *blocks] if blocks else []


def _measured(measured: Sequence[Measured]) -> list[Block]:
    blocks: list[Block] = []
    for m in measured:
        wave, spectrum = waveform_chart(m.pictures, title=m.name), spectrum_chart(m.pictures, title=m.name)
        rows = [(say("verdict"), say(m.channel.verdict.replace("_", " ")))]
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


def _noise(chain: Chain) -> Table:
    floor = noise_v(chain)
    rows = tuple(
        (str(node), volts(float(v)))
        for node, v in zip(chain.nodes, floor, strict=True)
        if isinstance(chain.job.stages[node.stage], Amplifier)
    )
    return Table((say("Output"), say("Modelled noise, 20 Hz to 20 kHz")), rows, right=(1,))


def _loudest(chain: Chain, targets: Sequence[Target]) -> dict[str, float]:
    """Return speaker -> sound pressure level at 1 m at its amplifier's target, dB, free field."""
    wiring, nominal = chain.wiring, chain.nominal()
    found = {}
    for name, stage in chain.job.stages.items():
        if isinstance(stage, Speaker) and stage.sensitivity is not None and stage.sensitivity.level.known:
            feeding = {f.node.stage for port in wiring.ports(name) for f in wiring.feeds[port]}
            for t in targets:
                if t.stage in feeding:
                    spl = physics.speaker_spl(
                        sensitivity_db=stage.sensitivity.level.nominal,
                        reference="1 W" if stage.sensitivity.per_watt else "2.83 V",
                        voltage_v=t.v_rms,
                        impedance_ohm=nominal[f"{name}.impedance"],
                        distance_m=1.0,
                    )
                    found[name] = float(spl)
    return found


def hours_text(seconds: float) -> str:
    """Return a time in hours, minutes or seconds."""
    if seconds >= 3600:
        return f"{seconds / 3600:.3g} h"
    return f"{seconds / 60:.2g} min" if seconds >= 60 else f"{seconds:.2g} s"


def hearing_rows() -> tuple[tuple[str, str, str], ...]:
    """Return rows of level and permissible daily exposure (NIOSH 98-126; 29 CFR 1910.95 Table G-16)."""
    rows = []
    for level in HEARING_LEVELS_DBA:
        niosh = float(physics.niosh_permissible_time_s(level_dba=level))
        osha = float(physics.osha_permissible_time_s(level_dba=level))
        rows.append((f"{level} dB", hours_text(niosh), hours_text(osha) if level >= 90 else "-"))
    return tuple(rows)


def _hearing(loud: dict[str, float]) -> list[Block]:
    text = say(
        "The longest exposure a day at each level. The workplace rule protects less than the recommendation. "
        "Music at full volume is far above all of these levels."
    )
    blocks: list[Block] = [
        Paragraph(text, strong=True),
        Table(
            (say("Level (A)"), say("Recommended (NIOSH 98-126)"), say("Workplace rule (29 CFR 1910.95)")),
            hearing_rows(),
            right=(0, 1, 2),
        ),
    ]
    if loud:
        rows = tuple(
            (
                name,
                f"{spl:.0f} dB",
                hours_text(float(physics.niosh_permissible_time_s(level_dba=min(spl, LOUDEST_DBA)))),
            )
            for name, spl in loud.items()
        )
        columns = (say("Speaker"), say("Steady tone at its target, 1 m, free field"), say("Recommended time"))
        blocks += [
            Paragraph(say("An estimate from sensitivity and target; in a cabin the level is higher.")),
            Table(columns, rows, right=(1, 2)),
        ]
    return blocks


def _read(entries: Sequence[Entry]) -> list[Block]:
    if not entries:
        return [Paragraph(say("No readings are included."))]
    return [
        Table((say("No."), say("Reading")), tuple((str(i), describe_entry(e)) for i, e in enumerate(entries, start=1)))
    ]


def _missing(
    job: Job,
    plan: Plan,
    reached: dict[str, tuple[float, float]],
    measured: Sequence[Measured],
    entries: Sequence[Entry],
    *,
    volume_known: bool,
) -> tuple[str, ...]:
    missing: list[str] = [
        say("The voltage of {stage} at its target.", stage=t.stage) for t in plan.targets if t.stage not in reached
    ]
    if not volume_known:
        missing.append(say("The source's clean limit, step by step."))
    if not measured:
        missing.append(say("Distortion: no recording is included."))
    checked = {e.check for e in entries if hasattr(e, "check")}
    missing += [say("The supply of {stage}.", stage=unit) for unit in _unchecked_supplies(job, checked)]
    missing.append(say("Sound pressure in the cabin, and the audible noise there."))
    return tuple(missing)


def _unchecked_supplies(job: Job, checked: set[str]) -> list[str]:
    """Return the amplifiers, or the chassis they share, whose supply wasn't read under either name."""
    units = dict.fromkeys(unit_of(job, n) for n, s in job.stages.items() if isinstance(s, Amplifier))
    return [u for u in units if not any(f"{name}.supply_voltage" in checked for name in (u, *stages_of(job, u)))]


def _data(
    job: Job,
    plan: Plan,
    reached: dict[str, tuple[float, float]],
    entries: Sequence[Entry],
    measured: Sequence[Measured],
    knee: Knee | None,
    *,
    loudest_db: dict[str, float],
    music: MusicResult | None,
    volumes: Sequence[FoundVolume],
) -> HandoverData:
    unread = (None, None)
    measured_step = None if knee is None else knee.last_clean_step
    return HandoverData(
        job.customer,
        job.vehicle.description,
        {name: stage.kind for name, stage in job.stages.items()},
        controls(job),
        tuple(ReachedTarget(t.stage, t.v_rms, t.set_by, *reached.get(t.stage, unread)) for t in plan.targets),
        allowances(job),
        tuple(describe_entry(e) for e in entries),
        tuple(RecordingVerdict(m.name, m.channel.verdict, m.channel.thd_percent) for m in measured),
        min((v.step for v in volumes), default=measured_step),
        loudest_db,
        music.recommended_db if music else {},
    )
