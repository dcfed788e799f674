"""
Decoded pixels: handed out in bands of rows, averaged in linear light, turned upright.

Pillow decodes; what it would round off (16-bit colour) is put together again here.
"""

from __future__ import annotations

import io
import struct
import sys
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFile, PngImagePlugin

from contrastkit.camera.headers import OTHER_SIZE, BrokenFileError
from contrastkit.light.lightness import RgbSpace

Codes = NDArray[np.uint8 | np.uint16]
Convert = Callable[[Image.Image], Image.Image]

_BAND_PIXELS = 1_000_000  # decoded pixels held as linear light at a time
_STRIP_ROWS = 128  # copied at a time, so that the copies stay in the processor's cache
_ROOT_STEPS = 65535  # steps of the table from the square root of light back to codes

_ROWS_FLIPPED, _COLS_FLIPPED = (3, 4, 6, 7), (2, 3, 7, 8)  # EXIF orientations that turn the stored axis round


@dataclass(frozen=True)
class Pixels:
    """
    Decoded pixels, as stored, handed out in bands of rows.

    Attributes
    ----------
    shape : rows and columns
    bits : 8 or 16
    band : `band(start, stop)` returns rows as (stop - start, cols, channels): grey, grey and alpha, RGB or RGBA
    reduced : what the decoder has already reduced by
    transparent : whether there is alpha, and it says anything
    """

    shape: tuple[int, int]
    bits: int
    band: Callable[[int, int], Codes] = field(repr=False)
    reduced: int = 1
    transparent: bool = False


def off_grid(size: tuple[int, int], orientation: int, reduction: int) -> bool:
    """Return whether pixels reduced as stored would, turned upright, start in the middle of a working pixel."""
    rows, cols = size
    return bool(
        (orientation in _ROWS_FLIPPED and rows % reduction) or (orientation in _COLS_FLIPPED and cols % reduction)
    )


def array_pixels(codes: Codes, reduced: int = 1) -> Pixels:
    """Return pixels from an array of shape (rows, cols, channels)."""
    rows, cols, channels = codes.shape
    transparent = channels in (2, 4) and bool(codes[..., -1].min() < np.iinfo(codes.dtype).max)
    kept = codes if transparent or channels in (1, 3) else codes[..., :-1]
    return Pixels((rows, cols), 8 * codes.dtype.itemsize, lambda start, stop: kept[start:stop], reduced, transparent)


def pillow_file_pixels(
    plugin: Callable[[io.BytesIO], ImageFile.ImageFile], stream: bytes, size: tuple[int, int], convert: Convert | None
) -> Pixels:
    """
    Return the pixels of a file, 16-bit ones whole, decoded by a Pillow plugin; `convert` is applied if given.

    `size` (rows, cols) is what was agreed to: a second header that says otherwise would be believed by the plugin.
    """
    image = plugin(io.BytesIO(stream))
    if image.size != size[::-1]:
        raise BrokenFileError(OTHER_SIZE)
    layout = _layout(image)
    if layout == "LA;16B":
        return array_pixels(_grey_alpha_16(stream))
    if layout.startswith(("RGB;16", "RGBX;16", "RGBA;16")) and convert is None:
        return _wide_pixels(image, plugin(io.BytesIO(stream)))
    image.load()
    return pillow_pixels(image, convert)


def _layout(image: ImageFile.ImageFile) -> str:
    """How the file packs its pixels, in Pillow's words."""
    arguments = image.tile[0][3] if image.tile else ""
    return str(arguments[0] if isinstance(arguments, tuple) else arguments)


def _wide_pixels(high: ImageFile.ImageFile, low: ImageFile.ImageFile) -> Pixels:
    """
    16-bit pixels from two readings of the same file.

    Of each 16-bit channel of a colour picture Pillow keeps the upper byte. Told that the two bytes stand the other way
    round, it keeps the lower one: both readings together are the whole, through Pillow's own careful decoders.
    """
    low.tile = [_bytes_swapped(tile) for tile in low.tile]
    high.load()
    low.load()
    cols, rows = high.size
    transparent = high.mode == "RGBA" and not (_opaque(high) and _opaque(low))
    channels = 4 if transparent else 3

    def band(start: int, stop: int) -> Codes:
        upper, lower = (np.asarray(half.crop((0, start, cols, stop))) for half in (high, low))
        return np.asarray((upper.astype(np.uint16) << 8 | lower)[..., :channels])

    return Pixels((rows, cols), 16, band, transparent=transparent)


