"""
Printed pages of text, tables and drawings: what does not fit on a page goes on the next.

What belongs together stays together: a heading with what follows it, a step with its cautions, the lines of a point, a
row of a table. Lengths are in millimetres; the head of the first page is the finding, and every page ends with bars to
check its true size.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from contrastkit.errors import InvalidInputError
from contrastkit.show.chart import Chart, Pictures, chart_of
from contrastkit.show.crops import CutOut, Pixels
from contrastkit.show.drawing import Box, Drawing, Line, Mark, Words, moved
from contrastkit.show.look import PAPER, SMALL, wrapped
from contrastkit.show.page import MARGIN, headed, paper_size, sheet_foot, sheet_head
from contrastkit.show.words import date_words

TEXT, HEADING = 3.88, 4.94  # height of type: 11 and 14 points
_LEADING = 1.38
_GAP = 2.2  # after a paragraph
_INDENT = 6.0
_LINE = 0.25
_CELL = 1.1  # above and below the words of a cell
_FOOT = 16.0


@dataclass(frozen=True)
class Heading:
    """A heading; it stays with what follows."""

    text: str


@dataclass(frozen=True)
class Paragraph:
    """Sentences; quiet ones are small and grey."""

    text: str
    quiet: bool = False


@dataclass(frozen=True)
class Points:
    """Short texts one below the other, each with a number, or a square to tick."""

    texts: tuple[str, ...]
    numbered: bool = False


@dataclass(frozen=True)
class Caution:
    """What to be careful of, with a bar beside it; `size` is the height of its type."""

    text: str
    size: float = TEXT


@dataclass(frozen=True)
class Table:
    """
    Rows of cells under heads; `widths` are shares of the width.

    Cells are text; an empty one is a place to write in, and `row_height` makes room for it.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]
    row_height: float = 0.0


@dataclass(frozen=True)
class Figure:
    """A drawing in millimetres, with what its `Photo` marks name; it is never scaled."""

    drawing: Drawing
    pictures: Mapping[str, CutOut | Pixels] = field(default_factory=dict)


@dataclass(frozen=True)
class NewPage:
    """What follows begins a page."""


Block = Heading | Paragraph | Points | Caution | Table | Figure | NewPage


@dataclass(frozen=True)
class _Piece:
    """What is not broken: its height, its marks from its own top left downwards (y from 0 to -height)."""

    height: float
    marks: tuple[Mark, ...]
    after: float = 0.0  # room below it, unless the page ends there
    with_next: bool = False
    pictures: Mapping[str, CutOut | Pixels] = field(default_factory=dict)
    again: _Piece | None = None  # what stands above it where it begins a page: the head of a table


def flowed(
    title: str,
    how: str,
    blocks: Sequence[Block],
    *,
    paper: str = "A4",
    foot: str = "",
    made: datetime.date | None = None,
    heading: str = "",
) -> list[Chart]:
    """
    Return the blocks on as many printed pages as they need.

    Parameters
    ----------
    title : what the pages say, at the head of each
    how : what stands under it on the first page
    blocks : from the top down
    paper : "A4" or "Letter"
    foot : what stands small at the foot, beside date and page
    made : the date; today, if not given
    heading : a line of the teacher's own, under the title of every page

    Raises
    ------
    InvalidInputError
        An unknown paper, or a figure or row larger than a page.

    >>> pages = flowed("Two things to do", "", [Points(("Look.", "Look again."), numbered=True)])
    >>> len(pages), pages[0].description
    (1, 'Two things to do. 1. Look. 2. Look again.')
    """
    size = paper_size(paper)
    width = size[0] - 2 * MARGIN
    pieces = [piece for at, block in enumerate(blocks) for piece in _bound(_pieces(block, width), blocks[at + 1 :])]
    under = headed(heading, how), headed(heading, "")
    dealt = _dealt(pieces, title, under, size)
    date = date_words(made or datetime.date.today())
    said = " ".join(part for part in (f"{title.removesuffix('.')}.", *map(_said, blocks)) if part)
    return [
        _page(page, title, under[number > 1], size, (foot, date), (number, len(dealt)), said)
        for number, page in enumerate(dealt, start=1)
    ]


def _bound(pieces: Iterable[_Piece | None], following: Sequence[Block]) -> list[_Piece | None]:
    """The pieces of a block; the last stays with the caution that follows, which belongs to it."""
    bound = list(pieces)
    if bound and bound[-1] is not None and following and isinstance(following[0], Caution):
        bound[-1] = replace(bound[-1], with_next=True)
    return bound


def _page(
    pieces: Sequence[_Piece | None], title: str, how: str, size: tuple[float, float], foot: tuple[str, str],
    number: tuple[int, int], said: str,
) -> Chart:
    head, y = sheet_head(title, how, size)
    bottom, _ = sheet_foot(*foot, number, size)
    marks, pictures = [*head], dict[str, CutOut | Pixels]()
    for piece in pieces:
        if piece is not None:
            marks += [moved(mark, MARGIN, y) for mark in piece.marks]
            pictures |= piece.pictures
            y -= piece.height + piece.after
    shown: Pictures = pictures
    return chart_of(Drawing(*size, (*marks, *bottom), said), shown, page=PAPER)


