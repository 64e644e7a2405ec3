"""A shared cache for the compiled analysis of music, so that it is compiled once and not in each test's folder."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

from gainwright.programme import compiled

if TYPE_CHECKING:
    from pathlib import Path


def put_compiled_code(cache: Path) -> None:
    """Copy the code of this process, or the user's, into a cache folder (test_compiled.py tries what compiles it)."""
    compiled.load_kernel()
    folder = compiled._folder()
    shutil.copytree(folder, cache / folder.name)
