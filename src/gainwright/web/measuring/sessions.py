"""Opening a live measurement: of what a browser sends, or of an input of this machine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.errors import CallError, GainwrightError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.app.measuring.live import Expectation
    from gainwright.app.measuring.remote import RemoteMeasurement
    from gainwright.web.site import Site

RATES_HZ = (8_000, 192_000)
MOST_CHANNELS = 8
LONGEST_LABEL = 120


def browser_measurement(site: Site, actor: str, hello: Mapping[str, Any]) -> RemoteMeasurement:
    """Return a measurement of what a browser sends.

    Parameters
    ----------
    hello : `rate_hz`, `channels`, `device` (its label), `gain`, `processing` (effects the browser leaves on), `job`, `step`.

    Raises
    ------
    CallError : one of them is invalid.
    """
    from gainwright.app.measuring.live import LiveOptions, LiveSession
    from gainwright.app.measuring.remote import RemoteMeasurement, read_whole
    from gainwright.app.measuring.stored_recordings import shown_name
    from gainwright.app.ports import InputDevice

    rate_hz = read_whole(hello.get("rate_hz"), "rate", *RATES_HZ)
    channels = read_whole(hello.get("channels"), "channels", 1, MOST_CHANNELS)
    label = shown_name(str(hello.get("device", "")))[:LONGEST_LABEL] or "input"
    gain = shown_name(str(hello.get("gain", "")))
    processing = hello.get("processing") or []
    if not isinstance(processing, list) or len(processing) > 8:
        raise CallError("the list of the browser's processing can't be read", code="bad_call")
    job, step = str(hello.get("job", "")), str(hello.get("step", ""))
    expected, tone_hz = expected_of(site, job, step)
    # the same label on two devices means two inputs
    device = InputDevice(label, f"browser on {actor}", channels, rate_hz)
    options = LiveOptions(channels=channels, rate_hz=rate_hz, gain=gain, expect_hz=tone_hz)
    session = LiveSession(device, options, site.world.calibrations, rate_hz=rate_hz, channels=channels)
    effects = tuple(shown_name(str(p)) for p in processing)
    return RemoteMeasurement(
        session,
        store=site.store,
        job=_known(site, job),
        expected=expected,
        processing=effects,
        scratch=site.world.sound_files.scratch,
    )


def server_measurement(site: Site, *, device: str, channels: int, gain: str, job: str, step: str) -> RemoteMeasurement:
    """Return a measurement of one of this machine's inputs.

    Raises
    ------
    CallError : there is no such input, or no sound system.
    """
    from gainwright.app.measuring.live import LiveOptions, open_session
    from gainwright.app.measuring.remote import RemoteMeasurement

    expected, tone_hz = expected_of(site, job, step)
    options = LiveOptions(device=device, channels=channels, gain=gain, expect_hz=tone_hz)
    session = open_session(site.world.sound, options, site.world.calibrations)
    scratch = site.world.sound_files.scratch
    return RemoteMeasurement(session, store=site.store, job=_known(site, job), expected=expected, scratch=scratch)


def _known(site: Site, job: str) -> str:
    return site.store.jobs.get(job).id if job else ""


def expected_of(site: Site, job: str, step: str) -> tuple[Expectation | None, float | None]:
    """Return what a step of a job's plan expects, and the frequency of its tone in Hz; None where there is none.

    Raises
    ------
    CallError : there is no such job.
    """
    from gainwright.app.measuring.live import expectation_of

    if not job or not step:
        return None, None
    plan = site.models.plan(site.store.jobs.get(job).text)
    planned = next((s for s in plan.steps if s.id == step), None)
    tone_hz = None if planned is None else planned.tone_hz
    if planned is not None and planned.adjust is not None and planned.adjust.until == "last_clean":
        return None, tone_hz  # the expectation is for the control's final position
    try:
        return expectation_of(plan, step), tone_hz
    except GainwrightError:
        return None, tone_hz
