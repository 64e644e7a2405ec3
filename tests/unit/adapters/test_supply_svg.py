"""The drawing of a supply on papers: as wide as its texts in the language that they are printed in."""

from __future__ import annotations

import re

import pytest

from gainwright.adapters.supply_svg import supply_svg
from gainwright.jobfile import example_text, read_job_text
from gainwright.power import evaluate_power
from gainwright.report.languages import Language
from gainwright.report.supply_drawing import supply_drawing


@pytest.mark.parametrize("code", ["en", "de"])
def test_no_text_is_cut_off(code: str) -> None:
    """Each text in the small size ends within the picture, at 6 pixels a letter of a 12-pixel sans serif; the legend didn't."""
    job = read_job_text(example_text("five_channel")).job
    svg = supply_svg(supply_drawing(evaluate_power(job), job), Language(code))
    wide = float(re.findall(r'width="([0-9.]+)"', svg)[0])
    texts = re.findall(r'<text x="([0-9.]+)"[^>]*font-size="12"[^>]*>([^<]+)</text>', svg)
    assert len(texts) > 5
    for x, text in texts:
        assert float(x) + 6 * len(text) <= wide
