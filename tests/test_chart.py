"""The 24-patch chart: found wherever it lies, never where it is not, read truly, and refused when it lies."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray
from PIL import Image, ImageOps

from contrastkit.camera.chart import (
    D50,
    GREYS,
    LAB,
    PatchReadings,
    find_chart,
    fit_correction,
    judge_readings,
    leave_one_out,
    light_on_chart,
    read_patches,
    reference_xyz,
    root_polynomial_terms,
)
from contrastkit.camera.correction import SRGB_TO_XYZ_D50
from contrastkit.camera.tone import tone_from_greys
from contrastkit.errors import CalibrationError, InvalidInputError
from contrastkit.light.lightness import SRGB, linear_to_srgb1, luminance_to_lightness

PHOTOS = Path(__file__).parents[2] / "shared" / "photos"
XYZ = reference_xyz()
PATCHES = np.clip(XYZ @ np.linalg.inv(SRGB_TO_XYZ_D50).T, 0, 1)  # linear sRGB
GREY = np.isin(np.arange(24), GREYS)
UNIT = 40  # side of a patch on the flat chart, before it is laid into the picture


# ---- drawn charts --------------------------------------------------------------------------------------------------


def flat_chart(
    patches: NDArray[np.float64] = PATCHES, *, gap: float = 0.12, frame: float = 0.02
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A chart seen straight, in linear light, and the centres of its patches (row, column)."""
    pitch, margin = round(UNIT * (1 + gap)), UNIT // 2
    picture = np.full((3 * pitch + 2 * margin + UNIT, 5 * pitch + 2 * margin + UNIT, 3), frame)
    corners = margin + pitch * np.argwhere(np.ones((4, 6)))
    for (row, col), colour in zip(corners, patches, strict=True):
        picture[row : row + UNIT, col : col + UNIT] = colour
    return picture, corners + (UNIT - 1) / 2


def photograph(
    chart: tuple[NDArray[np.float64], NDArray[np.float64]],
    *,
    turn: float = 0.0,
    size: float = 0.5,
    at: tuple[float, float] = (0.5, 0.5),
    slant: float = 0.05,
    backing: float = 0.4,
    seed: int = 0,
) -> tuple[NDArray[np.uint8], NDArray[np.float64], float]:
    """A picture of 750 by 1000 pixels with a chart in it, its patch centres, and the distance between patches."""
    flat, centres = chart
    rng = np.random.default_rng(seed)
    rows, cols = flat.shape[:2]
    box = np.array([[0, 0], [0, cols], [rows, cols], [rows, 0]]) - np.array([rows, cols]) / 2
    turned = box @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    scale = size * min(np.array([750, 1000]) / np.ptp(turned, axis=0))
    placed = scale * (turned + rng.uniform(-slant, slant, (4, 2)) * rows) + np.array(at) * [750, 1000]
    corners = np.array([[0, 0], [cols, 0], [cols, rows], [0, rows]], dtype=np.float32) - np.float32(0.5)
    homography = cv2.getPerspectiveTransform(corners, placed[:, ::-1].astype(np.float32) - np.float32(0.5))
    smooth = cv2.GaussianBlur(flat, (0, 0), max(0.4 / scale, 0.1))  # what a pixel covers, where the chart is reduced
    linear = cv2.warpPerspective(smooth, homography, (1000, 750), flags=cv2.INTER_LINEAR, borderValue=[backing] * 3)
    points = np.column_stack([centres[:, ::-1], np.ones(24)]) @ homography.T
    where = (points[:, :2] / points[:, 2:])[:, ::-1]
    return exposed(linear, rng), where, float(np.linalg.norm(where[1] - where[0]))


def exposed(linear: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.uint8]:
    """A phone's picture of a scene: blur, a lamp's tint, an S-curve, noise."""
    blurred = cv2.GaussianBlur(linear * [1.0, 0.92, 0.8], (0, 0), 0.7)
    encoded = linear_to_srgb1(np.clip(blurred, 0, 1))
    bent = 0.7 * encoded + 0.3 * encoded**2 * (3 - 2 * encoded)
    return np.clip(np.rint(bent * 255 + rng.normal(0, 2, bent.shape)), 0, 255).astype(np.uint8)


