"""Sheets for sorting by eye: numbered swatches to cut out, a slip for the order, the key, and how a class did."""

from __future__ import annotations

import datetime
import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from contrastkit.compose.exercise import Exercise
from contrastkit.compose.eye_order import NEAR, PATTERNED, UNEQUAL, VIVID, ClassOrder
from contrastkit.compose.seams import ONE_SIDED
from contrastkit.show.chart import PRINT_PIXELS_PER_MM, Chart, chart_of
from contrastkit.show.crops import Crops, CutOut, cut_outs
from contrastkit.show.drawing import Box, Drawing, Line, Mark, Photo, Words
from contrastkit.show.flow import Block, Figure, Heading, Paragraph, Points, Table, flowed
from contrastkit.show.look import PAPER, SMALL, legible_on, surround_lightness
from contrastkit.show.page import MARGIN, headed, paper_size, sheet_foot, sheet_head
from contrastkit.show.pieces import Piece, pieces_dark_to_light
from contrastkit.show.words import date_words, measured_words, two_decimals

if TYPE_CHECKING:
    import pandas as pd

_NUMBER = 5.64  # height of a number's type: 16 points
_COLUMNS = 4
_GUTTER = 5.0
_LINE = 0.25
_FEW = 16  # numbers that a title holds
_TILE = 9.0  # side of a piece on the key
_HOW = (
    "Printed in colour: a grey copy gives the answer away. Cut along the lines. Lay the pieces in a row, the darkest "
    "left, the lightest right; lay on one another what looks equal. Squint, and look at each beside each. Then write "
    "the numbers on the slip."
)


def exercise_sheets(
    exercise: Exercise,
    table: pd.DataFrame,
    crops: Crops,
    *,
    heading: str = "",
    surround: str = "middle",
    paper: str = "A4",
    made: datetime.date | None = None,
) -> list[Chart]:
    """
    Return the sheets of an exercise: numbered swatches to cut out, and a slip to write the order on.

    Neither names nor lightness stand on them.

    Parameters
    ----------
    exercise : see `make_exercise`
    table : the pile it was made from
    crops : pictures of its pieces, by swatch_id
    heading : a line of the teacher's own, under the title of every page
    surround : what the pieces lie on: "light", "middle" or "dark"
    paper : "A4" or "Letter"
    made : the date at the foot; today, if not given

    Raises
    ------
    InvalidInputError
        An unknown surround or paper, or a crop that cannot be right.

    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": list("abc"), "lightness": [20.0, 50.0, 80.0]})
    >>> len(exercise_sheets(Exercise(("b", "a", "c")), table, {}))
    1
    """
    size = paper_size(paper)
    title = f"Which is the lightest? Sort these {len(exercise.pieces)} from dark to light"
    foot = f"Exercise {exercise.seed}, {exercise.level}.", date_words(made or datetime.date.today())
    how = headed(heading, _HOW)
    _, below = sheet_head(title, how, size)
    grid = _Grid.of(len(exercise.pieces), size[0] - 2 * MARGIN, below - MARGIN - 14.0)
    tone = surround_lightness(surround)
    known = {piece.swatch_id: piece for piece in pieces_dark_to_light(table)}
    cuts = cut_outs([known[name] for name in exercise.pieces], crops, side=math.ceil(grid.piece * PRINT_PIXELS_PER_MM))
    pages = []
    for page in range(grid.pages):
        head, top = sheet_head(title, how, size)
        bottom, _ = sheet_foot(*foot, (page + 1, grid.pages), size)
        marks = [*head, *_cells(exercise, grid, page, cuts, tone, top), *bottom]
        if page == grid.pages - 1:
            marks += _slip(len(exercise.pieces), size, grid.bottom(page, top))
        numbers = ", ".join(str(number) for number in grid.on(page))
        said = f"{title}. Swatches with the numbers {numbers}, to cut out and sort."
        pages.append(chart_of(Drawing(*size, tuple(marks), said), cuts, page=PAPER))
    return pages


