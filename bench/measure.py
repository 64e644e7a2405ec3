"""Measuring: one minute of a stereo tone, in one process and as a whole command.

Processor time, the least of some. Baselines in the same run: the recording's own length, and a plain reading of level and THD by scipy.signal's Welch
spectrum (no frequency fit, no clipping, no noise, no verdict). Exit status 1 when a target is missed.
"""

from __future__ import annotations

import math
import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile
from scipy import signal

from gainwright.metering import Recording, measure

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

SECONDS, RATE_HZ, TONE_HZ = 60, 48000, 997.0
TIMES_REAL_TIME, COMMAND_S = 200, 1.0
KINDS = {"clean": 0.4, "clipped by 2 dB": 1.2589}


def recorded(peak: float) -> Floats:
    """Return a stereo recording of a tone, cut at 1.0 of 1.25 full scale and noisy at -70 dB."""
    time_s = np.arange(SECONDS * RATE_HZ) / RATE_HZ
    noise = np.random.default_rng(1).normal(0, 10 ** (-70 / 20) * 0.5, (len(time_s), 2))
    wave = np.clip(peak * np.sin(2 * np.pi * TONE_HZ * time_s), -1, 1)
    return 0.8 * wave[:, None] + 0.5 * noise


def main() -> int:
    """Measure, print, return the exit status."""
    passed = True
    for kind, peak in KINDS.items():
        samples = recorded(peak)
        recording = Recording(samples, RATE_HZ)
        ours_s, result = _best_of(5, lambda r=recording: measure(r))
        plain_s, plain = _best_of(3, lambda s=samples: [_welch(s[:, i]) for i in range(2)])
        channel = result.channels[0]
        command_s = _command(samples)
        print(f"{kind}: {SECONDS} s of stereo at {RATE_HZ} Hz")
        print(
            f"  measure, in process   {ours_s:.3f} s  {SECONDS / ours_s:.0f} times real time (target {TIMES_REAL_TIME})"
        )
        print(f"  scipy.signal.welch    {plain_s:.3f} s  ours takes {ours_s / plain_s:.2f} of it, and finds more")
        print(f"  THD                   {channel.thd_percent:.4f} % by ours, {100 * plain[0]:.4f} % by welch")
        print(f"  whole command         {command_s:.2f} s (target under {COMMAND_S:g} s)")
        passed &= SECONDS / ours_s >= TIMES_REAL_TIME and command_s < COMMAND_S
    print("passed" if passed else "MISSED")
    return 0 if passed else 1


def _welch(samples: Floats) -> float:
    hz, density = signal.welch(samples, RATE_HZ, "flattop", nperseg=65536)

    def line(order: int) -> float:
        near = np.abs(hz - order * TONE_HZ) < 5 * RATE_HZ / 65536
        return float(np.sum(density[near]))

    orders = range(2, int(20000 / TONE_HZ) + 1)
    return math.sqrt(sum(line(k) for k in orders) / line(1))


def _command(samples: Floats) -> float:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "tone.wav")
        soundfile.write(path, samples, RATE_HZ, subtype="PCM_24")
        command = (sys.executable, "-m", "gainwright", "measure", str(path), "--json")
        return _best_of(3, lambda: subprocess.run(command, capture_output=True, check=False))[0]


def _best_of(times: int, work: Any) -> tuple[float, Any]:
    best, result = math.inf, None
    for _ in range(times):
        start = _spent_s()
        result = work()
        best = min(best, _spent_s() - start)
    return best, result


def _spent_s() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(part.ru_utime + part.ru_stime for part in used)


if __name__ == "__main__":
    raise SystemExit(main())
