"""The rig as the app's bench port, so that a plan can be carried out on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.metering import Recording, measure
from gainwright.model import HeadUnit, Indicator, Recorder
from gainwright.simulated.rig import Rig

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Job

LISTENING_SECONDS = 0.4
THD_LIMIT_PERCENT = 1.0


class SimulatedBench:
    """A bench on a simulated rig; a charger takes the engine's place where a source would play against its noise."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        heads = [stage for stage in rig.job.stages.values() if isinstance(stage, HeadUnit)]
        rig.charger = any(stage.factory.noise_cancelling in ("yes", "unknown") for stage in heads)

    def set(self, control: str, text: str) -> None:
        """Set a control to a value as the job file writes it."""
        self.rig.set(control, text)

    def turn(self, control: str, value: float) -> None:
        """Set a volume (steps), gain (0 .. 1) or level (dB)."""
        self.rig.turn(control, value)

    def disconnect(self, speakers: tuple[str, ...]) -> None:
        """Disconnect these speakers, and connect all others."""
        self.rig.disconnect(speakers)

    def play(self, tone_hz: float, level_dbfs: float) -> None:
        """Play a tone until another is played."""
        self.rig.play(tone_hz, level_dbfs)

    def read_v(self, node: str, instrument: str) -> float:
        """Return what an instrument shows, volts rms."""
        return self.rig.read_v(node, instrument)

    def shows_distortion(self, node: str, instrument: str) -> bool:
        """Return whether an indicator, or the measurement of a recording, shows distortion at a node."""
        kind = self.rig.instruments[instrument]
        if isinstance(kind, Indicator):
            return any(mark in kind.distortion_marks for mark in self.rig.read_indicator(node, instrument))
        if not isinstance(kind, Recorder):
            return False
        samples, rate_hz = self.rig.record(node, instrument, seconds=LISTENING_SECONDS)
        channel = measure(Recording(samples[:, None], rate_hz)).channels[0]
        bad = channel.verdict in ("clipped", "distorted") and (channel.thd_percent or 0.0) > THD_LIMIT_PERCENT
        return bad or channel.verdict == "overloaded_input"

    def record(self, node: str, instrument: str, seconds: float) -> bytes:
        """Return a recording at a node as a 24-bit WAV file."""
        from gainwright.signals import samples_bytes

        samples, rate_hz = self.rig.record(node, instrument, seconds=seconds)
        codes = np.rint(samples * 2**23).astype(np.int64) << 8
        return samples_bytes(codes.astype(np.int32)[:, None], rate_hz, 24, ".wav")


class SimulatedBenches:
    """Makes benches on rigs."""

    def simulated(self, job: Job, *, seed: int, truth: Mapping[str, float] | None = None) -> SimulatedBench:
        """Return a bench with true values as given, the others drawn from the job's spreads."""
        return SimulatedBench(Rig(job, seed=seed, truth=truth))
