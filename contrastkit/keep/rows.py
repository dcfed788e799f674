"""
Rows between Python and the database: plain values in, the same out, and as JSON into the record of what was changed.

A row is a mapping from column names to values. Its key is the value of the table's key column, or a tuple of them.
"""

from __future__ import annotations

import base64
import json
import struct
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from itertools import repeat
from operator import itemgetter
from typing import Any, TypeVar

import numpy as np
from sqlalchemy import Connection, Table

from contrastkit.errors import InvalidInputError
from contrastkit.keep.cells import Cell, blob, cells_of, plain, real
from contrastkit.keep.schema import COUNTED, METADATA, RECORDED
from contrastkit.keep.text import unescaped

Key = Any  # an integer, or a tuple where a table has more than one key column
Row = Mapping[str, Any]
Cells = Mapping[str, Cell]

T = TypeVar("T")
_JSON = json.JSONEncoder(ensure_ascii=False)  # `json.dumps` would make one for every key

_NAN = float("nan")
_AT_ONCE = 1000  # rows a query asks for: well below what either database allows
_COPY_FROM = 200  # rows from which a database's own bulk way is worth its start


@dataclass(frozen=True)
class Shape:
    """What is needed to write rows of a table fast: its columns, which of them are the key, how values become cells."""

    table: Table
    names: tuple[str, ...]
    keys: tuple[str, ...]
    makers: tuple[Callable[[Any], Cell], ...]
    defaults: tuple[Cell, ...]
    known: frozenset[str]

    @property
    def counted(self) -> bool:
        """Whether the key is a number that the catalogue gives out."""
        return COUNTED.get(self.table.name) == self.keys[0]

    def cells(self, rows: Sequence[Row]) -> list[tuple[Cell, ...]]:
        """Return rows as the database takes them, whole: what is missing or unknown has its default."""
        for row in rows:
            if not self.known.issuperset(row):
                raise unknown_column(self, row)
        return self.cells_of_columns({name: [row.get(name) for row in rows] for name in self.names}, len(rows))

    def cells_of_columns(self, columns: Mapping[str, list[Any]], count: int) -> list[tuple[Cell, ...]]:
        """Return so many rows, given column by column, as the database takes them: as `cells`, but faster."""
        if not self.known.issuperset(columns):
            raise unknown_column(self, columns)
        made = (
            cells_of(columns[name], make, default) if name in columns else [default] * count
            for name, make, default in zip(self.names, self.makers, self.defaults, strict=True)
        )
        return list(zip(*made, strict=True))

    def some_cells(self, row: Row) -> Cells:
        """Return the columns that a row has as the database takes them; what is unknown has its default."""
        if not self.known.issuperset(row):
            raise unknown_column(self, row)
        return {name: cells_of([value], *self._ways[name])[0] for name, value in row.items()}

    @cached_property
    def _ways(self) -> dict[str, tuple[Callable[[Any], Cell], Cell]]:
        return {n: (m, d) for n, m, d in zip(self.names, self.makers, self.defaults, strict=True)}

    def checksum(self, row: Sequence[Cell]) -> str:
        """
        Return a CRC-32 of a whole row, by which a later change of it without a record is found.

        Empty cells at the end do not count, so that a migration may add columns there.
        """
        reals = [_NAN if cell is None else cell for cell in _but_last_empty(self._reals(row))]
        others = [zlib.crc32(c) if type(c) is bytes else c for c in _but_last_empty(self._others(row))]
        # Not `repr`: which letters it shows as they are depends on Python's version.
        return f"{zlib.crc32(ascii(others).encode(), zlib.crc32(struct.pack(f'<{len(reals)}d', *reals))):08x}"

    def checksums(self, rows: Sequence[Sequence[Cell]]) -> list[str]:
        """Return the checksum of each of many rows: as `checksum`, but faster."""
        if not rows:
            return []
        places = [place for place, make in enumerate(self.makers) if make is real]
        columns = list(zip(*rows, strict=True))
        numbers = np.array([columns[place] for place in places], "<f8").reshape(len(places), len(rows)).T  # None is nan
        ends = np.max(np.arange(1, len(places) + 1) * ~np.isnan(numbers), axis=1, initial=0) * 8
        packed, width = memoryview(np.ascontiguousarray(numbers).tobytes()), 8 * len(places)
        crc, some = zlib.crc32, any(make is blob for make in self.makers)
        sums = []
        for start, row, end in zip(range(0, len(packed), width) if width else repeat(0), map(self._others, rows),
                                   ends.tolist(), strict=False):  # fmt: skip
            others = row if row[-1] is not None else _but_last_empty(row)
            listed = [crc(cell) if type(cell) is bytes else cell for cell in others] if some else list(others)
            sums.append(f"{crc(ascii(listed).encode(), crc(packed[start : start + end])):08x}")
        return sums

    @cached_property
    def _reals(self) -> Callable[[Sequence[Cell]], tuple[Cell, ...]]:
        return _picker([place for place, make in enumerate(self.makers) if make is real])

    @cached_property
    def _others(self) -> Callable[[Sequence[Cell]], tuple[Cell, ...]]:
        return _picker([place for place, make in enumerate(self.makers) if make is not real])

    def key(self, row: Row) -> Key:
        """Return the key of a row."""
        return row[self.keys[0]] if len(self.keys) == 1 else tuple(row[name] for name in self.keys)

    def key_cells(self, key: Key) -> tuple[Cell, ...]:
        """Return a key as the database takes it."""
        parts = (key,) if len(self.keys) == 1 else tuple(key)
        if len(parts) != len(self.keys):
            raise InvalidInputError(f"A key of {self.table.name} must have {len(self.keys)} parts; got {key!r}.")
        return tuple(plain(self.table.c[name])(part) for name, part in zip(self.keys, parts, strict=True))


