"""The dependencies: each one tried; what can't be done without it, and the line that installs it."""

from __future__ import annotations

import importlib
import importlib.metadata
import platform
import sys
from dataclasses import dataclass

from gainwright.adapters.installer import line_that_adds
from gainwright.texts import say

_NOTHING = say("Gainwright can't run")
_PAGES = say("no web app")
_STORE = say("no store: no cases, no practice, no web app")
_PARTS = {
    "numpy": ("numpy", _NOTHING),
    "scipy": ("scipy", _NOTHING),
    "pydantic": ("pydantic", _NOTHING),
    "pint": ("pint", _NOTHING),
    "ruamel.yaml": ("ruamel.yaml", _NOTHING),
    "soundfile": ("soundfile", say("no sound file is read or written: no tones, no measuring, no music")),
    "vl-convert-python": ("vl_convert", say("no charts: not in papers, not on pages, none as a file")),
    "typer": ("typer", _NOTHING),
    "rich": ("rich", say("no tables in the terminal, no live measurement there")),
    "typst": ("typst", say("no papers as PDF; HTML, CSV and JSON remain")),
    "fastapi": ("fastapi", _PAGES),
    "uvicorn": ("uvicorn", _PAGES),
    "websockets": ("websockets", say("no live measurement with the phone's microphone")),
    "jinja2": ("jinja2", say("no web app, no papers as HTML")),
    "python-multipart": ("python_multipart", _PAGES),
    "sqlalchemy": ("sqlalchemy", _STORE),
    "cryptography": ("cryptography", say("no phones: no certificate is made for the local network")),
    "segno": ("segno", say("no QR code for a phone; the address can be typed")),
    "psutil": ("psutil", say("no phones: this machine's addresses aren't found")),
    "platformdirs": ("platformdirs", _NOTHING),
}
"""Package -> its module, and what can't be done without it."""
_EXTRAS = {
    "av": ("aac", say("no music in AAC and Opus: convert it to FLAC or WAV")),
    "distributed": ("cluster", say("music is scanned on this machine alone")),
    "numba": ("fast-music", say("a scan of music takes some fifty times as long")),
    "pyarrow": ("parquet", say("a table of music is written as CSV only")),
    "psycopg": ("postgresql", say("the store is a file on this machine, not a database of several")),
}
"""Optional dependency -> the extra that installs it, and what can't be done without it."""


@dataclass(frozen=True, slots=True)
class InstalledPart:
    """A dependency that was tried.

    Attributes
    ----------
    ok : it works, or is optional.
    said : its version, or why it doesn't work.
    costs : what can't be done because it is missing; empty when it is there.
    remedy : the line that installs it; empty when it is there.
    """

    part: str
    ok: bool
    said: str
    costs: str = ""
    remedy: str = ""


def installation() -> list[InstalledPart]:
    """Return each part, tried."""
    return [
        InstalledPart("python", True, platform.python_version()),
        *(_library(name, *about) for name, about in _PARTS.items()),
        *(_extra(name, *about) for name, about in _EXTRAS.items()),
        _formats(),
        _drawing(),
        _live(),
    ]


def _library(name: str, module: str, costs: str) -> InstalledPart:
    try:
        importlib.import_module(module)
        return InstalledPart(name, True, importlib.metadata.version(name))
    except (ImportError, OSError, importlib.metadata.PackageNotFoundError) as error:
        return InstalledPart(name, False, str(error), costs, line_that_adds(name))


def _extra(name: str, extra: str, costs: str) -> InstalledPart:
    """Check an optional dependency; without it everything else works."""
    found, shown = _library(name, name, costs), f"{name} ({extra})"
    if found.ok:
        return InstalledPart(shown, True, found.said)
    return InstalledPart(shown, True, say("not installed"), costs, line_that_adds(name, extra=extra))


def _formats() -> InstalledPart:
    part, wanted = "sound files", ("WAV", "FLAC", "OGG", "MP3", "AIFF")
    try:
        import soundfile

        missing = [name for name in wanted if name not in soundfile.available_formats()]
    except (ImportError, OSError) as error:
        return InstalledPart(part, False, str(error), _PARTS["soundfile"][1], line_that_adds("soundfile"))
    if missing:
        costs = say("{formats} can't be read", formats=", ".join(missing))
        return InstalledPart(part, False, say("not every format"), costs, line_that_adds("soundfile"))
    return InstalledPart(part, True, ", ".join(wanted))


def _drawing() -> InstalledPart:
    try:
        import vl_convert

        spec = {"$schema": "v6", "data": {"values": [{"a": 1}]}, "mark": "point", "encoding": {"x": {"field": "a"}}}
        drawn, said = "<svg" in vl_convert.vegalite_to_svg(spec), "SVG and PNG"
    except (ImportError, OSError, ValueError) as error:
        drawn, said = False, str(error)
    if drawn:
        return InstalledPart("charts", True, said)
    return InstalledPart("charts", False, said, _PARTS["vl-convert-python"][1], line_that_adds("vl-convert-python"))


def _live() -> InstalledPart:
    """Check live input; without it everything else works."""
    try:
        import sounddevice
    except (ImportError, OSError) as error:
        costs = say("no measurement at this machine's sound input; a phone's microphone and recordings remain")
        # wheels for Windows and macOS bring PortAudio, on Linux it is the system's
        system = sys.platform == "linux" and isinstance(error, OSError)
        remedy = "sudo apt-get install libportaudio2" if system else line_that_adds("sounddevice")
        return InstalledPart("live input", True, say("not installed"), costs, remedy)
    return InstalledPart("live input", True, str(sounddevice.get_portaudio_version()[1]).split(",")[0])
