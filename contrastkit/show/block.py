"""Blocks to scale: one as it will look and as it is put together, and a whole project on its background."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import SupportsFloat

from contrastkit.compose.blocks import BlockShape, FurtherBlocks, PlacedPiece, hypotenuse
from contrastkit.compose.seams import Surface
from contrastkit.errors import InvalidInputError
from contrastkit.lengths import UNITS, length_words
from contrastkit.show.chart import PRINT_PIXELS_PER_MM, Chart, chart_of
from contrastkit.show.crops import Crops, Pixels, encoded
from contrastkit.show.drawing import Box, Drawing, Line, Mark, Photo, Shape, Words, moved
from contrastkit.show.look import SMALL, group_lightness, surround_lightness, text_width
from contrastkit.show.mockup import Placed, render
from contrastkit.show.page import titled
from contrastkit.show.words import counted, listed

Stacks = Sequence[Sequence[Surface]]
XY = tuple[float, float]

_WIDTH = 186.0  # of a drawing, mm: what an A4 sheet leaves between margins of 12 mm
_PLAN = 76.0  # the most a block takes, mm
_TALLEST, _NARROWEST = 200.0, 110.0  # a layout, mm
_LINE, _FINE = 0.25, 0.15
_LEADING = 1.55 * SMALL
_SCALES = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
_PICTURE = "as it will look"


@dataclass(frozen=True)
class LaidBlock:
    """
    A block on a background.

    Attributes
    ----------
    shape : its sizes
    centre : (x to the right, y up) mm from the background's bottom left corner
    stacks : what its layers are, as for `block_placed`; empty where that is not decided
    """

    shape: BlockShape
    centre: tuple[SupportsFloat, SupportsFloat]
    stacks: Stacks = ()


def block_placed(shape: BlockShape, stacks: Stacks = (), *, centre: XY = (0.0, 0.0)) -> list[Placed]:
    """
    Return every piece of a block where it lies, furthest back first, as `render` takes them.

    Parameters
    ----------
    shape
        The block.
    stacks
        What its layers are: for every stack in the order of `shape.stacks` its layers, bottom first; or one stack,
        which all are like; or nothing, which draws the layers in the greys of groups, the bottom darkest.
    centre
        Where the middle of the block lies: (x to the right, y up), mm.

    Raises
    ------
    InvalidInputError
        There are more or fewer stacks than the block takes, or layers than they have.

    Examples
    --------
    >>> [piece.lightness for piece in block_placed(BlockShape((80, 56, 40)))]
    [25.0, 55.0, 85.0]
    """
    surfaces = _surfaces(shape, stacks)
    return [_placed(piece, shape, surfaces[piece.stack], centre) for piece in shape.pieces]


def _surfaces(shape: BlockShape, stacks: Stacks) -> list[list[Surface]]:
    """For every stack and layer a surface whose lightness is known."""
    wanted = [len(sides) for sides in shape.stacks]
    if not stacks:
        return [[Surface("", tone) for tone in group_lightness(layers)] for layers in wanted]
    if len(stacks) == 1:
        stacks = [stacks[0]] * len(wanted)
    if len(stacks) != len(wanted):
        raise InvalidInputError(
            f"The block takes {counted(len(wanted), 'stack')}; got {len(stacks)}. "
            "Name as many, or one that all are like."
        )
    for number, (layers, stack) in enumerate(zip(wanted, stacks, strict=True)):
        if len(stack) != layers:
            raise InvalidInputError(
                f"Stack {number} of the block must have {counted(layers, 'layer')}; got {len(stack)}. "
                "Name one swatch for each, bottom first."
            )
    return [[_known(surface, group_lightness(len(stack))[layer]) for layer, surface in enumerate(stack)]
            for stack in stacks]


def _known(surface: Surface, tone: float) -> Surface:
    if math.isnan(surface.lightness):
        return Surface(surface.swatch_id, tone, rim=surface.rim)
    if not 0 <= surface.lightness <= 100:
        raise InvalidInputError(
            f"A layer must have L* from 0 to 100; {surface.swatch_id!r} has {surface.lightness:g}. "
            "Measure it again, or leave it unknown."
        )
    return surface


def _check_ground(background: float | None) -> None:
    if background is not None and not 0 <= background <= 100:
        raise InvalidInputError(
            f"The background must have L* from 0 to 100; got {background:g}. Leave it out where it is undecided."
        )


def _placed(piece: PlacedPiece, shape: BlockShape, surfaces: Sequence[Surface], centre: XY) -> Placed:
    surface = surfaces[piece.layer]
    return Placed(
        corners=tuple((float(x) + centre[0], float(y) + centre[1]) for x, y in piece.corners),
        source=tuple((float(u), float(v)) for u, v in piece.source),
        swatch_id=surface.swatch_id,
        lightness=surface.lightness,
        rim=surface.rim,
        rim_share=float(shape.rim / shape.stacks[piece.stack][piece.layer]),
    )


# One block.


def block_picture(
    shape: BlockShape,
    stacks: Stacks = (),
    crops: Crops | None = None,
    *,
    unit: str = "mm",
    background: float | None = None,
    title: str | None = None,
) -> Chart:
    """
    Return a block drawn to scale: as it will look, how it is put together, and a row of sizes for each part.

    Parameters
    ----------
    shape
        The block.
    stacks
        What its layers are, as for `block_placed`.
    crops
        The pieces cut out of their photographs, by swatch_id: 8-bit sRGB. A layer without one is drawn in the grey
        of its lightness.
    unit
        "mm" or "in": how lengths are written.
    background
        L* of what the block is fused to; if not given, middle grey, or light where no layer is known.
    title
        The finding; how large the block is and what it takes, if not given.

    Raises
    ------
    InvalidInputError
        The stacks are not those of the block, a crop cannot be shown, or the unit is not one of ours.

    Examples
    --------
    >>> from contrastkit.compose.blocks import Surround
    >>> block_picture(BlockShape((80, 56), rim=2, surrounds=(Surround(),)), unit="mm").description
    'Finished block 118.8 mm: a core and 1 surround, from 2 stacks. Core 84 mm; after surround 1 118.8 mm.'
    """
    drawing, pictures = block_drawing(shape, stacks, crops, unit=unit, background=background)
    scale = _scale(float(shape.finished[-1]), _PLAN)
    finding = title if title is not None else _block_finding(shape, unit)
    how = f"{_block_how(shape, unit, scale)} {_filling([stacks], crops, background).words}"
    return chart_of(titled(drawing, finding, how), pictures)


def block_drawing(
    shape: BlockShape, stacks: Stacks = (), crops: Crops | None = None, *, unit: str = "mm",
    background: float | None = None,
) -> tuple[Drawing, dict[str, Pixels]]:
    """Return what `block_picture` draws without its head, in mm, and the pictures that its marks name."""
    _check_unit(unit)
    _check_ground(background)
    placed = block_placed(shape, stacks)
    scale = _scale(float(shape.finished[-1]), _PLAN)
    side = float(shape.finished[-1]) / scale
    rows, high = _rows(list(_table(shape, unit)), unit)
    foot = _BAR + high + 2.5
    filling = _filling([stacks], crops, background)
    look, pictures = _look(placed, filling, (float(shape.finished[-1]) + 8 * scale,) * 2, scale, (0.0, foot), (0, 0))
    plan_x = side + 8 + 12
    marks = (
        *look,
        *_put_together(shape, unit, scale, (plan_x + side / 2, foot + 4 + side / 2), plan_x + side + 3),
        *(moved(mark, 0, _BAR) for mark in rows),
        *_true_size(),
    )
    return Drawing(_WIDTH, foot + side + 8, marks, _block_words(shape, unit)), pictures


def _check_unit(unit: str) -> None:
    if unit not in UNITS:
        raise InvalidInputError(f"unit must be {' or '.join(UNITS)}; got {unit!r}. Pick one of these.")


def _scale(size: float, room: float) -> float:
    """The least round number of times by which the size must be reduced to fit the room."""
    power = 1.0
    while True:
        for step in _SCALES:
            if size / (step * power) <= room:
                return step * power
        power *= 10


def _block_finding(shape: BlockShape, unit: str) -> str:
    around = f" and {counted(len(shape.surrounds), 'surround')}" if shape.surrounds else ""
    size = length_words(float(shape.finished[-1]), unit)
    return f"Finished block {size}: a core{around}, from {counted(len(shape.stacks), 'stack')}"


def _block_words(shape: BlockShape, unit: str) -> str:
    core, *further = (length_words(float(side), unit) for side in shape.finished)
    after = "".join(f"; after surround {number} {words}" for number, words in enumerate(further, start=1))
    return f"{_block_finding(shape, unit)}. Core {core}{after}."


def _block_how(shape: BlockShape, unit: str, scale: float) -> str:
    words = [f"Drawn to scale, 1 : {scale:g}."]
    if shape.rim:
        words.append(f"Rim {length_words(shape.rim, unit)}.")
    if shape.surrounds:
        words.append(f"Gap {length_words(shape.gap, unit)}." if shape.gap else "No gap.")
        words.append("Dashed: chalk lines through the centre; crosses: middles of core and hypotenuses.")
    return " ".join((*words, *_nearest(unit, [*shape.finished, shape.gap, shape.rim, *shape.cut_sides])))


def _nearest(unit: str, lengths: Sequence[SupportsFloat]) -> list[str]:
    rounded = any(length_words(float(length), unit).startswith("≈") for length in lengths)
    return ["≈ is to the nearest 1/16 in."] if rounded else []


@dataclass(frozen=True)
class _Filling:
    """What the pieces of a picture are filled with, and what they lie on."""

    surfaces: tuple[Surface, ...]
    crops: Crops
    background: float | None

    @property
    def kinds(self) -> set[str]:
        """Whether there are real pieces, greys of known lightness, and greys that only tell layers apart."""
        return {self._kind(surface) for surface in self.surfaces} or {"unknown"}

    def _kind(self, surface: Surface) -> str:
        if surface.swatch_id in self.crops:
            return "real"
        return "unknown" if math.isnan(surface.lightness) else "grey"

    @property
    def ground(self) -> float:
        """L* of the background: if undecided, middle grey where value is judged, else light, to show the gaps."""
        if self.background is not None:
            return self.background
        return surround_lightness("light" if self.kinds == {"unknown"} else "middle")

    @property
    def words(self) -> str:
        """What the colours and the greys are."""
        if self.kinds == {"unknown"}:
            return "Greys stand for layers, not for how light they are."
        words = [_FILLED[tuple(sorted(self.kinds - {"unknown"}))]]
        if "unknown" in self.kinds:
            words.append("Where no lightness is known, greys stand for layers.")
        if self.background is None:
            words.append("The background is undecided, and drawn middle grey.")
        return " ".join(words)


_FILLED = {
    ("grey",): "In greys as light as the pieces.",
    ("real",): "Drawn from the real pieces.",
    ("grey", "real"): "Drawn from the real pieces where there is a picture of them, else in their greys.",
}


# As it will look.


def _filling(stacks: Iterable[Stacks], crops: Crops | None, background: float | None) -> _Filling:
    surfaces = tuple(surface for of_block in stacks for stack in of_block for surface in stack)
    return _Filling(surfaces, crops or {}, background)


def _look(
    placed: Sequence[Placed], filling: _Filling, size: XY, scale: float, at: XY, middle: XY
) -> tuple[list[Mark], dict[str, Pixels]]:
    """
    The pieces on a background of this size (mm) about `middle`, its bottom left corner at `at` on paper.

    As pixels where there is a real crop to show; else as shapes, which stay sharp at any size.
    """
    width, height = (length / scale for length in size)
    if "real" in filling.kinds:
        linear = render(
            placed, filling.crops, background=filling.ground, size_mm=size, centre=middle,
            pixels_per_mm=PRINT_PIXELS_PER_MM / scale,
        )
        return [Photo(*at, width, height, _PICTURE, _PICTURE)], {_PICTURE: encoded(linear)}
    origin = (at[0] + width / 2 - middle[0] / scale, at[1] + height / 2 - middle[1] / scale)
    marks: list[Mark] = [Box(*at, width, height, fill=filling.ground)]
    for piece in placed:
        marks += _flat(piece, origin, scale)
    return marks, {}


def _flat(piece: Placed, origin: XY, scale: float) -> Iterator[Shape]:
    if piece.rim_share and math.isfinite(piece.rim):
        yield _filled(piece.corners, origin, scale, piece.rim)
        yield _filled(_print_of(piece), origin, scale, piece.lightness)
    else:
        yield _filled(piece.corners, origin, scale, piece.lightness)


def _filled(corners: Sequence[XY], origin: XY, scale: float, tone: float) -> Shape:
    """Edged in its own tone by a hair, or the background would gleam through where two pieces touch."""
    return Shape(_on_paper(corners, origin, scale), fill=tone, edge=tone, line=0.12)


def _print_of(piece: Placed) -> tuple[XY, ...]:
    """Corners of what the rim leaves of a piece: drawn in towards the middle of the square it was cut from."""
    (x, y), keep = _middle_of_square(piece), 1 - 2 * piece.rim_share
    return tuple((x + keep * (right - x), y + keep * (up - y)) for right, up in piece.corners)


def _middle_of_square(piece: Placed) -> XY:
    """Where the middle of the uncut square lies, from any three corners."""
    (x, y), (x1, y1), (x2, y2) = piece.corners[:3]
    (u, v), (u1, v1), (u2, v2) = piece.source[:3]
    turn = (u1 - u) * (v2 - v) - (u2 - u) * (v1 - v)
    along = ((0.5 - u) * (v2 - v) - (u2 - u) * (0.5 - v)) / turn
    across = ((u1 - u) * (0.5 - v) - (0.5 - u) * (v1 - v)) / turn
    return x + along * (x1 - x) + across * (x2 - x), y + along * (y1 - y) + across * (y2 - y)


def _on_paper(corners: Sequence[XY], origin: XY, scale: float) -> tuple[XY, ...]:
    return tuple((origin[0] + x / scale, origin[1] + y / scale) for x, y in corners)


# How it is put together: lines, with nothing to judge by eye, so that words may lie among them.


def _put_together(shape: BlockShape, unit: str, scale: float, origin: XY, right: float) -> Iterator[Mark]:
    yield from _outlines(shape, origin, scale)
    yield from _chalk(shape, origin, scale)
    yield from _labels(shape, unit, scale, origin)
    half = float(shape.finished[-1]) / 2 / scale
    words = length_words(float(shape.finished[-1]), unit)
    yield from _dimension((origin[0] - half, origin[1] - half - 4), (origin[0] + half, origin[1] - half - 4), words)
    if shape.surrounds and shape.gap:
        yield from _gap(shape, unit, scale, origin, right)


def _outlines(shape: BlockShape, origin: XY, scale: float) -> Iterator[Mark]:
    half = float(shape.finished[-1]) / 2
    square = ((-half, -half), (-half, half), (half, half), (half, -half))
    yield Shape(_on_paper(square, origin, scale), edge="hairline", line=_FINE)
    pieces = [(piece.layer, _on_paper(at.corners, origin, scale))
              for piece, at in zip(shape.pieces, block_placed(shape), strict=True)]
    yield from (Shape(corners, edge="secondary", line=_FINE) for layer, corners in pieces if layer)
    yield from (Shape(corners, edge="text", line=1.4 * _LINE) for layer, corners in pieces if layer == 0)


def _chalk(shape: BlockShape, origin: XY, scale: float) -> Iterator[Mark]:
    """Lines through the centre that carry every middle, and a cross on each."""
    marks = [mark for mark in shape.centre_marks if mark.layer == 0]
    half = float(shape.finished[-1]) / 2
    for mark in marks:
        x, y = (float(part) for part in mark.at)
        if mark.kind == "hypotenuse" and (y > 0 or (y == 0 and x > 0)):
            reach = half / max(abs(x), abs(y))
            (x0, y0), (x1, y1) = _on_paper(((-x * reach, -y * reach), (x * reach, y * reach)), origin, scale)
            yield Line(x0, y0, x1, y1, "secondary", _FINE, dashed=True)
    for mark in marks:
        ((x, y),) = _on_paper(((float(mark.at[0]), float(mark.at[1])),), origin, scale)
        yield from (Line(x - 1, y, x + 1, y, "text", _LINE), Line(x, y - 1, x, y + 1, "text", _LINE))


@dataclass(frozen=True)
class _Label:
    """Words about a point (mm on paper), and the line they stand on, if any."""

    x: float
    y: float
    text: str
    bold: bool = False
    ends: tuple[XY, XY] | None = None

    @property
    def width(self) -> float:
        return text_width(self.text, SMALL, bold=self.bold) + 0.5 * SMALL

    def meets(self, other: _Label) -> bool:
        near = abs(self.x - other.x) < (self.width + other.width) / 2
        return near and abs(self.y - other.y) < 1.2 * SMALL

    def marks(self) -> Iterator[Mark]:
        """On a patch of ground that keeps lines out of them."""
        yield Box(self.x - self.width / 2, self.y - 0.6 * SMALL, self.width, 1.2 * SMALL, fill="ground")
        yield Words(self.x, self.y - 0.34 * SMALL, self.text, SMALL, bold=self.bold, align="middle")


def _labels(shape: BlockShape, unit: str, scale: float, origin: XY) -> Iterator[Mark]:
    """Sides of the squares inside and numbers of the stacks, from the outside in, as long as there is room."""
    kept: list[_Label] = []
    for part in reversed(range(len(shape.finished))):
        for label in (*_stack_numbers(shape, part, scale, origin), *_inner_side(shape, part - 1, unit, scale, origin)):
            if not any(label.meets(other) for other in kept):
                kept.append(label)
                yield from label.marks() if label.ends is None else _dimension(*label.ends, label.text)


_SHALLOWEST = 7.0  # triangle that holds a number, from tip to hypotenuse on paper, mm


def _stack_numbers(shape: BlockShape, part: int, scale: float, origin: XY) -> Iterator[_Label]:
    if part == 0 or float(hypotenuse(shape.side, part)) / 2 / scale < _SHALLOWEST:
        return
    for piece in shape.pieces:
        if piece.part == part and piece.layer == 0:
            middle = (sum(float(x) for x, _ in piece.corners) / 3, sum(float(y) for _, y in piece.corners) / 3)
            ((x, y),) = _on_paper((middle,), origin, scale)
            yield _Label(x, y, str(piece.stack), bold=True)


def _inner_side(shape: BlockShape, part: int, unit: str, scale: float, origin: XY) -> Iterator[_Label]:
    """The side of a square inside the block, along its upper or lower left side, where there is room for it."""
    words = length_words(float(shape.finished[part]), unit)
    side = float(shape.finished[part]) / scale
    if part < 0 or side < 2 * text_width(words, SMALL):
        return
    ends = ((-side / 2, side / 2 - _INSET), (side / 2, side / 2 - _INSET))
    (x0, y0), (x1, y1) = (_lower_left(x, y) if _slanted(shape, part) else (x, y) for x, y in ends)
    start, end = (origin[0] + x0, origin[1] + y0), (origin[0] + x1, origin[1] + y1)
    yield _Label((start[0] + end[0]) / 2, (start[1] + end[1]) / 2, words, ends=(start, end))


_INSET = 2.6  # of a line along a side, mm


def _slanted(shape: BlockShape, part: int) -> bool:
    """Whether the square after so many surrounds stands on a corner in the finished block."""
    return sum(not surround.turned for surround in shape.surrounds[part:]) % 2 == 1


def _lower_left(x: float, y: float) -> XY:
    """Turned by 135 degrees, so that what was at the top is at the lower left."""
    return (-x - y) / math.sqrt(2), (x - y) / math.sqrt(2)


def _dimension(start: XY, end: XY, words: str) -> Iterator[Mark]:
    """A line with a stroke across each end, and its length in the middle."""
    yield Line(*start, *end, "secondary", _FINE)
    length = math.dist(start, end)
    across = (-(end[1] - start[1]) / length, (end[0] - start[0]) / length)
    for x, y in (start, end):
        yield Line(x - across[0], y - across[1], x + across[0], y + across[1], "secondary", _LINE)
    if words:
        yield from _Label((start[0] + end[0]) / 2, (start[1] + end[1]) / 2, words).marks()


_BAR = 7.0  # height of the bar at the foot


def _true_size() -> Iterator[Mark]:
    """Fifty millimetres, if the picture is printed at its true size; only then is the scale what it says."""
    yield from _dimension((0, 1), (50, 1), "50 mm on paper")


def _gap(shape: BlockShape, unit: str, scale: float, origin: XY, right: float) -> Iterator[Mark]:
    """A line from the outermost gap to its width in words, at the right."""
    inside = float(shape.finished[-2])
    middle = (inside / 2 + float(shape.gap) / 2) / scale
    if shape.surrounds[-1].turned:  # above the square, at the tip of the topmost triangle
        x, y = 0.0, middle
    else:  # at the right, beside the middle
        x, y = middle, 0.2 * inside / scale
        if _slanted(shape, len(shape.finished) - 2):
            x, y = (x + y) / math.sqrt(2), (y - x) / math.sqrt(2)
    yield Line(origin[0] + x, origin[1] + y, right, origin[1] + y, "text", _FINE)
    yield Words(right + 0.8, origin[1] + y + 0.25, "gap", SMALL)
    yield Words(right + 0.8, origin[1] + y - 1.05 * SMALL, length_words(shape.gap, unit), SMALL)


# The rows of sizes.


@dataclass(frozen=True)
class _Row:
    part: str
    finished: str
    stack: str
    squares: tuple[str, ...]
    cut: str


_COLUMNS = (0.0, 28.0, 56.0, 76.0, 142.0)  # left ends, mm


def _table(shape: BlockShape, unit: str) -> Iterator[_Row]:
    yield _Row("core", _bare(shape.finished[0], unit), "–", _squares(shape.cut_sides, unit), "left whole")
    for blocks, surround, side in zip(shape.further_blocks, shape.surrounds, shape.finished[1:], strict=True):
        stack = listed([str(number) for number in blocks.stacks])
        cut = _cut_words(blocks) + (", turned" if surround.turned else "")
        yield _Row(f"surround {blocks.surround}", _bare(side, unit), stack, _squares(blocks.cut_sides, unit), cut)


def _cut_words(blocks: FurtherBlocks) -> str:
    return "quarters, both diagonals" if blocks.cut == "quarters" else "halves, one diagonal"


def _squares(sides: Sequence[Fraction], unit: str) -> tuple[str, ...]:
    return tuple(_bare(side, unit) for side in sides)


def _bare(length: SupportsFloat, unit: str) -> str:
    return length_words(float(length), unit).removesuffix(f" {unit}")


def _in_lines(words: Sequence[str], width: float) -> list[str]:
    """Words as a list on as many lines as they need, none of them broken."""
    lines: list[str] = []
    for word in words:
        longer = f"{lines[-1]}, {word}" if lines else word
        if lines and text_width(longer, SMALL) <= width:
            lines[-1] = longer
        elif lines:
            lines[-1] += ","
            lines.append(word)
        else:
            lines.append(word)
    return lines


def _rows(rows: Sequence[_Row], unit: str) -> tuple[list[Mark], float]:
    """The rows under a head, the lowest line at a height of 0, and how high they reach."""
    marks: list[Mark] = []
    y = 0.0
    for row in reversed(rows):
        for line in reversed(_in_lines(row.squares, _COLUMNS[4] - _COLUMNS[3] - 3)):
            marks.append(Words(_COLUMNS[3], y, line, SMALL))
            y += _LEADING
        cells = zip(_COLUMNS, (row.part, row.finished, row.stack, "", row.cut), strict=True)
        marks += [Words(x, y - _LEADING, cell, SMALL) for x, cell in cells if cell]
    y += 0.15 * _LEADING
    head = ("part", f"finished side, {unit}", "stack", f"squares, bottom first, {unit}", "cut into")
    marks += [Words(x, y, cell, SMALL, "secondary") for x, cell in zip(_COLUMNS, head, strict=True)]
    marks.append(Line(0, y - 0.28 * _LEADING, _WIDTH, y - 0.28 * _LEADING, "hairline", _LINE))
    return marks, y + _LEADING


# A whole project.


def layout_picture(
    blocks: Sequence[LaidBlock],
    crops: Crops | None = None,
    *,
    width: SupportsFloat,
    height: SupportsFloat,
    margin: SupportsFloat = 0,
    unit: str = "mm",
    background: float | None = None,
    title: str | None = None,
) -> Chart:
    """
    Return a whole project drawn to scale: its blocks on the background, with the hanging margin and the overall size.

    Parameters
    ----------
    blocks
        The blocks where they lie.
    crops
        The pieces cut out of their photographs, by swatch_id: 8-bit sRGB. A layer without one is drawn in the grey
        of its lightness.
    width, height
        Of the background, hanging margin included, mm.
    margin
        Hanging margin on every side, mm; marked by a dashed line where there is one.
    unit
        "mm" or "in": how lengths are written.
    background
        Its L*; if not given, middle grey, or light where no layer is known.
    title
        The finding; how many blocks lie on how large a background, if not given.

    Raises
    ------
    InvalidInputError
        A block does not lie within the margin, sizes are not finite and more than zero, or as for `block_picture`.

    Examples
    --------
    >>> laid = [LaidBlock(BlockShape((80,)), (50 + 100 * place, 50)) for place in range(3)]
    >>> layout_picture(laid, width=300, height=100).description
    '3 blocks on a background of 300 × 100 mm.'
    """
    size, edge = (float(width), float(height)), float(margin)
    drawing, pictures, scale = layout_drawing(
        blocks, crops, width=width, height=height, margin=margin, unit=unit, background=background
    )
    finding = _layout_finding(len(blocks), size, unit)
    how = [f"Drawn to scale, 1 : {scale:g}.", _filling([block.stacks for block in blocks], crops, background).words]
    if edge:
        how.append(f"Dashed: hanging margin, {length_words(edge, unit)} on every side.")
    how += _nearest(unit, (*size, edge))
    return chart_of(titled(drawing, title if title is not None else finding, " ".join(how)), pictures)


def layout_drawing(
    blocks: Sequence[LaidBlock], crops: Crops | None = None, *, width: SupportsFloat, height: SupportsFloat,
    margin: SupportsFloat = 0, unit: str = "mm", background: float | None = None, tallest: float = _TALLEST,
) -> tuple[Drawing, dict[str, Pixels], float]:
    """Return what `layout_picture` draws without its head, in mm, the pictures that its marks name, and its scale."""
    _check_unit(unit)
    _check_ground(background)
    size, edge = (float(width), float(height)), float(margin)
    _check_background(blocks, size, edge)
    left = text_width(length_words(size[1], unit), SMALL) + 7
    scale = max(_scale(size[0], _WIDTH - left), _scale(size[1], tallest))
    placed = [
        piece for block in blocks for piece in block_placed(block.shape, block.stacks, centre=_centre(block))
    ]
    at = (left, 7.0 + _BAR)
    filling = _filling([block.stacks for block in blocks], crops, background)
    look, pictures = _look(placed, filling, size, scale, at, (size[0] / 2, size[1] / 2))
    finding = _layout_finding(len(blocks), size, unit)
    marks = (*look, *_margin_line(size, edge, scale, at, filling.ground),
             *_overall(size, unit, scale, at), *_true_size())
    wide = max(left + size[0] / scale, _NARROWEST)
    return Drawing(wide, size[1] / scale + at[1] + 1, marks, f"{finding}."), pictures, scale


def _centre(block: LaidBlock) -> XY:
    return float(block.centre[0]), float(block.centre[1])


_SLACK = 1e-6  # mm, for what floats lose


def _check_background(blocks: Sequence[LaidBlock], size: tuple[float, float], edge: float) -> None:
    if not all(math.isfinite(length) and length > 0 for length in size):
        raise InvalidInputError(
            f"The background must be more than 0 mm wide and high; got {size[0]:g} × {size[1]:g}. Give its cut size."
        )
    if not 0 <= 2 * edge < min(size):
        raise InvalidInputError(
            f"The margin must be 0 mm or more, and leave room between its two sides; got {edge:g} on a background of "
            f"{size[0]:g} × {size[1]:g} mm. Make it narrower."
        )
    for number, block in enumerate(blocks, start=1):
        half = float(block.shape.finished[-1]) / 2
        for at, length in zip(_centre(block), size, strict=True):
            if not edge + half - _SLACK <= at <= length - edge - half + _SLACK:
                raise InvalidInputError(
                    f"Every block must lie inside the margin; block {number}, {2 * half:.1f} mm wide, has its centre "
                    f"at {at:.1f} mm of {length:.1f}. Move it, or make the background larger."
                )


def _layout_finding(count: int, size: tuple[float, float], unit: str) -> str:
    wide, high = (length_words(length, unit).removeprefix("≈ ") for length in size)
    about = "≈ " if _nearest(unit, size) else ""
    return f"{counted(count, 'block')} on a background of {about}{wide.removesuffix(f' {unit}')} × {high}"


def _margin_line(size: tuple[float, float], edge: float, scale: float, at: XY, ground: float) -> Iterator[Mark]:
    if edge:
        corners = ((edge, edge), (edge, size[1] - edge), (size[0] - edge, size[1] - edge), (size[0] - edge, edge))
        tone = ground + (35 if ground < 50 else -35)
        yield Shape(_on_paper(corners, at, scale), edge=tone, line=_LINE, dashed=True)


def _overall(size: tuple[float, float], unit: str, scale: float, at: XY) -> Iterator[Mark]:
    right, top = at[0] + size[0] / scale, at[1] + size[1] / scale
    yield from _dimension((at[0], at[1] - 4), (right, at[1] - 4), length_words(size[0], unit))
    yield from _dimension((at[0] - 4, at[1]), (at[0] - 4, top), "")
    yield Words(at[0] - 5.5, (at[1] + top) / 2 - 0.34 * SMALL, length_words(size[1], unit), SMALL, align="right")
