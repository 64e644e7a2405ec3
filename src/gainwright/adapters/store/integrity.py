"""Integrity of the database itself."""

from __future__ import annotations

import sqlalchemy as sa


def integrity_problems(connection: sa.Connection, *, quick: bool = False) -> list[str]:
    """Return what the database itself finds wrong: damaged pages and indexes, rows that belong to nothing."""
    if connection.dialect.name != "sqlite":
        return []
    test = "quick_check" if quick else "integrity_check"
    pages = [str(row[0]) for row in connection.exec_driver_sql(f"PRAGMA {test}(20)")]
    strays = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    return [said for said in pages if said != "ok"] + [f"a row of {row[0]} belongs to no {row[2]}" for row in strays]
