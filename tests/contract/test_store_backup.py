"""Backups and upgrades: a backup of either database restores into either; an older store is upgraded, a newer one refused."""

from __future__ import annotations

import signal
import sqlite3
import threading
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import sqlalchemy as sa
from store_writers import MEASURED, killed_upgrade, start

from gainwright.adapters.store import SqlStore, StoreMaintenance, open_store
from gainwright.adapters.store.backup import file_beside
from gainwright.adapters.store.database import Database
from gainwright.adapters.store.migration import migrate
from gainwright.adapters.store.migrations import REVISIONS
from gainwright.adapters.store.tables import NEWEST, tables
from gainwright.errors import CallError
from gainwright.jobfile import example_text
from gainwright.model.case import Case

if TYPE_CHECKING:
    from collections.abc import Callable

    from postgres import PostgreSQL

    from gainwright.app.store import Store

JOB = example_text("one_amplifier")


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Use a folder of the test for files that are put beside a server's store."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return tmp_path / "data" / "gainwright"


def _refused(code: str, call: Callable[[], object]) -> CallError:
    with pytest.raises(CallError) as caught:
        call()
    assert caught.value.code == code, str(caught.value)
    return caught.value


def _fill(store: Store) -> None:
    """Keep some of everything."""
    for number in range(3):
        job = store.jobs.add(title=f"Nº {number}", text=JOB)
        job = store.jobs.write(job.id, title=f"Nº {number} ü", text=JOB + "# more\n", seen=1, by="phone")
        job = store.jobs.undo(job.id, seen=2)
        store.runs.add(job.id, step="gain", kind="reading", text="2,1 V", value={"v": [1, None]}, by="phone", seen=0)
        store.runs.add(job.id, step="gain", kind="taken_back", text="", value={}, by="phone", seen=1)
        store.notes.add(job.id, step="gain", text="ö", by="phone", photo=b"\x00\xff", media_type="image/png")
        store.recordings.add(job.id, name="a.wav", content=bytes(range(256)) * 1000, measured=MEASURED)
        store.cases.write(f"case-{number}", Case(title="Größe", job=JOB), seen=0)
        store.documents.put("scan", str(number), {"nul": "\x00"})
    store.jobs.put(job.id, "archived")
    device = store.devices.add(name="phone", token_digest="d")  # noqa: S106  (no password)
    store.devices.revoke(device.id)


def _all(store: SqlStore) -> dict[str, list[tuple[Any, ...]]]:
    """Return every row of every table, as it lies; not how long the store has existed, which goes on."""
    found = sa.MetaData()
    with store.database.read() as connection:
        found.reflect(connection, only=lambda name, _: name != "store_time")
        return {t.name: sorted(tuple(row) for row in connection.execute(sa.select(t))) for t in found.sorted_tables}


# ---- backups -------------------------------------------------------------------------------------------------


def _places(kind: str, tmp_path: Path, server: PostgreSQL) -> str:
    return str(tmp_path / f"{kind}-{len(list(tmp_path.iterdir()))}.sqlite") if kind == "file" else server.new_database()


@pytest.mark.parametrize("into", ["file", "server"])
@pytest.mark.parametrize("of", ["file", "server"])
def test_a_backup_of_either_restores_into_either(of: str, into: str, tmp_path: Path, postgresql: PostgreSQL) -> None:
    """Row by row the same; the previous content is saved and can itself be restored."""
    first, second = _places(of, tmp_path, postgresql), _places(into, tmp_path, postgresql)
    with closing(open_store(first)) as store:
        _fill(store)
        kept = _all(store)
    assert StoreMaintenance(first).backup(tmp_path / "backup") == tmp_path / "backup"
    with closing(open_store(second)) as store:
        store.jobs.add(title="before", text=JOB)
        before = _all(store)
        former = StoreMaintenance(second).restore(tmp_path / "backup")  # beside a store that is in use
        assert former is not None
        assert _all(store) == kept
        assert [job.title for job in store.jobs.list(words="º")] == [job.title for job in store.jobs.list()]
        assert len(store.jobs.list()) == 2
        assert StoreMaintenance(second).check().wrong == ()
        StoreMaintenance(second).restore(former)
        # the device whose access was revoked stays revoked, and what the backup knows of it with it
        (phone,) = store.devices.list()
        assert phone.put_out
        before.pop("device")
        assert {name: rows for name, rows in _all(store).items() if name != "device"} == before
        store.jobs.add(title="after", text=JOB)


