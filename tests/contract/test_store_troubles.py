"""Databases that fail: one clear sentence, nothing lost, nothing half-written."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import psycopg
import pytest
from sqlalchemy import event
from store_writers import MEASURED

from gainwright.adapters.store import SqlStore, StoreMaintenance, open_store
from gainwright.errors import CallError
from gainwright.jobfile import example_text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from postgres import PostgreSQL

QUICKLY_S = 0.3
JOB = example_text("one_amplifier")


def _refused(code: str, call: Callable[[], object]) -> CallError:
    """Return the error of a call, after looking whether it is one that a person can use."""
    with pytest.raises(CallError) as caught:
        call()
    error = caught.value
    assert error.code == code, str(error)
    assert error.where
    assert error.remedy
    assert "\n" not in str(error)
    assert "sqlalche" not in str(error)
    return error


@contextmanager
def _opened(place: str, *, patience_s: float = QUICKLY_S) -> Iterator[SqlStore]:
    with closing(open_store(place, patience_s=patience_s)) as store:
        yield store


# ---- somebody else writes --------------------------------------------------------------------------------------


def test_file_locked_by_another_program(tmp_path: Path) -> None:
    """The store waits, then reports it; reading works; writing works again once the other program is done."""
    place = str(tmp_path / "shop.sqlite")
    with _opened(place) as store, closing(sqlite3.connect(place, isolation_level=None)) as other:
        job = store.jobs.add(title="one", text="1")
        other.execute("BEGIN IMMEDIATE")
        error = _refused("store_busy", lambda: store.jobs.write(job.id, title="two", text="2", seen=1))
        assert "nothing was written" in error.remedy
        assert store.jobs.get(job.id) == job
        other.execute("ROLLBACK")
        assert store.jobs.write(job.id, title="two", text="2", seen=1).revision == 2


def test_row_locked_by_another_program(postgresql: PostgreSQL) -> None:
    """The same on a server."""
    place = postgresql.new_database()
    with _opened(place) as store, psycopg.connect(place) as other:
        job = store.jobs.add(title="one", text="1")
        other.execute("SELECT * FROM job FOR UPDATE")
        _refused("store_busy", lambda: store.jobs.write(job.id, title="two", text="2", seen=1))
        assert store.jobs.get(job.id) == job
        other.rollback()
        assert store.jobs.write(job.id, title="two", text="2", seen=1).revision == 2


# ---- no room ---------------------------------------------------------------------------------------------------


def _fill(store: SqlStore) -> tuple[str, list[str]]:
    """Keep recordings until there is no more room; return the job and those that were acknowledged."""
    job = store.jobs.add(title="one", text=JOB).id
    kept: list[str] = []

    def keep_on() -> None:
        while len(kept) < 1000:
            kept.append(store.recordings.add(job, name="a", content=os.urandom(50_000), measured=MEASURED).id)

    error = _refused("store_full", keep_on)
    assert "make room" in error.remedy
    assert kept
    return job, kept


def test_file_that_can_not_grow(tmp_path: Path) -> None:
    """Everything acknowledged is there, nothing of what was refused."""
    place = str(tmp_path / "shop.sqlite")
    with _opened(place) as store:
        store.database.engine.dispose()
        event.listen(store.database.engine, "connect", lambda c, _: c.execute("PRAGMA max_page_count = 200"))
        job, kept = _fill(store)
        assert {recording.id for recording in store.recordings.of(job)} == set(kept)
    assert StoreMaintenance(place).check().wrong == ()
    with _opened(place) as store:
        assert len(store.recordings.content(kept[-1])) == 50_000
        store.recordings.add(job, name="more", content=b"1", measured=MEASURED)


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """Return a folder on a disk of 2 MB."""
    folder = Path(tempfile.mkdtemp())
    mount = ("mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(folder))
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        folder.rmdir()
        pytest.skip("a small disk can only be mounted by root")
    yield folder
    subprocess.run(("umount", str(folder)), check=True)
    folder.rmdir()


def test_full_disk(small_disk: Path) -> None:
    """Everything acknowledged is there; once there is room, writing works again. A backup that doesn't fit leaves no file."""
    filler = small_disk / "filler"
    filler.write_bytes(bytes(500_000))
    place = str(small_disk / "shop.sqlite")
    with _opened(place) as store:
        job, kept = _fill(store)
        assert store.jobs.get(job).text == JOB
        filler.unlink()
        store.jobs.write(job, title="two", text=JOB, seen=1)
    assert StoreMaintenance(place).check().wrong == ()
    with _opened(place) as store:
        assert {recording.id for recording in store.recordings.of(job)} == set(kept)
    _refused("store_full", lambda: StoreMaintenance(place).backup(small_disk / "backup"))
    assert list(small_disk.glob("backup*")) == []


