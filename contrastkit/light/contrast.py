"""
How far apart two neighbours are: by lightness first, then by the yardsticks of access codes, then by colour.

The step in lightness is the one that counts when laying swatch on swatch. The others are for comparing with what
building and screen rules ask for, and CIEDE2000 is for telling whether two pieces match, not whether they separate.
Luminance is relative to a perfect white diffuser (1); unknown (nan) stays unknown; pairs broadcast.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import as_numbers, check_not_negative, check_triples, luminance_to_lightness

Array = NDArray[np.float64]

_POINTS = 100  # light reflectance values and Bowman-Sapolinski count luminance in per cent
_SCREEN_FLARE = 0.05  # W3C WCAG 2.x: light the room adds to a screen
_REMEDY = "Light cannot be less than none; check the black level."
_ROUNDING = 1e-9  # 0.7 - 0.4 falls just short of 0.3


@dataclass(frozen=True)
class AccessYardsticks:
    """
    What access codes measure between two surfaces, and whether it is enough for them.

    Attributes
    ----------
    lightness_step : difference in L*, never negative
    reflectance_points : difference in light reflectance value, points (0-100)
    bowman_sapolinski : luminance contrast of AS 1428.1, per cent
    michelson : luminance contrast of DIN 32975, 0-1
    weber : difference as a share of the lighter surface, 0-1
    w3c_ratio : contrast ratio of W3C WCAG 2.x, 1-21
    lighter_luminance1 : relative luminance of the lighter surface (white 1)
    """

    lightness_step: float
    reflectance_points: float
    bowman_sapolinski: float
    michelson: float
    weber: float
    w3c_ratio: float
    lighter_luminance1: float

    @property
    def meets_bs_8300(self) -> bool:
        """Whether the two differ by 30 points of light reflectance value (BS 8300-2:2018, Annex B)."""
        return self.reflectance_points >= 30 - _ROUNDING

    @property
    def meets_bs_8300_large_or_bright(self) -> bool:
        """Whether they differ by 20 points, which may do for large areas or above 200 lx (BS 8300-2:2018, Annex B)."""
        return self.reflectance_points >= 20 - _ROUNDING

    @property
    def meets_as_1428(self) -> bool:
        """Whether the luminance contrast reaches 30 %, as for doorways and stair nosings (AS 1428.1:2009)."""
        return self.bowman_sapolinski >= 30 - _ROUNDING

    @property
    def meets_din_32975_orientation(self) -> bool:
        """Whether contrast is 0.4 and the lighter surface reflects half the light (DIN 32975, to find one's way)."""
        return self._meets_din(0.4)

    @property
    def meets_din_32975_safety(self) -> bool:
        """Whether contrast is 0.7 and the lighter surface reflects half the light (DIN 32975, warnings and text)."""
        return self._meets_din(0.7)

    def _meets_din(self, michelson: float) -> bool:
        return self.michelson >= michelson - _ROUNDING and self.lighter_luminance1 >= 0.5 - _ROUNDING


def lightness_difference(lightness_a: ArrayLike, lightness_b: ArrayLike) -> Array:
    """
    Return the difference in CIE lightness L*, first minus second: positive where the first is lighter.

    References
    ----------
    ISO/CIE 11664-4:2019, Colorimetry - Part 4: CIE 1976 L*a*b* colour space.

    >>> float(lightness_difference(80, 35))
    45.0
    """
    return np.asarray(np.subtract(as_numbers("lightness", lightness_a), as_numbers("lightness", lightness_b)))[()]


def weber_to_lighter(luminance1_a: ArrayLike, luminance1_b: ArrayLike) -> Array:
    """
    Return the difference in luminance as a share (0-1) of the lighter of the two, as building codes count it.

    Two surfaces without any light differ by 0.

    References
    ----------
    CIE S 017:2020, International Lighting Vocabulary, 17-22-091 luminance contrast.

    >>> float(weber_to_lighter(0.18, 0.36))
    0.5
    """
    low, high = _low_high(luminance1_a, luminance1_b)
    return _share(high - low, high)


def weber_to_background(luminance1: ArrayLike, luminance1_background: ArrayLike) -> Array:
    """
    Return how much lighter a piece is than its background, as a share of the background: -1 to no limit.

    Negative where the piece is the darker one. On a background without any light it is infinite, or 0 for
    a piece without light too.

    References
    ----------
    CIE S 017:2020, International Lighting Vocabulary, 17-22-091 luminance contrast.

    >>> float(weber_to_background(0.36, 0.18))
    1.0
    """
    piece = check_not_negative("luminance1", luminance1, _REMEDY)
    background = check_not_negative("luminance1_background", luminance1_background, _REMEDY)
    return _share(piece - background, background)


def michelson(luminance1_a: ArrayLike, luminance1_b: ArrayLike) -> Array:
    """
    Return the Michelson contrast (0-1): the difference in luminance over the sum.

    Two surfaces without any light have none.

    References
    ----------
    A. A. Michelson, Studies in Optics, University of Chicago Press, 1927. DIN 32975:2009 asks 0.4, for safety 0.7.

    >>> float(round(michelson(0.18, 0.36), 4))
    0.3333
    """
    low, high = _low_high(luminance1_a, luminance1_b)
    return _share(high - low, high + low)


def w3c_ratio(luminance1_a: ArrayLike, luminance1_b: ArrayLike) -> Array:
    """
    Return the W3C WCAG 2.x contrast ratio (1-21) of relative luminances.

    Made for text on a glowing screen with 5 % of stray light; it overrates pairs of darks. For reports only.

    References
    ----------
    W3C, Web Content Accessibility Guidelines (WCAG) 2.2, 2023: contrast ratio, relative luminance.

    >>> float(round(w3c_ratio(1, 0), 6))
    21.0
    """
    low, high = _low_high(luminance1_a, luminance1_b)
    return np.asarray((high + _SCREEN_FLARE) / (low + _SCREEN_FLARE))[()]


def reflectance_difference(luminance1_a: ArrayLike, luminance1_b: ArrayLike) -> Array:
    """
    Return the difference in light reflectance value, in points (0-100).

    Light reflectance values are measured for the 10° observer, relative luminance here is for the 2° observer:
    vivid blues and yellows differ by up to two points of lightness between the two.

    References
    ----------
    BS 8300-2:2018, Design of an accessible and inclusive built environment - Part 2: Buildings, Annex B.

    >>> float(round(reflectance_difference(0.2, 0.55), 6))
    35.0
    """
    low, high = _low_high(luminance1_a, luminance1_b)
    return np.asarray(_POINTS * (high - low))[()]


def bowman_sapolinski(luminance1_a: ArrayLike, luminance1_b: ArrayLike) -> Array:
    """
    Return the Bowman-Sapolinski luminance contrast in per cent.

    The most even of the access yardsticks: 30 % is a step of 18 to 22 L* above any darker surface from L* 20 to 70.

    References
    ----------
    AS 1428.1:2009, Design for access and mobility, Part 1, Appendix B: C = 125 (Y2 - Y1) / (Y1 + Y2 + 25).

    >>> float(round(bowman_sapolinski(0.20, 0.41), 1))
    30.5
    """
    low, high = _low_high(luminance1_a, luminance1_b)
    return np.asarray(125 * _POINTS * (high - low) / (_POINTS * (low + high) + 25))[()]


def access_yardsticks(luminance1_a: float, luminance1_b: float) -> AccessYardsticks:
    """
    Return what access codes measure between two surfaces of these relative luminances (white 1).

    Raises
    ------
    InvalidInputError
        A luminance is negative, unknown or not one number.

    >>> access_yardsticks(0.05, 0.6).meets_bs_8300
    True
    """
    low, high = (float(x) for x in _low_high(_one_known(luminance1_a), _one_known(luminance1_b)))
    return AccessYardsticks(
        lightness_step=float(luminance_to_lightness(high) - luminance_to_lightness(low)),
        reflectance_points=float(reflectance_difference(low, high)),
        bowman_sapolinski=float(bowman_sapolinski(low, high)),
        michelson=float(michelson(low, high)),
        weber=float(weber_to_lighter(low, high)),
        w3c_ratio=float(w3c_ratio(low, high)),
        lighter_luminance1=high,
    )


def ciede2000(lab_a: ArrayLike, lab_b: ArrayLike) -> Array:
    """
    Return the CIEDE2000 colour difference of CIELAB colours, shapes (..., 3), with kL = kC = kH = 1.

    For matching colours and finding duplicates. Not a measure of value contrast: a red and a green
    of equal lightness are 66 apart, and they merge.

    Raises
    ------
    InvalidInputError
        The last axis is not three numbers.

    References
    ----------
    G. Sharma, W. Wu and E. N. Dalal, The CIEDE2000 color-difference formula: implementation notes, supplementary
    test data, and mathematical observations, Color Research and Application 30(1), 21-30, 2005. The numbers in
    brackets in the code are its equations.

    >>> float(round(ciede2000([50, 2.6772, -79.7751], [50, 0, -82.7485]), 4))
    2.0425
    """
    lab_a, lab_b = np.broadcast_arrays(check_triples("lab_a", lab_a), check_triples("lab_b", lab_b))
    chroma_a, hue_a, chroma_b, hue_b = _adjusted_chroma_hue(lab_a, lab_b)
    lightness = (lab_a[..., 0] + lab_b[..., 0]) / 2  # (12)
    chroma = (chroma_a + chroma_b) / 2  # (13)
    hue_step, hue = _hue_step_and_mean(chroma_a * chroma_b, hue_a, hue_b)
    hue_difference = 2 * np.sqrt(chroma_a * chroma_b) * np.sin(np.radians(hue_step) / 2)  # (11)

    to_middle = (lightness - 50) ** 2
    in_lightness = (lab_b[..., 0] - lab_a[..., 0]) / (1 + 0.015 * to_middle / np.sqrt(20 + to_middle))  # (8) (18)
    in_chroma = (chroma_b - chroma_a) / (1 + 0.045 * chroma)  # (9) (19)
    in_hue = hue_difference / (1 + 0.015 * chroma * _hue_weight(hue))  # (20)
    squares = in_lightness**2 + in_chroma**2 + in_hue**2 + _blue_turn(chroma, hue) * in_chroma * in_hue  # (22)
    return np.asarray(np.sqrt(squares))[()]


def _adjusted_chroma_hue(lab_a: Array, lab_b: Array) -> tuple[Array, Array, Array, Array]:
    """Chroma and hue (degrees) of both colours, with a* stretched near grey: equations (2) to (7)."""
    mean = (np.hypot(lab_a[..., 1], lab_a[..., 2]) + np.hypot(lab_b[..., 1], lab_b[..., 2])) / 2
    stretch = 1.5 - 0.5 * _chroma_share(mean)
    parts: list[Array] = []
    for lab in (lab_a, lab_b):
        a = stretch * lab[..., 1]
        parts += [np.hypot(a, lab[..., 2]), np.degrees(np.arctan2(lab[..., 2], a)) % 360]
    return parts[0], parts[1], parts[2], parts[3]


def _chroma_share(chroma: Array) -> Array:
    return np.asarray(np.sqrt(chroma**7 / (chroma**7 + 25.0**7)))


def _hue_step_and_mean(product: Array, hue_a: Array, hue_b: Array) -> tuple[Array, Array]:
    """The shorter way round from one hue to the other (10), and the hue half-way along it (14); greys have no hue."""
    step = hue_b - hue_a
    grey = product == 0
    far = np.abs(step) > 180
    shorter = np.where(far, step - 360 * np.sign(step), step)
    total = hue_a + hue_b
    mean = np.where(far, np.where(total < 360, total + 360, total - 360), total) / 2
    return np.where(grey, 0, shorter), np.where(grey, total, mean)


def _hue_weight(hue: Array) -> Array:
    """Equation (15)."""
    cosines = (-0.17 * np.cos(np.radians(hue - 30)), 0.24 * np.cos(np.radians(2 * hue)),
               0.32 * np.cos(np.radians(3 * hue + 6)), -0.20 * np.cos(np.radians(4 * hue - 63)))
    return np.asarray(1 + sum(cosines))


def _blue_turn(chroma: Array, hue: Array) -> Array:
    """How far the ellipses of equal difference lean in the blues: equations (16), (17) and (21)."""
    angle = 30 * np.exp(-(((hue - 275) / 25) ** 2))
    return np.asarray(-2 * _chroma_share(chroma) * np.sin(np.radians(2 * angle)))


def _low_high(luminance1_a: ArrayLike, luminance1_b: ArrayLike) -> tuple[Array, Array]:
    a = check_not_negative("luminance1_a", luminance1_a, _REMEDY)
    b = check_not_negative("luminance1_b", luminance1_b, _REMEDY)
    return np.minimum(a, b), np.maximum(a, b)


def _one_known(luminance1: float) -> float:
    numbers = as_numbers("luminance1", luminance1)
    if numbers.size != 1 or np.isnan(numbers).any():
        raise InvalidInputError(
            f"Access codes compare one known luminance with another; got {luminance1!r}. "
            "Pass two numbers, or use the single measures for arrays."
        )
    return float(numbers.reshape(()))


def _share(part: Array, whole: Array) -> Array:
    """part / whole, where nothing of nothing is 0 and something of nothing is infinite."""
    nothing = whole == 0
    ratio = part / np.where(nothing, 1, whole)
    return np.where(nothing & (part != 0), np.inf, ratio)[()]
