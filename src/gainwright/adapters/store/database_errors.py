"""Database errors as one sentence with a remedy."""

from __future__ import annotations

import sqlite3
import sys
from typing import TYPE_CHECKING

from sqlalchemy import exc

from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Callable

_BUSY = ("store_busy", "another program is writing to it", "try again in a moment; nothing was written")
_FULL = (
    "store_full",
    "the disk is full",
    "make room and try again; nothing was written, and what was stored is intact",
)
_READ_ONLY = (
    "store_read_only",
    "there is no permission to write to it",
    "get permission to write there, or name another store",
)
_DAMAGED = (
    "store_damaged",
    "the file is damaged",
    "restore a backup: gainwright store restore FILE keeps the damaged file next to it",
)
_NO_STORE = ("no_store", "the file is not a database", "choose another file, or move this one away")
_NOT_OPENED = ("store_not_opened", "the file can't be opened", "check that its folder exists and can be written to")
_MOVED = (
    "store_moved",
    "its file was moved, replaced or deleted while the program has it open",
    "put it back; or stop the program, and start it with the file in its place",
)
_AWAY = ("store_away", "the database can't be reached", "check that it is running and can be reached, then try again")
_CUT_OFF = (
    "store_cut_off",
    "the connection to the database was lost",
    "check whether the last change is there; if not, make it again",
)
_REFUSED = ("store_refused", "the database refuses the user name or password", "correct the user name and password")
_NO_DATABASE = ("no_database", "there is no such database on that server", "create it (createdb), or choose another")
_TROUBLE = ("store_trouble", "the database reports an error", "run: gainwright store check")

_SQLITE = {
    sqlite3.SQLITE_BUSY: _BUSY,
    sqlite3.SQLITE_LOCKED: _BUSY,
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_CORRUPT: _DAMAGED,
    sqlite3.SQLITE_NOTADB: _NO_STORE,
    sqlite3.SQLITE_CANTOPEN: _NOT_OPENED,
    sqlite3.SQLITE_PERM: _READ_ONLY,
}
_POSTGRESQL = {
    "53100": _FULL,
    "55P03": _BUSY,
    "40001": _BUSY,
    "40P01": _BUSY,
    "57014": _BUSY,
    "25006": _READ_ONLY,
    "42501": _READ_ONLY,
    "28000": _REFUSED,
    "28P01": _REFUSED,
    "3D000": _NO_DATABASE,
    "57P03": _AWAY,
}


def moved(where: str) -> CallError:
    """Return the error for a file that isn't the one any longer that was opened."""
    code, what, remedy = _MOVED
    return CallError(what, code=code, where=where, remedy=remedy)


def store_error(error: Exception, *, where: str) -> CallError:
    """Convert a database error to a CallError with a remedy."""
    code, what, remedy = _parts(error)
    return CallError(what, code=code, where=where, remedy=remedy)


def database_errors() -> tuple[type[Exception], ...]:
    """Return the exceptions of SQLAlchemy, and those of the drivers that pass through it.

    UnicodeError is one: names in a damaged schema are no text any longer, and a damaged name can't be looked for.
    """
    psycopg = sys.modules.get("psycopg")  # it can't have raised anything before it was imported
    return (exc.SQLAlchemyError, sqlite3.Error, UnicodeError, *([psycopg.Error] if psycopg else []))


def _parts(error: Exception) -> tuple[str, str, str]:
    if isinstance(error, exc.TimeoutError | UnicodeError):
        return _BUSY if isinstance(error, exc.TimeoutError) else _DAMAGED
    cause = error.orig if isinstance(error, exc.DBAPIError) else error
    if isinstance(cause, sqlite3.Error):
        code = getattr(cause, "sqlite_errorcode", 0) & 0xFF
        return _SQLITE.get(code, _trouble(cause))
    state = getattr(cause, "sqlstate", None)
    if state in _POSTGRESQL:
        return _POSTGRESQL[state]
    if isinstance(error, exc.DBAPIError) and error.connection_invalidated:
        return _CUT_OFF
    if state is None and isinstance(error, exc.OperationalError):
        return _by_message(cause)
    return _trouble(cause or error)


def _by_message(cause: BaseException | None) -> tuple[str, str, str]:
    """Classify an error by its message; while connecting, the driver gives no code."""
    message = str(cause)
    first: Callable[[str], bool] = message.__contains__
    if first("password authentication failed") or first("no password supplied") or first("role "):
        return _REFUSED
    return _NO_DATABASE if first("does not exist") and first("database ") else _AWAY


def _trouble(cause: BaseException) -> tuple[str, str, str]:
    code, what, remedy = _TROUBLE
    message = str(cause).strip().partition("\n")[0][:200]
    return code, f"{what}: {message}" if message else what, remedy
