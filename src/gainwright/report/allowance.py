"""The allowance of each output as a chart: from the tone it is set with to full scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.model import ALLOWANCE_DB, resolve, stage_title
from gainwright.texts import Text, joined, say, sentence

if TYPE_CHECKING:
    from gainwright.model import Job


@dataclass(frozen=True, slots=True)
class AllowanceChart:
    """One bar per output: its name, and the level of its set-up tone, dBFS, from which the bar runs to full scale."""

    title: str
    subtitle: str
    bars: tuple[tuple[str, float, str], ...]
    description: str


def allowances(job: Job) -> dict[str, float]:
    """Return output -> allowance, dB; `all` where one figure holds for all, `the others` where the job says some."""
    found = {name: abs(value.nominal) for name, value in job.allowance.items() if value.known}
    named = {say("all") if name == "all" else name: db for name, db in found.items()}
    if all(path.says_allowance(job) for path in resolve(job).paths):
        return named
    return named | {say("the others") if named else say("all"): ALLOWANCE_DB}


def allowance_chart(job: Job, *, title: str) -> AllowanceChart:
    """Return the chart of a job's allowances."""
    found = allowances(job)
    bars = tuple((_title(job, name), -db, say("{db} dB", db=f"{db:g}")) for name, db in found.items())
    listed = joined([say("{place}: {words}", place=name, words=words) for name, _, words in bars], by="{a}; {b}")
    subtitle = say("From the set-up tone to full scale.")
    return AllowanceChart(title, subtitle, bars, say("{place}: {words}", place=title, words=listed))


def _title(job: Job, name: str) -> str:
    return name if isinstance(name, Text) else stage_title(job, name)


def allowance_rows(job: Job) -> tuple[tuple[str, str], ...]:
    """Return rows of a table: each output in words, and how far its set-up tone is below full scale."""
    return tuple((sentence(_title(job, name)), f"{db:g} dB") for name, db in allowances(job).items())