def _picker(places: Sequence[int]) -> Callable[[Sequence[Cell]], tuple[Cell, ...]]:
    """What takes the cells at these places out of a row."""
    if len(places) > 1:
        return itemgetter(*places)
    return lambda row: tuple(row[place] for place in places)


def _but_last_empty(cells: tuple[Cell, ...]) -> tuple[Cell, ...]:
    end = len(cells)
    while end and cells[end - 1] is None:
        end -= 1
    return cells[:end]


@cache
def shape_of(name: str) -> Shape:
    """
    Return the shape of a table by its name.

    Raises
    ------
    InvalidInputError
        The catalogue has no such table.
    """
    if name not in METADATA.tables:
        raise InvalidInputError(f"Rows belong in one of {', '.join(t.name for t in RECORDED)}; got {name!r}.")
    table = METADATA.tables[name]
    return Shape(
        table=table,
        names=tuple(column.name for column in table.c),
        keys=tuple(column.name for column in table.primary_key),
        makers=tuple(plain(column) for column in table.c),
        defaults=tuple(getattr(column.default, "arg", None) for column in table.c),
        known=frozenset(column.name for column in table.c),
    )


def unknown_column(shape: Shape, row: Row) -> InvalidInputError:
    """Return the error for a row with columns that its table lacks."""
    unknown = sorted(set(row) - set(shape.names))[0]
    return InvalidInputError(
        f"A row of {shape.table.name} must have columns from {', '.join(shape.names)}; got {unknown!r}."
    )


# --- reading and writing many rows ---


def fetch(connection: Connection, shape: Shape, keys: Sequence[tuple[Cell, ...]]) -> dict[tuple[Cell, ...], Cells]:
    """Return the rows of these keys that exist, whole, by key."""
    quote = connection.dialect.identifier_preparer.quote
    columns, wanted = (", ".join(map(quote, names)) for names in (shape.names, shape.keys))
    marks = f"({', '.join([mark(connection)] * len(shape.keys))})"
    places = [shape.names.index(name) for name in shape.keys]
    found: dict[tuple[Cell, ...], Cells] = {}
    query = f"SELECT {columns} FROM {quote(shape.table.name)} WHERE ({wanted}) IN "
    for some in in_portions(keys, _AT_ONCE):
        values = f"(VALUES {', '.join([marks] * len(some))})"
        rows = connection.exec_driver_sql(query + values, tuple(cell for key in some for cell in key))
        found.update((tuple(row[place] for place in places), dict(zip(shape.names, row, strict=True))) for row in rows)
    return found


