"""Tries each way of installing the built wheel, from an empty home to its removal, and keeps what it took.

    python3 tasks.py installs [--write]

`uv tool install`, `uvx`, `pipx` and `pip`, each in a home of its own with empty caches: the program is installed, plans the car of
docs/first-job.md, runs the whole demonstration, makes a store and a launcher, and is removed; what is left is compared with what
docs/install.md says. With `--write` the figures go into `tools/installs.json` and the documents; otherwise they must fit the ones there.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from tools.environment import (
    ROOT,
    TO_DEVELOP,
    VENV,
    call,
    clean_environment,
    make_venv,
    pip,
    pip_settings,
    prepare,
    script,
    stop,
)
from tools.install_figures import FOUND, Figures, misfits, write_figures
from tools.platforms import lock_digest

BIN = "Scripts" if os.name == "nt" else "bin"
OWN = ("data/gainwright", "config/gainwright", "cache/gainwright")
"""What stays of a person's own, as docs/install.md says; on Linux these are below `~/.local/share`, `~/.config` and `~/.cache`."""
OF_PIP = ("pip", "setuptools", "wheel")
"""Packages of an environment that are there before anything is installed; they aren't counted."""
OF_INSTALLERS = (
    "uv",
    "pipx",
    "pip",
    "data/uv",
    "data/pipx",
    "config/uv",
    "cache/uv",
    "cache/pip",
    "state/pipx",
    "venv",
    ".rustup",
)
"""Folders in which the installers keep things of their own; pip asks a compiler for its version, which may make a folder."""


@dataclass(frozen=True)
class Way:
    """A way of installing.

    Attributes
    ----------
    install, remove : commands; `{wheel}`, `{venv}`, `{python}` and `{bin}` stand for their places.
    run : what is typed before the arguments of `gainwright`.
    """

    name: str
    install: tuple[tuple[str, ...], ...]
    run: tuple[str, ...]
    remove: tuple[tuple[str, ...], ...]


_UVX = ("{uv}", "tool", "run", "--python", "{python}", "--from", "{wheel}")
WAYS = (
    Way(
        "uv tool install",
        (("{uv}", "tool", "install", "--python", "{python}", "{wheel}"),),
        ("{bin}/gainwright",),
        (("{uv}", "tool", "uninstall", "gainwright"),),
    ),
    Way("uvx --from", ((*_UVX, "gainwright", "--version"),), (*_UVX, "gainwright"), (("{uv}", "cache", "clean"),)),
    Way(
        "pipx install",
        (("{pipx}", "install", "--python", "{python}", "{wheel}"),),
        ("{bin}/gainwright",),
        (("{pipx}", "uninstall", "gainwright"),),
    ),
    Way(
        "pip install",
        (("{python}", "-m", "venv", "{venv}"), ("{venv}/" + BIN + "/pip", "install", "{wheel}")),
        ("{venv}/" + BIN + "/gainwright",),
        (("{venv}/" + BIN + "/pip", "uninstall", "--yes", "gainwright"),),
    ),
)


class Home:
    """An empty home, in which commands run with nothing of this person's but how packages are reached."""

    def __init__(self, folder: Path, wheel: Path, tools: Path) -> None:
        self.folder = folder
        self.work = folder / "work"
        self.work.mkdir(parents=True)
        self.places = {
            "wheel": str(wheel),
            "python": sys.executable,
            "venv": str(folder / "venv"),
            "bin": str(folder / "bin"),
            "uv": str(tools / BIN / "uv"),
            "pipx": str(tools / BIN / "pipx"),
        }

    def environment(self) -> dict[str, str]:
        """Return the environment of the commands."""
        mine = {
            key: value for key, value in clean_environment().items() if not key.startswith(("XDG_", "UV_", "PIPX_"))
        }
        reach = pip_settings(sys.executable)
        found = {f"XDG_{what.upper()}_HOME": str(self.folder / what) for what in ("data", "config", "cache", "state")}
        found |= {"HOME": str(self.folder), "USERPROFILE": str(self.folder), "PYTHONUTF8": "1", "NO_COLOR": "1"}
        found |= {"UV_TOOL_BIN_DIR": str(self.folder / "bin"), "UV_PYTHON_DOWNLOADS": "never", "UV_HTTP_TIMEOUT": "180"}
        found |= {"PIPX_HOME": str(self.folder / "pipx"), "PIPX_BIN_DIR": str(self.folder / "bin")}
        found |= {"PIPX_MAN_DIR": str(self.folder / "data" / "man"), "PIP_DISABLE_PIP_VERSION_CHECK": "1"}
        if reach.get("PIP_CERT"):
            found["SSL_CERT_FILE"] = reach["PIP_CERT"]
        if reach.get("PIP_INDEX_URL"):
            found["UV_DEFAULT_INDEX"] = reach["PIP_INDEX_URL"]
        return mine | reach | found

    def run(self, *command: str) -> str:
        """Run a command in the home and return what it printed."""
        words = [re.sub(r"\{(\w+)\}", lambda found: self.places[found[1]], word) for word in command]
        done = subprocess.run(
            words,
            cwd=self.work,
            env=self.environment(),
            check=False,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            encoding="utf-8",
            errors="replace",
        )
        if done.returncode != 0:
            stop(f"{' '.join(words)} ended with {done.returncode}:\n{done.stdout[-2000:]}")
        return done.stdout


