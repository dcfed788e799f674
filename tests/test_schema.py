"""A catalogue of any earlier version becomes one of the newest, and nothing is lost on the way."""

from __future__ import annotations

import hashlib

import pytest
from catalogues import NOW, PICTURE, add, everything, make_earlier, names, rows, size_and_content
from sqlalchemy import create_engine, inspect

from contrastkit.columns import DETAILS, SWATCHES
from contrastkit.errors import CatalogueError
from contrastkit.keep import schema
from contrastkit.keep.actions import redo, undo
from contrastkit.keep.engines import home_of
from contrastkit.keep.store import Store, check, open_store

pytest_plugins = ["postgres"]

# Rows as the program of each version wrote them.
PILE = (
    "INSERT INTO swatches (swatch, name, ground, paints, plate, sheet, side, place, note, state, added, measurement, "
    "lightness, flags) "
    f"VALUES (3, 'grün 🌿', 'red', '', '', '', 76.2, 'drawer', 'shiny', 'used', '{NOW}', 5, 41.5, '')",
    f"INSERT INTO photos VALUES (2, '{'ab' * 32}', '/p/a.jpg', 'a.jpg', NULL, '{NOW}')",
    "INSERT INTO measurements (measurement, swatch, photo, measured, surface, lightness, flags) "
    f"VALUES (5, 3, 2, '{NOW}', 'cured', 41.5, '')",
    "INSERT INTO tags VALUES (3, 'sold')",
    "UPDATE counters SET last = 7",
)
ACTIONS = (
    f"INSERT INTO actions VALUES (1, '{NOW}', 'ash', 'Note', NULL)",
    "INSERT INTO changes VALUES (1, 0, 'update', 'swatches', '[3]', '{\"note\": \"\"}', '{\"note\": \"shiny\"}')",
)
ROWS = {1: PILE, 2: PILE + ACTIONS, 3: PILE + ACTIONS}

# What version 3 wrote when two pieces were added, one of them measured and photographed, and one taken away again.
_GONE = (
    '{"swatch": 11, "name": "neu 🌿", "ground": "", "paints": "", "plate": "", "sheet": "", "side": null, "place": "", '
    f'"note": "", "state": "at hand", "added": "{NOW}", "measurement": null, "lightness": null, '
    '"lightness_sigma": null, "munsell_value": null, "chroma": null, "hue_angle": null, "flags": "", "extra": null, '
    '"project": null}'
)
SINGLE_ROWS = (
    "INSERT INTO swatches (swatch, name, ground, paints, plate, sheet, side, place, note, state, added, measurement, "
    f"lightness, flags) VALUES (10, 'alt \x1a0000', '', '', '', '', 76.2, '', '=1', 'at hand', '{NOW}', 1, 41.5, '')",
    "INSERT INTO measurements (measurement, swatch, measured, surface, lightness) "
    f"VALUES (1, 10, '{NOW}', 'unknown', 41.5)",
    "UPDATE counters SET last = 11",
    f"INSERT INTO actions VALUES (1, '{NOW}', 'ash', 'Add two', NULL), (2, '{NOW}', 'ash', 'Tidy', NULL)",
    "INSERT INTO changes VALUES (1, 0, 'insert', 'swatches', '[10]', NULL, '8d7bf9b8')",
    "INSERT INTO changes VALUES (1, 1, 'insert', 'swatches', '[11]', NULL, '260ad404')",
    "INSERT INTO changes VALUES (1, 2, 'insert', 'measurements', '[1]', NULL, '39ec6e50')",
    "INSERT INTO changes VALUES (1, 3, 'update', 'swatches', '[10]', '{\"measurement\": null, \"lightness\": null}', "
    "'{\"measurement\": 1, \"lightness\": 41.5}')",
    "INSERT INTO changes VALUES (1, 4, 'insert', 'crops', '[1]', NULL, '5595a4af')",
    "INSERT INTO changes VALUES (1, 5, 'insert', 'tags', '[10, \"sold\"]', NULL, '476711e2')",
    "INSERT INTO changes VALUES (2, 0, 'delete', 'tags', '[10, \"sold\"]', "
    "'{\"swatch\": 10, \"tag\": \"sold\"}', NULL)",
    f"INSERT INTO changes VALUES (2, 1, 'delete', 'swatches', '[11]', '{_GONE}', NULL)",
)


def test_every_earlier_version_is_tested():
    """A version would be forgotten here, and her catalogue of that version would meet its first test at her desk."""
    assert sorted(ROWS) == list(range(1, schema.NEWEST))


