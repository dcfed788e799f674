"""The teaching charts of distance: one stack as one steps back, and the rim that stays beside the rim that vanishes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import cv2
import numpy as np

from contrastkit.compose.seams import LINE_LIMIT, RimSeen, metres, rim_seen, surfaces
from contrastkit.compose.stacks import Stack, StackScore, default_sides, judge_stack
from contrastkit.light.distance import bands_seen, seen_from
from contrastkit.light.lightness import lightness_to_luminance, luminance_to_lightness
from contrastkit.show.crops import Crops, Pixels, encoded
from contrastkit.show.drawing import Box, Line, Mark, Photo, Words
from contrastkit.show.lesson_parts import (
    HEAD,
    LEADING,
    LINE,
    MIDDLE,
    WIDTH,
    Pictures,
    Sample,
    finished,
    samples_of,
    too_few,
)
from contrastkit.show.look import SMALL, shortened
from contrastkit.show.mockup import Image, render, stack_placed
from contrastkit.show.views import from_afar, in_grey, size_from_afar
from contrastkit.show.words import listed, measured_words

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.show.chart import Chart

DISTANCES_MM = (500.0, 1000.0, 2000.0, 3000.0, 5000.0, 8000.0)
RIM_MM = 25.4 / 16  # common practice, no source
_GAP = 3.0
_SIDE = (WIDTH - (len(DISTANCES_MM) - 1) * _GAP) / len(DISTANCES_MM)
_PIXELS = 360  # along the side of a picture of a stack
_FLAT_PIXELS = 240  # of one without patterns
_AROUND = 1.12  # side of a picture in sides of the bottom layer
_LAYERS = 3
_WIDEST = 110.0  # mm of the work, from 2 m on, have room under the pictures

# --- one stack, stepping back -----------------------------------------------------------------------------------------


def distances_chart(
    table: pd.DataFrame, crops: Crops, *, stack: Stack | None = None, title: str | None = None
) -> Chart:
    """
    Return one stack as the eye has it from half a metre to eight: in colour, in grey, and as small as it then is.

    Parameters
    ----------
    table : the swatch table
    crops : the pieces cut out of their photographs, by swatch_id
    stack : the stack; if not given, the pile's darkest, its most middling and its lightest piece, dark below
    title : the finding; what is left at the greatest distance, if not given

    Raises
    ------
    InvalidInputError
        Fewer than three swatches of known lightness, or a table or a crop that cannot be right.

    References
    ----------
    As `contrastkit.light.distance`.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b", "c"], "lightness": [20.0, 50.0, 80.0]})
    >>> distances_chart(table, {}).description[:60]
    'a, b and c still stand 25 L* apart, seen from 8 m. a 20, b 5'
    """
    stack = _stack_of(table) if stack is None else stack
    scores = [judge_stack(stack, distance_mm=distance) for distance in DISTANCES_MM]
    size = _AROUND * (stack.sides or default_sides(len(stack.layers)))[0]
    image = render(
        stack_placed(stack), crops, background=_behind(stack), size_mm=(size, size), pixels_per_mm=_PIXELS / size
    )
    pictures, smalls = _seen(image, size)
    steps = steps_seen(stack, DISTANCES_MM)
    marks = list(_distance_marks(scores, steps, smalls))
    finding = title or _distance_finding(scores, steps)
    said = ", ".join(f"{layer.swatch_id} {layer.lightness:.0f}" for layer in stack.layers)
    height = _levels(len(stack.layers))[0] + _SIDE + HEAD + 3
    return finished(marks, height, finding, _distance_how(table, stack), pictures, f"{said}.")


def _stack_of(table: pd.DataFrame) -> Stack:
    """The pile's darkest, most middling and lightest; of those nearly so, pieces whose rim is known."""
    samples = samples_of(table)
    if len(samples) < _LAYERS:
        raise too_few(
            f"{_LAYERS} swatches of known lightness for a stack", f"the pile has {len(samples)}", "Measure another one"
        )
    found = surfaces(table)
    middle = (samples[0].lightness + samples[-1].lightness) / 2
    goals = (samples[0].lightness, middle, samples[-1].lightness)
    chosen: list[Sample] = []
    for goal in goals:
        left = [sample for sample in samples if sample not in chosen]
        chosen.append(min(left, key=lambda sample: _away(sample, goal)))
    return Stack(tuple(found[sample.name] for sample in chosen), rim=RIM_MM)


