"""A shop's closed cases, counted by cause, complaint and kind of chain: what they do to the priors, in closed form."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from gainwright.diagnose import Cause, Diagnoser
from gainwright.diagnose.causes import NOTHING, PRIOR_TWO, PRIOR_UNKNOWN, WEIGHT_OF_TABLE
from gainwright.diagnose.shop_counts import (
    OTHER_CHAIN,
    OTHER_COMPLAINT,
    TWO_FAULTS,
    ClosedCases,
    ClosedCount,
    Weights,
    complaint_kind,
    learned_prior,
    two_with_cases,
    unknown_with_cases,
    with_cases,
)
from gainwright.diagnose.weighed import Evidence
from gainwright.jobfile import example_text, examples, read_entry, read_job_text
from gainwright.model import CHAIN_PARTS, chain_kind, read_chain_kind

IDS = (NOTHING, "lead_open", "lead_open", "gain_low")
TABLE = np.array([0.1, 0.3, 0.2, 0.4])
LIKELIHOOD = np.array([0.02, 0.9, 0.7, 0.1])
JOB = read_job_text(example_text("two_way_and_sub")).job


def by_id(values: Any) -> dict[str, float]:
    """Return the sum over the places of each cause."""
    return {i: float(sum(v for v, other in zip(values, IDS, strict=True) if other == i)) for i in IDS}


def weights(**counted: float) -> Weights:
    """Return weighted counts."""
    return Weights(float, counted)


def test_without_a_complaint_the_prior_is_the_mean_of_a_dirichlet_posterior() -> None:
    """(W p + n)/(W + N) for each cause (Gelman et al., Bayesian Data Analysis, 3rd ed., 3.4); places keep their shares."""
    prior = learned_prior(TABLE, TABLE, IDS, weights(lead_open=6, nothing_wrong=3), weights())
    assert by_id(prior) == pytest.approx(
        {NOTHING: (40 * 0.1 + 3) / 49, "lead_open": (40 * 0.5 + 6) / 49, "gain_low": 40 * 0.4 / 49}
    )
    assert WEIGHT_OF_TABLE == 40
    assert prior[1] / prior[2] == pytest.approx(TABLE[1] / TABLE[2])


def test_after_the_complaint_the_belief_is_the_mean_of_a_dirichlet_posterior() -> None:
    """Of the belief that the complaint alone leaves; so the complaint isn't counted twice, in the cases and in the likelihood."""
    after = TABLE * LIKELIHOOD / (TABLE @ LIKELIHOOD)
    p = by_id(after)
    prior = learned_prior(TABLE, after, IDS, weights(nothing_wrong=12, gain_low=4), weights())
    weighed = prior * LIKELIHOOD
    assert weighed.sum() == pytest.approx(TABLE @ LIKELIHOOD), "the complaint is as surprising as before"
    found = by_id(weighed / weighed.sum())
    counted = {NOTHING: 12, "lead_open": 0, "gain_low": 4 * 0.1 / 0.9}
    assert found == pytest.approx({i: (40 * p[i] + counted[i]) / (40 + sum(counted.values())) for i in p})


def test_cases_with_another_complaint_count_as_far_as_their_cause_explains_this_one() -> None:
    """By the likelihood relative to the greatest: a cause that never makes this complaint gains nothing from them, nor from alike ones."""
    likelihood = np.array([0.0, 0.8, 0.8, 0.2])
    after = TABLE * likelihood / (TABLE @ likelihood)
    p = by_id(after)
    prior = learned_prior(TABLE, after, IDS, weights(), weights(nothing_wrong=50, lead_open=8, gain_low=8))
    weighed = by_id(prior * likelihood / (prior @ likelihood))
    assert weighed == pytest.approx(
        {NOTHING: 0.0, "lead_open": (40 * p["lead_open"] + 8) / 50, "gain_low": (40 * p["gain_low"] + 2) / 50}
    )
    never = np.array([0.5, 0.8, 0.8, 0.0])
    after = TABLE * never / (TABLE @ never)
    assert by_id(learned_prior(TABLE, after, IDS, weights(gain_low=100), weights())) == pytest.approx(by_id(TABLE))