@pytest.mark.parametrize("version", ROWS)
def test_an_earlier_catalogue_keeps_all_its_rows(where, version):
    """Years of swatches would be gone after an update."""
    make_earlier(where, version, *ROWS[version])
    with open_store(where) as store:
        (piece,) = rows(store, "swatches")
        assert piece | {
            "swatch": 3, "name": "grün 🌿", "note": "shiny", "state": "used", "side": 76.2, "measurement": 5,
            "lightness": 41.5, "project": None,
        } == piece  # fmt: skip
        assert rows(store, "photos")[0]["path"] == "/p/a.jpg"
        assert rows(store, "measurements")[0]["surface"] == "cured"
        assert rows(store, "tags") == [{"swatch": 3, "tag": "sold"}]
        assert [row["version"] for row in rows(store, "versions")] == list(range(1, schema.NEWEST + 1))
        assert check(store) == []
        assert undo(store) == (["Note"] if version > 1 else [])
        assert add(store, "new") == [8]


def test_what_version_3_did_row_by_row_is_undone_and_done_again(where):
    """What she did before the update could not be taken back after it."""
    quoted = f"x'{PICTURE.hex()}'" if not where.startswith("postgres") else f"'\\x{PICTURE.hex()}'"
    make_earlier(where, 3, *SINGLE_ROWS, f"INSERT INTO crops VALUES (1, {quoted})")
    with open_store(where) as store:
        assert check(store) == []
        tidied = everything(store)
        assert names(store) == ["alt \0"]
        assert undo(store) == ["Tidy"]
        assert names(store) == ["alt \0", "neu 🌿"]
        assert rows(store, "tags") == [{"swatch": 10, "tag": "sold"}]
        assert check(store) == []
        assert undo(store) == ["Add two"]
        assert {name: there for name, there in everything(store).items() if there} == {}
        assert redo(store, count=2) == ["Add two", "Tidy"]
        assert everything(store) == tidied
        assert check(store) == []


@pytest.mark.parametrize("version", ROWS)
def test_a_backup_is_made_before_and_named(where, version, tmp_path, monkeypatch):
    """If the new version turned out wrong, there would be no way back."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))  # where backups of a server are kept
    make_earlier(where, version, *ROWS[version])
    with open_store(where) as store:
        (told,) = store.told
    (backup,) = (path for path in tmp_path.rglob("*.before-4.sqlite"))
    assert told == f"The catalogue was brought from version {version} to 4; as it was, it is in {str(backup)!r}."
    copy = create_engine(f"sqlite:///{backup}")
    with copy.connect() as connection:
        assert connection.exec_driver_sql("SELECT name FROM swatches").scalar_one() == "grün 🌿"
        assert connection.exec_driver_sql("SELECT max(version) FROM versions").scalar_one() == version
        assert inspect(connection).has_table("projects") is (version > 2)
    copy.dispose()
    with open_store(where) as store:
        assert store.told == []


def test_the_backup_is_itself_a_catalogue(tmp_path):
    """Going back would need an expert."""
    make_earlier(str(tmp_path / "pile.sqlite"), 1, *PILE)
    open_store(tmp_path / "pile.sqlite").close()
    with open_store(tmp_path / "pile.before-4.sqlite") as store:
        assert names(store) == ["grün 🌿"]
        assert check(store) == []


def test_an_earlier_catalogue_without_rows_needs_no_backup(where, tmp_path):
    """Every new catalogue that was interrupted would leave a backup of nothing."""
    make_earlier(where, 1)
    with open_store(where) as store:
        assert store.told == []
    assert not list(tmp_path.glob("*before*"))


def test_a_backup_of_that_name_is_never_replaced(tmp_path):
    """The backup of an earlier try, perhaps the last good one, would be lost."""
    make_earlier(str(tmp_path / "pile.sqlite"), 1, *PILE)
    (tmp_path / "pile.before-4.sqlite").write_text("mine")
    open_store(tmp_path / "pile.sqlite").close()
    assert (tmp_path / "pile.before-4.sqlite").read_text() == "mine"
    assert (tmp_path / "pile.before-4-2.sqlite").exists()


@pytest.mark.parametrize("failing", [2, 3, 4])
def test_a_migration_that_fails_half_way_leaves_everything_as_it_was(where, failing, monkeypatch, tmp_path):
    """A catalogue between two versions could be opened by no program."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))

    step = schema.MIGRATIONS[failing - 1]

    def fails(connection):
        step(connection)
        connection.exec_driver_sql("DELETE FROM tags")
        connection.exec_driver_sql("CREATE TABLE swatches (again INTEGER)")

    make_earlier(where, 1, *PILE)
    steps = tuple(fails if known is step else known for known in schema.MIGRATIONS)
    said = pytest.raises(CatalogueError, match="To open it, .*already exists.*The newest backup is '.*before-4.sq")
    with monkeypatch.context() as patched, said:
        patched.setattr(schema, "MIGRATIONS", steps)
        open_store(where)
    assert len(list(tmp_path.rglob("*.before-4.sqlite"))) == 1
    with Store(home_of(where)) as still, pytest.raises(CatalogueError, match="of version 1 by now"), still.reading():
        pass
    with open_store(where) as store:
        assert (names(store), rows(store, "tags")) == (["grün 🌿"], [{"swatch": 3, "tag": "sold"}])
        assert check(store) == []


