"""Answers for some of the hypotheses are taken from those of more, and are the same as worked out for them alone."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.diagnose import Diagnoser
from gainwright.diagnose.answers import AnswerModel
from gainwright.diagnose.ensemble import MOST_DRAWN, Ensemble, Solved, Stimulus
from gainwright.diagnose.kept_answers import KeptAnswers
from gainwright.diagnose.observer import Observer
from gainwright.jobfile import example_text, read_job_text
from gainwright.model import Node

PLACES = ("amp_sub.power_lamp", "lead:amp_sub-sub", "sub.cone", "amp_sub.settings")
TONE = Stimulus(50.0, -8.0)


def test_what_is_known_of_more_hypotheses_is_not_worked_out_again_and_is_the_same() -> None:
    """A check, a word on a sound and an exchange of sides: by the rows of what was kept, and by the few alone."""
    of = Diagnoser(read_job_text(example_text("two_way_and_sub")).job, draws=16).rough
    rows = np.arange(3, len(of.changes), 17)
    swaps = [name for name in of.leads if len(of.leads[name]) > 1][:1]

    def answers(model: AnswerModel) -> list[np.ndarray]:
        checks = [model.check(place).chance for place in PLACES]
        heard = [model.heard("woofer", TONE).chance, model.heard("sub", None).chance]
        return [*checks, *heard, *(model.swapped(name, TONE, TONE).chance for name in swaps)]

    asked_before = answers(of)
    some = Observer(of.ensemble.of_some(rows), of.observer.instruments)
    kept, alone = AnswerModel(some, whole=(of, rows)), AnswerModel(some)
    solved = of.ensemble.solutions
    for before, mine, other in zip(asked_before, answers(kept), answers(alone), strict=True):
        np.testing.assert_array_equal(mine, other)
        assert mine.shape[1] == len(rows) < before.shape[1]
    assert not kept._drawn  # nothing was worked out for the few
    assert of.ensemble.solutions == solved


def test_an_exchange_is_solved_only_where_the_sides_differed(monkeypatch: pytest.MonkeyPatch) -> None:
    """What it makes of sides that were equal doesn't count: the answers are those of an exchange solved under every cause."""
    model = Diagnoser(read_job_text(example_text("two_way_and_sub")).job, draws=16).rough
    before, after = Stimulus(315.0, -8.0), Stimulus(315.0, -8.0, swapped="desk")
    whole, solved = Ensemble._solve, list[int]()

    def counted(self: Ensemble, stimulus: Stimulus, targets: frozenset[Node]) -> Solved:
        solved.extend([len(self.hypotheses)] * (stimulus.swapped == "desk"))
        return whole(self, stimulus, targets)

    monkeypatch.setattr(Ensemble, "_solve", counted)
    found = model.swapped("desk", before, after).chance
    assert 0 < max(solved) < 0.5 * len(model.changes)
    monkeypatch.setattr(
        AnswerModel, "_after_exchange", lambda self, sided, _, after: [self._sides_db(*pair, after) for pair in sided]
    )
    np.testing.assert_array_equal(found, model._exchange("desk", before, after).chance)
    assert max(solved) == len(model.changes)
    likeliest = np.bincount(np.argmax(found, axis=0).ravel(), minlength=3)
    assert np.all(likeliest > 0)


def test_what_is_kept_has_a_bound_and_what_was_dropped_is_worked_out_again() -> None:
    """The oldest go first (once a chain with 40 speakers at one output kept 730 MB of answers); the answers stay the same."""
    model = Diagnoser(read_job_text(example_text("one_amplifier")).job, draws=16).rough
    places = [*model.leads, "sub.cone", "sub.resistance"]
    first = {place: model.check(place).chance for place in places}
    one = max(chance.nbytes for chance in first.values())
    model._kept = KeptAnswers(most_bytes=2 * one)
    for place in (*places, *places):
        np.testing.assert_array_equal(model.check(place).chance, first[place])
        assert 0 < model._kept.bytes <= 2 * one
    assert model._kept.get(("check", places[0], "", True)) is None
    assert model._kept.get(("check", places[-1], "", True)) is not None


def test_numbers_of_a_chain_are_drawn_once_for_all_ensembles_with_the_same_draws() -> None:
    """Those of few hypotheses and of others are the chain's own draws of that seed; another seed has its own."""
    of = Diagnoser(read_job_text(example_text("full_range")).job, draws=16)
    first, other, again = (
        of._build([h], 16, seed).ensemble for h, seed in zip(of.all.hypotheses, (5, 6, 5), strict=False)
    )
    assert first.values is again.values
    own = of.chain.draws(draws=16, seed=5, quick=True)
    assert first.values.keys() == own.keys()
    for path, drawn in own.items():
        np.testing.assert_array_equal(first.values[path], 0.0 if path.endswith(".gain.mutes") else drawn)
    assert any(not np.array_equal(first.values[path], other.values[path]) for path in own)
    for seed in range(20, 20 + 2 * MOST_DRAWN):  # no more than so many are kept
        of._build([of.all.hypotheses[0]], 16, seed)
    assert of._build([of.all.hypotheses[0]], 16, 5).ensemble.values is not first.values
