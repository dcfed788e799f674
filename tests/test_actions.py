"""What people did is kept together or not at all, recorded, and undone."""

from __future__ import annotations

import datetime
import json
import random
from contextlib import suppress
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from catalogues import NOW, PICTURE, add, everything, measure, names, piece, rows
from sqlalchemy import func, select

from contrastkit.errors import CatalogueError, InvalidInputError
from contrastkit.keep import schema
from contrastkit.keep.actions import last_actions, redo, undo
from contrastkit.keep.store import check, open_store

pytest_plugins = ["postgres"]

@pytest.fixture
def store(where):
    with open_store(where) as opened:
        yield opened


def test_an_action_keeps_everything_it_changed(store):
    """A piece would be in the pile without its measurement."""
    with store.writing("Add one", who="me") as action:
        (swatch,) = action.insert("swatches", [piece("blue", note="shiny")])
        number = measure(action, swatch, 42.5)
        action.insert("tags", [{"swatch": swatch, "tag": "sold"}])
        action.insert("crops", [{"measurement": number, "png": PICTURE}])
    assert rows(store, "swatches")[0] | {} == {
        **dict.fromkeys(schema.swatches.c.keys()),
        "swatch": swatch, "name": "blue", "ground": "", "paints": "", "plate": "", "sheet": "", "place": "",
        "note": "shiny", "state": "at hand", "added": NOW, "measurement": number, "lightness": 42.5, "flags": "",
    }  # fmt: skip
    assert rows(store, "tags") == [{"swatch": swatch, "tag": "sold"}]
    assert rows(store, "crops") == [{"measurement": number, "png": PICTURE}]
    assert check(store) == []


def test_an_action_that_fails_keeps_nothing(store):
    """Half an import would stay, and nobody would know which half."""
    add(store, "blue")
    before = everything(store)
    with pytest.raises(ZeroDivisionError), store.writing("Add two") as action:  # noqa: PT012
        action.insert("swatches", [piece("red")])
        action.update("swatches", 1, {"note": "x"})
        action.delete("swatches", 1)
        1 / 0  # noqa: B018
    assert everything(store) == before
    assert len(rows(store, "actions")) == 1


def test_an_action_that_changes_nothing_is_not_recorded(store):
    """Undo would seem to do nothing."""
    add(store, "blue")
    with store.writing("Note") as action:
        action.update("swatches", 1, {"note": ""})
    with store.writing("Look"):
        pass
    assert [row["what"] for row in rows(store, "actions")] == ["Add blue"]


def test_an_action_says_who_did_what_and_when(store, monkeypatch):
    """In a studio of six nobody could ask the one who knows."""
    monkeypatch.setenv("LOGNAME", "ash")
    with store.writing("Add one") as action:
        action.insert("swatches", [piece("blue")])
        action.what = "Add blue, as it turned out"
    add(store, "red")
    with store.reading() as connection:
        newest, first = last_actions(connection)
    assert (first["who"], first["what"], newest["who"]) == ("ash", "Add blue, as it turned out", "me")
    when = datetime.datetime.fromisoformat(first["at"])
    assert abs(datetime.datetime.now(datetime.UTC) - when) < datetime.timedelta(minutes=1)
    assert (len(first["at"]), first["at"][-6:]) == (32, "+00:00")


def test_every_change_holds_what_was_before(store):
    """Something would be gone for good."""
    (swatch,) = add(store, "blue")
    with store.writing("Change and take away") as action:
        action.update("swatches", swatch, {"note": "shiny", "side": 76.2})
        action.delete("swatches", swatch)
    recorded = rows(store, "changes")[1:]
    assert json.loads(recorded[0]["before"]) == {"note": "", "side": None}
    assert json.loads(recorded[0]["after"]) == {"note": "shiny", "side": 76.2}
    whole = json.loads(recorded[1]["before"])
    assert (whole["name"], whole["note"], set(whole)) == ("blue", "shiny", set(schema.swatches.c.keys()))


