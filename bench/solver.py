"""Solver: many draws of a six-stage chain at one tone, every node with THD, against two general-purpose ways.

Baselines, in the same run on the same draws: (a) a Python loop that runs each draw through scipy.signal in time
(bilinear second-order sections, `sosfilt`), with the fewest samples and periods that keep its THD as near to the
reference as ours; (b) ngspice's transient of one draw, scaled up. The reference is (a) at 8192 samples a period and 0.4
s of settling. A loop must let the subsonic or rumble filter settle, about 0.1 s at any frequency, so its time grows
with the tone's frequency and ours does not: the targets hold for the tone of the mid-range path; the bass path is
reported without a target. Exit status 1 when a ratio or an error misses its target.
"""

from __future__ import annotations

import math
import shutil
import sys
import time
import tracemalloc
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import signal

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "support"))

from netlist import Netlist

from gainwright.jobfile import read_job_text
from gainwright.solve import Chain, Conditions, steady_state
from gainwright.solve.wave import FEW

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

DRAWS = 10_000
LEVEL_DBFS = -3.0
LOOP_DRAWS = 30
ERROR = 1e-4
LOOP_RATIO, NGSPICE_RATIO = 200, 5000

JOB = """
format: 1
title: six stages
vehicle: {running: 13.8 V ± 0.4 V}
stages:
  head:
    kind: head_unit
    rated_output: 2 V ± 10 %
    volume: {steps: 40, at: 40}
    outputs: {sub: {sides: [mono]}}
  desk:
    kind: processor
    inputs: {line: head.sub}
    outputs:
      sub:
        from: line
        sides: [mono]
        low_pass: linkwitz-riley 24 at {crossover} Hz ± 5 %
        high_pass: butterworth 12 at {rumble} Hz ± 5 %
  driver: {kind: line_driver, from: desk.sub, gain: 9 dB ± 0.5 dB}
  knob: {kind: level_control, from: driver, range: -30 dB .. 0 dB}
  amp:
    kind: amplifier
    from: knob
    power: 500 W ± 5 % @ 4 ohm
    sensitivity: 0.2 .. 8 V
    gain: {at: 40 %}
    low_pass: butterworth 24 at {top} Hz ± 5 %
    lead: {length: 5 m}
  sub: {kind: speaker, from: amp, impedance: 4 ohm ± 0.3 ohm, power: 500 W, lead: {length: 2 m, area: 2.5 mm²}}
"""


@dataclass(frozen=True)
class Case:
    """One tone and the corners of the path that carries it."""

    tone_hz: float
    crossover: int
    rumble: int
    top: int

    @property
    def text(self) -> str:
        """The job file."""
        return (
            JOB.replace("{crossover}", str(self.crossover))
            .replace("{rumble}", str(self.rumble))
            .replace("{top}", str(self.top))
        )


MIDRANGE, BASS = Case(1000.0, 3000, 25, 5000), Case(50.0, 80, 25, 120)


def main() -> int:
    """Measure, print, return the exit status."""
    if shutil.which("ngspice") is None:
        print("ngspice is missing; install it", file=sys.stderr)
        return 2
    passed = measure(MIDRANGE)
    print("the bass path, without a target:")
    measure(BASS)
    growth(MIDRANGE)
    harmonics(MIDRANGE)
    print("passed" if passed else "MISSED")
    return 0 if passed else 1


