"""The guided check of one of the system's inputs for automatic gain: waits for each of two tones, takes it, then judges."""

from __future__ import annotations

import collections
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.app.measuring.level_check import SECONDS, TwoLevels
from gainwright.app.measuring.live import STEADY_SECONDS, check_options, open_session
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.app.measuring.live import LiveOptions, LiveSession, LiveUpdate
    from gainwright.app.ports import Block, Calibrations, SoundInput
    from gainwright.metering.level_check import LevelCheck

STEADY_DB = 1.0
"""A tone that stays within this for `STEADY_SECONDS` is steady; a slower drift is found in what is taken of it."""
CHANGED_DB = 2.0
"""A level that has moved by this much since the louder tone, or a pause, says that the second tone is on its way."""
MOVED_DB = 3.0
"""A tone that moves by this much while it is taken is waited for again."""
WAIT_SECONDS = 60.0


@dataclass(frozen=True, slots=True)
class CheckProgress:
    """How far the check is.

    Attributes
    ----------
    part : `loud` or `quiet`, the tone that is waited for or taken.
    taking : whether it is being taken.
    share : how much of it is taken, 0 .. 1.
    channel : the one that is checked, from 1.
    update : of the live measurement.
    result : None until both tones are taken.
    """

    part: str
    taking: bool
    share: float
    channel: int
    update: LiveUpdate
    result: LevelCheck | None = None


class GuidedCheck:
    """The check of one live measurement: blocks go in, progress comes out, the last one with the result.

    The louder tone is taken on the channel where it is loudest once it is steady; the quieter one once the level has changed
    or the tone has paused, and is steady again.
    """

    def __init__(self, session: LiveSession) -> None:
        self._session = session
        self._levels = TwoLevels(rate_hz=session.rate_hz)
        self._part, self._channel = "loud", 1
        self._began = 0
        self._changed = True
        self._level: float | None = None
        self._heard: collections.deque[tuple[int, tuple[float | None, ...]]] = collections.deque()

    def push(self, block: Block) -> CheckProgress | None:
        """Take a block; return the progress when an update is due, and at once when both tones are taken.

        Raises
        ------
        CallError : no steady tone, or no second one, came within `WAIT_SECONDS`.
        RecordingError : a sample is not a number.
        """
        if block.lost or block.away:
            self._wait()
        if self._levels.add(block):
            self._session.take(block)
            return self._taken()
        update = self._session.push(block)
        if update is None:
            return None
        self._hear(update)
        if not self._levels.part:
            self._begin_if_steady()
        return self._progress(update)

    def _progress(self, update: LiveUpdate, result: LevelCheck | None = None) -> CheckProgress:
        taking = bool(self._levels.part)
        return CheckProgress(self._part, taking, self._levels.share if taking else 0.0, self._channel, update, result)

    def _wait(self) -> None:
        self._levels.begin("", channel=self._channel)
        self._heard.clear()

    def _taken(self) -> CheckProgress:
        """End a part: go on to the quieter tone, or judge."""
        found = self._levels.complete()
        if found is None:
            self._part, self._changed, self._began = "quiet", False, self._session.taken
            self._heard.clear()
        return self._progress(self._session.update(), found)

    def _hear(self, update: LiveUpdate) -> None:
        """Keep the levels of the tone, and notice that it moved."""
        now = self._session.taken
        channels = () if update.reading is None else update.reading.channels
        levels = tuple(None if c.verdict == "other_tone" else c.fundamental_dbfs for c in channels)
        self._heard.append((now, levels))
        while now - self._heard[0][0] > STEADY_SECONDS * self._session.rate_hz:
            self._heard.popleft()
        level = levels[self._channel - 1] if levels else None
        moved = self._level is not None and (level is None or abs(level - self._level) > MOVED_DB)
        if self._levels.part and moved:
            self._wait()
        elif not self._changed and (level is None or self._level is None or abs(level - self._level) > CHANGED_DB):
            self._changed = True
            self._heard.clear()

    def _begin_if_steady(self) -> None:
        """Begin with a tone that is steady. CallError: none was for too long."""
        session = self._session
        steady = self._steady() if self._changed else None
        if steady is not None:
            if self._part == "loud":
                self._channel = 1 + max(range(len(steady)), key=lambda i: steady[i])
            self._level = steady[self._channel - 1]
            self._levels.begin(self._part, channel=self._channel)
        elif session.taken - self._began > WAIT_SECONDS * session.rate_hz:
            if not self._changed:
                raise CallError(
                    f"the second tone didn't come within {WAIT_SECONDS:g} s",
                    code="no_tone",
                    remedy="begin again, and play the quieter tone when it is asked for",
                )
            raise CallError(
                f"no steady tone came in within {WAIT_SECONDS:g} s",
                code="no_tone",
                rule=f"it must stay within {STEADY_DB:g} dB for {STEADY_SECONDS:g} s",
                remedy="play both tones louder and keep everything still"
                + (
                    "; if the quieter one still isn't heard, the input suppresses it as noise"
                    if self._part == "quiet"
                    else ""
                ),
            )

    def _steady(self) -> list[float] | None:
        """Return the levels of the channels if the tone has been steady for long enough, with -inf for one that isn't."""
        if not self._heard or self._heard[-1][0] - self._heard[0][0] < 0.9 * STEADY_SECONDS * self._session.rate_hz:
            return None
        found = []
        for i in range(self._session.channels):
            levels = [heard[i] if heard else None for _, heard in self._heard]
            known = [level for level in levels if level is not None]
            steady = len(known) == len(levels) and max(known) - min(known) <= STEADY_DB
            found.append(known[-1] if steady else float("-inf"))
        watched = found if self._part == "loud" else [found[self._channel - 1]]
        return found if max(watched) > float("-inf") else None


def follow_check(sound: SoundInput, options: LiveOptions, calibrations: Calibrations) -> Iterator[CheckProgress]:
    """Guide through the check of an input, about twelve times a second; the last progress has the result.

    Each tone is waited for, then taken for some seconds (`level_check.SECONDS`).

    Raises
    ------
    CallError : no such device, it can't be opened, options out of their bounds; a tone didn't come, or the input or the
        time of `options` ended before both were taken.
    """
    check_options(options)
    session = open_session(sound, options, calibrations)
    check = GuidedCheck(session)
    for block in sound.blocks(session.device, rate_hz=session.rate_hz, channels=session.channels):
        progress = check.push(block)
        if progress is not None:
            yield progress
            if progress.result is not None:
                return
        if options.seconds is not None and session.taken >= options.seconds * session.rate_hz:
            break
    raise CallError(
        "the measurement ended before both tones were taken",
        code="too_short",
        rule=f"{SECONDS:g} s of each are needed, once they are steady",
        remedy="begin again with more time",
    )
