"""
How much lighter a vivid colour looks than its lightness says (the Helmholtz-Kohlrausch effect).

A grey photograph shows L*; the eye sees a strong red or blue as lighter than the grey beside it. The published
formulas differ by a factor of two to three, and so do people: the answer here is always a range.
Edges between pieces follow L*, so judge separation by L* and use this for "which one looks lighter".
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from contrastkit.light.lightness import as_numbers, check_not_negative

Array = NDArray[np.float64]

STEP = 10.0  # one step of a value scale in L*: one Munsell value, near enough

_WORTH_SAYING = 0.75  # of a step: less is within what people disagree about
_STEPS_IN_WORDS = ("one step", "two steps", "three steps", "four steps", "five steps")


def apparent_lightness_fairchild(lightness: ArrayLike, chroma: ArrayLike, hue_angle: ArrayLike) -> Array:
    """
    Return L**, the lightness a colour appears to have, after Fairchild and Pirrotta.

    Parameters
    ----------
    lightness : CIE L*, 0-100
    chroma : CIELAB C*ab, 0 or more
    hue_angle : CIELAB hue, degrees, any turn

    Notes
    -----
    The effect shrinks to nothing at L* 100; beyond (glints) it is taken as nothing.

    Raises
    ------
    InvalidInputError
        A lightness or chroma is negative.

    References
    ----------
    M. D. Fairchild and E. Pirrotta, Predicting the lightness of chromatic object colors using CIELAB,
    Color Research and Application 16(6), 385-393, 1991.

    >>> float(round(apparent_lightness_fairchild(50, 50, 270), 4))
    62.5625
    """
    lightness, chroma, hue = _checked(lightness, chroma, hue_angle)
    return np.asarray(lightness + _fairchild_shift(lightness, chroma, hue))[()]


def apparent_lightness_high(lightness: ArrayLike, chroma: ArrayLike, hue_angle: ArrayLike) -> Array:
    """
    Return L*EAL, the equivalent achromatic lightness of a colour, after High, Green and Nussbaum.

    Parameters
    ----------
    lightness : CIE L*, 0-100
    chroma : CIELAB C*ab, 0 or more
    hue_angle : CIELAB hue, degrees, any turn

    Notes
    -----
    It may exceed 100, and steps by 0.006 C*ab at 90° and 270°, where the part for reds begins.

    Raises
    ------
    InvalidInputError
        A lightness or chroma is negative.

    References
    ----------
    G. High, P. Green and P. Nussbaum, The Helmholtz-Kohlrausch effect on display-based light colours and simulated
    substrate colours, Color Research and Application 48(2), 167-177, 2023, doi 10.1002/col.22839.

    >>> float(round(apparent_lightness_high(50, 50, 0), 4))
    65.6624
    """
    lightness, chroma, hue = _checked(lightness, chroma, hue_angle)
    return np.asarray(lightness + _high_shift(chroma, hue))[()]


def apparent_range(lightness: ArrayLike, chroma: ArrayLike, hue_angle: ArrayLike) -> tuple[Array, Array]:
    """
    Return the lower and upper end of how light a colour is likely to look, in L*.

    The two formulas are at the strong end of what is published and the weakest give about half as much, so the
    lower end is L* plus half the smaller of their two shifts, the upper end L* plus the larger.
    A grey looks as light as it is: both ends are its L*.

    Parameters
    ----------
    lightness : CIE L*, 0-100
    chroma : CIELAB C*ab, 0 or more
    hue_angle : CIELAB hue, degrees, any turn

    Raises
    ------
    InvalidInputError
        A lightness or chroma is negative.

    References
    ----------
    As `apparent_lightness_fairchild` and `apparent_lightness_high`.

    >>> low, high = apparent_range(50, 50, 270)
    >>> float(round(low, 2)), float(round(high, 2))
    (55.77, 62.56)
    """
    lightness, chroma, hue = _checked(lightness, chroma, hue_angle)
    shifts = _fairchild_shift(lightness, chroma, hue), _high_shift(chroma, hue)
    return np.asarray(lightness + np.minimum(*shifts) / 2)[()], np.asarray(lightness + np.maximum(*shifts))[()]


def vivid_sentence(lightness: float, chroma: float, hue_angle: float) -> str:
    """
    Return a sentence if the colour looks about a step (10 L*) or more lighter than it measures, else ''.

    About a step is three quarters of one, in the middle of the range of `apparent_range`.

    Raises
    ------
    InvalidInputError
        A lightness or chroma is negative.

    >>> vivid_sentence(41, 57, 27)
    'Vivid: looks about one step lighter than a grey photograph shows it (L* 41 looks like 47 to 56).'
    >>> vivid_sentence(41, 5, 27)
    ''
    """
    low, high = (float(end) for end in apparent_range(lightness, chroma, hue_angle))
    steps = ((low + high) / 2 - lightness) / STEP
    if not steps >= _WORTH_SAYING:  # nan included
        return ""
    whole = max(int(steps + 0.5), 1)
    words = _STEPS_IN_WORDS[whole - 1] if whole <= len(_STEPS_IN_WORDS) else f"{whole} steps"
    return (
        f"Vivid: looks about {words} lighter than a grey photograph shows it "
        f"(L* {lightness:.0f} looks like {low:.0f} to {high:.0f})."
    )


def _fairchild_shift(lightness: Array, chroma: Array, hue: Array) -> Array:
    strength = np.maximum(2.5 - 0.025 * lightness, 0)
    return np.asarray(strength * (0.116 * _away_from_yellow(hue) + 0.085) * chroma)


def _high_shift(chroma: Array, hue: Array) -> Array:
    turned = hue % 360
    for_reds = np.where((turned <= 90) | (turned >= 270), 0.1307 * np.abs(np.cos(np.radians(turned))) + 0.0060, 0)
    return np.asarray((0.1644 * _away_from_yellow(hue) + 0.0603 + for_reds) * chroma)


def _away_from_yellow(hue: Array) -> Array:
    """0 at hue 90° (yellow), 1 at 270° (blue)."""
    return np.asarray(np.abs(np.sin(np.radians((hue - 90) / 2))))


def _checked(lightness: ArrayLike, chroma: ArrayLike, hue_angle: ArrayLike) -> tuple[Array, Array, Array]:
    remedy = "Pass L*, C*ab and the hue angle in degrees, in that order."
    return (
        check_not_negative("lightness", lightness, remedy),
        check_not_negative("chroma", chroma, remedy),
        as_numbers("hue_angle", hue_angle),
    )
