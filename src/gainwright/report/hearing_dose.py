"""A day's hearing dose in words: rows for a job and for the day, the verdict, and what isn't known; the same on page, paper and terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright import physics
from gainwright.model import the_place
from gainwright.report.figures import wrapped
from gainwright.report.paper import Block, Paragraph, Table
from gainwright.solve.hearing_dose import DayHearing
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.model import Job
    from gainwright.solve.hearing_dose import HearingDose

WHOLE_PERCENT = 100.0


def dose_rows(hearing: DayHearing) -> tuple[tuple[str, str, str], ...]:
    """Return rows of a name, the job's figure and that of all jobs of the day."""
    both = (hearing.of_job, hearing.of_day)
    made = (
        (say("Tones heard"), [f"{dose.tones}" for dose in both]),
        (say("Time"), [_span(_seconds(d.seconds_low), _seconds(d.seconds_high)) for d in both]),
        (
            say("Of the recommended day (NIOSH 98-126)"),
            [_span(_percent(d.niosh_percent_low, up=False), _percent(d.niosh_percent_high, up=True)) for d in both],
        ),
        (say("Daily exposure level (2003/10/EC)"), [_exposure(dose) for dose in both]),
        (say("Highest peak (2003/10/EC)"), [_peak(dose) for dose in both]),
    )
    return tuple((name, job, day) for name, (job, day) in made)


def _span(low: str, high: str) -> str:
    """Return two ends as one text, the unit once: `0 to 0.17 %`."""
    if low == high:
        return high
    number, _, unit = low.rpartition(" ")
    return say("{low} to {high}", low=number if high.endswith(f" {unit}") else low, high=high)


def _seconds(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 100 else f"{seconds / 60:.0f} min"


def _percent(percent: float, *, up: bool) -> str:
    """Return a share with two figures, rounded away from comfort: the lower end down, the upper end up."""
    if percent <= 0:
        return "0 %"
    if percent < 0.01:
        return "0.01 %" if up else "0 %"
    step = 10 ** (math.floor(math.log10(percent)) - 1)
    return f"{(math.ceil if up else math.floor)(round(percent / step, 6)) * step:.5g} %"


def _exposure(dose: HearingDose) -> str:
    if dose.exposure_dba_high is None:
        return "–"
    high = f"{math.ceil(dose.exposure_dba_high)}"
    if dose.exposure_dba_low is None:
        return say("at most {high} dB(A)", high=high)
    low = math.floor(dose.exposure_dba_low)
    if low < 0:
        return say("under 0 to {high} dB(A)", high=high)
    return say("{low} to {high} dB(A)", low=f"{low}", high=high)


def _peak(dose: HearingDose) -> str:
    return "–" if dose.peak_dbc_high is None else say("at most {high} dB(C)", high=f"{math.ceil(dose.peak_dbc_high)}")


def _peak_words(dose: HearingDose) -> str:
    """Return which peak pressure of 2003/10/EC, article 3, may be reached; empty below all."""
    reached = 0 if dose.peak_dbc_high is None else math.ceil(dose.peak_dbc_high)
    for bound in (physics.EU_LIMIT_PEAK_DBC, physics.EU_UPPER_ACTION_PEAK_DBC, physics.EU_LOWER_ACTION_PEAK_DBC):
        if reached >= bound:
            return say(
                "Its highest peak may reach {bound} dB(C) (2003/10/EC, article 3: action from 135 and 137, the limit 140).",
                bound=f"{bound:g}",
            )
    return ""


def verdict(dose: HearingDose) -> str:
    """Return what a day's dose means by directive 2003/10/EC, article 3, and by NIOSH 98-126; empty without a tone."""
    if dose.exposure_dba_high is None:
        return ""
    level = math.ceil(dose.exposure_dba_high)  # as it is shown
    if level > physics.EU_LIMIT_DBA:
        found = say(
            "It may be above the limit of 87 dB(A) (2003/10/EC, article 3), which counts at the ear under its protection: nothing loud any more today without a measurement."
        )
    elif level >= physics.EU_UPPER_ACTION_DBA:
        found = say("It may reach the upper action value of 85 dB(A) (2003/10/EC, article 3): protection must be worn.")
    elif level >= physics.EU_LOWER_ACTION_DBA:
        found = say(
            "It may reach the lower action value of 80 dB(A) (2003/10/EC, article 3): protection must be at hand."
        )
    else:
        found = say("As counted here it stays below the lower action value of 80 dB(A) (2003/10/EC, article 3).")
    more = [_peak_words(dose)]
    if dose.niosh_percent_high >= WHOLE_PERCENT:
        more.append(say("It may be all that NIOSH recommends for a day."))
    return joined([found, *(text for text in more if text)], by="{a} {b}")


def remarks(hearing: DayHearing, job: Job | None = None) -> tuple[str, ...]:
    """Return what stands beside a day's dose: what isn't known, what isn't counted, what was measured."""
    dose = hearing.of_day
    found = []
    if dose.untimed:
        found.append(
            say(
                "Played for an unknown time: {number}; counted for as long as the step lets the tone play.",
                number=dose.untimed,
            )
        )
    if dose.tones > dose.untimed:
        found.append(
            say(
                "The longest time follows from the entry before, with the step's pauses kept; the least is 2 s a reading."
            )
        )
    found += dose_remarks(dose, job)
    if hearing.gone:
        found.append(say("Not counted, as their step is no longer planned: {number}.", number=hearing.gone))
    if dose.tones or hearing.gone or hearing.music:
        found.append(
            say(
                "Counted are readings of the set-up run with speakers connected and recordings at the ear. Not counted, since nobody notes when or how loud: music, tones of fault finding, tones that a page only played."
            )
        )
    return tuple(found)


def dose_remarks(dose: HearingDose, job: Job | None = None) -> tuple[str, ...]:
    """Return what stands beside the dose of any tones."""
    found = []
    if dose.measured:
        found.append(say("With the level measured at the ear: {number}.", number=dose.measured))
    if dose.unknown:
        known = job.stages if job is not None else {}
        names = joined([the_place(job, n) if job is not None and n in known else n for n in dose.unknown])
        found.append(say("Without sensitivity, so all of their power is taken as sound: {speakers}.", speakers=names))
    if dose.tones:
        found.append(say("Hearing protection isn't subtracted: keep it on. An estimate, not a permission."))
    return tuple(found)


def dose_blocks(hearing: DayHearing, job: Job) -> list[Block]:
    """Return a day's dose for a paper; nothing where no tone was heard in this job."""
    if not hearing.of_job.tones and not hearing.gone:
        return []
    columns = (
        say("Tones with speakers connected, {day}", day=hearing.day),
        say("This job"),
        say("All jobs of the day"),
    )
    blocks: list[Block] = [Table(columns, dose_rows(hearing), right=(1, 2))]
    said = verdict(hearing.of_day)
    blocks += [Paragraph(said, strong=True)] if said else []
    return [*blocks, Paragraph(joined(remarks(hearing, job), by="{a} {b}"))]


def dose_text(dose: HearingDose, said: tuple[str, ...]) -> str:
    """Return a dose as lines for a terminal, with the remarks that belong to it."""
    rows = dose_rows(DayHearing("", dose, dose))
    lines = [f"  {name:<42} {figure}" for name, figure, _ in rows]
    return "\n".join([*lines, "", *(wrapped(text, 0) for text in (verdict(dose), *said) if text)])
