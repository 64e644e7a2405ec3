"""Places other than nodes: leads and their sides, and everything in a chain that can be checked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model.nodes import LeadRun, Node, Port
from gainwright.model.source_stages import HeadUnit
from gainwright.model.stages import Amplifier, Converter, LevelControl, Powered, Processor, Speaker

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.model.job import Job
    from gainwright.model.wiring import Wiring


NO_INSTRUMENT = "instruments"
"""The place that can't be reached where there is nothing to measure with."""


def leads_by_name(wiring: Wiring) -> dict[str, tuple[tuple[Node, Port], ...]]:
    """Return lead name -> its sides: each run as a whole, then the single sides of runs that have several.

    Names are `lead:desk.woofer-amp_front` and `lead:desk.woofer.left-amp_front.left`. A digital link carries both sides
    and has no single ones.
    """
    found: dict[str, tuple[tuple[Node, Port], ...]] = {}
    for run, pairs in wiring.leads.items():
        found[str(run)] = pairs
        if len(pairs) > 1 and not wiring.is_digital(run):
            found |= {_side_name(run, node, port): ((node, port),) for node, port in pairs}
    return found


def _side_name(run: LeadRun, node: Node, port: Port) -> str:
    source = run.source_stage if run.source_output == "out" else f"{run.source_stage}.{run.source_output}"
    target = run.target if port.input == "in" else f"{run.target}.{port.input}"
    return f"lead:{source}.{node.side}-{target}.{port.side}"


def link_place(run: LeadRun) -> str:
    """Return the place at which one looks after a digital link: `player.out.link`."""
    return f"{run.source_stage}.{run.source_output}.link"


def stages_at(place: str) -> tuple[str, ...]:
    """Return the stage of a place, or the two stages that a lead connects, in signal order."""
    ends = place.removeprefix("lead:").split("-") if place.startswith("lead:") else [place]
    return tuple(end.split(".")[0] for end in ends)


def check_places(job: Job, wiring: Wiring, controls: Iterable[str], instruments: Iterable[str]) -> list[str]:
    """Return every place that a check can name: leads, lamps, supplies, speakers, controls, measuring leads."""
    links = [run for run in wiring.leads if wiring.is_digital(run)]
    found = [name for name in leads_by_name(wiring) if name not in map(str, links)]
    found += dict.fromkeys(map(link_place, links))
    for name, stage in job.stages.items():
        if isinstance(stage, Amplifier):
            supply = [*(["power_lamp", "protection_lamp"] if stage.lamps else []), "supply_voltage"]
            supply += [] if stage.turn_on == "signal" else ["turn_on_voltage"]
            found += [f"{unit}.{what}" for unit in dict.fromkeys((stage.chassis or name, name)) for what in supply]
            found += [f"{stage.chassis or name}.{what}" for what in ("fuse", "ground", "heat", "unplugged", "unloaded")]
            found += [f"{name}.input_mode", *([f"{name}.travel"] if stage.remote_level is not None else [])]
        elif isinstance(stage, Powered) and stage.chassis is None:
            found += [f"{name}.power_lamp", f"{name}.fuse"]
        if isinstance(stage, Converter):
            found.append(f"{name}.fuse")
        if isinstance(stage, LevelControl):
            found.append(f"{name}.travel")
        if isinstance(stage, Speaker):
            sides = [port.side for port in wiring.ports(name) if port.side != "mono"]
            for what in ("resistance", "cone"):
                found += [f"{name}.{what}", *(f"{name}.{side}.{what}" for side in sides)]
            found += [
                f"{name}.substitute",
                f"{name}.provoked",
                f"{name}.sounds",
                *([f"{name}.one_side_reversed"] if len(sides) == 2 else []),
            ]
        if isinstance(stage, HeadUnit):
            found += [f"{name}.mute", f"{name}.player", f"{name}.other_source", f"{name}.ground"]
            found += [f"{name}.{o}.switch" for o in stage.outputs]
            found += [f"{name}.{o}.balance" for o, out in stage.outputs.items() if len(out.sides) > 1]
        if isinstance(stage, HeadUnit | Processor) and len(stage.outputs) > 1:
            found += [f"{name}.{o}.leads" for o in stage.outputs]
        if isinstance(stage, HeadUnit | Processor | Amplifier):
            found.append(f"{name}.settings")
        if isinstance(stage, Processor):
            found += [f"{name}.{output}.routing" for output in stage.outputs]
        if wiring.has_sides(name):
            found.append(f"{name}.inputs")
    found.append("vehicle.main_fuse")
    found += [f"{run}.moved" for run in wiring.leads if run not in links]
    found += [control for control in controls if control not in found]
    return [*dict.fromkeys(found)] + [f"{name}{what}" for name in instruments for what in ("", ".function")]
