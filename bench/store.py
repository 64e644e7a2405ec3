"""The store: writes and reads a second against plain calls of the database's driver, on SQLite and PostgreSQL.

Baseline, in the same run on the same kind of file or server: hand-written statements with `sqlite3` or `psycopg`, each
write its own durable transaction, on one open connection. Both databases really flush to disk. In addition, the time of
a search among 5000 jobs and 5000 cases. The exit status is 1 if the overhead of a call, or a search, misses its target.
"""

from __future__ import annotations

import sqlite3
import statistics
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "support"))

import psycopg
from postgres import PostgreSQL

from gainwright.adapters.store import SqlStore, open_store
from gainwright.adapters.store import tables as t
from gainwright.adapters.store.digests import sealed
from gainwright.jobfile import example_text
from gainwright.model.case import Case

if TYPE_CHECKING:
    from collections.abc import Callable

WRITES, READS, ROUNDS = 200, 400, 5
KEPT = 5000
OVERHEAD_TARGET_MS = 1.0
"""Permitted overhead of one call: a page makes a dozen calls and must answer in 50 ms."""
SEARCH_TARGET_MS = 100.0
EXAMPLES = ("active_three_way", "bridged_pair", "factory_converter", "full_range", "one_amplifier", "two_way_and_sub")
ENTRY = 'INSERT INTO run_entry (job, number, step, kind, text, value, "by", at) VALUES (?, ?, ?, ?, ?, ?, ?, ?)'
HIGHEST = "SELECT coalesce(max(number), 0) FROM run_entry WHERE job = ?"
JOB = "SELECT job.*, v.title, v.text FROM job JOIN job_version v ON v.job = job.id AND v.number = job.version WHERE job.id = ?"


def main() -> int:
    """Measure, print, return the exit status."""
    server = PostgreSQL(durable=True)
    try:
        server.start()
        with tempfile.TemporaryDirectory() as folder:
            passed = [
                measure("SQLite", str(Path(folder) / "shop.sqlite"), _plain_sqlite),
                measure("PostgreSQL", server.new_database(), _plain_postgresql),
            ]
    finally:
        server.remove()
    print("passed" if all(passed) else "MISSED")
    return 0 if all(passed) else 1


def measure(name: str, place: str, plain: Callable[[str], Callable[..., list[Any]]]) -> bool:
    """Time one database; return whether the targets are met."""
    print(f"{name}: entries of a run written, jobs read, one after the other; median of {ROUNDS} rounds")
    with closing(open_store(place)) as store:
        run = plain(place)
        write_s = _rounds(lambda: _write(store), lambda: _write_plain(store, run))
        read_s = _rounds(lambda: _read(store), lambda: _read_plain(store, run))
        passed = [
            _report("writes", WRITES, write_s),
            _report("reads", READS, read_s),
            _search(store),
        ]
    print()
    return all(passed)


def _rounds(ours: Callable[[], None], plain: Callable[[], None]) -> tuple[float, float]:
    """Return the median time of each, taken in turn, so that a busy disk is busy for both."""
    times: tuple[list[float], list[float]] = ([], [])
    for _ in range(ROUNDS + 1):
        for found, work in zip(times, (ours, plain), strict=True):
            start = time.perf_counter()
            work()
            found.append(time.perf_counter() - start)
    return statistics.median(times[0][1:]), statistics.median(times[1][1:])


def _report(what: str, count: int, seconds: tuple[float, float]) -> bool:
    ours_s, plain_s = seconds
    overhead_ms = 1000 * (ours_s - plain_s) / count
    cells = [
        f"{what:<7} ours {count / ours_s:>7,.0f}/s",
        f"plain {count / plain_s:>8,.0f}/s",
        f"ours takes {ours_s / plain_s:5.2f} times as long",
        f"{overhead_ms:.2f} ms more a call (target {OVERHEAD_TARGET_MS:g} ms)",
    ]
    print("  " + "   ".join(cells))
    return overhead_ms <= OVERHEAD_TARGET_MS


def _write(store: SqlStore) -> None:
    job, seen = store.jobs.add(title="one", text=example_text("one_amplifier")).id, 0
    for _ in range(WRITES):
        seen = store.runs.add(job, step="a", kind="reading", text="2,1 V", value={"v": 2.1}, by="x", seen=seen).number


