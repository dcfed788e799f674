"""Other eyes and other lamps: against the published matrices, another library, and spectra under real lamps."""

from __future__ import annotations

import json
import warnings
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from contrastkit.camera.synthetic import paint_reflectances
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import (
    SRGB,
    luminance,
    luminance_to_lightness,
    srgb1_to_linear,
    xyz_to_lab,
)
from contrastkit.light.vision import (
    EYES,
    LAMPS,
    as_seen_by,
    by_lamp,
    eyes_matrix,
    lab_through,
    lamp_matrix,
    through,
)

SHARED = Path(__file__).parents[2] / "shared" / "reference"
CIE_NAMES = {"filament": "A", "LED": "LED-B1"}
MACHADO_NAMES = {"protan": "Protanomaly", "deutan": "Deuteranomaly", "tritan": "Tritanomaly"}

# sRGB codes; L* as it is, then to protan, deutan and tritan eyes at full severity. Gold: two public implementations of
# Machado's matrices (colour-science 0.4.6, coloraide 4.x) agree on every digit.
SEEN = [
    ((200, 30, 40), (43.30, 33.60, 48.28, 46.24)),
    ((190, 20, 110), (42.11, 34.04, 46.47, 43.56)),
    ((240, 120, 20), (63.35, 56.82, 67.09, 61.60)),
    ((0, 130, 90), (47.88, 50.13, 46.25, 48.61)),
    ((30, 60, 180), (31.35, 36.62, 32.23, 35.95)),
]
# L* of chips of the 24-patch chart (BabelColor's averages) under D65, A and LED-B1, each against its own white. Gold:
# spectra integrated by colour-science 0.4.6.
LAMPLIT = {
    "red": (40.74, 47.43, 46.08),
    "orange": (61.37, 66.82, 67.86),
    "cyan": (51.80, 47.11, 45.69),
    "blue": (29.71, 26.75, 26.00),
    "neutral 5 (.70 D)": (50.84, 50.77, 50.80),
}


def lightness(linear):
    return luminance_to_lightness(luminance(linear))


# --- eyes -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("eyes", EYES)
def test_the_matrices_are_those_of_the_paper(eyes):
    """A digit would be mistyped: colour-science keeps the same tables."""
    from colour.blindness import CVD_MATRICES_MACHADO2010

    theirs = CVD_MATRICES_MACHADO2010[MACHADO_NAMES[eyes]]
    for severity, matrix in theirs.items():
        assert eyes_matrix(eyes, severity=severity) == pytest.approx(matrix, abs=1e-9)
    assert len(theirs) == 11


@pytest.mark.parametrize("eyes", EYES)
@pytest.mark.parametrize("severity", [0.05, 0.57, 0.99])
def test_between_the_tenths_it_goes_evenly(eyes, severity):
    """
    A severity of 0.57 would be taken for 0.5.

    Their tables, between which numpy interpolates: their own function goes on from the next tenth (0.4.6).
    """
    from colour.blindness import CVD_MATRICES_MACHADO2010

    tables = CVD_MATRICES_MACHADO2010[MACHADO_NAMES[eyes]]
    cells = np.array(list(tables.values())).reshape(11, 9).T
    between = [np.interp(severity, list(tables), cell) for cell in cells]
    assert eyes_matrix(eyes, severity=severity).ravel() == pytest.approx(between, abs=1e-9)


@pytest.mark.parametrize(("codes", "expected"), SEEN)
def test_what_becomes_of_lightness(codes, expected):
    """A red that another eye takes for dark would be shown as light as ever."""
    linear = srgb1_to_linear(np.array(codes) / 255)
    seen = [lightness(linear), *(lightness(as_seen_by(linear, eyes)) for eyes in EYES)]
    assert seen == pytest.approx(expected, abs=0.006)  # the table has two decimals


@pytest.mark.skipif(not (SHARED / "checks.json").exists(), reason="the list of reference numbers is not there")
def test_the_reference_numbers_on_eyes():
    """The list kept beside the project would say otherwise."""
    checks = {check["id"]: check for check in json.loads((SHARED / "checks.json").read_text(encoding="utf-8"))}
    row, red = checks["9.mach"], checks["9.red"]
    assert eyes_matrix("protan")[0] == pytest.approx(row["expected"], abs=row["tolerance"])
    linear = srgb1_to_linear(np.array([200, 30, 40]) / 255)
    got = [lightness(linear), *(lightness(as_seen_by(linear, eyes)) for eyes in ("protan", "deutan"))]
    assert got == pytest.approx(red["expected"], abs=red["tolerance"])


