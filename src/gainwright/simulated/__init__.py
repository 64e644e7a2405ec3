"""A rig to practise and test on: the same job as a world of samples, with hidden numbers and faults.

It shares no formula with the solver, so that where both agree, both are likely right.
"""

from gainwright.simulated.asking import answer
from gainwright.simulated.bench import SimulatedBench, SimulatedBenches
from gainwright.simulated.faults import AMOUNTS, Fault, places
from gainwright.simulated.hidden import SimulatedHiddenRig, SimulatedHiddenRigs
from gainwright.simulated.random_jobs import random_job
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
    "places",
    "random_job",
]