# ---- not allowed -----------------------------------------------------------------------------------------------


@pytest.fixture
def ordinary_user() -> Iterator[Path]:
    """Return a folder of an ordinary user, whose rights the test has: nothing is forbidden to root."""
    folder = Path(tempfile.mkdtemp())
    root = os.geteuid() == 0
    if root:
        shutil.chown(folder, "nobody")
        os.seteuid(folder.stat().st_uid)
    try:
        yield folder
    finally:
        folder.chmod(0o700)
        if root:
            os.seteuid(0)
        shutil.rmtree(folder)


def test_folder_without_write_permission(ordinary_user: Path) -> None:
    """Neither a new store nor an old one; the old one stays as it was."""
    file = ordinary_user / "shop.sqlite"
    with _opened(str(file)) as store:
        store.jobs.add(title="one", text="1")
    before = file.read_bytes()
    file.chmod(0o400)
    ordinary_user.chmod(0o500)
    _refused("store_not_opened", lambda: open_store(str(ordinary_user / "new.sqlite")))
    _refused("store_not_opened", lambda: open_store(str(ordinary_user / "deep" / "new.sqlite")))
    _refused("store_read_only", lambda: open_store(str(file)))
    assert file.read_bytes() == before
    file.chmod(0o600)
    ordinary_user.chmod(0o700)
    closed = ordinary_user / "closed"
    closed.mkdir(mode=0o500)
    _refused("not_written", lambda: StoreMaintenance(str(file)).backup(closed / "backup"))


def test_store_that_cannot_be_written_is_checked_and_backed_up(ordinary_user: Path) -> None:
    """One that was closed, and one that a killed program has left with its log: on a stick that is write-protected, nothing is changed."""
    closed, killed, out = (ordinary_user / name for name in ("closed", "killed", "out"))
    for folder in (closed, killed, out):
        folder.mkdir()
    with _opened(str(closed / "shop.sqlite")) as store:
        job = store.jobs.add(title="one", text=JOB)
        for name in ("shop.sqlite", "shop.sqlite-wal"):
            shutil.copyfile(closed / name, killed / name)
    for folder in (closed, killed):
        for file in folder.iterdir():
            file.chmod(0o400)
        folder.chmod(0o500)
        before = {file.name: file.read_bytes() for file in folder.iterdir()}
        keeper, backup = StoreMaintenance(str(folder / "shop.sqlite")), out / folder.name
        found = keeper.check()
        assert (found.wrong, found.holds["jobs"]) == ((), 1)
        assert keeper.backup(backup) == backup
        assert {file.name: file.read_bytes() for file in folder.iterdir()} == before
        folder.chmod(0o700)
        with _opened(str(backup)) as store:
            assert store.jobs.list() == [job]