def _away(sample: Sample, goal: float) -> tuple[float, str]:
    """How far from what is looked for; a piece that shows its rim may lie two L* further off."""
    return abs(sample.lightness - goal) + (0.0 if math.isfinite(sample.rim) else 2.0), sample.name


def _levels(layers: int) -> tuple[float, float, float]:
    """Where the pictures in colour, those in grey and the small ones stand; between them is a line for every seam."""
    small = size_from_afar(_WIDEST, DISTANCES_MM[2]) + 1  # the top of the small ones
    grey = small + (layers - 1) * LEADING + 3
    return grey + _SIDE + _GAP, grey, small


def _seen(image: Image, size_mm: float) -> tuple[Pictures, tuple[float, ...]]:
    """The pictures from every distance, and how large each is on a page in the hand; nan where larger than drawn."""
    pictures: Pictures = {}
    smalls = []
    for place, distance in enumerate(DISTANCES_MM):
        seen = from_afar(image, mm_per_pixel=size_mm / len(image), distance_mm=distance)
        pictures[f"colour\n{place}"], pictures[f"grey\n{place}"] = encoded(seen), encoded(in_grey(seen))
        small = size_from_afar(size_mm, distance)
        pictures[f"small\n{place}"] = _shrunk(image, max(8, round(small * 12)))
        smalls.append(small if small <= size_from_afar(_WIDEST, DISTANCES_MM[2]) else math.nan)
    return pictures, tuple(smalls)


def _shrunk(image: Image, side: int) -> Pixels:
    return encoded(cv2.resize(image, (side, side), interpolation=cv2.INTER_AREA) if side < len(image) else image)


def _distance_marks(
    scores: Sequence[StackScore], steps: Sequence[Sequence[float]], smalls: Sequence[float]
) -> Iterator[Mark]:
    colour, grey, small = _levels(len(scores[0].stack.layers))
    for place, (distance, score) in enumerate(zip(DISTANCES_MM, scores, strict=True)):
        x = place * (_SIDE + _GAP)
        yield Words(x, colour + _SIDE + 1.6, f"from {metres(distance)}", HEAD, bold=True)
        yield Photo(x, colour, _SIDE, _SIDE, f"colour\n{place}", f"from {metres(distance)}")
        yield Photo(x, grey, _SIDE, _SIDE, f"grey\n{place}", f"from {metres(distance)}, in grey")
        if math.isfinite(smalls[place]):
            side = smalls[place]
            yield Photo(x, small - side, side, side, f"small\n{place}", "as small as that")
        for row, words in enumerate(_seam_lines(score, steps[place])):
            yield Words(x, grey - 1.2 - (row + 1) * LEADING + 0.4, shortened(words, SMALL, _SIDE), SMALL)
    small_words = ("As small as from there, for a", "page held at 60 cm; from nearer", "it is larger than has room")
    for row, words in enumerate(small_words):
        yield Words(0, small - (row + 1) * LEADING, words, SMALL)


def _seam_lines(score: StackScore, steps: Sequence[float]) -> Iterator[str]:
    """Of every seam, from the top: its step as seen, and what is left of the rim's line."""
    count = len(score.seams)
    for place in reversed(range(count)):
        seam = score.seams[place]
        name = ("lower", "upper")[place] if count == 2 else "seam" if count == 1 else f"seam {place + 1}"
        yield f"{name} step {abs(steps[place]):.0f}, {_line_words(seam.line_step, seam.line_fades_mm)}"


def _line_words(step: float, fades_mm: float) -> str:
    if math.isnan(step):
        return "rim unknown"
    if fades_mm == 0:
        return "no rim line"
    return f"rim {step:.0f}" if step >= LINE_LIMIT else "rim gone"


