"""The import contracts in pyproject.toml hold, and would notice an import in the wrong direction."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


def _lint_imports(source: Path, configuration: Path) -> subprocess.CompletedProcess[str]:
    code = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(sys.argv[1], no_cache=True))"
    # the source folder goes first, before the folder that an editable install points to
    environment = {**os.environ, "PYTHONPATH": str(source), "PYTHONUTF8": "1"}
    return subprocess.run(
        (sys.executable, "-c", code, str(configuration)),
        cwd=source,
        env=environment,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def test_import_contracts_hold(tree: Path) -> None:
    """No package imports one of a higher layer, a sibling, or a library that its layer may not use."""
    done = _lint_imports(tree / "src", tree / "pyproject.toml")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 broken" in done.stdout


def test_import_of_a_higher_layer_breaks_the_contract(tree: Path, tmp_path: Path) -> None:
    """The same contract breaks when a formula module imports the solver."""
    shutil.copytree(tree / "src" / "gainwright", tmp_path / "gainwright", ignore=shutil.ignore_patterns("__pycache__"))
    with (tmp_path / "gainwright" / "physics" / "__init__.py").open("a", encoding="utf-8") as file:
        file.write("\nimport gainwright.solve\n")
    done = _lint_imports(tmp_path, tree / "pyproject.toml")
    assert done.returncode == 1, done.stdout + done.stderr
    assert "gainwright.physics is not allowed to import gainwright.solve" in " ".join(done.stdout.split())


def test_import_cycle_breaks_the_contract(tree: Path, tmp_path: Path) -> None:
    """The contract against cycles breaks when a module imports one that imports it."""
    shutil.copytree(tree / "src" / "gainwright", tmp_path / "gainwright", ignore=shutil.ignore_patterns("__pycache__"))
    with (tmp_path / "gainwright" / "simulated" / "frequency_response.py").open("a", encoding="utf-8") as file:
        file.write("\nimport gainwright.simulated.chain\n")
    done = _lint_imports(tmp_path, tree / "pyproject.toml")
    assert done.returncode == 1, done.stdout + done.stderr
    assert "No cycles are allowed in gainwright.simulated" in " ".join(done.stdout.split())
