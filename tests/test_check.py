"""Every kind of damage is found, and what is said to mend it does."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from catalogues import NOW, add, everything, fill, measure, names, piece
from hypothesis import given
from hypothesis import strategies as st

from contrastkit.errors import CatalogueError, InvalidInputError
from contrastkit.keep.actions import undo
from contrastkit.keep.cells import real
from contrastkit.keep.moving import copy_store, mend, restore_store
from contrastkit.keep.rows import shape_of
from contrastkit.keep.store import check, open_store

pytest_plugins = ["postgres"]


@pytest.fixture
def store(where):
    with open_store(where) as opened:
        fill(opened)
        yield opened


def spoil(store, *statements: str) -> None:
    """Change rows behind the catalogue's back, as another program would, without its rules where that is possible."""
    with store.unrecorded() as connection:
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql("PRAGMA ignore_check_constraints = ON")
        for statement in statements:
            connection.exec_driver_sql(statement)
    store.close()


def what(store) -> list[str]:
    return [finding.what for finding in check(store)]


def changed(row: str) -> str:
    return f"Row {row} was changed, and no action changed it."


SPOILT = {
    "a copied number": ("UPDATE swatches SET lightness = 99 WHERE swatch = 1", [
        "The numbers of 'blue' are not those of its newest measurement.",
        "Row [1] of swatches has another lightness than the last action gave it.",
    ]),
    "another's measurement": ("UPDATE swatches SET measurement = 2 WHERE swatch = 1", [
        "The newest measurement of 'blue' is another piece's.",
        "The numbers of 'blue' are not those of its newest measurement.",
        "Row [1] of swatches has another measurement than the last action gave it.",
    ]),
    "a row gone": ("DELETE FROM tags WHERE tag = 'sold'", [
        "Row [1, \"sold\"] of tags is gone, and no action took it away.",
    ]),
    "a number": ("UPDATE measurements SET chroma = -1 WHERE measurement = 2", [
        changed("[2] of measurements"), "The chroma of measurement 2 cannot be -1.",
    ]),
    "a counter": ("UPDATE counters SET last = 1 WHERE table_name = 'swatches'", [
        "The count of swatches must have reached 2; it is 1.",
    ]),
    "a picture": ("UPDATE crops SET png = substr(png, 1, 40)", [
        changed("[1] of crops"), "The picture of measurement 1 is no whole PNG.",
    ]),
    "settings": ("UPDATE projects SET settings = '{'", [
        changed("[1] of projects"), "The settings of projects 1 cannot be '{'.",
    ]),
    "a time": ("UPDATE actions SET at = 'yesterday'", ["The at of actions 1 cannot be 'yesterday'."]),
    "a digest": ("UPDATE photos SET content_hash = 'x'", [
        changed("[1] of photos"), "The content_hash of photos 1 cannot be 'x'.",
    ]),
    "a name": ("UPDATE swatches SET name = ' ' WHERE swatch = 2", [
        changed("[2] of swatches"), "The name of swatches 2 cannot be ' '.",
    ]),
    "a letter of a note": ("UPDATE swatches SET note = '=1+2' WHERE swatch = 1", [changed("[1] of swatches")]),
    "changes": ("DELETE FROM changes WHERE place = 2", ["The record of action 1 lacks some of its changes."]),
    "all changes": ("DELETE FROM changes", ["The record of action 1 lacks all its changes."]),
    "versions": ("DELETE FROM versions WHERE version = 2", [
        "The versions it went through must be 1 to 4; they are 1, 3, 4.",
    ]),
    "a column": ("ALTER TABLE tags ADD COLUMN more INTEGER", None),
}  # fmt: skip


@pytest.mark.parametrize("kind", SPOILT)
def test_what_another_program_spoils_is_found(store, kind):
    """It would be found by her, years later."""
    statement, found = SPOILT[kind]
    assert what(store) == []
    spoil(store, statement)
    assert what(store) == found if found else [f"{w}" for w in what(store) if "tags" in w]
    assert all(finding.remedy and str(finding).endswith(finding.remedy) for finding in check(store))


