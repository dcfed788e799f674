"""Encoded colour to linear light, luminance, lightness and Munsell value, and back: against others' numbers."""

from __future__ import annotations

import csv
from pathlib import Path

import gold
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.color import lab2xyz, rgb2lab, xyz2lab

from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import (
    ADOBE_RGB,
    D65_WHITE,
    DISPLAY_P3,
    SRGB,
    RgbSpace,
    as_numbers,
    check_not_negative,
    check_triples,
    lab_to_chroma_hue,
    lab_to_xyz,
    lightness_to_grey8,
    lightness_to_luminance,
    lightness_to_munsell_value,
    linear_to_srgb1,
    luminance,
    luminance_to_lightness,
    luminance_to_munsell_value,
    munsell_value_to_lightness,
    munsell_value_to_luminance,
    srgb1_to_lightness,
    srgb1_to_linear,
    xyz_to_lab,
)

TEXTILES = Path(__file__).parents[2] / "shared" / "reference" / "vrhel_objects_Lab.csv"

# Our arithmetic against itself: a few times the last digit of numbers up to 100.
OURS = {"rtol": 0, "atol": 1e-12}
CODES = np.arange(256) / 255


@pytest.mark.parametrize(("srgb1", "linear"), gold.SRGB1_LINEAR)
def test_srgb_decodes_as_others_publish(srgb1, linear):
    """The curve or its straight foot would be wrong."""
    np.testing.assert_allclose(srgb1_to_linear(srgb1), linear, rtol=0, atol=gold.SRGB1_LINEAR_ATOL)


def test_every_code_survives_decoding_and_encoding():
    """Encode would not be the inverse of decode; the standard's own thresholds leave a gap below half a code."""
    np.testing.assert_allclose(linear_to_srgb1(srgb1_to_linear(CODES)), CODES, rtol=0, atol=1e-7)


@pytest.mark.parametrize(("srgb1", "lab"), gold.SRGB1_LAB)
def test_screen_primaries_have_the_published_lightness(srgb1, lab):
    """Luminance weights or the matrix would be wrong."""
    xyz = np.array(SRGB.to_xyz) @ srgb1_to_linear(srgb1)
    assert srgb1_to_lightness(srgb1) == pytest.approx(lab[0], abs=gold.SRGB1_LAB_ATOL[0])
    assert (np.abs(xyz_to_lab(xyz) - lab) <= gold.SRGB1_LAB_ATOL).all()


def test_a_middling_blue_has_the_published_lightness_to_twelve_digits():
    """The luminance weights would not be exactly IEC's 0.2126, 0.7152, 0.0722."""
    srgb1, lightness = gold.SRGB1_LIGHTNESS_EXACT
    assert srgb1_to_lightness(srgb1) == pytest.approx(lightness, abs=1e-10)
    assert SRGB.luminance_weights.tolist() == [0.2126, 0.7152, 0.0722]


def test_lightness_of_random_colours_agrees_with_scikit_image():
    """One of the two would be wrong; it rounds the luminance weights otherwise, by up to 0.008 L*."""
    colours = np.random.default_rng(0).random((50, 40, 3))
    np.testing.assert_allclose(srgb1_to_lightness(colours), rgb2lab(colours)[..., 0], rtol=0, atol=0.01)


@pytest.mark.parametrize(
    ("space", "row", "atol"),
    [(DISPLAY_P3, gold.DISPLAY_P3_LUMINANCE, 1e-8), (ADOBE_RGB, gold.ADOBE_RGB_LUMINANCE, 1e-12)],
    ids=["Display P3", "Adobe RGB"],
)
def test_wide_spaces_weigh_luminance_as_published(space, row, atol):
    """A photograph tagged with a wide space would be read in the wrong one."""
    assert space.luminance_weights == pytest.approx(row, abs=atol)


@pytest.mark.parametrize("space", [SRGB, DISPLAY_P3, ADOBE_RGB], ids=lambda s: s.name)
def test_spaces_agree_with_colour_science(space):
    """A curve or matrix would be mistyped. Adobe RGB's matrix is given to five decimals, hence the tolerance."""
    import colour

    theirs = colour.RGB_COLOURSPACES[space.name]
    codes = np.linspace(0, 1, 101)
    assert np.array(space.to_xyz) == pytest.approx(theirs.matrix_RGB_to_XYZ, abs=1e-12)
    for curve in space.curves:
        np.testing.assert_allclose(curve(codes), theirs.cctf_decoding(codes), rtol=0, atol=1e-12)


