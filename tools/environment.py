"""The environment `.venv` of the tree: made from the locks, and programs run in it."""

from __future__ import annotations

import ast
import hashlib
import json
import os
import re
import subprocess
import sys
import tomllib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NoReturn

ROOT = Path(__file__).resolve().parents[1]
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
STAMP = VENV / "made-from.json"

RUNTIME_LOCK, BUILD_LOCK, DEV_LOCK = "requirements.txt", "requirements-build.txt", "requirements-dev.txt"
TO_USE = (RUNTIME_LOCK, BUILD_LOCK)
TO_DEVELOP = (DEV_LOCK,)


FROM_PIP_SETTINGS = {
    *("cert", "client-cert", "proxy", "index-url", "extra-index-url", "find-links", "trusted-host", "no-index"),
    *("timeout", "default-timeout", "retries", "cache-dir", "no-cache-dir", "keyring-provider"),
}
"""A person's pip settings that say how packages are reached; all others are left out, since they can break a venv."""


class TaskError(Exception):
    """A reason to stop that the person can mend; the text says how."""


def stop(reason: str) -> NoReturn:
    """End the task with a reason."""
    raise TaskError(reason)


def all_of(steps: dict[str, tuple[str, ...]], meanwhile: dict[str, tuple[str, ...]] | None = None) -> int:
    """Run every step, also after one has failed, and say at the end which failed.

    What runs meanwhile has one process where the steps have several that wait for each other; it is printed after them.
    """
    failed = []
    with ThreadPoolExecutor(1) as other:
        printed = {name: other.submit(captured, *command) for name, command in (meanwhile or {}).items()}
        for name, command in steps.items():
            print(f"== {name}", flush=True)
            if call(*command) != 0:
                failed.append(name)
        for name, done in printed.items():
            print(f"== {name}\n{done.result().stdout}", end="", flush=True)
            if done.result().returncode != 0:
                failed.append(name)
    if failed:
        print(f"failed: {', '.join(failed)}", file=sys.stderr)
    return 1 if failed else 0


def prepare(locks: tuple[str, ...]) -> None:
    """Make `.venv` hold what the locks say and the package itself, unless it does already."""
    wanted = _state(locks)
    found = _stamped()
    if found and all(found.get(key) == value for key, value in wanted.items()):
        return
    if Path(sys.prefix).resolve() == VENV.resolve():
        stop(".venv must be made anew; start me with a Python that is not in it")
    STAMP.unlink(missing_ok=True)
    if any(found.get(key, value) != value for key, value in wanted.items()) or not found:
        print(f"making .venv with Python {sys.version.split()[0]}", flush=True)
        make_venv()
        found = {}
    print(f"installing {' and '.join(locks)} (a minute or two, this once)", flush=True)
    install_locked(locks)
    pip("install", "--no-deps", "--no-build-isolation", "--no-index", "--editable", str(ROOT))
    STAMP.write_text(json.dumps({**found, **wanted}, indent=1), encoding="utf-8")


def install_locked(locks: tuple[str, ...], python: str = "") -> None:
    """Install what the locks name, half of it by each of two pips: fetching and unpacking keep no more than one core busy.

    `python` is that of the environment, of `.venv` by default. Nothing is compiled beforehand: of 13,600 modules most are never imported, and Python compiles the others once.
    """
    entries = sorted({entry for lock in locks for entry in _entries((ROOT / lock).read_text(encoding="utf-8"))})
    with TemporaryDirectory() as folder, ThreadPoolExecutor(2) as pips:
        halves = [Path(folder) / f"{number}.txt" for number in range(2)]
        for number, half in enumerate(halves):
            half.write_text("".join(entries[number::2]), encoding="utf-8")
        # a lock names every dependency, so neither half looks for those in the other
        options = ("--no-deps", "--no-compile", "--require-hashes", "--only-binary", ":all:")
        list(pips.map(lambda half: pip("install", *options, "-r", str(half), python=python), halves))


