"""A file from its name to its statistics, decoding on one thread while what was decoded is analysed on another."""

from __future__ import annotations

import queue
import threading
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from gainwright.errors import RecordingError
from gainwright.programme.analysis import Analysis
from gainwright.programme.arrangement import BLOCK
from gainwright.programme.band import USUAL_BANDS
from gainwright.programme.decoding import open_track

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy.typing as npt

    from gainwright.programme.analysis import Way
    from gainwright.programme.band import Band
    from gainwright.programme.result import TrackStatistics

    Samples = npt.NDArray[np.float32]

AHEAD = 4
"""Blocks that the decoder may be ahead."""


def analyse_file(
    path: Path | str,
    bands: tuple[Band, ...] = USUAL_BANDS,
    *,
    way: Way = "best",
    overlapped: bool = True,
    should_stop: Callable[[], bool] = lambda: False,
    note: Callable[[str], None] = lambda _: None,
) -> TrackStatistics | None:
    """Return the statistics of a file; None when `should_stop` came true on the way, asked block by block.

    `overlapped` decodes on a thread of its own: quicker where a core is free, of no use where every core has a file.

    Raises
    ------
    RecordingError : it can't be read, or not to its end, or holds nothing that can be analysed.
    """
    with open_track(path) as track:
        try:
            analysis = Analysis(rate_hz=track.rate_hz, channels=track.channels, bands=bands, way=way, note=note)
            blocks = ahead(track.blocks, track.channels) if overlapped else track.blocks
            for block in blocks:
                if should_stop():
                    return None
                analysis.add(block)
            return analysis.result()
        except RecordingError as error:
            raise (error if error.where else error.placed(str(Path(path)))) from None


def ahead(blocks: Iterator[Samples], channels: int) -> Iterator[Samples]:
    """Yield blocks that a thread reads ahead into buffers of its own; what it raises is raised here."""
    filled: queue.SimpleQueue[Samples | BaseException | None] = queue.SimpleQueue()
    free: queue.SimpleQueue[Samples | None] = queue.SimpleQueue()
    for _ in range(AHEAD):
        free.put(np.empty((BLOCK, channels), dtype=np.float32))

    def read() -> None:
        try:
            buffer, used = free.get(), 0
            for block in blocks:
                done = 0
                while done < len(block):
                    if buffer is None:
                        return
                    take = min(len(block) - done, BLOCK - used)
                    buffer[used : used + take] = block[done : done + take]
                    done, used = done + take, used + take
                    if used == BLOCK:
                        filled.put(buffer)
                        buffer, used = free.get(), 0
            if buffer is not None:
                filled.put(buffer[:used])
            filled.put(None)
        except BaseException as error:  # noqa: BLE001  (it is raised again where the blocks are asked for)
            filled.put(error)

    thread = threading.Thread(target=read, name="decoding", daemon=True)
    thread.start()
    try:
        while (got := filled.get()) is not None:
            if isinstance(got, BaseException):
                raise got
            yield got
            free.put(got if len(got) == BLOCK else np.empty((BLOCK, channels), dtype=np.float32))
    finally:
        free.put(None)
        thread.join()
