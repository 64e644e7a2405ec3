"""What has to be reached for a test, and how long that takes; a place that was reached once is paid once.

Minutes are common practice, no published source; a job overrides those of a stage with its key `access`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import (
    HeardSpeaker,
    Reading,
    Speaker,
    SwapTest,
    is_built_in,
    link_place,
    resolve,
    stages_at,
    stages_of,
)

if TYPE_CHECKING:
    from gainwright.model import Entry, Job

ACCESS_MINUTES = {
    "head_unit": 15.0,
    "processor": 3.0,
    "line_driver": 3.0,
    "level_control": 2.0,
    "converter": 10.0,
    "amplifier": 2.0,
    "speaker": 10.0,
}
"""Minutes to reach a stage's terminals, by kind: the head unit's are behind the dashboard."""
SETTLING_MINUTES = {"head_unit": 0.3, "processor": 1.5, "level_control": 0.2}
"""Minutes to reach a stage's controls, if they are not at its terminals."""
SHARED = (
    *("power_lamp", "protection_lamp", "supply_voltage", "turn_on_voltage"),
    *("fuse", "ground", "heat", "unplugged", "unloaded"),
)
"""What the stages in one chassis share."""
AT_TERMINALS = ("inputs", "leads")
"""What is looked at where the terminals are, besides what a chassis shares and the controls of a stage that has them there."""
AT_HAND = ("travel", "remote_level", "mended", "provoked", "sounds")
"""What needs no stage opened, whatever it belongs to."""
BEFORE_A_SPEAKER = ("resistance", "cone", "one_side_reversed")
"""What is done to a speaker where its leads are fed."""


def stages_entered(entry: Entry, job: Job) -> set[str]:
    """Return the stages whose terminals an entry needs access to."""
    if isinstance(entry, Reading):
        return {entry.at.split(".")[0]} | ({entry.feed.into} if entry.feed is not None else set())
    if isinstance(entry, HeardSpeaker):
        return set()
    place = entry.swap if isinstance(entry, SwapTest) else entry.check
    if place.startswith("lead:"):
        ends = set(stages_at(place)) & set(job.stages)
        return {n for n in ends if not (place.endswith(".moved") and isinstance(job.stages[n], Speaker))}
    stage, _, what = place.partition(".")
    return _at_stage(stage, what.rpartition(".")[2], place, job)


def _at_stage(stage: str, what: str, place: str, job: Job) -> set[str]:
    """Return the stages that have to be reached for a check or a swap at a stage, or at its chassis."""
    stage = stages_of(job, stage)[0] if what in SHARED else stage
    if stage not in job.stages or what in AT_HAND:
        return set()
    if what == "link":
        return {run.target for run in resolve(job).leads if link_place(run) == place}
    if what in BEFORE_A_SPEAKER and isinstance(job.stages[stage], Speaker):
        return _feeding(stage, job)
    opened = not what or what in (*SHARED, *AT_TERMINALS) or job.stages[stage].kind not in SETTLING_MINUTES
    return {stage} if opened else set()


def _feeding(speaker: str, job: Job) -> set[str]:
    """Return the stages at which a speaker's leads are disconnected: those that feed it, or itself if one can't be got at."""
    wiring = resolve(job)
    before = {feed.node.stage for port in wiring.ports(speaker) for feed in wiring.feeds[port]}
    return {speaker} if any(is_built_in(job.stages[stage]) for stage in before) else before
