"""Files written whole or not at all, and never over a photograph."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path

from contrastkit.errors import InvalidInputError

StrPath = str | os.PathLike[str]


def write_whole(path: StrPath, data: bytes) -> Path:
    """
    Write a file whole or not at all, and return where: what stood there stays until the new one is complete.

    Raises
    ------
    InvalidInputError
        The system does not let it be written.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_whole(Path(folder) / "a.txt", b"all of it").read_text()
    'all of it'
    """
    target = Path(os.path.realpath(path))  # a link stays a link
    beside = target.with_name(f".{target.name[:80]}.{secrets.token_hex(4)}")
    try:
        with open(beside, "xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, target)
    except OSError as error:
        with suppress(OSError):
            beside.unlink()
        raise _cannot_write(path, error) from error
    return Path(path)


def ready_folder(folder: StrPath) -> Path:
    """
    Return the folder, made if it was not there, once a file could be written in it.

    Raises
    ------
    InvalidInputError
        It is a file, or the system does not let it be made or written in.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     ready_folder(Path(folder) / "new").is_dir()
    True
    """
    path = Path(folder)
    if os.path.exists(path) and not os.path.isdir(path):
        raise InvalidInputError(f"The folder to write to must be a folder; {shown(path)} is a file. Name another one.")
    trial = path / f".{secrets.token_hex(8)}"
    try:
        path.mkdir(parents=True, exist_ok=True)
        trial.touch(exist_ok=False)
        trial.unlink()
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from error
    return path


def table_place(path: StrPath, *, never: Iterable[StrPath] = ()) -> Path:
    """
    Return the path of a table to be written, once it is sure that nothing is lost and something can be written.

    Parameters
    ----------
    path : a name that ends in .csv; its folder is made if it is not there
    never : files not to be written over, such as the photographs that are measured

    Raises
    ------
    InvalidInputError
        Another ending, a folder of that name, one of the files in `never`, or a folder that cannot be written to.

    >>> table_place("photo.jpg")
    Traceback (most recent call last):
    contrastkit.errors.InvalidInputError: A table is written to a file that ends in .csv; got 'photo.jpg'. ...
    """
    return file_place(path, (".csv",), what="A table", never=never)


def file_place(path: StrPath, endings: Sequence[str], *, what: str, never: Iterable[StrPath] = ()) -> Path:
    """
    Return the path of a file to be written, once it is sure that nothing is lost and something can be written.

    Parameters
    ----------
    path : a name with one of the endings; its folder is made if it is not there
    endings : e.g. (".csv",)
    what : what is to be written, as the first words of an error: "A table"
    never : files not to be written over

    Raises
    ------
    InvalidInputError
        As for `table_place`.

    >>> file_place("stacks.doc", (".pdf", ".png"), what="A picture")
    Traceback (most recent call last):
    contrastkit.errors.InvalidInputError: A picture is written to a file that ends in .pdf or .png; got ...
    """
    place = Path(path)
    if place.suffix.lower() not in endings:
        raise InvalidInputError(
            f"{what} is written to a file that ends in {' or '.join(endings)}; got {shown(place)}. Rename it."
        )
    if os.path.isdir(place):
        raise InvalidInputError(f"{what} must be written to a file; {shown(place)} is a folder. Name a file in it.")
    refuse_to_replace([place], never)
    ready_folder(place.parent)
    return place


def refuse_to_replace(targets: Iterable[StrPath], never: Iterable[StrPath]) -> None:
    """
    Let nothing be written over files that must stay.

    Raises
    ------
    InvalidInputError
        One of the targets is, or links to, one of the files in `never`.

    >>> refuse_to_replace(["swatches.csv"], ["photo.jpg"])
    """
    kept = {os.path.realpath(path) for path in never}
    for target in targets:
        if os.path.realpath(target) in kept:
            raise InvalidInputError(
                f"What is measured must not be written over; {shown(target)} is one of the files given. "
                "Name another place to write to."
            )


def shown(path: StrPath) -> str:
    """Return a path fit for a message: in quotes, on one line, nothing hidden in it."""
    return repr(os.fsencode(path).decode("utf-8", "replace"))


def _cannot_write(path: StrPath, error: Exception) -> InvalidInputError:
    why = (error.strerror or "no reason given") if isinstance(error, OSError) else str(error)
    return InvalidInputError(
        f"{shown(path)} must be open to writing; the system says: {why}. Name another place, or make room there."
    )
