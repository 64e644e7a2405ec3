"""Cache of the statistics of music files, in SQLite, keyed by content, bands and version of the analysis."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import zlib
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.app.music.ports import Answer, StoppedScan
from gainwright.errors import CallError
from gainwright.programme import ANALYSIS_VERSION, BandStatistics, TrackStatistics

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from gainwright.app.music.ports import MusicFile
    from gainwright.programme import Band

FILE = "music.sqlite"
_LAYOUT = 1
_COUNTS = ("levels", "power_100ms", "power_1s")
_TABLES = """
create table if not exists files (path text primary key, size int, mtime_ns int, inode text, digest text) without rowid;
create table if not exists contents (digest text, bands text, version int, size int, why text, statistics blob,
  primary key (digest, bands)) without rowid;
create index if not exists sizes on contents (size);
create table if not exists scans (roots text primary key, files text, began text default current_timestamp);
"""


def statistics_bytes(found: TrackStatistics) -> bytes:
    """Serialise statistics; `statistics_of` restores them exactly."""
    bands, counts = [], []
    for band in found.bands:
        plain: dict[str, Any] = {f.name: getattr(band, f.name) for f in fields(band) if f.name not in _COUNTS}
        for name in _COUNTS:
            held = np.asarray(getattr(band, name), dtype="<i8")
            there = np.flatnonzero(held)
            first, last = (int(there[0]), int(there[-1]) + 1) if there.size else (0, 0)
            plain[name] = [held.size, first, last]
            counts.append(held[first:last].tobytes())
        bands.append(plain)
    head = {f.name: getattr(found, f.name) for f in fields(found) if f.name != "bands"} | {"bands": bands}
    text = json.dumps(head).encode()
    return zlib.compress(len(text).to_bytes(4, "little") + text + b"".join(counts), 6)


def statistics_of(content: bytes) -> TrackStatistics:
    """Restore statistics from `statistics_bytes`. ValueError: the bytes are damaged."""
    try:
        plain = zlib.decompress(content)
        start = 4 + int.from_bytes(plain[:4], "little")
        head = json.loads(plain[4:start])
        bands = []
        for band in head.pop("bands"):
            for name in _COUNTS:
                size, first, last = band[name]
                counts = np.zeros(size, dtype=np.int64)
                counts[first:last] = np.frombuffer(plain, "<i8", last - first, start)
                start += 8 * (last - first)
                band[name] = counts
            bands.append(BandStatistics(**band))
        return TrackStatistics(**head, bands=tuple(bands))
    except (zlib.error, KeyError, TypeError, OverflowError) as error:
        raise ValueError(f"damaged: {error}") from None


def bands_key(bands: Sequence[Band]) -> str:
    """Return a key that identifies a set of bands: names, filters and order."""
    return hashlib.sha256(repr(tuple(bands)).encode()).hexdigest()[:32]


class SqliteMusicCache:
    """A cache in a file of a folder, opened and tested at once.

    Raises
    ------
    CallError : the folder can't be created or written to, or the file there isn't such a cache.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE
        try:
            folder.mkdir(parents=True, exist_ok=True)
            trial = folder / f".trial-{os.getpid()}"
            trial.write_bytes(b"")
            trial.unlink()
            self._database = sqlite3.connect(self.path, timeout=20, isolation_level=None, check_same_thread=False)
            self._database.execute("pragma journal_mode = wal")
            self._database.execute("pragma synchronous = normal")
            self._database.executescript(_TABLES)
            self._check_layout()
        except OSError as error:
            raise self._refused(f"can't be written: {error.strerror or error}") from None
        except sqlite3.Error as error:
            if hasattr(self, "_database"):
                self._database.close()
            raise self._refused(f"is not a usable cache ({error})") from None

    def _check_layout(self) -> None:
        (layout,) = self._database.execute("pragma user_version").fetchone()
        if layout not in (0, _LAYOUT):
            raise sqlite3.DatabaseError(f"its layout {layout} was made by another version of this program")
        self._database.execute(f"pragma user_version = {_LAYOUT}")
        self._database.execute("delete from contents where version != ?", (ANALYSIS_VERSION,))

    def _refused(self, what: str) -> CallError:
        return CallError(
            what,
            code="no_cache",
            where=str(self.path),
            rule="results are cached in the user's cache folder",
            remedy="set GAINWRIGHT_CACHE to a writable folder, delete the file there, or use no cache",
        )

    def close(self) -> None:
        """Close the file."""
        self._database.close()

    def known(self, files: Sequence[MusicFile], bands: Sequence[Band]) -> dict[str, Answer]:
        """Return path -> cached answer for unchanged files; one query per file, without opening it."""
        ask = (
            "select contents.why, contents.statistics, contents.digest from files join contents using (digest) "
            "where path = ? and files.size = ? and mtime_ns = ? and inode = ? and bands = ?"
        )
        key, found = bands_key(bands), {}
        for file in files:
            path, size, mtime_ns, inode = file.absolute, file.size, file.mtime_ns, file.inode
            row = self._ask(ask, (path, size, mtime_ns, str(inode), key))
            answer = self._answer(row)
            if answer is not None:
                found[file.path] = answer
        return found

    def sizes(self) -> set[int]:
        """Return the sizes of all cached contents."""
        return {size for (size,) in self._database.execute("select distinct size from contents")}

    def content(self, digest: str, bands: Sequence[Band]) -> Answer | None:
        """Return the cached answer for a content."""
        ask = "select why, statistics, digest from contents where digest = ? and bands = ?"
        return self._answer(self._ask(ask, (digest, bands_key(bands))))

    def keep(self, file: MusicFile, bands: Sequence[Band], answer: Answer) -> None:
        """Store the answer for a file, durably and at once.

        Raises
        ------
        CallError : it can't be written, for instance because the disk is full.
        """
        blob = None if answer.statistics is None else statistics_bytes(answer.statistics)
        path, size, mtime_ns, inode = file.absolute, file.size, file.mtime_ns, file.inode
        content = (answer.digest, bands_key(bands), ANALYSIS_VERSION, size, answer.why, blob)
        self._write(
            ("insert or replace into contents values (?, ?, ?, ?, ?, ?)", content),
            ("insert or replace into files values (?, ?, ?, ?, ?)", (path, size, mtime_ns, str(inode), answer.digest)),
        )

    def begin(self, stopped: StoppedScan) -> None:
        """Record that a scan begins."""
        row = (json.dumps(sorted(stopped.roots)), json.dumps(stopped.files))
        self._write(("insert or replace into scans (roots, files) values (?, ?)", row))

    def finish(self, roots: Sequence[str]) -> None:
        """Record that the scan of these roots is finished."""
        self._write(("delete from scans where roots = ?", (json.dumps(sorted(roots)),)))

    def stopped(self, roots: Sequence[str]) -> StoppedScan | None:
        """Return the last stopped scan, of these roots if any are given."""
        ask, values = "select roots, files from scans order by began desc, rowid desc limit 1", tuple[str, ...]()
        if roots:
            ask, values = "select roots, files from scans where roots = ?", (json.dumps(sorted(roots)),)
        row = self._ask(ask, values)
        return None if row is None else StoppedScan(tuple(json.loads(row[0])), tuple(json.loads(row[1])))

    def _ask(self, ask: str, values: tuple[Any, ...]) -> Any:
        try:
            return self._database.execute(ask, values).fetchone()
        except sqlite3.Error as error:
            raise self._refused(f"can't be read ({error})") from None

    def _write(self, *changes: tuple[str, tuple[Any, ...]]) -> None:
        try:
            self._database.execute("begin immediate")
            for change, values in changes:
                self._database.execute(change, values)
            self._database.execute("commit")
        except sqlite3.Error as error:
            if self._database.in_transaction:
                self._database.execute("rollback")
            raise self._refused(f"can't be written ({error})") from None

    def _answer(self, row: Any) -> Answer | None:
        if row is None:
            return None
        why, blob, digest = row
        try:
            return Answer(
                digest, None if blob is None else statistics_of(blob), why, lasting=True, version=ANALYSIS_VERSION
            )
        except ValueError:
            return None
