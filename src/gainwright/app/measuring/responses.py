"""The response of each channel of a recorded sweep, or re a reference channel."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import CallError, RecordingError
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.metering import Recording, Responses
    from gainwright.signals import Sweep

LEAST_SHARE = 0.9
"""Share of a sweep that must be in a recording."""


def responses(
    recording: Recording, sweep: Sweep | None, *, reference: int | None = None, temperature_celsius: float = 20.0
) -> Responses:
    """Return the response of each channel of a recording.

    Parameters
    ----------
    sweep : what was played; its rate is taken from the recording.
    reference : the channel that was recorded before the path, instead of a sweep.

    Raises
    ------
    RecordingError : the sweep isn't in the recording, or not all of it.
    CallError : a channel that doesn't exist, a temperature outside -40 to 60 °C.
    """
    from dataclasses import replace

    from gainwright.metering import compare_channels, identify_filters, sweep_response, two_channel_response
    from gainwright.quantities import check_bounds

    check_bounds(("temperature", temperature_celsius, -40, 60, "°C"))
    numbers = [i + 1 for i in range(recording.channels) if i + 1 != reference]
    if reference is not None and (not 1 <= reference <= recording.channels or not numbers):
        raise CallError(
            f"channel {reference} can't be the reference",
            code="bad_option",
            where="reference",
            rule=f"the recording has {recording.channels} channels, and another one is needed",
        )
    if reference is None:
        assert sweep is not None  # noqa: S101  one of the two is given
        _check_length(recording, sweep)
        played = replace(sweep, rate_hz=recording.rate_hz).render()
        low_hz, high_hz, respond = sweep.low_hz, sweep.high_hz, sweep_response
    else:
        played = recording.samples[:, reference - 1]
        low_hz, high_hz, respond = 20.0, min(20_000.0, 0.45 * recording.rate_hz), two_channel_response
    measured, paths = [], []
    for number in numbers:
        samples = recording.samples[:, number - 1]
        try:
            response = respond(samples, played, rate_hz=recording.rate_hz, low_hz=low_hz, high_hz=high_hz)
            paths.append(identify_filters(response))
        except RecordingError as error:
            raise error.with_place(f"{recording.name}: channel {number}") from None
        measured.append(response)
    return compare_channels(numbers, measured, paths, temperature_celsius=temperature_celsius)


def _check_length(recording: Recording, sweep: Sweep) -> None:
    """Refuse a recording that is shorter than the sweep, in which anything could be found. RecordingError: it is."""
    seconds = len(recording.samples) / recording.rate_hz
    if seconds < LEAST_SHARE * sweep.seconds:
        raise RecordingError(
            say("is {seconds} s long", seconds=f"{seconds:.3g}"),
            code="too_short",
            where=recording.name,
            rule=say("the sweep alone takes {seconds} s", seconds=f"{sweep.seconds:g}"),
            remedy=say("record all of it, or give its duration"),
        )
