"""The possible causes of a chain: every cause at every place where it can occur, and its prior.

The odds are common practice, no published source: how many times likelier than the rarest a cause is, for one place.
A shop's own closed cases refine them (`shop_counts`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.model import (
    Amplifier,
    Converter,
    HeadUnit,
    Indicator,
    LevelControl,
    LineDriver,
    Multimeter,
    Powered,
    Processor,
    Speaker,
    can_be,
    leads_by_name,
    supply_of,
    unit_of,
)
from gainwright.solve import MUTED_TRAVEL

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from gainwright.model import AnyStage, Instrument, Job, ProcessorOutput, SourceOutput, Wiring

NOTHING = "nothing_wrong"
HEALTHY = (NOTHING, "wrong_tone_for_path", "indicator_below_threshold")
"""Causes under which the chain has no fault."""

ODDS: dict[str, float] = {
    "lead_open": 4,
    "lead_resistive": 2,
    "lead_shorted": 1,
    "leads_swapped": 2,
    "polarity_reversed": 2,
    "source_muted": 3,
    "source_low": 4,
    "balance_over": 3,
    "tone_level_wrong": 3,
    "level_control_down": 6,
    "gain_muted": 4,
    "gain_low": 4,
    "gain_high": 3,
    "input_range_wrong": 3,
    "low_pass_in_the_way": 4,
    "high_pass_in_the_way": 4,
    "boost_on": 3,
    "output_muted": 3,
    "output_misrouted": 3,
    "measuring_lead_open": 4,
    "measuring_lead_shorted": 2,
    "meter_wrong_function": 3,
    "amplifier_no_turn_on": 4,
    "amplifier_no_supply": 4,
    "amplifier_protecting": 3,
    "side_dead": 2,
    "load_too_low": 1,
    "supply_sagging": 2,
    "speaker_open": 2,
    "speaker_shorted": 1,
    "coil_reversed": 2,
    "ground_loop": 2,
    "alternator_whine": 2,
    "source_ground_bad": 2,
    "box_no_power": 3,
    "shared_no_supply": 2,
    "shared_no_turn_on": 2,
    "fader_over": 2,
    "output_switched_off": 2,
    "outputs_crossed": 1,
    "speaker_damaged": 2,
    "coil_open": 1,
    "input_mode_wrong": 2,
    "player_equaliser_on": 2,
    "control_bypassed": 1,
    "lead_loose": 1,
    "amplifier_hot": 1,
}
"""Odds of each cause at one place (common practice, no published source)."""
PRIOR_NOTHING = 0.12
"""Share of calls without a fault: a wrong tone, an instrument's threshold, an expectation (common practice)."""
PRIOR_TWO = 0.03
"""Share of calls with two faults at once (common practice, no published source)."""
PRIOR_UNKNOWN = 0.02
"""Share of calls with a fault outside this model (common practice, no published source)."""
WEIGHT_OF_TABLE = 40.0
"""Number of closed cases that the default odds count for, against a shop's own."""


@dataclass(frozen=True, slots=True, order=True)
class Cause:
    """One cause at one place; `where` is a place as evidence names it (docs/evidence.md)."""

    id: str
    where: str

    def __str__(self) -> str:
        return f"{self.id} at {self.where}" if self.where else self.id


_ON_STAGE: dict[type, tuple[str, ...]] = {
    HeadUnit: ("source_muted", "source_low", "tone_level_wrong", "player_equaliser_on"),
    LevelControl: ("level_control_down", "control_bypassed"),
    Speaker: ("speaker_open", "speaker_shorted", "speaker_damaged"),
    Converter: ("box_no_power",),
}
_ON_UNIT = ("amplifier_no_turn_on", "amplifier_no_supply", "amplifier_protecting", "amplifier_hot")
"""Causes that all stages in one chassis share, as they do a sagging supply."""
_ON_LEAD = ("lead_open", "lead_resistive", "lead_shorted", "polarity_reversed")
_NOISE = ("ground_loop", "alternator_whine")


