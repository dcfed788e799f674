"""Pieces of the catalogue to files and back: nothing lost, nothing done that was not said first."""

from __future__ import annotations

import json
import math
import sys
from contextlib import suppress

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contrastkit.errors import InvalidInputError, MissingPackageError
from contrastkit.keep import exchange
from contrastkit.keep.catalogue import open_catalogue

ENDINGS = exchange.ENDINGS


@pytest.fixture
def pile(tmp_path):
    """A catalogue with pieces of every kind."""
    table = pd.DataFrame({
        "swatch_id": ["a", "b", "c", "d"], "lightness": [20.123456789, 45.5, 77.0, 90.0],
        "lightness_sigma": [0.6, math.nan, 0.1 + 0.2, 1.0], "borderline": [True, False, False, False],
        "drawer colour": ["red", "", "", "=1+1"], "outline": ["[[0, 0], [0, 9], [9, 9]]", "", "", ""],
    })  # fmt: skip
    with open_catalogue(tmp_path / "pile.sqlite", who="test") as catalogue:
        catalogue.add(table, ground="red cotton", side="3 1/2 in", surface="wet")
        catalogue.tag(["a", "b"], add=["shiny", "mother of pearl"])
        catalogue.note("a", "two lines,\r\nwith \"quotes\"\0 and NUL; שלום 🎨 \u202e -1")
        catalogue.note("b", "=HYPERLINK(1)")
        catalogue.set_aside("c", "Wall")
        catalogue.use("d")
        yield catalogue


def seen(catalogue):
    """All that a file could hold of a catalogue."""
    table = catalogue.table(sort="name")
    return table.astype(object).where(table.notna(), None).to_dict("records")


@pytest.mark.parametrize("ending", ENDINGS)
def test_what_goes_out_comes_in_again_unchanged(pile, tmp_path, ending):
    """A note, a digit, a tag or a date would be lost on the way."""
    file = exchange.export(pile, tmp_path / f"out{ending}")
    with open_catalogue(tmp_path / "other.sqlite", who="test") as other:
        preview = exchange.preview(other, file)
        assert sorted(preview.new) == ["a", "b", "c", "d"]
        assert (preview.changed, preview.same, preview.clashing) == ((), (), {})
        assert exchange.apply(other, preview) == f"Imported out{ending}: 4 new, 0 changed."
        assert seen(other) == seen(pile)
        assert other.check() == []


@pytest.mark.parametrize("ending", ENDINGS)
def test_its_own_file_changes_nothing(pile, tmp_path, ending):
    """Numbers that were rounded on the way would be new measurements."""
    preview = exchange.preview(pile, exchange.export(pile, tmp_path / f"out{ending}"))
    assert (preview.new, preview.changed, preview.clashing) == ((), (), {})
    assert sorted(preview.same) == ["a", "b", "c", "d"]


TEXTS = st.text(st.characters(codec=None, exclude_categories=()), max_size=30)


@settings(max_examples=25, deadline=None)
@given(TEXTS, TEXTS, st.floats(0, 100), st.sampled_from(ENDINGS))
def test_any_text_and_number_comes_back_as_it_was(tmp_path_factory, note, place, lightness, ending):
    """Someone's keyboard, or someone's malice, would break the file."""
    folder = tmp_path_factory.mktemp("any")
    place = "".join(place.split())
    places = [folder / "one.sqlite", folder / "two.sqlite"]
    with open_catalogue(places[0], who="test") as one, open_catalogue(places[1], who="test") as two:
        one.add(pd.DataFrame({"swatch_id": ["a"], "lightness": [lightness]}))
        one.note("a", note)
        with suppress(InvalidInputError):  # not one line: refused by the catalogue, not by the file
            one.put("a", place)
        exchange.apply(two, exchange.preview(two, exchange.export(one, folder / f"x{ending}")))
        assert seen(two) == seen(one)


def test_a_note_that_begins_like_a_formula_is_only_text_in_a_spreadsheet(pile, tmp_path):
    """It would run in whoever's spreadsheet opens the file."""
    text = exchange.export(pile, tmp_path / "out.csv").read_text()
    assert "'=HYPERLINK(1)" in text and "'=1+1" in text
    assert ",=" not in text and "\n=" not in text and "\0" not in text


def test_only_what_is_asked_for_goes_out(pile, tmp_path):
    """She would send her whole pile to a friend."""
    file = exchange.export(pile, tmp_path / "out.jsonl", "light not used")
    assert [json.loads(line)["swatch_id"] for line in file.read_text().splitlines()] == ["c"]


