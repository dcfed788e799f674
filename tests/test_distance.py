"""Seen from a distance: against published kernels, closed forms, another convolution, and what must hold anywhere."""

from __future__ import annotations

import math

import gold
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.ndimage import gaussian_filter

from contrastkit.errors import InvalidInputError
from contrastkit.light.distance import (
    BLUE_YELLOW_KERNEL,
    LUMINANCE_KERNEL,
    RED_GREEN_KERNEL,
    VALUE_KERNEL,
    bands_seen,
    kernel_mtf,
    line_residual,
    line_seen,
    seen_colour_from,
    seen_from,
    visual_angle,
)
from contrastkit.light.lightness import DISPLAY_P3, SRGB, lightness_to_luminance, luminance, luminance_to_lightness

KERNELS = {"luminance": LUMINANCE_KERNEL, "red-green": RED_GREEN_KERNEL, "blue-yellow": BLUE_YELLOW_KERNEL}
WIDTH = gold.SIXTEENTH_MM

lightnesses = st.floats(0, 100)
widths = st.floats(0.1, 30)
distances = st.floats(200, 20_000)


def mm_per_degree(distance_mm):
    return 2 * distance_mm * math.tan(math.radians(0.5))


def bell(degrees, width):
    """A Gaussian of area 1 whose width at half height is `width`: written anew, for the tests alone."""
    return 2 * math.sqrt(math.log(2) / math.pi) / width * np.exp(-4 * math.log(2) * (degrees / width) ** 2)


def value_bell(degrees):
    return sum(weight * bell(degrees, width) for width, weight in VALUE_KERNEL)


def rendered(luminance1s, width_mm, *, pixels_per_mm, starts_mm, size_mm=60):
    """Left | line | right as a picture of a few rows, every pixel the mean of its square."""
    edges = np.arange(round(size_mm * pixels_per_mm) + 1) / pixels_per_mm
    from_, to = edges[:-1], edges[1:]
    line = np.clip(np.minimum(to, starts_mm + width_mm) - np.maximum(from_, starts_mm), 0, None) * pixels_per_mm
    right = np.clip(to - np.maximum(from_, starts_mm + width_mm), 0, None) * pixels_per_mm
    row = luminance1s[0] * (1 - line - right) + luminance1s[1] * line + luminance1s[2] * right
    return np.tile(row, (8, 1)), (from_ + to) / 2 - starts_mm


def nested_squares(pixels_per_mm, size_mm=60):
    """A light square with a darker one on it and a white rim between: something that both axes blur."""
    across = np.abs((np.arange(round(size_mm * pixels_per_mm)) + 0.5) / pixels_per_mm - size_mm / 2)
    out = np.maximum(across[:, None], across[None, :])
    return np.select([out < 8, out < 10], [0.06, 0.8], 0.3)


# --- angles and kernels -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("metres", "arcmin"), gold.RIM_ARCMIN.items())
def test_the_angle_of_a_rim(metres, arcmin):
    """Metres would be taken for millimetres, or half the angle for the whole."""
    assert 60 * visual_angle(WIDTH, 1000 * metres) == pytest.approx(arcmin, abs=gold.RIM_ARCMIN_ATOL)


@pytest.mark.parametrize(("metres", "frequency"), gold.RIM_CYCLES_PER_DEGREE.items())
def test_the_frequency_of_stripes_as_wide_as_a_rim(metres, frequency):
    """A stripe would be taken for a whole cycle."""
    cycles = 1 / (2 * visual_angle(WIDTH, 1000 * metres))
    assert cycles == pytest.approx(frequency, abs=gold.RIM_CYCLES_PER_DEGREE_ATOL)


@pytest.mark.parametrize("name", KERNELS)
def test_kernels_leave_of_stripes_what_was_published(name):
    """A half-width would be taken for the parameter of the exponential: everything blurred 1.67 times too much."""
    left = kernel_mtf(KERNELS[name], gold.KERNEL_FREQUENCIES)
    assert left == pytest.approx(gold.KERNEL_MTF[name], abs=gold.KERNEL_MTF_ATOL)


def test_the_narrow_gaussians_are_the_published_ones_brought_to_one():
    """A picture would get lighter or darker by being looked at from afar."""
    assert sum(weight for _, weight in VALUE_KERNEL) == pytest.approx(1, abs=1e-15)
    scale = sum(weight for _, weight in LUMINANCE_KERNEL[:2])
    left = scale * kernel_mtf(VALUE_KERNEL, list(gold.NARROW_MTF))
    assert left == pytest.approx(list(gold.NARROW_MTF.values()), abs=gold.NARROW_MTF_ATOL)