@dataclass(frozen=True)
class _Grid:
    """Cells on pages: so many rows a page, and the side of a cell, mm; the last page has room for the slip."""

    count: int
    side: float
    rows: int
    pages: int

    @classmethod
    def of(cls, count: int, width: float, height: float) -> _Grid:
        side = (width - (_COLUMNS - 1) * _GUTTER) / _COLUMNS
        lines = math.ceil(count / _COLUMNS)
        rows = max(1, math.floor((height + _GUTTER) / (side + _GUTTER)))
        slip = _slip_height(count, width)
        pages = math.ceil(lines / rows)
        last = lines - (pages - 1) * rows
        if last * (side + _GUTTER) + slip > height:
            pages += 1
        return cls(count, side, rows, pages)

    @property
    def piece(self) -> float:
        """The most a piece is long, mm."""
        return self.side - 12.0

    def on(self, page: int) -> range:
        """The numbers on a page."""
        first = page * self.rows * _COLUMNS + 1
        return range(first, min(first + self.rows * _COLUMNS, self.count + 1))

    def place(self, number: int, page: int, top: float) -> tuple[float, float]:
        """Left and foot of the cell of a number."""
        line, column = divmod(number - self.on(page).start, _COLUMNS)
        return MARGIN + column * (self.side + _GUTTER), top - (line + 1) * self.side - line * _GUTTER

    def bottom(self, page: int, top: float) -> float:
        """How far down the cells of a page reach."""
        lines = math.ceil(len(self.on(page)) / _COLUMNS)
        return top - lines * (self.side + _GUTTER)


def _cells(
    exercise: Exercise, grid: _Grid, page: int, cuts: Mapping[str, CutOut], tone: float, top: float
) -> Iterator[Mark]:
    for number in grid.on(page):
        x, y = grid.place(number, page, top)
        yield Box(x, y, grid.side, grid.side, fill=tone, edge="secondary", line=_LINE)
        yield Words(x + 2.2, y + 2.2, str(number), _NUMBER, legible_on(tone), bold=True)
        name = exercise.pieces[number - 1]
        cut = cuts.get(name)
        rows, cols = cut.pixels.shape[:2] if cut is not None else (1, 1)
        scale = grid.piece / max(rows, cols)
        width, height = cols * scale, rows * scale
        left, foot = x + (grid.side - width) / 2, y + (grid.side - height) / 2 + 3.5
        if cut is None:
            yield Box(left, foot, width, height, edge=legible_on(tone), line=_LINE)
        yield Photo(left, foot, width, height, name)


_BOX = 13.0  # side of a box on the slip


def _slip_height(count: int, width: float) -> float:
    return 22.0 + _BOX * math.ceil(count / math.floor(width / _BOX))


def _slip(count: int, size: tuple[float, float], top: float) -> Iterator[Mark]:
    """A place for the name, and a box for each number from the darkest to the lightest."""
    width = size[0] - 2 * MARGIN
    each = math.floor(width / _BOX)
    y = top - 6.0
    yield Line(MARGIN, top, MARGIN + width, top, "secondary", _LINE, dashed=True)
    yield Words(MARGIN, y - 2.0, "Name and date", SMALL + 0.35)
    yield Line(MARGIN + 26, y - 2.6, MARGIN + width, y - 2.6, "secondary", _LINE)
    y -= 9.0
    yield Words(MARGIN, y, "darkest first; join with = what looks equal", SMALL + 0.35, "secondary")
    y -= 2.0
    for number in range(count):
        line, column = divmod(number, each)
        yield Box(MARGIN + column * _BOX, y - (line + 1) * _BOX, _BOX, _BOX, edge="secondary", line=0.35)


# --- the key ----------------------------------------------------------------------------------------------------------


