"""Small catalogues for the tests: rows in, rows out, and catalogues as earlier versions made them."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import select

from contrastkit.keep import schema
from contrastkit.keep.actions import Action
from contrastkit.keep.engines import home_of
from contrastkit.keep.store import Store

NOW = "2026-11-25T10:00:00.000000+00:00"

# The smallest picture: one grey pixel, as Pillow writes it.
PICTURE = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108000000003a7e9b55"
    "0000000a49444154789c636800000082008177cd72b60000000049454e44ae426082"
)


def rows(store: Store, table: str) -> list[dict[str, object]]:
    """Return all rows of a table in the order of their keys."""
    shape = schema.METADATA.tables[table]
    with store.reading() as connection:
        query = select(shape).order_by(*shape.primary_key.columns)
        return [dict(row) for row in connection.execute(query).mappings()]


def everything(store: Store) -> dict[str, list[dict[str, object]]]:
    """Return all rows that people change."""
    return {table.name: rows(store, table.name) for table in schema.RECORDED}


def names(store: Store) -> list[object]:
    """Return the names of the pieces, in the order in which they were added."""
    return [row["name"] for row in rows(store, "swatches")]


def piece(name: str, **more: object) -> dict[str, object]:
    """Return a row of `swatches`."""
    return {"name": name, "added": NOW, **more}


def add(store: Store, *names: str) -> list[int]:
    """Return the numbers of new pieces."""
    with store.writing(f"Add {', '.join(names)}", who="me") as action:
        return action.insert("swatches", [piece(name) for name in names])


def measure(action: Action, swatch: int, lightness: float) -> int:
    """Return the number of a new measurement, which becomes the piece's newest."""
    row = {"swatch": swatch, "measured": NOW, "lightness": lightness}
    (number,) = action.insert("measurements", [row])
    action.update("swatches", swatch, {"measurement": number, "lightness": lightness})
    return int(number)


def fill(store: Store) -> None:
    """Put a row or two in every table."""
    with store.writing("Fill it", who="me") as action:
        (photo,) = action.insert(
            "photos", [{"content_hash": "ab" * 32, "path": "/p/a\udcff.jpg", "name": "a\udcff.jpg", "added": NOW}]
        )
        (project,) = action.insert("projects", [{"name": "quilt", "settings": '{"edges": [40, 70]}', "added": NOW}])
        one, two = action.insert("swatches", [piece("blue", note="=1+1\0"), piece("grün 🌿", project=project)])
        number = measure(action, one, 41.0625)
        action.insert("crops", [{"measurement": number, "png": PICTURE}])
        action.insert("measurements", [{"swatch": two, "photo": photo, "measured": NOW, "chroma": 0.1 + 0.2}])
        action.insert("tags", [{"swatch": one, "tag": "sold"}, {"swatch": one, "tag": "🌿"}])
        (stack,) = action.insert("stacks", [{"project": project, "place": 0}])
        action.insert("stack_layers", [{"stack": stack, "layer": i, "swatch": s} for i, s in enumerate((one, two))])


def make_earlier(where: str, version: int, *statements: str) -> None:
    """Make a catalogue as the program of an earlier version left it, with rows by plain statements."""
    home = home_of(where)
    if hasattr(home, "path"):
        home.path.touch()
    engine = home.engine()
    with home.begin(engine.connect(), writing=True, wait=10) as connection:
        home.make_room(connection)
        schema.migrate(connection, version=0, to=version)
        for statement in statements:
            connection.exec_driver_sql(statement)
        connection.commit()
    engine.dispose()


@contextmanager
def unprivileged() -> Iterator[None]:
    """Files are used as by somebody who may not do everything: as nobody where the tests are run by root."""
    if os.geteuid() != 0:
        yield
        return
    os.setegid(65534)
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)
        os.setegid(0)


def size_and_content(folder: Path) -> dict[str, bytes]:
    """Return what every file of a folder holds."""
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}