@pytest.mark.parametrize("width", [0.05, 0.225, 0.826])
def test_a_width_is_that_of_the_whole_bell_at_half_its_height(width):
    """The width would mean something else: here the bell is written anew and transformed by quadrature."""
    frequency = 0.7 / width
    by_hand, _ = quad(lambda x: bell(x, width) * math.cos(2 * math.pi * frequency * x), -5 * width, 5 * width)
    assert kernel_mtf(((width, 1.0),), frequency) == pytest.approx(by_hand, abs=1e-9)


@pytest.mark.parametrize(("metres", "left"), gold.LINE_RESIDUAL.items())
def test_what_is_left_of_a_line(metres, left):
    """The wide negative Gaussian would be left out: 12 % less."""
    assert line_residual(WIDTH, 1000 * metres) == pytest.approx(left, abs=gold.LINE_RESIDUAL_ATOL)


@pytest.mark.parametrize(("metres", "left"), gold.LINE_RESIDUAL_COLOUR.items())
def test_a_line_in_colour_alone_is_lost_sooner(metres, left):
    """The kernels of the two colour directions would change places."""
    both = [line_residual(WIDTH, 1000 * metres, kernel=kernel) for kernel in (RED_GREEN_KERNEL, BLUE_YELLOW_KERNEL)]
    assert both == pytest.approx(left, abs=gold.LINE_RESIDUAL_COLOUR_ATOL)


# --- bands ------------------------------------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(
    bands=st.lists(st.floats(0, 1), min_size=3, max_size=3),
    width=widths,
    distance=distances,
    at=st.floats(-20, 40),
)
def test_bands_are_what_quadrature_makes_of_them(bands, width, distance, at):
    """An edge would lie in the wrong place or a band be weighed wrong."""
    mm = mm_per_degree(distance)

    def through(x):
        place = at + x * mm
        return value_bell(x) * (bands[0] if place < 0 else bands[1] if place < width else bands[2])

    breaks = sorted({x for x in (-at / mm, (width - at) / mm, -0.03, 0.0, 0.03) if -1.2 < x < 1.2})
    by_hand = quad(through, -1.2, 1.2, points=breaks, limit=400)[0]
    assert bands_seen(bands, [width], distance, at) == pytest.approx(by_hand, abs=1e-6)


@given(bands=st.lists(st.floats(0, 1), min_size=2, max_size=6), distance=distances, data=st.data())
def test_bands_turned_round_are_seen_turned_round(bands, distance, data):
    """Left and right would be treated differently."""
    inner = data.draw(st.lists(widths, min_size=len(bands) - 2, max_size=len(bands) - 2))
    at = np.linspace(-5, sum(inner) + 5, 9)
    seen, turned = bands_seen(bands, inner, distance, at), bands_seen(bands[::-1], inner[::-1], distance, at)
    assert turned[::-1] == pytest.approx(seen, abs=1e-12)
    assert min(bands) - 1e-12 <= seen.min()
    assert seen.max() <= max(bands) + 1e-12


@pytest.mark.parametrize("bands", gold.THREE_BANDS)
def test_a_rim_between_two_layers_as_tabled(bands):
    """The line would be read in its middle (1.4 L* less for 30/90/70 at 3 m), or against blurred neighbours."""
    light = [float(x) for x in lightness_to_luminance(bands)]
    for metres, clear in zip(gold.THREE_BANDS_METRES, gold.THREE_BANDS[bands], strict=True):
        line = float(luminance_to_lightness(line_seen(*light, width_mm=WIDTH, distance_mm=1000 * metres)))
        nearer = min(abs(line - bands[0]), abs(line - bands[2]))
        assert nearer == pytest.approx(clear, abs=gold.THREE_BANDS_ATOL), metres


@settings(deadline=None)
@given(left=lightnesses, right=lightnesses, line=lightnesses, width=widths, distance=distances)
def test_a_line_is_read_where_it_stands_out_most(left, right, line, width, distance):
    """The search would stop short of the top: here it is every twentieth of the narrow Gaussian, all across."""
    light = [float(x) for x in lightness_to_luminance([left, line, right])]
    seen = line_seen(*light, width_mm=width, distance_mm=distance)
    scale = 0.03 * mm_per_degree(distance)
    across = bands_seen(light, [width], distance, np.linspace(-18 * scale, width + 18 * scale, 1500))
    if light[1] > max(light[0], light[2]):
        assert light[1] >= seen >= across.max() - 1e-6 * light[1]  # as finely as the top is sought
        assert seen <= max(across.max(), light[0], light[2]) + 2e-3 * (light[1] - min(light))  # that grid is coarse
    elif light[1] < min(light[0], light[2]):
        assert light[1] <= seen <= across.min() + 1e-6
    else:
        assert math.isnan(seen)