def test_many_rows_that_were_taken_away_come_back_exactly(store):
    """An import that was undone would come back otherwise than it was: its order, a letter, the last figure."""
    with store.writing("Import") as action:
        keys = list(action.reserve("swatches", 1200))
        action.insert_columns("swatches", {
            "swatch": keys, "name": [f"{n} 🌿\0" for n in keys], "added": [NOW] * 1200, "side": [n / 7 for n in keys],
            "note": [None if n % 2 else "=1" for n in keys],
        })  # fmt: skip
        action.insert_columns("tags", {"swatch": keys, "tag": ["half \ud83d"] * 1200})
    assert [row["place"] for row in rows(store, "changes")] == list(range(6))
    full = everything(store)
    assert [row["side"] for row in full["swatches"]] == [n / 7 for n in keys]
    undo(store)
    assert [row["place"] for row in rows(store, "changes")] == [*range(6), *range(6)]
    assert (names(store), rows(store, "tags")) == ([], [])
    assert check(store) == []
    redo(store)
    assert everything(store) == full
    assert check(store) == []


def test_long_rows_share_no_change(store):
    """A database keeps no cell of a gigabyte: many long notes could be written and never be taken back."""
    with store.writing("Add") as action:
        action.insert("swatches", [piece(f"{n}", note="x" * 100_000) for n in range(60)])
    full = everything(store)
    undo(store)
    assert max(len(row["before"] or "") for row in rows(store, "changes")) < 1_100_000
    redo(store)
    assert everything(store) == full
    assert check(store) == []


def test_pictures_that_were_undone_come_back(store):
    """Bytes stand among texts in the record; they would come back as something else."""
    with store.writing("Add") as action:
        swatches = action.insert("swatches", [piece(f"{n}") for n in range(70)])
        action.insert("crops", [{"measurement": measure(action, n, 40), "png": PICTURE + bytes([n])} for n in swatches])
    full = everything(store)
    undo(store)
    redo(store)
    assert everything(store) == full


def test_numbers_are_never_given_twice(store):
    """A crop or a note of a piece that was undone would turn up with another."""
    first = add(store, "blue")
    undo(store)
    assert add(store, "red")[0] > first[0]
    with store.writing("Bring one's own") as action:
        assert action.insert("swatches", [piece("a", swatch=50), piece("b")])[0] == 50
    assert add(store, "c")[0] == 51


@pytest.mark.parametrize(
    ("column", "value", "stored"),
    [
        ("lightness", np.float64(41.25), 41.25),
        ("lightness", np.float32(0.5), 0.5),
        ("lightness", np.int64(40), 40.0),
        ("lightness", 40, 40.0),
        ("lightness", float("nan"), None),
        ("lightness", np.nan, None),
        ("lightness", pd.NA, None),
        ("lightness", None, None),
        ("lightness", -0.0, 0.0),
        ("lightness", 0.1 + 0.2, 0.30000000000000004),
        ("lightness", 5e-324, 5e-324),
        ("lightness", 1.7976931348623157e308, 1.7976931348623157e308),
        ("note", np.str_("shiny"), "shiny"),
        ("note", float("nan"), ""),
        ("note", pd.NaT, ""),
        ("place", Path("a/b"), "a/b"),
        ("note", "a\0b", "a\0b"),
        ("note", "half \ud83d \udcff halves \ud83d\ude00", "half \ud83d \udcff halves \ud83d\ude00"),
        ("note", "\x1a0000 \x1a", "\x1a0000 \x1a"),
        ("note", "'; DROP TABLE swatches; -- \"%s\" :name ?", "'; DROP TABLE swatches; -- \"%s\" :name ?"),
        ("note", "\u202eright to left\u202c שלום 🌿👩🏽‍🎨", "\u202eright to left\u202c שלום 🌿👩🏽‍🎨"),
        ("added", datetime.date(2026, 11, 25), "2026-11-25"),
        ("added", datetime.datetime(2026, 11, 25, 10, tzinfo=datetime.UTC), NOW),
        ("added", pd.Timestamp("2026-11-25 11:00", tz="Europe/Berlin"), NOW),
        ("added", np.datetime64("2026-11-25T10:00"), NOW),
    ],
)  # fmt: skip
def test_values_of_numpy_and_pandas_are_kept_as_plain_ones(store, column, value, stored):
    """A table measured here could not be added, or would come back changed; on undo too."""
    with store.writing("Add") as action:
        (swatch,) = action.insert("swatches", [piece("blue") | {column: value}])
    assert rows(store, "swatches")[0][column] == stored
    assert type(rows(store, "swatches")[0][column]) is type(stored)
    undo(store)
    redo(store)
    assert rows(store, "swatches")[0][column] == stored
    with store.writing("Change") as action:
        action.update("swatches", swatch, {column: None if column != "added" else "never"})
        action.update("swatches", swatch, {column: value})
    assert rows(store, "swatches")[0][column] == stored


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({"lightness": "dark"}, "A number is needed; got 'dark'"),
        ({"measurement": 1.5}, "A whole number of at most 64 bits is needed; got 1.5"),
        ({"measurement": float("inf")}, "A whole number of at most 64 bits is needed; got inf"),
        ({"measurement": 2**63}, "A whole number of at most 64 bits is needed; got 9223372036854775808"),
        ({"note": 5}, "A text is needed; got 5"),
        ({"note": ["a"]}, r"A text is needed; got \['a'\]"),
        ({"colour": "blue"}, "must have columns from swatch, name, .*; got 'colour'"),
        ({"note": "x" * 20_000_001}, "A text has at most 20,000,000 characters; got 20,000,001"),
    ],
)
def test_values_that_cannot_be_kept_are_refused(store, row, message):
    """The database would refuse them later with words of its own, or keep something else."""
    with pytest.raises(InvalidInputError, match=message), store.writing("Add") as action:
        action.insert("swatches", [piece("blue") | row])
    assert rows(store, "swatches") == []


