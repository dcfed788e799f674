"""Photographs that have no place of their own yet, such as those dropped on a page, kept beside the catalogue."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, select

from contrastkit.errors import InvalidInputError
from contrastkit.keep.adding import content_hash
from contrastkit.keep.backups import free_name, keep_whole, unfinished
from contrastkit.keep.files import StrPath, ready_folder, shown
from contrastkit.keep.schema import measurements, swatches

if TYPE_CHECKING:
    from contrastkit.keep.store import Store

_LONGEST = 60  # characters of a photograph's own name that its copy has
_PLAIN = re.compile(r"[^\w .()+-]+")


def photo_folder(store: Store) -> Path:
    """Return the folder for photographs beside a catalogue; for one on a server, in the user's data folder."""
    return store._place.beside.with_name("photos")


def keep_photo(store: Store, file: StrPath, name: str) -> Path:
    """
    Return the place of a copy of a photograph beside the catalogue, made if there was none; nothing is written over.

    Parameters
    ----------
    store : the catalogue
    file : where the photograph is now
    name : its own name, of which the copy's is made, with the beginning of the SHA-256 of its content

    Raises
    ------
    UnreadablePhotoError
        The file cannot be read.
    InvalidInputError
        The folder cannot be written to.

    >>> import tempfile
    >>> from contrastkit.keep.store import open_store
    >>> with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "pile.sqlite") as store:
    ...     file = Path(folder) / "new.jpg"
    ...     _ = file.write_bytes(b"abc")
    ...     keep_photo(store, file, "../my board.jpg").name
    'my board-ba7816bf8f01.jpg'
    """
    content = content_hash(file)
    wanted = ready_folder(photo_folder(store)) / f"{_plain_stem(name)}-{content[:12]}{_plain_suffix(name)}"
    if wanted.is_file() and content_hash(wanted) == content:
        return wanted
    place = free_name(wanted)
    try:
        with unfinished(place) as beside:
            shutil.copyfile(file, beside)
            keep_whole(beside, place)
    except OSError as error:
        raise InvalidInputError(
            f"The photograph must have a place beside the catalogue; it cannot be copied to {shown(place.parent)}: "
            f"{error.strerror or error}. Make room there, then keep again."
        ) from error
    return place


def outlines_on(connection: Connection, photo: int) -> dict[str, str]:
    """Return how each piece was outlined last on a photograph, by name, in the order in which they were measured."""
    query = (
        select(swatches.c.name, measurements.c.outline)
        .join(swatches, swatches.c.swatch == measurements.c.swatch)
        .where(measurements.c.photo == photo)
        .order_by(measurements.c.measurement)
    )
    return {name: outline or "" for name, outline in connection.execute(query)}


def _plain_stem(name: str) -> str:
    stem = Path(name.replace("\\", "/")).stem
    return _PLAIN.sub("_", stem)[:_LONGEST].strip(" .") or "photo"


def _plain_suffix(name: str) -> str:
    suffix = Path(name).suffix.lower()
    return suffix if re.fullmatch(r"\.[a-z0-9]{1,5}", suffix) else ""
