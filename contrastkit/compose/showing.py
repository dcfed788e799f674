"""
What shows of a layer once the next one lies on it: the ring that is left, all round, and how lively it is.

A texture is the luminance of a piece's square, laid straight: rows and columns, nan outside the piece. It spans the
largest square that the piece can be cut to, and a layer is cut from its middle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from contrastkit.errors import InvalidInputError
from contrastkit.light.distance import seen_from
from contrastkit.light.lightness import luminance_to_lightness

Array = NDArray[np.float64]
Places = NDArray[np.int64]

ARM_MM = 600.0  # a design choice: how far off work is held to be looked at
SPAN_MM = 2 * ARM_MM * math.tan(math.radians(0.5))  # a design choice: what 1°, the middle of the fovea, takes in there

_BINS = 8  # a span is moved along a seam in eighths
_WEAK = 10  # per cent of a seam's length that is its weakest part


@dataclass(frozen=True)
class Place:
    """
    Where a seam lies in a stack, mm; nan is unknown.

    Attributes
    ----------
    below, above : cut sides of the two layers; infinity for a background
    covered : cut side of what lies on the upper layer, 0 for nothing
    rim : width of the bare rim that every layer keeps
    ring : how deep, on either side of the seam, local lightness is looked at
    """

    below: float = math.nan
    above: float = math.nan
    covered: float = 0.0
    rim: float = 0.0
    ring: float = SPAN_MM / 2

    @property
    def known(self) -> bool:
        """Whether both sides are known, the upper one the smaller."""
        return self.below > self.above > 0


@dataclass(frozen=True)
class Frame:
    """
    Squares round the middle of a texture, given by half their sides in mm.

    Attributes
    ----------
    spans : the texture
    shows_from, shows_to : what shows lies between these
    edge_from, edge_to : what is compared along the seam lies between these
    bins : in how many parts the seam is divided
    """

    spans: float
    shows_from: float
    shows_to: float
    edge_from: float
    edge_to: float
    bins: int


@dataclass(frozen=True)
class Shown:
    """
    What shows of a layer beside a seam.

    Attributes
    ----------
    lightness : L* of the linear-light mean of all that shows
    along : L* of each span along the seam, clockwise from the top left corner; one number where only the whole is
        known; nan where nothing of a span is known
    """

    lightness: float
    along: Array

    @property
    def followed(self) -> bool:
        """Whether the seam could be followed."""
        return self.along.size > 1


def lower_frame(side: float, place: Place) -> Frame | None:
    """Return what shows of the lower layer of a seam, cut from a piece of that side; None where nothing is known."""
    if not place.known or math.isinf(place.below):
        return None
    inner, outer = place.above / 2, place.below / 2 - place.rim
    spans = max(0.0 if math.isnan(side) else side, place.below) / 2
    if outer <= inner:  # its rim is all that shows
        return None
    return Frame(spans, inner, outer, inner, min(inner + place.ring, outer), _bins(place))


def upper_frame(side: float, place: Place) -> Frame | None:
    """Return what shows of the upper layer of a seam, cut from a piece of that side; None where nothing is known."""
    if not place.known:
        return None
    inner, outer = place.covered / 2, place.above / 2 - place.rim
    spans = max(0.0 if math.isnan(side) else side, place.above) / 2
    if outer <= inner:
        return None
    return Frame(spans, inner, outer, max(outer - place.ring, inner), outer, _bins(place))


def shown(texture: Array, frame: Frame) -> Shown | None:
    """Return what shows of a texture within a frame; None where nothing of it is known."""
    shows, edge, bins = _pixels(texture.shape[0], texture.shape[1], frame)
    flat = texture.ravel()
    visible = flat[shows][~np.isnan(flat[shows])]
    if visible.size == 0:
        return None
    known = ~np.isnan(flat[edge])
    light = _over_spans(bins, np.where(known, flat[edge], 0), frame.bins)
    area = _over_spans(bins, known.astype(float), frame.bins)
    local = np.divide(light, area, out=np.full(frame.bins, np.nan), where=area > 0)
    return Shown(float(luminance_to_lightness(visible.mean())), np.asarray(luminance_to_lightness(local)))


def weakest_tenth(lower: Shown, upper: Shown) -> float:
    """
    Return the step that a tenth of a seam's length does not reach, in the direction of the whole step, L*.

    Negative where light and dark change places; nan where neither side can be followed.
    """
    if not (lower.followed or upper.followed):
        return math.nan
    steps = math.copysign(1, upper.lightness - lower.lightness) * (upper.along - lower.along)
    steps = steps[~np.isnan(steps)]
    return float(np.percentile(steps, _WEAK)) if steps.size else math.nan


def spread_seen(texture: Array, frame: Frame, distance_mm: float) -> float:
    """Return the standard deviation of the local lightness of what shows, seen from a distance; nan for nothing."""
    seen = _seen(texture, 2 * frame.spans / texture.shape[0], distance_mm)
    lightness = luminance_to_lightness(seen.ravel()[_pixels(texture.shape[0], texture.shape[1], frame)[0]])
    lightness = lightness[~np.isnan(lightness)]
    return float(lightness.std()) if lightness.size else math.nan


def check_texture(name: str, texture: Array) -> Array:
    """
    Return the texture as an array of floats, or refuse it by that name.

    Raises
    ------
    InvalidInputError
        It is not rows and columns of luminance, each 0 or more or unknown (nan).

    >>> check_texture("a", np.array([[0.5, np.nan]])).shape
    (1, 2)
    """
    texture = np.asarray(texture, dtype=float)
    if texture.ndim != 2 or texture.size == 0 or (texture < 0).any() or np.isinf(texture).any():
        raise InvalidInputError(
            f"The texture of {name!r} must be luminance in rows and columns, 0 or more; got shape {texture.shape}. "
            "Pass the piece's square in linear light, nan outside the piece."
        )
    return texture


def _bins(place: Place) -> int:
    return _BINS * max(round(4 * place.above / SPAN_MM), 4)


@lru_cache(maxsize=32)
def _pixels(rows: int, columns: int, frame: Frame) -> tuple[Places, Places, Places]:
    """Which pixels of a texture show, which lie along the seam, and the bin of each of those, going round it."""
    down, right = (((np.arange(count) + 0.5) / count * 2 - 1) * frame.spans for count in (rows, columns))
    y, x = (part.ravel() for part in np.meshgrid(down, right, indexing="ij"))
    out = np.maximum(abs(x), abs(y))
    shows = np.flatnonzero((out >= frame.shows_from) & (out <= frame.shows_to))
    edge = np.flatnonzero((out >= frame.edge_from) & (out <= frame.edge_to))
    return shows, edge, _bin_of(x[edge], y[edge], out[edge], frame.bins)


def _bin_of(x: Array, y: Array, out: Array, bins: int) -> Places:
    """How far round its square a pixel lies, clockwise from the top left corner: top, right, bottom, left."""
    out = np.where(out == 0, 1, out)
    side = np.select([y == -out, x == out, y == out], [0, 1, 2], 3)
    share = np.choose(side, [x, y, -x, -y]) / out / 2 + 0.5
    return np.minimum((side + share) / 4 * bins, bins - 1).astype(np.int64)


def _over_spans(places: Places, values: Array, bins: int) -> Array:
    """Sums of the values in spans of _BINS bins, beginning at every bin, round and round."""
    sums = np.bincount(places, values, minlength=bins)
    return np.asarray(sum(np.roll(sums, -step) for step in range(_BINS)), dtype=float)


def _seen(texture: Array, mm_per_pixel: float, distance_mm: float) -> Array:
    """The texture as seen from the distance, by itself: what is unknown, outside the piece, adds nothing."""
    known = ~np.isnan(texture)
    light = seen_from(np.where(known, texture, 0), mm_per_pixel=mm_per_pixel, distance_mm=distance_mm)
    if known.all():
        return light
    area = seen_from(known.astype(float), mm_per_pixel=mm_per_pixel, distance_mm=distance_mm)
    return np.asarray(np.divide(light, area, out=np.full(texture.shape, np.nan), where=known & (area > 0)))
