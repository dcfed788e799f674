"""
Stacks drawn while a hand moves: the pictures that `mockup` and `views` make, in a tenth of the time.

Layers of a stack are upright squares round one middle, so each is laid by its own coverage and nothing has to be asked
sixteen times. The eye's blur is that of `from_afar`: lightness at every pixel, colour on fewer of them, since the eye
sees colour less finely. Pieces are made square once, whatever is laid with them afterwards.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Sequence
from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

from contrastkit.compose.seams import Surface
from contrastkit.errors import InvalidInputError
from contrastkit.light.distance import RED_GREEN_KERNEL, VALUE_KERNEL, seen_colour_from
from contrastkit.light.lightness import SRGB, lightness_to_luminance
from contrastkit.show.crops import Crops, Pixels, encoded
from contrastkit.show.mockup import Image, piece_squares
from contrastkit.show.views import READING_MM, Viewing, by_warm_lamp, view_named

LARGE, SMALL = 320, 64  # sides of the squares that are kept, pixels: to draw with, and to tell by
_KEPT = 48  # so many large ones: no hand has more on the table

_FWHM = 2 * math.sqrt(math.log(2))  # as in `contrastkit.light.distance`
_LEAST_BLUR = 0.3  # pixels, of a Gaussian's standard deviation: less is not seen
_PER_COLOUR_BLUR = 2.0  # pixels to the narrowest blur of colour
_COARSER = 2.0  # colour is told on no more than every second pixel


class Squares:
    """
    The pieces' squares in linear light, made when they are first asked for and then kept.

    Parameters
    ----------
    crops : the pieces' pictures, as for `render`

    >>> squares = Squares({"dusk": np.full((90, 90, 3), 118, np.uint8)})
    >>> "dusk" in squares, squares.small("dusk").shape, squares.large("dusk").shape
    (True, (64, 64, 3), (90, 90, 3))
    """

    def __init__(self, crops: Crops) -> None:
        self._crops = crops
        self._small: dict[str, Image] = {}
        self._large: OrderedDict[str, Image] = OrderedDict()

    def __contains__(self, name: object) -> bool:
        return name in self._crops

    def small(self, name: str) -> Image:
        """Return the square of a piece, no more than SMALL pixels wide, shape (n, n, 3)."""
        if name not in self._small:
            self._small[name] = self._made(name, SMALL)
        return self._small[name]

    def large(self, name: str) -> Image:
        """Return the square of a piece, no more than LARGE pixels wide, shape (n, n, 3)."""
        if name not in self._large:
            self._large[name] = self._made(name, LARGE)
        self._large.move_to_end(name)
        while len(self._large) > _KEPT:
            self._large.popitem(last=False)
        return self._large[name]

    def _made(self, name: str, side: int) -> Image:
        return piece_squares({name: self._crops[name]}, side=side)[name]


def sheet_of_squares(names: Sequence[str], squares: Squares) -> tuple[Pixels, dict[str, tuple[int, int]]]:
    """
    Return the small squares of pieces side by side on one picture, and the (x, y) of the top left of each, pixels.

    Pieces without a picture have no place on it; each place is SMALL pixels wide.

    >>> sheet, places = sheet_of_squares(["a", "b"], Squares({"b": np.zeros((64, 64, 3), np.uint8)}))
    >>> sheet.shape, places
    ((64, 64, 3), {'b': (0, 0)})
    """
    pictured = [name for name in names if name in squares]
    wide = max(1, math.ceil(math.sqrt(len(pictured))))
    tall = max(1, math.ceil(len(pictured) / wide))
    sheet = np.zeros((tall * SMALL, wide * SMALL, 3), np.uint8)
    places = {}
    for number, name in enumerate(pictured):
        x, y = number % wide * SMALL, number // wide * SMALL
        square = squares.small(name)
        fitting = square if len(square) == SMALL else cv2.resize(square, (SMALL, SMALL))
        sheet[y : y + SMALL, x : x + SMALL] = encoded(fitting)
        places[name] = (x, y)
    return sheet, places


def glance(
    layers: Sequence[Surface],
    sides: Sequence[float],
    squares: Squares,
    *,
    size_mm: float,
    side: int,
    around: float,
    rim_mm: float = 0.0,
    rim_lightness: float | None = None,
) -> Image:
    """
    Return pieces laid on one another as they will look, in linear RGB (0-1), shape (side, side, 3).

    Parameters
    ----------
    layers : bottom first; one without a picture is drawn in the grey of its lightness, its rim in that of its rim
    sides : cut side of each, mm
    squares : the pieces' pictures
    size_mm : side of what is shown
    side : of the picture, pixels
    around : L* of what the lowest lies on
    rim_mm : width of the bare rims
    rim_lightness : L* of all rims, where they are to be another than they are

    Raises
    ------
    InvalidInputError
        A size that cannot be, sides that do not fit the layers, a lightness outside 0-100.

    >>> picture = glance([Surface("a", 20)], [20], Squares({}), size_mm=40, side=80, around=90)
    >>> picture.shape, bool(picture[40, 40, 0] < picture[0, 0, 0])
    ((80, 80, 3), True)
    """
    possible = all(0 < length < math.inf for length in (size_mm, side, *sides))
    if not possible or len(layers) != len(sides):
        raise InvalidInputError(
            f"A picture must have a size above 0 and a side above 0 for each layer; got {size_mm:g} mm, {side} pixels, "
            f"and {len(sides)} sides for {len(layers)} layers. Pass millimetres, bottom first."
        )
    picture = np.full((side, side, 3), _light(around), np.float32)
    scale = side / size_mm
    for surface, length in zip(layers, sides, strict=True):
        _lay(picture, surface, length, squares, scale, rim_mm, rim_lightness)
    return picture


def _lay(
    picture: Image, surface: Surface, side: float, squares: Squares, scale: float, rim: float,
    rim_lightness: float | None,
) -> None:
    pictured, bare = surface.swatch_id in squares, surface.rim if rim_lightness is None else rim_lightness
    has_rim = rim > 0 and math.isfinite(bare) and (rim_lightness is not None or not pictured)
    inner = side - 2 * rim if has_rim else side
    if has_rim:
        _fill(picture, side * scale, np.float32(_light(bare)))
    if inner <= 0:
        return
    if not pictured:
        _fill(picture, inner * scale, np.float32(_light(surface.lightness)))
        return
    share = (side / surface.side if surface.side > side else 1.0) * inner / side
    _fill(picture, inner * scale, _sampled(squares.large(surface.swatch_id), share, inner * scale, len(picture)))


def _fill(picture: Image, length: float, with_: Image | np.float32) -> None:
    """Lay a square of that many pixels in the middle; `with_` is one light, or the pixels it may touch."""
    first, covered = _covered(length, len(picture))
    window = slice(first, first + len(covered))
    shows = (covered[:, None] * covered[None, :])[..., None]
    picture[window, window] += shows * (with_ - picture[window, window])


def _covered(length: float, side: int) -> tuple[int, NDArray[np.float32]]:
    """The first pixel that a length in the middle of a line touches, and how much of it and its followers it covers."""
    low, high = max((side - length) / 2, 0.0), min((side + length) / 2, float(side))
    first, end = math.floor(low), max(math.ceil(high), math.floor(low) + 1)
    at = np.arange(first, end)
    return first, np.clip(np.minimum(at + 1, high) - np.maximum(at, low), 0, 1).astype(np.float32)


def _sampled(square: Image, share: float, length: float, side: int) -> Image:
    """The middle of a square, by a share of its side, on the pixels that a length in the middle of a line touches."""
    first, covered = _covered(length, side)
    full = max(1, min(len(square), math.ceil(length / share - 0.01)))
    reduced = square if full == len(square) else cv2.resize(square, (full, full), interpolation=cv2.INTER_AREA)
    step = share * full / length
    shift = full / 2 + (first + 0.5 - side / 2) * step - 0.5
    return cast(
        Image,
        cv2.warpAffine(
            reduced, np.array([[step, 0, shift], [0, step, shift]]), (len(covered), len(covered)),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE,
        ),
    )


def _light(lightness: float) -> float:
    if not 0 <= lightness <= 100:
        raise InvalidInputError(
            f"What is drawn in grey must have a lightness of L* 0-100; got {lightness:g}. Measure it, or leave it out."
        )
    return float(lightness_to_luminance(lightness))


# --- as it is seen ----------------------------------------------------------------------------------------------------


def seen_as(image: Image, view: str, viewing: Viewing) -> Image:
    """
    Return a picture in a view, from the distance of the viewing: lit first, then blurred by the eye, then told.

    Up to arm's length nothing is blurred: there the eye that looks at the page does it by itself.

    Raises
    ------
    InvalidInputError
        There is no such view.

    >>> seen_as(np.full((4, 4, 3), 0.2, np.float32), "grey", Viewing(1.0))[0, 0].round(3).tolist()
    [0.20000000298023224, 0.20000000298023224, 0.20000000298023224]
    """
    wanted = view_named(view)
    lit = by_warm_lamp(image) if view == "lamp" else image
    near = viewing.distance_mm <= READING_MM
    blurred = lit if near else from_afar_at_once(lit, viewing.mm_per_pixel, viewing.distance_mm)
    return blurred if view in ("colour", "far", "lamp") else wanted.see(blurred, viewing)


def shrunk(image: Image, side: int) -> Image:
    """
    Return a square picture reduced, in linear light; one that is no larger than that stays as it is.

    >>> shrunk(np.zeros((40, 40, 3), np.float32), 10).shape
    (10, 10, 3)
    """
    if side >= len(image):
        return image
    return cast(Image, cv2.resize(image, (max(1, side), max(1, side)), interpolation=cv2.INTER_AREA))


def from_afar_at_once(image: Image, mm_per_pixel: float, distance_mm: float) -> Image:
    """
    Return what `from_afar` does, nearly: from 1 m on within 1 L* of it, in a tenth of the time.

    Parameters
    ----------
    image : linear RGB (0-1), shape (rows, cols, 3)
    mm_per_pixel : how large a pixel is on the work
    distance_mm : viewing distance

    Raises
    ------
    InvalidInputError
        A size or distance is not above 0.

    >>> from_afar_at_once(np.full((4, 4, 3), 0.2, np.float32), 1, 3000)[0, 0].round(3).tolist()
    [0.20000000298023224, 0.20000000298023224, 0.20000000298023224]
    """
    if not (0 < mm_per_pixel < math.inf and 0 < distance_mm < math.inf):
        raise InvalidInputError(
            f"A pixel and a distance must be larger than 0 mm; got {mm_per_pixel:g} and {distance_mm:g}. "
            "Pass millimetres: 3 m is 3000."
        )
    degree = 2 * distance_mm * math.tan(math.radians(0.5)) / mm_per_pixel  # in pixels
    deviations = [_deviation(width * degree) for width, _ in VALUE_KERNEL]
    if max(deviations) < _LEAST_BLUR:
        return image
    weights = SRGB.luminance_weights.astype(np.float32)
    light = image @ weights
    blurred = sum(
        np.float32(weight) * _smoothed(light, deviation)
        for deviation, (_, weight) in zip(deviations, VALUE_KERNEL, strict=True)
    )
    fewer = max(_COARSER, RED_GREEN_KERNEL[0][0] * degree / _PER_COLOUR_BLUR)
    colour = _coarse(image, mm_per_pixel, distance_mm, fewer)
    return _with_light(colour, np.asarray(blurred, np.float32), weights)


def _deviation(width: float) -> float:
    """Of the Gaussian that the eye adds to the pixels' own blur; its width is that of the bell at half its height."""
    return math.sqrt(max((width / _FWHM) ** 2 / 2 - 1 / 6, 0.0))


