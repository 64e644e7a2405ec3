"""The scan of music compared with decoding alone and with other tools.

All in one run on the same real files (from a Debian package, encoded to each format beforehand), in turn, the best of
each:

- one core: CPU time of reading and analysing in one thread against CPU time of the library's own reading into arrays; and
  that of the digest of the content, which a scan that keeps its results works out as well;
- 96.flac is 24-bit FLAC at 96 kHz, where ebur128 makes two points of a sample instead of four; it has no target;
- `ffmpeg ebur128=peak=true` (loudness and true peak of the whole only), and its closest graph (that, two Linkwitz-Riley
  bands and astats of all three): CPU time of one thread;
- plain scipy and numpy calls on the whole file;
- all cores: wall time of a process for each core, over that of reading alone likewise;
- memory for a 10 h file over that for 1 min, the first call's compilation and the next process's.

Exit status 1 when a target is missed. Options: minutes of music (2), rounds (3).
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

PLACES = ("games/wesnoth/*/data/core/music/*.ogg", "hyperrogue/music/hr3*.ogg")
CODERS = {
    "wav": ["-c:a", "pcm_s16le"],
    "flac": ["-c:a", "flac", "-sample_fmt", "s16"],
    "24.flac": ["-c:a", "flac", "-sample_fmt", "s32"],
    "96.flac": ["-c:a", "flac", "-sample_fmt", "s32", "-ar", "96000"],
    "mp3": ["-c:a", "libmp3lame", "-q:a", "0"],
    "ogg": ["-c:a", "libvorbis", "-q:a", "6"],
    "m4a": ["-c:a", "aac", "-b:a", "256k"],
}
OF_DECODING = {
    "flac": (0.75, 0.87),
    "24.flac": (0.75, 0.87),
    "mp3": (0.75, 0.87),
    "ogg": (0.65, 0.80),
    "m4a": (0.65, 0.80),
}
"""Format -> target and stretch target of the share of the decoder's rate."""
TIMES = {"ebur128": (3.5, 5.5), "graph": (7.0, 7.0), "scipy": (24.0, 24.0)}
"""Other tool -> target and stretch target of the ratio of speeds."""
GRAPH = (
    "asplit=3[a][b][c];[a]ebur128=peak=true,astats,anullsink;"
    "[b]lowpass=f=80,lowpass=f=80,astats,anullsink;[c]highpass=f=80,highpass=f=80,astats,anullsink"
)
EXTRA_MB = 60


def main(arguments: list[str]) -> int:
    """Measure, print, return the exit status."""
    minutes, rounds = (float(text) for text in (*arguments, "2", "3")[:2])
    missed: list[str] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        print(_first_calls(folder))
        files = _files(folder, minutes)
        print(f"\n{minutes:g} min of {files['source'].name}; ns per frame of CPU time, best of {rounds:g}")
        print("format  decode   ours digest  share   ebur128  times    graph  times    scipy  times   all cores: share")
        for kind in CODERS:
            _one_format(kind, files[kind], int(rounds), missed)
        _memory(folder, missed)
    print("\n" + ("missed: " + "; ".join(missed) if missed else "all targets met"))
    return 1 if missed else 0


def _files(folder: Path, minutes: float) -> dict[str, Path]:
    """Code a stretch of real music to each format."""
    source = next(
        path for place in PLACES for path in sorted(Path("/usr/share").glob(place)) if path.stat().st_size > 2e6
    )
    found = {"source": source}
    for kind, options in CODERS.items():
        found[kind] = folder / f"music.{kind}"
        loop = ["ffmpeg", "-v", "error", "-stream_loop", "-1", "-i", str(source), "-t", str(60 * minutes), "-vn"]
        subprocess.run([*loop, *options, str(found[kind])], check=True)
    return found


