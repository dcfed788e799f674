"""
A TOML file read part by part: each with its place in words, and the keys that may stand in it.

Plans and class packs are such files. What cannot be right is refused in a sentence that says where it stands.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from contrastkit.errors import InvalidInputError
from contrastkit.lengths import parse_length

_MOST_BYTES = 1_000_000


@dataclass(frozen=True)
class TomlKind:
    """
    A kind of file.

    Attributes
    ----------
    what : it, as the first words of an error: "A plan"
    top : the name of its outermost table, as in `keys`: "the plan"
    keys : which keys may stand in each of its tables, by the table's heading
    """

    what: str
    top: str
    keys: Mapping[str, Sequence[str]]


def read_toml(path: Path, kind: TomlKind) -> Part:
    """
    Return the outermost table of a TOML file, its keys checked.

    Raises
    ------
    InvalidInputError
        The file cannot be read, is no TOML, or has a key that is not known.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "list.toml"
    ...     _ = file.write_text("counts = 3")
    ...     read_toml(file, TomlKind("A list", "the list", {"the list": ("count",)}))
    Traceback (most recent call last):
    contrastkit.errors.InvalidInputError: 'list.toml': every key must be a known one; got 'counts', and the nearest ...
    """
    return part_of(_entries(path, kind.what), kind, place=shown_name(path.name))


def toml_of_text(text: str, kind: TomlKind) -> Part:
    """
    Return the outermost table of a TOML file's text, its keys checked.

    Raises
    ------
    InvalidInputError
        As for `read_toml`, with no file to be named.

    >>> toml_of_text("count = 3", TomlKind("A list", "the list", {"the list": ("count",)})).whole("count", 9, default=1)
    3
    """
    try:
        entries = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        why = "it is nested too deep" if isinstance(error, RecursionError) else str(error).rstrip(".")
        raise InvalidInputError(f"{kind.what} must be TOML; this cannot be read: {why}. Correct it there.") from error
    return part_of(entries, kind)


def part_of(entries: Mapping[str, Any], kind: TomlKind, *, place: str = "") -> Part:
    """
    Return plain values, as TOML has them, as the outermost table of such a file, its keys checked.

    Parameters
    ----------
    entries : tables as dictionaries, lists, texts and numbers
    kind : which file
    place : what an error begins with; nothing, if not given

    Raises
    ------
    InvalidInputError
        A key is not known.

    >>> part_of({"count": 3}, TomlKind("A list", "the list", {"the list": ("count",)})).entries
    {'count': 3}
    """
    part = Part(dict(entries), place, kind.top, kind)
    part.check_keys()
    return part


def shown_name(name: str) -> str:
    """Return a name fit for a message: in quotes, halves of letters replaced."""
    return repr(name.encode("utf-8", "replace").decode())


def brief(value: Any) -> str:
    """
    Return a value fit for a message, cut short if it is long.

    >>> brief("a" * 100)[-5:]
    'aa...'
    """
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def near_words(got: str, known: Sequence[str]) -> str:
    """
    Return which known word is nearest to one that is not known, or all of them, for the end of a message.

    >>> near_words("balanse", ["balance", "rim"]), near_words("x", ["balance", "rim"])
    ("and the nearest is 'balance'. Correct it", 'and there are balance, rim. Use these')
    """
    near = difflib.get_close_matches(got.lower(), known, 1)
    return f"and the nearest is {near[0]!r}. Correct it" if near else f"and there are {', '.join(known)}. Use these"


def _entries(file: Path, what: str) -> dict[str, Any]:
    try:
        if file.is_dir():
            raise InvalidInputError(
                f"{what} must be a file; {shown_name(str(file))} is a folder. Name the file in it."
            )
        if file.stat().st_size > _MOST_BYTES:
            raise InvalidInputError(
                f"{what} must be a TOML file of at most a megabyte; {shown_name(str(file))} has more. "
                "Is it a photograph?"
            )
        return tomllib.loads(file.read_bytes().decode("utf-8-sig"))
    except InvalidInputError:
        raise
    except FileNotFoundError as error:
        raise InvalidInputError(f"There is no file {shown_name(str(file))}. Check the name and the folder.") from error
    except RecursionError as error:
        raise _unreadable(what, file, "it is nested too deep") from error
    except UnicodeDecodeError as error:
        raise _unreadable(what, file, "it is not UTF-8 text") from error
    except OSError as error:
        raise _unreadable(what, file, error.strerror or "it cannot be opened") from error
    except ValueError as error:  # tomllib's own, which names the line; and a name that no file can have
        raise _unreadable(what, file, str(error)) from error


def _unreadable(what: str, file: Path, why: str) -> InvalidInputError:
    return InvalidInputError(
        f"{what} must be a TOML file; {shown_name(str(file))} cannot be read: {why.rstrip('.')}. Correct it there."
    )


@dataclass(frozen=True)
class Part:
    """One table of the file: what it says, its place in words, its heading, and of what kind of file it is."""

    entries: dict[str, Any]
    place: str
    name: str
    kind: TomlKind

    def error(self, text: str) -> InvalidInputError:
        return InvalidInputError(f"{self.place}: {text}" if self.place else f"{text[:1].upper()}{text[1:]}")

    def within(self, part: str) -> str:
        """The place of a part of this one."""
        return f"{self.place}, {part}" if self.place else part[:1].upper() + part[1:]

    def check_keys(self) -> None:
        known = self.kind.keys[self.name]
        for key in self.entries:
            if key not in known:
                raise self.error(_unknown_key(key, known, self.kind))

    def part(self, key: str) -> Part:
        """The table of this name; empty where it is not there."""
        entries = self.entries.get(key, {})
        heading = self._heading(key)
        if not isinstance(entries, dict):
            raise self.error(
                f"{key} must be a table; got {brief(entries)}. Write its keys under a heading [{heading}]."
            )
        part = Part(entries, self.within(key), heading, self.kind)
        part.check_keys()
        return part

    def parts(self, key: str, noun: str) -> Iterator[Part]:
        """The tables of this name, each under a heading in double brackets."""
        listed = self.entries.get(key, [])
        heading = self._heading(key)
        if not isinstance(listed, list) or not all(isinstance(entries, dict) for entries in listed):
            raise self.error(
                f"{key} must be tables; got {brief(listed)}. Write the keys of each under a heading [[{heading}]]."
            )
        for number, entries in enumerate(listed, start=1):
            name = entries.get("name")
            called = f"{noun} {shown_name(name)}" if isinstance(name, str) and name else f"{noun} {number}"
            part = Part(entries, self.within(called), heading, self.kind)
            part.check_keys()
            yield part

    def empty(self, words: str, key: str) -> Part:
        """A table of this name that says nothing; `words` are its place."""
        return Part({}, self.within(words), self._heading(key), self.kind)

    def _heading(self, key: str) -> str:
        return key if self.name == self.kind.top else f"{self.name}.{key}"

    def length(self, key: str, unit: str, *, default: int | None = None, zero: bool = True) -> Fraction:
        if key not in self.entries and default is not None:
            return Fraction(default)
        if key not in self.entries:
            raise self.error(f"{key} must be there, as a length such as 3.5 or \"3 1/2 in\"; it is missing. Add it.")
        return self._length(self.entries[key], key, unit, zero)

    def lengths(self, key: str, unit: str) -> tuple[Fraction, ...]:
        listed = self.entries.get(key)
        if not isinstance(listed, list) or not listed:
            got = "it is missing" if key not in self.entries else f"got {brief(listed)}"
            raise self.error(f'{key} must be a list of lengths, such as ["3 1/2", "2 1/2"]; {got}. Write one.')
        return tuple(
            self._length(each, f"{key}, entry {place},", unit, False) for place, each in enumerate(listed, start=1)
        )

    def _length(self, value: Any, name: str, unit: str, zero: bool) -> Fraction:
        try:
            return parse_length(value, unit=unit, zero=zero, name=name)
        except InvalidInputError as error:
            raise self.error(str(error)) from error

    def text(self, key: str, default: str) -> str:
        value = self.entries.get(key, default)
        if not isinstance(value, str):
            raise self.error(f"{key} must be text; got {brief(value)}. Put it in quotes.")
        return " ".join(value.split())

    def choice(self, key: str, allowed: Sequence[str], *, default: str | None = None) -> str:
        value = self.entries.get(key, default)
        if value not in allowed:
            got = "it is missing" if key not in self.entries else f"got {brief(value)}"
            raise self.error(f"{key} must be {' or '.join(map(repr, allowed))}; {got}. Write one of these.")
        return str(value)

    def whole(self, key: str, most: int, *, default: int) -> int:
        value = self.entries.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= most:
            raise self.error(f"{key} must be a whole number from 1 to {most}; got {brief(value)}. Correct it.")
        return value

    def number(self, key: str, low: float, high: float) -> float | None:
        value = self.entries.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise self.error(f"{key} must be a number from {low:g} to {high:g}; got {brief(value)}. Correct it.")
        return float(value)

    def yes(self, key: str) -> bool:
        value = self.entries.get(key, False)
        if not isinstance(value, bool):
            raise self.error(f"{key} must be true or false; got {brief(value)}. Write one of these, without quotes.")
        return value


def _unknown_key(key: str, known: Sequence[str], kind: TomlKind) -> str:
    got = f"every key must be a known one; got {brief(key)}"
    near = difflib.get_close_matches(key.lower(), known, 1)
    if near:
        return f"{got}, and the nearest is {near[0]!r}. Correct it."
    homes = [name for name, keys in kind.keys.items() if key in keys]
    if homes:
        return f"{got}, which belongs in {' or '.join(homes)}. Move it there."
    return f"{got}, and what can stand here is {', '.join(known)}. Take it out, or use one of these."
