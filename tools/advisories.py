"""Checks the locked versions against the advisories that the package index states for them.

`python3 tasks.py advisories` takes the address of the index from pip's own settings. The index is asked for each locked package by
`/pypi/NAME/VERSION/json`, whose `vulnerabilities` hold the advisories for that version. Exit status: 0 none is stated, 1 at least
one is, 3 the index, or part of it, could not be asked.
"""

from __future__ import annotations

import datetime
import json
import os
import re
import subprocess
import sys
import urllib.error
import urllib.parse
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tools.environment import ROOT, pip_settings, stop

if TYPE_CHECKING:
    from pathlib import Path

IN_USE, ALL = "requirements.txt", "requirements-dev.txt"
NONE, SOME, NOT_ASKED = 0, 1, 3
AT_ONCE = 4
PATIENCE_S = 10.0
LARGEST = 32 << 20
"""Bytes of an answer that are read at most: it lists every file of a version."""


class UnreachableError(Exception):
    """The index can't be asked at all; the text says why."""


@dataclass(frozen=True)
class Advisory:
    """One advisory for one locked version."""

    package: str
    version: str
    names: tuple[str, ...]
    fixed_in: tuple[str, ...]
    summary: str

    def __str__(self) -> str:
        fixed = f"fixed in {', '.join(self.fixed_in)}" if self.fixed_in else "no fixed version is stated"
        return f"{self.package} {self.version}: {', '.join(self.names)}; {fixed}; {self.summary}"


def pins(lock: Path) -> dict[str, str]:
    """Return name -> version of a lock."""
    return dict(re.findall(r"^([\w.-]+)==([\w.]+)", lock.read_text(encoding="utf-8"), re.MULTILINE))


def base_of(index: str) -> str:
    """Return the address that the metadata are below, without a name and password: the index's own, without `/simple`.

    Raises
    ------
    UnreachableError : it isn't an address on the network, such as that of a folder.
    """
    parts = urllib.parse.urlsplit(index)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise UnreachableError("pip's index is not on the network, and a folder of packages states no advisories")
    host = parts.netloc.rpartition("@")[2]
    path = re.sub(r"/(simple/?)?$", "", parts.path)
    return f"{parts.scheme}://{host}{path}"


def advisories(package: str, version: str, metadata: Any) -> list[Advisory]:
    """Return the advisories that a package's metadata state for a version, without those that were withdrawn.

    Raises
    ------
    ValueError : the metadata are of another form, or state nothing about vulnerabilities.
    """
    if not isinstance(metadata, dict) or not isinstance(metadata.get("vulnerabilities"), list):
        raise ValueError("its metadata state nothing about vulnerabilities")  # noqa: TRY004  of an answer, not of a call
    found = []
    for stated in metadata["vulnerabilities"]:
        if not isinstance(stated, dict):
            raise ValueError("its metadata state vulnerabilities in an unknown form")  # noqa: TRY004
        if stated.get("withdrawn"):
            continue
        names = tuple(map(str, (stated.get("id", "without a name"), *(stated.get("aliases") or ()))))
        text = str(stated.get("summary") or stated.get("details") or "").strip().splitlines()
        # the summary is somebody else's text: shortened, and nothing in it steers a terminal
        summary = "".join(c for c in (text[0] if text else "without a summary") if c.isprintable())[:160]
        found.append(Advisory(package, version, names, tuple(map(str, stated.get("fixed_in") or ())), summary))
    return found


def ask(base: str, package: str, version: str) -> list[Advisory]:
    """Return what an index states of one version.

    Raises
    ------
    UnreachableError : the index doesn't answer.
    ValueError : it answers without what is needed.
    """
    address = f"{base}/pypi/{package}/{version}/json"
    try:
        with urllib.request.urlopen(address, timeout=PATIENCE_S) as answer:
            return advisories(package, version, json.loads(answer.read(LARGEST)))
    except urllib.error.HTTPError as error:
        error.close()
        raise ValueError(f"the index answers {error.code}") from None
    except (OSError, TimeoutError) as error:
        reason = getattr(error, "reason", None) or error
        raise UnreachableError(f"the index can't be reached ({type(reason).__name__})") from None


def _asked(base: str, package: str, version: str) -> list[Advisory] | str:
    try:
        return ask(base, package, version)
    except ValueError as error:
        return str(error) if not isinstance(error, json.JSONDecodeError) else "the index's answer is not JSON"


def check(index: str, root: Path) -> int:
    """Ask for every locked version, print what is stated, and return the exit status."""
    in_use, every = pins(root / IN_USE), pins(root / ALL)
    today = datetime.datetime.now(datetime.UTC).date().isoformat()
    try:
        base = base_of(index)
        ask_all = [(base, *next(iter(every.items())))]
        first = _asked(*ask_all[0])  # alone, so that without a network there is one attempt
        with ThreadPoolExecutor(AT_ONCE) as several:
            rest = list(several.map(lambda pin: _asked(base, *pin), list(every.items())[1:]))
    except UnreachableError as trouble:
        print(f"{today}: no version was checked: {trouble}", file=sys.stderr)
        return NOT_ASKED
    answers = dict(zip(every, [first, *rest], strict=True))
    found = [advisory for answer in answers.values() if isinstance(answer, list) for advisory in answer]
    unknown = {name: answer for name, answer in answers.items() if isinstance(answer, str)}
    for advisory in found:
        print(f"{advisory}{'' if advisory.package in in_use else ' (only for extras and development)'}")
    for name, why in unknown.items():
        print(f"{name} {every[name]}: not checked: {why}", file=sys.stderr)
    number = len(every) - len(unknown)
    print(f"{today}: {number} of {len(every)} locked versions checked, {len(found)} advisories stated")
    return SOME if found else NOT_ASKED if unknown else NONE


def ask_pips_index(_: list[str]) -> int:
    """Ask the index that pip uses for advisories on the locked versions; needs no environment."""
    index = os.environ.get("PIP_INDEX_URL") or pip_settings(sys.executable).get("PIP_INDEX_URL")
    if not index:  # pip says what it uses if nobody has set another
        asked = (sys.executable, "-m", "pip", "install", "--help")
        told = subprocess.run(asked, capture_output=True, text=True, check=False)
        usual = re.search(r"--index-url <url>.*?\(default\s+(\S+)\)", told.stdout, re.DOTALL)
        if usual is None:
            stop("pip doesn't say which index it uses; is it installed?")
        index = usual[1]
    return check(re.sub(r"//[^/@]*@", "//", index), ROOT)  # a name and password are nobody's business
