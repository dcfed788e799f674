"""
A stack: layers centred one on another, bottom first; its score, and what would mend it.

The score is made of the seams alone, the base on the background among them. Rims are reported with each seam and do
not count: they draw a line between two layers and do not make them differ.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import TYPE_CHECKING

from contrastkit.compose.seams import (
    BACKGROUND,
    ROUNDING,
    VERDICTS,
    Seam,
    Surface,
    Textures,
    judge_seam,
    surfaces,
    weigh_seam,
)
from contrastkit.compose.showing import Place
from contrastkit.errors import InvalidInputError

if TYPE_CHECKING:  # pandas takes longer to load than all of this module
    import pandas as pd

FULL_POINTS = VERDICTS[-1].at_least  # L*, a design choice: a seam this bold earns all its points
GOAL = VERDICTS[-2].at_least  # L*, a design choice: a stack with every seam this clear needs no mending
POINTS_MADE = (
    f"A seam earns points for how far its two sides stand apart in lightness: from none where they are equal to 100 "
    f"at {FULL_POINTS:g} L* or more, evenly between.",
    "Where vivid colour takes from the step, or a tenth of the seam is weaker than the whole, the smaller counts.",
    "The stack gets half the points of its weakest seam and half the mean of all its seams.",
)

# Common practice, no source: print sides of a core, bottom first, and the rim they are cut with; further layers are
# each 1/√2 of the one below, so half its area.
_PRINTS_MM = (3.5 * 25.4, 2.5 * 25.4, 1.75 * 25.4)
_RIM_MM = 25.4 / 16

_HELPS = 1.0  # L*, a design choice: the least by which a change must lift the weakest seam to be worth naming
_CLOTH = (15.0, 95.0)  # L*, a design choice: how dark and how light cloth comes, painted or not
_NAMED = 4  # so many pieces are named in a sentence
_ORDINALS = ("second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_ON_BACKGROUND = -1  # as the number of a layer

Ranges = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Stack:
    """
    Layers centred one on another.

    Attributes
    ----------
    layers : bottom first, two or more
    sides : cut side of each layer, mm, bottom first and each smaller than the one below; empty where not decided
    background : what the stack is fused to, or None
    rim : width of the bare rim that every layer keeps, mm
    gap : open ground left between the stack and what is set round it, mm

    Raises
    ------
    InvalidInputError
        Fewer than two layers, an unknown lightness, a layer that does not fit on what it lies on or does not come out
        of its piece, a rim that leaves nothing of a layer, a negative rim or gap.

    >>> len(Stack((Surface("a", 30), Surface("b", 60)), sides=(92, 66)).layers)
    2
    """

    layers: tuple[Surface, ...]
    sides: tuple[float, ...] = ()
    background: Surface | None = None
    rim: float = 0
    gap: float = 0

    def __post_init__(self) -> None:
        if len(self.layers) < 2:
            raise InvalidInputError(
                f"A stack must have two layers or more; got {len(self.layers)}. Lay another piece on it."
            )
        for surface in (*self.layers, *([self.background] if self.background else [])):
            _check_lightness(surface)
        for name, length in (("rim", self.rim), ("gap", self.gap)):
            if not 0 <= length < math.inf:
                raise InvalidInputError(
                    f"The {name} of a stack must be 0 mm or more; got {length:g}. Pass 0 for no {name}."
                )
        if self.sides:
            _check_sides(self)


@dataclass(frozen=True)
class Remedy:
    """
    One change that would mend a stack.

    Attributes
    ----------
    layer : which layer to swap, 0 the bottom; -1 for the background
    swatch_ids : the pieces of the pile that would do, each tried, best first; none for the background
    lightness_ranges : L* from and to at which every seam of the stack reaches the goal, by lightness alone, darkest
        first; none where no one change can do that, or only with cloth darker or lighter than there is
    enough : every seam of the stack then reaches the goal of 20 L*; otherwise the weakest only gains
    worst_step : what counts at the weakest seam after the best of them, L*
    points : the stack's points after the best of them
    sentence : in plain words
    """

    layer: int
    swatch_ids: tuple[str, ...]
    lightness_ranges: Ranges
    enough: bool
    worst_step: float
    points: float
    sentence: str


@dataclass(frozen=True)
class StackScore:
    """
    How well the layers of a stack separate.

    Attributes
    ----------
    stack : what was judged
    seams : bottom first; the first is the base on the background, where there is one
    order : places in `seams`, weakest first
    points : 0-100, made as POINTS_MADE says
    sentences : in plain words: the weakest seam, then the others, weakest first, then what there is to say of mending
    remedies : what would mend it, best first; none where every seam reaches the goal, or nothing was asked
    """

    stack: Stack
    seams: tuple[Seam, ...]
    order: tuple[int, ...]
    points: float
    sentences: tuple[str, ...]
    remedies: tuple[Remedy, ...] = ()

    @property
    def weakest(self) -> Seam:
        """The weakest seam."""
        return self.seams[self.order[0]]


def default_sides(count: int, *, base_mm: float | None = None, rim_mm: float = _RIM_MM) -> tuple[float, ...]:
    """
    Return the usual cut sides of so many layers in mm, bottom first.

    Prints of 3 1/2, 2 1/2 and 1 3/4 in, each with its rim on every side: common practice, without a source. A fourth
    and further prints are each 1/√2 of the one below.

    Parameters
    ----------
    count : how many layers
    base_mm : cut side of the bottom layer, where it is another; the prints keep their proportions
    rim_mm : width of the rim, mm

    Raises
    ------
    InvalidInputError
        No layer, a negative rim, or a base that its rim leaves nothing of.

    >>> [round(side / 25.4, 3) for side in default_sides(3)]
    [3.625, 2.625, 1.875]
    """
    base = _PRINTS_MM[0] + 2 * rim_mm if base_mm is None else base_mm
    if count < 1 or not 0 <= 2 * rim_mm < base < math.inf:
        raise InvalidInputError(
            "There must be one layer or more, and a rim of 0 mm or more that leaves some of the base; got "
            f"{count} layers, a rim of {rim_mm:g} mm, a base of {base:g} mm. Make the rim narrower or the base larger."
        )
    scale = (base - 2 * rim_mm) / _PRINTS_MM[0]
    further = [_PRINTS_MM[-1] / math.sqrt(2) ** step for step in range(1, count)]
    return tuple(scale * side + 2 * rim_mm for side in [*_PRINTS_MM, *further][:count])


def stack_of(
    table: pd.DataFrame,
    swatch_ids: Sequence[str],
    *,
    sides: Sequence[float] = (),
    background: float | Surface | None = None,
    rim: float = 0,
    gap: float = 0,
) -> Stack:
    """
    Return the stack of these pieces of a swatch table, bottom first.

    Parameters
    ----------
    table : swatches, with columns `swatch_id` and `lightness`
    swatch_ids : the layers, bottom first
    sides, rim, gap : as in `Stack`
    background : its L*, or a surface

    Raises
    ------
    InvalidInputError
        An id that is not in the table, or what `Stack` and `surfaces` refuse.

    >>> import pandas as pd
    >>> pile = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [30.0, 60.0]})
    >>> [layer.lightness for layer in stack_of(pile, ["b", "a"]).layers]
    [60.0, 30.0]
    """
    pieces = surfaces(table)
    for swatch_id in swatch_ids:
        if swatch_id not in pieces:
            near = get_close_matches(str(swatch_id), pieces, n=3) or list(pieces)[:3]
            raise InvalidInputError(
                f"Every layer must be a piece of the table; {swatch_id!r} is none of its {len(pieces)}. "
                f"Nearest: {', '.join(near) or 'none'}."
            )
    if background is not None and not isinstance(background, Surface):
        background = Surface(BACKGROUND, float(background))
    return Stack(tuple(pieces[name] for name in swatch_ids), tuple(sides), background, rim, gap)


def judge_stack(
    stack: Stack,
    *,
    distance_mm: float | None = None,
    pile: pd.DataFrame | None = None,
    textures: Textures | None = None,
) -> StackScore:
    """
    Return how well the layers of a stack separate and, given the pile, what would mend it.

    Mending is exact: every piece of the pile that is not in the stack, of known lightness and large enough, is tried
    in every layer, judged just as the stack was. A swap that brings every seam to 20 L* is enough; where no swap is,
    those are named that lift the weakest seam by 1 L* or more. So it is with another background.

    Parameters
    ----------
    stack : what to judge
    distance_mm : viewing distance, for the rims
    pile : swatch table to mend from
    textures : by swatch_id, luminance of each piece's square laid straight, as in `judge_seam`; used where the stack
        has sides

    Raises
    ------
    InvalidInputError
        What `judge_seam` or `surfaces` refuse.

    >>> score = judge_stack(Stack((Surface("base", 80), Surface("middle", 40), Surface("top", 52))))
    >>> round(score.points), score.weakest.above, score.sentences[0]
    (55, 'top', 'The weakest seam is top on middle: 12 L* lighter, firm.')
    """
    textures = textures if stack.sides else None  # without sides nobody knows what shows
    places, pairs = _places(stack), _pairs(stack)
    seams = tuple(
        judge_seam(
            below, above, rim_mm=stack.rim, distance_mm=distance_mm, textures=textures, covered_mm=place.covered,
            sides=(place.below, place.above) if stack.sides else None,
        )
        for (below, above), place in zip(pairs, places, strict=True)
    )  # fmt: skip
    counts = [seam.counts for seam in seams]
    order = tuple(sorted(range(len(seams)), key=lambda place: (counts[place], place)))
    remedies = () if pile is None or _enough(min(counts)) else _remedies(stack, seams, surfaces(pile), textures)
    told = _told(stack, seams, order, remedies, asked=pile is not None)
    return StackScore(stack, seams, order, points_of(counts), told, remedies)


def points_of(counts: Sequence[float]) -> float:
    """
    Return a stack's points (0-100) from what counts at each of its seams, L*. POINTS_MADE says how, in words.

    >>> points_of([30, 15])
    62.5
    """
    earned = [100 * min(count / FULL_POINTS, 1.0) for count in counts]
    return min(earned) / 2 + sum(earned) / len(earned) / 2


# --- seams ------------------------------------------------------------------------------------------------------------


def _pairs(stack: Stack) -> list[tuple[Surface, Surface]]:
    """Lower and upper surface of each seam, bottom first."""
    surfaces_ = (*([stack.background] if stack.background else []), *stack.layers)
    return list(zip(surfaces_[:-1], surfaces_[1:], strict=True))


def _places(stack: Stack) -> list[Place]:
    """Where each seam of `_pairs` lies."""
    sides = stack.sides or (math.nan,) * len(stack.layers)
    under = (*([math.inf] if stack.background else []), *sides)
    over = (*under[1:], 0.0)[1:]
    return [
        Place(below, above, 0.0 if math.isnan(covered) else covered, stack.rim)
        for below, above, covered in zip(under[:-1], under[1:], over, strict=True)
    ]


# --- mending ----------------------------------------------------------------------------------------------------------


def _remedies(
    stack: Stack, seams: Sequence[Seam], pile: dict[str, Surface], textures: Textures | None
) -> tuple[Remedy, ...]:
    used = {layer.swatch_id for layer in stack.layers}
    spare = [piece for name, piece in pile.items() if name not in used and not math.isnan(piece.lightness)]
    swaps = [_swap(stack, seams, layer, spare, textures) for layer in range(len(stack.layers))]
    found = [remedy for remedy in (*swaps, _other_background(stack, seams)) if remedy is not None]
    enough = [remedy for remedy in found if remedy.enough] or found
    return tuple(sorted(enough, key=lambda remedy: (-remedy.worst_step, -remedy.points, remedy.layer)))


def _swap(
    stack: Stack, seams: Sequence[Seam], layer: int, spare: Iterable[Surface], textures: Textures | None
) -> Remedy | None:
    """Every spare piece tried in one layer: those that are enough or, failing that, those that help."""
    tried = sorted(
        (_tried(stack, seams, layer, piece, textures) for piece in spare if _large_enough(stack, layer, piece)),
        key=lambda trial: (-trial[0], -trial[1], trial[2]),
    )
    before = min(seam.counts for seam in seams)
    enough = bool(tried) and _enough(tried[0][0])
    good = [trial for trial in tried if (_enough(trial[0]) if enough else trial[0] >= before + _HELPS)]
    if not good:
        return None
    ids = tuple(name for _, _, name, _ in good)
    ranges = _wanted(stack, seams, layer, [lightness for *_, lightness in good] if enough else [])
    words = _swap_words(stack, layer, ids, ranges, good[0][0])
    return Remedy(layer, ids, ranges, enough, good[0][0], good[0][1], words)


def _tried(
    stack: Stack, seams: Sequence[Seam], layer: int, piece: Surface, textures: Textures | None
) -> tuple[float, float, str, float]:
    """The weakest seam and the points with the piece in that layer; its name and lightness."""
    layers = (*stack.layers[:layer], piece, *stack.layers[layer + 1 :])
    changed = replace(stack, layers=layers)
    counts = [seam.counts for seam in seams]
    pairs, places = _pairs(changed), _places(changed)
    for place in _touched(stack, layer):
        counts[place] = weigh_seam(*pairs[place], places[place], textures).counts
    return min(counts), points_of(counts), piece.swatch_id, piece.lightness


def _enough(counts: float) -> bool:
    return counts >= GOAL - ROUNDING


def _touched(stack: Stack, layer: int) -> list[int]:
    """Places of the seams that a layer is part of: where it is the upper side, then where it is the lower."""
    as_upper = layer if stack.background else layer - 1
    return [place for place in (as_upper, as_upper + 1) if 0 <= place < len(_pairs(stack))]


def _large_enough(stack: Stack, layer: int, piece: Surface) -> bool:
    return not stack.sides or not piece.side < stack.sides[layer]


def _wanted(stack: Stack, seams: Sequence[Seam], layer: int, found: Sequence[float] = ()) -> Ranges:
    """
    Where in lightness a layer has to be for every seam of the stack to be enough; nowhere if others are not.

    Where there is no cloth so dark or so light, only if some was found all the same.
    """
    touched = _touched(stack, layer)
    if not all(_enough(seam.counts) for place, seam in enumerate(seams) if place not in touched):
        return ()
    return tuple(
        (low, high)
        for low, high in _ranges(_neighbours(stack, seams, layer))
        if (low < _CLOTH[1] and high > _CLOTH[0]) or any(low <= lightness <= high for lightness in found)
    )


def _neighbours(stack: Stack, seams: Sequence[Seam], layer: int) -> list[float]:
    """L* of what shows of the layers below and above, where there are any."""
    as_upper = layer if stack.background else layer - 1
    below = [seams[as_upper].lightness_below] if as_upper >= 0 else []
    above = [seams[as_upper + 1].lightness_above] if as_upper + 1 < len(seams) else []
    return below + above


def _other_background(stack: Stack, seams: Sequence[Seam]) -> Remedy | None:
    """Whether another background would do, or help."""
    others = [seam.counts for seam in seams[1:]]
    if stack.background is None or min(others) < seams[0].counts + _HELPS:
        return None
    base = seams[0].lightness_above
    enough = _enough(min(others))
    goal = GOAL if enough else seams[0].counts + _HELPS
    ranges = _ranges([base], goal, _CLOTH)
    if not ranges:
        return None
    best = max(abs(end - base) for pair in ranges for end in pair)
    counts = [best, *others]
    does = "would do" if enough else "would help, but not be enough"
    words = f"Another background {does}: {_range_words(ranges, _CLOTH)}."
    return Remedy(_ON_BACKGROUND, (), ranges, enough, min(counts), points_of(counts), words)


def _ranges(neighbours: Sequence[float], goal: float = GOAL, ends: tuple[float, float] = (0.0, 100.0)) -> Ranges:
    """Where in lightness a layer stands that far from all its neighbours."""
    free, start = [], ends[0]
    for lightness in sorted(neighbours):
        free.append((start, min(lightness - goal, ends[1])))
        start = max(start, lightness + goal)
    free.append((start, ends[1]))
    return tuple((low, high) for low, high in free if low <= high)


# --- words ------------------------------------------------------------------------------------------------------------


def _told(
    stack: Stack, seams: Sequence[Seam], order: Sequence[int], remedies: Sequence[Remedy], *, asked: bool
) -> tuple[str, ...]:
    first, *others = (seams[place].sentence for place in order)
    told = [f"The weakest seam is {first}", *others, *(remedy.sentence for remedy in remedies)]
    if not asked:
        return tuple(told)
    if _enough(seams[order[0]].counts):
        return (*told, f"Every seam reaches {GOAL:g} L*: nothing needs mending.")
    if all(remedy.layer == _ON_BACKGROUND for remedy in remedies):
        told.append("No one swap from this pile lifts the weakest seam.")
    if not any(remedy.enough for remedy in remedies):
        told += _lacking(stack, seams)
    if stack.background and order[0] != 0:
        told.append("Another background would not help: the weakest seam lies between two layers.")
    return tuple(told)


def _lacking(stack: Stack, seams: Sequence[Seam]) -> list[str]:
    """What piece, which the pile does not hold, would be enough."""
    wanted = ((layer, _wanted(stack, seams, layer)) for layer in range(len(stack.layers)))
    count = len(stack.layers)
    return [
        f"A piece {_range_words(ranges)} would be enough in the {_layer_name(layer, count)} layer: the pile has none."
        for layer, ranges in wanted
        if ranges
    ]


def _swap_words(stack: Stack, layer: int, ids: Sequence[str], ranges: Ranges, worst_step: float) -> str:
    name = _layer_name(layer, len(stack.layers))
    count = _NUMBERS[len(ids)] if len(ids) < len(_NUMBERS) else str(len(ids))
    which = "this one" if len(ids) == 1 else f"these {count}" if len(ids) <= _NAMED else f"{count} of the pile"
    best = "" if len(ids) <= _NAMED else "the best of them "
    listed = best + ", ".join(ids[:_NAMED])
    if _enough(worst_step):
        wanted = f" for a piece {_range_words(ranges)}" if ranges else ""
        return f"Swap the {name} layer{wanted}: {which} would do: {listed}."
    gain = f"weakest seam then {round(worst_step)} L*"
    return f"Swap the {name} layer: {which} would help, but not be enough ({gain}): {listed}."


def _range_words(ranges: Ranges, ends: tuple[float, float] = (0.0, 100.0)) -> str:
    return " or ".join(_one_range(low, high, ends) for low, high in ranges)


def _one_range(low: float, high: float, ends: tuple[float, float]) -> str:
    if low <= ends[0]:
        return f"of L* {_number(high)} or less"
    if high >= ends[1]:
        return f"of L* {_number(low)} or more"
    return f"of L* {_number(low)} to {_number(high)}"


def _number(lightness: float) -> str:
    return f"{round(lightness, 1):g}"


def _layer_name(layer: int, count: int) -> str:
    if layer == 0:
        return "bottom"
    if layer == count - 1:
        return "top"
    return "middle" if count == 3 else _ORDINALS[layer - 1] if layer <= len(_ORDINALS) else f"{layer + 1}th"


# --- checks -----------------------------------------------------------------------------------------------------------


def _check_lightness(surface: Surface) -> None:
    if not 0 <= surface.lightness < math.inf:
        whose = "the background" if surface.swatch_id == BACKGROUND else f"piece {surface.swatch_id!r}"
        raise InvalidInputError(
            f"The lightness of every layer must be known, 0 or more; that of {whose} is {surface.lightness:g}. "
            "Measure it again, or choose another."
        )


def _check_sides(stack: Stack) -> None:
    if len(stack.sides) != len(stack.layers):
        raise InvalidInputError(
            f"There must be one side for every layer; got {len(stack.sides)} for {len(stack.layers)}. "
            "Give them bottom first, or none."
        )
    for below, above in zip((math.inf, *stack.sides), stack.sides, strict=False):
        if not 0 < above < below:
            raise InvalidInputError(
                f"Each layer must be smaller than what it lies on; got {above:g} mm on {below:g} mm. "
                "Give the cut sides bottom first, the largest below."
            )
    if 2 * stack.rim >= stack.sides[-1]:
        raise InvalidInputError(
            f"A rim must leave some of every layer; got {stack.rim:g} mm on either side of {stack.sides[-1]:g} mm. "
            "Make the rim narrower or the layers larger."
        )
    for layer, side in zip(stack.layers, stack.sides, strict=True):
        if layer.side < side:
            raise InvalidInputError(
                f"Each layer must come out of its piece; {layer.swatch_id!r} gives {layer.side:g} mm at most, and "
                f"{side:g} mm is asked. Make the layer smaller or take another piece."
            )
