"""Everything that is done with this tree, one command each; needs nothing but Python 3.11 or newer.

    python3 tasks.py demo [...]     the whole job on a shipped example (options of `gainwright demo`)
    python3 tasks.py serve [...]    the local web app (options of `gainwright serve`)
    python3 tasks.py test [...]     style, types, layers, every test, then the built wheel;
                                    with options of pytest: only those tests
    python3 tasks.py check          style, types and layers only
    python3 tasks.py lowest [...]   the tests with the lowest versions that pyproject.toml allows
    python3 tasks.py other-python PYTHON [...]
                                    the tests with another Python (a program, such as python3.13)
    python3 tasks.py coverage [...] the tests, and which share of the statements and branches they ran
    python3 tasks.py attack [--minutes N] [--seed S] [--only NAME ...]
                                    bad files, requests, crowds and kills, drawn from a seed; figures of what was seen
    python3 tasks.py bench [...]    the measurements of speed, all or by name
    python3 tasks.py lock [...]     renew the locked dependencies (options of pip-compile)
    python3 tasks.py advisories     ask pip's index for advisories on the locked versions
    python3 tasks.py notice         write NOTICE: the licences of fonts and dependencies

The first run makes `.venv` and installs the locked, hash-checked dependencies; later runs start at once.
"""

from __future__ import annotations

import ast
import hashlib
import importlib
import importlib.util
import json
import os
import re
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
STAMP = VENV / "made-from.json"

RUNTIME_LOCK, BUILD_LOCK, DEV_LOCK = "requirements.txt", "requirements-build.txt", "requirements-dev.txt"
TO_USE = (RUNTIME_LOCK, BUILD_LOCK)
TO_DEVELOP = (DEV_LOCK,)

ELSEWHERE_ONLY = {"colorama": 'sys_platform == "win32"'}
"""Dependencies that the machine which renews the lock does not need itself, and where they are needed."""

PROGRAMS = {
    "ngspice": "ngspice",
    "sox": "sox",
    "ffmpeg": "ffmpeg",
    "flac": "flac",
    "pulseaudio": "pulseaudio",
    "pactl": "pulseaudio-utils",
    "chromium-headless-shell|chromium": "chromium-headless-shell",
    "certutil": "libnss3-tools",
    "zbarimg": "zbar-tools",
    "openssl": "openssl",
}
"""Program that the tests call, or either of two -> Debian package."""
SOX_FORMATS = "libsox-fmt-all"
FILES = {
    "libportaudio2": "lib/*/libportaudio.so.2",
    "libasound2-plugins": "lib/*/alsa-lib/libasound_module_pcm_pulse.so",
    "postgresql": "lib/postgresql/*/bin/initdb",
    "hyperrogue-music": "share/hyperrogue/music/*.ogg",
    "sonic-pi-samples": "share/sonic-pi/samples/*.flac",
    "alsa-utils": "share/sounds/alsa/*.wav",
    "qspeakers": "share/qspeakers/qspeakers_db.xml",
    "asterisk-core-sounds-en-wav": "share/asterisk/sounds/en_US_f_Allison/*.wav",
}
"""Debian package -> a file of it under /usr."""

FROM_PIP_SETTINGS = {
    *("cert", "client-cert", "proxy", "index-url", "extra-index-url", "find-links", "trusted-host", "no-index"),
    *("timeout", "default-timeout", "retries", "cache-dir", "no-cache-dir", "keyring-provider"),
}
"""A person's pip settings that say how packages are reached; all others are left out, since they can break a venv."""


class TaskError(Exception):
    """A reason to stop that the person can mend; the text says how."""


