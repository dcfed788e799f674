"""A pile from photographs, a table or the catalogue: what charts and handouts get, and what is refused."""

from __future__ import annotations

import pandas as pd
import pytest
from demo import PHOTOS, keep_demo

from contrastkit.errors import InvalidInputError, TooFewSwatchesError, UnreadablePhotoError
from contrastkit.show.gathered import pile_at


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """The demo pile in a catalogue."""
    return keep_demo(tmp_path_factory.mktemp("kept") / "demo.sqlite")


@pytest.fixture
def table(tmp_path):
    """A table of two pieces in a file."""
    pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [30, 70]}).to_csv(tmp_path / "pile.csv", index=False)
    return tmp_path / "pile.csv"


def test_photographs_and_folders_of_them_are_measured(tmp_path):
    """She would have to keep or tabulate them first; a spoilt one would stop the rest."""
    (tmp_path / "spoilt.jpg").write_text("no photograph")
    begun, told = [], []
    pile = pile_at([PHOTOS / "morning-card.jpg", tmp_path], progress=lambda *each: begun.append(each),
                   told=told.append)  # fmt: skip
    assert len(pile.table) == 16
    assert set(pile.crops) == set(pile.table["swatch_id"])
    assert [failed.path.name for failed in pile.failed] == ["spoilt.jpg"]
    assert [number for number, _, _ in begun] == [0, 1] and len(told) == 2


def test_a_catalogue_gives_its_pieces_at_hand_with_their_pictures(kept):
    """Charts would show flat greys although the pictures are kept."""
    pile = pile_at([kept])
    assert len(pile.table) == 46
    assert set(pile.crops) == set(pile.table["swatch_id"])
    assert 0 < len(pile_at([kept], "dark").table) < 46


def test_a_table_gives_pieces_without_pictures(table):
    """Whoever has only numbers would get nothing."""
    pile = pile_at([table], "medium")  # a table is taken whole
    assert pile.table["swatch_id"].tolist() == ["a", "b"]
    assert pile.crops == {}


def test_a_table_beside_something_else_is_refused(table, kept):
    """Two piles would be mixed, or one quietly left out."""
    with pytest.raises(InvalidInputError, match=r"must stand alone; got '.*pile.csv' beside 1 more\. Name one\."):
        pile_at([PHOTOS, table])
    with pytest.raises(InvalidInputError, match=r"must stand alone; got '.*demo.sqlite' beside 1 more"):
        pile_at([kept, PHOTOS])


def test_nothing_to_show_is_said(kept, tmp_path):
    """An empty page would be drawn, or a traceback be printed."""
    with pytest.raises(TooFewSwatchesError, match="demo.sqlite' has none that is: lightness>99. Ask for others"):
        pile_at([kept], "lightness>99")
    with pytest.raises(UnreadablePhotoError, match="There must be a photograph to measure; none is in"):
        pile_at([tmp_path])
    with pytest.raises(InvalidInputError, match="There is no file '.*nowhere'"):
        pile_at([tmp_path / "nowhere"])


def test_a_reference_is_for_photographs(table, kept):
    """What was asked for would be left out without a word."""
    for place in (table, kept):
        with pytest.raises(InvalidInputError, match=r"A reference is for photographs; '.*' is measured already\."):
            pile_at([place], reference="card")
        with pytest.raises(InvalidInputError, match="A reference is for photographs"):
            pile_at([place], reference_at=(0, 0, 9, 9))


def test_a_table_without_rows_says_so(tmp_path):
    """She would look for a filter that there is not."""
    (tmp_path / "empty.csv").write_text("swatch_id,lightness\n")
    with pytest.raises(TooFewSwatchesError, match=r"must be a piece to show; '.*empty\.csv' has no row\. Add some\."):
        pile_at([tmp_path / "empty.csv"])
