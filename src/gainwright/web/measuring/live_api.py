"""Live measurement: sound from a browser over a WebSocket; this machine's inputs as server-sent events."""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import struct
import time
from collections import deque
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool
from starlette.responses import StreamingResponse
from starlette.websockets import WebSocket, WebSocketDisconnect

from gainwright.errors import CallError, GainwrightError
from gainwright.texts import say
from gainwright.web.errors import ERROR_RESPONSES, Trouble
from gainwright.web.measuring.sessions import browser_measurement, server_measurement
from gainwright.web.page_language import in_language, language_of, page_language
from gainwright.web.shown_errors import shown, shown_message
from gainwright.web.site import CurrentSite, device_of, of_request

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Iterator, Mapping

    from gainwright.app.measuring.remote import Message, RemoteMeasurement
    from gainwright.app.ports import Block
    from gainwright.web.site import Site

router = APIRouter(prefix="/api/live", tags=["live"], responses=ERROR_RESPONSES)

HEADER = struct.Struct("<III")
"""Header of a block: its number, its frames, its channels; then 32-bit floats, frame by frame."""
MOST_BYTES = 262_144
"""Largest block."""
BEHIND_SECONDS = 2.0
"""Blocks that wait longer are dropped, and counted as lost."""
BURST_SECONDS, OVER = 3.0, 1.3
"""Tolerance on the sample rate: a burst in seconds, and a lasting factor."""
HELLO_SECONDS = 10.0
UNREADABLE, REFUSED, LARGE, FAILED, LATER = 1003, 1008, 1009, 1011, 1013
log = logging.getLogger("gainwright.web")


class Closing(Exception):  # noqa: N818  not an error: the browser gets the reason
    """The connection is closed with a reason."""

    def __init__(self, code: int, reason: str) -> None:
        super().__init__(reason)
        self.code, self.reason = code, reason


@dataclass
class Incoming:
    """Blocks and commands of one connection that wait to be processed."""

    rate_hz: int
    channels: int
    waiting: deque[Block | dict[str, Any]] = field(default_factory=deque)
    frames: int = 0
    number: int = -1
    arrived: asyncio.Event = field(default_factory=asyncio.Event)
    begun: float = field(default_factory=time.monotonic)
    total: int = 0

    def take(self, content: bytes) -> None:
        """Add a block. Closing: it can't be read, or too many samples come."""
        from gainwright.app.ports import Block

        samples, number = self._read(content)
        self.total += len(samples)
        if self.total > (BURST_SECONDS + OVER * (time.monotonic() - self.begun)) * self.rate_hz:
            raise Closing(REFUSED, "samples came faster than the stated rate")
        lost = self.number >= 0 and number != (self.number + 1) % 2**32
        self.number = number
        if self.frames > BEHIND_SECONDS * self.rate_hz:
            self.waiting = deque(item for item in self.waiting if isinstance(item, dict))
            self.frames, lost = 0, True
        self.waiting.append(Block(samples, lost=lost))
        self.frames += len(samples)
        self.arrived.set()

    def _read(self, content: bytes) -> tuple[Any, int]:
        import numpy as np

        if len(content) > MOST_BYTES:
            raise Closing(LARGE, "a block is too large")
        if len(content) < HEADER.size:
            raise Closing(UNREADABLE, "a block is too short")
        number, frames, channels = HEADER.unpack_from(content)
        if channels != self.channels or not frames or len(content) != HEADER.size + 4 * frames * channels:
            raise Closing(UNREADABLE, "a block isn't of the stated length")
        samples = np.frombuffer(content, "<f4", offset=HEADER.size).reshape(frames, channels).astype(np.float64)
        if not np.isfinite(samples).all():
            raise Closing(UNREADABLE, "a sample is not a number")
        return samples, number

    def ask(self, text: str) -> None:
        """Add a command. Closing: it isn't one."""
        try:
            message = json.loads(text[:4000])
        except (ValueError, RecursionError):
            message = None
        if not isinstance(message, dict) or len(self.waiting) > 2000:
            raise Closing(UNREADABLE, "a message can't be read")
        self.waiting.append(message)
        self.arrived.set()

    def all(self) -> list[Block | dict[str, Any]]:
        """Return and remove everything that waits."""
        items = list(self.waiting)
        self.waiting.clear()
        self.frames = 0
        self.arrived.clear()
        return items


