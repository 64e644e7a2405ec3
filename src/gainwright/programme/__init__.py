"""The programme that will be played: reading a track, and what it holds band by band.

    with open_track(path) as track:                       # RecordingError when it can't be read
        found = analyse(track.blocks, rate_hz=track.rate_hz, channels=track.channels, bands=USUAL_BANDS)

or both, with decoding and analysis overlapped: `analyse_file(path, bands)`. `load_kernel(note)` compiles the analysis if it has
never been; who starts several processes calls it first, unless what it compiles `kernel_is_cached`.
"""

from gainwright.programme.allowance import (
    ALLOWANCES_DB,
    AllowanceRow,
    BandAllowance,
    Choice,
    Drive,
    Limits,
    Part,
    allow,
)
from gainwright.programme.analysis import Analysis, analyse
from gainwright.programme.band import USUAL_BANDS, Band, Edge
from gainwright.programme.compiled import cache_folder, kernel_is_cached, load_kernel
from gainwright.programme.decoding import SUFFIXES, Track, open_track
from gainwright.programme.file_analysis import analyse_file
from gainwright.programme.hard_clipping import Clipping, clipping_at
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
    "AllowanceRow",
    "Analysis",
    "Band",
    "BandAllowance",
    "BandStatistics",
    "Choice",
    "Clipping",
    "Drive",
    "Edge",
    "Limits",
    "Part",
    "Track",
    "TrackStatistics",
    "allow",
    "analyse",
    "analyse_file",
    "cache_folder",
    "clipping_at",
    "kernel_is_cached",
    "level_dbfs",
    "load_kernel",
    "merged",
    "open_track",
]