def main(arguments: list[str]) -> int:
    """Run one command and return its exit status."""
    commands = {
        "demo": _verb,
        "serve": _verb,
        "test": _test,
        "check": _check,
        "lowest": _lowest,
        "other-python": _other_python,
        "coverage": _coverage,
        "attack": _attack,
        "bench": _bench,
        "lock": _lock,
        "notice": _notice,
        "advisories": _advisories,
    }
    if not arguments or arguments[0] not in commands:
        asked_for_help = bool(arguments) and arguments[0] in {"-h", "--help", "help"}
        print(__doc__, file=sys.stdout if asked_for_help else sys.stderr)
        return 0 if asked_for_help else 2
    try:
        if sys.version_info < (3, 11):  # noqa: UP036  (this file is started by whatever Python is at hand)
            _stop("Gainwright needs Python 3.11 or newer; this is " + sys.version.split()[0])
        return commands[arguments[0]](arguments)
    except TaskError as trouble:
        print(f"tasks.py {arguments[0]}: {trouble}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130


def _stop(reason: str) -> None:
    raise TaskError(reason)


# ---- the commands ----------------------------------------------------------------------------------------------


def _verb(arguments: list[str]) -> int:
    """Run `gainwright VERB ...` in the tree's own environment."""
    if arguments[0] == "serve" and not (ROOT / "src" / "gainwright" / "web").is_dir():
        _stop("it comes with the web app, which this version does not have yet; see `python3 tasks.py demo`")
    _prepare(TO_USE)
    return _call(_script("gainwright"), *arguments)


def _test(arguments: list[str]) -> int:
    _install_programs()
    _prepare(TO_DEVELOP)
    chosen = arguments[1:]
    pytest = _pytest(_script("python"))
    if chosen:
        print("only the tests that were asked for: no style, types, layers or wheel", flush=True)
        return _call(*pytest, *chosen)
    # once for all: test processes that begin together would each compile the package (and the kernel) for themselves
    _call(_script("python"), "-m", "compileall", "-q", "src")
    alone = pytest[:3]
    kernel = (_script("python"), "-c", "from gainwright.programme import load_kernel; load_kernel(print)")
    meanwhile = {"kernel": kernel, **_checks(), "wheel": (*alone, "--wheel", "tests/wheel")}
    if os.environ.get("CI"):  # there the tests' own search is fixed
        meanwhile["random"] = (*alone, "--hypothesis-profile=short", "-m", "hypothesis", "tests/property")
    return _all_of({"tests": pytest}, meanwhile)


def _pytest(python: str) -> tuple[str, ...]:
    # more processes than cores: a test often waits for a server, a browser or a device
    # a process that has nothing left to do takes from the others: a server and a browser are made once a process
    return (python, "-m", "pytest", "-n", str(_cores() + 2), "--dist", "worksteal")


def _cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _lowest(arguments: list[str]) -> int:
    """Test with the lowest versions that the package's dependencies may have; the tests' own tools are those that go with them."""
    import tomllib

    _install_programs()
    project_file = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    project = project_file["project"]
    declared = [
        *project["dependencies"],
        *(name for extra in project["optional-dependencies"].values() for name in extra),
    ]
    lowest = [name.replace(">=", "==") for name in declared]
    python = _beside("lowest", sys.executable)
    own = {re.split(r"[\[=<>]", name)[0] for name in lowest}
    tools = [name for name in project_file["dependency-groups"]["dev"] if re.split(r"[\[=<>]", name)[0] not in own]
    _pip("install", *lowest, *tools, python=python)
    # old versions warn of what newer ones beside them will take away
    old = ("-W", "ignore::DeprecationWarning", "-W", "ignore::PendingDeprecationWarning")
    return _call(*_pytest(python), *old, *arguments[1:])


def _other_python(arguments: list[str]) -> int:
    """Test with another Python and the locked versions."""
    if len(arguments) < 2 or shutil.which(arguments[1]) is None:
        _stop("name a Python, such as python3.13")
    _install_programs()
    python = _beside(Path(arguments[1]).name, arguments[1])
    _pip("install", "--require-hashes", "--only-binary", ":all:", "-r", str(ROOT / DEV_LOCK), python=python)
    return _call(*_pytest(python), *arguments[2:])


def _beside(name: str, interpreter: str) -> str:
    """Make an environment beside the usual one with the package in it, and return its Python."""
    place = ROOT / f".venv-{name}"
    if _call(interpreter, "-m", "venv", "--clear", str(place)) != 0:
        _stop(f"{interpreter} can't make a virtual environment")
    python = str(place / BIN.name / Path(_script("python")).name)
    _pip("install", "--require-hashes", "--only-binary", ":all:", "-r", str(ROOT / BUILD_LOCK), python=python)
    _pip("install", "--no-deps", "--no-build-isolation", "--no-index", "--editable", str(ROOT), python=python)
    return python


def _coverage(arguments: list[str]) -> int:
    """Run the tests, or those that pytest's options choose, and print each file's and the whole package's coverage."""
    _install_programs()
    _prepare(TO_DEVELOP)
    python = _script("python")
    coverage = (python, "-m", "coverage")
    steps = {
        "erase": (*coverage, "erase"),
        "tests": (*coverage, "run", *_pytest(python)[1:], *arguments[1:]),
        "combine": (*coverage, "combine", "--quiet"),
        "coverage": (*coverage, "report", "--skip-covered", "--sort=cover"),
    }
    return _all_of(steps)


def _check(_: list[str]) -> int:
    _prepare(TO_DEVELOP)
    return _all_of(_checks())


def _checks() -> dict[str, tuple[str, ...]]:
    python = _script("python")
    return {
        "style": (python, "-m", "ruff", "check", "."),
        "format": (python, "-m", "ruff", "format", "--check", "."),
        "types": (python, "-m", "mypy"),
        "layers": (_script("lint-imports"),),
    }


def _notice(arguments: list[str]) -> int:
    """Write NOTICE from the metadata of the locked dependencies."""
    _prepare(TO_DEVELOP)
    return _call(_script("python"), str(ROOT / "notice.py"), *arguments[1:])


def _advisories(_: list[str]) -> int:
    """Ask the index that pip uses for advisories on the locked versions; needs no environment."""
    settings = _pip_settings(sys.executable)
    index = os.environ.get("PIP_INDEX_URL") or settings.get("PIP_INDEX_URL")
    if not index:  # pip says what it uses if nobody has set another
        told = subprocess.run((sys.executable, "-m", "pip", "install", "--help"), capture_output=True, text=True)  # noqa: PLW1510
        usual = re.search(r"--index-url <url>.*?\(default\s+(\S+)\)", told.stdout, re.DOTALL)
        if usual is None:
            _stop("pip doesn't say which index it uses; is it installed?")
        index = usual[1] if usual else ""
    index = re.sub(r"//[^/@]*@", "//", index)  # a name and password are nobody's business
    return _call(sys.executable, str(ROOT / "advisories.py"), index)


def _attack(arguments: list[str]) -> int:
    """Attack the tree's own program on this machine, and print what was seen; 1 if anything fell."""
    _install_programs()
    _prepare(TO_DEVELOP)
    return _call(_script("python"), str(ROOT / "tests" / "support" / "attack_all.py"), *arguments[1:])


def _bench(arguments: list[str]) -> int:
    _install_programs()
    _prepare(TO_DEVELOP)
    there = {path.stem: path for path in sorted((ROOT / "bench").glob("*.py")) if not path.stem.startswith("_")}
    unknown = [name for name in arguments[1:] if name not in there]
    if unknown or not there:
        _stop(f"no bench named {', '.join(unknown) or 'anything'}; there are: {', '.join(there) or 'none'}")
    return _all_of({name: (_script("python"), str(there[name])) for name in arguments[1:] or there})


def _all_of(steps: dict[str, tuple[str, ...]], meanwhile: dict[str, tuple[str, ...]] | None = None) -> int:
    """Run every step, also after one has failed, and say at the end which failed.

    What runs meanwhile has one process where the steps have several that wait for each other; it is printed after them.
    """
    failed = []
    with ThreadPoolExecutor(1) as other:
        printed = {name: other.submit(_captured, *command) for name, command in (meanwhile or {}).items()}
        for name, command in steps.items():
            print(f"== {name}", flush=True)
            if _call(*command) != 0:
                failed.append(name)
        for name, done in printed.items():
            print(f"== {name}\n{done.result().stdout}", end="", flush=True)
            if done.result().returncode != 0:
                failed.append(name)
    if failed:
        print(f"failed: {', '.join(failed)}", file=sys.stderr)
    return 1 if failed else 0


# ---- the environment -------------------------------------------------------------------------------------------


def _prepare(locks: tuple[str, ...]) -> None:
    """Make `.venv` hold what the locks say and the package itself, unless it does already."""
    wanted = _state(locks)
    found = _stamped()
    if found and all(found.get(key) == value for key, value in wanted.items()):
        return
    if Path(sys.prefix).resolve() == VENV.resolve():
        _stop(".venv must be made anew; start me with a Python that is not in it")
    STAMP.unlink(missing_ok=True)
    if any(found.get(key, value) != value for key, value in wanted.items()) or not found:
        print(f"making .venv with Python {sys.version.split()[0]}", flush=True)
        _make_venv()
        found = {}
    print(f"installing {' and '.join(locks)} (a minute or two, this once)", flush=True)
    files = [part for lock in locks for part in ("-r", str(ROOT / lock))]
    _pip("install", "--require-hashes", "--only-binary", ":all:", *files)
    _pip("install", "--no-deps", "--no-build-isolation", "--no-index", "--editable", str(ROOT))
    STAMP.write_text(json.dumps({**found, **wanted}, indent=1), encoding="utf-8")


def _state(locks: tuple[str, ...]) -> dict[str, str]:
    """Return what an environment is made from: Python, place, and digests of the locks and the package's data."""
    import tomllib  # not at the top: an older Python must get as far as being told so

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    installed = json.dumps([project["project"], project["build-system"]], sort_keys=True)
    contents = {**{name: (ROOT / name).read_bytes() for name in locks}, "pyproject.toml": installed.encode()}
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in contents.items()}
    if DEV_LOCK in locks:  # it holds all that the others hold
        digests |= _state(TO_USE)
    return {"python": sys.version, "place": str(ROOT), **digests}


