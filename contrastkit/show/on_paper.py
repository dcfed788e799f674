"""A chart on a sheet of paper: at its own size, with the teacher's own line, true-size bars, date and page."""

from __future__ import annotations

import datetime

from contrastkit.show.chart import Chart, chart_of
from contrastkit.show.drawing import Drawing, Mark, Words, moved, scaled
from contrastkit.show.look import PAPER, SMALL, wrapped_evenly
from contrastkit.show.page import EDGE, LEADING, MARGIN, paper_size, sheet_foot
from contrastkit.show.words import date_words

Size = tuple[float, float]

_OVER_FOOT = 3.0  # mm


def on_paper(
    chart: Chart,
    *,
    paper: str = "A4",
    heading: str = "",
    foot: str = "",
    made: datetime.date | None = None,
    number: tuple[int, int] = (1, 1),
    most: float = 1.0,
) -> Chart:
    """
    Return a chart as a printed page, upright or on its side, whichever it fits better.

    It keeps its own size, or grows to fill the page where it may; one that is too large is made smaller, and the foot
    says so.

    Parameters
    ----------
    chart : under its finding, as the teaching charts are
    paper : "A4" or "Letter"
    heading : a line of the teacher's own, at the top
    foot : what was measured, where the chart does not say it itself
    made : the date; today, if not given
    number : of the page, and of how many
    most : how many times its own size it may be drawn at; 1 where what it shows hangs on its size

    Raises
    ------
    InvalidInputError
        Another paper.

    Examples
    --------
    >>> from contrastkit.show.page import titled
    >>> chart = chart_of(titled(Drawing(180, 40, (), "Two."), "Two pieces.", "Counted."), {})
    >>> page = on_paper(chart, heading="Tuesday class")
    >>> (page.figure.get_size_inches() * 25.4).round().tolist(), page.description
    ([210.0, 297.0], 'Two.')
    """
    upright = paper_size(paper)
    above = wrapped_evenly(heading, SMALL, min(upright) - 2 * MARGIN)[:2] if heading else []
    top, date = LEADING * len(above), date_words(made or datetime.date.today())
    sizes = [(size, _share(chart.drawing, size, top, foot, date, most)) for size in (upright, upright[::-1])]
    size, share = max(sizes, key=lambda each: each[1])  # upright, where both will do
    drawing = chart.drawing if share == 1 else scaled(chart.drawing, share)
    smaller = "" if share >= 1 else f"Drawn at {100 * share:.0f} % of its size, to fit the page."
    low, _ = sheet_foot(f"{foot} {smaller}".strip(), date, number, size)
    left, up = MARGIN - EDGE * share, size[1] - MARGIN - top + EDGE * share - drawing.height
    lines = [Words(MARGIN, size[1] - MARGIN - LEADING * (row + 0.8), line, SMALL, "secondary")
             for row, line in enumerate(above)]
    marks: list[Mark] = [*lines, *(moved(mark, left, up) for mark in drawing.marks), *low]
    return chart_of(Drawing(*size, tuple(marks), chart.description), chart.pictures, page=PAPER)


def _share(drawing: Drawing, size: Size, top: float, foot: str, date: str, most: float) -> float:
    """At what share of its size it fits; its own margin may lie in the page's."""
    for text in (foot, f"{foot} Drawn smaller, to fit the page."):
        _, bottom = sheet_foot(text.strip(), date, (1, 1), size)
        wide, high = size[0] - 2 * MARGIN, size[1] - MARGIN - top - bottom - _OVER_FOOT
        share = min(most, wide / (drawing.width - 2 * EDGE), high / (drawing.height - 2 * EDGE))
        if share >= 1:
            break
    return share
