"""Polygons: a shape's few straight sides out of its ragged contour, and the arithmetic of sides and corners."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_scenes import box, shared_area
from numpy.testing import assert_allclose

from contrastkit.camera.polygons import (
    ROUND_SIDES,
    clockwise,
    meetings,
    polygons_of,
    robust_lines,
    sides_of,
    solidity,
    turn,
)

SIZE = (400, 400)
MIDDLE = (200.0, 200.0)
# OpenCV's contour runs through the middles of the outermost pixels, half a pixel inside the true edge, and a corner of
# two such edges lies up to 0.7 pixels inside (1.2 at the 53 degree corners of a triangle).
CORNER_ATOL = 1.5


def polygon_of(contour):
    """The polygon of one contour alone."""
    return polygons_of([contour])[0]


def contour_of(*outlines, hollow=()):
    """OpenCV's contour of a shape that outlines make up together."""
    mask = np.zeros(SIZE, np.uint8)
    for value, group in ((1, outlines), (0, hollow)):
        for outline in group:
            cv2.fillPoly(mask, [np.round(np.asarray(outline)[:, ::-1] * 16).astype(np.int32)], value, cv2.LINE_8, 4)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return max(contours, key=cv2.contourArea)


def ring(corners, radius, degrees=0.0):
    """Corners of a regular polygon, clockwise from the top."""
    angles = np.deg2rad(degrees) + np.arange(corners) * 2 * np.pi / corners
    return np.stack([-np.cos(angles), np.sin(angles)], axis=1) * radius + MIDDLE


def farthest_corner(true, found):
    """How far the true corner that fares worst is from the nearest found one, pixels."""
    return float(np.hypot(*(np.asarray(true)[:, None] - found[None]).transpose(2, 0, 1)).min(axis=1).max())


# --- a contour's polygon --------------------------------------------------------------------------------------------


@given(degrees=st.floats(0, 90), height=st.floats(60, 160), width=st.floats(60, 160))
def test_a_rectangle_gets_its_four_corners_however_it_is_turned(degrees, height, width):
    """Would be broken: too few or too many sides, so that cards, scales and crops are no longer four-sided."""
    true = box(MIDDLE, height, width, degrees)
    found = polygon_of(contour_of(true))
    assert len(found) == 4
    assert farthest_corner(true, found) < CORNER_ATOL


@pytest.mark.parametrize("corners", [3, 4, 5, 6])
@pytest.mark.parametrize("degrees", [0, 11, 45])
def test_cut_shapes_get_as_many_corners_as_they_have(corners, degrees):
    """Would be broken: triangles that lose a tip, hexagons taken for round."""
    true = ring(corners, 110, degrees)
    found = polygon_of(contour_of(true))
    assert len(found) == corners
    assert farthest_corner(true, found) < CORNER_ATOL


def test_a_round_shape_gets_many_sides_all_on_its_edge():
    """Would be broken: a disc cut down to a hexagon, whose area is 17 % short."""
    found = polygon_of(contour_of(ring(180, 110)))
    assert len(found) == ROUND_SIDES
    assert_allclose(np.hypot(*(found - MIDDLE).T), 110, atol=1.2)  # the contour's half pixel, and half a pixel's step


def test_a_shape_far_from_convex_keeps_its_hollow():
    """Would be broken: an L-shaped scrap measured with the board in its crook."""
    whole, crook = box(MIDDLE, 200), box((150, 250), 100)
    contour = contour_of(whole, hollow=[crook])
    found = polygon_of(contour)
    assert len(found) == 6
    assert turn(found) / 2 == pytest.approx(cv2.contourArea(contour), rel=0.02)  # straight sides against pixel stairs


def test_a_corner_snipped_off_is_put_back():
    """Would be broken: a corner lost to paint like the board becomes a fifth side and takes area with it."""
    true = box(MIDDLE, 160)
    snip = [true[0] - 2, true[0] + (-2, 12), true[0] + (12, -2)]
    found = polygon_of(contour_of(true, hollow=[snip]))
    assert len(found) == 4
    assert farthest_corner(true, found) < CORNER_ATOL


@pytest.mark.parametrize("reach", [4, 7])
def test_a_thread_that_sticks_out_does_not_pull_the_side_with_it(reach):
    """Would be broken: sides laid along the hull, out over what frays from the middle of a side."""
    true = box(MIDDLE, 160)
    thread = box((120 - reach / 2, 195), reach + 2, 6)
    found = polygon_of(contour_of(true, thread))
    assert shared_area(true, found) > 0.97  # the contour alone costs half a pixel on each of four sides: 1.2 %


@pytest.mark.parametrize("mirrored", [False, True])
def test_polygons_run_clockwise_on_the_picture_whichever_way_the_contour_ran(mirrored):
    """Would be broken: the table's outlines, which are promised clockwise."""
    contour = contour_of(box(MIDDLE, 120, 90, 20))
    for shape in (contour, contour_of(ring(60, 90)), contour_of(box(MIDDLE, 200), hollow=[box((150, 250), 100)])):
        assert turn(polygon_of(shape[::-1] if mirrored else shape)) > 0


