"""Every field of every shipped example made unknown, zero, tiny, huge, negative or left out, one at a time, in an order that the seed draws.

Each job is refused in one sentence, or check, assumptions, plan, levels, the set-up sheet and the diagnosis work.
"""

from __future__ import annotations

import random
import time
from typing import TYPE_CHECKING, Any

import psutil
from attack_figures import REFUSED_WITHIN_MB, Figures
from attack_inputs import MB, tried
from hostile_jobs import MISSING, NUMBER, at, changed, document, places, use_job

from gainwright.jobfile import examples

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hostile_jobs import Path_

FEW = 6
"""Edits in the short form."""
MORE: list[str] = []
"""Job files beside the shipped examples, by their paths."""
NUMBERS = ("0", "1e-300", "1e300", "-1")


def edits(name: str) -> list[tuple[Path_, Any]]:
    """Return every single edit of a job file: the place, and what is put there."""
    content = document(name)
    return [(place, value) for place in places(content) for value in values_for(at(content, place))]


def values_for(old: Any) -> list[Any]:
    """Return what is put in place of a value: nothing, `unknown`, and the four numbers, alone and for each number in it."""
    found: list[Any] = [MISSING, "unknown", *map(float, NUMBERS)]
    if isinstance(old, str):
        found += [
            old[: match.start()] + number + old[match.end() :] for match in NUMBER.finditer(old) for number in NUMBERS
        ]
    return found


def attack(seed: int, seconds: float) -> Sequence[Figures]:
    """Try the edits until the time is up or all have been tried; the name of the figures tells how many there are."""
    draw, began, process = random.Random(seed), time.monotonic(), psutil.Process()  # noqa: S311  (no secret)
    every = [(name, *edit) for name in (*examples(), *MORE) for edit in edits(name)]
    draw.shuffle(every)
    found, before = Figures(f"fields of examples (of {len(every)} edits)"), process.memory_info().rss
    for number, (name, place, value) in enumerate(every):
        if number >= FEW and time.monotonic() - began >= seconds:
            break
        what = f"{name}: {'.'.join(map(str, place))} = {'missing' if value is MISSING else repr(value)}"
        text = changed(document(name), place, value)
        tried(found, lambda _draw, what=what, text=text: (what, text), use_job, what)  # type: ignore[misc]
        found.memory_mb = max(found.memory_mb, (process.memory_info().rss - before) / MB)
    if found.memory_mb > REFUSED_WITHIN_MB:
        found.fell(f"fields of examples, seed {seed}: {found.memory_mb:.0f} MB more")
    found.seconds = time.monotonic() - began
    return [found]
