"""A database as the store uses it: atomic transactions, and errors as sentences."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import sqlalchemy as sa
from sqlalchemy import event, exc

from gainwright.adapters.store.database_errors import database_errors, moved, store_error
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

_POSTGRESQL = {"postgres", "postgresql", "postgresql+psycopg"}
PATIENCE_S = 5.0
"""How long a writer waits for another writer."""
_GIVEN_UP = {"keepalives_idle": 5, "keepalives_interval": 3, "keepalives_count": 3, "tcp_user_timeout": 14_000}
"""When a connection to a server is taken for lost that says nothing any longer, as over a network that was cut: after 14 s, in which a
phone still waits for its answer. The system alone would wait for a quarter of an hour (libpq, parameter key words)."""


class Database:
    """One database: a SQLite file, or a PostgreSQL database at an address.

    Parameters
    ----------
    where : a file, or an address such as `postgresql://localhost/workshop`.
    patience_s : how long to wait for another writer.
    only_read : open a file for reading only: "shared" beside a program that may write to it, "alone" without its `-wal`
        and without any lock; a server is opened as usual.

    Attributes
    ----------
    before_write : called at the beginning of each write transaction, unless it is None.
    """

    def __init__(
        self, where: str | Path, *, patience_s: float = PATIENCE_S, only_read: Literal["shared", "alone"] | None = None
    ) -> None:
        url = _url(where)
        self.file = Path(url.database or "") if url.get_backend_name() == "sqlite" else None
        self.name = place_name(url)
        self.patience_s = patience_s
        self._turn = threading.Lock()
        self.before_write: Callable[[sa.Connection], None] | None = None
        self._checked = self.file is not None and only_read is None
        self._opened: tuple[int, int] | None = None
        if self.file is None:
            self.engine = _server_engine(url, patience_s)
        elif only_read is None:
            self.engine = _file_engine(url, patience_s)
        else:
            self.engine = _read_only_engine(self.file, patience_s, alone=only_read == "alone")

    @contextmanager
    def read(self) -> Iterator[sa.Connection]:
        """Yield a connection for one statement; several statements may see different states of the store.

        Raises
        ------
        CallError : a database error, as one sentence.
        """
        with self._readable_errors(), self._connected() as connection:
            if self.file is None:
                connection.execution_options(isolation_level="AUTOCOMMIT")
            else:
                connection.execution_options(gainwright_begins="")
            yield connection

    @contextmanager
    def snapshot(self) -> Iterator[sa.Connection]:
        """Yield a connection whose statements all see the same state of the store.

        Raises
        ------
        CallError : a database error, as one sentence.
        """
        with self._readable_errors(), self._connected() as connection:
            if self.file is None:
                connection.execution_options(isolation_level="REPEATABLE READ")
            transaction = connection.begin()
            try:
                yield connection
            finally:
                transaction.rollback()  # nothing was written; a damaged page that was met lets a commit fail

    @contextmanager
    def write(self) -> Iterator[sa.Connection]:
        """Yield a connection whose changes are durable when the block ends, or undone if it fails.

        Raises
        ------
        CallError : a database error, as one sentence.
        """
        with self._readable_errors(), self._one_at_a_time(), self._connected() as connection:
            connection.execution_options(gainwright_begins="BEGIN IMMEDIATE")
            with connection.begin():
                if self.before_write is not None:
                    self.before_write(connection)
                yield connection
            self._in_its_place()

    @contextmanager
    def _connected(self) -> Iterator[sa.Connection]:
        self._in_its_place()
        with self.engine.connect() as connection:
            if self._opened is None:  # noted now, since opening may give a file another number
                self._in_its_place(note=True)
            yield connection

    def _in_its_place(self, *, note: bool = False) -> None:
        """Refuse a file that isn't the one any longer that was opened: what is written to that is found nowhere after a restart.

        Raises
        ------
        CallError : `store_moved`.
        """
        if self.file is None or not self._checked:
            return
        try:
            stat = self.file.stat()
            found = (stat.st_dev, stat.st_ino)
        except FileNotFoundError:
            found = None
        if self._opened not in (None, found):
            raise moved(self.name)
        if note:
            self._opened = found

    @contextmanager
    def _readable_errors(self) -> Iterator[None]:
        try:
            yield
        except database_errors() as error:
            raise store_error(error, where=self.name) from error

    @contextmanager
    def _one_at_a_time(self) -> Iterator[None]:
        """Let the threads of this process write to a file in turn, since the file's own lock isn't fair."""
        if self.file is None:
            yield
            return
        if not self._turn.acquire(timeout=self.patience_s):
            raise store_error(exc.TimeoutError(), where=self.name)
        try:
            yield
        finally:
            self._turn.release()

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()
        self._opened = None


def place_name(url: sa.URL) -> str:
    """Return the name of a database for messages: its file, or its address without the password."""
    if url.get_backend_name() == "sqlite":
        return str(Path(url.database or ""))
    return url.set(drivername="postgresql").render_as_string()


def new_file(file: Path) -> None:
    """Create an empty file and its folder for a store, unless it exists; only its owner may read it.

    Raises
    ------
    CallError : it can't be created.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        if not file.exists():
            file.touch(mode=0o600)
    except OSError as error:
        raise CallError(
            f"it can't be created: {error.strerror}",
            code="store_not_opened",
            where=str(file),
            remedy="name another place",
        ) from None