def _bytes_swapped(tile: Any) -> Any:
    codec, extents, offset, arguments = tile
    layout = str(arguments[0] if isinstance(arguments, tuple) else arguments)
    other = {"L": "B", "B": "L", "N": "B" if sys.byteorder == "little" else "L"}
    swapped = layout[:-1] + other[layout[-1]]
    arguments = (swapped, *arguments[1:]) if isinstance(arguments, tuple) else swapped
    made = (codec, extents, offset, arguments)
    return type(tile)(*made) if hasattr(tile, "_fields") else made  # a plain tuple before Pillow 11


def _opaque(image: Image.Image) -> bool:
    return image.getchannel("A").getextrema() == (255, 255)


def _grey_alpha_16(stream: bytes) -> Codes:
    """Grey and alpha of a 16-bit PNG: read as 8-bit RGBA, which packs the same four bytes a pixel the same way."""
    head = stream[12:24] + b"\x08\x06" + stream[26:29]
    patched = stream[:12] + head + struct.pack(">L", zlib.crc32(head)) + stream[33:]
    four = np.asarray(PngImagePlugin.PngImageFile(io.BytesIO(patched)))
    return np.ascontiguousarray(four).view(">u2").astype(np.uint16)


# Pillow modes that are first brought to one whose channels we know
_PLAIN_MODES = {"RGBX": "RGB", "YCbCr": "RGB", "RGBa": "RGBA", "La": "LA", "P": "RGB", "PA": "RGBA"}


def pillow_pixels(image: Image.Image, convert: Convert | None, reduced: int = 1) -> Pixels:
    """Return the pixels of a loaded Pillow image; `convert` is applied, band by band, if given."""
    if "transparency" in image.info:
        image = image.convert("RGBA")
    image = image.convert(_PLAIN_MODES[image.mode]) if image.mode in _PLAIN_MODES else image
    if image.mode not in ("L", "LA", "RGB", "RGBA", "CMYK") and not image.mode.startswith("I;16"):
        raise ValueError(f"unexpected pixels: {image.mode}")
    cols, rows = image.size
    alpha = image.mode.endswith("A")
    transparent = alpha and not _opaque(image)

    def band(start: int, stop: int) -> Codes:
        part = image if (start, stop) == (0, rows) else image.crop((0, start, cols, stop))
        codes = _pillow_codes(part, convert)
        return codes if transparent or not alpha else codes[..., :-1]

    bits = 16 if image.mode.startswith("I;16") and convert is None else 8
    return Pixels((rows, cols), bits, band, reduced, transparent)


def _pillow_codes(image: Image.Image, convert: Convert | None) -> Codes:
    codes: Codes = np.asarray(image)
    if image.mode.startswith("I;16"):
        codes = codes.astype(np.uint16)  # from whichever byte order
    codes = codes.reshape(*codes.shape[:2], -1)
    if convert is None:
        return codes
    alpha = codes[..., -1:] if image.mode.endswith("A") else codes[..., :0]
    plain = image.convert(image.mode[:-1]) if image.mode.endswith("A") else image
    if image.mode.startswith("I;16"):
        plain = Image.fromarray((codes[..., 0] >> 8).astype(np.uint8))
    return np.concatenate([np.asarray(convert(plain)), alpha], axis=2)



# --- averaged and turned ---------------------------------------------------------------------------------------------


def assembled(pixels: Pixels, orientation: int) -> Codes:
    """
    Return all pixels as one array, upright, with three channels.

    Strip by strip: fresh memory costs more time than copying, and so only the result needs any.
    """
    rows, cols = pixels.shape
    whole = np.empty((cols, rows, 3) if orientation >= 5 else (rows, cols, 3), f"u{pixels.bits // 8}")
    along = whole.swapaxes(0, 1) if orientation >= 5 else whole  # its first axis is the stored rows
    for top in range(0, rows, _STRIP_ROWS):
        bottom = min(rows, top + _STRIP_ROWS)
        place = slice(rows - bottom, rows - top) if orientation in _ROWS_FLIPPED else slice(top, bottom)
        strip = upright(pixels.band(top, bottom), orientation)
        along[place] = strip.swapaxes(0, 1) if orientation >= 5 else strip
    return whole


