"""Mock-ups, tested by their light: what part of which piece shows where, and how much light there is in all."""

import math

import numpy as np
import pytest

from contrastkit.compose.seams import Surface
from contrastkit.compose.stacks import Stack, default_sides
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import lightness_to_luminance, luminance, srgb1_to_linear
from contrastkit.show.crops import encoded
from contrastkit.show.mockup import SQUARE, Placed, piece_squares, render, square_corners, stack_placed

# Quarters of a square as it is photographed: top left, top right, bottom left, bottom right.
RED, GREEN, BLUE, WHITE = (200, 30, 30), (30, 160, 30), (30, 30, 200), (240, 240, 240)


def quartered(size=120):
    """A crop with four coloured quarters."""
    crop = np.zeros((size, size, 3), np.uint8)
    half = size // 2
    crop[:half, :half], crop[:half, half:], crop[half:, :half], crop[half:, half:] = RED, GREEN, BLUE, WHITE
    return crop


def turned(crop, degrees, board=(255, 0, 255)):
    """The crop turned against the clock on a board of a colour no piece has, with alpha 0 outside the piece."""
    size = crop.shape[0]
    wide = int(size * 1.5)
    rows, cols = np.mgrid[:wide, :wide] - (wide - 1) / 2
    angle = np.deg2rad(degrees)
    u, v = np.cos(angle) * cols - np.sin(angle) * rows, np.sin(angle) * cols + np.cos(angle) * rows
    inside = np.maximum(abs(u), abs(v)) < size / 2
    index = [np.clip(np.floor(axis + size / 2).astype(int), 0, size - 1) for axis in (v, u)]
    pixels = np.where(inside[..., None], crop[index[0], index[1]], np.array(board)).astype(np.uint8)
    return np.dstack([pixels, np.where(inside, 255, 0).astype(np.uint8)])


def turn(points, degrees):
    """(x, y) points turned against the clock."""
    angle = np.deg2rad(degrees)
    return np.array(points) @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])


def light(colour):
    return srgb1_to_linear(np.array(colour) / 255)


def grey(lightness):
    return float(lightness_to_luminance(lightness))


def shown(placed, crops=None, *, background=50.0, size=100.0, pixels_per_mm=2.0, **options):
    return render(
        placed, crops or {}, background=background, size_mm=(size, size), pixels_per_mm=pixels_per_mm, **options
    )


def at(picture, x, y, *, size=100.0):
    """The light at (x, y) mm from the middle."""
    rows, cols = picture.shape[:2]
    return picture[int((size / 2 - y) / size * rows), int((size / 2 + x) / size * cols)]


def near(colour):
    """One 8-bit code of linear light is at most 0.01; bilinear reading of a flat part adds nothing."""
    return pytest.approx(light(colour), abs=0.01)


# What shows where.


def test_a_square_is_shown_upright_and_not_mirrored():
    """The motif would lie upside down or turned round against its photograph."""
    picture = shown([Placed(square_corners(80), swatch_id="q")], {"q": quartered()})
    for x, y, colour in ((-20, 20, RED), (20, 20, GREEN), (-20, -20, BLUE), (20, -20, WHITE)):
        assert at(picture, x, y) == near(colour)
    assert at(picture, 45, 45) == pytest.approx([grey(50)] * 3, abs=1e-6)


def test_a_crop_on_the_grid_of_the_picture_is_shown_pixel_by_pixel():
    """Each layer would lie half a pixel out, and its finest marks be smeared."""
    codes = np.random.default_rng(2).integers(0, 256, (40, 40, 3)).astype(np.uint8)
    picture = shown([Placed(square_corners(20, centre=(5, -10)), swatch_id="q")], {"q": codes})
    assert picture[100:140, 90:130] == pytest.approx(light(codes), abs=1e-4)  # OpenCV's arithmetic in 32 bits


def test_an_enlarged_crop_stays_in_its_place():
    """A small crop would slide towards a corner of its layer."""
    codes = np.zeros((8, 8, 3), np.uint8)
    codes[:, 4:] = 255
    picture = shown([Placed(square_corners(80), swatch_id="q")], {"q": codes})[100, 20:180, 0]
    assert picture + picture[::-1] == pytest.approx(1, abs=0.01)  # OpenCV reads between pixels in 32nds


