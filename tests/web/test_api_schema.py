"""The API conforms to its OpenAPI document: schemathesis calls every operation, and no answer violates the document."""

from __future__ import annotations

import copy
from typing import TYPE_CHECKING, Any

import pytest
import schemathesis
from typed_requests import ask, document, fill

if TYPE_CHECKING:
    from collections.abc import Iterator

    from web_server import WebServer

EXAMPLES = 6


def operations() -> Iterator[Any]:
    """Yield every operation with its name."""
    for found in document().get_all_operations():
        operation = found.ok()
        yield pytest.param(operation, id=f"{operation.method.upper()} {operation.path}")


@pytest.fixture(scope="module")
def filled(server: WebServer) -> tuple[WebServer, dict[str, str]]:
    """A server that holds something, and names of what it holds, by the parameter of a path."""
    return server, fill(server)


@pytest.mark.parametrize("operation", list(operations()))
def test_operation_answers_as_documented(filled: tuple[WebServer, dict[str, str]], operation: Any) -> None:
    """Never a 5xx; status, type and schema of each answer are in the document."""
    ask(operation, *filled, many=EXAMPLES)


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
        ask(operation, *filled, many=EXAMPLES)
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
