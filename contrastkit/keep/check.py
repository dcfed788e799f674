"""Whether a catalogue is whole and agrees with itself; and where it does not, how to mend it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import ColumnElement, Connection, create_engine, func, inspect, or_, select
from sqlalchemy.exc import DBAPIError

from contrastkit.columns import SWATCHES
from contrastkit.keep.history import differences
from contrastkit.keep.schema import (
    COPIED,
    COUNTED,
    METADATA,
    NEWEST,
    actions,
    changes,
    counters,
    crops,
    measurements,
    migrate,
    projects,
    swatches,
    versions,
)
from contrastkit.keep.text import LONGEST_NAME

if TYPE_CHECKING:
    from contrastkit.keep.store import Store

_MOST = 5  # findings of one kind: who has more needs a backup, not a longer list

_RESTORE = "Restore a backup, or copy the catalogue to a new place to save what can still be read."
_MENDABLE = "Let it be mended: the rest of the catalogue tells what must stand there."
_UNDO = "Undo the last actions until it is gone, or restore a backup."


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong with a catalogue, and how to mend it; `mend` does it where it is mendable."""

    what: str
    remedy: str
    mendable: bool = False

    def __str__(self) -> str:
        return f"{self.what} {self.remedy}"


def check(store: Store) -> list[Finding]:
    """
    Return what is wrong with a catalogue, worst first; nothing where it is whole and agrees with itself.

    Raises
    ------
    CatalogueError
        It cannot be read at all.
    """
    with store.reading() as connection:
        return [finding for part in _PARTS for finding in _found(part, connection)]


def _found(part: _Part, connection: Connection) -> list[Finding]:
    """What one part of the check finds; what cannot be read is a finding too."""
    found: list[Finding] = []
    try:
        for finding in part(connection):
            if len(found) == _MOST:
                return [*found, Finding("There are more of this kind.", finding.remedy, finding.mendable)]
            found.append(finding)
    except DBAPIError as error:
        if connection.dialect.name != "sqlite":
            raise
        reason = str(error.orig).strip().rstrip(".")
        return [*found, Finding(f"A part of the file cannot be read: {reason}.", _RESTORE)]
    return found


def _damage(connection: Connection) -> Iterator[Finding]:
    """Pages, indexes, strict types, rules and references; a server sees to its own."""
    if connection.dialect.name != "sqlite":
        return
    for (answer,) in connection.exec_driver_sql(f"PRAGMA integrity_check({_MOST})"):
        if answer != "ok":
            of_index = " index " in answer
            yield Finding(f"The file is damaged: {answer}.", _MENDABLE if of_index else _RESTORE, of_index)
    for table, row, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        yield Finding(f"Row {row} of {table} refers to a row of {parent} that is not there.", _RESTORE)


def versions_follow(connection: Connection) -> bool:
    """Return whether the versions that a catalogue went through follow one on the other, without a gap."""
    there = _versions_there(connection)
    return there == list(range(1, len(there) + 1))


def _versions_there(connection: Connection) -> list[int]:
    return list(connection.execute(select(versions.c.version).order_by(versions.c.version)).scalars())


def _versions(connection: Connection) -> Iterator[Finding]:
    there = _versions_there(connection)
    if there != list(range(1, NEWEST + 1)):
        listed = ", ".join(map(str, there))
        yield Finding(f"The versions it went through must be 1 to {NEWEST}; they are {listed}.", _RESTORE)


def _tables(connection: Connection) -> Iterator[Finding]:
    """Tables and columns as the newest version has them; in a file their rules and indexes too."""
    if connection.dialect.name == "sqlite":
        yield from _definitions(connection)
        return
    inspector = inspect(connection)
    tables = set(inspector.get_table_names())
    for table in METADATA.sorted_tables:
        there = {column["name"] for column in inspector.get_columns(table.name)} if table.name in tables else set()
        if there != set(table.c.keys()):
            yield Finding(f"The columns of {table.name} are not those of version {NEWEST}.", _RESTORE)


def _definitions(connection: Connection) -> Iterator[Finding]:
    query = "SELECT name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"
    there = {name: sql for name, sql in connection.exec_driver_sql(query)}
    with _fresh() as fresh:
        wanted = {name: sql for name, sql in fresh.exec_driver_sql(query)}
    for name in sorted(wanted.keys() | there.keys()):
        if wanted.get(name) != there.get(name):
            yield Finding(f"{name} is not defined as in version {NEWEST}.", _RESTORE)


@contextmanager
def _fresh() -> Iterator[Connection]:
    """A new catalogue in memory, to compare with."""
    engine = create_engine("sqlite://")
    with engine.connect() as connection:
        migrate(connection, version=0)
        yield connection
    engine.dispose()