def test_edges_between_pixels_share_their_light():
    """A layer would be rounded to whole pixels, one side wider than the other. Here each edge is a quarter into one."""
    picture = shown([Placed(square_corners(20.25), lightness=100.0)], background=0.0)[..., 0]
    profile = [0, 0.25, 1, 1, 0.25, 0]
    for line in (picture[100], picture[:, 100]):
        assert line[[78, 79, 80, 119, 120, 121]] == pytest.approx(profile)
    assert picture[79, 79] == pytest.approx(1 / 16)


def test_a_triangle_takes_its_own_part_of_the_square():
    """Triangles round a core would show the wrong part of the motif they were cut from."""
    top = ((0.0, 1.0), (1.0, 1.0), (0.5, 0.5))  # the quarter of a square that two cuts along its diagonals leave
    placed = Placed(((-40, 20), (40, 20), (0, -20)), top, "q")
    picture = shown([placed], {"q": quartered()})
    assert at(picture, -8, 10) == near(RED)
    assert at(picture, 8, 10) == near(GREEN)
    assert at(picture, 0, -25) == pytest.approx([grey(50)] * 3, abs=1e-6)
    blue = light(BLUE)
    assert np.abs(picture - blue).max(axis=2).min() > 0.1  # the lower half of the square shows nowhere


def test_a_part_may_be_turned_where_it_lies():
    """A triangle cut from one side of a square and set against another side would keep its old direction."""
    top = ((0.0, 1.0), (1.0, 1.0), (0.5, 0.5))
    placed = Placed(((20, 40), (20, -40), (-20, 0)), top, "q")  # its long edge now at the right, its left end on top
    picture = shown([placed], {"q": quartered()})
    assert at(picture, 10, 8) == near(RED)
    assert at(picture, 10, -8) == near(GREEN)


def test_the_middle_of_a_larger_piece_becomes_the_layer():
    """A small layer would show the whole motif of a large piece, far too small."""
    picture = shown([Placed(square_corners(80), swatch_id="q", share=0.5)], {"q": framed()})
    assert at(picture, 38, 38) == near(WHITE)
    assert at(shown([Placed(square_corners(80), swatch_id="q")], {"q": framed()}), 38, 38) == near(RED)


def framed():
    """White, with a red frame a fifth of it wide."""
    crop = np.full((100, 100, 3), RED, np.uint8)
    crop[20:80, 20:80] = WHITE
    return crop


@pytest.mark.parametrize("degrees", [-40, -12, 0, 7, 33])
def test_a_piece_laid_askew_fills_its_square(degrees):
    """The board would show at the corners of a layer, or the motif lie askew."""
    picture = shown([Placed(square_corners(80), swatch_id="q")], {"q": turned(quartered(200), degrees)})
    for x, y, colour in ((-37, 37, RED), (37, 37, GREEN), (-37, -37, BLUE), (37, -37, WHITE)):
        assert at(picture, x, y) == near(colour)
    board = light((255, 0, 255))
    assert np.abs(picture - board).max(axis=2).min() > 0.3


@pytest.mark.parametrize("shape", ["triangle", "strip"])
def test_of_a_piece_that_is_no_square_the_largest_square_is_shown(shape):
    """The board round a triangle would be shown as if it were painted, or a strip be squeezed."""
    rows, cols = np.mgrid[:160, :160]
    inside = abs(cols - 79.5) < rows / 2 if shape == "triangle" else abs(rows - 79.5) < 40
    crop = np.dstack([np.where(inside[..., None], WHITE, (255, 0, 255)), np.where(inside, 255, 0)]).astype(np.uint8)
    square = piece_squares({"p": crop}, side=400)["p"]
    assert square.reshape(-1, 3).min(axis=0) == near(WHITE)
    assert square.shape[0] == pytest.approx(80, abs=2)  # half the height of the triangle, all of the strip's


def test_a_piece_without_a_picture_is_flat_grey():
    """A table without photographs could not be planned with."""
    picture = shown([Placed(square_corners(40), lightness=72.0)])
    assert at(picture, 0, 0) == pytest.approx([grey(72)] * 3, rel=1e-5)


