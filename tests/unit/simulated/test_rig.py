"""The rig: its faults have effects, its meter rounds, the same seed gives the same rig."""

from __future__ import annotations

import functools
import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from indicators import with_lamp

from gainwright.errors import CallError
from gainwright.jobfile import example_text, examples, facts, read_job_text
from gainwright.model import Amplifier, Indicator, Job, Multimeter, Node, Recorder, Speaker, resolve
from gainwright.simulated import AMOUNTS, Fault, Rig, possible_faults

if TYPE_CHECKING:
    from collections.abc import Iterator

ALL_CAUSES = {
    "lead_open", "lead_resistive", "lead_shorted", "leads_swapped", "polarity_reversed", "source_muted", "source_low",
    "balance_over", "tone_level_wrong", "level_control_down", "gain_muted", "gain_low", "gain_high", "input_range_wrong",
    "low_pass_in_the_way", "high_pass_in_the_way", "boost_on", "output_muted", "output_misrouted",
    "wrong_tone_for_path", "measuring_lead_open", "measuring_lead_shorted", "meter_wrong_function",
    "indicator_below_threshold", "amplifier_no_turn_on", "amplifier_no_supply", "amplifier_protecting", "side_dead",
    "load_too_low", "supply_sagging", "speaker_open", "speaker_shorted", "coil_reversed", "ground_loop",
    "alternator_whine", "nothing_wrong",
    "box_no_power", "shared_no_supply", "shared_no_turn_on", "fader_over", "output_switched_off", "outputs_crossed",
    "speaker_damaged", "coil_open", "input_mode_wrong", "player_equaliser_on", "control_bypassed", "lead_loose",
    "amplifier_hot", "source_ground_bad",
}  # fmt: skip
TONES_HZ = (47.0, 400.0, 6000.0)
"""From 46.9 Hz on, a period at the rig's rate has 16,384 samples, below twice as many."""


@functools.cache
def job(name: str) -> Job:
    """Return an example."""
    return read_job_text(example_text(name)).job


def observed(rig: Rig) -> Iterator[tuple[str, Any]]:
    """Look at everything that can be looked at, one after the other, what takes longest last.

    Leads, lamps, cones, ears, volts with phase at each node, instruments.
    """
    wiring = resolve(rig.job)
    amplifiers, speakers = ([n for n, s in rig.job.stages.items() if isinstance(s, k)] for k in (Amplifier, Speaker))
    for name in amplifiers:
        rig.turn(f"{name}.gain", 0.4)
        rig.play(400.0 if "sub" not in name else 47.0, 0.0)  # a supply drops under load
        yield f"{name} supply", (rig.supply_voltage(name), rig.turn_on_voltage(name), rig.lamps(name))
    for run in wiring.leads:
        yield f"{run}", np.array([rig.lead_resistance(str(run)), rig.between_conductors(str(run))])
    for name in speakers:
        yield name, f"{rig.speaker_resistance(name):.3g}"
        yield f"{name} cone", rig.cone(name)
    for tone_hz in TONES_HZ:
        for sides in ("left", "both"):
            rig.play(tone_hz, -10.0, sides=sides)
            for node, period in rig.periods().items():
                yield f"{node} {tone_hz} {sides}", np.fft.rfft(period)[:8] / len(period)
        for name in speakers:
            yield f"{name} {tone_hz} heard", rig.listen(name)
    for name in rig.instruments:
        yield name, instrument_shows(rig, name, str(wiring.nodes[0]))


def instrument_shows(rig: Rig, name: str, node: str) -> Any:
    """Return what one instrument shows."""
    instrument = rig.instruments[name]
    if isinstance(instrument, Multimeter):
        return np.array([rig.read_v(node, name)])
    if isinstance(instrument, Indicator):
        return rig.read_indicator(node, name)
    assert isinstance(instrument, Recorder)
    return np.array([np.std(rig.record(node, name, seconds=0.1)[0])])


def hum(rig: Rig) -> Iterator[tuple[str, Any]]:
    """Listen to every amplifier with no tone played."""
    outputs = [n for n in resolve(rig.job).nodes if isinstance(rig.job.stages[n.stage], Amplifier)]
    for node in outputs:
        rig.turn(f"{node.stage}.gain", 0.4)
    rig.play(1000.0, -200.0)
    for node in outputs:
        yield str(node), np.array([np.std(rig.waveform(str(node), seconds=0.1, rate_hz=48_000.0))])


