"""Renews the locked dependencies."""

from __future__ import annotations

import os
import re
import subprocess
import tomllib
from pathlib import Path

from tools.environment import BIN, BUILD_LOCK, DEV_LOCK, ROOT, RUNTIME_LOCK, make_venv, pip, script, stop

ELSEWHERE_ONLY = {"colorama": 'sys_platform == "win32"'}
"""Dependencies that the machine which renews the lock does not need itself, and where they are needed."""


def lock(arguments: list[str]) -> int:
    """Renew the three locks from pyproject.toml: public index only, no address in them."""
    tools = ROOT / ".venv-lock"
    python = str(tools / BIN.name / Path(script("python")).name)
    if not Path(python).is_file():
        make_venv(tools)
        pip("install", "pip-tools", python=python)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    runtime = [*project["project"]["dependencies"], *ELSEWHERE_ONLY]
    extras = [name for names in project["project"]["optional-dependencies"].values() for name in names]
    develop = project["dependency-groups"]["dev"]
    build = [*project["build-system"]["requires"], "editables"]
    options = tuple(arguments[1:])
    # the largest first: what an extra allows of a package that all use decides for the smaller ones
    _compile(python, DEV_LOCK, [*runtime, *extras, *build, *develop], (), options)
    _compile(python, RUNTIME_LOCK, runtime, (DEV_LOCK,), options)
    _compile(python, BUILD_LOCK, build, (DEV_LOCK,), options)
    return 0


def _compile(python: str, lock: str, names: list[str], constraints: tuple[str, ...], options: tuple[str, ...]) -> None:
    """Resolve the names against the public index into one lock file that names no host."""
    print(f"resolving {lock}", flush=True)
    silent = ("index-url", "find-links", "trusted-host", "options")
    command = (
        *(python, "-m", "piptools", "compile", "-", "--quiet", "--output-file", lock, "--generate-hashes"),
        *(f"--no-emit-{what}" for what in silent),
        *("--no-header", "--no-annotate", "--strip-extras", "--allow-unsafe", "--no-config"),
        *(part for name in constraints for part in ("--constraint", name)),
        *options,
    )
    reach = ("PIP_CERT", "PIP_PROXY", "PIP_TIMEOUT", "PIP_DEFAULT_TIMEOUT")
    environment = {key: value for key, value in os.environ.items() if not key.startswith("PIP_") or key in reach}
    environment["PIP_CONFIG_FILE"] = os.devnull  # a local index must not put a version in that others can't get
    done = subprocess.run(command, cwd=ROOT, env=environment, input="\n".join(names), text=True, check=False)
    if done.returncode != 0:
        stop(f"{lock} was not renewed (the resolver's message is above)")
    text = (ROOT / lock).read_text(encoding="utf-8")
    for name, marker in ELSEWHERE_ONLY.items():
        text = re.sub(rf"^({name}==\S+)( ;[^\\\n]*)?( \\)$", rf"\1 ; {marker}\3", text, flags=re.MULTILINE)
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    heading = "# Made by `python3 tasks.py lock`. Exact versions and their digests; names no place to get them."
    (ROOT / lock).write_text("\n".join([heading, *lines]) + "\n", encoding="utf-8")
