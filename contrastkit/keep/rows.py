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
from contrastkit.keep.cells import Cell, cells_of, plain, real
from contrastkit.keep.engines import driver_of
from contrastkit.keep.schema import COUNTED, METADATA, RECORDED
from contrastkit.keep.text import unescaped

Key = Any  # an integer, or a tuple where a table has more than one key column
Row = Mapping[str, Any]
Cells = Mapping[str, Cell]
Columns = Mapping[str, Sequence[Any]]

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

    def cells(self, columns: Columns, count: int) -> list[Sequence[Cell]]:
        """Return all columns of so many rows as the database takes them; what is missing or unknown has its default."""
        if not self.known.issuperset(columns):
            raise unknown_column(self, columns)
        return [
            cells_of(columns[name], make, default) if name in columns else [default] * count
            for name, make, default in zip(self.names, self.makers, self.defaults, strict=True)
        ]

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

    def checksums(self, columns: Sequence[Sequence[Cell]]) -> list[str]:
        """Return the checksum of each of many rows that are given column by column: as `checksum`, but faster."""
        count, crc = len(columns[0]), zlib.crc32
        reals = [columns[place] for place, make in enumerate(self.makers) if make is real]
        others = [_crc_of_bytes(columns[place]) for place, make in enumerate(self.makers) if make is not real]
        numbers = np.array(reals, "<f8").reshape(len(reals), count).T  # None becomes nan
        widths = np.max(np.arange(1, len(reals) + 1) * ~np.isnan(numbers), axis=1, initial=0) * 8
        packed, width = memoryview(numbers.tobytes()), 8 * len(reals)
        starts = range(0, len(packed), width) if width else repeat(0)
        sums = (crc(packed[start : start + end]) for start, end in zip(starts, widths.tolist(), strict=False))
        rows = (row if row[-1] is not None else _but_last_empty(row) for row in zip(*others, strict=True))
        return [f"{crc(ascii([*row]).encode(), first):08x}" for row, first in zip(rows, sums, strict=True)]

    @cached_property
    def _reals(self) -> Callable[[Sequence[Cell]], tuple[Cell, ...]]:
        return _picker([place for place, make in enumerate(self.makers) if make is real])

    @cached_property
    def _others(self) -> Callable[[Sequence[Cell]], tuple[Cell, ...]]:
        return _picker([place for place, make in enumerate(self.makers) if make is not real])

    def keys_of(self, columns: Columns) -> list[Key]:
        """Return the keys of rows that are given column by column."""
        parts = [columns[name] for name in self.keys]
        return list(parts[0]) if len(parts) == 1 else list(zip(*parts, strict=True))

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


def _crc_of_bytes(cells: Sequence[Cell]) -> Sequence[Cell]:
    return [zlib.crc32(c) if isinstance(c, bytes) else c for c in cells] if bytes in map(type, cells) else cells


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


def fetch(
    connection: Connection, shape: Shape, keys: Sequence[tuple[Cell, ...]]
) -> dict[tuple[Cell, ...], tuple[Cell, ...]]:
    """Return the rows of these keys that exist, whole, by key; their cells in the order of the columns."""
    quote = connection.dialect.identifier_preparer.quote
    columns, wanted = (", ".join(map(quote, names)) for names in (shape.names, shape.keys))
    marks = f"({', '.join([mark(connection)] * len(shape.keys))})"
    places = [shape.names.index(name) for name in shape.keys]
    found: dict[tuple[Cell, ...], tuple[Cell, ...]] = {}
    query = f"SELECT {columns} FROM {quote(shape.table.name)} WHERE ({wanted}) IN "
    for some in in_portions(keys, _AT_ONCE):
        values = f"(VALUES {', '.join([marks] * len(some))})"
        rows = connection.exec_driver_sql(query + values, tuple(cell for key in some for cell in key))
        found.update((tuple([row[place] for place in places]), tuple(row)) for row in rows)
    return found


