"""Blocks and layouts to scale, tested by what was drawn: places, sizes, tones and words."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.patches import Polygon, Rectangle
from shapely import LineString, Point
from shapely import Polygon as Area
from shapely.ops import unary_union

from contrastkit.compose.blocks import BlockShape, Surround
from contrastkit.compose.seams import Surface
from contrastkit.errors import InvalidInputError
from contrastkit.lengths import parse_length
from contrastkit.light.lightness import srgb1_to_lightness
from contrastkit.show.block import LaidBlock, block_picture, block_placed, layout_picture

USUAL = tuple(parse_length(text) for text in ("3 1/2 in", "2 1/2 in", "1 3/4 in"))
RIM, GAP = parse_length("1/16 in"), parse_length("1/8 in")
TURNED = Surround(turned=True)
TWO = BlockShape(USUAL, RIM, GAP, (Surround(), Surround()))
MANY = [
    BlockShape(USUAL, RIM),
    BlockShape(USUAL, RIM, GAP, (Surround(),)),
    TWO,
    BlockShape(USUAL, RIM, 5, (TURNED,)),
    BlockShape(USUAL, RIM, 5, (Surround(), TURNED)),
    BlockShape(USUAL, RIM, 9, (TURNED, Surround())),
    BlockShape((80, 56), 2, 3, (Surround(),) * 3),
    BlockShape((80, 56), 2, 0, (Surround(),) * 5),
    BlockShape((80,), 0, 0, (Surround(),) * 9),
    BlockShape((80, 70, 60, 50, 40, 30, 20), 2, 3, (Surround(),)),
]
LIGHTNESSES = (82.0, 30.0, 61.0)


def stack_of(*lightnesses, rim=math.nan):
    return [Surface(f"s{lightness:g}", lightness, rim=rim) for lightness in lightnesses]


def axes_of(chart):
    (axes,) = chart.figure.axes
    return axes


def words_of(chart):
    return [text.get_text() for text in axes_of(chart).texts]


def below_title(chart):
    """What stands under the title, as one line."""
    return " ".join(words_of(chart)).replace("  ", " ")


def tone(colour):
    return float(srgb1_to_lightness(to_rgb(colour)))


def shapes_of(chart):
    """(corners in mm, L* of the filling or None) of every polygon."""
    return [
        (patch.get_xy()[:-1], None if patch.get_facecolor()[3] == 0 else tone(patch.get_facecolor()))
        for patch in axes_of(chart).patches if isinstance(patch, Polygon)
    ]


def filled(chart):
    return [(corners, tone) for corners, tone in shapes_of(chart) if tone is not None]


def outlined(chart):
    return [corners for corners, tone in shapes_of(chart) if tone is None]


def side_of(corners):
    return float(np.ptp(np.concatenate(corners), axis=0).max())


def scale_of(chart):
    words = below_title(chart)
    return float(words.split("1 : ")[1].split(". ")[0])


def plan_origin(chart):
    """Middle of the drawing of lines, mm on paper."""
    corners = np.concatenate(outlined(chart))
    return (corners.min(axis=0) + corners.max(axis=0)) / 2


# ---- pieces as the mock-up takes them --------------------------------------------------------------------------------


def test_pieces_keep_their_places_and_their_part_of_the_square():
    """The paint would be drawn from another part of the swatch than the one that shows."""
    placed = block_placed(TWO, centre=(100.0, 50.0))

    for one, piece in zip(placed, TWO.pieces, strict=True):
        assert one.corners == tuple((float(x) + 100, float(y) + 50) for x, y in piece.corners)
        assert one.source == tuple((float(u), float(v)) for u, v in piece.source)
        assert one.rim_share == float(RIM / TWO.stacks[piece.stack][piece.layer])


def test_every_stack_has_its_own_swatches_or_all_are_like_one():
    """A surround would be drawn from the core's cloth."""
    stacks = [stack_of(10 + n, 40 + n, 70 + n) for n in range(4)]

    for piece, one in zip(TWO.pieces, block_placed(TWO, stacks), strict=True):
        assert one.lightness == (10, 40, 70)[piece.layer] + piece.stack
    assert {one.swatch_id for one in block_placed(TWO, stacks[:1])} == {"s10", "s40", "s70"}


