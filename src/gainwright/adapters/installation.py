"""The dependencies: each one tried, with the command that installs what is missing."""

from __future__ import annotations

import importlib
import importlib.metadata
import platform
import sys
from dataclasses import dataclass

_PARTS = {
    "numpy": "numpy",
    "scipy": "scipy",
    "pydantic": "pydantic",
    "pint": "pint",
    "ruamel.yaml": "ruamel.yaml",
    "soundfile": "soundfile",
    "vl-convert-python": "vl_convert",
    "typer": "typer",
    "rich": "rich",
    "typst": "typst",
    "fastapi": "fastapi",
    "uvicorn": "uvicorn",
    "websockets": "websockets",
    "jinja2": "jinja2",
    "python-multipart": "python_multipart",
    "sqlalchemy": "sqlalchemy",
    "alembic": "alembic",
    "cryptography": "cryptography",
    "segno": "segno",
}
_EXTRAS = {"av": "aac", "distributed": "cluster", "numba": "fast-music", "pyarrow": "parquet", "psycopg": "postgresql"}
"""Optional dependencies -> the extra that installs them."""


@dataclass(frozen=True, slots=True)
class InstalledPart:
    """A dependency: whether it works, and its version or the command that repairs it."""

    part: str
    ok: bool
    said: str


def installation() -> list[InstalledPart]:
    """Return each part, tried."""
    found = [
        _python(),
        *(_library(name, module) for name, module in _PARTS.items()),
        *map(_extra, _EXTRAS),
        _formats(),
        _drawing(),
        _live(),
    ]
    return [InstalledPart(*part) for part in found]


def _python() -> tuple[str, bool, str]:
    ok = sys.version_info >= (3, 11)
    return "python", ok, platform.python_version() + ("" if ok else ": install Python 3.11 or newer")


def _library(name: str, module: str) -> tuple[str, bool, str]:
    try:
        importlib.import_module(module)
        return name, True, importlib.metadata.version(name)
    except (ImportError, OSError, importlib.metadata.PackageNotFoundError) as error:
        return name, False, f"{error}: python -m pip install {name}"


def _extra(name: str) -> tuple[str, bool, str]:
    """Check an optional dependency; without it everything else works."""
    _, there, version = _library(name, name)
    extra = _EXTRAS[name]
    return (
        f"{name} ({extra})",
        True,
        version if there else f'not installed; to add it: python -m pip install "gainwright[{extra}]"',
    )


def _formats() -> tuple[str, bool, str]:
    try:
        import soundfile
    except (ImportError, OSError):
        return "sound files", False, "python -m pip install soundfile"
    wanted = ("WAV", "FLAC", "OGG", "MP3", "AIFF")
    missing = [name for name in wanted if name not in soundfile.available_formats()]
    if missing:
        return "sound files", False, f"no {', '.join(missing)}: python -m pip install --upgrade soundfile"
    return "sound files", True, ", ".join(wanted)


def _drawing() -> tuple[str, bool, str]:
    try:
        import vl_convert

        spec = {"$schema": "v6", "data": {"values": [{"a": 1}]}, "mark": "point", "encoding": {"x": {"field": "a"}}}
        picture = vl_convert.vegalite_to_svg(spec)
    except (ImportError, OSError, ValueError) as error:
        return "charts", False, f"{error}: python -m pip install --upgrade vl-convert-python"
    return "charts", "<svg" in picture, "SVG and PNG"


def _live() -> tuple[str, bool, str]:
    """Check live input; without it everything else works."""
    try:
        import sounddevice
    except (ImportError, OSError):
        return (
            "live input",
            True,
            "not installed; to add it: python -m pip install sounddevice, on Debian also libportaudio2",
        )
    return "live input", True, str(sounddevice.get_portaudio_version()[1]).split(",")[0]
