"""The third world by itself: its circuits against closed forms, its faults against what they must do, a few cases through it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from third_world.car import Car, draw_car
from third_world.cases import at_once
from third_world.deciding import answers, same
from third_world.faults import HEALTHY, Fault, draw_fault
from third_world.lead_circuit import State
from third_world.parts import SHAPES, at_one_percent, curve
from third_world.people import MISTAKES, told
from third_world.spice import POINTS
from third_world.trying import World3
from third_world.world import World, rms, thd

from gainwright.diagnose import Diagnoser
from gainwright.jobfile import read_entry, read_job_text
from gainwright.model import Multimeter, Node

JOB = """
format: 1
title: One amplifier
instruments:
  meter: {kind: multimeter}
stages:
  head: {kind: head_unit, rated_output: 2 V, volume: {steps: 30, at: 30, step: 1 dB, top: 0 dB}, outputs: {main: {}}}
  amp: {kind: amplifier, from: head.main, power: 80 W @ 4 ohm, sensitivity: 0.2 .. 5 V, gain: {at: 40 %}}
  doors: {kind: speaker, from: amp, impedance: 4 ohm}
"""
SOURCE, OUT = Node("head", "main", "left"), Node("amp", "out", "left")
LEAD, FAR = "lead:head.main.left-amp.left", "lead:amp.left-doors.left"


@pytest.fixture(scope="module")
def car() -> Car:
    """Return one car."""
    return draw_car(read_job_text(JOB).job, 4)


def test_a_source_into_an_input_is_a_divider(car: Car) -> None:
    """At -20 dBFS: EMF times input resistance over everything in the loop; the volume's top is 0 dB below its rating."""
    values = car.values
    inside, lead = values["head.output_impedance"], values["lead:head.main-amp.resistance"]
    emf = values["head.output_limit"] * 10 ** ((values["head.volume.top"] - 20) / 20)
    load = values["amp.input_impedance"]
    found = World(car).waves(State(400.0, -20.0)).node[SOURCE]
    assert rms(found) == pytest.approx(emf * (load + lead) / (load + lead + inside), rel=2e-3)
    bad = World(car, (Fault("lead_resistive", LEAD, 1000.0),)).waves(State(400.0, -20.0)).node[SOURCE]
    assert rms(bad) == pytest.approx(emf * (load + lead + 1000) / (load + lead + 1000 + inside), rel=2e-3)


def test_a_shorted_lead_leaves_the_share_of_two_resistors(car: Car) -> None:
    """Half of the lead and the short, over these and the source's own (Ohm's law)."""
    values = car.values
    short = values["lead:head.main-amp.resistance"] / 2 + 0.5
    emf = values["head.output_limit"] * 10 ** ((values["head.volume.top"] - 20) / 20)
    found = World(car, (Fault("lead_shorted", LEAD, 0.5),)).waves(State(400.0, -20.0)).node[SOURCE]
    assert rms(found) == pytest.approx(emf * short / (short + values["head.output_impedance"]), rel=5e-3)


def test_the_transient_agrees_with_the_small_signal(car: Car) -> None:
    """Far from every ceiling ngspice gives the same by either of its analyses."""
    world = World(car)
    state = State(400.0, -20.0)
    small, large = world.waves(state), world._large_signal(state)[0]
    assert (world.small_runs, world.runs) == (1, 1)
    for node, wave in small.node.items():
        assert rms(large.node[node]) == pytest.approx(rms(wave), rel=5e-3)


@pytest.mark.parametrize("shape", SHAPES)
def test_a_ceiling_is_rated_at_one_per_cent(shape: str) -> None:
    """A sine of the found depth has 1 % THD, by its lines."""
    turn = np.sin(2 * np.pi * np.arange(POINTS) / POINTS)
    drives = np.linspace(0.05, 2.0, 4000)
    sizes = np.array([rms(curve(shape, d * turn)) for d in drives[::40]])
    drive = float(np.interp(at_one_percent(shape), sizes, drives[::40]))
    assert thd(curve(shape, drive * turn)) == pytest.approx(0.01, rel=0.06)


