"""Pieces and projects by their names: found, or the nearest named; and the words that are kept of them, checked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from difflib import SequenceMatcher, get_close_matches
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, func, literal, select

from contrastkit.errors import InvalidInputError
from contrastkit.keep.finding import among
from contrastkit.keep.schema import SURFACES, SafeText, measurements, projects, swatches
from contrastkit.keep.text import LONGEST_NAME, checked_name, escaped

LONGEST_TEXT = 500
"""Characters of a ground, paints, plate, sheet or place: more than fits on a label."""
LONGEST_TAG = 100

Row = Mapping[str, Any]

_NAMED = 4  # so many pieces are named in a sentence
_LOOKED_AT = 20_000  # names that are looked through for the nearest


def pieces(connection: Connection, names: str | Iterable[str]) -> list[dict[str, Any]]:
    """
    Return the rows of pieces by their names, in their order, each once, without their notes.

    Raises
    ------
    InvalidInputError
        A piece is not there, or none is named.
    """
    wanted = as_names(names)
    columns = [column for column in swatches.c if column.name != "note"]
    query = select(*columns).where(among(connection, swatches.c.name, wanted))
    found = {row["name"]: dict(row) for row in connection.execute(query).mappings()}
    missing = next((name for name in wanted if name not in found), None)
    if missing is not None:
        nearest = _nearest(connection, missing, swatches.c.name)
        raise InvalidInputError(f"There is no piece {missing[:80]!r}; {nearest}.")
    return [found[name] for name in wanted]


def project_named(connection: Connection, name: str) -> dict[str, Any]:
    """
    Return the row of a project by its name.

    Raises
    ------
    InvalidInputError
        It is not there.
    """
    row = connection.execute(select(projects).where(projects.c.name == name)).mappings().first()
    if row is None:
        nearest = _nearest(connection, name, projects.c.name)
        raise InvalidInputError(f"There is no project {str(name)[:80]!r}; {nearest}.")
    return dict(row)


def close_project(connection: Connection, name: str) -> str | None:
    """Return the name of another project that one may have been meant for."""
    others = [other for other in connection.execute(select(projects.c.name)).scalars() if other != name]
    close = get_close_matches(name.casefold(), [other.casefold() for other in others], n=1, cutoff=0.85)
    return next((other for other in others if close and other.casefold() == close[0]), None)


def as_names(names: str | Iterable[str]) -> list[str]:
    """
    Return names as a list, each once.

    Raises
    ------
    InvalidInputError
        There is none, or one is no text.

    >>> as_names("a"), as_names(["b", "a", "b"])
    (['a'], ['b', 'a'])
    """
    wanted = [names] if isinstance(names, str) else list(dict.fromkeys(names))
    wrong = next((name for name in wanted if not isinstance(name, str)), None)
    if wrong is not None or not wanted:
        got = "none" if wrong is None else repr(wrong)[:80]
        raise InvalidInputError(f"Pieces must be named by their names; got {got}. Name one or more.")
    return wanted


def listed(names: Sequence[str]) -> str:
    """
    Return pieces in words: how many, and the names of the first.

    >>> listed(["a"]), listed(["a", "b", "c", "d", "e", "f"])
    ('a', '6 pieces: a, b, c, d and 2 more')
    """
    if len(names) == 1:
        return names[0]
    shown, more = names[:_NAMED], len(names) - _NAMED
    return f"{len(names)} pieces: {', '.join(shown)}{f' and {more} more' if more > 0 else ''}"


def checked_text(text: str, what: str) -> str:
    """
    Return a word or two about a piece: one line, not too long; spaces at its ends are left out.

    Raises
    ------
    InvalidInputError
        It is no text, too long, or more than one line.

    >>> checked_text(" red ", "The ground")
    'red'
    """
    if not isinstance(text, str):
        raise InvalidInputError(f"{what} must be a text; got {text!r:.80}. Put it in words.")
    text = text.strip()
    if len(text) > LONGEST_TEXT or len(text.splitlines()) > 1:
        got = f"{len(text):,} characters" if len(text) > LONGEST_TEXT else repr(text[:60])
        raise InvalidInputError(
            f"{what} must be one line of at most {LONGEST_TEXT} characters; got {got}. Put the rest in a note."
        )
    return text


def checked_tag(tag: str) -> str:
    """
    Return a tag: a word or a few, without the `;` that stands between tags.

    Raises
    ------
    InvalidInputError
        It is empty, too long, more than one line, or holds a `;`.

    >>> checked_tag("mother of pearl")
    'mother of pearl'
    """
    tag = checked_name(tag, what="A tag").strip() if isinstance(tag, str) else checked_text(tag, "A tag")
    if ";" in tag or len(tag) > LONGEST_TAG:
        got = repr(tag[:60]) if ";" in tag else f"{len(tag)} characters"
        raise InvalidInputError(
            f"A tag must have at most {LONGEST_TAG} characters and no ';'; got {got}. Make two tags of it, or a note."
        )
    return tag


def unknown_tag(tag: str, known: Sequence[str]) -> InvalidInputError:
    """Return the error for a tag that none of the pieces has."""
    close = get_close_matches(tag, sorted(set(known)), n=1, cutoff=0.5)
    nearest = f"the nearest is {close[0]!r}" if close else f"they have {', '.join(sorted(set(known))[:8]) or 'none'}"
    return InvalidInputError(f"A tag to take away must be there; none of these pieces has {tag[:60]!r}: {nearest}.")


def checked_surface(surface: str) -> str:
    """
    Return whether paint was wet or cured when it was measured.

    Raises
    ------
    InvalidInputError
        It is another word.

    >>> checked_surface("wet")
    'wet'
    """
    if surface not in SURFACES:
        close = get_close_matches(str(surface).casefold(), SURFACES, n=1, cutoff=0.5)
        nearest = f"; the nearest is {close[0]!r}" if close else ""
        raise InvalidInputError(f"Paint is {', '.join(SURFACES[:-1])} or {SURFACES[-1]}; got {surface!r:.60}{nearest}.")
    return surface


def newest_measurements(connection: Connection, keys: Sequence[int]) -> dict[int, int]:
    """Return the newest measurement of each piece: the last by date and, of equals, the last that was added."""
    query = (
        select(measurements.c.swatch, measurements.c.measurement)
        .where(among(connection, measurements.c.swatch, list(keys)))
        .order_by(measurements.c.measured, measurements.c.measurement)
    )
    return {swatch: measurement for swatch, measurement in connection.execute(query)}


def _nearest(connection: Connection, name: str, column: Column[str]) -> str:
    """The nearest name there is, in words."""
    name = name[:LONGEST_NAME]
    found = _capitals(connection, name, column) or _beginning_alike(connection, name, column)
    found = found or _within(connection, name, column)
    return f"the nearest is {found!r}" if found else "there is none of a name like it"


def _capitals(connection: Connection, name: str, column: Column[str]) -> str | None:
    """A name that differs in small and capital letters only."""
    return connection.execute(select(column).where(func.lower(column) == _lower(name)).limit(1)).scalar()


def _beginning_alike(connection: Connection, name: str, column: Column[str]) -> str | None:
    """The name most like it; slips are rarely at the start, so names that begin alike are looked through first."""
    for share, cutoff in ((0.8, 0.8), (0.5, 0.8), (0.0, 0.5)):
        start = escaped(name[: int(len(name) * share)])
        query = select(column).where(func.substr(column, 1, len(start)) == start) if start else select(column)
        others = connection.execute(query.limit(_LOOKED_AT)).scalars().all()
        others = [other for other in others if abs(len(other) - len(name)) <= 0.5 * len(name) + 2]
        close = get_close_matches(name, others, n=20, cutoff=cutoff)
        if close:
            return max(close, key=lambda other: _likeness(name, other))
    return None


def _likeness(name: str, other: str) -> tuple[float, int]:
    """How alike two names are and, of equals, how many letters stand at the same place."""
    return SequenceMatcher(None, other, name).ratio(), sum(a == b for a, b in zip(name, other, strict=False))


def _within(connection: Connection, name: str, column: Column[str]) -> str | None:
    """The shortest name that holds this one."""
    if not name:
        return None
    small = func.lower(column)
    holds = func.replace(small, _lower(name), "") != small
    return connection.execute(select(column).where(holds).order_by(func.length(column), column).limit(1)).scalar()


def _lower(name: str) -> ColumnElement[str]:
    return func.lower(literal(name, SafeText()))
