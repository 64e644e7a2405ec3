"""Every cause as a change to the solver, against the same fault in the rig: two methods, one voltage at each node."""

from __future__ import annotations

import functools
import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from gainwright.diagnose import Cause, Diagnoser
from gainwright.diagnose.ensemble import Ensemble, Stimulus
from gainwright.jobfile import example_text, read_job_text, with_settings
from gainwright.model import Amplifier, Job, gives_power, unit_of
from gainwright.simulated import Fault, Rig, possible_faults

if TYPE_CHECKING:
    from gainwright.diagnose.change import Change

JOBS = ("two_way_and_sub", "factory_converter", "bridged_pair", "full_range")
STIMULI = ((47.0, -10.0), (1000.0, -10.0), (6000.0, -3.0))
"""Hz and dBFS; from 46.9 Hz on, a period at the rig's rate has 16 384 samples, below twice as many."""
REL, ABS_V = 0.012, 2e-4
"""The rig filters digitally at 768 kHz and more and cuts samples: a hundredth of a volt in a volt."""


@functools.cache
def job(name: str) -> Job:
    """Return an example with its gains somewhere in their travel."""
    read = read_job_text(example_text(name)).job
    return with_settings(read, {f"{n}.gain": "35 %" for n, s in read.stages.items() if isinstance(s, Amplifier)})


@functools.cache
def diagnoser(name: str) -> Diagnoser:
    """Return the diagnoser of an example, for its chain and its causes."""
    return Diagnoser(job(name))


def amount(cause: Cause, change: Change, truth: dict[str, float]) -> float | None:
    """Return how much a change changes, in the rig's unit."""

    def first(mapping: Any) -> float:
        value = next(iter(mapping.values()))
        return float(value[0][0] if isinstance(value, tuple) else np.atleast_1d(value)[0])

    db = {"source_low": "gain", "tone_level_wrong": "gain", "fader_over": "gain"}
    if cause.id in db:
        return -20 * math.log10(first(change.gain))
    if cause.id == "level_control_down":
        return -first(change.settings)
    if cause.id in ("gain_low", "gain_high"):
        return first(change.settings)
    fields = {
        "lead_resistive": change.series_ohm,
        "low_pass_in_the_way": change.low_pass_hz,
        "high_pass_in_the_way": change.high_pass_hz,
        "load_too_low": change.load,
        "supply_sagging": change.ceiling or change.supply,  # of a regulated amplifier it changes no voltage
    }
    if cause.id == "lead_shorted":
        return 1 / first(change.shorted)
    if cause.id == "speaker_shorted":
        return first(change.load) * truth[f"{cause.where}.impedance"]
    return first(fields[cause.id]) if cause.id in fields else None


def with_change(name: str, cause: Cause, rig: Rig) -> tuple[Ensemble, Change]:
    """Return a chain under a cause as the solver sees it, with the rig's own hidden numbers, and what is changed."""
    chain = diagnoser(name).chain
    chain.curves.clear()  # the rig has load resistors for speakers
    ensemble = Ensemble(chain, [(cause,)], draws=1, seed=5)
    # an output for speakers that limits its current into a short, as the rig's below
    ensemble._use(np.array([[0.4, 0.5, 0.9]]))
    ensemble.values = {path: np.array([v]) for path, v in rig.truth.items() if path in chain.facts}
    return ensemble, ensemble.changes[0]


def solved(ensemble: Ensemble, tone_hz: float, level_dbfs: float) -> dict[str, float]:
    """Return the solver's voltage at each node under the cause."""
    found = ensemble.solve(Stimulus(tone_hz, level_dbfs), frozenset(ensemble.chain.nodes))
    case = int(found.row[0])
    return {str(n): float(found.solution.rms_v[case, i]) for i, n in enumerate(found.solution.nodes)}


NOT_THE_SAME = {
    "boost_on": "the rig's boost is centred on the tone that is played, or the nearest that is passed",
    "player_equaliser_on": "the same",
    "input_mode_wrong": "the rig's takes 14 dB, here it may silence",
    "balance_over": "the rig takes 40 dB from the right side",
    "low_pass_in_the_way": "the rig's filter takes the place of the job's, here it comes on top",
    "high_pass_in_the_way": "the same",
}


def causes_to_try(name: str) -> list[Cause]:
    """Return the causes that both can have."""
    possible = set(possible_faults(job(name)))
    return [c for c in diagnoser(name).causes if (c.id, c.where) in possible and c.id not in NOT_THE_SAME]


@pytest.mark.parametrize("name", JOBS)
def test_a_change_gives_the_voltages_of_the_rig(name: str) -> None:
    """At every node, for three tones, each cause in the solver and in the rig gives the same voltage."""
    wrong = []
    plain = Rig(job(name), seed=8)
    plain.truth |= {path: 0.0 for path in plain.truth if path.endswith("gain.mutes")}
    for cause in causes_to_try(name):
        ensemble, change = with_change(name, cause, plain)
        fault = Fault(cause.id, cause.where, amount(cause, change, plain.truth))
        rig = Rig(job(name), seed=8, truth=plain.truth, faults=(fault,))
        rig.limiting = frozenset(unit_of(rig.job, n) for n, s in rig.job.stages.items() if gives_power(s))
        for tone_hz, level_dbfs in STIMULI:
            mine = solved(ensemble, tone_hz, level_dbfs)
            rig.play(tone_hz, level_dbfs)
            for node, wave in rig.periods().items():
                volts = math.sqrt(float(np.mean(wave**2)))
                if not math.isclose(mine[node], volts, rel_tol=REL, abs_tol=ABS_V):
                    wrong.append((str(cause), tone_hz, node, round(mine[node], 5), round(volts, 5)))
    assert wrong == []


def test_wrong_change_is_noticed() -> None:
    """The comparison can fail: the voltages under one cause are not those of the rig under another."""
    rig = Rig(job("two_way_and_sub"), seed=8, faults=(Fault("gain_muted", "amp_sub"),))
    rig.play(45.0, -10.0)
    ensemble, _ = with_change("two_way_and_sub", Cause("gain_low", "amp_sub"), rig)
    mine = solved(ensemble, 45.0, -10.0)
    volts = math.sqrt(float(np.mean(rig.periods()["amp_sub.out.mono"] ** 2)))
    assert abs(mine["amp_sub.out.mono"] - volts) > 0.05
