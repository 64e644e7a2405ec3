"""What samples and readings hold: level, frequency, distortion, clipping, noise of a recorded tone."""

from gainwright.metering.clipping import Flattening, find_cut
from gainwright.metering.filter_finding import FoundFilter, FoundPath, find_path
from gainwright.metering.interval import Interval
from gainwright.metering.knee import Knee, MeterKind, find_knee
from gainwright.metering.known_filters import low_pass_response
from gainwright.metering.live import LiveMeter, LiveReading
from gainwright.metering.matching import Match, Responses, compared, match
from gainwright.metering.measurement import Channel, Harmonic, Measurement
from gainwright.metering.measuring import measure, steady_part
from gainwright.metering.noise import Component, NoiseChannel, measure_noise
from gainwright.metering.onset import Onset, find_onset
from gainwright.metering.pictures import Pictures, pictures
from gainwright.metering.recording import Recording, checked, read_recording, read_recording_bytes
from gainwright.metering.response import Response, response_of_sweep, response_of_two
from gainwright.metering.sine import SineFit, four_parameter_fit, frequency_start, three_parameter_fit
from gainwright.metering.spectrum import Lines, lines

__all__ = [
    "Channel",
    "Component",
    "Flattening",
    "FoundFilter",
    "FoundPath",
    "Harmonic",
    "Interval",
    "Knee",
    "Lines",
    "LiveMeter",
    "LiveReading",
    "Match",
    "Measurement",
    "MeterKind",
    "NoiseChannel",
    "Onset",
    "Pictures",
    "Recording",
    "Response",
    "Responses",
    "SineFit",
    "checked",
    "compared",
    "find_cut",
    "find_knee",
    "find_onset",
    "find_path",
    "four_parameter_fit",
    "frequency_start",
    "lines",
    "low_pass_response",
    "match",
    "measure",
    "measure_noise",
    "pictures",
    "read_recording",
    "read_recording_bytes",
    "response_of_sweep",
    "response_of_two",
    "steady_part",
    "three_parameter_fit",
]
