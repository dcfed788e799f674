"""
What everything we show has in common: neutral greys, one typeface, the marks of the groups.

Lightness is judged against what surrounds it, so every tone of ours is a grey named by its L*.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import lightness_to_grey8

if TYPE_CHECKING:
    from matplotlib.font_manager import FontProperties
    from PIL.ImageFont import FreeTypeFont

FONTS = Path(__file__).with_name("fonts")
REGULAR = FONTS / "AtkinsonHyperlegibleNext-Regular.ttf"
BOLD = FONTS / "AtkinsonHyperlegibleNext-Bold.ttf"

TITLE, SMALL = 5.64, 2.83  # height of type in print, mm: 16 and 8 points

SURROUNDS = {"light": 92.0, "middle": 50.0, "dark": 15.0}
GROUP_LIGHTNESS = (25.0, 85.0)  # darkest and lightest group in charts; the others lie evenly between
# The one hue of ours: a blue-green, for what can be pressed and for focus, never near a swatch.
ACCENT, ACCENT_ON_DARK = "#005a66", "#7ccbd6"


@dataclass(frozen=True)
class Page:
    """The greys of a page as L*: its ground, its words, its lines and its raised areas."""

    ground: float
    text: float
    secondary: float
    hairline: float
    raised: float


LIGHT_PAGE = Page(ground=96, text=15, secondary=40, hairline=80, raised=91)
PAPER = Page(ground=100, text=15, secondary=40, hairline=80, raised=91)  # what is printed needs no tint
DARK_PAGE = Page(ground=12, text=92, secondary=72, hairline=35, raised=18)


def grey_code(lightness: float) -> int:
    """
    Return the 8-bit code of the grey of this lightness (L*, 0-100).

    >>> grey_code(50)
    119
    """
    return int(lightness_to_grey8(lightness))


def grey_hex(lightness: float) -> str:
    """
    Return the neutral colour of this lightness (L*, 0-100) as a web colour.

    >>> grey_hex(50)
    '#777777'
    """
    return "#" + f"{grey_code(lightness):02x}" * 3


def surround_lightness(surround: str) -> float:
    """
    Return the L* of the surround of that name.

    Raises
    ------
    InvalidInputError
        It is not one of ours.

    Examples
    --------
    >>> surround_lightness("middle")
    50.0
    """
    if surround not in SURROUNDS:
        raise InvalidInputError(f"surround must be one of {', '.join(SURROUNDS)}; got {surround!r}. Pick one of these.")
    return SURROUNDS[surround]


def group_lightness(count: int) -> tuple[float, ...]:
    """
    Return the L* in which charts draw each of `count` groups, darkest first.

    >>> group_lightness(3)
    (25.0, 55.0, 85.0)
    """
    return tuple(float(tone) for tone in np.linspace(*GROUP_LIGHTNESS, max(count, 2))[:count])


def legible_on(lightness: float) -> float:
    """
    Return the L* of words on a ground of this L*: black or white, whichever stands out more.

    On middle grey nothing less reaches the W3C's contrast of 4.5 for text.

    >>> legible_on(30), legible_on(60)
    (100.0, 0.0)
    """
    return 100.0 if lightness < 50 else 0.0


# What every group wears: short upright bars, as easily pencilled on the back of a piece as printed.


@dataclass(frozen=True)
class Bar:
    """One short bar of a group's mark: its left side and width, in heights of the mark; hollow: in doubt."""

    left: float
    width: float
    hollow: bool = False


BAR_WIDTH, BAR_PITCH = 0.24, 0.46


def group_bars(place: int, *, rival: int | None = None) -> tuple[Bar, ...]:
    """
    Return the bars of the group at this place in the order (0 the darkest): one more than its place.

    A piece between two groups wears the bars both share, and hollow ones for what only the lighter has.

    Parameters
    ----------
    place
        Place of the group, 0 for the darkest.
    rival
        Place of the other group that a borderline piece may belong to.

    Examples
    --------
    >>> [bar.hollow for bar in group_bars(1, rival=2)]
    [False, False, True]
    """
    certain, possible = sorted((place, place if rival is None else rival))
    return tuple(Bar(i * BAR_PITCH, BAR_WIDTH, hollow=i > certain) for i in range(possible + 1))


# Words.


def printable(text: str, *, bold: bool = False) -> tuple[str, Path]:
    """
    Return the text as pictures can show it, and the font file that has its letters.

    Our typeface wherever it has every letter, else a wide one; what that lacks becomes an open box.
    Control characters become spaces, invisible direction marks go.

    Examples
    --------
    >>> printable("red\\tsilk")[0]
    'red silk'
    """
    clean = "".join(_visible(letter) for letter in text)
    ours = BOLD if bold else REGULAR
    if letters_of(ours).issuperset(clean):
        return clean, ours
    wide = _wide_font(bold)
    return "".join(letter if letter in letters_of(wide) else "□" for letter in clean), wide