def off(picture: tuple[NDArray[np.uint8], NDArray[np.float64], float], **options) -> float:
    """How far the worst patch centre found is from the truth, in distances between patches."""
    codes, centres, pitch = picture
    found = find_chart(codes, **options)
    assert found is not None
    return float(np.linalg.norm(found.centres - centres, axis=1).max() / pitch)


@pytest.mark.parametrize("degrees", range(0, 360, 30))
def test_a_chart_is_found_however_it_is_turned(degrees):
    """Patch 0 must be dark skin and not the black or the white at another corner."""
    assert off(photograph(flat_chart(), turn=np.radians(degrees), seed=degrees)) < 0.1


@pytest.mark.parametrize("size", [0.2, 0.3, 0.6, 0.95])
@pytest.mark.parametrize("frame", [0.01, 0.18, 0.8], ids=["black frame", "grey frame", "white frame"])
@pytest.mark.parametrize("gap", [0.0, 0.12, 0.25])
def test_a_chart_is_found_large_or_small_whatever_lies_between_its_patches(size, frame, gap):
    """Charts differ: black, grey or white between the patches, or nothing at all."""
    assert off(photograph(flat_chart(gap=gap, frame=frame), size=size, turn=0.2)) < 0.12


@settings(max_examples=40)
@given(seed=st.integers(0, 10_000), turn=st.floats(0, 6.28), size=st.floats(0.25, 0.9), slant=st.floats(0, 0.15))
def test_a_chart_is_found_at_any_slant(seed, turn, size, slant):
    """A hand-held photograph is never square to the chart."""
    assert off(photograph(flat_chart(), turn=turn, size=size, slant=slant, seed=seed)) < 0.12


@pytest.mark.parametrize("at", [(0.894, 0.5), (0.106, 0.5)])
def test_a_chart_that_lost_a_row_to_the_frame_is_still_found(at):
    """People frame the swatches, not the chart: what is left must still serve, and what is lost must be known."""
    codes, centres, pitch = photograph(flat_chart(), size=0.45, at=at, slant=0.02)
    lost = ~((centres > 0) & (centres < np.array(codes.shape[:2]))).all(axis=1)
    assert lost.sum() == 6
    found = find_chart(codes)

    assert found is not None
    assert np.linalg.norm(found.centres - centres, axis=1).max() < 0.2 * pitch
    assert not found.visible[lost].any()
    assert found.visible[~lost].sum() >= 17


def test_a_patch_under_a_thumb_is_not_visible():
    """A calibration on skin in place of a patch would be wrong everywhere."""
    flat, centres = flat_chart()
    (row, col), skin = centres[12].astype(int), (0.45, 0.25, 0.18)
    flat[row - 18 : row + 18, : col + 18] = skin  # all of the blue patch
    flat[:UNIT, centres[3].astype(int)[1] :][:, :22] = skin  # half of the foliage
    found = find_chart(photograph((flat, centres), turn=0.1)[0])

    assert found is not None
    assert np.flatnonzero(~found.visible).tolist() == [3, 12]


def test_the_patch_side_and_the_outline_fit_the_chart():
    """Reading stays inside the patches; finding swatches stays outside the outline."""
    flat, centres = flat_chart(gap=0.2)
    codes, _, pitch = photograph((flat, centres), slant=0.0)
    found = find_chart(codes)

    assert found is not None
    assert_allclose(found.patch, pitch / 1.2, rtol=0.04)
    scale = pitch / (1.2 * UNIT)
    assert_allclose(np.ptp(found.outline, axis=0), np.array(flat.shape[:2]) * scale, rtol=0.06)
    assert_allclose(found.corners, found.centres[[0, 5, 23, 18]])


