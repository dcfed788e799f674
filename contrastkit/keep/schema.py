"""
The tables of the catalogue, and how a catalogue of any earlier version becomes one of the newest.

Migrations are plain SQL that is never changed once released; the tables below them describe the newest version, and a
test holds the two together. The words in braces stand for types, which SQLite and PostgreSQL name differently. A column
that a migration adds stands last in its table and is empty in old rows: the checksums of inserted rows rely on that.

    photos ◀── measurements ──▶ swatches ◀── tags          actions ◀── changes
                    ▲               ▲  │
                  crops      stack_layers └──▶ projects ◀── stacks ◀── stack_layers

A swatch names its newest measurement and holds a copy of the numbers by which pieces are looked for.
"""

from __future__ import annotations

import importlib.metadata
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import BigInteger, Column, Connection, Double, LargeBinary, MetaData, String, Table, Text
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

from contrastkit.columns import SWATCHES
from contrastkit.keep.text import escaped, unescaped

STATES = ("at hand", "set aside", "used", "lost")
SURFACES = ("wet", "cured", "unknown")

# What a swatch row repeats of its newest measurement.
COPIED = ("lightness", "lightness_sigma", "munsell_value", "chroma", "hue_angle", "flags")


class SafeText(TypeDecorator[str]):
    """Text that may hold NUL and halves of surrogate pairs: see `text.py`."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        return None if value is None else escaped(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> str | None:
        return None if value is None else unescaped(value)


METADATA = MetaData()


def _key(name: str) -> Column[int]:
    return Column(name, BigInteger, primary_key=True, autoincrement=False)


def _integer(name: str) -> Column[int]:
    return Column(name, BigInteger)


def _real(name: str) -> Column[float]:
    return Column(name, Double)


def _text(name: str, default: str | None = None, *, key: bool = False) -> Column[str]:
    return Column(name, SafeText, default=default, primary_key=key)


def _measured_columns() -> list[Column[Any]]:
    """A column of `measurements` for each of the swatch table, but what names the piece."""
    kinds: dict[str, Callable[[str], Column[Any]]] = {"float64": _real, "bool": _integer, "str": _text}
    names = {"photo": "photo_name"}
    return [kinds[c.dtype](names.get(c.name, c.name)) for c in SWATCHES if c.name != "swatch_id"]


versions = Table("versions", METADATA, _key("version"), _text("at"), _text("program"))
counters = Table("counters", METADATA, _text("table_name", key=True), _integer("last"))
photos = Table(
    "photos", METADATA, _key("photo"),
    _text("content_hash"), _text("path"), _text("name"), _text("taken"), _text("added"),
)  # fmt: skip
swatches = Table(
    "swatches", METADATA, _key("swatch"),
    _text("name"), _text("ground", ""), _text("paints", ""), _text("plate", ""), _text("sheet", ""), _real("side"),
    _text("place", ""), _text("note", ""), _text("state", "at hand"), _text("added"),
    _integer("measurement"), _real("lightness"), _real("lightness_sigma"), _real("munsell_value"), _real("chroma"),
    _real("hue_angle"), _text("flags", ""), _text("extra"), _integer("project"),
)  # fmt: skip
measurements = Table(
    "measurements", METADATA, _key("measurement"),
    _integer("swatch"), _integer("photo"), _text("measured"), _text("surface", "unknown"), _text("measured_by"),
    _text("calibration"), *_measured_columns(),
)  # fmt: skip
crops = Table("crops", METADATA, _key("measurement"), Column("png", LargeBinary))
tags = Table("tags", METADATA, _key("swatch"), _text("tag", key=True))
actions = Table(
    "actions", METADATA, _key("action"), _text("at"), _text("who"), _text("what"), _integer("undoes")
)  # fmt: skip
changes = Table(
    "changes", METADATA, _key("action"), _key("place"),
    _text("kind"), Column("table_name", String), _text("row_key"), _text("before"), _text("after"),
)  # fmt: skip
projects = Table(
    "projects", METADATA, _key("project"),
    _text("name"), _text("note", ""), _text("settings", "{}"), _text("state", ""), _text("added"),
)  # fmt: skip
stacks = Table("stacks", METADATA, _key("stack"), _integer("project"), _integer("place"))
stack_layers = Table("stack_layers", METADATA, _key("stack"), _key("layer"), _integer("swatch"))

# Whose rows are changed by people, and so recorded: in an order in which every row finds what it refers to.
RECORDED = (projects, photos, swatches, measurements, crops, tags, stacks, stack_layers)

# The tables whose rows have a number that the catalogue gives out, and the column it stands in.
COUNTED = {
    "photos": "photo", "swatches": "swatch", "measurements": "measurement", "projects": "project", "stacks": "stack",
    "actions": "action",
}  # fmt: skip

COPY_ORDER = tuple(table.name for table in (*RECORDED, actions, changes, counters))

_WORDS = {
    "sqlite": {
        "id": "INTEGER PRIMARY KEY", "int": "INTEGER", "real": "REAL", "text": "TEXT", "blob": "BLOB",
        "end": "STRICT", "by_key": "STRICT, WITHOUT ROWID",
    },
    "postgresql": {
        "id": "BIGINT PRIMARY KEY", "int": "BIGINT", "real": "DOUBLE PRECISION", "blob": "BYTEA",
        "text": 'TEXT COLLATE "C"',  # sorted by code point, as SQLite does
        "end": "", "by_key": "",
    },
}  # fmt: skip

_PILE = """
CREATE TABLE versions (version {id}, at {text} NOT NULL, program {text} NOT NULL) {end};

