"""Files spoilt by chance or on purpose: a whole photo or one clear sentence comes out, never anything else."""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from photo_files import (
    SRGB_COLORANTS,
    SRGB_PARAMETERS,
    cmyk_profile,
    dng,
    exif,
    heif_file,
    matrix_profile,
    opencv_file,
    para,
    pillow_file,
    scene,
    table_profile,
)
from PIL import Image

from contrastkit.camera.read import Photo, read_photo
from contrastkit.errors import UnreadablePhotoError

MUTATIONS = 1000
SLOWEST = 5.0  # seconds; a whole file of this size takes a hundredth


def _srgb() -> bytes:
    return matrix_profile(SRGB_COLORANTS, para(3, SRGB_PARAMETERS))


def _wide(channels: int) -> np.ndarray:
    rng = np.random.default_rng(3)
    picture = scene().astype(np.uint16) * 256 + rng.integers(0, 256, (96, 128, 3), dtype=np.uint16)
    return np.concatenate([picture, picture[..., :1]], axis=2)[..., :channels].squeeze()


def _cube_profile() -> bytes:
    corners = {tuple(map(int, c)): (100 * (0.2 * c[0] + 0.7 * c[1] + 0.1 * c[2]), 0, 0) for c in np.ndindex(2, 2, 2)}
    return table_profile(b"RGB ", corners)


@cache
def whole_files() -> dict[str, bytes]:
    """One valid file of each kind, by what to call it."""
    picture, facts = scene(), exif(6, "2024:05:01 12:00:00", 1)
    cmyk = Image.fromarray(picture).convert("CMYK")
    mosaic = (_wide(1) // 16).astype(np.uint16)
    return {
        "plain.jpg": pillow_file(picture, "JPEG", quality=90, exif=facts, icc_profile=_srgb()),
        "progressive.jpg": pillow_file(picture, "JPEG", progressive=True, icc_profile=_cube_profile()),
        "grey.jpg": pillow_file(picture[..., 0], "JPEG"),
        "cmyk.jpg": pillow_file(cmyk, "JPEG", icc_profile=cmyk_profile()),
        "eight.png": pillow_file(picture, "PNG", icc_profile=_srgb(), exif=facts),
        "sixteen.png": opencv_file(_wide(3), ".png"),
        "alpha.png": opencv_file(_wide(4), ".png"),
        "palette.png": pillow_file(Image.fromarray(picture).quantize(32), "PNG"),
        "eight.tif": pillow_file(picture, "TIFF", compression="tiff_lzw", icc_profile=_srgb()),
        "plain.tif": pillow_file(picture, "TIFF", exif=facts),
        "sixteen.tif": opencv_file(_wide(3), ".tif"),
        "jpeg.tif": pillow_file(picture, "TIFF", compression="jpeg"),
        "lossy.webp": pillow_file(picture, "WEBP", quality=80, exif=facts, icc_profile=_srgb()),
        "lossless.webp": pillow_file(np.dstack([picture, picture[..., 0]]), "WEBP", lossless=True),
        "phone.heic": heif_file(picture, exif=facts),
        "camera.dng": dng(mosaic, np.eye(3), (1, 1, 1)),
    }


KINDS = tuple(whole_files())


def _flip(rng: np.random.Generator, data: bytearray) -> bytes:
    for at in rng.integers(0, len(data), rng.integers(1, 20)):
        data[at] ^= 1 << int(rng.integers(8))
    return bytes(data)


def _flip_header(rng: np.random.Generator, data: bytearray) -> bytes:
    for at in rng.integers(0, min(600, len(data)), rng.integers(1, 6)):
        data[at] = int(rng.integers(256))
    return bytes(data)


def _cut(rng: np.random.Generator, data: bytearray) -> bytes:
    return bytes(data[: rng.integers(1, len(data))])


def _swap(rng: np.random.Generator, data: bytearray) -> bytes:
    size = int(rng.integers(1, max(2, len(data) // 8)))
    one, other = sorted(rng.integers(0, len(data) - size, 2))
    data[one : one + size], data[other : other + size] = data[other : other + size], data[one : one + size]
    return bytes(data)


def _insert(rng: np.random.Generator, data: bytearray) -> bytes:
    at = int(rng.integers(len(data)))
    return bytes(data[:at]) + rng.bytes(int(rng.integers(1, 200))) + bytes(data[at:])


def _blank(rng: np.random.Generator, data: bytearray) -> bytes:
    at, size = int(rng.integers(len(data))), int(rng.integers(1, 400))
    data[at : at + size] = bytes([int(rng.choice([0, 255]))]) * len(data[at : at + size])
    return bytes(data)


SPOILERS: tuple[Callable[[np.random.Generator, bytearray], bytes], ...] = (
    _flip, _flip_header, _cut, _swap, _insert, _blank,
)


def outcome(path: Path) -> Photo | str:
    """What came out: a photo, or the sentence; a warning or a wait is an error."""
    started = time.perf_counter()
    with warnings.catch_warnings(record=True) as given:
        warnings.simplefilter("always")
        try:
            result: Photo | str = read_photo(path)
        except UnreadablePhotoError as error:
            result = str(error)
    assert given == [], f"{given[0].message}"
    assert time.perf_counter() - started < SLOWEST
    return result


def check_sentence(text: str) -> None:
    """One or two short sentences on one line, with nothing hidden in them."""
    assert text.isprintable()
    assert text.endswith(".")
    assert " must " in text
    assert len(text) < 330
    assert "Error" not in text and "Traceback" not in text


def check_photo(photo: Photo) -> None:
    """Everything a photo promises."""
    rows, cols, channels = photo.codes.shape
    assert channels == 3
    assert photo.codes.dtype in (np.uint8, np.uint16)
    assert photo.codes.flags.c_contiguous
    assert (rows, cols) == tuple(-(-side // photo.reduction) for side in photo.size)
    assert all(note.isprintable() and note.endswith(".") for note in photo.notes)


@pytest.mark.parametrize("kind", KINDS)
def test_a_whole_file_of_each_kind_is_read(kind, tmp_path):
    """The other tests here would pass on a reader that refuses everything."""
    path = tmp_path / kind
    path.write_bytes(whole_files()[kind])
    photo = outcome(path)
    assert isinstance(photo, Photo), photo
    check_photo(photo)


@pytest.mark.parametrize("kind", KINDS)
def test_a_file_spoilt_at_random_gives_a_photo_or_one_sentence(kind, tmp_path, capfd):
    """A decoder's own exception, warning or line on the error output would reach the user."""
    path = tmp_path / kind
    for turn in range(-(-MUTATIONS // len(KINDS))):
        rng = np.random.default_rng([KINDS.index(kind), turn])
        spoil = SPOILERS[turn % len(SPOILERS)]
        path.write_bytes(spoil(rng, bytearray(whole_files()[kind])))
        result = outcome(path)
        check_sentence(result) if isinstance(result, str) else check_photo(result)
    assert capfd.readouterr() == ("", "")
