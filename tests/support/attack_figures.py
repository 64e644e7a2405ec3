"""What an attack has seen: the figures that every generator of attacks returns, and how they are added up and told.

A generator is a module `attack_*.py` beside this one with one function:

    def attack(seed: int, seconds: float) -> Sequence[Figures]

It draws everything from the seed, stops by itself after about that many seconds (0: the least that shows something), sends
requests to 127.0.0.1 only, and returns one `Figures` for each kind of thing that it tried.  It raises nothing for what falls:
each fall is a line in `falls`, with what repeats it.
"""

from __future__ import annotations

import dataclasses
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

FALLS_KEPT = 50
"""Falls that are told in full; of the rest only the number."""
REFUSED_WITHIN_S = 1.0
OWN_SERVED_WITHIN_S = 1.0
REFUSED_WITHIN_MB = 300.0


@dataclass
class Figures:
    """What one attack tried and what came of it; what does not apply to it stays zero."""

    what: str
    """In the plural: `job files`, `sound files`, `requests`, `kills on SQLite`, `floods of connections`."""
    tried: int = 0
    refused: int = 0
    """Answers that said in a sentence why not, with a status of their own."""
    tracebacks: int = 0
    """Uncaught errors: an exit with a traceback or status 70, an HTTP status of 500."""
    acknowledged: int = 0
    """Writes that were confirmed before a kill."""
    lost: int = 0
    """Of those, how many a later reading did not find."""
    longest_s: float = 0.0
    """The longest that one try took."""
    memory_mb: float = 0.0
    """The most memory (resident, of the process that was attacked) above what it had before the attack."""
    own_served_s: float = 0.0
    """The longest that a request of the own machine waited while the attack went on."""
    seconds: float = 0.0
    """How long the attack took."""
    falls: list[str] = field(default_factory=list)
    """Whatever broke a promise, one line each: what was seen, and the seed or file that shows it again."""
    falls_untold: int = 0
    """Falls beyond those that `falls` keeps."""

    def fell(self, what: str) -> None:
        """Note that a promise was broken."""
        if len(self.falls) < FALLS_KEPT:
            self.falls.append(what)
        else:
            self.falls_untold += 1

    def took(self, since: float) -> float:
        """Note the duration of one try that began at `since` on the monotonic clock, in s; return it."""
        duration = time.monotonic() - since
        self.longest_s = max(self.longest_s, duration)
        return duration

    @property
    def held(self) -> bool:
        """Whether every promise was kept."""
        return not (self.falls or self.falls_untold or self.tracebacks or self.lost)


def together(figures: Iterable[Figures]) -> list[Figures]:
    """Add up the figures of several runs: those of one kind become one, in the order of first mention."""
    found: dict[str, Figures] = {}
    for one in figures:
        into = found.setdefault(one.what, Figures(one.what))
        for name in ("tried", "refused", "tracebacks", "acknowledged", "lost", "seconds", "falls_untold"):
            setattr(into, name, getattr(into, name) + getattr(one, name))
        for name in ("longest_s", "memory_mb", "own_served_s"):
            setattr(into, name, max(getattr(into, name), getattr(one, name)))
        for fall in one.falls:
            into.fell(fall)
    return list(found.values())


def everything(figures: Iterable[Figures]) -> str:
    """Return one line with all kinds together."""
    found = list(figures)
    counts = {
        name: sum(getattr(one, name) for one in found)
        for name in ("tried", "refused", "tracebacks", "acknowledged", "lost")
    }
    falls = sum(len(one.falls) + one.falls_untold for one in found)
    longest, memory, served = (
        max((getattr(one, name) for one in found), default=0.0) for name in ("longest_s", "memory_mb", "own_served_s")
    )
    return (
        f"everything: {', '.join(f'{count} {name}' for name, count in counts.items())}, {falls} fell, longest {longest:.2f} s, "
        f"most memory {memory:.0f} MB, own machine served within {served:.2f} s"
    )


def told(figures: Iterable[Figures]) -> str:
    """Return the figures as text, one line each, with the falls below."""
    lines = []
    for one in figures:
        parts = [f"{one.tried} tried", f"{one.refused} refused", f"{one.tracebacks} tracebacks"]
        if one.acknowledged:
            parts += [f"{one.acknowledged} acknowledged", f"{one.lost} lost"]
        parts.append(f"longest {one.longest_s:.2f} s")
        if one.memory_mb:
            parts.append(f"most memory {one.memory_mb:.0f} MB")
        if one.own_served_s:
            parts.append(f"own machine served within {one.own_served_s:.2f} s")
        lines.append(f"{one.what}: {', '.join(parts)} ({one.seconds:.0f} s)")
        lines += [f"    fell: {fall}" for fall in one.falls]
        lines += [f"    and {one.falls_untold} more"] * bool(one.falls_untold)
    return "\n".join(lines)


def as_data(figures: Iterable[Figures]) -> list[dict[str, object]]:
    """Return the figures as values that JSON can hold."""
    return [dataclasses.asdict(one) for one in figures]
