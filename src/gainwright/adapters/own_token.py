"""The token by which this account's own browser and scripts are known, in a file that only this account can read."""

from __future__ import annotations

import os
import re
import secrets
import stat
import sys
from pathlib import Path

from gainwright.adapters.files import new_file
from gainwright.adapters.user_folders import data_path

NAME = "browser-token"
_TOKEN = re.compile(r"[A-Za-z0-9_-]{43}")
"""256 random bits in base64url."""


def own_token(path: Path | None = None) -> str:
    """Return this account's token; it is made at the first start, and stays, so that a browser knows it after a restart.

    A file that other accounts could read is replaced. Where none can be written, the token is for this start only.
    """
    made = secrets.token_urlsafe(32)
    try:
        place = path or data_path(NAME)
        kept = _kept(place)
        if kept:
            return kept
        place.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with new_file(place, mode=0o600) as part:
            part.write_text(made + "\n", encoding="ascii")
        return _kept(place) or made  # another start may have made one at the same moment
    except (OSError, RuntimeError):
        return made


def _kept(path: Path) -> str:
    """Return the token in a file; empty when there is none, or others can read it."""
    try:
        found = path.stat()
        text = path.read_text(encoding="ascii").strip()
    except (FileNotFoundError, UnicodeDecodeError):
        return ""
    if sys.platform != "win32" and (stat.S_IMODE(found.st_mode) & 0o077 or found.st_uid != os.geteuid()):
        return ""  # on Windows a user's own folders are closed to other accounts
    return text if _TOKEN.fullmatch(text) else ""
