"""The swatch table's contract: what its columns promise and what a table must not contain."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from contrastkit.columns import FLAGS, GROUP_NAMES, SWATCHES, Column, check_table, empty_table
from contrastkit.errors import InvalidInputError

PROMISED = {"swatch_id", "photo", "outline", "lightness", "lightness_sigma", "group"}
NUMBERS = [column for column in SWATCHES if column.dtype == "float64"]


@pytest.fixture
def table():
    return pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [20, 80.5], "note": ["mine", "mine"]})


def test_the_promised_columns_are_declared_once_each_and_explained():
    """A file others rely on would lack a column, or a column have no meaning to print."""
    names = [column.name for column in SWATCHES]
    assert set(names) >= PROMISED
    assert len(set(names)) == len(names)
    assert all(column.meaning for column in SWATCHES)
    assert all(column.unit or column.name in ("group_probability", "coverage") for column in NUMBERS)


def test_only_id_and_lightness_are_required():
    """Someone with lightness values in a file could not use what follows the camera."""
    assert [column.name for column in SWATCHES if column.required] == ["swatch_id", "lightness"]


def test_groups_are_named_from_dark_to_light():
    """Every list and chart that follows the order would be upside down."""
    assert GROUP_NAMES == ("dark", "medium", "light")


def test_every_flag_says_what_is_wrong_and_what_to_do():
    """A report would say 'clipped' and leave the reader there."""
    assert len({flag.name for flag in FLAGS}) == len(FLAGS)
    for flag in FLAGS:
        assert flag.meaning
        assert flag.remedy.endswith(".")
        assert "; " not in flag.name  # the separator in the table


def test_an_empty_table_has_the_declared_columns_and_types():
    """Nothing found would be a table of another shape, and every reader need an if."""
    empty = empty_table(SWATCHES)
    assert len(empty) == 0
    assert empty.columns.tolist() == [column.name for column in SWATCHES]
    for column in SWATCHES:
        assert empty[column.name].dtype == pd.api.types.pandas_dtype(column.dtype)
    pd.testing.assert_frame_equal(check_table(empty, SWATCHES), empty)


def test_a_good_table_comes_back_with_its_types_and_the_readers_own_columns(table):
    """Whole numbers would stay whole numbers, or a reader's own column be thrown away."""
    checked = check_table(table.assign(lightness=[20, 80]), SWATCHES)
    assert checked["lightness"].dtype == np.float64
    assert checked["note"].tolist() == ["mine", "mine"]


def test_checking_leaves_the_table_as_it_was(table):
    """The caller's table would change under their hands."""
    before = table.copy()
    checked = check_table(table, SWATCHES)
    checked["lightness"] = 0
    pd.testing.assert_frame_equal(table, before)


def test_a_table_written_and_read_again_is_the_same(table, tmp_path):
    """What one command writes the next could not read: flags empty, booleans as words, numbers unknown."""
    full = check_table(
        table.assign(group=["dark", ""], borderline=[True, False], munsell_value=[2.0, np.nan], flags=["", "glare"]),
        SWATCHES,
    )
    full.to_csv(tmp_path / "table.csv", index=False)
    again = check_table(pd.read_csv(tmp_path / "table.csv"), SWATCHES)
    pd.testing.assert_frame_equal(again[full.columns.tolist()], full)


@pytest.mark.parametrize("word", [True, "True", "true", "TRUE", 1, "1", "yes"])
def test_yes_is_understood_in_every_spelling(table, word):
    """A spreadsheet's TRUE would become false."""
    assert check_table(table.assign(borderline=[word, "no"]), SWATCHES)["borderline"].tolist() == [True, False]


def test_empty_cells_stay_unknown(table):
    """An empty cell would become the word nan, or 0."""
    checked = check_table(table.assign(lightness=[20, None], photo=[None, "b.jpg"]), SWATCHES)
    assert checked["lightness"].isna().tolist() == [False, True]
    assert checked["photo"].tolist() == ["", "b.jpg"]


@pytest.mark.parametrize("name", ["swatch_id", "lightness"])
def test_a_missing_required_column_is_named_with_what_is_there(table, name):
    """The reader would not learn which column to add or rename."""
    others = ", ".join(column for column in table.columns if column != name)
    with pytest.raises(InvalidInputError, match=rf"column '{name}' \(.+\); it has: {others}. Add the column or rename"):
        check_table(table.drop(columns=name), SWATCHES)
    with pytest.raises(InvalidInputError, match="it has: none"):
        check_table(pd.DataFrame(), SWATCHES)


@pytest.mark.parametrize("column", [c for c in NUMBERS if c.low is not None], ids=lambda c: c.name)
def test_each_number_is_held_to_its_range(table, column):
    """A lightness of 255, or a negative area, would go through every chart."""
    spoilt = [column.low - 1] + ([column.high + 1] if column.high is not None else [])
    message = f"{column.name} must be a number from {column.low:g} to .* row 1 has"
    for value in spoilt:
        with pytest.raises(InvalidInputError, match=message):
            check_table(table.assign(**{column.name: [column.low, value]}), SWATCHES)
    ends = [column.low, column.low if column.high is None else column.high]
    assert check_table(table.assign(**{column.name: ends}), SWATCHES)[column.name].tolist() == ends


def test_a_word_in_a_number_column_is_named_with_its_row(table):
    """The reader would have to look for it in a thousand rows."""
    message = r"lightness must be a number from 0 to 100 \(L\*\); row 1 has 'light'. Correct that cell or leave it"
    with pytest.raises(InvalidInputError, match=message):
        check_table(table.assign(lightness=[20, "light"]), SWATCHES)


def test_a_repeated_id_is_named(table):
    """Two pieces would be taken for one when a plan picks by id."""
    with pytest.raises(InvalidInputError, match="swatch_id must be unique; 'a' stands in more than one row. Rename"):
        check_table(table.assign(swatch_id=["a", "a"]), SWATCHES)


def test_other_tables_can_declare_their_own_columns():
    """The check would be tied to swatches."""
    columns = (Column("width", "float64", "mm", "width of the strip", 0, 1000, required=True),)
    assert check_table(pd.DataFrame({"width": ["12.5"]}), columns)["width"].tolist() == [12.5]


def test_half_letters_are_spelled_out_however_pandas_keeps_strings():
    """A file's name may hold bytes that are no letters; no CSV, page or database can hold them as they are."""
    table = pd.DataFrame({"swatch_id": pd.Series(["bad\udcff", "good"], dtype=object), "lightness": [40.0, 50.0]})

    assert check_table(table, SWATCHES)["swatch_id"].tolist() == ["bad\\udcff", "good"]
