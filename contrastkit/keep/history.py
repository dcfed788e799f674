"""The record of what was done, held against the rows as they are."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from sqlalchemy import Connection, case, select

from contrastkit.keep.cells import Cell
from contrastkit.keep.rows import (
    Key,
    Shape,
    cells_from_json,
    fetch,
    key_from_json,
    key_to_json,
    keys_from_json,
    shape_of,
)
from contrastkit.keep.schema import METADATA, changes


@dataclass(slots=True)
class _Last:
    """What the newest changes of a row say of it."""

    exists: bool
    cells: dict[str, Cell] = field(default_factory=dict)  # as the newest updates left them
    first: dict[str, Cell] = field(default_factory=dict)  # as they were before the oldest updates
    checksum: str | None = None  # of the row as it was inserted
    closed: bool = False  # older changes say nothing more


def differences(connection: Connection) -> Iterator[tuple[str, Key, str]]:
    """Yield table, key and a sentence for every row that is not as the last change of it left it."""
    for table, rows in _last_states(connection).items():
        shape = shape_of(table)
        there = fetch(connection, shape, list(rows))
        for key, last in rows.items():
            sentence = _difference(shape, last, there.get(key))
            if sentence:
                text = key_to_json(key)
                yield table, key_from_json(text), f"Row {text} of {table} {sentence}."


def _last_states(connection: Connection) -> dict[str, dict[tuple[Cell, ...], _Last]]:
    """What the record says of every row it knows, by table and key; read from the newest change to the oldest."""
    states: dict[str, dict[tuple[Cell, ...], _Last]] = {}
    before = case((changes.c.kind == "update", changes.c.before))  # what was deleted need not be read
    query = select(changes.c.kind, changes.c.table_name, changes.c.row_key, before, changes.c.after)
    for kind, table, key, old, new in connection.execute(
        query.order_by(changes.c.action.desc(), changes.c.place.desc())
    ):
        if table in METADATA.tables:
            rows, keys = states.setdefault(table, {}), keys_from_json(key)
            sums = [new] if len(keys) == 1 else [*(new or "").split()]  # of many new rows together
            sums += [""] * (len(keys) - len(sums))  # one that is gone fits no row
            for row, checksum in zip(keys, sums, strict=False):
                _learn(rows.setdefault(row, _Last(exists=kind != "delete")), kind, old, new, checksum)
    return states


def _learn(last: _Last, kind: str, before: str | None, after: str | None, checksum: str | None) -> None:
    if last.closed:
        return
    if kind == "update" and before is not None and after is not None:
        last.cells = {**cells_from_json(after), **last.cells}
        last.first |= cells_from_json(before)
    else:
        last.checksum = checksum if kind == "insert" else None
        last.closed = True


def _difference(shape: Shape, last: _Last, cells: tuple[Cell, ...] | None) -> str:
    if cells is None:
        return "is gone, and no action took it away" if last.exists else ""
    row = dict(zip(shape.names, cells, strict=True))
    if not last.exists:
        return "is there, though an action took it away"
    wrong = [name for name, cell in last.cells.items() if name in row and row[name] != cell]
    if wrong:
        return f"has another {wrong[0]} than the last action gave it"
    first = {**row, **last.first}
    if last.checksum is not None and shape.checksum([first[name] for name in shape.names]) != last.checksum:
        return "was changed, and no action changed it"
    return ""