@pytest.mark.parametrize("eyes", EYES)
@given(grey=st.floats(0, 1), severity=st.floats(0, 1))
def test_greys_stay_as_they_are_to_all_eyes(eyes, grey, severity):
    """A grey scale would take on a tint. The published rows sum to 1 within 1e-6."""
    assert as_seen_by([grey] * 3, eyes, severity=severity) == pytest.approx([grey] * 3, abs=2e-6)


@given(colour=st.tuples(*[st.floats(0, 1)] * 3), eyes=st.sampled_from(EYES))
def test_severity_nought_changes_nothing(colour, eyes):
    """Usual sight would be called a deficiency."""
    assert as_seen_by(colour, eyes, severity=0) == pytest.approx(colour, abs=1e-12)


def test_shapes_are_kept_light_is_clipped_and_the_unknown_stays_unknown():
    """A picture would come out as a list, a strong red as negative light, a hole as a colour."""
    picture = np.random.default_rng(3).uniform(0, 1, (4, 5, 3))
    for seen in (as_seen_by(picture, "protan"), by_lamp(picture)):
        assert seen.shape == picture.shape
        assert seen.min() >= 0 and seen.max() <= 1
    assert as_seen_by([0.0, 0, 1], "protan").tolist() == pytest.approx([0, 0.099216, 1])
    assert np.isnan(as_seen_by([np.nan, 0.2, 0.2], "deutan")).all()
    assert np.isnan(lab_through([np.nan, 0, 0], lamp_matrix())).all()


# --- lamps ------------------------------------------------------------------------------------------------------------


def colour_module():
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=".*related API features are not available.*")
        import colour
    return colour


SPAN = (380, 780, 5)


@lru_cache(maxsize=1)
def observer():
    colour = colour_module()
    matching = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    return matching.align(colour.SpectralShape(*SPAN)).values


def adapted_xyz(reflectances, illuminant):
    """XYZ relative to the illuminant's white, adapted to the white of sRGB by CAT16; shape (n, 3)."""
    colour = colour_module()
    light = colour.SDS_ILLUMINANTS[illuminant].copy().align(colour.SpectralShape(*SPAN)).values
    weights = light[:, None] * observer()
    xyz, white = reflectances @ weights / weights[:, 1].sum(), weights.sum(axis=0) / weights[:, 1].sum()
    cones = np.array(colour.adaptation.CHROMATIC_ADAPTATION_TRANSFORMS["CAT16"])
    goal = np.array(SRGB.to_xyz).sum(axis=1)
    return (xyz @ cones.T * ((cones @ goal) / (cones @ white))) @ np.linalg.inv(cones).T


def daylit_linear(reflectances):
    return adapted_xyz(reflectances, "D65") @ np.linalg.inv(SRGB.to_xyz).T


@lru_cache(maxsize=1)
def samples():
    """The 99 of CIE 224:2017 that the lamps were fitted on, shape (99, 81)."""
    from colour.quality.cfi2017 import load_TCS_CIE2017

    return load_TCS_CIE2017(colour_module().SpectralShape(*SPAN)).values.T


@lru_cache(maxsize=1)
def chart():
    """The 24-patch chart by the names of its patches, each of shape (81,)."""
    colour = colour_module()
    patches = colour.SDS_COLOURCHECKERS["BabelColor Average"]
    wanted = np.arange(SPAN[0], SPAN[1] + 1, SPAN[2])
    return {name: np.interp(wanted, patch.wavelengths, patch.values) for name, patch in patches.items()}


def slope(ratio):
    """Of the f of CIELAB (CIE 15)."""
    knee = 216 / 24389
    return np.where(ratio > knee, np.maximum(ratio, knee) ** (-2 / 3) / 3, 24389 / 27 / 116)


def fitted(reflectances, illuminant):
    """The least squares that the module describes."""
    white = np.array(SRGB.to_xyz).sum(axis=1)
    linear, goal = daylit_linear(reflectances), adapted_xyz(reflectances, illuminant) / white
    rows = []
    for wanted in goal.T:
        weight = slope(wanted)[:, None]
        free = np.linalg.lstsq((linear[:, 1:] - linear[:, :1]) * weight, (wanted - linear[:, 0]) * weight[:, 0])[0]
        rows.append([1 - free.sum(), *free])
    return np.linalg.inv(SRGB.to_xyz) @ (np.array(rows) * white[:, None])


def errors_of(reflectances, lamp):
    """What a lamp's matrix is off in L*, and how far L* moves at all."""
    there = luminance_to_lightness(adapted_xyz(reflectances, CIE_NAMES[lamp])[:, 1])
    linear = daylit_linear(reflectances)
    predicted = luminance_to_lightness(linear @ lamp_matrix(lamp).T @ SRGB.luminance_weights)
    return predicted - there, there - lightness(linear)


