"""Where the store is when nobody says otherwise."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from gainwright.adapters.case_folder import cases_folder

if TYPE_CHECKING:
    from pathlib import Path


def own_store_file() -> Path:
    """Return the file of the person's own store."""
    return cases_folder().with_name("gainwright.sqlite")


def store_place(where: str | None = None) -> str:
    """Return the place that is named, else the one in `$GAINWRIGHT_STORE`, else the person's own file."""
    return where or os.environ.get("GAINWRIGHT_STORE") or str(own_store_file())
