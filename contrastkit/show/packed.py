"""How squares lie on a roll or on sheets, drawn to scale: sections, strips, squares, and what is left over."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from contrastkit.compose.cutting import SectionCuts, cutting_order
from contrastkit.compose.packing import Packing
from contrastkit.lengths import length_words
from contrastkit.show.drawing import Box, Drawing, Line, Mark, Words
from contrastkit.show.look import text_width
from contrastkit.show.words import counted, listed

_TALLEST = 430.0  # across the roll or sheet, pixels
_LEAST_ACROSS = 640.0  # a sheet whose width goes to the right, pixels, if there is room
_LEGIBLE = 2.4  # heights of its type that a square should have on each side, so that its side can be written in it
_HEAD = 1.7  # heights of type over each row
_SHOWN = 2.5  # room round a square from which on it is drawn, pixels


@dataclass(frozen=True)
class Panel:
    """
    What is drawn together: a roll, or sheets that are cut alike; lengths in mm.

    Attributes
    ----------
    title : which sheets these are
    width, length : of the sheet as it lies for cutting, or what is used of the roll
    room : kept free round each square
    cuts : its sections, those cut alike drawn once
    whole : whether it is a sheet, which ends where it ends
    first : number of the first section
    """

    title: str
    width: Fraction
    length: Fraction
    room: Fraction
    cuts: tuple[SectionCuts, ...]
    whole: bool
    first: int = 1


def panels(packing: Packing, unit: str) -> tuple[Panel, ...]:
    """Return what there is to draw, one panel for the roll or for sheets that are cut alike."""
    drawn: list[Panel] = []
    first = 1
    for sheets, alike in groupby(cutting_order(packing), key=lambda cuts: cuts.sheets):
        cuts = tuple(alike)
        sheet = packing.sheets[sheets[0] - 1]
        whole = packing.material.length is not None
        title = _title(packing, sheets, unit)
        drawn.append(Panel(title, sheet.width, sheet.length, packing.material.room, cuts, whole, first))
        first += len(cuts)
    return tuple(drawn)


def _title(packing: Packing, sheets: Sequence[int], unit: str) -> str:
    width, length = packing.material.width, packing.material.length
    if length is None:
        return f"{length_words(packing.used_length, unit)} of it, {length_words(width, unit)} wide"
    size = f"{length_words(width, unit).removesuffix(f' {unit}')} × {length_words(length, unit)}"
    if len(sheets) == len(packing.sheets):
        return f"{counted(len(sheets), 'sheet')} of {size}" + (", all cut alike" if len(sheets) > 1 else "")
    return f"Sheet {sheets[0]}" if len(sheets) == 1 else f"Sheets {sheets[0]} to {sheets[-1]}, cut alike"


def step_words(cuts: SectionCuts, room: Fraction, unit: str) -> str:
    """
    Return how to cut a section, in a sentence or two.

    >>> cuts = SectionCuts((1,), 1, 2, Fraction(100), ((Fraction(50), 3, 2),))
    >>> step_words(cuts, Fraction(0), "mm")
    'Twice: cut across at 100 mm; then along: 3 strips of 50 mm (2 squares each).'
    """
    parts = [_strip_words(*strip, unit) for strip in cuts.strips]
    times = {1: "Cut", 2: "Twice: cut"}.get(cuts.count, f"{cuts.count} times: cut")
    trimmed = ""
    if room:
        sides = dict.fromkeys(length_words(width - 2 * room, unit) for width, _, _ in cuts.strips)
        trimmed = f" Trim to {listed(list(sides))}, print in the middle."
    return f"{times} across at {length_words(cuts.height, unit)}; then along: {listed(parts)}.{trimmed}"


def _strip_words(width: Fraction, count: int, squares: int, unit: str) -> str:
    each = " each" if count > 1 else ""
    return f"{counted(count, 'strip')} of {length_words(width, unit)} ({counted(squares, 'square')}{each})"


_Row = list[tuple[int, SectionCuts]]  # numbers of sections and how they are cut


def draw_panel(panel: Panel, unit: str, *, width: float, text: float) -> Drawing:
    """
    Return a panel drawn to scale in pixels.

    The length goes from left to right, in several rows where it is long; where the sheet is wider than what is used of
    it is long, the length goes upwards.

    Parameters
    ----------
    panel : what to draw
    unit : in what lengths are written
    width : most it may take, pixels
    text : height of its type, pixels
    """
    if panel.width > _drawn_length(panel):
        return _draw_upwards(panel, unit, width=width, text=text)
    scale = _scale(panel, width, text)
    rows = _rows(panel, scale, width)
    high = float(panel.width) * scale + _HEAD * text + 6
    marks: list[Mark] = []
    for place, row in enumerate(rows):
        marks += _row(panel, row, scale, (len(rows) - 1 - place) * (high + 10) + 4, text, unit)
    drawn = max(_length(panel, row) for row in rows) * scale + 2
    return Drawing(drawn, len(rows) * high + (len(rows) - 1) * 10 + 4, tuple(marks), _description(panel, unit))


def _drawn_length(panel: Panel) -> Fraction:
    return panel.length if panel.whole else sum((cuts.height for cuts in panel.cuts), Fraction(0))


def _drawn_times(panel: Panel, cuts: SectionCuts) -> int:
    """On a whole sheet every section is drawn, so that what is left over is as large as it will be."""
    return cuts.count if panel.whole else 1


def _length(panel: Panel, row: _Row) -> float:
    return float(panel.length) if panel.whole else sum(float(cuts.height) for _, cuts in row)


def _scale(panel: Panel, width: float, text: float) -> float:
    """Pixels to a millimetre: so that squares can be written in, as long as a section fits the width."""
    longest = max(cuts.height for cuts in panel.cuts)
    total = _drawn_length(panel)
    smallest = min(side for cuts in panel.cuts for side, _, _ in cuts.strips)
    legible = max(_LEGIBLE * text / float(smallest), (width - 2) / float(total))
    return min((width - 2) / float(panel.length if panel.whole else longest), _TALLEST / float(panel.width), legible)


def _rows(panel: Panel, scale: float, width: float) -> list[_Row]:
    numbered = list(enumerate(panel.cuts, start=panel.first))
    if panel.whole:
        return [numbered]
    rows: list[_Row] = [[]]
    for number, cuts in numbered:
        if rows[-1] and _length(panel, [*rows[-1], (number, cuts)]) * scale > width - 1:
            rows.append([])
        rows[-1].append((number, cuts))
    return rows


def _row(panel: Panel, row: _Row, scale: float, bottom: float, text: float, unit: str) -> Iterator[Mark]:
    high = float(panel.width) * scale
    left = 1.0
    if panel.whole:
        yield Box(left, bottom, float(panel.length) * scale, high, edge="secondary", line=1)
    for number, cuts in row:
        long = float(cuts.height) * scale
        yield from _head(number, cuts, (left, bottom + high + 8), long, text, unit)
        for _ in range(_drawn_times(panel, cuts)):
            yield Box(left, bottom, long, high, fill="hairline")
            yield from _strips(panel, cuts, scale, (left, bottom + high), text, unit)
            for x in (left, left + long):
                yield Line(x, bottom - 4, x, bottom + high + 4, "text", 2)
            left += long
    over = float(panel.length) * scale - left
    if panel.whole and over > text_width("left over", text) + 12:
        yield Words(left + over / 2, bottom + high / 2, "left over", text, "secondary", align="middle")


def _head(
    number: int, cuts: SectionCuts, at: tuple[float, float], room: float, text: float, unit: str
) -> Iterator[Mark]:
    """The number of a section, and as much of how long it is and how often it is cut as there is room for."""
    yield Words(*at, f"{number}", text, bold=True)
    after = text_width(f"{number} ", text, bold=True) + 0.2 * text
    for words in (_times(cuts, unit), f"× {cuts.count}" if cuts.count > 1 else ""):
        if words and after + text_width(words, text) <= room - 4:
            yield Words(at[0] + after, at[1], words, text, "secondary")
            return


def _strips(
    panel: Panel, cuts: SectionCuts, scale: float, at: tuple[float, float], text: float, unit: str, *,
    upwards: bool = False,
) -> Iterator[Mark]:
    """Squares of a section from its first corner: strips below one another, or to the right of one another."""
    room, across = float(panel.room) * scale, 0.0
    for width, count, squares in cuts.strips:
        side = float(width) * scale
        words = length_words(width - 2 * panel.room, unit).removesuffix(f" {unit}")
        written = text_width(words, text) <= side - 2 * room - 3
        for _ in range(count):
            for place in range(squares):
                x, y = (across, place * side) if upwards else (place * side, -across - side)
                x, y = at[0] + x, at[1] + y
                yield Box(x, y, side, side, fill="ground", edge="secondary", line=1)
                if room >= _SHOWN:
                    yield Box(x + room, y + room, side - 2 * room, side - 2 * room, edge="hairline", line=1)
                if written and place == 0:
                    yield Words(x + side / 2, y + side / 2 - 0.35 * text, words, text, align="middle")
            across += side


def _draw_upwards(panel: Panel, unit: str, *, width: float, text: float) -> Drawing:
    labels = [f"{number}  {_times(cuts, unit)}" for number, cuts in enumerate(panel.cuts, start=panel.first)]
    beside = max(text_width(label, text, bold=True) for label in labels) + 14
    smallest = float(min(side for cuts in panel.cuts for side, _, _ in cuts.strips))
    legible = max(_LEGIBLE * text / smallest, _LEAST_ACROSS / float(panel.width))
    scale = min((width - beside) / float(panel.width), _TALLEST / float(_drawn_length(panel)), legible)
    wide, high = (float(length) * scale for length in (panel.width, _drawn_length(panel)))
    marks: list[Mark] = [Box(1, 4, wide, high, edge="secondary", line=1)] if panel.whole else []
    bottom, free = 4.0, 0.0
    for number, cuts in enumerate(panel.cuts, start=panel.first):
        long = float(cuts.height) * scale
        base = bottom + long / 2 - 0.35 * text
        if base >= free:
            marks += _label(number, cuts, (wide + 8, base), text, unit)
            free = base + 1.1 * text
        for _ in range(_drawn_times(panel, cuts)):
            marks.append(Box(1, bottom, wide, long, fill="hairline"))
            marks += _strips(panel, cuts, scale, (1, bottom), text, unit, upwards=True)
            marks += [Line(0, y, wide + 5, y, "text", 2) for y in (bottom, bottom + long)]
            bottom += long
    return Drawing(wide + beside, max(high, free) + 8, tuple(marks), _description(panel, unit))


def _label(number: int, cuts: SectionCuts, at: tuple[float, float], text: float, unit: str) -> Iterator[Mark]:
    yield Words(*at, f"{number}", text, bold=True)
    after = at[0] + text_width(f"{number} ", text, bold=True) + 0.2 * text
    yield Words(after, at[1], _times(cuts, unit), text, "secondary")


def _times(cuts: SectionCuts, unit: str) -> str:
    return length_words(cuts.height, unit) + (f" × {cuts.count}" if cuts.count > 1 else "")


def _description(panel: Panel, unit: str) -> str:
    steps = (step_words(cuts, panel.room, unit) for cuts in panel.cuts)
    return f"{panel.title}. " + " ".join(f"{number}. {step}" for number, step in enumerate(steps, start=panel.first))
