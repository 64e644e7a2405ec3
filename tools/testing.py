"""Tests, checks, benches and attacks of the tree."""

from __future__ import annotations

import os
import re
import shutil
import sys
import tomllib
from pathlib import Path

from tools.environment import (
    BIN,
    BUILD_LOCK,
    DEV_LOCK,
    ROOT,
    TO_DEVELOP,
    all_of,
    call,
    install_locked,
    pip,
    prepare,
    script,
    stop,
)
from tools.programs import install_programs


def test(arguments: list[str]) -> int:
    """Run every check and test, or the tests that pytest's options choose."""
    install_programs()
    prepare(TO_DEVELOP)
    chosen = arguments[1:]
    pytest = _pytest(script("python"))
    if chosen:
        print("only the tests that were asked for: no style, types, layers or wheel", flush=True)
        return call(*pytest, *chosen)
    alone = pytest[:3]
    # once for all: test processes that need it together would each compile it for themselves
    kernel = (script("python"), "-c", "from gainwright.programme import load_kernel; load_kernel(print)")
    meanwhile = {"kernel": kernel, **_checks(), "wheel": (*alone, "--wheel", "tests/wheel")}
    if os.environ.get("CI"):  # there the tests' own search is fixed
        meanwhile["random"] = (*alone, "--hypothesis-profile=short", "-m", "hypothesis", "tests/property")
    return all_of({"tests": pytest}, meanwhile)


def _pytest(python: str) -> tuple[str, ...]:
    # more processes than cores: a test often waits for a server, a browser or a device
    # a process that has nothing left to do takes from the others: a server and a browser are made once a process
    return (python, "-m", "pytest", "-n", str(_cores() + 1), "--dist", "worksteal")


def _cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def lowest(arguments: list[str]) -> int:
    """Test with the lowest versions that the package's dependencies may have; the tests' own tools are those that go with them."""
    install_programs()
    project_file = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    project = project_file["project"]
    declared = [
        *(name for name in project["dependencies"] if ";" not in name),  # bounds of other systems
        *(name for extra in project["optional-dependencies"].values() for name in extra),
    ]
    lowest = [name.replace(">=", "==") for name in declared]
    python = _beside("lowest", sys.executable)
    own = {re.split(r"[\[=<>]", name)[0] for name in lowest}
    tools = [name for name in project_file["dependency-groups"]["dev"] if re.split(r"[\[=<>]", name)[0] not in own]
    pip("install", *lowest, *tools, python=python)
    # old versions warn of what newer ones beside them will take away
    old = ("-W", "ignore::DeprecationWarning", "-W", "ignore::PendingDeprecationWarning")
    return call(*_pytest(python), *old, *arguments[1:])


def other_python(arguments: list[str]) -> int:
    """Test with another Python and the locked versions."""
    if len(arguments) < 2 or shutil.which(arguments[1]) is None:
        stop("name a Python, such as python3.13")
    install_programs()
    python = _beside(Path(arguments[1]).name, arguments[1])
    install_locked((DEV_LOCK,), python)
    return call(*_pytest(python), *arguments[2:])


def _beside(name: str, interpreter: str) -> str:
    """Make an environment beside the usual one with the package in it, and return its Python."""
    place = ROOT / f".venv-{name}"
    if call(interpreter, "-m", "venv", "--clear", str(place)) != 0:
        stop(f"{interpreter} can't make a virtual environment")
    python = str(place / BIN.name / Path(script("python")).name)
    install_locked((BUILD_LOCK,), python)
    pip("install", "--no-deps", "--no-build-isolation", "--no-index", "--editable", str(ROOT), python=python)
    return python


def coverage(arguments: list[str]) -> int:
    """Run the tests, or those that pytest's options choose, and print each file's and the whole package's coverage."""
    install_programs()
    prepare(TO_DEVELOP)
    python = script("python")
    coverage = (python, "-m", "coverage")
    steps = {
        "erase": (*coverage, "erase"),
        "tests": (*coverage, "run", *_pytest(python)[1:], *arguments[1:]),
        "combine": (*coverage, "combine", "--quiet"),
        "coverage": (*coverage, "report", "--skip-covered", "--sort=cover"),
    }
    return all_of(steps)


def check(_: list[str]) -> int:
    """Check style, types and layers."""
    prepare(TO_DEVELOP)
    return all_of(_checks())


def _checks() -> dict[str, tuple[str, ...]]:
    python = script("python")
    return {
        "style": (python, "-m", "ruff", "check", "."),
        "format": (python, "-m", "ruff", "format", "--check", "."),
        "types": (python, "-m", "mypy"),
        "layers": (script("lint-imports"),),
    }


def attack(arguments: list[str]) -> int:
    """Attack the tree's own program on this machine, and print what was seen; 1 if anything fell."""
    install_programs()
    prepare(TO_DEVELOP)
    return call(script("python"), str(ROOT / "tests" / "support" / "attack_all.py"), *arguments[1:])


def bench(arguments: list[str]) -> int:
    """Measure speed, all or by name."""
    install_programs()
    prepare(TO_DEVELOP)
    there = {path.stem: path for path in sorted((ROOT / "bench").glob("*.py")) if not path.stem.startswith("_")}
    unknown = [name for name in arguments[1:] if name not in there]
    if unknown or not there:
        stop(f"no bench named {', '.join(unknown) or 'anything'}; there are: {', '.join(there) or 'none'}")
    return all_of({name: (script("python"), str(there[name])) for name in arguments[1:] or there})
