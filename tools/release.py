"""Makes a release: everything is checked in order, then the files are built twice and compared; nothing is published."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import subprocess
import tempfile
import tomllib
from pathlib import Path

from tools.environment import ROOT, TO_DEVELOP, call, own_environment, prepare, script, stop

DIST = ROOT / "dist"
CHECKS = (
    ("notice", "--check"),
    ("check",),
    ("test",),
    ("advisories",),
    ("platforms",),
    ("installs",),
)
"""The tasks that must end with status 0, in this order; after them comes the attack."""
ATTACK_MINUTES = "60"


def release(arguments: list[str]) -> int:
    """Check everything, then build.

    With `--build-only` the checks are left out, as for trying the build itself; `--attack-minutes N` is for trying the whole.
    """
    at = arguments.index("--attack-minutes") + 1 if "--attack-minutes" in arguments else 0
    minutes = arguments[at] if at and at < len(arguments) else ATTACK_MINUTES
    version = released_version(ROOT)
    refuse_dirty(ROOT)
    for task in () if "--build-only" in arguments else (*CHECKS, ("attack", "--minutes", minutes)):
        print(f"== {' '.join(task)}", flush=True)
        if call(script("python") if os.name == "nt" else "python3", "tasks.py", *task) != 0:
            stop(f"nothing is released: {task[0]} failed")
        refuse_dirty(ROOT)  # a task may have renewed what is committed
    return build(version)


def released_version(tree: Path) -> str:
    """Return the version to be released: it is the same in the package, its metadata and on top of the changelog."""
    version = str(tomllib.loads((tree / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"])
    package = (tree / "src" / "gainwright" / "__init__.py").read_text(encoding="utf-8")
    if f'__version__ = "{version}"' not in package:
        stop(f"the package doesn't say version {version}, as pyproject.toml does")
    top = re.search(r"^## (.+)$", (tree / "CHANGELOG.md").read_text(encoding="utf-8"), re.MULTILINE)
    if top is None or not re.fullmatch(rf"{re.escape(version)} - \d{{4}}-\d\d-\d\d", top[1]):
        stop(f"CHANGELOG.md doesn't begin with {version} and its date")
    return version


def refuse_dirty(tree: Path) -> None:
    """Stop unless the tree is exactly what is committed: a release must be what everybody can check out."""
    told = _git(tree, "status", "--porcelain")
    if told:
        stop(f"the tree has changes that aren't committed:\n{told}")


def build(version: str) -> int:
    """Build wheel and source distribution twice, compare them, and write them with bill of materials and digests to `dist`."""
    prepare(TO_DEVELOP)
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as other:
        folders = [Path(one), Path(other)]
        for folder in folders:
            _built(folder)
        digests = [digests_of(folder) for folder in folders]
        if digests[0] != digests[1]:
            stop(f"two builds of the same tree differ: {digests}")
        DIST.mkdir(exist_ok=True)
        for file in folders[0].iterdir():
            shutil.copyfile(file, DIST / file.name)
    bill = DIST / f"gainwright-{version}.cdx.json"
    if call(script("python"), "-m", "tools.sbom", str(bill)) != 0:
        stop("the bill of materials could not be written")
    lines = [f"{digest}  {name}" for name, digest in sorted((digests[0] | {bill.name: _digest(bill)}).items())]
    (DIST / f"gainwright-{version}.sha256").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))
    return 0


def _built(folder: Path) -> None:
    """Build both files into a folder; the time in them is that of the commit."""
    environment = own_environment() | {"SOURCE_DATE_EPOCH": _git(ROOT, "log", "-1", "--format=%ct")}
    command = (script("python"), "-m", "build", "--no-isolation", "--outdir", str(folder), str(ROOT))
    if subprocess.run(command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, check=False).returncode != 0:
        stop("the package can't be built (the message is above)")


def digests_of(folder: Path) -> dict[str, str]:
    """Return the SHA-256 digest of each file of a folder."""
    return {file.name: _digest(file) for file in sorted(folder.iterdir())}


def _digest(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()


def _git(tree: Path, *arguments: str) -> str:
    done = subprocess.run(("git", "-C", str(tree), *arguments), capture_output=True, encoding="utf-8", check=False)
    if done.returncode != 0:
        stop(f"git can't tell the state of the tree: {done.stderr.strip()}")
    return done.stdout.strip()
