"""A real PostgreSQL on a socket of its own, no network; started and stopped by the tests and benches."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path

import psycopg


class PostgreSQL:
    """One server in a folder of its own.

    Parameters
    ----------
    durable : write to the disk as a server does in earnest; without, it is as quick as tests like it.
    """

    def __init__(self, *, durable: bool = False) -> None:
        self.user = "nobody" if os.geteuid() == 0 else pwd.getpwuid(os.geteuid()).pw_name  # it refuses to run as root
        self._durable = durable
        self._programs = _programs()
        self._folder = Path(tempfile.mkdtemp(prefix="gw-pg-"))  # short: a socket's path must be
        self._server: subprocess.Popen[bytes] | None = None
        self._databases = 0
        if os.geteuid() == 0:
            shutil.chown(self._folder, self.user)
        made = subprocess.run(
            self._command("initdb", "-D", "data", "-U", self.user, "--auth=trust", "-E", "UTF8", "--locale=C.UTF-8", *([] if durable else ["-N"])),
            cwd=self._folder, user=self._run_as(), capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert made.returncode == 0, made.stdout + made.stderr

    def start(self) -> None:
        """Start it and wait until it answers."""
        settings = {"listen_addresses": "", "unix_socket_directories": str(self._folder), "max_connections": "60"}
        settings |= {} if self._durable else {"fsync": "off"}
        options = [part for key, value in settings.items() for part in ("-c", f"{key}={value}")]
        with (self._folder / "server.log").open("ab") as log:
            self._server = subprocess.Popen(
                self._command("postgres", "-D", "data", *options),
                cwd=self._folder, user=self._run_as(), stdout=log, stderr=log,
            )  # fmt: skip
        for _ in range(200):
            with contextlib.suppress(psycopg.OperationalError):
                psycopg.connect(self.address("postgres")).close()
                return
            time.sleep(0.05)
        raise AssertionError((self._folder / "server.log").read_text())

    def stop(self) -> None:
        """End it at once, as a power cut does; what was committed stays."""
        if self._server is not None:
            self._server.send_signal(signal.SIGQUIT)
            self._server.wait(30)
            self._server = None

    def remove(self) -> None:
        """End it and throw it away."""
        self.stop()
        shutil.rmtree(self._folder, ignore_errors=True)

    def new_database(self) -> str:
        """Make an empty database; return its address."""
        self._databases += 1
        name = f"workshop{self._databases}"
        with psycopg.connect(self.address("postgres"), autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{name}"')
        return self.address(name)

    def address(self, database: str) -> str:
        """Return the address of a database of this server."""
        return f"postgresql:{'//'}{self.user}@/{database}?host={self._folder}"

    def _run_as(self) -> str | None:
        return self.user if os.geteuid() == 0 else None

    def _command(self, program: str, *arguments: str) -> tuple[str, ...]:
        return (str(self._programs / program), *arguments)


def _programs() -> Path:
    """Return the folder of the server's programs, of the newest version that is installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    on_path = shutil.which("initdb")
    assert found or on_path, "PostgreSQL is not installed; on Debian: apt-get install postgresql"
    return (found[-1] if found else Path(str(on_path))).parent