def installs(arguments: list[str]) -> int:
    """Try every way; print what each took, and write it with `--write`."""
    prepare(TO_DEVELOP)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        wheel = _built(place / "dist")
        make_venv(place / "tools")
        pip("install", "uv", "pipx", python=str(place / "tools" / BIN / Path(script("python")).name))
        figures = Figures(lock=lock_digest())
        for way in WAYS:
            home = Home(place / way.name.replace(" ", "-"), wheel, place / "tools")
            took, sizes = tried(way, home)
            figures.ways[way.name] = took
            figures.packages = sizes if way.name == "pip install" else figures.packages
            figures.extras = extra_sizes(VENV, set(figures.packages)) if figures.packages else {}
            print(f"{way.name}: {', '.join(f'{what} {value}' for what, value in took.items())}", flush=True)
            shutil.rmtree(home.folder)
    if "--write" in arguments:
        write_figures(figures)
        return 0
    wrong = misfits(figures, Figures(**json.loads(FOUND.read_text(encoding="utf-8"))))
    if wrong:
        print("\n".join([*wrong, "python3 tasks.py installs --write"]), file=sys.stderr)
    return 1 if wrong else 0


def _built(folder: Path) -> Path:
    if call(script("python"), "-m", "build", "--wheel", "--no-isolation", "--outdir", str(folder), str(ROOT)) != 0:
        stop("the wheel can't be built (the message is above)")
    (wheel,) = folder.glob("*.whl")
    return wheel


def own_car() -> str:
    """Return the job that docs/first-job.md shows."""
    text = (ROOT / "docs" / "first-job.md").read_text(encoding="utf-8")
    found = re.search(r"^```yaml\n(# red\.yaml\n.*?)^```$", text, re.MULTILINE | re.DOTALL)
    if found is None:
        stop("docs/first-job.md shows no red.yaml")
    return found[1]


def tried(way: Way, home: Home) -> tuple[dict[str, int], dict[str, float]]:
    """Install, use and remove; return what it took, and MB by package.

    Raises
    ------
    TaskError : a command fails, or something other than the documents say is left.
    """
    began = _machine_time()
    for command in way.install:
        home.run(*command)
    installed = _machine_time()
    (home.work / "car.yaml").write_text(own_car(), encoding="utf-8")
    plan = home.run(*way.run, "plan", "car.yaml")
    planned = _machine_time()
    if "Red hatchback" not in plan:
        stop(f"{way.name}: the plan isn't one of the car:\n{plan[:500]}")
    environment = _environment_of(way, home)
    sizes = package_sizes(environment)
    took = {
        "mb": round(size_of(environment) / 1e6 - sum(sizes.pop(name, 0) for name in OF_PIP)),
        "packages": len(sizes) - 1,
        "seconds": round(installed - began),
        "to_a_plan": round(planned - began),
    }
    _used(way, home)
    for command in way.remove:
        home.run(*command)
    _check_removed(way, home, environment)
    return took, sizes


def _machine_time() -> float:
    """Return the processor time of all programs that were run, in seconds: on a busy machine the clock tells little."""
    spent = os.times()
    return spent.children_user + spent.children_system


def _environment_of(way: Way, home: Home) -> Path:
    """Return the environment that the program runs in."""
    if way.name.startswith("uvx"):
        told = home.run(*way.run[:-1], "python", "-c", "import sys; print(sys.prefix)")
        return Path(told.strip().splitlines()[-1])
    return {
        "uv tool install": home.folder / "data" / "uv" / "tools" / "gainwright",
        "pipx install": home.folder / "pipx" / "venvs" / "gainwright",
    }.get(way.name, home.folder / "venv")


