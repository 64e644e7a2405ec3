"""From the hand in the bay to the handover: what a person sets and reads is what the job, the diagnosis and the paper say.

A person carries out the plan of a simulated car with hidden numbers, over the HTTP API, types what the meters show, and takes
over what was set. The handover must then say what the rig was set to and what it showed; a healthy car has no fault.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pytest
from commands import run
from hand import Hand, run_through
from starlette.testclient import TestClient

from gainwright.composition import compose
from gainwright.jobfile import controls, example_text, read_job_text
from gainwright.simulated import Fault
from gainwright.web import Site, create_app

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

SMALL, STEREO, LARGE = "one_amplifier", "full_range", "two_way_and_sub"
SUBSTANTIAL = math.sqrt(10)
"""The least ratio of likelihoods that is substantial evidence, half a unit of log10 (Jeffreys, Theory of Probability, 3rd
edition 1961, appendix B; the same in Kass and Raftery, J. Am. Stat. Assoc. 90, 1995, section 3.2)."""
READ_OFF = 0.5
"""Half of the last place of a gain read in whole per cent."""
NAMED = 4
"""Causes that a page shows beside a reading."""
Json = dict[str, Any]
CauseAt = tuple[str, str]
HEALTHY: CauseAt = ("nothing_wrong", "")


@dataclass
class Bay:
    """A client of an app in this process."""

    client: TestClient
    cars: dict[tuple[object, ...], Finished] = field(default_factory=dict)

    def get(self, path: str) -> Any:
        """Return what a path answers."""
        answer = self.client.get(path)
        assert answer.status_code == 200, f"{path}: {answer.text}"
        return answer.json()

    def post(self, path: str, body: Json) -> Any:
        """Return the answer to a body."""
        answer = self.client.post(path, json=body)
        assert answer.status_code in (200, 201), f"{path} {body}: {answer.text}"
        return answer.json()

    def believes(self, job: str, evidence: list[Json]) -> dict[CauseAt, float]:
        """Return what a diagnosis of some evidence believes, likeliest first."""
        found = self.post(f"/api/jobs/{job}/diagnosis", {"evidence": evidence})
        return {(c["cause"], c["where"]): c["probability"] for c in found["causes"]}


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


@pytest.fixture(scope="module")
def bay(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bay]:
    """Return a client of an app in this process, with a store of its own."""
    world = compose()
    site = Site(world, world.store(str(tmp_path_factory.mktemp("bay") / "store.sqlite")))
    with TestClient(create_app(site), base_url="http://127.0.0.1") as client:
        yield Bay(client)


def finished(bay: Bay, example: str, seed: int, *faults: Fault) -> Finished:
    """Return a car after its whole run, the same one when it is asked for again."""
    key = (example, seed, *faults)
    if key not in bay.cars:
        bay.cars[key] = _finished(bay, example, seed, *faults)
    return bay.cars[key]


def _finished(bay: Bay, example: str, seed: int, *faults: Fault) -> Finished:
    text = example_text(example)
    job = str(bay.post("/api/jobs", {"text": text})["id"])
    hand = Hand(read_job_text(text).job, seed, faults)
    run_through(hand, bay.get, bay.post, job)
    read = bay.get(f"/api/jobs/{job}/run")
    car = Finished(job, hand, bay.get(f"/api/jobs/{job}/plan"), read, bay.get(f"/api/jobs/{job}/run/takeover"))
    if example != LARGE:
        car.before, car.believed = bay.believes(job, []), bay.believes(job, read["evidence"])
    bay.post(f"/api/jobs/{job}/run/takeover", {"basis": car.offered["revision"]})
    car.handover = bay.get(f"/api/jobs/{job}/papers/handover.json")
    car.after = bay.believes(job, bay.get(f"/api/jobs/{job}/run")["evidence"])
    return car


def typed_values(car: Finished) -> list[float]:
    """Return the numbers that were typed and that are evidence, in the order of the plan, in SI."""
    values: list[float] = []
    for state in car.run["steps"]:
        step = next(s for s in car.plan["steps"] if s["id"] == state["id"])
        texts = car.hand.typed.get(state["id"], [])
        if state["asked"] == "lead":
            values += [number(part) for part in texts[-1].split(";")]
        elif state["asked"] == "column":
            last = texts[-1]
            values.append(number(next(t for t in texts if t.startswith(f"{last} ")).split(" ", 1)[1]))
        elif state["asked"] in ("ohm", "supply") or (state["asked"] == "volts" and not step["proves"]):
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
        if control.endswith(".volume"):
            fits = float(said[control]) == min(car.hand.clean[control]) == rig.settings[control]
        elif control.endswith(".gain"):
            fits = abs(float(said[control].removesuffix("%")) - 100 * rig.settings[control]) <= READ_OFF
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
    return found


def wrong_in_handover(car: Finished) -> list[str]:
    """Return every figure of a handover that isn't what the rig was set to, or what it showed."""
    found = wrong_settings(car) + wrong_voltages(car)
    kinds = {row["control"].rpartition(".")[2] for row in car.offered["controls"]}
    found += [f"offered: {car.offered}"] if kinds != {"volume", "gain"} else []
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
    measured = ("clean limit", "at its target", *(f"supply of {unit}." for unit in supplies))
    found += [missing for missing in car.handover["not_measured"] if any(words in missing for words in measured)]
    return found


