"""Charts on sheets of paper: their size, what stands round them, and what they are read from."""

from __future__ import annotations

import datetime
import itertools

import pdfplumber
import pytest
from demo import PHOTOS
from drawn import extents, overlapping
from legible import illegible

from contrastkit.errors import InvalidInputError
from contrastkit.show.chart import chart_of, save_pages
from contrastkit.show.drawing import Box, Drawing
from contrastkit.show.gathered import pile_at
from contrastkit.show.lessons import LESSONS
from contrastkit.show.look import PAPER
from contrastkit.show.on_paper import on_paper
from contrastkit.show.page import titled

PAPERS = {"A4": (210, 297), "Letter": (215.9, 279.4)}
MADE = datetime.date(2026, 3, 1)
HEADING = "Tuesday class: value first"
EACH_PAPER = pytest.mark.parametrize("paper", PAPERS)


def made(width, height):
    """A chart of this size, without its margins; nothing but a dark box in it."""
    return chart_of(titled(Drawing(width, height, (Box(0, 0, width, height, fill=30.0),), "Full."), "One", "Made."), {})


def size_of(page):
    return tuple((page.figure.get_size_inches() * 25.4).round(1))


@EACH_PAPER
@pytest.mark.parametrize(("box", "lying"), [((180, 200), False), ((240, 120), True), ((100, 50), False)])
def test_a_page_lies_on_its_side_only_where_it_must(paper, box, lying):
    """A wide chart would be made small, or a teacher turn pages that need not be turned."""
    upright = PAPERS[paper]
    assert size_of(on_paper(made(*box), paper=paper)) == (upright[::-1] if lying else upright)


@EACH_PAPER
@pytest.mark.parametrize("box", [(180, 200), (240, 120)])
def test_a_chart_keeps_its_size_on_paper(paper, box, tmp_path):
    """A square of an inch would not be one; read back with pdfplumber."""
    page = on_paper(made(*box), paper=paper, heading=HEADING, made=MADE)
    with pdfplumber.open(page.save(tmp_path / "page.pdf")) as file:
        (sheet,) = file.pages
        largest = max(sheet.rects[1:], key=lambda rect: rect["width"] * rect["height"])  # the first is the paper
        bars = [rect for rect in sheet.rects if abs(rect["width"] / 72 * 25.4 - 50) < 1 and rect["height"] < 8]
        inches = [rect for rect in sheet.rects if abs(rect["width"] / 72 * 25.4 - 50.8) < 0.1 and rect["height"] < 8]
    assert [largest[side] / 72 * 25.4 for side in ("width", "height")] == pytest.approx(box, abs=0.1)
    assert bars[0]["width"] / 72 * 25.4 == pytest.approx(50, abs=0.1)
    assert inches
    assert "%" not in " ".join(text.get_text() for text in page.figure.axes[0].texts)


def test_a_chart_that_fits_no_page_is_made_smaller_and_says_so():
    """It would be cut off by the printer, or be taken for true to size."""
    page = on_paper(made(400, 300))
    words = " ".join(text.get_text() for text in page.figure.axes[0].texts)
    boxes = [mark for mark in page.drawing.marks if isinstance(mark, Box) and mark.fill == 30.0]
    share = boxes[0].width / 400
    assert boxes[0].height / 300 == pytest.approx(share)
    assert f"Drawn at {100 * share:.0f} % of its size, to fit the page." in words
    left, bottom = boxes[0].x, boxes[0].y
    assert left >= 12 and bottom >= 12
    assert left + boxes[0].width <= 297 - 12 and bottom + boxes[0].height <= 210 - 12


def test_heading_date_and_page_stand_on_it():
    """Whoever finds the sheet would not know whose it is."""
    page = on_paper(made(100, 50), heading=HEADING, foot="Counted twice.", made=MADE, number=(2, 3))
    words = [text.get_text() for text in page.figure.axes[0].texts]
    assert words[0] == HEADING
    assert "1 March 2026, page 2 of 3" in words
    assert "Counted twice." in words


def test_another_paper_is_refused():
    """It would be printed on a size that is not loaded."""
    with pytest.raises(InvalidInputError, match="paper must be one of A4, Letter; got 'A0'. Pick one of these."):
        on_paper(made(100, 50), paper="A0")


@pytest.fixture(scope="module")
def lessons():
    """Every teaching chart of the demo pile."""
    pile = pile_at([PHOTOS])
    return {kind: lesson.draw(pile.table, pile.crops) for kind, lesson in LESSONS.items()}


@pytest.mark.parametrize(("kind", "paper"), list(itertools.product(LESSONS, PAPERS)))
def test_every_teaching_chart_prints_whole_at_its_size_and_in_grey(lessons, kind, paper):
    """Words would be cut off, run into the foot, shrink under 8 points, or be lost on a copier."""
    page = on_paper(lessons[kind], paper=paper, heading=HEADING, made=MADE, most=LESSONS[kind].most)
    words, _ = extents(page)
    width, height = size_of(page)
    assert overlapping(words) == []
    assert all(left >= 11.5 and bottom >= 11.5 and right <= width - 11.5 and top <= height - 11.5
               for _, (left, bottom, right, top) in words)
    assert min(text.get_fontsize() for text in page.figure.axes[0].texts) >= 8
    assert illegible(page, page=PAPER) == []


@pytest.mark.parametrize("name", ["chart.png", "chart.svg", "chart.pdf", "pages.pdf"])
def test_a_picture_is_written_whole_or_not_at_all(name, tmp_path, monkeypatch):
    """A full disk would leave half a page where a whole one was."""
    chart, place = made(20, 10), tmp_path / name
    place.write_bytes(b"the one before")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(InvalidInputError, match=f"{name}.*No space left on device"):
        save_pages([chart], place) if name == "pages.pdf" else chart.save(place)
    assert [file.read_bytes() for file in tmp_path.iterdir()] == [b"the one before"]
