"""The band that each amplifier plays: the filters before it, and the key of its allowance in the job."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.model import HeadUnit, Processor
from gainwright.plan.bands import series_filters
from gainwright.plan.context import PlanContext
from gainwright.plan.controls import filters_of
from gainwright.plan.planning import amplifier_targets
from gainwright.plan.stage_steps import source_limits
from gainwright.plan.targets import first_at_rating

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import FilterSetting, Job
    from gainwright.plan.context import End


@dataclass(frozen=True, slots=True)
class AmplifierBand:
    """The band that one end of the chain plays.

    Attributes
    ----------
    key : of its allowance in the job: its own key there if it has one, else the output of the last stage with filters,
        else the stage.
    stage : the amplifier (or the source that drives its speaker directly).
    tone_hz, allowance_db : of its set-up tone, as in the job.
    high_pass, low_pass : the narrowest filters before it, None if there is none.
    speaker : the speaker that reaches its rating first, empty if none has a rating.
    target_w, rating_w : power of a sine at the end's target, or at what its set-up reached, into that speaker, and its rating; None if unknown.
    """

    key: str
    stage: str
    tone_hz: float
    allowance_db: float
    high_pass: FilterSetting | None
    low_pass: FilterSetting | None
    speaker: str
    target_w: float | None
    rating_w: float | None


def amplifier_bands(job: Job, reached: Mapping[str, float] | None = None) -> tuple[AmplifierBand, ...]:
    """Return the band of every end, in signal order; ends with different filters have different keys.

    Parameters
    ----------
    reached : stage -> volts that its set-up reached, as a share of its target.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    context = PlanContext(job)
    return bands_of(context, reached_volts(context, reached))


def reached_volts(context: PlanContext, reached: Mapping[str, float] | None = None) -> dict[str, float]:
    """Return the volts of each stage that has a target: what its set-up reached, else its target."""
    targets = amplifier_targets(context, source_limits(context))
    return {stage: target.v_rms * (reached or {}).get(stage, 1.0) for stage, target in targets.items()}


def bands_of(context: PlanContext, volts: Mapping[str, float]) -> tuple[AmplifierBand, ...]:
    """Return the band of every end, in signal order; `volts` holds the target of each stage that has one."""
    found = [_split(context, end, volts.get(end.stage)) for end in context.ends]
    filters: dict[str, set[tuple[str, str]]] = {}
    for band in found:
        filters.setdefault(band.key, set()).add((str(band.high_pass), str(band.low_pass)))
    return tuple(s if len(filters[s.key]) == 1 else _by_stage(s) for s in found)


def _by_stage(band: AmplifierBand) -> AmplifierBand:
    plain = {name: getattr(band, name) for name in AmplifierBand.__dataclass_fields__}
    return AmplifierBand(**{**plain, "key": band.stage})


def _split(context: PlanContext, end: End, target_v: float | None) -> AmplifierBand:
    found = series_filters(context.job, context.chain.wiring, end.nodes[0])
    highs = [f.setting for f in found if f.kind == "high" and f.setting.corner is not None]
    lows = [f.setting for f in found if f.kind == "low" and f.setting.corner is not None]
    speaker, ohm, rating = first_at_rating(context, end)
    watts = None if target_v is None or not speaker else target_v**2 / ohm
    return AmplifierBand(
        _key(context, end),
        end.stage,
        end.tone_hz,
        end.allowance_db,
        max(highs, key=_corner_hz, default=None),
        min(lows, key=_corner_hz, default=None),
        speaker,
        watts,
        rating,
    )


def _corner_hz(setting: FilterSetting) -> float:
    return math.nan if setting.corner is None else setting.corner.nominal


def _key(context: PlanContext, end: End) -> str:
    job = context.job
    for node in reversed(end.path.nodes):
        for key in (node.output, f"{node.stage}.{node.output}", node.stage):
            if key in job.allowance and key != "all":
                return key
    if end.path.speaker in job.allowance:
        return end.path.speaker
    for node in reversed(end.path.nodes):
        stage = job.stages[node.stage]
        if isinstance(stage, HeadUnit | Processor) and any(filters_of(job, node)):
            others = {n.stage for n in context.chain.wiring.nodes if n.output == node.output}
            return node.output if len(others) == 1 else f"{node.stage}.{node.output}"
    return end.stage