def test_bytes_are_needed_where_a_picture_belongs(store):
    """A path would be kept in the place of the picture."""
    with pytest.raises(InvalidInputError, match="Bytes are needed; got 'a.png'"), store.writing("Add") as action:
        action.insert("crops", [{"measurement": 1, "png": "a.png"}])


def test_tables_that_are_not_a_persons_are_refused(store):
    """The record itself could be changed."""
    for table in ("changes", "actions", "counters", "sqlite_master"):
        refused = pytest.raises(InvalidInputError, match="What is recorded must be in one of")
        with refused, store.writing("Add") as action:
            action.insert(table, [{}])


def test_measurements_are_added_and_never_changed(store):
    """History would be rewritten."""
    with store.writing("Add") as action:
        (swatch,) = action.insert("swatches", [piece("blue")])
        number = measure(action, swatch, 40)
    with pytest.raises(InvalidInputError, match="added and never changed"), store.writing("Better") as action:
        action.update("measurements", number, {"lightness": 50})


def test_a_key_is_never_changed(store):
    """What refers to the row would refer to nothing."""
    (swatch,) = add(store, "blue")
    with pytest.raises(InvalidInputError, match="The key of a row never changes"), store.writing("Renumber") as action:
        action.update("swatches", swatch, {"swatch": 7})


@pytest.mark.parametrize("change", ["update", "delete"])
def test_a_row_that_is_not_there_is_said(store, change):
    """A note would be lost without a word."""
    missing = pytest.raises(CatalogueError, match=r"swatches has none with the key \[9\]")
    with missing, store.writing("Change") as action:
        action.update("swatches", 9, {"note": "x"}) if change == "update" else action.delete("swatches", 9)


def test_rules_of_the_tables_hold(store):
    """Two pieces could have one name, or a state nobody knows."""
    add(store, "blue")
    wrong = [piece("blue"), piece("red", state="eaten"), piece("red", measurement=9), {"name": "red"}]
    for row in wrong:
        hold = pytest.raises(CatalogueError, match="the catalogue's rules must hold.*Nothing was changed")
        with hold, store.writing("Add") as action:
            action.insert("swatches", [row])
    assert [row["name"] for row in rows(store, "swatches")] == ["blue"]


