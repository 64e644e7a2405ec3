"""The guided check of a live input with one tone at two levels: takes both from the blocks, then judges."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.app.ports import Block
    from gainwright.metering.level_check import LevelCheck
    from gainwright.plan import Step

PARTS = ("loud", "quiet")
SECONDS = 4.0
"""Of each tone: long enough to see automatic gain move."""
CHECKED_HZ, CHECKED_DBFS, CHECKED_SECONDS = 620.0, -14.0, 30.0
"""Tone of the check where no step gives one: in the middle of what a phone hears."""


@dataclass(frozen=True, slots=True)
class LevelTones:
    """The two tones of the check of an input: frequency in Hz, the louder and the quieter level in dBFS, length in seconds."""

    tone_hz: float
    loud: float
    quiet: float
    seconds: float


def level_tones(step: Step | None) -> LevelTones:
    """Return the tones of the check at two levels: that of the step, or one of our own, and the same 20 dB lower."""
    from gainwright.metering.level_check import APART_DB

    if step is None or not step.tone_hz or step.level_dbfs is None:
        return LevelTones(CHECKED_HZ, CHECKED_DBFS, CHECKED_DBFS - APART_DB, CHECKED_SECONDS)
    seconds = min(CHECKED_SECONDS, step.seconds_at_most or CHECKED_SECONDS)
    return LevelTones(step.tone_hz, step.level_dbfs, step.level_dbfs - APART_DB, seconds)


class TwoLevels:
    """The louder and the quieter tone of one channel of a live measurement.

    Attributes
    ----------
    part : the one that is being taken, empty when none is.
    """

    def __init__(self, *, rate_hz: int) -> None:
        self.part = ""
        self._rate_hz = rate_hz
        self._frames = round(SECONDS * rate_hz)
        self._channel = 0
        self._blocks: list[Any] = []
        self._taken = 0
        self._done: dict[str, Any] = {}

    @property
    def share(self) -> float:
        """How much of the part is taken, 0 .. 1."""
        return min(1.0, self._taken / self._frames)

    def begin(self, part: str, *, channel: int) -> None:
        """Begin with the louder or the quieter tone of a channel, from 1; an empty part stops.

        Raises
        ------
        CallError : there is no such part, or the quieter one comes first.
        """
        if part and part not in PARTS:
            raise CallError("this check has no such part", code="bad_call", where="part", rule="it is loud or quiet")
        if part == "quiet" and "loud" not in self._done:
            raise CallError(
                say("the louder tone comes first"), code="bad_call", where="part", remedy=say("take the louder tone")
            )
        if part == "loud":
            self._done, self._channel = {}, channel - 1
        self.part = part
        self._blocks, self._taken = [], 0

    def add(self, block: Block) -> bool:
        """Add a block; return whether the part is complete. A gap begins the part anew."""
        if not self.part:
            return False
        if block.lost or block.away:
            self._blocks, self._taken = [], 0
        if block.away:
            return False
        self._blocks.append(block.samples[:, self._channel])
        self._taken += len(block.samples)
        return self._taken >= self._frames

    def complete(self) -> LevelCheck | None:
        """End a part; return the result after the quieter tone, None after the louder one.

        Raises
        ------
        RecordingError : a sample is not a number.
        """
        import numpy as np

        from gainwright.metering.level_check import check_levels

        part, self.part = self.part, ""
        self._done[part] = np.concatenate(self._blocks)[: self._frames]
        self._blocks, self._taken = [], 0
        if part == "loud":
            return None
        return check_levels(self._done["loud"], self._done["quiet"], rate_hz=self._rate_hz)