def exercise_key(
    exercise: Exercise,
    table: pd.DataFrame,
    crops: Crops,
    *,
    heading: str = "",
    paper: str = "A4",
    made: datetime.date | None = None,
) -> list[Chart]:
    """
    Return the key of an exercise: the numbers in their true order, with what the measurement can tell and what not.

    Parameters
    ----------
    exercise, table, crops, heading, paper, made : as for `exercise_sheets`

    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": list("abc"), "lightness": [20.0, 50.0, 80.0]})
    >>> exercise_key(Exercise(("b", "a", "c")), table, {})[0].description[:33]
    'The true order is 2, 1, 3. Key to'
    """
    inside = set(exercise.pieces)
    pieces = [piece for piece in pieces_dark_to_light(table) if piece.swatch_id in inside]
    numbers = [exercise.number_of(piece.swatch_id) for piece in pieces]
    spread = _spread_of(table)
    rows = tuple(
        (str(number), piece.swatch_id, piece.lightness_words, piece.value_words, _hint(piece, spread))
        for number, piece in zip(numbers, pieces, strict=True)
    )
    blocks: list[Block] = [
        Paragraph(f"Key to exercise {exercise.seed}, {exercise.level}. Dark to light:"),
        Figure(*_row(pieces, numbers, crops, paper_size(paper)[0] - 2 * MARGIN)),
        *_close_words(pieces, numbers),
        Table(("No.", "Piece", "L*", "Value", "What may mislead the eye"), rows, (1, 3, 1.5, 1.2, 6)),
    ]
    order = ", ".join(map(str, numbers))
    title = f"The true order is {order}" if len(numbers) <= _FEW else f"The true order of {len(numbers)}, dark to light"
    return flowed(title, "", blocks, paper=paper, foot=measured_words(pieces), made=made, heading=heading)


def _spread_of(table: pd.DataFrame) -> dict[str, float]:
    if "lightness_low" not in table or "lightness_high" not in table:
        return {}
    spread = np.nan_to_num((table["lightness_high"] - table["lightness_low"]).to_numpy(float))
    return dict(zip(table["swatch_id"].astype(str), map(float, spread), strict=True))


def _hint(piece: Piece, spread: Mapping[str, float]) -> str:
    words = []
    if piece.apparent[0] - piece.lightness >= VIVID:
        words.append(f"vivid: it looks like L* {piece.apparent[0]:.0f} to {piece.apparent[1]:.0f}")
    if spread.get(piece.swatch_id, 0.0) >= PATTERNED:
        words.append("patterned: lights and darks far apart")
    return "; ".join(words)


def _row(
    pieces: Sequence[Piece], numbers: Sequence[int], crops: Crops, width: float
) -> tuple[Drawing, Mapping[str, CutOut]]:
    """The pieces in their order over the greys of equal lightness, each with its number."""
    each = math.floor(width / (_TILE + 1.0))
    cuts = cut_outs(pieces, crops, side=math.ceil(_TILE * PRINT_PIXELS_PER_MM))
    lines = math.ceil(len(pieces) / each)
    height = lines * (2 * _TILE + 7.5)
    marks: list[Mark] = []
    for at, (piece, number) in enumerate(zip(pieces, numbers, strict=True)):
        line, column = divmod(at, each)
        x, y = column * (_TILE + 1.0), height - (line + 1) * (2 * _TILE + 7.5) + 5.5
        marks.append(Box(x, y, _TILE, _TILE, fill=piece.lightness, edge="secondary", line=_LINE))
        cut = cuts.get(piece.swatch_id)
        rows, cols = cut.pixels.shape[:2] if cut is not None else (1, 1)
        scale = _TILE / max(rows, cols)
        marks.append(Box(x, y + _TILE, _TILE, _TILE, edge="hairline", line=_LINE))
        marks.append(Photo(x + (_TILE - cols * scale) / 2, y + _TILE + (_TILE - rows * scale) / 2, cols * scale,
                           rows * scale, piece.swatch_id))
        marks.append(Words(x + _TILE / 2, y - 4.2, str(number), SMALL + 0.7, bold=True, align="middle"))
    return Drawing(width, height, tuple(marks), f"Order: {', '.join(map(str, numbers))}."), cuts


def _close_words(pieces: Sequence[Piece], numbers: Sequence[int]) -> Iterator[Paragraph]:
    """Which pieces the measurement cannot tell apart, two by two."""
    pairs = [
        f"{number} and {other_number}"
        for (one, number), (other, other_number) in itertools.combinations(zip(pieces, numbers, strict=True), 2)
        if other.lightness - one.lightness <= ONE_SIDED * math.hypot(_sigma(one), _sigma(other))
    ]
    if pairs:
        yield Paragraph(
            f"Too close to tell apart, either order is right: {'; '.join(pairs)}. Nothing is counted against anybody "
            "that the measurement itself cannot tell."
        )