FILE_SPOILT = {
    "a reference": ("UPDATE tags SET swatch = 99 WHERE tag = 'sold'", "of tags refers to a row of swatches that is"),
    "a state": ("UPDATE swatches SET state = 'eaten'", "CHECK constraint failed in swatches"),
    "an index": ("DROP INDEX tags_by_tag", "tags_by_tag is not defined as in version 4"),
    "a rule": ("DROP TABLE stack_layers", "stack_layers is not defined as in version 4"),
    "a stranger's table": ("CREATE TABLE mine (a)", "mine is not defined as in version 4"),
}  # fmt: skip


@pytest.mark.parametrize("kind", FILE_SPOILT)
def test_what_another_program_spoils_in_a_file_is_found(tmp_path, kind):
    """It would be found by her, years later."""
    statement, found = FILE_SPOILT[kind]
    path = tmp_path / "pile.sqlite"
    with open_store(path) as store:
        fill(store)
    with closing(sqlite3.connect(path)) as other:
        other.execute("PRAGMA ignore_check_constraints = ON")
        other.execute(statement)
        other.commit()
    with open_store(path) as store:
        assert any(found in finding.what for finding in check(store))


def test_a_long_list_is_cut(store):
    """A thousand lines would hide what else is wrong."""
    add(store, *(f"{number}" for number in range(100)))
    spoil(store, "UPDATE swatches SET note = 'x'", "UPDATE counters SET last = 0 WHERE table_name = 'photos'")
    said = what(store)
    assert said[5:] == ["There are more of this kind.", "The count of photos must have reached 1; it is 0."]


def test_one_row_of_thousands_that_were_added_at_once_is_named(store):
    """An import would be spoilt, and nobody could say which piece."""
    with store.writing("Import") as action:
        action.insert("swatches", [piece(f"{number}", side=number / 7) for number in range(2500)])
        action.insert("tags", [{"swatch": number, "tag": "sold, \"big\""} for number in range(3, 2503)])
    assert what(store) == []
    spoil(
        store, "UPDATE swatches SET side = 5 WHERE swatch = 1234", "DELETE FROM tags WHERE swatch = 2500",
        "UPDATE swatches SET note = 'x' WHERE swatch = 2502",
    )  # fmt: skip
    assert sorted(what(store)) == [
        changed("[1234] of swatches"),
        'Row [2500, "sold, \\"big\\""] of tags is gone, and no action took it away.',
        changed("[2502] of swatches"),
    ]


TEXTS = st.none() | st.text(max_size=5) | st.binary(max_size=5)
NUMBERS = st.none() | st.floats(allow_nan=False)


@pytest.mark.parametrize("table", ["swatches", "measurements", "tags", "crops"])
@given(data=st.data())
def test_the_checksums_of_many_rows_are_those_of_each(table, data):
    """What was added at once would be said to be changed, or a change would not be found."""
    shape = shape_of(table)
    row = st.tuples(*(NUMBERS if make is real else TEXTS for make in shape.makers))
    rows = data.draw(st.lists(row, min_size=1, max_size=4))
    assert shape.checksums(list(zip(*rows, strict=True))) == [shape.checksum(row) for row in rows]


def test_history_knows_every_later_change(store):
    """A row that was changed, taken away and put back would be taken for damage."""
    (swatch,) = add(store, "c")
    for note in ("one", "two"):
        with store.writing("Note") as action:
            action.update("swatches", swatch, {"note": note})
            action.update("swatches", swatch, {"place": note})
    with store.writing("Away") as action:
        action.delete("swatches", swatch)
    assert check(store) == []
    undo(store, count=2)
    assert check(store) == []
    spoil(store, "UPDATE swatches SET note = 'two' WHERE name = 'c'")
    assert what(store) == ["Row [3] of swatches has another note than the last action gave it."]
    with store.unrecorded() as connection:
        connection.exec_driver_sql("UPDATE swatches SET note = 'one' WHERE name = 'c'")
    undo(store, count=2)
    assert check(store) == []
    assert "c" not in names(store)
    spoil(
        store,
        "INSERT INTO swatches (swatch, name, ground, paints, plate, sheet, place, note, state, added, flags) "
        f"VALUES (3, 'c', '', '', '', '', '', '', 'at hand', '{NOW}', '')",
    )
    assert what(store) == ["Row [3] of swatches is there, though an action took it away."]