def _visible(letter: str) -> str:
    kind = unicodedata.category(letter)
    if kind == "Cf":
        return ""
    return " " if kind in ("Cc", "Zs", "Zl", "Zp") else letter


def in_one_line(text: str) -> str:
    """
    Return the text as a title may hold it: no control characters, no halves of letters from odd file names.

    >>> in_one_line("red\\tsilk")
    'red silk'
    """
    whole = text.encode("utf-8", "backslashreplace").decode("utf-8")
    return "".join(" " if unicodedata.category(letter) == "Cc" else letter for letter in whole)


def _wide_font(bold: bool) -> Path:
    import matplotlib

    return Path(matplotlib.get_data_path(), "fonts", "ttf", "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")


@lru_cache(maxsize=8)
def letters_of(font: Path) -> frozenset[str]:
    """
    Return every letter a font file has.

    >>> "±" in letters_of(REGULAR)
    True
    """
    from matplotlib.ft2font import FT2Font

    return frozenset(chr(code) for code in FT2Font(str(font)).get_charmap())


def typeface(font: Path) -> FontProperties:
    """
    Return a font file as charts want it; nothing is registered, so other charts in the session stay as they are.

    >>> typeface(REGULAR).get_name()
    'Atkinson Hyperlegible Next'
    """
    from matplotlib.font_manager import FontProperties

    return FontProperties(fname=str(font))


_WIDEST_FIGURE = str.maketrans("123456789", "0" * 9)
_MEASURED_AT = 200  # pixels; large, so that hinting does not matter


@lru_cache(maxsize=8)
def _measuring_font(font: Path) -> FreeTypeFont:
    from PIL import ImageFont

    return ImageFont.truetype(str(font), _MEASURED_AT, layout_engine=ImageFont.Layout.BASIC)


@lru_cache(maxsize=8192)
def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """
    Return how wide a line of text is at most, in the unit of `size` (the height of its type).

    Figures may be drawn equally wide: each counts as the widest, which is 0.

    >>> 1.5 < text_width("light", 1) < 2.5, text_width("11", 1) == text_width("40", 1)
    (True, True)
    """
    clean, font = printable(text, bold=bold)
    return _measuring_font(font).getlength(clean.translate(_WIDEST_FIGURE)) / _MEASURED_AT * size


def shortened(text: str, size: float, width: float, *, bold: bool = False) -> str:
    """
    Return the text, its middle left out where it is wider than `width` (in the unit of `size`).

    Names differ most at their ends, so both ends stay.

    Examples
    --------
    >>> shortened("evening-board-number-7", 1, 6)
    'eveni…ber-7'
    """
    if text_width(text, size, bold=bold) <= width:
        return text
    for kept in range(min(len(text) - 1, math.ceil(8 * width / size)), 1, -1):  # no letter is an eighth as wide as high
        short = text[: math.ceil(kept / 2)] + "…" + text[len(text) - kept // 2 :]
        if text_width(short, size, bold=bold) <= width:
            return short
    return text[:1] + "…"


def wrapped(text: str, size: float, width: float, *, bold: bool = False) -> list[str]:
    """
    Return the text as lines no wider than `width` (in the unit of `size`); one long word is shortened.

    A number and its unit stay together where there is room for both.

    >>> wrapped("touches the frame", 1, 6)
    ['touches the', 'frame']
    >>> wrapped("it is gone from 3 m on", 1, 8)
    ['it is gone from', '3 m on']
    """
    lines: list[str] = []
    for word in _words(text, size, width, bold):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold=bold) <= width:
            lines[-1] = longer
        else:
            lines.append(shortened(word, size, width, bold=bold))
    return lines


_UNIT = r"(?:mm|cm|m|in|ft|%|L\*|°)(?![^\W_])"
_HELD = re.compile(rf"(?<=\d)\s(?={_UNIT})|(?<=L\*)\s(?=\d)|(?<=±)\s(?=\d)|(?<=\d)\s(?=± )")


def _words(text: str, size: float, width: float, bold: bool) -> Iterator[str]:
    for word in _HELD.sub("\0", " ".join(text.split())).split(" "):
        held = word.replace("\0", " ")
        yield from [held] if text_width(held, size, bold=bold) <= width else held.split(" ")


def wrapped_evenly(text: str, size: float, width: float, *, bold: bool = False) -> list[str]:
    """
    Return the text as no more lines than `wrapped` needs, but of about equal length.

    >>> wrapped_evenly("one two three four five", 1, 8)
    ['one two three', 'four five']
    """
    lines = wrapped(text, size, width, bold=bold)
    while len(lines) > 1:
        width -= size
        tried = wrapped(text, size, width, bold=bold)
        if len(tried) > len(lines) or any("…" in line and line not in text for line in tried):
            break
        lines = tried
    return lines
