"""What each control was set to at each step of a run: as the steps say, and as it was found by turning."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.quantities import parse

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from gainwright.app.set_up.run import Run, StepState
    from gainwright.model import Wiring
    from gainwright.solve import Chain

WHILE_IT_IS_READ = ("source", "processor")
"""Phases whose own settings hold during the step only."""
AT_THE_CLEAN_STEP = ("processor", "amplifier", "restore", "verify")
"""Phases with the volume at the clean step that was found."""
GAIN_PLACES = 401
LEAST_SHARE = 0.05
"""A source that gives less than this share of its expected voltage is broken, not weak: no gain is derived from it."""
READ_OFF = 0.08
"""How far a position read off a knob may be wrong, 95 %, as a share of its travel (common practice, no published source)."""
NEARLY, FULLY = 0.7, 100.0
"""A reading that far from its target says that the gain was turned to an end (common practice, no published source)."""
DRAWS, SEED = 64, 41
WIDEST = 0.5


@dataclass(frozen=True, slots=True)
class FoundGain:
    """A gain that was turned until a voltage was reached.

    Attributes
    ----------
    place : its position, as the job file writes it; with its 95 % interval unless it was typed.
    doubt : the same as the setting of a reading, always with its 95 % interval.
    typed : whether the position was typed; else it is where the model of the job gives the voltage.
    reached : whether its voltage was, or nearly; if it wasn't, the gain stands anywhere beyond where the model gives it.
    step : the step at which it was turned.
    """

    place: str
    doubt: str
    typed: bool
    reached: bool
    step: str


def final_volume(run: Run, head: str) -> float | None:
    """Return the volume step that a source ends at: the one noted on the sheet, or else the lowest clean one."""
    noted = [s for s in run.steps if s.step.id == f"verify.{head}.volume" and s.state == "done"]
    if noted and noted[0].value.get("value") is not None:
        return float(noted[0].value["value"])
    return run.clean_limit(head)


def level_setters(run: Run) -> tuple[str, ...]:
    """Return the stages whose volume is raised to a last clean step."""
    adjusts = (s.step.adjust for s in run.steps)
    return tuple(sorted({a.control.rsplit(".", 1)[0] for a in adjusts if a is not None and a.until == "last_clean"}))


def settings_during(run: Run, state: StepState, *, gains: Mapping[str, str] | None = None) -> dict[str, str]:
    """Return the settings that differ from the job's while a step is read, control -> text of the job file.

    A control that a skipped step should have moved is as in the job; the volume, once its clean limit is found, is at
    that step. Gains that were turned to a reading are as in `gains`, at the step that turned them, too.
    """
    settings: dict[str, str] = {}
    for before in run.steps[: state.number]:
        step = before.step
        if before.number < state.number and before.state != "skipped" and step.phase not in WHILE_IT_IS_READ:
            for control, text in step.sets.items():
                settings.pop(control, None)
                if step.phase != "restore":
                    settings[control] = text
        if step.phase == "amplifier" and step.adjust is not None and gains:
            control = step.adjust.control
            settings |= {control: gains[control]} if control in gains else {}
    if state.step.phase in AT_THE_CLEAN_STEP:
        for head in level_setters(run):
            limit = run.clean_limit(head) if state.step.phase == "processor" else final_volume(run, head)
            settings |= {f"{head}.volume": f"{limit:g}"} if limit is not None else {}
    if state.step.phase == "source" and state.step.adjust is None:
        found = [s for s in run.steps[: state.number - 1] if s.step.adjust is not None and s.step.phase == "source"]
        if found and found[-1].state == "done" and found[-1].value.get("value") is not None:
            settings |= {found[-1].step.adjust.control: f"{found[-1].value['value']:g}"}  # type: ignore[union-attr]
    return settings | (state.step.sets if state.step.phase in WHILE_IT_IS_READ else {})


def stages_before(wiring: Wiring, place: str) -> frozenset[str]:
    """Return the stage of a node and those before it: the ones whose controls its level depends on."""
    stage = place.split(".", maxsplit=1)[0]
    return frozenset({stage, *(node.stage for node in wiring.upstream(stage))})


def found_gains(run: Run, chain: Chain) -> dict[str, FoundGain]:
    """Return gain control -> where it was turned to: the position that was typed, or where the model gives the voltage read."""
    found: dict[str, FoundGain] = {}
    for state in run.steps:
        adjust, volts, at = state.step.adjust, state.value.get("value"), state.value.get("at")
        if state.step.phase != "amplifier" or adjust is None or state.state != "done":
            continue
        if at:
            share = parse(at, "fraction").nominal
            doubt = _with_doubt(share, READ_OFF)
            found[adjust.control] = FoundGain(at, doubt, typed=True, reached=True, step=state.step.id)
        elif volts:
            places = {control: gain.place for control, gain in found.items()}
            share, half = _gain_that_gives(run, state, chain, float(volts), places)
            ratio = float(volts) / adjust.target
            place = _with_doubt(share, half)
            if ratio < NEARLY:
                place = f"{min(100 * share, FULLY - 1):.3g} .. {FULLY:g} %"
            elif ratio > 1 / NEARLY:
                place = f"0 .. {max(100 * share, 1.0):.3g} %"
            reached = NEARLY <= ratio <= 1 / NEARLY
            found[adjust.control] = FoundGain(place, place, typed=False, reached=reached, step=state.step.id)
    return found


def reached_targets(run: Run) -> dict[str, float]:
    """Return amplifier -> volts read when its gain was turned, as a share of its target, where that was reached or nearly."""
    found: dict[str, float] = {}
    for state in run.steps:
        adjust, volts = state.step.adjust, state.value.get("value")
        if state.step.phase != "amplifier" or adjust is None or state.state != "done" or not volts:
            continue
        ratio = float(volts) / adjust.target
        if NEARLY <= ratio <= 1 / NEARLY:
            found[state.step.stage] = ratio
    return found


def _with_doubt(share: float, half: float) -> str:
    return f"{100 * share:.3g} % ± {100 * half:.2g} %"


def _gain_that_gives(
    run: Run, state: StepState, chain: Chain, volts: float, gains: dict[str, str]
) -> tuple[float, float]:
    """Return the share of its travel at which the model of the job gives a voltage, and half of its 95 % interval.

    The source is scaled to what was read of it: otherwise a weak source would look like a low gain here and like a high
    one in later steps. The interval is that of the voltage at this gain, over the slope of the gain there.
    """
    import numpy as np

    step = state.step
    assert step.adjust is not None  # noqa: S101  its gain was turned
    share = _source_ratio(run, state, chain)
    places = np.linspace(0, 1, GAIN_PLACES)
    settings = settings_during(run, state, gains=gains)
    control = step.adjust.control
    shown = solved_volts(state, chain, settings, {control: places}, more_db=20 * math.log10(share))
    near = int(np.argmin(np.abs(np.log(np.maximum(shown, 1e-9) / max(volts, 1e-9)))))
    drawn = chain.draws(draws=DRAWS, seed=SEED, quick=True)
    spread = solved_volts(state, chain, settings, {control: places[near]}, values=drawn)
    low, high = (20 * math.log10(max(float(v), 1e-9)) for v in np.quantile(spread, [0.025, 0.975]))
    below, above = max(near - 20, 0), min(near + 20, GAIN_PLACES - 1)
    rise = 20 * math.log10(max(shown[above], 1e-9) / max(shown[below], 1e-9)) / (places[above] - places[below])
    half = float(np.clip(0.5 * (high - low) / rise, READ_OFF / 8, WIDEST)) if rise > 0 else WIDEST
    return float(places[near]), half


def _source_ratio(run: Run, state: StepState, chain: Chain) -> float:
    """Return the reading of the source over the model's value, at a step's node if there is one, else at another.

    1 when no voltage was read.
    """
    import numpy as np

    here = state.step.measure_at
    for source in sorted(run.steps[: state.number], key=lambda s: s.step.measure_at != here):
        adjust = source.step.adjust
        if source.step.phase != "source" or adjust is None:
            continue
        under = [(s, v) for s, v in source.rows if v and source.state == "done" and s <= float(source.value["value"])]
        if under:
            place, volts = under[-1]
            shown = solved_volts(source, chain, settings_during(run, source), {adjust.control: place})
            return float(np.clip(volts / shown[0], LEAST_SHARE, 1 / LEAST_SHARE)) if shown[0] > 0 else 1.0
    return 1.0


def solved_volts(
    state: StepState,
    chain: Chain,
    settings: Mapping[str, str],
    moved: Mapping[str, Any] | None = None,
    *,
    more_db: float = 0,
    values: Mapping[str, Any] | None = None,
) -> npt.NDArray[Any]:
    """Return the volts rms at a step's node, shape (cases,).

    Parameters
    ----------
    settings : control -> setting, as the job file writes it.
    moved : control -> position of each case, shape (cases,), in place of its setting.
    more_db : how much louder than the step's the tone is, up to full scale.
    values : fact path -> value of each case; nominal without.
    """
    from gainwright.jobfile import with_settings
    from gainwright.solve import Chain, Conditions

    step = state.step
    level_dbfs = min((step.level_dbfs or 0.0) + more_db, 0.0)
    node = next(n for n in chain.nodes if str(n) == step.measure_at)
    solved = Chain(with_settings(chain.job, settings)).solve(
        Conditions(step.tone_hz, level_dbfs, values=values, settings=moved, unloaded=frozenset(step.speakers_off)),
        targets=(node,),
        margins=False,
    )
    return solved.rms_v[:, solved.index(node)]
