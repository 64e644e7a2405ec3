"""Faults of the rig, by cause id, and the places at which each can occur."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.errors import CallError
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
    resolve,
    supply_of,
    unit_of,
)

if TYPE_CHECKING:
    from gainwright.model import Job, Wiring

AMOUNTS = {
    "lead_resistive": (20_000.0, "ohm in the lead"),
    "lead_shorted": (0.1, "ohm where its conductors touch"),
    "speaker_shorted": (0.2, "ohm left of the coil"),
    "source_low": (20.0, "dB too low"),
    "tone_level_wrong": (15.0, "dB too low"),
    "level_control_down": (25.0, "dB down"),
    "gain_low": (0.06, "share of its travel"),
    "gain_high": (0.95, "share of its travel"),
    "low_pass_in_the_way": (35.0, "Hz, the corner of the low-pass"),
    "high_pass_in_the_way": (3_000.0, "Hz, the corner of the high-pass"),
    "boost_on": (9.0, "dB at the tone"),
    "load_too_low": (0.25, "share of the impedance it should have"),
    "supply_sagging": (0.65, "share of the supply voltage left under load"),
    "ground_loop": (0.02, "V of hum, rms"),
    "alternator_whine": (0.02, "V of whine, rms"),
    "source_ground_bad": (0.02, "V of whine, rms"),
    "fader_over": (25.0, "dB too low"),
    "input_mode_wrong": (14.0, "dB too low"),
    "player_equaliser_on": (12.0, "dB at 100 Hz"),
    "speaker_damaged": (0.2, "distortion that it adds, as a ratio"),
}
_ON_STAGE: dict[type, tuple[str, ...]] = {
    HeadUnit: ("source_muted", "source_low", "tone_level_wrong", "player_equaliser_on"),
    LevelControl: ("level_control_down", "control_bypassed"),
    Speaker: ("speaker_open", "speaker_shorted", "speaker_damaged"),
    Converter: ("box_no_power",),
}
_ON_GAIN = ("gain_muted", "gain_low", "gain_high")
_ON_UNIT = ("amplifier_no_turn_on", "amplifier_no_supply", "amplifier_protecting", "amplifier_hot")
"""Faults that all stages in one chassis share, as they do a sagging supply."""
_ON_LEAD = ("lead_open", "lead_resistive", "lead_shorted", "polarity_reversed")


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: cause id, place, amount (a typical one if None), for a speaker its side, for a short its place on the lead."""

    cause: str
    where: str
    amount: float | None = None
    side: str = "both"
    along: float = 0.5

    @property
    def size(self) -> float:
        """The amount, in the unit given in `AMOUNTS`."""
        if self.amount is not None:
            return self.amount
        return AMOUNTS.get(self.cause, (1.0, ""))[0]


def possible_faults(job: Job) -> list[tuple[str, str]]:
    """Return every (cause, place) that can occur in a job."""
    wiring = resolve(job)
    found: list[tuple[str, str]] = [("nothing_wrong", "")]
    for name, stage in job.stages.items():
        found += [(cause, name) for cause in _ON_STAGE.get(type(stage), ())]
        found += _on_amplifier(name, stage) if isinstance(stage, Amplifier) else []
        found += _on_outputs(job, name)
        master = isinstance(stage, Processor) and stage.volume is not None
        if master or (isinstance(stage, LineDriver) and stage.range is not None):
            found.append(("level_control_down", name))
        if isinstance(stage, HeadUnit) and stage.all_digital:
            found.remove(("source_low", name))
        if wiring.has_sides(name) and not isinstance(stage, Speaker):
            found.append(("leads_swapped", name))
        if isinstance(stage, Speaker) and stage.coils is not None and stage.coils.number > 1:
            found += [("coil_reversed", name), ("coil_open", name)]
        if isinstance(stage, Processor | LineDriver) and stage.chassis is None:
            found.append(("box_no_power", name))
        if not isinstance(stage, Speaker):
            found += [("outputs_crossed", f"{name}.{output}") for output in neighbours(wiring, name)]
        if isinstance(stage, Amplifier):
            found += [("side_dead", str(node)) for node in wiring.outputs(name)]
    found += _on_leads(job, wiring) + _shared(job) + _on_instruments(job)
    possible = can_be(job, wiring, found)
    return [fault for fault in dict.fromkeys(found) if fault in possible]


