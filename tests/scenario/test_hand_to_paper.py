"""From the hand in the bay to the handover: what a person sets and reads is what the job, the diagnosis and the paper say.

A person carries out the plan of a simulated car with hidden numbers, over the HTTP API, types what the meters show, and takes
over what was set. The handover must then say what the rig was set to and what it showed; a healthy car has no fault.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pytest
from commands import run
from finished_run import CauseAt, Finished, Json, number, read_outside, wrong_in_handover
from hand import Hand, run_through
from starlette.testclient import TestClient

from gainwright.composition import compose
from gainwright.jobfile import example_text, read_job_text
from gainwright.simulated import Fault
from gainwright.web import Site, create_app

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

SMALL, STEREO, LARGE = "one_amplifier", "full_range", "two_way_and_sub"
LUCKLESS = (LARGE, 5)
"""A healthy car after whose readings a fault stood first while a volume fully up was doubted."""
SUBSTANTIAL = math.sqrt(10)
"""The least ratio of likelihoods that is substantial evidence, half a unit of log10 (Jeffreys, Theory of Probability, 3rd
edition 1961, appendix B; the same in Kass and Raftery, J. Am. Stat. Assoc. 90, 1995, section 3.2)."""
LARGE_FROM = 45
"""Steps of a plan from which beliefs are asked for once only: they take their time."""
NAMED = 4
"""Causes that a page shows beside a reading."""
HEALTHY: CauseAt = ("nothing_wrong", "")
LEAST = 1e-300
"""Stands for a probability that is no longer a number above 0."""


@dataclass
class Bay:
    """A client of an app in this process."""

    client: TestClient
    cars: dict[tuple[object, ...], Finished] = field(default_factory=dict)
    untouched: dict[str, dict[CauseAt, float]] = field(default_factory=dict)
    """The probabilities of the causes of each example before any reading: a function of the job alone."""

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

    def enter(self, job: str, entry: Json) -> Any:
        """Enter something at a step; asked whether a decimal point was lost, say that it is as the meter shows it."""
        answer = self.client.post(f"/api/jobs/{job}/run", json=entry)
        if answer.status_code == 422 and answer.json()["code"] == "asked_about":
            answer = self.client.post(f"/api/jobs/{job}/run", json={**entry, "sure": True})
        assert answer.status_code == 201, f"{entry}: {answer.text}"
        return answer.json()

    def believes(self, job: str, evidence: list[Json]) -> dict[CauseAt, float]:
        """Return what a diagnosis of some evidence believes, likeliest first."""
        found = self.post(f"/api/jobs/{job}/diagnosis", {"evidence": evidence})
        return {(c["cause"], c["where"]): c["probability"] for c in found["causes"]}


@pytest.fixture(scope="module")
def bay(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bay]:
    """Return a client of an app in this process, with a store of its own."""
    world = compose()
    site = Site(world, world.store(str(tmp_path_factory.mktemp("bay") / "store.sqlite")))
    with TestClient(create_app(site), base_url="http://127.0.0.1") as client:
        yield Bay(client)


def finished(bay: Bay, example: str, seed: int, *faults: Fault, tells_gain: bool = True) -> Finished:
    """Return a car after its whole run, the same one when it is asked for again."""
    key = (example, seed, tells_gain, *faults)
    if key not in bay.cars:
        text = example_text(example)
        hand = Hand(read_job_text(text).job, seed, faults, tells_gain)
        bay.cars[key] = _finished(bay, str(bay.post("/api/jobs", {"text": text})["id"]), hand, example)
    return bay.cars[key]


def _finished(bay: Bay, job: str, hand: Hand, example: str) -> Finished:
    run_through(hand, bay.get, bay.enter, job)
    read = bay.get(f"/api/jobs/{job}/run")
    car = Finished(job, hand, bay.get(f"/api/jobs/{job}/plan"), read, bay.get(f"/api/jobs/{job}/run/takeover"))
    if len(car.plan["steps"]) < LARGE_FROM:
        if example not in bay.untouched:
            bay.untouched[example] = bay.believes(job, [])
        car.before, car.believed = bay.untouched[example], bay.believes(job, read["evidence"])
    bay.post(f"/api/jobs/{job}/run/takeover", {"basis": car.offered["revision"]})
    car.handover = bay.get(f"/api/jobs/{job}/papers/handover.json")
    car.after = bay.believes(job, bay.get(f"/api/jobs/{job}/run")["evidence"])
    return car


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


def names_a_fault(believed: dict[CauseAt, float], before: dict[CauseAt, float]) -> bool:
    """Return whether a step's page names a fault: a healthy car got less likely, or the first fault strongly and by far more so.

    Faults that aren't told from the first count with it.
    """
    first = next(iter(believed))
    near = [c for c in list(believed)[:NAMED] if c != HEALTHY and believed[c] * SUBSTANTIAL > believed[first]]
    now, then = (sum(p[c] for c in near) / max(p[HEALTHY], LEAST) for p in (believed, before))
    return first != HEALTHY and (believed[HEALTHY] < before[HEALTHY] or now >= max(10 * then, SUBSTANTIAL))


@pytest.mark.parametrize(("example", "seed"), [(LARGE, 1), LUCKLESS])
def test_larger_car_is_healthy_and_its_handover_is_true(bay: Bay, example: str, seed: int) -> None:
    """A processor with three ways, a remote level and a recorder, its filters proved: no fault is named, and the paper is true."""
    car = finished(bay, example, seed)
    assert read_outside(car) == []
    assert not names_a_fault(car.after, bay.believes(car.job, []))
    assert wrong_in_handover(car) == []


def test_gain_without_a_scale_lies_where_the_paper_says(bay: Bay) -> None:
    """No position is typed: the handover's is worked out from the voltage, and its interval holds the rig's."""
    car = finished(bay, SMALL, 3, tells_gain=False)
    assert [c["how"] for c in car.offered["controls"]] == ["clean_step", "worked_out"]
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
        assert names_a_fault(believed, car.before)
        assert odds(believed[fault.cause, fault.where]) >= SUBSTANTIAL * odds(car.before[fault.cause, fault.where])
        speaks = {cause: p / car.before[cause] for cause, p in believed.items() if car.before[cause] > 0}
        assert max(speaks.values()) <= SUBSTANTIAL * speaks[fault.cause, fault.where], speaks
    assert wrong_in_handover(car) == []


@pytest.mark.parametrize(("seed", "cause"), [(1, "gain_low"), (2, "gain_high")])
def test_gain_fault_has_one_name_before_and_after_the_take_over(bay: Bay, seed: int, cause: str) -> None:
    """Beside a job that knows nothing of the run, and beside the one that took it over, the same readings name the same fault."""
    car = finished(bay, SMALL, seed, Fault(cause, "amp"))
    stranger = str(bay.post("/api/jobs", {"text": example_text(SMALL)})["id"])
    before = bay.believes(stranger, car.run["evidence"])
    assert (cause, "amp") in list(car.after)[:2]
    assert next(iter(before)) == next(iter(car.after))
    assert before == pytest.approx(car.after, abs=0.01)


SILENT = [Fault("lead_shorted", "lead:head.sub-amp"), Fault("low_pass_in_the_way", "amp", 12.0)]


@pytest.mark.parametrize("fault", SILENT, ids=lambda fault: fault.cause)
def test_source_that_does_not_arrive_is_not_clean(bay: Bay, tmp_path: Path, fault: Fault) -> None:
    """Hardly a signal at every step: the last one is no clean step, and the handover says that it wasn't measured."""
    car = finished(bay, SMALL, 4, fault)
    assert next(s["verdict"] for s in car.run["steps"] if s["asked"] == "column") == "low"
    told = handover_by_command(bay, car, tmp_path)
    for said in (car.handover, told):
        assert said["last_clean_step"] is None
        assert any("clean limit" in missing for missing in said["not_measured"])