def _copies(connection: Connection) -> Iterator[Finding]:
    """What a swatch repeats of its newest measurement."""
    joined = select(swatches.c.name).join(measurements, measurements.c.measurement == swatches.c.measurement)
    foreign = joined.where(measurements.c.swatch != swatches.c.swatch)
    for name in connection.execute(foreign).scalars():
        yield Finding(f"The newest measurement of {name!r} is another piece's.", _UNDO)
    for name in connection.execute(joined.where(copies_differ())).scalars():
        yield Finding(f"The numbers of {name!r} are not those of its newest measurement.", _MENDABLE, mendable=True)


def copies_differ() -> ColumnElement[bool]:
    """Return whether a swatch repeats its newest measurement wrongly."""
    return or_(*(swatches.c[name].is_distinct_from(measured(name)) for name in COPIED))


def measured(name: str) -> ColumnElement[Any]:
    """Return what a swatch must repeat of a measurement."""
    column = measurements.c[name]
    return func.coalesce(column, "") if name == "flags" else column


def _history(connection: Connection) -> Iterator[Finding]:
    """The record of what was done, and the rows as it says that they are."""
    gaps = (
        select(changes.c.action)
        .group_by(changes.c.action)
        .having(or_(func.min(changes.c.place) != 0, func.max(changes.c.place) != func.count() - 1))
    )
    for number in connection.execute(gaps).scalars():
        yield Finding(f"The record of action {number} lacks some of its changes.", _RESTORE)
    empty = select(actions.c.action).where(actions.c.action.not_in(select(changes.c.action)))
    for number in connection.execute(empty).scalars():
        yield Finding(f"The record of action {number} lacks all its changes.", _RESTORE)
    for _, _, sentence in differences(connection):
        yield Finding(sentence, _RESTORE)


def _counters(connection: Connection) -> Iterator[Finding]:
    last = {name: number for name, number in connection.execute(select(counters.c.table_name, counters.c.last))}
    for name, key in COUNTED.items():
        highest = connection.execute(select(func.max(METADATA.tables[name].c[key]))).scalar() or 0
        if last.get(name, -1) < highest:
            yield Finding(f"The count of {name} must have reached {highest}; it is {last.get(name)}.", _MENDABLE, True)


def _crops(connection: Connection) -> Iterator[Finding]:
    """Pictures that begin and end as a PNG does."""
    start, end = func.substr(crops.c.png, 1, 24), func.substr(crops.c.png, func.length(crops.c.png) - 11, 12)
    for number, head, tail in connection.execute(select(crops.c.measurement, start, end)):
        if not _is_png(bytes(head), bytes(tail)):
            yield Finding(f"The picture of measurement {number} is no whole PNG.", "Photograph the piece again.")


def _is_png(head: bytes, tail: bytes) -> bool:
    width, height = int.from_bytes(head[16:20]), int.from_bytes(head[20:24])
    begins = head[:8] == b"\x89PNG\r\n\x1a\n" and head[12:16] == b"IHDR"
    return begins and width > 0 and height > 0 and tail[4:8] == b"IEND"


def _numbers(connection: Connection) -> Iterator[Finding]:
    """Measured numbers within the ranges that `columns.py` gives."""
    for column in SWATCHES:
        if column.dtype != "float64":
            continue
        cell = measurements.c[column.name]
        bounds = [cell < column.low] if column.low is not None else []
        bounds += [cell > column.high] if column.high is not None else []
        for number, got in connection.execute(select(measurements.c.measurement, cell).where(or_(*bounds))):
            yield Finding(f"The {column.name} of measurement {number} cannot be {got:g}.", "Measure the piece again.")


def _texts(connection: Connection) -> Iterator[Finding]:
    """Texts that must have a form: names, times, JSON, digests."""
    for column, right, remedy in _FORMS:
        key = next(iter(column.table.primary_key.columns))
        for number, text in connection.execute(select(key, column).where(column.is_not(None))):
            if not right(text):
                yield Finding(f"The {column.name} of {column.table.name} {number} cannot be {text!r:.60}.", remedy)


def _is_name(text: str) -> bool:
    return bool(text.strip()) and len(text) <= LONGEST_NAME and text.splitlines() == [text]


def _is_time(text: str) -> bool:
    return _parses(datetime.fromisoformat, text)


def _is_json(text: str) -> bool:
    return _parses(json.loads, text)


def _is_digest(text: str) -> bool:
    return len(text) == 64 and set(text) <= set("0123456789abcdef")


def _parses(parse: Callable[[str], object], text: str) -> bool:
    try:
        parse(text)
    except ValueError:
        return False
    return True


_FORMS = (
    (swatches.c.name, _is_name, "Rename it."),
    (projects.c.name, _is_name, "Rename it."),
    (projects.c.settings, _is_json, _UNDO),
    (actions.c.at, _is_time, _RESTORE),
    (METADATA.tables["photos"].c.content_hash, _is_digest, _UNDO),
)

_Part = Callable[[Connection], Iterable[Finding]]
_PARTS: Sequence[_Part] = (_damage, _versions, _tables, _copies, _history, _counters, _crops, _numbers, _texts)
