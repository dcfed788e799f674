"""Ways to look at a picture, tested by the light that comes out."""

import cv2
import numpy as np
import pytest
from gold import SRGB1_LAB

from contrastkit.compose.groups import Breaks, fixed_breaks
from contrastkit.errors import InvalidInputError
from contrastkit.light.distance import seen_colour_from
from contrastkit.light.lightness import lightness_to_luminance, luminance, luminance_to_lightness, srgb1_to_linear
from contrastkit.light.vision import EYES, as_seen_by, by_lamp
from contrastkit.show.crops import encoded
from contrastkit.show.views import (
    VIEWS,
    Viewing,
    by_warm_lamp,
    from_afar,
    in_grey,
    in_values,
    size_from_afar,
    to_eyes,
    view_named,
)

VIEWING = Viewing(mm_per_pixel=0.25)


def flat(lightness, shape=(40, 40)):
    """An even grey picture."""
    return np.full((*shape, 3), lightness_to_luminance(lightness), np.float32)


def halves(left, right, shape=(80, 80)):
    picture = flat(left, shape)
    picture[:, shape[1] // 2 :] = lightness_to_luminance(right)
    return picture


def lightness_of(picture):
    return luminance_to_lightness(luminance(picture))


def tones_of(picture):
    """The L* in a picture, rounded, dark to light."""
    return sorted(set(np.round(lightness_of(picture)).ravel().tolist()))


# True grey.


@pytest.mark.parametrize(("srgb1", "lab"), SRGB1_LAB)
def test_a_colour_becomes_the_grey_of_its_own_lightness(srgb1, lab):
    """Red would be drawn too light, blue too dark. Gold: L* by two independent calculators, to 0.01."""
    grey = in_grey(srgb1_to_linear(np.array(srgb1, float)).reshape(1, 1, 3).astype(np.float32))
    assert np.ptp(grey) == 0
    assert float(lightness_of(grey)[0, 0]) == pytest.approx(lab[0], abs=0.01)


@pytest.mark.parametrize("lightness", [2, 7.9, 8.1, 25, 40, 55.5, 70, 85, 96, 100])
def test_a_grey_that_is_drawn_reads_back_as_its_lightness(lightness):
    """The grey beside a swatch would not be its grey. Half an 8-bit code is at most 0.3 L* from L* 2 upwards."""
    codes = encoded(in_grey(flat(lightness)))
    assert float(lightness_of(srgb1_to_linear(codes / 255))[0, 0]) == pytest.approx(lightness, abs=0.3)


def test_grey_keeps_the_light_of_every_pixel():
    """What is lighter could be drawn darker."""
    picture = np.random.default_rng(3).uniform(0, 1, (30, 40, 3)).astype(np.float32)
    assert luminance(in_grey(picture)) == pytest.approx(luminance(picture), abs=1e-6)


# A few values.


def test_values_are_the_greys_of_the_groups():
    """A group would be drawn in another grey than in every chart."""
    strip = np.concatenate([flat(20), flat(55), flat(90)], axis=1)
    values = in_values(strip, fixed_breaks())
    assert tones_of(values) == [25, 55, 85]
    assert np.round(lightness_of(values)[20, [10, 60, 110]]).tolist() == [25, 55, 85]


def test_as_many_values_as_there_are_groups():
    """Whoever sorts into five groups would be shown three."""
    breaks = Breaks((20, 40, 60, 80), ("a", "b", "c", "d", "e"))
    strip = np.concatenate([flat(lightness) for lightness in (10, 30, 50, 70, 90)], axis=1)
    assert tones_of(in_values(strip, breaks)) == [25, 40, 55, 70, 85]


def test_a_lightness_on_an_edge_goes_to_the_darker_group():
    """The picture would contradict the table."""
    assert tones_of(in_values(flat(39.9), fixed_breaks())) == [25]
    assert tones_of(in_values(flat(40.1), fixed_breaks())) == [55]


def test_an_edge_between_dark_and_light_has_no_medium_along_it():
    """Blurred before it is sorted, each bold seam would be drawn round in medium grey."""
    values = in_values(halves(20, 90), fixed_breaks(), squint=0.1)
    assert tones_of(values) == [25, 85]
    assert lightness_of(values)[:, 39].max() < 30
    assert lightness_of(values)[:, 40].min() > 80


def test_fine_marks_run_together_in_light():
    """A rubbing would be drawn mark by mark, or by the mean of codes: half black, half white is L* 76, not 50."""
    checks = np.where(np.indices((80, 80)).sum(axis=0) % 2, 1.0, 0.0).astype(np.float32)
    assert tones_of(in_values(np.repeat(checks[..., None], 3, axis=2), fixed_breaks())) == [85]


@pytest.mark.parametrize(("rows", "cols", "tones"), [(2, 2, [55]), (4, 60, [55]), (16, 16, [55, 85])])
def test_a_speck_goes_to_what_is_round_it_and_a_patch_stays(rows, cols, tones):
    """A glint or a scratch would be drawn as a light of its own, or a layer be lost."""
    picture = flat(55, (80, 80))
    picture[30 : 30 + rows, 10 : 10 + cols] = lightness_to_luminance(95)
    assert tones_of(in_values(picture, fixed_breaks(), squint=0.1)) == tones


@pytest.mark.parametrize("seed", range(3))
def test_every_patch_is_somewhere_as_wide_as_a_brush(seed):
    """A blotchy piece near an edge between groups would be drawn as a thousand crumbs."""
    noise = cv2.GaussianBlur(np.random.default_rng(seed).normal(0, 1, (200, 200)), (0, 0), 4)
    lightness = 55 + 20 * noise / noise.std()
    picture = np.repeat(lightness_to_luminance(np.clip(lightness, 0, 100))[..., None], 3, axis=2)
    tones = np.round(lightness_of(in_values(picture, fixed_breaks(), squint=0.1)))
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (11, 11))  # a squint is 20 pixels here
    for tone in np.unique(tones):
        own = (tones == tone).astype(np.uint8)
        count, patches = cv2.connectedComponents(own, connectivity=4)
        assert set(patches[cv2.erode(own, brush) > 0]) | {0} == set(range(count))


