"""Small parts of a web page: escaped text, embedded pictures, drawings that follow the page from light to dark."""

from __future__ import annotations

import base64
import html
import unicodedata
from collections.abc import Mapping, Sequence
from pathlib import Path

import cv2
import numpy as np

from contrastkit.errors import InvalidInputError
from contrastkit.show.crops import CutOut, Pixels
from contrastkit.show.drawing import Box, Drawing, Line, Mark, Photo, Shape, Tone, Words
from contrastkit.show.look import BAR_PITCH, BAR_WIDTH, grey_hex, group_bars

_ANCHORS = {"left": "start", "middle": "middle", "right": "end"}


def escaped(text: object) -> str:
    """
    Return text as a page may carry it: shown as it is, never read as markup.

    What no page can hold (control characters, halves of letters from odd file names) becomes a mark that shows.

    Examples
    --------
    >>> escaped("<b>&'")
    '&lt;b&gt;&amp;&#x27;'
    """
    whole = str(text).encode("utf-8", "backslashreplace").decode("utf-8")
    return html.escape("".join(map(_shown, whole)), quote=True)


def _shown(letter: str) -> str:
    control = unicodedata.category(letter) == "Cc" and letter not in "\n\t"
    return "\N{REPLACEMENT CHARACTER}" if control or ord(letter) & 0xFFFE == 0xFFFE else letter


def name(text: object) -> str:
    """
    Return someone's word for something, kept apart from the direction of the text round it.

    >>> name("a<1")
    '<bdi>a&lt;1</bdi>'
    """
    return f"<bdi>{escaped(text)}</bdi>"


