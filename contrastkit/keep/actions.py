"""
What people did, one action at a time: every row it changed is kept as it was, so that it can be undone.

An action is one transaction and one row of `actions`. Its changes say, in the order in which they happened, which rows
were inserted, updated (the changed columns before and after) or deleted (all they held). An inserted row stands in its
table until a later change tells what became of it, so instead of a copy an insert keeps a checksum.

A change is of one row: its key is a JSON array, its cells are an object. Where many rows are inserted or deleted
together, so are their changes: the keys are an array of arrays, the checksums stand one after the other, and the cells
are an object of columns.
"""

from __future__ import annotations

import getpass
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import groupby
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Exists, FromClause, RowMapping, Select, exists, func, select, update

from contrastkit.errors import CatalogueError, InvalidInputError
from contrastkit.keep.cells import Cell
from contrastkit.keep.rows import (
    Cells,
    Columns,
    Key,
    Row,
    Shape,
    columns_from_json,
    columns_to_json,
    fetch,
    from_json,
    key_from_json,
    key_to_json,
    keys_from_json,
    keys_to_json,
    put,
    put_columns,
    remove,
    set_cells,
    shape_of,
    to_json,
)
from contrastkit.keep.schema import RECORDED, actions, changes, counters, utc_now

if TYPE_CHECKING:
    from contrastkit.keep.store import Store

_RECORDED = frozenset(table.name for table in RECORDED)
_APPEND_ONLY = frozenset({"measurements", "crops"})
_MANY, _TOGETHER = 50, 500  # rows from which they are recorded together, and how many together
_LONG = 1_000_000  # characters from which on it is fewer

_Entry = tuple[str, str, str, str | None, str | None]


