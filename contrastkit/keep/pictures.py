"""
The pieces' pictures as they are kept: PNG, and in each a very small one by which the same piece is found again.

The small picture lies in a chunk of its own near the start of the file, where any other program passes over it, so that
thousands of pieces can be compared without their pictures being read whole.
"""

from __future__ import annotations

import io
import struct
import zlib
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from contrastkit.errors import CatalogueError, InvalidInputError
from contrastkit.light.lightness import SRGB, linear_to_srgb1, srgb1_to_linear, xyz_to_lab

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float64]

SMALL_UNIT, SMALL_SIDE = 24, 40
"""Pixels for the square root of a piece's area in its small picture, and along a side of that picture."""
HEAD = 12_000
"""So many bytes at the start of a kept picture are sure to hold the small one."""

_CHUNK = b"ckSm"  # by the case of its letters: not needed to show the picture, private, lost when it is edited
_MOST_PIXELS = 100_000_000
_INSIDE = 0.7  # how much of a pixel must be covered for its colour to be trusted [design choice]
_STEPS = 4095  # linear light in 12 bits: finer than one 8-bit code from L* 1 upwards


@dataclass(frozen=True, eq=False)
class Sight:
    """
    A piece in CIELAB, its place and scale.

    Attributes
    ----------
    layers : L*, a* and b* times alpha, and alpha, shape (rows, cols, 4); they may be blurred
    covered : alpha that is not blurred, shape (rows, cols)
    middle : (row, col) of the middle of its area
    side : square root of its area, pixels
    """

    layers: Floats
    covered: Floats
    middle: Floats
    side: float


@dataclass(frozen=True, eq=False)
class Look:
    """CIELAB of part of a plane, shape (rows, cols, 3), and where the piece covers it, shape (rows, cols)."""

    lab: Floats
    inside: NDArray[np.bool_]


def to_png(crop: Pixels) -> bytes:
    """
    Return a piece's crop as the PNG that is kept, its small picture in it.

    Parameters
    ----------
    crop : 8-bit sRGB of shape (rows, cols, 3), or (rows, cols, 4) with alpha 0 outside the piece

    Raises
    ------
    InvalidInputError
        It is not 8-bit pixels of such a shape, or nothing of it is covered.

    >>> crop = np.full((30, 40, 4), 200, np.uint8)
    >>> bool((from_png(to_png(crop)) == crop).all())
    True
    """
    from PIL import Image

    crop = checked_crop(crop)
    file = io.BytesIO()
    Image.fromarray(crop).save(file, "png", compress_level=4)
    return _with_small(file.getvalue(), _small_pixels(crop))


def from_png(png: bytes) -> Pixels:
    """
    Return the crop in a picture that was kept: 8-bit sRGB with alpha, shape (rows, cols, 4).

    Raises
    ------
    CatalogueError
        The picture is spoilt.

    >>> from_png(b"no picture")
    Traceback (most recent call last):
    contrastkit.errors.CatalogueError: A picture of a piece must be a PNG; one in the catalogue is spoilt. ...
    """
    from PIL import Image

    try:
        with Image.open(io.BytesIO(png), formats=("PNG",)) as picture:
            if picture.width * picture.height > _MOST_PIXELS:
                raise ValueError("too large")
            return np.asarray(picture.convert("RGBA"))
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError, zlib.error, struct.error) as error:
        raise CatalogueError(
            "A picture of a piece must be a PNG; one in the catalogue is spoilt. Let the catalogue be checked."
        ) from error


def small_look(head: bytes) -> Look | None:
    """Return the small picture in the first HEAD bytes of one that was kept; None where it is not there."""
    place = 8
    while place + 8 <= len(head):
        length, kind = struct.unpack(">I4s", head[place : place + 8])
        if kind == b"IDAT":
            return None
        if kind == _CHUNK:
            return _unpacked(head[place + 8 : place + 8 + length])
        place += 12 + length
    return None


def look_of(crop: Pixels) -> Look:
    """Return the small picture of a crop."""
    return _seen(_small_pixels(checked_crop(crop)))


def checked_crop(crop: Pixels) -> Pixels:
    """
    Return a crop with alpha.

    Raises
    ------
    InvalidInputError
        It is not 8-bit pixels of shape (rows, cols, 3 or 4), or nothing of it is covered.

    >>> checked_crop(np.zeros((5, 5)))
    Traceback (most recent call last):
    contrastkit.errors.InvalidInputError: A crop must be 8-bit pixels of shape (rows, cols, 3 or 4); got float64 of ...
    """
    good = isinstance(crop, np.ndarray) and crop.dtype == np.uint8 and crop.ndim == 3 and crop.shape[2] in (3, 4)
    if not good or not 0 < crop.shape[0] * crop.shape[1] <= _MOST_PIXELS:
        got = f"{crop.dtype} of shape {crop.shape}" if isinstance(crop, np.ndarray) else type(crop).__name__
        raise InvalidInputError(
            f"A crop must be 8-bit pixels of shape (rows, cols, 3 or 4); got {got}. Cut it out of the photograph."
        )
    whole = crop if crop.shape[2] == 4 else np.dstack([crop, np.full(crop.shape[:2], 255, np.uint8)])
    if not (whole[..., 3] >= 128).any():
        raise InvalidInputError("A crop must show some of its piece; got one that is clear all over. Cut it out again.")
    return np.ascontiguousarray(whole)


