"""The rig's levels up to the amplifiers: what source, volume, processor and level control make of a wave."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from gainwright.jobfile import volume_steps
from gainwright.model import LineDriver
from gainwright.simulated.filters import band_section

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.model import AnyStage, HeadUnit, LevelControl, Node, Processor, Volume, Wiring
    from gainwright.simulated.faults import Fault

    Floats = npt.NDArray[np.float64]


class TrueChain(Protocol):
    """What is used of a simulated chain: its wiring, true values, settings, the side that plays, and its faults."""

    wiring: Wiring
    truth: dict[str, float]
    settings: dict[str, float]
    sides: str
    engine: bool
    probe: tuple[Node, float] | None
    grounded: bool
    supply: str

    def fault(self, cause: str, *wheres: str) -> Fault | None:
        """Return the fault of a cause at one of several names of a place."""
        ...


def between_legs(chain: TrueChain, node: Node, load_ohm: float, *, balanced: bool) -> float:
    """Return the voltage of an output, of a balanced one between its legs, as a share of its EMF.

    Each leg has half of the EMF, of opposite sign, behind half of the output impedance. An unbalanced input or a grounded
    instrument ties the second leg to ground.
    """
    if not balanced:
        return load_ohm / (load_ohm + chain.truth[f"{node.stage}.output_impedance"])
    takers = [chain.truth.get(f"{port.stage}.balanced_input", 0.0) for port in chain.wiring.ports_fed_by(node)]
    tied = any(taker <= 0.5 for taker in takers)
    tied = tied or (chain.grounded and chain.probe is not None and chain.probe[0] == node)
    leg_ohm = chain.truth[f"{node.stage}.output_impedance"] / 2
    current = (0.5 if tied else 1.0) / (load_ohm + leg_ohm + (0.0 if tied else leg_ohm))
    return current * load_ohm


def side_share(chain: TrueChain, node: Node) -> float:
    """Return the share of a tone on one or both sides that an output of the source carries."""
    if chain.sides in ("both", node.side):
        return 1.0
    return 0.5 if node.side == "mono" else 0.0


def source_gain(chain: TrueChain, node: Node, stage: HeadUnit) -> float:
    """Return the gain of a source from full scale (peak 1) to volts peak, at a digital output to full scale."""
    name, digital = node.stage, node in chain.wiring.digital
    output = f"{name}.{node.output}"
    if chain.fault("source_muted", name) or chain.fault("output_switched_off", output):
        return 0.0
    db = chain.settings[f"{name}.{node.output}.level"]
    if not stage.outputs[node.output].fixed_level:
        db += volume_db(chain, name, stage.volume)
        db -= chain.truth[f"{name}.volume.top"] if digital and not stage.all_digital else 0.0
    low = chain.fault("source_low", name)
    db -= low.size if low else 0.0
    if chain.fault("balance_over", output) and node.side == "right":
        db -= 40.0
    fader = chain.fault("fader_over", output)
    db -= fader.size if fader else 0.0
    full = 1.0 if digital else math.sqrt(2) * chain.truth[f"{name}.output_limit"]
    return float(full * 10 ** (db / 20))


def levelling(chain: TrueChain, name: str, source: Floats) -> float:
    """Return the factor by which a player's levelling turns a tone down: from its loudness to the aim, never up."""
    power = 2 * float(np.mean(source**2))  # both sides; K-weighting is 0 dB near 1 kHz with the constant of BS.1770
    if f"{name}.levelling" not in chain.truth or power == 0:
        return 1.0
    return float(min(1.0, 10 ** (chain.truth[f"{name}.levelling"] / 20) / math.sqrt(power)))


def bass_at(chain: TrueChain, name: str, stage: HeadUnit) -> float:
    """Return what an equaliser that moves with the volume adds to the bass, dB."""
    steps = volume_steps(stage.volume)
    low, high = (chain.truth[f"{name}.factory.bass_at_{end}"] for end in ("bottom", "top"))
    return float(np.interp(chain.settings[f"{name}.volume"], [1, max(steps, 2)], [low, high]))


def moved_by_volume(chain: TrueChain, node: Node, stage: HeadUnit, rate_hz: float) -> Floats | None:
    """Return the section of an equaliser that moves with the volume, None where there is none."""
    key = f"{node.stage}.factory"
    if f"{key}.bass_at_top" not in chain.truth or stage.outputs[node.output].fixed_level:
        return None
    band = {"gain_db": bass_at(chain, node.stage, stage), "corner_hz": chain.truth[f"{key}.bass_corner"]}
    return band_section("low-shelf", q=math.sqrt(0.5), rate_hz=rate_hz, **band)