def test_layers_without_a_lightness_are_drawn_in_the_greys_of_groups():
    """Nothing at all would be drawn, or black."""
    unknown = [Surface("a", math.nan), Surface("b", 50.0), Surface("c", math.nan)]

    assert {one.lightness for one in block_placed(TWO)} == {25, 55, 85}
    assert [one.lightness for one in block_placed(TWO, [unknown])][:3] == [25, 50, 85]


# ---- a block as it will look -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("shape", MANY)
def test_a_block_is_drawn_true_to_the_scale_it_names(shape):
    """A maker would lay a ruler on the print and cut wrong."""
    chart = block_picture(shape)
    scale, size = scale_of(chart), float(shape.finished[-1])
    lines, tones = outlined(chart), [corners for corners, _ in filled(chart)]

    assert side_of(lines) == pytest.approx(size / scale, abs=1e-6)
    assert side_of(tones) == pytest.approx(size / scale, abs=1e-6)
    assert 40 < size / scale <= 76
    assert axes_of(chart).get_xlim()[1] == pytest.approx(chart.figure.get_figwidth() * 25.4)
    assert axes_of(chart).get_ylim()[1] == pytest.approx(chart.figure.get_figheight() * 25.4)


def test_each_piece_lies_where_the_block_has_it():
    """A triangle would point the wrong way in one of the two drawings."""
    chart = block_picture(TWO)
    drawn = [Area(corners) for corners, _ in filled(chart)]
    scale = scale_of(chart)
    middle = drawn[0].centroid

    for piece, area in zip(TWO.pieces, drawn, strict=True):
        true = Area([(middle.x + float(x) / scale, middle.y + float(y) / scale) for x, y in piece.corners])
        assert area.symmetric_difference(true).area < 1e-6
    lines = [Area(corners) for corners in outlined(chart)]
    for piece in drawn:  # the drawing of lines is the same, further to the right
        shift = plan_origin(chart) - (middle.x, middle.y)
        moved = Area(np.array(piece.exterior.coords) + shift)
        assert min(moved.symmetric_difference(line).area for line in lines) < 1e-6


def test_layers_are_as_light_as_their_swatches_on_a_background_as_light_as_its_own():
    """Value is what the picture is judged by. Half an 8-bit code is at most 0.25 L* above L* 8."""
    chart = block_picture(BlockShape(USUAL, RIM), [stack_of(*LIGHTNESSES)], background=12)
    ground = next(patch for patch in axes_of(chart).patches if isinstance(patch, Rectangle))

    assert [tone for _, tone in filled(chart)] == pytest.approx(LIGHTNESSES, abs=0.25)
    assert tone(ground.get_facecolor()) == pytest.approx(12, abs=0.25)


@pytest.mark.parametrize("shape", MANY[:5])
def test_a_known_rim_is_drawn_as_wide_as_it_is_and_only_along_uncut_edges(shape):
    """The rim would run along the cuts too, where there is none."""
    stacks = [stack_of(*LIGHTNESSES, rim=5.0)]
    chart = block_picture(shape, stacks, background=50)
    scale = scale_of(chart)
    drawn = filled(chart)

    for (whole, rim_tone), (inner, _), piece in zip(drawn[::2], drawn[1::2], shape.pieces, strict=True):
        cut = float(shape.stacks[piece.stack][piece.layer]) / scale
        share = Area(inner).area / Area(whole).area
        assert rim_tone == pytest.approx(5, abs=0.5)
        assert share == pytest.approx((1 - 2 * float(RIM) / scale / cut) ** 2, abs=1e-9)
        uncut = [side for side, source in sides_of(whole, piece.source) if source]
        for corner in inner:  # as far from every uncut edge as the rim is wide, or further
            assert min(edge.distance(Point(corner)) for edge in uncut) >= float(RIM) / scale - 1e-6
        assert Area(inner).difference(Area(whole).buffer(1e-6)).area < 1e-9


def sides_of(corners, source):
    """Each side of a piece on paper, and whether it lies along the edge of the square it was cut from."""
    for i in range(len(corners)):
        (u0, v0), (u1, v1) = source[i - 1], source[i]
        along = (u0 == u1 and u0 in (0, 1)) or (v0 == v1 and v0 in (0, 1))
        yield LineString([corners[i - 1], corners[i]]), along


