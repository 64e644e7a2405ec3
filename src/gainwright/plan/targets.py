"""The voltage an amplifier is set to: the lowest of what its rating, its speaker, its rails and its source allow."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright import physics
from gainwright.model import Amplifier, Speaker
from gainwright.plan.result import Target
from gainwright.plan.source import thd_limit
from gainwright.solve import Conditions, rails_v

if TYPE_CHECKING:
    from gainwright.plan.setting_out import End, SettingOut
    from gainwright.plan.source import CleanLimit

_LINEAR_DB = 60.0
"""How far down a tone is solved to learn gains without any clipping."""


def target(out: SettingOut, end: End, limit: CleanLimit) -> Target:
    """Return an amplifier's target with all its candidates, volts rms at its terminals.

    `clip` is the level at which all but one amplifier in forty of this description still stay under the THD limit at
    the running voltage; `source` is reached with the gain fully up, the volume at its clean limit and the set-up tone.
    """
    candidates = {"amplifier": rating_v(out, end), "clip": clip_v(out, end)}
    speaker = speaker_v(out, end)
    if speaker is not None:
        candidates["speaker"] = speaker
    candidates["source"] = reached_v(out, end, limit, position=1.0)
    order = ["speaker", "amplifier", "clip", "source"]
    set_by: Any = min((k for k in order if k in candidates), key=lambda k: round(candidates[k], 9))
    value = candidates[set_by]
    meter = out.meter()
    half = 0.0 if meter is None or meter[1].accuracy is None else meter[1].accuracy.ratio * value
    return Target(end.stage, value, set_by, value - half, value + half, candidates)


def load_ohm(out: SettingOut, end: End) -> float:
    """Return the load on one side of an end, without leads, ohm."""
    nominal = out.chain.nominal()
    siemens = sum(1 / nominal[f"{speaker}.impedance"] for speaker in end.speakers)
    return 1 / siemens if siemens else math.inf


def rating_v(out: SettingOut, end: End) -> float:
    """Return the rated voltage into the real load: sqrt(P R), by conductance between ratings."""
    stage = out.job.stages[end.stage]
    assert isinstance(stage, Amplifier)  # noqa: S101  only amplifiers have targets
    loads = np.array([r.load.nominal for r in stage.power])
    volts = np.array([math.sqrt(r.power.nominal * r.load.nominal) for r in stage.power])
    found = physics.loaded_ceiling(
        ratings_load_ohm=loads, ratings_v=volts[None, :], load_ohm=np.array([load_ohm(out, end)])
    )
    return float(np.squeeze(found))


def speaker_v(out: SettingOut, end: End) -> float | None:
    """Return the voltage at which the first speaker reaches its rating, None when no speaker has one."""
    found = []
    for name in end.speakers:
        stage = out.job.stages[name]
        assert isinstance(stage, Speaker)  # noqa: S101  ends drive speakers
        if stage.power is None or not stage.power.known:
            continue
        ohm = out.chain.nominal()[f"{name}.impedance"] * stage.count
        separate = stage.coils is not None and stage.coils.wiring == "separate"
        share = stage.coils.number if separate and stage.coils is not None else 1
        found.append(math.sqrt(stage.power.nominal / share * ohm))
    return min(found, default=None)


def clip_v(out: SettingOut, end: End) -> float:
    """Return the level that the amplifier reaches cleanly with 97.5 % certainty at the running voltage, loaded."""
    rails = np.atleast_1d(rails_v(out.chain, end.stage, {**out.chain.nominal(), **out.drawn}, unloaded=False))
    drive = physics.drive_for_thd(thd=thd_limit(out))
    over = float(physics.clipped_sine_rms(drive=drive)) * math.sqrt(2)
    return float(np.quantile(rails, 0.025)) * over


def reached_v(out: SettingOut, end: End, limit: CleanLimit, *, position: float) -> float:
    """Return what an end would reach without any clipping of its own, volts rms, at the middle of all spreads."""
    solved = out.opened.solve(
        Conditions(
            end.tone_hz,
            -end.allowance_db - _LINEAR_DB,
            settings={f"{limit.head}.volume": limit.middle, f"{end.stage}.gain": position},
        ),
        targets=end.nodes[:1],
    )
    return float(solved.rms_v[0, solved.index(end.nodes[0])]) * 10 ** (_LINEAR_DB / 20)


def gain_position(out: SettingOut, end: End, limit: CleanLimit, volts: float) -> float:
    """Return where the gain is expected to stand when an end reaches a voltage (0 .. 1), at the middle."""
    positions = np.linspace(0.0, 1.0, 101)
    solved = out.opened.solve(
        Conditions(
            end.tone_hz,
            -end.allowance_db - _LINEAR_DB,
            settings={f"{limit.head}.volume": limit.middle, f"{end.stage}.gain": positions},
        ),
        targets=end.nodes[:1],
    )
    reached = solved.rms_v[:, solved.index(end.nodes[0])] * 10 ** (_LINEAR_DB / 20)
    return float(np.interp(volts, reached, positions))
