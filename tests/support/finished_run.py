"""A car whose set-up run is done: what the hand set and typed, held against what the run, the job and the handover say."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pytest

from gainwright.jobfile import controls
from gainwright.model import the_place
from gainwright.quantities import parse

if TYPE_CHECKING:
    from hand import Hand

READ_OFF = 0.5
"""Half of the last place of a gain read in whole per cent."""
Json = dict[str, Any]
CauseAt = tuple[str, str]


@dataclass
class Finished:
    """A car whose run is done and taken over.

    Attributes
    ----------
    plan, run, offered : what the API told of it before the settings were taken over.
    handover : the paper's data.
    before, believed, after : probabilities without any reading, with the run's, and with them after the take-over.
    """

    job: str
    hand: Hand
    plan: Json
    run: Json
    offered: Json
    handover: Json = field(default_factory=dict)
    before: dict[CauseAt, float] = field(default_factory=dict)
    believed: dict[CauseAt, float] = field(default_factory=dict)
    after: dict[CauseAt, float] = field(default_factory=dict)


def typed_values(car: Finished) -> list[float]:
    """Return the numbers that were typed and that are evidence, in the order of the plan, in SI."""
    values: list[float] = []
    for state in car.run["steps"]:
        texts = car.hand.typed.get(state["id"], [])
        if state["asked"] == "lead":
            values += [number(part) for part in texts[-1].split(";")]
        elif state["asked"] == "column":
            last = texts[-1]
            values.append(number(next(t for t in texts if t.startswith(f"{last} ")).split(" ", 1)[1]))
        elif state["asked"] in ("ohm", "supply", "volts"):
            values.append(number(texts[-1].split(" at ")[0]))
    return values


def number(text: str) -> float:
    """Return a typed reading, or one of an evidence file, in SI; infinite for open and over range."""
    if text.strip() in ("open", "OL", "over_range"):
        return math.inf
    found = re.fullmatch(r"\s*([-+.0-9e]+)\s*(mV|V|ohm|kohm)\s*", text)
    assert found is not None, text
    return float(found[1]) * {"mV": 1e-3, "kohm": 1e3}.get(found[2], 1.0)


def filed_values(evidence: list[Json]) -> list[float]:
    """Return the numbers of a run's evidence, in order, in SI."""
    keys = ("reads", "resistance", "between_conductors")
    return [number(str(entry[key])) for entry in evidence for key in keys if key in entry]


def wrong_settings(car: Finished) -> list[str]:
    """Return where the handover's controls differ from those of the rig."""
    rig, said = car.hand.rig, car.handover["controls"]
    found = []
    for control, text in controls(rig.job).items():
        if control in car.hand.clean:
            fits = float(said[control]) == min(car.hand.clean[control]) == rig.settings[control]
        elif control.endswith(".gain") and "%" in said[control]:
            low, high = (100 * end for end in parse(said[control], "fraction").interval)
            fits = low - READ_OFF <= 100 * rig.settings[control] <= high + READ_OFF
        else:
            fits = said[control] == text
        found += [] if fits else [f"{control}: {said[control]!r}, the rig has {text!r}, {rig.settings.get(control)}"]
    return found


def wrong_voltages(car: Finished) -> list[str]:
    """Return the targets whose voltage isn't the one typed when the gain was set."""
    found = []
    for step in car.plan["steps"]:
        if step["phase"] == "amplifier" and step["adjust"]:
            typed = number(car.hand.typed[step["id"]][-1].split(" at ")[0])
            said = next(t for t in car.handover["targets"] if t["stage"] == step["stage"])
            if said["reached_v"] != pytest.approx(typed, rel=1e-9):
                found.append(f"{step['stage']}: {said['reached_v']} V, {typed} V was read")
            read = {o["at"]: o["reached_v"] for o in said["outputs"]}
            sides = {s["measure_at"] for s in car.plan["steps"] if s["stage"] == step["stage"] and _to_ground(s)}
            if set(read) != sides:
                found.append(f"{step['stage']}: read were {sorted(sides)}, the handover has {sorted(read)}")
    return found


def _to_ground(step: Json) -> bool:
    """Return whether a step reads the volts of one output as it is set."""
    turned = step["phase"] == "amplifier" or step["phase"] == "verify"
    volts = bool(step["expect"]) and step["expect"]["quantity"] == "v_rms"
    return turned and volts and not step["proves"] and "-" not in step["measure_at"]


def wrong_in_handover(car: Finished) -> list[str]:
    """Return every figure of a handover that isn't what the rig was set to, or what it showed."""
    found = wrong_settings(car) + wrong_voltages(car)
    turned = {step["adjust"]["control"] for step in car.plan["steps"] if step["adjust"]}
    found += [f"not offered: {control}" for control in turned - {row["control"] for row in car.offered["controls"]}]
    clean = min(min(limits) for limits in car.hand.clean.values())
    if car.handover["last_clean_step"] != clean:
        found.append(f"last clean step {car.handover['last_clean_step']}, found was {clean}")
    typed, filed = typed_values(car), filed_values(car.run["evidence"])
    if filed != pytest.approx(typed, rel=1e-9):
        found.append(f"evidence has {filed}, typed was {typed}")
    shown = [float(v) for text in car.handover["readings"] for v in re.findall(r"^([-+.0-9e]+) V", text)]
    volts = [number(e["reads"]) for e in car.run["evidence"] if "at" in e]
    if shown != pytest.approx(volts, rel=1e-9):
        found.append(f"readings {shown}, shown was {volts}")
    supplies = [str(e["check"]).removesuffix(".supply_voltage") for e in car.run["evidence"] if "check" in e]
    measured = ("clean limit", "at its target", *(f"supply of {the_place(car.hand.job, unit)}." for unit in supplies))
    found += [missing for missing in car.handover["not_measured"] if any(words in missing for words in measured)]
    return found


def read_outside(car: Finished) -> list[str]:
    """Return the steps that aren't done, and those whose reading doesn't fit."""
    return [
        f"{s['id']}: {s['state']}, {s['verdict']}, {car.hand.typed.get(s['id'])}"
        for s in car.run["steps"]
        if s["state"] != "done" or s["verdict"] not in ("fits", "")
    ]
