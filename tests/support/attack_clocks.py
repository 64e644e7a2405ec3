"""Attacks by clocks: a machine that is started again and again, each time with its clock right, ahead or back by hours to decades.

Nothing that was deleted may be removed before 30 days of which there is evidence (a start counts as a day at most), and never without
a backup that has it; the certificate is valid by the clock there is, and when the clock is right, phones know the authority that they trusted.
"""

from __future__ import annotations

import datetime
import random
import sqlite3
import tempfile
import time
from contextlib import ExitStack, closing
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING
from unittest import mock

from attack_figures import Figures

from gainwright.adapters import certificates
from gainwright.adapters.store import StoreMaintenance, elapsed, open_store, tables
from gainwright.jobfile import example_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.adapters.store import SqlStore

STARTS = 30
"""Of one machine."""
WRONG_DAYS = (1 / 24, -1 / 24, 1, 31, 400, 4000, -1, -31, -4000, -15_000)
KEPT_DAYS, NAMES = 30, ("127.0.0.1", "bench.local")


def attack(seed: int, seconds: float) -> Sequence[Figures]:
    """Start machines with wrong clocks for that long; 0 for one machine."""
    figures, draw, until = Figures("starts with odd clocks"), random.Random(seed), time.monotonic() + seconds  # noqa: S311  (no secret)
    began, removed = time.monotonic(), 0
    while figures.tried == 0 or time.monotonic() < until:
        with tempfile.TemporaryDirectory(prefix="gainwright-attack-") as folder:
            removed += _machine(figures, draw, Path(folder), f"seed {seed}, start")
    if not removed:
        figures.fell(f"seed {seed}: nothing was ever removed, so the clocks show nothing")
    figures.seconds = time.monotonic() - began
    return [figures]


class _Clocks:
    """The clock of the machine, which may be wrong, and the seconds that its program has run."""

    def __init__(self) -> None:
        self.real, self.ran_s = datetime.datetime.now(datetime.UTC), 0.0
        self.wrong = datetime.timedelta(0)

    def now(self) -> datetime.datetime:
        """Return what the machine takes for the time."""
        return self.real + self.wrong

    def patched(self) -> ExitStack:
        """Let the store and the certificates go by these clocks."""
        stack, clocks = ExitStack(), self

        class Shown(datetime.datetime):
            @classmethod
            def now(cls, tz: datetime.tzinfo | None = None) -> datetime.datetime:  # type: ignore[override]
                del tz
                return clocks.now()

        stack.enter_context(mock.patch.object(tables, "datetime", Shown))
        stack.enter_context(mock.patch.object(elapsed, "time", SimpleNamespace(monotonic=lambda: self.ran_s)))
        stack.enter_context(mock.patch.object(certificates, "_now", self.now))
        return stack


def _machine(figures: Figures, draw: random.Random, folder: Path, name: str) -> int:
    """Start one machine again and again; return how often something deleted was removed for good."""
    clocks, place, evidence_days, removed = _Clocks(), folder / "shop.sqlite", 0.0, 0
    trusted, deleted = b"", ""
    with clocks.patched():
        for number in range(STARTS):
            since = time.monotonic()
            # the first clocks that go wrong do so a while after the installation: of two authorities that are valid nobody could say whom phones trust
            clocks.real += datetime.timedelta(days=draw.choice((0, 0.01, 1, 3)) if number != 1 else 60)
            wrong = draw.choice(WRONG_DAYS) if number and draw.random() < 0.6 else 0.0
            clocks.wrong = datetime.timedelta(days=wrong)
            evidence_days += 1
            figures.tried += 1
            what = f"{name} {figures.tried}, clock off by {wrong:g} days"
            with closing(open_store(place)) as store:
                if deleted and not _there(store, deleted):
                    if evidence_days < KEPT_DAYS:
                        figures.fell(f"{what}: removed with evidence of {evidence_days:.1f} days")
                    if not any(_in(file, deleted) for file in folder.glob("*.before-removal-*Z")):
                        figures.fell(f"{what}: removed without a backup")
                    deleted = ""
                    removed += 1
                if not deleted:
                    deleted = store.jobs.put(
                        store.jobs.add(title="gone", text=example_text("one_amplifier")).id, "deleted"
                    ).id
                    evidence_days = 0.0
                hours = draw.choice((0.1, 2, 60, 200))
                clocks.ran_s += 3600 * hours
                clocks.real += datetime.timedelta(hours=hours)
                evidence_days += hours / 24
                store.documents.put("a", "b", {"number": number})
            trusted = _certified(figures, clocks, folder / "certificates", trusted, what)
            figures.took(since)
    wrong_there = StoreMaintenance(str(place)).check().wrong
    if wrong_there:
        figures.fell(f"{name} {figures.tried}: {wrong_there[0]}")
    return removed


def _certified(figures: Figures, clocks: _Clocks, folder: Path, trusted: bytes, what: str) -> bytes:
    """Return the authority that phones trust, which is that of the first start with the right clock."""
    made = certificates.own_certificate(NAMES, folder=folder)
    if not made.until > clocks.now():
        figures.fell(f"{what}: the certificate ended on {made.until}")
    if clocks.wrong:
        return trusted
    if trusted not in (b"", made.authority):
        figures.fell(f"{what}: phones have to trust another authority")
    return made.authority


def _there(store: SqlStore, job: str) -> bool:
    return job in [kept.id for kept in store.jobs.list(shelf="deleted")]


def _in(file: Path, job: str) -> bool:
    with closing(sqlite3.connect(file)) as connection:
        return connection.execute("SELECT 1 FROM job WHERE id = ?", (job,)).fetchone() is not None