def test_real_pieces_are_shown_to_scale_and_the_rest_in_greys():
    """The picture would be of another size than the drawing beside it, or a piece without a crop a hole."""
    shape = BlockShape((80, 40))
    crops = {"red": np.full((50, 50, 3), (200, 30, 40), np.uint8)}
    chart = block_picture(shape, [[Surface("grey", 50.0), Surface("red", 43.0)]], crops, background=90)
    (image,) = axes_of(chart).images
    left, right, bottom, top = image.get_extent()
    pixels = np.asarray(image.get_array())
    rows, cols = pixels.shape[:2]
    per_mm = cols / (right - left) / scale_of(chart)  # of cloth

    assert (right - left, top - bottom) == pytest.approx((80 / scale_of(chart) + 8,) * 2)
    assert cols / (right - left) == pytest.approx(300 / 25.4, rel=0.01)  # 300 dots an inch, to whole pixels
    assert pixels[rows // 2, cols // 2, :3].tolist() == pytest.approx([200, 30, 40], abs=1)
    assert pixels[rows // 2, cols // 2 + round(30 * per_mm), :3].tolist() == pytest.approx([119] * 3, abs=1)  # L* 50
    assert pixels[3, 3, :3].tolist() == pytest.approx([226] * 3, abs=1)  # L* 90
    assert "Drawn from the real pieces where there is a picture of them, else in their greys" in below_title(chart)


@pytest.mark.parametrize(
    ("stacks", "crops", "background", "says"),
    [
        ([], {}, None, "Greys stand for layers, not for how light they are."),
        ([stack_of(80, 40)], {}, 90, "In greys as light as the pieces."),
        ([stack_of(80, 40)], {}, None, "The background is undecided, and drawn middle grey."),
        ([[Surface("a", 80.0), Surface("b", math.nan)]], {}, 90, "Where no lightness is known, greys stand for layers"),
        ([stack_of(80, 40)], {name: np.zeros((9, 9, 3), np.uint8) for name in ("s80", "s40")}, 90,
         "Drawn from the real pieces."),
    ],
)
def test_the_picture_says_what_its_greys_are(stacks, crops, background, says):
    """A grey that stands for a layer would be judged as its value."""
    assert says in below_title(block_picture(BlockShape((80, 40)), stacks, crops, background=background))


def test_nothing_but_the_real_pieces_has_a_colour():
    """A hue beside a swatch changes what the eye reports."""
    for chart in (block_picture(TWO), layout_picture([LaidBlock(TWO, (200, 200))], width=400, height=400, margin=20)):
        axes = axes_of(chart)
        colours = [
            *(text.get_color() for text in axes.texts), *(line.get_color() for line in axes.lines),
            *(patch.get_facecolor() for patch in axes.patches), *(patch.get_edgecolor() for patch in axes.patches),
        ]
        assert {len(set(to_rgb(colour))) for colour in colours} == {1}


# ---- how it is put together ------------------------------------------------------------------------------------------


def test_finished_sides_are_written_in_the_unit_of_the_plan():
    """She cuts in inches, and would read millimetres."""
    assert {"3 5/8 in", "≈ 5 5/16 in", "≈ 7 9/16 in"} <= set(words_of(block_picture(TWO, unit="in")))
    assert {"92.1 mm", "134.7 mm", "191.8 mm"} <= set(words_of(block_picture(TWO)))
    assert "Rim 1/16 in. Gap 1/8 in." in below_title(block_picture(TWO, unit="in"))
    assert "≈ is to the nearest 1/16 in." in below_title(block_picture(TWO, unit="in"))
    assert "≈" not in below_title(block_picture(BlockShape(USUAL, RIM), unit="in"))


def test_each_part_has_a_row_with_its_size_its_squares_and_its_cut():
    """The picture would not say what to stack and how to cut it."""
    words = words_of(block_picture(BlockShape(USUAL, RIM, GAP, (Surround(), Surround(), TURNED)), unit="in"))

    assert [word for word in words if word.startswith("surround")] == ["surround 3", "surround 2", "surround 1"]
    assert words.count("3 5/8, 2 5/8, 1 7/8") == 3
    assert {"7 1/4, 5 1/4, 3 3/4", "left whole", "quarters, both diagonals", "halves, one diagonal",
            "quarters, both diagonals, turned", "2 and 3", "finished side, in"} <= set(words)


def test_no_square_of_many_layers_is_left_out():
    """A long row would be cut short, and a layer forgotten."""
    shape = BlockShape(tuple(parse_length(f"{side} 3/16 in") for side in range(16, 4, -1)), RIM)
    rows = [word for word in words_of(block_picture(shape, unit="in")) if word.count("5/16") > 1]

    assert len(rows) > 1
    assert " ".join(reversed(rows)) == ", ".join(f"{side} 5/16" for side in range(16, 4, -1))


@pytest.mark.parametrize("shape", [shape for shape in MANY if shape.gap])
def test_the_word_gap_points_into_the_outermost_gap(shape):
    """The width of the gap would stand at a piece of cloth."""
    chart = block_picture(shape)
    scale, (x, y) = scale_of(chart), plan_origin(chart)
    right = axes_of(chart).texts[words_of(chart).index("gap")].get_position()[0]
    line = next(line for line in axes_of(chart).lines if right - 2 < line.get_xdata()[1] < right)
    point = Point((line.get_xdata()[0] - x) * scale, (line.get_ydata()[0] - y) * scale)
    cloth = [(piece.part, Area([(float(a), float(b)) for a, b in piece.corners])) for piece in shape.pieces]
    outermost = unary_union([area for part, area in cloth if part == len(shape.surrounds)])
    inside = unary_union([area for part, area in cloth if part < len(shape.surrounds)])

    assert outermost.distance(point) == pytest.approx(float(shape.gap) / 2, rel=0.01)
    assert inside.distance(point) >= float(shape.gap) / 2 * 0.99


def crosses_of(chart):
    """Middles of the small crosses, mm on paper."""
    small = [line for line in axes_of(chart).lines if math.isclose(math.dist(*line.get_xydata()), 2)]
    middles = [tuple(np.round(line.get_xydata().mean(axis=0), 6)) for line in small]
    return {middle for middle in middles if middles.count(middle) == 2}


@pytest.mark.parametrize("shape", MANY)
def test_every_middle_is_marked_and_lies_on_a_chalk_line_through_the_centre(shape):
    """Pieces are centred by hand, by these marks."""
    chart = block_picture(shape)
    scale, origin = scale_of(chart), plan_origin(chart)
    expected = {
        tuple(np.round(origin + np.array([float(part) for part in mark.at]) / scale, 6))
        for mark in shape.centre_marks if mark.layer == 0
    }
    dashed = [line.get_xydata() for line in axes_of(chart).lines if line.is_dashed()]

    assert np.array(sorted(crosses_of(chart))) == pytest.approx(np.array(sorted(expected)), abs=1e-5)
    for ends in dashed:
        assert ends.mean(axis=0) == pytest.approx(origin)
    for mark in expected - {tuple(np.round(origin, 6))}:
        assert any(LineString(ends).distance(Point(mark)) < 1e-5 for ends in dashed)


def test_each_triangle_bears_the_number_of_the_stack_it_is_cut_from():
    """She would lay a half of the second block where one of the third belongs."""
    chart = block_picture(TWO)
    scale, (x, y) = scale_of(chart), plan_origin(chart)
    numbers = [(text.get_text(), text.get_position()) for text in axes_of(chart).texts
               if text.get_text().isdigit() and text.get_position()[0] > x - 60 / scale * 2]

    for piece in (piece for piece in TWO.pieces if piece.part and piece.layer == 0):
        area = Area([(x + float(a) / scale, y + float(b) / scale) for a, b in piece.corners])
        assert [text for text, at in numbers if area.contains(Point(at))] == [str(piece.stack)]


def boxes_of_words(chart):
    """(words, (left, bottom, right, top) in mm) of all words, as they are drawn; ink, not the whole line."""
    renderer = FigureCanvasAgg(chart.figure).get_renderer()
    axes = axes_of(chart)
    for text in axes.texts:
        box = axes.transData.inverted().transform_bbox(text.get_window_extent(renderer)).extents
        line, size = text.get_position()[1], text.get_fontsize() * 25.4 / 72
        yield text.get_text(), (box[0], line - 0.22 * size, box[2], line + 0.75 * size)


def meet(one, other):
    return all(min(one[axis + 2], other[axis + 2]) - max(one[axis], other[axis]) > 0.1 for axis in (0, 1))


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("shape", MANY)
def test_no_words_overlap_or_leave_the_paper(shape, unit):
    """A number nobody can read; 0.1 mm is less than the gap between two letters."""
    chart = block_picture(shape, unit=unit)
    words = list(boxes_of_words(chart))
    right, top = axes_of(chart).get_xlim()[1], axes_of(chart).get_ylim()[1]

    assert [(a, b) for (a, one), (b, other) in combinations(words, 2) if meet(one, other)] == []
    assert [word for word, box in words if box[0] < 5 or box[1] < 5 or box[2] > right - 2 or box[3] > top - 5] == []


def test_the_bar_at_the_foot_is_fifty_millimetres_long():
    """A print would be taken for true to scale when it is not."""
    for chart in (block_picture(TWO), layout_picture([LaidBlock(TWO, (200, 200))], width=400, height=400)):
        at = axes_of(chart).texts[words_of(chart).index("50 mm on paper")].get_position()
        lines = [line.get_xydata() for line in axes_of(chart).lines]
        lengths = [np.ptp(ends[:, 0]) for ends in lines if abs(ends[:, 1].mean() - at[1]) < 2 and np.ptp(ends[:, 0])]
        assert lengths == pytest.approx([50])


def test_the_description_says_what_the_picture_shows():
    """Who does not see it would learn nothing."""
    chart = block_picture(TWO, unit="in")

    assert chart.description == (
        "Finished block ≈ 7 9/16 in: a core and 2 surrounds, from 4 stacks. "
        "Core 3 5/8 in; after surround 1 ≈ 5 5/16 in; after surround 2 ≈ 7 9/16 in."
    )
    assert "Finished block ≈ 7 9/16 in: a core and 2 surrounds, from 4 stacks" in below_title(chart)
    assert "Wren" in below_title(block_picture(TWO, title="Wren"))


# ---- a whole project -------------------------------------------------------------------------------------------------

PITCH = 220.0
LAID = [LaidBlock(TWO, (160 + PITCH * col, 160 + PITCH * row), [stack_of(*LIGHTNESSES)]) for row in range(2)
        for col in range(3)]
SIZE = {"width": 2 * PITCH + 320, "height": PITCH + 320}


def test_a_layout_is_drawn_to_scale_with_every_block_in_its_place():
    """Blocks in another order, or mirrored top to bottom."""
    chart = layout_picture(LAID, **SIZE, background=20)
    scale = scale_of(chart)
    ground = next(patch for patch in axes_of(chart).patches if isinstance(patch, Rectangle))
    each = len(TWO.pieces)
    cores = [corners.mean(axis=0) for corners, _ in filled(chart)[::each]]
    true = [np.array(ground.get_xy()) + np.array(block.centre) / scale for block in LAID]

    assert (ground.get_width(), ground.get_height()) == pytest.approx((760 / scale, 540 / scale))
    assert np.array(cores) == pytest.approx(np.array(true))
    assert tone(ground.get_facecolor()) == pytest.approx(20, abs=0.25)
    assert axes_of(chart).get_xlim()[1] == pytest.approx(chart.figure.get_figwidth() * 25.4)
    assert axes_of(chart).get_xlim()[1] <= 200


def test_the_overall_size_and_the_hanging_margin_are_written():
    """Nobody would know how much background to cut."""
    words = layout_picture(LAID, **SIZE, margin=50)
    assert {"760 mm", "540 mm"} <= set(words_of(words))
    assert "6 blocks on a background of 760 × 540 mm" in words_of(words)
    assert "Dashed: hanging margin, 50 mm on every side." in below_title(words)
    assert "6 blocks on a background of ≈ 29 15/16 × 21 1/4 in" in words_of(layout_picture(LAID, **SIZE, unit="in"))
    assert "hanging" not in below_title(layout_picture(LAID, **SIZE))


def test_the_margin_is_drawn_where_it_is_and_stands_out_from_the_background():
    """A hem would be sewn through the blocks."""
    for background in (5, 50, 95):
        chart = layout_picture(LAID, **SIZE, margin=50, background=background)
        (line,) = [patch for patch in axes_of(chart).patches if isinstance(patch, Polygon) and patch.get_linestyle()
                   not in ("solid", "-")]
        ground = next(patch for patch in axes_of(chart).patches if isinstance(patch, Rectangle))
        corners = (line.get_xy() - ground.get_xy()) * scale_of(chart)

        assert corners.min(axis=0) == pytest.approx([50, 50])
        assert corners.max(axis=0) == pytest.approx([710, 490])
        assert abs(tone(line.get_edgecolor()) - background) > 30


def test_real_pieces_fill_a_layout_too():
    """The layout would be grey though there are pictures of the pieces."""
    crops = {"red": np.full((50, 50, 3), (200, 30, 40), np.uint8)}
    block = LaidBlock(BlockShape((80,)), (50, 150), [[Surface("red", 43.0)]])
    (image,) = axes_of(layout_picture([block], crops, width=100, height=200, background=90)).images
    pixels = np.asarray(image.get_array())[..., :3]
    rows, cols = pixels.shape[:2]

    assert pixels[rows // 4, cols // 2].tolist() == pytest.approx([200, 30, 40], abs=1)  # near the top
    assert pixels[3 * rows // 4, cols // 2].tolist() == pytest.approx([226] * 3, abs=1)


@pytest.mark.parametrize("size", [(300, 2000), (4000, 300), (90, 90), (20000, 20000)])
def test_layouts_of_any_size_fit_a_sheet(size):
    """A banner would be drawn off the paper, and its words with it."""
    chart = layout_picture([LaidBlock(BlockShape((60,)), (size[0] / 2, size[1] / 2))], width=size[0], height=size[1],
                           unit="in", margin=5)
    words = list(boxes_of_words(chart))
    right, top = axes_of(chart).get_xlim()[1], axes_of(chart).get_ylim()[1]

    assert right <= 200 and top <= 297 - 24  # A4 between margins of 12 mm
    assert [word for word, box in words if box[0] < 5 or box[1] < 5 or box[2] > right - 2 or box[3] > top - 5] == []
    assert [(a, b) for (a, one), (b, other) in combinations(words, 2) if meet(one, other)] == []


def test_no_blocks_are_a_bare_background():
    """A plan that is only begun could not be looked at."""
    assert "0 blocks on a background of 300 × 200 mm" in words_of(layout_picture([], width=300, height=200))


# ---- refusals --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("draw", "says"),
    [
        (lambda: block_picture(TWO, unit="cm"), "^unit must be mm or in; got 'cm'. Pick one"),
        (lambda: layout_picture(LAID, **SIZE, unit="cm"), "^unit must be mm or in; got 'cm'"),
        (lambda: block_picture(TWO, [stack_of(10, 20, 30)] * 3), "^The block takes 4 stacks; got 3. Name as many"),
        (lambda: block_picture(TWO, [stack_of(10, 20)]), "^Stack 0 of the block must have 3 layers; got 2. Name one"),
        (lambda: block_picture(TWO, [stack_of(10, 20, 30)], {"s10": np.zeros((9, 9))}), "crop .*must be 8-bit pixels"),
        (lambda: layout_picture(LAID, width=500, height=540), r"^Every block must lie inside the margin; block 3, "
         r"191.8 mm wide, has its centre at 600.0 mm of 500.0. Move it, or make the background larger"),
        (lambda: layout_picture(LAID, **SIZE, margin=70), "^Every block must lie inside the margin; block 1"),
        (lambda: layout_picture(LAID, **SIZE, margin=300), "^The margin must be 0 mm or more, and .*; got 300"),
        (lambda: layout_picture(LAID, **SIZE, margin=-1), "^The margin must be 0 mm or more, .*; got -1 on .*Make it"),
        (lambda: layout_picture(LAID, **SIZE, margin=math.nan), "^The margin must be 0 mm or more, .*; got nan"),
        (lambda: layout_picture([], width=0, height=200), "^The background must be more than 0 mm wide and high; "
         "got 0 × 200. Give its cut size"),
        (lambda: layout_picture([], width=math.nan, height=200), "^The background must be more than 0 mm .*; got nan"),
        (lambda: block_picture(TWO, background=math.nan), "^The background must have L\\* from 0 to 100; got nan"),
        (lambda: layout_picture(LAID, **SIZE, background=101), "^The background must have L\\* from 0 to 100; got 101"),
        (lambda: block_picture(TWO, [stack_of(10, 20, 130)]), "^A layer must have L\\* from 0 to 100; 's130' has 130"),
    ],
)
def test_what_cannot_be_drawn_is_refused_in_a_sentence(draw, says):
    """The picture would show another block than the one that is made."""
    with pytest.raises(InvalidInputError, match=says):
        draw()
