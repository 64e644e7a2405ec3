"""The values assumed for missing keys of a job, by the path of the key."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.jobfile.amplifier_facts import input_range
from gainwright.jobfile.assumed_values import PRACTICE
from gainwright.jobfile.catalogue import facts, settings, volume_steps
from gainwright.jobfile.instruments import instrument_assumptions
from gainwright.model import Amplifier, Speaker, volume_of
from gainwright.quantities import Exact

if TYPE_CHECKING:
    from gainwright.jobfile.assumed_values import Fact
    from gainwright.jobfile.reading import JobFile

Key = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Assumed:
    """An assumed value.

    Attributes
    ----------
    value : with its spread, as in a job file.
    reason : why it is assumed.
    """

    value: str
    reason: str


def assumed(read: JobFile) -> dict[Key, Assumed]:
    """Return everything that is assumed in a job, by the path of its key."""
    found: dict[Key, Assumed] = {}
    given = facts(read.job, read.wiring)
    for fact in given.values():
        if not fact.given:
            path = _key_of(fact, read)
            if path is not None:
                found[path] = Assumed(_text(fact), fact.reason)
    for name, stage in read.job.stages.items():
        unknown = isinstance(stage, Amplifier) and (stage.sensitivity is None or not stage.sensitivity.first.known)
        if isinstance(stage, Amplifier) and unknown and not stage.input_ranges:
            up, down = given[f"{name}.sensitivity.up"], given[f"{name}.sensitivity.down"]
            found["stages", name, "sensitivity"] = Assumed(f"{up.quantity} .. {down.quantity}", up.reason)
        volume = volume_of(stage)
        if volume is not None and volume.steps is None:
            found["stages", name, "volume", "steps"] = Assumed(str(volume_steps(volume)), PRACTICE)
        sides = dict.fromkeys(node.side for node in read.wiring.outputs(name))
        if stage.sides is None and not isinstance(stage, Speaker) and sides:
            found["stages", name, "sides"] = Assumed(", ".join(sides), "from what feeds it")
    found |= _positions(read)
    for row in instrument_assumptions(read.job):
        found["instruments", *row.path.split(".", 1)] = Assumed(row.value, row.reason)
    found["thd_limit",] = Assumed("1 %", "amplifiers are rated at 1 % THD+N (CTA-2006)")
    return found


def _key_of(fact: Fact, read: JobFile) -> Key | None:
    """Return the key of a fact; None when it has none."""
    if fact.path.startswith("lead:"):
        return ("stages", fact.path.removesuffix(".resistance").rpartition("-")[2], "lead", "resistance")
    stage, _, rest = fact.path.partition(".")
    if stage not in read.job.stages:
        return (stage, rest)
    if isinstance(read.job.stages[stage], Speaker):
        return ("stages", stage, "impedance") if rest == "coil" else None
    if rest.startswith("input_ranges.") or rest in ("gain.bend", "sensitivity.up", "sensitivity.down"):
        return None
    rest = {"gain.mutes": "gain.mutes_at_minimum"}.get(rest, rest)
    return ("stages", stage, *rest.split("."))


def _text(fact: Fact) -> str:
    if fact.path.endswith(("gain.mutes", "balanced_input")):
        return "unknown"
    quantity = fact.quantity
    if quantity.dimension == "voltage" and isinstance(quantity.spread, Exact) and quantity.nominal < 1e-3:
        return f"{1e6 * quantity.nominal:.3g} µV"
    return str(quantity)


def _positions(read: JobFile) -> dict[Key, Assumed]:
    """Return the assumed positions of controls."""
    found: dict[Key, Assumed] = {}
    for control, value in settings(read.job).items():
        stage, _, rest = control.partition(".")
        if rest == "volume":
            found["stages", stage, "volume", "at"] = Assumed(f"{value:g}", "three quarters of its steps; " + PRACTICE)
        elif rest == "gain" and isinstance(read.job.stages[stage], Amplifier) and read.job.stages[stage].gain.fixed:  # type: ignore[union-attr]
            continue
        elif rest == "input_range":
            found["stages", stage, "input_range"] = Assumed(input_range(read.job.stages[stage]), "the first of them")  # type: ignore[arg-type]
        elif rest == "remote_level":
            found["stages", stage, "remote_level", "at"] = Assumed(f"{value:g} dB", "fully up until it is set")
        elif rest == "gain":
            found["stages", stage, "gain", "at"] = Assumed(f"{100 * value:g} %", "fully down until it is set")
        elif rest == "level":
            found["stages", stage, "at"] = Assumed(f"{value:g} dB", "fully up until it is set")
        else:
            output = rest.removesuffix(".level")
            found["stages", stage, "outputs", output, "level"] = Assumed(
                f"{value:g} dB", "as it comes, until it is set"
            )
    return found
