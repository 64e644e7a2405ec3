"""The default place of the store."""

from __future__ import annotations

import os
import re
from typing import TYPE_CHECKING

from gainwright.adapters.user_folders import data_path

if TYPE_CHECKING:
    from pathlib import Path


def own_store_file() -> Path:
    """Return the file of the user's own store."""
    return data_path("gainwright.sqlite")


def store_place(where: str | None = None) -> str:
    """Return the given place, else the one in `$GAINWRIGHT_STORE`, else the user's own file."""
    return where or os.environ.get("GAINWRIGHT_STORE") or str(own_store_file())


def shown_store_place() -> str:
    """Return the place of the store for people to read, an address without its password."""
    return re.sub(r"(?<=//)([^/@:]*):[^/@]*@", r"\1@", store_place())
