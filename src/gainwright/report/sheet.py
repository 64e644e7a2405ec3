"""The lines of a plan as texts, in a full and a short form; terminal, web and paper print the same ones."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.model import describe_marks
from gainwright.report.figures import volts
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.plan import Expect, Line, Plan, Step
    from gainwright.solve import EarLevel

UNITS = {"v_rms": "V", "supply_v": "V DC", "ohm": say("ohm"), "step": say("step")}
UNSEEN = say("These instruments can't show this: see the findings.")


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One reading or setting of a line of several.

    Attributes
    ----------
    texts : a text for each column of the line.
    boxes : units of its boxes; an empty one is a box to tick.
    """

    step: str
    texts: tuple[str, ...]
    boxes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One line of the sheet as texts.

    Attributes
    ----------
    number : 0 for a result that is only written down.
    expect, outside, why, tone : empty where there is nothing to say, or in the short form.
    box : unit of the box of a single step; empty is a box to tick, None where the rows have the boxes.
    cautions : all of its steps, each once; in the short form only those that no line before it had; where they are those of
        a line just above, its number.
    columns : headings of the rows: of their texts, then of their boxes.
    """

    number: int
    phase: str
    do: str
    why: str
    expect: str
    outside: str
    tone: str
    box: str | None
    cautions: tuple[str, ...]
    columns: tuple[str, ...] = ()
    rows: tuple[SheetRow, ...] = ()


def sheet_lines(plan: Plan, *, short: bool = False) -> tuple[SheetLine, ...]:
    """Return the lines of a plan as texts."""
    by_id = {step.id: step for step in plan.steps}
    cautions = _cautions(plan, by_id, short=short)
    found = []
    for line in plan.lines:
        steps = [by_id[step] for step in line.steps]
        make = _one if len(steps) == 1 and not _finds_step(steps[0]) else _several
        found.append(make(line, steps, next(cautions), short=short))
    return tuple(found)


def _cautions(plan: Plan, by_id: dict[str, Step], *, short: bool) -> Iterator[tuple[str, ...]]:
    """Yield the cautions of each line: in full, or where they are those of a line of its phase above, its number."""
    said: dict[str, tuple[str, int]] = {}
    for line in plan.lines:
        mine = list(dict.fromkeys(c for step in line.steps for c in by_id[step].cautions))
        above = {said[c][1] for c in mine if said.get(c, ("", 0))[0] == line.phase}
        new = [c for c in mine if c not in said] if short else mine
        if not short and mine and len(above) == 1 and all(c in said and said[c][1] in above for c in mine):
            yield (say("as at step {number}.", number=above.pop()),)
            continue
        said |= dict.fromkeys(new, (line.phase, line.number))
        yield tuple(new)


def _one(line: Line, steps: list[Step], cautions: tuple[str, ...], *, short: bool) -> SheetLine:
    step = steps[0]
    box = "" if step.expect is None else UNITS[step.expect.quantity]
    if step.id.startswith("source."):  # the volume is set to the lowest step found, which is written down
        box = UNITS["step"]
    expect = "" if step.expect is None else say("Expect {reading}.", reading=expected(step.expect))
    return SheetLine(
        line.number,
        line.phase,
        line.short if short else line.do,
        "" if short else step.why,
        expect if step.visible else UNSEEN,
        "" if short else step.outside,
        tone_text(step),
        box,
        cautions,
    )


def _several(line: Line, steps: list[Step], cautions: tuple[str, ...], *, short: bool) -> SheetLine:
    columns, rows = _rows(line.group, steps)
    why = _together(line.group, [step.why for step in steps])
    outside = _together(line.group, [step.outside for step in steps if step.outside])
    return SheetLine(
        line.number,
        line.phase,
        line.short if short else line.do,
        "" if short else why,
        "" if all(step.visible for step in steps) else UNSEEN,
        "" if short else outside,
        _longest(steps),
        None,
        cautions,
        columns,
        rows,
    )


def _together(group: str, texts: list[str]) -> str:
    """Return what the steps of a line say; where each says something else it stands on the page of the step only."""
    said = list(dict.fromkeys(texts))
    several = group in ("leads", "sides") or group.startswith("source.")
    return joined(said, by="{a} {b}") if len(said) == 1 or (several and len(said) == 2) else ""


def _finds_step(step: Step) -> bool:
    return step.adjust is not None and step.adjust.until == "last_clean"


def _longest(steps: list[Step]) -> str:
    if len({step.file for step in steps}) == 1:
        return tone_text(steps[0])
    seconds = [step.seconds_at_most for step in steps if step.seconds_at_most is not None]
    return say("Each tone at most {seconds} s at a time.", seconds=f"{min(seconds):g}") if seconds else ""


def _rows(group: str, steps: list[Step]) -> tuple[tuple[str, ...], tuple[SheetRow, ...]]:
    if group == "leads":
        columns: tuple[str, ...] = (
            say("Lead"),
            say("Good up to"),
            say("Costs level over"),
            say("+"),
            say("-"),
            say("Open between"),
        )
        return columns, tuple(
            SheetRow(s.id, (s.note or s.where_text, *_lead_limits(s)), (UNITS["ohm"], UNITS["ohm"], "")) for s in steps
        )
    if group == "coils":
        columns = (say("Speaker"), say("Expect"), say("Read"))
        return columns, tuple(SheetRow(s.id, (s.note or s.where_text, _expects(s)), (UNITS["ohm"],)) for s in steps)
    if _finds_step(steps[0]):
        return _clean_steps(steps)
    if any(step.tone_hz is not None for step in steps):
        return _readings(group, steps)
    if any(step.sets for step in steps):
        columns = (say("Control"), say("Set to"), say("Done"))
        return columns, tuple(SheetRow(s.id, (s.where_text, _setting(s)), ("",)) for s in steps)
    return (say("Where"), say("Done")), tuple(SheetRow(s.id, (s.where_text or s.do,), ("",)) for s in steps)


def _setting(step: Step) -> str:
    return step.note or ", ".join(step.sets.values())


def _clean_steps(steps: list[Step]) -> tuple[tuple[str, ...], tuple[SheetRow, ...]]:
    """Return a row for each output: the clean step found there, and its volts unless the instrument shows none."""
    shows_volts = all(step.expect is None or step.expect.lit is None for step in steps)
    columns = (say("Read at"), say("Expect there"), say("Clean up to"), *((say("Read"),) if shows_volts else ()))
    boxes = (UNITS["step"], "V") if shows_volts else (UNITS["step"],)
    return columns, tuple(SheetRow(s.id, (s.where_text, _expects(s)), boxes) for s in steps)


def _readings(group: str, steps: list[Step]) -> tuple[tuple[str, ...], tuple[SheetRow, ...]]:
    third = {"proofs": say("Left open"), "processors": say("Stage")}.get(group, "")
    columns = (say("Tone"), say("Read at"), say("Expect"), *((third,) if third else ()), say("Read"))
    rows = []
    for step in steps:
        texts = (step.file or f"{step.tone_hz:g} Hz", step.where_text, _expects(step))
        more = (step.note,) if third else ()
        unit = UNITS[step.expect.quantity] if step.expect is not None else ""
        rows.append(SheetRow(step.id, (*texts, *more), (unit,)))
    return columns, tuple(rows)


def _lead_limits(step: Step) -> tuple[str, str]:
    if step.expect is None:
        return "", ""
    over = step.expect.costs_level_over
    return f"{step.expect.high:.2g} ohm", "" if over is None else f"{over:.2g} ohm"


def _expects(step: Step) -> str:
    return "" if step.expect is None else expected(step.expect)


def expected(expect: Expect) -> str:
    """Return an expected reading with its interval; for an indicator the lit marks, with the level they imply."""
    low, high = volts(expect.low), volts(expect.high)
    if expect.lit is not None:
        return say("{marks}, behind it {low} to {high}", marks=describe_marks(expect.lit), low=low, high=high)
    if expect.costs_level_over is not None:
        good, over = f"{expect.high:.2g}", f"{expect.costs_level_over:.2g}"
        return say("up to {good} ohm is a good lead; over {over} ohm it costs level", good=good, over=over)
    if expect.quantity == "v_rms":
        return say("{value} ({low} to {high})", value=volts(expect.value), low=low, high=high)
    if expect.quantity == "step":
        low, high = f"{expect.low:.0f}", f"{expect.high:.0f}"
        if low == high:
            return say("step {value}", value=f"{expect.value:.0f}")
        return say("step {value} ({low} to {high})", value=f"{expect.value:.0f}", low=low, high=high)
    value = f"{expect.value:.3g} {UNITS[expect.quantity]}"
    return say("{value} ({low} to {high})", value=value, low=f"{expect.low:.3g}", high=f"{expect.high:.3g}")


def tone_text(step: Step) -> str:
    """Return a step's tone file and how long it may play; empty without a tone."""
    if not step.file:
        return ""
    if step.seconds_at_most is None:
        return say("Tone {file}.", file=step.file)
    seconds = f"{step.seconds_at_most:g}"
    tone = say("Tone {file}, at most {seconds} s at a time.", file=step.file, seconds=seconds)
    if step.pause_seconds is not None:
        tone = say(
            "Tone {file}, at most {seconds} s at a time, then {pause} s of pause.",
            file=step.file,
            seconds=seconds,
            pause=f"{step.pause_seconds:g}",
        )
    if step.ear is None:
        return tone
    return joined([tone, say("At the ear {level}.", level=ear_text(step.ear))], by="{a} {b}")


def ear_text(ear: EarLevel) -> str:
    """Return how loud a tone is at the ear: `64 to 96 dB(A), estimated`."""
    high = f"{math.ceil(ear.level_dba_high)}"
    if ear.level_dba_low is None:
        return say("at most {high} dB(A), as no speaker's sensitivity is known", high=high)
    return say("{low} to {high} dB(A), estimated", low=f"{math.floor(ear.level_dba_low)}", high=high)
