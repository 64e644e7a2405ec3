"""No error in the browser or the API names a folder of the machine or an option of a command."""

from __future__ import annotations

import json
import re
import shutil
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

from gainwright.adapters.store import SqlStore, database_errors, open_store
from gainwright.composition import compose
from gainwright.errors import CallError
from gainwright.harmless import reason_of, without_folders
from gainwright.jobfile import example_text
from gainwright.programme import Limits
from gainwright.programme.music_result import MusicResult, SkippedFile, TrackFigures
from gainwright.web import routers
from gainwright.web.music.scans import _named
from gainwright.web.server import create_app
from gainwright.web.site import Site

OPTION = re.compile(r"(?<![\w-])--[a-z]")
BAD = {"seen": -1, "number": 99, "text": "purple", "like": "nothing", "form": "doc", "kind": "poem", "on": "like:none"}
"""Values that few routes can take."""
NOT_ASKED = re.compile("/api/live|/certificate|stream|/events")
"""Answers that don't end, and files of a certificate."""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder that is the person's home, its name unlike any word of the program's."""
    home = tmp_path / "machine folder"
    home.mkdir()
    for name in ("HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(home))
    return home


@pytest.fixture
def store(folder: Path) -> SqlStore:
    """Return a store with a job and a case."""
    opened = open_store(folder / "store.sqlite")
    opened.jobs.add(title="car", text=example_text("one_amplifier"))
    return opened


@pytest.fixture
def web(store: SqlStore) -> Iterator[TestClient]:
    """Return the app, asked without a server."""
    app = create_app(Site(compose(), store))
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as client:
        yield client


def asked(web: TestClient, job: str) -> Iterator[tuple[str, int, str]]:
    """Request every route with missing names and with an existing job, with bad values; yield the request, status and answer."""
    for route in (route for router in (*routers.API, *routers.PAGES) for route in router.routes):
        if not isinstance(route, APIRoute) or NOT_ASKED.search(route.path):
            continue
        for known in ("none", job):
            path = route.path.replace("{job}", known)
            path = re.sub(r"\{\w+(:\w+)?\}", "none", path)
            for method in sorted(route.methods or ()):
                bodies = ({"json": BAD}, {"data": {k: str(v) for k, v in BAD.items()}}) if method != "GET" else ({},)
                for body in bodies:
                    done = web.request(
                        method, path, params={"path": "²", "case": "none"}, follow_redirects=False, **body
                    )
                    yield f"{method} {path}", done.status_code, done.text


def _error(text: str) -> str:
    """Return the error in an answer: elsewhere a page may say how the program is started."""
    said = re.findall(r'<div class="trouble".*?</div>', text, re.DOTALL)
    return "".join(said) if "<html" in text else text


def _around(text: str, folder: Path) -> str:
    """Return the part of an answer that reveals too much."""
    at = max(text.find(folder.name), text.find(str(folder.parent)))
    option = OPTION.search(_error(text))
    at = at if at >= 0 or option is None else option.start()
    return text[max(at - 150, 0) : at + 150]


def wrong(found: Iterator[tuple[str, int, str]], folder: Path) -> tuple[list[str], int]:
    """Return the errors that reveal too much, and the number of errors."""
    told, count = [], 0
    for what, status, text in found:
        count += status >= 400
        if status >= 400 and (folder.name in text or str(folder.parent) in text or OPTION.search(_error(text))):
            told.append(f"{what}: {_around(text, folder)}")
    return told, count


def test_no_route_reveals_a_folder_or_an_option(web: TestClient, store: SqlStore, folder: Path) -> None:
    """Every route, asked about missing things and with invalid values."""
    found, count = wrong(asked(web, store.jobs.list()[0].id), folder)
    assert found == []
    assert count > 150, "most of what is asked can't be done"


def test_no_route_reveals_the_folder_of_a_broken_store(web: TestClient, store: SqlStore, folder: Path) -> None:
    """The same when no table can be read: the store's own errors name its file, but no folder."""
    job = store.jobs.list()[0].id
    with store.database.write() as connection:
        for table in ("kept_case", "run_entry", "recording_content", "recording", "document", "job_version", "device"):
            connection.exec_driver_sql(f"DROP TABLE {table}")
    found, count = wrong(asked(web, job), folder)
    assert found == []
    assert count > 150


def measured(web: TestClient, *, rate_hz: int = 48_000, frames: int = 960) -> Iterator[dict[str, Any]]:
    """Send a tone to be calibrated to 1 V over the live measurement's WebSocket, as long as it is asked; yield its messages."""
    hello = {"rate_hz": rate_hz, "channels": 1, "device": "line", "gain": "", "processing": [], "job": "", "step": ""}
    with web.websocket_connect("ws://127.0.0.1/api/live") as line:
        line.send_text(json.dumps(hello))
        yield line.receive_json()
        line.send_text(json.dumps({"do": "calibrate", "text": "1 V"}))
        # a fast machine answers with several messages for each that is read here: what is waited for comes later
        for number in range(1500):
            wave = 0.5 * np.sin(2 * np.pi * 997 / rate_hz * np.arange(number * frames, (number + 1) * frames))
            line.send_bytes(struct.pack("<III", number, frames, 1) + wave.astype("<f4").tobytes())
            if number % 20 == 19:  # an update is due, and more than two seconds may not wait
                yield line.receive_json()