def _sigma(piece: Piece) -> float:
    return piece.sigma if math.isfinite(piece.sigma) else 0.0


# --- how a class did --------------------------------------------------------------------------------------------------


def class_results(
    pooled: ClassOrder,
    exercise: Exercise,
    *,
    progress: pd.DataFrame | None = None,
    heading: str = "",
    paper: str = "A4",
    made: datetime.date | None = None,
) -> list[Chart]:
    """
    Return how a class sorted: each learner's result, the hardest pieces, and how learners get on from week to week.

    Parameters
    ----------
    pooled : the orders of the class
    exercise : what they sorted
    progress : earlier exercises, too, as `eye_order.progress` gives them
    heading, paper, made : as for `exercise_sheets`

    >>> import pandas as pd
    >>> from contrastkit.compose.eye_order import pool_orders
    >>> table = pd.DataFrame({"swatch_id": list("abc"), "lightness": [20.0, 50.0, 80.0]})
    >>> orders = pool_orders(table, {"first": ["a", "b", "c"]})
    >>> class_results(orders, Exercise(("b", "a", "c")))[0].description[:47]
    '1 of 1 learner has every piece in order. 1. Hal'
    """
    first, *others = pooled.sentences
    blocks: list[Block] = [Points(tuple(others), numbered=True)] if others else []
    rows = tuple(
        (name, f"{len(one.right) - len(one.misplaced)} of {len(one.right)}", two_decimals(one.tau),
         two_decimals(one.rho), ", ".join(str(exercise.number_of(each.swatch_id)) for each in one.misplaced) or "none")
        for name, one in pooled.learners.items()
    )
    blocks.append(Table(("Learner", "In order", "tau-b", "rho", "Numbers to look at again"), rows, (3, 2, 1.3, 1.3, 5)))
    if pooled.hardest:
        blocks += [Heading("What was hard, and what may have led the eye"), *_hard(pooled, exercise)]
    blocks.append(Paragraph(
        f"In order: the most pieces that could stay where they were put. tau-b and rho: 1 is perfect, 0 is chance. "
        f"Vivid: it, or what it was held against, looks {VIVID:g} L* lighter than it measures, or more. Patterned: its "
        f"lights and darks lie {PATTERNED:g} L* apart, or more. Near: what it was taken for lies within {NEAR:g} L*. "
        "What the measurement cannot tell apart (1.645 sigma of the difference) is never counted; to call two equal is "
        f"wrong from {UNEQUAL:g} L* on.", quiet=True,
    ))  # fmt: skip
    if progress is not None and len(progress):
        blocks += [Heading("From week to week"), _progress_table(progress)]
    return flowed(first, "", blocks, paper=paper, foot="Sorted by eye.", made=made, heading=heading)


def _hard(pooled: ClassOrder, exercise: Exercise) -> Iterator[Block]:
    for piece in pooled.hardest[:6]:
        told = [each for one in pooled.learners.values() for each in one.misplaced if each.swatch_id == piece.swatch_id]
        reasons = sorted({reason for each in told for reason in each.reasons})
        light = sum(each.widest > 0 for each in told)
        way = "too light" if light == len(told) else "too dark" if not light else f"too light by {light} of them"
        yield Paragraph(
            f"Number {exercise.number_of(piece.swatch_id)} ({piece.swatch_id}): misplaced by {piece.moved} of "
            f"{len(pooled.learners)}, {way}{'; ' + ', '.join(reasons) if reasons else ''}."
        )


def _progress_table(progress: pd.DataFrame) -> Table:
    rows = tuple(
        (str(row["learner"]), str(row["date"]), str(row["exercise"]), f"{row['in_order']} of {row['pieces']}",
         two_decimals(row["tau"]), two_decimals(row["gain"], signed=True))
        for row in progress.to_dict("records")
    )
    heads = ("Learner", "Date", "Exercise", "In order", "tau-b", "Since the first alike")
    return Table(heads, rows, (3, 2.2, 2, 1.9, 1.3, 2))