@pytest.mark.parametrize("space", [SRGB, DISPLAY_P3, ADOBE_RGB], ids=lambda s: s.name)
def test_white_is_white_in_every_space(space):
    """White cloth would get a tint or a lightness that is not 100: matrices of four and five decimals leave 0.01."""
    assert np.array(space.to_xyz).sum(axis=1) == pytest.approx(np.array(D65_WHITE), abs=1e-4)
    assert srgb1_to_lightness([1, 1, 1], space) == pytest.approx(100, abs=0.001)


def test_a_red_reads_lighter_when_its_tag_says_a_wider_space():
    """The tag would be ignored: numbers of colour-science and coloraide, three decimals."""
    red = np.array([200, 30, 40]) / 255
    got = [float(srgb1_to_lightness(red, space)) for space in (SRGB, DISPLAY_P3, ADOBE_RGB)]
    assert got == pytest.approx([43.302, 44.648, 49.643], abs=1e-3)


@pytest.mark.parametrize("bits", [1, 8, 16])
def test_the_table_of_a_space_is_its_curve_at_every_code(bits):
    """Pixels would be decoded by another curve than single colours; single precision keeps seven digits."""
    table = ADOBE_RGB.luts(bits)
    assert (3, 2**bits) == table.shape
    assert np.float32 == table.dtype
    codes = np.arange(2**bits) / (2**bits - 1)
    np.testing.assert_allclose(table[1], codes ** (563 / 256), rtol=1e-6)


def test_each_channel_of_a_table_has_its_own_curve():
    """A profile whose channels differ would be decoded by one of them."""
    space = RgbSpace("three curves", (np.sqrt, np.square, np.array), SRGB.to_xyz)
    assert space.luts(2)[:, 1] == pytest.approx([(1 / 3) ** 0.5, 1 / 9, 1 / 3], abs=1e-7)


@pytest.mark.parametrize("bits", [0, 17])
def test_impossible_pixel_depths_are_refused(bits):
    """A depth of 0 would make an empty table, and of 32 one of 48 GB."""
    with pytest.raises(InvalidInputError, match=f"1 to 16 bits a channel; got {bits}. Pass 8 or 16"):
        SRGB.luts(bits)


def test_luminance_needs_channels_last():
    """Rows would be taken for channels."""
    assert luminance(np.ones((4, 5, 3))).shape == (4, 5)
    with pytest.raises(InvalidInputError, match=r"last axis, shape \(\.\.\., 3\); got shape \(3, 4\). Pass the three"):
        luminance(np.ones((3, 4)))


@pytest.mark.parametrize(
    ("luminance1", "lightness"),
    # Exact arithmetic of ISO/CIE 11664-4: 12.5 % is L* 42 and the knee 216/24389 is L* 8; 0.5 % lies below it.
    [(0, 0), (0.005, 24389 / 27 * 0.005), (216 / 24389, 8), (0.125, 42), (1, 100), (8, 216)],
)
def test_lightness_of_luminances_that_come_out_even(luminance1, lightness):
    """The cube root, the straight foot or their knee would be wrong, or a glint would be cut off at 100."""
    assert luminance_to_lightness(luminance1) == pytest.approx(lightness, abs=1e-12)
    assert lightness_to_luminance(lightness) == pytest.approx(luminance1, abs=1e-14)


def test_lightness_agrees_with_colour_science_at_every_luminance():
    """One of the two would be wrong."""
    import colour

    percent = np.linspace(0, 120, 2401)
    np.testing.assert_allclose(luminance_to_lightness(percent / 100), colour.lightness(percent), **OURS)


def test_textile_table_has_the_lightness_of_its_luminance():
    """Measured cloth, fruit and paint would get another L* than the table says, which rounds Y and L* to 0.005."""
    if not TEXTILES.exists():
        pytest.skip(f"{TEXTILES} is not there: the table of measured objects is kept beside the project")
    with TEXTILES.open(newline="") as file:
        rows = list(csv.DictReader(file))
    luminance1 = np.array([float(row["Y_D65"]) for row in rows]) / 100
    stated = np.array([float(row["L_D65"]) for row in rows])
    low, high = (luminance_to_lightness(luminance1 + step) for step in (-0.5e-4, 0.5e-4))
    assert sum(row["is_textile"] == "1" for row in rows) > 30
    assert ((low - 0.0051 < stated) & (stated < high + 0.0051)).all()


@pytest.mark.parametrize(("value", "percent"), gold.MUNSELL_LUMINANCE)
def test_munsell_values_have_the_luminance_of_astm_d1535(value, percent):
    """A coefficient of the polynomial would be mistyped."""
    assert 100 * munsell_value_to_luminance(value) == pytest.approx(percent, abs=gold.MUNSELL_LUMINANCE_ATOL)
    assert luminance_to_munsell_value(percent / 100) == pytest.approx(value, abs=1e-6)  # six decimals are given


