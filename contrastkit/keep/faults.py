"""What goes wrong with a catalogue, in one sentence each that names the newest backup."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError

from contrastkit.errors import CatalogueError, ContrastkitError
from contrastkit.keep.backups import Place, newest_backup

# Families of SQLite's result codes: the lowest eight bits of what it returns. What else goes wrong is sorted into them.
_BUSY, _LOCKED, _READONLY, _IOERR, _CORRUPT, _FULL, _CANTOPEN, _CONSTRAINT, _NOTADB = 5, 6, 8, 10, 11, 13, 14, 19, 26

_ERRNOS = {
    errno.ENOSPC: _FULL, errno.EDQUOT: _FULL, errno.EFBIG: _FULL,
    errno.EACCES: _READONLY, errno.EPERM: _READONLY, errno.EROFS: _READONLY,
}  # fmt: skip

# PostgreSQL's codes, or how they begin.
_STATES = {"55P03": _BUSY, "40001": _BUSY, "40P01": _BUSY, "53100": _FULL, "25006": _READONLY, "23": _CONSTRAINT}

_SENTENCES = {
    _BUSY: "the catalogue must be free; another program has held {where} for too long. Nothing was changed: close the "
    "other program or try again.",
    _READONLY: "the catalogue and its folder must be open to writing; {where} is not. Nothing was changed: ask for "
    "leave to write there, or name another place.",
    _IOERR: "the disk must work; the system cannot read or write {where}. Nothing was changed: look whether the disk "
    "is full, or was taken out.",
    _CORRUPT: "the catalogue must be whole; {where} is damaged: put it aside, with its -wal and -shm files, and "
    "restore a backup.",
    _FULL: "there must be room on the disk; it is full, and {where} was left as it was. Make room.",
    _CANTOPEN: "the system must open the catalogue; it does not open {where}. Nothing was changed: look whether it and "
    "its folder are there.",
    _CONSTRAINT: "the catalogue's rules must hold; {says}. Nothing was changed in {where}.",
    _NOTADB: "there must be a catalogue; {where} is something else, or damaged, and was left as it is. Restore a "
    "backup.",
    None: "the catalogue must answer; {where} says: {says}. What was under way is not kept: try again.",
}


def is_busy(error: BaseException) -> bool:
    """Return whether someone else holds what was asked for, so that it is worth trying again."""
    return _kind(_cause(error)) == _BUSY


def is_without_room(error: BaseException) -> bool:
    """Return whether a file could not be made or made longer, or the disk does not work at all."""
    return _kind(_cause(error)) in (_FULL, _IOERR, _CANTOPEN)


@contextmanager
def plainly(place: Place, doing: str, *, files: bool = False) -> Iterator[None]:
    """
    Turn whatever the database says into one sentence; where told so, what the file system says too.

    Raises
    ------
    CatalogueError
        For every such error inside the block.
    """
    try:
        yield
    except ContrastkitError:
        raise
    except Exception as error:
        cause = _cause(error)
        if _from_database(cause) or (files and isinstance(cause, OSError)):
            raise fault(place, doing, cause) from error
        raise


def fault(place: Place, doing: str, error: BaseException) -> CatalogueError:
    """Return the error to raise: what must hold, what was got, what to do, and which backup there is."""
    return CatalogueError(f"{_sentence(place, doing, error)} {backup_sentence(place)}")


def backup_sentence(place: Place) -> str:
    """Return which backup to fall back on."""
    backup = newest_backup(place)
    return f"The newest backup is {backup}." if backup else "No backup of it is known."


def _sentence(place: Place, doing: str, error: BaseException) -> str:
    kind = _kind(error)
    if kind is None and isinstance(error, OSError):
        return f"To {doing}, the system must allow it; of {place.shown} it says: {error.strerror}. Nothing was changed."
    return f"To {doing}, {_SENTENCES[kind].format(where=place.shown, says=_first_line(error))}"


def _cause(error: BaseException) -> BaseException:
    """What the driver raised."""
    return (error.orig or error) if isinstance(error, DBAPIError) else error


def _kind(error: BaseException) -> int | None:
    """The family of what went wrong, if it is one of those with a sentence of their own."""
    kind: int | None = getattr(error, "sqlite_errorcode", None)
    if kind is not None:
        kind = _BUSY if kind & 0xFF == _LOCKED else kind & 0xFF
    elif isinstance(error, OSError):
        kind = _ERRNOS.get(error.errno or 0)
    else:
        state = getattr(error, "sqlstate", None) or ""
        kind = _STATES.get(state, _STATES.get(state[:2]))
    return kind if kind in _SENTENCES else None


def _from_database(error: BaseException) -> bool:
    """Whether a driver says so; that of PostgreSQL is not imported for this."""
    drivers = ("sqlalchemy", "psycopg")
    return isinstance(error, sqlite3.Error) or type(error).__module__.partition(".")[0] in drivers


def _first_line(error: BaseException) -> str:
    lines = str(error).strip().splitlines() or [type(error).__name__]
    return lines[0].strip().rstrip(".")