def _one_format(kind: str, path: Path, rounds: int, missed: list[str]) -> None:
    """Measure one format by every means in turns, and print its line."""
    means: dict[str, Callable[[], object]] = {
        "decode": partial(_decode, path),
        "ours": partial(_ours, path),
        "digest": partial(_digest, path),
        "ebur128": partial(_ffmpeg, path, "ebur128=peak=true"),
        "graph": partial(_ffmpeg, path, GRAPH, split=True),
    }
    frames = _decode(path)
    best = dict.fromkeys(means, np.inf)
    for _ in range(rounds):
        for mean, act in means.items():
            best[mean] = min(best[mean], _cpu_s(act))
    best["scipy"] = _cpu_s(partial(_scipy, path))
    each = {mean: 1e9 * spent / frames for mean, spent in best.items()}
    share = best["decode"] / best["ours"]
    times = {mean: best[mean] / best["ours"] for mean in TIMES}
    every = _all_cores(path)
    others = "  ".join(f"{each[mean]:7.1f}  {times[mean]:5.1f}" for mean in TIMES)
    print(
        f"{kind:7} {each['decode']:6.1f}  {each['ours']:5.1f}  {each['digest']:5.1f}   {share:.2f}   {others}   {every:.2f}",
        flush=True,
    )
    if kind in OF_DECODING:
        _judge(missed, f"{kind} of decoding", share, *OF_DECODING[kind])
        for mean, (wanted, hoped) in TIMES.items():
            _judge(missed, f"{kind} against {mean}", times[mean], wanted, hoped)


def _judge(missed: list[str], what: str, found: float, wanted: float, hoped: float) -> None:
    if found < wanted:
        missed.append(f"{what} {found:.2f} of {wanted:g}")
    elif found < hoped:
        print(f"        {what}: {found:.2f}, target {wanted:g} met, not the stretch of {hoped:g}")


def _cpu_s(act: Callable[[], object]) -> float:
    """Return the CPU time of an act and of the processes that it waited for."""
    before = _spent_s()
    act()
    return _spent_s() - before


def _spent_s() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(part.ru_utime + part.ru_stime for part in used)


def _decode(path: Path) -> int:
    """Read a file with its library into arrays, and return its frames."""
    if path.suffix in (".m4a", ".ogg"):
        import av

        with av.open(str(path)) as container:
            return sum(frame.to_ndarray().shape[1] for frame in container.decode(audio=0))
    import soundfile

    class Forward(soundfile.SoundFile):  # type: ignore[misc]
        """A file without the library's seek after each block, so that the comparison is fair."""

        def seekable(self) -> bool:
            return False

    block, found = np.empty((16384, 2), np.float32), 0
    with Forward(path) as file:
        while count := len(file.read(out=block)):
            found += count
    return found


def _ours(path: Path) -> int:
    from gainwright.programme import analyse_file

    found = analyse_file(path, overlapped=False)
    assert found is not None
    return found.bands[0].samples


def _digest(path: Path) -> None:
    from gainwright.adapters.music_reader import read_file
    from gainwright.app.music.ports import FileTask

    read_file(FileTask(str(path), bands=()))


def _ffmpeg(path: Path, graph: str, *, split: bool = False) -> None:
    how = ["-filter_complex", f"[0:a]{graph}"] if split else ["-af", graph]
    head = [
        "ffmpeg",
        "-v",
        "quiet",
        "-nostats",
        "-threads",
        "1",
        "-filter_threads",
        "1",
        "-filter_complex_threads",
        "1",
    ]
    subprocess.run([*head, "-i", str(path), *how, "-f", "null", "-"], check=True)


