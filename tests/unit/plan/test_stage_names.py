"""The name that a stage is given: how it stands in a sentence, in a heading, in a plan and in a drawing."""

from __future__ import annotations

import pytest

from gainwright.errors import JobError
from gainwright.jobfile import example_text, read_job_text
from gainwright.model import Job
from gainwright.plan import device_words, make_plan, place_words, stage_title
from gainwright.report.chain_drawing import chain_drawing
from gainwright.report.chain_layout import lay_out_both_ways


def named(name: str) -> Job:
    """Return the smallest example with a name for its amplifier."""
    text = example_text("one_amplifier").replace("    kind: amplifier", f"    kind: amplifier\n    name: {name!r}")
    return read_job_text(text).job


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("Amp under the seat", "the amp under the seat"),
        ("amp under the seat", "the amp under the seat"),
        ("Front amplifier", "the front amplifier"),
        ("Anna's old one", "Anna's old one"),
        ("DSP 8", "DSP 8"),
        ("Channels 3 and 4", "Channels 3 and 4"),
        ("Doors", "Doors"),
        ("Amp B", "amp B"),
        ("Tower speakers", "Tower speakers"),
        ("Cockpit amp", "the Cockpit amp"),
        ("", "the amplifier"),
    ],
)
def test_name_stands_in_a_sentence(name: str, words: str) -> None:
    """A device word that begins it loses its capital, and only a name that says what one device is takes `the`."""
    job = named(name)
    assert device_words(job, "amp") == words
    assert place_words(job, "amp.out.mono") == f"output of {words}"
    assert stage_title(job, "amp") == (name or "amp")


def test_plan_and_drawing_show_the_name() -> None:
    """Sentences of the steps, places, and the boxes of the drawing on pages; no key in their place."""
    job = named("Amp under the seat")
    plan = make_plan(job)
    assert "the amp under the seat" in " ".join(step.do for step in plan.steps)
    assert {target.where_text for target in plan.targets} == {"the amp under the seat"}
    assert "Amp under the seat" in {box.called for box in chain_drawing(job, title="x").boxes}
    drawn = lay_out_both_ways(job, title="x")
    assert [s.called for s in drawn.down.stops if s.name == "amp"] == ["Amp under the seat"]
    assert [s.shown for s in drawn.across.stops if s.name == "amp"] == ["Amp under the s…"]


@pytest.mark.parametrize("name", ["x" * 61, "two\nlines"])
def test_name_that_fits_no_line_is_refused(name: str) -> None:
    """It gives the key."""
    with pytest.raises(JobError, match=r"stages\.amp.*\.name"):
        read_job_text(
            example_text("one_amplifier").replace(
                "    kind: amplifier", f"    kind: amplifier\n    name: {name!r}".replace("\\n", "\n\n      ")
            )
        )
