"""Forms of a job: every key of the schema is on one, shows what is assumed and why, and can be set."""

from __future__ import annotations

import functools
import json
from typing import TYPE_CHECKING, Annotated, Any

import pytest
from pydantic import BaseModel, Field

from gainwright.app.jobs.chain_edits import fill_in_fields
from gainwright.errors import JobError
from gainwright.jobfile import (
    editing,
    example_text,
    examples,
    facts,
    forms,
    instrument_assumptions,
    read_job_text,
    shipped_schema,
)
from gainwright.model import INSTRUMENTS, STAGES, FieldType
from gainwright.model.fields import Voltage

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.jobfile.forms import Field as FormField

EVERY_KIND = """\
format: 1   # every kind once
stages:
  head: {kind: head_unit, rated_output: 6 V, outputs: {out: {sides: [mono]}}}
  converter: {kind: converter, from: head}
  driver: {kind: line_driver, from: converter, gain: 3 dB}
  knob: {kind: level_control, from: driver}
  desk: {kind: processor, inputs: {in: knob}, outputs: {sub: {}}}
  amp: {kind: amplifier, from: desk, power: 100 W @ 4 ohm}
  speaker: {kind: speaker, from: amp}
supply:
  main: {feeds: [amp], wire: 4 AWG}
instruments:
  meter: {kind: multimeter}
  card: {kind: recorder, full_scale: 2 V}
  lamp: {kind: indicator, marks: {clip: thd over 3 %}}
"""
DIGITAL_READY = """\
format: 1   # every kind once
stages:
  head: {kind: head_unit, rated_output: 6 V, outputs: {out: {sides: [mono]}}}
  desk: {kind: processor, inputs: {in: head}, outputs: {sub: {}}}
  amp: {kind: amplifier, from: desk, power: 100 W @ 4 ohm}
  speaker: {kind: speaker, from: amp}
"""
"""A digital output can only feed a processor."""
TWO_AMPLIFIERS_READY = """\
format: 1   # every kind once
stages:
  head: {kind: head_unit, rated_output: 6 V, outputs: {out: {sides: [mono]}}}
  other: {kind: amplifier, from: head, power: 100 W @ 4 ohm}
  amp: {kind: amplifier, from: head, power: 100 W @ 4 ohm}
  speaker: {kind: speaker, from: [other, amp]}
"""
"""Two amplifiers can only be strapped if they feed one speaker."""
READY = {"stages.head.outputs.out.digital": DIGITAL_READY, "stages.amp.strapped_to": TWO_AMPLIFIERS_READY}
DEFINITIONS = json.loads(shipped_schema())["$defs"]


@functools.cache
def _forms_of(text: str) -> tuple[forms.Form, ...]:
    return forms.forms(read_job_text(text))


def _every_form() -> tuple[forms.Form, ...]:
    return _forms_of(EVERY_KIND)


