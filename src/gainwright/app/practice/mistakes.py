"""Mistakes of a caller at a healthy chain: a tone that a filter stops, or an indicator that needs more level."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.app.ports import HiddenRig
    from gainwright.diagnose import Cause, Diagnoser
    from gainwright.diagnose.played_paths import PlayedPath
    from gainwright.model import Entry

WRONG_TONE = "wrong_tone_for_path"
FAR_BELOW_DBFS = -60.0
"""Level of a tone that is too low for an indicator; lower levels are tried if it isn't."""
STOPPED_DB = 46.0
"""How far below the best tone a wrong one arrives (a two-hundredth; common practice, no published source)."""
TRIED = 4
"""Tones of one path that are tried, the nearest first."""


@dataclass(frozen=True, slots=True)
class Mistake:
    """What a caller did at a healthy chain: its cause, and the entry that made it seem dead."""

    cause: Cause
    entry: Entry


def find_mistake(kind: str, diagnoser: Diagnoser, rig: HiddenRig, *, seed: int) -> Mistake | None:
    """Return a mistake of a kind that is possible in a chain, the same one for the same seed; None if there isn't any.

    The diagnosis itself must name it as the reason why a healthy chain seems silent.
    """
    from gainwright.diagnose.healthy_chain import healthy_cause
    from gainwright.jobfile import read_entry

    tried = _wrong_tones(diagnoser) if kind == WRONG_TONE else _low_levels(diagnoser)
    paths = [list(entries) for entries in tried]
    rng = np.random.default_rng([seed, 3])
    for i in rng.permutation(len(paths)):
        for mapping in paths[int(i)]:
            asked = read_entry(mapping, diagnoser.job, answered=False)
            entry = read_entry(rig.answer(asked), diagnoser.job)
            named = healthy_cause([entry], diagnoser.rough, diagnoser.causes)
            if named.id == kind:
                return Mistake(named, entry)
    return None


def _paths(diagnoser: Diagnoser) -> tuple[PlayedPath, ...]:
    from gainwright.diagnose.played_paths import played_paths

    return played_paths(diagnoser.job, diagnoser.chain, diagnoser.instruments, ())


def _wrong_tones(diagnoser: Diagnoser) -> Iterator[Iterator[dict[str, object]]]:
    """Yield, by path and instrument, readings at its end with tones that hardly reach it."""
    from gainwright.model import Multimeter
    from gainwright.solve import PREFERRED_HZ, Conditions

    meters = [name for name, kind in diagnoser.instruments.items() if isinstance(kind, Multimeter)]
    for path in _paths(diagnoser):
        solved = diagnoser.chain.solve(Conditions(np.array(PREFERRED_HZ), path.level_dbfs), targets=path.ends)
        reached = solved.rms_v[:, solved.index(path.ends[0])]
        stopped = [
            tone_hz
            for tone_hz, volts in zip(PREFERRED_HZ, reached, strict=True)
            if volts <= np.max(reached) * 10 ** (-STOPPED_DB / 20)
        ]
        stopped.sort(key=lambda tone_hz: abs(np.log(tone_hz / path.tone_hz)))
        for name in meters:
            yield (_reading(path, name, tone_hz, path.level_dbfs) for tone_hz in stopped[:TRIED])


def _low_levels(diagnoser: Diagnoser) -> Iterator[Iterator[dict[str, object]]]:
    """Yield, by path and indicator, readings at its end with tones that are far too low."""
    from gainwright.model import Indicator

    names = [n for n, kind in diagnoser.instruments.items() if isinstance(kind, Indicator) and kind.signal_marks]
    for path in _paths(diagnoser):
        for name in names:
            yield (_reading(path, name, path.tone_hz, FAR_BELOW_DBFS - 15 * i) for i in range(TRIED))


def _reading(path: PlayedPath, instrument: str, tone_hz: float, level_dbfs: float) -> dict[str, object]:
    return {
        "at": str(path.ends[0]),
        "with": instrument,
        "tone": f"{tone_hz:g} Hz",
        "level": f"{level_dbfs:g} dBFS",
        **({"set": dict(path.sets)} if path.sets else {}),
    }