# ---- what is not a chart -------------------------------------------------------------------------------------------


def test_a_mirrored_chart_is_none():
    """A chart cannot be mirrored; taking one would calibrate every colour against another."""
    codes, _, _ = photograph(flat_chart(), turn=0.3)

    assert find_chart(np.ascontiguousarray(codes[:, ::-1])) is None


@settings(max_examples=40)
@given(seed=st.integers(0, 10_000), share=st.floats(0.6, 0.95), jitter=st.sampled_from([0.0, 0.05]))
def test_painted_squares_in_rows_are_not_a_chart(seed, share, jitter):
    """Two dozen swatches in a grid are the very thing people photograph."""
    rng = np.random.default_rng(seed)
    board = np.full((750, 1000, 3), rng.choice([0.03, 0.2, 0.8]))
    side = int(160 * share)
    for i, j in np.ndindex(4, 6):
        row, col = (np.array([70 + 155 * i, 30 + 160 * j]) + rng.normal(0, 160 * jitter, 2)).clip(0, 740).astype(int)
        board[row : row + side, col : col + side] = rng.uniform(0, 1, 3) ** 2
    assert find_chart(exposed(board, rng)) is None


@settings(max_examples=40)
@given(order=st.permutations(range(24)))
def test_the_charts_own_colours_in_another_order_are_not_a_chart(order):
    """The hardest impostor has the right colours in the wrong places."""
    moved = np.count_nonzero(np.array(order) != np.arange(24))
    if moved > 12:
        assert find_chart(photograph(flat_chart(PATCHES[order]))[0]) is None


