"""Fault diagnosis of a chain: probabilities of causes given the evidence, and the next best test."""

from gainwright.diagnose.actions import Action, actions_of
from gainwright.diagnose.cause_texts import cause_name, describe_cause, repair_text, short_name
from gainwright.diagnose.causes import ODDS, Cause
from gainwright.diagnose.diagnoser import CauseProbabilities, Diagnoser, RankedTests
from gainwright.diagnose.diagnosis import make_diagnosis
from gainwright.diagnose.learned_values import LearnedValue, learn_values
from gainwright.diagnose.result import CauseGroup, CausePair, Diagnosis, EvidenceItem, NextTest, RankedCause, Repair
from gainwright.diagnose.shop_counts import (
    COMPLAINTS,
    SOMETHING_ELSE,
    TWO_FAULTS,
    ClosedCases,
    ClosedCount,
    complaint_kind,
)
from gainwright.diagnose.unknown_gains import unknown_gains
from gainwright.diagnose.usual_readings import usual_reading
from gainwright.diagnose.wording import describe_entry, entry_row

__all__ = [
    "COMPLAINTS",
    "ODDS",
    "SOMETHING_ELSE",
    "TWO_FAULTS",
    "Action",
    "Cause",
    "CauseGroup",
    "CausePair",
    "CauseProbabilities",
    "ClosedCases",
    "ClosedCount",
    "Diagnoser",
    "Diagnosis",
    "EvidenceItem",
    "LearnedValue",
    "NextTest",
    "RankedCause",
    "RankedTests",
    "Repair",
    "actions_of",
    "cause_name",
    "complaint_kind",
    "describe_cause",
    "describe_entry",
    "entry_row",
    "learn_values",
    "make_diagnosis",
    "repair_text",
    "short_name",
    "unknown_gains",
    "usual_reading",
]
