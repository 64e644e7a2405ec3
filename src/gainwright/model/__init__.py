"""What exists: the job, its stages, its wiring, its instruments. No solving, no files."""

from gainwright.model.compounds import (
    Accuracy,
    Coils,
    Ends,
    Equaliser,
    EqualiserBand,
    FilterRange,
    FilterSetting,
    PowerRating,
    SpeakerSensitivity,
)
from gainwright.model.instruments import Indicator, Instrument, Multimeter, Recorder
from gainwright.model.job import Job, Vehicle
from gainwright.model.nodes import LeadRun, Node, Port
from gainwright.model.stages import (
    Amplifier,
    AnyStage,
    Converter,
    HeadUnit,
    Lead,
    LevelControl,
    LineDriver,
    Processor,
    ProcessorOutput,
    SourceOutput,
    Speaker,
)
from gainwright.model.wiring import Feed, Path, Route, Wiring, resolve

__all__ = [
    "Accuracy",
    "Amplifier",
    "AnyStage",
    "Coils",
    "Converter",
    "Ends",
    "Equaliser",
    "EqualiserBand",
    "Feed",
    "FilterRange",
    "FilterSetting",
    "HeadUnit",
    "Indicator",
    "Instrument",
    "Job",
    "Lead",
    "LeadRun",
    "LevelControl",
    "LineDriver",
    "Multimeter",
    "Node",
    "Path",
    "Port",
    "PowerRating",
    "Processor",
    "ProcessorOutput",
    "Recorder",
    "Route",
    "SourceOutput",
    "Speaker",
    "SpeakerSensitivity",
    "Vehicle",
    "Wiring",
    "resolve",
]
