"""What a speaker's impedance may be at a tone, over its nominal one: from its data sheet, else from what units of its kind have.

A speaker is the circuit of `physics.driver_impedance`, drawn `UNITS` times. A case of a solve has one of these units.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright import physics
from gainwright.jobfile import DC_SHARES
from gainwright.model import Speaker, is_subwoofer, is_tweeter

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.model import Job, Wiring
    from gainwright.quantities import Quantity

    Floats = npt.NDArray[np.float64]
    Complexes = npt.NDArray[np.complex128]

UNITS = 128
SEED = 11
MIDDLE = 0.5
"""In place of a drawn unit: the median of the sizes of all, with the median of their angles."""
CHANCES = (0.05, 0.5, 0.95)
RE_SPREAD, RESONANCE_SPREAD, Q_SPREAD, VAS_SPREAD, INDUCTANCE_SPREAD = 0.05, 0.15, 0.2, 0.25, 0.15
"""How far a unit is from its data sheet (95 %; common practice, no published source)."""
EXPONENTS = (0.6, 1.0)
"""Of a voice coil's inductance with its losses (Leach 2002; range from memory)."""
AIR = (0.3, 4.0)
"""Volume of air as stiff as the suspension over that of a box, where the unit's isn't given (common practice, no published source)."""


def curve_path(speaker: str) -> str:
    """Return the path of the number that says which of its units a speaker is."""
    return f"{speaker}.curve"


@dataclass(frozen=True, slots=True)
class UnitsOfAKind:
    """What units of a kind have, each at `CHANCES`.

    Attributes
    ----------
    resonance_hz : range of it in free air.
    stiffened : range of how much what the unit is mounted in raises it, where no box is given.
    qms, qes, coil_s : mechanical and electrical Q in free air; inductance at 1 kHz over DC resistance, seconds.
    """

    resonance_hz: tuple[float, float]
    stiffened: tuple[float, float]
    qms: tuple[float, float, float]
    qes: tuple[float, float, float]
    coil_s: tuple[float, float, float]


KINDS = {
    "subwoofer": UnitsOfAKind((20, 60), (1.0, 1.6), (1.6, 4.0, 10.3), (0.19, 0.36, 0.65), (46e-6, 140e-6, 390e-6)),
    "woofer": UnitsOfAKind((45, 130), (1.0, 1.3), (1.5, 3.3, 8.2), (0.20, 0.42, 0.91), (19e-6, 87e-6, 226e-6)),
    "tweeter": UnitsOfAKind((500, 2500), (1.0, 1.0), (1.0, 2.2, 6.0), (0.3, 0.8, 2.0), (4e-6, 10e-6, 30e-6)),
}
"""Q and coils of subwoofers and woofers are those of the units that resonate up to 45 Hz and between 45 and 90 Hz among
some hundred published ones (the data of Debian's package qspeakers); all else is common practice, no published source."""


