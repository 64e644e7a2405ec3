"""The command about music: how far below full scale the set-up tones should be for the music that will be played."""

from __future__ import annotations

import signal
import sys
import threading
import time
from contextlib import closing, contextmanager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from gainwright.cli.base import Json, app, print_json, print_text, say, write_chart
from gainwright.errors import CallError
from gainwright.results import to_json

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from gainwright.app.music.ports import MusicCache
    from gainwright.app.music.scan import ScanProgress
    from gainwright.composition import Adapters
    from gainwright.programme.music_result import MusicResult

STOPPED = 130
OUT_SUFFIXES = (".json", ".csv", ".parquet")
_SAY_EVERY_S = 5.0
_SHOW_EVERY_S = 0.1


@app.command()
def music(
    folders: Annotated[
        list[Path] | None, typer.Argument(metavar="DIR...", help="Folders with music, or files; none with --resume.")
    ] = None,
    job: Annotated[Path | None, typer.Option(help="Use this job's bands, powers and ratings.")] = None,
    out: Annotated[Path | None, typer.Option(help="Write the result: .json, or a table as .csv or .parquet.")] = None,
    chart: Annotated[Path | None, typer.Option(help="Draw levels and clipped time to this .svg or .png file.")] = None,
    clipped: Annotated[float, typer.Option(metavar="PERCENT", help="Limit of the clipped time.")] = 0.1,
    products: Annotated[
        float, typer.Option(metavar="DB", help="Least distance of the clipping products below the programme.")
    ] = 40.0,
    write_allowance: Annotated[
        bool, typer.Option("--write-allowance", help="Write the recommended allowances into the job file.")
    ] = False,
    workers: Annotated[int | None, typer.Option(help="Number of processes; one per core by default.")] = None,
    scheduler: Annotated[
        str, typer.Option(metavar="ADDRESS", help="Use a Dask cluster whose workers have the same paths.")
    ] = "",
    no_cache: Annotated[bool, typer.Option("--no-cache", help="Read everything again, and cache nothing.")] = False,
    resume: Annotated[bool, typer.Option("--resume", help="Resume the last stopped scan.")] = False,
    as_json: Json = False,
) -> None:
    """Find the largest allowance for real music: scan folders, band by band."""
    from gainwright.composition import compose
    from gainwright.report.music_chart import music_chart

    _check(folders or [], job, out, clipped, products, workers, write_allowance=write_allowance, no_cache=no_cache, resume=resume)  # fmt: skip
    world = compose()
    found = _found(world, folders or [], job, clipped, products, workers, scheduler, no_cache=no_cache, resume=resume)
    if out is not None:
        _write(world, found, out)
    if chart is not None:
        write_chart(music_chart(found, title="What this music allows"), chart)
    if write_allowance and job is not None:
        found = replace(found, written_db=_write_allowance(job, found.recommended_db))
    if as_json:
        print_json(found)
        return
    from gainwright.report.music import music_text

    print_text(music_text(found))
    written = [str(path) for path in (out, chart) if path is not None]
    if found.written_db is not None:
        written.append(f"{job}: allowance " + ", ".join(f"{k} {v:g} dB" for k, v in found.written_db.items()))
    if written:
        print_text("\n" + "\n".join(f"written: {line}" for line in written))


def _check(
    folders: list[Path], job: Path | None, out: Path | None, clipped: float, products: float, workers: int | None,
    *, write_allowance: bool, no_cache: bool, resume: bool,
) -> None:  # fmt: skip
    if not folders and not resume:
        raise CallError("the folder is missing", code="no_folder", remedy="gainwright music FOLDER")
    if write_allowance and job is None:
        raise CallError("the job is missing", code="no_job", where="--write-allowance", remedy="add --job JOB")
    if resume and no_cache:
        raise CallError("a scan can't be resumed without the cache", code="bad_call", where="--resume")
    if out is not None and out.suffix.lower() not in OUT_SUFFIXES:
        raise CallError(
            f"music can't be written as {out.suffix or 'a file without a suffix'}",
            code="bad_suffix",
            where="--out",
            rule=f"it must be {', '.join(OUT_SUFFIXES)}",
            remedy="name the file music.json",
        )
    if not 0 <= clipped <= 100:
        raise CallError(f"{clipped:g} % of time", code="bad_option", where="--clipped", rule="it must be 0 to 100 %")
    if not 0 <= products <= 200:
        raise CallError(
            f"clipping products {products:g} dB below the programme",
            code="bad_option",
            where="--products",
            rule="it must be 0 to 200 dB",
        )
    if workers is not None and not 1 <= workers <= 1024:
        raise CallError(f"{workers} processes", code="bad_option", where="--workers", rule="it must be 1 to 1024")


