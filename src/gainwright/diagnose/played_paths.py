"""Test tones of the paths: a tone that the filters of a path pass, at the level already in use if there is one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.model import Multimeter, Played, Speaker
from gainwright.solve import Conditions

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.model import Entry, Instrument, Job, Node
    from gainwright.solve import Chain

TONES_HZ = (40.0, 1000.0, 100.0, 250.0, 400.0, 2500.0, 6300.0)
"""Tones to play, the usual ones first (40 Hz and 1 kHz: common practice, no published source)."""
LEVEL_DBFS = -10.0
"""A usual level of a test tone (common practice, no published source)."""
LOSS_DB = 3.0
"""A usual tone is kept unless another passes better by more than this."""


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
    """

    stage: str
    ends: tuple[Node, ...]
    upstream: tuple[Node, ...]
    speakers: tuple[str, ...]
    tone_hz: float
    level_dbfs: float
    sets: tuple[tuple[str, str], ...]
    healthy_v: Mapping[Node, float]

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
    played = [e for e in entries if isinstance(e, Played) and e.tone_hz is not None]
    level_dbfs, sets = LEVEL_DBFS, ()
    if played:
        level_dbfs, sets = played[-1].level_dbfs, tuple(sorted(played[-1].set.items()))  # type: ignore[assignment]
    used = [e.tone_hz for e in played if e.tone_hz is not None]
    tones = np.array([*dict.fromkeys([*reversed(used), *_within(instruments)])])
    solved = chain.solve(Conditions(tones, level_dbfs), targets=ends)
    reached = solved.rms_v[:, solved.index(ends[0])]
    # the first that passes nearly as well as the best: one already in use, else a usual one
    good = np.flatnonzero(reached >= np.max(reached) * 10 ** (-LOSS_DB / 20))
    pick = int(good[0]) if len(good) else 0
    healthy = {node: float(solved.rms_v[pick, i]) for i, node in enumerate(solved.nodes)}
    return PlayedPath(stage, ends, upstream, speakers, float(tones[pick]), level_dbfs, sets, healthy)


def _within(instruments: Mapping[str, Instrument]) -> list[float]:
    """Return the tones, first those within the bandwidth of every meter."""
    limits = [i.bandwidth.nominal for i in instruments.values() if isinstance(i, Multimeter) and i.bandwidth]
    limit = min(limits, default=np.inf)
    return sorted(TONES_HZ, key=lambda tone: tone > limit)
