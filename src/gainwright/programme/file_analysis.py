"""Analysis of a file by its name; decodes on one thread while another analyses."""

from __future__ import annotations

import queue
import threading
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from gainwright.errors import RecordingError
from gainwright.programme.analysis import Analysis
from gainwright.programme.band import USUAL_BANDS
from gainwright.programme.decoding import open_track
from gainwright.programme.filter_layout import BLOCK

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy.typing as npt

    from gainwright.programme.band import Band
    from gainwright.programme.decoding import Fill
    from gainwright.programme.track_statistics import TrackStatistics

    Samples = npt.NDArray[np.float32]

AHEAD = 4
"""Blocks by which the decoder may be ahead."""


def analyse_file(
    path: Path | str,
    bands: tuple[Band, ...] = USUAL_BANDS,
    *,
    overlapped: bool = True,
    should_stop: Callable[[], bool] = lambda: False,
    note: Callable[[str], None] = lambda _: None,
) -> TrackStatistics | None:
    """Return the statistics of a file; None if `should_stop`, called before each block, returned true.

    `overlapped` decodes on a separate thread: faster when a core is free, useless when every core has a file of its
    own.

    Raises
    ------
    RecordingError : it can't be read to its end, or has nothing that can be analysed.
    CallError : the kernel can't be compiled here.
    """
    with open_track(path) as track:
        try:
            analysis = Analysis(rate_hz=track.rate_hz, channels=track.channels, bands=bands, note=note)
            with read_ahead(track.fill, track.channels) if overlapped else nullcontext(track.fill) as fill:
                return _analysed(analysis, fill, should_stop)
        except RecordingError as error:
            raise (error if error.where else error.with_place(str(Path(path)))) from None


def _analysed(analysis: Analysis, fill: Fill, should_stop: Callable[[], bool]) -> TrackStatistics | None:
    while not should_stop():
        if not analysis.read(fill):
            return analysis.result()
    return None


@contextmanager
def read_ahead(fill: Fill, channels: int) -> Iterator[Fill]:
    """Yield a function like `fill` whose data a thread reads ahead into its own buffers; errors are raised by the function."""
    filled: queue.SimpleQueue[Samples | BaseException] = queue.SimpleQueue()
    free: queue.SimpleQueue[Samples | None] = queue.SimpleQueue()
    for _ in range(AHEAD):
        free.put(np.empty((BLOCK, channels), dtype=np.float32))

    def run() -> None:
        try:
            while (buffer := free.get()) is not None:
                count = fill(buffer)
                filled.put(buffer[:count])
                if not count:
                    return
        except BaseException as error:  # noqa: BLE001  (it is raised again by the reader)
            filled.put(error)

    block, used = np.empty((0, channels), dtype=np.float32), 0

    def next_frames(buffer: Samples) -> int:
        nonlocal block, used
        done = 0
        while done < len(buffer):
            if used == len(block):
                if used:
                    free.put(block.base)
                got = filled.get()
                if isinstance(got, BaseException):
                    raise got
                block, used = got, 0
                if not len(got):
                    filled.put(got)  # further calls return the end, too
                    break
            take = min(len(buffer) - done, len(block) - used)
            buffer[done : done + take] = block[used : used + take]
            done, used = done + take, used + take
        return done

    thread = threading.Thread(target=run, name="decoding", daemon=True)
    thread.start()
    try:
        yield next_frames
    finally:
        free.put(None)
        thread.join()