def test_the_diagnosis_believes_the_dirichlet_mean_after_the_complaint() -> None:
    """Cause by cause, within the error of its draws; evidence on top of it weighs as always; without cases nothing changes."""
    job = read_job_text(example_text("one_amplifier")).job
    complaint = [read_entry({"heard": "sub", "is": "faint"}, job)]
    rows = (
        ClosedCount(NOTHING, 8, "faint", chain_kind(job)),
        ClosedCount("gain_low", 6, "faint", chain_kind(job)),
        ClosedCount("gain_low", 6, "silent", "another"),
    )
    plain, shop = Diagnoser(job), Diagnoser(job, closed=ClosedCases(rows))
    alike, others = shop.closed.weighed(shop.kind, "faint")
    assert (dict(alike), dict(others)) == ({NOTHING: 8, "gain_low": 6}, {"gain_low": 6 * OTHER_CHAIN * OTHER_COMPLAINT})
    p = plain.all.weighed(plain.table, Evidence.of(complaint)).belief.probability
    likelihood = np.divide(p, plain.table, out=np.zeros_like(p), where=plain.table > 0)
    at = np.array([c.id == "gain_low" for c in plain.causes])
    explained = float(likelihood[at].max() / likelihood.max())
    counted = {NOTHING: 8.0, "gain_low": explained * 7.5}
    total = 40 + sum(counted.values())
    for cause, n in {**counted, "lead_open": 0.0}.items():
        of = np.array([c.id == cause for c in plain.causes])
        found = shop.all.weighed(shop._given(complaint)[0], Evidence.of(complaint)).belief.probability
        assert found[of].sum() == pytest.approx((40 * p[of].sum() + n) / total, rel=1e-6)
    assert shop._given([])[0] is shop.before
    assert plain._given(complaint)[0] is plain.table
    assert 0 < explained < 1


def test_alike_cases_weigh_more() -> None:
    """The same complaint and kind of chain in full, others less; a healthy chain is one, whatever it is called."""
    kind = chain_kind(JOB)
    counted = ClosedCases(
        (
            ClosedCount("lead_open", 4, "silent", kind),
            ClosedCount("lead_open", 4, "silent", "another"),
            ClosedCount("lead_open", 4, "faint", kind),
            ClosedCount("wrong_tone_for_path", 1, "silent", kind),
            ClosedCount("nothing_wrong", 1, "silent", kind),
        )
    )
    alike, others = counted.weighed(kind, "silent")
    assert alike == {"lead_open": 4 + 4 * OTHER_CHAIN, NOTHING: 2}
    assert others == {"lead_open": 4 * OTHER_COMPLAINT}
    alike, others = counted.weighed(kind, "")
    assert (alike["lead_open"], others) == (8 + 4 * OTHER_CHAIN, {})
    assert counted.by_cause["lead_open"] == 12


def test_a_cause_that_the_chain_cannot_have_is_not_counted() -> None:
    """And without cases the table stays, to the last digit."""
    causes = [Cause(i, str(n)) for n, i in enumerate(IDS)]
    foreign = ClosedCases.of({"coil_reversed": 100})
    assert with_cases(TABLE, causes, foreign, "") == pytest.approx(TABLE)
    assert with_cases(TABLE, causes, ClosedCases(), "") is TABLE


def test_the_complaint_is_what_is_heard_in_normal_use() -> None:
    """The gravest word; what is heard with a test tone is a test."""

    def said(*entries: dict[str, str]) -> str:
        return complaint_kind([read_entry(entry, JOB) for entry in entries])

    assert said({"heard": "woofer", "is": "normal"}, {"heard": "sub", "is": "silent"}) == "silent"
    assert said({"heard": "sub", "is": "silent", "tone": "50 Hz"}) == ""
    assert said({"check": "amp_sub.power_lamp", "is": "on"}) == ""


