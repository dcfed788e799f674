"""Connections to SQLite and PostgreSQL, set up so that the two keep the same promises."""

from __future__ import annotations

import os
import re
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import QueuePool

from contrastkit.errors import CatalogueError, InvalidInputError, MissingPackageError
from contrastkit.keep.backups import Place
from contrastkit.keep.files import StrPath, shown

VARIABLE = "CONTRASTKIT_PILE"  # names another place than the default one

_OLDEST_SQLITE = (3, 37)  # the first with strict tables
_SCHEMA = re.compile(r"[a-z_][a-z0-9_]{0,40}")
_SERVER = re.compile(r"(postgres|postgresql|postgresql\+psycopg)://", re.IGNORECASE)
_OTHER_SERVER = re.compile(r"[a-z][a-z0-9+]+://", re.IGNORECASE)
_WRITING = "contrastkit_writing"
_PRAGMAS = (
    "foreign_keys = ON",
    "synchronous = FULL",  # what was acknowledged is on the disk
    "fullfsync = ON",  # on a Mac too
    "trusted_schema = OFF",  # a file that somebody sent runs nothing
    "journal_size_limit = 64000000",  # bytes: the log of a large import does not stay
)


@dataclass(frozen=True)
class File:
    """A catalogue in one SQLite file; only read where there is no room for a log beside it."""

    path: Path
    only_read: bool = False

    @property
    def place(self) -> Place:
        return Place(shown=shown(self.path), beside=self.path)

    @property
    def logs(self) -> tuple[Path, Path]:
        """The files beside it that may hold what the file does not hold yet, or hold no more."""
        return Path(f"{self.path}-wal"), Path(f"{self.path}-journal")

    @property
    def has_log(self) -> bool:
        """Whether one of those files holds anything."""
        return any(log.exists() and log.stat().st_size for log in self.logs)

    @property
    def writable(self) -> bool:
        """Whether the system lets the file, and files beside it, be written."""
        if self.only_read:
            return False
        mine = os.access in os.supports_effective_ids
        return all(os.access(path, os.W_OK, effective_ids=mine) for path in (self.path, self.path.parent))

    def identity(self) -> tuple[int, int] | None:
        """Return what tells this file from another of the same name; None where there is none."""
        try:
            stat = os.stat(self.path)
        except OSError:
            return None
        return stat.st_dev, stat.st_ino

    def engine(self) -> Engine:
        if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
            raise CatalogueError(
                f"A catalogue needs SQLite 3.37 or later; this Python has {sqlite3.sqlite_version}. Use a newer one."
            )
        engine = create_engine("sqlite://", creator=self.connect, poolclass=QueuePool)
        event.listen(engine, "begin", _begin)
        return engine

    def begin(self, connection: Connection, *, writing: bool, wait: float) -> Connection:
        connection = connection.execution_options(**{_WRITING: writing})
        connection.begin()
        return connection

    def connect(self) -> sqlite3.Connection:
        # Waiting is done by `Store`: SQLite's own way grows slower with each try, so that a writer may starve, and a
        # person could not interrupt it.
        connection = sqlite3.connect(
            f"file:{quote(os.fsencode(self.path))}?{self._mode()}",
            uri=True, timeout=0, isolation_level=None, check_same_thread=False, cached_statements=256,
        )  # fmt: skip
        for pragma in _PRAGMAS:
            connection.execute(f"PRAGMA {pragma}")
        return connection

    def make_room(self, connection: Connection) -> None:
        """Do what must be done before the first table is made."""

    def _mode(self) -> str:
        """How the file is opened: for reading only where nothing can be written, and then without a helper file."""
        if self.writable:
            return "mode=rw"
        return "mode=ro" if self.has_log else "mode=ro&immutable=1"