def test_store_is_readable_by_its_owner_only(tmp_path: Path) -> None:
    """Nobody else may read it or a backup of it, whatever the umask."""
    before = os.umask(0o022)
    try:
        with _opened(str(tmp_path / "shop.sqlite")) as store:
            store.jobs.add(title="one", text="1")
            modes = {path.name: path.stat().st_mode & 0o777 for path in tmp_path.iterdir()}
        StoreMaintenance(str(tmp_path / "shop.sqlite")).backup(tmp_path / "backup")
        modes["backup"] = (tmp_path / "backup").stat().st_mode & 0o777
    finally:
        os.umask(before)
    assert set(modes.values()) == {0o600}, modes
    assert "shop.sqlite-wal" in modes


def test_read_only_database(postgresql: PostgreSQL) -> None:
    """Is reported when something is to be written."""
    place = postgresql.new_database()
    with _opened(place) as store:
        store.jobs.add(title="one", text="1")
    with psycopg.connect(place, autocommit=True) as connection:
        connection.execute(f"ALTER DATABASE {connection.info.dbname} SET default_transaction_read_only = on")
    with _opened(place) as store:
        _refused("store_read_only", lambda: store.jobs.add(title="two", text="2"))
        assert [job.title for job in store.jobs.list()] == ["one"]


# ---- no store --------------------------------------------------------------------------------------------------


def test_file_that_is_no_store(tmp_path: Path) -> None:
    """Isn't changed: neither a text, nor another program's database, nor a folder becomes a store."""
    text = tmp_path / "letter.txt"
    text.write_bytes(b"Dear customer, " * 100)
    other = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(other)) as connection:
        connection.execute("CREATE TABLE sold (what TEXT)")
        connection.commit()
    for file, code in ((text, "no_store"), (other, "no_store"), (tmp_path, "store_not_opened")):
        before = file.read_bytes() if file.is_file() else b""
        _refused(code, lambda file=file: open_store(str(file)))  # type: ignore[misc]
        if code == "no_store" and file == text:
            assert file.read_bytes() == before
    with closing(sqlite3.connect(other)) as connection:
        assert connection.execute("SELECT name FROM sqlite_master").fetchall() == [("sold",)]


