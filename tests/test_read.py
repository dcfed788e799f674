"""Photo files: every format read right side up and to the last bit, and every refusal in words."""

from __future__ import annotations

import io
import os
import pickle
import struct
import subprocess
import sys
import textwrap
import zlib
from pathlib import Path

import numpy as np
import pytest
from photo_files import (
    ADOBE_COLORANTS,
    P3_COLORANTS,
    SRGB_PARAMETERS,
    cmyk_profile,
    curv,
    described,
    dng,
    exif,
    heif_file,
    icc,
    matrix_profile,
    opencv_file,
    para,
    pillow_file,
    png_chunk,
    png_of_zeros,
    scene,
    table_profile,
    with_png_chunk,
)
from PIL import Image

import contrastkit.camera.read as read
from contrastkit.camera.decode import choose_reduction
from contrastkit.camera.headers import BrokenFileError, jpeg_facts
from contrastkit.camera.profile import LINEAR_BT2020
from contrastkit.camera.read import list_photos, read_photo
from contrastkit.errors import InvalidInputError, MissingPackageError, UnreadablePhotoError
from contrastkit.light.lightness import ADOBE_RGB, DISPLAY_P3, SRGB, srgb1_to_lightness

P3 = matrix_profile(P3_COLORANTS, para(3, SRGB_PARAMETERS))
RNG = np.random.default_rng(11)
WIDE = RNG.integers(0, 65536, (80, 112, 4), dtype=np.uint16)
EIGHT = (WIDE >> 8).astype(np.uint8)
SOLID, SOLID_8 = WIDE.copy(), EIGHT.copy()
SOLID[..., 3], SOLID_8[..., 3] = 65535, 255


@pytest.fixture
def saved(tmp_path):
    """Save bytes under a name."""

    def save(name: str, data: bytes) -> Path:
        path = tmp_path / name
        path.write_bytes(data)
        return path

    return save


def refusal(path, **options) -> str:
    with pytest.raises(UnreadablePhotoError) as caught:
        read_photo(path, **options)
    return str(caught.value)


def turned(picture: np.ndarray, orientation: int) -> np.ndarray:
    """What must be stored so that this orientation makes it `picture` again (Exif 2.32, 4.6.5.1, in numpy's words)."""
    return {
        1: lambda a: a,
        2: lambda a: a[:, ::-1],
        3: lambda a: a[::-1, ::-1],
        4: lambda a: a[::-1],
        5: lambda a: a.swapaxes(0, 1),
        6: lambda a: a[:, ::-1].swapaxes(0, 1),
        7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
        8: lambda a: a[::-1].swapaxes(0, 1),
    }[orientation](picture).copy()


# --- reduction ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "target", "expected"),
    [
        ((3000, 4000), 3_000_000, 2),
        ((1500, 2000), 3_000_000, 1),
        ((6000, 8000), 3_000_000, 4),
        ((9000, 12000), 3_000_000, 4),
        ((3100, 3100), 3_000_000, 2),  # 2.4 megapixels are left: four fifths
        ((3098, 3098), 3_000_000, 1),
        ((16000, 15000), 3_000_000, 8),
        ((64, 64), 1, 8),
    ],
)
def test_the_reduction_leaves_about_the_pixels_asked_for(size, target, expected):
    """Too little left loses outlines, too much costs the time."""
    assert choose_reduction(size, target) == expected