def _found(
    world: Adapters, folders: list[Path], job: Path | None, clipped: float, products: float, workers: int | None,
    scheduler: str, *, no_cache: bool, resume: bool,
) -> MusicResult:  # fmt: skip
    from gainwright.app.music.allowances import allowances, job_bands
    from gainwright.app.music.scan import scan
    from gainwright.jobfile import read_job

    read = None if job is None else read_job(job).job
    bands, _ = job_bands(read)
    readers = world.music_workers(workers, scheduler)
    with _cache(world, no_cache, resume) as cache, _stoppable() as should_stop:
        library = scan(
            [str(folder) for folder in folders],
            bands=bands,
            files=world.music_files,
            workers=readers,
            cache=cache,
            resume=resume,
            on_progress=_Shown(resumed=resume),
            should_stop=should_stop,
            note=say,
        )
    if library.stopped:
        done = len(library.tracks) + len(library.skipped)
        kept = "nothing is cached" if no_cache else "they are cached; continue with gainwright music --resume"
        say(f"stopped: {done} of {library.total} files are done, {kept}")
        raise typer.Exit(STOPPED)
    from gainwright.programme import Limits

    return allowances(library, read, limits=Limits(clipped, -products))


@contextmanager
def _cache(world: Adapters, no_cache: bool, resume: bool) -> Iterator[MusicCache | None]:
    """Yield the cache, closed afterwards; if its folder isn't writable, only a resumed scan fails, others run without a cache."""
    cache = None
    if not no_cache:
        try:
            cache = world.music_cache()
        except CallError as error:
            if resume:
                raise
            say(f"this scan isn't cached: {error}")
    with nullcontext() if cache is None else closing(cache):
        yield cache


@contextmanager
def _stoppable() -> Iterator[Callable[[], bool]]:
    """Let the first Ctrl-C stop the scan cleanly, and a second one end the program at once."""
    asked = threading.Event()

    def ask(_number: int, _frame: Any) -> None:
        asked.set()
        signal.signal(signal.SIGINT, signal.default_int_handler)

    before = signal.signal(signal.SIGINT, ask)
    try:
        yield asked.is_set
    finally:
        signal.signal(signal.SIGINT, before)


class _Shown:
    """Reports progress on standard error: in a terminal one line that is overwritten, else a line at intervals."""

    def __init__(self, *, resumed: bool) -> None:
        self._resumed = resumed
        self._last_s = time.monotonic()
        self._terminal = sys.stderr.isatty()

    def __call__(self, progress: ScanProgress) -> None:
        if not progress.file:
            if self._resumed:
                say(f"resuming: {progress.done} of {progress.total} files are done")
            elif progress.reused:
                say(f"{progress.reused} of {progress.total} files are cached")
            return
        now_s = time.monotonic()
        ended = progress.done == progress.total
        if now_s - self._last_s < (_SHOW_EVERY_S if self._terminal else _SAY_EVERY_S) and not ended:
            return
        self._last_s = now_s
        left = "" if progress.left_s is None or ended else f", {_left(progress.left_s)} left"
        line = f"{progress.done} of {progress.total} files{left}"
        if not self._terminal:
            say(line)
        else:
            sys.stderr.write(f"\r\x1b[K{line}" + ("\n" if ended else ""))
            sys.stderr.flush()


def _left(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"


def _write_allowance(path: Path, recommended_db: dict[str, float]) -> dict[str, float]:
    """Write the recommended allowances into a job file; return output -> dB."""
    from gainwright.adapters.files import write_file
    from gainwright.app.music.allowances import with_allowances
    from gainwright.jobfile import read_job

    write_file(path, with_allowances(read_job(path).text, recommended_db, name=str(path)))
    return recommended_db


def _write(world: Adapters, found: MusicResult, out: Path) -> None:
    import json

    from gainwright.adapters.files import write_file
    from gainwright.app.music.allowances import table_rows

    if out.suffix.lower() == ".json":
        write_file(out, json.dumps(to_json(found), ensure_ascii=False, indent=1, allow_nan=False) + "\n")
    else:
        world.music_table(out, *table_rows(found))
