"""The date of cases and papers: the local date."""

from __future__ import annotations

import datetime
import time
from collections.abc import Iterator

import pytest

from gainwright.app.cases.diagnosis import begin_dialogue
from gainwright.app.clock import today
from gainwright.diagnose import ClosedCases
from gainwright.jobfile import example_text


@pytest.fixture(params=[14, -12])
def zone_h(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """Put the machine into a zone; the two are 26 hours apart, so that one of them is always on another day than UTC."""
    monkeypatch.setenv("TZ", f"<zone>{-request.param:+d}")
    time.tzset()
    yield request.param
    monkeypatch.undo()
    time.tzset()


def test_today_is_the_local_date(zone_h: int) -> None:
    """A dialogue that is opened in the terminal dates its case with it."""
    here = datetime.timezone(datetime.timedelta(hours=zone_h))
    before = datetime.datetime.now(here).date().isoformat()
    found = {today(), begin_dialogue(example_text("one_amplifier"), "", counted=ClosedCases()).opened}
    assert found <= {before, datetime.datetime.now(here).date().isoformat()}
