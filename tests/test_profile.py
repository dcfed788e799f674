"""Colour profiles: every way of writing curves and primaries, checked against LittleCMS and colour-science."""

from __future__ import annotations

import io
import json
import struct
from pathlib import Path

import numpy as np
import pytest
from photo_files import (
    ADOBE_COLORANTS,
    P3_COLORANTS,
    SRGB_COLORANTS,
    SRGB_PARAMETERS,
    cmyk_profile,
    curv,
    described,
    fixed,
    icc,
    matrix_profile,
    para,
    pillow_file,
    table_profile,
    with_png_chunk,
)
from PIL import Image, ImageCms

from contrastkit.camera.profile import (
    LINEAR_BT2020,
    FormulaCurve,
    GammaCurve,
    converter_to_srgb,
    read_profile,
    space_of_code_points,
)
from contrastkit.camera.read import read_photo
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import ADOBE_RGB, DISPLAY_P3, SRGB, luminance_to_lightness, srgb1_to_lightness

SHARED = Path(__file__).parents[2] / "shared"

# (200, 30, 40) read with each profile, L*: colour-science 0.4.7 and coloraide 8.13 (as sRGB it is 43.302).
# Both give four decimals of the same number, hence the tolerance.
TAGGED_LIGHTNESS_GOLD = {"p3": 44.648, "adobe": 49.6433}
TAGGED_LIGHTNESS_GOLD_ATOL = 6e-4

# Widely used 1024-entry tables hold sRGB's curve to 1/65535; a gamma comes as a multiple of 1/256.
SRGB_TABLE = [round(65535 * float(v)) for v in SRGB.curves[0](np.linspace(0, 1, 1024))]

CURVES = {
    "straight": curv([]),
    "gamma 1.8": curv([round(1.8 * 256)]),
    "table of 2": curv([0, 65535]),
    "table of 5": curv([0, 3000, 15000, 36000, 65535]),
    "table of 1024": curv(SRGB_TABLE),
    "formula 0": para(0, (2.2,)),
    "formula 1": para(1, (2.4, 0.9, 0.1)),
    "formula 1, crossing zero late": para(1, (2.0, 1.1, -0.1)),
    "formula 2": para(2, (2.2, 0.9, 0.05, 0.02)),
    "formula 3": para(3, SRGB_PARAMETERS),
    "formula 4": para(4, (3.0, 0.8621, 0.1379, 0.1107, 0.08, 0.0, 0.0)),
    "formula 4 with offsets": para(4, (2.2, 0.85, 0.1, 0.3, 0.05, 0.02, 0.001)),
}


def littlecms_lightness(profile: bytes, codes: np.ndarray) -> np.ndarray:
    """L* relative to D50 as LittleCMS gives it, in steps of 100/255."""
    lab = ImageCms.createProfile("LAB")
    exactly = ImageCms.Flags.NOOPTIMIZE  # else it shortens the way through a grid of 33 points
    relative = ImageCms.Intent.RELATIVE_COLORIMETRIC
    opened = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    transform = ImageCms.buildTransform(opened, lab, "RGB", "LAB", relative, exactly)
    image = ImageCms.applyTransform(Image.fromarray(codes), transform)
    return np.asarray(image)[..., 0] * (100 / 255)


def our_d50_lightness(curves, colorants, codes: np.ndarray) -> np.ndarray:
    """The same by our curves; LittleCMS knows nothing of our D65, so the profile's own D50 numbers are used."""
    linear = np.stack([curve(codes[..., i] / 255) for i, curve in enumerate(curves)], axis=-1)
    return luminance_to_lightness(np.clip(linear @ np.array(colorants)[:, 1], 0, None))


@pytest.mark.parametrize("curve", CURVES.values(), ids=CURVES.keys())
def test_every_kind_of_curve_agrees_with_littlecms(curve):
    """One parameter taken for another would pass on neutral end points and fail in between."""
    codes = np.random.default_rng(4).integers(0, 256, (48, 48, 3), dtype=np.uint8)
    codes[0] = np.arange(48)[:, np.newaxis]  # dark greys, below every knee
    profile = matrix_profile(P3_COLORANTS, curve)
    ours = our_d50_lightness(read_profile(profile).space.curves, P3_COLORANTS, codes)
    # half a step of LittleCMS's 8-bit L* is 0.196; its 16-bit arithmetic adds a little
    np.testing.assert_allclose(ours, littlecms_lightness(profile, codes), atol=0.25)