def test_munsell_value_of_a_luminance_as_colour_science_prints_it():
    """The inverse would be wrong."""
    percent, value = gold.LUMINANCE_MUNSELL
    assert luminance_to_munsell_value(percent / 100) == pytest.approx(value, abs=gold.LUMINANCE_MUNSELL_ATOL)


def test_munsell_polynomial_agrees_with_colour_science_everywhere():
    """One of the two would be wrong."""
    import colour

    values = np.linspace(0, 10, 101)
    theirs = colour.colorimetry.luminance_ASTMD1535(values) / 100
    np.testing.assert_allclose(munsell_value_to_luminance(values), theirs, rtol=0, atol=1e-14)


def test_every_munsell_value_comes_back_from_its_luminance():
    """Newton's steps would stop short, or leave their bracket near black where the polynomial is flattest."""
    values = np.linspace(0, 10, 100_001)
    np.testing.assert_allclose(luminance_to_munsell_value(munsell_value_to_luminance(values)), values, **OURS)
    np.testing.assert_allclose(lightness_to_munsell_value(munsell_value_to_lightness(values)), values, **OURS)


def test_munsell_value_is_about_a_tenth_of_lightness():
    """The rule teachers use would be off by more than the 1.06 L* it is known to be, at value 5.67."""
    values = np.linspace(0, 10, 1001)
    excess = munsell_value_to_lightness(values) - 10 * values
    assert excess.min() > -1e-9
    assert excess.max() == pytest.approx(1.06, abs=0.005)
    assert values[excess.argmax()] == pytest.approx(5.67, abs=0.01)


def test_munsell_scale_ends_at_white():
    """A glint would get a value above 10, which the scale does not have."""
    assert luminance_to_munsell_value([1, 1.3, 100]).tolist() == [10, 10, 10]
    assert lightness_to_munsell_value(130) == 10


@pytest.mark.parametrize(("xyz100", "lab"), gold.XYZ100_LAB)
def test_xyz_to_lab_as_published(xyz100, lab):
    """a* or b* would be swapped, mis-scaled or taken against another white."""
    got = xyz_to_lab(np.array(xyz100) / 100)
    assert got == pytest.approx(np.array(lab), abs=gold.XYZ100_LAB_ATOL)
    assert lab_to_xyz(got) == pytest.approx(np.array(xyz100) / 100, abs=1e-15)


@pytest.mark.parametrize(("xyz100", "lch"), gold.XYZ100_LCH)
def test_chroma_and_hue_as_published(xyz100, lch):
    """Hue would run the wrong way round or be in radians."""
    chroma, hue = lab_to_chroma_hue(xyz_to_lab(np.array(xyz100) / 100))
    assert chroma == pytest.approx(lch[1], abs=gold.XYZ100_LAB_ATOL)
    assert hue == pytest.approx(lch[2], abs=0.02)  # degrees: 0.02 of 57 chroma


def test_lab_agrees_with_scikit_image_both_ways():
    """One of the two would be wrong; its white is rounded to five decimals."""
    xyz = np.random.default_rng(1).random((30, 30, 3))
    lab = xyz_to_lab(xyz)
    np.testing.assert_allclose(lab, xyz2lab(xyz), rtol=0, atol=0.03)
    np.testing.assert_allclose(lab_to_xyz(lab), lab2xyz(lab), rtol=0, atol=3e-4)


def test_greys_have_no_hue_and_hues_stay_below_a_full_turn():
    """A hue of 360 would be another number than 0 for the same colour."""
    chroma, hue = lab_to_chroma_hue([[50, 0, 0], [50, 1, -1e-20], [50, 0, -3], [50, -2, 0]])
    assert chroma.tolist() == [0, 1, 3, 2]
    assert hue.tolist() == [0, 0, 270, 180]


def test_grey_of_equal_lightness_is_the_nearest_code():
    """The grey beside a swatch would be lighter or darker than the swatch by more than half a code."""
    greys = srgb1_to_lightness(np.repeat(CODES[:, None], 3, axis=1))
    assert lightness_to_grey8(greys).tolist() == list(range(256))
    assert lightness_to_grey8(130) == 255
    assert np.uint8 == lightness_to_grey8([50]).dtype


def test_a_grey_of_unknown_lightness_is_refused():
    """nan would become some grey or other."""
    with pytest.raises(InvalidInputError, match="must be known to be shown as a grey; got nan. Leave unknown"):
        lightness_to_grey8([50, np.nan])


