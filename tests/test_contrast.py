"""Differences between neighbours: against published tables and other libraries."""

from __future__ import annotations

import gold
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from skimage.color import deltaE_ciede2000

from contrastkit.errors import InvalidInputError
from contrastkit.light.contrast import (
    access_yardsticks,
    bowman_sapolinski,
    ciede2000,
    lightness_difference,
    michelson,
    reflectance_difference,
    w3c_ratio,
    weber_to_background,
    weber_to_lighter,
)
from contrastkit.light.lightness import lightness_to_luminance, luminance, luminance_to_lightness, srgb1_to_linear

SYMMETRIC = [weber_to_lighter, michelson, w3c_ratio, reflectance_difference, bowman_sapolinski]
EVERY = [*SYMMETRIC, weber_to_background]
ARITHMETIC = 1e-12  # a few roundings of numbers up to 100


def grey_luminance(code):
    return luminance(srgb1_to_linear(np.full(3, code / 255)))


def test_lightness_difference_keeps_its_sign():
    """Which of the two is lighter would be lost."""
    assert lightness_difference([80, 35], 50).tolist() == [30, -15]


def test_the_measures_of_18_and_36_per_cent():
    """One would be divided by the wrong luminance: reckoned by hand, a stop apart."""
    pair = (0.18, 0.36)
    assert weber_to_lighter(*pair) == pytest.approx(0.5, abs=ARITHMETIC)
    assert weber_to_background(0.36, 0.18) == pytest.approx(1, abs=ARITHMETIC)
    assert weber_to_background(0.18, 0.36) == pytest.approx(-0.5, abs=ARITHMETIC)
    assert michelson(*pair) == pytest.approx(1 / 3, abs=ARITHMETIC)
    assert w3c_ratio(*pair) == pytest.approx(0.41 / 0.23, abs=ARITHMETIC)
    assert reflectance_difference(*pair) == pytest.approx(18, abs=ARITHMETIC)
    assert bowman_sapolinski(*pair) == pytest.approx(125 * 18 / 79, abs=ARITHMETIC)


def test_w3c_ratio_finds_the_lightest_grey_for_text_on_white():
    """A screen pair that passes would be called failing, or the other way."""
    grey = gold.W3C_LIGHTEST_GREY_AT_4_5
    assert w3c_ratio(1, 0) == pytest.approx(gold.W3C_BLACK_ON_WHITE, abs=ARITHMETIC)
    assert w3c_ratio(1, grey_luminance(grey)) >= 4.5
    assert w3c_ratio(1, grey_luminance(grey + 1)) < 4.5


def test_bowman_sapolinski_reaches_30_at_the_published_reflectances():
    """The worked example of the access code would not come out; it is printed in whole points."""
    base, neighbours = gold.BOWMAN_SAPOLINSKI_30
    points = np.linspace(0, 100, 100_001)
    reaching = points[bowman_sapolinski(base / 100, points / 100) >= 30]
    darker, lighter = reaching[reaching < base].max(), reaching[reaching > base].min()
    assert (round(darker), round(lighter)) == neighbours


def test_bowman_sapolinski_30_is_about_two_steps_of_lightness():
    """The docstring would promise the wrong thing: 18 to 22 L* above darker surfaces of L* 20 to 70."""
    lighter = np.linspace(0, 100, 10_001)
    for darker in range(20, 71, 10):
        contrast = bowman_sapolinski(lightness_to_luminance(darker), lightness_to_luminance(lighter))
        step = lighter[(contrast >= 30) & (lighter > darker)].min() - darker
        assert 18 <= round(step) <= 22


@pytest.mark.parametrize("measure", SYMMETRIC, ids=lambda f: f.__name__)
def test_order_of_a_pair_does_not_matter(measure):
    """The contrast of a seam would depend on which piece was named first."""
    a, b = np.random.default_rng(0).random((2, 50))
    assert (measure(a, b) == measure(b, a)).all()


@pytest.mark.parametrize("measure", EVERY, ids=lambda f: f.__name__)
def test_equal_surfaces_have_no_contrast(measure):
    """Two pieces of one value would be said to differ; a ratio of nothing is 1, and black on black counts too."""
    none = 1 if measure is w3c_ratio else 0
    assert measure([0, 0.2, 1], [0, 0.2, 1]).tolist() == [none] * 3


@pytest.mark.parametrize("measure", EVERY, ids=lambda f: f.__name__)
def test_a_lighter_neighbour_is_further_away(measure):
    """A measure would fall while the difference grows."""
    assert (np.diff(measure(np.linspace(0.1, 1, 50), 0.1)) > 0).all()


@pytest.mark.parametrize("measure", EVERY, ids=lambda f: f.__name__)
def test_unknown_luminance_stays_unknown(measure):
    """nan would count as black."""
    assert np.isnan(measure([np.nan, 0.5], 0.2)).tolist() == [True, False]


@pytest.mark.parametrize("measure", EVERY, ids=lambda f: f.__name__)
def test_negative_luminance_is_refused(measure):
    """Light less than none would give contrasts beyond every scale."""
    with pytest.raises(InvalidInputError, match="must be 0 or more; its smallest value is -0.3. Light cannot"):
        measure(0.4, -0.3)


