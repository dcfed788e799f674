"""Tables and files: they come back as they went, whole or not at all, and never over a photograph."""

import csv
import io
import json
import os

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_pile import made_table

from contrastkit.columns import SWATCHES
from contrastkit.errors import InvalidInputError
from contrastkit.keep.files import ready_folder, refuse_to_replace, table_place, write_whole
from contrastkit.keep.tables import csv_text, read_table, records, rounded, write_table


def read_text(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "table.csv"
    path.write_bytes(text.encode(encoding))
    return read_table(path)


# --- there and back --------------------------------------------------------------------------------------------------


def test_a_swatch_table_comes_back_as_it_went(tmp_path):
    """A study could not be taken up again from its own table."""
    table = rounded(made_table())

    back = read_table(write_table(table, tmp_path / "pile.csv"))

    pd.testing.assert_frame_equal(back[list(table.columns)], table, check_dtype=False)
    assert [str(back[column.name].dtype) for column in SWATCHES if column.name in back] == [
        column.dtype for column in SWATCHES if column.name in back
    ]


def test_known_columns_come_first_in_their_order_and_others_stay(tmp_path):
    """Other programs read the first columns; the owner's own notes must not be lost."""
    table = pd.DataFrame({"note": ["007"], "lightness": [50.126], "swatch_id": ["a"]})

    path = write_table(table, tmp_path / "pile.csv")

    assert path.read_bytes() == b"swatch_id,lightness,note\na,50.13,007\n"
    assert read_table(path)["note"].tolist() == ["007"]


def test_what_is_kept_is_what_was_sorted(tmp_path):
    """A piece at L* 40.003 would be medium on the screen and dark in the file."""
    table = rounded(pd.DataFrame({"swatch_id": ["a"], "lightness": [40.003]}))

    assert table["lightness"].tolist() == [40.0]
    assert read_table(write_table(table, tmp_path / "pile.csv"))["lightness"].tolist() == [40.0]


def test_unknown_numbers_are_empty_cells(tmp_path):
    """The word nan means nothing in a spreadsheet."""
    table = pd.DataFrame({"swatch_id": ["a"], "lightness": [np.nan], "borderline": [True]})

    assert csv_text(table).splitlines()[1] == "a,,True"
    back = read_table(write_table(table, tmp_path / "pile.csv"))
    assert back["lightness"].isna().all() and back["borderline"].tolist() == [True]


@pytest.mark.parametrize(
    "name", ["=1+1", "+3", "-12", "@sum", "\t=1", "'=1", "''-x", "'plain", "a,b", 'a"b', "naïve", ""]
)
def test_a_name_never_runs_in_a_spreadsheet_and_comes_back_as_it_was(tmp_path, name):
    """A file named =HYPERLINK(...).jpg would run on the friend's computer that opens the table."""
    table = pd.DataFrame({"swatch_id": [name], "lightness": [50.0], "note": [name]})

    path = write_table(table, tmp_path / "pile.csv")

    with open(path, newline="", encoding="utf-8") as file:
        cell = list(csv.reader(file))[1][0]
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    assert read_table(path)[["swatch_id", "note"]].to_numpy().tolist() == [[name, name]]


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0")), min_size=1, unique=True))
def test_any_text_comes_back(tmp_path_factory, names):
    """One name in a thousand would come back as another, and its crop be lost."""
    table = pd.DataFrame({"swatch_id": names, "lightness": 50.0})

    back = read_table(write_table(table, tmp_path_factory.getbasetemp() / "any.csv"))

    assert back["swatch_id"].tolist() == names


def test_a_number_in_a_column_of_the_owners_own_stays_a_number():
    """An apostrophe before -5 would turn a sum in their spreadsheet into text."""
    table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [50.0, 51.0], "shift": ["-5", "-cmd"]})

    assert [row[2] for row in csv.reader(io.StringIO(csv_text(table)))] == ["shift", "-5", "'-cmd"]


