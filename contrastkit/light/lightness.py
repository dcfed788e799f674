"""
Encoded colour ▸ linear light ▸ luminance ▸ lightness L* ▸ Munsell value, and back.

    srgb1       encoded colour, 0-1, channels last
    linear      linear light of the three channels, 0-1
    luminance1  luminance relative to a perfect white diffuser, 0-1; a glint may exceed 1
    lightness   CIE L*, 0-100; a glint may exceed 100
    value       Munsell value, 0-10

Everything is D65 and the 2° observer. Unknown (nan) stays unknown.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from contrastkit.errors import InvalidInputError

Array = NDArray[np.float64]
Curve = Callable[[Array], Array]

# White: x = 0.3127, y = 0.3290 (IEC 61966-2-1:1999), with Y = 1.
D65_WHITE = (0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290)

# CIE 15:2004: L* is a straight line below luminance (6/29)^3, a cube root above.
_KNEE = 216 / 24389
_SLOPE = 24389 / 27
_KNEE_LIGHTNESS = 8.0  # _KNEE * _SLOPE

# IEC 61966-2-1:1999 and Amd 1:2003
_SRGB_ENCODED_KNEE = 0.04045
_SRGB_LINEAR_KNEE = 0.0031308

# ASTM D1535: luminance in per cent of the perfect diffuser is this polynomial of the Munsell value; from V^0 to V^5.
_MUNSELL_POLYNOMIAL = np.polynomial.Polynomial([0, 1.1914, -0.22533, 0.23352, -0.020484, 0.00081939])
_MUNSELL_SLOPE = _MUNSELL_POLYNOMIAL.deriv()

_ROUNDING = 1e-6  # how far arithmetic may stray beyond an end of a range before it is a mistake


@dataclass(frozen=True)
class RgbSpace:
    """
    What the three numbers of a pixel mean.

    Attributes
    ----------
    name : what the space is called
    curves : for red, green, blue: from encoded values (0-1) to linear light (0-1)
    to_xyz : rows X, Y, Z of the matrix from linear light to CIE XYZ (D65, luminance of white 1)
    """

    name: str
    curves: tuple[Curve, Curve, Curve]
    to_xyz: tuple[tuple[float, ...], ...]

    @property
    def luminance_weights(self) -> Array:
        """What each channel's linear light adds to the luminance, shape (3,)."""
        return np.array(self.to_xyz[1], dtype=float)

    def luts(self, bits: int) -> NDArray[np.float32]:
        """
        Return the linear light (0-1) of every code of each channel, shape (3, 2**bits).

        >>> SRGB.luts(8)[:, 255].tolist()
        [1.0, 1.0, 1.0]
        """
        if not 1 <= bits <= 16:
            raise InvalidInputError(f"A pixel must have 1 to 16 bits a channel; got {bits}. Pass 8 or 16.")
        encoded = np.linspace(0, 1, 2**bits)
        return np.stack([curve(encoded) for curve in self.curves]).astype(np.float32)


def _decode_srgb(encoded: Array) -> Array:
    # The power is taken of positive numbers only, whichever branch is used.
    return np.where(encoded <= _SRGB_ENCODED_KNEE, encoded / 12.92, ((np.maximum(encoded, 0) + 0.055) / 1.055) ** 2.4)


def _decode_adobe_rgb(encoded: Array) -> Array:
    return np.asarray(encoded ** (563 / 256))  # Adobe RGB (1998) Color Image Encoding, 4.3.4.2


SRGB = RgbSpace(
    "sRGB",
    (_decode_srgb, _decode_srgb, _decode_srgb),
    # IEC 61966-2-1:1999, to its four decimals
    ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505)),
)
DISPLAY_P3 = RgbSpace(
    "Display P3",
    (_decode_srgb, _decode_srgb, _decode_srgb),
    # Exact for the primaries of SMPTE EG 432-1 and D65, as worked out in W3C CSS Color Module Level 4
    (
        (608311 / 1250200, 189793 / 714400, 198249 / 1000160),
        (35783 / 156275, 247089 / 357200, 198249 / 2500400),
        (0.0, 32229 / 714400, 5220557 / 5000800),
    ),
)
ADOBE_RGB = RgbSpace(
    "Adobe RGB (1998)",
    (_decode_adobe_rgb, _decode_adobe_rgb, _decode_adobe_rgb),
    # Adobe RGB (1998) Color Image Encoding, 4.3.5.3, to its five decimals
    ((0.57667, 0.18556, 0.18823), (0.29734, 0.62736, 0.07529), (0.02703, 0.07069, 0.99134)),
)


