"""
The catalogue's place on disk: opened, brought up to date, read in snapshots, written in actions, backed up.

SQLite in one file by default, PostgreSQL where its address is given; nothing outside `keep` knows which. Both run the
same statements (SQLAlchemy Core), and in both one action writes at a time, so no update can be lost.
"""

from __future__ import annotations

import glob
import os
import random
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import TypeVar

from sqlalchemy import Connection, Engine, func, inspect, select
from sqlalchemy.exc import DBAPIError

from contrastkit.errors import CatalogueError, InvalidInputError
from contrastkit.keep.actions import Action, login_name
from contrastkit.keep.actions import redo as redo
from contrastkit.keep.actions import undo as undo
from contrastkit.keep.backups import free_name, keep_whole, newest_backup, remember_backup, unfinished
from contrastkit.keep.check import Finding as Finding
from contrastkit.keep.check import check as check
from contrastkit.keep.check import versions_follow
from contrastkit.keep.copying import count_rows
from contrastkit.keep.engines import File, Home, home_of
from contrastkit.keep.faults import backup_sentence, is_busy, is_without_room, plainly
from contrastkit.keep.files import StrPath, ready_folder, shown
from contrastkit.keep.opening import copy_file, look_at_file, missing, recognised, rows_to_file, write_ahead
from contrastkit.keep.schema import NEWEST, migrate, versions

T = TypeVar("T")

WAIT = 60.0  # seconds to wait for another program that writes: design choice

_TURN = 0.004  # seconds at most between two tries: about what an action takes, so that turns are even
_KEPT_DAYS = 7  # daily backups that are kept: design choice


def open_store(where: StrPath | str | None = None, *, create: bool = True, wait: float = WAIT) -> Store:
    """
    Return the catalogue at a place, brought to the newest version; a backup is made before that.

    Parameters
    ----------
    where : a path; an address `postgresql://name@host/database`; None for the place that the environment variable
        CONTRASTKIT_PILE names, or else `pile.sqlite` in the user's data folder
    create : whether a new one is made where there is none
    wait : seconds to wait while another program writes

    Raises
    ------
    CatalogueError
        It is missing, damaged, something else, held by another program, or made by a newer version.
    InvalidInputError
        The place cannot be one.
    MissingPackageError
        PostgreSQL is asked for and psycopg is not installed.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "pile.sqlite") as store:
    ...     with store.writing("Add a piece", who="me") as action:
    ...         keys = action.insert("swatches", [{"name": "blue 1", "added": "2026-11-25"}])
    ...     undo(store)
    ['Add a piece']
    """
    store = Store(home_of(where), wait=wait)
    try:
        store._prepare(create=create)
    except BaseException:
        store.close()
        raise
    return store


