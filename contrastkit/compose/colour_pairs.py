"""
Pairs that colour fools the eye with: far apart in colour and alike in value, or the other way round.

Value decides whether two layers separate; colour does not. What is said "surely" holds nineteen times in twenty, for
the uncertainty of the measurements.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from contrastkit.compose.seams import ONE_SIDED
from contrastkit.errors import InvalidInputError
from contrastkit.light.contrast import ciede2000

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]

ALIKE = 5.0  # L*: half a Munsell step, below which two values are called alike [design choice]
UNLIKE = 20.0  # CIEDE2000: nobody calls two such colours the same [design choice]
SAME_HUE = 20.0  # degrees of hue angle [design choice]
VIVID_ENOUGH = 12.0  # C*ab from which a hue is plainly seen [design choice]
FAR = 20.0  # L*: two Munsell steps, the goal of a seam
MOST_PIECES = 1500
_EACH = 2  # pairs that one piece may be in, so that a list shows more than one piece


@dataclass(frozen=True)
class ColourPair:
    """
    Two pieces.

    Attributes
    ----------
    darker, lighter : their names
    step : how much lighter the lighter one is, L*
    sigma : standard uncertainty of the step, L*; nan where that of a piece is not known
    difference : CIEDE2000 of the two
    hue_step : degrees of hue angle between them
    sure : whether what the pair is shown for holds for all that the measurement leaves open
    """

    darker: str
    lighter: str
    step: float
    sigma: float
    difference: float
    hue_step: float
    sure: bool


def alike_in_value(table: pd.DataFrame, *, within: float = ALIKE, most: int = 12) -> tuple[ColourPair, ...]:
    """
    Return pairs that differ in colour but not in value, the furthest apart in colour first.

    Parameters
    ----------
    table : swatches, with `swatch_id`, `lightness`, `chroma` and `hue_angle`, and `lightness_sigma` where known
    within : largest step in value, L*
    most : how many pairs; no piece is in more than two

    Raises
    ------
    InvalidInputError
        A step or a number below 0.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["red", "green", "pale"], "lightness": [50.0, 51.0, 85.0],
    ...                       "chroma": [60.0, 50.0, 20.0], "hue_angle": [30.0, 150.0, 30.0]})
    >>> [(pair.darker, pair.lighter) for pair in alike_in_value(table)]
    [('red', 'green')]
    """
    colours = _Colours.of(table, most, within)
    first, second = colours.pairs_within(within)
    difference = colours.difference(first, second)
    order = np.lexsort((second, first, -difference))
    wanted = (at for at in order if difference[at] >= UNLIKE)
    return tuple(_some(colours, first, second, wanted, most, lambda step, sigma: step + ONE_SIDED * sigma <= within))


def alike_in_hue(table: pd.DataFrame, *, apart: float = FAR, most: int = 12) -> tuple[ColourPair, ...]:
    """
    Return pairs of one hue that lie far apart in value, the furthest first.

    Parameters
    ----------
    table : as for `alike_in_value`
    apart : least step in value, L*
    most : how many pairs; no piece is in more than two

    Raises
    ------
    InvalidInputError
        A step or a number below 0.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["red", "green", "pale"], "lightness": [50.0, 51.0, 85.0],
    ...                       "chroma": [60.0, 50.0, 20.0], "hue_angle": [30.0, 150.0, 35.0]})
    >>> [(pair.darker, pair.lighter, pair.step) for pair in alike_in_hue(table)]
    [('red', 'pale', 35.0)]
    """
    colours = _Colours.of(table, most, apart)
    first, second = colours.pairs_of_one_hue(apart)
    step = colours.lightness[second] - colours.lightness[first]
    order = np.lexsort((second, first, -step))
    return tuple(_some(colours, first, second, order, most, lambda step, sigma: step - ONE_SIDED * sigma >= apart))


@dataclass(frozen=True, eq=False)
class _Colours:
    """Pieces of known colour, dark to light."""

    names: list[str]
    lightness: Array
    sigma: Array
    chroma: Array
    hue: Array

    @classmethod
    def of(cls, table: pd.DataFrame, most: int, step: float) -> _Colours:
        if most < 0 or not 0 <= step <= 100:
            raise InvalidInputError(
                f"Pairs need a step of 0 to 100 L* and a number of 0 or more; got {step} and {most}. Pass such numbers."
            )
        columns = [_column(table, name) for name in ("lightness", "lightness_sigma", "chroma", "hue_angle")]
        known = np.isfinite(columns[0]) & np.isfinite(columns[2])
        order = np.flatnonzero(known)[np.argsort(columns[0][known], kind="stable")]
        if len(order) > MOST_PIECES:  # evenly, from the darkest to the lightest
            order = order[np.linspace(0, len(order) - 1, MOST_PIECES).astype(int)]
        lightness, sigma, chroma, hue = (column[order] for column in columns)
        names = table["swatch_id"].astype(str).to_numpy()[order].tolist()
        return cls(names, lightness, sigma, chroma, np.nan_to_num(hue))

    def pairs_within(self, step: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """The darker and the lighter of every pair that lies so close in value."""
        ends = np.searchsorted(self.lightness, self.lightness + step, side="right")
        counts = ends - np.arange(len(ends)) - 1
        first = np.repeat(np.arange(len(ends)), counts)
        starts = np.repeat(np.cumsum(counts) - counts, counts)
        return first, first + 1 + np.arange(len(first)) - starts

    def pairs_of_one_hue(self, step: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """The darker and the lighter of every pair of one hue that lies so far apart in value."""
        plain = np.flatnonzero(self.chroma >= VIVID_ENOUGH)
        turn = np.abs((self.hue[plain][:, None] - self.hue[plain] + 180) % 360 - 180)
        far = self.lightness[plain][None, :] - self.lightness[plain][:, None] >= step
        rows, cols = np.nonzero((turn <= SAME_HUE) & far)
        return plain[rows], plain[cols]

    def difference(self, first: NDArray[np.intp], second: NDArray[np.intp]) -> Array:
        angle = np.radians(self.hue)
        lab = np.column_stack([self.lightness, self.chroma * np.cos(angle), self.chroma * np.sin(angle)])
        return np.asarray(ciede2000(lab[first], lab[second]), np.float64)


def _column(table: pd.DataFrame, name: str) -> Array:
    return table[name].to_numpy(np.float64) if name in table else np.full(len(table), np.nan)


def _some(
    colours: _Colours, first: NDArray[np.intp], second: NDArray[np.intp], wanted: Iterable[int], most: int,
    sure: Callable[[float, float], bool],
) -> Iterator[ColourPair]:
    """The first pairs, no piece in more than two."""
    used: Counter[int] = Counter()
    found = 0
    for at in wanted:
        if found >= most:
            return
        dark, light = int(first[at]), int(second[at])
        if used[dark] >= _EACH or used[light] >= _EACH:
            continue
        used.update((dark, light))
        found += 1
        step = float(colours.lightness[light] - colours.lightness[dark])
        sigma = math.hypot(float(colours.sigma[dark]), float(colours.sigma[light]))  # nan: nothing is sure
        turn = abs((float(colours.hue[light] - colours.hue[dark]) + 180) % 360 - 180)
        difference = float(colours.difference(np.array([dark]), np.array([light]))[0])
        yield ColourPair(colours.names[dark], colours.names[light], step, sigma, difference, turn,
                         sure(step, sigma))
