"""Requests that nobody would send: every route with odd names, values, forms, files and bytes; and the typed API by schemathesis.

They go to a server on 127.0.0.1, started here or given, from its own machine and from a paired device. No answer may be a server's error,
name a folder of the installation or hold a traceback, and the log may hold none. No error, and nothing that the device is told, may
name the folder of the store either.
"""

from __future__ import annotations

import itertools
import json
import random
import re
import socket
import ssl
import sys
import tempfile
import time
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import httpx
import odd_values
import psutil
from attack_figures import REFUSED_WITHIN_S, Figures, together
from fastapi.routing import APIRoute
from typed_requests import ask, document, fill
from web_server import WebServer

import gainwright
from gainwright.web import routers

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

FEW, TYPED = 30, 6
"""Requests of the short form; examples of each operation."""
ROUND = 400
"""Requests before the server is given something new to hold."""
BUSY = {503, 507}
"""Answers of a server that says that it has no room now."""
NOT_ASKED = re.compile(r"^/bench/lan$")
"""It would listen to the network, and requests stay on this machine."""
SECRETS = ("Traceback (most recent call last)", str(Path(gainwright.__file__).parent), sys.prefix, "site-packages")
PATIENCE_S = 30.0
UNSENDABLE = (httpx.InvalidURL, UnicodeError, ValueError, TypeError, httpx.LocalProtocolError)
"""What the client refuses to send: nothing that a server could do wrong."""


class Requests:
    """Draws requests from a seed, sends them to one server and judges the answers."""

    def __init__(self, seed: int, server: WebServer, *, of_device: bool = False) -> None:
        self._seed, self._chance, self._server = seed, random.Random(seed), server  # noqa: S311  an attack, not a secret
        self._of_device = of_device
        self.figures = Figures("requests of another device" if of_device else "requests")
        self._routes = [
            (method, route)
            for router in (*routers.API, *routers.PAGES)
            for route in router.routes
            if isinstance(route, APIRoute) and not NOT_ASKED.search(route.path)
            for method in sorted(route.methods or ())
        ]
        self._document = document().raw_schema
        self._names, self._links = {"text", "seen"}, {"/"}
        self._there: dict[str, str] = {}

    def send(self, until: float, *, least: int) -> None:
        """Send requests until a moment of the monotonic clock, and at least some."""
        with self._client() as client:
            for number in itertools.count():
                if number >= least and time.monotonic() >= until:
                    return
                if number % ROUND == 0:
                    self._there = fill(self._server) if time.monotonic() < until else _one_job(self._server)
                method, path, parts = self._drawn()
                self.one(client, f"seed {self._seed}, request {number}: {method} {path[:120]}", method, path, parts)

    def _client(self) -> AbstractContextManager[httpx.Client]:
        return paired(self._server) if self._of_device else self._server.client(timeout=PATIENCE_S)

    def _drawn(self) -> tuple[str, str, dict[str, Any]]:
        chance = self._chance
        if chance.random() < 0.15:  # a page that another page has a link to
            return "GET", chance.choice(sorted(self._links)), {}
        method, route = chance.choice(self._routes)
        known = chance.random() < 0.75
        path = re.sub(r"\{(\w+)(?::\w+)?\}", lambda m: self._name(m[1], known=known), route.path)
        parts: dict[str, Any] = {}
        asked = [p.name for p in route.dependant.query_params]
        if asked and chance.random() < 0.8:
            parts["params"] = {name: self._text() for name in asked if chance.random() < 0.6}
        if method != "GET":
            parts |= self._body(method, route)
        return method, path, parts

    def _name(self, parameter: str, *, known: bool) -> str:
        if known and parameter in self._there:
            return self._there[parameter]
        if parameter == "form":
            return self._chance.choice(("pdf", "html", "txt", "csv", "exe"))
        odd = self._chance.choice(("none", "0", "front", "head_unit", self._text()[:300]))
        return httpx.QueryParams({"x": odd}).__str__()[2:] or "none"

    def _text(self) -> str:
        return self._chance.choice(odd_values.TEXTS)

    def _body(self, method: str, route: APIRoute) -> dict[str, Any]:
        chance = self._chance
        way = chance.random()
        if way < 0.1:
            kind = chance.choice(
                (
                    "application/json",
                    "multipart/form-data; boundary=x",
                    "text/plain",
                    "application/x-www-form-urlencoded",
                )
            )
            return {"content": odd_values.file(chance)[1], "headers": {"content-type": kind}}
        operation = self._document["paths"].get(route.path, {}).get(method.lower(), {})
        schema = operation.get("requestBody", {}).get("content", {}).get("application/json", {}).get("schema")
        if schema is not None or way < 0.15:
            given = odd_values.like(schema or {}, self._document["components"]["schemas"], chance)
            return {"content": as_json(given), "headers": {"content-type": "application/json"}}
        declared = [p.name for p in route.dependant.body_params]
        names = declared or chance.sample(sorted(self._names), min(len(self._names), chance.randrange(8)))
        fields = {name: self._text() for name in names if name not in ("file", "photo", "results")}
        files = {name: odd_values.file(chance) for name in names if name in ("file", "photo", "results")}
        return {"data": fields, **({"files": files} if files else {})}

    def one(self, client: httpx.Client, name: str, method: str, path: str, parts: dict[str, Any]) -> None:
        """Send one request, and once more if its refusal took long: another process may have had the processor."""
        answer, took_s = self._answer(client, name, method, path, parts)
        if answer is None:
            return
        refused = answer.status_code >= 400
        if refused and took_s > REFUSED_WITHIN_S:
            again, took_s = self._answer(client, name, method, path, parts)
            if again is not None and took_s > REFUSED_WITHIN_S:
                self.figures.fell(f"{name}: refused ({again.status_code}) only after {took_s:.1f} s, twice")
        self.figures.longest_s = max(self.figures.longest_s, took_s)
        self.figures.refused += refused
        if answer.status_code >= 500 and answer.status_code not in BUSY:
            self.figures.tracebacks += 1
            self.figures.fell(f"{name}: {answer.status_code}: {answer.text[:150]!r}")
        told = answer.text if len(answer.content) < 4_000_000 else ""
        secrets = (*SECRETS, str(self._server.folder)) if refused or self._of_device else SECRETS
        if told and (secret := next((s for s in secrets if s in told and s not in path), None)):
            at = told.find(secret)
            self.figures.fell(f"{name}: {answer.status_code} tells of the machine: {told[max(at - 60, 0) : at + 60]!r}")
        if "html" in answer.headers.get("content-type", ""):
            self._names |= set(re.findall(r'name="([\w.-]+)"', told)[:200])
            self._links |= {link for link in re.findall(r'href="(/[^"#]*)', told)[:200] if len(self._links) < 2_000}

    def _answer(
        self, client: httpx.Client, name: str, method: str, path: str, parts: dict[str, Any]
    ) -> tuple[httpx.Response | None, float]:
        self.figures.tried += 1
        began = time.monotonic()
        try:
            with client.stream(method, path, **parts) as answer:
                if "event-stream" in answer.headers.get("content-type", ""):
                    answer._content = b""  # its end may never come
                else:
                    answer.read()
                return answer, time.monotonic() - began
        except UNSENDABLE:
            self.figures.tried -= 1
        except httpx.HTTPError as error:
            self.figures.fell(f"{name}: no answer after {time.monotonic() - began:.1f} s ({error!r})")
        return None, 0.0


