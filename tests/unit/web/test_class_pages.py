"""Pages of class exercises: the file is written, worked through and handed in, and the results become a table."""

from __future__ import annotations

import csv
import io
import json
import re
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from gainwright.adapters.store import open_store
from gainwright.app.practice.practice import practise, with_gains_set
from gainwright.composition import compose
from gainwright.jobfile import example_text, read_job_text
from gainwright.jobfile.class_files import fingerprint, read_exercise, read_result
from gainwright.simulated import SimulatedHiddenRigs
from gainwright.web.server import create_app
from gainwright.web.site import Site

JOB = with_gains_set(read_job_text(example_text("one_amplifier")).job)


@pytest.fixture
def pages(tmp_path: Path) -> Iterator[TestClient]:
    """Return a client of an empty store."""
    with (
        closing(open_store(tmp_path / "s.sqlite")) as store,
        TestClient(create_app(Site(compose(), store)), base_url="http://127.0.0.1") as client,
    ):
        yield client


def test_a_class_on_the_pages(pages: TestClient) -> None:
    """From the teacher's form to the table as page and CSV; limits hold; the page of a task leads back to the others."""
    assert "Write an exercise" in pages.get("/practise/class").text
    form = {"title": "Week 1", "like": "one_amplifier", "each": "1", "tests": "2", "guesses": "1"}
    written = pages.post("/practise/class/write", data=form)
    assert written.headers["content-disposition"] == 'attachment; filename="Week-1.exercise.yaml"'
    exercise = read_exercise(written.content)
    assert (len(exercise.tasks), exercise.limits.tests, exercise.limits.minutes) == (1, 2, None)

    sent = {"file": ("week.yaml", written.content)}
    run = pages.post("/practise/class", files=sent, data={"learner": "Ada"})
    address = run.url.path
    assert re.fullmatch("/practise/class/[^/]+", address)
    assert "not begun" in run.text
    practice = pages.post(f"{address}/tasks/0")
    task = practice.url.path
    assert "at most:" in practice.text
    assert pages.post(f"{address}/tasks/0").url.path == task, "a task is begun once"
    for test in ("look amp.power_lamp", "look amp.gain"):
        assert pages.post(f"{task}/ask", data={"test": test}).status_code == 200
    late = pages.post(f"{task}/ask", data={"test": "look head.mute"})
    assert (late.status_code, "2 tests were made, which is the limit" in late.text) == (422, True)
    hidden = practise(JOB, rigs=SimulatedHiddenRigs(), seed=exercise.tasks[0].seed)
    ended = pages.post(f"{task}/guess", data={"was": f"{hidden.cause}|{hidden.where}"})
    assert "To the other tasks" in ended.text
    assert "solved" in pages.get(address).text
    result = pages.get(f"{address}/result.json")
    assert read_result(result.content).tasks[0].did == (
        "look amp.power_lamp",
        "look amp.gain",
        f"it is {hidden.cause} {hidden.where}".strip(),
    )

    files = [("file", ("week.yaml", written.content)), ("results", ("ada.json", result.content))]
    table = pages.post("/practise/class/table", files=files)
    for _ in range(300):
        if "By learner" in table.text or 'role="alert"' in table.text:
            break
        time.sleep(0.1)
        table = pages.get(table.url.path)
    assert "1 / 1" in table.text
    number = table.url.path.rpartition("/")[2]
    assert f'href="/api/classes/tables/{number}/table.csv"' in table.text
    row = next(csv.DictReader(io.StringIO(pages.get(f"/api/classes/tables/{number}/table.csv").text)))
    assert (row["learner"], row["cause"], row["solved"], row["tests"]) == ("Ada", hidden.cause, "yes", "2")

    kept = pages.get(f"/api/classes/tables/{number}").json()
    assert kept["ready"]
    assert (kept["rows"][0]["learner"], kept["rows"][0]["cause"], kept["rows"][0]["tests"]) == ("Ada", hidden.cause, 2)
    assert kept["totals"][0]["solved"] == 1