@dataclass(frozen=True)
class Server:
    """A catalogue in one schema of a PostgreSQL database."""

    url: URL
    schema: str

    @property
    def place(self) -> Place:
        from platformdirs import user_data_path

        socket = str(self.url.query.get("host", ""))  # the folder of a server's socket
        bare = URL.create("postgresql", host=self.url.host, port=self.url.port, database=self.url.database)
        bare = bare.set(query={"host": socket}) if socket else bare
        words = "-".join(filter(None, (self.url.host or socket, self.url.database, self.schema)))
        safe = re.sub(r"[^A-Za-z0-9_-]+", "_", words).strip("_")
        return Place(shown=f"'{bare}'", beside=user_data_path("contrastkit") / f"{safe}.sqlite")

    def identity(self) -> tuple[int, int] | None:
        return 0, 0

    def engine(self) -> Engine:
        _need_psycopg()
        options = f"-csearch_path={self.schema} {self.url.query.get('options', '')}".strip()
        arguments = {"options": options, "connect_timeout": 10, "application_name": "contrastkit"}
        return create_engine(self.url.difference_update_query(["options"]), connect_args=arguments, pool_pre_ping=True)

    def begin(self, connection: Connection, *, writing: bool, wait: float) -> Connection:
        if not writing:
            connection = connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
            connection.begin()
            return connection
        connection.begin()
        # One writes at a time, as in SQLite; and what was acknowledged is on the server's disk.
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = {max(1, round(wait * 1000))}")
        connection.exec_driver_sql("SET LOCAL synchronous_commit = on")
        connection.exec_driver_sql("SELECT pg_advisory_xact_lock(hashtext(%s))", (f"contrastkit {self.schema}",))
        return connection

    def make_room(self, connection: Connection) -> None:
        """Do what must be done before the first table is made."""
        connection.exec_driver_sql(f"CREATE SCHEMA IF NOT EXISTS {self.schema}")


Home = File | Server


def home_of(where: StrPath | str | None) -> Home:
    """
    Return where a catalogue is: a path, an address that begins with postgresql://, or None for the default place.

    Raises
    ------
    InvalidInputError
        An address of something else, or a schema whose name cannot be one.
    """
    where = where if where is not None else os.environ.get(VARIABLE) or default_path()
    if isinstance(where, str) and _SERVER.match(where):
        return _server(where)
    if isinstance(where, str) and _OTHER_SERVER.match(where):
        kind = where.partition("://")[0]
        raise InvalidInputError(
            f"A catalogue is in a file, or at an address that begins with postgresql://; got {kind}://. Name such."
        )
    path = os.fsdecode(where)
    if "\0" in path:
        raise InvalidInputError(f"A file name must be one that the system knows; got {path[:80]!r}. Name another one.")
    return File(Path(os.path.abspath(path)))


def default_path() -> Path:
    """Return where the catalogue is by default: `pile.sqlite` in the user's data folder."""
    from platformdirs import user_data_path

    return user_data_path("contrastkit") / "pile.sqlite"


def _server(address: str) -> Server:
    try:
        url = make_url(address)
    except (ArgumentError, ValueError) as error:
        raise InvalidInputError(
            "The address of a catalogue must be like postgresql://name@host/database; got one that is not. Correct it."
        ) from error
    schema = url.query.get("schema", "contrastkit")
    if not isinstance(schema, str) or not _SCHEMA.fullmatch(schema):
        raise InvalidInputError(
            f"A schema must have a name of small letters, digits and underscores; got {schema!r}. Choose another."
        )
    return Server(url.set(drivername="postgresql+psycopg").difference_update_query(["schema"]), schema)


def _need_psycopg() -> None:
    try:
        import psycopg  # noqa: F401
    except ImportError as error:
        raise MissingPackageError(
            "A catalogue on PostgreSQL needs the package psycopg. Install it with: pip install 'contrastkit[postgres]'"
        ) from error


def _begin(connection: Connection) -> None:
    writing = connection.get_execution_options().get(_WRITING, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def driver_of(connection: Connection) -> Any:
    """Return the connection of the database's own driver."""
    return connection.connection.driver_connection
