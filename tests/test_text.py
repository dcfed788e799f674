"""Text is kept as it is."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from contrastkit.errors import InvalidInputError
from contrastkit.keep.text import checked_name, checked_note, escaped, unescaped

# Every code point there is, halves of surrogate pairs and the escape itself more often than by chance.
ANY_TEXT = st.text(st.one_of(st.characters(), st.sampled_from("\0\x1a\ud800\udcff\udfff0001dcf")))


@given(ANY_TEXT)
def test_any_text_comes_back_as_it_was(text):
    """A file name or a note would come back changed."""
    assert unescaped(escaped(text)) == text


@given(ANY_TEXT)
def test_any_text_can_be_stored(text):
    """UTF-8 or PostgreSQL would refuse it in the middle of an import."""
    assert "\0" not in escaped(text)
    assert escaped(text).encode().decode() == escaped(text)


@given(st.text(st.characters(exclude_characters="\0\x1a", exclude_categories=["Cs"])))
def test_ordinary_text_is_stored_as_it_is(text):
    """Other programs could not read the catalogue."""
    assert escaped(text) == text


@given(ANY_TEXT, ANY_TEXT)
def test_two_texts_are_never_stored_alike(one, other):
    """Two pieces would have one name."""
    assert (escaped(one) == escaped(other)) == (one == other)


@given(st.text("\x1a0001adcfg"))
def test_stored_text_of_other_hands_is_read_without_error(text):
    """A catalogue that somebody wrote to by hand could not be listed."""
    assert isinstance(unescaped(text), str)


@pytest.mark.parametrize("name", ["a", "x" * 200, "grün 🌿 \u202eא\u202c", "../../etc/passwd", "a\0b", " a ", "'; --"])
def test_names_of_any_letters_are_taken_as_they_are(name):
    """Somebody's own way of naming would be refused."""
    assert checked_name(name) == name


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("", "A piece must have a name; got ''. Give it one"),
        (" \t", r"A piece must have a name; got ' \\t'"),
        ("a" * 201, "at most 200 characters; got 201 that begin with 'aaa"),
        ("a\nb", r"named on one line; got 'a\\nb'"),
        ("a\n", r"named on one line; got 'a\\n'"),
        ("a\u2028b", r"named on one line; got 'a\\u2028b'"),
    ],
)
def test_names_that_cannot_be_read_on_a_label_are_refused(name, message):
    """Lists would break into lines that look like other pieces."""
    with pytest.raises(InvalidInputError, match=message):
        checked_name(name)


def test_errors_say_what_is_to_be_named():
    """A project would be called a piece."""
    with pytest.raises(InvalidInputError, match="^A project must have a name"):
        checked_name("", what="A project")
    with pytest.raises(InvalidInputError, match="^A tag must have at most 20,000,000 characters; got 20,000,001"):
        checked_note("x" * 20_000_001, what="A tag")


def test_long_notes_are_kept():
    """A novel about a swatch would be refused."""
    assert len(checked_note("🌿" * 20_000_000)) == 20_000_000
