"""Finding: every piece on the board with its cut edge, nothing else, on any board and whichever way it is turned."""

import numpy as np
import pytest
from made_scenes import FRAME, box, drawn, looked_at, matched, outlines_of, photo_of, plain_scene, scene, shared_area
from numpy.testing import assert_allclose

from contrastkit.camera.backing import find_backing, light_over, relative_positions
from contrastkit.camera.find import find_things
from contrastkit.camera.pipeline import find
from contrastkit.camera.polygons import turn
from contrastkit.camera.synthetic import BACKINGS, SHAPES
from contrastkit.light.lightness import SRGB

ROOTS = np.cbrt(SRGB.luts(8))
WELL_FOUND = 0.8  # area shared over area covered: the measure the project sets itself
FALL = dict(zip(("rows", "cols"), np.mgrid[: FRAME[0], : FRAME[1]] / np.array(FRAME)[:, None, None], strict=True))
# A quarter less light at the right than at the left, and a third less in the corners.
UNEVEN = (1.1 - 0.25 * FALL["cols"]) * (1 - 0.66 * ((FALL["rows"] - 0.5) ** 2 + (FALL["cols"] - 0.5) ** 2))


def found_on(codes):
    """Outlines of what is found on a picture, at the size it is given."""
    return [thing.outline for thing in find_things(codes, ROOTS).things]


def pieces_of(made):
    """Outlines found on a scene but for its reference, and the true ones."""
    found = [thing.outline for thing in looked_at(made)[1].things]
    return [outline for outline in found if shared_area(outline, made.reference_outline) < 0.3], outlines_of(made.truth)


# --- rendered boards ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("backing", BACKINGS)
def test_every_piece_on_a_plain_board_is_found_and_nothing_else(backing, seed):
    """Would be broken: the first thing the tool is for."""
    found, true = pieces_of(plain_scene(backing, seed))
    which, shares = matched(true, found)
    assert min(shares) >= WELL_FOUND
    assert sorted(which) == list(range(len(found)))


@pytest.mark.parametrize("backing", BACKINGS)
def test_every_cut_shape_is_found(backing):
    """Would be broken: circles, hexagons, diamonds and strips, which are not cut as often as squares."""
    found, true = pieces_of(plain_scene(backing, 4, shapes=SHAPES))
    which, shares = matched(true, found)
    assert min(shares) >= WELL_FOUND
    assert sorted(which) == list(range(len(found)))


@pytest.mark.parametrize("backing", BACKINGS)
def test_corners_lie_within_a_pixel_or_so_of_the_cut_edge(backing):
    """
    Would be broken: the outline the table promises, and with it the share of board in every piece.

    Not all of them: a light piece's side in shadow is sometimes put at the shadow's outer edge, some 5 pixels out.
    """
    away = []
    for seed in (1, 2):
        found, true = pieces_of(plain_scene(backing, seed))
        for corners, index in zip(true, matched(true, found)[0], strict=True):
            away += np.hypot(*(corners[:, None] - found[index][None]).transpose(2, 0, 1)).min(axis=1).tolist()
    assert np.median(away) < 1.0
    assert np.quantile(away, 0.85) < 1.5


def test_most_pieces_are_found_where_cotton_hardly_differs_from_the_board():
    """
    Would be broken: low contrast. A third of these grounds lie 2 to 6 L* from their board, among shadows and gradients.

    Of 288 pieces on 24 scenes like these 13 were missed and 6 invented when this was written; of these 72, 2 and 1.
    """
    missed = extra = 0
    for backing in BACKINGS:
        for seed in (3, 9):
            found, true = pieces_of(scene(backing=backing, seed=seed, low_contrast=0.35))
            which, shares = matched(true, found)
            missed += sum(share < WELL_FOUND for share in shares)
            extra += len(set(range(len(found))) - set(which))
    assert missed <= 6
    assert extra <= 3


@pytest.mark.parametrize("backing", ["white", "black"])
def test_a_slightly_soft_photograph_has_its_edges_too(backing):
    """Would be broken: any lens but the sharpest. An edge 5 pixels out puts 10 % of board into a piece."""
    found, true = pieces_of(plain_scene(backing, blur=1.0))
    assert np.quantile(matched(true, found)[1], 0.2) > 0.95


