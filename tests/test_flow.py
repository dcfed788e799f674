"""Printed pages that flow: nothing is lost, nothing is cut off, what belongs together stays together."""

from __future__ import annotations

import datetime

import numpy as np
import pytest
from matplotlib.text import Text

from contrastkit.errors import InvalidInputError
from contrastkit.show.drawing import Box, Drawing, Photo
from contrastkit.show.flow import Caution, Figure, Heading, NewPage, Paragraph, Points, Table, flowed

DAY = datetime.date(2026, 11, 25)


def texts(chart):
    """Every line of a page and how high it stands, from the top down."""
    found = [(text.get_position()[1], text.get_text()) for text in chart.figure.findobj(Text) if text.get_text()]
    return [line for _, line in sorted(found, key=lambda each: -each[0])], min(y for y, _ in found)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_word_is_on_a_page_in_order_and_inside_the_margins(paper):
    """A line would be lost at the end of a page, or printed over the foot."""
    blocks = [Paragraph(f"Sentence number {number} of a long text that goes on and on until it fills the line, and "
                        "then some more of it.") for number in range(90)]
    pages = flowed("Long", "How.", blocks, paper=paper, foot="Foot.", made=DAY)
    assert len(pages) > 2
    lines = [line for page in pages for line in texts(page)[0]]
    numbers = [int(line.split()[2]) for line in lines if line.startswith("Sentence number")]
    assert numbers == list(range(90))
    for number, page in enumerate(pages, start=1):
        found, lowest = texts(page)
        assert lowest >= 12
        assert found[0] == "Long"
        assert f"25 November 2026, page {number} of {len(pages)}" in found
        body = [text.get_position()[1] for text in page.figure.findobj(Text) if text.get_text().startswith("Sentence")]
        assert min(body) > 12 + 12


def test_a_heading_is_never_the_last_thing_on_a_page():
    """It would stand alone, away from what it is about."""
    for count in range(20, 32):
        blocks = [*[Paragraph(f"Line {number}.") for number in range(count)], Heading("After"), Paragraph("Follows.")]
        for page in flowed("Title", "", blocks, made=DAY):
            lines, _ = texts(page)
            if "After" in lines:
                assert "Follows." in lines


def test_a_caution_stays_with_the_step_that_it_belongs_to():
    """The step would be on one page, and what to be careful of on the back."""
    for count in range(20, 40):
        blocks = [*[Paragraph(f"Line {number}.") for number in range(count)], Points(("Iron it.",)), Caution("Hot."),
                  Caution("Fumes.")]
        for page in flowed("Title", "", blocks, made=DAY):
            lines, _ = texts(page)
            assert ("Iron it." in lines) == ("Hot." in lines) == ("Fumes." in lines)


def test_the_head_of_a_table_is_repeated_on_every_page_it_goes_on_to():
    """Nobody would know what the columns are."""
    rows = tuple((f"row {number}", "") for number in range(70))
    pages = flowed("Title", "", [Table(("Name", "Write here"), rows, (1, 2), 8.0)], made=DAY)
    assert len(pages) > 1
    assert all("Write here" in texts(page)[0] for page in pages)
    assert sum(line.startswith("row ") for page in pages for line in texts(page)[0]) == 70


def test_figures_keep_their_size_and_new_pages_begin_where_they_are_asked_for():
    """A true-size drawing would be scaled; a handout for each learner would begin in the middle of another's."""
    box = Drawing(50, 30, (Box(0, 0, 50, 30, fill="text"), Photo(5, 5, 10, 10, "a")), "A box.")
    figure = Figure(box, {"a": np.zeros((4, 4, 3), np.uint8)})
    blocks = [figure, NewPage(), Caution("Hot."), NewPage(), NewPage(), Points(("one", "two"))]
    pages = flowed("Title", "", blocks, made=DAY)
    assert len(pages) == 3
    assert (50, 30) in [(patch.get_width(), patch.get_height()) for patch in pages[0].figure.axes[0].patches]
    assert len(pages[0].figure.axes[0].images) == 1
    assert pages[0].description == "Title. A box. Hot. 1. one 2. two"


def test_what_is_larger_than_a_page_is_refused():
    """It would run over the foot and off the paper."""
    tall = Figure(Drawing(50, 300, (), "Tall."))
    with pytest.raises(InvalidInputError, match=r"^What is printed must fit on a page, 2\d\d mm high; one"):
        flowed("Title", "", [tall], made=DAY)
