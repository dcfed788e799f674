"""The balance: one square for each piece, stacked into its group, against an equal count."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from contrastkit.show.drawing import Box, Drawing, Line, Mark, Words, group_mark, mark_width
from contrastkit.show.look import group_lightness, shortened, text_width
from contrastkit.show.pieces import Piece

_SMALLEST = 0.5  # of the type: squares smaller than this become one plain bar


@dataclass(frozen=True)
class BalanceStyle:
    """Sizes of a balance, in the unit of the drawing: width of all, height of the stacks, type, thinnest line."""

    width: float
    height: float
    text: float
    line: float


@dataclass(frozen=True)
class _Count:
    name: str
    place: int
    sure: int
    doubtful: int
    tone: float

    @property
    def total(self) -> int:
        return self.sure + self.doubtful


def draw_balance(pieces: Sequence[Piece], names: Sequence[str], style: BalanceStyle, description: str) -> Drawing:
    """Return the groups as stacks of squares, dark at the left; hollow squares are borderline pieces."""
    counts = _counts(pieces, names)
    most = max(count.total for count in counts)
    share = sum(count.total for count in counts) / len(counts)
    gutter = text_width("equal", style.text) + 0.6 * style.text
    column = (style.width - gutter) / len(counts)
    stacked = any(sum(_parts(count, style.text)) > 0.95 * column for count in counts)
    foot = (3.9 if stacked else 2.6) * style.text
    stack = _Stack.fitting(most, 0.72 * column, style)
    marks = list(_equal(share, foot + stack.unit * share / stack.abreast, style))
    for count in counts:
        middle = gutter + (count.place + 0.5) * column
        marks += stack.squares(count, middle, foot, style)
        marks += _words(count, middle, foot + stack.height_of(count.total), column, style)
        marks += _name(count, middle, column, stacked, style.text)
    marks.append(Line(gutter, foot, style.width, foot, "secondary", style.line))
    height = foot + max(stack.height_of(most) + 4.0 * style.text, stack.unit * share / stack.abreast + style.text)
    return Drawing(style.width, height, tuple(marks), description)


def count_groups(pieces: Sequence[Piece], names: Sequence[str]) -> Mapping[str, tuple[int, int]]:
    """Return for each group how many pieces are in it, and how many of these are borderline."""
    return {
        name: (
            sum(piece.group == name for piece in pieces),
            sum(piece.group == name and piece.borderline for piece in pieces),
        )
        for name in names
    }


def _counts(pieces: Sequence[Piece], names: Sequence[str]) -> list[_Count]:
    tones = group_lightness(len(names))
    found = count_groups(pieces, names)
    return [
        _Count(name, place, total - doubtful, doubtful, tones[place])
        for place, (name, (total, doubtful)) in enumerate(found.items())
    ]


@dataclass(frozen=True)
class _Stack:
    """Squares so many abreast and so large; `unit` is from one to the next."""

    abreast: int
    unit: float
    plain: bool

    @classmethod
    def fitting(cls, most: int, width: float, style: BalanceStyle) -> _Stack:
        widths = range(1, max(most, 1) + 1)
        units = [min(width / abreast, style.height / math.ceil(max(most, 1) / abreast), 4 * style.text)
                 for abreast in widths]
        best = max(range(len(units)), key=units.__getitem__)
        return cls(widths[best], units[best], units[best] < _SMALLEST * style.text)

    def height_of(self, count: float) -> float:
        return self.unit * (count / self.abreast if self.plain else math.ceil(count / self.abreast))

    def squares(self, count: _Count, middle: float, foot: float, style: BalanceStyle) -> Iterator[Mark]:
        left = middle - self.abreast * self.unit / 2
        if self.plain:
            wide, sure, doubt = self.abreast * self.unit, self.height_of(count.sure), self.height_of(count.doubtful)
            yield Box(left, foot, wide, sure, fill=count.tone, edge="secondary", line=style.line)
            yield Box(left, foot + sure, wide, doubt, fill="ground", edge="secondary", line=style.line)
            return
        gap = max(0.1 * self.unit, style.line)
        for index in range(count.total):
            row, col = divmod(index, self.abreast)
            x, y = left + col * self.unit + gap / 2, foot + row * self.unit + gap
            fill = count.tone if index < count.sure else "ground"
            side = self.unit - gap
            yield Box(x, y, side, side, fill=fill, edge="secondary", line=style.line)
            if index >= count.sure:  # on a copier a hollow square and one of a light group look alike
                yield Line(x, y, x + side, y + side, "secondary", style.line)


def _words(count: _Count, middle: float, top: float, column: float, style: BalanceStyle) -> Iterator[Mark]:
    text, y = style.text, top + 0.7 * style.text
    doubt = shortened(f"{count.doubtful} borderline", text, 0.97 * column) if count.doubtful else ""
    wide = max(text_width(str(count.total), 1.6 * text, bold=True), text_width(doubt, text)) + text
    tall = (1.2 * text if doubt else 0) + 1.5 * text
    yield Box(middle - wide / 2, y - 0.3 * text, wide, tall, fill="ground")  # over the line of equal counts
    if doubt:
        yield Words(middle, y, doubt, text, align="middle")
        y += 1.2 * text
    yield Words(middle, y, str(count.total), 1.6 * text, bold=True, align="middle")


def _name(count: _Count, middle: float, column: float, stacked: bool, text: float) -> Iterator[Mark]:
    """The mark and the word of a group, side by side where there is room, else the word under the mark."""
    bars, gap, words = _parts(count, text)
    if not stacked:
        left = middle - (bars + gap + words) / 2
        yield from group_mark(left, 1.1 * text, 0.72 * text, count.place)
        yield Words(left + bars + gap, 1.1 * text, count.name, text, bold=True)
        return
    yield from group_mark(middle - bars / 2, 2.4 * text, 0.72 * text, count.place)
    if column > 3.5 * text:
        short = shortened(count.name, text, 0.95 * column, bold=True)
        yield Words(middle, 1.1 * text, short, text, bold=True, align="middle")


def _parts(count: _Count, text: float) -> tuple[float, float, float]:
    """Widths of a group's mark, of the gap after it, and of its word."""
    return mark_width(0.72 * text, count.place), 0.5 * text, text_width(count.name, text, bold=True)


def _equal(share: float, y: float, style: BalanceStyle) -> Iterator[Mark]:
    """The height all stacks would have, were they equal."""
    words = text_width("equal", style.text)
    yield Line(words + 0.6 * style.text, y, style.width, y, "text", style.line, dashed=True)
    yield Words(words, y + 0.1 * style.text, "equal", style.text, "secondary", align="right")
    yield Words(words, y - 0.95 * style.text, f"{round(share, 1):g}", style.text, "secondary", align="right")
