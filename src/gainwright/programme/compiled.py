"""The compiled analysis: loading, compiling and caching the kernel, and running it on two channels.

numba compiles the kernel on its very first use (some seconds) and caches it in a folder of the user's cache, named
after a digest of its sources, so that later runs don't compile. The folder is tested before use. numba isn't imported
before `load_kernel` is called. It comes with the extra `fast-music`; without it `plain_pair` does the same, more slowly.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import importlib.util
import os
import sys
import tempfile
import threading
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.errors import CallError
from gainwright.programme.band import USUAL_BANDS
from gainwright.programme.channel_pair import CODES, ChannelPair, Ticks, Totals, level_counts
from gainwright.programme.filter_layout import (
    BLOCK,
    CHUNK,
    HISTORY,
    OUTPUTS,
    TAIL,
    TICKS,
    WEIGHTED,
    lay_out,
    sums_of_signals,
)
from gainwright.programme.plain_pair import PlainPair

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.programme.band import Band

    Note = Callable[[str], None]

MADE_FROM = ("kernel.py", "vector_loops.py", "filter_layout.py", "true_peak.py", "track_statistics.py")
ROWS = 4096
"""Ticks that a pair can hold; they must be drained before."""
FOLD_AFTER = 1 << 30
"""Frames after which the 32-bit counts are added to the totals."""

WITHOUT_COMPILER = (
    "music is analysed without the compiler, which takes several times as long; the extra fast-music adds it: "
    'python -m pip install "gainwright[fast-music]"'
)

_loading = threading.Lock()
_loaded: dict[str, Any] = {}


def has_compiler() -> bool:
    """Return whether numba, of the extra `fast-music`, is installed; without importing it."""
    return importlib.util.find_spec("numba") is not None


def pair_factory(note: Note) -> Callable[[tuple[Band, ...], int], ChannelPair]:
    """Return what makes the analysis of two channels of bands at a rate in Hz: compiled if numba is installed, else plain.

    Raises
    ------
    CallError : numba is installed and can't compile here.
    """
    return partial(CompiledPair, load_kernel(note)) if has_compiler() else PlainPair


def cache_folder() -> Path:
    """Return the folder for cached files: $GAINWRIGHT_CACHE, else the user's cache folder.

    Raises
    ------
    RuntimeError : the user has no home folder.
    """
    if named := os.environ.get("GAINWRIGHT_CACHE"):
        return Path(named)
    import platformdirs

    return platformdirs.PlatformDirs("gainwright", appauthor=False, opinion=False).user_cache_path


def _folder() -> Path:
    """Return the folder for compiled code, named after a digest of its sources."""
    here = Path(__file__).parent
    made_from = importlib.metadata.version("numba").encode() + b"".join((here / n).read_bytes() for n in MADE_FROM)
    return cache_folder() / f"compiled-{hashlib.sha256(made_from).hexdigest()[:16]}"


def kernel_is_cached() -> bool:
    """Return whether compiled code for this Python is cached, so that `load_kernel` won't compile; without importing numba."""
    try:
        return _holds_kernel(_folder())
    except (importlib.metadata.PackageNotFoundError, OSError, RuntimeError):  # RuntimeError: no home
        return False


def _holds_kernel(folder: Path) -> bool:
    # numba writes an index file for each function: its module, name and line, and the version of Python
    python = "py{}{}".format(*sys.version_info)
    return any(folder.rglob(f"kernel._advance-*.{python}.nbi"))