# --- what spreadsheets write -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_tables_from_any_spreadsheet_are_read(tmp_path, separator, encoding):
    """Half of all spreadsheets part columns with semicolons, and older ones do not write UTF-8."""
    text = f"Swatch_ID{separator}lightness \r\nnaïve{separator}50.5\r\n\r\n"

    table = read_text(tmp_path, text, encoding)

    assert table.to_numpy().tolist() == [["naïve", 50.5]]


def test_decimal_commas_are_read_where_commas_part_nothing(tmp_path):
    """Where people write 50,5 every value would be refused."""
    assert read_text(tmp_path, "swatch_id;lightness\n1,5;50,5\n")["lightness"].tolist() == [50.5]
    assert read_text(tmp_path, "swatch_id;lightness\n1,5;50,5\n")["swatch_id"].tolist() == ["1,5"]


@pytest.mark.parametrize("word", ["", " ", "NA", "nan", "?", "-", "NULL"])
def test_words_for_unknown_are_unknown_in_numbers_only(tmp_path, word):
    """A piece named NA would lose its name."""
    table = read_text(tmp_path, f"swatch_id,lightness\nNA,{word}\n")

    assert table["swatch_id"].tolist() == ["NA"]
    assert table["lightness"].isna().all()


def test_empty_columns_and_rows_at_the_end_are_let_go(tmp_path):
    """Spreadsheets write a tail of empty cells."""
    assert read_text(tmp_path, "swatch_id,lightness,,\na,50,,\n,,,\n").columns.tolist() == ["swatch_id", "lightness"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("\n\n", "is empty"),
        ("name,lightness\na,50\n", "must have a column 'swatch_id'"),
        ("swatch_id,lightness\na,fifty\n", "row 2 has 'fifty'"),
        ("swatch_id,lightness\na,50\n\nb,150\n", "row 4 has '150'"),
        ("swatch_id,lightness\na,50\na,51\n", "'a' stands in more than one row"),
        ("swatch_id,lightness\na,50,3\n", "no more cells than the heading's 2; row 2"),
        ("swatch_id,lightness,lightness\na,50,3\n", "'lightness' more than once"),
        ("swatch_id,lightness\na,\0\n", "is no text"),
    ],
)
def test_a_table_that_cannot_be_is_refused_with_the_row(tmp_path, text, words):
    """Whoever made the table has to find the cell."""
    with pytest.raises(InvalidInputError, match=words):
        read_text(tmp_path, text)


def test_rows_of_a_long_table_stay_together_and_keep_their_numbers(tmp_path):
    """A row would get the lightness of another, or the slip be looked for in another row."""
    rows = [f"p{n},{n % 100}{',red' * (n % 3 > 0)}" for n in range(2500)]
    rows[1700:1700] = ["", " , ,"]
    table = read_text(tmp_path, "swatch_id,lightness,drawer\n" + "\n".join(rows))
    assert table["swatch_id"].tolist() == [f"p{n}" for n in range(2500)]
    assert table["lightness"].tolist() == [n % 100 for n in range(2500)]
    assert table["drawer"].tolist() == ["red" if n % 3 else "" for n in range(2500)]
    rows[2400] = "p2398,dark"
    with pytest.raises(InvalidInputError, match="lightness must be a number from 0 to 100 .* row 2402 has 'dark'"):
        read_text(tmp_path, "swatch_id,lightness,drawer\n" + "\n".join(rows))
    rows[2400] = "p2398,40,red,blue"
    with pytest.raises(InvalidInputError, match="no more cells than the heading's 3; row 2402 of .* has 4"):
        read_text(tmp_path, "swatch_id,lightness,drawer\n" + "\n".join(rows))