@settings(deadline=None)
@given(left=lightnesses, right=lightnesses, line=lightnesses, width=widths, distance=distances, more=st.floats(1, 20))
def test_a_line_fades_the_further_off_one_stands(left, right, line, width, distance, more):
    """A rim would come back as one walks away, and the distance where it is gone could not be found by halving."""
    light = [float(x) for x in lightness_to_luminance([left, line, right])]
    near, far = (line_seen(*light, width_mm=width, distance_mm=d) for d in (distance, distance * more))
    if light[1] > max(light[0], light[2]):
        assert max(light[0], light[2]) <= far <= near + 1e-6
    elif light[1] < min(light[0], light[2]):
        assert min(light[0], light[2]) >= far >= near - 1e-6


# --- pictures ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("bands", gold.THREE_BANDS)
@pytest.mark.parametrize(("pixels_per_mm", "metres"), [(16, 1), (10, 2), (6, 3), (8, 3), (10, 3), (5, 5), (10, 5)])
@pytest.mark.parametrize("starts", [30.0, 30.03])
def test_rendered_pictures_agree_with_the_exact_answer(bands, pixels_per_mm, metres, starts):
    """The blur of pictures would be wider or narrower than that of numbers: at every pixel, and for the line."""
    light = [float(x) for x in lightness_to_luminance(bands)]
    image, at = rendered(light, WIDTH, pixels_per_mm=pixels_per_mm, starts_mm=starts)
    seen = seen_from(image, mm_per_pixel=1 / pixels_per_mm, distance_mm=1000 * metres)[4]
    exact = bands_seen(light, [WIDTH], 1000 * metres, at)
    assert luminance_to_lightness(seen) == pytest.approx(luminance_to_lightness(exact), abs=0.05)
    line = line_seen(*light, width_mm=WIDTH, distance_mm=1000 * metres)
    best = seen.max() if bands[1] > bands[0] else seen.min()
    assert luminance_to_lightness(best) == pytest.approx(float(luminance_to_lightness(line)), abs=0.05)


@pytest.mark.parametrize("metres", [2, 3, 5])
def test_pictures_agree_with_another_convolution(metres):
    """One axis would be left out, or the picture shifted: scipy blurs nested squares with sampled Gaussians."""
    image = nested_squares(10)
    pixels = 10 * mm_per_degree(1000 * metres)
    peer = sum(
        weight * gaussian_filter(image, pixels * width / math.sqrt(8 * math.log(2)), mode="nearest", truncate=6)
        for width, weight in VALUE_KERNEL
    )
    ours = seen_from(image, mm_per_pixel=0.1, distance_mm=1000 * metres)
    assert luminance_to_lightness(ours) == pytest.approx(luminance_to_lightness(peer), abs=0.05)


@pytest.mark.parametrize("frequency", [2, 5, 10, 15])
def test_stripes_in_a_picture_keep_what_the_kernel_leaves(frequency):
    """The eye would be too sharp or too dull for pictures."""
    pixels_per_degree = 600
    angle = 2 * math.pi * frequency * (np.arange(1800) + 0.5) / pixels_per_degree
    image = np.tile(0.5 + 0.4 * np.sin(angle), (4, 1))
    seen = seen_from(image, mm_per_pixel=1 / pixels_per_degree, distance_mm=1 / (2 * math.tan(math.radians(0.5))))
    middle = slice(600, 1200)  # whole cycles, far from the edges
    left = 2 * np.mean((seen[2] * np.sin(angle))[middle]) / 0.4
    assert left == pytest.approx(kernel_mtf(VALUE_KERNEL, frequency), abs=2e-4)  # the pixels' own blur is part of it


@settings(max_examples=30, deadline=None)
@given(
    shape=st.tuples(st.integers(1, 40), st.integers(1, 40)),
    seed=st.integers(0, 99),
    mm=st.floats(0.01, 50),
    distance=st.floats(10, 1e7),
)
def test_a_blurred_picture_stays_within_itself(shape, seed, mm, distance):
    """Ringing would make places lighter than white, or a turned picture be seen another way."""
    image = np.random.default_rng(seed).random(shape)
    seen = seen_from(image, mm_per_pixel=mm, distance_mm=distance)
    assert seen.shape == image.shape
    assert image.min() <= seen.min()
    assert seen.max() <= image.max()
    turned = seen_from(image[::-1].T, mm_per_pixel=mm, distance_mm=distance)
    assert turned == pytest.approx(seen[::-1].T, abs=1e-12)