def sight_of(crop: Pixels, side: float) -> Sight:
    """
    Return a crop in CIELAB, averaged in linear light to no less than `side` pixels for the square root of its area.

    >>> sight_of(np.full((100, 100, 4), 255, np.uint8), 25).side
    25.0
    """
    light = _light_of(checked_crop(crop), side)
    alpha = light[..., 3]
    lab = _lab(light)
    rows, cols = np.indices(alpha.shape)
    area = float(alpha.sum())
    middle = np.array([(rows * alpha).sum(), (cols * alpha).sum()]) / area
    return Sight(np.dstack([lab * alpha[..., None], alpha]), alpha, middle, area**0.5)


def seen_at(sight: Sight, rows: Floats, cols: Floats) -> Look:
    """Return what a piece looks like at these places, counted in pixels of its sight from its first pixel."""
    sampled = _sampled(np.dstack([sight.layers, sight.covered]), rows, cols)
    inside = sampled[..., 4] > _INSIDE
    lab = sampled[..., :3] / np.maximum(sampled[..., 3:4], 1e-6)
    return Look(np.where(inside[..., None], lab, 0.0), inside)


def _light_of(crop: Pixels, side: float) -> Floats:
    """Linear red, green and blue times alpha, and alpha, in blocks of as many pixels as leave `side`."""
    alpha = crop[..., 3] / 255
    layers = np.dstack([_decoding()[crop[..., :3]] * alpha[..., None], alpha])
    return _averaged(layers, max(1, int(np.sqrt(alpha.sum()) / side)))


def _averaged(layers: Floats, factor: int) -> Floats:
    """The mean of blocks of so many pixels each way; what lies beyond the picture counts as clear."""
    rows, cols = (-(-size // factor) for size in layers.shape[:2])
    whole = np.zeros((rows * factor, cols * factor, layers.shape[2]))
    whole[: layers.shape[0], : layers.shape[1]] = layers
    return np.asarray(whole.reshape(rows, factor, cols, factor, -1).mean(axis=(1, 3)))


def _sampled(layers: Floats, rows: Floats, cols: Floats) -> Floats:
    """The layers between pixels, bilinear; clear beyond the picture."""
    framed = np.pad(layers, ((1, 1), (1, 1), (0, 0)))
    rows = np.clip(rows + 1, 0, framed.shape[0] - 1.001)
    cols = np.clip(cols + 1, 0, framed.shape[1] - 1.001)
    top, left = rows.astype(np.int64), cols.astype(np.int64)
    down, right = (rows - top)[..., None], (cols - left)[..., None]
    above = framed[top, left] * (1 - right) + framed[top, left + 1] * right
    below = framed[top + 1, left] * (1 - right) + framed[top + 1, left + 1] * right
    return np.asarray(above * (1 - down) + below * down)


def _lab(light: Floats) -> Floats:
    linear = light[..., :3] / np.maximum(light[..., 3:], 1e-6)
    return xyz_to_lab(linear @ np.array(SRGB.to_xyz).T)


# --- the small picture ------------------------------------------------------------------------------------------------


def _small_pixels(crop: Pixels) -> Pixels:
    """The piece at its small size, as it lies in the photograph, its middle in the middle: sRGB and alpha."""
    light, sight = _light_of(crop, SMALL_UNIT), sight_of(crop, SMALL_UNIT)
    steps = (np.arange(SMALL_SIDE) - (SMALL_SIDE - 1) / 2) * sight.side / SMALL_UNIT
    rows, cols = np.meshgrid(steps + sight.middle[0], steps + sight.middle[1], indexing="ij")
    layers = _sampled(light, rows, cols)
    linear = layers[..., :3] / np.maximum(layers[..., 3:], 1e-6)
    codes = _encoding()[(np.clip(linear, 0, 1) * _STEPS + 0.5).astype(np.int64)]
    return np.dstack([codes, np.round(np.clip(layers[..., 3:], 0, 1) * 255).astype(np.uint8)])


def _seen(pixels: Pixels) -> Look:
    alpha = pixels[..., 3] / 255
    inside = alpha > _INSIDE
    lab = _lab(np.dstack([_decoding()[pixels[..., :3]], np.ones_like(alpha)]))
    return Look(np.where(inside[..., None], lab, 0.0), inside)


def _with_small(png: bytes, small: Pixels) -> bytes:
    """The PNG with the small picture in a chunk of its own after the header."""
    packed = zlib.compress(small.tobytes(), 6)
    chunk = struct.pack(">I", len(packed)) + _CHUNK + packed + struct.pack(">I", zlib.crc32(_CHUNK + packed))
    header = 8 + 25
    return png[:header] + chunk + png[header:]


def _unpacked(packed: bytes) -> Look | None:
    try:
        data = zlib.decompressobj().decompress(packed, 4 * SMALL_SIDE**2)
        return _seen(np.frombuffer(data, np.uint8).reshape(SMALL_SIDE, SMALL_SIDE, 4))
    except (zlib.error, ValueError):
        return None


@lru_cache(maxsize=1)
def _decoding() -> Floats:
    return srgb1_to_linear(np.arange(256) / 255)


@lru_cache(maxsize=1)
def _encoding() -> Pixels:
    return np.round(linear_to_srgb1(np.arange(_STEPS + 1) / _STEPS) * 255).astype(np.uint8)
