"""Attacks on the store: processes killed while they write, and single changed bits in its file."""

from __future__ import annotations

import random
import shutil
import sqlite3
import tempfile
import time
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from attack_figures import Figures
from killed_writers import KilledWriters
from postgres import PostgreSQL
from store_writers import MEASURED

from gainwright.adapters.store import SqlStore, StoreMaintenance, open_store
from gainwright.errors import CallError
from gainwright.jobfile import example_text
from gainwright.model.case import Case, Closure

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from store_writers import Said

    from gainwright.app.store import Store

JOB = example_text("one_amplifier")
WRITERS, WRITERS_TO_A_SERVER, ROUNDS_OF_A_JOB = 6, 12, 20
LIVES_S = 0.1
"""Writers are killed within this time after their first acknowledged writes."""


def attack(seed: int, seconds: float) -> Sequence[Figures]:
    """Kill writers on both databases and change bits of a file, a third of the time each.

    Parameters
    ----------
    seed : draws the moments and the bits.
    seconds : about how long; 0 for the least that shows something.
    """
    return [
        _timed(kills_on_a_file, seed, seconds / 3),
        _timed(kills_on_a_server, seed + 1, seconds / 3),
        _timed(flips, seed + 2, seconds / 3),
    ]


def _timed(do: Callable[[int, float], Figures], seed: int, seconds: float) -> Figures:
    begun = time.monotonic()
    figures = do(seed, seconds)
    figures.seconds = time.monotonic() - begun
    return figures


# ---- kills -------------------------------------------------------------------------------------------------------


def kills_on_a_file(seed: int, seconds: float) -> Figures:
    """Kill writers to a file, again and again; everything acknowledged must be there."""
    with tempfile.TemporaryDirectory(prefix="gainwright-attack-") as folder:
        return _kills(Figures("kills on SQLite"), str(Path(folder) / "shop.sqlite"), seed, seconds)


def kills_on_a_server(seed: int, seconds: float) -> Figures:
    """Kill writers to a server's database, and in every tenth round the server itself."""
    server = PostgreSQL(durable=True)
    try:
        server.start()
        return _kills(Figures("kills on PostgreSQL"), server.new_database(), seed, seconds, server)
    finally:
        server.remove()


def _kills(figures: Figures, place: str, seed: int, seconds: float, server: PostgreSQL | None = None) -> Figures:
    draw, until = random.Random(seed), time.monotonic() + seconds  # noqa: S311  (no secret)
    writers, rounds, many = KilledWriters(), 0, WRITERS if server is None else WRITERS_TO_A_SERVER
    try:
        while not rounds or time.monotonic() < until:
            with closing(open_store(place)) as store:  # a job of its own for some rounds: what is compared stays short
                job = store.jobs.add(title="killed", text=JOB).id
            kept = Kept()
            for _ in range(ROUNDS_OF_A_JOB):
                begun = time.monotonic()
                stopped = server if server is not None and rounds % 10 == 9 else None
                after_s = draw.uniform(0, LIVES_S)
                said = writers.killed(place, job, many, after_s=after_s, before=stopped and stopped.stop)
                if stopped is not None:
                    stopped.start()
                rounds += 1
                figures.tried += many
                figures.acknowledged += len(said)
                with closing(open_store(place)) as store:
                    lost = kept.lost(said, store, job)
                figures.lost += lost
                if lost:
                    what = f"{lost} acknowledged writes lost after kill {figures.tried}"
                    figures.fell(f"{what} of seed {seed} at {figures.what}")
                figures.took(begun)
                if time.monotonic() >= until:
                    break
    finally:
        writers.end()
    if not figures.acknowledged:
        figures.fell(f"{figures.what}, seed {seed}: nothing was acknowledged, so the kills show nothing")
    wrong = StoreMaintenance(place).check().wrong
    if wrong:
        figures.fell(f"after kills of seed {seed}: {wrong[0]}")
    return figures


@dataclass
class Kept:
    """What was acknowledged of one job so far."""

    entries: set[int] = field(default_factory=set)
    revision: int = 1

    def lost(self, said: Sequence[Said], store: Store, job: str) -> int:
        """Add what was acknowledged; return how much of everything a new connection doesn't find."""
        self.entries |= {number for what, number in said if what == "entry"}
        self.revision = max([self.revision, *(number for what, number in said if what == "revision")])
        there = {entry.number for entry in store.runs.entries(job)}
        return len(self.entries - there) + max(0, self.revision - store.jobs.get(job).revision)


# ---- changed bits ------------------------------------------------------------------------------------------------


def flips(seed: int, seconds: float) -> Figures:
    """Change single bits of a store's file: everything reads as it was written, or is refused in a sentence."""
    figures = Figures("changed bits of a store")
    draw, until = random.Random(seed), time.monotonic() + seconds  # noqa: S311  (no secret)
    with tempfile.TemporaryDirectory(prefix="gainwright-attack-") as folder:
        whole, file = Path(folder) / "whole.sqlite", Path(folder) / "flipped.sqlite"
        with closing(open_store(whole)) as store:
            fill(store)
        as_written = everything(whole)
        while figures.tried == 0 or time.monotonic() < until:
            begun = time.monotonic()
            shutil.copyfile(whole, file)
            where = (flip, flip_value)[figures.tried % 2](file, draw)
            figures.tried += 1
            try:
                read = everything(file)
            except Exception as error:  # noqa: BLE001  whatever it is: it isn't a refusal
                figures.tracebacks += 1
                figures.fell(f"{where}: {type(error).__name__}: {error}")
                continue
            silent = read_otherwise(as_written, read)
            figures.refused += any(map(_told, read.values()))
            figures.lost += len(silent)
            if silent:
                figures.fell(f"{where}: {silent[0]} was read otherwise in silence")
            figures.took(begun)
    return figures


