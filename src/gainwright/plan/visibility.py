"""Whether an instrument at a node can show the result of a step; each answer comes from the solver.

A source-limit step needs three things at the point of measurement: the tone above what the instrument needs, the stage
under test first to clip, and its harmonics not removed by later filters. A meter needs no harmonics: its reading stops
following the steps.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gainwright.model import Amplifier, Indicator, Multimeter, Recorder
from gainwright.plan.bands import series_filters
from gainwright.plan.distortion_seen import least_distortion, sees_distortion
from gainwright.plan.source import thd_limit
from gainwright.solve import Conditions, grounded_nodes, input_ohm, recorder_full_scale_v, resolution_v
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.model import Instrument, Node
    from gainwright.plan.context import End, PlanContext
    from gainwright.solve import Chain, Solution

OVER_DB = 1.0
"""How far a stage is driven over its ceiling to check whether that shows: 1 dB is 4.6 % THD."""
METER_COUNTS_NEEDED = 100
"""A reading of fewer counts resolves steps of a decibel badly (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why the result of a step can't be seen: code, the control or place responsible, and the sentence."""

    code: str
    where: str
    message: str
    facts: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class View:
    """One way to measure a source's limit: chain, settings, node and instrument."""

    chain: Chain
    end: End
    node: Node
    instrument_name: str
    instrument: Instrument
    settings: dict[str, float]
    head: str
    onset: float
    level_dbfs: float


def doubts(context: PlanContext, view: View) -> list[Doubt]:
    """Return every reason why a source's limit wouldn't be seen this way; empty if it would."""
    at_limit = _solve(context, view, 0.0)
    found = [*_band(view), *_tone_stopped(view), *_too_low(view, at_limit)]
    found += _other_first(view, at_limit)
    if not isinstance(view.instrument, Multimeter) and not found:
        found += _harmonics_hidden(context, view)
    return found


def _solve(context: PlanContext, view: View, over_db: float) -> Solution:
    step = view.chain.nominal()[f"{view.head}.volume.step"]
    volume = view.onset + over_db / step
    return view.chain.solve(
        Conditions(
            view.end.tone_hz,
            view.level_dbfs,
            settings={**view.settings, f"{view.head}.volume": volume},
            unloaded=context.speakers,
            probes={view.node: input_ohm(view.instrument)},
            grounded=grounded_nodes(view.instrument, view.node),
        ),
        targets=(view.node, *view.end.all_nodes),
    )


def _band(view: View) -> list[Doubt]:
    meter = view.instrument
    if isinstance(meter, Multimeter) and meter.bandwidth and view.end.tone_hz > meter.bandwidth.nominal:
        message = say(
            "{instrument_name} is accurate up to {nominal} Hz; at {tone_hz} Hz it may read up to 3 dB low",
            instrument_name=view.instrument_name,
            nominal=f"{meter.bandwidth.nominal:g}",
            tone_hz=f"{view.end.tone_hz:g}",
        )
        return [Doubt("tone_out_of_band", view.instrument_name, message)]
    return []


def _tone_stopped(view: View) -> list[Doubt]:
    filters = series_filters(view.chain.job, view.chain.wiring, view.node)
    losses = {f.control: f.loss_db(view.end.tone_hz) for f in filters}
    worst = max(losses, key=losses.__getitem__, default=None)
    if worst is None or losses[worst] < 20:
        return []
    message = say(
        "{worst} attenuates {tone_hz} Hz by {part} dB: a reading after it is meaningless",
        worst=worst,
        part=f"{losses[worst]:.0f}",
        tone_hz=f"{view.end.tone_hz:g}",
    )
    return [Doubt("tone_filtered", worst, message, {"loss_db": losses[worst]})]


def _too_low(view: View, at_limit: Solution) -> list[Doubt]:
    volts = float(at_limit.rms_v[0, at_limit.index(view.node)])
    instrument = view.instrument
    if isinstance(instrument, Multimeter):
        need = METER_COUNTS_NEEDED * float(resolution_v(instrument, volts))
    elif isinstance(instrument, Recorder):
        need = recorder_full_scale_v(instrument) * 10 ** (-60 / 20)
    else:
        need = _least_shown_v(instrument, view.end.tone_hz)
    if volts >= need or math.isnan(need):  # not a number: nobody knows the instrument's range
        return []
    message = say(
        "{node} reaches {volts} V at the source's limit; {instrument_name} needs {need} V",
        node=view.node,
        volts=f"{volts:.3g}",
        instrument_name=view.instrument_name,
        need=f"{need:.3g}",
    )
    return [Doubt("below_threshold", view.instrument_name, message, {"v_rms": volts, "needed_v": need})]


def _least_shown_v(indicator: Indicator, tone_hz: float) -> float:
    """Return the least voltage at which an indicator shows a tone at all; 0 if none of its marks does that.

    Distortion of a weaker tone can't be distinguished from none.
    """
    marks = indicator.signal_marks.values()
    return min((m.threshold.nominal if m.passes(tone_hz) else math.inf for m in marks), default=0.0)


def _other_first(view: View, at_limit: Solution) -> list[Doubt]:
    """Return whether an amplifier clips before the stages ahead of it reach their limit."""
    behind = [n for n in view.end.all_nodes if isinstance(view.chain.job.stages[n.stage], Amplifier)]
    index = view.chain.nodes.index
    behind = [n for n in behind if index(n) <= index(view.node)]
    margins = {n: float(at_limit.margins_db[0, at_limit.index(n), 2]) for n in behind}
    first = min(margins, key=margins.__getitem__, default=None)
    if first is None or margins[first] > 0:
        return []
    message = say(
        "{stage} clips {part} dB before the source reaches its limit", stage=first.stage, part=f"{-margins[first]:.1f}"
    )
    return [Doubt("other_stage_first", f"{first.stage}.gain", message, {"over_db": -margins[first]})]


def _harmonics_hidden(context: PlanContext, view: View) -> list[Doubt]:
    over = _solve(context, view, OVER_DB)
    shown = float(over.thd[0, over.index(view.node)])
    instrument = view.instrument
    limit = thd_limit(context)
    if isinstance(instrument, Indicator):
        limit = least_distortion(instrument, view.end.tone_hz)[1]
    if math.isfinite(shown) and shown >= limit:
        return []
    front = [n for n in view.end.all_nodes if not isinstance(view.chain.job.stages[n.stage], Amplifier)]
    thd = [float(over.thd[0, over.index(n)]) for n in front]
    own = max((t for t in thd if math.isfinite(t)), default=0.0)  # none where a tone is nowhere
    if own < limit and f"{view.head}.factory.limiter_threshold" in view.chain.facts:
        message = say(
            "{head} turns itself down before it clips: no distortion shows, only a level that no longer rises",
            head=view.head,
        )
        return [Doubt("limiter_first", view.head, message, {"thd": own})]
    filters = series_filters(view.chain.job, view.chain.wiring, view.node)
    losses = {f.control: f.loss_db(3 * view.end.tone_hz) - f.loss_db(view.end.tone_hz) for f in filters}
    worst = max(losses, key=losses.__getitem__, default=str(view.node))
    if math.isinf(limit):
        return []  # it has no mark for distortion at all, and that is said
    message = say(
        "a source {OVER_DB} dB over its ceiling at {tone_hz} Hz has {part} % THD, of which {part_2} % is left after {worst}; {instrument_name} detects {part_3} % or more",
        OVER_DB=f"{OVER_DB:g}",
        tone_hz=f"{view.end.tone_hz:g}",
        part=f"{100 * own:.1f}",
        part_2=f"{100 * shown:.2f}",
        worst=worst,
        instrument_name=view.instrument_name,
        part_3=f"{100 * limit:g}",
    )
    return [Doubt("harmonics_filtered", worst, message, {"thd": own, "shown_thd": shown})]


def by_preference(context: PlanContext, tone_hz: float) -> list[tuple[str, Instrument]]:
    """Return the instruments that can find a clean limit with a tone, the best first.

    First an indicator with a mark at or below the job's distortion limit, then a recorder, a meter, and an indicator
    with a higher threshold. If none can, all are returned, so that the plan gives the reasons.
    """

    def rank(instrument: Instrument) -> int:
        if isinstance(instrument, Indicator):
            return 0 if least_distortion(instrument, tone_hz)[1] <= thd_limit(context) else 3
        return 1 if isinstance(instrument, Recorder) else 2

    found = context.instruments.items()
    usable = [(n, i) for n, i in found if isinstance(i, Multimeter) or sees_distortion(i, tone_hz)]
    return sorted(usable or found, key=lambda pair: rank(pair[1]))