@router.websocket("")
async def live(socket: WebSocket) -> None:
    """Measure what a browser sends: a text that describes the input, then blocks; commands and updates are texts."""
    site = of_request(socket)
    await socket.accept()
    name = ""
    code = language_of(socket)
    try:
        hello = await _hello(socket)
        measurement = await run_in_threadpool(browser_measurement, site, device_of(socket), hello)
        name = site.measurements.add(measurement)
        incoming = Incoming(measurement.session.rate_hz, measurement.session.channels)
        await _send(socket, {"kind": "begun", "device": measurement.session.key})
        await _measure(socket, measurement, incoming, code)
    except Closing as closing:
        await _close(socket, closing.code, closing.reason)
    except GainwrightError as error:
        if error.code != "busy":  # then the page tries again
            with contextlib.suppress(WebSocketDisconnect):  # a reason in full: that of a close frame may be cut
                await _send(socket, ended(code, error))
        await _close(socket, LATER if error.code == "busy" else REFUSED, str(shown(error)))
    except WebSocketDisconnect:
        pass
    except Exception:
        log.exception("a live measurement failed")
        with contextlib.suppress(WebSocketDisconnect):
            await _send(socket, ended(code))
        await _close(socket, FAILED, FAILURE.what)
    finally:
        site.measurements.remove(name)


FAILURE = GainwrightError(
    say("the program failed while measuring, and this measurement has ended"),
    code="failed",
    remedy=say("start again; if it happens again, record the sound and upload it"),
)


def ended(code: str, error: GainwrightError = FAILURE) -> Message:
    """Return the last message of a measurement that an error ends: the client isn't to start it again by itself."""
    from gainwright.app.measuring.remote import error_message

    return _worded({**error_message(shown(error)), "ended": True}, code)


async def _send(socket: WebSocket, message: Message) -> None:
    """Send a message. WebSocketDisconnect: the other end is gone."""
    content = json.dumps(message, allow_nan=False)
    try:
        await socket.send_text(content)
    except RuntimeError as error:  # of starlette: closed already
        raise WebSocketDisconnect(1006) from error


async def _close(socket: WebSocket, code: int, reason: str) -> None:
    # the reason of a close frame is 123 bytes at most
    with contextlib.suppress(RuntimeError, WebSocketDisconnect):
        await socket.close(code, reason.encode()[:120].decode(errors="ignore"))


async def _hello(socket: WebSocket) -> Mapping[str, Any]:
    try:
        message = json.loads((await asyncio.wait_for(socket.receive_text(), HELLO_SECONDS))[:4000])
    except (TimeoutError, ValueError, KeyError, RecursionError):
        message = None
    except RuntimeError as error:  # of starlette: closed already
        raise WebSocketDisconnect(1006) from error
    if not isinstance(message, dict):
        raise Closing(UNREADABLE, "the first message must describe the input")
    return message


async def _measure(socket: WebSocket, measurement: RemoteMeasurement, incoming: Incoming, code: str) -> None:
    """Receive and measure concurrently: what arrives during an update is measured with the next."""
    reading = asyncio.create_task(_read(socket, incoming))
    try:
        while True:
            waiting = asyncio.create_task(incoming.arrived.wait())
            await asyncio.wait({reading, waiting}, return_when=asyncio.FIRST_COMPLETED)
            waiting.cancel()
            if reading.done():
                reading.result()
                return
            items, number = incoming.all(), incoming.number
            for message in await run_in_threadpool(measured, measurement, items, code):
                await _send(socket, {**message, "number": number})
    finally:
        reading.cancel()
        with contextlib.suppress(asyncio.CancelledError, Exception):
            await reading


async def _read(socket: WebSocket, incoming: Incoming) -> None:
    while True:
        message = await socket.receive()
        if message["type"] == "websocket.disconnect":
            return
        if message.get("bytes") is not None:
            incoming.take(message["bytes"])
        elif message.get("text") is not None:
            incoming.ask(message["text"])


