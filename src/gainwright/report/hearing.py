"""How loud the set-up can be, and for how long that may be heard: a part of the handover."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright import physics
from gainwright.model import Speaker, the_place
from gainwright.report.paper import Block, Paragraph, Table
from gainwright.solve import sensitivity_level_db, speaker_volts
from gainwright.texts import say, sentence

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.model import Job
    from gainwright.plan import Plan, Target
    from gainwright.solve import Chain

HEARING_LEVELS_DBA = (85, 90, 95, 100, 105, 110, 115)
"""Levels of the table of hearing times."""
LOUDEST_DBA = 140.0
LONGEST_S = 24 * 3600.0


def loudest_db(chain: Chain, targets: Sequence[Target]) -> dict[str, float]:
    """Return speaker -> sound pressure level at 1 m at its amplifier's target, dB, free field."""
    volts, found = {t.stage: t.v_rms for t in targets}, dict[str, float]()
    for name, stage in chain.job.stages.items():
        if isinstance(stage, Speaker) and (across := speaker_volts(chain, name, volts)) > 0:
            level = sensitivity_level_db(chain, name, volts=across)
            found |= {} if level is None else {name: level}
    return found


def tones_hz(chain: Chain, plan: Plan) -> dict[str, float]:
    """Return speaker -> the set-up tone of its amplifier, Hz."""
    tones = {s.stage: s.tone_hz for s in plan.steps if s.phase == "amplifier" and s.tone_hz is not None}
    wiring = chain.wiring
    found: dict[str, float] = {}
    for name, stage in chain.job.stages.items():
        if isinstance(stage, Speaker):
            feeding = {f.node.stage for port in wiring.ports(name) for f in wiring.feeds[port]}
            heard = sorted(feeding & tones.keys())
            if heard:
                found[name] = tones[heard[0]]
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


def hearing_blocks(job: Job, loud: dict[str, float], tones: dict[str, float]) -> list[Block]:
    """Return the table of hearing times, and the level of each speaker at its target: `loudest_db` and `tones_hz`.

    A tone's time follows from its A-weighted level (IEC 61672-1), which is what the rules limit.
    """
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
        rows = tuple(_speaker_row(job, name, spl, tones.get(name)) for name, spl in loud.items())
        columns = (
            say("Speaker"),
            say("Steady tone at its target, 1 m, free field"),
            say("Of it (A)"),
            say("Recommended time"),
        )
        blocks += [
            Paragraph(
                say(
                    "An estimate from sensitivity and target; in a cabin the level is higher. The rules weight low tones less (A-weighting): music as loud as such a tone counts for more, so its time is shorter."
                )
            ),
            Table(columns, rows, right=(1, 2, 3)),
        ]
    return blocks


def _speaker_row(job: Job, name: str, spl: float, tone_hz: float | None) -> tuple[str, str, str, str]:
    """Return a speaker, its level, the same A-weighted, and the time that NIOSH recommends at most, a day being the longest."""
    shown = sentence(the_place(job, name))
    weighted = spl if tone_hz is None else float(physics.a_weighted_level_dba(level_db=spl, frequency_hz=tone_hz))
    seconds = float(physics.niosh_permissible_time_s(level_dba=min(weighted, LOUDEST_DBA)))
    at = f"{spl:.0f} dB" if tone_hz is None else say("{db} dB at {hz} Hz", db=f"{spl:.0f}", hz=f"{tone_hz:g}")
    return shown, at, f"{weighted:.0f} dB", hours_text(min(seconds, LONGEST_S))
