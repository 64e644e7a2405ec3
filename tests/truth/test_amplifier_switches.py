"""Input ranges, fixed gains, remote levels, supplies and phase switches against closed forms and the sample-by-sample rig."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from gainwright.jobfile import example_text, read_job_text, with_settings
from gainwright.model import Job
from gainwright.simulated import Rig
from gainwright.solve import Chain, Conditions

FLAT = {
    "kind": "amplifier",
    "from": "head",
    "power": "100 W @ 4 ohm",
    "output_impedance": "0 ohm",
    "distortion": "0 %",
    "headroom": "0 dB",
    "rated_at": "13.8 V",
}
EXACT = {"head.volume.top": 0.0, "amp.gain.bend": 0.0, "amp.gain.mutes": 0.0, "lead:head-amp.resistance": 0.0}


def chain(**keys: Any) -> Chain:
    """Return a head unit of 1 V into an amplifier of 100 W at 4 ohm (20 V), with other keys."""
    stages = {
        "head": {"kind": "head_unit", "rated_output": "1 V", "output_impedance": "0 ohm", "distortion": "0 %", "volume": {"steps": 10, "at": 10}, "outputs": {"out": {"sides": ["mono"]}}},
        "amp": FLAT | keys,
        "speaker": {"kind": "speaker", "from": "amp", "impedance": "4 ohm"},
    }  # fmt: skip
    return Chain(Job.model_validate({"format": 1, "vehicle": {"running": "13.8 V"}, "stages": stages}))


def volts(of: Chain, tone_hz: float = 1000.0, level_dbfs: float = -40.0) -> complex:
    """Return the fundamental at the amplifier, volts rms, for 10 mV at its input unless said otherwise."""
    solved = of.solve(Conditions(tone_hz, level_dbfs, values=EXACT))
    return complex(solved.fundamental_v[0, -1])


def test_a_fixed_gain_is_rated_volts_over_its_sensitivity() -> None:
    """sqrt(P R) / V: 20 V for 0.8 V at its input is a gain of 25; 10 mV become 0.25 V (closed form)."""
    assert abs(volts(chain(gain="fixed", sensitivity="0.8 V"))) == pytest.approx(0.25, rel=1e-6)


def test_sensitivity_depends_on_the_input_range() -> None:
    """Gain fully up: 20 V / 0.2 V in one position, 20 V / 2 V in the other: 20 dB apart (closed form)."""
    ranges = {"low": "0.2 .. 2 V", "high": "2 .. 20 V"}
    low = chain(input_ranges=ranges, input_range="low", gain={"at": "100 %"})
    assert abs(volts(low)) == pytest.approx(1.0, rel=1e-6)
    high = Chain(with_settings(low.job, {"amp.input_range": "high"}))
    assert abs(volts(high)) == pytest.approx(0.1, rel=1e-6)


@pytest.mark.parametrize(
    ("at", "factor"), [("-6 dB", 10 ** (-6 / 20)), ("9 dB", 10 ** (9 / 20)), (None, 10 ** (9 / 20))]
)
def test_a_remote_level_scales_the_gain(at: str | None, factor: float) -> None:
    """Its decibels are added to the gain, up into its boost; fully up if not given."""
    remote = {"range": "-20 .. 9 dB"} | ({"at": at} if at else {})
    assert abs(volts(chain(gain="fixed", sensitivity="2 V", remote_level=remote))) == pytest.approx(
        0.1 * factor, rel=1e-6
    )


def test_remote_boost_affects_its_band_only() -> None:
    """A peaking band has its gain at its centre and none far from it (audio equaliser cookbook: H(1) = A^2)."""
    remote = {"range": "0 .. 12 dB", "at": "12 dB", "boosts": "45 Hz"}
    of = chain(gain="fixed", sensitivity="2 V", remote_level=remote)
    assert abs(volts(of, 45.0)) == pytest.approx(0.1 * 10 ** (12 / 20), rel=1e-4)
    assert abs(volts(of, 15_000.0)) == pytest.approx(0.1, rel=1e-3)


def test_phase_switch_inverts_the_signal() -> None:
    """Half a turn between normal and reversed."""
    turned = np.angle(
        volts(chain(gain="fixed", sensitivity="2 V", polarity="reversed"))
        / volts(chain(gain="fixed", sensitivity="2 V"))
    )
    assert abs(turned) == pytest.approx(math.pi)


@pytest.mark.parametrize(("supply", "share"), [("13.8 V", 1.0), ("20.7 V", 1.5)])
def test_an_unregulated_amplifiers_ceiling_follows_its_own_supply(supply: str, share: float) -> None:
    """Rails in proportion to the supply: half as much again, whatever supply the vehicle has."""
    of = chain(gain="fixed", sensitivity="1 V", supply=supply)
    usual = chain(gain="fixed", sensitivity="1 V")
    ceilings = [c.solve(Conditions(1000.0, -40.0, values=EXACT)).ceiling_v[0, -1] for c in (of, usual)]
    asked = Conditions(1000.0, -40.0, values=EXACT, supply="resting")
    assert ceilings[0] / ceilings[1] == pytest.approx(share)
    assert of.solve(asked).ceiling_v[0, -1] / ceilings[1] == pytest.approx(share)  # a converter holds it


def test_rig_gives_the_same_levels() -> None:
    """Range, remote level and chassis of the example, sample by sample, within 0.01 dB; also with the switch set wrongly."""
    job = read_job_text(example_text("five_channel")).job
    job = with_settings(job, {"amp_front.gain": "20 %", "amp_sub.gain": "30 %", "amp_sub.remote_level": "-7 dB"})
    of = Chain(job)
    of.curves.clear()  # the rig has load resistors for speakers
    rig = Rig(job, seed=1, truth=of.nominal())
    rig.play(100.0, -30.0)
    solved = of.solve(Conditions(100.0, -30.0))
    for i, node in enumerate(of.nodes):
        if node.stage.startswith("amp"):
            seen = float(np.std(rig.period(str(node))[0]))
            assert 20 * math.log10(seen / solved.rms_v[0, i]) == pytest.approx(0.0, abs=0.01), node