def test_a_meter_reads_a_square_wave_eleven_per_cent_high_or_right(car: Car) -> None:
    """pi/(2 sqrt(2)) = 1.1107 of the peak by an average-responding meter, the peak by one of true rms (form factors)."""
    oracle = World3(car, (), quiet=True)
    square = np.where(np.arange(POINTS) < POINTS // 2, 3.0, -3.0)
    plain = oracle.instruments["meter"]
    assert isinstance(plain, Multimeter)
    rng = np.random.default_rng(1)
    for true_rms, shown in ((True, 3.0), (False, 3 * math.pi / (2 * math.sqrt(2)))):
        meter = plain.model_copy(update={"true_rms": true_rms, "bandwidth": None})
        text = oracle._meter(meter, "meter", square, 0.0, 100.0, rng)
        assert float(text.split()[0]) == pytest.approx(shown, rel=2e-3)


def test_an_amplifier_gives_its_rated_power_at_its_ceiling(car: Car) -> None:
    """Driven far over it clips; its rms then lies between the clean and the square wave of its asymptote, and THD shows it."""
    world = World(car)
    wave = world.waves(State(400.0, 0.0, sets=(("amp.gain", "90 %"),)))
    rated_v = math.sqrt(car.values["amp.power.0"] * 4)
    assert world.runs >= 1
    assert thd(wave.node[OUT]) > 0.1
    assert 0.85 * rated_v < rms(wave.node[OUT]) < 1.6 * rated_v
    assert wave.supply["amp"] < car.values["vehicle.running"] - 0.1


def test_an_amplifier_does_not_drive_a_short(car: Car) -> None:
    """It protects, or what it gives is its limit of current through the short and half of the lead (Ohm's law)."""
    limit_a = car.stages["amp"].limit * math.sqrt(2 * car.values["amp.power.0"] / 4)
    short = 0.1 + car.values["lead:amp-doors.resistance"] / 2
    for protects in (True, False):
        unit = replace(car.units["amp"], protects=protects)
        one = replace(car, units={"amp": unit})
        found = World(one, (Fault("lead_shorted", FAR, 0.1),)).waves(State(400.0, -6.0))
        assert found.tripped == ({"amp"} if protects else frozenset())
        top = float(np.max(np.abs(found.node[OUT])))
        assert top < 1e-3 if protects else 0.9 * limit_a * short < top < 1.02 * limit_a * short


def test_every_cause_changes_an_answer(car: Car) -> None:
    """Of each cause that the product names at a place: some test that it may propose is answered differently."""
    diagnoser = Diagnoser(car.job)
    asked = [c.entry for c in diagnoser.tests(diagnoser.weigh(())).catalogue.all() if c.test not in ("swap_leads",)]
    sound = answers(car, (), asked)
    rng = np.random.default_rng(2)
    left = {c.id: c for c in diagnoser.causes if c.id not in HEALTHY}
    thin = World(car, (draw_fault("supply_sagging", left.pop("supply_sagging").where, car.job, car.wiring, rng),))
    loud = State(400.0, 0.0, sets=(("amp.gain", "90 %"),))
    assert (
        thin.supplies(loud)["amp"] < World(car).supplies(loud)["amp"] - 0.5
    )  # a thin supply lead shows under load only
    for cause in left.values():
        oracle = World3(car, (draw_fault(cause.id, cause.where, car.job, car.wiring, rng),), quiet=True)
        assert any(not same(oracle.answer(e), s) for e, s in zip(asked, sound, strict=True)), cause


def test_music_behind_a_low_pass_is_dull_and_behind_a_corroded_lead_as_usual(car: Car) -> None:
    """A filter takes one end of the band, a resistance before an input as much of all of it."""
    asked = read_entry({"check": "doors.sounds"}, car.job, answered=False)
    for fault, word in (
        (Fault("low_pass_in_the_way", "amp", 0.3), "dull"),
        (Fault("lead_resistive", LEAD, 5e3), "usual"),
    ):
        assert World3(car, (fault,)).answer(asked)["is"] == word


def test_a_bad_ground_of_the_source_whines_on_every_branch_while_the_engine_runs() -> None:
    """A lead that picks it up whines on its own branch alone; the same volts come in at the inputs in both worlds."""
    two = JOB.replace("{main: {}}", "{main: {}, rear: {}}") + (
        "  back: {kind: amplifier, from: head.rear, power: 40 W @ 4 ohm, sensitivity: 0.2 .. 5 V, gain: {at: 60 %}}\n"
        "  shelf: {kind: speaker, from: back, impedance: 4 ohm}\n"
    )
    car = draw_car(read_job_text(two).job, 4)

    def heard(fault: Fault, **keys: str) -> list[str]:
        asked = [{"heard": s, "tone": "off", **keys} for s in ("doors", "shelf")]
        return [World3(car, (fault,), quiet=True).answer(read_entry(e, car.job, answered=False))["is"] for e in asked]

    ground = Fault("source_ground_bad", "head", 0.06)
    assert heard(ground) == ["whine", "whine"]
    assert heard(ground, engine="off") == ["silent", "silent"]
    assert heard(Fault("alternator_whine", "lead:head.main-amp", 0.06)) == ["whine", "silent"]
    asked = read_entry({"check": "amp.unplugged"}, car.job, answered=False)
    assert World3(car, (ground,)).answer(asked)["is"] == "gone"


def test_people_mistake_a_word_for_a_neighbour_now_and_then() -> None:
    """As often as stated, and mostly for a plausible one."""
    rng = np.random.default_rng(3)
    said = [told({"heard": "doors", "is": "faint"}, rng)["is"] for _ in range(4000)]
    wrong = [w for w in said if w != "faint"]
    assert 0.6 * MISTAKES["word"] < len(wrong) / len(said) < 1.4 * MISTAKES["word"]
    assert np.mean([w in ("silent", "normal") for w in wrong]) > 0.7


def test_an_entry_is_answered_in_its_own_words(car: Car) -> None:
    """An open speaker lead: nothing is heard, and the ohms are open."""
    oracle = World3(car, (Fault("lead_open", FAR),))
    heard = read_entry({"heard": "doors", "side": "left"}, car.job, answered=False)
    ohms = read_entry({"check": "doors.left.resistance"}, car.job, answered=False)
    assert oracle.answer(heard)["is"] == "silent"
    assert oracle.answer(ohms)["reads"] == "open"


@pytest.mark.parametrize("seed", [3, 12])
def test_right_causes_are_found_in_it(seed: int) -> None:
    """Two small cases through the whole."""
    case = at_once(seed)
    assert case.decidable
    assert case.group == 0, case.leading
