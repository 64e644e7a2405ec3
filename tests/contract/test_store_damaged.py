"""What lies in a store is never read otherwise than it was written: a changed bit is told, and `check` names what is damaged."""

from __future__ import annotations

import random
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import sqlalchemy as sa
from attack_store import everything, fill, flip, flip_value, read_otherwise

from gainwright.adapters.store import StoreMaintenance, open_store
from gainwright.adapters.store.database import Database
from gainwright.adapters.store.migration import migrate
from gainwright.adapters.store.tables import searched
from gainwright.errors import CallError
from gainwright.jobfile import example_text
from gainwright.model.case import Case

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.adapters.store import SqlStore

JOB = example_text("one_amplifier")
FLIPS = 25
"""Few; `tasks.py attack` changes many."""


def _refused(code: str, call: Callable[[], object]) -> CallError:
    with pytest.raises(CallError) as caught:
        call()
    assert caught.value.code == code, str(caught.value)
    assert "\n" not in str(caught.value)
    return caught.value


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the file of a store with some of everything, as a program has left it."""
    file = tmp_path_factory.mktemp("filled") / "shop.sqlite"
    with closing(open_store(file)) as store:
        fill(store)
    return file


def test_single_changed_bit_is_never_read_in_silence(filled: Path, tmp_path: Path) -> None:
    """Wherever it lies in the file, or in a value: everything reads as it was, or the read says that it is damaged, and `check` does."""
    as_written = everything(filled)
    draw = random.Random(16)  # noqa: S311  (no secret)
    told = 0
    for number in range(FLIPS):
        file = tmp_path / "flipped.sqlite"
        shutil.copyfile(filled, file)
        where = (flip, flip_value)[number % 2](file, draw)
        read = everything(file)
        assert read_otherwise(as_written, read) == [], (number, where)
        told += read != as_written
    assert told > FLIPS // 10, "hardly any bit mattered: the test shows nothing"


def _changed(store: SqlStore, statement: str) -> None:
    with store.database.write() as connection:
        assert connection.execute(sa.text(statement)).rowcount == 1


CHANGES = {
    "job": "UPDATE job SET changed = changed + 1",
    "job_version": "UPDATE job_version SET text = text || '# more'",
    "run_entry": "UPDATE run_entry SET text = '2,2 V'",
    "step_note": "UPDATE step_note SET step = 'volume'",
    "step_photo": "UPDATE step_photo SET content = content || content",
    "recording": "UPDATE recording SET name = 'b.wav'",
    "recording_content": "UPDATE recording_content SET content = content || content",
    "kept_case": "UPDATE kept_case SET revision = 2",
    "device": "UPDATE device SET name = 'thief'",
    "document": "UPDATE document SET content = '{}'",
}
"""Changes that the database itself doesn't notice."""


