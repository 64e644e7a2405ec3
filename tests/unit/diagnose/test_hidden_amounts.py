"""How wide hidden amounts are, and how far stages may be off: on shipped jobs, by what practice says."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from gainwright.diagnose import Cause, Diagnoser
from gainwright.diagnose.observations import observe
from gainwright.jobfile import example_text, read_entry, read_job_text


@functools.cache
def diagnoser(name: str) -> Diagnoser:
    """Return the diagnoser of an example."""
    return Diagnoser(read_job_text(example_text(name)).job)


def chance(name: str, entry: dict[str, str], *causes: tuple[str, str]) -> list[float]:
    """Return the mean probability of an entry's answer under causes."""
    of = diagnoser(name).rough
    (found,) = observe(0, read_entry(entry, of.chain.job), of)
    assert found.chance is not None
    return [float(np.mean(found.chance[of.ensemble.hypotheses.index((Cause(*c),))])) for c in causes]


def test_a_cone_behind_a_bad_lead_hardly_moves() -> None:
    """A battery at the end of a lead of some ohms to kilo-ohms moves a 4 ohm cone seldom; with the lead good it does."""
    entry = {"check": "sub.cone", "is": "still"}
    bad, sound = chance("two_way_and_sub", entry, ("lead_resistive", "lead:amp_sub-sub"), ("nothing_wrong", ""))
    assert 0.5 < bad < 0.95
    assert sound < 0.05


def test_noise_cancelling_is_not_taken_for_hum_by_who_knows_the_car() -> None:
    """It plays whenever the engine runs: with music as always a sound car is called normal, whatever it is without music."""
    (normal,) = chance("factory_equaliser", {"heard": "sub", "is": "normal"}, ("nothing_wrong", ""))
    assert normal > 0.9


def test_a_low_pass_in_the_way_of_doors_is_heard_in_music() -> None:
    """Music isn't all at the tone of the set-up: a low-pass meant for a sub makes doors faint or silent mostly."""
    of = diagnoser("full_range").rough
    entry = read_entry({"heard": "rear", "is": "normal"}, of.chain.job)
    (found,) = observe(0, entry, of)
    assert found.chance is not None
    index = of.ensemble.hypotheses.index((Cause("low_pass_in_the_way", "amp_rear"),))
    assert np.mean(found.chance[index]) < 0.5


@pytest.mark.parametrize("kind", ["low_pass", "high_pass"])
def test_a_filter_in_the_way_takes_something_of_what_should_be_heard(kind: str) -> None:
    """Its corner lies inside the band of what comes behind the output, by a factor of 0.7 at least."""
    of = diagnoser("two_way_and_sub").rough
    node = next(n for n in of.chain.nodes if str(n) == "amp_sub.out.mono")
    index = of.ensemble.hypotheses.index((Cause(f"{kind}_in_the_way", "amp_sub"),))
    corner_hz = getattr(of.ensemble.changes[index], f"{kind}_hz")[node]
    edges = {
        k: [fact.quantity.nominal for path, fact in of.chain.facts.items() if f"sub.{k}.corner" in path]
        for k in ("low_pass", "high_pass")
    }
    if kind == "low_pass":
        assert np.max(corner_hz) <= 0.7 * min(edges["low_pass"]) + 1e-6
    else:
        assert np.min(corner_hz) >= max(edges["high_pass"], default=40.0) / 0.7 - 1e-6


def test_a_volume_that_nobody_measured_is_known_badly() -> None:
    """Beyond its draws a source is taken to be off by decibels, an amplifier by its sensitivity and its knob; others by little."""
    doubts = diagnoser("two_way_and_sub").rough.observer.stage_db
    assert doubts["head"] == 4.0
    assert doubts["desk"] == 0.4
    assert 0.8 < doubts["amp_sub"] < 1.6


def test_what_is_off_is_rather_a_little_off_than_far() -> None:
    """Of gains, up or down, more than half lie in the nearer half of their span; at its lowest a gain is all the same."""
    of = diagnoser("two_way_and_sub").rough
    index = {h[0]: i for i, h in enumerate(of.ensemble.hypotheses)}
    stands = of.chain.settings["amp_sub.gain"]
    for name in ("gain_low", "gain_high"):
        off = np.abs(of.changes[index[Cause(name, "amp_sub")]].settings["amp_sub.gain"] - stands)
        share = (off - off.min()) / (off.max() - off.min())
        assert np.mean(share < 0.5) > 0.55
    # of an amount to the power of 1.5, 13.8 % lies in the last fifth: a gain is left at its lowest by a reset
    places = of.changes[index[Cause("gain_low", "amp_sub")]].settings["amp_sub.gain"]
    nearest = max(stands - 0.06, 0.7 * stands)
    assert np.mean(places < 0.2 * nearest) == pytest.approx(1 - 0.8 ** (1 / 1.5), abs=0.02)


def test_a_filter_on_the_wrong_side_keeps_its_corner() -> None:
    """A switch turns the filter of a sub over where its corner stands: most are those that part a sub from doors."""
    of = diagnoser("two_way_and_sub").rough
    index = {h[0]: i for i, h in enumerate(of.ensemble.hypotheses)}
    change = of.changes[index[Cause("high_pass_in_the_way", "amp_sub")]]
    corners = next(iter(change.high_pass_hz.values()))
    used = corners[(corners > corners.min()) & (corners < 500)]
    assert np.median(used) > np.sqrt(used.min() * 500) / 1.1