def test_an_action_is_not_kept_where_an_error_was_passed_over(store):
    """The rows before the one that failed would be there without a record."""
    add(store, "blue")
    whole = pytest.raises(CatalogueError, match="To be kept, an action must be whole; a change of .Add. failed")
    with whole, store.writing("Add") as action, suppress(Exception):
        action.insert("swatches", [piece("red"), piece("blue")])
    assert [row["name"] for row in rows(store, "swatches")] == ["blue"]
    assert check(store) == []


def test_undo_takes_back_the_last_actions_newest_first(store):
    """The wrong one would be undone."""
    empty = everything(store)
    (swatch,) = add(store, "blue")
    one = everything(store)
    with store.writing("Measure blue") as action:
        measure(action, swatch, 40)
        action.insert("tags", [{"swatch": swatch, "tag": "sold"}])
    two = everything(store)
    with store.writing("Lose the tag") as action:
        action.delete("tags", (swatch, "sold"))
    assert undo(store) == ["Lose the tag"]
    assert everything(store) == two
    assert undo(store) == ["Measure blue"]
    assert everything(store) == one
    assert undo(store) == ["Add blue"]
    assert everything(store) == empty
    assert undo(store) == []
    assert check(store) == []


def test_undo_of_several_is_said_newest_first(store):
    """The list would not say which were undone."""
    for name in ("a", "b", "c"):
        add(store, name)
    assert undo(store, count=2) == ["Add c", "Add b"]
    assert [row["name"] for row in rows(store, "swatches")] == ["a"]
    assert undo(store, count=5) == ["Add a"]
    with pytest.raises(InvalidInputError, match="At least one action"):
        undo(store, count=0)


def test_undo_is_recorded_and_can_be_undone(store):
    """An undo too many would lose what it took back."""
    add(store, "a")
    add(store, "b")
    full = everything(store)
    undo(store, count=2, who="ash")
    assert redo(store) == ["Add a"]
    assert redo(store, count=3) == ["Add b"]
    assert everything(store) == full
    assert undo(store) == ["Add b"]
    assert redo(store) == ["Add b"]
    assert redo(store) == []
    said = [(row["what"], row["undoes"]) for row in rows(store, "actions")[2:6]]
    assert said == [("Undo: Add b", 2), ("Undo: Add a", 1), ("Redo: Add a", 4), ("Redo: Add b", 3)]
    assert rows(store, "actions")[2]["who"] == "ash"


def test_redo_ends_where_something_new_was_done(store):
    """An old action would be laid over a newer one."""
    add(store, "a")
    undo(store)
    add(store, "b")
    assert redo(store) == []
    assert undo(store, count=9) == ["Add b"]
    assert redo(store, count=9) == ["Add b"]


def test_names_that_were_exchanged_are_exchanged_back(store):
    """Undoing would meet two pieces of one name on the way."""
    a, b = add(store, "a", "b")
    with store.writing("Exchange") as action:
        action.update("swatches", a, {"name": "c"})
        action.update("swatches", b, {"name": "a", "note": "was b"})
        action.update("swatches", a, {"name": "b"})
    exchanged = everything(store)
    undo(store)
    assert [row["name"] for row in rows(store, "swatches")] == ["a", "b"]
    redo(store)
    assert everything(store) == exchanged


def test_undo_refuses_a_row_that_is_not_as_the_action_left_it(store):
    """A change made behind the catalogue's back would be overwritten."""
    (swatch,) = add(store, "blue")
    with store.writing("Note") as action:
        action.update("swatches", swatch, {"note": "mine"})
    with store.unrecorded() as connection:
        connection.execute(schema.swatches.update().values(note="someone's"))
    with pytest.raises(CatalogueError, match="must be as the action left it; swatches 1 is not"):
        undo(store)
    assert rows(store, "swatches")[0]["note"] == "someone's"


@pytest.mark.parametrize("seed", range(6))
def test_any_actions_are_undone_and_redone_exactly(store, seed):
    """Some order of changes would not find its way back."""
    chance = random.Random(seed)
    states = [everything(store)]
    for step in range(12):
        with store.writing(f"Step {step}") as action:
            for _ in range(chance.randint(1, 6)):
                _change_something(action, chance)
        if action.number is not None:
            states.append(everything(store))
    for before in reversed(states[:-1]):
        assert len(undo(store)) == 1
        assert everything(store) == before
    for after in states[1:]:
        assert len(redo(store)) == 1
        assert everything(store) == after
    assert check(store) == []