@pytest.mark.parametrize("colorants", [SRGB_COLORANTS, P3_COLORANTS, ADOBE_COLORANTS], ids=["srgb", "p3", "adobe"])
def test_primaries_are_adapted_to_d65_as_colour_science_does_it(colorants):
    """Luminance taken from the D50 numbers is off by up to 2.7 L* in blue."""
    import colour

    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        np.array([0.9642, 1.0, 0.8249]), colour.xy_to_XYZ([0.3127, 0.3290]), "Bradford"
    )
    expected = adapt @ np.array(colorants).T
    matrix = np.array(read_profile(matrix_profile(colorants, curv([256 * 3]))).space.to_xyz)
    # the scaling to a white of exactly 1 and s15Fixed16's 1.5e-5 are all that differ
    np.testing.assert_allclose(matrix, expected / expected[1].sum(), atol=5e-5)


def test_white_has_luminance_one_whatever_the_primaries_add_up_to():
    """Some makers scale their primaries by the whiteness of their paper; lightness is relative to white."""
    dim = [[0.95 * number for number in colorant] for colorant in P3_COLORANTS]
    space = read_profile(matrix_profile(dim, para(3, SRGB_PARAMETERS))).space
    assert sum(space.luminance_weights) == pytest.approx(1, abs=1e-12)
    assert space is DISPLAY_P3


@pytest.mark.parametrize(
    ("colorants", "curve", "expected"),
    [
        (SRGB_COLORANTS, para(3, SRGB_PARAMETERS), SRGB),
        (SRGB_COLORANTS, curv(SRGB_TABLE), SRGB),
        (P3_COLORANTS, para(3, SRGB_PARAMETERS), DISPLAY_P3),
        (ADOBE_COLORANTS, curv([563]), ADOBE_RGB),
        (ADOBE_COLORANTS, para(0, (2.2,)), ADOBE_RGB),
    ],
)
def test_a_known_space_is_recognised_by_its_content(colorants, curve, expected):
    """Names lie and come in many spellings; two photos of one space must not differ by rounding."""
    assert read_profile(matrix_profile(colorants, curve, "called something else")).space is expected


def test_a_known_name_on_other_content_is_not_believed():
    """A monitor profile called "sRGB" with a plain gamma 2.2 is 2 L* off sRGB in the darks."""
    profile = read_profile(matrix_profile(SRGB_COLORANTS, curv([563]), "sRGB IEC61966-2.1"))
    assert profile.space is not SRGB
    assert profile.space.name == "sRGB IEC61966-2.1"