TURNS = {
    "a quarter": lambda picture: np.rot90(picture),
    "half": lambda picture: np.rot90(picture, 2),
    "three quarters": lambda picture: np.rot90(picture, 3),
    "mirrored": lambda picture: picture[:, ::-1],
    "upside down": lambda picture: picture[::-1],
}


@pytest.mark.parametrize("name", TURNS)
def test_a_turned_or_mirrored_photograph_shows_the_same_pieces(name):
    """Would be broken: a preference for one side, one corner or one direction."""
    made = plain_scene("white", 1)
    straight = [thing.outline for thing in looked_at(made)[1].things]
    places = np.stack(np.meshgrid(*map(np.arange, FRAME), indexing="ij"), axis=-1)
    origin = TURNS[name](places)  # where each pixel of the turned picture came from
    turned = found_on(np.ascontiguousarray(TURNS[name](made.codes)))
    limits = np.array(origin.shape[:2]) - 1
    back = [origin[tuple(np.clip(outline.round().astype(int), 0, limits).T)] for outline in turned]
    which, shares = matched(straight, back)
    assert sorted(which) == list(range(len(back)))
    # The picture is the same to the pixel but the small copy, its cells and its noise are not.
    assert min(shares) > 0.95


# --- drawn boards ---------------------------------------------------------------------------------------------------

RED, BLUE, PALE, DARK = (0.3, 0.1, 0.08), (0.08, 0.12, 0.3), (0.75, 0.7, 0.6), (0.03, 0.03, 0.035)


@pytest.mark.parametrize(("board", "pieces"), [(0.85, (RED, BLUE)), (0.3, (PALE, DARK)), (0.04, (PALE, RED))])
def test_uneven_light_neither_hides_a_piece_nor_invents_one(board, pieces):
    """Would be broken: vignetting taken for dark things in the corners, or pieces lost in it."""
    true = [box((300, 350), 220, degrees=20), box((1150, 1650), 260, 180, 50)]
    codes = drawn(list(zip(true, pieces, strict=True)), size=FRAME, board=board, light=UNEVEN)
    found = found_on(codes)
    which, shares = matched(true, found)
    assert sorted(which) == [0, 1]
    assert len(found) == 2
    assert min(shares) > 0.97


@pytest.mark.parametrize(("board", "ground"), [(0.85, 0.74), (0.3, 0.36), (0.05, 0.075)])
def test_the_rim_of_bare_ground_is_part_of_the_piece(board, ground):
    """Would be broken: the rim, 5 to 6 L* from the board, left out for the sake of the print's stronger edge."""
    true, print_on_it = box((700, 900), 300, degrees=12), box((700, 900), 276, degrees=12)
    (found,) = found_on(drawn([(true, ground), (print_on_it, RED)], size=FRAME, board=board))
    assert shared_area(true, found) > 0.98  # without the rim 0.85


def test_a_soft_shadow_is_no_part_of_the_piece_nor_a_piece():
    """Would be broken: pieces that read too dark on one side, and dark ghosts beside them."""
    import cv2

    true = box((700, 900), 300, degrees=12)
    shadow = drawn([(true + (14, 14), 0.0)], size=FRAME, board=1.0, blur=0, noise=0)[..., 0] / 255
    light = 1 - 0.45 * cv2.GaussianBlur(1 - shadow, (0, 0), 9)
    codes = drawn([(true, RED)], size=FRAME, board=0.8, light=light)
    (found,) = found_on(codes)
    assert shared_area(true, found) > 0.98  # with its shadow 0.9


