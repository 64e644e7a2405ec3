"""Files that nobody would write: jobs, recordings, readings, evidence, cases, classes, music, backups; read and used in this process.

Each is refused in one sentence, or works; `attack` counts the rest. Time is that of the processor, since the machine may have other work.
"""

from __future__ import annotations

import random
import time
import traceback
import warnings
from typing import TYPE_CHECKING, Any

import hostile_files
import hostile_words
import psutil
from attack_figures import REFUSED_WITHIN_MB, REFUSED_WITHIN_S, Figures
from hostile_jobs import random_job, use_job
from hostile_recordings import random_recording, use_recording

from gainwright.errors import GainwrightError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

FEW = 6
"""Files of each kind in the short form."""
LONGEST_SENTENCE = 3000
MB = 1e6
LOOKED_AT = 32
"""The memory is looked at after each of the first files, then after every so many."""


def kinds() -> dict[str, tuple[Callable[[random.Random], tuple[str, Any]], Callable[[Any], None], float]]:
    """Return what is attacked: how one is drawn (what was done, content), how it is used, its share of the time."""

    def of_text(sound: Callable[[], str]) -> Callable[[random.Random], tuple[str, Any]]:
        return lambda draw: ("damaged", hostile_files.damaged(draw, sound()))

    shares = {
        "columns of readings": 0.4,
        "evidence files": 0.3,
        "case files": 0.3,
        "class exercises": 0.2,
        "class results": 0.2,
    }
    return {
        "job files": (random_job, use_job, 2.0),
        "recordings": (random_recording, use_recording, 0.8),
        **{what: (of_text(sound), use, shares.get(what, 0.6)) for what, (sound, use) in hostile_files.KINDS.items()},
        "backups": (lambda draw: ("damaged", hostile_files.random_backup(draw)), hostile_files.use_backup, 0.4),
        **hostile_words.KINDS,
    }


def attack(seed: int, seconds: float) -> Sequence[Figures]:
    """Attack each kind for its share of the time, or with a few files each when there is none; the seed draws everything."""
    chosen = kinds()
    whole = sum(share for _, _, share in chosen.values())
    return [
        _attack(what, make, use, seed=seed, seconds=seconds * share / whole)
        for what, (make, use, share) in chosen.items()
    ]


def _attack(
    what: str,
    make: Callable[[random.Random], tuple[str, Any]],
    use: Callable[[Any], None],
    *,
    seed: int,
    seconds: float,
) -> Figures:
    found, began, process = Figures(what), time.monotonic(), psutil.Process()
    before = process.memory_info().rss
    number = 0
    while number < FEW or time.monotonic() - began < seconds:
        tried(found, make, use, f"{seed} {what} {number}")
        number += 1
        if number < LOOKED_AT or number % LOOKED_AT == 0:  # asking for it takes as long as reading a word
            found.memory_mb = max(found.memory_mb, (process.memory_info().rss - before) / MB)
    if found.memory_mb > REFUSED_WITHIN_MB:
        found.fell(f"{what}, seed {seed}: {found.memory_mb:.0f} MB more in {number} files")
    found.seconds = time.monotonic() - began
    return found


def tried(
    found: Figures, make: Callable[[random.Random], tuple[str, Any]], use: Callable[[Any], None], seed: str
) -> None:
    """Draw one file, use it and note what came of it; warnings are errors."""
    done, content = make(random.Random(seed))  # noqa: S311  an attack, not a secret
    told = f"random.Random({seed!r}) ({done})"
    found.tried += 1
    began = time.process_time()
    refused = False
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            use(content)
    except GainwrightError as error:
        refused = True
        found.refused += 1
        if len(str(error)) > LONGEST_SENTENCE or "\x1b" in str(error):
            found.fell(f"{told}: a sentence of {len(str(error))} characters, or with controls")
    except Exception as error:  # noqa: BLE001  that is what is looked for
        found.tracebacks += 1
        place = traceback.extract_tb(error.__traceback__)[-1]
        found.fell(f"{told}: {type(error).__name__}: {str(error)[:120]} at {place.filename}:{place.lineno}")
    took = time.process_time() - began
    found.longest_s = max(found.longest_s, took)
    if refused and took > REFUSED_WITHIN_S:
        found.fell(f"{told}: refused after {took:.1f} s")