def put(connection: Connection, table: str, names: Sequence[str], cells: Sequence[tuple[Cell, ...]]) -> None:
    """Write new rows, each a tuple of cells in the order of the names."""
    _put(connection, table, names, cells, len(cells))


def put_columns(connection: Connection, table: str, names: Sequence[str], columns: Sequence[Sequence[Cell]]) -> None:
    """Write new rows that are given column by column, in the order of the names."""
    _put(connection, table, names, zip(*columns, strict=True), len(columns[0]))


def _put(
    connection: Connection, table: str, names: Sequence[str], cells: Iterable[tuple[Cell, ...]], count: int
) -> None:
    quote = connection.dialect.identifier_preparer.quote
    columns, driver = ", ".join(quote(name) for name in names), driver_of(connection)
    statement = f"INSERT INTO {quote(table)} ({columns}) VALUES ({', '.join([mark(connection)] * len(names))})"
    if count < _COPY_FROM:
        connection.exec_driver_sql(statement, list(cells))
    elif connection.dialect.name == "sqlite":
        driver.executemany(statement, cells)  # SQLAlchemy would look at every row once more
    else:
        with driver.cursor() as cursor, cursor.copy(f"COPY {quote(table)} ({columns}) FROM STDIN") as copy:
            for row in cells:
                copy.write_row(row)


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


def columns_to_json(columns: Mapping[str, Sequence[Cell]]) -> str:
    """Return the cells of many rows, column by column, as JSON; bytes become base64."""
    return _JSON.encode({
        name: [_to_json(cell) for cell in cells] if bytes in map(type, cells) else cells
        for name, cells in columns.items()
    })  # fmt: skip


def columns_from_json(text: str) -> dict[str, list[Cell]]:
    """Return the cells that `columns_to_json` was given or, of one row, `to_json`."""
    columns = {name: cells if isinstance(cells, list) else [cells] for name, cells in json.loads(text).items()}
    return {name: [_bytes_too(cell) for cell in cells] if dict in map(type, cells) else cells
            for name, cells in columns.items()}  # fmt: skip


def key_to_json(cells: Iterable[Cell]) -> str:
    """Return the parts of a key as a JSON array."""
    parts = list(cells)
    return f"[{parts[0]}]" if type(parts[0]) is int and len(parts) == 1 else _JSON.encode(parts)


def cells_from_json(text: str) -> Cells:
    """Return the cells that `to_json` was given."""
    return {name: _bytes_too(value) for name, value in json.loads(text).items()}


def key_from_json(text: str) -> Key:
    """Return a key as rows have it."""
    parts = [_from_json(part) for part in json.loads(text)]
    return parts[0] if len(parts) == 1 else tuple(parts)


def keys_to_json(keys: Sequence[tuple[Cell, ...]]) -> str:
    """
    Return the keys of many rows as a JSON array of arrays.

    >>> keys_to_json([(1,), (2, "red")])
    '[[1], [2, "red"]]'
    """
    return _JSON.encode(keys)


def keys_from_json(text: str) -> list[tuple[Cell, ...]]:
    """
    Return the keys, as cells, of which a record speaks: one, or many.

    >>> keys_from_json("[7]"), keys_from_json('[[1], [2, "red"]]')
    ([(7,)], [(1,), (2, 'red')])
    """
    parts = json.loads(text)
    return [tuple(key) for key in parts] if isinstance(parts[0], list) else [tuple(parts)]


def _bytes_too(value: Any) -> Cell:
    return base64.b64decode(value["base64"]) if isinstance(value, dict) else value


def _to_json(cell: Cell) -> Any:
    return {"base64": base64.b64encode(cell).decode()} if isinstance(cell, bytes) else cell


def _from_json(value: Any) -> Any:
    if isinstance(value, str):
        return unescaped(value)
    return base64.b64decode(value["base64"]) if isinstance(value, dict) else value