def limited(chain: TrueChain, name: str, wave: Floats, peak: float) -> Floats:
    """Return a steady wave turned down to a limiter's threshold, `peak` being that of the largest clean output."""
    if f"{name}.factory.limiter_threshold" not in chain.truth:
        return wave
    threshold = peak * 10 ** (chain.truth[f"{name}.factory.limiter_threshold"] / 20)
    swing = float(np.max(np.abs(wave)))
    return wave * min(1.0, threshold / swing) if swing else wave


def against_engine(chain: TrueChain, name: str, count: int, rate_hz: float) -> Floats:
    """Return what a source with noise cancelling plays while the engine idles: its firing rate and twice that."""
    level = chain.truth.get(f"{name}.factory.cancelling_level", 0.0) if chain.engine else 0.0
    if level == 0.0:
        return np.zeros(count)
    time = np.arange(count) / rate_hz
    return np.asarray(level * (np.sin(2 * np.pi * 27 * time) + np.sin(2 * np.pi * 54 * time)))


def volume_db(chain: TrueChain, name: str, volume: Volume) -> float:
    """Return what a volume control adds, dB."""
    at = chain.settings[f"{name}.volume"]
    steps_down = volume_steps(volume) - at
    return chain.truth[f"{name}.volume.top"] - steps_down * chain.truth[f"{name}.volume.step"] if at > 0 else -math.inf


def units(chain: TrueChain, name: str) -> float:
    """Return the volts at an analogue input that a processor takes for full scale of a digital one."""
    out_db = chain.truth[f"{name}.digital_gain"] - chain.truth.get(f"{name}.gain", 0.0)
    return float(chain.truth[f"{name}.output_limit"] * 10 ** (out_db / 20))


def source_peak_v(chain: TrueChain, node: Node) -> float:
    """Return the peak voltage at which a source clips."""
    low = chain.fault("source_low", node.stage)
    return math.sqrt(2) * chain.truth[f"{node.stage}.output_limit"] * 10 ** (-(low.size if low else 0.0) / 20)


def processor_gain(chain: TrueChain, node: Node, stage: Processor) -> float:
    """Return the gain of a processor from its input to an output, with its sign."""
    output = stage.outputs[node.output]
    if output.mute or chain.fault("output_muted", f"{node.stage}.{node.output}"):
        return 0.0
    sign = -1 if output.polarity == "reversed" else 1
    db = chain.settings[f"{node.stage}.{node.output}.level"] + chain.truth.get(f"{node.stage}.gain", 0.0)
    if stage.volume is not None:
        down = chain.fault("level_control_down", node.stage)
        db += volume_db(chain, node.stage, stage.volume) - (down.size if down else 0.0)
    return float(sign * 10 ** (db / 20))


def driver_turned_db(chain: TrueChain, name: str, stage: AnyStage) -> float:
    """Return how far a line driver's gain stands from where the job has it, dB; 0 for one that can't be adjusted."""
    if f"{name}.gain" not in chain.settings or not isinstance(stage, LineDriver) or stage.range is None:
        return 0.0
    down = chain.fault("level_control_down", name)
    stands = max(chain.settings[f"{name}.gain"] - (down.size if down else 0.0), stage.range.low)
    return float(stands - stage.gain.nominal)


def level(chain: TrueChain, name: str, stage: LevelControl) -> float:
    """Return the gain of a level control."""
    if chain.fault("control_bypassed", name):
        return 1.0
    down = chain.fault("level_control_down", name)
    db = min(chain.settings[f"{name}.level"], 0.0) - (down.size if down else 0.0)
    if stage.range is not None:
        db = max(db, stage.range.low)
    return float(10 ** (db / 20))


def dithered(wave: Floats, rng: np.random.Generator) -> Floats:
    """Return a digital wave rounded to 16 bits of full scale, with triangular dither."""
    step = math.sqrt(2) * 2 / 2**16
    dither = rng.random(len(wave)) - rng.random(len(wave))
    return np.asarray(np.round(wave / step + dither) * step)


def hum(chain: TrueChain, lead: str, count: int, rate_hz: float) -> Any:
    """Return hum and whine that get in at a lead, volts."""
    total: Any = 0.0
    time = np.arange(count) / rate_hz
    loop, whine = chain.fault("ground_loop", lead), chain.fault("alternator_whine", lead)
    whine = whine or chain.fault("source_ground_bad", lead.removeprefix("lead:").split(".")[0])
    if loop:
        total = total + loop.size * math.sqrt(2) * np.sin(2 * np.pi * 100 * time)
    if whine and chain.supply == "running":
        comb = sum(np.sin(2 * np.pi * 700 * k * time) / k for k in (1, 2, 3))
        total = total + whine.size * comb
    return total
