"""Three charts of a measured pile: the contact sheet, the strip of values, the balance of the groups."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from contrastkit.compose.groups import balance_sentence, sort_into_groups
from contrastkit.errors import InvalidInputError, TooFewSwatchesError
from contrastkit.show.balance import BalanceStyle, count_groups, draw_balance
from contrastkit.show.chart import Chart, chart_of
from contrastkit.show.crops import Crops, CutOut, cut_outs
from contrastkit.show.drawing import Box, Drawing, Mark, Photo, Words, group_mark, mark_width, moved
from contrastkit.show.look import (
    PAPER,
    legible_on,
    shortened,
    surround_lightness,
    text_width,
    wrapped,
    wrapped_evenly,
)
from contrastkit.show.pieces import Piece, borderline_words, group_edges, group_names, pieces_dark_to_light, rival_of
from contrastkit.show.strip import StripStyle, draw_strip
from contrastkit.show.words import date_words, measured_words, spread_words

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.compose.groups import Breaks

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # width and height in mm
MARGIN = 12.0
MOST_ON_A_SHEET = 60
COMFORTABLE = 36  # as many as are still shown at least thumbnail large

# Type in mm: 16, 9 and 8 points.
TITLE, NAME, SMALL = 5.64, 3.18, 2.83
LEADING = 3.75
_FOOT = 15.0  # height of the foot of a sheet
_GUTTER, _ROW_GAP, _UNDER_MAT = 4.0, 3.4, 1.0
_LARGEST_SIDE = 42.0
_NUMBERS, _VALUE = 12.5, 7.0  # widths of the columns under a piece
_MARK = 2.2  # height of a group's mark
_PIXELS_PER_MM = 300 / 25.4


# The contact sheet.


def contact_sheet(
    table: pd.DataFrame,
    crops: Crops,
    *,
    title: str | None = None,
    surround: str = "middle",
    paper: str = "A4",
    breaks: Breaks | None = None,
    made: datetime.date | None = None,
) -> Chart:
    """
    Return one printed page of up to sixty swatches, dark at the bottom left to light at the top right.

    Each piece lies beside the grey of equal lightness; under it stand its name, L* with its standard uncertainty,
    Munsell value, group and what to be careful of.

    Parameters
    ----------
    table
        The swatch table.
    crops
        The pieces cut out of their photographs, by swatch_id: 8-bit sRGB, shape (rows, cols, 3), or 4 with alpha.
        A piece without a crop gets an empty frame.
    title
        The finding; how the groups balance, if not given.
    surround
        What the pieces lie on: "light", "middle" or "dark".
    paper
        "A4" or "Letter".
    breaks
        Edges and names of the groups; without them, the groups are as the table names them.
    made
        The date at the foot; today, if not given.

    Raises
    ------
    InvalidInputError
        More pieces than a page holds, a table or a crop that cannot be right, or an unknown surround or paper.
    TooFewSwatchesError
        The table is empty.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0], "group": ["light", "dark"]})
    >>> contact_sheet(table, {}, title="Two pieces.").description
    'Two pieces. 2 pieces from dark to light: b, L* 31; a, L* 70.'
    """
    if len(table) > MOST_ON_A_SHEET:
        raise InvalidInputError(
            f"A contact sheet holds at most {MOST_ON_A_SHEET} pieces; got {len(table)}. "
            "Use contact_sheets, which goes on to further pages."
        )
    return contact_sheets(
        table, crops, title=title, surround=surround, paper=paper, breaks=breaks, made=made, most=MOST_ON_A_SHEET
    )[0]


def contact_sheets(
    table: pd.DataFrame,
    crops: Crops,
    *,
    title: str | None = None,
    surround: str = "middle",
    paper: str = "A4",
    breaks: Breaks | None = None,
    made: datetime.date | None = None,
    most: int = COMFORTABLE,
) -> list[Chart]:
    """
    Return as many contact sheets as the pile needs, the darkest pieces on the first; see `contact_sheet`.

    Parameters
    ----------
    most
        How many pieces a page may hold, 1 to 60; fewer are shown larger. Pages are filled evenly.

    Raises
    ------
    InvalidInputError
        As for `contact_sheet`, or `most` is not 1 to 60.
    TooFewSwatchesError
        The table is empty.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": list("abcde"), "lightness": [10, 30, 50, 70, 90]})
    >>> len(contact_sheets(table, {}, most=2))
    3
    """
    size = _paper_size(paper)
    if not 1 <= most <= MOST_ON_A_SHEET:
        raise InvalidInputError(f"most must be 1 to {MOST_ON_A_SHEET} pieces a page; got {most}. Pick a number in it.")
    pieces = _some(pieces_dark_to_light(table))
    names = group_names(pieces, breaks)
    finding = title if title is not None else _balance(pieces, names)
    look = _SheetLook(size, surround_lightness(surround), names, group_edges(pieces, names, breaks))
    foot = measured_words(pieces), date_words(made or datetime.date.today())
    pages = _dealt(pieces, math.ceil(len(pieces) / most))
    return [
        _one_sheet(page, crops, look, finding, foot, (number, len(pages))) for number, page in enumerate(pages, start=1)
    ]


def _paper_size(paper: str) -> tuple[float, float]:
    if paper not in PAPERS:
        raise InvalidInputError(f"paper must be one of {', '.join(PAPERS)}; got {paper!r}. Pick one of these.")
    return PAPERS[paper]


def _some(pieces: list[Piece]) -> list[Piece]:
    if not pieces:
        raise TooFewSwatchesError("A chart needs at least 1 swatch; the table has none. Measure a photograph first.")
    return pieces


def _dealt(pieces: list[Piece], pages: int) -> list[list[Piece]]:
    """The pieces in order on so many pages, as evenly as can be."""
    ends = [round(len(pieces) * page / pages) for page in range(pages + 1)]
    return [pieces[start:end] for start, end in zip(ends, ends[1:], strict=False)]


def _balance(pieces: Sequence[Piece], names: Sequence[str]) -> str:
    import pandas as pd

    if not any(piece.group for piece in pieces):
        return spread_words(pieces)
    return balance_sentence(pd.DataFrame({"group": [piece.group for piece in pieces]}), names)


@dataclass(frozen=True)
class _SheetLook:
    """What every sheet of a pile has in common; sizes in mm, surround as L*."""

    size: tuple[float, float]
    surround: float
    names: tuple[str, ...]
    edges: tuple[float, ...]

    @property
    def width(self) -> float:
        return self.size[0] - 2 * MARGIN


def _one_sheet(
    pieces: list[Piece], crops: Crops, look: _SheetLook, finding: str, foot: tuple[str, str], number: tuple[int, int]
) -> Chart:
    head, below = _head(finding, look)
    grid = _grid([_Label.of(piece, look) for piece in pieces], look.width, below - MARGIN - _FOOT)
    cuts = cut_outs(pieces, crops, side=math.ceil(grid.side * _PIXELS_PER_MM))
    marks = (*head, *_cells(grid, cuts, look, below), *_foot(foot, number, look))
    return chart_of(Drawing(*look.size, marks, _sheet_description(finding, pieces)), cuts, page=PAPER)


def _sheet_description(finding: str, pieces: Sequence[Piece]) -> str:
    each = "; ".join(f"{piece.swatch_id}, " + (f"L* {piece.lightness:.0f}" if piece.known else "unknown")
                     for piece in pieces)
    return f"{finding} {len(pieces)} pieces from dark to light: {each}."


def _head(finding: str, look: _SheetLook) -> tuple[list[Mark], float]:
    """The title and the line under it, and the height they reach down to."""
    how = (
        "From dark, bottom left, to light, top right; each piece beside the grey of equal lightness. "
        "Under it: lightness L* ± standard uncertainty, Munsell value, group."
    )
    marks: list[Mark] = []
    y = look.size[1] - MARGIN
    for text in wrapped_evenly(finding.removesuffix("."), TITLE, look.width, bold=True)[:3]:
        y -= TITLE * 1.32
        marks.append(Words(MARGIN, y + TITLE * 0.32, text, TITLE, bold=True))
    for text in wrapped_evenly(how, SMALL, look.width):
        y -= LEADING
        marks.append(Words(MARGIN, y, text, SMALL, "secondary"))
    return marks, y - 4.5


def _foot(foot: tuple[str, str], number: tuple[int, int], look: _SheetLook) -> Iterator[Mark]:
    right, lines = look.size[0] - MARGIN, wrapped_evenly(foot[0], SMALL, look.width)[:2]
    y = MARGIN + LEADING * len(lines) + 1.2
    yield from _true_size_bar(MARGIN, y)
    yield Words(right, y, f"{foot[1]}, page {number[0]} of {number[1]}", SMALL, "secondary", align="right")
    for line in lines:
        y -= LEADING + 0.2
        yield Words(MARGIN, y, line, SMALL, "secondary")


def _true_size_bar(x: float, y: float) -> Iterator[Mark]:
    """Five alternating centimetres: fifty millimetres, if the page is printed at its true size."""
    yield Box(x, y, 50, 1.8, edge="text", line=0.25)
    for centimetre in (0, 2, 4):
        yield Box(x + 10 * centimetre, y, 10, 1.8, fill="text")
    yield Words(x + 52, y - 0.1, "50 mm at true size", SMALL, "secondary")


# A cell: a mat with the piece and its grey, and words under it or beside it.


@dataclass(frozen=True)
class _Label:
    """What is said of one piece; place and rival are those of its groups in their order."""

    piece: Piece
    place: int | None
    rival: int | None
    notes: tuple[str, ...]

    @classmethod
    def of(cls, piece: Piece, look: _SheetLook) -> _Label:
        place = look.names.index(piece.group) if piece.group in look.names else None
        rival = rival_of(piece, look.names, look.edges)
        flags = "check: " + ", ".join(piece.flags) if piece.flags else ""
        notes = tuple(note for note in (borderline_words(piece, rival, look.names), flags) if note)
        return cls(piece, place, None if rival is None else look.names.index(rival), notes)

    @cached_property
    def group_width(self) -> float:
        mark = 0 if self.place is None else mark_width(_MARK, self.place, rival=self.rival) + 1.3
        return mark + text_width(self.piece.group, SMALL)

    def lines(self, width: float) -> list[str]:
        """The notes, as lines of this width."""
        return [line for note in self.notes for line in wrapped(note, SMALL, width)]


@dataclass(frozen=True)
class _Grid:
    """Where everything on a sheet goes; lengths in mm. The first row is the lowest."""

    rows: tuple[tuple[_Label, ...], ...]
    cell: float  # width of a cell
    words: float  # width of the words
    beside: bool  # words right of the mat, not under it
    joined: bool  # numbers and group on one line
    side: float = 0.0  # of the box that holds a piece
    gap: float = _ROW_GAP  # between rows

    @property
    def around(self) -> float:
        """How much of the surround shows round a piece."""
        return max(1.2, 0.11 * self.side)

    @property
    def mat(self) -> tuple[float, float]:
        """Height and width of the surround in a cell."""
        wide = 2 * (self.side + self.around) if self.beside else self.cell
        return self.side + 2 * self.around, wide

    def row_height(self, row: Sequence[_Label]) -> float:
        """What a row takes, without the gap over the next."""
        lines = 2 + (not self.joined) + max(len(label.lines(self.words)) for label in row)
        text = lines * LEADING
        return max(self.mat[0], text) if self.beside else self.mat[0] + text + _UNDER_MAT

    @property
    def height(self) -> float:
        return sum(map(self.row_height, self.rows)) + self.gap * (len(self.rows) - 1)


def _grid(labels: list[_Label], width: float, height: float) -> _Grid:
    """The arrangement that shows the pieces largest, with what is left over between the rows."""
    arrangements = [
        _arranged(labels, columns, beside, width) for columns in range(1, 7) for beside in (False, True)
    ]
    grid = max((_enlarged(grid, height) for grid in arrangements), key=_merit)
    left_over = (height - grid.height) / max(len(grid.rows) - 1, 1)
    return replace(grid, gap=_ROW_GAP + min(max(left_over, 0), 1.2 * _ROW_GAP))


def _merit(grid: _Grid) -> float:
    """How large the pieces are, less a little where the lightest stand nearly alone in their row."""
    return grid.side * (0.8 + 0.2 * len(grid.rows[-1]) / len(grid.rows[0]))


def _arranged(labels: list[_Label], columns: int, beside: bool, width: float) -> _Grid:
    cell = (width - (columns - 1) * _GUTTER) / columns
    group = max(label.group_width for label in labels)
    words = max(_NUMBERS + _VALUE, group, 24.0) if beside else cell
    rows = tuple(tuple(labels[start : start + columns]) for start in range(0, len(labels), columns))
    return _Grid(rows, cell, words, beside, joined=not beside and words >= _NUMBERS + _VALUE + group)


def _enlarged(grid: _Grid, height: float) -> _Grid:
    """The grid with the largest pieces that fit, to a fiftieth of a millimetre; of size nought where none do."""
    small, large = 0.0, _LARGEST_SIDE
    while large - small > 0.02:
        tried = replace(grid, side=(small + large) / 2)
        room = grid.cell - grid.words - 2 if grid.beside else grid.cell
        fits = tried.height <= height and 2 * (tried.side + tried.around) <= room
        small, large = (tried.side, large) if fits else (small, tried.side)
    return replace(grid, side=small)


def _cells(grid: _Grid, cuts: dict[str, CutOut], look: _SheetLook, top: float) -> Iterator[Mark]:
    for row in reversed(grid.rows):
        for column, label in enumerate(row):
            x = MARGIN + column * (grid.cell + _GUTTER)
            yield from _cell(label, grid, cuts.get(label.piece.swatch_id), look, x, top)
        top -= grid.row_height(row) + grid.gap


def _cell(
    label: _Label, grid: _Grid, cut: CutOut | None, look: _SheetLook, x: float, top: float
) -> Iterator[Mark]:
    height, width = grid.mat
    yield Box(x, top - height, width, height, fill=look.surround)
    yield from _pair(label.piece, cut, x + width / 2, top - height / 2, grid.side, look.surround)
    left, first = (x + width + 2, top + 0.6) if grid.beside else (x, top - height - _UNDER_MAT)
    yield from _caption(label, left, first, grid)


def _pair(
    piece: Piece, cut: CutOut | None, joint: float, middle: float, side: float, surround: float
) -> Iterator[Mark]:
    """The piece left of the joint and its grey right of it, of one size."""
    rows, cols = (1, 1) if cut is None else cut.pixels.shape[:2]
    height, width = side * rows / max(rows, cols), side * cols / max(rows, cols)
    ink = legible_on(surround)
    if cut is None:
        yield Box(joint - width, middle - height / 2, width, height, edge=ink)
        if side > 18:
            yield Words(joint - width / 2, middle - 1, "no picture", SMALL, ink, align="middle")
    else:
        yield Photo(joint - width, middle - height / 2, width, height, piece.swatch_id)
    if piece.known:
        yield Box(joint, middle - height / 2, width, height, fill=piece.lightness)


def _caption(label: _Label, x: float, top: float, grid: _Grid) -> Iterator[Mark]:
    piece, y = label.piece, top - LEADING + 0.6
    yield Words(x, y, shortened(piece.swatch_id, NAME, grid.words, bold=True), NAME, bold=True)
    y -= LEADING
    yield Words(x, y, piece.lightness_words, SMALL)
    yield Words(x + _NUMBERS, y, piece.value_words, SMALL)
    if not grid.joined:
        y -= LEADING
    yield from _group(label, x + (_NUMBERS + _VALUE if grid.joined else 0), y, grid.words)
    for line in label.lines(grid.words):
        y -= LEADING
        yield Words(x, y, line, SMALL)


def _group(label: _Label, x: float, y: float, width: float) -> Iterator[Mark]:
    if label.place is not None:
        yield from group_mark(x, y - 0.1, _MARK, label.place, rival=label.rival)
        x += mark_width(_MARK, label.place, rival=label.rival) + 1.3
    yield Words(x, y, shortened(label.piece.group, SMALL, width), SMALL)


# The strip of values.


def value_strip(
    table: pd.DataFrame,
    crops: Crops,
    *,
    title: str | None = None,
    surround: str = "middle",
    breaks: Breaks | None = None,
) -> Chart:
    """
    Return the pieces laid along the lightness axis, none hiding another, each with its uncertainty.

    Parameters
    ----------
    table
        The swatch table.
    crops
        The pieces cut out of their photographs, by swatch_id, as for `contact_sheet`.
    title
        The finding; how far the pile reaches, if not given.
    surround
        What each piece lies on: "light", "middle" or "dark".
    breaks
        Edges and names of the groups; without them, edges are drawn half-way between the table's groups.

    Raises
    ------
    InvalidInputError
        A table or a crop that cannot be right, or an unknown surround.
    TooFewSwatchesError
        The table has no swatch of known lightness.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0]})
    >>> value_strip(table, {}).description
    'The pile reaches from L* 31 to L* 70; half of it lies between L* 41 and L* 60. From dark to light: b 31, a 70.'
    """
    pieces = _some([piece for piece in pieces_dark_to_light(table) if piece.known])
    names = group_names(pieces, breaks)
    style = StripStyle(
        width=265, tallest=118, largest=17, text=SMALL, gap=1.2, line=0.25, surround=surround_lightness(surround)
    )
    cuts = cut_outs(pieces, crops, side=math.ceil(style.largest * _PIXELS_PER_MM))
    finding = title if title is not None else spread_words(pieces)
    each = ", ".join(f"{piece.swatch_id} {piece.lightness:.0f}" for piece in pieces)
    strip = draw_strip(
        pieces, cuts, names, group_edges(pieces, names, breaks), style, f"{finding} From dark to light: {each}."
    )
    how = "Each piece at its lightness, with one standard uncertainty either side. " + measured_words(pieces)
    return chart_of(_titled(strip, finding, how), cuts)


# The balance of the groups.


def balance_chart(table: pd.DataFrame, breaks: Breaks, *, title: str | None = None) -> Chart:
    """
    Return how many pieces each group has, one square a piece, against an equal count.

    Parameters
    ----------
    table
        The swatch table; pieces are sorted into the groups, if it has no groups yet.
    breaks
        Edges and names of the groups.
    title
        The finding; which groups the pile is short of, or has too many of, if not given.

    Raises
    ------
    InvalidInputError
        A table that cannot be right, or one with a group that is none of the breaks'.
    TooFewSwatchesError
        The table is empty.

    Examples
    --------
    >>> import pandas as pd
    >>> from contrastkit.compose.groups import fixed_breaks
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0]})
    >>> balance_chart(table, fixed_breaks(), title="No mediums.").description
    'No mediums. 1 dark, 0 medium, 1 light.'
    """
    grouped = table if "group" in table else sort_into_groups(table, breaks)
    pieces = _some(pieces_dark_to_light(grouped))
    finding = _balance(pieces, breaks.names)
    each = ", ".join(f"{count} {name}" for name, (count, _) in count_groups(pieces, breaks.names).items())
    balance = draw_balance(
        pieces, breaks.names, BalanceStyle(width=150, height=62, text=SMALL + 0.4, line=0.25),
        f"{title or finding} {each}.",
    )
    how = f"Groups by lightness: {breaks!r}. Hollow squares are borderline. " + measured_words(pieces)
    return chart_of(_titled(balance, title or finding, how), {})


_EDGE = 6.0  # round a chart


def _titled(drawing: Drawing, finding: str, how: str) -> Drawing:
    """The drawing under its finding and how it was come by, with a margin round all."""
    small = SMALL + 0.35
    title = wrapped_evenly(finding.removesuffix("."), TITLE, drawing.width, bold=True)
    below = wrapped_evenly(how, small, drawing.width)
    height = drawing.height + 2 * _EDGE + 1.32 * TITLE * len(title) + 1.4 * small * len(below) + 5
    marks: list[Mark] = []
    y = height - _EDGE
    for line in title:
        y -= 1.32 * TITLE
        marks.append(Words(_EDGE, y + 0.36 * TITLE, line, TITLE, bold=True))
    for line in below:
        y -= 1.4 * small
        marks.append(Words(_EDGE, y + 0.3 * small, line, small, "secondary"))
    marks += [moved(mark, _EDGE, _EDGE) for mark in drawing.marks]
    return Drawing(drawing.width + 2 * _EDGE, height, tuple(marks), drawing.description)