def _scipy(path: Path) -> None:
    """Compute similar figures with one call after another on the whole file."""
    import pyloudnorm
    from scipy import signal

    from gainwright.programme import USUAL_BANDS
    from gainwright.programme.true_peak import PHASES

    samples, rate_hz = _whole(path)
    pyloudnorm.Meter(rate_hz).integrated_loudness(samples)
    for band in USUAL_BANDS:
        sections = band.sections(rate_hz)
        part = signal.sosfilt(sections, samples, axis=0) if len(sections) else samples
        np.abs(part).max(), np.sqrt((part**2).mean()), part.mean(axis=0)
        with np.errstate(divide="ignore"):
            np.histogram(20 * np.log10(np.abs(part)), bins=1400, range=(-120, 20))
        np.abs(signal.upfirdn(PHASES.T.reshape(-1), part, up=4, axis=0)).max()
        for seconds in (0.1, 1.0):
            whole = part[: len(part) // round(seconds * rate_hz) * round(seconds * rate_hz)]
            (whole.reshape(-1, round(seconds * rate_hz), 2) ** 2).mean(axis=1)


def _whole(path: Path) -> tuple[Any, int]:
    from gainwright.programme import open_track

    with open_track(path) as track:
        return np.concatenate([block.copy() for block in track.blocks]).astype(np.float64), track.rate_hz


def _all_cores(path: Path) -> float:
    """Return the rate of a process for each core over that of reading alone likewise."""
    cores = os.cpu_count() or 1
    with ProcessPoolExecutor(cores, mp_context=get_context("spawn")) as pool:
        spent = {}
        for act in (_ours, _decode):
            list(pool.map(act, [path] * 2 * cores))  # imports and compiled code
            begin = time.perf_counter()
            list(pool.map(act, [path] * 4 * cores))
            spent[act.__name__] = time.perf_counter() - begin
    return spent["_decode"] / spent["_ours"]


def _first_calls(folder: Path) -> str:
    """Return how long the first process ever and the second take to be ready."""
    code = "import time; t = time.perf_counter(); from gainwright.programme import load_kernel; load_kernel(print); print(time.perf_counter() - t)"
    environment = os.environ | {"GAINWRIGHT_CACHE": str(folder / "cache")}
    outputs = [
        subprocess.run(
            [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
        ).stdout.split("\n")
        for _ in range(2)
    ]
    first, second = (float(lines[-2]) for lines in outputs)
    notes = outputs[0][0] if len(outputs[0]) > 2 else "nothing"
    second_notes = "nothing" if len(outputs[1]) == 2 else outputs[1][0]
    return f"ready after {first:.1f} s the first time ever (notes: {notes}), {second:.2f} s the next (notes: {second_notes})"


def _memory(folder: Path, missed: list[str]) -> None:
    """Compare the memory that a minute takes with that of ten hours (a WAV file with a hole in it: silence)."""
    taken = []
    for seconds in (60, 36_000):
        path = folder / f"{seconds}.wav"
        size = seconds * 22_050 * 4
        head = b"RIFF" + (min(size + 36, 2**32 - 1)).to_bytes(4, "little") + b"WAVEfmt " + (16).to_bytes(4, "little")
        head += (
            b"\x01\x00\x02\x00" + (22_050).to_bytes(4, "little") + (88_200).to_bytes(4, "little") + b"\x04\x00\x10\x00"
        )
        head += b"data" + min(size, 2**32 - 1).to_bytes(4, "little")
        with path.open("wb") as file:
            file.write(head)
            file.truncate(44 + min(size, 2**32 - 1))
        with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
            taken.append(pool.submit(_peak_mb, path).result())
    more = taken[1][0] - taken[0][0]
    print(
        f"memory {taken[0][0]:.0f} MB for a minute, {more:+.0f} MB for {taken[1][1] / 3600:.1f} h (target under {EXTRA_MB})"
    )
    if more > EXTRA_MB:
        missed.append(f"memory {more:.0f} MB of {EXTRA_MB}")


def _peak_mb(path: Path) -> tuple[float, float]:
    from gainwright.programme import analyse_file

    found = analyse_file(path)
    assert found is not None
    # not ru_maxrss: that begins with what the process held that started this one
    high = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
    return int(high.split()[1]) / 1024, found.seconds


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