def test_backup_restores_into_a_new_store(place: str, tmp_path: Path) -> None:
    """No copy of previous content is written then."""
    with closing(open_store(str(tmp_path / "first.sqlite"))) as store:
        _fill(store)
        kept = _all(store)
        StoreMaintenance(str(tmp_path / "first.sqlite")).backup(tmp_path / "backup")
    assert StoreMaintenance(place).restore(tmp_path / "backup") is None
    with closing(open_store(place)) as store:
        assert _all(store) == kept


def test_backup_of_a_store_in_use_is_consistent(store: Store, place: str, tmp_path: Path) -> None:
    """While another thread writes, every backup has a job together with its entries as they were at one time."""
    job = store.jobs.add(title="one", text=JOB).id
    stop = threading.Event()

    def write() -> None:
        seen = 0
        while not stop.is_set():
            seen = store.runs.add(job, step="a", kind="reading", text="", value={}, by="", seen=seen).number
            store.documents.put("count", "one", {"entries": seen})

    writer = threading.Thread(target=write)
    writer.start()
    try:
        backups = [StoreMaintenance(place).backup(tmp_path / f"backup{number}") for number in range(6)]
    finally:
        stop.set()
        writer.join()
    counts = []
    for file in backups:
        assert StoreMaintenance(str(file)).check().wrong == ()
        with closing(open_store(str(file))) as kept:
            entries = len(kept.runs.entries(job))
            told = (kept.documents.get("count", "one") or {"entries": 0})["entries"]
            assert told in {entries, entries - 1}
            counts.append(entries)
    assert counts == sorted(counts)
    assert counts[-1] > counts[0], "nothing was written meanwhile: the test shows nothing"


def test_invalid_backup_changes_nothing(store: SqlStore, place: str, tmp_path: Path) -> None:
    """A missing file, a text, another database, a damaged backup, one of a newer program: the store stays as it was."""
    _fill(store)
    before = _all(store)
    keeper = StoreMaintenance(place)
    for name in ("damaged", "newer", "strays"):
        keeper.backup(tmp_path / name)
    content = bytearray((tmp_path / "damaged").read_bytes())
    content[4096 * 3 : 4096 * 9] = b"\xa5" * 4096 * 6
    (tmp_path / "damaged").write_bytes(content)
    (tmp_path / "text").write_text("no backup " * 1000, encoding="utf-8")
    (tmp_path / "empty").write_bytes(b"")
    for name, statement in (
        ("newer", "UPDATE alembic_version SET version_num = '99'"),
        ("strays", "UPDATE recording SET job = 'nobody'"),
        ("other", "CREATE TABLE sold (what TEXT)"),
    ):
        with closing(sqlite3.connect(tmp_path / name)) as connection:
            connection.execute(statement)
            connection.commit()
    codes = {"nowhere": "no_such_file", "text": "no_store", "empty": "no_store", "other": "no_store"}
    codes |= {"damaged": "store_damaged", "strays": "store_damaged", "newer": "newer_store"}
    for name, code in codes.items():
        error = _refused(code, lambda name=name: keeper.restore(tmp_path / name))  # type: ignore[misc]
        assert name in error.where
    assert _all(store) == before


@pytest.mark.parametrize("revision", ["1", "6", NEWEST])
def test_backup_that_lacks_a_table_changes_nothing(revision: str, tmp_path: Path) -> None:
    """One sentence names it, whatever the revision; the first one had no notes yet, and misses none."""
    lacking, place = tmp_path / "lacking", str(tmp_path / "shop.sqlite")
    with closing(open_store(place)) as store:
        _fill(store)
        before = _all(store)
        with closing(Database(lacking)) as database:
            migrate(database, to=revision)
            with database.write() as connection:
                connection.exec_driver_sql("DROP TABLE run_entry")
        error = _refused("store_damaged", lambda: StoreMaintenance(place).restore(lacking))
        assert "the table run_entry is missing" in error.what
        assert "\n" not in str(error)
        assert _all(store) == before


