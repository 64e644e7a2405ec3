"""Integrity checks of the database itself."""

from __future__ import annotations

import sqlalchemy as sa


def integrity_problems(connection: sa.Connection, *, quick: bool = False) -> list[str]:
    """Return the problems that the database finds: damaged pages and indexes, and violated foreign keys."""
    if connection.dialect.name != "sqlite":
        return []
    test = "quick_check" if quick else "integrity_check"
    pages = [str(row[0]) for row in connection.exec_driver_sql(f"PRAGMA {test}(20)")]
    strays = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    return [problem for problem in pages if problem != "ok"] + [
        f"a row of {row[0]} refers to a missing {row[2]}" for row in strays
    ]