def _change_something(action, chance: random.Random) -> None:
    names = action.connection.execute(select(schema.swatches.c.swatch).order_by("swatch")).scalars().all()
    what = chance.choice(["add", "note", "measure", "tag", "untag", "remove"]) if names else "add"
    if what == "add":
        count = chance.choice([1, 2, 300])  # 300: the bulk way of PostgreSQL
        action.insert("swatches", [piece(f"{chance.random()}", note=chance.choice("ab")) for _ in range(count)])
        return
    swatch = chance.choice(names)
    tags = select(schema.tags.c.tag).where(schema.tags.c.swatch == swatch)
    there = action.connection.execute(tags).scalars().all()
    if what == "note":
        some = chance.sample(names, min(len(names), 5))
        action.update_all("swatches", {n: {chance.choice(["note", "place"]): chance.choice("abc")} for n in some})
    elif what == "measure":
        measure(action, swatch, chance.random())
    elif what == "tag":
        action.insert("tags", [{"swatch": swatch, "tag": tag} for tag in ("sold", "big") if tag not in there])
    elif what == "untag":
        action.delete_all("tags", [(swatch, tag) for tag in there])
    elif not there and _measurements(action, swatch) == 0:
        action.delete("swatches", swatch)


def _measurements(action, swatch: int) -> int:
    query = select(func.count()).where(schema.measurements.c.swatch == swatch)
    return action.connection.execute(query).scalar_one()


def test_many_new_rows_are_recorded_together_undone_and_done_again(store):
    """An import could not be undone, or one of its rows be changed behind the record's back."""
    def many(action, count, first):
        numbers = action.insert("swatches", [piece(f"p{at}", note="ü\\0") for at in range(first, first + count)])
        action.insert("tags", [{"swatch": number, "tag": f"tag {number}, \"x\""} for number in numbers])
        action.update("swatches", numbers[3], {"note": "changed"})

    with store.writing("Add a few") as action:
        many(action, 7, 0)
    with store.writing("Add many") as action:
        many(action, 1234, 10)
    full, record = everything(store), rows(store, "changes")
    assert len(record) == 2 * 7 + 1 + 2 * 3 + 1
    assert check(store) == []
    undo(store)
    assert len(rows(store, "swatches")) == 7
    assert check(store) == []
    redo(store)
    assert everything(store)["swatches"] == full["swatches"]
    assert everything(store)["tags"] == full["tags"]
    assert check(store) == []
    with store.unrecorded() as connection:
        connection.execute(schema.swatches.update().where(schema.swatches.c.name == "p700").values(place="moved"))
    (finding,) = check(store)
    assert finding.what.endswith("of swatches was changed, and no action changed it.")


def test_a_record_of_many_that_lost_a_checksum_is_found(store):
    """Damage of the record itself would stop the check, or pass it."""
    with store.writing("Add many") as action:
        action.insert("swatches", [piece(f"p{at}") for at in range(60)])
    with store.unrecorded() as connection:
        connection.execute(schema.changes.update().values(after=func.substr(schema.changes.c.after, 1, 9 * 59)))
    assert [finding.what for finding in check(store)] == [
        "Row [60] of swatches was changed, and no action changed it."
    ]


@pytest.mark.parametrize(("columns", "message"), [
    ({"name": ["a"]}, r"^New rows of swatches must have their key, swatch\. Add it\.$"),
    ({"swatch": [1], "colour": ["red"]}, r"^A row of swatches must have columns from .*; got 'colour'\.$"),
])
def test_columns_that_are_no_rows_are_refused(store, columns, message):
    """Rows without a number, or with a column that nobody reads, would be kept."""
    with pytest.raises(InvalidInputError, match=message), store.writing("Add") as action:
        action.insert_columns("swatches", columns)
