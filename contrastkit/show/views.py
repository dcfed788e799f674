"""
Ways to look at a picture: in true grey, in a few values, from across the room, by a warm lamp, with other eyes.

Linear RGB (0-1), shape (rows, cols, 3), goes in and comes out of each. What a view has to know beside the picture is
in a `Viewing`; `VIEWS` names them all, so that whoever shows pictures need not know which views there are.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

from contrastkit.compose.groups import Breaks, fixed_breaks
from contrastkit.compose.seams import metres
from contrastkit.errors import InvalidInputError
from contrastkit.light.distance import VALUE_KERNEL, seen_colour_from
from contrastkit.light.lightness import SRGB, lightness_to_luminance, luminance_to_lightness
from contrastkit.light.vision import eyes_matrix, lamp_matrix
from contrastkit.show.look import group_lightness

Image = NDArray[np.float32]

FAR_MM, READING_MM = 3000.0, 600.0  # across a room; a page on the table, from the eye
SQUINT = 0.05  # of the shorter side of a picture, a design choice: what is smaller runs together
_PER_BLUR = 8.0  # pixels to the eye's narrowest blur: finer ones show nothing more
_SPECK = 0.6  # of that size: patches that are nowhere so wide go to what is round them


@dataclass(frozen=True)
class Viewing:
    """
    What views may have to know beside the picture.

    Attributes
    ----------
    mm_per_pixel : how large a pixel is on the work
    distance_mm : from where it is seen
    breaks : edges and names of the groups
    squint : what is smaller than this share of the picture's shorter side runs together in a few values
    """

    mm_per_pixel: float
    distance_mm: float = FAR_MM
    breaks: Breaks = field(default_factory=fixed_breaks)
    squint: float = SQUINT


@dataclass(frozen=True)
class View:
    """A way to look: what it is called for a viewing, and what it makes of a picture."""

    words: Callable[[Viewing], str]
    see: Callable[[Image, Viewing], Image]


def in_grey(image: Image) -> Image:
    """
    Return a picture without its colours: every pixel the grey of its own L*.

    Not what a camera or an editor makes of it, which weighs encoded colours and draws vivid ones too light or too dark.

    Parameters
    ----------
    image : linear RGB, shape (rows, cols, 3)

    Raises
    ------
    InvalidInputError
        Not a picture of three channels, or one with unknown or negative light.

    Examples
    --------
    >>> in_grey(np.array([[[1, 0, 0]]], np.float32)).round(4).tolist()
    [[[0.2125999927520752, 0.2125999927520752, 0.2125999927520752]]]
    """
    return _as_grey(_luminance(_checked(image)))


def in_values(image: Image, breaks: Breaks, *, squint: float = SQUINT) -> Image:
    """
    Return a picture in the flat greys of its groups, as an artist blocks in its values with eyes half closed.

    What is smaller than the squint runs together in linear light; edges of what is larger stay where they are. Each
    place becomes the grey in which charts draw its group, and specks go to what is round them.

    Parameters
    ----------
    image : linear RGB, shape (rows, cols, 3)
    breaks : edges of the groups
    squint : what is smaller than this share of the picture's shorter side runs together, 0 to 0.5

    Raises
    ------
    InvalidInputError
        Not a picture of three channels, one with unknown or negative light, or a squint outside 0-0.5.

    Examples
    --------
    >>> halves = np.repeat(np.float32([[0.05] * 20 + [0.8] * 20] * 40)[..., None], 3, axis=2)
    >>> luminance_to_lightness(in_values(halves, fixed_breaks())[20, [0, -1], 0]).round(1).tolist()
    [25.0, 85.0]
    """
    if not 0 <= squint <= 0.5:
        raise InvalidInputError(f"squint must lie in 0-0.5 of the picture's shorter side; got {squint:g}. Try 0.05.")
    light = _luminance(_checked(image))
    size = squint * min(light.shape)
    groups = np.searchsorted(breaks.edges, luminance_to_lightness(_squinted(light, size))).astype(np.uint8)
    flat = _without_specks(_rounded(groups, size), _SPECK * size)
    tones = lightness_to_luminance(group_lightness(len(breaks.names))).astype(np.float32)
    return _as_grey(tones[flat])


def from_afar(image: Image, *, mm_per_pixel: float, distance_mm: float) -> Image:
    """
    Return a picture blurred as it is for an eye at a distance, in its colours; see `seen_colour_from`.

    A picture much finer than the eye is shrunk until its narrowest blur is eight pixels, blurred, and enlarged again.

    Parameters
    ----------
    image : linear RGB, shape (rows, cols, 3)
    mm_per_pixel : how large a pixel is on the work
    distance_mm : viewing distance

    Raises
    ------
    InvalidInputError
        Not a picture of three channels, one with unknown or negative light, or a size or distance not above 0.

    Examples
    --------
    >>> from_afar(np.full((4, 4, 3), 0.2, np.float32), mm_per_pixel=1, distance_mm=3000)[0, 0].round(3).tolist()
    [0.20000000298023224, 0.20000000298023224, 0.20000000298023224]
    """
    picture = _checked(image)
    rows, cols = picture.shape[:2]
    finer = _eye_mm(distance_mm) / _PER_BLUR / mm_per_pixel if mm_per_pixel > 0 else 1.0
    if not finer > 1:
        seen = seen_colour_from(picture, mm_per_pixel=mm_per_pixel, distance_mm=distance_mm)
        return seen.astype(np.float32)
    small = cv2.resize(picture, (math.ceil(cols / finer), math.ceil(rows / finer)), interpolation=cv2.INTER_AREA)
    scale = mm_per_pixel * math.sqrt(rows * cols / (small.shape[0] * small.shape[1]))
    seen = seen_colour_from(small, mm_per_pixel=scale, distance_mm=distance_mm).astype(np.float32)
    return cast(Image, cv2.resize(seen, (cols, rows), interpolation=cv2.INTER_LINEAR))


def by_warm_lamp(image: Image, *, lamp: str = "LED") -> Image:
    """
    Return a picture as it looks by a warm lamp to an eye that is used to it: white stays white, reds come forward.

    Parameters
    ----------
    image : linear RGB, shape (rows, cols, 3)
    lamp : "LED" or "filament"; see `contrastkit.light.vision`, which says how far it is off

    Raises
    ------
    InvalidInputError
        Not a picture of three channels, one with unknown or negative light, or no lamp of ours.

    Examples
    --------
    >>> by_warm_lamp(np.array([[[0.5, 0.1, 0.1]]], np.float32)).round(2).tolist()
    [[[0.5400000214576721, 0.1599999964237213, 0.10000000149011612]]]
    """
    return _through(image, lamp_matrix(lamp))


def to_eyes(image: Image, eyes: str, *, severity: float = 1.0) -> Image:
    """
    Return a picture as it looks to somebody with a colour-vision deficiency.

    Parameters
    ----------
    image : linear RGB, shape (rows, cols, 3)
    eyes, severity : as for `contrastkit.light.vision.eyes_matrix`

    Raises
    ------
    InvalidInputError
        Not a picture of three channels, one with unknown or negative light, none of these eyes, or a severity outside
        0-1.

    Examples
    --------
    >>> to_eyes(np.array([[[0.5, 0.1, 0.1]]], np.float32), "protan").round(2).tolist()
    [[[0.1599999964237213, 0.15000000596046448, 0.10000000149011612]]]
    """
    return _through(image, eyes_matrix(eyes, severity=severity))


def _through(image: Image, matrix: NDArray[np.float64]) -> Image:
    return cast(Image, np.clip(_checked(image) @ matrix.T.astype(np.float32), 0, 1))


def _eye_mm(distance_mm: float) -> float:
    """How wide the eye's narrowest blur is at a distance: all of its bell at half its height."""
    return distance_mm * math.radians(VALUE_KERNEL[0][0])