def differs(a: Any, b: Any) -> bool:
    """Whether two observations differ by more than 2 % (or 0.1 mV)."""
    if isinstance(a, np.ndarray):
        with np.errstate(invalid="ignore"):
            same = np.isclose(a, b, rtol=0.02, atol=1e-4, equal_nan=True)
        return not bool(np.all(same))
    return bool(a != b)


@functools.cache
def sound(name: str, look: Any) -> dict[str, Any]:
    """Return everything observable of an example without any fault."""
    return dict(look(Rig(job(name), seed=4)))


# what the person does, not the chain: played or read otherwise, the rig itself stays the same
DONE_BY_HAND = {"wrong_tone_for_path", "indicator_below_threshold", "nothing_wrong"}
# a control that stands at its top passes the same without it: what shows it is that turning it does nothing
BY_TURNING = {"control_bypassed"}


@pytest.mark.parametrize("name", ["two_way_and_sub", "factory_converter", "bridged_pair"])
def test_every_fault_at_every_place_has_an_effect(name: str) -> None:
    """Each cause shows at some node, instrument, lamp, lead, cone or ear.

    But for an alternator's whine (700 Hz and up) into amplifiers that are low-passed under 100 Hz: nobody hears that.
    """
    unseen = []
    for cause, where in possible_faults(job(name)):
        if cause in DONE_BY_HAND | BY_TURNING:
            continue
        look = hum if cause in ("ground_loop", "alternator_whine", "source_ground_bad") else observed
        seen = look(Rig(job(name), seed=4, faults=(Fault(cause, where),)))
        if not any(differs(sound(name, look)[key], value) for key, value in seen):  # no further than to the first
            unseen.append((cause, where))
    whine = [(cause, where) for cause, where in unseen if not where.startswith("lead:head.sub-")]
    assert {cause for cause, _ in unseen} <= {"alternator_whine", "source_ground_bad"}
    assert whine == ([("source_ground_bad", "head")] if name == "bridged_pair" else []), unseen


def test_every_cause_has_a_place() -> None:
    """The ids are fixed; each can occur in at least one of the examples, or where a lamp shows that a signal is present."""
    found = {cause for name in examples() for cause, _ in possible_faults(job(name))}
    found |= {cause for cause, _ in possible_faults(read_job_text(with_lamp(example_text("one_amplifier"))).job)}
    assert found == ALL_CAUSES
    assert set(AMOUNTS) <= ALL_CAUSES


def test_the_same_seed_gives_the_same_rig() -> None:
    """Hidden numbers, noise and rounding depend on the seed alone."""
    one, again, other = (dict(observed(Rig(job("one_amplifier"), seed=s))) for s in (7, 7, 8))
    assert not any(differs(one[key], again[key]) for key in one)
    assert any(differs(one[key], other[key]) for key in one)


def test_a_rig_that_was_used_gives_what_a_new_one_gives() -> None:
    """Whatever was turned, unplugged, probed or played before: each voltage is that of a rig that has done nothing yet."""
    used = Rig(job("two_way_and_sub"), seed=5)
    turns: list[tuple[str, Any]] = [
        ("turn", ("amp_sub.gain", 0.4)), ("turn", ("head.volume", 12)), ("disconnect", (("sub",),)),
        ("turn", ("knob.level", -6.0)), ("play", (45.0, -10.0)), ("set", ("amp_front.gain", "40 %")),
        ("disconnect", ((),)), ("turn", ("amp_sub.gain", 0.1)),
    ]  # fmt: skip
    used.play(400.0, -3.0)
    for i, (name, arguments) in enumerate(turns, start=1):
        getattr(used, name)(*arguments)
        new = Rig(used.job, seed=5, truth=used.truth)
        new.settings = dict(used.settings)
        new.off, new.charger = used.off, used.charger
        new.play(*used._tone)
        for ohm in (None, 20e3):
            node = "amp_sub.out.mono" if i % 2 else "desk.woofer.left"
            assert np.array_equal(used.period(node, probe_ohm=ohm)[0], new.period(node, probe_ohm=ohm)[0]), (i, name)
        fresh = new.periods()
        assert all(np.array_equal(wave, fresh[node]) for node, wave in used.periods().items()), (i, name)