def put(connection: Connection, table: str, names: Sequence[str], cells: Sequence[tuple[Cell, ...]]) -> None:
    """Write new rows, each a tuple of cells in the order of the names."""
    quote = connection.dialect.identifier_preparer.quote
    columns = ", ".join(quote(name) for name in names)
    if connection.dialect.name == "postgresql" and len(cells) >= _COPY_FROM:
        driver: Any = connection.connection.driver_connection
        with driver.cursor() as cursor, cursor.copy(f"COPY {quote(table)} ({columns}) FROM STDIN") as copy:
            for row in cells:
                copy.write_row(row)
        return
    statement = f"INSERT INTO {quote(table)} ({columns}) VALUES ({', '.join([mark(connection)] * len(names))})"
    if len(cells) >= _COPY_FROM:  # SQLAlchemy would look at every row once more
        raw: Any = connection.connection.driver_connection
        raw.executemany(statement, cells)
    else:
        connection.exec_driver_sql(statement, list(cells))


def set_cells(
    connection: Connection, shape: Shape, names: Sequence[str], cells: Sequence[tuple[Cell, ...]]
) -> None:
    """Write into rows that exist: each tuple holds the new cells in the order of the names, then the key."""
    if not cells:
        return
    quote, sign = connection.dialect.identifier_preparer.quote, mark(connection)
    new = ", ".join(f"{quote(name)} = {sign}" for name in names)
    where = " AND ".join(f"{quote(name)} = {sign}" for name in shape.keys)
    connection.exec_driver_sql(f"UPDATE {quote(shape.table.name)} SET {new} WHERE {where}", list(cells))


def remove(connection: Connection, shape: Shape, keys: Sequence[tuple[Cell, ...]]) -> None:
    """Take rows away."""
    quote, sign = connection.dialect.identifier_preparer.quote, mark(connection)
    where = " AND ".join(f"{quote(name)} = {sign}" for name in shape.keys)
    connection.exec_driver_sql(f"DELETE FROM {quote(shape.table.name)} WHERE {where}", list(keys))


def mark(connection: Connection) -> str:
    """Return what stands for a value in a statement of this database."""
    return "?" if connection.dialect.name == "sqlite" else "%s"


def in_portions(things: Sequence[T], size: int) -> Iterator[Sequence[T]]:
    """Yield consecutive parts of a sequence."""
    return (things[start : start + size] for start in range(0, len(things), size))


# --- rows as JSON ---


def to_json(cells: Cells) -> str:
    """Return named cells as JSON; bytes become base64."""
    return json.dumps({name: _to_json(cell) for name, cell in cells.items()}, ensure_ascii=False)


def from_json(text: str) -> dict[str, Any]:
    """Return the values that became the cells that `to_json` was given."""
    return {name: _from_json(value) for name, value in json.loads(text).items()}


def key_to_json(cells: Iterable[Cell]) -> str:
    """Return the parts of a key as a JSON array."""
    parts = list(cells)
    return f"[{parts[0]}]" if type(parts[0]) is int and len(parts) == 1 else _JSON.encode(parts)


def keys_to_json(keys: Sequence[str]) -> str:
    """
    Return many keys, each a JSON array already, as one text.

    >>> keys_to_json(["[1]", '[2, "red"]'])
    '[[1],[2, "red"]]'
    """
    return f"[{','.join(keys)}]"


def key_texts(text: str) -> list[str]:
    """
    Return the keys, each a JSON array, of which a record speaks: one, or many.

    >>> key_texts("[7]"), key_texts('[[1],[2, "red"]]')
    (['[7]'], ['[1]', '[2, "red"]'])
    """
    return [_JSON.encode(key) for key in json.loads(text)] if text.startswith("[[") else [text]


def cells_from_json(text: str) -> Cells:
    """Return the cells that `to_json` was given."""
    return {name: base64.b64decode(v["base64"]) if isinstance(v, dict) else v for name, v in json.loads(text).items()}


def key_from_json(text: str) -> Key:
    """Return a key as rows have it."""
    parts = [_from_json(part) for part in json.loads(text)]
    return parts[0] if len(parts) == 1 else tuple(parts)


def _to_json(cell: Cell) -> Any:
    return {"base64": base64.b64encode(cell).decode()} if isinstance(cell, bytes) else cell


def _from_json(value: Any) -> Any:
    if isinstance(value, str):
        return unescaped(value)
    return base64.b64decode(value["base64"]) if isinstance(value, dict) else value