def test_what_is_no_table_file_is_refused(tmp_path):
    """A folder, a missing file or a photograph would end in a traceback."""
    with pytest.raises(InvalidInputError, match="There is no file .*nowhere.csv"):
        read_table(tmp_path / "nowhere.csv")
    with pytest.raises(InvalidInputError, match="is a folder"):
        read_table(tmp_path)
    with pytest.raises(InvalidInputError, match="is no text"):
        read_text(tmp_path, "\x89PNG\x81\0", "latin-1")
    with pytest.raises(InvalidInputError, match="cannot read|There is no file"):
        read_table("a\0b.csv")
    os.mkfifo(tmp_path / "pipe.csv")
    with pytest.raises(InvalidInputError, match="must be a plain file"):
        read_table(tmp_path / "pipe.csv")


def test_records_are_fit_for_other_programs():
    """JSON has no nan, and nobody wants to parse JSON inside JSON."""
    table = made_table(3).assign(lightness_sigma=[0.5, np.nan, np.inf], outline=["[[0,0],[0,9],[9,9]]", "", "[oops"])

    rows = records(table)

    assert [row["lightness_sigma"] for row in rows] == [0.5, None, None]
    assert [row["outline"] for row in rows] == [[[0, 0], [0, 9], [9, 9]], "", "[oops"]
    assert json.loads(json.dumps(rows, allow_nan=False)) == rows


# --- files -----------------------------------------------------------------------------------------------------------


def test_a_file_is_replaced_whole_and_readable_by_others(tmp_path):
    """A friend in the same house could not open what a temporary file left with its owner alone."""
    path = tmp_path / "a.csv"
    path.write_bytes(b"old")
    plain = tmp_path / "plain"
    plain.touch()

    write_whole(path, b"new")

    assert path.read_bytes() == b"new"
    assert path.stat().st_mode == plain.stat().st_mode
    assert sorted(os.listdir(tmp_path)) == ["a.csv", "plain"]


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    """A full disk would cost the table that was there before."""
    path = tmp_path / "a.csv"
    path.write_bytes(b"old")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InvalidInputError, match="the system says: No space left on device"):
        write_whole(path, b"new")

    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a.csv"]


def test_a_link_stays_a_link(tmp_path):
    """Whoever keeps the table elsewhere would find it no longer updated."""
    real, link = tmp_path / "real.csv", tmp_path / "link.csv"
    real.write_bytes(b"old")
    link.symlink_to(real)

    write_whole(link, b"new")

    assert link.is_symlink() and real.read_bytes() == b"new"


def test_places_that_cannot_be_written_to_are_refused_beforehand(tmp_path):
    """Ten minutes of measuring would be lost at the end."""
    file = tmp_path / "file"
    file.touch()
    with pytest.raises(InvalidInputError, match="is a file. Name another one"):
        ready_folder(file)
    with pytest.raises(InvalidInputError, match="must be open to writing; the system says: Not a directory"):
        ready_folder(file / "inside")
    with pytest.raises(InvalidInputError, match="must be open to writing"):
        ready_folder("a\0b")
    with pytest.raises(InvalidInputError, match="must be written to a file; .* is a folder"):
        (tmp_path / "folder.csv").mkdir()
        table_place(tmp_path / "folder.csv")
    assert os.listdir(ready_folder(tmp_path / "new" / "deep")) == []


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="nothing is closed to the superuser")
def test_a_folder_closed_to_writing_is_refused_beforehand(tmp_path):
    """As above, for the usual reason."""
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(InvalidInputError, match="Permission denied"):
            ready_folder(tmp_path)
    finally:
        tmp_path.chmod(0o700)


def test_a_table_is_never_written_over_a_photograph(tmp_path):
    """One slip on the command line would cost a photograph."""
    photo = tmp_path / "photo.jpg"
    photo.touch()
    odd = tmp_path / "photo.csv"  # a photograph by another ending
    odd.symlink_to(photo)

    with pytest.raises(InvalidInputError, match="ends in .csv; got '.*photo.jpg'"):
        table_place(photo)
    with pytest.raises(InvalidInputError, match="must not be written over"):
        table_place(odd, never=[photo])
    refuse_to_replace([tmp_path / "other.csv"], [photo])
