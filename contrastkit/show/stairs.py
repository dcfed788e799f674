"""The staircase of a stack: its layers as treads at their L*, the steps between them with their verdicts."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from contrastkit.compose.seams import AMBIGUOUS, VERDICTS, Seam, Surface, verdict_word
from contrastkit.compose.stacks import StackScore
from contrastkit.light.lightness import munsell_value_to_lightness
from contrastkit.show.crops import Pixels
from contrastkit.show.drawing import Box, Drawing, Line, Mark, Photo, Shape, Words
from contrastkit.show.look import SMALL, SURROUNDS, legible_on, shortened

_WIDTH = 253.0  # all lengths in mm
_AXIS = 21.0  # room for the axis at the left
_SCALE = 0.92  # mm to one L*
_FOOT = 13.5  # under the treads: what they are
_LARGEST_TREAD = 36.0
_BETWEEN = 0.8  # from tread to tread, in widths of one
_LINE = 0.25
_LEADING = 1.35 * SMALL
_STEP = 4.0  # height of the type of a step's height
_RIM = 4.5  # width of the tread of a rim
_NAMED = 18.0  # treads wider than that leave room for a word under the rim's
_PIECE = 16.0  # side of a piece on its tread
_MAT = 1.3  # of the surround shown round it


@dataclass(frozen=True)
class _Plan:
    """Where everything goes."""

    tread: float
    between: float

    @classmethod
    def of(cls, count: int) -> _Plan:
        tread = min(_LARGEST_TREAD, (_WIDTH - _AXIS) / (count + _BETWEEN * (count - 1)))
        return cls(tread, _BETWEEN * tread)

    def left(self, place: int) -> float:
        return _AXIS + place * (self.tread + self.between)

    @staticmethod
    def up(lightness: float) -> float:
        return _FOOT + min(max(lightness, 0.0), 100.0) * _SCALE


def draw_stairs(
    score: StackScore, found: Sequence[Surface], roles: Sequence[str], pictures: Mapping[str, Pixels], description: str
) -> Drawing:
    """
    Return the staircase, in millimetres.

    Parameters
    ----------
    score : the stack judged
    found : all that shows, the furthest back first: one more than there are seams
    roles : what each of them is in the stack
    pictures : the squares of the pieces, by swatch_id; those that are there stand on their treads
    description : what it says in words
    """
    plan = _Plan.of(len(found))
    marks = [*_axis(plan, plan.left(len(found)) - plan.between)]
    for place, (surface, what) in enumerate(zip(found, roles, strict=True)):
        marks += _tread(plan, place, surface, what, surface.swatch_id in pictures)
    for place, seam in enumerate(score.seams):
        rim = found[place + 1].rim if score.stack.rim > 0 else math.nan
        marks += _seam(plan, place, seam, rim, weakest=place == score.order[0])
    return Drawing(plan.left(len(found)) - plan.between, max(map(_top, marks)) + 1, tuple(marks), description)


def verdict_words(seam: Seam) -> str:
    """
    Return the verdict on a seam, and whether its uncertainty leaves it sure.

    >>> from contrastkit.compose.seams import judge_seam
    >>> verdict_words(judge_seam(Surface("a", 80, 2), Surface("b", 59, 2)))
    'clear, not surely'
    """
    if seam.verdict in (AMBIGUOUS, VERDICTS[0].word) or math.isnan(seam.sure_step):
        return seam.verdict
    return seam.verdict + ("" if verdict_word(min(seam.sure_step, seam.counts)) == seam.verdict else ", not surely")


def _top(mark: Mark) -> float:
    if isinstance(mark, Line):
        return max(mark.y0, mark.y1)
    if isinstance(mark, Shape):
        return max(y for _, y in mark.points)
    return mark.y + (mark.size if isinstance(mark, Words) else mark.height)


# --- the axis --------------------------------------------------------------------------------------------------------


def _axis(plan: _Plan, end: float) -> Iterator[Mark]:
    """Greys of a whole Munsell value each, with the figures of L* left of them; a line where the treads stand."""
    left, right = _AXIS - 9.0, _AXIS - 3.5
    for lightness in range(0, 101, 10):
        y = plan.up(lightness)
        yield Line(left - 1.2, y, left, y, "secondary", _LINE)
        yield Words(left - 1.8, y - 0.35 * SMALL, str(lightness), SMALL, align="right")
    for value in range(11):
        low, tone, high = (
            float(munsell_value_to_lightness(min(max(v, 0), 10))) for v in (value - 0.5, value, value + 0.5)
        )
        yield Box(left, plan.up(low), right - left, plan.up(high) - plan.up(low), fill=tone)
        if value not in (0, 10):  # half a box, too low for a figure
            y = (plan.up(low) + plan.up(high)) / 2 - 0.35 * SMALL
            yield Words((left + right) / 2, y, str(value), SMALL, legible_on(tone), align="middle")
    for x in (left - _LINE / 2, right + _LINE / 2):
        yield Line(x, plan.up(0), x, plan.up(100), "secondary", _LINE)
    yield Line(left, plan.up(100), right, plan.up(100), "secondary", _LINE)
    yield Words(left - 1.8, plan.up(100) + 3.2, "L*", SMALL, "secondary", align="right")
    yield Words(left, plan.up(100) + 3.2, "value", SMALL, "secondary")
    yield Line(left, _FOOT, end, _FOOT, "secondary", _LINE)


# --- treads ----------------------------------------------------------------------------------------------------------


def _tread(plan: _Plan, place: int, surface: Surface, what: str, pictured: bool) -> Iterator[Mark]:
    x, middle, y = plan.left(place), plan.left(place) + plan.tread / 2, plan.up(surface.lightness)
    yield Box(x, _FOOT, plan.tread, y - _FOOT, fill=surface.lightness, edge="secondary", line=_LINE)
    if pictured:
        side = min(_PIECE, 0.7 * plan.tread)
        box = side + 2 * _MAT
        yield Box(middle - box / 2, y, box, box, fill=SURROUNDS["middle"])
        yield Photo(middle - side / 2, y + _MAT, side, side, surface.swatch_id, surface.swatch_id)
    lines = [what] if surface.swatch_id == what else [what, shortened(surface.swatch_id, SMALL, 1.2 * plan.tread)]
    sigma = f" ± {max(1, round(surface.sigma))}" if math.isfinite(surface.sigma) else ""
    for row, words in enumerate((*lines, f"L* {surface.lightness:.0f}{sigma}")):
        yield Words(middle, _FOOT - (row + 1) * 1.3 * SMALL, words, SMALL, bold=row == 0, align="middle")


# --- steps -----------------------------------------------------------------------------------------------------------


def _seam(plan: _Plan, place: int, seam: Seam, rim: float, *, weakest: bool) -> Iterator[Mark]:
    """The step from one tread to the next in the space between, and the rim as a thin tread at the next one's side."""
    left, right = plan.left(place) + plan.tread, plan.left(place + 1)
    if math.isfinite(rim):
        wide = min(_RIM, 0.2 * plan.between)
        right -= wide
        yield Box(right, _FOOT, wide, plan.up(rim) - _FOOT, fill=rim, edge="secondary", line=_LINE)
        if plan.tread > _NAMED:
            middle = plan.left(place + 1) - wide / 2
            yield Words(middle, _FOOT - 1.3 * SMALL, f"rim {rim:.0f}", SMALL, "secondary", align="middle")
    low, high = plan.up(seam.lightness_below), plan.up(seam.lightness_above)
    end = right if rim > seam.lightness_above else plan.left(place + 1)
    x = left + 0.15 * (right - left)
    line = 3 * _LINE if weakest else 2 * _LINE
    yield Line(left, low, x, low, "text", _LINE)
    yield Line(x, high, end, high, "text", _LINE, dashed=True)
    yield Line(x, low, x, high, "text", line)
    yield from _uncertainty(plan, seam, x)
    reach = plan.up(seam.lightness_above + (seam.sigma if seam.sigma > 0 else 0))
    yield from _step_words(seam, x, right, (min(low, high), max(low, high, reach)), weakest)


def _uncertainty(plan: _Plan, seam: Seam, x: float) -> Iterator[Mark]:
    if not seam.sigma > 0:
        return
    low, high = (plan.up(seam.lightness_above + sign * seam.sigma) for sign in (-1, 1))
    for y in (low, high):
        yield Line(x - 1.1, y, x + 1.1, y, "text", _LINE)
    yield Line(x, low, x, high, "text", _LINE)


def _step_words(seam: Seam, x: float, right: float, levels: tuple[float, float], weakest: bool) -> Iterator[Mark]:
    """Between the two levels where there is room for them, else above both."""
    bottom, top = levels
    lines = verdict_words(seam).split(", ")
    tall = _STEP + _LEADING * len(lines)
    y = (bottom + top + tall) / 2 if top - bottom > tall + 3 else top + 1.6 + tall
    y -= _STEP
    yield Words(x + 1.8, y, f"{abs(seam.step):.0f} L*", _STEP, bold=True)
    for line in lines:
        y -= _LEADING
        yield Words(x + 1.8, y, shortened(line, SMALL, right - x - 2.3, bold=weakest), SMALL, bold=weakest)
