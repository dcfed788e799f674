"""Lengths as people write them, as exact millimetres, and back as a cutting mat is marked."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from contrastkit.errors import InvalidInputError
from contrastkit.lengths import LONGEST, MM_PER_INCH, UNITS, length_words, parse_length

SIXTEENTH = MM_PER_INCH / 16


def test_an_inch_is_exactly_25_4_millimetres():
    """Gold: International yard and pound agreement, 1959. Every inch would drift."""
    assert Fraction("25.4") == MM_PER_INCH


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("3 1/2 in", "7/2"), ("3.5in", "7/2"), ('3 1/2"', "7/2"), ("3-1/2 in", "7/2"), ("3 - 1/2 in", "7/2"),
        ("3½ in", "7/2"), ("3 ½″", "7/2"), ("3 1⁄2 inches", "7/2"), ("7/2 in", "7/2"), ("3 1/2 in.", "7/2"),
        ("1/16in", "1/16"), ("½”", "1/2"), (".5 in", "1/2"), ("1 inch", "1"), ("+2 IN", "2"), ("1''", "1"),
        ("2 ft", "24"), ("1 foot", "12"), ("1 1/2 yd", "54"), ("0 in", "0"), ("⅝ in", "5/8"), ("3 5/8 in", "29/8"),
    ],
)
def test_inches_are_read_exactly_however_they_are_written(text, inches):
    """She writes 3½″ or 3-1/2 in, and a sixteenth must stay a sixteenth."""
    assert parse_length(text) == Fraction(inches) * MM_PER_INCH


@pytest.mark.parametrize(
    ("text", "mm"),
    [("40 mm", "40"), ("40mm", "40"), ("2.5 cm", "25"), ("3m", "3000"), ("5. mm", "5"), ("0.1 mm", "1/10"),
     ("1/3 cm", "10/3"), ("12 Millimetres", "12"), ("  7\t mm ", "7"), ("3 meters", "3000")],
)
def test_metric_lengths_are_read_exactly(text, mm):
    """A tenth of a millimetre would become a binary float."""
    assert parse_length(text) == Fraction(mm)


@pytest.mark.parametrize("number", [3.5, "3.5", "3 1/2", Fraction(7, 2), np.float64(3.5), np.float32(3.5)])
def test_bare_numbers_are_in_the_unit_asked_for(number):
    """A plan in inches would be cut in millimetres."""
    assert parse_length(number, unit="in") == Fraction(7, 2) * MM_PER_INCH
    assert parse_length(number) == Fraction(7, 2)


def test_a_float_stands_for_the_decimal_it_is_written_as():
    """0.1 would be 3602879701896397/36028797018963968, and areas no longer add up."""
    assert parse_length(0.1) == Fraction(1, 10)
    assert parse_length(np.int64(3)) == 3


@given(st.fractions(min_value=0, max_value=500, max_denominator=64))
def test_every_fraction_of_an_inch_comes_back(inches):
    """Something between the fractions we tried would be misread."""
    whole, part = divmod(inches, 1)
    mixed = f"{whole} {part} in" if part else f"{whole} in"

    assert parse_length(mixed) == parse_length(f"{inches} in") == inches * MM_PER_INCH


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("-3 mm", "must not be negative; got -3 mm. Leave out the minus"),
        ("−3 mm", "must not be negative"),
        ("-1 1/2 in", "must not be negative"),
        (-3, "must not be negative; got -3"),
        (float("nan"), "must be a finite number; got nan"),
        (float("inf"), "must be a finite number; got inf"),
        ("nan", "must be a number and a unit; got 'nan'. Write it like 3 1/2 in"),
        ("", "must be a number and a unit; got ''"),
        ("wide", "must be a number and a unit; got 'wide'"),
        ("1e3 mm", "must be a number and a unit; got '1e3 mm'"),
        ("1/2/3 in", "must be a number and a unit"),
        ("3 1/2 1/2 in", "must be a number and a unit"),
        ("3.5 1/2 in", "must be a number and a unit"),
        ("3 in 2", "must be a number and a unit"),
        ("--3 mm", "must be a number and a unit"),
        ("3 x 4 mm", "must be a number and a unit"),
        ("٣ mm", "must be a number and a unit"),
        ("9" * 5000, "must be a number and a unit"),
        ("1/0 in", "must not be a fraction with 0 below; got '1/0 in'. Write one"),
        ("3 5/4 in", "must have a fraction below one after its whole number; got '3 5/4 in'. Write 3 1/2"),
        ("1,5 cm", "must have a point before its decimals; got '1,5 cm'. Write '1.5 cm'"),
        ("3 furlongs", "must be in one of mm, cm, m, in, ft, yd; got 'furlongs'. Use one"),
        ("1001 m", "must be at most a kilometre; got 1001 m. Check the figure"),
        pytest.param(10**5000, "must be at most a kilometre; got far more", id="very long"),
        (True, "must be a number or text such as '3 1/2 in'; got True"),
        (None, "must be a number or text such as '3 1/2 in'; got None"),
        ([3], r"must be a number or text such as '3 1/2 in'; got \[3\]"),
    ],
)
def test_what_is_no_length_is_refused_in_a_sentence(text, says):
    """A slip in a plan would be cut out of painted cloth."""
    with pytest.raises(InvalidInputError, match=f"^A length {says}"):
        parse_length(text)


def test_the_refusal_names_what_the_length_is_of():
    """In a plan of forty lengths nobody would know which one was meant."""
    with pytest.raises(InvalidInputError, match="^The gap must not be negative"):
        parse_length(-1, name="The gap")


def test_zero_is_refused_only_where_it_cannot_be():
    """A gap of nothing is common; a print of nothing is a slip."""
    assert parse_length("0 mm") == 0
    with pytest.raises(InvalidInputError, match="must be more than zero; got 0 mm. Give the size"):
        parse_length("0 mm", zero=False)


def test_an_unknown_unit_for_bare_numbers_is_refused():
    """A plan with unit = "inch es" would be read as something."""
    with pytest.raises(InvalidInputError, match="^A bare number must be in one of mm, .*yd; got 'el'. Use one"):
        parse_length(3, unit="el")


def test_a_kilometre_is_still_a_length():
    """The limit itself would be off by one."""
    assert parse_length("1000 m") == LONGEST


@pytest.mark.parametrize(
    ("mm", "words"),
    [(0, "0 mm"), (92.075, "92.1 mm"), (40, "40 mm"), (Fraction(127, 80), "1.6 mm"), (92.05, "92.1 mm"),
     (-0.04, "0 mm"), (0.049, "0 mm"), (1234.56, "1234.6 mm"), (-2.55, "-2.6 mm")],
)
def test_millimetres_are_written_to_the_tenth(mm, words):
    """Hundredths of a millimetre pretend a precision no blade has."""
    assert length_words(mm) == words


@pytest.mark.parametrize(
    ("inches", "words"),
    [("29/8", "3 5/8 in"), ("1/16", "1/16 in"), ("0", "0 in"), ("3", "3 in"), ("1/2", "1/2 in"), ("10/16", "5/8 in"),
     ("1/32", "≈ 0 in"), ("3/64", "≈ 1/16 in"), ("63/64", "≈ 1 in"), ("-1/2", "-1/2 in"), ("-1/100", "≈ 0 in")],
)
def test_inches_are_written_to_the_nearest_mark_and_say_when_they_are_not_on_it(inches, words):
    """A length between two marks of the ruler would be cut as if it were on one."""
    assert length_words(Fraction(inches) * MM_PER_INCH, "in") == words
    assert length_words(float(Fraction(inches) * MM_PER_INCH), "in") == words


def test_rulers_may_be_marked_otherwise():
    """Her ruler is in eighths."""
    assert length_words(5 * SIXTEENTH, "in", denominator=8) == "≈ 1/4 in"
    assert length_words(MM_PER_INCH / 32, "in", denominator=32) == "1/32 in"


@given(st.integers(min_value=0, max_value=16 * 400))
def test_sixteenths_survive_being_written_and_read(count):
    """A cut list read back would differ from the plan."""
    length = count * SIXTEENTH

    assert parse_length(length_words(length, "in")) == length


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((3, "cm"), "written in mm or in; got 'cm'. Use one"),
        ((float("nan"),), "must be a finite number; got nan"),
        ((float("inf"), "in"), "must be a finite number; got inf"),
    ],
)
def test_words_for_what_has_none_are_refused(arguments, says):
    """A page would say "nan in"."""
    with pytest.raises(InvalidInputError, match=says):
        length_words(*arguments)


@pytest.mark.parametrize("parts", [0, -4, 2.5, True])
def test_a_ruler_has_a_whole_number_of_marks(parts):
    """An inch in no parts divides by zero."""
    with pytest.raises(InvalidInputError, match="whole number of parts; got .*Use 16"):
        length_words(3, "in", denominator=parts)


def test_units_are_those_that_can_be_written():
    """A unit on offer would be refused when used."""
    assert [length_words(MM_PER_INCH, unit) for unit in UNITS] == ["25.4 mm", "1 in"]
