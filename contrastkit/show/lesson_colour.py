"""
The teaching charts that set colour against value: one value in many hues, one hue in many values, pairs that fool.

All show the same pieces three times over: in colour, in grey, and each as the one grey of its mean, which is what is
left of its pattern across a room.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from contrastkit.compose.colour_pairs import ALIKE, VIVID_ENOUGH, ColourPair, alike_in_hue, alike_in_value
from contrastkit.compose.seams import ONE_SIDED
from contrastkit.light.lightness import SRGB, srgb1_to_linear, xyz_to_lab
from contrastkit.show.chart import chart_of
from contrastkit.show.drawing import Drawing, Mark, Words
from contrastkit.show.lesson_parts import (
    HEAD,
    LEADING,
    MAT,
    WIDTH,
    Pictures,
    Sample,
    finished,
    fitted,
    greys,
    mat,
    samples_of,
    square,
    squares_of,
    too_few,
)
from contrastkit.show.look import SMALL, text_width
from contrastkit.show.page import titled
from contrastkit.show.words import counted, listed, measured_words

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.show.chart import Chart
    from contrastkit.show.crops import Crops, Pixels

MOST = 7  # pieces in a row
_LARGEST = 38.0  # side of a square
_NARROWEST = 165.0
_BETWEEN = 2.5  # rows
_MEANS = 0.5  # height of the flat greys, in sides of a square
_HEADS = ("in colour", "in grey", "from afar")
_LEFT = 24.0  # the heads of the rows stand there
_PAIRS = 2  # of either kind
_SPREAD = 20.0  # L*, a design choice: one hue in many values reaches over two Munsell steps at least
_ALIGNED = 0.75  # a design choice: this share of a piece's colour points one way, or it is called many-coloured
_LOOKED_AT = 40  # pixels of a crop each way, to tell that
_APART = 4.0  # L*, a design choice: values of one hue nearer than that are shown once


def same_value_chart(table: pd.DataFrame, crops: Crops, *, title: str | None = None) -> Chart:
    """
    Return pieces of one value and as many hues as the pile has of it: apart in colour, one band in grey.

    Parameters
    ----------
    table : the swatch table, with chroma and hue_angle
    crops : the pieces cut out of their photographs, by swatch_id
    title : the finding; which hues are one in grey, if not given

    Raises
    ------
    InvalidInputError
        No two hues of one value in the pile, or a table or a crop that cannot be right.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [50.0, 52.0], "chroma": [40.0, 40.0],
    ...                       "hue_angle": [30.0, 270.0]})
    >>> same_value_chart(table, {}).description
    'Grey says red and blue are one value, L* 50 to 52: a red 50, b blue 52.'
    """
    chosen = one_value(_one_coloured(samples_of(table), crops))
    by_hue = sorted(chosen, key=lambda sample: sample.hue_angle)
    hues = listed([sample.hue for sample in by_hue])
    low, high = chosen[0].lightness, chosen[-1].lightness
    finding = title or f"Grey says {hues} are one value, L* {low:.0f} to {high:.0f}"
    how = (
        "Called by the hue of their mean, which tells them apart near by. Their values, which draw the edges across a "
        "room, lie within "
        f"{_whole(high - low)} L*: half a Munsell step is 5. {_unsure(chosen)}"
        + measured_words([sample.piece for sample in chosen])
    )
    return _rows_chart(by_hue, crops, finding, how)


def same_hue_chart(table: pd.DataFrame, crops: Crops, *, title: str | None = None) -> Chart:
    """
    Return pieces of one hue in as many values as the pile has of it, dark to light.

    Parameters
    ----------
    table : the swatch table, with chroma and hue_angle
    crops : the pieces cut out of their photographs, by swatch_id
    title : the finding; which hue reaches from where to where, if not given

    Raises
    ------
    InvalidInputError
        No hue of the pile reaches over 20 L*, or a table or a crop that cannot be right.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [30.0, 62.0], "chroma": [40.0, 40.0],
    ...                       "hue_angle": [30.0, 35.0]})
    >>> same_hue_chart(table, {}).description
    'One hue, two values: red from L* 30 to L* 62: a red 30, b red 62.'
    """
    chosen = one_hue(_one_coloured(samples_of(table), crops))
    low, high = chosen[0].lightness, chosen[-1].lightness
    finding = title or f"One hue, {_NUMBERS[len(chosen)]} values: {chosen[0].hue} from L* {low:.0f} to L* {high:.0f}"
    how = (
        "The name of a colour does not say how light it is: look at the grey, not at the name. "
        + measured_words([sample.piece for sample in chosen])
    )
    return _rows_chart(chosen, crops, finding, how)


def fooling_pairs_chart(table: pd.DataFrame, crops: Crops, *, title: str | None = None) -> Chart:
    """
    Return pairs that fool the eye: two colours of one value, and one colour of two values.

    Parameters
    ----------
    table : the swatch table, with chroma and hue_angle
    crops : the pieces cut out of their photographs, by swatch_id
    title : the finding; the pair that fools most, if not given

    Raises
    ------
    InvalidInputError
        No such pair in the pile, or a table or a crop that cannot be right.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [50.0, 52.0], "chroma": [40.0, 40.0],
    ...                       "hue_angle": [30.0, 270.0]})
    >>> fooling_pairs_chart(table, {}).description
    'Grey says a and b are one; the eye does not. a and b: 2 L* apart, 39 in colour.'
    """
    samples = samples_of(table)
    _of_known_colour(samples)
    one_coloured = {sample.name for sample in _one_coloured(samples, crops)}
    alike = alike_in_value(table, most=_PAIRS)
    unlike = alike_in_hue(table[table["swatch_id"].astype(str).isin(one_coloured)], most=_PAIRS)
    if not alike and not unlike:
        raise too_few(
            f"two colours less than {ALIKE:g} L* apart, or one hue in two values",
            f"the pile of {counted(len(table), 'swatch', 'swatches')} has neither",
            "Measure more pieces, or draw another chart",
        )
    by_name = {sample.name: sample for sample in samples}
    pairs = [(by_name[pair.darker], by_name[pair.lighter], pair) for pair in (*alike, *unlike)]
    side = min(_LARGEST, (WIDTH - (len(pairs) - 1) * 6 - 8) / len(pairs) / 2 - MAT)
    pictures = squares_of([sample for pair in pairs for sample in pair[:2]], crops, side, grey=True)
    height = _rows_height(side) + 3 * LEADING + 2 * HEAD + 2
    marks = list(_pairs(pairs, len(alike), side, height, pictures))
    said = ". ".join(_pair_said(pair) for _, _, pair in pairs)
    how = (
        "Each pair in colour, in grey, and as the two greys of its means, as from across a room. "
        + measured_words([by_name[name].piece for name in dict.fromkeys(s.name for pair in pairs for s in pair[:2])])
    )
    return finished(marks, height, title or _pair_finding(alike, unlike), how, pictures, f"{said}.")


# --- which pieces -----------------------------------------------------------------------------------------------------


def one_value(samples: Sequence[Sample]) -> list[Sample]:
    """
    Return one piece of each hue that lies within 5 L* of the others, where the pile has most hues so; dark to light.

    Raises
    ------
    InvalidInputError
        No two hues lie so near each other in value.
    """
    known = _with_hue(_of_known_colour(samples))
    best: list[Sample] = []
    for first in known:
        within = [sample for sample in known if 0 <= sample.lightness - first.lightness <= ALIKE]
        vivid = {hue: max((s for s in within if s.hue == hue), key=lambda s: (s.chroma, s.name))
                 for hue in dict.fromkeys(sample.hue for sample in within)}
        if _worth(list(vivid.values())) > _worth(best):
            best = list(vivid.values())
    if len(best) < 2:
        raise too_few(
            f"two hues within {ALIKE:g} L* of each other",
            f"the pile has no such two among {counted(len(known), 'coloured swatch', 'coloured swatches')}",
            "Paint or measure more pieces of middle value",
        )
    return sorted(best, key=lambda sample: (sample.lightness, sample.name))[:MOST]


def _of_known_colour(samples: Sequence[Sample]) -> Sequence[Sample]:
    if samples and not any(sample.coloured for sample in samples):
        raise too_few(
            "swatches of known colour", "that of this pile is not known",
            "Add the columns chroma and hue_angle, or measure photographs",
        )
    return samples


def _with_hue(samples: Sequence[Sample]) -> list[Sample]:
    return [sample for sample in samples if sample.coloured and sample.chroma >= VIVID_ENOUGH]


def _one_coloured(samples: Sequence[Sample], crops: Crops) -> list[Sample]:
    """Those that are not plainly many-coloured, as far as their crops tell: the hue of a mean is nowhere on such."""
    return [sample for sample in samples if sample.name not in crops or _aligned(crops[sample.name]) >= _ALIGNED]


def _aligned(crop: Pixels) -> float:
    """The chroma of the mean over the mean of the chroma: 1 where all of a piece is of one hue, 0 where none is."""
    step = max(1, min(crop.shape[:2]) // _LOOKED_AT)
    few = crop[::step, ::step].reshape(-1, crop.shape[2])
    if crop.shape[2] == 4:
        few = few[few[:, 3] >= 128]
    lab = xyz_to_lab(srgb1_to_linear(few[:, :3] / 255) @ np.array(SRGB.to_xyz).T)
    each = np.hypot(lab[:, 1], lab[:, 2]).mean() if len(few) else 0.0
    return float(np.hypot(*lab[:, 1:].mean(axis=0)) / each) if each > 0 else 1.0


def _worth(chosen: Sequence[Sample]) -> tuple[int, float]:
    return len(chosen), sum(sample.chroma for sample in chosen)


def one_hue(samples: Sequence[Sample]) -> list[Sample]:
    """
    Return up to seven pieces of the hue that reaches furthest, dark to light in steps as even as the pile allows.

    Raises
    ------
    InvalidInputError
        No hue reaches over 20 L*.
    """
    known = _with_hue(_of_known_colour(samples))
    hues = {hue: [s for s in known if s.hue == hue] for hue in dict.fromkeys(sample.hue for sample in known)}
    chosen = [_evenly(family) for family in hues.values()]
    best = max(chosen, key=_reach, default=[])
    if not best or _reach(best)[0] < _SPREAD:
        raise too_few(
            f"one hue that reaches over {_SPREAD:g} L*",
            f"none of the pile's {counted(len(hues), 'hue')} does",
            "Paint one colour over a dark and over a light ground, and measure both",
        )
    return best


def _reach(chosen: Sequence[Sample]) -> tuple[float, int]:
    """How far, at most four steps of which count, and in how many values."""
    return min(chosen[-1].lightness - chosen[0].lightness, 4 * 10.0), len(chosen)


def _evenly(family: Sequence[Sample]) -> list[Sample]:
    """Up to seven, no two alike in value."""
    apart: list[Sample] = []
    for sample in family:
        if not apart or sample.lightness - apart[-1].lightness >= _APART:
            apart.append(sample)
    if len(apart) <= MOST:
        return apart
    left, chosen = list(apart), []
    for goal in np.linspace(apart[0].lightness, apart[-1].lightness, MOST):
        nearest = min(left, key=lambda sample: abs(sample.lightness - goal))
        chosen.append(nearest)
        left.remove(nearest)
    return sorted(chosen, key=lambda sample: sample.lightness)


# --- rows of squares --------------------------------------------------------------------------------------------------


def _rows_chart(chosen: Sequence[Sample], crops: Crops, finding: str, how: str) -> Chart:
    side = min(_LARGEST, (WIDTH - _LEFT - 2 * MAT) / len(chosen))
    pictures = squares_of(chosen, crops, side, grey=True)
    below = 3 * LEADING + 2
    height = below + _rows_height(side)
    marks = [*_heads(below + MAT, side), *_rows(chosen, _LEFT + MAT, below + MAT, side, pictures)]
    for place, sample in enumerate(chosen):
        marks += _caption(sample, _LEFT + MAT + (place + 0.5) * side, below, side)
    said = ", ".join(f"{sample.name} {sample.hue} {sample.lightness:.0f}" for sample in chosen)
    wide = max(_NARROWEST, _LEFT + 2 * MAT + side * len(chosen))
    drawing = Drawing(wide, height, tuple(marks), f"{finding}: {said}.")
    return chart_of(titled(drawing, finding, how), pictures)


def _levels(foot: float, side: float) -> tuple[float, float, float]:
    """Where the rows stand, the top one first."""
    grey = foot + _MEANS * side + _BETWEEN
    return grey + side + _BETWEEN, grey, foot


def _rows_height(side: float) -> float:
    return (2 + _MEANS) * side + 2 * _BETWEEN + 2 * MAT


def _rows(chosen: Sequence[Sample], x: float, foot: float, side: float, pictures: Pictures) -> Iterator[Mark]:
    """The same pieces side by side in colour, in grey and as flat greys, on their mat."""
    colour, grey, means = _levels(foot, side)
    wide = side * len(chosen)
    yield mat(x, foot, wide, _rows_height(side) - 2 * MAT)
    for place, sample in enumerate(chosen):
        yield from square(sample, x + place * side, colour, side, pictures)
        yield from square(sample, x + place * side, grey, side, pictures, grey=True)
    yield from greys([sample.lightness for sample in chosen], x, means, wide, _MEANS * side)


def _heads(foot: float, side: float) -> Iterator[Mark]:
    heights = (side, side, _MEANS * side)
    for words, y, height in zip(_HEADS, _levels(foot, side), heights, strict=True):
        yield Words(_LEFT - 2, y + height / 2 - 0.35 * SMALL, words, SMALL, bold=True, align="right")


def _caption(sample: Sample, x: float, top: float, side: float) -> Iterator[Mark]:
    lines = (sample.hue, f"L* {sample.piece.lightness_words}", sample.name)
    for row, words in enumerate(lines):
        y = top - (row + 1) * LEADING + 0.4
        yield Words(x, y, fitted(words, side, bold=row == 0), SMALL, bold=row == 0, align="middle")


def _unsure(chosen: Sequence[Sample]) -> str:
    reach = chosen[-1].lightness - chosen[0].lightness
    sigma = math.hypot(chosen[0].sigma, chosen[-1].sigma)
    if not sigma or reach + ONE_SIDED * sigma <= ALIKE:
        return ""
    return f"With what the measurement leaves open it may be {_whole(reach + ONE_SIDED * sigma)} L*. "


def _whole(number: float) -> int:
    return max(1, round(number))


_NUMBERS = dict(enumerate(("no", "one", "two", "three", "four", "five", "six", "seven")))


# --- pairs ------------------------------------------------------------------------------------------------------------


def _pairs(
    pairs: Sequence[tuple[Sample, Sample, ColourPair]], alike: int, side: float, height: float, pictures: Pictures
) -> Iterator[Mark]:
    below = 3 * LEADING + 2
    wide = 2 * side + 2 * MAT
    gap = 6.0
    for place, (darker, lighter, pair) in enumerate(pairs):
        x = MAT + place * (wide + gap) + (8 - gap if 0 < alike <= place else 0)
        yield from _rows((darker, lighter), x, below + MAT, side, pictures)
        for row, (words, bold) in enumerate(_pair_lines(pair, wide)):
            yield Words(x + side, below - (row + 1) * LEADING + 0.4, words, SMALL, bold=bold, align="middle")
    y = height - HEAD
    if alike:
        yield Words(0, y, "Two colours, one value", HEAD, bold=True)
    if alike < len(pairs):
        left = alike * (wide + gap) + (8 - gap if alike else 0)
        yield Words(left, y, "One colour, two values", HEAD, bold=True)


def _pair_lines(pair: ColourPair, room: float) -> Iterator[tuple[str, bool]]:
    sigma = f" ± {max(1, round(pair.sigma))}" if pair.sigma > 0 else ""
    step = f"{pair.step:.0f}{sigma} L* apart"
    yield (step if text_width(step, SMALL, bold=True) <= room else f"{pair.step:.0f} L*"), True
    for name in (pair.darker, pair.lighter):
        yield fitted(name, room), False


def _pair_said(pair: ColourPair) -> str:
    return f"{pair.darker} and {pair.lighter}: {pair.step:.0f} L* apart, {pair.difference:.0f} in colour"


def _pair_finding(alike: Sequence[ColourPair], unlike: Sequence[ColourPair]) -> str:
    if alike:
        told = next((pair for pair in alike if pair.sure), alike[0])
        one = "one" if told.sure or not told.sigma > 0 else "nearly one"
        return f"Grey says {told.darker} and {told.lighter} are {one}; the eye does not"
    first = unlike[0]
    return f"The eye says {first.darker} and {first.lighter} are one colour; grey says {first.step:.0f} L* apart"
