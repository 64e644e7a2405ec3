"""Instruments with their missing keys filled in, and the reasons (common practice, no published source)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.model import Accuracy, Multimeter
from gainwright.quantities import parse

if TYPE_CHECKING:
    from gainwright.model import Instrument, Job

METER: dict[str, tuple[Any, str]] = {
    "true_rms": (False, "most handheld meters respond to the average and are scaled for a sine"),
    "accuracy": (Accuracy.parse("1.5 % + 5 counts"), "AC volts of a handheld meter of 4000 counts"),
    "counts": (4000, "a usual handheld meter"),
    "bandwidth": (parse("400 Hz", "frequency"), "many handheld meters specify their AC ranges only to 400 or 500 Hz"),
    "input_impedance": (parse("10 Mohm", "resistance"), "a usual handheld meter"),
}
RECORDER: dict[str, tuple[Any, str]] = {
    "attenuator": (parse("0 dB", "ratio"), "nothing before its input unless said"),
    "rate": (parse("48 kHz", "frequency"), "a usual audio interface"),
    "input_impedance": (parse("10 kohm", "resistance"), "a line input"),
}
INDICATOR: dict[str, tuple[Any, str]] = {
    "input_impedance": (parse("1 Mohm", "resistance"), "loads a line output little"),
}
DEFAULT_METER = "meter"


def defaults(instrument: Instrument) -> dict[str, tuple[Any, str]]:
    """Return the assumptions for a kind: key -> (value, reason)."""
    return {"multimeter": METER, "recorder": RECORDER, "indicator": INDICATOR}[instrument.kind]


def instruments(job: Job) -> dict[str, Instrument]:
    """Return the job's instruments, complete; one multimeter when it has none."""
    given: dict[str, Instrument] = dict(job.instruments) or {DEFAULT_METER: Multimeter(kind="multimeter")}
    return {name: _complete(instrument) for name, instrument in given.items()}


def at_hand(job: Job) -> dict[str, Instrument]:
    """Return the instruments that fault finding may ask for, complete: those that the job names.

    A plan assumes a multimeter where it names none: without one there is no plan.
    """
    return instruments(job) if job.instruments else {}


def possible_instruments(job: Job) -> dict[str, Instrument]:
    """Return the instruments that may be at fault, complete: `instruments`, or none when the job says `instruments: {}`.

    One that the job doesn't name isn't asked for, but somebody may read with it all the same.
    """
    return {} if "instruments" in job.model_fields_set and not job.instruments else instruments(job)


def _complete(instrument: Instrument) -> Instrument:
    missing = {
        key: value
        for key, (value, _) in defaults(instrument).items()
        if getattr(instrument, key) is None or not getattr(getattr(instrument, key), "known", True)
    }
    return instrument.model_copy(update=missing)


@dataclass(frozen=True, slots=True)
class Assumption:
    """An assumption where a job gives no value: the key, the value with its spread, and why."""

    path: str
    value: str
    reason: str


def instrument_assumptions(job: Job) -> list[Assumption]:
    """Return the assumptions about instruments."""
    found = []
    given: dict[str, Instrument] = dict(job.instruments) or {DEFAULT_METER: Multimeter(kind="multimeter")}
    for name, instrument in given.items():
        for key, (value, reason) in defaults(instrument).items():
            if getattr(instrument, key) is None:
                text = value.as_written() if isinstance(value, Accuracy) else str(value)
                found.append(Assumption(f"{name}.{key}", text, reason + "; common practice"))
    return found
