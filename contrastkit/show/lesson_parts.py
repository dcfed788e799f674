"""What the teaching charts have in common: the pieces with their colour, their squares, flat greys, the page."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from contrastkit.compose.hues import hue_name
from contrastkit.errors import InvalidInputError
from contrastkit.show.chart import PRINT_PIXELS_PER_MM, Chart, chart_of
from contrastkit.show.crops import Crops, Pixels, encoded
from contrastkit.show.drawing import Box, Drawing, Line, Mark, Photo, Tone, Words
from contrastkit.show.look import SMALL, SURROUNDS, grey_code, legible_on, shortened
from contrastkit.show.mockup import Image, piece_squares
from contrastkit.show.page import titled
from contrastkit.show.pieces import Piece, pieces_dark_to_light
from contrastkit.show.views import in_grey

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]
Pictures = dict[str, Pixels]

WIDTH = 243.0  # mm, of all but the margin: with its margins a chart fits on A4 and on Letter, lying
TALLEST = 141.0  # mm, of what stands under the title, be it two lines long; then it fits on both, too
LINE = 0.25
LEADING = 1.35 * SMALL
HEAD = 3.4  # height of type of a heading
MAT = 3.0  # of the surround shown round pictures
MIDDLE = SURROUNDS["middle"]
ON_MIDDLE = legible_on(MIDDLE)


@dataclass(frozen=True)
class Sample:
    """
    One swatch as the lessons need it; nan is unknown.

    piece: what all pictures know of it; chroma, hue_angle: of its mean; paint, ground, rim: L* of each; coverage:
    share that is painted.
    """

    piece: Piece
    chroma: float
    hue_angle: float
    paint: float
    ground: float
    coverage: float
    rim: float

    @property
    def name(self) -> str:
        """Its swatch_id."""
        return self.piece.swatch_id

    @property
    def lightness(self) -> float:
        """L* of its mean."""
        return self.piece.lightness

    @property
    def sigma(self) -> float:
        """Standard uncertainty of the lightness; 0 where nobody knows."""
        return self.piece.sigma if math.isfinite(self.piece.sigma) else 0.0

    @property
    def hue(self) -> str:
        """The word for its hue; nothing where it is not known."""
        return hue_name(self.chroma, self.hue_angle)

    @property
    def lab(self) -> tuple[float, float, float]:
        """CIELAB of its mean."""
        angle = math.radians(self.hue_angle) if self.chroma else 0.0
        return self.lightness, self.chroma * math.cos(angle), self.chroma * math.sin(angle)

    @property
    def coloured(self) -> bool:
        """Whether its colour is known."""
        return all(map(math.isfinite, self.lab))


def samples_of(table: pd.DataFrame) -> list[Sample]:
    """
    Return the swatches of known lightness from dark to light.

    Raises
    ------
    InvalidInputError
        The table is not a swatch table.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0], "chroma": [40.0, 3.0],
    ...                       "hue_angle": [20.0, 80.0]})
    >>> [(sample.name, sample.hue) for sample in samples_of(table)]
    [('b', 'grey'), ('a', 'red')]
    """
    pieces = [piece for piece in pieces_dark_to_light(table) if piece.known]
    names = ("chroma", "hue_angle", "lightness_paint", "lightness_ground", "coverage", "lightness_rim")
    columns = [
        dict(zip(table["swatch_id"].astype(str), _numbers(table, name), strict=True)) for name in names
    ]
    return [Sample(piece, *(float(column[piece.swatch_id]) for column in columns)) for piece in pieces]


def _numbers(table: pd.DataFrame, name: str) -> Array:
    import pandas as pd

    if name not in table:
        return np.full(len(table), np.nan)
    return pd.to_numeric(table[name], errors="coerce").to_numpy(np.float64)


def too_few(needs: str, got: str, remedy: str) -> InvalidInputError:
    """
    Return the error of a pile that has too little to show.

    >>> str(too_few("two swatches", "it has one", "Measure another"))
    'This chart needs two swatches; it has one. Measure another.'
    """
    return InvalidInputError(f"This chart needs {needs}; {got}. {remedy}.")


def step_words(step: float) -> str:
    """
    Return a step of lightness in whole L*, as people say it.

    >>> step_words(4.7), step_words(-4.7), step_words(0.2)
    ('5 lighter', '5 darker', 'no step')
    """
    whole = round(abs(step))
    return f"{whole} {'lighter' if step > 0 else 'darker'}" if whole else "no step"


def fitted(text: str, room: float, *, bold: bool = False) -> str:
    """
    Return small type shortened to what has room, mm, clear of a neighbour: on screens it comes out a little longer.

    >>> fitted("slate 1", 20), fitted("slate under pearl", 20)
    ('slate 1', 'slate u… pearl')
    """
    return shortened(text, SMALL, 0.95 * room - 1, bold=bold)


# --- pictures ---------------------------------------------------------------------------------------------------------


def in_grey_named(name: str) -> str:
    """Return the name under which a square stands in grey; no swatch can be called so."""
    return f"{name}\nin grey"


def squares_of(samples: Sequence[Sample], crops: Crops, side: float, *, grey: bool = False) -> Pictures:
    """Return the squares of those that have a crop, as printed `side` mm wide; in grey too, if asked for."""
    lights = lights_of(samples, crops, side)
    pictures = {name: encoded(light) for name, light in lights.items()}
    if grey:
        pictures |= {in_grey_named(name): encoded(in_grey(light)) for name, light in lights.items()}
    return pictures


def lights_of(samples: Sequence[Sample], crops: Crops, side: float) -> dict[str, Image]:
    """Return the squares of those that have a crop, in linear RGB, as printed `side` mm wide."""
    wanted = {sample.name: crops[sample.name] for sample in samples if sample.name in crops}
    return piece_squares(wanted, side=math.ceil(side * PRINT_PIXELS_PER_MM))


def square(
    sample: Sample, x: float, y: float, side: float, pictures: Pictures, *, grey: bool = False
) -> Iterator[Mark]:
    """Yield the square of a piece, in colour or in grey; its flat grey where it has no picture."""
    name = in_grey_named(sample.name) if grey else sample.name
    if name not in pictures:
        yield Box(x, y, side, side, fill=sample.lightness, edge=ON_MIDDLE, line=LINE)
        return
    words = f"{sample.name}: L* {sample.piece.lightness_words}"
    yield Photo(x, y, side, side, name, f"{words}, in grey" if grey else words)


def mat(x: float, y: float, width: float, height: float) -> Box:
    """Return the middle grey that pictures of this size lie on."""
    return Box(x - MAT, y - MAT, width + 2 * MAT, height + 2 * MAT, fill=MIDDLE)


def greys(
    lightness: Sequence[float], x: float, y: float, width: float, height: float, *, edge: Tone = ON_MIDDLE
) -> Iterator[Mark]:
    """Yield flat greys side by side without a gap, a line round all of them."""
    each = width / len(lightness)
    for place, tone in enumerate(lightness):
        yield Box(x + place * each, y, each, height, fill=tone)
    yield Box(x, y, width, height, edge=edge, line=LINE)


def flat(lightness: float, rows: int = 2, cols: int = 2) -> Pixels:
    """Return a picture that is nothing but a grey."""
    return np.full((rows, cols, 3), grey_code(lightness), np.uint8)


# --- the axis of lightness --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Axis:
    """L* from `low` at `left` to `high` at `right`, mm."""

    low: float
    high: float
    left: float
    right: float

    @classmethod
    def over(cls, lightness: Sequence[float], left: float, right: float) -> Axis:
        """Return the axis that reaches over these, in whole tens."""
        low, high = 10 * math.floor(min(lightness) / 10), 10 * math.ceil(max(lightness) / 10)
        return cls(low, max(high, low + 10), left, right)

    def at(self, lightness: float) -> float:
        """Where a lightness lies."""
        return self.left + (lightness - self.low) / (self.high - self.low) * (self.right - self.left)

    def marks(self, foot: float, top: float) -> Iterator[Mark]:
        """Yield the figures at the foot and a quiet line up from each."""
        for ten in range(int(self.low), int(self.high) + 1, 10):
            yield Line(self.at(ten), foot, self.at(ten), top, "hairline", LINE)
            yield Words(self.at(ten), foot - 1.25 * SMALL, str(ten), SMALL, align="middle")
        middle = (self.left + self.right) / 2
        yield Words(middle, foot - 2.6 * SMALL, "L*, dark to light", SMALL, "secondary", align="middle")


# --- the page ---------------------------------------------------------------------------------------------------------


def finished(
    marks: Sequence[Mark], height: float, finding: str, how: str, pictures: Pictures, said: str
) -> Chart:
    """
    Return the marks, in millimetres, as a chart under its finding.

    Parameters
    ----------
    marks : in a field WIDTH wide
    height : of the field
    finding : the title, without its stop
    how : what was measured or worked out, and how sure it is
    pictures : what `Photo` marks name
    said : what else the picture says, for those who do not see it
    """
    drawing = Drawing(WIDTH, height, tuple(marks), f"{finding}. {said}")
    return chart_of(titled(drawing, finding, how), pictures)