def test_littlecms_own_srgb_profile_is_recognised():
    """It is a version 4 profile with a multi-language description, unlike those written here."""
    profile = read_profile(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    assert profile.space is SRGB
    assert "sRGB" in profile.name


@pytest.mark.parametrize(
    ("name", "colorants", "curve"),
    [("p3", P3_COLORANTS, para(3, SRGB_PARAMETERS)), ("adobe", ADOBE_COLORANTS, curv([563]))],
)
def test_a_tagged_red_has_the_lightness_of_its_tag(name, colorants, curve, tmp_path):
    """Read without its tag an Adobe RGB red is 6 L* too dark, and no grey would show it."""
    path = tmp_path / "red.png"
    red = np.full((64, 64, 3), (200, 30, 40), np.uint8)
    path.write_bytes(pillow_file(red, "PNG", icc_profile=matrix_profile(colorants, curve)))
    photo = read_photo(path)
    lightness = srgb1_to_lightness(photo.codes[0, 0] / 255, photo.space)
    assert lightness == pytest.approx(TAGGED_LIGHTNESS_GOLD[name], abs=TAGGED_LIGHTNESS_GOLD_ATOL)


def test_a_grey_profile_gives_three_equal_curves():
    """Its one curve must be used, and read as the lightness of a neutral."""
    profile = read_profile(icc({b"desc": described("dot gain"), b"kTRC": curv([round(1.75 * 256)])}, pixels=b"GRAY"))
    assert profile.pixels == "GRAY"
    assert [curve(np.array(0.5)) for curve in profile.space.curves] == pytest.approx([0.5**1.75] * 3)
    assert sum(profile.space.luminance_weights) == pytest.approx(1)


def test_tables_are_left_to_littlecms_and_keep_lightness():
    """A scanner's profile with tables must be neither ignored nor read as curves."""
    weights = np.array([0.25, 0.65, 0.1])
    corners = {tuple(map(int, c)): (100 * float(weights @ np.array(c)), 0, 0) for c in np.ndindex(2, 2, 2)}
    profile = read_profile(table_profile(b"RGB ", corners))
    assert profile.space is None
    codes = np.random.default_rng(2).integers(0, 256, (30, 30, 3), dtype=np.uint8)
    converted = np.asarray(converter_to_srgb(profile)(Image.fromarray(codes)))
    expected = 100 * (codes / 255) @ weights  # the table is straight between its corners
    # 8-bit sRGB steps are 0.4 L* at most but for the darkest, the table's own 8 bits another 0.4
    np.testing.assert_allclose(srgb1_to_lightness(converted / 255), expected, atol=0.6)


def test_tables_go_before_curves_where_a_profile_has_both():
    """ICC.1:2010, 8.3: the curves are only for programs that cannot use the tables."""
    curves = matrix_profile(P3_COLORANTS, curv([563]))
    both = {name: curves[start : start + size] for name, start, size in struct.iter_unpack(">4sLL", curves[132:228])}
    assert read_profile(icc(both)).space is not None
    assert read_profile(icc({**both, b"A2B1": b"mft1" + bytes(60)})).space is None


def test_inks_are_converted_by_their_own_profile():
    """CMYK without its profile could be anything; with it 30 % less light an ink is what was made up here."""
    convert = converter_to_srgb(read_profile(cmyk_profile()))
    inks = Image.fromarray(np.array([[[0, 0, 0, 0], [255, 0, 0, 0], [255, 255, 0, 0]]], np.uint8), "CMYK")
    lightness = srgb1_to_lightness(np.asarray(convert(inks)) / 255)
    # two table steps of 0.4 L*
    np.testing.assert_allclose(lightness[0], [100, 70, 40], atol=0.8)


def test_no_black_point_compensation_stretches_the_darks():
    """With it a black of L* 16 would come out as 0 and every dark with it."""
    corners = {tuple(map(int, c)): (16 + 28 * sum(c), 0, 0) for c in np.ndindex(2, 2, 2)}
    convert = converter_to_srgb(read_profile(table_profile(b"RGB ", corners)))
    black = np.asarray(convert(Image.fromarray(np.zeros((2, 2, 3), np.uint8))))
    assert srgb1_to_lightness(black[0, 0] / 255) == pytest.approx(16, abs=0.6)


def _without(profile: bytes, start: int, stop: int, new: bytes) -> bytes:
    return profile[:start] + new + profile[stop:]


GOOD = matrix_profile(P3_COLORANTS, curv([563]))
WRONG = {
    "empty": (b"", "must be whole"),
    "cut short": (GOOD[:-40], "must be whole"),
    "not a profile": (bytes(len(GOOD)), "must be whole"),
    "a link between devices": (_without(GOOD, 12, 16, b"link"), "must describe a device"),
    "pixels of no name": (_without(GOOD, 16, 20, b"\x01\x02\x03\x04"), "must describe a device"),
    "no parts": (_without(GOOD, 128, 132, bytes(4)), "must list its parts"),
    "a million parts": (_without(GOOD, 128, 132, b"\x00\x10\0\0"), "must list its parts"),
    "a part outside": (_without(GOOD, 136, 140, b"\x00\x10\0\0"), "breaks off"),
    "black primaries": (matrix_profile(((0, 0, 0),) * 3, curv([563])), "add up to white"),
    "one primary three times": (matrix_profile(((0.32, 0.333, 0.27),) * 3, curv([563])), "add up to white"),
    "primaries of another kind": (GOOD.replace(b"XYZ \0\0\0\0", b"xyz \0\0\0\0"), "must be XYZ numbers"),
    "a falling curve": (matrix_profile(P3_COLORANTS, curv([65535, 0])), "must rise"),
    "a flat curve": (matrix_profile(P3_COLORANTS, curv([0, 0])), "must rise"),
    "gamma nothing": (matrix_profile(P3_COLORANTS, curv([0])), "must rise"),
    "a curve without end": (matrix_profile(P3_COLORANTS, b"curv" + bytes(4) + b"\x7f\xff\xff\xff" + bytes(8)), "break"),
    "a formula of no kind": (matrix_profile(P3_COLORANTS, para(9, (2.2,))), "known kind"),
    "a formula cut short": (matrix_profile(P3_COLORANTS, para(4, (2.2,))), "known kind"),
    "a curve of no kind": (matrix_profile(P3_COLORANTS, b"wavy" + bytes(20)), "known kind"),
}


@pytest.mark.parametrize(("profile", "match"), WRONG.values(), ids=WRONG.keys())
def test_a_profile_that_cannot_be_used_is_refused(profile, match):
    """Half a profile gives wrong colours without a word."""
    with pytest.raises(InvalidInputError, match=match):
        read_profile(profile)


def test_tables_littlecms_cannot_use_are_refused():
    """A profile can name tables it does not hold."""
    profile = read_profile(icc({b"desc": described("hollow"), b"A2B0": b"mft1" + bytes(8)}, connection=b"Lab "))
    with pytest.raises(InvalidInputError, match="usable by LittleCMS"):
        converter_to_srgb(profile)


def test_a_name_with_hidden_characters_is_cleaned():
    """A profile's name is shown in notes."""
    name = b"\x1b[2Jred\r\nflag" + b"x" * 200
    tag = b"desc" + bytes(4) + struct.pack(">L", len(name)) + name
    profile = GOOD.replace(described("made for a test"), b"")  # its description is replaced below
    profile = read_profile(icc({b"desc": tag, b"kTRC": curv([256])}, pixels=b"GRAY"))
    assert profile.name.isprintable()
    assert len(profile.name) <= 60


def test_formula_curves_stay_within_black_and_white():
    """A formula may run above 1 or below 0 at its ends."""
    curve = FormulaCurve(2.0, 1.2, -0.1, 0.0, 0.0, 0.05, 0.0)
    light = curve(np.linspace(0, 1, 101))
    assert light.min() >= 0
    assert light.max() == 1


@pytest.mark.parametrize(
    ("points", "expected"),
    [((1, 13), SRGB), ((12, 13), DISPLAY_P3), ((2, 2), SRGB), ((1, 1), SRGB), ((9, 16), None), ((9, 18), None),
     ((77, 13), None)],
)  # fmt: skip
def test_code_points_name_spaces_and_hdr_is_none(points, expected):
    """Phones write Display P3 as two numbers; HDR codes read as paper would be far too dark."""
    assert space_of_code_points(*points) is expected


def test_the_wide_space_for_raw_has_the_published_luminance_weights():
    """ITU-R BT.2020-2, table 4: Y = 0.2627 R + 0.6780 G + 0.0593 B."""
    np.testing.assert_allclose(LINEAR_BT2020.luminance_weights, [0.2627, 0.6780, 0.0593], atol=5e-5)
    assert LINEAR_BT2020.curves[0] == GammaCurve(1.0)


def test_the_printed_patches_of_a_real_profiled_photo_get_the_lightness_its_profile_says():
    """eciRGB's curve is L* itself: an sRGB reading of this sheet is up to 5 L* off."""
    path = SHARED / "photos" / "sheet_30patch_icc.jpg"
    if not path.exists():
        pytest.skip("the shared photos are not here")
    truth = json.loads((SHARED / "photos" / "truth.json").read_text(encoding="utf-8"))[path.name]
    photo = read_photo(path)
    step = photo.reduction
    patches = [
        photo.codes[y // step - 6 : y // step + 6, x // step - 6 : x // step + 6].reshape(-1, 3)
        for x, y in truth["centres_xy"]
    ]
    codes = np.array([np.median(patch, axis=0) for patch in patches])
    linear = np.stack([curve(codes[:, i] / 255) for i, curve in enumerate(photo.space.curves)], axis=1)
    import colour

    back = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ([0.3127, 0.3290]), np.array([0.9642, 1.0, 0.8249]), "Bradford"
    )
    lightness = luminance_to_lightness((linear @ np.array(photo.space.to_xyz).T @ back.T)[:, 1])
    assert photo.space.name == "eciRGB v2"
    # the reference L* was rounded to 8 bits (0.2 either way); a median may differ by a code or so (0.4)
    np.testing.assert_allclose(lightness, truth["L_from_icc"], atol=0.7)


def test_a_profile_chunk_in_a_png_is_unpacked(tmp_path):
    """Pillow writes the chunk; a chunk of our own with a wrong checksum must be said to be damaged, not passed over."""
    path = tmp_path / "spoilt.png"
    whole = pillow_file(np.full((64, 64, 3), 90, np.uint8), "PNG")
    spoilt = bytearray(with_png_chunk(whole, b"iCCP", b"name\0\0" + bytes(20)))
    path.write_bytes(bytes(spoilt))
    photo = read_photo(path)
    assert photo.space is SRGB
    assert photo.notes == ("The colour profile is damaged and does not fit; read as sRGB.",)


def test_fixed_numbers_are_written_as_the_standard_says():
    """The tests' own writer: 1.0 is 0x00010000, -1/65536 is all ones (ICC.1:2010, 4.6)."""
    assert fixed((1.0, -1 / 65536)) == b"\x00\x01\x00\x00\xff\xff\xff\xff"