def test_the_picture_given_stays_as_it_is():
    """The blur would be done in place, or a picture too coarse to blur handed out itself."""
    image = np.random.default_rng(0).random((9, 9))
    kept = image.copy()
    coarse = seen_from(image, mm_per_pixel=100, distance_mm=1000)
    assert coarse == pytest.approx(image, abs=0)
    coarse[:] = 0
    assert (image == kept).all()


def test_light_is_kept_far_from_the_edges_of_a_picture():
    """Light would be lost or made."""
    image = np.full((300, 300), 0.2)
    image[140:160, 140:160] = 0.9
    seen = seen_from(image, mm_per_pixel=0.5, distance_mm=3000)
    assert seen.sum() == pytest.approx(image.sum(), rel=1e-7)


def test_beyond_its_edge_a_picture_goes_on():
    """The frame would throw a shadow into the picture, or its far side shine in."""
    image = np.full((60, 60), 0.2)
    image[:, 50:] = 0.8
    seen = seen_from(image, mm_per_pixel=0.5, distance_mm=3000)
    assert seen[:, 0] == pytest.approx(0.2, abs=1e-4)
    assert seen[0] == pytest.approx(seen[30], abs=1e-9)


# --- colour -----------------------------------------------------------------------------------------------------------


def test_greys_stay_grey_and_are_seen_as_luminance_is():
    """A black line on white would get coloured fringes: white is not neutral in the published directions."""
    image = nested_squares(4)
    seen = seen_colour_from(np.repeat(image[..., None], 3, axis=2), mm_per_pixel=0.25, distance_mm=3000)
    alone = seen_from(image, mm_per_pixel=0.25, distance_mm=3000)
    assert seen == pytest.approx(np.repeat(alone[..., None], 3, axis=2), abs=1e-9)


@pytest.mark.parametrize("space", [SRGB, DISPLAY_P3], ids=lambda s: s.name)
def test_an_even_colour_stays_as_it_is(space):
    """The way to the three directions and back would not be the same."""
    image = np.full((20, 20, 3), (0.7, 0.1, 0.4))
    assert seen_colour_from(image, mm_per_pixel=0.5, distance_mm=3000, space=space) == pytest.approx(image, abs=1e-9)


@pytest.mark.parametrize("direction", [0, 1, 2], ids=KERNELS)
@pytest.mark.parametrize("frequency", [1, 4, 8])
def test_each_direction_of_colour_is_blurred_by_its_own_kernel(direction, frequency):
    """Colour would be as sharp as light, or red-green and blue-yellow change places."""
    # Zhang and Wandell's matrix from XYZ, as printed in several public copies of their program (rounded here).
    opponent = np.array([[0.27873, 0.72180, -0.10655], [-0.44877, 0.28981, 0.07716], [0.08595, -0.58999, 0.50111]])
    along = np.linalg.inv(opponent @ np.array(SRGB.to_xyz))[:, direction] if direction else np.ones(3)
    along = 0.2 * along / np.abs(along).max()
    pixels_per_degree = 200
    sine = np.sin(2 * math.pi * frequency * (np.arange(2400) + 0.5) / pixels_per_degree)
    image = np.tile(0.5 + sine[:, None] * along, (2, 1, 1))
    seen = seen_colour_from(
        image, mm_per_pixel=1 / pixels_per_degree, distance_mm=1 / (2 * math.tan(math.radians(0.5)))
    )
    middle = slice(1000, 1400)  # whole cycles, five widths of the widest Gaussian from the edges
    left = 2 * np.mean(((seen[1] - 0.5) @ along / (along @ along) * sine)[middle])
    kernel = (VALUE_KERNEL, RED_GREEN_KERNEL, BLUE_YELLOW_KERNEL)[direction]
    assert left == pytest.approx(kernel_mtf(kernel, frequency), abs=2e-3)  # the pixels' own blur is part of it


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 999), distance=st.floats(500, 9000))
def test_colours_stay_within_what_a_screen_can_show(seed, distance):
    """Vivid edges would leave 0-1 and be cut off channel by channel, which changes their lightness."""
    rng = np.random.default_rng(seed)
    image = np.repeat(np.repeat((rng.random((6, 6, 3)) > 0.5).astype(float), 6, 0), 6, 1)
    seen = seen_colour_from(image, mm_per_pixel=0.5, distance_mm=distance)
    assert seen.min() >= 0
    assert seen.max() <= 1


