"""What fault finding plays: tones from each path's pass band, levels from the job's allowance."""

from __future__ import annotations

import math
from typing import Any

import pytest

from gainwright.diagnose.played_paths import played_paths
from gainwright.jobfile import example_text, instruments, read_entry, read_job_text
from gainwright.solve import Chain

TEXT = example_text("two_way_and_sub")
LR24_3_DB = (10 ** (3 / 20) - 1) ** 0.25
"""Where a Linkwitz-Riley of 24 dB/octave is 3 dB down, over its corner: |H| = 1/(1 + (f/fc)^4)."""
THIRD_OCTAVE = 2 ** (1 / 3)


def played(text: str = TEXT, *said: dict[str, Any]) -> dict[str, tuple[float, float]]:
    """Return last stage -> tone, Hz, and level, dBFS."""
    job = read_job_text(text).job
    entries = [read_entry(entry, job) for entry in said]
    return {p.stage: (p.tone_hz, p.level_dbfs) for p in played_paths(job, Chain(job), instruments(job), entries)}


@pytest.mark.parametrize("corner_hz", [80, 160])
def test_tones_are_in_the_middle_of_the_usable_range(corner_hz: int) -> None:
    """Within a third of an octave of the geometric middle, computed from the filters' closed form and the meter's 1 kHz."""
    found = played(TEXT.replace("24 at 80 Hz", f"24 at {corner_hz} Hz"))
    middles = {
        "amp_sub": math.sqrt(20 * corner_hz * LR24_3_DB),
        "amp_front": math.sqrt(corner_hz / LR24_3_DB * 1000),
        "amp_high": math.sqrt(3200 / LR24_3_DB * 20_000 / 3),
    }
    for stage, middle_hz in middles.items():
        assert middle_hz / THIRD_OCTAVE < found[stage][0] < middle_hz * THIRD_OCTAVE


def test_levels_follow_the_allowance_at_half_the_power() -> None:
    """The job gives 8, 6 and 3 dB; 10 lg 2 is 3.01 dB. Another allowance gives another level."""
    half = 10 * math.log10(2)
    for text, sub_db in ((TEXT, 8), (TEXT.replace("sub: 8 dB", "sub: 12 dB"), 12)):
        found = {stage: level for stage, (_, level) in played(text).items()}
        assert found == {
            stage: pytest.approx(-db - half, abs=0.02)
            for stage, db in {"amp_sub": sub_db, "amp_front": 6, "amp_high": 3}.items()
        }


def test_playing_tone_is_kept_where_it_passes() -> None:
    """630 Hz is playing: it is used for the woofers, at its level; the sub's low-pass stops it, so the sub gets another tone and level."""
    found = played(TEXT, {"heard": "woofer", "tone": "630 Hz", "level": "-17 dBFS", "is": "faint"})
    assert found["amp_front"] == (630.0, -17.0)
    assert found["amp_sub"] == (played()["amp_sub"][0], -17.0)


def test_tone_of_the_job_is_used_where_it_passes() -> None:
    """440 Hz for the woofers is used, for the sub with its low-pass it isn't."""
    found = played(TEXT.replace("instruments:\n", "tones: {all: 440 Hz}\n\ninstruments:\n", 1))
    assert found["amp_front"][0] == 440.0
    assert found["amp_sub"][0] < 80
