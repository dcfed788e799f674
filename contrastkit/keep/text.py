"""
Text kept as it is: whatever a person or a file system can write goes in and comes out the same.

UTF-8 cannot hold half a surrogate pair (Python's stand-in for a file name that is not UTF-8), and PostgreSQL cannot
hold NUL. Such characters are stored as U+001A, which Unicode calls SUBSTITUTE, and four hexadecimal digits.
"""

from __future__ import annotations

import re

from contrastkit.errors import InvalidInputError

LONGEST_NAME = 200  # characters: design choice, more than fits on a label
LONGEST_NOTE = 20_000_000  # characters: design choice, twenty novels

_SUBSTITUTE = "\x1a"
_HALF = re.compile("[\ud800-\udfff]")
_STORED_HALF = re.compile("\x1a(d[89abcdef][0-9a-f]{2})")


def escaped(text: str) -> str:
    r"""
    Return text as it is stored: UTF-8 and PostgreSQL can hold every character of it.

    >>> escaped("Grün 🌿"), escaped("a\0b")
    ('Grün 🌿', 'a\x1a0000b')
    """
    text = text.replace(_SUBSTITUTE, "\x1a001a").replace("\x00", "\x1a0000")
    try:
        text.encode()
    except UnicodeEncodeError:
        return _HALF.sub(lambda found: f"{_SUBSTITUTE}{ord(found[0]):04x}", text)
    return text


def unescaped(text: str) -> str:
    r"""
    Return stored text as it was before `escaped`.

    >>> unescaped(escaped("a\0b\x1a")) == "a\0b\x1a"
    True
    """
    if _SUBSTITUTE not in text:
        return text
    text = _STORED_HALF.sub(lambda found: chr(int(found[1], 16)), text.replace("\x1a0000", "\x00"))
    return text.replace("\x1a001a", _SUBSTITUTE)


def checked_name(name: str, *, what: str = "A piece") -> str:
    r"""
    Return a name, once it can be one.

    Parameters
    ----------
    name : 1 to 200 characters on one line, not all of them spaces
    what : what is to be named, as the first words of an error

    Raises
    ------
    InvalidInputError
        It is empty, too long, or more than one line.

    >>> checked_name("blue\n1")
    Traceback (most recent call last):
    contrastkit.errors.InvalidInputError: A piece must be named on one line; got 'blue\n1'. Leave out the line break.
    """
    if not name.strip():
        raise InvalidInputError(f"{what} must have a name; got {name[:40]!r}. Give it one.")
    if len(name) > LONGEST_NAME:
        raise InvalidInputError(
            f"{what} must have a name of at most {LONGEST_NAME} characters; got {len(name)} that begin with "
            f"{name[:40]!r}. Shorten it, and put the rest in its note."
        )
    if name.splitlines() != [name]:
        raise InvalidInputError(f"{what} must be named on one line; got {name[:40]!r}. Leave out the line break.")
    return name


def checked_note(note: str, *, what: str = "A note") -> str:
    """
    Return a text of any number of lines, once it is not too long to be kept.

    Raises
    ------
    InvalidInputError
        It has more than 20 million characters.

    >>> checked_note("cut from the blue sheet")
    'cut from the blue sheet'
    """
    if len(note) > LONGEST_NOTE:
        raise InvalidInputError(
            f"{what} must have at most {LONGEST_NOTE:,} characters; got {len(note):,}. Keep it as a file of its own, "
            "and note where that is."
        )
    return note
