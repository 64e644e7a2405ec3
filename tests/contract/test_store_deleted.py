"""Deleted jobs: they take nothing, and are removed after 30 days of which there is evidence, with a backup before."""

from __future__ import annotations

import time
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, get_args

import pytest
from store_writers import MEASURED

from gainwright.adapters.store import StoreMaintenance, backup, elapsed, open_store, tables
from gainwright.app.cases.stored_cases import begin_case
from gainwright.app.measuring.stored_recordings import MARKS, mark_recording
from gainwright.app.store import JobState
from gainwright.errors import CallError
from gainwright.jobfile import example_text

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.app.store import Store

DAY_S = 86_400
JOB = example_text("one_amplifier")


@dataclass
class Clocks:
    """The machine's clock, which can be set, and the one that counts seconds while the program runs."""

    ahead: timedelta = timedelta(0)
    counted_s: float = 0.0
    now: Callable[[], datetime] = field(default=tables.now)

    def pass_days(self, days: float) -> None:
        """Let time pass while the program runs."""
        self.ahead += timedelta(days=days)
        self.counted_s += days * DAY_S


@pytest.fixture
def clocks(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Clocks:
    """Return clocks that the store goes by; files beside a server's store are put into a folder of the test."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    made, right = Clocks(), tables.now
    monkeypatch.setattr(elapsed, "t", SimpleNamespace(**{**vars(tables), "now": lambda: right() + made.ahead}))
    monkeypatch.setattr(elapsed, "time", SimpleNamespace(monotonic=lambda: time.monotonic() + made.counted_s))
    return made


def _entry(store: Store, job: str, *, seen: int = 0, **other: Any) -> Any:
    return store.runs.add(job, step="gain", kind="reading", text="2,1 V", value={}, by="phone", seen=seen, **other)


def _refused(code: str, call: Callable[[], object]) -> CallError:
    with pytest.raises(CallError) as caught:
        call()
    assert caught.value.code == code, str(caught.value)
    return caught.value


def test_deleted_job_takes_nothing_until_it_is_restored(store: Store) -> None:
    """Neither text nor readings, notes or recordings: each call says which job it is and what to do; what was sent before is known."""
    job = store.jobs.add(title="Blue estate", text="1")
    store.jobs.write(job.id, title="Blue estate", text="2", seen=1)
    first = _entry(store, job.id, key="k")
    note = store.notes.add(job.id, step="gain", text="n", by="")
    recording = store.recordings.add(job.id, name="a.wav", content=b"1", measured=MEASURED)
    deleted = store.jobs.put(job.id, "deleted")
    for call in (
        lambda: store.jobs.write(job.id, title="", text="3", seen=2),
        lambda: store.jobs.undo(job.id, seen=2),
        lambda: store.jobs.redo(job.id, seen=2),
        lambda: _entry(store, job.id, seen=1),
        lambda: store.notes.add(job.id, step="gain", text="n", by=""),
        lambda: store.recordings.add(job.id, name="a.wav", content=b"1", measured=MEASURED),
        lambda: store.notes.remove(note.id),
        lambda: mark_recording(store, job.id, recording.id, "remove"),
        lambda: begin_case(store, deleted, name="c"),
    ):
        error = _refused("job_deleted", call)
        assert "Blue estate" in error.what
        assert "restore" in error.remedy
    assert (store.notes.of(job.id), list(store.cases.find()), store.documents.list(MARKS)) == ([note], [], [])
    assert _entry(store, job.id, key="k") == first
    assert (store.jobs.get(job.id).text, store.runs.entries(job.id)) == ("2", [first])
    store.jobs.put(job.id, "kept")
    assert _entry(store, job.id, seen=1).number == 2


def _with_deleted(store: Store) -> str:
    """Keep jobs in each state; return the deleted one, which has something of everything."""
    names = {shelf: store.jobs.add(title=shelf, text=JOB).id for shelf in ("kept", "archived", "deleted", "back")}
    _entry(store, names["deleted"])
    store.recordings.add(names["deleted"], name="a.wav", content=b"1", measured=MEASURED)
    store.notes.add(names["deleted"], step="a", text="", by="", photo=b"2", media_type="image/png")
    moves: tuple[tuple[str, JobState], ...] = (
        ("archived", "archived"),
        ("deleted", "deleted"),
        ("back", "deleted"),
        ("back", "kept"),
    )
    for name, shelf in moves:
        store.jobs.put(names[name], shelf)
    return names["deleted"]


def _titles(store: Store) -> set[str]:
    return {job.title for shelf in get_args(JobState) for job in store.jobs.list(shelf=shelf)}


def test_deleted_jobs_are_removed_after_30_days(place: str, clocks: Clocks, tmp_path: Path) -> None:
    """With everything that belongs to them, when the store is opened; kept and archived ones never are. A backup has them."""
    with closing(open_store(place)) as store:
        job = _with_deleted(store)
        clocks.pass_days(29)
        store.documents.put("a", "b", {})
    with closing(open_store(place)) as store:
        assert _titles(store) == {"kept", "archived", "deleted", "back"}
        clocks.pass_days(1.5)
        store.documents.put("a", "b", {})
    with closing(open_store(place)) as store:
        assert _titles(store) == {"kept", "archived", "back"}
        assert (store.runs.entries(job), store.recordings.of(job), store.notes.of(job)) == ([], [], [])
    (before,) = [file for file in tmp_path.rglob("*.before-removal-*") if file.is_file()]
    with closing(open_store(before)) as store:
        assert store.jobs.get(job).title == "deleted"
        assert len(store.runs.entries(job)) == 1


def test_clock_set_ahead_removes_nothing(place: str, clocks: Clocks) -> None:
    """However far, and however often within a day it is set ahead and back: each start counts as a day at most."""
    with closing(open_store(place)) as store:
        _with_deleted(store)
    for days in (31, 31, 0, 31, 4000, 4000, 0, 31, 4001):
        clocks.ahead = timedelta(days=days)
        with closing(open_store(place)) as store:
            assert "deleted" in _titles(store)
    with closing(open_store(place)) as store:
        assert store.age_s() <= 3 * DAY_S


def test_a_store_that_is_opened_daily_ages(tmp_path: Path, clocks: Clocks) -> None:
    """A start a day is evidence of a day; a clock that was far ahead for once stops that only while nothing runs."""
    for _ in range(5):
        with closing(open_store(tmp_path / "s")) as store:
            clocks.ahead += timedelta(days=1)
    with closing(open_store(tmp_path / "s")) as store:
        assert store.age_s() == pytest.approx(5 * DAY_S, abs=60)
    clocks.ahead += timedelta(days=4000)
    open_store(tmp_path / "s").close()
    clocks.ahead -= timedelta(days=4000)
    with closing(open_store(tmp_path / "s")) as store:
        clocks.pass_days(3)
        store.documents.put("a", "b", {})
        assert store.age_s() == pytest.approx(9 * DAY_S, abs=60)


def test_nothing_is_removed_without_a_backup(tmp_path: Path, clocks: Clocks, monkeypatch: pytest.MonkeyPatch) -> None:
    """When it can't be written the deleted jobs stay; of earlier ones the last three are kept."""
    place = str(tmp_path / "s")
    with closing(open_store(place)) as store:
        job = _with_deleted(store)
        clocks.pass_days(31)
        store.documents.put("a", "b", {})
    with monkeypatch.context() as patch:
        patch.setattr(backup, "_write_file_backup", lambda *_: (tmp_path / "none" / "x").read_bytes())
        with closing(open_store(place)) as store:
            assert store.jobs.get(job).shelf == "deleted"
    for _ in range(5):
        with closing(open_store(place)) as store:
            _with_deleted(store)
            clocks.pass_days(31)
            store.documents.put("a", "b", {})
    assert len(list(tmp_path.glob("s.before-removal-*"))) == 3
    assert StoreMaintenance(place).check().wrong == ()


def test_backup_that_was_just_written_stays_whatever_the_clock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Those of a clock that was far ahead count as the oldest, though their names sort last."""
    with closing(open_store(tmp_path / "s")) as store:
        right = tables.now()
        written = []
        for days in (3000, 3001, 3002, 0, 1, 2, 3):
            monkeypatch.setattr(backup, "now", lambda at=right + timedelta(days=days): at)
            written.append(backup.backup_beside(store.database, "before-removal", most=3))
            assert written[-1].exists()
    assert sorted(tmp_path.glob("s.before-removal-*")) == written[-3:]


def test_folder_that_cannot_be_made_is_a_sentence(
    tmp_path: Path, clocks: Clocks, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder for files beside a server's store: nothing is removed then, and the store opens."""
    with closing(open_store(tmp_path / "s")) as store:
        job = _with_deleted(store)
        clocks.pass_days(31)
        store.documents.put("a", "b", {})
    (tmp_path / "file").write_bytes(b"")
    monkeypatch.setattr(backup, "_stem", lambda _: tmp_path / "file" / "below" / "s")
    with closing(open_store(tmp_path / "s")) as store:
        assert store.jobs.get(job).shelf == "deleted"
