"""Where the store is when nobody says otherwise."""

from __future__ import annotations

import os

from gainwright.adapters.case_folder import cases_folder


def store_place(where: str | None = None) -> str:
    """Return the place that is named, else the one in `$GAINWRIGHT_STORE`, else a file in the person's data folder."""
    return where or os.environ.get("GAINWRIGHT_STORE") or str(cases_folder().with_name("gainwright.sqlite"))
