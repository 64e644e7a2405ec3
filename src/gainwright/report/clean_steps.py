"""The highest clean volume on the handover: as it was found in the set-up, as a column of readings shows it, or as expected."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.model import device_words
from gainwright.report.paper import Block, Paragraph
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.metering import Knee
    from gainwright.model import Job
    from gainwright.plan import Plan


@dataclass(frozen=True, slots=True)
class FoundVolume:
    """The highest clean volume of a source as it was found.

    Attributes
    ----------
    stage : whose volume it is.
    step : the step it ends at.
    by_tone : (Hz, last clean step) of each search; empty where only the step itself is known.
    """

    stage: str
    step: float
    by_tone: tuple[tuple[float, float], ...] = ()


def volume_blocks(job: Job, plan: Plan, knee: Knee | None, found: Sequence[FoundVolume]) -> list[Block]:
    """Return what is known of the highest clean volume: found, measured, or only expected."""
    if found:
        return [Paragraph(_found(job, one), strong=True) for one in found]
    if knee is not None and knee.last_clean_step is not None:
        sure = f"{100 * knee.confidence:.0f} %"
        text = say(
            "The highest clean step is {step}, as measured ({sure} sure).",
            step=f"{knee.last_clean_step:g}",
            sure=sure,
        )
        return [Paragraph(text, strong=True)]
    step = next((s for s in plan.steps if s.expect is not None and s.expect.quantity == "step"), None)
    if step is None or step.expect is None:
        return [Paragraph(say("The highest clean step was not measured."))]
    low, high = f"{step.expect.low:.0f}", f"{step.expect.high:.0f}"
    return [
        Paragraph(
            say(
                "The highest clean step was not measured; from the job's data it lies between {low} and {high}.",
                low=low,
                high=high,
            )
        )
    ]


def _found(job: Job, one: FoundVolume) -> str:
    text = say(
        "The highest clean step of {device} is {step}, as found in the set-up.",
        device=device_words(job, one.stage),
        step=f"{one.step:g}",
    )
    if not one.by_tone:
        return text
    searches = [say("{step} at {hz} Hz", step=f"{step:g}", hz=f"{hz:g}") for hz, step in one.by_tone]
    return text + say(" The last clean step was {searches}.", searches=joined(searches))