def test_an_import_says_what_it_would_do_and_does_it_as_one_action(pile, tmp_path):
    """A clumsy import would spoil years; undo brings all of it back."""
    file = tmp_path / "in.csv"
    file.write_text(
        "swatch_id,lightness,ground,tags,measured\n"
        "a,20.123456789,red cotton,shiny; mother of pearl,\n"  # says nothing new
        "b,48,blue linen,dull,2999-01-01\n"  # measured again, on other cloth, with another tag
        "c,70,red cotton,,1999-01-01\n"  # older than what is known
        "d,11,,,\n"  # used
        "e,60,black,new; shiny,\n"
    )
    before = seen(pile)

    preview = exchange.preview(pile, file)

    assert (preview.new, preview.changed, preview.same) == (("e",), ("b",), ("a",))
    assert preview.clashing == {"c": preview.clashing["c"], "d": "which was used"}
    assert preview.clashing["c"].startswith("which was measured since, on 20")
    assert preview.sentences[:3] == ["New: e.", "Changed: b.", "The same already: a."]
    assert seen(pile) == before

    assert exchange.apply(pile, preview) == "Imported in.csv: 1 new, 1 changed."

    piece = pile.show("b")
    assert (piece.reading["lightness"], piece.details["ground"], piece.tags) == (48, "blue linen", ("dull",))
    assert len(piece.history) == 2
    assert piece.note == "=HYPERLINK(1)"  # of which the file says nothing
    assert pile.show("e").tags == ("new", "shiny")
    assert pile.show("d").state == "used"
    assert pile.check() == []
    assert pile.undo() == ["Import in.csv: 1 new, 1 changed"]
    assert seen(pile) == before


def test_what_has_changed_since_it_was_looked_at_is_not_imported(pile, tmp_path):
    """Something else would be done than was said."""
    file = tmp_path / "in.csv"
    file.write_text("swatch_id,lightness\ne,60\n")
    preview = exchange.preview(pile, file)
    pile.add(pd.DataFrame({"swatch_id": ["e"], "lightness": [50.0]}))
    with pytest.raises(InvalidInputError, match="has changed since .* nothing was imported. Look again"):
        exchange.apply(pile, preview)
    assert pile.show("e").reading["lightness"] == 50


def test_a_note_of_ten_million_letters_comes_through(tmp_path):
    """The csv module stops at 131,072."""
    places = [tmp_path / "one.sqlite", tmp_path / "two.sqlite"]
    with open_catalogue(places[0], who="t") as one, open_catalogue(places[1], who="t") as two:
        one.add(pd.DataFrame({"swatch_id": ["a"], "lightness": [50.0]}))
        one.note("a", "x" * 10_000_000)
        for ending in ENDINGS:
            file = exchange.export(one, tmp_path / f"out{ending}")
            assert exchange.preview(one, file).same == ("a",)
        exchange.apply(two, exchange.preview(two, tmp_path / "out.csv"))
        assert len(two.show("a").note) == 10_000_000


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("in.txt", "", "read from a file that ends in .csv, .jsonl, .parquet; got '.*in.txt'"),
        ("nowhere.csv", None, "There is no file"),
        ("in.csv", "swatch_id\na\n", "must have a column 'lightness'"),
        ("in.csv", "swatch_id,lightness\na,20\na,30\n", "unique; 'a' stands in more than one row"),
        ("in.csv", "swatch_id,lightness\na,120\n", "lightness must be a number from 0 to 100"),
        ("in.csv", "swatch_id,lightness,state\na,20,eaten\n", "state must be at hand, set .* used, lost; got 'eaten'"),
        ("in.csv", "swatch_id,lightness,surface\na,20,dry\n", "surface must be wet, cured, unknown; got 'dry'"),
        ("in.csv", f"swatch_id,lightness\n{'x' * 300},20\n", "name of at most 200 characters"),
        ("in.csv", "swatch_id,lightness,side\na,20,0\n", "side must be more than zero"),
        ("in.jsonl", '{"swatch_id": "a", "lightness": 20}\nnot\n', "line 2 of .* is not"),
        ("in.jsonl", "[1]\n", "line 1 of .* is a list"),
        ("in.jsonl", '{"swatch_id": "a", "lightness": "dark"}\n', "lightness must be a number"),
        ("in.parquet", "PAR1", "must be a Parquet file"),
    ],
)
def test_a_file_that_cannot_be_right_is_refused_in_a_sentence(pile, tmp_path, name, text, told):
    """A slip in one row would end in half an import."""
    if text is not None:
        (tmp_path / name).write_text(text)
    with pytest.raises(InvalidInputError, match=told):
        exchange.preview(pile, tmp_path / name)


def test_another_ending_is_no_export(pile, tmp_path):
    """Nobody would know what is in the file."""
    with pytest.raises(InvalidInputError, match="Pieces is written to a file|Pieces are written"):
        exchange.export(pile, tmp_path / "out.doc")


def test_without_pyarrow_it_is_said_how_to_get_it(pile, tmp_path, monkeypatch):
    """She would see an ImportError."""
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(MissingPackageError, match=r"pip install 'contrastkit\[parquet\]'"):
        exchange.export(pile, tmp_path / "out.parquet")


def test_every_column_of_a_file_is_one_of_ours_or_what_a_table_said(pile, tmp_path):
    """The list of columns in the documentation would not be that of the file."""
    file = exchange.export(pile, tmp_path / "out.jsonl")
    names = set(json.loads(file.read_text().splitlines()[0]))
    assert names - exchange._OWN == {"drawer colour"}