def causes(job: Job, wiring: Wiring, instruments: Mapping[str, Instrument]) -> tuple[Cause, ...]:
    """Return every cause at every place, `nothing_wrong` first."""
    found = [Cause(NOTHING, "")]
    for name, stage in job.stages.items():
        found += [Cause(i, name) for i in _ON_STAGE.get(type(stage), ())]
        if isinstance(stage, HeadUnit) and stage.all_digital:
            found.remove(Cause("source_low", name))
        master = isinstance(stage, Processor) and stage.volume is not None
        if master or (isinstance(stage, LineDriver) and stage.range is not None):
            found.append(Cause("level_control_down", name))
        found += _on_amplifier(name, stage) if isinstance(stage, Amplifier) else []
        found += _on_outputs(job, wiring, name)
        found += [Cause("source_ground_bad", name)] if len(line_leads(name, job, wiring)) > 1 else []
        if isinstance(stage, Processor | LineDriver) and stage.chassis is None:
            found.append(Cause("box_no_power", name))
        if wiring.has_sides(name) and not isinstance(stage, Speaker):
            found.append(Cause("leads_swapped", name))
        if isinstance(stage, Speaker) and stage.coils is not None and stage.coils.number > 1:
            found += [Cause("coil_reversed", name), Cause("coil_open", name)]
    found += shared_causes(job)
    sides = leads_by_name(wiring)
    runs = {str(run): run for run in wiring.leads}
    for name in sides:
        if name in runs and wiring.is_digital(runs[name]):
            found.append(Cause("lead_open", name))
            continue
        # half of a strapped pair's lead turned round is a short to ground, not a turned sign
        left_out = ("polarity_reversed",) if wiring.pair(sides[name][0][1]) is not None else ()
        found += [Cause(i, name) for i in _ON_LEAD if i not in left_out]
        if name in runs and not isinstance(job.stages[runs[name].target], Speaker):
            found += [Cause(i, name) for i in _NOISE]
        if name in runs:
            found.append(Cause("lead_loose", name))
    found += _on_instruments(instruments)
    possible = can_be(job, wiring, [(cause.id, cause.where) for cause in found])
    return tuple(cause for cause in dict.fromkeys(found) if (cause.id, cause.where) in possible)


def _on_instruments(instruments: Mapping[str, Instrument]) -> list[Cause]:
    found: list[Cause] = []
    for name, instrument in instruments.items():
        found += [Cause("measuring_lead_open", name), Cause("measuring_lead_shorted", name)]
        if isinstance(instrument, Multimeter):
            found.append(Cause("meter_wrong_function", name))
        elif isinstance(instrument, Indicator) and instrument.signal_marks:
            found.append(Cause("indicator_below_threshold", name))
    return found


def powered_units(job: Job, *, turned_on: bool) -> tuple[str, ...]:
    """Return the chassis and boxes that the vehicle supplies, or those that its turn-on lead turns on."""
    found: dict[str, None] = {}
    for name, stage in job.stages.items():
        if isinstance(stage, Powered) and (
            stage.turn_on == "remote" if turned_on else supply_of(job, name) == "vehicle"
        ):
            found[unit_of(job, name)] = None
    return tuple(found)


def shared_causes(job: Job) -> list[Cause]:
    """Return the causes at the fuse, ground or turn-on lead that several devices share; they have no place of their own."""
    at = {"shared_no_supply": False, "shared_no_turn_on": True}
    return [Cause(cause, "") for cause, turned_on in at.items() if len(powered_units(job, turned_on=turned_on)) > 1]


def line_leads(name: str, job: Job, wiring: Wiring) -> tuple[str, ...]:
    """Return the leads at line level that a source feeds: all share its ground; empty for any other stage."""
    stage = job.stages[name]
    if not isinstance(stage, HeadUnit) or stage.speaker_level:
        return ()
    return tuple(str(run) for run in wiring.leads if run.source_stage == name and not wiring.is_digital(run))


def crossed_outputs(name: str, wiring: Wiring) -> dict[str, str]:
    """Return output -> the one whose leads may be exchanged with its own: the next that feeds something else by volts."""
    feeds: dict[str, set[str]] = {}
    for node in wiring.outputs(name):
        if node not in wiring.digital:
            feeds.setdefault(node.output, set()).update(str(p) for p in wiring.ports_fed_by(node))
    outputs = [output for output, ports in feeds.items() if ports]
    found: dict[str, str] = {}
    for i, output in enumerate(outputs):
        other = outputs[(i + 1) % len(outputs)]
        if other != output and not feeds[output] & feeds[other] and found.get(other) != output:
            found[output] = other
    return found