def test_files_that_cannot_be_used_get_one_sentence(pages: TestClient) -> None:
    """A wrong number, no chain, no exercise, no name, no result: said on the page, with what was typed."""
    wrong = pages.post("/practise/class/write", data={"like": "one_amplifier", "tests": "many", "title": "Kept"})
    assert (wrong.status_code, "&#39;many&#39; can&#39;t be a limit" in wrong.text, "Kept" in wrong.text) == (
        422,
        True,
        True,
    )
    assert pages.post("/practise/class/write", data={"title": "x"}).status_code == 422
    good = pages.post("/practise/class/write", data={"like": "one_amplifier"}).content
    for content, learner, said in [
        (b"stages: {}", "Ada", "the key &#39;kind&#39; is missing"),
        (b"%PDF-1.7", "Ada", "PDF"),
        (good, " ", "the name of the learner is missing"),
        (good.replace(b"seed:", b"cause: lead_open\n  seed:"), "Ada", "is unknown"),
    ]:
        refused = pages.post("/practise/class", files={"file": ("x.yaml", content)}, data={"learner": learner})
        assert (refused.status_code, said in refused.text) == (422, True), refused.text
    files = [("file", ("week.yaml", good)), ("results", ("ada.json", b"{}"))]
    assert pages.post("/practise/class/table", files=files).status_code == 422
    assert pages.get("/practise/class/nowhere").status_code == 404
    assert pages.get("/practise/class/table/nowhere").status_code == 404


def test_a_class_over_http(pages: TestClient) -> None:
    """What is written is the file; a learner's run, its tasks and its result are those of the pages, and the result is handed in."""
    job = pages.post("/api/jobs", json={"like": "one_amplifier"}).json()["id"]
    asked = {"title": "Week 2", "like": ["one_amplifier"], "jobs": [job], "seeds": [4], "limits": {"tests": 5}}
    exercise = pages.post("/api/classes/exercises", json=asked).json()
    read = read_exercise(json.dumps(exercise).encode())
    assert [(task.seed, read.limits.tests) for task in read.tasks] == [(4, 5), (4, 5)]
    checked = pages.post("/api/classes/exercises/check", json={"exercise": exercise}).json()
    assert (checked["title"], len(checked["tasks"]), checked["fingerprint"]) == ("Week 2", 2, fingerprint(read))

    run = pages.post("/api/classes/runs", json={"learner": " Bob ", "exercise": exercise}).json()
    address = f"/api/classes/runs/{run['id']}"
    assert (run["learner"], [task["practice"] for task in run["tasks"]]) == ("Bob", ["", ""])
    task = pages.post(f"{address}/tasks/1").json()
    assert (task["cause"], task["limits"]["tests"]) == (None, 5)
    assert pages.post(f"{address}/tasks/1").json()["id"] == task["id"], "a task is begun once"
    assert pages.post(f"{address}/tasks/3").status_code == 404
    assert pages.post(f"/api/practices/{task['id']}/ask", json={"test": "look amp.power_lamp"}).status_code == 200
    assert [task["tests"] for task in pages.get(address).json()["tasks"]] == [1, 0]
    assert pages.get("/api/classes/runs").json() == [pages.get(address).json()]
    result = pages.get(f"{address}/result").json()
    assert read_result(json.dumps(result).encode()) == read_result(
        pages.get(f"/practise/class/{run['id']}/result.json").content
    )

    begun = pages.post("/api/classes/tables", json={"exercise": exercise, "results": [result]})
    assert begun.status_code == 202
    shown = begun.json()
    assert (shown["title"], shown["ready"], shown["rows"]) == ("Week 2", False, [])
    assert pages.post(f"/api/work/{shown['work']['id']}/stop").status_code == 204
    assert pages.get(f"/api/classes/tables/{shown['id']}/table.csv").status_code == 404


def test_what_cannot_be_used_over_http_is_refused(pages: TestClient) -> None:
    """No chain, an example that there isn't, no learner, another exercise's result, an unknown table or run."""
    exercise = pages.post("/api/classes/exercises", json={"like": ["one_amplifier"], "seeds": [4]}).json()
    other = exercise | {"tasks": [{"chain": "one_amplifier", "seed": 5}]}
    foreign = {"kind": "class result", "learner": "Eve", "exercise": "0" * 16, "tasks": [{"did": []}]}
    unknown = exercise | {"chains": {"one_amplifier": {"like": "nothing"}}}
    for path, sent in [
        ("exercises", {}),
        ("exercises/check", {"exercise": exercise | {"tasks": []}}),
        ("runs", {"learner": " ", "exercise": exercise}),
        ("tables", {"exercise": other, "results": [foreign]}),
        ("tables", {"exercise": exercise, "results": []}),
    ]:
        assert pages.post(f"/api/classes/{path}", json=sent).status_code == 422, (path, sent)
    assert pages.post("/api/classes/exercises", json={"like": ["nothing"]}).status_code == 404
    assert pages.post("/api/classes/exercises/check", json={"exercise": unknown}).status_code == 404
    for path in ("runs/nowhere", "runs/nowhere/result", "tables/nowhere", "tables/nowhere/table.csv"):
        assert pages.get(f"/api/classes/{path}").status_code == 404
