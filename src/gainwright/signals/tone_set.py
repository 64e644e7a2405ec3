"""The numbered tones of one job, with a list to print."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from gainwright.signals.tones import Tone, tone_bytes

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

LIST_NAME = "tones.txt"


@dataclass(frozen=True, slots=True)
class NumberedTone:
    """A tone with its file name and purpose."""

    file: str
    tone: Tone
    what: str


def number_tones(tones: Sequence[tuple[Tone, str]], *, flac: bool = False) -> tuple[NumberedTone, ...]:
    """Return tones with file names that sort in order of use."""
    suffix = ".flac" if flac else ".wav"
    found = []
    for i, (tone, what) in enumerate(tones, start=1):
        levels = tone.levels_dbfs
        level = f"{levels[0]:g}dBFS" if len(levels) == 1 else f"{levels[0]:g}to{levels[-1]:g}dBFS"
        side = "" if tone.sides == "both" else f"_{tone.sides}"
        found.append(NumberedTone(f"{i:02d}_{tone.frequency_hz:g}Hz_{level}{side}{suffix}", tone, what))
    return tuple(found)


def tone_list_text(tones: Sequence[NumberedTone], *, title: str) -> str:
    """Return the printable list."""
    lines = [f"Tones for {title}" if title else "Tones", ""]
    for entry in tones:
        tone = entry.tone
        lines.append(
            f"{entry.file:<34} {tone.frequency_hz:g} Hz, {tone.bits} bit, {tone.rate_hz} Hz, {tone.seconds:g} s"
        )
        lines.append(f"{'':<34} {entry.what}")
    lines += ["", "0 dBFS is a full-scale sine (AES17). Play them with every tone control, loudness and volume levelling of the",
              "player off. They are loud: speakers off, or volume right down, before you start one."]  # fmt: skip
    return "\n".join(lines) + "\n"


def set_files(tones: Sequence[NumberedTone], *, title: str) -> Iterator[tuple[str, bytes]]:
    """Yield the name and content of the list, then of every tone."""
    yield LIST_NAME, tone_list_text(tones, title=title).encode()
    for entry in tones:
        yield entry.file, tone_bytes(entry.tone, PurePath(entry.file).suffix)
