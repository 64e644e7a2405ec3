"""Results are converted to JSON in one way, and conform to the schema made from the same types."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from dataclasses import dataclass
from typing import Literal

import jsonschema
import numpy as np
import pytest
from pydantic import TypeAdapter

from gainwright.diagnose import Diagnoser, Diagnosis, make_diagnosis
from gainwright.jobfile import example_text, examples, read_entry, read_job_text
from gainwright.metering import Measurement, Recording, find_onset, measure, measure_noise
from gainwright.metering.noise import NoiseChannel
from gainwright.metering.onset import Onset
from gainwright.plan import Plan, make_plan
from gainwright.results import Number, from_json, to_json
from gainwright.solve import Chain, Levels, levels
from gainwright.texts import say


@dataclass(frozen=True, slots=True)
class Inner:
    """Something inside."""

    gain_db: Number
    kind: Literal["a", "b"] = "a"


@dataclass(frozen=True, slots=True)
class Outer:
    """Something with something inside."""

    parts: tuple[Inner, ...]
    levels_db: dict[str, Number]
    why: str
    peak_dbfs: float | None = None

    @property
    def loudest_db(self) -> float:
        """No key of its JSON."""
        return max(part.gain_db for part in self.parts)


def conforms(result: object, kind: type) -> None:
    """Check the JSON of a result against the schema of its type, and that it has all keys of that schema."""
    found = to_json(result)
    json.dumps(found, allow_nan=False)
    jsonschema.validate(found, closed(TypeAdapter(kind).json_schema(mode="serialization")))


def closed(schema: dict[str, object]) -> dict[str, object]:
    """Return a schema that wants every property and allows no other."""
    for definition in [schema, *schema.get("$defs", {}).values()]:  # type: ignore[attr-defined]
        if "properties" in definition:
            definition |= {"required": list(definition["properties"]), "additionalProperties": False}
    return schema


def test_fields_are_the_keys_and_non_finite_numbers_are_null() -> None:
    """Order and names of the fields; numpy numbers and template strings become plain; properties are left out."""
    result = Outer((Inner(math.inf), Inner(np.float64(2.5), "b")), {"x": math.nan, "y": 1.0}, say("{a} of", a=3))
    assert json.dumps(to_json(result)) == (
        '{"parts": [{"gain_db": null, "kind": "a"}, {"gain_db": 2.5, "kind": "b"}],'
        ' "levels_db": {"x": null, "y": 1.0}, "why": "3 of", "peak_dbfs": null}'
    )
    conforms(result, Outer)


def test_written_result_reads_back_the_same() -> None:
    """Null becomes None, so that its JSON is the same again; an extra key is ignored, a missing one is named."""
    plain = to_json(Outer((Inner(math.inf), Inner(2.5, "b")), {"x": 1.0}, "why", -3.0))
    read = from_json(Outer, plain | {"since": "later"})
    assert read.parts[1] == Inner(2.5, "b")
    assert to_json(read) == plain
    with pytest.raises(ValueError, match="why"):
        from_json(Outer, {key: value for key, value in plain.items() if key != "why"})


def test_number_that_may_not_be_null_breaks_its_schema() -> None:
    """The check can fail: a plain float that isn't finite is null, too, and its schema doesn't allow that."""

    @dataclass(frozen=True, slots=True)
    class Careless:
        gain_db: float

    with pytest.raises(jsonschema.ValidationError, match="None is not of type 'number'"):
        conforms(Careless(math.inf), Careless)


@pytest.mark.parametrize("name", examples())
def test_plan_and_corridor_of_every_example_conform_to_their_schema(name: str) -> None:
    """A node without a ceiling has an infinite margin; an adjustment without a target has none."""
    job = read_job_text(example_text(name), name).job
    conforms(make_plan(job), Plan)
    conforms(levels(Chain(job), tone_hz=50, level_dbfs=0), Levels)


def test_diagnosis_conforms_to_its_schema() -> None:
    """With a cause that is certain, and its repair; `for` can't be a Python name, and is a key all the same."""
    job = read_job_text(example_text("two_way_and_sub")).job
    heard = {"heard": "sub", "tone": "50 Hz", "is": "silent"}
    steady = {"check": "lead:desk.sub-knob.moved", "is": "steady"}
    open_lead = {"check": "lead:desk.sub-knob", "resistance": "open"}
    entries = [heard, open_lead, steady, open_lead]
    found = make_diagnosis(Diagnoser(job), [read_entry(entry, job) for entry in entries])
    conforms(found, Diagnosis)
    plain = to_json(found)
    assert plain["repair"]["entry"]
    assert plain["evidence_used"] == 4
    assert [c["for"] for c in plain["causes"]] == [list(c.speaks_for) for c in found.causes]


def test_measurement_conforms_to_its_schema() -> None:
    """A clipped sine, silence (-inf dBFS) and an empty recording, calibrated and not."""
    t = np.arange(48_000) / 48_000
    clipped = np.clip(0.9 * np.sin(2 * np.pi * 315 * t), -0.5, 0.6)
    for samples in (np.stack([clipped, 0 * t], axis=1), np.zeros((10, 1))):
        recording = Recording(samples, 48_000)
        for calibrate_v in (None, 2.0):
            conforms(measure(recording, calibrate_v=calibrate_v), Measurement)
            for noise in measure_noise(recording, calibrate_v=calibrate_v, reference_v=10.0):
                conforms(noise, NoiseChannel)
        for onset in find_onset(recording):
            conforms(onset, Onset)


def test_pydantic_is_imported_when_a_result_is_written() -> None:
    """Measuring and printing text doesn't need it."""
    code = "import sys, gainwright.metering; sys.exit('pydantic' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