@contextmanager
def paired(server: WebServer) -> Iterator[httpx.Client]:
    """Give a client of another device, paired, of a server that listens to a network too (on this machine)."""
    trusting = ssl.create_default_context()
    trusting.check_hostname, trusting.verify_mode = False, ssl.CERT_NONE
    with server.client() as own:
        address = own.get("/api/bench").json()["addresses"][0]
        with httpx.Client(base_url=address, verify=trusting, timeout=PATIENCE_S) as client:
            for _ in range(120):  # after wrong codes it has to wait, as a person must
                digits = own.post("/api/bench/code").raise_for_status().json()["digits"]
                answer = client.post("/pair", data={"code": digits, "name": "phone"})
                if answer.status_code != 429:
                    break
                time.sleep(0.5)
            client.get("/api/jobs").raise_for_status()
            yield client


def nonsense(seed: int, seconds: float, server: WebServer) -> Figures:
    """Send bytes that are no requests, or half of one; the server closes the line or says so, and lives."""
    chance, figures, began = random.Random(seed), Figures("bytes that are no request"), time.monotonic()  # noqa: S311
    while figures.tried < FEW or time.monotonic() < began + seconds:
        figures.tried += 1
        heads = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n5\r\nabc"
        sent = (
            odd_values.changed(heads, chance) if chance.random() < 0.8 else chance.randbytes(chance.randrange(1, 9_000))
        )
        since = time.monotonic()
        with suppress(OSError), socket.create_connection(("127.0.0.1", server.port), timeout=5) as line:
            line.sendall(sent)
            line.shutdown(socket.SHUT_WR)
            answer = line.recv(9_000)
            figures.refused += answer.startswith(b"HTTP/1.1 4")
            if answer.startswith(b"HTTP/1.1 5") or any(s.encode() in answer for s in SECRETS):
                figures.fell(f"seed {seed}, number {figures.tried}: {sent[:80]!r} is answered {answer[:80]!r}")
        figures.took(since)
    if server.process is None or server.process.poll() is not None:
        figures.fell(f"seed {seed}: the server ended")
    figures.seconds = time.monotonic() - began
    return figures


