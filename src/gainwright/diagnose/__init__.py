"""What is wrong with a chain: belief over causes given the evidence, and the next best test."""

from gainwright.diagnose.asking import entry_words
from gainwright.diagnose.causes import ODDS, Cause
from gainwright.diagnose.diagnosing import Diagnoser, State, Tests
from gainwright.diagnose.learning import Learned, learn
from gainwright.diagnose.result import CauseGroup, CausePair, Diagnosis, EvidenceItem, NextTest, RankedCause, Repair
from gainwright.diagnose.sayings import place_words, repair, says, short
from gainwright.diagnose.telling import tell
from gainwright.diagnose.unsaid import unsaid_gains

__all__ = [
    "ODDS",
    "Cause",
    "CauseGroup",
    "CausePair",
    "Diagnoser",
    "Diagnosis",
    "EvidenceItem",
    "Learned",
    "NextTest",
    "RankedCause",
    "Repair",
    "State",
    "Tests",
    "entry_words",
    "learn",
    "place_words",
    "repair",
    "says",
    "short",
    "tell",
    "unsaid_gains",
]
