"""The marks of an indicator against closed forms, and the solver's marks against the rig's, which shares no formula with it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from indicators import with_lamp
from scipy.optimize import brentq

from gainwright.jobfile import example_text, instruments, read_job_text
from gainwright.model import Indicator, Job, Mark, resolve
from gainwright.simulated import Rig
from gainwright.solve import Chain, Conditions, lit_marks

TONE_HZ = 50.0


def with_marks(marks: str, name: str = "one_amplifier") -> Job:
    """Return an example with a lamp."""
    return read_job_text(with_lamp(example_text(name), marks)).job


def thd_of_clipped_sine(drive: float) -> float:
    """Return the THD of a sine cut at 1/drive of its peak: its Fourier series in closed form (see test_solve_clipping)."""
    angle = math.asin(1 / drive)
    first = 2 * drive / math.pi * (angle + math.sqrt(1 - 1 / drive**2) / drive)
    square = 2 / math.pi * (drive**2 * (angle / 2 - math.sin(2 * angle) / 4) + math.pi / 2 - angle)
    return math.sqrt(square - first**2 / 2) / (first / math.sqrt(2))


def lit(job: Job, *, over_db: float, tone_hz: float = TONE_HZ) -> dict[str, bool]:
    """Return the marks that the solver lights at the head unit so far over its ceiling."""
    chain = Chain(job)
    column = next(i for i, node in enumerate(chain.nodes) if node.stage == "head")
    at_top = chain.solve(Conditions(tone_hz, 0.0, settings={"head.volume": 1.0}))
    step_db = chain.nominal()["head.volume.step"]
    volume = 1 + (float(at_top.margin_db[0, column]) + over_db) / step_db
    solved = chain.solve(Conditions(tone_hz, 0.0, settings={"head.volume": volume}))
    lamp = instruments(job)["lamp"]
    assert isinstance(lamp, Indicator)
    return {name: bool(on[0]) for name, on in lit_marks(lamp, solved, column, tone_hz=tone_hz).items()}


@pytest.mark.parametrize("percent", [0.7, 3.0, 8.0])
def test_distortion_mark_lights_where_a_clipped_sine_has_that_thd(percent: float) -> None:
    """The clip depth at which a sine has the mark's THD, by root finding on the closed form; dark 0.02 dB below it, lit above."""
    drive = brentq(lambda d: thd_of_clipped_sine(d) - percent / 100, 1.0001, 10)
    depth_db = 20 * math.log10(drive)
    job = with_marks(f"clip: thd over {percent:g} %")
    assert lit(job, over_db=depth_db - 0.02) == {"clip": False}
    assert lit(job, over_db=depth_db + 0.02) == {"clip": True}


def test_marks_light_independently() -> None:
    """Every combination of three marks occurs: no mark waits for another, and their order means nothing."""
    drive = 10 ** (2 / 20)
    thd = 100 * thd_of_clipped_sine(drive)
    for level_lit in (True, False):
        for tone_lit in (True, False):
            for thd_lit in (True, False):
                marks = (
                    f"zebra: thd over {thd * (0.9 if thd_lit else 1.1):.3f} %, "
                    f"apple: fundamental over {'0.1 V' if tone_lit else '90 V'}, "
                    f"mango: level over {'0.1 V' if level_lit else '90 V'}"
                )
                assert lit(with_marks(marks), over_db=2.0) == {"zebra": thd_lit, "apple": tone_lit, "mango": level_lit}


def test_tuned_mark_sees_a_third_octave_and_no_more() -> None:
    """One-third-octave band of IEC 61260-1:2014 at 1 kHz: 891.25 to 1122.02 Hz; the same ratio about any other frequency."""
    mark = Mark.parse("level over 1 V at 1 kHz")
    edges = [(890.9, False), (891.8, True), (1121.5, True), (1122.6, False)]
    assert [mark.passes(hz) for hz, _ in edges] == [inside for _, inside in edges]
    fifty = "a: level over 0.1 V at 50 Hz, b: fundamental over 0.1 V at 50 Hz, c: thd over 1 % at 50 Hz"
    for tone_hz, inside in [(44.5, False), (44.6, True), (56.05, True), (56.2, False)]:
        assert lit(with_marks(fifty), over_db=2.0, tone_hz=tone_hz) == {"a": inside, "b": inside, "c": inside}


def test_tuned_level_includes_a_harmonic_in_its_band() -> None:
    """The third harmonic of a square wave is a third of its first, 4/(3 pi) of its peak: deep clipping lights 150 Hz."""
    volts = (
        2 * 4 / (3 * math.pi)
    )  # rms of the third harmonic of a square of 2 sqrt(2) V, what a source of 2 V is cut to
    job = with_marks(f"a: level over {0.93 * volts:.4f} V at 150 Hz, b: level over {1.07 * volts:.4f} V at 150 Hz")
    assert lit(job, over_db=26.0) == {"a": True, "b": False}


@pytest.mark.parametrize(
    "marks", ["s: level over 0.4 V, t: fundamental over 0.6 V, c: thd over 2 %, n: level over 20 mV at 125 Hz"]
)
def test_rig_lights_the_same_marks_as_the_solver(marks: str) -> None:
    """At every node, tone and level, with the rig in the middle of every spread; thresholds are far from the levels."""
    job = with_marks(marks, "two_way_and_sub")
    chain = Chain(job)
    nominal = chain.nominal()
    rig = Rig(job, seed=1, truth={k: float(np.squeeze(v)) for k, v in nominal.items() if np.size(v) == 1})
    lamp = instruments(job)["lamp"]
    assert isinstance(lamp, Indicator)
    seen = set()
    for tone_hz in (40.0, 125.0, 630.0):
        for level_dbfs in (-40.0, -12.0, 0.0):
            rig.play(tone_hz, level_dbfs)
            solved = chain.solve(Conditions(tone_hz, level_dbfs))
            for column, node in enumerate(resolve(job).nodes):
                by_solver = lit_marks(lamp, solved, column, tone_hz=tone_hz)
                wanted = tuple(name for name, on in by_solver.items() if on[0])
                assert rig.read_indicator(str(node), "lamp") == wanted, (node, tone_hz, level_dbfs)
                seen.add(wanted)
    assert len(seen) >= 5, "too few sets of marks were met: the test shows nothing"
