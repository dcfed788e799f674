"""The pieces cut out of their photographs: true shape, laid straight, reduced in linear light."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import linear_to_srgb1, srgb1_to_linear
from contrastkit.show.pieces import Piece, Point

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float32]
Crops = Mapping[str, Pixels]

_HAIR = 0.006  # of the piece
_STEPS = 4095  # linear light in 12 bits: finer than one 8-bit code from L* 1 upwards


@dataclass(frozen=True)
class CutOut:
    """
    A piece as it is shown.

    pixels: sRGB and alpha, shape (rows, cols, 4); corners: its outline in pixels of it, none if it fills the box.
    """

    pixels: Pixels
    corners: tuple[Point, ...]


def cut_outs(pieces: Sequence[Piece], crops: Crops, *, side: int) -> dict[str, CutOut]:
    """
    Return every piece that has a crop, laid straight and no more than `side` pixels long, by swatch_id.

    Raises
    ------
    InvalidInputError
        A crop is not 8-bit pixels with three or four channels.
    """
    return {
        piece.swatch_id: cut_out(crops[piece.swatch_id], piece.outline, side=side, name=piece.swatch_id)
        for piece in pieces
        if piece.swatch_id in crops
    }


def cut_out(crop: Pixels, outline: Sequence[Point] = (), *, side: int, name: str = "crop") -> CutOut:
    """
    Return the piece without what surrounds it, laid straight and no more than `side` pixels long.

    Parameters
    ----------
    crop
        The bounding box of the piece, sRGB, shape (rows, cols, 3), or (rows, cols, 4) with alpha 0 outside it.
    outline
        Its (row, column) corners in the photograph, at any scale; only used where the crop has no alpha.
    side
        Longest side of the result in pixels.
    name
        Who to name when the crop cannot be shown.

    Raises
    ------
    InvalidInputError
        The crop is not 8-bit pixels with three or four channels.

    Examples
    --------
    >>> cut_out(np.full((40, 80, 3), 90, np.uint8), side=20).pixels.shape
    (10, 20, 4)
    """
    _check_crop(crop, name)
    corners = _corners(crop, outline)
    light = _shrunk(_light(crop, corners), 2 * side)
    if len(corners):
        corners = corners * (light.shape[0] / crop.shape[0], light.shape[1] / crop.shape[1])
        light, corners = _straight(light, corners)
    small = _shrunk(light, side)
    corners = corners * (small.shape[0] / light.shape[0], small.shape[1] / light.shape[1])
    return CutOut(_pixels(small), tuple((float(row), float(col)) for row, col in corners))


def _check_crop(crop: Pixels, name: str) -> None:
    good = isinstance(crop, np.ndarray) and crop.dtype == np.uint8 and crop.ndim == 3 and crop.shape[2] in (3, 4)
    if not good or crop.size == 0:
        got = f"{crop.dtype} of shape {crop.shape}" if isinstance(crop, np.ndarray) else type(crop).__name__
        raise InvalidInputError(
            f"A crop must be 8-bit pixels of shape (rows, cols, 3 or 4); that of {name!r} is {got}. "
            "Cut it out of the 8-bit photograph."
        )


def _corners(crop: Pixels, outline: Sequence[Point]) -> NDArray[np.float64]:
    """The outline in pixels of the crop, shape (n, 2) of (row, col); empty where the piece fills the box."""
    if crop.shape[2] == 4:
        return _traced(crop[..., 3])
    points = np.array(outline, dtype=float).reshape(-1, 2)
    extent = np.ptp(points, axis=0) if len(points) else np.zeros(2)
    if not (extent > 0).all():
        return np.zeros((0, 2))
    relative = (points - points.min(axis=0)) / extent  # drawn a hair inside, so that no sliver of the board shows
    return np.asarray((_HAIR + relative * (1 - 2 * _HAIR)) * crop.shape[:2])


def _traced(alpha: Pixels) -> NDArray[np.float64]:
    inside = np.ascontiguousarray(alpha >= 128).view(np.uint8)
    found, _ = cv2.findContours(inside, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if inside.all() or not found:
        return np.zeros((0, 2))
    contour = max(found, key=cv2.contourArea)
    points = cv2.approxPolyDP(contour, 0.006 * cv2.arcLength(contour, True), True)[:, 0, ::-1].astype(float)
    return points + 0.5 if len(points) >= 3 else np.zeros((0, 2))  # middles of pixels


@lru_cache(maxsize=1)
def _decoding() -> Floats:
    return np.asarray(srgb1_to_linear(np.arange(256) / 255), dtype=np.float32)


@lru_cache(maxsize=1)
def _encoding() -> Pixels:
    return np.round(linear_to_srgb1(np.arange(_STEPS + 1) / _STEPS) * 255).astype(np.uint8)


def _light(crop: Pixels, corners: NDArray[np.float64]) -> Floats:
    """Linear light times alpha, and alpha: what may be averaged, turned and reduced without dark fringes."""
    if crop.shape[2] == 4:
        alpha = cast(Floats, crop[..., 3].astype(np.float32) / np.float32(255))
    elif len(corners):
        alpha = _mask(corners, (crop.shape[0], crop.shape[1]))
    else:
        alpha = np.ones(crop.shape[:2], np.float32)
    return np.dstack([_decoding()[crop[..., :3]] * alpha[..., None], alpha])


def _mask(corners: NDArray[np.float64], shape: tuple[int, int]) -> Floats:
    mask = np.zeros(shape, np.uint8)
    points = np.round((corners[:, ::-1] - 0.5) * 16).astype(np.int32)  # sixteenths of a pixel
    cv2.fillPoly(mask, [points], 255, lineType=cv2.LINE_AA, shift=4)
    return cast(Floats, mask.astype(np.float32) / np.float32(255))


def _shrunk(light: Floats, side: int) -> Floats:
    factor = side / max(light.shape[:2])
    if factor >= 1:
        return light
    size = (max(1, round(light.shape[1] * factor)), max(1, round(light.shape[0] * factor)))
    return cast(Floats, cv2.resize(light, size, interpolation=cv2.INTER_AREA))


def _straight(light: Floats, corners: NDArray[np.float64]) -> tuple[Floats, NDArray[np.float64]]:
    """Turn the piece so that the upright box round it is smallest, and cut that box out."""
    points = corners[:, ::-1]
    turn = _turn(_least_turn(points))
    turned = points @ turn.T
    low, high = np.floor(turned.min(axis=0)), np.ceil(turned.max(axis=0))
    width, height = (int(n) for n in np.maximum(high - low, 1))
    # warpAffine counts from the middle of the first pixel, corners from its edge.
    shift = turn @ np.array([0.5, 0.5]) - 0.5 - low
    flat = cv2.warpAffine(light, np.column_stack([turn, shift]), (width, height), flags=cv2.INTER_LINEAR)
    return cast(Floats, flat), np.asarray((turned - low)[:, ::-1])


def _turn(degrees: float) -> NDArray[np.float64]:
    """The matrix that turns (column, row) by so many degrees."""
    cos, sin = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    return np.array([[cos, sin], [-sin, cos]])


def _least_turn(points: NDArray[np.float64]) -> float:
    """The turn, at most 45 degrees, that lays an edge level or upright in the smallest box; of equals, the least."""
    edges = np.roll(points, -1, axis=0) - points
    angles = (np.degrees(np.arctan2(edges[:, 1], edges[:, 0])) + 45) % 90 - 45
    return float(min((0.0, *angles), key=lambda angle: _box_area(points, angle) * (1 + abs(angle) / 1000)))


def _box_area(points: NDArray[np.float64], degrees: float) -> float:
    return float(np.prod(np.ptp(points @ _turn(degrees).T, axis=0)))


def _pixels(light: Floats) -> Pixels:
    alpha = np.clip(light[..., 3:], 0, 1)
    plain = light[..., :3] / np.maximum(alpha, 1e-3)
    return np.dstack([encoded(plain), np.round(alpha * 255).astype(np.uint8)])


def encoded(linear: NDArray[np.floating]) -> Pixels:
    """
    Return linear light (0-1; what is brighter is clipped) as 8-bit sRGB of the same shape.

    >>> encoded(np.array([0, 0.18, 2], np.float32)).tolist()
    [0, 118, 255]
    """
    return np.asarray(_encoding()[(np.clip(linear, 0, 1) * _STEPS + 0.5).astype(np.uint16)])


def flattened(cut: CutOut) -> Pixels:
    """Return the piece as opaque sRGB, its own mean colour round it, so that no fringe shows where it is clipped."""
    colour, alpha = cut.pixels[..., :3], cut.pixels[..., 3:] / 255
    weight = max(float(alpha.sum()), 1e-6)
    mean = (colour * alpha).sum(axis=(0, 1)) / weight
    opaque = np.where(alpha > 0.25, colour, mean)
    return np.round(opaque).astype(np.uint8)