def test_live_measurement_reveals_no_folder(web: TestClient, folder: Path) -> None:
    """Neither where a calibration was stored, nor where one can't be."""
    kept = next(message for message in measured(web) if message.get("calibrate_v"))
    assert any(note.endswith("kept in calibrations.json") for note in kept["notes"])
    assert folder.name not in json.dumps(kept)

    shutil.rmtree(folder / "gainwright")
    (folder / "gainwright").write_text("a file where the folder of settings should be")
    trouble = next(message for message in measured(web) if message["kind"] == "trouble")
    assert trouble["code"] == "not_written"
    assert trouble["where"] == "gainwright"
    assert folder.name not in json.dumps(trouble)


@pytest.mark.parametrize(
    ("words", "left"),
    [
        ("/srv/An na/data/store.sqlite: it is damaged", "store.sqlite: it is damaged"),
        (r"C:\Users\Anna\store.sqlite: the disk is full", "store.sqlite: the disk is full"),
        ("can't be read: '/srv/x y/car.yaml'", "can't be read: 'car.yaml'"),
        ("postgresql+psycopg://10.0.0.7/workshop: it is away", "the store: it is away"),
        ("car.yaml:3:7: stages.desk: 24 dB/octave and 20/10/5", "car.yaml:3:7: stages.desk: 24 dB/octave and 20/10/5"),
        ("look at http://127.0.0.1:8000/jobs/7 again", "look at http://127.0.0.1:8000/jobs/7 again"),
        ("look at http://localhost/jobs/7 again", "look at http://localhost/jobs/7 again"),
        ("[Errno 2] No such file: '/srv/my, music: old/a b.m4a'", "[Errno 2] No such file: 'a b.m4a'"),
        ("can't import (/srv/anna/lib/soundfile.py)", "can't import (soundfile.py)"),
        ("where:/srv/anna/jobs/car.yaml", "where:car.yaml"),
        ("file:" + "///srv/anna/jobs/car.yaml", "car.yaml"),
        (r"in \\server\share\Anna\car.yaml", "in car.yaml"),
        ("sqlite:" + "////srv/anna/store.sqlite is away", "the store is away"),
        (
            'connection to server at "10.0.0.7", port 5432 failed: role "anna" may not use database "workshop"',
            "connection to server failed: role may not use database",
        ),
        ('connection to server on socket "/run/x/.s.PGSQL.5432" failed', "connection to server failed"),
        ("it isn't '0.35 V' / '350 mV', and 1/2 of 20/10/5", "it isn't '0.35 V' / '350 mV', and 1/2 of 20/10/5"),
    ],
)
def test_only_folders_are_removed(words: str, left: str) -> None:
    """A file name, a place in a job, a unit and an address of the app stay."""
    assert without_folders(words) == left


class _LibraryError(RuntimeError):
    """As that of libsndfile."""

    error_string = "Format not recognised."


@pytest.mark.parametrize(
    ("error", "reason"),
    [
        (FileNotFoundError(2, "No such file or directory", "/srv/music/a: b.m4a"), "No such file or directory"),
        (
            OSError(1094995529, "Invalid data found when processing input", "/srv/a.m4a"),
            "Invalid data found when processing input",
        ),
        (_LibraryError("Error opening '/srv/a: b.wav': Format not recognised."), "Format not recognised"),
        (ValueError("rate: 0 in '/srv/music/a.wav'"), "rate: 0 in 'a.wav'"),
        (ValueError(), "ValueError"),
    ],
)
def test_reason_is_given_in_place_of_the_path(error: Exception, reason: str) -> None:
    """Whole, whether it stands before the path or behind one with a colon in it."""
    assert reason_of(error) == reason


def test_result_of_a_scan_holds_no_path(web: TestClient, folder: Path) -> None:
    """Of a folder that is no longer among those that may be scanned, and of a file whose library names it in its reason."""
    tracks = (TrackFigures(str(folder / "gone" / "a.wav"), 1.0, 48_000, 1, None, None, None, {}, {}),)
    found = _named(
        web.app.state.site,  # type: ignore[attr-defined]
        MusicResult(
            "",
            tracks,
            {},
            {},
            {},
            {},
            Limits(),
            1.0,
            0,
            (SkippedFile(str(folder / "b.m4a"), f"bad: '{folder}/b.m4a'"),),
        ),
    )
    assert found.tracks[0].file == "a.wav"
    assert (found.skipped[0].file, found.skipped[0].why) == ("b.m4a", "bad: 'b.m4a'")


