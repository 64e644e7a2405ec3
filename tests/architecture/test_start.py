"""Help and a schema error load no heavy library: what makes them answer at once (`bench start` says how fast)."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

HEAVY = {"numpy", "scipy", "pint", "numba", "altair", "vl_convert", "soundfile", "narwhals", "jsonschema"}

WHAT_IS_LOADED = """
import sys
from gainwright.cli import main
sys.argv = ["gainwright", *sys.argv[1:]]
status = 0
try:
    main()
except SystemExit as ended:
    status = ended.code
print("loaded:", *sorted({name.split(".")[0] for name in sys.modules}), file=sys.stderr)
raise SystemExit(status)
"""


def _loaded(folder: Path, *arguments: str) -> tuple[subprocess.CompletedProcess[str], set[str]]:
    """Run a command; return how it ended and the libraries it had loaded by then."""
    command = (sys.executable, "-c", WHAT_IS_LOADED, *arguments)
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, encoding="utf-8", check=False)
    said, mark, loaded = done.stderr.rpartition("loaded:")
    assert mark, done.stderr
    assert "gainwright" in loaded.split()
    return subprocess.CompletedProcess(command, done.returncode, done.stdout, said), set(loaded.split())


def test_help_loads_nothing_heavy(tmp_path: Path) -> None:
    """`gainwright --help` imports no library for numbers, units, sound or charts."""
    done, loaded = _loaded(tmp_path, "--help")
    assert done.returncode == 0, done.stderr
    assert "plan" in done.stdout
    assert loaded & HEAVY == set()


def test_a_schema_error_loads_nothing_heavy(tmp_path: Path) -> None:
    """A job file with an unknown key is refused, with its line and the known key, before anything heavy is imported."""
    job = tmp_path / "job.yaml"
    job.write_text(
        "format: 1\ntitle: one\nvehicle: {running: 13.8 V}\n"
        "stages:\n  head:\n    kind: head_unit\n    volumne: {steps: 40}\n",
        encoding="utf-8",
    )
    done, loaded = _loaded(tmp_path, "check", "job.yaml")
    assert done.returncode == 2
    assert "job.yaml:7" in done.stderr
    assert "volume" in done.stderr.replace("volumne", "")
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert loaded & HEAVY == set()
