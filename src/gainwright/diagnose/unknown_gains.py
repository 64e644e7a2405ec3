"""Gain controls whose position isn't in the job, or is given with a doubt (`60 % ± 8 %`), and how far stages may be off."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.jobfile import input_range
from gainwright.model import Amplifier, HeadUnit, Reading
from gainwright.quantities import Exact, Unknown, latin_hypercube, parse
from gainwright.solve import Chain

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.model import AnyStage, Entry, Job

    Floats = npt.NDArray[np.float64]

Noted = dict[str, tuple[float, float]]
"""Gain -> the lowest and the highest position at which its amplifier was read, as a share of its travel."""

MIDDLE = 0.5
STAGE_DB = 0.4
"""By how much a stage is off from what the job says of it, standard deviation: parts of 5 % (common practice)."""
SENSITIVITY_DB = 0.8
"""The same of an amplifier: its sensitivity is given to a digit, and met to 10 % (common practice, no published source)."""
SOURCE_DB = 4.0
"""The same of a volume that nobody measured: its steps are tapered, and many sources give all that they can at three
quarters of the travel, others never (common practice, no published source)."""
READ_SD = 0.04
"""Standard deviation of a position read off a knob, as a share of its travel (common practice, no published source)."""


def unknown_gains(job: Job) -> tuple[str, ...]:
    """Return the gain controls whose position isn't given in a job."""
    return tuple(
        f"{name}.gain"
        for name, stage in job.stages.items()
        if isinstance(stage, Amplifier) and not stage.gain.fixed and (stage.gain.at is None or not stage.gain.at.known)
    )


def chain_with_unknown_gains(job: Job) -> Chain:
    """Return a job's chain with gains of unknown position at the middle of their travel.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    chain = Chain(job)
    chain.settings |= dict.fromkeys(unknown_gains(job), MIDDLE)
    return chain


def gain_positions(job: Job, *, draws: int, seed: int) -> dict[str, Any]:
    """Return samples of the position of each unknown gain, uniform over its travel, shape (draws,) each."""
    gains = unknown_gains(job)
    if not gains:
        return {}
    drawn = latin_hypercube(draws=draws, dimensions=len(gains), seed=seed)
    return {gain: drawn[:, i] for i, gain in enumerate(gains)}


def doubtful_positions(job: Job, *, draws: int, seed: int) -> dict[str, Any]:
    """Return samples of the position of each gain that is given with a spread, shape (draws,) each.

    A gain has the same samples at every reading: the hand that misread its scale misread it once.
    """
    stages = {name: stage for name, stage in job.stages.items() if isinstance(stage, Amplifier)}
    given = {f"{name}.gain": stage.gain.at for name, stage in stages.items()}
    doubtful = {gain: at for gain, at in given.items() if at is not None and not isinstance(at.spread, Exact | Unknown)}
    if not doubtful:
        return {}
    drawn = dict(zip(given, latin_hypercube(draws=draws, dimensions=len(given), seed=seed).T, strict=True))
    return {gain: np.clip(at.spread.quantile(drawn[gain]), 0.0, 1.0) for gain, at in doubtful.items()}


def noted_gains(chain: Chain, entries: Sequence[Entry]) -> Noted:
    """Return gain -> the lowest and the highest position at which its amplifier was read, where one isn't that of the job.

    A reading that doesn't note it was taken at the job's.
    """
    readings = [entry for entry in entries if isinstance(entry, Reading)]
    gains = {c.split(".")[0]: c for r in readings for c in r.set if c.endswith(".gain")}
    noted: Noted = {}
    for stage, control in gains.items():
        if not isinstance(chain.job.stages[stage], Amplifier):
            continue
        in_job = chain.settings[control]
        places = [
            parse(r.set[control], "fraction").nominal if control in r.set else in_job
            for r in readings
            if stage in _stages_to(chain, r.at.split(".")[0])
        ]
        if places and {*places} != {in_job}:
            noted[control] = min(places), max(places)
    return noted


def _stages_to(chain: Chain, stage: str) -> set[str]:
    return {stage, *(node.stage for node in chain.wiring.upstream(stage))}


def stage_doubts(chain: Chain) -> dict[str, float]:
    """Return by how much each stage may be off from what the draws of its numbers say, standard deviation in dB."""
    return {name: _doubt_db(name, stage, chain) for name, stage in chain.job.stages.items()}


def _doubt_db(name: str, stage: AnyStage, chain: Chain) -> float:
    """Return it for one stage: more for a volume that nobody measured, and for a gain whose place was read off."""
    top = chain.facts.get(f"{name}.volume.top")
    if isinstance(stage, HeadUnit) and not stage.all_digital and top is not None and not top.given:
        return SOURCE_DB
    if not isinstance(stage, Amplifier):
        return STAGE_DB
    noted = not stage.gain.fixed and stage.gain.at is not None and stage.gain.at.known
    if not noted:
        return SENSITIVITY_DB
    nominal, position = chain.nominal(), input_range(stage)
    ends = f"{name}.input_ranges.{position}" if position else f"{name}.sensitivity"
    travel_db = abs(20 * math.log10(nominal[f"{ends}.down"] / nominal[f"{ends}.up"]))
    return math.hypot(SENSITIVITY_DB, READ_SD * travel_db)


def position_density(places: Floats, read_off: float) -> Floats:
    """Return the normal density, per whole travel, of reading a position `read_off` off a knob that is at `places`."""
    z = (places - read_off) / READ_SD
    return np.asarray(np.exp(-0.5 * z * z) / (READ_SD * np.sqrt(2 * np.pi)))
