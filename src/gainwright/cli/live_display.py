"""The display of a live measurement, and its summary."""

from __future__ import annotations

import contextlib
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.cli.base import say
from gainwright.metering.live import LiveReading

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.app.measuring.live import Expectation, LiveUpdate

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
        self._live.console.print(text, markup=False, highlight=False)

    def update(self, lines: list[str]) -> None:
        """Replace the lines."""
        from rich.text import Text

        self._live.update(Text("\n".join(lines), no_wrap=True, overflow="ellipsis"))


@contextlib.contextmanager
def _display() -> Iterator[_Plain | _Terminal]:
    if not sys.stderr.isatty():
        yield _Plain()
        return
    from rich.console import Console
    from rich.live import Live

    with Live(console=Console(stderr=True), refresh_per_second=15, transient=False) as live:
        yield _Terminal(live)
