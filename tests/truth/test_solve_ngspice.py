"""Whole chains against ngspice: every shipped example, linear (small signal) and clipping (transient), every node.

Speakers are load resistors here, and no cable takes of the supply: impedance over frequency is in test_speaker_loads, the
drop in test_supply_drop.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from netlist import Netlist

from gainwright.jobfile import example_text, examples, read_job_text
from gainwright.model import Amplifier, volume_of
from gainwright.solve import Chain, Conditions, Solution

LEVEL_DB = 0.002
"""Largest difference of a clipping node's rms: seen: 0.0003 dB."""
LINEAR_DB = 1e-6
"""The same far below every ceiling: seen: 1.5e-8 dB, in stop bands too."""
THD_SHARE = 0.002
"""Largest difference of THD, of its value: seen: 0.00015 from 0.5 % THD on."""
SETTLE_S = 0.09


def solved_and_netlist(
    name: str, tone_hz: float, level_dbfs: float, *, volume: int, gain: float
) -> tuple[Chain, Solution, Netlist]:
    """Return a chain, the solver's solution and the netlist of one state.

    `volume` counts steps below the top, down to the first; the stages' own distortion is left out, since the netlist has none.
    """
    job = read_job_text(example_text(name)).job
    chain = Chain(job)
    chain.curves.clear()
    chain.supply_shares.clear()
    values = {path: 0.0 if path.endswith((".distortion", ".gain.mutes")) else v for path, v in chain.nominal().items()}
    stand = dict(chain.settings)
    for control in stand:
        stage = job.stages[control.split(".")[0]]
        found_volume = volume_of(stage)
        if control.endswith(".volume") and found_volume is not None:
            stand[control] = max((found_volume.steps or 40) - volume, 1)  # at 0 a player is mute
        elif control.endswith(".gain") and isinstance(stage, Amplifier):
            stand[control] = gain
    solved = chain.solve(Conditions(tone_hz, level_dbfs, values=values, settings=stand))
    return chain, solved, Netlist(job, chain.wiring, values, stand, tone_hz=tone_hz, level_dbfs=level_dbfs)


def states(
    name: str, tone_hz: float, level_dbfs: float, *, volume: int, gain: float
) -> dict[str, tuple[float, float, float, float]]:
    """Return node -> rms by the solver, rms by ngspice's transient, THD by the solver, THD by ngspice."""
    chain, solved, net = solved_and_netlist(name, tone_hz, level_dbfs, volume=volume, gain=gain)
    waves = net.run(periods=max(3, math.ceil(SETTLE_S * tone_hz)))
    found = {}
    for i, node in enumerate(chain.nodes):
        lines = np.abs(np.fft.rfft(waves[node])) / len(waves[node])
        thd = float(np.sqrt(np.sum(lines[2:500] ** 2)) / lines[1])
        found[str(node)] = (float(solved.rms_v[0, i]), float(np.std(waves[node])), float(solved.thd[0, i]), thd)
    return found


@pytest.mark.parametrize("name", list(examples()))
@pytest.mark.parametrize("tone_hz", [40.0, 400.0])
def test_linear_levels_of_every_node(name: str, tone_hz: float) -> None:
    """Far below every ceiling, each node has the level of ngspice's small-signal analysis, in which nothing can clip."""
    chain, solved, net = solved_and_netlist(name, tone_hz, -20.0, volume=15, gain=0.3)
    phasors = net.phasors()
    for i, node in enumerate(chain.nodes):
        ours, theirs = float(solved.rms_v[0, i]), abs(phasors[node]) / math.sqrt(2)
        assert abs(20 * np.log10(ours / theirs)) < LINEAR_DB, (node, ours, theirs)


@pytest.mark.parametrize(
    ("name", "tone_hz"),
    [
        (n, f)
        for n in examples()
        for f in (50.0, 400.0)
        if f == 50.0 or n not in {"one_amplifier", "bridged_pair", "strapped_pair"}
    ],
)
def test_clipping_levels_and_thd_of_every_node(name: str, tone_hz: float) -> None:
    """With volume and gains up, stages clip one after the other; rms and THD of every node agree.

    Two examples have nothing but a low-passed subwoofer, and the fixed gain of a third can't be overdriven: they clip at 50 Hz only.
    """
    clipping = 0
    for node, (ours, theirs, thd, their_thd) in states(name, tone_hz, 0.0, volume=0, gain=0.7).items():
        if ours > 1e-3:
            assert abs(20 * np.log10(ours / theirs)) < LEVEL_DB, (node, ours, theirs)
            if thd > 0.005:
                clipping += 1
                assert abs(thd / their_thd - 1) < THD_SHARE, (node, thd, their_thd)
    assert clipping > 0


def test_another_volume_step_is_noticed() -> None:
    """The check can fail: one volume step less is far outside its tolerances."""
    node = "amp_front.out.left"
    full, less = (states("full_range", 400.0, 0.0, volume=v, gain=0.2)[node] for v in (0, 1))
    assert abs(20 * np.log10(full[0] / less[1])) > LEVEL_DB
    assert abs(full[2] / less[3] - 1) > THD_SHARE
