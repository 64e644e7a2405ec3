"""Design of the voltage divider between an output for speakers, an amplifier's or a head unit's, and a recorder's input."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.errors import CallError
from gainwright.jobfile import instruments
from gainwright.model import HOT_OUTPUT, RECORDER_VOLTS, Amplifier, HeadUnit, Recorder, gives_power, may_float
from gainwright.physics import parallel, preferred_values
from gainwright.plan.cautions import BRIDGED, HEAD_BRIDGED, MAKER_FIRST, RECORDER_GROUNDS
from gainwright.solve import Chain, amplifier_ceiling_v

if TYPE_CHECKING:
    from gainwright.model import AnyStage, Job

SERIES = (6, 12, 24, 48, 96, 192)
DRAWS, SEED = 1024, 1
HIGHEST = 0.999
"""The share of amplifiers of this description that stay below the highest voltage."""
MARGIN_DB = 3.0
"""Distance of the highest peak below the recorder's full scale (common practice, no published source)."""
SHUNT_OHM = (220.0, 2200.0)
SERIES_OHM = (1e3, 470e3)
SHUNT_SHARE = 0.1
"""The shunt is at most this share of the recorder's input resistance, so that the input hardly changes the ratio."""
QUARTER_WATT, RATED_SHARE, RATED_V = 0.25, 0.5, 200.0
"""Resistors carry at most half of a quarter watt and 200 V (common practice, no published source)."""
INPUT_SPREAD = 0.3
"""How far a recorder's input resistance may lie from its figure (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class Attenuator:
    """A divider: one series resistor in each live conductor, one shunt across the recorder's input.

    Attributes
    ----------
    stage, recorder : the amplifier or head unit, and the recorder that it connects.
    balanced : whether both of the output's terminals are live, so that each gets a series resistor.
    highest_v_peak : the largest peak the output may reach, unloaded.
    needed_db : the least attenuation that keeps the peak below full scale less the margin.
    series_ohm, shunt_ohm : the resistors, from the preferred values of `series`.
    tolerance : of each resistor, a ratio.
    attenuation_db, low_db, high_db : attenuation into the recorder's input, with both bounds.
    series_w, shunt_w : power in one resistor of each kind, for a square wave of the highest peak.
    job_text : the attenuation as a job file writes it.
    loading_db : change of the attenuation by the recorder's input resistance.
    """

    stage: str
    recorder: str
    balanced: bool
    highest_v_peak: float
    full_scale_v_peak: float
    needed_db: float
    series: int
    tolerance: float
    series_ohm: float
    shunt_ohm: float
    attenuation_db: float
    low_db: float
    high_db: float
    series_w: float
    shunt_w: float
    loading_db: float
    cautions: tuple[str, ...]
    job_text: str


def design_attenuators(job: Job, *, recorder: str = "", series: int = 24, tolerance: float = 0.01) -> list[Attenuator]:
    """Return a divider for each amplifier of a job, and for each head unit that drives speakers.

    Parameters
    ----------
    recorder : the instrument's name; the job's only recorder when empty.
    series : of the preferred values (IEC 60063).
    tolerance : of the resistors, a ratio.

    Raises
    ------
    CallError : no such recorder or series, no output for speakers, a tolerance outside 0.01 to 20 %.
    """
    if series not in SERIES:
        known = ", ".join(f"E{s}" for s in SERIES)
        raise CallError(f"there is no series E{series}", code="bad_option", where="series", rule=f"there is {known}")
    name, found = _recorder(job, recorder)
    if not 1e-4 <= tolerance <= 0.2:
        raise CallError(f"a tolerance of {100 * tolerance:g} %", code="bad_option", rule="it is 0.01 to 20 %")
    powered = {n: s for n, s in job.stages.items() if gives_power(s)}
    if not powered:
        raise CallError(
            "the job has no output for speakers", code="nothing_to_do", remedy="a line output needs no attenuator"
        )
    chain = Chain(job)
    drawn = {**chain.nominal(), **chain.draws(draws=DRAWS, seed=SEED, quick=True)}
    return [_design(n, s, _highest_v(chain, n, s, drawn), name, found, series, tolerance) for n, s in powered.items()]


def _highest_v(chain: Chain, name: str, stage: AnyStage, drawn: dict[str, Any]) -> float:
    """Return the highest peak of an output, V. A head unit's bridged output swings up to its supply when it clips."""
    if isinstance(stage, Amplifier):
        return math.sqrt(2) * float(np.quantile(amplifier_ceiling_v(chain, name, drawn, unloaded=True), HIGHEST))
    own = math.sqrt(2) * float(np.quantile(drawn[f"{name}.output_limit"], HIGHEST))
    return max(own, float(np.quantile(drawn["vehicle.running"], HIGHEST)))


