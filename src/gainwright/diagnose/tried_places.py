"""Tests that are answered by a word: where they are possible, with their minutes without access and their cautions.

Minutes are common practice, no published source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from gainwright.diagnose.causes import line_leads
from gainwright.diagnose.cautions import LOUD, OFF_FIRST
from gainwright.model import (
    METAL,
    SUPPLY_REPAIR,
    Amplifier,
    Check,
    Converter,
    HeadUnit,
    HeardSpeaker,
    LevelControl,
    Powered,
    Speaker,
    is_subwoofer,
    unit_of,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gainwright.model import Entry, Job, Wiring

MINUTES_TRIED = {
    "look_at_box_lamp": 1.5,
    "look_at_fuse": 1.5,
    "look_at_ground": 1.5,
    "feel_heat": 0.5,
    "unplug_signal": 4.0,
    "unload": 4.0,
    "other_source": 1.0,
    "other_speaker": 12.0,
    "move_control": 0.5,
    "move_lead": 1.5,
    "reverse_side": 6.0,
    "ask_what_brings_it": 0.5,
    "hear_which_part": 1.0,
}
"""Kind of a test -> its minutes."""
LOWER_DB = 20.0
"""How much lower one listens to what is distorted: a chain that clips is clean there, a torn cone isn't."""


class Tried(NamedTuple):
    """A test: its kind, its place, its cautions."""

    test: str
    place: str
    cautions: tuple[str, ...] = ()


def tried_places(
    job: Job, wiring: Wiring, entries: Sequence[Entry], delicate: frozenset[str], *, ears: bool = False
) -> Iterator[Tried]:
    """Yield every test that is answered by a word.

    Parameters
    ----------
    entries : the evidence; noise is unplugged, a source's ground looked at and an amplifier unloaded only where there is some, or it protects; what brings
        a fault is asked only where a speaker sounded one way and then another; which part of the music is heard, where one is faint.
    delicate : speakers that low tones would harm.
    ears : whether there is nothing to measure with.
    """
    noisy = any(isinstance(e, HeardSpeaker) and e.is_ in ("hum", "whine") for e in entries)
    protecting = any(isinstance(e, Check) and e.check.endswith("protection_lamp") and e.is_ == "on" for e in entries)
    yield from (Tried("ask_what_brings_it", f"{speaker}.provoked") for speaker in _changing(entries))
    faint = _partly_heard(job, entries) if ears else ()
    yield from (Tried("hear_which_part", f"{speaker}.sounds") for speaker in faint)
    units: dict[str, str] = {}
    for name, stage in job.stages.items():
        if isinstance(stage, Amplifier):
            if units.setdefault(unit_of(job, name), name) == name:
                yield from _at_amplifier(unit_of(job, name), noisy=noisy, protecting=protecting)
            if stage.remote_level is not None:
                yield Tried("move_control", f"{name}.travel")
        elif isinstance(stage, Powered | Converter) and unit_of(job, name) == name:
            yield from _at_box(name, lamp=isinstance(stage, Powered))
        if isinstance(stage, LevelControl):
            yield Tried("move_control", f"{name}.travel")
        elif isinstance(stage, HeadUnit):
            yield from _at_source(name, grounded=noisy and len(line_leads(name, job, wiring)) > 1)
        elif isinstance(stage, Speaker):
            yield Tried("other_speaker", f"{name}.substitute", (OFF_FIRST, LOUD))
            ports = wiring.ports(name)
            stereo = {port.side for port in ports} == {"left", "right"} and len(ports) == 2
            if stereo and name not in delicate and all(wiring.pair(port) is None for port in ports):
                yield Tried("reverse_side", f"{name}.one_side_reversed", (OFF_FIRST, LOUD))
    powered = {unit_of(job, name) for name, stage in job.stages.items() if isinstance(stage, Powered)}
    if len(powered) > 1:
        yield Tried("look_at_fuse", "vehicle.main_fuse", (METAL, SUPPLY_REPAIR))
    for run in wiring.leads:
        if not wiring.is_digital(run):
            yield Tried("move_lead", f"{run}.moved")


def _changing(entries: Sequence[Entry]) -> list[str]:
    """Return the speakers that sounded now one way and now another though the same was played."""
    words: dict[tuple[str, str], set[str]] = {}
    for e in entries:
        if isinstance(e, HeardSpeaker) and e.is_ is not None and not e.silence:
            played = f"{e.tone_hz} {e.level_dbfs} {e.side} {e.engine} {sorted(e.set.items())}"
            words.setdefault((e.heard, played), set()).add(e.is_)
    return [*dict.fromkeys(speaker for (speaker, _), said in words.items() if len(said) > 1)]


def _partly_heard(job: Job, entries: Sequence[Entry]) -> list[str]:
    """Return the speakers of which to ask the part of the music that they play: faint ones, and then subwoofers that play.

    Who has an instrument at hand plays tones instead.
    """
    heard = [e for e in entries if isinstance(e, HeardSpeaker) and e.tone_hz is None and not e.silence]
    if all(e.is_ != "faint" for e in heard):
        return []
    playing = [e.heard for e in heard if e.is_ == "faint" or (e.is_ == "normal" and is_subwoofer(job, e.heard))]
    return [*dict.fromkeys(playing)]


def softer(entries: Sequence[Entry]) -> Iterator[HeardSpeaker]:
    """Yield the test of listening at a lower level to what was heard distorted, unless it was made."""
    for entry in entries:
        if isinstance(entry, HeardSpeaker) and entry.is_ == "distorted" and not entry.silence:
            heard = [e for e in entries if isinstance(e, HeardSpeaker) and e.heard == entry.heard and not e.silence]
            levels = [e.level_dbfs for e in heard if (e.tone_hz is None) == (entry.tone_hz is None)]
            if max(levels) - min(levels) < LOWER_DB / 2:
                keys: dict[str, object] = {"heard": entry.heard, "level": f"{entry.level_dbfs - LOWER_DB:g} dBFS"}
                keys |= {"tone": entry.tone, "set": entry.set} if entry.tone_hz is not None else {}
                yield HeardSpeaker.model_validate(keys | ({"side": entry.side} if entry.side != "both" else {}))
                return


def _at_box(name: str, *, lamp: bool) -> Iterator[Tried]:
    if lamp:
        yield Tried("look_at_box_lamp", f"{name}.power_lamp")
    yield Tried("look_at_fuse", f"{name}.fuse", (METAL, SUPPLY_REPAIR))


def _at_source(name: str, *, grounded: bool) -> Iterator[Tried]:
    yield Tried("other_source", f"{name}.other_source")
    if grounded:
        yield Tried("look_at_ground", f"{name}.ground", (METAL, SUPPLY_REPAIR))


def _at_amplifier(unit: str, *, noisy: bool, protecting: bool) -> Iterator[Tried]:
    yield Tried("look_at_fuse", f"{unit}.fuse", (METAL, SUPPLY_REPAIR))
    yield Tried("look_at_ground", f"{unit}.ground", (METAL, SUPPLY_REPAIR))
    yield Tried("feel_heat", f"{unit}.heat")
    if noisy:
        yield Tried("unplug_signal", f"{unit}.unplugged", (OFF_FIRST,))
    if protecting:
        yield Tried("unload", f"{unit}.unloaded", (OFF_FIRST,))