@pytest.mark.parametrize("side", [160, 161, 163, 167])
@pytest.mark.parametrize("reduction", [1, 2, 4, 8])
@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_a_working_pixel_covers_the_full_resolution_pixels_it_says(side, reduction, kind, saved):
    """An outline is multiplied back to full resolution; a shift of the grid would move every corner."""
    at_row, at_col = 64, 96
    picture = np.full((side, side + 2, 3), 40, np.uint8)
    picture[at_row:, at_col:] = 200
    options = {"quality": 95, "subsampling": 0} if kind == "JPEG" else {}
    photo = read_photo(saved("edge." + kind.lower(), pillow_file(picture, kind, **options)),
                       target_pixels=side * (side + 2) // reduction**2)
    assert photo.reduction == reduction
    assert photo.size == (side, side + 2)
    assert photo.codes.shape == (-(-side // reduction), -(-(side + 2) // reduction), 3)
    bright = photo.codes[..., 1] > 120
    assert not bright[: at_row // reduction].any()
    assert not bright[:, : at_col // reduction].any()
    assert bright[at_row // reduction :, at_col // reduction :].all()


@pytest.mark.parametrize("bits", [8, 16])
def test_a_fine_pattern_keeps_its_light_when_it_is_reduced(bits, saved):
    """Averaged as codes, checks of 60 and 200 would read 8 L* too dark."""
    checks = np.where(np.indices((128, 128)).sum(axis=0) % 2, 60, 200).astype(np.uint8)
    picture = np.repeat(checks[..., np.newaxis], 3, axis=2)
    data = pillow_file(picture, "PNG") if bits == 8 else opencv_file(picture.astype(np.uint16) * 257, ".png")
    photo = read_photo(saved("checks.png", data), target_pixels=64 * 64)
    light = SRGB.luts(8)[0][[60, 200]].mean()
    assert photo.reduction == 2
    assert photo.bits == bits
    # half a code is the best that codes can do
    shown = SRGB.luts(bits)[0].searchsorted(light)
    assert np.abs(photo.codes.astype(int) - int(shown)).max() <= 1


def test_part_filled_boxes_at_the_edge_average_what_is_there(saved):
    """Missing pixels counted as black would darken the last row and column."""
    photo = read_photo(saved("flat.png", pillow_file(np.full((131, 133, 3), 180, np.uint8), "PNG")),
                       target_pixels=33 * 33)
    assert photo.reduction == 4
    assert (photo.codes == 180).all()


def test_codes_survive_averaging_exactly_where_the_picture_is_flat(saved):
    """The table back from light to codes must not drift, in any space and in the darkest codes."""
    levels = np.repeat(np.repeat(np.arange(256, dtype=np.uint8).reshape(16, 16), 8, axis=0), 8, axis=1)
    picture = np.repeat(levels[..., np.newaxis], 3, axis=2)
    for profile in (None, P3, matrix_profile(P3_COLORANTS, curv([])), matrix_profile(P3_COLORANTS, curv([450]))):
        photo = read_photo(saved("levels.png", pillow_file(picture, "PNG", icc_profile=profile)),
                           target_pixels=64 * 64)
        assert (photo.codes == picture[::2, ::2]).all()


@pytest.mark.parametrize("target", [0, -5, 2.5, True, "many"])
def test_a_target_that_is_no_number_of_pixels_is_refused(target):
    """It would otherwise fail later, or keep one pixel."""
    with pytest.raises(InvalidInputError, match="must be a whole number, 1 or more; got"):
        read_photo("any.jpg", target_pixels=target)


# --- right side up --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_all_orientations_give_the_same_upright_picture(kind, orientation, saved):
    """A photo on its side puts every outline elsewhere. (Pixels are copied in strips of 128 rows.)"""
    upright = scene(300, 410)
    options = {"JPEG": {"quality": 98, "subsampling": 0}, "WEBP": {"lossless": True}}.get(kind, {})
    stored = turned(upright, orientation)
    photo = read_photo(saved("turned", pillow_file(stored, kind, exif=exif(orientation), **options)))
    assert photo.size == (300, 410)
    assert photo.codes.flags.c_contiguous
    error = np.abs(photo.codes.astype(int) - upright)
    assert error.mean() < (1.5 if kind == "JPEG" else 0.01)  # a wrong turn of this scene is off by 30 and more


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_turned_photos_of_odd_size_keep_the_grid_at_the_upright_corner(kind, orientation, saved):
    """A flipped odd side puts the part-filled pixel first, and every corner one pixel off."""
    upright = np.full((131, 165, 3), 40, np.uint8)
    upright[64:, 96:] = 200
    options = {"quality": 95, "subsampling": 0} if kind == "JPEG" else {}
    data = pillow_file(turned(upright, orientation), kind, exif=exif(orientation), **options)
    photo = read_photo(saved("turned", data), target_pixels=131 * 165 // 16)
    assert photo.reduction == 4
    assert photo.size == (131, 165)
    assert photo.codes.shape == (33, 42, 3)
    bright = photo.codes[..., 0] > 120
    expected = np.zeros((33, 42), bool)
    expected[16:, 24:] = True
    assert (bright == expected).all()


def test_a_heic_photo_is_not_turned_twice(saved):
    """Its decoder turns it already; the EXIF orientation in it is only a memory."""
    upright = scene(96, 128)
    photo = read_photo(saved("a.heic", heif_file(turned(upright, 6), exif=exif(6), quality=-1, chroma=444)))
    assert photo.size == (96, 128)
    assert np.abs(photo.codes.astype(int) - upright).mean() < 2


# --- to the last bit ------------------------------------------------------------------------------------------------

GREYS = np.repeat(WIDE[..., :1], 3, axis=2)
EXACT = {
    "png rgb 8": (pillow_file(EIGHT[..., :3], "PNG"), EIGHT[..., :3]),
    "png rgb 16": (opencv_file(WIDE[..., :3], ".png"), WIDE[..., :3]),
    "png rgba 16, opaque": (opencv_file(SOLID, ".png"), WIDE[..., :3]),
    "png grey 16": (opencv_file(WIDE[..., 0], ".png"), GREYS),
    "tiff rgb 8, lzw": (pillow_file(EIGHT[..., :3], "TIFF", compression="tiff_lzw"), EIGHT[..., :3]),
    "tiff rgba 8, opaque": (pillow_file(SOLID_8, "TIFF"), EIGHT[..., :3]),
    "tiff rgb 16": (opencv_file(WIDE[..., :3], ".tif", 259, 1), WIDE[..., :3]),
    "tiff rgb 16, lzw": (opencv_file(WIDE[..., :3], ".tif", 259, 5), WIDE[..., :3]),
    "tiff rgb 16, deflate": (opencv_file(WIDE[..., :3], ".tif", 259, 8), WIDE[..., :3]),
    "tiff rgba 16, opaque": (opencv_file(SOLID, ".tif"), WIDE[..., :3]),
    "tiff grey 16": (opencv_file(WIDE[..., 0], ".tif"), GREYS),
    "webp, lossless": (pillow_file(EIGHT[..., :3], "WEBP", lossless=True), EIGHT[..., :3]),
}


@pytest.mark.parametrize(("data", "expected"), EXACT.values(), ids=EXACT.keys())
def test_lossless_files_are_read_to_the_last_bit(data, expected, saved):
    """Pillow alone keeps 8 of 16 bits of a colour picture."""
    photo = read_photo(saved("exact", data))
    assert photo.codes.dtype == expected.dtype
    assert photo.bits == 8 * expected.dtype.itemsize
    np.testing.assert_array_equal(photo.codes, expected)


@pytest.mark.parametrize("options", [
    {"byteorder": ">"}, {"tile": (32, 48)}, {"tile": (32, 48), "compression": "deflate"}, {"bigtiff": True},
    {"byteorder": ">", "compression": "deflate", "predictor": True}, {"extrasamples": ["unassalpha"]},
    {"rowsperstrip": 1},
], ids=str)  # fmt: skip
def test_tiff_files_of_other_makes_are_read_to_the_last_bit(options, saved):
    """Each editor packs a 16-bit TIFF its own way."""
    tifffile = pytest.importorskip("tifffile")
    if "predictor" in options:
        pytest.importorskip("imagecodecs")  # tifffile writes it only with this
    picture = SOLID if "extrasamples" in options else np.ascontiguousarray(WIDE[..., :3])
    out = io.BytesIO()
    tifffile.imwrite(out, picture, photometric="rgb", **options)
    photo = read_photo(saved("made.tif", out.getvalue()))
    np.testing.assert_array_equal(photo.codes, WIDE[..., :3])


def test_a_16_bit_photo_keeps_its_bits_through_averaging(saved):
    """Averaged at 8 bits, all these codes would become one."""
    picture = np.full((128, 128, 3), 30000, np.uint16)
    picture[::2, ::2] += 40  # a quarter of each box of four
    photo = read_photo(saved("fine.png", opencv_file(picture, ".png")), target_pixels=64 * 64)
    assert photo.codes.dtype == np.uint16
    assert np.abs(photo.codes.astype(int) - 30010).max() <= 1


def test_a_10_bit_heic_reaches_white(saved):
    """The decoder leaves the lowest bits empty, so that white would be 65472."""
    pillow_heif = pytest.importorskip("pillow_heif")
    out = io.BytesIO()
    white = np.full((96, 128, 3), 65535, np.uint16)
    pillow_heif.from_bytes("RGB;16", (128, 96), white.tobytes()).save(out, quality=-1, chroma=444)
    photo = read_photo(saved("white.heic", out.getvalue()))
    assert photo.bits == 16
    assert (photo.codes == 65535).all()


def test_a_photo_cannot_be_written_to(saved):
    """Whoever draws on a photo must copy it first, or the next measurement reads the drawing."""
    photo = read_photo(saved("a.png", pillow_file(scene(), "PNG")))
    with pytest.raises(ValueError, match="read-only"):
        photo.codes[0, 0] = 0


# --- colour ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "HEIC"])
def test_the_profile_is_found_in_each_format(kind, saved):
    """Each format keeps it elsewhere."""
    picture = Image.fromarray(scene())
    if kind == "HEIC":
        picture.info["icc_profile"] = P3
        data = heif_file(picture)
    else:
        data = pillow_file(picture, kind, icc_profile=P3)
    photo = read_photo(saved("tagged", data))
    assert photo.space is DISPLAY_P3
    assert photo.notes == ()


def test_a_photo_without_profile_is_srgb_and_says_so(saved):
    """The reader of the report must know what was assumed."""
    photo = read_photo(saved("bare.jpg", pillow_file(scene(), "JPEG")))
    assert photo.space is SRGB
    assert photo.notes == ("No colour profile: read as sRGB.",)


@pytest.mark.parametrize("facts", [exif(space=2), exif(space=65535, interop="R03")], ids=["tag 2", "R03"])
def test_a_camera_that_says_adobe_rgb_in_exif_alone_is_believed(facts, saved):
    """Cameras set to Adobe RGB often embed no profile: reds would be 6 L* too dark."""
    photo = read_photo(saved("adobe.jpg", pillow_file(scene(), "JPEG", exif=facts)))
    assert photo.space is ADOBE_RGB
    assert photo.notes == ("No colour profile: read as Adobe RGB, as the EXIF data say.",)


def test_an_uncalibrated_photo_of_plain_interoperability_stays_srgb(saved):
    """Only R03 means Adobe RGB."""
    facts = exif(space=65535, interop="R98")
    assert read_photo(saved("plain.jpg", pillow_file(scene(), "JPEG", exif=facts))).space is SRGB


def test_a_profile_goes_before_exif(saved):
    """An editor that converts the picture often leaves the camera's EXIF as it was."""
    data = pillow_file(scene(), "JPEG", exif=exif(space=2), icc_profile=P3)
    assert read_photo(saved("both.jpg", data)).space is DISPLAY_P3


@pytest.mark.parametrize("chunk", [(b"cICP", bytes((12, 13, 0, 1)))])
def test_png_code_points_name_the_space(chunk, saved):
    """The newest way of saying Display P3."""
    assert read_photo(saved("p3.png", with_png_chunk(pillow_file(scene(), "PNG"), *chunk))).space is DISPLAY_P3


def test_png_gamma_is_used_where_nothing_better_is_said(saved):
    """A renderer's linear picture read as sRGB is far too dark."""
    linear = with_png_chunk(pillow_file(scene(), "PNG"), b"gAMA", struct.pack(">L", 100_000))
    photo = read_photo(saved("linear.png", linear))
    assert photo.space.curves[0](np.array(0.25)) == pytest.approx(0.25)
    assert photo.notes == ("No colour profile: read with the file's gamma of 1.",)
    usual = with_png_chunk(pillow_file(scene(), "PNG"), b"gAMA", struct.pack(">L", 45455))
    assert read_photo(saved("usual.png", usual)).space is SRGB


def test_a_profile_of_other_pixels_is_left_out_with_a_note(saved):
    """A CMYK profile in an RGB file is a mistake of some editor."""
    photo = read_photo(saved("mixed.jpg", pillow_file(scene(), "JPEG", icc_profile=cmyk_profile())))
    assert photo.space is SRGB
    assert photo.notes == ("The colour profile 'tables', for CMYK pixels, does not fit RGB ones; read as sRGB.",)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_a_damaged_profile_is_left_out_with_a_note(kind, saved):
    """The photo can still be read; the numbers are only less sure."""
    photo = read_photo(saved("damaged", pillow_file(scene(), kind, icc_profile=P3[:300])))
    assert photo.space is SRGB
    assert photo.notes == ("The colour profile is damaged and does not fit; read as sRGB.",)


def test_a_profile_in_pieces_is_put_together_in_order(saved):
    """A JPEG segment holds 64 kB; the pieces may come in any order."""
    data = pillow_file(scene(), "JPEG")
    pieces = [P3[:200], P3[200:350], P3[350:]]
    segments = [
        b"\xff\xe2" + struct.pack(">H", len(piece) + 16) + b"ICC_PROFILE\0" + bytes((number, 3)) + piece
        for number, piece in enumerate(pieces, start=1)
    ]
    whole = data[:2] + segments[2] + segments[0] + segments[1] + data[2:]
    assert read_photo(saved("pieces.jpg", whole)).space is DISPLAY_P3
    photo = read_photo(saved("missing.jpg", data[:2] + segments[2] + segments[0] + data[2:]))
    assert photo.notes == ("The colour profile is damaged and does not fit; read as sRGB.",)


def _cube() -> bytes:
    weights = np.array([0.25, 0.65, 0.1])
    return table_profile(
        b"RGB ", {tuple(map(int, c)): (100 * float(weights @ np.array(c)), 0, 0) for c in np.ndindex(2, 2, 2)}
    )


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "HEIC"])
def test_a_profile_of_tables_is_converted_with_a_note(kind, saved):
    """Its numbers mean nothing until they are."""
    picture = Image.fromarray(np.full((96, 128, 3), (200, 100, 50), np.uint8))
    picture.info["icc_profile"] = _cube()
    data = heif_file(picture, quality=-1) if kind == "HEIC" else pillow_file(picture, kind, icc_profile=_cube())
    photo = read_photo(saved("tables", data))
    assert photo.space is SRGB
    assert photo.notes == ("Converted to 8-bit sRGB from the tables of the colour profile 'tables'.",)
    expected = 100 * (0.25 * 200 + 0.65 * 100 + 0.1 * 50) / 255
    lightness = srgb1_to_lightness(photo.codes[50, 60] / 255)
    assert lightness == pytest.approx(expected, abs=1)  # steps of JPEG, of 8-bit sRGB and of the table's 8 bits


def test_a_16_bit_photo_with_tables_is_converted_at_8_bits(saved):
    """LittleCMS is reached through 8-bit images; the note says so."""
    data = with_png_chunk(opencv_file(WIDE[..., :3], ".png"), b"iCCP", b"tables\0\0" + zlib.compress(_cube()))
    photo = read_photo(saved("wide.png", data))
    assert photo.bits == 8
    assert photo.notes[0].startswith("Converted to 8-bit sRGB")


def test_a_cmyk_photo_with_its_profile_is_converted(saved):
    """The half-tone of one ink of the test profile takes 30 L* at full strength."""
    inks = Image.fromarray(np.full((96, 128, 4), (255, 0, 0, 0), np.uint8), "CMYK")
    photo = read_photo(saved("inks.jpg", pillow_file(inks, "JPEG", quality=98, icc_profile=cmyk_profile())))
    assert srgb1_to_lightness(photo.codes[40, 40] / 255) == pytest.approx(70, abs=1)
    assert photo.notes[0].startswith("Converted to 8-bit sRGB from the tables")


def test_a_greyscale_photo_gets_three_equal_channels_and_a_note(saved):
    """Everything behind expects three."""
    grey = scene()[..., 0]
    photo = read_photo(saved("grey.png", pillow_file(grey, "PNG")))
    np.testing.assert_array_equal(photo.codes, np.repeat(grey[..., np.newaxis], 3, axis=2))
    assert "Greyscale photo: its three channels are the same." in photo.notes


def test_a_greyscale_photo_uses_its_greyscale_profile(saved):
    """A scanner's grey gamma of 1.8 read as sRGB is up to 9 L* too dark."""
    profile = icc({b"desc": described("grey"), b"kTRC": curv([round(1.8 * 256)])}, pixels=b"GRAY")
    photo = read_photo(saved("grey.jpg", pillow_file(scene()[..., 0], "JPEG", icc_profile=profile)))
    assert photo.space.curves[0](np.array(0.5)) == pytest.approx(0.5 ** (round(1.8 * 256) / 256))


def test_a_palette_png_is_read_with_a_note(saved):
    """It may be a photo saved too small."""
    palette = Image.fromarray(scene()).quantize(64)
    photo = read_photo(saved("palette.png", pillow_file(palette, "PNG")))
    np.testing.assert_array_equal(photo.codes, np.asarray(palette.convert("RGB")))
    assert "Palette picture: it may have fewer colours than the scene had." in photo.notes


@pytest.mark.parametrize("kind", ["png 8", "png 16", "webp", "tiff", "grey 16"])
def test_transparent_parts_are_laid_on_white_in_light(kind, saved):
    """Half-transparent black over white is half the light, code 188, not half the code."""
    picture = np.zeros((96, 128, 4), np.uint16)
    picture[..., 3] = 32768
    eight = (picture >> 8).astype(np.uint8)
    data = {
        "png 8": lambda: pillow_file(eight, "PNG"),
        "png 16": lambda: opencv_file(picture, ".png"),
        "webp": lambda: pillow_file(eight, "WEBP", lossless=True, exact=True),
        "tiff": lambda: pillow_file(eight, "TIFF"),
        "grey 16": lambda: _grey_alpha_png(picture[..., 2:]),
    }[kind]()
    photo = read_photo(saved("glass", data))
    assert "Transparent parts were laid on white." in photo.notes
    shown = photo.codes / (255 if photo.bits == 8 else 65535) * 255
    np.testing.assert_allclose(shown, 187.5, atol=1)  # IEC 61966-2-1: light 0.5 is code 187.5


def test_the_one_transparent_colour_of_a_png_is_laid_on_white(saved):
    """It is named in a chunk of its own, not in a fourth channel."""
    picture = scene()
    picture[:20, :20] = (1, 2, 3)
    data = with_png_chunk(pillow_file(picture, "PNG"), b"tRNS", struct.pack(">HHH", 1, 2, 3))
    photo = read_photo(saved("key.png", data))
    assert (photo.codes[:20, :20] == 255).all()
    np.testing.assert_array_equal(photo.codes[20:], picture[20:])


def _grey_alpha_png(pairs: np.ndarray) -> bytes:
    rows, cols = pairs.shape[:2]
    lines = b"".join(b"\0" + line.astype(">u2").tobytes() for line in pairs)
    header = struct.pack(">LLBBBBB", cols, rows, 16, 4, 0, 0, 0)
    chunks = png_chunk(b"IHDR", header) + png_chunk(b"IDAT", zlib.compress(lines)) + png_chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunks


def test_only_the_base_picture_of_a_multi_picture_jpeg_is_read(saved):
    """A phone's second picture is a gain map or a preview."""
    base, second = scene(seed=1), scene(seed=2)
    out = io.BytesIO()
    options = {"quality": 98, "subsampling": 0}
    Image.fromarray(base).save(out, "MPO", save_all=True, append_images=[Image.fromarray(second)], **options)
    photo = read_photo(saved("pair.jpg", out.getvalue()))
    assert np.abs(photo.codes.astype(int) - base).mean() < 2


def test_only_the_first_picture_of_a_tiff_is_read_with_a_note(saved):
    """Scanners store several; measuring one must not look like measuring all."""
    out = io.BytesIO()
    Image.fromarray(scene(seed=1)).save(out, "TIFF", save_all=True, append_images=[Image.fromarray(scene(seed=2))])
    photo = read_photo(saved("pages.tif", out.getvalue()))
    np.testing.assert_array_equal(photo.codes, scene(seed=1))
    assert "Only the first of 2 pictures in the file was read." in photo.notes


# --- EXIF that lies -------------------------------------------------------------------------------------------------


def test_the_date_is_read(saved):
    """The catalogue sorts by it."""
    data = pillow_file(scene(), "JPEG", exif=exif(taken="2024:02:29 23:59:58"))
    assert read_photo(saved("dated.jpg", data)).taken == "2024-02-29T23:59:58"


@pytest.mark.parametrize("taken", ["0000:00:00 00:00:00", "2023:02:29 10:00:00", "1066:10:14 09:00:00",
                                   "2999:01:01 00:00:00", "yesterday", "\x1b[31m2024"])  # fmt: skip
def test_a_date_that_cannot_be_right_is_left_out_with_a_note(taken, saved):
    """A camera whose clock was never set says the year nought."""
    photo = read_photo(saved("dated.jpg", pillow_file(scene(), "JPEG", exif=exif(taken=taken))))
    assert photo.taken is None
    assert photo.notes[-1].startswith("The EXIF date ")
    assert photo.notes[-1].endswith(" cannot be right and was ignored.")
    assert photo.notes[-1].isprintable()


@pytest.mark.parametrize(("orientation", "got"), [(0, "0"), (9, "9"), (65535, "65535"), (b"Horizontal\0", "not one")])
def test_an_orientation_that_is_none_is_left_out_with_a_note(orientation, got, saved):
    """Guessing would put the outlines elsewhere."""
    upright = scene()
    photo = read_photo(saved("turned.png", pillow_file(upright, "PNG", exif=exif(orientation))))
    np.testing.assert_array_equal(photo.codes, upright)
    assert f"The EXIF orientation must be 1 to 8; it is {got}" in photo.notes[-1]


@pytest.mark.parametrize("garbage", [b"Exif\0\0", b"Exif\0\0" + bytes(range(40)), b"Exif\0\0MM\0*\xff\xff\xff\xff",
                                     b"Exif\0\0II*\0\x08\0\0\0\xff\xff" + bytes(30)])  # fmt: skip
def test_exif_of_garbage_is_left_out_with_a_note(garbage, saved):
    """Pillow warns, or stops, at some of these."""
    data = pillow_file(scene(), "JPEG")
    segment = b"\xff\xe1" + struct.pack(">H", len(garbage) + 2) + garbage
    photo = read_photo(saved("garbage.jpg", data[:2] + segment + data[2:]))
    assert photo.size == (96, 128)
    assert photo.notes[-1] == "The EXIF data are damaged and were ignored."


# --- RAW ------------------------------------------------------------------------------------------------------------


def raw_scene(orientation: int = 1, rows: int = 200, cols: int = 300) -> bytes:
    """A sensor that sees BT.2020 light scaled by its own white balance: one colour, with a darker first quarter."""
    light = np.array([0.3, 0.4, 0.2])
    neutral = np.array([0.5, 1.0, 0.6])
    xyz_to_light = np.linalg.inv(np.array(LINEAR_BT2020.to_xyz))
    red, green, blue = light * neutral * 4095
    mosaic = np.tile(np.array([[red, green], [green, blue]]), (rows // 2, cols // 2))
    mosaic[: rows // 2, : cols // 2] /= 4
    return dng(mosaic.astype(np.uint16), np.diag(neutral) @ xyz_to_light, tuple(neutral), orientation=orientation)


@pytest.mark.parametrize("target", [3_000_000, 200 * 300 // 4, 200 * 300 // 16])
def test_camera_raw_is_linear_light_with_the_cameras_white_balance(target, saved):
    """A tone curve, auto brightness or clipped paint colours would make RAW no better than JPEG."""
    pytest.importorskip("rawpy")
    photo = read_photo(saved("a.dng", raw_scene()), target_pixels=target)
    rows, cols = photo.codes.shape[:2]
    assert photo.bits == 16
    assert photo.size == (200, 300)
    assert (rows, cols) == (200 // photo.reduction, 300 // photo.reduction)
    linear = photo.codes / 65535
    np.testing.assert_allclose(linear[-5, -5], [0.3, 0.4, 0.2], atol=1e-3)  # codes of 12 bits, matrix to 1/10000
    np.testing.assert_allclose(linear[5, 5], np.array([0.3, 0.4, 0.2]) / 4, atol=1e-3)
    assert photo.taken == "2024-03-01T10:11:12"
    assert photo.notes == ("Developed from camera RAW with the camera's white balance.",)


def test_white_in_camera_raw_is_where_the_sensor_ends(saved):
    """LibRaw's habit is to stretch a picture that almost fills the sensor, by as much as the picture says."""
    pytest.importorskip("rawpy")
    mosaic = np.full((100, 100), round(0.9 * 4095), np.uint16)
    to_camera = np.linalg.inv(np.array(LINEAR_BT2020.to_xyz))
    photo = read_photo(saved("bright.dng", dng(mosaic, to_camera, (1, 1, 1))))
    np.testing.assert_allclose(photo.codes[50, 50] / 65535, 0.9, atol=1e-3)  # 12-bit codes, matrix to 1/10000


@pytest.mark.parametrize(("orientation", "dark"), [(1, (0, 0)), (3, (1, 1)), (6, (0, 1)), (8, (1, 0))])
def test_camera_raw_is_turned_upright(orientation, dark, saved):
    """LibRaw counts the turns its own way."""
    pytest.importorskip("rawpy")
    photo = read_photo(saved("a.dng", raw_scene(orientation)), target_pixels=15000)
    assert photo.size == ((200, 300) if orientation < 5 else (300, 200))
    rows, cols = photo.codes.shape[:2]
    corners = {(r, c): int(photo.codes[(5, rows - 5)[r], (5, cols - 5)[c], 1]) for r in (0, 1) for c in (0, 1)}
    assert min(corners, key=lambda corner: corners[corner]) == dark


def test_camera_raw_without_rawpy_names_what_to_install(saved, monkeypatch):
    """RAW is an extra; the message is all she has."""
    monkeypatch.setitem(sys.modules, "rawpy", None)
    with pytest.raises(MissingPackageError, match=r"'a\.dng'.*pip install 'contrastkit\[raw\]'"):
        read_photo(saved("a.dng", raw_scene()))


# --- refusals -------------------------------------------------------------------------------------------------------


def test_a_file_that_is_not_there_is_refused(tmp_path):
    """The commonest mistake of all."""
    message = refusal(tmp_path / "gone.jpg")
    assert "must be there to be read; there is no file" in message
    assert "gone.jpg" in message


def test_a_folder_is_refused(tmp_path):
    """Folders are for `list_photos`."""
    assert "is a folder. Name the photos in it." in refusal(tmp_path)


def test_a_pipe_is_refused_rather_than_waited_for(tmp_path):
    """Reading one would wait for ever."""
    if not hasattr(os, "mkfifo"):
        pytest.skip("this system has no named pipes")
    os.mkfifo(tmp_path / "pipe.jpg")
    assert "must be a plain file" in refusal(tmp_path / "pipe.jpg")


def test_a_file_nobody_may_read_is_refused(saved, monkeypatch):
    """The system's own words name no remedy. (Whoever runs this as root may read everything, so it is pretended.)"""
    path = saved("mine.jpg", pillow_file(scene(), "JPEG"))

    def forbidden(self):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", forbidden)
    assert "the system does not let" in refusal(path)


def test_a_disk_that_fails_is_refused(saved, monkeypatch):
    """A card with a bad block raises whatever it likes."""
    path = saved("card.jpg", pillow_file(scene(), "JPEG"))

    def broken(self):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Path, "read_bytes", broken)
    assert "the system cannot read" in refusal(path)


@pytest.mark.parametrize("name", ["a\0b.jpg", "x" * 5000])
def test_a_name_that_cannot_be_one_is_refused(name):
    """It may come out of a table."""
    message = refusal(name)
    assert message.isprintable()
    assert len(message) < 250


def test_something_that_is_no_path_is_refused():
    """A number or nothing where the name should be is a mistake of the caller."""
    with pytest.raises(InvalidInputError, match="must be text or a Path; got None"):
        read_photo(None)


def test_an_empty_file_is_refused(saved):
    """A card pulled out too early leaves these."""
    assert "none.jpg' is empty (0 bytes). Copy it from the camera again." in refusal(saved("none.jpg", b""))


def test_a_file_of_many_megabytes_is_refused_before_it_is_read(saved, monkeypatch):
    """A film named .jpg would fill the memory first."""
    monkeypatch.setattr(read, "_MOST_BYTES", 2_000_000)
    path = saved("film.jpg", bytes(3_000_000))
    monkeypatch.setattr(Path, "read_bytes", lambda self: pytest.fail("it was read"))
    assert "must be at most 2 MB;" in refusal(path)
    assert "has 3 MB. Export it as JPEG." in refusal(path)


@pytest.mark.parametrize(
    ("data", "got"),
    [
        (b"Dear diary,\r\nthe swatches are dry.", "is text, whatever its name says"),
        (b"BMW or not, this is text.", "is text, whatever its name says"),
        ("naïve".encode() * 900, "is text, whatever its name says"),
        (b"GIF89a" + bytes(200), "is a GIF picture, which has too few colours to measure"),
        (b"BM" + bytes(200), "is a BMP picture"),
        (b"%PDF-1.7" + bytes(200), "is a PDF document"),
        (b"8BPS\0\x01" + bytes(200), "is a layered editor's file"),
        (b"\0\0\0\x0cjP  \r\n\x87\n", "is a JPEG 2000 picture"),
        (b"\0\0\0\x1cftypavif" + bytes(200), "is an AVIF picture"),
        (b"\0\0\0\x1cftypmp42" + bytes(200), "is a film"),
        (b"PK\x03\x04" + bytes(200), "is a ZIP archive"),
        (bytes(500), "is none of these (it starts with the bytes 00 00 00 00)"),
        (b"\xff", "is none of these (it starts with the bytes ff)"),
    ],
)
def test_a_file_of_another_kind_is_refused_by_what_it_is(data, got, saved):
    """Its ending says .jpg; what it is says what to do."""
    message = refusal(saved("photo.jpg", data))
    assert message == (
        f"A photo must be JPEG, PNG, TIFF, WebP, HEIC or camera RAW; 'photo.jpg' {got}. "
        "Save or export the photo as JPEG."
    )


def test_an_animated_gif_is_refused(saved):
    """Pillow would read its first picture."""
    frames = [Image.fromarray(scene(seed=seed)) for seed in (1, 2)]
    data = pillow_file(frames[0], "GIF", save_all=True, append_images=frames[1:])
    assert "is a GIF picture" in refusal(saved("wave.gif", data))


@pytest.mark.parametrize("kind", ["WEBP", "PNG"])
def test_an_animation_is_refused(kind, saved):
    """Which of its pictures shows the board?"""
    frames = [Image.fromarray(scene(seed=seed)) for seed in (1, 2, 3)]
    data = pillow_file(frames[0], kind, save_all=True, append_images=frames[1:])
    assert "must be one still picture; 'wave' is an animation of 3. Export one picture." in refusal(saved("wave", data))


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_black_and_white_only_is_refused(kind, saved):
    """Of one bit nothing can be measured."""
    data = pillow_file(Image.fromarray(scene()).convert("1"), kind)
    assert "must have shades; 'bw' has 1 bit a pixel, black or white only" in refusal(saved("bw", data))


@pytest.mark.parametrize("profile", [None, P3, P3[:200]], ids=["none", "of RGB", "damaged"])
def test_cmyk_without_a_profile_of_its_own_is_refused(profile, saved):
    """The same inks are another colour on every press."""
    inks = Image.fromarray(scene()).convert("CMYK")
    message = refusal(saved("inks.jpg", pillow_file(inks, "JPEG", icc_profile=profile)))
    assert "A CMYK photo must have its CMYK profile embedded; 'inks.jpg' has none that can be used." in message
    assert message.endswith("Export it as RGB.")


@pytest.mark.parametrize(("mode", "got"), [("F", "floating-point pixels of 32 bits"), ("I", "signed pixels of 32 bits"),
                                           ("LAB", "CIELAB pixels of 8 bits")])  # fmt: skip
def test_pixels_that_are_no_camera_colours_are_refused(mode, got, saved):
    """What the numbers mean is anyone's guess."""
    message = refusal(saved("odd.tif", pillow_file(Image.new(mode, (80, 80)), "TIFF")))
    assert f"must have grey, RGB or CMYK pixels of 8 or 16 bits; 'odd.tif' has {got}." in message


def test_a_tiff_pillow_would_read_wrongly_is_refused(saved):
    """16-bit colour planes one after another come out of Pillow as noise, without a word."""
    tifffile = pytest.importorskip("tifffile")
    out = io.BytesIO()
    planes = np.ascontiguousarray(WIDE[..., :3].transpose(2, 0, 1))
    tifffile.imwrite(out, planes, photometric="rgb", planarconfig="separate")
    message = refusal(saved("planes.tif", out.getvalue()))
    assert "must be packed in a way that can be read exactly; 'planes.tif' has separate colour planes" in message


@pytest.mark.parametrize("points", [(9, 16), (9, 18)], ids=["PQ", "HLG"])
def test_hdr_codes_are_refused(points, saved):
    """Read as paper they would be several L* groups too dark."""
    data = with_png_chunk(pillow_file(scene(), "PNG"), b"cICP", bytes((*points, 0, 1)))
    message = refusal(saved("hdr.png", data))
    assert "must be coded for paper white, not for HDR screens; 'hdr.png' uses primaries 9" in message


WHOLE = {
    "cut.jpg": pillow_file(scene(), "JPEG", quality=90, exif=exif(6)),
    "cut progressive.jpg": pillow_file(scene(), "JPEG", progressive=True),
    "cut.png": pillow_file(scene(), "PNG"),
    "cut 16.png": opencv_file(WIDE[..., :3], ".png"),
    "cut.tif": pillow_file(scene(), "TIFF"),
    "cut lzw.tif": pillow_file(scene(), "TIFF", compression="tiff_lzw", icc_profile=P3),
    "cut 16.tif": opencv_file(WIDE[..., :3], ".tif"),
    "cut.webp": pillow_file(scene(), "WEBP", quality=90),
    "cut.heic": heif_file(scene()),
}


@pytest.mark.parametrize("name", WHOLE)
@pytest.mark.parametrize("missing", [1, 2, 7, 0.05, 0.3, 0.5, 0.8, 0.97])
def test_a_photo_cut_short_is_refused_and_never_filled_up_with_grey(name, missing, saved):
    """Half a photo looks whole to whatever measures it."""
    data = WHOLE[name]
    left = len(data) - (missing if isinstance(missing, int) else round(missing * len(data)))
    message = refusal(saved(name, data[:left]))
    assert message.startswith(f"A photo must be whole; '{name}' is damaged: it ")
    assert message.endswith(". Copy it from the camera again.")


@pytest.mark.parametrize("name", ["cut.jpg", "cut.webp", "cut.heic"])
def test_a_download_that_stopped_is_refused_though_it_has_its_full_length(name, saved):
    """The rest is zeros, which these decoders take for picture."""
    data = WHOLE[name]
    half = len(data) // 2
    assert "is damaged: it" in refusal(saved(name, data[:half] + bytes(len(data) - half)))


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_a_jpeg_closed_too_early_is_refused(share, saved):
    """Some copying tools add the end mark to what they have; the decoder fills the rest with mid-grey."""
    data = WHOLE["cut.jpg"]
    half = round(share * len(data))
    assert "is damaged: it breaks off early" in refusal(saved("closed.jpg", data[:half] + b"\xff\xd9"))


def test_a_jpeg_without_an_end_is_refused_before_it_is_decoded():
    """Decoding half of it first is a waste."""
    data = WHOLE["cut.jpg"]
    assert jpeg_facts(data).size == (96, 128)
    with pytest.raises(BrokenFileError, match="breaks off early"):
        jpeg_facts(data[:-2])


def test_a_jpeg_that_says_jfif_is_luma_and_chroma_whatever_its_channels_are_called(saved):
    """Without its JFIF mark a decoder takes channels named R, G, B at their word, and every colour is wrong."""
    data = pillow_file(scene(), "JPEG", quality=98, subsampling=0)
    frame, scan = data.index(b"\xff\xc0"), data.index(b"\xff\xda")
    renamed = bytearray(data)
    for channel, letter in enumerate(b"RGB"):
        renamed[frame + 10 + 3 * channel] = letter
        renamed[scan + 5 + 2 * channel] = letter
    photo = read_photo(saved("named.jpg", bytes(renamed)))
    np.testing.assert_array_equal(photo.codes, read_photo(saved("plain.jpg", data)).codes)


@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_a_photo_that_is_mid_grey_in_its_last_corner_is_read(mode, saved):
    """What missing data look like can also be there."""
    picture = np.full((128, 128, 3), 128, np.uint8)
    picture[:60, :60] = 30
    data = pillow_file(Image.fromarray(picture).convert(mode), "JPEG", quality=95)
    assert (read_photo(saved("grey.jpg", data)).codes[-40:, -40:] == 128).all()


def test_a_spoilt_png_is_refused(saved):
    """One wrong bit spoils every row below it."""
    data = bytearray(WHOLE["cut.png"])
    data[len(data) // 2] ^= 4
    assert "is damaged: part of it is spoilt" in refusal(saved("spoilt.png", bytes(data)))


@pytest.mark.parametrize(("kind", "size"), [("PNG", (63, 200)), ("JPEG", (200, 63)), ("TIFF", (1, 1)),
                                            ("WEBP", (10, 10)), ("HEIC", (48, 64))])  # fmt: skip
def test_a_photo_too_small_is_refused(kind, size, saved):
    """A thumbnail or a pixel holds no board of swatches."""
    picture = np.full((*size, 3), 90, np.uint8)
    message = refusal(saved("icon", heif_file(picture) if kind == "HEIC" else pillow_file(picture, kind)))
    assert f"must have at least 64 x 64 pixels; 'icon' has {size[1]} x {size[0]}." in message


@pytest.mark.parametrize("at", [16, 20])
def test_a_photo_of_no_pixels_is_refused(at, saved):
    """A width or a height of nought."""
    data = bytearray(WHOLE["cut.png"])
    data[at : at + 4] = bytes(4)
    data[29:33] = struct.pack(">L", zlib.crc32(data[12:29]))
    assert "must have at least 64 x 64 pixels;" in refusal(saved("nothing.png", bytes(data)))


def _claiming(name: str, rows: int, cols: int) -> bytes:
    """The file with another size in its header."""
    data = bytearray(WHOLE[name])
    if name.endswith(".png"):
        data[16:24] = struct.pack(">LL", cols, rows)
        data[29:33] = struct.pack(">L", zlib.crc32(data[12:29]))
    elif name.endswith(".jpg"):
        at = data.index(b"\xff\xc2" if "progressive" in name else b"\xff\xc0")
        data[at + 5 : at + 9] = struct.pack(">HH", rows, cols)
    elif name.endswith(".webp"):
        data[26:30] = struct.pack("<HH", cols, rows)
    else:
        for tag, old, new in ((256, 128, cols), (257, 96, rows)):
            at = data.index(struct.pack("<HHLL", tag, 3, 1, old))
            data[at + 8 : at + 12] = struct.pack("<L", new)
    return bytes(data)


@pytest.mark.parametrize(
    ("name", "rows", "cols", "said"),
    [
        ("cut.jpg", 16000, 16000, "A JPEG must have at most 250 megapixels"),
        ("cut progressive.jpg", 11000, 11000, "A progressive JPEG must have at most 120 megapixels"),
        ("cut.png", 11000, 11000, "A PNG must have at most 120 megapixels"),
        ("cut 16.png", 8000, 8000, "A 16-bit PNG must have at most 60 megapixels"),
        ("cut.png", 2**31, 2**31, "A PNG must have at most 120 megapixels"),
        ("cut lzw.tif", 11000, 11000, "A TIFF must have at most 120 megapixels"),
        ("cut.webp", 8000, 8000, "A WebP must have at most 50 megapixels"),
    ],
)
def test_a_photo_too_large_is_refused_by_its_header(name, rows, cols, said, saved):
    """Decoding it first would take gigabytes."""
    message = refusal(saved(name, _claiming(name, rows, cols)))
    assert message.startswith(f"{said} to fit in memory; '{name}' has {cols} x {rows} (")


@pytest.mark.parametrize("name", ["cut.jpg", "cut.png", "cut lzw.tif", "cut.webp"])
def test_a_small_file_that_claims_a_huge_picture_is_refused(name, saved):
    """A picture of kilobytes that unpacks to a hundred megapixels is a trap."""
    message = refusal(saved(name, _claiming(name, 7000, 7000)))
    assert f"must hold a picture; '{name}' unpacks to 49 megapixels from only " in message


def test_a_photo_that_needs_too_much_memory_for_its_bytes_is_refused(saved):
    """Neither its size nor its pixels alone are too many; together they are."""
    message = refusal(saved("cut.webp", _claiming("cut.webp", 7000, 7000) + 50_000_000 * b"\1"))
    assert "must be read within a gigabyte of memory; 'cut.webp', 7000 x 7000 in 50 MB, would take 1014 MB" in message
    assert "Export it smaller or as JPEG." in message


def test_a_picture_of_another_size_than_its_header_says_is_refused():
    """Outlines would be in pixels of another picture."""
    message = refusal(Path(__file__).parent / "fuzz" / "seeds" / "two-sizes.webp")
    assert "is damaged: its header and its picture are not of the same size." in message


def test_a_picture_as_long_as_a_ribbon_is_refused(saved):
    """Nothing could be found on a strip that is reduced to a thread."""
    message = refusal(saved("ribbon.png", png_of_zeros(64, 1100)))
    assert "no more than 16 times as long as it is wide; 'ribbon.png' has" in message


def test_a_real_decompression_bomb_is_refused(saved):
    """A hundred megapixels of nothing in 300 kB, correct to the last byte."""
    path = saved("bomb.png", png_of_zeros(10_000, 10_000))
    message = refusal(path)
    assert "'bomb.png' unpacks to 100 megapixels from only 2" in message  # 2xx kB
    assert "as no photograph does" in message


def test_a_name_full_of_tricks_is_shown_harmless_and_short(saved):
    """A file's name can move the cursor, turn the text round or fill the screen."""
    name = "\x1b[2J\n\u202egpj." + "long" * 40 + ".jpg"
    message = refusal(saved(name, b"text"))
    assert message.isprintable()
    assert len(message) < 260
    assert "\\x1b[2J\\n\\u202egpj" in message


def test_the_librarys_own_error_is_kept_as_the_cause(saved):
    """Whoever looks into it needs it."""
    with pytest.raises(UnreadablePhotoError) as caught:
        read_photo(saved("cut.heic", WHOLE["cut.heic"][:-200]))
    assert caught.value.__cause__ is not None


def test_a_name_in_another_encoding_comes_out_as_text(tmp_path):
    """The name goes into tables and reports, which are UTF-8."""
    path = tmp_path / os.fsdecode(b"caf\xe9.png")
    try:
        path.write_bytes(pillow_file(scene(), "PNG"))
    except OSError:
        pytest.skip("this file system takes no such names")
    assert read_photo(path).name == "caf\ufffd.png"


# --- lists ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def tree(tmp_path):
    """A folder of photos and other things, with links that run in circles."""
    photos = ("b.JPG", "a.png", "deep/c.heic", "deep/er/d.dng", "Z.TIFF")
    for name in (*photos, "notes.txt", ".hidden.jpg", ".trash/e.jpg"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")
    return tmp_path


def test_folders_are_walked_in_order_and_other_files_passed_over(tree):
    """The table's rows follow this order."""
    found = [path.relative_to(tree).as_posix() for path in list_photos([tree])]
    assert found == ["Z.TIFF", "a.png", "b.JPG", "deep/c.heic", "deep/er/d.dng"]


def test_what_is_named_is_listed_once_and_in_the_order_given(tree):
    """A photo given twice must not be measured twice; one that is not there must not be lost in silence."""
    paths = [tree / "b.JPG", str(tree / "notes.txt"), tree / "gone.jpg", tree / "deep", tree / "b.JPG", tree]
    found = [path.relative_to(tree).as_posix() for path in list_photos(paths)]
    assert found == ["b.JPG", "notes.txt", "gone.jpg", "deep/c.heic", "deep/er/d.dng", "Z.TIFF", "a.png"]


def test_links_in_circles_end(tree):
    """A link up the tree would be walked for ever."""
    (tree / "deep" / "up").symlink_to(tree, target_is_directory=True)
    (tree / "deep" / "self").symlink_to(tree / "deep" / "self")
    found = [path.relative_to(tree).as_posix() for path in list_photos([tree])]
    assert found == ["Z.TIFF", "a.png", "b.JPG", "deep/c.heic", "deep/er/d.dng"]


def test_a_folder_that_cannot_be_opened_is_listed_so_that_reading_it_says_so(tree, monkeypatch):
    """One locked folder must not stop the others, nor vanish."""
    opened = Path.iterdir

    def locked(self):
        if self.name == "deep":
            raise PermissionError(13, "Permission denied")
        return opened(self)

    monkeypatch.setattr(Path, "iterdir", locked)
    assert list_photos([tree])[-1] == tree / "deep"
    assert "the system does not let" in refusal(tree / "deep")


def test_one_path_instead_of_a_list_is_refused():
    """A string is a list of letters."""
    with pytest.raises(InvalidInputError, match=r"must be a list of paths; got 'a\.jpg' alone"):
        list_photos("a.jpg")


# --- speed and memory -----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def twelve_megapixels(tmp_path_factory):
    """A JPEG of 4000 x 3000 with some texture."""
    small = scene(375, 500)
    noise = np.random.default_rng(0).normal(0, 4, (3000, 4000, 1))
    large = np.asarray(Image.fromarray(small).resize((4000, 3000)), np.float32) + noise
    path = tmp_path_factory.mktemp("large") / "large.jpg"
    path.write_bytes(pillow_file(np.clip(large, 0, 255).astype(np.uint8), "JPEG", quality=92))
    return path


@pytest.mark.parametrize("ending", [".jpg", ".png", ".tif"])
def test_12_megapixels_are_read_within_400_megabytes(ending, twelve_megapixels, tmp_path):
    """A small laptop reads several at once. (16 bits where the format has them: the most memory.)"""
    if not Path("/proc/self/status").exists():
        pytest.skip("this system does not say how much memory a process had at most")
    path = twelve_megapixels
    if ending != ".jpg":
        path = tmp_path / f"large{ending}"
        picture = np.asarray(Image.open(twelve_megapixels)).astype(np.uint16) * 257
        path.write_bytes(opencv_file(picture, ending, *((16, 0) if ending == ".png" else (259, 1))))
    code = f"""
        from pathlib import Path
        from contrastkit.camera.read import read_photo
        photo = read_photo({str(path)!r})
        assert photo.reduction == 2 and photo.bits == {8 if ending == ".jpg" else 16}
        print(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0])
    """
    command = [sys.executable, "-c", textwrap.dedent(code)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=120)
    assert int(done.stdout) < 400_000  # kilobytes


def test_a_photo_travels_between_processes(saved):
    """Several photos are measured in several processes."""
    profile = matrix_profile(ADOBE_COLORANTS, curv([400]))
    photo = read_photo(saved("a.png", pillow_file(scene(), "PNG", icc_profile=profile)))
    copy = pickle.loads(pickle.dumps(photo))
    assert copy.space == photo.space
    np.testing.assert_array_equal(copy.codes, photo.codes)