class Store:
    """
    An open catalogue: see `open_store`.

    Attributes
    ----------
    told : sentences for the person who opened it, e.g. that it was brought up to date and where the backup is
    """

    def __init__(self, home: Home, *, wait: float = WAIT) -> None:
        self.told: list[str] = []
        self._home, self._place, self._wait = home, home.place, wait
        self._engine: Engine | None = None
        self._stamp: tuple[int, tuple[int, int] | None] = (0, None)
        self._recognised = False
        self._turn = threading.Lock()
        self._writer: int | None = None

    @property
    def where(self) -> str:
        """Where the catalogue is, for messages: a path in quotes, or an address without its password."""
        return self._place.shown

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close all connections; the store opens new ones if it is used again."""
        if self._engine is not None:
            self._engine.dispose()
            self._engine = None

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """
        Give a connection to read with, on which the catalogue stays as it is at the first look.

        Raises
        ------
        CatalogueError
            The catalogue cannot be read.
        """
        with plainly(self._place, "read it"), self._begun(writing=False) as connection:
            yield connection

    @contextmanager
    def writing(self, what: str, who: str | None = None) -> Iterator[Action]:
        """
        Give an action: everything that is changed through it is kept together at the end of the block, or nothing is.

        Parameters
        ----------
        what : a sentence that says what is done; a list of actions shows it
        who : the name of whoever does it; by default the login name

        Raises
        ------
        CatalogueError
            The catalogue cannot be written to, or another program writes for longer than the wait. Nothing was changed.
        """
        with self.unrecorded() as connection:
            action = Action(connection, what, who or login_name())
            yield action
            action.finish()

    def backup(self, path: StrPath) -> Path:
        """
        Return the path of a new backup: the whole catalogue in one SQLite file, made while others read and write.

        Parameters
        ----------
        path : a new file, or a folder in which a file named after today is made

        Raises
        ------
        CatalogueError
            There is no room for it, or the catalogue is damaged.
        InvalidInputError
            There is such a file already, which a backup never replaces; or the folder cannot be written to.
        """
        target = self._backup_target(Path(path))
        ready_folder(target.parent)
        with plainly(self._place, "back it up", files=True):
            self._write_backup(target)
        return target

    def backup_today(self) -> Path | None:
        """
        Return the path of today's backup, if it is made now: the first call of a day makes one beside the catalogue.

        Of the backups made this way the newest seven are kept.

        Raises
        ------
        CatalogueError
            As for `backup`.
        """
        beside = self._place.beside
        folder = beside.with_name(f"{beside.stem}-backups")
        today = folder / f"{beside.stem}-{datetime.now(UTC):%Y-%m-%d}.sqlite"
        try:
            self.backup(today)
        except InvalidInputError:
            if today.exists():
                return None
            raise
        days = sorted(folder.glob(f"{glob.escape(beside.stem)}-????-??-??.sqlite"))
        with suppress(OSError):
            for old in days[:-_KEPT_DAYS]:
                old.unlink()
        return today

    def _backup_target(self, path: Path) -> Path:
        if path.is_dir():
            stem = self._place.beside.stem
            return free_name(path / f"{stem}-{datetime.now(UTC):%Y-%m-%d-%H%M%S}.sqlite")
        if os.path.lexists(path):
            raise InvalidInputError(
                f"A backup never replaces a file; {shown(path)} is there. Name a new one, or a folder."
            )
        return path

    def _write_backup(self, target: Path) -> None:
        with unfinished(target) as file:
            if isinstance(self._home, File):
                home = self._home
                self._patiently(lambda: copy_file(home, file))
            else:
                with self._begun(writing=False, known=False) as connection:
                    rows_to_file(connection, file)
            keep_whole(file, target)
        remember_backup(self._place, target)

    @contextmanager
    def unrecorded(self) -> Iterator[Connection]:
        """Give a connection whose changes are kept at the end of the block without a record: to copy and to mend."""
        with self._alone(), plainly(self._place, "write to it"), self._begun(writing=True) as connection:
            yield connection
            try:
                connection.commit()
            except BaseException:
                connection.invalidate()  # SQLite leaves the transaction open where a rule is broken at its end
                raise

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Threads of this program take turns; a thread that would wait for itself is told so."""
        if self._writer == threading.get_ident():
            raise CatalogueError("One action must end before the next begins; got one inside another. End the first.")
        if not self._turn.acquire(timeout=self._wait):
            raise CatalogueError(
                f"To write to it, the catalogue must be free; another part of this program has held {self.where} for "
                "too long. Nothing was changed: let it end."
            )
        try:
            self._writer = threading.get_ident()
            yield
        finally:
            self._writer = None
            self._turn.release()

    @contextmanager
    def _begun(self, *, writing: bool, known: bool = True) -> Iterator[Connection]:
        """A connection with a transaction begun; what is not committed in the block is undone."""
        connection = self._patiently(lambda: self._connected(writing=writing))
        try:
            if known:
                self._check_version(connection)
            yield connection
        finally:
            connection.close()

    def _connected(self, *, writing: bool) -> Connection:
        connection = self._current_engine().connect()
        try:
            return self._home.begin(connection, writing=writing, wait=self._wait)
        except BaseException:
            connection.close()
            raise

    def _patiently(self, do: Callable[[], T]) -> T:
        """Do something, again and again while another program holds the catalogue; short turns can be interrupted."""
        deadline = time.monotonic() + self._wait
        while True:
            try:
                return do()
            except Exception as error:
                if not is_busy(error) or time.monotonic() > deadline:
                    raise
            time.sleep(random.uniform(0, _TURN))

    def _current_engine(self) -> Engine:
        """The engine; a new one after a fork, and when another file was put in the place of the one that was opened."""
        stamp = (os.getpid(), self._home.identity())
        if stamp[1] is None:
            raise missing(self._place)
        if self._engine is not None and stamp != self._stamp:
            self._engine.dispose(close=self._stamp[0] == os.getpid())  # after a fork they are the parent's
            self._engine = None
        if self._engine is None:
            self._engine, self._stamp, self._recognised = self._home.engine(), stamp, False
        return self._engine

    def _check_version(self, connection: Connection) -> None:
        if not self._recognised:
            recognised(connection, self._place)
            self._recognised = True
        version = connection.execute(select(func.max(versions.c.version))).scalar()
        if version != NEWEST:
            raise CatalogueError(
                f"The catalogue must be of version {NEWEST}; {self.where} is of version {version} by now: another "
                "program changed it. Nothing was changed: start again."
            )

    def _prepare(self, *, create: bool) -> None:
        with plainly(self._place, "open it", files=True):
            if isinstance(self._home, File):
                look_at_file(self._home, self._place, create=create)
            version = self._version_or_room()
            if version is None and not create:
                raise missing(self._place)
            if version is None or version < NEWEST:
                self._bring_up_to_date()
            else:
                self._write_ahead()

    def _version_or_room(self) -> int | None:
        """The version; where there is no room for the log that SQLite needs, the file is looked at without one."""
        try:
            return self._look()
        except DBAPIError as error:
            if not isinstance(self._home, File) or self._home.has_log or not is_without_room(error):
                raise
            self._home = replace(self._home, only_read=True)
            self.close()
            version = self._look()
        self.told.append("There is no room on the disk: the catalogue can only be read. Make room and open it again.")
        return version

    def _look(self) -> int | None:
        """The version that is there; a row of versions with gaps is damage, and not a newer program's."""
        with self._begun(writing=False, known=False) as connection:
            try:
                return recognised(connection, self._place)
            except CatalogueError as error:
                if not inspect(connection).has_table("versions") or versions_follow(connection):
                    raise
                raise CatalogueError(
                    f"A catalogue must have gone through versions 1, 2, 3 and so on; {self.where} has a gap there: it "
                    f"is damaged, and was left as it is. {backup_sentence(self._place)}"
                ) from error

    def _write_ahead(self) -> None:
        if isinstance(self._home, File):
            home = self._home
            self._patiently(lambda: write_ahead(self._current_engine(), home))

    def _bring_up_to_date(self) -> None:
        self._write_ahead()
        with self._begun(writing=True, known=False) as connection:
            version = recognised(connection, self._place) or 0
            if version == NEWEST:  # another program was faster
                return
            backup = self._backup_before() if version and count_rows(connection) else None
            earlier = None if version else newest_backup(self._place)
            self._home.make_room(connection)
            migrate(connection, version=version)
            connection.commit()
        if earlier is not None:
            self.told.append(f"There was no catalogue, so a new one was made; a backup of an earlier one is {earlier}.")
        if backup is not None:
            self.told.append(
                f"The catalogue was brought from version {version} to {NEWEST}; as it was, it is in {shown(backup)}."
            )

    def _backup_before(self) -> Path:
        beside = self._place.beside
        target = free_name(beside.with_name(f"{beside.stem}.before-{NEWEST}.sqlite"))
        ready_folder(target.parent)
        self._write_backup(target)
        return target
