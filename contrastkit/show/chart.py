"""A finished picture: it shows itself in a notebook, says in words what it shows, and is saved as PNG, SVG or PDF."""

from __future__ import annotations

import base64
import html
import io
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.text import Text

from contrastkit.errors import InvalidInputError
from contrastkit.keep.files import write_whole
from contrastkit.show.crops import CutOut, Pixels
from contrastkit.show.drawing import Box, Drawing, Line, Mark, Photo, Shape, Tone, Words, tone_lightness
from contrastkit.show.look import LIGHT_PAGE, Page, grey_hex, in_one_line, printable, typeface

MM_PER_INCH = 25.4
POINTS_PER_MM = 72 / MM_PER_INCH
PRINT_DPI, SCREEN_DPI = 300, 120
PRINT_PIXELS_PER_MM = PRINT_DPI / MM_PER_INCH
SUFFIXES = (".png", ".svg", ".pdf")
# Letters stay letters in a PDF and become outlines in an SVG; whatever is set on this computer stays out of it.
_SETTINGS: Any = {
    "pdf.fonttype": 42, "svg.fonttype": "path", "svg.hashsalt": "contrastkit", "savefig.bbox": None,
    "savefig.transparent": False, "path.sketch": None, "text.usetex": False,
}

_ALONE = threading.Lock()

Pictures = Mapping[str, CutOut | Pixels]  # what Photo marks name

_PNG: Any = {"pil_kwargs": {"compress_level": 4}}  # twice as fast as the usual 6, and hardly larger

_ALIGNMENT: dict[str, Literal["left", "center", "right"]] = {"left": "left", "middle": "center", "right": "right"}


@dataclass(frozen=True)
class Chart:
    """
    A finished picture and what it says.

    Attributes
    ----------
    figure : the picture
    description : the finding in words, for those who do not see it
    drawing, pictures : what it was drawn from, in millimetres, and what its `Photo` marks name
    """

    figure: Figure
    description: str
    drawing: Drawing
    pictures: Pictures

    def _repr_html_(self) -> str:
        data = base64.b64encode(self.png()).decode()
        alt = html.escape(self.description)
        return f'<img alt="{alt}" src="data:image/png;base64,{data}" style="max-width: 100%; height: auto">'

    def png(self, *, dpi: float = SCREEN_DPI) -> bytes:
        """Return the picture as PNG; for a screen, if nothing else is asked for."""
        return self._encoded("png", dpi)

    def save(self, path: str | Path) -> Path:
        """
        Write the picture as PNG (300 dots an inch), SVG or PDF, at its true size; return where.

        The same chart gives the same file, byte for byte.

        Raises
        ------
        InvalidInputError
            The name ends in none of .png, .svg and .pdf, or the system does not let it be written.
        """
        path = Path(path)
        if path.suffix.lower() not in SUFFIXES:
            raise InvalidInputError(
                f"A chart is saved as {', '.join(SUFFIXES)}; got {path.name!r}. Let the name end in one of these."
            )
        return write_whole(path, self._encoded(path.suffix.lower()[1:], PRINT_DPI))

    def _encoded(self, kind: str, dpi: float) -> bytes:
        file = io.BytesIO()
        with _writing():
            self.figure.savefig(
                file, format=kind, dpi=dpi, metadata=_metadata(kind, self.description),
                facecolor=self.figure.get_facecolor(), **(_PNG if kind == "png" else {}),
            )
        return file.getvalue()


def save_pages(pages: Sequence[Chart], path: str | Path, *, made_by: str = "") -> Path:
    """
    Write charts as the pages of one PDF, whole or not at all; return where. See `pages_pdf`.

    Raises
    ------
    InvalidInputError
        There is no page, or the system does not let it be written.
    """
    return write_whole(path, pages_pdf(pages, made_by=made_by))


def pages_pdf(pages: Sequence[Chart], *, made_by: str = "") -> bytes:
    """
    Return charts as the pages of one PDF, letters kept as letters.

    Parameters
    ----------
    pages : at least one
    made_by : what stands in the file as its maker, so that it is known again

    Raises
    ------
    InvalidInputError
        There is no page.

    >>> pages_pdf([chart_of(Drawing(20, 10, (), "Nothing."), {})])[:4]
    b'%PDF'
    """
    from matplotlib.backends.backend_pdf import PdfPages

    if not pages:
        raise InvalidInputError("A PDF must have at least one page; got no chart. Draw one first.")
    about = {"Title": pages[0].description, "CreationDate": None} | ({"Creator": made_by} if made_by else {})
    file = io.BytesIO()
    with _writing(), PdfPages(file, metadata=about) as pdf:
        for page in pages:
            pdf.savefig(page.figure, dpi=PRINT_DPI, facecolor=page.figure.get_facecolor())
    return file.getvalue()


@contextmanager
def _writing() -> Iterator[None]:
    """Our settings while a picture is written; matplotlib's are one for all threads, so one thread at a time."""
    with _ALONE, matplotlib.rc_context(_SETTINGS):
        yield


def _metadata(kind: str, description: str) -> dict[str, Any]:
    if kind == "pdf":
        return {"Title": description, "CreationDate": None}
    return {"Title": description, "Date": None} if kind == "svg" else {"Description": description}