def root_mean_square(values):
    return float(np.sqrt(np.mean(values**2)))


@pytest.mark.parametrize("lamp", LAMPS)
def test_the_lamps_are_the_fit_that_the_module_describes(lamp):
    """The numbers would have come from somewhere else: they are that fit to four decimals."""
    assert lamp_matrix(lamp) == pytest.approx(fitted(samples(), CIE_NAMES[lamp]), abs=1e-4)
    assert lamp_matrix(lamp).sum(axis=1) == pytest.approx([1, 1, 1], abs=1e-12)


# What the module says of its errors: (root mean square, largest), L*.
@pytest.mark.parametrize(("lamp", "chart_error", "paint_error"), [
    ("filament", (0.1, 0.3), (0.13, 0.4)), ("LED", (0.7, 2.2), (0.8, 3.2)),
])  # fmt: skip
def test_the_error_of_a_lamp_is_what_the_module_says(lamp, chart_error, paint_error):
    """What lamplight does to a pair would be told with more certainty than there is."""
    inside = np.arange(400, 701, 5)
    paints = np.array([np.interp(np.arange(380, 781, 5), inside, row) for row in paint_reflectances()])
    for reflectances, (most, largest) in ((np.array([*chart().values()]), chart_error), (paints, paint_error)):
        off, shift = errors_of(reflectances, lamp)
        assert root_mean_square(off) <= most
        assert abs(off).max() <= largest
        assert root_mean_square(shift) > 2.8  # what would be wrong with no lamp at all


@pytest.mark.parametrize("chip", LAMPLIT)
def test_chips_of_the_chart_by_lamplight(chip):
    """Reds would not come forward by lamplight, nor blues go back."""
    linear = daylit_linear(chart()[chip])
    daylit, *lamplit = LAMPLIT[chip]
    assert lightness(linear) == pytest.approx(daylit, abs=0.1)
    for lamp, expected, room in (("filament", lamplit[0], 0.35), ("LED", lamplit[1], 2.2)):
        assert lightness(linear @ lamp_matrix(lamp).T) == pytest.approx(expected, abs=room)


def test_red_on_cyan_is_a_contrast_that_lamplight_takes_away():
    """Gold, from spectra: -11.1 L* by daylight, +0.3 under A."""
    red, cyan = (daylit_linear(chart()[name]) for name in ("red", "cyan"))
    assert lightness(red) - lightness(cyan) == pytest.approx(-11.1, abs=0.1)
    # Not through by_lamp: the cyan lies just outside sRGB, and a picture would have clipped it by 2 L*.
    lamplit = [lightness(linear @ lamp_matrix("filament").T) for linear in (red, cyan)]
    assert lamplit[0] - lamplit[1] == pytest.approx(0.3, abs=0.5)


@pytest.mark.parametrize("lamp", LAMPS)
@given(grey=st.floats(0, 1))
def test_the_white_of_the_cloth_stays_white(lamp, grey):
    """A page by lamplight would be yellow, which the eye is not aware of."""
    assert by_lamp([grey] * 3, lamp) == pytest.approx([grey] * 3, abs=1e-12)


@pytest.mark.parametrize("lamp", LAMPS)
def test_a_measured_colour_goes_the_way_of_its_pixels(lamp):
    """Numbers beside a picture would tell of another lamp than the picture."""
    linear = np.array([0.5, 0.1, 0.12])
    lab = lab_through(xyz_to_lab(np.array(SRGB.to_xyz) @ linear), lamp_matrix(lamp))
    assert lab == pytest.approx(xyz_to_lab(np.array(SRGB.to_xyz) @ by_lamp(linear, lamp)), abs=1e-9)


# --- refused ----------------------------------------------------------------------------------------------------------


def test_what_cannot_be_is_refused():
    """A typing error would pass for usual sight or for daylight."""
    with pytest.raises(InvalidInputError, match=r"eyes must be one of protan, deutan, tritan; got 'red'\. Pick"):
        as_seen_by([0, 0, 0], "red")
    with pytest.raises(InvalidInputError, match=r"severity must lie in 0-1; got 2\. Pass 0 for usual sight"):
        eyes_matrix("protan", severity=2)
    with pytest.raises(InvalidInputError, match=r"severity must lie in 0-1; got nan"):
        eyes_matrix("protan", severity=float("nan"))
    with pytest.raises(InvalidInputError, match=r"A lamp must be one of filament, LED; got 'sun'\. Pick one"):
        by_lamp([0, 0, 0], "sun")
    with pytest.raises(InvalidInputError, match=r"linear must have three numbers on its last axis"):
        through(0.5, lamp_matrix())
