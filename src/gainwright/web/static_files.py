"""The static files, under an address that names their content: a browser keeps them without asking again."""

from __future__ import annotations

import functools
import hashlib
import importlib.resources
import re
from pathlib import PurePath
from typing import TYPE_CHECKING

from starlette.staticfiles import StaticFiles

from gainwright import __version__

if TYPE_CHECKING:
    import os
    from importlib.resources.abc import Traversable

    from starlette.responses import Response
    from starlette.types import Scope

BUILD = re.compile(r"[\w.]+-[0-9a-f]{16}")
"""The form of a build's name; files asked for by the name of another build are those of this one."""
KEPT = "max-age=31536000, immutable"
CHECKED = "no-cache"
"""`Cache-Control` (RFC 9111; `immutable`: RFC 8246) of files with the build's name in their address, and of all others."""


def folder() -> Traversable:
    """Return the folder of the static files."""
    return importlib.resources.files("gainwright.web") / "static"


@functools.cache
def build() -> str:
    """Return a name for the static files as they were when first asked; another content has another name."""
    digest = hashlib.sha256()
    for file in sorted(folder().iterdir(), key=lambda file: file.name):
        content = file.read_bytes()
        digest.update(f"{file.name} {len(content)}\n".encode())
        digest.update(content)
    return f"{__version__}-{digest.hexdigest()[:16]}"


def address() -> str:
    """Return where the files of this build are; they name each other relative to it."""
    return f"/static/{build()}"


def addresses() -> tuple[str, ...]:
    """Return the address of every file, in order."""
    return tuple(f"{address()}/{name}" for name in sorted(file.name for file in folder().iterdir()))


TYPES = {".css": "text/css", ".js": "text/javascript", ".png": "image/png", ".svg": "image/svg+xml"}
"""Suffix -> media type. Python takes them from the system, where a program may have set others (on Windows: in the registry)."""


class KeptFiles(StaticFiles):
    """Static files that a browser keeps when it asks for this build's, and otherwise checks before it uses its copy."""

    def __init__(self) -> None:
        super().__init__(directory=str(folder()))

    def lookup_path(self, path: str) -> tuple[str, os.stat_result | None]:
        """Return a file's place, whichever build's name stands before it."""
        if "\0" in path:  # older versions of starlette ask the system for such a name, which raises ValueError
            return "", None
        parts = PurePath(path).parts
        return super().lookup_path(parts[1] if len(parts) == 2 and BUILD.fullmatch(parts[0]) else path)

    async def get_response(self, path: str, scope: Scope) -> Response:
        """Return the answer, and whether a browser may keep it."""
        response = await super().get_response(path, scope)
        of_build = len(PurePath(path).parts) == 2 and PurePath(path).parts[0] == build()
        kind = TYPES.get(PurePath(path).suffix)
        if kind and response.status_code in (200, 206):
            response.headers["content-type"] = f"{kind}; charset=utf-8" if kind.startswith("text/") else kind
        response.headers["cache-control"] = KEPT if of_build else CHECKED
        return response
