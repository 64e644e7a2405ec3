"""Test tones of the paths: a tone that the filters of a path pass, at the level already in use if there is one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np

from gainwright.jobfile import controls
from gainwright.model import HeardSpeaker, Played, Speaker
from gainwright.solve import PREFERRED_HZ, Conditions, set_up_tone_hz, tone_limits_hz

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from gainwright.model import Entry, Instrument, Job, Node, Path
    from gainwright.solve import Chain

LOSS_DB = 3.0
"""The tone that is playing is kept unless another passes better by more than this, dB."""
BELOW_SET_UP_DB = 3.0
"""Half of the power used for set-up, so that a healthy chain stays clean (common practice, no published source)."""
_KNOWN: WeakKeyDictionary[Chain, dict[tuple[Any, ...], PlayedPath]] = WeakKeyDictionary()
"""Paths of chains in use, by what they depend on: they are asked for with every entry."""
_REACHED_V: WeakKeyDictionary[Chain, dict[tuple[tuple[Node, ...], float], float]] = WeakKeyDictionary()
"""What tones give at nodes of chains in use, volts: most are asked for again when another is played."""
_HEALTHY_V: WeakKeyDictionary[Chain, dict[tuple[tuple[Node, ...], float, float], Mapping[Node, float]]] = (
    WeakKeyDictionary()
)
"""What a tone of some level gives along a path to some nodes of chains in use, volts."""
LOWER_DB = 10.0
"""Listening again so much lower tells a chain that clips from a damaged speaker; nothing else is played so."""
MUSIC_HZ = (40.0, 8000.0)
"""Between these nearly all of the power of music lies, and of what is heard of it (common practice, no published source)."""
LINEAR_DBFS = -60.0
"""So low that no ceiling is reached."""


@dataclass(frozen=True, slots=True)
class PlayedPath:
    """The path to the outputs of a last stage, with its test tone.

    Attributes
    ----------
    stage : the last stage before speakers.
    ends, upstream : its outputs, and every node before it.
    speakers : the speakers that it drives.
    tone_hz, level_dbfs, sets : tone and settings of controls for tests along it.
    healthy_v : volts at each node of a faultless chain, at nominal values.
    band_hz : between which frequencies music is heard from its speakers.
    """

    stage: str
    ends: tuple[Node, ...]
    upstream: tuple[Node, ...]
    speakers: tuple[str, ...]
    tone_hz: float
    level_dbfs: float
    sets: tuple[tuple[str, str], ...]
    healthy_v: Mapping[Node, float]
    band_hz: tuple[float, float]

    @property
    def nodes(self) -> tuple[Node, ...]:
        """Every node along it, in signal order."""
        return (*self.upstream, *self.ends)

    def played(self) -> dict[str, Any]:
        """Return the keys of an entry for tone, level and settings."""
        tone = f"{self.tone_hz / 1000:g} kHz" if self.tone_hz >= 1000 else f"{self.tone_hz:g} Hz"
        return {"tone": tone, "level": f"{self.level_dbfs:g} dBFS", **({"set": dict(self.sets)} if self.sets else {})}


def played_paths(
    job: Job, chain: Chain, instruments: Mapping[str, Instrument], entries: Sequence[Entry]
) -> tuple[PlayedPath, ...]:
    """Return the path to each last stage, in signal order."""
    found = []
    for stage in chain.wiring.order:
        ends = chain.wiring.outputs(stage)
        takers = [p.stage for node in ends for p in chain.wiring.ports_fed_by(node)]
        speakers = tuple(dict.fromkeys(s for s in takers if isinstance(job.stages[s], Speaker)))
        if speakers:
            upstream = chain.wiring.upstream(stage)
            found.append(_path(stage, ends, upstream, speakers, chain, instruments, entries))
    return tuple(found)


def _path(
    stage: str,
    ends: tuple[Node, ...],
    upstream: tuple[Node, ...],
    speakers: tuple[str, ...],
    chain: Chain,
    instruments: Mapping[str, Instrument],
    entries: Sequence[Entry],
) -> PlayedPath:
    way = next(path for path in chain.wiring.paths if ends[0] in path.nodes)
    played = [e for e in entries if isinstance(e, Played) and e.tone_hz is not None]
    used_hz = tuple(dict.fromkeys(e.tone_hz for e in reversed(played) if e.tone_hz is not None))
    level_dbfs, sets = -way.allowance_db(chain.job) - BELOW_SET_UP_DB, tuple[tuple[str, str], ...]()
    if played:
        # what is listened to once at a lower level doesn't lower what is played from then on
        level_dbfs = max(e.level_dbfs for e in played[-1:] + [e for e in played[:-1] if _listened_lower(e, played[-1])])
        sets = _moved_before({stage, *(node.stage for node in upstream)}, played[-1].set, chain.job)
    known = _KNOWN.setdefault(chain, {})
    key = (stage, used_hz, level_dbfs, sets, tuple(instruments))
    if key not in known:
        tone_hz, band_hz = _tone_hz(way, ends, chain, instruments, used_hz)
        healthy = _healthy_v(chain, ends, tone_hz, level_dbfs)
        known[key] = PlayedPath(stage, ends, upstream, speakers, tone_hz, level_dbfs, sets, healthy, band_hz)
    return known[key]


def _listened_lower(before: Played, last: Played) -> bool:
    """Return whether the last entry listens to the same speaker as one before, at a much lower level."""
    both = isinstance(before, HeardSpeaker) and isinstance(last, HeardSpeaker) and before.heard == last.heard
    return both and last.level_dbfs < before.level_dbfs - LOWER_DB


def _moved_before(stages: set[str], settings: Mapping[str, str], job: Job) -> tuple[tuple[str, str], ...]:
    """Return those of the settings that belong to some stages and that the job hasn't."""
    written = controls(job)
    return tuple(
        (control, text)
        for control, text in sorted(settings.items())
        if control.split(".")[0] in stages and written.get(control, "").removesuffix(".0") != text.removesuffix(".0")
    )