def srgb1_to_linear(srgb1: ArrayLike) -> Array:
    """
    Return the linear light (0-1) of encoded sRGB values (0-1) of any shape.

    Raises
    ------
    InvalidInputError
        A value lies outside 0-1.

    References
    ----------
    IEC 61966-2-1:1999 and Amendment 1:2003, Default RGB colour space - sRGB.

    >>> float(round(srgb1_to_linear(0.5), 4))
    0.214
    """
    return _plain(_decode_srgb(_check_unit("srgb1", srgb1, "For 8-bit pixels divide by 255 first.")))


def linear_to_srgb1(linear: ArrayLike) -> Array:
    """
    Return the encoded sRGB values (0-1) of linear light (0-1) of any shape.

    Raises
    ------
    InvalidInputError
        A value lies outside 0-1.

    References
    ----------
    IEC 61966-2-1:1999 and Amendment 1:2003, Default RGB colour space - sRGB.

    >>> float(round(linear_to_srgb1(0.18), 4))
    0.4614
    """
    light = _check_unit("linear", linear, "Clip what is brighter than white first.")
    return _plain(np.where(light <= _SRGB_LINEAR_KNEE, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055))


def luminance(linear: ArrayLike, space: RgbSpace = SRGB) -> Array:
    """
    Return the luminance (white 1) of linear light, channels last: shape (..., 3) gives (...).

    Raises
    ------
    InvalidInputError
        The last axis is not three channels.

    >>> float(round(luminance([1, 0, 0]), 4))
    0.2126
    """
    return _plain(check_triples("linear", linear) @ space.luminance_weights)


def luminance_to_lightness(luminance1: ArrayLike) -> Array:
    """
    Return CIE lightness L* of relative luminance (perfect white diffuser 1) of any shape.

    A glint brighter than the diffuser gets more than 100.

    Raises
    ------
    InvalidInputError
        A luminance is negative.

    References
    ----------
    ISO/CIE 11664-4:2019, Colorimetry - Part 4: CIE 1976 L*a*b* colour space.

    >>> float(round(luminance_to_lightness(0.18), 2))
    49.5
    """
    relative = check_not_negative("luminance1", luminance1, "Light cannot be less than none; check the black level.")
    return _plain(np.where(relative > _KNEE, 116 * np.cbrt(relative) - 16, _SLOPE * relative))


def lightness_to_luminance(lightness: ArrayLike) -> Array:
    """
    Return relative luminance (perfect white diffuser 1) of CIE lightness L* of any shape.

    Raises
    ------
    InvalidInputError
        A lightness is negative.

    References
    ----------
    ISO/CIE 11664-4:2019, Colorimetry - Part 4: CIE 1976 L*a*b* colour space.

    >>> float(round(lightness_to_luminance(50), 4))
    0.1842
    """
    lightness = check_not_negative("lightness", lightness, "L* runs from 0 (black) to 100 (white).")
    return _plain(np.where(lightness > _KNEE_LIGHTNESS, ((lightness + 16) / 116) ** 3, lightness / _SLOPE))


def srgb1_to_lightness(srgb1: ArrayLike, space: RgbSpace = SRGB) -> Array:
    """
    Return CIE lightness L* (0-100) of encoded colours (0-1), channels last: shape (..., 3) gives (...).

    To average a surface, average its linear light first: the mean of lightness is another, darker number.

    Parameters
    ----------
    srgb1 : encoded red, green, blue, 0-1
    space : what they mean; sRGB where nothing else is known

    Raises
    ------
    InvalidInputError
        A value lies outside 0-1, or the last axis is not three channels.

    References
    ----------
    IEC 61966-2-1:1999; ISO/CIE 11664-4:2019.

    >>> float(round(srgb1_to_lightness([0.5, 0.5, 0.5]), 2))
    53.39
    """
    encoded = check_triples("srgb1", _check_unit("srgb1", srgb1, "For 8-bit pixels divide by 255 first."))
    linear = np.stack([curve(encoded[..., i]) for i, curve in enumerate(space.curves)], axis=-1)
    return luminance_to_lightness(luminance(linear, space))