def test_anything_on_a_background_without_light_is_infinitely_lighter():
    """A division by zero would warn or become nan."""
    assert weber_to_background([0.1, 0], 0).tolist() == [np.inf, 0]


def test_yardsticks_gather_the_single_measures():
    """A field would hold another measure than its name says."""
    got = access_yardsticks(0.6, 0.05)
    assert got.lightness_step == luminance_to_lightness(0.6) - luminance_to_lightness(0.05)
    assert got.reflectance_points == reflectance_difference(0.6, 0.05)
    assert got.bowman_sapolinski == bowman_sapolinski(0.6, 0.05)
    assert got.michelson == michelson(0.6, 0.05)
    assert got.weber == weber_to_lighter(0.6, 0.05)
    assert got.w3c_ratio == w3c_ratio(0.6, 0.05)
    assert got.lighter_luminance1 == 0.6


POINTS_20, POINTS_30 = "meets_bs_8300_large_or_bright", "meets_bs_8300"
AS_30, DIN_04, DIN_07 = "meets_as_1428", "meets_din_32975_orientation", "meets_din_32975_safety"


@pytest.mark.parametrize(
    ("pair", "met"),
    [
        # Limits met to the point, where rounding could miss them, and just missed.
        ((0.7, 0.4), {POINTS_20, POINTS_30}),
        ((0.6, 0.4), {POINTS_20}),
        ((0.599, 0.4), set()),
        ((0.7, 0.3), {POINTS_20, POINTS_30, AS_30, DIN_04}),
        ((0.5, 0.2), {POINTS_20, POINTS_30, AS_30, DIN_04}),
        ((0.49, 0.03), {POINTS_20, POINTS_30, AS_30}),  # DIN wants a lighter surface of 0.5
        ((0.85, 0.15), {POINTS_20, POINTS_30, AS_30, DIN_04, DIN_07}),
        ((0.2, 0.115 / 1.55), {AS_30}),  # 125 (20 - Y) = 30 (45 + Y)
        ((0.2, 0.0743), set()),
    ],
)
def test_each_access_code_has_its_own_limit(pair, met):
    """A pair would pass a code it fails, or fail one it meets to the point."""
    got = access_yardsticks(*pair)
    assert met == {name for name in dir(got) if name.startswith("meets_") and getattr(got, name)}


@pytest.mark.parametrize("luminance1", [np.nan, [0.1, 0.2], []])
def test_yardsticks_want_one_known_luminance(luminance1):
    """An array would be judged by one of its values, or nan fail every code silently."""
    with pytest.raises(InvalidInputError, match="one known luminance with another; got .* Pass two numbers"):
        access_yardsticks(luminance1, 0.5)


@pytest.mark.parametrize(("lab_a", "lab_b", "difference"), gold.CIEDE2000)
def test_ciede2000_of_the_published_pairs(lab_a, lab_b, difference):
    """An angle would be averaged the wrong way round: the pairs were chosen to show that."""
    assert ciede2000(lab_a, lab_b) == pytest.approx(difference, abs=gold.CIEDE2000_ATOL)
    assert ciede2000(lab_b, lab_a) == pytest.approx(difference, abs=gold.CIEDE2000_ATOL)


def test_ciede2000_agrees_with_scikit_image_on_random_pairs():
    """One of the two would be wrong."""
    rng = np.random.default_rng(2)
    a, b = (rng.uniform((0, -90, -90), (100, 90, 90), (40, 30, 3)) for _ in range(2))
    np.testing.assert_allclose(ciede2000(a, b), deltaE_ciede2000(a, b), rtol=0, atol=1e-10)


def test_ciede2000_agrees_with_colour_science_on_random_pairs():
    """One of the two would be wrong."""
    import colour

    rng = np.random.default_rng(3)
    a, b = (rng.uniform((0, -90, -90), (100, 90, 90), (500, 3)) for _ in range(2))
    np.testing.assert_allclose(ciede2000(a, b), colour.delta_E(a, b, method="CIE 2000"), rtol=0, atol=1e-10)


@given(arrays(float, (2, 3), elements=st.floats(-100, 100, width=16)))
def test_ciede2000_is_never_negative_and_nothing_for_a_colour_and_itself(pair):
    """The square root would be taken of less than nothing, or a piece differ from itself."""
    assert ciede2000(pair[0], pair[1]) >= 0
    assert ciede2000(pair, pair).tolist() == [0, 0]


def test_ciede2000_compares_one_colour_with_many():
    """Shapes would have to be matched by hand."""
    assert ciede2000([50, 0, 0], np.zeros((4, 5, 3))).shape == (4, 5)


def test_ciede2000_needs_whole_colours():
    """Two numbers would pass for a colour."""
    with pytest.raises(InvalidInputError, match=r"lab_b must have three numbers on its last axis.*got shape \(2,\)"):
        ciede2000([50, 0, 0], [50, 0])