# --- mending ---


def test_what_is_mendable_is_mended(store):
    """To be told that it can be mended would be of no use."""
    kept = everything(store)
    spoil(store, "UPDATE swatches SET lightness = 99, flags = 'glare' WHERE swatch = 1",
          "UPDATE counters SET last = 0 WHERE table_name IN ('swatches', 'measurements')")  # fmt: skip
    assert [finding.mendable for finding in check(store)] == [True, False, True, True]
    assert mend(store) == [
        "The numbers of 1 pieces were copied again from their newest measurement.",
        "The count of swatches was set to 2.",
        "The count of measurements was set to 2.",
    ]
    assert everything(store) == kept
    assert check(store) == []
    assert mend(store) == []


def test_a_broken_index_is_made_anew(tmp_path):
    """A piece would not be found by its state, though it is there."""
    path = tmp_path / "pile.sqlite"
    with open_store(path) as store:
        fill(store)
    with closing(sqlite3.connect(path)) as other:
        root = other.execute("SELECT rootpage FROM sqlite_master WHERE name = 'swatches_by_state'").fetchone()[0]
        size = other.execute("PRAGMA page_size").fetchone()[0]
        other.execute("PRAGMA journal_mode = DELETE")
    with open(path, "r+b") as file:  # an empty index: a leaf (10) without cells
        file.seek((root - 1) * size)
        file.write(bytes([10, 0, 0, 0, 0]) + size.to_bytes(2) + bytes(size - 7))
    with open_store(path) as store:
        found = check(store)
        assert found[0].what == "The file is damaged: row 1 missing from index swatches_by_state."
        assert all(finding.mendable for finding in found)
        assert mend(store) == ["The indexes were made anew."]
        assert check(store) == []


# --- backups and whole catalogues ---


def test_a_backup_is_the_whole_catalogue_in_one_file(store, tmp_path):
    """Going back to it would lose something."""
    kept = everything(store)
    backup = store.backup(tmp_path / "safe" / "backup.sqlite")
    add(store, "later")
    assert [path.name for path in backup.parent.iterdir()] == ["backup.sqlite"]
    before = backup.read_bytes()
    with closing(sqlite3.connect(f"file:{backup}?mode=ro&immutable=1", uri=True)) as plain:
        assert plain.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        assert plain.execute("SELECT count(*) FROM changes").fetchone()[0] > 0
    assert backup.read_bytes() == before
    with open_store(backup) as copy:
        assert everything(copy) == kept
        assert check(copy) == []
        assert undo(copy) == ["Fill it"]


def test_a_backup_never_replaces_a_file(store, tmp_path):
    """A slip would cost her a photograph, or last year's backup."""
    (tmp_path / "a.jpg").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    for name in ("a.jpg", "link"):
        with pytest.raises(InvalidInputError, match="A backup never replaces a file; '.*' is there. Name a new one"):
            store.backup(tmp_path / name)
    assert (tmp_path / "a.jpg").read_text() == "mine"
    assert not (tmp_path / "nowhere").exists()


def test_a_backup_into_a_folder_is_named_after_today(store, tmp_path):
    """She would have to think of a name every week."""
    folder = tmp_path / "disk"
    folder.mkdir()
    first, second = store.backup(folder), store.backup(folder)
    assert first != second
    assert sorted(folder.iterdir()) == sorted([first, second])
    assert first.suffix == ".sqlite"


