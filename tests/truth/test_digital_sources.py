"""Digital sources and a master volume against AES17's definition of full scale and closed forms."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from gainwright import physics
from gainwright.jobfile import read_job_text
from gainwright.model import Node
from gainwright.plan.context import PlanContext
from gainwright.plan.source_findings import source_findings
from gainwright.simulated import Rig
from gainwright.solve import Alteration, Chain, Conditions, levels

CHAIN = """
format: 1
stages:
  player:
    kind: head_unit
    volume: {steps: 20, at: 20, step: 1 dB}
    outputs: {out: {digital: usb}}
  desk:
    kind: processor
    inputs: {main: player}
    output_limit: 4 V
    digital_gain: -0.3 dB
    output_impedance: 300 ohm
    distortion: 0 %
    volume: {steps: 50, at: 40, step: 0.75 dB, top: 0 dB}
    outputs: {front: {}}
  amp:
    kind: amplifier
    from: desk.front
    input_impedance: 15 kohm
    power: 60 W @ 4 ohm
    lead: {resistance: 0 ohm}
  front: {kind: speaker, from: amp, impedance: 4 ohm}
"""
DESK = Node("desk", "front", "left")
PLAYER = Node("player", "out", "left")


def chain(*changes: tuple[str, str]) -> Chain:
    """Return the chain with texts changed."""
    text = CHAIN
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return Chain(read_job_text(text).job)


def volts(of: Chain, level_dbfs: float = 0.0, **more: Any) -> float:
    """Return the level at the processor's output."""
    solved = of.solve(Conditions(1000.0, level_dbfs, **more))
    return float(solved.rms_v[0, solved.index(DESK)])


LOADED = 15_000 / 15_300


def test_full_scale_through_a_master_volume() -> None:
    """AES17: 0 dBFS is the rms of a sine whose peak is full scale; 10 steps of 0.75 dB down it is 7.5 dB less."""
    assert volts(chain()) == pytest.approx(4 * 10 ** ((-0.3 - 7.5) / 20) * LOADED, rel=1e-9)
    assert volts(chain(), settings={"desk.volume": 50.0}) == pytest.approx(4 * 10 ** (-0.3 / 20) * LOADED, rel=1e-9)
    assert volts(chain(), settings={"desk.volume": 0.0}) == 0


def test_level_of_a_player_is_in_dbfs_and_not_in_volts() -> None:
    """The level on the link is the tone's own; 6 steps less of its own volume are 6 dB less; noise is that of dithered 16 bits."""
    for down, expected in ((0, -20.0), (6, -26.0)):
        of = chain(("at: 20, step", f"at: {20 - down}, step"))
        node = levels(of, tone_hz=1000.0, level_dbfs=-20.0, draws=8).paths[0].nodes[0]
        assert node.node == "player.out.left"
        assert node.dbfs == pytest.approx(expected, abs=1e-9)
        assert node.margin_db == pytest.approx(-expected, abs=1e-9)
        assert np.isnan([node.v_rms, node.ceiling_v_rms, node.noise_v_rms]).all()
        assert node.noise_dbfs == pytest.approx(-93.3, abs=0.05)


def test_fixed_level_output_ignores_the_volume() -> None:
    """The same at every step of the player's volume."""
    fixed = chain(("{digital: usb}", "{digital: usb, fixed_level: yes}"))
    assert volts(fixed, settings={"player.volume": 3.0}) == volts(chain())


def test_a_digital_output_looks_for_no_speaker() -> None:
    """A source that mutes outputs without a speaker does so where it has volts; solver and rig pass samples alike, and the plan goes on."""
    detecting = chain(("    outputs: {out", "    factory: {load_detection: yes}\n    outputs: {out"))
    assert volts(detecting) == volts(chain())
    rig = Rig(detecting.job, seed=1, truth=detecting.nominal())
    rig.play(1000.0, 0.0)
    assert float(np.std(rig.period(str(DESK))[0])) == pytest.approx(volts(detecting), rel=1e-6)
    assert "no_load_found" not in {f.code for f in source_findings(PlanContext(detecting.job))}


def test_noise_of_dithered_sixteen_bits() -> None:
    """Rounding with triangular dither, done in samples: 93.3 dB below a full-scale sine (AES17)."""
    rng = np.random.default_rng(3)
    turn = 2 * np.pi * np.arange(2**17) * 997 / 48_000
    sine, step = np.sin(turn) * 0.25, 2 / 2**16
    played = np.round(sine / step + rng.random(len(sine)) - rng.random(len(sine))) * step
    noise = np.sqrt(np.mean((played - sine) ** 2)) / np.sqrt(0.5)
    assert physics.dither_noise(bits=16) == pytest.approx(noise, rel=0.01)
    assert 20 * np.log10(physics.dither_noise(bits=16)) == pytest.approx(-93.3, abs=0.05)


def test_a_digital_link_passes_everything_or_nothing() -> None:
    """Resistance in it changes nothing until it is open; its load doesn't matter."""
    of = chain()
    wires = [wire for run, wires in of.wiring.leads.items() if of.wiring.is_digital(run) for wire in wires]
    assert len(wires) == 2
    for ohm, share in ((0.0, 1.0), (150.0, 1.0), (1e12, 0.0)):
        asked = Alteration(series_ohm=dict.fromkeys(wires, ohm))
        assert volts(of, alter=asked) == pytest.approx(share * volts(of), rel=1e-12)


def test_boost_in_a_processor_clips_full_scale_at_any_volume() -> None:
    """A peak of +6.02 dB on a full-scale sine is clipped to a wave 2:1 over the ceiling: 21.27 % THD.

    Closed form of a sine clipped at half of its peak, its angle of conduction 30 degrees (Fourier series); the master
    volume comes after it and can't mend it.
    """
    boosted = chain(("{front: {}}", "{front: {equaliser: [peak +6.0206 dB at 1 kHz q 1]}}"))
    theta = np.pi / 6
    b = 0.5
    first = (2 * 1 / np.pi) * (theta - np.sin(2 * theta) / 2) + 4 * b / np.pi * np.cos(theta)
    square = (1 / np.pi) * (theta - np.sin(2 * theta) / 2) + 2 * b * b * (0.5 - theta / np.pi)
    thd = float(np.sqrt(2 * square - first**2) / first)
    for steps in (50.0, 20.0):
        solved = boosted.solve(Conditions(1000.0, 0.0, settings={"desk.volume": steps}))
        assert solved.thd[0, solved.index(DESK)] == pytest.approx(thd, rel=1e-3)
        assert solved.margins_db[0, solved.index(DESK), 1] == pytest.approx(-6.0206, abs=1e-3)


def test_rig_gives_the_same_levels() -> None:
    """At every node after the link, at two volumes, within what its own distortion adds."""
    of = chain()
    of.curves.clear()  # the rig has load resistors for speakers
    rig = Rig(of.job, seed=1, truth=of.nominal())
    for steps in (50.0, 33.0):
        rig.turn("desk.volume", steps)
        rig.play(1000.0, -12.0)
        solved = of.solve(Conditions(1000.0, -12.0, settings={"desk.volume": steps}))
        for i, node in enumerate(of.nodes):
            if node not in of.wiring.digital:
                wave, _ = rig.period(str(node))
                assert float(np.std(wave)) == pytest.approx(float(solved.rms_v[0, i]), rel=1e-6)
