"""What a release consists of: the manual page, the bill of materials, completion; and what a release refuses."""

from __future__ import annotations

import json
import re
import subprocess
from typing import TYPE_CHECKING

import pytest
from commands import run
from tools import man_page, release, sbom
from tools.environment import TaskError

from gainwright import __version__
from gainwright.cli.base import app

if TYPE_CHECKING:
    from pathlib import Path


def test_manual_page_is_up_to_date() -> None:
    """It is what `python3 tasks.py man` writes: every command with its options."""
    assert man_page.PAGE.read_text(encoding="utf-8") == man_page.page()


def test_manual_page_names_every_command() -> None:
    """The commands of the program; lines that would be commands of the formatter are escaped."""
    text = man_page.page()
    names = {command.callback.__name__ for command in app.registered_commands if command.callback}
    assert {name.replace("_", "-") for name in names} <= set(
        re.findall(r"^\.SS ([\w\\-]+)", text.replace("\\-", "-"), re.MULTILINE)
    )
    assert {line.split()[0] for line in text.splitlines() if line.startswith(".")} <= {
        ".TH",
        ".SH",
        ".SS",
        ".TP",
        ".B",
        ".I",
    }
    assert man_page._text(".hidden 'a-b'") == "\\&.hidden 'a\\-b'"


def test_bill_names_every_locked_package_with_its_licence(tree: Path) -> None:
    """CycloneDX 1.6: each component once, every reference leads to one, and the same tree gives the same bill."""
    bill = sbom.bill()
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")
    locked = re.findall(r"^([\w.-]+==[^\s;\\]+)", (tree / "requirements.txt").read_text(encoding="utf-8"), re.MULTILINE)
    assert [f"{part['name']}=={part['version']}" for part in bill["components"]] == sorted(
        locked, key=lambda pin: pin.partition("==")
    )
    assert all(part["licenses"] for part in bill["components"])
    own = bill["metadata"]["component"]
    assert (own["name"], own["version"]) == ("gainwright", __version__)
    refs = {own["bom-ref"], *(part["bom-ref"] for part in bill["components"])}
    needs = {one["ref"]: one["dependsOn"] for one in bill["dependencies"]}
    assert set(needs) == refs
    assert {name for of in needs.values() for name in of} | {own["bom-ref"]} == refs
    assert json.dumps(sbom.bill()) == json.dumps(bill)
    assert sbom._stated("MIT OR Apache-2.0") == {"expression": "MIT OR Apache-2.0"}
    assert sbom._stated("BSD License") == {"license": {"name": "BSD License"}}


def test_release_needs_one_version_everywhere(tree: Path, tmp_path: Path) -> None:
    """Package, metadata and changelog; the tree itself is ready, a copy with another version in one of them isn't."""
    assert release.released_version(tree) == __version__
    for changed in ("pyproject.toml", "src/gainwright/__init__.py", "CHANGELOG.md"):
        for name in ("pyproject.toml", "src/gainwright/__init__.py", "CHANGELOG.md"):
            text = (tree / name).read_text(encoding="utf-8")
            (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / name).write_text(
                text.replace(__version__, "9.9.9") if name == changed else text, encoding="utf-8"
            )
        with pytest.raises(TaskError, match=r"9\.9\.9|doesn't"):
            release.released_version(tmp_path)


def test_release_refuses_a_tree_with_changes(tmp_path: Path) -> None:
    """A file that isn't committed, or no repository at all."""
    with pytest.raises(TaskError, match="git"):
        release.refuse_dirty(tmp_path)
    subprocess.run(("git", "init", "-q", str(tmp_path)), check=True)
    release.refuse_dirty(tmp_path)
    (tmp_path / "new.txt").touch()
    with pytest.raises(TaskError, match=r"new\.txt"):
        release.refuse_dirty(tmp_path)


@pytest.mark.parametrize(
    ("words", "at", "offered"),
    [
        ("gainwright pl", "1", {"plan"}),
        ("gainwright plan --ev", "2", {"--evidence"}),
        ("gainwright store ba", "2", {"backup"}),
    ],
)
def test_shells_complete_commands_and_options(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, words: str, at: str, offered: set[str]
) -> None:
    """As bash asks: the words so far, and which of them is being typed."""
    for name, value in {"_GAINWRIGHT_COMPLETE": "complete_bash", "COMP_WORDS": words, "COMP_CWORD": at}.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr("__main__.__package__", None)  # the name of the program, not of what runs the tests
    done = run(folder=tmp_path)
    assert set(done.stdout.split()) == offered
