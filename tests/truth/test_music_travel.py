"""Travel of a cone under real music: the estimate and the bound against the equation of motion, integrated by scipy."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal

from gainwright import physics
from gainwright.jobfile import example_text, read_job_text
from gainwright.power.music_limits import music_speakers

PIECES = ("hr3-caves", "hr-savino-palace", "hr-savino-ocean", "hr-domina-mountain")
RATE_HZ, SECONDS = 2205, 20


def piece(name: str) -> np.ndarray:
    """Return the left channel from 20 s on, averaged down to 2205 Hz, which leaves the bass."""
    path = Path("/usr/share/hyperrogue/music") / f"{name}.ogg"
    samples, rate = soundfile.read(path, start=20 * 44_100, frames=SECONDS * 44_100, always_2d=True)
    assert rate == 44_100
    return np.asarray(samples[:, 0].reshape(-1, 20).mean(axis=1))


@pytest.mark.parametrize("name", PIECES)
def test_real_music_moves_a_cone_about_as_estimated(name: str) -> None:
    """Through the low-pass of a subwoofer into its sealed box, clipped: at most 1.1 times the estimate, and not beyond the steady tone."""
    job = read_job_text(example_text("five_channel")).job
    (sub,) = [s for speakers in music_speakers(job).values() for s in speakers if s.name == "sub"]
    unit, cone = sub.unit, sub.cone
    assert cone is not None
    assert unit.driver is not None
    assert unit.box is not None
    low = signal.butter(4, 75, fs=RATE_HZ, output="sos")
    volts = np.clip(signal.sosfilt(low, piece(name)), -0.5, 0.5)
    d = {f: float(np.median(getattr(unit.driver, f))) for f in physics.Driver.__slots__}
    stiffness = 1 / d["compliance_m_n"] + 1.4 * 101_325 * d["area_m2"] ** 2 / unit.box.volume_m3
    # m x'' = Bl (u - Bl x')/Re - Rms x' - k x; the coil's inductance is nothing at 75 Hz
    force = d["force_factor_tm"] / d["re_ohm"]
    damping = d["mechanical_losses"] + d["force_factor_tm"] * force
    motion = signal.TransferFunction([force], [d["mass_kg"], damping, stiffness])
    _, travel, _ = signal.lsim(motion, volts, np.arange(volts.size) / RATE_HZ)
    farthest = float(np.abs(travel).max())

    def worst(seconds: float) -> float:
        length = int(seconds * RATE_HZ)
        return float((volts[: volts.size // length * length] ** 2).reshape(-1, length).mean(axis=1).max())

    estimate = float(np.median(cone.estimate_m(worst(1.0), worst(0.1))))
    bound, _ = cone.bound(1.0, float(np.abs(volts).max()))
    assert 0.3 * estimate < farthest < 1.1 * estimate
    assert farthest < bound
