"""A running web app for tests: `gainwright serve` as its own process, on a free port, with a store of its own."""

from __future__ import annotations

import contextlib
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import httpx
from warm_program import ForkedProcess, WarmProgram

if TYPE_CHECKING:
    from collections.abc import Sequence

START_S = 40.0


@dataclass
class WebServer:
    """One server process; it can be stopped hard and started again on the same port and store.

    Attributes
    ----------
    program : starts it in half the time; without, it is started as a person does.
    """

    folder: Path
    options: Sequence[str] = ()
    port: int = 0
    token: str = ""
    said: list[str] = field(default_factory=list)
    program: WarmProgram | None = None
    process: subprocess.Popen[str] | ForkedProcess | None = None
    listening: threading.Thread | None = None

    @property
    def address(self) -> str:
        """Where it answers, without a slash at the end."""
        return f"http://127.0.0.1:{self.port}"

    @property
    def headers(self) -> dict[str, str]:
        """What a request of this account carries."""
        return {"authorization": f"Bearer {self.token}"}

    @property
    def cookie(self) -> Any:
        """The cookie of this account's browser, for `BrowserContext.add_cookies`."""
        return {"name": f"gainwright-own-{self.port}", "value": self.token, "domain": "127.0.0.1", "path": "/"}

    def client(self, timeout: float = 60.0) -> httpx.Client:
        """Return a client of this account."""
        # the addresses are plain http: a client reads the trusted certificates otherwise, each anew
        return httpx.Client(base_url=self.address, timeout=timeout, headers=self.headers, verify=False)  # noqa: S501

    def get(self, path: str) -> httpx.Response:
        """Return the answer to one request of this account."""
        with self.client(30) as client:
            return client.get(path)

    def start(self) -> WebServer:
        """Start it and wait until it answers."""
        store = str(self.folder / "store.sqlite")
        arguments = ("serve", "--no-browser", "--port", str(self.port), "--store", store, *self.options)
        environment = {**os.environ, "XDG_DATA_HOME": str(self.folder), "XDG_CACHE_HOME": str(self.folder / "cache")}
        if self.program is not None:
            self.folder.mkdir(parents=True, exist_ok=True)
            self.process = self.program.start(arguments, environment, self.folder)
        else:
            command = (sys.executable, "-m", "gainwright", *arguments)
            self.process = subprocess.Popen(
                command, stderr=subprocess.PIPE, text=True, env=environment, start_new_session=True
            )
        ready = threading.Event()
        self.listening = threading.Thread(target=self._listen, args=(self.process, ready), daemon=True)
        self.listening.start()
        assert ready.wait(START_S), f"the server said nothing of its address: {self.said}"
        self._until_it_answers()
        return self

    def _listen(self, process: subprocess.Popen[str] | ForkedProcess, ready: threading.Event) -> None:
        assert process.stderr is not None
        with process.stderr:
            for line in process.stderr:
                self._heard(line, ready)

    def _heard(self, line: str, ready: threading.Event) -> None:
        self.said.append(line.rstrip())
        if "127.0.0.1:" in line and not ready.is_set():
            self.port = int(line.split("127.0.0.1:")[1].split("/", maxsplit=1)[0].split(maxsplit=1)[0])
            self.token = line.split("?token=")[1].split(maxsplit=1)[0]
            ready.set()

    def _until_it_answers(self) -> None:
        until = time.monotonic() + START_S
        while time.monotonic() < until:
            try:
                self.get("/api/jobs").raise_for_status()
            except (httpx.HTTPError, ConnectionError):
                time.sleep(0.05)
            else:
                return
        raise AssertionError(f"the server doesn't answer: {self.said}")

    def empty(self) -> None:
        """Take out everything its store holds; start it if a test left it stopped."""
        if self.process is None or self.process.poll() is not None:
            self.start()
        with contextlib.closing(sqlite3.connect(self.folder / "store.sqlite", timeout=20)) as store, store:
            named = store.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'")
            for (table,) in named.fetchall():
                if table != "alembic_version":
                    store.execute(f'DELETE FROM "{table}"')  # noqa: S608  its own tables

    def stop(self) -> None:
        """Stop it as a person does."""
        self._end(signal.SIGINT)

    def kill(self) -> None:
        """Kill it without a word."""
        self._end(signal.SIGKILL)

    def _end(self, how: signal.Signals) -> None:
        if self.process is not None and self.process.poll() is None:
            os.killpg(self.process.pid, how)
            try:
                self.process.wait(15)
            except subprocess.TimeoutExpired:
                os.killpg(self.process.pid, signal.SIGKILL)
                self.process.wait(5)
        if self.listening is not None:
            self.listening.join(10)
        self.process = self.listening = None
