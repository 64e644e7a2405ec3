"""One store of cases and one diagnosis: command, page, API and paper use the same cases and give the same probabilities."""

from __future__ import annotations

import json
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from commands import run
from fastapi.testclient import TestClient

from gainwright.adapters.store import SqlStore, open_store
from gainwright.composition import compose
from gainwright.jobfile import example_text, read_job_text
from gainwright.jobfile.casefile import case_text
from gainwright.model.case import Case, Closure
from gainwright.web.server import create_app
from gainwright.web.site import Site

TEXT = example_text("one_amplifier")
SAID = {"heard": "sub", "tone": "50 Hz", "is": "silent"}
CLOSED = Case(job=TEXT, closed=Closure(cause="lead_open", where="lead:head.sub-amp"))
COUNTED = 20
Probabilities = dict[tuple[str, str], float]


def own(folder: Path) -> Path:
    """Return the person's own store of a folder."""
    return folder / "data" / "gainwright" / "gainwright.sqlite"


def probabilities(found: dict[str, Any]) -> Probabilities:
    """Return what a diagnosis believes."""
    return {(c["cause"], c["where"]): c["probability"] for c in found["causes"]}


def told(folder: Path, *arguments: object) -> dict[str, Any]:
    """Return the JSON of a command."""
    done = run(*arguments, "--json", folder=folder)
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder with a job, its evidence, and a person's own store that holds some closed cases and an open one."""
    monkeypatch.delenv("GAINWRIGHT_STORE", raising=False)
    (tmp_path / "car.yaml").write_text(TEXT, encoding="utf-8")
    (tmp_path / "found.yaml").write_text(f"evidence: [{json.dumps(SAID)}]\n", encoding="utf-8")
    with closing(open_store(own(tmp_path))) as store:
        for n in range(COUNTED):
            store.cases.write(f"closed {n}", CLOSED, seen=0)
        job = store.jobs.add(title="car", text=read_job_text(TEXT).text)
        store.cases.write("red", Case(job=job.text, evidence=(SAID,)), seen=0)
    return tmp_path


def asked_in_every_way(folder: Path) -> dict[str, Probabilities]:
    """Return the probabilities of the same case by the way that they were asked for."""
    found = {
        "command, evidence": told(folder, "diagnose", "car.yaml", "--evidence", "found.yaml"),
        "command, case": told(folder, "diagnose", "--case", "red"),
        "command, paper": told(folder, "report", "--case", "red", "--kind", "case")["diagnosis"],
        "command, customer": told(folder, "report", "car.yaml", "--evidence", "found.yaml", "--kind", "customer")["diagnosis"],
    }  # fmt: skip
    store: SqlStore = open_store(own(folder))
    job = store.jobs.list()[0].id
    with TestClient(create_app(Site(compose(), store)), base_url="http://127.0.0.1") as api:
        found["API, case"] = api.get("/api/cases/red/diagnosis").json()
        found["API, evidence"] = api.post(f"/api/jobs/{job}/diagnosis", json={"evidence": [SAID]}).json()
        paper = api.get(f"/api/jobs/{job}/papers/case.json", params={"case": "red"})
        found["API, paper"] = json.loads(paper.content)["diagnosis"]
        page = api.get("/cases/red").text
    best = max(probabilities(found["API, case"]).values())
    assert f"{100 * best:.0f} %" in page
    return {way: probabilities(one) for way, one in found.items()}


def test_every_interface_gives_the_same_probabilities(folder: Path) -> None:
    """To the last digit, and the store's closed cases count in each."""
    ways = asked_in_every_way(folder)
    first = ways["command, case"]
    assert {way for way, one in ways.items() if one != first} == set()
    nothing_counted = told(folder, "diagnose", "car.yaml", "--evidence", "found.yaml", "--store", "empty.sqlite")
    assert (
        first["lead_open", "lead:head.sub-amp"] > 2 * probabilities(nothing_counted)["lead_open", "lead:head.sub-amp"]
    )
    assert not (folder / "empty.sqlite").exists(), "a question makes no store"


def test_command_and_web_share_one_store(folder: Path) -> None:
    """A case closed in the terminal is counted in the web app at once."""
    store = open_store(own(folder))
    with TestClient(create_app(Site(compose(), store)), base_url="http://127.0.0.1") as api:
        before = api.get("/api/cases/red/diagnosis").json()
        done = run("diagnose", "car.yaml", "--case", "green", typed="close gain_muted amp\n", folder=folder)
        assert (done.returncode, "closed: green" in done.stderr) == (0, True), done.stderr
        assert api.get("/api/cases/green").json()["closed"]["cause"] == "gain_muted"
        after = api.get("/api/cases/red/diagnosis").json()
    assert probabilities(after)["gain_muted", "amp"] > probabilities(before)["gain_muted", "amp"]
    assert told(folder, "cases")["closed"] == COUNTED + 1


def test_cases_of_version_0_1_are_imported(folder: Path) -> None:
    """The folder in which the command used to keep them is imported, with one message; its files stay."""
    old = folder / "data" / "gainwright" / "cases"
    old.mkdir()
    (old / "van.case.yaml").write_text(case_text(CLOSED), encoding="utf-8")
    own(folder).unlink()
    done = run("diagnose", "car.yaml", "--evidence", "found.yaml", "--json", folder=folder)
    assert "cases imported into the store from the folder of the version before: 1" in done.stderr
    assert json.loads(done.stdout)["causes"]
    again = run("cases", "--json", folder=folder)
    assert (json.loads(again.stdout)["closed"], again.stderr) == (1, "")
    assert [file.name for file in old.iterdir()] == ["van.case.yaml"]


def test_cases_are_exported_and_imported_into_another_store(folder: Path) -> None:
    """A file with a different case isn't overwritten, and a case that differs isn't continued."""
    assert len(told(folder, "store", "export-cases", "out", "--words", "closed")["added"]) == COUNTED
    done = run("store", "export-cases", "out", folder=folder)
    assert (done.returncode, done.stdout) == (0, f"cases exported: 1; unchanged: {COUNTED}\n")
    there = told(folder, "cases", "--cases", "out", "--store", "other.sqlite")
    assert (there["cases"], there["closed"]) == (COUNTED + 1, COUNTED)
    assert told(folder, "cases", "--store", "other.sqlite")["cases"] == COUNTED + 1
    (folder / "out" / "red.case.yaml").write_text(case_text(CLOSED), encoding="utf-8")
    done = run("diagnose", "--case", "red", "--cases", "out", "--json", folder=folder)
    assert (done.returncode, "differs" in done.stderr) == (2, True)
    done = run("store", "export-cases", "out", folder=folder)
    assert (done.returncode, "red: a different file of this name exists" in done.stdout) == (1, True)