def _entries(lock: str) -> list[str]:
    """Return a lock's packages, each with the lines of its digests."""
    return re.findall(r"^\w.*(?:\n\s.*)*\n", lock, flags=re.MULTILINE)


def _state(locks: tuple[str, ...]) -> dict[str, str]:
    """Return what an environment is made from: Python, place, and digests of the locks and the package's data."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    installed = json.dumps([project["project"], project["build-system"]], sort_keys=True)
    contents = {**{name: (ROOT / name).read_bytes() for name in locks}, "pyproject.toml": installed.encode()}
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in contents.items()}
    if DEV_LOCK in locks:  # it holds all that the others hold
        digests |= _state(TO_USE)
    return {"python": sys.version, "place": str(ROOT), **digests}


def _stamped() -> dict[str, str]:
    """Return what `.venv` was made from; nothing when it was not finished."""
    if not STAMP.is_file() or not Path(script("python")).is_file():
        return {}
    try:
        return {str(key): str(value) for key, value in json.loads(STAMP.read_text(encoding="utf-8")).items()}
    except (ValueError, AttributeError):
        return {}


def make_venv(place: Path = VENV) -> None:
    """Make an empty virtual environment."""
    if call(sys.executable, "-m", "venv", "--clear", str(place)) != 0:
        stop("Python can't make a virtual environment; on Debian install python3-venv, elsewhere a full Python")


def script(name: str) -> str:
    """Return a program of the environment."""
    return str(BIN / (f"{name}.exe" if os.name == "nt" else name))


def call(*command: str) -> int:
    """Run a command in the tree, and return its exit status."""
    return subprocess.run(command, cwd=ROOT, env=own_environment(), check=False).returncode


def captured(*command: str) -> subprocess.CompletedProcess[str]:
    """Run a command in the tree, and return its exit status with what it printed."""
    return subprocess.run(
        command,
        cwd=ROOT,
        env=own_environment(),
        check=False,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        errors="replace",
    )


def own_environment() -> dict[str, str]:
    """Return the person's environment with this one's programs first on the path and no stray Python settings."""
    return clean_environment() | {
        "PATH": os.pathsep.join([str(BIN), os.environ.get("PATH", "")]),
        "PYTHONUTF8": "1",
        # two linear-algebra threads in each of several test processes slow each other down
        "OPENBLAS_NUM_THREADS": os.environ.get("OPENBLAS_NUM_THREADS", "1"),
    }


def clean_environment() -> dict[str, str]:
    """Return the person's environment without settings of Python, and of pip only those of the network."""
    reach = {"PIP_" + key.upper().replace("-", "_") for key in FROM_PIP_SETTINGS}
    return {
        key: value
        for key, value in os.environ.items()
        if key in reach or not key.startswith(("PYTHON", "PIP_", "VIRTUAL_ENV"))
    }


def pip(*arguments: str, python: str = "") -> None:
    """Run pip with a person's network settings and none of their others."""
    python = python or script("python")
    environment = clean_environment()
    environment |= pip_settings(python)
    environment |= {"PIP_CONFIG_FILE": os.devnull, "PIP_DISABLE_PIP_VERSION_CHECK": "1"}
    command = (python, "-m", "pip", *arguments, "-qq")
    if subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode != 0:
        stop("pip could not install what the lock says (its message is above); try again when it can be reached")


def pip_settings(python: str) -> dict[str, str]:
    """Return the network settings of this machine's pip as environment variables."""
    listed = subprocess.run((python, "-m", "pip", "config", "list"), capture_output=True, text=True, check=False)
    found: dict[str, dict[str, str]] = {"global": {}, "install": {}, ":env:": {}}
    for line in listed.stdout.splitlines():
        match = re.fullmatch(r"(global|install|:env:)\.([\w-]+)=('.*'|\".*\")", line.strip())
        if match and match[2] in FROM_PIP_SETTINGS:
            found[match[1]][match[2]] = str(ast.literal_eval(match[3]))
    merged = found["global"] | found["install"] | found[":env:"]
    return {"PIP_" + key.upper().replace("-", "_"): value for key, value in merged.items()}