def _used(way: Way, home: Home) -> None:
    """Use the program as a person does: where the data are, the whole demonstration, a store, a launcher and its removal."""
    told = home.run(*way.run, "--version")
    places = [Path(line.split(maxsplit=1)[1]) for line in told.splitlines()[1:]]
    strangers = [str(place) for place in places if not place.is_relative_to(home.folder)]
    if strangers or len(places) != 4:
        stop(f"{way.name}: --version names {strangers or told}")
    home.run(*way.run, "demo")
    if not (home.work / "gainwright-demo" / "plan.txt").is_file():
        stop(f"{way.name}: the demonstration leaves no plan")
    home.run(*way.run, "diagnose", "car.yaml", "--complaint", "no bass, the doors play", "--case", "red-car")
    home.run(*way.run, "serve", "--install-launcher")
    home.run(*way.run, "serve", "--remove-launcher")


def _check_removed(way: Way, home: Home, environment: Path) -> None:
    """Stop unless the program is gone, the person's own files are there, and nothing else is."""
    program = home.folder / "bin" / "gainwright"
    alone = way.name == "pip install"  # it leaves the environment with what came along
    left = [str(path) for path in (program, *([] if alone else [environment])) if path.exists()]
    left += [str(path) for path in environment.rglob("*gainwright*")] if alone else []
    left += strays(home.folder)
    missing = [name for name in ("data/gainwright/gainwright.sqlite",) if not (home.folder / name).is_file()]
    if left or missing:
        stop(f"{way.name}: left after the removal: {left or 'nothing'}; gone with it: {missing or 'nothing'}")


def strays(home: Path) -> list[str]:
    """Return the files below a home that are neither a person's own, as the documents tell, nor an installer's."""
    known = (*OWN, *OF_INSTALLERS, "work")
    found = [path.relative_to(home) for path in home.rglob("*") if path.is_file() or path.is_symlink()]
    return sorted(path.as_posix() for path in found if not any(path.is_relative_to(name) for name in known))


def size_of(folder: Path) -> int:
    """Return the bytes of disk that a folder takes, each file once."""
    return sum({(s.st_dev, s.st_ino): s.st_blocks * 512 for s in map(os.lstat, _below(folder))}.values())


def _below(folder: Path) -> list[Path]:
    return [folder, *folder.rglob("*")]


def package_sizes(environment: Path) -> dict[str, float]:
    """Return MB of disk by package, as its own list of files has it."""
    (libraries,) = environment.rglob("site-packages")
    found = {}
    for record in libraries.glob("*.dist-info/RECORD"):
        name = re.sub(r"[-_.]+", "-", record.parent.name.partition("-")[0]).lower()
        names = [line.rsplit(",", 2)[0].strip('"') for line in record.read_text(encoding="utf-8").splitlines()]
        files = [path for path in (libraries / name for name in names) if path.is_file()]
        found[name] = round(sum(os.lstat(path).st_blocks * 512 for path in files) / 1e6, 1)
    return dict(sorted(found.items()))


def extra_sizes(environment: Path, plain: set[str]) -> dict[str, int]:
    """Return MB of each extra in an environment that has all of them: its package with what that needs and a plain installation lacks."""
    sizes = package_sizes(environment)
    (libraries,) = environment.rglob("site-packages")
    needs = {_plain(d.metadata["Name"]): d.requires or [] for d in metadata.distributions(path=[str(libraries)])}
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    found = {}
    for extra, wanted in extras.items():
        open_, there = list(wanted), set[str]()
        while open_:
            text = open_.pop()
            name = _plain(text)
            if name in sizes and name not in plain | there:
                there.add(name)
                asked = re.findall(r"\w+", text.partition("[")[2].partition("]")[0])
                open_ += [need for need in needs[name] if not (of := _extra_of(need)) or of in asked]
        found[extra] = round(sum(sizes[name] for name in there))
    return found


def _plain(requirement: str) -> str:
    """Return the name of a requirement as locks write it."""
    return re.sub(r"[-_.]+", "-", re.split(r"[ \[=<>!~;(]", requirement)[0]).lower()


def _extra_of(requirement: str) -> str:
    found = re.search(r"extra *== *['\"]([\w-]+)['\"]", requirement)
    return found[1] if found else ""