def _stamped() -> dict[str, str]:
    """Return what `.venv` was made from; nothing when it was not finished."""
    if not STAMP.is_file() or not Path(_script("python")).is_file():
        return {}
    try:
        return {str(key): str(value) for key, value in json.loads(STAMP.read_text(encoding="utf-8")).items()}
    except (ValueError, AttributeError):
        return {}


def _make_venv(place: Path = VENV) -> None:
    if _call(sys.executable, "-m", "venv", "--clear", str(place)) != 0:
        _stop("Python can't make a virtual environment; on Debian install python3-venv, elsewhere a full Python")


def _script(name: str) -> str:
    return str(BIN / (f"{name}.exe" if os.name == "nt" else name))


def _call(*command: str) -> int:
    """Run a command in the tree, and return its exit status."""
    return subprocess.run(command, cwd=ROOT, env=_own_environment(), check=False).returncode


def _captured(*command: str) -> subprocess.CompletedProcess[str]:
    """Run a command in the tree, and return its exit status with what it printed."""
    return subprocess.run(
        command,
        cwd=ROOT,
        env=_own_environment(),
        check=False,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        errors="replace",
    )


def _own_environment() -> dict[str, str]:
    """Return the person's environment with this one's programs first on the path and no stray Python settings."""
    return _clean_environment() | {
        "PATH": os.pathsep.join([str(BIN), os.environ.get("PATH", "")]),
        "PYTHONUTF8": "1",
        # two linear-algebra threads in each of several test processes slow each other down
        "OPENBLAS_NUM_THREADS": os.environ.get("OPENBLAS_NUM_THREADS", "1"),
    }