def upright(codes: Codes, orientation: int) -> Codes:
    """Return stored pixels turned upright by their EXIF orientation (Exif 2.32, 4.6.5.1)."""
    # OpenCV's words: flip 1 turns the columns round, 0 the rows, -1 both
    turns: dict[int, Callable[[Any], Any]] = {
        2: lambda stored: cv2.flip(stored, 1),
        3: lambda stored: cv2.flip(stored, -1),
        4: lambda stored: cv2.flip(stored, 0),
        5: cv2.transpose,
        6: lambda stored: cv2.rotate(stored, cv2.ROTATE_90_CLOCKWISE),
        7: lambda stored: cv2.flip(cv2.transpose(stored), -1),
        8: lambda stored: cv2.rotate(stored, cv2.ROTATE_90_COUNTERCLOCKWISE),
    }
    turned = np.asarray(turns[orientation](codes)) if orientation in turns else codes
    return turned.reshape(*turned.shape[:2], -1)


def averaged(pixels: Pixels, space: RgbSpace, factor: int, orientation: int) -> Codes:
    """
    Return codes of the linear-light means of factor x factor pixels, as stored; transparency laid on white.

    The grid starts at the upright photo's first row and column, so a part-filled pixel is always the last one there.
    """
    rows, cols = pixels.shape
    above = -rows % factor if orientation in _ROWS_FLIPPED else 0
    left = -cols % factor if orientation in _COLS_FLIPPED else 0
    luts = space.luts(pixels.bits)
    tables = _code_tables(luts)
    step = factor * max(1, _BAND_PIXELS // (cols * factor))
    bands = []
    for top in range(-above, rows, step):
        first, last = max(top, 0), min(top + step, rows)
        light = _light(pixels.band(first, last), luts, transparent=pixels.transparent)
        bands.append(_codes(_box_means(light, factor, above=first - top, left=left), tables))
    return np.concatenate(bands)


def _light(codes: Codes, luts: NDArray[np.float32], *, transparent: bool) -> NDArray[np.float32]:
    channels = codes.shape[2] - transparent
    light: NDArray[np.float32] = np.stack([luts[i][codes[..., i]] for i in range(channels)], axis=2)
    if not transparent:
        return light
    alpha = codes[..., -1:].astype(np.float32) / np.float32(np.iinfo(codes.dtype).max)
    return np.asarray(1 + alpha * (light - 1), dtype=np.float32)  # over white, whose light is 1


def _box_means(light: NDArray[np.float32], factor: int, *, above: int, left: int) -> NDArray[np.float32]:
    """Means of factor x factor boxes; `above` rows and `left` columns of the first boxes lie outside the picture."""
    rows, cols = light.shape[:2]
    below, right = -(rows + above) % factor, -(cols + left) % factor
    padded = cv2.copyMakeBorder(light, above, below, left, right, cv2.BORDER_CONSTANT)
    boxes = (padded.shape[0] // factor, padded.shape[1] // factor)
    means = np.asarray(cv2.resize(padded, boxes[::-1], interpolation=cv2.INTER_AREA), np.float32).reshape(*boxes, -1)
    if not (above or left or below or right):
        return means
    # what lies outside the picture counted as black
    filled = np.outer(_filled(above, rows, below, factor), _filled(left, cols, right, factor))
    return np.asarray(means / filled[..., np.newaxis], np.float32)


def _filled(before: int, inside: int, after: int, factor: int) -> NDArray[np.float64]:
    """The share of each box along one axis that lies inside the picture."""
    return np.asarray(np.repeat([0.0, 1.0, 0.0], [before, inside, after]).reshape(-1, factor).mean(axis=1))


def _code_tables(luts: NDArray[np.float32]) -> Codes:
    """Codes by channel and by the square root of light: even steps of it are about even steps of code."""
    codes = np.arange(luts.shape[1])
    light = np.linspace(0, 1, _ROOT_STEPS + 1) ** 2
    tables = np.rint([np.interp(light, lut, codes) for lut in luts])
    return tables.astype(np.uint8 if luts.shape[1] == 256 else np.uint16)


def _codes(light: NDArray[np.float32], tables: Codes) -> Codes:
    steps = np.rint(np.sqrt(np.clip(light, 0, 1)) * _ROOT_STEPS).astype(np.intp)
    return np.stack([tables[i][steps[..., i]] for i in range(light.shape[2])], axis=2)
