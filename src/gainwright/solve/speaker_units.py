"""One drive unit of a job with what is known of it: its circuit, its box, the heat that its coil withstands; with draws."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright import physics
from gainwright.jobfile import DC_SHARES
from gainwright.model import Speaker, is_tweeter

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.model import Job
    from gainwright.quantities import Quantity

    Floats = npt.NDArray[np.float64]

DRAWS = 400
SEED = 3
RE_SPREAD = 0.05
"""A stated DC resistance is that of the sample within this share (95 %; a coil's tolerance; common practice, no published source)."""
PARAMETER_SPREADS = {"resonance": 0.15, "q": 0.2, "vas": 0.25, "cone_area": 0.03, "inductance": 0.15}
"""A unit's parameters are those of its data sheet within these shares (95 %; common practice, no published source)."""
Q_MECHANICAL = (3.0, 10.0)
"""Mechanical Q where none is given (common practice, no published source)."""
INDUCTANCE_EXPONENT = (0.6, 1.0)
"""Exponent of a voice coil's inductance with its losses (Leach 2002; range from memory)."""
COIL_LIMIT_K = (130.0, 230.0)
"""Rise of a voice coil at its rated power after two hours, kelvins: adhesives and formers stand 150 to 250 degrees C
(common practice, no published source). AES2-2012 and IEC 60268-5 rate by survival, not by temperature."""
SMALL_UNIT_W, SMALL_UNIT_S = 1.44, (3.05, 192.0)
"""A small unit whose thermal data are open (public repository AsahiLinux/speakersafetyd): its continuous rating, its
time constants of coil and magnet; its thermal resistances are 28.1 and 34.4 K/W."""
COIL_SHARES = (0.3, 0.6)
"""The coil's share of a unit's thermal resistance; the small unit's is 0.45 (a wide prior, no published source)."""
TIMES_SPREAD = 2.0
"""Time constants are those that follow from the rating within this factor (95 %; a wide prior, no published source)."""
GROWTH = 1 / 3
"""A larger unit's time constants grow with this power of its rating, so 400 W has 20 s (common practice, no published source); a tweeter's
coil is as quick as the small unit's whatever it is rated for, since its rating is that of a programme through a filter."""


@dataclass(frozen=True, slots=True)
class SpeakerUnit:
    """One drive unit; arrays have one value for each draw.

    Attributes
    ----------
    name : of the speaker in the job.
    share : voltage across one unit over that of the side that feeds it.
    impedance_ohm : nominal impedance of one unit as its coils are wired.
    re_ohm : its DC resistance.
    driver : its circuit, None while a parameter is missing.
    missing : keys of the job that its circuit or the verdict on its travel lacks.
    box : what stands behind its cone, None for a baffle.
    xmax_m : linear travel to one side, None if unknown.
    power_w : its rating, None if unknown.
    heat : the thermal path out of its coil, None without a rating.
    limit_k : rise that its coil withstands.
    """

    name: str
    share: float
    impedance_ohm: float
    re_ohm: Floats
    driver: physics.Driver | None
    missing: tuple[str, ...]
    box: physics.Enclosure | None
    xmax_m: float | None
    power_w: float | None
    heat: physics.CoilHeat | None
    limit_k: Floats


def speaker_unit(job: Job, name: str) -> SpeakerUnit:
    """Return one drive unit of a speaker of a job, with draws of what is uncertain; the same job gives the same draws."""
    stage = job.stages[name]
    assert isinstance(stage, Speaker)  # noqa: S101  callers name speakers
    rng = np.random.default_rng(SEED)
    coils = _coil_factor(stage)
    each = stage.coils.each if stage.coils is not None else stage.impedance
    nominal = coils * (each.nominal if each is not None and each.known else 4.0)
    re = _dc_resistance(stage, nominal, coils, rng)
    driver, missing = _driver(stage, re, coils, rng)
    volume, tuned = stage.box.volume, stage.box.tuned
    box = None
    if volume is not None and volume.known:
        box = physics.Enclosure(
            volume_m3=volume.nominal, tuned_hz=tuned.nominal if tuned is not None and tuned.known else None
        )
    xmax = _known(stage.xmax)
    if xmax is None:
        missing = (*missing, "xmax")
    power = _known(stage.power)
    limit = rng.uniform(*COIL_LIMIT_K, DRAWS)
    heat = None if power is None else _heat(power, nominal, re, limit, tweeter=is_tweeter(job, name))
    shares: dict[str, float] = {
        "parallel": 1.0,
        "series": 1.0 / stage.count,
        "series-parallel": 0.5 if stage.count > 1 else 1.0,
    }
    return SpeakerUnit(name, shares[stage.wiring], nominal, re, driver, missing, box, xmax, power, heat, limit)


def _coil_factor(stage: Speaker) -> float:
    """Return the impedance of one unit over that of one coil; coils with amplifiers of their own act as in parallel."""
    if stage.coils is None:
        return 1.0
    return float(1 / stage.coils.number if stage.coils.wiring == "separate" else stage.coils.factor)


def _known(value: Quantity | None) -> float | None:
    return value.nominal if value is not None and value.known else None


def _dc_resistance(stage: Speaker, nominal: float, coils: float, rng: np.random.Generator) -> Floats:
    """Return draws of the DC resistance: as given, else by the share that measured units have of their nominal impedance."""
    given = _known(stage.re)
    if given:
        return np.asarray(given * coils * (1 + RE_SPREAD / 1.96 * rng.standard_normal(DRAWS)).clip(0.5))
    return np.asarray(nominal * np.interp(rng.random(DRAWS), (0.05, 0.5, 0.95), DC_SHARES))


def _driver(
    stage: Speaker, re: Floats, coils: float, rng: np.random.Generator
) -> tuple[physics.Driver | None, tuple[str, ...]]:
    """Return the circuit of one unit, or the keys that it lacks."""
    mechanical, electrical, total = _known(stage.qms), _known(stage.qes), _known(stage.qts)
    missing = [key for key in ("resonance", "vas", "cone_area") if _known(getattr(stage, key)) is None]
    if electrical is None and total is None:
        missing.append("qts")
    if missing:
        return None, tuple(missing)

    def around(key: str, value: float) -> Floats:
        spread = PARAMETER_SPREADS[key] / 1.96
        return np.asarray(value * np.exp(spread * rng.standard_normal(DRAWS)))

    q_mechanical = around("q", mechanical) if mechanical is not None else rng.uniform(*Q_MECHANICAL, DRAWS)
    if electrical is not None:
        q_electrical = around("q", electrical)
    else:
        assert total is not None  # noqa: S101  else it is missing
        # 1/Qts = 1/Qms + 1/Qes (Small 1972); a mechanical Q that can't be is taken as high
        q_mechanical = np.maximum(q_mechanical, 1.5 * total)
        q_electrical = 1 / (1 / around("q", total).clip(max=0.9 * q_mechanical) - 1 / q_mechanical)
    inductance = _known(stage.inductance)
    return physics.driver_from_parameters(
        re_ohm=re,
        resonance_hz=around("resonance", _known(stage.resonance) or 0.0),
        q_mechanical=q_mechanical,
        q_electrical=q_electrical,
        equivalent_volume_m3=around("vas", _known(stage.vas) or 0.0),
        area_m2=around("cone_area", _known(stage.cone_area) or 0.0),
        inductance_h=around("inductance", inductance * coils) if inductance else np.zeros(DRAWS),
        inductance_exponent=rng.uniform(*INDUCTANCE_EXPONENT, DRAWS),
    ), ()


def _heat(power_w: float, nominal_ohm: float, re: Floats, limit_k: Floats, *, tweeter: bool) -> physics.CoilHeat:
    """Return the thermal path out of a coil that reaches its limit at its rating.

    A rating is V^2/Z with Z the nominal impedance (AES2-2012; IEC 60268-5); the hot coil then takes at most V^2/(Re (1 +
    a T)). A rating doesn't say how the resistance is shared between coil and magnet, nor their time constants: wide draws.
    """
    rng = np.random.default_rng(SEED + 1)
    hot = power_w * nominal_ohm / (re * physics.copper_temperature_factor(temperature_c=20 + limit_k))
    whole = limit_k / hot
    inner = rng.uniform(*COIL_SHARES, DRAWS)
    slower = 1.0 if tweeter else max(1.0, (power_w / SMALL_UNIT_W) ** GROWTH)
    coil_s, magnet_s = (
        seconds * slower * TIMES_SPREAD ** (rng.standard_normal(DRAWS) / 1.96) for seconds in SMALL_UNIT_S
    )
    return physics.CoilHeat(
        coil_kelvin_per_watt=whole * inner,
        magnet_kelvin_per_watt=whole * (1 - inner),
        coil_s=coil_s,
        magnet_s=magnet_s,
    )
