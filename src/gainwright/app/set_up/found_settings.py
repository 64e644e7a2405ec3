"""The settings that a run found, beside those of the job, and taking them over into the job."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from gainwright.app.set_up.no_signal import ends_without_signal
from gainwright.app.set_up.step_settings import final_volume, found_gains, level_setters
from gainwright.app.store import ConflictError
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.app.set_up.run import Run
    from gainwright.app.store import Store, StoredJob
    from gainwright.jobfile import JobFile
    from gainwright.model import Job
    from gainwright.report.clean_steps import FoundVolume
    from gainwright.solve import Chain

How = Literal["set", "clean_step", "read_off", "worked_out"]
"""A control step that was done; the last clean step; a position that was typed; where the model gives the voltage read."""


@dataclass(frozen=True, slots=True)
class FoundSetting:
    """A control as the run left it.

    Attributes
    ----------
    text : its setting, as the job file writes it.
    how : how it was found.
    step : the step at which it was set.
    """

    control: str
    text: str
    how: How
    step: str


@dataclass(frozen=True, slots=True)
class SettingChange:
    """A control as the job has it and as the run left it, as a job file writes both, with its place in words.

    `old` is empty where the job doesn't say.
    """

    control: str
    where_text: str
    old: str
    new: str
    how: How
    step: str


def found_settings(run: Run, chain: Chain) -> tuple[FoundSetting, ...]:
    """Return the controls that the run has brought to where they stay, in the order of the plan.

    What is moved for the set-up only (a filter that is opened, a gain or volume at its start) isn't among them, nor what a
    skipped step should have set, nor a gain without a position whose voltage wasn't reached.

    Parameters
    ----------
    chain : of the job that the run's plan was made from.
    """
    setters = level_setters(run)
    passing = {c for s in run.steps if s.step.phase == "restore" for c in s.step.sets}
    passing |= {s.step.adjust.control for s in run.steps if s.step.adjust is not None}
    passing |= {f"{head}.volume" for head in setters}
    found: dict[str, FoundSetting] = {}
    for state in run.steps:
        if state.step.phase == "controls" and state.state == "done":
            for control, text in state.step.sets.items():
                if control not in passing and not control.endswith(".gain"):
                    found[control] = FoundSetting(control, text, "set", state.step.id)
    for head in setters:
        step = final_volume(run, head)
        if step is not None:
            control = f"{head}.volume"
            found[control] = FoundSetting(control, f"{step:g}", "clean_step", _step_of(run, control))
    for control, gain in found_gains(run, chain).items():
        if not gain.reached:
            continue
        found[control] = FoundSetting(control, gain.place, "read_off" if gain.typed else "worked_out", gain.step)
    return tuple(found.values())


def _step_of(run: Run, control: str) -> str:
    """Return the step at which a volume was found last."""
    there = [
        s for s in run.steps if s.step.id == f"verify.{control}" or (s.step.adjust and s.step.adjust.control == control)
    ]
    return next((s.step.id for s in reversed(there) if s.state == "done"), "")


def found_volumes(run: Run) -> tuple[FoundVolume, ...]:
    """Return the highest clean volume of each source as the run found it, with the clean step at each tone; none without a signal."""
    from gainwright.report.clean_steps import FoundVolume

    found = []
    for head in level_setters(run):
        by_tone, silent = dict[float, float](), False
        for state in run.steps:
            adjust, limit = state.step.adjust, state.value.get("value")
            if state.state != "done" or adjust is None or adjust.control != f"{head}.volume" or limit is None:
                continue
            if ends_without_signal(state.step, state.rows, float(limit)):
                silent = True
            elif (hz := state.step.tone_hz) is not None:
                by_tone[hz] = min(float(limit), by_tone.get(hz, math.inf))
        step = final_volume(run, head)
        if step is not None and (by_tone or not silent):
            found.append(FoundVolume(head, step, tuple(sorted(by_tone.items()))))
    return tuple(found)


def setting_changes(job: Job, found: tuple[FoundSetting, ...]) -> tuple[SettingChange, ...]:
    """Return the found settings that the job doesn't have yet; one that the job can't have (it was changed since) is left out."""
    from gainwright.jobfile import controls, settings, with_settings
    from gainwright.plan import control_words

    written, before = controls(job), settings(job)
    changes = []
    for f in found:
        old = written.get(f.control, "").removesuffix(".0")
        try:
            after = settings(with_settings(job, {f.control: f.text}))
        except CallError:
            continue
        same = before[f.control] == after[f.control] if f.control in before else old == f.text
        if not old or not same:
            changes.append(SettingChange(f.control, control_words(job, f.control), old, f.text, f.how, f.step))
    return tuple(changes)


def as_set(read: JobFile, changes: tuple[SettingChange, ...]) -> str:
    """Return the text of a job with the changes made, its comments kept."""
    from gainwright.app.jobs.written_settings import with_settings_written

    return with_settings_written(read, {c.control: c.new for c in changes})


def take_over(
    store: Store, stored: StoredJob, read: JobFile, changes: tuple[SettingChange, ...], *, basis: int, by: str
) -> StoredJob:
    """Store what was set as a new version of the job; without a change the job stays as it is.

    Parameters
    ----------
    basis : the revision whose changes were shown.

    Raises
    ------
    ConflictError : the job was changed since; nothing was written.
    JobError : a setting that the control can't have.
    """
    from gainwright.app.jobs.stored_jobs import write_job

    if not changes:
        return stored
    if stored.revision != basis:
        raise ConflictError(
            say("the job was changed in the meantime"),
            code="conflict",
            remedy=say("nothing was written; look at the settings again, then take them over"),
        )
    return write_job(store, stored.id, as_set(read, changes), seen=basis, by=by)