def test_revoked_device_stays_out_after_any_restore(place: str, tmp_path: Path) -> None:
    """Of a backup from before it was revoked, and of one after another from before it was even paired."""
    keeper = StoreMaintenance(place)
    with closing(open_store(place)) as store:
        store.jobs.add(title="one", text=JOB)
        keeper.backup(tmp_path / "monday")
        lost, own = (store.devices.add(name=name, token_digest=name) for name in ("lost", "own"))
        keeper.backup(tmp_path / "tuesday")
        store.devices.revoke(lost.id)
        keeper.restore(tmp_path / "tuesday")
        assert store.devices.by_token("lost") is None
        assert store.devices.by_token("own") == own
        keeper.restore(tmp_path / "monday")
        assert store.devices.by_token("lost") is None
        keeper.restore(tmp_path / "tuesday")
        assert store.devices.by_token("lost") is None
        assert store.devices.by_token("own") == own
        assert keeper.check().wrong == ()


@pytest.mark.parametrize("readable", [True, False])
def test_devices_after_a_damaged_store_was_put_aside(tmp_path: Path, readable: bool) -> None:
    """What can still be read of it counts; when nothing can, no device of the backup is let in until it is paired again."""
    place = str(tmp_path / "shop.sqlite")
    with closing(open_store(place)) as store:
        _fill(store)
        lost, own = (store.devices.add(name=name, token_digest=name) for name in ("lost", "own"))
        StoreMaintenance(place).backup(tmp_path / "backup")
        store.devices.revoke(lost.id)
    with closing(sqlite3.connect(place)) as connection:
        page, size = connection.execute(
            "SELECT rootpage, (SELECT page_size FROM pragma_page_size) FROM sqlite_master WHERE name = ?",
            ("step_photo" if readable else "device",),
        ).fetchone()
    content = bytearray(Path(place).read_bytes())
    content[(page - 1) * size : (page - 1) * size + 100] = b"\xa5" * 100
    Path(place).write_bytes(content)
    former = StoreMaintenance(place).restore(tmp_path / "backup")
    assert former is not None
    assert "put-aside" in former.name
    with closing(open_store(place)) as store:
        assert store.devices.by_token("lost") is None
        assert (store.devices.by_token("own") == own) is readable


def test_revoked_device_stays_out_when_a_restore_was_killed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After the damaged file was put aside, and before anything was restored: the next restore looks into that file."""
    from gainwright.adapters.store import restore

    place = str(tmp_path / "shop.sqlite")
    with closing(open_store(place)) as store:
        lost, own = (store.devices.add(name=name, token_digest=name) for name in ("lost", "own"))
        StoreMaintenance(place).backup(tmp_path / "backup")
        store.devices.revoke(lost.id)
        with store.database.write() as connection:
            connection.exec_driver_sql("UPDATE alembic_version SET version_num = '6'")
    with monkeypatch.context() as patch:
        patch.setattr(restore, "_copy", lambda *_: sqlite3.connect(tmp_path / "none" / "x"))
        _refused("store_not_opened", lambda: StoreMaintenance(place).restore(tmp_path / "backup"))
    StoreMaintenance(place).restore(tmp_path / "backup")
    with closing(open_store(place)) as store:
        assert (store.devices.by_token("lost"), store.devices.by_token("own")) == (None, own)


def test_a_backup_overwrites_nothing(store: Store, place: str, tmp_path: Path) -> None:
    """Neither another file nor an earlier backup, nor the store itself; its folder must exist."""
    _fill(store)
    (tmp_path / "letter").write_text("Dear", encoding="utf-8")
    _refused("file_exists", lambda: StoreMaintenance(place).backup(tmp_path / "letter"))
    assert (tmp_path / "letter").read_text(encoding="utf-8") == "Dear"
    _refused("not_written", lambda: StoreMaintenance(place).backup(tmp_path / "nowhere" / "backup"))
    if "://" not in place:
        _refused("file_exists", lambda: StoreMaintenance(place).backup(Path(place)))
    assert [path.name for path in tmp_path.rglob("*.part")] == []


def test_what_was_seen_before_a_restore_is_never_taken_for_what_is_there(
    store: SqlStore, place: str, tmp_path: Path
) -> None:
    """A page still shows revision 4; two changes after the restore, revision 4 would be another text. What is as it was keeps its revision."""
    job, same = (store.jobs.add(title=title, text=JOB).id for title in ("one", "same"))
    store.cases.write("case", Case(job="1"), seen=0)
    StoreMaintenance(place).backup(tmp_path / "monday")
    for revision in (1, 2, 3):
        store.jobs.write(job, title="one", text=JOB + f"# {revision}\n", seen=revision)
        store.cases.write("case", Case(job=f"{revision}"), seen=revision)
    StoreMaintenance(place).restore(tmp_path / "monday")
    assert (store.jobs.get(job).text, store.cases.get("case").case.job) == (JOB, "1")
    for seen in range(1, 5):
        _refused("conflict", lambda seen=seen: store.jobs.write(job, title="", text="x", seen=seen))  # type: ignore[misc]
        _refused("conflict", lambda seen=seen: store.cases.write("case", Case(job="x"), seen=seen))  # type: ignore[misc]
    assert store.jobs.write(job, title="one", text=JOB, seen=5).revision == 6
    assert store.jobs.get(same).revision == 1
    assert StoreMaintenance(place).check().wrong == ()


def test_failed_restore_changes_nothing(
    store: SqlStore, place: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All or nothing: when it fails in the last table, everything is as before."""
    from gainwright.adapters.store import backup, restore

    with closing(open_store(str(tmp_path / "first.sqlite"))) as first:
        _fill(first)
    StoreMaintenance(str(tmp_path / "first.sqlite")).backup(tmp_path / "backup")
    store.jobs.add(title="before", text=JOB)
    before = _all(store)
    copy = backup.copy_rows

    def broken(*arguments: Any, **options: Any) -> None:
        copy(*arguments, **options)
        if options:
            raise ZeroDivisionError

    monkeypatch.setattr(restore, "copy_rows", broken)
    with pytest.raises(ZeroDivisionError):
        StoreMaintenance(place).restore(tmp_path / "backup")
    assert _all(store) == before


