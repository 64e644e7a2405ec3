"""What an amplifier takes for music into a real speaker, against noise played through the circuit in the time domain."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.jobfile import read_job_text
from gainwright.plan import amplifier_loads, head_unit_loads, taken_loads

JOB = """
format: 1
title: Blue estate
stages:
  head: {kind: head_unit, rated_output: 4 V}
  amp: {kind: amplifier, from: head, sides: [mono], power: 300 W @ 4 ohm, sensitivity: 0.2 .. 5 V, CLASS, FILTER}
  sub: {kind: speaker, from: amp, impedance: 4 ohm, re: 3.1 ohm, resonance: 34 Hz, qms: 4.5, qes: 0.42, inductance: 0.01 mH, vas: 10 L, box: {volume: 900 L}}
"""
LOW_PASS = "low_pass: butterworth 24 at 90 Hz"
RATE_HZ, SECONDS = 44_100, 24


def through_the_circuit(*, corner_hz: float | None) -> tuple[np.ndarray, np.ndarray]:
    """Return voltage and current of pink noise, 1 V rms, into Re and the motional peak of the data sheet (Small 1972), by FFT.

    Impedance: Re + Re Qms/Qes over 1 + j Qms (f/fs - fs/f). The low-pass is Butterworth's maximally flat magnitude.
    """
    rng, count = np.random.default_rng(5), RATE_HZ * SECONDS
    hz = np.fft.rfftfreq(count, 1 / RATE_HZ)
    inside = (hz >= 20) & (hz <= 20_000)
    spectrum = np.where(inside, rng.standard_normal(hz.size) + 1j * rng.standard_normal(hz.size), 0.0)
    spectrum[inside] /= np.sqrt(hz[inside])
    if corner_hz is not None:
        spectrum = spectrum / np.sqrt(1 + (hz / corner_hz) ** 8)
    volts = np.fft.irfft(spectrum)
    rms = np.sqrt(np.mean(volts**2))
    off = np.divide(hz, 34.0) - np.divide(34.0, np.maximum(hz, 1.0))
    impedance = 3.1 + 3.1 * 4.5 / 0.42 / (1 + 1j * 4.5 * off)
    return volts / rms, np.fft.irfft(spectrum / impedance) / rms


@pytest.mark.parametrize("filtered", [True, False])
def test_music_into_a_speaker_takes_what_the_circuit_takes(monkeypatch: pytest.MonkeyPatch, *, filtered: bool) -> None:
    """Class B: mean |i| over mean |v|; class D: the mean of v i over that of v squared: the middle of the units within 4 %.

    What counts takes more, by no more than a data sheet leaves open.
    """
    text = JOB.replace("FILTER", LOW_PASS if filtered else "low_pass: off")
    jobs = [read_job_text(text.replace("CLASS", f"class: {kind}")).job for kind in ("AB", "D")]
    volts, amps = through_the_circuit(corner_hz=90.0 if filtered else None)
    taken = np.mean(np.abs(amps)) / np.mean(np.abs(volts)), np.mean(amps * volts) / np.mean(volts**2)
    counting = [1 / amplifier_loads(job)[0].music_ohm for job in jobs]
    monkeypatch.setattr(taken_loads, "SURE", 0.5)
    middle = [1 / amplifier_loads(job)[0].music_ohm for job in jobs]
    assert middle == pytest.approx(list(taken), rel=0.04)
    assert all(t < c < 1.35 * t for t, c in zip(taken, counting, strict=True))
    if filtered:  # both are far from the nominal load
        assert 1.3 * 4 < 1 / middle[0] < 1 / middle[1]


def test_a_sine_of_the_band_takes_at_most_what_the_coil_lets() -> None:
    """Above resonance the impedance falls to Re (Thiele 1961): a sine there takes 1/Re, within the 5 % of a stated Re."""
    job = read_job_text(JOB.replace("CLASS", "class: AB").replace("FILTER", "low_pass: off")).job
    (load,) = amplifier_loads(job)
    assert 0.94 * 3.1 < load.sine_ohm < 3.1
    assert load.load_ohm == 4.0
    assert head_unit_loads(job) == {}
