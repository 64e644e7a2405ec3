"""How loud the tones of a job's plan and of its evidence are at the ear, and for how long a day NIOSH recommends each at most."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.app.set_up.hearing import LEAST_S
from gainwright.solve.ear_level import EarLevel, ear_level
from gainwright.solve.hearing_dose import Exposure, HearingDose, hearing_dose
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.model import Entry, Job
    from gainwright.plan import Plan

LOUDEST_DBA = 140.0
"""NIOSH 98-126 recommends no exposure above."""


@dataclass(frozen=True, slots=True)
class JobTone:
    """A tone with speakers connected.

    Attributes
    ----------
    what : the step of the plan or the entry of evidence, in words.
    step : id of the step, empty for an entry.
    seconds_a_day : how long a day NIOSH 98-126 recommends it at most, at its highest level.
    """

    what: str
    ear: EarLevel
    seconds_a_day: float
    step: str = ""


@dataclass(frozen=True, slots=True)
class JobHearing:
    """The tones of a plan and of evidence, and the dose of the latter; None unless somebody said how long they played."""

    planned: tuple[JobTone, ...]
    heard: tuple[JobTone, ...]
    dose: HearingDose | None


def hearing_of_job(job: Job, plan: Plan, entries: Sequence[Entry] = (), *, seconds: float | None = None) -> JobHearing:
    """Return the tones of a plan and of evidence as they are heard.

    Parameters
    ----------
    seconds : how long each tone of the evidence played at most; None where nobody knows.
    """
    from gainwright.diagnose import describe_entry
    from gainwright.plan import labels

    numbers = labels(plan.lines)
    loud = [(step.id, step.ear) for step in plan.steps if step.ear is not None]
    planned = tuple(_tone(say("step {label}", label=numbers.get(name, name)), ear, step=name) for name, ear in loud)
    levels = [(describe_entry(entry, job), _level_of(job, entry)) for entry in entries]
    heard = [(what, ear) for what, ear in levels if ear is not None]
    dose = None
    if seconds is not None:
        dose = hearing_dose(Exposure(ear, min(LEAST_S, seconds), seconds) for _, ear in heard)
    return JobHearing(planned, tuple(_tone(what, ear) for what, ear in heard), dose)


def _tone(what: str, ear: EarLevel, *, step: str = "") -> JobTone:
    from gainwright import physics

    level_dba = min(ear.level_dba_high, LOUDEST_DBA)
    return JobTone(what, ear, float(physics.niosh_permissible_time_s(level_dba=level_dba)), step)


def _level_of(job: Job, entry: Entry) -> EarLevel | None:
    """Return how loud the tone of an entry is by the model of a sound chain; None without a tone or with the speakers off."""
    from gainwright.model.evidence import Played

    if (
        not isinstance(entry, Played)
        or entry.tone_hz is None
        or entry.speakers == "off"
        or getattr(entry, "feed", None)
    ):
        return None
    from gainwright.jobfile import with_settings
    from gainwright.model import Speaker
    from gainwright.solve import Chain, Conditions

    chain = Chain(with_settings(job, entry.set))
    fed = [port for port in chain.wiring.feeds if isinstance(job.stages[port.stage], Speaker)]
    nodes = tuple(dict.fromkeys(feed.node for port in fed for feed in chain.wiring.feeds[port]))
    solved = chain.solve(Conditions(entry.tone_hz, entry.level_dbfs), targets=nodes, margins=False)
    volts: dict[str, float] = {}
    for node in nodes:
        there = float(solved.rms_v[0, solved.index(node)])
        volts[node.stage] = max(there, volts.get(node.stage, 0.0))
    return ear_level(chain, tone_hz=entry.tone_hz, volts=volts)
