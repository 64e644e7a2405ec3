"""The power and heat of a job, as text and as a paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import name_words
from gainwright.power import STATES
from gainwright.report.figures import wrapped
from gainwright.report.paper import Block, BulletList, Figure, Heading, Paper, Paragraph, Table, subtitle
from gainwright.report.supply_drawing import state_words, supply_drawing
from gainwright.texts import joined, say, sentence

if TYPE_CHECKING:
    from gainwright.model import Job
    from gainwright.power import PowerFinding, PowerResult, SpeakerResult


def finding_words(finding: PowerFinding) -> str:
    """Return a finding as one or two sentences; one that can do harm begins with the word for it."""
    said = joined([sentence(finding.message), sentence(finding.remedy)], by="{a}. {b}")
    return say("Caution: {said}", said=said) if finding.severity == "caution" else said


def speaker_table(result: PowerResult) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Return columns and rows: one row for each speaker, for one of its units."""
    columns = (
        say("Speaker"), say("Mean power"), say("Worst second"), say("Rating"), say("Heat of the coil"),
        say("Travel"), say("Travel at most"), say("Linear to"),
    )  # fmt: skip
    return columns, [_speaker_row(s) for s in result.speakers]


def _speaker_row(s: SpeakerResult) -> tuple[str, ...]:
    return (
        name_words(s.name),
        f"{s.mean_w:.3g} W",
        f"{s.worst_second_w:.3g} W",
        "–" if s.rating_w is None else f"{s.rating_w:.3g} W",
        "–" if s.heat_share is None else say("{share} % of its limit", share=f"{100 * s.heat_share:.0f}"),
        "–" if s.travel_mm is None else f"{s.travel_mm:.1f} mm",
        "–"
        if s.travel_bound_mm is None
        else say("{mm} mm at {hz} Hz", mm=f"{s.travel_bound_mm:.1f}", hz=f"{s.bound_hz or 0.0:.0f}"),
        "–" if s.xmax_mm is None else f"{s.xmax_mm:g} mm",
    )


def supply_sentences(result: PowerResult) -> list[str]:
    """Return what battery and alternator do, as sentences."""
    battery, found = result.battery, []
    drawn = battery.drawn_a
    if drawn["music"] is not None and drawn["worst_second"] is not None and drawn["full_sine"] is not None:
        found.append(
            say(
                "The sound system takes {mean} A on average, {worst} A in the worst second of the music, {sine} A with every amplifier at full power.",
                mean=f"{drawn['music']:.0f}",
                worst=f"{drawn['worst_second']:.0f}",
                sine=f"{drawn['full_sine']:.0f}",
            )
        )
    if battery.alternator_carries["worst_second"] is not None:
        carried = [state_words(s) for s in STATES if battery.alternator_carries[s]]
        found.append(
            say(
                "The alternator carries, with the vehicle's own loads: {states}.", states=joined(carried) or say("none")
            )
        )
    else:
        found.append(say("The alternator's current isn't given: it is taken to carry everything."))
    if battery.hours_at_rest is not None:
        found.append(
            say(
                "With the engine off the usable share of the battery gives this music for about {hours} h.",
                hours=f"{battery.hours_at_rest:.1f}",
            )
        )
    return found


def assumed_words(result: PowerResult) -> list[str]:
    """Return what was assumed, without repetition."""
    return list(dict.fromkeys(text for device in result.devices for text in device.assumed))


def power_text(result: PowerResult, job: Job) -> str:
    """Return the power and heat of a job as text for the terminal."""
    drawing = supply_drawing(result, job)
    lines = [wrapped(result.basis, 0), ""]
    lines += [wrapped(text, 0) for text in supply_sentences(result)]
    lines += ["", f"{drawing.title}. {drawing.legend}"]
    for row in drawing.rows:
        pad = " " * round((row.x - drawing.rows[0].x) / 13)
        lines.append(f"{pad}{row.title}{': ' + row.detail if row.detail else ''}")
        lines.append(f"{pad}    {'; '.join(row.figures)}")
    columns, rows = speaker_table(result)
    if rows:
        width = [max(len(columns[i]), *(len(row[i]) for row in rows)) for i in range(len(columns))]
        lines.append("")
        lines += [
            "  ".join(t.ljust(w) if i == 0 else t.rjust(w) for i, (t, w) in enumerate(zip(line, width, strict=True)))
            for line in (columns, *rows)
        ]
    if result.findings:
        lines.append("")
        for finding in result.findings:
            lines.append(wrapped(finding_words(finding), 2, first="- "))
    assumed = assumed_words(result)
    if assumed:
        lines += [
            "",
            wrapped(
                sentence(
                    say(
                        "Assumed (common practice, no published source): {listed}",
                        listed=joined(assumed, by="{a}; {b}"),
                    )
                ),
                0,
            ),
        ]
    lines += ["", *(wrapped(text, 2, first="! ") for text in result.cautions)]
    return "\n".join(lines)


def power_paper(job: Job, result: PowerResult, *, date: str = "") -> Paper:
    """Return the paper of a job's power and heat."""
    drawing = supply_drawing(result, job)
    columns, rows = speaker_table(result)
    blocks: list[Block] = [BulletList(result.cautions)]
    blocks += [Paragraph(result.basis)]
    blocks += [Heading(say("Supply")), *(Paragraph(text) for text in supply_sentences(result))]
    blocks.append(Figure(drawing, drawing.description, 0.8))
    if rows:
        shown = [i for i in range(len(columns)) if any(row[i] != "–" for row in rows)]
        blocks += [
            Heading(say("Speakers")),
            Table(
                tuple(columns[i] for i in shown),
                tuple(tuple(row[i] for i in shown) for row in rows),
                right=tuple(range(1, len(shown))),
            ),
        ]
    if result.findings:
        blocks += [Heading(say("Findings")), BulletList(tuple(finding_words(f) for f in result.findings))]
    assumed = assumed_words(result)
    if assumed:
        blocks += [Heading(say("Assumed")), BulletList(tuple(sentence(text) for text in assumed))]
    title = job.title or say("Power and heat")
    return Paper(
        "power", title, subtitle(say("Power and heat") if job.title else "", date), tuple(blocks), result, date
    )
