"""The command `store`: backup, restore, check, import-cases, as a user runs them."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from commands import run

from gainwright.adapters.case_folder import FolderCases
from gainwright.adapters.store import open_store
from gainwright.jobfile import example_text
from gainwright.model.case import Case

JOB = example_text("one_amplifier")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder with a person's own data folder in it, which holds a store with one job."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.delenv("GAINWRIGHT_STORE", raising=False)
    with closing(open_store(_own(tmp_path))) as store:
        store.jobs.add(title="Blue estate", text=JOB)
    return tmp_path


def _own(folder: Path) -> str:
    return str(folder / "data" / "gainwright" / "gainwright.sqlite")


def _titles(place: str) -> list[str]:
    with closing(open_store(place)) as store:
        return [job.title for job in store.jobs.list()]


def test_backup_is_restored(folder: Path) -> None:
    """Of the user's own store unless another is named by an option or by the environment."""
    done = run("store", "backup", "kept.backup", folder=folder)
    assert (done.returncode, done.stdout, done.stderr) == (0, "backed up into kept.backup\n", "")
    with closing(open_store(_own(folder))) as store:
        store.jobs.put(store.jobs.list()[0].id, "deleted")
        store.jobs.add(title="new", text=JOB)
    done = run("store", "restore", "kept.backup", "--json", folder=folder)
    assert done.returncode == 0, done.stderr
    former = json.loads(done.stdout)["former"]
    assert _titles(_own(folder)) == ["Blue estate"]
    assert _titles(former) == ["new"]
    done = run("store", "restore", "kept.backup", "--store", "deep/other.sqlite", folder=folder)
    assert (done.returncode, done.stdout) == (0, "restored from kept.backup\n")
    assert _titles(str(folder / "deep" / "other.sqlite")) == ["Blue estate"]


def test_the_environment_names_the_store(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """If no option does."""
    monkeypatch.setenv("GAINWRIGHT_STORE", "other.sqlite")
    assert run("store", "check", folder=folder).returncode == 2
    open_store(folder / "other.sqlite").close()
    found = json.loads(run("store", "check", "--json", folder=folder).stdout)
    assert (found["where"], found["holds"]["jobs"], found["wrong"]) == ("other.sqlite", 0, [])
    found = json.loads(run("store", "check", "--json", "--store", _own(folder), folder=folder).stdout)
    assert found["holds"]["jobs"] == 1


def test_check_reports_problems_with_status_1(folder: Path) -> None:
    """One line each, with what a named backup has of it; status 0 if there are none."""
    assert run("store", "backup", "friday", folder=folder).returncode == 0
    done = run("store", "check", folder=folder)
    assert done.returncode == 0, done.stdout
    assert done.stdout.endswith("all is well\n")
    with closing(sqlite3.connect(_own(folder))) as connection:
        connection.execute("UPDATE job_version SET text = 'format: 1'")
        connection.commit()
    done = run("store", "check", "--backup", "friday", folder=folder)
    assert done.returncode == 1
    assert "Blue estate" in done.stdout
    assert "friday has it as it was" in done.stdout
    assert done.stdout.endswith("problems: 1\n")


def test_restore_tells_what_is_damaged_in_the_backup(folder: Path) -> None:
    """It is restored, since it may be the only one there is; status 1, with what the former content has of it."""
    assert run("store", "backup", "friday", folder=folder).returncode == 0
    with closing(sqlite3.connect(folder / "friday")) as connection:
        connection.execute("UPDATE job_version SET text = text || '#'")
        connection.commit()
    done = run("store", "restore", "friday", folder=folder)
    assert done.returncode == 1
    assert done.stdout.startswith("restored from friday; the previous content is in ")
    assert "(Blue estate) is damaged" in done.stdout
    assert "has it as it was" in done.stdout
    done = run("store", "restore", "friday", "--json", folder=folder)
    assert (done.returncode, len(json.loads(done.stdout)["wrong"])) == (1, 1)


def test_cases_of_a_folder_are_imported(folder: Path) -> None:
    """New ones are; existing ones stay; a file that is no case is reported. A second import changes nothing."""
    cases = FolderCases(folder / "cases")
    for name in ("blue", "red", "green"):
        cases.save(name, Case(title=name, job=JOB))
    (folder / "cases" / "torn.case.yaml").write_text("format: 1\n", encoding="utf-8")
    with closing(open_store(_own(folder))) as store:
        store.cases.write("red", Case(title="another red", job=JOB), seen=0)
    for added, same in ((["blue", "green"], []), ([], ["blue", "green"])):
        done = run("store", "import-cases", "cases", "--json", folder=folder)
        found = json.loads(done.stdout)
        assert (done.returncode, found["added"], found["same"], found["differing"]) == (1, added, same, ["red"])
        assert [entry["name"] for entry in found["unreadable"]] == ["torn"]
    with closing(open_store(_own(folder))) as store:
        assert {kept.name: kept.case.title for kept in store.cases.find()} == {"blue": "blue", "green": "green", "red": "another red"}  # fmt: skip
        assert store.cases.get("blue").case == cases.load("blue")
    said = run("store", "import-cases", "cases", folder=folder).stdout
    assert "red: the store has another of this name" in said
    assert cases.names() == ["blue", "green", "red", "torn"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("backup", "letter.txt"), "the file exists already"),
        (("backup", "nowhere/backup"), "can't be written"),
        (("restore", "letter.txt"), "not a database"),
        (("restore", "nowhere"), "there is no such file"),
        (("check", "--store", "nowhere"), "there is no store"),
        (("check", "--store", "letter.txt"), "not a database"),
        (("check", "--store", "mysql:" + "//localhost/x"), "a store can't be there"),
        (("check", "--store", "postgresql:" + "//u:secret@127.0.0.1:1/x"), "can't be reached"),
        (("import-cases", "nowhere"), "no such folder"),
    ],
)
def test_invalid_calls_are_refused(folder: Path, arguments: tuple[str, ...], said: str) -> None:
    """Each gives one message on standard error and status 2; no password is repeated, nothing is created."""
    (folder / "letter.txt").write_text("Dear customer, " * 100, encoding="utf-8")
    before = sorted(folder.iterdir())
    done = run("store", *arguments, folder=folder)
    assert done.returncode == 2, done.stdout
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1, done.stderr
    assert said in done.stderr
    assert "secret" not in done.stderr
    assert sorted(folder.iterdir()) == before
