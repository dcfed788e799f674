"""
What each photograph of a folder is to be measured against, noted once in a file beside them: references.toml.

    # the photograph's name in quotes = what --reference would be told
    "board-2.jpg" = "scale=95.5,81,66,50.5,35.5,20.5"

    # and where it lies: row, column of one corner, row, column of the opposite one, in full-resolution pixels
    "board-3.jpg" = { reference = "card=49.5", reference_at = [2100, 300, 2600, 800] }

    # for all others in the folder
    every-photo = "chart"

It counts where the reference is `auto`: whoever names another one means it.
"""

from __future__ import annotations

import math
import os
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from contrastkit.camera.reference import ReferenceChoice, parse_reference
from contrastkit.errors import InvalidInputError

FILE_NAME = "references.toml"
EVERY = "every-photo"

_KEYS = {"reference", "reference_at"}
_MOST_BYTES = 1_000_000
_EXAMPLE = '"board-2.jpg" = "scale=95.5,81,66,50.5,35.5,20.5"'


@dataclass(frozen=True)
class Noted:
    """What a photograph is to be measured against, and the corners of a box that holds it, if they are given."""

    choice: ReferenceChoice
    at: tuple[float, float, float, float] | None = None


def noted_reference(photo: str | os.PathLike[str]) -> Noted | None:
    """
    Return what the references.toml beside a photograph says of it, or None where it says nothing.

    Raises
    ------
    InvalidInputError
        The file cannot be read, or what it says of this photograph cannot be right.

    >>> noted_reference("nowhere.jpg") is None
    True
    """
    path = Path(photo)
    entries = _entries(path.parent)
    name = _same(path.name, entries)
    return None if name is None else _noted(entries[name], name, _file(path.parent))


def unmatched(photos: Iterable[str | os.PathLike[str]]) -> list[str]:
    """Return a sentence for each photograph that a references.toml beside these names although it is not there."""
    sentences = []
    for folder in dict.fromkeys(Path(photo).parent for photo in photos):
        try:
            entries = _entries(folder)
            there = {name.casefold() for name in os.listdir(folder)} if entries else set()
        except (InvalidInputError, OSError):  # each of its photographs will say so
            continue
        sentences += [
            f"{_file(folder)} names {name!r}, which is not in its folder. Correct the name, or leave the entry out."
            for name in entries if name != EVERY and name.casefold() not in there
        ]
    return sentences


def _file(folder: Path) -> str:
    return repr(os.fsencode(folder / FILE_NAME).decode("utf-8", "replace"))


def _same(name: str, entries: dict[str, Any]) -> str | None:
    """The entry for a photograph: by its name, in capitals or not, else the one for every photograph."""
    alike = [entry for entry in entries if entry == name] or [e for e in entries if e.casefold() == name.casefold()]
    return alike[0] if alike else EVERY if EVERY in entries else None


def _entries(folder: Path) -> dict[str, Any]:
    path = folder / FILE_NAME
    if not os.path.lexists(path):
        return {}
    try:
        if os.path.getsize(path) > _MOST_BYTES:
            raise ValueError("more than a megabyte")
        return dict(_whole_names(tomllib.loads(path.read_bytes().decode("utf-8-sig"))))
    except RecursionError as error:
        raise _unreadable(folder, "nested too deep") from error
    except UnicodeDecodeError as error:
        raise _unreadable(folder, "not UTF-8 text") from error
    except OSError as error:
        raise _unreadable(folder, error.strerror or "it cannot be opened") from error
    except ValueError as error:  # tomllib's own, too
        raise _unreadable(folder, str(error)) from error


def _whole_names(entries: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Entries by the photograph's name; TOML takes the point in a name without quotes for a step down."""
    for name, entry in entries.items():
        if isinstance(entry, dict) and not set(entry) & _KEYS:
            yield from ((f"{name}.{ending}", inner) for ending, inner in _whole_names(entry))
        else:
            yield name, entry


def _unreadable(folder: Path, why: str) -> InvalidInputError:
    return InvalidInputError(
        f"{_file(folder)} must have a line for each photograph, its name and its reference in quotes, such as "
        f"{_EXAMPLE}; it cannot be read: {why}. Correct it or take it away."
    )


def _noted(entry: Any, name: str, file: str) -> Noted:
    try:
        if isinstance(entry, str):
            return Noted(parse_reference(entry))
        if isinstance(entry, dict) and "reference" in entry and set(entry) <= _KEYS:
            return Noted(parse_reference(_text(entry["reference"])), _box(entry.get("reference_at")))
    except InvalidInputError as error:
        raise InvalidInputError(f"{file}, the entry {name!r}: {error}") from error
    raise InvalidInputError(
        f"{file}, the entry {name!r}: it must be a reference in quotes, such as {_EXAMPLE}; got {entry!r}. "
        "Put both the name and the reference in quotes."
    )


def _text(reference: Any) -> str:
    if not isinstance(reference, str):
        raise InvalidInputError(f'A reference must be text, such as "card=49.5"; got {reference!r}. Put it in quotes.')
    return reference


def _box(corners: Any) -> tuple[float, float, float, float] | None:
    if corners is None:
        return None
    fits = isinstance(corners, list) and len(corners) == 4 and all(_is_number(number) for number in corners)
    if not fits:
        raise InvalidInputError(
            "reference_at must be four numbers, the row and column of two opposite corners, such as "
            f"[2100, 300, 2600, 800]; got {corners!r}. Read them off the photograph."
        )
    top, left, bottom, right = (float(number) for number in corners)
    return top, left, bottom, right


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