def _recorder(job: Job, name: str) -> tuple[str, Recorder]:
    recorders = {n: i for n, i in instruments(job).items() if isinstance(i, Recorder)}
    if name and name not in recorders:
        raise CallError(
            f"{name} isn't a recorder of this job",
            code="unknown_instrument",
            where="recorder",
            rule=f"there is {', '.join(recorders) or 'none'}",
        )
    if not recorders:
        raise CallError(
            "the job names no recorder",
            code="unknown_instrument",
            rule="the divider is made for its full scale",
            remedy="add to instruments: interface: {kind: recorder, full_scale: 2 V}",
        )
    chosen = name or next(iter(recorders))
    return chosen, recorders[chosen]


def _design(
    stage: str, powered: AnyStage, highest_v: float, name: str, recorder: Recorder, series: int, tolerance: float
) -> Attenuator:
    full_scale_v = math.sqrt(2) * recorder.full_scale.nominal
    input_ohm = recorder.input_impedance.nominal if recorder.input_impedance is not None else 1e4
    needed_db = 20 * math.log10(highest_v / full_scale_v) + MARGIN_DB
    legs = 2 if may_float(powered) else 1
    series_ohm, shunt_ohm = _choose(highest_v, needed_db, input_ohm, legs, series)
    corners = [
        _attenuation_db(legs, series_ohm * (1 + s * tolerance), shunt_ohm * (1 - s * tolerance), input_ohm * (1 + r))
        for s, r in itertools.product((-1, 1), (-INPUT_SPREAD, INPUT_SPREAD))
    ]
    current = highest_v / (legs * series_ohm + float(parallel(shunt_ohm, input_ohm)))
    head = (HEAD_BRIDGED,) if isinstance(powered, HeadUnit) else (BRIDGED,)
    cautions = (RECORDER_VOLTS, RECORDER_GROUNDS, *(head if may_float(powered) else ()), HOT_OUTPUT, MAKER_FIRST)
    open_db = _attenuation_db(legs, series_ohm, shunt_ohm, math.inf)
    attenuation_db = _attenuation_db(legs, series_ohm, shunt_ohm, input_ohm)
    low_db, high_db = min(corners), max(corners)
    half_db = max(high_db - attenuation_db, attenuation_db - low_db, 0.01)
    return Attenuator(
        stage, name, legs == 2, highest_v, full_scale_v, needed_db, series, tolerance, series_ohm, shunt_ohm,
        attenuation_db, low_db, high_db,
        current**2 * series_ohm, (current * float(parallel(shunt_ohm, input_ohm))) ** 2 / shunt_ohm,
        attenuation_db - open_db, cautions, f"{attenuation_db:.2f} dB ± {half_db:.2f} dB",
    )  # fmt: skip


def _attenuation_db(legs: int, series_ohm: float, shunt_ohm: float, input_ohm: float) -> float:
    shunt = float(parallel(shunt_ohm, input_ohm))
    return 20 * math.log10((legs * series_ohm + shunt) / shunt)


def _choose(highest_v: float, needed_db: float, input_ohm: float, legs: int, series: int) -> tuple[float, float]:
    """Return the pair with the least sufficient attenuation within the power limit; of equals, the lower shunt."""
    shunts = preferred_values(series=series, low=SHUNT_OHM[0], high=SHUNT_OHM[1])
    best: tuple[float, float, float] | None = None
    for shunt in (s for s in shunts if s <= max(SHUNT_SHARE * input_ohm, SHUNT_OHM[0])):
        for each in preferred_values(series=series, low=SERIES_OHM[0], high=SERIES_OHM[1]):
            db = _attenuation_db(legs, each, shunt, input_ohm)
            cool = (highest_v / legs) ** 2 / each < RATED_SHARE * QUARTER_WATT and highest_v / legs < RATED_V
            if db >= needed_db and cool and (best is None or db < best[0] - 1e-9):
                best = (db, each, shunt)
    if best is None:
        raise CallError(
            f"no divider of quarter-watt resistors reduces {highest_v:.0f} V enough for this recorder",
            code="no_design",
            remedy="use several resistors in series for each, or a recorder with a higher full scale",
        )
    return best[1], best[2]
