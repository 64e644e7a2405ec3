"""What installed this program, and the line that adds a package to it or installs it again."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

_MARKS = {"pipx_metadata.json": "pipx", "uv-receipt.toml": "uv"}
"""File at the top of an environment -> the program that made it."""


def installer(environment: Path | None = None) -> str:
    """Return what made the environment that runs this program: `pipx`, `uv`, or else `pip`."""
    top = environment or Path(sys.prefix)
    return next((name for mark, name in _MARKS.items() if (top / mark).is_file()), "pip")


def line_that_adds(packages: str, *, extra: str = "") -> str:
    """Return the line that adds packages to the environment of this program.

    Parameters
    ----------
    packages : the package that is missing, as pip names it.
    extra : the extra of Gainwright that brings it, if one does.
    """
    match installer():
        case "pipx":
            return f"pipx inject gainwright {packages}"
        case "uv":
            return f'uv pip install --python "{sys.executable}" {packages}'
    if importlib.util.find_spec("pip") is None:
        return f'uv pip install --python "{sys.executable}" {packages}'
    return f'python -m pip install "gainwright[{extra}]"' if extra else f"python -m pip install --upgrade {packages}"
