"""The checker of marks and text in grey: what it must find, and what it must let pass."""

from __future__ import annotations

import numpy as np
import pytest
from legible import contrast, drawing_of, illegible, illegible_marks

from contrastkit.light.contrast import w3c_ratio
from contrastkit.show.chart import chart_of
from contrastkit.show.drawing import Box, Drawing, Line, Photo, Shape, Words

# Gold: sRGB grey codes on white and their W3C ratios (WCAG 2.2, worked from its own formula).
ON_WHITE = [(0x76, 4.5422), (0x77, 4.4781), (0x59, 7.0047), (0, 21.0)]


def drawn(*marks, width=100, height=60):
    return Drawing(width, height, marks, "A test.")


@pytest.mark.parametrize(("code", "expected"), ON_WHITE)
def test_the_ratio_is_that_of_the_w3c(code, expected):
    """Everything would be held against another yardstick."""
    linear = ((code / 255 + 0.055) / 1.055) ** 2.4 if code > 10 else code / 255 / 12.92
    assert contrast(1.0, linear) == pytest.approx(expected, abs=1e-4)
    assert contrast(linear, 1.0) == pytest.approx(float(w3c_ratio(1.0, linear)), abs=1e-9)


@pytest.mark.parametrize(("tone", "fine"), [(15.0, True), (46.0, True), (48.0, False), (60.0, False)])
def test_text_needs_four_and_a_half(tone, fine):
    """Pale words would pass. On the page of L* 96 the limit lies at L* 47."""
    found = illegible_marks(drawn(Words(10, 10, "half-way", 4, tone)))
    assert (found == []) is fine
    assert fine or found[0].startswith("'half-way' has a contrast of ")


@pytest.mark.parametrize(("tone", "fine"), [(58.0, True), (62.0, False)])
def test_a_filled_mark_needs_three(tone, fine):
    """A light grey square on the page would pass. The limit lies at L* 60."""
    assert (illegible_marks(drawn(Box(10, 10, 20, 20, fill=tone))) == []) is fine
    assert (illegible_marks(drawn(Shape(((10, 10), (30, 10), (20, 30)), fill=tone))) == []) is fine


def test_a_pale_mark_is_known_by_its_edge():
    """Every light grey would have to be left out, or be called lost although a line goes round it."""
    assert illegible_marks(drawn(Box(10, 10, 20, 20, fill=90.0, edge="text"))) == []
    assert illegible_marks(drawn(Box(10, 10, 20, 20, fill=90.0), Box(10, 10, 20, 20, edge="text"))) == []
    assert illegible_marks(drawn(Box(10, 10, 20, 20, fill=90.0, edge=85.0))) != []
    assert illegible_marks(drawn(Box(10, 10, 20, 20, fill=89.0), Box(40, 10, 20, 20, edge="text"))) != []


def test_greys_side_by_side_are_known_by_the_line_round_all_of_them():
    """A row of alike greys, which is what some lessons are about, would be called lost."""
    row = [Box(10 + 20 * place, 10, 20, 8, fill=70.0 + place) for place in range(4)]
    assert illegible_marks(drawn(*row, Box(10, 10, 80, 8, edge="text"))) == []
    assert len(illegible_marks(drawn(*row))) == 4


def test_words_are_held_against_what_lies_under_them():
    """Dark words on a dark box would be held against the page."""
    dark = Box(5, 5, 60, 20, fill=20.0, edge="text")
    assert illegible_marks(drawn(dark, Words(10, 10, "on dark", 4, "text"))) != []
    assert illegible_marks(drawn(dark, Words(10, 10, "on dark", 4, 100.0))) == []
    assert illegible_marks(drawn(Words(10, 10, "under dark", 4, "text"), dark)) == []  # as it was when it was drawn


@pytest.mark.parametrize(("align", "lost"), [("left", True), ("middle", True), ("right", False)])
def test_words_that_only_begin_on_a_box_are_held_against_all_they_cover(align, lost):
    """A word that runs from the page onto a dark box would be asked only where it is anchored."""
    dark = Box(50, 5, 40, 20, fill=20.0, edge="text")
    assert (illegible_marks(drawn(dark, Words(49, 10, "half-way", 4, "text", align=align))) != []) is lost


