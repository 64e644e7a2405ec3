"""What the power stages of a head unit drive: the speakers at each of its outputs, with the band that they play."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from gainwright.model import HeadUnit, Speaker
from gainwright.plan.amplifier_bands import AmplifierBand, bands_of
from gainwright.plan.amplifier_loads import AmplifierLoad
from gainwright.plan.bands import series_filters
from gainwright.plan.context import PlanContext
from gainwright.plan.taken_loads import taken_ohms

if TYPE_CHECKING:
    from gainwright.model import FilterSetting, Job, Node

WHOLE = "full"
"""The band without filters, which every scan of music has."""


def head_unit_loads(job: Job) -> dict[str, AmplifierLoad]:
    """Return output of a head unit, as `head.front` -> the speakers at it that no amplifier drives.

    Its volume stands at its clean limit, which is found with a tone at full scale: full scale is its rated output, so no
    allowance counts (`follows_allowance` is false, its band's is 0 dB).

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    if not any(isinstance(stage, HeadUnit) and stage.speaker_level for stage in job.stages.values()):
        return {}
    context = PlanContext(job)
    bands = {band.stage: band for band in bands_of(context, {})}
    outputs: dict[str, list[Node]] = {}
    for node in context.chain.wiring.nodes:
        stage = job.stages[node.stage]
        if isinstance(stage, HeadUnit) and stage.speaker_level and _speakers(context, [node]):
            outputs.setdefault(f"{node.stage}.{node.output}", []).append(node)
    return {name: _load(context, nodes, bands[nodes[0].stage]) for name, nodes in outputs.items()}


def _speakers(context: PlanContext, nodes: list[Node]) -> tuple[str, ...]:
    takers = [port.stage for node in nodes for port in context.chain.wiring.ports_fed_by(node)]
    return tuple(dict.fromkeys(name for name in takers if isinstance(context.job.stages[name], Speaker)))


def _load(context: PlanContext, nodes: list[Node], of_stage: AmplifierBand) -> AmplifierLoad:
    stage, speakers, nominal = nodes[0].stage, _speakers(context, nodes), context.chain.nominal()
    siemens = sum(1 / nominal[f"{name}.impedance"] for name in speakers)
    load, volts = 1 / siemens, nominal[f"{stage}.output_limit"]
    music_ohm, sine_ohm = taken_ohms(context, stage, nodes, speakers, load)
    found = series_filters(context.job, context.chain.wiring, nodes[0])
    high = max((f.setting for f in found if f.kind == "high" and f.setting.corner), key=_corner_hz, default=None)
    low = min((f.setting for f in found if f.kind == "low" and f.setting.corner), key=_corner_hz, default=None)
    same = (str(high), str(low)) == (str(of_stage.high_pass), str(of_stage.low_pass))
    key = of_stage.key if same else f"{stage}.{nodes[0].output}" if high or low else WHOLE
    band = replace(of_stage, key=key, high_pass=high, low_pass=low, allowance_db=0.0)
    return AmplifierLoad(
        stage, stage, len(nodes), load, music_ohm, sine_ohm, volts, volts, math.sqrt(2) * volts, speakers, band,
        follows_allowance=False,
    )  # fmt: skip


def _corner_hz(setting: FilterSetting) -> float:
    return math.nan if setting.corner is None else setting.corner.nominal
