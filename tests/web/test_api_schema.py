"""The API conforms to its OpenAPI document: schemathesis calls every operation, and no answer violates the document."""

from __future__ import annotations

import copy
import functools
import io
import itertools
from typing import TYPE_CHECKING, Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
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
    from collections.abc import Iterator

    from web_server import WebServer

CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
EXAMPLES = 6
ENTRY = {"heard": "front", "side": "left", "tone": "1 kHz", "is": "silent"}


@functools.cache
def document() -> Any:
    """Return the document of the whole API; no route is asked for it."""
    site: Any = None
    return schemathesis.openapi.from_dict(create_app(site).openapi())


def operations() -> Iterator[Any]:
    """Yield every operation with its name."""
    for found in document().get_all_operations():
        operation = found.ok()
        yield pytest.param(operation, id=f"{operation.method.upper()} {operation.path}")


@pytest.fixture(scope="module")
def filled(server: WebServer) -> tuple[WebServer, dict[str, str]]:
    """A server that holds something, and names of what it holds, by the parameter of a path."""
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
    there = {
        "job": job,
        "run": run.json()["id"],
        "work": work,
        "name": name,
        "practice": practice,
        "recording": answer.json()["id"],
        "note": note,
    }
    return server, there


def ask(operation: Any, server: WebServer, there: dict[str, str]) -> None:
    """Call an operation in many ways, every second time with existing names, and check each answer."""
    about_what_is_there = itertools.cycle([True, False])

    @given(case=operation.as_strategy())
    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize=True,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    def asked(case: Any) -> None:
        if case.path_parameters and next(about_what_is_there):
            case.path_parameters |= {name: value for name, value in there.items() if name in case.path_parameters}
        case.call_and_validate(base_url=server.address, headers=server.headers, checks=CHECKS, timeout=30)

    asked()


@pytest.mark.parametrize("operation", list(operations()))
def test_operation_answers_as_documented(filled: tuple[WebServer, dict[str, str]], operation: Any) -> None:
    """Never a 5xx; status, type and schema of each answer are in the document."""
    ask(operation, *filled)


@pytest.mark.parametrize("spoiled", ["shape", "status"])
def test_answer_that_breaks_the_document_is_noticed(filled: tuple[WebServer, dict[str, str]], spoiled: str) -> None:
    """A document with another schema, or without a status, fails the same check."""
    raw = copy.deepcopy(document().raw_schema)
    answers = raw["paths"]["/api/jobs"]["get"]["responses"]
    if spoiled == "shape":
        answers["200"]["content"]["application/json"]["schema"] = {"type": "integer"}
    else:
        del answers["200"]
    operation = schemathesis.openapi.from_dict(raw)["/api/jobs"]["GET"]
    with pytest.raises(BaseExceptionGroup) as noticed:
        ask(operation, *filled)
    told = " ".join(str(breach).lower() for breach in noticed.value.exceptions)
    assert {"shape": "violates schema", "status": "undocumented"}[spoiled] in told


def test_every_operation_is_checked_and_documents_its_errors() -> None:
    """The document has every operation of the API, and each lists its errors."""
    told = document().raw_schema["paths"]
    assert len(told) > 20
    for path, ways in told.items():
        assert path.startswith("/api/")
        for way in ways.values():
            assert {"401", "404", "421", "422"} <= set(way["responses"]), path


def shapeless(schema: Any, at: str = "") -> Iterator[str]:
    """Yield the places of a schema that allow anything: no type at all, or an object without any named key."""
    definitions = document().raw_schema["components"]["schemas"]
    if "$ref" in schema:
        at = schema["$ref"].rsplit("/", 1)[-1]
        if at not in _seen:
            _seen.add(at)
            yield from shapeless(definitions[at], at)
    elif "anyOf" in schema:
        for one in schema["anyOf"]:
            yield from shapeless(one, at)
    elif schema.get("type") == "array":
        for one in (*schema.get("prefixItems", ()), *([schema["items"]] if "items" in schema else [])):
            yield from shapeless(one, at)
    elif schema.get("type") == "object":
        for name, one in schema.get("properties", {}).items():
            yield from shapeless(one, f"{at}.{name}")
        values = schema.get("additionalProperties", "properties" not in schema)
        if values is True:
            yield at
        elif values:
            yield from shapeless(values, at)
    elif not schema.keys() & {"type", "enum", "const"}:
        yield at


_seen: set[str] = set()


def test_every_answer_has_a_schema() -> None:
    """No JSON of the API may be arbitrary: plan, corridor, diagnosis, music and everything else is described key by key."""
    _seen.clear()
    found = []
    for path, ways in document().raw_schema["paths"].items():
        for way, operation in ways.items():
            for status, answer in operation["responses"].items():
                schema = answer.get("content", {}).get("application/json", {}).get("schema")
                if schema is not None:
                    found += [f"{way} {path} {status}: {at}" for at in shapeless(schema, "answer")]
    assert found == []
    assert {"Plan", "Levels", "Diagnosis", "MusicResult", "StoredMeasurement", "StepValue", "CaseCounts"} <= _seen


def test_answer_without_a_schema_is_noticed() -> None:
    """The check can fail, at the expected place."""
    _seen.clear()
    loose = {"type": "object", "properties": {"a": {"type": "array", "items": {"type": "object"}}, "b": {}}}
    assert list(shapeless(loose, "x")) == ["x.a", "x.b"]
    assert list(shapeless({"type": "object", "additionalProperties": {"type": "number"}}, "x")) == []
