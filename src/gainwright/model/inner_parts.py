"""What lies inside one case: an amplifier built into a source, with no leads, knobs or switches of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model.places import leads_by_name
from gainwright.model.speaker_outputs import is_built_in

if TYPE_CHECKING:
    from gainwright.model.job import Job
    from gainwright.model.wiring import Wiring

NOT_INSIDE = (
    *("leads_swapped", "boost_on", "input_mode_wrong", "input_range_wrong", "low_pass_in_the_way"),
    *("high_pass_in_the_way", "level_control_down", "control_bypassed"),
)
"""Causes that need terminals, knobs or switches, which an amplifier inside another device doesn't have."""


def can_be(job: Job, wiring: Wiring, found: list[tuple[str, str]]) -> set[tuple[str, str]]:
    """Return those of some causes, (cause, place), that can be: nothing inside one case is a lead or is turned by hand."""
    inside = {name for name, stage in job.stages.items() if is_built_in(stage)}
    if not inside:
        return set(found)
    leads = {name for name, pairs in leads_by_name(wiring).items() if pairs[0][1].stage in inside}
    return {(cause, at) for cause, at in found if at not in leads and not (at in inside and cause in NOT_INSIDE)}
