"""The longest stretch of steady level in a recording, found from its level in short blocks, piece by piece."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.metering.recording import no_samples, peaks

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.metering.recording import Recording
    from gainwright.metering.recording_file import RecordingFile

    Floats = npt.NDArray[np.float64]

LOUD_DB = 3.0
"""A block is part of the steady stretch when it is within this of the loud blocks' median."""
EVEN_DB, EVEN_SCATTERS = 0.1, 4.0
"""Blocks of one stretch are within this of its median, or within this many median distances."""
BLOCK_SECONDS = 0.05
SPARE_BLOCKS = 4
PIECE_SAMPLES = 1 << 20
"""Samples of all channels together that are looked at in one piece, about 8 MB."""
MOST_FRAMES = 5_760_000
"""Of a longer stretch the middle is measured: two minutes at 48 kHz, 46 MB."""


@dataclass(frozen=True, slots=True)
class BlockLevels:
    """The level of every channel along a recording.

    Attributes
    ----------
    frames : length of the recording.
    block : frames of a block; a rest at the end has no level.
    peak : largest absolute sample, shape (channels,).
    power : mean square, shape (channels, blocks).
    """

    frames: int
    block: int
    peak: Floats
    power: Floats


def levels_along(recording: Recording | RecordingFile) -> BlockLevels:
    """Return the levels of a recording.

    Raises
    ------
    RecordingError : no samples, or some that aren't numbers that a recording can have.
    """
    block = max(1, round(BLOCK_SECONDS * recording.rate_hz))
    count = max(1, PIECE_SAMPLES // (block * recording.channels))
    frames, peak, power = 0, np.zeros(recording.channels), [np.zeros((0, recording.channels))]
    for piece in recording.pieces(count * block):
        peak = np.maximum(peak, peaks(piece, rate_hz=recording.rate_hz, name=recording.name, first=frames))
        frames += len(piece)
        whole = len(piece) // block
        blocks = piece[: whole * block].reshape(whole, block, recording.channels)
        power.append(np.einsum("ijk,ijk->ik", blocks, blocks) / block)  # without a copy of its squares
    if not frames:
        raise no_samples(recording.name)
    return BlockLevels(frames, block, peak, np.ascontiguousarray(np.concatenate(power).T))


def steady_stretch(power: Floats, *, block: int, frames: int) -> tuple[int, int, float]:
    """Return begin and end of the longest steady stretch, in frames, and its share of the loud part.

    Its first and last block (fades and switching) are left out, and all but the middle of a very long one.

    Parameters
    ----------
    power : mean square of each block, shape (blocks,).
    frames : length of the whole.
    """
    if len(power) < 4:
        return 0, frames, 1.0
    level_db = 10 * np.log10(np.maximum(power, 1e-30))
    is_loud = level_db > np.max(level_db) - 20
    # an actual level: the mean of two unequal halves is not one
    middle = np.percentile(level_db[is_loud], 50, method="higher")
    begin, end = _longest_run(np.abs(level_db - middle) < LOUD_DB)
    if end - begin >= SPARE_BLOCKS:  # it may contain a slow fade: keep the part as steady as its middle
        off = np.abs(level_db[begin:end] - np.median(level_db[begin:end]))
        first, last = _longest_run(off <= max(EVEN_DB, EVEN_SCATTERS * float(np.median(off))))
        begin, end = begin + first, begin + last
    share = (end - begin) / float(np.count_nonzero(is_loud))
    # The rest of a fade is in the first and last block; a very short stretch keeps them.
    if end - begin >= SPARE_BLOCKS:
        begin, end = begin + 1, end - 1
    spare = max(0, (end - begin) * block - MOST_FRAMES) // 2
    return begin * block + spare, end * block - spare, share


def steady_part(samples: Floats, *, rate_hz: float) -> Floats:
    """Return the longest stretch of steady level of one channel, without its first and last block."""
    block = max(1, round(BLOCK_SECONDS * rate_hz))
    count = len(samples) // block
    blocks = samples[: count * block].reshape(count, block)
    power = np.einsum("ij,ij->i", blocks, blocks) / block
    begin, end, _ = steady_stretch(power, block=block, frames=len(samples))
    return samples[begin:end]


def _longest_run(true: npt.NDArray[np.bool_]) -> tuple[int, int]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], true.view(np.int8), [0]])))
    begins, ends = edges[::2], edges[1::2]
    longest = int(np.argmax(ends - begins))
    return int(begins[longest]), int(ends[longest])
