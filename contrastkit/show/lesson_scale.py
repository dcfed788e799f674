"""The teaching chart of the grey scale: every step with the pile's own swatches under it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from contrastkit.compose.seams import ONE_SIDED
from contrastkit.light.lightness import lightness_to_munsell_value
from contrastkit.show.drawing import Box, Line, Mark, Words
from contrastkit.show.handouts import grey_steps
from contrastkit.show.lesson_parts import (
    HEAD,
    LEADING,
    LINE,
    MIDDLE,
    ON_MIDDLE,
    WIDTH,
    Pictures,
    Sample,
    finished,
    samples_of,
    square,
    squares_of,
    too_few,
)
from contrastkit.show.look import SMALL, legible_on, shortened, text_width
from contrastkit.show.words import counted, listed, measured_words

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.show.chart import Chart
    from contrastkit.show.crops import Crops

_STEP = 22.0  # height of a step
_ROOM = 116.0  # height for the swatches
_LARGEST, _SMALLEST = 22.0, 3.0  # side of a swatch
_PAD = 1.5  # round swatches
_CAPTION = LEADING + 0.4
_NAMED = 17.0  # side from which a swatch has room for its name
_NUMBERED = 11.0  # and from which for its L*


@dataclass(frozen=True)
class Placed:
    """A swatch on its step; rival: the step next to it that its uncertainty leaves open, or None."""

    sample: Sample
    step: int
    rival: int | None


@dataclass(frozen=True)
class _Grid:
    """Swatches so many abreast in a column, so large, and how far it is from one row to the next."""

    abreast: int
    side: float
    pitch: float

    @property
    def captions(self) -> int:
        return (self.side >= _NUMBERED) + (self.side >= _NAMED)


def grey_scale_chart(
    table: pd.DataFrame, crops: Crops, *, steps: int = 9, title: str | None = None
) -> Chart:
    """
    Return a grey scale with the pile's own swatches under the step that each is nearest to.

    Parameters
    ----------
    table : the swatch table; pieces of unknown lightness are left out
    crops : the pieces cut out of their photographs, by swatch_id
    steps : 5, 9 or 11; five and nine reach from L* 15 to 95, as paint on cotton does, eleven from black to white
    title : the finding; which steps have no swatch, if not given

    Raises
    ------
    InvalidInputError
        Another number of steps, a table or a crop that cannot be right, or no swatch of known lightness.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0]})
    >>> grey_scale_chart(table, {}, steps=5).description
    'The pile stands on 2 of 5 steps; none on L* 15, 55 and 95. L* 15: 0, L* 35: 1, L* 55: 0, L* 75: 1, L* 95: 0.'
    """
    tones = grey_steps(steps)
    samples = samples_of(table)
    if not samples:
        raise too_few("at least one swatch of known lightness", "the pile has none", "Measure a photograph first")
    placed = place_on_steps(samples, tones)
    columns = [[each for each in placed if each.step == step] for step in range(steps)]
    grid = _fitting(max(map(len, columns)), WIDTH / steps)
    pictures = squares_of(samples, crops, grid.side)
    room = grid.pitch * math.ceil(max(map(len, columns)) / grid.abreast) + _PAD
    marks = [
        Box(0, 0, WIDTH, room, fill=MIDDLE),
        *_scale(tones, room),
        *(mark for step, column in enumerate(columns) for mark in _column(column, step, tones, grid, room, pictures)),
    ]
    said = ", ".join(f"L* {tone:.0f}: {len(column)}" for tone, column in zip(tones, columns, strict=True))
    height = room + _STEP + 1
    return finished(marks, height, title or _finding(columns, tones), _how(placed, grid), pictures, f"{said}.")


def place_on_steps(samples: Sequence[Sample], tones: Sequence[float]) -> list[Placed]:
    """
    Return each swatch on the step nearest to it, and the step beside that it may as well belong to.

    It may, where the half-way line between the two lies within 1.645 sigma: one time in twenty it is beyond.
    """
    borders = [(low + high) / 2 for low, high in pairwise(tones)]
    found = []
    for sample in samples:
        step = int(np.searchsorted(borders, sample.lightness))
        near = [(abs(sample.lightness - borders[at]), other) for at, other in ((step - 1, step - 1), (step, step + 1))
                if 0 <= at < len(borders)]
        away, other = min(near)
        found.append(Placed(sample, step, other if away < ONE_SIDED * sample.sigma else None))
    return found


def _fitting(most: int, column: float) -> _Grid:
    """The largest swatches of which `most` fit in a column."""
    best = _Grid(1, 0.0, 1.0)
    for abreast in range(1, max(most, 1) + 1):
        side = min((column - _PAD) / abreast - _PAD, _LARGEST)
        rows = math.ceil(most / abreast)
        for captions, least in ((2, _NAMED), (1, _NUMBERED), (0, _SMALLEST)):
            fits = min(side, _ROOM / rows - _PAD - captions * _CAPTION)
            if fits >= least and fits > best.side:
                grid = _Grid(abreast, fits, fits + _PAD + captions * _CAPTION)
                best = grid if grid.captions == captions else best
    return best


def _scale(tones: Sequence[float], foot: float) -> Iterator[Mark]:
    each = WIDTH / len(tones)
    for step, tone in enumerate(tones):
        x, ink = step * each, legible_on(tone)
        yield Box(x, foot, each, _STEP, fill=tone)
        yield Words(x + each / 2, foot + 0.55 * _STEP, f"L* {tone:.0f}", HEAD, ink, bold=True, align="middle")
        value = f"value {float(lightness_to_munsell_value(tone)):.1f}"
        yield Words(x + each / 2, foot + 0.28 * _STEP, value, SMALL, ink, align="middle")
    yield Box(0, foot, WIDTH, _STEP, edge="text", line=LINE)


def _column(
    column: Sequence[Placed], step: int, tones: Sequence[float], grid: _Grid, top: float, pictures: Pictures
) -> Iterator[Mark]:
    each = WIDTH / len(tones)
    if step:
        yield Line(step * each, 0, step * each, top, ON_MIDDLE, LINE)
    if not column:
        yield Words((step + 0.5) * each, top - _PAD - SMALL, "none", SMALL, ON_MIDDLE, align="middle")
    for place, one in enumerate(column):
        row, col = divmod(place, grid.abreast)
        abreast = min(grid.abreast, len(column))
        x = (step + 0.5) * each + (col - abreast / 2) * (grid.side + _PAD) + _PAD / 2
        y = top - row * grid.pitch - _PAD - grid.side
        yield from square(one.sample, x, y, grid.side, pictures)
        yield from _caption(one, tones, x + grid.side / 2, y, grid, each)


def _caption(
    one: Placed, tones: Sequence[float], x: float, y: float, grid: _Grid, each: float
) -> Iterator[Mark]:
    room = each / grid.abreast - 1.2
    doubt = "" if one.rival is None else f" or {tones[one.rival]:.0f}"
    words = f"{one.sample.piece.lightness_words}{doubt}"
    if text_width(words, SMALL) > room:
        words = f"{one.sample.lightness:.0f}{doubt}"
    lines = [words, one.sample.name][: grid.captions]
    for line in lines:
        y -= _CAPTION
        yield Words(x, y + 0.9, shortened(line, SMALL, room), SMALL, ON_MIDDLE, align="middle")


def _finding(columns: Sequence[Sequence[Placed]], tones: Sequence[float]) -> str:
    without = [f"{tone:.0f}" for tone, column in zip(tones, columns, strict=True) if not column]
    if not without:
        fewest = min(range(len(tones)), key=lambda step: len(columns[step]))
        return f"The pile stands on all {len(tones)} steps; fewest, {len(columns[fewest])}, on L* {tones[fewest]:.0f}"
    return f"The pile stands on {len(tones) - len(without)} of {len(tones)} steps; none on L* {listed(without)}"


def _how(placed: Sequence[Placed], grid: _Grid) -> str:
    text = "Each swatch under the step nearest to its lightness, darkest first. "
    doubtful = sum(each.rival is not None for each in placed)
    if doubtful:
        seen = ": “or”" if grid.captions else ""
        text += f"{counted(doubtful, 'piece')} may belong to the step beside{seen}. "
    return text + measured_words([each.sample.piece for each in placed])