def test_words_on_a_picture_are_held_against_its_darkest_and_lightest_part():
    """White words on a picture that is half white would pass by its mean."""
    halves = np.zeros((10, 20, 3), np.uint8)
    halves[:, 10:] = 255
    picture = Photo(0, 0, 100, 60, "halves")
    on_black = drawn(picture, Words(5, 10, "white", 4, 100.0))
    across = drawn(picture, Words(46, 10, "white", 4, 100.0))
    assert illegible_marks(on_black, {"halves": halves}) == []
    assert illegible_marks(across, {"halves": halves}) != []


def test_the_lower_half_of_a_picture_is_its_last_rows():
    """Pictures would be asked upside down."""
    halves = np.zeros((10, 20, 3), np.uint8)
    halves[5:] = 255
    low = drawn(Photo(0, 0, 100, 60, "halves"), Words(5, 10, "low", 4, "text"))
    assert illegible_marks(low, {"halves": halves}) == []


def test_what_is_clear_in_a_picture_shows_what_lies_behind_it():
    """The board round a piece would count as black."""
    clear = np.zeros((4, 4, 4), np.uint8)
    assert illegible_marks(drawn(Photo(0, 0, 100, 60, "clear"), Words(5, 10, "on it", 4)), {"clear": clear}) == []


def test_colour_counts_as_the_grey_it_becomes():
    """Red words on green of one lightness would pass in colour and be lost on the copier."""
    green = np.full((4, 4, 3), (0, 128, 0), np.uint8)  # L* 46
    assert illegible_marks(drawn(Photo(0, 0, 100, 60, "green"), Words(5, 10, "x", 4, 53.0)), {"green": green}) != []


def test_quiet_lines_and_surrounds_carry_no_meaning():
    """Every hairline and every mat would be called a fault."""
    quiet = (
        Line(0, 5, 90, 5, "hairline"), Box(5, 10, 20, 20, fill="raised"), Box(30, 10, 20, 20, fill=50.0),
        Box(60, 10, 20, 20, edge="hairline"),
    )  # fmt: skip
    assert illegible_marks(drawn(*quiet)) == []


def test_a_line_needs_three_along_most_of_it():
    """A pale line would pass; one that crosses a dark square on its way would not."""
    assert illegible_marks(drawn(Line(0, 5, 90, 5, 70.0))) != []
    assert illegible_marks(drawn(Box(40, 0, 20, 20, fill=20.0), Line(0, 5, 90, 5, "text"))) == []
    assert illegible_marks(drawn(Box(20, 0, 60, 20, fill=20.0), Line(0, 5, 90, 5, "text"))) != []


def test_a_finished_chart_is_read_back_as_it_was_drawn():
    """A chart would be judged by other marks than it has, or by the wrong order."""
    red = np.full((4, 4, 3), (200, 0, 0), np.uint8)
    marks = (
        Box(5, 5, 60, 20, fill=20.0, edge="text", line=0.5), Words(10, 10, "on dark", 4, 100.0, bold=True),
        Photo(70, 5, 20, 20, "red"), Line(0, 40, 90, 40, "secondary"), Shape(((1, 1), (4, 1), (1, 4)), fill=30.0),
    )  # fmt: skip
    chart = chart_of(drawn(*marks), {"red": red})
    found, pictures = drawing_of(chart)
    assert [type(mark) for mark in found.marks] == [type(mark) for mark in marks]
    assert (found.width, found.height) == (100, 60)
    box, words, photo, line, shape = found.marks
    assert (box.x, box.y, box.width, box.height, box.line) == pytest.approx((5, 5, 60, 20, 0.5))
    assert (box.fill, box.edge, words.tone, line.tone, shape.fill) == pytest.approx((20, 15, 100, 40, 30), abs=0.3)
    assert (words.text, words.size, words.bold, words.align) == ("on dark", pytest.approx(4), True, "left")
    assert np.array_equal(pictures[photo.swatch_id], red)
    assert illegible(chart) == []
