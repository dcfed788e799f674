"""The teaching charts of light that adds up: half black and half white, and how much paint lands half-way."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import cv2
import numpy as np

from contrastkit.compose.seams import ONE_SIDED
from contrastkit.light.distance import VALUE_KERNEL, kernel_mtf
from contrastkit.light.lightness import lightness_to_luminance, luminance_to_lightness
from contrastkit.show.chart import PRINT_PIXELS_PER_MM
from contrastkit.show.crops import encoded
from contrastkit.show.drawing import Box, Line, Mark, Photo, Words
from contrastkit.show.lesson_parts import (
    HEAD,
    LEADING,
    LINE,
    MAT,
    WIDTH,
    Array,
    Pictures,
    Sample,
    finished,
    fitted,
    greys,
    lights_of,
    mat,
    samples_of,
    square,
    squares_of,
    too_few,
)
from contrastkit.show.look import SMALL, legible_on, shortened
from contrastkit.show.mockup import Image
from contrastkit.show.words import measured_words

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.show.chart import Chart
    from contrastkit.show.crops import Crops

APART = 20.0  # L*, a design choice: a pile whose ends are nearer shows nothing plainly
_THINNING = 3.0  # Yule-Nielsen's n at the upper end of what rubbed paint that thins on the weave may need

# --- half and half ----------------------------------------------------------------------------------------------------

_BLOCK, _TALL = 36.0, 40.0  # width of a field of stripes and of the greys beside it; their height, mm
_STRIPE = 1.0  # width of one, mm
_RIPPLE = 1.0  # L*, a design choice: stripes that stand out less from each other have melted
_OWN = 5  # pieces of the pile
_OWN_SIDE = 25.0
_OWN_LEAST = 3.0  # L* between the two kinds of half-way, as worked out: plain to see side by side [design choice]
_HALF = (0.4, 0.6)  # of the area painted: what is called about half [design choice]
_KEEN = 50.0  # cycles a degree that keen eyes still see of black and white; from memory


def half_and_half_chart(table: pd.DataFrame, crops: Crops, *, title: str | None = None) -> Chart:
    """
    Return stripes of black and white, and of the pile's ends, each between the two greys to choose from.

    From afar the stripes melt into the grey of their mean light, never into the grey half-way between: light adds up
    where it comes from, and the eye's scale of lightness is not that of light. Under them stand pieces of the pile
    that are about half painted, with what half-way would have been and what was measured.

    Parameters
    ----------
    table : the swatch table
    crops : the pieces cut out of their photographs, by swatch_id
    title : the finding; what black and white and the pile's ends come to, if not given

    Raises
    ------
    InvalidInputError
        The pile's darkest and lightest are less than 20 L* apart, or a table or a crop that cannot be right.

    References
    ----------
    A. Murray, Monochrome reproduction in photoengraving, Journal of the Franklin Institute 221(6), 721-744, 1936.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [20.0, 80.0]})
    >>> half_and_half_chart(table, {}).description[:87]
    'Half black, half white is L* 76, not 50; half a, half b is 62, not 50. Stripes of 1 mm '
    """
    dark, light = _ends(samples_of(table))
    pictures = _stripe_pictures(dark, light, crops)
    halves = _halves(samples_of(table))
    pictures |= squares_of(halves, crops, _OWN_SIDE)
    foot = _OWN_SIDE + 2 * MAT + 3 * LEADING + HEAD + 6 if halves else 0.0
    pairs = ((0.0, 100.0, "Black", "white"), (dark.lightness, light.lightness, dark.name, light.name))
    marks: list[Mark] = []
    for place, (low, high, first, second) in enumerate(pairs):
        x = MAT + place * (WIDTH / 2 + 2)
        marks += _stripes(low, high, x, foot + LEADING + 2 + MAT, str(place))
        words = shortened(f"{first} and {second}, half and half", HEAD, WIDTH / 2 - 12, bold=True)
        marks.append(Words(x - MAT, foot + LEADING + 2 + 2 * MAT + _TALL + 1.4, words, HEAD, bold=True))
    marks += _own(halves, pictures)
    means = [_mean(low, high) for low, high, *_ in pairs]
    finding = title or (
        f"Half black, half white is L* {means[0]:.0f}, not 50; half {dark.name}, half {light.name} is {means[1]:.0f}, "
        f"not {(dark.lightness + light.lightness) / 2:.0f}"
    )
    near, keen = melting_mm(0.0, 100.0) / 1000, 2 * _STRIPE * _KEEN / math.radians(1) / 1000
    how = (
        f"Step back: from {math.ceil(near)} m on, for keen eyes from {math.ceil(keen)}, the stripes melt into the grey "
        "at their right, not into the one at their left. Printers lay ink on a little wide: a print may melt darker. "
        + measured_words([dark.piece, light.piece, *(sample.piece for sample in halves)])
    )
    said = f"Stripes of {_STRIPE:g} mm " + "; ".join(
        f"{first} L* {low:.0f} and {second} L* {high:.0f} melt into L* {mean:.0f}"
        for (low, high, first, second), mean in zip(pairs, means, strict=True)
    ) + "."
    height = foot + LEADING + 2 + 2 * MAT + _TALL + 2 * HEAD
    return finished(marks, height, finding, how, pictures, said)


def _ends(samples: Sequence[Sample]) -> tuple[Sample, Sample]:
    if len(samples) < 2 or samples[-1].lightness - samples[0].lightness < APART:
        reach = samples[-1].lightness - samples[0].lightness if samples else 0.0
        raise too_few(
            f"a dark and a light swatch {APART:g} L* apart or more",
            f"the pile's {len(samples)} reach over {reach:.0f} L*",
            "Measure darker or lighter pieces too",
        )
    return samples[0], samples[-1]


def _mean(dark: float, light: float) -> float:
    """L* of half of each."""
    return float(luminance_to_lightness(np.mean(lightness_to_luminance([dark, light]))))


def melting_mm(dark: float, light: float) -> float:
    """
    Return from where stripes of these two L* have run together, mm: they stand out by less than 1 L* then.

    By the eye's blur of `contrastkit.light.distance`, asked of the stripes' first harmonic, which outlives the others.

    >>> round(melting_mm(0, 100) / 1000, 1)
    2.5
    """
    low, high = (float(light) for light in lightness_to_luminance([dark, light]))
    mean = (low + high) / 2
    most = float(lightness_to_luminance(min(float(luminance_to_lightness(mean)) + _RIPPLE / 2, 100.0))) - mean
    goal = most / (2 / math.pi * (high - low))
    near, far = 100.0, 100_000.0
    while far - near > 1:
        middle = (near + far) / 2
        cycles = middle * math.radians(1) / (2 * _STRIPE)
        near, far = (near, middle) if float(kernel_mtf(VALUE_KERNEL, cycles)) < goal else (middle, far)
    return far


def _stripe_pictures(dark: Sample, light: Sample, crops: Crops) -> Pictures:
    """Black and white in stripes, and the two pieces cut into such stripes, in linear light."""
    lights = lights_of((dark, light), crops, _TALL)
    own = [
        lights.get(sample.name, np.full((8, 8, 3), lightness_to_luminance(sample.lightness), np.float32))
        for sample in (dark, light)
    ]
    plain = [np.full((8, 8, 3), level, np.float32) for level in (0.0, 1.0)]
    return {_stripes_named(str(place)): encoded(_striped(*pair)) for place, pair in enumerate((plain, own))}


def _stripes_named(place: str) -> str:
    return f"stripes\n{place}"


def _striped(dark: Image, light: Image) -> Image:
    stripe = round(_STRIPE * PRINT_PIXELS_PER_MM)
    cols, rows = round(_BLOCK / _STRIPE) * stripe, round(_TALL * PRINT_PIXELS_PER_MM)
    wide = [_filling(image, rows, cols) for image in (dark, light)]
    even = (np.arange(cols) // stripe % 2 == 0)[None, :, None]
    return cast(Image, np.where(even, *wide).astype(np.float32))


def _filling(image: Image, rows: int, cols: int) -> Image:
    """The middle of a square, as wide and tall as is asked for."""
    side = max(rows, cols)
    large = cv2.resize(image, (side, side), interpolation=cv2.INTER_LINEAR)
    top, left = (side - rows) // 2, (side - cols) // 2
    return cast(Image, large[top : top + rows, left : left + cols])


def _stripes(low: float, high: float, x: float, y: float, name: str) -> Iterator[Mark]:
    """The stripes between the grey half-way, at their left, and that of their mean light, at their right."""
    middle, mean = (low + high) / 2, _mean(low, high)
    side = (WIDTH / 2 - 4 - 2 * MAT - _BLOCK) / 2
    wide = _BLOCK + 2 * side
    yield mat(x, y, wide, _TALL)
    for left, tone, words in ((x, middle, "half-way"), (x + side + _BLOCK, mean, "the mean of the light")):
        yield Box(left, y, side, _TALL, fill=tone)
        ink, centre = legible_on(tone), left + side / 2
        yield Words(centre, y + _TALL / 2 + 1, f"L* {tone:.0f}", HEAD, ink, bold=True, align="middle")
        for row, word in enumerate(_two_lines(words)):
            yield Words(centre, y + _TALL / 2 - 3.5 - row * LEADING, word, SMALL, ink, align="middle")
    yield Photo(x + side, y, _BLOCK, _TALL, _stripes_named(name), "stripes by halves")
    yield Box(x, y, wide, _TALL, edge=0.0, line=LINE)
    verdicts = ((x + side / 2, "no"), (x + side + _BLOCK + side / 2, "yes"))
    for centre, word in verdicts:
        yield Words(centre, y - MAT - LEADING, word, SMALL, bold=True, align="middle")
    yield Words(x + side + _BLOCK / 2, y - MAT - LEADING, "which will they become?", SMALL, align="middle")


def _two_lines(words: str) -> list[str]:
    first, _, second = words.partition(" of ")
    return [f"{first} of", second] if second else [first]


def _halves(samples: Sequence[Sample]) -> list[Sample]:
    """Pieces about half painted, of which the two kinds of half-way should differ most; dark to light."""
    known = [
        sample for sample in samples
        if _HALF[0] <= sample.coverage <= _HALF[1] and _by_light(sample) - _by_steps(sample) >= _OWN_LEAST
        and sample.lightness - _by_steps(sample) > ONE_SIDED * sample.sigma
    ]
    furthest = sorted(known, key=lambda sample: (_by_steps(sample) - _by_light(sample), sample.name))[:_OWN]
    return sorted(furthest, key=lambda sample: sample.lightness)


def _by_steps(sample: Sample) -> float:
    """L* that paint and ground would come to, if lightness itself added up."""
    return (1 - sample.coverage) * sample.ground + sample.coverage * sample.paint


def _by_light(sample: Sample) -> float:
    """L* that they come to, as light adds up."""
    ground, paint = (float(light) for light in lightness_to_luminance([sample.ground, sample.paint]))
    return float(luminance_to_lightness((1 - sample.coverage) * ground + sample.coverage * paint))


def _own(halves: Sequence[Sample], pictures: Pictures) -> Iterator[Mark]:
    if not halves:
        return
    each = WIDTH / _OWN
    top = 3 * LEADING + 2 * MAT + _OWN_SIDE
    yield Words(0, top + 1.6, "So with pieces of this pile that are about half painted", HEAD, bold=True)
    for place, sample in enumerate(halves):
        x, y = MAT + place * each, 3 * LEADING + MAT
        wide = _OWN_SIDE + 1 + 12
        yield mat(x, y, wide, _OWN_SIDE)
        yield from square(sample, x, y, _OWN_SIDE, pictures)
        expected = min(max(_by_steps(sample), 0.0), 100.0)
        left, half = x + _OWN_SIDE + 1, _OWN_SIDE / 2 - 0.5
        for level, tone in ((y + half + 1, sample.lightness), (y, expected)):
            yield Box(left, level, 12, half, fill=tone, edge=0.0, line=LINE)
            ink = legible_on(tone)
            yield Words(left + 6, level + half / 2 - 0.35 * SMALL, f"{tone:.0f}", SMALL, ink, align="middle")
        words = f"reads {sample.piece.lightness_words}, not {expected:.0f}"
        about = f"{100 * sample.coverage:.0f} % of L* {sample.paint:.0f} on L* {sample.ground:.0f}"
        for row, line in enumerate((sample.name, about, words)):
            yield Words(x - MAT, row * LEADING + 0.4, fitted(line, each - 1, bold=row == 2), SMALL, bold=row == 2)


# --- coverage ---------------------------------------------------------------------------------------------------------

_PATCHES = 7
_PATCH = 29.0  # side of a patch of pattern, mm
_GREY = 12.0  # height of the greys between
_GRAIN = 1.6  # mm: about how wide the marks of a pattern are
_SIDEWAYS = 29.0  # from the left, for the heads of the rows


@dataclass(frozen=True)
class Coverage:
    """
    How much of one must show on the other, as a share of the area, to read as each of these L*.

    lightness: from dark to light in even steps; light_on_dark: of the light one; dark_on_light: of the dark one.
    """

    lightness: tuple[float, ...]
    light_on_dark: tuple[float, ...]

    @property
    def dark_on_light(self) -> tuple[float, ...]:
        return tuple(1 - share for share in self.light_on_dark)


def coverage_steps(dark: float, light: float, steps: int = _PATCHES, *, thinning: float = 1.0) -> Coverage:
    """
    Return what shares of a light paint on a dark ground read as even steps of L* from one to the other.

    Parameters
    ----------
    dark, light : L* of the two
    steps : how many, both ends included
    thinning : Yule and Nielsen's n: 1 where paint covers what it covers; more where it thins as it spreads

    References
    ----------
    J. A. C. Yule and W. J. Nielsen, The penetration of light into paper and its effect on halftone reproduction,
    TAGA Proceedings 3, 65-76, 1951.

    >>> steps = coverage_steps(23.66, 79.05, 3)  # Y 4 and Y 55 per cent: half-way is L* 51.36
    >>> round(steps.light_on_dark[1], 3), round(steps.dark_on_light[1], 3)
    (0.305, 0.695)
    """
    lightness = np.linspace(dark, light, steps)
    roots = np.asarray(lightness_to_luminance(lightness)) ** (1 / thinning)
    shares = (roots - roots[0]) / (roots[-1] - roots[0])
    return Coverage(tuple(map(float, lightness)), tuple(map(float, shares)))


def coverage_chart(table: pd.DataFrame, crops: Crops, *, title: str | None = None) -> Chart:
    """
    Return how much light on dark, and how much dark on light, makes each of seven even steps of value.

    Drawn from the pile's darkest and lightest piece: in the upper row the light one is rubbed over the dark one, in
    the lower row the dark one over the light one.

    Parameters
    ----------
    table : the swatch table
    crops : the pieces cut out of their photographs, by swatch_id
    title : the finding; how much is half-way from either side, if not given

    Raises
    ------
    InvalidInputError
        The pile's darkest and lightest are less than 20 L* apart, or a table or a crop that cannot be right.

    References
    ----------
    As `half_and_half_chart` and `coverage_steps`.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [23.66, 79.05]})
    >>> coverage_chart(table, {}).description[:86]
    'A little light lifts dark: 31 % is half-way; dark on light takes 69 %. L* 24: 0 % ligh'
    """
    dark, light = _ends(samples_of(table))
    steps = coverage_steps(dark.lightness, light.lightness)
    half = len(steps.lightness) // 2
    pictures = _coverage_pictures(dark, light, steps, crops)
    finding = title or (
        f"A little light lifts dark: {100 * steps.light_on_dark[half]:.0f} % is half-way; dark on light takes "
        f"{100 * steps.dark_on_light[half]:.0f} %"
    )
    said = ", ".join(
        f"L* {level:.0f}: {100 * share:.0f} % light" for level, share in zip(steps.lightness, steps.light_on_dark,
                                                                            strict=True)
    )
    marks = list(_coverage_marks(dark, light, steps))
    height = _coverage_levels()[0] + _PATCH + LEADING + 3
    return finished(marks, height, finding, _coverage_how(dark, light, steps), pictures, f"{said}.")


def _coverage_levels() -> tuple[float, float, float]:
    """Where the upper row, the greys and the lower row stand."""
    lower = LEADING + 2.5
    between = lower + _PATCH + 1.5
    return between + _GREY + 1.5, between, lower


def _coverage_marks(dark: Sample, light: Sample, steps: Coverage) -> Iterator[Mark]:
    upper, between, lower = _coverage_levels()
    each = (WIDTH - _SIDEWAYS) / _PATCHES
    side = min(_PATCH, each)
    x0, half = _SIDEWAYS, len(steps.lightness) // 2
    for place, share in enumerate(steps.light_on_dark):
        x = x0 + place * each
        yield Photo(x, upper, side, _PATCH, f"light on dark\n{place}")
        yield Photo(x, lower, side, _PATCH, f"dark on light\n{place}")
        bold, size = place == half, HEAD if place == half else SMALL
        yield Words(x + side / 2, upper + _PATCH + 1.2, f"{100 * share:.0f} %", size, bold=bold, align="middle")
        under = lower - 1.2 - 0.75 * size
        yield Words(x + side / 2, under, f"{100 * (1 - share):.0f} %", size, bold=bold, align="middle")
    yield from greys(steps.lightness, x0, between, each * (_PATCHES - 1) + side, _GREY, edge="text")
    for place, tone in enumerate(steps.lightness):
        words = f"half-way, L* {tone:.0f}" if place == half else f"L* {tone:.0f}"
        y = between + _GREY / 2 - 0.35 * SMALL
        yield Words(x0 + place * each + side / 2, y, words, SMALL, legible_on(tone), bold=place == half, align="middle")
    for y, height, lines in (
        (upper, _PATCH, ("light on dark:", "share of", shortened(light.name, SMALL, _SIDEWAYS - 3.5))),
        (between, _GREY, ("from afar",)),
        (lower, _PATCH, ("dark on light:", "share of", shortened(dark.name, SMALL, _SIDEWAYS - 3.5))),
    ):
        top = y + height / 2 + LEADING * len(lines) / 2 - 0.9 * SMALL
        for row, words in enumerate(lines):
            yield Words(x0 - 2, top - row * LEADING, words, SMALL, bold=row == 0, align="right")
    middle = x0 + half * each
    yield Line(middle, upper + _PATCH + HEAD + 1.6, middle + side, upper + _PATCH + HEAD + 1.6, "text", 2 * LINE)
    yield Line(middle, lower - 1.6 - HEAD, middle + side, lower - 1.6 - HEAD, "text", 2 * LINE)


def _coverage_how(dark: Sample, light: Sample, steps: Coverage) -> str:
    half = len(steps.lightness) // 2
    thin = [
        coverage_steps(*ends, thinning=_THINNING).light_on_dark[half]
        for ends in ((dark.lightness, light.lightness), (light.lightness, dark.lightness))
    ]
    return (
        f"Seven even steps from {dark.name}, L* {dark.piece.lightness_words}, to {light.name}, "
        f"L* {light.piece.lightness_words}, worked out for paint that hides what it covers. Where it thins as it "
        f"spreads, half-way may take up to {100 * max(thin[0], steps.light_on_dark[half]):.0f} % of the light one, or "
        f"as little as {100 * min(thin[1], steps.dark_on_light[half]):.0f} % of the dark one."
    )


def _coverage_pictures(dark: Sample, light: Sample, steps: Coverage, crops: Crops) -> Pictures:
    """Each patch: marks of one piece on the other, in linear light, exactly so much of the area."""
    side = round(_PATCH * PRINT_PIXELS_PER_MM)
    lights = lights_of((dark, light), crops, _PATCH)
    first, second = (
        _filling(lights[sample.name], side, side) if sample.name in lights
        else np.full((side, side, 3), lightness_to_luminance(sample.lightness), np.float32)
        for sample in (dark, light)
    )
    order = _rubbing(side)
    pictures: Pictures = {}
    for place, share in enumerate(steps.light_on_dark):
        pictures[f"light on dark\n{place}"] = encoded(np.where((order < share)[..., None], second, first))
        pictures[f"dark on light\n{place}"] = encoded(np.where((order < 1 - share)[..., None], first, second))
    return pictures


def _rubbing(side: int) -> Array:
    """In which order the places of a patch take paint, 0 to 1, every share as often: as over a plate with a relief."""
    fine = np.random.default_rng(1).standard_normal((side, side)).astype(np.float32)
    smooth = cv2.GaussianBlur(fine, (0, 0), _GRAIN * PRINT_PIXELS_PER_MM / 4)
    order = np.empty(side * side)
    order[np.argsort(smooth, axis=None, kind="stable")] = (np.arange(side * side) + 0.5) / (side * side)
    return order.reshape(side, side)