@pytest.mark.parametrize(
    ("one", "other"), [((0.8, 0.05, 0.05), (0.05, 0.5, 0.1)), ((0.1, 0.1, 0.8), (0.9, 0.8, 0.1))]
)
def test_the_lightness_of_vivid_edges_is_nearly_that_of_luminance_alone(one, other):
    """The picture in colour would tell another story than the one in grey: 3 L* at the most, blue against yellow."""
    image = np.empty((12, 240, 3))
    image[:, :120], image[:, 120:] = one, other
    in_colour = luminance(seen_colour_from(image, mm_per_pixel=0.25, distance_mm=3000))
    alone = seen_from(luminance(image), mm_per_pixel=0.25, distance_mm=3000)
    assert luminance_to_lightness(in_colour) == pytest.approx(luminance_to_lightness(alone), abs=3)


# --- refusals ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("distance", [0, -1, math.nan, math.inf])
def test_a_distance_that_is_none_is_refused(distance):
    """Dividing by nothing would put nan into pictures."""
    for ask in (
        lambda: visual_angle(1, distance),
        lambda: line_residual(1, distance),
        lambda: bands_seen([0, 1], [], distance, 0),
        lambda: line_seen(0, 1, 0, width_mm=1, distance_mm=distance),
        lambda: seen_from([[0.5]], mm_per_pixel=1, distance_mm=distance),
    ):
        with pytest.raises(InvalidInputError, match="viewing distance must be above 0.*3 m is 3000"):
            ask()


@pytest.mark.parametrize("size", [0, -1, math.nan])
def test_a_pixel_without_a_size_is_refused(size):
    """A picture would be blurred endlessly or not at all."""
    with pytest.raises(InvalidInputError, match="pixel must be larger than 0 mm.*Divide the width"):
        seen_from([[0.5]], mm_per_pixel=size, distance_mm=3000)


def test_negative_sizes_and_light_are_refused():
    """A sign error would pass for a result."""
    with pytest.raises(InvalidInputError, match="size_mm must be 0 or more"):
        visual_angle(-1, 1000)
    with pytest.raises(InvalidInputError, match="cycles_per_degree must be 0 or more"):
        kernel_mtf(VALUE_KERNEL, -1)
    with pytest.raises(InvalidInputError, match="luminance1_image must be 0 or more"):
        seen_from([[-0.5]], mm_per_pixel=1, distance_mm=1000)
    with pytest.raises(InvalidInputError, match="linear_image must be 0 or more"):
        seen_colour_from([[[-0.5, 0, 0]]], mm_per_pixel=1, distance_mm=1000)


@pytest.mark.parametrize(("bands", "inner"), [([0.5], []), ([0.1, 0.2, 0.3], []), ([0.1, math.nan], [])])
def test_bands_that_do_not_fit_together_are_refused(bands, inner):
    """A width would be given to the wrong band."""
    with pytest.raises(InvalidInputError, match="two or more bands of known luminance.*one luminance a band"):
        bands_seen(bands, inner, 1000, 0)


def test_an_unknown_line_is_refused():
    """nan would be read as a line that is neither lighter nor darker."""
    with pytest.raises(InvalidInputError, match="line and its neighbours must be known.*leave the line out"):
        line_seen(0.1, math.nan, 0.2, width_mm=1, distance_mm=1000)


def test_pictures_of_the_wrong_shape_or_with_holes_are_refused():
    """nan would spread over the whole picture, and colour be taken for rows of luminance."""
    with pytest.raises(InvalidInputError, match=r"rows and columns; got shape \(2, 2, 3\).*seen_colour_from"):
        seen_from(np.zeros((2, 2, 3)), mm_per_pixel=1, distance_mm=1000)
    with pytest.raises(InvalidInputError, match=r"three channels; got shape \(3,\).*seen_from"):
        seen_colour_from(np.zeros(3), mm_per_pixel=1, distance_mm=1000)
    with pytest.raises(InvalidInputError, match="known everywhere; got 1 unknown of 4.*Fill what is outside"):
        seen_from([[0.1, math.nan], [0.2, 0.3]], mm_per_pixel=1, distance_mm=1000)
    with pytest.raises(InvalidInputError, match="must have pixels"):
        seen_from(np.zeros((0, 3)), mm_per_pixel=1, distance_mm=1000)
