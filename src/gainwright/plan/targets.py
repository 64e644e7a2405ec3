"""The target voltage of an amplifier: the lowest that its rating, its speaker, its rails and its source allow."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright import physics
from gainwright.model import Amplifier, Speaker
from gainwright.plan.result import Target
from gainwright.plan.source import thd_limit
from gainwright.plan.strapping import halves
from gainwright.solve import Conditions, amplifier_ceiling_v

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.source import CleanLimit

    Floats = npt.NDArray[np.float64]

_ROUNDED = 0.98
"""Share of a lowest load that still is that load, as figures of devices are rounded."""
_LINEAR_DB = 60.0
"""Level reduction at which gains are solved without clipping."""


def target(context: PlanContext, end: End, limit: CleanLimit) -> Target:
    """Return an amplifier's target with all candidates, volts rms at its terminals.

    `clip` is the level at which 39 of 40 amplifiers of this description are still below the THD limit at the running
    voltage; `source` is reached with the gain fully up, the volume at its clean limit and the set-up tone.
    """
    candidates = {"amplifier": rating_v(context, end), "clip": clip_v(context, end)}
    speaker = speaker_v(context, end)
    if speaker is not None:
        candidates["speaker"] = speaker
    candidates["source"] = reached_v(context, end, limit, position=1.0)
    order = ["speaker", "amplifier", "clip", "source"]
    set_by: Any = min((k for k in order if k in candidates), key=lambda k: round(candidates[k], 9))
    value = candidates[set_by]
    meter = context.meter()
    half = 0.0 if meter is None or meter[1].accuracy is None else meter[1].accuracy.ratio * value
    return Target(end.stage, value, set_by, value - half, value + half, candidates)


def load_ohm(context: PlanContext, end: End) -> float:
    """Return the load on one side of an output of an end, the lowest of all its outputs, without leads, ohm."""
    return min(loads_ohm(context, end).values(), default=math.inf)


def is_too_low(ohm: float, lowest_ohm: float) -> bool:
    """Return whether a load is below the lowest that is allowed, by more than rounding."""
    return ohm < _ROUNDED * lowest_ohm


def loads_ohm(context: PlanContext, end: End) -> dict[tuple[str, ...], float]:
    """Return the speakers at each side of each output of an end -> their load in parallel, without leads, ohm."""
    nominal, wiring = context.chain.nominal(), context.chain.wiring
    found: dict[tuple[str, ...], float] = {}
    for node in end.nodes:
        at = {port.stage for port in wiring.ports_fed_by(node)}
        speakers = tuple(name for name in end.speakers if name in at)
        if speakers:
            found[speakers] = 1 / sum(halves(context, name) / nominal[f"{name}.impedance"] for name in speakers)
    return found


def rating_v(context: PlanContext, end: End) -> float:
    """Return the rated voltage into the actual load: sqrt(P R), interpolated over conductance between ratings."""
    stage = context.job.stages[end.stage]
    assert isinstance(stage, Amplifier)  # noqa: S101  only amplifiers have targets
    loads = np.array([r.load.nominal for r in stage.power])
    watts = [context.chain.nominal()[f"{end.stage}.power.{i}"] for i in range(len(stage.power))]
    volts = np.sqrt(np.array(watts) * loads)
    found = physics.loaded_ceiling(
        ratings_load_ohm=loads, ratings_v=volts[None, :], load_ohm=np.array([load_ohm(context, end)])
    )
    return float(np.squeeze(found))


def rail_v(context: PlanContext, end: End) -> float:
    """Return the peak that an amplifier's rails allow: that of a sine at its highest rated voltage."""
    stage = context.job.stages[end.stage]
    assert isinstance(stage, Amplifier)  # noqa: S101  only amplifiers have ratings
    nominal = context.chain.nominal()
    return math.sqrt(2 * max(nominal[f"{end.stage}.power.{i}"] * r.load.nominal for i, r in enumerate(stage.power)))


def speaker_v(context: PlanContext, end: End) -> float | None:
    """Return the voltage at which the first speaker reaches its rating, None when no speaker has one."""
    found = []
    for name in end.speakers:
        stage = context.job.stages[name]
        assert isinstance(stage, Speaker)  # noqa: S101  ends drive speakers
        if stage.power is None or not stage.power.known:
            continue
        ohm = context.chain.nominal()[f"{name}.impedance"] * stage.count
        separate = stage.coils is not None and stage.coils.wiring == "separate"
        share = stage.coils.number if separate and stage.coils is not None else 1
        found.append(math.sqrt(stage.power.nominal / share * ohm) / halves(context, name))
    return min(found, default=None)


def clip_v(context: PlanContext, end: End) -> float:
    """Return the level that the amplifier reaches cleanly with 97.5 % certainty at the running voltage, loaded."""
    rails = np.atleast_1d(
        amplifier_ceiling_v(context.chain, end.stage, {**context.chain.nominal(), **context.drawn}, unloaded=False)
    )
    drive = physics.drive_for_thd(thd=thd_limit(context))
    over = float(physics.clipped_sine_rms(drive=drive)) * math.sqrt(2)
    return float(np.quantile(rails, 0.025)) * over


def reached_v(context: PlanContext, end: End, limit: CleanLimit, *, position: float) -> float:
    """Return the voltage that an end would reach without clipping, speakers off, volts rms, at nominal values."""
    return float(_reached_v(context, end, limit, position)[0])


def _reached_v(context: PlanContext, end: End, limit: CleanLimit, positions: float | Floats) -> Floats:
    """Return the same at each position of the gain."""
    solved = context.opened.solve(
        Conditions(
            end.tone_hz,
            -end.allowance_db - _LINEAR_DB,
            settings={f"{limit.head}.volume": limit.middle, f"{end.stage}.gain": positions},
            unloaded=context.speakers,
        ),
        targets=end.nodes[:1],
    )
    return np.asarray(solved.rms_v[:, solved.index(end.nodes[0])] * 10 ** (_LINEAR_DB / 20))


def gain_position(context: PlanContext, end: End, limit: CleanLimit, volts: float) -> float:
    """Return the expected gain position (0 .. 1) at which an end reaches a voltage, speakers off, at nominal values."""
    positions = np.linspace(0.0, 1.0, 101)
    return float(np.interp(volts, _reached_v(context, end, limit, positions), positions))


def first_at_rating(context: PlanContext, end: End) -> tuple[str, float, float | None]:
    """Return the speaker that reaches its rating at the lowest voltage, its load in ohm and its rating in watts.

    Without any rating: the speaker with the lowest load, and None.
    """
    nominal, rated, others = context.chain.nominal(), [], []
    for name in end.speakers:
        stage = context.job.stages[name]
        assert isinstance(stage, Speaker)  # noqa: S101  ends drive speakers
        # in the pair's middle the load is at zero: twice the voltage across it is a quarter of its ohms at each amplifier
        ohm = nominal[f"{name}.impedance"] * stage.count / halves(context, name) ** 2
        others.append((ohm, name))
        if stage.power is not None and stage.power.known:
            separate = stage.coils is not None and stage.coils.wiring == "separate"
            share = stage.coils.number if separate and stage.coils is not None else 1
            watts = stage.power.nominal / share
            rated.append((math.sqrt(watts * ohm), name, ohm, watts))
    if rated:
        _, name, ohm, watts = min(rated)
        return name, ohm, watts
    return (min(others)[1], min(others)[0], None) if others else ("", math.inf, None)
