"""
What the eye gets where two layers meet.

The step in lightness, L* of the upper layer minus L* of the lower, is the measure; a difference in colour never is,
since two hues of one lightness run into each other however far apart they are in colour. It is guarded three ways:

    vivid colour   where the apparent step is smaller, that counts; where it points the other way, nothing does
    uncertainty    "surely" is said only of what the step exceeds by 1.645 sigma
    what shows     of a covered layer only the ring that is left; of a patterned seam its weakest tenth too

The bare rim is a third value between the two layers. How far it stands clear at a distance is asked of the eye's blur.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from contrastkit.columns import DETAILS, SWATCHES, check_table
from contrastkit.compose.showing import (
    ARM_MM,
    SPAN_MM,
    Place,
    Shown,
    check_texture,
    lower_frame,
    shown,
    spread_seen,
    upper_frame,
    weakest_tenth,
)
from contrastkit.errors import InvalidInputError
from contrastkit.light.distance import bands_seen, line_seen
from contrastkit.light.lightness import lightness_to_luminance, luminance_to_lightness
from contrastkit.light.vivid import apparent_lightness_fairchild, apparent_lightness_high

if TYPE_CHECKING:  # pandas takes longer to load than all of this module
    import pandas as pd

Array = NDArray[np.float64]
Textures = Mapping[str, Array]  # swatch_id to luminance of the piece's square, laid straight; nan outside the piece

BACKGROUND = "background"  # swatch_id of what a stack is fused to
ONE_SIDED = 1.645  # standard deviations that a normal value exceeds once in twenty
LINE_LIMIT = 5.0  # L*, a design choice: half a Munsell step; a rim's line that stands less clear is gone
ROUNDING = 1e-9  # L*: 0.7 - 0.4 falls just short of 0.3
LEAST_SPREAD = 1.0  # L*, a design choice: about what is just noticed; patterns below it count as none

_NEAR_ENOUGH = 1e-6  # of a distance: where to stop looking for it


@dataclass(frozen=True)
class Verdict:
    """One of our words for how far two sides of a seam stand apart: from how many L* on, and by what yardstick."""

    word: str
    at_least: float
    yardstick: str


# Painters speak of lost, soft and firm edges. The limits are a design choice; a test holds the yardstick of "clear".
VERDICTS: tuple[Verdict, ...] = (
    Verdict("lost", 0, "less than half a Munsell step: the two run into one"),
    Verdict("soft", 5, "half a Munsell step or more: a change of tone for whoever stands near"),
    Verdict("firm", 10, "one Munsell step or more: two surfaces, read close by"),
    Verdict("clear", 20, "two Munsell steps or more, about the 30 % of AS 1428.1: apart across a room"),
    Verdict("bold", 30, "three Munsell steps or more: about as far as middle from dark where a work has three values"),
)
AMBIGUOUS = "ambiguous"  # instead of a word above, where lightness and apparent lightness disagree which is lighter


@dataclass(frozen=True)
class Surface:
    """
    One side of a seam, as far as it is known; nan is unknown.

    Attributes
    ----------
    swatch_id : name of the piece; "background" for what a stack is fused to
    lightness : CIE L* of what shows
    sigma : its standard uncertainty, L*
    chroma : CIELAB C*ab
    hue_angle : CIELAB hue, degrees
    low, high : 5th and 95th percentile of local lightness, L*
    rim : lightness of the bare rim along its cut edge, L*
    side : side of the largest square it can be cut to, mm
    """

    swatch_id: str
    lightness: float
    sigma: float = math.nan
    chroma: float = math.nan
    hue_angle: float = math.nan
    low: float = math.nan
    high: float = math.nan
    rim: float = math.nan
    side: float = math.nan


@dataclass(frozen=True)
class Weight:
    """
    What a seam weighs by value alone; nan is unknown. `Seam` says what each number is.
    """

    lightness_below: float
    lightness_above: float
    step: float
    apparent_step: tuple[float, float]
    ambiguous: bool
    separation: float
    weakest: float

    @property
    def counts(self) -> float:
        """What counts of the seam, L*: the separation or, where it is known to be less, the weakest tenth."""
        return _what_counts(self.separation, self.weakest)


@dataclass(frozen=True)
class Seam:
    """
    What the eye gets where one layer's edge lies on the next; nan is unknown.

    Attributes
    ----------
    below, above : swatch_id of the two layers
    lightness_below, lightness_above : L* of what shows of them, where textures tell; of the whole pieces otherwise
    step : L*, above minus below
    sigma : standard uncertainty of the step
    sure_step : what the step exceeds nineteen times in twenty, either way: |step| - 1.645 sigma, 0 at least
    apparent_step : lower and upper end of the step as vivid colours may look, L*, signed as the step
    ambiguous : lightness and apparent lightness disagree which of the two is lighter
    separation : |step|, or the apparent step where that is smaller; 0 where ambiguous
    weakest : what a tenth of the seam's length does not reach, L*; negative where the order turns round
    spread_ratio : |step| over the local spread of the two layers, near by
    spread_ratio_far : the same as blurred by the viewing distance
    line_step : how far the rim's line stands clear of its nearer neighbour at the viewing distance, L*
    line_fades_mm : distance from which on it stands less than 5 L* clear
    distance_mm : viewing distance, or None
    verdict : our word: one of VERDICTS, or "ambiguous"
    sentence : all of this in plain words
    """

    below: str
    above: str
    lightness_below: float
    lightness_above: float
    step: float
    sigma: float
    sure_step: float
    apparent_step: tuple[float, float]
    ambiguous: bool
    separation: float
    weakest: float
    spread_ratio: float
    spread_ratio_far: float
    line_step: float
    line_fades_mm: float
    distance_mm: float | None
    verdict: str
    sentence: str

    @property
    def counts(self) -> float:
        """What counts of the seam, L*: the separation or, where it is known to be less, the weakest tenth."""
        return _what_counts(self.separation, self.weakest)


@dataclass(frozen=True)
class RimSeen:
    """
    The bare rim between two layers, as seen from a distance.

    Attributes
    ----------
    left, rim, right : L* as they are near by
    rim_mm, distance_mm : width of the rim and viewing distance
    step : L*, right minus left
    line_step : how far the rim's line stands clear of the neighbour it is more like, L*; 0 where it lies between them
    line_lightness : L* of the line where it stands out most; in the rim's middle where it lies between
    fades_mm : distance from which on the line stands less clear than the limit; 0 where it does so near by
    verdict : our word for the line, one of VERDICTS
    sentence : all of this in plain words
    """

    left: float
    rim: float
    right: float
    rim_mm: float
    distance_mm: float
    step: float
    line_step: float
    line_lightness: float
    fades_mm: float
    verdict: str
    sentence: str


def surfaces(table: pd.DataFrame) -> dict[str, Surface]:
    """
    Return the pieces of a swatch table as surfaces, by swatch_id, in the table's order.

    Only `swatch_id` and `lightness` are needed; what else the table does not hold is unknown (nan). Where a piece has
    no rim of its own, its rim is as light as its ground.

    Raises
    ------
    InvalidInputError
        A column is missing, a number is out of range, an id stands in more than one row.

    >>> import pandas as pd
    >>> surfaces(pd.DataFrame({"swatch_id": ["a"], "lightness": [40.0]}))["a"].lightness
    40.0
    """
    table = check_table(table, SWATCHES + DETAILS)
    columns = {
        "lightness": "lightness", "sigma": "lightness_sigma", "chroma": "chroma", "hue_angle": "hue_angle",
        "low": "lightness_low", "high": "lightness_high", "rim": "lightness_rim", "side": "side",
    }  # fmt: skip
    parts = {part: table[name].tolist() for part, name in columns.items() if name in table}
    if "lightness_ground" in table:
        ground = table["lightness_ground"].tolist()
        rims = parts.get("rim", [math.nan] * len(ground))
        parts["rim"] = [g if math.isnan(r) else r for r, g in zip(rims, ground, strict=True)]
    ids = table["swatch_id"].tolist()
    return {str(name): Surface(str(name), **{p: float(v[i]) for p, v in parts.items()}) for i, name in enumerate(ids)}


def verdict_word(separation: float) -> str:
    """
    Return our word for how far two sides stand apart, in L*.

    Raises
    ------
    InvalidInputError
        The separation is negative or unknown.

    >>> verdict_word(24)
    'clear'
    """
    if not separation >= 0:
        raise InvalidInputError(
            f"A separation must be 0 L* or more; got {separation:g}. Pass the step without its sign, and only if known."
        )
    return next(verdict.word for verdict in reversed(VERDICTS) if separation >= verdict.at_least - ROUNDING)


def judge_seam(
    below: Surface,
    above: Surface,
    *,
    rim_mm: float = 0,
    distance_mm: float | None = None,
    ring_mm: float | None = None,
    sides: tuple[float, float] | None = None,
    covered_mm: float = 0,
    textures: Textures | None = None,
) -> Seam:
    """
    Return what the eye gets where the edge of `above` lies on `below`.

    With textures and sides, the lightness of either layer is that of the linear-light mean of what shows of it, and
    local lightness is compared all round the seam, just outside against just inside the upper layer's rim, in spans
    of 10.5 mm, which is 1° at arm's length. The texture spans the largest square that the piece can be cut to, where
    the piece says how large that is, and the layer is cut from its middle; otherwise it spans the layer.

    Without, local spread near by is taken from `low` and `high`. Spreads below 1 L* count as 1 L*.

    Parameters
    ----------
    below, above : the two layers; a background is a surface with the swatch_id "background"
    rim_mm : width of the bare rim that layers keep
    distance_mm : viewing distance; where not given, nothing is said about the rim
    ring_mm : how deep, on either side of the seam, local lightness is looked at; half a span where not given
    sides : cut sides of below and above, mm (infinity for a background); where not given, what the surfaces can be
        cut to
    covered_mm : cut side of what lies on `above`, 0 for nothing
    textures : by swatch_id, luminance of the piece's square laid straight, nan outside the piece

    Raises
    ------
    InvalidInputError
        A lightness is unknown or negative, a length negative, an upper layer not smaller than what it lies on.

    >>> seam = judge_seam(Surface("base", 80, 1.0), Surface("top", 35, 1.0), rim_mm=1.5)
    >>> seam.step, seam.verdict, seam.sentence
    (-45, 'bold', 'top on base: 45 L* darker, surely bold.')
    """
    place = _place(below, above, sides, covered_mm, rim_mm, ring_mm)
    weight = weigh_seam(below, above, place, textures)
    sigma = math.hypot(below.sigma, above.sigma)
    sure = max(abs(weight.step) - ONE_SIDED * sigma, 0.0) if not math.isnan(sigma) else math.nan
    near, far = _spreads(below, above, place, distance_mm, textures)
    rim = _rim_of(below, above, weight, rim_mm, distance_mm)
    return Seam(
        below=below.swatch_id,
        above=above.swatch_id,
        lightness_below=weight.lightness_below,
        lightness_above=weight.lightness_above,
        step=weight.step,
        sigma=sigma,
        sure_step=sure,
        apparent_step=weight.apparent_step,
        ambiguous=weight.ambiguous,
        separation=weight.separation,
        weakest=weight.weakest,
        spread_ratio=abs(weight.step) / near,
        spread_ratio_far=abs(weight.step) / far,
        line_step=math.nan if rim is None else rim.line_step,
        line_fades_mm=math.nan if rim is None else rim.fades_mm,
        distance_mm=distance_mm,
        verdict=_verdict(weight),
        sentence=_sentence(below, above, weight, sure, rim),
    )


def rim_seen(
    left: float, rim: float, right: float, *, rim_mm: float, distance_mm: float, limit: float = LINE_LIMIT
) -> RimSeen:
    """
    Return how far the bare rim between two layers stands clear, from a distance.

    Left, rim and right are blurred in linear light by the narrow Gaussians of the luminance kernel of S-CIELAB. The
    line is read where it stands out most, which between unequal neighbours is not its middle, and compared with the
    neighbours as they are: they are broad and hardly fade. It fades the further off one stands, and its distance of
    fading is found by halving.

    Parameters
    ----------
    left, rim, right : L* of the lower layer, of the bare rim, of the upper layer
    rim_mm, distance_mm : width of the rim and viewing distance
    limit : L* below which the line is called gone

    Raises
    ------
    InvalidInputError
        A lightness is unknown or outside 0-100; a width, distance or limit is not above 0.

    References
    ----------
    As `contrastkit.light.distance`.

    >>> seen = rim_seen(30, 90, 35, rim_mm=25.4 / 16, distance_mm=3000)
    >>> round(seen.line_step, 1), seen.verdict, round(seen.fades_mm / 1000, 1)
    (35.0, 'bold', 28.6)
    """
    for name, lightness in (("left layer", left), ("rim", rim), ("right layer", right)):
        _check_lightness(name, lightness)
    _check_above_0("A rim", rim_mm, "Leave the rim out where there is none.")
    _check_above_0("The limit of a line", limit, f"The usual limit is {LINE_LIMIT:g} L*.")
    line_lightness = _line_lightness(left, rim, right, rim_mm, distance_mm)
    line_step = _clear_of(left, rim, right, line_lightness)
    fades = _fades(left, rim, right, rim_mm, limit)
    return RimSeen(
        left, rim, right, rim_mm, distance_mm, right - left, line_step, line_lightness, fades, verdict_word(line_step),
        _rim_sentence(left, rim, right, distance_mm, line_step, fades, limit),
    )  # fmt: skip


# --- by value ---------------------------------------------------------------------------------------------------------


def weigh_seam(below: Surface, above: Surface, place: Place, textures: Textures | None = None) -> Weight:
    """
    Return what a seam weighs by value alone: the part of `judge_seam` that scores are made of, without words.

    Raises
    ------
    InvalidInputError
        A lightness is unknown or negative, a texture is no picture.

    >>> weigh_seam(Surface("a", 80), Surface("b", 35), Place()).separation
    45
    """
    for surface in (below, above):
        _check_lightness(_named(surface), surface.lightness)
    lower, upper = _shown_of(below, above, place, textures)
    step = upper.lightness - lower.lightness
    apparent, ambiguous, separation = _as_it_looks(below, above, step)
    return Weight(
        lower.lightness, upper.lightness, step, apparent, ambiguous, separation, weakest_tenth(lower, upper)
    )


def _what_counts(separation: float, weakest: float) -> float:
    return separation if math.isnan(weakest) else max(min(separation, weakest), 0.0)


def _shown_of(below: Surface, above: Surface, place: Place, textures: Textures | None) -> tuple[Shown, Shown]:
    """What shows of both layers: of the textures where they tell, of the table otherwise."""
    frames = lower_frame(below.side, place), upper_frame(above.side, place)
    found: list[Shown] = []
    for surface, frame in zip((below, above), frames, strict=True):
        texture = _texture(surface, textures)
        part = None if texture is None or frame is None else shown(texture, frame)
        found.append(part or Shown(surface.lightness, np.array([surface.lightness])))
    return found[0], found[1]


def _texture(surface: Surface, textures: Textures | None) -> Array | None:
    if textures is None or surface.swatch_id not in textures:
        return None
    return check_texture(surface.swatch_id, textures[surface.swatch_id])


def _as_it_looks(below: Surface, above: Surface, step: float) -> tuple[tuple[float, float], bool, float]:
    """
    The step as vivid colours look, whether it is ambiguous, and what is left of it.

    One pair of eyes judges both sides: each formula's shift is taken of both, in full or by half, and the range is
    that of the four. What counts against the step is the formula of High, Green and Nussbaum, which is for surfaces.
    """
    fairchild, high = (a - b for a, b in zip(_shifts(above), _shifts(below), strict=True))
    if math.isnan(high):
        return (math.nan, math.nan), False, abs(step)
    looks = [step + share * shift for shift in (fairchild, high) for share in (0.5, 1)]
    apparent = step + high
    ambiguous = step * apparent < 0
    return (min(looks), max(looks)), ambiguous, 0.0 if ambiguous else min(abs(step), abs(apparent))


def _shifts(surface: Surface) -> tuple[float, float]:
    """How much lighter than its L* the surface looks, by either formula."""
    if surface.chroma == 0:
        return 0.0, 0.0
    if math.isnan(surface.chroma) or math.isnan(surface.hue_angle):
        return math.nan, math.nan
    return _shifts_of(surface.lightness, surface.chroma, surface.hue_angle)


@lru_cache(maxsize=4096)
def _shifts_of(lightness: float, chroma: float, hue_angle: float) -> tuple[float, float]:
    models = apparent_lightness_fairchild, apparent_lightness_high
    first, second = (float(model(lightness, chroma, hue_angle)) - lightness for model in models)
    return first, second


# --- how lively it is -------------------------------------------------------------------------------------------------


def _spreads(
    below: Surface, above: Surface, place: Place, distance_mm: float | None, textures: Textures | None
) -> tuple[float, float]:
    """The pooled local spread of both layers, near by and from the distance, L*."""
    frames = lower_frame(below.side, place), upper_frame(above.side, place)
    near, far = [], []
    for surface, frame in zip((below, above), frames, strict=True):
        texture = _texture(surface, textures)
        if texture is None or frame is None:
            near.append((surface.high - surface.low) / (2 * ONE_SIDED))  # 5th to 95th percentile, if it is normal
            far.append(math.nan)
        else:
            near.append(spread_seen(texture, frame, ARM_MM))
            far.append(math.nan if distance_mm is None else spread_seen(texture, frame, distance_mm))
    return _pooled(near), _pooled(far)


def _pooled(spreads: list[float]) -> float:
    pooled = math.sqrt(sum(spread**2 for spread in spreads) / len(spreads))
    return pooled if math.isnan(pooled) else max(pooled, LEAST_SPREAD)


# --- the rim ----------------------------------------------------------------------------------------------------------


def _rim_of(
    below: Surface, above: Surface, weight: Weight, rim_mm: float, distance_mm: float | None
) -> RimSeen | None:
    if distance_mm is None or rim_mm == 0 or math.isnan(above.rim):
        return None
    return rim_seen(
        weight.lightness_below, above.rim, weight.lightness_above, rim_mm=rim_mm, distance_mm=distance_mm
    )


def _line_lightness(left: float, rim: float, right: float, rim_mm: float, distance_mm: float) -> float:
    """L* of the line where it stands out most; in its middle where it lies between its neighbours."""
    bands = [float(light) for light in lightness_to_luminance([left, rim, right])]
    seen = line_seen(*bands, width_mm=rim_mm, distance_mm=distance_mm)
    if math.isnan(seen):
        seen = float(bands_seen(bands, [rim_mm], distance_mm, rim_mm / 2))
    return float(luminance_to_lightness(seen))


def _clear_of(left: float, rim: float, right: float, line_lightness: float) -> float:
    """How far a line of that L* stands clear of the neighbour that the rim is more like."""
    if rim > max(left, right):
        return max(line_lightness - max(left, right), 0.0)
    if rim < min(left, right):
        return max(min(left, right) - line_lightness, 0.0)
    return 0.0


def _fades(left: float, rim: float, right: float, rim_mm: float, limit: float) -> float:
    """
    From what distance on the line stands less clear than the limit.

    The further off, the less: light of the line at any place is left + (line - left) C(x) - (line - right) C(x - w), C
    rising from 0 to 1 and w the angle of the rim, and grows with w wherever the line is lighter than both.
    """
    if _clear_of(left, rim, right, rim) <= limit:
        return 0.0

    def stands(distance: float) -> bool:
        return _clear_of(left, rim, right, _line_lightness(left, rim, right, rim_mm, distance)) >= limit

    near, far = 0.0, rim_mm * 1000
    while stands(far):
        near, far = far, 2 * far
    while far - near > _NEAR_ENOUGH * far:
        middle = (near + far) / 2
        near, far = (middle, far) if stands(middle) else (near, middle)
    return far


# --- words ------------------------------------------------------------------------------------------------------------


def _verdict(weight: Weight) -> str:
    if weight.ambiguous and abs(weight.step) >= VERDICTS[1].at_least:
        return AMBIGUOUS
    return verdict_word(weight.separation)


def _sentence(below: Surface, above: Surface, weight: Weight, sure: float, rim: RimSeen | None) -> str:
    under = "the background" if below.swatch_id == BACKGROUND else below.swatch_id
    parts = [
        f"{above.swatch_id} on {under}: {_step_words(weight.step)}, {_verdict_words(weight, sure)}.",
        _vivid_words(above.swatch_id, under, weight),
        _weakest_words(weight),
        "" if rim is None else rim.sentence,
    ]
    return " ".join(part for part in parts if part)


def _step_words(step: float) -> str:
    whole = round(abs(step))
    return f"{whole} L* {'lighter' if step > 0 else 'darker'}" if whole else "equally light"


def _verdict_words(weight: Weight, sure: float) -> str:
    word = _verdict(weight)
    if word == AMBIGUOUS or math.isnan(sure) or word == VERDICTS[0].word:
        return word
    return f"surely {word}" if verdict_word(min(sure, weight.separation)) == word else f"{word}, but not surely"


def _vivid_words(above: str, under: str, weight: Weight) -> str:
    if _verdict(weight) == AMBIGUOUS:
        lighter, other = (above, under) if weight.step > 0 else (under, above)
        return f"Ambiguous: by lightness {lighter} is the lighter, but the eye may take {other} for it."
    if verdict_word(weight.separation) != verdict_word(abs(weight.step)):
        return f"Vivid colour leaves {round(weight.separation)} of it."
    return ""


def _weakest_words(weight: Weight) -> str:
    if math.isnan(weight.weakest) or weight.weakest >= abs(weight.step) - LINE_LIMIT:
        return ""
    if weight.weakest < 0:
        return "Along a tenth of the seam light and dark change places."
    return f"Along a tenth of the seam it is {round(weight.weakest)} or less."


def _rim_sentence(
    left: float, rim: float, right: float, distance_mm: float, line_step: float, fades: float, limit: float
) -> str:
    if min(left, right) <= rim <= max(left, right):
        return "The rim is no lighter or darker than both its neighbours: it draws no line."
    if fades == 0:
        near = _clear_of(left, rim, right, rim)
        return f"The rim draws no line: near by it stands only {round(near)} L* clear."
    if line_step < limit:
        return f"At {metres(distance_mm)} the rim is gone; it is seen up to {metres(fades)}."
    return f"At {metres(distance_mm)} the rim still stands {round(line_step)} L* clear; at {metres(fades)} it is gone."


def metres(distance_mm: float) -> str:
    """
    Return a distance in metres, in words: to two figures below 10 m, whole beyond.

    >>> metres(3000), metres(4640)
    ('3 m', '4.6 m')
    """
    distance = distance_mm / 1000
    return f"{distance:.0f} m" if distance >= 10 else f"{distance:.2g} m"


# --- checks -----------------------------------------------------------------------------------------------------------


def _place(
    below: Surface,
    above: Surface,
    sides: tuple[float, float] | None,
    covered_mm: float,
    rim_mm: float,
    ring_mm: float | None,
) -> Place:
    ring = SPAN_MM / 2 if ring_mm is None else ring_mm
    _check_above_0("The depth looked at beside a seam", ring, "Leave ring_mm out for the usual one.")
    for name, length in (("A rim", rim_mm), ("What lies on a layer", covered_mm)):
        if not 0 <= length < math.inf:
            raise InvalidInputError(f"{name} must be 0 mm wide or more; got {length:g}. Pass 0 for none.")
    if sides is None:
        return Place(below.side, above.side, covered_mm, rim_mm, ring)
    under, over = sides
    if not 0 < over < under:
        raise InvalidInputError(
            f"A layer must be smaller than what it lies on; got {over:g} mm on {under:g} mm. "
            "Pass the cut sides of the lower and the upper layer, in that order."
        )
    if 2 * rim_mm >= over or covered_mm >= over:
        raise InvalidInputError(
            f"A rim and what lies on a layer must leave some of it to be seen; got a side of {over:g} mm, a rim of "
            f"{rim_mm:g} mm, {covered_mm:g} mm covered. Make the rim narrower or the layer larger."
        )
    return Place(under, over, covered_mm, rim_mm, ring)


def _check_lightness(name: str, lightness: Any) -> None:
    if not 0 <= lightness <= 100:
        raise InvalidInputError(
            f"The lightness of the {name} must be known, from 0 to 100; got {lightness:g}. "
            "Measure it again, or leave it out."
        )


def _check_above_0(name: str, number: float, remedy: str) -> None:
    if not 0 < number < math.inf:
        raise InvalidInputError(f"{name} must be above 0; got {number:g}. {remedy}")


def _named(surface: Surface) -> str:
    return BACKGROUND if surface.swatch_id == BACKGROUND else f"piece {surface.swatch_id!r}"
