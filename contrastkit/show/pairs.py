"""
All pairs of a pile as one picture, to see which pieces go with which.

The pieces climb a stair from dark, bottom left, to light, top right. Where the row of one and the column of another
cross lies a square, the larger the further the two stand apart: to the right of a piece are the lighter ones to lay on
it or under it, below it the darker ones. Where there is no room for squares, they become bands of grey.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from contrastkit.compose.seams import AMBIGUOUS, ONE_SIDED, VERDICTS, surfaces
from contrastkit.errors import TooFewSwatchesError
from contrastkit.light.vivid import apparent_lightness_high
from contrastkit.show.crops import Crops, CutOut, Pixels, cut_outs
from contrastkit.show.drawing import Box, Drawing, Line, Mark, Photo, Shape, Tone, Words, moved, tone_lightness
from contrastkit.show.look import (
    LIGHT_PAGE,
    SMALL,
    grey_code,
    legible_on,
    shortened,
    surround_lightness,
    text_width,
    wrapped,
)
from contrastkit.show.page import titled
from contrastkit.show.pieces import Piece, pieces_dark_to_light
from contrastkit.show.words import measured_words

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.compose.seams import Surface
    from contrastkit.show.chart import Chart, Pictures

Floats = NDArray[np.float64]
Codes = NDArray[np.int8]

MOST_PICTURED = 60  # pieces; more are too small to know one another by
_MOST_ROWS = 300  # of larger piles only so many rows are drawn: each is still thinner than a line
_ROWS_AT_ONCE = 256
_BANDS_NAME, _PIXELS = "bands", 2048  # side of the picture of the bands: 300 dots an inch on paper
_HOLLOW_FROM = 5  # pixels to a cell; in smaller ones ambiguous pairs look like lost ones

_LIMITS = tuple(verdict.at_least for verdict in VERDICTS)
_APART = next(place for place, verdict in enumerate(VERDICTS) if "across a room" in verdict.yardstick)
_VIVID = len(VERDICTS)  # instead of a place in VERDICTS: ambiguous
_SQUARES = (0.0, 0.34, 0.54, 0.74, 0.92)  # side of each verdict's square, in sides of a cell
_INKS: tuple[Tone, ...] = ("secondary", "secondary", "secondary", "secondary", "text")
_BANDS: tuple[Tone, ...] = ("ground", "raised", "hairline", "secondary", "text")
_HOLLOW = 0.6  # side of the hollow square of an ambiguous pair


@dataclass(frozen=True)
class PairsStyle:
    """
    Sizes of the picture, in the unit of the drawing.

    width: of the drawing; largest: side of a cell where there is room; text: height of type; line: thinnest line;
    surround: L* of what the pieces lie on.
    """

    width: float
    largest: float
    text: float
    line: float
    surround: float


@dataclass(frozen=True, eq=False)
class Pairs:
    """
    How far all pieces of a pile are apart, two by two.

    Attributes
    ----------
    pieces : those of known lightness, dark to light
    rows : places of the pieces whose rows are drawn: all, in a pile of up to 300
    verdicts : shape (rows, pieces): place in VERDICTS of a row's piece with each piece; one more where ambiguous
    counts : how many pairs there are of each verdict, and last, how many are ambiguous
    unsure : how many that are apart across a room are too near the limit to be sure of
    partners : of each piece, how many others are apart from it across a room
    lowered : how many pairs count for less than their lightness says, since vivid paint may look lighter than it is
    """

    pieces: tuple[Piece, ...]
    rows: tuple[int, ...]
    verdicts: Codes
    counts: tuple[int, ...]
    unsure: int
    partners: tuple[int, ...]
    lowered: int = 0

    @property
    def total(self) -> int:
        """How many pairs there are."""
        return len(self.pieces) * (len(self.pieces) - 1) // 2

    @property
    def apart(self) -> int:
        """How many pairs are apart across a room."""
        return sum(self.counts[_APART:_VIVID])

    @property
    def fewest(self) -> int:
        """Place of the piece that finds the fewest partners."""
        return min(range(len(self.pieces)), key=self.partners.__getitem__)

    @property
    def finding(self) -> str:
        """How many pairs are apart across a room, in a sentence without its stop."""
        if self.total == 1:
            return f"The two pieces {'separate' if self.apart else 'do not separate'} across a room"
        if self.apart == self.total:
            return f"All {self.total} pairs separate across a room"
        return f"{self.apart} of {self.total} pairs {'separates' if self.apart == 1 else 'separate'} across a room"

    @property
    def how(self) -> str:
        """How to read the picture, and what the finding leaves open."""
        told = ["Find a piece on the stair: to its right are the lighter ones to go with it, below it the darker ones."]
        if len(self.pieces) > 3:
            piece, most = self.pieces[self.fewest], len(self.pieces) - 1
            told.append(f"{piece.swatch_id} goes with the fewest, {self.partners[self.fewest]} of {most}.")
        if self.lowered:
            told.append("Vivid paint looks lighter than it is: such a pair counts by the nearest that the eye may see "
                        "it; the stepped line goes by lightness alone.")
        if self.unsure:
            told.append(f"{self.unsure} of the {self.apart} {'is' if self.unsure == 1 else 'are'} too near "
                        f"{_LIMITS[_APART]:g} L* to be sure.")
        return " ".join(told)

    @property
    def description(self) -> str:
        """The picture in words."""
        each = [f"{count} {verdict.word}" for verdict, count in zip(VERDICTS, self.counts, strict=False)]
        vivid = [f"{self.counts[_VIVID]} {AMBIGUOUS}"] if self.counts[_VIVID] else []
        return f"{self.finding}: {', '.join([*reversed(each), *vivid])}."


def pairs_chart(
    table: pd.DataFrame, crops: Crops, *, title: str | None = None, surround: str = "middle"
) -> Chart:
    """
    Return how far every two pieces of a pile are apart, as one picture, dark to light along both sides, no pair twice.

    Parameters
    ----------
    table
        The swatch table; pieces of unknown lightness are left out.
    crops
        The pieces cut out of their photographs, by swatch_id: 8-bit sRGB, shape (rows, cols, 3), or 4 with alpha.
        A piece without a crop is shown as the grey of its lightness; so is every piece of more than sixty.
    title
        The finding; how many pairs separate across a room, if not given.
    surround
        What each piece lies on: "light", "middle" or "dark".

    Raises
    ------
    InvalidInputError
        A table or a crop that cannot be right, or an unknown surround.
    TooFewSwatchesError
        Fewer than two swatches have a known lightness.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b", "c"], "lightness": [70.2, 31.0, 44.5]})
    >>> pairs_chart(table, {}).description
    '2 of 3 pairs separate across a room: 1 bold, 1 clear, 1 firm, 0 soft, 0 lost.'
    """
    from contrastkit.show.chart import chart_of  # loads matplotlib

    pairs = all_pairs(table)
    style = _print_style(pairs.pieces, surround_lightness(surround))
    cuts = _few_cuts(pairs.pieces, crops)
    description = pairs.description if title is None else f"{title.removesuffix('.')}. {pairs.description}"
    bands = {} if len(pairs.pieces) <= MOST_PICTURED else {_BANDS_NAME: picture_of_bands(pairs)}
    pictures: Pictures = {**cuts, **bands}
    drawing = draw_pairs(pairs, pictures, style, description, bands=_BANDS_NAME if bands else None)
    how = f"{pairs.how} {measured_words(pairs.pieces)}"
    return chart_of(titled(drawing, title or pairs.finding, how), pictures)


def _print_style(pieces: Sequence[Piece], surround: float) -> PairsStyle:
    """An A4 page wide, or as much wider as the names of sixty pieces need."""
    named = 8 * SMALL + _Plan.NAMED_FROM * SMALL * (len(pieces) + 2) if len(pieces) <= MOST_PICTURED else 0
    return PairsStyle(width=max(174.0, named), largest=16, text=SMALL, line=0.25, surround=surround)


def _few_cuts(pieces: Sequence[Piece], crops: Crops) -> dict[str, CutOut]:
    from contrastkit.show.chart import PRINT_PIXELS_PER_MM

    if len(pieces) > MOST_PICTURED:
        return {}
    side = min(16.0, 200 / len(pieces))  # mm: about a cell
    return cut_outs(pieces, crops, side=math.ceil(side * PRINT_PIXELS_PER_MM))


# How far apart.


def all_pairs(table: pd.DataFrame) -> Pairs:
    """
    Return how far all pieces of known lightness are apart, as `judge_seam` says of each two.

    Raises
    ------
    InvalidInputError
        A table that cannot be right.
    TooFewSwatchesError
        Fewer than two swatches have a known lightness.

    Examples
    --------
    >>> import pandas as pd
    >>> pairs = all_pairs(pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0]}))
    >>> pairs.verdicts.tolist(), pairs.counts
    ([[0, 4], [4, 0]], (0, 0, 0, 0, 1, 0))
    """
    pieces = tuple(piece for piece in pieces_dark_to_light(table) if piece.known)
    if len(pieces) < 2:
        raise TooFewSwatchesError(
            f"Pairs need at least 2 swatches of known lightness; the table has {len(pieces)}. Measure more."
        )
    known = surfaces(table)
    sides = _Sides.of([known[piece.swatch_id] for piece in pieces])
    every = math.ceil(len(pieces) / _MOST_ROWS)
    drawn, counts, unsure, lowered, partners = [], np.zeros(_VIVID + 1, int), 0, 0, []
    for start in range(0, len(pieces), _ROWS_AT_ONCE):
        rows = np.arange(start, min(start + _ROWS_AT_ONCE, len(pieces)))
        verdicts, sure, less = sides.judged(rows)
        later = rows[:, None] < np.arange(len(pieces))
        apart = (verdicts >= _APART) & (verdicts < _VIVID)
        counts += np.bincount(verdicts[later], minlength=_VIVID + 1)
        unsure += int((later & apart & ~sure).sum())
        lowered += int((later & less).sum())
        partners += apart.sum(axis=1).tolist()
        drawn.append(verdicts[rows % every == 0])
    return Pairs(
        pieces, tuple(range(0, len(pieces), every)), np.vstack(drawn), tuple(counts.tolist()), unsure, tuple(partners),
        lowered,
    )


@dataclass(frozen=True, eq=False)
class _Sides:
    """Lightness, how light it looks (nan where unknown) and variance of all pieces."""

    lightness: Floats
    apparent: Floats
    variance: Floats

    @classmethod
    def of(cls, pieces: Sequence[Surface]) -> _Sides:
        lightness, sigma, chroma, hue = (
            np.array([getattr(piece, name) for piece in pieces], dtype=float)
            for name in ("lightness", "sigma", "chroma", "hue_angle")
        )
        hue = np.where(chroma == 0, 0, hue)  # greys have none
        return cls(lightness, apparent_lightness_high(lightness, chroma, hue), sigma**2)

    def judged(self, rows: NDArray[np.int64]) -> tuple[Codes, NDArray[np.bool_], NDArray[np.bool_]]:
        """
        The verdicts of these pieces with all, whether they are surely apart across a room (unknown is sure), and
        whether vivid paint makes the verdict less than lightness alone would.
        """
        step = np.abs(self.lightness - self.lightness[rows, None])
        looks = (self.apparent - self.apparent[rows, None]) * np.sign(self.lightness - self.lightness[rows, None])
        looks = np.where(np.isnan(looks), step, looks)
        separation = np.clip(np.minimum(step, looks), 0, None)
        verdicts = np.searchsorted(_LIMITS, separation, side="right") - 1
        verdicts[(looks < 0) & (step >= _LIMITS[1])] = _VIVID
        least = step - ONE_SIDED * np.sqrt(self.variance + self.variance[rows, None])
        less = separation < step
        less &= verdicts != np.searchsorted(_LIMITS, step, side="right") - 1
        return verdicts.astype(np.int8), ~(least < _LIMITS[_APART]), less


# The picture.


@dataclass(frozen=True)
class _Plan:
    """
    Where everything goes, in the unit of the drawing.

    cell: side of one; left, foot: the lower left corner of the stair; names: of the pieces, where there is room for
    them; pictured: whether there is for pictures and squares.
    """

    NAMED_FROM = 1.06  # a cell this many times as high as the type has room for a name
    PICTURED_FROM = 0.6

    count: int
    style: PairsStyle
    cell: float
    left: float
    foot: float
    names: tuple[str, ...] = ()
    pictured: bool = True

    @classmethod
    def of(cls, pieces: Sequence[Piece], style: PairsStyle) -> _Plan:
        text, count, few = style.text, len(pieces), len(pieces) <= MOST_PICTURED
        names = tuple(shortened(piece.swatch_id, text, 10 * text) for piece in pieces)
        left = max(text_width(name, text) for name in names) + 2.2 * text
        cell = min(style.largest, (style.width - left - cls.gap_of(style)) / (count + 1))
        if few and cell >= cls.NAMED_FROM * text:
            return cls(count, style, cell, left, cell + cls.gap_of(style), names)
        left = text_width("L* 80", text) + 0.8 * text  # a ten may stand beside the darkest piece
        cell = min(style.largest, (style.width - left - cls.gap_of(style)) / (count + 1))
        if few and cell >= cls.PICTURED_FROM * text:
            return cls(count, style, cell, left, cell + cls.gap_of(style))
        edge = 0.8 * text + cls.gap_of(style)
        return cls(count, style, (style.width - left - edge) / count, left, edge, pictured=False)

    @staticmethod
    def gap_of(style: PairsStyle) -> float:
        return 0.35 * style.text

    @property
    def gap(self) -> float:
        """Between the stair and the pieces along its sides."""
        return self.gap_of(self.style)

    def x(self, place: float) -> float:
        return self.left + place * self.cell

    def y(self, place: float) -> float:
        return self.foot + place * self.cell


def draw_pairs(
    pairs: Pairs, pictures: Pictures, style: PairsStyle, description: str, *, bands: str | None = None
) -> Drawing:
    """
    Return the picture of these pairs.

    Parameters
    ----------
    pairs
        What to draw.
    pictures
        Of the pieces, by swatch_id; without them, or where they would be too small, there are greys.
    style
        How large.
    description
        What the picture says in words.
    bands
        Name of the picture of `picture_of_bands`, to be drawn instead of thousands of boxes.
    """
    plan = _Plan.of(pairs.pieces, style)
    key, wide, tall = _key(pairs, plan)
    top = max(plan.y(plan.count), plan.foot + wide + tall + style.text)  # the key lies clear of the stair
    marks = (
        *(_squares(pairs, plan) if plan.pictured else _bands(pairs, plan, bands)),
        *_limit(pairs, plan),
        *_frame(pairs, plan),
        *_pieces(pairs.pieces, pictures, plan),
        *(_named(pairs.pieces, plan) if plan.names else _ticks(pairs.pieces, plan)),
        *(moved(mark, 0, top) for mark in key),
    )
    return Drawing(style.width, top + 0.2 * style.text, marks, description)


def _squares(pairs: Pairs, plan: _Plan) -> Iterator[Mark]:
    for row in range(plan.count):
        for column in range(row + 1, plan.count):
            yield from _square(int(pairs.verdicts[row, column]), plan.x(column), plan.y(row), plan.cell, plan.style)


def _square(verdict: int, x: float, y: float, cell: float, style: PairsStyle) -> Iterator[Box]:
    """The mark of a verdict in a cell; a hollow one where the eye may see it the other way round."""
    if verdict == _VIVID:
        yield from _hollow(x, y, cell, cell, style)
    elif _SQUARES[verdict]:
        side = _SQUARES[verdict] * cell
        yield Box(x + (cell - side) / 2, y + (cell - side) / 2, side, side, fill=_INKS[verdict])


def _hollow(x: float, y: float, width: float, height: float, style: PairsStyle) -> Iterator[Box]:
    edge = (1 - _HOLLOW) / 2 * height + style.line / 2
    if height - 2 * edge > 2 * style.line:
        yield Box(x + edge, y + edge, width - 2 * edge, height - 2 * edge, fill="ground", edge="text", line=style.line)
    else:
        yield Box(x, y, width, height, fill="ground")


def _bands(pairs: Pairs, plan: _Plan, picture: str | None) -> Iterator[Mark]:
    """Neighbours of one verdict in a row become one box, where there is no picture of it all."""
    if picture is not None:
        side = plan.count * plan.cell
        yield Photo(plan.x(0), plan.y(0), side, side, picture)
        return
    ends = [*pairs.rows[1:], plan.count]
    for row, above, verdicts in zip(pairs.rows, ends, pairs.verdicts, strict=True):
        shown = verdicts[row + 1 :]
        changes = [0, *(np.flatnonzero(np.diff(shown)) + 1).tolist(), len(shown)]
        for first, last in pairwise(changes):
            if last > first and shown[first]:
                x, width, height = plan.x(row + 1 + first), (last - first) * plan.cell, (above - row) * plan.cell
                yield from _band(int(shown[first]), x, plan.y(row), width, height, plan.style)


def _band(verdict: int, x: float, y: float, width: float, height: float, style: PairsStyle) -> Iterator[Box]:
    if verdict == _VIVID:
        yield from _hollow(x, y, width, height, style)
    else:  # a little too high, for the next row to cover: no gap may show between them
        yield Box(x, y, width, height + style.line, fill=_BANDS[verdict])


def picture_of_bands(pairs: Pairs) -> Pixels:
    """
    Return the verdicts of all pairs as a picture, light page, darkest piece at the bottom left.

    >>> import pandas as pd
    >>> pairs = all_pairs(pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0]}))
    >>> picture_of_bands(pairs)[[-1, 0], [-1, -1], 0].tolist()
    [38, 243]
    """
    tones = [grey_code(tone_lightness(tone, LIGHT_PAGE)) for tone in (*_BANDS, "ground")]
    later = np.array(pairs.rows)[:, None] < np.arange(len(pairs.pieces))
    codes = np.where(later, np.array(tones, np.uint8)[pairs.verdicts], grey_code(LIGHT_PAGE.ground))
    high, wide = (max(1, round(_PIXELS / count)) for count in codes.shape)
    fine = np.repeat(np.repeat(codes, high, axis=0), wide, axis=1)
    if min(high, wide) >= _HOLLOW_FROM:
        vivid = np.kron(later & (pairs.verdicts == _VIVID), _hollow_pixels(high, wide))
        fine = np.where(vivid, grey_code(LIGHT_PAGE.text), fine)
    return np.repeat(fine[::-1, :, None], 3, axis=2).astype(np.uint8)


def _hollow_pixels(rows: int, cols: int) -> NDArray[np.bool_]:
    """The mark of an ambiguous pair in a cell of so many pixels."""
    apart = np.maximum.outer(*(np.abs(np.arange(n) + 0.5 - n / 2) / n for n in (rows, cols)))
    return np.asarray((apart < _HOLLOW / 2) & (apart >= _HOLLOW / 2 - 0.2))


def _limit(pairs: Pairs, plan: _Plan) -> Iterator[Mark]:
    """A line round all pairs that are apart across a room by their lightness."""
    lightness = np.array([piece.lightness for piece in pairs.pieces])
    first = np.searchsorted(lightness, lightness + _LIMITS[_APART], side="left").tolist()
    corners = []
    for row, column in enumerate(first):
        if column < plan.count and (row == 0 or column > first[row - 1]):
            corners += [] if row == 0 else [(plan.x(first[row - 1]), plan.y(row))]
            corners.append((plan.x(column), plan.y(row)))
    if corners:
        rows = sum(column < plan.count for column in first)
        ends = [(plan.x(first[rows - 1]), plan.y(rows)), (plan.x(plan.count), plan.y(rows))]
        outline = (*corners, *ends, (plan.x(plan.count), plan.y(0)))
        yield Shape(outline, edge="text", line=2 * plan.style.line)


def _frame(pairs: Pairs, plan: _Plan) -> Iterator[Mark]:
    """Row and column of the piece that goes with the fewest, as the eye should follow them."""
    if not _framed(plan):
        return
    place = pairs.fewest
    middle, end, foot = (plan.x(place), plan.y(place)), plan.x(plan.count), plan.y(0)
    points = (
        (middle[0], middle[1] + plan.cell), (end, middle[1] + plan.cell), (end, middle[1]),
        (middle[0] + plan.cell, middle[1]), (middle[0] + plan.cell, foot), (middle[0], foot),
    )
    yield Shape(points, edge="text", line=plan.style.line)


def _framed(plan: _Plan) -> bool:
    return plan.pictured and plan.count > 3


def _pieces(pieces: Sequence[Piece], pictures: Pictures, plan: _Plan) -> Iterator[Mark]:
    """Every piece on the stair, under its column and beside its row; of many, greys along these two sides alone."""
    if not plan.pictured:
        yield from _sides(pieces, plan)
        return
    for place, piece in enumerate(pieces):
        yield from _tile(piece, pictures, plan.x(place), plan.y(place), plan)
        if place > 0:
            yield from _tile(piece, pictures, plan.x(place), plan.foot - plan.gap - plan.cell, plan)
        if place < plan.count - 1:
            yield from _tile(piece, pictures, plan.x(plan.count) + plan.gap, plan.y(place), plan)


def _sides(pieces: Sequence[Piece], plan: _Plan) -> Iterator[Mark]:
    """A grey for every piece, known by the line round all of them, and a line for the stair."""
    edge, line, whole = 0.8 * plan.style.text, plan.style.line, (plan.count - 1) * plan.cell
    low, right = plan.foot - plan.gap - edge, plan.x(plan.count) + plan.gap
    for place, piece in enumerate(pieces):
        if place > 0:
            yield Box(plan.x(place), low, plan.cell, edge, fill=piece.lightness)
        if place < plan.count - 1:
            yield Box(right, plan.y(place), edge, plan.cell, fill=piece.lightness)
    yield Box(plan.x(1), low, whole, edge, edge="text", line=line)
    yield Box(right, plan.y(0), edge, whole, edge="text", line=line)
    yield Line(plan.x(0), plan.y(0), plan.x(plan.count), plan.y(plan.count), "secondary", line)


def _tile(piece: Piece, pictures: Pictures, x: float, y: float, plan: _Plan) -> Iterator[Mark]:
    cell, side = plan.cell, 0.86 * plan.cell
    yield Box(x, y, cell, cell, fill=plan.style.surround)
    if piece.swatch_id not in pictures:
        edge = legible_on(plan.style.surround)
        left, low = x + (cell - side) / 2, y + (cell - side) / 2
        yield Box(left, low, side, side, fill=piece.lightness, edge=edge, line=plan.style.line)
        return
    picture = pictures[piece.swatch_id]
    rows, cols = (picture.pixels if isinstance(picture, CutOut) else picture).shape[:2]
    height, width = side * rows / max(rows, cols), side * cols / max(rows, cols)
    title = f"{piece.swatch_id}: L* {piece.lightness_words}"
    yield Photo(x + (cell - width) / 2, y + (cell - height) / 2, width, height, piece.swatch_id, title)


def _named(pieces: Sequence[Piece], plan: _Plan) -> Iterator[Mark]:
    text = plan.style.text
    for place, (name, piece) in enumerate(zip(plan.names, pieces, strict=True)):
        x, y = plan.x(place) - plan.gap, plan.y(place + 0.5) - 0.35 * text
        yield Words(x, y, f"{piece.lightness:.0f}", text, align="right")
        yield Words(x - 1.7 * text, y, name, text, align="right")


def _ticks(pieces: Sequence[Piece], plan: _Plan) -> Iterator[Mark]:
    """Tens of L* along the stair."""
    text, last = plan.style.text, -math.inf
    lightness = [piece.lightness for piece in pieces]
    for ten in range(0, 101, 10):
        place = int(np.searchsorted(lightness, ten))
        x, y = plan.x(place - 1), plan.y(place)  # the corner between the two pieces
        if 0 < place < plan.count and y - last >= 1.2 * text:
            last = y
            yield Line(x - 0.5 * text, y, x, y, "text", plan.style.line)
            yield Words(x - 0.7 * text, y - 0.35 * text, f"L* {ten}", text, align="right")


# What the marks mean.


def _key(pairs: Pairs, plan: _Plan) -> tuple[list[Mark], float, float]:
    """The marks with our words for them and how many there are, from y 0 downwards; how wide and how high it is."""
    text, pitch, columns = plan.style.text, 1.55 * plan.style.text, _columns(pairs, plan.style.text)
    marks: list[Mark] = []
    for line, place in enumerate(reversed(range(_VIVID)), start=1):
        bold = place >= _APART
        marks += _sample(place, -line * pitch - 0.2 * text, plan)
        marks += _entry(VERDICTS[place].word, str(pairs.counts[place]), -line * pitch, columns, text, bold=bold)
        marks.append(Words(columns[1], -line * pitch, _reach(place), text))
    limit = -(_VIVID - _APART) * pitch - 0.42 * text
    marks.append(Line(0, limit, columns[2], limit, "text", 2 * plan.style.line))
    y = -(_VIVID + 1) * pitch
    if pairs.counts[_VIVID]:
        marks += _sample(_VIVID, y - 0.2 * text, plan)
        marks += _entry(AMBIGUOUS, str(pairs.counts[_VIVID]), y, columns, text)
        for words in wrapped("vivid paint: the eye may see it the other way round", text, columns[2] - columns[0]):
            y -= 1.3 * text
            marks.append(Words(columns[0], y, words, text))
        y -= pitch
    if _framed(plan):
        bracket = _bracket(plan.style.line, y - 0.2 * text, 1.15 * text - 2 * plan.style.line)
        marks.append(Shape(bracket, edge="text", line=plan.style.line))
        marks += _entry("fewest partners", str(pairs.partners[pairs.fewest]), y, columns, text)
        y -= pitch
    return marks, columns[2], -y - pitch


def _columns(pairs: Pairs, text: float) -> tuple[float, float, float]:
    """Left ends of our words and of their limits, right end of the counts."""
    words = max(text_width(verdict.word, text, bold=True) for verdict in VERDICTS)
    reach = max(text_width(_reach(place), text) for place in range(_VIVID))
    count = max(text_width(str(count), text, bold=True) for count in pairs.counts)
    return 1.8 * text, 2.8 * text + words, 4 * text + words + reach + count


def _entry(
    words: str, count: str, y: float, columns: tuple[float, float, float], text: float, *, bold: bool = False
) -> Iterator[Words]:
    yield Words(columns[0], y, words, text, bold=bold)
    yield Words(columns[2], y, count, text, bold=bold, align="right")


def _bracket(x: float, y: float, side: float) -> tuple[tuple[float, float], ...]:
    """A row and a column that meet, as the frame shows them, in small."""
    wide = 0.36 * side
    return (
        (x, y + side), (x + side, y + side), (x + side, y + side - wide), (x + wide, y + side - wide), (x + wide, y),
        (x, y),
    )


def _reach(place: int) -> str:
    """Which L* a verdict is for."""
    if place == _VIVID - 1:
        return f"{_LIMITS[place]:g} L* and more"
    return f"{_LIMITS[place]:g} to {_LIMITS[place + 1]:g}" if place else f"under {_LIMITS[1]:g}"


def _sample(verdict: int, y: float, plan: _Plan) -> Iterator[Box]:
    side = 1.15 * plan.style.text
    if plan.pictured or verdict == _VIVID:
        yield from _square(verdict, 0, y, side, plan.style)
    else:
        yield Box(0, y, side, side, fill=_BANDS[verdict], edge="secondary", line=plan.style.line)
