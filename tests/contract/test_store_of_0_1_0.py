"""A store that version 0.1.0 has written opens in this one, with all that is in it."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING

import pytest

from gainwright.composition import compose
from gainwright.jobfile import read_job_text

if TYPE_CHECKING:
    from pathlib import Path


def _store_of_0_1_0(tree: Path, file: Path) -> None:
    """Write the store: statements dumped from one that the code of 0.1.0 has made (tests/support/write_store_0_1_0.py)."""
    statements = (tree / "tests" / "support" / "store_0_1_0.sql").read_text(encoding="utf-8")
    with closing(sqlite3.connect(file)) as connection:
        connection.executescript(statements)


def test_store_of_0_1_0_opens_with_all_that_is_in_it(tree: Path, tmp_path: Path) -> None:
    """Jobs and undo, entry, recording, devices, document and cases are as they were; a backup of the old file lies beside it."""
    file = tmp_path / "gainwright.sqlite"
    _store_of_0_1_0(tree, file)
    world = compose()
    store = world.store(str(file))
    try:
        (job,) = store.jobs.list()
        assert (job.title, job.revision, job.undoable) == ("Blue estate", 2, 1)
        assert job.text.endswith("# seen again in May\n")
        assert read_job_text(job.text).job.title == "Blue estate"
        before = store.jobs.undo(job.id, seen=job.revision)
        assert before.text + "# seen again in May\n" == job.text
        (entry,) = store.runs.entries(job.id)
        assert (entry.step, entry.text, entry.value, entry.by) == ("gain", "2,1 V", {"v": 2.1}, "phone")
        (recording,) = store.recordings.of(job.id)
        assert recording.measured["channels"][0]["frequency_hz"] == pytest.approx(500, abs=0.1)
        assert store.recordings.content(recording.id)[:4] == b"RIFF"
        (sold,) = store.jobs.list(shelf="deleted")
        assert store.jobs.put(sold.id, "kept").title == "Sold"
        devices = {device.name: device.put_out for device in store.devices.list()}
        assert devices == {"Anna's phone": False, "Lost tablet": True}
        assert store.documents.get("shop", "one") == {"title": "first"}
        assert {case.name for case in store.cases.find()} == {"blue-estate", "red-van"}
        closed = store.cases.get("red-van").case.closed
        assert closed is not None
        assert store.cases.counted().by_cause == {"lead_open": 1}
        assert (closed.cause, closed.where, closed.note) == ("lead_open", "sub", "a connector")
        assert store.cases.get("blue-estate").case.job == before.text
    finally:
        store.close()
    (backup,) = tmp_path.glob("gainwright.sqlite.before-upgrade-from-*")
    with closing(sqlite3.connect(backup)) as old:
        assert old.execute("SELECT version_num FROM alembic_version").fetchone() == ("2",)
    assert world.store_maintenance(str(file)).check().wrong == ()
