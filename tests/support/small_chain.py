"""A source, an amplifier and a speaker with nothing in between: the chain for the solver's closed forms."""

from __future__ import annotations

from typing import Any

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
    """Return the chain with texts changed; its speaker is a load resistor, as amplifiers are rated with (CTA-2006)."""
    text = CHAIN
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    found = Chain(read_job_text(text).job)
    found.curves.clear()
    return found


def solved(of: Chain, *, tone_hz: float = 1000.0, level_dbfs: float = -10.0, **settings: float) -> dict[str, Any]:
    """Return rms and margin of every node, without the stages' own distortion."""
    values = {k: 0.0 for k in of.nominal() if k.endswith(".distortion")}
    named = {k.replace("_", ".", 1): v for k, v in settings.items()}
    found = of.solve(Conditions(tone_hz, level_dbfs, values=values, settings=named))
    return {str(n): (float(found.rms_v[0, i]), float(found.margin_db[0, i])) for i, n in enumerate(of.nodes)}