def test_a_store_that_cannot_be_used_answers_503(
    web: TestClient, store: SqlStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever the database says; a device that waits to send a reading then keeps it (only 4xx puts it aside)."""
    (job,) = store.jobs.list()
    step = web.get(f"/api/jobs/{job.id}/run").json()["next"]
    sent = {"step": step, "kind": "skipped", "text": "later", "seen": 0}
    said = {name: parts for name, parts in vars(database_errors).items() if name.isupper() and isinstance(parts, tuple)}
    assert len(said) > 10
    for name, (code, what, remedy) in said.items():
        error = CallError(what, code=code, where=str(store.database.file), remedy=remedy)

        def away(*_: Any, error: CallError = error, **__: Any) -> None:
            raise error

        for part, call in ((store.runs, "add"), (store.jobs, "get")):
            with monkeypatch.context() as patch:
                patch.setattr(part, call, away)
                answers = [web.post(f"/api/jobs/{job.id}/run", json=sent)]
                answers.append(web.post(f"/jobs/{job.id}/setup/{step}", data=sent, headers={"x-swap": "kept"}))
            wanted = 507 if code == "store_full" else 503
            assert [answer.status_code for answer in answers] == [wanted, wanted], (name, answers[0].text)
            assert answers[0].json()["code"] == code
    assert store.runs.entries(job.id) == []


def test_store_that_goes_away_in_the_middle_answers_503(
    web: TestClient, store: SqlStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At its first, second or third use by a request: nothing is taken for something that isn't there, and nothing for stored."""
    (job,) = store.jobs.list()
    uses, told = {"left": 0}, 0
    read, write = type(store.database).read, type(store.database).write

    def until_away(use: Any) -> Any:
        def used(database: Any) -> Any:
            uses["left"] -= 1
            if uses["left"] < 0:
                raise CallError("the database can't be reached", code="store_away", where=database.name)
            return use(database)

        return used

    monkeypatch.setattr(type(store.database), "read", until_away(read))
    monkeypatch.setattr(type(store.database), "write", until_away(write))
    sent = {"title": "x", "text": job.text, "seen": "1", "step": "leads", "chain": "full_range", "name": "c"}
    for method, path in (
        *(("GET", f"/jobs/{job.id}{part}") for part in ("", "/setup", "/live", "/papers", "/fault")),
        *(
            ("GET", path)
            for path in ("/", "/cases", "/music", "/practise", f"/api/jobs/{job.id}", "/api/cases", "/api/music")
        ),
        *(("POST", f"/jobs/{job.id}{part}") for part in ("/setup/leads/notes", "/fault", "/double", "/chain/text")),
        *(("POST", path) for path in ("/jobs/new", "/cases/new")),
    ):
        for before in range(3):
            uses["left"] = before
            body: dict[str, Any] = {} if method == "GET" else {"data": sent}
            done = web.request(method, path, follow_redirects=False, **body)
            assert done.status_code == 503 or uses["left"] >= 0, (method, path, before, done.status_code)
            if uses["left"] >= 0:
                break
            told += 1
    assert told > 30


def test_deleted_job_refuses_what_is_sent_to_it(web: TestClient, store: SqlStore) -> None:
    """A phone's queue shows the reason of a refused entry from the page's message: it names the job and what to do."""
    (job,) = store.jobs.list()
    step = web.get(f"/api/jobs/{job.id}/run").json()["next"]
    store.jobs.put(job.id, "deleted")
    sent = {"step": step, "kind": "skipped", "text": "later", "seen": 0}
    answer = web.post(f"/api/jobs/{job.id}/run", json=sent)
    assert (answer.status_code, answer.json()["code"]) == (409, "job_deleted")
    shown = web.post(f"/jobs/{job.id}/setup/{step}", data=sent, headers={"x-swap": "kept"})
    assert shown.status_code == 409
    (told,) = re.findall(r'id="trouble"[^>]*>\s*<p[^>]*>(.*?)</p>', shown.text, re.DOTALL)
    assert "the job car is deleted" in told
    assert "This job is deleted" in shown.text
    note = web.post(f"/jobs/{job.id}/setup/{step}/notes", data={"text": "loose"}, headers={"x-swap": "kept"})
    assert note.status_code == 409
    text = web.put(f"/api/jobs/{job.id}/text", json={"text": job.text, "seen": job.revision})
    assert text.status_code == 409
    assert (store.runs.entries(job.id), store.notes.of(job.id)) == ([], [])
    assert web.post(f"/jobs/{job.id}/put", data={"shelf": "kept"}, follow_redirects=False).status_code == 303
    assert web.post(f"/api/jobs/{job.id}/run", json=sent).status_code == 201