@pytest.mark.parametrize("board", [0.85, 0.3, 0.05])
@pytest.mark.parametrize("second", ["alike", "other"])
def test_two_pieces_laid_near_each_other_stay_two(board, second):
    """Would be broken: neighbours measured as one. They lie 1.5 % of the frame apart, half a finger's breadth."""
    colour = PALE if board < 0.5 else RED
    true = [box((750, 800), 300), box((750, 1130), 300)]
    found = found_on(drawn([(true[0], colour), (true[1], colour if second == "alike" else (0.2, 0.3, 0.15))],
                           size=FRAME, board=board))
    which, shares = matched(true, found)
    assert len(found) == 2
    assert sorted(which) == [0, 1]
    assert min(shares) > 0.97


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("board", [0.85, 0.3, 0.04])
def test_an_empty_board_has_nothing_on_it(board, bits):
    """Would be broken: pieces made of grain, of vignetting, of the frame."""
    photo = photo_of(drawn([], size=FRAME, board=board, light=UNEVEN, bits=bits))
    finding = find(photo)
    assert finding.things == ()
    assert finding.backing.share > 0.9


def test_noise_alone_shows_no_edge():
    """Would be broken: cut edges seen in noise. There is no board either, so one thing of the whole frame is no lie."""
    rng = np.random.default_rng(5)
    for size in ((600, 800), (300, 200)):
        things = find_things(rng.integers(0, 256, (*size, 3), dtype=np.uint8), ROOTS).things
        assert len(things) <= 1
        assert all(thing.confirmed == 0 for thing in things)


@pytest.mark.parametrize("size", [(64, 64), (64, 2000), (300, 70)])
def test_a_small_or_narrow_picture_is_looked_at_like_any_other(size):
    """Would be broken: cells and coarse maps of no pixels, which OpenCV refuses in its own words."""
    rng = np.random.default_rng(2)
    for codes in (np.full((*size, 3), 200, np.uint8), rng.integers(0, 256, (*size, 3), dtype=np.uint8)):
        assert all(np.isfinite(outline).all() for outline in found_on(codes))


# --- what is said of each thing -------------------------------------------------------------------------------------


def one_thing(outline, colour=RED, *, board=0.85):
    (thing,) = find_things(drawn([(outline, colour)], size=FRAME, board=board), ROOTS).things
    return thing


def test_a_thing_knows_its_area_its_length_and_how_well_its_edge_shows():
    """Would be broken: what tells a ruler from a piece, and what sigma is made of."""
    thing = one_thing(box((700, 900), 150, 600, 25))
    assert thing.area == pytest.approx(150 * 600, rel=0.01)
    assert thing.box_area == pytest.approx(150 * 600, rel=0.01)
    assert thing.elongation == pytest.approx(4, rel=0.01)
    assert thing.solidity == pytest.approx(1, abs=0.03)  # the small picture rounds its corners
    assert thing.confirmed == pytest.approx(1)
    assert thing.strong > 0.9
    assert not thing.at_frame
    assert turn(thing.outline) > 0


def test_a_triangle_fills_half_its_box():
    """Would be broken: triangles taken for cards."""
    thing = one_thing(np.array([[500.0, 600], [800, 900], [800, 600]]))
    assert len(thing.outline) == 3
    assert thing.area / thing.box_area == pytest.approx(0.5, abs=0.02)


@pytest.mark.parametrize("side", ["top", "right", "bottom", "left"])
def test_a_piece_cut_by_the_frame_says_so(side):
    """Would be broken: half a piece measured as if it were the whole."""
    middle = {"top": (60, 900), "right": (700, 1960), "bottom": (1450, 900), "left": (700, 50)}[side]
    assert one_thing(box(middle, 260)).at_frame


def test_outlines_run_clockwise_and_stay_in_the_picture():
    """Would be broken: the promise of the outline column."""
    for backing in BACKINGS:
        for outline in (thing.outline for thing in looked_at(plain_scene(backing))[1].things):
            assert turn(outline) > 0
            assert (outline >= -0.5).all()
            assert (outline <= np.array(FRAME) - 0.5).all()


def test_sixteen_bits_show_the_same_pieces_as_eight():
    """Would be broken: scans and exports of 16 bits, looked at through the wrong table."""
    true = [(box((400, 500), 250, degrees=10), RED), (box((1000, 1200), 300, degrees=30), DARK)]
    eight, sixteen = (
        [thing.outline for thing in find(photo_of(drawn(true, size=FRAME, bits=bits))).things] for bits in (8, 16))
    assert len(eight) == len(sixteen) == 2
    assert min(matched(eight, sixteen)[1]) > 0.995  # what is left is rounding to 8 bits, a code of a noise of two


