"""Power and heat of a job: what each device takes, what is found wrong, and that its remedies mend it."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from scipy import integrate, stats
from supply_cases import JOB, brute_force, codes, evaluated

from gainwright.jobfile import read_job_text, with_changes
from gainwright.plan import amplifier_loads
from gainwright.power import STATES, evaluate_power
from gainwright.power.cable_remedies import Evaluated
from gainwright.power.programmes import Programme, programme
from gainwright.power.supply_states import supply_states
from gainwright.programme.music_result import BandFigures, MusicResult, TimeAbove, TrackFigures
from gainwright.solve import Voltage


def test_class_b_amplifier_draws_as_the_worked_example_says() -> None:
    """500 W into 2 ohm of resistance, converter 85 %, 13.8 V: 15.2 A for 50 W of Gaussian programme, 54.3 A for a full sine."""
    job = read_job_text(JOB).job
    (of_job,) = amplifier_loads(job)
    load = dataclasses.replace(of_job, music_ohm=2.0, sine_ohm=2.0)
    gauss = Voltage(50 * 2.0, float(np.sqrt(2 / np.pi * 50 * 2)))
    sine = Voltage(500 * 2.0, float(2 * np.sqrt(2) / np.pi * np.sqrt(500 * 2)))
    states = supply_states(job, {"amp": load}, {"amp": Programme(gauss, gauss, gauss, sine, 44.7)})
    assert states.watts["amp"]["music"] / 13.8 == pytest.approx(15.2, abs=0.05)
    assert states.watts["amp"]["full_sine"] / 13.8 == pytest.approx(54.3, abs=0.05)


@pytest.mark.parametrize("allowance_db", [0.0, 6.0, 15.0])
def test_means_of_clipped_music(allowance_db: float) -> None:
    """A Gaussian programme of -15 dBFS rms (AES17) with everything above the ceiling cut: against scipy's integrals, 1 %."""
    job = with_changes(read_job_text(JOB).job, {"allowance.all": f"{allowance_db:g} dB"})
    (load,) = amplifier_loads(job)
    rms = 10 ** (-15 / 20) / np.sqrt(2)
    points = tuple(
        TimeAbove(db, 200 * float(stats.norm.sf(10 ** (db / 20) / rms))) for db in np.arange(-60.0, 6.5, 0.5).tolist()
    )
    band = BandFigures(0.0, 0.0, -15.0, 15.0, 0.0, 0.0, 0.0, -9.0)
    track = TrackFigures("a", 60.0, 48000, 2, -15.0, 5.0, 0.0, {load.band.key: band}, {})
    music: Any = dataclasses.replace(_empty(), tracks=(track,), distribution={load.band.key: points})
    played = programme(load, music)
    scale = np.sqrt(2) * load.target_v * 10 ** (load.band.allowance_db / 20) * rms
    ceiling = np.sqrt(2) * load.ceiling_v

    def mean(of: Any) -> float:
        inside = integrate.quad(lambda x: of(x * scale) * stats.norm.pdf(x), 0, ceiling / scale)[0]
        return float(2 * (inside + of(ceiling) * stats.norm.sf(ceiling / scale)))

    assert played.music.mean_abs_v == pytest.approx(mean(abs), rel=0.01)
    assert played.music.mean_square_v2 == pytest.approx(mean(np.square), rel=0.01)
    assert played.worst_second.mean_square_v2 <= ceiling**2 * 1.000001
    assert played.worst_second.mean_square_v2 >= played.music.mean_square_v2


def _empty() -> MusicResult:
    from gainwright.programme import Limits

    return MusicResult("", (), {}, {}, {}, {}, Limits(), 60.0, 0, ())


def test_an_intact_supply_has_no_caution() -> None:
    """A job with enough copper, fuse and alternator: nothing is found."""
    assert codes(evaluated()) == {}


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"supply__main__fuse": "150 A"}, "fuse_above_wire"),
        ({"supply__main__wire": "12 AWG", "supply__main__fuse": "50 A"}, "fuse_above_wire"),
        ({"supply__main__fuse": "15 A"}, "fuse_small"),
        ({"supply__main__fuse_distance": "2 m"}, "fuse_far"),
        ({"supply__main__wire": "16 AWG", "supply__main__length": "8 m", "supply__main__fuse": "30 A"}, "fuse_slow"),
        ({"supply__main__wire": "14 AWG", "supply__main__fuse": "30 A"}, "cable_drop"),
        ({"supply__main__wire": "18 AWG", "supply__main__length": "1 m", "supply__main__fuse": "10 A"}, "wire_thin"),
    ],
)
def test_a_fault_is_found_and_its_remedy_mends_it(changes: dict[str, str], code: str) -> None:
    """Each finding that proposes changes is gone with them, and none of its kind comes in its place."""
    found = evaluated(**changes)
    finding = codes(found)[code]
    assert finding.remedy_sets
    assert code not in codes(found.with_changes(finding.remedy_sets))


def test_no_fuse_and_a_small_alternator() -> None:
    """A cable without a fuse is told with the current of a short circuit: battery over all resistances, by hand."""
    found = evaluated()
    job = found.job.model_copy(update={"supply": {"main": found.job.supply["main"].model_copy(update={"fuse": None})}})
    bare = Evaluated(job, found.amplifiers, found.programmes, supply_states(job, found.amplifiers, found.programmes))
    finding = codes(bare)["no_fuse"]
    # 4 AWG 21.15 mm2 (ASTM B258), 5 m, copper at 50 degrees C, 2 + 1 milliohm of body and joints, battery 0.4/70 ohm
    short = 12.6 / (5 / 58 / 21.15 * (1 + 0.00393 * 30) + 0.003 + 0.4 / 70)
    assert f"{short:.0f} A" in finding.message
    small = codes(evaluated(vehicle__alternator__current="35 A"))["alternator_small"]
    assert small.severity == "caution"


