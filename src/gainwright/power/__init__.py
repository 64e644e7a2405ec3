"""What the music does to cone, coil, cable, fuse and battery: a job's power and heat, with findings and remedies."""

from gainwright.power.evaluation import evaluate_power
from gainwright.power.result import (
    STATES,
    BatteryResult,
    CableResult,
    DeviceResult,
    PowerFinding,
    PowerResult,
    SpeakerResult,
    StateName,
)

__all__ = [
    "STATES",
    "BatteryResult",
    "CableResult",
    "DeviceResult",
    "PowerFinding",
    "PowerResult",
    "SpeakerResult",
    "StateName",
    "evaluate_power",
]
