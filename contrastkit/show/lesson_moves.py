"""
The teaching charts of what moves lightness, or seems to: vivid colours, warm lamps, other eyes, viewing films.

Each shows the pieces that move furthest on the axis of lightness, with the grey they are and the grey they become, and
the pairs that change places: which of two is lighter then depends on who looks and by what light.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from contrastkit.compose.seams import ONE_SIDED
from contrastkit.light.films import FILMS, lightness_through
from contrastkit.light.lightness import lightness_to_grey8
from contrastkit.light.vision import EYES, LAMPS, eyes_matrix, lab_through, lamp_matrix
from contrastkit.light.vivid import apparent_range
from contrastkit.show.drawing import Box, Line, Mark, Photo, Words
from contrastkit.show.lesson_parts import (
    HEAD,
    LEADING,
    LINE,
    MAT,
    TALLEST,
    WIDTH,
    Array,
    Axis,
    Pictures,
    Sample,
    finished,
    fitted,
    greys,
    mat,
    samples_of,
    square,
    squares_of,
    step_words,
    too_few,
)
from contrastkit.show.look import SMALL, shortened, text_width
from contrastkit.show.words import counted, measured_words

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.show.chart import Chart
    from contrastkit.show.crops import Crops, Pixels

WORTH_SAYING = 5.0  # L*, a design choice: half a Munsell step, from which a vivid colour is called deceiving
_MOST, _MOST_VIVID = 6, 8  # pieces with a row
_SIDE = 12.0  # of a piece in its row
_TRACK = 5.2  # height of one move
_CHIP = 4.0  # side of the grey that a piece becomes
_NAMES = 27.0  # room for the name of a piece
_LEFT = 2 * _SIDE + 3  # where that begins
_NUMBERS = 26.0  # at the right of the axis
_AXIS = 3.2 * SMALL  # height of the figures under the rows
_OVER = 1.4 * SMALL  # room over the rows
_SWAP = 17.0  # side of a square of a pair that changes places


@dataclass(frozen=True)
class Change:
    """
    Something that moves lightness.

    word: its name beside a track; head: over the pairs; by: how a sentence goes on, e.g. "by a filament lamp";
    lightness: L* it makes of CIELAB; sigma: standard uncertainty of that, L*.
    """

    word: str
    head: str
    by: str
    lightness: Callable[[Array], Array]
    sigma: float


@dataclass(frozen=True)
class Swap:
    """Two pieces, the first the darker as measured and the lighter then; how far apart before and after, L*."""

    darker: int
    lighter: int
    before: float
    after: float


@dataclass(frozen=True, eq=False)
class Moves:
    """What changes make of a pile: L* after each, how sure each is, and the pairs that change places."""

    samples: tuple[Sample, ...]
    after: tuple[Array, ...]
    sigmas: tuple[float, ...]
    swaps: tuple[tuple[Swap, ...], ...]

    @property
    def surely(self) -> str:
        """The word, where the uncertainty of all pieces is known; nothing elsewhere."""
        return "surely " if all(math.isfinite(sample.piece.sigma) for sample in self.samples) else ""

    @property
    def pairs(self) -> int:
        """How many pairs there are."""
        return len(self.samples) * (len(self.samples) - 1) // 2

    @property
    def before(self) -> Array:
        """L* as measured."""
        return np.array([sample.lightness for sample in self.samples])


# The models of other eyes agree to within 2 to 4 L* on strong colours (Machado and others 2009 against Brettel, Vienot
# and Mollon 1997); the lamps' errors are those that `contrastkit.light.vision` states of measured paints.
_EYES_SIGMA = 2.0
_LAMPS_SIGMA = {"filament": 0.13, "LED": 0.8}
_EYES_WORDS = {
    "protan": "to eyes that take red for dark", "deutan": "to eyes that mix up red and green",
    "tritan": "to eyes that mix up blue and green",
}


def _by_matrix(matrix: Array, lab: Array) -> Array:
    return lab_through(lab, matrix)[..., 0]


def _by_film(film: str, lab: Array) -> Array:
    return lightness_through(lab, film)


def lamps_chart(table: pd.DataFrame, crops: Crops, *, title: str | None = None) -> Chart:
    """
    Return how warm lamps move the pile's lightness: which pieces come forward, which pairs change places.

    Parameters
    ----------
    table : the swatch table, with chroma and hue_angle
    crops : the pieces cut out of their photographs, by swatch_id
    title : the finding; how many pairs change places, if not given

    Raises
    ------
    InvalidInputError
        Fewer than two swatches of known colour, or a table or a crop that cannot be right.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [41.0, 46.0], "chroma": [57.0, 40.0],
    ...                       "hue_angle": [27.0, 230.0]})
    >>> lamps_chart(table, {}).description[:56]
    'By a filament lamp the one pair changes places. a 41: fi'
    """
    changes = [
        Change(lamp, f"{words} lamp", f"by a {words} lamp", partial(_by_matrix, lamp_matrix(lamp)), _LAMPS_SIGMA[lamp])
        for lamp, words in zip(LAMPS, ("filament", "warm LED"), strict=True)
    ]
    how = "Reds and oranges come forward, blues go back; greys stay. Look at your work by the lamp of its wall."
    return _moves_chart(table, crops, changes, how, title)


def eyes_chart(table: pd.DataFrame, crops: Crops, *, title: str | None = None) -> Chart:
    """
    Return how colour-vision deficiencies move the pile's lightness.

    Parameters
    ----------
    table : the swatch table, with chroma and hue_angle
    crops : the pieces cut out of their photographs, by swatch_id
    title : the finding; how many pairs change places, if not given

    Raises
    ------
    InvalidInputError
        Fewer than two swatches of known colour, or a table or a crop that cannot be right.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [41.0, 39.5], "chroma": [57.0, 0.0],
    ...                       "hue_angle": [27.0, 0.0]})
    >>> eyes_chart(table, {}).description[:60]
    'To eyes that take red for dark the one pair changes places. '

    References
    ----------
    J. Birch, Worldwide prevalence of red-green color deficiency, Journal of the Optical Society of America A 29(3),
    313-320, 2012: how many.
    """
    changes = [
        Change(eyes, f"{eyes} eyes", _EYES_WORDS[eyes], partial(_by_matrix, eyes_matrix(eyes)), _EYES_SIGMA)
        for eyes in EYES
    ]
    how = (
        "Protan eyes take red for dark, deutan ones mix up red and green: up to one man in twelve, mostly less than "
        "drawn here. Tritan ones mix up blue and green: rare. A red 20 L* from black may be 10 from it to protan eyes."
    )
    return _moves_chart(table, crops, changes, how, title)


def films_chart(table: pd.DataFrame, crops: Crops, *, title: str | None = None) -> Chart:
    """
    Return what a red and a green viewing film show of the pile, and where they mislead.

    Parameters
    ----------
    table : the swatch table, with chroma and hue_angle
    crops : the pieces cut out of their photographs, by swatch_id
    title : the finding; how many pairs a film turns round, if not given

    Raises
    ------
    InvalidInputError
        Fewer than two swatches of known colour, or a table or a crop that cannot be right.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [41.0, 52.0], "chroma": [50.0, 30.0],
    ...                       "hue_angle": [27.0, 230.0]})
    >>> films_chart(table, {}).description[:50]
    'Through red film the one pair changes places. a 41'
    """
    changes = [
        Change(film, f"{film} film", f"through {film} film", partial(_by_film, film), FILMS[film].sigma)
        for film in FILMS
    ]
    how = (
        "A film hides hue, and shows how much red or green light comes back, which is not value: drawn in grey, for a "
        "film of usual strength. True grey, which is L*, has no such fault."
    )
    return _moves_chart(table, crops, changes, how, title)


def moved(samples: Sequence[Sample], changes: Sequence[Change]) -> Moves:
    """
    Return what changes make of pieces of known colour, dark to light.

    A pair counts as changing places only where that is sure, nineteen times in twenty, before and after, as far as the
    uncertainty of the pieces is known.
    """
    lab = np.array([sample.lab for sample in samples])
    sigma = np.array([sample.sigma for sample in samples])
    after = tuple(np.asarray(change.lightness(lab), float) for change in changes)
    swaps = tuple(_swaps(lab[:, 0], new, sigma, change.sigma) for new, change in zip(after, changes, strict=True))
    return Moves(tuple(samples), after, tuple(change.sigma for change in changes), swaps)


def _swaps(before: Array, after: Array, sigma: Array, model: float) -> tuple[Swap, ...]:
    """The pairs that surely change places, the plainest first."""
    old, new = before[None, :] - before[:, None], after[None, :] - after[:, None]
    apart = np.hypot(sigma[None, :], sigma[:, None])
    sure = (old > ONE_SIDED * apart) & (-new > ONE_SIDED * np.hypot(apart, math.sqrt(2) * model))
    first, second = np.nonzero(sure & (old > 0))
    plain = np.minimum(old[first, second], -new[first, second])
    order = np.lexsort((second, first, -plain))
    return tuple(
        Swap(int(first[at]), int(second[at]), float(old[first[at], second[at]]), float(-new[first[at], second[at]]))
        for at in order
    )


# --- the chart of moves -----------------------------------------------------------------------------------------------


def _moves_chart(
    table: pd.DataFrame, crops: Crops, changes: Sequence[Change], how: str, title: str | None
) -> Chart:
    samples = [sample for sample in samples_of(table) if sample.coloured]
    if len(samples) < 2:
        raise too_few(
            "two swatches of known colour or more", f"the pile has {len(samples)}",
            "Measure them from a photograph, or add chroma and hue_angle to the table",
        )
    moves = moved(samples, changes)
    told = [swaps[0] for swaps in moves.swaps if swaps]
    foot = _swaps_height(bool(told))
    row = max(_SIDE + 2, _TRACK * len(changes) + 2)
    shown = _furthest(moves, min(_MOST, int((TALLEST - foot - _AXIS - _OVER) / row)))
    swapped = [samples[at] for swap in told for at in (swap.darker, swap.lighter)]
    pictures = squares_of([*(samples[at] for at in shown), *swapped], crops, _SWAP)
    top = foot + _AXIS + row * len(shown)
    axis = _axis_of(moves, shown)
    marks = [*axis.marks(foot + _AXIS, top)]
    for place, at in enumerate(shown):
        marks += _row(moves, at, changes, axis, foot + _AXIS + place * row, row, pictures)
    marks.append(Words(axis.at(samples[shown[-1]].lightness), top + 0.8, "measured", SMALL, bold=True, align="middle"))
    marks += _swap_cells(moves, changes, pictures)
    said = " ".join(_said(moves, at, changes) for at in shown)
    measured = measured_words([sample.piece for sample in samples])
    return finished(marks, top + _OVER, title or _moves_finding(moves, changes), f"{how} {measured}", pictures, said)


def _furthest(moves: Moves, most: int) -> list[int]:
    """Places of the pieces that move furthest, dark to light."""
    shift = np.max([abs(after - moves.before) for after in moves.after], axis=0)
    return sorted(np.argsort(-shift, kind="stable")[:most].tolist())


def _axis_of(moves: Moves, shown: Sequence[int]) -> Axis:
    reached = [
        float(level[at]) + sign * sigma
        for at in shown for level, sigma in ((moves.before, 0.0), *zip(moves.after, moves.sigmas, strict=True))
        for sign in (-1, 1)
    ]
    left = _LEFT + _NAMES + 17 + _CHIP / 2
    return Axis.over([min(max(level, 0.0), 100.0) for level in reached], left, WIDTH - _NUMBERS)


def _row(
    moves: Moves, at: int, changes: Sequence[Change], axis: Axis, foot: float, row: float, pictures: Pictures
) -> Iterator[Mark]:
    sample, middle = moves.samples[at], foot + row / 2
    yield Box(0, middle - _SIDE / 2 - 0.7, 2 * _SIDE + 1.4, _SIDE + 1.4, fill=50.0)
    yield from square(sample, 0.7, middle - _SIDE / 2, _SIDE, pictures)
    yield from greys([sample.lightness], 0.7 + _SIDE, middle - _SIDE / 2, _SIDE, _SIDE)
    yield Words(_LEFT, middle + 0.9, shortened(sample.name, SMALL, _NAMES), SMALL)
    yield Words(_LEFT, middle - 0.9 - 0.75 * SMALL, f"L* {sample.piece.lightness_words}", SMALL)
    top = middle + _TRACK * len(changes) / 2
    x = axis.at(sample.lightness)
    yield Line(x, top - _TRACK * len(changes) + 0.4, x, top - 0.4, "text", 2 * LINE)
    for place, (change, after) in enumerate(zip(changes, moves.after, strict=True)):
        y = top - (place + 0.5) * _TRACK
        sigma = math.hypot(sample.sigma, change.sigma if sample.chroma > 0 else 0.0)
        yield Words(axis.left - _CHIP / 2 - 2, y - 0.35 * SMALL, change.word, SMALL, align="right")
        yield from _track(axis, sample.lightness, float(after[at]), sigma, y)


def _track(axis: Axis, before: float, after: float, sigma: float, y: float) -> Iterator[Mark]:
    """From the line of what was measured an arrow to the grey that it becomes, with its uncertainty."""
    start, end, half = axis.at(before), axis.at(min(max(after, axis.low), axis.high)), _CHIP / 2
    low, high = (min(max(axis.at(after + sign * sigma), axis.left), axis.right) for sign in (-1, 1))
    for a, b in ((low, end - half), (end + half, high)):
        if b > a:
            yield Line(a, y, b, y, "text", LINE)
    for x in (low, high):
        if abs(x - end) > half:
            yield Line(x, y - 0.8, x, y + 0.8, "text", LINE)
    if abs(end - start) > half:
        near = end - math.copysign(half, end - start)
        yield Line(start, y, near, y, "text", 2 * LINE)
    yield Box(end - half, y - half, _CHIP, _CHIP, fill=min(max(after, 0.0), 100.0), edge="text", line=LINE)
    words = f"{after:.0f}, {step_words(round(after) - round(before))}".replace("no step", "as before")
    right = max(end + half, high, start) + 1.2
    yield Words(right, y - 0.35 * SMALL, words, SMALL)


# --- the pairs that change places -------------------------------------------------------------------------------------


def _swaps_height(any_: bool) -> float:
    return _SWAP + 2 * MAT + 3 * LEADING + 2 if any_ else 2 * LEADING


def _swap_cells(moves: Moves, changes: Sequence[Change], pictures: Pictures) -> Iterator[Mark]:
    """One cell for each change: how many pairs change places, and the plainest of them before and after."""
    each = WIDTH / len(changes)
    told = any(moves.swaps)
    for place, (change, swaps, after) in enumerate(zip(changes, moves.swaps, moves.after, strict=True)):
        x = place * each
        y = _SWAP + 2 * MAT + LEADING + 1.6 if told else 0.5 * LEADING
        words = _cell_words(change, swaps, moves.surely)
        yield Words(x, y, fitted(words, each, bold=True), SMALL, bold=True)
        if swaps:
            yield from _swap_pictures(moves, swaps[0], after, change, x + MAT, MAT + LEADING, each, pictures)


def _cell_words(change: Change, swaps: Sequence[Swap], surely: str) -> str:
    head = change.head[0].upper() + change.head[1:]
    count = counted(len(swaps), "pair") if swaps else "no pair"
    return f"{head}: {count} {surely}{'change' if len(swaps) > 1 else 'changes'} places"


def _swap_pictures(
    moves: Moves, swap: Swap, after: Array, change: Change, x: float, y: float, room: float, pictures: Pictures
) -> Iterator[Mark]:
    first, second = moves.samples[swap.darker], moves.samples[swap.lighter]
    chip = _SWAP / 2 - 1
    yield mat(x, y, 2 * _SWAP + 2 + 2 * chip, _SWAP)
    yield from square(first, x, y, _SWAP, pictures)
    yield from square(second, x + _SWAP, y, _SWAP, pictures)
    left = x + 2 * _SWAP + 2
    high = _SWAP / 2 - 0.6
    yield from greys([first.lightness, second.lightness], left, y + _SWAP - high, 2 * chip, high)
    new = [min(max(float(after[at]), 0.0), 100.0) for at in (swap.darker, swap.lighter)]
    yield from greys(new, left, y, 2 * chip, high)
    words_x = left + 2 * chip + MAT + 1.5
    for level, head, words in (
        (y + _SWAP - high / 2, "measured:", f"left {swap.before:.0f} darker"),
        (y + high / 2, f"{change.word}:", f"left {swap.after:.0f} lighter"),
    ):
        yield Words(words_x, level + 0.45, head, SMALL)
        yield Words(words_x, level + 0.45 - LEADING, words, SMALL)
    each = (room - 6) / 2
    yield Words(x - MAT, 0.4, f"{fitted(first.name, each)} | {fitted(second.name, each)}", SMALL)


# --- words ------------------------------------------------------------------------------------------------------------


def _moves_finding(moves: Moves, changes: Sequence[Change]) -> str:
    """Of the change that turns most pairs round, how many; else the piece that moves furthest."""
    most = max(range(len(changes)), key=lambda place: len(moves.swaps[place]))
    count = len(moves.swaps[most])
    if not count:
        shift = [after - moves.before for after in moves.after]
        place = max(range(len(changes)), key=lambda each: float(np.abs(shift[each]).max()))
        at = int(np.abs(shift[place]).argmax())
        by = changes[place].by
        step = round(moves.after[place][at]) - round(moves.before[at])  # of the numbers beside it
        return f"No pair {moves.surely}changes places; {moves.samples[at].name} is {step_words(step)} {by}"
    by = changes[most].by[0].upper() + changes[most].by[1:]
    if moves.pairs == 1:
        return f"{by} the one pair changes places"
    return f"{by} {count} of {moves.pairs} pairs {'changes' if count == 1 else 'change'} places"


def _said(moves: Moves, at: int, changes: Sequence[Change]) -> str:
    sample = moves.samples[at]
    each = ", ".join(f"{change.word} {after[at]:.0f}" for change, after in zip(changes, moves.after, strict=True))
    return f"{sample.name} {sample.lightness:.0f}: {each}."


# --- vivid colours ----------------------------------------------------------------------------------------------------


def vivid_chart(table: pd.DataFrame, crops: Crops, *, title: str | None = None) -> Chart:
    """
    Return the vivid pieces: what grey says of each, and what the eye says, as a range.

    Parameters
    ----------
    table : the swatch table, with chroma and hue_angle
    crops : the pieces cut out of their photographs, by swatch_id
    title : the finding; the piece that deceives most, if not given

    Raises
    ------
    InvalidInputError
        No piece looks half a step or more lighter than it is, or a table or a crop that cannot be right.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a"], "lightness": [41.0], "chroma": [57.0], "hue_angle": [27.0]})
    >>> vivid_chart(table, {}).description
    'Grey says L* 41 of a, the eye 47 to 56. a 41: looks 47 to 56.'
    """
    samples = [sample for sample in samples_of(table) if sample.coloured]
    looks = [_looks(sample) for sample in samples]
    vivid = [at for at, (_, high) in enumerate(looks) if high - samples[at].lightness >= WORTH_SAYING]
    if not vivid:
        raise too_few(
            "a vivid swatch, one that looks 5 L* lighter than it is",
            f"none of {counted(len(samples), 'swatch', 'swatches')} of known colour does",
            "Measure some strong reds, violets or blues",
        )
    furthest = sorted(vivid, key=lambda at: samples[at].lightness - looks[at][1])
    shown = sorted(furthest[:_MOST_VIVID])
    pictures = squares_of([samples[at] for at in shown], crops, _SIDE)
    foot, row = _AXIS, _SIDE + 2
    top = foot + row * len(shown)
    axis = Axis.over([level for at in shown for level in (samples[at].lightness, *looks[at])], _LEFT + _NAMES + 6,
                     WIDTH - _NUMBERS)
    pictures |= {_range_of(samples[at]): _gradient(*looks[at]) for at in shown}
    marks = [*axis.marks(foot, top)]
    for place, at in enumerate(shown):
        marks += _vivid_row(samples[at], looks[at], axis, foot + place * row, row, pictures)
    marks += _vivid_heads(samples[shown[-1]], looks[shown[-1]], axis, top)
    first = furthest[0]
    finding = title or (
        f"Grey says L* {samples[first].lightness:.0f} of {samples[first].name}, the eye "
        f"{looks[first][0]:.0f} to {looks[first][1]:.0f}"
    )
    said = " ".join(f"{samples[at].name} {samples[at].lightness:.0f}: looks {looks[at][0]:.0f} to {looks[at][1]:.0f}."
                    for at in shown)
    return finished(marks, top + 2 * LEADING, finding, _vivid_how(samples, vivid, shown), pictures, said)


def _looks(sample: Sample) -> tuple[float, float]:
    low, high = apparent_range(sample.lightness, sample.chroma, sample.hue_angle if sample.chroma else 0.0)
    return float(low), float(high)


def _vivid_row(
    sample: Sample, looks: tuple[float, float], axis: Axis, foot: float, row: float, pictures: Pictures
) -> Iterator[Mark]:
    middle = foot + row / 2
    yield Box(0, middle - _SIDE / 2 - 0.7, 2 * _SIDE + 1.4, _SIDE + 1.4, fill=50.0)
    yield from square(sample, 0.7, middle - _SIDE / 2, _SIDE, pictures)
    yield from greys([sample.lightness], 0.7 + _SIDE, middle - _SIDE / 2, _SIDE, _SIDE)
    yield Words(_LEFT, middle + 0.9, shortened(sample.name, SMALL, _NAMES), SMALL)
    yield Words(_LEFT, middle - 0.9 - 0.75 * SMALL, f"L* {sample.piece.lightness_words}", SMALL)
    low, high = (axis.at(min(level, axis.high)) for level in looks)
    height = 6.0
    yield Photo(low, middle - height / 2, high - low, height, _range_of(sample), "as the eye says")
    yield Box(low, middle - height / 2, high - low, height, edge="text", line=LINE)
    x, half = axis.at(sample.lightness), height / 2
    yield Line(x + half, middle, low, middle, "secondary", LINE, dashed=True)
    yield Box(x - half, middle - half, height, height, fill=sample.lightness, edge="text", line=LINE)
    yield Words(high + 1.5, middle - 0.35 * SMALL, f"{looks[0]:.0f} to {looks[1]:.0f}", SMALL, bold=True)


def _range_of(sample: Sample) -> str:
    """The name under which what the eye says stands; no swatch can be called so."""
    return f"{sample.name}\nto the eye"


def _gradient(low: float, high: float) -> Pixels:
    """From one L* to another, left to right."""
    codes = lightness_to_grey8(np.linspace(min(low, 100.0), min(high, 100.0), 60))
    return np.repeat(np.repeat(codes[None, :, None], 3, axis=2), 2, axis=0)


def _vivid_heads(sample: Sample, looks: tuple[float, float], axis: Axis, top: float) -> Iterator[Mark]:
    """Over the topmost row: what the two marks are."""
    left, right = axis.at(sample.lightness), axis.at(sum(looks) / 2)
    apart = (text_width("grey says", HEAD, bold=True) + text_width("the eye says", HEAD, bold=True)) / 2 + 3
    shift = max(0.0, apart - (right - left)) / 2
    yield Words(left - shift, top + 1.2, "grey says", HEAD, bold=True, align="middle")
    yield Words(right + shift, top + 1.2, "the eye says", HEAD, bold=True, align="middle")


def _vivid_how(samples: Sequence[Sample], vivid: Sequence[int], shown: Sequence[int]) -> str:
    rest = f", {len(shown)} of them here" if len(shown) < len(vivid) else ""
    return (
        f"{len(vivid)} of {counted(len(samples), 'piece')} may look half a Munsell step or more lighter than a grey "
        f"photograph shows{rest}. People and formulas differ, so it is a range; edges follow the grey. "
        + measured_words([sample.piece for sample in samples])
    )


