"""A simulated chain to set, play through and measure, with hidden true values and optional faults."""

from __future__ import annotations

import math
import zlib
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.errors import CallError
from gainwright.jobfile import facts, instruments, settings, with_settings
from gainwright.model import Amplifier, Indicator, Multimeter, Node, Recorder, resolve, unit_of
from gainwright.simulated.chain import SimulatedChain
from gainwright.simulated.faults import Fault, check_faults
from gainwright.simulated.inspection import Inspection

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from gainwright.model import Instrument, Job
    from gainwright.simulated.chain import KeptWaves

    Floats = npt.NDArray[np.float64]

NUMERIC = ("volume", "gain", "level", "at", "remote_level", "input_range")
AVERAGE_TO_RMS = math.pi / math.sqrt(8)
_NOISE_MATTERS_V = 0.05
SWITCHES_OFF = 0.7
"""Share of amplifiers that switch off into a short; the others limit their current (common practice)."""


class Rig(Inspection):
    """A simulated chain.

    Parameters
    ----------
    job : the chain and its instruments.
    seed : of the hidden values and the noise.
    faults : faults of the chain.
    truth : fact path -> true value, for some or all facts; the others are drawn from the job's spreads.

    Raises
    ------
    CallError : a fault that can't occur in this chain.
    """

    def __init__(
        self, job: Job, *, seed: int, faults: tuple[Fault, ...] = (), truth: Mapping[str, float] | None = None
    ) -> None:
        self.seed = seed
        self._rng = np.random.default_rng(seed)
        self.job = job
        self.faults = check_faults(faults, job)
        self.truth: dict[str, float] = {}
        self._given = dict(truth or {})
        self._draw_missing()
        self.settings = settings(job)
        self.instruments = instruments(job)
        self._meter_error = {n: self._rng.uniform(-1, 1, 2) for n in self.instruments}
        self._out_of_band_gain = {n: float(self._rng.uniform(10 ** (-3 / 20), 1)) for n in self.instruments}
        self._thresholds = {
            (n, mark): float(condition.threshold.spread.quantile(self._rng.random(1))[0])
            for n, instrument in self.instruments.items()
            if isinstance(instrument, Indicator)
            for mark, condition in instrument.marks.items()
        }
        # which amplifiers limit instead of switching off, without a draw that would shift the rig's other numbers
        self.limiting = frozenset(
            unit
            for unit in {unit_of(job, name) for name, stage in job.stages.items() if isinstance(stage, Amplifier)}
            if _chance(seed, unit) > SWITCHES_OFF
        )
        self.off: frozenset[str] = frozenset()
        self.engine_running = True
        self.charger = False
        self._grounded = False
        self._tone = (1000.0, -200.0)
        self._sides = "both"
        self._fed: dict[str, float] = {}
        self._swapped = ""
        self._state: tuple[Any, ...] = ()
        self._waves: KeptWaves = {}
        self.typical: dict[str, tuple[Job, tuple[float, float]]] = {}
        """Tone, Hz, and level, dBFS, like ordinary music at a speaker, and the job that it was worked out for."""
        self.there = True
        """Whether a fault that comes and goes is there now."""

    def _draw_missing(self) -> None:
        for path, fact in facts(self.job).items():
            if path not in self.truth:
                chance = self._rng.random()  # a number that is given takes one too
                if path in self._given:
                    self.truth[path] = self._given[path]
                    continue
                quantile = getattr(fact.quantity.spread, "quantile", None)
                self.truth[path] = math.nan if quantile is None else float(quantile(np.array([chance]))[0])

    # Controls

    def set(self, control: str, text: str) -> None:
        """Set a control to a value as the job file writes it.

        Raises
        ------
        CallError : no such control, or a value that it can't have.
        """
        before = facts(self.job)
        self.job = with_settings(self.job, {control: text})
        for path, fact in facts(self.job).items():
            if path not in before or before[path].quantity != fact.quantity:
                self.truth.pop(path, None)
        self._draw_missing()
        name = control.rsplit(".", maxsplit=1)[-1]
        if name in NUMERIC:
            changed = settings(self.job)
            key = control.removesuffix(".at") + ".level" if name == "at" else control
            self.settings[key] = changed[key]

    def turn(self, control: str, value: float) -> None:
        """Set a volume (steps), gain (0 .. 1) or level (dB).

        Raises
        ------
        CallError : no such control.
        """
        if control not in self.settings:
            raise CallError(f"there is no control {control} to turn", code="unknown_control")
        self.settings[control] = float(value)

    def disconnect(self, speakers: tuple[str, ...]) -> None:
        """Disconnect these speakers, and connect all others."""
        self.off = frozenset(speakers)

    def play(self, tone_hz: float, level_dbfs: float, *, sides: str = "both") -> None:
        """Play a tone on both sides, or on the left or right alone, until another is played."""
        self._tone = (tone_hz, level_dbfs)
        self._sides = sides

    def feed(self, stage: str, volts: float | None) -> None:
        """Feed a stage from an external source, volts rms of the tone, instead of its lead; None removes the source."""
        self._fed = {} if volts is None else {stage: volts}

    def swap(self, place: str) -> None:
        """Exchange the two sides at a stage's inputs, or the two leads of a run; an empty text restores them."""
        self._swapped = place

    # Waves

    def _chain(self, probe: tuple[Node, float] | None = None) -> SimulatedChain:
        supply = "running" if self.engine_running else "resting"
        engine = self.engine_running and not self.charger
        state: dict[str, Any] = {
            "engine": engine,
            "off": self.off,
            "probe": probe,
            "grounded": self._grounded,
            "supply": supply,
            "sides": self._sides,
        }
        state |= {"fed": self._fed, "swapped": self._swapped, "limiting": self.limiting, "kept": self._kept()}
        state["there"] = self.there
        return SimulatedChain(self.job, self.truth, self.settings, self.faults, **state)

    def _kept(self) -> KeptWaves:
        """Return the periods kept of the chain as it is; in a healthy one, turning a gain changes none of what is before it."""
        played = (self.job, self._tone, self._sides, self.off, self.engine_running, self.charger, self.limiting)
        state = (*played, *self.truth.items())
        if self.faults or self._fed or self._swapped:  # any place may get its signal from any other
            state += (self.faults, self.there, *self._fed.items(), self._swapped, *self.settings.items())
        if state != self._state:
            self._state, self._waves = state, {}
        return self._waves

    def node(self, text: str) -> Node:
        """Return a node by name.

        Raises
        ------
        CallError : no node of that name.
        """
        wiring = resolve(self.job)
        for node in wiring.nodes:
            if str(node) == text and node in wiring.digital:
                raise CallError(f"{text} is digital and has no volts to measure", code="no_volts")
            if str(node) == text:
                return node
        raise CallError(f"there is no node {text}", code="unknown_node")

    def period(self, node: str, *, probe_ohm: float | None = None) -> tuple[Floats, float]:
        """Return one period of the voltage at a node, without noise, and its sampling rate.

        `amp_a.out.mono-amp_b.out.mono` is the voltage between two outputs.
        """
        if "-" in node:
            plus, minus = node.split("-", 1)
            (above, rate_hz), (below, _) = self.period(plus), self.period(minus)
            return above - below, rate_hz
        at = self.node(node)
        chain = self._chain(None if probe_ohm is None else (at, probe_ohm))
        periods, rate_hz = chain.periods([at], *self._tone)
        return periods[at], rate_hz

    def periods(self) -> dict[str, Floats]:
        """Return one period of the voltage at every node, without noise and without the load of an instrument."""
        chain = self._chain()
        return {str(node): wave for node, wave in chain.periods(chain.wiring.nodes, *self._tone)[0].items()}

    def waveform(self, node: str, *, seconds: float, rate_hz: float, probe_ohm: float | None = None) -> Floats:
        """Return the voltage at a node as a recorder's converter would sample it, noise and hum included.

        The period is band-limited to 0.45 of the rate, oversampled 16 times, and interpolated at the samples' times.
        """
        period, _ = self.period(node, probe_ohm=probe_ohm)
        tone_hz = self._tone[0]
        spectrum = np.fft.rfft(period)
        spectrum[int(0.45 * rate_hz / tone_hz) + 1 :] = 0
        fine = 16 * len(period)
        table = np.fft.irfft(spectrum, n=fine) * (fine / len(period))
        count = round(seconds * rate_hz)
        begin = self._rng.random()
        place = np.mod(begin + np.arange(count) * tone_hz / rate_hz, 1.0) * fine
        whole = place.astype(np.int64)
        share = place - whole
        wave = table[whole % fine] * (1 - share) + table[(whole + 1) % fine] * share
        settle = int(0.1 * rate_hz)
        floor = self._chain().floor(self.node(node), count + settle, rate_hz, self._rng)
        return np.asarray(wave + floor[settle:])

    # Instruments

    def _instrument(self, name: str) -> Instrument:
        if name not in self.instruments:
            raise CallError(f"there is no instrument {name}", code="unknown_instrument")
        return self.instruments[name]

    def _at_instrument(self, node: str, name: str) -> Floats:
        """Return one period as it reaches an instrument through its measuring lead."""
        instrument = self._instrument(name)
        chain = self._chain()
        given = instrument.input_impedance
        ohm = given.nominal if given is not None else 1e6
        if chain.fault("measuring_lead_shorted", name):
            return np.zeros(256)
        self._grounded = isinstance(instrument, Recorder) and not instrument.balanced
        try:
            period, _ = self.period(node, probe_ohm=ohm)
        finally:
            self._grounded = False
        return period * (0.0 if chain.fault("measuring_lead_open", name) else 1.0)

    def read_v(self, node: str, name: str) -> float:
        """Return the reading of an instrument at a node, volts rms; NaN if over range."""
        instrument = self._instrument(name)
        period = self._at_instrument(node, name)
        if isinstance(instrument, Multimeter):
            return self._read_meter(instrument, name, node, period)
        rms = math.sqrt(float(np.mean(period**2)))
        if isinstance(instrument, Recorder) and np.max(np.abs(period)) > recorder_peak_v(instrument):
            return math.nan
        return rms

    def _read_meter(self, meter: Multimeter, name: str, node: str, period: Floats) -> float:
        moving = period - np.mean(period)
        rms = math.sqrt(float(np.mean(moving**2)))
        shown = rms if meter.true_rms else AVERAGE_TO_RMS * float(np.mean(np.abs(moving)))
        if _NOISE_MATTERS_V > rms > 0 and "-" not in node:
            floor = self._chain().floor(self.node(node), 4800, 48_000.0, self._rng)
            shown = math.hypot(shown, float(np.std(floor[1200:])))
        if meter.bandwidth is not None and self._tone[0] > meter.bandwidth.nominal:
            shown *= self._out_of_band_gain[name]
        if self._chain().fault("meter_wrong_function", name):
            return 0.0
        assert meter.accuracy is not None  # noqa: S101  instruments are complete
        assert meter.counts is not None  # noqa: S101  instruments are complete
        by_ratio, by_counts = self._meter_error[name]
        digit = last_digit_v(shown, meter.counts)
        shown = shown * (1 + by_ratio * meter.accuracy.ratio) + by_counts * meter.accuracy.counts * digit
        return float(max(round(shown / digit), 0) * digit)

    def read_indicator(self, node: str, name: str) -> tuple[str, ...]:
        """Return the marks of an indicator that are lit, in the job's order."""
        indicator = self._instrument(name)
        assert isinstance(indicator, Indicator)  # noqa: S101  the caller names an indicator
        period = self._at_instrument(node, name)
        lines = np.abs(np.fft.rfft(period)) * (math.sqrt(2) / len(period))
        lines_hz = np.arange(len(lines)) * self._tone[0]
        found = []
        for mark, condition in indicator.marks.items():
            low_hz, high_hz = condition.band_hz
            passed = (lines_hz > 0) & (lines_hz >= low_hz) & (lines_hz <= high_hz)
            first = float(lines[1]) if passed[1] else 0.0
            seen = {
                "level": math.sqrt(float(np.sum(lines[passed] ** 2))),
                "fundamental": first,
                "thd": math.sqrt(float(np.sum(lines[2:] ** 2))) / first if first > 0 else 0.0,
            }[condition.of]
            if seen >= self._thresholds[name, mark]:
                found.append(mark)
        return tuple(found)

    def record(self, node: str, name: str, *, seconds: float) -> tuple[Floats, int]:
        """Return a recording at a node with 24 bits, re full scale and clipped there, and its sampling rate."""
        recorder = self._instrument(name)
        assert isinstance(recorder, Recorder)  # noqa: S101  the caller names a recorder
        assert recorder.rate is not None  # noqa: S101  instruments are complete
        rate_hz = int(recorder.rate.nominal)
        given = recorder.input_impedance
        self._grounded = not recorder.balanced
        try:
            volts = self.waveform(node, seconds=seconds, rate_hz=rate_hz, probe_ohm=given.nominal if given else 1e4)
        finally:
            self._grounded = False
        chain = self._chain()
        if chain.fault("measuring_lead_open", name) or chain.fault("measuring_lead_shorted", name):
            volts = volts * 0.0
        full = 2**23 - 1
        codes = np.rint(volts / recorder_peak_v(recorder) * full + self._rng.uniform(-0.5, 0.5, len(volts)))
        return np.clip(codes, -full - 1, full) / 2**23, rate_hz


def _chance(seed: int, name: str) -> float:
    """Return a number of 0 to 1 that belongs to a name in a rig."""
    return float(np.random.default_rng([seed, zlib.crc32(name.encode()), 7]).random())


def recorder_peak_v(recorder: Recorder) -> float:
    """Return the peak voltage at a recorder's full scale, attenuator included."""
    down_db = abs(recorder.attenuator.nominal) if recorder.attenuator is not None else 0.0
    return float(math.sqrt(2) * recorder.full_scale.nominal * 10 ** (down_db / 20))


def last_digit_v(shown_v: float, counts: int) -> float:
    """Return the voltage of the last digit for a reading, with ranges in decades."""
    digit = 1e-4 if counts > 2000 else 1e-3
    if counts >= 20_000:
        digit = 1e-5
    while shown_v > counts * digit:
        digit *= 10
    return digit
