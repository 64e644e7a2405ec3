"""The largest chain: what is far beyond any car is refused in one sentence before anything is worked out for it."""

from __future__ import annotations

from pathlib import Path

import pytest

from gainwright.errors import JobError
from gainwright.jobfile import example_text, examples, read_job_text
from gainwright.model.chain_size import MOST_IN_A_ROW, MOST_TERMINALS

CHAINS = Path(__file__).parents[2] / "support" / "third_world" / "chains"
HEAD = "format: 1\nstages:\n  head: {kind: head_unit, rated_output: 2 V, outputs: {"
AMP = "  amp{0}: {{kind: amplifier, from: {1}, power: 60 W @ 4 ohm}}\n  speaker{0}: {{kind: speaker, from: amp{0}, impedance: 4 ohm}}\n"


def wide(outputs: int) -> str:
    """Return a job with an amplifier and a speaker at each stereo output of a head unit: eight terminals each."""
    named = ", ".join(f"o{i}: {{}}" for i in range(outputs))
    return HEAD + named + "}}\n" + "".join(AMP.format(i, f"head.o{i}") for i in range(outputs))


def deep(stages: int) -> str:
    """Return a job with so many stages that a speaker is fed through."""
    text, last = HEAD + "line: {sides: [mono]}}}\n", "head"
    for i in range(stages - 2):
        text += f"  knob{i}: {{kind: level_control, from: {last}}}\n"
        last = f"knob{i}"
    return text + AMP.format("", last)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (wide(40), "the chain has 320 inputs and outputs, each side counted"),
        (HEAD + ", ".join(f"o{i}: {{}}" for i in range(2000)) + "}}\n", "the chain has 2000 inputs and outputs"),
        (deep(MOST_IN_A_ROW + 1), f"{MOST_IN_A_ROW + 1} stages are one after another"),
    ],
    ids=["80 wide stages", "2,000 outputs", "a long row"],
)
def test_a_chain_beyond_any_car_is_refused(text: str, said: str) -> None:
    """When it is read: 80 stages in a row or side by side once took half a minute and two gigabytes to diagnose."""
    with pytest.raises(JobError) as caught:
        read_job_text(text)
    assert caught.value.code == "chain_too_large"
    assert said in str(caught.value)
    assert "one vehicle" in caught.value.remedy


@pytest.mark.parametrize("text", [wide(MOST_TERMINALS // 8 - 1), deep(MOST_IN_A_ROW)])
def test_what_is_just_not_too_large_is_read(text: str) -> None:
    """Of either kind."""
    wiring = read_job_text(text).wiring
    assert len(wiring.nodes) + len(wiring.feeds) <= MOST_TERMINALS


@pytest.mark.parametrize(
    "text",
    [*map(example_text, examples()), *(path.read_text(encoding="utf-8") for path in sorted(CHAINS.glob("*.yaml")))],
)
def test_cars_are_smaller_by_a_factor_of_four(text: str) -> None:
    """Every shipped example, and the chains of the third world."""
    wiring = read_job_text(text).wiring
    assert 4 * (len(wiring.nodes) + len(wiring.feeds)) < MOST_TERMINALS
    assert 4 * max(len({node.stage for node in path.nodes}) for path in wiring.paths) <= MOST_IN_A_ROW
