"""Where the catalogue is, and which backups of it there are."""

from __future__ import annotations

import errno
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from contrastkit.keep.files import shown


@dataclass(frozen=True)
class Place:
    """
    Where a catalogue is.

    Parameters
    ----------
    shown : for messages: a path in quotes, or an address without its password
    beside : the path of the file; for a server, a path in the user's data folder: backups are kept beside it
    """

    shown: str
    beside: Path

    @property
    def known(self) -> Path:
        """The file that lists the backups, oldest first, one path a line."""
        return self.beside.with_name(f"{self.beside.stem}.backups.txt")


def remember_backup(place: Place, backup: Path) -> None:
    """Add a backup to the list beside the catalogue; a list that cannot be written to is let be."""
    with suppress(OSError), open(place.known, "ab") as file:
        file.write(os.fsencode(backup.absolute()) + b"\n")


def newest_backup(place: Place) -> str | None:
    """Return the newest backup that still exists, fit for a message; None where there is none."""
    found = [path for path in _candidates(place) if path.is_file()]
    return shown(max(found, key=lambda path: path.stat().st_mtime_ns)) if found else None


def free_name(wanted: Path) -> Path:
    """Return the path, with a number added where something stands there already."""
    number, free = 1, wanted
    while os.path.lexists(free):
        number += 1
        free = wanted.with_name(f"{wanted.stem}-{number}{wanted.suffix}")
    return free


@contextmanager
def unfinished(target: Path) -> Iterator[Path]:
    """Give the path of a file to be made beside the target; whatever is left of it is taken away at the end."""
    file = target.with_name(f".{target.name[:80]}.{secrets.token_hex(4)}")
    try:
        yield file
    finally:
        for ending in ("", "-journal", "-wal", "-shm"):
            with suppress(OSError):
                os.unlink(f"{file}{ending}")


def keep_whole(file: Path, target: Path) -> None:
    """Give a finished file its name, once it is safely on disk; what has that name already is never replaced."""
    with open(file, "rb") as finished:
        os.fsync(finished.fileno())
    try:
        os.link(file, target)
    except FileExistsError:
        raise
    except OSError:  # a disk that knows no links
        if os.path.lexists(target):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target)) from None
        os.rename(file, target)
    _settle(target.parent)


def _settle(folder: Path) -> None:
    """Have the names in a folder safely on disk, where the system can do that."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _candidates(place: Place) -> list[Path]:
    listed: list[Path] = []
    with suppress(OSError):
        listed = [Path(os.fsdecode(line)) for line in place.known.read_bytes().splitlines() if line.strip()]
    beside: list[Path] = []
    with suppress(OSError):
        start = f"{place.beside.stem}.before-"
        beside = [path for path in place.beside.parent.iterdir() if path.name.startswith(start)]
    return listed + [path for path in beside if path.suffix == ".sqlite"]
