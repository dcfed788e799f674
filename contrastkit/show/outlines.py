"""The photograph with the outline and the name of every piece drawn on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from contrastkit.errors import InvalidInputError
from contrastkit.show.crops import Pixels
from contrastkit.show.look import grey_code, printable, shortened, text_width
from contrastkit.show.pieces import Point

_LIGHT, _DARK = 98.0, 8.0  # L* of a line and of its halo: one of them stands out on any colour
_SMALLEST, _LARGEST = 0.0145, 0.024  # height of a name, of the picture's long side
_OF_PIECE = 0.9  # width of a name, of the middling piece's side
_LONGEST_NAME = 12.0  # heights of its type
_DIRECTIONS = 16
_MAP = 500  # cells of the map of what is taken, along the long side

Cells = NDArray[np.int64]


def draw_outlines(
    picture: Pixels,
    outlines: Mapping[str, Sequence[Point]],
    *,
    scale: float = 1.0,
    reference: Sequence[Point] | None = None,
) -> Pixels:
    """
    Return the picture with outlines and names drawn on: light lines in a dark halo, legible on any colour.

    A name stands beside its piece where there is room, not on it.

    Parameters
    ----------
    picture
        8-bit sRGB, shape (rows, cols, 3).
    outlines
        (row, column) corners by name, in full-resolution pixels.
    scale
        Full-resolution pixels to a pixel of the picture.
    reference
        Corners of the grey reference, drawn dashed and named so.

    Raises
    ------
    InvalidInputError
        The picture is not 8-bit with three channels, or the scale is not above 0.

    Examples
    --------
    >>> plain = np.full((60, 80, 3), 90, np.uint8)
    >>> drawn = draw_outlines(plain, {"a": [(20, 20), (20, 60), (45, 60), (45, 20)]})
    >>> drawn.shape, bool((drawn != plain).any())
    ((60, 80, 3), True)
    """
    _check(picture, scale)
    shapes = {name: np.array(outline, dtype=float) / scale for name, outline in outlines.items() if len(outline) >= 3}
    drawn = np.ascontiguousarray(picture).copy()
    line = max(1.0, max(picture.shape[:2]) / 1000)
    for shape in shapes.values():
        _outline(drawn, shape, line)
    grey = None if reference is None or len(reference) < 3 else np.array(reference, dtype=float) / scale
    if grey is not None:
        _dashed(drawn, grey, line)
    named = [*shapes.items(), *([("grey reference", grey)] if grey is not None else [])]
    return _with_names(drawn, named, _type_size(shapes, max(picture.shape[:2])))


def _check(picture: Pixels, scale: float) -> None:
    if picture.dtype != np.uint8 or picture.ndim != 3 or picture.shape[2] != 3:
        raise InvalidInputError(
            f"A picture must be 8-bit pixels of shape (rows, cols, 3); got {picture.dtype} of shape {picture.shape}. "
            "Convert it to 8-bit sRGB first."
        )
    if not scale > 0:
        raise InvalidInputError(
            f"scale must be above 0; got {scale}. It is how many full-resolution pixels make one of the picture."
        )


def _type_size(shapes: Mapping[str, NDArray[np.float64]], long: int) -> int:
    """Height of the names in pixels: so that a name is about as wide as a piece, within what suits the picture."""
    if not shapes:
        return max(9, round(_LARGEST * long))
    side = float(np.median([np.ptp(shape, axis=0).min() for shape in shapes.values()]))
    widest = max(min(text_width(name, 1.0, bold=True), _LONGEST_NAME) for name in shapes)
    return max(9, round(min(max(_OF_PIECE * side / max(widest, 1.0), _SMALLEST * long), _LARGEST * long)))


# Lines. OpenCV draws them in sixteenths of a pixel.


def _fixed(shape: NDArray[np.float64]) -> NDArray[np.int32]:
    return np.round((shape[:, ::-1] - 0.5) * 16).astype(np.int32)


def _outline(drawn: Pixels, shape: NDArray[np.float64], line: float) -> None:
    for width, tone in ((3 * line, _DARK), (1.3 * line, _LIGHT)):
        colour = (float(grey_code(tone)),) * 3
        cv2.polylines(drawn, [_fixed(shape)], True, colour, max(1, round(width)), cv2.LINE_AA, shift=4)


def _dashed(drawn: Pixels, shape: NDArray[np.float64], line: float) -> None:
    for width, tone in ((3 * line, _DARK), (1.3 * line, _LIGHT)):
        colour = (float(grey_code(tone)),) * 3
        for start, end in _dashes(shape, 11 * line):
            ends = [_fixed(np.array([start, end]))]
            cv2.polylines(drawn, ends, False, colour, max(1, round(width)), cv2.LINE_AA, shift=4)


def _dashes(shape: NDArray[np.float64], length: float) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    pairs = []
    for start, end in zip(shape, np.roll(shape, -1, axis=0), strict=True):
        count = max(1, round(float(np.hypot(*(end - start))) / length / 2)) * 2 + 1  # a dash at both ends
        at = np.linspace(0, 1, count + 1)[:, None]
        points = start + (end - start) * at
        pairs += [(points[i], points[i + 1]) for i in range(0, count, 2)]
    return pairs


# Names.


def _with_names(drawn: Pixels, named: Sequence[tuple[str, NDArray[np.float64]]], size: int) -> Pixels:
    image = Image.fromarray(drawn)
    canvas = ImageDraw.Draw(image)
    taken = _Taken(drawn.shape)
    for _, shape in named:
        taken.add(shape)
    halo = max(1, round(size / 9))
    for name, shape in named:
        text, path = printable(shortened(name, size, _LONGEST_NAME * size, bold=True), bold=True)
        font = _font(path, size)
        left, top, right, bottom = canvas.textbbox((0, 0), text, font=font, stroke_width=halo)
        row, col = taken.place_beside(shape, bottom - top, right - left)
        canvas.text(
            (col - (left + right) / 2, row - (top + bottom) / 2), text, font=font, stroke_width=halo,
            fill=(grey_code(_LIGHT),) * 3, stroke_fill=(grey_code(_DARK),) * 3,
        )
    return np.asarray(image)


@lru_cache(maxsize=16)
def _font(path: Path, size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(path), size, layout_engine=ImageFont.Layout.BASIC)


class _Taken:
    """A coarse map of where pieces and names already lie."""

    def __init__(self, picture: tuple[int, ...]) -> None:
        self.size = np.array(picture[:2], dtype=float)
        self.cell = max(picture[:2]) / _MAP
        rows, cols = np.maximum(1, np.round(self.size / self.cell)).astype(int)
        self.map = np.zeros((rows, cols), np.uint8)

    def add(self, shape: NDArray[np.float64]) -> None:
        """Take the ground of a piece."""
        cv2.fillPoly(self.map, [np.round(shape[:, ::-1] / self.cell).astype(np.int32)], 1)

    def place_beside(self, shape: NDArray[np.float64], height: float, width: float) -> tuple[float, float]:
        """
        The row and column of the middle of a name, which then is taken.

        Of the free places that touch the piece's near surroundings, the one nearest its middle; on the piece where
        there is none.
        """
        half, middle = np.array([height, width]) / 2, (shape.min(axis=0) + shape.max(axis=0)) / 2
        places = self._candidates(middle, np.hypot(*np.ptp(shape, axis=0)) / 2 + np.hypot(height, width), height)
        inside = ((places >= half) & (places <= self.size - half)).all(axis=1)
        free = inside & ~_any(self.map, *self._cells(places, half))
        near = _any(self._near(shape, 0.6 * height), *self._cells(places, half))
        if (free & near).any():
            place = places[free & near][0]
        else:
            place = np.clip(middle, half, np.maximum(self.size - half, half))
        (top, left), (bottom, right) = (ends[0] for ends in self._cells(place[None], half))
        self.map[top:bottom, left:right] = 1
        return float(place[0]), float(place[1])

    def _candidates(self, middle: NDArray[np.float64], reach: float, height: float) -> NDArray[np.float64]:
        """Places all round, nearest first; straight above first among equals."""
        angles = np.arange(_DIRECTIONS) * 2 * np.pi / _DIRECTIONS
        steps = np.arange(0, reach, height / 4)[:, None, None]
        return np.reshape(middle + steps * np.column_stack([-np.cos(angles), np.sin(angles)]), (-1, 2))

    def _near(self, shape: NDArray[np.float64], distance: float) -> Pixels:
        alone = _Taken((int(self.size[0]), int(self.size[1])))
        alone.add(shape)
        grown = 2 * max(1, round(distance / self.cell)) + 1
        return np.asarray(cv2.dilate(alone.map, np.ones((grown, grown), np.uint8)), dtype=np.uint8)

    def _cells(self, places: NDArray[np.float64], half: NDArray[np.float64]) -> tuple[Cells, Cells]:
        """First and last cells of names at these places, each of shape (n, 2)."""
        low, high = (np.round((places + sign * half) / self.cell) for sign in (-1, 1))
        return np.clip(low, 0, self.map.shape).astype(np.int64), np.clip(high, 0, self.map.shape).astype(np.int64)


def _any(taken: Pixels, low: Cells, high: Cells) -> NDArray[np.bool_]:
    """Whether anything lies in each rectangle of cells, by sums over the whole map."""
    sums = np.asarray(cv2.integral(taken))
    total = sums[high[:, 0], high[:, 1]] - sums[low[:, 0], high[:, 1]]
    return np.asarray(total - sums[high[:, 0], low[:, 1]] + sums[low[:, 0], low[:, 1]] > 0)
