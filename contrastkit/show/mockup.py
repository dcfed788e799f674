"""
Mock-ups: pieces laid out in millimetres and rendered from their real crops, before anything is cut or fused.

Everything is done in linear light: the mean light of a mock-up is that of its parts, and no edge has a dark fringe.
Each pixel is asked at sixteen places which piece shows there, so pieces that meet along a cut let nothing through.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

from contrastkit.compose.stacks import Stack, default_sides
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import lightness_to_luminance, srgb1_to_linear
from contrastkit.show.crops import Crops, CutOut, Pixels, cut_out

Image = NDArray[np.float32]
Array = NDArray[np.float64]
Corner = tuple[float, float]
Ground = float | Sequence[float]

SQUARE: tuple[Corner, ...] = ((0.0, 1.0), (1.0, 1.0), (1.0, 0.0), (0.0, 0.0))
_MOST_PIXELS = 50_000_000  # of a mock-up; a slip of units would fill the memory

_FINE = 4  # places asked along each side of a pixel
_ALL = np.uint16(2 ** (_FINE * _FINE) - 1)
# The places lie a hair off an even lattice, so that no edge of a drawing runs exactly through a row of them.
_OFF = 0.0137
_FULL = 0.9  # of its smallest box, from which on a piece with four corners counts as a square or rectangle
_NEARLY = 1.15  # longer side over shorter, up to which its own corners become those of the square


@dataclass(frozen=True)
class Placed:
    """
    A piece, or a part cut from one, where it lies.

    Attributes
    ----------
    corners : its (x to the right, y up) corners, mm, either way round; convex
    source : the same corners in the square it was cut from: (u right, v up), 0-1 of its side
    swatch_id : whose crop fills it
    lightness : L* of the flat grey that stands for it where there is no crop
    rim : L* of the bare rim along the edges of that square, drawn where there is no crop; nan: none
    rim_share : width of that rim, in sides of the square
    share : side of the square, in sides of the largest one that the piece has; it is cut from the middle of that
    """

    corners: tuple[Corner, ...]
    source: tuple[Corner, ...] = SQUARE
    swatch_id: str = ""
    lightness: float = math.nan
    rim: float = math.nan
    rim_share: float = 0.0
    share: float = 1.0


def render(
    placed: Sequence[Placed],
    crops: Crops,
    *,
    background: Ground,
    size_mm: tuple[float, float],
    pixels_per_mm: float,
    centre: Corner = (0.0, 0.0),
) -> Image:
    """
    Return the pieces as they will look together, in linear RGB (0-1), shape (rows, cols, 3).

    Parameters
    ----------
    placed
        What lies where, the furthest back first.
    crops
        The pieces cut out of their photographs, by swatch_id: 8-bit sRGB, shape (rows, cols, 3), or 4 with alpha.
        Each is laid straight and its square, or the largest square in it, fills the square that parts are cut from.
    background
        What shows where nothing lies: L* of a flat grey, or linear RGB.
    size_mm
        Width and height of what is shown.
    pixels_per_mm
        How finely.
    centre
        (x, y) of the middle of the picture, mm.

    Raises
    ------
    InvalidInputError
        A size that cannot be, corners and source that do not fit together, an unknown lightness, or a bad crop.

    Examples
    --------
    >>> square = Placed(((-10, 10), (10, 10), (10, -10), (-10, -10)), lightness=20)
    >>> picture = render([square], {}, background=90, size_mm=(40, 40), pixels_per_mm=2)
    >>> picture.shape, bool(picture[40, 40, 0] < picture[0, 0, 0])
    ((80, 80, 3), True)
    """
    shape = _shape(size_mm, pixels_per_mm)
    to_pixels = _ToPixels(shape, pixels_per_mm, centre)
    squares = _Squares(crops, {})
    picture = np.zeros((*shape, 3), np.float32)
    free = np.full(shape, _ALL)
    for piece in reversed(placed):
        _check(piece)
        for part in _parts(piece, crops):
            _lay(part, to_pixels, squares, picture, free)
    picture += _SEEN[free][..., None] * _ground(background)
    return picture


def stack_placed(stack: Stack) -> list[Placed]:
    """
    Return the layers of a stack where they lie, bottom first, their middles at (0, 0).

    Layers of undecided size get the sizes that are common practice. A layer smaller than its piece is cut from the
    middle of it; where nobody knows how large the piece is, the whole of its square becomes the layer.

    >>> from contrastkit.compose.seams import Surface
    >>> bottom, top = stack_placed(Stack((Surface("a", 30), Surface("b", 70)), sides=(80, 50)))
    >>> top.corners
    ((-25.0, 25.0), (25.0, 25.0), (25.0, -25.0), (-25.0, -25.0))
    """
    sides = stack.sides or default_sides(len(stack.layers))
    return [
        Placed(
            square_corners(side), SQUARE, surface.swatch_id, surface.lightness, surface.rim, stack.rim / side,
            side / surface.side if surface.side > side else 1.0,
        )
        for surface, side in zip(stack.layers, sides, strict=True)
    ]


def piece_squares(crops: Crops, *, side: int) -> dict[str, Image]:
    """
    Return the square of every piece in linear RGB, laid straight, shape (n, n, 3), by swatch_id.

    That is the piece itself where it has four corners and is nearly square, else the largest square in it.

    Parameters
    ----------
    crops
        As for `render`.
    side
        n, in pixels; a smaller crop keeps its own size.

    Raises
    ------
    InvalidInputError
        A crop is not 8-bit pixels with three or four channels.

    Examples
    --------
    >>> piece_squares({"dusk": np.full((60, 40, 3), 118, np.uint8)}, side=10)["dusk"].round(2)[0, 0].tolist()
    [0.18000000715255737, 0.18000000715255737, 0.18000000715255737]
    """
    squares = _Squares(crops, {})
    return {name: squares.of(name, side) for name in crops}


def square_corners(side: float, *, centre: Corner = (0.0, 0.0)) -> tuple[Corner, ...]:
    """
    Return the corners of an upright square, clockwise from its top left.

    >>> square_corners(2)
    ((-1.0, 1.0), (1.0, 1.0), (1.0, -1.0), (-1.0, -1.0))
    """
    return tuple((centre[0] + (u - 0.5) * side, centre[1] + (v - 0.5) * side) for u, v in SQUARE)


# --- checks ----------------------------------------------------------------------------------------------------------


def _shape(size_mm: tuple[float, float], pixels_per_mm: float) -> tuple[int, int]:
    numbers = (*size_mm, pixels_per_mm)
    if not all(math.isfinite(number) and number > 0 for number in numbers):
        raise InvalidInputError(
            f"A mock-up must have a size and a scale above 0; got {size_mm[0]:g} by {size_mm[1]:g} mm at "
            f"{pixels_per_mm:g} pixels per mm. Pass what is to be shown, in millimetres."
        )
    cols, rows = (max(1, round(side * pixels_per_mm)) for side in size_mm)
    if rows * cols > _MOST_PIXELS:
        raise InvalidInputError(
            f"A mock-up must have at most {_MOST_PIXELS // 1_000_000} million pixels; {size_mm[0]:g} by "
            f"{size_mm[1]:g} mm at {pixels_per_mm:g} pixels per mm has {rows * cols // 1_000_000}. "
            "Pass fewer pixels per mm."
        )
    return rows, cols


def _check(piece: Placed) -> None:
    corners, source = np.array(piece.corners, float), np.array(piece.source, float)
    if corners.shape != source.shape or corners.ndim != 2 or len(corners) < 3 or corners.shape[1] != 2:
        raise InvalidInputError(
            f"A placed piece must have three or more corners and as many places in its square; {piece.swatch_id!r} has "
            f"{len(piece.corners)} and {len(piece.source)}. Pass a pair of numbers for each."
        )
    if not (0 < piece.share <= 1 and 0 <= piece.rim_share <= 0.5):
        raise InvalidInputError(
            f"A placed piece must have a share above 0 and up to 1, and a rim_share of 0 to 0.5; {piece.swatch_id!r} "
            f"has {piece.share:g} and {piece.rim_share:g}. Divide lengths by the side of the square."
        )
    if not (np.isfinite(corners).all() and np.isfinite(source).all()) or _turns(corners) < 0 or not _area(source):
        raise InvalidInputError(
            f"A placed piece must have known corners, be convex and have an area; {piece.swatch_id!r} has the corners "
            f"{piece.corners}. Cut it into convex parts."
        )


def _turns(corners: Array) -> float:
    """Below 0 where a polygon turns both ways, or has no area."""
    ahead = _following(corners) - corners
    after = _following(ahead)
    crossed = ahead[:, 0] * after[:, 1] - ahead[:, 1] * after[:, 0]
    scale = np.abs(crossed).max()
    if scale == 0:
        return -1
    return -1 if crossed.min() < -1e-9 * scale and crossed.max() > 1e-9 * scale else 1


def _area(corners: Array) -> float:
    (x, y), (next_x, next_y) = corners.T, _following(corners).T
    return float(x @ next_y - y @ next_x) / 2


def _following(points: Array) -> Array:
    """Of each point the next one round."""
    return np.concatenate((points[1:], points[:1]))


# --- what fills a piece ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Part:
    """A convex polygon (x, y in mm) filled with one grey (linear light) or with a crop."""

    corners: Array
    source: Array
    swatch_id: str = ""
    light: float = math.nan


def _parts(piece: Placed, crops: Crops) -> Iterator[_Part]:
    """What a piece is drawn as, the nearest first."""
    corners, source = np.array(piece.corners, float), np.array(piece.source, float)
    if piece.swatch_id in crops:
        yield _Part(corners, 0.5 + (source - 0.5) * piece.share, swatch_id=piece.swatch_id)
        return
    light = _light_of(piece.lightness, piece.swatch_id)
    if math.isfinite(piece.rim) and piece.rim_share > 0:
        inner = _clipped(source, piece.rim_share, 1 - piece.rim_share)
        if len(inner):
            yield _Part(_affine(source, corners)(inner), inner, light=light)
        light = _light_of(piece.rim, piece.swatch_id)
    yield _Part(corners, source, light=light)


def _light_of(lightness: float, name: str) -> float:
    if not 0 <= lightness <= 100:
        raise InvalidInputError(
            f"A piece without a picture must have a lightness of L* 0-100 to be drawn; {name!r} has {lightness:g}. "
            "Measure it, or leave it out."
        )
    return float(lightness_to_luminance(lightness))


def _ground(background: Ground) -> Image:
    light = np.asarray(background, float)
    if light.shape == () and 0 <= light <= 100:
        return np.full(3, lightness_to_luminance(light), np.float32)
    if light.shape == (3,) and (light >= 0).all() and (light <= 1).all():
        return light.astype(np.float32)
    raise InvalidInputError(
        f"background must be L* from 0 to 100, or red, green and blue light from 0 to 1; got {background!r}. "
        "Pass one of these."
    )


def _clipped(points: Array, low: float, high: float) -> Array:
    """A convex polygon less what lies outside the square from low to high, shape (n, 2)."""
    for axis in (0, 1):
        for sign, limit in ((1, low), (-1, -high)):
            points = _cut_off(points, sign * points[:, axis] - limit)
    return points


def _cut_off(points: Array, inside: Array) -> Array:
    """The polygon where a quantity, given at its corners, is not negative."""
    kept = []
    for here, there in pairwise([*range(len(points)), 0]):
        if inside[here] >= 0:
            kept.append(points[here])
        if inside[here] * inside[there] < 0:
            share = inside[here] / (inside[here] - inside[there])
            kept.append(points[here] + share * (points[there] - points[here]))
    return np.array(kept).reshape(-1, 2) if len(kept) >= 3 else np.zeros((0, 2))


# --- crops as squares ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Squares:
    """The square of every crop, made when it is first needed at a size."""

    crops: Crops
    made: dict[tuple[str, int], Image]

    def of(self, name: str, side: int) -> Image:
        """Linear light, shape (n, n, 3): n is `side`, or what the crop has where that is less."""
        key = (name, side)
        if key not in self.made:
            self.made[key] = _square(cut_out(self.crops[name], side=_asked(self.crops[name], side), name=name), side)
        return self.made[key]


def _asked(crop: Pixels, side: int) -> int:
    """How long a cut-out must be for the square in it to have that side; a crop that lies askew is longer."""
    rows, cols = crop.shape[:2]
    return int(math.ceil(1.5 * side * max(rows, cols) / min(rows, cols)))


def _square(cut: CutOut, side: int) -> Image:
    light = _opaque(cut)
    corners = np.array(cut.corners, float).reshape(-1, 2)[:, ::-1]  # (column, row)
    if not len(corners):
        rows, cols = light.shape[:2]
        corners = np.array([(0, 0), (cols, 0), (cols, rows), (0, rows)], float)
    box = corners if _is_square(corners) else _largest_square(cut)
    longest = float(np.linalg.norm(box - np.roll(box, -1, axis=0), axis=1).max())
    return _flattened(light, _from_top_left(box), max(1, min(side, round(longest))))


def _opaque(cut: CutOut) -> Image:
    """Linear light, with the piece's own mean where it has no pixels."""
    light = _decoding()[cut.pixels[..., :3]]
    alpha = cut.pixels[..., 3:].astype(np.float32) / np.float32(255)
    mean = (light * alpha).sum(axis=(0, 1)) / max(float(alpha.sum()), 1e-6)
    return cast(Image, light * alpha + mean.astype(np.float32) * (1 - alpha))