def _keys_of(name: str, path: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """Walk a definition of the schema on its own way, apart from the code under test."""
    for key, says in DEFINITIONS[name]["properties"].items():
        text = json.dumps(says)
        inner = [
            d for d in ("Volume", "Gain", "Lead", "Supply", "RemoteLevel", "Factory", "Box") if f"#/$defs/{d}" in text
        ]
        outputs = [d for d in ("SourceOutput", "ProcessorOutput") if f"#/$defs/{d}" in text]
        if inner:
            yield from _keys_of(inner[0], (*path, key))
        elif outputs:
            yield from _keys_of(outputs[0], (*path, key, "*"))
        elif key == "inputs":
            yield (*path, key, "*")
        else:
            yield (*path, key)


def test_every_key_of_the_schema_is_on_a_form() -> None:
    """Section by section and kind by kind, nothing of the schema is missing, and nothing else is there."""
    for kind, model in (STAGES | INSTRUMENTS).items():
        name = model.__name__
        stage = next(form for form in _every_form() if form.kind == kind)
        root = stage.path
        wanted = {tuple(part) for part in _keys_of(name, root)}
        have = {f.path for form in _every_form() for f in form.fields if f.path[: len(root)] == root}
        starred = {(*p[:3], "*", *p[4:]) if len(p) > 3 and p[2] in ("outputs", "inputs") else p for p in have}
        assert starred == wanted, kind
    own = set(json.loads(shipped_schema())["properties"])
    assert {f.path[0] for form in _every_form() for f in form.fields} == own
    cable = {f.path[2] for form in _every_form() if form.kind == "cable" for f in form.fields}
    assert cable == set(DEFINITIONS["SupplyCable"]["properties"])
    vehicle = {f.path[1] for form in _every_form() if form.kind == "vehicle" for f in form.fields}
    assert vehicle == set(DEFINITIONS["Vehicle"]["properties"])


def test_kind_of_a_field_is_the_models_own_metadata() -> None:
    """It doesn't depend on the description; a type without metadata is refused."""

    class Plain(BaseModel):
        limit: Voltage | None = Field(default=None, description="flat, or a list of bands")
        source: Annotated[str, FieldType("source")] = Field(alias="from")

    class Unmarked(Plain):
        lines: tuple[int, ...] = ()

    with pytest.raises(TypeError, match=r"Unmarked\.lines"):
        forms.shape(Unmarked)
    types = {key.path[0]: key.type for key in forms.shape(Plain).keys}
    assert types["limit"] == FieldType("quantity", "voltage", "4 V")
    assert types["from"] == FieldType("source")


def _example(f: FormField) -> str:
    """A valid text for a field, other than its present one."""
    kind = f.type
    special = {
        "supply.main.from": "battery",
        "supply.main.feeds": "desk",
        "chassis": "box",
        "strapped_to": "other",
        "input_range": "low",
        "input_ranges": "low: 0.2 .. 2 V\nhigh: 2 .. 12 V",
        "volume.at": "12",
        "volume.steps": "33",
        "counts": "2000",
        "count": "2",
        "stages.knob.at": "-3 dB",
        "stages.driver.range": "0 .. 12 dB",
        ".range": "-30 .. 0 dB",
        "title": "2024: a # strange title",
        "fraction": "2 %",
    }
    for ending, text in special.items():
        if f.name.endswith(ending):
            return text
    return {
        "text": "some words, with: marks # and 'quotes'",
        "long_text": "two\nlines",
        "choice": kind.choices[-1] if kind.choices else "",
        "yes_no": "yes",
        "sides": "mono",
        "fixed": f.present,
        "source": f.present or "in",
        "whole": "7",
        "number": "7.5",
        "marks": "signal: level over 0.4 V\ntone: fundamental over 1 V at 315 Hz",
    }.get(kind.name, kind.example)


@pytest.mark.parametrize("name", [f.name for form in _every_form() for f in form.fields])
def test_every_key_can_be_set_and_removed_again(name: str) -> None:
    """Typed into its field it is in the file and on the form; emptied it is gone; the comment stays."""
    before = READY.get(name, EVERY_KIND)
    f = next(f for form in _forms_of(before) for f in form.fields if f.name == name)
    text = _example(f)
    assert text
    changed = fill_in_fields(before, {f.name: text})
    then = forms.forms(read_job_text(changed))
    now = next(x for y in then for x in y.fields if x.name == name)
    assert now.present == (text if f.type.name == "marks" else forms.form.as_typed(forms.parse_field(f, text)))
    assert "# every kind once" in changed
    if f.required or f.type.name in ("fixed", "source"):
        return
    back = fill_in_fields(changed, {f.name: ""})
    again = next((x for y in forms.forms(read_job_text(back)) for x in y.fields if x.name == name), None)
    assert again is None or not again.present


@pytest.mark.parametrize("example", [*examples(), "every kind"])
def test_every_assumption_is_shown_with_its_reason(example: str) -> None:
    """Every value assumed by the catalogue and the instruments is shown at its empty field, with spread and reason."""
    read = read_job_text(EVERY_KIND if example == "every kind" else example_text(example))
    silent = [f for form in forms.forms(read) for f in form.fields if not f.present and f.assumed]
    reasons = {f.assumed.reason for f in silent if f.assumed}
    told = {fact.reason for fact in facts(read.job).values() if not fact.given and not fact.path.endswith("gain.bend")}
    told |= {row.reason for row in instrument_assumptions(read.job) if read.job.instruments}
    assert told <= reasons
    assert all(f.assumed and f.assumed.value for f in silent)
    values = {f.name: f.assumed.value for f in silent if f.assumed}
    if example == "every kind":
        assert values["stages.head.output_impedance"] == "50 .. 400 ohm"
        assert values["stages.amp.sensitivity"] == "0.2 V ± 10 % .. 5 V ± 10 %"
        assert values["stages.speaker.count"] == "1"
        assert values["instruments.meter.counts"] == "4000"


def test_every_field_has_a_label_and_help() -> None:
    """Or says what leaving it out means."""
    for form in _every_form():
        assert form.title
        for f in form.fields:
            assert f.label
            assert f.help or f.if_empty, f.name
            assert f.assumed or f.if_empty or f.required, f.name


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [
        ("stages.head.rated_output", "4,5 V", "4.5 V"),
        ("stages.head.volume.at", "12", 12),
        ("stages.speaker.qts", "0,7", 0.7),
        ("stages.amp.power", "100 W @ 4 ohm\r\n150 W @ 2 ohm\r\n", ["100 W @ 4 ohm", "150 W @ 2 ohm"]),
        ("stages.amp.from", "a, b.c", ["a", "b.c"]),
        ("stages.amp.from", "left: a, right: b", {"left": "a", "right": "b"}),
        ("stages.head.outputs.out.sides", "left, right", ["left", "right"]),
        ("stages.head.note", "  ", None),
        (
            "instruments.lamp.marks",
            "red: level over 0,4 V\r\nclip: thd over 2 %",
            {"red": "level over 0.4 V", "clip": "thd over 2 %"},
        ),
    ],
)
def test_typed_text_is_read_as_meant(name: str, text: str, value: Any) -> None:
    """Commas in figures, lists by lines, mixed sources, sides."""
    f = next(f for form in _every_form() for f in form.fields if f.name == name)
    assert forms.parse_field(f, text) == value


def test_invalid_value_is_reported_with_its_location_and_nothing_changes() -> None:
    """The error of a form is that of the file: line, column, key, what would be valid."""
    with pytest.raises(JobError, match=r"^job:3:\d+: stages.head.rated_output: ohm is a unit of resistance"):
        fill_in_fields(EVERY_KIND, {"stages.head.rated_output": "4 ohm"})


def test_every_table_by_kind_of_stage_has_every_kind() -> None:
    """Access times, what can be added on a page, required keys: no kind is missing, none is invented."""
    from gainwright.diagnose.access import ACCESS_MINUTES
    from gainwright.web.jobs import chain_edit_pages as chain_edits

    assert set(ACCESS_MINUTES) == set(chain_edits.KINDS) == set(STAGES)
    assert set(chain_edits.INSTRUMENTS) == set(INSTRUMENTS)
    assert {kind: keys for kind, keys in editing.REQUIRED.items() if keys} == {
        "head_unit": ("rated_output",),
        "line_driver": ("gain",),
        "amplifier": ("power",),
        "recorder": ("full_scale",),
        "indicator": ("marks",),
    }
