"""The best stacks of a pile on one sheet, each drawn from its real pieces."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

from contrastkit.compose.choosing import Choice, ChosenStack, choose_stacks
from contrastkit.compose.seams import AMBIGUOUS, BACKGROUND, VERDICTS, Seam, Surface, surfaces, verdict_word
from contrastkit.compose.stacks import GOAL, Stack, default_sides, judge_stack
from contrastkit.errors import InvalidInputError
from contrastkit.show.crops import Crops, CutOut, Pixels, cut_outs, encoded
from contrastkit.show.drawing import Box, Drawing, Mark, Photo, Words
from contrastkit.show.look import PAPER, SMALL, TITLE, shortened, surround_lightness, wrapped
from contrastkit.show.mockup import render, stack_placed
from contrastkit.show.page import LEADING, MARGIN, PAPERS, paper_size, sheet_foot, sheet_head
from contrastkit.show.pieces import Piece, pieces_dark_to_light
from contrastkit.show.stairs import verdict_words
from contrastkit.show.views import in_grey
from contrastkit.show.words import counted, date_words, listed, measured_words

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.show.chart import Chart, Pictures

MOST_ON_A_SHEET = 12
_LARGEST_SIDE = 70.0  # of a stack's picture, mm
_SHARE = 0.62  # of a cell's width that the picture takes; beside it the small grey view
_LAYERS, _FEW = 3, 3  # of the best stacks: their layers; how many are shown where none is good enough
_NO_TIME = 1e-6  # seconds
_GREY = 0.48  # side of the grey view, in sides of the picture
_GUTTER, _ROW_GAP = 5.0, 5.0
_ROW, _WIDEST_STAIR = 4.6, 80.0  # height of a layer's line, width of all
_RIM = 25.4 / 16  # mm, of bare ground round every layer
_AROUND = 0.05  # of a picture's side: what the stack lies on shows all round


@dataclass(frozen=True, eq=False)
class DrawnStack:
    """
    A chosen stack as it is shown.

    Attributes
    ----------
    number : its place in the choice, from 1
    layers : its pieces, bottom first
    seams : bottom first; the first is the base on the background, where there is one
    weakest : which of the seams is the weakest
    ground : L* of what it lies on
    colour, grey : the stack as it will look, sRGB, and the same small and without colour, shape (side, side, 3)
    """

    number: int
    layers: tuple[Piece, ...]
    seams: tuple[Seam, ...]
    weakest: int
    ground: float
    colour: Pixels
    grey: Pixels

    @property
    def on_background(self) -> bool:
        """Whether the lowest seam is that of the base on the background."""
        return len(self.seams) == len(self.layers)

    @property
    def lines(self) -> tuple[tuple[str, float], ...]:
        """Name and lightness of all that a seam lies between, bottom first."""
        under = ((BACKGROUND, self.ground),) if self.on_background else ()
        return (*under, *((piece.swatch_id, piece.lightness) for piece in self.layers))

    @property
    def verdict(self) -> str:
        """The weakest step and our word for it; what vivid paint leaves of it, where that changes the word."""
        seam = self.seams[self.weakest]
        plain = f"{step_words(abs(seam.step))} L*, {verdict_words(seam)}"
        if seam.verdict in (AMBIGUOUS, verdict_word(abs(seam.step))):
            return plain
        return f"{plain}: vivid paint leaves {step_words(seam.separation)}"

    @property
    def description(self) -> str:
        """The stack in words."""
        each = ", ".join(f"{piece.swatch_id} {piece.lightness:.0f}" for piece in self.layers)
        steps = listed([step_words(abs(seam.step)) for seam in self.seams])
        return f"Stack {self.number}, bottom first: {each}; steps {steps}; weakest {self.verdict}."


def stacks_sheet(
    choice: Choice,
    table: pd.DataFrame,
    crops: Crops,
    *,
    title: str | None = None,
    how: str | None = None,
    background: float | None = None,
    surround: str = "middle",
    paper: str = "A4",
    made: datetime.date | None = None,
    most: int = MOST_ON_A_SHEET,
    drawn: Sequence[DrawnStack] | None = None,
) -> list[Chart]:
    """
    Return the chosen stacks drawn on one sheet, or on as many as they need, the strongest first.

    Each is shown as it will look, small in grey, and as a stair of lightness from the bottom layer up; what the pile
    has left over stands at the foot of the last sheet.

    Parameters
    ----------
    choice
        The stacks; see `choose_stacks`.
    table
        The swatch table they were chosen from.
    crops
        The pieces cut out of their photographs, by swatch_id: 8-bit sRGB, shape (rows, cols, 3), or 4 with alpha.
        A piece without a crop is drawn in the grey of its lightness.
    title
        The finding; how many stacks there are and how far the weakest step goes, if not given.
    how
        How they were chosen, a sentence or two.
    background
        L* of what the stacks are fused to; none, if not given: they lie on the surround.
    surround
        What they lie on where there is no background: "light", "middle" or "dark".
    paper
        "A4" or "Letter".
    made
        The date at the foot; today, if not given.
    most
        How many stacks a sheet may hold, 1 to 12; fewer are drawn larger. Sheets are filled evenly.
    drawn
        The stacks already drawn by `draw_stacks`, to save drawing them again.

    Raises
    ------
    InvalidInputError
        The choice is empty or names pieces the table has not, a table or crop cannot be right, or an option is not
        one of ours.
    """
    size = paper_size(paper)
    if not 1 <= most <= MOST_ON_A_SHEET:
        raise InvalidInputError(f"most must be 1 to {MOST_ON_A_SHEET} stacks a sheet; got {most}. Pick a number in it.")
    if not choice.stacks:
        raise InvalidInputError("A sheet needs at least 1 stack; the choice has none. Choose fewer layers or stacks.")
    pages = math.ceil(len(choice.stacks) / most)
    if drawn is None:
        side = _side_in_print(math.ceil(len(choice.stacks) / pages), _lines_of(choice))
        drawn = draw_stacks(choice, table, crops, background=background, surround=surround, side=side)
    pieces = pieces_dark_to_light(table)
    words = _SheetWords(
        title if title is not None else choice_finding(choice), f"{how} {_READING}" if how else _READING,
        measured_words(pieces), date_words(made or datetime.date.today()),
    )
    left_over = [piece for piece in pieces if piece.swatch_id in set(choice.left_over)]
    ends = [round(len(drawn) * page / pages) for page in range(pages + 1)]
    return [
        _sheet(
            drawn[ends[page] : ends[page + 1]], left_over if page == pages - 1 else [], crops, words, size,
            (page + 1, pages),
        )
        for page in range(pages)
    ]


def choice_finding(choice: Choice) -> str:
    """Return how many stacks there are, how strong the weakest step is, and how sure it is that none are better."""
    if choice.aim != "strongest":
        return choice.sentence.removesuffix(".")
    count = counted(len(choice.stacks), "stack")
    return f"{count}, weakest step {step_words(choice.worst_step)} L*, {choice.how_sure}"


def step_words(step: float) -> str:
    """
    Return a step in whole L*, to a tenth where rounding would lift it over one of the limits of our verdicts.

    >>> step_words(21.4), step_words(19.7)
    ('21', '19.7')
    """
    whole = f"{step:.0f}"
    lifted = any(step < verdict.at_least <= float(whole) for verdict in VERDICTS)
    return f"{math.floor(step * 10) / 10:.1f}" if lifted else whole


# The best that a pile allows.


@dataclass(frozen=True, eq=False)
class BestStacks:
    """
    The best stacks that a pile allows, drawn.

    Attributes
    ----------
    choice : the stacks, strongest first, and what is left over
    how : how they were chosen, in a sentence
    drawn : the same stacks drawn
    """

    choice: Choice
    how: str
    drawn: tuple[DrawnStack, ...]

    @property
    def finding(self) -> str:
        """How many there are and how strong they are, without a stop."""
        return choice_finding(self.choice)


def best_stacks(table: pd.DataFrame, crops: Crops, *, most: int = MOST_ON_A_SHEET) -> BestStacks | None:
    """
    Return the best three-layer stacks that a pile allows, dark and light in turn; nothing for fewer than three pieces.

    There are as many, up to `most`, as can be had with every step at 20 L* or more. Where there is no such stack, there
    are the best three.

    Parameters
    ----------
    table
        The swatch table; pieces of unknown lightness are left out.
    crops
        The pieces cut out of their photographs, by swatch_id.
    most
        How many stacks to choose at most, 1 or more.

    Raises
    ------
    InvalidInputError
        A table or crop that cannot be right.
    """
    known = table[table["lightness"].notna()]
    possible = min(most, len(known) // _LAYERS)
    if not possible:
        return None
    choice = _most_enough(known, possible)
    how = (
        f"Three layers each, dark and light in turn, every piece used once: as many stacks, up to {most}, as keep "
        f"every step at {GOAL:g} L* or more, and of all ways to make so many the one with the best weakest step."
    )
    if choice is None:
        choice = _alternating(known, min(_FEW, possible))
        how = (
            f"No three layers of this pile, dark and light in turn, have every step at {GOAL:g} L* or more; "
            f"{'this is the best' if len(choice.stacks) == 1 else 'these are the best'} it allows."
        )
    return BestStacks(choice, how, draw_stacks(choice, known, crops))


def _most_enough(table: pd.DataFrame, possible: int) -> Choice | None:
    """As many stacks as keep every step far enough, up to what is possible; None where there is no such stack."""
    choice = _alternating(table, possible)
    if choice.worst_step >= GOAL:
        return choice
    best, low, high = None, 1, possible - 1
    while low <= high:
        blocks = (low + high) // 2
        choice = _alternating(table, blocks)
        best, low, high = (choice, blocks + 1, high) if choice.worst_step >= GOAL else (best, low, blocks - 1)
    return best


def _alternating(table: pd.DataFrame, blocks: int) -> Choice:
    """By its formula, which is exact: with no time to look further, the same pile always gives the same stacks."""
    return choose_stacks(table, layers=_LAYERS, blocks=blocks, order="alternating", seconds=_NO_TIME)


# The stacks, judged and drawn.


def draw_stacks(
    choice: Choice,
    table: pd.DataFrame,
    crops: Crops,
    *,
    background: float | None = None,
    surround: str = "middle",
    side: int | None = None,
) -> tuple[DrawnStack, ...]:
    """
    Return the chosen stacks judged and drawn from their real pieces, strongest first.

    Parameters
    ----------
    choice, table, crops, background, surround
        As for `stacks_sheet`.
    side
        Side of the pictures in pixels; as large as a sheet of these stacks prints them, if not given.

    Raises
    ------
    InvalidInputError
        The choice names pieces the table has not, a table or crop cannot be right, or the surround is not one of ours.
    """
    ground = surround_lightness(surround) if background is None else background
    under = None if background is None else Surface(BACKGROUND, background)
    pieces = {piece.swatch_id: piece for piece in pieces_dark_to_light(table)}
    known = surfaces(table)
    if side is None:
        side = _side_in_print(min(len(choice.stacks), MOST_ON_A_SHEET), _lines_of(choice))
    return tuple(
        _drawn(number, [pieces[name] for name in names], _stack([known[name] for name in names], under), crops,
               ground, side)
        for number, names in enumerate((_known(chosen, pieces) for chosen in choice.stacks), start=1)
    )


def _lines_of(choice: Choice) -> int:
    """How many lines the highest stair has."""
    return max((len(stack.layers) + (stack.background_step is not None) for stack in choice.stacks), default=1)


def _side_in_print(count: int, lines: int) -> int:
    """How many pixels the pictures of so many stacks on a sheet need, on the larger of our papers."""
    from contrastkit.show.chart import PRINT_PIXELS_PER_MM

    width, height = (max(paper[axis] for paper in PAPERS.values()) - 2 * MARGIN for axis in (0, 1))
    return math.ceil((1 - 2 * _AROUND) * _fitting(count, lines, width, height).side * PRINT_PIXELS_PER_MM)


def _known(chosen: ChosenStack, pieces: Mapping[str, Piece]) -> tuple[str, ...]:
    names: tuple[str, ...] = chosen.layers
    for name in names:
        if name not in pieces or not pieces[name].known:
            raise InvalidInputError(
                f"Every layer must be a piece of the table with a known lightness; {name!r} is none. "
                "Pass the table that the stacks were chosen from."
            )
    return names


def _stack(layers: Sequence[Surface], background: Surface | None) -> Stack:
    """The pieces in the usual sizes, whatever size each can be cut to."""
    sizes = default_sides(len(layers))
    return Stack(tuple(replace(layer, side=math.nan) for layer in layers), sizes, background, rim=_RIM)


def _drawn(
    number: int, layers: Sequence[Piece], stack: Stack, crops: Crops, ground: float, side: int
) -> DrawnStack:
    score, size = judge_stack(stack), stack.sides[0]
    light = render(stack_placed(stack), crops, background=ground, size_mm=(size, size), pixels_per_mm=side / size)
    small = cv2.resize(light, (max(1, round(side * _GREY)),) * 2, interpolation=cv2.INTER_AREA)
    grey = in_grey(np.asarray(small, np.float32))
    return DrawnStack(number, tuple(layers), score.seams, score.order[0], ground, encoded(light), encoded(grey))


# The sheet.

_READING = "Each as it will look, small in grey, and as a stair of L* from the bottom layer up, with the steps between."


@dataclass(frozen=True)
class _SheetWords:
    finding: str
    how: str
    measured: str
    date: str


@dataclass(frozen=True)
class _Grid:
    """So many stacks abreast, in cells of this size; side of the pictures; lengths in mm."""

    columns: int
    width: float
    side: float
    lines: int

    @property
    def height(self) -> float:
        return self.side + 2 + self.lines * _ROW + 0.6


def _sheet(
    drawn: Sequence[DrawnStack], left_over: Sequence[Piece], crops: Crops, words: _SheetWords,
    size: tuple[float, float], number: tuple[int, int],
) -> Chart:
    from contrastkit.show.chart import chart_of  # loads matplotlib

    head, below = sheet_head(words.finding, words.how, size)
    foot, above = sheet_foot(words.measured, words.date, number, size)
    rest, above = _left_over(left_over, size[0] - 2 * MARGIN, above)
    grid = _fitting(len(drawn), max(len(stack.lines) for stack in drawn), size[0] - 2 * MARGIN, below - above)
    pictures: Pictures = {**_pictures(drawn), **_small_cuts(left_over, crops)}
    marks = (*head, *_cells(drawn, grid, below, below - above), *rest, *foot)
    description = " ".join((f"{words.finding}.", *(stack.description for stack in drawn), left_words(left_over)))
    return chart_of(Drawing(*size, marks, description.strip()), pictures, page=PAPER)


def _fitting(count: int, lines: int, width: float, height: float) -> _Grid:
    """The grid that shows so many stacks largest."""
    return max((_grid(count, columns, lines, width, height) for columns in (1, 2, 3, 4)), key=lambda grid: grid.side)


def _grid(count: int, columns: int, lines: int, width: float, height: float) -> _Grid:
    cell = (width - (columns - 1) * _GUTTER) / columns
    rows = math.ceil(count / columns)
    room = (height + _ROW_GAP) / rows - _ROW_GAP - 2 - lines * _ROW - 0.6
    return _Grid(columns, cell, min(room, _SHARE * cell, _LARGEST_SIDE), lines)


def _cells(drawn: Sequence[DrawnStack], grid: _Grid, top: float, height: float) -> Iterator[Mark]:
    rows = math.ceil(len(drawn) / grid.columns)
    spare = max(0.0, height - rows * grid.height - (rows - 1) * _ROW_GAP) / max(rows - 1, 1)
    pitch = grid.height + _ROW_GAP + min(spare, 2 * _ROW_GAP)
    for place, stack in enumerate(drawn):
        row, column = divmod(place, grid.columns)
        yield from _cell(stack, grid, MARGIN + column * (grid.width + _GUTTER), top - row * pitch)


def _cell(stack: DrawnStack, grid: _Grid, x: float, top: float) -> Iterator[Mark]:
    side, beside = grid.side, x + grid.side + 2.5
    yield from _on_ground(stack, "colour", x, top - side, side)
    yield Words(beside, top - 0.76 * TITLE, str(stack.number), TITLE, bold=True)
    y = top - 0.76 * TITLE
    for line in ("weakest", *wrapped(stack.verdict, SMALL, 0.96 * (grid.width - side - 2.5))):
        y -= LEADING + 0.3
        yield Words(beside, y, line, SMALL)
    yield from _on_ground(stack, "grey", beside, top - side, min(_GREY * side, y - 1.5 - (top - side)))
    yield from _stair(stack, x, top - side - 2 - grid.lines * _ROW, min(grid.width, _WIDEST_STAIR))


def _on_ground(stack: DrawnStack, view: str, x: float, y: float, side: float) -> Iterator[Mark]:
    edge = _AROUND * side
    yield Box(x, y, side, side, fill=stack.ground)
    title = stack.description if view == "colour" else ""
    yield Photo(x + edge, y + edge, side - 2 * edge, side - 2 * edge, f"{stack.number} {view}", title)


def _stair(stack: DrawnStack, x: float, y: float, width: float) -> Iterator[Mark]:
    """For each layer, the bottom layer lowest: a bar as long as it is light, its name, its L*; steps in between."""
    longest, figures = 0.3 * width, x + width - 7.5
    names = x + longest + 2
    for place, (name, lightness) in enumerate(stack.lines):
        line = y + place * _ROW
        yield Box(x, line, lightness / 100 * longest, _ROW, fill=lightness, edge="secondary")
        yield Words(names, line + 1.2, shortened(name, SMALL, figures - 6 - names), SMALL)
        yield Words(figures, line + 1.2, f"{lightness:.0f}", SMALL, align="right")
    for place, seam in enumerate(stack.seams, start=1):
        words, weakest = step_words(abs(seam.step)), place == stack.weakest + 1
        yield Words(x + width, y + place * _ROW - 1.1, words, SMALL, bold=weakest, align="right")


def _pictures(drawn: Sequence[DrawnStack]) -> dict[str, Pixels]:
    views = {f"{stack.number} colour": stack.colour for stack in drawn}
    return views | {f"{stack.number} grey": stack.grey for stack in drawn}


# What is left over.

_TILE = 6.0


def _left_over(pieces: Sequence[Piece], width: float, foot: float) -> tuple[list[Mark], float]:
    """The pieces that no stack takes, dark to light, over the foot, and the height they reach up to."""
    if not pieces:
        return [], foot + 2
    lines = _in_lines(pieces, width)
    y = foot + 2 + len(lines) * LEADING
    marks: list[Mark] = [
        Words(MARGIN, y - place * LEADING + 0.8, line, SMALL) for place, line in enumerate(lines, start=1)
    ]
    tile = min(_TILE, width / len(pieces))
    if tile >= 3:
        for place, piece in enumerate(pieces):
            marks += _tile(piece, MARGIN + place * tile, y + 0.5, tile)
        y += tile + 0.5
    return marks, y + 4


def _in_lines(pieces: Sequence[Piece], width: float, most: int = 3) -> list[str]:
    """What is left over in no more lines than that; the lightest are only counted, where they are too many."""
    named = len(pieces)
    while named and len(wrapped(left_words(pieces, named), SMALL, 0.96 * width)) > most:
        named -= 1
    return wrapped(left_words(pieces, named), SMALL, 0.96 * width)


def _tile(piece: Piece, x: float, y: float, side: float) -> Iterator[Mark]:
    yield Box(x, y, side, side, fill=surround_lightness("middle"))
    yield Photo(x + 0.4, y + 0.4, side - 0.8, side - 0.8, f"piece {piece.swatch_id}")


def _small_cuts(pieces: Sequence[Piece], crops: Crops) -> dict[str, CutOut]:
    from contrastkit.show.chart import PRINT_PIXELS_PER_MM

    cuts = cut_outs(pieces, crops, side=math.ceil(_TILE * PRINT_PIXELS_PER_MM))
    return {f"piece {name}": cut for name, cut in cuts.items()}


def left_words(pieces: Sequence[Piece], named: int | None = None) -> str:
    """What is left over, dark to light; so many are named, the others counted."""
    if not pieces:
        return "Nothing is left over."
    names = [piece.swatch_id for piece in pieces[:named]]
    more = [f"{len(pieces) - len(names)} more"] if len(names) < len(pieces) else []
    return f"Left over, {counted(len(pieces), 'piece')}: {', '.join([*names, *more])}."
