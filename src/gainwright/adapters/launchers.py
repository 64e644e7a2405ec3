"""Entries for the menu of the desktop that start the web app: what they consist of on Linux, Windows and macOS.

Each opens a window of the terminal, in which the program says where it is and is stopped. Nothing here asks which system this is:
`launcher_places` does, and every kind can be written anywhere.
"""

from __future__ import annotations

import base64
import importlib.resources
import os
import plistlib
import shlex
import struct
import subprocess
import sys
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright.adapters.files import make_folder, new_file
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

NAME, TELLS = "Gainwright", "Plan, verify and document the sound chain of a vehicle"
_PRIVATE, _PROGRAM = 0o666, 0o777
"""Modes before the umask."""


@dataclass(frozen=True, slots=True)
class Launcher:
    """What a launcher consists of.

    Attributes
    ----------
    files : name below `folder` -> content and mode.
    shortcut : what has to be made by the system itself: a script for PowerShell and the file that it writes.
    """

    folder: Path
    files: Mapping[str, tuple[bytes, int]]
    shortcut: tuple[str, Path] | None = None

    @property
    def paths(self) -> list[Path]:
        """Every file of it."""
        return [*(self.folder / name for name in self.files), *([self.shortcut[1]] if self.shortcut else [])]


def command_of(arguments: Sequence[str]) -> list[str]:
    """Return the command of a launcher: this Python, importing nothing from the folder that it is started in."""
    return [sys.executable, "-P", "-m", "gainwright", *arguments]


def own_launcher(arguments: Sequence[str], *, system: str = sys.platform, home: Path | None = None) -> Launcher:
    """Return the launcher of a system, for this account.

    Raises
    ------
    RuntimeError : the user has no home folder.
    """
    home, command = home or Path.home(), command_of(arguments)
    if system == "win32":
        roaming = Path(os.environ.get("APPDATA") or home / "AppData" / "Roaming")
        return windows_launcher(
            command, icons=roaming / "gainwright", menu=roaming / "Microsoft/Windows/Start Menu/Programs"
        )
    if system == "darwin":
        return macos_launcher(command, home / "Applications")
    named = Path(os.environ.get("XDG_DATA_HOME", ""))
    return linux_launcher(command, named if named.is_absolute() else home / ".local" / "share")


def linux_launcher(command: Sequence[str], data: Path) -> Launcher:
    """Return a desktop entry and its icon (Desktop Entry Specification 1.5, Icon Theme Specification 0.13)."""
    entry = f"""[Desktop Entry]
Type=Application
Version=1.0
Name={NAME}
Comment={TELLS}
Exec={" ".join(map(_quoted_for_exec, command))}
Icon=gainwright
Terminal=true
Categories=AudioVideo;Audio;
"""
    icon = (_icon("icon-512.png"), _PRIVATE)
    return Launcher(
        data,
        {
            "applications/gainwright.desktop": (entry.encode(), _PRIVATE),
            "icons/hicolor/512x512/apps/gainwright.png": icon,
        },
    )


def _quoted_for_exec(argument: str) -> str:
    """Return an argument of `Exec`: quoted, and then escaped once more as every string of the file is."""
    quoted = argument
    for sign in ("\\", '"', "`", "$"):
        quoted = quoted.replace(sign, f"\\{sign}")
    return f'"{quoted}"'.replace("\\", "\\\\").replace("%", "%%")


def macos_launcher(command: Sequence[str], applications: Path) -> Launcher:
    """Return an application bundle that opens a window of the terminal (Apple, "Bundle Programming Guide")."""
    about = {
        "CFBundleExecutable": "gainwright",
        "CFBundleIconFile": "gainwright.icns",
        "CFBundleIdentifier": "org.gainwright.launcher",
        "CFBundleName": NAME,
        "CFBundlePackageType": "APPL",
    }
    opens = '#!/bin/sh\nexec /usr/bin/open -a Terminal "$(dirname "$0")/../Resources/serve.command"\n'
    serves = f"#!/bin/sh\nexec {shlex.join(command)}\n"
    png = _icon("icon-512.png")
    # an icon file is a chain of pictures, each with its kind and length; `ic09` is a PNG of 512 pixels
    icon = b"icns" + struct.pack(">I", len(png) + 16) + b"ic09" + struct.pack(">I", len(png) + 8) + png
    return Launcher(
        applications / f"{NAME}.app",
        {
            "Contents/Info.plist": (plistlib.dumps(about), _PRIVATE),
            "Contents/MacOS/gainwright": (opens.encode(), _PROGRAM),
            "Contents/Resources/serve.command": (serves.encode(), _PROGRAM),
            "Contents/Resources/gainwright.icns": (icon, _PRIVATE),
        },
    )