def _clean_environment() -> dict[str, str]:
    """Return the person's environment without settings of Python, and of pip only those of the network."""
    reach = {"PIP_" + key.upper().replace("-", "_") for key in FROM_PIP_SETTINGS}
    return {
        key: value
        for key, value in os.environ.items()
        if key in reach or not key.startswith(("PYTHON", "PIP_", "VIRTUAL_ENV"))
    }


def _pip(*arguments: str, python: str = "") -> None:
    """Run pip with a person's network settings and none of their others."""
    python = python or _script("python")
    environment = _clean_environment()
    environment |= _pip_settings(python)
    environment |= {"PIP_CONFIG_FILE": os.devnull, "PIP_DISABLE_PIP_VERSION_CHECK": "1"}
    command = (python, "-m", "pip", *arguments, "-qq")
    if subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode != 0:
        _stop("pip could not install what the lock says (its message is above); try again when it can be reached")


def _pip_settings(python: str) -> dict[str, str]:
    """Return the network settings of this machine's pip as environment variables."""
    listed = subprocess.run((python, "-m", "pip", "config", "list"), capture_output=True, text=True, check=False)
    found: dict[str, dict[str, str]] = {"global": {}, "install": {}, ":env:": {}}
    for line in listed.stdout.splitlines():
        match = re.fullmatch(r"(global|install|:env:)\.([\w-]+)=('.*'|\".*\")", line.strip())
        if match and match[2] in FROM_PIP_SETTINGS:
            found[match[1]][match[2]] = str(ast.literal_eval(match[3]))
    merged = found["global"] | found["install"] | found[":env:"]
    return {"PIP_" + key.upper().replace("-", "_"): value for key, value in merged.items()}