@lru_cache(maxsize=1)
def _decoding() -> Image:
    return np.asarray(srgb1_to_linear(np.arange(256) / 255), np.float32)


def _is_square(corners: Array) -> bool:
    """Whether a piece fills its box well enough for its own four corners to be those of a square."""
    if len(corners) != 4:
        return False
    width, height = np.ptp(corners, axis=0)
    full = abs(_area(corners)) >= _FULL * width * height
    return bool(full and max(width, height) <= _NEARLY * min(width, height))


def _largest_square(cut: CutOut) -> Array:
    """The corners (column, row) of the largest upright square in the piece."""
    inside = np.pad((cut.pixels[..., 3] >= 128).astype(np.uint8), 1)
    reach = cv2.distanceTransform(inside, cv2.DIST_C, 3)
    row, col = (int(i) for i in np.unravel_index(int(np.argmax(reach)), reach.shape))
    half = max(float(reach[row, col]) - 0.5, 0.5)
    middle = np.array([col - 0.5, row - 0.5])  # less the padding, and to the middle of the pixel
    return np.asarray(middle + half * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]))


def _from_top_left(corners: Array) -> Array:
    """Four corners clockwise in the picture (rows downwards), the top left one first."""
    clockwise = corners if _area(corners) > 0 else corners[::-1]
    return np.roll(clockwise, -int(np.argmin(clockwise.sum(axis=1))), axis=0)