def size_from_afar(size_mm: float, distance_mm: float, *, reading_mm: float = READING_MM) -> float:
    """
    Return how large something must be drawn on a page to look as large as the thing itself does from a distance.

    Parameters
    ----------
    size_mm : of the thing
    distance_mm : from where the thing is seen
    reading_mm : from where the page is seen

    Raises
    ------
    InvalidInputError
        A size or a distance is not above 0.

    Examples
    --------
    >>> size_from_afar(300, 5000)
    36.0
    """
    if not all(math.isfinite(length) and length > 0 for length in (size_mm, distance_mm, reading_mm)):
        raise InvalidInputError(
            f"Sizes and distances must be above 0 mm; got {size_mm:g}, {distance_mm:g} and {reading_mm:g}. "
            "Pass millimetres: 3 m is 3000."
        )
    return size_mm * reading_mm / distance_mm


VIEWS: dict[str, View] = {
    "colour": View(lambda _: "in colour", lambda image, _: _checked(image)),
    "grey": View(lambda _: "in grey", lambda image, _: in_grey(image)),
    "values": View(
        lambda viewing: f"in {_number(len(viewing.breaks.names))} values",
        lambda image, viewing: in_values(image, viewing.breaks, squint=viewing.squint),
    ),
    "far": View(
        lambda viewing: f"as seen from {metres(viewing.distance_mm)}",
        lambda image, viewing: from_afar(
            image, mm_per_pixel=viewing.mm_per_pixel, distance_mm=viewing.distance_mm
        ),
    ),
    "lamp": View(lambda _: "by a warm lamp", lambda image, _: by_warm_lamp(image)),
    "protan": View(lambda _: "to eyes that take red for dark", lambda image, _: to_eyes(image, "protan")),
    "deutan": View(lambda _: "to eyes that mix up red and green", lambda image, _: to_eyes(image, "deutan")),
    "tritan": View(lambda _: "to eyes that mix up blue and green", lambda image, _: to_eyes(image, "tritan")),
}