def test_with_open_eyes_nothing_runs_together():
    """No squint would still smear."""
    checks = np.where(np.indices((8, 8)).sum(axis=0) % 2, 0.9, 0.01).astype(np.float32)
    assert tones_of(in_values(np.repeat(checks[..., None], 3, axis=2), fixed_breaks(), squint=0)) == [25, 85]


# From afar.


@pytest.mark.parametrize("distance_mm", [1000, 3000, 8000])
def test_distance_moves_light_and_neither_adds_nor_takes(distance_mm):
    """A work would seem to grow lighter or darker the further off one stands. An even margin keeps all light inside."""
    picture = flat(40, (240, 240))
    picture[90:150, 90:150] = np.random.default_rng(5).uniform(0, 1, (60, 60, 1))
    seen = from_afar(picture, mm_per_pixel=0.25, distance_mm=distance_mm)
    # Enlarging again is even to 1e-3 of the light; the blur itself is exact.
    assert luminance(seen).mean() == pytest.approx(luminance(picture).mean(), rel=2e-3)


@pytest.mark.parametrize("distance_mm", [500, 3000, 5000])
def test_shrinking_first_changes_little(distance_mm):
    """The quick way would show another picture than the full blur: 0.5 L* is less than can be seen side by side."""
    picture = np.zeros((240, 240, 3), np.float32) + np.float32([0.5, 0.1, 0.1])
    picture[60:180, 60:180] = (0.1, 0.4, 0.6)
    picture[100:140, 100:104] = 0.9
    full = seen_colour_from(picture, mm_per_pixel=0.15, distance_mm=distance_mm)
    quick = from_afar(picture, mm_per_pixel=0.15, distance_mm=distance_mm)
    assert quick.shape == picture.shape
    assert lightness_of(quick) == pytest.approx(lightness_of(full), abs=0.5)


def test_greys_stay_grey_and_fine_marks_fade_from_afar():
    """Stripes one sees near by would still be sharp across a room, or turn coloured."""
    stripes = np.repeat(np.tile(np.float32([0.1, 0.1, 0.8, 0.8]), (80, 20))[..., None], 3, axis=2)
    seen = from_afar(stripes, mm_per_pixel=0.25, distance_mm=5000)
    assert np.ptp(seen, axis=2).max() < 1e-5
    assert np.ptp(lightness_of(seen)[40, 20:60]) < 0.1 * np.ptp(lightness_of(stripes))


def test_a_thing_is_drawn_as_small_as_it_looks():
    """Gold: 300 mm at 5 m is 36 mm on a page at 60 cm, by similar triangles."""
    assert size_from_afar(300, 5000) == pytest.approx(36)
    assert size_from_afar(100, 2000, reading_mm=400) == pytest.approx(20)


# By a lamp, with other eyes.