def munsell_value_to_luminance(value: ArrayLike) -> Array:
    """
    Return relative luminance (perfect white diffuser 1) of Munsell values (0-10) of any shape.

    Raises
    ------
    InvalidInputError
        A value lies outside 0-10.

    References
    ----------
    ASTM D1535, Standard Practice for Specifying Color by the Munsell System.

    >>> float(round(munsell_value_to_luminance(5), 4))
    0.1927
    """
    values = as_numbers("value", value)
    _refuse_outside("value", values, 0, 10, "Munsell value runs from 0 (black) to 10 (white); for L* use lightness.")
    return _plain(_MUNSELL_POLYNOMIAL(np.clip(values, 0, 10)) / 100)


def luminance_to_munsell_value(luminance1: ArrayLike) -> Array:
    """
    Return the Munsell value (0-10) of relative luminance (perfect white diffuser 1) of any shape.

    The scale ends at the perfect diffuser: whatever is brighter gets 10.

    Raises
    ------
    InvalidInputError
        A luminance is negative.

    References
    ----------
    ASTM D1535, Standard Practice for Specifying Color by the Munsell System.

    >>> float(round(luminance_to_munsell_value(0.18), 2))
    4.85
    """
    relative = np.minimum(luminance_to_lightness(luminance1), 100)  # checks too
    return _munsell_root(100 * lightness_to_luminance(relative), relative / 10)  # L*/10 is at most 0.11 off


def _munsell_root(percent: Array, guess: Array) -> Array:
    """The value whose polynomial is this luminance in per cent, by Newton's steps: the curve is too even to stray."""
    value = guess
    for _ in range(5):  # each doubles the digits that are right, from one to more than there are
        value = value - (_MUNSELL_POLYNOMIAL(value) - percent) / _MUNSELL_SLOPE(value)
    return _plain(np.clip(value, 0, 10))


def lightness_to_munsell_value(lightness: ArrayLike) -> Array:
    """
    Return the Munsell value (0-10) of CIE lightness L* of any shape; L* above 100 gets 10.

    Roughly a tenth of L*, never more than 0.11 less.

    Raises
    ------
    InvalidInputError
        A lightness is negative.

    References
    ----------
    ASTM D1535, Standard Practice for Specifying Color by the Munsell System.

    >>> float(round(lightness_to_munsell_value(50), 2))
    4.9
    """
    return luminance_to_munsell_value(lightness_to_luminance(lightness))


def munsell_value_to_lightness(value: ArrayLike) -> Array:
    """
    Return CIE lightness L* (0-100) of Munsell values (0-10) of any shape.

    Raises
    ------
    InvalidInputError
        A value lies outside 0-10.

    References
    ----------
    ASTM D1535, Standard Practice for Specifying Color by the Munsell System.

    >>> float(round(munsell_value_to_lightness(5), 2))
    51.0
    """
    return luminance_to_lightness(munsell_value_to_luminance(value))


def xyz_to_lab(xyz: ArrayLike) -> Array:
    """
    Return CIELAB (L*, a*, b*) of CIE XYZ (D65, luminance of white 1), both of shape (..., 3).

    Raises
    ------
    InvalidInputError
        The last axis is not three numbers.

    References
    ----------
    ISO/CIE 11664-4:2019, Colorimetry - Part 4: CIE 1976 L*a*b* colour space.

    >>> [float(round(x, 2)) for x in xyz_to_lab([0.4124, 0.2126, 0.0193])]
    [53.23, 80.11, 67.22]
    """
    ratio = check_triples("xyz", xyz) / np.array(D65_WHITE)
    f = np.where(ratio > _KNEE, np.cbrt(ratio), (_SLOPE * ratio + 16) / 116)
    fx, fy, fz = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)], axis=-1)


def lab_to_xyz(lab: ArrayLike) -> Array:
    """
    Return CIE XYZ (D65, luminance of white 1) of CIELAB (L*, a*, b*), both of shape (..., 3).

    Raises
    ------
    InvalidInputError
        The last axis is not three numbers.

    References
    ----------
    ISO/CIE 11664-4:2019, Colorimetry - Part 4: CIE 1976 L*a*b* colour space.

    >>> [float(round(x, 4)) for x in lab_to_xyz([50, 0, 0])]
    [0.1751, 0.1842, 0.2006]
    """
    lab = check_triples("lab", lab)
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], axis=-1)
    ratio = np.where(f > 6 / 29, f**3, (116 * f - 16) / _SLOPE)
    return np.asarray(ratio * np.array(D65_WHITE))


