"""What a test of fault finding says of the controls along its way and of its tone."""

from __future__ import annotations

from typing import Any

import pytest
from example_plans import job

from gainwright.app.cases.test_settings import conditions_of

SUB: dict[str, Any] = {"at": "amp_sub.out.mono", "with": "meter", "tone": "40 Hz", "level": "-11 dBFS"}


def stands(entry: dict[str, Any]) -> dict[str, str]:
    """Return control in words -> where it stands, for the example."""
    return {c.where_text: c.setting for c in conditions_of(entry, job()).controls}


def test_controls_before_the_place_stand_as_in_the_job() -> None:
    """Volume, gain, level and filters up to the place with their values; nothing of other ways, and no filter that is off."""
    assert stands(SUB) == {
        "Volume of the head unit": "step 30",
        "Low-pass of the sub output of the desk": "linkwitz-riley 24 at 80 Hz",
        "The knob": "0 dB",
        "Gain of the sub amplifier": "20 %",
        "Low-pass of the sub amplifier": "butterworth 24 at 250 Hz",
    }


def test_settings_of_the_entry_come_first() -> None:
    """What a test sets stands at it, an opened filter included; a gain that was worked out is about there, an unknown one as it is."""
    given = {"head.volume": "34", "amp_sub.gain": "62 % ± 8 %", "desk.sub.low_pass": "off"}
    found = stands(SUB | {"set": given})
    assert found["Volume of the head unit"] == "step 34"
    assert found["Gain of the sub amplifier"] == "about 62 %"
    assert found["Low-pass of the sub output of the desk"] == "off"
    assert (
        stands({"heard": "woofer", "tone": "315 Hz", "level": "-9 dBFS"})["Gain of the front amplifier"] == "as it is"
    )


@pytest.mark.parametrize(
    ("more", "sides", "seconds"), [({}, "both", 10), ({"side": "left", "speakers": "off"}, "left", 60)]
)
def test_tone_is_that_of_the_entry(more: dict[str, Any], sides: str, seconds: float) -> None:
    """The tone that the page plays; shortly where it reaches the speakers."""
    tone = conditions_of(SUB | more, job()).tone
    assert tone is not None
    assert (tone.tone_hz, tone.level_dbfs, tone.sides, tone.seconds) == (40, -11, sides, seconds)
    assert conditions_of({"check": "amp_sub.power_lamp"}, job()).tone is None
