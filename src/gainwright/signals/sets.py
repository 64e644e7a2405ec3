"""The tones of one job: named, numbered, with a list to print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.signals.tones import Tone, write_tone

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

LIST_NAME = "tones.txt"


@dataclass(frozen=True, slots=True)
class NumberedTone:
    """A tone with its file name and what it is for."""

    file: str
    tone: Tone
    what: str


def numbered(tones: Sequence[tuple[Tone, str]], *, flac: bool = False) -> tuple[NumberedTone, ...]:
    """Return tones with file names that sort in the order of use."""
    suffix = ".flac" if flac else ".wav"
    found = []
    for i, (tone, what) in enumerate(tones, start=1):
        levels = tone.levels_dbfs
        level = f"{levels[0]:g}dBFS" if len(levels) == 1 else f"{levels[0]:g}to{levels[-1]:g}dBFS"
        side = "" if tone.sides == "both" else f"_{tone.sides}"
        found.append(NumberedTone(f"{i:02d}_{tone.frequency_hz:g}Hz_{level}{side}{suffix}", tone, what))
    return tuple(found)


def list_text(tones: Sequence[NumberedTone], *, title: str) -> str:
    """Return the printable list."""
    lines = [f"Tones for {title}" if title else "Tones", ""]
    for entry in tones:
        tone = entry.tone
        lines.append(
            f"{entry.file:<34} {tone.frequency_hz:g} Hz, {tone.bits} bit, {tone.rate_hz} Hz, {tone.seconds:g} s"
        )
        lines.append(f"{'':<34} {entry.what}")
    lines += ["", "0 dBFS is a full-scale sine (AES17). Play them with every tone control, loudness and level control of the",
              "player off. They are loud: speakers off, or volume right down, before you start one."]  # fmt: skip
    return "\n".join(lines) + "\n"


def write_set(
    folder: Path, tones: Sequence[NumberedTone], *, title: str, progress: Callable[[str], None] | None = None
) -> None:
    """Write every tone and the list into a folder.

    Raises
    ------
    CallError : a file can't be written.
    """
    for entry in tones:
        if progress is not None:
            progress(entry.file)
        write_tone(folder / entry.file, entry.tone)
    (folder / LIST_NAME).write_text(list_text(tones, title=title), encoding="utf-8")