def windows_launcher(command: Sequence[str], *, icons: Path, menu: Path) -> Launcher:
    """Return an icon, and a shortcut of the Start menu that Windows makes itself, by its scripting host's `CreateShortcut`."""
    png = _icon("icon-192.png")
    # one picture: width, height, colours, planes, bits, length, offset; a PNG may stand for a bitmap since Windows Vista
    icon = struct.pack("<HHH", 0, 1, 1) + struct.pack("<BBBBHHII", 192, 192, 0, 0, 1, 32, len(png), 22) + png
    place, shortcut = icons / "gainwright.ico", menu / f"{NAME}.lnk"
    values = {
        "TargetPath": command[0],
        "Arguments": subprocess.list2cmdline(command[1:]),
        "IconLocation": f"{place},0",
        "Description": TELLS,
    }
    script = [f"$made = (New-Object -ComObject WScript.Shell).CreateShortcut({_in_powershell(str(shortcut))})"]
    script += [f"$made.{name} = {_in_powershell(value)}" for name, value in values.items()]
    lines = "\n".join(["$ErrorActionPreference = 'Stop'", *script, "$made.Save()"])
    return Launcher(icons, {place.name: (icon, _PRIVATE)}, (lines, shortcut))


def _in_powershell(text: str) -> str:
    """Return a string of PowerShell that stands for itself; all of its quotes end one."""
    for quote in "'\u2018\u2019\u201a\u201b":
        text = text.replace(quote, quote * 2)
    return f"'{text}'"


def _icon(name: str) -> bytes:
    return (importlib.resources.files("gainwright.web") / "static" / name).read_bytes()


def install(launcher: Launcher, *, run: Callable[[list[str]], int] | None = None) -> list[Path]:
    """Write a launcher, over an older one, and return its files.

    Parameters
    ----------
    run : runs a program and returns its exit status; for PowerShell.

    Raises
    ------
    CallError : something of it can't be written.
    """
    for name, (content, mode) in launcher.files.items():
        path = launcher.folder / name
        make_folder(path.parent, remedy="see who owns it")
        try:
            with new_file(path, mode=mode) as part:
                part.write_bytes(content)
        except OSError as error:
            raise _not_written(path, error.strerror or str(error)) from None
    if launcher.shortcut is not None:
        script, path = launcher.shortcut
        make_folder(path.parent, remedy="see who owns it")
        encoded = base64.b64encode(script.encode("utf-16-le")).decode("ascii")
        status = (run or _run)(["powershell", "-NoProfile", "-NonInteractive", "-EncodedCommand", encoded])
        if status != 0:
            raise _not_written(path, f"PowerShell ended with status {status}")
    return launcher.paths


def _not_written(path: Path, reason: str) -> CallError:
    return CallError(
        f"can't be written: {reason}", code="not_written", where=str(path), remedy="start with gainwright serve instead"
    )


def _run(command: list[str]) -> int:
    try:
        return subprocess.run(command, check=False, stdin=subprocess.DEVNULL).returncode  # noqa: S603  our own script
    except OSError:
        return 127  # as a shell says of a program that isn't there


def remove(launcher: Launcher) -> list[Path]:
    """Remove the files of a launcher that are there, and its folders that are empty then; return those files.

    Raises
    ------
    CallError : one can't be removed.
    """
    there = [path for path in launcher.paths if path.exists()]
    for path in there:
        try:
            path.unlink()
        except OSError as error:
            raise CallError(
                f"can't be removed: {error.strerror}", code="not_written", where=str(path), remedy="see who owns it"
            ) from None
    if launcher.folder.suffix == ".app":  # the bundle is ours alone
        inside = [folder for folder in launcher.folder.rglob("*") if folder.is_dir()]
        for folder in [*sorted(inside, reverse=True), launcher.folder]:
            with suppress(OSError):
                folder.rmdir()
    return there
