"""What a test needs opened is paid with it, and once: whatever was reached for one test is open for the next."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from typical_chains import typical_text

from gainwright.diagnose.access import SETTLING_MINUTES, stages_entered
from gainwright.diagnose.candidates import MINUTES, Candidate, Catalogue
from gainwright.diagnose.unknown_gains import chain_with_unknown_gains
from gainwright.jobfile import example_text, examples, instruments, read_entry, read_job_text
from gainwright.jobfile.starting.typical import CHAINS

if TYPE_CHECKING:
    from gainwright.model import Job

NAMES = (*examples(), *(chain.id for chain in CHAINS))
BY_MENU = ("look_at_control", "look_at_settings", "read_off_gain")


def job_of(name: str) -> Job:
    """Return an example, or a typical chain with a knob and a meter."""
    return read_job_text(example_text(name) if name in examples() else typical_text(name, "knob", "meter")).job


def catalogue(job: Job, *made: dict[str, object]) -> Catalogue:
    """Return the tests of a job after some entries."""
    return Catalogue(job, chain_with_unknown_gains(job), instruments(job), [read_entry(dict(e), job) for e in made])


def without_opening(c: Candidate, job: Job) -> float:
    """Return the minutes of a test with everything open; a control in a menu takes its own."""
    stage = c.where.split(".", maxsplit=1)[0]
    at_hand = c.where.endswith(".remote_level")
    kind = "level_control" if at_hand else job.stages[stage].kind if stage in job.stages else ""
    by_menu = c.test in BY_MENU and not stages_entered(c.entry, job)
    return MINUTES[c.test] + (SETTLING_MINUTES[kind] if by_menu else 0.0)


@pytest.mark.parametrize("name", NAMES)
def test_every_test_counts_what_it_needs_open(name: str) -> None:
    """The minutes of each are its own and those to reach what it enters, so that nothing is paid that isn't entered."""
    job = job_of(name)
    tests = catalogue(job)
    for c in tests.all():
        opening = sum(tests.access(stage) for stage in stages_entered(c.entry, job))
        assert c.minutes == pytest.approx(without_opening(c, job) + opening), c


@pytest.mark.parametrize(
    ("made", "then"),
    [
        ({"check": "sub.resistance", "reads": "3.4 ohm"}, "amp_sub.power_lamp"),
        ({"check": "sub.cone", "is": "out"}, "sub.resistance"),
        ({"check": "desk.fuse", "is": "good"}, "desk.power_lamp"),
        ({"check": "sub.substitute", "is": "same"}, "lead:amp_sub-sub"),
    ],
)
def test_a_panel_is_paid_once(made: dict[str, object], then: str) -> None:
    """A speaker is measured where its amplifier feeds it, so the amplifier's lamp costs no opening after that; a box, a speaker alike."""
    job = job_of("two_way_and_sub")
    before = next(c for c in catalogue(job).all() if c.where == then)
    after = next(c for c in catalogue(job, made).all() if c.where == then)
    opened = stages_entered(read_entry(made, job), job) & stages_entered(after.entry, job)
    assert opened
    assert before.minutes - after.minutes == pytest.approx(sum(catalogue(job).access(stage) for stage in opened))


def test_a_speaker_on_an_amplifier_inside_another_device_is_reached_itself() -> None:
    """Nobody gets at the terminals of that amplifier; what was opened is the speaker."""
    job = job_of("radio_sub")
    entry = read_entry({"check": "front_speakers.resistance", "reads": "3.4 ohm"}, job)
    assert stages_entered(entry, job) == {"front_speakers"}