def test_name_too_long_for_a_file_beside_it_is_a_sentence(tmp_path: Path) -> None:
    """Then nothing is restored, since the former content has no place."""
    place = str(tmp_path / ("x" * 230))
    with closing(open_store(place)) as store:
        job = store.jobs.add(title="one", text=JOB)
        StoreMaintenance(place).backup(tmp_path / "backup")
        _refused("not_written", lambda: StoreMaintenance(place).restore(tmp_path / "backup"))
        assert store.jobs.list() == [job]


def test_missing_store_is_not_created_by_backup_or_check(tmp_path: Path, postgresql: PostgreSQL) -> None:
    """Each reports that there is no store."""
    for place in (str(tmp_path / "none.sqlite"), postgresql.new_database()):
        _refused("no_store", lambda place=place: StoreMaintenance(place).backup(tmp_path / "backup"))  # type: ignore[misc]
        _refused("no_store", lambda place=place: StoreMaintenance(place).check())  # type: ignore[misc]
    assert list(tmp_path.iterdir()) == []


# ---- check ---------------------------------------------------------------------------------------------------


def test_check_names_each_problem(store: SqlStore, place: str) -> None:
    """One sentence each."""
    _fill(store)
    found = StoreMaintenance(place).check()
    assert (found.revision, found.wrong) == (NEWEST, ())
    assert found.holds == {
        "jobs": 3,
        "versions": 6,
        "entries": 6,
        "notes": 3,
        "recordings": 3,
        "cases": 3,
        "devices": 1,
        "documents": 3,
    }
    first, second, _ = (job.id for job in store.jobs.list() + store.jobs.list(shelf="archived"))
    recording = store.recordings.of(first)[0].id
    note = store.notes.of(first)[0].id
    with store.database.write() as connection:
        for statement in (
            "UPDATE job_version SET text = 'format: 2' WHERE job = :first AND number = 1",
            "DELETE FROM job_version WHERE job = :second AND number = 2",
            "DELETE FROM run_entry WHERE job = :second AND number = 1",
            "DELETE FROM recording_content WHERE recording = :recording",
            "DELETE FROM step_photo WHERE note = :note",
            """UPDATE kept_case SET content = '{"unknown" : 1}' WHERE name = 'case-1'""",
        ):
            named = {"first": first, "second": second, "recording": recording, "note": note}
            used = {name: value for name, value in named.items() if f":{name}" in statement}
            assert connection.execute(sa.text(statement), used).rowcount == 1
    wrong = StoreMaintenance(place).check().wrong
    assert len(wrong) == 6
    for said in (
        f"version 1 of the job {first} (Nº",
        f"{second} should have 2 versions and has 1",
        f"run of job {second}",
        recording,
        note,
        "case-1",
    ):
        assert len([sentence for sentence in wrong if said in sentence]) == 1, said