def test_a_backup_made_while_another_writes_is_of_one_moment(store, tmp_path):
    """It would hold half an action."""
    with store.writing("Add") as action:
        action.insert("swatches", [{"name": "half", "added": NOW}])
        backup = store.backup(tmp_path / "backup.sqlite")
    with open_store(backup) as copy:
        assert names(copy) == ["blue", "grün 🌿"]
        assert check(copy) == []


def test_a_backup_of_a_damaged_catalogue_is_refused(tmp_path):
    """The damage would replace, one by one, all good backups."""
    path = tmp_path / "pile.sqlite"
    with open_store(path) as store:
        fill(store)
        add(store, *(f"{number}" for number in range(2000)))
    content = bytearray(path.read_bytes())
    content[len(content) // 2 : len(content) // 2 + 20_000] = os.urandom(20_000)
    path.write_bytes(content)
    damaged = pytest.raises(CatalogueError, match="To back it up, the catalogue must be whole; .* is damaged")
    with open_store(path) as store, damaged:
        store.backup(tmp_path / "backup.sqlite")
    assert [p.name for p in tmp_path.iterdir()] == ["pile.sqlite"]


def test_the_newest_backup_that_is_still_there_is_named(tmp_path):
    """She would be sent to a disk that was thrown away."""
    path = tmp_path / "pile.sqlite"
    with open_store(path) as store:
        fill(store)
        one, two = (store.backup(tmp_path / f"{name}.sqlite") for name in ("one", "two"))
    os.utime(one, (1, 1))
    path.write_bytes(b"noise")
    with pytest.raises(CatalogueError, match=r"The newest backup is '.*two\.sqlite'\.$"):
        open_store(path)
    two.unlink()
    with pytest.raises(CatalogueError, match=r"The newest backup is '.*one\.sqlite'\.$"):
        open_store(path)
    one.unlink()
    with pytest.raises(CatalogueError, match=r"No backup of it is known\.$"):
        open_store(path)


def test_a_missing_catalogue_that_has_backups_is_told(tmp_path):
    """She would think that everything is gone."""
    path = tmp_path / "pile.sqlite"
    with open_store(path) as store:
        fill(store)
        store.backup(tmp_path / "safe.sqlite")
    path.unlink()
    with open_store(path) as store:
        assert store.told == [
            "There was no catalogue, so a new one was made; a backup of an earlier one is "
            f"{str(tmp_path / 'safe.sqlite')!r}."
        ]


def test_one_backup_a_day_is_made_and_a_week_of_them_kept(tmp_path):
    """Without one there is nothing to restore; with all of them the disk is full some day."""
    path = tmp_path / "pile.sqlite"
    folder = tmp_path / "pile-backups"
    folder.mkdir()
    for day in range(10, 20):
        (folder / f"pile-2020-01-{day}.sqlite").touch()
    (folder / "pile-mine.sqlite").touch()
    with open_store(path) as store:
        today = store.backup_today()
        assert store.backup_today() is None
    assert today is not None
    days = [f"pile-2020-01-{day}.sqlite" for day in range(14, 20)]
    assert sorted(p.name for p in folder.iterdir()) == sorted([*days, today.name, "pile-mine.sqlite"])


@pytest.mark.parametrize("logs", [False, True])
def test_a_backup_restored_is_the_catalogue_again(tmp_path, logs):
    """She would have to know which three files to move where; a log left behind would be laid over the backup."""
    path = tmp_path / "pile.sqlite"
    with open_store(path) as store:
        fill(store)
        kept = everything(store)
        backup = store.backup(tmp_path / "safe.sqlite")
        add(store, *(f"{number}" for number in range(500)))
        if logs:
            log = Path(f"{path}-wal").read_bytes()
    if logs:
        Path(f"{path}-wal").write_bytes(log)
    damaged = path.read_bytes()[:5000]
    path.write_bytes(damaged)
    before = backup.read_bytes()
    aside = restore_store(backup, path)
    assert aside == tmp_path / "pile.aside.sqlite"
    assert aside.read_bytes() == damaged
    assert Path(f"{aside}-wal").exists() == logs
    assert backup.read_bytes() == before
    with open_store(path) as store:
        assert everything(store) == kept
        assert check(store) == []


def test_what_is_no_backup_is_not_restored(tmp_path):
    """A good catalogue would be put aside for a spreadsheet."""
    path = tmp_path / "pile.sqlite"
    with open_store(path) as store:
        fill(store)
    before = path.read_bytes()
    (tmp_path / "table.csv").write_text("a,b")
    (tmp_path / "empty.sqlite").touch()
    with closing(sqlite3.connect(tmp_path / "cut.sqlite")) as other, closing(sqlite3.connect(path)) as source:
        source.backup(other)
    os.truncate(tmp_path / "cut.sqlite", 8192)
    for name, message in [("table.csv", "is something else"), ("empty.sqlite", "is empty"), ("cut.sqlite", "cut short"),
                          ("none.sqlite", "There must be a catalogue"), (".", "is a folder")]:  # fmt: skip
        with pytest.raises(CatalogueError, match=message):
            restore_store(tmp_path / name, path)
    assert path.read_bytes() == before
    assert not list(tmp_path.glob("*aside*"))


def test_a_backup_is_restored_on_a_server(server, tmp_path):
    """A school could not go back."""
    with open_store(f"{server}&schema=from_file") as store:
        fill(store)
        kept = everything(store)
        backup = store.backup(tmp_path / "school.sqlite")
    assert restore_store(backup, f"{server}&schema=restored") is None
    with open_store(f"{server}&schema=restored") as store:
        assert everything(store) == kept
    with pytest.raises(CatalogueError, match="copied to a place where there is none; .* holds rows. Name another"):
        restore_store(backup, f"{server}&schema=restored")


@pytest.mark.parametrize("route", ["file to server", "server to file", "file to file", "server to server"])
def test_a_whole_catalogue_moves_with_all_its_rows(request, tmp_path, route):
    """A school that outgrows one machine, or shrinks again, would lose its history."""
    places = []
    for number, kind in enumerate(route.split(" to ")):
        if kind == "server":
            places.append(f"{request.getfixturevalue('server')}&schema=moved_{route.replace(' ', '_')}_{number}")
        else:
            places.append(tmp_path / f"{number}.sqlite")
    with open_store(places[0]) as store:
        fill(store)
        with store.writing("Measure again") as action:
            measure(action, 1, 0.1 + 0.2)
        with store.writing("Add") as action:
            keys = action.insert("swatches", [{"name": f"{n}", "added": NOW, "side": n / 7} for n in range(5000)])
            action.update_all("swatches", {key: {"note": "same day"} for key in keys})
        undo(store)
        kept = everything(store)
    counts = copy_store(*places)
    assert counts["measurements"] == 3
    assert counts["actions"] == 4
    assert counts["changes"] > 5_000
    with open_store(places[1]) as store:
        assert everything(store) == kept
        assert check(store) == []
        assert undo(store) == ["Measure again"]
        assert add(store, "next") == [5003]
    with pytest.raises(CatalogueError, match="copied to a place where there is none"):
        copy_store(*places)


def test_a_copy_that_differs_is_not_kept(store, tmp_path, monkeypatch):
    """Rows would be lost on the way without a word."""
    from contrastkit.keep import copying

    real = copying.put

    def loses_a_tag(connection, table, names, cells):
        real(connection, table, names, cells[1:] if table == "tags" else cells)

    monkeypatch.setattr(copying, "put", loses_a_tag)
    differ = pytest.raises(CatalogueError, match="A copy must hold the same rows; tags differ. The copy was not kept")
    with open_store(tmp_path / "new.sqlite") as new, store.reading() as old:
        with differ, new.unrecorded() as connection:
            copying.copy_rows(old, connection)
        assert names(new) == []
