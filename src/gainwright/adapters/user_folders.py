"""The folders of the user's own files: those of the operating system, and those used by version 0.1.0.

The folders are those of `platformdirs`; `XDG_DATA_HOME` and `XDG_CONFIG_HOME` override them on every system. Version
0.1.0 had its own rules, which differ on macOS and for relative paths; its files are used where they are. The cache
folder is `programme.cache_folder`, since processes that analyse music need it without any adapter.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Literal

APPLICATION = "gainwright"
_DEFAULTS_OF_0_1 = {"data": (".local", "share"), "config": (".config",)}


def data_path(name: str) -> Path:
    """Return the path of a file or folder of data, whether it exists or not; without a name that of the folder of all.

    Raises
    ------
    RuntimeError : the user has no home folder.
    """
    return _path("data", name)


def config_path(name: str) -> Path:
    """Return the path of a file of settings, whether it exists or not; without a name that of the folder of all.

    Raises
    ------
    RuntimeError : the user has no home folder.
    """
    return _path("config", name)


def _path(kind: Literal["data", "config"], name: str) -> Path:
    current = _folder(kind) / name
    if current.exists():
        return current
    former = _folder_of_0_1(kind) / name
    return former if former.exists() else current


def _folder(kind: Literal["data", "config"]) -> Path:
    import platformdirs

    named = Path(os.environ.get(f"XDG_{kind.upper()}_HOME", ""))
    if named.is_absolute():  # relative paths must be ignored (XDG Base Directory Specification 0.8)
        return named / APPLICATION
    # roaming: on Windows both folders are those of version 0.1.0
    folders = platformdirs.PlatformDirs(APPLICATION, appauthor=False, roaming=True)
    return folders.user_data_path if kind == "data" else folders.user_config_path


def _folder_of_0_1(kind: Literal["data", "config"]) -> Path:
    named = os.environ.get(f"XDG_{kind.upper()}_HOME") or os.environ.get("APPDATA")
    return (Path(named) if named else Path.home().joinpath(*_DEFAULTS_OF_0_1[kind])) / APPLICATION