def jpeg_uri(pixels: Pixels, *, quality: int) -> str:
    """
    Return sRGB pixels, shape (rows, cols, 3), as a JPEG inside an address.

    Raises
    ------
    InvalidInputError
        The pixels are not 8-bit with three channels.

    Examples
    --------
    >>> jpeg_uri(np.zeros((8, 8, 3), np.uint8), quality=80)[:23]
    'data:image/jpeg;base64,'
    """
    if pixels.dtype != np.uint8 or pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.size == 0:
        raise InvalidInputError(
            f"A picture must be 8-bit pixels of shape (rows, cols, 3); got {pixels.dtype} of shape {pixels.shape}. "
            "Convert it to 8-bit sRGB first."
        )
    _, data = cv2.imencode(".jpg", np.ascontiguousarray(pixels[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, quality])
    return "data:image/jpeg;base64," + base64.b64encode(data.tobytes()).decode()


def font_uri(path: Path) -> str:
    """Return a font file inside an address."""
    return "data:font/ttf;base64," + base64.b64encode(path.read_bytes()).decode()


def clip_path(cut: CutOut) -> str:
    """
    Return the outline of a piece as the style that cuts it out of its picture; nothing for a piece that fills it.

    >>> clip_path(CutOut(np.zeros((10, 20, 4), np.uint8), ((0, 0), (0, 20), (10, 20))))
    'clip-path:polygon(0.0% 0.0%,100.0% 0.0%,100.0% 100.0%)'
    """
    if not cut.corners:
        return ""
    rows, cols = cut.pixels.shape[:2]
    points = ",".join(f"{100 * col / cols:.1f}% {100 * row / rows:.1f}%" for row, col in cut.corners)
    return f"clip-path:polygon({points})"


def bars_svg(place: int, *, rival: int | None = None) -> str:
    """Return the mark of a group as a drawing; the words beside it say the same."""
    bars = group_bars(place, rival=rival)
    width = (len(bars) - 1) * BAR_PITCH + BAR_WIDTH
    boxes = "".join(
        f'<rect x="{bar.left + 0.04:.2f}" y=".04" width="{bar.width - 0.08:.2f}" height=".92" '
        f'fill="{"none" if bar.hollow else "currentColor"}" stroke="currentColor" stroke-width=".08"/>'
        for bar in bars
    )
    size = f'viewBox="0 0 {width:.2f} 1" style="width:{0.8 * width:.2f}em"'
    return f'<svg class="bars" {size} aria-hidden="true">{boxes}</svg>'


def drawing_svg(drawing: Drawing, places: Mapping[str, str], classes: str) -> str:
    """
    Return a drawing, in pixels, as part of a page; swatches are taken from the page's own places, by their ids.

    >>> drawing = Drawing(40, 20, (Words(2, 5, "a < b", 10),), "A note.")
    >>> 'aria-label="A note."' in drawing_svg(drawing, {}, "note"), "a &lt; b" in drawing_svg(drawing, {}, "note")
    (True, True)
    """
    marks = "".join(_mark_svg(mark, drawing.height, places) for mark in drawing.marks)
    size = f'viewBox="0 0 {drawing.width:.0f} {drawing.height:.0f}"'
    return (
        f'<svg class="{classes}" role="img" aria-label="{escaped(drawing.description)}" {size} '
        f'style="max-width:{drawing.width:.0f}px">{marks}</svg>'
    )


def _mark_svg(mark: Mark, height: float, places: Mapping[str, str]) -> str:
    if isinstance(mark, Words):
        return (
            f'<text x="{mark.x:.1f}" y="{height - mark.y:.1f}" font-size="{mark.size:.1f}" '
            f'text-anchor="{_ANCHORS[mark.align]}" font-weight="{700 if mark.bold else 400}" '
            f'style="fill:{_colour(mark.tone)}">{escaped(mark.text)}</text>'
        )
    if isinstance(mark, Box):
        corner = f'x="{mark.x:.1f}" y="{height - mark.y - mark.height:.1f}"'
        paint = f"fill:{_colour(mark.fill)};stroke:{_colour(mark.edge)};stroke-width:{mark.line:.1f}"
        return f'<rect {corner} width="{mark.width:.1f}" height="{mark.height:.1f}" style="{paint}"/>'
    if isinstance(mark, Line):
        ends = f'x1="{mark.x0:.1f}" y1="{height - mark.y0:.1f}" x2="{mark.x1:.1f}" y2="{height - mark.y1:.1f}"'
        return f'<line {ends} style="stroke:{_colour(mark.tone)};stroke-width:{mark.line:.1f}"{_dashes(mark.dashed)}/>'
    if isinstance(mark, Shape):
        points = " ".join(f"{x:.1f},{height - y:.1f}" for x, y in mark.points)
        paint = f"fill:{_colour(mark.fill)};stroke:{_colour(mark.edge)};stroke-width:{mark.line:.1f}"
        return f'<polygon points="{points}" style="{paint}"{_dashes(mark.dashed)}/>'
    return _photo_svg(mark, height, places)


def _dashes(dashed: bool) -> str:
    return ' stroke-dasharray="5 4"' if dashed else ""


def _photo_svg(mark: Photo, height: float, places: Mapping[str, str]) -> str:
    if mark.swatch_id not in places:
        return ""
    move = f"translate({mark.x:.1f} {height - mark.y - mark.height:.1f}) scale({mark.width:.1f} {mark.height:.1f})"
    return f'<use href="#{places[mark.swatch_id]}" transform="{move}"><title>{escaped(mark.title)}</title></use>'


def _colour(tone: Tone | None) -> str:
    """A part of the page follows the page's own greys, a lightness stays what it is."""
    if tone is None:
        return "none"
    return f"var(--{tone})" if isinstance(tone, str) else grey_hex(tone)


def items(parts: Sequence[str], *, kind: str = "ul", classes: str = "") -> str:
    """
    Return finished parts as a list; nothing for no parts.

    >>> items(["a", "b"])
    '<ul><li>a</li><li>b</li></ul>'
    """
    if not parts:
        return ""
    css = f' class="{classes}"' if classes else ""
    return f"<{kind}{css}>" + "".join(f"<li>{part}</li>" for part in parts) + f"</{kind}>"