def _on_leads(job: Job, wiring: Wiring) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    links = [str(run) for run in wiring.leads if wiring.is_digital(run)]
    for lead, pairs in leads_by_name(wiring).items():
        # half of a strapped pair's lead turned round is a short to ground, not a turned sign
        left_out = ("polarity_reversed",) if wiring.pair(pairs[0][1]) is not None else ()
        found += [(cause, lead) for cause in _ON_LEAD if lead not in links and cause not in left_out]
    found += [("lead_open", link) for link in links]
    found += [("lead_loose", str(run)) for run in wiring.leads if str(run) not in links]
    for run in wiring.leads:
        if str(run) not in links and not isinstance(job.stages[run.target], Speaker):
            found += [("ground_loop", str(run)), ("alternator_whine", str(run))]
    for name, stage in job.stages.items():
        fed = [str(run) for run in wiring.leads if run.source_stage == name and str(run) not in links]
        if isinstance(stage, HeadUnit) and not stage.speaker_level and len(fed) > 1:
            found.append(("source_ground_bad", name))
    return found


def _on_instruments(job: Job) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    for name, instrument in job.instruments.items():
        found += [("measuring_lead_open", name), ("measuring_lead_shorted", name)]
        if isinstance(instrument, Multimeter):
            found.append(("meter_wrong_function", name))
        elif isinstance(instrument, Indicator) and instrument.signal_marks:
            found.append(("indicator_below_threshold", name))
    return found


def _shared(job: Job) -> list[tuple[str, str]]:
    """Return the faults of what several devices share: the vehicle's supply, its turn-on lead."""
    powered = {name: stage for name, stage in job.stages.items() if isinstance(stage, Powered)}
    supplied = {unit_of(job, name) for name in powered if supply_of(job, name) == "vehicle"}
    remote = {unit_of(job, name) for name, stage in powered.items() if stage.turn_on == "remote"}
    found = [("shared_no_supply", supplied), ("shared_no_turn_on", remote)]
    return [(cause, "") for cause, units in found if len(units) > 1]


def neighbours(wiring: Wiring, stage: str) -> dict[str, str]:
    """Return output -> the next one that feeds other inputs with volts; of two outputs the first stands for both."""
    takers: dict[str, set[str]] = {}
    for node in wiring.outputs(stage):
        for port in wiring.ports_fed_by(node) if node not in wiring.digital else ():
            takers.setdefault(node.output, set()).add(str(port))
    names = list(takers)
    pairs: dict[str, str] = {}
    for here, there in zip(names, names[1:] + names[:1], strict=True):
        if here != there and takers[here].isdisjoint(takers[there]) and pairs.get(there) != here:
            pairs[here] = there
    return pairs


def _on_amplifier(name: str, stage: Amplifier) -> list[tuple[str, str]]:
    unit = stage.chassis or name
    found = [] if stage.gain.fixed else [(cause, name) for cause in _ON_GAIN]
    found.append(("boost_on", name))
    found += [(cause, unit) for cause in _ON_UNIT if cause != "amplifier_no_turn_on" or stage.turn_on != "signal"]
    found += [("load_too_low", name), ("supply_sagging", unit)]
    if stage.remote_level is not None and stage.remote_level.boosts is None:
        found += [("level_control_down", name), ("control_bypassed", name)]
    found.append(("input_mode_wrong", name))
    return found + ([("input_range_wrong", name)] if len(stage.input_ranges) > 1 else [])


def _on_outputs(job: Job, name: str) -> list[tuple[str, str]]:
    stage = job.stages[name]
    filters = ("low_pass_in_the_way", "high_pass_in_the_way", "wrong_tone_for_path")
    if isinstance(stage, HeadUnit):
        found = [(cause, f"{name}.{output}") for output in stage.outputs for cause in filters[:2]]
        stereo = [output for output, o in stage.outputs.items() if len(o.sides) > 1]
        found += [("balance_over", f"{name}.{output}") for output in stereo]
        found += [("fader_over", f"{name}.{output}") for output in stereo if len(stereo) > 1]
        return found + [("output_switched_off", f"{name}.{o}") for o in stage.outputs if len(stage.outputs) > 1]
    if isinstance(stage, Processor):
        found = [
            (cause, f"{name}.{output}")
            for output in stage.outputs
            for cause in (*filters[:2], "output_muted", "boost_on")
        ]
        if len(stage.outputs) > 1:
            found += [("output_misrouted", f"{name}.{output}") for output in stage.outputs]
        return [*found, ("wrong_tone_for_path", name)]
    if isinstance(stage, Amplifier):
        found = [(cause, name) for cause in filters[:2]]
        return found + ([("wrong_tone_for_path", name)] if stage.low_pass or stage.high_pass else [])
    return []


def check_faults(faults: tuple[Fault, ...], job: Job) -> tuple[Fault, ...]:
    """Return the faults unchanged if they can occur in a job.

    Raises
    ------
    CallError : an unknown cause, or a place at which it can't occur.
    """
    possible = set(possible_faults(job))
    for fault in faults:
        if (fault.cause, fault.where) not in possible:
            near = [where for cause, where in possible if cause == fault.cause]
            raise CallError(
                f"{fault.cause} can't occur at {fault.where!r}",
                code="bad_fault",
                rule=f"it can occur at {', '.join(sorted(near))}" if near else "there is no such cause in this chain",
            )
    return faults
