"""
Embedded colour profiles ▸ what the numbers of a pixel mean.

A profile that says "three curves and a matrix" is read exactly, so no colour is clipped or rounded on the way.
One that says it with tables in several dimensions (scanners, printers, CMYK) can only be converted, by LittleCMS.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import ADOBE_RGB, D65_WHITE, DISPLAY_P3, SRGB, Curve, RgbSpace

Array = NDArray[np.float64]

# ICC.1:2010, 7.2.16: the profile connection space is D50, as these numbers.
_D50_WHITE = np.array([0.9642, 1.0, 0.8249])
# ICC.1:2010, annex E.3: linear Bradford, from XYZ to sharpened cone signals.
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])

_KNOWN = (SRGB, DISPLAY_P3, ADOBE_RGB)
# The same primaries are written with three to five decimals and adapted by several white points: 0.001 apart at most.
_SAME_PRIMARIES = 0.003
# The same curve is written as a table, a formula or a gamma to 1/256. These bounds are worth 0.1 L* at most, and tell
# sRGB's curve from a plain gamma 2.2, which strays by 3 % in the middle.
_SAME_CURVE_SHARE, _SAME_CURVE_FLOOR = 0.004, 1e-4

_LONGEST_PART = 12 + 2 * 65_536  # bytes read of any part: a curve with a sample for each 16-bit code
# ICC.1:2010, table 65: number of parameters of each kind of parametric curve
_PARAMETERS = (1, 3, 4, 5, 7)
_PILLOW_MODES = {"RGB": "RGB", "GRAY": "L", "CMYK": "CMYK"}

# ITU-T H.273 (2021), table 2: x and y of red, green, blue; all have the white point D65
_PRIMARIES = {
    1: ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060)),
    9: ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)),
    12: ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),
}
_UNSPECIFIED = 2
_GAMMAS = {4: 2.2, 5: 2.8, 8: 1.0}
_VIDEO_CURVES = (1, 6, 14, 15)  # BT.709 and kin: stills so tagged are coded and shown with sRGB's curve


@dataclass(frozen=True)
class GammaCurve:
    """Linear light as a power of the encoded value."""

    gamma: float

    def __call__(self, encoded: Array) -> Array:
        """Return linear light (0-1) of encoded values (0-1)."""
        return np.asarray(np.asarray(encoded, dtype=float) ** self.gamma)


@dataclass(frozen=True)
class TableCurve:
    """Linear light read from evenly spaced samples (0-1), straight lines between them."""

    samples: tuple[float, ...] = field(repr=False)

    def __call__(self, encoded: Array) -> Array:
        """Return linear light (0-1) of encoded values (0-1)."""
        return np.asarray(np.interp(encoded, np.linspace(0, 1, len(self.samples)), self.samples))


@dataclass(frozen=True)
class FormulaCurve:
    """
    Linear light by formula: (a x + b)^gamma + e where x is at least d, c x + f below; kept within 0-1.

    The power of a negative number counts as 0.

    References
    ----------
    ICC.1:2010, 10.16, parametricCurveType, of which kinds 0 to 3 are special cases.
    """

    gamma: float
    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    e: float = 0.0
    f: float = 0.0

    def __call__(self, encoded: Array) -> Array:
        """Return linear light (0-1) of encoded values (0-1)."""
        x = np.asarray(encoded, dtype=float)
        with np.errstate(all="ignore"):  # both branches are computed everywhere; what is not finite is refused
            power = np.maximum(self.a * x + self.b, 0) ** self.gamma + self.e
            return np.asarray(np.clip(np.where(x >= self.d, power, self.c * x + self.f), 0, 1))


def _matrix(corners: tuple[tuple[float, float], ...]) -> tuple[tuple[float, ...], ...]:
    # columns XYZ of the primaries, scaled so that they add up to white (SMPTE RP 177-1993)
    xyz = np.array([[x / y, 1, (1 - x - y) / y] for x, y in corners]).T
    scale = np.linalg.solve(xyz, np.array(D65_WHITE))
    return _rows(xyz * scale)


def _rows(matrix: Array) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(float(number) for number in row) for row in matrix)


# Wide enough that no paint is clipped, and without a curve: what camera RAW is developed to (ITU-R BT.2020-2).
LINEAR_BT2020 = RgbSpace("linear BT.2020", (GammaCurve(1.0), GammaCurve(1.0), GammaCurve(1.0)), _matrix(_PRIMARIES[9]))


@dataclass(frozen=True)
class Profile:
    """
    What an embedded colour profile says.

    Attributes
    ----------
    name : what it calls itself, cleaned for showing
    pixels : what pixels it is for: "RGB", "GRAY", "CMYK", or another colour space's four letters
    space : what the numbers mean; None where it hangs on tables and the pixels must be converted
    data : the profile itself
    """

    name: str
    pixels: str
    space: RgbSpace | None
    data: bytes = field(repr=False)


def read_profile(data: bytes) -> Profile:
    """
    Return what an ICC colour profile says.

    sRGB, Display P3 and Adobe RGB are recognised by their primaries and curves, whatever they are called. Any other
    profile of curves and a matrix becomes a space of its own: its primaries are adapted from D50 to D65 (linear
    Bradford) and scaled so that the luminance of white is 1. A greyscale profile gives three equal curves.

    Raises
    ------
    InvalidInputError
        The bytes are not a whole, usable profile.

    References
    ----------
    ICC.1:2010 (profile version 4.3.0.0), Image technology colour management - Architecture, profile format, and data
    structure. International Color Consortium.

    Examples
    --------
    >>> read_profile(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()).space.name
    'sRGB'
    """
    if len(data) < 132 or data[36:40] != b"acsp" or int.from_bytes(data[:4]) > len(data):
        raise InvalidInputError("A colour profile must be whole; this one is not. Leave it out.")
    tags = _tags(data)
    name = _description(tags.get(b"desc", b""))
    pixels = data[16:20].decode("latin-1").strip()
    if data[12:16] not in (b"scnr", b"mntr", b"prtr", b"spac") or not pixels.isalnum():
        raise InvalidInputError("A colour profile must describe a device or a space; this one does not. Leave it out.")
    return Profile(name, pixels, _space(tags, name, pixels, data[20:24]), data)


def converter_to_srgb(profile: Profile) -> Callable[[Image.Image], Image.Image]:
    """
    Return a function that converts Pillow images of the profile's pixels to 8-bit sRGB.

    Relative colorimetric, no black-point compensation: white stays white, and a lightness stays what it is wherever
    sRGB can show the colour.

    Raises
    ------
    InvalidInputError
        LittleCMS cannot use the profile.
    """
    try:
        transform = ImageCms.buildTransform(
            ImageCms.ImageCmsProfile(BytesIO(profile.data)),
            ImageCms.createProfile("sRGB"),
            _PILLOW_MODES[profile.pixels],
            "RGB",
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        )
    except (ImageCms.PyCMSError, OSError, KeyError, TypeError, ValueError) as error:
        raise InvalidInputError("A colour profile must be usable by LittleCMS; this one is not.") from error
    return lambda image: _converted(image, transform)


def space_of_code_points(primaries: int, transfer: int) -> RgbSpace | None:
    """
    Return the space of ITU-T H.273 code points (HEIC "nclx", PNG "cICP"); None where they are not for stills.

    Unspecified counts as sRGB. The HDR transfer functions PQ and HLG give None: their codes stand for light beyond
    paper white.

    References
    ----------
    ITU-T H.273 (2021), Coding-independent code points for video signal type identification.

    Examples
    --------
    >>> space_of_code_points(12, 13).name
    'Display P3'
    """
    corners = _PRIMARIES.get(1 if primaries == _UNSPECIFIED else primaries)
    curve: Curve | None = SRGB.curves[0] if transfer in (13, _UNSPECIFIED, *_VIDEO_CURVES) else None
    curve = GammaCurve(_GAMMAS[transfer]) if transfer in _GAMMAS else curve
    if corners is None or curve is None:
        return None
    return _recognised(RgbSpace(f"primaries {primaries}, curve {transfer}", (curve, curve, curve), _matrix(corners)))


def _converted(image: Image.Image, transform: ImageCms.ImageCmsTransform) -> Image.Image:
    converted = ImageCms.applyTransform(image, transform)
    if converted is None:
        raise InvalidInputError("A colour profile must be usable by LittleCMS; this one is not.")
    return converted


# --- the profile's tags ---------------------------------------------------------------------------------------------


def _tags(data: bytes) -> dict[bytes, bytes]:
    # parts may share bytes: two hundred of them could each claim all of a large profile and fill memory
    count = int.from_bytes(data[128:132])
    if not 0 < count <= 200 or 132 + 12 * count > len(data):
        raise InvalidInputError("A colour profile must list its parts; this one's list is damaged. Leave it out.")
    tags = {}
    for name, start, size in struct.iter_unpack(">4sLL", data[132 : 132 + 12 * count]):
        if start + size > len(data):
            raise InvalidInputError("A colour profile must be whole; this one breaks off. Leave it out.")
        tags[name] = data[start : start + min(size, _LONGEST_PART)]
    return tags


def _description(tag: bytes) -> str:
    # 'desc' of version 2: length, then ASCII; 'mluc' of version 4: records of UTF-16, of which the first will do
    if tag.startswith(b"mluc") and len(tag) >= 28:
        size, start = struct.unpack_from(">LL", tag, 20)
        text = tag[start : start + size].decode("utf-16-be", "replace")
    else:
        text = tag[12 : 12 + int.from_bytes(tag[8:12])].decode("ascii", "replace")
    shown = "".join(letter for letter in text if letter.isprintable() and letter != "\ufffd").strip()
    return shown[:60] or "unnamed"


def _space(tags: dict[bytes, bytes], name: str, pixels: str, connection: bytes) -> RgbSpace | None:
    # ICC.1:2010, 8.3: tables, where there are any, go before curves and matrix
    if any(tag[:3] in (b"A2B", b"D2B") for tag in tags):
        return None
    if pixels == "GRAY" and b"kTRC" in tags:
        curve = _curve(tags[b"kTRC"])
        return _recognised(RgbSpace(name, (curve, curve, curve), SRGB.to_xyz))
    needed = (b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC")
    if pixels != "RGB" or connection != b"XYZ " or any(tag not in tags for tag in needed):
        return None
    colorants = np.array([_colorant(tags[tag]) for tag in needed[:3]]).T
    red, green, blue = (_curve(tags[tag]) for tag in needed[3:])
    return _recognised(RgbSpace(name, (red, green, blue), _adapted(colorants)))


def _colorant(tag: bytes) -> Array:
    if tag[:4] != b"XYZ " or len(tag) < 20:
        raise InvalidInputError("A colour profile's primaries must be XYZ numbers; these are not. Leave it out.")
    return np.array(struct.unpack_from(">3l", tag, 8)) / 65536  # s15Fixed16Number


def _adapted(colorants: Array) -> tuple[tuple[float, ...], ...]:
    """The matrix to XYZ of D65 with luminance of white 1, from columns of primaries relative to D50."""
    white = float(colorants[1].sum())
    if not 0.9 < white < 1.1 or abs(np.linalg.det(colorants)) < 1e-4:
        raise InvalidInputError("A colour profile's primaries must add up to white; these do not. Leave it out.")
    gains = (_BRADFORD @ np.array(D65_WHITE)) / (_BRADFORD @ _D50_WHITE)
    matrix = np.linalg.inv(_BRADFORD) @ np.diag(gains) @ _BRADFORD @ colorants
    return _rows(matrix / matrix[1].sum())


def _curve(tag: bytes) -> Curve:
    curve = {b"curv": _listed_curve, b"para": _formula_curve}.get(tag[:4], _no_curve)(tag)
    light = curve(np.linspace(0, 1, 1024))
    if not np.isfinite(light).all() or (np.diff(light) < 0).any() or light[-1] - light[0] < 0.5:
        raise InvalidInputError("A colour profile's curves must rise from black to white; these do not. Leave it out.")
    return curve


def _no_curve(tag: bytes) -> Curve:
    raise InvalidInputError("A colour profile's curves must be of a known kind; these are not. Leave it out.")


def _listed_curve(tag: bytes) -> Curve:
    count = int.from_bytes(tag[8:12])
    if len(tag) < 12 + 2 * count:
        raise InvalidInputError("A colour profile's curves must be whole; these break off. Leave it out.")
    samples = struct.unpack_from(f">{count}H", tag, 12)
    if count < 2:  # none: the straight line; one: a gamma as u8Fixed8Number
        return GammaCurve(samples[0] / 256 if samples else 1.0)
    return TableCurve(tuple(sample / 65535 for sample in samples))


def _formula_curve(tag: bytes) -> Curve:
    kind = int.from_bytes(tag[8:10])
    if kind >= len(_PARAMETERS) or len(tag) < 12 + 4 * _PARAMETERS[kind]:
        return _no_curve(tag)
    p = [number / 65536 for number in struct.unpack_from(f">{_PARAMETERS[kind]}l", tag, 12)]
    if kind == 0:
        return GammaCurve(p[0])
    if kind in (1, 2):  # below x = -b/a the power is of nothing, and only the constant of kind 2 is left
        return FormulaCurve(p[0], p[1], p[2], e=p[3] if kind == 2 else 0.0)
    return FormulaCurve(*p)


def _recognised(space: RgbSpace) -> RgbSpace:
    """The well-known space this one is, to within the rounding profiles are written with; else itself."""
    return next((known for known in _KNOWN if _same(space, known)), space)


def _same(space: RgbSpace, known: RgbSpace) -> bool:
    if np.abs(np.array(space.to_xyz) - np.array(known.to_xyz)).max() > _SAME_PRIMARIES:
        return False
    light, expected = space.luts(8), known.luts(8)
    return bool((np.abs(light - expected) <= _SAME_CURVE_FLOOR + _SAME_CURVE_SHARE * expected).all())