def _write_plain(store: SqlStore, run: Callable[..., list[Any]]) -> None:
    job = store.jobs.add(title="one", text=example_text("one_amplifier")).id
    for seen in range(WRITES):
        run("BEGIN IMMEDIATE", (), "SELECT id FROM job WHERE id = ? FOR UPDATE", (job,), HIGHEST + " AND step = ?", (job, "a"), HIGHEST, (job,),
            ENTRY, (job, seen + 1, "a", "reading", "2,1 V", '{"v":2.1}', "x", 1_000_000), "COMMIT", ())  # fmt: skip


def _read(store: SqlStore) -> None:
    job = store.jobs.list()[0].id
    for _ in range(READS):
        assert store.jobs.get(job).id == job


def _read_plain(store: SqlStore, run: Callable[..., list[Any]]) -> None:
    job = store.jobs.list()[0].id
    for _ in range(READS):
        assert run(JOB, (job,))[0][0] == job


def _plain_sqlite(place: str) -> Callable[..., list[Any]]:
    connection = sqlite3.connect(place, isolation_level=None)
    connection.execute("PRAGMA synchronous = FULL")

    def run(*statements: Any) -> list[Any]:
        rows: list[Any] = []
        for statement, values in zip(statements[::2], statements[1::2], strict=True):
            rows = connection.execute(statement.replace(" FOR UPDATE", ""), values).fetchall()
        return rows

    return run


def _plain_postgresql(place: str) -> Callable[..., list[Any]]:
    connection = psycopg.connect(place, autocommit=True)

    def run(*statements: Any) -> list[Any]:
        rows: list[Any] = []
        for statement, values in zip(statements[::2], statements[1::2], strict=True):
            cursor = connection.execute(statement.replace(" IMMEDIATE", "").replace("?", "%s"), values or None)
            rows = cursor.fetchall() if cursor.description else []
        return rows

    return run


def _search(store: SqlStore) -> bool:
    """Fill the store and time searches; return whether those that a person waits for are quick."""
    _fill(store)
    passed = True
    finders: dict[str, Callable[[str], Any]] = {"jobs": lambda w: store.jobs.list(words=w), "cases": store.cases.find}
    for what, find in finders.items():
        for words in ("größe 4711", "nowhere", "BLAU 33", ""):
            times = []
            for _ in range(ROUNDS):
                start = time.perf_counter()
                found = len(list(find(words)))
                times.append(1000 * (time.perf_counter() - start))
            took_ms = statistics.median(times)
            passed = passed and (not words or took_ms <= SEARCH_TARGET_MS)
            target = f"(target {SEARCH_TARGET_MS:g} ms)" if words else "(without a target)"
            print(f"  {KEPT} {what}: {words or 'all of them':<12} {found:>5} found in {took_ms:>6.1f} ms {target}")
    return passed


def _fill(store: SqlStore) -> None:
    """Keep jobs and cases as the store would, in one transaction."""
    texts = [example_text(name) for name in EXAMPLES]
    titles = [f"Größe {number} {'blau' if number % 2 else 'rot'}" for number in range(KEPT)]
    at = t.now()
    jobs, versions, cases = [], [], []
    for number, title in enumerate(titles):
        text = texts[number % len(texts)]
        name = f"{number:016x}"
        job = {"id": name, "revision": 1, "version": 1, "versions": 1, "shelf": "kept", "created": at, "changed": at, "deleted": None, "deleted_age": None}  # fmt: skip
        jobs.append({**sealed(t.job, job), "words": t.searched(title, text)})
        versions.append(
            sealed(t.job_version, {"job": name, "number": 1, "title": title, "text": text, "by": "", "at": at})
        )
        content = Case(title=title, job=text, evidence=tuple({"at": "amp", "reads": f"{v} V"} for v in range(10)))
        case = {"name": f"case-{number}", "revision": 1, "content": content.model_dump(mode="json"), "changed": at, "closed_as": None}  # fmt: skip
        cases.append({**sealed(t.kept_case, case), "words": t.searched(title, text)})
    with store.database.write() as connection:
        for table, rows in ((t.job, jobs), (t.job_version, versions), (t.kept_case, cases)):
            connection.execute(table.insert(), rows)


if __name__ == "__main__":
    raise SystemExit(main())