def _one_job(server: WebServer) -> dict[str, str]:
    with server.client() as client:
        return {"job": client.post("/api/jobs", json={"like": "full_range"}).raise_for_status().json()["id"]}


def as_json(given: Any) -> bytes:
    """Return odd values as JSON, also whole numbers that Python itself refuses to write."""
    limit = sys.get_int_max_str_digits()
    sys.set_int_max_str_digits(0)
    try:
        return json.dumps(given).encode()
    finally:
        sys.set_int_max_str_digits(limit)


def requests(seed: int, seconds: float, server: WebServer, *, of_device: bool = False) -> Figures:
    """Send odd requests to a running server, from its own machine or another device."""
    assert server.process is not None
    began, process = time.monotonic(), psutil.Process(server.process.pid)
    said, before_mb = len(server.said), process.memory_info().rss / 1e6
    sending = Requests(seed, server, of_device=of_device)
    sending.send(began + seconds, least=FEW)
    figures = sending.figures
    for line in server.said[said:]:
        if "Traceback (most recent call last)" in line:
            figures.tracebacks += 1
            figures.fell(f"seed {seed}: the log has a traceback: {' / '.join(server.said[-3:])[:300]}")
    if not process.is_running() or server.process.poll() is not None:
        figures.fell(f"seed {seed}: the server ended")
    else:  # told, not judged: most of it is what the server keeps of jobs and charts
        figures.memory_mb = max(_most_mb(process.pid) - before_mb, 0.0)
    figures.seconds = time.monotonic() - began
    return figures


def _most_mb(process: int) -> float:
    """Return the most memory that a process has had, MB; what it has now where the system doesn't tell."""
    with suppress(OSError, IndexError, ValueError):
        text = Path(f"/proc/{process}/status").read_text(encoding="ascii")
        return int(re.findall(r"VmHWM:\s+(\d+)", text)[0]) * 1024 / 1e6
    return float(psutil.Process(process).memory_info().rss / 1e6)


def typed(seed: int, seconds: float, server: WebServer) -> Figures:
    """Have schemathesis call every operation of the API, again and again with other values."""
    figures, began = Figures("typed requests"), time.monotonic()
    until = began + seconds
    operations = [found.ok() for found in document().get_all_operations()]
    for round_ in itertools.count():
        there = fill(server)
        for operation in operations:
            if time.monotonic() >= until:
                figures.seconds = time.monotonic() - began
                return figures
            since = time.monotonic()
            try:
                ask(operation, server, there, many=TYPED, chosen=seed + round_)
            except Exception as error:  # noqa: BLE001  whatever falls is told, and the others go on
                figures.fell(f"seed {seed + round_}: {operation.method.upper()} {operation.path}: {_reason(error)}")
            figures.tried += TYPED
            figures.took(since)
    return figures


def _reason(error: BaseException) -> str:
    while isinstance(error, BaseExceptionGroup):
        error = error.exceptions[0]
    return " / ".join(str(error).split("\n"))[:400]


def attack(seed: int, seconds: float, server: WebServer | None = None) -> Sequence[Figures]:
    """Do all of it to a server, or to one of its own, which another device reaches as well (at 127.0.0.2)."""
    if server is not None:
        return together(_all(seed, seconds, server))
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        running = WebServer(Path(folder), ("--lan", "--address", "127.0.0.2")).start()
        try:
            return together(_all(seed, seconds, running))
        finally:
            running.stop()


def _all(seed: int, seconds: float, server: WebServer) -> Iterator[Figures]:
    if seconds:  # in the short form, other tests do these; the device first: wrong codes close the door for a while
        yield requests(seed + 1, 0.25 * seconds, server, of_device=True)
        yield typed(seed, 0.3 * seconds, server)
    yield requests(seed, 0.4 * seconds, server)
    yield nonsense(seed, 0.05 * seconds, server)
