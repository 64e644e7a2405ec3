"""A chain of very many stages: memory and time are bounded, and nothing changes for one of a car."""

from __future__ import annotations

import numpy as np
import pytest
from small_chain import chain
from troubleshooting import small_problem

from gainwright.diagnose import Diagnoser, choosing
from gainwright.diagnose import usual_draws as bounds
from gainwright.diagnose.usual_draws import DRAWS, usual_draws
from gainwright.jobfile import example_text, examples, read_job_text
from gainwright.model import Multimeter
from gainwright.solve import Conditions
from gainwright.solve.instruments import meter_reading


def test_many_causes_have_fewer_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    """So many that causes times draws stay about the same (once 40 stages took minutes and 2.8 GB)."""
    job = read_job_text(example_text("one_amplifier")).job
    many = len(Diagnoser(job).causes)
    monkeypatch.setattr(bounds, "MOST_CASES", 20 * many)
    assert Diagnoser(job).rough.ensemble.draws == 20
    monkeypatch.setattr(bounds, "MOST_CASES", many)
    assert Diagnoser(job).rough.ensemble.draws == bounds.LEAST_DRAWS


@pytest.mark.parametrize("name", examples())
def test_the_chains_of_cars_have_all_draws(name: str) -> None:
    """Every example, with room to spare."""
    found = Diagnoser(read_job_text(example_text(name)).job)
    assert 1.3 * len(found.causes) * DRAWS < bounds.MOST_CASES
    assert 3 * len(found.causes) * DRAWS * len(found.chain.nodes) < bounds.MOST_LEVELS


@pytest.mark.parametrize(("causes", "outputs", "draws"), [(50, 4, 64), (300, 80, 41), (1000, 4, 40), (1000, 80, 16)])
def test_many_outputs_take_fewer_draws_too(causes: int, outputs: int, draws: int) -> None:
    """So many that what is kept of a tone, a level of each output in each draw, stays below a million."""
    assert usual_draws(causes, outputs) == draws
    assert draws == bounds.LEAST_DRAWS or causes * outputs * draws <= bounds.MOST_LEVELS


def test_many_cases_are_valued_part_by_part(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the same costs as all at once."""
    problem, prior = small_problem(4, most=3)
    belief = np.random.default_rng(1).dirichlet(np.ones(len(prior)), size=23)
    opened = np.random.default_rng(2).random((23, len(problem.panels))) < 0.5
    whole = problem.to_go(belief, opened)
    monkeypatch.setattr(choosing, "MOST_AT_ONCE", 5 * len(problem.closers))
    np.testing.assert_array_equal(problem.to_go(belief, opened), whole)


def test_an_average_responding_meter_looks_at_one_node_alone() -> None:
    """The harmonics of all nodes under all causes are a gigabyte for 40 stages. The rectified mean is that of the wave itself."""
    found = chain(("rated_output: 2 V", "rated_output: 2 V ± 20 %")).solve(Conditions(100.0, 0.0, values={}))
    shown = meter_reading(Multimeter.model_validate({"kind": "multimeter", "true_rms": "no"}), found, 1, tone_hz=100.0)
    assert "harmonics" not in vars(found)
    orders = np.arange(1, found.harmonics.shape[2] + 1)
    angle = np.linspace(0, 2 * np.pi, 4096, endpoint=False)
    wave = np.real(found.harmonics[0, 1] @ np.exp(1j * np.outer(orders, angle)))
    assert shown.value[0] == pytest.approx(np.pi / (2 * np.sqrt(2)) * np.mean(np.abs(wave)), rel=1e-3)