def _flattened(light: Image, corners: Array, side: int) -> Image:
    """A quadrilateral made a square of that many pixels; OpenCV counts from the middle of the first, corners do not."""
    goal = np.array([(0, 0), (side, 0), (side, side), (0, side)], np.float32) - np.float32(0.5)
    matrix = cv2.getPerspectiveTransform((corners - 0.5).astype(np.float32), goal)
    return cast(
        Image,
        cv2.warpPerspective(light, matrix, (side, side), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE),
    )


# --- laying parts down, the nearest first ----------------------------------------------------------------------------


@dataclass(frozen=True)
class _ToPixels:
    """From (x, y) in mm to (column, row) counted from the top left edge of the picture."""

    shape: tuple[int, int]
    scale: float
    centre: Corner

    def __call__(self, points: Array) -> Array:
        rows, cols = self.shape
        x, y = (points - self.centre).T * self.scale
        return np.column_stack([cols / 2 + x, rows / 2 - y])


@dataclass(frozen=True)
class _Window:
    """The pixels that a polygon may touch."""

    top: int
    left: int
    rows: int
    cols: int

    @classmethod
    def round(cls, corners: Array, shape: tuple[int, int]) -> _Window:
        most = np.array(shape[::-1])
        left, top = np.clip(np.floor(corners.min(axis=0)), 0, most).astype(int)
        right, bottom = np.clip(np.ceil(corners.max(axis=0)), 0, most).astype(int)
        return cls(int(top), int(left), int(bottom - top), int(right - left))

    @property
    def where(self) -> tuple[slice, slice]:
        return slice(self.top, self.top + self.rows), slice(self.left, self.left + self.cols)