def _smoothed(light: Image, deviation: float) -> Image:
    """Blurred by a Gaussian; a wide one on fewer pixels."""
    if deviation < _LEAST_BLUR:
        return light
    fewer = max(1.0, deviation / 4)
    if fewer < 1.5:
        return cast(Image, cv2.GaussianBlur(light, (0, 0), deviation, borderType=cv2.BORDER_REPLICATE))
    rows, cols = light.shape
    small = cv2.resize(light, (math.ceil(cols / fewer), math.ceil(rows / fewer)), interpolation=cv2.INTER_AREA)
    own = deviation * math.sqrt(small.size / light.size)
    blurred = cv2.GaussianBlur(small, (0, 0), own, borderType=cv2.BORDER_REPLICATE)
    return cast(Image, cv2.resize(blurred, (cols, rows), interpolation=cv2.INTER_LINEAR))


def _coarse(image: Image, mm_per_pixel: float, distance_mm: float, fewer: float) -> Image:
    """What the eye gets of a picture, on fewer pixels."""
    rows, cols = image.shape[:2]
    small = cv2.resize(image, (math.ceil(cols / fewer), math.ceil(rows / fewer)), interpolation=cv2.INTER_AREA)
    scale = mm_per_pixel * math.sqrt(rows * cols / (small.shape[0] * small.shape[1]))
    seen = seen_colour_from(np.clip(small, 0, 1), mm_per_pixel=scale, distance_mm=distance_mm).astype(np.float32)
    return cast(Image, cv2.resize(seen, (cols, rows), interpolation=cv2.INTER_LINEAR))


def _with_light(colour: Image, light: Image, weights: NDArray[np.float32]) -> Image:
    """The colours of one picture at the luminance of another, less of them where a screen has no such colour."""
    grey = np.clip(light, 0, 1)
    out = colour + (grey - colour @ weights)[..., None]
    beyond = ((out < 0) | (out > 1)).any(axis=-1)
    if beyond.any():
        level = grey[beyond][:, None]
        away = out[beyond] - level  # what there is of it beside grey
        room = np.where(away > 0, 1 - level, level) / np.maximum(np.abs(away), np.float32(1e-6))
        out[beyond] = level + np.minimum(room.min(axis=1, keepdims=True), 1) * away
    return cast(Image, np.clip(out, 0, 1))
