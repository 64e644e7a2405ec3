"""No number that a job file accepts crashes anything: each of these once did, or is refused now."""

from __future__ import annotations

import json

import pytest
from hostile_jobs import changed, document, use_job

from gainwright.errors import JobError
from gainwright.jobfile import read_job_text

ONE = document("one_amplifier")
STAGES = {ONE["stages"][name]["kind"]: name for name in ONE["stages"]}

ACCEPTED: list[tuple[str, tuple[str, ...], object]] = [
    ("active_three_way", ("stages", "player", "rated_output"), "1000 V"),
    ("one_amplifier", ("stages", "amp", "supply"), {"running": "unknown", "resting": "unknown"}),
    ("one_amplifier", ("stages", "amp", "sensitivity"), "0.3 V ± 90 % .. 5 V"),
    ("two_way_and_sub", ("instruments", "interface", "full_scale"), "unknown"),
    ("one_amplifier", ("stages", "amp", "lead"), {"length": "unknown"}),
    ("one_amplifier", ("stages", "amp", "lead"), {"length": "5 m", "area": "unknown"}),
    ("one_amplifier", ("stages", "head", "outputs"), {"sub": {"sides": ["mono"], "high_pass": "butterworth 24 at 200 kHz"}}),
]  # fmt: skip
"""Example, key and value that are worked with."""

REFUSED = {
    ("speaker", "re"): ("0 ohm", "1e-300 ohm"),
    ("head", "rated_output"): ("0 V", "1e-300 V", "1e300 V", "-1 V", "4 V ± 1e300 %", "4 V ± 1e-300 %", "0 .. 4 V", "4 V ± 100 %"),
    ("head", "output_impedance"): ("1e-300 ohm", "1e300 ohm", "-1 ohm"),
    ("head", "volume"): ({"steps": 40, "at": 1e300}, {"steps": 0}, {"steps": 10**30}, {"step": "1e-300 dB"}, {"at": float("inf")}),
    ("amp", "power"): ("0 W @ 4 ohm", "80 W @ 0 ohm", "80 W ± 120 % @ 4 ohm", "80 W @ 4 ohm ± 100 %", "1e300 W @ 4 ohm"),
    ("amp", "sensitivity"): ("0 .. 5 V", "0.3 .. unknown", "0.3 V ± 200 % .. 5 V", "1e-300 .. 5 V"),
    ("amp", "input_impedance"): ("0 ohm", "1e-300 ohm", "10 kohm ± 150 %"),
    ("amp", "low_pass"): ("butterworth 24 at 0 Hz", "butterworth 24 at 1e300 Hz", "butterworth 24 at 80 Hz ± 100 %"),
    ("amp", "boost"): ("peak +6 dB at 45 Hz q 0", "peak +6 dB at 45 Hz q 1 ± 200 %", "peak 1e300 dB at 45 Hz q 1"),
    ("amp", "supply"): ("0 V",),
    ("amp", "remote_level"): ({"boosts": "unknown"},),
}  # fmt: skip
"""Stage and key -> values that no vehicle has."""


@pytest.mark.parametrize(("name", "place", "value"), ACCEPTED)
def test_what_is_accepted_is_worked_with(name: str, place: tuple[str, ...], value: object) -> None:
    """Check, plan, levels, paper and diagnosis give numbers, and JSON without NaN."""
    use_job(changed(document(name), place, value))


@pytest.mark.parametrize(("key", "value"), [(key, value) for key, values in REFUSED.items() for value in values])
def test_what_no_vehicle_has_is_refused(key: tuple[str, str], value: object) -> None:
    """With the key, what is wrong, and what would be right."""
    stage = STAGES[{"head": "head_unit", "amp": "amplifier", "speaker": "speaker"}[key[0]]]
    text = changed(ONE, ("stages", stage, key[1]), value).replace("Infinity", ".inf")
    with pytest.raises(JobError) as caught:
        read_job_text(text, "odd.yaml")
    assert f"stages.{stage}.{key[1]}" in caught.value.where
    assert caught.value.remedy


def test_counts_without_end_are_refused() -> None:
    """Digits by the thousand are no number of coils, counts or steps."""
    content = json.loads(json.dumps(ONE))
    for place, value in (
        (("instruments", "meter"), {"kind": "multimeter", "accuracy": "1 % + " + "9" * 150 + " counts"}),
        (("instruments", "meter"), {"kind": "multimeter", "accuracy": "1 % + " + "9" * 5000 + " counts"}),
        (("thd_limit",), "0 %"),
        (("note",), 5),
    ):
        content.setdefault("instruments", {})
        with pytest.raises(JobError):
            read_job_text(changed(content, place, value), "odd.yaml")
