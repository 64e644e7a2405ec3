"""An amplifier without a gain control in a plan: it is read, not adjusted, and limited by its own and its speaker's ratings."""

from __future__ import annotations

import pytest

from gainwright.jobfile import example_text, read_job_text
from gainwright.plan import make_plan

TEXT = example_text("strapped_pair")


def test_it_is_read_and_not_turned() -> None:
    """No step sets its gain; the expected reading has the chain's spread, not one per cent."""
    plan = make_plan(read_job_text(TEXT).job)
    assert not [s.id for s in plan.steps if "amp_front.gain" in s.sets]
    step = next(s for s in plan.steps if s.id == "amplifier.amp_front")
    assert step.adjust is None
    assert step.expect is not None
    assert step.expect.high / step.expect.low > 1.5


@pytest.mark.parametrize(("sensitivity", "code"), [("7.5 V", "source_cannot_drive"), ("1 V", "too_much_drive")])
def test_a_level_that_does_not_fit_is_found(sensitivity: str, code: str) -> None:
    """Too little or too much drive can't be adjusted: it is reported, and the limit is the rating, not the source."""
    plan = make_plan(read_job_text(TEXT.replace("sensitivity: 7.5 V", f"sensitivity: {sensitivity}")).job)
    assert code in {f.code for f in plan.findings if f.where == "amp_front"}
    target = next(t for t in plan.targets if t.stage == "amp_front")
    most = min(volts for what, volts in target.candidates_v_rms.items() if what != "source")
    assert f"over {most:.3g} V" in next(s.do for s in plan.steps if s.id == "amplifier.amp_front")
