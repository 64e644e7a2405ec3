"""The JSON Schema of a job file, generated from the model, for editors; and the keys that are valid at each place."""

from __future__ import annotations

import functools
import importlib.resources
import json
from typing import TYPE_CHECKING, Any

from gainwright.model import Job

if TYPE_CHECKING:
    from collections.abc import Sequence

SHIPPED = "job.schema.json"


def job_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a job file."""
    schema = Job.model_json_schema(by_alias=True)
    schema = _untitled(schema)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Gainwright job, format 1",
        **schema,
    }


def schema_text() -> str:
    """Return the generated schema as text, for shipping."""
    return json.dumps(job_schema(), indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def shipped_schema() -> str:
    """Return the text of the schema file in the package."""
    return (importlib.resources.files("gainwright.jobfile") / SHIPPED).read_text(encoding="utf-8")


def _untitled(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _untitled(v) for k, v in value.items() if not (k == "title" and isinstance(v, str))}
    if isinstance(value, list):
        return [_untitled(item) for item in value]
    return value


@functools.cache
def _schema() -> dict[str, Any]:
    """Return the shipped schema: reading it takes a tenth of the time of generating it, and errors should be fast."""
    return dict(json.loads(shipped_schema()))


def keys_at(path: Sequence[str], document: Any) -> list[str]:
    """Return the keys that the schema allows in the mapping at a path of a document."""
    node: dict[str, Any] = _schema()
    here = document
    for part in ["", *path]:
        if part:
            node = _child(node, part)
            here = here.get(part) if isinstance(here, dict) else None
        node = _resolved(node, here)
    return list(node.get("properties", {}))


def _child(node: dict[str, Any], part: str) -> dict[str, Any]:
    if part in node.get("properties", {}):
        return dict(node["properties"][part])
    for other in (*node.get("patternProperties", {}).values(), node.get("additionalProperties")):
        if isinstance(other, dict):
            return dict(other)
    return {}


def _resolved(node: dict[str, Any], here: Any) -> dict[str, Any]:
    """Follow references and unions to the mapping that fits the document."""
    definitions = _schema().get("$defs", {})
    for _ in range(10):
        if "$ref" in node:
            node = definitions[node["$ref"].rsplit("/", 1)[1]]
        elif "discriminator" in node:
            kind = here.get("kind") if isinstance(here, dict) else None
            target = node["discriminator"]["mapping"].get(str(kind))
            node = {"$ref": target} if target else {}
        elif "anyOf" in node or "allOf" in node:
            options = [o for o in node.get("anyOf", node.get("allOf", [])) if o.get("type") != "null"]
            node = next(
                (o for o in options if {"$ref", "properties", "additionalProperties", "patternProperties"} & set(o)), {}
            )
        else:
            break
    return node
