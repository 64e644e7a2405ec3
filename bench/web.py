"""The web app under load: requests a second and their 95th percentile with 20 clients, on SQLite and on PostgreSQL.

Each client opens the job, its set-up run and the run's state, and writes a reading, over a connection that stays open.
Baseline in the same run: a bare Starlette app on uvicorn that answers a fixed page of the same size, with the same
clients; the ratio shows what pages, store and guard add to the web server alone. Afterwards with a single client: the
time of each page, and in Chromium the time from moving a slider to the redrawn corridor, compared with only fetching
the same answer. Exit status 1 when a page or a redrawing takes longer than its target.
"""

from __future__ import annotations

import http.client
import json
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "support"))

from postgres import PostgreSQL
from web_server import WebServer

CLIENTS, SECONDS = 20, 12.0
PAGE_TARGET_MS, CASE_TARGET_MS, REDRAWN_TARGET_MS = 50.0, 100.0, 150.0
"""Targets, ms: a page; a case with its likely causes and next test; the corridor in the browser."""
ALONE = 40
HEADERS = {"content-type": "application/json"}
"""Of every request; those to our server carry its token."""

BARE = """
import socket, sys, uvicorn
from starlette.applications import Starlette
from starlette.responses import HTMLResponse
from starlette.routing import Route
BODY = "x" * int(sys.argv[1])
def page(request):
    return HTMLResponse(BODY)
listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
listening.bind(("127.0.0.1", 0))
listening.listen(128)
print(listening.getsockname()[1], flush=True)
app = Starlette(routes=[Route("/{rest:path}", page, methods=["GET", "POST"])])
uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False)).run(sockets=[listening])
"""


def main() -> int:
    """Measure, print, return the exit status."""
    database = PostgreSQL(durable=True)
    passed = []
    try:
        database.start()
        for name, options in (("SQLite", ()), ("PostgreSQL", ("--store", database.new_database()))):
            with tempfile.TemporaryDirectory() as folder:
                server = WebServer(Path(folder), options).start()
                try:
                    passed.append(measure(name, server))
                finally:
                    server.stop()
    finally:
        database.remove()
    print("passed" if all(passed) else "MISSED")
    return 0 if all(passed) else 1


def measure(name: str, server: WebServer) -> bool:
    """Measure one server and the bare one beside it; return whether the pages met their target."""
    port = server.port
    HEADERS.update(server.headers)
    job, step = _begun(port)
    paths = [("GET", f"/jobs/{job}"), ("GET", f"/jobs/{job}/setup"), ("GET", f"/api/jobs/{job}/run")]
    reading = json.dumps({"step": step, "kind": "skipped", "text": "a reason", "seen": 0})
    sizes = [len(_ask(http.client.HTTPConnection("127.0.0.1", port), *path)[1]) for path in paths]
    ours, ours_ms = _load(port, [*paths, ("POST", reading)])
    bare, bare_ms = _bare(round(statistics.mean(sizes)), [*paths, ("POST", reading)])
    print(f"{name}: {CLIENTS} clients, {SECONDS:g} s each, pages of {round(statistics.mean(sizes))} bytes on average")
    print(f"  ours  {ours:7.0f} requests/s   95th percentile {ours_ms:7.1f} ms")
    print(f"  bare  {bare:7.0f} requests/s   95th percentile {bare_ms:7.1f} ms   ({bare / ours:.1f} times ours)")
    targets = {path: PAGE_TARGET_MS for _, path in paths[:2]} | {_case(port, job): CASE_TARGET_MS}
    met = True
    for path, target in targets.items():
        ms = _alone(port, path)
        print(f"  one client alone, {path.replace(job, 'JOB')}: {ms:.1f} ms, median (target {target:g})")
        met &= ms < target
    redrawn, fetched = _redrawn(server, job)
    print(
        f"  corridor redrawn in Chromium: {redrawn:.0f} ms, median (target {REDRAWN_TARGET_MS:g}; fetched alone {fetched:.0f})"
    )
    return met and redrawn < REDRAWN_TARGET_MS


def _begun(port: int) -> tuple[str, str]:
    """Return a new job and the first step of its plan, its models made."""
    connection = http.client.HTTPConnection("127.0.0.1", port)
    job = json.loads(_ask(connection, "POST", "/api/jobs", json.dumps({"like": "two_way_and_sub"}))[1])["id"]
    step = json.loads(_ask(connection, "GET", f"/api/jobs/{job}/plan")[1])["steps"][0]["id"]
    _ask(connection, "GET", f"/jobs/{job}/setup")
    return job, step


