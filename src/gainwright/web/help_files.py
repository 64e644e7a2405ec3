"""The help: the documentation site, below `/help/`, with the policy of every page and from the machine itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.staticfiles import StaticFiles

from gainwright.adapters.docs_site import site_folder
from gainwright.errors import GainwrightError
from gainwright.web.static_files import CHECKED

if TYPE_CHECKING:
    import os

    from starlette.responses import Response
    from starlette.types import Scope

AT = "/help"


def help_build() -> tuple[str, tuple[str, ...]]:
    """Return a name for the help as it is, and the address of each of its files; nothing when it isn't built."""
    try:
        folder = site_folder()
    except GainwrightError:
        return "", ()
    files = [path for path in folder.rglob("*") if path.is_file() and not path.name.startswith(".")]
    addresses = tuple(sorted(f"{AT}/{path.relative_to(folder).as_posix()}" for path in files))
    return (folder / ".made-from").read_text(encoding="utf-8")[:16], addresses


class HelpFiles(StaticFiles):
    """The pages of the site, looked for when they are asked for: the site may be built while the app runs."""

    def __init__(self) -> None:
        super().__init__(html=True, check_dir=False)

    def lookup_path(self, path: str) -> tuple[str, os.stat_result | None]:
        """Return a file's place. CallError: the site isn't built."""
        self.all_directories = [str(site_folder())]
        if "\0" in path:  # older versions of starlette ask the system for such a name, which raises ValueError
            return "", None
        return super().lookup_path(path)

    async def get_response(self, path: str, scope: Scope) -> Response:
        """Return the answer; a browser asks whether its copy is still right."""
        response = await super().get_response(path, scope)
        response.headers["cache-control"] = CHECKED
        return response
