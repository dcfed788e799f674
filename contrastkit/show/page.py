"""What charts and printed pages have in common: the finding at the head, at the foot what was measured and when."""

from __future__ import annotations

from collections.abc import Iterator

from contrastkit.errors import InvalidInputError
from contrastkit.show.drawing import Box, Drawing, Mark, Words, moved
from contrastkit.show.look import SMALL, TITLE, wrapped_evenly

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # width and height in mm
MARGIN = 12.0
INCH = 25.4
LEADING = 3.75
EDGE = 6.0  # round a chart
_LINE = 0.25
_ROOM = 0.96  # of the width: small type on screens comes out longer


def paper_size(paper: str) -> tuple[float, float]:
    """
    Return width and height of a sheet of paper, mm.

    Raises
    ------
    InvalidInputError
        It is not one of ours.

    Examples
    --------
    >>> paper_size("A4")
    (210.0, 297.0)
    """
    if paper not in PAPERS:
        raise InvalidInputError(f"paper must be one of {', '.join(PAPERS)}; got {paper!r}. Pick one of these.")
    return PAPERS[paper]


def headed(heading: str, how: str) -> str:
    """
    Return what stands under the title of a page: the teacher's own heading, then how it was come by.

    >>> headed("Tuesday class", "Counted."), headed("Ready?", "Counted."), headed("", "Counted.")
    ('Tuesday class. Counted.', 'Ready? Counted.', 'Counted.')
    """
    own = " ".join(heading.split())
    stop = "" if not own or own[-1] in ".!?…:" else "."
    return f"{own}{stop} {how}".strip()


def titled(drawing: Drawing, finding: str, how: str) -> Drawing:
    """
    Return the drawing, in millimetres, under its finding and how it was come by, with a margin round all.

    >>> titled(Drawing(90, 20, (), "Two."), "Two pieces.", "Counted.").width
    102.0
    """
    small = SMALL + 0.35
    room = _ROOM * drawing.width
    title = wrapped_evenly(finding.removesuffix("."), TITLE, room, bold=True)
    below = wrapped_evenly(how, small, room)
    height = drawing.height + 2 * EDGE + 1.32 * TITLE * len(title) + 1.4 * small * len(below) + 5
    marks: list[Mark] = []
    y = height - EDGE
    for line in title:
        y -= 1.32 * TITLE
        marks.append(Words(EDGE, y + 0.36 * TITLE, line, TITLE, bold=True))
    for line in below:
        y -= 1.4 * small
        marks.append(Words(EDGE, y + 0.3 * small, line, small, "secondary"))
    marks += [moved(mark, EDGE, EDGE) for mark in drawing.marks]
    return Drawing(drawing.width + 2 * EDGE, height, tuple(marks), drawing.description)


def sheet_head(finding: str, how: str, size: tuple[float, float]) -> tuple[list[Mark], float]:
    """Return the title of a sheet and what stands under it, and the height they reach down to."""
    width = _ROOM * (size[0] - 2 * MARGIN)
    marks: list[Mark] = []
    y = size[1] - MARGIN
    for text in wrapped_evenly(finding.removesuffix("."), TITLE, width, bold=True)[:3]:
        y -= TITLE * 1.32
        marks.append(Words(MARGIN, y + TITLE * 0.32, text, TITLE, bold=True))
    for text in wrapped_evenly(how, SMALL, width):
        y -= LEADING
        marks.append(Words(MARGIN, y, text, SMALL, "secondary"))
    return marks, y - 4.5


def sheet_foot(text: str, date: str, number: tuple[int, int], size: tuple[float, float]) -> tuple[list[Mark], float]:
    """Return what was measured, the date, the page and bars to check true size, and the height they reach up to."""
    lines = wrapped_evenly(text, SMALL, _ROOM * (size[0] - 2 * MARGIN))[:2]
    y = top = MARGIN + LEADING * len(lines) + 1.2
    right = Words(
        size[0] - MARGIN, y, f"{date}, page {number[0]} of {number[1]}", SMALL, "secondary", align="right"
    )
    marks: list[Mark] = [*_true_size_bars(MARGIN, y), right]
    for line in lines:
        y -= LEADING + 0.2
        marks.append(Words(MARGIN, y, line, SMALL, "secondary"))
    return marks, top + 2


def _true_size_bars(x: float, y: float) -> Iterator[Mark]:
    """Five alternating centimetres, and two inches in halves, if the page is printed at its true size."""
    yield Box(x, y, 50, 1.8, edge="text", line=_LINE)
    for centimetre in (0, 2, 4):
        yield Box(x + 10 * centimetre, y, 10, 1.8, fill="text")
    yield Words(x + 51.5, y - 0.1, "50 mm", SMALL, "secondary")
    left = x + 63
    yield Box(left, y, 2 * INCH, 1.8, edge="text", line=_LINE)
    for half in (0, 2):
        yield Box(left + half * INCH / 2, y, INCH / 2, 1.8, fill="text")
    yield Words(left + 2 * INCH + 1.5, y - 0.1, "2 in at true size", SMALL, "secondary")
