"""Writes the bill of materials of a release (CycloneDX 1.6, JSON): Gainwright and its locked dependencies, with licences.

    python -m tools.sbom FILE

Started by `python3 tasks.py sbom` and `release`, with the environment of the tree. The same tree gives the same bytes.
"""

from __future__ import annotations

import json
import re
import sys
import tomllib
import uuid
from importlib import metadata
from pathlib import Path
from typing import Any

from tools.environment import ROOT, RUNTIME_LOCK
from tools.notice import licence

_EXPRESSION = re.compile(r"[\w.+-]+( (AND|OR|WITH) [\w.+-]+|[()])*")
"""A licence as SPDX writes it; others are given as a name."""


def bill() -> dict[str, Any]:
    """Return the bill of materials."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lock = (ROOT / RUNTIME_LOCK).read_text(encoding="utf-8")
    pins = dict(re.findall(r"^([\w.-]+)==([^\s;\\]+)", lock, re.MULTILINE))
    own = {
        "type": "application",
        "bom-ref": _ref(project["name"], project["version"]),
        "name": project["name"],
        "version": project["version"],
        "description": project["description"],
        "licenses": [{"expression": project["license"]}],
        "purl": _ref(project["name"], project["version"]),
    }
    parts = [
        {
            "type": "library",
            "bom-ref": _ref(name, version),
            "name": name,
            "version": version,
            "scope": "required",
            "licenses": [_stated(licence(name))],
            "purl": _ref(name, version),
        }
        for name, version in sorted(pins.items())
    ]
    direct = {_plain(text) for text in project["dependencies"]}
    needs = [{"ref": own["bom-ref"], "dependsOn": [_ref(name, pins[name]) for name in sorted(direct)]}]
    needs += [
        {"ref": _ref(name, pins[name]), "dependsOn": [_ref(other, pins[other]) for other in _needed(name, pins)]}
        for name in sorted(pins)
    ]
    content = {"components": parts, "dependencies": needs}
    serial = uuid.uuid5(uuid.NAMESPACE_OID, json.dumps([own, content], sort_keys=True))
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "serialNumber": f"urn:uuid:{serial}",
        "version": 1,
        "metadata": {"component": own},
        **content,
    }


def _ref(name: str, version: str) -> str:
    return f"pkg:pypi/{name}@{version}"


def _stated(text: str) -> dict[str, Any]:
    """Return a licence: an expression of SPDX, or the words of the package."""
    words = text.split()
    spdx = _EXPRESSION.fullmatch(text) is not None and (len(words) > 1 or "-" in text or text in {"MIT", "ISC"})
    return {"expression": text} if spdx else {"license": {"name": text}}


def _plain(requirement: str) -> str:
    """Return the name of a requirement as locks write it."""
    return re.sub(r"[-_.]+", "-", re.split(r"[ \[=<>!~;(]", requirement)[0]).lower()


def _needed(name: str, pins: dict[str, str]) -> list[str]:
    """Return the locked packages that a locked one needs without extras; none of one for another system."""
    try:
        requires = metadata.requires(name) or []
    except metadata.PackageNotFoundError:
        return []
    return sorted({_plain(text) for text in requires if "extra ==" not in text.replace("'", '"')} & set(pins))


def main(arguments: list[str]) -> int:
    """Write the bill to a file."""
    Path(arguments[0]).write_text(json.dumps(bill(), indent=1) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
