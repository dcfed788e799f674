"""references.toml: what each photograph is to be measured against, noted beside the photographs."""

import os
import warnings

import pytest
from made_photos import STEPS, board

from contrastkit.camera.pipeline import measure_each, measure_photo
from contrastkit.camera.reference import ReferenceChoice
from contrastkit.camera.sidecar import noted_reference, unmatched
from contrastkit.errors import ContrastkitWarning, InvalidInputError

SCALE = "scale=" + ",".join(f"{step:g}" for step in STEPS)


@pytest.fixture
def note(tmp_path):
    """Write a references.toml and return what it says of a photograph."""

    def said(text, photo="board.png"):
        (tmp_path / "references.toml").write_bytes(text.encode("utf-8"))
        return noted_reference(tmp_path / photo)

    return said


@pytest.mark.parametrize(
    "text",
    [
        '"board.png" = "card=51"',
        'board.png = "card=51"',  # a point without quotes is a step down in TOML
        '"BOARD.PNG" = "card=51"',
        'every-photo = "card=51"',
        'every-photo = "chart"\n"board.png" = "card=51"',
        '"board.png" = { reference = "card=51" }',
        'board.png = { reference = "card=51" }',
        '\ufeff# saved by a text editor\r\n"board.png" = "card=51"\r\n',
    ],
)
def test_an_entry_is_found_however_it_is_written(note, text):
    """A photograph would be measured against the wrong grey for want of a quotation mark."""
    assert note(text).choice == ReferenceChoice("card", (51.0,))


def test_a_place_may_be_noted_with_it(note):
    """With two plain greys on one board of many there would be no way to say which."""
    noted = note('"board.png" = { reference = "card", reference_at = [360, 930, 540.5, 1070] }')

    assert noted.at == (360.0, 930.0, 540.5, 1070.0)


def test_without_a_word_about_the_photograph_nothing_is_noted(note, tmp_path):
    """Every photograph would need an entry."""
    assert note('"other.png" = "card"') is None
    assert note("") is None
    (tmp_path / "references.toml").unlink()
    assert noted_reference(tmp_path / "board.png") is None


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('"board.png" = scale=95', r"cannot be read: .*line 1.*Correct it or take it away"),
        ("board", "cannot be read"),
        ('"board.png" = "cart"', "the entry 'board.png': A reference must be .* got 'cart'"),
        ('"board.png" = "scale=20,66,95"', "the entry 'board.png': A scale needs .* light to dark"),
        ('"board.png" = 49.5', "must be a reference in quotes.*got 49.5"),
        ('"board.png" = { reference = 49.5 }', "A reference must be text.*got 49.5"),
        ('"board.png" = { at = [1, 2, 3, 4], reference = "card" }', "must be a reference in quotes"),
        ('"board.png" = { reference = "card", reference_at = [1, 2] }', "must be four numbers.*got \\[1, 2\\]"),
        ('"board.png" = { reference = "card", reference_at = [1, 2, 3, nan] }', "must be four numbers"),
        ('"board.png" = "' + "x" * 1_000_001 + '"', "more than a megabyte"),
        ('every-photo = "' + "[" * 3 + '"', "the entry 'every-photo': A reference must be"),
    ],
)
def test_a_bad_entry_is_one_clear_sentence(note, text, words):
    """A slip in the file would end in a traceback, or in numbers measured against nothing."""
    with pytest.raises(InvalidInputError, match=words):
        note(text) or pytest.fail("an entry that cannot be was passed over")


def test_a_file_that_cannot_be_read_is_one_clear_sentence(tmp_path):
    """As above: a folder of that name, or another encoding."""
    file = tmp_path / "references.toml"
    file.write_bytes(b'"board.png" = "card" # caf\xe9')
    with pytest.raises(InvalidInputError, match="not UTF-8 text"):
        noted_reference(tmp_path / "board.png")
    file.unlink()
    file.mkdir()
    with pytest.raises(InvalidInputError, match="cannot be read: Is a directory"):
        noted_reference(tmp_path / "board.png")


def test_deep_nesting_is_refused(note):
    """A hostile file would end in a traceback."""
    with pytest.raises(InvalidInputError, match="cannot be read|must be a reference"):
        note('"board.png" = ' + "[" * 100_000)


def test_names_that_are_not_there_are_told(tmp_path):
    """A misspelt name would let the photograph be measured against nothing, unnoticed."""
    photo = tmp_path / "board.png"
    photo.touch()
    (tmp_path / "references.toml").write_text('"bord.png" = "card"\n"Board.PNG" = "card"\nevery-photo = "card"\n')

    (sentence,) = unmatched([photo])

    assert "names 'bord.png', which is not in its folder" in sentence
    assert unmatched([tmp_path / "elsewhere" / "board.png"]) == []


def test_auto_takes_what_is_noted_and_any_other_choice_stands(tmp_path):
    """A grey scale would be passed over for want of its values; or nobody could overrule the file."""
    photo = board(tmp_path / "board.png", reference="scale")
    (tmp_path / "references.toml").write_text(f'"board.png" = "{SCALE}"')

    assert measure_photo(photo).calibration.kind == "scale"
    assert measure_photo(photo, reference="none").calibration.kind == "none"


def test_a_noted_place_settles_which_of_two_greys_is_meant(tmp_path):
    """One board of many with two plain greys could not be measured with the others."""
    photo = board(tmp_path / "board.png", reference="two cards")
    (tmp_path / "references.toml").write_text(
        '"board.png" = { reference = "card", reference_at = [560, 930, 740, 1070] }'
    )

    outline = measure_photo(photo).calibration.outline

    assert outline.mean(axis=0) == pytest.approx([650, 1000], abs=3)


def test_a_bad_entry_costs_its_own_photograph_only(tmp_path):
    """One slip would stop a whole study."""
    board(tmp_path / "a.png")
    board(tmp_path / "b.png")
    (tmp_path / "references.toml").write_text('"a.png" = "cart"\n"c.png" = "card"\n')

    with pytest.warns(ContrastkitWarning, match="names 'c.png'"):
        failed, measured = measure_each([tmp_path])

    assert "the entry 'a.png'" in failed.reason
    assert measured.calibration.kind == "card"


def test_an_unreadable_file_costs_the_photographs_beside_it_only(tmp_path):
    """A stray file in one folder would stop the others."""
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
        board(tmp_path / folder / f"{folder}.png")
    (tmp_path / "one" / "references.toml").write_text("?")

    with warnings.catch_warnings():
        warnings.simplefilter("error")
        failed, measured = measure_each([tmp_path])

    assert "cannot be read" in failed.reason and os.path.basename(failed.path) == "one.png"
    assert measured.photo.name == "two.png"
