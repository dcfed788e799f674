"""One stack as pictures: how it will look in colour, in grey, in few values and from afar; its seams as a staircase."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2

from contrastkit.compose.groups import fixed_breaks
from contrastkit.compose.seams import AMBIGUOUS, BACKGROUND, LINE_LIMIT, Seam, Surface, metres, verdict_word
from contrastkit.compose.stacks import Stack, StackScore, default_sides, judge_stack
from contrastkit.errors import InvalidInputError
from contrastkit.show.chart import PRINT_PIXELS_PER_MM, Chart, chart_of
from contrastkit.show.crops import Crops, Pixels, encoded
from contrastkit.show.drawing import Drawing, Mark, Photo, Words, group_mark, mark_width
from contrastkit.show.look import SMALL, shortened, surround_lightness, text_width
from contrastkit.show.mockup import Image, Placed, piece_squares, render, square_corners, stack_placed
from contrastkit.show.page import titled
from contrastkit.show.stairs import draw_stairs, verdict_words
from contrastkit.show.views import FAR_MM, READING_MM, Viewing, size_from_afar, view_named
from contrastkit.show.words import listed

if TYPE_CHECKING:
    from contrastkit.compose.groups import Breaks

# What each verdict on a seam comes to, in the title.
READS = {
    "lost": "the two run into one",
    "soft": "a change of tone close by",
    "firm": "reads close by only",
    "clear": "separates across a room",
    "bold": "bold across a room",
    AMBIGUOUS: "the eye may turn light and dark round",
}

_ORDINALS = ("second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")
_WIDTH, _GAP, _LARGEST = 253.0, 5.0, 100.0  # of all, between pictures, side of one; mm
_AROUND = 1.12  # side of a picture in sides of the bottom layer: what the stack lies on shows all round
_HEAD, _ROW, _UNDER = 5.4, 4.3, 2.2  # heights of a picture's label and of a line under it, gap between, mm
_LABEL = 3.4  # height of a label's type
_SMALL_SHARE = 0.42  # of a picture's side, beyond which the small picture has no room
_SMALL = "small"


def stack_picture(
    stack: Stack,
    crops: Crops,
    *,
    views: Sequence[str] = ("colour", "grey", "values", "far"),
    distance_mm: float = FAR_MM,
    breaks: Breaks | None = None,
    score: StackScore | None = None,
    title: str | None = None,
    surround: str = "middle",
) -> Chart:
    """
    Return how a stack will look, side by side in several views, under its weakest seam.

    Under each picture stand, from the top layer down, what it shows best: the pieces' names, their L* and the steps
    between, their groups, what is left of their bare rims at the distance. Beside the last lies the stack so small
    that a printed page held at 60 cm shows it as large as it is from there.

    Parameters
    ----------
    stack
        The layers, bottom first. Those of undecided size get the sizes that are common practice.
    crops
        The pieces cut out of their photographs, by swatch_id, as for `contact_sheet`; a piece without one is drawn in
        the grey of its lightness. One by the background's own swatch_id fills the background.
    views
        Names in `VIEWS`, left to right.
    distance_mm
        From where the stack is seen in the view "far".
    breaks
        Edges and names of the groups for the view "values"; edges at L* 40 and 70, if not given.
    score
        The stack judged; by the table alone, if not given.
    title
        The finding; the weakest seam and what it comes to, if not given.
    surround
        What a stack without a background lies on: "light", "middle" or "dark".

    Raises
    ------
    InvalidInputError
        No view or an unknown one, a distance not above 0, an unknown surround or a crop that cannot be right.

    Examples
    --------
    >>> stack_picture(Stack((Surface("a", 80), Surface("b", 40), Surface("c", 54))), {}).description[:60]
    'Weakest seam: top on middle, 14 L*: reads close by only. Bot'
    """
    names = tuple(dict.fromkeys(views))
    if not names:
        raise InvalidInputError("There must be a view to show; got none. Pass one of them, such as 'colour'.")
    seen = {name: view_named(name) for name in names}
    small_mm = _small_mm(stack, distance_mm) if "far" in names else math.nan
    score = judge_stack(stack, distance_mm=distance_mm) if score is None else score
    sheet = _Sheet(score, names, breaks or fixed_breaks(), small_mm)
    image, mm_per_pixel = _mocked_up(stack, crops, surround, math.ceil(sheet.side * PRINT_PIXELS_PER_MM))
    viewing = Viewing(mm_per_pixel, distance_mm, sheet.breaks)
    pictures = {name: encoded(view.see(image, viewing)) for name, view in seen.items()}
    if sheet.has_small:
        pictures[_SMALL] = _shrunk(image, math.ceil(small_mm * PRINT_PIXELS_PER_MM))
    heads = tuple(view.words(viewing) for view in seen.values())
    drawing = Drawing(sheet.width, sheet.height, tuple(_marks(sheet, heads)), _description(score, title))
    return chart_of(titled(drawing, title or finding(score), _how(sheet, crops, distance_mm)), pictures)


def staircase(score: StackScore, crops: Crops | None = None, *, title: str | None = None) -> Chart:
    """
    Return the seams of a stack as a staircase of value: each layer a tread at its L*, each step with its verdict.

    Beside every step stands its height, with one standard uncertainty drawn at its upper end; where a bare rim is
    known, it stands between its two layers as a thin tread of its own.

    Parameters
    ----------
    score
        The stack judged.
    crops
        The pieces cut out of their photographs, by swatch_id, to stand on their treads.
    title
        The finding; the weakest seam and what it comes to, if not given.

    Raises
    ------
    InvalidInputError
        A crop cannot be right.

    Examples
    --------
    >>> staircase(judge_stack(Stack((Surface("a", 80), Surface("b", 40))))).description
    'Weakest seam: top on bottom, 40 L*: bold across a room. Bottom a, L* 80; top b, L* 40. b on a: 40 L* darker, bold.'
    """
    found = _surfaces(score.stack)
    wanted = {surface.swatch_id: crops[surface.swatch_id] for surface in found if crops and surface.swatch_id in crops}
    squares = piece_squares(wanted, side=math.ceil(20 * PRINT_PIXELS_PER_MM))
    pictures: dict[str, Pixels] = {name: encoded(square) for name, square in squares.items()}
    roles = [role(place, score.stack) for place in range(len(found))]
    drawing = draw_stairs(score, found, roles, pictures, _description(score, title))
    return chart_of(titled(drawing, title or finding(score), _stairs_how(score, found)), pictures)


# --- words -----------------------------------------------------------------------------------------------------------


def finding(score: StackScore) -> str:
    """
    Return the weakest seam of a stack and what it comes to, for a title.

    >>> finding(judge_stack(Stack((Surface("a", 80), Surface("b", 40), Surface("c", 54)))))
    'Weakest seam: top on middle, 14 L*: reads close by only'
    """
    place, seam = score.order[0], score.weakest
    where = f"{role(place + 1, score.stack)} on {role(place, score.stack)}"
    return f"Weakest seam: {where}, {_step_words(seam)}: {READS[seam.verdict]}"


def role(place: int, stack: Stack) -> str:
    """
    Return what a surface is in a stack, counted from the furthest back: the background, if there is one, is 0.

    >>> stack = Stack((Surface("a", 80), Surface("b", 40)), background=Surface("background", 95))
    >>> [role(place, stack) for place in range(3)]
    ['background', 'bottom', 'top']
    """
    layer, count = place - (stack.background is not None), len(stack.layers)
    if layer < 0:
        return "background"
    if layer in (0, count - 1):
        return "top" if layer else "bottom"
    return "middle" if count == 3 else _ORDINALS[layer - 1] if layer <= len(_ORDINALS) else f"{layer + 1}th"


def _step_words(seam: Seam) -> str:
    step, counts = round(abs(seam.step)), round(seam.counts)
    if seam.verdict in (AMBIGUOUS, verdict_word(abs(seam.step))):
        return f"{step} L*"
    why = "where it is weakest" if seam.weakest < seam.separation else "allowing for vivid colour"
    return f"{step} L*, but {counts} {why}"


def _surfaces(stack: Stack) -> tuple[Surface, ...]:
    """All that shows, the furthest back first."""
    return (*([stack.background] if stack.background else []), *stack.layers)


def _lightness_words(surface: Surface) -> str:
    sigma = f" ± {max(1, round(surface.sigma))}" if math.isfinite(surface.sigma) else ""
    return f"{surface.lightness:.0f}{sigma}"


def _description(score: StackScore, title: str | None) -> str:
    layers = "; ".join(
        " ".join(dict.fromkeys((role(place, score.stack), surface.swatch_id))) + f", L* {surface.lightness:.0f}"
        for place, surface in enumerate(_surfaces(score.stack))
    )
    seams = " ".join(score.seams[place].sentence for place in score.order)
    return f"{(title or finding(score)).removesuffix('.')}. {layers[0].upper()}{layers[1:]}. {seams}"


def _how(sheet: _Sheet, crops: Crops, distance_mm: float) -> str:
    flat = [layer.swatch_id for layer in sheet.score.stack.layers if layer.swatch_id not in crops]
    drawn = "from the pieces themselves" if not flat else f"with flat grey for {listed(flat)}"
    if len(flat) == len(sheet.score.stack.layers):
        drawn = "in flat grey, without pictures"
    points = f"{sheet.score.points:.0f} of 100 points"
    text = f"Drawn {drawn}; L* with one standard uncertainty, steps from the layer below; {points}."
    if sheet.has_small:
        text += (
            f" Printed and held {READING_MM / 10:.0f} cm away, the small one looks as large as the stack from "
            f"{metres(distance_mm)}."
        )
    return text


def _stairs_how(score: StackScore, found: Sequence[Surface]) -> str:
    text = f"Each layer at its L*, from the bottom up; {score.points:.0f} of 100 points."
    if any(math.isfinite(seam.sigma) for seam in score.seams):
        text += " The bar at the end of a step is one standard uncertainty either way."
    if score.stack.rim > 0 and any(math.isfinite(surface.rim) for surface in found):
        text += " The thin tread between two is the bare rim of the upper one."
    return text


# --- the mock-up -----------------------------------------------------------------------------------------------------


def _size_mm(stack: Stack) -> float:
    """Side of what is shown."""
    return _AROUND * (stack.sides or default_sides(len(stack.layers)))[0]


def _small_mm(stack: Stack, distance_mm: float) -> float:
    return size_from_afar(_size_mm(stack), distance_mm)


def _mocked_up(stack: Stack, crops: Crops, surround: str, side: int) -> tuple[Image, float]:
    """The stack on its background in linear RGB, and mm to a pixel."""
    size, back = _size_mm(stack), stack.background
    ground = surround_lightness(surround) if back is None else back.lightness
    cloth = [Placed(square_corners(size), swatch_id=back.swatch_id)] if back and back.swatch_id in crops else []
    image = render(
        [*cloth, *stack_placed(stack)], crops, background=ground, size_mm=(size, size), pixels_per_mm=side / size
    )
    return image, size / side


def _shrunk(image: Image, side: int) -> Pixels:
    return encoded(cv2.resize(image, (side, side), interpolation=cv2.INTER_AREA))


# --- the pictures side by side ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Sheet:
    """What is shown and where; lengths in mm."""

    score: StackScore
    views: tuple[str, ...]
    breaks: Breaks
    small: float  # side of the small picture, nan for none

    @property
    def side(self) -> float:
        """Of a picture."""
        count = len(self.views)
        return min(_LARGEST, (_WIDTH - _GAP * (count - 1)) / count)

    @property
    def width(self) -> float:
        return max(120.0, (self.side + _GAP) * len(self.views) - _GAP)

    @property
    def has_small(self) -> bool:
        return self.small <= _SMALL_SHARE * self.side

    @property
    def below(self) -> float:
        """Height of what stands under the pictures."""
        lines = _ROW * len(_surfaces(self.score.stack))
        return _UNDER + max(lines, self.small if self.has_small else 0)

    @property
    def height(self) -> float:
        return self.below + self.side + _HEAD

    def left(self, number: int) -> float:
        return number * (self.side + _GAP)


def _marks(sheet: _Sheet, heads: Sequence[str]) -> Iterator[Mark]:
    for number, (view, head) in enumerate(zip(sheet.views, heads, strict=True)):
        x = sheet.left(number)
        yield Words(x, sheet.below + sheet.side + 1.6, f"{head[0].upper()}{head[1:]}", _LABEL, bold=True)
        yield Photo(x, sheet.below, sheet.side, sheet.side, view, head)
        room = sheet.side
        if view == "far" and sheet.has_small:
            small = sheet.small
            yield Photo(x + sheet.side - small, sheet.below - _UNDER - small, small, small, _SMALL)
            room -= small + 2
        yield from _rows(sheet, view, x, room, named=number == 0)


def _rows(sheet: _Sheet, view: str, x: float, room: float, *, named: bool) -> Iterator[Mark]:
    """A line for every surface, the top layer first."""
    stack = sheet.score.stack
    found = _surfaces(stack)
    roles = [role(place, stack) for place in range(len(found))]
    indent = max(text_width(words, SMALL) for words in roles) + 2 if named else 0
    y = sheet.below - _UNDER
    for place in reversed(range(len(found))):
        y -= _ROW
        seam = sheet.score.seams[place - 1] if place else None
        if named:
            yield Words(x, y + 1, roles[place], SMALL, "secondary")
        yield from _facts(sheet, view, found[place], seam, x + indent, y + 1, room - indent)


def _facts(
    sheet: _Sheet, view: str, surface: Surface, seam: Seam | None, x: float, y: float, room: float
) -> Iterator[Mark]:
    """What a view shows best of a surface, and of the seam it lies on."""
    if view == "values":
        place = int(sheet.breaks.assign([surface.lightness]).codes[0])
        yield from group_mark(x, y - 0.1, 2.2, place)
        x += mark_width(2.2, len(sheet.breaks.names) - 1) + 1.3
        yield Words(x, y, sheet.breaks.names[place], SMALL)
        return
    words = {"colour": _name_words, "grey": _value_words, "far": _rim_words}.get(view)
    if words is not None:
        yield Words(x, y, shortened(words(surface, seam), SMALL, room), SMALL)


def _name_words(surface: Surface, seam: Seam | None) -> str:
    return "" if surface.swatch_id == BACKGROUND else surface.swatch_id


def _value_words(surface: Surface, seam: Seam | None) -> str:
    step = f", {_away_words(seam)}: {verdict_words(seam)}" if seam else ""
    return f"L* {_lightness_words(surface)}{step}"


def _away_words(seam: Seam) -> str:
    whole = round(abs(seam.step))
    return f"{whole} {'lighter' if seam.step > 0 else 'darker'}" if whole else "no step"


def _rim_words(surface: Surface, seam: Seam | None) -> str:
    if seam is None or math.isnan(seam.line_step):
        return ""
    if seam.line_fades_mm == 0:
        return "rim draws no line"
    if seam.line_step < LINE_LIMIT:
        return f"rim gone from {metres(seam.line_fades_mm)}"
    return f"rim {seam.line_step:.0f} L* clear"
