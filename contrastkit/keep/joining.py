"""Two pieces of the catalogue that are one and the same are made one."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select

from contrastkit.errors import InvalidInputError
from contrastkit.keep.actions import Action
from contrastkit.keep.adding import DETAIL_TEXTS, renew_copies
from contrastkit.keep.finding import among, notes, tags_of
from contrastkit.keep.naming import pieces
from contrastkit.keep.schema import crops, measurements, stack_layers
from contrastkit.keep.text import checked_note

Row = dict[str, Any]


def join(action: Action, name: str, known: str) -> None:
    """Give all that belongs to one piece to another; see `Catalogue.same`."""
    first, second = pieces(action.connection, [name, known]) if name != known else (None, None)
    if first is None or second is None:
        raise InvalidInputError(f"Two names are needed to make two pieces one; got {name!r} twice. Name the other.")
    _check_loose(action, first)
    _move_measurements(action, first["swatch"], second["swatch"])
    _move_tags(action, first["swatch"], second["swatch"])
    new = _filled(action, first, second)
    action.delete("swatches", first["swatch"])
    renew_copies(action, [second["swatch"]])
    action.update("swatches", second["swatch"], new)


def _check_loose(action: Action, row: Row) -> None:
    stacked = select(stack_layers.c.stack).where(stack_layers.c.swatch == row["swatch"]).limit(1)
    in_stack = action.connection.execute(stacked).first() is not None
    if row["state"] in ("used", "set aside") or in_stack:
        raise InvalidInputError(
            f"A piece that goes into another must be at hand; {row['name']!r} is "
            f"{'in a stack' if in_stack else row['state']}. Name the two the other way round, or release it first."
        )


def _move_measurements(action: Action, old: int, new: int) -> None:
    """Measurements are never changed: those of one piece are taken away and come back as those of the other."""
    rows = _rows(action, measurements, measurements.c.swatch, [old])
    numbers = [row["measurement"] for row in rows]
    pictures = _rows(action, crops, crops.c.measurement, numbers)
    action.update("swatches", old, {"measurement": None})
    action.delete_all("crops", [row["measurement"] for row in pictures])
    action.delete_all("measurements", numbers)
    action.insert("measurements", [row | {"swatch": new} for row in rows])
    action.insert("crops", pictures)


def _rows(action: Action, table: Any, column: Any, keys: list[int]) -> list[Row]:
    query = select(table).where(among(action.connection, column, keys))
    return [dict(row) for row in action.connection.execute(query).mappings()]


def _move_tags(action: Action, old: int, new: int) -> None:
    own = tags_of(action.connection, [old, new])
    action.delete_all("tags", [(old, tag) for tag in sorted(own[old])])
    action.insert("tags", [{"swatch": new, "tag": tag} for tag in sorted(own[old] - own[new])])


def _filled(action: Action, first: Row, second: Row) -> Row:
    """What is known of the first piece and not of the second, and both notes."""
    new: Row = {name: first[name] for name in (*DETAIL_TEXTS, "side", "extra") if first[name] and not second[name]}
    both = notes(action.connection, [first["swatch"], second["swatch"]])
    lines = [both[row["swatch"]] for row in (second, first) if both[row["swatch"]]]
    if len(lines) == 2 or not both[second["swatch"]]:
        new["note"] = checked_note("\n".join(lines))
    return new | ({"state": "at hand"} if second["state"] == "lost" else {})