def test_every_chain_is_of_a_kind() -> None:
    """One word of each row, which is read again from words in any order."""
    kinds = {name: chain_kind(read_job_text(example_text(name)).job) for name in examples()}
    assert kinds["two_way_and_sub"] == "line source, processor, several amplifiers, sub"
    assert kinds["one_amplifier"] == "line source, no processor, one amplifier, sub"
    assert kinds["factory_converter"].startswith("factory source")
    assert kinds["digital_player"].startswith("digital source")
    assert kinds["full_range"] == "line source, no processor, several amplifiers, no sub"
    assert kinds["five_channel"] == "line source, no processor, one amplifier, sub"
    for kind in kinds.values():
        assert read_chain_kind("  ".join(reversed(kind.split(", "))).replace("  ", ",  ").upper()) == kind
    assert read_chain_kind(" ") == ""
    for wrong in (
        "sub",
        "sub, no sub, processor, one amplifier, line source",
        "line source, processor, two amplifiers, sub",
    ):
        with pytest.raises(ValueError, match="one of each"):
            read_chain_kind(wrong)
    assert len(CHAIN_PARTS) == 4


def test_cases_that_were_something_else_make_what_is_outside_likelier() -> None:
    """(W u + n)/(W + N) by hand: 3 of 10 cases give (0.8 + 3)/50; of another kind of chain they count half, (0.8 + 1.5)/45."""
    rows = (ClosedCount("something_else", 3, "", "here"), ClosedCount("lead_open", 7, "", "here"))
    counted = ClosedCases(rows)
    assert PRIOR_UNKNOWN == 0.02
    assert unknown_with_cases(counted, "here") == pytest.approx(3.8 / 50)
    assert unknown_with_cases(counted, "there") == pytest.approx(2.3 / 45)
    assert unknown_with_cases(ClosedCases(), "here") == 0.02
    without = ClosedCases(rows[1:])
    assert unknown_with_cases(without, "here") == pytest.approx(0.8 / 47), (
        "a shop that always found it among the causes"
    )
    causes = [Cause(i, str(n)) for n, i in enumerate(IDS)]
    assert with_cases(TABLE, causes, counted, "here") == pytest.approx(with_cases(TABLE, causes, without, "here"))


def test_after_a_complaint_too_the_belief_in_something_else_is_the_mean_of_a_beta_posterior() -> None:
    """By hand: the table leaves 0.1 after the complaint; 2 alike and 4 others at half, of 4 and 8: (4 + 4)/(40 + 8) = 1/6."""
    rows = (
        ClosedCount("something_else", 2, "silent", "here"),
        ClosedCount("something_else", 4, "hum", "here"),
        ClosedCount("lead_open", 2, "silent", "here"),
        ClosedCount("lead_open", 4, "hum", "here"),
    )
    prior = unknown_with_cases(ClosedCases(rows), "here", "silent", 0.1)
    ratio = (0.1 / 0.9) / (0.02 / 0.98)
    odds = prior / (1 - prior) * ratio
    assert odds / (1 + odds) == pytest.approx(1 / 6)


def test_cases_with_two_faults_raise_the_prior_of_two() -> None:
    """(W t + n)/(W + N), a beta posterior's mean: a case with two faults is one of N though both of its causes are counted."""
    of_two = [ClosedCount(cause, 6, "", "x") for cause in ("lead_open", "gain_low", TWO_FAULTS)]
    counted = ClosedCases((*of_two, ClosedCount("lead_open", 4, "silent", "x")))
    assert two_with_cases(counted, "x") == pytest.approx((40 * PRIOR_TWO + 6) / (40 + 10))
    assert two_with_cases(ClosedCases(), "x") == PRIOR_TWO
    assert counted.by_cause == {"lead_open": 10, "gain_low": 6}
    assert Diagnoser(JOB, closed=counted).two > 2 * PRIOR_TWO