def measured(measurement: RemoteMeasurement, items: list[Block | dict[str, Any]], code: str = "en") -> list[Message]:
    """Return the messages to send after some commands and blocks, in a language."""
    from gainwright.app.ports import Block

    messages = [message for item in items if isinstance(item, dict) for message in measurement.command(item)]
    messages += measurement.push(*(item for item in items if isinstance(item, Block)))
    return [_worded(message, code) for message in messages]


def _worded(message: Message, code: str) -> Message:
    """Return a message in a language, as it may be sent."""
    with page_language(code):
        return shown_message(message, in_language)


class RecordingKept(BaseModel):
    """A recording was stored with the job."""

    kind: Literal["kept"]
    recording: str
    name: str


class CommandRefused(Trouble):
    """A command can't be carried out, and what to do about it."""

    kind: Literal["trouble"]


class Command(BaseModel):
    """A command to a running measurement: restart, show a channel, calibrate by a meter's reading, record, check two levels."""

    do: Literal["reset", "channel", "calibrate", "record", "stop_recording", "level_check"]
    text: str = Field(default="", max_length=40, description="The meter's reading: 0.35, 350 mV.")
    channel: int = Field(default=1, ge=1, le=64)
    seconds: int = Field(default=10, ge=1, le=120)
    name: str = Field(default="", max_length=80)
    part: Literal["", "loud", "quiet"] = Field(default="", description="Of the check at two levels; empty to stop it.")


@router.get("/events", response_class=StreamingResponse)
async def events(
    request: Request,
    site: CurrentSite,
    device: Annotated[str, Query(max_length=200)] = "",
    channels: Annotated[int, Query(ge=1, le=8)] = 2,
    gain: Annotated[str, Query(max_length=80)] = "",
    job: Annotated[str, Query(max_length=80)] = "",
    step: Annotated[str, Query(max_length=200)] = "",
) -> StreamingResponse:
    """Measure one of this machine's own inputs: updates as server-sent events until the connection is closed."""
    measurement = await run_in_threadpool(
        server_measurement, site, device=device, channels=channels, gain=gain, job=job, step=step
    )
    return StreamingResponse(_events(site, measurement, language_of(request)), media_type="text/event-stream")


async def _events(site: Site, measurement: RemoteMeasurement, code: str) -> AsyncIterator[str]:
    name = ""
    session = measurement.session
    loop = asyncio.get_running_loop()
    thread = ThreadPoolExecutor(1, "live input")  # its own: waiting for sound takes none of those that answer requests
    source = site.world.sound.blocks(session.device, rate_hz=session.rate_hz, channels=session.channels)
    try:
        name = site.measurements.add(measurement)
        yield _event({"kind": "begun", "session": name, "device": session.key})
        while True:
            for message in await loop.run_in_executor(thread, _next, source, measurement):
                yield _event(_worded(message, code))
    except GainwrightError as error:
        yield _event(ended(code, error))
    except Exception:
        log.exception("a live measurement failed")
        yield _event(ended(code))
    finally:
        site.measurements.remove(name)
        thread.shutdown(wait=False)
        with contextlib.suppress(ValueError, AttributeError):  # it may be waiting for a block
            source.close()  # type: ignore[attr-defined]


def _next(source: Iterator[Block], measurement: RemoteMeasurement) -> list[Message]:
    block = next(source, None)
    if block is None:
        raise CallError(say("the input has ended"), code="no_device", remedy=say("start again"))
    with measurement.lock:
        return measurement.push(block)


def _event(message: Message) -> str:
    return f"data: {json.dumps(message, allow_nan=False)}\n\n"


@router.post("/{session}")
def command(request: Request, site: CurrentSite, session: str, asked: Command) -> list[RecordingKept | CommandRefused]:
    """Send a command to a measurement of this machine's input; return its immediate messages."""
    measurement = site.measurements.get(session)
    with measurement.lock:
        found = measurement.command(asked.model_dump())
    messages = [_worded(message, language_of(request)) for message in found]
    kinds: dict[str, type[RecordingKept | CommandRefused]] = {"kept": RecordingKept, "trouble": CommandRefused}
    return [kinds[message["kind"]].model_validate(message) for message in messages]