def _healthy_v(chain: Chain, ends: tuple[Node, ...], tone_hz: float, level_dbfs: float) -> Mapping[Node, float]:
    """Return the volts at each node up to some of a faultless chain, at nominal values; each tone is solved once."""
    known = _HEALTHY_V.setdefault(chain, {})
    key = (ends, tone_hz, level_dbfs)
    if key not in known:
        solved = chain.solve(Conditions(tone_hz, level_dbfs), targets=ends, margins=False)
        known[key] = {node: float(solved.rms_v[0, i]) for i, node in enumerate(solved.nodes)}
    return known[key]


def _reached_v(chain: Chain, ends: tuple[Node, ...], tones: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the volts at the first of some nodes with each of some tones, far below any ceiling; each is solved once."""
    known = _REACHED_V.setdefault(chain, {})
    new = np.array([tone for tone in tones if (ends, float(tone)) not in known])
    if len(new):
        solved = chain.solve(Conditions(new, LINEAR_DBFS), targets=ends, margins=False)
        volts = solved.rms_v[:, solved.index(ends[0])]
        known.update({(ends, float(tone)): float(v) for tone, v in zip(new, volts, strict=True)})
    return np.array([known[ends, float(tone)] for tone in tones])


def _tone_hz(
    way: Path,
    ends: tuple[Node, ...],
    chain: Chain,
    instruments: Mapping[str, Instrument],
    used_hz: Sequence[float],
) -> tuple[float, tuple[float, float]]:
    """Return the frequency of a tone that passes well: the one playing, else the job's, else the path's set-up tone, Hz.

    Also return between which frequencies music passes.
    """
    asked = way.asked_tone_hz(chain.job)
    first = [*dict.fromkeys([*used_hz, *([] if asked is None else [asked])])]
    tones = np.array([*first, *PREFERRED_HZ])
    reached = _reached_v(chain, ends, tones)
    good = reached >= np.max(reached) * 10 ** (-LOSS_DB / 20)
    kept = [tone for tone, passes in zip(first, good, strict=False) if passes]
    passing = [tone for tone, passes in zip(PREFERRED_HZ, good[len(first) :], strict=True) if passes]
    low_hz, high_hz = min(passing, default=PREFERRED_HZ[0]), max(passing, default=PREFERRED_HZ[-1])
    band_hz = max(low_hz, min(MUSIC_HZ[0], high_hz)), min(high_hz, max(MUSIC_HZ[1], low_hz))
    if kept:
        return float(kept[0]), band_hz
    speaker = chain.job.stages[way.speaker]
    protected = speaker.protect_below if isinstance(speaker, Speaker) else None
    tone_hz = set_up_tone_hz(
        (low_hz, high_hz),
        protect_below_hz=protected.nominal if protected is not None and protected.known else 0.0,
        limits_hz=tone_limits_hz(instruments.values()),
        passes=lambda tone_hz: tone_hz in passing,
    )
    return tone_hz, band_hz
