"""Requests made by schemathesis from the OpenAPI document, some about what a server holds; each answer checked against the document."""

from __future__ import annotations

import functools
import io
import itertools
from typing import TYPE_CHECKING, Any

import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from PIL import Image
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from gainwright.app.tones import tone_wav
from gainwright.web import create_app

if TYPE_CHECKING:
    from web_server import WebServer

CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
ENTRY = {"heard": "front", "side": "left", "tone": "1 kHz", "is": "silent"}


@functools.cache
def document() -> Any:
    """Return the document of the whole API; no route is asked for it."""
    site: Any = None
    return schemathesis.openapi.from_dict(create_app(site).openapi())


def fill(server: WebServer) -> dict[str, str]:
    """Give a server something to hold; return the names of what it holds, by the parameter of a path."""
    with server.client() as client:
        job = client.post("/api/jobs", json={"like": "full_range"}).raise_for_status().json()["id"]
        work = client.post(f"/api/jobs/{job}/papers", json={"form": "csv"}).raise_for_status().json()["id"]
        name = client.post("/api/cases", json={"job": job, "evidence": [ENTRY]}).raise_for_status().json()["name"]
        practice = client.post("/api/practices", json={"like": "full_range"}).raise_for_status().json()["id"]
        sent = {"file": ("tone.wav", tone_wav(tone_hz=1000, level_dbfs=-6, seconds=1, sides="both"))}
        answer = client.post(f"/api/jobs/{job}/recordings", files=sent).raise_for_status()
        picture = io.BytesIO()
        Image.new("RGB", (4, 3)).save(picture, "PNG")
        photo = {"data": {"step": "prepare.supply"}, "files": {"photo": ("a.png", picture.getvalue())}}
        note = client.post(f"/api/jobs/{job}/notes", **photo).raise_for_status().json()["id"]  # type: ignore[arg-type]
        exercise = client.post("/api/classes/exercises", json={"like": ["full_range"], "seeds": [4]}).json()
        run = client.post("/api/classes/runs", json={"learner": "Ada", "exercise": exercise}).raise_for_status()
    there = {"job": job, "work": work, "name": name, "practice": practice, "note": note}
    return there | {"recording": answer.json()["id"], "run": run.json()["id"]}


def ask(operation: Any, server: WebServer, there: dict[str, str], *, many: int, chosen: int | None = None) -> None:
    """Call an operation in many ways, every second time with existing names, and check each answer.

    Parameters
    ----------
    chosen : the seed of the ways; without it they are always the same.
    """
    about_what_is_there = itertools.cycle([True, False])

    def asked(case: Any) -> None:
        if case.path_parameters and next(about_what_is_there):
            case.path_parameters |= {name: value for name, value in there.items() if name in case.path_parameters}
        case.call_and_validate(base_url=server.address, headers=server.headers, checks=CHECKS, timeout=30)

    run: Any = settings(
        max_examples=many,
        deadline=None,
        derandomize=chosen is None,
        database=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )(given(case=operation.as_strategy())(asked))
    (run if chosen is None else seed(chosen)(run))()
