"""Viewing films: against spectra integrated by colour-science, which the package itself never asks."""

from __future__ import annotations

import warnings
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from contrastkit.camera.synthetic import paint_reflectances
from contrastkit.errors import InvalidInputError
from contrastkit.light.films import FILMS, film_named, lightness_through, luminance_through
from contrastkit.light.lightness import SRGB, lab_to_xyz, luminance_to_lightness, xyz_to_lab

WAVELENGTHS = np.arange(380, 781, 5)
# Middle wavelength and width, nm, as the module describes them.
PARTS = {"red": (600, 6), "green": (530, 70)}


def colour_module():
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=".*related API features are not available.*")
        import colour
    return colour


def transmission(film, shift=0):
    middle, width = PARTS[film]
    away = WAVELENGTHS - middle - shift
    return 0.9 / (1 + np.exp(-away / width)) if film == "red" else 0.6 * np.exp(-4 * np.log(2) * (away / width) ** 2)


def xyz_by_daylight(spectrum):
    """By colour-science, the perfect diffuser having Y 100."""
    colour = colour_module()
    distribution = colour.SpectralDistribution(spectrum, WAVELENGTHS)
    matching = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(colour.SpectralShape(380, 780, 5))
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(colour.SpectralShape(380, 780, 5))
    return colour.sd_to_XYZ(distribution, matching, light, method="Integration")


@lru_cache(maxsize=1)
def samples():
    from colour.quality.cfi2017 import load_TCS_CIE2017

    return load_TCS_CIE2017(colour_module().SpectralShape(380, 780, 5)).values.T


@lru_cache(maxsize=1)
def chart():
    patches = colour_module().SDS_COLOURCHECKERS["BabelColor Average"]
    return {name: np.interp(WAVELENGTHS, patch.wavelengths, patch.values) for name, patch in patches.items()}


@lru_cache(maxsize=1)
def paints():
    inside = np.arange(400, 701, 5)
    return np.array([np.interp(WAVELENGTHS, inside, row) for row in paint_reflectances()])


SETS = {"samples": samples, "chart": lambda: np.array([*chart().values()]), "paints": paints}


@lru_cache(maxsize=16)
def light_of_all(name, film, shift=0):
    return light_through(SETS[name](), film, shift)


@lru_cache(maxsize=4)
def linear_of_all(name):
    return linear_of(SETS[name]())


def light_through(reflectances, film, shift=0):
    """What comes through, relative to what white sends through."""
    passed = transmission(film, shift)
    white = xyz_by_daylight(passed)[1]
    return np.array([xyz_by_daylight(row * passed)[1] for row in reflectances]) / white


def linear_of(reflectances):
    """Linear sRGB by daylight, brought to sRGB's own white, whose last digits are rounded otherwise."""
    xyz = np.array([xyz_by_daylight(row) for row in reflectances]) / xyz_by_daylight(np.ones_like(WAVELENGTHS, float))
    return xyz * np.array(SRGB.to_xyz).sum(axis=1) @ np.linalg.inv(SRGB.to_xyz).T


def slope(ratio):
    """Of the f of CIELAB (CIE 15)."""
    knee = 216 / 24389
    return np.where(ratio > knee, np.maximum(ratio, knee) ** (-2 / 3) / 3, 24389 / 27 / 116)


def terms(linear):
    light = np.maximum(linear, 0)
    return np.column_stack([linear, np.sqrt(light[:, (0, 0, 1)] * light[:, (1, 2, 2)])])


def errors_of(name, film):
    """What the weights are off in L*, and how far L* moves at all."""
    there, linear = luminance_to_lightness(light_of_all(name, film)), linear_of_all(name)
    off = luminance_to_lightness(luminance_through(linear, film)) - there
    shift = there - luminance_to_lightness(linear @ SRGB.luminance_weights)
    return off, shift


def other_films(film):
    """How far L* of the paints moves through films 10 nm to either side."""
    usual = luminance_to_lightness(light_of_all("paints", film))
    return np.concatenate([luminance_to_lightness(light_of_all("paints", film, by)) - usual for by in (-10, 10)])


def root_mean_square(values):
    return float(np.sqrt(np.mean(values**2)))


@pytest.mark.parametrize("film", FILMS)
def test_the_weights_are_the_fit_that_the_module_describes(film):
    """The numbers would have come from somewhere else: they are that fit to four decimals, their sum brought to 1."""
    goal = light_of_all("samples", film)
    counts, known = slope(goal)[:, None], terms(linear_of_all("samples"))
    free = np.linalg.lstsq((known[:, 1:] - known[:, :1]) * counts, (goal - known[:, 0]) * counts[:, 0])[0]
    assert film_named(film).weights == pytest.approx([1 - free.sum(), *free], abs=3e-4)
    assert sum(film_named(film).weights) == pytest.approx(1, abs=1e-12)


