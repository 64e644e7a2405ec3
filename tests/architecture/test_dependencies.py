"""What docs/dependencies.md says of each package: all that is locked, and who needs it."""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from typing import TYPE_CHECKING

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

if TYPE_CHECKING:
    from pathlib import Path


def _rows(tree: Path, heading: str) -> list[list[str]]:
    """Return the cells of the rows of the table below a heading."""
    text = (tree / "docs" / "dependencies.md").read_text(encoding="utf-8")
    section = text.split(f"## {heading}\n", 1)[1].split("\n## ", 1)[0]
    rows = [
        [cell.strip(" `") for cell in line.strip("| ").split(" | ")] for line in section.splitlines() if "|" in line
    ]
    return rows[2:]


def _project(tree: Path) -> dict[str, object]:
    found: dict[str, object] = tomllib.loads((tree / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return found


def test_every_locked_package_is_explained(tree: Path) -> None:
    """The table names exactly the packages of the lock, each declared one with a purpose, the others with who needs them."""
    locked = re.findall(r"^([\w.-]+)==", (tree / "requirements.txt").read_text(encoding="utf-8"), re.MULTILINE)
    rows = _rows(tree, "Every package of a plain installation")
    assert [row[0] for row in rows] == sorted(locked)
    declared = {canonicalize_name(Requirement(str(d)).name) for d in _project(tree)["dependencies"]}  # type: ignore[attr-defined]
    for name, purpose, *_ in rows:
        assert (name in declared) == (not purpose.startswith("by ")), name
        for needs in (
            re.findall(r"[\w-]+", purpose.removeprefix("by ").split(", on ")[0]) if purpose.startswith("by ") else ()
        ):
            wanted = {canonicalize_name(Requirement(r).name) for r in metadata.requires(needs) or []}
            assert name in wanted, f"{needs} doesn't need {name}"


def test_every_extra_is_explained(tree: Path) -> None:
    """The table names exactly the extras, with the package that each installs."""
    extras = _project(tree)["optional-dependencies"]
    assert isinstance(extras, dict)
    told = {row[0]: row[2] for row in _rows(tree, "Extras")}
    assert told == {extra: Requirement(names[0]).name for extra, names in extras.items()}
