"""The display of a live measurement, and its summary."""

from __future__ import annotations

import contextlib
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.app.measuring.live import NOT_CALIBRATED
from gainwright.cli.base import say
from gainwright.harmless import without_controls
from gainwright.metering.live import LiveReading

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.app.measuring.gain_check import CheckProgress
    from gainwright.app.measuring.level_check import LevelTones
    from gainwright.app.measuring.live import Expectation, LiveUpdate

PARTS = {"loud": "louder", "quiet": "quieter"}
BEFORE_CHECK = """The same tone, played 20 dB quieter, must come in 20 dB lower; else the levels of this input can't be trusted.
Play both tones from the same player with the same volume, and keep everything still.
Caution: a steady tone can damage hearing and voice coils. Begin with the volume at its lowest and with the speakers disconnected
that the check doesn't need, and turn up only as far as it needs."""
FITS = {"fits": "as expected", "low": "LOWER than expected", "high": "HIGHER than expected"}


@dataclass(frozen=True, slots=True)
class WatchedInput:
    """A summary of a live measurement: the number of updates, and the last reading with the worst one held."""

    updates: int
    device: str | None = None
    rate_hz: int | None = None
    calibrate_v: float | None = None
    last: LiveReading | None = None


def show_updates(updates: Iterator[LiveUpdate], *, expected: Expectation | None) -> WatchedInput:
    """Show updates until they end or the person stops them; return a summary."""
    last: LiveUpdate | None = None
    count, noted = 0, set[str]()
    with _display() as show:
        try:
            for update in updates:
                count += 1
                for note in update.notes:
                    if note not in noted:
                        noted.add(note)
                        show.note(note)
                if update.reading is not None:
                    last = update
                    show.update(_lines(update, expected))
                elif update.away:
                    show.update(["the input is disconnected; waiting for it"])
        except KeyboardInterrupt:
            pass
    return _summary(last, count)


def show_check(steps: Iterator[CheckProgress], *, tones: LevelTones) -> CheckProgress:
    """Guide through the check at two levels until it has its result; return the last progress."""
    last: CheckProgress | None = None
    noted = set[str]()
    with _display() as show:
        show.note(BEFORE_CHECK)
        show.note(f"1. Play the louder tone: {tones.tone_hz:g} Hz at {tones.loud:g} dBFS.")
        try:
            for step in steps:
                for note in step.update.notes:
                    if note not in (*noted, NOT_CALIBRATED):
                        noted.add(note)
                        show.note(note)
                _note_change(show, last, step, tones)
                done = f"   {_state(step)}" + (f", {100 * step.share:.0f} %" if step.taking else "")
                show.update([*(_lines(step.update, None) if step.update.reading is not None else []), done])
                last = step
        except KeyboardInterrupt:
            show.note("stopped: this input isn't checked")
            raise
    assert last is not None  # noqa: S101  without a result the steps end with an error
    return last


def _state(step: CheckProgress) -> str:
    if step.result is not None:
        return "both tones are taken"
    return f"{'taking' if step.taking else 'waiting for'} the {PARTS[step.part]} tone"


def _note_change(show: _Plain | _Terminal, last: CheckProgress | None, step: CheckProgress, tones: LevelTones) -> None:
    """Say what changed since the last progress."""
    if last is None or step.result is not None:
        return
    if (last.part, step.part) == ("loud", "quiet"):
        show.note(
            f"2. The louder tone is taken. Now play the quieter one: {tones.tone_hz:g} Hz at {tones.quiet:g} dBFS, with nothing else changed."
        )
    elif step.taking and not last.taking:
        show.note(f"   the {PARTS[step.part]} tone is steady: let it play")
    elif last.taking and not step.taking:
        show.note(f"   the {PARTS[step.part]} tone moved or was interrupted: it is waited for again")


def _lines(update: LiveUpdate, expected: Expectation | None) -> list[str]:
    from gainwright.report.live import live_lines

    assert update.reading is not None  # noqa: S101  the caller has a reading
    fits: list[str] = []
    if expected is not None and update.calibrate_v is not None:
        for channel in update.reading.channels:
            known = channel.verdict in ("clean", "distorted", "clipped") and channel.rms_dbfs is not None
            volts = update.calibrate_v * 10 ** ((channel.rms_dbfs or 0) / 20)
            fits.append(FITS[expected.verdict(volts)] if known else "")
    return live_lines(update.reading, calibrated=update.calibrate_v is not None, expected=fits)


def _summary(last: LiveUpdate | None, count: int) -> WatchedInput:
    if last is None or last.reading is None:
        return WatchedInput(count)
    return WatchedInput(count, last.device.key, last.rate_hz, last.calibrate_v, last.reading)


class _Plain:
    """Display without a terminal: a line when a verdict changes."""

    def __init__(self) -> None:
        self._before = ""

    def note(self, text: str) -> None:
        """Print a note."""
        say(text)

    def update(self, lines: list[str]) -> None:
        """Print the lines when a verdict changes."""
        verdicts = " ".join(line[3:13].strip() for line in lines)
        if verdicts != self._before:
            self._before = verdicts
            say("\n".join(lines))


class _Terminal:
    """Display in a terminal: lines that are updated in place."""

    def __init__(self, live: Any) -> None:
        self._live = live

    def note(self, text: str) -> None:
        """Print a note above the lines."""
        self._live.console.print(without_controls(text), markup=False, highlight=False)

    def update(self, lines: list[str]) -> None:
        """Replace the lines."""
        from rich.text import Text

        self._live.update(Text(without_controls("\n".join(lines)), no_wrap=True, overflow="ellipsis"))


@contextlib.contextmanager
def _display() -> Iterator[_Plain | _Terminal]:
    if not sys.stderr.isatty():
        yield _Plain()
        return
    from rich.console import Console
    from rich.live import Live

    with Live(console=Console(stderr=True), refresh_per_second=15, transient=False) as live:
        yield _Terminal(live)
