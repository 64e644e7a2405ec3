"""What is done otherwise on Windows and macOS, with the system's answers put in its place."""

from __future__ import annotations

import contextlib
import io
import mimetypes
import socket
import sys
from types import SimpleNamespace
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from commands import run
from starlette.testclient import TestClient

from gainwright.adapters import decoding_child, music_workers
from gainwright.adapters.case_folder import FolderCases
from gainwright.cli.main import main
from gainwright.errors import CallError
from gainwright.web import serving
from gainwright.web.network import connection_limits
from gainwright.web.static_files import KeptFiles

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def windows(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the program think that it runs on Windows."""
    monkeypatch.setattr(sys, "platform", "win32")


@pytest.mark.usefixtures("windows")
def test_what_windows_lacks_is_not_asked_for(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No `resource` and no signal mask: limits are the parent's, descriptors are enough, processes start unmasked."""
    monkeypatch.setitem(sys.modules, "resource", None)  # importing it raises ImportError
    monkeypatch.delattr("signal.pthread_sigmask")
    decoding_child.limit(cpu_seconds=1, memory_bytes=1, file_bytes=1)
    assert connection_limits._descriptors() == connection_limits.WANTED_DESCRIPTORS
    with music_workers._interrupts_blocked():
        pass
    with pytest.raises(CallError, match="device"):
        FolderCases(tmp_path).load("aux.2")


@pytest.mark.usefixtures("windows")
def test_a_pool_has_no_more_processes_than_windows_allows() -> None:
    """61, where a pool of more would be an error."""
    assert music_workers.LocalWorkers(96).number == 61
    assert music_workers.LocalWorkers(3).number == 3


@pytest.mark.usefixtures("windows")
def test_windows_gives_the_port_of_a_running_server_to_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    """The option that shares a port there isn't set; the one that keeps it is."""
    monkeypatch.setattr(socket, "SO_EXCLUSIVEADDRUSE", ~socket.SO_REUSEADDR, raising=False)
    assert serving._sharing() == ~socket.SO_REUSEADDR


@pytest.mark.usefixtures("windows")
def test_windows_decodes_through_files_of_python(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The samples of standard input are those of standard output."""
    wave = np.sin(np.arange(4800) / 7.6).astype("float32")
    with (tmp_path / "in.flac").open("wb") as file:
        soundfile.write(file, wave, 48_000, format="FLAC", subtype="PCM_24")
    with (tmp_path / "in.flac").open("rb") as source, (tmp_path / "out.wav").open("wb") as target:
        monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=source))
        monkeypatch.setattr(sys, "stdout", SimpleNamespace(buffer=target))
        decoding_child.decode(most_samples=10_000, longest_s=1)
    samples, rate_hz = soundfile.read(io.BytesIO((tmp_path / "out.wav").read_bytes()), dtype="float32")
    assert rate_hz == 48_000
    assert np.max(np.abs(samples - wave)) < 2e-7


def test_a_limit_that_macos_refuses_leaves_the_others(monkeypatch: pytest.MonkeyPatch) -> None:
    """A limit of addresses below what is reserved is an error there; the remaining limits are set all the same."""
    import resource

    done: list[int] = []

    def set_limit(kind: int, _: tuple[int, int]) -> None:
        if kind == resource.RLIMIT_AS:
            raise ValueError("current limit exceeds maximum limit")
        done.append(kind)

    monkeypatch.setattr(resource, "setrlimit", set_limit)
    decoding_child.limit(cpu_seconds=1, memory_bytes=1, file_bytes=1)
    assert done == [resource.RLIMIT_CPU, resource.RLIMIT_CORE, resource.RLIMIT_FSIZE]


def test_types_of_scripts_come_from_no_registry() -> None:
    """A program that has told the system another type for scripts keeps no browser from running them."""
    known = mimetypes.guess_type("a.js")[0] or "text/javascript"

    mimetypes.add_type("text/plain", ".js")
    try:
        told = TestClient(KeptFiles()).get("/words.js").headers["content-type"]
    finally:
        mimetypes.add_type(known, ".js")
    assert told == "text/javascript; charset=utf-8"


@pytest.mark.parametrize(("own_choice", "shown"), [(False, "┬".encode()), (True, b"?")])
def test_output_of_any_encoding_shows_every_sign(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, own_choice: bool, shown: bytes
) -> None:
    """Into a file or pipe UTF-8 is written; an encoding that somebody chose is kept, with question marks for the lines of a drawing."""
    assert run("new", "job.yaml", folder=tmp_path).returncode == 0
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONIOENCODING", "cp1252") if own_choice else monkeypatch.delenv("PYTHONIOENCODING", False)
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="cp1252") for _ in range(2))
    monkeypatch.setattr(sys, "stdout", out)
    monkeypatch.setattr(sys, "stderr", err)
    monkeypatch.setattr(sys, "argv", ["gainwright", "attenuator", "job.yaml"])
    with contextlib.suppress(SystemExit):
        main()
    out.flush()
    assert b"error" not in err.buffer.getvalue()
    assert shown in out.buffer.getvalue()
