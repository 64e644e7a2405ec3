"""The programme that will be played: reading a track, and what it holds band by band.

    with open_track(path) as track:                       # RecordingError when it can't be read
        found = analyse(track.blocks, rate_hz=track.rate_hz, channels=track.channels, bands=USUAL_BANDS)

or both, with decoding and analysis overlapped: `analyse_file(path, bands)`.
"""

from gainwright.programme.analysis import Analysis, analyse
from gainwright.programme.band import USUAL_BANDS, Band, Edge
from gainwright.programme.result import (
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
    "ANALYSIS_VERSION",
    "FULL_SCALE",
    "LEVELS",
    "LEVEL_EDGES",
    "POWERS",
    "POWER_LOW_DBFS",
    "POWER_STEP_DB",
    "SILENCE_DBFS",
    "USUAL_BANDS",
    "Analysis",
    "Band",
    "BandStatistics",
    "Edge",
    "TrackStatistics",
    "analyse",
    "level_dbfs",
    "merged",
]