CREATE TABLE counters (table_name {text} NOT NULL PRIMARY KEY, last {int} NOT NULL) {by_key};

CREATE TABLE photos (
    photo {id},
    content_hash {text} NOT NULL UNIQUE,
    path {text},
    name {text} NOT NULL,
    taken {text},
    added {text} NOT NULL
) {end};

CREATE TABLE swatches (
    swatch {id},
    name {text} NOT NULL UNIQUE,
    ground {text} NOT NULL,
    paints {text} NOT NULL,
    plate {text} NOT NULL,
    sheet {text} NOT NULL,
    side {real},
    place {text} NOT NULL,
    note {text} NOT NULL,
    state {text} NOT NULL CHECK (state IN ('at hand', 'set aside', 'used', 'lost')),
    added {text} NOT NULL,
    measurement {int},
    lightness {real},
    lightness_sigma {real},
    munsell_value {real},
    chroma {real},
    hue_angle {real},
    flags {text} NOT NULL,
    extra {text}{swatches_measurement}
) {end};

CREATE TABLE measurements (
    measurement {id},
    swatch {int} NOT NULL REFERENCES swatches,
    photo {int} REFERENCES photos,
    measured {text} NOT NULL,
    surface {text} NOT NULL CHECK (surface IN ('wet', 'cured', 'unknown')),
    measured_by {text},
    calibration {text},
    photo_name {text},
    outline {text},
    lightness {real},
    lightness_sigma {real},
    "group" {text},
    group_probability {real},
    borderline {int},
    munsell_value {real},
    lightness_low {real},
    lightness_high {real},
    lightness_paint {real},
    lightness_ground {real},
    coverage {real},
    lightness_rim {real},
    chroma {real},
    hue_angle {real},
    lightness_apparent_low {real},
    lightness_apparent_high {real},
    area {real},
    reference {text},
    flags {text}
) {end};

{measurement_exists}

CREATE TABLE crops (measurement {id} REFERENCES measurements, png {blob} NOT NULL) {end};

CREATE TABLE tags (swatch {int} NOT NULL REFERENCES swatches, tag {text} NOT NULL, PRIMARY KEY (swatch, tag)) {by_key};

CREATE INDEX swatches_by_lightness ON swatches (lightness, swatch);
CREATE INDEX swatches_by_state ON swatches (state);
CREATE INDEX swatches_by_measurement ON swatches (measurement);
CREATE INDEX measurements_by_swatch ON measurements (swatch);
CREATE INDEX measurements_by_photo ON measurements (photo);
CREATE INDEX tags_by_tag ON tags (tag, swatch);

INSERT INTO counters VALUES ('photos', 0), ('swatches', 0), ('measurements', 0);
"""

# A swatch and its first measurement name each other, so one of the two is only asked at the end of an action.
_MEASUREMENT_EXISTS = {
    "sqlite": (" REFERENCES measurements (measurement) DEFERRABLE INITIALLY DEFERRED", ""),
    "postgresql": (
        "",
        "ALTER TABLE swatches ADD CONSTRAINT swatches_measurement_fkey FOREIGN KEY (measurement) "
        "REFERENCES measurements DEFERRABLE INITIALLY DEFERRED;",
    ),
}

_ACTIONS = """
CREATE TABLE actions (
    action {id},
    at {text} NOT NULL,
    who {text} NOT NULL,
    what {text} NOT NULL,
    undoes {int} REFERENCES actions
) {end};

