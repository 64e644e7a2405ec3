"""A sweep to play, and the response in what was recorded of it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.errors import CallError, RecordingError

if TYPE_CHECKING:
    from pathlib import Path

    from gainwright.metering import Responses
    from gainwright.signals import Sweep


def make_sweep(*, low_hz: float, high_hz: float, seconds: float, level_dbfs: float, rate_hz: int) -> Sweep:
    """Return a sweep.

    Raises
    ------
    CallError : a range, length, level or rate that can't be.
    """
    from gainwright.signals import Sweep

    return Sweep(low_hz, high_hz, seconds, level_dbfs, rate_hz)


def write_sweep(out: Path, sweep: Sweep) -> None:
    """Write a sweep on both sides as a 24-bit WAV or FLAC file.

    Raises
    ------
    CallError : the place can't be written.
    """
    import numpy as np

    from gainwright.signals import quantised, write_samples

    samples = sweep.render()
    write_samples(out, quantised(np.stack([samples, samples], axis=1), bits=24, seed=1), sweep.rate_hz, bits=24)


def responses(file: Path, sweep: Sweep | None, *, reference: int | None, temperature_celsius: float) -> Responses:
    """Read a recording and return the response of each channel.

    Parameters
    ----------
    sweep : what was played; its rate is taken from the recording.
    reference : the channel that was recorded before the path, instead of a sweep.

    Raises
    ------
    RecordingError : it can't be read, or holds nothing of what was played.
    CallError : a channel that isn't there, a temperature outside -40 to 60.
    """
    from dataclasses import replace

    from gainwright.metering import compared, find_path, read_recording, response_of_sweep, response_of_two

    if not (math.isfinite(temperature_celsius) and -40 <= temperature_celsius <= 60):
        raise CallError(
            f"a temperature of {temperature_celsius:g}", code="bad_option", where="temperature", rule="-40 to 60 °C"
        )
    recording = read_recording(file)
    numbers = [i + 1 for i in range(recording.channels) if i + 1 != reference]
    if reference is not None and (not 1 <= reference <= recording.channels or not numbers):
        raise CallError(
            f"channel {reference} as the reference",
            code="bad_option",
            where="reference",
            rule=f"{file.name} has {recording.channels} channels, and another one is needed",
        )
    if reference is None:
        assert sweep is not None  # noqa: S101  one of the two is given
        played = replace(sweep, rate_hz=recording.rate_hz).render()
        low_hz, high_hz, respond = sweep.low_hz, sweep.high_hz, response_of_sweep
    else:
        played = recording.samples[:, reference - 1]
        low_hz, high_hz, respond = 20.0, min(20_000.0, 0.45 * recording.rate_hz), response_of_two
    found, paths = [], []
    for number in numbers:
        samples = recording.samples[:, number - 1]
        try:
            response = respond(samples, played, rate_hz=recording.rate_hz, low_hz=low_hz, high_hz=high_hz)
            paths.append(find_path(response))
        except RecordingError as error:
            raise error.placed(f"{file}: channel {number}") from None
        found.append(response)
    return compared(numbers, found, paths, temperature_celsius=temperature_celsius)
