"""What a complaint tells of speakers and knobs, however it was worded, and the entries that it makes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from gainwright.model import Job

SOFTLY = "-20 dBFS"
"""Played much softer, as the test asks for it that tells a chain that clips from a torn cone."""
WRONG = ("silent", "faint", "distorted", "hum", "whine")
NOISES = ("hum", "whine")


@dataclass(frozen=True, slots=True)
class Sound:
    """How a speaker, or one side of it, sounds in ordinary use.

    Attributes
    ----------
    side : empty for both.
    word : as evidence has it.
    volume : step from which it is so; empty where none was given.
    softly : of what is distorted, whether it is `clean` or the `same` when played softly; empty where it isn't known.
    engine : of noise, whether it is there only with the engine `running`, or `always`; empty where it isn't known.
    goes : whether it is so at times only.
    provoked : what brings it then, a word of the check `provoked`; empty where it isn't known.
    part : which part of the music is heard of it, a word of the check `sounds`; empty where it isn't known.
    """

    speaker: str
    side: str
    word: str
    volume: str = ""
    softly: str = ""
    engine: str = ""
    goes: bool = False
    provoked: str = ""
    part: str = ""


def entries_of(sounds: Sequence[Sound], job: Job, *, idle: Iterable[str] = ()) -> list[dict[str, Any]]:
    """Return the entries of the sounds, each once.

    Parameters
    ----------
    idle : names of the checks of knobs that do nothing.
    """
    found: list[dict[str, Any]] = []
    for sound in sounds:
        found += [entry for entry in _entries(sound, job) if entry not in found]
    provoked = next((sound for sound in sounds if sound.goes and sound.provoked), None)
    if provoked is not None:
        found.append({"check": f"{provoked.speaker}.provoked", "is": provoked.provoked})
    return [*found, *({"check": place, "is": "nothing"} for place in idle)]


def _entries(sound: Sound, job: Job) -> list[dict[str, Any]]:
    about = {"heard": sound.speaker, **({"side": sound.side} if sound.side else {})}
    control = volume_control(job)
    at = {"set": {control: sound.volume}} if sound.volume and control else {}
    found: list[dict[str, Any]] = [{**about, **at, "is": sound.word}]
    if sound.word == "distorted" and sound.softly:
        found.append({**about, "level": SOFTLY, "is": "normal" if sound.softly == "clean" else sound.word})
    if sound.part:
        found.append({"check": f"{sound.speaker}.sounds", "is": sound.part})
    if sound.word in NOISES and sound.engine:
        found.append({**about, "engine": "off", "is": "normal" if sound.engine == "running" else sound.word})
    if sound.word in WRONG and sound.goes:
        found.append({**about, "is": "normal"})
    return found


def speakers_of(job: Job) -> list[str]:
    """Return the speakers of a job, in its order."""
    from gainwright.model import Speaker

    return [name for name, stage in job.stages.items() if isinstance(stage, Speaker)]


def has_sides(job: Job, speaker: str) -> bool:
    """Return whether a speaker has a left and a right side."""
    from gainwright.model import resolve

    return len({port.side for port in resolve(job).ports(speaker)}) > 1


def rest_of(mentioned: Iterable[tuple[str, str]], job: Job) -> list[tuple[str, str]]:
    """Return the speakers that aren't mentioned, and the other side of those mentioned on one side only; each as (speaker, side)."""
    known = set(mentioned)
    found = []
    for speaker in speakers_of(job):
        sides = {side for name, side in known if name == speaker}
        if not sides:
            found.append((speaker, ""))
        elif "" not in sides:
            found += [(speaker, side) for side in ("left", "right") if side not in sides]
    return found


def volume_control(job: Job) -> str:
    """Return the volume that a person turns: that of the first source; empty if no source has one."""
    from gainwright.jobfile import controls
    from gainwright.model import HeadUnit

    known = controls(job)
    names = [f"{name}.volume" for name, stage in job.stages.items() if isinstance(stage, HeadUnit)]
    return next((name for name in names if name in known), "")


def knobs_of(job: Job) -> list[str]:
    """Return the places of evidence at which knobs are turned back and forth."""
    from gainwright.jobfile import controls, instruments
    from gainwright.model import check_places, resolve

    places = check_places(job, resolve(job), controls(job), instruments(job))
    return [place for place in places if place.endswith(".travel")]
