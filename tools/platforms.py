"""Finds out for which systems and Pythons the index has a wheel of every locked dependency, and checks the types for each system.

What was found is kept in `tools/platforms.json` with a digest of the lock it holds for, and stands in docs/install.md.
"""

from __future__ import annotations

import hashlib
import json
import re
import subprocess
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tools.environment import (
    ROOT,
    RUNTIME_LOCK,
    TO_DEVELOP,
    all_of,
    clean_environment,
    pip_settings,
    prepare,
    script,
    stop,
)

FOUND = ROOT / "tools" / "platforms.json"
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
SYSTEMS = {
    "Linux x86-64": [f"manylinux_2_{minor}_x86_64" for minor in range(28, 4, -1)] + ["manylinux2014_x86_64"],
    "Linux arm64": [f"manylinux_2_{minor}_aarch64" for minor in range(28, 16, -1)] + ["manylinux2014_aarch64"],
    "macOS arm64": ["macosx_12_0_arm64"],
    "macOS x86-64": ["macosx_12_0_x86_64"],
    "Windows x86-64": ["win_amd64"],
    "Windows arm64": ["win_arm64"],
    "Alpine Linux x86-64": [f"musllinux_1_{minor}_x86_64" for minor in (2, 1)],
}
"""System -> the platform tags that it takes (packaging.python.org, "Platform compatibility tags"): glibc 2.28, macOS 12, musl 1.2."""
MUST_BE_COMPLETE = ("Linux x86-64", "Linux arm64", "macOS arm64", "macOS x86-64", "Windows x86-64")
AT_ONCE = 2


def lock_digest() -> str:
    """Return a digest of the names and versions of the runtime lock."""
    lock = (ROOT / RUNTIME_LOCK).read_text(encoding="utf-8")
    return hashlib.sha256("\n".join(re.findall(r"^[\w.-]+==\S+", lock, re.MULTILINE)).encode()).hexdigest()


def platforms(arguments: list[str]) -> int:
    """Ask the index for every system and Python, keep the answers, and check the types as on Windows and macOS."""
    prepare(TO_DEVELOP)
    cells = [(system, python) for system in SYSTEMS for python in PYTHONS]
    found: dict[str, dict[str, dict[str, str]]] = {system: {} for system in SYSTEMS}
    with ThreadPoolExecutor(AT_ONCE) as several:
        for (system, python), older in zip(cells, several.map(lambda cell: without_a_wheel(*cell), cells), strict=True):
            found[system][python] = older
            told = [f"no {name} but {version or 'none at all'}" for name, version in older.items()]
            print(f"{system}, Python {python}: {', '.join(told) or 'every wheel'}", flush=True)
    kept = {"lock": lock_digest(), "without_a_wheel": found}
    FOUND.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    if any(not older for system in MUST_BE_COMPLETE for names in found[system].values() for older in names.values()):
        stop("a system that must be complete lacks wheels: make an extra of what needs them")
    return 0 if "--no-types" in arguments else all_of(typed())


def typed() -> dict[str, tuple[str, ...]]:
    """Return the checks of types as on Windows and macOS: a name that the system's Python lacks is an error."""
    mypy = (script("python"), "-m", "mypy", "--no-warn-unreachable", "src")
    return {
        f"types on {system}": (*mypy, "--platform", system, "--cache-dir", f".mypy_cache/{system}")
        for system in ("win32", "darwin")
    }


def without_a_wheel(system: str, python: str) -> dict[str, str]:
    """Return the locked packages without a wheel for a system and a Python, with the newest version that has one."""
    return {name: newest_wheel(name, system, python) for name in missing_wheels(system, python)}


def missing_wheels(system: str, python: str) -> list[str]:
    """Return the locked packages without a wheel for a system and a Python; nothing is installed."""
    lock = (ROOT / RUNTIME_LOCK).read_text(encoding="utf-8")
    entries = re.findall(r"^[\w.-]+==\S+.*(?:\n +--hash=\S+(?: \\)?)+", lock, re.MULTILINE)
    missing: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        while True:
            wanted = Path(folder) / "wanted.txt"
            left = [re.sub(r" ; .*? \\", r" \\", entry) for entry in entries if entry.partition("==")[0] not in missing]
            wanted.write_text("\n".join(left) + "\n", encoding="utf-8")
            done = _resolved(wanted, system, python, folder, "--require-hashes")
            if done.returncode == 0:
                return sorted(missing)
            lacking = re.search(r"No matching distribution found for ([\w.-]+)==", done.stderr)
            if lacking is None or lacking[1] in missing:
                stop(f"pip could not ask the index: {done.stderr.strip().splitlines()[-1:]}")
            missing.append(lacking[1])


def newest_wheel(name: str, system: str, python: str) -> str:
    """Return the newest version of a package that has a wheel for a system and a Python; empty if none has."""
    with tempfile.TemporaryDirectory() as folder:
        wanted = Path(folder) / "wanted.txt"
        wanted.write_text(name, encoding="utf-8")
        done = _resolved(wanted, system, python, folder, "--report", f"{folder}/report.json")
        if done.returncode != 0:
            return ""
        report = json.loads((Path(folder) / "report.json").read_text(encoding="utf-8"))
        return str(report["install"][0]["metadata"]["version"])


def _resolved(wanted: Path, system: str, python: str, folder: str, *more: str) -> subprocess.CompletedProcess[str]:
    """Let pip resolve requirements for another system without installing anything."""
    tags = [part for tag in SYSTEMS[system] for part in ("--platform", tag)]
    target = ("--python-version", python, "--implementation", "cp", "--target", folder)
    options = ("-q", "--dry-run", "--ignore-installed", "--no-deps", "--only-binary", ":all:", *more)
    command = (script("python"), "-m", "pip", "install", *options, *target, *tags, "-r", str(wanted))
    environment = clean_environment() | pip_settings(script("python")) | {"PIP_DISABLE_PIP_VERSION_CHECK": "1"}
    return subprocess.run(
        command, env=environment, check=False, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, encoding="utf-8"
    )
