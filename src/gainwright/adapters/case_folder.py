"""Cases as files in a folder, one each."""

from __future__ import annotations

import re
import sys
from typing import TYPE_CHECKING

from gainwright.adapters.files import write_file
from gainwright.adapters.user_folders import data_path
from gainwright.errors import CallError
from gainwright.jobfile.casefile import case_text, read_case

if TYPE_CHECKING:
    from pathlib import Path

    from gainwright.model.case import Case

SUFFIX = ".case.yaml"
_DEVICE = re.compile(r"(con|prn|aux|nul|com[1-9]|lpt[1-9]) *(\.|$)", re.IGNORECASE)
"""What Windows takes for a device, whatever follows the dot (learn.microsoft.com, "Naming Files, Paths, and Namespaces")."""
_NAME = re.compile(r"[\w][\w .-]{0,79}")


def cases_folder() -> Path:
    """Return the folder in which version 0.1 of the command kept its cases, in the user's data folder."""
    return data_path("cases")


def check_case_name(name: str) -> None:
    """Refuse a text that can't be the name of a case, in a folder or in a store.

    Raises
    ------
    CallError : `bad_name`.
    """
    if not _NAME.fullmatch(name) or name.endswith("."):
        raise CallError(
            f"{name[:80]!r} can't be the name of a case",
            code="bad_name",
            rule="up to 80 letters, digits, spaces, dots, dashes and underscores, beginning with a letter or digit",
            remedy="write, for example, blue-estate-2",
        )


class FolderCases:
    """Case files in a folder, which is created when the first one is saved."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def names(self) -> list[str]:
        """Return the names of all cases, sorted."""
        try:
            found = [p.name.removesuffix(SUFFIX) for p in self.folder.iterdir() if p.name.endswith(SUFFIX)]
        except FileNotFoundError:
            return []
        except OSError as error:
            raise CallError(
                f"can't be read: {error.strerror}", code="not_readable", where=str(self.folder), remedy="name a folder"
            ) from None
        return sorted(found)

    def load(self, name: str) -> Case:
        """Return a case.

        Raises
        ------
        CallError : there is none of that name.
        JobError : it can't be read.
        """
        path = self._path(name)
        if not path.is_file():
            raise CallError(f"there is no case {name}", code="no_such_case", where=str(self.folder))
        return read_case(path)

    def save(self, name: str, case: Case) -> str:
        """Write a case completely or not at all; return the file.

        Raises
        ------
        CallError : an invalid name, or the file can't be written.
        """
        path = self._path(name)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CallError(
                f"can't be created: {error.strerror}", code="not_written", where=str(self.folder), remedy="name another"
            ) from None
        write_file(path, case_text(case))
        return str(path)

    def _path(self, name: str) -> Path:
        check_case_name(name)
        if sys.platform == "win32" and _DEVICE.match(name):
            raise CallError(
                f"{name} is the name of a device on Windows, no file can have it",
                code="bad_name",
                remedy="give the case another name",
            )
        return self.folder / f"{name}{SUFFIX}"