CREATE TABLE changes (
    action {int} NOT NULL REFERENCES actions,
    place {int} NOT NULL,
    kind {text} NOT NULL CHECK (kind IN ('insert', 'update', 'delete')),
    table_name {text} NOT NULL,
    row_key {text} NOT NULL,
    before {text},
    after {text},
    PRIMARY KEY (action, place)
) {by_key};

CREATE INDEX actions_by_undoes ON actions (undoes);

INSERT INTO counters VALUES ('actions', 0);
"""

_PROJECTS = """
CREATE TABLE projects (
    project {id},
    name {text} NOT NULL UNIQUE,
    note {text} NOT NULL,
    settings {text} NOT NULL,
    state {text} NOT NULL,
    added {text} NOT NULL
) {end};

CREATE TABLE stacks (stack {id}, project {int} NOT NULL REFERENCES projects, place {int} NOT NULL) {end};

CREATE TABLE stack_layers (
    stack {int} NOT NULL REFERENCES stacks,
    layer {int} NOT NULL,
    swatch {int} NOT NULL REFERENCES swatches,
    PRIMARY KEY (stack, layer)
) {by_key};

ALTER TABLE swatches ADD COLUMN project {int} REFERENCES projects;

CREATE INDEX stacks_by_project ON stacks (project);
CREATE INDEX stack_layers_by_swatch ON stack_layers (swatch);
CREATE INDEX swatches_by_project ON swatches (project);

INSERT INTO counters VALUES ('projects', 0), ('stacks', 0);
"""

# From this version on a change may hold many rows: see `actions.py`.
_MANY_ROWS = """
CREATE INDEX swatches_by_ground ON swatches (ground);
CREATE INDEX swatches_by_paints ON swatches (paints);
CREATE INDEX swatches_by_plate ON swatches (plate);
CREATE INDEX swatches_by_sheet ON swatches (sheet);
CREATE INDEX swatches_by_place ON swatches (place);
CREATE INDEX measurements_by_person ON measurements (measured_by);
"""


def statements(script: str, dialect: str) -> list[str]:
    """Return the statements of a script, one by one, with the words of a database."""
    words = script.format(**_words(dialect))
    return [statement for statement in words.split(";\n") if statement.strip(" \n;")]


def run_script(connection: Connection, script: str) -> None:
    """Run the statements of a script in the transaction that is open."""
    for statement in statements(script, connection.dialect.name):
        connection.exec_driver_sql(statement)


def _words(dialect: str) -> dict[str, str]:
    reference, exists = _MEASUREMENT_EXISTS[dialect]
    if reference:
        reference = f",\n    FOREIGN KEY (measurement){reference}"
    return _WORDS[dialect] | {"swatches_measurement": reference, "measurement_exists": exists}


def _pile(connection: Connection) -> None:
    run_script(connection, _PILE)


def _actions(connection: Connection) -> None:
    run_script(connection, _ACTIONS)


def _projects(connection: Connection) -> None:
    run_script(connection, _PROJECTS)


def _many_rows(connection: Connection) -> None:
    run_script(connection, _MANY_ROWS)


# The first makes version 1 of nothing, the next version 2 of version 1, and so on. Only ever append.
MIGRATIONS: tuple[Callable[[Connection], None], ...] = (_pile, _actions, _projects, _many_rows)
NEWEST = len(MIGRATIONS)


def migrate(connection: Connection, *, version: int, to: int = NEWEST) -> None:
    """Bring a catalogue from one version to another, step by step, in the transaction that is open."""
    for step in range(version, to):
        MIGRATIONS[step](connection)
        connection.execute(versions.insert().values(version=step + 1, at=utc_now(), program=_program()))


def utc_now() -> str:
    """Return the time as ISO 8601 text in UTC with microseconds, so that text sorts as time does."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def _program() -> str:
    try:
        return f"contrastkit {importlib.metadata.version('contrastkit')}"
    except importlib.metadata.PackageNotFoundError:
        return "contrastkit"