def measure(case: Case) -> bool:
    """Time the three ways on one case; return whether the targets are met."""
    tone_hz = case.tone_hz
    chain = Chain(read_job_text(case.text).job)
    drawn = {k: (0.0 if k.endswith(".distortion") else v) for k, v in chain.draws(draws=DRAWS, seed=3).items()}
    conditions = Conditions(tone_hz, LEVEL_DBFS, values=drawn)
    chain.solve(conditions)
    ours_s, solution = _best_of(5, lambda: chain.solve(conditions))
    clips = np.mean(solution.margin_db < 0, axis=0)
    print(f"chain: {' > '.join(map(str, chain.nodes))}, {tone_hz:g} Hz at {LEVEL_DBFS:g} dBFS")
    print("draws that clip, by node:", ", ".join(f"{share:.0%}" for share in clips))

    loop = TimeLoop(chain, drawn, tone_hz)
    some = range(LOOP_DRAWS)
    truth = np.array([loop.thd(i, samples=8192, periods=math.ceil(0.4 * tone_hz)) for i in some])
    error = _error(solution.thd[:LOOP_DRAWS], truth)
    samples, periods, loop_error = loop.as_good_as(max(error, ERROR / 10), truth)
    loop_s, _ = _best_of(3, lambda: [loop.thd(i, samples=samples, periods=periods) for i in some])
    loop_s *= DRAWS / LOOP_DRAWS

    report = [
        ("ours", f"{ours_s:.3f} s", f"{DRAWS / ours_s:,.0f} states/s", f"THD within {error:.1e}"),
        (
            f"scipy.signal loop ({samples} samples x {periods} periods)",
            f"{loop_s:.1f} s",
            f"ours {loop_s / ours_s:.0f} times faster (target {LOOP_RATIO})",
            f"THD within {loop_error:.1e}",
        ),
    ]
    spice_s, spice_error = _ngspice(case, chain, drawn, solution)
    spice_s *= DRAWS
    report.append(
        (
            "ngspice, one draw scaled up",
            f"{spice_s:,.0f} s",
            f"ours {spice_s / ours_s:,.0f} times faster (target {NGSPICE_RATIO})",
            f"THD within {spice_error:.1e}",
        )
    )
    for name, *cells in report:
        print(f"{name:<48}", *(f"{cell:<38}" for cell in cells[:-1]), cells[-1])
    print()
    return error < ERROR and loop_s / ours_s >= LOOP_RATIO and spice_s / ours_s >= NGSPICE_RATIO


class TimeLoop:
    """The same chain, one draw after the other, in time by scipy.signal."""

    def __init__(self, chain: Chain, drawn: dict[str, Any], tone_hz: float) -> None:
        """Take what is linear (gains, loading) from the compiled cells; run filters and ceilings in time."""
        self.chain, self.drawn, self.tone_hz = chain, drawn, tone_hz
        values = {**chain.nominal(), **drawn}
        _, self.cells = chain.cells(values, chain.settings, Conditions(tone_hz, LEVEL_DBFS))

    def thd(self, i: int, *, samples: int, periods: int) -> Floats:
        """Return the THD of every output node of draw `i`."""
        rate = samples * self.tone_hz
        time_s = np.arange(samples * periods) / rate
        source = 10 ** (LEVEL_DBFS / 20) * np.sin(2 * np.pi * self.tone_hz * time_s)
        waves: list[Floats] = []
        found = []
        for place, cell in zip(self.chain.places, self.cells, strict=True):
            into = sum((_pick(f, i) * waves[j] for j, f in cell.inputs), np.zeros(1)) if cell.inputs else source
            if cell.response is not None:
                into = signal.sosfilt(self._sections(place.stage, i, rate), into)
            limit = _pick(cell.ceiling, i)
            wave = np.clip(_pick(cell.gain, i) * into, -limit, limit)
            waves.append(wave)
            if place.role == "output":
                lines = np.abs(np.fft.rfft(wave[-samples:]))
                found.append(np.sqrt(np.sum(lines[2:] ** 2)) / lines[1])
        return np.array(found)

    def _sections(self, stage: str, i: int, rate: float) -> Floats:
        def corner(path: str) -> float:
            return _pick(self.drawn[path], i)

        if stage == "desk":
            low = signal.butter(2, corner("desk.sub.low_pass.corner"), "low", fs=rate, output="sos")
            high = signal.butter(2, corner("desk.sub.high_pass.corner"), "high", fs=rate, output="sos")
            return np.concatenate([low, low, high])
        return np.asarray(signal.butter(4, corner("amp.out.low_pass.corner"), "low", fs=rate, output="sos"))

    def settling(self) -> list[int]:
        """Return some numbers of periods, from 0.05 s to 0.2 s."""
        return [max(2, math.ceil(t * self.tone_hz)) for t in (0.05, 0.07, 0.1, 0.14, 0.2)]

    def as_good_as(self, error: float, truth: Floats) -> tuple[int, int, float]:
        """Return the cheapest samples and periods whose THD comes within `error`, and its own error."""
        choices = sorted(
            ((s, p) for s in (256, 512, 1024, 2048, 4096) for p in self.settling()), key=lambda c: c[0] * c[1]
        )
        for samples, periods in choices:
            own = _error(np.array([self.thd(i, samples=samples, periods=periods) for i in range(len(truth))]), truth)
            if own <= error:
                break
        return samples, periods, own