def test_mean_of_light_is_not_mean_of_lightness():
    """Averaging codes or L* would pass for averaging light: half black, half white is L* 76, not 50 (SMPTE grey)."""
    checks = np.array([[0, 0, 0], [1, 1, 1]])
    mean = luminance(srgb1_to_linear(checks)).mean()
    assert luminance_to_lightness(mean) == pytest.approx(76.0693, abs=1e-4)


@given(st.lists(st.floats(0, 200), min_size=1, max_size=20))
def test_lighter_stays_lighter_on_every_scale(lightness):
    """A scale would not be monotone, so that sorting by it changed the order."""
    ordered = np.sort(lightness)
    for scale in (lightness_to_luminance, lightness_to_munsell_value, lightness_to_grey8):
        assert (np.diff(scale(ordered).astype(float)) >= 0).all()
    there_and_back = luminance_to_lightness(lightness_to_luminance(ordered))
    np.testing.assert_allclose(there_and_back, ordered, rtol=1e-12, atol=1e-300)


@pytest.mark.parametrize(
    "scale",
    [srgb1_to_linear, linear_to_srgb1, luminance_to_lightness, lightness_to_luminance, munsell_value_to_luminance,
     luminance_to_munsell_value, lightness_to_munsell_value, munsell_value_to_lightness],
    ids=lambda f: f.__name__,
)
class TestEveryScale:
    def test_keeps_shape_and_unknown(self, scale):
        """nan would become a number, or a table column another shape."""
        got = scale([[0.5, np.nan], [0.25, 1]])
        assert np.isnan(got).tolist() == [[False, True], [False, False]]

    def test_gives_a_number_for_a_number(self, scale):
        """round(...) of the answer would fail, as it does on an array without an axis."""
        assert isinstance(scale(0.5), float)

    def test_takes_nothing_for_nothing(self, scale):
        """An empty table would be an error."""
        assert scale([]).shape == (0,)

    def test_refuses_what_is_below_nothing(self, scale):
        """A negative would give a number that means nothing."""
        with pytest.raises(InvalidInputError, match=r"must (lie in 0-|be 0 or more).*smallest value is -0\.1\. [A-Z]"):
            scale([0.5, -0.1])

    def test_lets_rounding_pass(self, scale):
        """A product of matrices that misses 0 by a millionth would stop the work."""
        assert scale(-1e-7) == scale(0)

    def test_refuses_words(self, scale):
        """A text column would end in an error of numpy's that names nothing."""
        with pytest.raises(InvalidInputError, match="must be numbers; could not convert.*Pass a number or an array"):
            scale(["dark"])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: srgb1_to_lightness([128, 3, 4]), "srgb1 must lie in 0-1; its largest value is 128. .*divide by 255"),
        (lambda: srgb1_to_linear(2), "srgb1 must lie in 0-1; its largest value is 2. .*divide by 255 first"),
        (lambda: linear_to_srgb1([1.5]), "linear must lie in 0-1; its largest value is 1.5. Clip what is brighter"),
        (lambda: munsell_value_to_luminance(50), "value must lie in 0-10; its largest value is 50. .*for L\\* use"),
        (lambda: srgb1_to_lightness([0.5, 0.5]), r"srgb1 must have three numbers .*got shape \(2,\)"),
        (lambda: xyz_to_lab(0.5), r"xyz must have three numbers .*got shape \(\)"),
        (lambda: lab_to_xyz([[1, 2]]), r"lab must have three numbers .*got shape \(1, 2\)"),
        (lambda: lab_to_chroma_hue([1, 2]), r"lab must have three numbers .*got shape \(2,\)"),
        (lambda: as_numbers("weight", [[1], [1, 2]]), "weight must be numbers; .*Pass a number or an array"),
        (lambda: check_not_negative("chroma", -2, "Pass C*ab."), r"chroma must be 0 or more; .* is -2. Pass C\*ab."),
        (lambda: check_triples("lab", [1]), r"lab must have three numbers .*Pass the three together"),
    ],
)
def test_what_cannot_be_right_is_refused_with_the_remedy(call, message):
    """The wrong scale or shape would go through and give a wrong lightness."""
    with pytest.raises(InvalidInputError, match=message):
        call()


def test_inputs_are_left_as_they_are():
    """Clipping or sorting in place would change the caller's table."""
    values = np.array([[-1e-9, 0.5, 1 + 1e-9]])
    before = values.copy()
    srgb1_to_lightness(values), luminance_to_munsell_value(values), linear_to_srgb1(values)
    assert (values == before).all()