def test_the_bare_rim_is_drawn_along_the_cut_square_only():
    """The rim would be missing, as wide as chance has it, or follow cuts that leave none."""
    rim = {"lightness": 20.0, "rim": 90.0, "rim_share": 0.1}
    picture = shown([Placed(square_corners(80), **rim)])
    column = picture[:, 100, 0]
    assert (column > 0.5).sum() == pytest.approx(2 * 8 * 2, abs=1)  # two bands of 8 mm, two pixels a mm
    assert at(picture, 0, 34) == pytest.approx([grey(90)] * 3, rel=1e-5)
    top = ((0.0, 1.0), (1.0, 1.0), (0.5, 0.5))
    picture = shown([Placed(((-40, 20), (40, 20), (0, -20)), top, **rim)])
    assert at(picture, 0, 15) == pytest.approx([grey(90)] * 3, rel=1e-5)  # the edge of the square
    assert at(picture, 0, -15) == pytest.approx([grey(20)] * 3, rel=1e-5)  # where it was cut in four


def test_the_middle_of_the_picture_can_lie_anywhere():
    """The parts of a layout could not be looked at one by one."""
    placed = [Placed(square_corners(10, centre=(500, -300)), lightness=90.0)]
    assert at(shown(placed, centre=(500, -300)), 0, 0) == pytest.approx([grey(90)] * 3, rel=1e-5)
    assert shown(placed) == pytest.approx(grey(50), rel=1e-5)


# How much light.


def test_a_stack_has_the_light_of_its_parts():
    """A mock-up would look lighter or darker than the cloth. Edges are within an eighth of a pixel of their place."""
    sides, levels = (92.1, 66.7, 47.6), (30.0, 81.0, 55.0)
    stack = Stack(tuple(Surface(name, level) for name, level in zip("abc", levels, strict=True)), sides=sides)
    picture = shown(stack_placed(stack), background=92.0)
    areas = np.array([100.0**2, *(side**2 for side in sides), 0])
    wanted = -np.diff(areas) @ [grey(level) for level in (92.0, *levels)] / 100**2
    most = sum(4 * side * 0.125 / 2 for side in sides) / 100**2  # all edges an eighth out, steps of at most 1
    assert picture[..., 1].mean() == pytest.approx(wanted, abs=most)