def test_views_by_a_lamp_and_with_other_eyes_are_what_light_makes_of_pixels():
    """A picture would go another way than the numbers that are told with it."""
    picture = np.random.default_rng(5).uniform(0, 1, (6, 7, 3)).astype(np.float32)
    lit = {"lamp": by_lamp(picture)} | {eyes: as_seen_by(picture, eyes) for eyes in EYES}
    for name, expected in lit.items():
        assert view_named(name).see(picture, VIEWING) == pytest.approx(expected, abs=1e-6)  # 32-bit light


def test_the_lamp_and_the_severity_can_be_chosen():
    """An old lamp would be taken for a new one, weak eyes for blind ones."""
    picture = np.full((2, 2, 3), (0.5, 0.1, 0.05), np.float32)
    assert by_warm_lamp(picture, lamp="filament") == pytest.approx(by_lamp(picture, "filament"), abs=1e-6)
    weak = as_seen_by(picture, "deutan", severity=0.4)
    assert to_eyes(picture, "deutan", severity=0.4) == pytest.approx(weak, abs=1e-6)
    with pytest.raises(InvalidInputError, match=r"A lamp must be one of filament, LED; got 'sun'"):
        by_warm_lamp(picture, lamp="sun")


# All of them.


@pytest.mark.parametrize("name", VIEWS)
def test_every_view_keeps_the_shape_and_leaves_the_picture_alone(name):
    """A row of pictures would not match, or the second view be made of the first."""
    picture = np.random.default_rng(1).uniform(0, 1, (50, 70, 3)).astype(np.float32)
    before = picture.copy()
    seen = view_named(name).see(picture, VIEWING)
    assert seen.shape == picture.shape
    assert seen.dtype == np.float32
    assert seen.min() >= 0 and seen.max() <= 1 + 1e-6
    assert (picture == before).all()


@pytest.mark.parametrize(
    ("name", "viewing", "words"),
    [
        ("colour", VIEWING, "in colour"),
        ("grey", VIEWING, "in grey"),
        ("values", VIEWING, "in three values"),
        ("values", Viewing(1, breaks=Breaks((50,), ("dark", "light"))), "in two values"),
        ("far", VIEWING, "as seen from 3 m"),
        ("far", Viewing(1, distance_mm=2500), "as seen from 2.5 m"),
        ("lamp", VIEWING, "by a warm lamp"),
        ("protan", VIEWING, "to eyes that take red for dark"),
        ("deutan", VIEWING, "to eyes that mix up red and green"),
        ("tritan", VIEWING, "to eyes that mix up blue and green"),
    ],
)
def test_every_view_says_what_it_is(name, viewing, words):
    """Nobody would know how far off, or how many values."""
    assert view_named(name).words(viewing) == words


@pytest.mark.parametrize("name", VIEWS)
@pytest.mark.parametrize(
    ("picture", "message"),
    [
        (np.zeros((4, 4)), r"linear RGB of shape \(rows, cols, 3\); got shape \(4, 4\)"),
        (np.zeros((0, 4, 3)), r"got shape \(0, 4, 3\)"),
        (np.full((2, 2, 3), -0.1), r"known light of 0 or more everywhere; 12 numbers are not"),
        (np.full((2, 2, 3), np.nan), r"12 numbers are not\. Pass linear light"),
    ],
)
def test_what_is_no_picture_is_refused(name, picture, message):
    """Unknown light would spread over the whole picture, or be drawn black."""
    with pytest.raises(InvalidInputError, match=message):
        view_named(name).see(picture, VIEWING)


def test_an_unknown_view_and_impossible_numbers_are_refused():
    """A typing error would leave out a picture without a word."""
    with pytest.raises(InvalidInputError, match=r"one of colour, grey, values, far.*; got 'gray'\. Pick one"):
        view_named("gray")
    with pytest.raises(InvalidInputError, match=r"squint must lie in 0-0\.5 of the .*; got 5"):
        in_values(flat(50), fixed_breaks(), squint=5)
    with pytest.raises(InvalidInputError, match=r"A viewing distance must be above 0; got 0 mm"):
        from_afar(flat(50), mm_per_pixel=1, distance_mm=0)
    with pytest.raises(InvalidInputError, match=r"A pixel must be larger than 0 mm on the work; got 0"):
        from_afar(flat(50), mm_per_pixel=0, distance_mm=3000)
    with pytest.raises(InvalidInputError, match=r"above 0 mm; got 100, 0 and 600\. Pass millimetres"):
        size_from_afar(100, 0)
