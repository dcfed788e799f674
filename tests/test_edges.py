"""Cut edges: every side of a guess moved to where the cloth ends, not to its shadow, its print or its neighbour."""

import cv2
import numpy as np
import pytest
from made_scenes import box, drawn
from numpy.testing import assert_allclose

from contrastkit.camera.edges import refine
from contrastkit.camera.polygons import ROUND_SIDES, turn
from contrastkit.light.lightness import SRGB

ROOTS = np.cbrt(SRGB.luts(8))
MIDDLE = (300.3, 400.6)
SIDE = 180
RATIO = 4.0  # pixels per pixel of the map of things


def refined(codes, *guesses, labels=None, owners=None, unseen=0.0):
    """What `refine` makes of guesses on a picture, by default each free to look all round."""
    labels = np.zeros((codes.shape[0] // 4, codes.shape[1] // 4), np.int32) if labels is None else labels
    owners = np.array([1] * len(guesses) if owners is None else owners, np.int32)
    return refine(codes, ROOTS, list(guesses), labels, owners, np.full(len(guesses), unseen), RATIO)


def labelled(*outlines):
    """The map of things: 1, 2, ... inside each outline."""
    labels = np.zeros((150, 200), np.int32)
    for number, outline in enumerate(outlines, start=1):
        cv2.fillPoly(labels, [np.round((outline[:, ::-1] + 0.5) / RATIO - 0.5).astype(np.int32)], number)
    return labels


def piece(side=SIDE, degrees=7.0):
    """A square in the middle, whole and half pixels in none of its corners."""
    return box(MIDDLE, side, degrees=degrees)


def farthest(found, true):
    """How far the corner that fares worst lies from its place, pixels."""
    assert found.shape == true.shape
    return float(np.hypot(*(found - true).T).max())


@pytest.mark.parametrize(("board", "cloth"), [(0.8, 0.3), (0.3, 0.05), (0.05, 0.4), (0.85, 0.8), (0.3, 0.32)])
@pytest.mark.parametrize("off", [-8, 0, 8])
@pytest.mark.parametrize("degrees", [0, 7, 33])
def test_a_guess_off_by_some_pixels_comes_home_to_the_cut_edge(board, cloth, off, degrees):
    """
    Would be broken: outlines that take in board or lose the rim. The last two boards differ from the cloth by 2.2 L*.

    The outline lies where light changes fastest on the eye's scale. Between a dark board and a light cloth that is half
    a pixel out on the dark side of a lens blur of 0.7, so a corner is out by 0.8; noise adds to faint edges.
    """
    true = piece(degrees=degrees)
    ((found, seen),) = refined(drawn([(true, cloth)], board=board), piece(SIDE + 2 * off, degrees))
    assert farthest(found, true) < 1.0
    assert seen == pytest.approx(1)


@pytest.mark.parametrize("lean", [-2.0, 2.0])
def test_a_guess_that_leans_is_set_straight(lean):
    """Would be broken: perspective and curled corners, where no side is parallel to its guess."""
    true = piece()
    ((found, seen),) = refined(drawn([(true, 0.3)]), piece(degrees=7 + lean))
    assert farthest(found, true) < 0.5  # the slope is known to a tenth of a pixel over a side
    assert seen == pytest.approx(1)


def shadowed(true, cloth, *, softness, depth=0.5, shift=(9, 9)):
    """A piece that casts a shadow on a white board: a blurred copy of itself, moved."""
    rows, cols = np.mgrid[:600, :800]
    mask = np.zeros((600, 800), np.uint8)
    cv2.fillPoly(mask, [np.round((true + shift)[:, ::-1] * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    fall = cv2.GaussianBlur(mask.astype(np.float64), (0, 0), softness)
    inside = np.zeros((600, 800), np.uint8)
    cv2.fillPoly(inside, [np.round(true[:, ::-1] * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    light = np.where(inside > 0, 1.0, 1 - depth * fall)
    return drawn([(true, cloth)], light=light)


@pytest.mark.parametrize("softness", [3, 5, 8])
def test_the_outline_stops_at_the_cloth_not_at_its_shadow(softness):
    """Would be broken: shadow measured as part of the piece, which comes out too dark."""
    true = piece()
    ((found, _),) = refined(shadowed(true, 0.3, softness=softness), piece(SIDE + 16))
    # The shadow's end is some 9 + 5 pixels out; the cloth's edge moves a little for standing on a slope.
    assert farthest(found, true) < 1.5


def test_the_rim_of_bare_ground_stays_in_although_the_print_has_the_stronger_edge():
    """Would be broken: the rim, 4 L* from the board, cut away in favour of the print's edge, 60 L* strong."""
    true = piece()
    codes = drawn([(true, 0.7), (piece(SIDE - 20), 0.05)])
    for guess in (piece(SIDE + 6), piece(SIDE - 12)):
        ((found, seen),) = refined(codes, guess)
        assert farthest(found, true) < 1.0
        assert seen == pytest.approx(1)


def test_where_no_edge_shows_the_side_goes_where_it_was_told_and_says_so():
    """Would be broken: an invented edge, or a piece like the board that claims to be well seen."""
    guess = piece()
    ((found, seen),) = refined(drawn([]), guess, unseen=3.0)
    assert seen == 0
    assert farthest(found, piece(SIDE + 6)) < 1e-6


def test_a_side_like_the_board_is_put_where_it_was_told_while_the_others_are_seen():
    """Would be broken: one lost side that takes the whole piece, or its three good sides, with it."""
    guess = piece(degrees=0)
    shown = guess + [[45, 0], [45, 0], [0, 0], [0, 0]]  # its top quarter is as light as the board
    ((found, seen),) = refined(drawn([(shown, 0.3)]), guess, unseen=3.0)
    assert_allclose(found[2:], shown[2:], atol=1.0)
    assert_allclose(found[:2, 0], guess[0, 0] - 3, atol=0.1)
    assert_allclose(found[:2, 1], shown[:2, 1], atol=1.0)
    assert seen == pytest.approx(0.75)  # three sides of a square


def test_a_neighbours_edge_is_not_taken_for_ones_own():
    """Would be broken: two pieces laid close, one of them swallowing the gap and the other's rim."""
    left, right = box((300, 310), 160), box((300, 478), 160)  # 8 pixels apart
    codes = drawn([(left, 0.3), (right, 0.05)])
    found = refined(codes, box((300, 310), 166), box((300, 478), 166), labels=labelled(left, right), owners=[1, 2])
    # The map is known to 4 pixels and its edge kept clear by 2, which leaves 1 or 2 pixels of board to judge by.
    assert farthest(found[0][0], left) < 2.0
    assert farthest(found[1][0], right) < 2.0


def test_a_triangle_keeps_three_corners_and_a_sharp_one_its_tip():
    """Would be broken: half-square triangles, the surround of every block."""
    true = np.array([[200.4, 300.2], [380.7, 480.6], [380.7, 300.2]])
    grown = (true - true.mean(axis=0)) * 1.05 + true.mean(axis=0)
    ((found, seen),) = refined(drawn([(true, 0.3)]), grown)
    assert farthest(found, true) < 1.0  # a tip of 45 degrees lies 2.6 times as far out as its sides
    assert seen == pytest.approx(1)


@pytest.mark.parametrize("off", [-4, 4])
def test_a_round_piece_is_moved_to_its_edge_all_round(off):
    """Would be broken: a disc that grows corners, or keeps the size it was guessed at."""
    angles = np.arange(360) * np.pi / 180
    disc = np.stack([-np.cos(angles), np.sin(angles)], axis=1) * 90 + MIDDLE
    sides = np.arange(ROUND_SIDES) * 2 * np.pi / ROUND_SIDES
    guess = np.stack([-np.cos(sides), np.sin(sides)], axis=1) * (90 + off) + MIDDLE
    ((found, seen),) = refined(drawn([(disc, 0.3)]), guess)
    assert len(found) == ROUND_SIDES
    # Sides laid along the disc's edge meet outside it, but no farther out than sides that only touch it would.
    radius = np.hypot(*(found - MIDDLE).T)
    assert radius.min() > 89.5
    assert radius.max() < 90 / np.cos(np.pi / ROUND_SIDES) + 0.5
    assert turn(found) / 2 == pytest.approx(np.pi * 90**2, rel=0.02)  # 16 sides that only touch it add 1.3 %
    assert seen > 0.9


def test_a_piece_that_the_frame_cuts_keeps_to_the_picture():
    """Would be broken: sides beyond the frame, where there is nothing to look at."""
    true = box((60, 400.6), SIDE)
    codes = drawn([(true, 0.3)])
    guess = np.array([[0, true[0, 1]], [0, true[1, 1]], true[2], true[3]]) + [[0, -3], [0, 3], [3, 3], [3, -3]]
    ((found, seen),) = refined(codes, guess)
    assert_allclose(found[2:], true[2:], atol=1.0)
    assert_allclose(found[:2, 0], 0, atol=1.0)
    assert seen == pytest.approx(0.75, abs=0.1)  # three of four sides


@pytest.mark.parametrize(("quality", "board"), [(75, 0.85), (92, 0.3)])
@pytest.mark.parametrize("cloth", [(0.3, 0.02, 0.02), (0.02, 0.1, 0.5)])
def test_a_jpegs_ringing_is_not_an_edge(quality, board, cloth):
    """Would be broken: outlines 5 to 12 pixels out, where the colour ripples that a JPEG leaves round edges end."""
    true = piece(degrees=0)  # along the JPEG's blocks, where its ripples end in a line
    codes = drawn([(true, cloth)], board=board, noise=0.0005)
    written, data = cv2.imencode(".jpg", codes[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert written
    decoded = np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])
    ((found, seen),) = refined(decoded, piece(SIDE + 16, 0))
    assert farthest(found, true) < 1.0
    assert seen == pytest.approx(1)


def test_many_pieces_at_once_give_what_each_gives_alone():
    """Would be broken: sides that get their neighbour's numbers where all are worked on together."""
    outlines = [box((150, 200), 120, 90, 10), box((420, 210), 100, 140, 40), box((300, 600), 200, 150, 80)]
    codes = drawn([(outline, light) for outline, light in zip(outlines, (0.1, 0.3, 0.5), strict=True)])
    guesses = [(outline - outline.mean(axis=0)) * 1.04 + outline.mean(axis=0) for outline in outlines]
    together = refined(codes, *guesses, labels=labelled(*outlines), owners=[1, 2, 3])
    assert len(together) == 3
    for number, (guess, outline, (found, _)) in enumerate(zip(guesses, outlines, together, strict=True), start=1):
        ((alone, _),) = refined(codes, guess, labels=labelled(*outlines), owners=[number])
        assert_allclose(found, alone, atol=0.3)  # the noise level, judged on all, may choose another of two close peaks
        assert farthest(found, outline) < 1.0


def test_nothing_to_refine_gives_nothing():
    """Would be broken: an empty board."""
    assert refined(drawn([])) == []