@dataclass(frozen=True, slots=True, eq=False)
class ImpedanceCurve:
    """The impedance of a speaker over its nominal one, for a number of units that it may be.

    Attributes
    ----------
    driver : of 1 ohm nominal; its fields have the shape (units,) or are scalars.
    box : what stands behind it, as `driver`; None for nothing.
    """

    driver: physics.Driver
    box: physics.Enclosure | None
    units: int = UNITS

    def ratio(self, tone_hz: Any, chosen: Any) -> Complexes:
        """Return the impedance over the nominal one at a tone, complex, shape (cases,).

        Parameters
        ----------
        tone_hz : scalar or (cases,); between sixteenths of an octave it is interpolated if it isn't the same in all cases.
        chosen : which of the units, 0 .. 1, scalar or (cases,); `MIDDLE` for the median.
        """
        place, tone = np.asarray(chosen, dtype=np.float64), np.asarray(tone_hz, dtype=np.float64)
        index = np.where(place == MIDDLE, self.units, np.minimum((place * self.units).astype(np.intp), self.units - 1))
        if tone.size == 1:
            return _of_units(self, float(tone.reshape(())))[index]
        grid, table = _over_frequency(self)
        along = np.clip(np.log2(np.maximum(tone, 1.0) / grid[0]) * STEPS_PER_OCTAVE, 0, len(grid) - 1.001)
        before = along.astype(np.intp)
        share = along - before
        return np.asarray((1 - share) * table[before, index] + share * table[before + 1, index])

    def lowest(self) -> tuple[float, float]:
        """Return the least of a unit's impedance over the nominal one between 20 Hz and 20 kHz, and its frequency, Hz.

        Of the unit that is in the middle of all by it.
        """
        grid, table = _over_frequency(self)
        heard = (grid >= LOWEST_HZ) & (grid <= HIGHEST_HZ)
        sizes = np.abs(table[heard, : self.units])
        unit = np.argsort(np.min(sizes, axis=0))[self.units // 2]
        at = int(np.argmin(sizes[:, unit]))
        return float(sizes[at, unit]), float(grid[heard][at])


LOWEST_HZ, HIGHEST_HZ = 20.0, 20_000.0
STEPS_PER_OCTAVE = 16
_GRID_HZ = 5.0 * 2 ** (np.arange(12 * STEPS_PER_OCTAVE + 7) / STEPS_PER_OCTAVE)


@functools.lru_cache(maxsize=1024)
def _of_units(curve: ImpedanceCurve, tone_hz: float) -> Complexes:
    """Return the ratio of every unit at one frequency, and the middle behind them, shape (units + 1,)."""
    return np.asarray(_with_middle(curve, np.array([[tone_hz]]))[0])


@functools.lru_cache(maxsize=64)
def _over_frequency(curve: ImpedanceCurve) -> tuple[Floats, Complexes]:
    """Return frequencies, Hz, and the ratios there, shape (frequencies, units + 1)."""
    return _GRID_HZ, _with_middle(curve, _GRID_HZ[:, None])


def _with_middle(curve: ImpedanceCurve, hz: Floats) -> Complexes:
    found = physics.driver_impedance(driver=curve.driver, box=curve.box, frequency_hz=hz)
    found = np.broadcast_to(found, (len(hz), curve.units))
    middle = np.median(np.abs(found), axis=1) * np.exp(1j * np.median(np.angle(found), axis=1))
    return np.concatenate([found, middle[:, None]], axis=1)


def impedance_curves(job: Job, wiring: Wiring) -> dict[str, ImpedanceCurve]:
    """Return the curve of every speaker of a job; the same speaker has the same curve."""
    return {
        name: _curve(_kind(job, wiring, name), *_known(stage))
        for name, stage in job.stages.items()
        if isinstance(stage, Speaker)
    }


def _kind(job: Job, wiring: Wiring, name: str) -> str:
    nodes = wiring.upstream(name)
    if is_tweeter(job, name, nodes):
        return "tweeter"
    return "subwoofer" if is_subwoofer(job, name, nodes) else "woofer"


def _known(stage: Speaker) -> tuple[float | None, ...]:
    """Return what the job gives: Re and Le at 1 kHz of a coil over its nominal impedance, fs, Qms, Qes, Qts, Vas, box, port."""
    each = stage.coils.each if stage.coils is not None else stage.impedance
    ohm = each.nominal if each is not None and each.known else 4.0

    def value(quantity: Quantity | None, over: float = 1.0) -> float | None:
        return quantity.nominal / over if quantity is not None and quantity.known else None

    sheet = (stage.resonance, stage.qms, stage.qes, stage.qts, stage.vas, stage.box.volume, stage.box.tuned)
    return value(stage.re, ohm), value(stage.inductance, ohm), *(value(each) for each in sheet)


def _standard_normal(chances: Floats) -> Floats:
    return np.array([NormalDist().inv_cdf(chance) for chance in chances.tolist()])


@functools.lru_cache(maxsize=256)
def _curve(
    kind: str,
    re: float | None,
    inductance: float | None,
    resonance: float | None,
    qms: float | None,
    qes: float | None,
    qts: float | None,
    vas: float | None,
    volume: float | None,
    tuned: float | None,
) -> ImpedanceCurve:
    rng, usual = np.random.default_rng(SEED), KINDS[kind]

    def even() -> Floats:
        """Return chances, one in each of as many equal parts of 0 .. 1 as there are units."""
        return (rng.permutation(UNITS) + 0.5) / UNITS

    def between(low: float, high: float) -> Floats:
        return np.asarray(low * (high / low) ** even())

    def like(quantiles: tuple[float, float, float]) -> Floats:
        return np.exp(np.interp(even(), CHANCES, np.log(quantiles)))

    def around(value: float, spread: float) -> Floats:
        return value * np.exp(spread / 1.96 * _standard_normal(even()))

    share = around(re, RE_SPREAD) if re is not None else np.interp(even(), CHANCES, DC_SHARES)
    coil = around(inductance, INDUCTANCE_SPREAD) if inductance is not None else share * like(usual.coil_s)
    fs = around(resonance, RESONANCE_SPREAD) if resonance is not None else between(*usual.resonance_hz)
    mechanical = around(qms, Q_SPREAD) if qms is not None else like(usual.qms)
    if qes is None and qts is not None:
        # 1/Qts = 1/Qms + 1/Qes (Small 1972); a mechanical Q that can't be is taken as high
        mechanical = np.maximum(mechanical, 1.5 * qts)
        electrical = 1 / (1 / around(qts, Q_SPREAD).clip(max=0.9 * mechanical) - 1 / mechanical)
    else:
        electrical = around(qes, Q_SPREAD) if qes is not None else like(usual.qes)
    stiffened, air = between(*usual.stiffened), between(*AIR)
    if volume is None:
        # the same mass, losses and motor on a stiffer spring: resonance and both Q rise alike (Small 1972)
        fs, mechanical, electrical = (value * stiffened for value in (fs, mechanical, electrical))
    air_m3 = 0.01 if volume is None else around(vas, VAS_SPREAD) if vas is not None else air * volume
    driver = physics.driver_from_parameters(
        re_ohm=share,
        resonance_hz=fs,
        q_mechanical=mechanical,
        q_electrical=electrical,
        equivalent_volume_m3=air_m3,
        area_m2=0.01,  # of no consequence: what the box is to the cone counts by the two volumes alone
        inductance_h=coil,
        inductance_exponent=EXPONENTS[0] + (EXPONENTS[1] - EXPONENTS[0]) * even(),
    )
    return ImpedanceCurve(driver, None if volume is None else physics.Enclosure(volume_m3=volume, tuned_hz=tuned))
