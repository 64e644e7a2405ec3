"""Every field of every shipped example made unknown, zero, tiny, huge, negative or left out, one at a time, in an order that the seed draws.

Each job is refused in one sentence, or check, assumptions, plan, levels, the set-up sheet and the diagnosis work. Edits that leave
the same job as another are used once; the rest is shared by the machine's cores.
"""

from __future__ import annotations

import functools
import multiprocessing
import os
import random
import time
from concurrent.futures import ProcessPoolExecutor
from typing import TYPE_CHECKING, Any

import psutil
from attack_figures import REFUSED_WITHIN_MB, Figures, together
from attack_inputs import MB, tried
from hostile_jobs import MISSING, NUMBER, at, changed, document, places, use_job

from gainwright.jobfile import examples, read_job_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hostile_jobs import Path_

FEW = 6
"""Edits in the short form."""
MORE: list[str] = []
"""Job files beside the shipped examples, by their paths."""
NUMBERS = ("0", "1e-300", "1e300", "-1")
EXTREME = ("1e-6", "1e5")
"""Within a text: nearer, so that most of the quantities accept them."""
DRAWS = 16
"""Of the diagnosis: what falls there falls with few draws, at two thirds of the time."""


def edits(name: str) -> list[tuple[Path_, Any]]:
    """Return every single edit of a job file: the place, and what is put there."""
    content = document(name)
    return [(place, value) for place in places(content) for value in values_for(at(content, place))]


def values_for(old: Any) -> list[Any]:
    """Return what is put in place of a value: nothing, `unknown`, and the numbers, alone and for each number in it."""
    found: list[Any] = [MISSING, "unknown", *map(float, NUMBERS)]
    if isinstance(old, str):
        found += [
            old[: match.start()] + number + old[match.end() :]
            for match in NUMBER.finditer(old)
            for number in (*NUMBERS, *EXTREME)
        ]
    return found


def attack(seed: int, seconds: float) -> Sequence[Figures]:
    """Try the edits until the time is up or all have been tried; the name of the figures tells how many there are."""
    draw, began = random.Random(seed), time.monotonic()  # noqa: S311  (no secret)
    every = [(name, number) for name in (*examples(), *MORE) for number in range(len(edits(name)))]
    draw.shuffle(every)
    what = f"fields of examples (of {len(every)} edits)"
    if not seconds:
        return [_tried(what, seed, every[:FEW], None)]
    many = os.cpu_count() or 1
    with ProcessPoolExecutor(many, multiprocessing.get_context("spawn")) as pool:
        parts = [pool.submit(_tried, what, seed, every[i::many], seconds) for i in range(many)]
        found = together([part.result() for part in parts])
    found[0].seconds = time.monotonic() - began
    return found


def _tried(what: str, seed: int, chosen: Sequence[tuple[str, int]], seconds: float | None) -> Figures:
    """Try some edits, each by the name of its job and its place in `edits`."""
    found, began, process, used = Figures(what), time.monotonic(), psutil.Process(), set[str]()
    before = process.memory_info().rss
    for name, number in chosen:
        if seconds is not None and time.monotonic() - began >= seconds:
            break
        place, value = _edits(name)[number]
        done = f"{name}: {'.'.join(map(str, place))} = {'missing' if value is MISSING else repr(value)}"
        text = changed(document(name), place, value)
        tried(found, lambda _draw, done=done, text=text: (done, text), lambda text: _use(text, used), done)  # type: ignore[misc]
        found.memory_mb = max(found.memory_mb, (process.memory_info().rss - before) / MB)
    if found.memory_mb > REFUSED_WITHIN_MB:
        found.fell(f"fields of examples, seed {seed}: {found.memory_mb:.0f} MB more")
    return found


_edits = functools.cache(edits)


def _use(text: str, used: set[str]) -> None:
    job = repr(read_job_text(text, "attacked.yaml").job)
    if job not in used:
        used.add(job)
        use_job(text, draws=DRAWS)
