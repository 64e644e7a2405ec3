"""What of the programme each amplifier gets: the filters on the way to it, and the name its allowance has in the job."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.model import HeadUnit, Processor, Speaker
from gainwright.plan.controls import path_filters
from gainwright.plan.planning import targets_of
from gainwright.plan.setting_out import SettingOut
from gainwright.plan.stages import front

if TYPE_CHECKING:
    from gainwright.model import FilterSetting, Job
    from gainwright.plan.setting_out import End


@dataclass(frozen=True, slots=True)
class Split:
    """One end of the chain, as what it plays is split off.

    Attributes
    ----------
    key : what its allowance is called in the job: the name it is given there by itself, else the output of the last
        stage with filters, else the stage.
    stage : the amplifier (or the source that drives its speaker itself).
    tone_hz, allowance_db : of its set-up tone, as the job has it now.
    high_pass, low_pass : the tightest filters on the way, None where there is none.
    speaker : the one that reaches its rating first, empty when none has a rating.
    target_w, rating_w : power of a sine at the end's target into that speaker, and its rating; None when not known.
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


def splits(job: Job) -> tuple[Split, ...]:
    """Return every end with what it gets, in signal order; no two with other filters share a key.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    out = SettingOut(job)
    volts = {stage: target.v_rms for stage, target in targets_of(out, front(out)).items()}
    found = [_split(out, end, volts.get(end.stage)) for end in out.ends]
    filters: dict[str, set[tuple[str, str]]] = {}
    for split in found:
        filters.setdefault(split.key, set()).add((str(split.high_pass), str(split.low_pass)))
    return tuple(s if len(filters[s.key]) == 1 else _by_stage(s) for s in found)


def _by_stage(split: Split) -> Split:
    plain = {name: getattr(split, name) for name in Split.__dataclass_fields__}
    return Split(**{**plain, "key": split.stage})


def _split(out: SettingOut, end: End, target_v: float | None) -> Split:
    found = path_filters(out.job, end.path.nodes)
    highs = [f.setting for f in found if f.kind == "high" and f.setting.corner is not None]
    lows = [f.setting for f in found if f.kind == "low" and f.setting.corner is not None]
    speaker, ohm, rating = _first_at_rating(out, end)
    watts = None if target_v is None or not speaker else target_v**2 / ohm
    return Split(
        _key(out, end),
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


def _key(out: SettingOut, end: End) -> str:
    job = out.job
    for node in reversed(end.path.nodes):
        for key in (node.output, f"{node.stage}.{node.output}", node.stage):
            if key in job.allowance and key != "all":
                return key
    if end.path.speaker in job.allowance:
        return end.path.speaker
    for node in reversed(end.path.nodes):
        stage = job.stages[node.stage]
        if isinstance(stage, HeadUnit | Processor) and path_filters(job, (node,)):
            others = {n.stage for n in out.chain.wiring.nodes if n.output == node.output}
            return node.output if len(others) == 1 else f"{node.stage}.{node.output}"
    return end.stage


def _first_at_rating(out: SettingOut, end: End) -> tuple[str, float, float | None]:
    """Return the speaker that reaches its rating at the lowest voltage, its load in ohm and its rating in watts.

    Without any rating: the one that takes most, and None.
    """
    nominal, rated, others = out.chain.nominal(), [], []
    for name in end.speakers:
        stage = out.job.stages[name]
        assert isinstance(stage, Speaker)  # noqa: S101  ends drive speakers
        ohm = nominal[f"{name}.impedance"] * stage.count
        others.append((ohm, name))
        if stage.power is not None and stage.power.known:
            separate = stage.coils is not None and stage.coils.wiring == "separate"
            share = stage.coils.number if separate and stage.coils is not None else 1
            watts = stage.power.nominal / share
            rated.append((math.sqrt(watts * ohm), name, ohm, watts))
    if rated:
        _, name, ohm, watts = min(rated)
        return name, ohm, watts
    return (min(others)[1], min(others)[0], None) if others else ("", math.inf, None)