@pytest.mark.parametrize("name", ["plain", "noise", "checks", "stripes"])
def test_pictures_without_a_chart_have_none(name):
    """Most photographs have no chart."""
    rng = np.random.default_rng(1)
    rows, cols = np.mgrid[:750, :1000]
    pictures = {
        "plain": np.full((750, 1000, 3), 90),
        "noise": rng.integers(0, 256, (750, 1000, 3)),
        "checks": np.repeat((60 + 120 * ((rows // 25 + cols // 25) % 2))[..., None], 3, axis=2),
        "stripes": np.stack([(rows * 2) % 256, cols % 256, (rows + cols) % 256], axis=-1),
    }
    assert find_chart(pictures[name].astype(np.uint8)) is None


# ---- where to look -------------------------------------------------------------------------------------------------


def test_a_box_limits_the_search_and_answers_stay_in_the_whole_picture():
    """With a chart at either side, the one pointed at counts."""
    left, left_centres, pitch = photograph(flat_chart(), size=0.4, at=(0.5, 0.25))
    right, right_centres, _ = photograph(flat_chart(), size=0.4, at=(0.5, 0.75), turn=1.0)
    both = np.hstack([left[:, :500], right[:, 500:]])

    assert off((both, left_centres, pitch), at=(50, 10, 700, 490)) < 0.1
    assert off((both, right_centres, pitch), at=(700, 990, 50, 510)) < 0.1


def test_a_very_small_chart_is_found_when_pointed_at():
    """In a box there is time to look closely."""
    codes, centres, pitch = photograph(flat_chart(), size=0.05, at=(0.8, 0.8))
    low, high = centres.min(axis=0) - pitch, centres.max(axis=0) + pitch

    assert find_chart(codes) is None
    assert off((codes, centres, pitch), at=(*low, *high)) < 0.2


def test_a_large_picture_is_searched_reduced_and_answered_in_full():
    """Callers may pass any size; positions are in the pixels they passed, to a fraction of one of the small ones."""
    codes, centres, pitch = photograph(flat_chart(), turn=0.4)
    double = np.repeat(np.repeat(codes, 2, axis=0), 2, axis=1)

    assert off((double, 2 * centres + 0.5, 2 * pitch)) < 0.1


def test_scaling_a_chart_keeps_pixel_middles_in_their_place():
    """Half a pixel is lost on each step otherwise."""
    found = find_chart(photograph(flat_chart())[0])
    assert found is not None
    double = found.scaled(2)

    assert_allclose(double.centres, 2 * found.centres + 0.5)
    assert double.patch == 2 * found.patch


def test_pictures_and_boxes_that_cannot_be_are_refused():
    """Each refusal says what was wrong and what to do."""
    with pytest.raises(InvalidInputError, match="Convert it to 8-bit RGB first"):
        find_chart(np.zeros((100, 100), np.uint8))
    with pytest.raises(InvalidInputError, match="got uint16"):
        find_chart(np.zeros((100, 100, 3), np.uint16))
    with pytest.raises(InvalidInputError, match="must lie in the picture of 100 by 200 pixels"):
        find_chart(np.zeros((100, 200, 3), np.uint8), at=(300, 0, 400, 100))


# ---- reading -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_patches_read_their_linear_light(dtype):
    """Means are of light, not of codes, and of the right pixels."""
    flat, centres = flat_chart()
    found = find_chart(photograph((flat, centres), slant=0.0, size=0.9)[0])
    assert found is not None
    levels = np.iinfo(dtype).max
    codes = np.rint(linear_to_srgb1(flat) * levels).astype(dtype)
    straight = replace(found, centres=centres, patch=float(UNIT))
    readings = read_patches(codes, straight, SRGB.luts(np.iinfo(dtype).bits))

    assert_allclose(readings.linear, PATCHES, atol=0.004 if dtype == np.uint8 else 2e-5)  # half a code
    assert readings.spread.max() < 1e-6
    assert not readings.clipped.any()


def test_burnt_out_and_black_patches_are_clipped():
    """A patch at the camera's limit tells nothing; a vivid one with a channel at zero still does."""
    flat, centres = flat_chart()
    found = find_chart(photograph((flat, centres))[0])
    assert found is not None
    codes = np.rint(linear_to_srgb1(flat) * 255).astype(np.uint8)
    for patch, colour in ((18, (255, 240, 230)), (23, (0, 1, 1)), (17, (0, 130, 160))):
        row, col = centres[patch].astype(int)
        codes[row - 5 : row + 5, col - 5 : col + 5] = colour  # a sixth of the middle
    readings = read_patches(codes, replace(found, centres=centres, patch=float(UNIT)), SRGB.luts(8))

    assert np.flatnonzero(readings.clipped).tolist() == [18, 23]
    assert_array_equal(readings.usable, found.visible & ~readings.clipped)


def test_a_patch_outside_the_photograph_reads_nan():
    """A number made up for it would go into the fit."""
    codes, centres, _ = photograph(flat_chart(), size=0.45, at=(0.894, 0.5), slant=0.0)
    found = find_chart(codes)
    assert found is not None
    readings = read_patches(codes, found, SRGB.luts(8))

    assert_array_equal(np.isnan(readings.linear).all(axis=1), centres[:, 0] > 750)
    assert not readings.usable[centres[:, 0] > 750].any()


def test_tables_for_other_pixels_are_refused():
    """8-bit tables on 16-bit pixels would read past their end."""
    found = find_chart(photograph(flat_chart())[0])
    assert found is not None
    with pytest.raises(InvalidInputError, match=r"got \(3, 256\) for uint16 pixels"):
        read_patches(np.zeros((750, 1000, 3), np.uint16), found, SRGB.luts(8))


# ---- judging -------------------------------------------------------------------------------------------------------


def readings_of(linear: NDArray[np.float64], *, clipped: tuple[int, ...] = ()) -> PatchReadings:
    every = np.ones(24, bool)
    return PatchReadings(linear, np.zeros(24), np.isin(np.arange(24), clipped), every)


def test_good_readings_are_trusted_whatever_the_exposure_and_tint():
    """Underexposed, tinted and contrasty are what calibration is for."""
    for gain, bend in ((0.4, 1.0), (0.9, 1.3), (1.0, 0.8)):
        assert judge_readings(readings_of((gain * PATCHES) ** bend * [1, 0.9, 0.7], clipped=(18,))) is None


@pytest.mark.parametrize(
    ("linear", "clipped", "words"),
    [
        (PATCHES, (18, 19), "white and its lightest grey are burnt out.*less exposure"),
        (PATCHES, (18, 20, 21, 22), "At least 3 of the chart's 6 greys .* 2 are.*Photograph the whole chart again"),
        (0.7 * PATCHES + 0.15, (), "black reads 23 % of its white, where 4 % is right.*Tilt it or move the lamp"),
        (PATCHES[[*range(19), 20, 19, 21, 22, 23]], (), "greys do not get darker"),
        (PATCHES * [1, 1, 0], (), "in the blue channel only 1 do"),
    ],
    ids=["burnt out", "too few greys", "veiled", "greys out of order", "no blue"],
)
def test_spoilt_readings_are_refused_with_the_reason(linear, clipped, words):
    """A calibration on a spoilt chart is worse than none: it looks like one."""
    assert re.search(words, str(judge_readings(readings_of(linear, clipped=clipped))))


def lit(down: float, across: float) -> NDArray[np.float64]:
    """Light over the chart, (24, 1), changing by these shares from edge to edge."""
    rows, cols = np.argwhere(np.ones((4, 6))).T
    return np.exp(np.log1p(down) * (rows / 3 - 0.5) + np.log1p(across) * (cols / 5 - 0.5))[:, None]


@pytest.mark.parametrize(("down", "across"), [(0.15, 0.0), (0.0, 0.2), (-0.15, 0.15)])
def test_uneven_light_on_the_chart_is_seen_although_the_greys_lie_in_one_row(down, across):
    """Along the greys' row uneven light looks like a tone curve; only the colours can tell."""
    light = light_on_chart(readings_of(PATCHES * lit(down, across)))

    assert_allclose(light.relative, lit(down, across)[:, 0], rtol=0.03)


def test_even_light_is_left_alone():
    """A correction for a gradient that is not there only adds noise."""
    rng = np.random.default_rng(5)
    light = light_on_chart(readings_of(PATCHES * rng.normal(1, 0.01, (24, 1))))

    assert light.relative.tolist() == [1.0] * 24
    assert light.across == 0


def test_very_uneven_light_is_refused():
    """Beyond a point light is no plane any more."""
    assert "changes by about" in str(judge_readings(readings_of(PATCHES * lit(0.3, 0.4))))


# ---- correcting ----------------------------------------------------------------------------------------------------


def test_root_polynomial_terms_are_those_of_the_paper():
    """Wrong roots would still fit, only worse."""
    terms = root_polynomial_terms([0.17224810, 0.09170660, 0.06416938])
    # colour-science 0.4.7, doctest of polynomial_expansion of Finlayson 2015, degree 2
    gold = [0.17224810, 0.09170660, 0.06416938, 0.12568328, 0.07671216, 0.10513350]

    assert_allclose(terms, gold, atol=1e-8)


@pytest.mark.parametrize("kind", ["matrix", "root-polynomial"])
def test_half_the_light_gives_half_the_answer(kind):
    """Exposure must not change a colour: the reason for roots instead of squares."""
    rgb = PATCHES @ np.array([[0.8, 0.1, 0.05], [0.15, 0.8, 0.2], [0.02, 0.15, 0.7]])
    fit = fit_correction(rgb, XYZ, kind=kind)
    dimmed = fit_correction(rgb / 2, XYZ, kind=kind)

    assert_allclose(2 * fit.apply(rgb / 2), fit.apply(rgb), atol=1e-12)
    assert_allclose(dimmed.apply(rgb / 2), fit.apply(rgb), atol=1e-12)


@pytest.mark.parametrize("kind", ["matrix", "root-polynomial"])
def test_a_camera_that_mixes_channels_is_unmixed(kind):
    """The known matrix is found from exact readings, but for the slight lean on the sRGB matrix."""
    mix = np.array([[0.8, 0.15, 0.05], [0.2, 0.7, 0.1], [0.0, 0.25, 0.75]])
    exact = XYZ @ np.linalg.inv(SRGB_TO_XYZ_D50).T @ mix.T  # not clipped to what a screen can show
    fit = fit_correction(np.maximum(exact, 0.001), XYZ, kind=kind)

    lightness = luminance_to_lightness(fit.apply(np.maximum(exact, 0.001))[:, 1])
    assert np.abs(lightness - LAB[:, 0]).max() < 0.5  # cyan's red channel, negative, was raised to 0.001 too


@pytest.mark.parametrize("kind", ["matrix", "root-polynomial"])
def test_one_spoilt_patch_does_not_bend_the_fit(kind):
    """A glint on one patch would move all the others by plain least squares."""
    rgb = PATCHES @ np.array([[0.8, 0.1, 0.05], [0.15, 0.8, 0.2], [0.02, 0.15, 0.7]])
    glint = rgb.copy()
    glint[12] += 0.3
    others = np.arange(24) != 12

    good, spoilt = (fit_correction(r, XYZ, kind=kind).apply(rgb)[others, 1] for r in (rgb, glint))
    assert np.abs(luminance_to_lightness(good) - luminance_to_lightness(spoilt)).max() < 2


@pytest.mark.parametrize("kind", ["matrix", "root-polynomial"])
def test_white_can_be_kept(kind):
    """Greys that the tone curve made neutral must not be tinted again."""
    rng = np.random.default_rng(2)
    fit = fit_correction(PATCHES * rng.normal(1, 0.03, (24, 3)), XYZ, kind=kind, white=D50)

    assert_allclose(fit.apply([[1, 1, 1], [0.2, 0.2, 0.2]]), [D50, 0.2 * D50], atol=1e-12)


def test_leaving_one_out_leaves_it_out():
    """A patch that took part in its own test would hide its error."""
    truth = XYZ.copy()
    truth[5] *= 1.3
    honest = leave_one_out(PATCHES, XYZ, kind="root-polynomial")
    moved = leave_one_out(PATCHES, truth, kind="root-polynomial")

    assert moved[5] == honest[5]
    assert np.abs(moved - honest).max() > 0.01


@pytest.mark.parametrize(
    ("rgb", "xyz", "kind", "error", "words"),
    [
        (PATCHES[:4], XYZ[:4], "matrix", CalibrationError, "needs at least 5 usable patches; got 4"),
        (PATCHES[:7], XYZ[:7], "root-polynomial", CalibrationError, "needs at least 8 usable patches; got 7"),
        (PATCHES, XYZ, "cubic", InvalidInputError, "'matrix' or 'root-polynomial'; got 'cubic'"),
        (PATCHES, XYZ[:5], "matrix", InvalidInputError, "Leave patches that are not usable out"),
        (PATCHES * np.nan, XYZ, "matrix", InvalidInputError, "Leave patches that are not usable out"),
        (PATCHES[:, :2], XYZ, "matrix", InvalidInputError, "three numbers on its last axis"),
    ],
)
def test_fits_that_cannot_be_are_refused(rgb, xyz, kind, error, words):
    """A fit with as many unknowns as patches is exact and worthless."""
    with pytest.raises(error, match=words):
        fit_correction(rgb, xyz, kind=kind)


def test_the_table_is_the_published_one():
    """A digit mistyped in the table is an error in every calibration (colour-science holds the same set)."""
    colour = pytest.importorskip("colour")
    published = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    xyz = colour.xyY_to_XYZ(np.array(list(published.data.values())))

    assert_allclose(LAB, colour.XYZ_to_Lab(xyz, published.illuminant), atol=1e-6)
    assert_allclose(XYZ, xyz, atol=2e-4)  # the ICC's D50 of four decimals against chromaticities of five


# ---- real photographs ----------------------------------------------------------------------------------------------


def real(name: str) -> tuple[NDArray[np.uint8], NDArray[np.uint8], float, dict]:
    """A photograph of at most 4000 pixels, the same of at most 1000, how much smaller that is, and the truth."""
    if not (PHOTOS / name).exists():
        pytest.skip("the shared photographs are not here")
    with Image.open(PHOTOS / name) as image:
        wide = image.width
        image.draft("RGB", (4000, 4000))
        upright = ImageOps.exif_transpose(image).convert("RGB")
        reduced = wide / image.width
    codes = np.asarray(upright)
    factor = min(1.0, 1000 / max(codes.shape[:2]))
    size = (round(codes.shape[1] * factor), round(codes.shape[0] * factor))
    truth = json.loads((PHOTOS / "truth.json").read_text(encoding="utf-8")).get(name, {})
    if "usable" in truth:
        truth["centres"] = (np.array(truth["centres_xy"])[:, ::-1] + 0.5) / reduced - 0.5
        truth["pitch"] = truth["patch_px"] / reduced
    return codes, cv2.resize(codes, size, interpolation=cv2.INTER_AREA), factor, truth


CHARTS = {
    "sheet_chart_overhead.jpg": 1.0,
    "chart_cabinet_contrasty.jpg": 1.0,
    "chart_cut_by_frame.jpg": 1.0,
    "chart_sun_upside_down.jpg": 1.5,
    "chart_handheld_rotated.jpg": 2.0,
}


@pytest.mark.parametrize("name", CHARTS)
def test_real_charts_are_found_in_place(name):
    """The truth's centres were set by hand and stray by up to 0.2 of a patch themselves, seen on the pictures."""
    _, small, factor, truth = real(name)
    found = find_chart(small)

    assert found is not None
    strayed = np.linalg.norm(found.scaled(1 / factor).centres - truth["centres"], axis=1) / truth["pitch"]
    assert strayed.max() < 0.25
    assert strayed.mean() < 0.10


@pytest.mark.parametrize(("name", "limit"), CHARTS.items())
def test_real_colours_are_predicted_from_the_other_patches(name, limit):
    """Mean error in L* of the 18 colours, each predicted by a calibration on the rest."""
    codes, small, factor, truth = real(name)
    found = find_chart(small)
    assert found is not None
    readings = read_patches(codes, found.scaled(1 / factor), SRGB.luts(8))
    assert judge_readings(readings) is None
    linear, usable = readings.linear / light_on_chart(readings).relative[:, None], readings.usable
    rgb = tone_from_greys(linear[usable & GREY], XYZ[usable & GREY, 1]).apply(linear[usable])
    lightness = np.full(24, np.nan)
    lightness[usable] = leave_one_out(rgb, XYZ[usable], kind="root-polynomial")

    tested = usable & ~GREY & np.array(truth["usable"])
    assert tested.sum() >= 14
    assert np.abs(lightness - truth["lightness_d50"])[tested].mean() <= limit


def test_a_thumb_on_a_real_chart_hides_its_two_patches():
    """The hand-held chart's first and seventh patch are under a thumb."""
    found = find_chart(real("chart_handheld_rotated.jpg")[1])

    assert found is not None
    assert np.flatnonzero(~found.visible).tolist() == [0, 6]


def test_the_real_veiled_chart_is_refused():
    """Its black reads half as bright as its white."""
    codes, small, _, _ = real("chart_veiled_refuse.jpg")
    found = find_chart(small)

    assert found is not None
    readings = read_patches(codes, found, SRGB.luts(8))
    assert judge_readings(readings) is not None
    unclipped = replace(readings, clipped=np.isin(np.arange(24), [18]))
    assert "light is mirrored in the chart" in str(judge_readings(unclipped))


@pytest.mark.parametrize(
    "name", ["many_small_objects.jpg", "towels.jpg", "wedge_20step_tilted.jpg", "sheet_30patch_icc.jpg"]
)
def test_real_photographs_without_a_24_patch_chart_have_none(name):
    """Other strips, other patches, checked towels."""
    assert find_chart(real(name)[1]) is None
