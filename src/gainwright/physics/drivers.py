"""A speaker as a motor, a moving mass and a box: its impedance over frequency and how far its cone travels.

The small-signal circuit of Thiele (1961, AES reprint 1971) and Small (1972, 1973, AES), valid below the frequencies at
which the cone breaks up and for travels within the linear range of the motor: beyond it the force factor falls and the
suspension stiffens, so a real cone travels less than computed there, and with distortion.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Complex = npt.NDArray[np.complex128]

AIR_STIFFNESS_PA = 1.4 * 101_325.0
"""Density times squared speed of sound, that is 1.4 times the pressure of the standard atmosphere (ISO 2533)."""
INDUCTANCE_HZ = 1000.0
"""Frequency at which data sheets state the inductance of a voice coil (common practice, no published source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Driver:
    """One drive unit in SI units; every field broadcasts with the others.

    Attributes
    ----------
    re_ohm : DC resistance of the voice coil.
    force_factor_tm : Bl, tesla metres, which is newtons per ampere.
    mass_kg : moving mass with the air that moves along.
    compliance_m_n : of the suspension, metres per newton.
    mechanical_losses : mechanical resistance of the suspension.
    area_m2 : area of the cone.
    inductance_h : of the voice coil at 1 kHz.
    inductance_exponent : n of the impedance K (jw)^n of the coil's inductance with its losses: 1 without losses, about
        0.7 with those of a solid pole piece (Leach 2002).
    """

    re_ohm: Any
    force_factor_tm: Any
    mass_kg: Any
    compliance_m_n: Any
    mechanical_losses: Any
    area_m2: Any
    inductance_h: Any = 0.0
    inductance_exponent: Any = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Enclosure:
    """What stands behind a cone: the net volume, and the frequency and leakage of a vented one.

    Attributes
    ----------
    volume_m3 : infinite for a large baffle.
    tuned_hz : resonance of box and port; None for a sealed box.
    leakage_q : Q of the box at that frequency due to leaks, 7 for usual boxes (Small 1973, part I).
    """

    volume_m3: Any
    tuned_hz: Any = None
    leakage_q: Any = 7.0


def driver_from_parameters(
    *,
    re_ohm: Any,
    resonance_hz: Any,
    q_mechanical: Any,
    q_electrical: Any,
    equivalent_volume_m3: Any,
    area_m2: Any,
    inductance_h: Any = 0.0,
    inductance_exponent: Any = 1.0,
) -> Driver:
    """Return the drive unit that has these small-signal parameters in free air.

    Small 1972: Cms = Vas/(rho c^2 Sd^2), Mms = 1/(ws^2 Cms), Rms = ws Mms/Qms, Bl = sqrt(ws Mms Re/Qes).
    """
    area = np.asarray(area_m2, dtype=np.float64)
    omega = 2 * np.pi * np.asarray(resonance_hz, dtype=np.float64)
    compliance = np.asarray(equivalent_volume_m3, dtype=np.float64) / (AIR_STIFFNESS_PA * area**2)
    mass = 1 / (omega**2 * compliance)
    losses = omega * mass / np.asarray(q_mechanical, dtype=np.float64)
    force = np.sqrt(omega * mass * np.asarray(re_ohm, dtype=np.float64) / np.asarray(q_electrical, dtype=np.float64))
    return Driver(
        re_ohm=re_ohm,
        force_factor_tm=force,
        mass_kg=mass,
        compliance_m_n=compliance,
        mechanical_losses=losses,
        area_m2=area,
        inductance_h=inductance_h,
        inductance_exponent=inductance_exponent,
    )


def coil_impedance(*, driver: Driver, frequency_hz: Any) -> Complex:
    """Return the impedance of a voice coil that can't move: Re + K (jw)^n.

    Leach, "Loudspeaker voice-coil inductance losses" (J. Audio Eng. Soc. 50, 2002; equation from memory). K is such
    that the reactance at 1 kHz is that of `inductance_h`.
    """
    n = np.asarray(driver.inductance_exponent, dtype=np.float64)
    stated = 2 * np.pi * INDUCTANCE_HZ
    scale = stated * np.asarray(driver.inductance_h, dtype=np.float64) / (stated**n * np.sin(np.pi * n / 2))
    omega = 2 * np.pi * np.asarray(frequency_hz, dtype=np.float64)
    return np.asarray(np.asarray(driver.re_ohm) + scale * omega**n * np.exp(0.5j * np.pi * n))


def mechanical_impedance(*, driver: Driver, box: Enclosure | None, frequency_hz: Any) -> Complex:
    """Return force over velocity of the cone, newton seconds per metre: Rms + jw Mms + 1/(jw Cms) + Sd^2 Zab.

    Zab is the acoustic impedance of the box (Small 1972 sealed, 1973 vented): the compliance of its air, with a port
    beside it the port's mass and the leaks, 1/(jw Cab + wb Cab/Ql + wb^2 Cab/(jw)), Cab = Vb/(rho c^2). Without a box
    the cone works in a large baffle.
    """
    s = 2j * np.pi * np.asarray(frequency_hz, dtype=np.float64)
    own = (
        np.asarray(driver.mechanical_losses)
        + s * np.asarray(driver.mass_kg)
        + 1 / (s * np.asarray(driver.compliance_m_n))
    )
    if box is None:
        return np.asarray(own)
    compliance = np.asarray(box.volume_m3, dtype=np.float64) / AIR_STIFFNESS_PA
    admittance = s * compliance
    if box.tuned_hz is not None:
        tuned = 2 * np.pi * np.asarray(box.tuned_hz, dtype=np.float64)
        admittance = admittance + tuned * compliance / np.asarray(box.leakage_q) + tuned**2 * compliance / s
    return np.asarray(own + np.asarray(driver.area_m2) ** 2 / admittance)


def driver_impedance(*, driver: Driver, box: Enclosure | None = None, frequency_hz: Any) -> Complex:
    """Return the impedance at the terminals: Ze + (Bl)^2/Zm.

    Small 1972. Shapes of driver, box and frequency broadcast.
    """
    moving = mechanical_impedance(driver=driver, box=box, frequency_hz=frequency_hz)
    still = coil_impedance(driver=driver, frequency_hz=frequency_hz)
    return np.asarray(still + np.asarray(driver.force_factor_tm) ** 2 / moving)


def cone_travel(
    *, driver: Driver, box: Enclosure | None = None, voltage_v: Any, frequency_hz: Any, source_ohm: Any = 0.0
) -> Floats:
    """Return the peak travel of the cone to either side, metres: sqrt(2) Bl V/|jw Ze Zm + jw (Bl)^2|.

    Small 1972. `voltage_v` is the rms of a tone before `source_ohm`, which counts to Ze: the lead and the amplifier.
    """
    s = 2j * np.pi * np.asarray(frequency_hz, dtype=np.float64)
    electrical = coil_impedance(driver=driver, frequency_hz=frequency_hz) + np.asarray(source_ohm)
    moving = mechanical_impedance(driver=driver, box=box, frequency_hz=frequency_hz)
    force = np.asarray(driver.force_factor_tm, dtype=np.float64)
    denominator = np.abs(s * electrical * moving + s * force**2)
    return np.asarray(np.sqrt(2) * force * np.asarray(voltage_v, dtype=np.float64) / denominator)
