"""One file a user verb, with the ports that the verbs need from outside."""

from gainwright.app.demo import Demo, demo
from gainwright.app.dialogue import Dialogue, answered
from gainwright.app.fault_finding import check_unreachable, closed_counts, count_cases, diagnose, open_dialogue
from gainwright.app.knee import knee_of_file, meter_kind, parse_readings
from gainwright.app.live import Expectation, LiveOptions, LiveUpdate, choose_device, expectation, live
from gainwright.app.measuring import measure, noise, onset
from gainwright.app.papers import Attached, make_paper, write_paper
from gainwright.app.ports import (
    Bench,
    Benches,
    Block,
    CaseStore,
    Charts,
    HiddenRig,
    HiddenRigs,
    InputDevice,
    Printer,
    SoundFiles,
    SoundInput,
)
from gainwright.app.practising import Practice, best_path, practise, practise_job
from gainwright.app.responding import Responses, make_sweep, responses, write_sweep
from gainwright.app.set_up import Outcome, carry_out
from gainwright.app.signals_of_job import plan_tones, tones
from gainwright.app.starting import assumptions, examples, new_job
from gainwright.app.store import ConflictError, Store, StoredJob
from gainwright.app.verbs import attenuators, check, draw_corridor, levels, plan, plan_with, write_bytes

__all__ = [
    "Attached",
    "Bench",
    "Benches",
    "Block",
    "CaseStore",
    "Charts",
    "ConflictError",
    "Demo",
    "Dialogue",
    "Expectation",
    "HiddenRig",
    "HiddenRigs",
    "InputDevice",
    "LiveOptions",
    "LiveUpdate",
    "Outcome",
    "Practice",
    "Printer",
    "Responses",
    "SoundFiles",
    "SoundInput",
    "Store",
    "StoredJob",
    "answered",
    "assumptions",
    "attenuators",
    "best_path",
    "carry_out",
    "check",
    "check_unreachable",
    "choose_device",
    "closed_counts",
    "count_cases",
    "demo",
    "diagnose",
    "draw_corridor",
    "examples",
    "expectation",
    "knee_of_file",
    "levels",
    "live",
    "make_paper",
    "make_sweep",
    "measure",
    "meter_kind",
    "new_job",
    "noise",
    "onset",
    "open_dialogue",
    "parse_readings",
    "plan",
    "plan_tones",
    "plan_with",
    "practise",
    "practise_job",
    "responses",
    "tones",
    "write_bytes",
    "write_paper",
    "write_sweep",
]