def _writable_folder(folder: Path, note: Note) -> str:
    """Return a folder for compiled code that is writable and belongs to the user; a temporary one if there is none."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
        if sys.platform != "win32" and folder.stat().st_uid != os.getuid():
            raise PermissionError(13, "it belongs to another user")
    except (OSError, RuntimeError) as error:  # RuntimeError: no home
        reason = getattr(error, "strerror", None) or str(error)
        note(
            f"{folder} can't be used as a cache ({reason}), so the analysis is compiled each time; set GAINWRIGHT_CACHE to a folder"
        )
        _loaded["passing"] = tempfile.TemporaryDirectory(prefix="gainwright-")
        return str(_loaded["passing"].name)
    return str(folder)


def load_kernel(note: Note = lambda _: None) -> Any:
    """Return the compiled kernel; `note` is called on a first compilation and when the cache folder can't be used.

    Raises
    ------
    CallError : numba is missing or can't compile here.
    """
    with _loading:
        if "kernel" not in _loaded:
            try:
                _loaded["kernel"] = _load(note)
            except Exception as error:
                raise CallError(
                    f"music can't be analysed: numba does not work here ({_first_line(error)})",
                    code="not_compiled",
                    remedy="python -m pip install --upgrade numba, then: gainwright selfcheck",
                ) from error
        return _loaded["kernel"]


def _first_line(error: Exception) -> str:
    lines = str(error).strip().splitlines()
    return lines[0] if lines else type(error).__name__


def _load(note: Note) -> Any:
    import numba

    folder = _writable_folder(_folder(), note)
    if not _holds_kernel(Path(folder)):
        note("compiling the analysis, the first time on this machine")
    settings: Any = numba.config
    before = settings.CACHE_DIR
    settings.CACHE_DIR = folder
    try:
        from gainwright.programme import kernel

        pair = CompiledPair(kernel, USUAL_BANDS, 48_000)
        pair.feed(CHUNK, last=True)
    finally:
        settings.CACHE_DIR = before
    return kernel


class CompiledPair(ChannelPair):
    """Analysis of two channels by the kernel; owns the arrays that the kernel works on."""

    def __init__(self, kernel: Any, bands: tuple[Band, ...], rate_hz: int) -> None:
        super().__init__()
        self._kernel = kernel
        self._rate_hz = rate_hz
        self._layout = layout = lay_out(bands, rate_hz)
        groups, number = len(layout.kinds), len(bands)
        self._clock = np.zeros(3, dtype=np.int64)  # frames so far, ticks held in rows, ticks so far
        self._states = np.zeros((groups, 16, 4))
        self._sums = np.zeros((groups, 10))
        self._rows = np.zeros((ROWS + TICKS * BLOCK // rate_hz + 2, layout.count, 2))
        self._total = np.zeros(2)
        self._buffers = np.zeros((1 + OUTPUTS * groups, 2 * (HISTORY + CHUNK + TAIL)), dtype=np.float32)
        self._tables = np.zeros(
            (layout.count, CODES, 2), dtype=np.uint32
        )  # by signal, including those that no band uses
        self._codes = np.zeros((number, 2, CODES), dtype=np.int64)
        self._before, self._peaks = np.zeros((number, 2)), np.zeros((number, 2))
        self._clipped = np.zeros(number, dtype=np.int64)
        self._runs = np.zeros((number, 2), dtype=np.int64)
        self._since_fold = 0

    def _advance(self, count: int, *, last: bool) -> None:
        if self._clock[1] >= ROWS:
            raise ValueError("ticks must be drained")
        self._kernel.advance(
            self.work, count, last, self._rate_hz, self._clock, self._layout.coefficients, self._layout.kinds,
            self._states, self._sums, self._rows, self._total, self._layout.signals, self._buffers, self._tables.ctypes.data,
            self._before, self._peaks, self._clipped, self._runs,
        )  # fmt: skip
        self._since_fold += count
        if self._since_fold > FOLD_AFTER:
            self._fold()

    def _fold(self) -> None:
        for band, signal in enumerate(self._layout.signals):
            self._codes[band] += self._tables[signal].T
        self._tables[:] = 0
        self._since_fold = 0

    def _ticks(self, rows: Any) -> Ticks:
        return Ticks(rows[:, WEIGHTED].copy(), rows[:, self._layout.signals])

    def drain(self) -> Ticks:
        """Return the ticks that were finished since the last time."""
        count, self._clock[1] = int(self._clock[1]), 0
        return self._ticks(self._rows[:count])

    def totals(self) -> Totals:
        """Return the totals."""
        self._fold()
        rest = np.zeros((1, self._layout.count, 2))
        self._kernel.close_tick(self._sums, rest[0], self._total)
        return Totals(
            levels=level_counts(self._codes),
            sums=sums_of_signals(self._layout, self._states, self._total)[self._layout.signals],
            peaks=self._peaks[:, 0].copy(),
            true_peaks=self._peaks[:, 1].copy(),
            clipped=self._clipped.copy(),
            rest=self._ticks(rest),
        )
