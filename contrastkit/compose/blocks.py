"""
Blocks: a core of stacked squares, and surrounds of triangles cut from further stacked blocks, in exact arithmetic.

The rule. The side s of a block is the cut side of its bottom layer. Surround n is four triangles whose hypotenuse is
s√2^(n-1), set with the hypotenuse against what is inside, at a gap. Where n is odd each is a quarter of one further
block of side s·2^((n-1)/2), cut along both diagonals; where n is even each is half of a block of side s·2^((n-2)/2),
and there are two blocks, one cut each. With no gap each surround makes the square √2 times as wide, and turns it by 45
degrees; the finished block stands straight, so that its core stands on a corner where the number of surrounds is odd.

A surround may be turned: right angles inward, hypotenuses outward, open ground between the triangles.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from typing import Literal

from contrastkit.compose.exact import SQRT2, Point, Root2, area, turned_by_45, turned_by_90
from contrastkit.errors import InvalidInputError
from contrastkit.lengths import length_words, parse_length

MOST_SURROUNDS = 20
"""Each surround makes the block 1.4 times as wide: 20 of them make a core of a hand's width a hundred metres wide."""
_HALF = Fraction(1, 2)

Where = tuple[Fraction, Fraction]
Cut = Literal["quarters", "halves"]


@dataclass(frozen=True)
class Surround:
    """
    Four triangles set round a core, or round the surround inside it.

    Attributes
    ----------
    prints : sides (mm, bottom first) of the prints in each further block; None: those of the core, to the scale of
        the rule, with the rim as wide as everywhere
    turned : right angles inward, hypotenuses outward, open ground between the triangles
    """

    prints: tuple[Fraction, ...] | None = None
    turned: bool = False

    def __post_init__(self) -> None:
        if self.prints is not None:
            object.__setattr__(self, "prints", _checked_prints(self.prints))


@dataclass(frozen=True)
class FurtherBlocks:
    """
    The stacked blocks one surround is cut from.

    Attributes
    ----------
    surround : 1 for the first
    count : how many blocks
    cut : what each is cut into: "quarters" (both diagonals) or "halves" (one diagonal)
    prints, cut_sides : of each block, mm, bottom first
    stacks : the numbers these blocks have in PlacedPiece.stack
    """

    surround: int
    count: int
    cut: Cut
    prints: tuple[Fraction, ...]
    cut_sides: tuple[Fraction, ...]
    stacks: tuple[int, ...]


@dataclass(frozen=True)
class PlacedPiece:
    """
    One piece of a finished block.

    Attributes
    ----------
    part : 0 the core, 1 the first surround, ...
    stack : 0 the core's stack; 1, 2, ... the further blocks in the order they are cut
    layer : 0 the bottom of its stack
    corners : (x to the right, y up), mm from the block's centre, clockwise
    source : the same corners in the square they were cut from: (u right, v up), 0-1 of its cut side
    """

    part: int
    stack: int
    layer: int
    corners: tuple[Point, ...]
    source: tuple[Where, ...]


@dataclass(frozen=True)
class CentreMark:
    """
    Where chalk goes, to centre one piece by hand.

    Attributes
    ----------
    part, stack, layer : of the piece, as in PlacedPiece
    kind : "centre" of a square, or middle of the "hypotenuse" of a triangle
    at : where it lies in the finished block: (x to the right, y up), mm from its centre
    source : where it is marked before the cut: (u right, v up), 0-1 of the square's cut side
    """

    part: int
    stack: int
    layer: int
    kind: Literal["centre", "hypotenuse"]
    at: Point
    source: Where