def test_a_version_from_the_future_is_refused_and_left_as_it_is(where, tmp_path):
    """An old program would write rows that a newer one could not read."""
    with open_store(where) as store, store.unrecorded() as connection:
        newer = range(schema.NEWEST + 1, 100)
        through = [{"version": version, "at": NOW, "program": "contrastkit 9"} for version in newer]
        connection.execute(schema.versions.insert(), through)
    before = size_and_content(tmp_path)
    with pytest.raises(CatalogueError) as caught:
        open_store(where)
    assert str(caught.value).startswith("The catalogue must be of version 4 or earlier; '")
    assert str(caught.value).endswith(
        "is of version 99, made by a newer contrastkit, and was left as it is. Install that one."
    )
    assert size_and_content(tmp_path) == before


def test_versions_with_a_gap_are_damage_and_not_the_future(where):
    """She would look for a program that there is not, and not for her backup."""
    with open_store(where) as store, store.unrecorded() as connection:
        connection.execute(schema.versions.insert().values(version=99, at=NOW, program="contrastkit 9"))
    gap = "versions 1, 2, 3 and so on; .* has a gap there: it is damaged, and was left as it is. (The|No).* backup"
    with pytest.raises(CatalogueError, match=gap):
        open_store(where)


def test_a_program_that_was_open_meanwhile_writes_no_more(where):
    """It would write rows of the old kind into the new tables."""
    with open_store(where) as store:
        add(store, "a")
        with open_store(where) as newer, newer.unrecorded() as connection:
            connection.execute(schema.versions.insert().values(version=5, at=NOW, program="contrastkit 9"))
        with pytest.raises(CatalogueError, match="must be of version 4; .* is of version 5 by now.*start again"):
            add(store, "b")
        with pytest.raises(CatalogueError, match="is of version 5 by now"):
            names(store)


def test_tables_are_described_as_they_are(where):
    """Rows would be written to columns that are not there, or never read."""
    with open_store(where) as store, store.reading() as connection:
        inspector = inspect(connection)
        there = {name: {c["name"] for c in inspector.get_columns(name)} for name in inspector.get_table_names()}
        keys = {name: inspector.get_pk_constraint(name)["constrained_columns"] for name in there}
    assert there == {table.name: set(table.c.keys()) for table in schema.METADATA.sorted_tables}
    assert keys == {table.name: [c.name for c in table.primary_key] for table in schema.METADATA.sorted_tables}


def test_every_column_of_the_swatch_table_has_a_place():
    """What was measured would be left out without a word."""
    renamed = {"swatch_id": "name", "photo": "photo_name"}
    kept = set(schema.measurements.c.keys()) | set(schema.swatches.c.keys())
    assert {renamed.get(column.name, column.name) for column in (*SWATCHES, *DETAILS)} <= kept


def test_tables_of_a_file_are_strict(tmp_path):
    """A word could stand where a number belongs, and every filter would stumble over it."""
    with open_store(tmp_path / "pile.sqlite") as store, store.reading() as connection:
        listed = connection.exec_driver_sql("SELECT name, strict FROM pragma_table_list WHERE schema = 'main'")
        strict = {name: bool(flag) for name, flag in listed if not name.startswith("sqlite_")}
    assert strict == {table.name: True for table in schema.METADATA.sorted_tables}


# Ours: `python -c "from test_schema import digests; print(digests())"` in the folder of the tests. A migration that was
# released is never changed; one that is added gets a line.
RELEASED_SILVER = {
    "pile, sqlite": "c2831e67698854c9",
    "pile, postgresql": "378606f9505f4346",
    "actions, sqlite": "a624843e06f7211b",
    "actions, postgresql": "67be1b05da38b5a7",
    "projects, sqlite": "ffc0ad6af0f997a6",
    "projects, postgresql": "8687301a71583263",
    "many rows, sqlite": "501b5064f34fbcdb",
    "many rows, postgresql": "501b5064f34fbcdb",
}


def digests() -> dict[str, str]:
    scripts = {
        "pile": schema._PILE, "actions": schema._ACTIONS, "projects": schema._PROJECTS,
        "many rows": schema._MANY_ROWS,
    }  # fmt: skip
    texts = {
        f"{name}, {dialect}": "\n".join(schema.statements(script, dialect))
        for name, script in scripts.items()
        for dialect in ("sqlite", "postgresql")
    }
    return {name: hashlib.sha256(text.encode()).hexdigest()[:16] for name, text in texts.items()}


def test_released_migrations_are_never_changed():
    """Two catalogues of one version would differ, and the next migration would fail on one of them."""
    assert digests() == RELEASED_SILVER
