"""The data of a handover."""

from __future__ import annotations

from dataclasses import dataclass

from gainwright.metering.measurement import Verdict
from gainwright.plan.result import SetBy
from gainwright.report.reached import ReachedOutput


@dataclass(frozen=True, slots=True)
class ReachedTarget:
    """The target of an amplifier and its last reading, volts rms, with half of the reading's 95 % interval; `outputs` are all that were read."""

    stage: str
    v_rms: float
    set_by: SetBy
    reached_v: float | None
    reached_half_v: float | None
    outputs: tuple[ReachedOutput, ...] = ()


@dataclass(frozen=True, slots=True)
class RecordingVerdict:
    """A recording: its name, the result of its first channel, and what was done to it, so that levels aren't reliable."""

    name: str
    verdict: Verdict
    thd_percent: float | None
    processing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class HandoverData:
    """The data of a handover.

    Attributes
    ----------
    stages : name -> kind.
    controls : control -> setting.
    allowance_db : by output; `music_db` the allowance for the customer's music.
    readings : as text.
    last_clean_step : the highest clean step of the volume, as measured; None where it wasn't.
    loudest_db : speaker -> sound pressure level at 1 m at its amplifier's target, dB, free field.
    """

    customer: str
    vehicle: str
    stages: dict[str, str]
    controls: dict[str, str]
    targets: tuple[ReachedTarget, ...]
    allowance_db: dict[str, float]
    readings: tuple[str, ...]
    recordings: tuple[RecordingVerdict, ...]
    last_clean_step: float | None
    loudest_db: dict[str, float]
    music_db: dict[str, float]
    not_measured: tuple[str, ...] = ()
