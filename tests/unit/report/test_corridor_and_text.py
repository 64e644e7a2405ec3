"""Charts and texts contain the numbers of the results."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from example_plans import plan_of

from gainwright.jobfile import example_text, examples, read_job_text
from gainwright.metering import Recording, measure
from gainwright.plan import make_plan
from gainwright.report.corridor import corridor_chart, margin_text
from gainwright.report.figures import volts
from gainwright.report.measurement import measurement_text
from gainwright.report.setup_sheet import setup_sheet
from gainwright.report.sheet import sheet_lines
from gainwright.report.text import findings_text, levels_text, plan_text
from gainwright.solve import Chain, levels


@pytest.mark.parametrize(
    ("value", "text"),
    [(0, "0 V"), (1e-9, "< 1 µV"), (12.3456e-6, "12.3 µV"), (0.0123, "12.3 mV"), (1.2345, "1.23 V"), (math.inf, "-")],
)
def test_volts_are_printed_with_three_digits_and_a_suitable_prefix(value: float, text: str) -> None:
    """Three digits and a convenient unit."""
    assert volts(value) == text


def test_chart_shows_the_levels() -> None:
    """Every marker is its node in dBV; sides with the same numbers are drawn once; one tightest marker per path."""
    chain = Chain(read_job_text(example_text("two_way_and_sub")).job)
    found = levels(chain, tone_hz=1000.0, level_dbfs=-8.0)
    chart = corridor_chart(found, chain.job, title="a car")
    paths = {path.path: path for path in found.paths}
    assert {mark.path for mark in chart.marks} == {"sub", "woofer, left and right", "tweeter, left and right"}
    for mark in chart.marks:
        path = paths[f"{mark.path.split(',')[0]}.{'left' if 'left' in mark.path else 'mono'}"]
        node = path.nodes[mark.position]
        assert mark.level_dbv == pytest.approx(20 * math.log10(node.v_rms))
        assert mark.margin == margin_text(node)
        assert mark.tightest == (node.node == path.limits_first)
    assert chart.title == "a car"
    assert "tightest at" in chart.description


def test_margins_are_given_in_words() -> None:
    """Colour is not needed to see them."""
    chain = Chain(read_job_text(example_text("full_range")).job)
    found = levels(chain, tone_hz=1000.0, level_dbfs=0.0, draws=64)
    text = levels_text(found)
    for path in found.paths:
        assert path.path in text
        for node in path.nodes:
            assert margin_text(node) in text


@pytest.mark.parametrize("name", list(examples()))
def test_plans_fit_a_terminal_and_leave_nothing_out(name: str) -> None:
    """In both forms no line over 96 columns, and every line, reading, caution, finding and target; the short one is shorter."""
    plan = plan_of(name)
    text, brief = plan_text(plan), plan_text(plan, short=True)
    assert max(map(len, [*text.splitlines(), *brief.splitlines()])) <= 96
    flat, short = (re.sub(r"\s+", " ", t) for t in (text, brief))
    for line in plan.lines:
        assert " ".join(line.do.split()) in flat
        assert " ".join(line.short.split()) in short
    for both in (flat, short):
        texts = [t for line in sheet_lines(plan) for row in line.rows for t in row.texts]
        assert [t for t in texts if re.sub(r"\s+", " ", t) not in both] == []
        for step in plan.steps:
            assert all(" ".join(caution.split()) in both for caution in step.cautions)
        assert all(volts(target.v_rms) in both for target in plan.targets)
        assert all(f.message[1:] in both for f in plan.findings)
    assert len(brief.splitlines()) < 0.8 * len(text.splitlines())
    assert findings_text([])


@pytest.mark.parametrize("name", list(examples()))
def test_people_read_words_and_no_names_of_code(name: str) -> None:
    """No underscore, no dotted place, no code of a finding in what is printed, apart from the names of tone files."""
    plan = plan_of(name)
    for text in (plan_text(plan), plan_text(plan, short=True)):
        without = re.sub(r"[0-9]{2}_\S+", "", text)
        assert (
            re.findall(r"\S*[a-z]_[a-z]\S*|\S+\.(?:out|left|right|mono|gain|level|low_pass|high_pass)\b", without) == []
        )
        assert re.findall(r"\[[a-z_]+\]", without) == []
        # a place that begins a sentence begins it with a capital; the decimal points and `..` of figures are none
        assert re.findall(r"[a-z)]\. (?!caution |note |blocker )[a-z]", " ".join(without.split())) == []


def test_a_car_without_an_amplifier_has_no_targets() -> None:
    """A head unit that drives its speakers alone: no empty heading of targets, in the terminal or on the sheet."""
    text = """
format: 1
stages:
  head: {kind: head_unit, rated_output: 8 V, speaker_level: yes, volume: {steps: 30}, outputs: {front: {}}}
  front: {kind: speaker, from: head.front, impedance: 4 ohm}
"""
    job = read_job_text(text).job
    plan = make_plan(job)
    assert plan.targets == ()
    assert "Targets" not in plan_text(plan)
    assert "Targets" not in [getattr(block, "text", "") for block in setup_sheet(job, plan).blocks]


def test_verdicts_in_words() -> None:
    """Clean and clipped, with level and depth."""
    wave = np.sin(2 * np.pi * 997 * np.arange(48_000) / 48_000)
    both = np.stack([0.4 * wave, np.clip(0.6 * wave, -0.5, 0.5)], axis=1)
    text = measurement_text(measure(Recording(both, 48_000), calibrate_v=2.0))
    assert "channel 1: clean" in text
    assert "channel 2: clipped" in text
    assert "clipped 1.58" in text  # 20 lg(0.6/0.5) = 1.58 dB