def test_many_contours_at_once_give_what_each_gives_alone():
    """Would be broken: points of one piece laid on the sides of another where shapes are worked on together."""
    contours = [contour_of(ring(3, 90)), contour_of(ring(90, 60)),
                contour_of(box(MIDDLE, 200), hollow=[box((150, 250), 100)]), contour_of(box((100, 120), 60, 150, 12)),
                contour_of(ring(6, 150))]
    together = polygons_of(contours)
    assert [len(polygon) for polygon in together] == [3, ROUND_SIDES, 6, 4, 6]
    for contour, polygon in zip(contours, together, strict=True):
        assert_allclose(polygon, polygon_of(contour), atol=1e-9)
    assert polygons_of([]) == []


# --- sides and corners ----------------------------------------------------------------------------------------------


def test_turn_is_twice_the_area_and_positive_clockwise():
    """Would be broken: areas, and which way round an outline is said to run."""
    right_and_down = np.array([[0, 0], [0, 3], [2, 3], [2, 0]], float)
    assert turn(right_and_down) == pytest.approx(12)
    assert turn(right_and_down[::-1]) == pytest.approx(-12)
    assert turn(clockwise(right_and_down[::-1])) == pytest.approx(12)


def test_the_sides_of_all_polygons_face_outward_and_know_their_owner():
    """Would be broken: edges looked for inside the piece instead of out on the board."""
    polygons = [box((50, 60), 20, 40, 30), ring(3, 80)]
    sides = sides_of(polygons)
    assert sides.owner.tolist() == [0, 0, 0, 0, 1, 1, 1]
    assert_allclose(sides.length[:4], [40, 20, 40, 20])
    middles = sides.start + sides.along * sides.length[:, None] / 2
    centres = np.array([polygons[owner].mean(axis=0) for owner in sides.owner])
    outward = ((middles - centres) * sides.out).sum(axis=1)
    assert_allclose(outward[:4], [10, 20, 10, 20])  # half of the other extent
    assert_allclose(outward[4:], 40)  # of a triangle, half the radius
    assert_allclose((sides.along * sides.out).sum(axis=1), 0, atol=1e-12)


def test_sides_moved_outward_meet_in_the_corners_of_the_larger_shape():
    """Would be broken: corners that no longer lie where two cut edges cross."""
    small, large = box(MIDDLE, 80, 120, 17), box(MIDDLE, 90, 130, 17)
    sides = sides_of([small])
    middle = sides.start + sides.along * sides.length[:, None] / 2 + 5 * sides.out
    assert_allclose(meetings(middle, sides.along, small), large, atol=1e-9)


def test_nearly_parallel_neighbours_keep_the_corner_they_had():
    """Would be broken: two sides in one line, of a round piece, meeting a mile away."""
    corners = np.array([[0, 0], [0, 50], [1, 100], [80, 50]], float)  # the second corner is hardly one: 1.1 degrees
    sides = sides_of([corners])
    middle = sides.start + sides.along * sides.length[:, None] / 2 + sides.out * [[0], [2], [0], [0]]
    assert_allclose(meetings(middle, sides.along, corners)[1], corners[1])


def test_a_line_through_points_ignores_those_far_off():
    """Would be broken: one bump or one thread tilting a whole side."""
    rng = np.random.default_rng(3)
    x = np.tile(np.linspace(-1, 1, 40), (2, 1))
    y = np.array([[3.0], [-1.0]]) + np.array([[0.5], [2.0]]) * x + rng.normal(0, 0.05, x.shape)
    y[:, :8] += 9
    middle, slope = robust_lines(x, y, np.ones_like(x))
    # Least squares over all 40 is off by 1.8 and 2.2; over the 32 good ones the standard errors are 0.01 and 0.02.
    assert_allclose(middle, [3, -1], atol=0.06)
    assert_allclose(slope, [0.5, 2], atol=0.12)


def test_points_with_no_trust_have_no_say():
    """Would be broken: a side's line drawn through the points of the neighbouring side."""
    x = np.tile(np.linspace(-1, 1, 9), (1, 1))
    y = 2 + 0 * x
    y[0, 5:] = 50
    trust = np.where(y < 10, 1.0, 1e-9)
    middle, slope = robust_lines(x, y, trust)
    assert_allclose([middle[0], slope[0]], [2, 0], atol=1e-4)


def test_solidity_is_the_share_of_the_hull_that_is_filled():
    """Would be broken: what tells a cut piece from a hand."""
    assert solidity(contour_of(box(MIDDLE, 200))) == pytest.approx(1, abs=1e-6)
    # An L: three quarters of the square; its hull leaves out half of the fourth quarter. Pixel stairs cost a little.
    bent = contour_of(box(MIDDLE, 200), hollow=[box((150, 250), 100)])
    assert solidity(bent) == pytest.approx(6 / 7, abs=0.01)