# --- the board ------------------------------------------------------------------------------------------------------


def roots_of(codes):
    """Cube roots of linear light."""
    return np.cbrt(SRGB.luts(8)[0][codes]).astype(np.float32)


@pytest.mark.parametrize("board", [0.85, 0.3, 0.04])
def test_the_boards_own_colour_is_known_under_the_pieces(board):
    """Would be broken: the level that everything is compared with, where the light is uneven and pieces lie on it."""
    size = (750, 1000)
    light = UNEVEN[::2, ::2]
    things = [(box((row, col), 160, degrees=row), PALE if board < 0.5 else RED)
              for row in (150, 380, 610) for col in (150, 380, 610, 840)]
    backing = find_backing(roots_of(drawn(things, size=size, board=board, light=light)))
    rows, cols = relative_positions(size)
    surface = backing.surface.at(rows[:, None], cols[None, :])[..., 1]
    assert_allclose(surface, np.cbrt(board * light), rtol=0.01)  # cells fitted: 1 % of a cube root is 1 L*
    on_pieces = 12 * 160**2 / (size[0] * size[1])
    assert backing.share == pytest.approx(1 - on_pieces, abs=0.15)  # cells that a piece only touches count as covered
    assert backing.share < 1 - on_pieces


def test_the_board_is_what_shows_in_most_places_even_where_the_frame_is_something_else():
    """Would be broken: a board that does not reach the frame, with the table all round it."""
    size = (750, 1000)
    codes = drawn([(box((375, 500), 670, 920), 0.8), (box((300, 400), 150), RED)], size=size, board=0.1)
    backing = find_backing(roots_of(codes))
    middle = backing.surface.at(np.array([0.0]), np.array([0.0]))[0]
    assert_allclose(middle, np.cbrt(0.8), rtol=0.01)


def covered_by(things, size):
    covered = np.zeros(size, bool)
    for outline, _ in things:
        low, high = outline.min(axis=0).astype(int), outline.max(axis=0).astype(int) + 2
        covered[low[0] : high[0], low[1] : high[1]] = True
    return covered


def test_the_light_on_the_board_is_read_between_the_pieces():
    """Would be broken: the evening out that halves the error of every piece away from the card."""
    size = (750, 1000)
    light = UNEVEN[::2, ::2]
    things = [(box((row, col), 170), RED) for row in (150, 380, 610) for col in (150, 380, 610, 840)]
    roots = roots_of(drawn(things, size=size, board=0.8, light=light))
    surface = light_over(find_backing(roots), covered_by(things, size))
    rows, cols = relative_positions(size)
    ratio = np.exp(surface.at(rows[:, None], cols[None, :])[..., 0]) / light
    # Up to a constant; half a per cent of light is 0.2 L* at most.
    assert_allclose(ratio / ratio.mean(), 1, atol=0.005)


def test_the_light_is_judged_through_the_tone_curve_where_there_is_one():
    """Would be broken: a phone's curve, which makes a tenth less light look like a fifth less."""
    size = (750, 1000)
    light = UNEVEN[::2, ::2]
    roots = roots_of(drawn([], size=size, board=0.8, light=light))
    squared = light_over(find_backing(roots), np.zeros(size, bool), lambda linear: linear**2)
    rows, cols = relative_positions(size)
    ratio = np.exp(squared.at(rows[:, None], cols[None, :])[..., 0]) / light**2
    assert_allclose(ratio / ratio.mean(), 1, atol=0.012)  # squared, the error doubles


def test_where_next_to_no_board_shows_the_light_is_not_judged():
    """Would be broken: unevenness made up out of the pieces themselves."""
    size = (750, 1000)
    roots = roots_of(drawn([], size=size, board=0.8, light=UNEVEN[::2, ::2]))
    covered = np.ones(size, bool)
    covered[:100, :100] = False
    assert light_over(find_backing(roots), covered) is None
