"""The solver: a muted gain, and many draws at once."""

from __future__ import annotations

import numpy as np
from small_chain import chain, solved

from gainwright.solve import Conditions


def test_a_muted_gain_passes_nothing() -> None:
    """At its lowest end, if it mutes there."""
    of = chain(("mutes_at_minimum: no", "mutes_at_minimum: yes"))
    assert solved(of, amp_gain=0.0)["amp.out.mono"][0] == 0
    assert solved(of, amp_gain=0.05)["amp.out.mono"][0] > 0


def test_batch_equals_its_draws_one_by_one() -> None:
    """Solving many draws at once gives what each alone gives, clipping ones too."""
    of = chain(("rated_output: 2 V", "rated_output: 2 V ± 20 %"), ("power: 100 W", "power: 100 W ± 20 %"))
    drawn = of.draws(draws=40, seed=9)
    together = of.solve(Conditions(100.0, 0.0, values=drawn))
    assert 0 < np.mean(together.margin_db[:, 1] < 0) <= 1
    for i in range(40):
        alone = of.solve(
            Conditions(100.0, 0.0, values={k: v if np.size(v) == 1 else float(v[i]) for k, v in drawn.items()})
        )
        for name in ("rms_v", "thd", "margin_db", "ceiling_v", "harmonics"):
            np.testing.assert_allclose(getattr(together, name)[i], getattr(alone, name)[0], rtol=1e-9, atol=1e-12)