def login_name() -> str:
    """Return the name of whoever is logged in, or "unknown" where the system does not tell."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "unknown"


@dataclass
class Action:
    """
    One action under way: rows are changed through it, and every change is recorded.

    Parameters
    ----------
    connection : for reading what the action needs to know, inside its transaction
    what : a sentence, e.g. "Add 12 pieces from morning.jpg"
    who : the name of whoever does it
    undoes : the number of the action it undoes
    """

    connection: Connection
    what: str
    who: str
    undoes: int | None = None
    number: int | None = field(default=None, init=False)
    _place: int = field(default=0, init=False)
    _said: str | None = field(default=None, init=False)
    _halfway: bool = field(default=False, init=False)

    def insert(self, table: str, rows: Iterable[Row]) -> list[Key]:
        """
        Return the keys of new rows, in their order.

        Parameters
        ----------
        table : the name of a table, e.g. "swatches"
        rows : a mapping each; a missing number (the key of most tables) is given out, other missing columns get their
            default, or stay empty

        Raises
        ------
        InvalidInputError
            An unknown table or column, or a value of the wrong kind.
        """
        rows = list(rows)
        names = dict.fromkeys(name for row in rows for name in row)
        columns: Columns = {name: [row.get(name) for row in rows] for name in names}
        shape = _recorded(table)
        if not rows:
            return []
        columns = self._numbered(shape, columns, len(rows))
        self._put_new(shape, shape.cells(columns, len(rows)))
        return shape.keys_of(columns)

    def insert_columns(self, table: str, columns: Columns) -> None:
        """
        Add new rows that are given column by column, all equally long: as `insert`, but faster.

        Raises
        ------
        InvalidInputError
            An unknown table or column, a value of the wrong kind, or columns without the whole key.
        """
        shape = _recorded(table)
        if not set(shape.keys) <= set(columns):
            raise InvalidInputError(f"New rows of {table} must have their key, {', '.join(shape.keys)}. Add it.")
        self._put_new(shape, shape.cells(columns, len(columns[shape.keys[0]])))

    def update(self, table: str, key: Key, values: Row) -> None:
        """
        Change columns of one row.

        Raises
        ------
        CatalogueError
            There is no such row.
        InvalidInputError
            An unknown table or column, a value of the wrong kind, or a table whose rows never change.
        """
        self.update_all(table, {key: values})

    def update_all(self, table: str, values: Mapping[Key, Row]) -> None:
        """Change columns of many rows, each by its key, as `update` does with one."""
        shape = _recorded(table)
        if table in _APPEND_ONLY:
            raise InvalidInputError(f"Rows of {table} are added and never changed. Add a new one.")
        self._change(shape, values)

    def delete(self, table: str, key: Key) -> None:
        """
        Take one row away; the record of changes keeps it whole.

        Raises
        ------
        CatalogueError
            There is no such row.
        InvalidInputError
            An unknown table.
        """
        self.delete_all(table, [key])

    def delete_all(self, table: str, keys: Iterable[Key]) -> None:
        """Take many rows away, as `delete` does with one."""
        shape = _recorded(table)
        self._take_away(shape, [shape.key_cells(key) for key in keys])

    def reserve(self, table: str, count: int) -> range:
        """Return numbers for new rows of a table: no row ever had them, or will get them by itself."""
        if count < 1:
            return range(0)
        last = self.connection.execute(
            update(counters)
            .where(counters.c.table_name == table)
            .values(last=counters.c.last + count)
            .returning(counters.c.last)
        ).scalar_one()
        return range(last - count + 1, last + 1)

    def finish(self) -> None:
        """
        Write what was said last; called once, before the transaction ends.

        Raises
        ------
        CatalogueError
            A change failed half-way.
        """
        if self._halfway:
            raise CatalogueError(f"To be kept, an action must be whole; a change of {self.what!r} failed. Try again.")
        if self.number is not None and self._said != self.what:
            self.connection.execute(update(actions).where(actions.c.action == self.number).values(what=self.what))

    def _put_new(self, shape: Shape, cells: Sequence[Sequence[Cell]]) -> None:
        if not cells[0]:
            return
        keys = [cells[shape.names.index(name)] for name in shape.keys]
        with self._whole():
            put_columns(self.connection, shape.table.name, shape.names, cells)
            self._record([_inserted(shape, [column[part] for column in cells]) for part in _portions(keys)])

    def _take_away(self, shape: Shape, keys: Sequence[tuple[Cell, ...]]) -> None:
        if not keys:
            return
        there = self._existing(shape, keys)
        cells = list(zip(*there.values(), strict=True))
        with self._whole():
            remove(self.connection, shape, list(there))
            self._record([_deleted(shape, [column[part] for column in cells]) for part in _portions(cells)])

    def _take_back(self, table: str, entries: Sequence[RowMapping]) -> None:
        self._take_away(shape_of(table), [key for entry in entries for key in keys_from_json(entry["row_key"])])

    def _put_back(self, table: str, entries: Sequence[RowMapping]) -> None:
        """All at once that have the same columns; before a migration they had fewer."""
        shape = shape_of(table)
        for names, some in groupby((columns_from_json(entry["before"]) for entry in entries), key=list):
            parts = list(some)
            columns = {name: [cell for part in parts for cell in part[name]] for name in names}
            default = dict(zip(shape.names, shape.defaults, strict=True))
            count = len(columns[shape.keys[0]])
            self._put_new(shape, [columns.get(name, [default[name]] * count) for name in shape.names])
            if shape.counted:
                self._count_to(table, max(int(n) for n in columns[shape.keys[0]] if isinstance(n, int)))

    def _set_back(self, table: str, entries: Sequence[RowMapping]) -> None:
        """One by one where a row was changed more than once, else all at once."""
        for some in _each_key_once(entries):
            keys = [key_from_json(entry["row_key"]) for entry in some]
            before = {key: from_json(entry["before"]) for key, entry in zip(keys, some, strict=True)}
            after = {key: from_json(entry["after"]) for key, entry in zip(keys, some, strict=True)}
            self._change(shape_of(table), before, expected=after)

    def _numbered(self, shape: Shape, columns: Columns, count: int) -> Columns:
        """The columns, rows without a number given one; numbers brought along are never given out again."""
        if not shape.counted:
            return columns
        given = columns.get(shape.keys[0], [None] * count)
        lacking = sum(number is None for number in given)
        new = iter(self.reserve(shape.table.name, lacking))
        numbers = [next(new) if number is None else number for number in given]
        if lacking < count:
            self._count_to(shape.table.name, max(map(int, numbers)))
        return {**columns, shape.keys[0]: numbers}

    def _count_to(self, table: str, number: int) -> None:
        self.connection.execute(
            update(counters)
            .where(counters.c.table_name == table, counters.c.last < number)
            .values(last=number)
        )

    def _existing(self, shape: Shape, keys: Sequence[tuple[Cell, ...]]) -> dict[tuple[Cell, ...], tuple[Cell, ...]]:
        rows = fetch(self.connection, shape, keys)
        missing = next((key for key in keys if key not in rows), None)
        if missing is not None:
            raise CatalogueError(
                f"A row to change must be there; {shape.table.name} has none with the key {key_to_json(missing)}. "
                "Nothing was changed: look again at what is there."
            )
        return rows

    def _change(self, shape: Shape, values: Mapping[Key, Row], *, expected: Mapping[Key, Row] | None = None) -> None:
        """Write the columns that become different, and record them; where told so, only if they are as expected."""
        wanted = {shape.key_cells(key): shape.some_cells(row) for key, row in values.items()}
        there = self._existing(shape, list(wanted))
        rows = {key: dict(zip(shape.names, row, strict=True)) for key, row in there.items()}
        for key, row in (expected or {}).items():
            _check_unchanged(shape, key, rows[shape.key_cells(key)], shape.some_cells(row))
        new = [(key, _different(shape, rows[key], cells)) for key, cells in wanted.items()]
        new = [(key, cells) for key, cells in new if cells]
        with self._whole():
            for names, group in groupby(new, key=lambda change: list(change[1])):
                set_cells(self.connection, shape, names, [(*cells.values(), *key) for key, cells in group])
            self._record([_updated(shape, key, rows[key], cells) for key, cells in new])

    @contextmanager
    def _whole(self) -> Iterator[None]:
        """Rows and their record are written together; where that fails half-way, the action cannot be kept."""
        self._halfway = True
        yield
        self._halfway = False

    def _record(self, entries: Sequence[_Entry]) -> None:
        if not entries:
            return
        number = self._begun()
        first = self._place
        self._place += len(entries)
        names = ("action", "place", "kind", "table_name", "row_key", "before", "after")
        put(self.connection, "changes", names, [(number, first + i, *entry) for i, entry in enumerate(entries)])

    def _begun(self) -> int:
        """The number of this action, whose row is written with its first change."""
        if self.number is None:
            self.number = self.reserve("actions", 1)[0]
            self._said = self.what
            row = {"action": self.number, "at": utc_now(), "who": self.who, "what": self.what, "undoes": self.undoes}
            self.connection.execute(actions.insert(), row)
        return self.number


def _recorded(table: str) -> Shape:
    if table not in _RECORDED:
        raise InvalidInputError(f"What is recorded must be in one of {', '.join(sorted(_RECORDED))}; got {table!r}.")
    return shape_of(table)


def _different(shape: Shape, old: Cells, new: Cells) -> Cells:
    """The cells that become different."""
    if not new.keys().isdisjoint(shape.keys):
        raise InvalidInputError(f"The key of a row never changes; got a new one for {shape.table.name}. Add a new row.")
    return {name: cell for name, cell in new.items() if cell != old[name]}


def _inserted(shape: Shape, cells: Sequence[Sequence[Cell]]) -> _Entry:
    return "insert", shape.table.name, _keys(shape, cells), None, " ".join(shape.checksums(cells))


def _deleted(shape: Shape, cells: Sequence[Sequence[Cell]]) -> _Entry:
    columns = dict(zip(shape.names, cells, strict=True))
    one = len(cells[0]) == 1
    whole = to_json({name: cell for name, (cell,) in columns.items()}) if one else columns_to_json(columns)
    return "delete", shape.table.name, _keys(shape, cells), whole, None


def _keys(shape: Shape, cells: Sequence[Sequence[Cell]]) -> str:
    keys = list(zip(*(cells[shape.names.index(name)] for name in shape.keys), strict=True))
    return key_to_json(keys[0]) if len(keys) == 1 else keys_to_json(keys)


def _portions(columns: Sequence[Sequence[Cell]]) -> Iterator[slice]:
    """Where the rows begin and end that one change holds: one row where there are few, else hundreds of short ones."""
    start, end = 0, len(columns[0])
    together = _TOGETHER if end >= _MANY else 1
    while start < end:
        stop = min(start + together, end)
        while stop > start + 1 and sum(_length(column[start:stop]) for column in columns) > _LONG:
            stop = (start + stop) // 2
        yield slice(start, stop)
        start = stop


def _length(cells: Sequence[Cell]) -> int:
    return sum(len(cell) for cell in cells if isinstance(cell, (str, bytes)))


def _updated(shape: Shape, key: tuple[Cell, ...], old: Cells, new: Cells) -> _Entry:
    before = {name: old[name] for name in new}
    return "update", shape.table.name, key_to_json(key), to_json(before), to_json(new)


def _check_unchanged(shape: Shape, key: Key, row: Cells, expected: Cells) -> None:
    if any(row[name] != cell for name, cell in expected.items()):
        raise CatalogueError(
            f"To be undone, a row must be as the action left it; {shape.table.name} {key!r} is not. Nothing was "
            "changed: let the catalogue be checked."
        )


def _each_key_once(entries: Sequence[RowMapping]) -> Iterator[list[RowMapping]]:
    """Consecutive entries, parted wherever a key comes again."""
    some: list[RowMapping] = []
    seen: set[str] = set()
    for entry in entries:
        if entry["row_key"] in seen:
            yield some
            some, seen = [], set()
        some.append(entry)
        seen.add(entry["row_key"])
    yield some


_Find = Callable[[Connection], RowMapping | None]


def undo(store: Store, *, count: int = 1, who: str | None = None) -> list[str]:
    """
    Return the sentences of the last actions, newest first, after undoing them.

    Each undoing is an action of its own: `redo` undoes it.

    Parameters
    ----------
    count : how many actions; fewer are undone where there are no more
    who : who undoes; by default the login name

    Raises
    ------
    CatalogueError
        A row is no longer as the action left it; what was undone before that stays undone.
    """
    return _go_back(store, count, who, _last_done, "Undo")


def redo(store: Store, *, count: int = 1, who: str | None = None) -> list[str]:
    """Return the sentences of the actions undone last, after doing them again; none once something else was done."""
    return _go_back(store, count, who, _last_undone, "Redo")


def last_actions(connection: Connection, *, limit: int = 20, offset: int = 0) -> list[RowMapping]:
    """Return the last actions, newest first: number, when, who, what, and which action it undoes."""
    query = select(actions).order_by(actions.c.action.desc()).limit(limit).offset(offset)
    return list(connection.execute(query).mappings())


def _go_back(store: Store, count: int, who: str | None, find: _Find, word: str) -> list[str]:
    if count < 1:
        raise InvalidInputError(f"At least one action must be asked for; got {count}. Say how many.")
    done: list[str] = []
    while len(done) < count:
        with store.writing(word, who) as action:
            target = find(action.connection)
            if target is None:
                break
            sentence = _meant(action.connection, target)
            action.what, action.undoes = f"{word}: {sentence}", target["action"]
            _reverse(action, target["action"])
        done.append(sentence)
    return done


def _last_done(connection: Connection) -> RowMapping | None:
    """The newest action that is not an undoing and not undone."""
    query = select(actions).where(actions.c.undoes.is_(None), ~_undone(actions))
    return _newest(connection, query)


def _last_undone(connection: Connection) -> RowMapping | None:
    """The newest undoing that is not undone itself, unless something new was done since."""
    target = actions.alias("target")
    redone = actions.alias("redone")
    query = (
        select(actions)
        .join(target, (target.c.action == actions.c.undoes) & target.c.undoes.is_(None))
        .where(~exists().where(redone.c.undoes == actions.c.action))
    )
    undoing = _newest(connection, query)
    last = connection.execute(select(func.max(actions.c.action)).where(actions.c.undoes.is_(None))).scalar()
    return None if undoing is None or last > undoing["action"] else undoing


def _undone(done: FromClause) -> Exists:
    """Whether an action is undone by one that was not undone in turn."""
    undoing, redoing = actions.alias("undoing"), actions.alias("redoing")
    standing = ~exists().where(redoing.c.undoes == undoing.c.action)
    return exists().where(undoing.c.undoes == done.c.action, standing)


def _newest(connection: Connection, query: Select[Any]) -> RowMapping | None:
    return connection.execute(query.order_by(actions.c.action.desc()).limit(1)).mappings().first()


def _meant(connection: Connection, action: RowMapping) -> str:
    """The sentence of an action; of an undoing, that of what it undid."""
    if action["undoes"] is None:
        return str(action["what"])
    return str(connection.execute(select(actions.c.what).where(actions.c.action == action["undoes"])).scalar_one())


def _reverse(action: Action, number: int) -> None:
    """Undo the changes of an earlier action, the last first."""
    query = select(changes).where(changes.c.action == number).order_by(changes.c.place.desc())
    entries = action.connection.execute(query).mappings().all()
    for (kind, table), group in groupby(entries, key=lambda entry: (entry["kind"], entry["table_name"])):
        reverse = {"insert": action._take_back, "update": action._set_back, "delete": action._put_back}[kind]
        reverse(table, list(group))