def _case(port: int, job: str) -> str:
    """Return the path of a case of that job: its subwoofer is silent."""
    heard = {"heard": "sub", "tone": "50 Hz", "level": "-8 dBFS", "is": "silent"}
    body = json.dumps({"job": job, "evidence": [heard]})
    return f"/cases/{json.loads(_ask(http.client.HTTPConnection('127.0.0.1', port), 'POST', '/api/cases', body)[1])['name']}"


REDRAW = """async () => {
  const slider = [...document.querySelectorAll("[data-mirrors]")].find((e) => e.dataset.mirrors === "c-head.volume");
  const took = [], alone = [];
  for (let i = 0; i < 24; i += 1) {
    const done = new Promise((resolve) => document.addEventListener("swapped",
      () => requestAnimationFrame(() => requestAnimationFrame(resolve)), { once: true }));
    let begin = performance.now();
    slider.value = String(8 + i);
    slider.dispatchEvent(new Event("input", { bubbles: true }));
    await done;
    took.push(performance.now() - begin);
    begin = performance.now();
    await (await fetch(location.href)).text();
    alone.push(performance.now() - begin);
  }
  return [took.slice(4), alone.slice(4)];
}"""


def _redrawn(server: WebServer, job: str) -> tuple[float, float]:
    """Return ms from a slider moved to the corridor redrawn in Chromium, and to fetch the page alone; medians of twenty."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page(viewport={"width": 390, "height": 844})
        page.context.add_cookies([server.cookie])
        page.goto(f"{server.address}/jobs/{job}/corridor?tone=50&level=-8")
        redrawn, fetched = (statistics.median(taken) for taken in page.evaluate(REDRAW))
        browser.close()
    return redrawn, fetched


def _ask(connection: http.client.HTTPConnection, method: str, path: str, body: str = "") -> tuple[int, bytes]:
    connection.request(method, path, body or None, HEADERS)
    answer = connection.getresponse()
    return answer.status, answer.read()


def _load(port: int, asked: list[tuple[str, str]]) -> tuple[float, float]:
    """Return requests a second and the 95th percentile in ms of all clients together."""
    taken: list[float] = []
    refused: list[int] = []
    until = time.monotonic() + SECONDS

    def client() -> None:
        connection, mine, seen = http.client.HTTPConnection("127.0.0.1", port), [], 0
        job = ""
        while time.monotonic() < until:
            for method, path in asked:
                body = ""
                if method == "POST":
                    if not job:  # each client writes to its own job, so there are no conflicts
                        job = _begun_bare(connection)
                    body = json.dumps({**json.loads(path), "seen": seen})
                began = time.perf_counter()
                status, content = _ask(connection, method, f"/api/jobs/{job}/run" if body else path, body)
                mine.append(time.perf_counter() - began)
                if body and status == 201:
                    seen = int(json.loads(content)["number"])
                elif status >= 300:
                    refused.append(status)
        taken.extend(mine)

    threads = [threading.Thread(target=client) for _ in range(CLIENTS)]
    began = time.monotonic()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not refused, f"{len(refused)} requests were refused: {set(refused)}"
    return len(taken) / (time.monotonic() - began), 1000 * statistics.quantiles(taken, n=20)[-1]


def _begun_bare(connection: http.client.HTTPConnection) -> str:
    _, content = _ask(connection, "POST", "/api/jobs", json.dumps({"like": "two_way_and_sub"}))
    return str(json.loads(content)["id"]) if content.startswith(b"{") else "bare"


def _bare(size: int, asked: list[tuple[str, str]]) -> tuple[float, float]:
    process = subprocess.Popen((sys.executable, "-c", BARE, str(size)), stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        return _load(int(process.stdout.readline()), asked)
    finally:
        process.terminate()
        process.wait(10)


def _alone(port: int, path: str) -> float:
    connection, taken = http.client.HTTPConnection("127.0.0.1", port), []
    for _ in range(ALONE):
        began = time.perf_counter()
        _ask(connection, "GET", path)
        taken.append(time.perf_counter() - began)
    return 1000 * statistics.median(taken)


if __name__ == "__main__":
    sys.exit(main())