def fill(store: Store) -> None:
    """Keep one of everything."""
    job = store.jobs.add(title="Großer Bus", text=JOB)
    at = store.runs.add(job.id, step="gain", kind="reading", text="2,1 V", value={"value": 2.1}, by="phone", seen=0)
    assert at.number == 1
    store.notes.add(
        job.id, step="gain", text="loose screw", by="phone", photo=bytes(range(256)), media_type="image/png"
    )
    store.recordings.add(job.id, name="a.wav", content=bytes(range(256)) * 40, measured=MEASURED)
    store.cases.write("blue", Case(title="no bass", job=JOB, closed=Closure(cause="gain_low", where="amp")), seen=0)
    store.devices.add(name="phone", token_digest="digest")  # noqa: S106  (no password)
    store.documents.put("music folder", "k", {"path": "/music", "ü": [1.5, None, True]})


def flip(file: Path, draw: random.Random) -> str:
    """Change one bit of a file; return which."""
    content = bytearray(file.read_bytes())
    at, bit = draw.randrange(len(content)), draw.randrange(8)
    content[at] ^= 1 << bit
    file.write_bytes(content)
    return f"bit {bit} of byte {at}"


def flip_value(file: Path, draw: random.Random) -> str:
    """Change one bit of one value of a table, which leaves the file's own structure whole; return which."""
    with closing(sqlite3.connect(file)) as connection:
        connection.text_factory = bytes
        named = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        table = draw.choice(sorted(name.decode() for (name,) in named))
        column = draw.choice([row[1].decode() for row in connection.execute(f'PRAGMA table_info("{table}")')])
        rows = connection.execute(f'SELECT rowid, "{column}", typeof("{column}") FROM "{table}"').fetchall()  # noqa: S608  its own tables
        row, value, kind = draw.choice([row for row in rows if row[1]] or [(0, 1, b"integer")])
        at, bit = 0, draw.randrange(62)
        if kind == b"integer":
            changed: int | bytes = value ^ (1 << bit)
        else:
            at, bit = draw.randrange(len(value)), bit % 8
            changed = value[:at] + bytes([value[at] ^ (1 << bit)]) + value[at + 1 :]
        to = "CAST(? AS TEXT)" if kind == b"text" else "?"
        connection.execute(f'UPDATE "{table}" SET "{column}" = {to} WHERE rowid = ?', (changed, row))  # noqa: S608
        connection.commit()
    return f"bit {bit} of byte {at} of {table}.{column} in row {row}"


def everything(where: Path | SqlStore) -> dict[str, Any]:
    """Read everything of a store as the program does; return what each call gave, the error of one that refused, and of the check."""
    if isinstance(where, SqlStore):
        return _everything(where)
    checked = _or_error(lambda: StoreMaintenance(str(where)).check().wrong)
    if checked and not isinstance(checked, CallError):  # what `check` tells isn't in silence
        checked = CallError(str(checked), code="check")
    store = _or_error(lambda: open_store(where))
    if isinstance(store, CallError):
        return {**dict.fromkeys(_READS, store), "check": checked}
    with closing(store):
        found = _everything(store)
    if checked:  # a row that an index doesn't find any longer
        found = {name: read or checked for name, read in found.items()}
    return {**found, "check": checked}


def _everything(store: SqlStore) -> dict[str, Any]:
    return {name: _or_error(lambda read=read: read(store)) for name, read in _READS.items()}  # type: ignore[misc]


def read_otherwise(as_written: dict[str, Any], read: dict[str, Any]) -> list[str]:
    """Return what is read otherwise than it was written, and isn't told to be damaged."""
    return [name for name, found in as_written.items() if read.get(name) != found and not _told(read.get(name))]


def _told(found: Any) -> bool:
    """Return whether a read was refused, or a list shows something that can't be read as damaged, in the place of its name."""
    if isinstance(found, list):
        names = [str(getattr(one, name, "")) for one in found for name in ("title", "name")]
        return any(name.startswith("damaged: ") for name in names)
    return isinstance(found, CallError)


def _or_error(call: Callable[[], Any]) -> Any:
    try:
        return call()
    except CallError as error:
        return error


def _job(store: SqlStore) -> str:
    """Return the name of the only job, which its versions are found by, too."""
    return next((job.id for job in store.jobs.list()), "")


_READS: dict[str, Callable[[SqlStore], Any]] = {
    "jobs": lambda store: store.jobs.list(),
    "job": lambda store: store.jobs.get(_job(store)),
    "entries": lambda store: store.runs.entries(_job(store)),
    "notes": lambda store: store.notes.of(_job(store)),
    "photo": lambda store: [store.notes.photo(note.id) for note in store.notes.of(_job(store))],
    "recordings": lambda store: store.recordings.of(_job(store)),
    "sound": lambda store: [store.recordings.content(one.id) for one in store.recordings.of(_job(store))],
    "case": lambda store: store.cases.get("blue"),
    "cases": lambda store: list(store.cases.find()),
    "counted": lambda store: store.cases.counted(),
    "devices": lambda store: store.devices.list(),
    "document": lambda store: store.documents.get("music folder", "k"),
    "documents": lambda store: store.documents.list("music folder"),
}
"""What the program reads of such a store."""
