"""What stands at the place of a catalogue: looked at before anything is written, and copied whole."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, inspect
from sqlalchemy.pool import NullPool

from contrastkit.errors import CatalogueError
from contrastkit.keep.backups import Place, newest_backup
from contrastkit.keep.copying import copy_rows
from contrastkit.keep.engines import File
from contrastkit.keep.faults import backup_sentence
from contrastkit.keep.schema import NEWEST, migrate

_OURS = {"versions", "counters", "swatches"}  # what a catalogue of any version has
_HEADER = b"SQLite format 3\0"


def look_at_file(home: File, place: Place, *, create: bool) -> None:
    """
    See to it that there is a file that can be a catalogue; a new one is made empty.

    Raises
    ------
    CatalogueError
        It is a folder, something else, cut short or, where none is to be made, missing.
    OSError
        The system does not let it be looked at or made.
    """
    if home.path.is_dir():
        raise CatalogueError(f"A catalogue must be a file; {place.shown} is a folder. Name a file in it.")
    if not home.path.exists():
        if not create:
            raise missing(place)
        home.path.parent.mkdir(parents=True, exist_ok=True)
        home.path.touch()
        return
    if not home.path.is_file():  # to look into a pipe would take for ever
        raise CatalogueError(f"A catalogue must be a plain file; {place.shown} is none. Name another place.")
    with open(home.path, "rb") as file:
        header = file.read(100)
    if not header and newest_backup(place):
        raise CatalogueError(
            f"The catalogue must be whole; {place.shown} is empty, and was left as it is. Put it aside and restore a "
            f"backup. {backup_sentence(place)}"
        )
    if header and not header.startswith(_HEADER):
        raise CatalogueError(
            f"A catalogue must be a whole SQLite file; {place.shown} is something else, or was written over, and was "
            f"left as it is. Name another place, or restore a backup. {backup_sentence(place)}"
        )
    if len(header) == 100:
        _refuse_cut_short(home, place, header)


def missing(place: Place) -> CatalogueError:
    """Return the error for a place without a catalogue."""
    return CatalogueError(
        f"There must be a catalogue; {place.shown} has none. Check the name, or add a photograph to make one. "
        f"{backup_sentence(place)}"
    )


def recognised(connection: Connection, place: Place) -> int | None:
    """
    Return the version of the catalogue; None where there is nothing yet.

    Raises
    ------
    CatalogueError
        There is something else, or a catalogue of a newer program.
    """
    there = set(inspect(connection).get_table_names())
    if not there:
        return None
    if not there >= _OURS:
        raise CatalogueError(
            f"A catalogue must have its own tables; {place.shown} holds something else, and was left as it is. "
            "Name another place."
        )
    version = int(connection.exec_driver_sql("SELECT max(version) FROM versions").scalar_one() or 0)
    if version > NEWEST:
        raise CatalogueError(
            f"The catalogue must be of version {NEWEST} or earlier; {place.shown} is of version {version}, made by a "
            "newer contrastkit, and was left as it is. Install that one."
        )
    return version


def write_ahead(engine: Engine, home: File) -> None:
    """Have the file keep a log of what is written, so that reading and writing never wait for each other."""
    connection = engine.raw_connection()
    try:
        (mode,) = connection.cursor().execute("PRAGMA journal_mode").fetchone()
        if mode != "wal" and home.writable:
            connection.cursor().execute("PRAGMA journal_mode = WAL")
    finally:
        connection.close()


def copy_file(home: File, target: Path) -> None:
    """
    Copy a catalogue while others use it into one new file, and look whether the copy is whole.

    Raises
    ------
    sqlite3.Error
        It cannot be read or written, or is damaged.
    """
    with closing(home.connect()) as source, closing(sqlite3.connect(target, isolation_level=None)) as copy:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")  # one file, without a log beside it
        (answer,) = copy.execute("PRAGMA quick_check(1)").fetchone()
    if answer != "ok":
        raise _damaged(answer)


def rows_to_file(source: Connection, target: Path) -> None:
    """Copy the rows of a catalogue in any database, of any version, into one new SQLite file."""
    engine = create_engine("sqlite://", creator=lambda: _plain_file(target), poolclass=NullPool)
    with engine.connect() as connection:
        connection.exec_driver_sql("BEGIN")
        migrate(connection, version=0, to=int(source.exec_driver_sql("SELECT max(version) FROM versions").scalar_one()))
        copy_rows(source, connection)
        connection.commit()


def _plain_file(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA foreign_keys = ON")
    return connection


def _damaged(answer: str) -> sqlite3.DatabaseError:
    error = sqlite3.DatabaseError(answer)
    error.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
    return error


def _refuse_cut_short(home: File, place: Place, header: bytes) -> None:
    """A file shorter than it says of itself, with no log that could hold the rest."""
    page = int.from_bytes(header[16:18]) or 0
    whole = (65536 if page == 1 else page) * int.from_bytes(header[28:32])
    said = header[24:28] == header[92:96]  # whether the file keeps count of its pages
    size = home.path.stat().st_size
    if said and size < whole and not home.has_log:
        raise CatalogueError(
            f"The catalogue must be whole; {place.shown} was cut short, to {size:,} of {whole:,} bytes, and was left "
            f"as it is. Put it aside and restore a backup. {backup_sentence(place)}"
        )
