"""Fault diagnosis of a chain: probabilities of causes given the evidence, and the next best test."""

from gainwright.diagnose.cause_texts import describe_cause, describe_place, repair_text, short_name
from gainwright.diagnose.causes import ODDS, Cause
from gainwright.diagnose.diagnoser import CauseProbabilities, Diagnoser, RankedTests
from gainwright.diagnose.diagnosis import make_diagnosis
from gainwright.diagnose.learned_values import LearnedValue, learn_values
from gainwright.diagnose.result import CauseGroup, CausePair, Diagnosis, EvidenceItem, NextTest, RankedCause, Repair
from gainwright.diagnose.unknown_gains import unknown_gains
from gainwright.diagnose.wording import describe_entry

__all__ = [
    "ODDS",
    "Cause",
    "CauseGroup",
    "CausePair",
    "CauseProbabilities",
    "Diagnoser",
    "Diagnosis",
    "EvidenceItem",
    "LearnedValue",
    "NextTest",
    "RankedCause",
    "RankedTests",
    "Repair",
    "describe_cause",
    "describe_entry",
    "describe_place",
    "learn_values",
    "make_diagnosis",
    "repair_text",
    "short_name",
    "unknown_gains",
]
