"""The strip: real pieces along the axis that carries lightness and Munsell value together."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from contrastkit.light.lightness import munsell_value_to_lightness
from contrastkit.show.crops import CutOut
from contrastkit.show.drawing import (
    Box,
    Drawing,
    Line,
    Mark,
    Photo,
    Words,
    group_mark,
    levels_without_overlap,
    mark_width,
    moved,
)
from contrastkit.show.look import legible_on, shortened, text_width
from contrastkit.show.pieces import Piece

_SHRINKING = tuple(0.94**step for step in range(25))  # down to a fifth
_STEP = 1.5  # height of the staircase of greys, in sizes of type
_NAMED_FROM = 2.4  # a piece this many times as large as the type has room for its name


@dataclass(frozen=True)
class StripStyle:
    """
    Sizes of a strip, in the unit of the drawing.

    width: of the drawing; tallest: what the pieces may take, if they can be made small enough; largest: side of a
    piece where there is room; text: height of type; gap: between pieces; line: thinnest line; surround: its L*.
    """

    width: float
    tallest: float
    largest: float
    text: float
    gap: float
    line: float
    surround: float

    @property
    def pad(self) -> float:
        """From the side of the drawing to the end of the axis."""
        return 0.55 * self.largest + self.gap

    def across(self, lightness: float) -> float:
        """Where a lightness lies."""
        return self.pad + min(max(lightness, 0), 100) / 100 * (self.width - 2 * self.pad)


@dataclass(frozen=True)
class _Placed:
    piece: Piece
    name: str
    level: int


@dataclass(frozen=True)
class _Layout:
    """The pieces on their levels; side of a piece, and from one level to the next."""

    placed: tuple[_Placed, ...]
    side: float
    pitch: float

    @property
    def height(self) -> float:
        return self.pitch * (1 + max(each.level for each in self.placed))


def draw_strip(
    pieces: Sequence[Piece],
    cuts: Mapping[str, CutOut],
    names: Sequence[str],
    edges: Sequence[float],
    style: StripStyle,
    description: str,
) -> Drawing:
    """Return the strip of these pieces, all of known lightness and sorted from dark to light."""
    layout = _layout(pieces, style)
    axis = tuple(_axis(style))
    foot = max(mark.y + mark.height for mark in axis if isinstance(mark, Box)) + style.gap
    top = foot + layout.height + style.gap
    marks = (
        *_bands(names, edges, style, foot, top),
        *axis,
        *(moved(mark, 0, foot) for each in layout.placed for mark in _piece(each, layout, cuts, style)),
    )
    return Drawing(style.width, top + 3.2 * style.text, marks, description)


def side_of_pieces(pieces: Sequence[Piece], style: StripStyle) -> float:
    """Return how large the pieces will be drawn, in the unit of the drawing."""
    return _layout(pieces, style).side


def _layout(pieces: Sequence[Piece], style: StripStyle) -> _Layout:
    """The largest pieces that do not overlap within the height."""
    layouts = (_laid(pieces, style.largest * share, style) for share in _SHRINKING)
    smallest = _laid(pieces, style.largest * _SHRINKING[-1], style)
    return next((layout for layout in layouts if layout.height <= style.tallest), smallest)


def _laid(pieces: Sequence[Piece], side: float, style: StripStyle) -> _Layout:
    named = side >= _NAMED_FROM * style.text
    names = [shortened(piece.swatch_id, style.text, 1.7 * side) if named else "" for piece in pieces]
    spans = [_span(piece, name, side, style) for piece, name in zip(pieces, names, strict=True)]
    levels = levels_without_overlap(spans, gap=style.gap)
    pitch = side + 2 * _mat(side) + 0.75 * style.text + (1.1 * style.text if named else 0) + 1.4 * style.gap
    return _Layout(tuple(map(_Placed, pieces, names, levels)), side, pitch)


def _mat(side: float) -> float:
    return 0.08 * side


def _span(piece: Piece, name: str, side: float, style: StripStyle) -> tuple[float, float]:
    middle = style.across(piece.lightness)
    half = max(side / 2 + _mat(side), text_width(name, style.text) / 2)
    low, high = _whisker(piece, style)
    return min(middle - half, low), max(middle + half, high)


def _whisker(piece: Piece, style: StripStyle) -> tuple[float, float]:
    sigma = piece.sigma if math.isfinite(piece.sigma) else 0.0
    return style.across(piece.lightness - sigma), style.across(piece.lightness + sigma)


def _piece(
    placed: _Placed, layout: _Layout, cuts: Mapping[str, CutOut], style: StripStyle
) -> Iterator[Mark]:
    piece, middle, y = placed.piece, style.across(placed.piece.lightness), placed.level * layout.pitch + style.gap
    if placed.name:
        wide = text_width(placed.name, style.text) + 0.4 * style.text
        # Its own ground, or an edge between groups might strike it through.
        yield Box(middle - wide / 2, y - 0.1 * style.text, wide, 1.1 * style.text, fill="ground")
        yield Words(middle, y + 0.15 * style.text, placed.name, style.text, align="middle")
        y += 1.1 * style.text
    yield from _uncertainty(piece, middle, y + 0.4 * style.text, style)
    y += 0.75 * style.text
    box = layout.side + 2 * _mat(layout.side)
    yield Box(middle - box / 2, y, box, box, fill=style.surround)
    yield from _on_mat(piece, cuts.get(piece.swatch_id), middle, y + box / 2, layout.side, style)


def _uncertainty(piece: Piece, middle: float, y: float, style: StripStyle) -> Iterator[Mark]:
    low, high = _whisker(piece, style)
    cap = 0.18 * style.text
    if high > low:
        yield Line(low, y, high, y, "text", style.line)
        yield Line(low, y - cap, low, y + cap, "text", style.line)
        yield Line(high, y - cap, high, y + cap, "text", style.line)
    yield Line(middle, y - cap, middle, y + 0.35 * style.text, "text", 1.8 * style.line)


def _on_mat(
    piece: Piece, cut: CutOut | None, x: float, y: float, side: float, style: StripStyle
) -> Iterator[Mark]:
    if cut is None:  # nothing but its grey
        edge = legible_on(style.surround)
        yield Box(x - side / 2, y - side / 2, side, side, fill=piece.lightness, edge=edge, line=style.line)
        return
    rows, cols = cut.pixels.shape[:2]
    height, width = side * rows / max(rows, cols), side * cols / max(rows, cols)
    yield Photo(
        x - width / 2, y - height / 2, width, height, piece.swatch_id, f"{piece.swatch_id}: L* {piece.lightness_words}"
    )


# The axis: a staircase of greys, one step of Munsell value each, over the figures of L*.


def _axis(style: StripStyle) -> Iterator[Mark]:
    text = style.text
    words = "L* below the steps, Munsell value on them"
    yield Words(style.width / 2, 0.3 * text, words, text, "secondary", align="middle")
    every = 10 if (style.across(10) - style.across(0)) > 1.3 * text_width("100", text) else 20
    for lightness in range(0, 101, every):
        x = style.across(lightness)
        yield Line(x, 2.75 * text, x, 3.05 * text, "secondary", style.line)
        yield Words(x, 1.75 * text, str(lightness), text, align="middle")
    for value in range(11):
        yield from _step(value, 3.05 * text, style)
    left, right = style.across(0), style.across(100)
    yield Box(left, 3.05 * text, right - left, _STEP * text, edge="text", line=style.line)


def _step(value: int, y: float, style: StripStyle) -> Iterator[Mark]:
    low, tone, high = (float(munsell_value_to_lightness(min(max(v, 0), 10))) for v in (value - 0.5, value, value + 0.5))
    left, right, height = style.across(low), style.across(high), _STEP * style.text
    yield Box(left, y, right - left, height, fill=tone)
    if right - left > 1.2 * text_width(str(value), style.text):
        yield Words((left + right) / 2, y + 0.4 * style.text, str(value), style.text, legible_on(tone), align="middle")


# The groups: their edges, and their words between these.


def _bands(
    names: Sequence[str], edges: Sequence[float], style: StripStyle, foot: float, top: float
) -> Iterator[Mark]:
    known = [edge for edge in edges if math.isfinite(edge)]
    for edge in known:
        x = style.across(edge)
        yield Line(x, foot - style.gap, x, top + 0.2 * style.text, "secondary", style.line, dashed=True)
        yield Words(x, top + 0.55 * style.text, _edge_words(edge), style.text, "secondary", align="middle")
    if len(known) == len(names) - 1:
        for place, (low, high) in enumerate(pairwise((0.0, *known, 100.0))):
            yield from _band(names[place], place, (low, high), style, top + 2.1 * style.text)


def _edge_words(edge: float) -> str:
    return f"{round(edge, 1):g}"


def _band(
    name: str, place: int, reach: tuple[float, float], style: StripStyle, y: float
) -> Iterator[Mark]:
    left, right = style.across(reach[0]), style.across(reach[1])
    height, gap = 0.72 * style.text, 0.45 * style.text
    bars, words = mark_width(height, place), text_width(name, style.text, bold=True)
    room = right - left - gap
    wide = bars + gap + words
    if bars > room:
        return
    x = (left + right - (wide if wide <= room else bars)) / 2
    yield from group_mark(x, y, height, place)
    if wide <= room:
        yield Words(x + bars + gap, y, name, style.text, bold=True)
