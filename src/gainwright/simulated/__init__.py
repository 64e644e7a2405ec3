"""A simulated rig for practice and tests: a job's chain, computed in samples, with hidden true values and faults.

It shares no formula with the solver, so that agreement of both is evidence that both are right.
"""

from gainwright.simulated.answering import answer
from gainwright.simulated.bench import SimulatedBench, SimulatedBenches
from gainwright.simulated.faults import AMOUNTS, Fault, possible_faults
from gainwright.simulated.hidden_faults import SimulatedHiddenRig, SimulatedHiddenRigs
from gainwright.simulated.rig import Rig

__all__ = [
    "AMOUNTS",
    "Fault",
    "Rig",
    "SimulatedBench",
    "SimulatedBenches",
    "SimulatedHiddenRig",
    "SimulatedHiddenRigs",
    "answer",
    "possible_faults",
]
