"""The programme: reading a track, its statistics in each band, and the allowance they permit.

    with open_track(path) as track:                       # RecordingError when it can't be read
        found = analyse(track.blocks, rate_hz=track.rate_hz, channels=track.channels, bands=USUAL_BANDS)

`analyse_file(path, bands)` does both, decoding and analysing at the same time. `load_kernel(note)` compiles the
analysis on its first use; a caller that starts several processes calls it first, unless `kernel_is_cached` is true.
"""

from gainwright.programme.allowance import (
    ALLOWANCES_DB,
    AllowanceChoice,
    AllowanceRow,
    BandAllowance,
    Limits,
    SpeakerLimit,
    SpeakerLoad,
    TrackBand,
    evaluate_allowances,
)
from gainwright.programme.analysis import Analysis, analyse
from gainwright.programme.band import USUAL_BANDS, Band, Edge
from gainwright.programme.compiled import WITHOUT_COMPILER, cache_folder, has_compiler, kernel_is_cached, load_kernel
from gainwright.programme.decoding import SUFFIXES, Track, open_track
from gainwright.programme.file_analysis import analyse_file
from gainwright.programme.hard_clipping import Clipping, clipping_at
from gainwright.programme.stretches import loudest_stretches, worst_100ms
from gainwright.programme.track_statistics import (
    ANALYSIS_VERSION,
    FULL_SCALE,
    LEVEL_EDGES,
    LEVELS,
    POWER_LOW_DBFS,
    POWER_STEP_DB,
    POWERS,
    SILENCE_DBFS,
    BandStatistics,
    TrackStatistics,
    level_dbfs,
    merged,
)

__all__ = [
    "ALLOWANCES_DB",
    "ANALYSIS_VERSION",
    "FULL_SCALE",
    "LEVELS",
    "LEVEL_EDGES",
    "POWERS",
    "POWER_LOW_DBFS",
    "POWER_STEP_DB",
    "SILENCE_DBFS",
    "SUFFIXES",
    "USUAL_BANDS",
    "WITHOUT_COMPILER",
    "AllowanceChoice",
    "AllowanceRow",
    "Analysis",
    "Band",
    "BandAllowance",
    "BandStatistics",
    "Clipping",
    "Edge",
    "Limits",
    "SpeakerLimit",
    "SpeakerLoad",
    "Track",
    "TrackBand",
    "TrackStatistics",
    "analyse",
    "analyse_file",
    "cache_folder",
    "clipping_at",
    "evaluate_allowances",
    "has_compiler",
    "kernel_is_cached",
    "level_dbfs",
    "load_kernel",
    "loudest_stretches",
    "merged",
    "open_track",
    "worst_100ms",
]