def chart_of(drawing: Drawing, pictures: Pictures, *, page: Page = LIGHT_PAGE) -> Chart:
    """
    Return the drawing, in millimetres, as a chart of that size.

    Parameters
    ----------
    drawing
        What to draw.
    pictures
        What its `Photo` marks name: cut-outs, or 8-bit sRGB pixels, shape (rows, cols, 3), or 4 with alpha. A mark
        whose picture is not there draws nothing.
    page
        The greys of the page.

    Raises
    ------
    InvalidInputError
        A picture is not 8-bit pixels with three or four channels.

    Examples
    --------
    >>> dusk = Drawing(20, 10, (Photo(0, 0, 20, 10, "dusk"),), "Dusk.")
    >>> chart_of(dusk, {"dusk": np.zeros((2, 4, 3), np.uint8)}).description
    'Dusk.'
    """
    size = (drawing.width / MM_PER_INCH, drawing.height / MM_PER_INCH)
    figure = Figure(figsize=size, facecolor=grey_hex(page.ground), layout=None)
    figure.suppressComposite = True  # or a vector file would merge the crops into one coarse image
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    draw(axes, drawing, pictures, page=page)
    return Chart(figure, in_one_line(drawing.description), drawing, pictures)


def draw(axes: Axes, drawing: Drawing, pictures: Pictures, *, page: Page = LIGHT_PAGE) -> None:
    """Draw the marks on axes, whose unit becomes the drawing's; letters are sized in millimetres."""
    for order, mark in enumerate(drawing.marks):
        _add(axes, mark, order, pictures, page)
    axes.set(xlim=(0, drawing.width), ylim=(0, drawing.height))


def _add(axes: Axes, mark: Mark, order: int, pictures: Pictures, page: Page) -> None:
    if isinstance(mark, Words):
        axes.add_artist(_text(mark, order, page))
    elif isinstance(mark, Box):
        axes.add_artist(_rectangle(mark, order, page))  # add_patch would ask each how far it reaches
    elif isinstance(mark, Line):
        axes.add_artist(_line(mark, order, page))
    elif isinstance(mark, Shape):
        axes.add_artist(_polygon(mark, order, page))
    elif mark.swatch_id in pictures:
        axes.add_image(_image(axes, mark, order, _pixels(pictures[mark.swatch_id], mark.swatch_id)))


def _colour(tone: Tone, page: Page) -> str:
    return grey_hex(tone_lightness(tone, page))


def _text(mark: Words, order: int, page: Page) -> Text:
    clean, font = printable(mark.text, bold=mark.bold)
    text = Text(
        mark.x, mark.y, clean, color=_colour(mark.tone, page), fontproperties=typeface(font),
        horizontalalignment=_ALIGNMENT[mark.align], verticalalignment="baseline",
        zorder=order, parse_math=False, usetex=False,
    )
    text.set_fontsize(mark.size * POINTS_PER_MM)
    if mark.align == "left" and hasattr(text, "set_fontfeatures"):  # matplotlib 3.11: figures of equal width;
        text.set_fontfeatures(["tnum"])  # it does not count them in when it aligns text otherwise
    return text


def _rectangle(mark: Box, order: int, page: Page) -> Rectangle:
    return Rectangle(
        (mark.x, mark.y), mark.width, mark.height, zorder=order, joinstyle="miter", linestyle="solid", hatch=None,
        facecolor="none" if mark.fill is None else _colour(mark.fill, page),
        edgecolor="none" if mark.edge is None else _colour(mark.edge, page),
        linewidth=0 if mark.edge is None else mark.line * POINTS_PER_MM,
    )


def _polygon(mark: Shape, order: int, page: Page) -> Polygon:
    return Polygon(
        mark.points, closed=True, zorder=order, joinstyle="miter", capstyle="butt", hatch=None,
        facecolor="none" if mark.fill is None else _colour(mark.fill, page),
        edgecolor="none" if mark.edge is None else _colour(mark.edge, page),
        linewidth=0 if mark.edge is None else mark.line * POINTS_PER_MM, linestyle=_stroke(mark.dashed),
    )


def _stroke(dashed: bool) -> Any:
    return (0, (4, 3)) if dashed else "solid"


def _line(mark: Line, order: int, page: Page) -> Line2D:
    return Line2D(
        (mark.x0, mark.x1), (mark.y0, mark.y1), color=_colour(mark.tone, page), zorder=order, marker="",
        linewidth=mark.line * POINTS_PER_MM, linestyle=_stroke(mark.dashed),
        solid_capstyle="butt", dash_capstyle="butt",
    )


def _pixels(picture: CutOut | Pixels, name: str) -> Pixels:
    pixels = picture.pixels if isinstance(picture, CutOut) else picture
    if pixels.dtype != np.uint8 or pixels.ndim != 3 or pixels.shape[2] not in (3, 4) or pixels.size == 0:
        raise InvalidInputError(
            f"A picture must be 8-bit pixels of shape (rows, cols, 3 or 4); {name!r} is {pixels.dtype} of shape "
            f"{pixels.shape}. Convert it to 8-bit sRGB first."
        )
    return pixels


def _image(axes: Axes, mark: Photo, order: int, pixels: Pixels) -> AxesImage:
    extent = (mark.x, mark.x + mark.width, mark.y, mark.y + mark.height)
    image = AxesImage(axes, interpolation="antialiased", origin="upper", extent=extent, zorder=order)
    image.set_data(np.ascontiguousarray(pixels))
    return image
