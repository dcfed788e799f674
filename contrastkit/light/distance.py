"""
What is left of a picture at a distance: visual angle, and the blur of the eye.

The blur is that of S-CIELAB, fitted to how well people tell fine stripes apart: in luminance, in red against green and
in blue against yellow, each a sum of Gaussians of so many degrees. Light is blurred, never L* or encoded colour.
The luminance kernel is used in two ways, and each function says which it takes:

    LUMINANCE_KERNEL   as published, three Gaussians. For contrast, which has no level of its own: of one thin line
                       (`line_residual`), of stripes (`kernel_mtf`).
    VALUE_KERNEL       its two narrow Gaussians, brought to a sum of 1. For whatever gives light back (`bands_seen`,
                       `line_seen`, `seen_from`, `seen_colour_from`). The third is negative and 7 degrees wide: it takes
                       off the mean of half the wall, which is unknown here, and makes lines up to 12 % stronger.

It is a cautious answer: these kernels come from contrast that is only just seen, and strong contrast fades later.
Sizes and distances are millimetres.

References
----------
X. Zhang and B. A. Wandell, A spatial extension of CIELAB for digital color image reproduction, SID Symposium Digest
27, 731-734, 1996, and Journal of the SID 5(1), 61-63, 1997. The numbers are those of the authors' program, which
differ in the third digit from the ones in the paper.
A. B. Poirson and B. A. Wandell, Appearance of colored patterns: pattern-color separability, Journal of the Optical
Society of America A 10(12), 2458-2470, 1993: the measurements behind them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import SRGB, RgbSpace, as_numbers, check_not_negative, check_triples

Array = NDArray[np.float64]
Kernel = tuple[tuple[float, float], ...]

# Width of each Gaussian in degrees, and its weight. The width is that of the whole bell at half its height: the program
# calls it a half-width, and whoever takes it for the parameter of the exponential blurs 1.67 times too much.
LUMINANCE_KERNEL: Kernel = ((0.05, 1.00327), (0.225, 0.114416), (7.0, -0.117686))
RED_GREEN_KERNEL: Kernel = ((0.0685, 0.616725), (0.826, 0.383275))
BLUE_YELLOW_KERNEL: Kernel = ((0.0920, 0.567885), (0.6451, 0.432115))
VALUE_KERNEL: Kernel = tuple((width, weight / (1.00327 + 0.114416)) for width, weight in LUMINANCE_KERNEL[:2])

# Rows: luminance, red-green, blue-yellow, from CIE XYZ. The paper prints the last number of the second row as -0.077.
_OPPONENT = np.array(
    [[0.2787336, 0.7218031, -0.1065520], [-0.4487736, 0.2898056, 0.0771569], [0.0859513, -0.5899859, 0.5011089]]
)

_FWHM = 2 * math.sqrt(math.log(2))  # exp(-(x/s)²) is half its height at x = s √ln 2, on either side
_REACH = 4.0  # Gaussians end at four times s: less than 2e-8 of them lies beyond
_PIXEL_VARIANCE = 1 / 12  # of a square one pixel wide, in pixels squared
_STEPS_PER_WIDTH = 20  # how finely the place where a line stands out most is looked for: 1/20 of s,
_CLOSER = 41  # and then at so many places round the best: what is missed is below a millionth of the line's light


def visual_angle(size_mm: ArrayLike, distance_mm: ArrayLike) -> Array:
    """
    Return the angle in degrees that a size takes up, seen straight on from a distance; pairs broadcast.

    Raises
    ------
    InvalidInputError
        A size is negative or a distance is not above 0.

    >>> float(round(60 * visual_angle(25.4 / 16, 3000), 3))
    1.819
    """
    size = check_not_negative("size_mm", size_mm, "A size is 0 or more, in millimetres.")
    return np.asarray(np.degrees(2 * np.arctan(size / (2 * _check_distance(distance_mm)))))[()]


def line_residual(width_mm: ArrayLike, distance_mm: ArrayLike, *, kernel: Kernel = LUMINANCE_KERNEL) -> Array:
    """
    Return what share of its contrast is left in the middle of a line on an even field, seen from a distance.

    With LUMINANCE_KERNEL, the default, as published: it exceeds 1 for wide lines, whose edges the eye sharpens.
    RED_GREEN_KERNEL and BLUE_YELLOW_KERNEL tell how much sooner a line of equal lightness is lost.

    Raises
    ------
    InvalidInputError
        A width is negative or a distance is not above 0.

    References
    ----------
    As the module; the integral of each Gaussian over the line is an error function.

    >>> [float(round(line_residual(25.4 / 16, metres * 1000), 2)) for metres in (1, 3, 5)]
    [1.01, 0.54, 0.34]
    """
    half = visual_angle(width_mm, distance_mm) / 2
    return np.asarray(sum(weight * _erf(half / (width / _FWHM)) for width, weight in kernel))[()]


def kernel_mtf(kernel: Kernel, cycles_per_degree: ArrayLike) -> Array:
    """
    Return what share of their contrast a kernel leaves in sine stripes of these cycles per degree.

    Raises
    ------
    InvalidInputError
        A frequency is negative.

    >>> float(round(kernel_mtf(LUMINANCE_KERNEL, 10.9942), 4))
    0.3422
    """
    frequency = check_not_negative("cycles_per_degree", cycles_per_degree, "Pass 0 or more.")
    parts = (weight * np.exp(-((math.pi * frequency * width / _FWHM) ** 2)) for width, weight in kernel)
    return np.asarray(sum(parts))[()]


def bands_seen(luminance1s: Sequence[float], widths_mm: Sequence[float], distance_mm: float, at: ArrayLike) -> Array:
    """
    Return the luminance seen at places across upright bands side by side, from a distance, by VALUE_KERNEL.

    Exact: the bands are endlessly high, and the integral of each Gaussian over a band is an error function.

    Parameters
    ----------
    luminance1s : relative luminance of each band, left to right, two or more; the first and the last go on for ever
    widths_mm : width of each band between those two: two fewer numbers
    distance_mm : viewing distance, mm
    at : places, mm to the right of where the first band ends

    Raises
    ------
    InvalidInputError
        Numbers that do not fit together, a negative or unknown luminance or width, a distance that is not above 0.

    >>> float(round(bands_seen([0.1, 0.5, 0.1], [10.0], 1000, 5.0), 4))
    0.4999
    """
    bands = check_not_negative("luminance1s", luminance1s, "Light cannot be less than none.")
    widths = check_not_negative("widths_mm", widths_mm, "Pass the width of each inner band, left to right.")
    if bands.size < 2 or widths.size != bands.size - 2 or np.isnan(bands).any() or np.isnan(widths).any():
        raise InvalidInputError(
            "There must be two or more bands of known luminance and a width for each but the first and the last; "
            f"got {bands.size} bands and {widths.size} widths. Pass one luminance a band, left to right."
        )
    edges = np.concatenate([[0.0], np.cumsum(widths)])
    offsets = np.asarray(as_numbers("at", at))[..., None] - edges
    passed = _share_below(offsets * _degrees_per_mm(distance_mm))
    return np.asarray(bands[0] + passed @ np.diff(bands))[()]


def line_seen(left: float, line: float, right: float, *, width_mm: float, distance_mm: float) -> float:
    """
    Return the luminance at which a line between two fields stands out most, from a distance, by VALUE_KERNEL.

    That is the lightest place of a line lighter than both its neighbours, the darkest of one darker than both. Between
    unequal neighbours it lies to one side of the line's middle. Further off it comes ever nearer to the luminance
    of the neighbour that is more like the line, and never beyond. A line that is neither gives nan.

    Parameters
    ----------
    left, line, right : relative luminance (white 1)
    width_mm, distance_mm : width of the line and viewing distance, mm

    Raises
    ------
    InvalidInputError
        A luminance is negative or unknown, a width negative, a distance not above 0.

    >>> round(line_seen(0.1, 0.5, 0.1, width_mm=1.5875, distance_mm=3000), 3)
    0.294
    """
    numbers = check_not_negative("luminance1", [left, line, right], "Light cannot be less than none.")
    width = float(check_not_negative("width_mm", width_mm, "A line is 0 mm wide or more."))
    if np.isnan(numbers).any() or math.isnan(width):
        raise InvalidInputError(
            f"A line and its neighbours must be known; got {left:g}, {line:g}, {right:g}, {width:g} mm. "
            "Pass numbers, or leave the line out."
        )
    degrees = width * float(_degrees_per_mm(distance_mm))
    if max(left, right) < line:
        return _peak(left, line, right, degrees)
    if min(left, right) > line:
        return -_peak(-left, -line, -right, degrees)
    return math.nan


def seen_from(luminance1_image: ArrayLike, *, mm_per_pixel: float, distance_mm: float) -> Array:
    """
    Return a picture in luminance as it is seen from a distance, by VALUE_KERNEL; shape (rows, columns).

    Every Gaussian is blurred along rows, then along columns. No place gets lighter than the lightest or darker than
    the darkest of the picture. Beyond its edges the picture goes on as it ends there. A pixel is taken as the mean
    over its own square, and that much blur is taken off the eye's; where the eye's is smaller, nothing is blurred.

    Parameters
    ----------
    luminance1_image : relative luminance (linear light), known everywhere
    mm_per_pixel : how large a pixel is on the work
    distance_mm : viewing distance, mm

    Raises
    ------
    InvalidInputError
        Not a picture of two dimensions, a negative or unknown luminance, a size or distance that is not above 0.

    >>> seen_from([[0.2, 0.2], [0.2, 0.2]], mm_per_pixel=0.5, distance_mm=3000).round(3).tolist()
    [[0.2, 0.2], [0.2, 0.2]]
    """
    image = check_not_negative("luminance1_image", luminance1_image, "Light cannot be less than none.")
    if image.ndim != 2:
        raise InvalidInputError(
            f"A picture in luminance must have rows and columns; got shape {image.shape}. "
            "Pass linear colour to seen_colour_from."
        )
    return _blurred(_check_known(image), VALUE_KERNEL, _degrees_per_pixel(mm_per_pixel, distance_mm))


def seen_colour_from(
    linear_image: ArrayLike, *, mm_per_pixel: float, distance_mm: float, space: RgbSpace = SRGB
) -> Array:
    """
    Return a picture in linear RGB as it is seen from a distance; shape (rows, columns, 3), 0-1.

    Blurred in the three directions of S-CIELAB: luminance by VALUE_KERNEL, red-green and blue-yellow by their own
    kernels, which are wider: small patches of colour are lost before their lightness is. Red-green and blue-yellow are
    counted from the grey of the same luminance, so greys stay grey and are exactly as `seen_from` gives them. Colours
    that the space cannot hold are moved towards the grey of their own luminance. Edges and pixels as in `seen_from`.

    Parameters
    ----------
    linear_image : linear light, 0-1, known everywhere
    mm_per_pixel : how large a pixel is on the work
    distance_mm : viewing distance, mm
    space : what the three numbers of a pixel mean

    Raises
    ------
    InvalidInputError
        Not a picture of three channels, negative or unknown light, a size or distance that is not above 0.

    >>> seen_colour_from(np.full((2, 2, 3), 0.2), mm_per_pixel=1, distance_mm=3000)[0, 0].round(3).tolist()
    [0.2, 0.2, 0.2]
    """
    image = check_triples("linear_image", check_not_negative("linear_image", linear_image, "Pass linear light, 0-1."))
    if image.ndim != 3:
        raise InvalidInputError(
            f"A picture in colour must have rows, columns and three channels; got shape {image.shape}. "
            "Pass luminance alone to seen_from."
        )
    image = _check_known(image)
    to_opponent = _opponent_matrix(space)
    degrees = _degrees_per_pixel(mm_per_pixel, distance_mm)
    planes = np.moveaxis(image @ to_opponent.T, -1, 0)
    kernels = (VALUE_KERNEL, RED_GREEN_KERNEL, BLUE_YELLOW_KERNEL)
    seen = [_blurred(plane, kernel, degrees) for plane, kernel in zip(planes, kernels, strict=True)]
    return _within(np.stack(seen, axis=-1) @ np.linalg.inv(to_opponent).T, space)


def _opponent_matrix(space: RgbSpace) -> Array:
    """Rows from linear RGB; the second and third are counted from the grey of the same first."""
    rows = _OPPONENT @ np.array(space.to_xyz)
    white = rows.sum(axis=1)
    return np.asarray(rows - np.outer([0, white[1] / white[0], white[2] / white[0]], rows[0]))


def _within(linear: Array, space: RgbSpace) -> Array:
    """Colours outside 0-1, moved towards the grey of their luminance as far as needed."""
    grey = np.clip(linear @ space.luminance_weights, 0, 1)[..., None]
    away = linear - grey
    room = np.where(away > 0, 1 - grey, grey)
    share = np.divide(room, np.abs(away), out=np.ones_like(away), where=np.abs(away) > room)
    return np.asarray(np.clip(grey + share.min(axis=-1, keepdims=True) * away, 0, 1))


# --- one line --------------------------------------------------------------------------------------------------------


def _share_below(degrees: Array) -> Array:
    """How much of VALUE_KERNEL lies below an angle."""
    return np.asarray(sum(weight * (1 + _erf(degrees / (width / _FWHM))) / 2 for width, weight in VALUE_KERNEL))


def _peak(left: float, line: float, right: float, width: float) -> float:
    """The largest luminance across a line that is lighter than both neighbours."""
    places, entered, passed = _across(width)
    seen = left + (line - left) * entered - (line - right) * passed
    best = int(np.argmax(seen))
    closer = np.linspace(places[max(best - 1, 0)], places[min(best + 1, len(places) - 1)], _CLOSER)
    seen = left + (line - left) * _share_below(closer) - (line - right) * _share_below(closer - width)
    return float(min(max(seen.max(), left, right), line))


@lru_cache(maxsize=64)
def _across(width: float) -> tuple[Array, Array, Array]:
    """Places all across what a line blurs, and the share of the kernel past its left and past its right edge there."""
    narrow, wide = (fwhm / _FWHM for fwhm, _ in VALUE_KERNEL)
    steps = np.arange(-_REACH, _REACH, 1 / _STEPS_PER_WIDTH)
    parts = [edge + scale * steps for edge in (0.0, width) for scale in (narrow, wide)]
    places = np.unique(np.concatenate([*parts, [width / 2]]))
    return places, _share_below(places), _share_below(places - width)


def _erf(values: ArrayLike) -> Array:
    flat = np.asarray(values, dtype=float)
    return np.array([math.erf(value) for value in flat.ravel()]).reshape(flat.shape)


# --- pictures --------------------------------------------------------------------------------------------------------


def _blurred(image: Array, kernel: Kernel, degrees_per_pixel: float) -> Array:
    """The picture blurred by a sum of Gaussians, through its Fourier transform."""
    scales = [width / _FWHM / degrees_per_pixel for width, _ in kernel]
    margin = max(_reach(scale, max(image.shape)) for scale in scales)
    if margin == 0:
        return image.copy()
    rows, columns = (_good_size(length + 2 * margin) for length in image.shape)
    padded = np.pad(image, margin, mode="edge")
    spectrum = np.fft.rfft2(padded, (rows, columns))
    spectrum *= sum(
        weight * np.outer(_transfer(scale, margin, rows), _transfer(scale, margin, columns)[: columns // 2 + 1])
        for scale, (_, weight) in zip(scales, kernel, strict=True)
    )
    height, width = image.shape
    blurred = np.fft.irfft2(spectrum, (rows, columns))[margin : margin + height, margin : margin + width]
    return np.clip(blurred, image.min(), image.max())  # which rounding may leave


def _reach(scale: float, longest: int) -> int:
    """How many pixels a Gaussian reaches: no further than the picture is long, where all that lies beyond is even."""
    own = _own_scale(scale)
    return 0 if own == 0 else min(math.ceil(_REACH * own) + 1, longest)


def _own_scale(scale: float) -> float:
    """
    What s, in pixels, the eye adds to the pixels' own blur: one square for the picture's, one for spreading each pixel.
    """
    return math.sqrt(max(scale**2 - 2 * 2 * _PIXEL_VARIANCE, 0))  # s² is twice the variance


def _transfer(scale: float, margin: int, size: int) -> Array:
    """What a Gaussian does to each frequency of a line of pixels of that length: real, as it is symmetric."""
    own = _own_scale(scale)
    taps = np.zeros(size)
    if own == 0:
        taps[0] = 1
    else:
        below = (1 + _erf((np.arange(-margin, margin) + 0.5) / own)) / 2
        weights = np.diff(np.concatenate([[0.0], below, [1.0]]))  # the ends take all that lies beyond
        np.add.at(taps, np.arange(-margin, margin + 1) % size, weights)
    return np.asarray(np.fft.fft(taps).real)


def _good_size(length: int) -> int:
    """The next length that is a product of 2, 3 and 5, which is transformed several times faster than a prime."""
    candidate = length + length % 2
    while _without(candidate, (2, 3, 5)) != 1:
        candidate += 2
    return candidate


def _without(number: int, primes: Sequence[int]) -> int:
    for prime in primes:
        while number % prime == 0:
            number //= prime
    return number


# --- checks ----------------------------------------------------------------------------------------------------------


def _degrees_per_mm(distance_mm: float) -> float:
    """Near the point looked at: one degree spans 2 d tan ½°."""
    return float(1 / (2 * _check_distance(distance_mm) * math.tan(math.radians(0.5))))


def _degrees_per_pixel(mm_per_pixel: float, distance_mm: float) -> float:
    size = float(as_numbers("mm_per_pixel", mm_per_pixel))
    if not 0 < size < math.inf:
        raise InvalidInputError(
            f"A pixel must be larger than 0 mm on the work; got {size:g}. Divide the width of the work by its pixels."
        )
    return size * _degrees_per_mm(distance_mm)


def _check_distance(distance_mm: ArrayLike) -> Array:
    distance = as_numbers("distance_mm", distance_mm)
    if not ((distance > 0) & np.isfinite(distance)).all():
        raise InvalidInputError(
            f"A viewing distance must be above 0; got {np.min(distance):g} mm. Pass millimetres: 3 m is 3000."
        )
    return distance


def _check_known(image: Array) -> Array:
    if image.size == 0 or not np.isfinite(image).all():
        raise InvalidInputError(
            f"A picture must have pixels and be known everywhere; got {int((~np.isfinite(image)).sum())} unknown of "
            f"{image.size}. Fill what is outside the piece with what it lies on."
        )
    return image