# What the module says, L* root mean square: error, shift on the chart and on the paints, films 10 nm to either side.
@pytest.mark.parametrize(("film", "errors", "shifts", "others"), [
    ("red", ((1.9, 5.9), (2.2, 8.4)), (13, 15), 1.9), ("green", ((0.7, 3.0), (0.8, 3.2)), (5, 7), 1.3),
])  # fmt: skip
def test_the_error_of_a_film_is_what_the_module_says(film, errors, shifts, others):
    """A pair would be said to change places that no film turns round."""
    for name, (most, largest), moved in zip(("chart", "paints"), errors, shifts, strict=True):
        off, shift = errors_of(name, film)
        assert most - 0.1 < root_mean_square(off) <= most
        assert largest - 0.1 < abs(off).max() <= largest
        assert root_mean_square(shift) == pytest.approx(moved, abs=0.5)  # said in whole L*
    off, _ = errors_of("paints", film)
    assert root_mean_square(other_films(film)) == pytest.approx(others, abs=0.05)
    assert film_named(film).sigma == pytest.approx(
        np.hypot(root_mean_square(off), root_mean_square(other_films(film))), abs=0.06
    )


@pytest.mark.parametrize("film", FILMS)
def test_two_in_three_colours_lie_within_a_sigma(film):
    """The uncertainty would be a number nobody held against spectra: 68 % are expected, these have longer tails."""
    off, _ = errors_of("paints", film)
    both = np.concatenate([off, off]) - other_films(film)
    within = np.mean(np.abs(both) <= film_named(film).sigma)
    assert 0.68 <= within <= 0.85


# L* by daylight, through red and through green film. Gold: spectra of the chart through the transmissions above,
# integrated by colour-science 0.4.7.
CHIPS = {
    "red": (40.8, 69.9, 27.6), "orange": (61.4, 80.9, 51.1), "green": (55.5, 40.5, 60.8), "cyan": (51.8, 33.5, 56.7),
    "blue": (29.7, 23.5, 29.3), "neutral 5 (.70 D)": (50.8, 50.4, 50.9),
}  # fmt: skip


@pytest.mark.parametrize("chip", CHIPS)
def test_chips_of_the_chart_through_the_films(chip):
    """A red would not turn light through red film, nor a cyan dark. Room: the largest error on the chart."""
    linear = linear_of([chart()[chip]])
    lab = xyz_to_lab(linear @ np.array(SRGB.to_xyz).T)[0]
    assert lab[0] == pytest.approx(CHIPS[chip][0], abs=0.1)
    for film, expected, room in zip(FILMS, CHIPS[chip][1:], (5.9, 3.0), strict=True):
        assert luminance_to_lightness(light_through([chart()[chip]], film))[0] == pytest.approx(expected, abs=0.06)
        assert lightness_through(lab, film) == pytest.approx(expected, abs=room)


def test_a_red_film_turns_red_and_cyan_round():
    """Gold, from spectra: cyan is 11 L* lighter by daylight, red is 36 L* lighter through red film."""
    labs = xyz_to_lab(linear_of([chart()["red"], chart()["cyan"]]) @ np.array(SRGB.to_xyz).T)
    assert labs[1, 0] - labs[0, 0] == pytest.approx(11.1, abs=0.1)
    red, cyan = lightness_through(labs, "red")
    assert red - cyan == pytest.approx(36.4, abs=2 * np.hypot(2.8, 2.8))


@pytest.mark.parametrize("film", FILMS)
@given(grey=st.floats(0, 1))
def test_greys_stay_as_they_are_through_a_film(film, grey):
    """The film itself would seem to lighten or darken everything."""
    assert luminance_through([grey] * 3, film) == pytest.approx(grey, abs=1e-12)


@given(colour=st.tuples(*[st.floats(0, 1)] * 3), film=st.sampled_from([*FILMS]), share=st.floats(0.01, 1))
def test_half_the_light_gives_half_the_light(colour, film, share):
    """A film would turn pairs round by how bright the day is."""
    linear = np.array(colour)
    through = luminance_through(linear, film)
    assert through >= 0
    assert luminance_through(share * linear, film) == pytest.approx(share * through, abs=1e-12)


def test_shapes_are_kept_and_the_unknown_stays_unknown():
    """A picture would come out as a list, a hole as black."""
    picture = np.random.default_rng(3).uniform(0, 1, (4, 5, 3))
    assert luminance_through(picture, "red").shape == (4, 5)
    assert lightness_through(xyz_to_lab(picture), "green").shape == (4, 5)
    assert np.isnan(luminance_through([np.nan, 0.2, 0.2], "red"))


def test_a_colour_outside_srgb_has_its_lightness_too():
    """It would become the root of a negative number."""
    assert lab_to_xyz([20, 120, 80]) @ np.linalg.inv(SRGB.to_xyz).T @ [0, 1, 0] < 0
    assert np.isfinite(lightness_through([20, 120, 80], "red"))


def test_an_unknown_film_is_refused():
    """A misspelt film would be answered with a KeyError."""
    with pytest.raises(InvalidInputError, match=r"A film must be one of red, green; got 'blue'\. Pick one of these\."):
        lightness_through([50, 0, 0], "blue")


def test_what_is_no_colour_is_refused():
    """Two numbers would be taken for a colour."""
    with pytest.raises(InvalidInputError, match="linear"):
        luminance_through([0.1, 0.2], "red")
