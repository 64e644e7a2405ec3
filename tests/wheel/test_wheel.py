"""What a user gets with `pip install`: the wheel, built, installed outside the tree and used there."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import zipfile
from email.parser import HeaderParser
from importlib import metadata
from importlib.util import cache_from_source
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import pytest
from packaging.requirements import Requirement

if TYPE_CHECKING:
    from collections.abc import Iterator


class Installed(NamedTuple):
    """An environment that holds the wheel and the locked dependencies, nothing of the tree."""

    wheel: Path
    scripts: Path
    outside: Path

    def run(self, program: str, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run one of the environment's programs in an empty folder, with no path that could lead to the tree."""
        keep = {key: value for key, value in os.environ.items() if not key.startswith(("PYTHON", "VIRTUAL_ENV"))}
        environment = {**keep, "PATH": os.pathsep.join([str(self.scripts), os.defpath]), "PYTHONUTF8": "1"}
        command = (str(self.scripts / program), *arguments)
        return subprocess.run(
            command, cwd=self.outside, env=environment, capture_output=True, text=True, encoding="utf-8", check=False
        )


@pytest.fixture(scope="module")
def installed(tree: Path, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """Build the wheel and install it, with its locked dependencies and nothing else, into a new environment.

    The dependencies are those that run these tests: pip has fetched and checked them for the tests' own environment, in
    the same versions (tests/architecture/test_locks.py); only the names in requirements.txt are taken over.
    """
    place = tmp_path_factory.mktemp("wheel")
    _must(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(place / "dist"), str(tree))
    (wheel,) = (place / "dist").glob("*.whl")
    _must(sys.executable, "-m", "venv", "--without-pip", str(place / "venv"))
    scripts = place / "venv" / ("Scripts" if os.name == "nt" else "bin")
    python = scripts / Path(sys.executable).name
    libraries = Path(_must(str(python), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))").strip())
    for requirement in _locked(tree / "requirements.txt"):
        if requirement.marker is None or requirement.marker.evaluate():
            _take_over(metadata.distribution(requirement.name), libraries)
    _must(*_pip(python), "install", "-qq", "--no-user", "--no-deps", "--no-index", str(wheel))
    (place / "outside").mkdir()
    return Installed(wheel=wheel, scripts=scripts, outside=place / "outside")


def _locked(lock: Path) -> Iterator[Requirement]:
    """Yield what a lock pins."""
    for entry in lock.read_text(encoding="utf-8").replace("\\\n", " ").splitlines():
        if entry.strip() and not entry.startswith("#"):
            yield Requirement(entry.partition("--hash=")[0])


def _take_over(package: metadata.Distribution, libraries: Path) -> None:
    """Link the files of an installed package into another environment, but for its programs, and what is compiled of them."""
    assert package.files, package.name
    for file in package.files:
        if ".." not in file.parts:
            _link(Path(str(package.locate_file(file))), libraries / file)
            if file.suffix == ".py":
                compiled = Path(cache_from_source(str(package.locate_file(file))))
                if compiled.is_file():
                    _link(compiled, libraries / file.parent / "__pycache__" / compiled.name)


def _link(source: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        target.hardlink_to(source)
    except FileExistsError:
        return
    except OSError:  # another file system
        shutil.copy2(source, target)


def _pip(python: Path) -> tuple[str, ...]:
    return (sys.executable, "-m", "pip", "--disable-pip-version-check", "--python", str(python))


def _must(*command: str) -> str:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}\n{done.stderr}"
    return done.stdout


def test_wheel_is_what_is_imported(installed: Installed, tree: Path) -> None:
    """The environment's package comes from its own site-packages, not from the tree."""
    done = installed.run("python", "-c", "import gainwright; print(gainwright.__file__)")
    assert done.returncode == 0, done.stderr
    place = Path(done.stdout.strip())
    assert place.is_relative_to(installed.scripts.parent)
    assert not place.is_relative_to(tree)


def test_wheel_holds_all_files_of_the_package_and_no_more(installed: Installed, tree: Path) -> None:
    """Every file under src/gainwright is shipped (examples and schema too) with the site of docs/, and no test, lock or cache."""
    package, site = tree / "src" / "gainwright", tree / "build" / "site"
    wanted = {
        f"gainwright/{path.relative_to(package).as_posix()}"
        for path in package.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts and not path.is_relative_to(package / "site")
    } | {f"gainwright/site/{path.relative_to(site).as_posix()}" for path in site.rglob("*") if path.is_file()}
    with zipfile.ZipFile(installed.wheel) as archive:
        shipped = {name for name in archive.namelist() if ".dist-info/" not in name}
    manual = {name for name in shipped if name.endswith(".data/data/share/man/man1/gainwright.1")}
    assert len(manual) == 1
    assert shipped - manual == wanted
    assert {"gainwright/py.typed", "gainwright/site/index.html", "gainwright/site/search-index.js"} <= shipped


def test_wheel_metadata_names_python_script_and_dependencies(installed: Installed) -> None:
    """The metadata requires Python 3.11, provides the `gainwright` program and lists no dependency by address."""
    with zipfile.ZipFile(installed.wheel) as archive:
        (metadata,) = (name for name in archive.namelist() if name.endswith(".dist-info/METADATA"))
        (scripts,) = (name for name in archive.namelist() if name.endswith(".dist-info/entry_points.txt"))
        headers = HeaderParser().parsestr(archive.read(metadata).decode("utf-8"))
        assert "gainwright = gainwright.__main__:main" in archive.read(scripts).decode("utf-8")
    assert headers["Requires-Python"] == ">=3.11"
    assert headers["License-Expression"] == "Apache-2.0"
    assert set(headers.get_all("License-File") or []) == {"LICENSE", "NOTICE"}
    needs = headers.get_all("Requires-Dist") or []
    assert needs
    assert not [need for need in needs if "@" in need]


def test_wheel_dependencies_fit_together(installed: Installed) -> None:
    """`pip check` finds every dependency of the installed package in a compatible version."""
    assert "No broken requirements" in _must(*_pip(installed.scripts / Path(sys.executable).name), "check")


def test_wheel_selfcheck(installed: Installed) -> None:
    """`gainwright selfcheck` finds nothing missing in a new environment."""
    done = installed.run("gainwright", "selfcheck")
    assert done.returncode == 0, done.stdout + done.stderr


def test_wheel_without_extras(installed: Installed) -> None:
    """No extra is installed; music is analysed all the same, papers and charts are made, and what is missing is named once."""
    done = installed.run("python", "-c", "import av")
    assert "ModuleNotFoundError" in done.stderr
    for arguments in (
        ("tones", "--tone", "1000", "--level", "-3", "--seconds", "2", "--out", "tone.wav"),
        ("music", "tone.wav", "--no-cache", "--chart", "music.svg"),
        ("new", "extras.yaml"),
        ("report", "extras.yaml", "--out", "extras.pdf"),
    ):
        done = installed.run("gainwright", *arguments)
        assert done.returncode == 0, done.stdout + done.stderr
        assert done.stderr.count('python -m pip install "gainwright[fast-music]"') == (arguments[0] == "music")
    assert (installed.outside / "music.svg").read_text(encoding="utf-8").startswith("<svg")
    assert (installed.outside / "extras.pdf").read_bytes().startswith(b"%PDF")


def test_wheel_first_job(installed: Installed) -> None:
    """A new user's first three commands work outside the tree: new, check, plan."""
    job = "first.yaml"
    for arguments in (("new", job), ("check", job)):
        done = installed.run("gainwright", *arguments)
        assert done.returncode == 0, done.stdout + done.stderr
    done = installed.run("gainwright", "plan", job, "--json")
    assert done.returncode == 0, done.stdout + done.stderr
    plan = json.loads(done.stdout)
    assert {"steps", "targets", "findings"} <= set(plan)
    assert {step["phase"] for step in plan["steps"]} >= {"prepare", "controls", "source", "amplifier", "verify"}
    assert not [finding for finding in plan["findings"] if finding["severity"] == "blocker"]


def test_wheel_error_without_traceback(installed: Installed) -> None:
    """An invalid call ends with status 2 and one message on standard error, also when installed."""
    done = installed.run("gainwright", "check", "not-there.yaml")
    assert done.returncode == 2
    assert "not-there.yaml" in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