def lab_to_chroma_hue(lab: ArrayLike) -> tuple[Array, Array]:
    """
    Return CIELAB chroma C*ab and hue angle (degrees, 0 to below 360) of (L*, a*, b*), shape (..., 3).

    Raises
    ------
    InvalidInputError
        The last axis is not three numbers.

    References
    ----------
    ISO/CIE 11664-4:2019, Colorimetry - Part 4: CIE 1976 L*a*b* colour space.

    >>> [float(x) for x in lab_to_chroma_hue([50, 0, -20])]
    [20.0, 270.0]
    """
    lab = check_triples("lab", lab)
    hue = np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) % 360
    return np.hypot(lab[..., 1], lab[..., 2]), _plain(np.where(hue >= 360, 0.0, hue))  # -1e-20 % 360 rounds to 360


def lightness_to_grey8(lightness: ArrayLike) -> NDArray[np.uint8]:
    """
    Return the 8-bit sRGB code (0-255) of the grey of equal lightness, of any shape; L* above 100 gets 255.

    Raises
    ------
    InvalidInputError
        A lightness is negative or unknown.

    References
    ----------
    IEC 61966-2-1:1999; ISO/CIE 11664-4:2019.

    >>> int(lightness_to_grey8(50))
    119
    """
    light = np.minimum(lightness_to_luminance(lightness), 1)
    if np.isnan(light).any():
        raise InvalidInputError("A lightness must be known to be shown as a grey; got nan. Leave unknown pieces out.")
    return np.asarray(np.rint(255 * linear_to_srgb1(light))).astype(np.uint8)


def _plain(values: Array) -> Array:
    """A number for a number, an array for an array: numpy's arrays without an axis cannot be rounded."""
    return np.asarray(values)[()]


def as_numbers(name: str, values: ArrayLike) -> Array:
    """
    Return the values as an array of floats, or refuse them by that name.

    Raises
    ------
    InvalidInputError
        A value is not a number.

    >>> as_numbers("lightness", [40, None]).tolist()
    [40.0, nan]
    """
    try:
        return np.asarray(values, dtype=float)
    except (TypeError, ValueError) as error:
        raise InvalidInputError(f"{name} must be numbers; {error}. Pass a number or an array of numbers.") from error


def _refuse_outside(name: str, values: Array, low: float, high: float, remedy: str) -> None:
    if values.size == 0:
        return
    smallest, largest = np.fmin.reduce(values, axis=None), np.fmax.reduce(values, axis=None)  # pass over nan
    span = f"must lie in {low:g}-{high:g}" if np.isfinite(high) else f"must be {low:g} or more"
    if smallest < low - _ROUNDING:
        raise InvalidInputError(f"{name} {span}; its smallest value is {smallest:g}. {remedy}")
    if largest > high + _ROUNDING:
        raise InvalidInputError(f"{name} {span}; its largest value is {largest:g}. {remedy}")


def _check_unit(name: str, values: ArrayLike, remedy: str) -> Array:
    numbers = as_numbers(name, values)
    _refuse_outside(name, numbers, 0, 1, remedy)
    return np.asarray(np.clip(numbers, 0, 1))


def check_not_negative(name: str, values: ArrayLike, remedy: str) -> Array:
    """
    Return the values as an array of floats, none below 0, or refuse them by that name and with that remedy.

    What strays below 0 by rounding (one millionth) is set to 0.

    Raises
    ------
    InvalidInputError
        A value is negative or not a number.

    >>> check_not_negative("chroma", [3, -1e-12], "Pass C*ab.").tolist()
    [3.0, 0.0]
    """
    numbers = as_numbers(name, values)
    _refuse_outside(name, numbers, 0, np.inf, remedy)
    return np.asarray(np.maximum(numbers, 0))


def check_triples(name: str, values: ArrayLike) -> Array:
    """
    Return the values as an array of floats of shape (..., 3), or refuse them by that name.

    Raises
    ------
    InvalidInputError
        The last axis is not three numbers.

    >>> check_triples("lab", [50, 0, 0]).shape
    (3,)
    """
    numbers = as_numbers(name, values)
    if numbers.shape[-1:] != (3,):
        raise InvalidInputError(
            f"{name} must have three numbers on its last axis, shape (..., 3); got shape {numbers.shape}. "
            "Pass the three together."
        )
    return numbers
