"""What is wrong with a chain: belief over causes given the evidence, and the next best test."""

from gainwright.diagnose.causes import Cause
from gainwright.diagnose.diagnosing import Diagnoser, State, Tests

__all__ = ["Cause", "Diagnoser", "State", "Tests"]