def _lay(part: _Part, to_pixels: _ToPixels, squares: _Squares, picture: Image, free: NDArray[np.uint16]) -> None:
    """Add to the picture what shows of a part behind all that lies there already, and take its places."""
    corners = to_pixels(part.corners)
    window = _Window.round(corners, to_pixels.shape)
    if not window.rows or not window.cols:
        return
    shows = _covered(corners, window) & free[window.where]
    if not shows.any():
        return
    free[window.where] &= ~shows
    fill = _filling(part, corners, window, squares) if part.swatch_id else np.float32(part.light)
    picture[window.where] += _SEEN[shows][..., None] * fill


def _covered(corners: Array, window: _Window) -> NDArray[np.uint16]:
    """Of every pixel the places inside a convex polygon, one bit each."""
    rows = window.top + (np.arange(window.rows * _FINE) + 0.5) / _FINE + _OFF
    low, high = _spans(corners, rows)
    first, end = (np.ceil((x - window.left - _OFF) * _FINE - 0.5) for x in (low, high))
    bits = np.zeros((window.rows, window.cols), np.uint16)
    for line in range(_FINE):
        places = _left_of(end[line::_FINE], window.cols) ^ _left_of(first[line::_FINE], window.cols)
        bits |= places << np.uint16(_FINE * line)
    return bits


