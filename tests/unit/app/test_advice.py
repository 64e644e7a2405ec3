"""The advice on a reading fits the side on which it lies, for each quantity and each step of each example."""

from __future__ import annotations

import pytest

from gainwright.app.set_up.advice import advice
from gainwright.jobfile import example_text, read_job_text
from gainwright.plan import Step, make_plan

OTHER_SIDE = {"low": ("higher:", "gives too much"), "high": ("lower:", "thin cable")}


@pytest.mark.parametrize("quantity", ["v_rms", "supply_v", "ohm", "step"])
def test_each_side_has_advice_of_its_own(quantity: str) -> None:
    """Also where the step has no sentence; what fits needs none."""
    plain, sided = Step("a", "verify", "", "", ""), Step("a", "verify", "", "", "", if_low="less.", if_high="more.")
    value = {"quantity": quantity, "value": 1.0}
    assert advice(plain, "low", value) != advice(plain, "high", value)
    assert advice(plain, "low", value)
    assert advice(plain, "high", value)
    assert (advice(sided, "low", value), advice(sided, "high", value)) == ("Less.", "More.")
    assert advice(sided, "fits", value) == advice(sided, "", value) == ""


@pytest.mark.parametrize("name", ["two_way_and_sub", "strapped_pair", "factory_converter"])
def test_no_step_speaks_of_the_other_side(name: str) -> None:
    """What stood under "higher than expected" began with "Lower: a thin cable": a high supply is no thin cable."""
    plan = make_plan(read_job_text(example_text(name)).job)
    for step in plan.steps:
        if step.expect is None:
            continue
        value = {"quantity": step.expect.quantity, "value": step.expect.value}
        for verdict, words in OTHER_SIDE.items():
            told = advice(step, verdict, value).lower()  # type: ignore[arg-type]
            assert told, step.id
            assert not any(word in told for word in words), (step.id, told)
        if step.expect.quantity == "supply_v":
            assert "cable" in advice(step, "low", value)
            assert "cable" not in advice(step, "high", value)


def test_supply_the_wrong_way_round() -> None:
    """Neither low nor high: which leads are swapped, and to switch off if it is the supply."""
    told = advice(Step("a", "prepare", "", "", ""), "off", {"quantity": "supply_v", "value": -13.8})
    assert "swapped" in told
    assert "switch everything off" in told
