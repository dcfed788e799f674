"""Stacks drawn while a hand moves: held against the pictures that take their time."""

from __future__ import annotations

import numpy as np
import pytest
from made_pile import made_crops, made_table

from contrastkit.compose.groups import fixed_breaks
from contrastkit.compose.seams import Surface
from contrastkit.compose.stacks import default_sides, stack_of
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import lightness_to_luminance, luminance, luminance_to_lightness
from contrastkit.show.glance import LARGE, SMALL, Squares, from_afar_at_once, glance, seen_as, sheet_of_squares, shrunk
from contrastkit.show.mockup import piece_squares, render, stack_placed
from contrastkit.show.views import Viewing, by_warm_lamp, from_afar, in_grey, in_values, to_eyes

TABLE = made_table(12)
CROPS = made_crops(TABLE)
SIDES = default_sides(3)
SIZE, SIDE = 1.12 * SIDES[0], 240
STACK = stack_of(TABLE, list(TABLE["swatch_id"][:3]), sides=SIDES, rim=1.6)


def lightness(image):
    return luminance_to_lightness(np.clip(luminance(image), 0, 1))


def laid(layers=STACK.layers, sides=SIDES, crops=CROPS, **options):
    return glance(layers, sides, Squares(crops), **{"size_mm": SIZE, "side": SIDE, "around": 50, **options})


def rendered(stack, crops=CROPS):
    return render(stack_placed(stack), crops, background=50, size_mm=(SIZE, SIZE), pixels_per_mm=SIDE / SIZE)


# --- laid -------------------------------------------------------------------------------------------------------------


def test_a_stack_is_drawn_as_the_mock_up_draws_it():
    """
    What answers the hand would be another picture than what is printed.

    Pieces are reduced in two steps here, in one there: single threads differ, and nothing else does.
    """
    off = np.abs(lightness(laid()) - lightness(rendered(STACK)))
    assert off.mean() < 0.5
    assert np.quantile(off, 0.99) < 4


def test_greys_and_their_edges_are_those_of_the_mock_up():
    """An edge would lie elsewhere, or have a dark fringe. A sixteenth of a pixel is what the mock-up tells apart."""
    stack = stack_of(TABLE, list(TABLE["swatch_id"][:3]), sides=(80.3, 51.7, 30.1))
    mine, theirs = laid(sides=stack.sides, crops={}), rendered(stack, {})
    assert np.abs(mine - theirs).max() < 1 / 8
    assert np.abs(mine.mean() - theirs.mean()) < 1e-3