# ---- upgrades ------------------------------------------------------------------------------------------------

FIRST = """
INSERT INTO job VALUES ('j1', 3, 1, 2, 'kept', 1000000, 2000000, NULL);
INSERT INTO job_version VALUES ('j1', 1, 'Großer Bus', '{job}', '', 1000000);
INSERT INTO job_version VALUES ('j1', 2, 'other', 'other', 'phone', 2000000);
INSERT INTO run_entry VALUES ('j1', 1, 'gain', 'reading', '2,1 V', '{{"v": 2.1}}', 'phone', 3000000);
INSERT INTO recording VALUES ('r1', 'j1', 'a.wav', 3, '{{}}', 4000000);
INSERT INTO recording_content VALUES ('r1', {content});
INSERT INTO kept_case VALUES ('blue', 2, '{{"job": "x", "title": "Öl", "evidence": [{{"at": "amp"}}]}}', 5000000);
INSERT INTO kept_case VALUES ('red', 1, '{{"job": "x", "closed": {{"cause": "gain_low", "where": "amp"}}}}', 4000000);
INSERT INTO device VALUES ('d1', 'phone', 'digest', 6000000, 7000000, {false});
INSERT INTO document VALUES ('scan', 'k', '{{"a": 1}}', 8000000);
"""


def _first_store(place: str) -> None:
    """Make a store as the first revision had it, with some of everything."""
    with closing(Database(place)) as database:
        if database.file is not None:
            database.file.parent.mkdir(parents=True, exist_ok=True)
        migrate(database, to="1")
        content, false = ("x'010203'", "0") if database.file is not None else ("'\\x010203'", "false")
        with database.write() as connection:
            for statement in FIRST.format(job=JOB.replace("'", "''"), content=content, false=false).split(";\n"):
                if statement.strip():
                    connection.exec_driver_sql(
                        statement.strip().replace("%", "%%") if database.file is None else statement
                    )


def _backups_before(place: str, own_folder: Path) -> list[Path]:
    folder = own_folder if "://" in place else Path(place).parent
    return sorted(folder.glob("*before-upgrade-from-1-*"))


def test_store_of_the_first_revision_is_upgraded(place: str, own_folder: Path) -> None:
    """With all its content, which search finds too; a backup of the old store is written next to it."""
    _first_store(place)
    with closing(open_store(place)) as store:
        job = store.jobs.get("j1")
        assert (job.title, job.text, job.revision, job.undoable, job.redoable) == ("Großer Bus", JOB, 3, 0, 1)
        assert store.jobs.list(words="GROSSER bus") == [job]
        assert store.jobs.list(words="phone") == []
        assert (store.runs.entries("j1")[0].value, store.runs.entries("j1")[0].key) == ({"v": 2.1}, "")
        assert store.recordings.content("r1") == b"\x01\x02\x03"
        assert [(kept.name, kept.revision) for kept in store.cases.find("öl AMP")] == [("blue", 2)]
        assert store.cases.counted().by_cause == {"gain_low": 1}
        assert store.devices.list()[0].seen.timestamp() == 7
        assert store.documents.get("scan", "k") == {"a": 1}
        assert store.jobs.redo("j1", seen=3).title == "other"
    assert StoreMaintenance(place).check().revision == NEWEST
    (before,) = _backups_before(place, own_folder)
    with closing(Database(before)) as database, database.read() as connection:
        assert connection.scalar(sa.text("SELECT version_num FROM alembic_version")) == "1"
        assert connection.scalar(sa.text("SELECT title FROM job_version WHERE number = 1")) == "Großer Bus"
    with closing(open_store(place)):
        assert _backups_before(place, own_folder) == [before], "a store of today needs no upgrade"