def test_nothing_is_said_to_carry_that_does_not() -> None:
    """100 random supplies (1,000 in bench/power.py): what isn't found wrong is right by direct arithmetic."""
    assert brute_force(np.random.default_rng(6), 100) > 30


def test_a_coil_is_at_its_limit_at_its_rating() -> None:
    """The prior is such that the rated power, for ever, heats to what the coil stands; half of it to well under that."""
    text = JOB.replace("power: 500 W, re", "power: 62.5 W, re")
    result = evaluate_power(read_job_text(text).job)
    (speaker,) = result.speakers
    # an eighth of the target's power, which the speaker's own rating sets
    assert speaker.mean_w == pytest.approx(62.5 / 8)
    assert speaker.heat_share is not None
    assert 0.15 < speaker.heat_share < 0.22
    # T = R P/(1 + a T) with R = T1 (1 + a T1)/P1: for P = P1/8 and T1 = 180 K this is 34 K
    a = 0.00393
    rise = (np.sqrt(1 + 4 * a * 180 * (1 + a * 180) / 8) - 1) / (2 * a)
    assert speaker.heat_share == pytest.approx(rise / 180, rel=0.05)


def test_states_are_ordered() -> None:
    """Currents grow from idle over music and its worst second to a full sine; voltages fall."""
    result = evaluate_power(read_job_text(JOB).job)
    (cable,) = result.cables
    amps = [cable.amps[state] for state in STATES]
    assert amps == sorted(amps, key=lambda a: a or 0.0)
    volts = [cable.end_v[state] for state in STATES]
    assert volts == sorted(volts, key=lambda v: -(v or 0.0))
    assert result.battery.alternator_carries == dict(zip(STATES, (True, True, True, False), strict=True)) | {
        state: True for state in STATES if (result.battery.drawn_a[state] or 0.0) <= 60
    }


@pytest.mark.parametrize(
    ("supply", "says"),
    [
        ("main: {from: other, feeds: [amp]}", "other is not a cable"),
        ("a: {from: b}\n  b: {from: a, feeds: [amp]}", "comes from itself"),
        ("a: {feeds: [amp]}\n  b: {feeds: [amp]}", "is fed by a and by b"),
        ("a: {feeds: [sub]}", "takes no supply"),
        ("amp: {feeds: [amp]}", "already the name"),
        ("a: {feeds: [amp], wire: 99 AWG}", "no supply cable"),
        ("a: {feeds: [amp], fuse: 0 A}", "zero"),
    ],
)
def test_a_supply_that_cannot_be_is_refused(supply: str, says: str) -> None:
    """One sentence with the place."""
    from gainwright.errors import JobError

    text = JOB[: JOB.index("supply:")] + f"supply:\n  {supply}\n"
    with pytest.raises(JobError) as refused:
        read_job_text(text)
    assert says in str(refused.value)


@pytest.mark.parametrize(
    ("text", "area_mm2"), [("4 AWG", 21.15), ("1/0 AWG", 53.48), ("00 awg", 67.43), ("25 mm2", 25.0)]
)
def test_wire_sizes(text: str, area_mm2: float) -> None:
    """Gauges as in ASTM B258, areas as written."""
    from gainwright.model import WireSize
    from gainwright.solve import area_m2

    found = area_m2(WireSize.parse(text))
    assert found is not None
    assert 1e6 * found == pytest.approx(area_mm2, rel=2e-4)


def test_a_case_with_a_regulated_and_an_unregulated_amplifier() -> None:
    """At full power only the unregulated one is a resistance, and it is its ceiling that follows: one rule for both, by hand.

    500 W into 2 ohm, 50 % efficient as class D: 1000 W each. The cable has 5 m of 4 AWG copper at 50 degrees C, 1 milliohm of joints
    and 2 of body.
    """
    amplifier = "kind: amplifier, sides: [mono], power: 500 W @ 2 ohm, sensitivity: 0.2 .. 5 V, class: D, efficiency: 50 %, idle: 0 A"
    text = f"""
format: 1
title: Blue van
vehicle: {{running: 13.8 V}}
stages:
  head: {{kind: head_unit, rated_output: 4 V}}
  held: {{{amplifier}, from: head, regulated: yes, chassis: box}}
  free: {{{amplifier}, from: head, chassis: box}}
  one: {{kind: speaker, from: held, impedance: 2 ohm, power: 900 W}}
  two: {{kind: speaker, from: free, impedance: 2 ohm, power: 900 W}}
supply: {{main: {{feeds: [box], length: 5 m, wire: 4 AWG, fuse: 150 A}}}}
"""
    (device,) = [d for d in evaluate_power(read_job_text(text).job).devices if d.name == "box"]
    ohm = 5 / 58 / 21.15 * (1 + 0.00393 * 30) + 0.003
    watts = device.watts["full_sine"] / 2
    volts = max(np.roots([1 + ohm * watts / 14.4**2, -13.8, ohm * watts]).real)
    assert device.volts["full_sine"] == pytest.approx(volts, abs=0.005)
    assert device.ceiling_db["full_sine"] == pytest.approx(20 * np.log10(volts / 13.8), abs=0.005)
