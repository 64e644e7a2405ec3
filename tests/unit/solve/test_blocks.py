"""Blocks of cases that are alike at most cells: each is what the chain gives with its own deviations alone."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from gainwright.diagnose import Diagnoser
from gainwright.diagnose.change import Change
from gainwright.diagnose.ensemble import Ensemble, Stimulus
from gainwright.jobfile import example_text, read_job_text
from gainwright.solve import NEUTRAL, Alteration, CaseBlock, CaseBlocks, Conditions

DRAWS = 3


def _alteration(change: Change, **actions: Any) -> Alteration:
    return Alteration(**{n: getattr(change, n) for n in (*NEUTRAL, "boost", "instead")} | actions)


@pytest.mark.parametrize("example", ["full_range", "bridged_pair", "strapped_pair"])
@pytest.mark.parametrize("crossed", [False, True])
def test_each_block_is_the_chain_with_its_own_deviations(example: str, crossed: bool) -> None:
    """Of every cause of a job, at every node, clipping ones and exchanged sides too."""
    diagnoser = Diagnoser(read_job_text(example_text(example)).job, draws=DRAWS)
    ensemble, chain = diagnoser.rough.ensemble, diagnoser.chain
    sided = next((s for s in chain.wiring.order if chain.wiring.has_sides(s)), None)
    ports = (
        [] if sided is None or not crossed else [p for p in chain.wiring.ports(sided) if p.side in ("left", "right")]
    )
    actions = dict.fromkeys(ports, 1.0)
    changes = [c for c in ensemble.changes if not (actions and c.crosses)][::3]
    alters = [_alteration(c, **({"crossed": actions} if actions else {})) for c in changes]
    blocks = [CaseBlock(Alteration(crossed=actions), {}, frozenset())]
    blocks += [CaseBlock(a, c.settings, c.touches(chain)) for a, c in zip(alters, changes, strict=True)]
    every = frozenset(chain.nodes)
    ready = CaseBlocks(chain, blocks, draws=DRAWS, values=ensemble.values, settings={}, targets=every)
    found = ready.solve(Conditions(400.0, 12.0), harmonics=3)
    assert np.any(found.thd > 0.01)
    for i, block in enumerate(blocks):
        alone = chain.solve(
            Conditions(400.0, 12.0, values=ensemble.values, settings=dict(block.settings), alter=block.alter),
            targets=every,
            harmonics=3,
            margins=False,
        )
        rows = slice(i * DRAWS, (i + 1) * DRAWS)
        for name in ("rms_v", "fundamental_v"):
            expected = np.broadcast_to(getattr(alone, name), (DRAWS, len(chain.nodes)))
            np.testing.assert_allclose(getattr(found, name)[rows], expected, rtol=1e-7, atol=1e-9)


def test_a_node_that_was_solved_beside_another_is_not_solved_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """A reading in the middle of a path asks for nothing more when the end of another path through it was asked for."""
    diagnoser = Diagnoser(read_job_text(example_text("two_way_and_sub")).job, draws=2)
    observer, chain = diagnoser.rough.observer, diagnoser.chain
    ways = [path.nodes for path in chain.wiring.paths if path.nodes[0].output == "front"]
    assert len({way[-1].stage for way in ways}) > 1
    asked: list[frozenset[Any]] = []
    usual = Ensemble._solve

    def counted(ensemble: Ensemble, stimulus: Stimulus, targets: frozenset[Any]) -> Any:
        asked.append(targets)
        return usual(ensemble, stimulus, targets)

    monkeypatch.setattr(Ensemble, "_solve", counted)
    stimulus = Stimulus(1000.0, -9.0)
    observer.level_v(stimulus, ways[-1][-1], ways[-1])
    observer.level_v(stimulus, ways[-1][0], ways[-1])
    observer.level_v(stimulus, ways[-1][0])
    assert len(asked) == 1