def test_a_backup_of_the_first_revision_is_restored(place: str, tmp_path: Path) -> None:
    """It is upgraded while it is restored; the file isn't changed."""
    old = tmp_path / "old.sqlite"
    _first_store(str(old))
    StoreMaintenance(str(old)).backup(tmp_path / "backup")
    before = (tmp_path / "backup").read_bytes()
    StoreMaintenance(place).restore(tmp_path / "backup")
    assert (tmp_path / "backup").read_bytes() == before
    with closing(open_store(place)) as store:
        assert [job.title for job in store.jobs.list(words="grosser")] == ["Großer Bus"]


def test_failed_upgrade_changes_nothing(place: str) -> None:
    """Neither tables nor rows; the next attempt succeeds once the obstacle is gone."""
    _first_store(place)
    with closing(Database(place)) as database:
        with database.write() as connection:
            connection.exec_driver_sql("UPDATE kept_case SET content = 'no JSON'")
        assert "Expecting value" in _refused("not_upgraded", lambda: open_store(place)).what
        with database.write() as connection:
            assert connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar() == "1"
            assert "words" not in {column["name"] for column in sa.inspect(connection).get_columns("job")}
            connection.exec_driver_sql('UPDATE kept_case SET content = \'{"job": ""}\'')
    with closing(open_store(place)) as store:
        assert [kept.name for kept in store.cases.find()] == ["blue", "red"]


def test_killed_upgrade_leaves_no_partial_copy(place: str, own_folder: Path) -> None:
    """What an earlier one was writing when it was killed is removed; what others write there isn't touched."""
    _first_store(place)
    with closing(Database(place)) as database:
        cut_short = file_beside(database, "before-upgrade-from-1")
    folder = own_folder if "://" in place else Path(place).parent
    parts = [folder / f".{cut_short.name}.0123abcd.part{log}" for log in ("", "-wal", "-journal")]
    other = folder / ".shop.sqlite.backup.0123abcd.part"
    for file in (*parts, other):
        file.write_bytes(b"torn")
    open_store(place).close()
    assert [file for file in parts if file.exists()] == []
    assert other.exists()
    (before,) = _backups_before(place, own_folder)
    assert StoreMaintenance(str(before)).check().revision == "1"


def test_a_newer_store_is_refused_and_untouched(place: str, tmp_path: Path) -> None:
    """With a sentence that says what to install."""
    with closing(open_store(place)) as store:
        _fill(store)
        with store.database.write() as connection:
            connection.exec_driver_sql("UPDATE alembic_version SET version_num = '99'")
        before = _all(store)
        error = _refused("newer_store", lambda: open_store(place))
        assert "99" in error.what
        assert error.remedy == "install the newer Gainwright"
        _refused("newer_store", lambda: StoreMaintenance(place).backup(tmp_path / "backup"))
        _refused("newer_store", StoreMaintenance(place).check)
        assert _all(store) == before


def test_the_migrations_make_the_tables_that_the_program_uses(place: str) -> None:
    """Columns, types, keys and indexes, as a library of its own compares them; the newest revision is the last one."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with closing(open_store(place)) as store, store.database.read() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, tables) == []
        assert context.get_current_revision() == NEWEST
    assert list(REVISIONS) == [str(number + 1) for number in range(len(REVISIONS))]
    assert list(REVISIONS)[-1] == NEWEST


@pytest.mark.parametrize("revision", ["3", NEWEST])
def test_upgrade_killed_at_any_step_is_made_at_the_next_opening(revision: str, place: str, own_folder: Path) -> None:
    """`kill -9` when a revision's changes are made and nothing is committed: the store is as it was, and nothing half written stays."""
    _first_store(place)
    _, status = start(killed_upgrade, place, revision).ended()
    assert status == -signal.SIGKILL
    with closing(Database(place)) as database, database.read() as connection:
        assert connection.scalar(sa.text("SELECT version_num FROM alembic_version")) == "1"
    with closing(open_store(place)) as store:
        assert (store.jobs.get("j1").title, store.recordings.content("r1")) == ("Großer Bus", b"\x01\x02\x03")
    folder = own_folder if "://" in place else Path(place).parent
    assert [file.name for file in folder.iterdir() if ".part" in file.name] == []
