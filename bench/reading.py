"""The processor time of one reading in a diagnosis, as a ratio to numpy.linalg.solve on nodal matrices of the same chain.

Run: `PYTHONPATH=src:tests/support OPENBLAS_NUM_THREADS=1 python bench/reading.py [DIALOGUES]`, that many faults of the rig on the
example of two ways and a subwoofer (8), each told from the first complaint on. A reading is weighed under every cause, and the
outcomes of all tests that may follow are predicted. The alternative solves one admittance matrix of all outputs and
inputs for each cause and draw, at one tone, without ceilings, instruments or choice of tests.
"""

from __future__ import annotations

import gc
import sys
import time
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.diagnose import Diagnoser, make_diagnosis
from gainwright.jobfile import example_text, read_entry, read_job_text
from gainwright.simulated import Fault, Rig, answer, possible_faults

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.model import Job
    from gainwright.solve import Chain

READINGS = 5
COLD_S, MEDIAN_S, MOST_S = 0.2, 0.03, 0.1
"""Targets of processor time: the first answer, a reading's median and longest."""
SERIES_OHM, SOURCE_OHM, INPUT_OHM = 0.1, 100.0, 10e3


def processor_s(work: Callable[[], Any]) -> float:
    """Return the seconds of processor time of some work."""
    start = time.process_time()
    work()
    return time.process_time() - start


def nodal(chain: Chain, cases: int) -> tuple[np.ndarray, np.ndarray]:
    """Return admittance matrices of a chain's outputs and inputs with parts of 5 %, and its currents: (cases, n, n), (cases, n, 1)."""
    places: list[Any] = list(chain.nodes)
    wires = [(node, port) for node in chain.nodes for port in chain.wiring.ports_fed_by(node)]
    places += dict.fromkeys(port for _, port in wires)
    index = {place: i for i, place in enumerate(places)}
    rng = np.random.default_rng(1)
    matrix, current = np.zeros((cases, len(places), len(places))), np.zeros((cases, len(places), 1))

    def part(ohm: float) -> np.ndarray:
        return 1 / (ohm * np.exp(0.05 * rng.normal(size=cases)))

    for node in chain.nodes:
        i, own = index[node], part(SOURCE_OHM)
        matrix[:, i, i] += own
        inputs = [p for p in places if p not in chain.nodes and p.stage == node.stage]
        for port in inputs:
            matrix[:, i, index[port]] -= own * 2.0 / len(inputs)
        if not inputs:
            current[:, i, 0] = own
    for node, port in wires:
        i, j, lead = index[node], index[port], part(SERIES_OHM)
        matrix[:, j, j] += part(INPUT_OHM) + lead
        matrix[:, i, i] += lead
        matrix[:, i, j] -= lead
        matrix[:, j, i] -= lead
    return matrix, current


def dialogue(job: Job, fault: Any, told: list[float]) -> float:
    """Add the seconds of each reading of one search; return those of the first answer."""
    found: list[Any] = []
    diagnoser: list[Diagnoser] = []

    def begin() -> None:
        diagnoser.append(Diagnoser(job))
        found.append(make_diagnosis(diagnoser[0], ()))

    cold = processor_s(begin)
    rig = Rig(job, seed=3, faults=(fault,))
    said = [{"heard": "sub", "tone": "50 Hz", "level": "-8 dBFS"}]
    entries: list[Any] = []
    for _ in range(READINGS):
        said = said or [n.entry for n in found[-1].next[:1]]
        if not said:
            break
        asked = read_entry(said.pop(), job, answered=False)
        entries.append(read_entry(answer(rig, asked), job))
        told.append(processor_s(lambda: found.append(make_diagnosis(diagnoser[0], entries))))
    return cold


def main(dialogues: int) -> bool:
    """Print the times and the ratio; return whether the targets are met."""
    gc.set_threshold(100_000)  # as the command does
    job = read_job_text(example_text("two_way_and_sub")).job
    make_diagnosis(Diagnoser(job), ())  # imports and tables
    faults = possible_faults(job)
    rng = np.random.default_rng(20)
    chosen = [faults[int(i)] for i in rng.choice(len(faults), size=dialogues, replace=False)]
    told: list[float] = []
    cold = [dialogue(job, Fault(*f, 0.5), told) for f in chosen]
    diagnoser = Diagnoser(job)
    matrix, current = nodal(diagnoser.chain, len(diagnoser.causes) * 64)
    other = min(processor_s(lambda: np.linalg.solve(matrix, current)) for _ in range(5))
    first, middle, most = float(np.median(cold)), float(np.median(told)), max(told)
    print(f"first answer: median {1e3 * first:.0f} ms; target {1e3 * COLD_S:.0f}")
    print(
        f"{len(told)} readings: median {1e3 * middle:.0f} ms, longest {1e3 * most:.0f} ms; targets {1e3 * MEDIAN_S:.0f} and {1e3 * MOST_S:.0f}"
    )
    print(f"numpy.linalg.solve, {len(matrix)} matrices of {matrix.shape[1]}, one tone: {1e3 * other:.0f} ms")
    print(f"a reading with all its predictions takes {middle / other:.2f} of that, the longest {most / other:.2f}")
    met = first <= COLD_S and middle <= MEDIAN_S and most <= MOST_S
    print(f"targets: {'met' if met else 'missed'}")
    return met


if __name__ == "__main__":
    sys.exit(0 if main(int(sys.argv[1]) if len(sys.argv) > 1 else 8) else 1)