def read_outside(car: Finished) -> list[str]:
    """Return the steps that aren't done, and those whose reading doesn't fit."""
    return [
        f"{s['id']}: {s['state']}, {s['verdict']}, {car.hand.typed.get(s['id'])}"
        for s in car.run["steps"]
        if s["state"] != "done" or s["verdict"] not in ("fits", "")
    ]


def odds(probability: float) -> float:
    """Return the odds of a probability."""
    return probability / (1 - probability)


@pytest.mark.parametrize("seed", range(1, 11))
def test_healthy_car_has_no_fault_and_its_handover_is_true(bay: Bay, seed: int) -> None:
    """Every reading fits, none is likelier wrong than the car is healthy, and every figure of the handover is the rig's."""
    car = finished(bay, SMALL, seed)
    assert read_outside(car) == []
    for believed in (car.believed, car.after):
        assert next(iter(believed)) == HEALTHY
        assert odds(believed[HEALTHY]) >= SUBSTANTIAL * odds(car.before[HEALTHY])
    assert wrong_in_handover(car) == []


def test_larger_car_is_healthy_and_its_handover_is_true(bay: Bay) -> None:
    """A processor with three ways, a remote level and a recorder: the same holds."""
    car = finished(bay, LARGE, 1)
    assert read_outside(car) == []
    assert next(iter(car.after)) == HEALTHY
    assert wrong_in_handover(car) == []


FAULTY = [
    (SMALL, 1, Fault("gain_low", "amp")),
    (SMALL, 2, Fault("source_low", "head")),
    (SMALL, 3, Fault("lead_resistive", "lead:head.sub-amp")),
    (SMALL, 4, Fault("load_too_low", "amp")),
    (SMALL, 5, Fault("boost_on", "amp")),
    (SMALL, 6, Fault("speaker_shorted", "sub")),
    (SMALL, 7, Fault("supply_sagging", "amp")),
    (SMALL, 8, Fault("tone_level_wrong", "head")),
    (STEREO, 9, Fault("side_dead", "amp_front.out.left")),
    (STEREO, 10, Fault("balance_over", "head.front")),
]


@pytest.mark.parametrize(("example", "seed", "fault"), FAULTY, ids=lambda v: getattr(v, "cause", str(v)))
def test_fault_is_named_and_the_handover_is_true(bay: Bay, example: str, seed: int, fault: Fault) -> None:
    """The fault is among the causes shown, a healthy car isn't first, and the readings speak for none substantially more."""
    car = finished(bay, example, seed, fault)
    assert car.run["next"] == ""
    for believed in (car.believed, car.after):
        assert (fault.cause, fault.where) in list(believed)[:NAMED]
        assert next(iter(believed)) != HEALTHY
        assert odds(believed[fault.cause, fault.where]) >= SUBSTANTIAL * odds(car.before[fault.cause, fault.where])
        speaks = {cause: p / car.before[cause] for cause, p in believed.items() if car.before[cause] > 0}
        assert max(speaks.values()) <= SUBSTANTIAL * speaks[fault.cause, fault.where], speaks
    assert wrong_in_handover(car) == []


@pytest.mark.parametrize(("seed", "faults"), [(1, ()), (2, (Fault("source_low", "head"),))], ids=["healthy", "faulty"])
def test_command_says_the_same(bay: Bay, tmp_path: Path, seed: int, faults: tuple[Fault, ...]) -> None:
    """The first job's file and the run's readings give the same handover, taken-over job and diagnosis by the command."""
    car = finished(bay, SMALL, seed, *faults)
    (tmp_path / "car.yaml").write_text(example_text(SMALL), encoding="utf-8")
    evidence = bay.get(f"/api/jobs/{car.job}/run")["evidence"]
    (tmp_path / "found.yaml").write_text(json.dumps({"evidence": evidence}), encoding="utf-8")
    for written in ("as it was", "taken over"):
        told = run("report", "car.yaml", "--kind", "handover", "--evidence", "found.yaml", "--json", folder=tmp_path)
        assert told.returncode == 0, told.stderr
        assert json.loads(told.stdout) == car.handover, written
        planned = run("plan", "car.yaml", "--evidence", "found.yaml", "--take-over", "--json", folder=tmp_path)
        assert planned.returncode == 0, planned.stderr
    assert (tmp_path / "car.yaml").read_text(encoding="utf-8") == bay.client.get(f"/api/jobs/{car.job}/file").text
    said = json.loads(run("diagnose", "car.yaml", "--evidence", "found.yaml", "--json", folder=tmp_path).stdout)
    assert {(c["cause"], c["where"]): pytest.approx(c["probability"]) for c in said["causes"]} == car.after
    if faults:
        return
    for step in json.loads(planned.stdout)["steps"]:
        if step["phase"] == "verify" and step["tone_hz"] and not step["proves"]:
            read = number(car.hand.typed[step["id"]][-1])
            wide = next(s["expect"] for s in car.plan["steps"] if s["id"] == step["id"])
            assert step["expect"]["low"] <= read <= step["expect"]["high"]
            assert step["expect"]["high"] - step["expect"]["low"] <= (wide["high"] - wide["low"]) * (1 + 1e-6)
