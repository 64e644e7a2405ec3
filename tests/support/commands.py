"""A command run as a person runs it, in a folder."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


def run(*arguments: object, folder: Path, typed: str = "") -> subprocess.CompletedProcess[str]:
    """Run `gainwright` in a folder, with what is typed."""
    return subprocess.run(
        (sys.executable, "-m", "gainwright", *map(str, arguments)),
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        input=typed,
        encoding="utf-8",
    )
