"""Stores of each kind, a new one for each test."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from postgres import PostgreSQL

from gainwright.adapters.store import open_store

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from gainwright.app.store import Store


@pytest.fixture(scope="session")
def postgresql() -> Iterator[PostgreSQL]:
    """Return a running server."""
    server = PostgreSQL()
    try:
        server.start()
        yield server
    finally:
        server.remove()


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Return where a store may be made: a file, then a database of a server."""
    if request.param == "sqlite":
        return str(tmp_path / "kept" / "shop.sqlite")
    server: PostgreSQL = request.getfixturevalue("postgresql")
    return server.new_database()


@pytest.fixture
def store(place: str) -> Iterator[Store]:
    """Return an open, empty store."""
    opened = open_store(place)
    yield opened
    opened.close()
