"""Analyse a recording without a tone: noise, hum, ripple, whine and hiss, each with its level and evidence.

Steady lines come from one long averaged spectrum; lines that move with engine speed from short ones
(`gainwright.metering.whine`). The causes of lines are common practice, no published source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from gainwright.metering.recording import Recording, require_finite
from gainwright.metering.spectrum import HIGH_HZ, LINE_BINS, LOW_HZ, power_spectrum
from gainwright.metering.whine import Whine, find_whine
from gainwright.physics import a_weighting_db
from gainwright.quantities import check_bounds

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

Kind = Literal["mains_hum", "ground_loop_hum", "rectifier_ripple", "alternator_whine", "digital_whine", "hiss"]

MAINS_HZ = (50.0, 60.0)
MAINS_WITHIN = 0.012
"""Tolerance of a mains line about its multiple, as a ratio (EN 50160 holds the mains within 1 % for 99.5 % of a year)."""
STANDS_OUT_DB = 12.0
"""Level of a line above the neighbouring noise from which it counts."""
FLOOR_BINS = 60
MANY_HARMONICS = 5
"""Strong harmonics from which hum is due to a current in the shield rather than a field."""
WEAK_DB = 10.0
DIGITAL_FROM_HZ = 400.0
LEAST_SECONDS = 0.5
SILENCE_DBFS = -140.0


@dataclass(frozen=True, slots=True)
class NoiseLine:
    """One steady line."""

    frequency_hz: float
    level_dbfs: float


@dataclass(frozen=True, slots=True)
class Component:
    """One kind of noise with its level, its lowest frequency and how it was recognised."""

    kind: Kind
    level_dbfs: float
    frequency_hz: float | None
    evidence: str
    lines: tuple[NoiseLine, ...] = ()


@dataclass(frozen=True, slots=True)
class NoiseChannel:
    """Noise of one channel, 20 Hz to 20 kHz; volts once calibrated; the largest component first.

    Attributes
    ----------
    noise_dbfs, a_weighted_dbfs : re the rms of a full-scale sine (AES17); A after IEC 61672-1.
    interval_db : half of the 95 % interval of both, from the length of the recording.
    calibrate_v : volts rms of a 0 dBFS sine, if given.
    noise_v_rms, a_weighted_v_rms : both in volts, once calibrated.
    volts_percent : half of the 95 % interval of these voltages, the calibration's own included, per cent.
    snr_db, snr_a_db : the reference over the noise, plain and A-weighted, if one is given.
    """

    channel: int
    seconds: float
    noise_dbfs: float | None
    a_weighted_dbfs: float | None
    interval_db: float | None
    dc_dbfs: float | None
    components: tuple[Component, ...]
    calibrate_v: float | None = None
    volts_percent: float | None = None
    noise_v_rms: float | None = None
    a_weighted_v_rms: float | None = None
    reference_v_rms: float | None = None
    snr_db: float | None = None
    snr_a_db: float | None = None
    why_not: dict[str, str] = field(default_factory=dict)


def _volts(level_dbfs: float | None, calibrate_v: float | None) -> float | None:
    return None if level_dbfs is None or calibrate_v is None else calibrate_v * 10 ** (level_dbfs / 20)


def _over(reference_v: float | None, noise_v: float | None) -> float | None:
    return None if not reference_v or not noise_v else 20 * math.log10(reference_v / noise_v)


def measure_noise(
    recording: Recording,
    *,
    calibrate_v: float | None = None,
    calibrated_within: float = 0.0,
    reference_v: float | None = None,
) -> tuple[NoiseChannel, ...]:
    """Measure the noise of every channel of a recording made with no tone playing.

    Parameters
    ----------
    calibrate_v : volts rms that a 0 dBFS sine stands for.
    calibrated_within : its uncertainty as a ratio (95 %).
    reference_v : reference of the signal-to-noise ratio, volts rms, for instance sqrt(P R) of the rated power.

    Raises
    ------
    RecordingError : no samples, or some that aren't numbers.
    CallError : an option is out of bounds.
    """
    check_bounds(
        ("calibration", calibrate_v, 1e-6, 1e4, "V"),
        ("tolerance of the calibration", 100 * calibrated_within, 0.0, 50.0, "%"),
        ("reference voltage", reference_v, 1e-6, 1e5, "V"),
    )
    require_finite(recording)
    channels = (np.ascontiguousarray(recording.samples[:, i]) for i in range(recording.channels))
    found = [_channel(i, samples, recording.rate_hz) for i, samples in enumerate(channels, start=1)]
    return tuple(_in_volts(channel, calibrate_v, calibrated_within, reference_v) for channel in found)


def _in_volts(
    found: NoiseChannel, calibrate_v: float | None, calibrated_within: float, reference_v: float | None
) -> NoiseChannel:
    """Return a channel with its voltages and ratios to the reference."""
    noise_v, weighted_v = _volts(found.noise_dbfs, calibrate_v), _volts(found.a_weighted_dbfs, calibrate_v)
    percent = None
    if calibrate_v is not None and found.interval_db is not None:
        percent = 100 * math.hypot(math.log(10) / 20 * found.interval_db, calibrated_within)
    return replace(
        found,
        calibrate_v=calibrate_v,
        volts_percent=percent,
        noise_v_rms=noise_v,
        a_weighted_v_rms=weighted_v,
        reference_v_rms=reference_v,
        snr_db=_over(reference_v, noise_v),
        snr_a_db=_over(reference_v, weighted_v),
    )


def _channel(number: int, samples: Floats, rate_hz: int) -> NoiseChannel:
    seconds = len(samples) / rate_hz
    dc = float(np.mean(samples))

    def without(why: str) -> NoiseChannel:
        return NoiseChannel(number, seconds, None, None, None, _dbfs(dc * dc), (), why_not={"noise_dbfs": why})

    if seconds < LEAST_SECONDS:
        return without(f"{seconds:.2f} s; noise needs {LEAST_SECONDS:g} s")
    power, count, segments = power_spectrum(samples)
    hz = np.arange(len(power)) * rate_hz / count
    inside = (hz >= LOW_HZ) & (hz <= min(HIGH_HZ, 0.5 * rate_hz))
    total = float(np.sum(power[inside]))
    if _dbfs(total) < SILENCE_DBFS:
        return without("the channel is digital silence")
    weight = 10 ** (np.asarray(a_weighting_db(frequency_hz=hz[inside])) / 10)
    weighted = float(np.sum(power[inside] * weight))
    whine = find_whine(samples, rate_hz=rate_hz)
    lines, rest = steady_lines(power, hz, inside, segments)
    scatter = math.sqrt(2.0 * float(np.sum((rest[inside] * weight) ** 2)) / segments) / weighted
    return NoiseChannel(
        number,
        seconds,
        _dbfs(total),
        _dbfs(weighted),
        _interval_db(scatter),
        _dbfs(dc * dc),
        _components(lines, float(np.sum(rest[inside])), total, whine),
    )


def _dbfs(power: float) -> float:
    return 10 * math.log10(max(2 * power, 1e-30))


def _interval_db(scatter: float) -> float:
    """Return half the 95 % interval of a sum of averaged spectrum bins of a relative standard deviation, dB.

    Each bin is chi-square with 2 S degrees of freedom; the window ties two neighbours together (equivalent noise bandwidth
    2.0 bins of the four-term window, Harris 1978). Steady lines have no scatter of their own.
    """
    return 1.96 * 10 / math.log(10) * scatter


# ---- lines ------------------------------------------------------------------------------------------------------


def steady_lines(
    power: Floats, hz: Floats, inside: npt.NDArray[np.bool_], segments: int
) -> tuple[list[NoiseLine], Floats]:
    """Return the lines that stand out, and the spectrum with the neighbouring noise in their place."""
    floor = _floor(power)
    scatter = 1 + 4 / math.sqrt(segments)
    over = power > floor * max(10 ** (STANDS_OUT_DB / 10), scatter * scatter)
    peaks = np.flatnonzero(over & inside & (power >= np.roll(power, 1)) & (power > np.roll(power, -1)))
    rest = power.copy()
    found: list[NoiseLine] = []
    for peak in sorted(peaks, key=lambda p: -power[p]):
        if rest[peak] <= floor[peak] * 10 ** (STANDS_OUT_DB / 10):
            continue  # the skirt of a stronger line
        span = slice(max(0, peak - LINE_BINS), min(len(power), peak + LINE_BINS + 1))
        level = float(np.sum(np.maximum(rest[span] - floor[span], 0)))
        shift = _peak_shift(power, int(peak))
        found.append(NoiseLine(float(hz[1] * (peak + shift)), _dbfs(level)))
        rest[span] = np.minimum(rest[span], floor[span])
    return sorted(found, key=lambda line: line.frequency_hz), rest


def _peak_shift(power: Floats, peak: int) -> float:
    left, middle, right = np.log(np.maximum(power[peak - 1 : peak + 2], 1e-300))
    bend = left - 2 * middle + right
    return float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend < 0 else 0.0


def _floor(power: Floats) -> Floats:
    """Return the running median of the spectrum, scaled to its mean."""
    from scipy.ndimage import median_filter

    return np.asarray(median_filter(power, size=2 * FLOOR_BINS + 1, mode="nearest"), dtype=np.float64) + 1e-30


def _components(lines: list[NoiseLine], hiss: float, total: float, whine: Whine | None) -> tuple[Component, ...]:
    if whine is not None:
        lines = [line for line in lines if not whine.holds(line.frequency_hz)]
    found = []
    mains, lines = _mains(lines)
    found += mains
    digital = [line for line in lines if line.frequency_hz >= DIGITAL_FROM_HZ]
    if digital:
        loudest = max(digital, key=lambda line: line.level_dbfs)
        evidence = (
            f"{len(digital)} steady line{'s' if len(digital) > 1 else ''} not at a multiple of the mains frequency"
        )
        found.append(Component("digital_whine", _sum(digital), loudest.frequency_hz, evidence, tuple(digital)))
    if whine is not None:
        evidence = f"a comb of {whine.harmonics} harmonics that moves from {whine.low_hz:.0f} to {whine.high_hz:.0f} Hz in the recording"
        found.append(Component("alternator_whine", whine.level_dbfs, whine.low_hz, evidence))
    if whine is not None:
        hiss = min(hiss, whine.noise_between)
    share = hiss / total
    found.append(Component("hiss", _dbfs(hiss), None, f"{100 * min(share, 1):.0f} % of the power has no line or comb"))
    return tuple(sorted(found, key=lambda c: -c.level_dbfs))


def _sum(lines: list[NoiseLine]) -> float:
    return 10 * math.log10(sum(10 ** (line.level_dbfs / 10) for line in lines))


def _mains(lines: list[NoiseLine]) -> tuple[list[Component], list[NoiseLine]]:
    """Distinguish mains hum from rectifier ripple, and remove their lines."""
    best: tuple[float, float, list[NoiseLine]] | None = None
    for nominal in MAINS_HZ:
        exact = _exact_mains(lines, nominal)
        if exact is None:
            continue
        own = [line for line in lines if _multiple_of(line.frequency_hz, exact)]
        if best is None or _sum(own) > best[0]:
            best = _sum(own), exact, own
    if best is None:
        return [], lines
    level, exact, own = best
    others = [line for line in lines if line not in own]
    levels = {round(line.frequency_hz / exact): line.level_dbfs for line in own}
    odd = [v for k, v in levels.items() if k % 2]
    even = [v for k, v in levels.items() if k % 2 == 0]
    if even and (not odd or max(even) > max(odd) + WEAK_DB):
        evidence = f"lines at multiples of {2 * exact:.1f} Hz and almost none at {exact:.1f} Hz: a rectifier's ripple"
        return [Component("rectifier_ripple", level, 2 * exact, evidence, tuple(own))], others
    strong = [k for k, v in levels.items() if v > max(levels.values()) - 20]
    if len(strong) >= MANY_HARMONICS:
        evidence = f"{exact:.1f} Hz with {len(strong)} strong harmonics: a current through a shield"
        return [Component("ground_loop_hum", level, exact, evidence, tuple(own))], others
    evidence = f"{exact:.1f} Hz with few harmonics: a mains field"
    return [Component("mains_hum", level, exact, evidence, tuple(own))], others


def _exact_mains(lines: list[NoiseLine], nominal_hz: float) -> float | None:
    """Return the mains frequency that the lines near its first multiples agree on."""
    found = []
    for k in range(1, 11):
        near = [line for line in lines if abs(line.frequency_hz - k * nominal_hz) < MAINS_WITHIN * k * nominal_hz]
        found += [(line.frequency_hz / k, line.level_dbfs) for line in near]
    if not found:
        return None
    strongest = max(found, key=lambda pair: pair[1])[0]
    agreeing = [hz for hz, _ in found if abs(hz - strongest) < 0.25]
    multiples = {
        k
        for k in range(1, 11)
        for line in lines
        if abs(line.frequency_hz - k * strongest) < 0.3 + 0.002 * k * strongest
    }
    # a single line counts as mains only at its first or second multiple
    return float(np.median(agreeing)) if len(multiples) > 1 or multiples & {1, 2} else None


def _multiple_of(frequency_hz: float, exact_hz: float) -> bool:
    k = round(frequency_hz / exact_hz)
    return 1 <= k <= 40 and abs(frequency_hz - k * exact_hz) < 0.3 + 0.002 * frequency_hz
