"""One file a user verb, with the ports that the verbs need from outside."""

from gainwright.app.demo import Demo, demo
from gainwright.app.knee import knee_of_file, meter_kind, parse_readings
from gainwright.app.live import Expectation, LiveOptions, LiveUpdate, choose_device, expectation, live
from gainwright.app.measuring import measure, noise, onset
from gainwright.app.ports import Bench, Benches, Block, Charts, InputDevice, SoundInput
from gainwright.app.responding import Responses, make_sweep, responses, write_sweep
from gainwright.app.set_up import Outcome, carry_out
from gainwright.app.signals_of_job import plan_tones, tones
from gainwright.app.starting import assumptions, examples, new_job
from gainwright.app.verbs import attenuators, check, draw_corridor, levels, plan, write_bytes

__all__ = [
    "Bench",
    "Benches",
    "Block",
    "Charts",
    "Demo",
    "Expectation",
    "InputDevice",
    "LiveOptions",
    "LiveUpdate",
    "Outcome",
    "Responses",
    "SoundInput",
    "assumptions",
    "attenuators",
    "carry_out",
    "check",
    "choose_device",
    "demo",
    "draw_corridor",
    "examples",
    "expectation",
    "knee_of_file",
    "levels",
    "live",
    "make_sweep",
    "measure",
    "meter_kind",
    "new_job",
    "noise",
    "onset",
    "parse_readings",
    "plan",
    "plan_tones",
    "responses",
    "tones",
    "write_bytes",
    "write_sweep",
]
