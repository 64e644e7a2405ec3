"""The knee of a column of readings, as text and as a chart."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.report.figures import volts
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.metering import Interval, Knee

METER_BANDWIDTH_HZ = 400.0


def knee_text(knee: Knee, readings: Sequence[tuple[float, float]], *, limit_percent: float) -> str:
    """Return the result in a few lines."""
    lines = [f"{len(readings)} readings, clean up to {limit_percent:g} % THD"]
    if knee.found and knee.ceiling is not None and knee.onset is not None:
        lines.append(f"last clean step   {_step(knee.last_clean_step)}  ({100 * knee.confidence:.0f} % sure)")
        lines.append(f"clipping begins   at step {_span(knee.onset)}")
        ceiling = knee.ceiling
        lines.append(f"ceiling           {volts(ceiling.value)} ({volts(ceiling.low)} to {volts(ceiling.high)})")
    elif knee.last_clean_step is not None:
        lines.append(f"clean up to       step {_step(knee.last_clean_step)}  ({100 * knee.confidence:.0f} % sure)")
    if knee.rise is not None:
        lines.append(f"a step            {_span(knee.rise)} dB")
    if knee.hard_probability is not None:
        hard = knee.hard_probability
        kind = "hard" if hard > 0.9 else "soft" if hard < 0.1 else "hard or soft, undecided"
        lines.append(f"kind of clipping  {kind}")
    for i in knee.outliers:
        step, value = readings[i]
        lines.append(f"doubtful          {volts(value)} at step {_step(step)} does not fit the others: read it again")
    if knee.why_not:
        lines.append(knee.why_not[0].upper() + knee.why_not[1:] + ".")
    lines.append(_next(knee))
    return "\n".join(lines)


def lower_text(knee: Knee) -> str:
    """Return which steps are to be read once more with the tone lower, and why; empty where that wouldn't decide."""
    if not knee.lower_steps or knee.lower_db is None:
        return ""
    return say(
        "Lower the tone by {amount} dB and read steps {first} to {last} once more: without the ceiling they show the control's own steps.",
        amount=f"{knee.lower_db:g}",
        first=_step(knee.lower_steps[0]),
        last=_step(knee.lower_steps[-1]),
    )


def _next(knee: Knee) -> str:
    step, lower = _step(knee.next_step), lower_text(knee)
    advice = {
        "go_on": say("Go on: read at step {step}.", step=step),
        "go_lower": say("Start lower: read at step {step}.", step=step),
        "measure_between": say("One more reading would help, at step {step}, near the knee.", step=step),
        "read_lower": say("The readings alone can't tell the control's own steps from a ceiling."),
        "read_again": say("Read the steps again before you rely on this."),
        "enough": say("That is enough."),
        "too_few": say("Go on: read at step {step}.", step=step),
    }[knee.advice]
    if not lower:
        return advice
    if knee.advice == "read_lower":
        return f"{advice} {lower}"
    return f"{advice} {say('If that is not possible:')} {lower}"


def advice_text(knee: Knee, readings: Sequence[tuple[float, float]]) -> str:
    """Return one line to show after a reading: what is known so far, and what to do next; `readings` are of both columns."""
    doubtful = [
        say("{reading} at step {step} is doubtful.", reading=volts(readings[i][1]), step=_step(readings[i][0])) + " "
        for i in knee.outliers
    ]
    known = ""
    if knee.found and knee.last_clean_step is not None:
        clean, sure = _step(knee.last_clean_step), f"{100 * knee.confidence:.0f}"
        known = say("Clean up to step {step} ({sure} % sure).", step=clean, sure=sure) + " "
    return "".join(doubtful) + known + _next(knee)


def meter_caution(tone_hz: float) -> str:
    """Return a caution when a tone may lie outside a handheld meter's bandwidth, else an empty text.

    Most are made for the mains and accurate to 400 Hz or 1 kHz (common practice, no published source).
    """
    if tone_hz <= METER_BANDWIDTH_HZ:
        return ""
    return (
        f"Many handheld meters are accurate only up to {METER_BANDWIDTH_HZ:g} Hz; at {tone_hz:g} Hz the ceiling may read low. "
        "The last clean step isn't affected as long as the error stays the same."
    )


def _step(step: float | None) -> str:
    return "-" if step is None else f"{step:g}"


def _span(interval: Interval) -> str:
    half = max(interval.high - interval.value, interval.value - interval.low)
    digits = max(0, 1 - math.floor(math.log10(half))) if half > 0 else 2
    digits = min(digits, 3)
    return f"{interval.value:.{digits}f} ({interval.low:.{digits}f} to {interval.high:.{digits}f})"


@dataclass(frozen=True, slots=True)
class KneeMark:
    """One reading."""

    step: float
    v_rms: float
    doubtful: bool


@dataclass(frozen=True, slots=True)
class KneeChart:
    """Readings against steps, the fitted curve, the ceiling and the interval of the onset."""

    title: str
    subtitle: str
    marks: tuple[KneeMark, ...]
    curve: tuple[tuple[float, float], ...]
    ceiling: Interval | None
    onset: Interval | None
    description: str


def knee_chart(knee: Knee, readings: Sequence[tuple[float, float]], *, title: str) -> KneeChart:
    """Return the chart of a knee."""
    if knee.found and knee.ceiling_v_rms is not None:
        text = say(
            "last clean step {step}, ceiling {ceiling}",
            step=_step(knee.last_clean_step),
            ceiling=volts(knee.ceiling_v_rms),
        )
    else:
        text = knee.why_not or say("no knee found")
    marks = tuple(KneeMark(s, v, i in knee.outliers) for i, (s, v) in enumerate(readings))
    return KneeChart(
        title,
        text,
        marks,
        knee.curve,
        knee.ceiling,
        knee.onset,
        say("{place}: {words}", place=title, words=text),
    )
