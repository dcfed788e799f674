"""Whole catalogues moved, restored and mended."""

from __future__ import annotations

import os
import shutil
from contextlib import suppress
from pathlib import Path

from sqlalchemy import Connection, func, select, update

from contrastkit.errors import CatalogueError
from contrastkit.keep.actions import Action
from contrastkit.keep.backups import Place, free_name, unfinished
from contrastkit.keep.cells import Cell
from contrastkit.keep.check import copies_differ, measured
from contrastkit.keep.copying import copy_rows, count_rows
from contrastkit.keep.engines import VARIABLE, File, home_of
from contrastkit.keep.faults import plainly
from contrastkit.keep.files import StrPath
from contrastkit.keep.history import differences
from contrastkit.keep.opening import copy_file, look_at_file, recognised
from contrastkit.keep.rows import Row, Shape, set_cells, shape_of
from contrastkit.keep.schema import COPIED, COUNTED, METADATA, counters, measurements, swatches
from contrastkit.keep.store import Store, open_store


def copy_store(source: StrPath | str | None, target: StrPath | str) -> dict[str, int]:
    """
    Return how many rows of each table were copied from one catalogue to another, which must be new or empty.

    Either may be a file or an address of PostgreSQL; no source is the usual place. Counts and a digest of every table
    are compared before it is kept.
    The source is left as it is, but for being brought to the newest version.

    Raises
    ------
    CatalogueError
        One of them cannot be opened, the target holds rows, or what arrived is not what was sent.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     open_store(Path(folder) / "old.sqlite").close()
    ...     copy_store(Path(folder) / "old.sqlite", Path(folder) / "new.sqlite")["swatches"]
    0
    """
    with (
        open_store(source, create=False) as old,
        open_store(target) as new,
        old.reading() as sending,
        new.unrecorded() as receiving,
    ):
        if count_rows(receiving):
            raise CatalogueError(
                f"A catalogue is copied to a place where there is none; {new.where} holds rows. Name another place."
            )
        return copy_rows(sending, receiving)


def restore_store(backup: StrPath, where: StrPath | str | None = None) -> Path | None:
    """
    Return where the catalogue that stood there is put aside, after a backup was put in its place.

    Nothing else should use the catalogue meanwhile. On PostgreSQL the place must be empty: name another schema.

    Parameters
    ----------
    backup : a file made by `Store.backup`; it is left as it is
    where : as for `open_store`

    Raises
    ------
    CatalogueError
        The backup is not whole or not a catalogue, or the place cannot be written to.
    """
    source, home = home_of(Path(os.fsdecode(backup))), home_of(where)
    assert isinstance(source, File)  # a path is never an address
    if not isinstance(home, File):
        with unfinished(home.place.beside) as copy:
            _checked_copy(source, copy)
            copy_store(copy, os.fsdecode(where or os.environ[VARIABLE]))
        return None
    with plainly(home.place, "restore a backup", files=True), unfinished(home.path) as copy:
        home.path.parent.mkdir(parents=True, exist_ok=True)
        _checked_copy(source, copy)
        aside = _put_aside(home)
        os.replace(copy, home.path)
    return aside


def mend(store: Store, *, who: str | None = None) -> list[str]:
    """
    Return what was put right of what `check` calls mendable; the rest of the catalogue tells what must stand there.

    What it changes is recorded as an action, but for what was changed without a record before.

    Raises
    ------
    CatalogueError
        The catalogue cannot be read or written.
    """
    with store.writing("Mend what a check found", who) as action:
        return [*_mend_indexes(action.connection), *_mend_copies(action), *_mend_counters(action.connection)]


def _checked_copy(source: File, copy: Path) -> None:
    """A copy of a backup, once it is sure that it is a whole catalogue that can be opened."""
    place: Place = source.place
    with plainly(place, "restore it", files=True):
        look_at_file(source, place, create=False)
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy_file(source, copy)
        engine = File(copy).engine()
        try:
            with engine.connect() as connection:
                version = recognised(connection, place)
        finally:
            engine.dispose()
    if version is None:
        raise CatalogueError(f"A backup must hold a catalogue; {place.shown} is empty. Name another one.")


def _put_aside(home: File) -> Path | None:
    """What stood there, and the logs that belong to it, kept under another name."""
    if not home.path.exists():
        return None
    aside = free_name(home.path.with_name(f"{home.path.stem}.aside{home.path.suffix}"))
    shutil.copy2(home.path, aside)
    for ending in ("-wal", "-journal", "-shm"):
        log = Path(f"{home.path}{ending}")
        with suppress(FileNotFoundError):
            shutil.copy2(log, f"{aside}{ending}")
            log.unlink()  # it would be laid over the file that comes
    return aside


def _mend_indexes(connection: Connection) -> list[str]:
    if connection.dialect.name != "sqlite":
        return []
    answers = [answer for (answer,) in connection.exec_driver_sql("PRAGMA integrity_check")]
    if not any(" index " in answer for answer in answers):
        return []
    connection.exec_driver_sql("REINDEX")
    return ["The indexes were made anew."]


def _mend_copies(action: Action) -> list[str]:
    query = (
        select(swatches.c.swatch, *(measured(name).label(name) for name in COPIED))
        .join(measurements, measurements.c.measurement == swatches.c.measurement)
        .where(copies_differ())
    )
    wrong = {row["swatch"]: dict(row) for row in action.connection.execute(query).mappings()}
    if not wrong:
        return []
    # What went wrong outside the record is put right outside the record, so that the two agree again.
    outside = {key for table, key, _ in differences(action.connection) if table == "swatches"} & wrong.keys()
    shape = shape_of("swatches")
    set_cells(action.connection, shape, COPIED, [_copied(shape, wrong[key]) for key in sorted(outside)])
    action.update_all("swatches", {key: _but_key(row) for key, row in wrong.items() if key not in outside})
    return [f"The numbers of {len(wrong)} pieces were copied again from their newest measurement."]


def _copied(shape: Shape, row: Row) -> tuple[Cell, ...]:
    cells = shape.some_cells(row)
    return (*(cells[name] for name in COPIED), cells["swatch"])


def _but_key(row: Row) -> Row:
    return {name: row[name] for name in COPIED}


def _mend_counters(connection: Connection) -> list[str]:
    mended = []
    for name, key in COUNTED.items():
        highest = connection.execute(select(func.max(METADATA.tables[name].c[key]))).scalar() or 0
        behind = (counters.c.table_name == name) & (counters.c.last < highest)
        if connection.execute(update(counters).where(behind).values(last=highest)).rowcount:
            mended.append(f"The count of {name} was set to {highest}.")
    return mended
