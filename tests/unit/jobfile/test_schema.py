"""The shipped JSON Schema: up to date, valid, and in agreement with the reader."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from ruamel.yaml import YAML

from gainwright.jobfile import example_text, examples, job_schema, schema_text, shipped_schema


def test_the_shipped_schema_is_the_models() -> None:
    """Made by `python -c "from gainwright.jobfile import schema_text; print(schema_text(), end='')"`."""
    assert shipped_schema() == schema_text()


def test_it_is_a_valid_schema() -> None:
    """By the meta-schema of draft 2020-12."""
    jsonschema.Draft202012Validator.check_schema(job_schema())


@pytest.mark.parametrize("name", list(examples()))
def test_it_accepts_every_example(name: str) -> None:
    """A general-purpose validator finds no errors."""
    document = json.loads(json.dumps(YAML(typ="safe", pure=True).load(example_text(name))))
    assert list(jsonschema.Draft202012Validator(job_schema()).iter_errors(document)) == []


@pytest.mark.parametrize(
    "change", [{"formt": 1}, {"format": 2}, {"stages": {}}, {"stages": {"a": {"kind": "amp"}}}, {"title": 5}]
)
def test_it_refuses_what_the_reader_refuses(change: dict[str, Any]) -> None:
    """Unknown keys, wrong format, no stages, unknown kinds."""
    document = json.loads(json.dumps(YAML(typ="safe", pure=True).load(example_text("one_amplifier")))) | change
    assert list(jsonschema.Draft202012Validator(job_schema()).iter_errors(document))


def test_every_key_of_the_schema_is_documented(tree: Path) -> None:
    """docs/job-file.md names each key that a job file may have."""
    told = (tree / "docs" / "job-file.md").read_text(encoding="utf-8")
    schema = job_schema()
    keys = set(schema["properties"])
    for definition in schema["$defs"].values():
        keys |= set(definition.get("properties", {}))
    missing = sorted(key for key in keys if f"`{key}`" not in told)
    assert missing == []