@dataclass(frozen=True)
class BlockShape:
    """
    The shape of a block: what it is made of and how far apart, from which every size and corner follows.

    Attributes
    ----------
    prints : sides of the prints of the core, mm, bottom first; each at least a little smaller than the one it lies on
    rim : width of the bare ground left round each print, mm
    gap : between what is inside and the hypotenuse (or, turned, the right angle) of a surround's triangles, mm
    surrounds : from the inside out

    Raises
    ------
    InvalidInputError
        A size that cannot be, a layer that is not smaller than what it lies on, a rim that is half as wide as a print
        or more, too many surrounds, or prints of a further block that do not fit its surround.

    Examples
    --------
    >>> shape = BlockShape((80, 56, 40), rim=2, gap=0, surrounds=(Surround(), Surround()))
    >>> shape.cut_sides
    (Fraction(84, 1), Fraction(60, 1), Fraction(44, 1))
    >>> shape.finished
    (Root2(84), Root2(0, 84), Root2(168))
    """

    prints: tuple[Fraction, ...]
    rim: Fraction = Fraction(0)
    gap: Fraction = Fraction(0)
    surrounds: tuple[Surround, ...] = field(default=())

    def __post_init__(self) -> None:
        object.__setattr__(self, "prints", _checked_prints(self.prints))
        object.__setattr__(self, "rim", parse_length(self.rim, name="The rim"))
        object.__setattr__(self, "gap", parse_length(self.gap, name="The gap"))
        object.__setattr__(self, "surrounds", _checked_surrounds(self.surrounds))
        for prints in (self.prints, *(blocks.prints for blocks in self.further_blocks)):
            _check_rim(self.rim, prints)

    @property
    def side(self) -> Fraction:
        """Cut side of the bottom layer, mm."""
        return self.cut_sides[0]

    @cached_property
    def cut_sides(self) -> tuple[Fraction, ...]:
        """Sides the squares of the core are cut to, mm, bottom first: print and rim on both sides."""
        return _cut(self.prints, self.rim)

    @cached_property
    def further_blocks(self) -> tuple[FurtherBlocks, ...]:
        """What each surround is cut from, first surround first."""
        return tuple(self._further(number, each) for number, each in enumerate(self.surrounds, start=1))

    @property
    def stacks(self) -> tuple[tuple[Fraction, ...], ...]:
        """Cut sides (mm, bottom first) of every stack that is made: the core, then the further blocks in order."""
        return (self.cut_sides, *(blocks.cut_sides for blocks in self.further_blocks for _ in blocks.stacks))

    @cached_property
    def finished(self) -> tuple[Root2, ...]:
        """
        Side of the core, then of the whole after each surround, mm.

        It is that of the smallest square, standing straight to the surround, that holds everything. From the third
        surround on, with a gap, this may be measured over the corners of what is inside: they then reach a little
        further than the edges of the triangles.
        """
        return tuple(2 * reach for reach, _ in self._reaches)

    @property
    def finished_area(self) -> Root2:
        """Area of the finished square, mm²."""
        return self.finished[-1] * self.finished[-1]

    @cached_property
    def open_ground(self) -> Root2:
        """Area of the finished square that no piece covers, mm²: gaps, and what turned triangles leave open."""
        return self.finished_area - sum((area(piece.corners) for piece in self.pieces if piece.layer == 0), Root2())

    @cached_property
    def pieces(self) -> tuple[PlacedPiece, ...]:
        """Every piece of the finished block, furthest back first: core, then surrounds, each from its bottom up."""
        return tuple(self._placed())

    @cached_property
    def centre_marks(self) -> tuple[CentreMark, ...]:
        """For every piece, in the same order, the point by which it is centred."""
        return tuple(_centre_mark(piece) for piece in self.pieces)

    @cached_property
    def _reaches(self) -> tuple[tuple[Root2, Root2], ...]:
        """How far everything reaches from the centre, square to the sides and along the diagonals, part by part."""
        straight, slant = Root2(self.side) / 2, Root2(self.side) / SQRT2
        reaches = [(straight, slant)]
        for number, surround in enumerate(self.surrounds, start=1):
            base = hypotenuse(self.side, number)
            tip = straight + self.gap + base / 2
            if surround.turned:
                straight, slant = tip, max(slant, (tip + base / 2) / SQRT2)
            else:  # what was a diagonal is now square to the sides
                straight, slant = max(slant, tip / SQRT2), tip
            reaches.append((straight, slant))
        return tuple(reaches)

    def _further(self, number: int, surround: Surround) -> FurtherBlocks:
        scale = 2 ** ((number - 1) // 2)
        default = tuple(side * scale - 2 * self.rim for side in self.cut_sides)
        prints = default if surround.prints is None else surround.prints
        cut_sides = _cut(prints, self.rim)
        if cut_sides[0] != self.side * scale:
            raise _does_not_fit(number, cut_sides[0], self.side * scale, default[0])
        first = 1 + sum(1 if before % 2 else 2 for before in range(1, number))
        if number % 2:
            return FurtherBlocks(number, 1, "quarters", prints, cut_sides, (first,))
        return FurtherBlocks(number, 2, "halves", prints, cut_sides, (first, first + 1))

    def _placed(self) -> Iterator[PlacedPiece]:
        for layer, side in enumerate(self.cut_sides):
            square = _square(side)
            yield PlacedPiece(0, 0, layer, self._upright(square, 0), _source(square, side))
        for blocks, surround in zip(self.further_blocks, self.surrounds, strict=True):
            for layer, side in enumerate(blocks.cut_sides):
                yield from self._triangles(blocks, surround, layer, side)

    def _triangles(
        self, blocks: FurtherBlocks, surround: Surround, layer: int, side: Fraction
    ) -> Iterator[PlacedPiece]:
        """The four triangles of one layer, clockwise from the top of the square they are set round."""
        centre = self._centre_of_block(blocks, surround)
        cut = _quarter(side, surround.turned) if blocks.cut == "quarters" else _half(side, surround.turned)
        for place in range(4):
            local = tuple(_clockwise(corner, place) for corner in cut)
            level = local if blocks.cut == "quarters" else tuple(map(turned_by_45, local))
            right, up = _clockwise((Root2(), centre), place)
            corners = tuple((x + right, y + up) for x, y in level)
            stack = blocks.stacks[place % len(blocks.stacks)]  # two blocks: each lies on both sides of the centre
            yield PlacedPiece(
                blocks.surround, stack, layer, self._upright(corners, blocks.surround - 1), _source(local, side)
            )

    def _centre_of_block(self, blocks: FurtherBlocks, surround: Surround) -> Root2:
        """How far from the centre the middle of the uncut block would lie, if the topmost triangle were still in it."""
        inner = self._reaches[blocks.surround - 1][0] + self.gap
        depth = hypotenuse(self.side, blocks.surround) / 2
        # The middle of a block is the tip of its quarters, and the middle of the hypotenuse of its halves.
        return inner + depth if (blocks.cut == "quarters") != surround.turned else inner

    def _upright(self, corners: tuple[Point, ...], inside: int) -> tuple[Point, ...]:
        """Corners in the frame of the square after `inside` surrounds, in that of the finished block."""
        turns = sum(not surround.turned for surround in self.surrounds[inside:])
        if turns % 2 == 0:
            return corners
        return tuple(_clockwise(turned_by_45(corner), 1) for corner in corners)  # 45 degrees clockwise


def hypotenuse(side: Fraction, number: int) -> Root2:
    """
    Return the hypotenuse of the triangles of surround `number` (1 for the first) round a core of this side.

    >>> hypotenuse(Fraction(100), 1), hypotenuse(Fraction(100), 2), hypotenuse(Fraction(100), 3)
    (Root2(100), Root2(0, 100), Root2(200))
    """
    size = Root2(side * 2 ** ((number - 1) // 2))
    return size if number % 2 else size * SQRT2


# Pieces in the block they are cut from: its middle is the origin, one side lies at the top; corners clockwise.


def _square(side: Fraction) -> tuple[Point, ...]:
    half = Root2(side) / 2
    return (-half, -half), (-half, half), (half, half), (half, -half)


def _quarter(side: Fraction, turned: bool) -> tuple[Point, ...]:
    """The quarter that goes to the top: the lowest, whose tip points up; turned, the topmost, whose tip points down."""
    middle, half = (Root2(), Root2()), Root2(side) / 2
    return (middle, (-half, half), (half, half)) if turned else ((-half, -half), middle, (half, -half))


def _half(side: Fraction, turned: bool) -> tuple[Point, ...]:
    """The half that goes to the top once turned by 45 degrees: right angle at the upper right, or the lower left."""
    half = Root2(side) / 2
    if turned:
        return (-half, -half), (-half, half), (half, -half)
    return (-half, half), (half, half), (half, -half)


def _clockwise(point: Point, quarter_turns: int) -> Point:
    for _ in range(-quarter_turns % 4):
        point = turned_by_90(point)
    return point


def _source(corners: tuple[Point, ...], side: Fraction) -> tuple[Where, ...]:
    return tuple((x.a / side + _HALF, y.a / side + _HALF) for x, y in corners)


def _centre_mark(piece: PlacedPiece) -> CentreMark:
    if piece.part == 0:
        return CentreMark(piece.part, piece.stack, piece.layer, "centre", (Root2(), Root2()), (_HALF, _HALF))
    first, second = _ends_of_hypotenuse(piece.source)
    (x0, y0), (x1, y1) = piece.corners[first], piece.corners[second]
    (u0, v0), (u1, v1) = piece.source[first], piece.source[second]
    at, source = ((x0 + x1) / 2, (y0 + y1) / 2), ((u0 + u1) / 2, (v0 + v1) / 2)
    return CentreMark(piece.part, piece.stack, piece.layer, "hypotenuse", at, source)


def _ends_of_hypotenuse(triangle: tuple[Where, ...]) -> tuple[int, int]:
    def length(ends: tuple[int, int]) -> Fraction:
        (u0, v0), (u1, v1) = triangle[ends[0]], triangle[ends[1]]
        return (u1 - u0) ** 2 + (v1 - v0) ** 2

    return max(((0, 1), (1, 2), (2, 0)), key=length)


# Checks.


def _cut(prints: tuple[Fraction, ...], rim: Fraction) -> tuple[Fraction, ...]:
    return tuple(side + 2 * rim for side in prints)


def _checked_prints(prints: object) -> tuple[Fraction, ...]:
    if not isinstance(prints, tuple | list) or not prints:
        raise InvalidInputError(
            f"The prints of a block must be the sides of its layers, bottom first; got {prints!r}. "
            "Write at least one, such as (80, 56, 40)."
        )
    sides = tuple(parse_length(side, zero=False, name="The side of a print") for side in prints)
    for layer, (below, above) in enumerate(pairwise(sides), start=2):
        if above >= below:
            raise InvalidInputError(
                f"Each layer must be smaller than the one it lies on; layer {layer} has a print of {_both(above)}, "
                f"and lies on one of {_both(below)}. Name the largest print first."
            )
    return sides


def _checked_surrounds(surrounds: object) -> tuple[Surround, ...]:
    if not isinstance(surrounds, tuple | list) or not all(isinstance(each, Surround) for each in surrounds):
        raise InvalidInputError(
            f"The surrounds of a block must be a list of Surround, innermost first; got {surrounds!r}. "
            "Write (Surround(), Surround()) for two."
        )
    if len(surrounds) > MOST_SURROUNDS:
        raise InvalidInputError(
            f"A block has at most {MOST_SURROUNDS} surrounds, as each makes it 1.4 times as wide and so many make it "
            f"a thousand times; got {len(surrounds)}. Leave out the outer ones."
        )
    return tuple(surrounds)


def _check_rim(rim: Fraction, prints: tuple[Fraction, ...]) -> None:
    if 2 * rim >= prints[-1]:
        raise InvalidInputError(
            f"The rim must be narrower than half of every print; a rim of {_both(rim)} on both sides is no less than "
            f"the smallest print, {_both(prints[-1])}. Make the rim narrower or leave that layer out."
        )


def _does_not_fit(number: int, got: Fraction, fitting: Fraction, print_side: Fraction) -> InvalidInputError:
    return InvalidInputError(
        f"The blocks for surround {number} must be cut to {_both(fitting)}, so that the triangles fit what they are "
        f"set round; with the prints named it would be {_both(got)}. Let the bottom print be {_both(print_side)}."
    )


def _both(mm: Fraction) -> str:
    return f"{length_words(mm)} ({length_words(mm, 'in')})"