_SEEN = np.array([bits.bit_count() for bits in range(int(_ALL) + 1)], np.float32) / np.float32(_FINE * _FINE)


def _left_of(index: Array, cols: int) -> NDArray[np.uint16]:
    """Of every pixel in a row the places left of the one at an index, one bit each; shape (rows, cols)."""
    whole = np.clip(index, 0, cols * _FINE).astype(np.int32)
    count = np.clip(whole[:, None] - np.arange(0, cols * _FINE, _FINE, dtype=np.int32), 0, _FINE)
    return (np.left_shift(1, count) - 1).astype(np.uint16)


def _spans(corners: Array, rows: Array) -> tuple[Array, Array]:
    """From and to which column each row runs inside a convex polygon; the same where it does not."""
    low, high = np.full(len(rows), -np.inf), np.full(len(rows), np.inf)
    turn = 1 if _area(corners) > 0 else -1
    for (x0, y0), (x1, y1) in zip(corners.tolist(), _following(corners).tolist(), strict=True):
        rise = turn * (y1 - y0)
        if rise == 0:
            high = np.where(turn * (x1 - x0) * (rows - y0) < 0, -np.inf, high)
            continue
        at = x0 + (rows - y0) * ((x1 - x0) / (y1 - y0))
        low, high = (low, np.minimum(high, at)) if rise > 0 else (np.maximum(low, at), high)
    return low, np.maximum(low, high)


def _filling(part: _Part, corners: Array, window: _Window, squares: _Squares) -> Image:
    """The crop's pixels for a window of the picture."""
    to_source = _affine(corners, part.source)
    square = squares.of(part.swatch_id, _side(part.source, corners))
    side = square.shape[0]
    # (column, row) of the picture to those of the square, first from the corner of the first pixel, then its middle.
    linear = np.array([[side, 0], [0, -side]]) @ to_source.linear
    shift = np.array([side, -side]) * to_source.shift + (0, side) + linear @ (window.left + 0.5, window.top + 0.5) - 0.5
    return cast(
        Image,
        cv2.warpAffine(
            square, np.column_stack([linear, shift]), (window.cols, window.rows),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE,
        ),
    )


def _side(source: Array, corners: Array) -> int:
    """How many pixels of the picture the side of the whole square takes."""
    return max(1, math.ceil(math.sqrt(abs(_area(corners) / _area(source))) - 0.01))


@dataclass(frozen=True)
class _Affine:
    linear: Array
    shift: Array

    def __call__(self, points: Array) -> Array:
        return np.asarray(points @ self.linear.T + self.shift)


def _affine(of: Array, to: Array) -> _Affine:
    """The affine map that takes the points of one polygon nearest to those of another."""
    middle, goal = of.mean(axis=0), to.mean(axis=0)
    apart = of - middle
    (a, b), (_, c) = (apart.T @ apart).tolist()
    inverse = np.array(((c, -b), (-b, a))) / (a * c - b * b)  # normal equations: quick, and exact enough for corners
    linear = (inverse @ (apart.T @ (to - goal))).T
    return _Affine(linear, goal - linear @ middle)
