"""Whatever a file contains, reading it gives a job or one clear error."""

from __future__ import annotations

import copy
import functools

from hypothesis import example, given, settings
from hypothesis import strategies as st
from search_length import up_to
from yaml_text import yaml_text

from gainwright.errors import JobError
from gainwright.jobfile import example_text, examples, read_job_text

TEXTS = [example_text(name) for name in examples()]


def read_or_refused(text: str) -> None:
    """Nothing but a job or a `JobError` of one sentence comes out."""
    try:
        read_job_text(text, "fuzzed.yaml")
    except JobError as error:
        assert str(error).startswith("fuzzed.yaml")
        assert error.code
        assert "Traceback" not in str(error)
        assert len(str(error)) < 4000


@given(text=st.text(max_size=200))
@example("a: &a [*a]")
@example("? {a: 1}\n: 2")
@example("%YAML 9.9\n---\nformat: 1")
@example("format: 1\nstages: {2024-01-01: {}}")
@example("<<: {format: 1}\nstages: {}")
@example("format: 1\nstages: {a: {kind: head_unit, outputs: {x: {sides: [left, left, left]}}}}")
def test_any_text(text: str) -> None:
    """Text of any kind."""
    read_or_refused(text)


@settings(max_examples=up_to(150))
@given(data=st.data())
def test_example_with_a_random_mistake(data: st.DataObject) -> None:
    """Real files with a piece removed, doubled, swapped or overwritten."""
    text = data.draw(st.sampled_from(TEXTS))
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, max(0, len(text) - 1)))
        length = data.draw(st.integers(0, 40))
        new = data.draw(
            st.one_of(
                st.just(""),
                st.text(max_size=8),
                st.sampled_from(
                    ["\n", "  ", ": ", "[", "}", "*x", "&x ", "- ", "|", "\t", "null", "1e999", "-5 V", "off"]
                ),
                st.just(text[start : start + length] * 2),
            )
        )
        text = text[:start] + new + text[start + length :]
    read_or_refused(text)


values = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=10), st.just("5 V")),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=6), inner, max_size=3)),
    max_leaves=6,
)


@functools.cache
def _paths() -> list[tuple[str, ...]]:
    found: list[tuple[str, ...]] = []

    def walk(value: object, path: tuple[str, ...]) -> None:
        found.append(path)
        if isinstance(value, dict):
            for key, item in value.items():
                walk(item, (*path, str(key)))

    walk(read_job_text(TEXTS[0]).document, ())
    return found[1:]


@settings(max_examples=up_to(150))
@given(data=st.data(), value=values)
def test_another_value_at_any_key(data: st.DataObject, value: object) -> None:
    """Any value in place of another."""
    document = copy.deepcopy(read_job_text(TEXTS[0]).document)
    path = data.draw(st.sampled_from(_paths()))
    here = document
    for key in path[:-1]:
        here = here[key]
    here[path[-1]] = value
    read_or_refused(yaml_text(document))