def steps_seen(stack: Stack, distances_mm: Sequence[float]) -> list[tuple[float, ...]]:
    """
    Return the step of every seam as it is seen from each distance, L*, bottom first: from the middle of what shows of
    one layer to that of the next, both without their patterns.

    >>> from contrastkit.compose.seams import Surface
    >>> flat = Stack((Surface("a", 20), Surface("b", 80)))
    >>> [round(step) for (step,) in steps_seen(flat, (1000, 8000, 30_000))]
    [60, 50, 23]
    """
    sides = stack.sides or default_sides(len(stack.layers))
    size, fine = _AROUND * sides[0], _FLAT_PIXELS / (_AROUND * sides[0])
    image = render(stack_placed(stack), {}, background=_behind(stack), size_mm=(size, size), pixels_per_mm=fine)
    light = image[..., 0]
    at = _middles(stack, sides, size, fine)
    found = []
    for distance in distances_mm:
        seen = seen_from(light, mm_per_pixel=size / len(image), distance_mm=distance)
        levels = luminance_to_lightness(seen[len(seen) // 2, at]).tolist()
        found.append(tuple(after - before for before, after in pairwise(levels)))
    return found


def _middles(stack: Stack, sides: Sequence[float], size: float, fine: float) -> list[int]:
    """The columns, along the middle row, in the middle of what shows of every layer within its rim."""
    inner = (*sides[1:], 0.0)
    rims = (*(stack.rim for _ in sides[1:]), 0.0)
    places = [(size - outer) / 2 + (outer - side) / 4 + rim / 2
              for outer, side, rim in zip(sides, inner, rims, strict=True)]
    places[-1] = size / 2
    return [min(int(place * fine), round(size * fine) - 1) for place in places]


def _behind(stack: Stack) -> float:
    return MIDDLE if stack.background is None else stack.background.lightness


def _distance_finding(scores: Sequence[StackScore], steps: Sequence[Sequence[float]]) -> str:
    last, stack = scores[-1], scores[-1].stack
    names = listed([layer.swatch_id for layer in stack.layers])
    gone = [seam for seam in last.seams if seam.line_fades_mm > 0 and seam.line_step < LINE_LIMIT]
    weakest = min(abs(step) for step in steps[-1])
    where = f"seen from {metres(DISTANCES_MM[-1])}"
    if weakest < LINE_LIMIT:
        return f"{names} run into one, {where}: a step is {weakest:.0f} L*"
    if gone:
        first = min(gone, key=lambda seam: seam.line_fades_mm)
        return (
            f"The rim of {first.above} is gone from {metres(first.line_fades_mm)}; the layers still stand "
            f"{weakest:.0f} L* apart, {where}"
        )
    return f"{names} still stand {weakest:.0f} L* apart, {where}"


def _distance_how(table: pd.DataFrame, stack: Stack) -> str:
    names = {layer.swatch_id for layer in stack.layers}
    return (
        f"A stack {(stack.sides or default_sides(len(stack.layers)))[0]:.0f} mm wide. The eye's blur in linear light, "
        "a cautious answer: pattern and rim run together long before the layers do. "
        "Under each: the step from layer to layer, and how far the bare rim stands clear, in L*. "
        + measured_words([sample.piece for sample in samples_of(table) if sample.name in names])
    )


# --- the rim ----------------------------------------------------------------------------------------------------------

_RIM_DISTANCES_MM = (1000.0, 2000.0, 3000.0, 5000.0, 8000.0)
_WINDOW = 26.0  # mm of the work that a picture shows
_PICTURE = 34.0  # its side on the chart
_PROFILE = 22.0  # height of the profile under it
_NAMES = 43.0  # at the left
_CLEAR = 10.0  # L*, a design choice: a line that stands less clear close by is no line to begin with
_RIM_PIXELS = 260
_ASKED = 16
_OVER = 40.0  # L* that a profile spans at least


@dataclass(frozen=True)
class Rim:
    """A bare rim between two pieces, the upper of which wears it."""

    below: Sample
    above: Sample

    def seen(self, distance_mm: float) -> RimSeen:
        """Return what is left of it at a distance."""
        return rim_seen(
            self.below.lightness, self.above.rim, self.above.lightness, rim_mm=RIM_MM, distance_mm=distance_mm
        )


def rim_chart(table: pd.DataFrame, crops: Crops, *, title: str | None = None) -> Chart:
    """
    Return the rim of this pile that lasts longest as one steps back, and the one that vanishes soonest.

    Under each picture is drawn what the eye gets along a line across the seam: lower piece, rim, upper piece.

    Parameters
    ----------
    table : the swatch table, with lightness_rim or lightness_ground
    crops : the pieces cut out of their photographs, by swatch_id
    title : the finding; from where each is gone, if not given

    Raises
    ------
    InvalidInputError
        No piece with a rim that stands 10 L* clear of itself and another piece, or a table or a crop that cannot be
        right.

    References
    ----------
    As `contrastkit.light.distance`.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b", "c", "d"], "lightness": [30.0, 32.0, 70.0, 74.0],
    ...                       "lightness_rim": [30.0, 60.0, 70.0, 40.0]})
    >>> rim_chart(table, {}).description[:70]
    'A light rim lasts to 12 m, a dark one is gone at 5.3 m. a under b: 30,'
    """
    rims = rims_of(samples_of(table))
    pictures: Pictures = {}
    marks: list[Mark] = []
    each = _PICTURE + _PROFILE + 3 * LEADING
    for row, rim in enumerate(reversed(rims)):
        marks += _rim_row(rim, crops, row * each, pictures, row)
    finding = title or _rim_finding(rims)
    said = " ".join(_rim_said(rim) for rim in rims)
    how = (
        f"{'Both as' if len(rims) > 1 else 'As'} cut, with 1/16 in of bare ground. "
        "Blurred as the eye does in linear light, which spreads light over dark further "
        "than dark over light. A rim is called gone at less than 5 L* clear. "
        + measured_words(list({s.name: s.piece for rim in rims for s in (rim.below, rim.above)}.values()))
    )
    return finished(marks, each * len(rims), finding, how, pictures, said)


def rims_of(samples: Sequence[Sample]) -> tuple[Rim, ...]:
    """
    Return the rim that lasts longest and the one that is gone soonest, of all that stand clear close by.

    A line is lost when its own light over its nearer neighbour, times what the blur leaves of it, falls below the light
    of 5 L*: the smaller that share is at the start, the longer it lasts, but for what the other neighbour does. So only
    the sixteen pairs of the smallest and of the largest share are asked from where on their rims are gone.

    Raises
    ------
    InvalidInputError
        There is none.
    """
    found = [rim for _, rim in sorted(_shares(samples), key=lambda each: each[0])]
    if not found:
        with_rim = sum(math.isfinite(sample.rim) for sample in samples)
        raise too_few(
            f"a swatch with a bare rim {_CLEAR:g} L* lighter or darker than itself and another swatch",
            f"the pile has {with_rim} with a known rim, none of them so",
            "Leave a rim of another value when cutting, or fill in lightness_rim",
        )
    lasting = max(found[:_ASKED], key=_fades)
    going = min(found[-_ASKED:], key=_fades)
    return (lasting,) if lasting == going else (lasting, going)


def _fades(rim: Rim) -> float:
    return rim.seen(_RIM_DISTANCES_MM[0]).fades_mm


def _shares(samples: Sequence[Sample]) -> Iterator[tuple[float, Rim]]:
    """The share of its light at which each rim that stands clear is lost, over all pairs of pieces."""
    for above in samples:
        if not math.isfinite(above.rim):
            continue
        for below in samples:
            low, high = sorted((below.lightness, above.lightness))
            nearer = high if above.rim > high else low if above.rim < low else above.rim
            if below is above or abs(above.rim - nearer) < _CLEAR:
                continue
            lost = nearer + math.copysign(LINE_LIMIT, above.rim - nearer)
            yield (_light(lost) - _light(nearer)) / (_light(above.rim) - _light(nearer)), Rim(below, above)


def _light(lightness: float) -> float:
    """Luminance, in plain arithmetic: asked for every pair."""
    level = min(max(lightness, 0.0), 100.0)
    return ((level + 16) / 116) ** 3 if level > 8 else level * 27 / 24389


def _rim_row(rim: Rim, crops: Crops, foot: float, pictures: Pictures, row: int) -> Iterator[Mark]:
    image, mm_per_pixel = _window(rim, crops)
    gap = (WIDTH - _NAMES - len(_RIM_DISTANCES_MM) * _PICTURE) / (len(_RIM_DISTANCES_MM) - 1)
    picture_y = foot + _PROFILE + 2 * LEADING
    kind = "Light rim" if rim.above.rim > rim.above.lightness else "Dark rim"
    lines = (
        (kind, True), (f"L* {rim.above.rim:.0f}", True), ("between", False),
        (f"{rim.below.name}, L* {rim.below.lightness:.0f}", False), ("and", False),
        (f"{rim.above.name}, L* {rim.above.lightness:.0f}", False),
    )
    y = picture_y + _PICTURE
    for words, bold in lines:
        size = HEAD if bold else SMALL
        y -= 1.35 * size
        yield Words(0, y, shortened(words, size, _NAMES - 3, bold=bold), size, bold=bold)
    for place, distance in enumerate(_RIM_DISTANCES_MM):
        x = _NAMES + place * (_PICTURE + gap)
        name = f"rim {row}\n{place}"
        pictures[name] = encoded(from_afar(image, mm_per_pixel=mm_per_pixel, distance_mm=distance))
        yield Photo(x, picture_y, _PICTURE, _PICTURE, name, f"from {metres(distance)}")
        seen = rim.seen(distance)
        gone = seen.line_step < LINE_LIMIT
        words = f"{metres(distance)}: {'gone' if gone else f'{seen.line_step:.0f} L* clear'}"
        yield Words(x, picture_y - 1.2 * LEADING + 0.6, words, SMALL, bold=True)
        yield from _profile(rim, distance, x, foot + 0.4 * LEADING)


def _window(rim: Rim, crops: Crops) -> tuple[Image, float]:
    """The middle of the right side of the upper piece on the lower one, seen close by."""
    from contrastkit.compose.seams import Surface

    layers = tuple(Surface(s.name, s.lightness, rim=s.rim) for s in (rim.below, rim.above))
    sides = default_sides(2)
    stack = Stack(layers, sides=sides, rim=RIM_MM)
    picture = render(
        stack_placed(stack), crops, background=MIDDLE, size_mm=(_WINDOW, _WINDOW), pixels_per_mm=_RIM_PIXELS / _WINDOW,
        centre=(-sides[1] / 2 + RIM_MM / 2, 0.0),
    )
    return picture, _WINDOW / len(picture)


def _profile(rim: Rim, distance_mm: float, x: float, y: float) -> Iterator[Mark]:
    """L* that the eye gets across the seam, between quiet lines where the two pieces and the rim are."""
    levels = (rim.below.lightness, rim.above.rim, rim.above.lightness)
    low, span = min(levels) - 3, max(max(levels) - min(levels) + 6, _OVER)
    light = [float(each) for each in lightness_to_luminance(levels)]
    at = np.linspace(-_WINDOW / 2, _WINDOW / 2, 66) + RIM_MM / 2
    seen = np.asarray(luminance_to_lightness(bands_seen(light, [RIM_MM], distance_mm, at)))
    right = x + (np.arange(len(at)) / (len(at) - 1)) * _PICTURE
    up = y + (seen - low) / span * (_PROFILE - 2)
    for level in levels:
        line = y + (level - low) / span * (_PROFILE - 2)
        yield Line(x, line, x + _PICTURE, line, "hairline", LINE)
    for (x0, y0), (x1, y1) in pairwise(zip(right.tolist(), up.tolist(), strict=True)):
        yield Line(x0, y0, x1, y1, "text", 2 * LINE)
    yield Box(x, y - 0.8, _PICTURE, _PROFILE - 0.4, edge="hairline", line=LINE)


def _rim_finding(rims: Sequence[Rim]) -> str:
    fades = [_fades(rim) for rim in rims]
    kinds = ["light" if rim.above.rim > rim.above.lightness else "dark" for rim in rims]
    if len(rims) == 1:
        return f"The {kinds[0]} rim of {rims[0].above.name} is gone from {metres(fades[0])}"
    first = f"A {kinds[0]} rim lasts to {metres(fades[0])}"
    return f"{first}, {'another' if kinds[0] == kinds[1] else f'a {kinds[1]} one'} is gone at {metres(fades[1])}"


def _rim_said(rim: Rim) -> str:
    steps = ", ".join(f"{rim.seen(distance).line_step:.0f}" for distance in _RIM_DISTANCES_MM)
    return (
        f"{rim.below.name} under {rim.above.name}: {rim.below.lightness:.0f}, rim {rim.above.rim:.0f}, "
        f"{rim.above.lightness:.0f}; clear by {steps} L* at {listed([metres(d) for d in _RIM_DISTANCES_MM])}."
    )