def _url(where: str | Path) -> sa.URL:
    text = str(where)
    if "://" not in text:
        return sa.URL.create("sqlite", database=str(Path(text).expanduser()))
    try:
        url = sa.make_url(text)
    except (exc.ArgumentError, ValueError):
        url = None
    if url is not None and url.drivername in _POSTGRESQL:
        return url.set(drivername="postgresql+psycopg")
    if url is not None and url.drivername == "sqlite" and url.database and url.database != ":memory:":
        return url
    raise CallError(
        "a store can't be there",
        code="bad_store",
        where=text.partition("://")[0] + "://",
        rule="a file, or an address such as postgresql://localhost/workshop",
        remedy="give one of the two",
    )


def _file_engine(url: sa.URL, patience_s: float) -> sa.Engine:
    engine = sa.create_engine(url, pool_size=8, max_overflow=32, pool_timeout=30, connect_args={"timeout": patience_s})

    @event.listens_for(engine, "connect")
    def prepare(connection: sqlite3.Connection, _: Any) -> None:
        connection.isolation_level = None  # transactions are begun explicitly, see below
        connection.text_factory = _text
        for setting in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", "trusted_schema = OFF"):
            connection.execute(f"PRAGMA {setting}")

    @event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        begins = connection.get_execution_options().get("gainwright_begins", "BEGIN")
        if begins:
            connection.exec_driver_sql(begins)

    return engine


def _read_only_engine(file: Path, patience_s: float, *, alone: bool) -> sa.Engine:
    address = f"{file.resolve().as_uri()}?mode=ro{'&immutable=1' if alone else ''}"

    def connect() -> sqlite3.Connection:
        connection = sqlite3.connect(address, uri=True, timeout=patience_s, check_same_thread=False)
        connection.isolation_level = None
        connection.text_factory = _text
        return connection

    engine = sa.create_engine(sa.URL.create("sqlite"), creator=connect, poolclass=sa.QueuePool)

    @event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        connection.exec_driver_sql("BEGIN")

    return engine


def _text(stored: bytes) -> str:
    """Return a stored text; one that isn't UTF-8 any longer is read as well, so that its checksum tells."""
    return str(stored, "utf-8", "surrogateescape")


def _server_engine(url: sa.URL, patience_s: float) -> sa.Engine:
    try:
        engine = sa.create_engine(
            url,
            pool_size=8,
            max_overflow=16,
            pool_timeout=30,
            pool_pre_ping=True,
            connect_args={"connect_timeout": max(2, round(patience_s)), **_GIVEN_UP},
        )
    except ImportError:
        raise CallError(
            "PostgreSQL can't be used: psycopg is not installed",
            code="not_installed",
            where=place_name(url),
            remedy='python -m pip install "gainwright[postgresql]"',
        ) from None

    @event.listens_for(engine, "connect")
    def prepare(connection: Any, _: Any) -> None:
        with connection.cursor() as cursor:
            cursor.execute("SET synchronous_commit = on")
            cursor.execute(f"SET lock_timeout = {round(patience_s * 1000)}")
        connection.commit()

    return engine