def _pick(value: Any, i: int) -> float:
    return float(np.broadcast_to(value, (DRAWS,))[i]) if np.size(value) > 1 else float(np.ravel(value)[0])


def _error(found: Floats, truth: Floats) -> float:
    """Return the worst relative error of THD, of what is distorted by 0.1 % and more."""
    distorted = truth > 1e-3
    return float(np.max(np.abs(found[distorted] / truth[distorted] - 1)))


def _best_of(times: int, work: Any) -> tuple[float, Any]:
    best, result = math.inf, None
    for _ in range(times):
        start = time.perf_counter()
        result = work()
        best = min(best, time.perf_counter() - start)
    return best, result


def _ngspice(case: Case, chain: Chain, drawn: dict[str, Any], solution: Any) -> tuple[float, float]:
    values = {**chain.nominal(), **{k: _pick(v, 0) for k, v in drawn.items()}}
    net = Netlist(chain.job, chain.wiring, values, chain.settings, tone_hz=case.tone_hz, level_dbfs=LEVEL_DBFS)
    seconds, waves = _best_of(2, lambda: net.run(periods=math.ceil(0.1 * case.tone_hz)))
    worst = 0.0
    for i, node in enumerate(chain.nodes):
        lines = np.abs(np.fft.rfft(waves[node]))
        thd = float(np.sqrt(np.sum(lines[2:] ** 2)) / lines[1])
        if thd > 1e-3:
            worst = max(worst, abs(thd / float(solution.thd[0, i]) - 1))
    return seconds, worst


def growth(case: Case) -> None:
    """Print how time and memory grow with draws and with stages."""
    tone_hz = case.tone_hz
    chain = Chain(read_job_text(case.text).job)
    drawn = chain.draws(draws=DRAWS, seed=3)
    print("draws     time, s   states/s   peak memory, MB")
    for draws in (100, 1000, 10_000):
        conditions = Conditions(
            tone_hz, LEVEL_DBFS, values={k: v if np.size(v) == 1 else v[:draws] for k, v in drawn.items()}
        )
        seconds, _ = _best_of(3, lambda c=conditions: chain.solve(c))
        tracemalloc.start()
        chain.solve(conditions)
        peak = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        print(f"{draws:<9} {seconds:<9.4f} {draws / seconds:<10,.0f} {peak:.1f}")
    print("stages    time of 1000 draws, s")
    for extra in (0, 6, 12, 24):
        text = case.text
        for k in range(extra):
            text = text.replace("from: knob\n", f"from: more{k}\n", 1) if k == 0 else text
        lines = [
            f"  more{k}: {{kind: level_control, from: {'knob' if k == extra - 1 else f'more{k + 1}'}}}"
            for k in range(extra)
        ]
        longer = Chain(read_job_text(text + "\n".join(lines) + "\n").job)
        conditions = Conditions(tone_hz, LEVEL_DBFS, values=longer.draws(draws=1000, seed=3))
        seconds, _ = _best_of(3, lambda c=conditions, of=longer: of.solve(c))
        print(f"{6 + extra:<9} {seconds:.4f}")


def harmonics(case: Case) -> None:
    """Print how time and error grow with the samples of a period, half of which are harmonics."""
    chain = Chain(read_job_text(case.text).job)
    drawn = {k: (0.0 if k.endswith(".distortion") else v) for k, v in chain.draws(draws=1000, seed=3).items()}
    conditions = Conditions(case.tone_hz, LEVEL_DBFS, values=drawn)
    usual, truth = steady_state.SAMPLES, None
    print("harmonics  time of 1000 draws, s  THD within")
    for samples in (8192, 4096, 2048, 1024, 512, 256):
        _set_samples(samples)
        seconds, solution = _best_of(3, lambda: chain.solve(conditions))
        truth = solution.thd if truth is None else truth
        print(f"{samples // 2 - 1:<10} {seconds:<22.4f} {_error(solution.thd, truth):.1e}")
    _set_samples(usual)


def _set_samples(samples: int) -> None:
    steady_state.SAMPLES, steady_state.HARMONICS = samples, samples // 2 - 1
    turns = 2 * np.pi * np.outer(np.arange(1, FEW + 1), np.arange(samples)) / samples
    steady_state._BASIS = np.stack([np.cos(turns), -np.sin(turns)], axis=1).reshape(2 * FEW, samples)


if __name__ == "__main__":
    raise SystemExit(main())
