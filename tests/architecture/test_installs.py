"""What `python3 tasks.py installs` found is what the documents say, and what it calls wrong is wrong."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from tools import install_figures, installs
from tools.environment import TaskError
from tools.install_figures import Figures
from tools.platforms import lock_digest

from gainwright import load_job, make_plan

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="module")
def kept() -> Figures:
    """The figures that the task has written."""
    return Figures(**json.loads(install_figures.FOUND.read_text(encoding="utf-8")))


def test_figures_are_of_this_lock_and_of_every_way(tree: Path, kept: Figures) -> None:
    """Every way, every package and every extra was measured with the locked dependencies, and the aim is met."""
    assert kept.lock == lock_digest(), "the lock has changed: python3 tasks.py installs --write"
    assert list(kept.ways) == [way.name for way in installs.WAYS]
    # those for another system have a condition
    locked = set(re.findall(r"^([\w.-]+)==[^;]+?\\$", (tree / "requirements.txt").read_text("utf-8"), re.MULTILINE))
    assert set(kept.packages) - set(installs.OF_PIP) == {*locked, install_figures.OWN}
    assert {took["packages"] for took in kept.ways.values()} == {len(locked)}
    assert kept.dependencies_mb < 500
    assert all(took["to_a_plan"] < 90 for took in kept.ways.values())


@pytest.mark.parametrize("document", [install_figures.INSTALL, install_figures.DEPENDENCIES], ids=str)
def test_documents_have_the_figures(tree: Path, kept: Figures, document: Path) -> None:
    """Each figure is the one that was found; another one is noticed."""
    text = (tree / document).read_text(encoding="utf-8")
    assert install_figures.filled(document, text, kept) == text, "python3 tasks.py installs --write"
    ways = {name: {what: value + 1 for what, value in took.items()} for name, took in kept.ways.items()}
    packages = {name: size + 1 for name, size in kept.packages.items()}
    extras = {name: size + 1 for name, size in kept.extras.items()}
    other = install_figures.filled(document, text, replace(kept, ways=ways, packages=packages, extras=extras))
    changed = [before for before, after in zip(text.splitlines(), other.splitlines(), strict=True) if before != after]
    if document == install_figures.INSTALL:
        assert len(changed) == len(installs.WAYS)
    else:
        assert len(changed) >= len(kept.packages) - 1 + len(kept.extras) + 4


def test_figures_that_no_longer_fit_are_named(kept: Figures) -> None:
    """Another number of packages, or a size off by more than a tenth; a second more is nothing."""
    pipx = kept.ways["pipx install"]
    slower = {**kept.ways, "pipx install": {**pipx, "seconds": 300, "mb": round(pipx["mb"] * 1.05)}}
    assert install_figures.misfits(replace(kept, ways=slower), kept) == []
    for wrong in ({"packages": pipx["packages"] + 1}, {"mb": round(pipx["mb"] * 1.2)}):
        (told,) = install_figures.misfits(replace(kept, ways={"pipx install": {**pipx, **wrong}}), kept)
        assert told.startswith("pipx install: ")


def test_the_own_car_is_a_job(tmp_path: Path) -> None:
    """What each way plans is the car of the first job, a plan without a blocker."""
    (tmp_path / "car.yaml").write_text(installs.own_car(), encoding="utf-8")
    plan = make_plan(load_job(tmp_path / "car.yaml"))
    assert plan.steps
    assert not [found for found in plan.findings if found.severity == "blocker"]


def test_what_a_removal_leaves_is_told(tmp_path: Path) -> None:
    """The program, its environment and files elsewhere may not be left; the person's own may not be gone."""
    pipx = next(way for way in installs.WAYS if way.name == "pipx install")
    pip = next(way for way in installs.WAYS if way.name == "pip install")
    home = installs.Home(tmp_path / "home", tmp_path / "a.whl", tmp_path)
    environment = home.folder / "pipx" / "venvs" / "gainwright"
    with pytest.raises(TaskError, match=r"gone with it: .*gainwright\.sqlite"):
        installs._check_removed(pipx, home, environment)
    store = home.folder / "data" / "gainwright" / "gainwright.sqlite"
    store.parent.mkdir(parents=True)
    store.touch()
    (home.work / "car.yaml").touch()
    installs._check_removed(pipx, home, environment)
    for left, told in (
        ("bin/gainwright", "bin/gainwright"),
        ("pipx/venvs/gainwright/pyvenv.cfg", "venvs/gainwright"),
        ("data/applications/gainwright.desktop", "applications/gainwright"),
        (".x", ".x"),
    ):
        file = home.folder / left
        file.parent.mkdir(parents=True, exist_ok=True)
        file.touch()
        with pytest.raises(TaskError, match=f"left after the removal: .*{re.escape(told)}"):
            installs._check_removed(pipx, home, environment)
        file.unlink()
        if left.endswith(".cfg"):
            file.parent.rmdir()
    (tmp_path / "venv" / "gainwright").mkdir(parents=True)
    with pytest.raises(TaskError, match="venv/gainwright"):
        installs._check_removed(pip, home, tmp_path / "venv")


def test_documents_name_what_stays(tree: Path) -> None:
    """The folders that the task lets stay are those of docs/install.md, and every way has its removal there."""
    text = (tree / "docs" / "install.md").read_text(encoding="utf-8").split("## Removal")[1]
    on_linux = {"data": "~/.local/share/", "config": "~/.config/", "cache": "~/.cache/"}
    named = set(re.findall(r"`(~/\.[\w/.]+)`", text))
    assert named == {on_linux[kind] + name for kind, _, name in (own.partition("/") for own in installs.OWN)}
    for way in installs.WAYS:
        command = " ".join(re.sub(r".*/|[{}]", "", word) for word in way.remove[0] if word != "--yes")
        assert f"`{command}`" in text