# ---- programs of the system ------------------------------------------------------------------------------------


def _missing_programs() -> list[str]:
    missing = [package for program, package in PROGRAMS.items() if not any(map(shutil.which, program.split("|")))]
    if "sox" in missing or " mp3" not in subprocess.run(("sox", "--help"), capture_output=True, text=True).stdout:  # noqa: PLW1510
        missing.append(SOX_FORMATS)
    missing += [package for package, file in FILES.items() if not any(Path("/usr").glob(file))]
    importlib.invalidate_caches()
    if importlib.util.find_spec("ensurepip") is None:  # Debian keeps it apart from Python
        missing.append("python3-venv")
    return missing


def _install_programs() -> None:
    """Install the Debian packages that the tests call; elsewhere say what is missing."""
    missing = _missing_programs()
    if not missing:
        return
    root = os.name != "nt" and os.geteuid() == 0
    if shutil.which("apt-get") is None or not (root or shutil.which("sudo")):
        _stop(f"the tests need these Debian packages or their like, install them first: {' '.join(missing)}")
    print(f"installing {' '.join(missing)} with apt-get", flush=True)
    apt = (*(() if root else ("sudo",)), "env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "-qq")
    for step in (("update",), ("install", "--yes", "--no-install-recommends", *missing)):
        # apt's own chatter says nothing to the person unless it fails
        done = subprocess.run((*apt, *step), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False)
        if done.returncode != 0:
            print(done.stdout, file=sys.stderr)
    still = _missing_programs()
    if still:
        _stop(f"apt-get could not install {' '.join(still)} (its message is above)")


# ---- the lock --------------------------------------------------------------------------------------------------


def _lock(arguments: list[str]) -> int:
    """Renew the three locks from pyproject.toml: public index only, no address in them."""
    import tomllib

    tools = ROOT / ".venv-lock"
    python = str(tools / BIN.name / Path(_script("python")).name)
    if not Path(python).is_file():
        _make_venv(tools)
        _pip("install", "pip-tools", python=python)
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
        _stop(f"{lock} was not renewed (the resolver's message is above)")
    text = (ROOT / lock).read_text(encoding="utf-8")
    for name, marker in ELSEWHERE_ONLY.items():
        text = re.sub(rf"^({name}==\S+)( ;[^\\\n]*)?( \\)$", rf"\1 ; {marker}\3", text, flags=re.MULTILINE)
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    heading = "# Made by `python3 tasks.py lock`. Exact versions and their digests; names no place to get them."
    (ROOT / lock).write_text("\n".join([heading, *lines]) + "\n", encoding="utf-8")


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
