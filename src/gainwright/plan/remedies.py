"""Remedies as changes of the job: what to set so that a finding is gone, each carried out in tests/scenario."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.jobfile import with_changes
from gainwright.model import Amplifier, HeadUnit, Processor, Speaker
from gainwright.plan.bands import series_filters
from gainwright.plan.source import clean_limit
from gainwright.plan.targets import is_too_low, load_ohm, loads_ohm, target
from gainwright.solve import Conditions

if TYPE_CHECKING:
    from gainwright.model import Node
    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.controls import FilterControl
    from gainwright.plan.source import CleanLimit

MARGIN_DB = 0.1
"""A remedy goes this much further than is needed, so that rounding leaves nothing."""
ROOM_V = 1.3
"""A driver's own limit over the volts that it must deliver (common practice, no published source)."""


def up_db(value: float) -> float:
    """Return a number of dB with the remedies' margin, rounded up to a tenth."""
    return math.ceil(10 * (value + MARGIN_DB)) / 10


def more_drive(context: PlanContext, end: End, limit: CleanLimit, short_db: float) -> dict[str, str]:
    """Return a smaller allowance if that is enough, else a line driver before the amplifier; empty if neither helps.

    Solved again: behind a driver the amplifier's own input may clip before its output is where it should be.
    """
    needed = up_db(short_db)
    if needed <= end.allowance_db:
        return {f"allowance.{end.stage}": f"{end.allowance_db - needed:g} dB"}
    node = next(
        feed.node for port in context.chain.wiring.ports(end.stage) for feed in context.chain.wiring.feeds[port]
    )
    loudest = Conditions(end.tone_hz, limit.level_dbfs, settings={f"{limit.head}.volume": limit.middle})
    solved = context.opened.solve(loudest, targets=(node,))
    volts = float(solved.rms_v[0, solved.index(node)]) * 10 ** (needed / 20)
    text = f"kind: line_driver, gain: {needed:g} dB, input_limit: {ROOM_V * volts:.3g} V, output_limit: {ROOM_V * volts:.3g} V"
    sets = _before(context, end.stage, f"driver_{end.stage}", text)
    if not sets:
        return {}
    changed = type(context)(with_changes(context.job, sets))
    again = next(e for e in changed.ends if e.stage == end.stage)
    return sets if target(changed, again, clean_limit(changed, again)).set_by != "source" else {}


def less_drive(context: PlanContext, stage: str, over_db: float) -> dict[str, str]:
    """Return a lower output level of the processor that feeds a stage, else an attenuator before it."""
    less = up_db(over_db)
    wiring = context.chain.wiring
    feeding = {feed.node for port in wiring.ports(stage) for feed in wiring.feeds[port]}
    outputs = {(n.stage, n.output) for n in feeding}
    if all(isinstance(context.job.stages[name], Processor) for name, _ in outputs):
        now = context.chain.settings
        return {f"{n}.{o}.level": f"{now[f'{n}.{o}.level'] - less:g} dB" for n, o in sorted(outputs)}
    return _pad(context, stage, over_db)


def wider_input(context: PlanContext, stage: str, over_db: float) -> dict[str, str]:
    """Return a higher input limit of a stage, or an attenuator before an amplifier."""
    if isinstance(context.job.stages[stage], Amplifier):
        return _pad(context, stage, over_db)
    limit_v = context.chain.nominal()[f"{stage}.input_limit"] * 10 ** (up_db(over_db) / 20)
    return {f"stages.{stage}.input_limit": f"{math.ceil(100 * limit_v) / 100:g} V"}


def _pad(context: PlanContext, stage: str, over_db: float) -> dict[str, str]:
    """Return an attenuator before a stage."""
    less = up_db(over_db)
    return _before(context, stage, f"pad_{stage}", f"kind: level_control, reserve: {less:g} dB, at: -{less:g} dB")


def _before(context: PlanContext, stage: str, name: str, text: str) -> dict[str, str]:
    """Return a new stage between another and what feeds it."""
    source = getattr(context.job.stages[stage], "source", "")
    if not isinstance(source, str):
        return {}
    return {f"stages.{name}": f"{{from: {source}, {text}}}", f"stages.{stage}.from": name}


def higher_load(context: PlanContext, end: End, lowest_ohm: float) -> dict[str, str]:
    """Return another wiring of coils or speakers for at least a load, else speakers of a higher impedance."""
    wired: dict[str, str] = {}
    scaled: dict[str, str] = {}
    factor = lowest_ohm / load_ohm(context, end)
    too_low = [speakers for speakers, ohm in loads_ohm(context, end).items() if is_too_low(ohm, lowest_ohm)]
    for name in dict.fromkeys(name for speakers in too_low for name in speakers):
        speaker = context.job.stages[name]
        assert isinstance(speaker, Speaker)  # noqa: S101  ends drive speakers
        coils = speaker.coils
        if coils is not None and coils.wiring == "parallel":
            wired[f"stages.{name}.coils"] = f"{coils.number} x {coils.each} series"
        elif speaker.count > 1 and speaker.wiring == "parallel":
            wired[f"stages.{name}.wiring"] = "series"
        if coils is not None:
            scaled[f"stages.{name}.coils"] = f"{coils.number} x {factor * coils.each.nominal:.3g} ohm {coils.wiring}"
        else:
            given = speaker.impedance
            each = given.nominal if given is not None and given.known else context.chain.nominal()[f"{name}.impedance"]
            scaled[f"stages.{name}.impedance"] = f"{factor * each:.3g} ohm"
    if wired:
        changed = type(context)(with_changes(context.job, wired))
        again = next(e for e in changed.ends if e.stage == end.stage)
        if not is_too_low(load_ohm(changed, again), lowest_ohm):
            return wired
    return scaled


def protecting(context: PlanContext, nodes: tuple[Node, ...], limit_hz: float) -> dict[str, str]:
    """Return a high-pass at a frequency or above in the last stage before a speaker that has filters."""
    for node in reversed(nodes):
        stage = context.job.stages[node.stage]
        if isinstance(stage, Amplifier):
            now, control = stage.high_pass, f"{node.stage}.high_pass"
        elif isinstance(stage, HeadUnit | Processor):
            now, control = stage.outputs[node.output].high_pass, f"{node.stage}.{node.output}.high_pass"
        else:
            continue
        shape = "butterworth 12" if now is None or now.off else f"{now.shape} {now.slope_db_per_octave}"
        return {control: f"{shape} at {limit_hz:g} Hz"}
    return {}


def apart(f: FilterControl, corner_hz: float) -> dict[str, str]:
    """Return a filter switched off if that is possible, else moved to a corner or as far as it goes."""
    if f.range is None or f.range.can_be_off:
        return {f.control: "off"}
    if f.range.fixed:
        return {}
    held = min(max(corner_hz, f.range.low_hz), f.range.high_hz)
    return {f.control: f"{f.setting.shape} {f.setting.slope_db_per_octave} at {held:g} Hz"}


def opened_on_the_way(context: PlanContext, end: End) -> dict[str, str]:
    """Return the filters in series with an end that the plan opens, with their settings."""
    own = {f.control for f in series_filters(context.job, context.chain.wiring, end.nodes[0])}
    return {control: text for control, (_, text) in context.moved_filters.items() if control in own}