def test_a_rim_is_drawn_where_a_piece_has_no_picture():
    """The bare rim would not be seen before anything is cut."""
    piece = Surface("a", 30, rim=90)
    light = lightness(laid([piece], [60], {}, rim_mm=6))[SIDE // 2]
    mm = SIZE / SIDE
    at = [round((SIZE / 2 - half) / mm) for half in (35, 27, 10)]
    assert light[at].tolist() == pytest.approx([50, 90, 30], abs=0.1)  # 32-bit light


def test_rims_of_another_lightness_are_drawn_round_pictures_too():
    """What a lighter ground would do could not be looked at."""
    plain, rimmed = laid(rim_mm=5), laid(rim_mm=5, rim_lightness=95)
    edge = round((SIZE - SIDES[0]) / 2 * SIDE / SIZE) + 4
    assert lightness(rimmed)[SIDE // 2, edge] == pytest.approx(95, abs=0.1)
    middle = (SIDE // 2, SIDE // 2)
    assert rimmed[middle] == pytest.approx(plain[middle], abs=1e-6)


def test_a_layer_is_cut_from_the_middle_of_a_larger_piece():
    """A small layer would show the whole of a large piece, shrunk."""
    crop = np.full((200, 200, 3), 30, np.uint8)
    crop[50:150, 50:150] = 200
    piece = Surface("a", 60, side=80)
    shown = laid([piece], [40], {"a": crop}, around=50)
    inner = lightness(shown)[SIDE // 2, round(SIDE / 2 - 18 * SIDE / SIZE)]
    assert inner == pytest.approx(lightness(np.full(3, ((200 / 255 + 0.055) / 1.055) ** 2.4)), abs=0.5)


def test_a_layer_larger_than_the_picture_fills_it():
    """A slip of sizes would end in an index that is out of range."""
    shown = laid([Surface("a", 30)], [2 * SIZE], {})
    assert lightness(shown) == pytest.approx(np.full((SIDE, SIDE), 30), abs=0.1)


# --- squares ----------------------------------------------------------------------------------------------------------


def test_squares_are_made_once_and_few_large_ones_are_kept():
    """Every tap would flatten its pieces anew, or all large ones stay in memory."""
    asked = []

    class Asked(dict):
        def __getitem__(self, name):
            asked.append(name)
            return super().__getitem__(name)

    names = [f"p{number}" for number in range(60)]
    squares = Squares(Asked({name: np.full((40, 40, 3), 90, np.uint8) for name in names}))
    assert squares.small("p1") is squares.small("p1")
    assert squares.large("p2") is squares.large("p2")
    assert asked == ["p1", "p2"]
    for name in names:
        squares.large(name)
    asked.clear()
    squares.large("p59")
    squares.large("p0")
    assert asked == ["p0"]


def test_small_and_large_squares_are_those_of_the_mock_up():
    """They would be cut out another way."""
    name = TABLE["swatch_id"][0]
    squares = Squares(CROPS)
    assert (squares.small(name) == piece_squares({name: CROPS[name]}, side=SMALL)[name]).all()
    assert (squares.large(name) == piece_squares({name: CROPS[name]}, side=LARGE)[name]).all()


def test_the_sheet_holds_every_piece_once_in_its_place():
    """A piece would be shown with another one's picture."""
    names = [*TABLE["swatch_id"], "without a picture"]
    squares = Squares(CROPS)
    sheet, places = sheet_of_squares(names, squares)
    assert list(places) == list(TABLE["swatch_id"])
    assert len(set(places.values())) == len(places)
    for name, (x, y) in places.items():
        shown = sheet[y : y + SMALL, x : x + SMALL]
        assert shown.shape == (SMALL, SMALL, 3)
        mean = luminance(squares.small(name).mean(axis=(0, 1)))
        codes = ((shown / 255 + 0.055) / 1.055) ** 2.4
        assert luminance(codes.mean(axis=(0, 1))) == pytest.approx(mean, abs=0.01)  # 8-bit codes


def test_no_pictures_at_all_are_an_empty_sheet():
    """A table without photographs would stop the panel."""
    sheet, places = sheet_of_squares(["a"], Squares({}))
    assert places == {}
    assert sheet.shape == (SMALL, SMALL, 3)


# --- as it is seen ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("metres", [1, 2, 3, 5, 8])
def test_the_quick_blur_is_that_of_the_slow_one(metres):
    """The slider would show another distance than the printed picture; half an L* is less than anybody sees."""
    image = laid()
    quick = lightness(from_afar_at_once(image, SIZE / SIDE, 1000 * metres))
    slow = lightness(from_afar(image, mm_per_pixel=SIZE / SIDE, distance_mm=1000 * metres))
    off = np.abs(quick - slow)
    assert off.mean() < 0.35
    assert off.max() < 1.5


def test_the_quick_blur_keeps_light_and_colours_within_a_screen():
    """A screen would clip colours that the blur made, and tint what is grey."""
    image = np.random.default_rng(4).uniform(0, 1, (60, 60, 3)).astype(np.float32)
    seen = from_afar_at_once(image, 1.0, 4000)
    assert seen.min() >= 0 and seen.max() <= 1
    grey = np.repeat(np.random.default_rng(5).uniform(0, 1, (60, 60, 1)), 3, axis=2).astype(np.float32)
    seen = from_afar_at_once(grey, 1.0, 4000)
    assert np.abs(seen - seen[..., :1]).max() < 1e-4  # the published opponents leave greys within 1e-5


def test_within_arms_length_a_picture_is_left_alone():
    """The eye before the screen would blur what was blurred for it already."""
    image = laid()
    assert seen_as(image, "colour", Viewing(SIZE / SIDE, 600.0)) is image
    assert from_afar_at_once(image, SIZE / SIDE, 50.0) is image


def test_views_are_told_of_what_the_eye_gets():
    """Lamplight would be put on after the eye, or grey be blurred twice."""
    image, breaks = laid(), fixed_breaks()
    viewing = Viewing(SIZE / SIDE, 3000.0, breaks)
    blurred = from_afar_at_once(image, SIZE / SIDE, 3000.0)
    assert (seen_as(image, "grey", viewing) == in_grey(blurred)).all()
    assert (seen_as(image, "values", viewing) == in_values(blurred, breaks)).all()
    assert (seen_as(image, "protan", viewing) == to_eyes(blurred, "protan")).all()
    assert (seen_as(image, "lamp", viewing) == from_afar_at_once(by_warm_lamp(image), SIZE / SIDE, 3000.0)).all()


def test_shrinking_keeps_the_light_there_is():
    """The small picture would be darker than the large one."""
    image = laid()
    small = shrunk(image, 60)
    assert small.shape == (60, 60, 3)
    assert small.mean(axis=(0, 1)) == pytest.approx(image.mean(axis=(0, 1)), abs=1e-4)
    assert shrunk(image, SIDE + 1) is image


# --- refused ----------------------------------------------------------------------------------------------------------


def test_what_cannot_be_drawn_is_refused():
    """A slip of units would fill the memory, or draw nothing without a word."""
    with pytest.raises(InvalidInputError, match=r"a side above 0 for each layer; got 0 mm, 240 pixels, and 3 sides"):
        laid(size_mm=0)
    with pytest.raises(InvalidInputError, match=r"and 2 sides for 3 layers\. Pass millimetres, bottom first"):
        laid(sides=SIDES[:2])
    with pytest.raises(InvalidInputError, match=r"must have a lightness of L\* 0-100; got 120"):
        laid(around=120)
    with pytest.raises(InvalidInputError, match=r"must have a lightness of L\* 0-100; got nan"):
        laid([Surface("a", float("nan"))], [50], {})
    with pytest.raises(InvalidInputError, match=r"A pixel and a distance must be larger than 0 mm; got 0 and 3000"):
        from_afar_at_once(laid(), 0, 3000)
    with pytest.raises(InvalidInputError, match=r"A view must be one of .*; got 'sepia'"):
        seen_as(laid(), "sepia", Viewing(1.0))


def test_luminance_of_what_lies_round_is_the_one_asked_for():
    """A surround of L* 50 would not be L* 50."""
    assert laid([], [], {}, around=50)[0, 0].tolist() == pytest.approx([float(lightness_to_luminance(50))] * 3)
