"""The locked dependencies: exact, hash-checked, without any address, and complete on every platform."""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from typing import TYPE_CHECKING

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

if TYPE_CHECKING:
    from pathlib import Path

LOCKS = ("requirements.txt", "requirements-build.txt", "requirements-dev.txt")
PLATFORMS = (("linux", "Linux", "posix"), ("darwin", "Darwin", "posix"), ("win32", "Windows", "nt"))
VERSIONS = ("3.11", "3.12", "3.13", "3.14")


def _pins(path: Path) -> dict[str, Requirement]:
    """Return name -> pinned requirement; fail on any line that is no pin and no digest."""
    found = {}
    for entry in re.sub(r"\\\n", " ", path.read_text(encoding="utf-8")).splitlines():
        if entry.startswith("#") or not entry.strip():
            continue
        pin, *digests = re.split(r"\s+--hash=", entry)
        assert digests, f"no digest: {entry}"
        assert all(re.fullmatch(r"sha256:[0-9a-f]{64}\s*", digest) for digest in digests), entry[:80]
        requirement = Requirement(pin)
        assert re.fullmatch(r"==[0-9][0-9a-z.]*", str(requirement.specifier)), f"not one exact public version: {pin}"
        assert requirement.url is None
        assert requirement.name not in found
        found[requirement.name] = requirement
    return found


@pytest.mark.parametrize("lock", LOCKS)
def test_lock_is_exact_and_has_no_address(tree: Path, lock: str) -> None:
    """Every line is a version with digests or a comment; no address, option or path."""
    assert _pins(tree / lock)
    text = (tree / lock).read_text(encoding="utf-8")
    assert ":" + "//" not in text
    assert "/" not in text
    assert not re.search(r"^\s*-(?!-hash=)", text, flags=re.MULTILINE)


def test_locks_agree(tree: Path) -> None:
    """The packages for use and for building are tested in exactly the same versions."""
    develop = _pins(tree / "requirements-dev.txt")
    for lock in LOCKS[:2]:
        for name, pin in _pins(tree / lock).items():
            assert str(develop[name]) == str(pin), lock


def test_locks_hold_what_the_project_declares(tree: Path) -> None:
    """Each declared dependency is locked in a version within its declared range."""
    project = tomllib.loads((tree / "pyproject.toml").read_text(encoding="utf-8"))
    declared = {
        "requirements.txt": project["project"]["dependencies"],
        "requirements-build.txt": project["build-system"]["requires"],
        "requirements-dev.txt": [
            *project["dependency-groups"]["dev"],
            *(name for extra in project["project"]["optional-dependencies"].values() for name in extra),
        ],
    }
    for lock, names in declared.items():
        pins = {canonicalize_name(name): pin for name, pin in _pins(tree / lock).items()}
        for requirement in map(Requirement, names):
            (version,) = pins[canonicalize_name(requirement.name)].specifier
            assert requirement.specifier.contains(version.version), requirement


def test_installed_versions_are_the_locked_ones(tree: Path) -> None:
    """These tests run with the locked versions."""
    for name, pin in _pins(tree / "requirements-dev.txt").items():
        if pin.marker is None or pin.marker.evaluate():
            assert pin.specifier.contains(metadata.version(name)), f"{name} {metadata.version(name)} is not {pin}"


@pytest.mark.parametrize("lock", ["requirements.txt", "requirements-dev.txt"])
def test_lock_is_complete_on_every_platform(tree: Path, lock: str) -> None:
    """Everything that a locked package needs on Linux, macOS or Windows, with Python 3.11 to 3.14, is locked too."""
    pins = _pins(tree / lock)
    here = [name for name, pin in pins.items() if pin.marker is None or pin.marker.evaluate()]
    locked = {canonicalize_name(name): pin for name, pin in pins.items()}
    missing = set()
    for name in here:
        for requirement in map(Requirement, metadata.requires(name) or []):
            for system in _systems():
                wanted = requirement.marker is None or requirement.marker.evaluate(system)
                pin = locked.get(canonicalize_name(requirement.name))
                if wanted and (pin is None or not (pin.marker is None or pin.marker.evaluate(system))):
                    missing.add(f"{requirement.name} for {name} on {system['sys_platform']} {system['python_version']}")
    assert missing == set()


def _systems() -> list[dict[str, str]]:
    return [
        {
            "sys_platform": platform,
            "platform_system": system,
            "os_name": name,
            "python_version": version,
            "python_full_version": f"{version}.0",
            "extra": "",
        }
        for platform, system, name in PLATFORMS
        for version in VERSIONS
    ]
