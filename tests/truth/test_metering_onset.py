"""The onset of clipping in recordings, against closed forms and an ngspice waveform."""

from __future__ import annotations

import math
import subprocess
from pathlib import Path

import numpy as np
import pytest
from rising_tone import CEILING_DB, OVER, RATE_HZ, found, rising
from scipy import signal

from gainwright.metering import Recording, find_onset

EXPECTED = {0.1: CEILING_DB + 0.0352, 1.0: CEILING_DB + 0.2016, 10.0: CEILING_DB + 1.0985}
"""Rms re the sine that just touches, at 0.1, 1 and 10 % THD of a hard ceiling (closed form; power +0.8968 dB from 1 to 10 %)."""


@pytest.mark.parametrize("limit", [0.1, 1.0, 10.0])
@pytest.mark.parametrize("noise", [1e-5, 1e-3])
def test_knob_turned_by_hand(limit: float, noise: float) -> None:
    """Level within 0.1 dB and inside its interval, time to match (2 dB per second)."""
    onset = found(rising(noise=noise), limit_percent=limit)
    assert onset.by == "thd"
    assert onset.level is not None
    assert onset.time_s is not None
    assert onset.level.value == pytest.approx(EXPECTED[limit], abs=0.1)
    assert onset.level.low <= EXPECTED[limit] <= onset.level.high
    depth_db = {0.1: 0.036677, 1.0: 0.251261, 10.0: 2.173141}[limit]
    assert onset.time_s == pytest.approx((30 + CEILING_DB + depth_db) / 2, abs=0.1)
    assert onset.flattened
    assert not onset.one_sided


def test_the_stepped_run() -> None:
    """The onset lies between the last clean step and the first clipped one."""
    onset = found(rising(steps=True))
    assert onset.level is not None
    assert -6.05 < onset.level.value < -5.3
    assert onset.time_s == pytest.approx(15.0, abs=0.1)


def test_one_sided_ceilings() -> None:
    """Even harmonics show that one half clips first."""
    onset = found(rising(ceiling=(1.0, 2.0)))
    assert onset.one_sided
    assert onset.flattened
    assert onset.level is not None
    assert -6.0 < onset.level.value < -5.5


def test_a_soft_ceiling_is_rounded_not_flat() -> None:
    """x/(1 + |x|^3)^(1/3): the peaks are bent, THD passes the limit at a lower level; nothing is called flat."""
    onset = found(rising(soft=3.0))
    assert onset.by == "thd"
    assert onset.rounded
    assert not onset.flattened
    assert onset.level is not None
    # 1 % THD of this shape lies 6.4 dB of drive under its final ceiling (brute force, see test_metering_knee)
    assert onset.level.value == pytest.approx(CEILING_DB - 6.64, abs=0.15)


LOW = signal.butter(2, 80, fs=RATE_HZ * OVER, output="sos")
LINKWITZ_RILEY = np.concatenate([LOW, LOW])


def response(hz: np.ndarray) -> np.ndarray:
    """Return the low-pass of the test, 80 Hz and 24 dB an octave."""
    return np.asarray(1 / (1 + 1j * np.sqrt(2) * hz / 80 - (hz / 80) ** 2) ** 2)


BEHIND_DB = 20 * math.log10(abs(1 / (1 + 1j * np.sqrt(2) * 0.5 - 0.25) ** 2))


def test_a_known_filter_is_undone() -> None:
    """40 Hz after 80 Hz, 24 dB an octave: 11 % THD shows as 2 %; with the filter undone, the onset is right."""
    onset = found(rising(hz=40.0, sos=LINKWITZ_RILEY, noise=1e-6), behind=response)
    assert onset.level is not None
    assert onset.level.value == pytest.approx(EXPECTED[1.0] + BEHIND_DB, abs=0.15)
    assert onset.level.low <= EXPECTED[1.0] + BEHIND_DB <= onset.level.high


def test_unknown_filter_is_reported_and_widens_the_interval_downwards() -> None:
    """By harmonics alone the onset is late; the interval contains the true one, and the peaks are called rounded."""
    onset = found(rising(hz=40.0, sos=LINKWITZ_RILEY, noise=1e-6))
    assert onset.rounded
    assert onset.level is not None
    assert onset.level.value > EXPECTED[1.0] + BEHIND_DB + 0.3
    assert onset.level.low <= EXPECTED[1.0] + BEHIND_DB + 0.05


def test_equal_steps_show_the_onset_through_any_filter() -> None:
    """In a stepped run the fundamental stops following the steps, whatever filter comes after."""
    onset = found(rising(hz=40.0, steps=True, sos=LINKWITZ_RILEY, noise=1e-6))
    assert onset.by == "level"
    assert onset.hidden
    assert onset.level is not None
    assert onset.level.value == pytest.approx(EXPECTED[1.0] + BEHIND_DB, abs=0.06)


def test_an_ngspice_waveform(tmp_path: Path) -> None:
    """A sine whose amplitude rises exponentially through an ideal limiter, by ngspice's transient."""
    netlist, table = tmp_path / "rise.cir", tmp_path / "rise.txt"
    netlist.write_text(
        "rise\nVs s 0 SIN(0 1 200)\nBg g 0 V=exp(time*1.151292546)*0.0398107*V(s)\n"  # -28 dBFS and 10 dB a second
        "Bo o 0 V=max(min(V(g),0.501187),-0.501187)\n.options reltol=1e-4\n.control\nset wr_singlescale\n"
        f"tran 10.4166667u 3 0 10.4166667u\nlinearize v(o)\nwrdata {table} v(o)\nquit\n.endc\n.end\n"
    )
    subprocess.run(("ngspice", "-b", str(netlist)), capture_output=True, check=False)
    wave = np.loadtxt(table)[:, 1]
    onset = find_onset(Recording(wave[:, None], 96_000))[0]
    assert onset.level is not None
    assert onset.level.low <= EXPECTED[1.0] <= onset.level.high
    assert onset.level.value == pytest.approx(EXPECTED[1.0], abs=0.15)
    assert onset.time_s == pytest.approx((28 + CEILING_DB + 0.251) / 10, abs=0.05)
