"""The user's folders on each system, and files that version 0.1.0 kept elsewhere."""

from __future__ import annotations

import importlib
import os
import sys
from pathlib import Path

import platformdirs
import pytest

from gainwright.adapters.case_folder import cases_folder
from gainwright.adapters.certificates import certificates_folder
from gainwright.adapters.store_place import own_store_file
from gainwright.adapters.user_folders import config_path, data_path
from gainwright.programme import cache_folder

SYSTEMS = {"linux": "unix.Unix", "darwin": "macos.MacOS", "win32": "windows.Windows"}
VARIABLES = (
    *("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME"),
    *("APPDATA", "LOCALAPPDATA", "GAINWRIGHT_CACHE", "GAINWRIGHT_STORE"),
)
KEPT = {"data": ("cases", "certificates", "gainwright.sqlite"), "config": ("calibrations.json",)}
FOLDERS = {
    "linux": {"data": ".local/share/gainwright", "config": ".config/gainwright", "cache": ".cache/gainwright"},
    "darwin": {
        "data": "Library/Application Support/gainwright",
        "config": "Library/Application Support/gainwright",
        "cache": "Library/Caches/gainwright",
    },
    "win32": {
        "data": "AppData/Roaming/gainwright",
        "config": "AppData/Roaming/gainwright",
        "cache": "AppData/Local/gainwright",
    },
}
"""As each system's own guidance has it: the XDG Base Directory Specification, Apple's File System Programming Guide,
Windows' known folders."""


def of_0_1(kind: str, home: Path) -> Path:
    """Return the folder as version 0.1.0 computed it, in its own words."""
    if kind == "cache":
        if sys.platform == "win32":
            base = Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
        elif sys.platform == "darwin":
            base = home / "Library" / "Caches"
        else:
            base = Path(os.environ.get("XDG_CACHE_HOME") or home / ".cache")
        return base / "gainwright"
    named = os.environ.get(f"XDG_{kind.upper()}_HOME") or os.environ.get("APPDATA")
    usual = home / ".local" / "share" if kind == "data" else home / ".config"
    return (Path(named) if named else usual) / "gainwright"


@pytest.fixture(params=SYSTEMS)
def system(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> str:
    """Stand in for a system, with a new user's home."""
    name: str = request.param
    for variable in VARIABLES:
        monkeypatch.delenv(variable, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    module, kind = SYSTEMS[name].split(".")
    folders = importlib.import_module(f"platformdirs.{module}")
    monkeypatch.setattr(platformdirs, "PlatformDirs", getattr(folders, kind))
    if name == "win32":
        monkeypatch.setenv("APPDATA", str(tmp_path / "AppData" / "Roaming"))
        monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "AppData" / "Local"))
        monkeypatch.setattr(folders, "get_win_folder", folders.get_win_folder_from_env_vars)
    monkeypatch.setattr(sys, "platform", name)
    return name


def path_of(kind: str, name: str) -> Path:
    """Return the path of something that is kept."""
    return data_path(name) if kind == "data" else config_path(name)


def test_a_new_user_has_the_folders_of_the_system(system: str, tmp_path: Path) -> None:
    """As the system's conventions require."""
    expected = {kind: tmp_path / folder for kind, folder in FOLDERS[system].items()}
    found = {"data": data_path("x").parent, "config": config_path("x").parent, "cache": cache_folder()}
    assert found == expected


@pytest.mark.parametrize("kind", KEPT)
def test_files_of_0_1_are_found(system: str, tmp_path: Path, kind: str) -> None:
    """Each file separately, even if the new folder already exists for another; new files aren't put there."""
    for name in KEPT[kind]:
        path = of_0_1(kind, tmp_path) / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("kept by 0.1.0")
    (tmp_path / FOLDERS[system]["data"]).mkdir(parents=True, exist_ok=True)
    assert {path_of(kind, name).read_text() for name in KEPT[kind]} == {"kept by 0.1.0"}
    assert path_of(kind, "new").parent == tmp_path / FOLDERS[system][kind]


@pytest.mark.parametrize("kind", KEPT)
def test_current_folder_takes_precedence_over_that_of_0_1(system: str, tmp_path: Path, kind: str) -> None:
    """A file in both is read from the current one."""
    for folder in (of_0_1(kind, tmp_path), tmp_path / FOLDERS[system][kind]):
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "kept").touch()
    assert path_of(kind, "kept").parent == tmp_path / FOLDERS[system][kind]


def test_xdg_variables_name_the_folders(system: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On every system, as with version 0.1.0."""
    assert system
    for kind in KEPT:
        monkeypatch.setenv(f"XDG_{kind.upper()}_HOME", str(tmp_path / "named" / kind))
        assert path_of(kind, "x") == tmp_path / "named" / kind / "gainwright" / "x" == of_0_1(kind, tmp_path) / "x"


def test_a_relative_xdg_variable_is_ignored(system: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As the specification says, unless 0.1.0, which accepted it, kept something there."""
    monkeypatch.setenv("XDG_DATA_HOME", "relative")
    assert data_path("x").parent == tmp_path / FOLDERS[system]["data"]
    (tmp_path / "relative" / "gainwright").mkdir(parents=True)
    (tmp_path / "relative" / "gainwright" / "x").touch()
    assert data_path("x").resolve() == tmp_path / "relative" / "gainwright" / "x"


def test_the_cache_is_where_0_1_had_it(system: str, tmp_path: Path) -> None:
    """So that nothing is analysed or compiled again."""
    assert system
    assert cache_folder() == of_0_1("cache", tmp_path)


def test_cases_store_and_certificates_are_data(system: str, tmp_path: Path) -> None:
    """All in one folder."""
    folder = tmp_path / FOLDERS[system]["data"]
    assert {cases_folder(), own_store_file(), certificates_folder()} == {folder / name for name in KEPT["data"]}
