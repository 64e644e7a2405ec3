"""Measuring: a minute of stereo through tone, noise and onset, and the latency of live figures.

Baseline in the same run: similar figures by scipy.signal, one call after another (Welch spectra for level, THD and
noise, a short-time spectrum for the onset), without fits, verdicts, kinds of noise or intervals. The live part feeds
blocks of 20 ms in real time and takes the age of the newest sample when its figure is available. The exit status is 1
if the target of 100 ms is missed.
"""

from __future__ import annotations

import math
import statistics
import sys
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import signal

from gainwright.adapters.calibrations import FileCalibrations
from gainwright.app.measuring.live import LiveOptions, follow_input
from gainwright.app.ports import Block, InputDevice
from gainwright.metering import Recording, find_onset, measure, measure_noise

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

SECONDS, RATE_HZ, TONE_HZ = 60, 48_000, 997.0
LIVE_SECONDS, LATEST_S = 6.0, 0.1


def main() -> int:
    """Measure, print, return the exit status."""
    time_s = np.arange(SECONDS * RATE_HZ) / RATE_HZ
    noise = np.random.default_rng(1).normal(0, 1e-4, (len(time_s), 2))
    steady = 0.5 * np.sin(2 * np.pi * TONE_HZ * time_s)[:, None] + noise
    rising = (
        np.clip(10 ** ((-30 + 0.5 * time_s) / 20) * np.sin(2 * np.pi * TONE_HZ * time_s), -0.5, 0.5)[:, None] + noise
    )

    def ours() -> None:
        measure(Recording(steady, RATE_HZ))
        measure_noise(Recording(noise, RATE_HZ))
        find_onset(Recording(rising, RATE_HZ))

    def plain() -> None:
        for i in range(2):
            signal.welch(steady[:, i], RATE_HZ, "flattop", nperseg=65_536)
            signal.welch(noise[:, i], RATE_HZ, "blackmanharris", nperseg=131_072)
            signal.stft(rising[:, i], RATE_HZ, nperseg=2400, noverlap=1200)

    ours_s, plain_s = _best(3, ours), _best(3, plain)
    print(f"{SECONDS} s of stereo: tone, noise and onset")
    print(f"  ours                  {ours_s:.2f} s  {SECONDS / ours_s:.0f} times real time")
    print(f"  scipy.signal          {plain_s:.2f} s  ours takes {ours_s / plain_s:.1f} of it, and finds more")
    late_s, load = _live()
    print(
        f"live: a figure is {1000 * late_s:.0f} ms old, median (target under {1000 * LATEST_S:.0f}); load {100 * load:.0f} % of one core"
    )
    passed = late_s < LATEST_S
    print("passed" if passed else "MISSED")
    return 0 if passed else 1


class Paced:
    """A simulated input that gives blocks of 20 ms in real time and records when."""

    def __init__(self) -> None:
        """Begin now."""
        self.newest = 0.0

    def devices(self) -> tuple[InputDevice, ...]:
        """Return one device."""
        return (InputDevice("paced", "bench", 2, RATE_HZ),)

    def blocks(self, device: InputDevice, *, rate_hz: int, channels: int) -> Iterator[Block]:
        """Yield a tone."""
        del device
        size = rate_hz // 50
        begin = time.perf_counter()
        for i in range(int(LIVE_SECONDS * 50)):
            due = begin + (i + 1) / 50
            time.sleep(max(0.0, due - time.perf_counter()))
            self.newest = due
            angle = 2 * np.pi * TONE_HZ / rate_hz * (i * size + np.arange(size))
            yield Block(np.repeat(0.5 * np.sin(angle)[:, None], channels, axis=1))


def _live() -> tuple[float, float]:
    sound = Paced()
    before, begin = time.process_time(), time.perf_counter()
    updates = follow_input(sound, LiveOptions(), FileCalibrations())
    ages = [time.perf_counter() - sound.newest for update in updates if update.reading is not None]
    return statistics.median(ages), (time.process_time() - before) / (time.perf_counter() - begin)


def _best(times: int, work: Any) -> float:
    best = math.inf
    for _ in range(times):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


if __name__ == "__main__":
    sys.exit(main())
