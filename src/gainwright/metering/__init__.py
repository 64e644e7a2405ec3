"""Measurement of recordings and readings: level, frequency, distortion, clipping, noise, response."""

from gainwright.metering.clipping import Flattening, find_clipping
from gainwright.metering.filter_identification import IdentifiedFilter, IdentifiedPath, identify_filters
from gainwright.metering.interval import Interval
from gainwright.metering.knee import Knee, LowerColumn, MeterKind, find_knee
from gainwright.metering.knee_advice import LOWER_DB
from gainwright.metering.known_filters import low_pass_response
from gainwright.metering.level_check import LevelCheck, check_levels
from gainwright.metering.live import LiveMeter, LiveReading
from gainwright.metering.measurement import Channel, Harmonic, Measurement
from gainwright.metering.noise import Component, NoiseChannel, measure_noise
from gainwright.metering.onset import Onset, find_onset
from gainwright.metering.path_comparison import PathComparison, Responses, compare_channels, compare_paths
from gainwright.metering.pictures import Pictures, pictures
from gainwright.metering.recording import (
    Recording,
    read_recording,
    read_recording_bytes,
    require_finite,
)
from gainwright.metering.recording_file import RecordingFile, opened_recording
from gainwright.metering.response import Response, sweep_response, two_channel_response
from gainwright.metering.sine import SineFit, four_parameter_fit, frequency_start, three_parameter_fit
from gainwright.metering.spectrum import Lines, lines
from gainwright.metering.steady_stretch import steady_part
from gainwright.metering.tone_measurement import measure

__all__ = [
    "LOWER_DB",
    "Channel",
    "Component",
    "Flattening",
    "Harmonic",
    "IdentifiedFilter",
    "IdentifiedPath",
    "Interval",
    "Knee",
    "LevelCheck",
    "Lines",
    "LiveMeter",
    "LiveReading",
    "LowerColumn",
    "Measurement",
    "MeterKind",
    "NoiseChannel",
    "Onset",
    "PathComparison",
    "Pictures",
    "Recording",
    "RecordingFile",
    "Response",
    "Responses",
    "SineFit",
    "check_levels",
    "compare_channels",
    "compare_paths",
    "find_clipping",
    "find_knee",
    "find_onset",
    "four_parameter_fit",
    "frequency_start",
    "identify_filters",
    "lines",
    "low_pass_response",
    "measure",
    "measure_noise",
    "opened_recording",
    "pictures",
    "read_recording",
    "read_recording_bytes",
    "require_finite",
    "steady_part",
    "sweep_response",
    "three_parameter_fit",
    "two_channel_response",
]
