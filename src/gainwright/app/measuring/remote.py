"""A live measurement for a remote client: blocks and commands in, messages out; recordings of it."""

from __future__ import annotations

import io
import threading
from typing import TYPE_CHECKING, Any

from gainwright.app.measuring.level_check import TwoLevels
from gainwright.app.measuring.live import NOT_CALIBRATED, LiveSession
from gainwright.app.measuring.recording_limits import longest_s
from gainwright.app.measuring.stored_recordings import Take, add_recording
from gainwright.errors import CallError, GainwrightError
from gainwright.quantities import Quantity, read_measured
from gainwright.report.processing import FOUND, processing_words
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from typing import IO

    from gainwright.app.measuring.live import Expectation, LiveUpdate
    from gainwright.app.ports import Block
    from gainwright.app.store import Store, StoredRecording

Message = dict[str, Any]

PICTURE_EVERY = 2
"""Waveform and spectrum come with every second update."""
STORED_LATER = ("store_", "job_deleted")
"""How codes of errors begin after which a recording that can't be stored now may be stored later."""
READABLE = ("clean", "distorted", "clipped")
"""Verdicts whose voltage can be compared with the one that a step expects."""


class RemoteMeasurement:
    """One measurement and its client.

    Parameters
    ----------
    store, job : where recordings are kept; none without a job.
    expected : what the step of the plan expects, if any.
    processing : effects that the browser leaves on; with any, levels can't be trusted.
    scratch : makes an empty file for a recording; in memory by default.

    Attributes
    ----------
    lock : to be held while pushing or commanding, where several threads do.
    """

    def __init__(
        self,
        session: LiveSession,
        *,
        store: Store,
        job: str = "",
        expected: Expectation | None = None,
        processing: tuple[str, ...] = (),
        scratch: Callable[[], IO[bytes]] = io.BytesIO,
    ) -> None:
        self.session = session
        self.lock = threading.Lock()
        self._store, self._job, self._expected, self._processing = store, job, expected, processing
        self._scratch = scratch
        self._channel = 1
        self._updates = 0
        self._take: Take | None = None
        self._levels = TwoLevels(rate_hz=session.rate_hz)

    def push(self, *blocks: Block) -> list[Message]:
        """Add blocks; return the messages to send. However many there are, they are measured once, at their end."""
        messages: list[Message] = []
        for block in blocks:
            taking = self._take if self._take is not None and not self._take.ended else None
            if taking is not None and block.away:
                taking.gap()
            elif taking is not None and taking.add(block.samples, lost=block.lost):
                messages += self._guarded(self._kept)
            if self._levels.add(block):
                messages += self._guarded(self._checked)
            self.session.take(block)
        if blocks and blocks[-1].away:
            return messages + self._update_message(self.session.away())
        if not self.session.due:
            return messages
        return messages + self._guarded(lambda: self._update_message(self.session.update()))

    def close(self) -> None:
        """End it; a recording that isn't complete is dropped."""
        take, self._take = self._take, None
        if take is not None:
            take.close()

    def command(self, message: Mapping[str, Any]) -> list[Message]:
        """Carry out a command: `do` is reset, channel, calibrate, record, stop_recording or level_check; return the messages to send."""
        return self._guarded(lambda: self._done(message))

    def _guarded(self, do: Callable[[], list[Message]]) -> list[Message]:
        try:
            return do()
        except GainwrightError as error:
            return [error_message(error)]

    def _done(self, message: Mapping[str, Any]) -> list[Message]:
        what = message.get("do")
        if what == "reset":
            self.session.reset()
        elif what == "channel":
            self._channel = read_whole(message.get("channel"), "channel", 1, self.session.channels)
        elif what == "calibrate":
            self._calibrate(str(message.get("text", "")))
        elif what == "record":
            self._record(message)
        elif what == "stop_recording":
            return self._kept() if self._take is not None else []
        elif what == "level_check":
            self._levels.begin(str(message.get("part", "")), channel=self._channel)
        else:
            raise CallError(say("a measurement has no such command"), code="bad_call")
        return []

    def _calibrate(self, text: str) -> None:
        if self._processing:
            what = say("the browser keeps {processing} on", processing=processing_words(self._processing))
            raise CallError(
                say("automatic gain was found at two levels") if FOUND in self._processing else what,
                code="not_trusted",
                remedy=say("levels are unreliable then; use another input or browser"),
            )
        volts = read_measured(text[:40], "voltage", unit="V", example="0.35 or 350 mV")
        assert isinstance(volts, Quantity)  # noqa: S101  no words were allowed
        self.session.calibrate(volts.nominal)

    def _record(self, message: Mapping[str, Any]) -> None:
        if not self._job:
            raise CallError(
                say("a recording needs a job"), code="no_such_job", remedy=say("open a job and measure there")
            )
        if self._take is not None:
            raise CallError(say("a recording is running"), code="busy", remedy=say("stop it, or wait until it is done"))
        seconds, rate_hz, channels = (
            read_whole(message.get("seconds"), "seconds", 1, 120),
            self.session.rate_hz,
            self.session.channels,
        )
        longest = longest_s(rate_hz, channels)
        if seconds > longest:
            raise CallError(
                say(
                    "a recording of {channels} channels at {rate} kHz can have {longest} s",
                    channels=channels,
                    rate=f"{rate_hz / 1000:g}",
                    longest=longest,
                ),
                code="too_large",
                where="seconds",
                remedy=say("record a shorter one, or fewer channels"),
            )
        name = str(message.get("name", ""))
        self._take = Take(self._scratch(), seconds=seconds, rate_hz=rate_hz, channels=channels, name=name)

    def _checked(self) -> list[Message]:
        """End a part of the check at two levels; return its message."""
        from gainwright.results import to_json

        part = self._levels.part
        found = self._levels.complete()
        if found is None:
            return [{"kind": "level_check", "part": part, "result": None}]
        others = tuple(p for p in self._processing if p != FOUND)
        if found.result != "unclear":
            self._processing = (*others, FOUND) if found.result == "not_linear" else others
        processing = list(self._processing)
        return [{"kind": "level_check", "part": part, **to_json(found), "text": found.text, "processing": processing}]

    def _kept(self) -> list[Message]:
        """Store the recording; return its message. While the store can't take it, it stays, and stopping it again tries again."""
        take, self._take = self._take, None
        assert take is not None  # noqa: S101  asked by the callers
        try:
            stored = self._stored(take)
        except CallError as error:
            if not error.code.startswith(STORED_LATER):
                take.close()
                raise
            self._take = take
            remedy = say("the recording is still here: stop it again to save it; it is lost when this page is left")
            raise error.with_texts(error.what, where=error.where, rule=error.rule, remedy=remedy) from None
        except BaseException:
            take.close()
            raise
        take.close()
        return [{"kind": "kept", "recording": stored.id, "name": stored.name}]

    def _stored(self, take: Take) -> StoredRecording:
        from gainwright.app.measuring.stored_result import Origin

        options = self.session.options
        return add_recording(
            self._store,
            self._job,
            take.wav(),
            name=take.name,
            about=Origin("recorded here", self.session.key, take.gaps, tuple(self._processing)),
            calibrate_v=self.session.calibrate_v,
            expect_hz=options.expect_hz,
            limit_percent=options.limit_percent,
        )

    def _update_message(self, update: LiveUpdate) -> list[Message]:
        from gainwright.report.live import heard, pictures_json
        from gainwright.results import to_json

        message: Message = {
            "kind": "update",
            "rate_hz": update.rate_hz,
            "calibrate_v": update.calibrate_v,
            "away": update.away,
            "notes": [note for note in update.notes if note != NOT_CALIBRATED],
            "channel": self._channel,
            "recording": None if self._take is None else self._take.share,
            "level_check": self._levels.share if self._levels.part else None,
            "reading": None,
            "pictures": None,
        }
        if update.reading is not None:
            self._updates += 1
            message["reading"] = to_json(update.reading)
            message["heard"] = [heard(channel) for channel in update.reading.channels]
            # a gap shows in its count
            message["warnings"] = list(update.reading.warnings[: -1 if update.reading.gaps else None])
            message["fits"] = self._fits(update)
            if self._updates % PICTURE_EVERY == 1:
                drawn = self.session.pictures(channel=self._channel)
                message["pictures"] = None if drawn is None else pictures_json(drawn)
        return [message]

    def _fits(self, update: LiveUpdate) -> list[str | None]:
        """Return for each channel whether it is as the step expects: fits, low, high; None where that is unknown."""
        assert update.reading is not None  # noqa: S101  asked by the caller
        if self._expected is None or update.calibrate_v is None or self._processing:
            return [None] * len(update.reading.channels)
        return [
            self._expected.verdict(update.calibrate_v * 10 ** (c.rms_dbfs / 20))
            if c.verdict in READABLE and c.rms_dbfs is not None
            else None
            for c in update.reading.channels
        ]


def error_message(error: GainwrightError) -> Message:
    """Return an error as a message."""
    return {"kind": "trouble", **error.as_json()}


def read_whole(value: Any, name: str, low: int, high: int) -> int:
    """Return a whole number from a message.

    Raises
    ------
    CallError : it isn't one, or is out of bounds.
    """
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise CallError(
            say("{name} is invalid", name=name),
            code="bad_call",
            where=name,
            rule=say("it is {low} to {high}", low=low, high=high),
        )
    return value