def test_damaged_file(tmp_path: Path) -> None:
    """Is reported; check says where; a restore brings the backup back and keeps the damaged file."""
    place, backup = tmp_path / "shop.sqlite", tmp_path / "backup"
    with _opened(str(place)) as store:
        job = store.jobs.add(title="one", text="long " * 20_000)
        store.documents.put("a", "b", {"c": "d" * 50_000})
        StoreMaintenance(str(place)).backup(backup)
    content = bytearray(place.read_bytes())
    damaged = range(4096, len(content) // 2)
    content[damaged.start : damaged.stop] = b"\xa5" * len(damaged)
    place.write_bytes(content)
    _refused("store_damaged", lambda: open_store(str(place)))
    _refused("store_damaged", StoreMaintenance(str(place)).check)
    former = StoreMaintenance(str(place)).restore(backup)
    assert former is not None
    assert former.read_bytes() == content
    with _opened(str(place)) as store:
        assert store.jobs.list() == [job]


def test_damaged_pages_are_found(tmp_path: Path) -> None:
    """Check reports a damaged page that nobody has read yet, in a sentence."""
    place = tmp_path / "shop.sqlite"
    with _opened(str(place)) as store:
        job = store.jobs.add(title="one", text="1")
        store.recordings.add(job.id, name="a", content=os.urandom(200_000), measured=MEASURED)
    content = bytearray(place.read_bytes())
    content[-20 * 4096 : -20 * 4096 + 4] = b"\xff\xff\xff\xff"  # where a page of the recording names the next one
    place.write_bytes(content)
    assert StoreMaintenance(str(place)).check().wrong


@pytest.mark.parametrize(
    "place", ["mysql:" + "//localhost/x", "postgresql:" + "//localhost:five/x", "sqlite:" + "//", "://"]
)
def test_invalid_addresses(place: str) -> None:
    """The error says what to write instead."""
    assert "postgresql" in _refused("bad_store", lambda: open_store(place)).rule


# ---- a server that isn't there ---------------------------------------------------------------------------------


def test_server_that_is_away_for_a_while(postgresql: PostgreSQL) -> None:
    """Each call reports it meanwhile; the same store works again afterwards, with everything acknowledged."""
    place = postgresql.new_database()
    with _opened(place) as store:
        job = store.jobs.add(title="one", text="1")
        postgresql.stop()
        try:
            _refused("store_away", store.jobs.list)
            _refused("store_away", lambda: store.jobs.write(job.id, title="two", text="2", seen=1))
            _refused("store_away", lambda: open_store(place))
        finally:
            postgresql.start()
        assert store.jobs.list() == [job]
        assert store.jobs.write(job.id, title="two", text="2", seen=1).revision == 2


def test_server_lost_during_a_write(postgresql: PostgreSQL) -> None:
    """Nothing is half-written, and the message asks the user to check."""
    place = postgresql.new_database()

    def cut_off() -> None:
        with (
            store.database.write() as connection,
            psycopg.connect(postgresql.address("postgres"), autocommit=True) as other,
        ):
            connection.exec_driver_sql("UPDATE job SET shelf = 'deleted'")
            name = place.partition("@/")[2].partition("?")[0]
            other.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", (name,))
            connection.exec_driver_sql("DELETE FROM job_version")

    with _opened(place) as store:
        job = store.jobs.add(title="one", text="1")
        assert "is there" in _refused("store_cut_off", cut_off).remedy
        assert store.jobs.get(job.id) == job


def test_refused_login(postgresql: PostgreSQL) -> None:
    """And a missing database; no password is repeated."""
    there = postgresql.new_database()
    stranger = there.replace("//" + postgresql.user, "//stranger:secret")
    assert "secret" not in str(_refused("store_refused", lambda: open_store(stranger)))
    nowhere = postgresql.address("nowhere")
    _refused("no_database", lambda: open_store(nowhere))


def test_postgresql_without_its_driver(monkeypatch: pytest.MonkeyPatch) -> None:
    """Says what to install."""
    monkeypatch.setitem(sys.modules, "psycopg", None)
    error = _refused("not_installed", lambda: open_store("postgresql:" + "//u:secret@localhost/x"))
    assert "gainwright[postgresql]" in error.remedy
    assert "secret" not in str(error)


def test_file_that_is_moved_away_while_it_is_open_takes_nothing(tmp_path: Path) -> None:
    """Deleted, moved, or another in its place: no write is acknowledged that a restart wouldn't find; put back, all goes on."""
    file, other = tmp_path / "shop.sqlite", tmp_path / "elsewhere"
    with closing(open_store(file)) as store:
        first = store.jobs.add(title="first", text=JOB)
        file.rename(other)
        for another in (False, True):
            if another:
                file.touch()
            _refused("store_moved", lambda: store.jobs.add(title="lost", text=JOB))
            _refused("store_moved", store.jobs.list)
            assert file.exists() is another
        file.unlink()
        other.rename(file)
        assert store.jobs.list() == [first]
        with pytest.raises(CallError, match="moved"), store.database.write():
            file.rename(other)
        other.rename(file)
        second = store.jobs.add(title="second", text=JOB)
    with closing(open_store(file)) as store:
        assert {job.id for job in store.jobs.list()} == {first.id, second.id}


def test_line_to_a_server_that_was_cut_is_given_up_soon(postgresql: PostgreSQL) -> None:
    """Within the 20 s for which a phone waits (`ANSWER_MS` in `waiting.js`); otherwise each request would hold a thread for minutes."""
    with closing(open_store(postgresql.new_database())) as store, store.database.read() as connection:
        line: Any = connection.connection.driver_connection
        said = {name: int(value) for name, value in line.info.get_parameters().items() if value.isdecimal()}
    assert said["keepalives_idle"] + said["keepalives_interval"] * said["keepalives_count"] <= 14
    assert said["tcp_user_timeout"] <= 14_000
