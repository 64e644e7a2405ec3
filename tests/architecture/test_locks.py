"""The locked dependencies: exact, hash-checked, without any address, and complete on every platform."""

from __future__ import annotations

import json
import re
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from tools import environment, platforms

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


def test_every_locked_package_is_installed_with_its_digests(tree: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What two pips are given is together what the locks say, each package once and pip itself not among them."""
    given: list[str] = []

    def note(*arguments: str, python: str) -> None:
        assert python == ""
        assert {"--require-hashes", "--only-binary", "--no-deps"} <= set(arguments)
        given.append(Path(arguments[-1]).read_text(encoding="utf-8"))

    monkeypatch.setattr(environment, "pip", note)
    for locks in (environment.TO_USE, environment.TO_DEVELOP):
        given.clear()
        environment.install_locked(locks)
        together = "".join(given)
        said = {line for lock in locks for line in (tree / lock).read_text(encoding="utf-8").splitlines()}
        assert sorted(set(together.splitlines())) == sorted(line for line in said if not line.startswith("#"))
        names = [canonicalize_name(name) for name in re.findall(r"^([\w.-]+)==", together, re.MULTILINE)]
        assert len(names) == len(set(names)) > 40
        assert "pip" not in names, "a pip would replace the other's own files"


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
            if requirement.marker is not None and not requirement.marker.evaluate():
                continue  # a bound of another system, which isn't locked here
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


def _seen(tree: Path) -> dict[str, dict[str, dict[str, str]]]:
    kept = json.loads((tree / "tools" / "platforms.json").read_text(encoding="utf-8"))
    assert kept["lock"] == platforms.lock_digest(), "the lock has changed: python3 tasks.py platforms"
    found: dict[str, dict[str, dict[str, str]]] = kept["without_a_wheel"]
    return found


def test_wheels_of_every_system_were_looked_up_for_this_lock(tree: Path) -> None:
    """What `python3 tasks.py platforms` found holds for the locked versions, and for every system and Python that it asks for."""
    found = _seen(tree)
    assert {system: tuple(of) for system, of in found.items()} == dict.fromkeys(platforms.SYSTEMS, platforms.PYTHONS)
    for system in platforms.MUST_BE_COMPLETE:
        assert all(older for of in found[system].values() for older in of.values()), system


def test_bounds_of_a_system_end_at_the_last_version_with_a_wheel(tree: Path) -> None:
    """Where the locked version has no wheel, pip there takes an older one that has: it would try to compile the newest."""
    project = tomllib.loads((tree / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    mac = {"sys_platform": "darwin", "platform_machine": "x86_64", "extra": ""}
    arm = {"sys_platform": "darwin", "platform_machine": "arm64", "extra": ""}
    lacking = {name: older for of in _seen(tree)["macOS x86-64"].values() for name, older in of.items()}
    assert lacking
    for name, older in lacking.items():
        (locked,) = _pins(tree / "requirements.txt")[name].specifier
        for system, takes_locked in ((mac, False), (arm, True)):
            asked = [Requirement(text) for text in project["dependencies"] if Requirement(text).name == name]
            bounds = [one.specifier for one in asked if one.marker is None or one.marker.evaluate(system)]
            assert all(bound.contains(older) for bound in bounds)
            assert all(bound.contains(locked.version) for bound in bounds) == takes_locked


def test_docs_say_which_systems_lack_what(tree: Path) -> None:
    """The table in docs/install.md is what was found."""
    text = (tree / "docs" / "install.md").read_text(encoding="utf-8")
    rows = dict(re.findall(r"^\| ([\w -]+) \| (.+?) \| .* \|$", text, re.MULTILINE))
    for system, of in _seen(tree).items():
        lacking = {name for names in of.values() for name in names}
        assert rows[system] == (", ".join(sorted(lacking)) or "none"), system