@pytest.mark.parametrize("side", [40.0, 71.3])
@pytest.mark.parametrize("angle", [0, 23])
def test_a_crop_keeps_its_mean_light(side, angle):
    """Reduced or turned in encoded colour, a fine pattern would get darker: L* 76 would be shown as 54."""
    crop = np.zeros((240, 240, 3), np.uint8)
    crop[(np.indices((240, 240)).sum(axis=0) // 2) % 2 == 0] = 255
    corners = tuple(map(tuple, turn(square_corners(side), angle)))
    picture = shown([Placed(corners, swatch_id="q")], {"q": crop}, background=0.0)
    # The checks are half light. Edges: an eighth of a pixel all round; and at most 1 % for whole checks at them.
    assert picture.sum(axis=(0, 1))[1] / 4 / side**2 == pytest.approx(0.5, abs=0.5 * 4 * 0.0625 / side + 0.005)


def test_edges_have_no_dark_fringe():
    """Blended in encoded colour, or with the black behind a crop's alpha, each edge would be drawn round in grey."""
    crop = turned(np.full((150, 150, 3), encoded(np.float32([grey(80)]))[0], np.uint8), 20, board=(0, 0, 0))
    placed = [Placed(((-30, 35), (33, 28), (25, -36), (-37, -30)), ((0, 1), (1, 1), (1, 0), (0, 0)), "p")]
    picture = shown(placed, {"p": crop}, background=80.0)
    assert picture == pytest.approx(grey(80), abs=0.005)  # half a code of the crop is 0.003


def test_pieces_that_meet_let_nothing_through():
    """Every cut would show as a fine line of what lies behind."""
    corners = turn(square_corners(70), 17)
    middle = corners.mean(axis=0)
    quarters = [
        Placed((tuple(a), tuple(b), tuple(middle)), ((0, 1), (1, 1), (0.5, 0.5)), lightness=95.0)
        for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)
    ]
    picture = shown(quarters, background=0.0)
    rows, cols = np.mgrid[:200, :200]
    x, y = (cols + 0.5) / 2 - 50, 50 - (rows + 0.5) / 2
    inside = abs(turn(np.stack([x, y], axis=-1), -17)).max(axis=-1) < 34
    assert picture[inside] == pytest.approx(grey(95), rel=1e-5)


@pytest.mark.parametrize("shift", [0.0, 0.1, 1 / 3])
@pytest.mark.parametrize("pixels_per_mm", [1.0, 2.0, 3.0])
@pytest.mark.parametrize("side", [40, 60])
def test_a_long_cut_against_two_short_ones_lets_nothing_through(side, pixels_per_mm, shift):
    """A place on the cut itself would belong to neither side, as the two round otherwise: dots along the diagonal."""
    low, high, left, right = -side / 2, side / 2, -side / 2 - shift, side / 2 - shift
    part = 1 / 3 if shift == 0.1 else 0.3
    middle = left + part * side, low + part * side
    placed = [
        Placed(((left, low), (right, high), (left, high)), ((0, 0), (1, 1), (0, 1)), lightness=95.0),
        Placed(((left, low), middle, (middle[0], low)), ((0, 0), (1, 1), (1, 0)), lightness=95.0),
        Placed((middle, (right, high), (right, low), (middle[0], low)), lightness=95.0),
    ]
    picture = shown(placed, background=0.0, size=side - 4.0, pixels_per_mm=pixels_per_mm, centre=(-shift, 0))
    assert picture == pytest.approx(grey(95), rel=1e-5)


@pytest.mark.parametrize("pixels_per_mm", [0.5, 2.0, 4.0])
def test_edges_through_the_places_asked_let_nothing_through(pixels_per_mm):
    """Cuts at 45 degrees or along rows of pixels, the commonest of all, might belong to neither side."""
    halves = [Placed(((-40, 40), (40, 40), (40, -40)), ((0, 1), (1, 1), (1, 0)), lightness=95.0),
              Placed(((40, -40), (-40, -40), (-40, 40)), ((1, 0), (0, 0), (0, 1)), lightness=95.0)]
    strips = [Placed(((-40, y + 10), (40, y + 10), (40, y), (-40, y)), lightness=95.0) for y in range(-40, 40, 10)]
    for placed in (halves, strips):
        picture = shown(placed, background=0.0, pixels_per_mm=pixels_per_mm)
        edge = math.ceil(11 * pixels_per_mm)
        assert picture[edge:-edge, edge:-edge] == pytest.approx(grey(95), rel=1e-5)


def test_nothing_of_a_layer_shows_round_one_that_covers_it():
    """Layers cut together along one line would be drawn round with what lies under them."""
    corners = ((-30, 35), (33, 28), (25, -36))
    source = ((0, 1), (1, 1), (1, 0))
    both = shown([Placed(corners, source, lightness=0.0), Placed(corners, source, lightness=60.0)], background=95.0)
    assert both == pytest.approx(shown([Placed(corners, source, lightness=60.0)], background=95.0), abs=1e-6)


def test_corners_may_run_either_way_round_and_start_anywhere():
    """A block described from another corner would vanish."""
    corners, source = ((-30, 35), (33, 28), (25, -36)), ((0.0, 1.0), (1.0, 1.0), (1.0, 0.0))
    first = shown([Placed(corners, source, "q")], {"q": quartered()})
    for order in ((1, 2, 0), (2, 1, 0)):
        again = Placed(tuple(corners[i] for i in order), tuple(source[i] for i in order), "q")
        assert shown([again], {"q": quartered()}) == pytest.approx(first, abs=0.02)  # corners rounded to 32 bits


def test_what_lies_outside_the_picture_is_left_out():
    """A detail of a layout would fail, or wrap round to the other side."""
    beside = Placed(square_corners(9, centre=(90, 0)), lightness=9.0)
    picture = shown([Placed(square_corners(400), lightness=30.0), beside])
    assert picture == pytest.approx(grey(30), rel=1e-5)


def test_a_picture_is_made_of_light_alone_and_leaves_its_crops_as_they_were():
    """Values outside 0-1 would be drawn as wrong colours; crops are used again."""
    crop = turned(quartered(), 11)
    before = crop.copy()
    picture = shown([Placed(square_corners(70), swatch_id="q")], {"q": crop})
    assert picture.dtype == np.float32
    assert picture.min() >= 0 and picture.max() <= 1 + 1e-6
    assert (crop == before).all()


# Stacks.


def test_layers_lie_centred_in_their_sizes_with_their_rims():
    """A layer would be drawn in the wrong size, or the rim in the wrong width."""
    stack = Stack((Surface("a", 30, rim=90), Surface("b", 60)), sides=(90, 60), rim=1.5)
    bottom, top = stack_placed(stack)
    assert (bottom.swatch_id, bottom.corners, bottom.rim, bottom.rim_share) == ("a", square_corners(90), 90, 1.5 / 90)
    assert top.corners == square_corners(60)
    assert math.isnan(top.rim)


def test_layers_of_undecided_size_get_the_common_ones():
    """A stack without sizes could not be shown."""
    placed = stack_placed(Stack((Surface("a", 30), Surface("b", 60), Surface("c", 80))))
    assert [2 * piece.corners[1][0] for piece in placed] == pytest.approx(default_sides(3))


def test_a_layer_is_cut_from_the_middle_of_a_piece_known_to_be_larger():
    """The picture would show what is cut away."""
    placed = stack_placed(Stack((Surface("a", 30, side=120), Surface("b", 60, side=60)), sides=(90, 60)))
    assert [piece.share for piece in placed] == [0.75, 1.0]


def test_squares_of_pieces_have_their_light():
    """What is worked out from a square would not fit what is shown of it."""
    square = piece_squares({"q": turned(quartered(200), 25)}, side=64)["q"]
    assert square.shape == (64, 64, 3)
    wanted = np.mean([light(colour) for colour in (RED, GREEN, BLUE, WHITE)], axis=0)
    assert square.mean(axis=(0, 1)) == pytest.approx(wanted, abs=0.01)  # a row of pixels is 1/64 of a colour
    assert luminance(square).shape == (64, 64)


# What cannot be.

WHOLE = Placed(square_corners(10), lightness=50.0)


@pytest.mark.parametrize(
    ("placed", "message"),
    [
        (Placed(SQUARE[:2], SQUARE[:2], "a", 50.0), r"three or more corners .*'a' has 2 and 2\. Pass a pair"),
        (Placed(SQUARE, SQUARE[:3], "a", 50.0), r"as many places in its square; 'a' has 4 and 3"),
        (Placed(((0, 0), (1, 0), (2, 0)), SQUARE[:3], "a", 50.0), r"convex and have an area.*Cut it into convex parts"),
        (Placed(((0, 0), (4, 0), (1, 1), (0, 4)), SQUARE, "a", 50.0), r"be convex.*Cut it into convex parts"),
        (Placed(((0, 0), (math.nan, 0), (1, 1)), SQUARE[:3], "a", 50.0), r"have known corners"),
        (Placed(SQUARE, SQUARE, "a"), r"must have a lightness of L\* 0-100 to be drawn; 'a' has nan\. Measure it"),
        (Placed(SQUARE, SQUARE, "a", 50.0, share=1.5), r"share above 0 and up to 1.*has 1\.5 and 0\. Divide lengths"),
        (Placed(SQUARE, SQUARE, "a", 50.0, rim_share=0.7), r"rim_share of 0 to 0\.5; 'a' has 1 and 0\.7"),
    ],
)
def test_a_piece_that_cannot_lie_so_is_refused(placed, message):
    """It would be drawn as something else, or not at all, without a word."""
    with pytest.raises(InvalidInputError, match=message):
        shown([placed])


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"size_mm": (0, 10), "pixels_per_mm": 2}, r"size and a scale above 0; got 0 by 10 mm at 2 pixels per mm"),
        ({"size_mm": (10, 10), "pixels_per_mm": math.nan}, r"got 10 by 10 mm at nan pixels per mm"),
        ({"size_mm": (9000, 9000), "pixels_per_mm": 10}, r"at most 50 million pixels; .* has 8100\. Pass fewer"),
        ({"background": 130}, r"background must be L\* from 0 to 100, or red, green and blue .*; got 130"),
        ({"background": (0.1, 0.2)}, r"got \(0\.1, 0\.2\)\. Pass one of these"),
    ],
)
def test_a_picture_that_cannot_be_is_refused(options, message):
    """A slip of units would fill the memory, or an unknown background be drawn black."""
    with pytest.raises(InvalidInputError, match=message):
        render([WHOLE], {}, **({"background": 50, "size_mm": (20, 20), "pixels_per_mm": 2} | options))


def test_a_bad_crop_is_refused_by_its_name():
    """Nobody would know which of forty pieces to look at."""
    with pytest.raises(InvalidInputError, match=r"A crop must be 8-bit pixels.*'q'"):
        shown([Placed(square_corners(10), swatch_id="q")], {"q": np.zeros((4, 4))})


def test_a_background_may_have_a_colour():
    """Coloured cloth would be shown as grey."""
    assert at(shown([], background=(0.5, 0.2, 0.1)), 0, 0) == pytest.approx([0.5, 0.2, 0.1])
