"""
Lengths: read the way people write them, kept as exact millimetres, written the way cutting mats are marked.

An inch is exactly 127/5 mm (International yard and pound agreement, 1959), so nothing is lost between the two.
"""

from __future__ import annotations

import math
import re
import unicodedata
from fractions import Fraction
from numbers import Rational, Real

from contrastkit.errors import InvalidInputError

MM_PER_INCH = Fraction(127, 5)
UNITS = ("mm", "in")
"""The units lengths are written in."""
LONGEST = Fraction(1_000_000)
"""No length here is longer than a kilometre: a figure beyond it has a slip in it."""

_MM_PER_UNIT = {
    "mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000),
    "in": MM_PER_INCH, "ft": 12 * MM_PER_INCH, "yd": 36 * MM_PER_INCH,
}
_SPELLINGS = {
    "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
    "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "inch": "in", "inches": "in", '"': "in", "''": "in", "foot": "ft", "feet": "ft", "yard": "yd", "yards": "yd",
}
_LONGEST_TEXT = 60
_NUMBER = re.compile(
    r"(?P<sign>[+-]?)(?:(?P<whole>\d+)(?:\s+|\s*-\s*))?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)"
    r"|(?P<decimal_sign>[+-]?)(?P<decimal>\d+\.?\d*|\.\d+)",
    re.ASCII,
)
_LENGTH = re.compile(r"(?P<number>[+\-]?[\d.][\d\s./\-]*?)\s*(?P<unit>[^\d\s.,/+\-][^\d,/+\-]*)?", re.ASCII)


def parse_length(
    text: str | int | float | Fraction, *, unit: str = "mm", zero: bool = True, name: str = "A length"
) -> Fraction:
    """
    Return a length as exact millimetres.

    Parameters
    ----------
    text
        A number with a unit ("3 1/2 in", '1 3/4"', "1/16in", "2.5 cm", "40 mm"), or a bare number in `unit`.
        A float stands for the decimal it is written as: 0.1 is one tenth.
    unit
        Unit of bare numbers: mm, cm, m, in, ft or yd.
    zero
        Whether nothing at all is a length.
    name
        What the length is of, as the first words of an error: "The gap".

    Raises
    ------
    InvalidInputError
        It is no length: not a number, an unknown unit, negative, not finite, over a kilometre, or zero where that
        cannot be.

    Examples
    --------
    >>> parse_length("3 1/2 in")
    Fraction(889, 10)
    >>> parse_length("2.5", unit="cm")
    Fraction(25, 1)
    """
    scale = _scale(unit)
    length = _read(text, scale, name) if isinstance(text, str) else _exact(text, name) * scale
    return _checked(length, text, zero, name)


def _read(text: str, scale: Fraction, name: str) -> Fraction:
    plain = _plain(text)
    if "," in plain:
        raise InvalidInputError(
            f"{name} must have a point before its decimals; got {text!r}. Write {text.replace(',', '.')!r}."
        )
    found = _LENGTH.fullmatch(plain) if len(plain) <= _LONGEST_TEXT else None
    if found is None:
        raise _not_a_length(text, name)
    number = _NUMBER.fullmatch(found["number"].strip())
    if number is None:
        raise _not_a_length(text, name)
    return _value(number, text, name) * (scale if found["unit"] is None else _scale(found["unit"], name))


def _plain(text: str) -> str:
    """The text with plain figures, marks and spaces: fractions of one letter spelled out, curly marks straightened."""
    spelled = re.sub(r"(\d?)([¼-¾⅐-⅞])", lambda found: f"{found[1]} {_spelled_out(found[2])}", text)
    for curly, straight in {"″": '"', "”": '"', "“": '"', "’’": '"', "−": "-", "⁄": "/", "–": "-"}.items():
        spelled = spelled.replace(curly, straight)
    return " ".join(spelled.split())


def _spelled_out(letter: str) -> str:
    return unicodedata.normalize("NFKD", letter).replace("⁄", "/")


def _value(number: re.Match[str], text: str, name: str) -> Fraction:
    if number["decimal"] is not None:
        size = Fraction(number["decimal"] if number["decimal"][-1] != "." else number["decimal"][:-1])
        return -size if number["decimal_sign"] == "-" else size
    whole, top, bottom = (int(number[part] or 0) for part in ("whole", "top", "bottom"))
    if bottom == 0:
        raise InvalidInputError(f"{name} must not be a fraction with 0 below; got {text!r}. Write one such as 1/16.")
    if number["whole"] is not None and top >= bottom:
        raise InvalidInputError(
            f"{name} must have a fraction below one after its whole number; got {text!r}. Write 3 1/2, or 7/2."
        )
    size = whole + Fraction(top, bottom)
    return -size if number["sign"] == "-" else size


