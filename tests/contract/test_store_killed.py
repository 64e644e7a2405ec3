"""`kill -9` during writes: everything acknowledged is there, and the store is consistent."""

from __future__ import annotations

import random
import signal
import time
from contextlib import closing
from typing import TYPE_CHECKING

from store_writers import MEASURED, back_up, start, write_entries

from gainwright.adapters.store import StoreMaintenance, open_store
from gainwright.jobfile import example_text

if TYPE_CHECKING:
    from pathlib import Path

KILLS, WRITERS = 12, 2
JOB = example_text("one_amplifier")


def test_no_acknowledged_entry_is_lost_by_kill_9(tmp_path: Path) -> None:
    """Two processes write and report each number once its call has returned; both are killed at random times, repeatedly."""
    place = str(tmp_path / "shop.sqlite")
    with closing(open_store(place)) as store:
        job = store.jobs.add(title="killed", text=JOB).id
    moments = random.Random(20)  # noqa: S311  (no secret)
    acknowledged: set[int] = set()
    revision = 1
    for _ in range(KILLS):
        writers = [start(write_entries, place, job, f"writer{n}") for n in range(WRITERS)]
        said = [writer.heard.recv() for writer in writers]
        time.sleep(moments.uniform(0, 0.15))
        for writer in writers:
            said += writer.kill()
            assert writer.process.exitcode == -signal.SIGKILL
        acknowledged |= {number for what, number in said if what == "entry"}
        revision = max([revision, *(number for what, number in said if what == "revision")])
        with closing(open_store(place)) as store:
            kept = [entry.number for entry in store.runs.entries(job)]
            assert kept == list(range(1, len(kept) + 1))
            assert acknowledged <= set(kept)
            assert len(kept) <= len(acknowledged) + WRITERS * (KILLS + 1)
            assert store.jobs.get(job).revision in {revision, revision + 1}
            revision = store.jobs.get(job).revision
        found = StoreMaintenance(place).check()
        assert found.wrong == ()
    assert len(acknowledged) > KILLS * 10, "hardly anything was written: the test shows nothing"


def test_killed_backup_leaves_no_partial_file(tmp_path: Path) -> None:
    """There is a complete file of that name or none; the next backup to the same name succeeds."""
    place = str(tmp_path / "shop.sqlite")
    with closing(open_store(place)) as store:
        job = store.jobs.add(title="one", text=JOB).id
        for _ in range(20):
            store.recordings.add(job, name="a", content=bytes(1_000_000), measured=MEASURED)
    moments = random.Random(21)  # noqa: S311  (no secret)
    for number in range(6):
        file = tmp_path / f"backup{number}"
        writer = start(back_up, place, str(file))
        writer.heard.recv()
        time.sleep(moments.uniform(0, 0.06))
        writer.kill()
        if not file.exists():
            StoreMaintenance(place).backup(file)
        assert StoreMaintenance(str(file)).check().holds["recordings"] == 20
