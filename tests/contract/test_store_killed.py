"""`kill -9` in the middle of writing: whatever was acknowledged is there, the store is whole."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from contextlib import closing
from typing import TYPE_CHECKING

from gainwright.adapters.store import StoreMaintenance, open_store
from gainwright.jobfile import example_text

if TYPE_CHECKING:
    from pathlib import Path

KILLS, WRITERS = 12, 2
JOB = example_text("one_amplifier")

WRITING = """
import sys
from gainwright.adapters.store import open_store

place, job, me = sys.argv[1:]
store = open_store(place, patience_s=60)
seen = max((entry.number for entry in store.runs.entries(job) if entry.step == me), default=0)
revision = store.jobs.get(job).revision
while True:
    seen = store.runs.add(job, step=me, kind="reading", text="2,1 V", value={"volts": 2.1}, by=me, seen=seen).number
    print("entry", seen, flush=True)
    if me == "writer0":
        found = store.jobs.get(job)
        shorter = found.text.partition("# after")[0] if found.revision % 50 == 0 else found.text
        text = f"{shorter}# after {seen}\\n"
        revision = store.jobs.write(job, title="killed", text=text, seen=found.revision).revision
        print("revision", revision, flush=True)
"""


def test_no_acknowledged_entry_is_lost_by_kill_9(tmp_path: Path) -> None:
    """Two processes write and say each number once its call has returned; both are killed at random moments, again and again."""
    place = str(tmp_path / "shop.sqlite")
    with closing(open_store(place)) as store:
        job = store.jobs.add(title="killed", text=JOB).id
    moments = random.Random(20)  # noqa: S311  (no secret)
    acknowledged: set[int] = set()
    revision = 1
    for _ in range(KILLS):
        writers = [
            subprocess.Popen((sys.executable, "-c", WRITING, place, job, f"writer{n}"), stdout=subprocess.PIPE, text=True)
            for n in range(WRITERS)
        ]  # fmt: skip
        for writer in writers:
            assert writer.stdout is not None
            acknowledged.add(int(writer.stdout.readline().split()[1]))
        time.sleep(moments.uniform(0, 0.15))
        for writer in writers:
            writer.kill()
        for writer in writers:
            out, _ = writer.communicate()
            assert writer.returncode == -9
            said = [line.split() for line in out.splitlines(keepends=True) if line.endswith("\n")]
            acknowledged |= {int(number) for what, number in said if what == "entry"}
            revision = max([revision, *(int(number) for what, number in said if what == "revision")])
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


def test_a_backup_that_is_killed_leaves_no_backup(tmp_path: Path) -> None:
    """There is a whole file or none of that name; the next backup of the same name gets through."""
    place = str(tmp_path / "shop.sqlite")
    with closing(open_store(place)) as store:
        job = store.jobs.add(title="one", text=JOB).id
        for _ in range(20):
            store.recordings.add(job, name="a", content=bytes(1_000_000), measured={})
    code = "import sys; from gainwright.adapters.store import StoreMaintenance as K; from pathlib import Path; print(flush=True); K(sys.argv[1]).backup(Path(sys.argv[2]))"
    moments = random.Random(21)  # noqa: S311  (no secret)
    for number in range(6):
        file = tmp_path / f"backup{number}"
        command = (sys.executable, "-c", code, place, str(file))
        with subprocess.Popen(command, stdout=subprocess.PIPE) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            time.sleep(moments.uniform(0, 0.06))
            writer.kill()
        if not file.exists():
            StoreMaintenance(place).backup(file)
        assert StoreMaintenance(str(file)).check().holds["recordings"] == 20
