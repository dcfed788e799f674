"""
Viewing films: how light colours look through a sheet of red or green film, which hides their hue.

Quilters and painters hold a red film before the eye so that colour does not distract from value. It does hide hue, but
it does not show value: through red film only red light arrives, so what is red looks light and what is green or blue
looks dark, whatever its lightness is. A green film is nearer the truth, since the eye sees most by green light, and
makes reds dark.

How it is worked out
--------------------
The lightness of a thing through a film is L* of the light that the film lets through, as the eye weighs it, relative to
the light that a white thing sends through the same film: the eye takes the film's white for white. Films differ; these
stand for a red and a green one of usual strength [design choice]:

    red     lets through 0.9 / (1 + exp((600 - wavelength) / 6)), wavelengths in nm: half of it at 600 nm
    green   lets through a bell of height 0.6, its middle at 530 nm and 70 nm wide at half its height

A photograph knows three numbers of a colour where a film needs its spectrum. So six weights on linear sRGB red, green,
blue and the square roots of their products two by two, with a sum of 1, were fitted on the 99 colour evaluation samples
of CIE 224:2017 under D65 (2°, 5 nm from 380 to 780 nm), each sample counting by the slope of CIELAB's f at its own
place. Twice the light gives twice the light, and greys stay as they are. `tests/test_films.py` makes them again from
the spectra.

How far they are off in L*, root mean square and largest: red 1.9 and 5.9 on the 24-patch chart, 2.2 and 8.4 on 187
measured paints and things, none of which the fit has seen, where L* through the film is 13 and 15 from L* without it;
green 0.7 and 3.0, 0.8 and 3.2, of 5 and 7. Films 10 nm to either side add 1.9 and 1.3 for those paints. Together that
is each film's `sigma`.

References
----------
ISO/CIE 11664-4:2019, Colorimetry - Part 4: CIE 1976 L*a*b* colour space.
CIE 224:2017, Colour fidelity index for accurate scientific use: the samples.
G. D. Finlayson, M. Mackiewicz and A. Hurlbert, Color correction using root-polynomial regression, IEEE Transactions on
Image Processing 24(5), 1460-1470, 2015: roots of products, which follow the light.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import SRGB, check_triples, lab_to_xyz, luminance_to_lightness

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Film:
    """
    A viewing film.

    Attributes
    ----------
    weights : of red, green, blue, √(red green), √(red blue), √(green blue), linear sRGB
    sigma : standard uncertainty of L* through it, for all that three numbers and other films of its kind leave open
    """

    weights: tuple[float, float, float, float, float, float]
    sigma: float


FILMS = {
    "red": Film((0.8856, 0.3801, 0.1701, -0.2816, 0.0235, -0.1777), 2.8),
    "green": Film((0.0246, 1.0141, 0.0746, -0.0727, 0.0721, -0.1127), 1.6),
}


def film_named(film: str) -> Film:
    """
    Return the film of that name.

    Raises
    ------
    InvalidInputError
        It is none of ours.

    >>> film_named("green").sigma
    1.6
    """
    if film not in FILMS:
        raise InvalidInputError(f"A film must be one of {', '.join(FILMS)}; got {film!r}. Pick one of these.")
    return FILMS[film]


def luminance_through(linear: ArrayLike, film: str) -> Array:
    """
    Return how much light comes through a film, relative to what a white thing sends through it.

    Parameters
    ----------
    linear : linear sRGB as by daylight, white 1, shape (..., 3); below 0 where a colour lies outside sRGB
    film : "red" or "green"

    Returns
    -------
    ndarray of float, shape (...)
        0 or more; unknown stays unknown.

    Raises
    ------
    InvalidInputError
        No film of ours, or not three channels.

    >>> [float(luminance_through([0.5, 0.1, 0.1], film).round(2)) for film in ("red", "green")]
    [0.42, 0.11]
    """
    weights = np.array(film_named(film).weights)
    light = check_triples("linear", linear)
    known = np.maximum(light, 0)
    roots = np.sqrt(known[..., (0, 0, 1)] * known[..., (1, 2, 2)])
    return np.asarray(np.maximum(light @ weights[:3] + roots @ weights[3:], 0))


def lightness_through(lab: ArrayLike, film: str) -> Array:
    """
    Return the L* that a colour has through a film, to an eye that takes the film's white for white.

    Parameters
    ----------
    lab : CIELAB (D65), shape (..., 3)
    film : "red" or "green"

    Returns
    -------
    ndarray of float, shape (...)
        L*; the film's `sigma` says how sure. Unknown stays unknown.

    Raises
    ------
    InvalidInputError
        No film of ours, or not three numbers.

    >>> lightness_through([[40.7, 50, 27], [40.7, -30, 20]], "red").round().tolist()  # a red and a green of one L*
    [66.0, 29.0]
    """
    linear = lab_to_xyz(lab) @ np.linalg.inv(np.array(SRGB.to_xyz)).T
    return np.asarray(luminance_to_lightness(luminance_through(linear, film)))
