"""The solver: a muted gain, and many cases at once."""

from __future__ import annotations

from typing import Any

import numpy as np

from gainwright.jobfile import read_job_text
from gainwright.solve import Chain, Conditions

CHAIN = """
format: 1
vehicle: {running: 14.4 V}
stages:
  head:
    kind: head_unit
    rated_output: 2 V
    output_impedance: 600 ohm
    volume: {steps: 20, at: 20, step: 1 dB, top: 0 dB}
    outputs: {out: {sides: [mono]}}
  amp:
    kind: amplifier
    from: head
    input_impedance: 10 kohm
    output_impedance: 0.01 ohm
    power: 100 W @ 4 ohm
    headroom: 0 dB
    sensitivity: 1 .. 8 V
    gain: {at: 100 %, mutes_at_minimum: no}
    lead: {resistance: 0 ohm}
  sub: {kind: speaker, from: amp, impedance: 4 ohm, power: 100 W, lead: {resistance: 0 ohm}}
"""


def chain(*changes: tuple[str, str]) -> Chain:
    """Return the chain with texts changed."""
    text = CHAIN
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return Chain(read_job_text(text).job)


def solved(of: Chain, *, tone_hz: float = 1000.0, level_dbfs: float = -10.0, **settings: float) -> dict[str, Any]:
    """Return rms and margin of every node, without the stages' own distortion."""
    values = {k: 0.0 for k in of.nominal() if k.endswith(".distortion")}
    named = {k.replace("_", ".", 1): v for k, v in settings.items()}
    found = of.solve(Conditions(tone_hz, level_dbfs, values=values, settings=named))
    return {str(n): (float(found.rms_v[0, i]), float(found.margin_db[0, i])) for i, n in enumerate(of.nodes)}


def test_a_muted_gain_passes_nothing() -> None:
    """At its lowest end, when it mutes there."""
    of = chain(("mutes_at_minimum: no", "mutes_at_minimum: yes"))
    assert solved(of, amp_gain=0.0)["amp.out.mono"][0] == 0
    assert solved(of, amp_gain=0.05)["amp.out.mono"][0] > 0


def test_a_batch_is_its_cases_one_by_one() -> None:
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