def handover_by_command(bay: Bay, car: Finished, folder: Path) -> Any:
    """Return the handover's data by the command, from the first job's file and the run's readings as a file."""
    evidence = bay.get(f"/api/jobs/{car.job}/run")["evidence"]
    (folder / "car.yaml").write_text(example_text(SMALL), encoding="utf-8")
    (folder / "found.yaml").write_text(json.dumps({"evidence": evidence}), encoding="utf-8")
    return _handover(folder)


def _handover(folder: Path) -> Any:
    told = run("report", "car.yaml", "--kind", "handover", "--evidence", "found.yaml", "--json", folder=folder)
    assert told.returncode == 0, told.stderr
    return json.loads(told.stdout)


@pytest.mark.parametrize(("seed", "faults"), [(1, ()), (2, (Fault("source_low", "head"),))], ids=["healthy", "faulty"])
def test_command_says_the_same(bay: Bay, tmp_path: Path, seed: int, faults: tuple[Fault, ...]) -> None:
    """The first job's file and the run's readings give the same handover, taken-over job and diagnosis by the command."""
    car = finished(bay, SMALL, seed, *faults)
    assert handover_by_command(bay, car, tmp_path) == car.handover
    planned = run("plan", "car.yaml", "--evidence", "found.yaml", "--take-over", "--json", folder=tmp_path)
    assert planned.returncode == 0, planned.stderr
    assert (tmp_path / "car.yaml").read_text(encoding="utf-8") == bay.client.get(f"/api/jobs/{car.job}/file").text
    assert _handover(tmp_path) == car.handover
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