def view_named(name: str) -> View:
    """
    Return the view of that name.

    Raises
    ------
    InvalidInputError
        There is none.

    Examples
    --------
    >>> view_named("grey").words(Viewing(1.0))
    'in grey'
    """
    if name not in VIEWS:
        raise InvalidInputError(f"A view must be one of {', '.join(VIEWS)}; got {name!r}. Pick one of these.")
    return VIEWS[name]


def _number(count: int) -> str:
    return dict(enumerate(("two", "three", "four", "five", "six", "seven", "eight", "nine"), start=2))[count]


def _checked(image: Image) -> Image:
    picture = np.asarray(image, np.float32)
    if picture.ndim != 3 or picture.shape[2] != 3 or picture.size == 0:
        raise InvalidInputError(
            f"A picture must be linear RGB of shape (rows, cols, 3); got shape {picture.shape}. Render it first."
        )
    if not (picture >= 0).all():
        raise InvalidInputError(
            f"A picture must have known light of 0 or more everywhere; {int((~(picture >= 0)).sum())} numbers are not. "
            "Pass linear light, with what is unknown filled in."
        )
    return picture


def _luminance(image: Image) -> Image:
    return image @ SRGB.luminance_weights.astype(np.float32)


def _as_grey(light: Image) -> Image:
    return np.repeat(light[..., None], 3, axis=2)


# --- a few values ----------------------------------------------------------------------------------------------------


def _squinted(light: Image, size: float) -> Image:
    """
    The mean of the most even of the four squares that meet in each pixel: marks fuse, edges do not.

    M. Kuwahara, K. Hachimura, S. Eiho and M. Kinoshita, Processing of RI-angiocardiographic images, in Digital
    Processing of Biomedical Images, Plenum 1976, 187-202. Evenness is judged in L*, means are of light.
    """
    side = max(1, round(size))
    if side == 1:
        return light
    lightness = luminance_to_lightness(light).astype(np.float32)
    means, spreads = [], []
    for anchor in ((0, 0), (side - 1, 0), (0, side - 1), (side - 1, side - 1)):
        light_mean, mean, square = (_box_mean(of, side, anchor) for of in (light, lightness, lightness * lightness))
        means.append(light_mean)
        spreads.append(square - mean * mean)
    best = np.argmin(spreads, axis=0)
    return cast(Image, np.maximum(np.take_along_axis(np.stack(means), best[None], axis=0)[0], 0))


def _box_mean(of: Image, side: int, anchor: tuple[int, int]) -> Image:
    return cast(Image, cv2.boxFilter(of, -1, (side, side), anchor=anchor, borderType=cv2.BORDER_REFLECT_101))


def _rounded(groups: NDArray[np.uint8], size: float) -> NDArray[np.uint8]:
    """Without the jags that are smaller than a brush would follow."""
    around = 2 * round(size / 4) + 1
    return cast("NDArray[np.uint8]", cv2.medianBlur(groups, around)) if around > 1 else groups


def _without_specks(groups: NDArray[np.uint8], width: float) -> NDArray[np.uint8]:
    """Connected patches that are nowhere that wide (pixels), given to the nearest that is."""
    across = max(1, round(width))
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across))
    speck = np.zeros(groups.shape, np.uint8)
    for group in np.unique(groups):
        own = (groups == group).astype(np.uint8)
        count, patches = cv2.connectedComponents(own, connectivity=4)
        small = np.ones(count, np.uint8)
        small[patches[cv2.erode(own, brush) > 0]] = 0
        small[0] = 0  # what is not of this group
        speck |= small[patches]
    if not speck.any() or speck.all():
        return groups
    _, nearest = cv2.distanceTransformWithLabels(speck, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    owner = np.zeros(int(nearest.max()) + 1, np.uint8)
    owner[nearest[speck == 0]] = groups[speck == 0]
    return cast("NDArray[np.uint8]", owner[nearest])