def _dealt(
    pieces: Sequence[_Piece | None], title: str, under: tuple[str, str], size: tuple[float, float]
) -> list[list[_Piece | None]]:
    """The pieces on pages; None is the beginning of one. Under the title stands one text first, then the other."""
    pages: list[list[_Piece | None]] = [[]]
    left = room = _room(title, under[0], size)
    for at, piece in enumerate(pieces):
        if piece is None:
            if pages[-1]:
                pages.append([])
                left = room = _room(title, under[1], size)
            continue
        needed = _kept_together(pieces, at)
        if needed > left and pages[-1]:
            pages.append([])
            left = room = _room(title, under[1], size)
            if piece.again is not None:
                pages[-1].append(piece.again)
                left -= piece.again.height
        if piece.height > left + 1e-6:
            raise InvalidInputError(
                f"What is printed must fit on a page, {room:.0f} mm high; one thing is {piece.height:.0f} mm high. "
                "Make it smaller."
            )
        pages[-1].append(piece)
        left -= piece.height + piece.after
    return pages


def _kept_together(pieces: Sequence[_Piece | None], at: int) -> float:
    height = 0.0
    for piece in pieces[at:]:
        if piece is None:
            break
        height += piece.height
        if not piece.with_next:
            break
        height += piece.after
    return height


def _room(title: str, how: str, size: tuple[float, float]) -> float:
    return sheet_head(title, how, size)[1] - MARGIN - _FOOT


def _pieces(block: Block, width: float) -> Iterator[_Piece | None]:
    if isinstance(block, NewPage):
        yield None
    elif isinstance(block, Heading):
        lines = wrapped(block.text, HEADING, width, bold=True)
        marks = _lines(lines, HEADING, 0, above=2.5, bold=True)
        yield _Piece(2.5 + _LEADING * HEADING * len(lines), marks, after=1.0, with_next=True)
    elif isinstance(block, Paragraph):
        size, tone = (SMALL, "secondary") if block.quiet else (TEXT, "text")
        lines = wrapped(block.text, size, 0.98 * width)
        yield _Piece(_LEADING * size * len(lines), _lines(lines, size, 0, tone=tone), after=_GAP)
    elif isinstance(block, Points):
        yield from _points(block, width)
    elif isinstance(block, Caution):
        lines = wrapped(block.text, block.size, 0.98 * width - _INDENT)
        height = _LEADING * block.size * len(lines) + 1.6
        marks = (Box(0, -height, 1.2, height, fill="text"), *_lines(lines, block.size, 4.0, above=0.8))
        yield _Piece(height, marks, after=_GAP * block.size / TEXT)
    elif isinstance(block, Table):
        yield from _table(block, width)
    else:
        drawing = block.drawing
        lifted = tuple(moved(mark, 0, -drawing.height) for mark in drawing.marks)
        yield _Piece(drawing.height, lifted, after=_GAP, pictures=block.pictures)


def _lines(
    lines: Sequence[str], size: float, x: float, *, above: float = 0.0, tone: str = "text", bold: bool = False
) -> tuple[Mark, ...]:
    # a line of type stands on its baseline, about a quarter of its leading above the foot of the line
    return tuple(
        Words(x, -above - _LEADING * size * (number + 1) + 0.36 * size, line, size, tone, bold=bold)
        for number, line in enumerate(lines)
    )


def _points(block: Points, width: float) -> Iterator[_Piece]:
    for number, text in enumerate(block.texts, start=1):
        lines = wrapped(text, TEXT, 0.98 * width - _INDENT)
        mark: Mark = Box(0.3, -0.93 * TEXT - 0.4, 2.9, 2.9, edge="text", line=0.3)
        if block.numbered:
            mark = Words(0, -_LEADING * TEXT + 0.36 * TEXT, f"{number}.", TEXT, bold=True)
        last = number == len(block.texts)
        yield _Piece(_LEADING * TEXT * len(lines), (mark, *_lines(lines, TEXT, _INDENT)), after=_GAP if last else 0.9)


def _table(block: Table, width: float) -> Iterator[_Piece]:
    wide = [share * width / sum(block.widths) for share in block.widths]
    head = _row(block.head, wide, 0.0, bold=True)
    for number, cells in enumerate(block.rows):
        row = _row(cells, wide, block.row_height)
        after = _GAP if number == len(block.rows) - 1 else 0.0
        if number == 0:
            yield _Piece(head.height, head.marks, with_next=True)
        yield _Piece(row.height, row.marks, after=after, again=head if number else None)


def _row(cells: Sequence[str], wide: Sequence[float], least: float, *, bold: bool = False) -> _Piece:
    texts = [wrapped(cell, TEXT, each - 3.0, bold=bold) for cell, each in zip(cells, wide, strict=True)]
    height = max(least, _LEADING * TEXT * max(1, *map(len, texts)) + 2 * _CELL)
    marks: list[Mark] = [Line(0, -height, sum(wide), -height, "text" if bold else "secondary", 0.35 if bold else _LINE)]
    x = 0.0
    for lines, each in zip(texts, wide, strict=True):
        marks += _lines(lines, TEXT, x, above=_CELL, bold=bold)
        x += each
    return _Piece(height, tuple(marks))


def _said(block: Block) -> str:
    """What a block says, for those who do not see the page."""
    if isinstance(block, Heading):
        return f"{block.text}:"
    if isinstance(block, Paragraph | Caution):
        return block.text
    if isinstance(block, Points):
        return " ".join(f"{number}. {text}" for number, text in enumerate(block.texts, start=1))
    if isinstance(block, Figure):
        return block.drawing.description
    if isinstance(block, Table):
        return "; ".join(", ".join(cell for cell in row if cell) for row in block.rows if any(row)) + "."
    return ""
