"""The contact sheet laid out: a head, cells with a piece beside its grey, a foot; lengths in millimetres."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

from contrastkit.show.chart import PRINT_PIXELS_PER_MM, Chart, chart_of
from contrastkit.show.crops import Crops, CutOut, cut_outs
from contrastkit.show.drawing import Box, Drawing, Line, Mark, Photo, Words, group_mark, mark_width
from contrastkit.show.look import PAPER, SMALL, legible_on, shortened, text_width, wrapped
from contrastkit.show.page import LEADING, MARGIN, headed, sheet_foot, sheet_head
from contrastkit.show.pieces import Piece, borderline_words, rival_of

NAME = 3.18  # height of a name's type: 9 points
_LINE = 0.25  # round a grey, mm
_FOOT = 15.0  # height of the foot of a sheet
_GUTTER, _ROW_GAP, _UNDER_MAT = 4.0, 3.4, 1.0
_LARGEST_SIDE = 42.0
_NUMBERS, _VALUE = 12.5, 7.0  # widths of the columns under a piece
_MARK = 2.2  # height of a group's mark
_HOW = (
    "From dark, bottom left, to light, top right; each piece beside the grey of equal lightness. "
    "Under it: lightness L* ± standard uncertainty, Munsell value, group."
)


@dataclass(frozen=True)
class SheetLook:
    """What every sheet of a pile has in common; sizes in mm, surround as L*; heading is the teacher's own."""

    size: tuple[float, float]
    surround: float
    names: tuple[str, ...]
    edges: tuple[float, ...]
    heading: str = ""

    @property
    def how(self) -> str:
        return headed(self.heading, _HOW)

    @property
    def width(self) -> float:
        return self.size[0] - 2 * MARGIN


def draw_sheets(
    pieces: Sequence[Piece], crops: Crops, look: SheetLook, finding: str, foot: tuple[str, str], *, pages: int
) -> list[Chart]:
    """Return the pieces on so many sheets under one finding; the foot is what was measured, and the date."""
    labels = [_Label.of(piece, look) for piece in pieces]
    _, below = sheet_head(finding, look.how, look.size)
    grids = _grids(_dealt(labels, pages), look.width, below - MARGIN - _FOOT)
    return [_sheet(grid, crops, look, finding, foot, (number, pages)) for number, grid in enumerate(grids, start=1)]


def _dealt(labels: list[_Label], pages: int) -> list[list[_Label]]:
    """The pieces in order on so many pages, as evenly as can be."""
    ends = [round(len(labels) * page / pages) for page in range(pages + 1)]
    return [labels[start:end] for start, end in pairwise(ends)]


def _sheet(
    grid: _Grid, crops: Crops, look: SheetLook, finding: str, foot: tuple[str, str], number: tuple[int, int]
) -> Chart:
    head, below = sheet_head(finding, look.how, look.size)
    bottom, _ = sheet_foot(*foot, number, look.size)
    pieces = [label.piece for row in grid.rows for label in row]
    cuts = cut_outs(pieces, crops, side=math.ceil(grid.side * PRINT_PIXELS_PER_MM))
    marks = (*head, *_cells(grid, cuts, look, below), *bottom)
    return chart_of(Drawing(*look.size, marks, _sheet_description(finding, pieces)), cuts, page=PAPER)


def _sheet_description(finding: str, pieces: Sequence[Piece]) -> str:
    each = "; ".join(f"{piece.swatch_id}, " + (f"L* {piece.lightness:.0f}" if piece.known else "unknown")
                     for piece in pieces)
    return f"{finding} {len(pieces)} pieces from dark to light: {each}."


# A cell: a mat with the piece and its grey, and words under it or beside it.


@dataclass(frozen=True)
class _Label:
    """What is said of one piece; place and rival are those of its groups in their order."""

    piece: Piece
    place: int | None
    rival: int | None
    notes: tuple[str, ...]

    @classmethod
    def of(cls, piece: Piece, look: SheetLook) -> _Label:
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


def _grids(pages: list[list[_Label]], width: float, height: float) -> list[_Grid]:
    """One grid a page, all alike: the arrangement that shows the pieces largest, what is left over between the rows."""
    group = max(label.group_width for labels in pages for label in labels)
    options = [
        [_enlarged(_arranged(labels, columns, beside, width, group), height) for labels in pages]
        for columns in range(1, 7)
        for beside in (False, True)
    ]
    best = max(options, key=lambda grids: min(map(_merit, grids)))
    side = min(grid.side for grid in best)
    return [_spread(replace(grid, side=side), height) for grid in best]


def _spread(grid: _Grid, height: float) -> _Grid:
    left_over = (height - grid.height) / max(len(grid.rows) - 1, 1)
    return replace(grid, gap=_ROW_GAP + min(max(left_over, 0), 1.2 * _ROW_GAP))


def _merit(grid: _Grid) -> float:
    """How large the pieces are, less a little where the lightest stand nearly alone in their row."""
    return grid.side * (0.8 + 0.2 * len(grid.rows[-1]) / len(grid.rows[0]))


def _arranged(labels: list[_Label], columns: int, beside: bool, width: float, group: float) -> _Grid:
    cell = (width - (columns - 1) * _GUTTER) / columns
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


def _cells(grid: _Grid, cuts: dict[str, CutOut], look: SheetLook, top: float) -> Iterator[Mark]:
    for row in reversed(grid.rows):
        for column, label in enumerate(row):
            x = MARGIN + column * (grid.cell + _GUTTER)
            yield from _cell(label, grid, cuts.get(label.piece.swatch_id), look, x, top)
        top -= grid.row_height(row) + grid.gap


def _cell(
    label: _Label, grid: _Grid, cut: CutOut | None, look: SheetLook, x: float, top: float
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
        low, high, end = middle - height / 2 - _LINE / 2, middle + height / 2 + _LINE / 2, joint + width + _LINE / 2
        for x0, y0, x1, y1 in ((joint, low, end, low), (end, low, end, high), (joint, high, end, high)):
            yield Line(x0, y0, x1, y1, ink, _LINE)  # but none where it meets the piece


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