def _exact(number: object, name: str) -> Fraction:
    """The number, a float as the decimal that it is written as."""
    if isinstance(number, bool) or not isinstance(number, Real):
        raise InvalidInputError(
            f"{name} must be a number or text such as '3 1/2 in'; got {number!r}. Write it as one of these."
        )
    if isinstance(number, Rational):
        return Fraction(number)
    if not math.isfinite(number):
        raise InvalidInputError(f"{name} must be a finite number; got {float(number)}. Give a number such as 3.5.")
    return Fraction(repr(float(number)))


def _scale(unit: str, name: str = "A bare number") -> Fraction:
    word = unit.strip().rstrip(".").strip().lower()
    known = _MM_PER_UNIT.get(_SPELLINGS.get(word, word))
    if known is None:
        raise InvalidInputError(f"{name} must be in one of {', '.join(_MM_PER_UNIT)}; got {unit!r}. Use one of these.")
    return known


def _checked(length: Fraction, text: object, zero: bool, name: str) -> Fraction:
    if length > LONGEST:
        shown = text if isinstance(text, str) or length < LONGEST**9 else "far more"  # too long to write out
        raise InvalidInputError(f"{name} must be at most a kilometre; got {shown}. Check the figure and its unit.")
    if length < 0:
        raise InvalidInputError(f"{name} must not be negative; got {text}. Leave out the minus sign.")
    if length == 0 and not zero:
        raise InvalidInputError(f"{name} must be more than zero; got {text}. Give the size it is to have.")
    return length


def _not_a_length(text: str, name: str) -> InvalidInputError:
    shown = text if len(text) <= _LONGEST_TEXT else text[:_LONGEST_TEXT] + "…"
    return InvalidInputError(
        f"{name} must be a number and a unit; got {shown!r}. Write it like 3 1/2 in, 3.5 in, 40 mm or 2.5 cm."
    )


# Writing.

_SAME = 1e-6
"""Lengths closer than this (mm) are the same: far below any blade, far above the noise of floats."""


def length_words(mm: Fraction | float, unit: str = "mm", *, denominator: int = 16) -> str:
    """
    Return a length as words: tenths of a millimetre, or inches to the nearest mark of the ruler.

    Parameters
    ----------
    mm
        The length in millimetres; anything that float() takes.
    unit
        "mm" or "in".
    denominator
        Parts of an inch the ruler is marked in. A length between two marks gets "≈" before it.

    Raises
    ------
    InvalidInputError
        The unit is not one of UNITS, the length is not finite, or the denominator is not a whole number from 1 on.

    Examples
    --------
    >>> length_words(parse_length("3 5/8 in"), "in"), length_words(parse_length("3 5/8 in"))
    ('3 5/8 in', '92.1 mm')
    >>> length_words(100, "in")
    '≈ 3 15/16 in'
    """
    if unit not in UNITS:
        raise InvalidInputError(f"Lengths are written in {' or '.join(UNITS)}; got {unit!r}. Use one of these.")
    size = float(mm)
    if not math.isfinite(size):
        raise InvalidInputError(f"A length must be a finite number; got {size}. Give a number such as 3.5.")
    if unit == "mm":
        return f"{_tenths(size)} mm"
    if isinstance(denominator, bool) or not isinstance(denominator, int) or denominator < 1:
        raise InvalidInputError(
            f"An inch is marked in a whole number of parts; got {denominator!r}. Use 16 for a ruler in sixteenths."
        )
    return _inches(size, denominator)


def _tenths(size: float) -> str:
    rounded = round(size + math.copysign(1e-9, size), 1)  # so that 92.05 goes up whichever float it became
    return f"{rounded + 0:.1f}".removesuffix(".0")


def _inches(size: float, denominator: int) -> str:
    marks = round(abs(size) / float(MM_PER_INCH) * denominator)
    exact = abs(abs(size) - float(marks * MM_PER_INCH / denominator)) < _SAME
    whole, part = divmod(Fraction(marks, denominator), 1)
    words = " ".join(filter(None, (str(whole) if whole or not part else "", str(part) if part else "")))
    return f"{'' if exact else '≈ '}{'-' if size < 0 and marks else ''}{words} in"