def test_changed_values_are_named_with_what_a_backup_has(
    store: SqlStore, place: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each by the read and by `check`: a backup from before has it as it was, one without it isn't named."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    StoreMaintenance(place).backup(tmp_path / "empty")
    fill(store)
    StoreMaintenance(place).backup(tmp_path / "friday")
    assert StoreMaintenance(place).check().wrong == ()
    for statement in CHANGES.values():
        _changed(store, statement)
    found = StoreMaintenance(place).check((tmp_path / "empty", tmp_path / "friday", tmp_path / "none"))
    assert sorted(one.table for one in found.damaged) == sorted(CHANGES)
    for one in found.damaged:
        assert one.backups == {str(tmp_path / "friday"): "as it was"}
        assert f"{one.problem}; friday has it as it was" in found.wrong
    refused = {name for name, read in everything(store).items() if isinstance(read, CallError)}
    assert refused == {
        "job",
        "entries",
        "notes",
        "photo",
        "recordings",
        "sound",
        "case",
        "cases",
        "document",
        "documents",
    }
    assert store.devices.by_token("digest") is None
    assert [(device.name, device.put_out) for device in store.devices.list()] == [("damaged: thief", True)]


def test_damaged_job_stays_in_the_list_and_leaves_the_others_alone(store: SqlStore) -> None:
    """It is named there, and refused when it is opened; the others are read as ever."""
    one, two = (store.jobs.add(title=title, text=JOB) for title in ("one", "two"))
    _changed(store, f"UPDATE job_version SET text = 'x' WHERE job = '{one.id}'")  # noqa: S608
    listed = {job.id: job for job in store.jobs.list()}
    assert listed[two.id] == two
    assert (listed[one.id].title, listed[one.id].text) == (f"damaged: {one.id}", "")
    assert one.id in _refused("store_damaged", lambda: store.jobs.get(one.id)).what
    _refused("store_damaged", lambda: store.jobs.write(one.id, title="", text="", seen=1))


REFUSED = {
    "UPDATE run_entry SET kind = 'sung'": "'sung'",
    "UPDATE run_entry SET value = 'no JSON'": "of another kind",
    "UPDATE recording SET measured = '{}'": "can't be read",
    "UPDATE kept_case SET changed = 9000000000000000000": "of another kind",
    "UPDATE job SET shelf = 'lost'": "'lost'",
    "UPDATE job_version SET text = 'format: 1'": "can't be read",
    """UPDATE document SET content = '{"id": 1}' WHERE kind = 'practice'""": "can't be read",
    """UPDATE document SET content = '{"path": 1}' WHERE kind = 'unanswered j1'""": "can't be read",
    "UPDATE document SET content = '{}' WHERE kind = 'music folder'": "can't be read",
    "UPDATE document SET content = '[]' WHERE kind = 'music folder'": "isn't an object",
    "UPDATE job SET words = ''": "isn't found by its words",
    "UPDATE kept_case SET words = ''": "isn't found by its words",
}


@pytest.mark.parametrize("statement", REFUSED)
def test_value_that_a_read_refuses_is_found_in_an_older_store(statement: str, old: Path, tmp_path: Path) -> None:
    """In one without checksums too, such as 0.1.0 made: each is one problem, and nothing else is."""
    file = tmp_path / "old.sqlite"
    shutil.copyfile(old, file)
    with closing(sqlite3.connect(file)) as connection:
        assert connection.execute(statement).rowcount == 1
        connection.commit()
    (problem,) = StoreMaintenance(str(file)).check().wrong
    assert REFUSED[statement] in problem


@pytest.fixture(scope="module")
def old(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a store of the revision before there were checksums, in which nothing is wrong."""
    file = tmp_path_factory.mktemp("old") / "old.sqlite"
    with closing(Database(file)) as database:
        migrate(database, to="6")
        with database.write() as connection:
            for row in OLD.format(job=_quoted(JOB), words=_quoted(searched("bus", JOB))).split(";\n"):
                connection.exec_driver_sql(row)
    assert StoreMaintenance(str(file)).check().wrong == ()
    return file


OLD = """INSERT INTO job VALUES ('j1', 1, 1, 1, 'kept', 1000000, 2000000, NULL, '{words}');
INSERT INTO job_version VALUES ('j1', 1, 'bus', '{job}', '', 1000000);
INSERT INTO run_entry VALUES ('j1', 1, 'gain', 'reading', '2,1 V', '{{}}', 'phone', 3000000, '');
INSERT INTO recording VALUES ('r1', 'j1', 'a.wav', 1, '{{"rate_hz": 1, "channels": []}}', 4000000);
INSERT INTO recording_content VALUES ('r1', x'01');
INSERT INTO kept_case VALUES ('blue', 2, '{{"job": "x"}}', 5000000, 'blue' || char(10) || 'x', NULL);
INSERT INTO document VALUES ('practice', 'p', '{{"id": "p", "title": "", "job": "", "seed": 1, "begun": "", "cause": "", "where": "", "call": [], "called": [], "entries": [], "tried": [], "short_way": null}}', 8000000);
INSERT INTO document VALUES ('unanswered j1', 'u', '{{"step": "gain", "kind": "reading", "text": "1", "by": "", "why": "asked"}}', 8000000);
INSERT INTO document VALUES ('music folder', 'f', '{{"path": "/music"}}', 8000000)"""


def _quoted(text: str) -> str:
    return text.replace("'", "''")


def _state(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_check_changes_nothing(filled: Path, tmp_path: Path) -> None:
    """Neither a store that was closed, nor a backup, nor what a killed program has left, and no file is added."""
    closed, backup, killed = tmp_path / "closed", tmp_path / "backup", tmp_path / "killed"
    for folder in (closed, backup, killed):
        folder.mkdir()
    shutil.copyfile(filled, closed / "shop")
    StoreMaintenance(str(filled)).backup(backup / "shop")
    with closing(open_store(closed / "shop")) as store:
        store.cases.write("last", Case(job=JOB), seen=0)
        for name in ("shop", "shop-wal"):
            shutil.copyfile(closed / name, killed / name)
    for folder, cases in ((closed, 2), (backup, 1), (killed, 2)):
        before = _state(folder)
        found = StoreMaintenance(str(folder / "shop")).check()
        assert (found.wrong, found.holds["cases"]) == ((), cases)
        assert found.where == str(folder / "shop")
        assert _state(folder) == before


def test_store_in_use_is_checked(store: SqlStore, place: str) -> None:
    """With everything that was acknowledged, while it is open."""
    fill(store)
    store.cases.write("last", Case(job=JOB), seen=0)
    found = StoreMaintenance(place).check()
    assert (found.wrong, found.holds["cases"]) == ((), 2)


def test_damage_in_one_table_leaves_the_rest_checked(filled: Path, tmp_path: Path) -> None:
    """A missing table is named; what else is wrong is told all the same."""
    file = tmp_path / "shop.sqlite"
    shutil.copyfile(filled, file)
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("DROP TABLE step_photo")
        connection.execute("UPDATE device SET name = 'x'")
        connection.commit()
    wrong = StoreMaintenance(str(file)).check().wrong
    assert "the table step_photo is missing" in wrong
    assert any("the device x" in sentence for sentence in wrong)


@pytest.fixture(scope="module")
def killed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a store with the log that a killed program has left, of 12 entries."""
    file = tmp_path_factory.mktemp("killed") / "shop.sqlite"
    with closing(open_store(file)) as store:
        job = store.jobs.add(title="one", text=JOB).id
    with closing(open_store(file)) as store:
        for seen in range(12):
            store.runs.add(job, step="a", kind="reading", text="1 V", value={}, by="", seen=seen)
        _copied(file, file.parent / "left")  # as it lies there while it is open
    return file.parent / "left" / file.name


def _copied(file: Path, folder: Path) -> Path:
    folder.mkdir()
    for suffix in ("", "-wal"):
        shutil.copyfile(f"{file}{suffix}", folder / f"{file.name}{suffix}")
    return folder / file.name


@pytest.mark.parametrize("at", [9, 17, 32 + 9, 32 + 50, 32 + 3 * 4120 + 2000])
def test_changed_bit_in_the_log_of_a_killed_program_is_told(killed: Path, tmp_path: Path, at: int) -> None:
    """In its header, in a frame, in a page: SQLite drops what follows in silence, which was acknowledged. What can be read is saved."""
    file = _copied(killed, tmp_path / "flipped")
    log = Path(f"{file}-wal")
    content = bytearray(log.read_bytes())
    content[at] ^= 4
    log.write_bytes(content)
    error = _refused("store_damaged", lambda: open_store(file))
    assert "changes can't be read" in error.what
    assert "changes can't be read" in StoreMaintenance(str(file)).check().wrong[0]
    assert log.read_bytes() == content
    if at < 100:
        return
    StoreMaintenance(str(file)).backup(tmp_path / "saved")
    StoreMaintenance(str(file)).restore(tmp_path / "saved")
    with closing(open_store(file)) as store:
        assert [job.title for job in store.jobs.list()] == ["one"]


@pytest.mark.parametrize("cut", [0, 1, 4120, 5 * 4120 + 77, 10**9])
def test_unfinished_log_of_a_killed_program_is_whole(killed: Path, tmp_path: Path, cut: int) -> None:
    """The last write may be torn; an older log may lie behind a new header; one that was just begun is empty."""
    file = _copied(killed, tmp_path / "cut")
    log = Path(f"{file}-wal")
    content = log.read_bytes()
    log.write_bytes(content[: max(0, len(content) - cut)])
    open_store(file).close()
    assert StoreMaintenance(str(file)).check().wrong == ()


def test_looking_at_the_log_of_an_open_store_loses_nothing(tmp_path: Path) -> None:
    """Whoever opens and closes a file drops the locks that SQLite holds on it in this process (sqlite.org/howtocorrupt.html, 2.2).

    Another program would then take the log away, and what this one writes after that would be gone.
    """
    file = tmp_path / "shop.sqlite"
    count = "import sqlite3, sys; c = sqlite3.connect(sys.argv[1]); print(c.execute('SELECT count(*) FROM job').fetchone()[0]); c.close()"
    other = [sys.executable, "-c", count, str(file)]
    with closing(open_store(file)) as store:
        store.jobs.add(title="before", text=JOB)
        assert StoreMaintenance(str(file)).check().wrong == ()
        subprocess.run(other, check=True)
        store.jobs.add(title="after", text=JOB)
        assert subprocess.run(other, check=True, capture_output=True).stdout.split() == [b"2"]


def _with(filled: Path, file: Path, *statements: str) -> str:
    """Copy a store and change it; return the copy's place."""
    shutil.copyfile(filled, file)
    with closing(sqlite3.connect(file)) as connection:
        for statement in statements:
            connection.execute(statement)
        connection.commit()
    return str(file)


@pytest.mark.parametrize("changed", ["seconds = seconds + (1 << 40)", "latest = latest | (1 << 62)", "digest = 'x'"])
def test_damaged_time_of_a_store_makes_nothing_old(changed: str, filled: Path, tmp_path: Path) -> None:
    """`check` tells it; a deleted job stays, and what is deleted from then on stays its 30 days, too."""
    place = _with(filled, tmp_path / "late.sqlite", f"UPDATE store_time SET {changed}")  # noqa: S608
    (told,) = StoreMaintenance(place).check().wrong
    assert told == "the time for which the store has existed is damaged: it isn't as it was stored"
    with closing(open_store(place)) as store:
        (job,) = store.jobs.list()
        store.jobs.put(job.id, "deleted")
        assert store.age_s() == 0
    with closing(open_store(place)) as store:
        assert store.jobs.get(job.id).shelf == "deleted"
    assert StoreMaintenance(place).check().wrong == ()


@pytest.mark.parametrize("revision", ["0", "3", "5", "6"])
def test_damaged_revision_is_told_and_restored_over(revision: str, filled: Path, tmp_path: Path) -> None:
    """A single bit of it: neither `check` nor opening takes the store for an old one, and nothing is written beside it."""
    place = _with(filled, tmp_path / "old.sqlite", f"UPDATE alembic_version SET version_num = '{revision}'")  # noqa: S608
    assert f"its revision is damaged: it says {revision}" in StoreMaintenance(place).check().wrong[0]
    _refused("store_damaged", lambda: open_store(place))
    assert [file.name for file in tmp_path.glob("old.sqlite.*Z")] == []
    StoreMaintenance(str(filled)).backup(tmp_path / "backup")
    former = StoreMaintenance(place).restore(tmp_path / "backup")
    assert former is not None
    assert "put-aside" in former.name
    assert StoreMaintenance(place).check().wrong == ()


def test_name_that_is_no_text_any_longer_is_told(filled: Path, tmp_path: Path) -> None:
    """Looked for in backups too, where the name can't even be asked for."""
    StoreMaintenance(str(filled)).backup(tmp_path / "backup")
    place = _with(filled, tmp_path / "s.sqlite", "UPDATE document SET key = CAST(x'eb' AS TEXT)")
    found = StoreMaintenance(place).check((tmp_path / "backup",))
    assert [(one.table, one.backups) for one in found.damaged] == [("document", {})]


def test_rows_that_a_damaged_page_invents_are_told(filled: Path, tmp_path: Path) -> None:
    """Each page that holds notes and recordings, or an index of them, says that it has 512 rows more than it has."""
    with closing(sqlite3.connect(filled)) as connection:
        (size,) = connection.execute("PRAGMA page_size").fetchone()
        wanted = "SELECT rootpage FROM sqlite_master WHERE tbl_name IN ('step_note', 'step_photo', 'recording')"
        pages = [page for (page,) in connection.execute(wanted)]
    assert len(pages) > 3
    content, file = filled.read_bytes(), tmp_path / "damaged.sqlite"
    for page in pages:
        changed = bytearray(content)
        changed[(page - 1) * size + 3] ^= 2  # the upper byte of the number of cells: SQLite's file format, 1.6
        file.write_bytes(changed)
        assert StoreMaintenance(str(file)).check().wrong, page
