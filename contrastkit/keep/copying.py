"""All rows from one catalogue to another, whichever database they are in, and the proof that they arrived."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, inspect

from contrastkit.errors import CatalogueError
from contrastkit.keep.rows import put
from contrastkit.keep.schema import COPY_ORDER

_AT_ONCE = 2000  # rows held in memory


def copy_rows(source: Connection, target: Connection) -> dict[str, int]:
    """
    Return how many rows of each table were copied into a catalogue of the same version that has none.

    Raises
    ------
    CatalogueError
        What arrived is not what was sent.
    """
    tables = tables_of(source)
    target.exec_driver_sql("DELETE FROM counters")
    for name, columns in tables.items():
        for some in _portions(source, name, columns):
            put(target, name, columns, some)
    sent, arrived = (digests(connection, tables) for connection in (source, target))
    wrong = [name for name in tables if sent[name] != arrived[name]]
    if wrong:
        raise CatalogueError(
            f"A copy must hold the same rows; {', '.join(wrong)} differ. The copy was not kept: let the catalogue be "
            "checked, and try again."
        )
    return {name: count for name, (count, _) in arrived.items()}


def digests(connection: Connection, tables: dict[str, list[str]]) -> dict[str, tuple[int, str]]:
    """Return, for each table, how many rows it has and a SHA-256 over all of them in the order of their keys."""
    return {name: _digest(connection, name, columns) for name, columns in tables.items()}


def tables_of(connection: Connection) -> dict[str, list[str]]:
    """Return the tables that hold a catalogue's rows, in an order in which they can be filled, with their columns."""
    inspector = inspect(connection)
    there = set(inspector.get_table_names())
    return {name: [c["name"] for c in inspector.get_columns(name)] for name in COPY_ORDER if name in there}


def count_rows(connection: Connection) -> int:
    """Return how many rows of a person's there are."""
    return sum(_count(connection, name) for name in tables_of(connection) if name != "counters")


def _count(connection: Connection, table: str) -> int:
    return int(connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar_one())


def _digest(connection: Connection, table: str, columns: list[str]) -> tuple[int, str]:
    count, digest = 0, hashlib.sha256()
    for some in _portions(connection, table, columns):
        count += len(some)
        for row in some:
            digest.update(repr(row).encode())
    return count, digest.hexdigest()


def _portions(connection: Connection, table: str, columns: list[str]) -> Iterator[list[tuple[Any, ...]]]:
    quote = connection.dialect.identifier_preparer.quote
    keys = inspect(connection).get_pk_constraint(table)["constrained_columns"]
    query = f"SELECT {', '.join(map(quote, columns))} FROM {quote(table)} ORDER BY {', '.join(map(quote, keys))}"
    result = connection.execution_options(stream_results=True).exec_driver_sql(query)
    for some in result.partitions(_AT_ONCE):
        yield [tuple(row) for row in some]
