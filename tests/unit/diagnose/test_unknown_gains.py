"""Gains that a job doesn't give: anywhere in their range until one is read; and readings that fit nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from diagnosers import kept_diagnoser

from gainwright.diagnose import Diagnoser, make_diagnosis
from gainwright.diagnose.unknown_gains import MIDDLE, gain_positions, position_density, unknown_gains
from gainwright.jobfile import example_text, read_entry, read_job_text, with_settings
from gainwright.simulated import Fault, Rig, answer

if TYPE_CHECKING:
    from gainwright.model import Job

FRONT = {"at": "amp_front.out.left", "with": "meter", "tone": "1 kHz", "level": "-8 dBFS"}
TRAVEL_DB = 20 * np.log10(6.0 / 0.3)
"""Of amp_front: sensitivity 0.3 V fully up, 6 V fully down."""


@pytest.fixture(scope="module")
def job() -> Job:
    """Return a job that gives the position of one gain of three."""
    return read_job_text(example_text("two_way_and_sub")).job


@pytest.fixture(scope="module")
def diagnoser(job: Job) -> Diagnoser:
    """Return a diagnoser with many draws."""
    return Diagnoser(job, draws=2000)


def front_db(diagnoser: Diagnoser, *said: dict[str, Any]) -> tuple[float, float]:
    """Return what a sound chain shows at the front amplifier after some evidence, dB: mean and spread."""
    from gainwright.diagnose.observations import stimulus_of

    state = diagnoser.weigh([read_entry(s, diagnoser.job) for s in said])
    weight = state.active.belief.weight[0]
    front = read_entry(FRONT, diagnoser.job, answered=False)
    observer = state.active.answer_model.observer
    shown = observer.levels(stimulus_of(front), observer.nodes[FRONT["at"]], "meter").shown_db[0]  # type: ignore[arg-type]
    mean = float(weight @ shown)
    return mean, float(np.sqrt(weight @ (shown - mean) ** 2))


def test_only_unknown_gains_are_uniform_over_their_range(job: Job) -> None:
    """A gain that is given stays where it is; the others have the mean and spread of a uniform distribution (1/2, 1/sqrt 12)."""
    assert unknown_gains(job) == ("amp_front.gain", "amp_high.gain")
    assert unknown_gains(with_settings(job, {"amp_front.gain": "0 %"})) == ("amp_high.gain",)
    for places in gain_positions(job, draws=4000, seed=1).values():
        assert np.mean(places) == pytest.approx(0.5, abs=0.01)
        assert np.std(places) == pytest.approx(12**-0.5, abs=0.01)
    assert gain_positions(with_settings(job, {"amp_front.gain": "0 %", "amp_high.gain": "1 %"}), draws=4, seed=1) == {}


def test_density_of_a_position_integrates_to_one() -> None:
    """Over the range, at its middle."""
    places = np.linspace(0, 1, 100_001)
    assert np.trapezoid(position_density(places, 0.4), places) == pytest.approx(1.0, abs=1e-6)


def test_spread_of_a_level_is_that_of_the_range_until_the_position_is_read(job: Job, diagnoser: Diagnoser) -> None:
    """A uniform position spreads the level by the range in dB over sqrt 12; each position that is read moves the level by its share."""
    said = with_settings(job, {"amp_front.gain": "50 %"})
    _, alone_db = front_db(Diagnoser(said, draws=2000))
    _, spread_db = front_db(diagnoser)
    assert np.sqrt(spread_db**2 - alone_db**2) == pytest.approx(TRAVEL_DB / np.sqrt(12), rel=0.05)
    low, low_sd = front_db(diagnoser, {"check": "amp_front.gain", "is": "30 %"})
    high, high_sd = front_db(diagnoser, {"check": "amp_front.gain", "is": "60 %"})
    assert high - low == pytest.approx(0.3 * TRAVEL_DB, abs=1.0)
    assert max(low_sd, high_sd) < 0.85 * spread_db


def test_unknown_gain_counts_as_the_middle(diagnoser: Diagnoser) -> None:
    """Where one number is needed it is the middle of the range."""
    assert diagnoser.chain.settings["amp_front.gain"] == MIDDLE
    assert diagnoser.chain.settings["amp_sub.gain"] == pytest.approx(0.2)


@pytest.mark.parametrize("place", ["10 %", "50 %", "90 %"])
def test_unknown_gain_does_not_hide_an_open_speaker(job: Job, place: str) -> None:
    """Other amplifiers being louder or quieter than expected doesn't put the blame on the leads before them."""
    stands = with_settings(job, {"amp_front.gain": place, "amp_high.gain": place})
    for seed in (5, 7):
        rig = Rig(stands, seed=seed, faults=(Fault("speaker_open", "sub"),))
        tone = {"tone": "50 Hz", "level": "-8 dBFS"}
        asked = [
            {"heard": "sub", **tone},
            {"at": "knob.out.mono", "with": "meter", **tone},
            {"at": "amp_sub.out.mono", "with": "meter", **tone},
            FRONT,
            FRONT | {"at": "amp_high.out.left", "tone": "6.3 kHz"},
            {"check": "lead:amp_sub-sub"},
            {"check": "sub.resistance"},
        ]
        said = [read_entry(answer(rig, read_entry(e, job, answered=False)), job) for e in asked]
        first = make_diagnosis(kept_diagnoser(job), said).causes[0]
        assert (first.cause, first.where) == ("speaker_open", "sub")
        assert first.probability > 0.5


def test_readings_that_fit_nothing_raise_the_surprise(job: Job) -> None:
    """Random volts at random nodes: always an answer, and hardly ever one without surprise."""
    diagnoser = kept_diagnoser(job)
    nodes = [str(n) for n in diagnoser.chain.nodes]
    surprises = []
    for seed in range(10):
        rng = np.random.default_rng(seed)
        said = [FRONT | {"at": str(rng.choice(nodes)), "reads": f"{10 ** rng.uniform(-3, 2):.3g} V"} for _ in range(8)]
        found = make_diagnosis(diagnoser, [read_entry(e, job) for e in said])
        assert sum(c.probability for c in found.causes) <= 1 + 1e-9
        surprises.append(found.surprise)
    assert np.mean(np.array(surprises) > 0.5) >= 0.8