def _on_amplifier(name: str, stage: Amplifier) -> list[Cause]:
    """Return the causes of one amplifier; those of its supply and turn-on are its chassis's if it shares one."""
    unit = stage.chassis or name
    gains = () if stage.gain.fixed else ("gain_muted", "gain_low", "gain_high")
    found = [Cause(i, name) for i in (*gains, "boost_on", *_filters(stage))]
    found += [Cause(i, unit) for i in _ON_UNIT if i != "amplifier_no_turn_on" or stage.turn_on != "signal"]
    found += [Cause("load_too_low", name), Cause("supply_sagging", unit)]
    if stage.remote_level is not None and stage.remote_level.boosts is None:
        found += [Cause("level_control_down", name), Cause("control_bypassed", name)]
    found.append(Cause("input_mode_wrong", name))
    return found + ([Cause("input_range_wrong", name)] if len(stage.input_ranges) > 1 else [])


def _filters(holder: Amplifier | ProcessorOutput | SourceOutput) -> list[str]:
    """Return the filters that may stand in the way: those whose corner can be moved."""
    kinds = {"low_pass_in_the_way": holder.low_pass_range, "high_pass_in_the_way": holder.high_pass_range}
    return [cause for cause, span in kinds.items() if span is None or not span.fixed]


def _on_outputs(job: Job, wiring: Wiring, name: str) -> list[Cause]:
    stage = job.stages[name]
    found: list[Cause] = []
    if isinstance(stage, HeadUnit):
        found += [Cause(i, f"{name}.{o}") for o, output in stage.outputs.items() for i in _filters(output)]
        stereo = [o for o, out in stage.outputs.items() if len(out.sides) > 1]
        found += [Cause("balance_over", f"{name}.{o}") for o in stereo]
        found += [Cause("fader_over", f"{name}.{o}") for o in stereo if len(stereo) > 1]
        found += [Cause("output_switched_off", f"{name}.{o}") for o in stage.outputs if len(stage.outputs) > 1]
    elif isinstance(stage, Processor):
        found += [
            Cause(i, f"{name}.{o}")
            for o, output in stage.outputs.items()
            for i in (*_filters(output), "output_muted", "boost_on")
        ]
        if len(stage.outputs) > 1:
            found += [Cause("output_misrouted", f"{name}.{output}") for output in stage.outputs]
    elif isinstance(stage, Amplifier):
        found += [Cause("side_dead", str(node)) for node in wiring.outputs(name)]
    found += [Cause("outputs_crossed", f"{name}.{output}") for output in crossed_outputs(name, wiring)]
    has_filter = isinstance(stage, Processor) or (
        isinstance(stage, Amplifier) and (stage.low_pass is not None or stage.high_pass is not None)
    )
    if isinstance(stage, HeadUnit):
        has_filter = any(o.low_pass is not None or o.high_pass is not None for o in stage.outputs.values())
    return [*found, Cause("wrong_tone_for_path", name)] if has_filter else found


AT_MINIMUM = 10.0
"""Factor on the odds of a muted gain if the job has it at its minimum and it may mute there."""


def priors(found: Sequence[Cause], job: Job, wiring: Wiring) -> npt.NDArray[np.float64]:
    """Return the prior of each cause, summing to 1.

    `wrong_tone_for_path` and `indicator_below_threshold` have no prior: they are names given to a healthy chain depending
    on the readings. If a lead has two sides, the run and each side have half of a lead's odds.
    """
    single = {str(run) for run, pairs in wiring.leads.items() if len(pairs) == 1}
    weights = np.zeros(len(found))
    for i, cause in enumerate(found):
        half = cause.where.startswith("lead:") and cause.where not in single
        weights[i] = 0.0 if cause.id in HEALTHY else ODDS[cause.id] * (0.5 if half else 1.0)
        if cause.id == "gain_muted" and _at_minimum(job.stages[cause.where]):
            weights[i] *= AT_MINIMUM
    weights *= (1 - PRIOR_NOTHING) / weights.sum()
    weights[[c.id for c in found].index(NOTHING)] = PRIOR_NOTHING
    return weights


def _at_minimum(stage: AnyStage) -> bool:
    """Return whether a job has a gain at a minimum where it may mute."""
    if not isinstance(stage, Amplifier) or stage.gain.mutes_at_minimum == "no" or stage.gain.at is None:
        return False
    return bool(stage.gain.at.known and stage.gain.at.nominal <= MUTED_TRAVEL)
