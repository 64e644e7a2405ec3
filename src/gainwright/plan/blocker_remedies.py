"""What to set in the job so that a blocker is gone: connections, the first high-pass of a tweeter, figures mixed up."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from gainwright.errors import GainwrightError
from gainwright.jobfile import with_changes
from gainwright.model import Amplifier, HeadUnit, Processor, Speaker
from gainwright.plan.remedies import protecting

if TYPE_CHECKING:
    from gainwright.model import Job
    from gainwright.plan.context import PlanContext

OVER_RESONANCE = 2.0
"""A tweeter's high-pass over its resonance: an octave (common practice, no published source)."""
TWEETER_FROM_HZ = 3500.0
"""High-pass of a tweeter of which nothing else is known (common practice, no published source)."""


def speakers_of_their_own(context: PlanContext, speaker: str) -> dict[str, str]:
    """Return a speaker like one that several outputs drive for each of them: the first keeps the old one."""
    stage = context.job.stages[speaker]
    assert isinstance(stage, Speaker)  # noqa: S101  asked for speakers only
    if not isinstance(stage.source, list):
        return {}
    alike = stage.model_dump(mode="json", by_alias=True, exclude_unset=True)
    sets = {f"stages.{speaker}.from": stage.source[0]}
    for number, reference in enumerate(stage.source[1:], start=2):
        sets[f"stages.{speaker}_{number}"] = json.dumps(alike | {"from": reference})
    return _if_possible(context, sets)


def put_between(context: PlanContext, taker: str, text: str, *, fed_by: str) -> dict[str, str]:
    """Return a new stage between a stage and one that feeds it; `text` is its kind and what its kind must say."""
    stage = context.job.stages[taker]
    given = stage.inputs if isinstance(stage, Processor) else getattr(stage, "source", None)
    key = f"stages.{taker}.inputs" if isinstance(stage, Processor) else f"stages.{taker}.from"
    places = {f"{key}.{name}": ref for name, ref in given.items()} if isinstance(given, dict) else {key: given}
    sets: dict[str, str] = {}
    for number, (place, reference) in enumerate(places.items(), start=1):
        if isinstance(reference, str) and reference.partition(".")[0] == fed_by:
            name = f"before_{taker}" if len(places) == 1 else f"before_{taker}_{number}"
            sets |= {f"stages.{name}": f"{{kind: {text}, from: {reference}}}", place: name}
    return _if_possible(context, sets)


def first_high_pass(context: PlanContext, speaker: str) -> dict[str, str]:
    """Return a high-pass before a tweeter on each of its ways: an octave over its resonance, else a usual one."""
    stage = context.job.stages[speaker]
    assert isinstance(stage, Speaker)  # noqa: S101  tweeters are speakers
    resonance = stage.resonance
    limit_hz = TWEETER_FROM_HZ
    if resonance is not None and resonance.known:
        limit_hz = OVER_RESONANCE * resonance.nominal
    sets: dict[str, str] = {}
    for path in context.chain.wiring.paths:
        if path.speaker == speaker:
            fitting = tuple(node for node in path.nodes if _reaches(context.job, node.stage, node.output, limit_hz))
            sets |= protecting(context, fitting, limit_hz)
    return sets


def _reaches(job: Job, name: str, output: str, hz: float) -> bool:
    """Return whether a high-pass of a stage can be set to a frequency, as far as the job says."""
    stage = job.stages[name]
    holder = stage.outputs[output] if isinstance(stage, HeadUnit | Processor) else stage
    span = getattr(holder, "high_pass_range", None)
    return isinstance(stage, Amplifier | HeadUnit | Processor) and (
        span is None or (not span.fixed and span.low_hz <= hz <= span.high_hz)
    )


def _if_possible(context: PlanContext, sets: dict[str, str]) -> dict[str, str]:
    """Return changes of a job, or none if the job can't be changed so."""
    try:
        type(context)(with_changes(context.job, sets))
    except GainwrightError:
        return {}
    return sets
