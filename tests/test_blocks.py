"""Blocks: sizes and corners exactly, judged from outside by polygons, and what cannot be cut refused."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, box, unary_union

from contrastkit.compose.blocks import MOST_SURROUNDS, BlockShape, Surround, hypotenuse
from contrastkit.compose.exact import SQRT2, Root2, area
from contrastkit.errors import InvalidInputError
from contrastkit.lengths import parse_length

# Common practice, no source: prints of 3 1/2, 2 1/2 and 1 3/4 in, cut with a 1/16 in rim.
USUAL = tuple(parse_length(text) for text in ("3 1/2 in", "2 1/2 in", "1 3/4 in"))
RIM = parse_length("1/16 in")
INCH = parse_length("1 in")

sizes = st.fractions(min_value=20, max_value=200, max_denominator=16)
gaps = st.fractions(min_value=0, max_value=30, max_denominator=16)
plain = st.integers(min_value=0, max_value=5).map(lambda count: (Surround(),) * count)
mixed = st.lists(st.booleans(), max_size=5).map(lambda turned: tuple(Surround(turned=each) for each in turned))


@st.composite
def shapes(draw, *, gap=gaps, surrounds=mixed):
    """Blocks of one to three layers."""
    bottom = draw(sizes)
    prints = tuple(bottom * share for share in (1, Fraction(5, 7), Fraction(1, 2))[: draw(st.integers(1, 3))])
    rim = draw(st.fractions(min_value=0, max_value=3, max_denominator=16))
    return BlockShape(prints, rim, draw(gap), draw(surrounds))


def polygon(piece):
    return Polygon([(float(x), float(y)) for x, y in piece.corners])


def bottoms(shape, part=None):
    return [piece for piece in shape.pieces if piece.layer == 0 and part in (None, piece.part)]


def noise(shape):
    """What floats may lose of an area: 1e-12 of the whole, some ten thousand times their last place."""
    return 1e-12 * float(shape.finished_area)


# ---- sizes ---------------------------------------------------------------------------------------------------------


def test_the_usual_prints_are_cut_to_3_5_8_and_2_5_8_and_1_7_8_inches():
    """Gold: common practice, no source. The rim would be added once, not on both sides."""
    shape = BlockShape(USUAL, RIM)

    assert shape.cut_sides == tuple(parse_length(text) for text in ("3 5/8 in", "2 5/8 in", "1 7/8 in"))
    for below, above in zip(shape.cut_sides, shape.cut_sides[1:], strict=False):
        assert float(above / below) == pytest.approx(1 / math.sqrt(2), rel=0.03)  # "about": 0.724 and 0.714


@given(sizes, gaps)
def test_one_surround_makes_root_two_times_side_and_gap(side, gap):
    """Gold: the finished side is √2·(s + g), by the definition of the block."""
    shape = BlockShape((side,), gap=gap, surrounds=(Surround(),))

    assert shape.finished == (side, SQRT2 * (side + gap))


@given(sizes, gaps)
def test_two_surrounds_make_twice_the_side_and_more_than_twice_the_gap(side, gap):
    """Gold: the finished side is 2s + g(1 + √2), by the definition of the block."""
    shape = BlockShape((side,), gap=gap, surrounds=(Surround(), Surround()))

    assert shape.finished[-1] == 2 * side + gap * (1 + SQRT2)


def test_without_a_gap_every_surround_makes_it_root_two_times_as_wide():
    """Further surrounds would follow another rule than the first two."""
    shape = BlockShape(USUAL, RIM, surrounds=(Surround(),) * 6)

    for inner, outer in zip(shape.finished, shape.finished[1:], strict=False):
        assert outer == inner * SQRT2
    assert shape.finished[-1] == 8 * parse_length("3 5/8 in")


@given(sizes, gaps, st.integers(min_value=1, max_value=5))
def test_turned_triangles_add_their_hypotenuse_and_two_gaps(side, gap, count):
    """Right angles inward, the depth of a triangle and a gap are added on both sides."""
    shape = BlockShape((side,), gap=gap, surrounds=(Surround(turned=True),) * count)

    for number, (inner, outer) in enumerate(zip(shape.finished, shape.finished[1:], strict=False), start=1):
        assert outer == inner + 2 * gap + hypotenuse(side, number)


def test_from_the_third_surround_on_a_gap_lets_the_corners_inside_set_the_size():
    """The corners of what is inside would stick out of the side we state, by 0.15 of the gap."""
    side, gap = Fraction(100), Fraction(10)
    shape = BlockShape((side,), gap=gap, surrounds=(Surround(),) * 3)
    edges_of_triangles = (shape.finished[2] + 2 * gap + hypotenuse(side, 3)) / SQRT2

    assert shape.finished[3] == SQRT2 * shape.finished[2]
    assert float(shape.finished[3] - edges_of_triangles) / 2 == pytest.approx(0.1464 * 10, abs=1e-3)  # (√2 - 1)/(2√2)


# ---- pieces, exactly -----------------------------------------------------------------------------------------------


@given(shapes(gap=st.just(Fraction(0)), surrounds=plain))
def test_without_a_gap_the_bottom_pieces_cover_the_finished_square_exactly(shape):
    """A sliver of background would show, or pieces lie on one another."""
    total = sum((area(piece.corners) for piece in bottoms(shape)), Root2())

    assert total == shape.finished[-1] * shape.finished[-1] == shape.finished_area
    assert shape.open_ground == 0


@given(shapes())
def test_every_stack_is_used_up_by_the_pieces_cut_from_it(shape):
    """A quarter of a block would be laid twice and another one left over."""
    for stack, cut_sides in enumerate(shape.stacks):
        for layer, side in enumerate(cut_sides):
            pieces = [piece for piece in shape.pieces if (piece.stack, piece.layer) == (stack, layer)]
            places = [Polygon(piece.source) for piece in pieces]

            assert sum((area(piece.corners) for piece in pieces), Root2()) == side**2
            assert unary_union(places).equals_exact(box(0, 0, 1, 1), 1e-9, normalize=True)
            assert sum(place.area for place in places) == pytest.approx(1, abs=1e-12)


@given(shapes())
def test_each_piece_is_laid_as_it_was_cut_neither_stretched_nor_mirrored(shape):
    """The paint on a triangle would be drawn distorted, or seen from the back of the cloth."""
    for piece in shape.pieces:
        side = shape.stacks[piece.stack][piece.layer]
        for i, j in combinations(range(len(piece.corners)), 2):
            (x0, y0), (x1, y1) = piece.corners[i], piece.corners[j]
            (u0, v0), (u1, v1) = piece.source[i], piece.source[j]
            assert (x1 - x0) * (x1 - x0) + (y1 - y0) * (y1 - y0) == side**2 * ((u1 - u0) ** 2 + (v1 - v0) ** 2)
        assert not polygon(piece).exterior.is_ccw
        assert not Polygon(piece.source).exterior.is_ccw


@given(shapes())
def test_layers_of_one_part_lie_inside_the_layer_below(shape):
    """An upper layer would hang over the cut."""
    for part in range(len(shape.finished)):
        layers = {}
        for piece in (piece for piece in shape.pieces if piece.part == part):
            layers.setdefault(piece.layer, []).append(polygon(piece))
        for above in range(1, len(layers)):
            for upper, lower in zip(layers[above], layers[above - 1], strict=True):
                assert upper.difference(lower).area <= noise(shape)


@pytest.mark.parametrize(("number", "count", "cut"), [(1, 1, "quarters"), (2, 2, "halves"), (3, 1, "quarters"),
                                                      (4, 2, "halves"), (5, 1, "quarters")])
def test_odd_surrounds_are_quarters_of_one_block_even_ones_halves_of_two(number, count, cut):
    """She would stack one block too few, or cut it the wrong way."""
    blocks = BlockShape(USUAL, RIM, surrounds=(Surround(),) * 5).further_blocks[number - 1]

    assert (blocks.surround, blocks.count, blocks.cut, len(blocks.stacks)) == (number, count, cut, count)


def test_further_blocks_are_as_large_as_the_rule_says_with_the_same_rim():
    """Triangles would not fit the square they are set round; or a double block would have a double rim."""
    blocks = BlockShape(USUAL, RIM, surrounds=(Surround(),) * 5).further_blocks

    assert [each.cut_sides[0] / INCH for each in blocks] == [Fraction(29, 8) * scale for scale in (1, 1, 2, 2, 4)]
    assert blocks[0].prints == USUAL
    assert [side / INCH for side in blocks[2].prints] == [Fraction(57, 8), Fraction(41, 8), Fraction(29, 8)]
    assert all(cut - side == 2 * RIM for each in blocks for side, cut in zip(each.prints, each.cut_sides, strict=True))


def test_stacks_are_numbered_in_the_order_they_are_cut():
    """A cut list and a picture would mean different blocks by the same number."""
    shape = BlockShape(USUAL, RIM, surrounds=(Surround(),) * 4)

    assert [each.stacks for each in shape.further_blocks] == [(1,), (2, 3), (4,), (5, 6)]
    assert len(shape.stacks) == 7
    assert {piece.stack for piece in shape.pieces} == set(range(7))


def test_the_two_halves_of_a_block_lie_across_from_each_other():
    """Two different further blocks would make a lopsided surround."""
    halves = bottoms(BlockShape((80,), surrounds=(Surround(), Surround())), part=2)

    for one, other in combinations(halves, 2):
        across = {(-x, -y) for x, y in one.corners} == set(other.corners)
        assert across == (one.stack == other.stack)


def test_a_further_block_may_have_prints_of_its_own():
    """A surround could not have fewer layers, or other sizes, than the core."""
    shape = BlockShape(USUAL, RIM, surrounds=(Surround((USUAL[0], parse_length("2 in"))),))

    assert [side / INCH for side in shape.further_blocks[0].cut_sides] == [Fraction(29, 8), Fraction(17, 8)]
    assert max(piece.layer for piece in shape.pieces if piece.part == 1) == 1


# ---- pieces, judged from outside -----------------------------------------------------------------------------------


@settings(max_examples=60)
@given(shapes())
def test_pieces_never_overlap_and_nothing_sticks_out(shape):
    """Two thick pieces would be fused on one another, or the block be wider than we say."""
    pieces = [polygon(piece) for piece in bottoms(shape)]
    half = float(shape.finished[-1]) / 2
    together = unary_union(pieces)

    assert sum(piece.area for piece in pieces) - together.area == pytest.approx(0, abs=noise(shape))
    assert together.difference(box(-half, -half, half, half)).area <= noise(shape)
    assert together.bounds == pytest.approx((-half, -half, half, half), rel=1e-12)
    assert float(shape.open_ground) == pytest.approx(4 * half**2 - together.area, abs=noise(shape))


@settings(max_examples=60)
@given(shapes())
def test_each_surround_keeps_the_gap_from_what_is_inside(shape):
    """The gap would be measured along a slant, or differ from surround to surround."""
    for part in range(1, len(shape.finished)):
        inside = unary_union([polygon(piece) for piece in bottoms(shape) if piece.part < part])
        apart = [inside.distance(polygon(piece)) for piece in bottoms(shape, part)]
        # Further out, and where a tip points into the gap between two triangles, more than the gap stays open.
        exactly = part == 1 or (part == 2 and not shape.surrounds[1].turned) or shape.gap == 0

        for distance in apart:
            assert distance >= float(shape.gap) - 1e-9  # mm
            assert not exactly or distance == pytest.approx(float(shape.gap), abs=1e-9)


@given(shapes(), st.integers(min_value=1, max_value=3))
def test_a_block_turned_by_a_quarter_covers_the_same(shape, quarters):
    """The triangles at the top would be set otherwise than those at the right."""
    def corners(turn):
        return {frozenset(turn(corner) for corner in piece.corners) for piece in bottoms(shape)}

    turns = [lambda p: p, lambda p: (-p[1], p[0]), lambda p: (-p[0], -p[1]), lambda p: (p[1], -p[0])]

    assert corners(turns[quarters]) == corners(turns[0])


@given(shapes())
def test_pieces_run_from_the_furthest_back_to_the_nearest(shape):
    """A layer would be drawn under the one it lies on."""
    order = [(piece.part, piece.layer) for piece in shape.pieces]

    assert order == sorted(order)
    assert all(len(bottoms(shape, part)) == (4 if part else 1) for part in range(len(shape.finished)))


@pytest.mark.parametrize(("count", "straight"), [(0, True), (1, False), (2, True), (3, False)])
def test_the_finished_block_stands_straight_so_the_core_may_stand_on_a_corner(count, straight):
    """Blocks with one surround would not fit side by side."""
    core = BlockShape((80,), surrounds=(Surround(),) * count).pieces[0]

    assert (len({x for x, _ in core.corners}) == 2) is straight
    assert {x for piece in bottoms(BlockShape((80,))) for x, _ in piece.corners} == {-40, 40}


def test_a_turned_surround_leaves_the_core_standing_as_it_was():
    """Only triangles with the hypotenuse inward turn the square."""
    core = BlockShape((80,), surrounds=(Surround(turned=True),)).pieces[0]

    assert set(core.corners) == {(40, 40), (40, -40), (-40, -40), (-40, 40)}


# ---- marks ---------------------------------------------------------------------------------------------------------


@given(shapes())
def test_every_piece_has_its_mark_on_itself_and_on_the_square_it_is_cut_from(shape):
    """Chalk would go beside the cloth, or the mark on the square not be the one on the triangle."""
    for piece, mark in zip(shape.pieces, shape.centre_marks, strict=True):
        on = Polygon(piece.source).buffer(1e-9)
        assert (mark.part, mark.stack, mark.layer) == (piece.part, piece.stack, piece.layer)
        assert on.contains(Point(mark.source))
        side = shape.stacks[piece.stack][piece.layer]
        for (x, y), (u, v) in zip(piece.corners, piece.source, strict=True):  # the same distances before and after
            dx, dy, du, dv = x - mark.at[0], y - mark.at[1], u - mark.source[0], v - mark.source[1]
            assert dx * dx + dy * dy == side**2 * (du**2 + dv**2)


def test_squares_are_marked_in_their_middle_and_triangles_in_that_of_the_hypotenuse():
    """Centring by hand starts from these two points."""
    shape = BlockShape((80, 40), gap=8, surrounds=(Surround(), Surround()))
    marks = shape.centre_marks
    half = Fraction(1, 2)

    assert [mark.at for mark in marks if mark.part == 0] == [(0, 0)] * 2
    assert {mark.kind for mark in marks if mark.part} == {"hypotenuse"}
    assert {mark.source for mark in marks if mark.part == 1} == {(half, 0), (0, half), (half, 1), (1, half)}
    assert {mark.source for mark in marks if mark.part == 2} == {(half, half)}  # the middle of the uncut block
    first = {mark.at for mark in marks if mark.part == 1 and mark.layer == 0}
    assert first == {(48, 0), (0, 48), (-48, 0), (0, -48)}  # 40 to the side of the core, and the gap


def test_a_half_lies_with_the_middle_of_its_hypotenuse_on_the_diagonal_for_every_layer():
    """The layers of a half would slide along the cut."""
    marks = BlockShape((80, 40), surrounds=(Surround(), Surround())).centre_marks

    assert len({mark.at for mark in marks if mark.part == 2}) == 4


# ---- what cannot be cut --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: BlockShape((56, 80)), r"^Each layer must be smaller than the one it lies on; layer 2 has a print of "
         r"80 mm \(≈ 3 1/8 in\), and lies on one of 56 mm .* Name the largest print first"),
        (lambda: BlockShape((80, 80)), "Each layer must be smaller than the one it lies on; layer 2"),
        (lambda: BlockShape((80, 60, 70)), "Each layer must be smaller than the one it lies on; layer 3"),
        (lambda: BlockShape((80, 60), rim=30), r"^The rim must be narrower than half of every print; a rim of 30 mm "
         r"\(.*\) on both sides is no less than the smallest print, 60 mm .* Make the rim narrower"),
        (lambda: BlockShape((80, 60), rim=90), "The rim must be narrower than half of every print"),
        (lambda: BlockShape((80, 60), rim=-1), "^The rim must not be negative; got -1. Leave out the minus"),
        (lambda: BlockShape((80, 60), gap=-1), "^The gap must not be negative; got -1. Leave out the minus"),
        (lambda: BlockShape((80,), gap=math.nan), "^The gap must be a finite number; got nan"),
        (lambda: BlockShape((80,), rim=math.inf), "^The rim must be a finite number; got inf"),
        (lambda: BlockShape((80,), rim=None), "^The rim must be a number or text such as '3 1/2 in'; got None"),
        (lambda: BlockShape((80, 0)), "^The side of a print must be more than zero; got 0. Give the size"),
        (lambda: BlockShape((-80,)), "^The side of a print must not be negative; got -80"),
        (lambda: BlockShape((math.nan,)), "^The side of a print must be a finite number; got nan"),
        (lambda: BlockShape(("wide",)), "^The side of a print must be a number and a unit; got 'wide'"),
        (lambda: BlockShape(()), r"^The prints of a block must be the sides of its layers, bottom first; got \(\)"),
        (lambda: BlockShape("80"), "^The prints of a block must be the sides of its layers, bottom first; got '80'"),
        (lambda: BlockShape(80), "^The prints of a block must be .* Write at least one"),
        (lambda: BlockShape((80,), surrounds=(Surround(),) * 21), "^A block has at most 20 surrounds, as each makes "
         "it 1.4 times as wide .*; got 21. Leave out the outer ones"),
        (lambda: BlockShape((80,), surrounds=2), "^The surrounds of a block must be a list of Surround, .*; got 2"),
        (lambda: BlockShape((80,), surrounds=(True,)), "^The surrounds of a block must be a list of Surround"),
        (lambda: Surround((40, 50)), "^Each layer must be smaller than the one it lies on"),
        (lambda: BlockShape((80,), rim=2, surrounds=(Surround((79,)),)), r"^The blocks for surround 1 must be cut to "
         r"84 mm \(.*\), so that .*; with the prints named it would be 83 mm .* Let the bottom print be 80 mm"),
        (lambda: BlockShape((80,), rim=2, surrounds=(Surround(), Surround(), Surround((80,)))),
         "^The blocks for surround 3 must be cut to 168 mm .* Let the bottom print be 164 mm"),
        (lambda: BlockShape((80,), rim=2, surrounds=(Surround((80, 4)),)), "^The rim must be narrower than half"),
    ],
)
def test_what_cannot_be_cut_is_refused_in_a_sentence(make, says):
    """Once it is fused it cannot be undone."""
    with pytest.raises(InvalidInputError, match=says):
        make()


def test_limits_themselves_are_allowed():
    """A plan just inside them would be refused."""
    shape = BlockShape((80, 60), rim=Fraction("29.9"), surrounds=(Surround(),) * MOST_SURROUNDS)

    assert shape.finished[-1] == 1024 * shape.side


def test_sizes_may_be_given_as_people_write_them():
    """Every caller would have to turn text into fractions first, and 0.1 into a tenth."""
    shape = BlockShape(["3 1/2 in", 60.1], "1/16 in", 0.1, [Surround(("3 1/2 in",))])

    assert shape == BlockShape((USUAL[0], Fraction("60.1")), RIM, Fraction(1, 10), (Surround((USUAL[0],)),))
    assert len({shape, shape}) == 1