def test_hidden_numbers_are_within_the_jobs_spreads() -> None:
    """Over many seeds each hidden number fills its own 95 % interval, and hardly leaves it."""
    inside: list[bool] = []
    for seed in range(60):
        rig = Rig(job("two_way_and_sub"), seed=seed)
        for path, fact in facts(rig.job).items():
            low, high = fact.quantity.interval
            if high > low:
                inside.append(low <= rig.truth[path] <= high)
    assert 0.93 < np.mean(inside) < 0.97


def test_given_hidden_number_is_used() -> None:
    """One hidden number can be set."""
    assert Rig(job("one_amplifier"), seed=1, truth={"amp.headroom": 0.25}).truth["amp.headroom"] == 0.25


def test_a_meter_shows_whole_digits_within_its_accuracy() -> None:
    """A 4000-count meter of 1.5 % + 5 counts: digits of its range, and never a larger error."""
    errors = []
    for seed in range(40):
        rig = Rig(job("one_amplifier"), seed=seed)
        rig.play(50.0, -10.0)
        period, _ = rig.period("head.sub.mono", probe_ohm=1e7)
        true = math.sqrt(float(np.mean(period**2)))
        reads = rig.read_v("head.sub.mono", "meter")
        digit = 10.0 ** math.ceil(math.log10(true / 4000))
        assert reads / digit == pytest.approx(round(reads / digit), abs=1e-6)
        errors.append(abs(reads - true) / (0.015 * true + 5.5 * digit))
    assert max(errors) <= 1
    assert max(errors) > 0.5  # it does err


def test_an_average_responding_meter_misreads_a_square() -> None:
    """A square wave reads 1.1107 times its rms (pi/(2 sqrt 2), form factors; see the table of meters)."""
    rig = Rig(job("one_amplifier"), seed=1, truth={"head.output_limit": 0.5, "head.volume.top": 60.0})
    rig.turn("head.volume", 35.0)
    rig.play(50.0, 0.0)
    period, _ = rig.period("head.sub.mono", probe_ohm=1e7)
    rms = math.sqrt(float(np.mean(period**2)))
    assert rig.read_v("head.sub.mono", "meter") / rms == pytest.approx(math.pi / (2 * math.sqrt(2)), rel=0.03)


@pytest.mark.parametrize(("cause", "where"), [("lead_open", "lead:nowhere"), ("gain_low", "sub"), ("gremlins", "amp")])
def test_impossible_fault_is_refused(cause: str, where: str) -> None:
    """With the places where it can occur."""
    with pytest.raises(CallError):
        Rig(job("one_amplifier"), seed=1, faults=(Fault(cause, where),))


def test_unknown_names_are_refused() -> None:
    """Nodes, instruments, leads and controls."""
    rig = Rig(job("one_amplifier"), seed=1)
    for act in (
        lambda: rig.period("head.front.left"),
        lambda: rig.read_v("head.sub.mono", "scope"),
        lambda: rig.lead_resistance("lead:a-b"),
        lambda: rig.turn("amp.volume", 3),
        lambda: rig.set("amp.volume", "3"),
    ):
        with pytest.raises(CallError, match="there is no"):
            act()


def test_a_recording_is_the_wave_at_the_node() -> None:
    """Its rms is that of the period, through attenuator and full scale."""
    rig = Rig(job("two_way_and_sub"), seed=2)
    rig.turn("amp_front.gain", 0.5)
    rig.play(400.0, -10.0)
    node = next(n for n in resolve(rig.job).nodes if n == Node("amp_front", "out", "left"))
    samples, rate_hz = rig.record(str(node), "interface", seconds=1.0)
    period, _ = rig.period(str(node), probe_ohm=1e4)
    full_v = 2 * 10 ** (30 / 20)
    assert rate_hz == 48_000
    assert np.std(samples) * full_v * math.sqrt(2) == pytest.approx(math.sqrt(np.mean(period**2)), rel=1e-3)
